"""The score: named terms from 0 to 1, computed for all candidates of a plan at once.

Pitches come as an array of MIDI numbers, a row for each candidate and a column for each note.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fillgen.engine.habits import Home, Order, accent, likelihood, odds
from fillgen.engine.leanings import Leanings
from fillgen.engine.plans import Plan
from fillgen.hands.fingering import difficulties
from fillgen.hands.reach import Reach
from fillgen.phrase.place import Place
from fillgen.rules.pack import Shape
from fillgen.theory.metre import Metre, Timeline

Pitches = NDArray[np.int16]
Values = NDArray[np.float64]

INTERVAL_VALUE = np.array([0.8, 1, 1, 0.8, 0.75, 0.65, 0.1, 0.6, 0.35, 0.4, 0.05, 0.0, 0.45] + [0.0] * 115)
"""How well an interval sings, by its size in semitones. The order is that of interval counts in real melodies
(Vos and Troost 1989; Huron 2001): steps, then thirds, then fourths and fifths, the tritone and sevenths last. A
repeated note counts with the thirds: songs have more of them, but a fill should move."""
CLOSE_VALUE = np.array([0.6, 1, 1, 0.7, 0.7, 0.5, 0.1, 0.4, 0.1, 0.1] + [0.0] * 118)
"""How smoothly the last note is reached, by the size of the last interval in semitones."""
STEP = 2
LEAP = 5
"""Steps are this wide at most, leaps at least, in semitones; thirds are neither."""
_CLEAR_RANGE = (7, 14)
_SECTION = 8
"""Bars over which a shape spreads: a longer phrase has it in each of its sections."""
_ENOUGH = {"shape": 0.7, "steps": 0.92, "flow": 0.3, "motif": 0.2}
"""Where a term is full: there the upper quarter of real phrases begins (see `tests/bench/real_melodies.py`), so that no
idea wins by being smoother than melodies are."""
_HABITS = (-3.0, -1.45)
"""The mean logarithm at which the term `habit` begins, and where it is full: random walks lie about the first."""


@dataclass(frozen=True)
class ScoreContext:
    """What the score knows of a plan: its notes' places, onsets (ticks), and bars."""

    plan: Plan
    places: Sequence[Place]
    timeline: Timeline
    low: int
    high: int
    home: int = 0
    """The root of the last chord as a bit, if the phrase is an ending and should close on it."""
    seconds: Sequence[float] = ()
    hand: Reach | None = None
    """When each note begins, and the hand that plays it, where ease of fingering counts."""
    leanings: Leanings = field(default_factory=Leanings)
    metre: Metre | None = None
    homes: Sequence[Home] = ()
    """The metre, and the home of each note, where the habits of melodies and the order of bars count."""

    @cached_property
    def accents(self) -> list[int]:
        """The place of each note in its bar (see `habits.accent`)."""
        return [self._accent(onset) if self.metre else 0 for onset, _ in self.plan.rhythm]

    def _accent(self, onset: int) -> int:
        return accent(self.timeline.metre_at(onset), self.timeline.inside(onset))

    @cached_property
    def order(self) -> Order | None:
        """What is known of the bars; nothing without a metre, and where they make no group of four."""
        order = Order(self.plan.rhythm, self.timeline, self.homes) if self.metre and self.homes else None
        return order if order and order.groups else None

    @cached_property
    def times(self) -> Values:
        """Where each note is in the phrase, from 0 at the first to 1 at the last; in each section of a long one anew."""
        bars = len(self.plan.letters)
        section = self.timeline.start(bars) / max(1, bars // _SECTION)
        onsets = np.array([onset for onset, _ in self.plan.rhythm], dtype=float)
        number = onsets // section
        heads = np.searchsorted(number, number)
        ends = onsets[np.searchsorted(number, number, side="right") - 1]
        span = ends - onsets[heads]
        return np.where(span > 0, (onsets - onsets[heads]) / np.where(span > 0, span, 1), 0.0)

    @cached_property
    def quickness(self) -> Values:
        """How much the move from each note to the next counts: the more, the sooner the next begins. The sum is 1."""
        onsets = np.array([onset for onset, _ in self.plan.rhythm], dtype=float)
        pace = 1 / np.diff(onsets)
        return np.asarray(pace / pace.sum())

    @cached_property
    def paces(self) -> NDArray[np.int64]:
        """A number for each three notes in a row, the same where they follow one another at the same times."""
        gaps = np.diff(np.array([onset for onset, _ in self.plan.rhythm], dtype=np.int64))
        known: dict[tuple[int, int], int] = {}
        pairs = zip(gaps[:-1].tolist(), gaps[1:].tolist(), strict=True)
        return np.array([known.setdefault(pair, len(known)) for pair in pairs], dtype=np.int64)

    @cached_property
    def shares(self) -> Values:
        """The share of each note in the time that sounds."""
        lengths = np.array([length for _, length in self.plan.rhythm], dtype=float)
        return np.asarray(lengths / lengths.sum())

    @cached_property
    def outside(self) -> NDArray[np.bool_]:
        """For each note (rows) and pitch class, whether that is outside both the key and the chord there."""
        known = np.array([place.chord | place.passing for place in self.places])
        return np.asarray((known[:, None] >> np.arange(12)) & 1 == 0)

    @cached_property
    def leading(self) -> NDArray[np.bool_]:
        """For each note (rows) and pitch class, whether that is the third of a dominant that ends with the note."""
        thirds = [_leading_note(place) if place.coming else 0 for place in self.places]
        return np.asarray((np.array(thirds)[:, None] >> np.arange(12)) & 1 == 1)

    @cached_property
    def echoes(self) -> list[tuple[slice, slice, int]]:
        """Pairs of bars that share a letter: their intervals, and -1 if the second turns the direction."""
        by_letter: dict[str, tuple[slice, str]] = {}
        pairs = []
        for number, letter in enumerate(self.plan.letters):
            run = self._intervals_of(number)
            key = letter.replace("'", "")
            if key == "z" or run.stop - run.start < 1:
                continue
            if key in by_letter:
                first, first_letter = by_letter[key]
                size = min(first.stop - first.start, run.stop - run.start)
                turned = -1 if ("'" in letter) != ("'" in first_letter) else 1
                ends = slice(first.start, first.start + size), slice(run.start, run.start + size)
                pairs.append((*ends, turned))
            by_letter[key] = (run, letter)
        return pairs

    def _intervals_of(self, number: int) -> slice:
        """The intervals inside a bar, as positions among all intervals of the phrase."""
        return self._runs.get(number, slice(0, 0))

    @cached_property
    def _runs(self) -> dict[int, slice]:
        """The intervals inside each bar that has notes, by its number."""
        bars = [self.timeline.index(onset) for onset, _ in self.plan.rhythm]
        runs = itertools.groupby(range(len(bars)), bars.__getitem__)
        return {bar: slice(inside[0], inside[-1]) for bar, inside in ((bar, [*each]) for bar, each in runs)}


@dataclass(frozen=True)
class Lines:
    """Candidates over one plan: their pitches, and what is known of the plan."""

    pitches: Pitches
    context: ScoreContext

    @cached_property
    def moves(self) -> Pitches:
        """The intervals between neighbouring notes, in semitones."""
        return np.subtract(self.pitches[:, 1:], self.pitches[:, :-1])

    @cached_property
    def sizes(self) -> Pitches:
        """The sizes of the intervals, without their direction."""
        return np.abs(self.moves)

    @cached_property
    def steps(self) -> NDArray[np.bool_]:
        """Which intervals are steps."""
        return (self.sizes > 0) & (self.sizes <= STEP)


def heights(shape: Shape, times: Values) -> Values:
    """The height of a shape at each time, both from 0 to 1."""
    at, height = zip(*shape.points, strict=True)
    return np.asarray(np.interp(times, at, height))


def terms(pitches: Pitches, context: ScoreContext, wanted: Sequence[str]) -> dict[str, Values]:
    """The wanted terms of each candidate."""
    lines = Lines(pitches, context)
    found = np.array([_TERMS[name](lines) for name in wanted])
    return dict(zip(wanted, np.clip(found, 0.0, 1.0), strict=True))


def total(
    found: Mapping[str, Values], weights: Mapping[str, float], floors: Mapping[str, float] | None = None
) -> Values:
    """The score of each candidate: the weighted mean of its terms, rounded so that every machine agrees.

    Of a term with a weight below 0, what it lacks of 1 counts, so that every score is from 0 to 1. Having still less of
    it than its floor is no better.
    """
    whole = sum(abs(weights[name]) for name in found)
    credit = {
        name: values if weights[name] >= 0 else 1 - np.maximum(values, (floors or {}).get(name, 0.0))
        for name, values in found.items()
    }
    summed = sum((abs(weights[name]) * values for name, values in credit.items()), start=np.zeros(1))
    return np.asarray(np.round(summed / whole, 6))


def follows(pitches: Pitches, shapes: Sequence[Shape], times: Values) -> Values:
    """How well each candidate (rows) follows each shape: the correlation of its pitches with it, 0 where negative."""
    wanted = np.stack([heights(shape, times) for shape in shapes], axis=1)
    wanted = wanted - wanted.mean(axis=0)
    line = pitches - pitches.mean(axis=1, keepdims=True)
    spread = np.sqrt((line**2).sum(axis=1)[:, None] * (wanted**2).sum(axis=0))
    return np.asarray(np.maximum((line @ wanted) / np.where(spread > 0, spread, np.inf), 0.0))


def _shape(lines: Lines) -> Values:
    return in_shape(follows(lines.pitches, [lines.context.plan.shape], lines.context.times)[:, 0])


def in_shape(fit: Values) -> Values:
    """How closely a line follows a shape, from its correlation with it: 0.7 is enough."""
    return np.minimum(fit / _ENOUGH["shape"], 1.0)


def _habit(lines: Lines) -> Values:
    """Habits of melody: how likely each interval is in real tunes, on the mean of logarithms.

    What is likely depends on the interval before, the degree of the scale, and the places in the bar.
    """
    context = lines.context
    if not context.homes or not lines.moves.shape[1]:
        return np.full(len(lines.pitches), 0.5)
    low, full = _HABITS
    return np.asarray((likelihood(lines.pitches, context.accents, context.homes) - low) / (full - low))


def _order(lines: Lines) -> Values:
    """The order of bars: how likely they are in this order in a real tune, against bars that belong elsewhere.

    It hears which of four bars return, in rhythm, line or notes, how each of them ends, where the notes thicken, and
    what returns four bars later. These partly overlap, so the logarithms that are added up count by half.
    """
    order = lines.context.order
    if order is None:
        return np.full(len(lines.pitches), 0.5)
    return np.asarray(1 / (1 + np.exp(-odds(order, lines.pitches) / 2)))


def _steps(lines: Lines) -> Values:
    """Steps against leaps: the mean value of the intervals, those between quick notes counting most; 0.92 is enough."""
    if not lines.moves.shape[1]:
        return np.ones(len(lines.pitches))
    return np.asarray(INTERVAL_VALUE[lines.sizes] @ lines.context.quickness / _ENOUGH["steps"])


def _flow(lines: Lines) -> Values:
    """Steps that go on: how often a step follows a step the same way; three times in ten are enough.

    Step inertia: Huron (2006), von Hippel (2002), cited from memory. A line that rocks, back where it was two
    notes before and then again, loses as much each time, even with enough steps.
    """
    if lines.moves.shape[1] < 2:
        return np.ones(len(lines.pitches))
    up, down = lines.steps & (lines.moves > 0), lines.steps & (lines.moves < 0)
    goes_on = (up[:, 1:] & up[:, :-1]) | (down[:, 1:] & down[:, :-1])
    back = (lines.pitches[:, 2:] == lines.pitches[:, :-2]) & (lines.sizes[:, 1:] > 0)
    rocks = back[:, 1:] & back[:, :-1]
    enough = _ENOUGH["flow"] * goes_on.shape[1]
    return np.asarray(np.minimum(goes_on.sum(axis=1) / enough, 1.0) - rocks.sum(axis=1) / enough)


def _turns(lines: Lines) -> Values:
    """Leaps that are answered: 1 less four times the share of notes that a leap reaches and no step back follows.

    A leap is a fourth and more; a note that stays answers it as well. The rule is that of strict counterpoint.
    """
    leap, after = lines.sizes[:, :-1] >= LEAP, lines.moves[:, 1:]
    answered = (lines.moves[:, :-1] * after <= 0) & (lines.sizes[:, 1:] <= STEP)
    return np.asarray(1 - 4 * (leap & ~answered).sum(axis=1) / lines.pitches.shape[1])


def _echo(lines: Lines) -> Values:
    """Bars that answer one another: how alike the intervals of bars with the same letter are."""
    likeness = []
    for first, second, turned in lines.context.echoes:
        one, other = lines.moves[:, first], lines.moves[:, second] * turned
        same_way = (np.sign(one) == np.sign(other)).mean(axis=1)
        near = 1 - np.minimum(np.abs(one - other), 6).mean(axis=1) / 6
        likeness.append(0.6 * same_way + 0.4 * near)
    if not likeness:
        return np.full(len(lines.pitches), 0.5)
    return np.asarray(np.mean(likeness, axis=0))


def _motif(lines: Lines) -> Values:
    """Motifs that come back: the share of threes of notes heard before; a fifth of them is enough.

    They come back in the same rhythm, at any height; intervals are compared as seconds, thirds and so on. Three
    notes that only go there and back, or stay, aren't a motif, so that rocking between two notes wins nothing.
    """
    if lines.pitches.shape[1] < 4:
        return np.full(len(lines.pitches), 0.5)
    degrees = np.sign(lines.moves) * ((7 * lines.sizes.astype(np.int64) + 6) // 12)
    threes = (lines.context.paces * 256 + degrees[:, :-1] + 128) * 256 + degrees[:, 1:] + 128
    alone = -1 - np.arange(threes.shape[1])
    threes = np.where(lines.pitches[:, 2:] == lines.pitches[:, :-2], alone, threes)
    threes.sort(axis=1)
    heard_before = (threes[:, 1:] == threes[:, :-1]).sum(axis=1)
    return np.asarray(heard_before / (_ENOUGH["motif"] * threes.shape[1]))


def _close(lines: Lines) -> Values:
    """A smooth close: how the last note is reached, and whether an ending comes home to the root."""
    last = lines.pitches[:, -1] % 12
    home = np.where((lines.context.home >> last) & 1, 1.0, 0.75) if lines.context.home else np.ones(len(last))
    if lines.moves.shape[1] == 0:
        return home
    return np.asarray(home * CLOSE_VALUE[np.abs(lines.moves[:, -1])])


def _key(lines: Lines) -> Values:
    """True to the key: 1 less four times the share of sounding time that strays.

    A note outside the key and its chord strays unless a semitone leads from it back into them: so anchored, it is
    heard as belonging to the next (Bharucha 1984). The third of a dominant strays by half where the chord
    changes after it and it neither stays nor moves by a semitone.
    """
    context, columns = lines.context, np.arange(lines.pitches.shape[1])
    classes = lines.pitches % 12
    outside = context.outside[columns, classes]
    stray = outside.astype(float)
    anchored = (lines.sizes == 1) & ~outside[:, 1:]
    stray[:, :-1] *= ~anchored
    stray[:, :-1] += 0.5 * (context.leading[columns, classes][:, :-1] & (lines.sizes > 1))
    return np.asarray(1 - 4 * (stray @ context.shares))


def _register(lines: Lines) -> Values:
    """Use of the register: a fifth to a ninth from lowest to highest note, lying about the middle of the range."""
    reach = lines.pitches.max(axis=1) - lines.pitches.min(axis=1)
    low, high = _CLEAR_RANGE
    breadth = np.where(reach < low, reach / low, np.where(reach > high, 1 - (reach - high) / 12, 1.0))
    middle = (lines.context.low + lines.context.high) / 2
    off = np.abs(lines.pitches.mean(axis=1) - middle) / max(1, lines.context.high - lines.context.low)
    return np.asarray(0.7 * breadth + 0.3 * (1 - 2 * off))


def _colour(lines: Lines) -> Values:
    """Colour on the strong beats: thirds, sevenths and more rather than roots and fifths only."""
    strong = [i for i, place in enumerate(lines.context.places[:-1]) if place.strong]
    if not strong:
        return np.full(len(lines.pitches), 0.5)
    return _mean(
        np.stack([tone_value(lines.context.places[i])[lines.pitches[:, i] % 12] for i in strong], axis=1)
    )


def _idiom(lines: Lines) -> Values:
    """The idiom of the rhythm: what its file says that its lines lean to; a half where it says nothing."""
    context = lines.context
    if not context.leanings:
        return np.full(len(lines.pitches), 0.5)
    return context.leanings.value(lines.pitches, context.places)


def _ease(lines: Lines) -> Values:
    """Ease for the hand: 1 less the difficulty of the easiest fingering at the tempo."""
    if lines.context.hand is None:
        return np.ones(len(lines.pitches))
    return 1 - difficulties(lines.pitches, lines.context.seconds, lines.context.hand)


def _leading_note(place: Place) -> int:
    """The third of a dominant as a bit, 0 over any other chord: a major third, and a minor seventh in chord or key."""
    for root in range(12):
        third = 1 << (root + 4) % 12
        if place.root >> root & 1 and place.chord & third:
            return third if (place.chord | place.passing) >> (root + 10) % 12 & 1 else 0
    return 0


def tone_value(place: Place) -> Values:
    """How much each pitch class colours its chord: the root little, the fifth some, all other tones fully."""
    return _tone_value(place.chord, place.root)


def _tone_value(chord: int, root: int) -> Values:
    values = np.array([1.0 if chord >> pc & 1 else 0.5 for pc in range(12)])
    for pc in range(12):
        if root >> pc & 1:
            values[pc] = 0.35
            values[(pc + 7) % 12] = 0.6
    return values


def _mean(values: Values) -> Values:
    return np.asarray(values.mean(axis=1)) if values.shape[1] else np.ones(len(values))


_TERMS = {
    "shape": _shape,
    "habit": _habit,
    "steps": _steps,
    "flow": _flow,
    "turns": _turns,
    "echo": _echo,
    "motif": _motif,
    "order": _order,
    "close": _close,
    "register": _register,
    "key": _key,
    "colour": _colour,
    "idiom": _idiom,
    "ease": _ease,
}
"""The terms by name, in the order in which they are shown."""
