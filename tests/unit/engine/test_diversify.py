"""The choice: the best that keep their distance, no trait too often, and what is done where these are too few."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from numpy.typing import NDArray

from fillgen.engine.diversify import ALIKE, Limits, Traits, choose, sounding

SLICES = 20
NO_CAPS = Limits((1000, 1000, 1000, 1000, 1000))
WIDTHS = np.full(SLICES, 120, dtype=np.int64)


def no_traits(index: int) -> Traits:
    """Traits that no two candidates share."""
    return Traits(("rhythm", index), ("bar", index), index, index, index)


def pick(
    scores: list[float],
    sounds: NDArray[np.uint8],
    count: int,
    limits: Limits = NO_CAPS,
    traits: list[Traits] | None = None,
    widths: NDArray[np.int64] = WIDTHS,
) -> tuple[list[int], int]:
    """The choice among candidates with these scores and sounds."""
    return choose(
        np.array(scores), (traits or []).__getitem__ if traits else no_traits, sounds, widths, count, limits
    )


def apart(count: int) -> NDArray[np.uint8]:
    """Candidates that never sound the same at the same time."""
    return np.array([[40 + n] * SLICES for n in range(count)], dtype=np.uint8)


def random_sounds(count: int, seed: int, pitches: int = 3) -> NDArray[np.uint8]:
    """Candidates over a few pitches and rests."""
    sounds = np.random.default_rng(seed).integers(0, pitches + 1, (count, SLICES))
    sounds[:, 0] = np.maximum(sounds[:, 0], 1)
    return np.where(sounds, sounds + 59, 0).astype(np.uint8)


def share(one: NDArray[np.uint8], other: NDArray[np.uint8], widths: NDArray[np.int64] = WIDTHS) -> float:
    """The share of the shorter sounding time in which two candidates sound the same."""
    same = sum(w for a, b, w in zip(one, other, widths, strict=True) if a == b != 0)
    own, theirs = (sum(w for a, w in zip(line, widths, strict=True) if a) for line in (one, other))
    return same / min(own, theirs)


# Order and number


def test_best_come_first() -> None:
    """What is chosen is the best, and it is given best first."""
    assert pick([0.1, 0.9, 0.5, 0.7], apart(4), 3) == ([1, 3, 2], 3)


def test_equal_scores_keep_their_order() -> None:
    """Of candidates with the same score the first is taken first."""
    assert pick([0.5, 0.5, 0.5, 0.5], apart(4), 2) == ([0, 1], 2)


@pytest.mark.parametrize("count", [1, 5, 20, 21, 100])
def test_no_more_than_asked_and_no_more_than_there_are(count: int) -> None:
    """As many are chosen as are asked for, or all there are, each once."""
    chosen, _ = pick(np.linspace(0, 1, 20).tolist(), random_sounds(20, 1), count)
    assert len(chosen) == len(set(chosen)) == min(count, 20)


@pytest.mark.parametrize("seed", range(5))
def test_order_is_best_first_with_fallbacks_as_well(seed: int) -> None:
    """Scores never rise along the choice, whatever had to be added to fill it."""
    scores = np.random.default_rng(seed).random(40).tolist()
    chosen, kept = pick(scores, random_sounds(40, seed, 1), 30)
    assert kept < len(chosen) == 30
    given = [scores[index] for index in chosen]
    assert given == sorted(given, reverse=True)


# Distance


def test_near_copy_is_left_out() -> None:
    """A near-copy of a better candidate is passed over for a worse one that differs."""
    sounds = apart(3)
    sounds[1] = sounds[0]
    sounds[1, 0] = 90
    assert pick([0.9, 0.8, 0.1], sounds, 2) == ([0, 2], 2)


@pytest.mark.parametrize(("same", "taken"), [(10, True), (11, True), (12, False), (20, False)])
def test_where_the_line_is_drawn(same: int, taken: bool) -> None:
    """Two candidates may agree in 55 parts of 100 of their time and no more."""
    sounds = apart(3)
    sounds[1, :same] = sounds[0, :same]
    assert (same / SLICES <= ALIKE) is taken
    assert pick([0.9, 0.8, 0.1], sounds, 2)[0] == ([0, 1] if taken else [0, 2])


def test_distance_is_measured_by_the_shorter() -> None:
    """A short candidate that agrees with part of a long one all the time it sounds is its copy."""
    sounds = apart(3)
    sounds[1] = 0
    sounds[1, :3] = sounds[0, :3]
    assert pick([0.9, 0.8, 0.1], sounds, 2) == ([0, 2], 2)


def test_common_silence_is_no_likeness() -> None:
    """Two candidates that rest together are not alike for that."""
    sounds = apart(3)
    sounds[:2, 2:] = 0
    assert pick([0.9, 0.8, 0.1], sounds, 2) == ([0, 1], 2)


def test_long_slices_weigh_more() -> None:
    """Agreement counts by its time, not by its number of notes."""
    sounds = apart(3)
    sounds[1, 0] = sounds[0, 0]
    widths = WIDTHS.copy()
    assert pick([0.9, 0.8, 0.1], sounds, 2, widths=widths)[0] == [0, 1]
    widths[0] = 100 * 120
    assert pick([0.9, 0.8, 0.1], sounds, 2, widths=widths)[0] == [0, 2]


@pytest.mark.parametrize("seed", range(8))
def test_chosen_keep_their_distance(seed: int) -> None:
    """All that are said to be apart are apart, two by two, and none was passed over that could have stood."""
    widths = np.random.default_rng(seed).integers(80, 960, SLICES)
    sounds = random_sounds(60, seed)
    scores = np.random.default_rng(seed + 50).random(60).tolist()
    chosen, kept = pick(scores, sounds, 60, widths=widths)
    assert len(chosen) == 60
    order = sorted(range(60), key=lambda index: -scores[index])
    greedy: list[int] = []
    for index in order:
        if all(share(sounds[index], sounds[other], widths) <= ALIKE for other in greedy):
            greedy.append(index)
    assert kept == len(greedy)
    few, kept_of_few = pick(scores, sounds, kept, widths=widths)
    assert (few, kept_of_few) == (greedy, kept)


# Traits


@pytest.mark.parametrize("trait", range(5))
@pytest.mark.parametrize("cap", [1, 2, 3])
def test_no_trait_too_often(trait: int, cap: int) -> None:
    """No more of the chosen share a trait than its limit allows, where enough others are there."""
    shared: list[Traits] = []
    for index in range(10):
        values: list[object] = list(no_traits(index))
        values[trait] = "same" if index < 5 else ("other", index)
        shared.append(Traits(*values))  # type: ignore[arg-type]
    caps = [1000] * 5
    caps[trait] = cap
    chosen, kept = pick([1 - n / 10 for n in range(10)], apart(10), 5, Limits(tuple(caps)), shared)
    assert chosen == [*range(cap), *range(5, 10 - cap)]
    assert kept == 5


def test_traits_of_different_names_are_not_mixed() -> None:
    """A first pitch and a last pitch of the same number are different traits."""
    mixed = [Traits("a", "a", 1, 60, 67), Traits("b", "b", 2, 67, 60)]
    assert pick([0.9, 0.8], apart(2), 2, Limits((1, 1, 1, 1, 1)), mixed) == ([0, 1], 2)


# Fallbacks


def test_limits_give_way_before_distance() -> None:
    """Where the limits leave too few, others that keep their distance are taken before near-copies."""
    sounds = apart(4)
    sounds[1] = sounds[0]
    same = [Traits("same", index, index, index, index) for index in range(4)]
    assert pick([0.9, 0.8, 0.5, 0.4], sounds, 3, Limits((1, 9, 9, 9, 9)), same) == ([0, 2, 3], 3)


def test_limits_give_way_little_by_little() -> None:
    """Where the limits leave too few, a trait is shared somewhat more often first, and only then as often as there is."""
    shared = [Traits(("rhythm", n), ("bar", n), n, 60 if n < 20 else 61 + n % 2, n) for n in range(34)]
    limits = Limits((1000, 1000, 1000, 10, 1000))
    scores = [1 - n / 100 for n in range(34)]
    starts = [
        Counter(shared[n].start for n in pick(scores, apart(34), count, limits, shared)[0])
        for count in (24, 28, 32)
    ]
    assert [each[60] for each in starts] == [10, 14, 18]


def test_near_copies_fill_what_is_left() -> None:
    """Where too few keep their distance the best of the rest are added, and the answer says how many are apart."""
    sounds = apart(5)
    sounds[1] = sounds[2] = sounds[3] = sounds[0]
    assert pick([0.9, 0.6, 0.8, 0.7, 0.5], sounds, 4) == ([0, 2, 3, 4], 2)


def test_single_candidate() -> None:
    """One candidate is chosen, however many are asked for."""
    assert pick([0.0], apart(1), 50) == ([0], 1)


# Limits


def test_limits_of_fifty() -> None:
    """Among fifty there are at least 12 rhythms, 25 first bars and three shapes, starts and ends."""
    rhythms, bars, shapes, starts, ends = Limits.of(50, 6).caps
    assert -(-50 // rhythms) >= 12
    assert -(-50 // bars) >= 25
    assert -(-50 // shapes) >= 3
    assert -(-50 // starts) >= 5
    assert -(-50 // ends) >= 3


@pytest.mark.parametrize("count", [1, 2, 3, 10, 50, 1000])
@pytest.mark.parametrize("shapes", [1, 2, 6])
def test_limits_allow_something(count: int, shapes: int) -> None:
    """Every limit is one at least, and one shape asked for may be shared by all."""
    caps = Limits.of(count, shapes).caps
    assert min(caps) >= 1
    assert shapes > 2 or caps[2] >= count


# What is heard


def test_what_sounds_when() -> None:
    """In each slice the note that lasts there is heard, 0 before, between and after notes."""
    grid = np.array([0, 100, 200, 300, 400, 500], dtype=np.int64)
    pitches = np.array([[60, 62], [70, 72]], dtype=np.int16)
    heard = sounding([100, 400], [300, 500], pitches, grid)
    assert heard.tolist() == [[0, 60, 60, 0, 62, 0], [0, 70, 70, 0, 72, 0]]
