"""Files that somebody else made: the one place where they are opened, so that none of them can stop the program.

A pipe or a device from which nothing comes is refused after a short time, and no more is read than was asked for.
"""

from __future__ import annotations

import os
import select
import stat
import sys
import time
from pathlib import Path

from fillgen.errors import OutputError

PATIENCE = 2.0
"""How long a pipe may send nothing, in seconds."""
_PAUSE = 0.02
_PIECE = 1 << 20
_NO_WAITING = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)


def from_stdin(most: int) -> bytes:
    """The bytes of standard input, `most` of them and one more at most; OutputError where it is closed."""
    if sys.stdin is None:
        raise OutputError("is closed", place="standard input", hint="Give text or a file instead of -.")
    return sys.stdin.buffer.read(most + 1)


def read_bytes(path: Path, most: int) -> bytes:
    """The bytes of a file, `most` of them and one more at most, by which a longer file is known.

    Raises OutputError where it cannot be read, and where it is a pipe from which nothing comes.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "fern.txt"
    ...     _ = path.write_bytes(b"F5q. Eb5e D5h")
    ...     read_bytes(path, 3)
    b'F5q.'
    """
    try:
        handle = os.open(path, os.O_RDONLY | _NO_WAITING)
        try:
            is_plain = stat.S_ISREG(os.fstat(handle).st_mode) or not hasattr(os, "O_NONBLOCK")
            return _all(handle, most + 1) if is_plain else _sent(handle, most + 1, path)
        finally:
            os.close(handle)
    except OSError as error:
        raise unread(path, error) from error
    except ValueError as error:
        raise OutputError("is not a name for a file", place=repr(str(path))[:80]) from error


def unread(path: Path, error: OSError) -> OutputError:
    """The error for a file that can't be read, with the system's reason."""
    is_gone = isinstance(error, FileNotFoundError)
    why = "no such file" if is_gone else f"cannot be read: {error.strerror or error}"
    return OutputError(why, place=str(path))


def decoded(content: bytes, place: str, hint: str) -> str:
    r"""The text that bytes hold; OutputError with the hint where they hold none.

    >>> decoded(b"\xef\xbb\xbfF5q. Eb5e D5h", "fern.txt", "Write notes like F5q.")
    'F5q. Eb5e D5h'
    """
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        why = f"not text (byte {error.start} is not UTF-8)"
        raise OutputError(why, place=place, hint=hint) from None


def _all(handle: int, most: int) -> bytes:
    """What a plain file holds, up to some bytes."""
    parts: list[bytes] = []
    left = most
    while left and (part := os.read(handle, min(left, _PIECE))):
        parts.append(part)
        left -= len(part)
    return b"".join(parts)


def _sent(handle: int, most: int, path: Path) -> bytes:
    """What comes from a pipe or a device until it ends; OutputError where nothing comes for too long."""
    parts: list[bytes] = []
    left, until = most, time.monotonic() + PATIENCE
    while left:
        ready, _, _ = select.select([handle], [], [], max(0.0, until - time.monotonic()))
        part = os.read(handle, min(left, _PIECE)) if ready else b""
        if part:
            parts.append(part)
            left, until = left - len(part), time.monotonic() + PATIENCE
        elif ready and parts:
            break
        elif time.monotonic() >= until:
            raise OutputError("sends nothing", place=str(path), hint="Give the name of a plain file.")
        else:
            time.sleep(_PAUSE)  # a pipe that nobody has opened for writing yet ends at once
    return b"".join(parts)
