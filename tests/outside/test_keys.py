"""Keys found from chords against published analyses: ten Bach chorales in RomanText.

Source: the chorale analyses of D. Tymoczko and others in music21's corpus (bach/choraleAnalyses, Riemenschneider 1 to 10), read
by music21. A numeral's notes make a chord on its root; the keys are found from the chords alone, and compared with the
analyst's.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import pytest
from music21 import corpus

from fillgen.theory.chords import Chord, kinds, make_chord
from fillgen.theory.pitch import Name
from fillgen.theory.tonality import State, keys_of, state_of

NUMBERS = range(1, 11)
NEAR = 2
"""How many chords away a change of key may be found."""


def _chord(numeral: Any) -> Chord:
    """The chord of a numeral; where no kind has its notes, the major triad on its root."""
    root = Name.read(numeral.root().name.replace("-", "b"))
    above = {(pitch.pitchClass - root.pitch_class) % 12 for pitch in numeral.pitches}
    fitting = [kind for kind in kinds() if {degree.semitones % 12 for degree in kind.sounding} == above]
    return make_chord(root, (fitting or list(kinds()))[0])


@lru_cache(maxsize=1)
def chorales() -> list[tuple[list[State], list[State], list[float]]]:
    """For each chorale the analyst's keys, those found, and how long each chord lasts in quarter notes."""
    read = []
    for number in NUMBERS:
        score: Any = corpus.parse(f"bach/choraleAnalyses/riemenschneider{number:03d}.rntxt")
        numerals = list(score.recurse().getElementsByClass("RomanNumeral"))
        theirs = [(numeral.key.tonic.pitchClass, numeral.key.mode) for numeral in numerals]
        ours = [state_of(key) for key in keys_of([_chord(numeral) for numeral in numerals])]
        read.append((theirs, ours, [float(numeral.quarterLength) for numeral in numerals]))
    return read


def changes(keys: list[State]) -> list[int]:
    return [place for place in range(1, len(keys)) if keys[place] != keys[place - 1]]


def test_most_of_the_time_is_in_the_analysts_key() -> None:
    """At least 85 % of the chord time is in the analyst's key."""
    whole = sum(sum(lengths) for _, _, lengths in chorales())
    same = sum(
        length
        for theirs, ours, lengths in chorales()
        for one, other, length in zip(theirs, ours, lengths, strict=True)
        if one == other
    )
    assert same / whole >= 0.85


def test_most_changes_are_found_nearby() -> None:
    """At least 70 % of the analyst's changes of key are found, to that key, within two chords."""
    found = every = 0
    for theirs, ours, _ in chorales():
        own = changes(ours)
        for place in changes(theirs):
            every += 1
            found += any(abs(place - other) <= NEAR and ours[other] == theirs[place] for other in own)
    assert every >= 50
    assert found / every >= 0.7


@pytest.mark.parametrize("number", NUMBERS)
def test_each_begins_in_the_analysts_key(number: int) -> None:
    """The first chord is heard in the analyst's key."""
    theirs, ours, _ = chorales()[number - 1]
    assert ours[0] == theirs[0]
