"""Passages that return over real charts: counted as plain filtering counts them, and right at every seam."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

import fillgen
from fillgen.chart.text import parse_chart
from fillgen.dice import Dice
from fillgen.engine import generate
from fillgen.engine.forms import Passage
from fillgen.engine.generate import Engine, PhraseSpace
from fillgen.engine.request import Request, settle
from fillgen.engine.returning import ReturningLattice
from fillgen.phrase.note import Phrase
from tests.effort import one_in

SONG = "| Eb | Cm7 | Fm7 | Bb7 | Eb | Cm7 | Fm7 Bb7 | Eb "
MIDDLE = "| Gm7 | C7 | Gm7 | C7 | F7 | F7 | Bb7 | Bb7 "
BLUES = "| F7 | Bb7 | F7 | F7 | Bb7 | Bb7 | F7 | D7 | Gm7 | C7 | F7 | C7 |"
STEPS = "| Bb | Cm7 | Dm7 | Eb | Cm7 | F7 | Dm7 | Bb |"
FEW_PHRASES = 300_000


def returning(chart: str, level: int, seed: int, low: int, high: int) -> Iterator[tuple[Engine, PhraseSpace]]:
    """The spaces over a chart in which something returns."""
    engine = Engine(settle(Request(parse_chart(chart), level=level, busy="few", low=low, high=high)))
    for space in engine.spaces(Dice(seed)):
        if space.plan.passages:
            yield engine, space


def plain(engine: Engine, space: PhraseSpace) -> PhraseSpace:
    """The same rhythm with nothing that has to return."""
    return engine.space(replace(space.plan, passages=()))


def kept(space: PhraseSpace, pitches: NDArray[np.int16], bar: int) -> NDArray[np.bool_]:
    """Which rows of pitches have every bar of a passage as its plan says."""
    onsets = np.array([onset for onset, _ in space.plan.rhythm])
    good = np.ones(len(pitches), dtype=bool)
    for passage in space.plan.passages:
        for bar_, source, shift in passage.copies():
            first, second = (pitches[:, onsets // bar == number] for number in (source, bar_))
            good &= (second == first + np.array(shift)[first % 12]).all(axis=1)
    return good


@pytest.mark.parametrize(("chart", "low", "high"), [(SONG, 65, 73), (STEPS, 65, 74)])
def test_counts_are_those_of_filtering(
    chart: str, low: int, high: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In a narrow range, all phrases of a rhythm are filtered: as many return as the lattice counts, and the same."""
    monkeypatch.setattr(generate, "_ENOUGH", 1)
    tried = 0
    for seed in range(12):
        for engine, space in returning(chart, 2, seed, low, high):
            whole = plain(engine, space)
            if whole.count > FEW_PHRASES:
                continue
            every = whole.heard(whole.lattice.phrases())
            wanted = every[kept(space, every, engine.progression.metre.bar)]
            assert space.count == len(wanted)
            listed = space.heard(space.lattice.phrases())
            assert {tuple(row) for row in listed.tolist()} == {tuple(row) for row in wanted.tolist()}
            assert (space.holds(every) == kept(space, every, engine.progression.metre.bar)).all()
            tried += 1
        if tried >= 8:
            break
    assert tried >= 3


@pytest.mark.costly
@pytest.mark.parametrize("level", [2, 3, 4, 5])
@pytest.mark.parametrize("chart", [f"{SONG}{SONG}{MIDDLE}{SONG}|", BLUES, STEPS])
def test_every_seam_keeps_the_rules(chart: str, level: int) -> None:
    """Fair draws return where they should, and are phrases of the plain lattice, whose rules are proven elsewhere."""
    engine = Engine(settle(Request(parse_chart(chart), level=level)))
    spaces = [space for space in engine.spaces(Dice(level)) if space.plan.passages]
    assert spaces
    for space in spaces[:6]:
        assert isinstance(space.lattice, ReturningLattice)
        chances = Dice(1).doubles(40 * space.lattice.columns).reshape(40, -1)
        rows = space.lattice.draw([table.astype(float) for table in space.lattice.allowed], chances)
        pitches = space.heard(rows)
        assert len({tuple(row) for row in pitches.tolist()}) > 30
        assert kept(space, pitches, engine.progression.metre.bar).all()
        assert plain(engine, space).holds(pitches).all()
        assert space.count < plain(engine, space).count


def bar_of(phrase: Phrase, number: int, bar: int) -> list[tuple[int, int, int]]:
    return [(n.onset - number * bar, n.length, n.midi) for n in phrase if n.onset // bar == number]


@pytest.mark.parametrize("seed", one_in(2, [0, 1]))
def test_sections_return(seed: int) -> None:
    """In a song most bars of A come back in the other A; in eight bars some do, and many ideas have none."""
    song = fillgen.ideas(f"{SONG}{SONG}{MIDDLE}{SONG}|", seed=seed)
    bar = song.progression.metre.bar
    pairs = [(number, start + number) for start in (8, 24) for number in range(6)]
    same = [bar_of(i.phrase, one, bar) == bar_of(i.phrase, two, bar) for i in song for one, two in pairs]
    assert len(song) == 50
    assert np.mean(same) >= 0.6
    eight = fillgen.ideas(f"{SONG}|", seed=seed)
    found = [[bar_of(i.phrase, n, bar) == bar_of(i.phrase, n + 4, bar) for n in range(4)] for i in eight]
    assert 0.1 <= np.mean(found) <= 0.4
    assert 10 <= sum(not any(each) for each in found) <= 40
    rhythms = [[[n[:2] for n in bar_of(i.phrase, number, bar)] for number in (3, 7)] for i in eight]
    assert np.mean([one == other for one, other in rhythms]) <= 0.5


def test_passages_move_with_their_chords() -> None:
    """A plan that names a sequence gives one, note for note a step higher."""
    engine = Engine(settle(Request(parse_chart(STEPS))))
    moved = [
        (space, passage)
        for seed in range(6)
        for space in engine.spaces(Dice(seed))
        for passage in space.plan.passages
        if passage.shifts
    ]
    assert moved
    for space, passage in moved[:5]:
        assert isinstance(passage, Passage)
        chances = Dice(1).doubles(20 * space.lattice.columns).reshape(20, -1)
        pitches = space.heard(space.lattice.draw(engine.weights(space), chances))
        onsets = np.array([onset for onset, _ in space.plan.rhythm]) // engine.progression.metre.bar
        first, second = (pitches[:, onsets == bar] for bar in passage.firsts)
        assert (np.sign(np.diff(first)) == np.sign(np.diff(second))).all()
        assert (first != second).any()
