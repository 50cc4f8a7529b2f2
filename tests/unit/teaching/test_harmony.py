"""Chords proposed for melodies: from the notes, in order, with a close."""

from __future__ import annotations

from itertools import product

import pytest

from fillgen.phrase.note import Note
from fillgen.phrase.text import written_phrase
from fillgen.teaching.harmony import MelodyBar, candidates, proposed
from fillgen.teaching.notefit import CLASHES, note_fits
from fillgen.theory.chords import read_chord
from fillgen.theory.keys import read_key
from fillgen.theory.metre import METRES


def bars_of(text: str, key: str, metre: str) -> list[MelodyBar]:
    """The bars of phrase text."""
    written, found, start = written_phrase(text), [], 0
    for ticks in written.bars:
        inside = [n for n in written.notes if n.onset < start + ticks and n.end > start]
        notes = tuple(
            Note(max(n.onset, start) - start, min(n.end, start + ticks) - max(n.onset, start), n.midi)
            for n in inside
        )
        found.append(MelodyBar(METRES[metre], read_key(key), notes))
        start += ticks
    return found


def symbols(bars: list[MelodyBar]) -> list[str]:
    return [" ".join(chord.symbol for chord, _ in row) for row in proposed(bars)]


@pytest.mark.parametrize(
    ("text", "key", "metre", "wanted"),
    [
        ("D5q F#5q A5h | B4q D5q G5h | A4q C#5q E5q G5q | D5w", "D", "4/4", ["D", "G", "A7", "D"]),
        ("G4q Bb4q D5q | C5q Eb5q G5q | F#4q A4q C5q | G4h.", "G minor", "3/4", ["Gm", "Cm", "D7", "Gm"]),
    ],
)
def test_broken_chords_get_their_chords(text: str, key: str, metre: str, wanted: list[str]) -> None:
    """Where the notes of a bar are those of one chord of the key, that chord is proposed."""
    assert symbols(bars_of(text, key, metre)) == wanted


def test_half_a_bar_where_the_notes_ask_for_it() -> None:
    """A bar is divided where its halves have the notes of two chords, at its middle, and nowhere else."""
    rows = proposed(bars_of("Ab4q C5q Eb5h | F5q Ab5q G5q Bb4q | Ab4w", "Ab", "4/4"))
    assert [len(row) for row in rows] == [1, 2, 1]
    assert [ticks for _, ticks in rows[1]] == [960, 960]
    assert rows[1][1][0].symbol == "Eb7"


def test_a_chord_that_follows_is_led_to() -> None:
    """Before a chord that is known the last one leads there; without one the tune closes on its tonic."""
    bars = bars_of("E4q G#4q B4h | B4q D#5q F#5q A5q", "E", "4/4")
    assert proposed(bars, read_chord("E"))[-1][-1][0].symbol == "B7"
    assert proposed(bars)[-1][-1][0].symbol == "E"


def test_long_notes_do_not_clash() -> None:
    """Whatever long notes two bars have, those of the key never clash with what is proposed for them."""
    key = read_key("F")
    for first, second in product((65, 67, 69, 70, 72, 74, 76), repeat=2):
        line = [(65,), (first,), (second,), (65,)]
        bars = [MelodyBar(METRES["3/4"], key, (Note(0, 1440, midi),)) for (midi,) in line]
        for (midi,), ((chord, _),) in zip(line, proposed(bars), strict=True):
            kinds = {fit.name.pitch_class: fit.kind for fit in note_fits(chord, key)}
            assert kinds[midi % 12] != CLASHES


def test_silence_and_nothing() -> None:
    """Bars of rest get chords as well; no bars get none."""
    key = read_key("Bb")
    assert proposed([]) == ()
    assert proposed([MelodyBar(METRES["6/8"], key, ())])[0][0][0] == candidates(key)[0]
