"""Part of the keyboard as lines of plain characters, with the held keys marked."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from fillgen.theory.pitch import C_MAJOR, is_black, midi_name

HELD = "O"
"""The mark of a held key, black or white."""
_BLACK, _WHITE = "#", "_"


def keyboard_text(pitches: Collection[int], low: int, high: int) -> list[str]:
    r"""Three lines: the black keys, the white keys below them, and the name of every C.

    `low` and `high` are MIDI numbers. A black key at either end adds the white one beside it, and held keys outside
    widen the range. If there is no C, the lowest key is named instead.

    >>> print("\n".join(keyboard_text([50, 54, 57], 48, 60)))
      # #   O # #
    |_|O|_|_|_|O|_|_|
     C3            C4
    """
    first, last = min([low, *pitches]), max([high, *pitches])
    whites = [
        midi for midi in range(first - is_black(first), last + is_black(last) + 1) if not is_black(midi)
    ]
    held = frozenset(pitches)
    return [_black_row(whites, held), _white_row(whites, held), _names_row(whites)]


def _black_row(whites: Sequence[int], held: Collection[int]) -> str:
    """Each black key above the line between the white keys on either side."""
    between = [midi - 1 if midi > whites[0] and is_black(midi - 1) else None for midi in whites]
    marks = [" " if midi is None else HELD if midi in held else _BLACK for midi in between]
    return " ".join(marks).rstrip()


def _white_row(whites: Sequence[int], held: Collection[int]) -> str:
    return f"|{'|'.join(HELD if midi in held else _WHITE for midi in whites)}|"


def _names_row(whites: Sequence[int]) -> str:
    """The names of the Cs under their keys, or of the lowest key if there is no C."""
    named = [midi for midi in whites if midi % 12 == 0] or [whites[0]]
    line = ""
    for midi in named:
        line = f"{line:<{2 * whites.index(midi) + 1}}{midi_name(midi, C_MAJOR)}"
    return line
