"""What phrases are made to keep, and what a hand allows: against plain filtering of all phrases."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

import fillgen
from fillgen import Ideas
from fillgen.chart.text import parse_chart
from fillgen.dice import Dice
from fillgen.engine.generate import Engine, Kept, PhraseSpace
from fillgen.engine.plans import Plan
from fillgen.engine.request import Request, hand_use, seconds_of, settle, since_of
from fillgen.hands.fingering import difficulties, difficulty
from fillgen.hands.reach import JUMP_SECONDS, SIZES, reach
from fillgen.phrase.note import Phrase
from fillgen.rules.pack import RulePack
from fillgen.theory.metre import METRES
from fillgen.theory.swing import swing_at
from tests.effort import one_in
from tests.properties.variety import drawn

CHARTS = ("| C | G7 |", "| Am | Dm7 G7 |", "| Ebmaj7 | Bb7 |")
CASES = 60


def engine_of(chart: str, level: int) -> Engine:
    """An engine over a narrow range, so that all phrases can be looked at."""
    return Engine(settle(Request(parse_chart(chart), level=level, low=64, high=74)))


def pitches_of(engine: Engine, space: PhraseSpace) -> set[tuple[int, ...]]:
    """Every phrase of a space as pitches."""
    domains = space.pitches
    return {
        tuple(int(domain[i]) for domain, i in zip(domains, row, strict=True))
        for row in space.lattice.phrases().tolist()
    }


def kept_for(phrase: tuple[int, ...], case: int) -> Kept:
    """Something of a phrase to keep: some pitches, some rises, or both."""
    chance = random.Random(case)
    pitches = {index: midi for index, midi in enumerate(phrase) if chance.random() < 0.3}
    rises = {
        index: int(np.sign(now - before))
        for index, (before, now) in enumerate(pairwise(phrase), 1)
        if chance.random() < 0.4
    }
    return Kept(pitches, rises)


def test_kept_phrases_are_those_of_all_that_keep() -> None:
    """A space that keeps pitches and rises holds exactly the phrases of the whole space that have them."""
    tried = 0
    for case in range(CASES):
        chance = random.Random(1000 + case)
        engine = engine_of(chance.choice(CHARTS), chance.choice((2, 3, 5)))
        plan = min(engine.spaces(Dice(case)), key=lambda space: space.count).plan
        short = Plan(plan.rhythm[:5], plan.letters, plan.intervals[:5], plan.shape)
        every = pitches_of(engine, engine.space(short))
        if not every:
            continue
        tried += 1
        kept = kept_for(chance.choice(sorted(every)), case)
        space = engine.space(short, kept)
        wanted = {
            phrase
            for phrase in every
            if all(phrase[index] == midi for index, midi in kept.pitches.items())
            and all(np.sign(phrase[i] - phrase[i - 1]) == rise for i, rise in kept.rises.items())
        }
        assert pitches_of(engine, space) == wanted, case
        assert space.count == len(wanted) > 0, case
    assert tried > 0.9 * CASES


def test_draws_keep_what_shall_be_kept() -> None:
    """Where phrases are drawn and not listed, each keeps the pitches and rises, and leans to what is near."""
    engine = Engine(settle(Request(parse_chart("| Eb | Ab | Fm7 | Bb7 |"), busy="many")))
    plan = max(engine.spaces(Dice(1)), key=lambda space: space.count).plan
    kept = Kept({0: 67, 3: 70}, {2: -1})
    space = engine.space(plan, kept)
    assert space.count > 100_000
    (found,) = engine.candidates([space], space.count, Dice(2))
    assert (found.pitches[:, 0] == 67).all()
    assert (found.pitches[:, 3] == 70).all()
    assert (found.pitches[:, 2] < found.pitches[:, 1]).all()
    rare = min(set(found.pitches[:, 5].tolist()), key=found.pitches[:, 5].tolist().count)
    leaning = engine.space(plan, Kept(kept.pitches, kept.rises, {5: (rare, 8.0)}))
    assert leaning.count == space.count
    (leant,) = engine.candidates([leaning], leaning.count, Dice(2))
    assert (leant.pitches[:, 5] == rare).mean() > max(0.5, 2 * (found.pitches[:, 5] == rare).mean())


def test_a_pitch_that_cannot_be_kept_leaves_nothing() -> None:
    """Where the rules forbid what shall be kept there is no phrase, and none is drawn."""
    engine = Engine(settle(Request(parse_chart("| C | G7 |"))))
    plan = engine.spaces(Dice(0))[0].plan
    assert engine.space(plan, Kept({0: 1})).count == 0


# Hands


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("notes", [1, 2, 3, 8, 17])
def test_difficulties_of_many_are_those_of_each(size: str, notes: int) -> None:
    """Reckoned for many melodies at once, difficulty is what it is for each, keys struck again included."""
    chance = random.Random(notes)
    rows = np.array([[chance.randrange(55, 90) for _ in range(notes)] for _ in range(120)], dtype=np.int16)
    for row in rows[:60]:
        for index in range(1, notes):
            row[index] = row[index - 1] if chance.random() < 0.4 else row[index]
    seconds = [0.3 * index + 0.1 * (index % 3) for index in range(notes)]
    found = difficulties(rows, seconds, reach(size))
    assert found == pytest.approx([difficulty(row.tolist(), seconds, reach(size)) for row in rows])


_LEAPS = {"kind": "leap-limit", "semitones": 16}
WIDE = RulePack(
    {
        "level": [{"number": 9, "like": 5, "low": "C4", "high": "C6", "rule": [_LEAPS]}],
        "weights": {name: 0.0 for name in RulePack().weights if name not in ("key", "colour", "ease")},
        "rhythm": [{**RulePack().rhythm_row(name), "idiom": {}} for name in ("swing", "bossa nova")],
    }
)
"""A level whose leaps go beyond every hand, and no liking for small ones, nor for what a rhythm's lines lean to."""


def out_of_reach(phrases: Iterable[Phrase], found: Ideas, size: str) -> int:
    """How many notes of phrases, played like some ideas, lie farther from the one before than a hand spans in comfort, and come before it can move."""
    comfort = reach(size).between(1, 5).comfortable[1]
    swing = swing_at(found.progression.metre, found.tempo, found.swing)
    far = 0
    for phrase in phrases:
        seconds = seconds_of([note.onset for note in phrase], found.tempo, swing)
        for (one, two), (before, now) in zip(pairwise(phrase), pairwise(seconds), strict=True):
            # Waits are rounded to milliseconds
            far += abs(two.midi - one.midi) > comfort and now - before < JUMP_SECONDS - 0.001
    return far


@cache
def wide_ideas(rhythm: str, hand: str | None) -> Ideas:
    """Many quick ideas of that level."""
    return fillgen.ideas(
        "| Cm | Ab | Fm | G7 |",
        rhythm=rhythm,
        tempo=240,
        level=9,
        busy="many",
        count=150,
        seed=1,
        hand=hand,
        rules=WIDE,
    )


@pytest.mark.parametrize("rhythm", one_in(2, ["swing", "bossa nova"]))
@pytest.mark.parametrize("size", SIZES)
def test_ideas_for_a_hand_lie_in_its_reach(size: str, rhythm: str) -> None:
    """Fair draws for no hand leap too far too soon; asked for a hand, no draw does, and no idea."""
    found = wide_ideas(rhythm, size)
    assert len(found) > 0
    assert found.hand == size
    assert out_of_reach((idea.phrase for idea in found), found, size) == 0
    asked = Request(found.progression, rhythm=rhythm, tempo=240, level=9, busy="many", count=150, pack=WIDE)
    assert out_of_reach(drawn(asked), found, size) > 0
    assert out_of_reach(drawn(replace(asked, hand=size)), found, size) == 0
    assert all(0 < idea.terms["ease"] <= 1 for idea in found)


def test_a_small_hand_leaves_fewer_phrases() -> None:
    """At a fast tempo the rule of a small hand takes phrases away; at a slow one it takes none."""
    counts = {
        (size, tempo): fillgen.ideas(
            "| C | G7 |", rhythm="swing", level=4, busy="many", tempo=tempo, hand=size, count=1
        ).phrases
        for size in ("small", "medium")
        for tempo in (60, 240)
    }
    assert counts["small", 240] < counts["medium", 240]
    assert counts["small", 60] == counts["medium", 60]


def test_ease_lifts_what_lies_well() -> None:
    """With a heavy weight on ease the ideas are easier to finger than without."""
    pack = RulePack({"weights": {"ease": 20.0}})
    chart = "| Ebmaj7 | Cm7 | Fm7 | Bb7 |"

    def mean(hand: str | None) -> float:
        found = fillgen.ideas(chart, hand=hand, rules=pack, busy="many", count=20)
        return float(
            np.mean(
                [
                    difficulty(
                        [note.midi for note in idea.phrase],
                        seconds_of([note.onset for note in idea.phrase], found.tempo),
                    )
                    for idea in found
                ]
            )
        )

    assert mean("medium") < mean(None)


def test_no_hand_changes_nothing_but_the_fingers() -> None:
    """Without a size of hand the ease of fingering counts for nothing, whatever its weight."""
    plain = fillgen.ideas("| F | C7 |", count=5)
    heavy = fillgen.ideas("| F | C7 |", count=5, rules=RulePack({"weights": {"ease": 50.0}}))
    assert [idea.text for idea in plain] == [idea.text for idea in heavy]
    assert "ease" not in plain[0].terms
    assert all(1 <= told.finger <= 5 for idea in plain for told in idea.notes)


def test_milliseconds_since_the_note_before() -> None:
    """Onsets in ticks become seconds at the tempo, swung where it swings, and the waits between them."""
    beat = METRES["4/4"].beat
    straight = seconds_of([0, beat // 2, beat], 120)
    assert straight == (0.0, 0.25, 0.5)
    assert since_of(straight) == (0, 250, 250)
    assert since_of(seconds_of([0, beat // 2, beat], 120, 2.0)) == (0, 333, 167)
    assert since_of(()) == ()
    assert hand_use(reach("small")).settings["semitones"] == 11
