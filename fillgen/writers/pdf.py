"""Engraved drawings laid out on pages as PDF: the one module that knows reportlab.

Notes are drawn from the outlines in the engraver's SVG, so that the music font looks as on a screen; words are set in an
embedded font. Lengths are points, 72 to the inch, from the lower left.

What the library can't do is a tree of tags: a file says its title, author and language, and its pages are drawn.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Iterator, Sequence
from functools import cache
from io import BytesIO
from unicodedata import normalize
from xml.etree.ElementTree import Element

from reportlab.lib.colors import HexColor
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import FILL_NON_ZERO, Canvas

from fillgen.writers.engraver import UNITS, Drawing, outline
from fillgen.writers.layout import (
    MARGIN,
    PAGE_PIXELS,
    SIZES,
    Layout,
    PlacedDrawing,
    PlacedLine,
    Row,
    column_pixels,
    inside,
)

_FOOT = 8.0
"""The size of the page's number."""
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


def room_of(paper: tuple[float, float], columns: int = 1) -> tuple[int, int]:
    """The width and the height of drawings that fill a column, or a page but for a heading, in the engraver's units.

    >>> room_of((595.28, 841.89)), room_of((595.28, 841.89), 2)
    ((2100, 2844), (1015, 2844))
    """
    wide, high = inside(paper)
    pixels = column_pixels(columns, paper)
    return int(pixels * UNITS), int((high - 4 * SIZES[1]) * PAGE_PIXELS / wide * UNITS)


def pdf_bytes(
    rows: Sequence[Row],
    paper: tuple[float, float],
    *,
    title: str = "",
    author: str = "",
    language: str = "en",
) -> bytes:
    """Rows on numbered pages as a PDF file that says its title, its author and its language.

    The same rows give the same bytes. Letters that the fonts don't have are printed as question marks.
    """
    _register()
    found = BytesIO()
    canvas = Canvas(
        found, pagesize=paper, invariant=1, pageCompression=1, initialFontName=_PLAIN, lang=language
    )
    _describe(canvas, title or "Sheet of music", author)
    pages = Layout(*inside(paper), measured).pages(rows)
    drawings = [item.drawing for page in pages for item in page if isinstance(item, PlacedDrawing)]
    trees = {id(drawing): ET.fromstring(_whole(drawing)) for drawing in drawings}  # noqa: S314 - the engraver's own
    _define_glyphs(canvas, trees.values())
    for number, page in enumerate(pages, 1):
        for item in page:
            _put(canvas, item, trees, paper[1] - MARGIN)
        words = f"Page {number} of {len(pages)}"
        _write(canvas, words, paper[0] / 2, MARGIN / 2, _FOOT, _PLAIN, middle=True)
        canvas.showPage()
    canvas.save()
    return found.getvalue()


def _describe(canvas: Canvas, title: str, author: str) -> None:
    """What a reader shows of a file: its title in the window, its author, and what made it."""
    canvas.setTitle(title)
    canvas.setAuthor(author)
    canvas.setSubject("")
    canvas.setCreator("fillgen")
    canvas.setProducer("fillgen")
    canvas.setViewerPreference("DisplayDocTitle", "true")


def _inside(paper: tuple[float, float]) -> tuple[float, float]:
    return paper[0] - 2 * MARGIN, paper[1] - 2 * MARGIN


def measured(text: str, size: float, bold: bool) -> float:
    """The length of a text in points."""
    _register()
    return _length(text, size, _BOLD if bold else _PLAIN)


def _put(canvas: Canvas, item: PlacedLine | PlacedDrawing, trees: dict[int, Element], top: float) -> None:
    if isinstance(item, PlacedLine):
        _write(canvas, item.text, MARGIN + item.x, top - item.y, item.size, _BOLD if item.bold else _PLAIN)
        return
    canvas.saveState()
    canvas.translate(MARGIN + item.x, top - item.y)
    canvas.scale(item.scale, -item.scale)
    _draw(canvas, trees[id(item.drawing)], _PLAIN)
    canvas.restoreState()


def _whole(drawing: Drawing) -> str:
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">'
        f"{drawing.inside}</svg>"
    )


@cache
def _register() -> None:
    for name in (_PLAIN, _BOLD, _ITALIC):
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))


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
    if kind in _SHAPES and _is_coloured(element):
        canvas.saveState()
        _SHAPES[kind](canvas, element)
        canvas.restoreState()
    elif kind in _SHAPES:
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
    _paint(canvas, element)
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
    stroke, fill = _paint(canvas, element)
    canvas.ellipse(x - across, y - down, x + across, y + down, stroke=stroke, fill=fill)


def _rectangle(canvas: Canvas, element: Element) -> None:
    x, y, wide, high = (float(element.get(name, 0)) for name in ("x", "y", "width", "height"))
    stroke, fill = _paint(canvas, element)
    canvas.rect(x, y, wide, high, stroke=stroke, fill=fill)


def _is_coloured(element: Element) -> bool:
    return any(element.get(name, "").startswith("#") for name in ("stroke", "fill"))


def _paint(canvas: Canvas, element: Element) -> tuple[int, int]:
    """Set the colours that an element names; whether its line is drawn, and whether it is filled."""
    stroke, fill = element.get("stroke", ""), element.get("fill", "#000000")
    if stroke.startswith("#"):
        canvas.setStrokeColor(HexColor(stroke))
        canvas.setLineWidth(float(element.get("stroke-width", 1)))
    if fill.startswith("#"):
        canvas.setFillColor(HexColor(fill))
    return int(stroke.startswith("#")), int(fill.startswith("#"))


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
    font = _BOLD if element.get("font-weight") == "bold" else font
    canvas.saveState()
    _paint(canvas, element)
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
