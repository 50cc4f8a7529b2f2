"""The keys a phrase is taken through, one after another, and the phrase with its chords in each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from fillgen.engine.request import Request
from fillgen.errors import NoPhraseError, OptionError, did_you_mean, shorten
from fillgen.phrase.idea import Idea, Ideas
from fillgen.phrase.text import phrase_text
from fillgen.rules.pack import RulePack
from fillgen.theory.keys import read_key
from fillgen.theory.pitch import Key, Name, key_at, key_on, plain_signs
from fillgen.vary.transposition import ideas_at, moved

ORDERS: Mapping[str, tuple[int, bool | None]] = {
    "fifths": (7, False),
    "fourths": (5, True),
    "half-steps": (1, None),
}
"""Ways through all twelve keys: semitones from each key to the next, and whether the key that has six sharps or six flats is
written with flats; None as the first key has it. Common practice: up in fifths sharps are added, up in fourths flats."""
_HINT = f"Give {', '.join(ORDERS)}, or keys with commas such as Eb,Ab,Db."


def keys_through(text: str, home: Key) -> tuple[Key, ...]:
    """The keys that a text names, in order: all twelve from `home` on by one of `ORDERS`, or a list of its own.

    A name in a list without a mode has that of `home`. OptionError for what names no key, and for a key named twice.

    >>> bb = Key(Name.read("Bb"), "major")
    >>> [str(key.tonic) for key in keys_through("fourths", bb)]
    ['Bb', 'Eb', 'Ab', 'Db', 'Gb', 'B', 'E', 'A', 'D', 'G', 'C', 'F']
    >>> [str(key) for key in keys_through("E, A minor", Key(Name.read("F#"), "minor"))]
    ['E minor', 'A minor']
    """
    order = text.strip().lower()
    if order in ORDERS:
        step, flats = ORDERS[order]
        return tuple(key_at(home, step * number, flats=flats) for number in range(12))
    keys = [_read(word.strip(), home) for word in text.split(",")]
    sounds = [(key.tonic.pitch_class, key.mode) for key in keys]
    for number, key in enumerate(keys):
        if sounds[number] in sounds[:number]:
            raise OptionError(f"{key} is in the list of keys twice", hint="Name each key once.")
    return tuple(keys)


def _read(word: str, home: Key) -> Key:
    """The key of a word in a list; `home` itself where that is meant, whatever its name."""
    try:
        key = key_on(Name.read(plain_signs(f"{word[:1].upper()}{word[1:]}")), home.mode)
    except ValueError:
        key = _read_in_words(word)
    same = key.tonic.pitch_class == home.tonic.pitch_class and key.mode in (home.mode, home.signature_mode)
    return home if same else key


def _read_in_words(word: str) -> Key:
    try:
        return read_key(word)
    except OptionError as error:
        hints = (did_you_mean(word.lower(), ORDERS), error.hint)
        near = next((hint for hint in hints if hint.startswith("Did you mean")), _HINT)
        raise OptionError(f"unknown key {shorten(word)}", hint=near) from None


def in_keys(
    ideas: Ideas,
    idea: Idea,
    keys: Sequence[Key],
    *,
    low: str | int | None = None,
    high: str | int | None = None,
    pack: RulePack | None = None,
) -> tuple[Ideas, ...]:
    """An idea over its chords in each of some keys, spelled and fingered for it, each alone in its `Ideas`.

    Notes move from where they are by the smaller way up or down that stays in range, where there is one, so that the hand stays in its
    register: the range from `low` to `high`, or else that of the idea's level in a pack. OptionError for a key of another mode,
    NoPhraseError if a range that is given has no room for the phrase in a key.

    >>> import fillgen
    >>> ideas = fillgen.ideas("| Bb | F7 |", count=1, level=2)
    >>> [str(each.progression.spans[1].chord.symbol) for each in in_keys(ideas, ideas[0], keys_through("Db, F#", ideas.progression.key))]
    ['Ab7', 'C#7']
    """
    request = Request(
        ideas.progression, level=ideas.level or None, low=low, high=high, pack=pack or RulePack()
    )
    return tuple(_in_key(ideas, idea, key, request) for key in keys)


def _in_key(ideas: Ideas, idea: Idea, key: Key, request: Request) -> Ideas:
    if key == ideas.progression.key:
        return replace(ideas, ideas=(idea,))
    try:
        there, notes, _ = moved(request, idea.phrase, key)
    except NoPhraseError as error:
        raise NoPhraseError(error.message, place=str(key), hint=error.hint) from None
    shift = notes[0].midi - idea.notes[0].note.midi
    named = tuple(
        replace(each, note=replace(note, midi=each.note.midi))
        for each, note in zip(idea.notes, notes, strict=True)
    )
    (found,) = ideas_at([replace(idea, notes=named)], there.progression, shift, ideas.hand)
    text = phrase_text(found.phrase, there.progression, [each.name for each in found.notes])
    return replace(ideas, progression=there.progression, ideas=(replace(found, text=text),))
