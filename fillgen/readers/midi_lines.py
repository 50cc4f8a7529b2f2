"""The melody of a MIDI file on the measures that its time signatures make."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from statistics import fmean

from fillgen.errors import TuneError
from fillgen.readers.lines import Lines, Measure, Signature, metre_named
from fillgen.readers.melody import Sound, top_line
from fillgen.readers.midi import Recording, read_midi
from fillgen.readers.repeats import MOST_PLAYED
from fillgen.readers.timing import settled
from fillgen.readers.tunes import key_of_notes
from fillgen.theory.metre import METRES, Metre

_NEARLY = 24
"""A MIDI file whose notes are all within this many ticks of the grid was written, or is a take of ours, not a recording."""


def read_lines(content: bytes, place: str) -> Lines:
    """The melody of a MIDI file on the bars that its time signatures make; TuneError if it cannot be used."""
    return lines_of(read_midi(content, place), place)


def lines_of(recording: Recording, place: str) -> Lines:
    """The melody of a MIDI file on the bars that its time signatures make; TuneError if it isn't written on beats.

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
    others = (f"The highest part was used: {voice.name!r}.",) if len(recording.voices) > 1 else ()
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

    A signature that holds for less than a bar, or an unsupported one, counts with the metre of the next.
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
        metre = own or metre_named(name, place)
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
