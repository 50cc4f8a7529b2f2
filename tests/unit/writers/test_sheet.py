"""Sheets of music: the picture as data, its words, pages that need nothing else, PDF, and what is refused."""

from __future__ import annotations

import base64
import re
import xml.etree.ElementTree as ET
import zlib
from collections import Counter
from dataclasses import replace
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from xml.etree.ElementTree import Element

import mido
import pytest

import fillgen
from fillgen.chart.text import parse_chart
from fillgen.errors import FillgenError, OptionError, OutputError
from fillgen.hands.playing import PARTS, Close, Playing
from fillgen.phrase.idea import IdeaNote
from fillgen.phrase.note import Note
from fillgen.readers.phrases import find_phrase, line_up
from fillgen.teaching.lesson import lesson
from fillgen.teaching.practice import own_ideas
from fillgen.theory.metre import METRES
from fillgen.theory.pitch import read_pitch
from fillgen.writers.engraver import bar_widths, engraved, outline
from fillgen.writers.entry import (
    SheetEntry,
    about,
    backing_entry,
    entries_of,
    in_words,
    lesson_entries,
    score_of,
)
from fillgen.writers.layout import Picture, Row
from fillgen.writers.look import PAPERS, USUAL, SheetOptions
from fillgen.writers.midi import to_midi
from fillgen.writers.notation import note_ids
from fillgen.writers.pace import pace_drawing
from fillgen.writers.pdf import pdf_bytes, room_of
from fillgen.writers.sheet import (
    NARROW,
    WIDE,
    drawings,
    kind_of,
    render,
    svg_of,
    text_font_css,
    unshown,
    write,
)

SVG = "{http://www.w3.org/2000/svg}"
CHART = "| Ebmaj7 | Gm7 C7(b9) | Fm7b5 | Bb7 |"
FOUND = fillgen.ideas(CHART, rhythm="swing", count=6, seed=7, level=5)
ENTRIES = entries_of(FOUND)


def own(chart: str, phrase: str, metre: str | None = None, name: str = "own") -> SheetEntry:
    """A phrase of a player's own as an entry."""
    reading = line_up(find_phrase(phrase, metre=metre), chart, metre=metre)
    (entry,) = entries_of(own_ideas(reading.progression, reading.notes))
    return replace(entry, name=name, heading="")


def parts(tree: Element, look: str) -> list[Element]:
    """The groups of a picture that have a class."""
    return [group for group in tree.iter(f"{SVG}g") if look in group.get("class", "").split()]


def glyphs(groups: list[Element]) -> list[str]:
    """The signs of the music font in groups, by their numbers in SMuFL."""
    href = "{http://www.w3.org/1999/xlink}href"
    return [use.get(href, "")[1:5] for group in groups for use in group.iter(f"{SVG}use")]


# The picture as data


def test_a_picture_has_every_note_sign_and_bar() -> None:
    """Notes, rests, accidentals by their signs, bars, bar lines, ties, beams, triplets and fingers are counted."""
    entry = own("| C | C |", "F#5e G5e rq C5et D5et E5et Bb4q~ | Bb4h F5h")
    tree = ET.fromstring(svg_of(entry))
    counts = {
        look: len(parts(tree, look))
        for look in ("note", "rest", "measure", "barLine", "tie", "beam", "tuplet", "fing", "harm", "clef")
    }
    assert counts == {
        "note": 8,
        "rest": 1,
        "measure": 2,
        "barLine": 2,
        "tie": 1,
        "beam": 2,
        "tuplet": 1,
        "fing": 7,
        "harm": 2,
        "clef": 1,
    }
    # E262 sharp, E260 flat, E261 natural, E26A and E26B parentheses: SMuFL 1.4, standard accidentals
    assert Counter(glyphs(parts(tree, "accid"))) == Counter(["E262", "E260", "E26A", "E261", "E26B"])
    # E084 the four of a time signature, SMuFL 1.4
    assert glyphs(parts(tree, "meterSig")) == ["E084", "E084"]


@pytest.mark.parametrize("key", ["C", "G", "F", "Gb", "F#", "Eb minor", "C# minor"])
def test_key_signatures(key: str) -> None:
    """As many sharps or flats as the key has stand at the beginning."""
    found = fillgen.ideas("| I | V7 |" if "minor" not in key else "| i | V7 |", key=key, count=1)
    tree = ET.fromstring(svg_of(entries_of(found)[0]))
    fifths = found.progression.key.fifths
    assert glyphs(parts(tree, "keySig")) == ["E262" if fifths > 0 else "E260"] * abs(fifths)


def test_two_staves_hold_the_left_hand() -> None:
    """With two staves there are two clefs, and every chord of the left hand has its keys and its id."""
    tree = ET.fromstring(svg_of(ENTRIES[0], SheetOptions("two-hands")))
    assert glyphs(parts(tree, "clef")) == ["E050", "E062"]
    chords = parts(tree, "chord")
    assert [chord.get("id") for chord in chords] == [f"idea-1-c{n}" for n in range(5)]
    assert all(len(parts(chord, "note")) in (3, 4) for chord in chords)


def written_in(entry: SheetEntry, look: SheetOptions, part: str) -> list[tuple[int, str]]:
    """The notes of a part in a score, tied parts left out: ticks from the start, and names."""
    score = score_of(entry, look)
    (place,) = [number for number, staff in enumerate(score.staves) if staff.part == part]
    found, at = [], 0
    for bar in score.bars:
        symbols = [each.symbol for each in bar.staves[place]]
        found += [(at + s.tick, s.names[0]) for s in symbols if not s.is_rest and not s.tied_from]
        at += bar.length
    return found


@pytest.mark.costly
@pytest.mark.parametrize("close", [None, "held", "button", "fading"])
@pytest.mark.parametrize("rhythm", ["bossa nova", "swing", "ballad"])
def test_the_bass_has_the_notes_of_the_midi_file(rhythm: str, close: Close | None) -> None:
    """As mido reads them from a file that is played straight: the same ticks and pitches, up to the end of the chart."""
    found = fillgen.ideas("| Ab | Fm7 | Bbm7 Eb7 | Ab |", rhythm=rhythm, count=1, seed=3)
    playing = Playing(parts=PARTS, swing=1.0, close=close)
    (entry,) = entries_of(found, playing.swing, playing)
    at, heard = 0, []
    for message in mido.MidiFile(file=BytesIO(to_midi(found, playing))).tracks[3]:
        at += message.time
        if message.type == "note_on" and message.velocity and at < found.progression.length:
            heard.append((at, message.note))
    shown = written_in(entry, SheetOptions(parts=PARTS), "bass")
    assert [(tick, read_pitch(name)) for tick, name in shown] == heard


@pytest.mark.parametrize(
    ("asked", "clefs"),
    [
        (("right", "left", "bass", "drums"), ["E050", "E062", "E064"]),
        (("left", "bass"), ["E062", "E064"]),
        (("bass", "right"), ["E050", "E064"]),
        (("left",), ["E062"]),
    ],
)
def test_a_sheet_has_a_staff_for_each_part(asked: tuple[str, ...], clefs: list[str]) -> None:
    """Clefs by their code points in SMuFL (W3C, Standard Music Font Layout 1.4): gClef, fClef, and fClef8vb, under
    which a bass at a keyboard's low end is written an octave higher. Chord symbols are above the first staff.
    """
    playing = Playing(parts=asked)
    (entry, *_) = entries_of(FOUND, None, playing)
    tree = ET.fromstring(svg_of(entry, SheetOptions(parts=asked)))
    assert glyphs(parts(tree, "clef")) == clefs
    assert len(parts(tree, "harm")) == 5
    assert bool(parts(tree, "fing")) == ("right" in asked)
    words = in_words(entry, SheetOptions(parts=asked))
    assert ("left hand: " in words, "bass: " in words) == ("left" in asked, "bass" in asked)


def test_organists_have_three_staves() -> None:
    """MusicXML 4.0, `part-symbol`: the brace of a three-staff organ part goes from staff 1 to 2; the pedals sound as written."""
    look = SheetOptions(parts=("right", "left", "bass"), bass="pedals")
    playing = Playing(parts=look.parts, bass="pedals")
    root = ET.fromstring(render(entries_of(FOUND, None, playing)[:2], look, "musicxml"))
    signs = root.find("part/measure/attributes")
    assert signs is not None
    assert [child.tag for child in signs] == [
        "divisions",
        "key",
        "time",
        "staves",
        "part-symbol",
        *["clef"] * 3,
    ]
    brace = signs.find("part-symbol")
    assert brace is not None
    assert brace.attrib == {"top-staff": "1", "bottom-staff": "2"}
    assert not list(root.iter("clef-octave-change"))
    for measure in root.iter("measure"):
        staves = dict.fromkeys("123", 0)
        for note in measure.findall("note"):
            if note.find("chord") is None:
                staves[note.findtext("staff", "")] += int(note.findtext("duration", ""))
        assert set(staves.values()) == {1920}


def test_a_backing_track_is_one_entry() -> None:
    """All ideas together: the left hand under the lowest of them, as their backing track in MIDI has it."""
    playing = Playing(parts=("left", "bass", "drums"))
    entry = backing_entry(FOUND, playing)
    assert (entry.name, entry.heading) == ("backing", "Backing track")
    assert min(each.note.midi for each in entry.notes) == min(idea.lowest for idea in FOUND)
    tree = ET.fromstring(svg_of(entry, SheetOptions(parts=playing.parts)))
    assert not re.search(r'id="backing-n\d', ET.tostring(tree, encoding="unicode"))


def test_drums_alone_are_no_sheet() -> None:
    with pytest.raises(OptionError, match="heard only") as caught:
        render(ENTRIES[:1], SheetOptions(parts=("drums",)), "svg")
    assert "--parts" in caught.value.hint


def test_note_names_stand_under_the_notes() -> None:
    """Each note has its name once, with a real flat, also where it is tied."""
    entry = own("| Cm |", "Eb5q. G5q~ G5e C5q")
    tree = ET.fromstring(svg_of(entry, SheetOptions(note_names=True)))
    assert ["".join(group.itertext()) for group in parts(tree, "syl")] == ["E♭", "G", "C"]
    assert not parts(ET.fromstring(svg_of(entry)), "syl")


def test_fingers_can_be_left_out() -> None:
    tree = ET.fromstring(svg_of(ENTRIES[0], SheetOptions(fingers=False)))
    assert parts(tree, "note")
    assert not parts(tree, "fing")


def test_flats_of_chord_symbols_are_letters() -> None:
    """Symbols come out as text with the signs of Unicode, not with private letters that only one font has."""
    told = ["".join(group.itertext()) for group in parts(ET.fromstring(svg_of(ENTRIES[0])), "harm")]
    assert told == ["E♭maj7", "Gm7", "C7(♭9)", "Fm7♭5", "B♭7"]


def test_fingers_keep_away_from_stems() -> None:
    """No finger touches a stem that goes up beside it: a digit is 150 units wide at most, a stem 18."""
    for entry in entries_of(fillgen.ideas("| Am | Dm | E7 | Am |", metre="6/8", count=20, level=4)):
        tree = ET.fromstring(svg_of(entry))
        stems = [
            [int(number) for number in re.findall(r"-?\d+", path.get("d", ""))]
            for group in parts(tree, "stem")
            for path in group.findall(f"{SVG}path")
        ]
        for group in parts(tree, "fing"):
            text = group.find(f"{SVG}text")
            assert text is not None
            x, y = int(text.get("x", 0)), int(text.get("y", 0))
            assert not [s for s in stems if abs(s[0] - x) < 84 and min(s[1], s[3]) < y < max(s[1], s[3])]


# Ids


def test_every_note_is_found_by_its_id() -> None:
    """The ids of the score are in the picture, each once; a tied note has several, in order."""
    entry = own("| C | F |", "E5h. F5q~ | F5h A5h")
    assert note_ids(score_of(entry)) == [["own-n0"], ["own-n1", "own-n1t1"], ["own-n2"]]
    for each in (entry, *ENTRIES):
        ids = [element.get("id") for element in ET.fromstring(svg_of(each)).iter() if element.get("id")]
        assert len(ids) == len(set(ids))
        assert {name for names in note_ids(score_of(each)) for name in names} <= set(ids)
        assert len(note_ids(score_of(each))) == len(each.notes)


def test_ids_stay_apart_in_one_page() -> None:
    """On a page with many entries no id stands twice, and every use points at a sign that is there."""
    page = render(ENTRIES, SheetOptions("two-hands", note_names=True), "html").decode()
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'xlink:href="#([^"]+)"', page)) <= set(ids)


# Words


def test_pictures_are_told_in_words() -> None:
    """The picture is one image with a title and the phrase in words, chords and rests included."""
    entry = replace(
        own("| C | Bb7 |", "G4e A4e | G5q. E5e~ E5h | Bb4q rq D5h"),
        heading="3 · <arch> & \x07fall \U0001f3b9",
    )
    tree = ET.fromstring(svg_of(entry))
    title, words = tree.find(f"{SVG}title"), tree.find(f"{SVG}desc")
    assert title is not None
    assert words is not None
    assert tree.get("role") == "img"
    assert tree.get("aria-labelledby") == f"{title.get('id')} {words.get('id')}"
    assert title.text == "3 · <arch> & fall \U0001f3b9"
    assert words.text == (
        "Pick-up: G 4 eighth, A 4 eighth. "
        "Bar 1, chord C: G 5 dotted quarter, E 5 eighth and half. "
        "Bar 2, chord B flat 7: B flat 4 quarter, quarter rest, D 5 half."
    )


def test_words_of_odd_bars() -> None:
    """A silent bar, a triplet and a bar without a chord are told as well."""
    entry = own("| Cm | N.C. | Cm |", "rw | C5et D5et Eb5et rh. | C5w")
    assert in_words(entry) == (
        "Bar 1, chord Cm: whole bar rest. "
        "Bar 2, chord N.C.: C 5 triplet eighth, D 5 triplet eighth, E flat 5 triplet eighth, quarter rest, half rest. "
        "Bar 3, chord Cm: C 5 whole."
    )


def test_what_stands_above() -> None:
    """Key, metre, rhythm, tempo and swing stand once where all entries share them, and with each where not."""
    assert about(ENTRIES[0]) == "E♭ major, 4/4, swing, 132 quarter notes a minute, eighths swung 2:1"
    shared = render(ENTRIES, USUAL, "html").decode()
    assert shared.count("quarter = 132") == 1
    other = own("| F | C7 |", "A4h. | Bb4h.", "3/4")
    mixed = render([ENTRIES[0], other], USUAL, "html").decode()
    assert "<h2>1 · " in mixed
    assert "E♭ major, 4/4, swing" in mixed
    slow = replace(own("| C | G7 |", "C5h. E5h. | D5h. B4h.", "12/8"), tempo=84)
    for kind in ("svg", "html"):
        assert 'aria-label="dotted quarter = 56"' in render([slow], USUAL, kind).decode()
    assert mixed.count('aria-label="quarter = 132, eighths swung 2:1"') == 1
    assert "F major, 3/4" in mixed


@pytest.mark.parametrize(
    ("metre", "tempo", "swing", "codes"),
    [
        ("4/4", 132, 1.0, ["ECA5"]),
        ("2/2", 120, 1.0, ["ECA3"]),
        ("12/8", 84, 1.0, ["ECA5", "ECB7"]),
        ("4/4", 132, 2.0, ["ECA5", "E0A4", "E0A4", "ECA5", "ECA7", "E883"]),
    ],
)
def test_the_mark_of_tempo_is_drawn_with_notes(
    metre: str, tempo: int, swing: float, codes: list[str]
) -> None:
    """The glyphs are those that SMuFL 1.4 names for metronome marks, and nothing is drawn outside the picture."""
    drawing = pace_drawing(tempo, swing, METRES[metre])
    outlines = re.findall(r'<path d="([^"]*)"', drawing.inside)
    assert outlines == [outline(chr(int(code, 16)))[0] for code in codes]
    places = [float(x) for x in re.findall(r'(?:translate\(| x=")([\d.]+)', drawing.inside)]
    assert 0 < min(places) <= max(places) < drawing.wide


# Pages and files


@pytest.mark.parametrize("kind", ["svg", "html"])
def test_pages_need_nothing_but_themselves(kind: str) -> None:
    """Nothing is fetched and nothing runs: no address but the names of the two languages, no script."""
    text = render(ENTRIES[:2], SheetOptions(title='</title><script>alert("x")</script> \x08&'), kind).decode()
    tree = ET.fromstring(text.removeprefix("<!DOCTYPE html>"))
    assert not [element for element in tree.iter() if element.tag.endswith("script")]
    addresses = set(re.findall(r'https?://[^"\s<>)]+', text))
    assert addresses <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert not re.findall(r"url\((?!data:)", text)
    assert "@font-face" in text
    assert text.count("@font-face") == 1


def test_html_fits_a_phone_and_paper() -> None:
    """The page tells a small screen its width, scales its pictures, and names the paper asked for."""
    text = render(ENTRIES[:2], SheetOptions(paper="letter"), "html").decode()
    assert 'name="viewport"' in text
    assert "size:letter" in text
    assert "section>svg,section>div>svg{display:block;width:100%" in text
    (wide,) = re.findall(r'id="idea-1-picture" viewBox="0 0 (\d+) ', text)
    assert int(wide) == NARROW / 2.5


def test_an_entry_alone_fills_the_page() -> None:
    """It is there in long lines and, for a small screen, in short ones; no id stands twice; many have one picture."""
    text = render(ENTRIES[:1], USUAL, "html").decode()
    boxes = dict(re.findall(r'id="(idea-1(?:-small)?)-picture" viewBox="0 0 (\d+) ', text))
    assert {name: int(wide) for name, wide in boxes.items()} == {
        "idea-1": WIDE / 2.5,
        "idea-1-small": NARROW / 2.5,
    }
    ids = re.findall(r' id="([^"]+)"', text)
    assert len(ids) == len(set(ids))
    assert '<body class="one">' in text
    assert "-small" not in render(ENTRIES[:2], USUAL, "html").decode()


# Lines


def lines_of(entry: SheetEntry, settings: SheetOptions = USUAL, width: int = WIDE) -> list[list[int]]:
    """The widths of the bars of each line."""
    found = drawings(entry, settings, width=width)
    return [list(line) for drawing in found for line in bar_widths(drawing)]


CROWDED = "Bb4e C5e D5e Eb5e F5e G5e Ab5e G5e F5e Eb5e D5e C5e"


def test_lines_hold_as_many_bars_each() -> None:
    """Four bars that do not fit one line are two and two, not three and one; a pick-up is no bar of them."""
    chart = "| Eb | Bb7 | Bb7 | Eb |"
    entry = own(chart, " | ".join([CROWDED] * 4), "12/8")
    lines = lines_of(entry, SheetOptions("two-hands", note_names=True))
    assert [len(line) for line in lines] == [2, 2]
    late = own(chart, " | ".join(["C5e", *[CROWDED] * 4]), "12/8")
    assert [len(line) for line in lines_of(late, SheetOptions("two-hands", note_names=True))] == [3, 2]


def test_no_line_is_wider_than_the_page() -> None:
    """However bars are parted, all are there, and no line is squeezed or goes beyond the edge."""
    quiet, edge = "C5h. C5h.", 10 * WIDE
    for bars in ((CROWDED, CROWDED, quiet, quiet, quiet), (quiet, quiet, CROWDED, CROWDED, quiet, CROWDED)):
        entry = own("| C " * len(bars) + "|", " | ".join(bars), "12/8")
        lines = lines_of(entry)
        assert sum(map(len, lines)) == len(bars)
        assert all(sum(line) < edge for line in lines)
        drawing = drawings(entry)[0].inside
        assert drawing.count('class="measure"') == len(bars)


def test_a_short_line_is_not_stretched() -> None:
    """A chart of one bar keeps its natural width; four bars fill the line."""
    (short,) = lines_of(own("| C |", "C5h E5h"))
    (full,) = lines_of(own("| C | C | C | C |", "C5q D5q E5q F5q | G5q F5q E5q D5q | C5q D5q E5q F5q | C5w"))
    assert sum(short) < sum(full) / 2
    assert sum(full) == pytest.approx(10 * (WIDE - 40), rel=0.01)


def test_a_wide_picture_has_all_entries() -> None:
    """One picture holds all entries one under another, none over another, within its own edges."""
    tree = ET.fromstring(render(ENTRIES, SheetOptions(title="Harbour Lamps"), "svg"))
    boxes = [
        (float(e.get("y", 0)), float(e.get("height", 0))) for e in tree.findall(f"{SVG}svg") if e.get("role")
    ]
    assert len(boxes) == len(ENTRIES) + 1, "the mark of the tempo and the ideas"
    assert all(y + high <= below for (y, high), (below, _) in pairwise(boxes))
    assert boxes[-1][0] + boxes[-1][1] <= float(tree.get("height", 0))
    first = tree.find(f"{SVG}text")
    assert first is not None
    assert first.text == "Harbour Lamps"


def test_same_entries_same_bytes() -> None:
    """Whatever was engraved between, a sheet comes out the same to the byte."""
    for kind in ("svg", "html", "pdf", "musicxml", "mei"):
        first = render(ENTRIES[:2], USUAL, kind)
        svg_of(ENTRIES[3], SheetOptions("two-hands"))
        assert render(ENTRIES[:2], USUAL, kind) == first


def test_a_long_phrase_goes_over_pages() -> None:
    """What is higher than a page is parted between systems; nothing is lost."""
    found = fillgen.ideas("| Dm | Bb | Gm7 | A7 |" * 12, count=1)
    (entry,) = entries_of(found)
    pages = drawings(entry, height=room_of(PAPERS["a4"])[1] // 2)
    assert len(pages) > 1
    bars = sum(len(parts(ET.fromstring(wrapped(page.inside)), "measure")) for page in pages)
    assert bars == 48
    assert len(set(re.findall(r' id="(idea-1-n[^"]*)"', "".join(page.inside for page in pages)))) >= len(
        entry.notes
    )
    assert svg_of(entry).count('class="measure"') == 48


def wrapped(inside: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">{inside}</svg>'
    )


def test_lessons_have_all_phrases() -> None:
    """A lesson's phrases are entries under their step, each with a name of its own."""
    course = lesson(parse_chart("| C | F | G7 | C |"), levels=(1, 2), per_level=2)
    entries = lesson_entries(course)
    assert [entry.name for entry in entries] == ["step-1-1", "step-1-2", "step-2-1", "step-2-2"]
    assert entries[0].heading.startswith("Level 1: roots · ")


# PDF


def streams(content: bytes) -> bytes:
    """The packed streams of a PDF, one after another: they are deflated and written in ASCII base 85."""
    packed = rb"/Filter \[ /ASCII85Decode /FlateDecode \][^>]*>>\s*stream\r?\n(.*?~>)\s*endstream"
    bodies = re.findall(packed, content, re.DOTALL)
    assert bodies
    return b"\n".join(zlib.decompress(base64.a85decode(b"<~" + body, adobe=True)) for body in bodies)


@pytest.mark.parametrize("paper", PAPERS)
def test_pdf_has_its_paper_and_embedded_fonts(paper: str) -> None:
    """Pages have the size asked for, and every font of the file is embedded, the standard ones left out."""
    content = render(ENTRIES, SheetOptions(paper=paper, note_names=True), "pdf")
    assert content.startswith(b"%PDF-")
    boxes = re.findall(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", content)
    assert {(float(w), float(h)) for w, h in boxes} == {PAPERS[paper]}
    fonts = set(re.findall(rb"/BaseFont /(\S+)", content))
    assert fonts
    assert all(re.match(rb"[A-Z]{6}\+BitstreamVera", font) for font in fonts)
    assert content.count(b"/FontFile2") == len(re.findall(rb"/Type /FontDescriptor", content))


def test_pdf_pages_are_numbered_and_filled() -> None:
    """Many entries take several pages, several entries a page, and as many as there are come out."""
    many = entries_of(fillgen.ideas("| E | D | A | B7 |", count=20))
    assert 2 <= page_count(render(many, USUAL, "pdf")) <= 4


def test_pdf_draws_every_note_head() -> None:
    """The signs of the music font are drawn as outlines: as many note heads as the picture has."""
    (drawing,) = drawings(ENTRIES[0])
    content = streams(pdf_bytes([Row(((Picture(drawing, "Idea", ""),),))], PAPERS["a4"]))
    heads = len(re.findall(rb"/\S*E0A4\S* Do", content))
    tree = ET.fromstring(wrapped(drawing.inside))
    assert heads == glyphs(parts(tree, "notehead")).count("E0A4") > 0


def test_pdf_takes_any_title() -> None:
    """Letters without a shape, control characters and titles longer than a line do no harm."""
    for title in ("Жß ♭ \U0001f3b9 \x00", "x" * 500, "(\\)"):
        assert render(ENTRIES[:1], SheetOptions(title=title), "pdf").startswith(b"%PDF-")


def test_the_music_font_has_the_signs_of_text() -> None:
    """Flat, natural and sharp have outlines; a letter of another font has none."""
    assert all(outline(sign)[0] for sign in "♭♮♯")
    with pytest.raises(KeyError):
        outline("Ж")


def test_letters_without_a_shape_are_told() -> None:
    """What PDF cannot show is named once each; accents, flats and parted accents are shown, and other kinds show all."""
    title = SheetOptions(title="Cafe\u0301 雨 ♭ 雨の \U0001f3b9")
    assert unshown(ENTRIES, title, "pdf") == "雨の\U0001f3b9"
    assert unshown(ENTRIES, title, "svg") == ""
    assert unshown([replace(ENTRIES[0], heading="1 · ☂")], USUAL, "pdf") == "☂"


def test_columns_are_as_wide_as_half_a_page() -> None:
    """Two columns hold the same ideas on fewer pages, two bars a line, and each line is as wide as its column."""
    many = entries_of(fillgen.ideas("| E | D | A | B7 |", count=50))
    one, two = (render(many, SheetOptions(columns=columns), "pdf") for columns in (1, 2))
    assert page_count(two) < page_count(one)
    width, _ = room_of(PAPERS["a4"], 2)
    for entry in many[:5]:
        lines = lines_of(entry, width=width)
        assert [len(line) for line in lines] == [2, 2]
        assert all(sum(line) == pytest.approx(10 * (width - 40), rel=0.01) for line in lines)


def test_whole_lines_reach_the_edge() -> None:
    """A line of four bars is as wide as the page even where it holds little; a shorter last line may be shorter."""
    bars = ["C5w"] * 4
    (line,) = lines_of(own("| C | F | G | C |", " | ".join(bars)))
    assert sum(line) == pytest.approx(10 * (WIDE - 40), rel=0.01)
    twelve = lines_of(own("| C | F | G | C |" * 3, " | ".join(bars * 3)))
    assert [len(each) for each in twelve] == [4, 4, 4]
    assert all(sum(each) == pytest.approx(10 * (WIDE - 40), rel=0.01) for each in twelve)
    *_, last = lines_of(own("| C | F | G | C | F |", " | ".join(["C5w"] * 5)))
    assert sum(last) < 5 * WIDE


def page_count(content: bytes) -> int:
    return len(re.findall(rb"/Type /Page\b(?!s)", content))


def test_pdf_says_what_it_is() -> None:
    """Title, author and language can be read back, a reader shows the title, and nobody else is named (ISO 32000-1, 12.2, 14.3.3)."""
    content = render(ENTRIES[:1], SheetOptions(title="Seven Bridges", author="Mara Lind"), "pdf")
    for wanted in (b"/Title (Seven Bridges)", b"/Author (Mara Lind)", b"/Producer (fillgen)", b"/Lang (en)"):
        assert wanted in content
    assert b"/DisplayDocTitle true" in content
    assert b"eportLab" not in re.sub(rb"%[^\n]*", b"", content)
    assert (
        '<meta name="author" content="Mara Lind"/>'
        in render(ENTRIES[:1], SheetOptions(author="Mara Lind"), "html").decode()
    )


# What is refused

LONG = own("| C | F | G | C | F |", "C5w | C5w | C5w | C5w | C5w", name="long")


@pytest.mark.parametrize(
    ("made", "told"),
    [
        (lambda: SheetOptions(view="score"), "unknown view"),
        (lambda: SheetOptions(columns=3), "3 columns"),
        (lambda: render([LONG], SheetOptions(columns=2), "pdf"), "up to four bars, not 5 bars"),
        (lambda: SheetOptions(paper="a5"), "unknown paper 'a5'"),
        (lambda: replace(ENTRIES[0], name="1 idea"), "is not a name"),
        (lambda: replace(ENTRIES[0], name='x" onload="'), "is not a name"),
        (lambda: render([], USUAL, "svg"), "nothing to engrave"),
        (lambda: render([ENTRIES[0]] * 2, USUAL, "svg"), "the same name"),
        (lambda: render(ENTRIES, USUAL, "pfd"), "Did you mean 'pdf'"),
        (lambda: kind_of("ideas.png"), "Use .svg, .pdf"),
        (lambda: kind_of("dir.pdf/"), "'dir.pdf/' is a folder"),
        (lambda: kind_of(""), "Use .svg, .pdf"),
        (lambda: engraved("<mei", "x", 2100), "cannot be engraved"),
    ],
)
def test_wrong_options_are_told(made: object, told: str) -> None:
    """A wrong setting, name, kind or score ends in a message that says what to do."""
    assert callable(made)
    with pytest.raises(FillgenError, match=re.escape(told)):
        made()


def test_a_note_too_short_is_told() -> None:
    """A note that no sign stands for is refused with the place."""
    entry = SheetEntry("a", parse_chart("| C |"), (IdeaNote(1, Note(0, 7, 60), "C4", "", ""),), "1 · arch")
    with pytest.raises(OutputError, match="1 · arch: has notes too short"):
        svg_of(entry)


def test_files_are_whole_or_not_at_all(tmp_path: Path) -> None:
    """A file that exists is left as it was, and nothing else is left behind."""
    path = tmp_path / "ideas.svg"
    write(path, ENTRIES[:1])
    before = path.read_bytes()
    with pytest.raises(OutputError, match="exists already"):
        write(path, ENTRIES[:2])
    with pytest.raises(OptionError):
        write(tmp_path / "ideas.png", ENTRIES)
    assert [entry.name for entry in tmp_path.iterdir()] == ["ideas.svg"]
    assert path.read_bytes() == before
    write(path, ENTRIES[:2], overwrite=True)
    assert path.read_bytes() != before


def test_a_phrase_without_notes_is_rests() -> None:
    """An empty phrase is engraved as rests, with the left hand below."""
    entry = SheetEntry("a", parse_chart("| C | F |"), ())
    tree = ET.fromstring(svg_of(entry, SheetOptions("two-hands")))
    assert len(parts(tree, "mRest")) == 2
    assert note_ids(score_of(entry)) == []


def test_font_css_is_one_rule() -> None:
    assert text_font_css().startswith("@font-face {font-family: 'Leipzig';")
    assert "</" not in text_font_css()
