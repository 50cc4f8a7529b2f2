"""The twelve keys of a page, and its chords in them."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from fillgen.chart.progression import Progression
from fillgen.engine.request import Request
from fillgen.phrase.idea import Idea
from fillgen.phrase.note import Note, Phrase
from fillgen.theory.pitch import key_at
from fillgen.vary.transposition import moved

SHIFTS = tuple(range(-5, 7))
"""The keys of a page, in semitones from its own."""
_ANY: Phrase = (Note(0, 480, 72),)
"""A note for transposing chords alone."""


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


def can_move(ideas: Sequence[Idea]) -> bool:
    """Whether all notes stay within the MIDI range in every key of a page."""
    pitches = [each.note.midi for idea in ideas for each in (*idea.notes, *idea.second)]
    return not pitches or (min(pitches) + SHIFTS[0] >= 0 and max(pitches) + SHIFTS[-1] <= 127)
