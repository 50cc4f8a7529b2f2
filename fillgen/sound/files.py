"""MIDI as sound files: rendered with our own voices, or with a sound font of the player's, as WAV or FLAC.

Rendering starts from a MIDI file, so that sound and MIDI agree: the same notes at the same moments, with the same
velocities, sounds, volumes and pans.
"""

from __future__ import annotations

import io
import sys
import wave
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from importlib import import_module
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fillgen.errors import OptionError, shorten
from fillgen.hands.instruments import DRUM_CHANNEL, PAN, SUSTAIN, VOLUME, sound_names
from fillgen.sound.fonts import played
from fillgen.sound.levels import levelled
from fillgen.sound.performance import CONTROL, NOTE_OFF, NOTE_ON, Performance
from fillgen.sound.playback import to_performance
from fillgen.sound.synth.mix import Instrument, Part, SoundingNote, Synthesizer, Tones, summed
from fillgen.sound.synth.recipes import DRUMS, drums, shared_words, voice_of
from fillgen.sound.synth.tones import FULL_SCALE, RATE

KINDS = (".wav", ".flac")
"""The file endings of sound files."""
MOST_MINUTES = 30
"""The longest sound file: 30 minutes of .wav are 318 MB."""
_PROGRAM_CHANGE = 0xC0
_USUAL_VOLUME, _CENTRE = 100, 64
_HALF_DOWN = 64
"""From this value on the pedal is down (MIDI 1.0, controller 64: 0 to 63 off, 64 to 127 on; from memory)."""


# What is heard


class _Channel:
    """A channel of a file as it is played: its voice, volume and pan, and its notes, which a pedal holds until it goes up."""

    def __init__(self, number: int) -> None:
        self.voice = DRUMS if number == DRUM_CHANNEL else voice_of("1")
        self.volume, self.pan = _USUAL_VOLUME, _CENTRE
        self.notes: list[SoundingNote] = []
        self._down: dict[int, tuple[float, int]] = {}
        self._pedal = False
        self._held: dict[int, SoundingNote] = {}

    def hear(self, second: float, data: bytes) -> None:
        """Take in a message and the second at which it comes."""
        kind, first, second_byte = data[0] & 0xF0, data[1], data[-1]
        if kind == NOTE_ON and second_byte:
            self._damp(second, first)
            self._down[first] = second, second_byte
        elif kind in (NOTE_ON, NOTE_OFF):
            self._end(second, first)
        elif kind == _PROGRAM_CHANGE and self.voice != DRUMS:
            self.voice = voice_of(str(first + 1))
        elif kind == CONTROL and first == VOLUME:
            self.volume = second_byte
        elif kind == CONTROL and first == PAN:
            self.pan = second_byte
        elif kind == CONTROL and first == SUSTAIN:
            self._pedal = second_byte >= _HALF_DOWN
            if not self._pedal:
                for midi in (*self._held,):
                    self._damp(second, midi)

    def _end(self, second: float, midi: int) -> None:
        if midi in self._down:
            start, velocity = self._down.pop(midi)
            note = SoundingNote(start, second - start, midi, velocity)
            if self._pedal:
                self._held[midi] = note
            else:
                self.notes.append(note)

    def _damp(self, second: float, midi: int) -> None:
        """End a note that the pedal holds."""
        if midi in self._held:
            note = self._held.pop(midi)
            self.notes.append(replace(note, length=second - note.start))

    @property
    def part(self) -> Part:
        """The notes with their instrument; strokes on keys without a drum are left out."""
        place = max(-1.0, (self.pan - _CENTRE) / (_CENTRE - 1))
        notes = [n for n in (*self.notes, *self._held.values()) if self.voice != DRUMS or n.midi in drums()]
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

    It is played by the nearest of our own voices, or with `font`, a General MIDI sound font; either way its loudness is
    -18 LUFS. `tones` may give the samples instead of the synthesizer. OptionError for a kind that can't be written and for music that is too long,
    OutputError for a font that can't be played, TuneError for a MIDI file that can't be used.

    >>> import fillgen
    >>> from fillgen.writers.midi import to_midi
    >>> to_sound(to_midi(fillgen.ideas("| C | G7 |", tempo=200, count=1)))[:4]
    b'RIFF'
    """
    check_kind(kind)
    performance = to_performance(midi)
    _check_length(performance.length)
    pieces = summed(parts_of(performance), tones) if font is None else [played(midi, font)]
    numbers = (np.round(piece.T * FULL_SCALE).astype("<i2") for piece in levelled(pieces))
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
