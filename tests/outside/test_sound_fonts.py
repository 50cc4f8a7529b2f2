"""Sound fonts as fluidsynth plays them: what is loaded, how loud it becomes, and what is refused.

The font is made here as the SoundFont Technical Specification 2.04 describes it; loudness is that of Recommendation ITU-R
BS.1770 as pyloudnorm measures it. `.ci/system` installs fluidsynth.
"""

from __future__ import annotations

import io
import os
import shutil
from functools import cache
from pathlib import Path

import numpy as np
import pyloudnorm
import pytest
import soundfile

import fillgen
from fillgen.cli import main
from fillgen.errors import OutputError
from fillgen.hands.playing import PARTS, Playing
from fillgen.sound import fonts
from fillgen.sound.files import to_sound
from fillgen.sound.levels import LEVEL
from fillgen.writers.midi import to_midi
from tests.fonts import PERIOD, font

pytestmark = pytest.mark.skipif(
    shutil.which("fluidsynth") is None and not os.environ.get("CI"),
    reason="fluidsynth is not installed; install it with: bash .ci/system",
)
RATE = 44100


@cache
def take(rhythm: str, *parts: str) -> bytes:
    ideas = fillgen.ideas("| Abmaj7 | Fm7 | Bbm7 Eb7 | Ab6 |", rhythm=rhythm, count=1, seed=3)
    return to_midi(ideas, Playing(parts=parts or PARTS))


@pytest.fixture(name="small")
def _small(tmp_path: Path) -> Path:
    path = tmp_path / "small.sf2"
    path.write_bytes(font())
    return path


def read(content: bytes) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    return np.asarray(soundfile.read(io.BytesIO(content))[0])


@pytest.mark.costly
@pytest.mark.parametrize("rhythm", ["swing", "ballad", "march"])
@pytest.mark.parametrize("voices", fonts.VOICES)
def test_sound_files_are_equally_loud(rhythm: str, voices: str, small: Path) -> None:
    """Whatever plays, a take has -18 LUFS within 1 dB, and no sample is above -1.5 dBFS."""
    rows = read(to_sound(take(rhythm), font=small if voices == fonts.FONT else None))
    assert abs(pyloudnorm.Meter(RATE).integrated_loudness(rows) - LEVEL) < 1
    assert 20 * np.log10(np.abs(rows).max()) < -1.45


def test_the_font_that_was_asked_for_is_heard(small: Path) -> None:
    """The strongest frequency is that of the font's own sine, not of the system's font."""
    midi = to_midi(fillgen.ideas("| Ab | Eb7 |", tempo=60, count=1, level=1), Playing(parts=("right",)))
    rows = fonts.played(midi, small)
    first = rows[0][: RATE // 2] * np.hanning(RATE // 2)
    power = np.abs(np.fft.rfft(first)) ** 2
    hertz = np.fft.rfftfreq(RATE // 2, 1 / RATE)
    strongest = hertz[power.argmax()]
    semitones = 12 * np.log2(strongest / (RATE / PERIOD))
    assert abs(semitones - round(semitones)) < 0.15
    assert power[np.abs(hertz - strongest) < 20].sum() > 0.8 * power.sum()


def harmed(content: bytes, what: str) -> bytes:
    """A font that is damaged, in ways that its size and its parts don't show but for the first two."""
    harms = {
        "cut": lambda: content[:-100],
        "table": lambda: content.replace(b"pbag", b"xbag"),
        "samples": lambda: content.replace(b"smpl", b"smpx"),
        "longer": lambda: content + bytes(64),
        "order": lambda: content.replace(b"Sound 5" + bytes(13) + b"\5\0\0\0\5", b"Sound 5" + bytes(13) + b"\5\0\0\0\xff"),
    }  # fmt: skip
    made = harms[what]()
    assert made != content
    return made


@pytest.mark.parametrize("what", ["cut", "table", "samples", "longer", "order"])
def test_a_damaged_font_is_refused(what: str, tmp_path: Path) -> None:
    """fluidsynth would play the system's font in its place and say nothing by its exit code."""
    broken = tmp_path / "broken.sf2"
    broken.write_bytes(harmed(font(), what))
    with pytest.raises(OutputError, match=r"is damaged|can't load it|has not loaded it") as refused:
        to_sound(take("swing", "right"), font=broken)
    assert refused.value.place == str(broken)


def test_a_file_is_played_with_a_font_by_itself(
    tmp_path: Path, small: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where fluidsynth and a General MIDI font are, `-o NAME.wav` takes it and says so; `--voices own` doesn't."""
    monkeypatch.delenv(fonts.VARIABLE)
    monkeypatch.setattr(fonts, "_FOLDERS", (str(tmp_path),))
    said = {}
    for name, options in (("font", ()), ("own", ("--voices", "own"))):
        with pytest.raises(SystemExit) as ended:
            main(["ideas", "| Ab | Eb7 |", "-n", "1", "-o", str(tmp_path / f"{name}.wav"), *options])
        assert not ended.value.code
        said[name] = capsys.readouterr().err
    assert said["font"].count(small.name) == 1
    assert small.name not in said["own"]
    assert (tmp_path / "font.wav").read_bytes() != (tmp_path / "own.wav").read_bytes()
