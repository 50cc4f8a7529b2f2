"""The lattice of phrases in which stretches of notes return: counted, drawn and compared exactly, as all phrases are.

What lies around a stretch of notes sees no more of it than its first two notes and its last two. So a stretch that
stands at several places is solved once, under the rules of all its places together, and summed by its ends: n(f, l)
ways from its first two notes f to its last two l. What lies between two places is summed in the same way from the
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
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fillgen.engine.lattice import Choice, Rows, Table, drawn_by

_SAFE = 2**62


@dataclass(frozen=True, slots=True)
class Same:
    """Stretches of notes that are the same: the first note of each place, in order, and how many notes each has.

    There are two places or more, of two notes or more, and they do not overlap. `inside` are stretches that return
    within the first place, `between` those that return within what lies between two places, for each gap.
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

    `step` goes from the ways to each two notes (axes: start, note before, note) to those to the next two, `apply` from the ways to each end of
    a stretch (axes: start, first ends) to those after it.
    """

    zero: Any
    one: Any
    along: np.ufunc
    step: Callable[[Table, Table], Table]
    apply: Callable[[Table, Table], Table]
    total: Callable[[Table], Any]
    tidy: Callable[[Table], Table]


def _add_up(states: Table, table: Table) -> Table:
    return np.matmul(states.transpose(2, 0, 1), table.transpose(1, 0, 2)).transpose(1, 0, 2)


def _most(states: Table) -> int:
    return int(states.max()) if states.size else 0


def _wide(*tables: Table) -> list[Table]:
    """Tables of whole numbers, wide enough for the sums of their products: as objects where 64 bits may be too few."""
    bound = 1
    for table in tables:
        bound *= max(1, _most(table))
    if bound * max(table.shape[-1] for table in tables) >= _SAFE:
        return [table.astype(object) for table in tables]
    return list(tables)


def _count_step(states: Table, table: Table) -> Table:
    if states.dtype != object and _most(states) * max(1, states.shape[1]) >= _SAFE:
        states = states.astype(object)
    return _add_up(states, table.astype(states.dtype))


def _count_apply(states: Table, matrix: Table) -> Table:
    states, matrix = _wide(states, matrix)
    return np.asarray(np.matmul(states, matrix))


def _count_along(one: Table, other: Table) -> Table:
    one, other = _wide(one, other)
    return np.asarray(one * other)


def _scaled(states: Table) -> Table:
    return states / (states.max(initial=0.0) or 1.0)


_COUNT = _Algebra(
    0, 1, np.multiply, _count_step, _count_apply, lambda states: int(states.astype(object).sum()), np.asarray
)
_WEIGH = _Algebra(0.0, 1.0, np.multiply, _add_up, np.matmul, np.sum, _scaled)
_BEST = _Algebra(
    -np.inf,
    0.0,
    np.add,
    lambda states, table: (states[:, :, :, None] + table[None]).max(axis=1),
    lambda states, matrix: (states[:, :, None] + matrix[None]).max(axis=1, initial=-np.inf),
    np.max,
    np.asarray,
)


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
    have the same size, and what has the same index there is the same.
    """

    def __init__(self, allowed: Sequence[NDArray[np.bool_]], sames: Sequence[Same]) -> None:
        self.allowed = tuple(allowed)
        self.sames = tuple(sames)
        self._pairs = sorted(pair for same in self.sames for pair in same.pairs())

    @property
    def columns(self) -> int:
        """How many chances a draw takes for each phrase."""
        return len(self.allowed) + len(self._pairs) + 1

    @property
    def is_empty(self) -> bool:
        """Whether some note has no pitch at all, so that there is no phrase."""
        return any(0 in table.shape for table in self.allowed)

    def count(self) -> int:
        """How many phrases there are, exactly."""
        if self.is_empty:
            return 0
        tables = [table.astype(np.int64) for table in self.allowed]
        return int(_COUNT.total(_Solver(tables, _COUNT).phrase(self.sames).ways))

    def draw(self, weights: Sequence[Table], chances: NDArray[np.float64]) -> Rows:
        """Phrases drawn with replacement, each with a probability in proportion to the product of its weights.

        `weights` holds for each note a table in the shape of `allowed`, 0 where a window is forbidden; ones draw
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
        """The phrase with the largest sum of values, and that sum. Values are -inf where a window is forbidden."""
        nothing = np.empty((0, len(self.allowed)), dtype=np.intp)
        if self.is_empty:
            return -np.inf, nothing
        solver = _Solver(values, _BEST)
        link = solver.phrase(self.sames)
        total = float(_BEST.total(link.ways))
        if total == -np.inf:
            return total, nothing
        return total, solver.walk(link, lambda row: np.argmax(row, axis=1), 1)

    def phrases(self) -> Rows:
        """All phrases, in the order of their pitches. Ask for the count first: there may be very many."""
        found = np.arange(self.allowed[0].shape[1], dtype=np.intp)[:, None]
        repeats = dict(self._pairs)
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
        for note, original in self._pairs:
            kept &= rows[:, note] == rows[:, original]
        return kept


def windows_hold(allowed: Sequence[NDArray[np.bool_]], rows: Rows) -> NDArray[np.bool_]:
    """In which rows of indices every window of three notes is allowed."""
    edge = np.zeros(len(rows), dtype=np.intp)
    columns = [edge, *rows.T, edge]
    kept = np.ones(len(rows), dtype=bool)
    for table, before, note, after in zip(allowed, columns, columns[1:], columns[2:], strict=False):
        kept &= table[before, note, after]
    return kept


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
        """The windows around a note, under what is asked at all places where it stands."""
        table = self.tables[note + copies[0]]
        for shift in copies[1:]:
            table = self.algebra.along(table, self.tables[note + shift])
        return table

    def _link(
        self, start: int, end: int, copies: tuple[int, ...], sames: Sequence[Same], states: Table
    ) -> _Link:
        """The ways from the two notes at the start of a run, as given, to the two notes up to its end."""
        trail: list[_Step | _Whole] = []
        waiting = list(sames)
        note = start + 1
        while note < end:
            if waiting and waiting[0].firsts[0] == note - 1:
                solved = self._solve(waiting.pop(0), copies)
                trail.append(_Whole(solved, states))
                note = solved.same.end - 1
                states = self._applied(solved, states, (self._size(note - 1), self._size(note)))
            else:
                table = self._table(note, copies)
                trail.append(_Step(note, table, states))
                states = self.algebra.tidy(self.algebra.step(states, table))
                note += 1
        return _Link(start, end, copies, tuple(trail), states)

    def _applied(self, solved: _Solved, states: Table, shape: tuple[int, int]) -> Table:
        found = np.full((len(states), shape[0] * shape[1]), self.algebra.zero)
        if solved.ways.size:
            ways = self.algebra.apply(_by_ends(states)[:, solved.first], solved.ways)
            found = found.astype(ways.dtype)
            found[:, solved.last] = ways
        return self.algebra.tidy(found.reshape(len(states), *shape))

    def _solve(self, same: Same, copies: tuple[int, ...]) -> _Solved:
        """Stretches that are the same: their contents under the rules of all places, and what lies between."""
        head = same.firsts[0]
        places = tuple(shift + first - head for shift in copies for first in same.firsts)
        first = self._open(head, same.size, places)
        block = self._link(
            head, head + same.size - 1, places, same.inside, self._each(first, head, head + 1)
        )
        ways = _by_ends(block.ways)
        last = np.flatnonzero((ways != self.algebra.zero).any(axis=0))
        ways = ways[:, last]
        gaps = []
        between = same.between or ((),) * (len(same.firsts) - 1)
        for place, after, inside in zip(same.firsts, same.firsts[1:], between, strict=False):
            final = place + same.size - 1
            gap = self._link(final - 1, after + 1, copies, inside, self._each(last, final - 1, final))
            through = _by_ends(gap.ways)[:, first].T
            ways = self.algebra.tidy(self._joined(ways, through))
            gaps.append(gap)
        return _Solved(same, places, first, last, ways, block, tuple(gaps))

    def _joined(self, ways: Table, through: Table) -> Table:
        if self.algebra is _COUNT:
            ways, through = _wide(ways, through)
        return self.algebra.along(ways, through)

    def _open(self, head: int, size: int, places: Sequence[int]) -> NDArray[np.intp]:
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
                note, after = self._back_through(stage, link.copies, start, (note, after), rows, choose)
                continue
            ways = stage.before[start, :, note]
            before = choose(self.algebra.along(ways, stage.table[:, note, after].T))
            self._put(rows, stage.note - 1, link.copies, before)
            note, after = before, note

    def _back_through(
        self,
        stage: _Whole,
        copies: Sequence[int],
        start: NDArray[np.intp],
        ends: tuple[NDArray[np.intp], NDArray[np.intp]],
        rows: Rows,
        choose: Choice,
    ) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Choose the first two notes of a stretch, then its contents and what lies between its places."""
        solved, same = stage.solved, stage.solved.same
        head, final = same.firsts[0], same.firsts[0] + same.size - 1
        last = np.searchsorted(solved.last, ends[0] * self._size(final) + ends[1])
        ways = _by_ends(stage.before)[:, solved.first][start]
        first = choose(self.algebra.along(ways, solved.ways[:, last].T))
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
