"""The best fingerings against plain enumeration by a second reading of the rules, and what every fingering keeps."""

from __future__ import annotations

import random
from functools import cache
from itertools import groupby, pairwise, product

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fillgen.hands import fingering
from fillgen.hands.fingering import JUMP_POINTS, best, best_of_many, beyond, difficulty
from fillgen.hands.reach import SIZES, reach
from tests.effort import examples, thinned
from tests.fingerings import costs, jumps, ranked, total

CASES = examples(1200)
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
    ranks = sorted((*plain_points(size, keys, way), way) for way in ways)
    return [each for each in ranks if each[0] == ranks[0][0]]


def reaches(size: str, keys: Keys, way: Keys, finger: int) -> bool:
    index = len(way)
    return not is_jump(size, keys[index - 1], keys[index], way[-1], finger)


def plain_best(size: str, melody: Keys) -> Keys:
    """The fingers of a melody with the fewest jumps, then points, then the lower first finger, two notes at a time.

    Of all beginnings that end with the same two fingers only the best can lead to the best.
    """
    keys = tuple(key for key, _ in groupby(melody))
    if not keys:
        return ()
    heads = [(finger,) for finger in range(1, 6)]
    for index in range(1, len(keys)):
        longer = [(*head, finger) for head in heads for finger in range(1, 6)]
        ranks = [(*plain_points(size, keys[: index + 1], way), way) for way in longer]
        kept: dict[Keys, tuple[int, int, Keys]] = {}
        for rank in sorted(ranks):
            kept.setdefault(rank[2][-2:], rank)
        heads = [way for _, _, way in kept.values()]
    *_, way = min((*plain_points(size, keys, way), way) for way in heads)
    return tuple(finger for finger, (_, same) in zip(way, groupby(melody), strict=True) for _ in same)


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


def test_best_is_what_enumeration_finds() -> None:
    """The fingers of a random melody are the first of all its fingerings, and those of the slow reference."""
    for number in thinned(2, range(CASES)):
        size, melody = random_case(number)
        spread = [index for index, (_, struck) in enumerate(groupby(melody)) for _ in struck]
        _, _, way = enumerated(size, tuple(key for key, _ in groupby(melody)))[0]
        wanted = tuple(way[index] for index in spread)
        assert best(melody, reach(size)) == plain_best(size, melody) == wanted, number


def test_all_fingerings_are_what_the_second_reading_finds() -> None:
    """All fingerings with the fewest jumps, their points and their order are the same in both readings."""
    for number in range(0, CASES, 3):
        size, melody = random_case(number)
        keys = tuple(key for key, _ in groupby(melody))
        found = ranked(keys, reach(size))
        assert found == [(points, way) for _, points, way in enumerated(size, keys)], number


def test_random_melodies_are_of_every_kind() -> None:
    """Among the random melodies are jumps, repeated keys, single notes, every hand and every length."""
    cases = [random_case(number) for number in range(CASES)]
    assert {size for size, _ in cases} == {*SIZES}
    assert {len(melody) for _, melody in cases} == set(range(1, 8))
    assert sum(bool(jumps(melody, best(melody, reach(size)), reach(size))) for size, melody in cases) >= 10
    assert sum(any(one == two for one, two in pairwise(melody)) for _, melody in cases) >= 10


@settings(max_examples=examples(150), deadline=None)
@given(size=sizes, data=st.data())
def test_costs_are_those_of_the_second_reading(size: str, data: st.DataObject) -> None:
    """Any fingers on any melody cost the same in both readings, playable or not."""
    melody = tuple(key for key, _ in groupby(data.draw(melodies | near)))
    used = tuple(data.draw(st.lists(st.integers(1, 5), min_size=len(melody), max_size=len(melody))))
    hand = reach(size)
    assert (len(jumps(melody, used, hand)), total(melody, used, hand)) == plain_points(size, melody, used)
    assert sum(costs(melody, used, hand).values()) == total(melody, used, hand)


# What every fingering keeps


@settings(max_examples=examples(100), deadline=None)
@given(melody=melodies | near, size=sizes)
def test_a_finger_for_each_note(melody: Keys, size: str) -> None:
    """Each note has a finger, and a key struck again keeps it."""
    found = best(melody, reach(size))
    assert len(found) == len(melody)
    for (key, then), (one, two) in zip(pairwise(melody), pairwise(found), strict=True):
        assert key != then or one == two


@settings(max_examples=examples(100), deadline=None)
@given(melody=melodies | near, size=sizes, octaves=st.sampled_from([-3, -1, 1, 2]))
def test_octaves_change_nothing(melody: Keys, size: str, octaves: int) -> None:
    """A melody an octave away has the same fingers, points and jumps."""
    moved, hand = tuple(key + 12 * octaves for key in melody), reach(size)
    found = best(melody, hand)
    assert best(moved, hand) == found
    assert costs(moved, found, hand) == costs(melody, found, hand)
    assert jumps(moved, found, hand) == jumps(melody, found, hand)


@settings(max_examples=examples(100), deadline=None)
@given(size=sizes, data=st.data())
def test_backwards_only_three_to_four_differs(size: str, data: st.DataObject) -> None:
    """Descending mirrors ascending: a melody backwards costs the same by every rule but the one that has a direction."""
    melody = data.draw(melodies | near)
    used = tuple(data.draw(st.lists(st.integers(1, 5), min_size=len(melody), max_size=len(melody))))
    there, back = costs(melody, used, reach(size)), costs(melody[::-1], used[::-1], reach(size))
    del there["three to four"], back["three to four"]
    assert there == back


@settings(max_examples=examples(100), deadline=None)
@given(melody=melodies | near, gap=st.floats(0.05, 0.9))
def test_a_smaller_hand_never_has_it_easier(melody: Keys, gap: float) -> None:
    """Jumps first, then points, and difficulty: none falls from a large hand to a medium one to a small one."""
    seconds = [gap * index for index in range(len(melody))]
    hands = [reach(size) for size in SIZES]
    found = [best(melody, hand) for hand in hands]
    played = list(zip(found, hands, strict=True))
    ranks = [(len(jumps(melody, way, hand)), total(melody, way, hand)) for way, hand in played]
    assert ranks == sorted(ranks, reverse=True)
    hard = [difficulty(melody, seconds, hand) for hand in hands]
    assert hard == sorted(hard, reverse=True)
    late = [len(beyond(melody, seconds, hand)) for hand in hands]
    assert late == sorted(late, reverse=True)
    held = [hand.held for hand in hands]
    assert held == sorted(held)


@settings(max_examples=examples(100), deadline=None)
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


@settings(max_examples=examples(40), deadline=None)
@given(st.lists(st.one_of(melodies, near), max_size=6), sizes)
def test_fingers_of_many_are_those_of_the_slow_reference(phrases: list[Keys], size: str) -> None:
    """Worked out together, the best fingers of melodies are what the slow reference finds one by one."""
    found = best_of_many(phrases, reach(size))
    assert (
        found == [plain_best(size, keys) for keys in phrases] == [best(keys, reach(size)) for keys in phrases]
    )
