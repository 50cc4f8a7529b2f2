"""The lattice of phrases in which stretches of notes return: counted, drawn and compared exactly, as all phrases are.

The notes around a stretch of notes see only its first two notes and its last two. So a stretch that
stands at several places is solved once, under the rules of all its places together, and summed by its ends: n(f, l)
ways from its first two notes f to its last two l. The notes between two places are summed in the same way from the
last two notes of one to the first two of the next: t(l, f). All places together then have n(f, l) t(l, f) ... ways,
and for the notes around them they are one step, from f to l. Stretches inside a stretch, and between its places, are
solved alike. The sums run forwards, the choices backwards (Rabiner 1989, as in `lattice`); that recurring structure can be
imposed on such a chain by what its parts pass to one another is shown by Roy, Papadopoulos and Pachet (2017), Sampling
variations of sequences for structured music generation, who let the returns vary by biasing local fields: here those
are the weights of a draw.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import prod
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fillgen.engine.lattice import Choice, Rows, Table, drawn_by, windows_hold

_BITS = 40
_BASE = 2**_BITS
_FULL = 2.0**46
"""A digit that is not smaller is carried before the next step, which adds up 64 of them at most: below 2**53."""


@dataclass(frozen=True, slots=True)
class Same:
    """Stretches of notes that are the same: the first note of each place, in order, and how many notes each has.

    There are two places or more, of two notes or more, and they do not overlap. `inside` are stretches that return
    within the first place, `between` those that return between two places, for each gap.
    """

    firsts: tuple[int, ...]
    size: int
    inside: tuple[Same, ...] = ()
    between: tuple[tuple[Same, ...], ...] = ()

    @property
    def end(self) -> int:
        """The note after the last place."""
        return self.firsts[-1] + self.size

    def pairs(self) -> Iterator[tuple[int, int]]:
        """Each note of a later place with the note that it repeats."""
        for first in self.firsts[1:]:
            for note in range(self.size):
                yield first + note, self.firsts[0] + note
        for same in (*self.inside, *(each for gap in self.between for each in gap)):
            yield from same.pairs()


@dataclass(frozen=True)
class _Algebra:
    """How values along a path combine, and how paths do, for whole tables at once.

    `steps` goes over some notes from the ways to each two notes (axes: start, note before, note) to those to the last two; it gives the
    ways before each step as well where a walk will ask for them. `through` goes from the ways to each end of a stretch
    (axes: start, first ends) to those after it, and `along` combines tables of the same ends.
    """

    zero: Any
    one: Any
    windows: np.ufunc
    steps: Callable[[Table, Sequence[Table]], tuple[list[Table], Table]]
    through: Callable[[Table, Table], Table]
    along: Callable[[Table, Table], Table]


# Weights and values


def _weigh_steps(states: Table, tables: Sequence[Table]) -> tuple[list[Table], Table]:
    before = []
    for table in tables:
        before.append(states)
        states = _scaled(_summed(states, table))
    return before, states


def _best_steps(states: Table, tables: Sequence[Table]) -> tuple[list[Table], Table]:
    before = []
    for table in tables:
        before.append(states)
        states = (states[:, :, :, None] + table[None]).max(axis=1)
    return before, states


def _best_through(states: Table, ways: Table) -> Table:
    return np.asarray((states[:, :, None] + ways[None]).max(axis=1, initial=-np.inf))


def _summed(states: Table, table: Table) -> Table:
    """One step: for each start and each two notes, the sum over the note before them."""
    return np.asarray(np.matmul(states.transpose(2, 0, 1), table.transpose(1, 0, 2)).transpose(1, 0, 2))


def _scaled(states: Table) -> Table:
    """Weights divided by the largest, so that long phrases stay within floating point."""
    return np.asarray(states / (states.max(initial=0.0) or 1.0))


# Whole numbers of any size


def _count_steps(states: Table, tables: Sequence[Table]) -> tuple[list[Table], Table]:
    """Steps over tables of zeros and ones: exact in floating point, since the numbers are kept in digits of 2**40."""
    digits = _digits(states)
    for table in tables:
        whole = digits.reshape(-1, *digits.shape[2:])
        digits = _summed(whole, table.astype(np.float64)).reshape(len(digits), len(states), *table.shape[1:])
        if digits.max(initial=0.0) >= _FULL:
            digits = _carried(digits)
    return [], _numbers(digits)


def _digits(numbers: Table) -> Table:
    """Whole numbers as digits of 2**40 along a new first axis, lowest first, in floating point."""
    digits = []
    while True:
        digits.append((numbers & (_BASE - 1)).astype(np.float64))
        numbers = numbers >> _BITS
        if not numbers.any():
            return np.stack(digits)


def _carried(digits: Table) -> Table:
    """Digits below the base again, with one digit more where that is needed."""
    rows = []
    over = np.zeros(digits.shape[1:])
    for row in digits:
        whole = row + over
        over = np.floor(whole / _BASE)
        rows.append(whole - over * _BASE)
    return np.stack([*rows, over] if over.any() else rows)


def _numbers(digits: Table) -> Table:
    """Digits as whole numbers: 64 bits where these do, otherwise objects."""
    if len(digits) == 1:
        return np.asarray(digits[0].astype(np.int64))
    numbers = np.zeros(digits.shape[1:], dtype=object)
    for row in digits[::-1]:
        numbers = (numbers << _BITS) + row.astype(np.int64).astype(object)
    return numbers


def _count_through(states: Table, ways: Table) -> Table:
    states, ways = _wide_enough(states, ways)
    return np.asarray(np.matmul(states, ways))


def _count_along(one: Table, other: Table) -> Table:
    one, other = _wide_enough(one, other)
    return np.asarray(one * other)


def _wide_enough(one: Table, other: Table) -> tuple[Table, Table]:
    """Tables of whole numbers as objects where sums of their products may be beyond 64 bits."""
    if _most(one) * _most(other) * max(1, one.shape[-1]) < 2**63:
        return one, other
    return one.astype(object), other.astype(object)


def _most(numbers: Table) -> int:
    return int(numbers.max()) if numbers.size else 0


_COUNT = _Algebra(0, 1, np.multiply, _count_steps, _count_through, _count_along)
_WEIGH = _Algebra(
    0.0,
    1.0,
    np.multiply,
    _weigh_steps,
    lambda states, ways: _scaled(np.matmul(states, ways)),
    lambda one, other: _scaled(one * other),
)
_BEST = _Algebra(-np.inf, 0.0, np.add, _best_steps, _best_through, np.add)


@dataclass(frozen=True)
class _Step:
    """From each two notes to the next two: the number of the second of the first two, and the ways that led to them."""

    note: int
    table: Table
    before: Table


@dataclass(frozen=True)
class _Solved:
    """Stretches that are the same, summed: the ways from each two first notes to each two last, over all places."""

    same: Same
    copies: tuple[int, ...]
    first: NDArray[np.intp]
    last: NDArray[np.intp]
    ways: Table
    block: _Link
    gaps: tuple[_Link, ...]


@dataclass(frozen=True)
class _Whole:
    """From the ways to the first two notes of a stretch over all its places to its last two."""

    solved: _Solved
    before: Table


@dataclass(frozen=True)
class _Link:
    """A run of notes from each two at its start (as many rows as there are of these) to each two at its end.

    `copies` are the distances, in notes, at which the same run stands.
    """

    start: int
    end: int
    copies: tuple[int, ...]
    trail: tuple[_Step | _Whole, ...]
    ways: Table


class ReturningLattice:
    """All phrases over one rhythm in which some stretches of notes are the same.

    `allowed` holds for each note the windows that the rules allow around it, axes as in `lattice`. The domains of notes that are the same
    have the same size, and what has the same index there is the same. `pairs` are the notes that repeat others, each with
    the one it repeats.
    """

    def __init__(self, allowed: Sequence[NDArray[np.bool_]], sames: Sequence[Same]) -> None:
        self.allowed = tuple(allowed)
        self.sames = tuple(sames)
        self.pairs = sorted(pair for same in self.sames for pair in same.pairs())

    @property
    def columns(self) -> int:
        """How many chances a draw takes for each phrase."""
        return len(self.allowed) + len(self.pairs) + 1

    @property
    def times(self) -> tuple[int, ...]:
        """The number of places of each note."""
        roots = list(range(len(self.allowed)))
        for note, original in self.pairs:
            roots[note] = roots[original]
        return tuple(roots.count(root) for root in roots)

    @property
    def work(self) -> int:
        """About how many additions the sums take: those of each step for every start that its run may have."""
        return sum(_work(same, self.allowed) for same in self.sames)

    @property
    def is_empty(self) -> bool:
        """Whether some note has no pitch at all, so that there is no phrase."""
        return any(0 in table.shape for table in self.allowed)

    def count(self) -> int:
        """How many phrases there are, exactly."""
        if self.is_empty:
            return 0
        tables = [table.astype(np.int64) for table in self.allowed]
        return int(_Solver(tables, _COUNT).phrase(self.sames).ways.astype(object).sum())

    def draw(self, weights: Sequence[Table], chances: NDArray[np.float64]) -> Rows:
        """Phrases drawn with replacement, each with a probability in proportion to the product of its weights.

        `weights` holds for each note a table in the shape of `allowed`, 0 if a window is forbidden; ones draw
        fairly from all phrases. `chances` are numbers in [0, 1), a row for each phrase and `columns` columns.
        """
        nothing = np.empty((0, len(self.allowed)), dtype=np.intp)
        if self.is_empty:
            return nothing
        solver = _Solver(weights, _WEIGH)
        link = solver.phrase(self.sames)
        if not np.any(link.ways > 0):
            return nothing
        columns = iter(chances.T)
        return solver.walk(link, lambda values: drawn_by(values, next(columns)), len(chances))

    def best(self, values: Sequence[Table]) -> tuple[float, Rows]:
        """The phrase with the largest sum of values, and that sum. Values are -inf if a window is forbidden."""
        nothing = np.empty((0, len(self.allowed)), dtype=np.intp)
        if self.is_empty:
            return -np.inf, nothing
        solver = _Solver(values, _BEST)
        link = solver.phrase(self.sames)
        total = float(link.ways.max())
        if total == -np.inf:
            return total, nothing
        return total, solver.walk(link, lambda row: np.argmax(row, axis=1), 1)

    def phrases(self) -> Rows:
        """All phrases, in the order of their pitches. Ask for the count first: there may be very many."""
        found = np.arange(self.allowed[0].shape[1], dtype=np.intp)[:, None]
        repeats = dict(self.pairs)
        for note, table in enumerate(self.allowed):
            after = np.arange(table.shape[2], dtype=np.intp)
            left = np.repeat(np.arange(len(found)), len(after))
            right = np.tile(after, len(found))
            before = found[left, note - 1] if note else np.zeros_like(left)
            keep = table[before, found[left, note], right]
            if note + 1 in repeats:
                keep = keep & (found[left, repeats[note + 1]] == right)
            found = np.hstack([found[left[keep]], right[keep, None]])
        return np.asarray(found[:, :-1])

    def holds(self, rows: Rows) -> NDArray[np.bool_]:
        """Which rows of indices are phrases of this lattice."""
        kept = windows_hold(self.allowed, rows)
        for note, original in self.pairs:
            kept &= rows[:, note] == rows[:, original]
        return kept


def _work(same: Same, allowed: Sequence[NDArray[np.bool_]]) -> int:
    sizes = [prod(table.shape) for table in allowed]
    first, last = (prod(allowed[n].shape[:2]) for n in (same.firsts[0] + 1, same.firsts[0] + same.size - 1))
    block = first * sum(sizes[same.firsts[0] : same.firsts[0] + same.size])
    gaps = last * sum(sum(sizes[one + same.size : other]) for one, other in pairwise(same.firsts))
    inner = (*same.inside, *(each for gap in same.between for each in gap))
    return (
        block + gaps + sum(_work(each, allowed) + max(first, last) * _ends(each, allowed) for each in inner)
    )


def _ends(same: Same, allowed: Sequence[NDArray[np.bool_]]) -> int:
    """How many ways there are from first to last notes of a stretch."""
    first, last = same.firsts[0] + 1, same.firsts[0] + same.size - 1
    return prod(allowed[first].shape[:2]) * prod(allowed[last].shape[:2])


def _by_ends(ways: Table) -> Table:
    """Ways to each two notes with one axis for the two."""
    return ways.reshape(len(ways), ways.shape[1] * ways.shape[2])


class _Solver:
    """The sums of one lattice in one algebra, and the walk back through them."""

    def __init__(self, tables: Sequence[Table], algebra: _Algebra) -> None:
        self.tables = tables
        self.algebra = algebra

    # The sums, forwards

    def phrase(self, sames: Sequence[Same]) -> _Link:
        """All ways through the whole phrase; a note before the first and one after the last have one index each."""
        states = np.full((1, 1, self._size(0)), self.algebra.one)
        return self._link(-1, len(self.tables), (0,), sames, states)

    def _size(self, note: int) -> int:
        return int(self.tables[note].shape[1]) if 0 <= note < len(self.tables) else 1

    def _table(self, note: int, copies: Sequence[int]) -> Table:
        """The windows around a note, under the rules of all its places."""
        table = self.tables[note + copies[0]]
        for shift in copies[1:]:
            table = self.algebra.windows(table, self.tables[note + shift])
        return table

    def _link(
        self, start: int, end: int, copies: tuple[int, ...], sames: Sequence[Same], states: Table
    ) -> _Link:
        """The ways from the two notes at the start of a run, as given, to the two notes up to its end."""
        trail: list[_Step | _Whole] = []
        note = start + 1
        for same in (*sames, None):
            until = end if same is None else same.firsts[0] + 1
            notes = range(note, until)
            tables = [self._table(each, copies) for each in notes]
            before, states = self.algebra.steps(states, tables)
            trail += [_Step(*step) for step in zip(notes, tables, before, strict=False)]
            if same is not None:
                solved = self._solve(same, copies)
                trail.append(_Whole(solved, states))
                note = same.end - 1
                states = self._applied(solved, states, (self._size(note - 1), self._size(note)))
        return _Link(start, end, copies, tuple(trail), states)

    def _applied(self, solved: _Solved, states: Table, shape: tuple[int, int]) -> Table:
        found = np.full((len(states), shape[0] * shape[1]), self.algebra.zero)
        if solved.ways.size:
            ways = self.algebra.through(_by_ends(states)[:, solved.first], solved.ways)
            found = found.astype(ways.dtype)
            found[:, solved.last] = ways
        return found.reshape(len(states), *shape)

    def _solve(self, same: Same, copies: tuple[int, ...]) -> _Solved:
        """Stretches that are the same: their contents under the rules of all places, and the notes between."""
        head = same.firsts[0]
        places = tuple(shift + first - head for shift in copies for first in same.firsts)
        first = self._open(head, places)
        block = self._link(head, head + same.size - 1, places, same.inside, self._each(first, head, head + 1))
        ways = _by_ends(block.ways)
        last = np.flatnonzero((ways != self.algebra.zero).any(axis=0))
        ways = ways[:, last]
        gaps = []
        between = same.between or ((),) * (len(same.firsts) - 1)
        for place, after, inside in zip(same.firsts, same.firsts[1:], between, strict=False):
            final = place + same.size - 1
            gap = self._link(final - 1, after + 1, copies, inside, self._each(last, final - 1, final))
            through = _by_ends(gap.ways)[:, first].T
            ways = self.algebra.along(ways, through)
            gaps.append(gap)
        return _Solved(same, places, first, last, ways, block, tuple(gaps))

    def _open(self, head: int, places: Sequence[int]) -> NDArray[np.intp]:
        """The first two notes that a stretch may begin with at all its places, as flat indices."""
        live = np.ones((self._size(head), self._size(head + 1)), dtype=bool)
        for shift in places:
            live &= (self.tables[head + shift] != self.algebra.zero).any(axis=0)
            live &= (self.tables[head + 1 + shift] != self.algebra.zero).any(axis=2)
        return np.flatnonzero(live)

    def _each(self, pairs: NDArray[np.intp], one: int, two: int) -> Table:
        """A row for each of some pairs of notes, in which it alone has a way."""
        states = np.full((len(pairs), self._size(one) * self._size(two)), self.algebra.zero)
        states[np.arange(len(pairs)), pairs] = self.algebra.one
        return states.reshape(len(pairs), self._size(one), self._size(two))

    # The walk, backwards

    def walk(self, link: _Link, choose: Choice, count: int) -> Rows:
        """Phrases chosen from the sums, as rows."""
        rows = np.zeros((count, len(self.tables)), dtype=np.intp)
        nothing = np.zeros(count, dtype=np.intp)
        final = choose(link.ways[nothing, :, 0])
        rows[:, -1] = final
        self._back(link, nothing, (final, nothing), rows, choose)
        return rows

    def _back(
        self,
        link: _Link,
        start: NDArray[np.intp],
        ends: tuple[NDArray[np.intp], NDArray[np.intp]],
        rows: Rows,
        choose: Choice,
    ) -> None:
        """Choose the notes of a run backwards, given the row of its start and its last two notes."""
        note, after = ends
        for stage in reversed(link.trail):
            if isinstance(stage, _Whole):
                note, after = self._back_through(stage, start, (note, after), rows, choose)
                continue
            ways = stage.before[start, :, note]
            before = choose(self.algebra.windows(ways, stage.table[:, note, after].T))
            self._put(rows, stage.note - 1, link.copies, before)
            note, after = before, note

    def _back_through(
        self,
        stage: _Whole,
        start: NDArray[np.intp],
        ends: tuple[NDArray[np.intp], NDArray[np.intp]],
        rows: Rows,
        choose: Choice,
    ) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Choose the first two notes of a stretch, then its contents and the notes between its places."""
        solved, same = stage.solved, stage.solved.same
        head, final = same.firsts[0], same.firsts[0] + same.size - 1
        last = np.searchsorted(solved.last, ends[0] * self._size(final) + ends[1])
        ways = _by_ends(stage.before)[:, solved.first][start]
        first = choose(self.algebra.windows(ways, solved.ways[:, last].T))
        heads = np.divmod(solved.first[first], self._size(head + 1))
        for note, chosen in ((final - 1, ends[0]), (final, ends[1]), (head, heads[0]), (head + 1, heads[1])):
            self._put(rows, note, solved.copies, chosen)
        self._back(solved.block, first, ends, rows, choose)
        for gap in solved.gaps:
            self._back(gap, last, heads, rows, choose)
        return heads

    def _put(self, rows: Rows, note: int, copies: Sequence[int], chosen: NDArray[np.intp]) -> None:
        if note >= 0:
            for shift in copies:
                rows[:, note + shift] = chosen
