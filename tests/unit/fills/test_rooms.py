"""Where a tune leaves room for a fill."""

from __future__ import annotations

import pytest

from fillgen import parse_chart
from fillgen.fills.rooms import LONGEST, Room, Run, rooms
from fillgen.phrase.text import parse_phrase

BAR, BEAT = 1920, 480


def found(tune: str, least: float = 2, chart: str = "| Ab | Db | Eb7 | Ab |") -> list[tuple[int, int]]:
    """From where to where fills may sound, in beats."""
    progression = parse_chart(chart)
    line = parse_phrase(tune, progression.metre)
    return [(room.onset // BEAT, room.limit // BEAT) for room in rooms(progression, line, least)]


@pytest.mark.parametrize(
    ("tune", "beats"),
    [
        ("C5q Eb5q Ab5q C5q | Db5w | C5w | C5w", [(5, 8), (9, 12)]),
        ("C5q Eb5q Ab5q C5q | Db5q rh Eb5q | C5q Eb5q Ab5q G5q | Ab5w", [(5, 7)]),
        ("C5q Eb5q Ab5q C5q | Db5h rh | C5q Eb5q Ab5q G5q | Ab5w", [(5, 8)]),
        ("C5q Eb5q Ab5q C5q | Db5e rq. Eb5h | C5q Eb5q Ab5q G5q | Ab5w", [(7, 8)]),
        ("C5q Eb5q Ab5q C5q | Db5q Eb5q F5q rq | C5q Eb5q Ab5q G5q | Ab5w", []),
        ("C5q Eb5q Ab5q C5q | Db5q Eb5q F5h | C5q Eb5q Ab5q G5q | Ab5w", [(7, 8)]),
    ],
)
def test_where_a_tune_holds_or_rests(tune: str, beats: list[tuple[int, int]]) -> None:
    """Room begins on the rest, or when a note has been held for a beat; after the last note there is none."""
    assert found(tune) == beats


@pytest.mark.parametrize(("least", "count"), [(1, 3), (2, 3), (3, 2), (4, 1), (5, 0)])
def test_a_longer_gap_leaves_fewer(least: float, count: int) -> None:
    """The tune must hold or rest for as many beats as are asked for."""
    assert len(found("C5q Eb5q Ab5h | Db5h. C5q | C5w | C5w", least)) == count


def test_a_long_rest_is_filled_at_its_end() -> None:
    """Of a rest of three bars the last two are room."""
    chart = "| Ab | Db | Eb7 | Ab | Ab |"
    assert found("C5q Eb5q Ab5q C5q | rw | rw | rw | Ab5w", chart=chart) == [(16 - 4 * LONGEST, 16)]


def repeated(tune: str, runs: list[Run], chart: str) -> tuple[Room, ...]:
    """The rooms of a tune whose measures are played in some order."""
    progression = parse_chart(chart)
    return rooms(progression, parse_phrase(tune, progression.metre), 2, runs)


def test_a_repeat_is_one_place() -> None:
    """What a repeat plays twice is written once, and the tune may go on from it in two ways."""
    twice = "C5q Eb5q Ab5q C5q | Db5w | C5q Eb5q Ab5q C5q | Db5w | F5q Db5q Ab4q F4q"
    runs = [Run(0, 2 * BAR, 0), Run(2 * BAR, 5 * BAR, 0)]
    (room,) = repeated(twice, runs, "| Ab | Db | Ab | Db | Db |")
    assert (room.shifts, room.leads()) == ((0, 2 * BAR), (72, 77))
    assert [gap.written for gap in room.gaps] == [BAR, BAR]


def test_no_fill_goes_on_where_a_repeat_goes_back() -> None:
    """A rest at the beginning of a repeated section isn't room for what comes before it the second time only."""
    twice = "rh Ab5q C5q | Db5w | rh Ab5q C5q | Db5q Eb5q F5q G5q | Ab5w"
    runs = [Run(0, 2 * BAR, 0), Run(2 * BAR, 5 * BAR, 0)]
    (room,) = repeated(twice, runs, "| Ab | Db | Ab | Db | Db |")
    assert (room.onset, room.limit) == (BAR + BEAT, 2 * BAR)
