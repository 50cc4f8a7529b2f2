"""Fingers, points and difficulty on cases made by hand."""

from __future__ import annotations

from dataclasses import FrozenInstanceError

import pytest

from fillgen.errors import OptionError
from fillgen.hands.fingering import REST_SECONDS, best, best_of_many, beyond, difficulty, rules
from fillgen.hands.reach import JUMP_SECONDS, SIZES, Reach, reach
from fillgen.tables import table
from tests.fingerings import costs, jumps, ranked, total

SCALE = (60, 62, 64, 65, 67, 69, 71, 72)


def charged(pitches: tuple[int, ...], fingers: tuple[int, ...]) -> dict[str, int]:
    """The rules that charge something, with their points."""
    return {name: points for name, points in costs(pitches, fingers).items() if points}


# Rules, one at a time

# Pitches, fingers, and what is charged. 60 is C4, 61 the black key above it.
CASES = {
    "nothing": ((60, 62, 64), (1, 2, 3), {}),
    "relaxed": ((60, 64, 67), (1, 3, 5), {"weak finger": 1}),
    "stretched": ((60, 69), (1, 2), {"stretch": 2, "large span": 4}),
    "stretched without thumb": ((60, 64), (2, 3), {"stretch": 2, "large span": 4}),
    "squeezed": ((60, 62), (2, 4), {"small span": 2, "weak finger": 1}),
    "squeezed with thumb": ((60, 62), (1, 3), {"small span": 1}),
    "crossed": ((60, 56), (1, 2), {"stretch": 2, "small span": 5}),
    "three to four": ((64, 65), (3, 4), {"weak finger": 1, "three to four": 1}),
    "four to three": ((65, 64), (4, 3), {"weak finger": 1}),
    "four on black": ((65, 66), (3, 4), {"weak finger": 1, "three to four": 1, "four on black": 1}),
    "four on black first": ((66, 65), (4, 3), {"weak finger": 1, "four on black": 1}),
    "four on white": ((66, 67), (3, 4), {"weak finger": 1, "three to four": 1}),
    "three weak": (
        (64, 65, 67),
        (3, 4, 5),
        {"weak finger": 2, "three-four-five": 1, "three to four": 1},
    ),
    "thumb on black": ((61,), (1,), {"thumb on black": 1}),
    "thumb on black before white": ((61, 64), (1, 2), {"thumb on black": 3}),
    "thumb on black after white": ((64, 61), (2, 1), {"thumb on black": 3}),
    "thumb on black beside black": ((61, 63), (1, 2), {"thumb on black": 1}),
    "five on black": ((66,), (5,), {"weak finger": 1}),
    "five on black after white": ((59, 66), (1, 5), {"weak finger": 1, "five on black": 2}),
    "five on black before white": ((66, 59), (5, 1), {"weak finger": 1, "five on black": 2}),
    "passing on white": ((64, 65), (3, 1), {"small span": 4, "thumb passing": 1}),
    "passing down": ((65, 64), (1, 3), {"small span": 4, "thumb passing": 1}),
    "passing to black": ((60, 61), (2, 1), {"small span": 2, "thumb on black": 3, "thumb passing": 3}),
    "passing from black": ((61, 62), (2, 1), {"small span": 2}),
    "a repeated key": ((60, 60, 60), (4, 4, 4), {"weak finger": 1}),
    "another finger on it": ((60, 60), (2, 1), {"small span": 1}),
}


@pytest.mark.parametrize("name", CASES)
def test_each_rule_by_itself(name: str) -> None:
    """A small case is charged by the rules that speak of it, and by no other."""
    pitches, fingers, expected = CASES[name]
    assert charged(pitches, fingers) == expected
    assert total(pitches, fingers) == sum(expected.values())


def test_position_changes() -> None:
    """Over a thumb between two notes past the practical span the hand moves in full, otherwise by half."""
    full = costs((60, 65, 71), (2, 1, 3))
    half = costs((60, 64, 60, 65), (1, 2, 1, 2))
    returned = costs((64, 60, 67), (2, 1, 2))
    assert (full["position change"], full["size of the change"]) == (2, 8)
    assert (half["position change"], half["size of the change"]) == (1, 1)
    assert (returned["position change"], returned["size of the change"]) == (1, 3)


def test_a_finger_that_comes_back_to_its_key_does_not_move() -> None:
    """The same finger on the same key at both ends of three notes is no change."""
    assert charged((60, 62, 60), (1, 2, 1)) == {}


def test_costs_have_all_twelve_rules() -> None:
    """Every rule is named, those that charge nothing with 0."""
    assert [*costs(SCALE, (1, 2, 3, 1, 2, 3, 4, 5))] == [rule.name for rule in rules()]
    assert len(rules()) == 12
    assert set(costs((), ()).values()) == {0}


def test_rules_tell_what_they_charge() -> None:
    """Each rule has points above zero and a sentence of its own."""
    assert len({rule.says for rule in rules()}) == 12
    assert all(points > 0 for rule in rules() for points in rule.points.values())


# Hands


def test_sizes() -> None:
    """The sizes of the table are those that are named; medium is what is taken where none is."""
    assert tuple(row["name"] for row in table("fingering")["size"]) == SIZES
    assert reach() == reach("medium") != reach("small")
    assert [reach(size).widest for size in SIZES] == [13, 15, 16]


def test_a_small_hand_gives_up_the_far_ends() -> None:
    """Practical and comfortable spans shrink at their far ends, one or two semitones with the thumb; the rest stays."""
    small, medium = reach("small"), reach("medium")
    lost = {
        finger: medium.between(1, finger).practical[1] - small.between(1, finger).practical[1]
        for finger in (2, 3, 4, 5)
    }
    assert lost == {2: 1, 3: 1, 4: 2, 5: 2}
    for one, two in ((1, 2), (1, 5), (2, 4), (3, 4)):
        assert small.between(one, two).relaxed == medium.between(one, two).relaxed
        assert small.between(one, two).practical[0] == medium.between(one, two).practical[0]


def test_an_unknown_size_names_the_nearest() -> None:
    with pytest.raises(OptionError, match=r"hand: unknown size 'midium'\. Did you mean 'medium'"):
        reach("midium")
    with pytest.raises(OptionError, match="Use one of: small, medium, large"):
        reach("xyz")


def test_a_hand_is_more_than_the_name_of_its_size() -> None:
    """A hand made by hand is known by its stretches: it has points of its own, whatever it is called."""
    borrowed = Reach("medium", reach("small").stretches)
    assert borrowed != reach("medium")
    assert best((60, 75), reach("medium")) == (1, 5)
    assert jumps((60, 75), best((60, 75), borrowed), borrowed) == (1,)


def test_values_do_not_change() -> None:
    with pytest.raises(FrozenInstanceError):
        reach().size = "huge"  # type: ignore[misc]


# Fingerings


def test_nothing_to_play() -> None:
    """No notes have one fingering, without fingers; a single note is played with the lowest finger that costs least."""
    assert best(()) == ()
    assert best_of_many([(), (60,), ()]) == [(), (1,), ()]
    assert best((60,)) == (1,)
    assert best((61,)) == (2,)


def test_a_single_note_has_five_fingerings() -> None:
    """All of them come, by points and then by finger."""
    assert ranked((61,)) == [(0, (2,)), (0, (3,)), (1, (1,)), (1, (4,)), (1, (5,))]


def test_repeated_keys_keep_their_finger() -> None:
    """A key struck again has the same finger, and the melody the same points as without."""
    found = best((60, 60, 62, 62, 62, 64))
    assert found == (1, 1, 2, 2, 2, 3)
    assert total((60, 60, 62, 62, 62, 64), found) == total((60, 62, 64), (1, 2, 3))


def test_the_hand_jumps_where_nothing_reaches() -> None:
    """Past the widest stretch the hand lands anew: both sides cost what they would alone."""
    low, high = (60, 64, 67), (91, 88, 84)
    found = best(low + high)
    assert jumps(low + high, found) == (3,)
    assert total(low + high, found) == total(low, best(low)) + total(high, best(high))
    assert found == best(low) + best(high)


def test_the_same_finger_on_two_keys_only_where_the_hand_jumps() -> None:
    """Both notes of a leap past any stretch can have the thumb; a step never has one finger twice."""
    assert (1, 1) in [way for _, way in ranked((60, 80))]
    assert not [way for _, way in ranked((60, 62)) if way[0] == way[1]]


def test_as_few_jumps_as_can_be() -> None:
    """The widest stretch there is is taken with the only fingers that reach, a wider leap with any."""
    assert ranked((60, 75)) == [(total((60, 75), (1, 5)), (1, 5))]
    assert best((60, 75)) == (1, 5)
    assert len(ranked((60, 76))) == 25


def test_ties_go_to_the_lower_finger() -> None:
    """Of fingerings with as many points the one with the lower first finger that differs is the best."""
    first, second, *_ = ranked((60, 64, 67))
    assert (first, second) == ((1, (1, 2, 4)), (1, (1, 3, 5)))
    assert best((60, 64, 67)) == (1, 2, 4)


@pytest.mark.parametrize("pitch", [-1, 128])
def test_pitches_outside_midi(pitch: int) -> None:
    message = f"pitches: {pitch} is not a pitch"
    with pytest.raises(OptionError, match=message):
        best((60, pitch))
    with pytest.raises(OptionError, match=message):
        best_of_many([(60, 62), (60, pitch)])
    for timed in (difficulty, beyond):
        with pytest.raises(OptionError, match=message):
            timed((60, pitch), (0.0, 1.0))


# Difficulty and tempo


def test_nothing_is_hard_about_a_note() -> None:
    """No notes, a single one, and a key struck over and over need no skill of fingers."""
    assert difficulty((), ()) == difficulty((61,), (0.0,)) == 0
    assert difficulty((60,) * 9, [index / 8 for index in range(9)]) == 0


def test_difficulty_is_points_a_second() -> None:
    """At twenty points a second it is one half: the 15 points of the scale of C in three quarters of a second."""
    assert difficulty(SCALE, [index * 0.75 / 7 for index in range(8)]) == pytest.approx(0.5)


def test_long_waits_count_as_rests() -> None:
    """A wait longer than a rest is cut to it."""
    gap = REST_SECONDS
    assert difficulty((60, 72, 60), (0, gap, 9)) == difficulty((60, 72, 60), (0, gap, 2 * gap)) > 0


def test_leaps_past_any_stretch_are_hard() -> None:
    """A jump makes a melody harder than the widest stretch there is."""
    assert difficulty((60, 76), (0, 0.5)) > difficulty((60, 75), (0, 0.5)) + 0.2


def test_beyond_needs_both_a_leap_and_haste() -> None:
    """The leap is past any stretch, up or down, and the time shorter than a jump takes."""
    quick = JUMP_SECONDS / 2
    assert beyond((60, 76, 60), (0, quick, 2 * quick)) == [1, 2]
    assert beyond((60, 75, 60), (0, quick, 2 * quick)) == []
    assert beyond((60, 76, 60), (0, JUMP_SECONDS, 1)) == []
    assert beyond((60, 74), (0, quick), reach("small")) == [1]
    assert beyond((), ()) == []


@pytest.mark.parametrize("seconds", [(0.0, 0.0), (1.0, 0.5), (0.0, float("nan"))])
def test_onsets_rise(seconds: tuple[float, float]) -> None:
    for timed in (difficulty, beyond):
        with pytest.raises(OptionError, match="seconds: onsets do not rise"):
            timed((60, 62), seconds)


def test_an_onset_for_each_note() -> None:
    for timed in (difficulty, beyond):
        with pytest.raises(OptionError, match="seconds: 1 onsets for 2 notes"):
            timed((60, 62), (0.0,))
