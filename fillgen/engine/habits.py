"""The habits of real melodies: which interval follows which, and how their bars are ordered.

The tables are learned from tunes and kept in `rules/habits.toml` and `rules/order.toml`; those files name their source.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache, cached_property
from itertools import combinations, pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fillgen.tables import table
from fillgen.theory.chords import mask_of
from fillgen.theory.metre import Metre, Timeline, timeline_of
from fillgen.theory.pitch import MODES, Key

Pitches = NDArray[np.int16]
Values = NDArray[np.float64]
Codes = NDArray[np.integer[Any]]

WIDEST = 12
"""The widest interval with a likelihood of its own, in semitones; anything wider counts as an octave."""
INTERVALS = 2 * WIDEST + 1
NO_MOVE = INTERVALS
"""The value used as the interval before the first note."""
ACCENTS = 4
"""Places in a bar: the first beat, another strong beat, another beat, between beats."""
BARS = 4
"""Bars are considered in groups of this many."""
PAIRS = tuple(combinations(range(BARS), 2))
"""The pairs of bars in a group. A code of likeness has a bit for each, the first pair's the lowest."""
FOLLOWING = 240
"""Bars are compared note by note at steps of this many ticks: an eighth."""
MOST_NOTES = 4
"""Differences of up to this many notes from the bar before are distinguished."""
ENDS = 1 + 12 * 3
"""Ways in which a bar ends: without a note, or on a degree, shorter than a beat, as long, or longer."""
_ORDINARY = -2.0
"""What an interval from or to a note outside the scale counts: a little less than the mean of real melodies."""
_ZERO = ord("P")
"""The letter of the value 0 in the tables; each following letter is a tenth more or less."""


class Home(NamedTuple):
    """The tonic's pitch class, and whether the key is minor."""

    tonic: int
    minor: bool


def home_of(key: Key) -> Home:
    """The home of a key."""
    return Home(key.tonic.pitch_class, key.mode == "minor")


def home_in(scale: int) -> Home:
    """The home of a scale, given as bits, of which no tonic is known: that of the major scale most like it.

    >>> home_in(sum(1 << note for note in (4, 6, 7, 9, 11, 1, 2)))  # E dorian has the notes of D major
    Home(tonic=2, minor=False)
    """
    homes = [Home(tonic, minor=False) for tonic in range(12)]
    return max(homes, key=lambda home: (_notes(home) & scale).bit_count())


@cache
def home_over(chord: int, key: Key) -> Home:
    """The home heard over a chord, given by its tones as bits: that of the key, or of the nearest one that has the chord.

    So the third of a dominant on its way to another degree than the tonic is a leading note. Of equally near keys the first
    counts: those of the same mode, upwards from the tonic. A chord that no key has is heard in the key, and so is
    any chord of a blues.

    >>> from fillgen.theory.keys import read_key
    >>> home_over(mask_of([0, 4, 7, 10]), read_key("Eb major"))  # C7 leads to F minor
    Home(tonic=5, minor=True)
    """
    own = home_of(key)
    if key.mode == "blues":
        return own
    homes = [Home((own.tonic + rise) % 12, mode) for mode in (own.minor, not own.minor) for rise in range(12)]
    with_it = [home for home in homes if not chord & ~_notes(home)]
    return max(with_it, key=lambda home: (_notes(home) & _notes(own)).bit_count()) if with_it else own


def _notes(home: Home) -> int:
    """The notes of a key as bits, in minor its raised seventh as well."""
    rises = (*MODES["minor"], 11) if home.minor else MODES["major"]
    return mask_of(home.tonic + rise for rise in rises)


def accent(metre: Metre, onset: int) -> int:
    """The place of an onset, in ticks, in its bar: 0 for the first beat to 3 between beats.

    >>> from fillgen.theory.metre import METRES
    >>> [accent(METRES["4/4"], onset) for onset in (0, 960, 480, 720)]
    [0, 1, 2, 3]
    """
    inside = onset % metre.bar
    if not inside:
        return 0
    if inside in metre.strong:
        return 1
    return 2 if inside % metre.beat == 0 else 3


def letters(values: Values) -> str:
    """A row of a table as text: one letter per value, in tenths from -4 to 4.5."""
    tenths = np.clip(np.round(values * 10), -40, 45).astype(int)
    return "".join(chr(_ZERO + tenth) for tenth in tenths.tolist())


def rows(text: str) -> Values:
    """A table from its text, one line per row."""
    lines = text.split()
    codes = np.frombuffer("".join(lines).encode("ascii"), dtype=np.uint8)
    return (codes.astype(np.float64) - _ZERO).reshape(len(lines), -1) / 10


# Intervals


@cache
def habits(minor: bool) -> Values:
    """The natural logarithm of how likely each interval is, learned from real melodies.

    Axes: the accent of the note it leaves and of that it reaches (see `accent`), the note's degree in semitones above
    the tonic, the interval before (from an octave down to an octave up, last: none) and the interval itself. From and to
    notes outside the scale every interval counts alike: folk songs say little about those, and the term `key` knows more.
    """
    learned = table("habits")
    tonal = rows(learned["tonal"]).reshape(12, 2, INTERVALS)[:, int(minor)]
    landing = rows(learned["landing"]).reshape(12, ACCENTS, INTERVALS).transpose(1, 0, 2)
    onward = rows(learned["onward"]).reshape(INTERVALS + 1, ACCENTS, INTERVALS).transpose(1, 0, 2)
    joint = rows(learned["joint"]).reshape(12, INTERVALS + 1, INTERVALS) + tonal[:, None, :]
    value = onward[:, None, None] + (landing[:, :, None] + joint)
    value = value - np.log(np.exp(value).sum(axis=-1, keepdims=True))
    return np.ascontiguousarray(np.where(_outside(minor)[:, None, :], _ORDINARY, value))


def _outside(minor: bool) -> NDArray[np.bool_]:
    """Which degrees (rows) and intervals leave or reach a note outside the scale; minor keys may raise sixth and seventh."""
    scale = (*MODES["minor"], 9, 11) if minor else MODES["major"]
    degrees = np.arange(12)[:, None]
    reached = (degrees + np.arange(INTERVALS) - WIDEST) % 12
    return np.asarray(~np.isin(degrees, scale) | ~np.isin(reached, scale))


def interval(moves: NDArray[np.signedinteger]) -> Codes:
    """Intervals in semitones as their numbers in the tables."""
    return np.asarray(np.clip(moves, -WIDEST, WIDEST) + WIDEST, dtype=np.intp)


def likelihood(pitches: Pitches, accents: Sequence[int], homes: Sequence[Home]) -> Values:
    """How likely the intervals of each line (a row of MIDI numbers) are: the mean of their natural logarithms."""
    heights = pitches.astype(np.intp)
    moves = interval(heights[:, 1:] - heights[:, :-1])
    where = (heights[:, :-1] - [home.tonic for home in homes[:-1]]) % 12 * (INTERVALS + 1)
    where[:, 1:] += moves[:, :-1]
    where[:, 0] += NO_MOVE
    places = np.array([here * ACCENTS + there for here, there in pairwise(accents)])
    where = where * INTERVALS + moves + places * (12 * (INTERVALS + 1) * INTERVALS)
    minor = [home.minor for home in homes[:-1]]
    if all(minor) or not any(minor):
        return np.asarray(habits(minor[0]).take(where).mean(axis=1))
    found = np.where(minor, habits(True).take(where), habits(False).take(where))
    return np.asarray(found.mean(axis=1))


# The order of bars


class Order:
    """How the bars of lines over one rhythm are ordered: which are alike, and how each ends.

    `rhythm` has onset and length of each note, in ticks.
    """

    def __init__(
        self, rhythm: Sequence[tuple[int, int]], metre: Metre | Timeline, homes: Sequence[Home]
    ) -> None:
        self.line = line = timeline_of(metre)
        self.rhythm = rhythm
        self.homes = homes
        self.bars = line.index(rhythm[-1][0]) + 1
        owners = np.array([line.index(onset) for onset, _ in rhythm])
        edges = np.searchsorted(owners, np.arange(self.bars + 1))
        self.runs = [slice(int(one), int(two)) for one, two in pairwise(edges)]

    @property
    def groups(self) -> range:
        """The first bar of each group of four."""
        return range(0, self.bars - BARS + 1, BARS)

    @cached_property
    def _inside(self) -> list[tuple[tuple[int, int], ...]]:
        """The rhythm of each bar, from its own start."""
        return [
            tuple((self.line.inside(onset), length) for onset, length in self.rhythm[run])
            for run in self.runs
        ]

    @cached_property
    def _grid(self) -> Codes:
        """The note that is heard at each eighth of each bar (rows): the last one begun, the first before that.

        A shorter bar ends with its last eighth held, of a longer one, the length of the usual bar counts.
        """
        starts, sizes = (
            np.array([each(bar) for bar in range(self.bars)])[:, None]
            for each in (self.line.start, self.line.size)
        )
        ticks = starts + np.minimum(np.arange(0, self.line.usual.bar, FOLLOWING)[None, :], sizes - FOLLOWING)
        begun = np.searchsorted([onset for onset, _ in self.rhythm], ticks, side="right") - 1
        return np.asarray(np.maximum(begun, 0))

    def same_rhythm(self, one: int, two: int) -> bool:
        """Whether two bars have the same rhythm, and notes."""
        return bool(self._inside[one]) and self._inside[one] == self._inside[two]

    def likenesses(self, pitches: Pitches, pairs: Sequence[tuple[int, int]]) -> NDArray[np.bool_]:
        """Which pairs of bars are alike in each line. Axes: in rhythm, in their line, in notes; line; pair.

        Their line is alike, at whatever height, if at three eighths in four both are as far above where they began, or a
        semitone off; in notes they are alike if half of the eighths, or more, sounds the same.
        """
        found = np.zeros((3, len(pitches), len(pairs)), dtype=bool)
        found[0] = [self.same_rhythm(*pair) for pair in pairs]
        lines = np.ascontiguousarray(pitches.T)
        one, two = (lines[self._grid[[pair[side] for pair in pairs]]] for side in (0, 1))
        eighths = one.shape[1]
        apart = one - two
        found[2] = (2 * (apart == 0).sum(axis=1, dtype=np.int8) >= eighths).T
        moved = np.abs(apart - apart[:, :1]) <= 1
        found[1] = (4 * moved.sum(axis=1, dtype=np.int8) >= 3 * eighths).T
        return found

    def codes(self, pitches: Pitches, first: int) -> Codes:
        """For a group of bars the pairs that are alike, as a code of six bits: three rows, as for `likenesses`."""
        pairs = [(first + one, first + two) for one, two in PAIRS]
        return np.packbits(self.likenesses(pitches, pairs), axis=2, bitorder="little")[:, :, 0]

    def returns(self, pitches: Pitches, pairs: Sequence[tuple[int, int]]) -> Codes:
        """How bars return: 0 not, 1 in their rhythm, 2 in their line, 3 in their notes. Axes: line, pair."""
        rhythm, shape, notes = self.likenesses(pitches, pairs)
        return np.where(notes, 3, np.where(shape, 2, rhythm.astype(np.intp)))

    def ends(self, pitches: Pitches, bar: int) -> Codes:
        """How a bar ends: 0 without a note, otherwise by the degree and the length of the last note that begins in it."""
        run = self.runs[bar]
        if run.start == run.stop:
            return np.zeros(len(pitches), dtype=np.intp)
        last = run.stop - 1
        length, beat = self.rhythm[last][1], self.line.usual.beat
        degrees = (pitches[:, last].astype(np.intp) - self.homes[last].tonic) % 12
        return 1 + degrees * 3 + (length >= beat) + (length > beat)

    def thicker(self, bar: int) -> int:
        """How many more notes a bar has than the one before, as an index in the tables."""
        more = len(self._inside[bar]) - len(self._inside[bar - 1])
        return min(max(more, -MOST_NOTES), MOST_NOTES) + MOST_NOTES


class _OrderTables:
    """What is learned about the order of bars: logarithms of odds, real tunes against bars that belong elsewhere."""

    def __init__(self) -> None:
        learned = table("order")
        self.alike = rows(learned["alike"])
        self.ends = rows(learned["ends"])
        self.thicker = rows(learned["thicker"])
        self.returns = rows(learned["returns"])[0]


_tables = cache(_OrderTables)


def odds(order: Order, pitches: Pitches) -> Values:
    """How much likelier the bars of each line are in a real tune than bars that belong elsewhere: a natural logarithm.

    It is the mean over groups of four bars, and 0 if there is none.
    """
    learned, groups = _tables(), order.groups
    found = np.zeros(len(pitches))
    for first in groups:
        for values, codes in zip(learned.alike, order.codes(pitches, first), strict=True):
            found += values.take(codes)
        for bar in range(BARS):
            found += learned.ends[bar].take(order.ends(pitches, first + bar))
        found += sum(learned.thicker[bar - 1][order.thicker(first + bar)] for bar in range(1, BARS))
        if first:
            again = [(bar - BARS, bar) for bar in range(first, first + BARS)]
            found += learned.returns.take(order.returns(pitches, again)).sum(axis=1)
    return found / max(1, len(groups))
