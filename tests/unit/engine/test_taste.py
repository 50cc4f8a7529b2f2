"""Weights fitted to stars: when they are used, and what they don't depend on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fillgen.dice import Dice
from fillgen.engine.score import total
from fillgen.engine.taste import FEWEST_SEARCHES, FEWEST_STARS, Clarity, Search, taste

TERMS = ("habit", "motif", "colour")
USUAL = {"habit": 6.4, "motif": 1.8, "colour": 1.0, "flow": 0.0}
LIKES = {"plain": (6.4, 1.8, 1.0), "colourful": (0.5, -2.0, 3.0)}


def searches(likes: str | None, count: int = 10, stars: int = 3, seed: int = 0) -> list[Search]:
    """Searches of 20 ideas; stars go to those that a player likes most, or to any."""
    dice = Dice(seed)
    found = []
    for number in range(count):
        rows = dice.doubles(60).reshape(20, 3)
        order = rows @ np.array(LIKES[likes]) if likes else dice.doubles(20)
        liked = np.argsort(-order)[:stars].tolist()
        numbers = tuple(range(20 * number, 20 * number + 20))
        terms = tuple(dict(zip(TERMS, row, strict=True)) for row in rows.tolist())
        found.append(Search(numbers, tuple(int(row in liked) for row in range(20)), terms))
    return found


def test_a_clear_taste() -> None:
    """What a player likes has more weight, and what they don't like less than none."""
    found = taste(searches("colourful"), USUAL)
    assert found.clarity is Clarity.CLEAR
    assert (found.stars, found.passed, found.searches) == (30, 170, 10)
    assert found.hits > 0.9
    assert found.usual_hits < 0.7
    assert found.weights["colour"] > USUAL["colour"]
    assert found.weights["motif"] < 0
    assert found.weights["flow"] == 0
    assert {each.term: each.difference > 0 for each in found.leanings if each.clear} == {
        "motif": False,
        "colour": True,
    }


@pytest.mark.parametrize("seed", range(40))
def test_stars_at_random_change_nothing(seed: int) -> None:
    found = taste(searches(None, seed=seed), USUAL)
    assert found.clarity is Clarity.UNCLEAR
    assert found.weights == USUAL


def test_who_likes_what_comes_first_anyway_keeps_the_default_ranking() -> None:
    found = taste(searches("plain"), USUAL)
    assert (found.clarity, found.weights) == (Clarity.USUAL, USUAL)
    assert found.usual_hits > 0.9


@pytest.mark.parametrize(
    ("count", "stars", "clarity"),
    [
        (FEWEST_SEARCHES, 4, Clarity.CLEAR),
        (FEWEST_SEARCHES - 1, FEWEST_STARS, Clarity.TOO_FEW),
        (FEWEST_SEARCHES, (FEWEST_STARS - 1) // FEWEST_SEARCHES, Clarity.TOO_FEW),
        (0, 0, Clarity.TOO_FEW),
    ],
)
def test_few_stars(count: int, stars: int, clarity: Clarity) -> None:
    found = taste(searches("colourful", count, stars), USUAL)
    assert (found.clarity, found.stars, found.searches) == (clarity, count * stars, count)
    assert (found.weights == USUAL) is (clarity is not Clarity.CLEAR)


def test_neither_the_order_nor_a_search_without_a_choice_matters() -> None:
    """The order of searches and of ideas, ideas all with stars or none, and ideas without terms."""
    plain = searches("colourful")
    turned = [Search(s.ideas[::-1], s.stars[::-1], s.terms[::-1]) for s in plain[::-1]]
    all_alike = replace(plain[0], ideas=tuple(range(900, 920)), stars=(4,) * 20)
    bare = replace(
        plain[1], ideas=(*plain[1].ideas, 999), stars=(*plain[1].stars, 5), terms=(*plain[1].terms, {})
    )
    found = taste(plain, USUAL)
    assert taste(turned, USUAL).weights == found.weights
    assert taste([*plain, all_alike], USUAL) == found
    assert taste([plain[0], bare, *plain[2:]], USUAL) == found


def test_an_idea_shown_again_counts_once() -> None:
    """Searches that are repeated give the same weights, and prove no more."""
    plain = searches("colourful")
    found, twice = taste(plain, USUAL), taste([*plain, *plain], USUAL)
    assert twice.weights == pytest.approx(found.weights, abs=1e-3)
    assert (twice.stars, twice.hits) == (found.stars, found.hits)


def test_more_stars_are_better_than_fewer() -> None:
    """Who gives a star to all ideas, and five to the best, has said the same."""
    plain = searches("colourful")
    rated = [replace(s, stars=tuple(5 if each else 1 for each in s.stars)) for s in plain]
    assert taste(rated, USUAL).weights == taste(plain, USUAL).weights


def test_a_term_that_some_ideas_lack() -> None:
    """An idea without a term says nothing of it; one that no idea has keeps its weight."""
    plain = searches("colourful")
    without = tuple({t: v for t, v in row.items() if t != "habit"} for row in plain[0].terms)
    found = taste([replace(plain[0], terms=without), *plain[1:]], USUAL | {"ease": 1.0})
    assert found.clarity is Clarity.CLEAR
    assert found.weights["ease"] == 1.0
    assert "ease" not in [each.term for each in found.leanings]


def test_a_score_with_weights_below_nothing() -> None:
    """Less of a term is better down to its floor; scores stay from 0 to 1, and order as the plain sum does."""
    terms = {"habit": np.array([0.0, 0.2, 0.5, 1.0]), "motif": np.array([0.3, 0.3, 0.3, 1.0])}
    weights = {"habit": -3.0, "motif": 1.0}
    assert total(terms, weights).tolist() == [0.825, 0.675, 0.45, 0.25]
    assert total(terms, weights, {"habit": 0.2, "motif": 0.9}).tolist() == [0.675, 0.675, 0.45, 0.25]
