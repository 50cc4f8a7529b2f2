"""Melodies as their sources have them: sounds in parts, before they are written down on beats."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from fillgen.errors import TuneError, printable
from fillgen.theory.chords import Chord
from fillgen.theory.pitch import Key, Name


@dataclass(frozen=True, slots=True)
class Sound:
    """A note as its source has it: where it begins and ends, in ticks that need not be whole, and its MIDI pitch.

    `name` is how the source spells it, None if it doesn't.
    """

    onset: float
    end: float
    midi: int
    name: Name | None = field(default=None, compare=False, repr=False)


@dataclass(frozen=True)
class Voice:
    """One part of a source: its name, its notes, the metres signed with the tick of each, the ticks of its bars.

    `bars` is empty if the source marks no bars, as in MIDI.
    """

    name: str
    sounds: tuple[Sound, ...]
    metres: tuple[tuple[int, str], ...] = ()
    bars: tuple[int, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """What a source holds: the parts that have notes, its title, its tempo in quarter notes a minute, remarks.

    `chords` are its chord symbols, each with its tick, and `key` is the key that it signs with its mode, if it does.
    """

    voices: tuple[Voice, ...]
    title: str = ""
    tempo: int | None = None
    remarks: tuple[str, ...] = ()
    chords: tuple[tuple[int, Chord], ...] = ()
    key: Key | None = None


MOST_NOTES = 10_000
"""The most notes that a melody is read with."""
SLOWEST, FASTEST = 20, 400
"""The plausible tempi, in quarter notes a minute."""
_ROLLED = 30
"""Notes that begin within this many ticks of one another and sound together are struck together."""
REPEATS = "Repeats are not played out: each bar is read once."


def top_line(sounds: Iterable[Sound]) -> tuple[Sound, ...]:
    """The melody among notes: the highest that sounds wherever one begins, each cut where the next begins.

    >>> chord = [Sound(0, 960, 60), Sound(0, 960, 64), Sound(480, 960, 59)]
    >>> top_line([*chord, Sound(960, 1920, 65)])
    (Sound(onset=0, end=960, midi=64), Sound(onset=960, end=1920, midi=65))
    """
    line: list[Sound] = []
    for sound in sorted(sounds, key=lambda sound: (sound.onset, -sound.midi)):
        held = line[-1] if line and line[-1].end > sound.onset + _ROLLED / 2 else None
        if held is not None and sound.onset - held.onset <= _ROLLED:
            if sound.midi > held.midi:
                line[-1] = sound
        elif held is None or sound.midi >= held.midi or held.end < sound.end - _ROLLED:
            line.append(sound)
    ends = [*(sound.onset for sound in line[1:]), float("inf")]
    cut = (replace(s, end=min(s.end, end)) for s, end in zip(line, ends, strict=True))
    return tuple(sound for sound in cut if sound.end > sound.onset)


def checked_sheet(sheet: Sheet, place: str) -> Sheet:
    """A sheet that has notes, and not too many, its title without control characters."""
    if not sheet.voices:
        raise TuneError("has no notes", place=place)
    if sum(len(voice.sounds) for voice in sheet.voices) > MOST_NOTES:
        raise TuneError(f"has more than {MOST_NOTES} notes", place=place)
    return replace(sheet, title=printable(sheet.title))


def named_apart(voices: tuple[Voice, ...]) -> tuple[Voice, ...]:
    """Voices with names that tell them apart, without control characters."""
    voices = tuple(replace(voice, name=printable(voice.name)) for voice in voices)
    names = [voice.name.casefold() for voice in voices]
    return tuple(
        voice if names.count(voice.name.casefold()) == 1 else replace(voice, name=f"{voice.name} ({number})")
        for number, voice in enumerate(voices, 1)
    )
