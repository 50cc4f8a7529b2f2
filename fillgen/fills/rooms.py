"""Where a tune leaves room for a fill: it rests or holds a note."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from fillgen.chart.progression import Progression
from fillgen.phrase.note import Note, Phrase
from fillgen.theory.metre import TICKS

LONGEST = 2
"""A fill lasts at most this many bars, the last ones before the tune continues. Chosen."""


@dataclass(frozen=True, slots=True)
class Run:
    """Measures of a tune played as they are written, one after another: their first tick as played and as written, and
    the tick as played at which they end.
    """

    start: int
    end: int
    written: int


@dataclass(frozen=True, slots=True)
class Gap:
    """A place where a tune rests or holds a note, once as it is played; all in ticks.

    `before` is the note that sounds last, `next` the one with which the tune continues. A fill may sound from `start` to
    `end`. `written` is where `before` is written, the same each time that a repeat plays it.
    """

    before: Note
    next: Note
    start: int
    end: int
    written: int


@dataclass(frozen=True)
class Room:
    """A written place where a fill has room: its number, and its gap each time that it is played.

    A fill fits all of them, so that it can be written once. `start` and `end` count from the note before.
    """

    number: int
    gaps: tuple[Gap, ...]
    start: int
    end: int

    @property
    def first(self) -> Gap:
        return self.gaps[0]

    @property
    def onset(self) -> int:
        """The tick at which a fill may begin the first time."""
        return self.first.before.onset + self.start

    @property
    def limit(self) -> int:
        """The tick at which a fill has to be over the first time."""
        return self.first.before.onset + self.end

    @property
    def shifts(self) -> tuple[int, ...]:
        """How many ticks after the first time each time begins."""
        return tuple(gap.before.onset - self.first.before.onset for gap in self.gaps)

    def leads(self) -> tuple[int, ...]:
        """The pitches with which the tune may continue."""
        return tuple(dict.fromkeys(gap.next.midi for gap in self.gaps))


def rooms(progression: Progression, line: Phrase, least: float, runs: Sequence[Run] = ()) -> tuple[Room, ...]:
    """The places where a tune rests or holds a note for at least some number of beats, in order.

    `line` are its notes as they are played, `runs` how its measures come to be played; without them it has no repeats.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.phrase.text import parse_phrase
    >>> chart = parse_chart("| Eb | Bb7 | Eb |")
    >>> tune = parse_phrase("G5q Bb5q G5h | F5q. G5e Ab5q F5q | Eb5w", chart.metre)
    >>> [(room.onset, room.limit) for room in rooms(chart, tune, 2)]
    [(1440, 1920)]
    """
    runs = runs or [Run(0, progression.length, 0)]
    by_place: dict[tuple[int, tuple[str, ...]], list[Gap]] = {}
    for gap in _gaps(progression, line, least, runs):
        by_place.setdefault((gap.written, _chords(progression, gap)), []).append(gap)
    found: list[Room] = []
    for gaps in by_place.values():
        start = max(gap.start - gap.before.onset for gap in gaps)
        end = min(gap.end - gap.before.onset for gap in gaps)
        if end - start >= progression.metre_at(gaps[0].start).pulse:
            found.append(Room(len(found) + 1, tuple(gaps), start, end))
    return tuple(found)


def _gaps(progression: Progression, line: Phrase, least: float, runs: Sequence[Run]) -> Iterator[Gap]:
    for before, after in pairwise(sorted(line, key=lambda note: note.onset)):
        metre = progression.metre_at(before.onset)
        beat = metre.pulse
        start = _begins(before, after.onset, beat, round(least * beat))
        run = next((run for run in runs if run.start <= before.onset < run.end), None)
        if start is None or run is None:
            continue
        end = min(after.onset, run.end)
        start = max(start, end - LONGEST * metre.bar)
        if end - start >= beat:
            yield Gap(before, after, start, end, run.written + before.onset - run.start)


def _begins(before: Note, after: int, beat: int, least: int) -> int | None:
    """The tick from which a fill may sound after a note: on the rest, or when the note has been held for a beat.

    None if the tune doesn't hold or rest long enough before it continues at the tick `after`.
    """
    held = min(before.end, before.onset + beat)
    if before.length >= least:
        return held
    if after - before.end >= least:
        return before.end
    return held if after - held >= max(least, TICKS) and before.length > beat else None


def _chords(progression: Progression, gap: Gap) -> tuple[str, ...]:
    """The chords from the note before a gap to the end of the gap."""
    return tuple(
        span.chord.symbol
        for span in progression.spans
        if span.onset < gap.end and span.end > gap.before.onset
    )


def place(progression: Progression, room: Room) -> tuple[object, ...]:
    """What makes two rooms the same place of a section that returns: notes and chords around them."""
    gap = room.first
    chords = tuple(
        (max(span.onset - gap.before.onset, 0), span.chord.symbol)
        for span in progression.spans
        if span.onset <= gap.next.onset and span.end > gap.before.onset
    )
    onward = tuple((each.next.midi, each.next.onset - each.before.onset) for each in room.gaps)
    around = (progression.inside(gap.before.onset), gap.before.midi, gap.before.length)
    return (*around, room.start, room.end, frozenset(onward), chords)
