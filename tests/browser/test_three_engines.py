"""The main way through the page in Chromium, Firefox and WebKit: the same steps, pressed and typed in each engine.

What the page calls things stands in one place, at the top.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

import mido
import music21
import pytest

from tests.browser.conftest import Server
from tests.browser.engines import ENGINES, Tab, in_chromium, in_firefox, in_webkit

CHART = "| Amaj7 | F#m7 B7 | Bm7 | E7 |"

# What is pressed and filled in, by role and accessible name or by selector
CHORDS = "#chart"
FIND = "button.find"
PLAY = "#play"
VIEW, KEY = "#view summary", "#view [name=key]"
TRAY, PRINT = "#tray-button", "#print"

# What the page shows and knows, as JavaScript
READY = "document.body.dataset.ready === 'true'"
READ_CHORDS = "document.querySelectorAll('.chart-bars .chord').length"
CARDS = "fillgen.listed().length"
ENDED = "fillgen.workshop.search.under === null"
DRAWN = "document.querySelector('#ideas .picture svg path, #ideas .picture svg use')"
FIRST = "fillgen.rounds[0].entries[0]"
NOTES = f"{FIRST}.idea.notes.map((note) => note.midi)"
LIT = "document.querySelector('#ideas .lit')"
SOUND = "Math.hypot(...fillgen.player.samples()) / Math.sqrt(fillgen.player.samples().length)"
PLAYING = "fillgen.player.playing"
STARRED = "document.querySelectorAll('#ideas .star[aria-pressed=true]').length"
SHIFT = f"fillgen.lookOf({FIRST}).own.shift"
STATE = """[fillgen.listed().map(({ idea, round, bars }) => [idea.text, round.kept, [...bars]]), [...fillgen.tray.kept.keys()],
  fillgen.settings.shift, document.getElementById("chart").value]"""
"""What has to survive a reload: ideas, kept bars, stars, the key and the chart."""
FLOOR = 0.003
"""The root mean square of samples from -1 to 1 (-50 dB) above which a page counts as heard: it begins quietly."""
ON_PAPER = """(() => {
  const flip = (rules) => { for (const rule of rules) {
    if (rule.media?.mediaText === "print") rule.media.mediaText = "all";
    else if (rule.media?.mediaText === "screen") rule.media.mediaText = "not all";
    if (rule.cssRules) flip(rule.cssRules);
  } };
  for (const sheet of document.styleSheets) flip(sheet.cssRules);
  return [...document.querySelectorAll("article.idea")].filter((each) => each.checkVisibility())
    .map((each) => fillgen.entries.get(each.dataset.key).idea.text);
})()"""
"""The ideas that are printed: the rules for paper are switched on, as no driver of WebKit prints."""


@pytest.fixture(scope="module", params=ENGINES)
def engine_tab(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Tab]:
    """A tab in each engine in turn; one that isn't installed is skipped, or fails where CI is set."""
    starts = {
        "chromium": lambda: in_chromium(request.getfixturevalue("browser")),
        "firefox": lambda: in_firefox(tmp_path_factory.mktemp("firefox")),
        "webkit": lambda: in_webkit(tmp_path_factory.mktemp("webkit")),
    }
    with starts[request.param]() as running:
        yield Tab(running)


@pytest.fixture
def tab(engine_tab: Tab, tmp_path: Path) -> Iterator[Tab]:
    """The page, open and new, with an idea book of its own."""
    server = Server(tmp_path)
    engine_tab.open(server.address)
    yield engine_tab
    engine_tab.engine.forget()
    server.stop()


def found(tab: Tab) -> int:
    """A chart typed key by key, and its fifty ideas; the number of their round."""
    tab.wait(READY)
    before = tab.evaluate("fillgen.made")
    tab.fill(CHORDS, CHART)
    tab.wait(f"{READ_CHORDS} === 5")
    tab.click(FIND)
    tab.wait(f"fillgen.made > {before} && {CARDS} === 50 && {ENDED}")
    tab.wait(DRAWN)
    return int(tab.evaluate("fillgen.rounds[0].number"))


def of_idea(number: int, rank: int, what: str) -> str:
    """The selector of something in the card of an idea."""
    return f"#card-{number}-{rank} {what}"


def test_the_main_way(tab: Tab) -> None:
    """Typed, found, played, starred, in another key, taken along, varied, still there once it is reloaded, and printed."""
    number = found(tab)
    tab.click(PLAY)
    tab.wait(LIT)
    tab.wait(f"{SOUND} > {FLOOR}")
    tab.click(PLAY)
    tab.wait(f"{PLAYING} === null")
    for rank in (1, 4):
        tab.click(of_idea(number, rank, ".star"))
    tab.wait(f"{STARRED} === 2")
    before = tab.evaluate(NOTES)
    tab.click(VIEW)
    tab.choose(KEY, "F major")
    tab.wait(f"{SHIFT} === -4")
    tab.click(VIEW)
    moved = [midi - 4 for midi in before]
    tab.watch_files()
    tab.click(of_idea(number, 1, ".midi"))
    assert pitches_of_midi(tab.file(0)) == moved
    tab.click(of_idea(number, 1, ".musicxml"))
    tab.wait("given.length === 2")
    assert pitches_of_score(tab.file(1)) == moved
    varied(tab, number)
    state = tab.evaluate(STATE)
    assert len(state[1]) == 2
    tab.reload()
    tab.wait(READY)
    assert tab.evaluate(STATE) == state
    tab.wait(f"{STARRED} === 2 && {SHIFT} === -4")
    printed(tab)


def varied(tab: Tab, number: int) -> None:
    """Variations of the first idea with its first bar kept, below it."""
    first = tab.evaluate(f"{FIRST}.idea.text").split(" | ")
    tab.click(of_idea(number, 1, ".vary"))
    tab.click(of_idea(number, 1, ".bar-keep[data-bar='1']"))
    tab.click(of_idea(number, 1, ".vary-find"))
    tab.wait(f"fillgen.rounds.length === 2 && {ENDED}")
    made = [
        each.split(" | ") for each in tab.evaluate("fillgen.rounds[1].entries.map(({ idea }) => idea.text)")
    ]
    assert len(made) > 1
    assert {each[0] for each in made} == {first[0]}
    assert all(each != first for each in made)


def printed(tab: Tab) -> None:
    """The button prints, and the stars alone stand on paper; where the engine prints to a file it is one sheet."""
    stars = tab.evaluate("[0, 3].map((place) => fillgen.rounds[0].entries[place].idea.text)")
    tab.evaluate("(window.print = () => { window.printed = true; }) && 0")
    tab.click(TRAY)
    tab.click(PRINT)
    tab.wait("window.printed")
    sheet = tab.engine.pdf()
    if sheet is not None:
        assert sheet.startswith(b"%PDF-")
        assert 0 < len(sheet) < 3_000_000
    assert tab.evaluate(ON_PAPER) == stars


def pitches_of_midi(content: bytes) -> list[int]:
    """The notes of a MIDI file as mido reads it."""
    tracks = mido.MidiFile(file=io.BytesIO(content)).tracks
    return [m.note for track in tracks for m in track if m.type == "note_on" and m.velocity]


def pitches_of_score(content: bytes) -> list[int]:
    """The notes of a score as music21 reads it."""
    score = music21.converter.parse(content, format="musicxml").stripTies()
    notes = score.flatten().notes
    return [note.pitch.midi for note in notes if not isinstance(note, music21.harmony.Harmony)]
