"""Banks: a few short samples of each voice, made from the same recipes, for a page to play from.

A sample is played at the ratio of the wanted pitch to its own. At the end of its loop it goes back to the loop's
start, after which a struck voice falls by `decay` dB a second. Once the key is let go, the gain falls to nothing in
`release` seconds, as ((1 + cos(pi t / release)) / 2)^2.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fillgen.sound.synth.kit import stroke
from fillgen.sound.synth.recipes import DRUMS, drum_of, recipe
from fillgen.sound.synth.tones import FULL_SCALE, Samples, looped_tone

_VELOCITY = 92
"""The velocity that all samples are made for."""
_HEADROOM = 0.95
_DRUM_RATE = 22050
_FAINT = 10 ** (-42 / 20)
"""A drum's sample ends when it stays below this share of its peak."""
_FADE = 0.03
USUAL_DRUMS = (36, 37, 38, 42, 44, 46, 49, 51, 53, 56, 61, 63, 64, 70, 73, 75)
"""The default percussion keys of the drum set's bank."""


@dataclass(frozen=True)
class Sample:
    """A sampled pitch: its MIDI key and exact MIDI pitch, samples a second, and the samples as 16-bit numbers.

    `loop` is the first sample of the part that repeats and the one after its last; None without a loop. `decay` is in
    dB a second; a sample of full scale stands for `gain`. `pan` and `choke` are those of a drum.
    """

    key: int
    pitch: float
    rate: int
    samples: NDArray[np.int16]
    gain: float
    loop: tuple[int, int] | None = None
    decay: float = 0.0
    pan: float = 0.0
    choke: str = ""

    @property
    def document(self) -> dict[str, Any]:
        """The sample as plain values for JSON; `pcm` is little-endian 16-bit numbers in base64."""
        return {
            "key": self.key,
            "pitch": round(self.pitch, 5),
            "rate": self.rate,
            "gain": round(self.gain, 6),
            "loop": list(self.loop) if self.loop else None,
            "decay": round(self.decay, 3),
            "pan": self.pan,
            "choke": self.choke,
            "pcm": base64.b64encode(self.samples.astype("<i2").tobytes()).decode("ascii"),
        }


@dataclass(frozen=True)
class Bank:
    """The samples of a voice, lowest first, and its release in seconds."""

    voice: str
    release: float
    samples: tuple[Sample, ...]

    @property
    def document(self) -> dict[str, Any]:
        """The bank as plain values for JSON."""
        return {
            "voice": self.voice,
            "release": self.release,
            "samples": [sample.document for sample in self.samples],
        }


def bank(voice: str, keys: Sequence[int] | None = None) -> Bank:
    """The bank of a voice, or of `drums`, at its default keys or at others; OptionError for an unknown voice or drum.

    >>> clarinet = bank("clarinet")
    >>> [sample.key for sample in clarinet.samples], clarinet.samples[0].loop
    ([54, 63, 72, 81, 90], (4320, 7520))
    """
    if voice == DRUMS:
        return Bank(DRUMS, 0.0, tuple(_drum_sample(key) for key in sorted(keys or USUAL_DRUMS)))
    made = recipe(voice)
    return Bank(voice, made.release, tuple(_sample(voice, key) for key in sorted(keys or made.bank.keys)))


def _sample(voice: str, key: int) -> Sample:
    made = recipe(voice)
    wave, loop, pitch, decay = looped_tone(made, key, _VELOCITY, made.bank.rate)
    numbers, gain = _numbers(wave)
    ends = (loop.before, loop.before + loop.length)
    return Sample(key, pitch, made.bank.rate, numbers, gain, ends, decay)


def _drum_sample(key: int) -> Sample:
    drum = drum_of(key)
    wave = stroke(key, _DRUM_RATE)
    loud = np.flatnonzero(np.abs(wave) > _FAINT * np.abs(wave).max())
    wave = wave[: int(loud[-1]) + 1]
    count = min(len(wave), round(_FADE * _DRUM_RATE))
    wave[-count:] *= np.linspace(1, 0, count)
    numbers, gain = _numbers(wave)
    return Sample(key, float(key), _DRUM_RATE, numbers, gain, pan=drum.pan, choke=drum.choke)


def _numbers(wave: Samples) -> tuple[NDArray[np.int16], float]:
    """A wave as 16-bit numbers, and the value of full scale."""
    gain = float(np.abs(wave).max()) / _HEADROOM
    return np.round(wave / gain * FULL_SCALE).astype(np.int16), gain
