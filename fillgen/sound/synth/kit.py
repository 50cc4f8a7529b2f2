"""The drum set: one stroke of a drum as samples."""

from __future__ import annotations

from zlib import crc32

import numpy as np

from fillgen.dice import Dice
from fillgen.sound.synth.recipes import Drum, drum_of
from fillgen.sound.synth.tones import RATE, TAU, Samples, damped_sines, noise_burst

_LONGEST = 3.5
"""Seconds of the longest stroke."""
_SILENT = 1.2
_HIGHEST_SHARE = 0.42
"""The share of the samples' rate up to which there are partials."""
_SOFT = 0.002
"""Seconds until a stroke reaches its peak."""
_FADE = 0.05


def stroke(key: int, rate: int = RATE) -> Samples:
    """A stroke on a percussion key of General MIDI (35 to 81) until it has died away, with its level as its peak.

    >>> round(float(abs(stroke(38)).max()), 2)
    0.63
    """
    drum = drum_of(key)
    layers = [
        _membrane(drum, drum.keys[key], rate),
        _plate(drum, drum.keys[key], key, rate),
        *_noises(drum, key, rate),
    ]
    wave = np.zeros(max(len(layer) for layer in layers))
    for layer in layers:
        wave[: len(layer)] += layer
    count = min(len(wave), round(_FADE * rate))
    wave[-count:] *= np.linspace(1, 0, count) ** 2
    return np.asarray(wave * (10 ** (drum.level / 20) / np.abs(wave).max()), dtype=float)


def _span(seconds: float, rate: int) -> Samples:
    """The times of the samples of a sound that dies away in some seconds."""
    return np.asarray(np.arange(round(min(_LONGEST, _SILENT * seconds) * rate)) / rate, dtype=float)


def _membrane(drum: Drum, tuning: float, rate: int) -> Samples:
    """The modes of a drum, all a little sharp at first."""
    if not drum.modes:
        return np.zeros(1)
    at = _span(max(mode.decay for mode in drum.modes), rate)
    high, falling = drum.glide
    turned = TAU * tuning * (at + high * falling * -np.expm1(-at / falling))
    wave = np.zeros(len(at))
    for mode in drum.modes:
        if tuning * mode.ratio < _HIGHEST_SHARE * rate:
            wave += 10 ** (mode.level / 20 - 3 * at / mode.decay) * np.sin(mode.ratio * turned)
    return wave


def _plate(drum: Drum, tuning: float, key: int, rate: int) -> Samples:
    """The many modes of a cymbal, with their level as their total power, peaking one after another."""
    if not drum.cluster:
        return np.zeros(1)
    count, low, high, level, long, short = drum.cluster
    dice = Dice(crc32(drum.name.encode()) + key)
    octaves = np.sort(dice.doubles(int(count)))
    shifts = dice.doubles(int(count))
    weights = 0.3 + dice.doubles(int(count))
    hertz = tuning * low * (high / low) ** octaves
    decays = long * (short / long) ** octaves
    audible = hertz < _HIGHEST_SHARE * rate
    start = weights * np.exp(1j * TAU * shifts) * 10 ** (level / 20) / np.sqrt((weights**2).sum() / 2)
    step = (TAU * 1j * hertz - np.log(1000.0) / decays) / rate
    wave = damped_sines(start[audible], step[audible], len(_span(long, rate)))
    wave[: round(_SOFT * rate)] *= np.linspace(0, 1, round(_SOFT * rate))
    return wave


def _noises(drum: Drum, key: int, rate: int) -> list[Samples]:
    seed = crc32(drum.name.encode()) + 100 * key
    return [
        10 ** (band.level / 20) * noise_burst(band, rate, seed + number)
        for number, band in enumerate(drum.noise)
    ]
