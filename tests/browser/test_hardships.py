"""The one-file page where things are not as usual: few and many ideas, strange titles, other metres, a browser that refuses."""

from __future__ import annotations

import io

import mido
import pytest

import fillgen
from fillgen.hands.playing import Playing
from tests.browser.conftest import Open

TITLES = [
    "</script><script>window.harmed = 1</script>",
    "🎹 Kite & “Kettle” 🪁 <b>bold</b> <!--",
    "&lt;img src=x onerror=harm()&gt; ]]>",
]


@pytest.mark.parametrize("title", TITLES)
def test_a_title_is_text_and_nothing_else(open_page: Open, title: str) -> None:
    found = fillgen.ideas(f"title: {title}\n| C | G7 |", count=2, seed=1)
    tab = open_page(found)
    assert tab.page.locator("h1").inner_text() == title
    assert tab.page.title() == title
    assert tab.tell("window.harmed") is None
    assert tab.page.locator("h1 *, body > b, body > img").count() == 0
    tab.page.click("#card-idea-1 .star")
    _, content = tab.download(lambda: tab.page.click("#all-midi"))
    assert mido.MidiFile(file=io.BytesIO(content)).type == 1


def test_a_single_idea(open_page: Open) -> None:
    found = fillgen.ideas("| F | C7 |", rhythm="swing", count=1, seed=5)
    tab = open_page(found)
    assert tab.page.locator("#status").inner_text() == "1 idea."
    tab.page.select_option("[name=key]", "-2")
    tab.wait("fillgen.shift === -2")
    assert (
        tab.page.locator("#card-idea-1 .picture")
        .get_attribute("aria-label")
        .startswith("Bar 1, chord E flat: ")
    )
    tab.page.select_option("[name=hard]", "2")
    assert tab.page.locator("#status").inner_text() == "0 of 1 idea shown."


def test_two_hundred_ideas(open_page: Open) -> None:
    """Over five bars they are too many for twelve keys, which is said; all else is there."""
    found = fillgen.ideas("| F | Dm7 | Gm7 | C7 | F6 |", rhythm="swing", count=200, seed=5)
    tab = open_page(found)
    assert tab.page.locator("#status").inner_text() == "200 ideas."
    assert "has one key only" in tab.page.locator("#remarks").inner_text()
    assert tab.page.locator("#controls [name=key] option").count() == 1
    assert tab.page.locator(".picture .system").count() >= 200
    tab.page.select_option("[name=sort]", "hard")
    hard = tab.tell(
        "[...document.querySelectorAll('article')].map((a) => fillgen.ideas.get(a.dataset.id).hard)"
    )
    assert len(hard) == 200
    assert hard == sorted(hard)


@pytest.mark.parametrize("metre", ["3/4", "6/8"])
def test_other_metres_are_shown_and_played(open_page: Open, metre: str) -> None:
    """A bar lasts as long as its metre says: three quarter notes in both."""
    found = fillgen.ideas("| G | D7 |", metre=metre, count=1, tempo=240, seed=1)
    tab = open_page(found, Playing(parts=("right", "left", "bass", "drums")))
    tab.page.evaluate("""() => {
        document.addEventListener("fillgen:play", () => { window.span = fillgen.player.run.ends - fillgen.player.run.begins; });
        document.addEventListener("fillgen:stop", () => { window.over = true; }); }""")
    tab.page.click("#card-idea-1 .play")
    tab.wait("window.over")
    assert tab.tell("span") == pytest.approx(2 * 3 * 60 / 240)
    assert tab.page.locator("#card-idea-1 .measure").count() == 2


def test_a_chart_of_twenty_four_bars(open_page: Open) -> None:
    bars = "| F6 | Dm7 | Gm7 | C7 | Am7 | D7 | Gm7 | C7 " * 3 + "|"
    found = fillgen.ideas(bars, rhythm="swing", count=6, seed=2)
    tab = open_page(found, viewport=(360, 800))
    for number in (1, 6):
        numbers = tab.page.locator(f"#card-idea-{number} .measure").evaluate_all(
            "(all) => all.map((each) => Number(/-b(\\d+)$/.exec(each.id)[1]))"
        )
        assert numbers == list(range(1, 25))
    assert tab.tell("document.documentElement.scrollWidth") <= 360


def test_drums_alone(open_page: Open, ideas: fillgen.Ideas) -> None:
    """Notes light up though they are not heard; the drums are, and nothing but them is in the file."""
    tab = open_page(ideas, Playing(parts=("drums",)))
    assert not tab.page.locator("[name=part][value=right]").is_checked()
    tab.page.click("#card-idea-1 .play")
    tab.wait("document.querySelector('.lit')")
    tab.wait("Math.max(...fillgen.player.samples().map(Math.abs)) > 0.01")
    tab.page.click("#card-idea-1 summary")
    _, content = tab.download(lambda: tab.page.click("#card-idea-1 .midi"))
    struck = {
        m.channel
        for track in mido.MidiFile(file=io.BytesIO(content)).tracks
        for m in track
        if m.type == "note_on"
    }
    assert struck == {9}  # the tenth channel is the drums' in General MIDI 1


REFUSED = """Object.defineProperty(window, "localStorage", { get() { throw new DOMException("no", "SecurityError"); } });"""


def test_a_browser_that_keeps_nothing(open_page: Open, ideas: fillgen.Ideas) -> None:
    tab = open_page(ideas, begin=REFUSED)
    tab.page.click("#card-idea-2 .star")
    assert tab.page.locator("#card-idea-2.starred").count() == 1
    assert "forgets it when the page is closed" in tab.page.locator("#status").inner_text()
    tab.page.reload()
    tab.wait("document.querySelector('.picture svg')")
    assert tab.page.locator(".starred").count() == 0


UNSEEN = """
Object.defineProperty(Document.prototype, "hidden", { get: () => true });
const often = window.setInterval;
window.setInterval = (act, pause) => often(act, Math.max(1000, pause));
window.requestAnimationFrame = () => 0;
window.late = [];
const begins = AudioBufferSourceNode.prototype.start;
AudioBufferSourceNode.prototype.start = function (at) {
    if (at <= this.context.currentTime) window.late.push(at);
    begins.call(this, at);
};
"""


def test_it_plays_on_where_nobody_looks(open_page: Open) -> None:
    """A browser wakes a page in the background once a second: all notes of two rounds are still handed over in time."""
    found = fillgen.ideas("| Dm7 | G7 |", rhythm="swing", tempo=200, count=1, level=5, busy="many", seed=2)
    tab = open_page(found, begin=UNSEEN)
    tab.page.check("[name=loop]")
    tab.page.click("#card-idea-1 .play")
    tab.wait("fillgen.player.run && fillgen.player.run.round >= 2")
    assert tab.tell("late") == []
    tab.page.keyboard.press("Escape")


def test_no_sound_can_be_had(open_page: Open, ideas: fillgen.Ideas) -> None:
    """Where a browser has no sound the page says so, and all else works."""
    tab = open_page(ideas, begin="delete window.AudioContext; delete window.webkitAudioContext;")
    tab.page.click("#card-idea-1 .play")
    tab.wait("document.getElementById('alert').textContent")
    assert "cannot be played" in tab.page.locator("#alert").inner_text()
    assert tab.page.locator(".sounding").count() == 0
    tab.page.click("#card-idea-1 .star")
    assert tab.tell("fillgen.stars()") == ["idea-1"]
