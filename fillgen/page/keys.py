"""The twelve keys of a page, and ideas transposed to them with chords, names and fingers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from fillgen.chart.progression import Progression
from fillgen.engine.request import Request
from fillgen.hands.fingering import best_of_many
from fillgen.hands.reach import reach
from fillgen.hands.second import struck
from fillgen.phrase.idea import Idea
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.spelling import spell
from fillgen.theory.pitch import Key, keys_in
from fillgen.vary.transposition import moved

SHIFTS = tuple(range(-5, 7))
"""The keys of a page, in semitones from its own."""
_ANY: Phrase = (Note(0, 480, 72),)
"""A note for transposing chords alone."""


def key_at(home: Key, shift: int) -> Key:
    """The key some semitones away, as usually written; of two equally usual ones, with flats or sharps as in `home`.

    >>> from fillgen.theory.pitch import Name
    >>> [str(key_at(Key(Name.read("Eb"), "major"), shift)) for shift in (-5, 0, 2, 3)]
    ['Bb major', 'Eb major', 'F major', 'Gb major']
    """
    if shift == 0:
        return home
    sought = (home.tonic.pitch_class + shift) % 12
    alike = [key for key in keys_in(home.mode) if key.tonic.pitch_class == sought]
    flats = home.fifths < 0
    return min(alike, key=lambda key: (abs(key.fifths), (key.fifths < 0) != flats))


@lru_cache(maxsize=64)
def chords_at(progression: Progression, shift: int) -> Progression:
    """A progression some semitones away.

    >>> from fillgen.chart.text import parse_chart
    >>> [str(span.chord.symbol) for span in chords_at(parse_chart("| C | G7 |"), 3).spans]
    ['Eb', 'Bb7']
    """
    if shift == 0:
        return progression
    request, _, _ = moved(Request(progression, count=1), _ANY, key_at(progression.key, shift))
    return request.progression


def ideas_at(ideas: Sequence[Idea], progression: Progression, shift: int, size: str) -> list[Idea]:
    """Ideas transposed by some semitones over a transposed progression, respelled and refingered; their text stays."""
    if shift == 0:
        return list(ideas)
    phrases = [
        tuple(replace(each.note, midi=each.note.midi + shift) for each in idea.notes) for idea in ideas
    ]
    fingers = best_of_many([[note.midi for note in phrase] for phrase in phrases], reach(size))
    found = []
    for idea, phrase, chosen in zip(ideas, phrases, fingers, strict=True):
        names = spell(progression, phrase)
        rows = zip(idea.notes, phrase, names, chosen, strict=True)
        notes = tuple(replace(each, note=note, name=name, finger=finger) for each, note, name, finger in rows)
        below = [tuple(each.note.midi + shift for each in low) for low in idea.below()]
        found.append(struck(progression, replace(idea, notes=notes), below, reach(size)))
    return found


def can_move(ideas: Sequence[Idea]) -> bool:
    """Whether all notes stay within the MIDI range in every key of a page."""
    pitches = [each.note.midi for idea in ideas for each in (*idea.notes, *idea.second)]
    return not pitches or (min(pitches) + SHIFTS[0] >= 0 and max(pitches) + SHIFTS[-1] <= 127)
