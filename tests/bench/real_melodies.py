"""Does the score know real melodies? `python -m tests.bench.real_melodies` prints how often it prefers them to rivals.

Folk songs and airs that took no part in the tuning of the weights are cut into phrases of four bars; each is set
against rivals made of its own notes, and against a draw from our own rules. The figure is the share of pairs in which the
real phrase scores higher, ties counting half, with the middle 95 % of samples of whole tunes. Half is chance.
It takes about four minutes on two cores.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from functools import partial
from multiprocessing import get_context

import numpy as np

from fillgen.engine.melody import MELODY_TERMS
from tests.bench.surroundings import figure
from tests.outside.melodies import COLLECTIONS, texts
from tests.outside.rivals import RIVALS
from tests.outside.trials import Trial, Values, against, bounds, share_won, trials_of, whole


def trials(*, held_out: bool, wanted: Sequence[str] = RIVALS) -> list[Trial]:
    """All trials of one half of the tunes, in order, whatever the number of processes."""
    with get_context("spawn").Pool(os.cpu_count()) as pool:
        found = pool.map(partial(trials_of, wanted=wanted), texts(held_out=held_out), chunksize=100)
    return [each for tune in found for each in tune]


def _table(title: str, rows: Sequence[str], cell: Callable[[str, str], str]) -> None:
    print(f"\n{title}\n{'':16}" + "".join(f"{rival:>22}" for rival in RIVALS))
    for row in rows:
        print(f"{row:16}" + "".join(f"{cell(row, rival):>22}" for rival in RIVALS))


def _told(values: Values, tunes: Sequence[str]) -> str:
    low, high = bounds(values, tunes)
    return f"{share_won(values):.3f} ({low:.3f}-{high:.3f})"


def main() -> None:
    tried = trials(held_out=True)
    for name in COLLECTIONS:
        own = [each for each in tried if each.collection == name]
        print(f"{name}: {len(own)} phrases of {len({each.tune for each in own})} tunes")
    met = {rival: against(tried, rival) for rival in RIVALS}
    of = {name: [each for each in tried if each.collection == name] for name in COLLECTIONS}
    print("pairs: " + ", ".join(f"{rival} {len(met[rival][1])}" for rival in RIVALS))

    def together(row: str, rival: str) -> str:
        ahead, tunes = against(of[row], rival) if row in of else met[rival]
        return _told(whole(ahead, without=("key",) if row == "without key" else ()), tunes)

    def alone(row: str, rival: str) -> str:
        ahead, tunes = met[rival]
        return _told(ahead[:, MELODY_TERMS.index(row)], tunes)

    def left_out(row: str, rival: str) -> str:
        ahead, _ = met[rival]
        return f"{share_won(whole(ahead, without=(row,))) - share_won(whole(ahead)):+.3f}"

    _table("The score without its chord terms", ["all", *COLLECTIONS, "without key"], together)
    _table("Each term alone", MELODY_TERMS, alone)
    _table("What changes where a term is left out", MELODY_TERMS, left_out)
    for rival, wanted in (("shuffled", 0.9), ("walk", 0.8)):
        won = share_won(whole(met[rival][0]))
        figure(
            f"real phrases, pairs won against {rival}",
            together("all", rival),
            f"at least {wanted}",
            bool(won >= wanted),
        )
    own = np.stack([each.own for each in tried])
    print("\nShare of the real phrases that have a term in full, and the mean of the term")
    for term, values in zip(MELODY_TERMS, own.T, strict=True):
        print(f"{term:16}{np.mean(values == 1):8.2f}{values.mean():8.2f}")


if __name__ == "__main__":
    main()
