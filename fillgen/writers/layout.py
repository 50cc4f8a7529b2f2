"""Printed rows of words and drawings, and where each of them goes on a page.

The same rows are laid out here for PDF and SVG, and by a browser for HTML. Words are measured in points (72 to the inch),
drawings in the pixels they were engraved in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from fillgen.writers.engraver import Drawing

MARGIN = 40.0
"""The margin of a page in points: 14 mm."""
PAGE_PIXELS = 840
"""The width of a page between its margins, in the pixels of drawings."""
SIZES = {1: 16.0, 2: 12.0, 3: 10.5, 0: 9.0}
"""The size of headings by their level, and of other words."""
_LEADING = 1.25
"""The distance of two lines, in sizes of their letters."""
_GAP = 4.0
"""The gap between two pieces of a cell."""
GUTTER = 16.0
"""The gap between two columns."""
_BETWEEN = 10.0
"""The gap between two rows."""
_INDENT = 16.0
"""How far words are to the right of their bullet or drawing."""


@dataclass(frozen=True, slots=True)
class Words:
    """A paragraph: a heading of a level (1 is the title), or with 0 plain words, with a bullet or a small drawing before it."""

    text: str
    level: int = 0
    bullet: bool = False
    mark: Drawing | None = None


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing with a name and a description for people who can't see it, and words beside it, if any."""

    drawing: Drawing
    name: str
    described: str
    beside: tuple[Words, ...] = ()


Piece = Words | Picture
Cell = tuple[Piece, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """Cells side by side in a number of columns of equal width. One that `leads` stays on the page of the row after it."""

    cells: tuple[Cell, ...]
    columns: int = 1
    leads: bool = False


def in_rows(cells: Sequence[Cell], columns: int) -> list[Row]:
    """Cells in rows of a number of columns, the last row with what is left.

    >>> [len(row.cells) for row in in_rows([(Words("a"),), (Words("b"),), (Words("c"),)], 2)]
    [2, 1]
    """
    return [Row(tuple(cells[at : at + columns]), columns) for at in range(0, len(cells), columns)]


def inside(paper: tuple[float, float]) -> tuple[float, float]:
    """The width and height of a page between its margins, in points."""
    return paper[0] - 2 * MARGIN, paper[1] - 2 * MARGIN


def column_pixels(columns: int, paper: tuple[float, float]) -> int:
    """The width of a column of a page in the pixels of drawings.

    >>> column_pixels(1, (595.28, 841.89)), column_pixels(2, (595.28, 841.89))
    (840, 406)
    """
    wide, _ = inside(paper)
    points = (wide - GUTTER * (columns - 1)) / columns
    return int(points * PAGE_PIXELS / wide)


# Layout


@dataclass(frozen=True, slots=True)
class PlacedLine:
    """A line of text: the left end of its baseline in points from the upper left corner between the margins, and its look."""

    x: float
    y: float
    text: str
    size: float
    bold: bool


@dataclass(frozen=True, slots=True)
class PlacedDrawing:
    """A drawing: its upper left corner as for lines, and its points to a pixel."""

    x: float
    y: float
    drawing: Drawing
    scale: float


Placed = PlacedLine | PlacedDrawing
Page = list[Placed]

Measure = Callable[[str, float, bool], float]
"""The length of a text in a size, bold or not."""


@dataclass(frozen=True, slots=True)
class Layout:
    """A page's width and height between its margins, and how text is measured."""

    wide: float
    high: float
    measure: Measure

    def pages(self, rows: Sequence[Row]) -> list[Page]:
        """The rows on pages, from top to bottom; a row is never split."""
        made = [self._row(row) for row in rows]
        pages: list[Page] = [[]]
        at = 0.0
        for number, (row, (items, high)) in enumerate(zip(rows, made, strict=True)):
            needed = high
            if row.leads and number + 1 < len(rows):
                needed += _BETWEEN + made[number + 1][1]
            if at and at + needed > self.high:
                pages.append([])
                at = 0.0
            pages[-1] += [_moved(item, at) for item in items]
            at += high + _BETWEEN
        return pages

    def _row(self, row: Row) -> tuple[list[Placed], float]:
        """The items of a row from its top, and its height."""
        wide = (self.wide - GUTTER * (row.columns - 1)) / row.columns
        items: list[Placed] = []
        highest = 0.0
        for number, cell in enumerate(row.cells):
            left, at = number * (wide + GUTTER), 0.0
            for piece in cell:
                found, high = self._piece(piece, left, at, wide)
                items += found
                at += high + _GAP
            highest = max(highest, at - _GAP)
        return items, highest

    def _piece(self, piece: Piece, x: float, y: float, wide: float) -> tuple[list[Placed], float]:
        if isinstance(piece, Words):
            return self._words(piece, x, y, wide)
        scale = min(self.wide / PAGE_PIXELS, wide / piece.drawing.wide)
        items: list[Placed] = [PlacedDrawing(x, y, piece.drawing, scale)]
        high = piece.drawing.high * scale
        left = x + piece.drawing.wide * scale + GUTTER / 2
        below = y
        for words in piece.beside:
            found, used = self._words(words, left, below, x + wide - left)
            items += found
            below += used + _GAP / 2
        return items, max(high, below - y - _GAP / 2)

    def _words(self, words: Words, x: float, y: float, wide: float) -> tuple[list[Placed], float]:
        size, bold = SIZES[words.level], words.level > 0
        indent = _INDENT if words.bullet or words.mark else 0.0
        items: list[Placed] = []
        if words.bullet:
            items.append(PlacedLine(x + _INDENT / 4, y + size, "•", size, bold))
        if words.mark is not None:
            scale = size * 1.1 / words.mark.high
            items.append(PlacedDrawing(x, y + size * 0.1, words.mark, scale))
        lines = list(self._wrapped(words.text, size, bold, wide - indent))
        for number, line in enumerate(lines):
            items.append(PlacedLine(x + indent, y + size + number * size * _LEADING, line, size, bold))
        return items, len(lines) * size * _LEADING

    def _wrapped(self, text: str, size: float, bold: bool, wide: float) -> Iterator[str]:
        """A text in lines that fit; a word that is wider than a line is cut."""
        line = ""
        for word in text.split(" "):
            longer = f"{line} {word}" if line else word
            if self.measure(longer, size, bold) <= wide:
                line = longer
                continue
            if line:
                yield line
            line = self._cut(word, size, bold, wide)
        if line:
            yield line

    def _cut(self, word: str, size: float, bold: bool, wide: float) -> str:
        shown = word[:_LONGEST]
        while len(shown) > 2 and self.measure(shown, size, bold) > wide:
            shown = f"{shown[:-2]}…"
        return shown


_LONGEST = 400
"""More letters than fit on any line."""


def _moved(item: Placed, down: float) -> Placed:
    if isinstance(item, PlacedLine):
        return PlacedLine(item.x, item.y + down, item.text, item.size, item.bold)
    return PlacedDrawing(item.x, item.y + down, item.drawing, item.scale)
