"""Files written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from fillgen.errors import OutputError


def write_file(path: Path, content: bytes, *, overwrite: bool = False) -> None:
    """Write a file through a temporary one beside it; OutputError where it exists already or cannot be written."""
    refuse_existing(path, overwrite)
    try:
        handle, draft = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:40]}.", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            Path(draft).chmod(0o666 & ~_mask())
            Path(draft).replace(path)
        except BaseException:
            Path(draft).unlink(missing_ok=True)
            raise
    except OSError as error:
        raise OutputError(f"cannot be written: {error.strerror}", place=str(path)) from error
    except ValueError as error:
        raise OutputError("is no name for a file", place=repr(str(path))[:80]) from error


def write_folder(folder: Path, contents: Mapping[str, bytes], *, overwrite: bool = False) -> None:
    """Write several files into a folder, which is made where it is missing. Nothing is begun that is refused."""
    for name in contents:
        refuse_existing(folder / name, overwrite)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"cannot be made: {error.strerror}", place=str(folder)) from error
    write_files({folder / name: content for name, content in contents.items()}, overwrite=overwrite)


def write_files(contents: Mapping[Path, bytes], *, overwrite: bool = False) -> None:
    """Write several files; nothing is begun where one of them is refused."""
    for path in contents:
        refuse_existing(path, overwrite)
    for path, content in contents.items():
        write_file(path, content, overwrite=overwrite)


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


def _mask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
