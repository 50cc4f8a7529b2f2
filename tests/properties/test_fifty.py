"""The fifty that differ, measured from the notes alone."""

from __future__ import annotations

from collections import Counter
from itertools import combinations

import pytest

import fillgen
from fillgen.phrase.idea import Ideas
from fillgen.phrase.note import Phrase
from fillgen.phrase.remark import RemarkKind

_CHARTS = (
    ("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", "4/4", "foxtrot"),
    ("| F | Dm7 | Gm7 | C7 |", "4/4", "bossa nova"),
    ("| Am | Dm7 | Bm7b5 | E7 |", "4/4", "rumba"),
    ("| G | Em7 | Am7 | D7 |", "3/4", None),
    ("| D6 | B7 | Em7 | A7 |", "6/8", None),
    ("| Cmaj7 A7 | Dm7 G7 | Em7 A7 | Dm7 G7 |", "4/4", "swing"),
    ("| Bb | Gm | Cm7 | F7 |", "2/4", None),
    ("| Ab | Fm7 | Bbm7 | Eb7 |", "12/8", None),
)


def sounded(phrase: Phrase) -> dict[int, int]:
    """The pitch that sounds in each slice of 40 ticks."""
    return {tick: note.midi for note in phrase for tick in range(note.onset, note.end, 40)}


def overlap(one: dict[int, int], other: dict[int, int]) -> float:
    """The share of sounding time, of the phrase that sounds less, in which both sound the same pitch."""
    same = sum(other.get(tick) == midi for tick, midi in one.items())
    return same / min(len(one), len(other))


def ask(chart: str, metre: str, rhythm: str | None, seed: int) -> Ideas:
    return fillgen.ideas(chart, metre=metre, rhythm=rhythm, seed=seed)


@pytest.mark.costly
@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize(("chart", "metre", "rhythm"), _CHARTS)
def test_fifty_differ(chart: str, metre: str, rhythm: str | None, seed: int) -> None:
    """Fifty ideas sound apart, open differently, move in many rhythms and shapes, start and end on several notes."""
    found = ask(chart, metre, rhythm, seed)
    assert len(found) == 50
    assert not found.remarks
    lines = [sounded(idea.phrase) for idea in found]
    assert max(overlap(a, b) for a, b in combinations(lines, 2)) <= 0.55
    bar = found.progression.metre.bar
    first_bars = {tuple(note for note in idea.phrase if note.onset < bar) for idea in found}
    rhythms = {tuple((note.onset, note.length) for note in idea.phrase) for idea in found}
    starts = Counter(idea.phrase[0].midi for idea in found)
    ends = Counter(idea.phrase[-1].midi for idea in found)
    assert len(first_bars) >= 25
    assert len(rhythms) >= 12
    assert len({idea.shape for idea in found}) >= 3
    assert len(starts) >= 5
    assert max(starts.values()) <= 15
    assert len(ends) >= 3
    assert max(ends.values()) <= 25


def test_best_first_with_an_explained_score() -> None:
    """Ideas come best first, and each score is the weighted mean of its terms."""
    found = ask(*_CHARTS[0], seed=3)
    weights = found.weights
    assert weights == {name: each for name, each in fillgen.RulePack().weights.items() if name != "ease"}
    assert [idea.rank for idea in found] == list(range(1, 51))
    assert [idea.score for idea in found] == sorted((idea.score for idea in found), reverse=True)
    for idea in found:
        mean = sum(weights[name] * value for name, value in idea.terms.items()) / sum(weights.values())
        assert idea.score == pytest.approx(mean, abs=1e-3)


def test_other_seeds_give_other_ideas() -> None:
    """The same seed gives the same ideas, another seed mostly others."""
    first, again, other = (ask(*_CHARTS[1], seed=seed) for seed in (5, 5, 6))
    assert [idea.text for idea in first] == [idea.text for idea in again]
    assert len({idea.text for idea in first} & {idea.text for idea in other}) <= 5


@pytest.mark.parametrize("shape", list(fillgen.RulePack().shapes))
def test_a_shape_asked_for_is_given(shape: str) -> None:
    """Where one shape is asked for, the ideas follow it."""
    found = fillgen.ideas(_CHARTS[0][0], shape=shape, count=20)
    assert sum(idea.shape == shape for idea in found) >= 16
    assert min(idea.terms["shape"] for idea in found) > 0.5


def test_the_last_note_leads_to_the_tune() -> None:
    """With the tune's first note given, the last note lies within a third of it."""
    for lead in ("C5", "G4", "F5"):
        midi = fillgen.read_pitch(lead)
        found = fillgen.ideas(
            "| Eb | Gm | Ab | Bb7 |", lead_to=lead, ends_on=["root", "third", "fifth"], count=20
        )
        assert all(abs(idea.phrase[-1].midi - midi) <= 4 for idea in found)


@pytest.mark.parametrize(("busy", "low", "high"), [("few", 4, 12), ("some", 9, 16), ("many", 16, 30)])
def test_busy_is_how_many_notes(busy: str, low: int, high: int) -> None:
    """Few, some and many notes lie in rising bands."""
    found = fillgen.ideas(_CHARTS[0][0], busy=busy, count=20)
    assert all(low <= len(idea.notes) <= high for idea in found)


def test_all_are_given_where_the_rules_allow_few() -> None:
    """A space smaller than what is asked for is given whole, with a sentence saying so."""
    found = fillgen.ideas("| C | G7 |", level=1, low="C4", high="C5")
    assert len(found) == found.phrases < 50
    assert found.remarks[0].kind == RemarkKind.ALL_GIVEN


def test_thousand_ideas_are_a_thousand() -> None:
    """A thousand ideas can be had, no two of them equal."""
    found = fillgen.ideas(_CHARTS[0][0], count=1000)
    assert len({idea.text for idea in found}) == 1000
