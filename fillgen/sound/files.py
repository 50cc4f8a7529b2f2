"""MIDI as sound files: rendered with our own voices, or with a sound font of the player's, as WAV or FLAC.

Rendering starts from a MIDI file, so that sound and MIDI agree: the same notes at the same moments, with the same
velocities, sounds, volumes and pans.
"""

from __future__ import annotations

import contextlib
import io
import shutil
import subprocess
import sys
import tempfile
import wave
from collections.abc import Iterable, Iterator, Mapping, Sequence
from importlib import import_module
from pathlib import Path
from typing import IO

import numpy as np
from numpy.typing import NDArray

from fillgen.errors import OptionError, OutputError, shorten
from fillgen.hands.instruments import DRUM_CHANNEL, PAN, VOLUME, sound_names
from fillgen.sound.performance import CONTROL, NOTE_OFF, NOTE_ON, Performance
from fillgen.sound.playback import to_performance
from fillgen.sound.synth.limiter import Limiter
from fillgen.sound.synth.mix import Instrument, Part, SoundingNote, Synthesizer, Tones, mixed
from fillgen.sound.synth.recipes import DRUMS, drums, shared_words, voice_of
from fillgen.sound.synth.tones import FULL_SCALE, RATE, Samples

KINDS = (".wav", ".flac")
"""The file endings of sound files."""
MOST_MINUTES = 30
"""The longest sound file: 30 minutes of .wav are 318 MB."""
_PROGRAM_CHANGE = 0xC0
_USUAL_VOLUME, _CENTRE = 100, 64
_PLAYER = "fluidsynth"
_PLAYER_GAIN = 0.4
"""The gain for a sound font, on the scale of fluidsynth, whose default is 0.2."""
_LONGEST_WAIT = 900
"""Seconds after which fluidsynth is stopped if it hasn't finished."""


# What is heard


class _Channel:
    """A channel of a file as it is played: its voice, volume and pan, and its notes."""

    def __init__(self, number: int) -> None:
        self.voice = DRUMS if number == DRUM_CHANNEL else voice_of("1")
        self.volume, self.pan = _USUAL_VOLUME, _CENTRE
        self.notes: list[SoundingNote] = []
        self._down: dict[int, tuple[float, int]] = {}

    def hear(self, second: float, data: bytes) -> None:
        """Take in a message and the second at which it comes."""
        kind, first, second_byte = data[0] & 0xF0, data[1], data[-1]
        if kind == NOTE_ON and second_byte:
            self._down[first] = second, second_byte
        elif kind in (NOTE_ON, NOTE_OFF):
            self._end(second, first)
        elif kind == _PROGRAM_CHANGE and self.voice != DRUMS:
            self.voice = voice_of(str(first + 1))
        elif kind == CONTROL and first == VOLUME:
            self.volume = second_byte
        elif kind == CONTROL and first == PAN:
            self.pan = second_byte

    def _end(self, second: float, midi: int) -> None:
        if midi in self._down:
            start, velocity = self._down.pop(midi)
            self.notes.append(SoundingNote(start, second - start, midi, velocity))

    @property
    def part(self) -> Part:
        """The notes with their instrument; strokes on keys without a drum are left out."""
        place = max(-1.0, (self.pan - _CENTRE) / (_CENTRE - 1))
        notes = [n for n in self.notes if self.voice != DRUMS or n.midi in drums()]
        ordered = sorted(notes, key=lambda n: (n.start, n.midi))
        return Part(Instrument(self.voice, self.volume, place), tuple(ordered))


def parts_of(performance: Performance) -> tuple[Part, ...]:
    """The parts of a performance: for each channel its notes, and the voice nearest to its sound.

    A channel has one sound, volume and pan, those set last.

    >>> import fillgen
    >>> from fillgen.writers.midi import to_midi
    >>> ideas = fillgen.ideas("| C | G7 |", tempo=120, count=1)
    >>> (part,) = parts_of(to_performance(to_midi(ideas)))
    >>> part.instrument.voice, part.notes[0].start < 2.0
    ('vibraphone', True)
    """
    channels: dict[int, _Channel] = {}
    for event in performance.events:
        if event.data and event.data[0] < 0xF0:
            number = event.data[0] & 0x0F
            if number not in channels:
                channels[number] = _Channel(number)
            channels[number].hear(event.second, event.data)
    return tuple(channels[number].part for number in sorted(channels) if channels[number].notes)


def stand_ins(midi: bytes) -> tuple[tuple[str, str], ...]:
    """The sounds of a MIDI file that are not among our voices, each with the voice that plays instead.

    >>> import fillgen
    >>> from fillgen.hands.playing import Playing
    >>> from fillgen.writers.midi import to_midi
    >>> stand_ins(to_midi(fillgen.ideas("| C | G7 |", count=1), Playing(), {"right": "Church Organ"}))
    (('Church Organ', 'drawbar organ'),)
    """
    found: dict[str, str] = {}
    for event in to_performance(midi).events:
        if event.data and event.data[0] & 0xF0 == _PROGRAM_CHANGE and event.data[0] & 0x0F != DRUM_CHANNEL:
            sound = sound_names()[event.data[1]]
            voice = voice_of(sound)
            if shared_words(sound, voice) < len(voice.split()):
                found[sound] = voice
    return tuple(found.items())


# Sound files


def to_sound(
    midi: bytes, *, kind: str = ".wav", font: Path | None = None, tones: Tones | None = None
) -> bytes:
    """A MIDI file as a sound file, stereo at 44,100 samples of 16 bits a second.

    It is played by the nearest of our own voices, or with `font`, a General MIDI sound font. `tones` may give the
    samples instead of the synthesizer. OptionError for a kind that can't be written and for music that is too long,
    OutputError for a font that can't be played, TuneError for a MIDI file that can't be used.

    >>> import fillgen
    >>> from fillgen.writers.midi import to_midi
    >>> to_sound(to_midi(fillgen.ideas("| C | G7 |", tempo=200, count=1)))[:4]
    b'RIFF'
    """
    check_kind(kind)
    performance = to_performance(midi)
    _check_length(performance.length)
    pieces = mixed(parts_of(performance), tones) if font is None else _by_font(midi, font)
    numbers = (np.round(piece.T * FULL_SCALE).astype("<i2") for piece in pieces)
    return _flac(numbers) if kind == ".flac" else _wav(numbers)


def to_sound_files(
    files: Mapping[str, bytes], *, kind: str = ".wav", font: Path | None = None
) -> Iterator[tuple[str, bytes]]:
    """MIDI files by name as sound files, one after another: `idea-01.mid` as `idea-01.wav` and so on.

    All else is as for `to_sound`; tones that several files share are made once.
    """
    tones = Synthesizer()
    for name, midi in files.items():
        yield f"{Path(name).stem}{kind}", to_sound(midi, kind=kind, font=font, tones=tones)


def check_kind(kind: str) -> None:
    """OptionError if sound files of a kind can't be written here.

    >>> check_kind(".wav")
    """
    if kind not in KINDS:
        raise OptionError(f"{shorten(kind)} is not a kind of sound file", hint=f"Use {' or '.join(KINDS)}.")
    if kind == ".flac":
        try:
            import_module("soundfile")
        except (ImportError, OSError) as error:
            hint = f"Write .wav, or install it with: {sys.executable} -m pip install soundfile"
            raise OptionError("a .flac file needs the library soundfile", hint=hint) from error


def _check_length(seconds: float) -> None:
    if seconds > MOST_MINUTES * 60:
        length = f"the sound would last {seconds / 60:.0f} minutes, and the limit is {MOST_MINUTES}"
        raise OptionError(length, hint="Ask for fewer ideas, or for one file an idea.")


def _wav(pieces: Iterable[NDArray[np.int16]]) -> bytes:
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(RATE)
        for piece in pieces:
            file.writeframesraw(piece.tobytes())
    return buffer.getvalue()


def _flac(pieces: Iterable[NDArray[np.int16]]) -> bytes:
    buffer = io.BytesIO()
    library = import_module("soundfile")
    with library.SoundFile(buffer, "w", RATE, 2, format="FLAC", subtype="PCM_16") as file:
        for piece in pieces:
            file.write(piece)
    return buffer.getvalue()


# Sound fonts


def check_font(font: Path) -> str:
    """The path of fluidsynth; OutputError if it isn't installed, or if a file isn't a sound font."""
    try:
        with font.open("rb") as file:
            head = file.read(12)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise OutputError(f"cannot be read: {reason}", place=str(font)) from error
    if head[:4] != b"RIFF" or head[8:] != b"sfbk":
        raise OutputError(
            "is not a sound font", place=str(font), hint="Sound fonts are files that end with .sf2 or .sf3."
        )
    found = shutil.which(_PLAYER)
    if found is None:
        hint = (
            "Install it (Debian, Ubuntu: sudo apt install fluidsynth; Fedora: sudo dnf install fluidsynth; macOS: "
            "brew install fluid-synth; Windows: choco install fluidsynth), or leave --soundfont out."
        )
        raise OutputError("a sound font needs the program fluidsynth, which is not installed", hint=hint)
    return found


def _by_font(midi: bytes, font: Path) -> Iterable[Samples]:
    """A MIDI file played with a sound font, kept below the ceiling."""
    player = check_font(font)
    with _scratch() as source, _scratch() as target:
        source.write(midi)
        source.seek(0)
        command = [player, "-ni", "-q", "-g", str(_PLAYER_GAIN), "-r", str(RATE), "-T", "wav", "-O", "s16"]
        _run([*command, "-F", _path(target), str(font.resolve()), _path(source)], font, (source, target))
        rows = _read(target, font)
    limiter = Limiter()
    return [limiter.limited(rows), limiter.rest()]


if sys.platform == "win32":

    @contextlib.contextmanager
    def _scratch() -> Iterator[IO[bytes]]:
        """A file in a temporary folder, where another program can open it."""
        with (
            tempfile.TemporaryDirectory(prefix="fillgen-") as folder,
            Path(folder, "take").open("w+b") as file,
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


def _run(command: Sequence[str], font: Path, files: Sequence[IO[bytes]]) -> None:
    """Run the player, which inherits the files where they have no names of their own."""
    inherited = () if sys.platform == "win32" else tuple(file.fileno() for file in files)
    try:
        done = subprocess.run(  # noqa: S603
            command, capture_output=True, check=False, timeout=_LONGEST_WAIT, pass_fds=inherited
        )
    except (OSError, subprocess.SubprocessError) as error:
        raise OutputError(f"{_PLAYER} cannot be run: {error}", place=str(font)) from error
    if done.returncode:
        reasons = done.stderr.decode("utf-8", "replace").strip().splitlines() or ["it doesn't say why"]
        raise OutputError(f"{_PLAYER} failed: {reasons[-1][:200]}", place=str(font))


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
