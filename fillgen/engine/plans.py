"""Plans: what a phrase is before it has pitches. A rhythm for each bar, a shape, and the gestures that return.

Bars answer one another by form: bars with the same letter share a rhythm cell and a gesture, so that a phrase
has an idea in it and isn't a row of unrelated bars.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from fillgen.chart.progression import Progression
from fillgen.dice import Dice
from fillgen.engine.forms import Forms, Outline, Passage
from fillgen.engine.never import mistimed
from fillgen.errors import OptionError
from fillgen.rules.pack import Cell, Level, Pair, Rhythm, RulePack, Shape, fitted_cells
from fillgen.theory.metre import TICKS, Metre

PUSH = TICKS // 2
"""How much earlier a pushed note comes, in ticks."""
_GESTURES = ((2, 2, 2, 2), (2, 2, 4, 2), (4, 3, 2, 2), (2, 4, 2, 2), (3, 4, 3, 2), (2, 2, 5, 2))
_TRIES = 12
_IN_PAIRS = 0.75
"""How often a rhythm with two-bar patterns plays one."""
_AIRY = 0.4
"""How often one bar before the close may rest: a line breathes at the ends of its four bars."""
_SAME_CLOSE = 0.25
"""How often a close takes up the rhythm of the one before; otherwise it has another."""
_FEW = 4
"""With fewer cells that sound all through their bar, bars may rest as well."""

Fits = Callable[[int, Cell], bool]
"""Whether a cell can have pitches at all in the bar of that number."""
_Key = tuple[str, Metre]
"""What a cell is kept for: a letter, and the metre of its bars."""
Rhythm_ = tuple[tuple[int, int], ...]
"""Onset and length of each note of a phrase, in ticks from its start."""


@dataclass(frozen=True, slots=True)
class Plan:
    """A rhythm for a whole phrase with its shape.

    `letters` names the form's letter of each bar, `intervals` the interval (in semitones) that the gesture of the bar
    prefers between each note and the next, 0 for no preference. `passages` are the bars that return.
    """

    rhythm: Rhythm_
    letters: tuple[str, ...]
    intervals: tuple[int, ...]
    shape: Shape
    passages: tuple[Passage, ...] = ()


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
    """Endless plans that differ in rhythm, as long as there are different ones.

    `leave` are ticks at the end of the last bar that stay free; a `firm` close lands on the last
    chord with its last note. `fixed` are bars, counted from 0, whose notes are given already, in ticks from the start
    of the phrase; bars of the same letter take their rhythm from them, and no passage has to return. A fixed note that
    begins before its bar is one that the bar before holds into it where it can. Raises OptionError if the rhythm is not played in the chart's
    metre.
    """
    forms = Forms(progression, pack.forms)
    filler = _Filler(progression, level, rhythm, busy, fits, dice, leave=leave, firm=firm, fixed=fixed or {})
    returning = fixed is None and not level.one_a_chord and not progression.metres
    used: set[Rhythm_] = set()
    turn = dice.below(len(shapes))
    while True:
        for _ in range(_TRIES):
            outline = forms.outline(dice, returning=returning)
            flat = filler.rhythm(outline)
            clean = bool(fixed) or not mistimed(flat, progression.timeline, rhythm.name)
            if flat and flat not in used and clean:
                break
        else:
            return
        used.add(flat)
        turn += 1
        gestures = gesture_intervals(flat, outline.letters, progression, dice)
        yield Plan(flat, outline.letters, gestures, shapes[turn % len(shapes)], outline.passages)


# Cells


def stock(
    progression: Progression,
    level: Level,
    rhythm: Rhythm,
    busy: str,
    *,
    leave: int = 0,
    firm: bool = False,
    metre: Metre | None = None,
) -> tuple[tuple[Cell, ...], tuple[Cell, ...]]:
    """The cells that the bars of a phrase may have, and those that its last bar may close with.

    Bars of another metre than the chart's, given as `metre`, have the rhythm's cells of that metre; where there are none,
    those of the chart's metre cut off at the end of the bar, or prolonged by their last beats.
    """
    last = progression.metre_of(len(progression.bars) - 1)
    cells, closes = _cells(progression, level, rhythm, busy, metre or last)
    if (metre or last) != last:
        return cells, closes
    closes = _leaving(closes, last.bar - leave)
    return cells, _landing(closes, progression) if firm else closes


def _cells(
    progression: Progression, level: Level, rhythm: Rhythm, busy: str, metre: Metre
) -> tuple[tuple[Cell, ...], tuple[Cell, ...]]:
    if (metre.name, busy) in rhythm.cells:
        where = (metre.name, busy)
        return _of_level(rhythm.cells[where], level), _of_level(rhythm.closes[where], level)
    where = (progression.metre.name, busy)
    if where not in rhythm.cells and progression.metre.name in rhythm.metres:
        given = [known for metre, known in rhythm.cells if metre == progression.metre.name]
        raise OptionError(
            f"{rhythm.name} has no bars with {busy} notes", hint=f"It has bars with {' and '.join(given)}."
        )
    if where not in rhythm.cells:
        raise OptionError(
            f"{rhythm.name} isn't played in {progression.metre.name}",
            hint=f"It's played in {' and '.join(rhythm.metres)}.",
        )
    found = rhythm.cells[where], rhythm.closes[where]
    fitted = [fitted_cells(cells, progression.metre, metre) for cells in found]
    return _of_level(fitted[0], level), _of_level(fitted[1], level)


def _pairs(level: Level, rhythm: Rhythm, busy: str, metre: Metre) -> list[Pair]:
    """The patterns of two bars that a level plays."""
    found = rhythm.pairs.get((metre.name, busy), ())
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
    bar, beat = progression.size_of(len(progression.bars) - 1), progression.metre.pulse
    land = progression.inside(progression.spans[-1].onset)
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
    start = progression.start_of(bar)
    notes = tuple(
        (span.onset - start, span.length - (early if span.length > early else 0))
        for span in progression.bars[bar]
    )
    return Cell("", notes, False, False)


# The rhythm of a phrase


@dataclass(frozen=True)
class _Stock:
    """The cells of bars of one metre, for two bars each: all, those that sound all through, and those that close.

    `breaths` are closes before the last bar.
    """

    units: Sequence[Pair]
    full: Sequence[Pair]
    breaths: Sequence[Pair]
    closes: Sequence[Pair]

    @classmethod
    def of(
        cls,
        progression: Progression,
        level: Level,
        rhythm: Rhythm,
        busy: str,
        metre: Metre,
        *,
        leave: int,
        firm: bool,
    ) -> _Stock:
        cells, breaths = stock(progression, level, rhythm, busy, metre=metre)
        closes = stock(progression, level, rhythm, busy, leave=leave, firm=firm, metre=metre)[1]
        units = [*_pairs(level, rhythm, busy, metre), *((cell, cell) for cell in cells)]
        full = [unit for unit in units if _is_full(unit, metre.bar)]
        alone = ([(cell, cell) for cell in each] for each in (breaths, closes))
        return cls(units, full if len(set(full)) >= _FEW else units, *alone)


class _Filler:
    """Fills the bars of outlines with rhythm cells."""

    def __init__(
        self,
        progression: Progression,
        level: Level,
        rhythm: Rhythm,
        busy: str,
        fits: Fits,
        dice: Dice,
        *,
        leave: int,
        firm: bool,
        fixed: Mapping[int, Rhythm_],
    ) -> None:
        self.progression, self.level, self.dice = progression, level, dice
        self.leave, self.firm, self.fixed = leave, firm, fixed
        self.last = len(progression.bars) - 1
        self.choose = _Choice(progression, rhythm, level, fits, dice)
        self.stocks = {
            metre: _Stock.of(progression, level, rhythm, busy, metre, leave=leave, firm=firm)
            for metre in progression.all_metres
        }

    def rhythm(self, outline: Outline) -> Rhythm_:
        """The notes of a phrase of that outline."""
        sources = outline.sources()
        by_bar = self._fill(outline.letters, sources)
        if self.last not in self.fixed:
            by_bar[-1] = _ended(by_bar[-1], self.progression.length - self.leave)
        often = self.choose.rhythm.idiom.pushes if self.level.pushes else 0.0
        if often:
            edges = {edge for passage in outline.passages for edge in passage.edges()}
            by_bar = _push(
                by_bar, self.progression, self.dice, often, sources, edges, firm=self.firm, fixed=self.fixed
            )
        return tuple(note for bar in by_bar for note in bar)

    def _fill(self, letters: Sequence[str], sources: Mapping[int, int]) -> list[list[tuple[int, int]]]:
        """The notes of each bar: the cell of its letter, or another if that one doesn't work over its chords."""
        beat = self.progression.metre.pulse
        chosen = _given(self.progression, letters, self.fixed)
        early = self.dice.one_of((0, 0, beat, 2 * beat))
        airy = self.dice.chance(_AIRY)
        cells: dict[int, Cell] = {}
        notes: list[list[tuple[int, int]]] = []
        free = 0
        for bar, letter in enumerate(letters):
            start, metre = self.progression.start_of(bar), self.progression.metre_of(bar)
            if bar in self.fixed:
                notes.append([note for note in self.fixed[bar] if note[0] >= start])
                free = sum(notes[-1][-1]) if notes[-1] else free
                continue
            key = letter.replace("'", ""), metre
            if bar in sources:
                cells[bar] = cells[sources[bar]]
            elif self.level.one_a_chord:
                cells[bar] = chord_cell(self.progression, bar, early if self.dice.chance(0.7) else 0)
            else:
                places = [bar, *(other for other, source in sources.items() if source == bar)]
                unit = self._unit(key, places, chosen, airy)
                cells[bar] = unit[bar % 2]
                airy = airy and _sounds(cells[bar]) == metre.bar
                chosen[key] = chosen.get(key, unit) if letter != "z" else unit
            notes.append(
                begun([(start + onset, length) for onset, length in cells[bar].notes], free, self.progression)
            )
        return notes

    def _unit(self, key: _Key, places: Sequence[int], chosen: Mapping[_Key, Pair], airy: bool) -> Pair:
        """Cells for a bar at some places: its letter's, or for a close, others than the close before."""
        letter, metre = key
        own, known = self.stocks[metre], chosen.get(key)
        cost = self.choose.wanted(closes=letter == "z")
        if letter == "z":
            closes = own.closes if places[0] == self.last else own.breaths
            first = known if self.dice.chance(_SAME_CLOSE) else None
            others = [unit for unit in closes if known is None or unit[1].notes != known[1].notes]
            units = others or closes
        else:
            first, units = known, own.units if airy else own.full
        found = self.choose.unit(first, units, places, cost)
        if found is None and units is not own.units and letter != "z":
            found = self.choose.unit(None, own.units, places, cost)
        return found or (chord_cell(self.progression, places[0]),) * 2


@dataclass(frozen=True)
class _Choice:
    """How the cells of a plan are chosen, by how often the rhythm's idiom calls for each kind."""

    progression: Progression
    rhythm: Rhythm
    level: Level
    fits: Fits
    dice: Dice

    def unit(
        self, first: Pair | None, units: Sequence[Pair], bars: Sequence[int], cost: Callable[[Pair], int]
    ) -> Pair | None:
        """The cells that a letter already has, or others of least cost, if they work in all of some bars."""
        if first is not None and self._fit(first, bars):
            return first
        if not units:
            return None
        size = len(units)
        start = self.dice.below(size)
        step = 1 + self.dice.below(max(1, size - 1))
        numbers = dict.fromkeys([*((start + step * n) % size for n in range(size)), *range(size)])
        tried = sorted((units[number] for number in numbers), key=cost)
        return next((unit for unit in tried if self._fit(unit, bars)), None)

    def _fit(self, unit: Pair, bars: Sequence[int]) -> bool:
        return all(self.fits(bar, unit[bars[0] % 2]) for bar in bars)

    def wanted(self, *, closes: bool) -> Callable[[Pair], int]:
        """The cost of a cell: whether a bar should be syncopated, close off the beat, or be one of two."""
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


def _is_full(unit: Pair, bar: int) -> bool:
    """Whether cells sound all through their bars, or make a pattern of two bars, which may have its rests."""
    return unit[0] is not unit[1] or _sounds(unit[0]) == bar


def _sounds(cell: Cell) -> int:
    return sum(length for _, length in cell.notes)


def _given(
    progression: Progression, letters: Sequence[str], fixed: Mapping[int, Rhythm_]
) -> dict[_Key, Pair]:
    """The cells of letters one of whose bars is fixed, cut off at the bar line, each for bars of the same metre."""
    cells: dict[_Key, Pair] = {}
    for bar, notes in fixed.items():
        start, metre = progression.start_of(bar), progression.metre_of(bar)
        inside = [(onset - start, length) for onset, length in notes if onset >= start]
        if inside and letters[bar] != "z":
            cell = Cell("", tuple(_ended(inside, metre.bar)), False, False)
            cells.setdefault((letters[bar].replace("'", ""), metre), (cell, cell))
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
    sources: Mapping[int, int],
    edges: Collection[int],
    *,
    firm: bool,
    fixed: Mapping[int, Rhythm_],
) -> list[list[tuple[int, int]]]:
    """Some first notes of bars moved an eighth early, if the bar before leaves room or can make it.

    A `firm` close is left where it lands, and so are fixed bars and those at the edges of passages that return; bars
    that repeat others are pushed where those are.
    """
    bars = [list(bar) for bar in by_bar]
    pushed: set[int] = set()
    for number in range(1, len(bars) - firm):
        line = progression.start_of(number)
        ahead = next((sum(note) for note in fixed.get(number, ()) if note[0] < line < sum(note)), 0)
        can = ahead or (number not in fixed and bars[number] and bars[number][0][0] == line)
        wanted = sources[number] in pushed if number in sources else ahead or dice.chance(often)
        if not can or not wanted or number - 1 in fixed or number in edges:
            continue
        before = next((n for n in reversed(range(number)) if bars[n]), None)
        if before is None or before in fixed or not makes_room(bars[before], line - PUSH):
            continue
        pushed.add(number)
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


def gesture_intervals(
    rhythm: Rhythm_, letters: Sequence[str], progression: Progression, dice: Dice
) -> tuple[int, ...]:
    """The preferred interval from each note to the next, the same in bars that share a letter."""
    gestures: dict[str, list[int]] = {}
    found = []
    item, bar_before = 0, -1
    for onset, _ in rhythm:
        bar = progression.bar_index(onset)
        item = item + 1 if bar == bar_before else 0
        bar_before = bar
        letter = letters[bar]
        base = gestures.setdefault(letter.replace("'", ""), _gesture(dice))
        wanted = base[item % len(base)] if letter != "z" else 0
        found.append(-wanted if "'" in letter else wanted)
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
