"""The local page as a player uses it from the first chord to the printed sheet, in a real browser.

Two tabs, a damaged file, and a server that stops are in `test_workshop`; here it is one walk through all of it.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import mido
import music21
import pytest

from tests.browser.conftest import Server, Tab, borrowed, expect
from tests.browser.test_hearing import FLOOR, LISTEN
from tests.outside.test_tunes import check_schema

CHART = "| Gmaj7 | Em7 A7 | Am7 | D7 |"


@pytest.fixture
def tab(shared: Any, server: Server) -> Iterator[Tab]:
    """The page, open; at the end it has asked no other place for anything, and complained of nothing."""
    with borrowed(shared, 1400, 900) as made:
        made.page.goto(server.address)
        made.page.locator("#chart").wait_for()
        yield made
    own = (server.address, "blob:", "data:")
    assert [address for address in made.asked if not address.startswith(own)] == []
    assert made.trouble == []


def notes_of(tab: Tab, number: int) -> list[int]:
    return [note["midi"] for note in tab.tell(f"fillgen.ideas.get('idea-{number}').notes")]


def pitches(content: bytes) -> list[int]:
    """The phrase in a MIDI file of the right hand alone, as mido reads it."""
    tracks = mido.MidiFile(file=io.BytesIO(content)).tracks
    return [m.note for track in tracks for m in track if m.type == "note_on" and m.velocity]


def test_from_the_first_chord_to_the_printed_sheet(tab: Tab) -> None:
    page = tab.page
    # a chart is typed, key by key
    page.locator("#chart").click()
    page.keyboard.type(CHART)
    expect(page.locator(".chord-row button")).to_have_count(5)
    page.keyboard.press("Tab")
    page.click("button.find")
    expect(page.locator("article.idea")).to_have_count(50)
    expect(page.locator(".found-count")).to_have_text("50 ideas on the page")
    # one is played, the volume turned up from where it begins, so that any machine hears it
    page.locator("#volume").fill("80")
    page.evaluate(LISTEN)
    page.click("#card-idea-1 .play")
    tab.wait("over || (takes.length && takes[0].length > 3)")
    assert tab.tell("loud") > FLOOR
    assert tab.tell("unseen") == []
    page.click("#stop")
    # three are starred, and stand on paper
    for number in (1, 4, 9):
        page.click(f"#card-idea-{number} .star")
    page.emulate_media(media="print")
    expect(page.locator("article:visible")).to_have_count(3)
    expect(page.locator("#workshop")).to_be_hidden()
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf())) == 1
    page.emulate_media(media="screen")
    # in another key: shown, and taken along
    before = notes_of(tab, 4)
    page.select_option("#controls [name=key]", "-2")
    tab.wait("fillgen.shift === -2")
    expect(page.locator("#chords")).to_contain_text("Fmaj7")
    page.click("#card-idea-4 .more summary")
    _, midi = tab.download(lambda: page.click("#card-idea-4 .midi"))
    moved = [midi - 2 for midi in before]
    assert pitches(midi) == moved
    _, written = tab.download(lambda: page.click("#card-idea-4 .musicxml"))
    check_schema(written)
    score = music21.converter.parse(written, format="musicxml").stripTies()
    read = [n.pitch.midi for n in score.flatten().notes if not isinstance(n, music21.harmony.Harmony)]
    assert read == moved
    # the parts that are ticked have a staff each
    for part in ("left", "bass"):
        page.check(f"#controls [name=part][value={part}]")
    _, written = tab.download(lambda: page.click("#card-idea-4 .musicxml"))
    check_schema(written)
    score = music21.converter.parse(written, format="musicxml").stripTies()
    assert len(score.parts) == 3
    assert [n.pitch.midi for n in score.parts[0].recurse().getElementsByClass(music21.note.Note)] == moved
    for part in ("left", "bass"):
        page.uncheck(f"#controls [name=part][value={part}]")
    # two bars are kept, the others found anew
    card = page.locator("#card-idea-4")
    text = tab.tell("fillgen.ideas.get('idea-4').text").split(" | ")
    card.locator(".vary-idea > summary").click()
    for bar in ("Bar 1", "Bar 4"):
        card.get_by_role("checkbox", name=bar).check()
    card.locator("button.vary").click()
    expect(page.locator(".found-what")).to_contain_text("bar 1 and bar 4 kept")
    expect(page.locator(".found-count")).to_contain_text("on the page")
    varied = [each.split(" | ") for each in tab.tell("[...fillgen.ideas.values()].map((each) => each.text)")]
    assert len(varied) > 1
    assert all([each[0], each[3]] == [text[0], text[3]] for each in varied)
    assert all(each[1:3] != text[1:3] for each in varied)


def test_two_tabs_do_not_disturb_each_other(server: Server, tab: Tab) -> None:
    """Each finds over its own chart while the other does."""
    other = Tab(tab.page.context.new_page())
    other.page.goto(server.address)
    for each, chart in ((tab, "| D | C | G | A |"), (other, "| F7 | Bb7 |")):
        each.page.fill("#chart", chart)
        each.page.locator(".chord-row button").first.wait_for()
    for each in (tab, other):
        each.page.click("button.find")
    for each, first in ((tab, "D"), (other, "F7")):
        expect(each.page.locator(".found-count")).to_have_text("50 ideas on the page")
        assert each.tell("fillgen.whole.spans[0][2]") == first
    other.page.close()
    assert other.trouble == []


def test_a_server_that_stops_in_the_middle(browser: Any, tmp_path: Path) -> None:
    """While ideas come in: it is said in words what happened and what to do, and what has come can be played."""
    server = Server(tmp_path)
    tab = Tab(browser.new_context().new_page())
    tab.page.goto(server.address)
    tab.page.fill("#chart", CHART)
    tab.page.locator(".chord-row button").first.wait_for()
    tab.page.evaluate("() => fillgen.player.loadBank().then(() => null)")
    tab.page.click("button.find")
    tab.page.locator("article.idea").first.wait_for()
    server.process.kill()
    server.stop()
    tab.page.click("button.find")
    expect(tab.page.locator(".gone")).to_contain_text("no longer running")
    assert tab.page.locator("article.idea").count() >= 1
    tab.page.click("#card-idea-1 .play")
    tab.wait("fillgen.player.playing === 'idea-1'")
    tab.page.context.close()
    assert [each for each in tab.trouble if "ERR_" not in each] == []
