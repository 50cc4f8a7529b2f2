"""Chord loops of pop songs: told whatever their key and wherever they begin, and nothing else is taken for one."""

from __future__ import annotations

import pytest

import fillgen
from fillgen import RulePack
from fillgen.chart.loops import pop_loop
from fillgen.chart.text import parse_chart
from fillgen.tables import table

PACK = RulePack()


@pytest.mark.parametrize(
    ("chart", "name"),
    [
        ("| F | Dm | Bb | C |", "doo-wop"),
        ("| Bb | C | F | Dm |", "doo-wop"),
        ("| F#m | D | A | E |", "singer-songwriter"),
        ("| Ab | Eb | Fm | Db |", "singer-songwriter"),
        ("| Ab Eb | Fm Db | Ab Eb | Fm Db |", "singer-songwriter"),
        ("| Ab | Eb/G | Fm | Db |", "singer-songwriter"),
        ("| D | C | G | D |", "double plagal loop"),
        ("| Aadd9 | D | F#m | Esus4 |", "one, four, six, five"),
    ],
)
def test_loops_are_told(chart: str, name: str) -> None:
    """In any key, from any chord on, once or several times, with suspended fourths, added ninths and inversions."""
    assert pop_loop(parse_chart(chart)) == name


@pytest.mark.parametrize(
    "chart",
    [
        "| F | Dm7 | Gm7 | C7 |",
        "| Fmaj7 | Dm7 | Bbmaj7 | C7 |",
        "| F | Dm | Bb |",
        "| F | Dm | Bb | C | F |",
        "| F | Dm | Bb | Cm |",
        "| F Dm Bb C | F Dm Bb C |",
        "| N.C. | Dm | Bb | C |",
        "| F | Dm | Bb | C/D |",
        "| F | F | F | F |",
    ],
)
def test_other_charts_are_none(chart: str) -> None:
    """Sevenths, other chords, a loop cut short, four chords a bar, silence."""
    assert pop_loop(parse_chart(chart)) is None


def test_a_loop_is_played_in_a_pop_rhythm_unless_another_is_asked_for() -> None:
    """Its metre decides which; other charts keep the rhythm of their metre, and so do metres without a pop rhythm."""
    loop, other = "| Bb | Gm | Eb | F |", "| Bb | Gm7 | Cm7 | F7 |"
    assert fillgen.ideas(loop, count=1).rhythm == "eight-beat"
    assert fillgen.ideas(loop, count=1, metre="12/8").rhythm == "slow rock"
    assert fillgen.ideas(loop, count=1, metre="3/4").rhythm == "waltz"
    assert fillgen.ideas(loop, count=1, rhythm="tango").rhythm == "tango"
    assert fillgen.ideas(other, count=1).rhythm == "foxtrot"


def test_the_rhythms_of_loops_are_played_in_their_metres() -> None:
    """Each rhythm named for loops exists and is played in the metre it is named for."""
    for metre, rhythm in table("loops")["rhythm-for"].items():
        assert metre in PACK.rhythm(rhythm).metres


def test_no_two_loops_are_the_same() -> None:
    """No loop is another one begun elsewhere, so that each has one name."""
    for row in table("loops")["loop"]:
        chart = "| " + " | ".join(row["chords"]) + " |"
        assert pop_loop(parse_chart(chart, key="Db")) == row["name"]
        assert row["source"]
