"""What must hold for the score of any bare line: moved, stretched, or in other company, it stays the same line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fillgen.engine.melody import MELODY_TERMS, MelodyScore, melody_score
from fillgen.phrase.note import Note, Phrase
from fillgen.theory.metre import METRES
from fillgen.theory.pitch import Key, Name
from tests.effort import EFFORT

TONICS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
LENGTHS = (120, 160, 240, 320, 360, 480, 720, 960)


@st.composite
def lines(draw: st.DrawFn, low: int = 50, high: int = 80) -> Phrase:
    """Up to 24 notes of many lengths, some with rests before them."""
    found, at = [], 0
    for _ in range(draw(st.integers(1, 24))):
        at += draw(st.sampled_from((0, 0, 0, 240, 480)))
        length = draw(st.sampled_from(LENGTHS))
        found.append(Note(at, length, draw(st.integers(low, high))))
        at += length
    return tuple(found)


def same(one: MelodyScore, other: MelodyScore, but: Sequence[str] = ()) -> bool:
    """Whether two scores agree, down to what rounding leaves open."""
    if any(
        one.terms[name] != pytest.approx(other.terms[name], abs=2e-9)
        for name in MELODY_TERMS
        if name not in but
    ):
        return False
    return bool(but) or one.score == pytest.approx(other.score, abs=2e-6)


_BEATS = ("habit", "order")
"""The terms that hear beats, not bar lines alone."""
metres = st.sampled_from(sorted(METRES))
modes = st.sampled_from(("major", "minor"))
keys = st.builds(lambda tonic, mode: Key(Name.read(tonic), mode), st.sampled_from(TONICS), modes)


@settings(max_examples=60 * EFFORT, deadline=None)
@given(lines(), metres, keys)
def test_scores_and_terms_run_from_0_to_1(line: Phrase, metre: str, key: Key) -> None:
    """Whatever the line, the metre and the key."""
    found = melody_score(line, metre, key)
    assert all(0 <= value <= 1 for value in (found.score, *found.terms.values()))


@settings(max_examples=60 * EFFORT, deadline=None)
@given(lines(), metres, st.integers(0, 11), modes, st.integers(-12, 24))
def test_a_line_moved_with_its_key_and_range_scores_the_same(
    line: Phrase, metre: str, tonic: int, mode: str, rise: int
) -> None:
    """All terms hear intervals, and places in key and range, not pitches; without the range only the register changes."""
    key, new = (Key(Name.read(TONICS[(tonic + up) % 12]), mode) for up in (0, rise))
    moved = tuple(replace(note, midi=note.midi + rise) for note in line)
    before = melody_score(line, metre, key, low=55, high=84)
    assert same(melody_score(moved, metre, new, low=55 + rise, high=84 + rise), before)
    assert same(melody_score(moved, metre, new, low=55, high=84), before, but=["register"])


@settings(max_examples=60 * EFFORT, deadline=None)
@given(lines(), st.sampled_from((("2/4", "4/4"), ("6/8", "12/8"), ("2/4", "2/2"))), keys)
def test_a_line_twice_as_long_in_a_metre_twice_as_long_scores_the_same(
    line: Phrase, pair: tuple[str, str], key: Key
) -> None:
    """Time is heard in proportions, but for habits and order, which know beats and eighths."""
    slow = tuple(Note(2 * note.onset, 2 * note.length, note.midi) for note in line)
    assert same(melody_score(slow, pair[1], key), melody_score(line, pair[0], key), but=_BEATS)


@settings(max_examples=60 * EFFORT, deadline=None)
@given(lines(), keys)
def test_beats_are_heard_by_habits_and_order_alone(line: Phrase, key: Key) -> None:
    """Metres whose bars are equally long agree in all else, and other bars change no more than what bars answer."""
    assert same(melody_score(line, "2/2", key), melody_score(line, "4/4", key), but=_BEATS)
    assert same(melody_score(line, "6/8", key), melody_score(line, "3/4", key), but=_BEATS)
    assert same(melody_score(line, "5/4", key), melody_score(line, "3/4", key), but=[*_BEATS, "echo"])


@settings(max_examples=40 * EFFORT, deadline=None)
@given(st.data(), metres, keys)
def test_company_does_not_matter(data: st.DataObject, metre: str, key: Key) -> None:
    """In any order, and alone, lines have the scores that they have together; some share a rhythm."""
    some = data.draw(st.lists(lines(), min_size=1, max_size=5))
    more = [tuple(replace(note, midi=130 - note.midi) for note in line) for line in some[:3]]
    every = [*some, *more]
    together = melody_score(every, metre, key)
    order = data.draw(st.permutations(range(len(every))))
    mixed = melody_score([every[number] for number in order], metre, key)
    assert all(same(mixed[at], together[number]) for at, number in enumerate(order))
    assert all(
        same(melody_score(line, metre, key), found) for line, found in zip(every, together, strict=True)
    )
