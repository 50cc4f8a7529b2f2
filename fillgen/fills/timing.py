"""The rhythms that a fill may have: those of the style's bars that fit in the room."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby, pairwise, product
from math import prod

from fillgen.dice import Dice
from fillgen.engine.never import mistimed
from fillgen.engine.plans import Rhythm_, chord_cell, stock
from fillgen.engine.request import Choices
from fillgen.rules.pack import BUSY, Cell
from fillgen.theory.metre import TICKS, is_triplet

_MOST = 400
"""Rhythms looked at for one room."""
_SHORTEST = TICKS // 2
"""A note cut short at the end of the room keeps at least this many ticks."""


def rhythms(choices: Choices, start: int, end: int, dice: Dice) -> list[Rhythm_]:
    """The rhythms of fills between two ticks, as busy as requested, or busier if there are none; shuffled."""
    wanted = BUSY.index(choices.busy)
    for busy in BUSY[wanted:]:
        found = [
            each for each in _combined(choices, busy, start, end, dice) if _is_fill(each, choices, start, end)
        ]
        if found:
            order = dice.doubles(len(found)).argsort(kind="stable")
            return [found[index] for index in order.tolist()]
    return []


def _combined(choices: Choices, busy: str, start: int, end: int, dice: Dice) -> Iterable[Rhythm_]:
    """Bars of a busy-ness one after another, cut at both ends of the room: all there are, or some of many."""
    progression = choices.progression
    bars = range(progression.bar_index(start), progression.bar_index(end - 1) + 1)
    options = [
        list(
            dict.fromkeys(
                _cut(cell, progression.start_of(bar), start, end) for cell in _cells(choices, busy, bar)
            )
        )
        for bar in bars
    ]
    if prod(map(len, options)) <= _MOST:
        every = product(*options)
    else:
        every = (tuple(dice.one_of(each) for each in options) for _ in range(_MOST))  # type: ignore[assignment]
    return list(dict.fromkeys(tuple(note for bar in each for note in bar) for each in every))


def _cells(choices: Choices, busy: str, bar: int) -> Sequence[Cell]:
    progression = choices.progression
    if choices.level.one_a_chord:
        return [chord_cell(progression, bar)]
    return stock(progression, choices.level, choices.rhythm, busy, metre=progression.metre_of(bar))[0]


def _cut(cell: Cell, at: int, start: int, end: int) -> Rhythm_:
    """The notes of a bar that begins at a tick which begin between two others, cut off at the second."""
    inside = ((at + onset, length) for onset, length in cell.notes if start <= at + onset < end)
    return tuple((onset, min(length, end - onset)) for onset, length in inside)


def _is_fill(rhythm: Rhythm_, choices: Choices, start: int, end: int) -> bool:
    """Whether a rhythm begins early enough in the room, continues without a long rest, and leads up to its end."""
    if len(rhythm) < 2:
        return False
    beat = choices.progression.metre_at(start).pulse
    first, (last, length) = rhythm[0][0], rhythm[-1]
    begins = first - start <= max(beat, (end - start) // 2)
    goes_on = all(after - sum(note) <= beat for note, (after, _) in pairwise(rhythm))
    leads = end - last - length <= beat and end - last <= beat + beat // 2
    whole = length >= _SHORTEST or not _is_cut(rhythm, end)
    timeline = choices.progression.timeline
    return (
        begins
        and goes_on
        and leads
        and whole
        and _has_whole_triplets(rhythm)
        and not mistimed(rhythm, timeline, choices.rhythm.name)
    )


def _is_cut(rhythm: Rhythm_, end: int) -> bool:
    return sum(rhythm[-1]) == end


def _has_whole_triplets(rhythm: Rhythm_) -> bool:
    """Whether all triplets have their three notes."""
    runs = groupby(rhythm, key=lambda note: is_triplet(note[1]))
    return all(len(list(notes)) % 3 == 0 for of_triplets, notes in runs if of_triplets)
