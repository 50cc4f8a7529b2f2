"""A phrase through the keys, held against music21's transposition and read back by mido, which is asked for the file alone.

The order of the circle of fifths is common practice. music21 moves a name by the interval between two tonics and keeps its
letter; a pupil reads a double sharp or flat, and a white key with a sign that the key doesn't have, as a plain letter instead.
"""

from __future__ import annotations

import io
from functools import cache
from itertools import pairwise

import mido
import pytest
from music21 import interval, note, pitch

import fillgen
from fillgen import Ideas
from fillgen.hands.playing import Playing
from fillgen.teaching.keys import in_keys, keys_through
from fillgen.teaching.practice import Session, through_keys
from fillgen.writers.midi import to_practice

CHARTS = {
    "major": "| Bbmaj7 | Dm7 G7 | Cm7 | F7 |",
    "minor": "| Gm | Cm | D7 | Gm |",
    "plain": "| F | Bb | C7 | F |",
}


@cache
def ideas_of(chart: str, level: int = 3) -> Ideas:
    """Two ideas over a chart."""
    return fillgen.ideas(CHARTS[chart], rhythm="foxtrot", count=2, level=level, seed=5)


def versions_of(chart: str, order: str, level: int = 3) -> list[tuple[Ideas, Ideas]]:
    """Each idea at home, and in each key."""
    found = ideas_of(chart, level)
    keys = keys_through(order, found.progression.key)
    return [(found, each) for idea in found for each in in_keys(found, idea, keys)]


def as_music21(name: object) -> str:
    """A name as music21 writes it."""
    return str(name).replace("b", "-")


def is_hard(exact: pitch.Pitch, scale: set[str]) -> bool:
    """Whether a name has two signs, or is a white key with a sign outside the scale of its chord's key."""
    white = exact.pitchClass in (0, 2, 4, 5, 7, 9, 11)
    return abs(exact.alter) > 1 or (white and exact.alter != 0 and exact.name not in scale)


@pytest.mark.costly
@pytest.mark.parametrize("order", ["fifths", "fourths", "half-steps"])
@pytest.mark.parametrize("level", [2, 3, 5])
@pytest.mark.parametrize("chart", CHARTS)
def test_names_are_those_of_music21(chart: str, level: int, order: str) -> None:
    """Notes and chords have the letters that music21's transposition gives them, all but the hard ones."""
    compared = 0
    for home, there in versions_of(chart, order, level):
        tonics = [note.Note(f"{as_music21(each.progression.key.tonic)}4") for each in (home, there)]
        by = interval.Interval(*tonics)
        original = next(each for each in home if each.rank == there[0].rank)
        scale = {as_music21(name) for name in there.progression.key.scale}
        pairs = [(a.name, b.name) for a, b in zip(original.notes, there[0].notes, strict=True)] + [
            (str(a.chord.root), str(b.chord.root))
            for a, b in zip(home.progression.spans, there.progression.spans, strict=True)
        ]
        for before, after in pairs:
            exact, got = pitch.Pitch(as_music21(before)).transpose(by), pitch.Pitch(as_music21(after))
            assert got.pitchClass == exact.pitchClass
            if is_hard(exact, scale):
                assert abs(got.alter) <= 1
            else:
                assert got.name == exact.name, (before, after, str(there.progression.key))
                compared += 1
    assert compared > 200


def session_of(order: str) -> Session:
    """The first idea over the plainest chart through the keys."""
    found = ideas_of("plain")
    keys = keys_through(order, found.progression.key)
    return through_keys(found, in_keys(found, found[0], keys))


def ticks_of(track: mido.MidiTrack) -> list[tuple[int, mido.Message]]:
    """The messages of a track with their ticks."""
    at, found = 0, []
    for message in track:
        at += message.time
        found.append((at, message))
    return found


def read(session: Session) -> dict[str, list[tuple[int, mido.Message]]]:
    """The tracks of a session by their names, as mido reads them; the first is `guide`."""
    data = to_practice(session, Playing(feel=0.0))
    guide, *parts = mido.MidiFile(file=io.BytesIO(data)).tracks
    return {"guide": ticks_of(guide)} | {track.name: ticks_of(track) for track in parts}


@pytest.mark.parametrize("order", ["fifths", "fourths", "half-steps", "D,Ab,F#"])
def test_the_file_has_the_phrase_in_each_key_without_a_gap(order: str) -> None:
    """Keys come where rounds begin, one right after another; the right hand's pitches move as a whole."""
    session = session_of(order)
    tracks, bar, length = read(session), 1920, 4 * 1920
    keys = keys_through(order, ideas_of("plain").progression.key)
    signs = [(at, message.key) for at, message in tracks["guide"] if message.type == "key_signature"]
    assert [key for _, key in signs] == [str(key.tonic) for key in keys]
    assert [at for at, _ in signs] == [0, *(bar + number * length for number in range(1, len(keys)))]
    struck = [
        (at, message.note)
        for at, message in tracks["Right hand"]
        if message.type == "note_on" and message.velocity
    ]
    rounds = [
        [(at - bar - number * length, key) for at, key in struck if 0 <= at - bar - number * length < length]
        for number in range(len(keys))
    ]
    first = rounds[0]
    assert sum(map(len, rounds)) == len(struck)
    for key, row in zip(keys, rounds, strict=True):
        shift = row[0][1] - first[0][1]
        assert row == [(at, midi + shift) for at, midi in first]
        assert (shift - key.tonic.pitch_class + keys[0].tonic.pitch_class) % 12 == 0
    for name in ("Left hand", "Bass", "Drums"):
        bars = {at // bar for at, message in tracks[name] if message.type == "note_on" and message.velocity}
        assert bars >= set(range(1, 1 + 4 * len(keys)))
    assert max(at for track in tracks.values() for at, _ in track) == bar + length * len(keys)


def test_the_bass_has_the_root_of_each_key() -> None:
    """On the first beat of each round the bass plays the tonic of its key, and the left hand a chord of it."""
    session = session_of("fourths")
    tracks = read(session)
    lefts = []
    for start, each in zip(session.starts, session.rounds, strict=True):
        on = {
            name: [m.note for at, m in tracks[name] if at == start and m.type == "note_on" and m.velocity]
            for name in ("Bass", "Left hand")
        }
        chord = session.over(each).spans[0].chord
        assert [midi % 12 for midi in on["Bass"]] == [chord.root.pitch_class if chord.root else None]
        bars = [m.note for at, m in tracks["Left hand"] if start <= at < start + 1920 and m.type == "note_on"]
        assert {midi % 12 for midi in bars} <= {tone.name.pitch_class for tone in chord.tones}
        lefts.append(min(bars))
    assert all(abs(a - b) < 12 for a, b in pairwise(lefts))
