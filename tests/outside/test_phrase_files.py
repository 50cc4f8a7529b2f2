"""Phrases in files that others wrote, and in files written by hand from the standards.

Sources: Standard MIDI Files 1.0 (RP-001, MIDI Manufacturers Association): variable-length quantities, running status,
chunks a reader shall skip, and its example files, these from memory (the lengths they state agree with their bytes).
The ABC music standard 2.1 (abcnotation.com, 2011), its rules from memory, the tunes our own. music21 and symusic as
writers and as readers; the folk songs that music21 carries (Essen collection), read where they lie.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

import music21
import pytest
import symusic
from music21 import chord, duration, key, meter, note, pitch, stream, tempo

from fillgen.errors import TuneError
from fillgen.readers.confined import read_abc
from fillgen.readers.midi import read_midi
from fillgen.readers.phrases import Found, find_phrase, line_up
from tests.outside.test_midi import VLQ_TABLE

# The same melody, written by others

MELODY = [
    ("B-4", 1.0),
    ("E-5", 1.5),
    ("F5", 0.5),
    ("G5", 2.0),
    (None, 1.0),
    ("A-5", "1/3"),
    ("G5", "1/3"),
    ("F5", "1/3"),
    ("E5", 0.75),
    ("F5", 0.25),
    ("G5", 1.0),
    ("F5", 2.0),
    ("B-5", 1.0),
]
"""A pick-up and three bars of 4/4, as names of music21 and quarter notes; the last bar is a quarter short."""
ABC = "X:1\nT:Fern\nM:4/4\nL:1/8\nQ:1/4=92\nK:Eb\nB2|e3 f g4|z2 (3agf =e>f g2|f4 b2|]\n"
SHOWN = [
    (0, 480, 70),
    (480, 720, 75),
    (1200, 240, 77),
    (1440, 960, 79),
    (2880, 160, 80),
    (3040, 160, 79),
    (3200, 160, 77),
    (3360, 360, 76),
    (3720, 120, 77),
    (3840, 480, 79),
    (4320, 960, 77),
    (5280, 480, 82),
]


def melody_of_music21() -> stream.Part:
    part = stream.Part(id="Melody")
    part.partName = "Melody"
    part.append([tempo.MetronomeMark(number=92), key.Key("E-"), meter.TimeSignature("4/4")])
    for name, quarters in MELODY:
        lasts = duration.Duration(music21.common.opFrac(1 / 3) if quarters == "1/3" else quarters)
        part.append(note.Note(name, duration=lasts) if name else note.Rest(duration=lasts))
    return part


def with_pickup(part: stream.Part) -> stream.Score:
    """The part in measures, the first of them a pick-up of a quarter note."""
    measured = stream.Part(id="Melody")
    starts = [0.0, 1.0, 5.0, 9.0, 13.0]
    for number, (start, end) in enumerate(pairwise(starts)):
        measure = stream.Measure(number=number)
        if not number:
            measure.append([tempo.MetronomeMark(number=92), key.Key("E-"), meter.TimeSignature("4/4")])
        for element in part.flatten().notesAndRests:
            if start <= element.offset < end:
                measure.append(element)
        if not number:
            measure.padAsAnacrusis()
        measured.append(measure)
    return stream.Score([measured])


def shown(found: Found) -> list[tuple[int, int, int]]:
    return [(note.onset, note.length, note.midi) for note in found.notes]


def test_music21_writes_musicxml(tmp_path: Path) -> None:
    """A melody that music21 writes as MusicXML, plain and packed, is found note for note with its pick-up."""
    score = with_pickup(melody_of_music21())
    for name in ("fern.musicxml", "fern.mxl"):
        path = Path(score.write("mxl" if name.endswith("mxl") else "musicxml", tmp_path / name))
        found = find_phrase(str(path))
        assert shown(found) == SHOWN
        assert (found.pickup, found.bars, found.tempo) == (480, 3, 92)
        assert found.metre is not None
        assert found.metre.name == "4/4"


@pytest.mark.filterwarnings("ignore")
def test_music21_writes_midi(tmp_path: Path) -> None:
    """The same from music21's MIDI file, in its own 10,080 ticks a quarter."""
    path = Path(melody_of_music21().write("midi", tmp_path / "fern.mid"))
    found = find_phrase(str(path))
    assert shown(found) == SHOWN
    assert found.remarks == ()
    assert found.tempo == 92


def test_abc_by_hand(tmp_path: Path) -> None:
    """The same written by hand in ABC, as we and as symusic read it."""
    path = tmp_path / "fern.abc"
    path.write_text(ABC, encoding="utf-8")
    found = find_phrase(str(path))
    assert shown(found) == SHOWN
    assert (found.pickup, found.bars, found.tempo, found.title) == (480, 3, 92, "Fern")
    theirs = symusic.Score(str(path)).tracks[0].notes
    assert [their.pitch for their in theirs] == [midi for _, _, midi in SHOWN]


@pytest.mark.parametrize("division", [96, 220, 480, 960])
def test_symusic_writes_midi(division: int, tmp_path: Path) -> None:
    """The same from a MIDI file that symusic writes, at several divisions."""
    score = symusic.Score(division)
    track = symusic.Track(name="Lead")
    for onset, length, midi in SHOWN:
        start, end = (round(tick * division / 480) for tick in (onset, onset + length))
        track.notes.append(symusic.Note(start, end - start, midi, 90))
    score.tracks.append(track)
    path = tmp_path / "fern.mid"
    score.dump_midi(str(path))
    found = find_phrase(str(path))
    assert shown(found) == SHOWN
    assert found.part in {"Lead", "track 1", "track 2"}


@pytest.mark.filterwarnings("ignore")
def test_symusic_reads_the_same_from_music21(tmp_path: Path) -> None:
    """Of chords that music21 writes, we take the highest notes that symusic finds at each onset."""
    part = stream.Part([meter.TimeSignature("3/4")])
    for names in ("C4 E4 G4", "D4 F4 A4", "B3 D4 G4", "C4 E4 G4 C5"):
        part.append(chord.Chord(names, quarterLength=1.5))
    path = Path(part.write("midi", tmp_path / "chords.mid"))
    theirs: dict[int, int] = {}
    score = symusic.Score(str(path))
    for their in score.tracks[0].notes:
        at = round(their.time * 480 / score.ticks_per_quarter)
        theirs[at] = max(theirs.get(at, 0), their.pitch)
    assert {onset: midi for onset, _, midi in shown(find_phrase(str(path)))} == theirs


# MIDI files by hand


def chunk(kind: bytes, data: bytes) -> bytes:
    return kind + len(data).to_bytes(4, "big") + data


def smf(*tracks: bytes, division: int = 96, kind: int | None = None, more: bytes = b"") -> bytes:
    """A file from the events of its tracks, each closed with the end-of-track event."""
    form = (0 if len(tracks) == 1 else 1) if kind is None else kind
    head = b"".join(number.to_bytes(2, "big") for number in (form, len(tracks), division))
    chunks = [chunk(b"MTrk", track + bytes.fromhex("00 FF 2F 00")) for track in tracks]
    return chunk(b"MThd", head + more) + b"".join(chunks)


def played(data: bytes) -> Found:
    return find_phrase("-", stdin=lambda: data)


SPECIFICATION_EXAMPLE = bytes.fromhex(
    "4D 54 68 64  00 00 00 06  00 00  00 01  00 60"
    "4D 54 72 6B  00 00 00 3B"
    "00 FF 58 04 04 02 18 08  00 FF 51 03 07 A1 20"
    "00 C0 05  00 C1 2E  00 C2 46"
    "00 92 30 60  00 3C 60  60 91 43 40  60 90 4C 20"
    "81 40 82 30 40  00 3C 40  00 81 43 40  00 80 4C 40"
    "00 FF 2F 00"
)
"""The example of format 0 in RP-001, with running status and a delta time of two bytes. From memory."""


def test_example_of_the_specification() -> None:
    """Three channels at 96 ticks a quarter: a low fifteenth from the start, a G after one quarter, an E after two."""
    found = played(SPECIFICATION_EXAMPLE)
    assert (found.tempo, found.part) == (120, "channel 1")
    assert found.metre is not None
    assert found.metre.name == "4/4"
    assert shown(found) == [(960, 960, 0x4C)]
    second = find_phrase("-", part="channel 2", stdin=lambda: SPECIFICATION_EXAMPLE)
    assert shown(second) == [(480, 1440, 0x43)]
    third = find_phrase("-", part="channel 3", stdin=lambda: SPECIFICATION_EXAMPLE)
    assert shown(third) == [(0, 1920, 0x3C)]


def test_the_example_in_format_1() -> None:
    """The same music in four tracks, the first of them the tempo map, as RP-001 shows it. From memory."""
    tempo_map = bytes.fromhex("00 FF 58 04 04 02 18 08  00 FF 51 03 07 A1 20  83 00 FF 2F 00")[:-4]
    tracks = (
        "00 C0 05  81 40 90 4C 20  81 40 4C 00",
        "00 C1 2E  60 91 43 40  82 20 43 00",
        "00 C2 46  00 92 30 60  00 3C 60  83 00 30 00  00 3C 00",
    )
    found = played(smf(tempo_map, *map(bytes.fromhex, tracks)))
    assert shown(found) == [(960, 960, 0x4C)]
    assert found.part == "track 2"


@pytest.mark.parametrize(("value", "told"), VLQ_TABLE.items(), ids=map(str, VLQ_TABLE.values()))
def test_variable_length_quantities(value: int, told: str) -> None:
    """Every number of the standard's table is read as a delta time; the longest are longer than any phrase."""
    data = smf(bytes.fromhex(told) + bytes.fromhex("90 3C 40 40 80 3C 40"), division=0x7FFF)
    if value > 4096 * 0x7FFF:
        with pytest.raises(TuneError, match="longer than"):
            read_midi(data, "by hand")
        return
    sound = read_midi(data, "by hand").voices[0].sounds[0]
    assert sound.onset == pytest.approx(value * 480 / 0x7FFF)
    assert sound.end == pytest.approx((value + 0x40) * 480 / 0x7FFF)


def test_running_status() -> None:
    """A status byte holds until the next; a note struck with velocity 0 ends. Meta events end running status."""
    quarter = "60"
    events = (
        f"00 90 3C 40 {quarter} 3C 00  00 3E 40 {quarter} 3E 00  00 FF 01 01 61  00 90 40 40 {quarter} 40 00"
    )
    assert shown(played(smf(bytes.fromhex(events)))) == [(0, 480, 60), (480, 480, 62), (960, 480, 64)]


def test_what_a_reader_shall_skip() -> None:
    """RP-001: chunks of unknown kinds are skipped, and a header may be longer than six bytes."""
    notes = bytes.fromhex("00 90 3C 40 60 3C 00")
    head, track = smf(notes, more=b"\x01\x02")[:16], smf(notes)[14:]
    assert shown(played(head + chunk(b"XFIH", b"\x00" * 9) + track)) == [(0, 480, 60)]
    assert shown(played(head + track + chunk(b"what", b"MTrk"))) == [(0, 480, 60)]


def test_system_exclusive_messages_are_skipped() -> None:
    """Messages for one make of instrument stand between notes and are none."""
    events = "00 F0 05 7E 7F 09 01 F7  00 90 3C 40  30 F0 03 43 12 F7  30 80 3C 40"
    assert shown(played(smf(bytes.fromhex(events)))) == [(0, 480, 60)]


# The ABC standard


def names(body: str, head: str = "M:4/4\nL:1/4\nK:C\n") -> list[str]:
    """The pitches of a tune, spelled with sharps as music21 spells MIDI numbers."""
    sounds = read_abc(f"X:1\n{head}{body}\n", "by hand").voices[0].sounds
    return [pitch.Pitch(sound.midi).nameWithOctave.replace("-", "b") for sound in sounds]


def lengths(body: str, head: str = "M:4/4\nL:1/8\nK:C\n") -> list[float]:
    """The lengths of a tune's notes in eighths."""
    sounds = read_abc(f"X:1\n{head}{body}\n", "by hand").voices[0].sounds
    return [round((sound.end - sound.onset) / 240, 3) for sound in sounds]


def test_pitches() -> None:
    """Section 4.1: C is middle C, c an octave above; commas lower, apostrophes raise."""
    assert names("C, C c c'|") == ["C3", "C4", "C5", "C6"]


def test_accidentals() -> None:
    """Sections 4.2 and 11.3: accidentals hold to the end of the bar, naturals undo them, a new bar starts afresh."""
    assert names("^F F =F F|F ^^F __B _B|") == [
        "F#4",
        "F#4",
        "F4",
        "F4",
        "F4",
        "G4",
        "A4",
        "Bb4",
    ]


def test_key_signatures() -> None:
    """Section 3.1.14: a key with its mode; D dorian has no sign, A mixolydian two sharps, Bb two flats."""
    assert names("F B c d|", "M:4/4\nL:1/4\nK:Ddor\n") == ["F4", "B4", "C5", "D5"]
    assert names("F G c d|", "M:4/4\nL:1/4\nK:A Mixolydian\n") == ["F#4", "G4", "C#5", "D5"]
    assert names("B, E F A|", "M:4/4\nL:1/4\nK:Bb\n") == ["Bb3", "Eb4", "F4", "A4"]
    assert names("F G A B|", "M:4/4\nL:1/4\nK:F#m\n") == ["F#4", "G#4", "A4", "B4"]


def test_note_lengths() -> None:
    """Section 4.3: multiples and fractions of the unit length; a lone slash halves, two quarter it."""
    assert lengths("A2 A3 A/2 A/ A// A3/2 A/4|") == [2, 3, 0.5, 0.5, 0.25, 1.5, 0.25]


def test_default_unit_length() -> None:
    """Section 3.1.7: without L, a metre below 3/4 makes it a sixteenth, any other an eighth."""
    assert lengths("A4|", "M:2/4\nK:C\n") == [2]
    assert lengths("A4|", "M:6/8\nK:C\n") == [4]
    assert lengths("A4|", "M:C|\nK:C\n") == [4]


def test_broken_rhythm() -> None:
    """Section 4.4: > dots the first note and halves the second, < the other way; more signs, more dots."""
    assert lengths("A>B A<B A>>B|") == [1.5, 0.5, 0.5, 1.5, 1.75, 0.25]


def test_triplets() -> None:
    """Section 4.13: (3 puts three notes in the time of two."""
    assert lengths("(3abc d2 (3a2b2c2|") == [0.667, 0.667, 0.667, 2, 1.333, 1.333, 1.333]


def test_ties_and_slurs() -> None:
    """Section 4.11: a hyphen ties equal pitches, over bar lines too; round brackets slur and change nothing."""
    assert lengths("A4-A2 (AB)|c8-|c8|") == [6, 1, 1, 16]


def test_what_is_no_note() -> None:
    """Sections 4.12 to 4.19: grace notes, decorations, chord symbols, annotations, lyrics and comments take no time."""
    body = '"Am7"{g}A2 !trill!B2 .c2 ~d2|"^softly"T[CEG]4 vA4| % the end\nw: la la la la'
    assert lengths(body) == [2, 2, 2, 2, 4, 4, 4, 4]


def test_rests() -> None:
    """Section 4.5: z and x rest, Z rests for whole bars."""
    sounds = read_abc("X:1\nM:3/4\nL:1/8\nK:C\nz2 A2 x2|Z2|A6|\n", "by hand").voices[0]
    assert [(sound.onset, sound.end) for sound in sounds.sounds] == [(480, 960), (4320, 5760)]
    assert sounds.bars == (1440,) * 4


def essen_songs() -> Sequence[str]:
    """Songs of the Essen collection that lie in the installed music21."""
    path = Path(music21.__file__).parent / "corpus" / "essenFolksong" / "ballad10.abc"
    return re.split(r"(?m)^(?=X:)", path.read_text(encoding="utf-8", errors="replace"))[1:]


def test_folk_songs_as_symusic_reads_them(tmp_path: Path) -> None:
    """Folk songs of the Essen collection have the pitches and onsets that symusic finds, which shares no code."""
    songs = essen_songs()[:60:2]
    assert len(songs) == 30
    for number, song in enumerate(songs):
        path = tmp_path / f"song-{number}.abc"
        path.write_text(song, encoding="utf-8")
        score = symusic.Score(str(path))
        quarter = score.ticks_per_quarter
        theirs = sorted((their.time * 480 / quarter, their.pitch) for their in score.tracks[0].notes)
        ours = [(sound.onset, sound.midi) for sound in read_abc(song, str(path)).voices[0].sounds]
        assert [midi for _, midi in ours] == [midi for _, midi in theirs]
        assert [onset for onset, _ in ours] == pytest.approx([onset for onset, _ in theirs], abs=2)


def test_a_phrase_of_every_kind_on_its_chart(tmp_path: Path) -> None:
    """MusicXML and ABC of the same melody lie alike on the chart; in MIDI, without bars, a pick-up must fill its bar."""
    chart = "| Ebmaj7 | Fm7 | Bb7 |"
    score = Path(with_pickup(melody_of_music21()).write("musicxml", tmp_path / "fern.musicxml"))
    tune = tmp_path / "fern.abc"
    tune.write_text(ABC, encoding="utf-8")
    readings = [line_up(find_phrase(str(path)), chart) for path in (score, tune)]
    assert readings[0].notes == readings[1].notes
    assert readings[0].progression == readings[1].progression
    assert readings[0].notes[0].onset == 1440
