"""The fifty that differ: from many scored candidates, the best that are not one another's near-copies."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from math import ceil, inf
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

ALIKE = 0.55
"""Two ideas may share pitches at the same time for at most this share of their sounding time."""

_BETTER = 0.6
"""The share of the candidates that are looked at before the others are."""
_PLENTY = 20
"""Candidates per idea; up to this many, all of them are examined."""
_ROUNDS = ((1.0, _BETTER), (1.4, _BETTER), (1.0, 1.0), (1.4, 1.0), (inf, 1.0))
"""By how much the limits on shared traits are relaxed if too few are chosen, and among how many of the best."""
_AT_ONCE = 64
"""Slices that are compared in one step: few enough to stay small."""
Sounding = NDArray[np.uint8]
"""What each candidate sounds in each slice of time: a MIDI number, 0 for silence."""


class Traits(NamedTuple):
    """What the chosen should not all share: rhythm, first bar, shape, first pitch and last pitch."""

    rhythm: Hashable
    first_bar: Hashable
    shape: int
    start: int
    end: int


@dataclass(frozen=True)
class Limits:
    """How many of the chosen may share a trait, in the order of the traits."""

    caps: tuple[int, ...]

    @classmethod
    def of(cls, count: int, shapes: int) -> Limits:
        """Limits for a number of ideas: at least 12 rhythms, 25 first bars and three shapes among fifty."""
        return cls(
            (
                max(1, -(-count // 13)),
                max(1, -(-count // 27)),
                max(1, -(-count * 2 // (5 if shapes > 2 else 2))),
                max(1, -(-count // 6)),
                max(1, -(-count // 3)),
            )
        )


def sounding(
    onsets: Sequence[int], ends: Sequence[int], pitches: NDArray[np.int16], grid: NDArray[np.int64]
) -> Sounding:
    """What candidates over one rhythm sound in each slice; `grid` are the slices' starts in ticks."""
    slot = np.searchsorted(np.asarray(onsets), grid, side="right") - 1
    heard = (slot >= 0) & (grid < np.asarray(ends)[np.maximum(slot, 0)])
    columns = pitches[:, np.maximum(slot, 0)].astype(np.uint8)
    return np.where(heard[None, :], columns, np.uint8(0))


def choose(
    scores: NDArray[np.float64],
    traits: Callable[[int], Traits],
    sounds: Sounding,
    widths: NDArray[np.int64],
    count: int,
    limits: Limits,
    most_alike: float = ALIKE,
) -> tuple[list[int], int]:
    """The candidates chosen, best first, and how many of them keep their distance from one another.

    `traits` gives the traits of a candidate, `widths` are the lengths of the slices in ticks. First come the best that keep their distance and share no trait
    too often, of the better ones; where these are too few, a trait may be shared more often; then all are looked at,
    at last without a limit; then, if still too few, come the best of the rest.
    """
    order = np.argsort(-scores, kind="stable")
    open_ = np.ones(len(scores), dtype=bool)
    slices = np.ascontiguousarray(sounds.T)
    lengths = widths.sum() - _ticks(slices, np.zeros(len(slices), dtype=np.uint8), widths)
    chosen: list[int] = []
    shared: tuple[Counter[Hashable], ...] = tuple(Counter() for _ in limits.caps)
    for slack, share in _ROUNDS:
        for index in order[: max(ceil(share * len(order)), _PLENTY * count)].tolist():
            if len(chosen) >= count:
                break
            if not open_[index]:
                continue
            own = traits(index)
            if not _too_often(own, shared, limits, slack):
                chosen.append(index)
                for trait, counts in zip(own, shared, strict=True):
                    counts[trait] += 1
                same = alike(slices, index, widths)
                open_ &= same <= most_alike * np.minimum(lengths, lengths[index])
                open_[index] = False
    apart = len(chosen)
    taken = set(chosen)
    chosen += [index for index in order.tolist() if index not in taken][: count - apart]
    return sorted(chosen, key=lambda index: (-scores[index], index)), apart


def alike(slices: Sounding, index: int, widths: NDArray[np.int64]) -> NDArray[np.float64]:
    """For how many ticks each candidate sounds the same as one of them. `slices` has a row for each slice of time."""
    own = slices[:, index]
    return _ticks(slices, own, np.where(own > 0, widths, 0))


def _ticks(slices: Sounding, own: NDArray[np.uint8], widths: NDArray[np.int64]) -> NDArray[np.float64]:
    """The ticks of the slices in which each candidate sounds a given pitch. Ticks are whole numbers, so sums are exact."""
    weights = widths.astype(np.float32)
    found = np.zeros(slices.shape[1], dtype=np.float64)
    for start in range(0, len(own), _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        found += weights[part] @ (slices[part] == own[part, None]).astype(np.float32)
    return found


def _too_often(own: Traits, shared: Sequence[Counter[Hashable]], limits: Limits, slack: float) -> bool:
    return any(
        counts[trait] >= slack * cap for trait, counts, cap in zip(own, shared, limits.caps, strict=True)
    )
