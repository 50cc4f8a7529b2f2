"""What is loaded and what is not: nothing that a command does not need."""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.processes import unmeasured

HEAVY = ("mido", "music21", "reportlab", "rich", "starlette", "typer.rich_utils", "uvicorn", "verovio")


def loaded(program: str) -> set[str]:
    """The modules that a fresh process holds after a short program; what the program prints is passed over."""
    told = f"{program}\nimport sys\nprint('LOADED', *sorted(sys.modules))"
    done = subprocess.run(
        [sys.executable, "-c", told], capture_output=True, text=True, check=False, env=unmeasured()
    )
    assert done.returncode == 0, done.stderr
    line = done.stdout.splitlines()[-1]
    assert line.startswith("LOADED ")
    return set(line.split()[1:])


def command(*arguments: str) -> str:
    """A program that runs the command line and goes on after it."""
    return (
        "import contextlib\nfrom fillgen.cli import main\n"
        f"with contextlib.suppress(SystemExit):\n    main({list(arguments)!r})"
    )


def test_import_loads_little() -> None:
    """`import fillgen` loads neither the command line nor anything that writes files."""
    modules = loaded("import fillgen")
    assert "fillgen.version" in modules
    assert not modules & {"numpy", "constraint", "fillgen.engine.generate"}
    assert not modules & {*HEAVY, "typer", "fillgen.cli", "fillgen.midi"}


@pytest.mark.parametrize("printed", ["text", "json"])
def test_printed_ideas_load_little(printed: str) -> None:
    """Ideas printed as text or JSON load no MIDI library, no notation library, and no coloured terminal."""
    modules = loaded(command("ideas", "| C | G7 |", "-n", "2", "--format", printed))
    assert {"fillgen.cli", "typer", "constraint", "numpy"} <= modules
    assert not modules & {*HEAVY, "fillgen.midi", "fillgen.sound.synth", "fillgen.server", "fillgen.page"}
    assert ("fillgen.writers.document" in modules) == (printed == "json")
