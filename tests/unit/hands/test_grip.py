"""Fingers of chords: as methods for the keyboard finger them, and never beyond the hand."""

from __future__ import annotations

from itertools import combinations, pairwise

import pytest

from fillgen.hands.grip import chord_fingers
from fillgen.hands.reach import FINGERS, SIZES, reach

# Common practice, no source: root position, first and second inversion of major and minor triads as methods for the
# keyboard finger them, right hand and left hand from the lowest key up.
TRIADS = {
    (0, 4, 7): ((1, 3, 5), (5, 3, 1)),
    (4, 7, 12): ((1, 2, 5), (5, 3, 1)),
    (7, 12, 16): ((1, 3, 5), (5, 2, 1)),
    (0, 3, 7): ((1, 3, 5), (5, 3, 1)),
    (3, 7, 12): ((1, 2, 5), (5, 3, 1)),
    (7, 12, 15): ((1, 3, 5), (5, 2, 1)),
    # the same of the dominant seventh, root position
    (0, 4, 7, 10): ((1, 2, 3, 5), (5, 3, 2, 1)),
}


@pytest.mark.parametrize("rises", TRIADS)
def test_triads_are_fingered_as_in_methods(rises: tuple[int, ...]) -> None:
    """Every position of a triad has the usual fingers in both hands, wherever it lies."""
    for low in (41, 48, 60, 66):
        pitches = [low + rise for rise in rises]
        assert (chord_fingers(pitches), chord_fingers(pitches, left=True)) == TRIADS[rises]


def test_fingers_rise_with_the_keys_and_reach_them() -> None:
    """Over all chords of two to five keys within an octave: the thumb plays, no finger twice, none beyond its stretch."""
    for count in (2, 3, 4, 5):
        for above in combinations(range(1, 13), count - 1):
            pitches = [48, *(48 + rise for rise in above)]
            for left in (False, True):
                fingers = chord_fingers(pitches, left=left)
                if not fingers:
                    continue
                order = fingers[::-1] if left else fingers
                assert order[0] == 1
                assert all(a < b for a, b in pairwise(order))
                assert set(order) <= set(FINGERS)


@pytest.mark.parametrize("size", SIZES)
def test_what_no_hand_of_its_size_holds_has_no_fingers(size: str) -> None:
    """The widest chord has fingers, a half step more has none."""
    hand = reach(size)
    assert chord_fingers([48, 48 + hand.held], hand) == (1, 5)
    assert chord_fingers([48, 49 + hand.held], hand) == ()
    assert chord_fingers([], hand) == ()


def test_the_hands_are_mirrors() -> None:
    """A chord turned upside down has the same fingers in the other hand."""
    for above in combinations(range(1, 12), 3):
        right = chord_fingers([60, *(60 + rise for rise in above)])
        left = chord_fingers([60 - rise for rise in reversed((0, *above))], left=True)
        assert left == right[::-1]
