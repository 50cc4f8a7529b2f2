"""What given fingers are charged by the program's rules, and all fingerings of a melody in order: slow, and plain."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise, product

import numpy as np

from fillgen.hands import fingering
from fillgen.hands.reach import Reach, reach
from fillgen.theory.pitch import is_black

Fingers = tuple[int, ...]


def costs(pitches: Sequence[int], fingers: Sequence[int], hand: Reach | None = None) -> dict[str, int]:
    """The points of a melody played with given fingers, by rule; a medium hand where none is given.

    Where two fingers do not reach, the hand jumps: nothing is charged across it. A key struck again with the same
    finger is one note.
    """
    played = [struck for struck, _ in groupby(zip(pitches, fingers, strict=True))]
    found = dict.fromkeys((rule.name for rule in fingering.rules()), 0)
    for part, tables in _charged(played, hand or reach()):
        for name, points in tables.items():
            found[name] += int(points[tuple(finger - 1 for _, finger in part)])
    return found


def _charged(
    played: Sequence[tuple[int, int]], hand: Reach
) -> Iterator[tuple[Sequence[tuple[int, int]], dict[str, fingering.Points]]]:
    """Every note, pair and triple of a melody of pitches and fingers, each with what it can be charged."""
    pitches = [pitch for pitch, _ in played]
    for index, pitch in enumerate(pitches):
        yield played[index : index + 1], fingering._note_points(not is_black(pitch))
    for index, (one, two) in enumerate(pairwise(pitches)):
        whites = np.array([not is_black(one), not is_black(two)])
        rise = np.asarray(_rise(one, two))
        yield played[index : index + 2], fingering._pair_points(hand, rise, *whites)
    for index, (one, two, three) in enumerate(zip(pitches, pitches[1:], pitches[2:], strict=False)):
        rises = np.array([_rise(one, two), _rise(two, three)])[:, None, None]
        yield played[index : index + 3], fingering._triple_points(hand, *rises)


def total(pitches: Sequence[int], fingers: Sequence[int], hand: Reach | None = None) -> int:
    """The points of a melody played with given fingers, all rules together."""
    return sum(costs(pitches, fingers, hand).values())


def jumps(pitches: Sequence[int], fingers: Sequence[int], hand: Reach | None = None) -> tuple[int, ...]:
    """Which notes, counted from 0, the fingers do not reach from the note before."""
    steps = pairwise(zip(pitches, fingers, strict=True))
    return tuple(
        index
        for index, ((one, finger), (two, then)) in enumerate(steps, start=1)
        if not _reached(one, two, hand or reach())[finger - 1, then - 1]
    )


def _reached(one: int, two: int, hand: Reach) -> np.ndarray:
    return fingering._reached(hand, np.asarray(_rise(one, two)))


def _rise(one: int, two: int) -> int:
    """Semitones from a note to the next, cut to two octaves: no finger reaches as far."""
    return max(-24, min(24, two - one))


def ranked(
    pitches: Sequence[int], hand: Reach | None = None, *, last: int | None = None
) -> list[tuple[int, Fingers]]:
    """Every fingering with the fewest jumps, by points and then by fingers; keys struck again keep their finger.

    All of them are tried, five to the power of the notes: for melodies of up to eight.
    """
    hand = hand or reach()
    keys = [key for key, _ in groupby(pitches)]
    ends = range(1, 6) if last is None else [last]
    ways = np.array([way for way in product(range(5), repeat=len(keys)) if way[-1] + 1 in ends])
    points, leaps = np.zeros(len(ways), dtype=int), np.zeros(len(ways), dtype=int)
    parts = _charged([(key, 0) for key in keys], hand)
    starts = [*range(len(keys)), *range(len(keys) - 1), *range(len(keys) - 2)]
    for start, (part, tables) in zip(starts, parts, strict=True):
        for charged in tables.values():
            points += charged[tuple(ways[:, start + index] for index in range(len(part)))]
    for index, (one, two) in enumerate(pairwise(keys)):
        leaps += ~_reached(one, two, hand)[ways[:, index], ways[:, index + 1]]
    spread = [index for index, (_, struck) in enumerate(groupby(pitches)) for _ in struck]
    fewest = np.flatnonzero(leaps == leaps.min())
    return sorted((int(points[row]), tuple((ways[row, spread] + 1).tolist())) for row in fewest)
