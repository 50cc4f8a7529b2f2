"""The idiom of a rhythm, from its file: how syncopated it is, where it closes, and what its lines like.

None of it is a rule: it says how often, not whether.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fillgen.errors import PackError, did_you_mean

INTERVALS: dict[str, tuple[int, ...]] = {
    "repeat": (0,),
    "semitone": (1,),
    "tone": (2,),
    "third": (3, 4),
    "fourth": (5,),
    "fifth": (7,),
    "sixth": (8, 9),
    "octave": (12,),
}
"""The names of leanings to intervals, and their sizes in semitones. ` up` or ` down` after it names one direction."""
MOTIONS = ("arpeggio", "run", "neighbour", "zigzag")
"""Leanings of three notes: two skips the same way; two steps the same way; a step and back; a skip and a skip back."""
TONES = ("root", "third", "fifth", "sixth", "seventh", "ninth")
"""Leanings to a tone of the chord are called `on root` and so on; the sixth and the ninth needn't belong to it."""
LEANINGS = (
    *(f"{name}{way}" for name in INTERVALS for way in ("", " up", " down") if way == "" or name != "repeat"),
    *MOTIONS,
    *(f"on {name}" for name in TONES),
    "guide tone",
    "close on root",
    "close on third",
)
"""Every leaning: of intervals, of three notes, of tones above the root, of thirds and sevenths on strong beats, of the
last note."""
MOST = 3.0
"""The strongest leaning: e to the third power, twenty times as likely as without."""


@dataclass(frozen=True)
class Idiom:
    """How a rhythm is played.

    `light` and `free` are the shares of bars with a syncopated cell, on levels with light syncopation and on levels
    with all of it; `free` is None if the rhythm's file doesn't say. `pushes` is the share of bars whose first note may come
    early, `off_beat_closes` that of phrases whose last note begins off the beat. `leanings` are logarithms of
    weights, by the names in `LEANINGS`.
    """

    light: float = 0.0
    free: float | None = None
    pushes: float = 0.35
    off_beat_closes: float = 0.0
    leanings: Mapping[str, float] = field(default_factory=dict)
    source: str = ""


_SHARES = {
    "light-syncopation": "light",
    "syncopation": "free",
    "pushes": "pushes",
    "off-beat-closes": "off_beat_closes",
}
_KEYS = (*_SHARES, "leanings", "source")


def read_idiom(row: Mapping[str, Any], place: str) -> Idiom:
    """The idiom in a rhythm's table; PackError if something in it is unknown or out of range.

    >>> read_idiom({"syncopation": 0.7, "leanings": {"third up": 0.5}}, "own.toml").free
    0.7
    """
    for key in row:
        if key not in _KEYS:
            raise PackError(f"unknown key {key!r}", place=place, hint=did_you_mean(key, _KEYS))
    shares = {name: _number(row[key], key, 0.0, 1.0, place) for key, name in _SHARES.items() if key in row}
    leanings = row.get("leanings", {})
    if not isinstance(leanings, dict):
        raise PackError("'leanings' must be a table", place=place)
    for name in leanings:
        if name not in LEANINGS:
            raise PackError(f"unknown leaning {name!r}", place=place, hint=did_you_mean(name, LEANINGS))
    source = row.get("source", "")
    if not isinstance(source, str):
        raise PackError("'source' must be text", place=place)
    lean = {name: _number(value, name, -MOST, MOST, place) for name, value in leanings.items()}
    return Idiom(**shares, leanings=lean, source=source)


def _number(value: object, key: str, low: float, high: float, place: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise PackError(f"{key!r} must be a number from {low:g} to {high:g}", place=place)
    return float(value)
