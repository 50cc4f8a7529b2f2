"""Plans: what a phrase is before it has pitches. A rhythm for each bar, a shape, and the gestures that come back.

Bars answer one another by form: bars with the same letter share a rhythm cell and a gesture, so that a phrase
has an idea in it and isn't a row of unrelated bars.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from fillgen.chart.progression import Progression
from fillgen.dice import Dice
from fillgen.engine.never import mistimed
from fillgen.errors import OptionError
from fillgen.rules.pack import Cell, Level, Pair, Rhythm, RulePack, Shape
from fillgen.theory.metre import TICKS

PUSH = TICKS // 2
"""How much earlier a pushed note comes, in ticks."""
_GESTURES = ((2, 2, 2, 2), (2, 2, 4, 2), (4, 3, 2, 2), (2, 4, 2, 2), (3, 4, 3, 2), (2, 2, 5, 2))
_TRIES = 12
_IN_PAIRS = 0.75
"""How often a rhythm that has patterns of two bars plays one."""

Fits = Callable[[int, Cell], bool]
"""Whether a cell can have pitches at all in the bar of that number."""
Rhythm_ = tuple[tuple[int, int], ...]
"""Onset and length of each note of a phrase, in ticks from its start."""


@dataclass(frozen=True, slots=True)
class Plan:
    """A rhythm for a whole phrase with its shape.

    `letters` names the form's letter of each bar, `wishes` the interval (in semitones) that the gesture of the bar
    would like between each note and the next, 0 where it has no wish.
    """

    rhythm: Rhythm_
    letters: tuple[str, ...]
    wishes: tuple[int, ...]
    shape: Shape


def plans(
    progression: Progression,
    level: Level,
    rhythm: Rhythm,
    busy: str,
    shapes: Sequence[Shape],
    pack: RulePack,
    fits: Fits,
    dice: Dice,
    leave: int = 0,
    firm: bool = False,
    fixed: Mapping[int, Rhythm_] | None = None,
) -> Iterator[Plan]:
    """Plans without end that differ in rhythm, as long as there are different ones to be had.

    `leave` are ticks at the end of the last bar that stay free; a `firm` close lands on the last
    chord with its last note. `fixed` are bars, counted from 0, whose notes are given already, in ticks from the start
    of the phrase; bars of the same letter take their rhythm from them. A fixed note that begins before its bar is one
    that the bar before holds into it where it can. Raises OptionError where the rhythm is not played in the chart's
    metre.
    """
    cells, closes = stock(progression, level, rhythm, busy, leave=leave, firm=firm)
    pairs = [*_pairs(progression, level, rhythm, busy), *((cell, cell) for cell in cells)]
    given = fixed or {}
    used: set[Rhythm_] = set()
    turn = dice.below(len(shapes))
    while True:
        for _ in range(_TRIES):
            letters = _form(progression, pack, dice)
            choose = _Choice(progression, rhythm, level, fits, dice)
            by_bar = _fill(progression, letters, choose, pairs, [(cell, cell) for cell in closes], given)
            if len(by_bar) - 1 not in given:
                by_bar[-1] = _ended(by_bar[-1], progression.length - leave)
            often = rhythm.idiom.pushes if level.pushes else 0.0
            notes = _push(by_bar, progression, dice, often, firm=firm, fixed=given) if often else by_bar
            flat = tuple(note for bar in notes for note in bar)
            clean = bool(given) or not mistimed(flat, progression.metre, rhythm.name)
            if flat and flat not in used and clean:
                break
        else:
            return
        used.add(flat)
        turn += 1
        yield Plan(flat, letters, wishes(flat, letters, progression, dice), shapes[turn % len(shapes)])


# Cells


def stock(
    progression: Progression,
    level: Level,
    rhythm: Rhythm,
    busy: str,
    *,
    leave: int = 0,
    firm: bool = False,
) -> tuple[tuple[Cell, ...], tuple[Cell, ...]]:
    """The cells that the bars of a phrase may have, and those that its last bar may close with."""
    cells, closes = _cells(progression, level, rhythm, busy)
    closes = _leaving(closes, progression.metre.bar - leave)
    return cells, _landing(closes, progression) if firm else closes


def _cells(
    progression: Progression, level: Level, rhythm: Rhythm, busy: str
) -> tuple[tuple[Cell, ...], tuple[Cell, ...]]:
    where = (progression.metre.name, busy)
    if where not in rhythm.cells and progression.metre.name in rhythm.metres:
        given = [known for metre, known in rhythm.cells if metre == progression.metre.name]
        raise OptionError(
            f"{rhythm.name} has no cells for {busy} notes", hint=f"It has them for {' and '.join(given)}."
        )
    if where not in rhythm.cells:
        raise OptionError(
            f"{rhythm.name} is not played in {progression.metre.name}",
            hint=f"It is played in {' and '.join(rhythm.metres)}.",
        )
    return _of_level(rhythm.cells[where], level), _of_level(rhythm.closes[where], level)


def _pairs(progression: Progression, level: Level, rhythm: Rhythm, busy: str) -> list[Pair]:
    """The patterns of two bars that a level plays."""
    found = rhythm.pairs.get((progression.metre.name, busy), ())
    return [pair for pair in found if all(level.plays(cell) for cell in pair)]


def _of_level(cells: Sequence[Cell], level: Level) -> tuple[Cell, ...]:
    kept = tuple(cell for cell in cells if level.plays(cell))
    marked = tuple(cell for cell in kept if cell.syncopated or cell.triplets)
    return kept + marked


def _leaving(cells: Sequence[Cell], end: int) -> tuple[Cell, ...]:
    """Cells that are over by a tick: later notes are left out, the last is cut short."""
    kept = [tuple(_ended(cell.notes, end)) for cell in cells]
    return tuple(
        cell if notes == cell.notes else Cell("", notes, cell.syncopated, cell.triplets, cell.light)
        for cell, notes in zip(cells, kept, strict=True)
        if notes
    )


def _landing(cells: Sequence[Cell], progression: Progression) -> tuple[Cell, ...]:
    """Closes whose last note comes with the last chord and is held, or let go a beat or half a bar before the end."""
    bar, beat = progression.metre.bar, progression.metre.pulse
    land = progression.spans[-1].onset % bar
    rest = bar - land
    lengths = dict.fromkeys(length for length in (rest, rest - beat, rest // 2) if length >= beat)
    runs = dict.fromkeys(notes.notes for notes in _leaving(cells, land)) or {(): None}
    return tuple(
        Cell("", (*run, (land, length)), syncopated=False, triplets=False)
        for run in runs
        for length in lengths
    )


def chord_cell(progression: Progression, bar: int, early: int = 0) -> Cell:
    """A cell with one note for each chord of a bar, let go some ticks before the next."""
    start = bar * progression.metre.bar
    notes = tuple(
        (span.onset - start, span.length - (early if span.length > early else 0))
        for span in progression.bars[bar]
    )
    return Cell("", notes, False, False)


# Forms


def _form(progression: Progression, pack: RulePack, dice: Dice) -> tuple[str, ...]:
    """A letter for each bar; a long phrase is made of the longest forms that fit, one after another."""
    letters: list[str] = []
    left = len(progression.bars)
    group = 0
    while left:
        most = max((n for n in pack.forms if n <= left), default=1)
        form = dice.one_of(pack.forms[most]).letters
        mark = "" if group % 2 == 0 or dice.chance(0.5) else str(group)
        letters += [letter + mark if letter != "z" else "z" for letter in form]
        left -= len(form)
        group += 1
    return tuple(letters)


@dataclass(frozen=True)
class _Choice:
    """How the cells of a plan are chosen, by what the rhythm's idiom asks how often."""

    progression: Progression
    rhythm: Rhythm
    level: Level
    fits: Fits
    dice: Dice

    def cell(
        self, first: Pair | None, units: Sequence[Pair], bar: int, cost: Callable[[Pair], int]
    ) -> Pair | None:
        """The cells that a letter has already, or others of those that cost least, where they can stand in a bar."""
        if first is not None and self.fits(bar, first[bar % 2]):
            return first
        if not units:
            return None
        start = self.dice.below(len(units))
        step = 1 + self.dice.below(max(1, len(units) - 1))
        tried = dict.fromkeys(
            [units[(start + step * n) % len(units)] for n in range(len(units))] + list(units)
        )
        return next((unit for unit in sorted(tried, key=cost) if self.fits(bar, unit[bar % 2])), None)

    def wanted(self, *, closes: bool) -> Callable[[Pair], int]:
        """What a cell costs: whether a bar is to be syncopated or not, close off the beat, be one of two."""
        idiom, metre = self.rhythm.idiom, self.progression.metre
        share = idiom.free if self.level.syncopation else idiom.light
        if share is None:
            return lambda _: 0
        syncopated, second = self.dice.chance(share), self.dice.chance(_IN_PAIRS)
        off = self.dice.chance(idiom.off_beat_closes)
        if closes:
            return lambda unit: (
                2 * (metre.off_beat(unit[1].notes[-1][0]) != off) + (unit[1].syncopated and not syncopated)
            )
        return lambda unit: (
            2 * ((unit[0].syncopated or unit[1].syncopated) != syncopated) + ((unit[0] is unit[1]) == second)
        )


def _fill(
    progression: Progression,
    letters: Sequence[str],
    choose: _Choice,
    cells: Sequence[Pair],
    closes: Sequence[Pair],
    fixed: Mapping[int, Rhythm_],
) -> list[list[tuple[int, int]]]:
    """The notes of each bar: the cell of its letter, or another where that one cannot stand over its chords."""
    dice, level = choose.dice, choose.level
    chosen = _given(progression, letters, fixed)
    early = dice.one_of((0, 0, progression.metre.pulse, 2 * progression.metre.pulse))
    notes: list[list[tuple[int, int]]] = []
    free = 0
    for bar, letter in enumerate(letters):
        key = letter.replace("'", "")
        if bar in fixed:
            notes.append([note for note in fixed[bar] if note[0] >= bar * progression.metre.bar])
            free = sum(notes[-1][-1]) if notes[-1] else free
            continue
        if level.one_a_chord:
            cell = chord_cell(progression, bar, early if dice.chance(0.7) else 0)
        else:
            cost = choose.wanted(closes=key == "z")
            unit = choose.cell(chosen.get(key), closes if key == "z" else cells, bar, cost)
            unit = unit or (chord_cell(progression, bar),) * 2
            chosen.setdefault(key, unit)
            cell = unit[bar % 2]
        start = bar * progression.metre.bar
        notes.append(begun([(start + onset, length) for onset, length in cell.notes], free, progression))
    return notes


def _given(progression: Progression, letters: Sequence[str], fixed: Mapping[int, Rhythm_]) -> dict[str, Pair]:
    """The cells of letters one of whose bars is fixed, cut off at the bar line."""
    size = progression.metre.bar
    cells: dict[str, Pair] = {}
    for bar, notes in fixed.items():
        inside = [(onset - bar * size, length) for onset, length in notes if onset >= bar * size]
        if inside and letters[bar] != "z":
            cell = Cell("", tuple(_ended(inside, size)), False, False)
            cells.setdefault(letters[bar].replace("'", ""), (cell, cell))
    return cells


def begun(notes: list[tuple[int, int]], free: int, progression: Progression) -> list[tuple[int, int]]:
    """Notes after a tick up to which another sounds: what is left of a note may begin on the next beat."""
    beat = progression.metre.beat
    kept = []
    for onset, length in notes:
        start = onset if onset >= free else -(-free // beat) * beat
        if start == onset or onset + length - start >= PUSH:
            kept.append((start, onset + length - start))
    return kept


def _ended(notes: Sequence[tuple[int, int]], end: int) -> list[tuple[int, int]]:
    """Notes cut off at a tick."""
    return [(onset, min(length, end - onset)) for onset, length in notes if onset < end]


def _push(
    by_bar: Sequence[Sequence[tuple[int, int]]],
    progression: Progression,
    dice: Dice,
    often: float,
    *,
    firm: bool,
    fixed: Mapping[int, Rhythm_],
) -> list[list[tuple[int, int]]]:
    """Some first notes of bars moved an eighth early, where the bar before leaves or can give the room.

    A `firm` close is left where it lands, and so are fixed bars.
    """
    bars = [list(bar) for bar in by_bar]
    for number in range(1, len(bars) - firm):
        line = number * progression.metre.bar
        ahead = next((sum(note) for note in fixed.get(number, ()) if note[0] < line < sum(note)), 0)
        pushed = ahead or (number not in fixed and bars[number] and bars[number][0][0] == line)
        if not pushed or number - 1 in fixed or not (ahead or dice.chance(often)):
            continue
        before = next((n for n in reversed(range(number)) if bars[n]), None)
        if before is None or before in fixed or not makes_room(bars[before], line - PUSH):
            continue
        end = ahead or sum(bars[number].pop(0))
        bars[number - 1].append((line - PUSH, end - line + PUSH))
    return bars


def makes_room(bar: list[tuple[int, int]], until: int) -> bool:
    """Shorten the last note of a bar so that it ends by a tick, if it stays a quarter long or ends there anyway."""
    onset, length = bar[-1]
    if onset + length <= until:
        return True
    if until - onset < TICKS // 2 or length % (TICKS // 2):
        return False
    bar[-1] = (onset, until - onset)
    return True


# Gestures


def wishes(rhythm: Rhythm_, letters: Sequence[str], progression: Progression, dice: Dice) -> tuple[int, ...]:
    """The interval each note would like to make to the next, the same in bars that share a letter."""
    gestures: dict[str, list[int]] = {}
    found = []
    item, bar_before = 0, -1
    for onset, _ in rhythm:
        bar = onset // progression.metre.bar
        item = item + 1 if bar == bar_before else 0
        bar_before = bar
        letter = letters[bar]
        base = gestures.setdefault(letter.replace("'", ""), _gesture(dice))
        wish = base[item % len(base)] if letter != "z" else 0
        found.append(-wish if "'" in letter else wish)
    return tuple(found)


def _gesture(dice: Dice) -> list[int]:
    """Intervals of a gesture: its sizes from a small stock, its direction turning once or twice."""
    sizes = dice.one_of(_GESTURES) * 3
    turns = {1 + dice.below(3), 3 + dice.below(4), 7}
    sign = 1 if dice.chance(0.5) else -1
    gesture = []
    for index, size in enumerate(sizes):
        sign = -sign if index in turns else sign
        gesture.append(sign * size)
    return gesture
