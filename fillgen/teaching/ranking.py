"""Why an idea ranks where it does: the terms of its score."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean

from fillgen.errors import listed
from fillgen.phrase.idea import Idea, Ideas
from fillgen.rules.pack import RulePack

# Why an idea ranks where it does


@dataclass(frozen=True, slots=True)
class Share:
    """What a term gives a score: its value from 0 to 1, its weight, its points and the most it can give.

    The points of all terms add up to the score; where the weight is below 0, they are given for
    what the value lacks of 1. `mean` and `best` are the points it gives the ideas shown.
    """

    term: str
    value: float
    weight: float
    points: float
    most: float
    mean: float
    best: float


def shares(idea: Idea, ideas: Ideas) -> tuple[Share, ...]:
    """What each term gives the score of an idea, held against the ideas it is shown with."""
    weights = ideas.weights or RulePack().weights
    whole = sum(abs(weights[term]) for term in idea.terms) or 1.0
    found = []
    for term, value in idea.terms.items():
        most = abs(weights[term]) / whole
        values = [value, *([each.terms.get(term, 0.0) for each in ideas] or [value])]
        if weights[term] < 0:
            values = [1 - max(each, ideas.floors.get(term, 0.0)) for each in values]
        own, *others = (most * each for each in values)
        found.append(Share(term, value, weights[term], own, most, fmean(others), max(others)))
    return tuple(found)


def ranking(idea: Idea, ideas: Ideas) -> tuple[str, ...]:
    """Why an idea ranks where it does among the ideas it is shown with, in the score's own terms.

    A sentence for each term, then what lifts the idea most, what costs it most, and why it comes after the one
    before it.

    >>> import fillgen
    >>> found = fillgen.ideas("| A | G | D | E7 |", count=3)
    >>> ranking(found[0], found)[-1]
    'It comes first: no idea shown has a higher score.'
    """
    found = shares(idea, ideas)
    return (
        f"Idea {idea.rank} scores {idea.score:.3f}, the sum of the points of its {len(found)} terms.",
        *_by_taste(ideas),
        *(_term(share, len(ideas)) for share in found),
        _lifts(found),
        _costs(found),
        _standing(idea, ideas),
    )


def _by_taste(ideas: Ideas) -> tuple[str, ...]:
    """Which weights differ from the default ones, most moved first; nothing if none is fitted to a taste."""
    moved = [(term, old, ideas.weights[term]) for term, old in ideas.usual.items() if term in ideas.weights]
    moved = sorted((each for each in moved if each[1] != each[2]), key=lambda each: -abs(each[2] - each[1]))
    if not moved:
        return ()
    changes = [f"`{term}` from {old:g} to {new:.2f}" for term, old, new in moved]
    less = " Below 0, less of it is better." if any(new < 0 for _, _, new in moved) else ""
    return (f"Your stars move the weights of {listed(changes, 'and')}.{less}",)


def _term(share: Share, shown: int) -> str:
    says = RulePack().says(share.term).split(":")[0].rstrip(".")
    says = says[:1].lower() + says[1:]
    start = f"`{share.term}`, {says}, gives {share.points:.3f} of {share.most:.3f} points ({_sum(share)})"
    if shown < 2:
        return f"{start}."
    return (
        f"{start}; the {shown:,} ideas shown have {share.mean:.3f} on average and {share.best:.3f} at best."
    )


def _sum(share: Share) -> str:
    if share.weight < 0:
        credit = share.points / share.most
        return f"{credit:.2f} for having {share.value:.2f}, since you like less of it, x weight {-share.weight:.3g}"
    return f"{share.value:.2f} x weight {share.weight:.3g}"


def _lifts(found: Sequence[Share]) -> str:
    above = sorted(found, key=lambda share: share.mean - share.points)[:2]
    above = [share for share in above if share.points - share.mean >= 0.0005]
    if not above:
        return "No term lifts it above the mean of the ideas shown."
    points = [f"`{share.term}` by {share.points - share.mean:.3f}" for share in above]
    return f"It is lifted most above the mean of the ideas shown by {listed(points, 'and')}."


def _costs(found: Sequence[Share]) -> str:
    short = sorted(found, key=lambda share: share.points - share.most)[:2]
    short = [share for share in short if share.most - share.points >= 0.0005]
    if not short:
        return "No term costs it anything: all give full points."
    points = [f"`{share.term}` ({share.most - share.points:.3f})" for share in short]
    return f"It loses most points on {listed(points, 'and')}."


def _standing(idea: Idea, ideas: Ideas) -> str:
    if ideas.order != "best first":
        return f"The ideas are shown {ideas.order}, not by their scores."
    before = next((each for each in ideas if each.rank == idea.rank - 1), None)
    if before is None:
        return "It comes first: no idea shown has a higher score."
    behind = before.score - idea.score
    theirs = {share.term: share.points for share in shares(before, ideas)}
    gaps = [(share.term, share.points - theirs.get(share.term, 0.0)) for share in shares(idea, ideas)]
    gaps = [(term, gap) for term, gap in sorted(gaps, key=lambda each: each[1]) if abs(gap) >= 0.0005]
    lost = [f"`{term}` {-gap:.3f}" for term, gap in gaps[:2] if gap < 0]
    won = [f"`{term}` {gap:.3f}" for term, gap in gaps[-1:] if gap > 0]
    parts = [f"{listed(each, 'and')} {word}" for each, word in ((lost, "less"), (won, "more")) if each]
    if behind < 0.0005:
        start = f"It comes after idea {before.rank} with nearly the same score"
    else:
        start = f"It comes after idea {before.rank}, which has {behind:.3f} more"
    return (
        f"{start}; here the terms give {listed(parts, 'and')}."
        if parts
        else f"{start}; no term tells them apart."
    )
