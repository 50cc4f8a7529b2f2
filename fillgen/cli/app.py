"""The program: its commands come together here, and every error ends in a line or two."""

from __future__ import annotations

import contextlib
import gc
import signal
import sys
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from importlib import import_module
from itertools import chain
from typing import Annotated

import typer

from fillgen.cli.signature import Strict, StrictGroup
from fillgen.cli.streams import GONE, outlets
from fillgen.errors import FillgenError
from fillgen.version import __version__

TASKS: Mapping[str, Sequence[str]] = {
    "Find, vary and check ideas": ("ideas", "vary", "check"),
    "Chords and the left hand": ("sequences", "notes", "voicings"),
    "Practise and play": ("practice", "play", "listen", "ports"),
    "Tunes, folders of charts, and what you keep": ("tune", "batch", "book"),
    "The page, the rules, the guide": ("page", "rules", "help"),
}
"""The commands by what they are for, as they are listed."""
COMMANDS = tuple(chain.from_iterable(TASKS.values()))
"""Each command has a module of its name."""
WELCOME = """\
fillgen finds right-hand ideas for a chord chart. Begin with one of these:

  fillgen page
      a page in your browser: type chords, listen, choose
  fillgen ideas "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |" --rhythm foxtrot
      fifty ideas over your chords, best first
  fillgen ideas --sequence "waltz turnaround" --for intro -o intro.mid
      an intro with the whole band, as a MIDI file

And then:

  fillgen help              the guide, a page for each task
  fillgen --help            all commands
  fillgen COMMAND --help    the options of one, with examples

Practise in short sessions, stop when a hand hurts, and keep headphones low."""
_OBJECTS_BEFORE_SWEEP = 50_000
"""A command lives for less than a second: looking for garbage often would take a twentieth of it."""


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"fillgen {__version__}")
        raise typer.Exit


class Front(StrictGroup):
    """The program as a group of commands."""

    tasks = TASKS


def _fillgen(
    context: typer.Context,
    version: Annotated[  # noqa: ARG001 - its callback prints it
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Handle the options before a command; without a command, show how to begin."""
    if context.invoked_subcommand is None:
        typer.echo(WELCOME)


def program(names: Sequence[str] = COMMANDS) -> typer.Typer:
    """The program with its commands, or with some of them: the fewer, the sooner it starts."""
    made = typer.Typer(
        name="fillgen",
        help="Right-hand ideas for a chord chart: intros, turnarounds, endings and fills that fit every chord.",
        epilog="Practise in short sessions, stop when a hand hurts, and keep headphones low. "
        "Ask a teacher or a doctor about pain that doesn't go away.",
        callback=_fillgen,
        cls=Front,
        invoke_without_command=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
    )
    for name in names:
        module = import_module(f"fillgen.cli.{name}")
        if name == "book":
            made.add_typer(module.app)
        else:
            made.command(cls=Strict)(getattr(module, name))
    return made


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line; exit with 2 and a message of a line or two for bad input, with 130 after Ctrl-C."""
    with outlets() as streams:
        try:
            _take_interrupts()
            if arguments is None:
                gc.set_threshold(_OBJECTS_BEFORE_SWEEP)
            given = list(arguments) if arguments is not None else sys.argv[1:]
            code = _run(given)
        except KeyboardInterrupt:
            typer.echo("fillgen: stopped.", err=True)
            code = 130
        finally:
            _leave_interrupts(arguments)
        sys.exit(GONE if code == 0 and any(stream.gone for stream in streams) else code)


@lru_cache(maxsize=32)
def _command(names: tuple[str, ...]) -> Callable[..., object]:
    """The program with some of its commands, put together once."""
    return typer.main.get_command(program(names))


def _run(given: Sequence[str]) -> int:
    """The exit code of a command."""
    try:
        named = (given[0],) if given[:1] and given[0] in COMMANDS else COMMANDS
        code = _command(named)(args=list(given), prog_name="fillgen", standalone_mode=False)
    except FillgenError as error:
        return _failed(f"fillgen: {error}")
    except BrokenPipeError:
        return GONE
    except OSError as error:
        return _failed(f"fillgen: can't go on: {error.strerror or error}.")
    except Exception as error:
        format_message = getattr(error, "format_message", None)
        if format_message is None:
            raise
        if "Usage:" in format_message():
            return _failed(format_message())
        from fillgen.cli.mistakes import said

        return _failed(f"fillgen: {said(error) or format_message()}")
    return code if isinstance(code, int) else 0


def _take_interrupts() -> None:
    """Let Ctrl-C be an exception from here on, where the front door made it end the program at once."""
    with contextlib.suppress(ValueError):  # only the first thread may say what signals do
        if signal.getsignal(signal.SIGINT) is signal.SIG_DFL:
            signal.signal(signal.SIGINT, signal.default_int_handler)


def _leave_interrupts(arguments: Sequence[str] | None) -> None:
    """Let Ctrl-C end a program that has nothing left to do."""
    with contextlib.suppress(ValueError):
        if arguments is None and signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            signal.signal(signal.SIGINT, signal.SIG_DFL)


def _failed(message: str) -> int:
    """Say what is wrong; the exit code."""
    typer.echo(message, err=True)
    return 2
