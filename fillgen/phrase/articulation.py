"""Which notes of a line are slurred to the next, and which are accented."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from fillgen.theory.metre import TICKS, Timeline

_NEAR = 4
"""The widest interval that is slurred, in semitones: a major third."""
_STEP = 2


def slurred(notes: Sequence[tuple[int, int, int]], timeline: Timeline, *, swings: bool) -> frozenset[int]:
    """The numbers of the notes (onset, ticks, MIDI pitch) that are slurred to the note after them.

    Both touch and differ in pitch. Where eighths swing, a note off the beat is slurred to the one on the beat; elsewhere
    notes shorter than a quarter that move by step within a beat. Source: common practice.

    >>> from fillgen.theory.metre import METRES
    >>> line = [(0, 240, 72), (240, 240, 74), (480, 240, 76), (720, 240, 77), (960, 480, 77)]
    >>> sorted(slurred(line, Timeline(METRES["4/4"]), swings=True))
    [1]
    >>> sorted(slurred(line, Timeline(METRES["4/4"]), swings=False))
    [0, 2]
    """
    found = set()
    for number, ((onset, length, midi), (after, _, following)) in enumerate(pairwise(notes)):
        move = abs(following - midi)
        if onset + length != after or not move:
            continue
        leads = timeline.off_beat(onset) and not timeline.off_beat(after)
        if swings:
            joins = leads and length < TICKS and move <= _NEAR
        else:
            joins = length < TICKS and move <= _STEP and not leads
        if joins:
            found.add(number)
    return frozenset(found)


def accented(notes: Sequence[tuple[int, int, int]], timeline: Timeline, *, swings: bool) -> frozenset[int]:
    """The numbers of the notes (onset, ticks, MIDI pitch) that are accented: off the beat and above both their neighbours,
    where eighths swing. Source: common practice.

    >>> from fillgen.theory.metre import METRES
    >>> line = [(0, 240, 72), (240, 240, 76), (480, 240, 74), (720, 240, 72), (960, 480, 77)]
    >>> sorted(accented(line, Timeline(METRES["4/4"]), swings=True))
    [1]
    """
    if not swings:
        return frozenset()
    return frozenset(
        number
        for number, ((_, _, before), (onset, _, midi), (_, _, after)) in enumerate(
            zip(notes, notes[1:], notes[2:], strict=False), 1
        )
        if midi > max(before, after) and timeline.off_beat(onset)
    )
