"""Keys and metres read from text; the key of some chords."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from fillgen.errors import ChartError, OptionError, did_you_mean, shorten
from fillgen.theory.chords import Chord
from fillgen.theory.metre import METRES, Metre
from fillgen.theory.pitch import MODES, Key, all_keys, from_german, plain_signs

# Settings that come as text


def read_metre(text: str) -> Metre:
    """The metre a text names; OptionError if there is none.

    >>> read_metre("6/8").bar
    1440
    """
    if text not in METRES:
        raise OptionError(f"unknown metre {shorten(text)}", hint=f"It is one of: {', '.join(METRES)}.")
    return METRES[text]


def read_key(text: str) -> Key:
    """The key a text names: `Eb`, `Eb major`, `C minor`, `Cm`; OptionError if there is none.

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
    known = [str(key) for key in all_keys()]
    wanted = f"{words[0][:1].upper()}{words[0][1:]} {mode}" if words else ""
    if len(words) > 2 or mode not in MODES or wanted not in known:
        hint = (
            _german_hint(text)
            or did_you_mean(text, known)
            or "A key is written like 'Eb major' or 'C minor'."
        )
        raise OptionError(f"unknown key {shorten(text)}", hint=hint)
    return all_keys()[known.index(wanted)]


def _german_hint(text: str) -> str:
    """The key that is meant by a German one (`Es-Dur`, `fis-Moll`, `H`), and what its name means; empty for another."""
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


# Keys


@lru_cache(maxsize=4096)
def _key_fit(key: Key, chord: Chord) -> float:
    """How much of a chord lies in a key, from 0 to 1; the raised seventh of a minor key counts as its own."""
    own = {name.pitch_class for name in key.scale}
    if key.mode == "minor":
        own.add((key.tonic.pitch_class + 11) % 12)
    spelled = {str(name) for name in key.scale}
    inside = [tone.name.pitch_class in own for tone in chord.tones]
    tidy = [str(tone.name) in spelled for tone in chord.tones]
    return (sum(inside) + 0.1 * sum(tidy)) / (1.1 * len(inside))


def infer_key(chords: Sequence[tuple[Chord, int]]) -> Key:
    """The key that fits chords best: their tones, a last chord that is its tonic or leads there, cadences inside."""
    sounding = [(chord, length) for chord, length in chords if chord.root is not None]
    if not sounding:
        raise ChartError("the chart has no chord, only N.C.", hint="At least one chord must sound.")
    whole = sum(length for _, length in sounding)
    names = [chord for chord, _ in sounding]

    def fit(key: Key) -> float:
        tones = sum(_key_fit(key, chord) * length for chord, length in sounding) / whole
        cadences = sum(_cadence(chords, key) for chords in zip(names, names[1:], names[2:], strict=False))
        return (
            3.0 * tones
            + 0.3 * _opens(names[0], key)
            + 0.25 * _is_tonic(names[-1], key)
            + 0.6 * _frames(names, key)
            + 0.4 * _is_dominant_of(names[-1], key)
            + min(cadences, 0.9)
            - 0.01 * abs(key.fifths)
            - 0.02 * (key.mode == "minor")
        )

    return max(all_keys(), key=lambda key: round(fit(key), 9))


def _third(chord: Chord) -> str:
    degrees = {degree.text for degree in chord.kind.degrees} if chord.kind else set()
    return "b3" if "b3" in degrees else "3"


def _is_tonic(chord: Chord, key: Key) -> bool:
    kind_fits = _third(chord) == ("3" if key.mode == "major" else "b3")
    plain = chord.kind is not None and not chord.kind.is_dominant and not _flat_five(chord)
    return chord.root == key.tonic and kind_fits and plain


def _flat_five(chord: Chord) -> bool:
    return chord.kind is not None and any(degree.text == "b5" for degree in chord.kind.degrees)


def _is_dominant_of(chord: Chord, key: Key) -> bool:
    driving = chord.kind is not None and (chord.kind.is_dominant or chord.kind.name == "major triad")
    return driving and chord.root == key.tonic.up(4, 7)


def _opens(chord: Chord, key: Key) -> float:
    """How much a first chord sounds like the tonic; a minor seventh may as well be another degree."""
    return _is_tonic(chord, key) * (0.5 if chord.kind and chord.kind.name == "minor seventh" else 1.0)


def _frames(chords: Sequence[Chord], key: Key) -> bool:
    """Whether chords begin and end on the tonic, be it a seventh chord as in the blues."""
    ends = (chords[0], chords[-1])
    third = "3" if key.mode == "major" else "b3"
    return len(chords) > 1 and all(chord.root == key.tonic and _third(chord) == third for chord in ends)


def _cadence(chords: Sequence[Chord], key: Key) -> float:
    """What three chords say for a key: its dominant going home, more so after its second degree."""
    first, second, third = chords
    home = _is_dominant_of(second, key) and _is_tonic(third, key)
    return home * (0.5 if first.root == key.tonic.up(1, 2) else 0.25)
