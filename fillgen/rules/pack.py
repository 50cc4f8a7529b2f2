"""Rule packs: levels, rhythms, shapes, forms and weights, read from TOML and checked before they are used.

A player's own pack has the same form as the built-in tables and is laid over them: what it names is added or
replaces what has the same name.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any, TypeVar

from fillgen.chart.loops import pop_loop
from fillgen.chart.progression import Progression
from fillgen.errors import OptionError, PackError, did_you_mean, shorten
from fillgen.rules.idiom import Idiom, read_idiom
from fillgen.rules.rule import Rule, RuleSetting, RuleUse
from fillgen.rules.rulebook import RULES
from fillgen.tables import Table, plain_name, read_table, table
from fillgen.theory.metre import LENGTHS, METRES, TICKS, Metre, is_triplet
from fillgen.theory.pitch import read_pitch

BUSY = ("few", "some", "many")
"""How many notes a phrase has."""
TERMS = (
    "shape",
    "habit",
    "steps",
    "flow",
    "turns",
    "echo",
    "motif",
    "order",
    "close",
    "register",
    "key",
    "colour",
    "idiom",
    "ease",
)
"""The terms of the score that a pack may weigh; `ease` counts if a size of hand is given."""
DEVICES = (
    "appoggiatura",
    "chromatic approach",
    "enclosure",
    "aimed triplet",
    "guide tones",
    "broken chord",
)
"""What a line of the highest level may show; `fillgen.engine.devices` defines each."""
_REST = "z"


@dataclass(frozen=True, slots=True)
class Cell:
    """A rhythm cell: onset and length of each note of a bar, in ticks from its start.

    It is lightly syncopated (`light`) where just one of its notes is syncopated.
    """

    text: str
    notes: tuple[tuple[int, int], ...]
    syncopated: bool
    triplets: bool
    light: bool = False


Pair = tuple[Cell, Cell]
"""A pattern of two bars: the cell of an odd bar and that of an even one."""


@dataclass(frozen=True)
class Rhythm:
    """A rhythm: its cells for each metre and busy-ness, its tempo in quarter notes a minute, whether it swings.

    Where it is played in patterns of two bars, `pairs` holds them.
    """

    name: str
    says: str
    swing: bool
    tempo: int
    tempo_range: tuple[int, int]
    source: str
    cells: Mapping[tuple[str, str], tuple[Cell, ...]]
    closes: Mapping[tuple[str, str], tuple[Cell, ...]]
    pairs: Mapping[tuple[str, str], tuple[Pair, ...]] = field(default_factory=dict)
    idiom: Idiom = field(default_factory=Idiom)

    @property
    def metres(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(name for name, _ in self.cells))


_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Shape:
    """A shape: heights from 0 to 1 over the time of a phrase from 0 to 1, straight between its points."""

    name: str
    says: str
    points: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Form:
    """How the bars of a phrase answer one another: a letter for each bar."""

    letters: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Level:
    """A level of the ladder: its range (MIDI numbers), what its rhythms may do, and its rules.

    Every idea of a level with `devices` shows one of them; they are those of `fillgen.engine.devices`.
    """

    number: int
    name: str
    says: str
    low: int
    high: int
    syncopation: bool
    pushes: bool
    triplets: bool
    one_a_chord: bool
    uses: tuple[RuleUse, ...]
    light_syncopation: bool = False
    devices: tuple[str, ...] = ()

    def plays(self, cell: Cell) -> bool:
        """Whether the level's rhythms do what a cell does."""
        straight = self.syncopation or not cell.syncopated or (self.light_syncopation and cell.light)
        return straight and (self.triplets or not cell.triplets)


class RulePack:
    """The built-in tables, with a player's own pack laid over them where there is one.

    >>> RulePack().level(3).name
    'passing notes'
    """

    def __init__(self, own: Table | None = None, place: str = "rules") -> None:
        self.own = own or {}
        self.place = place
        _check_keys(self.own, _PACK, place)

    @classmethod
    def read(cls, path: Path) -> RulePack:
        """A pack with a player's own file laid over the built-in tables; PackError if it is wrong."""
        pack = cls(read_table(path), str(path))
        pack.check()
        return pack

    def check(self) -> None:
        """Read everything in the pack, so that mistakes show at once."""
        for group, key, schema in (("level", "number", _LEVEL), ("rhythm", "name", _RHYTHM)):
            rows = _rows(self.own, group, self.place)
            for row in rows:
                _check_keys(row, schema, f"{self.place}: {group} {row.get(key)!r}", (key,))
            _check_once([row[key] for row in rows], group, self.place)
        for number in self.level_numbers:
            self.level(number)
        for row in _rows(self.own, "rhythm", self.place):
            self.rhythm(row["name"])
        _ = self.shapes, self.forms, self.weights

    @property
    def digest(self) -> str:
        """A short fingerprint of the player's own part, `built-in` if there is none."""
        if not self.own:
            return "built-in"
        return f"{zlib.crc32(repr(_sorted(self.own)).encode()):08x}"

    def default(self, name: str) -> Any:
        return table("defaults")[name]

    # Levels

    @property
    def level_numbers(self) -> tuple[int, ...]:
        built_in = [row["number"] for row in table("levels")["level"]]
        own = [row.get("number") for row in _rows(self.own, "level", self.place)]
        return tuple(sorted({*built_in, *(n for n in own if isinstance(n, int))}))

    @lru_cache(maxsize=16)  # noqa: B019 - a pack lives as long as the program
    def level(self, number: int) -> Level:
        """The level of that number; OptionError if there is none."""
        for row in _rows(self.own, "level", self.place):
            if row.get("number") == number:
                place = f"{self.place}: level {number}"
                return _level(_filled(row, place), place)
        for row in table("levels")["level"]:
            if row["number"] == number:
                return _level(row, f"levels.toml: level {number}")
        known = ", ".join(map(str, self.level_numbers))
        raise OptionError(f"there is no level {number}", hint=f"The levels are {known}.")

    # Rhythms

    @cached_property
    def rhythm_names(self) -> tuple[str, ...]:
        own = [str(row.get("name")) for row in _rows(self.own, "rhythm", self.place)]
        return tuple(dict.fromkeys([*table("defaults")["rhythm-files"], *own]))

    @lru_cache(maxsize=32)  # noqa: B019 - a pack lives as long as the program
    def rhythm(self, name: str) -> Rhythm:
        """The rhythm of that name; capitals and hyphens do not matter. OptionError if there is none."""
        row = self.rhythm_row(name)
        return _rhythm(row, f"{self.place}: rhythm {row.get('name')!r}")

    def rhythm_row(self, name: str) -> Table:
        """What the pack says about a rhythm, as written there; OptionError if there is none."""
        wanted = plain_name(name)
        for row in _rows(self.own, "rhythm", self.place):
            if plain_name(str(row.get("name"))) == wanted:
                return row
        for known, stem in table("defaults")["rhythm-files"].items():
            if plain_name(known) == wanted:
                row = table(f"rhythms/{stem}")["rhythm"][0]
                return dict(row)
        raise OptionError(f"unknown rhythm {shorten(name)}", hint=did_you_mean(name, self.rhythm_names))

    def known_rhythm(self, name: str, metre: Metre) -> str | None:
        """The name of a rhythm that an idea was made in; None where this pack has no such rhythm in the metre.

        PackError where the pack has it and can't be used.

        >>> RulePack().known_rhythm("swing", METRES["4/4"]), RulePack().known_rhythm("swing", METRES["3/4"])
        ('swing', None)
        """
        return name if name in self.rhythm_names and metre.name in self.rhythm(name).metres else None

    def rhythm_for(self, metre: Metre) -> str:
        """The default rhythm of a metre."""
        return str(self.default("rhythm-for")[metre.name])

    def usual_rhythm(self, progression: Progression) -> str:
        """The default rhythm of a chart: that of its metre, a pop rhythm for a pop song's loop.

        >>> from fillgen.chart.text import parse_chart
        >>> [RulePack().usual_rhythm(parse_chart(text)) for text in ("| F | Dm | Bb | C |", "| F | Dm7 | Gm7 | C7 |")]
        ['eight-beat', 'foxtrot']
        """
        pop = table("loops")["rhythm-for"].get(progression.metre.name)
        return str(pop) if pop and pop_loop(progression) else self.rhythm_for(progression.metre)

    # Shapes, forms, weights

    @cached_property
    def shapes(self) -> dict[str, Shape]:
        rows = [*table("shapes")["shape"], *_rows(self.own, "shape", self.place)]
        return {shape.name: shape for shape in (_shape(row, self.place) for row in rows)}

    @cached_property
    def forms(self) -> dict[int, tuple[Form, ...]]:
        rows = _rows(self.own, "form", self.place) or table("forms")["form"]
        by_bars: dict[int, tuple[Form, ...]] = {}
        for row in rows:
            form = _form(row, self.place)
            by_bars[len(form.letters)] = (*by_bars.get(len(form.letters), ()), form)
        for row in () if rows is table("forms")["form"] else table("forms")["form"]:
            by_bars.setdefault(row["bars"], (Form(tuple(row["letters"])),))
        return by_bars

    def says(self, term: str) -> str:
        """What a term of the score measures."""
        return str(table("score")["says"][term])

    @cached_property
    def weights(self) -> dict[str, float]:
        own = self.own.get("weights", {})
        merged: dict[str, Any] = {**table("score")["weights"], **own}
        where = f"{self.place}: weights"
        for name, weight in merged.items():
            if name not in TERMS:
                raise PackError(f"unknown term {name!r}", place=where, hint=did_you_mean(name, TERMS))
            if not _is_number(weight) or not 0 <= weight <= 100:
                raise PackError(f"the weight of {name!r} must be a number from 0 to 100", place=where)
        if not any(merged.values()):
            raise PackError("every weight is 0, so nothing can be ranked", place=where)
        return {name: float(merged.get(name, 0)) for name in TERMS}


# What a pack may hold: for each key its type, and whether it must be there

_PACK = {"level": list, "rhythm": list, "shape": list, "form": list, "weights": dict}
_LEVEL = {
    "number": int,
    "like": int,
    "without": list,
    "name": str,
    "says": str,
    "low": str,
    "high": str,
    "syncopation": bool,
    "light-syncopation": bool,
    "pushes": bool,
    "triplets": bool,
    "devices": list,
    "one-a-chord": bool,
    "rule": list,
}
_RHYTHM = {
    "name": str,
    "says": str,
    "swing": bool,
    "tempo": int,
    "tempo-range": list,
    "source": str,
    "cells": dict,
    "closes": dict,
    "pairs": dict,
    "idiom": dict,
    "accompaniment": dict,
    "drums": dict,
}
_SHAPE = {"name": str, "says": str, "points": list}
_FORM = {"bars": int, "letters": list}
_TYPE_NAMES = {int: "a whole number", str: "text", bool: "true or false", list: "a list", dict: "a table"}


def _check_keys(row: Table, schema: Mapping[str, type], place: str, required: Iterable[str] = ()) -> None:
    for key, value in row.items():
        if key not in schema:
            raise PackError(f"unknown key {key!r}", place=place, hint=did_you_mean(key, schema))
        kind = schema[key]
        if not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
            raise PackError(f"{key!r} must be {_TYPE_NAMES[kind]}", place=place)
    for key in required:
        if key not in row:
            raise PackError(f"{key!r} is missing", place=place)


def _check_once(names: Sequence[object], group: str, place: str) -> None:
    for name in names:
        if names.count(name) > 1:
            raise PackError(f"{group} {name!r} is given twice", place=place)


def _rows(own: Table, group: str, place: str) -> list[Table]:
    rows = own.get(group, [])
    for row in rows:
        if not isinstance(row, dict):
            raise PackError(f"{group!r} must be written as [[{group}]]", place=place)
    return list(rows)


def _sorted(value: Any) -> Any:
    """Tables with their keys in order, so that the same pack has the same fingerprint."""
    if isinstance(value, dict):
        return [(key, _sorted(value[key])) for key in sorted(value)]
    return [_sorted(item) for item in value] if isinstance(value, list) else value


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < math.inf


# Levels


def _filled(row: Table, place: str) -> Table:
    """A level with what it takes over from the built-in level that it is `like`."""
    _check_keys(row, _LEVEL, place)
    if "like" not in row:
        return row
    base = next((r for r in table("levels")["level"] if r["number"] == row["like"]), None)
    if base is None:
        raise PackError(f"'like' names level {row['like']}, which is not built in", place=place)
    own_rules = _rows(row, "rule", place)
    given = [*(rule.get("kind") for rule in own_rules), *row.get("without", [])]
    replaced = {_known_rule(kind, place).kind for kind in given}
    kept = [rule for rule in base["rule"] if rule["kind"] not in replaced]
    return {**base, **row, "rule": [*kept, *own_rules]}


def _level(row: Table, place: str) -> Level:
    _check_keys(row, _LEVEL, place, ("number", "low", "high", "rule"))
    low, high = _pitch(row, "low", place), _pitch(row, "high", place)
    if low > high:
        raise PackError(f"'low' ({row['low']}) is above 'high' ({row['high']})", place=place)
    uses = tuple(_use(rule, place) for rule in _rows(row, "rule", place))
    _check_together(uses, place)
    return Level(
        number=row["number"],
        name=row.get("name", f"level {row['number']}"),
        says=row.get("says", ""),
        low=low,
        high=high,
        syncopation=row.get("syncopation", False),
        pushes=row.get("pushes", False),
        triplets=row.get("triplets", False),
        one_a_chord=row.get("one-a-chord", False),
        uses=uses,
        light_syncopation=row.get("light-syncopation", False),
        devices=_devices(row.get("devices", []), place),
    )


def _devices(names: Sequence[object], place: str) -> tuple[str, ...]:
    for name in names:
        if name not in DEVICES:
            raise PackError(f"unknown device {name!r}", place=place, hint=did_you_mean(str(name), DEVICES))
    return tuple(str(name) for name in names)


def _pitch(row: Table, key: str, place: str) -> int:
    try:
        return read_pitch(row[key])
    except ValueError:
        raise PackError(f"{key!r} must be a pitch such as D4, not {row[key]!r}", place=place) from None


def _known_rule(kind: object, place: str) -> Rule:
    if not isinstance(kind, str) or kind not in RULES:
        raise PackError(f"unknown rule {kind!r}", place=place, hint=did_you_mean(str(kind), RULES))
    return RULES[kind]


def _use(row: Table, place: str) -> RuleUse:
    rule = _known_rule(row.get("kind"), place)
    where = f"{place}: rule {rule.kind}"
    settings = {key: value for key, value in row.items() if key != "kind"}
    for key, value in settings.items():
        if key not in rule.settings:
            raise PackError(f"unknown key {key!r}", place=where, hint=did_you_mean(key, rule.settings))
        _check_setting(key, value, rule.settings[key], where)
    missing = [
        key
        for key, setting in rule.settings.items()
        if setting.needed and not setting.words and key not in settings
    ]
    if missing:
        raise PackError(f"{missing[0]!r} is missing", place=where)
    return RuleUse(rule, {k: tuple(v) if isinstance(v, list) else v for k, v in settings.items()})


def _check_setting(key: str, value: object, setting: RuleSetting, place: str) -> None:
    if setting.words:
        if not isinstance(value, list):
            raise PackError(f"{key!r} must be a list of words", place=place)
        for word in value:
            if word not in setting.words:
                hint = did_you_mean(str(word), setting.words)
                raise PackError(f"{key!r} can't contain {word!r}", place=place, hint=hint)
    elif not _is_number(value) or (setting.whole and not isinstance(value, int)):
        raise PackError(f"{key!r} must be a {'whole ' if setting.whole else ''}number", place=place)
    elif isinstance(value, int | float) and not setting.low <= value <= setting.high:
        raise PackError(f"{key!r} must be between {setting.low} and {setting.high}", place=place)


def _check_together(uses: Sequence[RuleUse], place: str) -> None:
    """Refuse duplicate or contradictory rules."""
    by_kind: dict[str, RuleUse] = {}
    for use in uses:
        if use.rule.kind in by_kind:
            raise PackError(f"rule {use.rule.kind!r} is given twice", place=place)
        by_kind[use.rule.kind] = use
    foreign = _words(by_kind, "non-chord-note", "allow")
    leaning = "appoggiatura" in _words(by_kind, "strong-beat", "allow")
    if "root-only" in by_kind and foreign:
        raise PackError("rule 'root-only' leaves no room for 'non-chord-note'", place=place)
    if ("appoggiatura" in foreign) != leaning and "strong-beat" in by_kind:
        hint = "Name 'appoggiatura' in the 'allow' of both or of neither."
        raise PackError("'strong-beat' and 'non-chord-note' contradict each other", place=place, hint=hint)
    if "approach" in foreign and "enclosure-closes" not in by_kind:
        raise PackError("'approach' needs the rule 'enclosure-closes' as well", place=place)
    if "non-chord-note" not in by_kind and "root-only" not in by_kind:
        hint = "Add it, with an empty 'allow' for chord notes only."
        raise PackError("the rule 'non-chord-note' is missing", place=place, hint=hint)


def _words(by_kind: Mapping[str, RuleUse], kind: str, key: str) -> tuple[str, ...]:
    return tuple(by_kind[kind].settings.get(key, ())) if kind in by_kind else ()


# Rhythms


def _rhythm(row: Table, place: str) -> Rhythm:
    _check_keys(row, _RHYTHM, place, ("name", "tempo", "cells", "closes"))
    low, high = _tempo_range(row, place)
    if not low <= row["tempo"] <= high:
        raise PackError(f"the tempo {row['tempo']} is outside its range {low} to {high}", place=place)
    cells = _cells(row["cells"], f"{place}: cells")
    closes = _cells(row["closes"], f"{place}: closes")
    for metre_name, busy in sorted(cells.keys() - closes.keys()):
        raise PackError(f"{metre_name} {busy!r} has cells but no closes", place=place)
    pairs = _groups(row.get("pairs", {}), f"{place}: pairs", _pair)
    return Rhythm(
        row["name"],
        row.get("says", ""),
        row.get("swing", False),
        row["tempo"],
        (low, high),
        row.get("source", ""),
        {where: _with_pairs(found, pairs.get(where, ())) for where, found in cells.items()},
        closes,
        pairs,
        read_idiom(row.get("idiom", {}), f"{place}: idiom"),
    )


def _with_pairs(cells: tuple[Cell, ...], pairs: Sequence[Pair]) -> tuple[Cell, ...]:
    """The cells of a rhythm, and those used only in a pattern of two bars."""
    by_notes = {cell.notes: cell for cell in cells}
    for pair in pairs:
        for cell in pair:
            by_notes.setdefault(cell.notes, cell)
    return tuple(by_notes.values())


def _tempo_range(row: Table, place: str) -> tuple[int, int]:
    bounds = row.get("tempo-range", [20, 400])
    if len(bounds) != 2 or not all(_is_number(b) for b in bounds) or not 20 <= bounds[0] <= bounds[1] <= 400:
        raise PackError("'tempo-range' must be two numbers from 20 to 400, the lower first", place=place)
    return int(bounds[0]), int(bounds[1])


T = TypeVar("T")


def _cells(groups: Table, place: str) -> dict[tuple[str, str], tuple[Cell, ...]]:
    cells = _groups(groups, place, _cell)
    if not cells:
        raise PackError("there are no cells", place=place)
    return cells


def _groups(
    groups: Table, place: str, read: Callable[[object, Metre, str], T]
) -> dict[tuple[str, str], tuple[T, ...]]:
    """The cells for each metre and busy-ness, read from text."""
    found = {}
    for metre_name, group in groups.items():
        if metre_name not in METRES:
            raise PackError(
                f"unknown metre {metre_name!r}", place=place, hint=did_you_mean(metre_name, METRES)
            )
        where = f"{place}: {metre_name}"
        if not isinstance(group, dict):
            raise PackError("must be a table of few, some and many", place=where)
        _check_keys(group, dict.fromkeys(BUSY, list), where)
        for busy, texts in group.items():
            if not texts:
                raise PackError(f"{busy!r} is empty", place=where)
            found[metre_name, busy] = tuple(read(t, METRES[metre_name], f"{where}: {busy}") for t in texts)
    return found


def _pair(text: object, metre: Metre, place: str) -> Pair:
    bars = text.split("|") if isinstance(text, str) else []
    if len(bars) != 2:
        raise PackError("a pattern of two bars must be text such as 'q. q. q | rq q h'", place=place)
    return read_cell(bars[0].strip(), metre, place), read_cell(bars[1].strip(), metre, place)


def _cell(text: object, metre: Metre, place: str) -> Cell:
    if not isinstance(text, str):
        raise PackError("a cell must be text such as 'q. e h'", place=place)
    return read_cell(text, metre, place)


@lru_cache(maxsize=4096)
def read_cell(text: str, metre: Metre, place: str = "") -> Cell:
    """A rhythm cell from its text, such as `q. e rq q~`; PackError if it does not fill the bar.

    >>> read_cell("q. e rq q", METRES["4/4"]).notes
    ((0, 720), (720, 240), (1440, 480))
    """
    notes: list[tuple[int, int]] = []
    at, tied = 0, False
    for token in text.split():
        length, rest, ties = read_length(token, text, place)
        if tied and rest:
            raise PackError(f"cell {text!r} ties a note to a rest", place=place)
        if tied:
            notes[-1] = (notes[-1][0], notes[-1][1] + length)
        elif not rest:
            notes.append((at, length))
        tied = ties
        at += length
    if at != metre.bar:
        raise PackError(
            f"cell {text!r} lasts {at / TICKS:g} quarter notes, the bar {metre.bar / TICKS:g}", place=place
        )
    if not notes or tied:
        raise PackError(f"cell {text!r} {'ends with an open tie' if tied else 'has no note'}", place=place)
    return cell_of(tuple(notes), metre, text)


def fitted(notes: Sequence[tuple[int, int, _T]], old: Metre, new: Metre) -> list[tuple[int, int, _T]]:
    """Notes of a bar (onset, length and what they are) in a bar of another metre: cut off at its end, or prolonged.

    What is added are the last beats of the old bar. The missing beats are those at the end of the old bar, as often as it takes; a note that lasts to the end of
    the old bar goes on to the next one.

    >>> fitted([(0, 720, "a"), (720, 240, "b"), (960, 960, "c")], METRES["4/4"], METRES["2/4"])
    [(0, 720, 'a'), (720, 240, 'b')]
    >>> fitted([(0, 960, "a"), (960, 240, "b"), (1200, 240, "c")], METRES["3/4"], METRES["4/4"])[3:]
    [(1440, 240, 'b'), (1680, 240, 'c')]
    """
    found = list(notes)
    step = min(old.bar, max(0, new.bar - old.bar))
    tail = [note for note in notes if note[0] >= old.bar - step]
    for shift in range(step, new.bar - old.bar + step, step or 1):
        found += [(onset + shift, length, what) for onset, length, what in tail]
    following = [*(onset for onset, _, _ in found[1:]), new.bar]
    return [
        (onset, min(after if onset + length == old.bar else onset + length, new.bar) - onset, what)
        for (onset, length, what), after in zip(found, following, strict=True)
        if onset < new.bar
    ]


def fitted_cells(cells: Sequence[Cell], old: Metre, new: Metre) -> tuple[Cell, ...]:
    """The cells of a metre in bars of another (see `fitted`), each once."""
    if new == old:
        return tuple(cells)
    moved = [fitted([(*note, None) for note in cell.notes], old, new) for cell in cells]
    rows = dict.fromkeys(tuple((onset, length) for onset, length, _ in row) for row in moved)
    return tuple(cell_of(row, new) for row in rows if row)


def cell_of(notes: tuple[tuple[int, int], ...], metre: Metre, text: str = "") -> Cell:
    """A cell from its notes: onsets and lengths in ticks."""
    crossing = sum(metre.crosses(onset, length) for onset, length in notes)
    triplets = any(is_triplet(onset) or is_triplet(length) for onset, length in notes)
    return Cell(text, notes, crossing > 0, triplets, crossing == 1)


def read_length(token: str, text: str, place: str) -> tuple[int, bool, bool]:
    """The ticks of a length in a cell, whether it is a rest, and whether it is tied to the next."""
    rest = token.startswith("r")
    letters = token.removeprefix("r").removesuffix("~")
    if letters not in LENGTHS:
        hint = did_you_mean(letters, LENGTHS) or "Write lengths like q, q., e or et."
        raise PackError(f"unknown length {token!r} in cell {text!r}", place=place, hint=hint)
    return LENGTHS[letters], rest, token.endswith("~")


# Shapes and forms


def _shape(row: Table, place: str) -> Shape:
    where = f"{place}: shape {row.get('name')!r}"
    _check_keys(row, _SHAPE, where, ("name", "points"))
    points = row["points"]
    for point in points:
        if (
            not isinstance(point, list)
            or len(point) != 2
            or not all(_is_number(x) and 0 <= x <= 1 for x in point)
        ):
            raise PackError("a point must be a time and a height, both from 0 to 1", place=where)
    times = [point[0] for point in points]
    if len(points) < 2 or times[0] != 0 or times[-1] != 1 or times != sorted(set(times)):
        raise PackError("the times of the points must rise from 0 to 1", place=where)
    if len({point[1] for point in points}) == 1:
        raise PackError("all heights are the same, so the shape is flat", place=where)
    return Shape(row["name"], row.get("says", ""), tuple((float(t), float(h)) for t, h in points))


def _form(row: Table, place: str) -> Form:
    where = f"{place}: form {row.get('letters')!r}"
    _check_keys(row, _FORM, where, ("letters",))
    letters = row["letters"]
    if not letters or not all(isinstance(x, str) and x.rstrip("'").isalpha() for x in letters):
        raise PackError('\'letters\' must be a list such as ["a", "a\'", "b", "z"]', place=where)
    if row.get("bars", len(letters)) != len(letters):
        raise PackError(f"{row['bars']} bars, but {len(letters)} letters", place=where)
    if letters[-1] != _REST or _REST in letters[:-1]:
        raise PackError("'z' must be the last bar and no other", place=where)
    return Form(tuple(letters))
