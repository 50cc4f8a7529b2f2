"""The drum set: strokes of a drum as samples, in layers from soft to hard, and each time a little different."""

from __future__ import annotations

from functools import lru_cache
from zlib import crc32

import numpy as np

from fillgen.dice import Dice
from fillgen.sound.synth.recipes import Drum, drum_of
from fillgen.sound.synth.tones import RATE, TAU, Samples, damped_sines, noise_burst

LAYERS = ((56, 44), (80, 70), (104, 92), (127, 116))
"""The layers of a drum, soft to hard: the highest velocity of each, and the velocity that it is made for."""
TURNS = 3
"""The number of strokes of one layer that differ; then they come round again."""
_LONGEST = 3.5
"""Seconds of the longest stroke."""
_SILENT = 1.2
_HIGHEST_SHARE = 0.42
"""The share of the samples' rate up to which there are partials."""
_SOFT = 0.002
"""Seconds until a stroke reaches its peak."""
_FADE = 0.05
_DARK_FROM = 200.0
"""Softer strokes are darker above this frequency, in Hz."""
_SPREAD = 1.5
"""How far the level of a mode may lie from its own where the stick falls elsewhere, in dB."""


def layer_of(velocity: int) -> int:
    """The layer that a velocity is played with.

    >>> layer_of(30), layer_of(127)
    (0, 3)
    """
    return next(number for number, (highest, _) in enumerate(LAYERS) if velocity <= highest)


def stroke(key: int, rate: int = RATE, *, velocity: int = 92, turn: int = 0) -> Samples:
    """A stroke on a percussion key of General MIDI (35 to 81) until it has died away, with its level as its peak.

    `velocity` (1 to 127) only affects the colour. Strokes of other turns fall on another place of the drum.

    >>> round(float(abs(stroke(38)).max()), 2)
    0.63
    """
    drum = drum_of(key)
    seed = crc32(drum.name.encode()) + 100 * key + 10_000 * turn
    softness = drum.touch * (1 - velocity / 127)
    layers = [
        _membrane(drum, drum.keys[key], softness, Dice(seed), rate),
        _plate(drum, drum.keys[key], softness, Dice(seed + 1), rate),
        *_noises(drum, softness, seed + 2, rate),
    ]
    wave = np.zeros(max(len(layer) for layer in layers))
    for layer in layers:
        wave[: len(layer)] += layer
    count = min(len(wave), round(_FADE * rate))
    wave[-count:] *= np.linspace(1, 0, count) ** 2
    return np.asarray(wave * (10 ** (drum.level / 20) / np.abs(wave).max()), dtype=float)


def _darker(softness: float, hertz: Samples | float) -> Samples:
    """The levels in dB that a soft stroke takes from frequencies."""
    return np.asarray(softness * np.log2(np.maximum(1.0, np.asarray(hertz) / _DARK_FROM)), dtype=float)


def _span(seconds: float, rate: int) -> Samples:
    """The times of the samples of a sound that dies away in some seconds."""
    return np.asarray(np.arange(round(min(_LONGEST, _SILENT * seconds) * rate)) / rate, dtype=float)


def _membrane(drum: Drum, tuning: float, softness: float, dice: Dice, rate: int) -> Samples:
    """The modes of a drum, all a little sharp at first."""
    if not drum.modes:
        return np.zeros(1)
    at = _span(max(mode.decay for mode in drum.modes), rate)
    high, falling = drum.glide
    turned = TAU * tuning * (at + high * falling * -np.expm1(-at / falling))
    shifts = _SPREAD * (2 * dice.doubles(len(drum.modes)) - 1)
    wave = np.zeros(len(at))
    for mode, shift in zip(drum.modes, shifts.tolist(), strict=True):
        if tuning * mode.ratio < _HIGHEST_SHARE * rate:
            level = mode.level + shift - float(_darker(softness, tuning * mode.ratio))
            heard = at[: round(_SILENT * mode.decay * rate)]
            sines = np.sin(mode.ratio * turned[: len(heard)])
            wave[: len(heard)] += 10 ** (level / 20 - 3 * heard / mode.decay) * sines
    return wave


@lru_cache(maxsize=64)
def _modes_of_a_plate(name: str, tuning: float, cluster: tuple[float, ...]) -> tuple[Samples, Samples]:
    """Frequencies and decays of a cymbal's modes, as dense in the treble as in the bass: so is a plate."""
    count, low, high, _, long, short = cluster
    hertz = tuning * (low + (high - low) * np.sort(Dice(crc32(name.encode())).doubles(int(count))))
    share = np.log(hertz / (tuning * low)) / np.log(high / low)
    return hertz, np.asarray(long * (short / long) ** share, dtype=float)


def _plate(drum: Drum, tuning: float, softness: float, dice: Dice, rate: int) -> Samples:
    """The many modes of a cymbal, with their level as their total power, peaking one after another."""
    if not drum.cluster:
        return np.zeros(1)
    hertz, decays = _modes_of_a_plate(drum.name, tuning, drum.cluster)
    shifts, weights = dice.doubles(2 * len(hertz)).reshape(2, -1)
    weights = (0.3 + weights) * 10 ** (-_darker(softness, hertz) / 20)
    audible = hertz < _HIGHEST_SHARE * rate
    start = (
        weights * np.exp(1j * TAU * shifts) * 10 ** (drum.cluster[3] / 20) / np.sqrt((weights**2).sum() / 2)
    )
    step = (TAU * 1j * hertz - np.log(1000.0) / decays) / rate
    wave = damped_sines(start[audible], step[audible], len(_span(drum.cluster[4], rate)))
    wave[: round(_SOFT * rate)] *= np.linspace(0, 1, round(_SOFT * rate))
    return wave


def _noises(drum: Drum, softness: float, seed: int, rate: int) -> list[Samples]:
    bursts = []
    for number, band in enumerate(drum.noise):
        level = band.level - float(_darker(softness, np.sqrt(band.low * band.high)))
        bursts.append(10 ** (level / 20) * noise_burst(band, rate, seed + number))
    return bursts
