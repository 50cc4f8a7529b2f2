"""Sheets of music against what is not ours: a schema, two readers, and an engraver that says when it is not content.

Sources: the schema musicxml.xsd of MusicXML 4.0 (W3C Music Notation Community Group), as the package `musicxml` carries
it; music21 as reader of MusicXML and MEI, and as writer of accidentals and beams of its own; verovio, whose warnings
count as faults. Key signatures: the circle of fifths, common practice.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import count, cycle
from pathlib import Path
from typing import Any

import music21
import pytest

import fillgen
from fillgen.chart.text import parse_chart
from fillgen.phrase.articulation import slurred
from fillgen.phrase.idea import IdeaNote, Ideas
from fillgen.phrase.note import Note
from fillgen.readers.confined import read_tune
from fillgen.readers.phrases import find_phrase, line_up
from fillgen.rules.pack import RulePack
from fillgen.teaching.practice import own_ideas
from fillgen.theory.metre import METRES, TICKS
from fillgen.theory.pitch import all_keys, read_pitch
from fillgen.tune import TuneRequest, pieces
from fillgen.writers.engraver import engraved
from fillgen.writers.entry import SheetEntry, entries_of, score_of
from fillgen.writers.look import USUAL, SheetOptions
from fillgen.writers.mei import to_mei
from fillgen.writers.sheet import render, svg_of, tune_entry
from tests.effort import one_in, thinned
from tests.outside.test_tunes import check_schema

PACK = RulePack()
TUNE = Path(__file__).parents[2] / "shared/tunes/garden-gate.musicxml"
FULL = SheetOptions("two-hands", note_names=True)
CHARTS = {
    "even": "| Gm7 C7(b9) | Fm7b5/Cb |",
    "odd": "| Gm7 / C7(b9) | Bb7sus4 |",
    "five": "| Gm7 / / C7(b9) / | Bb7 |",
    "seven": "| Gm7 / / / C7(b9) / / | Bb7 |",
}
BY_BEATS = {1: "even", 2: "even", 3: "odd", 4: "even", 5: "five", 7: "seven"}
COMBINATIONS = [(rhythm, metre) for rhythm in PACK.rhythm_names for metre in PACK.rhythm(rhythm).metres]
SVG = "{http://www.w3.org/2000/svg}"


@cache
def of_metre(rhythm: str, metre: str, level: int) -> Ideas:
    """Two ideas of a rhythm, a metre and a level."""
    chart = CHARTS[BY_BEATS[METRES[metre].beats]]
    return fillgen.ideas(chart, rhythm=rhythm, metre=metre, level=level, key="Eb", count=2, seed=level)


@cache
def of_keys() -> tuple[Ideas, ...]:
    """An idea in every key that has a signature."""
    charts = {"major": "| Imaj7 | VI7 | V7 |", "minor": "| i | iim7b5 | V7 |"}
    return tuple(
        fillgen.ideas(charts[key.mode], key=str(key), level=5, count=1) for key in thinned(3, all_keys())
    )


def own(chart: str, phrase: str, metre: str = "4/4") -> SheetEntry:
    """A phrase of a player's own."""
    reading = line_up(find_phrase(phrase, metre=metre), chart, metre=metre)
    (entry,) = entries_of(own_ideas(reading.progression, reading.notes))
    return replace(entry, name=f"own-{next(_NUMBERS)}", heading="")


_NUMBERS = count(1)
OWN = [
    own("| C | F |", "G4e A4e B4e | C5e C5st D5st E5st F5q G5h | rq A5q~ A5qt B5qt C6qt"),
    own("| C | F |", "C5et D5et E5et F5e G5e A5q B5q | F#5h F5q F#5q", "2/2"),
    own("| Fm7b5/Ab | Bb7 |", "Cb5et D5et E5et Cb5q C5q C#5q | Gb4h F4q G#5q"),
    own("| C |", "C5s D5s E5e F5e. G5s A5s B5e C6s rs D5e."),
    own("| C | F C7/G |", "G4e A4s B4s | C5q E5e F5q. | G5e E5q C5q.", "6/8"),
    own("| C | F | C |", "rqt G4et | C5q. D5e E5q E5q | F#5w~ | F#5h F5h"),
]


CIRCLING = ("C5", "F#5", "F4", "Bb4", "B4", "F5", "Eb5")
"""Names outside and inside C major, so that signs and courtesies are needed again and again."""


@cache
def of_cells(metre: str) -> SheetEntry:
    """All rhythm cells of a metre, bar after bar, over one chord."""
    tables = [PACK.rhythm(rhythm).cells for rhythm in PACK.rhythm_names]
    cells = {
        cell.notes: None
        for table in tables
        for (name, _), row in table.items()
        if name == metre
        for cell in row
    }
    names = cycle(CIRCLING)
    notes = [
        IdeaNote(1, Note(bar * METRES[metre].bar + onset, length, read_pitch(name)), name, "", "")
        for bar, cell in enumerate(cells)
        for (onset, length), name in zip(cell, names, strict=False)
        if onset + length <= METRES[metre].bar
    ]
    chart = parse_chart("| C " * len(cells) + "|", metre=metre, key="C")
    return SheetEntry(f"cells-{metre.replace('/', '-')}", chart, tuple(notes))


# The engraver


def test_the_engraver_is_content_with_every_rhythm(capfd: pytest.CaptureFixture[str]) -> None:
    """No warning for rhythms in their metres, each at some level, on two staves with fingers and names."""
    for number, (rhythm, metre) in enumerate(thinned(3, COMBINATIONS)):
        content_with(rhythm, metre, 1 + number % 5, capfd)


@pytest.mark.slow
@pytest.mark.parametrize("level", PACK.level_numbers)
def test_the_engraver_is_content_with_every_level(level: int, capfd: pytest.CaptureFixture[str]) -> None:
    """Nor at any level."""
    for rhythm, metre in COMBINATIONS:
        content_with(rhythm, metre, level, capfd)


def content_with(rhythm: str, metre: str, level: int, capfd: pytest.CaptureFixture[str]) -> None:
    for entry in entries_of(of_metre(rhythm, metre, level)):
        picture = svg_of(entry, FULL)
        assert capfd.readouterr().err == "", (rhythm, metre, level)
        assert picture.count('class="measure"') == 2


def test_the_engraver_is_content_with_every_key(capfd: pytest.CaptureFixture[str]) -> None:
    """No warning in keys from end to end of the circle of fifths; the signature has as many signs as it says."""
    for ideas in of_keys():
        (entry,) = entries_of(ideas)
        tree = ET.fromstring(svg_of(entry, FULL))
        assert capfd.readouterr().err == "", ideas.progression.key
        sign = music21.key.Key(str(ideas.progression.key.tonic).replace("b", "-"), ideas.progression.key.mode)
        shown = [g for g in tree.iter(f"{SVG}g") if g.get("class") == "keyAccid"]
        assert len(shown) == 2 * abs(sign.sharps)


def test_the_engraver_is_content_with_odd_phrases(capfd: pytest.CaptureFixture[str]) -> None:
    """No warning for pick-ups, triplets of all kinds, ties and sixteenths."""
    for entry in OWN:
        svg_of(entry, FULL)
    render(OWN, FULL, "pdf")
    assert capfd.readouterr().err == ""


@pytest.mark.costly
@pytest.mark.parametrize("metre", one_in(3, METRES))
def test_the_engraver_is_content_with_every_cell(metre: str, capfd: pytest.CaptureFixture[str]) -> None:
    """Nor for any rhythm cell of any metre."""
    svg_of(of_cells(metre), FULL)
    assert capfd.readouterr().err == ""


def test_a_fault_would_be_heard(capfd: pytest.CaptureFixture[str]) -> None:
    """The engraver does warn where a length is wrong, so that its silence means something."""
    wrong = to_mei([score_of(OWN[0])]).replace('dur="4"', 'dur="foo"')
    engraved(wrong, "wrong", 2100)
    assert "Warning" in capfd.readouterr().err


# MusicXML


@cache
def some() -> tuple[SheetEntry, ...]:
    """Phrases of all rhythms, metres and levels, and of all keys."""
    found: list[SheetEntry] = []
    for number, (rhythm, metre) in enumerate(COMBINATIONS):
        level = 1 + number % 5
        found += entries_of(of_metre(rhythm, metre, level))[:1]
    found += [entry for ideas in of_keys() for entry in entries_of(ideas)]
    return tuple(replace(entry, name=f"some-{number}") for number, entry in enumerate(found))


def test_the_schema_accepts_sheets() -> None:
    """Sheets with one and two staves, names, fingers and titles are valid MusicXML 4.0, alone and all in one."""
    check_schema(render(some(), replace(FULL, title="Harbour <Lamps> & \x08Co \U0001f3b9"), "musicxml"))
    check_schema(render(OWN, USUAL, "musicxml"))
    for entry in OWN:
        check_schema(render([entry], FULL, "musicxml"))


def read(content: bytes, kind: str = "musicxml") -> Any:
    return music21.converter.parseData(content.decode(), format=kind)


def sounding(part: Any) -> list[tuple[float, float, int]]:
    """Onset, length in quarter notes and MIDI pitch of the notes of a part, tied ones as one."""
    found: list[tuple[float, float, int]] = []
    for note in part.flatten().notes:
        if isinstance(note, music21.harmony.ChordSymbol):
            continue
        place = float(part.flatten().elementOffset(note))
        for pitch in note.pitches:
            if note.tie is not None and note.tie.type in ("stop", "continue"):
                index = next(n for n in reversed(range(len(found))) if found[n][2] == pitch.midi)
                onset, length, midi = found[index]
                assert onset + length == pytest.approx(place)
                found[index] = (onset, length + float(note.quarterLength), midi)
            else:
                found.append((place, float(note.quarterLength), pitch.midi))
    return found


def played(entry: SheetEntry) -> list[tuple[float, float, int]]:
    """What an entry sounds, counted from the start of its first written bar."""
    score = score_of(entry)
    lead = entry.progression.metre.bar - score.bars[0].length
    return [
        ((told.note.onset - lead) / TICKS, told.note.length / TICKS, told.note.midi) for told in entry.notes
    ]


def close(one: Sequence[tuple[float, ...]], other: Sequence[tuple[float, ...]]) -> bool:
    return len(one) == len(other) and all(
        a == pytest.approx(b, abs=1e-3) for a, b in zip(one, other, strict=True)
    )


@pytest.mark.parametrize("kind", ["musicxml", "mei"])
def test_a_stranger_reads_every_note(kind: str) -> None:
    """music21 reads back note for note what was written, spelled alike, with the chord symbols on their beats."""
    for entry in (*some()[::3], *OWN):
        part = read(render([entry], USUAL, kind), kind).parts[0]
        assert close(sounding(part), played(entry)), entry.name
        names = [told.name for told in entry.notes]
        heads = [n for n in part.recurse().notes if not isinstance(n, music21.harmony.ChordSymbol)]
        fresh = [n for n in heads if n.tie is None or n.tie.type == "start"]
        assert [n.nameWithOctave.replace("-", "b") for n in fresh] == names


def test_a_stranger_reads_chords_fingers_and_names() -> None:
    """Chord symbols stand at their onsets with their roots; fingers and names belong to their notes."""
    for entry in some()[::7]:
        part = read(render([entry], replace(USUAL, note_names=True), "musicxml")).parts[0]
        symbols = [
            (float(part.flatten().elementOffset(s)), s.root().name.replace("-", "b"))
            for s in part.flatten().getElementsByClass("ChordSymbol")
            if s.chordKind != "none"
        ]
        chords = [span for span in entry.progression.spans if span.chord.root is not None]
        assert symbols == [(span.onset / TICKS, str(span.chord.root)) for span in chords]
        notes = [n for n in part.recurse().notes if not isinstance(n, music21.harmony.ChordSymbol)]
        fresh = [n for n in notes if n.tie is None or n.tie.type == "start"]
        fingers = [
            [a.fingerNumber for a in n.articulations if isinstance(a, music21.articulations.Fingering)]
            for n in fresh
        ]
        assert fingers == [[told.finger] for told in entry.notes]
        assert [n.lyric for n in fresh] == [
            told.name.rstrip("0123456789").replace("b", "♭").replace("#", "♯") for told in entry.notes
        ]


def test_a_stranger_reads_the_left_hand() -> None:
    """The second staff sounds the chord under every symbol, all of it below the right hand's lowest note or near it."""
    for entry in some()[::5]:
        score = read(render([entry], FULL, "musicxml"))
        assert len(score.parts) == 2
        lower = {}
        for onset, _, midi in sounding(score.parts[1]):
            lower.setdefault(round(onset * TICKS), set()).add(midi % 12)
        for span in entry.progression.spans:
            tones = {tone.name.pitch_class for tone in span.chord.tones}
            assert lower.get(span.onset, set()) <= tones
            assert len(lower.get(span.onset, set())) >= min(3, len(tones))


SEMITONES = {"flat-flat": -2, "flat": -1, "natural": 0, "sharp": 1, "double-sharp": 2}
CIRCLE = "FCGDAEB"
"""The order of sharps in a signature; that of flats is the other way round. Common practice."""


@dataclass
class Player:
    """Reads notes as a player does: the signature, and signs that hold to the bar's end in their octave."""

    signature: dict[str, int]
    bar: dict[tuple[str, str], int]
    held: int = 0

    def reads(self, note: ET.Element, *, without: bool = False) -> int:
        """The alteration that is played, where `without` the sign before the note is covered up."""
        place = note.findtext("pitch/step", ""), note.findtext("pitch/octave", "")
        sign = None if without else note.findtext("accidental")
        if note.find("tie[@type='stop']") is not None:
            return self.held
        return SEMITONES[sign] if sign else self.bar.get(place, self.signature.get(place[0], 0))

    def plays(self, note: ET.Element) -> int:
        place = note.findtext("pitch/step", ""), note.findtext("pitch/octave", "")
        found = self.reads(note)
        if note.find("tie[@type='stop']") is None:
            self.bar[place] = found
        self.held = found
        return found


def signature(fifths: int) -> dict[str, int]:
    letters = CIRCLE[:fifths] if fifths > 0 else CIRCLE[::-1][:-fifths]
    return dict.fromkeys(letters, 1 if fifths > 0 else -1)


def test_a_player_reads_the_right_signs() -> None:
    """Read by the rules of notation every note is the one meant, and no sign but a courtesy could be left out."""
    counts = {True: 0, False: 0}
    for entry in (*some(), *OWN, *map(of_cells, METRES)):
        root = ET.fromstring(render([entry], USUAL, "musicxml"))
        player = Player(signature(int(root.findtext(".//fifths", "0"))), {})
        for measure in root.iter("measure"):
            player.bar.clear()
            for note in measure.findall("note"):
                if note.find("rest") is not None:
                    continue
                meant = int(note.findtext("pitch/alter", "0"))
                covered = player.reads(note, without=True)
                sign = note.find("accidental")
                if sign is not None:
                    is_courtesy = sign.get("cautionary") == "yes"
                    counts[is_courtesy] += 1
                    assert (covered == meant) == is_courtesy, entry.name
                assert player.plays(note) == meant, entry.name
    assert counts[False] > 50
    assert counts[True] > 10


@pytest.mark.costly
@pytest.mark.parametrize("metre", ["4/4", "6/8", "9/8", "12/8"])
def test_a_stranger_beams_alike(metre: str) -> None:
    """music21's own beams join the same notes as ours, in all cells without triplets and rests."""
    compared = 0
    for bar in read(render([of_cells(metre)], USUAL, "musicxml")).parts[0].getElementsByClass("Measure"):
        notes = [n for n in bar.notesAndRests if not isinstance(n, music21.harmony.ChordSymbol)]
        if any(n.isRest or n.duration.tuplets for n in notes):
            continue
        ours = [n.beams.getTypes()[:1] for n in notes]
        bar.makeBeams(inPlace=True)
        assert ours == [n.beams.getTypes()[:1] for n in notes], bar.number
        compared += any(ours)
    assert compared > 5


@pytest.mark.costly
@pytest.mark.parametrize("metre", METRES)
def test_a_stranger_reads_the_tempo(metre: str) -> None:
    """music21 reads the mark of beats as the quarter notes that are meant; which note is the beat is common practice."""
    beats = {
        "6/8": ("quarter", 1),
        "9/8": ("quarter", 1),
        "12/8": ("quarter", 1),
        "2/2": ("half", 0),
        "7/8": ("eighth", 0),
    }
    (entry,) = entries_of(fillgen.ideas("| F | C7 |", metre=metre, tempo=120, count=1))
    marks = read(render([entry], USUAL, "musicxml")).recurse().getElementsByClass("MetronomeMark")
    (mark,) = [each for each in marks if each.number is not None]  # the sign of swing has no number
    assert (mark.referent.type, mark.referent.dots) == beats.get(metre, ("quarter", 0))
    assert mark.getQuarterBPM() == 120
    check_schema(render([entry], USUAL, "musicxml"))


def test_swing_is_written_as_a_relation_of_notes() -> None:
    """Two eighths equal a triplet's quarter and eighth, as MusicXML 4.0 writes it (metronome-note); straight music has none."""
    for rhythm, found in (("swing", ["eighth", "eighth", "quarter", "eighth"]), ("bossa nova", [])):
        (entry,) = entries_of(fillgen.ideas("| F | C7 |", rhythm=rhythm, count=1))
        content = render([entry], USUAL, "musicxml")
        check_schema(content)
        root = ET.fromstring(content)
        assert [each.text for each in root.iter("metronome-type")] == found
        assert [each.text for each in root.iter("metronome-relation")] == ["equals"] * bool(found)
        assert len(list(root.iter("swing"))) == bool(found)


def test_a_stranger_reads_slurs_accents_and_dynamics() -> None:
    """music21 finds the slurs between the same notes, accents off the beat and one dynamic, in MusicXML that the schema accepts.

    A lead sheet has none of them, and no fingers.
    """
    chart = "| Ebmaj7 | C7 | Fm7 | Bb7 |"
    slurs = accents = 0
    for rhythm in ("swing", "bossa nova"):
        ideas = fillgen.ideas(chart, rhythm=rhythm, level=4, count=8, seed=4)
        for entry in entries_of(ideas):
            line = [(each.note.onset, each.note.length, each.note.midi) for each in entry.notes]
            joined = slurred(line, ideas.progression.timeline, swings=ideas.swing)
            content = render([entry], SheetOptions(articulation=True), "musicxml")
            check_schema(content)
            score = read(content)
            found = list(score.recurse().getElementsByClass("Slur"))
            first = {number for number in joined if number - 1 not in joined}
            assert {slur.getFirst().pitch.midi for slur in found} == {line[number][2] for number in first}
            assert len(found) == len(first)
            notes = [each for each in score.recurse().notes if not each.isChord and "Note" in each.classes]
            struck = [n for n in notes if any("Accent" in sign.classes for sign in n.articulations)]
            assert all(n.beat % 1 for n in struck)
            assert [each.value for each in score.recurse().getElementsByClass("Dynamic")] == ["mf"]
            slurs, accents = slurs + len(found), accents + len(struck)
            bare = render([entry], SheetOptions("lead-sheet"), "musicxml")
            assert not any(sign in bare for sign in (b"<slur", b"<accent", b"<dynamics", b"<fingering"))
    assert slurs > 8
    assert accents > 2


@pytest.mark.parametrize("intro", [0, 4])
def test_the_schema_accepts_the_sheet_of_a_tune(intro: int, capfd: pytest.CaptureFixture[str]) -> None:
    """With the words and double bars of its sections a tune is valid MusicXML 4.0, and the engraver is content."""
    tune = read_tune(TUNE)
    (piece,) = pieces(TuneRequest(tune, intro=intro, rhythm="waltz"))
    entry = tune_entry(piece, tune)
    check_schema(render([entry], USUAL, "musicxml"))
    svg_of(entry)
    assert capfd.readouterr().err == ""


def test_several_ideas_are_one_score() -> None:
    """In one file ideas follow one another with their headings: as many bars as all of them have, and all notes."""
    entries = entries_of(fillgen.ideas("| F | Gm7 | C7 | F |", count=5))
    for kind in ("musicxml", "mei"):
        part = read(render(entries, USUAL, kind), kind).parts[0]
        assert len(part.getElementsByClass("Measure")) == 20
        heads = [n for n in part.recurse().notes if not isinstance(n, music21.harmony.ChordSymbol)]
        fresh = [n.pitch.midi for n in heads if n.tie is None or n.tie.type == "start"]
        assert fresh == [read_pitch(told.name) for entry in entries for told in entry.notes]
    text = render(entries, USUAL, "musicxml").decode()
    assert [entry.heading in text for entry in entries] == [True] * 5
    assert text.count('<print new-system="yes" />') == 4


# The picture and the score


def test_picture_and_score_tell_the_same() -> None:
    """The SVG has as many notes, signs and bars as music21 reads in the MusicXML of the same phrase."""
    for entry in (*some()[::4], *OWN):
        part = read(render([entry], USUAL, "musicxml")).parts[0]
        heads = [n for n in part.recurse().notes if not isinstance(n, music21.harmony.ChordSymbol)]
        tree = ET.fromstring(svg_of(entry))
        groups = [g.get("class", "") for g in tree.iter(f"{SVG}g")]
        signs = [g for g in tree.iter(f"{SVG}g") if g.get("class") == "accid" and len(g)]
        assert groups.count("note") == len(heads)
        assert len(signs) == len(
            [n for n in heads if n.pitch.accidental and n.pitch.accidental.displayStatus]
        )
        assert groups.count("measure") == len(part.getElementsByClass("Measure"))
