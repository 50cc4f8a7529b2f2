"""Files written whole or not at all, by one process or by several at once.

A file is written as a draft beside it, `.NAME.RANDOM.fillgen.part`, which is then renamed. The draft of a killed process
is removed when something is next written to the same folder.

Only a plain file that you may write to is replaced, on request, and keeps its mode. A link is followed, and the file it
leads to replaced, if the link is yours or the system's and you may write to that file. A link that leads nowhere, one that
another user made, a pipe and a device are refused with the reason, and left alone.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from fillgen.errors import OutputError, invalid_name

DRAFT = ".fillgen.part"
"""The ending of a draft's name."""
PATIENCE = 2.0
"""How long a file waits for a folder that another program has locked, in seconds."""
_PAUSE = 0.01


def write_file(path: Path, content: bytes, *, overwrite: bool = False) -> None:
    """Write a file through a temporary one beside it; OutputError if it already exists or can't be written."""
    write_files({path: content}, overwrite=overwrite)


def write_folder(folder: Path, contents: Mapping[str, bytes], *, overwrite: bool = False) -> None:
    """Write several files into a folder, made if needed. Nothing is written if one of them is refused."""
    for name in contents:
        refuse_existing(folder / name, overwrite)
    make_folder(folder)
    write_files({folder / name: content for name, content in contents.items()}, overwrite=overwrite)


def write_files(contents: Mapping[Path, bytes], *, overwrite: bool = False) -> None:
    """Write several files; nothing is written if one of them is refused."""
    for path in contents:
        refuse_existing(path, overwrite)
    for folder in dict.fromkeys(path.parent for path in contents):
        clear_drafts(folder)
    for path, content in contents.items():
        put_file(path, content, overwrite=overwrite)


def make_folder(folder: Path) -> None:
    """Make a folder, and those above it, if needed; OutputError if that fails."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"cannot be made: {error.strerror or error}", place=str(folder)) from error
    except ValueError as error:
        raise invalid_name("folder", folder) from error


def refuse_homeless(path: Path) -> None:
    """OutputError if the folder of a file is missing."""
    with contextlib.suppress(OSError, ValueError):
        if not path.parent.exists():
            folder = str(path.parent)
            raise OutputError(
                "cannot be written: there is no such folder", place=str(path), hint=f"Make {folder} first."
            )


def refuse_file(folder: Path) -> None:
    """OutputError if a folder can't be made: it or one above it is a file, or it has no valid name."""
    try:
        above = next((each for each in (folder, *folder.parents) if each.exists()), None)
        is_file = above is not None and not above.is_dir()
    except (OSError, ValueError) as error:
        raise invalid_name("folder", folder) from error
    if is_file:
        raise OutputError("cannot be made: there is a file of that name", place=str(above))


def put_file(path: Path, content: bytes, *, overwrite: bool = False) -> None:
    """Write one of many files as `write_file` does, but leave the drafts of killed processes alone."""
    refuse_homeless(path)
    target = _target(path, overwrite)
    try:
        with _draft(target.path) as (handle, draft):
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            _give_rights(draft, target.old)
            with _alone_in(target.path.parent):
                if _target(path, overwrite).path != target.path:
                    raise OutputError("was changed by another program meanwhile", place=str(path))
                draft.replace(target.path)
    except OSError as error:
        raise OutputError(f"cannot be written: {error.strerror or error}", place=str(path)) from error
    except ValueError as error:
        raise invalid_name("file", path) from error


def refuse_existing(path: Path, overwrite: bool) -> None:
    """OutputError if a path can't be written to: a folder, not a name, or an existing file that must not be overwritten."""
    _target(path, overwrite)


@dataclass(frozen=True)
class _Destination:
    """Where a file is written, links followed, and the file that is there now, if any."""

    path: Path
    old: os.stat_result | None = None


def _target(path: Path, overwrite: bool) -> _Destination:
    """Where a file is written; OutputError if something there must not be replaced."""
    link = False
    try:
        link = path.is_symlink()
        whole = Path(os.path.realpath(path, strict=True)) if link else path
        old = whole.stat()
    except (FileNotFoundError, NotADirectoryError):
        if link:
            raise _leads_nowhere(path) from None
        return _Destination(path)
    except (OSError, ValueError) as error:
        if isinstance(error, OSError) and error.errno == errno.ELOOP:
            raise _leads_nowhere(path) from None
        if isinstance(error, PermissionError):
            raise OutputError(f"cannot be written: {error.strerror}", place=str(path)) from error
        raise invalid_name("file", path) from error
    _check_replaceable(path, whole, old, overwrite)
    return _Destination(whole, old)


def _leads_nowhere(path: Path) -> OutputError:
    hint = "Remove the link, or name another file."
    return OutputError("is a link that leads nowhere", place=str(path), hint=hint)


def _check_replaceable(path: Path, whole: Path, old: os.stat_result, overwrite: bool) -> None:
    """OutputError with the reason if the file at a path must not be replaced; `whole` is where its link leads."""
    if stat.S_ISDIR(old.st_mode):
        raise OutputError("is a folder", place=str(path))
    if not stat.S_ISREG(old.st_mode):
        raise OutputError("is a pipe or a device, not a file", place=str(path), hint="Name a plain file.")
    if not overwrite:
        raise OutputError("exists already", place=str(path), hint="Use --overwrite to replace it.")
    if path != whole and path.lstat().st_uid not in _trusted():
        hint = f"It leads to {whole}. Name that file if it is the one to replace."
        raise OutputError("is a link that another user made", place=str(path), hint=hint)
    if not os.access(whole, os.W_OK):
        what = "leads to a file" if path != whole else "is a file"
        hint = "Change its permissions, or name another file."
        raise OutputError(f"{what} that you may not write to", place=str(path), hint=hint)


def _give_rights(draft: Path, old: os.stat_result | None) -> None:
    """Give a draft the rights of the file it replaces, or those of any new file."""
    if old is None:
        draft.chmod(0o666 & ~_mask())
        return
    if hasattr(os, "chown"):
        with contextlib.suppress(OSError):
            os.chown(draft, old.st_uid, old.st_gid)
    draft.chmod(stat.S_IMODE(old.st_mode) & 0o777)


def clear_drafts(folder: Path) -> None:
    """Remove the drafts that killed processes left in a folder, but not those still being written."""
    with contextlib.suppress(OSError, ValueError, OutputError), _alone_in(folder, patience=0.0) as alone:
        for path in list(folder.iterdir()) if alone else ():
            is_draft = path.name.startswith(".") and path.name.endswith(DRAFT)
            if is_draft and stat.S_ISREG(path.lstat().st_mode):
                _clear(path)


@contextlib.contextmanager
def _draft(path: Path) -> Iterator[tuple[int, Path]]:
    """A new draft, open for writing, and locked so that no process takes it for one left behind."""
    with _alone_in(path.parent):
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.", suffix=DRAFT)
        keeper = _keep(name)
    try:
        yield handle, Path(name)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    finally:
        if keeper is not None:
            os.close(keeper)


if sys.platform == "win32":
    # An open file can't be removed or renamed there.

    def _trusted() -> set[int]:
        return {0}

    @contextlib.contextmanager
    def _alone_in(folder: Path, patience: float | None = None) -> Iterator[bool]:  # noqa: ARG001 - as below
        yield folder.is_dir()

    def _keep(draft: str) -> int | None:  # noqa: ARG001 - as below
        return None

    def _clear(draft: Path) -> None:
        with contextlib.suppress(OSError):
            draft.unlink()

else:
    import fcntl

    def _trusted() -> set[int]:
        """The users whose links are followed: you, and the system."""
        return {0, os.geteuid()}

    @contextlib.contextmanager
    def _alone_in(folder: Path, patience: float | None = None) -> Iterator[bool]:
        """Keep other processes from starting or finishing a file in a folder; False if it can't be locked.

        OutputError if another program holds the lock for longer than `patience`, in seconds.
        """
        try:
            handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        except OSError:
            handle = -1
        try:
            yield handle >= 0 and _held_soon(handle, folder, PATIENCE if patience is None else patience)
        finally:
            if handle >= 0:
                os.close(handle)

    def _held_soon(handle: int, folder: Path, patience: float) -> bool:
        """Lock an open folder; False if that fails, OutputError if another program has locked it."""
        until = time.monotonic() + patience
        while True:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                if time.monotonic() >= until:
                    hint = "Try again in a moment, or write to another folder."
                    raise OutputError("is locked by another program", place=str(folder), hint=hint) from None
                time.sleep(_PAUSE)
            except OSError:
                return False
            else:
                return True

    def _hold(handle: int) -> bool:
        """Lock an open draft until it is closed or its process ends; False if another process has locked it."""
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True

    def _keep(draft: str) -> int | None:
        """Lock a draft until the returned handle is closed."""
        handle = os.open(draft, os.O_RDONLY)
        _hold(handle)
        return handle

    def _clear(draft: Path) -> None:
        """Remove a draft unless it is locked."""
        with contextlib.suppress(OSError):
            handle = os.open(draft, os.O_RDONLY | os.O_NONBLOCK | os.O_NOFOLLOW)
            try:
                if _hold(handle):
                    draft.unlink()
            finally:
                os.close(handle)


def _mask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
