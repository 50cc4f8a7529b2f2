"""The phrase lattice: figures of bars joined exactly, so that whole phrases can be counted, drawn and compared.

Neighbouring runs of notes meet only in windows of three notes: the last of one run and the first of the next. The
lattice sums over everything that can follow, from the end of the phrase backwards, and then walks forwards. The
same recursion counts (add and multiply whole numbers), draws fairly (add and multiply weights) and finds the best
(take the largest and add): only the two operations differ. For the method see Rabiner (1989), A tutorial on hidden
Markov models, Proceedings of the IEEE 77(2), forward-backward and Viterbi.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import prod
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray

Table = NDArray[Any]
"""A number for each window: axes are the note before, the note and the note after, as indices into their domains.
A missing neighbour is an axis of length 1."""
Rows = NDArray[np.intp]
"""Phrases as rows of indices into the domains of their notes."""
Choice = Callable[[Table], NDArray[np.intp]]
"""Picks one column in each row of a table of values."""
_SAFE = 2.0**62


@dataclass(frozen=True)
class Run:
    """A run of notes solved together: the number of its first note, and its figures in order."""

    first: int
    figures: Rows

    @property
    def size(self) -> int:
        return int(self.figures.shape[1])

    @property
    def last(self) -> int:
        return self.first + self.size - 1


@dataclass(frozen=True)
class _Algebra:
    """The two operations of a recursion: how values along a path combine, and how paths do."""

    along: np.ufunc
    across: np.ufunc
    zero: Any


_COUNT = _Algebra(np.multiply, np.add, 0)
_WEIGH = _Algebra(np.multiply, np.add, 0.0)
_BEST = _Algebra(np.add, np.maximum, -np.inf)


@dataclass(frozen=True)
class _Sums:
    """What can follow, for one run: by its first note, by its first two notes, and for each figure."""

    first: Table
    start: Table | None
    figures: Table | None
    blocks: NDArray[np.intp] | None


class Lattice:
    """All phrases over one rhythm.

    `runs` cover all notes in order; `allowed` holds for each note the windows that the rules allow around it.
    """

    def __init__(self, runs: Sequence[Run], allowed: Sequence[NDArray[np.bool_]]) -> None:
        self.runs = tuple(runs)
        self.allowed = tuple(allowed)
        self._blocks = [_entry_blocks(run, self.allowed) for run in self.runs]

    pairs: Sequence[tuple[int, int]] = ()
    """Notes that repeat others: none here."""

    @property
    def columns(self) -> int:
        """How many chances a draw takes for each phrase."""
        return 3 * len(self.runs)

    @property
    def is_empty(self) -> bool:
        """Whether some run has no figure at all, so that there is no phrase."""
        return any(run.figures.shape[0] == 0 for run in self.runs)

    def count(self) -> int:
        """How many phrases there are, exactly."""
        if self.is_empty:
            return 0
        ways = prod(table.shape[1] for table in self.allowed)
        fits = ways < _SAFE or self._estimate() < _SAFE
        return int(self._count_in(np.int64 if fits else object))

    def draw(self, weights: Sequence[Table], chances: NDArray[np.float64]) -> Rows:
        """Phrases drawn with replacement, each with a probability in proportion to the product of its weights.

        `weights` holds for each note a table in the shape of `allowed`, 0 if a window is forbidden; ones draw
        fairly from all phrases. `chances` are numbers in [0, 1), a row for each phrase and `columns` columns.
        """
        if self.is_empty:
            return np.empty((0, len(self.allowed)), dtype=np.intp)
        columns = iter(chances.T)
        sums = self._sums(weights, _WEIGH)
        if not np.any(sums[0].first > 0):
            return np.empty((0, len(self.allowed)), dtype=np.intp)
        return self._walk(weights, sums, _WEIGH, lambda values: drawn_by(values, next(columns)), len(chances))

    def best(self, values: Sequence[Table]) -> tuple[float, Rows]:
        """The phrase with the largest sum of values, and that sum. Values are -inf if a window is forbidden."""
        if self.is_empty:
            return -np.inf, np.empty((0, len(self.allowed)), dtype=np.intp)
        sums = self._sums(values, _BEST)
        total = float(self._total(sums, _BEST))
        if total == -np.inf:
            return total, np.empty((0, len(self.allowed)), dtype=np.intp)
        return total, self._walk(values, sums, _BEST, lambda row: np.argmax(row, axis=1), 1)

    def phrases(self) -> Rows:
        """All phrases, in the order of their pitches. Ask for the count first: there may be very many."""
        found = self.runs[0].figures
        if self.runs[0].size > 1:
            found = found[self.allowed[0][0, found[:, 0], found[:, 1]]]
        for run in self.runs[1:]:
            found = self._extended(found, run)
        if found.shape[1] == 1:
            return np.asarray(found[self.allowed[-1][0, found[:, 0], 0]])
        return np.asarray(found[self.allowed[-1][found[:, -2], found[:, -1], 0]])

    def holds(self, rows: Rows) -> NDArray[np.bool_]:
        """Which rows of indices are phrases of this lattice."""
        return windows_hold(self.allowed, rows)

    # The recursion, from the end of the phrase backwards

    def _sums(
        self,
        tables: Sequence[Table],
        algebra: _Algebra,
        dtype: DTypeLike | None = None,
        *,
        plain: bool = False,
    ) -> list[_Sums]:
        """What can follow for each run, in numbers of a type: by default in that of the tables."""
        after = np.asarray(tables[-1][:, :, 0], dtype=dtype)
        sums: list[_Sums] = []
        for run, blocks in zip(reversed(self.runs), reversed(self._blocks), strict=True):
            sums.append(self._sum_run(run, blocks, tables, after, algebra, plain))
            if run.first > 0:
                after = algebra.across.reduce(
                    algebra.along(tables[run.first - 1], sums[-1].first[None, :, :]), axis=2
                )
                if algebra is _WEIGH:
                    after = after / (after.max() or 1.0)
        return sums[::-1]

    def _sum_run(
        self,
        run: Run,
        blocks: NDArray[np.intp],
        tables: Sequence[Table],
        after: Table,
        algebra: _Algebra,
        plain: bool,
    ) -> _Sums:
        if run.size == 1:
            return _Sums(after, None, None, None)
        figures = run.figures
        values = after[figures[:, -2], figures[:, -1]]
        if not plain:
            for column in range(1, run.size - 1):
                inner = tables[run.first + column]
                window = inner[figures[:, column - 1], figures[:, column], figures[:, column + 1]]
                values = algebra.along(values, window)
        here = tables[run.first]
        start = np.full(here.shape[1:], algebra.zero, dtype=values.dtype)
        entry = blocks[:-1]
        start[figures[entry, 0], figures[entry, 1]] = algebra.across.reduceat(values, entry)
        first = algebra.across.reduce(algebra.along(here, start[None, :, :]), axis=2)
        return _Sums(first, start, values, blocks)

    def _total(self, sums: Sequence[_Sums], algebra: _Algebra) -> Any:
        return algebra.across.reduce(sums[0].first[0])

    def _count_in(self, dtype: DTypeLike) -> Any:
        """The count in numbers of a type."""
        return self._total(self._sums(self.allowed, _COUNT, dtype, plain=True), _COUNT)

    def _estimate(self) -> float:
        """The count in floating point, infinite where it is beyond that."""
        with np.errstate(over="ignore", invalid="ignore"):
            total = float(self._count_in(np.float64))
        return total if np.isfinite(total) else np.inf

    # The walk, from the beginning of the phrase forwards

    def _walk(
        self, tables: Sequence[Table], sums: Sequence[_Sums], algebra: _Algebra, choose: Choice, count: int
    ) -> Rows:
        chosen = np.zeros((count, len(self.allowed)), dtype=np.intp)
        for run, found in zip(self.runs, sums, strict=True):
            one, two = _column(chosen, run.first - 2), _column(chosen, run.first - 1)
            values = found.first[two]
            if run.first > 0:
                values = algebra.along(tables[run.first - 1][one, two], values)
            chosen[:, run.first] = choose(values)
            if run.size > 1:
                self._walk_run(run, found, tables, algebra, choose, chosen)
        return chosen

    def _walk_run(
        self,
        run: Run,
        found: _Sums,
        tables: Sequence[Table],
        algebra: _Algebra,
        choose: Choice,
        chosen: Rows,
    ) -> None:
        """Choose the second note of a run, then one of the figures that begin so."""
        assert found.start is not None
        assert found.figures is not None
        assert found.blocks is not None
        before, head = _column(chosen, run.first - 1), chosen[:, run.first]
        second = choose(algebra.along(tables[run.first][before, head], found.start[head]))
        keys = head * found.start.shape[1] + second
        entry = found.blocks[:-1]
        entry_keys = run.figures[entry, 0] * found.start.shape[1] + run.figures[entry, 1]
        block = np.searchsorted(entry_keys, keys)
        start, end = found.blocks[block], found.blocks[block + 1]
        width = int((end - start).max())
        columns = start[:, None] + np.arange(width)
        values = found.figures[np.minimum(columns, len(found.figures) - 1)]
        values = np.where(columns < end[:, None], values, algebra.zero)
        picked = start + choose(values)
        chosen[:, run.first : run.last + 1] = run.figures[picked]

    def _extended(self, found: Rows, run: Run) -> Rows:
        """Every phrase so far with every figure that may follow it."""
        left = np.repeat(np.arange(len(found)), len(run.figures))
        right = np.tile(np.arange(len(run.figures)), len(found))
        two, head = found[left, -1], run.figures[right, 0]
        one = found[left, -2] if found.shape[1] > 1 else np.zeros_like(two)
        keep = self.allowed[run.first - 1][one, two, head]
        if run.size > 1:
            keep &= self.allowed[run.first][two, head, run.figures[right, 1]]
        return np.hstack([found[left[keep]], run.figures[right[keep]]])


def _entry_blocks(run: Run, allowed: Sequence[NDArray[np.bool_]]) -> NDArray[np.intp]:
    """Where the figures of a run that share their first two notes begin, and the end."""
    if run.size == 1 or not len(run.figures):
        return np.zeros(1, dtype=np.intp)
    keys = run.figures[:, 0] * allowed[run.first].shape[2] + run.figures[:, 1]
    edges = np.ones(len(keys) + 1, dtype=bool)
    edges[1:-1] = keys[1:] != keys[:-1]
    return np.flatnonzero(edges)


def _column(chosen: Rows, note: int) -> Rows:
    """The indices chosen for a note; zeros before the first, whose axis has length 1."""
    return chosen[:, note] if note >= 0 else np.zeros(len(chosen), dtype=np.intp)


def windows_hold(allowed: Sequence[NDArray[np.bool_]], rows: Rows) -> NDArray[np.bool_]:
    """In which rows of indices every window of three notes is allowed."""
    edge = np.zeros(len(rows), dtype=np.intp)
    columns = [edge, *rows.T, edge]
    kept = np.ones(len(rows), dtype=bool)
    for table, before, note, after in zip(allowed, columns, columns[1:], columns[2:], strict=False):
        kept &= table[before, note, after]
    return kept


def drawn_by(values: Table, chances: NDArray[np.float64]) -> NDArray[np.intp]:
    """A column in each row, drawn in proportion to the values."""
    ladder = values.cumsum(axis=1)
    whole = ladder[:, -1]
    target = np.minimum(chances * whole, np.nextafter(whole, 0))
    return np.asarray((ladder > target[:, None]).argmax(axis=1))
