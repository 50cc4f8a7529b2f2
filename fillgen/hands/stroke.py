"""A note as it is played."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Stroke:
    """A note as it is played: tick, ticks of length, MIDI pitch or percussion key, velocity."""

    tick: int
    length: int
    midi: int
    velocity: int
