"""The idea book as a file: opened, made, brought up to date, read and written in whole steps.

This is the one module that knows sqlite3. A book is a SQLite file with a write-ahead log: a command that is killed takes
back what it had begun and nothing else, and one process can read while another writes. A file that is damaged, newer or
no book at all is refused and left as it is.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import time
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, NoReturn

from fillgen.book.schema import APPLICATION, LATEST, statements
from fillgen.errors import OutputError

WAIT = 5.0
"""How long a command waits for another that writes, in seconds."""
SHORT_WAIT = 2.0
"""How long a command waits that has shown its answer and only remembers it."""
_PAUSE = 0.01
_HEAD = 100
"""Bytes of the head of a SQLite file (SQLite file format, section 1.3)."""
MAGIC = b"SQLite format 3\0"
_BUSY = {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}
_DAMAGED = {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR, sqlite3.SQLITE_SCHEMA}
_CLOSED = {sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_IOERR}

Row = tuple[Any, ...]


class BookError(OutputError):
    """An idea book that cannot be read or written."""


class BusyError(BookError):
    """An idea book that another process is writing to for longer than was waited."""


class Book:
    """An open idea book; a context manager that closes it.

    With `writes` off nothing is made: where there is no file the book is empty, and a file that may only be read is
    read. `wait` are the seconds to wait for another process that writes. Raises BookError where the file is busy,
    damaged, newer than this program, no idea book, or cannot be read or written.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder, Book(Path(folder) / "ideas.book") as book:
    ...     book.rows("SELECT count(*) FROM idea")
    [(0,)]
    """

    def __init__(self, path: Path, *, writes: bool = True, wait: float = WAIT) -> None:
        self.path = path
        self.wait = wait
        self.writes = writes
        with self._told():
            if writes:
                _make(path)
                self._pages = self._opened(path)
            else:
                self._pages = self._opened_to_read()

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

    def rows(self, question: str, values: Sequence[object] = ()) -> list[Row]:
        """The rows that answer a question in SQL."""
        with self._told():
            return self._pages.execute(question, values).fetchall()

    def one(self, question: str, values: Sequence[object] = ()) -> Row | None:
        """The first row that answers a question in SQL, None where there is none."""
        with self._told():
            found: Row | None = self._pages.execute(question, values).fetchone()
            return found

    def run(self, statement: str, values: Sequence[object] = ()) -> int:
        """Carry out a statement; the number of rows it met."""
        with self._told():
            return self._pages.execute(statement, values).rowcount

    def run_many(self, statement: str, rows: Iterable[Sequence[object]]) -> None:
        """Carry out a statement for each of some rows."""
        with self._told():
            self._pages.executemany(statement, rows)

    def added(self, statement: str, values: Sequence[object]) -> int:
        """Add a row; its number."""
        with self._told():
            return self._pages.execute(statement, values).lastrowid or 0

    @contextlib.contextmanager
    def writing(self) -> Iterator[None]:
        """What is written inside is written whole or not at all; inside another such step it is part of that."""
        if self._is_inside():
            yield
            return
        with self._told():
            self._pages.execute("BEGIN IMMEDIATE")
        try:
            yield
            with self._told():
                self._pages.execute("COMMIT")
        finally:
            if self._is_inside():
                with contextlib.suppress(sqlite3.Error):
                    self._pages.execute("ROLLBACK")

    def _is_inside(self) -> bool:
        return self._pages.in_transaction

    def check(self) -> None:
        """Read the whole book; BookError where any of it is damaged."""
        found = [told for (told,) in self.rows("PRAGMA integrity_check")]
        if found != ["ok"] or self.rows("PRAGMA foreign_key_check"):
            raise self.damaged(str(found[0]).splitlines()[0] if found != ["ok"] else "a row leads nowhere")

    def check_usable(self) -> None:
        """BookError where the book cannot be written, or where it is damaged at first sight."""
        with self.writing():
            for table in ("progression", "chart", "origin", "idea", "showing", "tag", "latest"):
                self.rows(f"SELECT count(*) FROM {table}")  # noqa: S608 - made of the words above

    # Opening

    def _opened(self, path: Path) -> sqlite3.Connection:
        _refuse_cut(path, self)
        pages = sqlite3.connect(path, timeout=self.wait, isolation_level=None)
        try:
            self._prepare(pages)
        except BaseException:
            pages.close()
            raise
        return pages

    def _prepare(self, pages: sqlite3.Connection) -> None:
        """Judge the file, and bring it up to date."""
        pages.execute("PRAGMA foreign_keys = ON")
        version = self._version(pages)
        self._keep_log(pages)
        pages.execute("PRAGMA synchronous = NORMAL")
        if version < LATEST:
            self._bring_up_to_date(pages)

    def _version(self, pages: sqlite3.Connection) -> int:
        """The version of the book, 0 for an empty file; BookError for any other file, and for a newer book."""
        with _at_one_moment(pages):
            ((application,),) = pages.execute("PRAGMA application_id").fetchall()
            ((version,),) = pages.execute("PRAGMA user_version").fetchall()
            ((tables,),) = pages.execute("SELECT count(*) FROM sqlite_master").fetchall()
        if application != APPLICATION and (application or version or tables):
            hint = "Name another file with --book, or move this one away."
            raise BookError("is a SQLite file but no idea book", place=str(self.path), hint=hint)
        if version > LATEST:
            raise BookError(
                f"was made by a newer fillgen (version {version} of the book, this one knows {LATEST})",
                place=str(self.path),
                hint="It was left as it is. Update fillgen, or name another file with --book.",
            )
        return int(version)

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
        """Take the steps that the book lacks, all or none; another process may have been quicker."""
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

    def _opened_to_read(self) -> sqlite3.Connection:
        """The book to be read, an empty one where there is no file."""
        if not _exists(self.path):
            return self._empty()
        try:
            return self._opened(self.path)
        except sqlite3.OperationalError as error:
            if _kind(error) not in _CLOSED:
                raise
        return self._opened_closed()

    def _empty(self) -> sqlite3.Connection:
        pages = sqlite3.connect(":memory:", isolation_level=None)
        self._bring_up_to_date(pages)
        return pages

    def _opened_closed(self) -> sqlite3.Connection:
        """A book on a medium that can only be read; the log beside it is read where there is one."""
        log = self.path.with_name(f"{self.path.name}-wal")
        mode = "mode=ro" if log.exists() and log.stat().st_size else "mode=ro&immutable=1"
        uri = f"{self.path.resolve().as_uri()}?{mode}"
        pages = sqlite3.connect(uri, uri=True, timeout=self.wait, isolation_level=None)
        try:
            if self._version(pages) == LATEST:
                return pages
            return self._copied(pages)
        except BaseException:
            pages.close()
            raise

    def _copied(self, pages: sqlite3.Connection) -> sqlite3.Connection:
        """An older book as a copy in memory, which can be brought up to date where its file cannot."""
        copy = sqlite3.connect(":memory:", isolation_level=None)
        pages.backup(copy)
        pages.close()
        self._bring_up_to_date(copy)
        return copy

    # Failures

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        """Failures of the file and of SQLite as BookError."""
        try:
            yield
        except sqlite3.Error as error:
            self._fail(error)
        except OverflowError as error:
            raise BookError("holds no number as large as that", place=str(self.path)) from error
        except UnicodeDecodeError as error:
            raise self.damaged("a text in it is none") from error
        except OSError as error:
            told = f"cannot be opened: {error.strerror or error}"
            raise BookError(told, place=str(self.path)) from error

    def _fail(self, error: sqlite3.Error) -> NoReturn:
        kind = _kind(error)
        if kind in _BUSY:
            hint = "Another fillgen is writing to it; try again in a moment."
            raise BusyError("the idea book is busy", place=str(self.path), hint=hint) from error
        if kind in _DAMAGED:
            raise self.damaged(str(error)) from error
        if kind == sqlite3.SQLITE_FULL:
            raise BookError("cannot be written: no room is left", place=str(self.path)) from error
        if kind == sqlite3.SQLITE_READONLY:
            hint = (
                "You may read this file but not change it: see the permissions of the file and of its folder."
            )
            raise BookError("can be read but not written", place=str(self.path), hint=hint) from error
        raise BookError(f"cannot be used: {error}", place=str(self.path)) from error

    def damaged(self, why: str) -> BookError:
        """The error of a book that cannot be read, with the reason in a few words."""
        return BookError(
            f"is damaged, or no idea book ({why}), and was left as it is",
            place=str(self.path),
            hint="Put a good copy in its place, or move it away and a new book is begun.",
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
    """The primary result code of SQLite, -1 where there is none."""
    code = getattr(error, "sqlite_errorcode", None)
    return -1 if code is None else code & 0xFF


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except ValueError:
        raise BookError("is no name for a book", place=repr(str(path))[:80]) from None


def _make(path: Path) -> None:
    """Make an empty file that only its owner can read, and the folders above it, where there is none."""
    if _exists(path):
        return
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    with contextlib.suppress(FileExistsError):
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))


def refuse_unusable(path: Path) -> None:
    """BookError where a file cannot be used as an idea book; a file that is not there yet is not made.

    A book that is busy just now can be used later, and is not refused.
    """
    if _exists(path):
        with contextlib.suppress(BusyError), Book(path, wait=SHORT_WAIT) as book:
            book.check_usable()
        return
    above = next(folder for folder in path.absolute().parents if folder.exists())
    if not above.is_dir():
        raise BookError(f"cannot be made: {above} is no folder", place=str(path))
    if not os.access(above, os.W_OK | os.X_OK):
        raise BookError(f"cannot be made: the folder {above} may not be written to", place=str(path))


def _refuse_cut(path: Path, book: Book) -> None:
    """BookError for a folder, for what is no SQLite file, and for one that is shorter than it says it is.

    SQLite itself would begin a file of its own over some of these.
    """
    if path.is_dir():
        raise BookError("is a folder, not an idea book", place=str(path))
    with path.open("rb") as file:
        head = file.read(_HEAD)
        size = file.seek(0, os.SEEK_END)
    if not head:
        return
    if len(head) < _HEAD or not head.startswith(MAGIC):
        raise book.damaged("it does not begin as a SQLite file does")
    page = int.from_bytes(head[16:18], "big")
    told = (65536 if page == 1 else page) * int.from_bytes(head[28:32], "big")
    if size < told and not path.with_name(f"{path.name}-wal").exists():
        raise book.damaged("it is shorter than it should be")
