"""Roman numerals as chords."""

from __future__ import annotations

import re

from fillgen.errors import ChartError, shorten
from fillgen.theory.chords import Chord, Kind, make_chord, quality
from fillgen.theory.pitch import MODES, NATURAL, Key, Name, plain_signs

_MOST_SLASHES = 3
NUMERAL = re.compile(r"(b|#|)(VII|VI|IV|V|III|II|I|vii|vi|iv|v|iii|ii|i)(.*)", re.DOTALL)
_ROMANS = ("i", "ii", "iii", "iv", "v", "vi", "vii")


# Roman numerals


def read_numeral(text: str, key: Key | None) -> Chord:
    """The chord that a Roman numeral means in a key: capital letters for major, small ones for minor.

    In a minor key III, VI and VII are on the key's own degrees, with or without a flat sign, and a diminished
    vii on the raised seventh. After a slash comes the degree whose dominant it is (`V7/ii`), or a bass note.

    >>> from fillgen.theory.keys import read_key
    >>> read_numeral("V7/ii", read_key("C")).symbol
    'A7'
    """
    if key is None:
        raise ChartError(
            f"the numeral {shorten(text)} needs a key",
            hint="Name one with --key, or in a line of its own such as key: Eb.",
        )
    if text.count("/") > _MOST_SLASHES:
        raise ChartError(f"the numeral {shorten(text)} has too many slashes", hint="Write it like V7/ii.")
    body, slash, target = plain_signs(text).rpartition("/")
    if slash and NUMERAL.fullmatch(target) and not quality_of_numeral(plain_signs(text)):
        goal = read_numeral(target, key)
        assert goal.root is not None
        assert goal.kind is not None
        mode = "minor" if any(degree.text == "b3" for degree in goal.kind.degrees) else "major"
        return read_numeral(body, Key(goal.root, mode))
    bass = None
    if slash and not quality_of_numeral(plain_signs(text)):
        bass = _bass_name(target, text)
    else:
        body = plain_signs(text)
    match = NUMERAL.fullmatch(body)
    kind = quality_of_numeral(body)
    if match is None or kind is None:
        hint = "Write numerals like ii7, V7/ii, bVII7 or #ivdim7."
        raise ChartError(f"unknown numeral {shorten(text)}", hint=hint)
    diminished = any(degree.text == "b5" for degree in kind.degrees) and match[2].islower()
    return make_chord(_root_of_numeral(match[1], match[2].lower(), key, diminished).plain(), kind, bass)


def _bass_name(text: str, whole: str) -> Name:
    try:
        return Name.read(text)
    except ValueError:
        hint = "After the slash comes a numeral (V7/ii) or a bass note (V7/D)."
        raise ChartError(f"unknown numeral {shorten(whole)}", hint=hint) from None


def quality_of_numeral(text: str) -> Kind | None:
    """The chord kind of a numeral, from its letters and what follows them; None if there is none."""
    match = NUMERAL.fullmatch(text)
    if match is None:
        return None
    rest = match[3]
    if match[2].isupper():
        return quality(rest)
    own = quality(rest) if rest else None
    minor_already = own is not None and not any(d.text in ("3", "4", "2") for d in own.degrees)
    return own if minor_already else quality(f"m{rest}")


def _root_of_numeral(sign: str, roman: str, key: Key, diminished: bool) -> Name:
    step = _ROMANS.index(roman)
    rise = NATURAL[step]
    natural = MODES[key.mode][step]
    if sign:
        return key.tonic.up(
            step, rise + (1 if sign == "#" else -1) if key.mode == "major" else _minor(sign, step)
        )
    if key.mode == "minor" and step == 6 and diminished:
        return key.tonic.up(step, 11)
    return key.tonic.up(step, natural)


def _minor(sign: str, step: int) -> int:
    """Semitones above the tonic of a degree with a sign in a minor key: counted from the major scale."""
    rise, natural = NATURAL[step], MODES["minor"][step]
    if sign == "b":
        return rise - 1
    return natural + 1
