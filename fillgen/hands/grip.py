"""Fingers for keys that are held together: a chord in one hand.

The stretches between fingers are those of `fillgen.hands.reach`; a grip costs what they lie outside a relaxed hand. The thumb
always plays, and the fifth finger where others cost as much, which is how triads and sevenths are fingered in methods for
the keyboard.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from itertools import combinations

from fillgen.hands.reach import FINGERS, Reach, reach

_STRAINED = 4
"""How many times more a semitone beyond the comfortable span costs than one beyond the relaxed span. Chosen."""


def chord_fingers(
    pitches: Sequence[int], hand: Reach | None = None, *, left: bool = False
) -> tuple[int, ...]:
    """The fingers that hold a chord with the least stretch, from the lowest key up; empty if no hand of that size can hold it.

    `pitches` are MIDI numbers from the lowest up; `left` is for the left hand, whose thumb is on top.

    >>> chord_fingers([60, 64, 67]), chord_fingers([55, 60, 64], left=True), chord_fingers([53, 57, 60, 63], left=True)
    ((1, 3, 5), (5, 2, 1), (5, 3, 2, 1))
    >>> chord_fingers([48, 67])
    ()
    """
    if not pitches:
        return ()
    lowest, highest = pitches[0], pitches[-1]
    from_thumb = [highest - pitch for pitch in reversed(pitches)] if left else [p - lowest for p in pitches]
    found = _least(tuple(from_thumb), hand or reach())
    return found[::-1] if left else found


@lru_cache(maxsize=1024)
def _least(rises: tuple[int, ...], hand: Reach) -> tuple[int, ...]:
    """The fingers from the thumb on, for keys so many semitones away from the thumb's."""
    ways = [(1, *others) for others in combinations(FINGERS[1:], len(rises) - 1)]
    held = [fingers for fingers in ways if _can_hold(fingers, rises, hand)]
    if not held:
        return ()
    wide = len(rises) > 2
    return min(
        held, key=lambda fingers: (_cost(fingers, rises, hand), wide and 5 not in fingers, sum(fingers))
    )


def _pairs(fingers: Sequence[int], rises: Sequence[int]) -> list[tuple[int, int, int]]:
    """Each two fingers, and the semitones between their keys."""
    every = combinations(zip(fingers, rises, strict=True), 2)
    return [(finger, other, there - here) for (finger, here), (other, there) in every]


def _can_hold(fingers: Sequence[int], rises: Sequence[int], hand: Reach) -> bool:
    within = [hand.between(a, b).practical for a, b, _ in _pairs(fingers, rises)]
    spans = [span for _, _, span in _pairs(fingers, rises)]
    return rises[-1] <= hand.held and all(
        near <= span <= far for (near, far), span in zip(within, spans, strict=True)
    )


def _cost(fingers: Sequence[int], rises: Sequence[int], hand: Reach) -> int:
    """Semitones outside the relaxed spans, those outside the comfortable ones several times over."""
    total = 0
    for finger, other, span in _pairs(fingers, rises):
        stretch = hand.between(finger, other)
        total += _outside(span, stretch.relaxed) + _STRAINED * _outside(span, stretch.comfortable)
    return total


def _outside(span: int, ends: tuple[int, int]) -> int:
    near, far = ends
    return max(near - span, span - far, 0)
