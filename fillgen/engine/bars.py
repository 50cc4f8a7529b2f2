"""Bar problems: the figures of one bar, or of a part of a crowded bar, found by a constraint solver.

Each note is a variable, the pitches its place may have are its domain, and the rules about neighbouring notes are
the constraints. This is the one module that knows the solver.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from functools import lru_cache
from math import prod

import constraint
import numpy as np
from numpy.typing import NDArray

from fillgen.phrase.place import Place
from fillgen.rules.windows import Allowed, Windows
from fillgen.theory.metre import Timeline

CROWDED = 2_000
"""A bar with more ways than this to give pitches to its notes, before the rules, is solved in parts."""

Figures = NDArray[np.intp]
"""Figures as rows; each number is an index into the domain of the note in its column."""


class BarProblems:
    """Solves bar problems under one set of rules and keeps what it has solved.

    Bars whose rules come to the same tables are one problem.
    """

    def __init__(self, windows: Windows) -> None:
        self.windows = windows
        self.figures = lru_cache(maxsize=None)(self._figures)
        self._solved: dict[tuple[bytes, ...], Figures] = {}

    def _figures(self, places: tuple[Place, ...]) -> Figures:
        """Every figure that the rules allow inside a run of notes, in the order of its pitches.

        Rules across the ends of the run are left to the lattice.
        """
        sizes = [self.windows.domain(place).size for place in places]
        if 0 in sizes:
            return np.empty((0, len(places)), dtype=np.intp)
        if len(places) == 1:
            return np.arange(sizes[0], dtype=np.intp)[:, None]
        pairs, triples = self._tables(places)
        key = (bytes(sizes), *(table.tobytes() for table in (*pairs, *triples)))
        if key not in self._solved:
            rows = np.array(_solve(sizes, pairs, triples), dtype=np.intp).reshape(-1, len(places))
            self._solved[key] = rows[np.lexsort(rows.T[::-1])]
        return self._solved[key]

    def _tables(self, places: Sequence[Place]) -> tuple[list[Allowed], list[Allowed]]:
        """What may follow what, for each two and each three neighbours of a run.

        The table of two is narrowed to what the tables of three leave, so that dead ends show early.
        """
        triples = [self.windows.triples(*places[first : first + 3]) for first in range(len(places) - 2)]
        pairs = []
        for first in range(len(places) - 1):
            table = self.windows.pairs(places[first], places[first + 1])
            if first < len(triples):
                table = table & triples[first].any(axis=2)
            if first > 0:
                table = table & triples[first - 1].any(axis=0)
            pairs.append(table)
        return pairs, triples


def _solve(
    sizes: Sequence[int], pairs: Sequence[Allowed], triples: Sequence[Allowed]
) -> list[tuple[int, ...]]:
    """All solutions of one bar problem. A solve narrows the domains it was given, so each has a new Problem.

    Looking ahead would cost more than it saves: the tables of two are narrowed already.
    """
    problem = constraint.Problem(constraint.OptimizedBacktrackingSolver(forwardcheck=False))
    for index, size in enumerate(sizes):
        problem.addVariable(index, list(range(size)))
    for first, table in enumerate(pairs):
        problem.addConstraint(_two(table), (first, first + 1))
    for first, table in enumerate(triples):
        problem.addConstraint(_three(table), (first, first + 1, first + 2))
    solutions: list[tuple[int, ...]] = problem.getSolutionsOrderedList(list(range(len(sizes))))
    return solutions


def _two(table: Allowed) -> Callable[[int, int], bool]:
    rows = table.tolist()
    return lambda one, two: rows[one][two]


def _three(table: Allowed) -> Callable[[int, int, int], bool]:
    rows = table.tolist()
    return lambda one, two, three: rows[one][two][three]


def parts(onsets: Sequence[int], sizes: Sequence[int], timeline: Timeline) -> list[range]:
    """How the notes of a phrase are shared among problems: by bar, and a crowded bar in parts.

    `onsets` are in ticks, `sizes` are the numbers of pitches each note may have. A crowded bar is cut in
    the middle, and each half again while it is crowded.

    >>> from fillgen.theory.metre import METRES
    >>> parts([0, 240, 480, 720, 960, 1200, 1920], [7, 13, 14, 13, 14, 13, 7], Timeline(METRES["4/4"]))
    [range(0, 2), range(2, 4), range(4, 6), range(6, 7)]
    """
    runs: list[range] = []
    for number in range(timeline.index(onsets[-1]) + 1 if onsets else 0):
        start, end = timeline.start(number), timeline.end(number)
        run = range(bisect_left(onsets, start), bisect_left(onsets, end))
        runs += _cut(onsets, sizes, run, (start, end))
    return runs


def _cut(onsets: Sequence[int], sizes: Sequence[int], run: range, time: tuple[int, int]) -> list[range]:
    if len(run) <= 1 or prod(sizes[run.start : run.stop]) <= CROWDED:
        return [run] if run else []
    start, end = time
    middle = (start + end) // 2
    cut = bisect_left(onsets, middle, run.start, run.stop)
    before = _cut(onsets, sizes, range(run.start, cut), (start, middle))
    return before + _cut(onsets, sizes, range(cut, run.stop), (middle, end))
