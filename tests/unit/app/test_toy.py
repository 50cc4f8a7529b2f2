"""How much an option or a format costs: a toy of each, made in the places there are, and seen everywhere else.

An option has three places: a field of its group, a row of OPTIONS, and where it is used. A format has two: its writer, and
a row of FORMATS. What the command line, the page's server, the idea book, `batch` and scripts need follows from those.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import typer

import fillgen
from fillgen.app.batch import Order
from fillgen.app.contents import BOOK, IDEAS
from fillgen.app.formats import FORMATS, Content, Format
from fillgen.app.keywords import with_keywords
from fillgen.app.options import OPTIONS, ChordOptions, IdeaOptions, Option, OutputOptions, given
from fillgen.cli.signature import Strict, grouped
from fillgen.errors import OptionError
from fillgen.server.fields import Fields
from fillgen.server.takeaway import file_reply, format_of
from tests.commands import Call, refused, tree

CHART = "| Bb | Gm7 | Cm7 | F7 |"
PHRASE = "D5q C5q Bb4h | Bb4q A4q G4h | G4q F4q Eb4h | F4h A4h"
SEEN: list[Any] = []
"""The groups that the toy command was called with."""


# An option: place 1, a field of its group


@dataclass(frozen=True, kw_only=True)
class ToyOptions(IdeaOptions):
    """The options of ideas, with one more and a list of another."""

    patience: int | None = None
    warm_up: tuple[str, ...] = ()


# Place 2, a row for each

ROWS = {
    "patience": Option(("--patience", "-p"), "How many tries a player has.", int, values=lambda: ("1", "20")),
    "warm_up": Option(("--warm-up",), "What is played first.", many=True),
}


# Place 3, where it is used


def toy(*, chords: ChordOptions, options: ToyOptions) -> None:
    """Ideas with a toy."""
    SEEN[:] = [chords, options]


@pytest.fixture(name="command")
def _command(monkeypatch: pytest.MonkeyPatch) -> Any:
    """The command with the toy option, as the program builds its commands."""
    monkeypatch.setitem(OPTIONS, ToyOptions, {**OPTIONS[IdeaOptions], **ROWS})  # type: ignore[arg-type]
    app = typer.Typer(rich_markup_mode=None)
    app.command(cls=Strict)(grouped()(toy))
    return typer.main.get_command(app)


def called(command: Any, *arguments: str) -> ToyOptions:
    """The group of options that a command line gives."""
    SEEN.clear()
    command(args=list(arguments), standalone_mode=False)
    return SEEN[1]


def test_a_toy_option_is_read(command: Any) -> None:
    """It has its type, its default and its short name; beside it every option of ideas is read as before."""
    assert called(command, CHART) == ToyOptions()
    options = called(command, CHART, "-p", "3", "--warm-up", "scale", "--warm-up", "thirds", "--level", "2")
    assert options == ToyOptions(patience=3, warm_up=("scale", "thirds"), level=2)
    assert SEEN[0] == ChordOptions(chart=CHART)


def test_a_toy_option_stands_in_the_help(command: Any, capsys: pytest.CaptureFixture[str]) -> None:
    """The help has its names and what it is."""
    with pytest.raises(SystemExit):
        command(args=["--help"])
    text = " ".join(capsys.readouterr().out.split())
    assert re.search(r"-p, --patience \S+ How many tries a player has\.", text)
    assert re.search(r"--warm-up \S+ What is played first\.", text)
    assert "--level" in text


def test_a_toy_option_is_checked(command: Any) -> None:
    """Given twice, with a word for a number, or misspelled, it is refused as any other."""
    with pytest.raises(OptionError, match="--patience is given twice"):
        called(command, CHART, "-p", "3", "--patience", "4")
    for arguments, part in ((["-p", "many"], "'many'"), (["--patiense", "3"], "--patience")):
        with pytest.raises(Exception, match=r"patien|many") as caught:
            called(command, CHART, *arguments)
        assert part in caught.value.format_message()  # type: ignore[attr-defined]


def test_a_toy_option_is_completed(command: Any) -> None:
    """A shell is offered its values."""
    (param,) = (each for each in command.params if "--patience" in each.opts)
    context = command.make_context("toy", [CHART])
    assert [item.value for item in param.shell_complete(context, "2")] == ["20"]


def test_a_toy_option_in_json_in_the_book_and_in_scripts(command: Any) -> None:
    """The server reads it under its name on the command line, the book remembers it so, and scripts give it as a keyword."""
    wanted = ToyOptions(patience=3, warm_up=("scale",))
    fields = Fields({"patience": 3, "warm_up": ["scale"], "count": None})
    assert fields.group(ToyOptions) == wanted
    fields.end()
    with pytest.raises(OptionError) as caught:
        Fields({"patience": "three"}).group(ToyOptions)
    assert caught.value.place == "patience"
    assert given(wanted) == {"patience": 3, "warm_up": ("scale",)}
    assert given(ToyOptions()) == {}

    @with_keywords(ToyOptions)
    def script(chart: str, options: ToyOptions) -> tuple[str, ToyOptions]:
        return chart, options

    assert script(CHART, patience=3, warm_up=("scale",)) == (CHART, wanted)


def test_a_field_without_a_row_is_not_given(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half the work is seen: without its row a field can't be given anywhere, and has its default."""
    monkeypatch.setitem(OPTIONS, ToyOptions, OPTIONS[IdeaOptions])  # type: ignore[arg-type]
    app = typer.Typer(rich_markup_mode=None)
    app.command(cls=Strict)(grouped()(toy))
    command: Any = typer.main.get_command(app)
    assert called(command, CHART).patience is None
    with pytest.raises(Exception, match="--patience"):
        called(command, CHART, "--patience", "3")


# A format: its writer, and a row


def _acrostic(content: Content, _: OutputOptions) -> bytes:
    """The first letter of every line of a text."""
    assert content.text is not None
    return "".join(line.strip()[:1] for line in content.text().splitlines()).encode()


@pytest.fixture(name="toy_format")
def _toy_format(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(FORMATS, ".toy", Format("text/x-toy", ("text",), _acrostic))  # type: ignore[arg-type]
    monkeypatch.setenv("FILLGEN_NO_BOOK", "1")


def acrostic(text: str) -> bytes:
    return _acrostic(Content(text=lambda: text), OutputOptions())


WRITING: dict[str, Sequence[str]] = {
    "ideas": ("ideas", CHART, "-n", "2"),
    "vary": ("vary", CHART, PHRASE, "--like", "-n", "2"),
    "check": ("check", CHART, PHRASE),
    "practice": ("practice", CHART, "--levels", "1", "--per-level", "1"),
    "notes": ("notes", CHART),
    "voicings": ("voicings", CHART),
    "sequences": ("sequences", "--for", "vamp"),
}


@pytest.mark.usefixtures("toy_format")
@pytest.mark.parametrize("what", WRITING)
def test_a_toy_format_is_written_by_commands(call: Call, tmp_path: Path, what: str) -> None:
    """Every command that has a text writes it, beside other files, and offers it where an ending is wrong."""
    assert call(*WRITING[what], "-o", "a.toy", "-o", "a.txt").code == 0
    written = tree(tmp_path)
    assert sorted(written) == ["a.toy", "a.txt"]
    assert written["a.toy"] == acrostic(written["a.txt"].decode())
    refused(call(*WRITING[what], "-o", "b.tow"), "'b.tow'", "'.toy'")
    refused(call(*WRITING[what], "-o", "a.toy"), "exists already", "--overwrite")
    assert tree(tmp_path) == written


@pytest.mark.usefixtures("toy_format")
def test_a_toy_format_is_written_from_the_book(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The idea book exports it."""
    monkeypatch.delenv("FILLGEN_NO_BOOK")
    monkeypatch.setenv("FILLGEN_BOOK", str(tmp_path / "own.book"))
    assert call("ideas", CHART, "-n", "1").code == 0
    assert call("book", "export", "1", "-o", "a.toy", "-o", "a.txt").code == 0
    assert (tmp_path / "a.toy").read_bytes() == acrostic((tmp_path / "a.txt").read_text(encoding="utf-8"))


@pytest.mark.usefixtures("toy_format")
def test_a_toy_format_is_written_for_folders_and_the_page(call: Call, tmp_path: Path) -> None:
    """`batch` takes its ending, in which the server and scripts give ideas as well; a wrong ending is answered with it."""
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "a.txt").write_text(CHART, encoding="utf-8")
    options = ("-n", "2", "-j", "1")
    assert call("batch", "in", "-o", "out", "--format", "toy", *options).code == 0
    assert call("batch", "in", "-o", "plain", "--format", "txt", *options).code == 0
    text = (tmp_path / "plain" / "a.txt").read_text(encoding="utf-8")
    assert (tmp_path / "out" / "a.toy").read_bytes() == acrostic(text)
    with pytest.raises(OptionError, match="'toy'"):
        Order(form="tow")
    found = fillgen.ideas(CHART, count=2)
    fillgen.write(found, tmp_path / "b.toy")
    assert (tmp_path / "b.toy").read_bytes() == acrostic(text)
    reply = file_reply(Content(text=lambda: text), format_of("toy", IDEAS), "toy")
    assert b"".join(reply.parts) == acrostic(text)
    assert format_of("toy", BOOK) is FORMATS[".toy"]
    with pytest.raises(OptionError, match="'toy'"):
        format_of("tow", IDEAS)


@pytest.mark.usefixtures("toy_format")
def test_a_toy_format_is_refused_where_there_is_no_text(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where there is nothing that it can hold it is neither taken nor offered."""
    monkeypatch.setitem(FORMATS, ".toy", Format("text/x-toy", ("page",), _acrostic))  # type: ignore[arg-type]
    for arguments in (("check", CHART, PHRASE), ("voicings", CHART)):
        answer = call(*arguments, "-o", "a.toy")
        refused(answer, "'a.toy'", ".txt")
        assert answer.err.count(".toy") == 1
    answer = call("ideas", CHART, "-o", "a.docx")
    refused(answer, ".toy")
