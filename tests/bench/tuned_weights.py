"""The weights that real melodies give the score: `python -m tests.bench.tuned_weights` prints them.

The half of the tunes that `is_held_out` leaves is read, each phrase set against its rivals, and the weights (none below 0)
are those under which the real phrase is most likely to win: logistic regression on the differences of the terms (Bradley
and Terry 1952), each kind of rival counting alike. Shape, echo and close belong to what the player asks for and are
chosen by hand; the fit sees echo, so that the others do not take its part. It takes about four minutes on two cores.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fillgen.engine.melody import MELODY_TERMS
from tests.bench.real_melodies import trials
from tests.outside.melodies import Trial, Values, against, share_won

FITTED = ("steps", "flow", "turns", "descent", "echo", "motif", "register", "key")
TUNED = tuple(term for term in FITTED if term != "echo")
"""The terms whose weights go into `rules/score.toml`."""
TOGETHER = 7.0
"""What the tuned weights add up to, beside 6 for those chosen by hand."""
MET = ("shuffled", "walk", "scale walk", "backwards", "drawn")
_SHRINK = 1e-3
_ROUNDS = 4000


def fitted(pairs: Sequence[Values]) -> Values:
    """The weights under which the first of each pair wins most surely: a column of differences for each weight.

    The loss is convex; projected gradient steps with momentum (Beck and Teboulle 2009) find its one lowest point.
    """
    rows = np.concatenate(pairs)
    counts = np.concatenate([np.full(len(each), 1 / (len(each) * len(pairs))) for each in pairs])
    steepest = 0.25 * np.linalg.norm(rows * np.sqrt(counts)[:, None], 2) ** 2 + _SHRINK
    found = ahead = np.ones(rows.shape[1])
    pace = 1.0
    for _ in range(_ROUNDS):
        lost = counts / (1 + np.exp(rows @ ahead))
        slope = _SHRINK * ahead - lost @ rows
        better = np.maximum(ahead - slope / steepest, 0.0)
        next_pace = (1 + np.sqrt(1 + 4 * pace**2)) / 2
        found, ahead = better, better + (pace - 1) / next_pace * (better - found)
        pace = next_pace
    return np.asarray(found)


def tuned(tried: Sequence[Trial]) -> tuple[dict[str, float], dict[str, float]]:
    """The weights as they were fitted, and those of the tuned terms brought to their sum and rounded."""
    columns = [MELODY_TERMS.index(term) for term in FITTED]
    raw = fitted([against(tried, rival)[0][:, columns] for rival in MET])
    weights = dict(zip(FITTED, raw.tolist(), strict=True))
    whole = sum(weights[term] for term in TUNED)
    return weights, {term: round(TOGETHER * weights[term] / whole, 1) for term in TUNED}


def main() -> None:
    tried = trials(held_out=False)
    raw, rounded = tuned(tried)
    print(f"{len(tried)} phrases of {len({each.tune for each in tried})} tunes")
    print(f"{'':10}{'fitted':>8}" + "".join(f"{rival:>12}" for rival in MET))
    for term, weight in raw.items():
        alone = [share_won(against(tried, rival)[0][:, MELODY_TERMS.index(term)]) for rival in MET]
        print(f"{term:10}{weight:8.3f}" + "".join(f"{each:12.3f}" for each in alone))
    print("\n[weights]")
    for term, weight in rounded.items():
        print(f"{term} = {weight}")


if __name__ == "__main__":
    main()
