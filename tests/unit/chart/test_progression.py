"""Progressions with bars of several metres: their bars, strong beats and words."""

from __future__ import annotations

import itertools

import pytest

from fillgen import parse_chart

SONG = "| Eb | Gm7 / C7 / | 2/4 Fm7 | 4/4 Bb7 |"
TUNE = "metre: 3/4\n| Ab | 4/4 Fm7 Bbm7 | 3/4 Eb7 |"


@pytest.mark.parametrize(
    ("text", "starts", "strong"),
    [
        (SONG, [0, 1920, 3840, 4800, 6720], [960, 1920, 2880, 3840, 4800, 5760]),
        (TUNE, [0, 1440, 3360, 4800], [1440, 2400, 3360]),
    ],
)
def test_bars_and_strong_beats(text: str, starts: list[int], strong: list[int]) -> None:
    """Bars begin where their metres put them; a 4/4 bar has two strong beats, one of 2/4 or 3/4 has one, and chords theirs."""
    chart = parse_chart(text)
    assert [chart.start_of(bar) for bar in range(len(chart.bars) + 1)] == starts
    assert chart.length == starts[-1]
    assert chart.strong_between(0, chart.length) == strong
    assert [tick for tick in range(1, chart.length) if chart.is_strong(tick)] == strong
    for bar, (start, end) in enumerate(itertools.pairwise(starts)):
        assert [chart.bar_index(tick) for tick in (start, end - 1)] == [bar, bar]
        assert chart.bar_of(start) == bar + 1
        assert [chart.span_at(tick) in chart.bars[bar] for tick in range(start, end, 120)].count(False) == 0


def test_places_in_words() -> None:
    """Beats are counted from the bar line before them."""
    chart = parse_chart(SONG)
    assert [chart.place_name(tick) for tick in (4320, 4800, 5520)] == [
        "bar 3, beat 2",
        "bar 4, beat 1",
        "bar 4, beat 2.5",
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("| Eb | Bb7 |", "4/4"),
        (SONG, "4/4, bar 3 in 2/4"),
        ("| Eb | 2/4 Bb7 | 4/4 Eb | 2/4 Bb7 | 3/4 Eb |", "4/4, bars 2 and 4 in 2/4, bar 5 in 3/4"),
        ("| Eb | 2/4 Bb7 | % | % | % | % | 4/4 Eb | % | % | % |", "4/4, others in 2/4"),
    ],
)
def test_metres_in_words(text: str, words: str) -> None:
    """The chart's metre comes first, then the bars that differ."""
    assert parse_chart(text).metres_in_words == words
