"""A handout: rows of words, music and keyboards, as PDF, as a page to print, as a picture, or as its music alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import count, groupby
from xml.sax.saxutils import escape

from fillgen.errors import OptionError, printable
from fillgen.writers.engraver import FONT, Drawing, font_css
from fillgen.writers.layout import MARGIN, PAGE_PIXELS, Cell, Layout, Picture, PlacedLine, Row, Words, inside
from fillgen.writers.look import PAPERS, SheetOptions
from fillgen.writers.mei import to_mei
from fillgen.writers.musicxml import score_bytes
from fillgen.writers.notation import Score
from fillgen.writers.sheet import author_tag
from fillgen.writers.styles import css

_XMLNS = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'


@dataclass(frozen=True)
class Handout:
    """A handout: its title, what comes below it, and the music in it as scores."""

    title: str
    rows: tuple[Row, ...]
    scores: tuple[Score, ...]


def render_handout(handout: Handout, look: SheetOptions, kind: str) -> bytes:
    """A handout as a file of a kind: pdf, html, svg, musicxml or mei. OptionError if the kind needs music and there's none."""
    return _MAKERS[kind](handout, look)


def _head(handout: Handout) -> tuple[Row, ...]:
    return (Row(((Words(handout.title, 1),),), leads=True), *handout.rows)


def _pdf(handout: Handout, look: SheetOptions) -> bytes:
    from fillgen.writers.pdf import pdf_bytes  # noqa: PLC0415 - reportlab is loaded for pages only

    return pdf_bytes(_head(handout), PAPERS[look.paper], title=handout.title, author=look.author)


def _scores(handout: Handout) -> Sequence[Score]:
    if not handout.scores:
        raise OptionError("there is no music in this", hint="Write it to .pdf, .html or .txt.")
    return handout.scores


def _musicxml(handout: Handout, _: SheetOptions) -> bytes:
    return score_bytes(_scores(handout), handout.title)


def _mei(handout: Handout, _: SheetOptions) -> bytes:
    return to_mei(_scores(handout), handout.title).encode()


# A picture

_FONTS = f"'DejaVu Sans', Verdana, {FONT}, sans-serif"


def _svg(handout: Handout, look: SheetOptions) -> bytes:
    """The whole handout as one long page."""
    from fillgen.writers.pdf import measured  # noqa: PLC0415 - words are measured there

    room, _ = inside(PAPERS[look.paper])
    (page,) = Layout(room, float("inf"), measured).pages(_head(handout))
    parts = []
    bottom = 0.0
    for item in page:
        x, y = item.x + MARGIN, item.y + MARGIN
        if isinstance(item, PlacedLine):
            weight = ' font-weight="bold"' if item.bold else ""
            parts.append(
                f'<text x="{x:.1f}" y="{y:.1f}" font-size="{item.size}"{weight}>{escape(item.text)}</text>'
            )
            bottom = max(bottom, y)
        else:
            high = item.drawing.high * item.scale
            parts.append(
                f'<svg x="{x:.1f}" y="{y:.1f}" width="{item.drawing.wide * item.scale:.1f}" height="{high:.1f}" '
                f'viewBox="0 0 {item.drawing.wide} {item.drawing.high}">{item.drawing.inside}</svg>'
            )
            bottom = max(bottom, y + high)
    wide, high = round(room + 2 * MARGIN), round(bottom + MARGIN)
    pixels = PAGE_PIXELS / room
    described = " ".join(_descriptions(handout.rows))
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<svg {_XMLNS} width="{wide * pixels:.0f}" height="{high * pixels:.0f}" '
        f'viewBox="0 0 {wide} {high}" font-family="{_FONTS}" role="img" aria-labelledby="title words">'
        f'<title id="title">{escape(handout.title)}</title><desc id="words">{escape(described)}</desc>'
        f'<style>{font_css()}</style><rect width="100%" height="100%" fill="#fff"/>{"".join(parts)}</svg>\n'
    ).encode()


def _descriptions(rows: Sequence[Row]) -> Iterator[str]:
    for row in rows:
        for cell in row.cells:
            yield from (f"{piece.name}: {piece.described}" for piece in cell if isinstance(piece, Picture))


# A page


def _html(handout: Handout, look: SheetOptions) -> bytes:
    """A page that needs no other file: one column on a telephone, on paper as the PDF has it."""
    wide, _ = inside(PAPERS[look.paper])
    size = {"a4": "A4", "letter": "letter"}[look.paper]
    unit = f"{wide / PAGE_PIXELS:.4f}pt"
    style = font_css() + css("handout", font=FONT, paper=size, unit=unit)
    writer = _Writer(handout.rows)
    title = escape(handout.title)
    body = "\n".join(map(writer.row, handout.rows))
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"/>'
        '<meta name="viewport" content="width=device-width, initial-scale=1"/>'
        f"{author_tag(look.author)}<title>{title}</title><style>{style}</style></head>\n"
        f"<body><main><h1>{title}</h1>\n{body}\n</main></body></html>\n"
    ).encode()


class _Writer:
    """Writes rows as HTML: headings go down in steps of one, pictures have numbers."""

    def __init__(self, rows: Sequence[Row]) -> None:
        pieces = [piece for row in rows for cell in row.cells for piece in cell]
        levels = sorted({piece.level for piece in pieces if isinstance(piece, Words) and piece.level})
        self._tags = {level: f"h{number}" for number, level in enumerate(levels, 2)} | {0: "p"}
        self._pictures = count(1)

    def row(self, row: Row) -> str:
        """The cells of a row, side by side where there is room."""
        looks = f"row of-{row.columns}{' leads' if row.leads else ''}"
        return f'<div class="{looks}">{"".join(map(self._cell, row.cells))}</div>'

    def _cell(self, cell: Cell) -> str:
        """The pieces of a cell; bullets that follow one another are one list."""
        parts = []
        for is_list, pieces in groupby(cell, key=lambda piece: isinstance(piece, Words) and piece.bullet):
            inside = "".join(
                self._words(piece) if isinstance(piece, Words) else self._picture(piece) for piece in pieces
            )
            parts.append(f"<ul>{inside}</ul>" if is_list else inside)
        return f'<div class="cell">{"".join(parts)}</div>'

    def _words(self, words: Words) -> str:
        tag = "li" if words.bullet else self._tags[words.level]
        looks = [f"size-{words.level}"] * bool(words.level) + ["marked"] * (words.mark is not None)
        mark = _drawn(words.mark, 'class="mark" aria-hidden="true"') if words.mark else ""
        look = f' class="{" ".join(looks)}"' if looks else ""
        return f"<{tag}{look}>{mark}<span>{escape(words.text)}</span></{tag}>"

    def _picture(self, picture: Picture) -> str:
        number = next(self._pictures)
        attributes = (
            f'role="img" aria-labelledby="pic-{number}-title pic-{number}-words" '
            f'style="width:calc({picture.drawing.wide} * var(--unit))"'
        )
        said = (
            f'<title id="pic-{number}-title">{escape(picture.name)}</title>'
            f'<desc id="pic-{number}-words">{escape(picture.described)}</desc>'
        )
        drawn = _drawn(picture.drawing, attributes, said)
        if picture.drawing.wide > _PHONE:
            label = escape(picture.name, {'"': "&quot;"})
            return f'<div class="wide" tabindex="0" role="group" aria-label="{label}">{drawn}</div>'
        if not picture.beside:
            return drawn
        return f'<div class="beside">{drawn}<div>{"".join(map(self._words, picture.beside))}</div></div>'


_PHONE = 500
"""Music that is wider than this, in pixels, is moved sideways on a telephone instead of made small."""


def _drawn(drawing: Drawing, attributes: str, said: str = "") -> str:
    return (
        f'<svg viewBox="0 0 {drawing.wide} {drawing.high}" {_XMLNS} {attributes}>{said}{drawing.inside}</svg>'
    )


_MAKERS: Mapping[str, Callable[[Handout, SheetOptions], bytes]] = {
    "pdf": _pdf,
    "html": _html,
    "svg": _svg,
    "musicxml": _musicxml,
    "mei": _mei,
}


def titled(look: SheetOptions, title: str, otherwise: str) -> str:
    """The title of a handout: the requested one, the chart's, or what it is.

    >>> titled(SheetOptions(), "Two Lanterns", "The left hand"), titled(SheetOptions(title="Monday"), "", "The left hand")
    ('Two Lanterns: the left hand', 'Monday')
    """
    if look.title:
        return printable(look.title).strip() or otherwise
    shown = printable(title).strip()
    return f"{shown}: {otherwise[0].lower()}{otherwise[1:]}" if shown else otherwise
