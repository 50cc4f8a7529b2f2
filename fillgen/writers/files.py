"""Files written whole or not at all, by one process or by several at once.

A file is written as a draft beside it, `.NAME.RANDOM.fillgen.part`, which is then given its name. A draft whose process
was killed is removed when something is next written to the same folder.
"""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path

from fillgen.errors import OutputError

DRAFT = ".fillgen.part"
"""How the name of a draft ends."""


def write_file(path: Path, content: bytes, *, overwrite: bool = False) -> None:
    """Write a file through a temporary one beside it; OutputError where it exists already or cannot be written."""
    write_files({path: content}, overwrite=overwrite)


def write_folder(folder: Path, contents: Mapping[str, bytes], *, overwrite: bool = False) -> None:
    """Write several files into a folder, which is made where it is missing. Nothing is begun that is refused."""
    for name in contents:
        refuse_existing(folder / name, overwrite)
    make_folder(folder)
    write_files({folder / name: content for name, content in contents.items()}, overwrite=overwrite)


def write_files(contents: Mapping[Path, bytes], *, overwrite: bool = False) -> None:
    """Write several files; nothing is begun where one of them is refused."""
    for path in contents:
        refuse_existing(path, overwrite)
    for folder in dict.fromkeys(path.parent for path in contents):
        clear_drafts(folder)
    for path, content in contents.items():
        put_file(path, content, overwrite=overwrite)


def make_folder(folder: Path) -> None:
    """Make a folder, and those above it, where it is missing; OutputError where that cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"cannot be made: {error.strerror or error}", place=str(folder)) from error
    except ValueError as error:
        raise OutputError("is no name for a folder", place=repr(str(folder))[:80]) from error


def refuse_homeless(path: Path) -> None:
    """OutputError where the folder of a file is missing."""
    with contextlib.suppress(OSError, ValueError):
        if not path.parent.exists():
            folder = str(path.parent)
            raise OutputError(
                "cannot be written: there is no such folder", place=str(path), hint=f"Make {folder} first."
            )


def refuse_file(folder: Path) -> None:
    """OutputError where a folder can't be made, since it or one above it is a file, or its name is no name."""
    try:
        above = next((each for each in (folder, *folder.parents) if each.exists()), None)
        is_file = above is not None and not above.is_dir()
    except (OSError, ValueError) as error:
        raise OutputError("is no name for a folder", place=repr(str(folder))[:80]) from error
    if is_file:
        raise OutputError("cannot be made: there is a file of that name", place=str(above))


def put_file(path: Path, content: bytes, *, overwrite: bool = False) -> None:
    """Write one of many files as `write_file` does, but leave the drafts of killed processes where they are."""
    refuse_homeless(path)
    try:
        with _draft(path) as (handle, draft):
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            draft.chmod(0o666 & ~_mask())
            with _alone_in(path.parent):
                refuse_existing(path, overwrite)
                draft.replace(path)
    except OSError as error:
        raise OutputError(f"cannot be written: {error.strerror or error}", place=str(path)) from error
    except ValueError as error:
        raise OutputError("is no name for a file", place=repr(str(path))[:80]) from error


def refuse_existing(path: Path, overwrite: bool) -> None:
    """OutputError where a path is a folder, no name for a file, or there already and not to be replaced."""
    try:
        exists, is_folder = path.exists(), path.is_dir()
    except (OSError, ValueError) as error:
        raise OutputError("is no name for a file", place=repr(str(path))[:80]) from error
    if is_folder:
        raise OutputError("is a folder", place=str(path))
    if exists and not overwrite:
        raise OutputError("exists already", place=str(path), hint="Use --overwrite to replace it.")


def clear_drafts(folder: Path) -> None:
    """Remove the drafts that killed processes left in a folder, but none that is still being written."""
    with contextlib.suppress(OSError, ValueError), _alone_in(folder) as alone:
        for path in list(folder.iterdir()) if alone else ():
            if path.name.startswith(".") and path.name.endswith(DRAFT):
                _clear(path)


@contextlib.contextmanager
def _draft(path: Path) -> Iterator[tuple[int, Path]]:
    """A new draft, open for writing. It is held, so that nobody takes it for one that was left behind."""
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
    # A file that is open cannot be removed there, nor can it be given its name.

    @contextlib.contextmanager
    def _alone_in(folder: Path) -> Iterator[bool]:
        yield folder.is_dir()

    def _keep(draft: str) -> int | None:  # noqa: ARG001 - as below
        return None

    def _clear(draft: Path) -> None:
        with contextlib.suppress(OSError):
            draft.unlink()

else:
    import fcntl

    @contextlib.contextmanager
    def _alone_in(folder: Path) -> Iterator[bool]:
        """Keep other processes from beginning or ending a file in a folder; False where it cannot be locked."""
        try:
            handle = os.open(folder, os.O_RDONLY)
        except OSError:
            handle = -1
        try:
            yield handle >= 0 and _hold(handle)
        finally:
            if handle >= 0:
                os.close(handle)

    def _hold(handle: int, how: int = fcntl.LOCK_EX) -> bool:
        """Lock an open file or folder until it is closed or its process ends; False where that cannot be."""
        try:
            fcntl.flock(handle, how)
        except OSError:
            return False
        return True

    def _keep(draft: str) -> int | None:
        """Hold a draft until the file that is answered is closed."""
        handle = os.open(draft, os.O_RDONLY)
        _hold(handle)
        return handle

    def _clear(draft: Path) -> None:
        """Remove a draft unless it is held."""
        with contextlib.suppress(OSError):
            handle = os.open(draft, os.O_RDONLY)
            try:
                if _hold(handle, fcntl.LOCK_EX | fcntl.LOCK_NB):
                    draft.unlink()
            finally:
                os.close(handle)


def _mask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
