"""The command line called in this process: what it printed, its exit code, and what it left in the folder."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest
import typer

from fillgen.cli import main, program


class Answer(NamedTuple):
    """What a call printed, and its exit code."""

    code: int
    out: str
    err: str


Call = Callable[..., Answer]


def caller(capsys: pytest.CaptureFixture[str]) -> Call:
    """The command line as a function of its arguments."""

    def run(*arguments: str) -> Answer:
        with pytest.raises(SystemExit) as caught:
            main(arguments)
        printed = capsys.readouterr()
        return Answer(int(caught.value.code or 0), printed.out, printed.err)

    return run


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below a folder with its contents."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def refused(answer: Answer, *parts: str) -> None:
    """The answer to bad input: code 2, nothing on standard output, one or two plain lines that help."""
    assert answer.code == 2, answer
    assert answer.out == ""
    assert answer.err.startswith("fillgen: ")
    assert "Traceback" not in answer.err
    assert 1 <= len(answer.err.splitlines()) <= 2
    assert [part for part in parts if part not in answer.err] == [], answer.err


def all_commands() -> dict[tuple[str, ...], Any]:
    """Every command, and those of the idea book, by the words that call it."""
    top: dict[str, Any] = typer.main.get_command(program()).commands  # type: ignore[attr-defined]
    return {
        **{(name,): command for name, command in top.items()},
        **{("book", name): command for name, command in top["book"].commands.items()},
    }
