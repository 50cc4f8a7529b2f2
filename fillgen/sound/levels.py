"""Loudness as Recommendation ITU-R BS.1770 measures it, and music brought to one loudness."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from tempfile import SpooledTemporaryFile

import numpy as np
from numpy.typing import NDArray

from fillgen.sound.synth.limiter import Limiter
from fillgen.sound.synth.loudness import k_weighting
from fillgen.sound.synth.tones import RATE, Samples

LEVEL = -18.0
"""The loudness of sound files, in LUFS."""
_MOST_GAIN = 24.0
"""The most that music is made louder, in dB."""
_STEP = RATE // 10
"""Samples of a step; four of them are a block of BS.1770, which overlap by three quarters."""
_BLOCK = 4
_OFFSET = -0.691
_SILENT, _SOFTER = -70.0, -10.0
"""Blocks below these levels don't count: in LUFS, and against the mean of those that are left, in LU."""
_IN_MEMORY = 1 << 26
_PIECE = 1 << 18


class Meter:
    """Measures the loudness of stereo that comes in pieces of any length.

    >>> at = np.arange(2 * RATE) / RATE
    >>> meter = Meter()
    >>> meter.hear(np.stack([np.sin(2 * np.pi * 997 * at), 0 * at]))
    >>> round(meter.loudness, 1)
    -3.0
    """

    def __init__(self) -> None:
        hertz = np.asarray(np.fft.rfftfreq(_STEP, 1 / RATE), dtype=float)
        self._weights = k_weighting(hertz) * 2 / _STEP**2
        self._waiting = np.zeros((2, 0))
        self._powers: list[float] = []

    def hear(self, piece: NDArray[np.float64]) -> None:
        """Take in a piece."""
        rows = np.concatenate([self._waiting, piece], axis=1)
        whole = rows.shape[1] // _STEP * _STEP
        self._waiting = rows[:, whole:]
        steps = np.fft.rfft(rows[:, :whole].reshape(2, -1, _STEP), axis=2)
        self._powers.extend(((np.abs(steps) ** 2) @ self._weights).sum(axis=0).tolist())

    @property
    def loudness(self) -> float:
        """The integrated loudness so far in LUFS; minus infinity for silence and for less than 0.4 seconds."""
        if len(self._powers) < _BLOCK:
            return float("-inf")
        blocks = np.convolve(self._powers, np.full(_BLOCK, 1 / _BLOCK), mode="valid")
        loud = blocks[blocks > _power(_SILENT)]
        if not len(loud):
            return float("-inf")
        kept = loud[loud > loud.mean() * 10 ** (_SOFTER / 10)]
        return float(_OFFSET + 10 * np.log10(kept.mean()))


def _power(level: float) -> float:
    return float(10 ** ((level - _OFFSET) / 10))


def levelled(pieces: Iterable[NDArray[np.float64]]) -> Iterator[Samples]:
    """Music made as loud as sound files are, its peaks held below the ceiling; silence stays as it is.

    >>> loud, soft = (np.full((2, RATE), value) * np.sin(np.arange(RATE) / 20) for value in (0.5, 0.01))
    >>> one, other = (np.concatenate(list(levelled([rows])), axis=1) for rows in (loud, soft))
    >>> bool(abs(one.std() / other.std() - 1) < 0.02)
    True
    """
    meter, limiter = Meter(), Limiter()
    with SpooledTemporaryFile(max_size=_IN_MEMORY) as held:
        for piece in pieces:
            meter.hear(piece)
            held.write(np.ascontiguousarray(piece.T, dtype=np.float32).tobytes())
        gain = _gain(meter.loudness)
        held.seek(0)
        while content := held.read(8 * _PIECE):
            rows = np.frombuffer(content, dtype=np.float32).reshape(-1, 2).T
            yield limiter.limited(gain * rows.astype(float))
    yield limiter.rest()


def _gain(loudness: float) -> float:
    """The factor to the common loudness, in tenths of a decibel, so that it is the same on every machine."""
    if np.isinf(loudness):
        return 1.0
    return float(10 ** (round(min(_MOST_GAIN, LEVEL - loudness), 1) / 20))
