"""The icon in the menu: written where the specifications say, with a command that starts this very program."""

from __future__ import annotations

import configparser
import os
import re
import shlex
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from fillgen.app import desktop
from fillgen.errors import OptionError, OutputError
from tests.commands import Call, caller, refused, tree
from tests.processes import unmeasured


@pytest.fixture(name="call")
def _call(capsys: pytest.CaptureFixture[str]) -> Call:
    return caller(capsys)


def entry_of(path: Path) -> dict[str, str]:
    """The keys of a desktop entry, escapes of its strings undone (Desktop Entry Specification 1.5, "Basic format")."""
    parser = configparser.RawConfigParser(delimiters="=", strict=True)
    parser.optionxform = str  # type: ignore[assignment,method-assign]
    parser.read_string(path.read_text(encoding="utf-8"))
    assert parser.sections() == ["Desktop Entry"]
    return {name: value.replace("\\\\", "\\") for name, value in parser["Desktop Entry"].items()}


def words_of(command: str) -> list[str]:
    """The words of an Exec key (the same specification, "The Exec key"): quotes, and backslashes before "`$ and backslash."""
    words = re.findall(r'"((?:[^"`$\\]|\\["`$\\])*)"(?: |$)', command)
    assert command.count(" ") >= len(words) - 1
    return [re.sub(r'\\(["`$\\])', r"\1", word).replace("%%", "%") for word in words]


@pytest.mark.parametrize("name", ["plain", 'odd "name" 50% $HOME `x` \\ end'])
def test_linux_entry(tmp_path: Path, name: str) -> None:
    """The entry has what the specification asks for; its command is this Python's, whatever its folder is called."""
    data = tmp_path / name
    icon, entry = desktop.install({"XDG_DATA_HOME": str(data)}, tmp_path / "nobody", "linux")
    assert (icon.relative_to(data).as_posix(), entry.relative_to(data).as_posix()) == (
        "icons/hicolor/scalable/apps/fillgen.svg",
        "applications/fillgen.desktop",
    )
    keys = entry_of(entry)
    assert keys["Type"] == "Application"
    assert keys["Name"] == "fillgen"
    assert keys["Icon"] == str(icon)
    assert keys["Categories"].startswith(
        "AudioVideo;Audio;"
    )  # Desktop Menu Specification: Audio goes with AudioVideo
    words = words_of(keys["Exec"])
    assert words == [sys.executable, "-m", "fillgen", "page"]
    image = ET.parse(icon).getroot()
    assert image.tag == "{http://www.w3.org/2000/svg}svg"
    assert image.attrib["viewBox"] == "0 0 64 64"


def test_odd_words_come_back(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A Python in a folder with quotes, dollars and percent signs is named so that a desktop finds it."""
    odd = '/opt/my "music"/50%/$a`b\\c/python'
    monkeypatch.setattr(sys, "executable", odd)
    _, entry = desktop.install({}, tmp_path, "linux")
    assert entry == tmp_path / ".local" / "share" / "applications" / "fillgen.desktop"
    assert words_of(entry_of(entry)["Exec"])[0] == odd
    (script,) = desktop.install({}, tmp_path, "darwin")
    assert shlex.split(script.read_text(encoding="utf-8").splitlines()[1]) == [
        "exec",
        odd,
        "-m",
        "fillgen",
        "page",
    ]


def test_the_command_starts_the_program(tmp_path: Path) -> None:
    """What the entry calls is this program, from any folder."""
    _, entry = desktop.install({"XDG_DATA_HOME": str(tmp_path)}, tmp_path, "linux")
    words = words_of(entry_of(entry)["Exec"])
    where = {**unmeasured(), "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    done = subprocess.run(
        [*words, "--help"], cwd=tmp_path, env=where, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Usage: fillgen page ")


def test_windows_and_macos(tmp_path: Path) -> None:
    """A batch file with the line ends of Windows, and a script that may be run; neither has been tried on a machine."""
    (batch,) = desktop.install({"APPDATA": str(tmp_path)}, tmp_path, "win32")
    assert batch.parent == tmp_path / "Microsoft" / "Windows" / "Start Menu" / "Programs"
    lines = batch.read_bytes().split(b"\r\n")
    assert b"\n" not in b"".join(lines)
    assert f'"{sys.executable}" "-m" "fillgen" "page"'.encode() in lines
    (script,) = desktop.install({}, tmp_path, "darwin")
    assert script == tmp_path / "Applications" / "fillgen.command"
    assert os.access(script, os.X_OK)
    assert script.read_text(encoding="utf-8").startswith("#!/bin/sh\nexec ")
    with pytest.raises(OptionError, match="APPDATA"):
        desktop.install({}, tmp_path, "win32")


def test_a_folder_that_is_none_is_passed_over(tmp_path: Path) -> None:
    """A relative XDG_DATA_HOME counts for nothing (XDG Base Directory Specification); a file in the way is named."""
    icon, _ = desktop.install({"XDG_DATA_HOME": "here"}, tmp_path, "linux")
    assert icon.is_relative_to(tmp_path / ".local" / "share")
    (tmp_path / "taken").write_text("", encoding="utf-8")
    with pytest.raises(OutputError) as caught:
        desktop.install({"XDG_DATA_HOME": str(tmp_path / "taken")}, tmp_path, "linux")
    assert "taken" in caught.value.place


@pytest.mark.skipif(
    sys.platform != "linux", reason="the files of the machine's own desktop are those of Linux here"
)
def test_page_desktop(call: Call, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """`page --desktop` says what it wrote and how to remove it, serves nothing, and does the same a second time."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    first = call("page", "--desktop")
    assert (first.code, first.err) == (0, "")
    written = tree(tmp_path)
    assert [str(tmp_path / name) in first.out for name in written] == [True, True]
    assert "To remove it" in first.out
    assert call("page", "--desktop") == first
    assert tree(tmp_path) == written
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "applications" / "fillgen.desktop"))
    refused(call("page", "--desktop"), "fillgen.desktop")
