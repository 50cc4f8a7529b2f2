"""Checking held against making: ideas pass at their level, notes moved out of the rules fail, and mends are smallest."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from itertools import product

import numpy as np
import pytest
from numpy.typing import NDArray

from fillgen import Ideas, NoPhraseError, Note, Phrase, Progression, Request, RulePack, generate, parse_chart
from fillgen.engine.checked import CheckSettings, lowest_level
from fillgen.engine.request import PURPOSES
from fillgen.hands.reach import SIZES, reach
from fillgen.phrase.place import places
from fillgen.rules.judge import breaches
from fillgen.rules.pack import Level
from fillgen.rules.rule import Seen
from fillgen.teaching.check import Report, check
from fillgen.theory.metre import METRES
from tests.effort import one_in
from tests.outside.second_checker import chord_tones

PACK = RulePack()
LEVELS = {number: PACK.level(number) for number in PACK.level_numbers}
CHARTS = (
    ("Ebmaj7 | Gm7 C7 | Fm7 | Bb7", "Eb"),
    ("C F | Dm7 | G7sus4 G7", "C"),
    ("Am | F | Dm7 E7 | E7", "A minor"),
    ("Dmaj7 | N.C. | Em7 | A7b9", "D"),
    ("Gbmaj7 | Ab7 | Db6", "Db"),
    ("Dm7 | G7 | C6", "C"),
)
"""Charts and their keys; where two chords share a bar, the second comes on any beat. The last two end on their tonics."""
CASES = 60
"""So many requests are made; all of them are checked with the slow tests, one in four each time."""


def chart_in(text: str, key: str, metre: str, dice: random.Random) -> Progression:
    """A chart in a metre, the second chord of a bar on any beat but the first."""
    beats, bars = METRES[metre].beats, []
    for bar in text.split(" | "):
        first, *second = bar.split()
        split = dice.randrange(1, beats) if second else beats
        held = [first, *["/"] * (split - 1), *second, *["/"] * (beats - split - 1)]
        bars.append(" ".join(held if second else [first]))
    return parse_chart(" | ".join(bars), key=key, metre=metre)


@cache
def made(number: int) -> tuple[Ideas, Request] | None:
    """Some ideas over a chart, metre, rhythm, level and purpose drawn by a number; None where there are none."""
    dice = random.Random(number)
    metre = dice.choice(list(METRES))
    chart = chart_in(*dice.choice(CHARTS), metre, dice)
    rhythms = [name for name in PACK.rhythm_names if metre in PACK.rhythm(name).metres]
    rhythm = PACK.rhythm(dice.choice(rhythms))
    purpose = dice.choice((None, None, *PURPOSES))
    if purpose == "ending":
        chart = chart_in(*dice.choice(CHARTS[-2:]), metre, dice)
    hand = dice.choice((None, *SIZES))
    request = Request(
        chart,
        count=6,
        seed=number,
        level=number % 5 + 1,
        rhythm=rhythm.name,
        busy=dice.choice([busy for name, busy in rhythm.cells if name == metre]),
        purpose=purpose,
        ends_on=dice.choice((None, ("root",), ("fifth", "third"))),
        lead_to=dice.choice((None, None, 67)),
        hand=hand,
    )
    try:
        return generate(request), request
    except NoPhraseError:
        return None


def settings_of(found: Ideas, request: Request) -> dict[str, object]:
    """The settings under which ideas are checked as they were made."""
    return {
        "tempo": found.tempo,
        "hand": reach(request.hand) if request.hand else None,
        "ends_on": request.ends_on,
        "lead_to": request.lead_to,
        "swings": found.swing,
    }


@pytest.mark.costly
@pytest.mark.parametrize("number", one_in(4, range(CASES)))
def test_ideas_pass_at_their_level(number: int) -> None:
    """An idea of a level breaks none of its rules, keeps to its rhythms, and fits that level or a lower one."""
    case = made(number)
    if case is None:
        return
    found, request = case
    level = LEVELS[found.level]
    settings = settings_of(found, request)
    for idea in found:
        report = check(found.progression, idea.phrase, level, CheckSettings(**settings))  # type: ignore[arg-type]
        assert report.faults == (), idea.text
        assert report.mend is None
        assert [each.role for each in report.notes] == [each.role for each in idea.notes]
        lowest = lowest_level(found.progression, idea.phrase, PACK, CheckSettings(**settings))  # type: ignore[arg-type]
        assert lowest is not None
        assert lowest <= found.level


@pytest.mark.slow
def test_the_cases_are_worth_trying() -> None:
    """The cases cover all levels, metres and purposes, hands, and syncopation, pushes, triplets and ties."""
    cases = [case for number in range(CASES) if (case := made(number))]
    assert len(cases) >= CASES * 3 // 4
    assert {found.level for found, _ in cases} == set(LEVELS)
    assert {found.progression.metre.name for found, _ in cases} == set(METRES)
    assert {request.purpose for _, request in cases} == {None, *PURPOSES}
    assert {request.hand for _, request in cases} == {None, *SIZES}
    ways = [
        {kind for kind, _, _ in ways_out(found, LEVELS[found.level], found[-1].phrase)} for found, _ in cases
    ]
    assert sum(kinds == {"range", "leap-limit", "strong-beat"} for kinds in ways) >= len(cases) * 3 // 4
    tried = [made(number) for number in range(0, CASES, 4)]
    some = [some_ways_out(case[0], LEVELS[case[0].level], random.Random(0)) for case in tried if case]
    assert {kind for each in some for kind, _, _ in each} == {
        "range",
        "leap-limit",
        "strong-beat",
        "final-note",
        "avoid-note",
        "leap-turns-back",
        "settled-before-rest",
    }
    notes = [(found.progression.metre, note) for found, _ in cases for idea in found for note in idea.phrase]
    assert any(note.onset % 60 for _, note in notes)
    assert any(note.onset // metre.bar != (note.end - 1) // metre.bar for metre, note in notes)


# Notes moved out of the rules


def moved(phrase: Phrase, index: int, midi: int) -> Phrase:
    """A phrase with one note at another pitch."""
    return tuple(replace(note, midi=midi) if each == index else note for each, note in enumerate(phrase))


def ways_out(found: Ideas, level: Level, phrase: Phrase) -> Iterator[tuple[str, int, int]]:
    """Ways to move one note out of a rule: the rule, the note, and its pitch."""
    where = places(found.progression, [(note.onset, note.length) for note in phrase])
    widest = next(use.settings["semitones"] for use in level.uses if use.rule.kind == "leap-limit")
    for index, place in enumerate(where):
        yield "range", index, level.high + 1 + index % 3
        yield "range", index, level.low - 1 - index % 3
        if index:
            wide = phrase[index - 1].midi + widest + 1
            yield "leap-limit", index, wide if wide <= 127 else phrase[index - 1].midi - widest - 1
        if place.strong:
            foreign = ~(place.chord | place.passing) & 0xFFF
            out = [midi for midi in range(level.low, level.high + 1) if foreign >> midi % 12 & 1]
            yield from (("strong-beat", index, midi) for midi in out)


def more_ways_out(found: Ideas, level: Level, phrase: Phrase) -> Iterator[tuple[str, int, int]]:
    """Further ways, by the tones that music21 hears in the chords: close, clash, leap on, and stop in the air."""
    kinds, chart = {use.rule.kind for use in level.uses}, found.progression
    every, end = range(level.low, level.high + 1), len(phrase) - 1
    closing = chord_tones(chart.last.symbol)
    yield from (("final-note", end, midi) for midi in every if midi % 12 not in closing)
    for index, note in enumerate(phrase):
        tones = chord_tones(chart.span_at(note.onset).heard.symbol)
        foreign = [midi for midi in every if midi % 12 not in tones]
        if "avoid-note" in kinds and note.onset % chart.metre.bar == 0:
            yield from (("avoid-note", index, midi) for midi in foreign if (midi - 1) % 12 in tones)
        stops = index < end and phrase[index + 1].onset - note.end >= chart.metre.beat
        if stops and "settled-before-rest" in kinds:
            coming = chord_tones(chart.span_at(phrase[index + 1].onset).heard.symbol)
            yield from (("settled-before-rest", index, midi) for midi in foreign if midi % 12 not in coming)
        if 0 < index < end:
            far = [midi for midi in every if abs(midi - phrase[index - 1].midi) > 5]
            on = [m for m in far if (m - phrase[index - 1].midi) * (phrase[index + 1].midi - m) >= 0]
            yield from (("leap-turns-back", index, midi) for midi in on)


def some_ways_out(found: Ideas, level: Level, dice: random.Random) -> list[tuple[str, int, int]]:
    """Up to three ways out of each rule for the last of some ideas."""
    phrase = found[-1].phrase
    ways: dict[str, list[tuple[str, int, int]]] = {}
    for way in (*ways_out(found, level, phrase), *more_ways_out(found, level, phrase)):
        ways.setdefault(way[0], []).append(way)
    return [way for each in ways.values() for way in dice.sample(each, min(3, len(each)))]


@pytest.mark.costly
@pytest.mark.parametrize("number", range(0, CASES, 4))
def test_a_note_moved_out_of_the_rules_is_a_fault_there(number: int) -> None:
    """A note moved so that it breaks a rule by construction is found there, as that or as a clash, and one change mends it."""
    case = made(number)
    if case is None:
        return
    found, request = case
    level, dice = LEVELS[found.level], random.Random(number)
    phrase = found[-1].phrase
    ways = some_ways_out(found, level, dice)
    assert {"range", "final-note"} <= {kind for kind, _, _ in ways}
    strict = CheckSettings(ends_on=request.ends_on, strict=True)
    for rule, index, midi in ways:
        report = check(found.progression, moved(phrase, index, midi), level, strict)
        clashing = {fault.index for fault in report.of_kind("clash")}
        assert (rule, index) in {(fault.rule, fault.index) for fault in report.faults} or index in clashing
        assert rule not in dict(report.holds)
        assert not report.right
        assert report.mend is not None
        assert len(report.mend.changed) == 1
        assert check(found.progression, report.mend.notes, level, strict).right


# The mend against trying everything


def small_case(number: int) -> tuple[Progression, Phrase, Level, int, int]:
    """A phrase of up to four notes that likely breaks rules, with a level and a range of half an octave or more."""
    dice = random.Random(1000 + number)
    metre = dice.choice(("4/4", "3/4", "2/4", "6/8", "2/2"))
    chords = ["C", "Bbm", "Am7", "F#7", "G7", "Dm7", "Cmaj7", "Ebdim7", "C5"]
    chart = " | ".join(dice.choice(chords) for _ in range(dice.choice((1, 2))))
    progression = parse_chart(chart, key=dice.choice(("C", "F", "A minor")), metre=metre)
    grid = 240 if metre == "6/8" else 480
    slots = progression.length // grid
    onsets = sorted(dice.sample(range(slots), min(slots, dice.randint(1, 4))))
    ends = [*onsets[1:], slots]
    low = dice.randint(60, 68)
    high = low + dice.randint(6, 10)
    notes = [
        Note(onset * grid, (end - onset) * grid, dice.randint(low - 3, high + 3))
        for onset, end in zip(onsets, ends, strict=True)
    ]
    return progression, tuple(notes), LEVELS[dice.randint(1, 5)], low, high


def kept_rows(
    progression: Progression, rhythm: Sequence[tuple[int, int]], level: Level, low: int, high: int
) -> NDArray[np.int64]:
    """Every row of pitches over the range that keeps every rule of a level, asked of all rows at once."""
    where = places(progression, rhythm)
    every = np.indices((high - low + 1,) * len(where)).reshape(len(where), -1) + low
    seen: list[Seen | None] = [Seen(place, row) for place, row in zip(where, every, strict=True)]
    kept = np.ones(every.shape[1], dtype=bool)
    for before, note, after in zip([None, *seen[:-1]], seen, [*seen[1:], None], strict=True):
        assert note is not None
        for use in level.uses:
            kept &= use.holds((before, note, after))
    return np.asarray(every[:, kept].T, dtype=np.int64)


def lengths_of(progression: Progression, note: Note) -> list[int]:
    """The lengths a note may be cut to: to each strong beat or new chord inside it."""
    ticks = progression.strong_between(note.onset, note.end)
    return [note.length, *(tick - note.onset for tick in ticks)]


def least(
    progression: Progression, phrase: Phrase, level: Level, low: int, high: int
) -> tuple[int, int, int] | None:
    """The fewest notes changed, then the least semitones, then the least ticks cut, by trying every phrase."""
    pitches = np.array([note.midi for note in phrase])
    choices = [lengths_of(progression, note) for note in phrase]
    found = []
    for lengths in product(*choices):
        rhythm = [(note.onset, length) for note, length in zip(phrase, lengths, strict=True)]
        rows = kept_rows(progression, rhythm, level, low, high)
        shorter = np.array([note.length - length for note, length in zip(phrase, lengths, strict=True)])
        moves = np.abs(rows - pitches)
        changed = ((moves > 0) | (shorter > 0)[None, :]).sum(axis=1)
        found += [
            (int(c), int(m), int(shorter.sum())) for c, m in zip(changed, moves.sum(axis=1), strict=True)
        ]
    return min(found, default=None)


def broken_rules(report: Report) -> set[str]:
    """The rules that a phrase breaks; what its rhythm does beyond the level cannot be mended by other notes."""
    return {fault.rule for fault in report.faults} - {"rhythm"}


def test_mend_is_the_smallest_of_all() -> None:
    """The mend changes as few notes as any phrase that keeps the rules, and moves them as little; it checks right."""
    for number in range(120):
        progression, phrase, level, low, high = small_case(number)
        report = check(progression, phrase, level, CheckSettings(low=low, high=high, strict=True))
        wanted = least(progression, phrase, level, low, high)
        if not broken_rules(report):
            assert wanted == (0, 0, 0), number
            continue
        if report.mend is None:
            assert wanted is None, number
            assert "rhythm" in report.remarks[0], number
            continue
        after = report.mend.notes
        moves = [abs(b.midi - a.midi) for a, b in zip(phrase, after, strict=True)]
        cut = [a.length - b.length for a, b in zip(phrase, after, strict=True)]
        assert (len(report.mend.changed), sum(moves), sum(cut)) == wanted, number
        assert [note.onset for note in after] == [note.onset for note in phrase], number
        mended = check(progression, after, level, CheckSettings(low=low, high=high, strict=True))
        assert not broken_rules(mended), number


def test_the_small_cases_are_worth_trying() -> None:
    """Among the small cases are phrases that are right, mended by pitch, mended by length, and beyond mending."""
    reports = []
    for number in range(120):
        progression, phrase, level, low, high = small_case(number)
        reports.append(
            (phrase, check(progression, phrase, level, CheckSettings(low=low, high=high, strict=True)))
        )
    broken = [(phrase, report) for phrase, report in reports if broken_rules(report)]
    mended = [(phrase, report.mend) for phrase, report in broken if report.mend is not None]
    shorter = [1 for phrase, mend in mended if [n.length for n in phrase] != [n.length for n in mend.notes]]
    assert len(broken) >= 80
    assert len(shorter) >= 3
    assert any(len(mend.changed) >= 3 for _, mend in mended)
    assert any(report.mend is None for _, report in broken)


def test_faults_are_the_breaches() -> None:
    """The faults are the rules that the judge finds broken, the range, and what the rhythm does beyond the level.

    Where a note clashes, the clash is said in place of the rules about notes outside their chords.
    """
    clashing = 0
    for number in range(60):
        progression, phrase, level, low, high = small_case(number)
        report = check(progression, phrase, level, CheckSettings(low=low, high=high))
        where = places(progression, [(note.onset, note.length) for note in phrase])
        judged = breaches(level.uses, where, [note.midi for note in phrase])
        wanted = {(breach.index, breach.use.rule.kind) for breach in judged}
        wanted |= {(i, "range") for i, note in enumerate(phrase) if not low <= note.midi <= high}
        found = {(fault.index, fault.rule) for fault in report.faults if fault.kind != "clash"}
        clashes = {fault.index for fault in report.of_kind("clash")}
        clashing += len(clashes)
        assert found - wanted <= {(index, "rhythm") for index in range(len(phrase))}, number
        assert {index for index, _ in wanted - found} <= clashes | {index + 1 for index in clashes}, number
        assert len(report.of_kind("clash")) == len(clashes), number
        kinds = {kind for kind, _ in report.holds}
        assert not kinds & {fault.rule for fault in report.faults}, number
    assert clashing >= 30


def test_what_is_freed_of_clashes_has_none() -> None:
    """A mend that isn't strict leaves no clash, changes no more notes than it must, and none where nothing clashes."""
    mended = 0
    for number in range(120):
        progression, phrase, level, low, high = small_case(number)
        report = check(progression, phrase, level, CheckSettings(low=low, high=high))
        if report.right:
            assert report.mend is None, number
            continue
        if report.mend is None:
            assert "go with the chords" in report.remarks[0], number
            continue
        mended += 1
        after = report.mend.notes
        assert not check(progression, after, level, CheckSettings(low=low, high=high)).of_kind("clash"), (
            number
        )
        strict = check(progression, phrase, level, CheckSettings(low=low, high=high, strict=True)).mend
        assert strict is None or len(report.mend.changed) <= len(strict.changed), number
    assert mended >= 50
