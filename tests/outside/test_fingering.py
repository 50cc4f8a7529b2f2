"""Fingerings against published totals, the fingerings of the textbooks, and the published spans.

Sources: Parncutt, Sloboda, Clarke, Raekallio and Desain (1997), 'An ergonomic model of keyboard fingering for melodic
fragments', Music Perception 14(4), 341-382: its table of spans, and its totals for fragments of Czerny's Op. 821, called
A, D, E and G there, the last finger fixed. The totals were read from a copy of those tables, not in print.
Major scales: the fingering tables of three teaching sites, which agree; the totals of scales are computed with the
model, by trying every fingering. Hands: Boyle, Boyle and Booker (2015), Pianist hand spans.
"""

from __future__ import annotations

import pytest

from fillgen.hands.fingering import best
from fillgen.hands.reach import OCTAVE_INCHES, SIZES, reach
from tests.fingerings import jumps, ranked, total

FRAGMENTS = {
    "A": (76, 79, 77, 79, 76, 77, 74, 76),
    "D": (61, 65, 63, 66, 65, 68, 66),
    "E": (81, 92, 93, 88, 89, 85, 86, 80),
    "G": (90, 91, 90, 88, 90, 88, 86),
}
TOTALS = {
    "A": {
        "24342313": 6,
        "13231213": 7,
        "14342313": 8,
        "35453423": 8,
        "13231323": 9,
        "13231423": 9,
        "13232313": 10,
        "24342323": 10,
    },
    "D": {
        "1323132": 12,
        "1324132": 12,
        "2412132": 13,
        "1212132": 14,
        "1213242": 14,
        "1323142": 14,
        "1323242": 15,
        "2413242": 15,
        "2435132": 15,
        "1213232": 16,
    },
    "E": {
        "14523152": 24,
        "14523142": 28,
        "14512152": 31,
        "14513152": 32,
        "14515342": 32,
        "14515352": 32,
        "14524152": 32,
        "13412152": 33,
        "13523152": 33,
        "14515452": 33,
    },
    "G": {"3432321": 2, "2321321": 3},
}
"""Published totals: all ten of D and of E, and those of A and G that come out. The others of the seven fragments are a
point or two away, where a finger plays the first and the third of three notes, whose cost the print leaves open."""

# Near and far ends from the lower finger up: practical, comfortable, relaxed.
SPANS = {
    (1, 2): (-5, 10, -3, 8, 1, 5),
    (1, 3): (-4, 12, -2, 10, 3, 7),
    (1, 4): (-3, 14, -1, 12, 5, 9),
    (1, 5): (-1, 15, 1, 13, 7, 10),
    (2, 3): (1, 5, 1, 3, 1, 2),
    (2, 4): (1, 7, 1, 5, 3, 4),
    (2, 5): (2, 10, 2, 8, 5, 6),
    (3, 4): (1, 4, 1, 2, 1, 2),
    (3, 5): (1, 7, 1, 5, 3, 4),
    (4, 5): (1, 5, 1, 3, 1, 2),
}
PAIRS = list(SPANS)

MAJOR = (0, 2, 4, 5, 7, 9, 11, 12)
KEYS = {"C": 60, "G": 67, "D": 62, "A": 69, "E": 64, "B": 71}
SCALE_TOTALS = {"C": 15, "G": 16, "D": 15, "A": 14, "E": 14, "B": 14}
# Tonic, textbook fingering, its points; fewest points, and the fingering that has them where only one does.
OTHER_SCALES = {
    "F": (65, "12341234", 23, 22, "12312345"),
    "Bb": (70, "41231234", 32, 24, "21231234"),
    "Eb": (63, "31234123", 33, 25, ""),
    "Ab": (68, "34123123", 34, 23, ""),
    "Db": (61, "23123412", 33, 23, ""),
    "F#": (66, "23412312", 29, 17, ""),
}


def fingers(text: str) -> tuple[int, ...]:
    return tuple(map(int, text))


def text_of(way: tuple[int, ...]) -> str:
    return "".join(map(str, way))


def scale(tonic: int) -> tuple[int, ...]:
    return tuple(tonic + rise for rise in MAJOR)


# Published totals


@pytest.mark.parametrize(("name", "text"), [(name, text) for name in TOTALS for text in TOTALS[name]])
def test_totals_are_the_published_ones(name: str, text: str) -> None:
    """The points of each published fingering are those printed beside it."""
    assert total(FRAGMENTS[name], fingers(text)) == TOTALS[name][text]


def test_the_ten_best_of_e_are_the_published_ten() -> None:
    """Of all fingerings of E that end on 2 the ten with the fewest points are the ten printed, in their order."""
    found = [(text_of(way), points) for points, way in ranked(FRAGMENTS["E"], last=2)[:11]]
    assert found[:10] == sorted(TOTALS["E"].items(), key=lambda each: (each[1], each[0]))
    assert found[10][1] > 33


def test_the_ten_best_of_d_are_the_published_ten() -> None:
    """As of E; more fingerings of D than the one printed have the 16 points of the tenth place."""
    found = {text_of(way): points for points, way in ranked(FRAGMENTS["D"], last=2)[:30]}
    assert {text: points for text, points in found.items() if points < 16} == {
        text: points for text, points in TOTALS["D"].items() if points < 16
    }
    assert found["1213232"] == 16
    assert list(found.values())[9] == 16


@pytest.mark.parametrize(("name", "last"), [("A", 3), ("G", 1)])
def test_the_best_of_a_and_g_are_the_published_ones(name: str, last: int) -> None:
    """The first printed fingerings of A and G are those with the fewest points."""
    (text, points), *_ = TOTALS[name].items()
    assert ranked(FRAGMENTS[name], last=last)[0] == (points, fingers(text))
    assert jumps(FRAGMENTS[name], fingers(text)) == ()


# Spans


@pytest.mark.parametrize("pair", PAIRS)
def test_medium_spans_are_the_published_ones(pair: tuple[int, int]) -> None:
    """A medium hand has the published table, whichever finger is named first."""
    for one, two in (pair, pair[::-1]):
        stretch = reach("medium").between(one, two)
        assert (*stretch.practical, *stretch.comfortable, *stretch.relaxed) == SPANS[pair]


@pytest.mark.parametrize("pair", PAIRS)
def test_relations_within_the_table(pair: tuple[int, int]) -> None:
    """Comfort ends two semitones inside what can be done; with the thumb on both sides, without it on the far one.

    Without the thumb a relaxed span reaches two semitones a finger, and is two semitones wide.
    """
    stretch, thumb = reach("medium").between(*pair), pair[0] == 1
    assert stretch.comfortable[1] == stretch.practical[1] - 2
    assert stretch.comfortable[0] == stretch.practical[0] + 2 * thumb
    if not thumb:
        assert stretch.relaxed == (2 * (pair[1] - pair[0]) - 1, 2 * (pair[1] - pair[0]))


@pytest.mark.parametrize("pair", PAIRS)
@pytest.mark.parametrize("size", SIZES)
def test_spans_lie_inside_one_another(size: str, pair: tuple[int, int]) -> None:
    """In every hand what is relaxed is comfortable, and what is comfortable can be done."""
    stretch = reach(size).between(*pair)
    assert stretch.practical[0] <= stretch.comfortable[0] <= stretch.relaxed[0]
    assert stretch.relaxed[1] <= stretch.comfortable[1] <= stretch.practical[1]


def test_sizes_lie_as_far_apart_as_spans_of_players() -> None:
    """A small hand is within half a semitone of an inch narrower than the published one, a large one of half an inch wider."""
    small, medium, large = (reach(size).widest for size in SIZES)
    inch = 12 / OCTAVE_INCHES
    assert OCTAVE_INCHES == 6.5
    assert abs(medium - small - inch) <= 0.5
    assert abs(large - medium - inch / 2) <= 0.5


@pytest.mark.parametrize("size", SIZES)
def test_chords_held_by_one_hand(size: str) -> None:
    """Common practice: every hand holds an octave, a medium one a ninth with strain; none more than 15 semitones."""
    assert reach(size).held == {"small": 12, "medium": 14, "large": 15}[size]


# Scales of the textbooks


@pytest.mark.costly
@pytest.mark.parametrize("key", KEYS)
def test_textbook_scales_are_the_only_best(key: str) -> None:
    """12312345 has the fewest points for the six major scales that are taught with it, and is alone with them."""
    first, second, *_ = ranked(scale(KEYS[key]))
    assert first == (SCALE_TOTALS[key], best(scale(KEYS[key]))) == (SCALE_TOTALS[key], fingers("12312345"))
    assert second[0] > first[0]


def test_textbook_f_major_is_the_second_best() -> None:
    """In F the model has the fingering that is taught in the second place, a point behind that of C."""
    assert ranked(scale(65))[:2] == [(22, fingers("12312345")), (23, fingers("12341234"))]


@pytest.mark.parametrize("key", OTHER_SCALES)
def test_the_model_and_the_textbook_differ_on_other_scales(key: str) -> None:
    """Where a scale starts on a black key, or is F, the model has cheaper fingerings than the one that is taught."""
    tonic, taught, points, fewest, cheapest = OTHER_SCALES[key]
    found = best(scale(tonic))
    assert total(scale(tonic), fingers(taught)) == points
    assert total(scale(tonic), found) == fewest
    assert text_of(found).startswith(cheapest)


@pytest.mark.parametrize("name", FRAGMENTS)
@pytest.mark.parametrize("octaves", [-2, -1, 1])
def test_fragments_an_octave_away(name: str, octaves: int) -> None:
    """Octaves change no points."""
    moved = tuple(pitch + 12 * octaves for pitch in FRAGMENTS[name])
    for text, points in TOTALS[name].items():
        assert total(moved, fingers(text)) == points
