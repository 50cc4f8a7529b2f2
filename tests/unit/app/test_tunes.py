"""Tunes of every kind of file, read or refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from fillgen.app.tunes import open_tune
from fillgen.errors import FillgenError

ABC = "X:1\nT:Fern Lane\nM:4/4\nL:1/4\nK:Eb\nEGBG|"


@pytest.mark.parametrize("name", ["fern.abc", "fern", "fern.txt"])
def test_abc_is_known_by_its_ending_or_its_beginning(name: str, tmp_path: Path) -> None:
    path = tmp_path / name
    path.write_text(ABC, encoding="utf-8")
    tune = open_tune(path)
    assert (tune.title, str(tune.key), [note.midi for note in tune.notes]) == (
        "Fern Lane",
        "Eb major",
        [63, 67, 70, 67],
    )


@pytest.mark.parametrize("name", ["large.abc", "large.mid", "large.musicxml", "large.mxl"])
@pytest.mark.parametrize(
    "start", [b"", b"X:1\nK:C\n", b"MThd\x00\x00\x00\x06", b"PK\x03\x04", b"<?xml version='1.0'?>"]
)
def test_five_megabytes_are_refused(name: str, start: bytes, tmp_path: Path) -> None:
    """A file that is far too large is refused at once, whatever it says it is."""
    path = tmp_path / name
    path.write_bytes(start + b"C" * 5_000_000)
    with pytest.raises(FillgenError):
        open_tune(path)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.abc", b"X:1\nK:C\n\xff\xfe"),
        ("a.abc", b"X:1\nK:C\n|]"),
        ("a.abc", b"X:1\nM:17/16\nL:1/16\nK:C\nC17|"),
        ("a.abc", b"X:1\nM:4/4\nL:1/64\nK:C\nC|"),
        ("a.mid", b"MThd"),
        ("a.mid", b"no MIDI at all"),
        ("a.txt", b"a letter to a friend"),
    ],
)
def test_what_is_no_tune_is_refused(name: str, content: bytes, tmp_path: Path) -> None:
    """Each with its place in the message, in one line."""
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(FillgenError) as caught:
        open_tune(path)
    assert str(caught.value).startswith(str(path))
    assert "\n" not in str(caught.value)
