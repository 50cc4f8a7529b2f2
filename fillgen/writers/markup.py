"""Web pages and pictures as trees of elements, with their style sheets and colours.

Text only ever goes in as the text of an element, so that whatever a chart holds comes out as text. A page needs
nothing but itself: no script, no font, no request.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from functools import cache
from importlib.resources import files
from string import Template
from xml.etree.ElementTree import Element, SubElement

from fillgen.errors import printable

# Elements


def put(parent: Element, tag: str, text: str = "", look: str = "", **attributes: object) -> Element:
    """Add an element to the end of another, without control characters in its text.

    `look` is its class. In the names of `attributes` an underscore stands for a hyphen; one at the end is dropped.

    >>> row = put(Element("tr"), "td", "A flat", "note", aria_label="pitch", for_=1)
    >>> ET.tostring(row, encoding="unicode")
    '<td class="note" aria-label="pitch" for="1">A flat</td>'
    """
    child = SubElement(parent, tag, ({"class": look} if look else {}) | _named(attributes))
    child.text = printable(text) or None
    return child


def _named(attributes: dict[str, object]) -> dict[str, str]:
    return {name.strip("_").replace("_", "-"): str(value) for name, value in attributes.items()}


def new_page(title: str, style: str) -> tuple[Element, Element]:
    """An empty web page with a title and a style sheet, and its body."""
    page = Element("html", {"lang": "en"})
    head = put(page, "head")
    put(head, "meta", charset="utf-8")
    put(head, "meta", name="viewport", content="width=device-width, initial-scale=1")
    put(head, "title", title)
    put(head, "style", style)
    return page, put(page, "body")


def new_table(caption: str, heads: Iterable[str]) -> Element:
    """A table with its head row. The roles keep it a table for screen readers when a narrow screen restyles it."""
    table = Element("table", {"role": "table"})
    put(table, "caption", caption)
    row = put(put(table, "thead", role="rowgroup"), "tr", role="row")
    for head in heads:
        put(row, "th", head, scope="col", role="columnheader")
    return table


def page_text(page: Element) -> str:
    """A page as HTML that is XML as well."""
    return f"<!DOCTYPE html>\n{ET.tostring(page, encoding='unicode')}\n"


# Style sheets


@dataclass(frozen=True, slots=True)
class Palette:
    """The colours of a page as CSS names them: ground, text, text of less weight, links, and lines between things.

    `scheme` is light or dark.
    """

    scheme: str
    ground: str
    ink: str
    soft: str
    link: str
    line: str


LIGHT = Palette("light", "#ffffff", "#1d1c1a", "#57534c", "#0a4c54", "#cbc6bc")
DARK = Palette("dark", "#17181b", "#ecebe7", "#b5b1a8", "#8fd0d6", "#44464b")


def css(name: str, palette: Palette | None = None, **values: str) -> str:
    """The style sheet `assets/NAME.css` on one line, each `$word` in it replaced by its value or its colour.

    KeyError for a word that has no value.

    >>> css("notes-colours", LIGHT)[:40]
    ':root{color-scheme:light}body{background'
    """
    colours = asdict(palette) if palette else {}
    return Template(_sheet(name)).substitute(colours | values)


@cache
def _sheet(name: str) -> str:
    return one_line(files(__package__).joinpath("assets", f"{name}.css").read_text(encoding="utf-8"))


def one_line(sheet: str) -> str:
    r"""A style sheet without its line breaks and indents.

    >>> one_line("@media print{\n  nav{display:none}\n}\n")
    '@media print{nav{display:none}}'
    """
    return "".join(line.strip() for line in sheet.splitlines())


def themed(*sheets: str, colours: str, paper: str) -> str:
    """The style of a page: its own sheets, then the dark colours at night, and light ones with `paper` in print.

    `colours` and `paper` name style sheets.
    """
    dark, light = css(colours, DARK), css(colours, LIGHT)
    night = f"@media (prefers-color-scheme: dark){{{dark}}}"
    return "".join([*sheets, night, f"@media print{{{light}{css(paper)}}}"])
