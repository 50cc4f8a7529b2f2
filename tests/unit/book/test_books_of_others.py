"""Books of others: whatever is in the file, nothing of it runs, fills the memory, hangs, or reaches the terminal raw.

Each file here is made by SQLite itself, as anybody can make one.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

import fillgen
from fillgen.book import door, exchange, store
from fillgen.book.door import Book, BookError
from fillgen.cli import main
from fillgen.errors import FillgenError
from tests.processes import unmeasured

MOMENT = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
CHART = "title: Harbour lamps\n| Abmaj7 | Fm7 | Bbm7 | Eb7 |"
ENDLESS = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i FROM n"
ESCAPE = "\x1b]0;owned\x07"


def remembered(book: Book, seed: int) -> list[int]:
    found = fillgen.ideas(CHART, count=3, seed=seed)
    return store.remember(book, found, MOMENT, command="ideas", options={}, rules="built-in", version="1")


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with both books as they were made, of which every test has copies."""
    folder = tmp_path_factory.mktemp("shelf")
    with Book(folder / "own.book") as book:
        remembered(book, 1)
    with Book(folder / "theirs.book") as book:
        numbers = remembered(book, 2)
        store.rename(book, numbers[:1], "Slack tide")
        store.annotate(book, numbers[:1], "softer")
        store.tag(book, numbers, "gig")
        store.put_in_set(book, "Friday", numbers)
    assert sorted(files(folder)) == ["own.book", "theirs.book"]
    return folder


@pytest.fixture
def own(shelf: Path, tmp_path: Path) -> Path:
    """A player's own book, of three ideas."""
    return Path(shutil.copy(shelf / "own.book", tmp_path))


@pytest.fixture
def theirs(shelf: Path, tmp_path: Path) -> Path:
    """Somebody else's book, of three other ideas with a name, a note, a tag and a set."""
    return Path(shutil.copy(shelf / "theirs.book", tmp_path))


def changed(path: Path, *statements: str) -> None:
    """Change a book behind the program's back."""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as pages:
        pages.execute("PRAGMA ignore_check_constraints = ON")
        pages.execute("PRAGMA writable_schema = ON")
        for statement in statements:
            pages.execute(statement)


def said(capsys: pytest.CaptureFixture[str], *arguments: str, code: int = 2) -> str:
    """What a command prints, in one line where it fails; nothing that a terminal would obey."""
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    out, err = capsys.readouterr()
    assert (ended.value.code or 0) == code, (out, err)
    assert all(line.isprintable() for line in (out + err).splitlines()), (out, err)
    assert code == 0 or (not out and len(err.splitlines()) == 1)
    return out + err


def files(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


# The layout

LAYOUTS = {
    "a view": (f"CREATE VIEW more AS {ENDLESS}",),
    "a view in the place of a table": ("DROP TABLE tag", f"CREATE VIEW tag AS SELECT i AS word, i AS idea FROM ({ENDLESS})"),
    "a trigger": ("CREATE TRIGGER greedy AFTER UPDATE ON idea BEGIN DELETE FROM tag; END",),
    "a table": ("CREATE TABLE more (a)",),
    "an index": ("CREATE INDEX more ON idea (upper(name))",),
    "a column": ("ALTER TABLE idea ADD COLUMN more TEXT",),
    "a generated column": ("ALTER TABLE idea ADD COLUMN more TEXT AS (hex(zeroblob(1000)))",),
    "a virtual table": ("CREATE VIRTUAL TABLE more USING fts4(a)",),
    "a table that is missing": ("DROP TABLE member",),
    "an index that is missing": ("DROP INDEX tag_by_idea",),
    "a column of another kind": ("UPDATE sqlite_master SET sql = replace(sql, 'word TEXT', 'word BLOB') WHERE name = 'tag'",),
    "a version below nothing": ("PRAGMA user_version = -1",),
    "an older version's number": ("PRAGMA user_version = 1",),
}  # fmt: skip


@pytest.mark.parametrize("name", LAYOUTS)
def test_another_layout_is_refused(
    name: str, own: Path, theirs: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whatever an idea book does not have is refused before any of it runs, to read, to write, to check, to merge."""
    changed(theirs, *LAYOUTS[name])
    before = files(own.parent)
    for arguments in (("book",), ("book", "show", "1"), ("book", "star", "1"), ("book", "check")):
        assert "is damaged, or not an idea book" in said(capsys, *arguments, "--book", str(theirs))
    assert str(theirs) in said(capsys, "book", "merge", str(theirs), "--book", str(own))
    with pytest.raises(BookError):
        door.refuse_unusable(theirs)
    assert files(own.parent) == before


def test_a_sound_layout_is_not_refused(theirs: Path) -> None:
    """Blanks in its definitions, and pages packed anew, make no other layout."""
    changed(theirs, "VACUUM", "UPDATE sqlite_master SET sql = replace(sql, ', ', ',\n') WHERE name = 'tag'")
    with Book(theirs) as book:
        assert store.check(book) == 3


# What is in the tables

CELLS = {
    "a name of bytes": "UPDATE idea SET name = X'FF00' WHERE id = 2",
    "a name of escapes": f"UPDATE idea SET name = '{ESCAPE}' WHERE id = 2",
    "a name of two lines": "UPDATE idea SET name = 'a' || char(10) || 'b' WHERE id = 2",
    "a note of bytes": "UPDATE idea SET note = X'FF' WHERE id = 2",
    "a note of escapes": f"UPDATE idea SET note = '{ESCAPE}' WHERE id = 2",
    "a note of a control of C1": "UPDATE idea SET note = char(155) || '31m' WHERE id = 2",
    "text of bytes": "UPDATE idea SET text = X'FF' WHERE id = 2",
    "notes of bytes": "UPDATE idea SET notes = X'FF' WHERE id = 2",
    "notes that are no list": "UPDATE idea SET notes = '7' WHERE id = 2",
    "notes nested deeply": "UPDATE idea SET notes = replace(hex(zeroblob(50000)), '0', '[') WHERE id = 2",
    "notes beyond the chart": "UPDATE idea SET notes = '[[0,480,60],[99999,480,60]]' WHERE id = 2",
    "notes no key has": "UPDATE idea SET notes = '[[0,480,200]]' WHERE id = 2",
    "terms that are no object": "UPDATE idea SET terms = '[1]' WHERE id = 2",
    "a term of escapes": """UPDATE idea SET terms = '{"\\u001b[31m": 1}' WHERE id = 2""",
    "a score that is a text": "UPDATE idea SET score = 'high' WHERE id = 2",
    "an endless score": "UPDATE idea SET score = 9e999 WHERE id = 2",
    "ten stars": "UPDATE idea SET stars = 10 WHERE id = 2",
    "stars of a text": "UPDATE idea SET stars = 'many' WHERE id = 2",
    "a tag of bytes": "UPDATE tag SET word = X'FF' WHERE idea = 2",
    "a tag of escapes": f"UPDATE tag SET word = '{ESCAPE}' WHERE idea = 2",
    "a set of bytes": "UPDATE collection SET name = X'FF'",
    "a set of escapes": f"UPDATE collection SET name = '{ESCAPE}'",
    "a place that is a text": "UPDATE member SET place = 'last' WHERE idea = 2",
    "no showing": "DELETE FROM showing WHERE idea = 2",
    "times of a text": "UPDATE showing SET times = 'often' WHERE idea = 2",
    "a day that is none": "UPDATE showing SET last = 'soon' WHERE idea = 2",
    "a chart that is none": "UPDATE chart SET text = '| Hm |'",
    "a chart of bytes": "UPDATE chart SET text = X'FF'",
    "a chart of escapes": f"UPDATE chart SET text = text || ' % {ESCAPE}'",
    "a key of bytes": "UPDATE chart SET key = X'FF'",
    "a first bar of a text": "UPDATE chart SET first = 'one'",
    "a tempo of a text": "UPDATE origin SET tempo = 'slow'",
    "a tempo of nobody": "UPDATE origin SET tempo = 100000",
    "a hand of bytes": "UPDATE origin SET hand = X'FF'",
    "options that are no JSON": "UPDATE origin SET options = '{'",
    "options nested deeply": "UPDATE origin SET options = replace(hex(zeroblob(50000)), '0', '[')",
    "a seed of letters": "UPDATE origin SET seed = 'seven'",
    "a swing of a text": "UPDATE origin SET swing = 'much'",
    "a rhythm of bytes": "UPDATE origin SET rhythm = X'FF'",
}


@pytest.mark.parametrize("name", CELLS)
def test_what_no_idea_can_be(name: str, own: Path, theirs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`check` refuses what `show` would; neither merges, and the player's own book stays as it was."""
    changed(theirs, CELLS[name])
    before = own.read_bytes()
    assert str(theirs) in said(capsys, "book", "check", "--book", str(theirs))
    assert str(theirs) in said(capsys, "book", "show", "1-3", "--book", str(theirs))
    said(capsys, "book", "merge", str(theirs), "--book", str(own))
    assert own.read_bytes() == before
    said(capsys, "ideas", "| C |", "-n", "1", "--fresh", "--book", str(theirs), code=0)


def test_titles_lose_their_escapes(own: Path, theirs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Words that no player chose are read without what a terminal would obey, from the book and after merging."""
    changed(
        theirs,
        f"UPDATE chart SET title = 'Lamps{ESCAPE}'",
        f"UPDATE origin SET rhythm = 'slow{ESCAPE}', command = '{ESCAPE}', version = '{ESCAPE}', rules = '{ESCAPE}'",
        f"UPDATE idea SET shape = 'wave{ESCAPE}', text = text || '{ESCAPE}'",
    )
    assert "Lamps]0;owned" in said(capsys, "book", "show", "1", "--book", str(theirs), code=0)
    said(capsys, "book", "check", "--book", str(theirs), code=0)
    assert said(capsys, "book", "merge", str(theirs), "--book", str(own), code=0) == "3 new ideas\n"
    with Book(own, writes=False) as book:
        words = [
            word
            for row in book.rows("SELECT title, rhythm FROM chart JOIN origin ON chart.id = chart")
            for word in row
        ]
    assert all(word.isprintable() for word in words)


def test_options_are_printable_json(own: Path, theirs: Path) -> None:
    """Options with controls that JSON lets through are read with escapes in their place."""
    changed(theirs, """UPDATE origin SET options = '{"title": "' || char(155) || '"}'""")
    with Book(theirs, writes=False) as book:
        assert store.entries(book, [1])[0].origin.options == r'{"title": "\u009b"}'
        assert exchange.to_json(store.entries(book, [1])).replace("\n", "").isprintable()


def test_an_idea_that_cannot_be_read_can_be_taken_out(
    theirs: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The message says which idea it is and how to get rid of it, which works."""
    changed(theirs, CELLS["a name of escapes"])
    assert "idea 2 cannot be read" in (told := said(capsys, "book", "check", "--book", str(theirs)))
    assert "fillgen book forget 2" in told
    said(capsys, "book", "forget", "2", "--book", str(theirs), code=0)
    assert "whole and readable, 2 ideas" in said(capsys, "book", "check", "--book", str(theirs), code=0)


# Work and size


def test_questions_come_to_an_end(theirs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A question that takes more steps than the file explains is broken off."""
    monkeypatch.setattr(door, "_STEPS", 1_000_000)
    monkeypatch.setattr(door, "_STEPS_A_BYTE", 0)
    with Book(theirs, writes=False) as book, pytest.raises(BookError, match="more work to read"):
        book.rows(f"SELECT count(*) FROM ({ENDLESS})")
    with Book(theirs) as book:
        for _ in range(3):  # each question has steps of its own
            assert book.rows(f"SELECT count(*) FROM ({ENDLESS} LIMIT 25000)") == [(25_000,)]


def test_answers_fit_the_memory(theirs: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An answer that holds more than the file explains is broken off, row by row."""
    monkeypatch.setattr(door, "_ROOM", 10_000)
    monkeypatch.setattr(door, "_ROOM_A_BYTE", 0)
    with (
        Book(theirs, writes=False) as book,
        pytest.raises(BookError, match="holds more than its size can explain"),
    ):
        book.rows(ENDLESS)


@pytest.mark.parametrize("column", ["name", "note", "text", "notes"])
def test_huge_values_are_refused(column: str, theirs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A value of eleven million bytes is never taken into memory."""
    changed(theirs, f"UPDATE idea SET {column} = zeroblob(11000000) WHERE id = 2")
    for arguments in (("book", "check"), ("book", "show", "2")):
        assert "than its size can explain" in said(capsys, *arguments, "--book", str(theirs))


# Reading leaves things as they are


def test_reading_writes_nothing(theirs: Path, own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What only reads a book changes no byte of it and leaves nothing beside it, whatever journal it keeps."""
    for mode in ("WAL", "DELETE"):
        changed(theirs, f"PRAGMA journal_mode = {mode}")
        before = files(theirs.parent)
        for arguments in (("book",), ("book", "show", "1"), ("book", "check")):
            said(capsys, *arguments, "--book", str(theirs), code=0)
        with Book(theirs, writes=False) as book, pytest.raises(BookError, match="read but not written"):
            store.star(book, [1], 3)
        with Book(theirs, writes=False, copies=True) as book:
            assert store.check(book) == 3
        assert files(theirs.parent) == before


def test_a_log_of_others_is_read_and_left(theirs: Path, own: Path) -> None:
    """A book copied with its log while somebody had it open is read with what is in the log, which stays."""
    folder = theirs.parent / "copied"
    folder.mkdir()
    with Book(theirs) as open_:
        store.tag(open_, [1], "late")
        for ending in ("", "-wal"):
            (folder / f"theirs.book{ending}").write_bytes(Path(f"{theirs}{ending}").read_bytes())
    before = files(folder)
    with Book(folder / "theirs.book", writes=False) as book:
        assert "late" in store.tags(book)
    with Book(own) as book:
        assert exchange.merge(book, folder / "theirs.book") == (3, 3)
    after = files(folder)
    assert {name: after[name] for name in before} == before


def test_a_write_that_was_stopped(theirs: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A book with the journal of a write that was stopped is not read half; the next change takes it back."""
    changed(theirs, "PRAGMA journal_mode = DELETE")
    journal = Path(f"{theirs}-journal")
    program = (
        "import os, sqlite3, sys\n"
        "pages = sqlite3.connect(sys.argv[1], isolation_level=None)\n"
        "pages.execute('PRAGMA cache_size = 1')\n"
        "pages.execute('BEGIN IMMEDIATE')\n"
        "pages.execute('UPDATE idea SET note = hex(zeroblob(30000))')\n"
        "os._exit(0)\n"
    )
    subprocess.run([sys.executable, "-c", program, str(theirs)], check=True)
    assert journal.stat().st_size
    assert "was interrupted while it was being written" in said(capsys, "book", "--book", str(theirs))
    said(capsys, "book", "star", "1", "--book", str(theirs), code=0)
    assert "whole and readable, 3 ideas" in said(capsys, "book", "check", "--book", str(theirs), code=0)


# Files that are none


def ended(*arguments: str) -> str:
    """What a command says in a process of its own, which is ended if it hangs."""
    ran = subprocess.run(
        [sys.executable, "-m", "fillgen", *arguments],
        env=unmeasured(),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert ran.returncode == 2, ran.stderr
    assert len(ran.stderr.splitlines()) == 1
    return ran.stderr


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
@pytest.mark.parametrize(
    "given",
    [("--book",), ("check", "--book"), ("star", "1", "--book"), ("merge",), ("import",)],
    ids=" ".join,
)
def test_a_pipe_is_not_a_book(given: tuple[str, ...], tmp_path: Path) -> None:
    """A pipe into which nobody writes is refused, and not waited for."""
    os.mkfifo(tmp_path / "a.book")
    assert "is a pipe or a device" in ended("book", *given, str(tmp_path / "a.book"))


def test_a_device_is_not_a_book() -> None:
    with pytest.raises(BookError, match="is a pipe or a device"):
        Book(Path(os.devnull), writes=False)


# Copies of a book that is being written

WRITER = """
import sys
from pathlib import Path
from fillgen.book import store
from fillgen.book.door import Book

print("ready", flush=True)
for number in range(10**6):
    with Book(Path(sys.argv[1])) as book, book.writing():
        store.tag(book, [1, 2, 3], f"tag {number % 50}")
        store.annotate(book, [1, 2, 3], f"{number} " * 2000)
        store.untag(book, [1, 2, 3], f"tag {(number + 25) % 50}")
"""


def test_copies_are_of_one_moment(theirs: Path) -> None:
    """Of a book that another process writes to without rest, every copy is sound, with the three ideas at one state."""
    with subprocess.Popen(
        [sys.executable, "-c", WRITER, str(theirs)], stdout=subprocess.PIPE, text=True, env=unmeasured()
    ) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "ready\n"
        try:
            for _ in range(100):
                with Book(theirs, writes=False, copies=True) as book:
                    assert store.check(book) == 3
                    entries = store.every_entry(book)
                assert len({entry.note for entry in entries[1:]}) == 1
                assert len({entry.tags for entry in entries}) == 1
        finally:
            writer.kill()


Read = Callable[[Book], object]


READS: tuple[Read, ...] = (store.every_entry, store.tags, store.sets, lambda book: store.of_last(book, [1]))


def test_only_its_own_errors_come_out(theirs: Path) -> None:
    """Of each cell put to bytes, a number and a text in turn, readers make an answer or an error of the program."""
    with contextlib.closing(sqlite3.connect(theirs)) as pages:
        whole = pages.serialize()
        tables = [name for (name,) in pages.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        cells = [
            (table, row[1])
            for table in tables
            for row in pages.execute(f"PRAGMA table_info({table})").fetchall()
        ]
    assert len(cells) > 40
    for table, column in cells:
        for value in ("X'FF'", "-7", "'\x1b'", "9e999"):
            theirs.write_bytes(whole)
            with contextlib.suppress(sqlite3.IntegrityError):
                changed(theirs, f"UPDATE {table} SET {column} = {value}")
            with Book(theirs, writes=False) as book:
                for read in READS:
                    with contextlib.suppress(FillgenError):
                        read(book)
