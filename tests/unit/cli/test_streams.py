"""The program's streams: closed, broken or narrow, and Ctrl-C at any moment. No traceback, nothing lost, the promised codes."""

from __future__ import annotations

import os
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.processes import unmeasured

FILLGEN = (sys.executable, "-m", "fillgen")
CHART = "| Ab | Eb7 |"


def shell(line: str, folder: Path, **more: str) -> subprocess.CompletedProcess[str]:
    """A command line as a shell runs it, `fillgen` being this one."""
    command = line.replace("fillgen", shlex.join(FILLGEN), 1)
    environment = {**unmeasured(), "FILLGEN_NO_BOOK": "1", **more}
    return subprocess.run(
        ["/bin/bash", "-c", command], cwd=folder, env=environment, capture_output=True, text=True, check=False
    )


@pytest.mark.parametrize(
    ("line", "code", "says"),
    [
        (f"fillgen ideas '{CHART}' -n 1 >&-", 2, "standard output"),
        (f"fillgen ideas '{CHART}' -n 1 -o a.mid >&-", 0, "a.mid"),
        ("fillgen ideas - <&-", 2, "standard input"),
        (f"fillgen check '{CHART}' - <&-", 2, "standard input"),
        (f"fillgen ideas '{CHART}' -n 1 2>&-", 0, ""),
        ("fillgen ideas '| H7 |' 2>&-", 2, ""),
        (f"fillgen ideas '{CHART}' -n 1 <&- >&- 2>&-", 2, ""),
    ],
)
def test_closed_streams(line: str, code: int, says: str, tmp_path: Path) -> None:
    done = shell(line, tmp_path)
    assert done.returncode == code, done.stderr
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert (tmp_path / "a.mid").exists() == ("a.mid" in line)


def test_a_reader_that_goes_costs_no_file(tmp_path: Path) -> None:
    """`| head -1` takes a line of what is printed; what goes to a file is written all the same."""
    done = shell(f"set -o pipefail; fillgen practice '{CHART}' -o a.mid | head -c 1", tmp_path)
    assert done.returncode in (0, 141)
    assert "Traceback" not in done.stderr
    assert (tmp_path / "a.mid").read_bytes()[:4] == b"MThd"


def test_a_reader_that_has_gone_ends_the_program_quietly(tmp_path: Path) -> None:
    """Nobody reads at all: the code is that of SIGPIPE, the file is written, nothing is said of it."""
    command = [*FILLGEN, "practice", CHART, "-o", "a.mid"]
    environment = {**unmeasured(), "FILLGEN_NO_BOOK": "1"}
    with subprocess.Popen(
        command, cwd=tmp_path, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.close()
        said = running.stderr.read()
    assert (running.returncode, said) == (141, "written to a.mid\n")


@pytest.mark.costly
@pytest.mark.parametrize(
    "command", ["--help", "ideas --help", f"voicings '{CHART}'", f"ideas '{CHART}' -n 1"]
)
def test_a_terminal_twenty_columns_wide(command: str, tmp_path: Path) -> None:
    done = shell(f"fillgen {command}", tmp_path, COLUMNS="20")
    assert (done.returncode, done.stderr) == (0, "")


def test_ctrl_c_at_any_moment_is_quiet(tmp_path: Path) -> None:
    """From the front door to the last line: the program ends by the signal or with 130, or was done already."""
    arguments = ["fillgen", "ideas", CHART, "-n", "300", "-o", "a.json", "--overwrite"]
    begin = (
        f"import sys; sys.argv = {arguments!r}; from fillgen import __main__ as door; fill = door._fill_gaps; "
        "door._fill_gaps = lambda: (fill(), print(1, flush=True)); door.run()"
    )
    environment = {**unmeasured(), "FILLGEN_NO_BOOK": "1"}
    ends = set()
    for step in range(0, 12, 2):
        with subprocess.Popen(
            [sys.executable, "-c", begin],
            cwd=tmp_path,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        ) as running:
            assert running.stdout is not None
            assert (
                running.stdout.readline() == "1\n"
            )  # before that Python itself is starting, and the front door opens
            time.sleep(0.09 * step)  # whichever moment it meets, the same must hold
            os.kill(running.pid, signal.SIGINT)
            _, said = running.communicate(timeout=120)
        assert "Traceback" not in said
        assert running.returncode in (-signal.SIGINT, 130, 0), said
        ends.add(running.returncode)
    assert ends & {-signal.SIGINT, 130}
    assert not [path for path in tmp_path.iterdir() if path.name != "a.json"]
