"""The one-file page and its modules in headless Chromium: what it shows, plays and gives as files.

The files that the page makes are held against those of the command line, which other tests hold against published
schemas and other libraries; those in another key against mido, music21 and the schema of MusicXML 4.0 (W3C Music
Notation Community Group).
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

import mido
import music21
import pytest
from lxml import etree

import fillgen
from fillgen.hands.playing import PARTS, Playing
from fillgen.page import ASSETS, asset, shell
from fillgen.page.data import Stage
from fillgen.page.voices import bank_text
from fillgen.readers.phrases import find_phrase, line_up
from fillgen.theory.metre import swung
from fillgen.vary import vary as varied
from fillgen.vary.wish import read_keep
from fillgen.writers.entry import entries_of, in_words
from fillgen.writers.look import SheetOptions
from fillgen.writers.midi import to_midi
from fillgen.writers.sheet import render
from tests.browser.conftest import Open, Tab, borrowed
from tests.outside.test_tunes import check_schema

# What it shows


def test_page_shows_all_ideas(open_page: Open, ideas: fillgen.Ideas) -> None:
    """A card an idea, with every note drawn; its words for the blind are those of the program."""
    tab = open_page(ideas)
    assert tab.page.locator("article.idea").count() == len(ideas)
    assert tab.page.locator("h1").inner_text() == "Lantern Steps & Co"
    for entry, idea in zip(entries_of(ideas), ideas, strict=True):
        picture = tab.page.locator(f"#card-{entry.name} .picture")
        heads = picture.locator(".note:not([id*=t]) .notehead")
        assert heads.count() == len(idea.notes)
        assert picture.get_attribute("aria-label") == in_words(entry)


def test_another_key_is_shown_and_told(open_page: Open, ideas: fillgen.Ideas) -> None:
    """In another key pictures and words change as if the chart had been typed there, and back again."""
    tab = open_page(ideas)
    label = tab.page.locator("#card-idea-1 .picture")
    before = label.inner_html()
    tab.page.select_option("[name=key]", "2")
    tab.wait("document.getElementById('status').textContent.startsWith('Now in F major')")
    phrase = [note.midi + 2 for note in ideas[0].phrase]
    told = label.get_attribute("aria-label")
    assert told is not None
    assert told.startswith("Bar 1, chord Fmaj7: ")
    assert tab.page.evaluate("() => fillgen.looks.get(2).ideas['idea-1'].names.length") == len(phrase)
    assert label.inner_html() != before
    assert "Fmaj7 | Am7 D7 | Gm7 | C7" in tab.page.locator("#chords").inner_text()
    assert tab.page.locator("#about").inner_text().startswith("F major, 4/4, swing, ")
    tab.page.select_option("[name=key]", "0")
    tab.wait("document.getElementById('status').textContent.startsWith('Now in E♭ major')")
    assert label.inner_html() == before
    assert tab.page.locator("#about").inner_text().startswith("E♭ major, 4/4, swing, ")


SLOWLY = """() => {
    const fetched = fillgen.fetchLook;
    window.waiting = [];
    fillgen.fetchLook = (shift) => new Promise((done) => waiting.push(() => done(fetched(shift))));
}"""


def test_a_key_that_is_not_wanted_any_more_does_not_come(open_page: Open, ideas: fillgen.Ideas) -> None:
    """Back in its own key before another has come, the page stays there, in what it shows and in what it plays."""
    tab = open_page(ideas)
    tab.page.evaluate(SLOWLY)
    before = tab.page.locator("#card-idea-1 .picture").inner_html()
    tab.page.select_option("[name=key]", "2")
    tab.wait("waiting.length === 1")
    tab.page.select_option("[name=key]", "0")
    tab.tell("waiting[0]()")
    tab.wait("fillgen.looks.has(2)")
    assert tab.tell("[fillgen.shift, fillgen.wishes.shift]") == [0, 0]
    assert tab.page.locator("#card-idea-1 .picture").inner_html() == before
    tab.page.select_option("[name=key]", "2")
    tab.wait("fillgen.shift === 2")
    tab.page.select_option("[name=key]", "3")
    tab.page.select_option("[name=key]", "4")
    tab.wait("waiting.length === 3")
    tab.tell("waiting[2]()")
    tab.wait("fillgen.shift === 4")
    tab.tell("waiting[1]()")
    tab.wait("fillgen.looks.has(3)")
    assert tab.tell("fillgen.shift") == 4


def test_files_are_made_of_ideas_that_came_late(open_page: Open, ideas: fillgen.Ideas) -> None:
    """An idea that a key lacks, as while ideas still come, is fetched before its file is made; else it is said."""
    tab = open_page(ideas)
    tab.page.select_option("[name=key]", "2")
    tab.wait("fillgen.shift === 2")
    tab.tell("delete fillgen.looks.get(2).ideas['idea-2']")
    tab.page.click("#card-idea-2 summary")
    _, content = tab.download(lambda: tab.page.click("#card-idea-2 .midi"))
    struck = [m.note for m in mido.MidiFile(file=io.BytesIO(content)).tracks[1] if m.type == "note_on"]
    assert struck == [note.midi + 2 for note in ideas[1].phrase]
    tab.page.evaluate(
        "() => { fillgen.looks.clear(); fillgen.fetchLook = async () => { throw new Error('nothing answers'); }; }"
    )
    tab.page.click("#card-idea-2 .musicxml")
    tab.wait("document.getElementById('alert').textContent")
    assert tab.page.locator("#alert").inner_text() == "The file cannot be made: nothing answers."


def test_names_and_fingers_on_request(open_page: Open, ideas: fillgen.Ideas) -> None:
    tab = open_page(ideas)
    card = tab.page.locator("#card-idea-1")
    assert card.locator(".fing").first.is_visible()
    assert card.locator(".note-name").count() == 0
    tab.page.uncheck("[name=fingers]")
    tab.page.check("[name=names]")
    assert not card.locator(".fing").first.is_visible()
    names = [name.rstrip("0123456789") for name in (note.name for note in ideas[0].notes)]
    shown = card.locator(".note-name").all_text_contents()
    assert [name.replace("♭", "b").replace("♯", "#") for name in shown] == names
    tab.page.uncheck("[name=names]")
    assert card.locator(".note-name").count() == 0


def test_filters_and_order(open_page: Open, ideas: fillgen.Ideas) -> None:
    tab = open_page(ideas)
    shape = ideas[0].shape
    tab.page.select_option("[name=shape]", shape)
    fitting = sum(idea.shape == shape for idea in ideas)
    assert tab.page.locator("article:visible").count() == fitting
    tab.page.select_option("[name=shape]", "")
    thirds = []
    for value in ("0", "1", "2"):
        tab.page.select_option("[name=hard]", value)
        thirds.append(tab.page.locator("article:visible").count())
    assert sum(thirds) == len(ideas)
    tab.page.select_option("[name=hard]", "")
    tab.page.select_option("[name=sort]", "hard")
    order = tab.page.evaluate(
        "() => [...document.querySelectorAll('article')].map((a) => fillgen.ideas.get(a.dataset.id).hard)"
    )
    assert order == sorted(order)


def test_stars_are_kept_printed_and_given(open_page: Open, ideas: fillgen.Ideas) -> None:
    """Stars outlast the page; on paper stands what is starred, even where a filter hides it."""
    tab = open_page(ideas)
    for number in (1, 3, 4):
        tab.page.click(f"#card-idea-{number} .star")
    assert tab.page.locator("#kept").inner_text() == "3 ideas are starred."
    tab.page.reload()
    tab.wait("document.querySelector('.starred')")
    assert tab.page.evaluate("() => fillgen.stars()") == ["idea-1", "idea-3", "idea-4"]
    tab.page.select_option("[name=shape]", ideas[0].shape)
    tab.page.emulate_media(media="print")
    assert tab.page.locator("article:visible").count() == 3
    assert not tab.page.locator("#controls").is_visible()
    tab.page.emulate_media(media="screen")
    name, content = tab.download(lambda: tab.page.click("#all-midi"))
    assert name == "starred.mid"
    markers = [m.text for m in mido.MidiFile(file=io.BytesIO(content)).tracks[0] if m.type == "marker"]
    assert [text.partition(":")[0] for text in markers] == ["Idea 1", "Idea 3", "Idea 4"]


def test_without_stars_nothing_is_printed(open_page: Open, ideas: fillgen.Ideas) -> None:
    tab = open_page(ideas)
    tab.page.click("#print")
    assert "Star an idea first" in tab.page.locator("#alert").inner_text()
    tab.page.emulate_media(media="print")
    assert tab.page.locator("#print-notice").is_visible()
    assert tab.page.locator("article:visible").count() == 0


@pytest.mark.parametrize("width", [360, 800, 1400])
def test_nothing_is_wider_than_the_screen(open_page: Open, ideas: fillgen.Ideas, width: int) -> None:
    tab = open_page(ideas, viewport=(width, 800))
    for panel in tab.page.locator("details.panel").all():
        panel.evaluate("(each) => { each.open = true; }")
    assert tab.page.evaluate("() => document.documentElement.scrollWidth") <= width


# What it plays


def test_play_loop_change_and_stop(open_page: Open, ideas: fillgen.Ideas) -> None:
    """It goes on while the tempo, the key and the parts change; Escape and the button stop it; one plays at a time."""
    tab = open_page(ideas)
    tab.page.evaluate("""() => { window.rounds = [];
        document.addEventListener("fillgen:round", ({ detail }) => rounds.push(detail)); }""")
    tab.page.check("[name=loop]")
    tab.page.check("[name=slow]")
    tab.page.click("#card-idea-2 .play")
    tab.wait("fillgen.player.playing === 'idea-2'")
    assert tab.page.evaluate("() => rounds[0].tempo") == pytest.approx(ideas.tempo * 0.6)
    tab.page.fill("#tempo", "200")
    tab.page.check("[name=part][value=drums]")
    tab.page.select_option("[name=key]", "-3")
    tab.wait("fillgen.shift === -3")
    assert tab.page.evaluate("() => rounds.at(-1).tempo") == pytest.approx(120)
    tab.page.click("#card-idea-1 .play")
    tab.wait("fillgen.player.playing === 'idea-1'")
    assert tab.page.locator(".sounding").count() == 1
    tab.page.keyboard.press("Escape")
    assert tab.page.evaluate("() => fillgen.player.playing") is None
    tab.page.click("#card-idea-3 .play")
    tab.wait("fillgen.player.playing === 'idea-3'")
    tab.page.click("#stop")
    assert tab.page.evaluate("() => fillgen.player.playing") is None
    assert not tab.page.locator("#now").is_visible()


# Files


PLAYINGS = {
    "right hand": (Playing(), {}),
    "all parts": (Playing(parts=PARTS, count_in=True), {"right": "Drawbar Organ"}),
    "held and slower": (Playing(parts=PARTS, close="held", slow_down=True), {}),
    "fading": (Playing(parts=("right", "left"), close="fading"), {}),
    "swing 3": (Playing(parts=("right", "bass"), swing=3.0), {"left": "1"}),
}


CHANGING = "title: Ink & <Ivory>\n| 2/4 Ebm7 | 4/4 Abm7 Db7 | 3/4 Gb | 4/4 Bb7(b9) |"
"""A chart whose metre changes, and is another at its beginning than at its end."""


@pytest.mark.parametrize("chart", ["| Dm7 | G7 | C6 | C6 |", CHANGING])
@pytest.mark.parametrize("case", PLAYINGS)
def test_midi_is_that_of_the_command_line(case: str, chart: str, open_page: Open) -> None:
    """Byte for byte, for one idea and for all that are starred."""
    playing, sounds = PLAYINGS[case]
    found = fillgen.ideas(chart, rhythm="swing", count=2, seed=4, level=5)
    tab = open_page(found, playing, sounds)
    for number in (1, 2):
        tab.page.click(f"#card-idea-{number} .star")
    _, content = tab.download(lambda: tab.page.click("#all-midi"))
    assert content == to_midi(found, playing, sounds)
    tab.page.click("#card-idea-1 summary")
    name, _ = tab.download(lambda: tab.page.click("#card-idea-1 .midi"))
    assert name == "idea-01.mid"


@pytest.mark.parametrize("metre", ["4/4", "3/4", "5/4", "6/8", "12/8", "2/2", "changing"])
def test_musicxml_is_that_of_the_command_line(metre: str, open_page: Open) -> None:
    """The same elements in the same order, blanks aside."""
    chart = "title: Ink & <Ivory>\n| Ebm7 | Abm7 | Bb7(b9) | Ebm |"
    chart, metre = (CHANGING, "4/4") if metre == "changing" else (chart, metre)
    found = fillgen.ideas(
        chart,
        metre=metre,
        level=5,
        busy="many",
        count=2,
        seed=1,
    )
    tab = open_page(found)
    for number in (1, 2):
        tab.page.click(f"#card-idea-{number} .star")
    _, content = tab.download(lambda: tab.page.click("#all-musicxml"))
    check_schema(content)
    assert plain(content) == plain(render(entries_of(found), SheetOptions(), "musicxml"))


def plain(content: bytes) -> bytes:
    """A document without blanks between elements, in the canonical form of XML."""
    parser = etree.XMLParser(remove_blank_text=True, load_dtd=False, no_network=True)
    return bytes(etree.tostring(etree.fromstring(content, parser), method="c14n"))


@pytest.mark.parametrize("shift", [-5, 3, 6])
def test_files_of_another_key(shift: int, open_page: Open, ideas: fillgen.Ideas) -> None:
    """mido and music21 read the same phrase that much higher, in the key that the page names."""
    tab = open_page(ideas)
    tab.page.select_option("[name=key]", str(shift))
    tab.wait(f"fillgen.shift === {shift}")
    tab.page.click("#card-idea-2 summary")
    name, content = tab.download(lambda: tab.page.click("#card-idea-2 .midi"))
    wanted = [note.midi + shift for note in ideas[1].phrase]
    file = mido.MidiFile(file=io.BytesIO(content))
    assert [m.note for m in file.tracks[1] if m.type == "note_on"] == wanted
    key = tab.page.evaluate(f"() => fillgen.looks.get({shift}).key")
    assert next(m.key for m in file.tracks[0] if m.type == "key_signature") == key.split()[0]
    assert name.endswith(f"-in-{key.split()[0]}.mid")
    _, text = tab.download(lambda: tab.page.click("#card-idea-2 .musicxml"))
    check_schema(text)
    score = music21.converter.parse(text, format="musicxml").stripTies()
    assert [
        note.pitch.midi for note in score.flatten().notes if not isinstance(note, music21.harmony.Harmony)
    ] == wanted
    signature = score.flatten().getElementsByClass(music21.key.KeySignature)[0]
    assert signature.sharps == tab.page.evaluate(f"() => fillgen.looks.get({shift}).fifths")


# The modules, served as the local page serves them


@pytest.fixture
def served(shared: Any) -> Iterator[Tab]:
    """The page without data, from an address that only this browser knows."""
    core = {name for name in ASSETS if not name.startswith("workshop/")}

    def answer(route: Any) -> None:
        name = route.request.url.removeprefix("http://page.test/token/")
        if not name:
            text = "\n".join(line for line in shell().splitlines() if "workshop/" not in line)
            route.fulfill(body=text, content_type="text/html; charset=utf-8")
        elif name == "assets/bank.json":
            route.fulfill(body=bank_text(), content_type="application/json")
        elif name.removeprefix("assets/") in core:
            inside = name.removeprefix("assets/")
            route.fulfill(body=asset(inside), content_type=ASSETS[inside])
        else:
            route.fulfill(status=404)

    with borrowed(shared) as tab:
        tab.page.route("**/*", answer)
        tab.page.goto("http://page.test/token/")
        tab.wait("window.fillgen")
        yield tab
    assert tab.trouble == []


def test_sounds_that_fail_once_can_be_asked_for_again(served: Tab, ideas: fillgen.Ideas) -> None:
    """After a refusal, said in words, Play works; a second Play while the sounds come waits for the same."""
    stage = Stage(ideas)
    served.page.evaluate("(whole) => fillgen.begin(whole)", stage.whole())
    for idea in ideas[:2]:
        served.page.evaluate("(idea) => fillgen.add(idea)", stage.idea(idea))
    served.page.evaluate("() => fillgen.end()")
    assert "Nothing leaves this computer." in served.page.locator("#foot").inner_text()
    served.page.route("**/bank.json", lambda route: route.fulfill(status=503))
    served.page.click("#card-idea-1 .play")
    served.wait("document.getElementById('alert').textContent")
    assert "could not be fetched (answer 503)" in served.page.locator("#alert").inner_text()
    served.page.unroute("**/bank.json")
    served.page.route("**/bank.json", lambda route: route.abort())
    served.page.click("#card-idea-1 .play")
    served.wait("document.getElementById('alert').textContent.includes('nothing answers')")
    served.page.unroute("**/bank.json")
    before = len(served.asked)
    served.tell("[1, 2].forEach((n) => document.querySelector(`#card-idea-${n} .play`).click())")
    served.wait("fillgen.player.playing === 'idea-2'")
    assert [each.rpartition("/")[2] for each in served.asked[before:]] == ["bank.json"]
    assert all("Failed to load resource" in each for each in served.trouble)
    served.trouble.clear()


def test_swing_is_that_of_the_program(served: Tab) -> None:
    """Every tick of two bars at many ratios falls where it falls in MIDI files, halves rounded alike."""
    ratios = [1.0, 1.1, 1.25, 1.35, 1.5, 1.667, 1.9, 2.0, 2.5, 3.0, 3.7, 4.0]
    there = served.page.evaluate(
        """async (ratios) => { const { swung } = await import("/token/assets/music.js");
        return ratios.map((ratio) => Array.from({ length: 3840 }, (_, tick) => swung(tick, ratio))); }""",
        ratios,
    )
    assert there == [[swung(tick, ratio) for tick in range(3840)] for ratio in ratios]


def test_ideas_come_one_by_one(served: Tab, ideas: fillgen.Ideas) -> None:
    """The shell takes a whole and ideas as a server sends them, and plays from the bank that it fetches."""
    stage = Stage(ideas)
    served.page.evaluate("(whole) => fillgen.begin(whole)", stage.whole())
    for idea in ideas:
        served.page.evaluate("(idea) => fillgen.add(idea)", stage.idea(idea))
    served.page.evaluate("() => fillgen.end()")
    assert served.page.locator("article.idea").count() == len(ideas)
    served.page.click("#card-idea-2 .play")
    served.wait("fillgen.player.playing === 'idea-2'")
    served.wait("Math.max(...fillgen.player.samples().map(Math.abs)) > 0.01")
    served.page.evaluate("(whole) => fillgen.begin(whole)", stage.whole())
    assert served.page.evaluate("() => fillgen.player.playing") is None
    assert served.page.locator("article.idea").count() == 0


def test_a_pick_up_is_shown_and_given(open_page: Open) -> None:
    """Ideas that vary a phrase with a pick-up have its short bar, in words and in MusicXML."""
    phrase = "Bb4e C5e | G5q F5q Eb5h | D5q. C5e Bb4h | C5q D5q Eb5h | F5h D5h"
    reading = line_up(find_phrase(phrase), "| Eb | Gm | Ab | Bb7 |")
    found = varied(
        fillgen.Request(reading.progression, count=2, closes=reading.whole), reading.notes, read_keep("1,2")
    )
    tab = open_page(found)
    told = tab.page.locator("#card-idea-1 .picture").get_attribute("aria-label")
    assert told == in_words(entries_of(found)[0])
    tab.page.click("#card-idea-1 summary")
    _, content = tab.download(lambda: tab.page.click("#card-idea-1 .musicxml"))
    check_schema(content)
    assert plain(content) == plain(render(entries_of(found)[:1], SheetOptions(), "musicxml"))
