"""Has a rhythm an idiom? `python -m tests.bench.idiom` prints how syncopated each rhythm is, and how far pitch tells it.

The shares count notes of ranked ideas over the charts below. The classifier sees no rhythm at all: intervals and
degrees of each idea, as shares of its notes; it learns on some charts and is asked about the others. It takes about
two minutes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray

from fillgen.chart.text import parse_chart
from fillgen.engine.generate import generate
from fillgen.engine.request import Request
from fillgen.phrase.idea import Idea, Ideas
from fillgen.theory.metre import METRES, Metre
from tests.bench.surroundings import figure, told

CHARTS = (
    "| Ebmaj7 | C7 | Fm7 | Bb7 |",
    "| F | Gm7 | Bb6 | C7 |",
    "| Bm | Em7 | C#m7b5 | F#7 |",
    "| A | F#m7 | Bm7 | E7 |",
    "| Gm | Cm6 | D7 | Gm |",
    "| Db | Bbm7 | Gb | Ab7 |",
    "| Bb6 | Ebmaj7 | F7 | Bb6 |",
    "| D6 | B7 | Em7 | A7 |",
    "| Fm7 | Bb7 | Ebmaj7 | Abmaj7 | Dm7b5 | G7 | Cm | Cm |",
    "| E | A | F#m7 | B7 |",
)
EIGHT = ("ballad", "beguine", "bossa nova", "cha-cha", "march", "swing", "tango", "waltz")
"""The rhythms that the classifier is to tell apart, each in its own metre."""
FOUR_FOUR = ("ballad", "beguine", "bossa nova", "cha-cha", "foxtrot", "rumba", "swing", "tango")
LATIN = ("bossa nova", "rumba", "cha-cha", "samba")
MOST = {"march": 0.05}
"""The largest share of syncopated notes at level 4."""
LEAST = {
    ("bossa nova", 4): 0.25,
    ("swing", 4): 0.15,
    ("rumba", 4): 0.15,
    ("swing", 3): 0.08,
    ("bossa nova", 3): 0.08,
    ("rumba", 3): 0.08,
}
COUNT = 24


def metre_of(rhythm: str) -> Metre:
    return METRES["3/4" if rhythm.endswith("waltz") else "2/4" if rhythm == "paso doble" else "4/4"]


@cache
def made(chart: str, rhythm: str, level: int) -> Ideas:
    """Ideas of a rhythm over a chart."""
    progression = parse_chart(chart, metre=metre_of(rhythm))
    return generate(Request(progression, rhythm=rhythm, level=level, count=COUNT))


def every(rhythm: str, level: int) -> list[tuple[Ideas, Idea]]:
    return [(found, idea) for chart in CHARTS for found in (made(chart, rhythm, level),) for idea in found]


# Rhythm


def syncopated(rhythm: str, level: int) -> float:
    """The share of notes that are held across a heavier place of the bar than their own."""
    metre = metre_of(rhythm)
    notes = [note for _, idea in every(rhythm, level) for note in idea.phrase]
    return sum(metre.crosses(note.onset, note.length) for note in notes) / len(notes)


def off_beat_closes(rhythm: str, level: int) -> float:
    """The share of ideas whose last note begins off the beat."""
    last = [metre_of(rhythm).off_beat(idea.phrase[-1].onset) for _, idea in every(rhythm, level)]
    return sum(last) / len(last)


def odd_against_even(rhythm: str, level: int) -> float:
    """How far odd and even bars lie apart: the mean difference, over eighths, of how often a note begins there.

    The last bar of an idea, in which it comes to rest, isn't counted.
    """
    metre = metre_of(rhythm)
    eighths = metre.bar // 240
    begins, bars = np.zeros((2, eighths)), np.zeros(2)
    for found, idea in every(rhythm, level):
        count = len(found.progression.bars) - 1
        for bar in range(count):
            bars[bar % 2] += 1
        for note in idea.phrase:
            bar, inside = divmod(note.onset, metre.bar)
            if bar < count and inside % 240 == 0:
                begins[bar % 2, inside // 240] += 1
    shares = begins / bars[:, None]
    return float(np.abs(shares[0] - shares[1]).mean())


# Pitch


def features(found: Ideas, idea: Idea) -> NDArray[np.float64]:
    """Intervals up to an octave, each way, and degrees above the chord's root, as shares of an idea's notes."""
    pitches = np.array([note.midi for note in idea.phrase])
    moves = np.clip(np.diff(pitches), -12, 12) + 12
    degrees = []
    for note in idea.phrase:
        root = found.progression.span_at(note.onset).heard.root
        degrees.append((note.midi - (root.pitch_class if root else 0)) % 12)
    intervals = np.bincount(moves, minlength=25) / max(1, len(moves))
    return np.concatenate([intervals, np.bincount(degrees, minlength=12) / len(degrees)])


def told_apart(rhythms: Sequence[str], level: int, folds: int = 5) -> tuple[float, Counter[tuple[str, str]]]:
    """The share of ideas whose rhythm a logistic regression names on charts it hasn't learned on, and what it mixes up."""
    rows, names, chart_of = [], [], []
    for kind, rhythm in enumerate(rhythms):
        for number, chart in enumerate(CHARTS):
            found = made(chart, rhythm, level)
            for idea in found:
                rows.append(features(found, idea))
                names.append(kind)
                chart_of.append(number)
    table, kinds, charts = np.array(rows), np.array(names), np.array(chart_of)
    named = np.zeros(len(kinds), dtype=int)
    for fold in range(folds):
        asked = charts % folds == fold
        centre, spread = table[~asked].mean(axis=0), table[~asked].std(axis=0) + 1e-3
        scaled = np.hstack([(table - centre) / spread, np.ones((len(table), 1))])
        weights = fitted(scaled[~asked], kinds[~asked], len(rhythms))
        named[asked] = (scaled[asked] @ weights).argmax(axis=1)
    mixed = Counter(
        (rhythms[one], rhythms[other]) for one, other in zip(kinds, named, strict=True) if one != other
    )
    return float((named == kinds).mean()), mixed


def fitted(
    table: NDArray[np.float64], kinds: NDArray[np.int64], count: int, ridge: float = 0.01
) -> NDArray[np.float64]:
    """The weights of a multinomial logistic regression, by plain gradient descent."""
    wanted = np.eye(count)[kinds]
    weights = np.zeros((table.shape[1], count))
    for _ in range(400):
        reckoned = table @ weights
        chances = np.exp(reckoned - reckoned.max(axis=1, keepdims=True))
        chances /= chances.sum(axis=1, keepdims=True)
        weights -= 0.3 * (table.T @ (chances - wanted) / len(table) + ridge * weights)
    return weights


def shares(figures_of: Sequence[str], level: int) -> None:
    """Print how syncopated some rhythms are at a level, and where that is promised, whether it is kept."""
    for rhythm in figures_of:
        share = syncopated(rhythm, level)
        least, most = LEAST.get((rhythm, level)), MOST.get(rhythm)
        wanted = f"at least {least:.0%}" if least is not None else f"at most {most:.0%}" if most else ""
        kept = share >= least if least is not None else share <= most if most is not None else None
        figure(f"syncopated notes of {rhythm}, level {level}", f"{share:.1%}", wanted, kept)


def main() -> None:
    """Print the figures."""
    print(told())
    for level in (3, 4):
        shares(
            ("march", "waltz", "foxtrot", "ballad", "beguine", "tango", "swing", "rumba", "bossa nova"), level
        )
    for rhythm in ("swing", "bossa nova"):
        for level in (3, 4, 5):
            share = off_beat_closes(rhythm, level)
            figure(
                f"closes of {rhythm} off the beat, level {level}",
                f"{share:.0%}",
                "at least 30 %",
                share >= 0.3,
            )
    for rhythm in LATIN:
        apart = odd_against_even(rhythm, 4)
        figure(f"odd against even bars of {rhythm}", f"{apart:.2f}", "at least .15", apart >= 0.15)
    for names, rhythms in (("eight", EIGHT), ("eight in 4/4", FOUR_FOUR)):
        for level in (3, 4):
            share, mixed = told_apart(rhythms, level)
            figure(
                f"{names} rhythms told apart by pitch, level {level}",
                f"{share:.0%}",
                "at least 35 %",
                share >= 0.35,
            )
            print(
                "most often mixed up:",
                ", ".join(f"{one} as {other}" for (one, other), _ in mixed.most_common(3)),
            )


if __name__ == "__main__":
    main()
