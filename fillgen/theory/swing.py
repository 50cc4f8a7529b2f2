"""How far eighths swing at a tempo."""

from __future__ import annotations

from fillgen.tables import table
from fillgen.theory.metre import TICKS, Metre


def swing_ratio(tempo: float) -> float:
    """How much longer the first of two swung eighths is than the second, at a tempo in quarter notes a minute.

    The short note lasts about a tenth of a second from medium to fast tempi (Friberg and Sundström 2002, Music
    Perception 19(3)), so the ratio falls as the tempo rises; at slower tempi it stays at its largest.

    >>> swing_ratio(132), swing_ratio(240), swing_ratio(320)
    (2.0, 1.5, 1.0)
    """
    swing = table("swing")
    by_short_note = 60 / tempo / swing["short-note"] - 1
    return float(round(min(swing["largest"], max(swing["smallest"], by_short_note)), 3))


def swing_at(metre: Metre, tempo: float, swings: bool) -> float:
    """The ratio at which the eighths of a rhythm swing at a tempo; 1 if they do not. Dotted beats never swing."""
    return swing_ratio(tempo) if swings and metre.beat % TICKS == 0 else 1.0
