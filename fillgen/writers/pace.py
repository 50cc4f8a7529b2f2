"""The mark of tempo and swing above a sheet: notes drawn from the music font, as engravers write it.

Sizes are in pixels; outlines have 1000 units an em, as in SMuFL, which names the glyphs (section "Metronome marks").
"""

from __future__ import annotations

from fillgen.theory.metre import Metre
from fillgen.writers.engraver import Drawing, outline
from fillgen.writers.mei import DOT, GLYPHS
from fillgen.writers.musicxml import beat_mark, beat_words, whole_ratio

_HEAD, _THREE = "\ue0a4", "\ue883"
_EM, _HEAD_EM, _THREE_EM = 25, 20, 18
"""The sizes of notes, of the heads under a beam, and of the number of a triplet."""
_FONT = 15
_WIDTHS = {"=": 12.6, " ": 4.8}
_DIGIT = 9.6
"""The widths of letters in the widest of the fonts that a sheet is likely to be set in."""
_FOOT = 4
"""How far notes reach below the line of the words."""
_STEM = 16.5
_HIGH, _BRACKET = 24, 9
"""The height of a mark, and what a triplet's bracket adds."""


def pace_words(tempo: int, swing: float, metre: Metre) -> str:
    """What the mark says, for people who can't see it; `tempo` is in quarter notes a minute.

    >>> from fillgen.theory.metre import METRES
    >>> pace_words(132, 2.0, METRES["4/4"]), pace_words(84, 1.0, METRES["6/8"])
    ('quarter = 132, eighths swung 2:1', 'dotted quarter = 56')
    """
    words = beat_words(tempo, metre)
    if swing <= 1:
        return words
    first, second = whole_ratio(swing)
    return f"{words}, eighths swung {first}:{second}"


def pace_drawing(tempo: int, swing: float, metre: Metre) -> Drawing:
    """The beat as a note and how many there are a minute; where eighths swing, two eighths as a triplet's quarter and eighth.

    The sign is the usual one for any swing. Source: common practice.

    >>> from fillgen.theory.metre import METRES
    >>> pace_drawing(132, 1.0, METRES["4/4"]).high, pace_drawing(132, 2.0, METRES["4/4"]).high
    (24, 33)
    """
    note, dots, count = beat_mark(tempo, metre)
    pen = _Pen(_HIGH + (_BRACKET if swing > 1 else 0) - _FOOT)
    pen.glyph(GLYPHS[note])
    for _ in range(dots):
        pen.x += 2
        pen.glyph(DOT)
    pen.words(f"= {count}")
    if swing > 1:
        pen.x += 10
        _swing(pen)
    return Drawing("".join(pen.parts), round(pen.x + 1), pen.line + _FOOT)


class _Pen:
    """What is drawn so far, from the left, on a line of words at a height."""

    def __init__(self, line: int) -> None:
        self.line = line
        self.x = 1.0
        self.parts: list[str] = []

    def glyph(self, letter: str, em: int = _EM, y: float | None = None, *, moves: bool = True) -> None:
        """A glyph at the pen, its foot on the line or at another height."""
        path, advance = outline(letter)
        at = self.line + _FOOT - 0.13 * em if y is None else y
        scale = em / 1000
        self.parts.append(
            f'<g transform="translate({self.x:.2f}, {at:.2f}) scale({scale}, {-scale})"><path d="{path}"/></g>'
        )
        self.x += advance * scale if moves else 0

    def words(self, text: str) -> None:
        self.x += 5
        self.parts.append(
            f'<text x="{self.x:.2f}" y="{self.line}" font-size="{_FONT}px" font-family="Times, serif">{text}</text>'
        )
        self.x += sum(_WIDTHS.get(letter, _DIGIT) for letter in text)

    def box(self, x: float, y: float, wide: float, high: float) -> None:
        self.parts.append(f'<rect x="{x:.2f}" y="{y:.2f}" width="{wide:.2f}" height="{high:.2f}"/>')


def _swing(pen: _Pen) -> None:
    """Two eighths under a beam, the sign of equality, and the quarter and eighth of a triplet in brackets."""
    base = pen.line + _FOOT - 0.13 * _EM
    stems = []
    for _ in range(2):
        pen.glyph(_HEAD, _HEAD_EM, base)
        stems.append(pen.x - 0.8)
        pen.box(pen.x - 0.8, base - _STEM, 0.8, _STEM - 0.6)
        pen.x += 4
    pen.box(stems[0], base - _STEM, stems[1] - stems[0] + 0.8, 2.4)
    pen.words("=")
    pen.x += 4
    first = pen.x
    pen.glyph(GLYPHS["quarter"])
    pen.x += 5
    pen.glyph(GLYPHS["eighth"])
    _bracket(pen, first, pen.x)


def _bracket(pen: _Pen, first: float, last: float) -> None:
    """The bracket of a triplet with its number in a gap."""
    wide = outline(_THREE)[1] * _THREE_EM / 1000
    middle = (first + last) / 2
    y = 4.5
    for start, end in ((first, middle - wide / 2 - 1.5), (middle + wide / 2 + 1.5, last)):
        pen.box(start, y, end - start, 0.8)
    pen.box(first, y, 0.8, 3)
    pen.box(last - 0.8, y, 0.8, 3)
    after, pen.x = pen.x, middle - wide / 2
    pen.glyph(_THREE, _THREE_EM, y + 3.2, moves=False)
    pen.x = after
