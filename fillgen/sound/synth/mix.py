"""Parts mixed to stereo: tones placed in time, panned, with the sound of a room."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import count as counting
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from fillgen.sound.synth.kit import LAYERS, TURNS, layer_of, stroke
from fillgen.sound.synth.limiter import HighPass
from fillgen.sound.synth.recipes import DRUMS, drum_of, recipe
from fillgen.sound.synth.room import Room
from fillgen.sound.synth.tones import RATE, Samples, tone

_CHUNK = 1 << 18
"""Samples mixed at a time: about six seconds."""
_COLOURS = 8
"""The number of colours of a voice, from soft to hard."""
_FULL = 127
"""The highest velocity and controller value of MIDI."""
GAIN = 2.8
"""The gain of all parts: four parts at their usual levels stay below the ceiling."""
DRUM_GAIN = 1.2
"""The gain of the drum set's peaks against the tones' loudness (chosen)."""
_STOPPED = 0.03
"""Seconds until a stopped cymbal is silent."""
TAIL = 2.0
"""Seconds after the end of the last note, in which releases and the room die away."""
_STILL = 0.5
"""Seconds at the very end of the sound that fade to silence."""


@dataclass(frozen=True, slots=True)
class SoundingNote:
    """A note in seconds: its start, how long its key is held, its pitch and its velocity."""

    start: float
    length: float
    midi: int
    velocity: int


@dataclass(frozen=True)
class Instrument:
    """The instrument of a part: its voice, its volume (0 to 127 as in MIDI), and its pan from left (-1) to right (1)."""

    voice: str
    volume: int = 100
    pan: float = 0.0


@dataclass(frozen=True)
class Part:
    """The notes of a part in time order, and its instrument."""

    instrument: Instrument
    notes: tuple[SoundingNote, ...]


class Tones(Protocol):
    """Gives the samples of a note: the synthesizer, or a bank."""

    def note(
        self, voice: str, midi: int, velocity: int, seconds: float, turn: int = 0
    ) -> NDArray[np.float32]:
        """A whole note at full loudness, its release included, at the rate of sound files.

        `turn` counts the strokes on a drum, no two of which in a row are the same.
        """


class Synthesizer:
    """Makes the notes of all voices, and caches them.

    >>> Synthesizer().note("clarinet", 60, 90, 0.25).dtype
    dtype('float32')
    """

    def __init__(self) -> None:
        self._held: dict[tuple[str, int, int], _Held] = {}

    def note(
        self, voice: str, midi: int, velocity: int, seconds: float, turn: int = 0
    ) -> NDArray[np.float32]:
        """A whole note at full loudness, its release included; for a drum one stroke, stopped after `seconds`."""
        if voice == DRUMS:
            return drum_note(_stroke(midi, layer_of(velocity), turn % TURNS), seconds)
        release = recipe(voice).release
        return released(self._tone(voice, midi, velocity, seconds + release), seconds, release)

    def _tone(self, voice: str, midi: int, velocity: int, seconds: float) -> NDArray[np.float32]:
        """A tone of at least that length, unless it dies away before."""
        colour = min(_COLOURS - 1, velocity * _COLOURS // (_FULL + 1))
        held = self._held.get((voice, midi, colour))
        if held is None or (held.seconds < seconds and not held.ended):
            length = float(2.0 ** (np.ceil(2 * np.log2(max(0.5, seconds))) / 2))
            hard = round((colour + 0.5) * (_FULL + 1) / _COLOURS)
            samples = tone(recipe(voice), midi, hard, length).astype(np.float32)
            held = _Held(samples, length, len(samples) < round(length * RATE))
            self._held[voice, midi, colour] = held
        return held.samples


@dataclass(frozen=True)
class _Held:
    """A cached tone: its samples, the seconds requested, and whether it died away before."""

    samples: NDArray[np.float32]
    seconds: float
    ended: bool


@lru_cache(maxsize=256)
def _stroke(key: int, layer: int, turn: int) -> NDArray[np.float32]:
    return stroke(key, velocity=LAYERS[layer][1], turn=turn).astype(np.float32)


def drum_note(struck: NDArray[np.float32], seconds: float) -> NDArray[np.float32]:
    """A stroke that rings out, or is stopped after some seconds."""
    return struck if seconds * RATE >= len(struck) else released(struck, seconds, _STOPPED)


def released(held: NDArray[np.float32], seconds: float, release: float) -> NDArray[np.float32]:
    """A tone that is let go after some seconds: it falls to silence in the time of its release.

    At a share t of the release its gain is ((1 + cos(pi t)) / 2)^2, which has no corner at either end.
    """
    down, gone = round(seconds * RATE), round((seconds + release) * RATE)
    note = held[:gone].copy()
    falling = len(note) - down
    if falling > 0:
        share = (np.arange(falling) + 1) / (gone - down)
        note[down:] *= ((1 + np.cos(np.pi * share)) / 2) ** 2
    return note


def loudness(velocity: int, volume: int) -> float:
    """The gain of a velocity and a volume, each 40 log10(v / 127) dB.

    Source: the MIDI Manufacturers Association's recommendation for General MIDI and Downloadable Sounds Level 1.

    >>> loudness(127, 127), round(loudness(64, 127), 2)
    (1.0, 0.25)
    """
    return float((velocity / _FULL) ** 2 * (volume / _FULL) ** 2)


def panned(pan: float) -> tuple[float, float]:
    """The gains of the left and the right row for a pan, of constant power.

    >>> tuple(round(gain, 3) for gain in panned(0.0))
    (0.707, 0.707)
    """
    angle = (min(1.0, max(-1.0, pan)) + 1) * np.pi / 4
    return float(np.cos(angle)), float(np.sin(angle))


# Mixing


@dataclass(frozen=True, slots=True)
class _MixNote:
    """A note ready to be added: its first sample, its gain, its pan, and which stroke on its drum it is."""

    at: int
    gain: float
    pan: float
    voice: str
    note: SoundingNote
    turn: int


class _PanBuffer:
    """The samples still to come at one pan."""

    def __init__(self) -> None:
        self.samples = np.zeros(2 * _CHUNK, dtype=np.float32)

    def add(self, at: int, samples: NDArray[np.float32], gain: float) -> None:
        end = at + len(samples)
        if end > len(self.samples):
            self.samples = np.append(self.samples, np.zeros(end - len(self.samples), dtype=np.float32))
        self.samples[at:end] += np.float32(gain) * samples

    def take(self, count: int) -> NDArray[np.float32]:
        """The first samples; those after them move up."""
        first, rest = self.samples[:count], self.samples[count:]
        self.samples = np.append(rest, np.zeros(max(0, 2 * _CHUNK - len(rest)), dtype=np.float32))
        return first


def seconds_of(parts: Sequence[Part]) -> float:
    """How long parts sound together, with the tail after the last note."""
    return max((n.start + n.length for part in parts for n in part.notes), default=0.0) + TAIL


def summed(parts: Sequence[Part], tones: Tones | None = None, *, room: bool = True) -> Iterator[Samples]:
    """The sound of parts in pieces, each an array of two rows at 44,100 samples a second.

    1 is full scale, which loud music may pass: `fillgen.sound.levels` keeps it below.

    >>> part = Part(Instrument("flute"), (SoundingNote(0.0, 0.5, 72, 90),))
    >>> sum(piece.shape[1] for piece in summed([part])) == round(seconds_of([part]) * RATE)
    True
    """
    source = tones or Synthesizer()
    placed = sorted((p for part in parts for p in _placed(part)), key=lambda p: p.at)
    total = round(seconds_of(parts) * RATE)
    rows = {pan: _PanBuffer() for pan in sorted({p.pan for p in placed})}
    around, high_pass = Room() if room else None, HighPass()
    done = 0
    for start in range(0, total, _CHUNK):
        count = min(_CHUNK, total - start)
        while done < len(placed) and placed[done].at < start + _CHUNK:
            one = placed[done]
            note = one.note
            samples = source.note(one.voice, note.midi, note.velocity, note.length, one.turn)
            rows[one.pan].add(one.at - start, samples, one.gain)
            done += 1
        piece = high_pass.passed(_stereo({pan: row.take(count) for pan, row in rows.items()}, count, around))
        left = (total - start - np.arange(count)) / (_STILL * RATE)
        piece *= np.clip(left, 0, 1)
        yield piece


def _stereo(rows: dict[float, NDArray[np.float32]], count: int, around: Room | None) -> Samples:
    """The rows of each pan in stereo, with the sound of the room."""
    both = np.zeros((2, count))
    sent = np.zeros(count, dtype=np.float32)
    for pan, row in rows.items():
        left, right = panned(pan)
        both[0] += left * row
        both[1] += right * row
        sent += row
    return both + around.added(sent) if around else both


def _placed(part: Part) -> list[_MixNote]:
    """The notes of a part with their gains; each drum has its own pan, and some stop one another."""
    instrument = part.instrument
    drums = instrument.voice == DRUMS
    gain = GAIN * DRUM_GAIN if drums else GAIN
    turns: dict[int, counting[int]] = defaultdict(counting)
    return [
        _MixNote(
            round(n.start * RATE),
            gain * loudness(n.velocity, instrument.volume),
            drum_of(n.midi).pan if drums else _pan(instrument, n.midi),
            instrument.voice,
            n,
            next(turns[n.midi]),
        )
        for n in (_choked(part.notes) if drums else part.notes)
    ]


def _pan(instrument: Instrument, midi: int) -> float:
    """The place of a note: that of its instrument, and of its key on a wide one, in steps of a tenth."""
    wide = recipe(instrument.voice).pan(midi)
    return min(1.0, max(-1.0, instrument.pan + round(wide, 1)))


def _choked(notes: Sequence[SoundingNote]) -> list[SoundingNote]:
    """Strokes that ring out, or until another of their group is struck."""
    following: dict[str, float] = {}
    rung = []
    for note in sorted(notes, key=lambda n: n.start, reverse=True):
        group = drum_of(note.midi).choke
        until = following.get(group, float("inf")) if group else float("inf")
        rung.append(replace(note, length=max(0.0, until - note.start)))
        following[group] = note.start
    return rung[::-1]
