"""What is never played in a rhythm: the patterns of `rules/never.toml`, those of timing and those of pitch."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import pairwise

import numpy as np

from fillgen.engine.devices import Drawn, Mask, aimed, triplets
from fillgen.tables import plain_name, table
from fillgen.theory.metre import TICKS, Metre, Timeline, is_triplet, timeline_of

Timing = Sequence[tuple[int, int]]
"""Onset and length of each note of a phrase, in ticks from its start."""
_SIXTEENTH = TICKS // 4
_FIFTH, _TRITONE, _STEP = 7, 6, 2
_TURN = 4
"""Sixteenths in a bar that make a turn or a run of their own."""
_ON_END = 6
"""This many steps in a row, one way, make a line a scale exercise."""


@lru_cache(maxsize=64)
def never_in(rhythm: str) -> tuple[str, ...]:
    """The names of what is never played in a rhythm.

    >>> "push over the bar line" in never_in("march"), "push over the bar line" in never_in("swing")
    (True, False)
    """
    mine = {"every", plain_name(rhythm)}
    return tuple(
        row["name"] for row in table("never")["never"] if mine & {plain_name(each) for each in row["rhythms"]}
    )


def mistimed(notes: Timing, metre: Metre | Timeline, rhythm: str) -> bool:
    """Whether the timing of a phrase has what is never played in a rhythm."""
    return bool(notes) and any(TIMING[name](notes, metre) for name in never_in(rhythm) if name in TIMING)


def misplayed(drawn: Drawn, rhythm: str) -> Mask:
    """Which candidates have what is never played in a rhythm."""
    found = [PITCH[name](drawn) for name in never_in(rhythm) if name in PITCH]
    return np.any(np.stack(found), axis=0) if found else drawn.none()


# Of timing


def _triplet_into_a_rest(notes: Timing, _metre: Metre | Timeline) -> bool:
    found = triplets(notes)
    whole = {first + n for first in found for n in range(3)}
    arrives = [first for first in found if first + 3 < len(notes)]
    ends = [first for first in arrives if sum(notes[first + 2]) != notes[first + 3][0]]
    parts = any(is_triplet(length) and index not in whole for index, (_, length) in enumerate(notes))
    return bool(ends) or parts or len(arrives) < len(found)


def _no_one_after_the_eighths_on_four(notes: Timing, metre: Metre | Timeline) -> bool:
    begins = {onset for onset, _ in notes}
    line, beat = timeline_of(metre), timeline_of(metre).usual.beat
    led = [
        onset
        for onset in begins
        if onset + beat == line.end(line.index(onset)) and onset + beat // 2 in begins
    ]
    return any(onset + beat not in begins for onset in led)


def _dotted_eighth_and_sixteenth(notes: Timing, _metre: Metre | Timeline) -> bool:
    figure = ((0, 3 * _SIXTEENTH), (3 * _SIXTEENTH, _SIXTEENTH))
    return any(
        ((one[0] % TICKS, one[1]), (two[0] % TICKS, two[1])) == figure and sum(one) == two[0]
        for one, two in pairwise(notes)
    )


def _push_over_the_bar_line(notes: Timing, metre: Metre | Timeline) -> bool:
    line = timeline_of(metre)
    return any(
        line.inside(onset) % line.usual.beat and line.index(onset) != line.index(onset + length - 1)
        for onset, length in notes
    )


def _quarter_note_triplet(notes: Timing, _metre: Metre | Timeline) -> bool:
    return any(length == 2 * TICKS // 3 for _, length in notes)


def _rests_in_most_bars(notes: Timing, metre: Metre | Timeline) -> bool:
    line = timeline_of(metre)
    last = line.index(notes[-1][0])
    sounding = [0] * (last + 1)
    for onset, length in notes:
        for bar in range(line.index(onset), min(last, line.index(onset + length - 1)) + 1):
            sounding[bar] += min(onset + length, line.end(bar)) - max(onset, line.start(bar))
    resting = sum(time < line.size(bar) for bar, time in enumerate(sounding[:-1]))
    return last > 1 and 2 * resting > last


def _turn_in_most_bars(notes: Timing, metre: Metre | Timeline) -> bool:
    line = timeline_of(metre)
    short = [line.index(onset) for onset, length in notes if length <= _SIXTEENTH]
    last = line.index(notes[-1][0])
    return last > 1 and 2 * sum(short.count(bar) >= _TURN for bar in range(last)) > last


TIMING: dict[str, Callable[[Timing, Metre | Timeline], bool]] = {
    "triplet into a rest": _triplet_into_a_rest,
    "no one after the eighths on four": _no_one_after_the_eighths_on_four,
    "dotted eighth and sixteenth": _dotted_eighth_and_sixteenth,
    "push over the bar line": _push_over_the_bar_line,
    "quarter-note triplet": _quarter_note_triplet,
    "rests in most bars": _rests_in_most_bars,
    "turn in most bars": _turn_in_most_bars,
}
"""The patterns that onsets and lengths decide."""


# Of pitch


def _aimless_triplet(drawn: Drawn) -> Mask:
    found = [~aimed(drawn, first) for first in triplets(drawn.rhythm)]
    return np.any(np.stack(found), axis=0) if found else drawn.none()


def _leap_on_a_sixteenth(drawn: Drawn) -> Mask:
    short = np.array([length <= _SIXTEENTH for _, length in drawn.rhythm])
    touches = short[:-1] | short[1:]
    return np.asarray(((np.abs(drawn.moves) >= _FIFTH) & touches[None, :]).any(axis=1))


def _tritone_close(drawn: Drawn) -> Mask:
    return np.asarray((np.abs(drawn.moves[:, -1:]) == _TRITONE).any(axis=1))


def _scale_exercise(drawn: Drawn) -> Mask:
    found = drawn.none()
    for way in (1, -1):
        steps = (way * drawn.moves > 0) & (np.abs(drawn.moves) <= _STEP)
        for first in range(steps.shape[1] - _ON_END + 1):
            found = found | steps[:, first : first + _ON_END].all(axis=1)
    return np.asarray(found)


PITCH: dict[str, Callable[[Drawn], Mask]] = {
    "aimless triplet": _aimless_triplet,
    "leap on a sixteenth": _leap_on_a_sixteenth,
    "tritone close": _tritone_close,
    "scale exercise": _scale_exercise,
}
"""The patterns that pitches decide."""
