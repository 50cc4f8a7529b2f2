"""Sound fonts: found, checked, and played by fluidsynth where both are installed.

The file format is that of the SoundFont Technical Specification 2.04 (E-mu Systems, 2006): a RIFF file of the form
`sfbk` with the lists `INFO`, `sdta` and `pdta`. fluidsynth plays the system's font in place of one that it can't read,
so what it has loaded is asked for as well.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import struct
import subprocess
import sys
import tempfile
import wave
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import numpy as np

from fillgen.errors import OptionError, OutputError, did_you_mean, invalid_name, shorten
from fillgen.incoming import unread
from fillgen.sound.synth.tones import FULL_SCALE, RATE, Samples

VARIABLE = "FILLGEN_SOUNDFONT"
"""The variable that names a sound font; set to nothing, our own voices always play."""
OWN, FONT = "own", "font"
"""What plays: our own voices, or a sound font."""
VOICES = (OWN, FONT)
_PLAYER = "fluidsynth"
_PLAYER_GAIN = 0.4
"""The gain for a sound font, on the scale of fluidsynth, whose default is 0.2: full takes stay below full scale."""
_LONGEST_WAIT = 900
"""Seconds after which fluidsynth is stopped if it hasn't finished."""
_INSTALL = (
    "Install it (Debian, Ubuntu: sudo apt install fluidsynth; Fedora: sudo dnf install fluidsynth; macOS: "
    "brew install fluid-synth; Windows: choco install fluidsynth), or use --voices own."
)
_FOLDERS = (
    "/usr/share/sounds/sf2",
    "/usr/share/sounds/sf3",
    "/usr/share/soundfonts",
    "/usr/local/share/soundfonts",
    "/opt/homebrew/share/soundfonts",
    "~/Library/Audio/Sounds/Banks",
    "/Library/Audio/Sounds/Banks",
    "~/.local/share/soundfonts",
    "%PROGRAMDATA%/soundfonts",
    "C:/soundfonts",
)
"""Where systems keep sound fonts: Debian, Fedora and Arch, Homebrew, macOS, fluidsynth on Windows (from memory)."""
_ENDINGS = (".sf2", ".sf3")
_PRESET = struct.Struct("<20sHHHLLL")
"""A preset header: name, program, bank, and what fillgen has no use for (section 7.2)."""
_LISTS = {b"INFO", b"sdta", b"pdta"}
_RECORDS = {
    b"phdr": 38, b"pbag": 4, b"pmod": 10, b"pgen": 4, b"inst": 22, b"ibag": 4, b"imod": 10, b"igen": 4, b"shdr": 46
}  # fmt: skip
"""The tables of `pdta` and the bytes of a record of each (section 7)."""
_DRUM_BANK = 128
_PROGRAMS = 128
_MOST_PRESETS, _MOST_CHUNKS = 100_000, 100


# Which font


def font_of(font: Path | None, voices: str | None) -> Path | None:
    """The sound font that plays sound files, checked; None where our own voices play.

    It is the one asked for, else the one named in `FILLGEN_SOUNDFONT`, else a General MIDI font in one of the usual places,
    as long as fluidsynth is installed. OptionError for another word than `own` and `font`, and for a font beside `own`;
    OutputError for a font that can't be used, and where there is none and `font` is asked for.

    >>> font_of(None, "own")
    """
    if voices is not None and voices not in VOICES:
        raise OptionError(f"unknown voices {shorten(voices)}", hint=did_you_mean(voices, VOICES))
    if voices == OWN:
        if font is not None:
            raise OptionError("--voices own leaves no use for --soundfont", hint="Leave one of them out.")
        return None
    named = os.environ.get(VARIABLE)
    if font is None and named:
        font = Path(named)
    if font is not None:
        check_font(font)
        return font
    if voices != FONT and (named == "" or shutil.which(_PLAYER) is None):
        return None
    found = installed()
    if found is None and voices == FONT:
        hint = f"Name one with --soundfont or in {VARIABLE}; Debian's is in the package fluid-soundfont-gm."
        raise OutputError("no General MIDI sound font is installed", hint=hint)
    if found is not None:
        _player()
    return found


def installed() -> Path | None:
    """The first General MIDI font in the usual places, in the order of the places and of the files' names."""
    for place in _FOLDERS:
        folder = Path(os.path.expandvars(place)).expanduser()
        with contextlib.suppress(OSError):
            for path in sorted(folder.iterdir()):
                if path.suffix.lower() in _ENDINGS and _is_general(path):
                    return path
    return None


def _is_general(path: Path) -> bool:
    try:
        return read_font(path).is_general
    except OutputError:
        return False


# What a font holds


@dataclass(frozen=True)
class Font:
    """What a font file says of itself: its presets as bank and program."""

    presets: frozenset[tuple[int, int]]

    @property
    def is_general(self) -> bool:
        """Whether it has the 128 sounds of General MIDI and a drum set."""
        sounds = {program for bank, program in self.presets if bank == 0}
        return len(sounds) == _PROGRAMS and (_DRUM_BANK, 0) in self.presets


def read_font(path: Path) -> Font:
    """The presets of a font file; OutputError, with the reason, for one that can't be read or isn't whole."""
    try:
        with path.open("rb") as file:
            return Font(_presets(file, os.fstat(file.fileno()).st_size, path))
    except OSError as error:
        raise unread(path, error) from error
    except ValueError as error:
        raise invalid_name("file", path) from error


def _presets(file: IO[bytes], size: int, path: Path) -> frozenset[tuple[int, int]]:
    head = file.read(12)
    if head[:4] != b"RIFF" or head[8:] != b"sfbk":
        hint = "Sound fonts are files that end with .sf2 or .sf3."
        raise OutputError("is not a sound font", place=str(path), hint=hint)
    (length,) = struct.unpack("<I", head[4:8])
    if length + 8 > size:
        raise _damaged(path, f"it should have {length + 8:,} bytes and has {size:,}")
    lists = dict(_chunks(file, 12, length + 8, path))
    named = {}
    for start, end in lists.values():
        file.seek(start)
        named[file.read(4)] = start + 4, end
    if len(lists) != len(_LISTS) or set(named) != _LISTS:
        raise _damaged(path, "its parts INFO, sdta and pdta aren't all there")
    tables = dict(_chunks(file, *named[b"pdta"], path))
    by_name = {name: place for (_, name), place in tables.items()}
    for name, record in _RECORDS.items():
        start, end = by_name.get(name, (0, 0))
        if end - start < record or (end - start) % record:
            raise _damaged(path, f"its table {name.decode()} is not whole")
    start, end = by_name[b"phdr"]
    count = (end - start) // _PRESET.size - 1
    if count > _MOST_PRESETS:
        raise _damaged(path, f"it names {count:,} presets")
    file.seek(start)
    rows = [_PRESET.unpack(file.read(_PRESET.size)) for _ in range(count)]
    return frozenset((row[2], row[1]) for row in rows)


def _chunks(
    file: IO[bytes], start: int, end: int, path: Path
) -> Iterator[tuple[tuple[int, bytes], tuple[int, int]]]:
    """The chunks between two places: number and name, and where the content of each begins and ends."""
    number = 0
    while start + 8 <= end:
        if number == _MOST_CHUNKS:
            raise _damaged(path, "it has too many parts")
        file.seek(start)
        name, length = struct.unpack("<4sI", file.read(8))
        if start + 8 + length > end:
            raise _damaged(path, "a part of it is longer than the file")
        yield (number, name), (start + 8, start + 8 + length)
        number += 1
        start += 8 + length + length % 2


def _damaged(path: Path, reason: str) -> OutputError:
    return OutputError(
        f"is damaged: {reason}", place=str(path), hint="Install it again, or use --voices own."
    )


def check_font(font: Path) -> str:
    """The path of fluidsynth; OutputError if it isn't installed, or if a file isn't a whole sound font."""
    read_font(font)
    return _player()


def _player() -> str:
    found = shutil.which(_PLAYER)
    if found is None:
        raise OutputError("a sound font needs the program fluidsynth, which is not installed", hint=_INSTALL)
    return found


# Playing


def played(midi: bytes, font: Path) -> Samples:
    """The two rows of a MIDI file played with a sound font; OutputError where fluidsynth plays something else."""
    player = check_font(font)
    whole = font.resolve()
    with _scratch() as source, _scratch() as target, _scratch() as questions:
        for file, content in ((source, midi), (questions, b"fonts\n")):
            file.write(content)
            file.seek(0)
        command = [player, "-ni", "-g", str(_PLAYER_GAIN), "-r", str(RATE), "-T", "wav", "-O", "s16"]
        command += ["-f", _path(questions), "-F", _path(target), str(whole), _path(source)]
        answer, complaints = _run(command, font, (source, target, questions))
        if not any(line.split(maxsplit=1)[1:] == [str(whole)] for line in answer.splitlines()):
            raise OutputError(
                _refusal(complaints), place=str(font), hint="Install it again, or use --voices own."
            )
        return _read(target, font)


def _refusal(complaints: str) -> str:
    """Why fluidsynth has not loaded a font, in its own words if it says so."""
    said = [line.partition("error: ")[2] for line in complaints.splitlines() if "error: " in line]
    return f"{_PLAYER} can't load it: {said[0][:200]}" if said else f"{_PLAYER} has not loaded it"


if sys.platform == "win32":

    @contextlib.contextmanager
    def _scratch() -> Iterator[IO[bytes]]:
        """A file in a temporary folder, where another program can open it."""
        with (
            tempfile.TemporaryDirectory(prefix="fillgen-") as folder,
            Path(folder, "take").open("w+b", buffering=0) as file,
        ):
            yield file

    def _path(file: IO[bytes]) -> str:
        return file.name

else:

    def _scratch() -> IO[bytes]:
        """A temporary file without a name, of which nothing is left however this process ends."""
        return tempfile.TemporaryFile()

    def _path(file: IO[bytes]) -> str:
        """What a program that inherits an open file can open it by."""
        return f"/dev/fd/{file.fileno()}"


def _run(command: Sequence[str], font: Path, files: Sequence[IO[bytes]]) -> tuple[str, str]:
    """What the player says and what it complains of; it inherits the files where they have no names of their own."""
    inherited = () if sys.platform == "win32" else tuple(file.fileno() for file in files)
    try:
        done = subprocess.run(  # noqa: S603
            command,
            capture_output=True,
            check=False,
            timeout=_LONGEST_WAIT,
            pass_fds=inherited,
            env=_language(),
        )
    except (OSError, subprocess.SubprocessError) as error:
        raise OutputError(f"{_PLAYER} cannot be run: {error}", place=str(font)) from error
    said, complaints = (text.decode("utf-8", "replace") for text in (done.stdout, done.stderr))
    if done.returncode:
        reasons = complaints.strip().splitlines() or ["it doesn't say why"]
        raise OutputError(f"{_PLAYER} failed: {reasons[-1][:200]}", place=str(font))
    return said, complaints


def _language() -> Mapping[str, str]:
    """The surroundings, with messages in English."""
    return {**os.environ, "LC_MESSAGES": "C"}


def _read(sound: IO[bytes], font: Path) -> Samples:
    """The two rows of samples of a file that fluidsynth wrote."""
    try:
        sound.seek(0)
        with wave.open(sound, "rb") as file:
            numbers = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
            rows = numbers.reshape(-1, file.getnchannels()).T / (FULL_SCALE + 1)
    except (OSError, EOFError, wave.Error, ValueError) as error:
        raise OutputError(f"{_PLAYER} wrote no sound", place=str(font)) from error
    if not rows.size or not np.any(rows):
        raise OutputError(f"{_PLAYER} wrote silence", place=str(font), hint="Is it a General MIDI font?")
    return np.asarray(rows if len(rows) == 2 else np.repeat(rows[:1], 2, axis=0), dtype=float)
