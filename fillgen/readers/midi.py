"""Melodies read from MIDI files, whatever their state."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import mido

from fillgen.errors import TuneError
from fillgen.readers.melody import FASTEST, MOST_NOTES, SLOWEST, Sheet, Sound, Voice
from fillgen.theory.metre import TICKS
from fillgen.theory.pitch import Key, all_keys

if TYPE_CHECKING:  # a file of ideas needs no sessions
    pass


# Files read

_MOST_MIDI = 1_000_000
"""The largest file that is read, in bytes."""
_MOST_QUARTERS = 4096
"""The longest music that is read, in quarter notes."""
_DRUMS = 9
"""The channel of the drums, counted from 0."""
_DAMAGED_NUMBER = re.compile(rb"[\x80-\xff]{1000}")
"""No file has a number of this many bytes; reading one would take forever."""
_KEY_SIGNATURE = re.compile(rb"\xff\x59\x02..", re.DOTALL)
_NO_KEY_SIGNATURE = b"\xff\x59\x02\x00\x00"


_EARLY = 30
"""A first note this many ticks before a change of tempo is early and belongs to the new one."""


@dataclass(frozen=True)
class Recording(Sheet):
    """What a MIDI file holds: its tempi as well, each with its tick, in quarter notes a minute.

    An impossible tempo is None. Of two at one tick the later in the file comes last, and counts.
    """

    tempi: tuple[tuple[int, int | None], ...] = ()

    def tempo_from(self, first: float, end: float) -> tuple[int | None, tuple[str, ...]]:
        """The tempo at which a melody between two ticks begins, and a remark where it changes later.

        >>> Recording((), tempi=((0, 60), (0, 90), (1920, 120))).tempo_from(0, 1920)
        (90, ())
        """
        before = [tempo for tick, tempo in self.tempi if tick <= first + _EARLY]
        tempo = before[-1] if before else next((tempo for _, tempo in self.tempi), None)
        inside = dict(sign for sign in self.tempi if first + _EARLY < sign[0] < end)
        others = sorted({other for other in inside.values() if other is not None and other != tempo})
        if not before or tempo is None or not others:
            return tempo, ()
        change = f"to {others[0]}" if len(others) == 1 else f"between {others[0]} and {others[-1]}"
        return tempo, (
            f"The tempo changes while the phrase plays, {change}; the tempo at its start, {tempo}, is used.",
        )


def read_midi(content: bytes, place: str) -> Recording:
    """The melodies of a Standard MIDI File of format 0 or 1: the tracks that have notes, or the channels of one track.

    Times are ticks of 480 a quarter note, not always whole, since files count in ticks of their own; drums are left
    out. Raises TuneError if the file is damaged or is of a kind that cannot be used.
    """
    file = usable_file(content, place)
    _check_one_idea(file, place)
    tracks = [_heard(track, file.ticks_per_beat, place) for track in file.tracks]
    if sum(len(sounds) for track in tracks for sounds in track.sounds.values()) > MOST_NOTES:
        raise TuneError(f"has more than {MOST_NOTES} notes", place=place)
    metres = tuple(sorted((sign for track in tracks for sign in track.metres), key=lambda sign: sign[0]))
    voices = tuple(replace(voice, metres=metres) for voice in _voices(tracks))
    if not voices:
        drums = any(track.sounds for track in tracks)
        raise TuneError("has only drum notes" if drums else "has no notes", place=place)
    tempi = sorted((tempo for track in tracks for tempo in track.tempi), key=lambda tempo: tempo[0])
    title = tracks[0].name if not tracks[0].sounds else ""
    believed = tuple((tick, _believed(tempo)) for tick, tempo in tempi)
    return Recording(voices, title, key=_signed_key(content), tempi=believed)


def _signed_key(content: bytes) -> Key | None:
    """The key of the first key signature that is one. C major says nothing: programs write it when no key was chosen."""
    for sign in _KEY_SIGNATURE.findall(content):
        sharps, mode = int.from_bytes(sign[3:4], "big", signed=True), _SIGNED_MODES.get(sign[4])
        if mode is not None and (sharps or mode == "minor"):
            return next((key for key in all_keys() if (key.fifths, key.mode) == (sharps, mode)), None)
    return None


_SIGNED_MODES = {0: "major", 1: "minor"}


def usable_file(content: bytes, place: str) -> mido.MidiFile:
    """A Standard MIDI File of format 0 or 1 that counts in quarter notes; TuneError for any other."""
    if len(content) > _MOST_MIDI:
        raise TuneError(f"larger than {_MOST_MIDI // 1_000_000} MB", place=place)
    file = _opened(content, place)
    if file.type == 2:
        hint = "Save it as format 0 or 1."
        raise TuneError("a MIDI file of format 2, whose tracks do not play together", place=place, hint=hint)
    if file.ticks_per_beat <= 0:
        hint = "Save it with ticks per quarter note."
        raise TuneError("a MIDI file timed in film frames, without beats", place=place, hint=hint)
    return file


def _check_one_idea(file: mido.MidiFile, place: str) -> None:
    """TuneError if a file holds several ideas, one after another, as its markers say."""
    markers = [message.text for track in file.tracks for message in track if message.type == "marker"]
    ideas = sum(re.match(r"Idea \d+:", text) is not None for text in markers)
    if ideas > 1:
        hint = "Write them to a folder, -o NAME/, and give the file of one of them."
        raise TuneError(f"holds {ideas} ideas one after another", place=place, hint=hint)


def _opened(content: bytes, place: str) -> mido.MidiFile:
    """The file as mido reads it. Key signatures are blanked out: some files have one that no key has."""
    try:
        if _DAMAGED_NUMBER.search(content):
            raise ValueError("a number that never ends")
        content = _KEY_SIGNATURE.sub(_NO_KEY_SIGNATURE, b"".join(_known_chunks(content)))
        return mido.MidiFile(file=io.BytesIO(content))
    except Exception as error:  # mido raises many kinds of errors on damaged files
        hint = "Save it as a Standard MIDI File again."
        raise TuneError("a damaged MIDI file, or not MIDI at all", place=place, hint=hint) from error


def _known_chunks(content: bytes) -> Iterator[bytes]:
    """The chunks of a file without those of unknown kinds, which the standard says to skip."""
    at = 0
    while at < len(content):
        end = at + 8 + int.from_bytes(content[at + 4 : at + 8], "big")
        if content[at : at + 4] in (b"MThd", b"MTrk") or not at:
            yield content[at:end]
        at = end


def _believed(tempo: int) -> int | None:
    """Microseconds per quarter note as quarter notes a minute; None if impossible."""
    beats = round(60_000_000 / tempo) if tempo else 0
    return beats if SLOWEST <= beats <= FASTEST else None


@dataclass(slots=True)
class _Heard:
    """What a track holds: its name, its notes by channel, and its tempi and metres with their ticks."""

    name: str
    sounds: dict[int, list[Sound]]
    tempi: list[tuple[int, int]]
    metres: list[tuple[int, str]]


def _heard(track: mido.MidiTrack, division: int, place: str) -> _Heard:
    """What a track holds; `division` are its ticks in a quarter note."""
    heard = _Heard(" ".join(printable(track.name).split())[:80], {}, [], [])
    begun: dict[tuple[int, int], float] = {}
    at = 0
    for message in track:
        at += message.time
        if at > _MOST_QUARTERS * division:
            raise TuneError(f"is longer than {_MOST_QUARTERS} quarter notes", place=place)
        tick = at * TICKS / division
        if message.type in ("note_on", "note_off"):
            _strike(heard, begun, message, tick)
        elif message.type == "set_tempo":
            heard.tempi.append((round(tick), message.tempo))
        elif message.type == "time_signature":
            heard.metres.append((round(tick), f"{message.numerator}/{message.denominator}"))
    for (channel, midi), start in sorted(begun.items()):
        heard.sounds.setdefault(channel, []).append(Sound(start, at * TICKS / division, midi))
    return heard


def _strike(heard: _Heard, begun: dict[tuple[int, int], float], message: mido.Message, tick: float) -> None:
    """A key that goes down or up; one that goes down again ends its note before."""
    key = (message.channel, message.note)
    start = begun.pop(key, None)
    if start is not None and tick > start:
        heard.sounds.setdefault(message.channel, []).append(Sound(start, tick, message.note))
    if message.type == "note_on" and message.velocity:
        begun[key] = tick


def printable(name: str) -> str:
    """A text of a file, which is UTF-8 more often than the Latin-1 it was read as; only what can be printed."""
    decoded = name.encode("latin-1", "replace").decode("utf-8", "replace")
    return "".join(letter if letter.isprintable() else " " for letter in decoded)


def _voices(tracks: Sequence[_Heard]) -> list[Voice]:
    """The parts of a file: its tracks that have notes, or the channels where only one track has any."""
    pitched = [
        (number, track, {channel: sounds for channel, sounds in track.sounds.items() if channel != _DRUMS})
        for number, track in enumerate(tracks, 1)
    ]
    pitched = [(number, track, sounds) for number, track, sounds in pitched if sounds]
    if len(pitched) == 1 and len(pitched[0][2]) > 1:
        channels = sorted(pitched[0][2].items())
        return [Voice(f"channel {channel + 1}", tuple(sounds)) for channel, sounds in channels]
    names = [track.name.casefold() for _, track, _ in pitched]
    return [
        Voice(
            track.name if track.name and names.count(track.name.casefold()) == 1 else f"track {number}",
            tuple(sound for channel in sorted(sounds) for sound in sounds[channel]),
        )
        for number, track, sounds in pitched
    ]
