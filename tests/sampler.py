"""Plays from a page's banks of samples as the page does, to be compared with the synthesizer."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from fillgen.sound.synth.bank import Bank, Sample
from fillgen.sound.synth.limiter import Limiter
from fillgen.sound.synth.mix import Part, Tones, drum_note, released, summed
from fillgen.sound.synth.recipes import DRUMS
from fillgen.sound.synth.tones import FULL_SCALE, RATE, Samples, hertz_of


def wave_of(sample: Sample) -> NDArray[np.float32]:
    """The samples as the synthesizer made them, apart from rounding."""
    return (sample.samples * (sample.gain / FULL_SCALE)).astype(np.float32)


def mixed(parts: Sequence[Part], tones: Tones | None = None, *, room: bool = True) -> Iterator[Samples]:
    """The sound of parts, kept below full scale as sound files are, but with its own loudness."""
    limiter = Limiter()
    for piece in summed(parts, tones, room=room):
        yield limiter.limited(piece)
    yield limiter.rest()


class Sampler:
    """Plays from banks instead of the synthesizer."""

    def __init__(self, banks: Sequence[Bank]) -> None:
        self._banks = {each.voice: each for each in banks}

    def note(
        self, voice: str, midi: int, velocity: int, seconds: float, turn: int = 0
    ) -> NDArray[np.float32]:
        """A whole note at full loudness, its release included. Of a pitch a bank has one colour for all velocities."""
        held = self._banks[voice]
        sample = min(held.samples, key=lambda sample: (abs(sample.key - midi), -sample.key))
        if voice == DRUMS:
            upto = min(s.upto for s in held.samples if s.key == sample.key and s.upto >= velocity)
            layer = [s for s in held.samples if (s.key, s.upto) == (sample.key, upto)]
            sample = layer[turn % len(layer)]
            return drum_note(_played(sample, 1.0, len(sample.samples) / sample.rate), seconds)
        ratio = hertz_of(midi) / hertz_of(sample.pitch)
        return released(_played(sample, ratio, seconds + held.release), seconds, held.release)


def _played(sample: Sample, ratio: float, seconds: float) -> NDArray[np.float32]:
    """A sample at another pitch, interpolated and looped."""
    place = np.arange(round(seconds * RATE)) * (ratio * sample.rate / RATE)
    samples = wave_of(sample)
    wave = np.append(samples, samples[sample.loop[0]] if sample.loop else np.float32(0))
    fallen = np.ones(len(place))
    if sample.loop:
        start, end = sample.loop
        beyond = np.maximum(place - start, 0.0)
        fallen = 10 ** (-sample.decay / 20 * beyond / (ratio * sample.rate))
        place = np.where(place < end, place, start + beyond % (end - start))
    index = np.minimum(place.astype(np.int64), len(wave) - 2)
    between = place - index
    read = wave[index] * (1 - between) + wave[index + 1] * between
    return np.asarray(read * fallen, dtype=np.float32)
