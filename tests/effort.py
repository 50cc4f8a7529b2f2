"""How much is tried: little each time, many times as much with the benches."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from typing import Any, TypeVar

import pytest

T = TypeVar("T")
EFFORT = int(os.environ.get("FILLGEN_EFFORT", "1"))
"""So many times as many examples, requests and kills are tried as usual."""


def examples(count: int) -> int:
    """So many examples, times the effort, with the benches; an eighth as many each time."""
    return count * EFFORT if EFFORT > 1 else -(-count // 8)


def one_in(every: int, values: Iterable[Any]) -> list[Any]:
    """Values for `pytest.mark.parametrize`, of which the first and every so many after it are tried each time.

    The others are slow. A tuple stands for several arguments.
    """
    rows = [value if isinstance(value, tuple) else (value,) for value in values]
    return [
        pytest.param(*row, marks=[pytest.mark.slow] if number % every else [])
        for number, row in enumerate(rows)
    ]


def thinned(every: int, values: Sequence[T]) -> Sequence[T]:
    """One in so many values, from the first on; all of them with the benches."""
    return values if EFFORT > 1 else values[::every]


def each_once(rows: Iterable[tuple[Any, ...]]) -> list[Any]:
    """Rows for `pytest.mark.parametrize`, of which those that bring a new value of some argument are tried each time.

    The others, which only put values together that have been tried, are slow.
    """
    seen: set[tuple[int, str]] = set()
    found = []
    for row in rows:
        own = {(column, repr(value)) for column, value in enumerate(row)}
        found.append(pytest.param(*row, marks=[] if own - seen else [pytest.mark.slow]))
        seen |= own
    return found
