"""Style sheets of pages: a page needs nothing but itself, no script, no font, no request."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from string import Template


def css(name: str, **values: str) -> str:
    """The style sheet `assets/NAME.css` on one line, each `$word` in it replaced by its value.

    KeyError for a word that has no value.

    >>> css("sheet", font="Leipzig", paper="A4")[:23]
    '*{box-sizing:border-box'
    """
    return Template(_sheet(name)).substitute(values)


@cache
def _sheet(name: str) -> str:
    return one_line(files(__package__).joinpath("assets", f"{name}.css").read_text(encoding="utf-8"))


def one_line(sheet: str) -> str:
    r"""A style sheet without its line breaks and indents.

    >>> one_line("@media print{\n  nav{display:none}\n}\n")
    '@media print{nav{display:none}}'
    """
    return "".join(line.strip() for line in sheet.splitlines())
