"""A parsed chart: its metre, its key and the chords of each bar."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from itertools import pairwise

from fillgen.theory.chords import Chord, mask_of
from fillgen.theory.metre import Metre, Timeline
from fillgen.theory.pitch import Key, Name
from fillgen.theory.tonality import keys_of


@dataclass(frozen=True, slots=True)
class Span:
    """A chord and how long it lasts: ticks from the start of the phrase, and ticks.

    `heard` is the chord the ear has there: over N.C. that is the chord before. `key` is the key it is heard in.
    `proposed` means that the chord was proposed for the notes of a tune, not written in the source.
    """

    chord: Chord
    onset: int
    length: int
    heard: Chord
    key: Key
    proposed: bool = False

    @property
    def end(self) -> int:
        return self.onset + self.length


@dataclass(frozen=True)
class Progression:
    """A parsed chart: its metre, its home key, and the chords of each bar, each with the key it is heard in.

    `key` is that of the signature, in which the chart begins. `first` is the number of the
    first bar: 0 if that one holds the pick-up of a phrase. `sections` are the places of bars, counted from 0, at which
    a section begins, each with its name. `metres` is the metre of each bar where one differs from `metre`, and empty
    otherwise. `remarks` say how the chart was read where its text left that open.
    """

    metre: Metre
    key: Key
    bars: tuple[tuple[Span, ...], ...]
    title: str = ""
    first: int = 1
    sections: tuple[tuple[int, str], ...] = ()
    remarks: tuple[str, ...] = field(default=(), compare=False)
    metres: tuple[Metre, ...] = ()

    @cached_property
    def timeline(self) -> Timeline:
        """Where the bars begin, and the metre of each."""
        return Timeline(self.metre, self.metres)

    @cached_property
    def all_metres(self) -> tuple[Metre, ...]:
        """The metres that bars have, each once, the chart's own first."""
        return tuple(dict.fromkeys((self.metre, *self.metres)))

    @property
    def metres_in_words(self) -> str:
        """The chart's metre, and the others with their bars.

        >>> from fillgen.chart.text import parse_chart
        >>> parse_chart("| Ab | 2/4 Bbm7 | 4/4 Eb7 |").metres_in_words
        '4/4, bar 2 in 2/4'
        """
        others = []
        for metre in self.all_metres[1:]:
            bars = [n for n, own in enumerate(self.metres, self.first) if own == metre]
            many = (
                f"bars {', '.join(map(str, bars[:-1]))} and {bars[-1]}" if len(bars) > 1 else f"bar {bars[0]}"
            )
            others.append(f"{many} in {metre.name}" if len(bars) <= _MOST_KEYS else f"others in {metre.name}")
        return ", ".join([self.metre.name, *others])

    def metre_of(self, bar: int) -> Metre:
        """The metre of a bar, counted from 0."""
        return self.timeline.metre_of(bar)

    def start_of(self, bar: int) -> int:
        """The tick at which a bar begins, counted from 0; of the one after the last, the end."""
        return self.timeline.start(bar)

    def size_of(self, bar: int) -> int:
        """The ticks of a bar, counted from 0."""
        return self.timeline.size(bar)

    def bar_index(self, tick: int) -> int:
        """The bar that holds a tick, counted from 0."""
        return self.timeline.index(tick)

    def inside(self, tick: int) -> int:
        """A tick counted from the start of its bar."""
        return self.timeline.inside(tick)

    def metre_at(self, tick: int) -> Metre:
        """The metre of the bar that holds a tick."""
        return self.timeline.metre_at(tick)

    def section_of(self, index: int) -> str:
        """The name of the section of a bar, counted from 0; empty if the chart names none."""
        return next((name for start, name in reversed(self.sections) if start <= index), "")

    def bar_of(self, tick: int) -> int:
        """The number of the bar that holds a tick."""
        return self.bar_index(tick) + self.first

    def place_name(self, tick: int) -> str:
        """A tick as players count it: `bar 2, beat 1.5`."""
        return self.timeline.place_name(tick, self.first)

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
        return self.start_of(len(self.bars))

    @property
    def last(self) -> Chord:
        """The chord on which the phrase ends."""
        return self.spans[-1].heard

    def span_at(self, tick: int) -> Span:
        """The span that holds a tick."""
        bar = self.bars[self.bar_index(tick)]
        return next(span for span in reversed(bar) if span.onset <= tick)

    def is_strong(self, tick: int) -> bool:
        """Whether a tick is a strong beat of its bar or the beat on which a new chord begins."""
        return self.inside(tick) in self.metre_at(tick).strong or tick in self._change_set

    def strong_between(self, start: int, end: int) -> list[int]:
        """The strong ticks after `start` and before `end`."""
        bars = range(self.bar_index(start), self.bar_index(end - 1) + 1)
        beats = {self.start_of(n) + tick for n in bars for tick in self.metre_of(n).strong}
        return sorted(tick for tick in beats | self._change_set if start < tick < end)

    @property
    def end_key(self) -> Key:
        """The key in which the last chord is heard."""
        return self.spans[-1].key

    @cached_property
    def keys(self) -> tuple[tuple[int, Key], ...]:
        """The keys in turn, each with the tick from which it is heard.

        >>> from fillgen.chart.text import parse_chart
        >>> chart = parse_chart("| Fm7 | Bb7 | Ebmaj7 | % | F#m7 | B7 | Emaj7 | % |")
        >>> [(chart.bar_of(tick), str(key)) for tick, key in chart.keys]
        [(1, 'Eb major'), (5, 'E major')]
        """
        fresh = [(b.onset, b.key) for a, b in pairwise(self.spans) if a.key != b.key]
        return ((0, self.spans[0].key), *fresh)

    @cached_property
    def keys_in_words(self) -> str:
        """The keys in turn, each with the bar from which it is heard; of many the first three.

        >>> from fillgen.chart.text import parse_chart
        >>> parse_chart("| Fm7 | Bb7 | Ebmaj7 | % | F#m7 | B7 | Emaj7 | % |").keys_in_words
        'Eb major, E major from bar 5'
        """
        first, *others = self.keys
        words = [f"{key} from bar {self.bar_of(tick)}" for tick, key in others]
        if len(words) > _MOST_KEYS:
            words = [*words[: _MOST_KEYS - 1], f"and {len(words) - _MOST_KEYS + 1} more changes of key"]
        return ", ".join([str(first[1]), *words])

    @cached_property
    def _change_set(self) -> frozenset[int]:
        return frozenset(self.changes)


def laid(
    bars: Sequence[Sequence[tuple[Chord, int]]], keys: Sequence[Key | None] = (), home: Key | None = None
) -> tuple[tuple[Span, ...], ...]:
    """Chords with their lengths in ticks, bar by bar, as spans one after another; one chord at least must sound.

    Over N.C. the chord before still sounds in the ear; at the start of a chart, the first chord that follows. `keys` are those of the
    chords that are known, in their order, None for the others; these are found, the first in the
    key `home` if one is given (see `fillgen.theory.tonality.keys_of`).
    """
    chords = [chord for bar in bars for chord, _ in bar]
    heard = next(chord for chord in chords if chord.root is not None)
    found = iter(keys_of(chords, keys, home))
    onset, rows = 0, []
    for bar in bars:
        spans = []
        for chord, length in bar:
            heard = chord if chord.root is not None else heard
            spans.append(Span(chord, onset, length, heard, next(found)))
            onset += length
        rows.append(tuple(spans))
    return tuple(rows)


def cut_out(progression: Progression, first: int, stop: int) -> Progression:
    """Some bars of a progression, counted from 0, as a progression of their own that begins at tick 0, in the metre of its first bar."""
    metres = [progression.metre_of(bar) for bar in range(first, stop)]
    bars = moved(progression.bars[first:stop], -progression.start_of(first))
    return replace(
        progression, metre=metres[0], bars=bars, metres=where_differing(metres, metres[0]), sections=()
    )


def moved(bars: Sequence[tuple[Span, ...]], ticks: int) -> tuple[tuple[Span, ...], ...]:
    """Bars a number of ticks later."""
    return tuple(tuple(replace(span, onset=span.onset + ticks) for span in bar) for bar in bars)


def where_differing(metres: Sequence[Metre], usual: Metre) -> tuple[Metre, ...]:
    """The metre of each bar where one differs from the usual one, otherwise nothing."""
    return () if all(metre == usual for metre in metres) else tuple(metres)


_MOST_KEYS = 4
"""How many changes of key are listed in words."""


@lru_cache(maxsize=4096)
def scale_over(chord: Chord, key: Key) -> tuple[Name, ...]:
    """A key's scale as it is over a chord: over the IV7 of a blues, and where else its flat third sounds, the seventh is flat.

    Source: common practice.

    >>> from fillgen.theory.chords import read_chord
    >>> blues = Key(Name.read("F"), "blues")
    >>> [[str(name) for name in scale_over(read_chord(symbol), blues)][-1] for symbol in ("C7", "Bb7")]
    ['E', 'Eb']
    """
    if key.mode != "blues" or not chord.mask >> (key.tonic.pitch_class + 3) % 12 & 1:
        return key.scale
    return (*key.scale[:-1], key.tonic.up(6, 10))


@lru_cache(maxsize=4096)
def passing_names(chord: Chord, key: Key) -> tuple[Name, ...]:
    """The notes that may pass over a chord in a key: the scale there, the chord's tones in place of their letters.

    >>> from fillgen.theory.chords import read_chord
    >>> [str(name) for name in passing_names(read_chord("C7"), Key(Name.read("Eb"), "major"))]
    ['C', 'D', 'E', 'F', 'G', 'Ab', 'Bb']
    """
    rest = [
        name
        for name in scale_over(chord, key)
        if chord.stands_on(name.letter) is None and chord.tone_at(name.pitch_class) is None
    ]
    return tuple(sorted([*rest, *(tone.name for tone in chord.tones)]))


@lru_cache(maxsize=4096)
def passing_mask(chord: Chord, key: Key) -> int:
    """The pitch classes that may pass over a chord in a key, as bits."""
    return mask_of(name.pitch_class for name in passing_names(chord, key))


@lru_cache(maxsize=4096)
def leading_mask(chord: Chord, key: Key) -> int:
    """The raised seventh of a minor key as a bit where it does not pass over the chord anyway; 0 in any other key."""
    raised = mask_of([key.tonic.pitch_class + 11]) if key.mode == "minor" else 0
    return raised & ~passing_mask(chord, key)


@lru_cache(maxsize=4096)
def climbing_mask(chord: Chord, key: Key) -> int:
    """The raised sixth of a minor key as a bit, as `leading_mask` has its seventh."""
    raised = mask_of([key.tonic.pitch_class + 9]) if key.mode == "minor" else 0
    return raised & ~passing_mask(chord, key)


@lru_cache(maxsize=4096)
def blue_masks(chord: Chord, key: Key) -> tuple[int, int]:
    """The blue third and the blue fifth of a blues as bits, each where it is outside the scale over the chord."""
    if key.mode != "blues":
        return 0, 0
    own = passing_mask(chord, key)
    third, fifth = (mask_of([key.tonic.pitch_class + rise]) & ~own for rise in (3, 6))
    return third, fifth
