"""Spelling against scores of Bach, and intervals against music21's names for them."""

from __future__ import annotations

from functools import cache
from itertools import product
from typing import Any

import pytest
from music21 import corpus, interval, pitch

from fillgen import Note, Phrase, parse_chart
from fillgen.phrase.spelling import is_plain, names_of, spell

CHORALES = range(1, 11)
"""Riemenschneider's numbers of the chorales that are looked at."""


def to_ours(name: str) -> str:
    """A name of music21, whose flats are minus signs, as we write it."""
    return name.replace("-", "b")


@cache
def spelled_line(number: int, part: int) -> tuple[tuple[str, ...], tuple[str, ...], frozenset[str]]:
    """A part of a chorale as Bach spells it and as we do without his names, and the seven names of its key.

    Our only help is the key: the chart holds its tonic triad throughout.
    """
    score: Any = next(iter(corpus.chorales.Iterator(number, number, numberingSystem="riemenschneider")))
    key = score.analyze("key")
    tonic = to_ours(key.tonic.name)
    written = list(score.parts[part].flatten().notes)
    notes: Phrase = tuple(
        Note(round(float(n.offset) * 480), max(1, round(float(n.quarterLength) * 480)), n.pitches[-1].midi)
        for n in written
    )
    bars = -(-max(note.end for note in notes) // 1920)
    chord = tonic if key.mode == "major" else f"{tonic}m"
    progression = parse_chart(" | ".join([chord] * bars), key=f"{tonic} {key.mode}")
    own = tuple(to_ours(n.pitches[-1].nameWithOctave) for n in written)
    return own, spell(progression, notes), frozenset(map(str, progression.key.scale))


def test_chorales_are_spelled_as_bach_spells_them() -> None:
    """Ten chorales, J. S. Bach (the corpus of music21): 99 % of the notes, and 95 % of those outside the key."""
    rows = [spelled_line(number, part) for number, part in product(CHORALES, range(4))]
    pairs = [(own, ours, scale) for owns, found, scale in rows for own, ours in zip(owns, found, strict=True)]
    outside = [(own, ours) for own, ours, scale in pairs if own.rstrip("0123456789") not in scale]
    assert len(pairs) > 2000
    assert len(outside) > 100
    assert sum(own == ours for own, ours, _ in pairs) >= 0.99 * len(pairs)
    assert sum(own == ours for own, ours in outside) >= 0.95 * len(outside)


@pytest.mark.parametrize("low", range(57, 69))
def test_plain_intervals_are_those_of_music21(low: int) -> None:
    """Perfect, major and minor by music21's names, and the two forms of the tritone; up to two octaves, both ways."""
    for high in range(low, low + 25):
        for first, second in product(names_of(low % 12), names_of(high % 12)):
            ends = [
                pitch.Pitch(name.at(midi).replace("b", "-")) for name, midi in ((first, low), (second, high))
            ]
            found: Any = interval.Interval(*ends)
            if found.generic.directed < 0:
                continue
            simple = found.simpleName
            plain = simple[0] in "PMm" or simple in ("A4", "d5")
            assert is_plain(first, low, second, high) == plain, (str(first), str(second), simple)
            assert is_plain(second, high, first, low) == plain
