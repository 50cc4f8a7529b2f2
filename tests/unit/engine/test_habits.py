"""The habits of melodies and the order of bars: how they are looked up, and what the learned tables say."""

from __future__ import annotations

import numpy as np
import pytest

from fillgen.engine.guide import Guide
from fillgen.engine.habits import (
    INTERVALS,
    NO_MOVE,
    WIDEST,
    Home,
    Order,
    habits,
    home_in,
    home_over,
    interval,
    letters,
    likelihood,
    odds,
    rows,
)
from fillgen.theory.chords import mask_of, read_chord
from fillgen.theory.keys import read_key
from fillgen.theory.metre import METRES

EB = Home(3, minor=False)
FOUR = METRES["4/4"]


def line(*pitches: int) -> np.ndarray:
    return np.array([pitches], dtype=np.int16)


# Tables


def test_rows_are_read_as_they_are_written() -> None:
    """A letter a value, in tenths; what lies outside is cut off."""
    values = np.array([[0.0, 1.2, -3.9], [4.5, -4.0, 0.1]])
    assert rows("\n".join(letters(row) for row in values)) == pytest.approx(values)
    assert rows(letters(np.array([99.0, -99.0]))) == pytest.approx(np.array([[4.5, -4.0]]))


@pytest.mark.parametrize("minor", [False, True])
def test_intervals_inside_the_scale_are_probabilities(minor: bool) -> None:
    """From a note of the scale the intervals within it sum up to nearly 1: tunes rarely leave it."""
    table = habits(minor)
    assert table.shape == (4, 4, 12, INTERVALS + 1, INTERVALS)
    scale = (0, 2, 3, 5, 7, 8, 9, 10, 11) if minor else (0, 2, 4, 5, 7, 9, 11)
    for degree in (0, 7):
        inside = [k for k in range(INTERVALS) if (degree + k - WIDEST) % 12 in scale]
        sums = np.exp(table[:, :, degree, NO_MOVE][:, :, inside]).sum(axis=-1)
        assert np.all((sums > 0.7) & (sums <= 1.0000001))


def test_notes_outside_the_scale_count_alike() -> None:
    """Of notes outside the scale the habits say nothing: whatever is before, the interval counts the same."""
    table = habits(False)
    sharp = table[:, :, 6]
    assert np.ptp(sharp) == 0
    assert table[0, 0, 7, NO_MOVE, WIDEST - 1] == sharp[0, 0, 0, 0]


def test_leading_note_rises_and_leaps_turn_back() -> None:
    """What any handbook says of melodies, the tables have learned: the seventh degree rises to the tonic most often, and
    after a leap up the line turns back more often than it goes on. Common practice.
    """
    table = np.exp(habits(False).mean(axis=(0, 1)))
    assert int(table[11, WIDEST + 2].argmax()) - WIDEST == 1
    after_a_fifth = table[7, WIDEST + 7]
    down, up = after_a_fifth[[7, 8, 10]], after_a_fifth[[14, 16, 17]]
    assert down.sum() > up.sum()


def test_intervals_beyond_an_octave_count_as_one() -> None:
    """Numbers run from an octave down to an octave up."""
    assert interval(np.array([-30, -12, 0, 12, 30])).tolist() == [0, 0, WIDEST, 2 * WIDEST, 2 * WIDEST]


# Likelihood


def test_likelihood_is_the_mean_of_the_windows() -> None:
    """Each interval is looked up by the one before, the degree, and the accents on both sides."""
    accents, homes = [0, 2, 1, 2], [EB] * 4
    found = likelihood(line(70, 67, 65, 63), accents, homes)
    table = habits(False)
    by_hand = [
        table[0, 2, 7, NO_MOVE, WIDEST - 3],
        table[2, 1, 4, WIDEST - 3, WIDEST - 2],
        table[1, 2, 2, WIDEST - 2, WIDEST - 2],
    ]
    assert found == pytest.approx([np.mean(by_hand)])


def test_homes_may_change_within_a_line() -> None:
    """Each interval is heard in the home of the note that it leaves, major or minor."""
    accents, homes = [0, 2, 1], [EB, Home(0, minor=True), EB]
    found = likelihood(line(67, 68, 67), accents, homes)
    by_hand = [habits(False)[0, 2, 4, NO_MOVE, WIDEST + 1], habits(True)[2, 1, 8, WIDEST + 1, WIDEST - 1]]
    assert found == pytest.approx([np.mean(by_hand)])


def test_guide_carries_the_habits() -> None:
    """The product of the factors of a line's windows is its likelihood, so that draws lean as the score hears."""
    pitches = [70, 67, 65, 63, 67]
    accents = [0, 2, 1, 2, 0]
    guide = Guide(habit=1.0)
    factors = []
    for index in range(len(pitches) - 1):
        inside, opening = guide.follows(60, 24, EB, (accents[index], accents[index + 1]))
        here, there = pitches[index] - 60, pitches[index + 1] - 60
        factors.append(inside[pitches[index - 1] - 60, here, there] if index else opening[here, there])
    assert np.log(factors).mean() == pytest.approx(likelihood(line(*pitches), accents, [EB] * 5)[0])


# Homes


@pytest.mark.parametrize(
    ("symbol", "home"),
    [
        ("Ebmaj7", EB),
        ("Bb7", EB),
        ("C7", Home(5, minor=True)),
        ("F7", Home(10, minor=False)),
        ("D7", Home(7, minor=True)),
        ("G7", Home(0, minor=True)),
        ("Eb7", Home(8, minor=False)),
        ("Ab7#11", EB),
    ],
)
def test_home_over_a_chord_outside_the_key(symbol: str, home: Home) -> None:
    """In Eb major secondary dominants lead to their keys, of which the nearest counts; what no key has stays at home."""
    assert home_over(read_chord(symbol).mask, read_key("Eb major")) == home


def test_a_blues_has_one_home() -> None:
    """The sevenths of a blues lead nowhere else."""
    assert home_over(read_chord("Eb7").mask, read_key("Bb blues")) == Home(10, minor=False)


def test_home_of_a_scale_without_tonic() -> None:
    """A church mode is heard as the major scale with its notes."""
    assert home_in(mask_of([2, 4, 5, 7, 9, 11, 0])) == Home(0, minor=False)
    assert home_in(1 << 5).minor is False


# The order of bars


def order(*bars: str, homes: Home = EB) -> Order:
    """An order of bars given by their notes' lengths in eighths, `r` for rests."""
    rhythm = []
    for number, bar in enumerate(bars):
        at = number * FOUR.bar
        for word in bar.split():
            length = int(word.removeprefix("r")) * 240
            if not word.startswith("r"):
                rhythm.append((at, length))
            at += length
    return Order(rhythm, FOUR, [homes] * len(rhythm))


def test_bars_alike() -> None:
    """Bars are alike in rhythm, in their line at any height, and in notes where half of the eighths sounds the same."""
    bars = order("4 4", "4 4", "2 2 4", "8")
    pitches = line(67, 65, 70, 68, 67, 67, 63, 63)
    pairs = [(0, 1), (0, 2), (1, 2), (2, 3), (0, 3)]
    rhythm, shape, notes = bars.likenesses(pitches, pairs)[:, 0]
    assert rhythm.tolist() == [True, False, False, False, False]
    assert shape.tolist() == [True, False, False, False, False]
    assert notes.tolist() == [False, True, False, True, False]


def test_ends_and_thickness() -> None:
    """A bar ends on a degree, shorter than a beat, as long or longer; an empty one ends on nothing."""
    bars = order("4 3 1", "4 4", "r8", "2 2 2 2")
    pitches = line(67, 65, 63, 70, 70, 63, 65, 67, 65)
    assert [bars.ends(pitches, bar)[0] for bar in range(4)] == [1, 1 + 7 * 3 + 2, 0, 1 + 2 * 3 + 1]
    assert [bars.thicker(bar) for bar in (1, 2, 3)] == [3, 2, 8]


def test_returns_four_bars_later() -> None:
    """A bar comes back not at all, in its rhythm, in its line, or in its notes."""
    one, bars = "2 2 4", ["2 2 4", "4 4", "4 4", "8"]
    eight = order(*bars, one, "4 4", "4 4", "8")
    first = [63, 65, 67, 70, 68, 70, 68, 67]
    for notes, how in (([63, 65, 67], 3), ([68, 70, 72], 2), ([72, 70, 68], 1)):
        assert eight.returns(line(*first, *notes, *first[3:]), [(0, 4)]).tolist() == [[how]]
    other = order(*bars, "4 2 2", "4 4", "4 4", "8")
    assert other.returns(line(*first, 72, 70, 68, *first[3:]), [(0, 4)]).tolist() == [[0]]


def test_a_return_four_bars_later_is_worth_something() -> None:
    """The same bars, the second half like the first or a new beginning: the return is likelier in a tune."""
    bars = ["2 2 2 2", "4 4", "2 2 2 2", "4 r4"]
    eight = order(*bars, *bars)
    half = [70, 68, 67, 65, 67, 63, 65, 67, 68, 70, 65, 63]
    again = odds(eight, line(*half, *half))
    other = odds(eight, line(*half, 58, 65, 58, 67, 55, 62, 70, 56, 67, 55, 60, 63))
    assert again > other


def test_odds_of_lines_do_not_touch_one_another() -> None:
    """A line has the same odds alone as among others."""
    bars = order("2 2 4", "4 4", "2 2 4", "8")
    lines = np.array(
        [[63, 65, 67, 70, 68, 63, 65, 67, 63], [72, 63, 67, 72, 60, 63, 70, 67, 62]], dtype=np.int16
    )
    together = odds(bars, lines)
    assert [odds(bars, lines[[k]])[0] for k in (0, 1)] == pytest.approx(together.tolist())
