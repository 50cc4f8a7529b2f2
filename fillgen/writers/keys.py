"""Part of the keyboard as a small drawing, its keys marked by shape as well as by colour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from xml.sax.saxutils import escape

from fillgen.theory.pitch import C_MAJOR, is_black, midi_name
from fillgen.writers.engraver import Drawing

DOT, RING, CROSS = "dot", "ring", "cross"
"""The marks of keys: full, open, crossed."""
WIDEST_KEY = 26
"""The width of a white key in pixels, where there is room for it."""
_HIGH = 80
"""The height of a white key in pixels."""
_BLACK_WIDE, _BLACK_HIGH = 0.62, 0.6
"""Width and height of a black key as shares of a white one's."""
_STRIP = 18
"""The height of the strips above and below the keys, for names."""
_FONT = 14
_INK = {DOT: ("#0a5a63", "#8fe0e6"), RING: ("#8a4b00", "#ffd79a"), CROSS: ("#8f1d1d", "#ffb3a7")}
"""The colour of each mark on a white and on a black key; printed in grey they are dark on white and light on black."""


@dataclass(frozen=True, slots=True)
class KeyMark:
    """How a key is marked: the shape, the note's name beside it, and a word inside a dot, such as a finger."""

    shape: str
    name: str = ""
    inside: str = ""


def keys_drawing(
    low: int, high: int, marks: Mapping[int, KeyMark], *, room: int = 10**6, octaves: bool = False
) -> Drawing:
    """The keys from one MIDI pitch to another with their marks, no wider than `room` in pixels.

    A black key at either end adds the white one beside it. With `octaves` each C is named below the keys.

    >>> drawing = keys_drawing(60, 71, {60: KeyMark(DOT, "C"), 61: KeyMark(CROSS, "Db")})
    >>> drawing.wide, drawing.inside.count("<rect"), drawing.inside.count('data-mark="dot"')
    (184, 12, 1)
    """
    whites = [m for m in range(low - is_black(low), high + is_black(high) + 1) if not is_black(m)]
    blacks = [m for m in range(whites[0], whites[-1]) if is_black(m)]
    wide = min(WIDEST_KEY, (room - 2) / len(whites))
    place = _Place(wide, whites)
    parts = [place.white(midi) for midi in whites] + [place.black(midi) for midi in blacks]
    parts += [place.mark(midi, marks[midi]) for midi in (*whites, *blacks) if midi in marks]
    if octaves:
        parts += [place.octave(midi) for midi in whites if midi % 12 == 0]
    total = _STRIP + _HIGH + 2 + (_STRIP if octaves else 0)
    return Drawing("".join(parts), round(wide * len(whites)) + 2, total)


def mark_drawing(shape: str) -> Drawing:
    """A mark alone, for a legend; without a shape the place for one."""
    return Drawing("", 24, 24) if not shape else Drawing(_shape(shape, 12, 12, 9, _INK[shape][0]), 24, 24)


@dataclass(frozen=True, slots=True)
class _Place:
    """The positions of keys: the width of a white one, and which there are."""

    wide: float
    whites: list[int]

    def left(self, midi: int) -> float:
        before = sum(white < midi for white in self.whites)
        return 1 + before * self.wide - (self.wide * _BLACK_WIDE / 2 if is_black(midi) else 0)

    def middle(self, midi: int) -> float:
        return self.left(midi) + self.wide * (_BLACK_WIDE if is_black(midi) else 1) / 2

    def white(self, midi: int) -> str:
        return _key(self.left(midi), self.wide, _HIGH, "#ffffff")

    def black(self, midi: int) -> str:
        return _key(self.left(midi), self.wide * _BLACK_WIDE, _HIGH * _BLACK_HIGH, "#2b2b2b")

    def mark(self, midi: int, mark: KeyMark) -> str:
        """The mark of a key with its name: a white key's below the mark, a black key's above the keyboard."""
        black = is_black(midi)
        x = self.middle(midi)
        radius = self.wide * (0.26 if black else 0.36)
        y = _STRIP + (_HIGH * _BLACK_HIGH - radius - 6 if black else _HIGH - radius - 18)
        drawn = _shape(mark.shape, x, y, radius, _INK[mark.shape][black])
        if mark.inside:
            ink = "#000000" if black else "#ffffff"
            drawn += _text(mark.inside, x, y + radius * 0.5, radius * 1.5, ink, bold=True)
        if mark.name:
            drawn += _text(mark.name, x, _STRIP - 4 if black else _STRIP + _HIGH - 5, _FONT, "#000000")
        return f'<g data-key="{midi}" data-mark="{mark.shape}">{drawn}</g>'

    def octave(self, midi: int) -> str:
        name = midi_name(midi, C_MAJOR)
        return _text(name, self.middle(midi), 2 * _STRIP + _HIGH - 3, _FONT, "#555555")


def _key(x: float, wide: float, high: float, fill: str) -> str:
    return (
        f'<rect x="{x:.1f}" y="{_STRIP}" width="{wide:.1f}" height="{high:.1f}" fill="{fill}" stroke="#2b2b2b" '
        'stroke-width="1"/>'
    )


def _shape(shape: str, x: float, y: float, radius: float, ink: str) -> str:
    if shape == CROSS:
        r = radius * 0.8
        path = f"M{x - r:.1f} {y - r:.1f}L{x + r:.1f} {y + r:.1f}M{x + r:.1f} {y - r:.1f}L{x - r:.1f} {y + r:.1f}"
        return f'<path d="{path}" fill="none" stroke="{ink}" stroke-width="{radius * 0.36:.1f}"/>'
    fill = ink if shape == DOT else "none"
    return (
        f'<ellipse cx="{x:.1f}" cy="{y:.1f}" rx="{radius:.1f}" ry="{radius:.1f}" fill="{fill}" stroke="{ink}" '
        f'stroke-width="{radius * 0.32:.1f}"/>'
    )


def _text(text: str, x: float, y: float, size: float, ink: str, *, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:.1f}px" text-anchor="middle" fill="{ink}"{weight}>'
        f"{escape(text)}</text>"
    )
