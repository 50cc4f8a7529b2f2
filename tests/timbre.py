"""The figures of one tone or stroke: how bright it is, how fast it dies away, and how much of it is noise.

Spectral centroid and flatness as defined by G. Peeters, "A large set of audio features for sound description" (IRCAM,
2004): the mean frequency weighted by magnitude, and the geometric mean of the power spectrum over its arithmetic mean.
What lies more than 60 dB below the strongest bin counts as lying there, or the hiss of a recording would be measured.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
_WINDOW = 2048
_FLOOR = 1e-6
"""The lowest power that counts, as a share of the strongest bin's: -60 dB."""
_WHOLE, _ATTACK = 1.2, 0.05
"""Seconds of a tone that are measured, and of its attack."""
_LOWEST, _HIGHEST = 100.0, 16000.0
"""Between these frequencies, in Hz, flatness is measured."""


@dataclass(frozen=True)
class Timbre:
    """Centroids of the whole tone and of its first 50 ms in Hz, its fall in dB a second, seconds to fall by 20 dB, flatness."""

    centroid: float
    attack: float
    fall: float
    lasts: float
    flatness: float


def timbre(wave: Samples, rate: int) -> Timbre:
    """The figures of a tone from its first sample on."""
    whole, attack = (_powers(wave[: round(seconds * rate)]) for seconds in (_WHOLE, _ATTACK))
    hertz = np.fft.rfftfreq(_WINDOW, 1 / rate)
    inside = np.maximum(whole[(hertz >= _LOWEST) & (hertz <= _HIGHEST)], _FLOOR * whole.max())
    return Timbre(
        _centroid(hertz, whole),
        _centroid(hertz, attack),
        _fall(wave, rate),
        _lasts(wave, rate),
        float(np.exp(np.log(inside).mean()) / inside.mean()),
    )


def _powers(wave: Samples) -> Samples:
    """The mean power spectrum under overlapping Hann windows."""
    wave = np.pad(wave, (0, max(0, _WINDOW - len(wave))))
    frames = np.lib.stride_tricks.sliding_window_view(wave, _WINDOW)[:: _WINDOW // 4]
    return np.asarray(
        (np.abs(np.fft.rfft(frames * np.hanning(_WINDOW), axis=1)) ** 2).mean(axis=0), dtype=float
    )


def _centroid(hertz: Samples, powers: Samples) -> float:
    magnitudes = np.where(powers > _FLOOR * powers.max(), np.sqrt(powers), 0.0)
    return float((hertz * magnitudes).sum() / magnitudes.sum())


def _levels(wave: Samples, size: int) -> Samples:
    return np.asarray(
        10 * np.log10((wave[: len(wave) // size * size].reshape(-1, size) ** 2).mean(axis=1) + 1e-14)
    )


def _fall(wave: Samples, rate: int) -> float:
    """The slope of the levels of 50 ms from 0.1 to 1 s, in dB a second."""
    levels = _levels(wave, rate // 20)[2:20]
    return float(-np.polyfit(np.arange(len(levels)) / 20, levels, 1)[0]) if len(levels) > 1 else 0.0


def _lasts(wave: Samples, rate: int) -> float:
    """Seconds from the loudest 10 ms to the last that are within 20 dB of them."""
    levels = _levels(wave, rate // 100)
    loudest = int(levels.argmax())
    return float(np.flatnonzero(levels > levels[loudest] - 20)[-1] + 1 - loudest) / 100
