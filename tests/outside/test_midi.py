"""The bytes of the MIDI files against the standard, and read back by libraries that did not write them.

Sources: Standard MIDI Files 1.0 (RP-001, MIDI Manufacturers Association): its table of variable-length quantities,
chunks and meta events; music21 and symusic as readers. The reader on this page is its own and knows no library.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise

import pytest
import symusic
from music21 import key as music21_key
from music21 import meter, note, stream, tempo
from music21 import midi as music21_midi

import fillgen
from fillgen import Idea, Ideas, parse_chart
from fillgen.theory.chords import read_chord
from fillgen.theory.pitch import Key, all_keys
from fillgen.writers.midi import to_midi, to_midi_files

VIBRAPHONE = 11
DIVISION = 480

VLQ_TABLE = {
    0x00000000: "00",
    0x00000040: "40",
    0x0000007F: "7F",
    0x00000080: "81 00",
    0x00002000: "C0 00",
    0x00003FFF: "FF 7F",
    0x00004000: "81 80 00",
    0x00100000: "C0 80 00",
    0x001FFFFF: "FF FF 7F",
    0x00200000: "81 80 80 00",
    0x08000000: "C0 80 80 00",
    0x0FFFFFFF: "FF FF FF 7F",
}
"""RP-001, the table of numbers and the variable-length quantities that represent them."""

TEXT, TRACK_NAME, MARKER, END, TEMPO, TIME, KEY = 0x01, 0x03, 0x06, 0x2F, 0x51, 0x58, 0x59
"""Meta events by their type byte."""
META = 0xFF
DATA_BYTES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}
"""How many data bytes follow the status byte of each channel message."""


# A small reader of Standard MIDI Files


@dataclass(frozen=True)
class Event:
    """An event at a tick: its status byte (FF for a meta event), the type of a meta event, and its data."""

    tick: int
    status: int
    meta: int
    data: bytes

    @property
    def text(self) -> str:
        """The data as text."""
        return self.data.decode("utf-8")


@dataclass(frozen=True)
class Sound:
    """A note as it sounds: ticks from the start of the file, ticks of length, pitch and velocity."""

    onset: int
    length: int
    midi: int
    velocity: int = 0


@dataclass(frozen=True)
class File:
    """A file: what its header says, and the events of each track."""

    header_length: int
    format: int
    ntrks: int
    division: int
    tracks: tuple[tuple[Event, ...], ...]


def write_vlq(value: int) -> bytes:
    """A number in seven bits a byte, the high bit set on all but the last."""
    parts = [value & 0x7F]
    while value := value >> 7:
        parts.append(value & 0x7F | 0x80)
    return bytes(reversed(parts))


def read_vlq(data: bytes, at: int) -> tuple[int, int]:
    """The number that begins at a byte, and where the next thing begins."""
    value, start = 0, at
    while data[at] & 0x80:
        value = value << 7 | data[at] & 0x7F
        at += 1
    value = value << 7 | data[at]
    assert data[start : at + 1] == write_vlq(value), "a number in more bytes than it needs"
    assert at + 1 - start <= 4, "a number of more than four bytes"
    return value, at + 1


def chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """The chunks of a file by type, with what they hold; nothing may follow the last."""
    at = 0
    while at < len(data):
        length = int.from_bytes(data[at + 4 : at + 8], "big")
        body = data[at + 8 : at + 8 + length]
        assert len(body) == length, "a chunk shorter than it says"
        yield data[at : at + 4], body
        at += 8 + length


def events(body: bytes) -> Iterator[Event]:
    """The events of a track chunk, running status included."""
    at, tick, running = 0, 0, 0
    while at < len(body):
        delta, at = read_vlq(body, at)
        tick += delta
        if body[at] == META:
            kind = body[at + 1]
            length, at = read_vlq(body, at + 2)
            yield Event(tick, META, kind, body[at : at + length])
            at, running = at + length, 0
            continue
        if body[at] & 0x80:
            running, at = body[at], at + 1
        assert running & 0x80, "a data byte where a status byte must stand"
        length = DATA_BYTES[running & 0xF0]
        found = body[at : at + length]
        assert len(found) == length
        assert max(found) < 0x80
        yield Event(tick, running, 0, found)
        at += length


def read_file(data: bytes) -> File:
    """The file that bytes hold."""
    (kind, header), *rest = chunks(data)
    assert kind == b"MThd"
    assert {name for name, _ in rest} == {b"MTrk"}
    words = [int.from_bytes(header[at : at + 2], "big") for at in (0, 2, 4)]
    return File(len(header), *words, tuple(tuple(events(body)) for _, body in rest))


def meta(file: File, kind: int) -> list[Event]:
    """The meta events of a kind, in all tracks."""
    return [event for track in file.tracks for event in track if (event.status, event.meta) == (META, kind)]


def sounds(file: File) -> list[Sound]:
    """The notes of a file; every note-on must have its note-off, and no pitch may sound twice at once."""
    told = []
    for track in file.tracks:
        open_notes: dict[tuple[int, int], tuple[int, int]] = {}
        for event in track:
            message, channel = event.status & 0xF0, event.status & 0x0F
            if event.status == META or message not in (0x80, 0x90):
                continue
            pitch, velocity = event.data
            if message == 0x90 and velocity:
                assert (channel, pitch) not in open_notes, "a pitch struck while it sounds"
                open_notes[channel, pitch] = event.tick, velocity
            else:
                onset, struck = open_notes.pop((channel, pitch))
                told.append(Sound(onset, event.tick - onset, pitch, struck))
        assert not open_notes, "a note that never ends"
    return sorted(told, key=lambda sound: (sound.onset, sound.midi))


# What is written


@dataclass(frozen=True)
class Asked:
    """What ideas are asked for."""

    chart: str
    rhythm: str
    metre: str = "4/4"
    key: str = "C major"
    level: int = 3
    busy: str = "some"


STRAIGHT = {
    "bossa nova": Asked("| Dbmaj7 | Fm7 | Gbmaj7 | Ab7 |", "bossa nova", key="Db major", level=4),
    "waltz": Asked("| Bb | Gm7 | Cm7 | F7 |", "waltz", "3/4", "Bb major"),
    "slow 6/8": Asked("| Am | Dm | E7 | Am |", "slow 6/8", "6/8", "A minor", busy="many"),
    "slow 12/8": Asked("| A | F#m | Bm7 E7 | A |", "slow 6/8", "12/8", "A major"),
    "march": Asked("| Eb | Bb7 | Cm | G7 |", "march", "2/4", "Eb major", busy="many"),
    "beguine": Asked("| Cm | Ab | Dm7b5 | G7 |", "beguine", "2/2", "C minor"),
    "triplets": Asked("| F | Dm7 | Gm7 | C7 |", "bossa nova", key="F major", level=5),
}
SWUNG = {
    "foxtrot": Asked("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", "foxtrot", key="Eb major", busy="many"),
    "swing": Asked("| Dm7 | G7 | Cmaj7 | A7 |", "swing", level=4),
    "jazz waltz": Asked("| F | Dm7 | Gm7 | C7 |", "jazz waltz", "3/4", "F major", busy="many"),
}
CASES = {**STRAIGHT, **SWUNG}

TIME_SIGNATURES = {
    "4/4": "04 02 18 08",
    "3/4": "03 02 18 08",
    "2/4": "02 02 18 08",
    "2/2": "02 01 30 08",
    "5/4": "05 02 18 08",
    "7/4": "07 02 18 08",
    "7/8": "07 03 0C 08",
    "6/8": "06 03 24 08",
    "9/8": "09 03 24 08",
    "12/8": "0C 03 24 08",
}
"""RP-001: numerator, denominator as a power of two, MIDI clocks a metronome click, 32nd notes a quarter note."""

KEY_SIGNATURES = {
    "C major": "00 00",
    "A minor": "00 01",
    "Eb major": "FD 00",
    "C minor": "FD 01",
    "A major": "03 00",
    "F# minor": "03 01",
    "Cb major": "F9 00",
    "A# minor": "07 01",
}
"""RP-001: sharps above and flats below zero (two's complement), then 0 for major and 1 for minor."""


@cache
def made(case: str) -> Ideas:
    """The ideas of a case."""
    asked = CASES[case]
    return fillgen.ideas(
        asked.chart,
        key=asked.key,
        metre=asked.metre,
        rhythm=asked.rhythm,
        level=asked.level,
        busy=asked.busy,
        count=6,
        seed=3,
    )


def file_of(ideas: Ideas) -> File:
    """The one file of some ideas, read."""
    return read_file(to_midi(ideas))


def starts(ideas: Ideas) -> list[int]:
    """The tick at which each idea begins: its own length and a bar of rest after the one before."""
    progression = ideas.progression
    return [number * (progression.length + progression.metre.bar) for number in range(len(ideas))]


def written(ideas: Ideas) -> list[Sound]:
    """The notes of all ideas as they stand on paper, at their ticks in the file."""
    return [
        Sound(start + told.note.onset, told.note.length, told.note.midi)
        for start, idea in zip(starts(ideas), ideas, strict=True)
        for told in idea.notes
    ]


def plain(found: list[Sound]) -> list[Sound]:
    """Sounds without their velocities."""
    return [replace(sound, velocity=0) for sound in found]


def in_key(key: Key) -> Ideas:
    """The ideas of a case with another key signature."""
    ideas = made("bossa nova")
    return replace(ideas, progression=replace(ideas.progression, key=key))


# The reader


@pytest.mark.parametrize("value", VLQ_TABLE)
def test_the_reader_knows_variable_length_quantities(value: int) -> None:
    """This page's reader turns the standard's table into numbers, and its numbers into the table."""
    data = bytes.fromhex(VLQ_TABLE[value])
    assert read_vlq(data, 0) == (value, len(data))
    assert read_vlq(b"\x90" + data + b"\x3c", 1) == (value, len(data) + 1)
    assert write_vlq(value) == data


def test_the_reader_reads_a_small_file_written_by_hand() -> None:
    """The reader takes tempo, metre, program, running status and note ends from a hand-written file."""
    conductor = bytes.fromhex("00 FF 58 04 04 02 18 08 00 FF 51 03 07 A1 20 83 00 FF 2F 00")
    player = bytes.fromhex("00 C0 05 81 40 90 4C 20 81 40 4C 00 00 FF 2F 00")
    header = b"MThd" + bytes.fromhex("00000006 0001 0002 0060")
    tracks = b"".join(b"MTrk" + len(body).to_bytes(4, "big") + body for body in (conductor, player))
    file = read_file(header + tracks)
    assert (file.format, file.ntrks, file.division) == (1, 2, 96)
    assert [(event.tick, event.data.hex()) for event in meta(file, TEMPO)] == [(0, "07a120")]
    assert [event.tick for event in meta(file, END)] == [384, 384]
    assert sounds(file) == [Sound(192, 192, 0x4C, 0x20)]


@pytest.mark.parametrize(
    "body",
    ["00 90 3C 40 00 90 3C 40 60 80 3C 40 60 80 3C 40", "00 90 3C 40", "00 3C 40"],
    ids=["struck twice", "never ended", "no status"],
)
def test_the_reader_finds_faults(body: str) -> None:
    """The reader refuses a pitch struck while it sounds, a note that never ends, and data without a status."""
    with pytest.raises(AssertionError):
        sounds(File(6, 1, 1, DIVISION, (tuple(events(bytes.fromhex(body))),)))


# Bytes


@pytest.mark.parametrize("case", CASES)
def test_header(case: str) -> None:
    """The header is six bytes long: format 1, the number of tracks there are, 480 ticks to the quarter note."""
    data = to_midi(made(case))
    file = read_file(data)
    assert data[:14] == b"MThd" + bytes.fromhex("00000006 0001 0002 01E0")
    assert (file.header_length, file.format, file.division) == (6, 1, DIVISION)
    assert file.ntrks == len(file.tracks) == 2


@pytest.mark.parametrize(
    ("quarters", "data"),
    [(120, "07 A1 20"), (132, "06 EF 91"), (60, "0F 42 40"), (84, "0A E6 2E"), (400, "02 49 F0")],
)
def test_tempo(quarters: int, data: str) -> None:
    """The tempo is FF 51 03 and microseconds a quarter note: 500000 for 120, 454545 for 132."""
    ideas = replace(made("bossa nova"), tempo=quarters)
    assert bytes.fromhex("00 FF 51 03" + data) in to_midi(ideas)
    (event,) = meta(file_of(ideas), TEMPO)
    assert (event.tick, event.data) == (0, bytes.fromhex(data))
    assert int.from_bytes(event.data, "big") == round(60_000_000 / quarters)


@pytest.mark.parametrize("name", TIME_SIGNATURES)
def test_time_signature(name: str) -> None:
    """The time signature is FF 58 04 and the standard's four bytes, a click a beat: 36 clocks in 6/8."""
    ideas = fillgen.ideas("| C | G7 |", metre=name, count=1)
    data = TIME_SIGNATURES[name]
    assert bytes.fromhex("00 FF 58 04" + data) in to_midi(ideas)
    assert [(event.tick, event.data) for event in meta(file_of(ideas), TIME)] == [(0, bytes.fromhex(data))]


@pytest.mark.parametrize("name", KEY_SIGNATURES)
def test_key_signature(name: str) -> None:
    """The key signature is FF 59 02, sharps or flats, and the mode: FD 00 for Eb major, FD 01 for C minor."""
    ideas = in_key(parse_chart("| C |", key=name).key)
    data = KEY_SIGNATURES[name]
    assert bytes.fromhex("00 FF 59 02" + data) in to_midi(ideas)
    assert [(event.tick, event.data) for event in meta(file_of(ideas), KEY)] == [(0, bytes.fromhex(data))]


@pytest.mark.parametrize("key", all_keys(), ids=str)
def test_every_key_has_its_signature(key: Key) -> None:
    """Every key has the sharps or flats that music21 gives it."""
    tonic = f"{key.tonic}".replace("b", "-")
    theirs = music21_key.Key(tonic, key.mode)
    (event,) = meta(file_of(in_key(key)), KEY)
    sharps = int.from_bytes(event.data[:1], "big", signed=True)
    assert (sharps, event.data[1]) == (theirs.sharps, ["major", "minor"].index(key.mode))


@pytest.mark.parametrize("case", CASES)
def test_every_track_ends_where_the_music_ends(case: str) -> None:
    """Each track ends once, with FF 2F 00 as its last bytes, at the last bar line of the last idea."""
    ideas = made(case)
    whole = starts(ideas)[-1] + ideas.progression.length
    data = to_midi(ideas)
    for (name, body), track in zip(list(chunks(data))[1:], read_file(data).tracks, strict=True):
        assert name == b"MTrk"
        assert body.endswith(bytes.fromhex("FF 2F 00"))
        assert [event.meta for event in track if event.status == META].count(END) == 1
        assert (track[-1].meta, track[-1].tick) == (END, whole)


@pytest.mark.parametrize("case", CASES)
def test_every_number_takes_no_more_bytes_than_it_needs(case: str) -> None:
    """Every delta time and length is the standard's shortest, and the long ones take more bytes than one."""
    deltas = [
        after.tick - before.tick for track in file_of(made(case)).tracks for before, after in pairwise(track)
    ]
    assert min(deltas) == 0
    assert max(deltas) >= 0x80
    assert len(write_vlq(max(deltas))) >= 2


@pytest.mark.parametrize(
    ("chart", "name"), [("| C | G7 |", "Right-hand ideas"), ("title: Home\n| C | G7 |", "Home")]
)
def test_track_names(chart: str, name: str) -> None:
    """The first track is named by the chart's title, the second by the hand that plays it."""
    file = file_of(fillgen.ideas(chart, count=2))
    assert [[event.text for event in track if event.meta == TRACK_NAME] for track in file.tracks] == [
        [name],
        ["Right hand"],
    ]
    assert [track[0].meta for track in file.tracks] == [TRACK_NAME, TRACK_NAME]


@pytest.mark.parametrize("title", ["Für später", "a" * 127, "b" * 128, "c" * 20_000])
def test_long_and_foreign_titles(title: str) -> None:
    """A title of any length, in any letters, is written whole, as UTF-8, with its length in bytes before it."""
    ideas = fillgen.ideas(f"title: {title}\n| C | G7 |", count=1)
    data = to_midi(ideas)
    encoded = title.encode()
    assert bytes((META, TRACK_NAME)) + write_vlq(len(encoded)) + encoded in data
    assert meta(read_file(data), TRACK_NAME)[0].text == title


@pytest.mark.parametrize(
    ("sound", "byte"), [("vibraphone", 0x0B), ("drawbar organ", 0x10), ("1", 0x00), ("128", 0x7F)]
)
def test_program_change(sound: str, byte: int) -> None:
    """The sound is set once, before the first note, by the byte of its program: 0B for the vibraphone."""
    data = to_midi(made("waltz"), sounds={"right": sound})
    assert bytes((0x00, 0xC0, byte)) in data
    _, hand = read_file(data).tracks
    changes = [event for event in hand if event.status & 0xF0 == 0xC0]
    assert [(event.tick, event.data) for event in changes] == [(0, bytes([byte]))]
    strikes = [number for number, event in enumerate(hand) if event.status & 0xF0 == 0x90]
    assert hand.index(changes[0]) < strikes[0]


@pytest.mark.parametrize("case", CASES)
def test_tempo_metre_and_key_stand_in_the_first_track(case: str) -> None:
    """In format 1 the first track holds tempo, metre and key, and no note (RP-001)."""
    guide, hand = file_of(made(case)).tracks
    assert {event.status for event in guide} == {META}
    assert {TEMPO, TIME, KEY} <= {event.meta for event in guide}
    assert not {TEMPO, TIME, KEY, MARKER} & {event.meta for event in hand if event.status == META}


@pytest.mark.parametrize("case", CASES)
def test_a_marker_stands_before_each_idea(case: str) -> None:
    """A marker with the idea's rank and shape stands where each idea begins."""
    ideas = made(case)
    assert len(ideas) == 6
    markers = meta(file_of(ideas), MARKER)
    assert [event.tick for event in markers] == starts(ideas)
    for idea, event in zip(ideas, markers, strict=True):
        assert event.text.startswith(f"Idea {idea.rank}: {idea.shape}")


@pytest.mark.parametrize("case", CASES)
def test_chords_are_texts_at_their_ticks(case: str) -> None:
    """Every chord of the chart is a text event where it begins, in every idea, after the idea's marker."""
    ideas = made(case)
    guide = file_of(ideas).tracks[0]
    wanted = [
        (start + span.onset, span.chord.symbol) for start in starts(ideas) for span in ideas.progression.spans
    ]
    assert [(event.tick, event.text) for event in guide if event.meta == TEXT] == wanted
    assert [text for _, text in wanted[:2]] == [
        word for word in CASES[case].chart.replace("|", " ").split() if word
    ][:2]
    for event in meta(file_of(ideas), MARKER):
        same = [other.meta for other in guide if other.tick == event.tick and other.meta in (MARKER, TEXT)]
        assert same == [MARKER, TEXT]


def test_chord_texts_read_back() -> None:
    """Chords written with real signs, with a bass, or N.C. stand in the text events so that they read back."""
    symbols = ["C♯m7♭5", "F♯7/E", "N.C.", "BΔ7", "Eø", "G♯°7"]
    ideas = fillgen.ideas(f"| {' | '.join(symbols)} |", key="B minor", count=1)
    read = [read_chord(event.text) for event in meta(file_of(ideas), TEXT)]
    wanted = [read_chord(symbol) for symbol in symbols]
    assert [(chord.root, chord.kind, chord.bass) for chord in read] == [
        (chord.root, chord.kind, chord.bass) for chord in wanted
    ]
    assert [str(chord.root) for chord in read] == ["C#", "F#", "None", "B", "E", "G#"]


@pytest.mark.parametrize("case", CASES)
def test_a_bar_of_rest_lies_between_ideas(case: str) -> None:
    """Between two ideas no note sounds for a bar, and no note leaves the bars of its idea."""
    ideas = made(case)
    found = sounds(file_of(ideas))
    length, bar = ideas.progression.length, ideas.progression.metre.bar
    assert starts(ideas)[1] == length + bar
    for sound in found:
        inside = sound.onset % (length + bar)
        assert inside + sound.length <= length
    assert {sound.onset // (length + bar) for sound in found} == set(range(len(ideas)))


@pytest.mark.parametrize("case", CASES)
def test_notes_end_and_do_not_overlap(case: str) -> None:
    """Every note-on has its note-off, lasts a while, and ends before or when the next note begins."""
    found = sounds(file_of(made(case)))
    assert len(found) == len(written(made(case))) > 20
    assert min(sound.length for sound in found) > 0
    for before, after in pairwise(found):
        assert before.onset + before.length <= after.onset


@pytest.mark.parametrize("case", STRAIGHT)
def test_straight_notes_are_those_on_paper(case: str) -> None:
    """In a straight rhythm the notes are the ideas' own: pitch, onset and length in ticks."""
    ideas = made(case)
    assert not ideas.swing
    assert plain(sounds(file_of(ideas))) == written(ideas)


def test_triplets_are_played_as_thirds() -> None:
    """A triplet's notes fall on the thirds of their beat, 160 ticks apart or 320."""
    found = plain(sounds(file_of(made("triplets"))))
    off_the_grid = {sound.onset % DIVISION for sound in found} - {0, 120, 240, 360}
    assert off_the_grid
    assert off_the_grid <= {80, 160, 320, 400}


@pytest.mark.parametrize("case", SWUNG)
def test_swung_off_beats_fall_on_the_last_triplet(case: str) -> None:
    """In a swing rhythm off-beat eighths begin and end at tick 320 of the quarter, and beats stay."""
    ideas = made(case)
    assert ideas.swing
    found = plain(sounds(file_of(ideas)))
    off_beats = 0
    for paper, sound in zip(written(ideas), found, strict=True):
        assert sound.midi == paper.midi
        for on_paper, played in ((paper.onset, sound.onset), (paper.onset + paper.length, end(sound))):
            quarter, inside = divmod(on_paper, DIVISION)
            assert inside in (0, 240)
            assert played == quarter * DIVISION + {0: 0, 240: 320}[inside]
            off_beats += inside == 240
    assert off_beats >= 5


def end(sound: Sound) -> int:
    """The tick at which a note ends."""
    return sound.onset + sound.length


@pytest.mark.parametrize("case", CASES)
def test_downbeats_are_loudest(case: str) -> None:
    """Velocities are playable, and no note is louder than one on a downbeat."""
    ideas = made(case)
    found = sounds(file_of(ideas))
    bar = ideas.progression.metre.bar
    down = {sound.velocity for sound in found if sound.onset % bar == 0}
    assert len(down) == 1
    assert all(1 <= sound.velocity <= min(down) for sound in found)
    assert len({sound.velocity for sound in found}) > 1
    assert min(down) <= 127


# Read back by others


def of_music21(data: bytes) -> stream.Stream:
    """A file as music21 reads it, its times as they stand."""
    file = music21_midi.MidiFile()
    file.readstr(data)
    return music21_midi.translate.midiFileToStream(file, quantizePost=False)


def music21_events(data: bytes) -> list[Sound]:
    """The notes of a file from music21's raw events, without its notation."""
    file = music21_midi.MidiFile()
    file.readstr(data)
    told, struck, tick = [], {}, 0
    for event in file.tracks[1].events:
        tick += event.time if event.isDeltaTime() else 0
        if event.isNoteOn():
            struck[event.pitch] = tick
        elif event.isNoteOff():
            onset = struck.pop(event.pitch)
            told.append(Sound(onset, tick - onset, event.pitch))
    return told


@pytest.mark.costly
@pytest.mark.parametrize("case", STRAIGHT)
def test_music21_reads_the_same_notes(case: str) -> None:
    """music21 reads the same pitches, onsets and lengths in ticks, as events and as notation."""
    ideas = made(case)
    data = to_midi(ideas)
    read = of_music21(data).flatten().stripTies().getElementsByClass(note.Note)
    assert music21_events(data) == written(ideas)
    assert [
        Sound(round(found.offset * DIVISION), round(found.quarterLength * DIVISION), found.pitch.midi)
        for found in read
    ] == written(ideas)


@pytest.mark.parametrize("case", SWUNG)
def test_music21_reads_the_same_swung_notes(case: str) -> None:
    """music21's events of a swung file are those of this page's reader."""
    data = to_midi(made(case))
    assert music21_events(data) == plain(sounds(read_file(data)))


@pytest.mark.parametrize("case", CASES)
def test_music21_reads_tempo_metre_and_key(case: str) -> None:
    """music21 reads the tempo, the time signature and the key that the ideas have."""
    ideas, asked = made(case), CASES[case]
    read = of_music21(to_midi(ideas)).flatten()
    tempos = list(read.getElementsByClass(tempo.MetronomeMark))
    metres = list(read.getElementsByClass(meter.TimeSignature))
    keys = list(read.getElementsByClass(music21_key.Key))
    tonic, mode = asked.key.split()
    assert [round(mark.getQuarterBPM(), 1) for mark in tempos] == [float(ideas.tempo)]
    assert [found.ratioString for found in metres] == [asked.metre]
    assert [(found.tonic.name.replace("-", "b"), found.mode) for found in keys] == [(tonic, mode)]


def of_symusic(data: bytes) -> symusic.core.ScoreTick:
    """A file as symusic reads it, in ticks."""
    return symusic.Score.from_midi(data)


@pytest.mark.parametrize("case", CASES)
def test_symusic_reads_the_same_notes(case: str) -> None:
    """symusic reads one track, its name and program, and the notes of this page's reader with their velocities."""
    ideas = made(case)
    data = to_midi(ideas)
    score = of_symusic(data)
    (track,) = score.tracks
    read = [Sound(found.time, found.duration, found.pitch, found.velocity) for found in track.notes]
    assert (score.ticks_per_quarter, track.name, track.program) == (DIVISION, "Right hand", VIBRAPHONE)
    assert read == sounds(read_file(data))
    if case in STRAIGHT:
        assert plain(read) == written(ideas)


@pytest.mark.parametrize("case", CASES)
def test_symusic_reads_tempo_metre_and_key(case: str) -> None:
    """symusic reads the tempo, the time signature, the key and the markers that the ideas have."""
    ideas, asked = made(case), CASES[case]
    score = of_symusic(to_midi(ideas))
    (quarters,), (signature,), (key,) = score.tempos, score.time_signatures, score.key_signatures
    tonic, mode = asked.key.split()
    sharps = music21_key.Key(tonic.replace("b", "-"), mode).sharps
    assert round(quarters.qpm, 2) == float(ideas.tempo)
    assert f"{signature.numerator}/{signature.denominator}" == asked.metre
    assert (key.key, key.tonality) == (sharps, int(mode == "minor"))
    assert [marker.time for marker in score.markers] == starts(ideas)


# One file for each idea


def alone(ideas: Ideas, idea: Idea) -> Ideas:
    """An idea as the only one."""
    return replace(ideas, ideas=(idea,))


@pytest.mark.parametrize("case", CASES)
def test_one_file_for_each_idea(case: str) -> None:
    """Each idea has a file named by its rank that holds its notes from tick 0 and ends with its last bar."""
    ideas = made(case)
    files = to_midi_files(ideas)
    together = sounds(file_of(ideas))
    assert list(files) == [f"idea-{number:02}.mid" for number in range(1, len(ideas) + 1)]
    for start, data, idea in zip(starts(ideas), files.values(), ideas, strict=True):
        file = read_file(data)
        last = start + ideas.progression.length
        own = [replace(sound, onset=sound.onset - start) for sound in together if start <= sound.onset < last]
        assert sounds(file) == own
        assert {track[-1].tick for track in file.tracks} == {ideas.progression.length}
        assert len(meta(file, MARKER)) == 1
        assert data == to_midi(alone(ideas, idea))


def test_files_of_many_ideas_sort_by_rank() -> None:
    """Names have as many digits as the last rank needs, so that they sort as the ideas are ranked."""
    ideas = fillgen.ideas("| A | G | D | E |", count=101, busy="many")
    names = list(to_midi_files(ideas))
    assert len(names) == 101
    assert names == sorted(names)
    assert (names[0], names[-1]) == ("idea-001.mid", "idea-101.mid")


def test_files_are_the_same_every_time() -> None:
    """The same ideas give the same bytes."""
    asked = CASES["waltz"]
    again = fillgen.ideas(
        asked.chart, key=asked.key, metre=asked.metre, rhythm=asked.rhythm, level=3, count=6, seed=3
    )
    assert to_midi(again) == to_midi(made("waltz"))
