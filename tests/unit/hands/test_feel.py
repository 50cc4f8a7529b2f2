"""Played, not typed: loudness, lengths and places of a take at the usual feel, and nothing of them at 0."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from functools import cache
from statistics import mean

import pytest

import fillgen
from fillgen.app.options import PlayOptions
from fillgen.hands.feel import Feel
from fillgen.hands.playing import PARTS, USUAL_FEEL, Playing, played_as
from fillgen.hands.stroke import Stroke
from fillgen.hands.take import Ensemble
from fillgen.phrase.articulation import slurred
from fillgen.rules.pack import RulePack
from fillgen.theory.metre import METRES, Timeline, swung

CHART = "| Ebmaj7 | Cm7 | Fm7 | Bb7 | Gm7 | C7 | Fm7 Bb7 | Eb6 |"
RHYTHMS = ("swing", "bossa nova", "ballad", "foxtrot", "eight-beat")


@cache
def ideas_of(rhythm: str, seed: int = 3) -> fillgen.Ideas:
    return fillgen.ideas(CHART, rhythm=rhythm, level=4, count=1, seed=seed)


def strokes_of(rhythm: str, part: str, feel: float = USUAL_FEEL, **asked: object) -> tuple[Stroke, ...]:
    ideas = ideas_of(rhythm)
    playing = replace(Playing(parts=PARTS, feel=feel), **asked)  # type: ignore[arg-type]
    return Ensemble(ideas, playing).take(ideas[0]).strokes[part]


def test_a_take_has_feel_unless_none_is_asked_for() -> None:
    assert played_as(PlayOptions(), RulePack())[0].feel == USUAL_FEEL == 0.3
    assert played_as(PlayOptions(feel=0), RulePack())[0].feel == 0


@pytest.mark.costly
@pytest.mark.parametrize("rhythm", RHYTHMS)
def test_the_right_hand_is_not_typed(rhythm: str) -> None:
    """At least eight velocities over eight bars, and the same ones every time."""
    played = strokes_of(rhythm, "right")
    assert len({s.velocity for s in played}) >= 8
    assert played == strokes_of(rhythm, "right")
    ideas = ideas_of(rhythm)
    other = Ensemble(replace(ideas, seed=ideas.seed + 1), Playing(feel=USUAL_FEEL)).take(ideas[0])
    assert other.strokes["right"] != played


@pytest.mark.parametrize("part", PARTS)
def test_nothing_moves_without_feel(part: str) -> None:
    """At 0 everything is where the swing puts it, and as long as it is written."""
    straight = strokes_of("swing", part, feel=0.0, swing=1.0)
    found = [(s.tick, s.tick + s.length, s.midi) for s in strokes_of("swing", part, feel=0.0)]
    assert found == [(swung(s.tick, 2.0), swung(s.tick + s.length, 2.0), s.midi) for s in straight]


def test_off_beats_are_accented_in_swing() -> None:
    """Off the beat louder than on it where eighths swing, and softer where they don't (common practice)."""
    for rhythm, louder in (("swing", True), ("eight-beat", False)):
        found: dict[bool, list[int]] = defaultdict(list)
        exact = strokes_of(rhythm, "right", feel=0.0, swing=1.0)
        for written, s in zip(exact, strokes_of(rhythm, "right"), strict=True):
            found[written.tick % 480 != 0].append(s.velocity)
        assert (mean(found[True]) > mean(found[False])) == louder


def test_higher_is_louder() -> None:
    """High-loud (Friberg, Bresin and Sundberg 2006, from memory): of a rising scale in even places the top is the loudest."""
    feel = Feel(USUAL_FEEL, 5, 120, False, Timeline(METRES["4/4"]))
    line = [Stroke(1920 * n, 480, 60 + 2 * n, 80) for n in range(8)]
    found = [s.velocity for s in feel.loudness("right", line, 0)]
    assert found[-1] > found[0]
    assert mean(found[4:]) > mean(found[:4])


@pytest.mark.parametrize("rhythm", RHYTHMS)
def test_lengths_are_nine_tenths_or_legato(rhythm: str) -> None:
    """A note sounds .9 of what is written, or at most 45 ms less; one that is slurred sounds until the next begins."""
    ideas = ideas_of(rhythm)
    exact = strokes_of(rhythm, "right", feel=0.0)
    written = [(n.onset, n.length, n.midi) for n in ideas[0].phrase]
    joined = slurred(written, ideas.progression.timeline, swings=ideas.swing)
    played = strokes_of(rhythm, "right")
    tick = 60_000 / 480 / ideas.tempo
    for number, (a, b) in enumerate(zip(played, exact, strict=True)):
        if number in joined:
            assert a.tick + a.length == played[number + 1].tick
        else:
            gap = min(0.1 * b.length, 45 / tick, 60)
            assert a.length <= b.length
            assert b.length - a.length >= gap * 0.7 - 16 / tick
    assert any(a.length < b.length for a, b in zip(played, exact, strict=True))


@pytest.mark.parametrize("feel", [USUAL_FEEL, 1.0])
def test_what_falls_together_moves_together(feel: float) -> None:
    """Kick and ride, the keys of a chord: struck at once on paper, struck at once in the take; no flams."""
    for part in ("drums", "left"):
        together: dict[int, set[int]] = defaultdict(set)
        exact = sorted(strokes_of("swing", part, feel=0.0), key=lambda s: (s.tick, s.midi))
        felt = sorted(strokes_of("swing", part, feel=feel), key=lambda s: (s.tick, s.midi))
        for a, b in zip(exact, felt, strict=True):
            assert a.midi == b.midi
            together[a.tick].add(b.tick)
        assert all(len(ticks) == 1 for ticks in together.values())
        assert any(ticks != {tick} for tick, ticks in together.items())


def test_the_drummer_is_a_little_ahead_of_the_bass() -> None:
    """Where both strike, by the same few milliseconds throughout (common practice)."""
    tick = 60_000 / 480 / ideas_of("swing").tempo
    bass = {s.tick for s in strokes_of("swing", "bass")}
    exact = {s.tick for s in strokes_of("swing", "bass", feel=0.0)}
    drums = zip(
        sorted(strokes_of("swing", "drums", feel=0.0), key=lambda s: (s.tick, s.midi)),
        sorted(strokes_of("swing", "drums"), key=lambda s: (s.tick, s.midi)),
        strict=True,
    )
    ahead = set()
    for written, played in drums:
        if written.tick in exact and written.tick:
            ahead.add(min((b - played.tick for b in bass), key=abs))
    assert {round(ticks * tick) for ticks in ahead} <= {3, 4, 5}
