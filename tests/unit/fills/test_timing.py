"""The rhythms of fills."""

from __future__ import annotations

from itertools import pairwise

import pytest

from fillgen import RulePack, parse_chart
from fillgen.dice import Dice
from fillgen.engine.plans import Rhythm_
from fillgen.engine.request import Request, settle
from fillgen.fills.timing import rhythms
from fillgen.theory.metre import is_triplet

CHARTS = {
    "4/4": "| Fm7 | Bb7 | Eb | Eb |",
    "3/4": "| Fm7 | Bb7 | Eb | Eb |",
    "6/8": "| Fm7 | Bb7 | Eb | Eb |",
}


def drawn(metre: str, start: int, end: int, busy: str = "some", level: int = 3) -> list[Rhythm_]:
    """The rhythms of fills between two ticks in a metre's usual rhythm."""
    progression = parse_chart(CHARTS[metre], metre=metre)
    choices = settle(
        Request(progression, level=level, busy=busy, rhythm=RulePack().rhythm_for(progression.metre))
    )
    return rhythms(choices, start, end, Dice(1))


@pytest.mark.parametrize("level", [2, 3, 5])
@pytest.mark.parametrize(
    ("metre", "start", "end"),
    [("4/4", 480, 1920), ("4/4", 960, 3360), ("3/4", 480, 1440), ("6/8", 720, 1440)],
)
def test_fills_stay_in_their_room(metre: str, start: int, end: int, level: int) -> None:
    """Every rhythm lies in its room, note after note, begins in its first half or first beat and ends within a beat of its end."""
    found = drawn(metre, start, end, level=level)
    assert found
    beat = 720 if metre == "6/8" else 480
    for rhythm in found:
        assert start <= rhythm[0][0] <= start + max(beat, (end - start) // 2)
        assert end - beat <= sum(rhythm[-1]) <= end
        assert all(sum(note) <= after for note, (after, _) in pairwise(rhythm))
        assert sum(is_triplet(length) for _, length in rhythm) % 3 == 0


def test_busier_fills_have_more_notes() -> None:
    """The mean number of notes grows from few to some to many."""
    means = []
    for busy in ("few", "some", "many"):
        found = drawn("4/4", 480, 1920, busy)
        means.append(sum(map(len, found)) / len(found))
    assert means == sorted(means)
    assert means[0] < means[2] - 1


def test_one_note_a_chord_is_no_fill() -> None:
    """On the level of one note a chord nothing fits into a bar of one chord."""
    assert drawn("4/4", 480, 1920, level=1) == []
