"""Chord kinds and degrees, value by value: what a wrong number or sign in them would change."""

from __future__ import annotations

import pytest

from fillgen.theory.chords import Degree, base_kind, kinds, read_chord
from fillgen.theory.pitch import Name

SEMITONES = {
    "1": 0,
    "b2": 1,
    "2": 2,
    "b3": 3,
    "3": 4,
    "4": 5,
    "#4": 6,
    "b5": 6,
    "5": 7,
    "#5": 8,
    "6": 9,
    "bb7": 9,
    "b7": 10,
    "7": 11,
    "b9": 13,
    "9": 14,
    "#9": 15,
    "11": 17,
    "#11": 18,
    "b13": 20,
    "13": 21,
}
"""Common practice."""
OVER_C7 = ["1", "b9", "9", "#9", "3", "11", "#11", "5", "b13", "13", "b7", "7"]


@pytest.mark.parametrize(("text", "semitones"), SEMITONES.items())
def test_degrees_have_their_semitones(text: str, semitones: int) -> None:
    """A degree counts letters and semitones above the root, beyond the octave too."""
    degree = Degree.read(text)
    assert (degree.text, degree.semitones) == (text, semitones)
    assert degree.steps == int(text.lstrip("b#")) - 1
    assert str(Name.read("C").up(degree.steps, degree.semitones))[0] == "CDEFGAB"[degree.steps % 7]


@pytest.mark.parametrize("root", ["C", "F#", "Bb", "E"])
def test_every_pitch_class_has_a_degree(root: str) -> None:
    """Over a chord every pitch class is some degree above the root, on whatever root it stands."""
    chord = read_chord(f"{root}7")
    assert chord.root is not None
    degrees = [chord.degree_of((chord.root.pitch_class + above) % 12) for above in range(12)]
    assert degrees[0] == "1"
    assert [degrees[above] for above in (4, 7, 10)] == ["3", "5", "b7"]
    assert degrees == [read_chord("C7").degree_of(above) for above in range(12)]
    for above, degree in enumerate(degrees):
        assert Degree.read(degree).semitones % 12 == above


def test_no_chord_has_no_degrees() -> None:
    """Over N.C. nothing is above a root."""
    assert [read_chord("N.C.").degree_of(above) for above in range(12)] == [""] * 12


def test_kinds_are_found_by_their_musicxml_name() -> None:
    """Each MusicXML kind gives the first of our kinds that has its name, and no other."""
    first = {kind.musicxml: kind for kind in reversed(kinds())}
    assert {name: base_kind(name) for name in first} == first
    with pytest.raises(KeyError):
        base_kind("dominant-seventh")


@pytest.mark.parametrize(
    ("symbol", "drives"),
    [
        ("G7", True),
        ("G9", True),
        ("G7sus4", True),
        ("G", False),
        ("Gm7", False),
        ("Gmaj7", False),
        ("G6", False),
    ],
)
def test_dominants_drive_on(symbol: str, drives: bool) -> None:
    """A minor seventh above a major third or a suspended fourth makes a dominant; a minor third does not."""
    kind = read_chord(symbol).kind
    assert kind is not None
    assert kind.is_dominant is drives


def test_a_seventh_without_third_or_fourth_is_no_dominant() -> None:
    """A kind needs more than its minor seventh to drive on."""
    for kind in kinds():
        has = {degree.text for degree in kind.sounding}
        assert kind.is_dominant == (
            "b7" in has and "b3" not in has and any(t in has for t in ("3", "4", "11"))
        )
