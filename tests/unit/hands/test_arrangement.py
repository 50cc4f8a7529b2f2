"""What the band plays bar by bar: patterns by section, fills at the ends of phrases, crashes after them."""

from __future__ import annotations

import tomllib
from collections import Counter

import pytest

from fillgen import RulePack, parse_chart
from fillgen.errors import PackError
from fillgen.hands.arrangement import arranged, planned
from fillgen.hands.instruments import percussion
from fillgen.hands.patterns import band
from fillgen.theory.metre import METRES

PACK = RulePack()
EVERY = [(name, metre) for name in PACK.rhythm_names for metre in PACK.rhythm(name).metres]
FEET = {percussion(name) for name in ("Bass Drum 1", "Acoustic Bass Drum", "Pedal Hi-hat")}
KIT = {percussion(name) for name in ("Acoustic Snare", "Side Stick", "Closed Hi-hat", "Open Hi-hat", "Ride Cymbal 1",
    "Crash Cymbal 1", "Splash Cymbal", "Hi-Mid Tom", "Low-Mid Tom", "Low Floor Tom")}  # fmt: skip


def over(bars: int) -> list[tuple[str, int, bool]]:
    plans = planned(parse_chart("| Ab " * bars + "|"))
    return [(plan.pattern, plan.fill, plan.crash) for plan in plans]


@pytest.mark.parametrize(
    ("bars", "fills"),
    [
        (1, {}),
        (2, {1: 1}),
        (4, {3: 2}),
        (8, {3: 1, 7: 2}),
        (10, {3: 1, 7: 2, 9: 2}),
        (12, {3: 1, 7: 2, 11: 2}),
        (16, {3: 1, 7: 2, 11: 1, 15: 2}),
    ],
)
def test_fills_close_phrases_of_four_and_eight(bars: int, fills: dict[int, int]) -> None:
    """A small fill ends four bars, a large one eight or the whole, and a crash comes after a large one (common practice)."""
    plans = over(bars)
    assert {bar: fill for bar, (_, fill, _) in enumerate(plans) if fill} == fills
    assert [bar for bar, (_, _, crash) in enumerate(plans) if crash] == [
        bar + 1 for bar, fill in fills.items() if fill == 2 and bar + 1 < bars
    ]


def test_eight_bars_of_each_pattern_take_turns() -> None:
    assert [pattern for pattern, _, _ in over(24)] == ["a"] * 8 + ["b"] * 8 + ["a"] * 8


def test_sections_choose_the_pattern() -> None:
    """The first section's name has A, the second's B, wherever they come; each closes with a fill."""
    chart = parse_chart(
        "[A]\n| Ab | Db | Eb7 | Ab |\n[B]\n| Fm | Bbm | Eb7 | Ab |\n[A]\n| Ab | Db | Eb7 | Ab |"
    )
    assert [name for _, name in chart.sections] == ["A", "B", "A"]
    plans = planned(chart)
    assert [plan.pattern for plan in plans] == ["a"] * 4 + ["b"] * 4 + ["a"] * 4
    assert [bar for bar, plan in enumerate(plans) if plan.fill] == [3, 7, 11]
    assert [plan.number for plan in plans] == [0, 1, 2, 3] * 3
    again = planned(chart, 1)
    assert [plan.pattern for plan in again] == [plan.pattern for plan in plans]
    assert again[0].crash


@pytest.mark.parametrize(("rhythm", "metre"), EVERY)
def test_every_rhythm_is_arranged(rhythm: str, metre: str) -> None:
    """Two patterns that differ in the drums and in bass or left hand, a fill that is neither, and a crash."""
    own = band(PACK, rhythm, METRES[metre])
    assert own.a.drums != own.b.drums
    assert (own.a.bass, own.a.chords) != (own.b.bass, own.b.chords)
    assert own.fills
    assert all(fill not in (*own.a.drums, *own.b.drums) for fill in own.fills)
    assert own.crash
    assert (
        max(len(own.a.bass), len(own.a.chords), len(own.b.bass), len(own.b.chords)) > 1
        or own.a.bass[0][0][2] == "walk"
    )


@pytest.mark.parametrize(("rhythm", "metre"), EVERY)
def test_a_drummer_has_two_hands(rhythm: str, metre: str) -> None:
    """No more than two drums of the kit are struck by hand at one moment, in any bar, fill or after a fill."""
    chart = parse_chart("| Ab " * 17 + "|", metre=metre)
    for turn in (0, 1):
        for bar in arranged(PACK, rhythm, chart, turn).drums:
            struck = Counter(hit.tick for hit in bar if hit.key in KIT - FEET)
            assert max(struck.values(), default=0) <= 2
            assert len({(hit.tick, hit.key) for hit in bar}) == len(bar)


@pytest.mark.parametrize("rhythm", ["swing", "foxtrot", "quickstep", "jive", "jazz waltz", "slow foxtrot"])
def test_the_ride_leans_on_two_and_four(rhythm: str) -> None:
    """Where the ride swings its accents are on two and four, those of a waltz on two (common practice)."""
    metre = METRES["3/4" if rhythm == "jazz waltz" else "4/4"]
    own = band(PACK, rhythm, metre)
    ride = percussion("Ride Cymbal 1")
    bars = [bar for pattern in (own.a, own.b) for bar in pattern.drums if any(hit.key == ride for hit in bar)]
    assert bars
    for bar in bars:
        loud = max(hit.velocity for hit in bar if hit.key == ride)
        accents = {hit.tick for hit in bar if hit.key == ride and hit.velocity == loud}
        assert accents == ({480} if metre.name == "3/4" else {480, 1440})


@pytest.mark.parametrize("rhythm", ["ballad", "cha-cha"])
def test_dances_with_a_kick_have_one(rhythm: str) -> None:
    own = band(PACK, rhythm, METRES["4/4"])
    assert all(any(hit.key == percussion("Bass Drum 1") for hit in bar) for bar in own.a.drums)


def test_the_bossa_leaves_the_clave_to_the_side_stick() -> None:
    """The bossa-nova clave is [0 3 6 10 13] of 16 eighths (Toussaint, The Geometry of Musical Rhythm, chapter 7); the left
    hand shares its first stroke with it at most."""
    own = band(PACK, "bossa nova", METRES["4/4"])
    for pattern in (own.a, own.b):
        stick = {
            n * 8 + hit.tick // 240
            for n in (0, 1)
            for hit in pattern.drums[n % len(pattern.drums)]
            if hit.key == 37
        }
        chords = {
            n * 8 + onset // 240 for n in (0, 1) for onset, _ in pattern.chords[n % len(pattern.chords)].notes
        }
        assert stick == {0, 3, 6, 10, 13}
        assert len(stick & chords) <= 1


OWN = """
[[rhythm]]
name = "mine"
tempo = 100
[rhythm.cells."4/4"]
few = ["h h"]
some = ["q q h"]
many = ["q q q q"]
[rhythm.closes."4/4"]
few = ["w"]
some = ["h h"]
many = ["q q h"]
"""


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[rhythm.accompaniment."4/4"]\nleft = "brokn"', "broken"),
        ('[rhythm.accompaniment."4/4"]\npedal = 1', "true or false"),
        ('[rhythm.accompaniment."4/4".b]\nbas = ["1w"]', "bass"),
        ('[rhythm.accompaniment."4/4"]\nb = "1w"', "table"),
        ('[rhythm.drums."4/4".fill]\n"Acoustic Snare" = ["x.x.", "x...", "xxxx"]', "2 fills"),
        ('[rhythm.drums."4/4".crash]\n"Crash Cymbl 1" = ["x..."]', "Crash Cymbal 1"),
        ('[rhythm.drums."4/4".b]\n"Acoustic Snare" = ["x.y."]', "steps"),
    ],
)
def test_mistakes_in_an_own_rhythm_are_named(text: str, said: str) -> None:
    pack = RulePack(tomllib.loads(OWN + text), "own.toml")
    with pytest.raises(PackError) as caught:
        band(pack, "mine", METRES["4/4"])
    assert said in f"{caught.value.message} {caught.value.hint}"
    assert "own.toml" in str(caught.value)


def test_an_own_rhythm_of_one_pattern_has_it_throughout() -> None:
    """Without B, fills and crash the pattern goes on from bar to bar."""
    pack = RulePack(tomllib.loads(OWN + '[rhythm.drums."4/4"]\n"Acoustic Snare" = ["x.x."]'), "own.toml")
    drums = arranged(pack, "mine", parse_chart("| Ab " * 12 + "|")).drums
    assert len(set(drums)) == 1
