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
READY = "document.body.dataset.ready === 'true'"
CHORDS = "#chart"
FIND = "button.find"
FIRST, FOURTH, LAST = "#card-2-1", "#card-2-4", "#card-2-50"  # the first round is the example
PLAY, STOP = f"{FIRST} .play", ("button", "Stop")
STAR_FIRST, STAR_FOURTH = f"{FIRST} .star", f"{FOURTH} .star"
OPEN_VIEW, KEY = "#view > summary", "#view [name=key]"
OPEN_VARY, KEEP_BAR_ONE, VARY = f"{FIRST} .vary", f"{FIRST} .bar-keep[data-bar='1']", f"{FIRST} .vary-find"
SAVE_MIDI, SAVE_MUSICXML = f"{FIRST} .midi", f"{FIRST} .musicxml"
OPEN_TRAY, PRINT = "#tray-button", "#print"

# What the page shows and knows, as JavaScript
READ_CHORDS = "document.querySelectorAll('.chart-bars .chord').length"
ENDED = f"document.querySelector('{LAST}') && fillgen.workshop.search.under === null"
DRAWN = f"document.querySelector('{FIRST} .picture svg path, {FIRST} .picture svg use')"
NOTES = "fillgen.entries.get('2-1').idea.notes.map((note) => note.midi)"
TEXTS = "fillgen.listed().map(({ idea }) => idea.text)"
LIT = f"document.querySelector('{FIRST} .lit')"
SOUND = "Math.hypot(...fillgen.player.samples()) / Math.sqrt(fillgen.player.samples().length)"
PLAYING = "fillgen.player.playing"
STARRED = "fillgen.tray.kept.size"
SHIFT = "fillgen.lookOf(fillgen.entries.get('2-1')).own.shift"
VARIATIONS = "fillgen.rounds[1].entries.map(({ idea }) => idea.text)"
VARIED = "document.querySelectorAll('.variations .idea').length"
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
    engine_tab.wait(READY)
    yield engine_tab
    engine_tab.engine.forget()
    server.stop()


def found(tab: Tab) -> None:
    """A chart typed key by key, and its fifty ideas."""
    tab.fill(CHORDS, CHART)
    tab.wait(f"{READ_CHORDS} === 5")
    tab.click(FIND)
    tab.wait(ENDED)
    tab.wait(DRAWN)


def test_the_main_way(tab: Tab) -> None:
    """Typed, found, played, starred, in another key, taken along, varied, and still there after a reload."""
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
    tab.click(OPEN_VIEW)
    tab.choose(KEY, "F major")
    tab.click(OPEN_VIEW)
    tab.wait(f"{SHIFT} === -4")
    moved = [midi - 4 for midi in before]
    tab.watch_files()
    tab.click(SAVE_MIDI)
    assert pitches_of_midi(tab.file(0)) == moved
    tab.click(SAVE_MUSICXML)
    tab.wait("given.length === 2")
    assert pitches_of_score(tab.file(1)) == moved
    first = tab.evaluate(TEXTS)[0].split(" | ")
    tab.click(OPEN_VARY)
    tab.click(KEEP_BAR_ONE)
    tab.click(VARY)
    tab.wait(f"{VARIED} > 1 && fillgen.workshop.search.under === null")
    varied = [each.split(" | ") for each in tab.evaluate(VARIATIONS)]
    assert {each[0] for each in varied} == {first[0]}
    assert all(each != first for each in varied)
    texts = tab.evaluate(TEXTS)
    tab.engine.goto(tab.evaluate("location.href"))
    tab.wait(f"{READY} && {STARRED} === 2")
    assert tab.evaluate(TEXTS) == texts
    tab.wait(f"{SHIFT} === -4")


def test_what_is_starred_is_printed(tab: Tab) -> None:
    """The button prints, and the stars alone stand on paper; where the engine prints to a file it is one sheet."""
    found(tab)
    tab.click(STAR_FIRST)
    tab.click(STAR_FOURTH)
    tab.wait(f"{STARRED} === 2")
    tab.evaluate("(window.print = () => { window.printed = true; }) && 0")
    tab.click(OPEN_TRAY)
    tab.click(PRINT)
    tab.wait("window.printed")
    sheet = tab.engine.pdf()
    if sheet is not None:
        assert sheet.startswith(b"%PDF-")
        assert 0 < len(sheet) < 3_000_000
    assert tab.evaluate("fillgen.tray.entries.map(({ idea }) => idea.rank)") == [1, 4]
    assert tab.evaluate(ON_PAPER) == ["card-starred-1", "card-starred-2"]


def pitches_of_midi(content: bytes) -> list[int]:
    """The notes of a MIDI file as mido reads it."""
    tracks = mido.MidiFile(file=io.BytesIO(content)).tracks
    return [m.note for track in tracks for m in track if m.type == "note_on" and m.velocity]


def pitches_of_score(content: bytes) -> list[int]:
    """The notes of a score as music21 reads it."""
    score = music21.converter.parse(content, format="musicxml").stripTies()
    notes = score.flatten().notes
    return [note.pitch.midi for note in notes if not isinstance(note, music21.harmony.Harmony)]
