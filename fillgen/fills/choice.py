"""Which rooms of a tune are filled, and with which of their fills: varied, and returning where the tune does."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from fillgen.chart.progression import Progression
from fillgen.errors import OptionError, many, shorten
from fillgen.fills.fill import Candidate, FillRequest, candidates
from fillgen.fills.rooms import Room, Run, place, rooms
from fillgen.phrase.idea import IdeaNote
from fillgen.phrase.note import Phrase
from fillgen.phrase.ranks import range_of

LEAST_GAP, MOST_GAP = 1, 16
"""The bounds of `--gap`, in beats."""
_RECENT = 6
"""A figure isn't repeated within this many fills while others are as good. Chosen."""
_SAME_FIGURE, _SAME_RHYTHM, _SAME_CONTOUR = 0.3, 0.08, 0.04
"""The cost of a figure played not long ago, and of a rhythm or contour of the last two fills. Chosen by ear."""
_LATER = 3
"""A place that comes this many times or more has another fill the last time. Common practice: twice alike, then another way."""
_AS_GOOD = 0.2
"""How much less another fill may be worth than the fill before. Chosen by ear."""


@dataclass(frozen=True)
class Fill:
    """A fill: its number, its room, the notes of the first time it is played, and their text from the bar they begin in."""

    room: Room
    notes: tuple[IdeaNote, ...]
    text: str

    @property
    def number(self) -> int:
        return self.room.number

    def played(self) -> tuple[tuple[IdeaNote, ...], ...]:
        """The notes each time that it is played."""
        return tuple(moved(self.notes, shift) for shift in self.room.shifts)


@dataclass(frozen=True)
class Filled:
    """The fills of a tune, in the order of their rooms, and remarks about them."""

    fills: tuple[Fill, ...]
    remarks: tuple[str, ...] = ()


def moved(notes: Sequence[IdeaNote], ticks: int) -> tuple[IdeaNote, ...]:
    """Notes some ticks later."""
    return tuple(replace(each, note=replace(each.note, onset=each.note.onset + ticks)) for each in notes)


def fills_of(progression: Progression, line: Phrase, runs: Sequence[Run], wanted: FillRequest) -> Filled:
    """Fills where a line over a progression leaves room for them, as many and as busy as requested.

    `runs` say how the measures of the line are played. A place that returns has the same fill each time; from
    three times on, another the last time. OptionError for an option out of range, or for a fill
    number that doesn't exist.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.phrase.text import parse_phrase
    >>> chart = parse_chart("| Eb | Bb7 | Eb |")
    >>> tune = parse_phrase("G5q Bb5q G5h | F5w | Eb5w", chart.metre)
    >>> filled = fills_of(chart, tune, (), FillRequest(gap=4))
    >>> [(fill.number, fill.room.onset) for fill in filled.fills]
    [(1, 2400)]
    """
    check_fill_request(wanted)
    found = rooms(progression, line, wanted.gap, runs)
    if not found:
        hint = f" Try --gap {LEAST_GAP}." if wanted.gap > LEAST_GAP else ""
        beats = f"{wanted.gap:g} beats" if wanted.gap != 1 else "a beat"
        return Filled((), (f"no room for fills: the tune never rests or holds a note for {beats}.{hint}",))
    begins = runs[0].start if runs else 0
    first = progression.bar_index(begins) + (progression.inside(begins) > 0)
    picked = _picked(progression, found, wanted, first)
    chosen = _Chooser(progression, line, wanted).fills(picked)
    empty = [room for room in picked if room.number not in {fill.number for fill in chosen}]
    remarks = [_nothing(progression, room) for room in empty]
    return Filled(tuple(chosen), tuple(remarks))


def check_fill_request(wanted: FillRequest) -> None:
    """OptionError for fill options that are wrong for any tune."""
    if not LEAST_GAP <= wanted.gap <= MOST_GAP:
        raise OptionError(f"a gap of {wanted.gap:g} beats", hint=f"Give {LEAST_GAP} to {MOST_GAP} beats.")
    if wanted.only is not None and wanted.how_many is not None:
        raise OptionError("use --only or --how-many, not both", hint="Use one of them.")
    if wanted.how_many is not None:
        how_many(wanted.how_many, 1)


def _nothing(progression: Progression, room: Room) -> str:
    where = progression.place_name(room.onset)
    return (
        f"no fill {room.number}: nothing fits at {where} of the whole piece. Try another --busy or --level."
    )


# How many


def _picked(progression: Progression, found: Sequence[Room], wanted: FillRequest, first: int) -> list[Room]:
    """The rooms to fill: those named by number, or the requested number of those that need it most.

    `first` is the tune's first full bar, counted from 0.
    """
    if wanted.only is not None:
        numbers = numbers_of(wanted.only, len(found))
        return [room for room in found if room.number in numbers]
    best = sorted(found, key=lambda room: (-_ease(progression, room, first), room.number))
    if wanted.how_many is not None:
        best = best[: how_many(wanted.how_many, len(found))]
    else:
        best = _spaced(progression, best, first)
    return sorted(best, key=lambda room: room.number)


def _spaced(progression: Progression, best: Sequence[Room], first: int) -> list[Room]:
    """The rooms filled by default: the tune has a bar to itself between two fills.

    A room of less than two beats is filled at the end of two bars only. Common practice.
    """
    kept: list[Room] = []
    for room in best:
        metre = progression.metre_at(room.onset)
        short = room.end - room.start < 2 * metre.pulse and _bar_from(progression, room, first) % 2
        times = [(room.onset + shift, room.limit + shift) for shift in room.shifts]
        others = [(other.onset + shift, other.limit + shift) for other in kept for shift in other.shifts]
        near = any(start < b + metre.bar and a < end + metre.bar for start, end in times for a, b in others)
        if not short and not near:
            kept.append(room)
    return kept


def _ease(progression: Progression, room: Room, first: int) -> float:
    """How much a room needs a fill: its beats, twice a bar more at the end of four bars, once at that of two."""
    metre, bar = progression.metre_at(room.onset), _bar_from(progression, room, first)
    return (room.end - room.start + metre.bar * ((bar % 2 == 0) + (bar % 4 == 0))) / metre.pulse


def _bar_from(progression: Progression, room: Room, first: int) -> int:
    """The bar in which a room ends, counted from 1 at the tune's first."""
    return progression.bar_index(room.limit - 1) - first + 1


_SHARE = re.compile(r"(\d{1,3})\s*%")


def how_many(text: str, count: int) -> int:
    """How many of the rooms a text such as `3` or `50%` fills; OptionError if it can't be read.

    >>> how_many("3", 8), how_many("50%", 5), how_many("12", 8)
    (3, 3, 8)
    """
    share = _SHARE.fullmatch(text.strip())
    if share and 1 <= int(share[1]) <= 100:
        return max(1, math.floor(count * int(share[1]) / 100 + 0.5))
    if re.fullmatch(r"\d{1,4}", text.strip()) and int(text) > 0:
        return min(count, int(text))
    raise OptionError(
        f"{shorten(text)} is not a number of fills", hint="Give a number such as 3, or a share such as 50%."
    )


def numbers_of(only: str, count: int) -> frozenset[int]:
    """The numbers in a text such as `2,5` or `1-3`; OptionError if there is no such fill.

    >>> sorted(numbers_of("5,1-2", 6))
    [1, 2, 5]
    """
    found: set[int] = set()
    for word in only.split(","):
        named = range_of(word)
        if named is None:
            raise OptionError(f"{shorten(word.strip())} is not a fill", hint="Give numbers like 2,5 or 1-3.")
        if named[0] < 1 or named[-1] > count:
            room = "There is room for 1 fill." if count == 1 else f"There is room for {many(count, 'fill')}."
            raise OptionError(f"there is no fill {word.strip()}", hint=room)
        found |= set(named)
    return frozenset(found)


# Which


def _is_another(fill: Candidate, known: Candidate) -> bool:
    """Whether a fill is another figure than a known one, and about as good."""
    figure = fill.rhythm, fill.contour
    return figure != (known.rhythm, known.contour) and fill.worth > known.worth - _AS_GOOD


class _Chooser:
    """Chooses a fill for each room in turn, and remembers what was played."""

    def __init__(self, progression: Progression, line: Phrase, wanted: FillRequest) -> None:
        self.progression, self.line, self.wanted = progression, line, wanted
        self.played: list[Candidate] = []

    def fills(self, picked: Sequence[Room]) -> list[Fill]:
        """A fill for each room for which there is one."""
        places = {room.number: place(self.progression, room) for room in picked}
        known: dict[object, tuple[Room, Candidate | None]] = {}
        times: dict[object, int] = {}
        found = []
        for room in picked:
            where = places[room.number]
            times[where] = times.get(where, 0) + len(room.gaps)
            later = any(places[other.number] == where for other in picked if other.number > room.number)
            another = where in known and not later and times[where] >= _LATER
            if where not in known or another:
                chosen = self._best(room, unlike=known[where][1] if another else None)
                if chosen is not None or not another:
                    known[where] = room, chosen
            source, fill = known[where]
            if fill is not None:
                self.played.append(fill)
                found.append(self._moved(fill, source, room))
        return found

    def _moved(self, fill: Candidate, source: Room, room: Room) -> Fill:
        """The fill of one room in another of the same place."""
        shift = room.first.before.onset - source.first.before.onset
        bars = self.progression.bar_index(room.onset) - self.progression.bar_index(source.onset)
        notes = tuple(replace(each, bar=each.bar + bars) for each in moved(fill.notes, shift))
        return Fill(room, notes, fill.text)

    def _best(self, room: Room, unlike: Candidate | None) -> Candidate | None:
        """The best fill for a room that wasn't played just before and differs from another."""
        best, least = None, -math.inf
        for each in candidates(self.progression, self.line, room, self.wanted):
            if each.worth <= least:
                break
            if unlike is not None and not _is_another(each, unlike):
                continue
            worth = each.worth - self._staleness(each)
            if worth > least:
                best, least = each, worth
        return best

    def _staleness(self, fill: Candidate) -> float:
        """The cost of being like the fills before."""
        figures = [(each.rhythm, each.contour) for each in self.played[-_RECENT:]]
        last = self.played[-2:]
        return (
            _SAME_FIGURE * ((fill.rhythm, fill.contour) in figures)
            + _SAME_RHYTHM * sum(fill.rhythm == each.rhythm for each in last)
            + _SAME_CONTOUR * sum(fill.contour == each.contour for each in last)
        )
