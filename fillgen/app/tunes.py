"""A tune from a file of any kind that tunes come in: MusicXML, plain or packed, ABC, MIDI."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from fillgen.errors import TuneError
from fillgen.incoming import decoded, read_bytes
from fillgen.readers.confined import read_lines, tune_in
from fillgen.readers.musicxml import MOST_BYTES
from fillgen.readers.tunes import Tune

_MOST_TEXT = 100_000
"""The longest ABC text that is read, in characters."""


def open_tune(path: Path) -> Tune:
    """The tune of a file, whose kind is known by its ending and by what it begins with.

    ABC and MIDI are written down as a score first. Raises OutputError where the file cannot be read, TuneError where it
    cannot be used or takes more than it may.
    """
    content, place = read_bytes(path, MOST_BYTES), str(path)
    kind = path.suffix.lower()
    if content[:4] == b"MThd" or kind in (".mid", ".midi"):
        return _transcribed(content, place)
    if kind == ".abc" or content.lstrip(b"\xef\xbb\xbf \t\r\n%")[:2] == b"X:":
        return _transcribed(_text(content, place), place)
    return tune_in(content, place)


def _text(content: bytes, place: str) -> str:
    text = decoded(content, place, "Give a tune as .musicxml, .mxl, .abc or .mid.")
    if len(text) > _MOST_TEXT:
        raise TuneError(f"has {len(text)} characters; the limit is {_MOST_TEXT}", place=place)
    return text


def _transcribed(content: bytes | str, place: str) -> Tune:
    """A tune whose lines are written down as a score, and read from that."""
    from fillgen.writers.transcript import lines_musicxml  # noqa: PLC0415 - for ABC and MIDI only

    lines = read_lines(content, place)
    tune = tune_in(lines_musicxml(lines, place), place)
    return replace(tune, remarks=(*lines.remarks, *tune.remarks))
