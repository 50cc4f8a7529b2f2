"""The idea book under faults: killed writers, two at once, a full disk, closed folders, damaged files."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import IO

import pytest

from fillgen.book import store
from fillgen.book.door import Book, BookError, refuse_unusable
from fillgen.book.store import tags
from fillgen.cli import main
from fillgen.dice import Dice
from tests.effort import examples
from tests.folders import own_folder
from tests.processes import unmeasured
from tests.properties.test_book_machine import answer

KILLS = examples(60)
MOMENT = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)
ANSWERS = 6
"""So many ideas are remembered by one command; the book knows as many more."""
_PATIENCE = 300
"""Seconds after which writers that do not answer are ended, so that a test fails and does not hang."""

Command = tuple[str, int]


def commands(seed: int) -> Iterator[Command]:
    """What a writer does, one after another, without end."""
    dice = Dice(seed)
    known = 0
    while True:
        kind = ("show", "show", "tag", "star", "forget", "set")[dice.below(6)] if known else "show"
        number = 1 + dice.below(known) if known else 0
        known += 2 if kind == "show" else 0
        yield kind, known // 2 if kind == "show" else number


def carry_out(book: Book, command: Command) -> None:
    """One command on a book. Ideas are numbered in the order they come in; a forgotten one stays forgotten."""
    kind, number = command
    known = {idea for (idea,) in book.rows("SELECT id FROM idea")}
    if kind == "show":
        ideas = answer("C", 0, [2 * number, 2 * number + 1])
        store.remember(book, ideas, MOMENT, command="ideas", options={}, rules="", version="1")
    elif number in known:
        {
            "tag": lambda: store.tag(book, [number], f"tag {number % 3}"),
            "star": lambda: store.star(book, [number], 1 + number % 5),
            "forget": lambda: store.forget(book, [number]),
            "set": lambda: store.put_in_set(book, "Friday", [number]),
        }[kind]()


State = dict[int, tuple[int, frozenset[str], bool]]


def after(seed: int, count: int) -> State:
    """What a plain dict holds after so many commands: the stars, the tags and the set of each idea."""
    state: State = {}
    given = 0
    for (kind, number), _ in zip(commands(seed), range(count), strict=False):
        if kind == "show":
            state |= {given + 1: (0, frozenset(), False), given + 2: (0, frozenset(), False)}
            given += 2
        elif number in state:
            stars, words, grouped = state[number]
            if kind == "forget":
                del state[number]
            elif kind == "star":
                state[number] = (1 + number % 5, words, grouped)
            elif kind == "tag":
                state[number] = (stars, words | {f"tag {number % 3}"}, grouped)
            else:
                state[number] = (stars, words, True)
    return state


def state_of(book: Book) -> State:
    return {
        entry.id: (entry.stars, frozenset(entry.tags), bool(entry.sets)) for entry in store.every_entry(book)
    }


WRITER = """
import os, sys
from pathlib import Path
from fillgen.book.door import Book
from tests.properties.test_book_faults import carry_out, commands

for line in sys.stdin:
    seed, path = line.rstrip("\\n").split(" ", 1)
    child = os.fork()
    if not child:
        os.write(1, f"{os.getpid()}\\n".encode())
        for number, command in enumerate(commands(int(seed))):
            with Book(Path(path)) as book:
                carry_out(book, command)
            os.write(1, b"done\\n")
    os.waitpid(child, 0)
    os.write(1, b"ended\\n")
"""


@contextlib.contextmanager
def writers() -> Iterator[tuple[IO[str], IO[str]]]:
    """Where to write a seed and a file, and where the writers answer. They have no threads, so they can be split off."""
    told = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    command = [sys.executable, "-c", WRITER]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=told, start_new_session=True
    ) as running:
        late = threading.Timer(_PATIENCE, os.killpg, (running.pid, signal.SIGKILL))
        late.start()
        try:
            assert running.stdin is not None
            assert running.stdout is not None
            yield running.stdin, running.stdout
        finally:
            late.cancel()


def test_killed_writers(tmp_path: Path) -> None:
    """Killed at any moment, a book that is being made included, it is sound and lacks at most the command under way."""
    cut = made = 0
    with writers() as (seeds, answers):
        for seed in range(KILLS):
            dice = Dice(seed)
            path = tmp_path / f"{seed}.book"
            print(f"{seed} {path}", file=seeds, flush=True)
            child = int(answers.readline())
            done = dice.below(7)
            for _ in range(done):
                assert answers.readline() == "done\n"
            time.sleep(dice.below(1000) / 1000 * 0.012)
            os.kill(child, signal.SIGKILL)
            while (said := answers.readline()) != "ended\n":
                assert said == "done\n"
                done += 1
            with Book(path) as book:
                book.check()
                found = state_of(book)
            assert found in (after(seed, done), after(seed, done + 1)), seed
            cut += found == after(seed, done)
            made += done > 0
    assert made > KILLS // 2
    assert cut


def test_the_dict_goes_along(tmp_path: Path) -> None:
    """Writers that nobody kills do what the dict does: the test above compares like with like."""
    for seed in range(5):
        with Book(tmp_path / f"{seed}.book") as book:
            for command, _ in zip(commands(seed), range(25), strict=False):
                carry_out(book, command)
            assert state_of(book) == after(seed, 25)


# Two at once

BESIDE = """
import sys
from pathlib import Path
from datetime import UTC, datetime
from fillgen.book import store
from fillgen.book.door import Book, BookError
from tests.effort import examples
from tests.properties.test_book_machine import answer

first = int(sys.argv[2])
sys.stdin.readline()
for turn in range(10):
    try:
        with Book(Path(sys.argv[1])) as book:
            ideas = answer("C", 0, [first + 10 * turn + n for n in range(5)])
            store.remember(book, ideas, datetime(2026, 5, 4, tzinfo=UTC), command="", options={}, rules="", version="")
        print("kept", turn, flush=True)
    except BookError as error:
        assert "busy" in str(error), error
        print("busy", turn, flush=True)
"""


def test_processes_at_once(tmp_path: Path) -> None:
    """Four processes that make one book and write to it: each command is kept whole, or says that the book is busy."""
    path = tmp_path / "data" / "ideas.book"
    running = [
        subprocess.Popen(
            [sys.executable, "-c", BESIDE, str(path), str(1000 * number)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for number in range(4)
    ]
    for process in running:
        assert process.stdin is not None
        process.stdin.write("\n")
        process.stdin.flush()
    told = [process.communicate(timeout=_PATIENCE) for process in running]
    assert [process.returncode for process in running] == [0] * 4, told
    words = [line.split()[0] for out, _ in told for line in out.splitlines()]
    assert len(words) == 40
    with Book(path) as book:
        book.check()
        assert book.rows("SELECT count(*) FROM idea") == [(5 * words.count("kept"),)]


def test_busy_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """While one writes another can read, and says that the book is busy if it would write itself."""
    path = tmp_path / "ideas.book"
    with Book(path) as book:
        store.remember(book, answer("C", 0, [1]), MOMENT, command="", options={}, rules="", version="")
        with book.writing():
            book.run("UPDATE idea SET stars = 3")
            with Book(path, writes=False, wait=0.05) as other:
                assert store.entries(other, [1])[0].stars == 0
            with Book(path, wait=0.05) as other, pytest.raises(BookError, match="busy"):
                store.star(other, [1], 1)
            with pytest.MonkeyPatch.context() as patch:
                patch.setattr("fillgen.book.door.SHORT_WAIT", 0.05)
                assert run("ideas", "| C | G7 |", "-n", "1", "--book", str(path)) == 0
            err = capsys.readouterr().err
            assert "Note: ideas not saved in the book" in err
            assert "busy" in err
            assert len(err.splitlines()) == 1
        assert store.entries(book, [1])[0].stars == 3


def run(*arguments: str) -> int:
    """A command line in this process; its exit code."""
    with pytest.raises(SystemExit) as caught:
        main(list(arguments))
    return caught.value.code if isinstance(caught.value.code, int) else 0


# No room, no right


def test_full_disk(tmp_path: Path) -> None:
    """Where no room is left the ideas are shown and a line says that they are not remembered; the book stays as it was."""
    path = tmp_path / "ideas.book"
    with Book(path) as book:
        store.remember(
            book, answer("C", 0, [*range(12)]), MOMENT, command="", options={}, rules="", version=""
        )
    before = path.read_bytes()
    program = (
        "import resource, signal, sys\n"
        "from fillgen.cli import main\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (9000, 9000))\n"
        "main(sys.argv[1:])\n"
    )
    for book_path in (path, tmp_path / "new.book"):
        for arguments, code in (
            (["ideas", "| Ebmaj7 | Bb7 |"], 0),
            (["ideas", "| Ebmaj7 | Bb7 |", "--fresh"], 2),
            (["ideas", "| Ebmaj7 | Bb7 |", "--book", str(book_path)], 2),
            (["book", "tag", "x" * 90, "1-12"], 2),
        ):
            ran = subprocess.run(
                [sys.executable, "-c", program, *arguments],
                env=unmeasured() | {"FILLGEN_BOOK": str(book_path)},
                capture_output=True,
                text=True,
                check=False,
            )
            assert ran.returncode == code, ran.stderr
            assert "Traceback" not in ran.stderr
            assert len(ran.stderr.splitlines()) == 1, ran.stderr
            assert code or (ran.stdout.count(" | ") > 50 and ran.stderr.startswith("Note: ideas not saved"))
    with Book(path) as book:
        book.check()
        assert len(store.every_entry(book)) == 12
    assert path.read_bytes() == before


NOBODY = 65534


def in_closed_folder(folder: Path, job: Callable[[], str]) -> str:
    """What a job says in a process that may not write to a folder; a superuser's process becomes nobody first."""
    folder.chmod(0o555)
    read, write = os.pipe()
    child = os.fork()
    if not child:
        try:
            if os.getuid() == 0:
                os.setgid(NOBODY)
                os.setuid(NOBODY)
            told = job()
        except BaseException as error:
            told = f"{type(error).__name__}: {error}"
        os.write(write, told.encode()[:60_000])
        os._exit(0)
    os.close(write)
    os.waitpid(child, 0)
    with os.fdopen(read) as said:
        told = said.read()
    folder.chmod(0o755)
    return told


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that every user can enter."""
    with own_folder() as folder:
        folder.chmod(0o755)
        yield folder


def test_closed_folder(open_folder: Path) -> None:
    """In a folder that can only be read a book is read, log and all, and writing to it is refused with a clear line."""
    path = open_folder / "ideas.book"
    with Book(path) as book:
        store.remember(book, answer("C", 0, [1, 2]), MOMENT, command="", options={}, rules="", version="")
        store.tag(book, [1], "gig")
    path.chmod(0o444)
    before = path.read_bytes()

    def reads() -> str:
        with Book(path, writes=False) as book:
            return f"{tags(book)} {len(store.every_entry(book))}"

    def writes() -> str:
        with Book(path) as book:
            store.star(book, [1], 3)
        return "written"

    def makes() -> str:
        Book(open_folder / "deep" / "new.book").close()
        return "made"

    assert reads() == "{'gig': 1} 2"
    assert in_closed_folder(open_folder, reads) == "{'gig': 1} 2"
    told = in_closed_folder(open_folder, writes)
    assert told.startswith(
        f"BookError: {path}: can be read but not written. You may read this file but not change it"
    )
    told = in_closed_folder(open_folder, lambda: str(refuse_unusable(path)))
    assert told.startswith(f"BookError: {path}: can be read but not written.")
    new = open_folder / "deep" / "new.book"
    told = in_closed_folder(open_folder, lambda: str(refuse_unusable(new)))
    assert told == f"BookError: {new}: cannot be made: you may not write to the folder {open_folder}."
    assert in_closed_folder(open_folder, makes) == (
        f"BookError: {open_folder / 'deep' / 'new.book'}: cannot be opened: Permission denied."
    )
    assert path.read_bytes() == before
    assert sorted(each.name for each in open_folder.iterdir()) == ["ideas.book"]


def test_an_older_book_in_a_closed_folder(open_folder: Path) -> None:
    """A book of an earlier version is read where it cannot be brought up to date, and stays as it is."""
    path = open_folder / "ideas.book"
    with Book(path) as book:
        store.remember(book, answer("C", 0, [1, 2]), MOMENT, command="", options={}, rules="", version="")
        for table in ("latest", "aside"):
            book.run(f"DROP TABLE {table}")
        book.run("PRAGMA user_version = 2")
    path.chmod(0o444)
    before = path.read_bytes()

    def reads() -> str:
        with Book(path, writes=False) as book:
            return f"{len(store.every_entry(book))} {book.rows('SELECT count(*) FROM latest')}"

    assert in_closed_folder(open_folder, reads) == "2 [(0,)]"
    assert path.read_bytes() == before


# Damage


def filled(path: Path) -> bytes:
    """A book of thirty ideas."""
    with Book(path) as book:
        for key, form in (("C", 0), ("F", 1), ("C", 1)):
            ideas = answer(key, form, [*range(12)])
            store.remember(book, ideas, MOMENT, command="ideas", options={}, rules="", version="1")
        store.tag(book, [1, 2, 3], "gig")
    return path.read_bytes()


def _cut(content: bytes) -> bytes:
    return content[: len(content) // 2]


def _zeros(content: bytes) -> bytes:
    return content[:4096] + bytes(len(content) - 4096)


def _noise(content: bytes) -> bytes:
    rough = bytes(int(each * 256) for each in Dice(3).doubles(len(content) - 100).tolist())
    return content[:100] + rough


DAMAGES: dict[str, Callable[[bytes], bytes]] = {
    "cut": _cut,
    "cut to a few bytes": lambda content: content[:50],
    "zeros after the first page": _zeros,
    "noise after the head": _noise,
    "no head": lambda content: bytes(100) + content[100:],
    "text": lambda content: b"These are my ideas.\n" * (len(content) // 20),
}


@pytest.mark.costly
@pytest.mark.parametrize("name", DAMAGES)
@pytest.mark.parametrize(
    "arguments",
    [
        ("book",),
        ("book", "show", "1"),
        ("book", "star", "1"),
        ("book", "check"),
        ("ideas", "| C |", "--fresh"),
    ],
    ids=" ".join,
)
def test_a_damaged_book(
    name: str,
    arguments: tuple[str, ...],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Damage is recognised, the file is named and kept as it is, and the way on is told."""
    path = tmp_path / "ideas.book"
    path.write_bytes(damaged := DAMAGES[name](filled(path)))
    assert run(*arguments, "--book", str(path)) == 2
    err = capsys.readouterr().err
    assert f"{path}: is damaged, or not an idea book" in err
    assert "left as it is" in err
    assert "Replace it with a good copy" in err
    assert len(err.splitlines()) == 1
    assert path.read_bytes() == damaged
    assert run("ideas", "| C | G7 |", "-n", "1", "--book", str(path)) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert f"{path}: is damaged, or not an idea book" in err
    monkeypatch.setenv("FILLGEN_BOOK", str(path))
    assert run("ideas", "| C | G7 |", "-n", "1") == 0
    out, err = capsys.readouterr()
    assert "1 idea of " in out
    assert err.startswith("Note: ideas not saved in the book: ")
    assert len(err.splitlines()) == 1
    assert path.read_bytes() == damaged


def test_damage_by_chance(tmp_path: Path) -> None:
    """Some bytes changed anywhere: `check` sees it or the ideas are all there, and nothing but BookError is raised."""
    path = tmp_path / "ideas.book"
    whole = filled(path)
    with Book(path) as book:
        expected = {entry.id for entry in store.every_entry(book)}
    seen = 0
    for seed in range(60):
        dice = Dice(seed)
        content = bytearray(whole)
        for _ in range(1 + dice.below(40)):
            content[dice.below(len(content))] = dice.below(256)
        path.write_bytes(bytes(content))
        try:
            with Book(path) as book:
                book.check()
                assert {entry.id for entry in store.every_entry(book)} == expected
        except BookError:
            seen += 1
    assert seen > 30
