"""A phrase to be varied with everything settled: its level, its range, its own rhythm and shape."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fillgen.chart.progression import Progression
from fillgen.dice import Dice
from fillgen.engine import score
from fillgen.engine.checked import CheckSettings, lowest_level
from fillgen.engine.generate import Engine
from fillgen.engine.plans import Plan, Rhythm_
from fillgen.engine.request import Choices, Request, settle
from fillgen.errors import OptionError
from fillgen.phrase.note import Phrase
from fillgen.phrase.spelling import spell
from fillgen.rules.judge import rhythm_beyond
from fillgen.rules.pack import BUSY, Level, Shape
from fillgen.theory.metre import Metre
from fillgen.vary.faults import broken, faults_in
from fillgen.vary.likeness import Ranges, rhythm_of
from fillgen.vary.variation import Bars, Variation, kept_bars

_LOWEST = 3
"""The lowest default level."""


@dataclass(frozen=True)
class Task:
    """A phrase to be varied, with everything settled."""

    engine: Engine
    phrase: Phrase
    variation: Variation
    dice: Dice

    @property
    def choices(self) -> Choices:
        return self.engine.choices

    @property
    def progression(self) -> Progression:
        return self.engine.progression

    @property
    def metre(self) -> Metre:
        return self.engine.progression.metre

    @property
    def level(self) -> Level:
        return self.engine.choices.level

    @cached_property
    def rhythm(self) -> Rhythm_:
        return rhythm_of(self.phrase)

    @cached_property
    def pitches(self) -> NDArray[np.int16]:
        """The phrase's pitches as one row."""
        return np.array([[note.midi for note in self.phrase]], dtype=np.int16)

    @cached_property
    def bars(self) -> Bars:
        """The bars that are kept."""
        return kept_bars(self.variation, self.progression)

    @property
    def timed(self) -> Bars:
        """The bars whose rhythm always stays: those that are kept, and one that holds the pick-up."""
        return self.bars | ({0} if self.progression.first == 0 else set())

    @cached_property
    def ranges(self) -> Ranges:
        """The ticks of the kept bars."""
        line = self.progression.timeline
        return [(line.start(bar), line.end(bar)) for bar in sorted(self.bars)]

    def bar(self, onset: int) -> int:
        """The bar that holds a tick, counted from 0."""
        return self.progression.bar_index(onset)

    def inside(self, bar: int) -> Phrase:
        """The notes of the phrase that begin in a bar."""
        return tuple(note for note in self.phrase if self.bar(note.onset) == bar)

    @cached_property
    def shape(self) -> Shape:
        """The shape that the phrase follows best."""
        return max(self.engine.choices.shapes, key=lambda shape: follows(self, shape))

    @cached_property
    def names(self) -> tuple[str, ...]:
        return spell(self.progression, self.phrase)


def follows(task: Task, shape: Shape, pitches: Sequence[int] = ()) -> float:
    """How well the phrase, or other pitches in its rhythm, follow a shape, from 0 to 1."""
    if len(task.phrase) < 2:
        return 0.0
    onsets = np.array([note.onset for note in task.phrase], dtype=float)
    times = (onsets - onsets[0]) / (onsets[-1] - onsets[0])
    row = np.array([pitches], dtype=np.int16) if pitches else task.pitches
    return round(float(score.follows(row, [shape], times)[0, 0]), 6)


def task_for(request: Request, phrase: Phrase, variation: Variation) -> Task:
    """A phrase with the request and all settings: the level, and the range that holds what is kept."""
    level = variation.level_as if variation.level_as is not None else request.level
    if level is None:
        level = _lowest_level(request, phrase, variation)
    if variation.level_as is not None:
        _check_level(request, phrase, level)
    settled = replace(request, level=level)
    if settled.busy is None:
        settled = replace(settled, busy=_busy(settled, phrase))
    held = _held(request.progression, phrase, variation)
    return Task(Engine(settle(_widened(settled, held)), phrase), phrase, variation, Dice(request.seed))


def _widened(request: Request, held: Phrase) -> Request:
    """A request whose default range holds some notes; a given range stays."""
    usual = settle(request)
    pitches = [note.midi for note in held]
    low = min([usual.low, *pitches]) if request.low is None else request.low
    high = max([usual.high, *pitches]) if request.high is None else request.high
    return replace(request, low=low, high=high)


def _held(progression: Progression, phrase: Phrase, variation: Variation) -> Phrase:
    """The notes that the range has to hold: those of kept bars, otherwise all, but none if all are to be new."""
    if (
        variation.bars
        and variation.near != "like"
        and not (variation.mirror or variation.pitches or variation.contour)
    ):
        bars = kept_bars(variation, progression)
        return tuple(note for note in phrase if progression.bar_index(note.onset) in bars)
    return () if variation.near == "unlike" else phrase


def _busy(request: Request, phrase: Phrase) -> str:
    """How busy a phrase is: whose cells have nearly as many notes a bar."""
    choices = settle(request)
    metre = request.progression.metre
    bars = len({request.progression.bar_index(note.onset) for note in phrase})
    known = [busy for busy in BUSY if (metre.name, busy) in choices.rhythm.cells]

    def away(busy: str) -> float:
        cells = choices.rhythm.cells[metre.name, busy]
        mean = sum(len(cell.notes) for cell in cells) / len(cells)
        return abs(len(phrase) / bars - mean)

    return min(known, key=away, default=choices.busy)


def levels(request: Request) -> Iterator[tuple[int, Engine]]:
    """Every level with an engine for its rules; the range doesn't matter."""
    for number in request.pack.level_numbers:
        yield number, Engine(settle(replace(request, level=number, low=60, high=84)))


def _lowest_level(request: Request, phrase: Phrase, variation: Variation) -> int:
    """The lowest level from 3 up whose rules the kept notes keep, and rather one whose rhythms are like theirs.

    Where no note is kept for certain it is the level whose rules the phrase breaks least.
    """
    strict = variation.kept and not variation.aims and not variation.pitches
    bars = (
        kept_bars(variation, request.progression)
        if strict
        else frozenset(range(len(request.progression.bars)))
    )
    same_time = variation.rhythm or variation.contour or not variation.bars
    looked = [(n, engine) for n, engine in levels(request) if n >= _LOWEST]
    faults = {number: faults_in(engine, phrase, bars) for number, engine in looked}
    timed = (
        phrase if same_time else tuple(n for n in phrase if request.progression.bar_index(n.onset) in bars)
    )
    styled = {n: _styled(request.progression, timed, engine.choices.level) for n, engine in looked}
    fewest = min((len(each) for each in faults.values()), default=0)
    fitting = [number for number, each in faults.items() if len(each) == fewest]
    if not fitting:
        return int(request.pack.default("level"))
    if fewest and strict:
        number, engine = looked[0]
        raise broken(engine, phrase, faults[number][0], hint="No level allows what you keep. Keep less.")
    return next((number for number in fitting if styled[number]), fitting[0])


def _styled(progression: Progression, phrase: Phrase, level: Level) -> bool:
    return not any(rhythm_beyond(progression, phrase, level))


def own_level(request: Request, phrase: Phrase) -> int | None:
    """The lowest level that a phrase fits as it is, in the range of the request or else in that of the level."""
    choices = settle(request)
    settings = CheckSettings(
        tempo=choices.tempo,
        hand=choices.hand,
        ends_on=request.ends_on,
        whole=request.closes,
        lead_to=choices.lead_to,
        low=None if request.low is None else choices.low,
        high=None if request.high is None else choices.high,
        swings=choices.rhythm.swing,
    )
    return lowest_level(request.progression, phrase, request.pack, settings)


def _check_level(request: Request, phrase: Phrase, level: int) -> None:
    request.pack.level(level)
    if own_level(replace(request, level=level), phrase) == level:
        raise OptionError(
            f"the phrase is already at level {level}", hint="Name another level, or use --like."
        )


def rises_of(task: Task, sign: int = 1) -> dict[int, int]:
    """Whether the phrase goes up or down to each note, turned round with a sign of -1; not inside kept bars."""
    bars = [task.bar(note.onset) for note in task.phrase]
    return {
        index: sign * int(np.sign(note.midi - before.midi))
        for index, (before, note) in enumerate(pairwise(task.phrase), 1)
        if not (bars[index] in task.bars and bars[index - 1] in task.bars)
    }


def own_plan(task: Task, rhythm: Rhythm_ | None = None, shape: Shape | None = None) -> Plan:
    """A plan with the phrase's own rhythm, or another, without preferred intervals."""
    rhythm = task.rhythm if rhythm is None else rhythm
    return Plan(rhythm, _letters(task, rhythm), (0,) * len(rhythm), shape or task.shape)


def _letters(task: Task, rhythm: Rhythm_) -> tuple[str, ...]:
    """A letter for each bar: bars of the same rhythm share one, the last is a close."""
    line, bars = task.progression.timeline, len(task.progression.bars)
    figures = [
        tuple((o - line.start(bar), n) for o, n in rhythm if line.index(o) == bar) for bar in range(bars)
    ]
    known = list(dict.fromkeys(figures[:-1]))
    return (*(f"l{known.index(figure)}" for figure in figures[:-1]), "z")


def leaning(pitches: Sequence[int], strength: float) -> dict[int, tuple[int, float]]:
    """Pitches that draws lean to with a strength, by the numbers of their notes."""
    return {index: (midi, strength) for index, midi in enumerate(pitches)}
