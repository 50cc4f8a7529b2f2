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
PLAY, STOP = "#card-idea-1 .play", ("button", "Stop")
STAR_FIRST, STAR_FOURTH = "#card-idea-1 .star", "#card-idea-4 .star"
KEY = "#controls [name=key]"
OPEN_VARY, KEEP_BAR_ONE, VARY = (
    "#card-idea-1 .vary-idea > summary",
    "#card-idea-1 .keep-bars input",
    "#card-idea-1 button.vary",
)
OPEN_FILES, SAVE_MIDI, SAVE_MUSICXML = (
    "#card-idea-1 .more > summary",
    "#card-idea-1 .midi",
    "#card-idea-1 .musicxml",
)
PRINT = ("button", "Print starred")

# What the page shows and knows, as JavaScript
READ_CHORDS = "document.querySelectorAll('.chord-row button').length"
CARDS = "document.querySelectorAll('article.idea').length"
ENDED = "document.querySelector('.found-count')?.textContent.includes('on the page')"
DRAWN = "document.querySelector('article.idea .picture svg path, article.idea .picture svg use')"
NOTES = "fillgen.ideas.get('idea-1').notes.map((note) => note.midi)"
TEXTS = "[...fillgen.ideas.values()].map((idea) => idea.text)"
LIT = "document.querySelector('article.idea .lit')"
SOUND = "Math.hypot(...fillgen.player.samples()) / Math.sqrt(fillgen.player.samples().length)"
PLAYING = "fillgen.player.playing"
STARRED = "document.querySelectorAll('article.idea .star[aria-pressed=true]').length"
SHIFT = "fillgen.shift"
FLOOR = 0.003
"""The root mean square of samples from -1 to 1 (-50 dB) above which a page counts as heard: it begins quietly."""
ON_PAPER = """(() => {
  const flip = (rules) => { for (const rule of rules) {
    if (rule.media?.mediaText === "print") rule.media.mediaText = "all";
    else if (rule.media?.mediaText === "screen") rule.media.mediaText = "not all";
    if (rule.cssRules) flip(rule.cssRules);
  } };
  for (const sheet of document.styleSheets) flip(sheet.cssRules);
  return [...document.querySelectorAll("article.idea")].filter((each) => each.checkVisibility()).map((each) => each.id);
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


def found(tab: Tab) -> None:
    """A chart typed key by key, and its fifty ideas."""
    tab.fill(CHORDS, CHART)
    tab.wait(f"{READ_CHORDS} === 5")
    tab.click(FIND)
    tab.wait(f"{CARDS} === 50 && {ENDED}")
    tab.wait(DRAWN)


def test_the_main_way(tab: Tab) -> None:
    """Typed, found, played, starred, in another key, taken along, and varied."""
    found(tab)
    tab.click(PLAY)
    tab.wait(LIT)
    tab.wait(f"{SOUND} > {FLOOR}")
    tab.click(STOP)
    tab.wait(f"{PLAYING} === null")
    tab.click(STAR_FIRST)
    tab.click(STAR_FOURTH)
    tab.wait(f"{STARRED} === 2")
    before = tab.evaluate(NOTES)
    tab.choose(KEY, "F major")
    tab.wait(f"{SHIFT} === -4")
    moved = [midi - 4 for midi in before]
    tab.watch_files()
    tab.click(OPEN_FILES)
    tab.click(SAVE_MIDI)
    assert pitches_of_midi(tab.file(0)) == moved
    tab.click(SAVE_MUSICXML)
    tab.wait("given.length === 2")
    assert pitches_of_score(tab.file(1)) == moved
    first = tab.evaluate(TEXTS)[0].split(" | ")
    tab.click(OPEN_VARY)
    tab.click(KEEP_BAR_ONE)
    tab.click(VARY)
    tab.wait(f"{CARDS} < 50 && {ENDED}")
    varied = [each.split(" | ") for each in tab.evaluate(TEXTS)]
    assert len(varied) > 1
    assert {each[0] for each in varied} == {first[0]}
    assert all(each != first for each in varied[1:])


def test_what_is_starred_is_printed(tab: Tab) -> None:
    """The button prints, and the stars alone stand on paper; where the engine prints to a file it is one sheet."""
    found(tab)
    tab.click(STAR_FIRST)
    tab.click(STAR_FOURTH)
    tab.wait(f"{STARRED} === 2")
    tab.evaluate("(window.print = () => { window.printed = true; }) && 0")
    tab.click(PRINT)
    tab.wait("window.printed")
    sheet = tab.engine.pdf()
    if sheet is not None:
        assert sheet.startswith(b"%PDF-")
        assert 0 < len(sheet) < 3_000_000
    assert tab.evaluate(ON_PAPER) == ["card-idea-1", "card-idea-4"]


def pitches_of_midi(content: bytes) -> list[int]:
    """The notes of a MIDI file as mido reads it."""
    tracks = mido.MidiFile(file=io.BytesIO(content)).tracks
    return [m.note for track in tracks for m in track if m.type == "note_on" and m.velocity]


def pitches_of_score(content: bytes) -> list[int]:
    """The notes of a score as music21 reads it."""
    score = music21.converter.parse(content, format="musicxml").stripTies()
    notes = score.flatten().notes
    return [note.pitch.midi for note in notes if not isinstance(note, music21.harmony.Harmony)]
