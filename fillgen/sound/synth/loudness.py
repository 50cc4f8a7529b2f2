"""The loudness of a frequency: the K-weighting of Recommendation ITU-R BS.1770, as a curve.

The curve is that of the recommendation's two filters at 48 kHz: a shelf that raises the treble by 4 dB, as a head does,
and a high-pass below about 60 Hz.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_RATE = 48000.0
_SHELF = ((1.53512485958697, -2.69169618940638, 1.19839281085285), (1.0, -1.69065929318241, 0.73248077421585))
_HIGH_PASS = ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621))
"""Numerators and denominators of ITU-R BS.1770, tables 1 and 2."""
_HIGHEST = 20000.0


def k_weighting(hertz: NDArray[np.float64]) -> NDArray[np.float64]:
    """The weight of a sine of each frequency, as a factor of its power.

    >>> np.round(10 * np.log10(k_weighting(np.array([60.0, 997.0, 6000.0]))), 1).tolist()
    [-2.9, 0.7, 4.0]
    """
    z = np.exp(-2j * np.pi * np.minimum(hertz, _HIGHEST) / _RATE)
    power = np.ones_like(hertz)
    for above, below in (_SHELF, _HIGH_PASS):
        power = power * np.abs(np.polyval(above[::-1], z) / np.polyval(below[::-1], z)) ** 2
    return power
