"""A tune read from ABC or MIDI as lines of notes over written measures, from which a score of it can be made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import accumulate
from statistics import fmean
from typing import TYPE_CHECKING

from fillgen.errors import TuneError, shorten
from fillgen.readers.melody import Sound, top_line
from fillgen.readers.repeats import MOST_PLAYED, Signs
from fillgen.readers.timing import settled
from fillgen.readers.tunes import key_of_notes
from fillgen.theory.chords import Chord
from fillgen.theory.metre import METRES, Metre

if TYPE_CHECKING:  # mido is loaded for MIDI files only
    from fillgen.readers.midi import Recording

_NEARLY = 12
"""A MIDI file whose notes lie no farther than so many ticks beside their places is one that was written."""


@dataclass(frozen=True)
class Signature:
    """A key signature: so many sharps, or flats below zero, and the mode, if it says one."""

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

    Raises TuneError for a metre that we do not have, and where there are too many.
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
        found.append(Measure(length, _metre(metre, place), signature, signs))
        if signs.closes:
            endings = ()
    return tuple(found)


def _metre(name: str, place: str) -> Metre:
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


# MIDI


def lines_of(recording: Recording, place: str) -> Lines:
    """The melody of a MIDI file on the bars that its time signatures make; TuneError where it isn't written on beats.

    The highest part is taken. A first bar that is silent to its middle is a pick-up; empty bars before it are left out.
    """
    voice = max(recording.voices, key=lambda voice: fmean(sound.midi for sound in voice.sounds))
    line = top_line(voice.sounds)
    if not line:
        raise TuneError("has no notes", place=place)
    bars = _bars(voice.metres, line[-1].end, place)
    timing = settled(line, bars[0][1])
    if timing.moved > _NEARLY or timing.merged:
        hint = "Quantize it to sixteenths or triplets, or give the tune as MusicXML or ABC."
        raise TuneError("was played freely: a tune needs notes on the beat", place=place, hint=hint)
    start, measures = _begun(bars, timing.notes[0].onset)
    sounds = tuple(Sound(n.onset - start, n.end - start, n.midi) for n in timing.notes)
    key = recording.key or key_of_notes(timing.notes)
    signature = Signature(key.fifths, key.mode)
    tempo, changes = recording.tempo_from(line[0].onset, line[-1].end)
    others = (f"Of the parts, the highest was taken: {voice.name!r}.",) if len(recording.voices) > 1 else ()
    swings = timing.remarks(tempo or 120) if timing.swing is not None else ()
    return Lines(
        recording.title,
        tempo,
        tuple(Measure(length, metre, signature) for length, metre in measures),
        ((voice.name, sounds),),
        remarks=(*others, *changes, *swings),
    )


def _bars(metres: Sequence[tuple[int, str]], end: float, place: str) -> list[tuple[int, Metre]]:
    """The ticks and the metre of every bar up to the end of a melody.

    A signature that holds for less than a bar of its own, or of one that we don't have, counts with the next one's metre.
    """
    signs = sorted(dict(metres).items())
    signs = signs if signs and signs[0][0] <= 0 else [(0, "4/4"), *signs]
    found: list[tuple[int, Metre]] = []
    signs = [sign for sign in signs if sign[0] < end]
    for (tick, name), after in zip(signs, [*signs[1:], None], strict=True):
        stop = after[0] if after else max(round(end), tick + 1)
        own = METRES.get(name)
        if after and (own is None or stop - tick < own.bar) and after[1] in METRES:
            own = METRES[after[1]] if stop - tick < METRES[after[1]].bar else own
        metre = own or _metre(name, place)
        count = -(-(stop - tick) // metre.bar)
        if len(found) + count > MOST_PLAYED:
            raise TuneError(f"has more than {MOST_PLAYED} measures", place=place)
        found += [(metre.bar, metre)] * count
        short = tick + count * metre.bar - stop
        if after and short:
            found[-1] = (metre.bar - short, metre)
    return found


def _begun(bars: Sequence[tuple[int, Metre]], first: int) -> tuple[int, list[tuple[int, Metre]]]:
    """The tick at which a melody begins that has its first note there, and its measures from there on."""
    starts = [*accumulate((length for length, _ in bars), initial=0)]
    number = max(n for n, start in enumerate(starts[:-1]) if start <= first)
    length, metre = bars[number]
    silent = (first - starts[number]) // metre.pulse * metre.pulse
    if 2 * silent < length or number == len(bars) - 1:
        return starts[number], list(bars[number:])
    return starts[number] + silent, [(length - silent, metre), *bars[number + 1 :]]
