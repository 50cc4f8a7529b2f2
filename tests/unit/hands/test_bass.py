"""The bass: its octaves come from the note before, in every rhythm, key and register."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest

from fillgen import Phrase, Progression, RulePack, parse_chart
from fillgen.hands.bass import REGISTERS, bass_line, octaves, own_bass
from fillgen.hands.patterns import WALK, band, read_bass
from fillgen.theory.chords import kinds, make_chord
from fillgen.theory.metre import METRES
from fillgen.theory.pitch import Name, all_keys
from tests.effort import each_once

PACK = RulePack()
RHYTHMS = [(rhythm, metre) for rhythm in PACK.rhythm_names for metre in PACK.rhythm(rhythm).metres]
NUMERALS = {
    "major": "| I | vi7 V7/ii | ii7 V7 | bVII7 | viidim7 | bII7 | IV6 N.C. | I |",
    "minor": "| i | iv7 | iim7b5 V7b9 | VI | N.C. | VII7 | viidim7 | i |",
}


def line_of(progression: Progression, rhythm: str, register: str) -> Phrase:
    """The bass of a rhythm over a chart."""
    patterns = band(PACK, rhythm, progression.metre).a.bass
    return bass_line(progression, patterns, REGISTERS[register])


def check_line(progression: Progression, line: Phrase, register: str) -> None:
    """No leap is wider than an octave, nor is that back to the beginning; in range; each chord begins with its bass."""
    ends = REGISTERS[register]
    assert all(ends.low <= note.midi <= ends.high for note in line)
    assert max((abs(b.midi - a.midi) for a, b in pairwise((*line, line[0]))), default=0) <= 12
    first = {note.onset: note.midi % 12 for note in line}
    for span in progression.spans:
        assert first.get(span.onset) == (own_bass(span.chord) if span.chord.root else None)


@pytest.mark.costly
@pytest.mark.parametrize(
    ("rhythm", "metre", "register"),
    each_once((*each, register) for register in REGISTERS for each in RHYTHMS),
)
def test_no_leap_is_wider_than_an_octave(rhythm: str, metre: str, register: str) -> None:
    """In every rhythm, metre and key, on the keyboard and on pedals."""
    for key in all_keys():
        bars = NUMERALS[key.mode]
        if METRES[metre].beats % 2:
            bars = " | ".join(bars.replace("|", "").split())
        progression = parse_chart(bars, key=str(key), metre=metre)
        check_line(progression, line_of(progression, rhythm, register), register)


@pytest.mark.parametrize("register", REGISTERS)
def test_no_leap_over_chords_of_every_kind(register: str) -> None:
    """Over chords at random, of every kind on every root, with slash basses."""
    dice = Random(5)
    roots = [Name(letter, alter) for letter in range(7) for alter in (-1, 0, 1)]
    for rhythm, metre in RHYTHMS:
        for _ in range(6):
            chords = [make_chord(dice.choice(roots), dice.choice(kinds())) for _ in range(7)]
            symbols = [f"{chord.symbol}{'/F#' * (dice.random() < 0.2)}" for chord in chords]
            progression = parse_chart(" | ".join(symbols), key="C", metre=metre)
            check_line(progression, line_of(progression, rhythm, register), register)


def pitches(chart: str, bass: str, key: str = "C") -> list[int]:
    """The bass of one pattern over a chart, as MIDI numbers."""
    progression = parse_chart(chart, key=key)
    return [note.midi for note in bass_line(progression, [read_bass(bass, progression.metre)])]


def test_the_octave_of_a_root_is_an_octave_away() -> None:
    """`8` is the root an octave up, or down where there is no room above, and the fifth lies between."""
    for root in range(12):
        name = next(
            name
            for name in ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
            if Name.read(name).pitch_class == root
        )
        low, fifth, octave = pitches(f"| {name} |", "1q. 5q. 8q")
        assert abs(octave - low) == 12
        assert min(low, octave) < fifth < max(low, octave)


def test_a_root_follows_the_note_before() -> None:
    """After a high fifth the next root is high, after a low one low."""
    assert pitches("| Eb | Ab | Eb |", "1w", "Eb") == [39, 44, 39]
    one, other = (pitches(f"| {chart} |", "1w") for chart in ("E | F# | G# | A# | C", "E | D | C | Bb | Ab"))
    assert one == [40, 42, 44, 46, 48]
    assert other == [40, 38, 36, 34, 32]


def test_a_line_begins_near_home() -> None:
    """The first note lies within a tritone of the home pitch."""
    for name in ("C", "D", "Eb", "F", "G", "A", "B"):
        (first,) = pitches(f"| {name} |", "1w")
        assert abs(first - REGISTERS["keyboard"].home) <= 6


def test_octaves_of_a_register() -> None:
    """Every pitch of a class in a register, each an octave above the one before."""
    for register in REGISTERS.values():
        for pitch_class in range(12):
            found = octaves(pitch_class, register)
            assert len(found) >= 2
            assert {b - a for a, b in pairwise(found)} == {12}


def test_no_chord_is_silent() -> None:
    """Over N.C. nothing sounds, and the line goes on from where it was."""
    progression = parse_chart("| Eb | N.C. | Ab |", key="Eb")
    walked = bass_line(progression, [WALK])
    assert {note.onset // progression.metre.bar for note in walked} == {0, 2}
    assert max(abs(b.midi - a.midi) for a, b in pairwise(walked)) <= 12
