"""The idiom of a rhythm: read from its file, wrong ones refused, and kept by the ideas as shares."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

import fillgen
from fillgen import PackError, RulePack
from fillgen.phrase.note import Note
from fillgen.rules.idiom import LEANINGS, Idiom, read_idiom
from fillgen.rules.pack import BUSY
from fillgen.theory.metre import METRES

PACK = RulePack()
CHARTS = ("| Ebmaj7 | C7 | Fm7 | Bb7 |", "| A | F#m7 | Bm7 | E7 |", "| Gm | Cm6 | D7 | Gm |")
LATIN = ("bossa nova", "rumba", "cha-cha", "samba")


@cache
def notes(rhythm: str, level: int, metre: str = "4/4") -> list[tuple[Note, ...]]:
    """Phrases of a rhythm over some charts."""
    return [
        idea.phrase
        for chart in CHARTS
        for idea in fillgen.ideas(chart, metre=metre, rhythm=rhythm, level=level, count=40)
    ]


def syncopated(rhythm: str, level: int, metre: str = "4/4") -> float:
    """The share of notes held across a heavier place than their own."""
    every = [note for phrase in notes(rhythm, level, metre) for note in phrase]
    return sum(METRES[metre].crosses(note.onset, note.length) for note in every) / len(every)


def test_an_idiom_is_read() -> None:
    """Shares and leanings are taken as they are given; what isn't given stays at its default."""
    found = read_idiom(
        {"light-syncopation": 0.5, "pushes": 0, "leanings": {"sixth up": 1, "run": -0.5}}, "own"
    )
    assert found == Idiom(light=0.5, pushes=0.0, leanings={"sixth up": 1.0, "run": -0.5})
    assert (found.free, found.off_beat_closes) == (None, 0.0)


@pytest.mark.parametrize(
    ("row", "parts"),
    [
        ({"sincopation": 0.5}, ["'sincopation'", "'syncopation'"]),
        ({"syncopation": 1.5}, ["'syncopation'", "0 to 1"]),
        ({"syncopation": True}, ["'syncopation'", "0 to 1"]),
        ({"pushes": float("nan")}, ["'pushes'", "0 to 1"]),
        ({"leanings": ["run"]}, ["'leanings'", "table"]),
        ({"leanings": {"sixths": 1}}, ["'sixths'", "'sixth'"]),
        ({"leanings": {"run": 4}}, ["'run'", "-3 to 3"]),
        ({"source": 7}, ["'source'", "text"]),
    ],
)
def test_a_wrong_idiom_is_refused(row: dict[str, Any], parts: list[str]) -> None:
    """What isn't known or lies out of range is refused, with the place and the nearest word."""
    with pytest.raises(PackError) as caught:
        read_idiom(row, "own.toml: idiom")
    assert [part for part in ("own.toml", *parts) if part not in str(caught.value)] == []


@pytest.mark.parametrize("text", ["q. q. q", "q. q. q | h h | w", "q. q. q | h", 7])
def test_a_wrong_pattern_of_two_bars_is_refused(text: object) -> None:
    """A pattern is two bars that each fill their metre."""
    row = {
        "name": "own",
        "tempo": 100,
        "cells": {"4/4": {"some": ["h h"]}},
        "closes": {"4/4": {"some": ["w"]}},
        "pairs": {"4/4": {"some": [text]}},
    }
    with pytest.raises(PackError, match="pairs: 4/4"):
        RulePack({"rhythm": [row]}).rhythm("own")


@pytest.mark.parametrize("name", PACK.rhythm_names)
def test_every_rhythm_tells_its_idiom(name: str) -> None:
    """Each built-in rhythm says how syncopated it is and what it leans to, with a source; no two lean alike."""
    idiom = PACK.rhythm(name).idiom
    assert idiom.free is not None
    assert idiom.light <= idiom.free
    assert idiom.leanings
    assert idiom.source
    assert [other for other in PACK.rhythm_names if PACK.rhythm(other).idiom.leanings == idiom.leanings] == [
        name
    ]
    assert set(idiom.leanings) <= set(LEANINGS)


@pytest.mark.parametrize("name", LATIN)
def test_latin_rhythms_have_patterns_of_two_bars(name: str) -> None:
    """In each metre there are at least three for few, some and many notes, one of them without syncopation."""
    rhythm = PACK.rhythm(name)
    for metre in rhythm.metres:
        for busy in BUSY:
            pairs = rhythm.pairs[metre, busy]
            assert len(pairs) >= 3
            assert any(not (odd.syncopated or even.syncopated) for odd, even in pairs)
            assert all(
                cell in rhythm.cells[metre, busy] or cell.notes in notes_of(rhythm, metre, busy)
                for pair in pairs
                for cell in pair
            )


def notes_of(rhythm: Any, metre: str, busy: str) -> set[Any]:
    return {cell.notes for cell in rhythm.cells[metre, busy]}


@pytest.mark.parametrize(
    ("rhythm", "level", "least", "most"),
    [
        ("march", 3, 0.0, 0.0),
        pytest.param("foxtrot", 3, 0.0, 0.0, marks=pytest.mark.slow),
        ("swing", 3, 0.08, 0.25),
        pytest.param("bossa nova", 3, 0.08, 0.25, marks=pytest.mark.slow),
        pytest.param("rumba", 3, 0.08, 0.25, marks=pytest.mark.slow),
        ("march", 4, 0.0, 0.05),
        pytest.param("swing", 4, 0.15, 0.4, marks=pytest.mark.slow),
        ("rumba", 4, 0.15, 0.4),
        ("bossa nova", 4, 0.25, 0.5),
    ],
)
def test_rhythms_are_syncopated_as_they_are(rhythm: str, level: int, least: float, most: float) -> None:
    """The share of syncopated notes: hardly any in a march, many in a bossa nova, some at level 3 already."""
    assert least <= syncopated(rhythm, level) <= most


@pytest.mark.costly
@pytest.mark.parametrize("rhythm", ["swing", "bossa nova"])
@pytest.mark.parametrize("level", [3, 4, 5])
def test_some_rhythms_close_off_the_beat(rhythm: str, level: int) -> None:
    """At least three phrases in ten end with a note off the beat, and never all of them."""
    last = [phrase[-1].onset % 480 != 0 for phrase in notes(rhythm, level)]
    assert 0.3 <= sum(last) / len(last) <= 0.8


def test_an_ending_lands_on_the_beat_in_every_rhythm() -> None:
    """However a rhythm closes, an ending comes home with its last chord."""
    found = fillgen.ideas("| Fm7 | Bb7 | Ebmaj7 | Eb6 |", rhythm="bossa nova", purpose="ending", count=20)
    assert {idea.phrase[-1].onset for idea in found} == {3 * 1920}


@pytest.mark.costly
@pytest.mark.parametrize("rhythm", LATIN)
def test_odd_and_even_bars_differ_in_latin_rhythms(rhythm: str) -> None:
    """Over the eighths of a bar, how often a note begins there differs by .15 at least between odd and even bars."""
    found = fillgen.ideas("| Gm | Cm7 | F7 | Bb | Eb | Am7b5 | D7 | Gm |", rhythm=rhythm, level=4, count=40)
    begins = [[0.0] * 8 for _ in range(2)]
    for idea in found:
        for note in idea.phrase:
            bar, inside = divmod(note.onset, 1920)
            if bar % 4 != 3 and bar != 2 and inside % 240 == 0:
                begins[bar % 2][inside // 240] += 1
    odd, even = ([count / (40 * n) for count in side] for side, n in zip(begins, (3, 2), strict=True))
    assert sum(abs(one - other) for one, other in zip(odd, even, strict=True)) / 8 >= 0.15


def test_a_rhythm_of_ones_own_without_an_idiom_plays_all_its_cells() -> None:
    """A pack that says nothing of it is played as before: every cell as likely as another."""
    row = {
        "name": "own",
        "tempo": 100,
        "cells": {"4/4": {"some": ["e q e h", "q q h"]}},
        "closes": {"4/4": {"some": ["h h"]}},
    }
    pack = RulePack({"rhythm": [row]})
    assert pack.rhythm("own").idiom == Idiom()
    found = fillgen.ideas("| F | C7 | F | C7 |", rhythm="own", rules=pack, level=4)
    first = [[(n.onset, n.length) for n in idea.phrase if n.onset < 1920] for idea in found]
    assert any((240, 480) in bar for bar in first)
    assert any((480, 480) in bar for bar in first)
