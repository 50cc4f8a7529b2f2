"""The part of the score that adds up over single notes and their neighbours, as tables that any solver can read.

Terms that look at three notes in a row and no more: habit, steps, turns, close, key and colour. What lies beyond (shape,
register, bars that answer one another ...) is left out, and so is the point at which a term is full.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fillgen.engine import score
from fillgen.engine.generate import Engine, PhraseSpace
from fillgen.engine.habits import NO_MOVE, habits, interval

TERMS = ("habit", "steps", "turns", "close", "key", "colour")
SCALE = 100_000
"""Tables hold whole numbers, so that every solver adds up the same: the mean of the terms times this."""

Whole = NDArray[np.int64]


def tables(engine: Engine, space: PhraseSpace) -> list[Whole]:
    """A value for each note of a plan between its neighbours: axes before, note, after, as in the lattice."""
    context = engine.context(space.plan, space.places)
    weights = {name: engine.choices.weights[name] for name in TERMS}
    domains = [own.astype(np.int64) for own in space.pitches]
    ends: list[NDArray[np.int64] | None] = [None]
    around = zip(ends + domains[:-1], domains, domains[1:] + ends, strict=True)
    found = []
    for index, (before, note, after) in enumerate(around):
        one = np.array([-1]) if before is None else before
        two = np.array([-1]) if after is None else after
        values = np.zeros((len(one), len(note), len(two)))
        if after is not None:
            values += weights["habit"] * _habit(context, index, before, note, after)
        if before is not None:
            values += weights["steps"] * _steps(context, index, one, note)
        if before is not None and after is not None:
            values -= weights["turns"] * 4 / len(domains) * _left_open(one, note, two)
        if after is None:
            values += weights["close"] * _close(context, one if before is not None else None, note)
        values -= weights["key"] * 4 * context.shares[index] * _strays(context, index, note, after)
        values += weights["colour"] * _colour(context, index, note)[None, :, None]
        values += (weights["turns"] + weights["key"]) / len(domains)
        found.append(np.round(SCALE * values / sum(weights.values())).astype(np.int64))
    return found


def _habit(
    context: score.ScoreContext, index: int, before: Whole | None, note: Whole, after: Whole
) -> NDArray[np.float64]:
    """How usual the interval to the note after is, from 0 at the least that counts to 1 where the term is full."""
    learned = habits(context.homes[index].minor)[context.accents[index], context.accents[index + 1]]
    degrees = (note - context.homes[index].tonic) % 12
    into = np.full((1, len(note)), NO_MOVE) if before is None else interval(note[None, :] - before[:, None])
    out = interval(after[None, :] - note[:, None])
    low, full = score._HABITS
    likely = learned[degrees[None, :, None], into[:, :, None], out[None, :, :]]
    return np.asarray((likely - low) / (full - low) / (len(context.places) - 1))


def _steps(context: score.ScoreContext, index: int, before: Whole, note: Whole) -> NDArray[np.float64]:
    sizes = np.abs(note[None, :] - before[:, None])
    full = score._ENOUGH["steps"]
    return np.asarray(score.INTERVAL_VALUE[sizes] * context.quickness[index - 1] / full)[:, :, None]


def _left_open(before: Whole, note: Whole, after: Whole) -> NDArray[np.bool_]:
    """Leaps of a fourth and more after which the line neither stays nor steps back."""
    into = (note[None, :] - before[:, None])[:, :, None]
    out = (after[None, :] - note[:, None])[None, :, :]
    return np.asarray((np.abs(into) >= 5) & ~((into * out <= 0) & (np.abs(out) <= 2)))


def _close(context: score.ScoreContext, before: Whole | None, note: Whole) -> NDArray[np.float64]:
    home = np.where(context.home >> note % 12 & 1, 1.0, 0.75) if context.home else np.ones(len(note))
    if before is None:
        return np.asarray(home[None, :, None])
    return np.asarray(home * score.CLOSE_VALUE[np.abs(note[None, :] - before[:, None])])[:, :, None]


def _strays(context: score.ScoreContext, index: int, note: Whole, after: Whole | None) -> NDArray[np.float64]:
    outside = context.outside[index, note % 12].astype(float)
    if after is None:
        return outside[None, :, None]
    sizes = np.abs(after[None, :] - note[:, None])
    anchored = (sizes == 1) & ~context.outside[index + 1, after % 12][None, :]
    leading = context.leading[index, note % 12][:, None] & (sizes > 1)
    return np.asarray(outside[:, None] * ~anchored + 0.5 * leading)[None, :, :]


def _colour(context: score.ScoreContext, index: int, note: Whole) -> NDArray[np.float64]:
    strong = [i for i, place in enumerate(context.places[:-1]) if place.strong]
    if not strong:
        return np.full(len(note), 0.5 / len(context.places))
    if index not in strong:
        return np.zeros(len(note))
    return np.asarray(score.tone_value(context.places[index])[note % 12] / len(strong))


def best(space: PhraseSpace, values: Sequence[Whole]) -> tuple[int, NDArray[np.intp]]:
    """The greatest sum that a phrase over the plan has, by the lattice, and the phrase."""
    allowed = [
        np.where(table, value.astype(float), -np.inf)
        for table, value in zip(space.lattice.allowed, values, strict=True)
    ]
    total, rows = space.lattice.best(allowed)
    return round(total), rows


def sums(rows: NDArray[np.intp], values: Sequence[Whole]) -> Whole:
    """The sum of each phrase, given as rows of indices into the pitches that its notes may have."""
    edge = np.zeros((len(rows), 1), dtype=np.intp)
    framed = np.hstack([edge, rows, edge])
    each = [table[framed[:, i], framed[:, i + 1], framed[:, i + 2]] for i, table in enumerate(values)]
    return np.asarray(np.sum(each, axis=0))


def indices(engine: Engine, space: PhraseSpace, pitches: NDArray[np.int16]) -> NDArray[np.intp]:
    """Phrases given as rows of pitches, as rows of indices."""
    domains = space.pitches
    return np.stack([np.searchsorted(d, pitches[:, i]) for i, d in enumerate(domains)], axis=1)


def terms_added(engine: Engine, space: PhraseSpace, pitches: NDArray[np.int16]) -> NDArray[np.float64]:
    """The weighted mean of the same terms as the score works them out, before any is cut off at 0 or 1."""
    weights = {name: engine.choices.weights[name] for name in TERMS}
    lines = score.Lines(pitches, engine.context(space.plan, space.places))
    whole = sum((weights[name] * score._TERMS[name](lines) for name in TERMS), start=np.zeros(len(pitches)))
    return np.asarray(whole / sum(weights.values()))
