"""Beat and bar found from the onsets of a played phrase: its tempo, the place of its first note, and where each note is meant to be.

Each reading of a performance (a tempo, a place of the first note, straight or swung eighths) has a cost: how far onsets lie
from the places of the grid, how unusual these places are, how far the tempo is from the one named, and how badly the phrase
fills its chart. The notes' places are found by dynamic programming (Viterbi 1967) for many readings at once, and the tempo
of the best ones is improved by least squares. The weights are chosen, as natural logarithms of odds.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fillgen.chart.progression import Progression
from fillgen.errors import OptionError
from fillgen.readers.melody import FASTEST, SLOWEST, Sound
from fillgen.theory.metre import TICKS, Metre

Numbers = NDArray[np.float64]
Places = NDArray[np.int64]

MOST_PLAYED = 600
"""The most notes of a performance whose beat is looked for: the time that takes grows with them."""
_UNEVEN = 40.0
"""Two onsets in three are within this many milliseconds of their places."""
_REACH = 3
"""This many places on either side of an onset are considered."""
_OTHER_TEMPO, _FAR_TEMPO = 4.0, 0.35
"""The cost of a tempo that wasn't named, and how many octaves away it costs half a point more."""
_UNNAMED = 1.0
"""The cost of the default tempo if the file names none."""
_LATE, _LATER = 3.0, 0.5
"""The cost of moving the bar lines of the file, and the extra cost of each beat."""
_WRONG_LENGTH, _TWICE, _PICKUP, _BEYOND = 5.0, 4.0, 1.5, 1.5
"""The cost of having other bars than the chart, to play it twice, to begin with a pick-up, and to sound beyond its end."""
_WRONG_TEMPO = 3.0
"""The extra cost of a tempo that wasn't named and doesn't fill the chart."""
_OUTSIDE = (1.0, 0.25)
"""What a note outside its chord costs on a strong beat, and elsewhere."""
_LIGHT = 0.5
"""What each halving of a place's accent costs."""
_FINE, _THIRD, _SWUNG = 3.0, 3.2, 1.5
"""What a sixteenth off the eighths, a note of a triplet, and swung eighths cost."""
_MIXED = 6.0
"""What sixteenths and triplets in one beat cost."""
_RUNS, _TRIPLET = 0.5, 3.0
"""How much less the next sixteenth costs, and the next note of a triplet."""
_SYNCOPATED = 0.7
"""The cost of a note before a heavier place that has none."""
_COARSE = 40
"""This many tempi and phases are examined closely."""
_CLOSE = 24
"""This many readings are improved."""
_FIRST = 48
"""The notes by which tempi are compared at first."""
_EVERYTHING = 1e9
_HEARD_LATE = TICKS / 8
"""Bar lines this many ticks later than in the file are worth a remark."""
_HELD, _NEAR_EIGHTH = 20, 100
"""Ticks before the next onset at which a note is held, and beside an eighth at which it ends with it."""
_ROUNDED = 8
"""A beat may be rounded by this many ticks, as 1.33 is."""


@dataclass(frozen=True)
class Played:
    """A performance: its sounds in ticks of its file, and what is known of their timing.

    `tempo` is what the file names, in quarter notes a minute, `asked` what the player names; `first` is the beat on which
    the first note falls, counted from 1, None if it has to be found. `exact` says that the file counts as the
    phrase is written; `remarks` are those on the file.
    """

    sounds: tuple[Sound, ...]
    tempo: int | None = None
    asked: int | None = None
    first: float | None = None
    exact: bool = False
    remarks: tuple[str, ...] = ()

    def first_tick(self, metre: Metre) -> int | None:
        """The tick of the bar on which the first note falls; OptionError for a beat that the bar doesn't have.

        >>> from fillgen.theory.metre import METRES
        >>> Played((), first=2.5).first_tick(METRES["6/8"])
        1080
        """
        if self.first is None:
            return None
        tick = round((self.first - 1) * metre.beat)
        off = min(tick % (TICKS // 4), tick % (TICKS // 3)) if tick >= 0 else 1
        if not 0 <= tick < metre.bar or off or abs(tick - (self.first - 1) * metre.beat) > _ROUNDED:
            hint = f"In {metre.name} a bar has the beats 1 to {metre.beats}; 2.5 is halfway between 2 and 3."
            raise OptionError(f"{self.first:g} is not a beat", place="first-note-on", hint=hint)
        return tick


@dataclass(frozen=True)
class Beaten:
    """A performance on the beats of its chart, with onsets exactly on the grid where they sound.

    Ticks count from the chart's first bar line, and are negative in a pick-up. `tempo` is in quarter notes a minute;
    `named` says whether it is one that was named; `moved` is the most that an onset was moved, in ticks; `late` are the
    ticks by which the bar lines come after those of the file; `turn` is the place of the second of two swung eighths in
    its beat, None if they are even.
    """

    sounds: tuple[Sound, ...]
    tempo: float
    named: bool
    late: float
    moved: float
    turn: float | None

    def remarks(self, metre: Metre) -> tuple[str, ...]:
        """Remarks if tempo or bar lines differ from those of the file."""
        if self.named and abs(self.late) < _HEARD_LATE:
            return ()
        onset = self.sounds[0].onset
        pickup = ", as a pick-up" if onset < 0 else ""
        beat = f"starting on beat {1 + onset % metre.bar / metre.beat:.3g}{pickup}"
        about = "" if self.named else "about "
        return (f"Read as played at {about}{self.tempo:.0f} quarter notes a minute, {beat}.",)


@dataclass(frozen=True)
class _Grid:
    """The places of a metre: where each of a cell sounds, and what those of a bar cost.

    What it costs to go from one place to another is in `onward` for one cell, in `across` for the next one, by the
    numbers of both in their cells; in `over` by the place of the bar and the number of places to the next note.
    """

    ticks: Places
    size: int
    costs: Numbers
    onward: Numbers
    across: Numbers
    over: Numbers
    turn: float | None = None

    @property
    def count(self) -> int:
        return len(self.ticks)

    def nearest(self, at: Numbers) -> Places:
        """The number of the place nearest to each tick."""
        cell = np.floor(at / self.size)
        ends = np.append(self.ticks, self.size)
        number = np.searchsorted((ends[1:] + ends[:-1]) / 2, at - cell * self.size)
        return np.asarray(cell.astype(np.int64) * self.count + number)

    def sounding(self, places: Places) -> Places:
        """The ticks at which places sound."""
        return np.asarray(places // self.count * self.size + self.ticks[places % self.count])


def _grids(metre: Metre) -> list[_Grid]:
    """Even eighths, and in quarter-note beats swung ones as well."""
    if metre.beat % TICKS:
        return [_grid(metre, [0, TICKS // 4], TICKS // 2)]
    even = _grid(metre, [0, 120, 160, 240, 320, 360], TICKS)
    return [even, *(_grid(metre, [0, 160, turn, (turn + TICKS) // 2], TICKS, turn) for turn in (288, 320))]


def _grid(metre: Metre, ticks: Sequence[int], size: int, turn: int | None = None) -> _Grid:
    kinds = [_kind(tick, size, turn) for tick in ticks]
    costs = []
    for cell in range(0, metre.bar, size):
        for kind in kinds:
            written = cell + (TICKS // 2 if kind == "eighth" else 0)
            heavy = -_LIGHT * np.log2(metre.accent(written))
            costs.append({"fine": _FINE, "third": _THIRD}.get(kind, heavy))
    onward, across = np.zeros((len(ticks), len(ticks))), np.zeros((len(ticks), len(ticks)))
    for i, before in enumerate(kinds):
        for j, after in enumerate(kinds):
            pair = {before, after}
            if pair == {"fine", "third"} or (not turn and pair == {"third", "eighth"}):
                onward[i, j] = _MIXED
            elif pair == {"fine", "eighth"}:
                onward[i, j] = -_RUNS
            elif pair == {"third"}:
                onward[i, j] = -_TRIPLET
                across[i, j] = -_TRIPLET * (ticks[i] > ticks[j])
    return _Grid(np.array(ticks), size, np.array(costs), onward, across, _held_over(costs), turn)


def _held_over(costs: Sequence[float]) -> Numbers:
    """The cost of passing a heavier place, from each place of a bar and by number of places."""
    count = len(costs)
    over = np.zeros((count, count + 1))
    for place, cost in enumerate(costs):
        for way in range(2, count + 1):
            passed = min(costs[each % count] for each in range(place + 1, place + way))
            over[place, way] = _SYNCOPATED * (passed < cost)
    return over


def _kind(tick: int, size: int, turn: int | None) -> str:
    if tick % size == 0:
        return "beat"
    if tick == (turn or TICKS // 2):
        return "eighth"
    return "third" if tick in (160, 320) else "fine"


# Readings


@dataclass(frozen=True)
class _Readings:
    """Many readings at once: each onset times `rates` plus `shifts` is its tick from the chart's first bar line."""

    rates: Numbers
    shifts: Numbers
    named: NDArray[np.bool_]

    def some(self, which: Any) -> _Readings:
        return _Readings(self.rates[which], self.shifts[which], self.named[which])


@dataclass(frozen=True)
class _Search:
    """A performance with all that readings of it are judged by."""

    played: Played
    metre: Metre
    progression: Progression
    first: int | None
    named: tuple[tuple[float, float], ...]
    """The tempi that were named, each with its cost."""

    @property
    def usual(self) -> float:
        """The tempo in which the file counts."""
        return float(self.played.tempo or 120)

    @property
    def onsets(self) -> Numbers:
        return np.array([sound.onset for sound in self.played.sounds], dtype=float)

    def outside(self, grid: _Grid) -> NDArray[np.bool_]:
        """For each pitch class and place of the chart, whether the pitch is outside the chord."""
        cells = self.progression.length // grid.size
        ticks = grid.sounding(np.arange(cells * grid.count))
        masks = np.array([self.progression.span_at(int(tick)).heard.mask for tick in ticks])
        return np.asarray((masks[None, :] >> np.arange(12)[:, None] & 1 == 0) & (masks != 0)[None, :])

    def tempo_costs(self, readings: _Readings) -> Numbers:
        tempi = self.usual * readings.rates
        octaves = np.log2(tempi / self.usual)
        costs = _OTHER_TEMPO + (octaves / _FAR_TEMPO) ** 2 / 2
        for tempo, cost in self.named:
            costs = np.where(readings.named & (np.abs(tempi - tempo) < 0.01), cost, costs)
        return np.asarray(np.where((tempi < SLOWEST) | (tempi > FASTEST), _EVERYTHING, costs))

    def shift_costs(self, readings: _Readings) -> Numbers:
        """The cost of moving the bar lines of the file, whose bars count if its tempo does."""
        if self.first is not None:
            return np.zeros(len(readings.shifts))
        bar, beat = self.metre.bar, max(self.metre.beat, TICKS)
        away = np.abs(readings.shifts)
        whole = np.abs((readings.shifts + bar / 2) % bar - bar / 2)
        away = np.where(readings.rates == 1.0, whole, away)
        return np.asarray(_LATE * (1 - np.exp(-((away / 40) ** 2))) + _LATER * np.minimum(away / beat, 4))


def beaten(played: Played, metre: Metre, progression: Progression) -> Beaten:
    """The likeliest reading of a performance over its chart.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.theory.metre import METRES
    >>> slow = tuple(Sound(177 + 576 * n, 177 + 576 * n + 570, midi) for n, midi in enumerate((67, 70, 74, 70) * 2))
    >>> found = beaten(Played(slow, 120), METRES["4/4"], parse_chart("| Ebmaj7 | Gm7 |"))
    >>> round(found.tempo), [sound.onset for sound in found.sounds][:4]
    (100, [0.0, 480.0, 960.0, 1440.0])
    """
    usual = float(played.tempo or 120)
    named = [(usual, _UNNAMED if played.tempo is None else 0.0)]
    if played.asked is not None and played.asked != usual:
        named = [(float(played.asked), 0.0), (usual, 0.5)]
    search = _Search(played, metre, progression, played.first_tick(metre), tuple(named))
    best: tuple[float, _Readings, Places, _Grid] | None = None
    for grid in _grids(metre):
        readings = _improved(search, grid, _placed(search, grid, _coarse(search, grid)))
        costs, places = _judged(search, grid, readings)
        at = int(costs.argmin())
        if best is None or costs[at] < best[0]:
            best = float(costs[at]), readings.some(slice(at, at + 1)), places[at], grid
    assert best is not None
    return _result(search, *best[1:])


def _coarse(search: _Search, grid: _Grid) -> _Readings:
    """Tempi and phases whose onsets are near the grid, whatever the bars."""
    onsets = search.onsets[:_FIRST]
    span = max(onsets[-1] - onsets[0], TICKS)
    step = min(0.02, 40 / span)
    other = np.exp2(np.arange(-1, 1 + step, step * 1.44))
    own = np.array([tempo / search.usual for tempo, _ in search.named])
    rates = np.concatenate([own, other])
    period = _period(search.metre)
    phases = np.arange(0, period, 30.0)
    at = onsets[None, None, :] * rates[:, None, None] + phases[None, :, None]
    ms = 60_000 / TICKS / (search.usual * rates)
    costs = _plain_costs(grid, at, ms[:, None, None], period).sum(axis=2)
    is_named = np.arange(len(rates)) < len(own)
    costs += np.where(is_named, 0.0, _OTHER_TEMPO + (np.log2(rates) / _FAR_TEMPO) ** 2 / 2)[:, None]
    best = np.argsort(costs, axis=None, kind="stable")[:_COARSE]
    keep = [*((row, column) for row in range(len(own)) for column in range(len(phases)))]
    keep += [divmod(int(each), len(phases)) for each in best]
    rows, columns = np.array(sorted(set(keep))).T
    return _Readings(rates[rows], phases[columns], is_named[rows])


def _period(metre: Metre) -> int:
    """The ticks after which a grid is as before, but for the weight of its beats."""
    if metre.is_grouped:
        return metre.bar
    return metre.beat if metre.beat % TICKS else TICKS


def _plain_costs(grid: _Grid, at: Numbers, ms: Numbers, period: int) -> Numbers:
    """What each onset costs at its best place, as heavy as such a place can be in any bar."""
    bars = grid.costs.reshape(-1, period // grid.size * grid.count)
    costs = bars.min(axis=0)
    inside = at % period
    best = np.full(at.shape, np.inf)
    for number, cost in enumerate(costs):
        tick = int(grid.sounding(np.array(number)))
        away = np.abs(inside - tick)
        away = np.minimum(away, period - away) * ms / _UNEVEN
        best = np.minimum(best, away**2 / 2 + cost)
    return best


def _placed(search: _Search, grid: _Grid, coarse: _Readings) -> _Readings:
    """The same with every beat on which the first note can fall; the best of them."""
    period, bar = _period(search.metre), search.metre.bar
    first = search.onsets[0]
    rates, shifts, named = [], [], []
    for rate, phase, is_named in zip(coarse.rates, coarse.shifts, coarse.named, strict=True):
        lowest = -bar - (first * rate + phase)
        for number in range(int(np.ceil(lowest / period)), int(np.ceil((lowest + 2 * bar) / period)) + 1):
            rates.append(rate)
            shifts.append(phase + number * period)
            named.append(is_named)
    own = [(tempo / search.usual, 0.0, True) for tempo, _ in search.named]
    for rate, shift, is_named in own:
        back = (first * rate) // bar * bar
        for start in {shift, shift - back}:
            rates.append(rate)
            shifts.append(start)
            named.append(is_named)
    every = _Readings(np.array(rates), np.array(shifts), np.array(named))
    every = _as_asked(search, every)
    costs, _ = _judged(search, grid, every, _FIRST)
    return every.some(np.argsort(costs, kind="stable")[:_CLOSE])


def _as_asked(search: _Search, readings: _Readings) -> _Readings:
    """Readings whose first note is where the player says; all if the player doesn't say."""
    if search.first is None:
        return readings
    bar = search.metre.bar
    away = readings.rates * search.onsets[0] + readings.shifts - search.first
    off = np.abs((away + bar / 2) % bar - bar / 2)
    near = off <= max(60, float(off.min()) + 1)
    return readings.some(near)


def _improved(search: _Search, grid: _Grid, readings: _Readings) -> _Readings:
    """Readings with tempo and phase improved by least squares, beside those there were."""
    every = [readings]
    onsets = search.onsets
    size = min(len(onsets), _FIRST)
    while True:
        _, places = _judged(search, grid, readings, size)
        ticks = grid.sounding(places).astype(float)
        own = onsets[:size]
        spread = own - own.mean()
        slope = (ticks * spread).sum(axis=1) / max(float((spread**2).sum()), 1.0)
        rates = np.where(readings.named | (slope <= 0), readings.rates, slope)
        shifts = ticks.mean(axis=1) - rates * own.mean()
        readings = replace(readings, rates=rates, shifts=shifts)
        every.append(readings)
        if size == len(onsets) and len(every) > 2:
            break
        size = min(len(onsets), 2 * size)
    return _Readings(
        np.concatenate([each.rates for each in every]),
        np.concatenate([each.shifts for each in every]),
        np.concatenate([each.named for each in every]),
    )


# Costs


def _judged(
    search: _Search, grid: _Grid, readings: _Readings, most: int | None = None
) -> tuple[Numbers, Places]:
    """The cost of each reading, and the places of its notes, all or the first of them."""
    at = readings.rates[:, None] * search.onsets[None, :most] + readings.shifts[:, None]
    ms = 60_000 / TICKS / (search.usual * readings.rates)
    around = grid.nearest(at)[:, :, None] + np.arange(-_REACH, _REACH + 1)
    away = (grid.sounding(around) - at[:, :, None]) * ms[:, None, None] / _UNEVEN
    costs = away**2 / 2 + grid.costs[around % len(grid.costs)] + _chord_costs(search, grid, around)
    if search.first is not None:
        swung = (grid.turn or TICKS / 2) - TICKS / 2 if search.first % TICKS == TICKS / 2 else 0
        elsewhere = grid.sounding(around[:, 0]) % search.metre.bar != search.first + swung
        costs[:, 0] += np.where(elsewhere, _EVERYTHING, 0.0)
    total, places = _cheapest(grid, around, costs)
    total = total + search.tempo_costs(readings) + search.shift_costs(readings)
    if grid.turn:
        total = total + _SWUNG
    if most is None or most >= len(search.onsets):
        total = total + _length_costs(search, grid, readings, places)
    return total, places


def _chord_costs(search: _Search, grid: _Grid, around: Places) -> Numbers:
    """What notes outside their chords cost; in a pick-up and after the chart's end nothing is known."""
    outside = search.outside(grid)
    strong, weak = _OUTSIDE
    pitches = np.array([sound.midi % 12 for sound in search.played.sounds])[None, : around.shape[1], None]
    within = around % outside.shape[1]
    beats = grid.costs[around % len(grid.costs)] <= _LIGHT
    cost = np.where(beats, strong, weak) * outside[pitches, within]
    return np.asarray(np.where(around < 0, 0.0, cost))


def _cheapest(grid: _Grid, around: Places, costs: Numbers) -> tuple[Numbers, Places]:
    """The cheapest places, one after another, for all readings at once; each note has a place of its own."""
    total, back = costs[:, 0], []
    for number in range(1, around.shape[1]):
        before, here = around[:, number - 1, :, None], around[:, number, None, :]
        step = _step_costs(grid, before, here)
        ways = np.where(here > before, total[:, :, None] + step, total[:, :, None] + _EVERYTHING)
        back.append(ways.argmin(axis=1))
        total = ways.min(axis=1) + costs[:, number]
    at = total.argmin(axis=1)
    rows = np.arange(len(at))
    places = np.empty(around.shape[:2], dtype=np.int64)
    best = total[rows, at]
    for number in range(around.shape[1] - 1, -1, -1):
        places[:, number] = around[rows, number, at]
        if number:
            at = back[number - 1][rows, at]
    return best, places


def _step_costs(grid: _Grid, before: Places, here: Places) -> Numbers:
    """What it costs to go from one place to another."""
    cells, inside = here // grid.count - before // grid.count, (before % grid.count, here % grid.count)
    step = np.where(cells == 0, grid.onward[inside], np.where(cells == 1, grid.across[inside], 0.0))
    count = len(grid.costs)
    return np.asarray(step + grid.over[before % count, np.clip(here - before, 0, count)])


def _length_costs(search: _Search, grid: _Grid, readings: _Readings, places: Places) -> Numbers:
    """The cost of a phrase that has other bars than its chart, begins with a pick-up, or ends beyond its end."""
    bar, chart = search.metre.bar, len(search.progression.bars)
    ticks = grid.sounding(places)
    bars = ticks[:, -1] // bar + 1
    fits = (bars % chart == 0) & (bars > 0)
    costs = np.where(fits, np.where(bars == chart, 0.0, _TWICE), _WRONG_LENGTH)
    costs += np.where(readings.named | fits, 0.0, _WRONG_TEMPO)
    end = search.played.sounds[-1].end * readings.rates + readings.shifts
    costs += np.where(end > bars * bar + TICKS / 4, _BEYOND, 0.0)
    costs = costs + np.where(ticks[:, 0] < 0, _PICKUP, 0.0)
    return np.asarray(costs + np.where(ticks[:, 0] >= bar, _WRONG_LENGTH, 0.0))


# The result


def _result(search: _Search, reading: _Readings, places: Places, grid: _Grid) -> Beaten:
    rate, shift, named = float(reading.rates[0]), float(reading.shifts[0]), bool(reading.named[0])
    ticks = [float(tick) for tick in grid.sounding(places)]
    heard = [(sound.onset * rate + shift, sound.end * rate + shift) for sound in search.played.sounds]
    moved = max(abs(tick - onset) for tick, (onset, _) in zip(ticks, heard, strict=True))
    sounds = tuple(
        replace(sound, onset=tick, end=end)
        for sound, tick, end in zip(search.played.sounds, ticks, _ends(ticks, heard, grid), strict=True)
    )
    return Beaten(sounds, search.usual * rate, named, -shift, moved, grid.turn)


def _ends(ticks: Sequence[float], heard: Sequence[tuple[float, float]], grid: _Grid) -> Iterator[float]:
    """Where notes end: at the next note if they are held that long, else on an eighth if they end near one."""
    nexts = [*ticks[1:], np.inf]
    comings = [*(onset for onset, _ in heard[1:]), np.inf]
    half = float(grid.turn or TICKS / 2)
    for tick, after, coming, (_, end) in zip(ticks, nexts, comings, heard, strict=True):
        if coming - end <= _HELD:
            yield float(after)
            continue
        beat = end // TICKS * TICKS
        eighth = min((beat, beat + half, beat + TICKS), key=lambda place: abs(place - end))
        near = abs(eighth - end) <= _NEAR_EIGHTH and eighth > tick
        yield float(min(max(eighth if near else end, tick + TICKS / 8), after))
