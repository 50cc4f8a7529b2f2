"""What to vary in a phrase: what is kept, and what the rest becomes."""

from __future__ import annotations

import re
from dataclasses import dataclass

from fillgen.chart.progression import Progression
from fillgen.chart.text import MOST_BARS
from fillgen.errors import OptionError, did_you_mean, listed, shorten
from fillgen.theory.pitch import Key

NEAR = ("like", "unlike", "answer")
"""The values of `near`."""


_PARTS = ("rhythm", "pitches", "contour")


Bars = frozenset[int]
"""Bars, counted from 0."""


@dataclass(frozen=True)
class Variation:
    """What a phrase is to become.

    `bars` are kept as they are, by their numbers; `rhythm`, `pitches` and `contour` are kept all through. `mirror`
    turns it upside down, `level_as` is the level it is put at, `key` the one it is moved to, `near` is `like`,
    `unlike` or `answer`.
    """

    bars: tuple[int, ...] = ()
    rhythm: bool = False
    pitches: bool = False
    contour: bool = False
    mirror: bool = False
    level_as: int | None = None
    key: Key | None = None
    near: str = ""

    @property
    def kept(self) -> tuple[str, ...]:
        """What is kept, in words."""
        return (*("bars",) * bool(self.bars), *(part for part in _PARTS if getattr(self, part)))

    @property
    def aims(self) -> tuple[str, ...]:
        """What the phrase is turned into, in words, but for the key."""
        return (
            *("mirror",) * self.mirror,
            *("another level",) * (self.level_as is not None),
            *(self.near,) * bool(self.near),
        )


def read_keep(text: str) -> Variation:
    """What to keep, from text: numbers of bars (`1,2`, `1-3`) and `rhythm`, `pitches` or `contour`, joined by commas.

    OptionError names what it cannot read.

    >>> read_keep("1-2,rhythm")
    Variation(bars=(1, 2), rhythm=True, pitches=False, contour=False, mirror=False, level_as=None, key=None, near='')
    """
    bars: list[int] = []
    parts: list[str] = []
    for word in (word.strip().lower() for word in text.split(",")):
        if word in _PARTS:
            parts.append(word)
        else:
            bars += _read_bars(word)
    rhythm, pitches, contour = (part in parts for part in _PARTS)
    return Variation(tuple(sorted(set(bars))), rhythm, pitches, contour)


def _read_bars(word: str) -> range:
    match = re.fullmatch(r"([0-9]{1,4})(?:\s*-\s*([0-9]{1,4}))?", word)
    if match is None:
        hint = f"{_asked(did_you_mean(word, _PARTS))}Keep bars by number (1,2 or 1-3), or {listed(_PARTS)}."
        raise OptionError(f"cannot keep {shorten(word)}", hint=hint)
    first, last = int(match[1]), int(match[2] or match[1])
    if last < first or last > MOST_BARS:
        raise OptionError(f"cannot keep the bars {word}", hint="Put the lower number first, such as 1-3.")
    return range(first, last + 1)


def _asked(hint: str) -> str:
    return f"{hint} " if hint.startswith("Did") else ""


_GOES_WITH: dict[str, tuple[str, ...]] = {
    "mirror": ("bars", "rhythm"),
    "another level": (),
    "like": ("bars", "rhythm", "contour"),
    "unlike": ("bars",),
    "answer": (),
}
"""What can be kept with each aim."""


def check_variation(variation: Variation, progression: Progression) -> None:
    """OptionError for a request that contradicts itself or leaves nothing to vary."""
    if variation.near and variation.near not in NEAR:
        raise OptionError(
            f"unknown nearness {shorten(variation.near)}", hint=did_you_mean(variation.near, NEAR)
        )
    if not variation.kept and not variation.aims and variation.key is None:
        hint = (
            "Keep bars (--keep 1,2), the rhythm, the pitches or the contour, or use --mirror, --as LEVEL, "
            "--move-to KEY, --like, --unlike or --answer."
        )
        raise OptionError("there is nothing to vary by", hint=hint)
    if len(variation.aims) > 1:
        raise OptionError(f"{' and '.join(variation.aims)} can't be combined", hint="Use one of them.")
    for aim in variation.aims:
        for part in variation.kept:
            if part not in _GOES_WITH[aim]:
                others = _GOES_WITH[aim]
                hint = f"With it you can keep: {', '.join(others)}." if others else "Use one of them."
                raise OptionError(f"{aim} and keeping {part} can't be combined", hint=hint)
    _check_bars(variation, progression)


def _check_bars(variation: Variation, progression: Progression) -> None:
    first, last = progression.first, progression.first + len(progression.bars) - 1
    for bar in variation.bars:
        if not first <= bar <= last:
            hint = f"The bars are {first} to {last}." if first < last else f"There is only bar {first}."
            raise OptionError(f"there is no bar {bar}", hint=hint)
    if len(set(variation.bars)) == len(progression.bars):
        raise OptionError("nothing is left to vary: all bars are kept", hint="Keep fewer bars.")
    if variation.pitches and variation.rhythm:
        raise OptionError(
            "nothing is left to vary: rhythm and pitches are both kept",
            hint="Keep one of them, or some bars.",
        )


def kept_bars(variation: Variation, progression: Progression) -> Bars:
    """The bars that are kept, counted from 0."""
    return frozenset(bar - progression.first for bar in variation.bars)
