"""Bars plus lattice against plain enumeration: every pitch sequence tried on small cases."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from fillgen.chart.progression import Progression
from fillgen.chart.text import parse_chart
from fillgen.engine.bars import BarProblems, parts
from fillgen.engine.lattice import Lattice, Run
from fillgen.phrase.place import Place, places
from fillgen.rules.pack import Level, RulePack
from fillgen.rules.rule import Seen
from fillgen.rules.windows import Windows
from fillgen.theory.metre import METRES

CASES = 300
_CHORDS = [
    "C",
    "Fmaj7",
    "Am7",
    "E7",
    "Dm7",
    "G7",
    "Bm7b5",
    "Ebmaj7",
    "Bb7",
    "C#dim7",
    "Gsus4",
    "F6",
    "A7b9",
    "Dm",
]
_METRES = ("4/4", "3/4", "2/4", "2/2", "5/4", "7/4", "7/8", "6/8", "9/8", "12/8")


@dataclass(frozen=True)
class Case:
    """A small problem: a progression, a rhythm (onset and length in ticks), a level and a range."""

    progression: Progression
    rhythm: tuple[tuple[int, int], ...]
    level: Level
    low: int
    high: int

    @property
    def places(self) -> tuple[Place, ...]:
        return places(self.progression, self.rhythm)


def random_case(number: int) -> Case:
    """A case of up to five notes: mid-bar chord changes, rests, ties over the bar line and single-note bars."""
    dice = random.Random(number)
    metre = dice.choice(_METRES)
    beats = METRES[metre].beats
    bars = dice.choice((1, 1, 2, 2, 3))
    shares = [beats if dice.random() < 0.25 else (2 if beats % 2 == 0 and dice.random() < 0.4 else 1)]
    shares += [dice.choice((1, 1, 2 if beats % 2 == 0 else 1)) for _ in range(bars - 1)]
    chart = " | ".join(" ".join(dice.choice(_CHORDS) for _ in range(share)) for share in shares)
    progression = parse_chart(chart, key=dice.choice(("C", "Am", "F", "Eb")), metre=metre)
    low = dice.randint(58, 70)
    return Case(
        progression,
        _random_rhythm(progression, dice),
        RulePack().level(dice.randint(1, 5)),
        low,
        low + dice.randint(7, 12),
    )


_MIXED = (
    ("4/4", ("4/4 2/4", "2/4 4/4", "4/4 3/4 4/4", "5/4 2/4")),
    ("3/4", ("3/4 4/4", "4/4 3/4", "3/4 4/4 3/4", "2/4 3/4")),
    ("6/8", ("6/8 9/8", "9/8 6/8 12/8")),
)


def mixed_case(number: int) -> Case:
    """A case whose bars have several metres: a bar of 2/4 in 4/4, one of 4/4 in 3/4, and others."""
    dice = random.Random(number)
    usual, rows = dice.choice(_MIXED)
    metres = dice.choice(rows).split()
    bars = [
        f"{metre} {' '.join(dice.choice(_CHORDS) for _ in range(dice.choice((1, 1, METRES[metre].beats))))}"
        for metre in metres
    ]
    progression = parse_chart(f"| {' | '.join(bars)} |", key=dice.choice(("C", "Am", "F", "Eb")), metre=usual)
    low = dice.randint(58, 70)
    level = RulePack().level(dice.randint(1, 5))
    return Case(progression, _random_rhythm(progression, dice), level, low, low + dice.randint(7, 11))


def _random_rhythm(progression: Progression, dice: random.Random) -> tuple[tuple[int, int], ...]:
    grid = 240 if progression.metre.name.endswith("/8") else dice.choice((240, 480))
    slots = progression.length // grid
    onsets = sorted(dice.sample(range(slots), min(slots, dice.randint(2, 5))))
    ends = [*onsets[1:], slots]
    rhythm = []
    for onset, end in zip(onsets, ends, strict=True):
        length = end - onset if dice.random() < 0.7 else dice.randint(1, end - onset)
        rhythm.append((onset * grid, length * grid))
    return tuple(rhythm)


def build(case: Case) -> tuple[Lattice, list[NDArray[np.int16]]]:
    """The lattice of a case the way the program builds it, and the pitches of each note."""
    windows = Windows(case.level.uses, case.low, case.high)
    problems = BarProblems(windows)
    where = case.places
    domains = [windows.domain(place) for place in where]
    onsets = [onset for onset, _ in case.rhythm]
    cut = parts(onsets, [len(domain) for domain in domains], case.progression.timeline)
    runs = [Run(run.start, problems.figures(where[run.start : run.stop])) for run in cut]
    around = zip([None, *where[:-1]], where, [*where[1:], None], strict=True)
    return Lattice(runs, [windows.joined(*window) for window in around]), domains


def brute(case: Case) -> NDArray[np.int16]:
    """Every pitch sequence over the range that keeps every rule, asked rule by rule of all sequences at once."""
    where = case.places
    every = np.indices((case.high - case.low + 1,) * len(where)).reshape(len(where), -1) + case.low
    seen: list[Seen | None] = [Seen(place, row) for place, row in zip(where, every, strict=True)]
    kept = np.ones(every.shape[1], dtype=bool)
    for before, note, after in zip([None, *seen[:-1]], seen, [*seen[1:], None], strict=True):
        assert note is not None
        for use in case.level.uses:
            kept &= use.holds((before, note, after))
    return every[:, kept].T.astype(np.int16)


def as_pitches(rows: NDArray[np.intp], domains: Sequence[NDArray[np.int16]]) -> list[tuple[int, ...]]:
    """Rows of domain indices as tuples of MIDI numbers."""
    return [tuple(int(domains[i][index]) for i, index in enumerate(row)) for row in rows]


def test_bars_and_lattice_give_every_phrase_once() -> None:
    """The set and the count of phrases are those of trying every pitch sequence."""
    for number in range(CASES):
        case = random_case(number)
        lattice, domains = build(case)
        wanted = sorted(tuple(row) for row in brute(case).tolist())
        found = as_pitches(lattice.phrases(), domains) if not lattice.is_empty else []
        assert sorted(found) == wanted, number
        assert lattice.count() == len(wanted), number


def test_bars_of_several_metres_give_every_phrase_once() -> None:
    """So they are where bars have several metres, and some cases have notes held over a change of metre."""
    held = 0
    for number in range(CASES // 2):
        case = mixed_case(number)
        lattice, domains = build(case)
        wanted = sorted(tuple(row) for row in brute(case).tolist())
        found = as_pitches(lattice.phrases(), domains) if not lattice.is_empty else []
        assert sorted(found) == wanted, number
        assert lattice.count() == len(wanted), number
        held += bool(wanted) and _has_tie(case)
    assert held > 10


def test_best_phrase_is_the_best_of_all() -> None:
    """Under a score that adds up over windows the lattice's best phrase is the best of all phrases."""
    for number in range(CASES):
        lattice, _ = build(random_case(number))
        source = np.random.default_rng(number)
        values = [np.where(table, source.random(table.shape), -np.inf) for table in lattice.allowed]
        total, rows = lattice.best(values)
        every = (
            lattice.phrases() if not lattice.is_empty else np.empty((0, len(lattice.allowed)), dtype=np.intp)
        )
        if not len(every):
            assert total == -np.inf, number
            continue
        totals = _totals(every, values)
        assert total == pytest.approx(totals.max()), number
        assert rows.tolist() == every[[int(totals.argmax())]].tolist(), number


def _totals(rows: NDArray[np.intp], values: Sequence[NDArray[np.float64]]) -> NDArray[np.float64]:
    edge = np.zeros((len(rows), 1), dtype=np.intp)
    framed = np.hstack([edge, rows, edge])
    summed = [table[framed[:, i], framed[:, i + 1], framed[:, i + 2]] for i, table in enumerate(values)]
    return np.asarray(np.sum(summed, axis=0))


def test_the_cases_are_worth_trying() -> None:
    """The random cases cover all levels and metres, empty and large spaces, single-note bars, rests and ties."""
    cases = [random_case(number) for number in range(CASES)]
    counts = [build(case)[0].count() for case in cases]
    assert {case.level.number for case in cases} == {1, 2, 3, 4, 5}
    assert {case.progression.metre.name for case in cases} == set(_METRES)
    assert sum(count == 0 for count in counts) >= 5
    assert sum(count > 0 for count in counts) >= 200
    assert max(counts) > 500
    assert any(_single_note_bars(case) for case in cases)
    assert any(_has_rest(case) for case in cases)
    assert any(_has_tie(case) for case in cases)


def _single_note_bars(case: Case) -> bool:
    bars = [case.progression.bar_index(onset) for onset, _ in case.rhythm]
    return len(case.progression.bars) > 1 and any(bars.count(bar) == 1 for bar in bars)


def _has_rest(case: Case) -> bool:
    return any(a[0] + a[1] < b[0] for a, b in zip(case.rhythm, case.rhythm[1:], strict=False))


def _has_tie(case: Case) -> bool:
    index = case.progression.bar_index
    return any(index(onset) != index(onset + length - 1) for onset, length in case.rhythm)
