"""Simulated players: what they like by hidden weights, the ideas they star, and what a ranking then puts first.

A player has weights of their own for the terms of the score: the default ones, each times a log-normal number (the logarithm
has a standard deviation of 1), and turned round with a chance of one in four. Of the fifty ideas that the default
ranking shows over a chart they like the ten that are best by their own weights (one in five), and star three of these,
whichever they come to. An idea over another chart is liked if it is as good to them as those ten would be there.
A player who stars at random stars any three of the fifty.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fillgen.chart.text import parse_chart
from fillgen.dice import Dice
from fillgen.engine import score
from fillgen.engine.generate import Candidates, Engine
from fillgen.engine.request import IdeaOptions, Request, settle
from fillgen.engine.taste import Search, Taste
from fillgen.rules.pack import RulePack

USUAL = {term: weight for term, weight in RulePack().weights.items() if term != "ease"}
"""The default weights of the terms that count where no hand is asked for."""
FIRST = 10
"""The ideas at the top that are looked at."""
STARS = 3
"""Stars that a player gives of a search."""
LIKED = 0.2
"""The share of the ideas shown that a player likes."""
_DEFAULT = np.array(list(USUAL.values()))
Values = NDArray[np.float64]

TO_STAR = (
    ("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", IdeaOptions()),
    ("| F | Gm7 | C7 | F |", IdeaOptions(rhythm="swing")),
    ("| Ab | Fm | Db | Eb7 |", IdeaOptions()),
    ("| Bb | Eb | F7 | Bb |", IdeaOptions()),
    ("| Gm | Cm7 | D7 | Gm |", IdeaOptions()),
    ("| D | Bm | Em7 | A7 |", IdeaOptions()),
    ("| A | F#m | D | E7 |", IdeaOptions(level=4)),
    ("| E | C#m7 | A | B7 |", IdeaOptions()),
    ("| Db | Bbm7 | Ebm7 | Ab7 |", IdeaOptions(level=4)),
    ("| Fm | Db | Ab | Eb |", IdeaOptions(rhythm="bossa nova")),
)
"""Ten charts of which ideas are starred: thirty stars."""
TO_RANK = (
    ("| Eb | Cm | Ab | Bb7 |", IdeaOptions()),
    ("| Bb7 | Eb7 | Bb7 | F7 |", IdeaOptions(rhythm="shuffle")),
    ("| F | Dm | Bb | C7 |", IdeaOptions()),
    ("| Cm | Ab | Eb | Bb |", IdeaOptions()),
    ("| Bbmaj7 | G7 | Cm7 | F7 |", IdeaOptions(level=4)),
    ("| A | D | E7 | A |", IdeaOptions(busy="many")),
)
"""Charts whose ideas nobody starred."""


class Ground:
    """A chart with its candidates and the fifty ideas of the default ranking."""

    def __init__(self, number: int, chart: str, options: IdeaOptions) -> None:
        self.number = number
        pack = RulePack()
        choices = settle(Request.over(parse_chart(chart), replace(options, seed=number), pack))
        self.engine, dice = Engine(choices), Dice(number)
        spaces = self.engine.spaces(dice)
        phrases = sum(space.count for space in spaces)
        self.groups = self.engine.idiomatic(self.engine.candidates(spaces, phrases, dice))
        self.fifty = self._rows(self.groups)

    def ranked(self, taste: Taste) -> Values:
        """The terms of the fifty ideas that a taste shows, best first."""
        return self._rows(self.weighed(taste))

    def weighed(self, taste: Taste) -> list[Candidates]:
        """The candidates with the scores that a taste gives them."""
        return [
            replace(group, scores=score.total(group.terms, taste.weights, taste.floors))
            for group in self.groups
        ]

    def _rows(self, groups: Sequence[Candidates]) -> Values:
        picked, _ = self.engine.pick(groups)
        return np.array([[group.terms[term][row] for term in USUAL] for group, row in picked])


@dataclass(frozen=True)
class Player:
    """A player with weights of their own; `at_random` they star whatever is there."""

    seed: int
    at_random: bool = False

    @cached_property
    def weights(self) -> Values:
        dice = np.random.default_rng(self.seed)
        turned = np.where(dice.random(len(USUAL)) < 0.25, -1.0, 1.0)
        return np.asarray(_DEFAULT * np.exp(dice.normal(0, 1, len(USUAL))) * turned)

    def bar(self, ground: Ground) -> float:
        """How good an idea must be to be liked over a chart."""
        return float(np.quantile(ground.fifty @ self.weights, 1 - LIKED))

    def liked(self, ground: Ground, shown: Values) -> int:
        """How many of the first ideas shown are liked."""
        return int((shown[:FIRST] @ self.weights >= self.bar(ground)).sum())

    def starred(self, grounds: Sequence[Ground]) -> list[Search]:
        """The searches of this player, with their stars."""
        dice = np.random.default_rng([self.seed, 1])
        found = []
        for ground in grounds:
            good = np.flatnonzero(ground.fifty @ self.weights >= self.bar(ground))
            some = range(len(ground.fifty)) if self.at_random else good.tolist()
            chosen = set(dice.choice(some, STARS, replace=False).tolist())
            numbers = tuple(100 * ground.number + row for row in range(len(ground.fifty)))
            terms = tuple(dict(zip(USUAL, row, strict=True)) for row in ground.fifty.tolist())
            found.append(Search(numbers, tuple(int(row in chosen) for row in range(len(numbers))), terms))
        return found


def default_score(shown: Values) -> float:
    """The mean score of the first ideas by the default weights."""
    return float((shown[:FIRST] @ _DEFAULT / _DEFAULT.sum()).mean())
