"""Does `--taste` learn what a player likes? `python -m tests.bench.taste` asks simulated players, and takes some minutes.

The players are those of `tests/properties/players.py`, which says what they like and what is counted. The strength of the prior
and the length of the default weights are chosen on some of them (`--choose` prints the table); the figures are those of
others.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from fillgen.engine.taste import PRIOR, TRUST, Clarity, taste
from tests.bench.surroundings import figure, told
from tests.properties.players import TO_RANK, TO_STAR, USUAL, Ground, Player, default_score

CHOOSING = range(20)
"""Players by whom prior and trust are chosen."""
PLAYERS = range(1000, 1040)
"""Those of the figures: others."""
AT_RANDOM = range(2000, 2200)
"""Players who star at random."""
PRIORS = (1.0, 3.0, 10.0)
TRUSTS = (0.5, 1.0)
SEARCHES = (4, 6, 10)
"""After so many searches, of three stars each, is looked."""
WANTED = 2.0
"""Times as many liked ideas among the first ten as by default."""
LEAST_KEPT = 0.95
"""The share of the mean default score that stars at random leave to the first ten."""


class Outcome(NamedTuple):
    """Of one player, means over the new charts: liked ideas of the first ten, by default and by taste, and the ratio of their
    mean default scores; whether the taste was clear."""

    before: float
    after: float
    kept: float
    clear: bool


def outcome(
    player: Player,
    seen: Sequence[Ground],
    new: Sequence[Ground],
    settings: tuple[float, float] = (PRIOR, TRUST),
) -> Outcome:
    found = taste(player.starred(seen), USUAL, prior=settings[0], trust=settings[1])
    clear = found.clarity is Clarity.CLEAR
    rows = [(ground, ground.fifty, ground.ranked(found) if clear else ground.fifty) for ground in new]
    return Outcome(
        float(np.mean([player.liked(ground, shown) for ground, shown, _ in rows])),
        float(np.mean([player.liked(ground, shown) for ground, _, shown in rows])),
        float(np.mean([default_score(after) / default_score(before) for _, before, after in rows])),
        clear,
    )


def summed(outcomes: Iterable[Outcome]) -> tuple[float, float, float, float]:
    """Mean liked ideas before and after, the least share of the default score kept, and the share of clear tastes."""
    every = list(outcomes)
    before, after, _, clear = (float(np.mean(column)) for column in zip(*every, strict=True))
    return before, after, min(each.kept for each in every), clear


def choose(seen: Sequence[Ground], new: Sequence[Ground]) -> None:
    print("prior  trust  liked by default  by taste  clear")
    for settings in [(prior, trust) for prior in PRIORS for trust in TRUSTS]:
        found = summed(outcome(Player(seed), seen, new, settings) for seed in CHOOSING)
        print(
            f"{settings[0]:5g}{settings[1]:7g}{found[0]:18.2f}{found[1]:10.2f}{found[3]:7.0%}",
            flush=True,
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--choose", action="store_true", help="compare strengths of the prior")
    arguments = parser.parse_args()
    print(told())
    seen = [Ground(number, *each) for number, each in enumerate(TO_STAR)]
    new = [Ground(number, *each) for number, each in enumerate(TO_RANK, len(TO_STAR))]
    if arguments.choose:
        choose(seen, new)
        return
    for searches in SEARCHES:
        some = seen[:searches]
        before, after, _, clear = summed(outcome(Player(seed), some, new) for seed in PLAYERS)
        what = f"liked ideas among the first ten after {3 * searches} stars, by default and by taste"
        value = f"{before:.2f}, {after:.2f} ({after / before:.2f} times; {clear:.0%} of tastes clear)"
        last = searches == SEARCHES[-1]
        figure(what, value, f"{WANTED:g} times" if last else "", after >= WANTED * before if last else None)
    _, _, least, clear = summed(outcome(Player(seed, at_random=True), seen, new) for seed in AT_RANDOM)
    figure(
        "stars at random: the least share of the default score that the first ten keep",
        f"{least:.3f} ({clear:.1%} of {len(AT_RANDOM)} tastes taken for clear)",
        f"{LEAST_KEPT:g}",
        least >= LEAST_KEPT,
    )


if __name__ == "__main__":
    main()
