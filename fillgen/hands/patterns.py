"""What the other hands play in a rhythm: bass pattern, left-hand pattern and drums, read from its rule pack."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from fillgen.chart.progression import Progression
from fillgen.errors import PackError, did_you_mean
from fillgen.hands.instruments import percussion
from fillgen.rules.pack import Cell, RulePack, fitted, fitted_cells, read_cell, read_length
from fillgen.tables import Table
from fillgen.theory.metre import METRES, Metre

BassNote = tuple[int, int, str]
"""Tick in the bar, ticks of length, and what it is: `1` root or slash bass, `3`, `5`, `8` the root an octave up, `a`
an approach to the next chord."""
WALK: tuple[BassNote, ...] = ((0, 0, "walk"),)
"""A bar in which the bass walks in beats."""
LOUDNESS = {"X": 104, "x": 84, "o": 58}
"""MIDI velocities of the drum steps: accent, normal, soft."""
_DEGREES = ("1", "3", "5", "8", "a")
_KEYS = ("bass", "chords")


@dataclass(frozen=True, slots=True)
class Hit:
    """A drum stroke: tick in the bar, percussion key and velocity."""

    tick: int
    key: int
    velocity: int


@dataclass(frozen=True, slots=True)
class Accompaniment:
    """Patterns of a rhythm in one metre, bars taken in turn."""

    bass: tuple[tuple[BassNote, ...], ...]
    chords: tuple[Cell, ...]
    drums: tuple[tuple[Hit, ...], ...]


def accompaniment(pack: RulePack, rhythm: str, metre: Metre) -> Accompaniment:
    """The patterns of a rhythm; a plain one (a long bass note, a long chord, no drums) where it gives none.

    >>> from fillgen.theory.metre import METRES
    >>> accompaniment(RulePack(), "march", METRES["2/4"]).bass[0]
    ((0, 480, '1'), (480, 480, '5'))
    """
    row = pack.rhythm_row(rhythm)
    place = f"{pack.place}: rhythm {rhythm}"
    patterns = row.get("accompaniment", {}).get(metre.name, {})
    for key in patterns:
        if key not in _KEYS:
            raise PackError(f"unknown key {key!r}", place=place, hint=did_you_mean(key, _KEYS))
    drums = row.get("drums", {}).get(metre.name, {})
    return Accompaniment(
        tuple(read_bass(text, metre, place) for text in _texts(patterns, "bass", place))
        or _plain_bass(metre),
        tuple(read_cell(text, metre, place) for text in _texts(patterns, "chords", place))
        or (_whole(metre),),
        read_drums(drums, metre, place),
    )


def accompaniment_over(pack: RulePack, rhythm: str, progression: Progression) -> Accompaniment:
    """The patterns of a rhythm over a chart: for bars of several metres one a bar.

    A bar of another metre than the chart's has the rhythm's patterns of that metre; where there are none, those of the
    chart's metre, cut off at the end of the bar or prolonged by their last beats.
    """
    usual = accompaniment(pack, rhythm, progression.metre)
    if not progression.metres:
        return usual
    row = pack.rhythm_row(rhythm)
    of_metre = {
        metre: accompaniment(pack, rhythm, metre)
        if metre.name in row.get("accompaniment", {})
        else _fitted(usual, progression.metre, metre)
        for metre in progression.all_metres
    }
    bars = [(number, of_metre[metre]) for number, metre in enumerate(progression.metres)]
    return Accompaniment(
        tuple(own.bass[number % len(own.bass)] for number, own in bars),
        tuple(own.chords[number % len(own.chords)] for number, own in bars),
        tuple(own.drums[number % len(own.drums)] for number, own in bars),
    )


def _fitted(usual: Accompaniment, old: Metre, new: Metre) -> Accompaniment:
    """Patterns of a metre in bars of another."""
    bass = tuple(bar if bar == WALK or new == old else tuple(fitted(bar, old, new)) for bar in usual.bass)
    chords = tuple(cell for each in usual.chords for cell in fitted_cells([each], old, new) or (_whole(new),))
    drums = [fitted([(hit.tick, 1, hit) for hit in bar], old, new) for bar in usual.drums]
    return Accompaniment(
        bass, chords, tuple(tuple(replace(hit, tick=tick) for tick, _, hit in bar) for bar in drums)
    )


def _whole(metre: Metre) -> Cell:
    return Cell("", ((0, metre.bar),), False, False)


def read_pack(path: Path) -> RulePack:
    """A player's own pack, with everything its rhythms say of other hands checked as well."""
    pack = RulePack.read(path)
    for row in pack.own.get("rhythm", []):
        _check_accompaniment(row, pack)
    return pack


def _check_accompaniment(row: Table, pack: RulePack) -> None:
    for group in ("accompaniment", "drums"):
        place = f"{pack.place}: rhythm {row['name']}: {group}"
        for name, patterns in row.get(group, {}).items():
            if name not in METRES:
                raise PackError(f"unknown metre {name!r}", place=place, hint=did_you_mean(name, METRES))
            if not isinstance(patterns, dict):
                raise PackError(f"{name!r} is a table", place=place)
            accompaniment(pack, row["name"], METRES[name])


def _texts(patterns: Any, key: str, place: str) -> list[str]:
    texts = patterns.get(key, []) if isinstance(patterns, dict) else None
    if not isinstance(texts, list) or not all(isinstance(text, str) for text in texts):
        raise PackError(f"{key!r} is a list of texts, one a bar", place=place)
    return texts


def _plain_bass(metre: Metre) -> tuple[tuple[BassNote, ...], ...]:
    return (((0, metre.bar, "1"),),)


@lru_cache(maxsize=512)
def read_bass(text: str, metre: Metre, place: str = "") -> tuple[BassNote, ...]:
    """A bar of bass from its text, such as `1q. 5e 5h`; PackError where it does not fill the bar."""
    if text == "walk":
        return WALK
    notes: list[BassNote] = []
    at, tied = 0, False
    for token in text.split():
        is_rest = token.startswith("r")
        degree, letters = ("", token) if is_rest else (token[:1], token[1:])
        length, _, ties = read_length(letters, text, place)
        if not is_rest and degree not in _DEGREES:
            raise PackError(f"unknown bass note {token!r}", place=place, hint=did_you_mean(degree, _DEGREES))
        if tied:
            onset, before, same = notes.pop()
            if degree != same:
                raise PackError(f"bass {text!r} ties {same!r} to another note", place=place)
            notes.append((onset, before + length, same))
        elif not is_rest:
            notes.append((at, length, degree))
        at, tied = at + length, ties and not is_rest
    if tied or at != metre.bar or not notes:
        raise PackError(f"bass {text!r} does not fill a {metre.name} bar", place=place)
    return tuple(notes)


def read_drums(rows: Mapping[str, list[str]], metre: Metre, place: str = "") -> tuple[tuple[Hit, ...], ...]:
    """The drum bars of a rhythm: as many as the longest row has, shorter rows begin again."""
    if not rows:
        return ((),)
    for name, bars in rows.items():
        if not isinstance(bars, list) or not bars or not all(isinstance(bar, str) for bar in bars):
            raise PackError(f"{name!r} is a list of texts, one a bar", place=place)
    count = max(len(bars) for bars in rows.values())
    return tuple(
        tuple(sorted(_hits(rows, number, metre, place), key=lambda hit: (hit.tick, hit.key)))
        for number in range(count)
    )


def _hits(rows: Mapping[str, list[str]], number: int, metre: Metre, place: str) -> list[Hit]:
    hits = []
    for name, bars in rows.items():
        steps = bars[number % len(bars)]
        if not steps or metre.bar % len(steps) or set(steps) - {*LOUDNESS, "."}:
            raise PackError(
                f"drum bar {steps!r} of {name!r} is steps of X x o . that share the bar", place=place
            )
        width, key = metre.bar // len(steps), _percussion(name, place)
        hits += [Hit(n * width, key, LOUDNESS[step]) for n, step in enumerate(steps) if step != "."]
    return hits


def _percussion(name: str, place: str) -> int:
    try:
        return percussion(name)
    except PackError as error:
        raise PackError(error.message, place=place, hint=error.hint) from None
