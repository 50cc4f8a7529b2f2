"""The left hand's paths as text with keyboards, and as plain dictionaries."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any

from fillgen.chart.progression import Progression
from fillgen.errors import many
from fillgen.hands.voicing import Voicing, VoicingPath, moves_in_words
from fillgen.writers.document import chart_document
from fillgen.writers.keyboard import HELD, keyboard_text
from fillgen.writers.lines import TEXT_WIDTH, wrapped
from fillgen.writers.text import chart_heading

_INDENT = " " * 4
_NARROWEST = 30
"""The narrowest text beside a keyboard, in characters."""


@dataclass(frozen=True, slots=True)
class _ChordRow:
    """A chord of a path for display; `movement` in semitones."""

    bar: int
    symbol: str
    voicing: Voicing | None
    movement: int
    words: str

    @property
    def names(self) -> str:
        return " ".join(self.voicing.names) if self.voicing else "-"

    @property
    def position(self) -> str:
        return self.voicing.position if self.voicing else ""


def _rows(progression: Progression, path: VoicingPath) -> list[_ChordRow]:
    """The spans of a progression as a path voices them."""
    return [
        _ChordRow(
            progression.bar_index(span.onset) + 1,
            span.chord.symbol,
            after,
            moved,
            _words(before, after),
        )
        for span, before, after, moved in zip(
            progression.spans, path.before, path.voicings, path.moves, strict=True
        )
    ]


def _words(before: Voicing | None, after: Voicing | None) -> str:
    """What moves, and why the keys aren't clear where the hand has none that are."""
    moved = moves_in_words(before, after)
    return f"{moved}; {after.reason}" if after is not None and after.reason else moved


def voicings_text(progression: Progression, paths: Sequence[VoicingPath], *, width: int = TEXT_WIDTH) -> str:
    """Paths as text of about `width` characters: the first with keyboards, the others a line a chord.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.hands.voicing import best_paths
    >>> chart = parse_chart("| Bb | Gm |")
    >>> print(voicings_text(chart, best_paths(chart, count=1)))
    Bb major, 4/4
    The left hand, least movement first; O is a key to hold
    <BLANKLINE>
       1  2 half steps in all
    <BLANKLINE>
          # #   # # O   # #      bar 1  Bb: F3 Bb3 D4, second inversion
        |_|_|_|O|_|_|_|_|O|_|    start here
         C3            C4
    <BLANKLINE>
          # #   # # O   # #      bar 2  Gm: G3 Bb3 D4, root position
        |_|_|_|_|O|_|_|_|O|_|    only the lowest note moves, up a whole step
         C3            C4
    <BLANKLINE>
    """
    best, *others = paths
    blocks = [_heading(progression, width), _title(1, best), *_drawn(_rows(progression, best), width)]
    blocks += [
        "\n".join([_title(rank, path), *_listed(_rows(progression, path))])
        for rank, path in enumerate(others, 2)
    ]
    return "\n\n".join(blocks) + "\n"


def _heading(progression: Progression, width: int) -> str:
    return f"{wrapped(chart_heading(progression), width)}\nThe left hand, least movement first; {HELD} is a key to hold"


def _title(rank: int, path: VoicingPath) -> str:
    return f"{rank:>4}  {many(path.movement, 'half step')} in all"


def _drawn(rows: Sequence[_ChordRow], width: int) -> list[str]:
    """A block for each chord: its keyboard, and beside it the keys to hold and what moves."""
    low, high = _stretch(rows)
    return [_block(row, low, high, width) for row in rows]


def _stretch(rows: Sequence[_ChordRow]) -> tuple[int, int]:
    """The lowest and highest key that a path needs: from a C upwards, an octave and a third at least."""
    held = [midi for row in rows if row.voicing for midi in row.voicing.pitches] or [48]
    low = min(held) // 12 * 12
    return low, max(*held, low + 16)


def _block(row: _ChordRow, low: int, high: int, width: int) -> str:
    if row.voicing is None:
        return f"{_INDENT}bar {row.bar}  {row.symbol}: {row.words}"
    keys = keyboard_text(row.voicing.pitches, low, high)
    wide = max(map(len, keys)) + len(_INDENT)
    head = f"bar {row.bar}  {row.symbol}: {row.names}, {row.position}"
    room = max(_NARROWEST, width - wide - len(_INDENT))
    beside = [*textwrap.wrap(head, room), *textwrap.wrap(row.words, room)]
    lines = zip_longest(keys, beside, fillvalue="")
    return "\n".join(f"{_INDENT}{left:<{wide}}{right}".rstrip() for left, right in lines)


def _listed(rows: Sequence[_ChordRow]) -> list[str]:
    """A line for each chord, in columns."""
    cells = [
        (f"bar {row.bar}", row.symbol, row.names, row.position, many(row.movement, "half step"))
        for row in rows
    ]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    return [
        _INDENT + "  ".join(f"{cell:<{wide}}" for cell, wide in zip(line, widths, strict=True)).rstrip()
        for line in cells
    ]


def voicings_document(
    progression: Progression, paths: Sequence[VoicingPath], tempo: int = 120
) -> dict[str, Any]:
    """Paths as plain dictionaries and lists; pitches are MIDI numbers, movements semitones.

    `tempo` is in quarter notes a minute. Over N.C. there are no pitches, and the inversion is empty.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.hands.voicing import best_paths
    >>> chart = parse_chart("| Bb | Gm |")
    >>> voicings_document(chart, best_paths(chart, count=1))["paths"][0]["chords"][0]["names"]
    ['F3', 'Bb3', 'D4']
    """
    return {
        "chart": chart_document(progression, tempo),
        "paths": [
            {
                "rank": rank,
                "movement": path.movement,
                "chords": [_chord(row) for row in _rows(progression, path)],
            }
            for rank, path in enumerate(paths, 1)
        ],
    }


def _chord(row: _ChordRow) -> dict[str, Any]:
    return {
        "bar": row.bar,
        "symbol": row.symbol,
        "pitches": list(row.voicing.pitches) if row.voicing else [],
        "names": list(row.voicing.names) if row.voicing else [],
        "inversion": row.position,
        "movement": row.movement,
        "words": row.words,
    }
