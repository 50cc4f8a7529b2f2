"""Notes outside their chords at their edges: which blue notes slide, and how far the raised sixth of minor climbs."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fillgen.chart.text import parse_chart
from fillgen.phrase.place import Place, places
from fillgen.rules.rule import Seen
from fillgen.rules.tones import blue, passing

RHYTHM = ((0, 480), (480, 480), (960, 960))


def over(chart: str, key: str) -> tuple[Place, ...]:
    """The places of two quarter notes and a half note."""
    return places(parse_chart(chart, key=key), RHYTHM)


@pytest.mark.parametrize(
    ("midi", "then", "which", "slides"),
    [
        (68, 69, ("third", "fifth"), True),
        (68, 69, ("third",), True),
        (68, 69, ("fifth",), False),
        (68, 67, ("third", "fifth"), False),
        (71, 72, ("third", "fifth"), True),
        (71, 70, ("fifth",), True),
        (71, 72, ("third",), False),
        (71, 74, ("third", "fifth"), False),
        (66, 67, ("third", "fifth"), False),
    ],
)
def test_only_the_blue_notes_that_are_named_slide(
    midi: int, then: int, which: tuple[str, ...], slides: bool
) -> None:
    """Over F7 in a blues in F: Ab up to A, B up to C or down to Bb, each only where it is asked for."""
    _, note, after = over("| F7 |", "F blues")
    assert bool(blue(Seen(note, midi), Seen(after, then), which)) is slides
    assert not bool(blue(Seen(replace(note, strong=True), midi), Seen(after, then), which))


@pytest.mark.parametrize(("after", "passes"), [(71, True), (70, False), (69, False), (67, False)])
def test_the_raised_sixth_climbs_a_whole_step(after: int, passes: bool) -> None:
    """In D minor over A7, B passes from A up to C#; it does not turn back, nor go up a half step."""
    before, note, last = over("| A7 |", "D minor")
    window = Seen(before, 69), Seen(note, 71), Seen(last, after + 2)
    assert bool(passing(*window)) is passes
