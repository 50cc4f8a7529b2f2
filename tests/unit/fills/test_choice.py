"""Fills note by note: where they lie, how they lead on, how they vary and return."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import pytest

from fillgen import parse_chart
from fillgen.chart.progression import Progression
from fillgen.errors import OptionError
from fillgen.fills.choice import Fill, Filled, fills_of
from fillgen.fills.fill import FillRequest
from fillgen.phrase.idea import CHORD_TONE
from fillgen.phrase.note import Phrase
from fillgen.phrase.text import parse_phrase
from fillgen.teaching.line import Line
from fillgen.teaching.naming import kinds

TUNES = {
    "a tune of lines": (
        "| Eb | Cm7 | Fm7 | Bb7 | Gm7 | C7 | Fm7 | Bb7 | Eb | Eb7 | Ab | Abm6 | Eb | Bb7 | Eb | Eb |",
        (
            "G5q Bb5q G5h | Eb5q. F5e G5h | Ab5q G5q F5q Eb5q | F5w | Bb5q. A5e Bb5h | C5w | Ab5q. G5e F5q Eb5q | D5h. rq | "
            "G5q Bb5q G5h | Db5h. Eb5q | C5q Eb5q Ab5q C6q | B5h rh | Bb5q G5q Eb5q G5q | F5q Ab5q D5h | Eb5w | rw"
        ),
        "4/4",
    ),
    "a waltz": (
        "| G | Em | Am7 | D7 | G | C | D7 | G |",
        "D5q B4q D5q | G5h. | E5q C5q E5q | A5h rq | B5q A5q G5q | E5h. | F#5q E5q D5q | G5h.",
        "3/4",
    ),
    "a minor tune that goes on with a note outside its chord": (
        "| Fm | Db7 | Bbm7 | C7 | Fm | Bbm7 | C7 | Fm |",
        "C5e Db5e C5q Ab4h | F4w | C5e Bb4e Db5q F5h | E5h rh | Db5e C5e Bb4q Ab4h | Db5w | B4e C5e E5q G5h | F5w",
        "4/4",
    ),
    "a jig": (
        "| Bb | Bb | Eb | F7 | Bb | Gm | F7 | Bb |",
        "F5q. D5q. | F5e Eb5e D5e C5q Bb4e | G5h. | A4e Bb4e C5e F5q. | D5q. Bb5q. | G5h. | C5e D5e Eb5e F5q A4e | Bb4h.",
        "6/8",
    ),
}


def tune(name: str) -> tuple[Progression, Phrase]:
    """A tune of ours: its chords and its notes."""
    chart, notes, metre = TUNES[name]
    progression = parse_chart(chart, metre=metre)
    return progression, parse_phrase(notes, progression.metre)


@cache
def filled(name: str, **options: object) -> Filled:
    """The fills of a tune."""
    return fills_of(*tune(name), (), FillRequest(**options))  # type: ignore[arg-type]


EVERY = [
    (name, level, busy)
    for name in TUNES
    for level, busy in ((2, "some"), (3, "few"), (4, "many"), (5, "some"))
]


def every_fill(name: str, level: int, busy: str) -> tuple[Fill, ...]:
    """A fill for every place of a tune that has room."""
    fills = filled(name, level=level, busy=busy, how_many="100%").fills
    assert fills
    return fills


@pytest.mark.costly
@pytest.mark.parametrize(("name", "level", "busy"), EVERY)
def test_fills_sound_where_the_tune_stands_still(name: str, level: int, busy: str) -> None:
    """A fill begins after the tune's note, on a rest or a beat after it, and is over when the tune goes on."""
    progression, line = tune(name)
    for fill in every_fill(name, level, busy):
        gap = fill.room.first
        beat = progression.metre.pulse
        first, last = fill.notes[0].note, fill.notes[-1].note
        assert first.onset >= min(gap.before.end, gap.before.onset + beat)
        assert last.end <= gap.next.onset
        for each in fill.notes:
            moving = [n for n in line if each.note.onset <= n.onset < each.note.end and n is not gap.before]
            assert moving == []


@pytest.mark.parametrize(("name", "level", "busy"), EVERY)
def test_fills_lead_on(name: str, level: int, busy: str) -> None:
    """The last note lies within a third of the one with which the tune goes on, and ends within a beat of it."""
    progression, _ = tune(name)
    for fill in every_fill(name, level, busy):
        last, onward = fill.notes[-1].note, fill.room.first.next
        assert abs(last.midi - onward.midi) <= 4
        assert onward.onset - last.end <= progression.metre.pulse


@pytest.mark.parametrize(("name", "level", "busy"), EVERY)
def test_fills_keep_clear_of_a_held_note(name: str, level: int, busy: str) -> None:
    """Beside a held note a fill stays a third away on one side; on the beat it makes no seventh and no ninth with it."""
    progression, _ = tune(name)
    for fill in every_fill(name, level, busy):
        held = fill.room.first.before
        beside = [each.note for each in fill.notes if each.note.onset < held.end]
        assert all(abs(note.midi - held.midi) >= 3 for note in beside)
        assert len({note.midi > held.midi for note in beside}) <= 1
        for note in beside:
            if progression.inside(note.onset) % progression.metre.pulse == 0:
                assert (note.midi - held.midi) % 12 in {0, 3, 4, 5, 6, 7, 8, 9}


@pytest.mark.parametrize(("name", "level", "busy"), EVERY)
def test_every_note_of_a_fill_has_a_name(name: str, level: int, busy: str) -> None:
    """Each note is a tone of its chord, or a note outside it that has a name, by the rules and by handbooks as well."""
    progression, _ = tune(name)
    for fill in every_fill(name, level, busy):
        assert all(each.role for each in fill.notes)
        if level == 2:
            assert {each.role for each in fill.notes} == {CHORD_TONE}
        line = tuple(each.note for each in fill.notes)
        assert all(kinds(Line(progression, (*line, fill.room.first.next)))[: len(line)])


def test_fills_vary() -> None:
    """No two fills in a row have the same notes one after another in the same rhythm."""
    fills = every_fill("a tune of lines", 3, "few")
    figures = [
        tuple(
            (each.note.onset - fill.notes[0].note.onset, each.note.length, each.note.midi)
            for each in fill.notes
        )
        for fill in fills
    ]
    assert all(a != b for a, b in pairwise(figures))


SECTION = ("| Ab | Fm7 | Bbm7 | Eb7 |", "C5q Eb5q Ab5q Eb5q | C5w | Db5q C5q Bb4q C5q | Eb5w")


def played(times: int) -> list[list[tuple[int, int, int]]]:
    """The fills at the second bar of a section that is written out some times, counted from the section."""
    chart, notes = (f"{' '.join([SECTION[0]] * times)} Ab |", " | ".join([SECTION[1]] * times + ["C5w"]))
    progression = parse_chart(chart.replace("| |", "|"))
    found = fills_of(
        progression, parse_phrase(notes, progression.metre), (), FillRequest(how_many="100%")
    ).fills
    section = 4 * 1920
    return [
        [(each.note.onset % section, each.note.length, each.note.midi) for each in fill.notes]
        for fill in found
        if progression.bar_index(fill.room.first.before.onset) % 4 == 1
    ]


def test_the_same_place_has_the_same_fill() -> None:
    """A section that comes twice has the same fill at the same place."""
    first, second = played(2)
    assert first == second


def test_the_last_time_has_another_fill() -> None:
    """A section that comes three times has the same fill twice and another the last time."""
    first, second, third = played(3)
    assert first == second != third


def test_how_many() -> None:
    """A number or a share of the places is filled, each under the number that it has among all of them."""
    name = "a tune of lines"
    every = filled(name, how_many="100%").fills
    few = filled(name, how_many="3").fills
    half = filled(name, how_many="50%").fills
    assert len(few) == 3
    assert len(half) == (len(every) + 1) // 2
    assert {fill.number for fill in few} < {fill.number for fill in half} < {fill.number for fill in every}


def test_only_some() -> None:
    """Fills are chosen by their numbers."""
    assert [fill.number for fill in filled("a tune of lines", only="2,5-6").fills] == [2, 5, 6]


def test_between_two_fills_the_tune_has_a_bar() -> None:
    """Where nobody says how many, the tune plays for a bar between two fills."""
    fills = filled("a tune of lines").fills
    assert len(fills) > 3
    assert all(b.room.onset - a.room.limit >= 1920 for a, b in pairwise(fills))


def test_no_room_is_said() -> None:
    """A tune that never rests or holds has no fills, and a remark says so."""
    progression = parse_chart("| Eb | Bb7 |")
    line = parse_phrase("G5q Bb5q G5q Eb5q | F5q Ab5q D5q Bb4q", progression.metre)
    found = fills_of(progression, line, (), FillRequest())
    assert found.fills == ()
    assert len(found.remarks) == 1
    assert "no room" in found.remarks[0]


def test_where_nothing_fits_is_said() -> None:
    """On the level of one note a chord nothing fits, and each place is named."""
    found = filled("a waltz", level=1)
    assert found.fills == ()
    assert found.remarks
    assert all("nothing fits" in remark for remark in found.remarks)


@pytest.mark.parametrize(
    "options",
    [
        {"gap": 0.5},
        {"gap": 17},
        {"gap": float("nan")},
        {"how_many": "0"},
        {"how_many": "101%"},
        {"how_many": "lots"},
        {"only": "99"},
        {"only": "0"},
        {"only": "3-1"},
        {"only": "x"},
        {"only": "1", "how_many": "1"},
    ],
)
def test_wrong_options_are_refused(options: dict[str, object]) -> None:
    """An option outside what is offered is an OptionError with a hint."""
    with pytest.raises(OptionError) as caught:
        filled("a waltz", **options)
    assert caught.value.hint


def test_the_same_seed_gives_the_same_fills() -> None:
    """The seed decides, nothing else."""
    name = "a waltz"
    texts = [
        [fill.text for fill in fills_of(*tune(name), (), FillRequest(seed=seed)).fills] for seed in (1, 1)
    ]
    assert texts[0] == texts[1]
