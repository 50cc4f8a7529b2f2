"""What real melodies teach the score: `python -m tests.bench.learned_habits` writes `rules/habits.toml` and `rules/order.toml`.

It reads the tuning half of the folk songs and airs (see `tests/outside/melodies.py`), nothing else. The habits are a
log-linear model of the next interval in semitones (Berger, Della Pietra and Della Pietra 1996): four small tables add
up, so that they say much with few numbers. The order of bars is counted in real phrases, and in the same phrases with
their bars permuted or one of them exchanged; the tables hold the logarithms of the odds. What is kept are figures over all
tunes, to a tenth; no tune can be read from them. It takes about three minutes on two cores.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from itertools import pairwise, product
from multiprocessing import get_context
from pathlib import Path
from zlib import crc32

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from fillgen.dice import Dice
from fillgen.engine.habits import (
    ACCENTS,
    BARS,
    ENDS,
    INTERVALS,
    MOST_NOTES,
    NO_MOVE,
    PAIRS,
    Order,
    accent,
    interval,
    letters,
)
from fillgen.phrase.note import Note, Phrase
from fillgen.tables import folder
from fillgen.theory.metre import METRES
from tests.outside.melodies import Tune, pitches_of, texts, tune_of
from tests.outside.rivals import rivals
from tests.outside.trials import home_of_tune

Values = NDArray[np.float64]
Codes = NDArray[np.intp]
_SHRINK = 4.0
"""How strongly the numbers of the model are drawn to 0: a prior that counts as a few notes."""
_ROUNDS = 150
_UNSURE = 20
"""So many phrases of either kind are added to each count, so that what is rare says little."""
_SOURCE = "The tuning half of the Essen folk songs and Aird's Airs in music21's corpus, every second tune by its name."


def tunes() -> list[Tune]:
    """The tunes of the tuning half, in order."""
    with get_context("spawn").Pool(os.cpu_count()) as pool:
        found = pool.starmap(tune_of, texts(held_out=False), chunksize=100)
    return [tune for tune in found if tune is not None]


# Intervals


def moves(tune: Tune, phrase: Phrase) -> Codes:
    """A row for each interval of a phrase: its number, that of the one before, degree and mode, accents here and there."""
    metre, home = METRES[tune.metre], home_of_tune(tune)
    pitches = pitches_of(phrase).astype(np.intp)
    steps = interval(np.diff(pitches))
    before = np.concatenate([[NO_MOVE], steps[:-1]])
    degrees = (pitches[:-1] - home.tonic) % 12
    accents = np.array([accent(metre, note.onset) for note in phrase])
    mode = np.full(len(steps), int(home.minor))
    return np.column_stack([steps, before, degrees, mode, accents[:-1], accents[1:]])


def contexts(found: Codes) -> Codes:
    """The rows of the four tables that tell of each interval: tonal, landing, onward and joint."""
    _, before, degree, minor, here, there = found.T
    return np.column_stack(
        [
            degree * 2 + minor,
            degree * ACCENTS + there,
            before * ACCENTS + here,
            degree * (INTERVALS + 1) + before,
        ]
    )


SIZES = (12 * 2, 12 * ACCENTS, (INTERVALS + 1) * ACCENTS, 12 * (INTERVALS + 1))


def fitted(found: Codes) -> list[Values]:
    """The four tables under which the intervals are likeliest, their numbers kept small (a normal prior)."""
    seen, owner = np.unique(contexts(found), axis=0, return_inverse=True)
    counts = np.zeros((len(seen), INTERVALS))
    np.add.at(counts, (owner.ravel(), found[:, 0]), 1)
    totals = counts.sum(axis=1, keepdims=True)
    edges = np.cumsum((0, *SIZES))

    def loss(flat: Values) -> tuple[float, Values]:
        numbers = flat.reshape(-1, INTERVALS)
        value = sum((numbers[edges[k] + seen[:, k]] for k in range(len(SIZES))), np.zeros(counts.shape))
        value -= value.max(axis=1, keepdims=True)
        grown = np.exp(value)
        whole = grown.sum(axis=1, keepdims=True)
        slope = totals * grown / whole - counts
        slopes = np.zeros_like(numbers)
        for k, size in enumerate(SIZES):
            for column in range(INTERVALS):
                slopes[edges[k] : edges[k + 1], column] = np.bincount(seen[:, k], slope[:, column], size)
        lost = -(counts * (value - np.log(whole))).sum() + _SHRINK * float(flat @ flat) / 2
        return lost, (slopes + _SHRINK * numbers).ravel()

    start = np.zeros(edges[-1] * INTERVALS)
    best = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": _ROUNDS})
    numbers = best.x.reshape(-1, INTERVALS)
    return [numbers[one:two] for one, two in pairwise(edges)]


# The order of bars


class Counted:
    """How often each likeness, ending and thickening was met in some phrases."""

    def __init__(self) -> None:
        self.alike = np.zeros((3, 1 << len(PAIRS)))
        self.ends = np.zeros((BARS, ENDS))
        self.thicker = np.zeros((BARS - 1, 2 * MOST_NOTES + 1))

    def add(self, tune: Tune, phrase: Phrase, *, rhythm: bool = True) -> None:
        """Count a phrase; its `rhythm` only where that may differ from a real one."""
        order, pitches = ordered(tune, phrase)
        if not order.groups:
            return
        codes = order.codes(pitches, 0)
        for row, code in list(zip(self.alike, codes, strict=True))[not rhythm :]:
            row[code[0]] += 1
        for bar in range(BARS):
            self.ends[bar, order.ends(pitches, bar)[0]] += 1
            if bar and rhythm:
                self.thicker[bar - 1, order.thicker(bar)] += 1


def ordered(tune: Tune, phrase: Phrase) -> tuple[Order, NDArray[np.int16]]:
    """A phrase as the score looks at the order of its bars."""
    home, rhythm = home_of_tune(tune), [(note.onset, note.length) for note in phrase]
    return Order(rhythm, METRES[tune.metre], [home] * len(rhythm)), pitches_of(phrase)[None, :]


def log_odds(real: Values, other: Values) -> Values:
    """Logarithms of the odds of each count, rows by themselves."""
    shares = [(each + _UNSURE) / (each.sum(axis=-1, keepdims=True) + _UNSURE) for each in (real, other)]
    return np.asarray(np.log(shares[0] / shares[1]))


def bars_in_order(read: Iterable[Tune]) -> tuple[Counted, Counted, Values, Values]:
    """What is counted in phrases, and in those whose bars are permuted or one exchanged; how bars return, and others."""
    real, other = Counted(), Counted()
    returns, anywhere = np.zeros((2, 4))
    for tune in read:
        for number, phrase in enumerate(tune.phrases):
            dice = Dice(crc32(f"{tune.name} {number} order".encode()))
            for name, each in rivals(
                tune, phrase, dice, ("bars permuted", "bar exchanged", "markov")
            ).items():
                other.add(tune, each, rhythm=name != "markov")
                real.add(tune, phrase, rhythm=name != "markov")
        for one, two in pairwise(tune.phrases):
            order, pitches = ordered(tune, _joined(tune, one, two))
            if order.bars == 2 * BARS:
                pairs = list(product(range(BARS), range(BARS, 2 * BARS)))
                for (bar, later), how in zip(pairs, order.returns(pitches, pairs)[0], strict=True):
                    (returns if later == bar + BARS else anywhere)[how] += 1
    return real, other, returns, anywhere


def _joined(tune: Tune, one: Phrase, two: Phrase) -> Phrase:
    later = BARS * METRES[tune.metre].bar
    return (*one, *(Note(note.onset + later, note.length, note.midi) for note in two))


# The files


def text_of(says: str, given: dict[str, tuple[str, Values]]) -> str:
    """A file of tables: each a text, a line a row, a letter a value."""
    head = f'{says}\nsource = "{_SOURCE}"\nmade-by = "python -m tests.bench.learned_habits"\n'
    parts = [
        f"\n# {about}\n{name} = '''\n" + "".join(f"{letters(row)}\n" for row in values) + "'''\n"
        for name, (about, values) in given.items()
    ]
    return head + "".join(parts)


_LETTERS = "# A line is a row, a letter a value: P is 0, each letter after it (ASCII) a tenth more, each before it a tenth less."


def written(read: Sequence[Tune]) -> dict[str, str]:
    """The two files by name."""
    intervals = np.concatenate([moves(tune, phrase) for tune in read for phrase in tune.phrases])
    tonal, landing, onward, joint = fitted(intervals)
    real, other, returns, anywhere = bars_in_order(read)
    habits = text_of(
        f"# Which interval follows in real melodies: a log-linear model of {len(intervals):,} intervals of {len(read):,} tunes.\n"
        "# The tables add up to the logarithm of how likely each interval is, from an octave down to an octave up.\n"
        + _LETTERS,
        {
            "tonal": ("By degree in semitones above the tonic, in major and minor.", tonal),
            "landing": ("By degree and the place in the bar that the interval leads to.", landing),
            "onward": ("By the interval before (last: none) and the place that the interval leaves.", onward),
            "joint": ("By degree and the interval before.", joint),
        },
    )
    order = text_of(
        "# How bars are ordered in real melodies: logarithms of the odds of a real phrase of four bars against the same\n"
        f"# phrase with its bars permuted or one exchanged with another tune's; {len(read):,} tunes.\n"
        + _LETTERS,
        {
            "alike": (
                "Which of the six pairs of bars are alike, by a code of six bits: in rhythm, in their line, in notes.",
                log_odds(real.alike, other.alike),
            ),
            "ends": (
                "How each of the four bars ends: without a note; on a degree, shorter than a beat, as long, longer.",
                log_odds(real.ends, other.ends),
            ),
            "thicker": (
                "How many notes more each bar has than the one before, from -4 to 4.",
                log_odds(real.thicker, other.thicker),
            ),
            "returns": (
                "How a bar comes back four bars later, against another bar: not, in rhythm, in its line, in its notes.",
                log_odds(returns, anywhere)[None, :],
            ),
        },
    )
    return {"habits": habits, "order": order}


def write(read: Sequence[Tune], into: Path) -> None:
    """Write both files."""
    for name, text in written(read).items():
        (into / f"{name}.toml").write_text(text, encoding="utf-8")


def main() -> None:
    write(tunes(), folder())


if __name__ == "__main__":
    main()
