"""Keys and metres read from text."""

from __future__ import annotations

from fillgen.errors import OptionError, did_you_mean, shorten
from fillgen.theory.metre import METRES, Metre
from fillgen.theory.pitch import MODES, Key, all_keys, blues_keys, from_german, plain_signs


def read_metre(text: str) -> Metre:
    """The metre a text names; OptionError if there is none.

    >>> read_metre("6/8").bar
    1440
    """
    if text not in METRES:
        raise OptionError(f"unknown metre {shorten(text)}", hint=f"Use one of: {', '.join(METRES)}.")
    return METRES[text]


def read_key(text: str) -> Key:
    """The key a text names: `Eb`, `Eb major`, `C minor`, `Cm`, `F blues`; OptionError if there is none.

    >>> str(read_key("F#m"))
    'F# minor'
    """
    words = plain_signs(text).split()
    if len(words) == 1 and words[0].endswith("m") and len(words[0]) > 1:
        words = [words[0][:-1], "minor"]
    mode = (
        {"maj": "major", "min": "minor"}.get(words[1].lower(), words[1].lower())
        if len(words) > 1
        else "major"
    )
    every = (*all_keys(), *blues_keys())
    known = [str(key) for key in every]
    wanted = f"{words[0][:1].upper()}{words[0][1:]} {mode}" if words else ""
    if len(words) > 2 or mode not in MODES or wanted not in known:
        hint = (
            _german_hint(text)
            or did_you_mean(text, known)
            or "Write keys like 'Eb major', 'C minor' or 'F blues'."
        )
        raise OptionError(f"unknown key {shorten(text)}", hint=hint)
    return every[known.index(wanted)]


def _german_hint(text: str) -> str:
    """The key meant by a German name (`Es-Dur`, `fis-Moll`, `H`), and what the name means; empty for any other."""
    words = text.replace("-", " ").split()
    named = from_german(words[0]) if words else None
    modes = {"dur": "major", "moll": "minor"}
    mode = modes.get(words[1].lower(), words[1].lower()) if len(words) == 2 else "major"
    tonic = named[0] if named is not None else words[0] if words and words[-1].lower() in modes else ""
    if tonic.endswith("m"):
        tonic, mode = tonic[:-1], "minor"
    meant = f"{tonic[:1].upper()}{tonic[1:]} {mode}"
    if meant not in map(str, all_keys()):
        return ""
    return f"Did you mean {meant!r}?{' ' + named[1] if named is not None else ''}"


def short_key(text: str) -> Key | None:
    """The key written before a chord, without its colon, as in RomanText: `Db` major, `c#` minor; also in words, `F blues`.

    None if the text names none. Source: Tymoczko, Gotham, Cuthbert and Ariza (2019), 'The RomanText format'.

    >>> str(short_key("bb")), str(short_key("F blues"))
    ('Bb minor', 'F blues')
    """
    word = plain_signs(text).strip()
    name = f"{word[:1].upper()}{word[1:]}"
    is_minor = word[:1].islower() and len(word) <= 2
    try:
        return read_key(f"{name} minor" if is_minor else name)
    except OptionError:
        return None


def short_name(key: Key) -> str:
    """A key as it is written before a chord, without the colon.

    >>> from fillgen.theory.pitch import Name
    >>> short_name(Key(Name.read("Bb"), "minor")), short_name(Key(Name.read("F"), "blues"))
    ('bb', 'F blues')
    """
    tonic = str(key.tonic)
    return {"major": tonic, "minor": tonic[0].lower() + tonic[1:]}.get(key.mode, str(key))
