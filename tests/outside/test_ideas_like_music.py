"""Ideas look like music: in what can be counted they lie among real tunes.

The tunes are those of `melodies.py`, read from the installed music21 package; published figures are named beside
their checks. The full table is that of `python -m tests.bench.likeness_to_music`.
"""

from __future__ import annotations

from collections import Counter

import pytest

from fillgen.chart.text import parse_chart
from fillgen.phrase.note import Note, Phrase
from fillgen.theory.metre import METRES
from tests.bench.likeness_to_music import (
    PUBLISHED_SHAPES,
    asked,
    band,
    counted,
    essen_lines,
    mean,
)
from tests.outside.likeness import (
    CHORD_TONES,
    FIGURES,
    SHAPES,
    Counts,
    Figure,
    chord_counts,
    counts,
    shape_of,
)
from tests.outside.rivals import sample

FIFTIES = 16

BY_NAME = {figure.name: figure for figure in FIGURES}


@pytest.fixture(scope="module")
def fifties() -> list[Counts]:
    """What is counted in 1,200 ideas over 24 charts, in all keys and most rhythms."""
    return [counted(number)[1] for number in range(FIFTIES)]


@pytest.fixture(scope="module")
def tunes() -> list[Counts]:
    """What is counted in a fixed sample of the tunes that were kept from the tuning of the score."""
    return [counts(tune.phrases, METRES[tune.metre].bar) for tune in sample(held_out=True)]


@pytest.mark.parametrize("figure", FIGURES, ids=lambda figure: figure.name)
def test_ideas_lie_among_tunes(figure: Figure, fifties: list[Counts], tunes: list[Counts]) -> None:
    """The mean of the fifties lies within the middle 80 % of real tunes."""
    low, high = band(figure, tunes)
    assert low <= mean(figure, fifties) <= high


def test_ideas_rock_no_more_than_tunes(fifties: list[Counts], tunes: list[Counts]) -> None:
    """There and back and there again is heard no oftener than in real tunes as a whole."""
    for name in ("phrases that rock (x y x y)", "notes that rock (x y x y)"):
        assert mean(BY_NAME[name], fifties) <= BY_NAME[name].of(sum(tunes, Counter()))


def test_small_intervals_fall_and_large_ones_rise(fifties: list[Counts]) -> None:
    """Most steps fall, most leaps rise (Vos and Troost 1989, from memory)."""
    assert mean(BY_NAME["steps that rise"], fifties) < 50 < mean(BY_NAME["leaps that rise"], fifties)


def test_steps_go_on_and_leaps_turn_back(fifties: list[Counts]) -> None:
    """Most steps go on, falling ones rather than rising ones; most leaps turn back.

    Step inertia and post-skip reversal: von Hippel and Huron (2000), von Hippel (2002), from memory.
    """
    up, down = (BY_NAME[f"a step {way} followed by a step: goes on {way}"] for way in ("up", "down"))
    assert 50 < mean(up, fifties) < mean(down, fifties)
    assert mean(BY_NAME["turns back after a leap, where it moves"], fifties) > 70


def test_chord_notes_by_place_in_the_bar(fifties: list[Counts]) -> None:
    """The heavier the place, the more chord notes, as in the Nottingham Music Database: 91, 84, 75 and 62 %.

    On strong beats our levels 3 and 4 have nothing else, by rule; the others lie within ten in a hundred of it.
    """
    whole = sum(fifties, Counter())
    first, strong, weak, off = (figure.of(whole) for figure in CHORD_TONES)
    assert first == strong == 100
    assert 100 > weak > off
    assert weak == pytest.approx(74.8, abs=10)
    assert off == pytest.approx(62.1, abs=10)


def test_the_charts_go_round() -> None:
    """The fifties are of all keys, both levels, all metres' usual rhythms, few, some and many notes, and many sequences."""
    requests = [asked(number) for number in range(FIFTIES)]
    assert len({request.progression.key.tonic.pitch_class for request in requests}) == 12
    assert {request.progression.key.mode for request in requests} == {"major", "minor"}
    assert {request.level for request in requests} == {3, 4}
    assert {request.busy for request in requests} == {"few", "some", "many"}
    assert len({request.progression.title for request in requests}) >= 12
    assert len({request.rhythm for request in requests}) >= 8
    assert all(len(request.progression.bars) == 4 for request in requests)


# How it is counted


def test_shapes_are_told_as_published() -> None:
    """On the lines of the European Essen songs the three-point method gives the figures found with another reader.

    Convex 38.66, descending 28.81, ascending 19.24, concave 9.77 %; Huron (1996): 38.6, 28.8, 19.4 and 9.7, from memory.
    """
    found = Counter(shape_of(line) for line in essen_lines())
    every = sum(found.values())
    assert 41_800 < every < 42_000
    for shape, published in zip(SHAPES, PUBLISHED_SHAPES, strict=True):
        assert 100 * found[shape] / every == pytest.approx(published, abs=0.03)


def _phrase(*pitches: int, length: int = 480) -> Phrase:
    return tuple(Note(length * n, length, midi) for n, midi in enumerate(pitches))


@pytest.mark.parametrize(
    ("name", "pitches", "value"),
    [
        ("repeated notes", (60, 60, 62, 65, 72), 25),
        ("steps (1-2 semitones)", (60, 60, 62, 65, 72), 25),
        ("skips (3-4)", (60, 60, 62, 65, 72), 25),
        ("leaps (5 and more)", (60, 60, 62, 65, 72), 25),
        ("turns back after a leap, where it moves", (60, 67, 65, 72, 72, 65, 60), 50),
        ("turns back after a skip, where it moves", (60, 64, 62, 65, 67), 50),
        ("turns back after a step, where it moves", (60, 62, 60, 59), 50),
        ("a step up followed by a step: goes on up", (60, 62, 64, 62, 69), 50),
        ("a step down followed by a step: goes on down", (64, 62, 60, 62), 50),
        ("steps that rise", (60, 62, 60, 59, 57), 25),
        ("leaps that rise", (60, 67, 60), 50),
        ("range of four bars", (60, 67, 59), 8),
        ("notes a bar", (60, 62, 64, 65, 67, 69), 3),
        ("bars whose rhythm was heard before", (60, 62, 64, 65, 67, 69, 71, 72), 50),
        ("phrases that rock (x y x y)", (60, 62, 60, 62), 100),
        ("phrases that rock (x y x y)", (60, 60, 60, 60), 0),
        ("notes that rock (x y x y)", (60, 62, 60, 62, 60), 40),
    ],
)
def test_figures_of_small_phrases(name: str, pitches: tuple[int, ...], value: float) -> None:
    """Each figure is what can be counted on one's fingers."""
    assert BY_NAME[name].of(counts([_phrase(*pitches)], 1920)) == pytest.approx(value)


def test_chord_notes_are_counted_by_place() -> None:
    """C over C on the downbeat, D on a weak beat, E on the third beat, F off the beat."""
    phrase = (Note(0, 480, 60), Note(480, 480, 62), Note(960, 240, 64), Note(1200, 240, 65))
    found = chord_counts([phrase], parse_chart("| C |", metre=METRES["4/4"]))
    assert [figure.of(found) for figure in CHORD_TONES] == [100, 100, 0, 0]
