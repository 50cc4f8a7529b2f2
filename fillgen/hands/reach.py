"""What a hand can reach: sizes of hands, and how far two fingers stretch."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from functools import lru_cache

from fillgen.errors import OptionError, did_you_mean, shorten
from fillgen.tables import table

FINGERS = (1, 2, 3, 4, 5)
SIZES = ("small", "medium", "large")
OCTAVE_INCHES = 6.5
"""An octave of the standard keyboard: Boyle, Boyle and Booker (2015), Pianist hand spans."""
HELD_LESS = 1
"""Semitones by which keys held together stay inside the practical span of thumb and fifth finger, which may be touched
in passing. Common practice: an octave always, a ninth with strain."""
JUMP_SECONDS = 0.2
"""The time in which a hand can leave a key and land on one out of its reach. A choice made here, not measured."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """How far two fingers stretch, in semitones from the lower finger's key up to the higher finger's.

    Below zero the fingers are crossed. Each span is its near and its far end.
    """

    practical: tuple[int, int]
    comfortable: tuple[int, int]
    relaxed: tuple[int, int]

    def wider(self, semitones: int) -> Stretch:
        """The same fingers of a hand that opens farther: the far ends move, the relaxed spans stay."""
        (near, far), (near_comfort, far_comfort) = self.practical, self.comfortable
        return Stretch((near, far + semitones), (near_comfort, far_comfort + semitones), self.relaxed)


_SAME_FINGER = Stretch((0, 0), (0, 0), (0, 0))


@dataclass(frozen=True, slots=True)
class Reach:
    """A size of hand: small, medium (the published table) or large, and how far each two of its fingers stretch.

    `stretches` has a row and a column for each finger; it is the same either way round.

    >>> reach("medium").between(1, 5).practical, reach("small").between(5, 1).practical
    ((-1, 15), (-1, 13))
    """

    size: str
    stretches: tuple[tuple[Stretch, ...], ...] = field(hash=False, repr=False)
    span: int = 12
    """The widest chord for the hand to hold again and again, in semitones."""

    def between(self, finger: int, other: int) -> Stretch:
        """How far two fingers stretch; nowhere where they are the same."""
        return self.stretches[finger - 1][other - 1]

    @property
    def widest(self) -> int:
        """The farthest that any two fingers reach in a melody, in semitones."""
        return self.between(1, 5).practical[1]

    @property
    def held(self) -> int:
        """The widest chord the hand holds, in semitones."""
        return self.widest - HELD_LESS


@lru_cache(maxsize=8)
def reach(size: str = "medium") -> Reach:
    """The hand of that size; OptionError if there is none.

    >>> [reach(size).held for size in SIZES]
    [12, 14, 15]
    """
    inches = {row["name"]: row["inches"] for row in table("fingering")["size"]}
    if size not in inches:
        raise OptionError(f"unknown size {shorten(size)}", place="hand", hint=did_you_mean(size, inches))
    pairs = _pairs(inches[size])
    spans = {row["name"]: row["span"] for row in table("fingering")["size"]}
    rows = (tuple(pairs.get(frozenset((a, b)), _SAME_FINGER) for b in FINGERS) for a in FINGERS)
    return Reach(size, tuple(rows), spans[size])


def _pairs(inches: float) -> dict[frozenset[int], Stretch]:
    """The ten pairs of a hand that opens so much wider than the published one."""
    published = {
        frozenset(row["fingers"]): Stretch(*(tuple(row[name]) for name in Stretch.__slots__))
        for row in table("fingering")["pair"]
    }
    farthest = published[frozenset((1, 5))].practical[1]
    semitones = inches * 12 / OCTAVE_INCHES
    return {
        pair: each.wider(round(semitones * each.practical[1] / farthest)) for pair, each in published.items()
    }


def check_pitches(pitches: Collection[int]) -> None:
    """OptionError unless all are MIDI pitches, 0 to 127."""
    for pitch in pitches:
        if not 0 <= pitch <= 127:
            raise OptionError(
                f"{pitch} is not a pitch", place="pitches", hint="Pitches are 0 to 127, C4 is 60."
            )
