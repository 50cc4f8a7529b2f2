"""A tune as a score has it: its bars, each with its metre and key, its notes and its chords, repeats played out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate, groupby, pairwise
from statistics import correlation

from fillgen.chart.progression import where_differing
from fillgen.errors import TuneError
from fillgen.phrase.note import Phrase
from fillgen.theory.chords import Chord
from fillgen.theory.metre import Metre, Timeline
from fillgen.theory.pitch import Key, all_keys
from fillgen.theory.tonality import cost_in


@dataclass(frozen=True)
class Tune:
    """A tune as it is played, with its repeats and endings played out: its notes and its chords, in ticks from the first
    note or rest.

    `pickup` are the ticks before the first full bar, 0 if the tune begins on one; `bar_metres` are the metres of the
    bars played, `shortage` are the ticks by which the last is short. `measures` are the ticks of the written measures,
    of which two may share a bar at a repeat, `keys` the key of each; `order` says in which order they are played,
    `begins` which of them begin a bar. `remarks` say what isn't played as it is written; `part` is the id of the part
    that was read; `below` are its notes under the tune, those of lower voices and chords, which are played with it.
    """

    title: str
    tempo: int | None
    pickup: int
    bar_metres: tuple[Metre, ...]
    shortage: int
    measures: tuple[int, ...]
    measure_metres: tuple[Metre, ...]
    keys: tuple[Key, ...]
    notes: Phrase
    chords: tuple[tuple[int, Chord], ...]
    xml: bytes
    part: str
    order: tuple[int, ...]
    begins: tuple[bool, ...]
    remarks: tuple[str, ...] = ()
    below: Phrase = ()

    @property
    def metre(self) -> Metre:
        """The metre in which the tune begins."""
        return self.bar_metres[0]

    @property
    def key(self) -> Key:
        """The key in which the tune begins."""
        return self.keys[0]

    @property
    def bars(self) -> int:
        """The bars played, without the pick-up."""
        return len(self.bar_metres)

    @cached_property
    def timeline(self) -> Timeline:
        """Where the bars played begin, in ticks from the first full one."""
        return Timeline(self.metre, where_differing(self.bar_metres, self.metre))

    @property
    def repeats(self) -> bool:
        """Whether measures are played more than once, or skipped."""
        return self.order != tuple(range(len(self.measures)))

    @cached_property
    def written_bars(self) -> tuple[int, ...]:
        """For each bar as it is played its number as it is written, from 0."""
        numbers = [number - 1 for number in accumulate(self.begins)]
        return tuple(numbers[place] for place in self._first_measures)

    @cached_property
    def bar_keys(self) -> tuple[Key, ...]:
        """The key of each bar as it is played."""
        return tuple(self.keys[place] for place in self._first_measures)

    @property
    def _first_measures(self) -> list[int]:
        """The measure that begins each bar as it is played."""
        starts = {self.pickup + self.timeline.start(bar) for bar in range(self.bars)}
        ticks = accumulate((self.measures[place] for place in self.order), initial=0)
        return [place for place, tick in zip(self.order, ticks, strict=False) if tick in starts]

    @property
    def length(self) -> int:
        """Ticks of the whole tune, with its pick-up."""
        return self.pickup + self.timeline.start(self.bars)


# Bars


def full_bars(lengths: Sequence[int], metres: Metre | Sequence[Metre], place: str) -> list[tuple[Metre, int]]:
    """The bars that measures make, with their ticks; two short measures in a row, as at a repeat after a pick-up, make
    one bar together.

    `metres` is that of all measures, or a metre for each. Raises TuneError if a measure does not fit.

    >>> from fillgen.theory.metre import METRES
    >>> [ticks for _, ticks in full_bars([1920, 1440, 480, 960], METRES["4/4"], "a tune")]
    [1920, 1920, 960]
    """
    bars: list[tuple[Metre, int]] = []
    every = [metres] * len(lengths) if isinstance(metres, Metre) else metres
    for number, (length, own) in enumerate(zip(lengths, every, strict=True), 1):
        if bars and bars[-1][1] < bars[-1][0].bar:
            bars[-1] = (bars[-1][0], bars[-1][1] + length)
        else:
            bars.append((own, length))
        metre, ticks = bars[-1]
        if ticks > metre.bar:
            hint = "Only a pick-up, the last bar, and two bars that together make one may be short."
            raise TuneError(f"bar {number} doesn't fill a {metre.name} bar", place=place, hint=hint)
    if not bars:
        raise TuneError("has no full bar", place=place)
    return bars


# Keys

_LAST_CHORD, _FIRST_CHORD, _LAST_NOTE = 3.0, 1.0, 2.0
"""What speaks for a key: its tonic as the last chord, the first, the last note."""
_PROFILE = 5.0
"""How much the likeness of the notes to the profile of a key, from -1 to 1, speaks for it."""
_READING = 4.0
"""What the chords cost on average in the other key speaks for a key this many times."""
_PROFILES = {
    "major": (6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88),
    "minor": (6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17),
}
"""How well each note above the tonic fits a key to listeners: Krumhansl and Kessler (1982), 'Tracing the Dynamic Changes in
Perceived Tonal Organization in a Spatial Representation of Musical Keys', Psychological Review 89(4)."""


def mode_of(sharps: int, chords: Sequence[Chord], notes: Phrase) -> Key:
    """The key with a number of sharps, or of flats below zero, in which chords and notes are at home: major or its relative minor.

    The last chord counts most, then the last note, how well the chords fit, and how often each note sounds. The weights
    are choices of this project.

    >>> from fillgen.phrase.note import Note
    >>> from fillgen.theory.chords import read_chord
    >>> chords = [read_chord(symbol) for symbol in ("Cm", "Fm", "G7", "Cm")]
    >>> str(mode_of(-3, chords, (Note(0, 480, 75), Note(480, 480, 72))))
    'C minor'
    """
    return _most_likely([key for key in all_keys() if key.fifths == sharps], chords, notes)


def key_of_notes(notes: Phrase) -> Key:
    """The key of notes without a signature, of equally likely ones that with the fewest signs.

    >>> from fillgen.phrase.note import Note
    >>> line = (65, 69, 72, 70, 69, 67, 65, 64, 65)
    >>> str(key_of_notes(tuple(Note(480 * n, 480, midi) for n, midi in enumerate(line))))
    'F major'
    """
    return _most_likely(sorted(all_keys(), key=lambda key: abs(key.fifths)), (), notes)


def _most_likely(keys: Sequence[Key], chords: Sequence[Chord], notes: Phrase) -> Key:
    sounding = [chord for chord in chords if chord.root is not None]
    worth = [_worth(key, sounding, notes) + _PROFILE * _likeness(key, notes) for key in keys]
    if sounding:
        worth = [each - _READING * _reading(key, sounding) for key, each in zip(keys, worth, strict=True)]
    return keys[max(range(len(keys)), key=worth.__getitem__)]


def _likeness(key: Key, notes: Phrase) -> float:
    """How like the lengths of a melody's notes are to the profile of a key, from -1 to 1."""
    lengths = [0.0] * 12
    for note in notes:
        lengths[(note.midi - key.tonic.pitch_class) % 12] += note.length
    if len(set(lengths)) < 2:
        return 0.0
    return correlation(lengths, _PROFILES[key.mode])


def _worth(key: Key, chords: Sequence[Chord], notes: Phrase) -> float:
    """What the first and last chord and the last note say for a key."""
    found = 0.0
    if chords:
        found += _LAST_CHORD * _is_tonic(chords[-1], key) + _FIRST_CHORD * _is_tonic(chords[0], key)
    return found + _LAST_NOTE * bool(notes and notes[-1].midi % 12 == key.tonic.pitch_class)


def _is_tonic(chord: Chord, key: Key) -> bool:
    third = key.scale[2].pitch_class
    return (
        chord.root is not None
        and chord.root.pitch_class == key.tonic.pitch_class
        and chord.tone_at(third) is not None
    )


def _reading(key: Key, chords: Sequence[Chord]) -> float:
    """What chords cost in a key, on average."""
    pairs = pairwise([*chords, None])
    return sum(cost_in(chord, after, key) for chord, after in pairs if chord is not None) / len(chords)


def stretches(values: Sequence[object]) -> list[range]:
    """The places of equal values in a row.

    >>> stretches([1, 1, -2, 1])
    [range(0, 2), range(2, 3), range(3, 4)]
    """
    lengths = [len(list(group)) for _, group in groupby(values)]
    return [range(end - length, end) for length, end in zip(lengths, accumulate(lengths), strict=True)]
