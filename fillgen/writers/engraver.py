"""MEI text engraved as SVG, and the outlines of the music font: the one module that knows verovio."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from threading import Lock
from typing import Any

import verovio

from fillgen.errors import OutputError
from fillgen.writers.styles import one_line

UNITS = 2.5
"""Units of the engraver's page in a pixel of the picture, at the scale in `_OPTIONS`."""
FONT = "Leipzig"
"""The music font; it has flats and sharps for text, too."""
_TEXT_FONTS = f"Times, {FONT}, serif"
_SIGNS = {"\uea64": "♭", "\uea65": "♮", "\uea66": "♯"}
"""The engraver writes the signs of chord symbols as those of a figured bass, by the numbers of SMuFL."""
_SIGN = re.compile(f'<tspan font-family="{FONT}" font-size="720px">([{"".join(_SIGNS)}])</tspan>')
_SIGN_SIZE = "405px"
"""As high as the letters beside it: the Unicode signs of the music font are larger than its text."""
_ID = re.compile(r' id="([^"]*)"')
_ROOT = re.compile(r'<svg viewBox="0 0 (\d+) (\d+)"([^>]*) id="([^"]*)">')
_OWN = re.compile(r'id="(\w+)">')
_DESCRIPTION = re.compile(r"<desc>[^<]*</desc>")
_PLACEHOLDER = re.compile(r'<g[^>]* class="[^"]*placeholder[^"]*"><ellipse[^>]*/></g>')
_FINGER = re.compile(r'(<g class="fing"><text x=")(-?\d+)(" y="(-?\d+)")')
STEM = re.compile(r'<g class="stem"><path d="M(-?\d+) (-?\d+) L-?\d+ (-?\d+)"')
_STEM_SIDE = (60, 180)
"""How far to the right of a finger an upward stem of its own note can be."""
_ASIDE = 90
"""How far such a finger is moved away from the stem; staff lines are 180 apart."""
_FERMATA = re.compile(r'(<g class="fermata"><use[^>]* transform="translate\((-?\d+), )(-?\d+)')
_FERMATA_WIDE = 432
"""The width of a fermata."""
FINGER_HALF = 110
"""Half the width of a finger's number."""
_FERMATA_ROOM, _FERMATA_LIFT = 330, 60
"""How near above the line of a finger a fermata may be, and by how much a nearer one is lifted."""
_ALONE = Lock()
TALLEST = 60000
"""The greatest height of a drawing, in units."""

_MARGIN = 20
"""What is left free at both sides of a drawing, in units."""
_OPTIONS = {
    "scale": 40,
    "pageMarginTop": 20,
    "pageMarginBottom": 20,
    "pageMarginLeft": _MARGIN,
    "pageMarginRight": _MARGIN,
    "adjustPageHeight": True,
    "header": "none",
    "footer": "none",
    "breaks": "auto",
    "minLastJustification": 0,
    "noJustification": False,
    "spacingSystem": 3,
    "smuflTextFont": "none",
    "svgFormatRaw": True,
    "svgViewBox": True,
    "xmlIdSeed": 1,
}


@cache
def _toolkit() -> verovio.toolkit:
    verovio.enableLog(verovio.LOG_WARNING)
    return verovio.toolkit()


@contextmanager
def _loaded(score: str, name: str, options: Mapping[str, Any]) -> Iterator[verovio.toolkit]:
    """The engraver with a score, for one thread at a time; OutputError with `name` as its place if it can't read it."""
    with _ALONE:
        toolkit = _toolkit()
        toolkit.setOptions({**_OPTIONS, **options})
        if not toolkit.loadData(score):
            raise OutputError("cannot be engraved", place=name)
        yield toolkit


@dataclass(frozen=True, slots=True)
class Drawing:
    """The inside of an SVG picture, and the picture's width and height in pixels."""

    inside: str
    wide: int
    high: int


_LEAST = 0.5
"""A last line is stretched to the full width only if it fills at least this share of it, or is whole. Chosen."""


def engraved(
    score: str,
    name: str,
    width: int,
    height: int = TALLEST,
    *,
    broken: bool = False,
    whole: bool = False,
    justified: bool = True,
    margin: int = _MARGIN,
) -> tuple[Drawing, ...]:
    """A score, MEI or MusicXML, as drawings: one, or several if it doesn't fit into a height.

    `width`, `height` and the `margin` at the left are in units, 2.5 to a pixel; a drawing is just as high as its content. A score that is
    `broken` into lines keeps them; otherwise lines are filled. A last line that is `whole` is as wide as the others; none is stretched unless they are `justified`. Ids without a hyphen are dropped: a score's own ids have
    one. Those of the drawing itself end with `name`, so that a page can hold many drawings. OutputError if the engraver
    can't read the score.
    """
    options = {
        "pageWidth": width,
        "pageHeight": height,
        "breaks": "line" if broken else "auto",
        "minLastJustification": 0 if whole else _LEAST,
        "noJustification": not justified,
        "pageMarginLeft": margin,
    }
    with _loaded(score, name, options) as toolkit:
        drawn = [str(toolkit.renderToSVG(number)) for number in range(1, toolkit.getPageCount() + 1)]
    return tuple(
        _cleaned(each, name if number == 0 else f"{name}-p{number}") for number, each in enumerate(drawn)
    )


_LINE = re.compile(r'<g[^>]* class="system">')
_BAR = re.compile(r'class="measure">.*?class="staff"><path d="M(-?\d+) -?\d+ L(-?\d+) ', re.DOTALL)


def bar_widths(drawing: Drawing) -> tuple[tuple[int, ...], ...]:
    """The widths of the bars of each line of a drawing, as they are drawn, 25 to a pixel; the first with clef and key."""
    return tuple(
        tuple(int(right) - int(left) for left, right in _BAR.findall(line))
        for line in _LINE.split(drawing.inside)[1:]
    )


def one_sheet(score: str, name: str, glyphs: str, width: int, breaks: str = "encoded") -> str:
    """A score on one sheet, as the text of an `svg` element; the id of each glyph ends with `-` and `glyphs`.

    `width` is in units; `breaks` is the engraver's option that decides where systems end: `encoded` follows the score.
    OutputError with `name` as its place if the engraver can't read the score.

    >>> from fillgen.theory.metre import METRES
    >>> from fillgen.writers.notation import Score, ScoreBar, Symbol, ScoreSymbol
    >>> from fillgen.theory.pitch import Key, Name
    >>> from fillgen.writers.mei import to_mei
    >>> bar = ScoreBar(1, 1920, ((ScoreSymbol(Symbol(0, 1920, ("C5",), "w"), "a-n0"),),))
    >>> text = to_mei([Score("a", METRES["4/4"], Key(Name(0, 0), "major"), (bar,))])
    >>> 'id="E050-own"' in one_sheet(text, "a whole note", "own", 4000)
    True
    """
    options = {"breaks": breaks, "pageWidth": width, "pageHeight": TALLEST}
    with _loaded(score, name, options) as toolkit:
        drawn = str(toolkit.renderToSVG(1))
    root = _OWN.search(drawn)
    assert root is not None
    named = drawn.replace(f"-{root[1]}", f"-{glyphs}")
    return _fermatas_up(_SIGN.sub(_as_text, _PLACEHOLDER.sub("", named)))


def as_mei(score: str, name: str) -> str:
    """A score in MusicXML as MEI; OutputError if the engraver can't read it."""
    with _loaded(score, name, {}) as toolkit:
        return str(toolkit.getMEI())


def _cleaned(drawn: str, name: str) -> Drawing:
    root = _ROOT.match(drawn)
    assert root is not None
    inside = _DESCRIPTION.sub("", drawn[root.end() : -len("</svg>")].strip(), count=1)
    inside = inside.replace(root[4], f"{name}-drawing").replace(
        'font-family="Times, serif"', f'font-family="{_TEXT_FONTS}"'
    )
    inside = _PLACEHOLDER.sub("", inside)
    inside = _ID.sub(lambda found: found[0] if "-" in found[1] else "", inside)
    inside = inside.replace("<svg class", f'<svg id="{name}-drawing" class', 1)
    return Drawing(_fermatas_up(_fingers_aside(_SIGN.sub(_as_text, inside))), int(root[1]), int(root[2]))


def _fingers_aside(inside: str) -> str:
    """Move fingers to the left of an upward stem beside them, which the engraver lets touch."""
    stems = [tuple(map(int, found)) for found in STEM.findall(inside)]

    def aside(found: re.Match[str]) -> str:
        x, y = int(found[2]), int(found[4])
        touches = any(
            _STEM_SIDE[0] < at - x < _STEM_SIDE[1] and min(ends) < y < max(ends) for at, *ends in stems
        )
        return f"{found[1]}{x - _ASIDE if touches else x}{found[3]}"

    return _FINGER.sub(aside, inside)


def _fermatas_up(inside: str) -> str:
    """Lift fermatas off the fingers below them, which the engraver lets touch.

    >>> finger = '<g class="fing"><text x="250" y="948">5</text></g>'
    >>> _fermatas_up(finger + '<g class="fermata"><use transform="translate(34, 695)"/></g>').removeprefix(finger)
    '<g class="fermata"><use transform="translate(34, 635)"/></g>'
    """
    fingers = [(int(found[2]), int(found[4])) for found in _FINGER.finditer(inside)]

    def lifted(found: re.Match[str]) -> str:
        left, y = int(found[2]), int(found[3])
        right = left + _FERMATA_WIDE
        near = any(
            left - FINGER_HALF < x < right + FINGER_HALF and y < line < y + _FERMATA_ROOM
            for x, line in fingers
        )
        return f"{found[1]}{y - _FERMATA_LIFT * near}"

    return _FERMATA.sub(lifted, inside)


def _as_text(found: re.Match[str]) -> str:
    return f'<tspan font-size="{_SIGN_SIZE}">{_SIGNS[found[1]]}</tspan>'


def _data() -> Path:
    return Path(verovio.__file__).parent / "data"


@cache
def font_css() -> str:
    """The music font as a CSS rule, for the flats and sharps of chord symbols; a page needs it once."""
    return one_line((_data() / f"{FONT}.css").read_text(encoding="ascii"))


@cache
def outline(letter: str) -> tuple[str, int]:
    """The outline of a letter of the music font as SVG path data, y upwards, and its advance, 1000 units an em.

    KeyError if the font doesn't have the letter.

    >>> outline("♭")[1]
    269
    """
    code = f"{ord(letter):04X}"
    path = _data() / FONT / f"{code}.xml"
    if not path.exists():
        raise KeyError(letter)
    found = re.search(r' d="([^"]*)"', path.read_text(encoding="utf-8"))
    return found[1] if found else "", _advances()[code]


@cache
def _advances() -> dict[str, int]:
    text = (_data() / f"{FONT}.xml").read_text(encoding="utf-8")
    pairs = re.findall(r'<g c="([0-9A-F]+)"[^>]* h-a-x="(\d+)"', text)
    return {code: int(advance) for code, advance in pairs}
