"""The best is really best: exact where all phrases can be looked at, near the exact optimum where they are drawn."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from fillgen.chart.text import parse_chart
from fillgen.dice import Dice
from fillgen.engine.generate import FEW, Engine, PhraseSpace, generate
from fillgen.engine.request import Request, settle
from fillgen.rules.rule import Seen
from tests.properties import additive

SMALL = (
    ("| C | G7 |", 1, "some", 60, 79),
    ("| C | G7 |", 2, "few", 62, 74),
    ("| Dm7 G7 |", 3, "few", 62, 79),
    ("| Am | E7 |", 3, "few", 64, 72),
    ("| F | C7 |", 4, "few", 65, 72),
    ("| Bb7 |", 5, "few", 60, 72),
)
"""Chart, level, busy-ness and range: together no more phrases than are looked at one by one."""
LARGE = (
    "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |",
    "| F | Dm7 | Gm7 | C7 |",
    "| Am | Dm7 | Bm7b5 | E7 |",
)
LEAST = 0.9
"""The best phrase drawn has at least this share of the exact optimum. The optimum is more usual than tunes are: where it
adds up the term `habit` goes on counting, in the score it is full at what the upper quarter of real phrases has."""


def every_phrase(engine: Engine, space: PhraseSpace) -> NDArray[np.int16]:
    """All phrases over a plan, made a note at a time from every pitch of the range: no bar problem and no lattice."""
    choices, where = engine.choices, space.places
    pitches = np.arange(choices.low, choices.high + 1)
    found = pitches[:, None]
    for place in range(1, len(where) + 1):
        if place < len(where):
            longer = np.repeat(found, len(pitches), axis=0)
            found = np.hstack([longer, np.tile(pitches, len(found))[:, None]])
        seen = [
            Seen(where[i], found[:, i]) if 0 <= i < len(where) else None
            for i in (place - 2, place - 1, place)
        ]
        kept = np.ones(len(found), dtype=bool)
        for use in choices.uses:
            kept &= use.holds((seen[0], seen[1], seen[2]))  # type: ignore[arg-type]
        found = found[kept]
    return found.astype(np.int16)


@pytest.mark.parametrize(("chart", "level", "busy", "low", "high"), SMALL)
def test_top_idea_is_the_best_of_all_phrases(chart: str, level: int, busy: str, low: int, high: int) -> None:
    """In a small space no phrase of any plan scores more than the top idea."""
    request = Request(parse_chart(chart), level=level, busy=busy, low=low, high=high)
    engine = Engine(settle(request))
    spaces = engine.spaces(Dice(request.seed))
    every = [(space, every_phrase(engine, space)) for space in spaces]
    assert 0 < sum(len(rows) for _, rows in every) <= FEW
    scores = np.concatenate(
        [engine.scored(space.plan, space.places, rows).scores for space, rows in every if len(rows)]
    )
    found = generate(request)
    assert found.phrases == len(scores)
    assert found[0].score == scores.max()


@pytest.mark.parametrize("chart", LARGE)
def test_draws_come_near_the_exact_optimum(chart: str) -> None:
    """The best phrase drawn has nearly all that the best phrase of all has, counted where the score adds up."""
    request = Request(parse_chart(chart), seed=1)
    engine, dice = Engine(settle(request)), Dice(request.seed)
    spaces = engine.spaces(dice)
    phrases = sum(space.count for space in spaces)
    assert phrases > FEW
    optima, drawn = [], []
    for space, group in zip(spaces, engine.candidates(spaces, phrases, dice), strict=True):
        values = additive.tables(engine, space)
        optima.append(additive.best(space, values)[0])
        drawn.append(additive.sums(additive.indices(engine, space, group.pitches), values).max())
        assert drawn[-1] <= optima[-1]
    assert max(drawn) >= LEAST * max(optima)


@pytest.mark.parametrize("chart", LARGE)
def test_tables_are_the_score(chart: str) -> None:
    """What the tables add up to is the weighted mean of the same terms of the score, but for rounding."""
    engine = Engine(settle(Request(parse_chart(chart), level=5, purpose="turnaround")))
    for space in engine.spaces(Dice(2))[:8]:
        fair = [table.astype(float) for table in space.lattice.allowed]
        rows = space.lattice.draw(fair, Dice(3).doubles(100 * space.lattice.columns).reshape(100, -1))
        domains = space.pitches
        pitches = np.stack([domain[rows[:, i]] for i, domain in enumerate(domains)], axis=1)
        added = additive.sums(rows, additive.tables(engine, space)) / additive.SCALE
        assert added == pytest.approx(additive.terms_added(engine, space, pitches), abs=1e-3)
        assert (additive.indices(engine, space, pitches) == rows).all()


def test_fifty_are_rare_among_fair_draws() -> None:
    """Even the last of fifty ideas scores more than nine in ten fair draws over the same plans."""
    request = Request(parse_chart(LARGE[0]))
    engine, dice = Engine(settle(request)), Dice(request.seed)
    last = generate(request)[-1].score
    for space in engine.spaces(dice)[:8]:
        fair = [table.astype(float) for table in space.lattice.allowed]
        rows = space.lattice.draw(fair, dice.doubles(300 * space.lattice.columns).reshape(300, -1))
        domains = space.pitches
        pitches = np.stack([domain[rows[:, i]] for i, domain in enumerate(domains)], axis=1)
        assert (engine.scored(space.plan, space.places, pitches).scores < last).mean() > 0.9
