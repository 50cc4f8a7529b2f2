"""The idea book as a file: opened, made, brought up to date, read and written in whole steps.

This is the one module that knows sqlite3. A book is a SQLite file with a write-ahead log: a command that is killed undoes
what it had begun and nothing else, and one process can read while another writes. A file that is damaged, newer or
no book at all is refused and left as it is.

Any book may come from someone else. Before anything in it is read, its layout is compared with that of an idea book:
a view or a trigger would run as soon as a table is looked at. How much work a question may be, how long one value is and
how much is read at once are bounded by the size of the file, so that a damaged or hostile tree of pages comes to an end.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import stat
import time
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, NoReturn

from fillgen.book.schema import APPLICATION, LATEST, statements, whole
from fillgen.errors import OutputError, shorten

WAIT = 2.5
"""How long a command waits for another that writes, in seconds."""
SHORT_WAIT = 1.5
"""How long a command waits that has shown its answer and only remembers it."""
_PAUSE = 0.01
_HEAD = 100
"""Bytes of the head of a SQLite file (SQLite file format, section 1.3)."""
MAGIC = b"SQLite format 3\0"
_LONGEST_VALUE = 10_000_000
"""The longest text or row that is read or written, in bytes."""
_STEPS, _STEPS_A_BYTE = 20_000_000, 10
"""How many steps of SQLite's machine one question may take, and how many more for each byte of the file."""
_AT_A_TIME = 10_000
"""Steps between two looks at how many there were."""
_ROOM, _ROOM_A_BYTE = 30_000_000, 6
"""How much the answer to one question may hold, in bytes, and how much more for each byte of the file."""
_A_VALUE = 60
"""What a value costs beside its letters, in bytes, about as Python has it."""
_BUSY = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR, sqlite3.SQLITE_SCHEMA}
_CLOSED = {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_IOERR}

_BESIDE = ("-wal", "-journal")
"""How the names of the files end in which SQLite keeps what is not in the book yet, or what it had before."""

Row = tuple[Any, ...]
Kinds = Sequence[type | tuple[type, ...]]
"""The types of the values of a row, in order."""
_NO_KINDS: Kinds = ()


class BookError(OutputError):
    """An idea book that cannot be read or written."""


class BusyError(BookError):
    """An idea book that another process is still writing to after the wait."""


class Book:
    """An open idea book; a context manager that closes it.

    With `writes` off nothing is made or changed: where there is no file the book is empty, and an older book is brought
    up to date as a copy in memory. `copies` is for a book that is only read: all of it is copied into memory at one
    moment, so that another process that writes to it isn't kept waiting. `wait` are the seconds to wait for another
    process that writes. Raises BookError if the file is busy, damaged, newer than this program, not an idea book, or
    cannot be read or written.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder, Book(Path(folder) / "ideas.book") as book:
    ...     book.rows("SELECT count(*) FROM idea")
    [(0,)]
    """

    def __init__(self, path: Path, *, writes: bool = True, copies: bool = False, wait: float = WAIT) -> None:
        self.path = path
        self.wait = wait
        self.writes = writes
        self._steps = self._most_steps = 0
        self._room = _ROOM
        with self._translated():
            if writes:
                _make(path)
                self._pages = self._opened_to_write()
            else:
                self._pages = self._opened_to_read(copies=copies)

    def __enter__(self) -> Book:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        with contextlib.suppress(sqlite3.Error):
            self._pages.close()

    @property
    def exists(self) -> bool:
        """Whether there is a file; a book that is only read may have none."""
        return _exists(self.path)

    # Reading and writing

    def rows(self, question: str, values: Sequence[object] = (), kinds: Kinds = _NO_KINDS) -> list[Row]:
        """The rows of a query in SQL; BookError if values don't have the given types."""
        found: list[Row] = []
        room = self._room
        with self._translated():
            for row in self._pages.execute(question, values):
                room -= sum(_size(value) for value in row)
                if room < 0:
                    raise self.damaged("it holds more than its size can explain")
                found.append(row)
        for row in found if kinds else ():
            self._check_kinds(row, kinds)
        return found

    def one(self, question: str, values: Sequence[object] = (), kinds: Kinds = _NO_KINDS) -> Row | None:
        """The first row that answers a question in SQL, None if there is none."""
        with self._translated():
            found: Row | None = self._pages.execute(question, values).fetchone()
        if found is not None and kinds:
            self._check_kinds(found, kinds)
        return found

    def _check_kinds(self, row: Row, kinds: Kinds) -> None:
        """BookError if a value of a row has the wrong type: SQLite takes any type in any column."""
        if not all(map(isinstance, row, kinds)):
            raise self.damaged(f"a value in it is of the wrong kind: {shorten(str(row), 60)}")

    def run(self, statement: str, values: Sequence[object] = ()) -> int:
        """Carry out a statement; the number of rows it met."""
        with self._translated():
            return self._pages.execute(statement, values).rowcount

    def run_many(self, statement: str, rows: Iterable[Sequence[object]]) -> None:
        """Carry out a statement for each of some rows."""
        with self._translated():
            self._pages.executemany(statement, rows)

    def added(self, statement: str, values: Sequence[object]) -> int:
        """Add a row; its number."""
        with self._translated():
            return self._pages.execute(statement, values).lastrowid or 0

    @contextlib.contextmanager
    def writing(self) -> Iterator[None]:
        """A transaction: what is written inside is written whole or not at all; inside another one, it is part of that."""
        if self._is_inside():
            yield
            return
        with self._translated():
            self._pages.execute("BEGIN IMMEDIATE")
        try:
            yield
            with self._translated():
                self._pages.execute("COMMIT")
        finally:
            if self._is_inside():
                with contextlib.suppress(sqlite3.Error):
                    self._pages.execute("ROLLBACK")

    def _is_inside(self) -> bool:
        return self._pages.in_transaction

    def check(self) -> None:
        """Read the whole book; BookError if any of it is damaged."""
        found = [fault for (fault,) in self.rows("PRAGMA integrity_check")]
        if found != ["ok"] or self.rows("PRAGMA foreign_key_check"):
            raise self.damaged(str(found[0]).splitlines()[0] if found != ["ok"] else "a row leads nowhere")

    def check_usable(self) -> None:
        """BookError if the book cannot be written, or where it is damaged at first sight."""
        with self.writing():
            for table in ("progression", "chart", "origin", "idea", "showing", "tag", "latest"):
                self.rows(f"SELECT count(*) FROM {table}")  # noqa: S608 - made of the words above

    # Opening

    def _opened_to_write(self) -> sqlite3.Connection:
        _refuse_cut(self.path, self)
        pages = self._bounded(sqlite3.connect(self.path, timeout=self.wait, isolation_level=None))
        try:
            pages.execute("PRAGMA foreign_keys = ON")
            version = self._version(pages)
            self._keep_log(pages)
            pages.execute("PRAGMA synchronous = NORMAL")
            if version < LATEST:
                self._bring_up_to_date(pages)
        except BaseException:
            pages.close()
            raise
        return pages

    def _bounded(self, pages: sqlite3.Connection) -> sqlite3.Connection:
        """A connection on which no query can take forever or fill the memory, whatever the file holds."""
        size = sum(_bytes_of(path) for path in (self.path, _beside(self.path, "-wal")))
        self._most_steps = _STEPS + _STEPS_A_BYTE * size
        self._room = _ROOM + _ROOM_A_BYTE * size
        pages.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, _LONGEST_VALUE)
        pages.set_progress_handler(self._is_too_much, _AT_A_TIME)
        pages.execute("PRAGMA trusted_schema = OFF")
        pages.execute("PRAGMA cell_size_check = ON")
        return pages

    def _is_too_much(self) -> bool:
        """Whether a query has taken more steps than a sound book of that size can need."""
        self._steps += _AT_A_TIME
        return self._steps > self._most_steps

    def _version(self, pages: sqlite3.Connection) -> int:
        """The version of the book, 0 for an empty file; BookError for any other file, and for a newer book."""
        with _at_one_moment(pages):
            ((application,),) = pages.execute("PRAGMA application_id").fetchall()
            ((version,),) = pages.execute("PRAGMA user_version").fetchall()
            layout = pages.execute("SELECT type, name, tbl_name, sql FROM sqlite_master").fetchall()
        if application != APPLICATION and (application or version or layout):
            hint = "Name another file with --book, or move this one away."
            raise BookError("is a SQLite file but not an idea book", place=str(self.path), hint=hint)
        if version > LATEST:
            raise BookError(
                f"was made by a newer fillgen (version {version} of the book, this one knows {LATEST})",
                place=str(self.path),
                hint="It was left as it is. Update fillgen, or name another file with --book.",
            )
        self._check_layout(int(version), layout)
        return int(version)

    def _check_layout(self, version: int, found: Sequence[Row]) -> None:
        """BookError if a book lacks a table of its version, or holds anything beside those: a view, a trigger."""
        known = _layout(version) if version >= 0 else frozenset()
        for row in found:
            if _squeezed(row) not in known:
                raise self.damaged(f"it holds a {row[0]} that idea books don't have, {shorten(str(row[1]))}")
        if len(found) != len(known):
            raise self.damaged("it lacks a table or an index")

    def _keep_log(self, pages: sqlite3.Connection) -> None:
        """Turn the write-ahead log on. Where the file system cannot have one, SQLite's older journal does its work."""
        until = time.monotonic() + self.wait
        while True:
            try:
                pages.execute("PRAGMA journal_mode = WAL")
            except sqlite3.OperationalError as error:
                if _kind(error) not in _BUSY:
                    return
                if time.monotonic() > until:
                    raise
                time.sleep(_PAUSE)
            else:
                return

    def _bring_up_to_date(self, pages: sqlite3.Connection) -> None:
        """Take the steps that the book lacks, all or none; another process may have been faster."""
        pages.execute("BEGIN IMMEDIATE")
        try:
            for statement in statements(self._version(pages)):
                pages.execute(statement)
            pages.execute(f"PRAGMA application_id = {APPLICATION}")
            pages.execute(f"PRAGMA user_version = {LATEST}")
            pages.execute("COMMIT")
        finally:
            if pages.in_transaction:
                pages.execute("ROLLBACK")

    def _opened_to_read(self, *, copies: bool) -> sqlite3.Connection:
        """The book to be read, an empty one where there is no file."""
        if not _exists(self.path):
            return self._in_memory()
        _refuse_cut(self.path, self)
        try:
            return self._to_read(_mode(self.path), copies=copies)
        except sqlite3.OperationalError as error:
            if _kind(error) not in _CLOSED or any(_bytes_of(_beside(self.path, end)) for end in _BESIDE):
                raise
        return self._to_read("mode=ro&immutable=1", copies=copies)

    def _to_read(self, mode: str, *, copies: bool) -> sqlite3.Connection:
        uri = f"{self.path.resolve().as_uri()}?{mode}"
        pages = sqlite3.connect(uri, uri=True, timeout=self.wait, isolation_level=None)
        try:
            self._bounded(pages).execute("PRAGMA query_only = ON")
            if self._version(pages) == LATEST and not copies:
                return pages
            copy = self._copied(pages)
        except BaseException:
            pages.close()
            raise
        pages.close()
        return copy

    def _copied(self, pages: sqlite3.Connection) -> sqlite3.Connection:
        """A copy in memory of a book as it is at one moment, brought up to date there."""
        copy = self._bounded(sqlite3.connect(":memory:", isolation_level=None))
        with _at_one_moment(pages):
            version = self._version(pages)
            pages.backup(copy)  # for this moment nobody can be in the way, or it would wait forever
        if version < LATEST:
            self._bring_up_to_date(copy)
        return copy

    def _in_memory(self) -> sqlite3.Connection:
        """An empty book in memory."""
        pages = self._bounded(sqlite3.connect(":memory:", isolation_level=None))
        self._bring_up_to_date(pages)
        return pages

    # Failures

    @contextlib.contextmanager
    def _translated(self) -> Iterator[None]:
        """Failures of the file and of SQLite as BookError; the steps of each question are counted from here."""
        self._steps = 0
        try:
            yield
        except sqlite3.Error as error:
            self._fail(error)
        except OverflowError as error:
            raise BookError("holds no number as large as that", place=str(self.path)) from error
        except UnicodeDecodeError as error:
            raise self.damaged("a text in it is not valid text") from error
        except OSError as error:
            raise BookError(f"cannot be opened: {error.strerror or error}", place=str(self.path)) from error

    def _fail(self, error: sqlite3.Error) -> NoReturn:
        kind = _kind(error)
        if kind in _BUSY:
            hint = "Another fillgen is writing to it; try again in a moment."
            raise BusyError("the idea book is busy", place=str(self.path), hint=hint) from error
        if kind in (sqlite3.SQLITE_INTERRUPT, sqlite3.SQLITE_TOOBIG):
            raise self.damaged("it takes more work to read than its size can explain") from error
        if kind in _DAMAGED:
            raise self.damaged(str(error)) from error
        if kind == sqlite3.SQLITE_FULL:
            raise BookError("cannot be written: the disk is full", place=str(self.path)) from error
        if getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_READONLY_ROLLBACK:
            hint = "The next command that changes the book, such as fillgen book star, rolls that back."
            raise BookError(
                "was interrupted while it was being written", place=str(self.path), hint=hint
            ) from error
        if kind == sqlite3.SQLITE_READONLY:
            hint = (
                "You may read this file but not change it: check the permissions of the file and its folder."
            )
            raise BookError("can be read but not written", place=str(self.path), hint=hint) from error
        raise BookError(f"cannot be used: {error}", place=str(self.path)) from error

    def damaged(self, why: str) -> BookError:
        """The error for a book that cannot be read, with the reason in a few words."""
        return BookError(
            f"is damaged, or not an idea book ({why}), and was left as it is",
            place=str(self.path),
            hint="Replace it with a good copy, or move it away to start a new book.",
        )


@contextlib.contextmanager
def _at_one_moment(pages: sqlite3.Connection) -> Iterator[None]:
    """What is read inside is of one moment, though another process may be making the book just now."""
    if pages.in_transaction:
        yield
        return
    pages.execute("BEGIN")
    try:
        yield
    finally:
        with contextlib.suppress(sqlite3.Error):
            pages.execute("ROLLBACK")


def _kind(error: sqlite3.Error) -> int:
    """The primary result code of SQLite, -1 if there is none."""
    code = getattr(error, "sqlite_errorcode", None)
    return -1 if code is None else code & 0xFF


@lru_cache(maxsize=LATEST + 1)
def _layout(version: int) -> frozenset[Row]:
    """What a book of a version has: the type, name, table and definition of each table and index, squeezed."""
    with contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as pages:
        for statement in whole(version):
            pages.execute(statement)
        found = pages.execute("SELECT type, name, tbl_name, sql FROM sqlite_master").fetchall()
    return frozenset(map(_squeezed, found))


def _squeezed(row: Row) -> Row:
    """A row of the layout without the blanks in its definition, which mean nothing."""
    return (*row[:3], "".join(row[3].split()) if isinstance(row[3], str) else row[3])


def _size(value: object) -> int:
    return _A_VALUE + (len(value) if isinstance(value, str | bytes) else 0)


def _beside(path: Path, ending: str) -> Path:
    """The file in which SQLite keeps what is not in the book yet."""
    return path.with_name(f"{path.name}{ending}")


def _bytes_of(path: Path) -> int:
    """The size of a file, 0 if there is none."""
    try:
        return path.stat().st_size
    except (OSError, ValueError):
        return 0


def _mode(path: Path) -> str:
    """The mode in which a book is opened to be read.

    Where it has a log or a journal beside it, that is left alone as well. Where it has none, SQLite begins a log, which
    only a connection that may write clears away.
    """
    return "mode=ro" if any(_beside(path, end).exists() for end in _BESIDE) else "mode=rw"


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except ValueError:
        raise BookError("is not a name for a book", place=repr(str(path))[:80]) from None


def _make(path: Path) -> None:
    """Make an empty file that only its owner can read, and the folders above it, if they don't exist."""
    if _exists(path):
        return
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))


def refuse_unusable(path: Path) -> None:
    """BookError if a file cannot be used as an idea book; a file that is not there yet is not made.

    A book that is busy just now can be used later, and is not refused.
    """
    if _exists(path):
        with contextlib.suppress(BusyError), Book(path, wait=SHORT_WAIT) as book:
            book.check_usable()
        return
    above = next(folder for folder in path.absolute().parents if folder.exists())
    if not above.is_dir():
        raise BookError(f"cannot be made: {above} is not a folder", place=str(path))
    if not os.access(above, os.W_OK | os.X_OK):
        raise BookError(f"cannot be made: you may not write to the folder {above}", place=str(path))


def read_head(path: Path) -> tuple[bytes, int]:
    """The first bytes of a file, and its size; BookError for a folder, a pipe or a device, OSError as usual."""
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(handle, "rb") as file:
        found = os.fstat(handle)
        if not stat.S_ISREG(found.st_mode):
            raise BookError("is a pipe or a device, not an idea book", place=str(path))
        return file.read(_HEAD), found.st_size


def _refuse_cut(path: Path, book: Book) -> None:
    """BookError for anything but a plain SQLite file, and for one that is shorter than it claims.

    SQLite itself would begin a file of its own over some of these.
    """
    if path.is_dir():
        raise BookError("is a folder, not an idea book", place=str(path))
    head, size = read_head(path)
    if not head:
        return
    if len(head) < _HEAD or not head.startswith(MAGIC):
        raise book.damaged("it doesn't begin like a SQLite file")
    page = int.from_bytes(head[16:18], "big")
    stated = (65536 if page == 1 else page) * int.from_bytes(head[28:32], "big")
    if size < stated and not _beside(path, "-wal").exists():
        raise book.damaged("it is shorter than it should be")
