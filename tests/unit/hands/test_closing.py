"""Closes and slowing down: what becomes of a phrase as it is written, in every form."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

import fillgen
from fillgen.app.contents import ideas_content
from fillgen.chart.text import parse_chart
from fillgen.hands.closing import closed, last_stroke, ritardando, slowing, slows_from
from fillgen.hands.playing import Playing
from fillgen.phrase.note import Note
from fillgen.phrase.text import parse_phrase
from fillgen.writers.sheet import render

CHART = parse_chart("| Ab | Db Eb7 | Ab |")
PHRASE = parse_phrase("Ab4q C5q Eb5h | F5q Ab5q G5q Bb5q | Ab5q Eb5q C5q rq", CHART.metre)


@pytest.mark.parametrize(("close", "length"), [("held", 960), ("button", 240), ("fading", 480), (None, 480)])
def test_a_close_changes_the_last_note_alone(close: str | None, length: int) -> None:
    found = closed(CHART, PHRASE, close)
    assert found[:-1] == PHRASE[:-1]
    assert found[-1] == replace(PHRASE[-1], length=length)
    assert closed(CHART, found, close) == found


def test_a_last_note_outside_the_last_chord_is_held_in_its_own() -> None:
    """Db stops in the bar before; over Ab it would clash, so it isn't held into that; Eb belongs to Ab and is."""
    before = (*PHRASE[:4], Note(2880, 480, 73))
    assert closed(CHART, before, "held")[-1].end == CHART.spans[-1].onset
    assert closed(CHART, (*PHRASE[:4], Note(2880, 480, 75)), "held")[-1].end == CHART.length


@pytest.mark.parametrize(("curvature", "middle"), [(2, 0.7906), (3, 0.8255)])
def test_the_curve_of_final_ritardandi(curvature: float, middle: float) -> None:
    """v(0.5) by the formula of Friberg and Sundberg (1999), J. Acoust. Soc. Am. 105(3), 1469-1484: the square root of 0.625
    for q = 2, the cube root of 0.5625 for q = 3."""
    assert ritardando(0, curvature=curvature) == 1
    assert ritardando(0.5, curvature=curvature) == pytest.approx(middle, abs=5e-5)
    assert ritardando(1, curvature=curvature) == pytest.approx(0.5)


def test_slowing_begins_over_the_last_moving_notes() -> None:
    """A last bar of one held chord is led up to over the bar before; a moving one from before its chord to its last note."""
    held = (*PHRASE[:-3], Note(3840, 1920, 80))
    assert (slows_from(CHART, held), last_stroke(CHART, held)) == (1920, 3840)
    assert (slows_from(CHART, PHRASE), last_stroke(CHART, PHRASE)) == (2880, 4800)
    assert dict(slowing(CHART, held))[2880] == pytest.approx(0.625**0.5)
    assert slowing(CHART, held)[-1] == (3840, pytest.approx(0.5))


def test_a_chart_of_one_bar_slows_down_within_it() -> None:
    chart = parse_chart("| Db |")
    assert slowing(chart, (Note(0, 480, 73), Note(960, 480, 77)))[0][0] == 120
    assert slowing(chart, (Note(0, 480, 73),)) == ()


@pytest.mark.parametrize("close", ["held", "button"])
def test_every_form_shows_the_close(close: str) -> None:
    """Text, JSON, MusicXML and MEI have the same last note, with its sign, and say where it slows down; the rest is as ever."""
    found = fillgen.ideas("| Ab | Db Eb7 | Ab |", count=1, seed=3)
    playing = Playing(close="held" if close == "held" else "button", slow_down=True)
    content = ideas_content(found, playing, {})
    assert content.json is not None
    assert content.sheet is not None
    notes = json.loads(content.json())["ideas"][0]["notes"]
    usual = json.loads(ideas_content(found, Playing(), {}).json())["ideas"][0]["notes"]  # type: ignore[misc]
    assert [n["duration"] for n in notes[:-1]] == [n["duration"] for n in usual[:-1]]
    assert notes[-1]["duration"] * 480 == closed(found.progression, found[0].phrase, close)[-1].length
    xml, mei = (render(content.sheet(), content.look, kind).decode() for kind in ("musicxml", "mei"))
    signs = {"held": ("<fermata", "<fermata"), "button": ("<staccato", 'artic="acc stacc"')}[close]
    assert (xml.count(signs[0]), mei.count(signs[1])) == (1, 1)
    assert (xml.count("rit."), mei.count("rit.")) == (1, 1)
