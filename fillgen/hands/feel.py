"""Played, not typed: how loud, how long and how late the strokes of a take are, by the table `rules/feel.toml`.

Everything here is repeatable: the same seed, the same differences. What is written doesn't change.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from fillgen.dice import Dice
from fillgen.hands.playing import USUAL_FEEL
from fillgen.hands.stroke import Stroke
from fillgen.phrase.articulation import slurred
from fillgen.tables import table
from fillgen.theory.metre import TICKS, Timeline

_ARCH = 4
"""The bars over which loudness swells and fades."""
_SLOT = TICKS // 12
"""Strokes within this many ticks move together: no two written places are closer."""
_MOST_GAP = TICKS // 8
"""The most ticks by which a note is shorter than it is written: half a sixteenth."""
_SOLO = ("right", "fills")
"""The parts that move by themselves."""


@dataclass(frozen=True)
class Feel:
    """How a take is played: `amount` from 0 (exact) to 1 (loose), the seed of its chances, and what the music is like.

    `tempo` is in quarter notes a minute; `swings` says whether eighths swing.
    """

    amount: float
    seed: int
    tempo: float
    swings: bool
    timeline: Timeline

    @property
    def share(self) -> float:
        """How much of a player's deliberate shaping applies: all of it from the usual feel on."""
        return min(1.0, self.amount / USUAL_FEEL)

    # Loudness

    def loudness(self, part: str, strokes: Sequence[Stroke], salt: int) -> list[Stroke]:
        """Strokes with their velocities as played: those struck together change together.

        >>> from fillgen.theory.metre import METRES
        >>> feel = Feel(0.3, 1, 120, True, Timeline(METRES["4/4"]))
        >>> line = [Stroke(240 * n, 240, 60 + n, 70) for n in range(8)]
        >>> [s.velocity for s in feel.loudness("right", line, 0)] == [70] * 8
        False
        """
        if not self.amount or not strokes:
            return list(strokes)
        ways = _ways(part)
        tops = _tops(strokes)
        ticks = sorted(tops)
        line = [tops[tick] for tick in ticks]
        sway = self._chances(salt, len(ticks), ways["sway"] * self.amount)
        least = min(s.velocity for s in strokes)
        more = {
            tick: self.share * self._more(ways, line, tick, number, rise) + sway[number]
            for number, (tick, rise) in enumerate(zip(ticks, _rises(ways["line"], line), strict=True))
        }
        kept = 1 - self.share * (1 - ways["metre"])
        return [
            replace(s, velocity=_bounded(least + (s.velocity - least) * kept + more[s.tick])) for s in strokes
        ]

    def _more(
        self, ways: Mapping[str, float], line: Sequence[int], tick: int, number: int, rise: float
    ) -> float:
        """What a player adds on purpose to the velocity of what is struck at a tick: `rise` for its height, and more."""
        own = line[number]
        before = line[number - 1] if number else own
        after = line[number + 1] if number + 1 < len(line) else own
        more = rise
        more += ways["arch"] * (self._swell(tick) - 0.5)
        more += ways["peak"] * (own > before and own > after)
        more += ways["again"] * (number > 0 and own == before)
        if self.timeline.off_beat(tick):
            more += ways["off-beat" if self.swings else "light"]
        return more

    def _swell(self, tick: int) -> float:
        """How far into four bars a tick lies: 0 at their ends, 1 in their middle."""
        first = self.timeline.index(tick) // _ARCH * _ARCH
        start, end = self.timeline.start(first), self.timeline.start(first + _ARCH)
        place = (tick - start) / (end - start)
        return 1 - (2 * place - 1) ** 2

    # Lengths

    def lengths(self, part: str, strokes: Sequence[Stroke]) -> list[float]:
        """The share of its length that each stroke sounds, before the gap is held to its most (see `gap`)."""
        share = 1 - self.share * (1 - _lengths().get(part, _lengths()["right"]))
        if part not in _SOLO:
            return [share] * len(strokes)
        tops = _tops(strokes)
        line = sorted(
            (s for s in strokes if s.midi == tops[s.tick]),
            key=lambda s: s.tick,
        )
        joined = slurred([(s.tick, s.length, s.midi) for s in line], self.timeline, swings=self.swings)
        legato = {s.tick for number, s in enumerate(line) if number in joined}
        return [1.0 if s.tick in legato else share for s in strokes]

    def gap(self, length: int, share: float) -> int:
        """The ticks by which a stroke of a length is shorter when it sounds for a share of it."""
        return round(min(length * (1 - share), self._ticks(_lengths()["most-gap"]), _MOST_GAP))

    # Places

    def late(self, part: str, salt: int, length: int) -> Callable[[int], int]:
        """How late what is written at a tick of a pass of some length comes, in ticks; early where it's below 0."""
        places: Mapping[str, float] = table("feel")["place"]
        alone = part in _SOLO
        width = self._ticks(places["sway-right" if alone else "sway-band"]) * self.amount
        sway = self._chances(salt + (_APART if alone else 0), length // _SLOT + 1, width)
        lead = self._ticks(places.get(part, 0)) * self.share
        back = self._ticks(places["laid-back"]) * self.share if alone and self.swings else 0.0

        def ticks(tick: int) -> int:
            behind = 0.0 if self.timeline.off_beat(tick) else back
            return round(sway[min(tick // _SLOT, len(sway) - 1)] + lead + behind)

        return ticks

    def _chances(self, salt: int, count: int, width: float) -> list[float]:
        """Numbers around 0, as far as a width on either side, more of them near 0."""
        pairs = Dice(self.seed + 1000 * salt).doubles(2 * count).reshape(-1, 2)
        return [float((a + b - 1) * width) for a, b in pairs.tolist()]

    def _ticks(self, milliseconds: float) -> float:
        return milliseconds * self.tempo * TICKS / 60_000


_APART = 500
"""Separates the chances of the right hand from those of the band."""


def _ways(part: str) -> Mapping[str, Any]:
    """How loudly a part is played."""
    ways: Mapping[str, Any] = table("feel")["right" if part in _SOLO else part]
    return ways


@lru_cache(maxsize=1)
def _lengths() -> Mapping[str, float]:
    lengths: Mapping[str, float] = table("feel")["length"]
    return lengths


def _tops(strokes: Sequence[Stroke]) -> dict[int, int]:
    """The highest pitch that is struck at each tick."""
    tops: dict[int, int] = {}
    for s in strokes:
        tops[s.tick] = max(s.midi, tops.get(s.tick, 0))
    return tops


def _rises(width: float, line: Sequence[int]) -> list[float]:
    """What each note of a line adds to its velocity by its height, from half of `width` less to half of it more."""
    low, high = min(line), max(line)
    return [width * ((own - low) / (high - low) - 0.5) if high > low else 0.0 for own in line]


def _bounded(velocity: float) -> int:
    return min(127, max(1, round(velocity)))
