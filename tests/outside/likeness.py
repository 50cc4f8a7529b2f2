"""What phrases are like in figures that can be counted: intervals and what follows them, range, shape, rhythm, chord notes.

A phrase gives counts, counts add up, and a figure is the quotient of two of them: so the figure of one tune, of fifty
ideas or of a whole collection is worked out alike. Definitions and published values: `python -m
tests.bench.likeness_to_music` prints them side by side.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

from fillgen.chart.progression import Progression
from fillgen.phrase.note import Phrase

Counts = Counter[str]
STEP, LEAP = 2, 5
"""A step is so wide at most, a leap at least, in semitones; what lies between is a skip."""
SHAPES = (
    "convex",
    "descending",
    "ascending",
    "concave",
    "horizontal-descending",
    "ascending-horizontal",
    "horizontal",
    "horizontal-ascending",
    "descending-horizontal",
)
SIZES = (1, 2, 3, 4, 5, 7, 9, 12)


@dataclass(frozen=True)
class Figure:
    """A figure: its name, the counts that are divided, and its unit."""

    name: str
    over: str
    under: str
    unit: str = "%"

    def of(self, counts: Counts) -> float:
        """The quotient, in hundredths where the unit is %; not a number where nothing was counted."""
        if not counts[self.under]:
            return float("nan")
        return counts[self.over] / counts[self.under] * (100 if self.unit == "%" else 1)


FIGURES = (
    Figure("repeated notes", "repeat", "interval"),
    Figure("steps (1-2 semitones)", "step", "interval"),
    Figure("skips (3-4)", "skip", "interval"),
    Figure("leaps (5 and more)", "leap", "interval"),
    Figure("turns back after a leap, where it moves", "leap turns", "leap moves"),
    Figure("turns back after a skip, where it moves", "skip turns", "skip moves"),
    Figure("turns back after a step, where it moves", "step turns", "step moves"),
    Figure("a step up followed by a step: goes on up", "up goes on", "up then step"),
    Figure("a step down followed by a step: goes on down", "down goes on", "down then step"),
    Figure("steps that rise", "step up", "step"),
    Figure("skips that rise", "skip up", "skip"),
    Figure("leaps that rise", "leap up", "leap"),
    Figure("range of four bars", "range", "phrase", "semitones"),
    *(Figure(f"shape: {shape}", shape, "phrase") for shape in SHAPES[:4]),
    Figure("notes a bar", "note", "bar", "notes"),
    Figure("bars whose rhythm was heard before", "bar again", "bar"),
    Figure("phrases that rock (x y x y)", "rocking phrase", "phrase"),
    Figure("notes that rock (x y x y)", "rocking", "note"),
)
RISING = tuple(
    Figure(f"{size} semitone{'s' if size > 1 else ''}", f"up {size}", f"size {size}") for size in SIZES
)
"""Of each interval, how many rise."""
POSITIONS = ("downbeat", "other strong beat", "weak beat", "off-beat")
CHORD_TONES = tuple(Figure(f"chord notes, {where}", f"chord {where}", where) for where in POSITIONS)


def counts(phrases: Iterable[Phrase], bar: int) -> Counts:
    """What is counted in phrases whose bars have that many ticks; a phrase starts at tick 0."""
    found: Counts = Counter()
    for phrase in phrases:
        found.update(_counts(phrase, bar))
    return found


def _counts(phrase: Phrase, bar: int) -> Counts:
    pitches = [note.midi for note in phrase]
    moves = [two - one for one, two in pairwise(pitches)]
    found: Counts = Counter(phrase=1, note=len(phrase), range=max(pitches) - min(pitches))
    for move in moves:
        found.update(_interval(move))
    for one, two in pairwise(moves):
        found.update(_continued(one, two))
    found[shape_of(pitches)] += 1
    found.update(_rhythm(phrase, bar))
    rocking = sum(a == c != b == d for a, b, c, d in zip(*(pitches[n:] for n in range(4)), strict=False))
    found["rocking"] += rocking
    found["rocking phrase"] += rocking > 0
    return found


def kind_of(move: int) -> str:
    """Repeat, step, skip or leap."""
    size = abs(move)
    return "repeat" if not size else "step" if size <= STEP else "skip" if size < LEAP else "leap"


def _interval(move: int) -> list[str]:
    kind = kind_of(move)
    up = [f"{kind} up", f"up {move}"] if move > 0 else []
    return ["interval", kind, f"size {abs(move)}", *up]


def _continued(one: int, two: int) -> list[str]:
    """What a move is followed by; a repeated note after it is no continuation."""
    if not one or not two:
        return []
    kind, turns = kind_of(one), one * two < 0
    found = [f"{kind} moves"] + [f"{kind} turns"] * turns
    if kind == kind_of(two) == "step":
        way = "up" if one > 0 else "down"
        found += [f"{way} then step"] + [f"{way} goes on"] * (not turns)
    return found


def _rhythm(phrase: Phrase, bar: int) -> Counts:
    """Bars in which notes start, and those of them whose onsets and lengths an earlier bar had."""
    bars: dict[int, list[tuple[int, int]]] = {}
    for note in phrase:
        bars.setdefault(note.onset // bar, []).append((note.onset % bar, note.length))
    cells = [tuple(cell) for cell in bars.values()]
    return Counter({"bar": len(cells), "bar again": len(cells) - len(set(cells))})


def shape_of(pitches: Sequence[float]) -> str:
    """The shape by the three-point method: first note, mean of all between (not rounded), last note (Huron 1996).

    >>> [shape_of(p) for p in ((60, 64, 67, 64, 60), (67, 64, 60, 64, 67), (60, 62, 64), (64, 62, 60), (60, 64, 62))]
    ['convex', 'concave', 'ascending', 'descending', 'convex']
    """
    first, last = pitches[0], pitches[-1]
    middle = fmean(pitches[1:-1]) if len(pitches) > 2 else (first + last) / 2
    one, two = _sign(middle - first), _sign(last - middle)
    word = {1: "ascending", 0: "horizontal", -1: "descending"}
    if one == two:
        return word[one]
    return {(1, -1): "convex", (-1, 1): "concave"}.get((one, two), f"{word[one]}-{word[two]}")


def _sign(value: float) -> int:
    return (value > 0) - (value < 0)


def chord_counts(phrases: Iterable[Phrase], progression: Progression) -> Counts:
    """How many notes begin at each kind of place in the bar, and how many of them belong to their chord."""
    metre = progression.metre
    found: Counts = Counter()
    for note in (note for phrase in phrases for note in phrase):
        inside = note.onset % metre.bar
        where = POSITIONS[
            3 if inside % metre.beat else 2 if inside not in metre.strong else 1 if inside else 0
        ]
        found[where] += 1
        found[f"chord {where}"] += progression.span_at(note.onset).chord.mask >> note.midi % 12 & 1
    return found
