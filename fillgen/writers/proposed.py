"""Chords that are proposed for a tune, put among the notes of its own score."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from xml.etree.ElementTree import Element

from fillgen.theory.chords import Chord
from fillgen.theory.metre import TICKS
from fillgen.writers.musicxml import Harmony, harmony_element


def enter_proposed(part: Element, chords: Sequence[Sequence[tuple[int, Chord]]]) -> None:
    """Put chords, in brackets, into the measures of a part: for each measure some, with their ticks from its start."""
    divisions = Fraction(1)
    for measure, own in zip(part.findall("measure"), chords, strict=True):
        for text in measure.findall("attributes/divisions"):
            divisions = Fraction(text.text or "1")
        for tick, chord in reversed(own):
            _enter(measure, Harmony(tick, chord, proposed=True), divisions)


def _enter(measure: Element, harmony: Harmony, divisions: Fraction) -> None:
    """Put a chord before the note that sounds at its tick, with an offset in divisions if the note began earlier."""
    goal = Fraction(harmony.tick, TICKS) * divisions
    at = Fraction(0)
    for place, element in enumerate(measure):
        length = _length(element)
        if element.tag == "backup":
            break
        if length and at + length > goal:
            late = goal - at
            found = harmony_element(harmony.chord, float(late) if late % 1 else int(late), proposed=True)
            measure.insert(place, found)
            return
        at += length
    measure.insert(len(measure), harmony_element(harmony.chord, proposed=True))


def _length(element: Element) -> Fraction:
    """How long an element of a measure lasts, in divisions; nothing for a note of a chord and what has no length."""
    if element.tag not in ("note", "forward") or element.find("chord") is not None:
        return Fraction(0)
    return Fraction(element.findtext("duration") or "0")
