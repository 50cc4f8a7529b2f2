"""A tune read from ABC or MIDI as lines of notes over written measures, from which a score of it can be made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from fillgen.errors import TuneError, shorten
from fillgen.readers.melody import Sound
from fillgen.readers.repeats import MOST_PLAYED, Signs
from fillgen.theory.chords import Chord
from fillgen.theory.metre import METRES, Metre


@dataclass(frozen=True)
class Signature:
    """A key signature: a number of sharps, or of flats below zero, and the mode, if it names one."""

    sharps: int = 0
    mode: str = ""


@dataclass(frozen=True)
class Measure:
    """A written measure: its ticks, its metre, its key signature, its repeat signs."""

    length: int
    metre: Metre
    signature: Signature = field(default_factory=Signature)
    signs: Signs = field(default_factory=Signs)


@dataclass(frozen=True)
class Lines:
    """Measures and the lines of notes over them, each with its name; chord symbols with their ticks."""

    title: str
    tempo: int | None
    measures: tuple[Measure, ...]
    voices: tuple[tuple[str, tuple[Sound, ...]], ...]
    chords: tuple[tuple[int, Chord], ...] = ()
    remarks: tuple[str, ...] = ()


# ABC


@dataclass
class Marks:
    """What is marked at the bar lines of an ABC voice, each by the number of bars before it."""

    metres: dict[int, str] = field(default_factory=dict)
    signatures: dict[int, Signature] = field(default_factory=dict)
    opens: set[int] = field(default_factory=set)
    closes: dict[int, int] = field(default_factory=dict)
    endings: dict[int, tuple[int, ...]] = field(default_factory=dict)
    ends: set[int] = field(default_factory=set)


def measures_of(
    bars: Sequence[int], usual: tuple[str, Signature], marks: Marks, place: str
) -> tuple[Measure, ...]:
    """The measures of some lengths in ticks, with what is marked at their bar lines; `usual` are the signs of the head.

    Raises TuneError for an unsupported metre, and for too many measures.
    """
    if len(bars) > MOST_PLAYED:
        raise TuneError(f"has more than {MOST_PLAYED} measures", place=place)
    metre, signature = usual
    endings: tuple[int, ...] = ()
    found = []
    for number, length in enumerate(bars):
        metre, signature = marks.metres.get(number, metre), marks.signatures.get(number, signature)
        if number in marks.ends or number in marks.opens:
            endings = ()
        endings = marks.endings.get(number, endings)
        signs = Signs(
            number in marks.opens, number + 1 in marks.closes, marks.closes.get(number + 1, 2), endings
        )
        found.append(Measure(length, metre_named(metre, place), signature, signs))
        if signs.closes:
            endings = ()
    return tuple(found)


def metre_named(name: str, place: str) -> Metre:
    """The metre of that name; TuneError if there is none, in a file at that place."""
    if name not in METRES:
        raise TuneError(
            f"is in {shorten(name)[1:-1]}", place=place, hint=f"Metres that work: {', '.join(METRES)}."
        )
    return METRES[name]


def split_lines(
    bars: Sequence[int], metres: Mapping[int, str], usual: str, starts: Marks
) -> tuple[tuple[int, ...], Marks]:
    """Bars with the bar lines that ABC may leave out at the end of a line of text, and the marks moved along.

    >>> split_lines([1440, 2880, 1440], {}, "3/4", Marks(opens={2}))[0]
    (1440, 1440, 1440, 1440)
    """
    found: list[int] = []
    new: list[int] = []
    name = usual
    for number, ticks in enumerate(bars):
        new.append(len(found))
        name = metres.get(number, name)
        whole = METRES[name].bar if name in METRES else 0
        found += [whole] * (ticks // whole) if whole and ticks > whole and ticks % whole == 0 else [ticks]
    new.append(len(found))
    at = dict(enumerate(new))
    moved = Marks(
        {at[n]: value for n, value in starts.metres.items() if n in at},
        {at[n]: value for n, value in starts.signatures.items() if n in at},
        {at[n] for n in starts.opens if n in at},
        {at[n]: value for n, value in starts.closes.items() if n in at},
        {at[n]: value for n, value in starts.endings.items() if n in at},
        {at[n] for n in starts.ends if n in at},
    )
    return tuple(found), moved
