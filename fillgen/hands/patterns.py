"""What the other hands play in a rhythm: bass pattern, left-hand pattern and drums, read from its rule pack."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from fillgen.errors import PackError, did_you_mean
from fillgen.hands.instruments import percussion
from fillgen.hands.playing import LEFT_STYLES
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
_OTHER, _FILL, _CRASH = "b", "fill", "crash"
_KEYS = ("bass", "chords", "left", "pedal", _OTHER)
_MOST_FILLS = 2


@dataclass(frozen=True, slots=True)
class Hit:
    """A drum stroke: tick in the bar, percussion key and velocity."""

    tick: int
    key: int
    velocity: int


Drums = tuple[Hit, ...]
"""The drums of a bar."""


@dataclass(frozen=True, slots=True)
class Accompaniment:
    """A pattern of a rhythm in one metre, bars taken in turn."""

    bass: tuple[tuple[BassNote, ...], ...]
    chords: tuple[Cell, ...]
    drums: tuple[Drums, ...]


@dataclass(frozen=True, slots=True)
class Band:
    """What a rhythm's other hands play in one metre: two patterns, drum fills, and what is struck after a fill.

    Of two fills the first is for the end of four bars, the second for the end of eight or of a section; a single one
    is for those alone. `crash` is added to the bar after them. `left` is how the left hand plays, by the names of
    `LEFT_STYLES`, `pedal` says whether it does so with the pedal.
    """

    a: Accompaniment
    b: Accompaniment
    fills: tuple[Drums, ...] = ()
    crash: Drums = ()
    left: str = "rhythm"
    pedal: bool = False


def band(pack: RulePack, rhythm: str, metre: Metre) -> Band:
    """What a rhythm's other hands play; plain patterns (a long bass note, a long chord, no drums) where it gives none.

    Pattern B has what it names itself, and the rest of A.

    >>> from fillgen.theory.metre import METRES
    >>> march = band(RulePack(), "march", METRES["2/4"])
    >>> march.a.bass[0], march.a.bass == march.b.bass, len(march.fills)
    (((0, 480, '1'), (480, 480, '5')), False, 2)
    """
    row = pack.rhythm_row(rhythm)
    place = f"{pack.place}: rhythm {rhythm}"
    patterns = row.get("accompaniment", {}).get(metre.name, {})
    other = _table(patterns, _OTHER, place)
    _check_keys(patterns, _KEYS, place)
    _check_keys(other, _KEYS[:2], f"{place}: pattern {_OTHER}")
    rows = row.get("drums", {}).get(metre.name, {})
    extra = {key: _table(rows, key, place) for key in (_OTHER, _FILL, _CRASH)}
    own = {name: bars for name, bars in rows.items() if name not in extra}
    usual = Accompaniment(
        _bass_bars(patterns, metre, place) or _plain_bass(metre),
        _chord_bars(patterns, metre, place) or (_whole(metre),),
        read_drums(own, metre, place),
    )
    second = Accompaniment(
        _bass_bars(other, metre, place) or usual.bass,
        _chord_bars(other, metre, place) or usual.chords,
        read_drums(extra[_OTHER], metre, place) if extra[_OTHER] else usual.drums,
    )
    return Band(
        usual,
        second,
        _fills(extra[_FILL], metre, f"{place}: fill"),
        read_drums(extra[_CRASH], metre, f"{place}: crash")[0],
        _left_style(patterns, place),
        _is_pedal(patterns, place),
    )


def fitted_band(usual: Band, old: Metre, new: Metre) -> Band:
    """What the other hands play in a metre, in bars of another: cut off at its end or prolonged by their last beats."""
    if new == old:
        return usual
    return replace(
        usual,
        a=_fitted(usual.a, old, new),
        b=_fitted(usual.b, old, new),
        fills=_fitted_drums(usual.fills, old, new),
        crash=tuple(hit for hit in usual.crash if hit.tick < new.bar),
    )


def _fitted(usual: Accompaniment, old: Metre, new: Metre) -> Accompaniment:
    bass = tuple(bar if bar == WALK else tuple(fitted(bar, old, new)) for bar in usual.bass)
    chords = tuple(cell for each in usual.chords for cell in fitted_cells([each], old, new) or (_whole(new),))
    return Accompaniment(bass, chords, _fitted_drums(usual.drums, old, new))


def _fitted_drums(bars: Iterable[Drums], old: Metre, new: Metre) -> tuple[Drums, ...]:
    moved = [fitted([(hit.tick, 1, hit) for hit in bar], old, new) for bar in bars]
    return tuple(tuple(replace(hit, tick=tick) for tick, _, hit in bar) for bar in moved)


def _table(patterns: Any, key: str, place: str) -> Mapping[str, Any]:
    found = patterns.get(key, {}) if isinstance(patterns, dict) else {}
    if not isinstance(found, dict):
        raise PackError(f"{key!r} is a table", place=place)
    return found


def _check_keys(patterns: Mapping[str, Any], known: Sequence[str], place: str) -> None:
    for key in patterns:
        if key not in known:
            raise PackError(f"unknown key {key!r}", place=place, hint=did_you_mean(key, known))


def _bass_bars(patterns: Any, metre: Metre, place: str) -> tuple[tuple[BassNote, ...], ...]:
    return tuple(read_bass(text, metre, place) for text in _texts(patterns, "bass", place))


def _chord_bars(patterns: Any, metre: Metre, place: str) -> tuple[Cell, ...]:
    return tuple(read_cell(text, metre, place) for text in _texts(patterns, "chords", place))


def _fills(rows: Mapping[str, Any], metre: Metre, place: str) -> tuple[Drums, ...]:
    bars = read_drums(rows, metre, place) if rows else ()
    if len(bars) > _MOST_FILLS:
        raise PackError(f"{len(bars)} bars, but there are {_MOST_FILLS} fills at most", place=place)
    return bars


def _left_style(patterns: Mapping[str, Any], place: str) -> str:
    style = patterns.get("left", LEFT_STYLES[0])
    if style not in LEFT_STYLES:
        raise PackError(
            f"unknown left hand {style!r}", place=place, hint=did_you_mean(str(style), LEFT_STYLES)
        )
    return str(style)


def _is_pedal(patterns: Mapping[str, Any], place: str) -> bool:
    pedal = patterns.get("pedal", False)
    if not isinstance(pedal, bool):
        raise PackError("'pedal' must be true or false", place=place)
    return pedal


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
            band(pack, row["name"], METRES[name])


def _texts(patterns: Any, key: str, place: str) -> list[str]:
    texts = patterns.get(key, []) if isinstance(patterns, dict) else None
    if not isinstance(texts, list) or not all(isinstance(text, str) for text in texts):
        raise PackError(f"{key!r} is a list of texts, one a bar", place=place)
    return texts


def _plain_bass(metre: Metre) -> tuple[tuple[BassNote, ...], ...]:
    return (((0, metre.bar, "1"),),)


@lru_cache(maxsize=512)
def read_bass(text: str, metre: Metre, place: str = "") -> tuple[BassNote, ...]:
    """A bar of bass from its text, such as `1q. 5e 5h`; PackError where it doesn't fill the bar."""
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
        raise PackError(f"bass {text!r} doesn't fill a {metre.name} bar", place=place)
    return tuple(notes)


def read_drums(rows: Mapping[str, Any], metre: Metre, place: str = "") -> tuple[tuple[Hit, ...], ...]:
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


def _hits(rows: Mapping[str, Any], number: int, metre: Metre, place: str) -> list[Hit]:
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
