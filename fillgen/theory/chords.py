"""Chord kinds and chords: how a symbol is read, and which tones it has, each with its degree and spelling."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache

from fillgen.errors import ChartError, did_you_mean, shorten
from fillgen.tables import table
from fillgen.theory.pitch import LETTERS, NATURAL, Name, from_german, plain_signs

NO_CHORD = "N.C."
_NO_CHORD_SPELLINGS = {"N.C.", "NC", "N.C", "n.c.", "nc"}
_ROOT = re.compile(r"([A-G](?:#|b)?)(.*)", re.DOTALL)
_NOISE = re.compile(r"[\s(),\[\]]")
_SIGNS = str.maketrans({"△": "Δ", "∆": "Δ", "º": "°", "˚": "°", "Ø": "ø", "−": "-", "–": "-", "⁺": "+"})
_DEGREE = re.compile(r"(bb|b|#|)(\d+)")
DEGREE_NAMES = ("1", "b9", "9", "b3", "3", "4", "#4", "5", "b6", "6", "b7", "7")
"""The names of notes outside the chord by their distance above the root, 0 to 11 semitones."""


FAMILIES = {
    "1": "root",
    "2": "second",
    "3": "third",
    "4": "fourth",
    "5": "fifth",
    "6": "sixth",
    "7": "seventh",
    "9": "ninth",
    "11": "eleventh",
    "13": "thirteenth",
}
"""The degrees of chords in words, without their signs."""


@dataclass(frozen=True, slots=True)
class Degree:
    """A tone's place above a root: `text` as players say it, with its letters and semitones above the root."""

    text: str
    steps: int
    semitones: int

    @classmethod
    @lru_cache(maxsize=64)
    def read(cls, text: str) -> Degree:
        """The degree a text names.

        >>> Degree.read("b9").semitones
        13
        """
        match = _DEGREE.fullmatch(text)
        if match is None:
            raise ValueError(f"not a degree: {text!r}")
        steps = int(match[2]) - 1
        alter = match[1].count("#") - match[1].count("b")
        return cls(text, steps, NATURAL[steps % 7] + 12 * (steps // 7) + alter)

    @property
    def family(self) -> str:
        """The number without its sign: `b3` is a kind of `3`."""
        return self.text.lstrip("b#")


@dataclass(frozen=True)
class Kind:
    """A chord kind: its degrees above the root, and how it may be written.

    `naturals` is whether its tones take plain letters wherever there are any, as players write a diminished seventh.
    """

    name: str
    musicxml: str
    degrees: tuple[Degree, ...]
    left_out: tuple[str, ...]
    spellings: tuple[str, ...]
    naturals: bool = False

    @cached_property
    def sounding(self) -> tuple[Degree, ...]:
        """The degrees that are played: the full stack less those that players leave out."""
        return tuple(degree for degree in self.degrees if degree.text not in self.left_out)

    @property
    def is_dominant(self) -> bool:
        """Whether the kind drives to a tonic: a minor seventh above a major third or a suspended fourth."""
        has = {degree.text for degree in self.sounding}
        return "b7" in has and bool(has & {"3", "4", "11"}) and "b3" not in has


@dataclass(frozen=True, slots=True)
class Tone:
    """A tone of a chord: what it is above the root, its name, and its name on the letter of its degree.

    `stacked` is the name that theory gives it: the seventh of Bbdim7 is called G and stacked Abb.
    """

    degree: Degree
    name: Name
    stacked: Name


@dataclass(frozen=True)
class Chord:
    """A chord of a chart. `root` and `kind` are None for no chord (`N.C.`).

    >>> [str(tone.name) for tone in read_chord("Gb7").tones]
    ['Gb', 'Bb', 'Db', 'Fb']
    >>> [str(tone.name) for tone in read_chord("Bbdim7").tones]
    ['Bb', 'Db', 'E', 'G']
    """

    symbol: str
    root: Name | None
    kind: Kind | None
    bass: Name | None = None

    def __hash__(self) -> int:
        return hash(self.symbol)

    @cached_property
    def tones(self) -> tuple[Tone, ...]:
        """The tones from the root up, without double signs: a reader wants A instead of Bbb.

        The letters of a diminished seventh say nothing about where it goes, so its tones are plain letters where there
        are any. Common practice.
        """
        if self.root is None or self.kind is None:
            return ()
        degrees = self.kind.sounding
        return tuple(self._tone(degree, self.root.up(degree.steps, degree.semitones)) for degree in degrees)

    def _tone(self, degree: Degree, stacked: Name) -> Tone:
        has_plain_letter = self.kind is not None and self.kind.naturals and stacked != self.root
        return Tone(degree, stacked.natural() if has_plain_letter else stacked.plain(), stacked)

    def stands_on(self, letter: int) -> Tone | None:
        """The tone whose degree falls on a letter (0 = C), however the tone is written.

        >>> str(read_chord("Bbdim7").stands_on(3).name)
        'E'
        """
        return next((tone for tone in self.tones if tone.stacked.letter == letter), None)

    @cached_property
    def mask(self) -> int:
        """The pitch classes of the tones as bits, C = bit 0."""
        return mask_of(tone.name.pitch_class for tone in self.tones)

    def tone_at(self, pitch_class: int) -> Tone | None:
        """The tone of that pitch class, if the chord has one."""
        return self._by_class.get(pitch_class)

    @cached_property
    def _by_class(self) -> dict[int, Tone]:
        return {tone.name.pitch_class: tone for tone in reversed(self.tones)}

    def degree_of(self, pitch_class: int) -> str:
        """What a pitch class is above the root, in or out of the chord; empty if there is no root."""
        tone = self.tone_at(pitch_class)
        if tone is not None:
            return tone.degree.text
        return DEGREE_NAMES[(pitch_class - self.root.pitch_class) % 12] if self.root else ""

    def on(self, root: Name, bass: Name | None) -> Chord:
        """The same kind of chord on another root, written the way fillgen writes it."""
        if self.kind is None:
            return self
        return make_chord(root, self.kind, bass)


def mask_of(pitch_classes: Iterable[int]) -> int:
    """Pitch classes as bits of one number, C = bit 0."""
    mask = 0
    for pitch_class in pitch_classes:
        mask |= 1 << pitch_class % 12
    return mask


@lru_cache(maxsize=1)
def kinds() -> tuple[Kind, ...]:
    """All chord kinds of `rules/chords.toml`."""
    return tuple(
        Kind(
            row["name"],
            row["musicxml"],
            tuple(map(Degree.read, row["degrees"].split())),
            tuple(row.get("leave-out", "").split()),
            tuple(row["spellings"]),
            row.get("naturals", False),
        )
        for row in table("chords")["kind"]
    )


@lru_cache(maxsize=1)
def spellings() -> dict[str, Kind]:
    """Every spelling of every kind, as it is looked up."""
    return {spelling: kind for kind in kinds() for spelling in kind.spellings}


@lru_cache(maxsize=64)
def base_kind(musicxml: str) -> Kind:
    """The chord kind of a MusicXML kind without added degrees; KeyError if there is none."""
    for kind in kinds():
        if kind.musicxml == musicxml:
            return kind
    raise KeyError(musicxml)


def make_chord(root: Name, kind: Kind, bass: Name | None = None) -> Chord:
    """A chord from its parts, with the symbol that fillgen prints for it."""
    spelling = kind.spellings[0]
    if spelling.startswith(("b", "#")):
        spelling = f"({spelling})"
    slash = f"/{bass}" if bass is not None and bass != root else ""
    return Chord(f"{root}{spelling}{slash}", root, kind, bass if slash else None)


def quality(text: str) -> Kind | None:
    """The kind that a text after a root means, if any.

    >>> quality("7(b9, #11)").name
    'seventh flat nine sharp eleven'
    """
    return spellings().get(_NOISE.sub("", plain_signs(text).translate(_SIGNS)))


@lru_cache(maxsize=4096)
def read_chord(text: str) -> Chord:
    """The chord that a symbol names; ChartError names the nearest if there is none.

    >>> read_chord("F#m7b5/C").kind.name
    'half-diminished seventh'
    """
    if text in _NO_CHORD_SPELLINGS:
        return Chord(NO_CHORD, None, None)
    match = _ROOT.fullmatch(plain_signs(text))
    if match is None:
        raise _unknown(text)
    root = Name.read(match[1])
    kind = quality(match[2])
    if kind is not None:
        return Chord("".join(text.split()), root, kind)
    body, slash, low = match[2].rpartition("/")
    kind = quality(body) if slash else None
    if kind is None:
        raise _unknown(text)
    return Chord("".join(text.split()), root, kind, _read_bass(low, text))


def _read_bass(low: str, text: str) -> Name:
    try:
        return Name.read(low.strip())
    except ValueError:
        hint = _german_hint(text) or "After the slash comes a bass note, as in Eb/G."
        raise ChartError(f"unknown bass note {shorten(low)} in {shorten(text)}", hint=hint) from None


def _unknown(text: str) -> ChartError:
    return ChartError(f"unknown chord {shorten(text)}", hint=_hint(text[:24]))


@lru_cache(maxsize=256)
def _hint(text: str) -> str:
    """What a wrong symbol may have meant; kept, as a wrong symbol seldom comes alone."""
    near = _german_hint(text) or did_you_mean(_with_root(text), _symbols_like(text))
    return near or "Write chords like Eb, Fm7 or Bb7."


def _german_hint(text: str) -> str:
    """The intended chord if root or bass have German names, and what they mean; empty if they don't."""
    root, slash, bass = text[:24].rpartition("/")
    parts = [root, bass] if slash else [bass]
    english = [from_german(part) or (part, "") for part in parts]
    explained = dict.fromkeys(why for _, why in english if why)
    meant = "/".join(part for part, _ in english)
    if not explained or not (_reads(meant) or text[:1] in "Hh"):
        return ""
    near = did_you_mean(meant, [meant] if _reads(meant) else _symbols_like(meant))
    return " ".join([near, *explained]) if near else ""


def _reads(text: str) -> bool:
    try:
        read_chord(text)
    except ChartError:
        return False
    return True


def _with_root(text: str) -> str:
    """A wrong symbol with its first letter capitalized."""
    return text[:1].upper() + text[1:]


def _symbols_like(text: str) -> list[str]:
    match = _ROOT.match(plain_signs(_with_root(text)))
    roots = [match[1]] if match else list(LETTERS)
    return [root + spelling for root in roots for spelling in spellings()]
