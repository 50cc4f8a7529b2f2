"""The score: named terms from 0 to 1, computed for all candidates of a plan at once.

Pitches come as an array of MIDI numbers, a row for each candidate and a column for each note.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fillgen.fingering import Reach, difficulties
from fillgen.music import Place
from fillgen.plans import Plan
from fillgen.rulepack import Shape

Pitches = NDArray[np.int16]
Values = NDArray[np.float64]

INTERVAL_VALUE = np.array([0.45, 1, 1, 0.8, 0.75, 0.6, 0.1, 0.45, 0.3, 0.3, 0.05, 0.0, 0.3] + [0.0] * 115)
"""How well an interval sings, by its size in semitones. The order is that of interval counts in real melodies
(Vos and Troost 1989; Huron 2001): steps, then thirds, then fourths and fifths, the tritone and sevenths last."""
CLOSE_VALUE = np.array([0.6, 1, 1, 0.7, 0.7, 0.5, 0.1, 0.4, 0.1, 0.1] + [0.0] * 118)
"""How smoothly the last note is reached, by the size of the last interval in semitones."""
_LEAP = 4
_CLEAR_RANGE = (7, 14)


@dataclass(frozen=True)
class Setting:
    """What the score knows of a plan: its notes' places, onsets (ticks), bars, and the ticks of a bar."""

    plan: Plan
    places: Sequence[Place]
    bar: int
    low: int
    high: int
    home: int = 0
    """The root of the last chord as a bit, where the phrase is an ending and had better close on it."""
    seconds: Sequence[float] = ()
    hand: Reach | None = None
    """When each note begins, and the hand that plays it, where ease of fingering counts."""

    @cached_property
    def times(self) -> Values:
        """Where each note stands in the phrase, from 0 at the first to 1 at the last."""
        onsets = np.array([onset for onset, _ in self.plan.rhythm], dtype=float)
        span = onsets[-1] - onsets[0]
        return (onsets - onsets[0]) / span if span else np.zeros_like(onsets)

    @cached_property
    def echoes(self) -> list[tuple[slice, slice, int]]:
        """Pairs of bars that share a letter: their intervals, and -1 where the second turns the direction."""
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
        inside = [i for i, (onset, _) in enumerate(self.plan.rhythm) if onset // self.bar == number]
        return slice(inside[0], inside[-1]) if inside else slice(0, 0)


@dataclass(frozen=True)
class Lines:
    """Candidates over one plan: their pitches, and what is known of the plan."""

    pitches: Pitches
    setting: Setting

    @cached_property
    def moves(self) -> Pitches:
        """The intervals between neighbouring notes, in semitones."""
        return np.subtract(self.pitches[:, 1:], self.pitches[:, :-1])


def heights(shape: Shape, times: Values) -> Values:
    """The height of a shape at each time, both from 0 to 1."""
    at, height = zip(*shape.points, strict=True)
    return np.asarray(np.interp(times, at, height))


def terms(pitches: Pitches, setting: Setting, wanted: Sequence[str]) -> dict[str, Values]:
    """The wanted terms of each candidate."""
    lines = Lines(pitches, setting)
    return {name: np.clip(_TERMS[name](lines), 0.0, 1.0) for name in wanted}


def total(found: Mapping[str, Values], weights: Mapping[str, float]) -> Values:
    """The score of each candidate: the weighted mean of its terms, rounded so that every machine agrees."""
    whole = sum(weights[name] for name in found)
    summed = sum((weights[name] * values for name, values in found.items()), start=np.zeros(1))
    return np.asarray(np.round(summed / whole, 6))


def follows(pitches: Pitches, shape: Shape, times: Values) -> Values:
    """How well each candidate follows a shape: the correlation of its pitches with the shape, 0 where negative."""
    wanted = heights(shape, times)
    wanted = wanted - wanted.mean()
    line = pitches - pitches.mean(axis=1, keepdims=True)
    spread = np.sqrt((line**2).sum(axis=1) * (wanted**2).sum())
    return np.asarray(np.maximum((line @ wanted) / np.where(spread > 0, spread, np.inf), 0.0))


def _shape(lines: Lines) -> Values:
    return follows(lines.pitches, lines.setting.plan.shape, lines.setting.times)


def _peak(lines: Lines) -> Values:
    """One clear high point: 1 where the highest pitch is reached once, 1/2 where twice, and so on."""
    top = lines.pitches == lines.pitches.max(axis=1, keepdims=True)
    reached = top[:, :1].sum(axis=1) + (top[:, 1:] & ~top[:, :-1]).sum(axis=1)
    return np.asarray(1.0 / reached)


def _steps(lines: Lines) -> Values:
    """Steps against leaps: the mean value of the intervals."""
    return _mean(INTERVAL_VALUE[np.abs(lines.moves)])


def _turns(lines: Lines) -> Values:
    """Leaps that turn back: the share of leaps of a third and more that a smaller interval answers."""
    leap = np.abs(lines.moves[:, :-1]) >= _LEAP
    back = (lines.moves[:, :-1] * lines.moves[:, 1:] < 0) & (
        np.abs(lines.moves[:, 1:]) < np.abs(lines.moves[:, :-1])
    )
    leaps = leap.sum(axis=1)
    return np.where(leaps, (leap & back).sum(axis=1) / np.maximum(leaps, 1), 1.0)


def _echo(lines: Lines) -> Values:
    """Bars that answer one another: how alike the intervals of bars with the same letter are."""
    likeness = []
    for first, second, turned in lines.setting.echoes:
        one, other = lines.moves[:, first], lines.moves[:, second] * turned
        same_way = (np.sign(one) == np.sign(other)).mean(axis=1)
        near = 1 - np.minimum(np.abs(one - other), 6).mean(axis=1) / 6
        likeness.append(0.6 * same_way + 0.4 * near)
    if not likeness:
        return np.full(len(lines.pitches), 0.5)
    return np.asarray(np.mean(likeness, axis=0))


def _close(lines: Lines) -> Values:
    """A smooth close: how the last note is reached, and whether an ending comes home to the root."""
    last = lines.pitches[:, -1] % 12
    home = np.where((lines.setting.home >> last) & 1, 1.0, 0.75) if lines.setting.home else np.ones(len(last))
    if lines.moves.shape[1] == 0:
        return home
    return np.asarray(home * CLOSE_VALUE[np.abs(lines.moves[:, -1])])


def _rocking(lines: Lines) -> Values:
    """No rocking between two notes: 1 less the share of notes that are back where the line was two notes before."""
    if lines.pitches.shape[1] < 4:
        return np.ones(len(lines.pitches))
    back = lines.pitches[:, 2:] == lines.pitches[:, :-2]
    twice = back[:, 1:] & back[:, :-1]
    return np.asarray(1 - 0.5 * back.mean(axis=1) - 2.5 * twice.mean(axis=1))


def _register(lines: Lines) -> Values:
    """Use of the register: a fifth to a ninth from lowest to highest note, lying about the middle of the range."""
    reach = lines.pitches.max(axis=1) - lines.pitches.min(axis=1)
    low, high = _CLEAR_RANGE
    breadth = np.where(reach < low, reach / low, np.where(reach > high, 1 - (reach - high) / 12, 1.0))
    middle = (lines.setting.low + lines.setting.high) / 2
    off = np.abs(lines.pitches.mean(axis=1) - middle) / max(1, lines.setting.high - lines.setting.low)
    return np.asarray(0.7 * breadth + 0.3 * (1 - 2 * off))


def _colour(lines: Lines) -> Values:
    """Colour on the strong beats: thirds, sevenths and more rather than roots and fifths only."""
    strong = [i for i, place in enumerate(lines.setting.places[:-1]) if place.strong]
    if not strong:
        return np.full(len(lines.pitches), 0.5)
    return _mean(
        np.stack([tone_value(lines.setting.places[i])[lines.pitches[:, i] % 12] for i in strong], axis=1)
    )


def _ease(lines: Lines) -> Values:
    """Ease for the hand: 1 less the difficulty of the easiest fingering at the tempo."""
    if lines.setting.hand is None:
        return np.ones(len(lines.pitches))
    return 1 - difficulties(lines.pitches, lines.setting.seconds, lines.setting.hand)


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
    "peak": _peak,
    "steps": _steps,
    "turns": _turns,
    "echo": _echo,
    "close": _close,
    "rocking": _rocking,
    "register": _register,
    "colour": _colour,
    "ease": _ease,
}
"""The terms by name, in the order in which they are told."""


# What guides the draws: the part of the score that single windows of notes decide


@dataclass(frozen=True)
class Guide:
    """Makes the draws lean to phrases that will score well. Larger numbers lean more; 0 draws fairly."""

    steps: float = 2.2
    turns: float = 1.0
    shape: float = 5.0
    wish: float = 1.0
    colour: float = 0.8
    plain: float = 1.8

    def moves(self, size: int) -> Values:
        """A factor for each interval from -size to size, as a table over two pitches of a range of `size` + 1."""
        pitch = np.arange(size + 1)
        gap = np.abs(pitch[:, None] - pitch[None, :])
        return np.asarray(np.exp(self.steps * INTERVAL_VALUE[gap]))

    def turn(self, size: int) -> Values:
        """A factor for each three pitches of a range: larger where a leap turns back, small where a line rocks."""
        pitch = np.arange(size + 1)
        into = (pitch[None, :] - pitch[:, None])[:, :, None]
        out = (pitch[None, :] - pitch[:, None])[None, :, :]
        leap = np.abs(into) >= _LEAP
        back = (into * out < 0) & (np.abs(out) < np.abs(into))
        rocks = (into == -out) & (into != 0)
        return np.asarray(np.exp(self.turns * (leap & back) - 0.4 * self.turns * rocks))

    def place(self, place: Place, pitches: Pitches, height: float, middle: float, reach: float) -> Values:
        """A factor for each pitch of a place: near the shape, rather in the scale, colourful on a strong beat."""
        target = middle + (height - 0.5) * reach
        value = -self.shape * ((pitches - target) / 12.0) ** 2
        chromatic = ~(place.chord | place.passing) & 0xFFF
        value = value - self.plain * ((chromatic >> (pitches % 12)) & 1)
        if place.strong:
            value = value + self.colour * tone_value(place)[pitches % 12]
        return np.asarray(np.exp(value))

    def near(self, pitches: Pitches, target: int, strength: float) -> Values:
        """A factor for each pitch of a place: the pitch liked there most, those close to it a little."""
        away = np.abs(pitches - target)
        return np.asarray(np.exp(strength * ((away == 0) - np.minimum(away, 12) / 12.0)))

    def wished(self, before: Pitches, note: Pitches, wish: int) -> Values:
        """A factor for each two pitches: nearness of their interval to the gesture's wish (0: no wish)."""
        if not wish:
            return np.ones((len(before), len(note)))
        away = np.abs((note[None, :] - before[:, None]) - wish)
        return np.asarray(np.exp(-self.wish * np.minimum(away, 6) / 2.0))
