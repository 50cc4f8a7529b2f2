"""How much two phrases have in common."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fillgen.engine import diversify
from fillgen.engine.plans import Rhythm_
from fillgen.phrase.note import Phrase

LIKE = 0.6
"""A variant that is like the phrase has at least this share of the sounding time in common with it."""


UNLIKE = 0.15
"""A variant that is unlike the phrase has less than this share of the sounding time in common with it."""


ANSWER = 0.5
"""An answer has at most this share of the sounding time in common with its call."""


Ranges = Sequence[tuple[int, int]]
"""Stretches of time, from one tick to another each."""


def distance(one: Phrase, other: Phrase, outside: Ranges = ()) -> float:
    """The share of the time in which either of two phrases sounds that they do not sound the same: 0 to 1.

    The stretches of time `outside` don't count.

    >>> from fillgen.phrase.note import Note
    >>> call = (Note(0, 480, 72), Note(480, 480, 76))
    >>> distance(call, (Note(0, 480, 72), Note(480, 240, 77))), distance(call, call)
    (0.5, 0.0)
    """
    pitches = np.array([[note.midi for note in one]], dtype=np.int16)
    found = in_common(rhythm_of(one), pitches, other, outside)
    return 1 - int(found.same[0]) / found.either if found.either else 0.0


@dataclass(frozen=True)
class Common:
    """What phrases over one rhythm have in common with another: ticks in which each of them sounds the same.

    `own` are the ticks in which they sound, `other` those in which that one does, `either` those of both together.
    """

    same: NDArray[np.int64]
    own: int
    other: int
    either: int


def in_common(rhythm: Rhythm_, pitches: NDArray[np.int16], other: Phrase, outside: Ranges = ()) -> Common:
    """What phrases over one rhythm, given as rows of pitches, have in common with another phrase."""
    edges = {edge for onset, length in (*rhythm, *rhythm_of(other)) for edge in (onset, onset + length)}
    edges |= {edge for pair in outside for edge in pair}
    starts = np.array(sorted(edges), dtype=np.int64)
    grid, widths = starts[:-1], starts[1:] - starts[:-1]
    for start, end in outside:
        widths = np.where((grid >= start) & (grid < end), 0, widths)
    sounds = sounding_in(rhythm, pitches, grid)
    line = np.array([[note.midi for note in other]], dtype=np.int16)
    against = sounding_in(rhythm_of(other), line, grid)
    same = ((sounds == against) & (against > 0)) @ widths
    one, two = sounds[:1] > 0, against > 0
    own, theirs, either = (int((heard @ widths)[0]) for heard in (one, two, one | two))
    return Common(same, own, theirs, either)


def sounding_in(rhythm: Rhythm_, pitches: NDArray[np.int16], grid: NDArray[np.int64]) -> diversify.Sounding:
    """What phrases over one rhythm sound in slices of time; `grid` are the starts of the slices in ticks."""
    onsets = [onset for onset, _ in rhythm]
    return diversify.sounding(onsets, [sum(note) for note in rhythm], pitches, grid)


def rhythm_of(phrase: Phrase) -> Rhythm_:
    """Onset and length of each note, in ticks."""
    return tuple((note.onset, note.length) for note in phrase)


def sounds_at(phrase: Phrase, tick: int) -> int | None:
    """The pitch that sounds at a tick."""
    return next((note.midi for note in phrase if note.onset <= tick < note.end), None)
