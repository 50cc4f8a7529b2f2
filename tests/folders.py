"""Folders that tests make in the system's temporary folder: none stays, even where a run is killed."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

if sys.platform != "win32":
    import fcntl

PREFIX = "fillgen-tests-"


@contextlib.contextmanager
def own_folder(where: Path | None = None) -> Iterator[Path]:
    """A folder that is removed in the end, and locked until then.

    Folders of processes that were killed are locked no more, and removed before it is made.
    """
    where = Path(tempfile.gettempdir()) if where is None else where
    with _lock(where):  # so that no other process takes the new folder for one left behind
        _clear(where)
        folder = Path(tempfile.mkdtemp(prefix=PREFIX, dir=where))
        lock = _lock(folder)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)
        lock.close()


def _clear(where: Path) -> None:
    """Remove the folders that nobody has locked."""
    for left in where.glob(f"{PREFIX}*"):
        with contextlib.suppress(OSError), _lock(left, waits=False):
            shutil.rmtree(left, ignore_errors=True)


def _lock(folder: Path, *, waits: bool = True) -> contextlib.ExitStack:
    """Lock a folder until what is returned is closed; OSError where another process has locked it and is not waited for."""
    lock = contextlib.ExitStack()
    if sys.platform != "win32":
        handle = os.open(folder, os.O_RDONLY)
        lock.callback(os.close, handle)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | (0 if waits else fcntl.LOCK_NB))
        except OSError:
            lock.close()
            raise
    elif not waits:
        raise OSError("nothing can be known of other processes")
    return lock
