"""Stock sequences found by the options of a player, spelled in a key or led to a chord."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from fillgen.app.options import SequenceOptions
from fillgen.chart.enrich import with_sevenths
from fillgen.chart.progression import Progression
from fillgen.chart.sequences import Sequence, find, spelled, to_chord
from fillgen.errors import OptionError
from fillgen.theory.chords import Chord, read_chord
from fillgen.theory.keys import read_key, read_metre
from fillgen.theory.pitch import Key


@dataclass(frozen=True)
class FoundSequences:
    """Stock sequences, the key they are asked for in, the chord they lead to, and how each is played in a key."""

    found: tuple[Sequence, ...]
    key: Key | None
    goal: Chord | None
    played: Callable[[Sequence, Key], Progression]


def found_sequences(options: SequenceOptions) -> FoundSequences:
    """The stock sequences that are like what is asked for; OptionError where none is, or an option can't be read."""
    key = read_key(options.key) if options.key is not None else None
    metre = read_metre(options.metre) if options.metre is not None else None
    goal = read_chord(options.to) if options.to is not None else None
    found = find(options.purpose, key.signature_mode if key else None, options.bars, metre)
    if not found:
        raise OptionError(
            "no sequence is like that", hint="Try fewer conditions; fillgen sequences lists them all."
        )

    def played(sequence: Sequence, in_key: Key) -> Progression:
        shown = to_chord(sequence, goal, key, metre) if goal is not None else spelled(sequence, in_key, metre)
        return with_sevenths(shown) if options.sevenths else shown

    if goal is not None:
        found = tuple(each for each in found if _can_lead(each, goal, key))
    return FoundSequences(found, key, goal, played)


def _can_lead(sequence: Sequence, goal: Chord, key: Key | None) -> bool:
    """Whether a sequence can lead to a chord, or close on it."""
    try:
        to_chord(sequence, goal, key)
    except OptionError:
        return False
    return True
