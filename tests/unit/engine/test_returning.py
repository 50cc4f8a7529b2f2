"""The lattice of returning stretches on small hand-made spaces: it counts, lists, draws and ranks as trying everything does."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from fillgen.dice import Dice
from fillgen.engine.lattice import Lattice, Run
from fillgen.engine.returning import ReturningLattice, Same
from tests.unit.engine.test_lattice import (
    DRAWS,
    Line,
    Tables,
    brute,
    chi_square,
    chi_square_limit,
    lines_of,
    product_of,
    random_tables,
    window,
)

SPACES: list[tuple[list[int], list[Same]]] = [
    # pitches of each note, stretches that are the same
    ([2, 3, 2, 3], [Same((0, 2), 2)]),
    ([2, 3, 2, 2, 3, 2], [Same((0, 3), 3)]),
    ([3, 2, 3, 4, 2, 3, 2], [Same((1, 4), 2)]),
    ([2, 3, 2, 2, 3, 2, 3], [Same((1, 4), 2)]),
    ([2, 3, 2, 4, 3, 2, 4, 3], [Same((1, 4), 3)]),
    ([3, 2, 3, 2, 3, 2], [Same((0, 2, 4), 2)]),
    ([2, 3, 2, 2, 3, 2, 2, 2, 3], [Same((0, 3, 7), 2)]),
    ([2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2, 2], [Same((0, 4, 8), 3)]),
    ([2, 3, 2, 3, 2, 2, 2, 2, 2], [Same((0, 2), 2), Same((5, 7), 2)]),
    ([2, 2, 2, 2, 2, 2, 2, 2, 2, 2], [Same((0, 5), 5, inside=(Same((0, 3), 2),))]),
    ([2, 3, 2, 3, 2, 2, 3, 2, 3, 2], [Same((0, 5), 5, inside=(Same((0, 2), 2),))]),
    ([2, 2, 3, 2, 3, 2, 2, 3, 2, 3], [Same((0, 5), 5, inside=(Same((1, 3), 2),))]),
    ([2, 2, 2, 2, 3, 2, 3, 2, 2, 2], [Same((0, 8), 2, between=((Same((3, 5), 2),),))]),
    ([2, 2, 2, 3, 2, 3, 2, 2, 2, 2], [Same((0, 6), 2, between=((Same((2, 4), 2),),))]),
    ([2] * 14, [Same((1, 8), 5, inside=(Same((1, 4), 2),))]),
    ([2] * 13, [Same((0, 4, 9), 4, inside=(Same((0, 2), 2),), between=((), ()))]),
]  # fmt: skip
spaces = pytest.mark.parametrize(("sizes", "sames"), SPACES)
seeds = pytest.mark.parametrize("seed", [1, 2, 3])


def returning(sizes: Sequence[int], tables: Tables, sames: Sequence[Same]) -> list[Line]:
    """All phrases in which the stretches are the same, by trying every line."""
    pairs = [pair for same in sames for pair in same.pairs()]
    return [line for line in brute(sizes, tables) if all(line[one] == line[two] for one, two in pairs)]


def drawn(lattice: ReturningLattice, weights: Sequence[NDArray[np.float64]], seed: int) -> list[Line]:
    chances = Dice(seed).doubles(DRAWS * lattice.columns).reshape(DRAWS, -1)
    return lines_of(lattice.draw(weights, chances))


def test_pairs_name_what_repeats_what() -> None:
    """Each note of a later place repeats one of the first, and so do stretches within it and between."""
    same = Same((0, 6), 4, inside=(Same((0, 2), 2),), between=((Same((4, 8), 2),),))
    assert sorted(same.pairs()) == [(2, 0), (3, 1), (6, 0), (7, 1), (8, 2), (8, 4), (9, 3), (9, 5)]


@pytest.mark.costly
@spaces
@seeds
def test_counts_and_lists(sizes: list[int], sames: list[Same], seed: int) -> None:
    """The count and the list are those of trying everything, and every phrase of the list is held."""
    for share in (0.6, 0.85, 1.0):
        tables = random_tables(sizes, seed, share)
        lattice = ReturningLattice(tables, sames)
        lines = returning(sizes, tables, sames)
        assert lattice.count() == len(lines)
        assert lines_of(lattice.phrases()) == lines
        every = np.array(brute(sizes, tables), dtype=np.intp).reshape(-1, len(sizes))
        assert lines_of(every[lattice.holds(every)]) == lines


def test_without_returns_it_is_the_plain_lattice() -> None:
    """With nothing that returns the count is that of the lattice without."""
    sizes = [4, 3, 5, 4, 3, 4, 5]
    tables = random_tables(sizes, 5)
    runs = [Run(n, np.arange(size, dtype=np.intp)[:, None]) for n, size in enumerate(sizes)]
    assert ReturningLattice(tables, []).count() == Lattice(runs, tables).count() > 0


@pytest.mark.costly
@spaces
def test_draws_follow_their_weights(sizes: list[int], sames: list[Same]) -> None:
    """Ones draw fairly; otherwise a phrase is drawn in proportion to the product of its weights at all places."""
    tables = random_tables(sizes, 4, 0.97)
    lattice = ReturningLattice(tables, sames)
    lines = returning(sizes, tables, sames)
    assert len(lines) > 1
    rng = np.random.default_rng(11)
    fair = [table.astype(float) for table in tables]
    for weights in (fair, [table * rng.uniform(0.6, 1.6, table.shape) for table in tables]):
        whole = sum(product_of(line, weights) for line in lines)
        wanted = {line: product_of(line, weights) / whole for line in lines}
        assert chi_square(drawn(lattice, weights, 6), wanted) < chi_square_limit(len(lines) - 1)


def test_draws_that_forget_a_place_would_be_noticed() -> None:
    """The test of draws fails where the weights of the second place do not count."""
    sizes, sames = SPACES[1]
    tables = random_tables(sizes, 4, 0.9)
    rng = np.random.default_rng(11)
    weights = [table * rng.uniform(0.6, 1.6, table.shape) for table in tables]
    lines = returning(sizes, tables, sames)
    whole = sum(product_of(line, weights) for line in lines)
    wanted = {line: product_of(line, weights) / whole for line in lines}
    forgetful = [*weights[:4], tables[4].astype(float), tables[5].astype(float)]
    found = drawn(ReturningLattice(tables, sames), forgetful, 6)
    assert chi_square(found, wanted) > chi_square_limit(len(lines) - 1)


@spaces
@seeds
def test_best_is_the_best_of_all(sizes: list[int], sames: list[Same], seed: int) -> None:
    """The best phrase has the largest sum of values that any phrase has."""
    tables = random_tables(sizes, seed, 0.8)
    rng = np.random.default_rng(seed + 100)
    values = [np.where(table, rng.normal(size=table.shape), -np.inf) for table in tables]
    sums = {
        line: sum(float(values[n][window(line, n)]) for n in range(len(line)))
        for line in returning(sizes, tables, sames)
    }
    total, rows = ReturningLattice(tables, sames).best(values)
    if not sums:
        assert (total, len(rows)) == (-np.inf, 0)
        return
    assert total == pytest.approx(max(sums.values()))
    assert sums[lines_of(rows)[0]] == pytest.approx(max(sums.values()))


def test_dead_ends_and_empty_notes() -> None:
    """Where nothing fits there is no phrase to count, draw, list or rank."""
    sames = [Same((0, 3), 3)]
    for sizes, close in (([2, 0, 2, 2, 0, 2], False), ([2, 3, 2, 2, 3, 2], True)):
        tables = random_tables(sizes, 0, 1.0)
        if close:
            tables[4][:, 1:, :] = False
            tables[1][:, :1, :] = False
        lattice = ReturningLattice(tables, sames)
        ones = [table.astype(float) for table in tables]
        assert (lattice.count(), len(lattice.phrases())) == (0, 0)
        assert lattice.best([np.where(t, 0.0, -np.inf) for t in tables])[0] == -np.inf
        assert drawn(lattice, ones, 1) == []


# Large counts


@pytest.mark.parametrize("free", [10, 60, 64, 70, 300])
def test_powers_of_two(free: int) -> None:
    """Notes with two free pitches each count by the powers of two: those that repeat others add nothing."""
    sizes = [2] * (3 * 20 + free)
    sames = [Same((0, 20 + free // 2, 40 + free // 2), 20)]
    assert ReturningLattice(random_tables(sizes, 0, 1.0), sames).count() == 2 ** (20 + free)


@pytest.mark.parametrize("seed", [1, 2])
def test_large_counts_are_exact(seed: int) -> None:
    """Counts beyond 64 bits are those of a chain with the places folded onto one another."""
    size, gap = 30, 34
    sizes = [3] * (2 * size + 2 * gap)
    tables = random_tables(sizes, seed, 0.85)
    sames = [Same((0, size + gap), size)]
    assert ReturningLattice(tables, sames).count() == folded_count(tables, size, gap) > 2**64


def folded_count(tables: Tables, size: int, gap: int) -> int:
    """The same count by plain recursion, once for each pair of first and of last notes."""
    whole = 0
    second = size + gap
    for first in range(9):
        block = {divmod(first, 3): {divmod(first, 3): 1}}
        ways = block[divmod(first, 3)]
        for note in range(1, size - 1):
            ways = stepped(ways, tables[note] & tables[second + note])
        for last, count in ways.items():
            between = {last: 1}
            for note in range(size - 1, second + 1):
                between = stepped(between, tables[note])
            through = between.get(divmod(first, 3), 0)
            after = {last: 1}
            for note in range(second + size - 1, len(tables) - 1):
                after = stepped(after, tables[note])
            end = sum(n for (one, two), n in after.items() if tables[-1][one, two, 0])
            entry = int(tables[0][(0, *divmod(first, 3))])
            whole += entry * count * through * end
    return whole


def stepped(ways: dict[tuple[int, int], int], table: NDArray[np.bool_]) -> dict[tuple[int, int], int]:
    found: dict[tuple[int, int], int] = {}
    for (one, two), count in ways.items():
        for three in np.flatnonzero(table[one, two]).tolist():
            found[two, three] = found.get((two, three), 0) + count
    return found


def test_every_note_is_chosen_once_at_each_place() -> None:
    """Drawn phrases repeat what they should and keep every window, also where a stretch returns within another."""
    sizes = [5] * 40
    sames = [Same((2, 22), 14, inside=(Same((2, 9), 4),)), Same((36, 38), 2)]
    tables = random_tables(sizes, 9, 0.8)
    lattice = ReturningLattice(tables, sames)
    chances = Dice(1).doubles(300 * lattice.columns).reshape(300, -1)
    rows = lattice.draw([table.astype(float) for table in tables], chances)
    assert len(rows) == 300
    assert lattice.holds(rows).all()
    assert len({tuple(row) for row in rows.tolist()}) > 250
    assert all(len(set(column)) > 1 for column in rows.T.tolist())
