"""Sound files: what they hold, how they are asked for, and what is refused."""

from __future__ import annotations

import io
import os
import select
import stat
import subprocess
import sys
import wave
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

import fillgen
from fillgen.cli import main
from fillgen.errors import OptionError, OutputError
from fillgen.hands.instruments import PART_SETUPS
from fillgen.hands.playing import Playing
from fillgen.hands.take import Ensemble
from fillgen.sound import files as audio
from fillgen.sound import levels
from fillgen.sound.performance import Event, Performance
from fillgen.sound.playback import to_performance
from fillgen.sound.synth.limiter import CEILING
from fillgen.sound.synth.tones import RATE
from fillgen.theory.metre import TICKS
from fillgen.writers.midi import to_midi, to_midi_files
from tests.fonts import font as small_font
from tests.processes import unmeasured
from tests.sampler import mixed

CHART = "| Fmaj7 | D7 | Gm7 | C7 |"
ALL = ("right", "left", "bass", "drums")


@cache
def idea(rhythm: str = "swing", count: int = 1) -> fillgen.Ideas:
    return fillgen.ideas(CHART, rhythm=rhythm, count=count, purpose="turnaround")


@cache
def midi(*parts: str, rhythm: str = "swing") -> bytes:
    return to_midi(idea(rhythm), Playing(parts=parts or ALL))


def rows(content: bytes) -> NDArray[np.float64]:
    """The two rows of a sound file, from -1 to 1."""
    with wave.open(io.BytesIO(content)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (2, 2, 44100)
        numbers = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")
    return np.asarray(numbers.reshape(-1, 2).T / 32768)


def level(content: bytes) -> float:
    """The level of a take before it is brought to the loudness of sound files."""
    parts = audio.parts_of(to_performance(content))
    return float(10 * np.log10((np.concatenate(list(mixed(parts)), axis=1) ** 2).mean()))


def loudness_of(sound: NDArray[np.float64]) -> float:
    meter = levels.Meter()
    meter.hear(sound)
    return meter.loudness


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    return int(ended.value.code or 0)


# What a sound file holds


def test_a_take_as_sound() -> None:
    """A take is stereo, below the ceiling, without direct current, and as long as its bars and what rings on."""
    sound = rows(audio.to_sound(midi()))
    bars = 4 * 4 * 60 / idea().tempo
    assert bars + 1 < sound.shape[1] / RATE < bars + 3
    assert 0.2 < np.abs(sound).max() <= CEILING + 1 / 32768
    assert not np.array_equal(sound[0], sound[1])
    assert 20 * np.log10(np.abs(sound.mean(axis=1)).max() / sound.std()) < -60


def test_the_same_sound_every_time() -> None:
    """The same music gives the same bytes, whatever was rendered before."""
    files = dict(audio.to_sound_files(to_midi_files(idea(count=2), Playing(parts=ALL))))
    assert list(files) == ["idea-01.wav", "idea-02.wav"]
    alone = audio.to_sound(to_midi_files(idea(count=2), Playing(parts=ALL))["idea-02.mid"])
    assert files["idea-02.wav"] == alone


def test_parts_are_those_of_the_midi_file() -> None:
    """Every stroke of a take sounds when it is played, with its velocity, and by the seat of its part."""
    ensemble = Ensemble(idea(), Playing(parts=ALL))
    take = ensemble.take(idea()[0])
    parts = audio.parts_of(to_performance(midi()))
    assert [p.instrument.voice for p in parts] == ["vibraphone", "electric piano", "acoustic bass", "drums"]
    assert [p.instrument.volume for p in parts] == [PART_SETUPS[name].volume for name in ALL]
    for name, part in zip(ALL, parts, strict=True):
        second = 60 / idea().tempo / TICKS
        strokes = sorted((s.tick * second, s.midi, s.velocity) for s in take.strokes[name])
        heard = sorted((n.start, n.midi, n.velocity) for n in part.notes)
        assert [s[1:] for s in strokes] == [n[1:] for n in heard]
        assert np.allclose([s[0] for s in strokes], [n[0] for n in heard], atol=1e-3)


def test_a_pedal_holds_what_is_let_go() -> None:
    """Until it goes up (64 and more is down), or the key is struck again; notes still down go on."""
    messages = [
        (0, 0x90, 60, 80),
        (0.5, 0xB0, 64, 127),
        (1, 0x80, 60, 0),
        (1.5, 0x90, 62, 80),
        (2, 0x80, 62, 0),
    ]
    messages += [
        (2.5, 0x90, 62, 70),
        (3, 0xB0, 64, 63),
        (4, 0x80, 62, 0),
        (4, 0x90, 64, 80),
        (5, 0x80, 64, 0),
    ]
    events = tuple(Event(second, bytes(rest)) for second, *rest in messages)
    (part,) = audio.parts_of(Performance(events, 5.0))
    assert [(n.midi, n.start, n.start + n.length) for n in part.notes] == [
        (60, 0, 3),
        (62, 1.5, 2.5),
        (62, 2.5, 4),
        (64, 4, 5),
    ]


def test_sounds_choose_voices() -> None:
    """The sound of a part decides which voice plays it."""
    asked = to_midi(idea(), Playing(parts=("right", "left")), {"right": "Flute", "left": "17"})
    assert [p.instrument.voice for p in audio.parts_of(to_performance(asked))] == ["flute", "drawbar organ"]


def test_strokes_without_a_drum_are_left_out() -> None:
    """Keys on the drums' channel for which General MIDI has no drum are not heard."""
    events = [(0.0, 0x99, 20), (0.0, 0x99, 38), (0.5, 0x89, 20), (0.5, 0x89, 38)]
    heard = Performance(tuple(Event(at, bytes((status, key, 90))) for at, status, key in events), 1.0)
    (part,) = audio.parts_of(heard)
    assert [note.midi for note in part.notes] == [38]


@pytest.mark.parametrize("rhythm", ["swing", "ballad", "bossa nova"])
def test_the_right_hand_stands_out(rhythm: str) -> None:
    """The right hand is 3 to 10 dB louder than the left, and no part drowns or is lost."""
    right, left, bass, drums = (level(midi(part, rhythm=rhythm)) for part in ALL)
    assert 3 < right - left < 10
    assert -6 < right - bass < 8
    assert right - drums > 1


def test_what_lasts_too_long_is_refused() -> None:
    """The limit is half an hour of sound."""
    with pytest.raises(OptionError, match="the limit is 30"):
        audio.to_sound(to_midi(fillgen.ideas("| F | Dm7 | Gm7 | C7 |", tempo=40, count=3), Playing(times=32)))


# The command line


def test_one_file_and_the_caution(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`-o NAME.wav` writes all ideas as sound, says so, and tells once to keep the volume low."""
    target = tmp_path / "lantern-walk.wav"
    assert run("ideas", CHART, "-n", "2", "-o", str(target)) == 0
    told = capsys.readouterr().err
    assert told.count("Keep the volume") == 1
    assert "2 ideas in" in told
    assert rows(target.read_bytes()).shape[1] > 10 * RATE


def test_a_folder_of_sounds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`-o FOLDER/ --audio` writes one sound file an idea, and nothing where one of them is there already."""
    folder = tmp_path / "takes"
    assert run("ideas", CHART, "-n", "2", "-o", f"{folder}/", "--audio", "--parts", "right,bass") == 0
    assert sorted(path.name for path in folder.iterdir()) == ["idea-01.wav", "idea-02.wav"]
    assert capsys.readouterr().err.count("Keep the volume") == 1
    (folder / "idea-01.wav").unlink()
    assert run("ideas", CHART, "-n", "2", "-o", f"{folder}/", "--audio") == 2
    assert "exists already" in capsys.readouterr().err
    assert not (folder / "idea-01.wav").exists()


def test_a_folder_without_audio_is_midi(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder has MIDI files, as ever, and no caution."""
    assert run("ideas", CHART, "-n", "1", "-o", f"{tmp_path}/takes/") == 0
    assert [path.name for path in (tmp_path / "takes").iterdir()] == ["idea-01.mid"]
    assert "volume" not in capsys.readouterr().err


def test_variations_practice_and_tunes(tmp_path: Path) -> None:
    """Each command that writes MIDI writes sound as well."""
    chart = "| F | Eb | Bb | C7 |"
    phrase = "C5q Bb4q A4h | G4q. F4e G4h | Bb4q C5q D5h | E5h C5h"
    tune = Path(__file__).parents[3] / "shared" / "tunes" / "garden-gate.musicxml"
    commands = {
        "vary.wav": ("vary", chart, phrase, "--keep", "rhythm", "-n", "1"),
        "loop.wav": ("practice", chart, phrase, "--steps", "1", "--times", "1", "--tempo", "160"),
        "tune.wav": ("tune", str(tune), "--intro", "2", "--ending", "0"),
    }
    for name, command in commands.items():
        assert run(*command, "-o", str(tmp_path / name)) == 0
        assert np.abs(rows((tmp_path / name).read_bytes())).max() > 0.05


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("-o", "idea.wav", "--audio"), "--audio needs a folder"),
        (("--audio",), "--audio needs a folder"),
        (("-o", "idea.mid", "--soundfont", "x.sf2"), "--soundfont needs a sound file"),
        (("-o", "idea.wav", "--soundfont", "no-such.sf2"), "no such file"),
        (("-o", "idea.mid", "--voices", "own"), "--voices needs a sound file"),
        (("-o", "idea.wav", "--voices", "fonts"), "Did you mean 'font'?"),
        (("-o", "idea.wav", "--voices", "own", "--soundfont", "x.sf2"), "no use for --soundfont"),
        (("-o", "idea.mp3"), "can't tell what to write"),
    ],
)
def test_what_does_not_go_together(
    options: tuple[str, ...],
    told: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Options that contradict one another are told in words, and nothing is written."""
    monkeypatch.chdir(tmp_path)
    assert run("ideas", CHART, "-n", "1", *options) == 2
    assert told in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_an_existing_file_stays(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is there is not overwritten unless asked for."""
    target = tmp_path / "idea.wav"
    target.write_bytes(b"mine")
    assert run("ideas", CHART, "-n", "1", "-o", str(target)) == 2
    assert target.read_bytes() == b"mine"
    assert run("ideas", CHART, "-n", "1", "-o", str(target), "--overwrite") == 0
    assert target.read_bytes()[:4] == b"RIFF"
    capsys.readouterr()


@pytest.mark.parametrize("output", ["idea.mid", "idea.wav"])
def test_only_sound_loads_the_synthesizer(output: str, tmp_path: Path) -> None:
    """MIDI files load neither the synthesizer nor the library for sound files."""
    program = (
        "import contextlib, sys\nfrom fillgen.cli import main\n"
        f"with contextlib.suppress(SystemExit):\n    main(['ideas', '| C | G7 |', '-n', '1', '-o', {output!r}])\n"
        "print(*sorted(sys.modules))"
    )
    command = [sys.executable, "-c", program]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split()) & {"fillgen.sound.synth", "fillgen.sound.files", "wave"}
    assert bool(loaded) == output.endswith(".wav")


# FLAC


def test_flac_needs_its_library(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the library a .flac file is refused with the way to get it; a wrong ending names the right ones."""
    monkeypatch.setitem(sys.modules, "soundfile", None)
    with pytest.raises(OptionError, match="pip install soundfile"):
        audio.check_kind(".flac")
    with pytest.raises(OptionError, match=r"\.wav or \.flac"):
        audio.check_kind(".ogg")


# Loudness


def test_all_music_is_brought_to_one_loudness() -> None:
    """Loud and soft music have the same loudness, silence stays silent, and long music is the same in any pieces."""
    at = np.arange(3 * RATE) / RATE
    tone = np.stack([np.sin(2 * np.pi * 440 * at), np.sin(2 * np.pi * 550 * at)])
    for gain in (0.02, 0.3, 3.0):
        sound = np.concatenate(list(levels.levelled([gain * tone])), axis=1)
        assert loudness_of(sound) == pytest.approx(levels.LEVEL, abs=0.1)
    cut = np.array_split(tone, 7, axis=1)
    whole, pieces = (np.concatenate(list(levels.levelled(p)), axis=1) for p in ([tone], cut))
    assert np.array_equal(whole, pieces)
    assert not np.concatenate(list(levels.levelled([np.zeros((2, RATE))])), axis=1).any()
    assert np.abs(np.concatenate(list(levels.levelled([50 * tone[:, :500]])), axis=1)).max() <= CEILING + 1e-9


# Sound fonts, with a player of our own in the place of the real one

PLAYER = """#!{python}
import sys, wave
out = sys.argv[sys.argv.index("-F") + 1]
assert open(sys.argv[sys.argv.index("-f") + 1]).read() == "fonts\\n"
print("ID  Name\\n 1 ", sys.argv[-2], flush=True)
assert open(sys.argv[-2], "rb").read(4) == b"RIFF" and open(sys.argv[-1], "rb").read(4) == b"MThd"
assert sys.argv[sys.argv.index("-r") + 1] == "44100" and "-ni" in sys.argv
{body}
"""
SINE = """
from math import sin
from struct import pack
with wave.open(out, "wb") as file:
    file.setnchannels(2)
    file.setsampwidth(2)
    file.setframerate(44100)
    file.writeframes(b"".join(pack("<hh", *(2 * (int(900 * sin(n / 9)),))) for n in range(88200)))
"""
SOUNDS = """
with wave.open(out, "wb") as file:
    file.setnchannels(2)
    file.setsampwidth(2)
    file.setframerate(44100)
    file.writeframes(bytes((255, {high})) * 88200)
"""


def install(folder: Path, monkeypatch: pytest.MonkeyPatch, body: str) -> Path:
    """A player that does as told, the only program there is, and a font."""
    program = folder / "fluidsynth"
    program.write_text(PLAYER.format(python=sys.executable, body=body))
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    monkeypatch.setenv("PATH", str(folder))
    font = folder / "own.sf2"
    font.write_bytes(small_font())
    return font


def test_a_font_plays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the player renders is brought to the loudness of sound files and written."""
    font = install(tmp_path, monkeypatch, SINE)
    sound = rows(audio.to_sound(midi("right"), font=font))
    assert sound.shape == (2, 88200)
    assert loudness_of(sound) == pytest.approx(levels.LEVEL, abs=0.1)


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ("sys.exit('no memory left')", "no memory left"),
        ("", "wrote no sound"),
        ("open(out, 'wb').write(b'RIFF')", "wrote no sound"),
        (SOUNDS.format(high=0).replace("255", "0"), "wrote silence"),
    ],
)
def test_a_player_that_fails(body: str, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever goes wrong in the player is told, with the font's name."""
    font = install(tmp_path, monkeypatch, body)
    with pytest.raises(OutputError, match=told) as failed:
        audio.to_sound(midi("right"), font=font)
    assert failed.value.place == str(font)


PLAYS = """
import sys
from pathlib import Path
from fillgen.sound.files import to_sound
to_sound(Path(sys.argv[1]).read_bytes(), font=Path(sys.argv[2]))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="files without names are not known there")
def test_a_kill_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is left in the temporary folder where the program is killed while the player plays."""
    (temporary := tmp_path / "temporary").mkdir()
    (tmp_path / "take.mid").write_bytes(midi("right"))
    os.mkfifo(tmp_path / "begun")
    begun = os.open(tmp_path / "begun", os.O_RDONLY | os.O_NONBLOCK)
    begins = f"open({str(tmp_path / 'begun')!r}, 'w').write('x')\nsys.stdin.read()"
    font = install(tmp_path, monkeypatch, f"{SOUNDS.format(high=127)}\n{begins}")
    process = subprocess.Popen(
        [sys.executable, "-c", PLAYS, str(tmp_path / "take.mid"), str(font)],
        stdin=subprocess.PIPE,
        env={**unmeasured(), "TMPDIR": str(temporary)},
    )
    with process:
        plays, _, _ = select.select([begun], [], [], 60)
        process.kill()
    os.close(begun)
    assert plays
    assert list(temporary.iterdir()) == []
