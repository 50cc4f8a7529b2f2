"""A player's taste: weights of the score, fitted to which ideas were starred and which of those shown with them were not.

A starred idea is held against the ideas of its search with fewer stars, pair by pair: logistic regression on the
differences of their terms (Bradley and Terry 1952). The default weights are the centre of a Gaussian prior, so that few
stars move little. The problem is convex, so the same stars always give the same weights.

Weights are used only where they predict: fitted without a search, they must rank its starred ideas clearly above the
others, and more surely than the default weights do. Stars given at random don't pass, nor do those of a player who likes
what the default ranking puts first anyway: both leave that ranking as it is.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import sqrt

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

FEWEST_STARS = 10
"""Starred ideas that a taste needs at least."""
FEWEST_SEARCHES = 3
"""Searches from which they come at least, so that one can be left out."""
PRIOR = 3.0
"""The pull of the default weights: the precision of the prior, where a starred idea counts as one observation and terms
are in units of their spread. Chosen on simulated players: `python -m tests.bench.taste`."""
TRUST = 1.0
"""The length of the default weights in those units. Chosen in the same way."""
CLEAR = 3.5
"""How many standard errors above chance the left-out stars must be ranked: by chance one taste in 4,000 is."""
_BETTER = 2.0
"""How many standard errors more than by the default weights."""
_LEAST_SPREAD = 0.05
"""A term that differs less than this among ideas says little of them; it counts as if it differed so much."""
_MOST_RIVALS = 200
"""A starred idea is compared with at most this many others of its search, taken evenly from the list."""
_FLOOR = 0.1
"""The share of the starred ideas that are below the floor of a term."""
_DECIMALS = 4
"""Weights are rounded, so that every machine ranks alike."""
_ROUNDS = 60
_HALVINGS = 30
_STILL = 1e-9


class Clarity(StrEnum):
    """What can be said of a taste."""

    TOO_FEW = "too few stars"
    UNCLEAR = "unclear"
    USUAL = "as the default ranking"
    CLEAR = "clear"


@dataclass(frozen=True)
class Search:
    """Ideas that were shown together: their numbers, stars, and terms from 0 to 1 as far as they're known."""

    ideas: tuple[int, ...]
    stars: tuple[int, ...]
    terms: tuple[Mapping[str, float], ...]


@dataclass(frozen=True)
class Leaning:
    """A term among the starred ideas and among those passed over: its means, and how they differ.

    `difference` is in units of the term's spread within a search, `error` its standard error in the same units.
    """

    term: str
    starred: float
    passed: float
    difference: float
    error: float
    usual: float
    weight: float

    @property
    def clear(self) -> bool:
        """Whether the difference is more than twice its standard error."""
        return abs(self.difference) > 2 * self.error


@dataclass(frozen=True)
class Taste:
    """What the stars say: how many ideas have them (or more than another of their search), how well they're predicted, and the weights that are fitted to them.

    `hits` is the share of the others in its search that a starred idea is ranked above, by weights that were fitted
    without this search, `usual_hits` the share by the default weights; 0.5 is chance. `weights` are the default ones unless
    the taste is clear. `floors` are what nearly all starred ideas have of each term: where a weight is below 0, less than
    that is no better, so that no idea wins by what the player never saw.
    """

    clarity: Clarity
    stars: int
    passed: int
    searches: int
    hits: float
    usual_hits: float
    weights: Mapping[str, float]
    floors: Mapping[str, float]
    usual: Mapping[str, float]
    leanings: tuple[Leaning, ...]


def taste(
    searches: Sequence[Search], usual: Mapping[str, float], *, prior: float = PRIOR, trust: float = TRUST
) -> Taste:
    """What the stars of some searches say, held against the default weights of the score's terms.

    A search counts where it has an idea with more stars than another. Terms of weight 0 are left out.

    >>> shown = ({"motif": 0.9, "flow": 0.2}, {"motif": 0.1, "flow": 0.2}, {"motif": 0.3, "flow": 0.3})
    >>> found = taste([Search((1, 2, 3), (1, 0, 0), shown)], {"motif": 1.8, "flow": 0.4})
    >>> found.clarity, found.stars, found.weights
    (<Clarity.TOO_FEW: 'too few stars'>, 1, {'motif': 1.8, 'flow': 0.4})
    """
    terms_known = {term for search in searches for terms in search.terms for term in terms}
    names = [term for term, weight in usual.items() if weight and term in terms_known]
    known = _Known(
        [_Rows.of(search, names) for search in searches], np.array([usual[term] for term in names])
    )
    starred = len(known.starred)
    enough = bool(names) and starred >= FEWEST_STARS and len(known.searches) >= FEWEST_SEARCHES
    hits, before = known.hits(prior, trust) if enough else (np.full(1, 0.5), np.full(1, 0.5))
    clarity = _clarity(hits, before) if enough else Clarity.TOO_FEW
    clear = clarity is Clarity.CLEAR
    fitted = known.fitted(prior, trust) if clear else known.usual
    own = {**usual, **dict(zip(names, np.round(fitted, _DECIMALS).tolist(), strict=True))}
    return Taste(
        clarity,
        starred,
        len(known.shown - known.starred),
        len(known.searches),
        round(float(hits.mean()), _DECIMALS),
        round(float(before.mean()), _DECIMALS),
        own,
        known.floors(names),
        dict(usual),
        tuple(known.leanings(names, own)),
    )


def _clarity(hits: Values, before: Values) -> Clarity:
    """What the shares of rivals say that starred ideas beat: by fitted weights, and by the default ones."""
    if (hits.mean() - 0.5) * sqrt(12 * len(hits)) < CLEAR:
        return Clarity.UNCLEAR
    gain = hits - before
    return Clarity.CLEAR if gain.mean() * sqrt(len(gain)) > _BETTER * gain.std(ddof=1) else Clarity.USUAL


@dataclass(frozen=True)
class _Rows:
    """A search as arrays: numbers and stars of its ideas, and a row of terms for each."""

    ideas: NDArray[np.int64]
    stars: NDArray[np.int64]
    terms: Values

    @classmethod
    def of(cls, search: Search, names: Sequence[str]) -> _Rows:
        """The ideas of a search whose terms are known; a term that one of them lacks counts as the mean of the others."""
        has_terms = [bool(terms) for terms in search.terms]
        rows = [[terms.get(name, np.nan) for name in names] for terms in search.terms if terms]
        values = np.clip(np.array(rows, dtype=np.float64).reshape(len(rows), len(names)), 0.0, 1.0)
        there = ~np.isnan(values)
        means = np.where(there, values, 0.0).sum(axis=0) / np.maximum(there.sum(axis=0), 1)
        ideas, stars = np.array(search.ideas, dtype=np.int64), np.array(search.stars, dtype=np.int64)
        return cls(ideas[has_terms], stars[has_terms], np.where(there, values, means))

    def without(self, ideas: NDArray[np.int64]) -> _Rows:
        kept = ~np.isin(self.ideas, ideas)
        return _Rows(self.ideas[kept], self.stars[kept], self.terms[kept])

    @property
    def starred(self) -> NDArray[np.intp]:
        """The rows of the ideas that have stars, and more of them than another."""
        return (
            np.flatnonzero(self.stars > self.stars.min()) if len(self.stars) else np.zeros(0, dtype=np.intp)
        )

    def rivals(self, row: int) -> NDArray[np.intp]:
        """The rows of ideas with fewer stars; of very many some, evenly."""
        lower = np.flatnonzero(self.stars < self.stars[row])
        if len(lower) <= _MOST_RIVALS:
            return lower
        return lower[np.linspace(0, len(lower) - 1, _MOST_RIVALS).astype(np.intp)]

    def beaten(self, weights: Values) -> Values:
        """The share of its rivals that each starred idea beats by some weights; a tie counts half."""
        scores = np.round(self.terms @ weights, 6)
        theirs = [(scores[row], scores[self.rivals(row)]) for row in self.starred.tolist()]
        return np.array([((own > others) + 0.5 * (own == others)).mean() for own, others in theirs])


class _Known:
    """Searches with information, and the default weights, as arrays."""

    def __init__(self, searches: Sequence[_Rows], usual: Values) -> None:
        self.searches = [rows for rows in searches if len(rows.starred)]
        self.usual = usual
        self.shown = {idea for rows in self.searches for idea in rows.ideas.tolist()}
        self.starred = {idea for rows in self.searches for idea in rows.ideas[rows.starred].tolist()}
        around = [rows.terms - rows.terms.mean(axis=0) for rows in self.searches]
        measured = np.concatenate(around).std(axis=0) if around else np.zeros(len(usual))
        self.spread = np.maximum(measured, _LEAST_SPREAD)

    def fitted(self, prior: float, trust: float, without: _Rows | None = None) -> Values:
        """The most likely weights, in units of the default ones; `without` the ideas of a search."""
        searches = self.searches
        if without is not None:
            searches = [rows.without(without.ideas) for rows in searches if rows is not without]
        scale = trust / float(np.linalg.norm(self.usual * self.spread))
        centre = self.usual * self.spread * scale
        rows, counts = _pairs(searches, len(centre))
        return most_likely(rows / self.spread, counts, centre, prior) / (scale * self.spread)

    def hits(self, prior: float, trust: float) -> tuple[Values, Values]:
        """The share of its rivals that each starred idea beats: by weights fitted without its search, and by the default.

        Of an idea that several searches have shown, the mean.
        """
        fitted = [search.beaten(self.fitted(prior, trust, search)) for search in self.searches]
        usual = [search.beaten(self.usual) for search in self.searches]
        ideas = np.concatenate([search.ideas[search.starred] for search in self.searches])
        _, which = np.unique(ideas, return_inverse=True)
        times = np.bincount(which)
        means = [np.bincount(which, np.concatenate(shares)) / times for shares in (fitted, usual)]
        return means[0], means[1]

    def floors(self, names: Sequence[str]) -> dict[str, float]:
        """What all starred ideas but a few have of each term."""
        if not self.searches:
            return {}
        starred = np.concatenate([rows.terms[rows.starred] for rows in self.searches])
        return dict(zip(names, np.quantile(starred, _FLOOR, axis=0).round(_DECIMALS).tolist(), strict=True))

    def leanings(self, names: Sequence[str], own: Mapping[str, float]) -> list[Leaning]:
        """Each term among the starred ideas and among those passed over in the same searches."""
        pairs = [
            (rows.terms[row], rows.terms[rows.rivals(row)].mean(axis=0))
            for rows in self.searches
            for row in rows.starred.tolist()
        ]
        if not pairs:
            return []
        starred, passed = (np.array(each) for each in zip(*pairs, strict=True))
        apart = (starred - passed) / self.spread
        error = (
            apart.std(axis=0, ddof=1) / sqrt(len(pairs)) if len(pairs) > 1 else np.full(len(names), np.inf)
        )
        columns = (starred.mean(axis=0), passed.mean(axis=0), apart.mean(axis=0), error, self.usual)
        values = zip(*(column.tolist() for column in columns), strict=True)
        return [
            Leaning(name, mean, others, gap, wrong, usual, own[name])
            for name, (mean, others, gap, wrong, usual) in zip(names, values, strict=True)
        ]


def _pairs(searches: Sequence[_Rows], width: int) -> tuple[Values, Values]:
    """The differences between starred ideas and their rivals, and how much each counts: an idea counts one in all."""
    times = Counter(idea for rows in searches for idea in rows.ideas[rows.starred].tolist())
    differences, counts = [np.zeros((0, width))], [np.zeros(0)]
    for rows in searches:
        for row in rows.starred.tolist():
            rivals = rows.rivals(row)
            differences.append(rows.terms[row] - rows.terms[rivals])
            counts.append(np.full(len(rivals), 1 / (len(rivals) * times[int(rows.ideas[row])])))
    return np.concatenate(differences), np.concatenate(counts)


def most_likely(rows: Values, counts: Values, centre: Values, prior: float) -> Values:
    """Where the likelihood of all pairs times the prior is highest: Newton's steps, each halved until it gains."""

    def loss(weights: Values) -> float:
        away = weights - centre
        return float(counts @ np.logaddexp(0, -(rows @ weights)) + prior / 2 * (away @ away))

    found, lost = centre, loss(centre)
    for _ in range(_ROUNDS):
        wrong = np.exp(-np.logaddexp(0, rows @ found))
        slope = prior * (found - centre) - rows.T @ (counts * wrong)
        bend = prior * np.eye(len(centre)) + (rows.T * (counts * wrong * (1 - wrong))) @ rows
        step = np.linalg.solve(bend, slope)
        for _ in range(_HALVINGS):
            if loss(found - step) <= lost:
                break
            step = step / 2
        found = found - step
        lost = loss(found)
        if np.abs(step).max() < _STILL:
            break
    return np.asarray(found)
