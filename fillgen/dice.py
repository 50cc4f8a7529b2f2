"""Repeatable random numbers: the same seed gives the same numbers on every machine."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

T = TypeVar("T")


class Dice:
    """Random draws from a seed. Everything is derived from doubles from PCG64, whose stream is fixed.

    >>> Dice(7).below(6) == Dice(7).below(6)
    True
    """

    def __init__(self, seed: int) -> None:
        self._source = np.random.Generator(np.random.PCG64(seed))

    def doubles(self, count: int) -> NDArray[np.float64]:
        """Numbers from 0 up to, but not including, 1."""
        return self._source.random(count)

    def chance(self, probability: float) -> bool:
        return bool(self._source.random() < probability)

    def below(self, limit: int) -> int:
        """A whole number from 0 up to, but not including, the limit."""
        return int(self._source.random() * limit)

    def one_of(self, things: Sequence[T]) -> T:
        return things[self.below(len(things))]
