"""The sounds of General MIDI, by name or number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from fillgen.errors import OptionError, PackError, did_you_mean, shorten
from fillgen.tables import table

VOLUME, PAN, SUSTAIN = 7, 10, 64
"""Controller numbers of a channel's volume, pan and sustain pedal (General MIDI)."""
DRUM_CHANNEL = 9
"""The channel of the drums, counted from 0 (General MIDI)."""


@lru_cache(maxsize=1)
def sound_names() -> tuple[str, ...]:
    """The 128 names in order; the first is number 1 on paper and program 0 on the wire."""
    return tuple(name for family in table("sounds")["family"] for name in family["sounds"])


def sound_families() -> dict[str, tuple[str, ...]]:
    """The families of General MIDI with their sounds, in order.

    >>> sound_families()["Organ"][0]
    'Drawbar Organ'
    """
    return {family["name"]: tuple(family["sounds"]) for family in table("sounds")["family"]}


@lru_cache(maxsize=1)
def said_names() -> dict[str, str]:
    """What players call sounds, each with its General MIDI name.

    >>> said_names()["saxophone"]
    'Tenor Sax'
    """
    return dict(table("sounds")["said"])


@lru_cache(maxsize=1)
def _programs() -> dict[str, int]:
    """The program of every name, without capitals, spaces and signs."""
    numbers = {name: number for number, name in enumerate(sound_names())}
    said = {_plain(name): numbers[sound] for name, sound in said_names().items()}
    return {**said, **{_plain(name): number for name, number in numbers.items()}}


def program(sound: str) -> int:
    """The MIDI program, 0 to 127, of a sound given by its name or by its number from 1 to 128.

    Names are those of General MIDI and what players say; OptionError with the nearest for another.

    >>> program("vibraphone"), program("12"), program("nylon guitar")
    (11, 11, 24)
    """
    names = sound_names()
    if sound.strip().isdecimal():
        number = int(sound.strip()[:9])
        if not 1 <= number <= len(names):
            raise OptionError(
                f"there is no sound {number}", hint=f"The sounds are numbered 1 to {len(names)}."
            )
        return number - 1
    if _plain(sound) not in _programs():
        hint = _near(sound, (*names, *said_names()))
        raise OptionError(f"unknown sound {shorten(sound)}", hint=hint)
    return _programs()[_plain(sound)]


def _near(sound: str, names: Sequence[str]) -> str:
    """The sounds whose names contain a word, or else those spelled most like it."""
    within = [name for name in names if _plain(sound) and _plain(sound) in _plain(name)]
    return f"Did you mean {' or '.join(map(repr, within[:3]))}?" if within else did_you_mean(sound, names)


@lru_cache(maxsize=1)
def percussion_keys() -> dict[str, int]:
    """The percussion of General MIDI: name and key, 35 to 81."""
    return {row["name"]: row["key"] for row in table("sounds")["percussion"]}


def percussion(name: str) -> int:
    """The MIDI key of a percussion sound on channel 10.

    >>> percussion("Ride Cymbal 1")
    51
    """
    keys = percussion_keys()
    if name not in keys:
        raise PackError(f"unknown percussion {name!r}", hint=did_you_mean(name, keys))
    return keys[name]


def _plain(name: str) -> str:
    return "".join(letter for letter in name.lower() if letter.isalnum())


@dataclass(frozen=True, slots=True)
class PartSetup:
    """How a part is set up in MIDI: its track name, channel (from 0), usual sound, volume and place from left to right."""

    name: str
    channel: int
    sound: str
    volume: int
    pan: int


PART_SETUPS = {
    "right": PartSetup("Right hand", 0, "Vibraphone", 104, 74),
    "left": PartSetup("Left hand", 1, "Electric Piano 1", 76, 52),
    "bass": PartSetup("Bass", 2, "Acoustic Bass", 96, 64),
    "drums": PartSetup("Drums", DRUM_CHANNEL, "", 78, 64),
    "fills": PartSetup("Fills", 3, "Flute", 92, 84),
}
