"""The score: what each term takes for good on lines made by hand, and that all of them run from 0 to 1."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace

import numpy as np
import pytest

from fillgen import RulePack, parse_chart
from fillgen.engine.guide import Guide
from fillgen.engine.habits import Home
from fillgen.engine.plans import Plan
from fillgen.engine.score import ScoreContext, follows, heights, terms, tone_value, total
from fillgen.phrase.place import places
from fillgen.rules.pack import TERMS, Shape
from fillgen.theory.metre import METRES, Timeline

BAR = 1920
SHAPES = RulePack().shapes
RISE = SHAPES["rise"]


def setting_of(
    bars: Sequence[Sequence[int]],
    *,
    letters: str = "",
    chart: str = "C",
    shape: Shape = RISE,
    low: int = 60,
    high: int = 84,
) -> ScoreContext:
    """A plan with notes of these lengths (in eighths) in each bar, over a chord that does not change."""
    rhythm = []
    for number, lengths in enumerate(bars):
        at = number * BAR
        for length in lengths:
            rhythm.append((at, length * 240))
            at += length * 240
    names = tuple(letters) if letters else tuple("abcdefgh"[: len(bars)])
    progression = parse_chart("| " + " | ".join([chart] * len(bars)) + " |", key="C")
    plan = Plan(tuple(rhythm), names, (0,) * len(rhythm), shape)
    homes = [Home(0, minor=False)] * len(rhythm)
    metre, timeline = progression.metre, progression.timeline
    return ScoreContext(plan, places(progression, rhythm), timeline, low, high, metre=metre, homes=homes)


def quarters(count: int, **settings: object) -> ScoreContext:
    """A plan of so many quarter notes."""
    bars = [[2] * min(4, count - first) for first in range(0, count, 4)]
    return setting_of(bars, **settings)  # type: ignore[arg-type]


def term(name: str, line: Sequence[int], setting: ScoreContext | None = None) -> float:
    """One term of one line."""
    return float(terms(np.array([line], dtype=np.int16), setting or quarters(len(line)), (name,))[name][0])


# Shape


@pytest.mark.parametrize("shape", SHAPES.values(), ids=lambda shape: shape.name)
@pytest.mark.parametrize("size", [1.0, 5.0, 24.0])
def test_exact_shape_follows_itself(shape: Shape, size: float) -> None:
    """A line that is a shape, however high and wide, follows it with 1; upside down it follows it with 0."""
    times = np.linspace(0, 1, 17)
    line = 60 + size * heights(shape, times)
    lines = np.array([line, 120 - line, np.full(17, 60.0)])
    assert follows(lines, [shape], times)[:, 0] == pytest.approx([1.0, 0.0, 0.0])


@pytest.mark.parametrize("shape", SHAPES.values(), ids=lambda shape: shape.name)
def test_each_shape_is_followed_best_by_itself(shape: Shape) -> None:
    """No other built-in shape is followed as well as the line's own."""
    times = np.linspace(0, 1, 17)
    line = np.array([60 + 12 * heights(shape, times)])
    (fits,) = follows(line, list(SHAPES.values()), times)
    assert list(SHAPES)[int(fits.argmax())] == shape.name


def test_heights_are_straight_between_points() -> None:
    """A shape runs straight from point to point."""
    shape = Shape("own", "", ((0.0, 0.0), (0.5, 1.0), (1.0, 0.5)))
    assert heights(shape, np.array([0, 0.25, 0.5, 0.75, 1])) == pytest.approx([0, 0.5, 1, 0.75, 0.5])


def test_shape_term() -> None:
    """A rising line fits a rise with 1, a falling one with 0, a mostly rising one in between."""
    assert term("shape", [60, 62, 64, 66]) == pytest.approx(1.0)
    assert term("shape", [66, 64, 62, 60]) == 0.0
    assert term("shape", [60, 60, 60, 60]) == 0.0
    assert 0 < term("shape", [60, 66, 62, 67]) < 1


def test_shape_goes_by_time_and_not_by_number() -> None:
    """Where notes are of different lengths the shape is followed in time."""
    setting = setting_of([[1, 1, 6], [8]])
    by_time = 60 + 8 * heights(RISE, setting.times)
    by_number = 60 + 8 * heights(RISE, np.linspace(0, 1, 4))
    fits = follows(np.array([by_time, by_number]), [RISE], setting.times)[:, 0]
    assert fits[0] == pytest.approx(1.0)
    assert fits[1] < 0.99


# Steps


def test_steps_term() -> None:
    """Steps are worth 1, sevenths nothing; each wider class of intervals sings less."""
    assert term("steps", [60, 62, 64, 65, 67]) == pytest.approx(1)
    assert term("steps", [60, 71, 60, 71]) == pytest.approx(0)
    assert term("steps", [60]) == 1
    ladder = [term("steps", [60, 60 + size]) for size in (2, 4, 5, 7, 9, 10, 11)]
    assert ladder == sorted(set(ladder), reverse=True)
    assert term("steps", [60, 66]) < term("steps", [60, 65])
    assert term("steps", [60, 66]) < term("steps", [60, 67])


def test_direction_does_not_matter_to_steps() -> None:
    """An interval sings as well downwards as upwards."""
    for size in range(13):
        assert term("steps", [72, 72 - size]) == term("steps", [60, 60 + size])


def test_leap_after_a_long_note_costs_less() -> None:
    """A move counts the more, the sooner it comes: two eighths six times as much as a dotted half and what follows."""
    setting = setting_of([[1, 1, 6], [8]])
    quick, slow = term("steps", [60, 67, 69, 71], setting), term("steps", [60, 62, 64, 71], setting)
    assert slow > quick
    leap, step = 0.6, 1.0
    assert quick == pytest.approx((6 * leap + 6 * step + 1 * step) / 13 / 0.92)


def test_smoother_than_melodies_wins_nothing() -> None:
    """One third among steps is as good as none: real melodies are no smoother."""
    assert term("steps", [60, 64, 65, 67, 69]) == term("steps", [60, 62, 64, 65, 67]) == 1


# Flow


@pytest.mark.parametrize(
    ("line", "value"),
    [
        ([60, 62, 64, 65, 67], 1),
        ([67, 65, 64, 62, 60], 1),
        ([60, 64, 67, 72, 76], 0),
        ([60, 60, 60, 60, 60], 0),
        ([60, 62, 60, 64, 62], 0),
        ([60, 62, 64, 60, 67, 61, 69, 72, 65, 60, 70, 63], 1 / 3),
        ([60], 1),
        ([60, 62], 1),
    ],
)
def test_flow_term(line: list[int], value: float) -> None:
    """How often a step follows a step the same way; three times in ten are enough."""
    assert term("flow", line) == pytest.approx(value)


def test_rocking_takes_flow_away() -> None:
    """A line that goes there and back and there again loses what a step that goes on wins."""
    runs = [60, 62, 64, 65, 72, 67, 71, 64]
    assert term("flow", [*runs, 71, 79, 72]) > term("flow", [*runs, 71, 64, 72]) > 0
    assert term("flow", [60, 62, 60, 62, 60, 62]) == 0


def test_repeated_notes_do_not_rock() -> None:
    """A note that is struck again rocks with nothing."""
    line = [60, 62, 64, 64, 64, 64, 69, 60, 69, 71]
    assert term("flow", line) == pytest.approx(1 / (0.3 * 8))


# Turns


@pytest.mark.parametrize(
    ("line", "value"),
    [
        ([60, 62, 64, 65], 1),
        ([60, 67, 65, 64], 1),
        ([67, 60, 62, 64], 1),
        ([60, 67, 67, 65], 1),
        ([60, 64, 67, 71], 1),
        ([60, 67, 64, 62], 0),
        ([60, 67, 69, 71], 0),
        ([60, 62, 64, 62, 60, 67, 69, 71], 1 / 2),
        ([60, 65, 70, 69, 67, 65, 64, 62], 1 / 2),
        ([60, 62, 64, 72], 1),
        ([60, 67], 1),
        ([60], 1),
    ],
)
def test_turns_term(line: list[int], value: float) -> None:
    """After a fourth or more the line steps back or stays; the last note is owed no answer."""
    assert term("turns", line) == pytest.approx(value)


# Fall


# Echo


@pytest.mark.parametrize(
    ("letters", "line", "value"),
    [
        (["a", "a"], [60, 62, 64, 62, 67, 69, 71, 69], 1),
        (["a", "a'"], [60, 62, 64, 62, 67, 65, 63, 65], 1),
        (["a", "b"], [60, 62, 64, 62, 67, 69, 71, 69], 0.5),
        (["a", "z"], [60, 62, 64, 62, 67, 69, 71, 69], 0.5),
        (["a'", "a'"], [60, 62, 64, 62, 67, 69, 71, 69], 1),
        (["a'", "a"], [60, 62, 64, 62, 67, 65, 63, 65], 1),
    ],
)
def test_echo_term(letters: list[str], line: list[int], value: float) -> None:
    """Bars with the same letter should move alike, with a turned letter the other way; other bars owe nothing."""
    setting = setting_of([[2] * 4] * 2, letters="xy")
    setting = ScoreContext(
        Plan(setting.plan.rhythm, tuple(letters), setting.plan.intervals, RISE),
        setting.places,
        setting.timeline,
        60,
        84,
    )
    assert term("echo", line, setting) == pytest.approx(value)


def test_near_echo_is_better_than_none() -> None:
    """A bar that moves nearly like its model is worth more than one that moves the other way, less than an exact one."""
    setting = quarters(8, letters="aa")
    exact = term("echo", [60, 62, 64, 62, 67, 69, 71, 69], setting)
    near = term("echo", [60, 62, 64, 62, 67, 69, 72, 69], setting)
    other = term("echo", [60, 62, 64, 62, 67, 65, 63, 65], setting)
    assert exact > near > other


def test_echo_does_not_hear_the_step_between_bars() -> None:
    """How one bar is joined to the next is no part of an echo."""
    setting = quarters(8, letters="aa")
    for start in (50, 62, 80):
        line = [60, 62, 64, 62, start, start + 2, start + 4, start + 2]
        assert term("echo", line, setting) == pytest.approx(1)


# Motif


def test_motif_term() -> None:
    """Three notes that come back in the same rhythm at any height are a motif; a fifth of all threes is enough."""
    setting = quarters(12)
    assert term("motif", [60, 62, 64, 60, 65, 69, 64, 71, 64, 73, 60, 74], setting) == 0
    once = [60, 64, 65, 72, 60, 64, 65, 77, 60, 69, 60, 77]
    assert term("motif", once, setting) == pytest.approx(1 / (0.2 * 10))
    higher = [60, 64, 65, 72, 62, 65, 67, 77, 60, 69, 60, 77]
    assert term("motif", higher, setting) == pytest.approx(1 / (0.2 * 10))
    assert term("motif", [60, 62, 64]) == 0.5


def test_motif_needs_its_rhythm() -> None:
    """The same intervals in another rhythm are another thing."""
    line = [60, 64, 65, 72, 60, 64, 65]
    assert term("motif", line, setting_of([[2, 2, 2, 2], [2, 2, 4]])) == pytest.approx(1)
    assert term("motif", line, setting_of([[2, 2, 2, 2], [3, 1, 4]])) == 0


def test_rocking_is_no_motif() -> None:
    """There and back again, and one note over and over, win nothing."""
    assert term("motif", [60, 62, 60, 62, 60, 62, 60, 62]) == 0
    assert term("motif", [60] * 8) == 0


# Close


def test_close_term() -> None:
    """A step into the last note is worth 1, a tritone little; only the last interval counts."""
    assert term("close", [60, 62]) == 1
    assert term("close", [60, 61]) == 1
    assert term("close", [60, 72, 60, 62]) == 1
    assert term("close", [60]) == 1
    ladder = [term("close", [60, 60 + size]) for size in (2, 4, 5, 8)]
    assert ladder == sorted(set(ladder), reverse=True)
    assert term("close", [60, 66]) < term("close", [60, 65])
    assert term("close", [60, 72]) == 0


# Register


def test_register_term() -> None:
    """A line of a fifth to a ninth about the middle of the range is worth 1; narrow, wide and outlying lines less."""
    setting = quarters(4)
    best = term("register", [68, 70, 74, 76], setting)
    assert best == pytest.approx(1)
    assert term("register", [65, 70, 74, 79], setting) == pytest.approx(1)
    assert term("register", [72, 72, 72, 72], setting) == pytest.approx(0.3)
    assert best > term("register", [70, 72, 72, 74], setting) > term("register", [71, 72, 72, 73], setting)
    assert best > term("register", [60, 62, 66, 68], setting)
    assert best > term("register", [62, 72, 72, 82], setting)
    assert term("register", [60, 84, 60, 84], setting) < term("register", [64, 80, 64, 80], setting)


def test_register_of_one_pitch() -> None:
    """In a range of a single pitch the term is still a number from 0 to 1."""
    assert 0 <= term("register", [60, 60], quarters(2, low=60, high=60)) <= 1


# Key


def in_key(chart: str, line: Sequence[int], key: str = "C") -> float:
    """The term of quarter notes over a chart of one bar for each four of them."""
    rhythm = [(480 * index, 480) for index in range(len(line))]
    plan = Plan(tuple(rhythm), tuple("abcd"[: -(-len(line) // 4)]), (0,) * len(line), RISE)
    return term(
        "key",
        line,
        ScoreContext(plan, places(parse_chart(chart, key=key), rhythm), Timeline(METRES["4/4"]), 60, 84),
    )


@pytest.mark.parametrize(
    ("line", "value"),
    [
        ([60, 62, 64, 65, 67, 69, 71, 72], 1),
        ([60, 63, 64, 65, 67, 69, 71, 72], 1),
        ([60, 63, 62, 65, 67, 66, 67, 72], 1),
        ([60, 63, 65, 65, 67, 69, 71, 72], 1 / 2),
        ([60, 62, 64, 65, 67, 69, 71, 73], 1 / 2),
        ([60, 61, 63, 64, 67, 69, 71, 72], 1 / 2),
        ([61, 63, 66, 68, 70, 66, 63, 61], 0),
    ],
)
def test_key_term(line: list[int], value: float) -> None:
    """What lies outside the key strays, unless a semitone leads from it into the key."""
    assert in_key("| C | C |", line) == pytest.approx(value)


def test_chord_belongs_to_the_key() -> None:
    """A chord's own tones never stray, and they take the place of the key's."""
    assert in_key("| E7 | Am |", [68, 64, 71, 74, 72, 71, 69, 69]) == 1
    assert in_key("| C | Am |", [68, 64, 71, 74, 72, 71, 69, 69]) == pytest.approx(1 / 2)


@pytest.mark.parametrize(
    ("after", "value"), [(69, 1), (68, 1), (67, 1), (64, 0.75), (72, 0.75), (76, 0.75), (70, 0.75)]
)
def test_leading_note_leads(after: int, value: float) -> None:
    """The third of a dominant rises by a semitone into the next chord, or falls by one, or stays; no more."""
    line = [64, 71, 64, 68, after, 69, 69, 69]
    assert in_key("| E7 | Am |", line, key="A minor") == pytest.approx(value)
    assert in_key("| E | Am |", line, key="A minor") == pytest.approx(value)


def test_leading_note_is_free_inside_its_chord() -> None:
    """Before the chord changes the third of a dominant goes where it likes, and so does that of any other chord."""
    assert in_key("| E7 | Am |", [68, 64, 68, 71, 72, 69, 69, 69], key="A minor") == 1
    assert in_key("| C | F |", [60, 67, 60, 64, 72, 69, 69, 69]) == 1


# Colour


def test_colour_term() -> None:
    """On strong beats thirds and sevenths are worth 1, fifths less, roots least; other beats do not count."""
    setting = quarters(4, chart="Cmaj7")
    third, seventh = term("colour", [64, 60, 71, 60], setting), term("colour", [71, 60, 64, 60], setting)
    fifth, root = term("colour", [67, 60, 67, 60], setting), term("colour", [60, 64, 60, 64], setting)
    assert third == seventh == 1
    assert 1 > fifth > root > 0
    assert term("colour", [64, 61, 71, 61], setting) == 1


def test_last_note_does_not_colour() -> None:
    """The last note closes the phrase and is not asked for colour."""
    setting = setting_of([[4, 4]], chart="Cmaj7")
    assert term("colour", [64, 60], setting) == term("colour", [64, 71], setting) == 1


def test_line_without_strong_beats_has_middling_colour() -> None:
    """Where nothing starts on a strong beat the term says nothing."""
    setting = setting_of([[8]])
    assert term("colour", [60], setting) == 0.5


# All terms


def random_setting(seed: int, low: int, high: int) -> tuple[np.ndarray, ScoreContext]:
    """Random lines over a random rhythm in a random form, shape and chord."""
    rng = np.random.default_rng(seed)
    bars = [[int(rng.integers(1, 3)) for _ in range(rng.integers(1, 5))] for _ in range(rng.integers(1, 5))]
    letters = "".join(rng.choice(list("aabz"), len(bars)))
    shape = list(SHAPES.values())[int(rng.integers(len(SHAPES)))]
    chart = str(rng.choice(["C", "Dm7", "G7b9", "F#dim7", "Eb6/9", "B5"]))
    setting = setting_of(bars, letters=letters, shape=shape, chart=chart, low=low, high=high)
    size = len(setting.plan.rhythm)
    return rng.integers(low, high + 1, (50, size)).astype(np.int16), setting


@pytest.mark.parametrize(("low", "high"), [(60, 84), (62, 64), (70, 70), (48, 84), (0, 127)])
def test_terms_run_from_0_to_1(low: int, high: int) -> None:
    """Every term of every line is a number from 0 to 1, and so is the score, whatever the range."""
    for seed in range(20):
        lines, setting = random_setting(seed, low, high)
        found = terms(lines, setting, TERMS)
        assert tuple(found) == TERMS
        for values in found.values():
            assert values.shape == (50,)
            assert np.all((values >= 0) & (values <= 1))
        scores = total(found, RulePack().weights)
        assert np.all((scores >= 0) & (scores <= 1))


@pytest.mark.parametrize("seed", range(5))
def test_lines_do_not_touch_one_another(seed: int) -> None:
    """A line has the same terms alone as among others."""
    lines, setting = random_setting(seed, 60, 80)
    together = terms(lines, setting, TERMS)
    for name in TERMS:
        alone = [term(name, line, setting) for line in lines.tolist()]
        assert alone == pytest.approx(together[name].tolist())


def test_only_wanted_terms_are_computed() -> None:
    """Terms that are not asked for are left out."""
    assert list(terms(np.array([[60, 62]]), quarters(2), ("steps", "close"))) == ["steps", "close"]


def test_total_is_the_weighted_mean() -> None:
    """The score is the mean of the terms by their weights."""
    found = {"peak": np.array([1.0, 0.0]), "steps": np.array([0.5, 1.0])}
    assert total(found, {"peak": 1, "steps": 3}).tolist() == pytest.approx([0.625, 0.75])
    assert total(found, {"peak": 0, "steps": 2}).tolist() == [0.5, 1.0]


def test_total_is_rounded() -> None:
    """The score has six decimals, so that every machine ranks alike."""
    scores = total({"peak": np.array([1 / 3])}, {"peak": 1})
    assert scores.tolist() == [0.333333]


# Habits and the order of bars


def test_what_is_usual_in_tunes_has_the_habit() -> None:
    """A scale down to the tonic is a habit, sevenths up and down are none; a single note says nothing."""
    usual, odd = [60, 62, 64, 65, 67, 65, 64, 62, 60], [67, 77, 65, 76, 64, 74, 62, 72, 60]
    assert term("habit", usual) > 0.9
    assert term("habit", odd) == 0
    assert term("habit", [60]) == 0.5


def test_habits_need_a_home() -> None:
    """Where no key is known, neither habits nor the order of bars are heard."""
    bare = replace(quarters(16), homes=(), metre=None)
    line = [60, 62, 64, 65] * 4
    assert term("habit", line, bare) == term("order", line, bare) == 0.5


def test_order_hears_bars_in_their_places() -> None:
    """A tune of four bars in the usual order stands above the same bars in others; three bars have no order."""
    bars = {"a": [67, 67, 69, 67], "b": [65, 64, 65], "c": [64, 62, 60]}
    lengths = {"a": [2, 2, 2, 2], "b": [2, 2, 4], "c": [2, 2, 4]}

    def heard(order: str) -> float:
        setting = setting_of([lengths[bar] for bar in order])
        return term("order", [note for bar in order for note in bars[bar]], setting)

    assert heard("abac") > max(heard("caba"), heard("bcaa"), heard("aacb"))
    assert heard("abac") > 0.5
    assert heard("abc") == 0.5


# The guide


def test_guide_of_nothing_guides_nowhere() -> None:
    """With every number 0 the guide prefers no phrase."""
    guide = Guide(*[0] * len(fields(Guide)))
    pitches = np.arange(60, 80, dtype=np.int16)
    place = quarters(2).places[0]
    assert np.all(guide.moves(19) == 1)
    assert np.all(guide.turn(19) == 1)
    assert np.all(guide.rising(19) == 1)
    assert all(np.all(each == 1) for each in guide.follows(60, 19, Home(0, minor=False), (0, 1)))
    assert np.all(guide.place(place, pitches) == 1)
    assert np.all(guide.height(pitches, 70) == 1)
    assert np.all(guide.preferred(19, 2) == 1)


def test_guide_prefers_what_scores() -> None:
    """The guide leans to plain intervals, to leaps that turn back, to the shape's height, and to the gesture's interval."""
    guide, pitches = Guide(), np.arange(60, 85, dtype=np.int16)
    moves, turn = guide.moves(24), guide.turn(24)
    assert min(moves[0, 2], moves[0, 7]) > moves[0, 6]
    assert turn[0, 7, 5] > turn[0, 7, 9]
    assert turn[0, 2, 0] < turn[0, 2, 4]
    rising = guide.rising(24)
    assert rising[0, 5] < rising[5, 0] == rising[0, 4] == 1
    near = guide.height(pitches, 72)
    assert near[12] == near.max()
    coloured = guide.place(quarters(2).places[0], pitches)
    assert coloured[4] > coloured[0] > coloured[1]
    assert guide.preferred(24, 2)[0, 2] == guide.preferred(24, 2).max()
    assert np.all(guide.preferred(24, 0) == 1)


@pytest.mark.parametrize("size", [0, 1, 36, 37, 127])
def test_guide_knows_every_range(size: int) -> None:
    """The guide has a factor above 0 for every interval of a range, however wide."""
    moves = Guide().moves(size)
    assert moves.shape == (size + 1, size + 1)
    assert np.all(moves > 0)


# Values one by one


def test_an_ending_had_better_come_home() -> None:
    """Where the phrase is an ending, its close is worth three quarters on any other note than the root."""
    setting = replace(quarters(3), home=1 << 7)
    for last in range(60, 84):
        reached = term("close", [last, last, last], setting)
        away = term("close", [last, last, last])
        assert reached == pytest.approx(away * (1.0 if last % 12 == 7 else 0.75))


@pytest.mark.parametrize(
    ("size", "value"),
    [(0, 0.6), (1, 1), (2, 1), (3, 0.7), (4, 0.7), (5, 0.5), (6, 0.1), (7, 0.4), (8, 0.1), (9, 0.1), (10, 0)],
)
@pytest.mark.parametrize("way", [1, -1])
def test_last_interval_makes_the_close(size: int, value: float, way: int) -> None:
    """How smooth a close is goes by the size of its last interval, up or down."""
    assert term("close", [72, 72, 72 + way * size]) == pytest.approx(value)


def test_breadth_of_the_register_falls_off() -> None:
    """Lines narrower than a fifth and wider than a ninth use their register less well, the more so the farther."""
    found = [
        term("register", [72 - reach // 2, 72 - reach // 2 + reach]) for reach in (2, 4, 7, 10, 14, 18, 22)
    ]
    assert found[0] < found[1] < found[2]
    assert found[2] == pytest.approx(found[3], abs=0.02)
    assert found[4] > found[5] > found[6]
    assert found[5] - found[6] == pytest.approx(0.7 * 4 / 12, abs=0.02)


@pytest.mark.parametrize(
    "line", [[60, 64, 67, 60, 64, 67], [60, 64, 67, 62, 65, 69], [67, 64, 60, 69, 65, 62]]
)
def test_motifs_count_letters_and_not_semitones(line: list[int]) -> None:
    """A third is a third: major and minor thirds make the same motif, seconds and fourths another."""
    assert term("motif", line) > term("motif", [60, 64, 67, 60, 62, 67])
    assert term("motif", line) > 0


def test_colours_of_a_chord() -> None:
    """The root colours least, then the fifth; every other tone of the chord colours fully, notes outside it half."""
    where = quarters(2, chart="G7").places[0]
    values = tone_value(where)
    assert [values[pc] for pc in (7, 2, 11, 5)] == [0.35, 0.6, 1.0, 1.0]
    assert {values[pc] for pc in (0, 1, 3, 4, 6, 8, 9, 10)} == {0.5}


def test_draws_lean_to_answered_leaps_and_away_from_rocking() -> None:
    """A leap that a step back answers is worth more, there and back less, a repeated note neither."""
    turn = Guide(turns=1.0).turn(12)
    assert turn[0, 7, 5] > turn[0, 7, 7] == turn[0, 7, 9] == 1
    assert turn[0, 7, 0] == turn[0, 1, 0] < 1
    assert turn[5, 5, 5] == turn[5, 5, 9] == 1
