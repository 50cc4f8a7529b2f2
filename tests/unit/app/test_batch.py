"""A folder of charts: which results are made, kept and refused, and what the index remembers."""

from __future__ import annotations

import errno
import io
import json
import os
import re
import signal
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from fillgen import FillgenError, OptionError, OutputError, RulePack, parse_chart
from fillgen.app import batch
from fillgen.app.batch import INDEX, Batch, Index, Order, Outcome, make
from fillgen.app.options import ChordOptions, IdeaOptions, PlayOptions
from fillgen.cli import main
from fillgen.writers import files

GOOD = "| Dm | Bb | Gm7 | A7 |\n"
OPTIONS = IdeaOptions(count=2)


class Quick(Order):
    """An order whose results are the chords of the chart, so that nothing is searched; it counts what is made."""

    def result(self, text: str) -> bytes:
        MADE.append(text)
        return " ".join(span.chord.symbol for span in parse_chart(text).spans).encode() * 200


MADE: list[str] = []


def read(path: Path) -> str:
    """The text of a chart file."""
    return path.read_text(encoding="utf-8")


def lay(folder: Path, *names: str, text: str = GOOD) -> Path:
    """A folder with charts of these names."""
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below a folder with its contents, hidden ones too, but not the index."""
    found = sorted(path for path in folder.rglob("*") if path.is_file() and path.name != INDEX)
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in found}


def run(charts: Path, results: Path, order: Order | None = None, **options: Any) -> dict[str, Outcome]:
    """What becomes of each chart."""
    MADE.clear()
    work = Batch(order or Quick(OPTIONS), charts, results, read, **options)
    found = list(work.outcomes())
    assert len(found) == len(work) or work.stopped
    return {outcome.name: outcome for outcome in found}


def states(found: dict[str, Outcome]) -> dict[str, str]:
    return {name: outcome.state for name, outcome in sorted(found.items())}


def command(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    """The exit code of a command line, and what it prints on both streams."""
    with pytest.raises(SystemExit) as caught:
        main(arguments)
    printed = capsys.readouterr()
    return int(caught.value.code or 0), printed.out, printed.err


# Results


@pytest.mark.costly
@pytest.mark.parametrize(
    ("form", "ending", "extra"),
    [
        ("json", "json", []),
        ("txt", "txt", ["--level", "2", "--sevenths"]),
        ("mid", "mid", ["--for", "intro", "--hand", "small", "--feel", "0.5", "--sound", "flute"]),
        ("html", "html", ["--parts", "right,left"]),
        ("musicxml", "musicxml", ["--view", "two-hands", "--note-names"]),
        ("svg", "svg", ["--no-fingers", "--title", "High Tide"]),
    ],
)
def test_result_is_that_of_the_main_command(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, form: str, ending: str, extra: list[str]
) -> None:
    """A result has the same bytes as what `fillgen ideas` writes for the chart with the same options."""
    charts = lay(tmp_path / "charts", "a.txt", text="title: Low Tide\nkey: F\n| F | Dm7 | Gm7 | C7 |\n")
    options = ["-n", "2", "--seed", "5", *extra]
    said = command(
        capsys, "batch", str(charts), "-o", str(tmp_path / "out"), "--format", form, "-j", "1", *options
    )
    assert said == (0, "", "1 written.\n")
    one = tmp_path / f"one.{ending}"
    command(capsys, "ideas", str(charts / "a.txt"), "-o", str(one), *options)
    assert tree(tmp_path / "out") == {f"a.{ending}": one.read_bytes()}


def test_sheets_of_a_folder(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Every chart of a folder gets a PDF, on the paper asked for and with its own title, sub-folders too."""
    charts = lay(tmp_path / "charts", "a.txt", "b/c.chords", text="title: Low Tide\n| F | Dm7 | Gm7 | C7 |\n")
    said = command(
        capsys,
        *("batch", str(charts), "-o", str(tmp_path / "out"), "--format", "pdf", "-j", "1"),
        *("-n", "2", "--paper", "letter", "--parts", "right,left"),
    )
    assert said == (0, "", "2 written.\n")
    found = tree(tmp_path / "out")
    assert list(found) == ["a.pdf", "b/c.pdf"]
    for content in found.values():
        assert content.startswith(b"%PDF-")
        assert re.search(rb"/MediaBox \[ *0 0 612 792 *\]", content)
    again = command(
        capsys,
        *("batch", str(charts), "-o", str(tmp_path / "out"), "--format", "pdf", "-j", "1", "-n", "2"),
    )
    assert again[0] == 2
    assert "other options" in again[2]
    assert tree(tmp_path / "out") == found


def test_which_files_are_charts(tmp_path: Path) -> None:
    """Charts are known by their endings, in sub-folders too; hidden files, other files and folders are passed over."""
    charts = lay(
        tmp_path / "in", "b.TXT", "a.chart", "deep/er/c.chords", ".hidden.txt", ".git/d.txt", "e.md", "f"
    )
    (charts / "folder.txt").mkdir()
    os.mkfifo(charts / "pipe.txt")
    assert states(run(charts, tmp_path / "out")) == {
        "a.chart": "made",
        "b.TXT": "made",
        "deep/er/c.chords": "made",
    }
    assert list(tree(tmp_path / "out")) == ["a.json", "b.json", "deep/er/c.json"]


@pytest.mark.parametrize("place", ["in", "in/results"])
def test_results_among_the_charts(tmp_path: Path, place: str) -> None:
    """Results may lie beside the charts or in a folder below them, and are not taken for charts the next time."""
    charts = lay(tmp_path / "in", "a.txt", "b/c.txt")
    run(charts, tmp_path / place)
    assert states(run(charts, tmp_path / place)) == {"a.txt": "kept", "b/c.txt": "kept"}
    if place != "in":
        text = Quick(OPTIONS, form="txt")
        run(charts, tmp_path / place / "text", text)
        assert set(run(charts, tmp_path / place, text, overwrite=True)) == {"a.txt", "b/c.txt"}


def test_results_never_replace_charts(tmp_path: Path) -> None:
    """Results as text are refused where they would lie would mix with the charts, even to overwrite."""
    lay(tmp_path / "in", "a.txt", "in/a.txt", "in/in/a.txt", "b.chart")
    before = tree(tmp_path)
    for charts, results in (("in", "in"), ("in/in", "in"), ("in", "in/../in")):
        with pytest.raises(OutputError, match="would mix with the charts"):
            run(tmp_path / charts, tmp_path / results, Quick(OPTIONS, form="txt"), overwrite=True)
    assert tree(tmp_path) == before


def test_two_charts_of_one_name(tmp_path: Path) -> None:
    """Of two charts whose results would have the same name the first is taken, and the other is told."""
    found = run(lay(tmp_path / "in", "a.txt", "a.chart"), tmp_path / "out")
    assert states(found) == {"a.chart": "made", "a.txt": "refused"}
    assert str(found["a.txt"]) == "a.txt: 'a.chart' has the same result file. Rename one of them."


def test_number_of_jobs_does_not_show(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """One process and three write the same bytes and say the same, a bad chart among them."""
    charts = lay(tmp_path / "in", "a.txt", "b/c.txt", "d.txt", "e.txt")
    lay(charts, "bad.txt", text="| C | Cmj7 |")
    said, trees = set(), []
    for jobs in ("1", "3"):
        out = tmp_path / jobs
        said.add(
            command(capsys, "batch", str(charts), "-o", str(out), "-n", "1", "--level", "1", "--jobs", jobs)
        )
        trees.append((tree(out), (out / INDEX).read_bytes()))
    assert said == {
        (
            2,
            "",
            "4 written, 1 refused:\n  bad.txt: bar 2, chord 1: unknown chord 'Cmj7'. Did you mean 'Cmaj7' or 'Cm7' or 'Cj7'?\n",
        )
    }
    assert trees[0] == trees[1]
    assert list(trees[0][0]) == ["a.json", "b/c.json", "d.json", "e.json"]


# What is there already


def test_what_is_there_is_kept(tmp_path: Path) -> None:
    """A second run makes only what is missing: new charts, and results that were removed."""
    charts, out = lay(tmp_path / "in", "a.txt", "b.txt"), tmp_path / "out"
    run(charts, out)
    before = tree(out)
    assert states(run(charts, out)) == {"a.txt": "kept", "b.txt": "kept"}
    assert MADE == []
    (out / "a.json").unlink()
    lay(charts, "c.txt")
    assert states(run(charts, out)) == {"a.txt": "made", "b.txt": "kept", "c.txt": "made"}
    assert before.items() <= tree(out).items()


@pytest.mark.parametrize(
    "other",
    [
        Quick(IdeaOptions(count=3)),
        Quick(IdeaOptions(count=2, low=60)),
        Quick(OPTIONS, chords=ChordOptions(key="F")),
        Quick(OPTIONS, chords=ChordOptions(metre="3/4")),
        Quick(OPTIONS, chords=ChordOptions(sevenths=True)),
        Quick(OPTIONS, playing=PlayOptions(feel=0.5)),
        Quick(OPTIONS, RulePack({"weights": {"echo": 3.0}})),
    ],
)
def test_results_of_another_order(tmp_path: Path, other: Order) -> None:
    """Results made with other options or rules are not mixed with new ones unless all are to be made anew."""
    charts, out = lay(tmp_path / "in", "a.txt", "b.txt"), tmp_path / "out"
    run(charts, out)
    before = tree(out)
    with pytest.raises(OutputError) as caught:
        run(charts, out, other)
    assert str(caught.value).startswith(f"{out / 'a.json'} and 1 more: made with other options")
    assert tree(out) == before
    assert MADE == []
    assert set(states(run(charts, out, other, overwrite=True)).values()) == {"made"}
    assert set(states(run(charts, out, other)).values()) == {"kept"}


def test_another_version_is_another_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """A new version of the program may find other ideas, so its results are its own."""
    before = Quick(OPTIONS).digest
    monkeypatch.setattr(batch, "__version__", "99")
    assert Quick(OPTIONS).digest != before


def test_changed_files_are_not_replaced(tmp_path: Path) -> None:
    """A chart that was changed, a result that was changed, and a file of somebody else's are told and left alone."""
    charts, out = lay(tmp_path / "in", "a.txt", "b.txt", "c.txt", "d.txt"), tmp_path / "out"
    (charts / "c.txt").unlink()
    run(charts, out)
    lay(charts, "a.txt", text="| F | C7 |")
    (out / "b.json").write_text("my own notes")
    lay(charts, "c.txt")
    (out / "c.json").write_text("somebody's")
    before = tree(out)
    found = run(charts, out)
    assert states(found) == {"a.txt": "refused", "b.txt": "refused", "c.txt": "refused", "d.txt": "kept"}
    assert "made from another text of the chart" in found["a.txt"].message
    assert "was changed after it was made" in found["b.txt"].message
    assert "wasn't made by fillgen batch" in found["c.txt"].message
    assert tree(out) == before
    assert set(states(run(charts, out, overwrite=True)).values()) == {"made"}


def test_other_files_are_left_alone(tmp_path: Path) -> None:
    """Files of other names stay as they are, even where all is made anew."""
    charts, out = lay(tmp_path / "in", "a.txt"), tmp_path / "out"
    own = {"mine.json": "x", "a.txt": "y", ".a.json.part": "z", "sub/b.json": "w"}
    for name, text in own.items():
        lay(out, name, text=text)
    run(charts, out, overwrite=True)
    assert {name: text.encode() for name, text in own.items()}.items() <= tree(out).items()


# The index


def test_torn_index(tmp_path: Path) -> None:
    """Cut off anywhere, the index leaves every result whole; only what it does not know is made again or told."""
    charts, out = lay(tmp_path / "in", "a.txt", "b.txt"), tmp_path / "out"
    run(charts, out)
    before, content = tree(out), (out / INDEX).read_bytes()
    lines = content.splitlines(keepends=True)
    for length in [*range(len(lines[0]) + 1), *range(len(content) - len(lines[-1]), len(content) + 1)]:
        (out / INDEX).write_bytes(content[:length])
        found = states(run(charts, out))
        whole = content[:length].count(b'"holds"') - (
            not content[:length].endswith(b"}") and length % len(content) > 0
        )
        assert set(found.values()) <= {"kept", "refused"}, length
        assert list(found.values()).count("kept") >= max(0, whole), length
        assert tree(out) == before
    (out / INDEX).write_bytes(content)
    assert set(states(run(charts, out)).values()) == {"kept"}


@pytest.mark.parametrize("there", [b"", b"half of it", None])
def test_result_that_was_begun(tmp_path: Path, there: bytes | None) -> None:
    """A result that was entered but not finished is made, whatever stands in its place."""
    charts, out = lay(tmp_path / "in", "a.txt"), tmp_path / "out"
    run(charts, out)
    whole = tree(out)
    line = json.loads((out / INDEX).read_bytes().splitlines()[1])
    with (out / INDEX).open("a", encoding="utf-8") as file:
        file.write(json.dumps({**line, "holds": ""}) + "\n")
    (out / "a.json").unlink()
    if there is not None:
        (out / "a.json").write_bytes(there)
    assert states(run(charts, out)) == {"a.txt": "made"}
    assert tree(out) == whole


def test_index_of_another_kind(tmp_path: Path) -> None:
    """A file in the place of the index that is none is told, and left alone."""
    charts, out = lay(tmp_path / "in", "a.txt"), lay(tmp_path / "out", INDEX, text="a diary\n")
    with pytest.raises(OutputError, match="wasn't made by fillgen batch"):
        run(charts, out)
    assert (out / INDEX).read_text() == "a diary\n"


def test_only_one_batch_writes(tmp_path: Path) -> None:
    """While one batch is at work in a folder another is told so; afterwards it may."""
    charts, out = lay(tmp_path / "in", "a.txt"), tmp_path / "out"
    out.mkdir()
    first = Index(out)
    with pytest.raises(OutputError, match="another fillgen batch is writing to this folder"):
        run(charts, out)
    first.close()
    assert states(run(charts, out)) == {"a.txt": "made"}


# What can go wrong


def test_bad_charts_among_good_ones(tmp_path: Path) -> None:
    """Charts that cannot be read are refused by name, in one line, and have no result."""
    charts, out = lay(tmp_path / "in", "a.txt", "z.txt"), tmp_path / "out"
    (charts / "bytes.txt").write_bytes(b"\xff\xfe\x00|")
    lay(charts, "empty.txt", text="")
    lay(charts, "new\nline.txt", text="| C | Fmaj77 |")
    work = Batch(Quick(OPTIONS), charts, out, cli_read())
    found = {outcome.name: outcome for outcome in work.outcomes()}
    assert states(found) == {
        "a.txt": "made",
        "bytes.txt": "refused",
        "empty.txt": "refused",
        "new\nline.txt": "refused",
        "z.txt": "made",
    }
    assert "'Fmaj7'" in str(found["new\nline.txt"])
    assert all("\n" not in str(outcome) for outcome in found.values())
    assert list(tree(out)) == ["a.json", "z.json"]


def cli_read() -> Callable[[Path], str]:
    from fillgen.cli import inputs  # noqa: PLC0415 - the one place that needs it

    return inputs.file_text


@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        (["none"], ["none", "no such folder"]),
        (["in/a.txt"], ["in/a.txt", "is a file, not a folder"]),
        (["empty"], ["empty", "holds no charts", ".txt, .chart or .chords"]),
        (["in", "--rhythm", "foxtrott"], ["'foxtrott'", "'foxtrot'"]),
        (["in", "--count", "0"], ["0", "1 to 1000"]),
        (["in", "--low", "H4"], ["'H4'", "lowest"]),
        (["in", "--for", "outro"], ["'outro'", "'intro'"]),
        (["in", "--key", "Eb mayor"], ["'Eb mayor'", "'Eb major'"]),
        (["in", "--metre", "11/4"], ["'11/4'", "4/4"]),
        (["in", "--jobs", "-2"], ["--jobs is -2", "1 to 256"]),
        (["in", "--jobs", "0"], ["--jobs is 0", "1 to 256"]),
        (["in", "--format", "jsn"], ["jsn", "json"]),
        (["in", "--format", "docx"], ["'docx'", "json", "pdf", "musicxml"]),
        (["in", "--parts", "rigt"], ["'rigt'", "'right'"]),
        (["in", "--sound", "left=flut"], ["'flut'", "Flute"]),
        (["in", "--format", "pdf", "--view", "two-hand"], ["unknown view", "two-hands"]),
        (["in", "--format", "pdf", "--paper", "a44"], ["'a44'", "'a4'"]),
        (["in", "-o", "in/a.txt"], ["in/a.txt", "cannot be made"]),
        (["in", "-o", "x" * 300], ["xxx", "too long"]),
    ],
)
def test_bad_settings(
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    arguments: list[str],
    parts: list[str],
) -> None:
    """A wrong setting is told once, in one line, before anything is written."""
    lay(tmp_path / "in", "a.txt")
    (tmp_path / "empty").mkdir()
    monkeypatch.chdir(tmp_path)
    given = arguments if "-o" in arguments else [*arguments, "-o", "out"]
    code, out, err = command(capsys, "batch", *given)
    assert (code, out) == (2, "")
    assert [part for part in parts if part not in err] == []
    assert len(err.splitlines()) == 1
    assert list(tree(tmp_path)) == ["in/a.txt"]


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS])
def test_full_disk_ends_the_run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, number: int) -> None:
    """Where nothing more can be written the run ends at once, and later goes on from there."""
    charts, out = lay(tmp_path / "in", "a.txt", "b.txt", "c.txt"), tmp_path / "out"
    sync, calls = os.fsync, iter(range(20))

    def full(handle: int) -> None:
        if next(calls) >= 2:
            raise OSError(number, os.strerror(number))
        sync(handle)

    with monkeypatch.context() as patch:
        patch.setattr(files.os, "fsync", full)
        with pytest.raises(OutputError, match="Run the same command to continue"):
            run(charts, out)
    assert list(tree(out)) == ["a.json"]
    assert states(run(charts, out)) == {"a.txt": "kept", "b.txt": "made", "c.txt": "made"}


def test_failure_of_one_file_is_its_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A result that cannot be written, and a chart over which the program itself fails, do not stop the others."""
    charts, out = lay(tmp_path / "in", "a.txt", "b.txt", "c/d.txt"), tmp_path / "out"
    lay(out, "c", text="a file in the place of a folder")
    broken = Quick.result

    def fails(order: Quick, text: str) -> bytes:
        if len(MADE) == 1:
            MADE.append(text)
            raise ZeroDivisionError("by chance")
        return broken(order, text)

    monkeypatch.setattr(Quick, "result", fails)
    found = run(charts, out)
    assert states(found) == {"a.txt": "made", "b.txt": "refused", "c/d.txt": "refused"}
    assert (
        str(found["b.txt"])
        == "b.txt: A bug in fillgen, not a fault of the chart: ZeroDivisionError 'by chance'."
    )
    assert "cannot be made" in found["c/d.txt"].message
    assert list(tree(out)) == ["a.json", "c"]


def test_unreadable_folder_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A sub-folder that cannot be looked into is refused by name, not passed over."""
    charts = lay(tmp_path / "in", "a.txt", "shut/b.txt")
    scan = os.scandir

    def denied(path: Any) -> Any:
        if os.fspath(path).endswith("shut"):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), os.fspath(path))
        return scan(path)

    with monkeypatch.context() as patch:
        patch.setattr(os, "scandir", denied)
        found = run(charts, tmp_path / "out")
    assert states(found) == {"a.txt": "made", "shut": "refused"}
    assert str(found["shut"]) == "shut: cannot be read: Permission denied."


# Ctrl-C, and processes


def test_stop(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Ctrl-C finishes the chart in hand, says how far it is, exits with 130, and the same command goes on."""
    charts, out = lay(tmp_path / "in", "a.txt", "b.txt", "c.txt"), tmp_path / "out"
    before = signal.getsignal(signal.SIGINT)
    whole, made = Order.result, []

    def interrupts(order: Order, text: str) -> bytes:
        made.append(text)
        if len(made) == 2:
            signal.raise_signal(signal.SIGINT)
        return whole(order, text)

    monkeypatch.setattr(Order, "result", interrupts)
    arguments = ("batch", str(charts), "-o", str(out), "-n", "1", "--level", "1", "--jobs", "1")
    assert command(capsys, *arguments) == (
        130,
        "",
        "fillgen: stopped; 2 of 3 done. Run the same command to continue.\n",
    )
    assert list(tree(out)) == ["a.json", "b.json"]
    assert signal.getsignal(signal.SIGINT) is before
    assert command(capsys, *arguments) == (0, "", "1 written, 2 there already.\n")


def test_stop_at_once(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A Ctrl-C that breaks the work off, before it has begun or the second time, is told in the same way."""
    charts, out = lay(tmp_path / "in", "a.txt", "b.txt"), tmp_path / "out"

    def interrupted(*_: object) -> bytes:
        raise KeyboardInterrupt

    monkeypatch.setattr(Order, "result", interrupted)
    code, _, err = command(capsys, "batch", str(charts), "-o", str(out), "--jobs", "1")
    assert (code, err) == (130, "fillgen: stopped; 0 of 2 done. Run the same command to continue.\n")
    assert tree(out) == {}


class Threads:
    """Threads in the place of processes: what is handed out is counted, and a chart may take its process with it."""

    def __init__(self, deadly: str = "none", sheds: int = 0) -> None:
        self.deadly, self.sheds, self.open, self.most = deadly, sheds, 0, 0

    @contextmanager
    def pool(self, order: Order, size: int) -> Iterator[Threads]:
        with ThreadPoolExecutor(size) as self.threads:
            self.order, self.size, self.broken = order, size, False
            yield self

    def submit(self, _: object, job: batch.Job) -> Any:
        if self.broken:
            raise BrokenProcessPool("gone")
        return self.threads.submit(self._work, job)

    def _work(self, job: batch.Job) -> Outcome:
        if self.broken or self.deadly in job.name or self.sheds > 0:
            self.sheds -= not self.broken
            self.broken = True
            raise BrokenProcessPool("gone")
        return make(job, self.order)


def test_process_that_dies_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A chart that takes its process with it twice is refused; the others are made, those beside it as well."""
    charts, out = lay(tmp_path / "in", *(f"{n:02}.txt" for n in range(20)), "07-deadly.txt"), tmp_path / "out"
    monkeypatch.setattr(batch, "_pool", Threads("deadly").pool)
    found = run(charts, out, jobs=4)
    assert [name for name, outcome in found.items() if outcome.state != "made"] == ["07-deadly.txt"]
    assert str(found["07-deadly.txt"]) == "07-deadly.txt: The process working on it died twice."
    assert len(tree(out)) == 20


def test_process_that_is_killed_once_costs_nothing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Where a process is killed from outside, the charts in hand are made by another."""
    charts = lay(tmp_path / "in", *(f"{n:02}.txt" for n in range(9)))
    monkeypatch.setattr(batch, "_pool", Threads(sheds=1).pool)
    assert set(states(run(charts, tmp_path / "out", jobs=3)).values()) == {"made"}


def test_processes_that_always_die_end_the_run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Where every process dies the run ends with a way on, not after thousands of tries."""
    charts = lay(tmp_path / "in", *(f"{n:02}-deadly.txt" for n in range(40)))
    monkeypatch.setattr(batch, "_pool", Threads("deadly").pool)
    with pytest.raises(
        OutputError, match=r"the worker processes died on 8 charts\. The machine may be short of memory"
    ):
        run(charts, tmp_path / "out", jobs=4)


def test_little_is_in_hand(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Charts are read as they are needed: never many more than there are processes, besides the block entered."""
    charts = lay(tmp_path / "in", *(f"{n:03}.txt" for n in range(300)))
    monkeypatch.setattr(batch, "_pool", Threads().pool)
    MADE.clear()
    seen: list[str] = []

    def reading(path: Path) -> str:
        seen.append(path.name)
        return read(path)

    work, most = Batch(Quick(OPTIONS), charts, tmp_path / "out", reading, jobs=4), 0
    for done, _ in enumerate(work.outcomes(), 1):
        most = max(most, len(seen) - done)
    assert most <= 64 + 6
    assert done == 300


def test_order_is_checked() -> None:
    """An order holds only what is offered."""
    with pytest.raises(OptionError) as caught:
        Order(OPTIONS, form="docx")
    assert "'docx'" in str(caught.value)
    for wrong in (
        {"options": IdeaOptions(count=0)},
        {"options": IdeaOptions(low="H4")},
        {"chords": ChordOptions(metre="11/4")},
        {"playing": PlayOptions(parts=("harp",))},
    ):
        with pytest.raises(FillgenError):
            Order(**wrong)


# What is seen


class Terminal(io.StringIO):
    """A standard error that is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize("quiet", [False, True])
def test_bar_on_a_terminal(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, quiet: bool) -> None:
    """A terminal shows how far it is, unless it is to be quiet; then only what was refused is told."""
    charts = lay(tmp_path / "in", "a.txt", text="| C |")
    lay(charts, "b.txt", text="| Cmj7 |")
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    options = ["-n", "1", "--level", "1", "--jobs", "1", *(["--quiet"] if quiet else [])]
    with pytest.raises(SystemExit):
        main(["batch", str(charts), "-o", str(tmp_path / "out"), *options])
    shown = terminal.getvalue()
    assert ("2/2" in shown) != quiet
    assert shown.endswith(
        "1 written, 1 refused:\n  b.txt: bar 1, chord 1: unknown chord 'Cmj7'. Did you mean 'Cmaj7' or 'Cm7' or 'Cj7'?\n"
    )
