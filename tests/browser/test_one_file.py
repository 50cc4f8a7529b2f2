"""The one-file page in a real browser: each test opens it once and looks at several things."""

from __future__ import annotations

import io

import mido
import music21
import pytest

import fillgen
from fillgen.hands.playing import Playing
from tests.browser.conftest import Open, Tab, expect
from tests.effort import one_in
from tests.outside.test_tunes import check_schema

OVERLAPS = """() => {
    const text = (each, up, down) => {
        const [x, y] = ["x", "y"].map((name) => Number(each.getAttribute(name)));
        const { width } = each.getBBox();
        const left = each.getAttribute("text-anchor") === "middle" ? x - width / 2 : x;
        return [{ left, right: left + width, top: y - up, bottom: y + down }];
    };
    const glyph = (each) => {
        const { x, y, width, height } = each.getBBox();
        const found = /translate\\((-?\\d+), (-?\\d+)\\) scale\\(([\\d.]+)/.exec(each.getAttribute("transform") ?? "");
        const [across, down, by] = found ? found.slice(1).map(Number) : [0, 0, 1];
        return [{ left: across + x * by, right: across + (x + width) * by, top: down + y * by, bottom: down + (y + height) * by }];
    };
    const beam = (each) => { // a slanting beam in strips, since its box holds much that is free
        const points = [...each.points].sort((a, b) => a.x - b.x);
        const [low, high] = [points.slice(0, 2), points.slice(2)].map((two) => two.map(({ y }) => y).sort((a, b) => a - b));
        const [left, right] = [points[0].x, points[3].x];
        return Array.from({ length: 20 }, (_, step) => {
            const at = (row, share) => low[row] + (high[row] - low[row]) * share;
            const shares = [step / 20, (step + 1) / 20];
            return { left: left + (right - left) * shares[0], right: left + (right - left) * shares[1],
                     top: Math.min(...shares.map((share) => at(0, share))), bottom: Math.max(...shares.map((share) => at(1, share))) };
        });
    };
    const touch = (a, b) => a.left + 1 < b.right && b.left + 1 < a.right && a.top + 1 < b.bottom && b.top + 1 < a.bottom;
    const found = [];
    let signs = 0;
    for (const svg of document.querySelectorAll("#ideas .picture svg")) {
        const boxes = (of, make) => [...svg.querySelectorAll(of)].flatMap(make);
        const fingers = boxes(".fing text", (each) => text(each, 206, 0));
        const chords = boxes(".harm text", (each) => text(each, 285, each.textContent.includes("j") ? 85 : 0));
        const notes = [...boxes(".notehead use, .flag use, .stem path, .accid use", glyph), ...boxes(".beam polygon", beam)];
        signs += fingers.length + chords.length;
        const pairs = [[fingers, notes], [fingers, chords], [chords, notes], [fingers, fingers], [chords, chords]];
        for (const [one, other] of pairs) {
            one.forEach((a, i) => other.forEach((b, j) => (one !== other || i < j) && touch(a, b) && found.push([svg.closest(".idea").id, a, b])));
        }
    }
    return [signs, found];
}"""
"""The boxes of fingers, chord symbols and notes that overlap, in units of the drawing, 180 between two staff lines; digits
are 206 high and letters 285, as the fonts that the page names have them (measured)."""
GROUNDS = (
    ("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", {"rhythm": "foxtrot"}),
    ("| Dbmaj7 Bbm7 | Ebm7 Ab7 | Fm7b5 Bb7b9 | Ebm7 Ab7 |", {"rhythm": "swing", "level": 5, "busy": "many"}),
    ("metre: 3/4\n| Bb | Gm7 | Cm7 | F7 |", {"busy": "many"}),
    ("| Emaj7 | C#m7 | F#m7 | B7 |", {"level": 4, "busy": "many"}),
)


@pytest.mark.parametrize(("chart", "options"), GROUNDS)
def test_fingers_and_chord_symbols_touch_nothing(
    open_page: Open, monkeypatch: pytest.MonkeyPatch, chart: str, options: dict[str, str]
) -> None:
    """Over two hundred ideas, fifty of each of four grounds, drawn one below the other in their own key."""
    monkeypatch.setattr("fillgen.page._MOST_IN_ALL_KEYS", 0)
    tab = open_page(fillgen.ideas(chart, count=50, seed=1, **options), Playing(), viewport=(1400, 900))
    tab.wait("document.body.dataset.ready")
    tab.tell("fillgen.listed().forEach((entry) => fillgen.drawer.fresh(entry))")
    signs, found = tab.page.evaluate(OVERLAPS)
    assert signs > 500
    assert found == []


def test_stars_files_keys_and_paper(open_page: Open, ideas: fillgen.Ideas, axe: str) -> None:
    tab = open_page(ideas, Playing(parts=("right",)))
    page = tab.page
    tab.wait("document.body.dataset.ready")
    assert page.locator("#ideas article").count() == 6
    # what is starred is in the tray, and nothing else is on paper
    for number in (2, 5):
        page.click(f"#card-1-{number} .star")
    page.click("#tray-button")
    expect(page.locator("#tray article")).to_have_count(2)
    assert tab.faults(axe) == []
    page.click("#tray-close")
    page.emulate_media(media="print")
    expect(page.locator("article:visible")).to_have_count(2)
    page.emulate_media(media="screen")
    # a file has the idea as it is shown and heard
    _, midi = tab.download(lambda: page.click("#card-1-2 .midi"))
    heard = [
        m.note
        for track in mido.MidiFile(file=io.BytesIO(midi)).tracks
        for m in track
        if m.type == "note_on" and m.velocity
    ]
    assert heard == [note.midi for note in ideas[1].phrase]
    tab.tell("fillgen.settings.set({ shift: 3 })")
    tab.wait("fillgen.lookOf(fillgen.current).own.shift === 3")
    expect(page.locator(".round .about")).to_contain_text("G♭ major")
    name, written = tab.download(lambda: page.click("#card-1-2 .musicxml"))
    assert name == "idea-02-in-Gb.musicxml"
    check_schema(written)
    score = music21.converter.parse(written, format="musicxml").stripTies()
    read = [n.pitch.midi for n in score.flatten().notes if not isinstance(n, music21.harmony.Harmony)]
    assert read == [note.midi + 3 for note in ideas[1].phrase]
    # stars are still there when it is opened again
    page.reload()
    tab.wait("document.body.dataset.ready")
    assert page.locator("#ideas .starred").count() == 2


def test_the_keyboard_alone(open_page: Open, ideas: fillgen.Ideas, axe: str) -> None:
    """One Tab stop an idea, arrow keys inside; the music stand, its notes and what is said of them by keys."""
    tab = open_page(ideas)
    page = tab.page
    tab.wait("document.body.dataset.ready")
    assert page.locator("#ideas [tabindex='0']").count() == 6
    page.focus("#card-1-1 .play")
    page.keyboard.press("ArrowDown")
    assert tab.tell("document.activeElement.closest('.idea').id") == "card-1-2"
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    assert tab.tell("fillgen.tray.kept.size") == 1
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    expect(page.locator("#stand-title")).to_have_text(f"Idea 2: {ideas[1].shape}")
    assert page.locator("#stand-keys .used").count() == len({note.midi for note in ideas[1].phrase})
    tab.tell("document.querySelector('#stand-picture [tabindex=\"0\"]').focus()")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    expect(page.locator("#answer h2")).to_contain_text("Why does")
    expect(page.locator("#answer p")).to_contain_text("beat")
    assert tab.faults(axe) == []
    page.keyboard.press("Escape")
    page.keyboard.press("Escape")
    expect(page.locator("#stand")).to_be_hidden()
    page.keyboard.press("?")
    expect(page.locator("#keys-help")).to_be_visible()
    assert tab.faults(axe) == []
    page.keyboard.press("Escape")


def test_it_plays_on_as_asked(open_page: Open, ideas: fillgen.Ideas) -> None:
    """Space begins and ends, a bar is looped, all ideas follow one another, slower is slower."""
    tab = open_page(ideas)
    page = tab.page
    tab.wait("document.body.dataset.ready")
    page.keyboard.press(" ")
    tab.wait("fillgen.player.playing === '1-1'")
    page.click("#slower")
    assert tab.tell("fillgen.player.tempo()") < ideas.tempo
    page.click("#loop")
    assert tab.tell("fillgen.player.run.wishes.span") == [0, 1920]
    tab.wait("fillgen.player.run.round > 0")
    page.click("#loop")
    page.click("#loop")
    assert tab.tell("fillgen.settings.kept.loop") == "all"
    page.click("#next")
    tab.wait("fillgen.player.playing === '1-2'")
    tab.tell("fillgen.player.jump(fillgen.rounds[0].whole.length - 200)")
    tab.wait("fillgen.player.playing === '1-3'")
    tab.tell("document.activeElement.blur()")
    page.keyboard.press(" ")
    tab.wait("fillgen.player.playing === null")


def test_silence_is_said_within_a_second(open_page: Open, ideas: fillgen.Ideas) -> None:
    """A browser that gives no sound never says so; the page does. When the sound comes after all, it plays."""
    tab = open_page(
        ideas,
        begin="""const { resume } = AudioContext.prototype;
            const { get } = Object.getOwnPropertyDescriptor(BaseAudioContext.prototype, "state");
            AudioContext.prototype.resume = function () {
                return new Promise((done) => { window.connect = () => resume.call(this).then(() => { window.connected = true; done(); }); });
            };
            Object.defineProperty(BaseAudioContext.prototype, "state", {
                get() { return window.connected ? get.call(this) : "suspended"; },
            });""",
    )
    tab.wait("document.body.dataset.ready")
    tab.page.click("#play")
    expect(tab.page.locator("#alert")).to_contain_text("No sound")
    assert tab.tell("fillgen.player.playing") is None
    tab.tell("window.connect() && 0")
    tab.wait("fillgen.player.playing !== null")
    expect(tab.page.locator("#alert")).to_be_empty()


@pytest.mark.parametrize(
    ("width", "height", "scheme"), one_in(2, [(360, 740, "dark"), (800, 1100, "light"), (1400, 900, "light")])
)
def test_it_fits_and_is_accessible(
    open_page: Open, ideas: fillgen.Ideas, axe: str, width: int, height: int, scheme: str
) -> None:
    tab: Tab = open_page(ideas, viewport=(width, height))
    tab.page.emulate_media(color_scheme=scheme)
    tab.wait("document.body.dataset.ready")
    assert tab.faults(axe) == []
    first = tab.page.locator("#card-1-1 .picture svg").first.bounding_box()
    assert first["y"] + first["height"] < height - 60
    for opened in ("#view summary", "#sound summary"):
        tab.page.click(opened)
        assert tab.faults(axe) == []
    small = "[...document.querySelectorAll('button, summary, select, input')].filter((each) => { const { width, height } = (each.closest('label.tick') ?? each).getBoundingClientRect(); return width && (width < 24 || height < 24); }).map((each) => each.outerHTML)"
    assert tab.tell(small) == []
