"""The recipes of the voices in `rules/voices.toml`, and the voice that plays each General MIDI sound."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import hypot, log2, log10, pi, sin
from typing import Any

from fillgen.errors import OptionError, did_you_mean, shorten
from fillgen.hands.instruments import program, sound_names
from fillgen.tables import table

DRUMS = "drums"
"""The name of the drum set among the voices."""
_STEP_OF_A_DRAWBAR = 3.0
"""Decibels."""
_SHARP = 0.02
"""The share of a harmonic that remains where a string is plucked at its node."""


@dataclass(frozen=True, slots=True)
class Mode:
    """A partial: its ratio to the fundamental, its level in dB, its decay as a share of the fundamental's."""

    ratio: float
    level: float
    decay: float


@dataclass(frozen=True, slots=True)
class Noise:
    """A band of noise: its frequencies (Hz), level (dB), decay (s, 0 for none) and delay (s)."""

    low: float
    high: float
    level: float
    decay: float
    delay: float = 0.0


@dataclass(frozen=True, slots=True)
class Sampling:
    """How a voice is sampled for a bank: pitches, seconds before and in the loop, samples a second."""

    keys: tuple[int, ...]
    before: float
    loop: float
    rate: int


@dataclass(frozen=True, slots=True)
class Recipe:
    """A voice as numbers; `rules/voices.toml` explains each of them and names its source."""

    name: str
    source: str
    sustained: bool
    range: tuple[int, int]
    modes: tuple[Mode, ...]
    body: tuple[tuple[float, float], ...]
    touch: float
    attack: float
    release: float
    bank: Sampling
    stiffness: tuple[tuple[float, float], ...] = ()
    decay: tuple[tuple[float, float], ...] = ()
    after: tuple[float, float, float] | None = None
    bloom: float = 1.0
    vibrato: tuple[float, float, float] = (0.0, 0.0, 0.0)
    tremolo: tuple[float, float] = (0.0, 0.0)
    motion: tuple[float, float] = (0.0, 0.0)
    width: float = 0.0
    players: tuple[tuple[float, float], ...] = ((0.0, 1.0),)
    noise: tuple[Noise, ...] = ()

    def pan(self, midi: int) -> float:
        """Where a pitch lies from left (-1) to right (1) about the middle of the instrument."""
        low, high = self.range
        return self.width * (min(1.0, max(0.0, (midi - low) / (high - low))) - 0.5)


@dataclass(frozen=True, slots=True)
class Drum:
    """A drum as numbers: keys with their tunings, modes (ratio, dB, s), plate, noise, and its pan in the set.

    `touch` is how many dB per octave darker the softest stroke is than the hardest.
    """

    name: str
    keys: dict[int, float]
    level: float
    modes: tuple[Mode, ...] = ()
    glide: tuple[float, float] = (0.0, 1.0)
    cluster: tuple[float, ...] = ()
    noise: tuple[Noise, ...] = ()
    touch: float = 3.0
    pan: float = 0.0
    choke: str = ""


@dataclass(frozen=True, slots=True)
class RoomPlan:
    """A room: its sides in metres, its absorption, the places of instruments and ears, its width, its level in dB."""

    size: tuple[float, float, float]
    absorption: float
    source: tuple[float, float, float]
    ears: tuple[tuple[float, float, float], tuple[float, float, float]]
    width: float
    level: float
    images: int

    @property
    def reverberation(self) -> float:
        """Seconds in which the room's sound falls by 60 dB, by Sabine's formula.

        >>> round(RoomPlan((5, 4, 3), 0.25, (1, 1, 1), ((2, 2, 1), (2, 3, 1)), 1, -15, 3).reverberation, 2)
        0.41
        """
        length, width, height = self.size
        surface = 2 * (length * width + length * height + width * height)
        return 0.161 * length * width * height / (surface * self.absorption)


@lru_cache(maxsize=1)
def recipes() -> dict[str, Recipe]:
    """The pitched voices by name.

    >>> sorted(recipes())[:3]
    ['acoustic bass', 'clarinet', 'drawbar organ']
    """
    return {row["name"]: _recipe(row) for row in table("voices")["voice"]}


@lru_cache(maxsize=1)
def drums() -> dict[int, Drum]:
    """The drum of every percussion key of General MIDI, 35 to 81.

    >>> drums()[38].name
    'snare drum'
    """
    return {key: drum for row in table("voices")["drum"] for drum in [_drum(row)] for key in drum.keys}


def drum_of(key: int) -> Drum:
    """The drum of a key; OptionError for a key without a drum in General MIDI.

    >>> drum_of(57).name
    'crash cymbal'
    """
    known = drums()
    if key not in known:
        raise OptionError(f"no drum has key {key}", hint=f"Keys are {min(known)} to {max(known)}.")
    return known[key]


@lru_cache(maxsize=1)
def room_plan() -> RoomPlan:
    """The room that the voices sound in."""
    row = table("voices")["room"]
    first, second = (tuple(ear) for ear in row["ears"])
    return RoomPlan(
        tuple(row["size"]),
        row["absorption"],
        tuple(row["source"]),
        (first, second),
        row["width"],
        row["level"],
        row["images"],
    )


def recipe(voice: str) -> Recipe:
    """The recipe of a voice by its name; OptionError for an unknown name.

    >>> recipe("clarinet").modes[2].level
    -5.0
    """
    known = recipes()
    if voice not in known:
        raise OptionError(f"unknown voice {shorten(voice)}", hint=did_you_mean(voice, known))
    return known[voice]


@lru_cache(maxsize=256)
def voice_of(sound: str) -> str:
    """The voice nearest to a General MIDI sound, given by name or by number from 1 to 128.

    >>> voice_of("Drawbar Organ"), voice_of("Alto Sax"), voice_of("1")
    ('drawbar organ', 'saxophone', 'piano')
    """
    number = program(sound)
    listed = table("voices")
    family = table("sounds")["family"][number // 8]["name"]
    return str(listed["nearer"].get(sound_names()[number], listed["families"][family]))


def shared_words(sound: str, voice: str) -> int:
    """The number of words in a voice's name that begin like a word of a sound's name.

    >>> shared_words("Alto Sax", "saxophone"), shared_words("Church Organ", "drawbar organ")
    (1, 1)
    """
    words = sound.lower().replace("(", "").split()
    return sum(any(word.startswith(each[:3]) for word in words) for each in voice.split())


def _recipe(row: dict[str, Any]) -> Recipe:
    options = {
        "stiffness": _pairs(row.get("stiffness", ())),
        "decay": _pairs(row.get("decay", ())),
        "after": tuple(row["after"]) if "after" in row else None,
        "bloom": row.get("bloom", 1.0),
        "vibrato": tuple(row.get("vibrato", (0.0, 0.0, 0.0))),
        "tremolo": tuple(row.get("tremolo", (0.0, 0.0))),
        "motion": tuple(row.get("motion", (0.0, 0.0))),
        "width": row.get("width", 0.0),
        "players": _pairs(row.get("players", ((0.0, 1.0),))),
        "noise": tuple(Noise(*band) for band in row.get("noise", ())),
    }
    low, high = row["range"]
    sampling = row["bank"]
    return Recipe(
        name=row["name"],
        source=row["source"],
        sustained=row["kind"] == "sustained",
        range=(low, high),
        modes=_modes(row),
        body=_pairs(row["body"]),
        touch=row["touch"],
        attack=row["attack"],
        release=row["release"],
        bank=Sampling(tuple(sampling["keys"]), sampling["before"], sampling["loop"], sampling["rate"]),
        **options,
    )


def _pairs(rows: Sequence[Sequence[float]]) -> tuple[tuple[float, float], ...]:
    return tuple((first, second) for first, second in rows)


def _modes(row: dict[str, Any]) -> tuple[Mode, ...]:
    """The partials of a voice, from its modes, its footages or its harmonics."""
    if "modes" in row:
        return tuple(Mode(*mode) for mode in row["modes"])
    if "footages" in row:
        drawn = zip(row["footages"], row["drawbars"], strict=True)
        return tuple(Mode(8 / foot, _STEP_OF_A_DRAWBAR * (step - 8), 1.0) for foot, step in drawn if step)
    return tuple(_harmonic(row, number) for number in range(1, row["count"] + 1))


def _harmonic(row: dict[str, Any], number: int) -> Mode:
    """The harmonic of a number: its level is from the list, or follows the slope beyond it."""
    levels = row.get("levels", [0.0])
    level = levels[min(number, len(levels)) - 1] + row["slope"] * max(0.0, log2(number / len(levels)))
    if "point" in row:
        level += 20 * log10(hypot(sin(number * pi * row["point"]), row.get("blunt", _SHARP)))
    return Mode(number, level, number ** -row.get("damping", 0.0))


def _drum(row: dict[str, Any]) -> Drum:
    return Drum(
        name=row["name"],
        keys={int(key): float(tuning) for key, tuning in row["keys"].items()},
        level=row["level"],
        modes=tuple(Mode(*mode) for mode in row.get("modes", ())),
        glide=tuple(row.get("glide", (0.0, 1.0))),
        cluster=tuple(row.get("cluster", ())),
        noise=tuple(Noise(*band) for band in row.get("noise", ())),
        touch=row.get("touch", 3.0),
        pan=row.get("pan", 0.0),
        choke=row.get("choke", ""),
    )
