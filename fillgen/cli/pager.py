"""Long answers on a terminal, shown by the program that the reader likes to read with."""

from __future__ import annotations

import contextlib
import os
import shlex
import shutil
import signal
import sys
from collections.abc import Iterator, Sequence
from subprocess import PIPE, Popen

_ROWS = 24
"""The rows of a terminal that doesn't say how many it has."""
_NOT_RUN = (126, 127)
"""What a shell or `env` ends with where it can't run a program (POSIX)."""
_LESS = {"LESS": r"-FRXPs space\: more, q\: end$"}
"""How `less` works where the environment doesn't say: it ends by itself on a short text, leaves the text on the screen, and
says which keys go on and end."""


def paged(text: str) -> bool:
    """Show a text in the pager if standard output is a terminal and the text is longer than it; whether it was shown.

    The pager is the one of the environment (PAGER), else `less` or `more`. Nothing is shown where PAGER is empty or can't be
    run, or where a terminal can do little more than print. A reader who stops early has seen enough; Ctrl-C that ends the
    pager is a KeyboardInterrupt.
    """
    if sys.stdout is None or not sys.stdout.isatty() or not _is_long(text):
        return False
    command = pager()
    if not command:
        return False
    sys.stdout.flush()
    with _interrupts_left_to_it():
        try:
            code = _read_in(command, text)
        except (OSError, ValueError):  # ValueError: the name of a program with a null character
            return False
    if code in (-signal.SIGINT, 128 + signal.SIGINT):
        raise KeyboardInterrupt
    return code not in _NOT_RUN


def pager() -> Sequence[str]:
    """The pager's command in words; empty if there is no pager or it isn't wanted."""
    if os.environ.get("TERM", "") in ("", "dumb") and sys.platform != "win32":
        return ()
    named = os.environ.get("PAGER")
    if named is not None:
        try:
            return shlex.split(named, posix=sys.platform != "win32")
        except ValueError:
            return ()
    if sys.platform == "win32":
        return ()
    return next(([name] for name in ("less", "more") if shutil.which(name)), ())


def _is_long(text: str) -> bool:
    """Whether a text and the line of the prompt after it have more rows than the terminal."""
    size = shutil.get_terminal_size((80, _ROWS))
    rows = sum(max(1, -(-len(line) // max(size.columns, 1))) for line in text.splitlines())
    return rows >= size.lines


def _read_in(command: Sequence[str], text: str) -> int:
    """Give a text to the pager and wait until it ends; its exit code. It may end before it has read everything."""
    encoded = f"{text}\n".encode(sys.stdout.encoding or "utf-8", "backslashreplace")
    with Popen(command, stdin=PIPE, stdout=sys.stdout, env={**_LESS, **os.environ}) as process:  # noqa: S603 - the reader's own
        process.communicate(encoded)
    return process.returncode


@contextlib.contextmanager
def _interrupts_left_to_it() -> Iterator[None]:
    """While the block runs Ctrl-C goes by this program; the pager, which is at the same terminal, does with it what it does."""
    usual = None
    with contextlib.suppress(ValueError):  # only the first thread may say what signals do
        usual = signal.getsignal(signal.SIGINT)
        if usual is not signal.SIG_IGN:
            # a function, not SIG_IGN: the pager, a new program, begins with what is usual
            signal.signal(signal.SIGINT, lambda *_: None)
    try:
        yield
    finally:
        with contextlib.suppress(ValueError):
            if usual is not None:
                signal.signal(signal.SIGINT, usual)
