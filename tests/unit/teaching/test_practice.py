"""The plan of a session: its order, its tempi, its rests and its length, and what it refuses."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import groupby, pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import fillgen
from fillgen import Ideas, OptionError
from fillgen.hands.playing import PARTS
from fillgen.teaching.keys import in_keys, keys_through
from fillgen.teaching.practice import (
    MOST_MINUTES,
    REST_AFTER,
    REST_SECONDS,
    Round,
    Session,
    call_and_answer,
    loop,
    minutes,
    tempi,
    through_keys,
)


@cache
def made(tempo: int = 116) -> Ideas:
    """Three ideas over four bars."""
    return fillgen.ideas("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", rhythm="foxtrot", count=3, seed=4, tempo=tempo)


def looped(tempo: int = 116, **options: Any) -> Session:
    """A loop of the first idea."""
    return loop(made(tempo), made(tempo)[0], **options)


def seconds(each: Round, bars: int, bar: float = 4) -> float:
    """How long the bars of a round and those before it last, in seconds, counted in quarter notes."""
    return (each.rest + each.count_in + bars) * bar * 60 / each.tempo


# Tempi


@settings(deadline=None)
@given(st.integers(20, 400), st.floats(0.3, 1), st.integers(1, 12))
def test_tempi_rise_to_the_tempo(tempo: int, slowest: float, steps: int) -> None:
    """Tempi are whole and rise strictly, the last is the tempo, the first the share asked for, none is off the line."""
    found = tempi(tempo, slowest, steps)
    assert all(isinstance(each, int) and each >= 1 for each in found)
    assert all(a < b for a, b in pairwise(found))
    assert found[-1] == tempo
    assert 1 <= len(found) <= steps
    if steps > 1:
        assert abs(found[0] - tempo * slowest) <= 0.5
    if tempo * (1 - slowest) >= 2 * steps:
        assert len(found) == steps
        line = [tempo * (slowest + (1 - slowest) * n / max(1, steps - 1)) for n in range(steps)]
        assert steps == 1 or max(abs(a - b) for a, b in zip(found, line, strict=True)) <= 0.5


@pytest.mark.parametrize(
    ("asked", "wanted"),
    [((116,), (70, 85, 101, 116)), ((100, 0.5, 2), (50, 100)), ((90, 0.6, 1), (90,)), ((90, 1.0, 5), (90,))],
)
def test_tempi_by_hand(asked: tuple[Any, ...], wanted: tuple[int, ...]) -> None:
    """Some tempi worked out by hand; steps that would be the same tempo are one."""
    assert tempi(*asked) == wanted


# A loop


def test_the_order_of_a_loop() -> None:
    """At every tempo the right hand alone, both hands, all parts, each twice; then the next tempo."""
    rounds = looped().rounds
    stages = [("right",)] * 2 + [("right", "left")] * 2 + [PARTS] * 2
    assert [each.parts for each in rounds] == stages * 4
    assert [tempo for tempo, _ in groupby(rounds, key=lambda each: each.tempo)] == [70, 85, 101, 116]
    assert [each.count_in for each in rounds] == [True] + [False] * 23
    assert all("right" in each.parts for each in rounds)
    assert {each.idea.text for each in rounds} == {made()[0].text}


def test_labels_are_plain() -> None:
    """A label tells the tempo, what sounds, and which time it is where there is more than one."""
    assert looped().rounds[0].label == "70 a minute, right hand alone, time 1 of 2"
    labels = [each.label for each in looped(steps=1, times=1).rounds]
    assert labels == [f"116 a minute, {part}" for part in ("right hand alone", "both hands", "all parts")]


@pytest.mark.parametrize(
    ("parts", "stages"),
    [
        (("right",), [("right",)]),
        (("left", "right"), [("right",), ("right", "left")]),
        (("right", "bass"), [("right",), ("right", "bass")]),
        (("drums", "bass", "left"), [("left", "bass", "drums")]),
        (("drums", "left", "right"), [("right",), ("right", "left"), ("right", "left", "drums")]),
    ],
)
def test_fewer_parts_have_fewer_stages(parts: tuple[str, ...], stages: list[tuple[str, ...]]) -> None:
    """No stage comes twice where parts are left out, and a part left out is in none."""
    session = looped(steps=1, times=1, parts=parts)
    assert [each.parts for each in session.rounds] == stages


def test_starts_and_length() -> None:
    """Rounds follow without a gap: rest, count-in, bars, and the session ends with the last of them."""
    session = looped(times=4)
    bar, length = 1920, 4 * 1920
    assert session.starts[0] == bar
    for (start, _), (then, after) in pairwise(zip(session.starts, session.rounds, strict=True)):
        assert then == start + length + (after.rest + after.count_in) * bar
    assert session.length == session.starts[-1] + length


def test_minutes_are_those_of_the_bars() -> None:
    """The length is that of all bars at their tempi; in 3/4 a bar has three quarter notes."""
    session = looped(times=3)
    assert minutes(session) == pytest.approx(sum(seconds(each, 4) for each in session.rounds) / 60)
    waltz = fillgen.ideas("| F | Gm7 | C7 | F |", metre="3/4", tempo=90, count=1)
    once = loop(waltz, waltz[0], steps=1, times=1)
    assert minutes(once) * 60 == pytest.approx((1 + 3 * 4) * 3 * 60 / 90)


# Rests


@settings(deadline=None)
@given(st.integers(60, 240), st.integers(1, 12), st.integers(1, 6), st.booleans())
def test_rests_come_in_time(tempo: int, steps: int, times: int, answers: bool) -> None:
    """Nobody plays longer than five minutes without a rest of empty bars, and none comes before the first round."""
    try:
        ideas = replace(made(), tempo=tempo)
        session = (
            call_and_answer(ideas, turns=min(50, steps * times))
            if answers
            else loop(ideas, ideas[0], steps=steps, times=times)
        )
    except OptionError as error:
        assert "minutes" in error.message  # noqa: PT017 - only some sessions are too long
        return
    assert session.rounds[0].rest == 0
    metre = session.ideas.progression.metre
    for each in session.rounds:
        bar = metre.bar / 480 * 60 / each.tempo
        assert not each.rest or REST_SECONDS <= each.rest * bar < REST_SECONDS + bar
    played = 0.0
    for each in session.rounds:
        if each.rest:
            assert each.count_in
            assert "right" in each.parts
            played = 0.0
        played += seconds(replace(each, rest=0), 4) / 60
        assert played <= REST_AFTER + 1e-9


def test_a_long_session_rests_between_tempi() -> None:
    """Where the rounds of a tempo can be played without a rest, rests stand between tempi only."""
    rounds = looped(times=4).rounds
    rests = [index for index, each in enumerate(rounds) if each.rest]
    assert rests
    assert all(rounds[index].tempo > rounds[index - 1].tempo for index in rests)


# Call and answer


def test_the_order_of_calls_and_answers() -> None:
    """Idea after idea, each followed by the same bars without the right hand; then the first comes again."""
    session = call_and_answer(made(), turns=5)
    assert [each.idea.rank for each in session.rounds] == [1, 1, 2, 2, 3, 3, 1, 1, 2, 2]
    assert ["right" not in each.parts for each in session.rounds] == [False, True] * 5
    assert {each.parts for each in session.rounds} == {PARTS, PARTS[1:]}
    assert {each.tempo for each in session.rounds} == {116}


def test_the_music_goes_on_from_call_to_answer() -> None:
    """There is a count-in at the beginning and after a rest, nowhere else, and no rest before an answer."""
    session = call_and_answer(made(), turns=30)
    assert sum(each.rest > 0 for each in session.rounds) >= 1
    for index, each in enumerate(session.rounds):
        assert each.count_in == (index == 0 or each.rest > 0)
        assert not ("right" not in each.parts and each.rest)


@pytest.mark.parametrize("answers", [False, True])
def test_without_a_count_in_there_are_no_clicks(answers: bool) -> None:
    """Not before the first round and not after a rest; the rounds begin right where the ones before end."""
    ideas = made()
    session = call_and_answer(ideas, turns=30, count_in=False) if answers else looped(times=6, count_in=False)
    assert not any(each.count_in for each in session.rounds)
    assert session.starts[0] == 0
    assert any(each.rest for each in session.rounds)


# Through the keys


def taken(order: str = "fourths", **options: Any) -> Session:
    """The first idea through the keys of an order, or of a list."""
    keys = keys_through(order, made().progression.key)
    return through_keys(made(), in_keys(made(), made()[0], keys), **options)


def test_each_key_once_at_its_tempo() -> None:
    """All parts in every round, one round a key, one count-in, and no bar between two rounds."""
    session = taken()
    assert [each.label.split(",")[0] for each in session.rounds] == [
        f"{tonic} major" for tonic in ["Eb", "Ab", "Db", "Gb", "B", "E", "A", "D", "G", "C", "F", "Bb"]
    ]
    assert {(each.tempo, each.parts) for each in session.rounds} == {(116, PARTS)}
    assert [each.before for each in session.rounds] == [1] + [0] * 11
    assert [b - a for a, b in pairwise(session.starts)] == [session.ideas.progression.length] * 11
    assert [each.progression for each in session.by_key] == [session.over(each) for each in session.rounds]
    assert all(each.label.startswith(str(session.over(each).key)) for each in session.rounds)


def test_with_steps_each_key_rises_to_the_tempo() -> None:
    """A key is played at all its tempi, each as often as asked for, before the next key begins."""
    rounds = taken("Ab,B", steps=3, slowest=0.5, times=2, parts=("right", "left")).rounds
    assert [each.tempo for each in rounds] == [58, 58, 87, 87, 116, 116] * 2
    assert [key for key, _ in groupby(each.label.split(",")[0] for each in rounds)] == ["Ab major", "B major"]
    assert {each.parts for each in rounds} == {("right", "left")}
    assert rounds[1].label == "Ab major, 58 a minute, both hands, time 2 of 2"


def test_rests_come_between_keys() -> None:
    """Nobody plays longer than five minutes, and a key that can be played without a rest isn't parted."""
    session = taken(steps=4)
    played = 0.0
    for before, each in pairwise((session.rounds[0], *session.rounds)):
        if each.rest:
            assert each.count_in
            assert session.over(before) != session.over(each)
            played = 0.0
        played += seconds(replace(each, rest=0), 4) / 60
        assert played <= REST_AFTER + 1e-9
    assert any(each.rest for each in session.rounds)


def test_more_than_an_hour_through_the_keys_is_refused_with_what_fits() -> None:
    """The number in the hint fits, and one more does not."""
    with pytest.raises(OptionError) as caught:
        taken(steps=12, times=16)
    number = int(caught.value.hint.split()[4])
    assert minutes(taken(steps=12, times=number)) <= MOST_MINUTES
    with pytest.raises(OptionError, match="more than 60"):
        taken(steps=12, times=number + 1)


# What is refused


@pytest.mark.parametrize(
    ("options", "hint"),
    [
        ({"slowest": 0.29}, "from 0.3 to 1"),
        ({"slowest": 1.01}, "from 0.3 to 1"),
        ({"slowest": float("nan")}, "from 0.3 to 1"),
        ({"steps": 0}, "1 to 12 steps"),
        ({"steps": 13}, "1 to 12 steps"),
        ({"times": 0}, "1 to 16 times"),
        ({"times": 17}, "1 to 16 times"),
        ({"parts": ("right", "lefft")}, "Did you mean 'left'?"),
        ({"parts": ()}, "The parts are"),
    ],
)
def test_a_loop_refuses(options: dict[str, Any], hint: str) -> None:
    """A setting outside what is offered is refused with what is offered."""
    with pytest.raises(OptionError) as caught:
        looped(**options)
    assert hint in caught.value.hint


@pytest.mark.parametrize(
    ("options", "hint"),
    [
        ({"turns": 0}, "1 to 50 turns"),
        ({"turns": 51}, "1 to 50 turns"),
        ({"parts": ("right",)}, "left, bass, drums"),
        ({"parts": ("bass",)}, "add 'right'"),
    ],
)
def test_calls_and_answers_refuse(options: dict[str, Any], hint: str) -> None:
    """So are turns, and an answer over nothing."""
    with pytest.raises(OptionError) as caught:
        call_and_answer(made(), **options)
    assert hint in caught.value.hint


def test_no_ideas_are_no_call() -> None:
    """Without an idea there is nothing to answer to."""
    with pytest.raises(OptionError, match="no idea"):
        call_and_answer(replace(made(), ideas=()))


def test_a_loop_of_more_than_an_hour_is_refused_with_what_fits() -> None:
    """The number in the hint fits, and one more does not."""
    with pytest.raises(OptionError) as caught:
        looped(times=16, steps=12)
    number = int(caught.value.hint.split()[4])
    assert caught.value.hint == f"There is room for {number} times over."
    assert minutes(looped(times=number, steps=12)) <= MOST_MINUTES
    with pytest.raises(OptionError, match="more than 60"):
        looped(times=number + 1, steps=12)


def long_ideas(bars: int, tempo: int) -> Ideas:
    """An idea over so many bars."""
    chart = f"| {' | '.join(['C', 'G7'] * (bars // 2))} |"
    return fillgen.ideas(chart, tempo=tempo, count=1, level=2, busy="few")


def test_the_error_for_a_long_phrase_says_how_many_steps_fit() -> None:
    """Where not even one time over fits, the error names the steps that do; they fit, and one more does not."""
    ideas = long_ideas(64, 60)
    with pytest.raises(OptionError) as caught:
        loop(ideas, ideas[0], steps=12, times=1)
    number = int(caught.value.hint.split()[4])
    assert caught.value.hint.startswith(f"There is room for {number} step")
    assert minutes(loop(ideas, ideas[0], steps=number, times=1)) <= MOST_MINUTES
    with pytest.raises(OptionError):
        loop(ideas, ideas[0], steps=number + 1, times=1)


def test_what_never_fits_is_refused() -> None:
    """A phrase of which not one step fits in an hour has to be shorter."""
    ideas = replace(long_ideas(128, 60), tempo=20)
    with pytest.raises(OptionError) as caught:
        loop(ideas, ideas[0], steps=1, times=1)
    assert caught.value.hint == "Practise fewer bars at a time."
    with pytest.raises(OptionError) as caught:
        call_and_answer(ideas, turns=50)
    assert caught.value.hint == "There is room for 1 turn."


def test_too_many_turns_are_refused_with_what_fits() -> None:
    """The number of turns in the hint fits, and one more does not."""
    ideas = long_ideas(32, 60)
    with pytest.raises(OptionError) as caught:
        call_and_answer(ideas, turns=50)
    number = int(caught.value.hint.split()[4])
    assert minutes(call_and_answer(ideas, turns=number)) <= MOST_MINUTES
    with pytest.raises(OptionError):
        call_and_answer(ideas, turns=number + 1)
