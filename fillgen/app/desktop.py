"""An icon in the menu of the desktop that opens the page, for players who never open a terminal.

Linux: an entry and an icon in the user's data folder, by the Desktop Entry Specification 1.5 and the Icon Theme Specification
(freedesktop.org). Windows: a batch file in the user's start menu. macOS: a command file in the user's Applications folder.
Those for Windows and macOS are written by common practice, and haven't been tried on a machine.
"""

from __future__ import annotations

import shlex
import sys
from collections.abc import Mapping
from pathlib import Path

from fillgen.errors import OptionError
from fillgen.writers.files import make_folder, write_file

ICON = """\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 64 64" width="64" height="64">
  <title>fillgen</title>
  <rect width="64" height="64" rx="12" fill="#23395b"/>
  <rect x="8" y="38" width="48" height="18" rx="2" fill="#fdf6e3"/>
  <path d="M20 38v18M32 38v18M44 38v18" stroke="#23395b" stroke-width="1.5"/>
  <path d="M17 38h6v10h-6zM29 38h6v10h-6zM41 38h6v10h-6z" fill="#23395b"/>
  <path d="M16 27V13M30 22V9M44 17V6" stroke="#f2a65a" stroke-width="2.5" stroke-linecap="round"/>
  <g fill="#f2a65a">
    <ellipse cx="12.5" cy="28" rx="4.6" ry="3.4" transform="rotate(-20 12.5 28)"/>
    <ellipse cx="26.5" cy="23" rx="4.6" ry="3.4" transform="rotate(-20 26.5 23)"/>
    <ellipse cx="40.5" cy="18" rx="4.6" ry="3.4" transform="rotate(-20 40.5 18)"/>
  </g>
</svg>
"""
_ENTRY = """\
[Desktop Entry]
Type=Application
Version=1.5
Name=fillgen
GenericName=Right-hand fills
Comment=Right-hand ideas for a chord chart, in your browser
Exec={command}
Icon={icon}
Terminal=true
Categories=AudioVideo;Audio;Music;
Keywords=chords;keyboard;organ;melody;intro;
"""
"""It opens a terminal window, so that the page ends when the window is closed."""
_BATCH = """\
@echo off\r
chcp 65001 >nul\r
title fillgen\r
{command}\r
if errorlevel 1 pause\r
"""
_COMMAND = "#!/bin/sh\nexec {command}\n"
UNTRIED = {"win32": "Windows", "darwin": "macOS"}
"""Where the icon hasn't been tried."""


def install(environment: Mapping[str, str], home: Path, platform: str = sys.platform) -> tuple[Path, ...]:
    """Put an icon into the user's menu, in place of an older one; the files that it is made of.

    Raises OptionError where the start menu can't be found, OutputError where a file can't be written.
    """
    words = (sys.executable, "-m", "fillgen", "page")
    if platform == "win32":
        return (_written(_start_menu(environment) / "fillgen.bat", _BATCH.format(command=_in_batch(words))),)
    if platform == "darwin":
        path = home / "Applications" / "fillgen.command"
        _written(path, _COMMAND.format(command=shlex.join(words)))
        path.chmod(0o755)
        return (path,)
    named = Path(environment.get("XDG_DATA_HOME", ""))
    data = named if named.is_absolute() else home / ".local" / "share"  # XDG Base Directory Specification
    icon = data / "icons" / "hicolor" / "scalable" / "apps" / "fillgen.svg"
    entry = _ENTRY.format(command=_in_entry(words), icon=str(icon).replace("\\", "\\\\"))
    return _written(icon, ICON), _written(data / "applications" / "fillgen.desktop", entry)


def _start_menu(environment: Mapping[str, str]) -> Path:
    if not environment.get("APPDATA"):
        raise OptionError("the start menu can't be found: APPDATA isn't set")
    return Path(environment["APPDATA"]) / "Microsoft" / "Windows" / "Start Menu" / "Programs"


def _written(path: Path, text: str) -> Path:
    make_folder(path.parent)
    write_file(path, text.encode("utf-8"), overwrite=True)
    return path


def _in_entry(words: tuple[str, ...]) -> str:
    r"""A command as the key Exec has it: quoted, a percent sign doubled, and backslashes doubled once more as in any text.

    >>> print(_in_entry(("/opt/my music/50%/python", "-m")))
    "/opt/my music/50%%/python" "-m"
    """
    quoted = []
    for word in words:
        escaped = "".join(f"\\{letter}" if letter in '"`$\\' else letter for letter in word)
        quoted.append(f'"{escaped}"'.replace("%", "%%").replace("\\", "\\\\"))
    return " ".join(quoted)


def _in_batch(words: tuple[str, ...]) -> str:
    r"""A command as a batch file has it.

    >>> print(_in_batch((r"C:\50% music\python.exe", "-m")))
    "C:\50%% music\python.exe" "-m"
    """
    return " ".join(f'"{word}"'.replace("%", "%%") for word in words)
