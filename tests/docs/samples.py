"""The examples of the README and of the player's guide: read, run in this process, and written anew.

`python -m tests.docs.samples` says which samples are out of date; with `--write` they are replaced by what the
commands print now. The language of a code block says what is done with it:

- `console`: each line that begins with `$ fillgen` is run; the lines below it are what it prints. Where a line `...` parts
  them, as many of the first lines are shown as are above it, and as many of the last as are below.
- `pycon`: a Python session; the lines below `>>>` are what it prints.
- `sh`: lines that begin with `fillgen` are run, and print what they like.
- `shell`: commands that go on until they are stopped, or need an instrument: their options are read, no more.
- `python`: run.
- `toml` and `text` with a first line `# NAME`: a file of that name, there before anything is run.

A document's blocks are run in order, in one folder, with one idea book that is empty at first.
"""

from __future__ import annotations

import argparse
import contextlib
import doctest
import io
import os
import re
import shlex
import sys
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from unittest import mock

import typer

from fillgen.cli import main, program

ROOT = Path(__file__).resolve().parents[2]
DOCUMENTS = (ROOT / "README.md", *sorted((ROOT / "shared" / "guide").glob("*.md")))
CUT = "..."
_BLOCK = re.compile(r"^```(\w*)\n(.*?)^```$", re.DOTALL | re.MULTILINE)
_FILE = re.compile(r"# (\S+\.\w+)\n")
_PROMPT = "$ "
_DAY = datetime(2026, 11, 2, 18, 30, tzinfo=UTC)
"""The day on which the examples are run, as far as the idea book knows."""


def blocks(text: str, language: str) -> list[str]:
    """The code blocks of a document in a language."""
    return [found[2] for found in _BLOCK.finditer(text) if found[1] == language]


def renewed(text: str) -> str:
    """A document with all its examples run, and with what they print now; AssertionError for a command that fails."""
    run = {"console": _console, "pycon": _session, "sh": _commands, "shell": _understood, "python": _script}
    names: dict[str, object] = {}

    def block(found: re.Match[str]) -> str:
        language, body = found[1], found[2]
        made = run[language](body, names) if language in run else body
        return f"```{language}\n{made}```"

    with workplace(text):
        return _BLOCK.sub(block, text)


@contextlib.contextmanager
def workplace(text: str) -> Iterator[Path]:
    """A new folder to work in, with the demo files, the files that the document gives, and an idea book of its own."""
    with tempfile.TemporaryDirectory() as name, contextlib.ExitStack() as stack:
        folder = Path(name)
        (folder / "shared").symlink_to(ROOT / "shared")
        for body in (*blocks(text, "toml"), *blocks(text, "text")):
            if named := _FILE.match(body):
                (folder / named[1]).write_text(body, encoding="utf-8")
        stack.enter_context(contextlib.chdir(folder))
        stack.enter_context(mock.patch.dict(os.environ, {"FILLGEN_BOOK": str(folder / "ideas.book")}))
        os.environ.pop("FILLGEN_NO_BOOK", None)
        for place in ("fillgen.app.memory.now", "fillgen.cli.book.now"):
            stack.enter_context(mock.patch(place, return_value=_DAY))
        yield folder


def run(command: str) -> tuple[int, str]:
    """The exit code of a command line, and what it prints on a terminal: the answer, and what is said beside it."""
    printed, code = io.StringIO(), 0
    with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(printed):
        try:
            main(shlex.split(command)[1:])
        except SystemExit as ended:
            code = int(ended.code or 0)
    return code, printed.getvalue()


def _console(body: str, _: dict[str, object]) -> str:
    """Commands with what they print."""
    parts = re.split(rf"^{re.escape(_PROMPT)}", body, flags=re.MULTILINE)
    assert not parts[0], "a console block begins with a command"
    return "".join(_shown(*part.partition("\n")[::2]) for part in parts[1:])


def _shown(command: str, output: str) -> str:
    """A command with what it prints, shortened as it was."""
    code, printed = run(command)
    failed = code == 2 or (code == 1 and " check " not in command)
    assert failed == printed.startswith("fillgen: "), f"{command}\n{printed}"
    _refuse_missing(command, code)
    lines, old = [line.rstrip() for line in printed.splitlines()], output.splitlines()
    if CUT in old:
        head = old.index(CUT)
        tail = len(old) - head - 1
        if head + tail < len(lines):
            lines = [*lines[:head], CUT, *lines[len(lines) - tail :]]
    return "".join(f"{line}\n" for line in (f"{_PROMPT}{command}", *lines))


def _commands(body: str, _: dict[str, object]) -> str:
    """Commands that do their job, whatever they print; the block as it was."""
    for command in body.splitlines():
        if command.startswith("fillgen "):
            code, printed = run(command)
            assert code == 0, f"{command}\n{printed}"
            _refuse_missing(command, code)
    return body


def _refuse_missing(command: str, code: int) -> None:
    """AssertionError for a file that a command should have written."""
    words = shlex.split(command)
    named = [words[at + 1] for at, word in enumerate(words[:-1]) if word == "-o"]
    assert code == 2 or all(Path(name).exists() or _numbered(name) for name in named), command


def _numbered(name: str) -> bool:
    """Whether there are versions of a file, such as whole-1.mid for whole.mid."""
    path = Path(name)
    return any(path.parent.glob(f"{path.stem}-*{path.suffix}"))


def _understood(body: str, _: dict[str, object]) -> str:
    """Commands that go on, with options that they have; the block as it was."""
    group: typer.core.TyperGroup = typer.main.get_command(program())  # type: ignore[assignment]
    for command in body.splitlines():
        name, *arguments = shlex.split(command.removeprefix(".venv/bin/"))[1:]
        assert group.commands[name].make_context(name, arguments).params, command
    return body


def _script(body: str, names: dict[str, object]) -> str:
    """A script that runs to its end; the block as it was."""
    with contextlib.redirect_stdout(io.StringIO()):
        exec(compile(body, "example", "exec"), names)
    return body


def _session(body: str, names: dict[str, object]) -> str:
    """A Python session with what it prints."""
    made = ""
    for example in doctest.DocTestParser().get_examples(body):
        first, *more = example.source.splitlines()
        made += "".join(f"{line}\n" for line in (f">>> {first}", *(f"... {line}" for line in more)))
        printed = io.StringIO()
        with contextlib.redirect_stdout(printed):
            exec(compile(example.source, "example", "single"), names)
        made += printed.getvalue()
    return made


def _main(say: Callable[[str], object] = print) -> int:
    """Say which documents are out of date, or bring them up to date; the exit code."""
    parser = argparse.ArgumentParser(description="Run the examples of the README and the guide.")
    parser.add_argument("--write", action="store_true", help="replace the samples by what is printed now")
    parser.add_argument("names", nargs="*", help="documents, such as README or charts; all if none is named")
    given = parser.parse_args()
    stale = 0
    for path in DOCUMENTS:
        if given.names and path.stem not in given.names:
            continue
        text = path.read_text(encoding="utf-8")
        now = renewed(text)
        if now == text:
            continue
        stale += 1
        say(f"{'written' if given.write else 'out of date'}: {path.relative_to(ROOT)}")
        if given.write:
            path.write_text(now, encoding="utf-8")
    return 0 if given.write else min(stale, 1)


if __name__ == "__main__":
    import tests.conftest  # noqa: F401 - the examples leave the user's book and instruments alone

    sys.exit(_main())
