"""ABC, a notation in letters: a tune read into plain voices, so that a library only gets what it reads well.

As ABC 2.1 (abcnotation.com, 2011) has it: fields at the head and inside, voices, tuplets, ties, bar lines.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from fillgen.errors import ChartError, TuneError, shorten
from fillgen.readers.lines import Marks, Signature
from fillgen.readers.melody import FASTEST, MOST_NOTES, SLOWEST
from fillgen.theory.chords import Chord, read_chord
from fillgen.theory.metre import METRES

_FIELD = re.compile(r"([A-Za-z]):\s*(.*)")
_IN_BODY = "IKLMmNPQRrsTUVWwX"
"""The fields that may come among the notes of a tune; another letter before a colon is a note before a bar line."""
# No part of it looks ahead beyond a bound: unclosed text must not take time in the square of its length.
_ABC = re.compile(
    r"""
    (?P<quoted>"[^"]{0,999}")
    | (?P<skip>![^!]{0,99}! | \{[^}]{0,999}\} | \+[^+]{0,99}\+)
    | (?P<field>\[[A-Za-z]:[^\]]{0,999}\])
    | (?P<tuplet>\(\d(?::\d?){0,2})
    | (?P<bar>(?:\[\||:{0,9}\|+|::)[|:]*\]?(?:\s*\[?\d[\d,.\-]*)?|\[\d[\d,.\-]*)
    | (?P<rests>[ZX]\d*)
    | (?P<note>[\^_=]{9} | [\^_=]{0,8}[A-Ga-gzx][,']*[\d/]*)
    | (?P<sign>\[|\][\d/]{0,6}|[<>]{1,3}|-)
    | (?P<overlay>&)
    """,
    re.VERBOSE,
)
_PLAIN_NOTE = re.compile(r"(\^{1,2}|_{1,2}|=|)[A-Ga-gz](,{0,5}|'{0,5})(\d{0,3})(/{0,4}|/\d{1,3})")
_KEY = re.compile(r"([A-G][#b]?)\s*(maj|min|mix|dor|phr|lyd|loc|aeo|ion|m|)[a-z]*(?:\s|$)", re.IGNORECASE)
_FIFTHS = {
    "": 0,
    "maj": 0,
    "ion": 0,
    "lyd": 1,
    "mix": -1,
    "dor": -2,
    "m": -3,
    "min": -3,
    "aeo": -3,
    "phr": -4,
    "loc": -5,
}
"""How many fifths the signature of a mode is from that of the major key (ABC 2.1, 3.1.14)."""
_MODES = {"": "major", "maj": "major", "ion": "major", "m": "minor", "min": "minor", "aeo": "minor"}
"""The modes that are a major or a minor key; of the others the signature alone is taken."""
_SHARPS = "FCGDAEB"
_OWN_SIGN = re.compile(r"(?:^|\s)(\^{1,2}|_{1,2}|=)([A-Ga-g])(?=\s|$)")
_MOVED = re.compile(r"\b(octave|transpose)\s*=\s*([+-]?\d+)")
_SIGNED_NOTE = re.compile(r"([\^_=]*)([A-Ga-g])([,']*)([\d/]*)")
_MOST_RESTS = 512
_MOST_VOICES = 64
_MOST_TIMES = 9
"""The most times through that one ending is for."""


@dataclass
class AbcVoice:
    """A voice of an ABC tune as it is read: its name, its notes as plain ABC, its metres by bar.

    `unit` and `signature` are its own since a field among its notes; `altered` are the accidentals of this bar by
    letter, `chords` its chord symbols with the number of notes and rests before each, `last` those of the last note or chord by pitch, and `tied` those that a tie carries on.
    """

    name: str
    text: list[str] = field(default_factory=list)
    metres: list[tuple[int, str]] = field(default_factory=list)
    bars: int = 0
    open: bool = False
    unit: str = ""
    signature: dict[str, str] | None = None
    altered: dict[str, str] = field(default_factory=dict)
    tied: dict[str, str] = field(default_factory=dict)
    last: dict[str, str] = field(default_factory=dict)
    in_chord: bool = False
    count: int = 0
    chords: list[tuple[int, Chord]] = field(default_factory=list)
    marks: Marks = field(default_factory=Marks)


class AbcTune:
    """Reads an ABC tune into plain voices: notes, tuplets, ties and bar lines, and nothing else.

    The text is checked here, so that music21 only gets what it reads well: one voice, every field on its own line,
    a unit length, no decorations. Metres, voices, unit lengths and keys are read here, as ABC 2.1 (abcnotation.com,
    2011) has them: every note is given its accidental, and its length in the unit of the head.
    """

    def __init__(self, place: str) -> None:
        self.place = place
        self.title = ""
        self.signature: dict[str, str] = {}
        self.signed = Signature()
        self.metre = ""
        self.unit = ""
        self.tempo: int | None = None
        self.notes = 0
        self.repeats = False
        self.barred = False
        self.not_chords: list[str] = []
        self.voices: dict[str, AbcVoice] = {}
        self.voice: AbcVoice | None = None

    def error(self, message: str, hint: str = "") -> TuneError:
        return TuneError(message, place=self.place, hint=hint)

    @property
    def unit_length(self) -> Fraction:
        """The unit note length: the one named, or that of the metre (ABC 2.1, 3.1.7)."""
        if self.unit:
            return Fraction(self.unit)
        short = self.metre and Fraction(self.metre) < Fraction(3, 4)
        return Fraction(1, 16 if short else 8)

    # Fields

    def head(self, letter: str, value: str) -> None:
        """A field of the head."""
        if letter == "V":
            self._named(value)
        elif letter == "T":
            self.title = self.title or " ".join(value.split())[:200]
        elif letter in "KLMQ":
            if letter == "K":
                self.signed = self._signed(value)
            setattr(
                self,
                {"K": "signature", "L": "unit", "M": "metre", "Q": "tempo"}[letter],
                self._value(letter, value),
            )

    def _value(self, letter: str, value: str) -> Any:
        return {"K": self._key, "L": self._unit, "M": self._metre, "Q": self._tempo}[letter](value)

    def _key(self, value: str) -> dict[str, str]:
        """The accidentals of a key by letter: those of its mode, or with `exp` none, then those written out."""
        self._check_place(value)
        bare = _OWN_SIGN.sub(" ", value).strip()
        match = _KEY.match(bare)
        word = bare.partition(" ")[0]
        if match is not None:
            fifths = self._fifths(match[1], match[2].lower())
        elif word in ("HP", "Hp"):
            fifths = 2
        elif word.lower() in ("", "none", "exp") or "=" in word:
            fifths = 0
        else:
            raise self.error(f"unknown key {shorten(value)}", "Write keys like K:Eb or K:C minor.")
        explicit = re.search(r"\bexp\b", bare) is not None
        signature = {} if explicit else _signature(fifths)
        return signature | {letter.upper(): sign for sign, letter in _OWN_SIGN.findall(value)}

    def _signed(self, value: str) -> Signature:
        """The key signature that a key has in other notations: its accidentals where they are those of one, and its mode."""
        signature = self._key(value)
        sharps = next((sharps for sharps in range(-7, 8) if _signature(sharps) == signature), 0)
        match = _KEY.match(_OWN_SIGN.sub(" ", value).strip())
        return Signature(sharps, _MODES.get(match[2].lower(), "") if match else "")

    def _fifths(self, tonic: str, mode: str) -> int:
        """How many sharps, or flats below zero, a key has; TuneError if that is more than seven."""
        fifths = _SHARPS.index(tonic[0].upper()) - 1 + 7 * (tonic.count("#") - tonic[1:].lower().count("b"))
        fifths += _FIFTHS[mode]
        if abs(fifths) > len(_SHARPS):
            raise self.error(f"unknown key {shorten(f'{tonic} {mode}'.strip())}", "Write keys like K:Eb.")
        return fifths

    def _check_place(self, value: str) -> None:
        """TuneError if a key or voice is moved away from where its notes are written."""
        moved = _MOVED.search(re.sub(r'"[^"]*"', "", value))
        if moved and int(moved[2][:4]):
            hint = "Write the notes at the pitch they sound, and leave it out."
            raise self.error(f"cannot read {moved[1]}={moved[2][:4]}", hint)

    def _unit(self, value: str) -> str:
        if re.fullmatch(r"1/(1|2|4|8|16|32|64|128)|1", value.strip()) is None:
            raise self.error(f"unknown unit length {shorten(value)}", "Write it like L:1/8.")
        return value.strip()

    def _metre(self, value: str) -> str:
        value = {"C": "4/4", "C|": "2/2", "none": "", "": ""}.get(value.strip(), value.strip())
        if value and re.fullmatch(r"[1-9]\d?/(1|2|4|8|16|32)", value) is None:
            raise self.error(f"unknown metre {shorten(value)}", f"Metres that work: {', '.join(METRES)}.")
        return value

    def _tempo(self, value: str) -> int | None:
        """Quarter notes a minute; a bare number counts unit notes."""
        match = re.search(r"(\d{1,3})/(\d{1,3})\s*=\s*(\d{1,3})\b", value)
        bare = re.fullmatch(r"\s*(\d{1,3})\s*", value)
        if match and int(match[2]):
            quarters = 4 * Fraction(int(match[1]), int(match[2])) * int(match[3])
        elif bare:
            quarters = 4 * self.unit_length * int(bare[1])
        else:
            return None
        return round(quarters) if SLOWEST <= quarters <= FASTEST else None

    def _named(self, value: str) -> AbcVoice:
        """The voice that a V field names, made if it is new."""
        words = value.split()
        if not words:
            raise self.error("a V: field names no voice")
        self._check_place(value)
        if words[0] not in self.voices:
            if len(self.voices) >= _MOST_VOICES:
                raise self.error("has more voices than a score")
            self.voices[words[0]] = AbcVoice(f"voice {words[0][:40]}")
        named = re.search(r"""\b(?:name|nm)\s*=\s*(?:"([^"]*)"|(\S+))""", value)
        if named:
            self.voices[words[0]].name = " ".join((named[1] or named[2] or "").split())[:80] or words[0][:40]
        return self.voices[words[0]]

    def inside(self, letter: str, value: str) -> None:
        """A field among the notes."""
        voice = self._here()
        if letter == "V":
            self.voice = self._named(value)
        elif letter == "M":
            voice.metres.append((voice.bars, self._metre(value) or "none"))
            voice.marks.metres[voice.bars + voice.open] = voice.metres[-1][1]
        elif letter == "L":
            voice.unit = self._unit(value)
        elif letter == "K":
            voice.signature = self._key(value)
            voice.marks.signatures[voice.bars + voice.open] = self._signed(value)

    def _here(self) -> AbcVoice:
        if self.voice is None:
            self.voice = next(iter(self.voices.values()), None) or self._named("1")
        return self.voice

    # Notes

    def _quoted(self, sign: str) -> None:
        """A chord symbol (ABC 2.1, 4.18); what begins with a sign of place is a remark for the reader (4.19)."""
        text = sign[1:-1].partition("\n")[0].strip()
        if not text or text[0] in "^_<>@":
            return
        voice = self._here()
        try:
            voice.chords.append((voice.count, read_chord(text)))
        except ChartError:
            self.not_chords.append(text)

    def line(self, text: str) -> None:
        """A line of notes."""
        over = False
        for match in _ABC.finditer(text):
            kind, sign = str(match.lastgroup), match[0]
            over = kind == "overlay" or (over and kind != "bar")
            if kind == "field":
                self.inside(sign[1], sign[3:-1].strip())
            elif not over and kind != "skip":
                getattr(self, f"_{kind}")(sign)

    def _bar(self, sign: str) -> None:
        voice = self._here()
        self.barred = True
        self.repeats = self.repeats or ":" in sign or any(letter.isdigit() for letter in sign)
        if voice.open:
            voice.text.append(" |\n")
            voice.bars += 1
        voice.open = False
        voice.altered.clear()
        _mark(voice.marks, voice.bars, sign)

    def _rests(self, sign: str) -> None:
        bars = int(sign[1:4] or 1)
        if len(sign) > 4 or not 0 < bars <= _MOST_RESTS:
            raise self.error(f"a rest of {sign[1:9]} bars is too long")
        length = Fraction(self.metre or "4/4") / self.unit_length
        for _ in range(bars):
            self._bar("|")
            self._counted()
            self._here().count += 1
            self._put(f"z{length.numerator}/{length.denominator}")

    def _note(self, sign: str) -> None:
        sign = sign.replace("x", "z")
        if _PLAIN_NOTE.fullmatch(sign) is None:
            raise self.error(f"cannot read {shorten(sign, 20)}", "Write notes like ^f2, B,/2 or z4.")
        self._counted()
        self._here().count += not self._here().in_chord
        self._put(self._plain(sign))

    def _counted(self) -> None:
        self.notes += 1
        if self.notes > MOST_NOTES:
            raise self.error(f"has more than {MOST_NOTES} notes")

    def _plain(self, sign: str) -> str:
        """A note with its accidental, its length in the unit of the head."""
        if sign[0] == "z":
            return f"z{self._scaled(sign[1:])}"
        match = _SIGNED_NOTE.fullmatch(sign)
        if match is None:
            raise self.error(f"cannot read {shorten(sign, 20)}", "Write notes like ^f2, B,/2 or z4.")
        return f"{self._accidental(match[1], match[2], match[3])}{match[2]}{match[3]}{self._scaled(match[4])}"

    def _accidental(self, sign: str, letter: str, octave: str) -> str:
        """The accidental of a note: its own, that of its bar, in every octave, that of a tie, or that of the key."""
        voice = self._here()
        signature = self.signature if voice.signature is None else voice.signature
        name = letter.upper()
        tied = voice.tied.pop(letter + octave, "")
        if sign:
            voice.altered[name] = sign
        accidental = sign or tied or voice.altered.get(name) or signature.get(name, "=")
        if not voice.in_chord:
            voice.last, voice.tied = {}, {}
        voice.last[letter + octave] = accidental
        return accidental

    def _scaled(self, length: str) -> str:
        """A length in the unit of the head, where the voice has a unit of its own since."""
        unit = self._here().unit
        if not unit or Fraction(unit) == self.unit_length:
            return length
        units = _length(length) * Fraction(unit) / self.unit_length
        return f"{units.numerator}/{units.denominator}"

    def _tuplet(self, sign: str) -> None:
        if sign[1] in "01":
            raise self.error(f"cannot read {shorten(sign)}", "Write triplets like (3abc.")
        self._put(sign)

    def _sign(self, sign: str) -> None:
        voice = self._here()
        if sign == "-":
            voice.tied = dict(voice.last)
        elif sign == "[":
            voice.in_chord, voice.last = True, {}
            voice.count += 1
        elif sign[0] == "]":
            voice.in_chord, voice.tied = False, {}
        self._put(sign)

    def _put(self, sign: str) -> None:
        voice = self._here()
        voice.text.append(sign)
        voice.open = True


def _mark(marks: Marks, bars: int, sign: str) -> None:
    """What a bar line after a number of bars says about repeats and endings (ABC 2.1, 4.8 and 4.9).

    >>> marks = Marks()
    >>> _mark(marks, 4, ":|2")
    >>> marks.closes, marks.endings
    ({4: 2}, {4: (2,)})
    """
    lines, _, rest = sign.partition("|") if "|" in sign else (sign, "", "")
    back, ahead = (1, 1) if sign.startswith("::") and "|" not in sign else (lines.count(":"), rest.count(":"))
    if back and bars:
        marks.closes[bars] = back + 1
    if ahead:
        marks.opens.add(bars)
    if back or ahead or "||" in sign or "]" in sign or sign.startswith("[|"):
        marks.ends.add(bars)
    spans = re.findall(r"(\d{1,3})(?:-(\d{1,3}))?", sign)
    times = [n for low, high in spans for n in range(int(low), int(high or low) + 1)]
    if times:
        marks.endings[bars] = tuple(times[:_MOST_TIMES])


def _signature(fifths: int) -> dict[str, str]:
    """The accidentals of a number of sharps, or of flats below zero, by letter.

    >>> _signature(-2)
    {'B': '_', 'E': '_'}
    """
    return dict.fromkeys(_SHARPS[:fifths], "^") if fifths >= 0 else dict.fromkeys(_SHARPS[fifths:][::-1], "_")


def _length(text: str) -> Fraction:
    """A length of ABC as a multiple of the unit: `3`, `/`, `//`, `3/2`.

    >>> [str(_length(text)) for text in ("", "3", "/", "//", "3/2")]
    ['1', '3', '1/2', '1/4', '3/2']
    """
    upper, slashes, lower = re.fullmatch(r"(\d*)(/*)(\d*)", text).groups()  # type: ignore[union-attr]
    return Fraction(int(upper or 1), int(lower or 0) or 2 ** len(slashes))


def first_tune(text: str) -> tuple[list[tuple[bool, str, str]], int]:
    """The lines of the first tune, as whether it is of the head, its field or nothing, its text; how many tunes there are."""
    found: list[tuple[bool, str, str]] = []
    tunes, head, sounding = 0, True, False
    for raw in text.splitlines():
        line = raw.split("%")[0].rstrip()
        match = _FIELD.match(line)
        letter = match[1] if match else ""
        tunes += letter == "X"
        if tunes > 1 or (not line and sounding):
            head = sounding = True
            continue
        if match and (head or letter in _IN_BODY):
            found.append((head, letter, match[2]))
            head = head and letter != "K"
        elif not head:
            found.append((False, "", line))
            sounding = sounding or bool(line)
    return found, tunes
