"""Charts as they come from every way in: the metre that a rhythm brings, and what is said of how a chart was read."""

from __future__ import annotations

from pathlib import Path

import pytest

import fillgen
from fillgen import OptionError, RulePack
from fillgen.app.charts import progression_of, reading_of
from fillgen.app.options import ChordOptions
from fillgen.chart.sequences import sequence
from fillgen.phrase.remark import RemarkKind
from fillgen.readers.confined import read_tune
from fillgen.tune import TuneRequest, pieces
from fillgen.writers.document import document

CHART = "| Ab | Fm7 | Bbm7 | Eb7 |"


@pytest.mark.parametrize(
    ("chart", "metre", "rhythm", "found"),
    [
        (CHART, None, "waltz", "3/4"),
        (CHART, None, "Jazz-Waltz", "3/4"),
        (CHART, None, "foxtrot", "4/4"),
        (CHART, None, "cha-cha", "4/4"),
        (CHART, None, "slow 6/8", "4/4"),
        (CHART, None, None, "4/4"),
        (CHART, "4/4", "waltz", "4/4"),
        (f"metre: 4/4\n{CHART}", None, "waltz", "4/4"),
        (f"metre: 6/8\n{CHART}", None, "waltz", "6/8"),
    ],
)
def test_a_rhythm_that_knows_one_metre_brings_it(
    chart: str, metre: str | None, rhythm: str | None, found: str
) -> None:
    """Where neither chart nor player names a metre, a rhythm that is played in one only brings it, and that is said."""
    progression = progression_of(ChordOptions(chart=chart, metre=metre), rhythm)
    assert progression.metre.name == found
    assert bool(progression.remarks) == (found == "3/4")
    assert all("3/4" in remark for remark in progression.remarks)


def test_a_rhythm_of_ones_own_brings_its_metre() -> None:
    """A rule pack's rhythm counts as the built-in ones do."""
    cells = {busy: ["q q q q q"] for busy in ("few", "some", "many")}
    own = {
        "name": "five",
        "says": "x",
        "swing": False,
        "tempo": 120,
        "tempo-range": [60, 180],
        "source": "test",
    }
    pack = RulePack({"rhythm": [{**own, "cells": {"5/4": cells}, "closes": {"5/4": cells}}]})
    assert progression_of(ChordOptions(chart=CHART), "five", pack).metre.name == "5/4"


def test_a_rhythm_brings_its_metre_to_a_sequence() -> None:
    """A stock sequence is played in the metre of the rhythm, or it is said which sequences can be."""
    assert sequence("backdoor turnaround").metre.name == "4/4"
    assert progression_of(ChordOptions(sequence="backdoor turnaround"), "waltz").metre.name == "3/4"
    with pytest.raises(OptionError, match="3/4"):
        progression_of(ChordOptions(sequence="chromatic turnaround"), "waltz")


def test_an_unknown_rhythm_is_refused() -> None:
    """A rhythm that does not exist brings no metre."""
    with pytest.raises(OptionError, match="'waltz'"):
        progression_of(ChordOptions(chart=CHART), "walz")


def test_ideas_say_how_their_chart_was_read() -> None:
    """What was left open in a chart is said with the ideas, under a kind of its own."""
    found = fillgen.ideas("Ab Fm7 Bbm7 Eb7", rhythm="waltz", count=1)
    said = [remark.text for remark in found.remarks if remark.kind == RemarkKind.CHART]
    assert [len(bar) for bar in found.progression.bars] == [1, 1, 1, 1]
    assert found.progression.metre.name == "3/4"
    assert len(said) == 2
    assert not [r for r in fillgen.ideas(CHART, count=1).remarks if r.kind == RemarkKind.CHART]


@pytest.mark.parametrize("sevenths", [False, True])
def test_a_phrase_is_lined_up_with_a_chart_without_bar_lines(sevenths: bool) -> None:
    """A phrase stands over such a chart too, in the metre that the rhythm brings; both are said once."""
    reading = reading_of(ChordOptions(chart="Ab Eb", sevenths=sevenths), "C5h. | G4h.", rhythm="waltz")
    assert reading.progression.metre.name == "3/4"
    assert len(reading.progression.bars) == 2
    assert len(reading.remarks) == 2


def test_sections_go_with_a_phrase_that_is_longer_than_its_chart() -> None:
    """Where a chart is played again, so are its sections; a bar for a pick-up stands before them."""
    chart = ChordOptions(chart="[A] | Ab | [B] Eb |")
    longer = reading_of(chart, "C5w | G4w | C5w").progression
    assert longer.sections == ((0, "A"), (1, "B"), (2, "A"))
    picked_up = reading_of(chart, "Eb5q | C5w | G4w").progression
    assert (picked_up.first, picked_up.sections) == (0, ((1, "A"), (2, "B")))
    assert [picked_up.section_of(bar) for bar in range(3)] == ["", "A", "B"]
    assert reading_of(chart, "C5w").progression.sections == ((0, "A"),)


def test_json_names_the_section_of_each_bar() -> None:
    """A bar of the JSON document has its section where there is one."""
    bars = document(fillgen.ideas("| Ab | [A] Fm7 | Bbm7 | [B] Eb7 |", count=1))["chart"]["bars"]
    assert [bar.get("section") for bar in bars] == [None, "A", "A", "B"]
    assert "section" not in bars[0]


# The note that the ideas lead to


@pytest.mark.costly
@pytest.mark.parametrize(
    ("low", "high", "lead"),
    [("D4", "A5", "C5"), ("C4", "E5", "C5"), ("C3", "C5", "C4"), ("F#4", "F#6", "C5")],
)
def test_a_note_to_lead_to_needs_no_octave(low: str, high: str, lead: str) -> None:
    """Without an octave the note nearest to the middle of the range is meant; the ideas are as if it had been named."""
    asked = {"low": low, "high": high, "count": 3, "seed": 2}
    found = fillgen.ideas(CHART, lead_to="C", **asked)  # type: ignore[arg-type]
    named = fillgen.ideas(CHART, lead_to=lead, **asked)  # type: ignore[arg-type]
    assert [idea.text for idea in found] == [idea.text for idea in named]
    assert [remark.text for remark in found.remarks if remark.kind == RemarkKind.LEAD and lead in remark.text]
    assert RemarkKind.LEAD not in {remark.kind for remark in named.remarks}


def test_a_phrase_leads_to_the_note_nearest_to_its_end() -> None:
    """Checked or varied, a phrase leads to the nearest note of that name, above its end or below."""
    phrase = "C5w | Ab4w | Bb4w | G4w"
    leads = {
        lead: fillgen.check(CHART, phrase, lead_to=lead, strict=True).right
        for lead in ("Ab", "Ab4", "Ab5", "C", "C5")
    }
    assert leads == {"Ab": True, "Ab4": True, "Ab5": False, "C": False, "C5": False}
    named, nearest = (
        fillgen.variants(CHART, phrase, lead_to=lead, keep=("1",), count=2) for lead in ("Ab4", "A♭")
    )
    assert [idea.text for idea in named] == [idea.text for idea in nearest]


@pytest.mark.parametrize("written", ["H", "A9b", "", "Cm", "c"])
def test_a_note_to_lead_to_that_is_none(written: str) -> None:
    """What is no note is refused, octave or not."""
    with pytest.raises(OptionError, match="lead to"):
        fillgen.ideas(CHART, lead_to=written, count=1)


def test_a_tune_keeps_the_sections_of_its_chords() -> None:
    """Chords that are given for a tune keep their sections and remarks between its intro and ending."""
    tune = read_tune(Path(__file__).parents[3] / "shared/tunes/garden-gate.musicxml")
    assert tune.bars == 4
    chords = "[A] Bb Eb [B] F7 Bb"
    (piece,) = pieces(TuneRequest(tune, intro=4, ending=4, quote=2, chords=chords, count=1))
    whole = piece.ideas.progression
    assert whole.sections == ((4, "A"), (6, "B"))
    assert len(whole.remarks) == 1
