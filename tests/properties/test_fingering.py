"""The best fingerings against plain enumeration by a second reading of the rules, and what every fingering keeps."""

from __future__ import annotations

import random
from functools import cache
from itertools import groupby, pairwise, product

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fillgen.hands import fingering
from fillgen.hands.fingering import (
    JUMP_POINTS,
    best,
    best_of_many,
    beyond,
    costs,
    difficulty,
    jumps,
    ranked,
    total,
)
from fillgen.hands.reach import SIZES, block_fits, reach
from tests.effort import EFFORT

CASES = 300
BLACK = {1, 3, 6, 8, 10}

Keys = tuple[int, ...]

melodies = st.lists(st.integers(48, 84), max_size=14).map(tuple)
near = st.lists(st.integers(-7, 7), max_size=13).map(
    lambda rises: tuple(66 + sum(rises[:count]) % 30 for count in range(len(rises) + 1))
)
sizes = st.sampled_from(SIZES)


# A second reading of the rules, note by note


def outside(opened: int, span: tuple[int, int]) -> int:
    return max(0, span[0] - opened, opened - span[1])


def is_black(key: int) -> bool:
    return key % 12 in BLACK


def is_jump(size: str, key: int, then: int, one: int, two: int) -> bool:
    """Whether no stretch of the hand brings two fingers to two keys."""
    if one == two:
        return key != then
    low, high = sorted(((one, key), (two, then)))
    return outside(high[1] - low[1], reach(size).between(low[0], high[0]).practical) > 0


def pair_points(size: str, key: int, then: int, one: int, two: int) -> int:
    """What two notes in a row cost, one rule after the other."""
    (low, low_key), (high, high_key) = sorted(((one, key), (two, then)))
    opened, weight = high_key - low_key, 1 if low == 1 else 2
    stretch = reach(size).between(low, high)
    points = 2 * outside(opened, stretch.comfortable) + weight * outside(opened, stretch.relaxed)
    points += (one, two) == (3, 4)
    points += (low, high) == (3, 4) and not is_black(low_key) and is_black(high_key)
    for finger, own, other in ((one, key, then), (two, then, key)):
        points += 2 * (finger in (1, 5) and is_black(own) and not is_black(other))
    (below, below_finger), (above, above_finger) = sorted(((key, one), (then, two)))
    if above_finger == 1 != below_finger:
        points += 1 if is_black(below) == is_black(above) else 3 * is_black(above)
    return points


def triple_points(size: str, keys: Keys, used: Keys) -> int:
    """What three notes in a row cost."""
    (first, middle, third), (one, two, three) = keys, used
    points = int({one, two, three} == {3, 4, 5})
    if one == three:
        over, beyond_practical = abs(third - first), third != first
    else:
        stretch = reach(size).between(one, three)
        low, high = sorted(((one, first), (three, third)))
        over = outside(high[1] - low[1], stretch.comfortable)
        beyond_practical = outside(high[1] - low[1], stretch.practical) > 0
    if over:
        in_full = two == 1 and first != third and min(first, third) < middle < max(first, third)
        points += over + (2 if in_full and beyond_practical else 1)
    return points


def plain_points(size: str, keys: Keys, used: Keys) -> tuple[int, int]:
    """Jumps and points of a melody without repeated keys."""
    points = sum(
        (finger >= 4) + (finger == 1 and is_black(key)) for key, finger in zip(keys, used, strict=True)
    )
    steps = list(zip(pairwise(keys), pairwise(used), strict=True))
    leaps = [is_jump(size, *two, *pair) for two, pair in steps]
    points += sum(
        pair_points(size, *two, *pair) for (two, pair), leap in zip(steps, leaps, strict=True) if not leap
    )
    for index in range(len(keys) - 2):
        if not leaps[index] and not leaps[index + 1]:
            points += triple_points(size, keys[index : index + 3], used[index : index + 3])
    return sum(leaps), points


@cache
def enumerated(size: str, keys: Keys) -> list[tuple[int, int, Keys]]:
    """All fingerings of a melody without repeated keys that have the fewest jumps, by points and then by fingers."""
    ways: list[Keys] = [()]
    for index in range(len(keys)):
        ways = [
            (*way, finger)
            for way in ways
            for finger in range(1, 6)
            if index == 0 or reaches(size, keys, way, finger)
        ]
    if not ways:
        ways = list(product(range(1, 6), repeat=len(keys)))
    told = sorted((*plain_points(size, keys, way), way) for way in ways)
    return [each for each in told if each[0] == told[0][0]]


def reaches(size: str, keys: Keys, way: Keys, finger: int) -> bool:
    index = len(way)
    return not is_jump(size, keys[index - 1], keys[index], way[-1], finger)


@cache
def random_case(number: int) -> tuple[str, Keys]:
    """A hand and a melody of one to seven notes, some of them with repeated keys, some with leaps past any stretch."""
    dice = random.Random(number)
    farthest = dice.choice([4, 7, 12, 12, 19])
    keys = [dice.randint(55, 75)]
    for _ in range(dice.randint(0, 6 if farthest < 19 else 3)):
        keys.append(keys[-1] + dice.randint(-farthest, farthest))
    return dice.choice(SIZES), tuple(keys)


# Against enumeration


def test_ranked_is_what_enumeration_finds() -> None:
    """The best forty of a random melody are the first forty of all its fingerings: fingers, points and jumps."""
    for number in range(CASES):
        size, melody = random_case(number)
        keys = tuple(key for key, _ in groupby(melody))
        spread = [index for index, (_, struck) in enumerate(groupby(melody)) for _ in struck]
        found = ranked(melody, reach(size), 40)
        assert [(len(each.jumps), each.total, each.fingers) for each in found] == [
            (leaps, points, tuple(way[index] for index in spread))
            for leaps, points, way in enumerated(size, keys)[:40]
        ], number
        assert best(melody, reach(size)) == found[0], number


def test_random_melodies_are_of_every_kind() -> None:
    """Among the random melodies are jumps, repeated keys, single notes, every hand and every length."""
    cases = [random_case(number) for number in range(CASES)]
    assert {size for size, _ in cases} == {*SIZES}
    assert {len(melody) for _, melody in cases} == set(range(1, 8))
    assert sum(bool(best(melody, reach(size)).jumps) for size, melody in cases) >= 10
    assert sum(any(one == two for one, two in pairwise(melody)) for _, melody in cases) >= 10


def test_fixed_ends_are_what_enumeration_finds() -> None:
    """With the ends fixed the best are the first of those that enumeration has with these ends."""
    for number in range(0, CASES, 3):
        size, melody = random_case(number)
        keys = tuple(key for key, _ in groupby(melody))
        every = enumerated(size, keys)
        _, _, way = random.Random(number).choice(every)
        fixed = [each for each in every if each[2][0] == way[0] and each[2][-1] == way[-1]]
        found = ranked(keys, reach(size), 20, first=way[0], last=way[-1])
        assert [(each.total, each.fingers) for each in found] == [
            (points, used) for _, points, used in fixed[:20]
        ], number


@settings(max_examples=150 * EFFORT, deadline=None)
@given(size=sizes, data=st.data())
def test_costs_are_those_of_the_second_reading(size: str, data: st.DataObject) -> None:
    """Any fingers on any melody cost the same in both readings, playable or not."""
    melody = tuple(key for key, _ in groupby(data.draw(melodies | near)))
    used = tuple(data.draw(st.lists(st.integers(1, 5), min_size=len(melody), max_size=len(melody))))
    hand = reach(size)
    assert (len(jumps(melody, used, hand)), total(melody, used, hand)) == plain_points(size, melody, used)
    assert sum(costs(melody, used, hand).values()) == total(melody, used, hand)


# What every fingering keeps


@settings(max_examples=100 * EFFORT, deadline=None)
@given(melody=melodies | near, size=sizes)
def test_best_tells_its_own_points(melody: Keys, size: str) -> None:
    """A found fingering has a finger for each note, its points and jumps are those of its fingers, fingers stay."""
    found, hand = best(melody, reach(size)), reach(size)
    assert len(found.fingers) == len(melody)
    assert found.total == total(melody, found.fingers, hand)
    assert found.jumps == jumps(melody, found.fingers, hand)
    for (key, then), (one, two) in zip(pairwise(melody), pairwise(found.fingers), strict=True):
        assert key != then or one == two


@settings(max_examples=100 * EFFORT, deadline=None)
@given(melody=melodies | near, size=sizes, octaves=st.sampled_from([-3, -1, 1, 2]))
def test_octaves_change_nothing(melody: Keys, size: str, octaves: int) -> None:
    """A melody an octave away has the same fingerings, points and jumps."""
    moved = tuple(key + 12 * octaves for key in melody)
    assert ranked(moved, reach(size), 5) == ranked(melody, reach(size), 5)


@settings(max_examples=100 * EFFORT, deadline=None)
@given(size=sizes, data=st.data())
def test_backwards_only_three_to_four_differs(size: str, data: st.DataObject) -> None:
    """Descending mirrors ascending: a melody backwards costs the same by every rule but the one that has a direction."""
    melody = data.draw(melodies | near)
    used = tuple(data.draw(st.lists(st.integers(1, 5), min_size=len(melody), max_size=len(melody))))
    there, back = costs(melody, used, reach(size)), costs(melody[::-1], used[::-1], reach(size))
    del there["three to four"], back["three to four"]
    assert there == back


@settings(max_examples=100 * EFFORT, deadline=None)
@given(melody=melodies | near, gap=st.floats(0.05, 0.9))
def test_a_smaller_hand_never_has_it_easier(melody: Keys, gap: float) -> None:
    """Jumps first, then points, and difficulty: none falls from a large hand to a medium one to a small one."""
    seconds = [gap * index for index in range(len(melody))]
    hands = [reach(size) for size in SIZES]
    found = [best(melody, hand) for hand in hands]
    ranks = [(len(each.jumps), each.total) for each in found]
    assert ranks == sorted(ranks, reverse=True)
    hard = [difficulty(melody, seconds, hand) for hand in hands]
    assert hard == sorted(hard, reverse=True)
    late = [len(beyond(melody, seconds, hand)) for hand in hands]
    assert late == sorted(late, reverse=True)
    fits = [block_fits(melody, hand) for hand in hands]
    assert fits == sorted(fits)


@settings(max_examples=100 * EFFORT, deadline=None)
@given(melody=melodies | near, size=sizes, gap=st.floats(0.05, 0.4), faster=st.floats(1.1, 3))
def test_faster_is_harder(melody: Keys, size: str, gap: float, faster: float) -> None:
    """Difficulty lies from 0 to below 1, and grows with tempo wherever there are points at all."""
    slow, quick = (
        difficulty(melody, [each * index for index in range(len(melody))], reach(size))
        for each in (gap, gap / faster)
    )
    assert 0 <= slow <= quick < 1
    assert (slow < quick) == (slow > 0)


def test_a_jump_costs_more_than_any_stretch_that_avoids_it() -> None:
    """The price of a jump is above all that a stretch of a wider hand can cost with the notes around it.

    That is why a smaller hand never has it easier.
    """
    fewer, more = reach("small"), reach("large")
    tables = fingering._tables(more, 0, 24)
    worst = 0
    for rise in range(-16, 17):
        won = fingering._reached(more, np.asarray(rise)) & ~fingering._reached(fewer, np.asarray(rise))
        here, turns = rise + tables.far, slice(tables.far - 16, tables.far + 17)
        pair = (tables.moves[here] * won).max()
        before = (tables.turns[turns, here] * won).max()
        after = (tables.turns[here, turns] * won[:, :, None]).max()
        worst = max(worst, int(pair + before + after))
    assert 40 < worst <= JUMP_POINTS


@settings(max_examples=60 * EFFORT, deadline=None)
@given(st.lists(st.one_of(melodies, near), max_size=8), sizes)
def test_fingers_of_many_are_those_of_each(phrases: list[Keys], size: str) -> None:
    """Worked out together, the best fingers of melodies are what they are one by one."""
    assert best_of_many(phrases, reach(size)) == [best(keys, reach(size)).fingers for keys in phrases]
