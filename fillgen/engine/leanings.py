"""What the lines of a rhythm lean to, as weights of the draws and as values of the score.

The leanings of a rhythm are in its file (`fillgen.rules.idiom`). Each adds to the logarithm of a weight, so that
every phrase that keeps the rules can still come out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from fillgen.engine.devices import guide_tones
from fillgen.phrase.place import Place
from fillgen.rules.idiom import INTERVALS

Pitches = NDArray[np.int16]
Values = NDArray[np.float64]
_WIDEST = 48
_SIZES = np.arange(-_WIDEST, _WIDEST + 1)
_STEP, _SKIP = 2, 5
_SEMITONES = {
    "root": (0,),
    "third": (3, 4),
    "fifth": (6, 7, 8),
    "sixth": (9,),
    "seventh": (10, 11),
    "ninth": (2,),
}
"""Semitones above the root; a leaning to the third, the fifth or the seventh applies to chord tones only."""
_OF_THE_CHORD = ("root", "third", "fifth", "seventh")
_FULL = 0.9
"""From this mean leaning of a note on, a line is as idiomatic as can be."""
LEADING = 2.2
"""How strongly guide tones lead on where a level shows devices."""


@dataclass(frozen=True, eq=False)
class Leanings:
    """What a line leans to: logarithms of weights by name, and how strongly the guide tones of a dominant lead on."""

    by_name: Mapping[str, float] = field(default_factory=dict)
    leading: float = 0.0

    def __bool__(self) -> bool:
        return bool(self.by_name) or self.leading > 0

    # Intervals and motions

    @cached_property
    def intervals(self) -> Values:
        """The leaning to each interval from -48 to 48 semitones."""
        found = np.zeros(2 * _WIDEST + 1)
        for name, sizes in INTERVALS.items():
            for size in sizes:
                both = self.by_name.get(name, 0.0)
                found[_WIDEST + size] += both + self.by_name.get(f"{name} up", 0.0)
                if size:
                    found[_WIDEST - size] += both + self.by_name.get(f"{name} down", 0.0)
        return found

    @cached_property
    def turns(self) -> Values:
        """The leaning to each two intervals that follow one another, each from -48 to 48 semitones."""
        into, out = np.ix_(_SIZES, _SIZES)
        one, two = np.abs(into), np.abs(out)
        skips = (one > _STEP) & (one <= _SKIP) & (two > _STEP) & (two <= _SKIP)
        steps = (one > 0) & (one <= _STEP) & (two > 0) & (two <= _STEP)
        same = into * out > 0
        found = np.zeros(same.shape)
        for name, where in (
            ("arpeggio", skips & same),
            ("run", steps & same),
            ("neighbour", steps & (into == -out)),
            ("zigzag", (one > _STEP) & (two > _STEP) & (into * out < 0)),
        ):
            found += self.by_name.get(name, 0.0) * where
        return found

    def moved(self, moves: Pitches) -> Values:
        """The leaning to each of some intervals in semitones."""
        return np.asarray(self.intervals[_number(moves)])

    def turned(self, into: Pitches, out: Pitches) -> Values:
        """The leaning to each two intervals that follow one another."""
        return np.asarray(self.turns[_number(into), _number(out)])

    def table(self, size: int) -> tuple[Values, Values]:
        """Factors for each two pitches of a range of `size` + 1, and for each three."""
        pitch = np.arange(size + 1)
        moves = pitch[None, :] - pitch[:, None]
        turns = self.turned(moves[:, :, None], moves[None, :, :])
        return np.exp(self.moved(moves)), np.exp(turns)

    # Tones of the chord

    @lru_cache(maxsize=1024)  # noqa: B019 - leanings live as long as the request
    def toned(self, place: Place) -> Values:
        """The leaning to each pitch class at a place."""
        found = np.zeros(12)
        for root in (pc for pc in range(12) if place.root >> pc & 1):
            for name, above in _SEMITONES.items():
                for pc in ((root + n) % 12 for n in above):
                    if name not in _OF_THE_CHORD or place.chord >> pc & 1:
                        found[pc] += self._on(name, place)
        return found

    def _on(self, name: str, place: Place) -> float:
        value = self.by_name.get(f"on {name}", 0.0)
        if place.strong and name in ("third", "seventh"):
            value += self.by_name.get("guide tone", 0.0)
        if place.ends and name in ("root", "third"):
            value += self.by_name.get(f"close on {name}", 0.0)
        return value

    # Guide tones that lead on

    def leads(self, place: Place, before: Pitches, note: Pitches) -> Values | None:
        """A factor for each two pitches, the first at a place: the guide tones of a dominant move on by step."""
        led = self._led(place, before[:, None], note[None, :])
        return None if led is None else np.asarray(np.exp(self.leading * led))

    def _led(self, place: Place, before: Pitches, note: Pitches) -> NDArray[np.bool_] | None:
        """Whether a pitch at a place leads to the next as a guide tone of a dominant; None if there is none."""
        third, seventh = guide_tones(place) if self.leading and place.coming else (0, 0)
        if not third:
            return None
        move, pitch = note - before, before % 12
        into = (place.coming >> (note % 12)) & 1 == 1
        rises = (pitch == third - 1) & (move == 1)
        falls = (pitch == seventh - 1) & (move < 0) & (move >= -_STEP)
        return np.asarray((rises | falls) & into)

    # The score

    def value(self, pitches: Pitches, places: Sequence[Place]) -> Values:
        """How idiomatic each candidate is, from 0 to 1: half where it leans neither to nor away."""
        moves = np.diff(pitches, axis=1)
        whole = self.moved(moves).sum(axis=1)
        if self.turns.any():
            whole += self.turned(moves[:, :-1], moves[:, 1:]).sum(axis=1)
        for index, place in enumerate(places[:-1]):
            led = self._led(place, pitches[:, index], pitches[:, index + 1])
            if led is not None:
                whole += self.leading * led
        tones = np.stack([self.toned(place) for place in places])
        whole += tones[np.arange(len(places)), pitches % 12].sum(axis=1)
        return np.asarray(0.5 + whole / (2 * _FULL * pitches.shape[1]))


def _number(moves: NDArray[np.signedinteger]) -> NDArray[np.signedinteger]:
    """The indices of intervals in semitones in a table of them."""
    return np.asarray(np.minimum(np.maximum(moves, -_WIDEST), _WIDEST) + _WIDEST)
