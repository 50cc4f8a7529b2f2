"""The workshop of the served page in a real browser: what a player types, points at, keeps, drops, plays and takes back."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.browser.conftest import GUIDELINES, PATIENCE, borrowed, expect

CHART = "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |"


class Served:
    """A page that is served, with a book of its own."""

    def __init__(self, folder: Path, *more: str) -> None:
        command = [sys.executable, "-m", "fillgen", "page", "--no-browser", *more, CHART]
        surroundings = {**os.environ, "FILLGEN_BOOK": str(folder / "ideas.book")}
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, env=surroundings, text=True)
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().strip()

    def stop(self) -> None:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(10)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    made = Served(tmp_path_factory.mktemp("page"))
    yield made
    made.stop()


def opened(browser, address: str, **settings):
    """A tab with the workshop open, its chart read; errors of its scripts are gathered in `page.faults`."""
    page = browser.new_context(**{"viewport": {"width": 1200, "height": 900}, **settings}).new_page()
    page.set_default_timeout(PATIENCE)
    page.faults = []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    come_in(page, address)
    return page


def come_in(page, address: str) -> None:
    """Open the workshop; its chart is read."""
    page.goto(address)
    expect(page.locator(".chord-row button").first).to_be_visible(timeout=PATIENCE)


@pytest.fixture
def page(shared, served: Served):
    faults = []

    def note(error) -> None:
        faults.append(str(error))

    with borrowed(shared, 1200, 900) as tab:
        tab.page.on("pageerror", note)
        come_in(tab.page, served.address)
        yield tab.page
        tab.page.remove_listener("pageerror", note)
    assert faults == []


def found(page, button: str = "button.find", count: int = 8) -> list[str]:
    """Press a button that looks for so many ideas; the texts of those that came."""
    page.evaluate(
        """([patience, count]) => {
            fillgen.workshop.start.usual.count = count;
            window.ended = new Promise((done, fail) => {
                document.addEventListener("fillgen:end", done, { once: true });
                setTimeout(() => fail(new Error("no ideas came")), patience);
            });
        }""",
        [PATIENCE, count],
    )
    page.click(button)
    page.evaluate("() => window.ended.then(() => null)")
    return page.evaluate("() => [...fillgen.ideas.values()].map((idea) => idea.text)")


def bars(text: str) -> list[str]:
    return text.split(" | ")


def test_fifty_ideas_appear_as_they_are_found(page) -> None:
    page.evaluate(
        "() => { window.seen = []; document.addEventListener('fillgen:add', () => seen.push([document.querySelectorAll('.idea').length, document.querySelector('progress').hidden])); }"
    )
    texts = found(page, count=50)
    assert len(set(texts)) == 50
    assert page.evaluate("() => seen") == [[count, False] for count in range(1, 51)]
    expect(page.locator(".found-count")).to_have_text("50 ideas on the page")
    expect(page.locator("#status")).to_contain_text("50 ideas")
    assert page.evaluate("() => document.activeElement.id") == "ideas"
    again = found(page, ".more-ideas", 50)
    assert len(set(again)) == 50
    assert again != texts


def test_a_new_search_stops_the_one_before(page) -> None:
    """At the first idea of level 3 a search for level 5 begins; what the first had left to tell never comes."""
    told = page.evaluate(
        """() => new Promise((done) => {
            const form = document.querySelector(".wishes");
            const levels = [];
            document.addEventListener("fillgen:add", () => levels.push(fillgen.whole.level));
            document.addEventListener("fillgen:end", () => fillgen.whole.level === 5 && done(levels));
            document.addEventListener("fillgen:add", () => {
                form.elements.level.value = "5";
                form.requestSubmit();
            }, { once: true });
            form.requestSubmit();
        })"""
    )
    assert 1 <= told.count(3) < 50
    assert told[told.count(3) :] == [5] * 50
    expect(page.locator(".idea")).to_have_count(50)


def test_the_wrong_chord_is_named_marked_and_mended(page) -> None:
    chart = page.locator("#chart")
    chart.fill("| Ebmaj7 | Gm7 C7 | Hm7 | Bb7 |")
    mistake = page.locator(".chart-field .mistake")
    expect(mistake).to_contain_text("bar 3, chord 1: unknown chord 'Hm7'")
    expect(chart).to_have_attribute("aria-invalid", "true")
    expect(page.locator("#status")).to_have_text("")
    assert mistake.get_attribute("id") in chart.get_attribute("aria-describedby").split()
    assert page.locator(".chart-behind mark").inner_text() == "Hm7"
    page.click("button.find")
    expect(chart).to_be_focused()
    assert page.evaluate("() => chart.value.slice(chart.selectionStart, chart.selectionEnd)") == "Hm7"
    page.get_by_role("button", name="Write Bm7").click()
    expect(chart).to_have_value("| Ebmaj7 | Gm7 C7 | Bm7 | Bb7 |")
    expect(mistake).to_have_text("")
    assert chart.get_attribute("aria-invalid") is None


def test_ideas_of_the_chart_before_are_called_so(page) -> None:
    found(page, count=50)
    expect(page.locator("#status")).to_have_text("50 ideas found.")
    page.fill("#chart", "| Hm7 |")
    page.click("button.find")
    expect(page.locator(".chart-field .mistake")).to_contain_text("Hm7")
    expect(page.locator("#status")).to_have_text("The ideas below are from the search before.")
    page.fill("#chart", "| Bm7 |")
    expect(page.locator("#status")).to_have_text("")


def test_the_ideas_are_near_the_form(page) -> None:
    """On a wide screen the form, with all its wishes and chords and the panels closed, takes about half of a window."""
    page.set_viewport_size({"width": 1400, "height": 1000})
    assert page.evaluate("() => document.getElementById('workshop').offsetHeight") < 560


def test_a_wish_that_cannot_be_met_is_said_at_its_field(page) -> None:
    page.fill("[name=lead_to]", "H9")
    page.click("button.find")
    expect(page.locator(".wishes > .mistake")).to_contain_text("Lead to: unknown pitch 'H9'")
    expect(page.locator("[name=lead_to]")).to_be_focused()


def test_a_sequence_goes_into_the_chart_in_the_chosen_key(page) -> None:
    """The plagal close is IV and I in any book on harmony: Db and Ab in A flat."""
    page.select_option("[name=key]", "Ab major")
    option = page.locator(".sequence optgroup[label=Endings] option", has_text=re.compile("^plagal close"))
    option.wait_for(state="attached")
    page.select_option(".sequence select", option.first.get_attribute("value"))
    page.get_by_role("button", name="Use it").click()
    expect(page.locator("#chart")).to_have_value("| Db | Ab |")
    expect(page.locator("[name=for]")).to_have_value("ending")
    page.locator(".undo").click()
    expect(page.locator("#chart")).to_have_value(CHART)


def test_rhythms_are_those_of_the_metre(page) -> None:
    page.select_option("[name=metre]", "3/4")
    options = page.locator("[name=rhythm] option")
    expect(options.filter(has_text="foxtrot")).to_have_count(0)
    assert any("waltz" in text for text in options.all_inner_texts())


@pytest.mark.parametrize("way", ["focus", "hover"])
def test_the_note_chart_of_a_chord(page, way: str) -> None:
    """C7 is C, E, G and B flat, as any table of chords has it; no other note of it may stay."""
    getattr(page.locator(".chord-row button", has_text="C7"), way)()
    expect(page.locator(".note-chart h3")).to_have_text("C7, bar 2")
    assert set(page.locator(".note-keys .stay .key-name").all_text_contents()) == {"C", "E", "G", "Bb"}
    marks = {
        word: {mark.get_attribute("d") for mark in page.locator(f".note-keys .{word} path").all()}
        for word in ("stay", "pass", "quick", "clash")
    }
    assert all(len(forms) <= 1 for forms in marks.values())
    assert len(set.union(*marks.values())) == sum(map(len, marks.values()))
    assert page.locator(".note-keys .key-word").count() == 12


def test_the_note_chart_follows_the_pointer_over_the_notation(page) -> None:
    found(page)
    page.locator("#card-idea-1 .harm").nth(2).hover()
    expect(page.locator(".note-chart.docked h3")).to_have_text("C7, bar 2")
    page.keyboard.press("Escape")
    expect(page.locator(".docked")).to_have_count(0)


def test_two_bars_are_kept_by_a_click_and_by_name(page) -> None:
    before = found(page)
    bar = page.locator('[id="idea-2-b3"]')
    bar.scroll_into_view_if_needed()
    box = bar.bounding_box()
    page.mouse.click(box["x"] + box["width"] * 0.6, box["y"] + box["height"] * 0.6)
    card = page.locator("#card-idea-2")
    expect(card.get_by_role("checkbox", name="Bar 3")).to_be_checked()
    card.get_by_role("checkbox", name="Bar 1").check()
    assert card.locator(".kept-word").all_text_contents() == ["kept", "kept"]
    texts = found(page, "#card-idea-2 button.vary")
    assert len(texts) > 1
    assert all([bars(text)[0], bars(text)[2]] == [bars(before[1])[0], bars(before[1])[2]] for text in texts)
    assert before[1] not in texts
    expect(page.locator(".found-what")).to_contain_text("bar 1 and bar 3 kept")
    page.locator(".undo").focus()
    page.keyboard.press("Control+z")
    expect(page.locator(".idea")).to_have_count(len(before))
    assert page.evaluate("() => [...fillgen.ideas.values()].map((idea) => idea.text)") == before


def test_over_a_long_chart_as_many_are_asked_for_as_may_be(page) -> None:
    most = page.evaluate("() => fillgen.workshop.start.most")
    page.fill("#chart", CHART[:-1] * (most["bars"] // 4) + "|")
    assert len(found(page, count=50)) == most["bars_of_all"] // most["bars"] < 50
    page.fill("#chart", CHART[:-1] * most["bars"] + "|")
    page.click("button.find")
    expect(page.locator(".chart-field .mistake")).to_contain_text(f"the page takes {most['bars']}")
    expect(page.locator("#chart")).to_be_focused()


def test_what_is_starred_in_the_book_is_starred_on_the_page(browser, page, served: Served) -> None:
    found(page, count=50)
    page.click("#panel-book > summary")
    first = page.locator(".book-idea").first
    number = int(first.get_attribute("data-id"))
    first.locator(".book-stars select").select_option("4")
    card = f"() => [...fillgen.ideas.values()].find((idea) => idea.book === {number})?.id"
    expect(page.locator(f"#card-{page.evaluate(card)} .star")).to_have_attribute("aria-pressed", "true")
    other = opened(browser, served.address)
    found(other, count=50)
    expect(other.locator(f"#card-{other.evaluate(card)} .star")).to_have_attribute("aria-pressed", "true")
    other.context.close()
    page.click(".undo")
    expect(page.locator(f"#card-{page.evaluate(card)} .star")).to_have_attribute("aria-pressed", "false")


def test_undo_leaves_text_fields_to_the_browser(page) -> None:
    found(page)
    page.locator("#card-idea-1 .star").click()
    expect(page.locator(".undo-label")).to_contain_text("starring idea 1")
    page.locator("#chart").focus()
    page.keyboard.press("Control+z")
    expect(page.locator(".idea.starred")).to_have_count(1)
    page.locator("#chart").blur()
    page.keyboard.press("Control+z")
    expect(page.locator(".idea.starred")).to_have_count(0)


def test_the_page_is_cleared_and_filled_again(page) -> None:
    before = found(page)
    page.click(".clear")
    expect(page.locator(".idea")).to_have_count(0)
    page.click(".undo")
    expect(page.locator(".idea")).to_have_count(len(before))


def dropped(page, name: str, content: bytes, more: int = 0) -> None:
    """Drop a file on the page as a hand would; `more` zeros follow its content."""
    page.evaluate(
        """([name, bytes, more]) => {
            const dataTransfer = new DataTransfer();
            dataTransfer.items.add(new File([new Uint8Array(bytes), new Uint8Array(more)], name));
            const place = document.querySelector(".drop") ?? document.body;
            for (const kind of ["dragover", "drop"]) place.dispatchEvent(new DragEvent(kind, { dataTransfer, bubbles: true, cancelable: true }));
        }""",
        [name, list(content), more],
    )


def test_files_are_dropped_and_a_damaged_one_is_told(page) -> None:
    dropped(page, "mine.txt", b"Eb5q. D5e Bb4h | G4q Bb4q C5h | Ab4h C5h | Bb4w")
    expect(page.locator(".report h3")).to_have_text(
        "Nothing clashes: the phrase keeps every rule of level 3."
    )
    expect(page.locator(".report")).to_be_focused()
    dropped(page, "torn.mid", b"MThd\0\0\0\6\0\1\0")
    mistake = page.locator("#panel-check .panel-inside > .mistake")
    expect(mistake).to_contain_text("torn.mid: a damaged MIDI file")
    expect(page.locator(".report")).to_be_hidden()
    dropped(page, "long.mid", b"MThd", 800_000)
    expect(mistake).to_contain_text("the page takes 700 kB")


def test_markup_in_a_file_stays_text(page) -> None:
    dropped(page, "<img src=x onerror=fail()>.txt", b"<b>F5</b>")
    expect(page.locator("#panel-check .panel-inside > .mistake")).to_contain_text("<")
    assert page.locator("#workshop img, #workshop b").count() == 0


def test_a_written_phrase_is_judged_and_mended(page) -> None:
    """B natural on a strong beat over Ebmaj7 lies a half step above B flat, its fifth: every book on harmony avoids it."""
    page.click("#panel-check > summary")
    page.fill(".check-form textarea", "Eb5q. D5e B4h | G4q Bb4q C5h | Ab4h C5h | Bb4w")
    page.get_by_role("button", name="Check what is written").click()
    expect(page.locator(".report h3")).to_contain_text("1 note clashes")
    assert page.locator(".report > h4").first.inner_text() == "Clashes"
    assert "Bar 1: B4 on beat 3" in page.locator(".report .wrong").inner_text()
    expect(page.locator(".report .bar-report").first).to_be_hidden()
    page.get_by_text("Note by note").click()
    assert page.locator(".report .bar-report h5").all_inner_texts() == ["Bar 1", "Bar 2", "Bar 3", "Bar 4"]
    page.get_by_role("button", name="Write the mended phrase").click()
    page.get_by_role("button", name="Check what is written").click()
    expect(page.locator(".report h3")).to_contain_text("keeps every rule")


KEYBOARD = """() => {
    window.keys = { id: "k", name: "Test keyboard", onmidimessage: null };
    window.asked = 0;
    navigator.requestMIDIAccess = async () => {
        window.asked += 1;
        return { inputs: new Map([["k", keys]]), onstatechange: null };
    };
}"""
PLAYED = """(notes) => {
    const { begins } = fillgen.workshop.checking.listening.run;
    const events = notes.flatMap(([midi, start, end]) => [[start, [0x90, midi, 80]], [end, [0x90, midi, 0]]]);
    for (const [second, data] of events) keys.onmidimessage({ data: new Uint8Array(data), timeStamp: begins + 1000 * second });
}"""


def test_a_phrase_is_played_on_a_keyboard(browser, served: Served) -> None:
    """Quarter notes at 120 a minute last half a second: middle C, E, G and the C above, played a little late, are read so."""
    made = browser.new_context()
    page = made.new_page()
    page.add_init_script(f"({KEYBOARD})()")
    page.goto(served.address)
    page.locator("#chart").fill("| C |")
    expect(page.locator(".chord-row button")).to_have_count(1)
    page.click("#panel-check > summary")
    assert page.evaluate("() => asked") == 0
    page.get_by_role("button", name="Use my keyboard").click()
    page.get_by_label("Clicks on every beat").uncheck()
    page.get_by_label("Tempo, quarter notes a minute").and_(page.locator("input[type=number]")).fill("120")
    page.get_by_label("Latency, milliseconds").fill("300")
    page.get_by_role("button", name="Start after a bar").click()
    late = 0.32
    page.evaluate(
        PLAYED,
        [[midi, place / 2 + late, place / 2 + 0.48 + late] for place, midi in enumerate((60, 64, 67, 72))],
    )
    page.get_by_role("button", name="Stop and check").click()
    expect(page.locator(".report code").first).to_have_text("C4q E4q G4q C5q")
    assert page.evaluate("() => asked") == 1
    assert page.evaluate("() => keys.onmidimessage") is None
    made.close()


SLEEPY = """() => {
    const Context = window.AudioContext;
    window.AudioContext = class extends Context {
        constructor(...wishes) {
            super(...wishes);
            window.context = this;
            this.asleep = this.suspend();
        }
        async resume() {
            await this.asleep;
            await new Promise((done) => setTimeout(done, 400));
            return super.resume();
        }
    };
    window.clicks = [];
    const start = OscillatorNode.prototype.start;
    OscillatorNode.prototype.start = function (at) {
        window.clicks.push(at);
        start.call(this, at);
    };
}"""
LATE = 30
"""Milliseconds by which a click may be off its beat."""


def test_clicks_are_heard_on_the_beat(browser, served: Served) -> None:
    """Though the audio clock takes its time to wake up: by its own time stamps no click is off what the player is judged by."""
    made = browser.new_context()
    page = made.new_page()
    page.add_init_script(f"({KEYBOARD})(); ({SLEEPY})()")
    page.goto(served.address)
    page.locator("#chart").fill("| C |")
    expect(page.locator(".chord-row button")).to_have_count(1)
    page.click("#panel-check > summary")
    page.get_by_role("button", name="Use my keyboard").click()
    page.get_by_role("button", name="Start after a bar").click()
    page.get_by_role("button", name="Stop and check").wait_for()
    begins, bar, clicks, heard = page.evaluate(
        """() => {
            const { begins, bar } = fillgen.workshop.checking.listening.run;
            const { contextTime, performanceTime } = context.getOutputTimestamp();
            return [begins, bar, clicks, clicks.map((at) => performanceTime + 1000 * (at - contextTime))];
        }"""
    )
    assert len(clicks) == 8  # a bar of four beats is counted in, and one is played
    for place, moment in enumerate(heard):
        assert abs(moment - (begins + (place - 4) * bar / 4)) < LATE
    made.close()


def test_a_keyboard_that_is_not_allowed_is_told(browser, served: Served) -> None:
    made = browser.new_context()
    page = made.new_page()
    page.add_init_script(
        'navigator.requestMIDIAccess = async () => { throw new DOMException("no", "NotAllowedError"); };'
    )
    page.goto(served.address)
    page.click("#panel-check > summary")
    page.get_by_role("button", name="Use my keyboard").click()
    mistake = page.locator("#panel-check .panel-inside > .mistake")
    expect(mistake).to_contain_text("did not allow it")
    expect(mistake).not_to_contain_text("Error")
    made.close()


def test_the_book_keeps_stars_tags_notes_and_sets_and_undoes_them(browser, tmp_path: Path) -> None:
    served = Served(tmp_path)
    page = opened(browser, served.address)
    other = opened(browser, served.address)
    try:
        texts = found(page, count=50)
        for rank in (1, 2, 3):
            page.locator(f"#card-idea-{rank} .star").click()
        expect(page.locator(".undo-label")).to_contain_text("starring idea 3")
        in_other_tab(other, sorted(texts[:3]))
        page.click("#panel-book > summary")
        expect(page.locator(".book-count")).to_contain_text("50 ideas")
        first = page.locator(".book-idea").first
        first.locator(".book-stars select").select_option("5")
        first.locator("summary").click()
        first.get_by_label("New tag").fill("evening")
        first.get_by_role("button", name="Add tag").click()
        expect(first).to_contain_text("tag evening")
        first.get_by_label("Name", exact=True).fill("Harbour walk")
        first.get_by_label("Note", exact=True).fill("slowly, <b>thumb</b> under")
        first.get_by_role("button", name="Save").click()
        expect(first.locator(".book-note")).to_have_text("slowly, <b>thumb</b> under")
        assert page.locator(".book-note b").count() == 0
        page.get_by_role("search").get_by_label("Stars").select_option("5")
        expect(page.locator(".book-count")).to_contain_text("1 idea,")
        first.get_by_label("Idea", exact=False).first.check()
        page.get_by_label("Name of a set").fill("concert")
        page.get_by_role("button", name="Add to set").click()
        expect(first).to_contain_text("set concert")
        with page.expect_download() as taken:
            page.get_by_role("button", name="Sheet to print").click()
        assert Path(taken.value.path()).read_bytes()[:5] == b"%PDF-"
        first.get_by_role("button", name="Forget").click()
        expect(page.locator(".book-idea")).to_have_count(0)
        undone = ["concert", "name and note", "a tag", "stars of", "starring idea 3"]
        for left in undone:
            page.locator(".undo").click()
            expect(page.locator(".undo-label")).to_contain_text(left)
        assert page.faults == other.faults == []
    finally:
        page.context.close()
        other.context.close()
        served.stop()


def in_other_tab(page, starred: list[str]) -> None:
    """What one tab stars, another finds in the book."""
    page.click("#panel-book > summary")
    page.get_by_role("search").get_by_label("Stars").select_option("1")
    expect(page.locator(".book-count")).to_contain_text("3 ideas")
    assert sorted(page.locator(".book-text").all_inner_texts()) == starred


def test_what_is_fresh_was_never_shown(page) -> None:
    before = set(found(page, count=50))
    page.get_by_label("Only ideas never shown before").check()
    after = found(page, count=50)
    assert len(after) == 50
    assert not before & set(after)


def test_a_server_that_stops_is_told_and_the_ideas_stay(browser, tmp_path: Path) -> None:
    served = Served(tmp_path)
    page = opened(browser, served.address)
    try:
        count = len(found(page))
        page.evaluate("() => fillgen.player.loadBank().then(() => null)")
        served.stop()
        page.click("button.find")
        notice = page.locator(".gone")
        expect(notice).to_contain_text("no longer running")
        expect(notice).to_contain_text("Start it again")
        assert notice.locator("[role=alert]").count() == 1
        expect(page.locator(".idea")).to_have_count(count)
        page.locator("#card-idea-1 .play").click()
        expect(page.locator("#card-idea-1")).to_have_class(re.compile("sounding"))
        with page.expect_download() as taken:
            page.locator("#card-idea-1 .more summary").first.click()
            page.locator("#card-idea-1 .midi").click()
        assert Path(taken.value.path()).read_bytes()[:4] == b"MThd"
        page.get_by_role("button", name="Try again").click()
        expect(page.locator("#status")).to_have_text("It does not answer yet.")
        assert page.faults == []
    finally:
        page.context.close()
        served.stop()


def test_it_works_from_the_keyboard_alone(page) -> None:
    page.locator("#chart").focus()
    to(page, "button.find")
    page.keyboard.press("Enter")
    expect(page.locator(".found-count")).to_have_text("50 ideas on the page")
    to(page, "#card-idea-1 .vary-idea > summary")
    page.keyboard.press("Enter")
    to(page, '#card-idea-1 .keep-bars input[value="2"]')
    page.keyboard.press("Space")
    to(page, "#card-idea-1 button.vary")
    page.keyboard.press("Enter")
    expect(page.locator(".found-what")).to_contain_text("Variations of idea 1, bar 2 kept")
    expect(page.locator(".found-count")).to_contain_text("on the page")
    page.keyboard.press("Control+z")
    expect(page.locator(".idea")).to_have_count(50)


def to(page, goal: str) -> None:
    """Press Tab until an element has the focus."""
    for _ in range(80):
        if page.evaluate("(goal) => document.activeElement.matches(goal)", goal):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"Tab does not lead to {goal}")


def faults_of(page, axe: str, context: str = "document") -> list[str]:
    """What axe-core finds, and whether anything is wider than the window."""
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(f"() => {{ {axe}\n }}")
    answer = page.evaluate(
        f"(tags) => axe.run({context}, {{ runOnly: tags, resultTypes: ['violations'] }})", list(GUIDELINES)
    )
    told = [f"{each['id']}: {each['nodes'][0]['target']}" for each in answer["violations"]]
    wide = page.evaluate("() => document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return told + ([f"{wide} px too wide"] if wide > 0 else [])


def test_everybody_can_read_it(browser, served: Served, axe: str) -> None:
    """With an error, and with everything open: on a phone in the dark and on a wide screen in the light."""
    page = opened(browser, served.address, viewport={"width": 360, "height": 800}, color_scheme="dark")
    page.fill("#chart", "| Ebmaj7 | Hm7 |")
    expect(page.locator(".chart-field .mistake")).to_contain_text("Hm7")
    for width, scheme in SCREENS:
        look_at(page, width, scheme)
        assert faults_of(page, axe, "'.wishes'") == []
    page.fill("#chart", CHART)
    expect(page.locator(".chart-field .mistake")).to_have_text("")
    page.locator(".chord-row button").first.focus()
    page.locator(".note-keys").wait_for()
    found(page, count=3)
    page.locator("#card-idea-1 .vary-idea > summary").click()
    page.locator("#card-idea-1").get_by_role("checkbox", name="Bar 1").check()
    page.click("#panel-check > summary")
    page.fill(".check-form textarea", "Eb5q. D5e B4h | G4q Bb4q C5h | Ab4h C5h | Bb4w")
    page.get_by_role("button", name="Check what is written").click()
    expect(page.locator(".report h3")).to_be_visible()
    page.click("#panel-book > summary")
    page.locator(".book-idea summary").first.click()
    page.get_by_label("Select all").check()
    for width, scheme in SCREENS:
        look_at(page, width, scheme)
        assert faults_of(page, axe) == []
    assert page.faults == []
    page.context.close()


SCREENS = [(360, "dark"), (1400, "light")]


def look_at(page, width: int, scheme: str) -> None:
    page.set_viewport_size({"width": width, "height": 800})
    page.emulate_media(color_scheme=scheme)
