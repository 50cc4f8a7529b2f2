"""Leanings: what each name weighs, that draws and score agree, and that no phrase is lost by them."""

from __future__ import annotations

import numpy as np
import pytest

import fillgen
from fillgen import RulePack
from fillgen.chart.text import parse_chart
from fillgen.engine.leanings import Leanings
from fillgen.phrase.place import places
from fillgen.phrase.text import parse_phrase
from fillgen.rules.idiom import LEANINGS

CHART = "| Bb6 | Gm7 | Cm7 | F7 |"


def value(by_name: dict[str, float], phrase: str, chart: str = "| Bb7 | Eb |") -> float:
    """How much a phrase leans to what is named: 0 where it neither leans to nor away, by note."""
    progression = parse_chart(chart, key="Eb")
    notes = parse_phrase(phrase, progression.metre)
    where = places(progression, [(note.onset, note.length) for note in notes])
    pitches = np.array([[note.midi for note in notes]], dtype=np.int16)
    return float(Leanings(by_name).value(pitches, where)[0] - 0.5)


@pytest.mark.parametrize(
    ("name", "has", "lacks"),
    [
        ("repeat", "D5h D5h | Bb4w", "D5h F5h | Bb4w"),
        ("semitone", "D5h Eb5h | G4w", "D5h F5h | G4w"),
        ("semitone up", "D5h Eb5h | G4w", "D5h C#5h | G4w"),
        ("sixth down", "D5h F4h | Bb4w", "F4h D5h | G5w"),
        ("octave", "F4h F5h | Eb5w", "F4h D5h | G5w"),
        ("arpeggio", "Bb4q D5q F5h | Eb5w", "Bb4q D5q Bb4h | Bb4w"),
        ("run", "Bb4q C5q D5h | G5w", "Bb4q C5q Bb4h | G5w"),
        ("neighbour", "D5q C5q D5h | Bb4w", "D5q C5q Bb4h | Eb4w"),
        ("zigzag", "D5q Bb4q D5h | Eb5w", "D5q Bb4q A4h | G4w"),
        ("on root", "Bb4w | G4w", "D5w | G4w"),
        ("on sixth", "G5w | G5w", "F5w | G5w"),
        ("on seventh", "Ab4w | G4w", "F4w | G4w"),
        ("on ninth", "C5w | Eb5w", "D5w | Eb5w"),
        ("guide tone", "D5w | Eb5w", "F5w | Eb5w"),
        ("close on root", "D5w | Eb5w", "D5w | G5w"),
        ("close on third", "D5w | G5w", "D5w | Eb5w"),
    ],
)
def test_each_leaning_is_what_its_name_says(name: str, has: str, lacks: str) -> None:
    """A phrase that has it leans, one that hasn't doesn't; below 0 the phrase leans away."""
    assert name in LEANINGS
    assert value({name: 1.0}, has) > value({name: 1.0}, lacks)
    assert value({name: -1.0}, has) == pytest.approx(-value({name: 1.0}, has))


def test_tables_of_the_draws_hold_what_the_score_adds_up() -> None:
    """The factor of three pitches is e to the sum of their two intervals' and their motion's leanings."""
    leanings = Leanings({"third up": 0.5, "fourth": 0.25, "arpeggio": 1.0, "tone": -0.5})
    moves, turns = leanings.table(12)
    assert moves[0, 4] == pytest.approx(np.exp(0.5))
    assert moves[4, 0] == 1
    assert moves[7, 5] == pytest.approx(np.exp(-0.5))
    assert turns[0, 4, 9] == pytest.approx(np.exp(1.0))
    assert turns[0, 4, 0] == turns[0, 2, 4] == 1
    pitches = np.array([[60, 64, 69]], dtype=np.int16)
    where = places(parse_chart("| F |"), [(0, 480), (480, 480), (960, 960)])
    reckoned = np.log(moves[0, 4] * moves[4, 9] * turns[0, 4, 9])
    assert leanings.value(pitches, where)[0] - 0.5 == pytest.approx(reckoned / (2 * 0.9 * 3))


def test_leanings_change_no_count() -> None:
    """Leanings weigh, they forbid nothing: the exact number of phrases stays as it is."""
    row = RulePack().rhythm_row("tango")
    plain = {**row, "idiom": {**row["idiom"], "leanings": {}}}
    counts = [
        fillgen.ideas(CHART, rhythm="tango", rules=RulePack({"rhythm": [each]}), count=5).phrases
        for each in (row, plain)
    ]
    assert counts[0] == counts[1] > 10**6


def test_a_rhythm_that_leans_is_heard_to_lean() -> None:
    """Ideas of a rhythm that leans to sixths have at least twice as many as without."""
    row = RulePack().rhythm_row("waltz")
    plain = {**row, "idiom": {**row["idiom"], "leanings": {}}}
    shares = []
    for each in (row, plain):
        found = fillgen.ideas(
            "| Bb6 | Gm7 | Cm7 | F7 |", metre="3/4", rhythm="waltz", rules=RulePack({"rhythm": [each]})
        )
        moves = [
            abs(b.midi - a.midi) for idea in found for a, b in zip(idea.phrase, idea.phrase[1:], strict=False)
        ]
        shares.append(sum(move in (8, 9) for move in moves) / len(moves))
    assert shares[0] > 0.02
    assert shares[0] > 2 * shares[1]


def test_without_an_idiom_the_term_is_a_half() -> None:
    """A rhythm that says nothing of its lines is neither praised nor blamed for them."""
    row = {
        "name": "own",
        "tempo": 100,
        "cells": {"4/4": {"some": ["q q h"]}},
        "closes": {"4/4": {"some": ["h h"]}},
    }
    found = fillgen.ideas("| F | C7 |", rhythm="own", rules=RulePack({"rhythm": [row]}), count=5)
    assert {idea.terms["idiom"] for idea in found} == {0.5}
