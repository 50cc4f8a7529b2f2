"""The chord symbols of a score as a chart: each chord lasts until the next one."""

from __future__ import annotations

from collections.abc import Sequence

from fillgen.chart.progression import Progression, laid
from fillgen.theory.chords import Chord
from fillgen.theory.metre import Metre, Timeline
from fillgen.theory.pitch import Key

Symbols = Sequence[tuple[int, Chord]]
"""Chords, each with its tick."""


def has_chords(symbols: Symbols) -> bool:
    """Whether there is a chord among symbols, which may all be N.C."""
    return any(chord.root is not None for _, chord in symbols)


def chart_of(
    symbols: Symbols, metre: Metre, bars: int, *, pickup: int = 0, key: Key | None = None, title: str = ""
) -> Progression:
    """The chords of a number of full bars after a pick-up of some ticks; without a key, it is found from them.

    >>> from fillgen.theory.chords import read_chord
    >>> from fillgen.theory.metre import METRES
    >>> found = chart_of([(480, read_chord("Gm7")), (1920, read_chord("C7"))], METRES["3/4"], 2, pickup=480)
    >>> [[span.chord.symbol for span in bar] for bar in found.bars], str(found.key)
    ([['Gm7'], ['C7']], 'F major')
    """
    rows = rows_of(symbols, Timeline(metre), bars, pickup)
    spans = laid(rows, home=key)
    return Progression(metre, key or spans[0][0].key, spans, title)


def rows_of(
    symbols: Symbols, timeline: Timeline, bars: int, pickup: int = 0
) -> list[list[tuple[Chord, int]]]:
    """The chords of each of a number of full bars after a pick-up of some ticks, with their lengths.

    A chord counts from the nearest beat, as charts have them: one that is pushed before a beat belongs to that beat.

    >>> from fillgen.theory.chords import read_chord
    >>> from fillgen.theory.metre import METRES
    >>> pushed = [(0, read_chord("Gm7")), (1680, read_chord("C7"))]
    >>> [[chord.symbol for chord, _ in bar] for bar in rows_of(pushed, Timeline(METRES["4/4"]), 2)]
    [['Gm7'], ['C7']]
    """
    starts = [(_on_beat(max(0, tick - pickup), timeline), chord) for tick, chord in symbols]
    now = next(chord for _, chord in starts if chord.root is not None)
    rows = []
    for bar in range(bars):
        first, end = timeline.start(bar), timeline.end(bar)
        inside = {first: now, **{tick: chord for tick, chord in starts if first <= tick < end}}
        ticks = sorted(inside)
        now = inside[ticks[-1]]
        rows.append(
            [(inside[tick], after - tick) for tick, after in zip(ticks, [*ticks[1:], end], strict=True)]
        )
    return rows


def _on_beat(tick: int, timeline: Timeline) -> int:
    """The beat nearest to a tick; the later one of two as near."""
    beat, inside = timeline.metre_at(tick).beat, timeline.inside(tick)
    return tick - inside + (inside + beat // 2) // beat * beat
