"""Strong beats, accents and swing against music21's metres and a published measurement.

Sources: the accent weights of music21 (`TimeSignature.getAccentWeight`); Friberg and Sundström (2002), Swing ratios
and ensemble timing in jazz performance, Music Perception 19(3), for the swing ratios 1:1, 2:1 and 3:1. Which beats
are strong is common practice.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest
from music21 import duration, meter

from fillgen.theory.metre import METRES, TICKS, Metre, is_triplet, metre, swung

QUARTER = 480
"""Ticks in a quarter note: the division that the MIDI files name."""
EIGHTH = QUARTER // 2

GROUPED = {"5/4": "3/4+2/4", "7/4": "4/4+3/4", "7/8": "2/8+2/8+3/8"}
"""How music21 is told the grouping of a metre that is not even: common practice."""

STRONG_BEATS = {
    "4/4": [1, 3],
    "2/2": [1, 2],
    "3/4": [1],
    "2/4": [1],
    "5/4": [1, 4],
    "7/4": [1, 5],
    "7/8": [1, 3, 5],
    "6/8": [1, 2],
    "9/8": [1, 2, 3],
    "12/8": [1, 2, 3, 4],
}
"""The strong beats of each metre, counted from 1; in 6/8, 9/8 and 12/8 a beat is a dotted quarter, in 7/8 an eighth."""

BEATS = {
    "4/4": QUARTER,
    "2/2": 2 * QUARTER,
    "3/4": QUARTER,
    "2/4": QUARTER,
    "5/4": QUARTER,
    "7/4": QUARTER,
    "7/8": EIGHTH,
    "6/8": 3 * EIGHTH,
    "9/8": 3 * EIGHTH,
    "12/8": 3 * EIGHTH,
}
"""Ticks of a beat."""


def weights(name: str) -> list[float]:
    """The accent weights of music21 on the eighth grid of a bar."""
    signature = meter.TimeSignature(GROUPED.get(name, name))
    eighths = round(signature.barDuration.quarterLength * 2)
    return [float(signature.getAccentWeight(place / 2)) for place in range(eighths)]


def swung_ratio(ratio: float) -> Fraction:
    """How the first swung eighth of a quarter compares with the second."""
    turn = swung(EIGHTH, ratio)
    return Fraction(turn, QUARTER - turn)


def test_all_metres_are_tested() -> None:
    """The tables of this page name the metres a chart can have, all of them."""
    assert set(METRES) == set(STRONG_BEATS) == set(BEATS)
    assert TICKS == QUARTER


@pytest.mark.parametrize("name", STRONG_BEATS)
def test_a_bar_is_as_long_as_its_time_signature(name: str) -> None:
    """A bar holds as many ticks as music21 gives the time signature quarter notes."""
    signature = meter.TimeSignature(name)
    ours = metre(name)
    assert ours.bar == signature.barDuration.quarterLength * QUARTER
    assert (ours.count, ours.unit) == (signature.numerator, signature.denominator)


@pytest.mark.parametrize("name", STRONG_BEATS)
def test_a_beat_is_that_of_the_time_signature(name: str) -> None:
    """A beat lasts as long as music21's: a quarter, a half in 2/2, a dotted quarter in eighth-note metres."""
    ours = metre(name)
    assert ours.beat == BEATS[name]
    assert ours.beats * ours.beat == ours.bar
    if name not in GROUPED:
        signature = meter.TimeSignature(name)
        assert ours.beats == signature.beatCount
        assert ours.beat == signature.beatDuration.quarterLength * QUARTER


@pytest.mark.parametrize("name", STRONG_BEATS)
def test_strong_beats(name: str) -> None:
    """The strong places of a bar are just the beats that a player counts as strong."""
    assert list(metre(name).strong) == [(beat - 1) * BEATS[name] for beat in STRONG_BEATS[name]]


@pytest.mark.parametrize("name", STRONG_BEATS)
def test_accents_are_those_of_music21(name: str) -> None:
    """The accents on the eighth grid are music21's weights."""
    ours = metre(name)
    assert [ours.accent(place * EIGHTH) for place in range(ours.bar // EIGHTH)] == weights(name)


@pytest.mark.parametrize("name", STRONG_BEATS)
def test_strong_beats_are_the_heaviest_of_music21(name: str) -> None:
    """In music21 the first beat is the heaviest, and each strong beat outweighs every place that is not one."""
    found = weights(name)
    strong = [found[tick // EIGHTH] for tick in metre(name).strong]
    others = [weight for place, weight in enumerate(found) if place * EIGHTH not in set(metre(name).strong)]
    assert found[0] == max(found) == 1.0
    assert min(strong) > max(others)


@pytest.mark.parametrize("name", STRONG_BEATS)
@pytest.mark.parametrize("bar", [1, 7])
def test_accents_repeat_in_every_bar(name: str, bar: int) -> None:
    """A place has the same accent in every bar."""
    ours = metre(name)
    for tick in range(0, ours.bar, QUARTER // 8):
        assert ours.accent(bar * ours.bar + tick) == ours.accent(tick)


@pytest.mark.parametrize("name", STRONG_BEATS)
def test_between_eighths_is_lightest(name: str) -> None:
    """A place between eighths is lighter than every eighth, as it is in music21."""
    ours = metre(name)
    signature = meter.TimeSignature(GROUPED.get(name, name))
    for place in range(ours.bar // EIGHTH):
        between = place * EIGHTH + EIGHTH // 2
        assert 0 < ours.accent(between) < min(weights(name))
        assert signature.getAccentWeight(place / 2 + 0.25, forcePositionMatch=True) < min(weights(name))


def syncopated_by_music21(ours: Metre, onset: int, length: int) -> bool:
    """Whether a note on the eighth grid is held across a place that music21 weighs heavier than its own."""
    found = weights(ours.name)
    own = found[onset // EIGHTH % len(found)]
    crossed = range(onset // EIGHTH + 1, (onset + length) // EIGHTH)
    return any(found[place % len(found)] > own for place in crossed)


@pytest.mark.parametrize("name", STRONG_BEATS)
def test_syncopation_is_told_by_the_weights(name: str) -> None:
    """A note is syncopated just where it is held across a place that music21 weighs heavier than its start."""
    ours = metre(name)
    told = {True: 0, False: 0}
    for onset in range(0, ours.bar, EIGHTH):
        for length in range(EIGHTH, ours.bar + 1, EIGHTH):
            verdict = syncopated_by_music21(ours, onset, length)
            assert ours.crosses(onset, length) == verdict, (onset, length)
            told[verdict] += 1
    assert min(told.values()) > 0


@pytest.mark.parametrize("name", STRONG_BEATS)
def test_dotted_sixteenths_are_syncopated_like_other_straight_notes(name: str) -> None:
    """Held across an eighth from inside the one before, a note is syncopated; music21 weighs its own place less."""
    ours = metre(name)
    signature = meter.TimeSignature(GROUPED.get(name, name))
    for eighth in range(1, ours.bar // EIGHTH):
        onset = eighth * EIGHTH - QUARTER // 8
        own = signature.getAccentWeight(onset / QUARTER, forcePositionMatch=True)
        assert own < weights(name)[eighth]
        assert ours.crosses(onset, QUARTER * 3 // 8)
        assert not ours.crosses(onset, QUARTER // 8)


def test_triplet_lengths_are_those_that_music21_writes_as_tuplets() -> None:
    """Of the lengths from 80 ticks up that have one head and no tie in music21, triplets are just its tuplets."""
    seen = {True: 0, False: 0}
    for ticks in range(80, 1921, 20):
        found = duration.Duration(Fraction(ticks, QUARTER))
        if (
            len(found.components) > 1
            or found.dots > 1
            or any(t.tupletMultiplier() != Fraction(2, 3) for t in found.tuplets)
        ):
            continue
        seen[bool(found.tuplets)] += 1
        assert is_triplet(ticks) == bool(found.tuplets), (ticks, found.fullName)
    assert min(seen.values()) >= 5


@pytest.mark.parametrize(("ratio", "tick"), [(1.0, 240), (2.0, 320), (3.0, 360), (3.5, 373)])
def test_swing_ratio_places_the_off_beat(ratio: float, tick: int) -> None:
    """At 1:1, 2:1, 3:1 and 3.5:1 the off-beat eighth falls on tick 240, 320, 360 and 373 of 480."""
    assert [swung(bar * QUARTER + EIGHTH, ratio) - bar * QUARTER for bar in range(4)] == [tick] * 4


@pytest.mark.parametrize("ratio", [1, 2, 3])
def test_swing_ratio_is_kept(ratio: int) -> None:
    """The first eighth of a quarter lasts the ratio times the second."""
    assert swung_ratio(ratio) == ratio


@pytest.mark.parametrize("ratio", [1.0, 1.5, 2.0, 3.0])
def test_swing_leaves_beats_and_triplets(ratio: float) -> None:
    """Beats stay where they are, and so do the triplet places 160 and 320 (and 80 and 400 between them)."""
    for quarter in range(8):
        for inside in (0, 80, 160, 320, 400):
            assert swung(quarter * QUARTER + inside, ratio) == quarter * QUARTER + inside


def test_swung_eighths_at_two_to_one_are_the_outer_triplets() -> None:
    """At 2:1 a swung off-beat sounds with the third note of a triplet, the "triple feel"."""
    assert swung(EIGHTH, 2.0) == swung(2 * QUARTER // 3, 2.0)


@pytest.mark.parametrize("ratio", [1.0, 2.0, 3.5])
def test_swing_keeps_the_order_of_the_straight_grid(ratio: float) -> None:
    """Places of the straight grid stay in order and apart when they swing."""
    played = [swung(tick, ratio) for tick in range(0, 4 * QUARTER + 1, QUARTER // 8)]
    assert all(before < after for before, after in pairwise(played))
    assert (played[0], played[-1]) == (0, 4 * QUARTER)
