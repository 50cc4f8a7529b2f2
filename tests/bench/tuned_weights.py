"""The weights that real melodies give the score: `python -m tests.bench.tuned_weights` prints them.

The half of the tunes that `is_held_out` leaves is read, each phrase set against its rivals, and the weights (none below 0)
are those under which the real phrase is most likely to win: logistic regression on the differences of the terms (Bradley
and Terry 1952), each kind of rival counting alike. Shape and close belong to what the player asks for and are chosen by
hand, as are steps and turns, which real melodies give nothing beside habit. The tables of habit and order are learned from
the same half; learned from seven eighths of it, they win up to two pairs in a hundred fewer on the last eighth. It takes
about six minutes on two cores.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from fillgen.engine.melody import MELODY_TERMS
from tests.bench.real_melodies import trials
from tests.outside.rivals import RIVALS
from tests.outside.trials import Trial, Values, against, share_won

CHOSEN = ("shape", "steps", "turns", "close")
TUNED = tuple(term for term in MELODY_TERMS if term not in CHOSEN)
"""The terms whose weights go into `rules/score.toml`."""
TOGETHER = 12.1
"""What the tuned weights add up to, beside those chosen by hand."""
MET = tuple(rival for rival in RIVALS if rival != "drawn")
"""A draw from our own rules teaches nothing of melodies."""
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
    """The weights as they were fitted, and the same brought to their sum and rounded."""
    columns = [MELODY_TERMS.index(term) for term in TUNED]
    raw = fitted([against(tried, rival)[0][:, columns] for rival in MET])
    whole = float(raw.sum())
    weights = dict(zip(TUNED, raw.tolist(), strict=True))
    return weights, {term: round(TOGETHER * weight / whole, 1) for term, weight in weights.items()}


def main() -> None:
    tried = trials(held_out=False, wanted=MET)
    raw, rounded = tuned(tried)
    print(f"{len(tried)} phrases of {len({each.tune for each in tried})} tunes")
    print(f"{'':10}{'fitted':>8}" + "".join(f"{rival:>18}" for rival in MET))
    for term, weight in raw.items():
        alone = [share_won(against(tried, rival)[0][:, MELODY_TERMS.index(term)]) for rival in MET]
        print(f"{term:10}{weight:8.3f}" + "".join(f"{each:18.3f}" for each in alone))
    print("\n[weights]")
    for term, weight in rounded.items():
        print(f"{term} = {weight}")


if __name__ == "__main__":
    main()
