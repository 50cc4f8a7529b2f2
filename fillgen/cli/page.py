"""The command `page`: the local page in a browser."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Annotated

import typer

from fillgen.app.memory import keeps
from fillgen.app.options import OPTIONS, BookOptions, ChordOptions, Option
from fillgen.cli.inputs import written_chart
from fillgen.cli.signature import grouped

CHART = Option((), "A chart to begin with: text, a file, or - for standard input.", metavar="CHART")
PORT = Option(("--port",), "The port on this computer. [default: a free one]", int)
DESKTOP = Option(("--desktop",), "Put an icon that opens the page into your menu, and start nothing.", bool)
NO_BROWSER = Option(("--no-browser",), "Print the address only; open no browser.", bool)


@grouped()
def page(
    *,
    chart: Annotated[str | None, CHART] = None,
    sequence: Annotated[str | None, OPTIONS[ChordOptions]["sequence"]] = None,
    port: Annotated[int, PORT] = 0,
    no_browser: Annotated[bool, NO_BROWSER] = False,
    desktop: Annotated[bool, DESKTOP] = False,
    book: BookOptions,
) -> None:
    """A page in your browser: charts, ideas that are seen and heard, practice, and the idea book.

    Only this computer can reach it, at an address that is new each time. Ctrl-C ends it.
    """
    if desktop:
        _install()
        return
    remembers = keeps(book)
    begin_with = _checked(written_chart(chart, sequence))
    from fillgen.server.serving import loopback, page_of, serve

    with loopback(port) as (listening, door):
        app = page_of(door, chart=begin_with, book=_named(book.book) if remembers else None, log=_log)

        def ready() -> None:
            typer.echo(door.address)
            typer.echo(
                "The page is there until you press Ctrl-C. Keep headphones and amplifiers low.", err=True
            )
            if not no_browser:
                threading.Thread(target=_open, args=(door.once,), daemon=True).start()

        serve(app, listening, ready)
    typer.echo("The page is closed.", err=True)


def _install() -> None:
    """Put the icon into the menu, and say what was written and how to remove it."""
    import os
    import sys

    from fillgen.app.desktop import UNTRIED, install

    for path in install(os.environ, Path.home()):
        typer.echo(f"written: {path}")
    typer.echo(
        "fillgen is in your menu now; close its window to end the page. To remove it, delete what was written."
    )
    if sys.platform in UNTRIED:
        typer.echo(f"Note: on {UNTRIED[sys.platform]} this hasn't been tried yet.", err=True)


def _checked(text: str | None) -> str:
    """The text of a chart that can be read; nothing where none is given."""
    if text is None:
        return ""
    from fillgen.chart.text import parse_chart

    parse_chart(text)
    return text


def _named(book: Path | None) -> str:
    """The book as the server takes it, empty for the usual one."""
    return "" if book is None else str(book.absolute())


def _open(address: str) -> None:
    import webbrowser

    if not webbrowser.open(address):
        typer.echo("No browser could be opened: copy the address into one.", err=True)


def _log(line: str) -> None:
    typer.echo(f"fillgen page: {line}", err=True)
