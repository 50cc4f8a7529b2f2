"""Timelines: where bars of several metres begin, and what is heavy in them."""

from __future__ import annotations

from itertools import accumulate

import pytest

from fillgen.theory.metre import METRES, Metre, Timeline, timeline_of


def line_of(usual: str, *names: str) -> Timeline:
    return Timeline(METRES[usual], tuple(METRES[name] for name in names))


LINES = [
    line_of("4/4"),
    line_of("7/8"),
    line_of("4/4", "4/4", "2/4", "4/4"),
    line_of("3/4", "4/4", "3/4", "5/4", "2/4"),
    line_of("6/8", "6/8", "9/8", "12/8", "6/8"),
]


@pytest.mark.parametrize("timeline", LINES)
def test_every_tick_is_in_its_bar(timeline: Timeline) -> None:
    """Counted one by one, bars begin where the ones before end, and each tick lies in one; beyond the last, in usual bars."""
    metres: list[Metre] = [*timeline.metres, *[timeline.usual] * 3]
    starts = list(accumulate((metre.bar for metre in metres), initial=0))
    assert [timeline.start(bar) for bar in range(len(starts))] == starts
    for bar, (metre, start) in enumerate(zip(metres, starts, strict=False)):
        for tick in range(start, start + metre.bar, 120):
            assert (timeline.index(tick), timeline.inside(tick)) == (bar, tick - start)
            assert timeline.metre_at(tick) == metre
            assert timeline.accent(tick) == metre.accent(tick - start)
        assert timeline.bars_until(start + metre.bar) == bar + 1
        assert timeline.bars_until(start + 1) == bar + 1


@pytest.mark.parametrize("name", METRES)
def test_one_metre_is_a_timeline(name: str) -> None:
    """Bars of one metre are counted as they are by dividing, before the first bar as well."""
    timeline, metre = timeline_of(METRES[name]), METRES[name]
    for tick in range(-2 * metre.bar, 4 * metre.bar, 60):
        assert timeline.index(tick) == tick // metre.bar
        assert timeline.inside(tick) == tick % metre.bar
        assert timeline.place_name(tick, 3) == metre.place_name(tick, 3)
        assert timeline.crosses(tick, 480) == metre.crosses(tick % metre.bar, 480)


def test_before_the_first_bar() -> None:
    """Ticks before the first bar line are counted in bars of the usual metre."""
    timeline = line_of("4/4", "2/4", "4/4")
    assert (timeline.index(-1), timeline.inside(-1), timeline.start(-1)) == (-1, 1919, -1920)


def test_notes_held_over_a_bar_line() -> None:
    """A note is syncopated where it is held over a heavier place, as heavy as its own bar makes it."""
    timeline = line_of("4/4", "2/4", "4/4")
    assert not timeline.crosses(480, 480)  # up to the bar line only
    assert timeline.crosses(480, 960)  # into the first beat of the next bar
    assert not timeline.crosses(960, 1920)  # the whole of that bar
    assert timeline.crosses(1440, 1920)  # from its second beat over its third
    assert not LINES[0].crosses(0, 1920)
