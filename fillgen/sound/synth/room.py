"""A small room: its impulse response, and that response applied to music in pieces."""

from __future__ import annotations

from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from fillgen.dice import Dice
from fillgen.sound.synth.recipes import RoomPlan, room_plan
from fillgen.sound.synth.tones import RATE, Samples

_SOUND = 343.0
"""The speed of sound in metres a second, in air of 20 degrees."""
_SEED = 1979
_DIFFUSE_FROM = 0.018
"""Seconds after which the diffuse sound begins to grow."""
_LENGTH = 1.1
"""The length of the response, as a multiple of the reverberation time."""
_BRIGHT_TO = 5000.0
"""Above this frequency, in Hz, walls, curtains and air absorb more: 6 dB an octave."""
_LOW_CUT = 120.0
"""Below this frequency, in Hz, little goes into the room, so that the bass stays dry."""
_FRAME = 1 << 16


@lru_cache(maxsize=2)
def response(rate: int = RATE) -> Samples:
    """The impulse response of the room at the two ears, without the direct sound: an array of two rows.

    Its energy is the room's level against the direct sound, as the mean of both rows.

    >>> response().shape[0]
    2
    """
    here = room_plan()
    count = round(_LENGTH * here.reverberation * rate)
    rows = np.stack([_reflections(here, ear, count, rate) for ear in here.ears])
    reflected = np.sqrt((rows**2).sum() / 2)
    diffuse = _diffuse(here, count, rate)
    rows = rows / reflected + diffuse / np.sqrt((diffuse**2).sum() / 2)
    rows = _widened(_coloured(rows, rate), here.width)
    rows[:, -count // 8 :] *= np.linspace(1, 0, count // 8 + (count % 8 > 0))
    return np.asarray(rows * (10 ** (here.level / 20) / np.sqrt((rows**2).sum() / 2)), dtype=float)


def _reflections(here: RoomPlan, ear: tuple[float, float, float], count: int, rate: int) -> Samples:
    """The mirror images of the source, each as a click, later and softer."""
    row = np.zeros(count)
    kept = np.sqrt(1 - here.absorption)
    reach = range(-here.images, here.images + 1)
    for cell in product(reach, repeat=3):
        bounces = sum(abs(number) for number in cell)
        if not 0 < bounces <= here.images:
            continue
        far = np.linalg.norm([_image(*axis) for axis in zip(cell, here.source, here.size, ear, strict=True)])
        place = round(float(far) / _SOUND * rate)
        if place < count:
            row[place] += kept**bounces / float(far)
    return row


def _image(number: int, source: float, side: float, ear: float) -> float:
    """The distance along an axis from the ear to the mirror image of that number."""
    return number * side + (source if number % 2 == 0 else side - source) - ear


def _diffuse(here: RoomPlan, count: int, rate: int) -> Samples:
    """Noise that dies away in the reverberation time, different for each ear."""
    at = np.arange(count) / rate
    noise = Dice(_SEED).doubles(2 * count).reshape(2, count) - 0.5
    grown = np.clip((at - _DIFFUSE_FROM) / _DIFFUSE_FROM, 0, 1)
    return np.asarray(noise * grown * 10 ** (-3 * at / here.reverberation), dtype=float)


def _coloured(rows: Samples, rate: int) -> Samples:
    count = rows.shape[1]
    hertz = np.fft.rfftfreq(2 * count, 1 / rate)
    colour = hertz**2 / (hertz**2 + _LOW_CUT**2) / np.sqrt(1 + (hertz / _BRIGHT_TO) ** 2)
    return np.asarray(np.fft.irfft(np.fft.rfft(rows, 2 * count) * colour, 2 * count)[:, :count], dtype=float)


def _widened(rows: Samples, width: float) -> Samples:
    """Both rows with their difference made larger against their sum."""
    middle, side = rows.mean(axis=0), (rows[0] - rows[1]) / 2 * width
    return np.stack([middle + side, middle - side])


class Room:
    """Gives the room's sound for music that comes in pieces of any length."""

    def __init__(self, rate: int = RATE) -> None:
        answer = response(rate)
        self._length = answer.shape[1]
        self._spectrum = np.fft.rfft(answer, _FRAME)
        self._step = _FRAME - self._length
        self._ringing = np.zeros((2, self._length))

    def added(self, piece: NDArray[np.float32]) -> Samples:
        """The room's two rows for a piece in one row, with the sound still ringing from earlier pieces."""
        out = np.zeros((2, len(piece) + self._length))
        out[:, : self._length] += self._ringing
        for start in range(0, len(piece), self._step):
            part = piece[start : start + self._step].astype(float)
            heard = np.fft.irfft(self._spectrum * np.fft.rfft(part, _FRAME), _FRAME)
            size = len(part) + self._length
            out[:, start : start + size] += heard[:, :size]
        self._ringing = out[:, len(piece) :].copy()
        return out[:, : len(piece)]
