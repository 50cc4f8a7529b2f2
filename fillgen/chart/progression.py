"""A parsed chart: its metre, its key and the chords of each bar."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from itertools import pairwise

from fillgen.theory.chords import Chord, mask_of
from fillgen.theory.metre import Metre
from fillgen.theory.pitch import Key, Name


@dataclass(frozen=True, slots=True)
class Span:
    """A chord and how long it lasts: ticks from the start of the phrase, and ticks."""

    chord: Chord
    onset: int
    length: int
    heard: Chord

    @property
    def end(self) -> int:
        return self.onset + self.length


@dataclass(frozen=True)
class Progression:
    """A parsed chart: its metre, its key, and the chords of each bar.

    `heard` of a span is the chord the ear has there: over N.C. the chord before goes on. `first` is the number of the
    first bar: 0 where that one holds the pick-up of a phrase. `sections` are the places of bars, counted from 0, at which
    a section begins, each with its name. `remarks` say how the chart was read where its text left that open.
    """

    metre: Metre
    key: Key
    bars: tuple[tuple[Span, ...], ...]
    title: str = ""
    first: int = 1
    sections: tuple[tuple[int, str], ...] = ()
    remarks: tuple[str, ...] = field(default=(), compare=False)

    def section_of(self, index: int) -> str:
        """The name of the section of a bar, counted from 0; empty where the chart names none."""
        return next((name for start, name in reversed(self.sections) if start <= index), "")

    def bar_of(self, tick: int) -> int:
        """The number of the bar that holds a tick."""
        return tick // self.metre.bar + self.first

    def place_name(self, tick: int) -> str:
        """A tick as players count it: `bar 2, beat 1.5`."""
        return self.metre.place_name(tick, self.first)

    @cached_property
    def spans(self) -> tuple[Span, ...]:
        return tuple(span for bar in self.bars for span in bar)

    @cached_property
    def changes(self) -> tuple[int, ...]:
        """The ticks at which another chord begins, the start included."""
        fresh = [b.onset for a, b in pairwise(self.spans) if a.heard.symbol != b.heard.symbol]
        return (0, *fresh)

    @property
    def length(self) -> int:
        """Ticks of the whole progression."""
        return len(self.bars) * self.metre.bar

    @property
    def last(self) -> Chord:
        """The chord on which the phrase ends."""
        return self.spans[-1].heard

    def span_at(self, tick: int) -> Span:
        """The span that holds a tick."""
        bar = self.bars[tick // self.metre.bar]
        return next(span for span in reversed(bar) if span.onset <= tick)

    def is_strong(self, tick: int) -> bool:
        """Whether a tick is a strong beat of its bar or the beat on which a new chord begins."""
        return tick % self.metre.bar in self.metre.strong or tick in self._change_set

    def strong_between(self, start: int, end: int) -> list[int]:
        """The strong ticks after `start` and before `end`."""
        bar = self.metre.bar
        first, last = start // bar, (end - 1) // bar
        beats = {n * bar + tick for n in range(first, last + 1) for tick in self.metre.strong}
        return sorted(tick for tick in beats | self._change_set if start < tick < end)

    @cached_property
    def passing_masks(self) -> dict[Chord, int]:
        """For each chord the pitch classes that may pass over it, as bits."""
        chords = dict.fromkeys(span.heard for span in self.spans)
        return {chord: mask_of(n.pitch_class for n in passing_names(chord, self.key)) for chord in chords}

    @cached_property
    def leading(self) -> int:
        """The raised seventh of a minor key as a bit; nothing in a major key, whose own seventh leads."""
        return mask_of([self.key.tonic.pitch_class + 11]) if self.key.mode == "minor" else 0

    @cached_property
    def _change_set(self) -> frozenset[int]:
        return frozenset(self.changes)


def laid(bars: Sequence[Sequence[tuple[Chord, int]]]) -> tuple[tuple[Span, ...], ...]:
    """Chords with their lengths in ticks, bar by bar, as spans one after another; one chord at least must sound.

    Over N.C. the chord before goes on in the ear, at the start of a chart the first that comes.
    """
    heard = next(chord for bar in bars for chord, _ in bar if chord.root is not None)
    onset, rows = 0, []
    for bar in bars:
        spans = []
        for chord, length in bar:
            heard = chord if chord.root is not None else heard
            spans.append(Span(chord, onset, length, heard))
            onset += length
        rows.append(tuple(spans))
    return tuple(rows)


@lru_cache(maxsize=4096)
def passing_names(chord: Chord, key: Key) -> tuple[Name, ...]:
    """The notes that may pass over a chord: the key's scale, the chord's tones in place of their letters.

    >>> from fillgen.theory.chords import read_chord
    >>> [str(name) for name in passing_names(read_chord("C7"), Key(Name.read("Eb"), "major"))]
    ['C', 'D', 'E', 'F', 'G', 'Ab', 'Bb']
    """
    rest = [
        name
        for name in key.scale
        if chord.stands_on(name.letter) is None and chord.tone_at(name.pitch_class) is None
    ]
    return tuple(sorted([*rest, *(tone.name for tone in chord.tones)]))
