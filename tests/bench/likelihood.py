"""Are the best ideas as predictable as tunes? `python -m tests.bench.likelihood` prints bits a note under a learned model.

The model is an n-gram of intervals in semitones, each after up to three intervals and the degree of the scale it leaves,
orders mixed as Witten and Bell (1991) have it. It is learned from the tuning half of the folk songs and airs and knows
nothing of rhythm, chords or the score. It then reads phrases of the other half, ranked ideas of 24 charts, fair draws
from the same charts, and walks. Inside each fifty it says as well whether the ideas it finds likelier rank higher.
It takes about three minutes on two cores.
"""

from __future__ import annotations

import itertools
import os
from collections import Counter
from collections.abc import Iterable, Sequence
from multiprocessing import get_context

import numpy as np
from scipy.stats import spearmanr

from fillgen.dice import Dice
from fillgen.engine.generate import Engine, generate
from fillgen.engine.habits import Home
from fillgen.engine.request import settle
from tests.bench.learned_habits import tunes
from tests.bench.likeness_to_music import asked
from tests.bench.surroundings import figure, told
from tests.outside.melodies import Tune, pitches_of, texts, tune_of
from tests.outside.rivals import walk
from tests.outside.trials import home_of_tune

CHARTS = 24
ONE_IN = 8
"""One tune of the unseen half in so many is read."""
ORDER = 3
"""Up to so many intervals before count."""
_ALPHABET = 49
"""Intervals that there can be: from two octaves down to two up."""
LEAST = 0.4
"""What rank and likelihood are to correlate at the least."""


class Ngrams:
    """The model: counts of intervals after the degree they leave and the intervals before, of each order."""

    def __init__(self) -> None:
        self.after: dict[tuple[int, ...], Counter[int]] = {}

    def learn(self, pitches: Sequence[int], homes: Sequence[Home]) -> None:
        """Add a line, given as MIDI numbers, with the home of each note."""
        for history, move in _events(pitches, homes):
            for size in range(len(history) + 1):
                self.after.setdefault(history[:size], Counter())[move] += 1

    def likely(self, history: tuple[int, ...], move: int) -> float:
        """The probability of an interval after a history: the degree first, then the intervals before, the last one first."""
        found = 1 / _ALPHABET
        for size in range(len(history) + 1):
            counts = self.after.get(history[:size])
            if counts is None:
                break
            whole, kinds = counts.total(), len(counts)
            found = (counts[move] + kinds * found) / (whole + kinds)
        return found

    def bits(self, pitches: Sequence[int], homes: Sequence[Home]) -> float:
        """Bits a note of a line: the mean of the negative binary logarithms."""
        return float(np.mean([-np.log2(self.likely(*event)) for event in _events(pitches, homes)]))


def _events(pitches: Sequence[int], homes: Sequence[Home]) -> Iterable[tuple[tuple[int, ...], int]]:
    moves = [max(-24, min(24, two - one)) for one, two in itertools.pairwise(pitches)]
    for index, move in enumerate(moves):
        before = moves[max(0, index - ORDER) : index][::-1]
        tonic, minor = homes[index]
        yield ((pitches[index] - tonic) % 12 + 12 * minor, *before), move


def model(read: Iterable[Tune]) -> Ngrams:
    """The model learned from tunes."""
    found = Ngrams()
    for tune in read:
        for phrase in tune.phrases:
            found.learn(pitches_of(phrase).tolist(), [home_of_tune(tune)] * len(phrase))
    return found


Line = tuple[list[int], list[Home]]


def lines(number: int) -> tuple[list[Line], list[Line]]:
    """Fifty ideas over a chart, best first, and fifty fair draws over the same plans; each note in the home over its chord."""
    request = asked(number)
    engine, dice = Engine(settle(request)), Dice(number)
    ideas = []
    for idea in generate(request):
        rhythm = [(note.onset, note.length) for note in idea.phrase]
        ideas.append((pitches_of(idea.phrase).tolist(), engine.homes(rhythm)))
    spaces = engine.spaces(dice)
    fair = []
    for turn in range(50):
        space = spaces[turn % len(spaces)]
        even = [table.astype(float) for table in space.lattice.allowed]
        row = space.lattice.draw(even, dice.doubles(space.lattice.columns)[None, :])[0]
        domains = [engine.windows.domain(place) for place in space.places]
        pitches = [int(domain[i]) for domain, i in zip(domains, row, strict=True)]
        fair.append((pitches, engine.homes(space.plan.rhythm)))
    return ideas, fair


def report(learned: Ngrams, real: Sequence[Tune], charts: Sequence[tuple[list[Line], list[Line]]]) -> None:
    """Print the bits a note of each kind of line, and how rank and likelihood correlate."""
    tens, fifties, fair, ties = [], [], [], []
    for ideas, draws in charts:
        bits = [learned.bits(*line) for line in ideas]
        tens += bits[:10]
        fifties += bits
        fair += [learned.bits(*line) for line in draws]
        ties.append(float(spearmanr(np.arange(len(bits)), bits).statistic))
    dice = Dice(0)
    phrases = [(phrase, [home_of_tune(tune)] * len(phrase)) for tune in real for phrase in tune.phrases]
    sung = [learned.bits(pitches_of(phrase).tolist(), homes) for phrase, homes in phrases]
    walked = [learned.bits(walk(phrase, dice).tolist(), homes) for phrase, homes in phrases]
    for what, found in (
        ("real phrases", sung),
        ("the ten best ideas", tens),
        ("all fifty ideas", fifties),
        ("fair draws", fair),
        ("walks", walked),
    ):
        low, high = np.quantile(found, [0.1, 0.9])
        figure(f"bits a note, {what}: mean (middle 80 %)", f"{np.mean(found):.2f} ({low:.2f}-{high:.2f})")
    mean = float(np.mean(ties))
    figure(
        f"rank and likelihood inside a fifty, correlation by rank: mean of {len(ties)} (least)",
        f"{mean:.3f} ({min(ties):.2f})",
        f"at least {LEAST}",
        mean >= LEAST,
    )


def main() -> None:
    print(told(["music21"]))
    learned = model(tunes())
    with get_context("spawn").Pool(os.cpu_count()) as pool:
        found = pool.map(lines, range(CHARTS), chunksize=1)
        read = pool.starmap(tune_of, texts(held_out=True, one_in=ONE_IN), chunksize=50)
    report(learned, [tune for tune in read if tune is not None], found)


if __name__ == "__main__":
    main()
