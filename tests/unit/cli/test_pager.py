"""The pager: on a terminal only, for what is longer than it; whatever it does, the answer is read or printed, without a traceback."""

from __future__ import annotations

import errno
import os
import shlex
import struct
import subprocess
import sys
from pathlib import Path

import pytest

from tests.processes import unmeasured

fcntl, pty, termios = (
    pytest.importorskip(name, reason="Windows has no pseudo-terminals")
    for name in ("fcntl", "pty", "termios")
)

LONG = ("rules",)
SHORT = ("rules", "leap-limit")
STAMP = "READ IN THE PAGER"
STAMPED = f'import sys; print("{STAMP}"); print(sys.stdin.read())'
QUITS = f'import sys; sys.stdin.readline(); print("{STAMP}")'


def python(code: str) -> str:
    """A pager that is a line of Python."""
    return shlex.join([sys.executable, "-c", code])


def on_terminal(*arguments: str, rows: int = 24, columns: int = 80, **more: str) -> tuple[int, str]:
    """The exit code of a command on a terminal of some size, and all that the terminal shows."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
    kept = {name: value for name, value in unmeasured().items() if name not in ("COLUMNS", "LINES", "PAGER")}
    process = subprocess.Popen(
        [sys.executable, "-m", "fillgen", *arguments],
        stdin=subprocess.DEVNULL,
        stdout=theirs,
        stderr=theirs,
        env={**kept, "TERM": "xterm", "FILLGEN_NO_BOOK": "1", **more},
    )
    os.close(theirs)
    shown = b""
    try:
        while piece := os.read(ours, 65536):
            shown += piece
    except OSError as error:  # Linux says so where the other end is closed
        if error.errno != errno.EIO:
            raise
    finally:
        os.close(ours)
    return process.wait(), shown.decode().replace("\r\n", "\n")


@pytest.mark.parametrize(
    ("arguments", "more", "is_paged"),
    [
        (LONG, {}, True),
        (SHORT, {}, False),
        ((*LONG, "--no-pager"), {}, False),
        (LONG, {"TERM": "dumb"}, False),
    ],
)
def test_what_is_paged(arguments: tuple[str, ...], more: dict[str, str], is_paged: bool) -> None:
    """An answer longer than the terminal goes through the pager, unless that isn't wanted or the terminal can't."""
    code, shown = on_terminal(*arguments, **{"PAGER": python(STAMPED), **more})
    assert code == 0
    assert shown.startswith(STAMP) == is_paged
    printed = subprocess.run(
        [sys.executable, "-m", "fillgen", *arguments],
        capture_output=True,
        text=True,
        check=True,
        env=unmeasured(),
    ).stdout
    assert shown.removeprefix(STAMP).strip() == printed.strip()


def test_what_fits_a_tall_terminal_is_printed() -> None:
    """It depends on the terminal: what is paged on 24 rows is not on 400."""
    code, shown = on_terminal(*LONG, rows=400, PAGER=python(STAMPED))
    assert (code, STAMP in shown) == (0, False)


def test_no_pager_without_a_terminal() -> None:
    """What goes into a pipe or a file is never paged."""
    done = subprocess.run(
        [sys.executable, "-m", "fillgen", *LONG],
        capture_output=True,
        text=True,
        check=True,
        env={**unmeasured(), "TERM": "xterm", "PAGER": python(STAMPED)},
    )
    assert STAMP not in done.stdout
    assert len(done.stdout.splitlines()) > 24


@pytest.mark.parametrize("named", ["", "no-such-pager-here", "env no-such-pager-here", '"', os.curdir])
def test_a_pager_that_cannot_run_costs_nothing(named: str) -> None:
    """The answer is printed, and the exit code is 0."""
    code, shown = on_terminal(*LONG, PAGER=named)
    assert code == 0
    assert "Traceback" not in shown
    assert "  leap-limit  " in shown
    assert "Rule packs" in shown


def test_leaving_the_pager_early_is_no_failure() -> None:
    """A reader who quits after a line has seen enough: exit code 0, not that of a broken pipe, and what comes after is said."""
    code, shown = on_terminal(
        "check", "| C | G7 |" * 40, " | ".join(["C5q E5q G5q E5q", "G5q F5q D5h"] * 40), PAGER=python(QUITS)
    )
    assert code == 0, shown
    assert shown.strip() == STAMP


def test_the_exit_code_is_that_of_the_command() -> None:
    """A phrase that clashes has exit code 1, paged or not."""
    phrase = " | ".join(["C5q F#5q C5h"] * 40)
    code, shown = on_terminal("check", "| C " * 40 + "|", phrase, PAGER=python(STAMPED))
    assert code == 1
    assert STAMP in shown


def test_interrupting_the_pager_stops_the_program() -> None:
    """A pager that Ctrl-C ends stops the command, quietly and with the usual code."""
    ends = (
        "import os, signal; signal.signal(signal.SIGINT, signal.SIG_DFL); os.kill(os.getpid(), signal.SIGINT)"
    )
    code, shown = on_terminal(*LONG, PAGER=python(ends))
    assert (code, shown) == (130, "")


def test_ctrl_c_belongs_to_the_pager() -> None:
    """The program stays while the pager, which lives through Ctrl-C, is read."""
    lives = (
        f'import os, signal, sys; os.kill(os.getppid(), signal.SIGINT); sys.stdin.read(); print("{STAMP}")'
    )
    code, shown = on_terminal(*LONG, PAGER=python(lives))
    assert (code, shown) == (0, f"{STAMP}\n")


@pytest.mark.costly
@pytest.mark.parametrize(("columns", "widest"), [(50, 60), (66, 66), (80, 80), (300, 120)])
def test_lines_fit_the_terminal(columns: int, widest: int) -> None:
    """Lines are as long as the terminal is wide, from 60 to 120 characters."""
    code, shown = on_terminal(*LONG, columns=columns, PAGER="")
    longest = max(map(len, shown.splitlines()))
    assert code == 0
    assert widest - 12 <= longest <= widest


def test_a_file_is_the_same_from_every_terminal(tmp_path: Path) -> None:
    """Text in a file has lines of the usual length, whatever the terminal."""
    written = []
    for columns in (60, 200):
        path = tmp_path / f"{columns}.txt"
        assert on_terminal("notes", "| Ab | Eb7 |", "-o", str(path), columns=columns)[0] == 0
        written.append(path.read_bytes())
    assert written[0] == written[1]
