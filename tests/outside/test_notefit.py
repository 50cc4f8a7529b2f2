"""Which notes fit a chord, what stays and what moves, against published tables and facts.

Sources: Wikipedia, Avoid note, an older revision after Nettles and Graf, The Chord Scale Theory, and others: the table
of the seventh chords of C major, with the notes to avoid and the tensions that are available; Wikipedia, Backdoor
progression, on the tones that its dominant shares with the usual one; Open Music Theory (Shaffer, Hughes and Moseley;
Gotham and others, CC BY-SA), on Neo-Riemannian triadic progressions (which triads share two tones, one, or none) and on
how the dominant seventh resolves. The twelve keys are transpositions of the published one. What is marked so is common
practice.
"""

from __future__ import annotations

import pytest

from fillgen.chart.text import parse_chart
from fillgen.phrase.idea import CHORD_TONE
from fillgen.teaching.notefit import CLASHES, LEAVE_QUICKLY, PASSES, ChordNotes, chord_notes

SCALES = {
    "C": "C D E F G A B",
    "Db": "Db Eb F Gb Ab Bb C",
    "D": "D E F# G A B C#",
    "Eb": "Eb F G Ab Bb C D",
    "E": "E F# G# A B C# D#",
    "F": "F G A Bb C D E",
    "Gb": "Gb Ab Bb Cb Db Eb F",
    "G": "G A B C D E F#",
    "Ab": "Ab Bb C Db Eb F G",
    "A": "A B C# D E F# G#",
    "Bb": "Bb C D Eb F G A",
    "B": "B C# D# E F# G# A#",
}
"""The scales of the twelve major keys."""

# Degree of the key, kind of chord, degrees of the key to avoid, tensions available: Wikipedia, Avoid note.
TABLE = [
    (1, "maj7", {4}, "9 13"),
    (2, "m7", {7}, "9 11"),
    (3, "m7", {1, 4}, "11"),
    (4, "maj7", set[int](), "9 #11 13"),
    (5, "7", {1}, "9 13"),
    (6, "m7", {4}, "9 11"),
    (7, "m7b5", {1}, "11 b13"),
]
STRICT = [row for row in TABLE if row[0] != 2]
"""The rows that need no convention: the sixth over the second degree is avoided for its tritone, not for a clash."""

COMMON = {
    "Dm7 G7": "D F",  # common practice
    "G7 Cmaj7": "G B",  # common practice
    "Bb7 G7": "D F",  # Wikipedia, Backdoor progression
    "C Cm": "C G",  # Open Music Theory, Neo-Riemannian: parallel
    "C Em": "E G",  # the same: leading-tone exchange
    "C Am": "C E",  # the same: relative
    "Fm C": "C",  # the same, two of them after one another
    "C F#": "",
    "F G": "",
    "Db7 G7": "F Cb",  # common practice: the tritone that a dominant shares with its substitute
}
"""Chords and the tones of the first that are in the second, from its root up."""

STEPS = {
    "G7 C": ["B up 1 to C", "F down 1 to E"],  # Open Music Theory: the leading tone rises, the seventh falls
    "Dm7 G7": ["C down 1 to B"],  # common practice: the seventh falls to the third
    "C7 F": ["E up 1 to F", "Bb down 1 to A"],
    "C Am": [],
    "C Cm": ["E down 1 to Eb"],
    "C Em": ["C down 1 to B"],
    "C Ab": ["E down 1 to Eb", "G up 1 to Ab"],
}
"""Chords and all half steps from the first to the second."""


def told(chart: str, key: str, *, dorian_sixth: bool = False) -> ChordNotes:
    """What is told of the first chord of a chart."""
    return chord_notes(parse_chart(chart, key=key), dorian_sixth=dorian_sixth)[0]


def names(each: ChordNotes, kind: str) -> set[str]:
    """The names of the notes of a kind."""
    return {str(fit.name) for fit in each.of_kind(kind)}


def on_degree(key: str, degree: int, kind: str) -> str:
    """A chart of the chord on a degree of a key."""
    return f"| {SCALES[key].split()[degree - 1]}{kind} |"


@pytest.mark.parametrize("key", SCALES)
@pytest.mark.parametrize(("degree", "kind", "avoid", "available"), TABLE)
def test_the_table_of_avoid_notes(key: str, degree: int, kind: str, avoid: set[int], available: str) -> None:
    """Every row in every key, with the convention on the second degree: notes to avoid, and tensions."""
    each = told(on_degree(key, degree, kind), key, dorian_sixth=True)
    scale = SCALES[key].split()
    assert names(each, LEAVE_QUICKLY) == {scale[at - 1] for at in avoid}
    assert {fit.degree for fit in each.of_kind(PASSES)} == {*available.split()}
    assert names(each, CHORD_TONE) | names(each, PASSES) | names(each, LEAVE_QUICKLY) == {*scale}
    assert not names(each, CLASHES) & {*scale}


@pytest.mark.parametrize("key", SCALES)
@pytest.mark.parametrize(("degree", "kind", "avoid", "available"), STRICT)
def test_the_convention_changes_no_other_row(
    key: str, degree: int, kind: str, avoid: set[int], available: str
) -> None:
    """Without the convention the other six rows are the same."""
    each = told(on_degree(key, degree, kind), key)
    scale = SCALES[key].split()
    assert names(each, LEAVE_QUICKLY) == {scale[at - 1] for at in avoid}
    assert {fit.degree for fit in each.of_kind(PASSES)} == {*available.split()}


@pytest.mark.parametrize("key", SCALES)
def test_the_second_degree_without_the_convention(key: str) -> None:
    """No note of the scale lies a half step above a tone of the chord: none is left quickly, the sixth passes."""
    each = told(on_degree(key, 2, "m7"), key)
    assert names(each, LEAVE_QUICKLY) == set()
    assert {fit.degree for fit in each.of_kind(PASSES)} == {"9", "11", "13"}
    assert SCALES[key].split()[6] in names(each, PASSES)


@pytest.mark.parametrize("key", SCALES)
@pytest.mark.parametrize(("degree", "kind"), [row[:2] for row in TABLE])
def test_chord_tones_are_thirds_of_the_scale(key: str, degree: int, kind: str) -> None:
    """The seventh chord of a degree is every other note of the scale from there up."""
    each = told(on_degree(key, degree, kind), key)
    scale = SCALES[key].split()
    expected = [scale[(degree - 1 + step) % 7] for step in (0, 2, 4, 6)]
    assert [str(tone.name) for tone in each.tones] == expected
    assert [str(fit.name) for fit in each.of_kind(CHORD_TONE)] == expected


@pytest.mark.parametrize(("chords", "common"), COMMON.items())
def test_common_tones(chords: str, common: str) -> None:
    """The tones that two chords share."""
    first, second = chords.split()
    each = told(f"| {first} | {second} |", "C")
    assert [str(shared.tone.name) for shared in each.common] == common.split()


@pytest.mark.parametrize(("chords", "steps"), STEPS.items())
def test_half_steps(chords: str, steps: list[str]) -> None:
    """The half steps that lead from a chord into the next, before any whole step."""
    first, second = chords.split()
    each = told(f"| {first} | {second} |", "C")
    shown = [
        f"{way.tone.name} {'up' if way.rise > 0 else 'down'} {abs(way.rise)} to {way.goal.name}"
        for way in each.ways
    ]
    assert shown[: len(steps)] == steps
    assert all("1" not in step for step in shown[len(steps) :])
