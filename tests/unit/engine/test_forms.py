"""Forms: which passages of a chart come back, and what that leaves of the rhythm and of the pitches."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import pytest

from fillgen.chart.progression import Progression
from fillgen.chart.text import parse_chart
from fillgen.dice import Dice
from fillgen.engine.forms import NOWHERE, STAYS, Forms, Likeness, Outline, Passage, moved
from fillgen.engine.generate import Engine
from fillgen.engine.plans import Plan, plans
from fillgen.engine.repeats import repeats
from fillgen.engine.request import Request, settle
from fillgen.rules.pack import RulePack
from fillgen.theory.metre import METRES

PACK = RulePack()
A = "Ab | Fm7 | Bbm7 | Eb7 | Ab | Fm7 | Bbm7 Eb7 | Ab"
B = "Db | Dbm6 | Ab | Ab | Bb7 | Bb7 | Eb7 | Eb7"
BLUES = "| G7 | C7 | G7 | G7 | C7 | C7 | G7 | E7 | Am7 | D7 | G7 | D7 |"
SEEDS = range(60)


def chart(*sections: str, metre: str = "4/4") -> Progression:
    return parse_chart(f"| {' | '.join(sections)} |", metre=METRES[metre])


def outlines(progression: Progression) -> Iterator[Outline]:
    forms = Forms(progression, PACK.forms)
    for seed in SEEDS:
        yield forms.outline(Dice(seed))


def places(progression: Progression) -> Counter[tuple[tuple[int, ...], int]]:
    """How often each passage comes up: the first bars of its places, and its length."""
    return Counter((p.firsts, p.bars) for outline in outlines(progression) for p in outline.passages)


# Passages of a chart


def test_question_and_answer() -> None:
    """Over eight bars the beginning comes back with another close, and often nothing has to."""
    found = places(chart(A))
    assert found[(0, 4), 2] > found[(0, 4), 1]
    assert all(firsts == (0, 4) and bars <= 3 for firsts, bars in found)
    without = sum(not outline.passages for outline in outlines(chart(A)))
    assert len(SEEDS) // 5 < without < len(SEEDS) * 4 // 5


def test_song_of_four_sections() -> None:
    """In AABA the six first bars of A come back in the second and the last; what returns within A does so in all."""
    found = [outline for outline in outlines(chart(A, A, B, A)) if outline.passages]
    whole = [p for outline in found for p in outline.passages if p.firsts == (0, 8, 24)]
    assert len(whole) > 0.7 * len(SEEDS)
    assert {p.bars for p in whole} == {6}
    assert any(p.inside for p in whole)
    assert any(gap for p in whole for gap in p.between)
    sources = Outline((), (Passage((0, 8, 24), 6, inside=(Passage((0, 4), 2),)),)).sources()
    assert [sources[bar] for bar in (4, 5, 8, 12, 13, 28)] == [0, 1, 0, 0, 1, 0]
    assert {6, 7, 14, 15, 16, 30, 31}.isdisjoint(sources)


def test_middle_of_a_song_over_one_loop_is_new() -> None:
    """Where all sections have the same chords, the third of four brings something new."""
    loop = "D | Bm | Em | A7 | D | Bm | Em | A7"
    assert (0, 8, 24) in {firsts for firsts, _ in places(chart(*[loop] * 4))}


def test_two_verses_of_two_sections() -> None:
    """Sections that alternate come back as pairs."""
    found = places(chart(A, B, A, B))
    assert found[(0, 16), 14] > 0.7 * len(SEEDS)


def test_blues_lines() -> None:
    """The second line of a blues takes up the bars of the first whose chords it shares."""
    found = places(parse_chart(BLUES))
    assert max(found, key=found.__getitem__) == ((1, 5), 2)
    assert Likeness(parse_chart(BLUES)).sections == [range(12)]
    assert Likeness(parse_chart(f"{BLUES} {BLUES[2:]}")).sections == [range(12), range(12, 24)]


@pytest.mark.parametrize("bars", range(1, 40))
def test_passages_fit_their_chart(bars: int) -> None:
    """Whatever the length, places neither overlap nor reach the last bar, and repeat bars of like chords."""
    progression = chart(" | ".join((["F", "Gm7", "C7", "F", "Dm", "Gm7", "C7"] * 6)[:bars]))
    for outline in outlines(progression):
        assert len(outline.letters) == bars
        sources = outline.sources()
        assert all(source < bar < bars - 1 for bar, source in sources.items())
        assert all(outline.letters[bar] == outline.letters[source] for bar, source in sources.items())
        for passage in outline.passages:
            assert all(one + passage.bars <= other for one, other in pairwise(passage.firsts))
        assert all(one.firsts[-1] + one.bars <= two.firsts[0] for one, two in pairwise(outline.passages))


# Sequences


def test_sequence_along_the_scale() -> None:
    """Where chords move by a step of the key, so does the motif: D minor to E minor in C, with F moving to G."""
    likeness = Likeness(parse_chart("| C | Dm7 | Em7 | F | G7 | C |", key="C"))
    shift = likeness.shift(range(1, 2), 1)
    assert shift is not None
    assert [shift[pc] for pc in (2, 5, 9, 0)] == [2, 2, 2, 2]
    assert shift[4] == 1
    assert shift[1] == NOWHERE
    assert likeness.shift(range(2, 3), 1) is None
    assert likeness.shift(range(3, 4), 1) is None


def test_sequence_by_semitones() -> None:
    """Where chords leave the key, a sequence moves by a whole tone or a semitone."""
    likeness = Likeness(parse_chart("| Gm7 C7 | Fm7 Bb7 | Eb |", key="Eb"))
    assert likeness.shift(range(1), 1) == (-2,) * 12
    assert moved(0b10010001, (-2,) * 12) == 1 << 10 | 1 << 2 | 1 << 5
    assert moved(1, (NOWHERE, *STAYS[1:])) is None


def test_sequences_come_up() -> None:
    """Over chords that move by a step some outlines have a motif and its sequence."""
    found = places(parse_chart("| Bb | Cm7 | Dm7 | Eb | Cm7 | F7 | Dm7 | Bb |"))
    assert found[(1, 2), 1] > 0


# Rhythm


@pytest.mark.parametrize("level", [3, 4, 5])
@pytest.mark.parametrize(("rhythm", "metre"), [("swing", "4/4"), ("waltz", "3/4"), ("slow 6/8", "6/8")])
def test_bars_that_return_have_their_rhythm(level: int, rhythm: str, metre: str) -> None:
    """The notes of every place of a passage begin and last alike, pushed notes too."""
    plain = A.replace("Bbm7 Eb7", "Eb7")
    progression = chart(plain, plain, B, plain, metre=metre)
    engine = Engine(settle(Request(progression, level=level, rhythm=rhythm)))
    stream = plans(
        progression,
        engine.choices.level,
        engine.choices.rhythm,
        "some",
        engine.choices.shapes,
        PACK,
        engine.fits,
        Dice(level),
    )
    seen = 0
    for _, plan in zip(range(12), stream, strict=False):
        for bar, source in Outline(plan.letters, plan.passages).sources().items():
            assert _inside(plan, bar, progression.metre.bar) == _inside(plan, source, progression.metre.bar)
            seen += 1
    assert seen > 100


def _inside(plan: Plan, bar: int, size: int) -> list[tuple[int, int]]:
    return [(onset - bar * size, length) for onset, length in plan.rhythm if onset // size == bar]


# Notes


def plan_of(rhythm: str, passages: tuple[Passage, ...], bars: int) -> Plan:
    """A plan in which every bar has the same notes, given as beats."""
    onsets = [(480 * int(beat), 480) for beat in rhythm.split()]
    notes = tuple((bar * 1920 + onset, length) for bar in range(bars) for onset, length in onsets)
    return Plan(notes, ("a",) * bars, (0,) * len(notes), PACK.shapes["rise"], passages)


def test_notes_that_return_share_their_pitches() -> None:
    """A note has the pitches that it can have at every place; one that moves has them moved."""
    up = (2,) * 12
    plan = plan_of("0 2", (Passage((0, 2), 1, (STAYS, up)),), 3)
    low, high = np.arange(60, 66, dtype=np.int16), np.arange(64, 72, dtype=np.int16)
    found = repeats(plan, [low, low, high, high, high, high], 1920)
    assert found is not None
    assert [own.tolist() for own in found.pitches[:2]] == [[62, 63, 64, 65]] * 2
    assert [own.tolist() for own in found.pitches[4:]] == [[64, 65, 66, 67]] * 2
    assert found.pitches[2].tolist() == high.tolist()
    assert found.common[4].tolist() == [0, 1, 2, 3]
    assert [(same.firsts, same.size) for same in found.sames] == [((0, 4), 2)]


def test_nothing_returns_where_nothing_can() -> None:
    """A passage of one note is too short, and places without a common pitch leave nothing."""
    low, high = np.arange(60, 66, dtype=np.int16), np.arange(70, 76, dtype=np.int16)
    assert repeats(plan_of("0", (Passage((0, 1), 1),), 3), [low] * 3, 1920) is None
    assert repeats(plan_of("0 2", (Passage((0, 1), 1),), 3), [low, low, high, high, low, low], 1920) is None
    assert repeats(plan_of("0 2", (), 3), [low] * 6, 1920) is None


def test_moves_add_up() -> None:
    """A passage that returns within one that moves moves with it."""
    up = (2,) * 12
    inner = Passage((0, 1), 1, (STAYS, up))
    plan = plan_of("0 2", (Passage((0, 2), 2, (STAYS, up), inside=(inner,)),), 5)
    wide = np.arange(55, 80, dtype=np.int16)
    found = repeats(plan, [wide] * 10, 1920)
    assert found is not None
    assert [own.tolist()[0] for own in found.pitches[::2]] == [55, 57, 57, 59, 55]
