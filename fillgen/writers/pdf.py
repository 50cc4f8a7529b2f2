"""Engraved drawings laid out on pages as PDF: the one module that knows reportlab.

Notes are drawn from the outlines in the engraver's SVG, so that the music font looks as on a screen; words are set in an
embedded font. Lengths are points, 72 to the inch, from the lower left.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from unicodedata import normalize
from xml.etree.ElementTree import Element

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import FILL_NON_ZERO, Canvas

from fillgen.writers.engraver import Drawing, outline

_MARGIN = 40.0
"""The margin of a page: 14 mm."""
_TITLE, _TEXT, _FOOT = 16.0, 9.5, 8.0
_GAP = 10.0
"""The gap between two blocks."""
_PLAIN, _BOLD, _ITALIC = "Vera", "VeraBd", "VeraIt"
_NARROWER = 0.86
"""The embedded font is wider than the one the engraver measures with; this factor makes words as long as it expects."""
_BOLD_PARTS, _ITALIC_PARTS = {"fing", "reh", "tempo", "ending"}, {"dir", "dynam", "mNum"}
_SIGN_SIZE = 1.25
"""Flats and sharps beside letters of the embedded font, whose letters are large."""
_XLINK = "{http://www.w3.org/1999/xlink}href"
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?")
_STEP = re.compile(r"([MmLlHhVvCcSsZz])([^MmLlHhVvCcSsZz]*)")
_PLACES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4}

PathStep = tuple[str, tuple[float, ...]]
"""A step of an outline: `m` moves and `l` draws to a point, `c` curves over two handles to a point, `z` closes it."""


@dataclass(frozen=True, slots=True)
class Block:
    """A heading, and drawings below one another."""

    heading: str
    drawings: tuple[Drawing, ...]


def room_of(paper: tuple[float, float], width: int) -> int:
    """The height of a page for drawings that are `width` units wide, both in units of the engraver.

    >>> room_of((595.28, 841.89), 2100)
    2903
    """
    wide, high = paper[0] - 2 * _MARGIN, paper[1] - 2 * _MARGIN - _TEXT - 4 * _GAP
    return int(high * width / wide)


def pdf_bytes(
    blocks: Sequence[Block], paper: tuple[float, float], *, title: str = "", about: str = ""
) -> bytes:
    """Blocks on numbered pages as a PDF file, with a title and a line about all of them on the first.

    The same blocks give the same bytes. Letters that the fonts don't have are printed as question marks.
    """
    _register()
    found = BytesIO()
    canvas = Canvas(found, pagesize=paper, invariant=1, pageCompression=1, initialFontName=_PLAIN)
    canvas.setTitle(title or "Sheet of music")
    canvas.setCreator("fillgen")
    pages = list(_pages(blocks, paper, _head_height(title, about)))
    drawn = [(drawing, ET.fromstring(_whole(drawing))) for page in pages for _, drawing in page if drawing]  # noqa: S314 - the engraver's own
    trees = {id(drawing): tree for drawing, tree in drawn}
    _define_glyphs(canvas, trees.values())
    for number, page in enumerate(pages, 1):
        top = paper[1] - _MARGIN
        top = _head(canvas, title, about, top, paper[0]) if number == 1 else top
        for heading, drawing in page:
            top = _placed(canvas, heading, drawing, trees, top, paper)
        words = f"Page {number} of {len(pages)}"
        _write(canvas, words, paper[0] / 2, _MARGIN / 2, _FOOT, _PLAIN, middle=True)
        canvas.showPage()
    canvas.save()
    return found.getvalue()


def _whole(drawing: Drawing) -> str:
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">'
        f"{drawing.inside}</svg>"
    )


@cache
def _register() -> None:
    for name in (_PLAIN, _BOLD, _ITALIC):
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))


# Pages

_HeadedDrawing = tuple[str, Drawing]


def _pages(
    blocks: Iterable[Block], paper: tuple[float, float], head: float
) -> Iterator[list[_HeadedDrawing]]:
    """The drawings of each page, with the heading over the first of a block."""
    whole = paper[1] - 2 * _MARGIN
    page: list[_HeadedDrawing] = []
    left = whole - head
    for block in blocks:
        for number, drawing in enumerate(block.drawings):
            heading = block.heading if number == 0 else ""
            high = _piece_height(heading, drawing, paper)
            if high > left and page:
                yield page
                page, left = [], whole
            page.append((heading, drawing))
            left -= high
    yield page


def _scale(drawing: Drawing, paper: tuple[float, float]) -> float:
    return (paper[0] - 2 * _MARGIN) / drawing.wide


def _piece_height(heading: str, drawing: Drawing, paper: tuple[float, float]) -> float:
    return (_TEXT + _GAP if heading else 0.0) + drawing.high * _scale(drawing, paper) + _GAP / 2


def _head_height(title: str, about: str) -> float:
    return (_TITLE + _GAP / 2 if title else 0.0) + (_TEXT + _GAP / 2 if about else 0.0)


def _head(canvas: Canvas, title: str, about: str, top: float, wide: float) -> float:
    """Draw title and common line at the top of the first page; returns the y of the first block."""
    for text, size, font in ((title, _TITLE, _BOLD), (about, _TEXT, _PLAIN)):
        if text:
            top -= size
            _write(canvas, _fitted(text, size, font, wide - 2 * _MARGIN), _MARGIN, top, size, font)
            top -= _GAP / 2
    return top


def _placed(
    canvas: Canvas,
    heading: str,
    drawing: Drawing,
    trees: dict[int, Element],
    top: float,
    paper: tuple[float, float],
) -> float:
    """Draw a drawing below its heading; returns the y of the next."""
    start = top
    if heading:
        top -= _TEXT + _GAP / 2
        words = _fitted(heading, _TEXT, _BOLD, paper[0] - 2 * _MARGIN)
        _write(canvas, words, _MARGIN, top, _TEXT, _BOLD)
        top -= _GAP / 2
    scale = _scale(drawing, paper)
    canvas.saveState()
    canvas.translate(_MARGIN, top)
    canvas.scale(scale, -scale)
    _draw(canvas, trees[id(drawing)], _PLAIN)
    canvas.restoreState()
    return start - _piece_height(heading, drawing, paper)


# Words


@cache
def _shapes(font: str) -> frozenset[int]:
    return frozenset(pdfmetrics.getFont(font).face.charToGlyph)


def _parts(text: str, font: str) -> list[tuple[str, bool]]:
    """A text split into parts in its font and single signs of the music font; a question mark for anything else."""
    found: list[tuple[str, bool]] = []
    for letter in normalize("NFC", text):
        is_music = ord(letter) not in _shapes(font) and _has_outline(letter)
        shown = letter if is_music or ord(letter) in _shapes(font) else "?"
        if found and not is_music and not found[-1][1]:
            found[-1] = (found[-1][0] + shown, False)
        else:
            found.append((shown, is_music))
    return found


def shapeless(text: str) -> str:
    """The letters of a text that neither font has, each once, in their order.

    >>> shapeless("Été ♭ 雨雨")
    '雨'
    """
    _register()
    letters = dict.fromkeys(normalize("NFC", text))
    return "".join(each for each in letters if ord(each) not in _shapes(_BOLD) and not _has_outline(each))


def _has_outline(letter: str) -> bool:
    try:
        return bool(outline(letter)[0])
    except KeyError:
        return False


def _length(text: str, size: float, font: str) -> float:
    return sum(
        outline(part)[1] * _SIGN_SIZE * size / 1000 if is_music else pdfmetrics.stringWidth(part, font, size)
        for part, is_music in _parts(text, font)
    )


_LONGEST_LINE = 400
"""More letters than fit into any line: longer text is cut before it is measured."""


def _fitted(text: str, size: float, font: str, room: float) -> str:
    """A text cut to what fits into a line."""
    text = text if len(text) <= _LONGEST_LINE else f"{text[:_LONGEST_LINE]}…"
    while _length(text, size, font) > room and len(text) > 2:
        text = f"{text[:-2]}…"
    return text


def _write(
    canvas: Canvas, text: str, x: float, y: float, size: float, font: str, *, middle: bool = False
) -> None:
    x -= _length(text, size, font) / 2 if middle else 0
    for part, is_music in _parts(text, font):
        if is_music:
            _write_sign(canvas, part, x, y, size)
        else:
            canvas.setFont(font, size)
            canvas.drawString(x, y, part)
        x += _length(part, size, font)


def _write_sign(canvas: Canvas, sign: str, x: float, y: float, size: float) -> None:
    canvas.saveState()
    canvas.translate(x, y)
    canvas.scale(_SIGN_SIZE * size / 1000, _SIGN_SIZE * size / 1000)
    _fill(canvas, _lines(outline(sign)[0]))
    canvas.restoreState()


# Drawings


def _define_glyphs(canvas: Canvas, trees: Iterable[Element]) -> None:
    """Define the signs of all drawings as forms of the file, each once."""
    known: set[str] = set()
    for tree in trees:
        for glyph in tree.iterfind(".//{*}defs/{*}g"):
            name = _glyph(glyph.get("id", ""))
            path = glyph.find("{*}path")
            if name not in known and path is not None:
                known.add(name)
                canvas.beginForm(name, -3000, -3000, 6000, 6000)
                canvas.scale(1, -1)
                _fill(canvas, _lines(path.get("d", "")))
                canvas.endForm()


def _glyph(reference: str) -> str:
    return reference.lstrip("#").partition("-")[0]


def _draw(canvas: Canvas, element: Element, font: str) -> None:
    """Draw an element and its children."""
    kind = element.tag.rpartition("}")[2]
    if kind in _SHAPES:
        _SHAPES[kind](canvas, element)
    elif kind == "text":
        _draw_text(canvas, element, font)
    elif kind in ("g", "svg"):
        _draw_group(canvas, element, font)


def _draw_group(canvas: Canvas, element: Element, font: str) -> None:
    part = set(element.get("class", "").split())
    font = _BOLD if part & _BOLD_PARTS else _ITALIC if part & _ITALIC_PARTS else font
    canvas.saveState()
    _transform(canvas, element.get("transform", ""))
    if element.get("class") == "definition-scale":
        canvas.scale(1 / _DEFINITION, 1 / _DEFINITION)
    for child in element:
        _draw(canvas, child, font)
    canvas.restoreState()


_DEFINITION = 25.0
"""Inner units of a drawing in a pixel."""


def _transform(canvas: Canvas, text: str) -> None:
    for word, numbers in re.findall(r"(\w+)\(([^)]*)\)", text):
        values = _numbers(numbers)
        if word == "translate":
            canvas.translate(values[0], values[1] if len(values) > 1 else 0)
        elif word == "scale":
            canvas.scale(values[0], values[-1])


def _numbers(text: str) -> list[float]:
    return [float(number) for number in _NUMBER.findall(text)]


def _use(canvas: Canvas, element: Element) -> None:
    canvas.saveState()
    _transform(canvas, element.get("transform", ""))
    canvas.doForm(_glyph(element.get(_XLINK, "")))
    canvas.restoreState()


def _path(canvas: Canvas, element: Element) -> None:
    lines = _lines(element.get("d", ""))
    canvas.setLineWidth(float(element.get("stroke-width", 1)))
    canvas.setLineCap(1 if element.get("stroke-linecap") == "round" else 0)
    canvas.setLineJoin(1 if element.get("stroke-linejoin") == "round" else 0)
    is_open = element.get("fill") == "none" or all(word in "ml" for word, _ in lines)
    _fill(canvas, lines, stroke=True, fill=not is_open)


def _points(canvas: Canvas, element: Element) -> None:
    values = _numbers(element.get("points", ""))
    pairs = list(zip(values[::2], values[1::2], strict=True))
    lines: list[PathStep] = [("m" if place == 0 else "l", pair) for place, pair in enumerate(pairs)]
    is_open = element.tag.endswith("polyline")
    canvas.setLineWidth(float(element.get("stroke-width", 1)))
    _fill(canvas, lines if is_open else [*lines, ("z", ())], stroke=is_open, fill=not is_open)


def _ellipse(canvas: Canvas, element: Element) -> None:
    x, y, across, down = (float(element.get(name, 0)) for name in ("cx", "cy", "rx", "ry"))
    canvas.ellipse(x - across, y - down, x + across, y + down, stroke=0, fill=1)


def _rectangle(canvas: Canvas, element: Element) -> None:
    x, y, wide, high = (float(element.get(name, 0)) for name in ("x", "y", "width", "height"))
    canvas.rect(x, y, wide, high, stroke=0, fill=1)


_SHAPES = {
    "use": _use,
    "path": _path,
    "polygon": _points,
    "polyline": _points,
    "ellipse": _ellipse,
    "rect": _rectangle,
}


_ANCHORS = {"middle": 0.5, "end": 1.0}
"""The share of a text's length before its x."""


def _draw_text(canvas: Canvas, element: Element, font: str) -> None:
    """Draw a text upright again, each part in its size."""
    runs = [(text, size * _NARROWER) for text, size in _runs(element, 0.0) if size]
    length = sum(_length(text, size, font) for text, size in runs)
    canvas.saveState()
    canvas.translate(float(element.get("x", 0)), float(element.get("y", 0)))
    canvas.scale(1, -1)
    x = -length * _ANCHORS.get(element.get("text-anchor", ""), 0.0)
    for text, size in runs:
        _write(canvas, text, x, 0, size, font)
        x += _length(text, size, font)
    canvas.restoreState()


def _runs(element: Element, size: float) -> Iterator[tuple[str, float]]:
    """The pieces of a text with their sizes."""
    size = float(element.get("font-size", f"{size}px").removesuffix("px"))
    if element.text:
        yield element.text, size
    for child in element:
        yield from _runs(child, size)
        if child.tail:
            yield child.tail, size


# Outlines


def _fill(canvas: Canvas, lines: Iterable[PathStep], *, stroke: bool = False, fill: bool = True) -> None:
    path = canvas.beginPath()
    for word, values in lines:
        {"m": path.moveTo, "l": path.lineTo, "c": path.curveTo, "z": path.close}[word](*values)
    canvas.drawPath(path, stroke=stroke, fill=fill, fillMode=FILL_NON_ZERO)


@cache
def _lines(data: str) -> tuple[PathStep, ...]:
    """The path data of an SVG picture as absolute steps.

    >>> _lines("M10 10h5v-5z")
    (('m', (10.0, 10.0)), ('l', (15.0, 10.0)), ('l', (15.0, 5.0)), ('z', ()))
    """
    pen = _Pen()
    for letter, text in _STEP.findall(data):
        values = _numbers(text)
        if letter in "Zz":
            pen.close()
            continue
        size = _PLACES[letter.upper()]
        for at in range(0, len(values), size):
            word = letter if at == 0 else {"M": "L", "m": "l"}.get(letter, letter)
            pen.step(word, values[at : at + size])
    return tuple(pen.lines)


class _Pen:
    """The state of a path: its steps so far, its current point, its first one, and its last handle."""

    def __init__(self) -> None:
        self.lines: list[PathStep] = []
        self.x = self.y = 0.0
        self.start = (0.0, 0.0)
        self.handle = (0.0, 0.0)

    def close(self) -> None:
        self.lines.append(("z", ()))
        self.x, self.y = self.start

    def step(self, word: str, values: Sequence[float]) -> None:
        points = self._places(word, values)
        kind = word.upper()
        before = (self.x, self.y)
        self.x, self.y = points[-2:]
        if kind in "MLHV":
            self.lines.append(("m" if kind == "M" else "l", (self.x, self.y)))
            self.start = (self.x, self.y) if kind == "M" else self.start
            self.handle = (self.x, self.y)
            return
        curve = self._curve(kind, points, before)
        self.lines.append(("c", curve))
        self.handle = (curve[2], curve[3])

    def _places(self, word: str, values: Sequence[float]) -> list[float]:
        """Values as absolute points, x and y in turn."""
        base = (self.x, self.y) if word.islower() else (0.0, 0.0)
        if word in "Hh":
            return [base[0] + values[0], self.y]
        if word in "Vv":
            return [self.x, base[1] + values[0]]
        return [value + base[place % 2] for place, value in enumerate(values)]

    def _curve(self, kind: str, points: Sequence[float], before: tuple[float, float]) -> tuple[float, ...]:
        """The two handles and the end of a curve; a missing first handle mirrors the last one."""
        if kind == "C":
            return tuple(points)
        return (2 * before[0] - self.handle[0], 2 * before[1] - self.handle[1], *points)
