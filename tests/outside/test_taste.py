"""The weights that stars ask for, against a published table and a general optimizer.

Sources: Agresti, Categorical Data Analysis, on the Bradley-Terry model: the games of seven baseball teams in 1987 and the
estimates (both from memory; each pair played 13 times, which the table keeps); scipy's BFGS for the fit with a prior.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.optimize import minimize

from fillgen.dice import Dice
from fillgen.engine.taste import PRIOR, TRUST, Clarity, Search, most_likely, taste

TEAMS = ("Milwaukee", "Detroit", "Toronto", "New York", "Boston", "Cleveland", "Baltimore")
WINS = (
    (0, 7, 9, 7, 7, 9, 11),
    (6, 0, 7, 5, 11, 9, 9),
    (4, 6, 0, 7, 7, 8, 12),
    (6, 8, 6, 0, 6, 7, 10),
    (6, 2, 6, 7, 0, 7, 12),
    (4, 4, 5, 6, 6, 0, 6),
    (2, 4, 1, 3, 1, 7, 0),
)
"""Games won by the team of the row over that of the column."""
ABILITIES = (1.58, 1.44, 1.29, 1.25, 1.11, 0.68, 0.0)
"""The published estimates, Baltimore being 0."""


def test_abilities_of_teams() -> None:
    """Without a prior to speak of, the fit is the published one of the Bradley-Terry model."""
    unit = np.eye(len(TEAMS))
    pairs = [(i, j) for i in range(len(TEAMS)) for j in range(len(TEAMS)) if WINS[i][j]]
    assert all(WINS[i][j] + WINS[j][i] == 13 for i, j in pairs)
    rows = np.array([unit[i] - unit[j] for i, j in pairs])
    counts = np.array([float(WINS[i][j]) for i, j in pairs])
    found = most_likely(rows, counts, np.zeros(len(TEAMS)), 1e-8)
    assert (found - found[-1]).tolist() == pytest.approx(ABILITIES, abs=0.005)


TERMS = ("habit", "motif", "colour")
USUAL = {"habit": 6.4, "motif": 1.8, "colour": 1.0}


def played() -> list[Search]:
    """Ten searches of a player who likes colour and few motifs; some ideas have two stars."""
    dice = Dice(8)
    found = []
    for number in range(10):
        rows = dice.doubles(36).reshape(12, 3)
        liked = np.argsort(rows @ np.array([1.0, -2.0, 3.0]))[::-1].tolist()
        stars = [2 if row == liked[0] else 1 if row in liked[1:3] else 0 for row in range(12)]
        numbers = tuple(range(12 * number, 12 * number + 12))
        terms = tuple(dict(zip(TERMS, row, strict=True)) for row in rows.tolist())
        found.append(Search(numbers, tuple(stars), terms))
    return found


def test_a_general_optimizer_finds_the_same_weights() -> None:
    """The penalized likelihood written out pair by pair, and minimized by scipy."""
    searches = played()
    rows = {search.ideas: np.array([[row[t] for t in TERMS] for row in search.terms]) for search in searches}
    spread = np.concatenate([each - each.mean(axis=0) for each in rows.values()]).std(axis=0)
    usual = np.array([USUAL[term] for term in TERMS]) * spread
    centre = TRUST * usual / math.sqrt(float(usual @ usual))

    def loss(weights: Any) -> float:
        lost = PRIOR / 2 * float(((weights - centre) ** 2).sum())
        for search in searches:
            scores = rows[search.ideas] / spread @ weights
            for one, stars in enumerate(search.stars):
                rivals = [other for other, fewer in enumerate(search.stars) if fewer < stars]
                terms = [math.log1p(math.exp(scores[other] - scores[one])) for other in rivals]
                lost += sum(terms) / max(1, len(rivals))
        return lost

    best = minimize(loss, centre, method="BFGS", options={"gtol": 1e-8}).x
    found = taste(searches, USUAL)
    assert found.clarity is Clarity.CLEAR
    own = best / centre * np.array([USUAL[term] for term in TERMS])
    assert [found.weights[term] for term in TERMS] == pytest.approx(own.tolist(), abs=1e-3)
