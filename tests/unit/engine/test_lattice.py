"""The lattice on small hand-made spaces: it counts, lists, draws and ranks as trying everything does."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from itertools import accumulate, pairwise, product

import numpy as np
import pytest
from numpy.typing import NDArray

from fillgen.dice import Dice
from fillgen.engine.bars import parts
from fillgen.engine.lattice import Lattice, Run
from fillgen.theory.metre import METRES, Timeline

Tables = list[NDArray[np.bool_]]
Line = tuple[int, ...]

Z_999 = 3.090232306167813
"""The 0.999 quantile of the normal distribution, from any table of it."""
DRAWS = 20_000
SHAPES = [
    # pitches of each note, notes of each run
    ([3], [1]),
    ([3, 4], [1, 1]),
    ([3, 4], [2]),
    ([2, 3, 2], [1, 2]),
    ([2, 3, 2], [2, 1]),
    ([3, 3, 3], [1, 1, 1]),
    ([3, 3, 3], [3]),
    ([3, 2, 4, 3, 2], [2, 3]),
    ([3, 2, 4, 3, 2], [1, 3, 1]),
    ([2, 3, 2, 3, 2, 3], [4, 2]),
    ([2, 3, 2, 3, 2, 3], [2, 1, 1, 2]),
    ([4, 1, 4, 1, 3], [2, 2, 1]),
    ([2, 2, 2, 2, 2, 2, 2], [3, 4]),
]


def random_tables(sizes: Sequence[int], seed: int, share: float = 0.7) -> Tables:
    """Windows of which a share is allowed, drawn from a seed."""
    rng = np.random.default_rng(seed)
    edged = [1, *sizes, 1]
    shapes = [tuple(edged[i : i + 3]) for i in range(len(sizes))]
    return [rng.random(shape) < share for shape in shapes]


def window(line: Line, note: int) -> Line:
    """The indices of a note and its neighbours, 0 for a missing one."""
    before = line[note - 1] if note else 0
    after = line[note + 1] if note + 1 < len(line) else 0
    return before, line[note], after


def brute(sizes: Sequence[int], tables: Tables) -> list[Line]:
    """All phrases, by trying every line."""
    lines = product(*(range(size) for size in sizes))
    return [line for line in lines if all(tables[n][window(line, n)] for n in range(len(line)))]


def figures(sizes: Sequence[int], tables: Tables, first: int, last: int) -> NDArray[np.intp]:
    """All figures of the notes from first to last whose inner windows are allowed, in order."""
    found = [
        line
        for line in product(*(range(size) for size in sizes[first : last + 1]))
        if all(tables[first + n][line[n - 1], line[n], line[n + 1]] for n in range(1, len(line) - 1))
    ]
    return np.array(found, dtype=np.intp).reshape(-1, last - first + 1)


def build(sizes: Sequence[int], runs: Sequence[int], tables: Tables) -> Lattice:
    """A lattice over runs of so many notes each."""
    starts = [0, *accumulate(runs)]
    assert starts[-1] == len(sizes)
    cut = [Run(start, figures(sizes, tables, start, end - 1)) for start, end in pairwise(starts)]
    return Lattice(cut, tables)


def lines_of(rows: NDArray[np.intp]) -> list[Line]:
    """Rows as tuples."""
    return [tuple(row) for row in rows.tolist()]


def draws(
    lattice: Lattice, weights: Sequence[NDArray[np.float64]], seed: int, count: int = DRAWS
) -> list[Line]:
    """Phrases drawn from a seed."""
    chances = Dice(seed).doubles(count * 3 * len(lattice.runs)).reshape(count, -1)
    return lines_of(lattice.draw(weights, chances))


def chi_square_limit(degrees: int) -> float:
    """The 0.999 quantile of the chi-square distribution, by the approximation of Wilson and Hilferty (1931)."""
    part = 2 / (9 * degrees)
    return degrees * (1 - part + Z_999 * math.sqrt(part)) ** 3


def chi_square(found: Sequence[Line], wanted: dict[Line, float]) -> float:
    """How far drawn lines are from the probabilities wanted."""
    counts = Counter(found)
    assert set(counts) <= set(wanted)
    return sum((counts[line] - len(found) * p) ** 2 / (len(found) * p) for line, p in wanted.items())


def product_of(line: Line, weights: Sequence[NDArray[np.float64]]) -> float:
    """The product of the weights of a line's windows."""
    return math.prod(float(weights[n][window(line, n)]) for n in range(len(line)))


def dynamic_count(sizes: Sequence[int], tables: Tables) -> int:
    """The exact count by whole numbers of any size, pair by pair from the beginning."""
    if len(sizes) == 1:
        return int(tables[0].sum())
    ways = {(one, two): int(tables[0][0, one, two]) for one, two in product(range(sizes[0]), range(sizes[1]))}
    for note in range(1, len(sizes) - 1):
        fresh = dict.fromkeys(product(range(sizes[note]), range(sizes[note + 1])), 0)
        for (one, two), count in ways.items():
            for three in range(sizes[note + 1]):
                fresh[two, three] += count * int(tables[note][one, two, three])
        ways = fresh
    return sum(count * int(tables[-1][one, two, 0]) for (one, two), count in ways.items())


every_shape = pytest.mark.parametrize(("sizes", "runs"), SHAPES)
seeds = pytest.mark.parametrize("seed", range(5))


# Counting and listing


@every_shape
@seeds
def test_count_is_exact(sizes: list[int], runs: list[int], seed: int) -> None:
    """The count is the number of lines that trying everything leaves."""
    tables = random_tables(sizes, seed)
    assert build(sizes, runs, tables).count() == len(brute(sizes, tables)) == dynamic_count(sizes, tables)


@every_shape
@seeds
def test_phrases_are_all_there_are(sizes: list[int], runs: list[int], seed: int) -> None:
    """The list of phrases is what trying everything leaves, each once, in order."""
    tables = random_tables(sizes, seed)
    assert lines_of(build(sizes, runs, tables).phrases()) == brute(sizes, tables)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 1.0])
def test_sparse_and_full_spaces(share: float) -> None:
    """Spaces with few phrases, none, or all of them are counted and listed rightly."""
    sizes = [3, 2, 3, 2, 3]
    for seed in range(20):
        tables = random_tables(sizes, seed, share)
        lattice = build(sizes, [2, 2, 1], tables)
        found = brute(sizes, tables)
        assert (lattice.count(), lines_of(lattice.phrases())) == (len(found), found)


def test_how_notes_are_cut_into_runs_does_not_matter() -> None:
    """The count and the list are the same however the notes are shared among runs."""
    sizes = [2, 3, 2, 3, 2]
    tables = random_tables(sizes, 3)
    cuts = ([5], [1, 4], [4, 1], [2, 3], [3, 2], [1, 1, 1, 1, 1], [2, 2, 1], [1, 2, 2])
    lattices = [build(sizes, cut, tables) for cut in cuts]
    assert {lattice.count() for lattice in lattices} == {len(brute(sizes, tables))}
    assert {tuple(lines_of(lattice.phrases())) for lattice in lattices} == {tuple(brute(sizes, tables))}


@pytest.mark.parametrize("runs", [[3], [1, 2], [1, 1, 1]])
def test_empty_run_makes_no_phrase(runs: list[int]) -> None:
    """Where a note has no pitch at all there is no phrase to count, draw or rank."""
    sizes = [2, 0, 2]
    tables = random_tables(sizes, 0)
    lattice = build(sizes, runs, tables)
    ones = [table.astype(float) for table in tables]
    assert lattice.is_empty
    assert lattice.count() == 0
    assert draws(lattice, ones, 1, 10) == []
    assert lattice.best(ones)[0] == -np.inf


def test_space_that_only_joins_close() -> None:
    """Where every run has figures and none of them fit together there is no phrase either."""
    sizes = [2, 2, 2]
    tables = random_tables(sizes, 0, 1.0)
    tables[1][:] = False
    lattice = build(sizes, [1, 1, 1], tables)
    assert not lattice.is_empty
    assert (lattice.count(), len(lattice.phrases())) == (0, 0)
    assert draws(lattice, [table.astype(float) for table in tables], 1, 10) == []


# Large counts


@pytest.mark.parametrize("notes", [61, 62, 63, 64, 65, 128, 1100])
def test_powers_of_two(notes: int) -> None:
    """So many notes with two free pitches each are two to the power of their number, to the last digit."""
    sizes = [2] * notes
    lattice = build(sizes, [1] * notes, random_tables(sizes, 0, 1.0))
    assert lattice.count() == 2**notes


@pytest.mark.parametrize(("notes", "seed"), [(24, 1), (36, 2), (60, 3)])
def test_large_counts_are_exact(notes: int, seed: int) -> None:
    """Counts beyond 64 bits are exact, whatever the windows."""
    sizes = [4 + (n + seed) % 3 for n in range(notes)]
    tables = random_tables(sizes, seed, 0.8)
    expected = dynamic_count(sizes, tables)
    assert expected > 2**40
    assert (expected > 2**63) == (notes > 24)
    assert build(sizes, [4, 2, 3, 3] * (notes // 12), tables).count() == expected


def test_counts_just_beyond_a_machine_number() -> None:
    """Counts on either side of 2**63 and of 2**64 are exact."""
    for tail in ([3, 3], [2, 2, 2], [5], [7], [3, 5]):
        sizes = [2] * 60 + tail
        tables = random_tables(sizes, 5, 1.0)
        tables[30][0, 0, 0] = False
        assert build(sizes, [1] * len(sizes), tables).count() == dynamic_count(sizes, tables)


def test_dead_ends_do_not_spoil_the_count() -> None:
    """Ways on from a place that cannot be reached are not counted, however many they are."""
    sizes = [2] * 80
    tables = random_tables(sizes, 0, 1.0)
    tables[0][0, :, 0] = False
    tables[1][:, 1, 1] = False
    for table in tables[2:40]:
        table[0, 0, 1] = False
    assert build(sizes, [1] * 80, tables).count() == dynamic_count(sizes, tables)


# Drawing


FAIR_SIZES = [3, 3, 2, 3, 3]


def fair_space(runs: Sequence[int]) -> tuple[Lattice, Tables, list[Line]]:
    """A space of about 60 phrases."""
    tables = random_tables(FAIR_SIZES, 27, 0.82)
    lines = brute(FAIR_SIZES, tables)
    assert 50 <= len(lines) <= 70
    return build(FAIR_SIZES, runs, tables), tables, lines


@pytest.mark.costly
@pytest.mark.parametrize("runs", [[5], [2, 3], [1, 1, 1, 1, 1], [3, 1, 1], [1, 4]])
@pytest.mark.parametrize("seed", [1, 2])
def test_draws_are_fair(runs: list[int], seed: int) -> None:
    """With ones for weights every phrase is drawn equally often, as far as chance allows."""
    lattice, tables, lines = fair_space(runs)
    found = draws(lattice, [table.astype(float) for table in tables], seed)
    assert len(found) == DRAWS
    statistic = chi_square(found, dict.fromkeys(lines, 1 / len(lines)))
    assert statistic < chi_square_limit(len(lines) - 1)


def test_unfair_draws_would_be_noticed() -> None:
    """The test of fairness fails draws that take one phrase twice as often as each other."""
    _, _, lines = fair_space([5])
    leaning = dict.fromkeys(lines, 1 / (len(lines) + 1))
    leaning[lines[0]] *= 2
    counts = [line for line, p in leaning.items() for _ in range(round(DRAWS * p))]
    assert chi_square(counts, dict.fromkeys(lines, 1 / len(lines))) > chi_square_limit(len(lines) - 1)


@pytest.mark.parametrize("runs", [[5], [2, 3], [1, 1, 1, 1, 1], [2, 1, 2]])
def test_draws_follow_their_weights(runs: list[int]) -> None:
    """A phrase is drawn with a probability in proportion to the product of its weights."""
    lattice, tables, lines = fair_space(runs)
    rng = np.random.default_rng(11)
    weights = [table * rng.uniform(0.5, 2.0, table.shape) for table in tables]
    whole = sum(product_of(line, weights) for line in lines)
    wanted = {line: product_of(line, weights) / whole for line in lines}
    assert max(wanted.values()) > 3 * min(wanted.values())
    assert chi_square(draws(lattice, weights, 6), wanted) < chi_square_limit(len(lines) - 1)


def test_weight_of_nothing_is_never_drawn() -> None:
    """Lines with a weight of 0 are not drawn, though the rules allow them."""
    lattice, tables, lines = fair_space([2, 3])
    weights = [table.astype(float) for table in tables]
    weights[2][:, 0, :] = 0.0
    found = set(draws(lattice, weights, 8))
    assert found == {line for line in lines if line[2] != 0}
    weights[2][:] = 0.0
    assert draws(lattice, weights, 8) == []


@pytest.mark.parametrize("factor", [1e-60, 1e60])
def test_size_of_weights_does_not_matter(factor: float) -> None:
    """Weights that are all larger or smaller by a factor draw the same phrases, however long the phrase."""
    sizes = [3] * 24
    tables = random_tables(sizes, 2, 0.9)
    lattice = build(sizes, [2] * 12, tables)
    ones = [table.astype(float) for table in tables]
    scaled = [one * factor for one in ones]
    assert draws(lattice, scaled, 5, 50) == draws(lattice, ones, 5, 50)


def test_draws_can_be_repeated() -> None:
    """The same chances draw the same phrases, others draw others."""
    lattice, tables, _ = fair_space([2, 3])
    ones = [table.astype(float) for table in tables]
    assert draws(lattice, ones, 3, 100) == draws(lattice, ones, 3, 100)
    assert draws(lattice, ones, 3, 100) != draws(lattice, ones, 4, 100)


@pytest.mark.parametrize("chance", [0.0, np.nextafter(1.0, 0.0)])
def test_outermost_chances_draw_phrases(chance: float) -> None:
    """The smallest and the largest chance draw a phrase that the rules allow."""
    for runs in ([5], [2, 3], [1, 1, 1, 1, 1]):
        lattice, tables, lines = fair_space(runs)
        rows = lattice.draw([table.astype(float) for table in tables], np.full((4, 3 * len(runs)), chance))
        assert set(lines_of(rows)) <= set(lines)
        assert len(rows) == 4


# The best


@every_shape
@seeds
def test_best_is_the_best_of_all(sizes: list[int], runs: list[int], seed: int) -> None:
    """The best phrase has the largest sum of values that any phrase has."""
    tables = random_tables(sizes, seed, 0.8)
    rng = np.random.default_rng(seed + 100)
    values = [np.where(table, rng.normal(size=table.shape), -np.inf) for table in tables]
    sums = {
        line: sum(float(values[n][window(line, n)]) for n in range(len(line)))
        for line in brute(sizes, tables)
    }
    total, rows = build(sizes, runs, tables).best(values)
    if not sums:
        assert (total, len(rows)) == (-np.inf, 0)
        return
    assert total == pytest.approx(max(sums.values()))
    assert sums[lines_of(rows)[0]] == pytest.approx(max(sums.values()))


# How notes are shared among runs

FOUR = Timeline(METRES["4/4"])


@pytest.mark.parametrize(
    ("onsets", "sizes", "timeline"),
    [
        ([0, 480, 960, 1440, 1920], [5] * 5, FOUR),
        (list(range(0, 1920, 120)), [12] * 16, FOUR),
        ([240, 2400, 7200], [3, 3, 3], FOUR),
        (list(range(0, 1440, 80)), [20] * 18, Timeline(METRES["3/4"])),
        (list(range(0, 4800, 120)), [12] * 40, Timeline(METRES["4/4"], (METRES["4/4"], METRES["2/4"]))),
        (list(range(0, 3360, 80)), [20] * 42, Timeline(METRES["3/4"], (METRES["3/4"], METRES["4/4"]))),
    ],
)
def test_parts_cover_every_note_once(onsets: list[int], sizes: list[int], timeline: Timeline) -> None:
    """Runs follow one another without gaps, none crosses a bar line, and none has too many lines to try."""
    runs = parts(onsets, sizes, timeline)
    assert [note for run in runs for note in run] == list(range(len(onsets)))
    for run in runs:
        assert len({timeline.index(onsets[note]) for note in run}) == 1
        assert len(run) == 1 or math.prod(sizes[note] for note in run) <= 20_000
