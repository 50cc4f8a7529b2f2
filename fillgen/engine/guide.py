"""What the draws lean to: weights for the lattice, modelled on the score."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from fillgen.engine.habits import NO_MOVE, Home, habits, interval
from fillgen.engine.score import INTERVAL_VALUE, LEAP, STEP, Pitches, Values, tone_value
from fillgen.phrase.place import Place

# What guides the draws: the part of the score that single windows of notes decide


_WIDE = (7, 8, 9, 12)
"""Fifths, sixths and octaves, in semitones."""


@dataclass(frozen=True)
class Guide:
    """Makes the draws lean to phrases that will score well. Larger numbers lean more; 0 draws fairly.

    `still` is what a repeated note is worth to the draws: less than to the score, since a fill should move; `leap`
    what a fifth and a wider consonance is worth: more than to the score, since few of them are answered and stay.
    `rocks` leans away from two notes in turn, `aim` is how much triplets run one way. `habit` is the power to which the
    likelihood of each interval in real melodies is raised: it favours steps. `tones` leans to chord notes off the strong
    beats, `rise` to leaps that rise, below 0 to those that fall: the habits alone would make too many rise.
    """

    steps: float = 0.7
    turns: float = 1.2
    rocks: float = 1.5
    shape: float = 5.0
    gesture: float = 1.0
    colour: float = 0.8
    plain: float = 1.3
    still: float = -0.8
    leap: float = 5.8
    blue: float = 1.5
    aim: float = 2.5
    habit: float = 0.9
    tones: float = 1.0
    rise: float = -0.5

    def moves(self, size: int) -> Values:
        """A factor for each interval from -size to size, as a table over two pitches of a range of `size` + 1."""
        gap = np.abs(_rises(size))
        value = np.where(np.isin(gap, _WIDE), self.leap, INTERVAL_VALUE[gap])
        return np.asarray(np.exp(self.steps * np.where(gap, value, self.still)))

    def calm(self, size: int) -> Values:
        """A factor for each two pitches of a range that takes back from wide intervals what `leap` gave: for short notes."""
        gap = np.abs(_rises(size))
        back = np.where(np.isin(gap, _WIDE), INTERVAL_VALUE[gap] - self.leap, 0.0)
        return np.asarray(np.exp(self.steps * back))

    def rising(self, size: int) -> Values:
        """A factor for each two pitches of a range: another where a leap rises."""
        pitch = np.arange(size + 1)
        return np.asarray(np.exp(self.rise * (pitch[None, :] - pitch[:, None] >= LEAP)))

    def turn(self, size: int) -> Values:
        """A factor for each three pitches of a range: larger where a leap is answered, small where a line rocks."""
        into, out = _rises(size)[:, :, None], _rises(size)[None, :, :]
        answered = (np.abs(into) >= LEAP) & (into * out < 0) & (np.abs(out) <= STEP)
        rocks = (into == -out) & (into != 0)
        return np.asarray(np.exp(self.turns * answered - self.rocks * rocks))

    def onward(self, size: int) -> Values:
        """A factor for each three pitches of a range: larger if they move the same way, each by at most a fourth."""
        into, out = _rises(size)[:, :, None], _rises(size)[None, :, :]
        near = (np.abs(into) <= LEAP) & (np.abs(out) <= LEAP)
        return np.asarray(np.exp(self.aim * ((into * out > 0) & near)))

    def follows(self, low: int, size: int, home: Home, accents: tuple[int, int]) -> tuple[Values, Values]:
        """A factor for each three pitches of a range from `low`: how likely the last is, in the habit of real melodies.

        `home` is that of the second, `accents` are the places in the bar of the second and the last. The other
        table is that for two pitches with which a line begins.
        """
        pitch = np.arange(size + 1)
        degrees = (pitch + low - home.tonic) % 12
        out = interval(pitch[None, :] - pitch[:, None])
        likely = _leanings(home.minor, self.habit)[accents]
        return likely[degrees[None, :, None], out[:, :, None], out], likely[degrees[:, None], NO_MOVE, out]

    def place(self, place: Place, pitches: Pitches) -> Values:
        """A factor for each pitch of a place: rather in the scale or a blue note, colourful on a strong beat."""
        slides = place.blue_third | place.blue_fifth
        chromatic = ~(place.chord | place.passing | slides) & 0xFFF
        value = -self.plain * ((chromatic >> (pitches % 12)) & 1) + self.blue * (
            (slides >> (pitches % 12)) & 1
        )
        if place.strong:
            value = value + self.colour * tone_value(place)[pitches % 12]
        else:
            value = value + self.tones * ((place.chord >> (pitches % 12)) & 1)
        return np.asarray(np.exp(value))

    def height(self, pitches: Pitches, target: float | Values) -> Values:
        """A factor for each pitch of a place: near the height that the shape has there."""
        return np.asarray(np.exp(-self.shape * ((pitches - target) / 12.0) ** 2))

    def near(self, pitches: Pitches, target: int, strength: float) -> Values:
        """A factor for each pitch of a place: the pitch liked there most, those close to it a little."""
        away = np.abs(pitches - target)
        return np.asarray(np.exp(strength * ((away == 0) - np.minimum(away, 12) / 12.0)))

    def preferred(self, size: int, interval: int) -> Values:
        """A factor for each two pitches of a range: nearness of their interval to the one the gesture prefers (0: no preference)."""
        if not interval:
            return np.ones((size + 1, size + 1))
        away = np.abs(_rises(size) - interval)
        return np.asarray(np.exp(-self.gesture * np.minimum(away, 6) / 2.0))


@cache
def _leanings(minor: bool, strength: float) -> Values:
    """The habits of melodies as factors, raised to a power."""
    return np.asarray(np.exp(strength * habits(minor)))


def _rises(size: int) -> NDArray[np.int64]:
    """The semitones from each pitch of a range of `size` + 1 up to each other."""
    pitch = np.arange(size + 1)
    return np.asarray(pitch[None, :] - pitch[:, None])
