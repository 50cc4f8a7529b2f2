"""`check --level auto` and `vary --as` name the same lowest level for any phrase over any chart."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st

from fillgen import (
    FillgenError,
    Note,
    OptionError,
    Phrase,
    PhraseError,
    Progression,
    Request,
    RulePack,
    parse_chart,
    parse_phrase,
)
from fillgen.engine.checked import CheckSettings
from fillgen.phrase.text import check_phrase
from fillgen.teaching.check import check
from fillgen.theory.metre import LENGTHS, METRES
from fillgen.vary import vary
from fillgen.vary.task import task_for
from fillgen.vary.variation import Variation
from tests.effort import examples

PACK = RulePack()
LEVELS = PACK.level_numbers
CHORDS = ("Bb", "Bbmaj7", "Gm7", "Ebmaj7", "F7", "F7sus4", "D7b9", "Cm7", "N.C.")
Case = tuple[Progression, Phrase]


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """A chart of up to three bars, one or two chords a bar, and a phrase of plain, dotted and triplet notes over it."""
    metre = METRES[draw(st.sampled_from(sorted(METRES)))]
    bars = draw(st.lists(st.lists(st.sampled_from(CHORDS), min_size=1, max_size=2), min_size=1, max_size=3))
    assume(any(chord != "N.C." for bar in bars for chord in bar))
    chart = parse_chart(" | ".join(_bar(bar, metre.beats) for bar in bars), key="Bb", metre=metre.name)
    lengths = draw(
        st.sampled_from((sorted(LENGTHS), ["h", "q", "e"], ["q", "q.", "e"], ["s.", "e", "q"], ["w", "h."]))
    )
    midi, at = draw(st.integers(60, 81)), 0
    notes: list[Note] = []
    while at < chart.length and len(notes) < 24:
        length = LENGTHS[draw(st.sampled_from(lengths))]
        if draw(st.integers(0, 7)):
            midi = min(88, max(57, midi + draw(st.sampled_from((-4, -3, -2, -1, 0, 1, 2, 3, 4, 7)))))
            notes.append(Note(at, min(length, chart.length - at), midi))
        at += length
    phrase = tuple(notes)
    try:
        check_phrase(chart, phrase)
    except PhraseError:
        assume(False)
    return chart, phrase


def _bar(chords: list[str], beats: int) -> str:
    return " ".join(
        chords[:1]
        if beats < 2
        else [chords[0], *chords[1:], *["/"] * (beats - 2)][: beats if len(chords) > 1 else 1]
    )


def written(chart: str, phrase: str) -> Case:
    progression = parse_chart(chart)
    return progression, parse_phrase(phrase, progression.metre)


def named_by_vary(request: Request, phrase: Phrase) -> list[int]:
    """The levels that `vary --as` refuses since the phrase is there already."""
    named = []
    for level in LEVELS:
        try:
            task_for(request, phrase, Variation(level_as=level))
        except OptionError as error:
            if "already" not in error.message:
                raise
            named.append(level)
    return named


@settings(max_examples=examples(150), deadline=None, suppress_health_check=list(HealthCheck))
@example(written("| C | G7 |", "E5s. F5s. G5s. F5s. E5q C5q re | D5h B4h"), None, None)
@example(written("| F | C7 |", "F4w | C4w"), None, None)
@example(written("| F | C7 |", "F4h A4h | C5w"), None, None)
@example(written("| F | C7 |", "A5h F5h | E5w"), None, None)
@example(written("| F | C7 |", "F4q G4q A4h | E5w"), None, None)
@example(written("| F | C7 |", "F4et G4et A4et F4h. | E4w"), None, None)
@example(written("| F | C7 |", "F4q G4q A4h | E5w"), 60, 84)
@example(written("| F | C7 |", "F#4w | C#5w"), None, None)
@given(cases(), st.none() | st.integers(55, 65), st.none() | st.integers(75, 90))
def test_check_and_vary_name_the_same_level(case: Case, low: int | None, high: int | None) -> None:
    """The one level that vary refuses is the one that check names; where check names none, vary refuses none."""
    chart, phrase = case
    report = check(chart, phrase, PACK.level(LEVELS[-1]), CheckSettings(low=low, high=high), pack=PACK)
    named = named_by_vary(Request(chart, low=low, high=high, pack=PACK), phrase)
    assert named == ([] if report.lowest is None else [report.lowest])


@pytest.mark.parametrize(
    ("phrase", "level"),
    [
        ("F4w | C4w", 1),
        ("F4h A4h | C5w", 2),
        ("A5h F5h | E5w", 3),
        ("F5s. A5s. F5s. A5s. F5h re | E5w", 4),
        ("F4et G4et A4et F4h. | E4w", 5),
        ("F#4w | C#5w", None),
    ],
)
def test_every_level_is_named(phrase: str, level: int | None) -> None:
    """There are phrases of every level, and of none: the property above is worth its name."""
    chart, notes = written("| F | C7 |", phrase)
    assert check(chart, notes, PACK.level(5), pack=PACK).lowest == level
    assert named_by_vary(Request(chart), notes) == ([] if level is None else [level])


@settings(max_examples=examples(30), deadline=None, suppress_health_check=list(HealthCheck))
@example(written("| C | G7 |", "E5s. F5s. G5s. F5s. E5q C5q re | D5h B4h"), 3)
@example(written("| F | C7 |", "rs. A4s F4s A4s. C5h re. | E5w"), 2)
@example(written("| F | C7 |", "rs. A4s F4s A4s. C5h re. | E5w"), 3)
@given(cases(), st.sampled_from(LEVELS))
def test_phrases_put_at_another_level_fit_it_and_can_be_written(case: Case, level: int) -> None:
    """Whatever the rhythm of a phrase, its easier and harder versions are ideas that read back, or there are none."""
    chart, phrase = case
    request = Request(chart, count=2)
    with suppress(FillgenError):
        for idea in vary(request, phrase, Variation(level_as=level)):
            assert parse_phrase(idea.text, chart.metre) == idea.phrase
            heights = [note.midi for note in (*phrase, *idea.phrase)]
            wide = CheckSettings(low=min(heights), high=max(heights), strict=True)
            report = check(chart, idea.phrase, PACK.level(level), wide)
            assert report.right
            assert not report.faults
