"""One answer to how much eighths swing, for MIDI and for paper."""

from __future__ import annotations

import pytest

import fillgen
from fillgen.hands.playing import Playing
from fillgen.hands.take import Ensemble, swing_of


@pytest.mark.parametrize(
    ("metre", "rhythm", "asked", "ratio"),
    [
        ("4/4", "foxtrot", None, 2.0),
        ("4/4", "foxtrot", 1.0, 1.0),
        ("4/4", "bossa nova", None, 1.0),
        ("4/4", "bossa nova", 3.0, 3.0),
        ("6/8", "slow 6/8", None, 1.0),
        ("6/8", "slow 6/8", 2.0, 1.0),
    ],
)
def test_what_swings(metre: str, rhythm: str, asked: float | None, ratio: float) -> None:
    """A swung rhythm swings, the ratio asked for wins, and dotted beats never swing; a take does the same."""
    ideas = fillgen.ideas("| C | G7 |", metre=metre, rhythm=rhythm, count=1)
    assert swing_of(ideas, asked) == ratio
    assert Ensemble(ideas, Playing(swing=asked)).swing == ratio
