"""What the band plays bar by bar: which pattern, where the drums fill, and where a crash comes."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

from fillgen.chart.progression import Progression
from fillgen.hands.instruments import percussion
from fillgen.hands.patterns import Accompaniment, Band, Drums, band, fitted_band
from fillgen.rules.pack import RulePack

_STRETCH = 8
"""The bars after which the pattern changes where a chart names no sections."""
_PHRASE = 4
"""The bars after which a small fill may come. Phrases of four and eight bars: common practice."""
_TIMEKEEPERS = ("Closed Hi-hat", "Open Hi-hat", "Ride Cymbal 1", "Ride Cymbal 2", "Ride Bell")
"""The timekeeping sounds of the hand that also strikes the crash."""


@dataclass(frozen=True, slots=True)
class BarPlan:
    """What a bar has: pattern `a` or `b`, its number in the stretch that has the pattern, counted from 0, a fill or not
    (0 none, 1 at the end of four bars, 2 at the end of eight or of a section), and whether a crash begins it.
    """

    pattern: str
    number: int
    fill: int = 0
    crash: bool = False


def planned(progression: Progression, turn: int = 0) -> tuple[BarPlan, ...]:
    """The plan of every bar of a chart that is played for the `turn`-th time, counted from 0.

    Sections of one name share a pattern: those of the first name have A, of the second B, and so on in turn. Without
    sections eight bars of A and of B take turns, also from one time to the next.

    >>> from fillgen.chart.text import parse_chart
    >>> plans = planned(parse_chart("| Ab | Fm7 | Bbm7 | Eb7 |"))
    >>> [(plan.pattern, plan.fill) for plan in plans]
    [('a', 0), ('a', 0), ('a', 0), ('a', 2)]
    """
    plans: list[BarPlan] = []
    for pattern, start, end in _stretches(progression, turn):
        for number in range(end - start):
            after = plans[-1].fill == _LARGE if plans else turn > 0
            plans.append(BarPlan(pattern, number, _fill(number, end - start), after))
    pickup = len(progression.bars) - len(plans)
    return (*(BarPlan(plans[0].pattern, 0) for _ in range(pickup)), *plans)


_SMALL, _LARGE = 1, 2


def _fill(number: int, count: int) -> int:
    """Which fill a bar has, by its number in a stretch of bars."""
    if count < _PHRASE // 2:
        return 0
    if number == count - 1:
        return _LARGE if count >= _PHRASE else _SMALL
    if number % _STRETCH == _STRETCH - 1:
        return _LARGE
    return _SMALL if number % _PHRASE == _PHRASE - 1 and count - number > _PHRASE // 2 else 0


def _stretches(progression: Progression, turn: int) -> list[tuple[str, int, int]]:
    """Where one pattern holds: the pattern, the first bar and the bar after the last; a pick-up is left out."""
    last, first = len(progression.bars), int(progression.first == 0 and len(progression.bars) > 1)
    starts = [max(first, bar) for bar, _ in progression.sections]
    if not starts:
        starts = [*range(first, max(first + 1, last - _PHRASE + 1), _STRETCH)]
        patterns = ["ab"[(turn * len(starts) + number) % 2] for number in range(len(starts))]
    else:
        names = list(dict.fromkeys(name for _, name in progression.sections))
        patterns = ["ab"[names.index(name) % 2] for _, name in progression.sections]
        if starts[0] > first:
            starts, patterns = [first, *starts], [patterns[0], *patterns]
    bounds = pairwise([*starts, last])
    return [(pattern, a, b) for pattern, (a, b) in zip(patterns, bounds, strict=True) if a < b]


def arranged(pack: RulePack, rhythm: str, progression: Progression, turn: int = 0) -> Accompaniment:
    """What bass, left hand and drums play in each bar of a chart, played for the `turn`-th time.

    A bar of another metre than the chart's has the rhythm's patterns of that metre; where there are none, those of the
    chart's metre, cut off at the end of the bar or prolonged by their last beats.
    """
    usual = band(pack, rhythm, progression.metre)
    own = pack.rhythm_row(rhythm).get("accompaniment", {})
    bands = {
        metre: band(pack, rhythm, metre)
        if metre.name in own
        else fitted_band(usual, progression.metre, metre)
        for metre in progression.all_metres
    }
    plans = planned(progression, turn)
    bars = [(plan, bands[progression.metre_of(number)]) for number, plan in enumerate(plans)]
    return Accompaniment(
        tuple(_in_turn(_pattern(each, plan).bass, plan) for plan, each in bars),
        tuple(_in_turn(_pattern(each, plan).chords, plan) for plan, each in bars),
        tuple(_drums(each, plan) for plan, each in bars),
    )


def _pattern(own: Band, plan: BarPlan) -> Accompaniment:
    return own.a if plan.pattern == "a" else own.b


_T = TypeVar("_T")


def _in_turn(bars: tuple[_T, ...], plan: BarPlan) -> _T:
    return bars[plan.number % len(bars)]


def _drums(own: Band, plan: BarPlan) -> Drums:
    """The drums of a bar: its pattern or a fill, with a crash in place of what the same hand would strike."""
    usual = _in_turn(_pattern(own, plan).drums, plan)
    fills = {_LARGE: own.fills[-1:], _SMALL: own.fills[:-1]}.get(plan.fill, ())
    hits = fills[0] if fills else usual
    if not plan.crash or not own.crash:
        return hits
    moments = {hit.tick for hit in own.crash}
    struck = {(hit.tick, hit.key) for hit in own.crash}
    free = {percussion(name) for name in _TIMEKEEPERS}
    kept = [
        hit
        for hit in hits
        if (hit.tick, hit.key) not in struck and not (hit.tick in moments and hit.key in free)
    ]
    return tuple(sorted([*own.crash, *kept], key=lambda hit: (hit.tick, hit.key)))


def enters(progression: Progression, part: str) -> int:
    """The tick at which a part comes in where a take begins thin: the bass after a bar, the drums after
    two. Charts of fewer than four bars begin together.

    >>> from fillgen.chart.text import parse_chart
    >>> chart = parse_chart("| Ab | Fm7 | Bbm7 | Eb7 |")
    >>> [enters(chart, part) for part in ("left", "bass", "drums")]
    [0, 1920, 3840]
    """
    first = int(progression.first == 0)
    count = len(progression.bars) - first
    bars = {"bass": 1, "drums": _LATEST}.get(part, 0) if count >= _PHRASE else 0
    return progression.start_of(first + bars) if bars else 0


_LATEST = 2
