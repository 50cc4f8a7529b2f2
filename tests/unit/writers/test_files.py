"""Files are written whole or not at all, and nothing that exists is replaced without being asked."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

from fillgen import OutputError
from fillgen.writers import files
from fillgen.writers.files import write_file, write_folder

NEW, OLD = b"new " * 1000, b"old"


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, hidden ones too, with its contents."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def refusal(action: Callable[[], None]) -> str:
    """What is said when nothing is written, in one line."""
    with pytest.raises(OutputError) as caught:
        action()
    said = str(caught.value)
    assert "\n" not in said
    return said


def full_disk(*_: object, **__: object) -> None:
    """What a full disk does."""
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def interrupted(*_: object, **__: object) -> None:
    """What a player does who has waited long enough."""
    raise KeyboardInterrupt


class Torn:
    """A file that takes the first bytes and then fails."""

    def __init__(self, handle: int) -> None:
        self.handle = handle

    def __enter__(self) -> Torn:
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self.handle)

    def write(self, content: bytes) -> None:
        os.write(self.handle, content[:10])
        full_disk()


# One file


@pytest.mark.parametrize("content", [b"", b"\x00\xff", NEW])
def test_file_is_written(tmp_path: Path, content: bytes) -> None:
    """A new file holds what was to be written, and nothing else is left beside it."""
    write_file(tmp_path / "a.txt", content)
    assert tree(tmp_path) == {"a.txt": content}


def test_file_can_be_read_as_any_new_file_can(tmp_path: Path) -> None:
    """A file is written with the rights that any new file gets, not those of a temporary one."""
    (tmp_path / "plain").write_bytes(NEW)
    write_file(tmp_path / "a.txt", NEW)
    modes = {stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("plain", "a.txt")}
    assert len(modes) == 1


def test_existing_file_is_kept(tmp_path: Path) -> None:
    """An existing file is not replaced, and the message says how to."""
    target = tmp_path / "a.txt"
    target.write_bytes(OLD)
    said = refusal(lambda: write_file(target, NEW))
    assert said == f"{target}: exists already. Use --overwrite to replace it."
    assert tree(tmp_path) == {"a.txt": OLD}


def test_existing_file_is_replaced_when_asked(tmp_path: Path) -> None:
    """With overwrite an existing file is replaced whole."""
    target = tmp_path / "a.txt"
    target.write_bytes(NEW + NEW)
    write_file(target, OLD, overwrite=True)
    assert tree(tmp_path) == {"a.txt": OLD}


@pytest.mark.parametrize("overwrite", [False, True])
def test_folder_is_no_file(tmp_path: Path, overwrite: bool) -> None:
    """A path that is a folder is refused, to be overwritten or not."""
    (tmp_path / "kept").mkdir()
    said = refusal(lambda: write_file(tmp_path / "kept", NEW, overwrite=overwrite))
    assert said == f"{tmp_path / 'kept'}: is a folder."
    assert (tmp_path / "kept").is_dir()


@pytest.mark.parametrize("name", ["none/a.txt", "file/a.txt", "x" * 300, "bad\0name"])
def test_impossible_places_are_refused(tmp_path: Path, name: str) -> None:
    """A missing folder, a file in its place, and names that no file can have are refused by name."""
    (tmp_path / "file").write_bytes(OLD)
    said = refusal(lambda: write_file(tmp_path / name, NEW))
    assert str(tmp_path)[:40] in said
    assert "cannot be written" in said or "not a name for a file" in said
    assert tree(tmp_path) == {"file": OLD}


FAILURES = [
    ("open", lambda patch: patch.setattr(files.tempfile, "mkstemp", full_disk)),
    ("write", lambda patch: patch.setattr(files.os, "fdopen", lambda handle, _: Torn(handle))),
    ("sync", lambda patch: patch.setattr(files.os, "fsync", full_disk)),
    ("rights", lambda patch: patch.setattr(Path, "chmod", full_disk)),
    ("replace", lambda patch: patch.setattr(Path, "replace", full_disk)),
]


@pytest.mark.parametrize("existing", [False, True])
@pytest.mark.parametrize(("step", "breaks"), FAILURES, ids=[step for step, _ in FAILURES])
def test_failure_in_the_middle_leaves_nothing(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    step: str,
    breaks: Callable[[pytest.MonkeyPatch], None],
    existing: bool,
) -> None:
    """Wherever writing fails there is no half file and no draft, and an old file is as it was."""
    target = tmp_path / "a.txt"
    if existing:
        target.write_bytes(OLD)
    with monkeypatch.context() as patch:
        breaks(patch)
        said = refusal(lambda: write_file(target, NEW, overwrite=True))
    assert said == f"{target}: cannot be written: {os.strerror(errno.ENOSPC)}."
    assert tree(tmp_path) == ({"a.txt": OLD} if existing else {})


def test_interruption_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the player breaks off while a file is written there is no half file and no draft either."""
    monkeypatch.setattr(files.os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_file(tmp_path / "a.txt", NEW)
    assert tree(tmp_path) == {}


def test_failed_file_can_be_written_later(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After a failure the same file can be written as if nothing had been."""
    with monkeypatch.context() as patch:
        patch.setattr(Path, "replace", full_disk)
        refusal(lambda: write_file(tmp_path / "a.txt", NEW))
    write_file(tmp_path / "a.txt", NEW)
    assert tree(tmp_path) == {"a.txt": NEW}


# What is replaced

POSIX = pytest.mark.skipif(os.name != "posix", reason="links and modes as POSIX has them")


@POSIX
@pytest.mark.parametrize("mode", [0o600, 0o640, 0o755, 0o664])
def test_replaced_file_keeps_its_mode(tmp_path: Path, mode: int) -> None:
    """A file that is replaced is as open or as closed to others as it was."""
    target = tmp_path / "a.txt"
    target.write_bytes(OLD)
    target.chmod(mode)
    write_file(target, NEW, overwrite=True)
    assert target.read_bytes() == NEW
    assert stat.S_IMODE(target.stat().st_mode) == mode


@POSIX
@pytest.mark.parametrize("leads", ["kept/a.txt", "between", str.upper("a.txt")])
def test_link_is_followed(tmp_path: Path, leads: str) -> None:
    """The file that a link leads to is replaced, over several links too; the links stay links."""
    (tmp_path / "kept").mkdir()
    whole = tmp_path / "kept" / "a.txt"
    whole.write_bytes(OLD)
    whole.chmod(0o604)
    (tmp_path / "between").symlink_to(whole)
    (tmp_path / "A.TXT").symlink_to("kept/a.txt")
    link = tmp_path / "link.txt"
    link.symlink_to(leads)
    said = refusal(lambda: write_file(link, NEW))
    assert said == f"{link}: exists already. Use --overwrite to replace it."
    write_file(link, NEW, overwrite=True)
    assert link.is_symlink()
    assert whole.read_bytes() == NEW
    assert stat.S_IMODE(whole.stat().st_mode) == 0o604
    assert sorted(path.name for path in whole.parent.iterdir()) == ["a.txt"]


@POSIX
@pytest.mark.parametrize("overwrite", [False, True])
@pytest.mark.parametrize("leads", ["missing.txt", "missing/a.txt", "link.txt", "a.txt/b"])
def test_link_that_leads_nowhere_is_left(tmp_path: Path, leads: str, overwrite: bool) -> None:
    """A link to what is missing, or in a circle, is refused and stays, whether or not files may be replaced."""
    (tmp_path / "a.txt").write_bytes(OLD)
    link = tmp_path / "link.txt"
    link.symlink_to(leads)
    said = refusal(lambda: write_file(link, NEW, overwrite=overwrite))
    assert said == f"{link}: is a link that leads nowhere. Remove the link, or name another file."
    assert link.is_symlink()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.txt", "link.txt"]


@POSIX
def test_link_of_another_user_is_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where somebody else made the link, the file that it leads to is not replaced."""
    (tmp_path / "a.txt").write_bytes(OLD)
    link = tmp_path / "link.txt"
    link.symlink_to("a.txt")
    monkeypatch.setattr(files, "_trusted", lambda: {link.lstat().st_uid + 1})
    said = refusal(lambda: write_file(link, NEW, overwrite=True))
    assert said.startswith(f"{link}: is a link that another user made. It leads to ")
    assert (tmp_path / "a.txt").read_bytes() == OLD


@POSIX
@pytest.mark.parametrize("link", [False, True])
def test_what_you_may_not_write_to_is_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, link: bool
) -> None:
    """A file without the right to write to it is not replaced, named itself or by a link."""
    (tmp_path / "a.txt").write_bytes(OLD)
    (tmp_path / "link.txt").symlink_to("a.txt")
    monkeypatch.setattr(files.os, "access", lambda *_: False)
    said = refusal(lambda: write_file(tmp_path / ("link.txt" if link else "a.txt"), NEW, overwrite=True))
    assert ("leads to a file" if link else "is a file") + " that you may not write to" in said
    assert (tmp_path / "a.txt").read_bytes() == OLD


@POSIX
@pytest.mark.parametrize("overwrite", [False, True])
def test_pipes_and_devices_are_left(tmp_path: Path, overwrite: bool) -> None:
    """A pipe is not replaced by a file, nor is a device that a link leads to."""
    os.mkfifo(tmp_path / "pipe.txt")
    (tmp_path / "null.txt").symlink_to(os.devnull)
    for name in ("pipe.txt", "null.txt"):
        said = refusal(lambda at=tmp_path / name: write_file(at, NEW, overwrite=overwrite))  # type: ignore[misc]
        assert said == f"{tmp_path / name}: is a pipe or a device, not a file. Name a plain file."
    assert stat.S_ISFIFO((tmp_path / "pipe.txt").stat().st_mode)
    assert stat.S_ISCHR(Path(os.devnull).stat().st_mode)


@POSIX
def test_pipes_that_look_like_drafts_are_passed_over(tmp_path: Path) -> None:
    """What is no plain file is no draft, whatever it is called: it is neither opened nor removed."""
    os.mkfifo(tmp_path / f".a.txt.{files.DRAFT}")
    write_file(tmp_path / "a.txt", NEW)
    assert sorted(path.name for path in tmp_path.iterdir()) == [f".a.txt.{files.DRAFT}", "a.txt"]


@POSIX
def test_locked_folder_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where another program has locked the folder for longer than is waited, a message says so and nothing is written."""
    fcntl = pytest.importorskip("fcntl")

    monkeypatch.setattr(files, "PATIENCE", 0.05)
    handle = os.open(tmp_path, os.O_RDONLY)
    fcntl.flock(handle, fcntl.LOCK_EX)
    said = refusal(lambda: write_file(tmp_path / "a.txt", NEW))
    assert said == (
        f"{tmp_path}: is locked by another program. Try again in a moment, or write to another folder."
    )
    assert tree(tmp_path) == {}
    os.close(handle)
    write_file(tmp_path / "a.txt", NEW)
    assert tree(tmp_path) == {"a.txt": NEW}


# Folders


def test_folder_is_made_and_filled(tmp_path: Path) -> None:
    """A folder is made with those above it, and holds every file whole."""
    contents = {"idea-01.mid": b"1", "idea-02.mid": b"2"}
    write_folder(tmp_path / "new" / "ideas", contents)
    assert tree(tmp_path / "new" / "ideas") == contents


def test_folder_keeps_what_is_in_it(tmp_path: Path) -> None:
    """Other files of an existing folder stay."""
    (tmp_path / "mine.txt").write_bytes(OLD)
    write_folder(tmp_path, {"idea-01.mid": b"1"})
    assert tree(tmp_path) == {"idea-01.mid": b"1", "mine.txt": OLD}


def test_folder_is_refused_before_it_is_begun(tmp_path: Path) -> None:
    """Where the last of several files exists none is written, and the message names it."""
    (tmp_path / "idea-03.mid").write_bytes(OLD)
    contents = {f"idea-0{n}.mid": NEW for n in (1, 2, 3)}
    said = refusal(lambda: write_folder(tmp_path, contents))
    assert said == f"{tmp_path / 'idea-03.mid'}: exists already. Use --overwrite to replace it."
    assert tree(tmp_path) == {"idea-03.mid": OLD}


def test_folder_in_the_way_is_refused_before_it_is_begun(tmp_path: Path) -> None:
    """Where a folder has the name of one of the files nothing is written, even to be overwritten."""
    (tmp_path / "idea-02.mid").mkdir()
    said = refusal(lambda: write_folder(tmp_path, {"idea-01.mid": NEW, "idea-02.mid": NEW}, overwrite=True))
    assert said == f"{tmp_path / 'idea-02.mid'}: is a folder."
    assert tree(tmp_path) == {}


def test_folder_is_overwritten_when_asked(tmp_path: Path) -> None:
    """With overwrite every file of the folder that has the name of a new one is replaced."""
    (tmp_path / "idea-02.mid").write_bytes(OLD)
    contents = {"idea-01.mid": b"1", "idea-02.mid": b"2"}
    write_folder(tmp_path, contents, overwrite=True)
    assert tree(tmp_path) == contents


@pytest.mark.parametrize("name", ["file", "file/below"])
def test_file_in_place_of_the_folder(tmp_path: Path, name: str) -> None:
    """Where a file stands in place of the folder nothing is written, and the message names the folder."""
    (tmp_path / "file").write_bytes(OLD)
    said = refusal(lambda: write_folder(tmp_path / name, {"idea-01.mid": NEW}, overwrite=True))
    assert said.startswith(f"{tmp_path / name}: cannot be made: ")
    assert tree(tmp_path) == {"file": OLD}


def test_failure_inside_a_folder_leaves_no_half_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the disk is full in the middle every file that is there is whole, and there is no draft."""
    sync, calls = os.fsync, iter(range(10))

    def third_fails(handle: int) -> None:
        if next(calls) == 2:
            full_disk()
        sync(handle)

    monkeypatch.setattr(files.os, "fsync", third_fails)
    said = refusal(lambda: write_folder(tmp_path / "out", {f"idea-0{n}.mid": NEW for n in range(1, 6)}))
    assert "idea-03.mid: cannot be written" in said
    found = tree(tmp_path / "out")
    assert set(found.values()) <= {NEW}
    assert "idea-03.mid" not in found
