"""Which sound font plays, and what is refused before it plays."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from fillgen.errors import OptionError, OutputError
from fillgen.sound import fonts
from tests.fonts import GENERAL, font


@pytest.fixture(name="places")
def _places(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two folders where fonts lie: the first has one that isn't General MIDI and a damaged one, the second a whole one."""
    for name in ("first", "second", "bin"):
        (tmp_path / name).mkdir()
    (tmp_path / "first" / "a.sf2").write_bytes(font([(0, 4)]))
    (tmp_path / "first" / "b.sf2").write_bytes(font()[:-10])
    (tmp_path / "first" / "c.txt").write_bytes(font())
    (tmp_path / "second" / "d.sf3").write_bytes(font())
    monkeypatch.setattr(
        fonts, "_FOLDERS", tuple(str(tmp_path / name) for name in ("none", "first", "second"))
    )
    monkeypatch.delenv(fonts.VARIABLE)
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    return tmp_path


def install(places: Path) -> None:
    program = places / "bin" / "fluidsynth"
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)


def test_a_whole_general_midi_font_is_found(places: Path) -> None:
    """Fonts without the 128 sounds, damaged ones and other files are passed over."""
    install(places)
    assert fonts.font_of(None, None) == places / "second" / "d.sf3"
    assert fonts.font_of(None, "font") == places / "second" / "d.sf3"
    assert fonts.font_of(None, "own") is None


def test_own_voices_play_where_something_is_missing(places: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without fluidsynth, or with an empty variable, nothing is looked for; asked for, it is missed."""
    assert fonts.font_of(None, None) is None
    with pytest.raises(OutputError, match="fluidsynth, which is not installed"):
        fonts.font_of(None, "font")
    install(places)
    monkeypatch.setenv(fonts.VARIABLE, "")
    assert fonts.font_of(None, None) is None
    monkeypatch.delenv(fonts.VARIABLE)
    monkeypatch.setattr(fonts, "_FOLDERS", ())
    assert fonts.font_of(None, None) is None
    with pytest.raises(OutputError, match="no General MIDI sound font is installed"):
        fonts.font_of(None, "font")


def test_a_font_of_ones_own_comes_first(places: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The option beats the variable, the variable the usual places; a font of one's own needn't be General MIDI."""
    install(places)
    small = places / "first" / "a.sf2"
    monkeypatch.setenv(fonts.VARIABLE, str(small))
    assert fonts.font_of(None, None) == small
    assert fonts.font_of(places / "second" / "d.sf3", None) == places / "second" / "d.sf3"
    monkeypatch.setenv(fonts.VARIABLE, str(places / "first" / "b.sf2"))
    with pytest.raises(OutputError, match="is damaged"):
        fonts.font_of(None, None)


def test_words_that_are_not_known(places: Path) -> None:
    """Another word for the voices is refused with the nearest, and a font beside our own voices."""
    with pytest.raises(OptionError, match="Did you mean 'own'"):
        fonts.font_of(None, "owm")
    with pytest.raises(OptionError, match="Leave one of them out"):
        fonts.font_of(places / "second" / "d.sf3", "own")


def test_presets_are_read(tmp_path: Path) -> None:
    """The presets of a font are those that it was made with."""
    path = tmp_path / "small.sf2"
    path.write_bytes(font())
    assert fonts.read_font(path).presets == set(GENERAL)
    assert fonts.read_font(path).is_general
    path.write_bytes(font([(0, n) for n in range(128)]))
    assert not fonts.read_font(path).is_general


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "is not a sound font"),
        (b"MThd" + bytes(40), "is not a sound font"),
        (b"RIFF\x04\0\0\0sfbk", "aren't all there"),
        (font()[:-1], "it should have"),
        (font().replace(b"sdta", b"sdtx"), "aren't all there"),
        (font().replace(b"igen", b"iget"), "its table igen is not whole"),
        (font().replace(b"phdr" + struct.pack("<I", 130 * 38), b"phdr" + struct.pack("<I", 130 * 38 + 2)), "damaged"),
        (font().replace(b"phdr" + struct.pack("<I", 130 * 38), b"phdr\xff\xff\xff\xff"), "longer than the file"),
        (b"RIFF" + struct.pack("<I", 4 + 8 * 500) + b"sfbk" + 500 * (b"LIST" + bytes(4)), "too many parts"),
    ],
)  # fmt: skip
def test_damaged_fonts_are_refused(content: bytes, reason: str, tmp_path: Path) -> None:
    """What is wrong with a font is said with its name, before anything is played."""
    path = tmp_path / "broken.sf2"
    path.write_bytes(content)
    with pytest.raises(OutputError, match=reason) as refused:
        fonts.read_font(path)
    assert refused.value.place == str(path)


def test_without_a_player(places: Path) -> None:
    """Where fluidsynth is not installed, the message says how to install it; a folder is no font."""
    with pytest.raises(OutputError, match="apt install fluidsynth"):
        fonts.check_font(places / "second" / "d.sf3")
    with pytest.raises(OutputError, match="cannot be read"):
        fonts.check_font(places)
