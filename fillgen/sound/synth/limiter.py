"""The last stage: a high-pass against slow drift, and a limiter that lets no sample beyond the ceiling."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fillgen.sound.synth.tones import RATE, Samples

CEILING = 10 ** (-1.5 / 20)
"""The highest sample: 1.5 dB below full scale, so that the curve between samples stays below it too."""
_CELL = 64
"""Samples over which the gain changes linearly."""
_AHEAD = 6
"""Cells of look-ahead, about 9 ms: as long as the gain takes to fall."""
_RECOVERY = 0.15
"""Seconds in which the gain mostly recovers."""
_DRIFT = 6.0
"""The cutoff of the high-pass in Hz, below what can be heard: 6 dB an octave."""


class HighPass:
    """Removes direct current and slow drift from stereo that comes in pieces, of whole cells except the last.

    >>> out = HighPass().passed(np.ones((2, RATE)))
    >>> bool(np.abs(out[:, -100:]).max() < 1e-9)
    True
    """

    def __init__(self, rate: int = RATE) -> None:
        self._drift = [0.0, 0.0]
        self._share = float(-np.expm1(-2 * np.pi * _DRIFT * _CELL / rate))

    def passed(self, piece: NDArray[np.float64]) -> Samples:
        """The music without its drift, which is tracked from cell to cell."""
        count = piece.shape[1]
        cells = -(-count // _CELL)
        filled = np.pad(piece, ((0, 0), (0, cells * _CELL - count)), mode="edge")
        means = filled.reshape(2, cells, _CELL).mean(axis=2).tolist()
        edges = [self._followed(drift, row) for drift, row in zip(self._drift, means, strict=True)]
        self._drift = [row[-1] for row in edges]
        at, ends = np.arange(count), np.arange(cells + 1) * _CELL
        return np.asarray(piece - np.stack([np.interp(at, ends, row) for row in edges]), dtype=float)

    def _followed(self, drift: float, means: list[float]) -> list[float]:
        """The drift at the edges of cells, given that at the first."""
        edges = [drift]
        for mean in means:
            drift += self._share * (mean - drift)
            edges.append(drift)
        return edges


class Limiter:
    """Limits stereo that comes in pieces.

    The output is delayed by some cells; `rest` gives what is still inside. Music below the ceiling is unchanged.

    >>> limiter = Limiter()
    >>> out = np.concatenate([limiter.limited(np.full((2, 1000), 3.0)), limiter.rest()], axis=1)
    >>> out.shape, bool(np.abs(out).max() <= CEILING)
    ((2, 1000), True)
    """

    def __init__(self, rate: int = RATE) -> None:
        self._waiting = np.zeros((2, 0))
        self._gain: float | None = None
        self._forgets = float(np.exp(-_CELL / (_RECOVERY * rate)))
        self.lowest = 1.0
        """The lowest gain so far, 1 if nothing had to be limited."""

    def limited(self, piece: NDArray[np.float64]) -> Samples:
        """As much of the music as can be limited by now."""
        self._waiting = np.concatenate([self._waiting, piece], axis=1)
        cells = self._waiting.shape[1] // _CELL - _AHEAD - 1
        return self._let_out(cells) if cells > 0 else np.zeros((2, 0))

    def rest(self) -> Samples:
        """The rest of the music, at the end."""
        size = self._waiting.shape[1]
        cells = -(-size // _CELL)
        silence = np.zeros((2, (cells + _AHEAD + 1) * _CELL - size))
        self._waiting = np.concatenate([self._waiting, silence], axis=1)
        return self._let_out(cells)[:, :size]

    def _let_out(self, cells: int) -> Samples:
        """The first cells, with the gain linear from edge to edge of each."""
        seen = (cells + _AHEAD + 1) * _CELL
        peaks = np.abs(self._waiting[:, :seen]).reshape(2, -1, _CELL).max(axis=(0, 2))
        edges = self._edges(CEILING / np.maximum(peaks, CEILING), cells)
        gain = np.interp(np.arange(cells * _CELL), np.arange(cells + 1) * _CELL, edges)
        out = self._waiting[:, : cells * _CELL] * gain
        self._waiting = self._waiting[:, cells * _CELL :]
        return np.asarray(out, dtype=float)

    def _edges(self, needed: Samples, cells: int) -> Samples:
        """The gain at the edges of cells: low enough for the cells on both sides, falling in time, recovering slowly."""
        limits = np.append(1.0, needed[:cells])
        for later in range(_AHEAD):
            limits = np.minimum(limits, needed[later : later + cells + 1] + later / _AHEAD)
        edge = float(limits[0]) if self._gain is None else self._gain
        edges = [edge]
        for limit in limits[1:].tolist():
            edge = min(limit, 1 - (1 - edge) * self._forgets)
            edges.append(edge)
        self._gain = edge
        self.lowest = min(self.lowest, *edges)
        return np.array(edges)
