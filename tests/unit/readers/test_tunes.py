"""The bars and keys of tunes."""

from __future__ import annotations

import pytest

from fillgen.errors import TuneError
from fillgen.phrase.note import Note
from fillgen.readers.tunes import full_bars, key_of_notes, mode_of
from fillgen.theory.chords import read_chord
from fillgen.theory.metre import METRES


def line(*pitches: int) -> tuple[Note, ...]:
    return tuple(Note(480 * n, 480, midi) for n, midi in enumerate(pitches))


@pytest.mark.parametrize(
    ("sharps", "chords", "notes", "wanted"),
    [
        (1, ("Em", "Am", "B7", "Em"), (64, 67, 71, 64), "E minor"),
        (1, ("G", "Em", "D7", "G"), (67, 71, 74, 67), "G major"),
        (-1, (), (62, 65, 69, 61, 62), "D minor"),
        (-1, (), (65, 69, 72, 70, 67, 65), "F major"),
        (3, ("F#m", "D", "A", "E", "F#m"), (73, 69, 66), "F# minor"),
    ],
)
def test_the_mode_of_a_signature(
    sharps: int, chords: tuple[str, ...], notes: tuple[int, ...], wanted: str
) -> None:
    """Last chord and last note tell a minor key from the major key of its signature."""
    assert str(mode_of(sharps, [read_chord(symbol) for symbol in chords], line(*notes))) == wanted


def test_a_key_without_a_signature() -> None:
    """Notes alone: a scale that closes on its first note, and a minor one with its leading note."""
    assert str(key_of_notes(line(63, 65, 67, 68, 70, 67, 65, 63))) == "Eb major"
    assert str(key_of_notes(line(67, 69, 70, 72, 74, 70, 69, 66, 67))) == "G minor"


def test_bars_of_several_metres() -> None:
    """Each measure fills its own metre; one that doesn't is named."""
    metres = [METRES["4/4"], METRES["3/4"], METRES["3/4"]]
    assert [ticks for _, ticks in full_bars([1920, 1440, 960], metres, "a tune")] == [1920, 1440, 960]
    with pytest.raises(TuneError, match="bar 2 doesn't fill a 3/4 bar"):
        full_bars([1920, 1920, 1440], metres, "a tune")
