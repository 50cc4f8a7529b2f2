"""The command `page`: the local page in a browser."""

from __future__ import annotations

import contextlib
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TextIO

import typer

from fillgen.app.memory import keeps
from fillgen.app.options import OPTIONS, BookOptions, ChordOptions, Option
from fillgen.cli.inputs import named_chart, written_chart
from fillgen.cli.signature import grouped
from fillgen.errors import OptionError

if TYPE_CHECKING:
    from fillgen.server.guard import Door

CHART = Option((), "The chart to open with: text, a file, or - for standard input.", metavar="CHART")
DESKTOP = Option(("--desktop",), "Add an icon for the page to your menu, and don't start it.", bool)
PORT = Option(("--port",), "The port on this computer; 0 for any free one. [default: 61753]", int)
NEW_ADDRESS = Option(("--new-address",), "Use a new address; the old one stops working.", bool)
NO_BROWSER = Option(("--no-browser",), "Print the address, and don't open a browser.", bool)
SHARE = Option(("--share",), "Let other devices on the local network open the page.", bool)
ADDRESS = Option(
    ("--address",), "With --share: which of this computer's addresses to use, if it has several."
)


@grouped()
def page(
    *,
    chart: Annotated[str | None, CHART] = None,
    sequence: Annotated[str | None, OPTIONS[ChordOptions]["sequence"]] = None,
    port: Annotated[int | None, PORT] = None,
    new_address: Annotated[bool, NEW_ADDRESS] = False,
    share: Annotated[bool, SHARE] = False,
    address: Annotated[str | None, ADDRESS] = None,
    no_browser: Annotated[bool, NO_BROWSER] = False,
    desktop: Annotated[bool, DESKTOP] = False,
    book: BookOptions,
) -> None:
    """A page in your browser: charts, ideas to see and hear, practice, and the idea book.

    Only this computer can reach it, unless you share it. Its address stays the same. Ctrl-C ends it.
    """
    if desktop:
        _install()
        return
    remembers = keeps(book)
    with named_chart(chart):
        begin_with = _checked(written_chart(chart, sequence))
    if address is not None and not share:
        raise OptionError("--address needs --share", hint="Add --share.")
    from fillgen.server.addresses import kept_token, network_address
    from fillgen.server.serving import loopback, network, page_of, serve

    at = network_address(address) if share else None
    with contextlib.ExitStack() as stack:
        doors = [stack.enter_context(loopback(port, kept_token(renew=new_address)))]
        if at is not None:
            doors.append(stack.enter_context(network(at, doors[0][1].port)))
        own, *shared = [door for _, door in doors]
        book_name = _named(book.book) if remembers else None
        app = page_of(own, *shared, chart=begin_with, book=book_name, log=_log)

        def ready() -> None:
            typer.echo(own.address)
            if port is None:
                _say_other_port(own)
            for door in shared:
                _say_shared(door, remembers)
            typer.echo(
                "The page stays open until you press Ctrl-C. Keep headphones and amplifiers low.", err=True
            )
            if not no_browser:
                threading.Thread(target=_open, args=(own.once,), daemon=True).start()

        serve(app, [listening for listening, _ in doors], ready)
    typer.echo("The page is closed.", err=True)


def _install() -> None:
    """Put the icon into the menu, and say what was written and how to remove it."""
    import os
    import sys

    from fillgen.app.desktop import UNTRIED, install

    for path in install(os.environ, Path.home()):
        typer.echo(f"written: {path}")
    typer.echo(
        "fillgen is in your menu now. It opens a terminal window too: close that one to end the page. To remove it, delete these files."
    )
    if sys.platform in UNTRIED:
        typer.echo(f"Note: on {UNTRIED[sys.platform]} this hasn't been tried yet.", err=True)


def _say_other_port(door: Door) -> None:
    """Say so if the usual port was taken."""
    from fillgen.server.addresses import PORT

    if door.port != PORT:
        typer.echo(
            f"Port {PORT} is taken, perhaps by a page that is already running, so this page is on port {door.port}. "
            "What your browser keeps for the usual address isn't here.",
            err=True,
        )


def _say_shared(door: Door, remembers: bool) -> None:
    """The address in the local network, its code, and who can do what with it."""
    from fillgen.writers.qr import qr_text

    typer.echo(door.address)
    if _can_draw(sys.stderr):
        typer.echo(qr_text(door.address, colours=sys.stderr.isatty()), err=True)
    typer.echo(
        "The page is shared: whoever has this address and is on your local network can use it"
        f"{', and see and change your idea book' if remembers else ''}. Nothing is encrypted (plain HTTP), so share only "
        "on a network that you trust. The address is new at each start.\n"
        "Playing works on the other devices. A MIDI keyboard can be heard on this computer only, where browsers allow it. "
        "If the page doesn't open there, a firewall may be in the way.",
        err=True,
    )


def _can_draw(stream: TextIO) -> bool:
    """Whether a stream has the half blocks that a code is drawn with."""
    try:
        "\u2580\u2584\u2588".encode(stream.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True


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
        typer.echo("No browser opened. Copy the address into one.", err=True)


def _log(line: str) -> None:
    typer.echo(f"fillgen page: {line}", err=True)
