"""Banks: a few short samples of each voice, made from the same recipes, for a page to play from.

A sample is played at the ratio of the wanted pitch to its own. At the end of its loop it goes back to the loop's
start, after which a struck voice falls by `decay` dB a second. Once the key is let go, the gain falls to nothing in
`release` seconds, as ((1 + cos(pi t / release)) / 2)^2.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fillgen.sound.synth.kit import stroke
from fillgen.sound.synth.recipes import DRUMS, drum_of, recipe
from fillgen.sound.synth.tones import FULL_SCALE, RATE, Samples, looped_tone

_VELOCITY = 92
"""The velocity that all samples are made for."""
_HEADROOM = 0.95
_DRUM_RATE = 22050
_FAINT = 10 ** (-42 / 20)
"""A drum's sample ends when it stays below this share of its peak."""
_LONGEST = 0.8
"""The most seconds of a drum's sample."""
_FADE = 0.25
"""The share of a drum's sample that fades out, at its end."""
LAYERS = ((84, 68), (127, 106))
"""The layers of a drum in a bank: the highest velocity of each, and the velocity that it is made for."""
_SHORT, _TURNS = 0.25, 2
"""Hard strokes that last no longer, in seconds, are there several times."""
_SELDOM = frozenset({41, 46, 47, 49, 54, 55})
"""Toms and cymbals that ring and are seldom struck: they have one layer."""
_BETWEEN = 92
"""The velocity that a single layer is made for."""
USUAL_DRUMS = (36, 37, 38, 41, 42, 44, 46, 47, 49, 51, 54, 55, 56, 61, 63, 64, 70, 73, 75)
"""The default percussion keys of the drum set's bank."""


def packed(samples: NDArray[np.int16]) -> str:
    """Numbers of 16 bits in base64, so that gzip makes little of them: the second differences, first all low bytes, then
    all high ones.

    >>> packed(np.array([3, 5, 8], np.int16)) == base64.b64encode(bytes([3, 255, 1, 0, 255, 0])).decode()
    True
    """
    changes = np.diff(np.diff(samples.astype(np.int64), prepend=0), prepend=0)
    planes = changes.astype("<i2").view(np.uint8).reshape(-1, 2).T
    return base64.b64encode(planes.tobytes()).decode("ascii")


@dataclass(frozen=True)
class Sample:
    """A sampled pitch: its MIDI key and exact MIDI pitch, samples a second, and the samples as 16-bit numbers.

    `loop` is the first sample of the part that repeats and the one after its last; None without a loop. `decay` is in
    dB a second; a sample of full scale stands for `gain`. `pan` and `choke` are those of a drum, of which `upto` is the
    highest velocity that the sample is for; several for the same are played in turn.
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
    upto: int = 127

    @property
    def document(self) -> dict[str, Any]:
        """The sample as plain values for JSON; `pcm` is as `packed` has it."""
        return {
            "key": self.key,
            "pitch": round(self.pitch, 5),
            "rate": self.rate,
            "gain": round(self.gain, 6),
            "loop": list(self.loop) if self.loop else None,
            "decay": round(self.decay, 3),
            "pan": self.pan,
            "choke": self.choke,
            "upto": self.upto,
            "pcm": packed(self.samples),
        }


@dataclass(frozen=True)
class Bank:
    """The samples of a voice, lowest first, its release in seconds, and where its pitches lie from left to right.

    `wide` has the lowest pitch, the highest, and how far they lie apart, on the scale of pans.
    """

    voice: str
    release: float
    samples: tuple[Sample, ...]
    wide: tuple[int, int, float] = (0, 127, 0.0)

    @property
    def document(self) -> dict[str, Any]:
        """The bank as plain values for JSON."""
        return {
            "voice": self.voice,
            "release": self.release,
            "wide": list(self.wide),
            "samples": [sample.document for sample in self.samples],
        }


def bank(voice: str, keys: Sequence[int] | None = None) -> Bank:
    """The bank of a voice, or of `drums`, at its default keys or at others; OptionError for an unknown voice or drum.

    >>> clarinet = bank("clarinet")
    >>> [sample.key for sample in clarinet.samples], clarinet.samples[0].loop
    ([54, 63, 72, 81, 90], (4320, 10720))
    """
    if voice == DRUMS:
        return Bank(DRUMS, 0.0, tuple(s for key in sorted(keys or USUAL_DRUMS) for s in _drum_samples(key)))
    made = recipe(voice)
    samples = tuple(_sample(voice, key) for key in sorted(keys or made.bank.keys))
    return Bank(voice, made.release, samples, (*made.range, made.width))


def _sample(voice: str, key: int) -> Sample:
    made = recipe(voice)
    wave, loop, pitch, decay = looped_tone(made, key, _VELOCITY, made.bank.rate)
    numbers, gain = _numbers(wave)
    ends = (loop.before, loop.before + loop.length)
    return Sample(key, pitch, made.bank.rate, numbers, gain, ends, decay)


def _drum_samples(key: int) -> list[Sample]:
    """A drum's samples: layers from soft to hard, and of a short one several strokes a layer."""
    drum = drum_of(key)
    made = {upto: [_heard(key, velocity)] for upto, velocity in LAYERS}
    hardest = max(made)
    if key in _SELDOM:
        made = {hardest: [_heard(key, _BETWEEN)]}
    elif len(made[hardest][0]) <= _SHORT * _DRUM_RATE:
        made[hardest] += [_heard(key, LAYERS[-1][1], turn) for turn in range(1, _TURNS)]
    samples = []
    for upto, strokes in made.items():
        for numbers, gain in map(_numbers, strokes):
            samples.append(
                Sample(key, float(key), _DRUM_RATE, numbers, gain, pan=drum.pan, choke=drum.choke, upto=upto)
            )
    return samples


def _heard(key: int, velocity: int, turn: int = 0) -> Samples:
    """A stroke as far as it can be heard, with the energy of the whole stroke at the full rate."""
    wave = stroke(key, _DRUM_RATE, velocity=velocity, turn=turn)[: round(_LONGEST * _DRUM_RATE)]
    loud = np.flatnonzero(np.abs(wave) > _FAINT * np.abs(wave).max())
    wave = wave[: int(loud[-1]) + 1]
    count = round(_FADE * len(wave))
    wave[-count:] *= np.linspace(1, 0, count)
    whole = stroke(key, velocity=velocity, turn=turn)
    wave *= math.sqrt(_energy(whole, RATE) / _energy(wave, _DRUM_RATE))
    return wave


def _energy(wave: Samples, rate: int) -> float:
    return float(np.square(wave).sum()) / rate


def _numbers(wave: Samples) -> tuple[NDArray[np.int16], float]:
    """A wave as 16-bit numbers, and the value of full scale."""
    gain = float(np.abs(wave).max()) / _HEADROOM
    return np.round(wave / gain * FULL_SCALE).astype(np.int16), gain
