"""Pitch names, spelling and keys. Pitches are MIDI numbers (C4 = 60); pitch classes count from C = 0."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property, lru_cache

from fillgen.errors import OptionError, shorten

LETTERS = "CDEFGAB"
NATURAL = (0, 2, 4, 5, 7, 9, 11)
"""Semitones of the seven letters above C, which are also those of the major scale above its root."""

_SIGNS = str.maketrans({"♭": "b", "♯": "#", "𝄫": "bb", "𝄪": "##"})
_NAME = re.compile(r"([A-G])(#{1,3}|b{1,3}|)")
_PITCH = re.compile(r"([A-G](?:#{1,3}|b{1,3})?)(-?\d)")


_GERMAN = re.compile(r"(?:(?P<flat>[CDFG]es|[EA]s)|(?P<sharp>[CDEFGA]is|His)|(?P<b>Hes)|H)", re.IGNORECASE)


def plain_signs(text: str) -> str:
    """Accidentals as they are typed on a keyboard: `B♭` becomes `Bb`."""
    return text.translate(_SIGNS)


def from_german(text: str) -> tuple[str, str] | None:
    """A text that begins with a German note name, with the English one in its place, and a sentence that explains it.

    None if the name would be the same in English.

    >>> from_german("Fis7"), from_german("H")
    (('F#7', 'The German Fis is F#.'), ('B', 'The German H is B, and the German B is Bb.'))
    """
    match = _GERMAN.match(text)
    if match is None:
        return None
    german = match[0].capitalize()
    letter = "B" if german[0] == "H" else german[0]
    sign = "b" if match["flat"] or match["b"] else "#" if match["sharp"] else ""
    also = ", and the German B is Bb" if german == "H" else ""
    return f"{letter}{sign}{text[match.end() :]}", f"The German {german} is {letter}{sign}{also}."


@dataclass(frozen=True, slots=True, order=True)
class Name:
    """A spelled pitch class: a letter (0 = C ... 6 = B) and its alteration in semitones.

    >>> str(Name.read("Eb")), Name.read("Eb").pitch_class
    ('Eb', 3)
    """

    letter: int
    alter: int

    @classmethod
    def read(cls, text: str) -> Name:
        """The name that a text spells; ValueError if it spells none."""
        match = _NAME.fullmatch(plain_signs(text))
        if match is None:
            raise ValueError(f"not a pitch name: {text!r}")
        signs = match[2]
        return cls(LETTERS.index(match[1]), len(signs) if "#" in signs else -len(signs))

    @property
    def pitch_class(self) -> int:
        return (NATURAL[self.letter] + self.alter) % 12

    def up(self, steps: int, semitones: int) -> Name:
        """The name a number of letters and semitones higher.

        >>> str(Name.read("Gb").up(2, 3))
        'Bbb'
        """
        octaves, letter = divmod(self.letter + steps, 7)
        rise = NATURAL[letter] + 12 * octaves - NATURAL[self.letter]
        return Name(letter, self.alter + semitones - rise)

    def at(self, midi: int) -> str:
        """The scientific pitch name of a MIDI number spelled with this name.

        >>> Name.read("Cb").at(71)
        'Cb5'
        """
        return f"{self}{(midi - self.alter) // 12 - 1}"

    def plain(self) -> Name:
        """The same pitch class with one sign at most.

        >>> str(Name.read("Ebb").plain())
        'D'
        """
        if abs(self.alter) <= 1:
            return self
        sign = 1 if self.alter > 0 else -1
        names = [Name(letter, alter) for alter in (0, sign) for letter in range(7)]
        return next(name for name in names if name.pitch_class == self.pitch_class)

    def natural(self) -> Name:
        """The plain letter of the same pitch class where there is one; otherwise the same with one sign at most.

        >>> str(Name.read("Fb").natural()), str(Name.read("Cbb").natural())
        ('E', 'Bb')
        """
        if self.pitch_class in NATURAL:
            return Name(NATURAL.index(self.pitch_class), 0)
        return self.plain()

    def __str__(self) -> str:
        return LETTERS[self.letter] + ("#" * self.alter if self.alter > 0 else "b" * -self.alter)


def read_pitch(text: str) -> int:
    """The MIDI number of a scientific pitch name; ValueError if it isn't one or is outside 0 to 127.

    >>> read_pitch("Eb5")
    75
    """
    match = _PITCH.fullmatch(plain_signs(text))
    if match is None:
        raise ValueError(f"not a pitch: {text!r}")
    name = Name.read(match[1])
    midi = 12 * (int(match[2]) + 1) + NATURAL[name.letter] + name.alter
    if not 0 <= midi <= 127:
        raise ValueError(f"pitch outside the MIDI range: {text!r}")
    return midi


def pitch_of(given: str | int, what: str = "", *, place: str = "") -> int:
    """The MIDI number of a pitch that a player gives by name or number; OptionError if it isn't one.

    `what` says what the pitch is for, as it goes into the error; `place` is the error's place.

    >>> pitch_of(" Eb5 ", "--low"), pitch_of(75, "the lowest note")
    (75, 75)
    >>> pitch_of("H4", "--low")
    Traceback (most recent call last):
    ...
    fillgen.errors.OptionError: unknown pitch 'H4' for --low. Write it like D4, Eb5 or F#4, from C-1 to G9.
    """
    purpose = f" for {what}" if what else ""
    if isinstance(given, int):
        if 0 <= given <= 127:
            return given
        hint = "Give a MIDI number from 0 to 127, or a name such as Eb5."
        raise OptionError(f"unknown pitch {given}{purpose}", place=place, hint=hint)
    try:
        return read_pitch(given.strip())
    except ValueError:
        hint = "Write it like D4, Eb5 or F#4, from C-1 to G9."
        raise OptionError(f"unknown pitch {shorten(given)}{purpose}", place=place, hint=hint) from None


def nearest_pitch(given: str | int, near: float, what: str = "", *, place: str = "") -> int:
    """The MIDI number of a pitch, as `pitch_of` reads it, or of a note without an octave: the one nearest to a MIDI number.

    Raises OptionError if the text names neither.

    >>> nearest_pitch("A5", 60, "--lead-to"), nearest_pitch("A", 60, "--lead-to"), nearest_pitch("A", 64, "--lead-to")
    (81, 57, 69)
    """
    name = None if isinstance(given, int) else _NAME.fullmatch(plain_signs(given.strip()))
    if name is None:
        return pitch_of(given, what, place=place)
    octaves = range(Name.read(name[0]).pitch_class, 128, 12)
    return min(octaves, key=lambda midi: abs(midi - near))


def is_black(midi: int) -> bool:
    """Whether a key of the keyboard is black.

    >>> [midi for midi in range(60, 72) if is_black(midi)]
    [61, 63, 66, 68, 70]
    """
    return midi % 12 not in NATURAL


MODES = {"major": (0, 2, 4, 5, 7, 9, 11), "minor": (0, 2, 3, 5, 7, 8, 10), "blues": (0, 2, 4, 5, 7, 9, 11)}
"""The scales of the kinds of key, in semitones above the tonic. A blues is written with the signature of its major key;
its flat notes come from its chords (see `fillgen.chart.progression.scale_over`)."""


@dataclass(frozen=True)
class Key:
    """A key: major, minor (its natural scale) or blues.

    >>> Key(Name.read("C"), "minor").fifths, str(Key(Name.read("F"), "blues"))
    (-3, 'F blues')
    """

    tonic: Name
    mode: str

    @cached_property
    def scale(self) -> tuple[Name, ...]:
        """The seven names of the key's scale, from the tonic up."""
        return tuple(self.tonic.up(step, rise) for step, rise in enumerate(MODES[self.mode]))

    @cached_property
    def fifths(self) -> int:
        """The key signature: sharps above zero, flats below."""
        return sum(name.alter for name in self.scale)

    @cached_property
    def by_letter(self) -> dict[int, Name]:
        return {name.letter: name for name in self.scale}

    @property
    def signature_mode(self) -> str:
        """The mode by which notation knows the key, `major` or `minor`: a blues has the signature of a major key."""
        return "minor" if self.mode == "minor" else "major"

    def __str__(self) -> str:
        return f"{self.tonic} {self.mode}"


C_MAJOR = Key(Name(0, 0), "major")


@lru_cache(maxsize=1)
def all_keys() -> tuple[Key, ...]:
    """The thirty major and minor keys whose signatures have at most seven sharps or flats."""
    tonics = [Name(letter, alter) for alter in (0, -1, 1) for letter in range(7)]
    keys = [Key(tonic, mode) for mode in ("major", "minor") for tonic in tonics]
    return tuple(key for key in keys if abs(key.fifths) <= 7)


@lru_cache(maxsize=1)
def blues_keys() -> tuple[Key, ...]:
    """The blues on the tonics of the fifteen major keys."""
    return tuple(Key(key.tonic, "blues") for key in all_keys() if key.mode == "major")


def keys_in(mode: str) -> tuple[Key, ...]:
    """The fifteen keys of a mode."""
    return tuple(key for key in (*all_keys(), *blues_keys()) if key.mode == mode)


def key_on(tonic: Name, mode: str) -> Key:
    """The key on a tonic, written as the same sounds under another name where no key of the mode has it.

    >>> str(key_on(Name.read("Db"), "minor"))
    'C# minor'
    """
    same = [key for key in keys_in(mode) if key.tonic.pitch_class == tonic.pitch_class]
    return min(same, key=lambda key: (key.tonic != tonic, abs(key.fifths)))


def key_at(home: Key, shift: int, *, flats: bool | None = None) -> Key:
    """The key some semitones away, as usually written; of two equally usual ones, with flats or sharps as in `home`.

    `flats` says which of the two instead.

    >>> [str(key_at(Key(Name.read("Eb"), "major"), shift)) for shift in (-5, 0, 2, 3)]
    ['Bb major', 'Eb major', 'F major', 'Gb major']
    >>> str(key_at(Key(Name.read("Eb"), "major"), 3, flats=False))
    'F# major'
    """
    if shift % 12 == 0:
        return home
    sought = (home.tonic.pitch_class + shift) % 12
    alike = [key for key in keys_in(home.mode) if key.tonic.pitch_class == sought]
    wanted = home.fifths < 0 if flats is None else flats
    return min(alike, key=lambda key: (abs(key.fifths), (key.fifths < 0) != wanted))


_CHROMATIC = {
    "major": {1: (0, 1), 3: (2, 3), 6: (3, 6), 8: (5, 8), 10: (6, 10)},
    "minor": {1: (1, 1), 4: (2, 4), 6: (3, 6), 9: (5, 9), 11: (6, 11)},
    "blues": {1: (1, 1), 3: (2, 3), 6: (4, 6), 8: (5, 8), 10: (6, 10)},
}
"""Letter steps and semitones above the tonic of the notes outside a key, as they are commonly written."""


@lru_cache(maxsize=256)
def midi_name(midi: int, key: Key) -> str:
    """A MIDI pitch spelled as the key has it, other notes as they are commonly written in it.

    >>> midi_name(66, Key(Name.read("C"), "major")), midi_name(70, Key(Name.read("C"), "major"))
    ('F#4', 'Bb4')
    """
    above = (midi - key.tonic.pitch_class) % 12
    if above in MODES[key.mode]:
        return key.scale[MODES[key.mode].index(above)].at(midi)
    return key.tonic.up(*_CHROMATIC[key.mode][above]).plain().at(midi)


_INTERVALS = (
    "the same note",
    "a half step",
    "a whole step",
    "a minor third",
    "a major third",
    "a fourth",
    "a tritone",
    "a fifth",
    "a minor sixth",
    "a major sixth",
    "a minor seventh",
    "a major seventh",
)


def interval_in_words(semitones: int) -> str:
    """An interval by its size in semitones, up or down, as players call it.

    >>> interval_in_words(2), interval_in_words(-9), interval_in_words(15)
    ('a whole step', 'a major sixth', 'an octave and a minor third')
    """
    octaves, rest = divmod(abs(semitones), 12)
    if not octaves:
        return _INTERVALS[rest]
    whole = "an octave" if octaves == 1 else f"{octaves} octaves"
    return f"{whole} and {_INTERVALS[rest]}" if rest else whole
