"""Real phrases against their rivals: by how much each is ahead, term by term, and the share of pairs that it wins."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from fillgen.dice import Dice
from fillgen.engine.habits import Home, home_in, home_of
from fillgen.engine.melody import MELODY_TERMS, melody_score
from fillgen.engine.score import total
from fillgen.rules.pack import RulePack
from fillgen.theory.pitch import Key
from tests.outside.melodies import Tune, tune_of
from tests.outside.rivals import RIVALS, rivals

Values = NDArray[np.float64]
MOST = 4
"""The most phrases of one tune that are tried, so that a long tune does not outweigh the others."""


@dataclass(frozen=True)
class Trial:
    """A phrase against its rivals: its own terms, and for each rival that there is, those less the rival's.

    The terms are those of `MELODY_TERMS`, in that order.
    """

    tune: str
    own: Values
    ahead: dict[str, Values]

    @property
    def collection(self) -> str:
        return self.tune.split("/")[0]


def trial(tune: Tune, number: int, wanted: Sequence[str] = RIVALS) -> Trial:
    """The phrase of that number (from 0) of a tune, against its rivals. The same names give the same rivals."""
    phrase = tune.phrases[number]
    made = rivals(tune, phrase, Dice(crc32(f"{tune.name} {number}".encode())), wanted)
    scores = melody_score([phrase, *made.values()], tune.metre, key_of(tune))
    own, *others = (np.array([each.terms[term] for term in MELODY_TERMS]) for each in scores)
    ahead = {name: own - other for name, other in zip(made, others, strict=True)}
    return Trial(tune.name, own, ahead)


def home_of_tune(tune: Tune) -> Home:
    """The home of a tune as `melody_score` hears it."""
    key = key_of(tune)
    return home_of(key) if isinstance(key, Key) else home_in(tune.scale)


def key_of(tune: Tune) -> Key | list[int]:
    """The key of a tune as `melody_score` takes it: a church mode is its scale."""
    if tune.mode in ("maj", "min"):
        return Key(tune.tonic, "major" if tune.mode == "maj" else "minor")
    return [pitch_class for pitch_class in range(12) if tune.scale >> pitch_class & 1]


def trials_of(name_and_text: tuple[str, str], wanted: Sequence[str] = RIVALS) -> list[Trial]:
    """All trials of a tune given as text: up to four of its phrases; none where we cannot use it."""
    tune = tune_of(*name_and_text)
    if tune is None:
        return []
    return [trial(tune, number, wanted) for number in range(len(tune.phrases[:MOST]))]


# Shares of pairs won


def against(tried: Sequence[Trial], rival: str) -> tuple[Values, list[str]]:
    """By how much each phrase is ahead of one rival, a column a term, and the tunes the phrases are of."""
    met = [each for each in tried if rival in each.ahead]
    return np.stack([each.ahead[rival] for each in met]), [each.tune for each in met]


def whole(ahead: Values, without: Sequence[str] = ()) -> Values:
    """By how much each phrase is ahead in the whole score without its chord terms, some more left out if wanted."""
    kept = {term: ahead[:, column] for column, term in enumerate(MELODY_TERMS) if term not in without}
    return total(kept, RulePack().weights)


def share_won(ahead: Values) -> float:
    """The share of pairs that are won, ties counting half: the area under the curve of a paired comparison."""
    return float(np.mean((ahead > 0) + 0.5 * (ahead == 0)))


def bounds(ahead: Values, tunes: Sequence[str], times: int = 1000, seed: int = 0) -> tuple[float, float]:
    """The middle 95 % of the shares won in samples of the tunes, drawn with replacement (Efron 1979).

    Whole tunes are drawn, since the phrases of one tune are alike.
    """
    won = (ahead > 0) + 0.5 * (ahead == 0)
    owners = np.unique(np.asarray(tunes), return_inverse=True)[1]
    wins, sizes = np.bincount(owners, won), np.bincount(owners)
    drawn_ = (Dice(seed).doubles(times * len(sizes)) * len(sizes)).astype(np.intp).reshape(times, -1)
    shares = wins[drawn_].sum(axis=1) / sizes[drawn_].sum(axis=1)
    low, high = np.quantile(shares, [0.025, 0.975])
    return float(low), float(high)
