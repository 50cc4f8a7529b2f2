"""Variants of generated phrases, measured from the notes alone, and counted against plain search."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import lru_cache
from itertools import combinations, islice, pairwise, product

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from music21 import interval, pitch

import fillgen
from fillgen.chart.progression import Progression
from fillgen.chart.text import parse_chart
from fillgen.engine.generate import Engine, Kept
from fillgen.engine.plans import stock
from fillgen.engine.request import Request, settle
from fillgen.errors import FillgenError, NoPhraseError, OptionError
from fillgen.phrase.idea import Ideas
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.remark import RemarkKind
from fillgen.phrase.text import parse_phrase
from fillgen.rules.judge import breaches
from fillgen.rules.pack import BUSY
from fillgen.theory.keys import read_key
from fillgen.vary import vary
from fillgen.vary.keeping import keeping_bars, planned
from fillgen.vary.likeness import distance
from fillgen.vary.task import task_for
from fillgen.vary.variation import Variation, read_keep
from fillgen.writers.document import document
from tests.effort import each_once, examples, one_in, thinned
from tests.outside.second_checker import Limits, faults

# Calls: phrases from the main job, on four levels and in six metres

_ASKED = (
    ("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", "4/4", 3),
    ("| F | Dm7 | Gm7 | C7 |", "4/4", 4),
    ("| Am | Dm7 | Bm7b5 | E7 |", "4/4", 5),
    ("| G | Em7 | Am7 | D7 |", "3/4", 3),
    ("| D | Bm | Em7 | A7 |", "6/8", 4),
    ("| Cmaj7 A7 | Dm7 G7 |", "4/4", 5),
    ("| Bb | Gm | Cm7 | F7 |", "2/4", 2),
    ("| Ab | Fm7 | Bbm7 | Eb7 |", "12/8", 4),
    ("| E | A | B7 | E |", "5/4", 3),
)
_CALLS = range(len(_ASKED))
_SOME = (1, 2, 3, 4, 8)


@lru_cache(maxsize=64)
def call_of(number: int) -> tuple[Progression, Phrase, int]:
    """A chart, a phrase over it, and the level it was made on."""
    chart, metre, level = _ASKED[number % len(_ASKED)]
    found = fillgen.ideas(chart, metre=metre, level=level, seed=number, count=2)
    return found.progression, found[number % 2].phrase, level


def ask(number: int, variation: Variation, **settings_: object) -> Ideas:
    chart, call, level = call_of(number)
    options = {"count": 8, "level": level, "seed": number, **settings_}
    return vary(Request(chart, **options), call, variation)  # type: ignore[arg-type]


def asked(number: int, variation: Variation, **settings_: object) -> Ideas | FillgenError:
    """What comes back, be it ideas or an error."""
    try:
        return ask(number, variation, **settings_)
    except FillgenError as error:
        return error


def sounded(phrase: Phrase) -> dict[int, int]:
    """The pitch that sounds in each slice of 20 ticks."""
    return {tick: note.midi for note in phrase for tick in range(note.onset, note.end, 20)}


def shared(one: Phrase, other: Phrase, bars: range | None = None, bar: int = 1) -> float:
    """The share of the time in which both sound that they sound the same, of the one that sounds less."""
    first, second = sounded(one), sounded(other)
    if bars is not None:
        first = {tick: midi for tick, midi in first.items() if tick // bar in bars}
        second = {tick: midi for tick, midi in second.items() if tick // bar in bars}
    return sum(second.get(tick) == midi for tick, midi in first.items()) / max(
        1, min(len(first), len(second))
    )


def rises(phrase: Phrase) -> list[int]:
    return [(b.midi > a.midi) - (b.midi < a.midi) for a, b in pairwise(phrase)]


def rhythm(phrase: Phrase) -> list[tuple[int, int]]:
    return [(note.onset, note.length) for note in phrase]


def check(number: int, found: Ideas) -> None:
    """What holds of all variants: other than the phrase and one another, in range, and by the rules."""
    chart, call, _ = call_of(number)
    level = settle(Request(chart, level=found.level)).level
    low = min([level.low, *(note.midi for note in call)])
    high = max([level.high, *(note.midi for note in call)])
    engine = Engine(settle(Request(found.progression, level=found.level, low=low, high=high)))
    assert len({idea.phrase for idea in found}) == len(found) > 0
    assert [idea.rank for idea in found] == list(range(1, len(found) + 1))
    for idea in found:
        assert idea.phrase != call
        assert all(low <= note.midi <= high for note in idea.phrase)
        assert all(a.end <= b.onset for a, b in pairwise(idea.phrase))
        assert idea.phrase[-1].end <= chart.length
        places = engine.places(rhythm(idea.phrase))
        assert not breaches(engine.choices.uses, places, [note.midi for note in idea.phrase])
        assert parse_phrase(idea.text, chart.metre) == idea.phrase


# Keeping


@pytest.mark.costly
@pytest.mark.parametrize("number", _CALLS)
def test_kept_bars_are_identical(number: int) -> None:
    """The last bar, or all but the first: what begins there is what began there."""
    chart, call, _ = call_of(number)
    size, bars = chart.metre.bar, len(chart.bars)
    kept = (bars,) if number % 2 else tuple(range(2, bars + 1))
    found = ask(number, Variation(bars=kept), count=6)
    check(number, found)
    for idea in found:
        now, before = ([n for n in line if n.onset // size + 1 in kept] for line in (idea.phrase, call))
        assert now == before


@pytest.mark.parametrize("number", one_in(2, _SOME))
def test_rhythm_contour_and_pitches_are_kept(number: int) -> None:
    _, call, _ = call_of(number)
    for idea in (found := ask(number, Variation(rhythm=True))):
        assert rhythm(idea.phrase) == rhythm(call)
    check(number, found)
    for idea in (found := ask(number, Variation(pitches=True), count=6)):
        assert [note.midi for note in idea.phrase] == [note.midi for note in call]
    check(number, found)
    for idea in (found := ask(number, Variation(contour=True))):
        assert (rhythm(idea.phrase), rises(idea.phrase)) == (rhythm(call), rises(call))
    check(number, found)


@settings(max_examples=examples(20), deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(_CALLS), st.data())
def test_any_bars_with_rhythm_or_contour(number: int, data: st.DataObject) -> None:
    """Some bars and a part kept together: both hold, or it is said that there is nothing else."""
    chart, call, _ = call_of(number)
    every = range(1, len(chart.bars) + 1)
    bars = tuple(sorted(data.draw(st.sets(st.sampled_from(every), max_size=len(every) - 1))))
    part = data.draw(st.sampled_from(("rhythm", "contour")))
    found = asked(number, Variation(bars=bars, rhythm=part == "rhythm", contour=part == "contour"), count=4)
    if isinstance(found, NoPhraseError):
        assert "no other phrase" in str(found)
        return
    check(number, found)
    for idea in found:
        assert rhythm(idea.phrase) == rhythm(call)
        assert part == "rhythm" or rises(idea.phrase) == rises(call)
        assert all(idea.phrase[i] == n for i, n in enumerate(call) if chart.bar_of(n.onset) in bars)


# Mirror, likeness, answers, levels


@pytest.mark.parametrize("number", one_in(2, _CALLS))
def test_mirror_reverses_directions(number: int) -> None:
    """All directions are turned round, or as many as the remark says."""
    _, call, _ = call_of(number)
    found = ask(number, Variation(mirror=True))
    check(number, found)
    match = re.search(r"reversed: (\d+) of (\d+) aren't", " ".join(map(str, found.remarks)))
    left = int(match[1]) if match else 0
    for idea in found:
        assert rhythm(idea.phrase) == rhythm(call)
        assert sum(a != -b for a, b in zip(rises(idea.phrase), rises(call), strict=True)) <= left


@pytest.mark.parametrize("number", one_in(2, _SOME))
def test_like_and_unlike_by_shared_time(number: int) -> None:
    """Small changes leave 60 % of the sounding time, never all; the other extreme leaves less than 15 %."""
    chart, call, _ = call_of(number)
    found = ask(number, Variation(near="like"))
    check(number, found)
    for idea in found:
        one, other = sounded(idea.phrase), sounded(call)
        same = sum(other.get(tick) == midi for tick, midi in one.items())
        assert 0.6 * max(len(one), len(other)) <= same < len(one.keys() | other.keys())
        assert distance(idea.phrase, call) == pytest.approx(1 - same / len(one.keys() | other.keys()))
    found = ask(number, Variation(near="unlike"))
    check(number, found)
    for idea in found:
        assert shared(idea.phrase, call) < 0.15
        bar = chart.metre.bar
        assert [n for n in rhythm(idea.phrase) if n[0] < bar] != [n for n in rhythm(call) if n[0] < bar]


@pytest.mark.costly
@pytest.mark.parametrize("number", one_in(2, _CALLS))
def test_answers_take_up_the_call_and_close(number: int) -> None:
    chart, call, _ = call_of(number)
    found = ask(number, Variation(near="answer"))
    check(number, found)
    opening = [note for note in rhythm(call) if note[0] < max(chart.metre.bar, call[0].onset + 1)]
    if len(chart.bars) == 1:
        return
    for idea in found:
        assert rhythm(idea.phrase)[: len(opening)] == opening
        assert abs(idea.phrase[0].midi - call[-1].midi) <= 5
        assert idea.phrase[-1].midi % 12 == chart.last.tones[0].name.pitch_class
        assert shared(idea.phrase, call) <= 0.5


@pytest.mark.costly
@pytest.mark.parametrize(("number", "level"), one_in(4, product((0, *_SOME), range(1, 6))))
def test_at_another_level_it_is_recognisably_the_same(number: int, level: int) -> None:
    """Three quarters of the strong beats and half of the time stay; at level 1 a remark tells what does not."""
    chart, call, _ = call_of(number)
    found = asked(number, Variation(level_as=level), count=6)
    if isinstance(found, OptionError):
        assert f"is already at level {level}" in str(found)
        return
    assert isinstance(found, Ideas)
    assert found.level == level
    check(number, found)
    if level == 1:
        assert any(remark.kind == RemarkKind.PARTLY for remark in found.remarks)
        return
    assert not any(remark.kind == RemarkKind.PARTLY for remark in found.remarks)
    before = sounded(call)
    strong = [tick for tick in [0, *chart.strong_between(0, chart.length)] if tick in before]
    for idea in found:
        now = sounded(idea.phrase)
        assert sum(now.get(tick) == before[tick] for tick in strong) >= 0.75 * len(strong)
        assert sum(now.get(tick) == midi for tick, midi in before.items()) >= 0.5 * len(before)


# Moving: against music21


@pytest.mark.parametrize(("number", "tonic"), one_in(4, product(_CALLS, ("C", "Ab", "B", "F#", "Db"))))
def test_moving_keeps_intervals_and_degrees(number: int, tonic: str) -> None:
    chart, call, _ = call_of(number)
    mode = chart.key.mode
    name = {"Ab": "G#", "Db": "C#"}.get(tonic, tonic) if mode == "minor" else tonic
    if name == str(chart.key.tonic):
        return
    moved = ask(number, Variation(key=read_key(f"{name} {mode}")))[0]
    shift = moved.phrase[0].midi - call[0].midi
    assert abs(shift) <= 11
    assert [note.midi - shift for note in moved.phrase] == [note.midi for note in call]
    same = vary(Request(chart, count=1), call, Variation(key=read_key(f"{name} {mode}")))
    degrees = [each.degree for each in same[0].notes]
    own = [chart.span_at(note.onset).heard.degree_of(note.midi % 12) for note in call]
    assert degrees == own


_DIATONIC = (
    ("| D | F#m | Em7 | A7 |", "F#5q. E5e D5h | A4q C#5q F#5h | G5q. F#5e E5q D5q | C#5h A4h"),
    ("| Eb | Cm7 | Fm7 | Bb7 |", "G4q Bb4q Eb5h | D5e C5q. G4h | Ab4q C5q Eb5q F5q | D5h Bb4h"),
)


_TONICS = ("C", "G", "D", "A", "E", "B", "F#", "Gb", "Db", "Ab", "Eb", "Bb", "F")


@pytest.mark.parametrize(
    ("chart", "text", "tonic"), each_once((*one, to) for to in _TONICS for one in _DIATONIC)
)
def test_moved_names_are_those_of_music21(chart: str, text: str, tonic: str) -> None:
    """music21 transposes each name by the interval between the tonics: the same pitches, the same spelling."""
    progression = parse_chart(chart)
    call = parse_phrase(text, progression.metre)
    if tonic == str(progression.key.tonic):
        return
    (moved,) = vary(Request(progression, low=48, high=90), call, Variation(key=read_key(tonic)))
    names = re.findall(r"[A-G][b#]?\d", text)
    start, end = (pitch.Pitch(str(name).replace("b", "-") + "4") for name in (progression.key.tonic, tonic))
    shift = moved.phrase[0].midi - call[0].midi
    end.octave += round((shift - (end.midi - start.midi)) / 12)
    by = interval.Interval(start, end)
    expected = [pitch.Pitch(name.replace("b", "-")).transpose(by) for name in names]
    assert [note.midi for note in moved.phrase] == [each.midi for each in expected]
    assert [each.name for each in moved.notes] == [each.nameWithOctave.replace("-", "b") for each in expected]


# The same again, and everything there is


@pytest.mark.costly
@pytest.mark.parametrize(
    "variation",
    [
        Variation(bars=(1,)),
        Variation(rhythm=True),
        Variation(pitches=True),
        Variation(mirror=True),
        Variation(level_as=5),
        Variation(level_as=2),
        Variation(near="like"),
        Variation(near="unlike"),
        Variation(near="answer"),
    ],
    ids=lambda variation: "-".join((*variation.kept, *variation.aims)),
)
def test_the_same_seed_gives_the_same(variation: Variation) -> None:
    first, again = (document(ask(0, variation, count=10)) for _ in range(2))
    assert first == again


def plain_rhythms(chart: Progression, call: Phrase, engine: Engine) -> set[tuple[tuple[int, int], ...]]:
    """Every way to lay the pitches of a phrase over cells of the rhythm, tried one by one."""
    c = engine.choices
    pools: list[set[tuple[tuple[int, int], ...]]] = []
    for bar in range(len(chart.bars)):
        kinds = [
            stock(chart, c.level, c.rhythm, busy)
            for busy in BUSY
            if (chart.metre.name, busy) in c.rhythm.cells
        ]
        cells = {
            cell.notes
            for cells, closes in kinds
            for cell in (closes if bar == len(chart.bars) - 1 else cells)
        }
        pools.append({tuple((bar * chart.metre.bar + o, n) for o, n in notes) for notes in cells})
    pitches = [note.midi for note in call]
    found = set()
    for bars in product(*pools):
        if sum(map(len, bars)) != len(pitches):
            continue
        for line in pushed_ways(bars, chart.metre.bar) if c.level.pushes else [sum(bars, ())]:
            if line not in found and not breaches(c.uses, engine.places(line), pitches):
                found.add(line)
    return found


Line = tuple[tuple[int, int], ...]


def pushed_ways(bars: Sequence[Line], size: int) -> Iterator[Line]:
    """A rhythm with the first notes of bars pushed an eighth early or not, wherever the note before gives room.

    It gives room if it is over by then, or has a length of whole eighths and an eighth is left of it.
    """
    for pushes in product((False, True), repeat=len(bars) - 1):
        line = list(bars[0])
        for number, (push, bar) in enumerate(zip(pushes, bars[1:], strict=True), 1):
            start = number * size
            if not push:
                line += bar
                continue
            onset, length = line[-1]
            left = min(length, start - 240 - onset)
            if bar[0][0] != start or left < 240 or (left < length and length % 240):
                break
            line[-1] = (onset, left)
            line += [(start - 240, bar[0][1] + 240), *bar[1:]]
        else:
            yield tuple(line)


@pytest.mark.parametrize(
    ("chart", "text", "level"),
    [
        ("| C | G7 |", "E5q. D5e C5h | D5q B4h.", 3),
        ("| C | G7 |", "G4q C5q E5q D5e C5e | B4w", 3),
        ("| Am7 | D7 |", "A4q C5h E5q | F#5h D5h", 2),
        ("| F | F | C7 |", "A4h C5h | F5w | E5w", 2),
        ("| C | F |", "E5q. D5e C5h | C5h A4h", 4),
        ("| C | G7 |", "G4q C5q E5q D5q | B4w", 4),
        ("| Am7 | D7 |", "A4q B4e C5q E5q. | F5q E5e F#5h~ F#5e", 5),
    ],
)
def test_rhythms_of_a_row_of_pitches_are_all_there_are(chart: str, text: str, level: int) -> None:
    """Found bar by bar, and by trying every combination of cells: the same rhythms, and the same number."""
    progression = parse_chart(chart)
    call = parse_phrase(text, progression.metre)
    found = vary(Request(progression, level=level, count=1000), call, Variation(pitches=True))
    wanted = plain_rhythms(progression, call, Engine(settle(Request(progression, level=level))))
    assert f"{len(wanted - {tuple(rhythm(call))}):,} other rhythm" in found.remarks[0].text
    audible = {line for line in wanted if sounds_other(line, call)}
    assert {tuple(rhythm(idea.phrase)) for idea in found} == audible


def sounds_other(line: tuple[tuple[int, int], ...], call: Phrase) -> bool:
    """Whether the pitches of a phrase sound otherwise in another rhythm."""
    other = tuple(Note(onset, length, note.midi) for (onset, length), note in zip(line, call, strict=True))
    return sounded(other) != sounded(call)


def test_small_changes_of_pitch_are_all_there_are() -> None:
    """Every phrase in the same rhythm that changes up to three neighbouring notes and 40 % of the time."""
    chart = parse_chart("| C | G7 |")
    call = parse_phrase("E5q D5q C5q E5q | D5q B4q G4h", chart.metre)
    found = vary(
        Request(chart, level=3, low=67, high=77, count=1000), call, Variation(rhythm=True, near="like")
    )
    engine = Engine(settle(Request(chart, level=3, low=67, high=77)))
    places = engine.places(rhythm(call))
    wanted = set()
    for first in range(len(call)):
        for size in (1, 2, 3):
            some = range(first, min(first + size, len(call)))
            if sum(call[i].length for i in some) > 0.4 * chart.length:
                continue
            for new in product(range(67, 78), repeat=len(some)):
                line = [note.midi for note in call]
                line[some.start : some.stop] = new
                if not breaches(engine.choices.uses, places, line):
                    wanted.add(tuple(line))
    wanted.discard(tuple(note.midi for note in call))
    assert {tuple(note.midi for note in idea.phrase) for idea in found} == wanted
    assert found.phrases == len(wanted)


# What cannot be kept


def with_note(number: int, index: int, midi: int) -> tuple[Phrase, Variation]:
    """A call with one note changed, and the variation to keep its bar."""
    chart, call, _ = call_of(number)
    note = call[index]
    changed = (*call[:index], Note(note.onset, note.length, midi), *call[index + 1 :])
    return changed, Variation(bars=(chart.bar_of(note.onset),))


def refusal(request: Request, call: Phrase, variation: Variation) -> NoPhraseError | None:
    try:
        vary(request, call, variation)
    except NoPhraseError as error:
        return error
    return None


@settings(max_examples=examples(40), deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(_CALLS), st.integers(0, 30), st.integers(60, 86), st.integers(3, 5))
def test_a_rule_said_to_be_broken_is_broken(number: int, at: int, midi: int, level: int) -> None:
    """One note of a kept bar changed at will: either it goes well, or the rule that is named is really broken."""
    chart, call, _ = call_of(number)
    changed, variation = with_note(number, at % len(call), midi)
    request = Request(chart, level=level, low=58, high=88, count=1)
    error = refusal(request, changed, variation)
    broken = re.match(r"(\S+) breaks (\S+) over", error.message) if error else None
    if error is None or broken is None:
        assert error is None or unkept(request, changed, variation, error)
        return
    index = named_at(chart, changed, error)
    assert chart.bar_of(changed[index].onset) in variation.bars
    assert fillgen.read_pitch(broken[1]) == changed[index].midi
    engine = Engine(settle(request))
    every = breaches(engine.choices.uses, engine.places(rhythm(changed)), [note.midi for note in changed])
    assert (index, broken[2]) in {(breach.index, breach.use.rule.kind) for breach in every}


def named_at(chart: Progression, call: Phrase, error: NoPhraseError) -> int:
    """The number of the note at the place of an error."""
    match = re.fullmatch(r"bar (\d+), beat ([\d.]+)", error.place)
    assert match
    tick = (int(match[1]) - 1) * chart.metre.bar + (float(match[2]) - 1) * chart.metre.beat
    return min(range(len(call)), key=lambda i: abs(call[i].onset - tick))


def test_without_the_note_that_is_named_there_are_phrases() -> None:
    """The last note of a bar that is kept, changed to one that nothing can follow, is named, and rightly."""
    refused = 0
    for number in thinned(2, (1, 2, 4, 6, 12, 15, 20)):
        chart, call, _ = call_of(number)
        index = max(i for i, note in enumerate(call) if chart.bar_of(note.onset) == 1)
        for midi in range(62, 84, 2):
            changed, variation = with_note(number, index, midi)
            request = Request(chart, level=3, low=58, high=88, count=1)
            error = refusal(request, changed, variation)
            if error is not None and "can't be kept next to" in str(error):
                refused += 1
                assert unkept(request, changed, variation, error)
    assert refused > 3


def unkept(request: Request, call: Phrase, variation: Variation, error: NoPhraseError) -> bool:
    """Whether there are phrases once the notes that are named need not be kept, and none as long as they are."""
    named = [fillgen.read_pitch(name) for name in re.findall(r"([A-G][b#]*\d) over", error.message)]
    task = task_for(request, call, variation)
    first = named_at(request.progression, call, error)
    kept = [note for note in call if request.progression.bar_of(note.onset) in variation.bars]
    free = [
        {note.onset for note in some}
        for some in combinations(kept, len(named))
        if some[0] == call[first] and [note.midi for note in some] == named
    ]
    for plan in islice(planned(task, task.bars), 12):
        pitches = keeping_bars(task, plan).pitches
        assert not task.engine.space(plan, Kept(pitches)).count
        for onsets in free:
            left = {i: midi for i, midi in pitches.items() if plan.rhythm[i][0] not in onsets}
            if task.engine.space(plan, Kept(left)).count:
                return True
    return False


# Against the second checker, which shares no code with the program

_ROLES = frozenset({"chord tone", "passing", "neighbour", "anticipation", "approach", "appoggiatura"})
_LEAPS = {1: 7, 2: 9, 3: 9, 4: 12, 5: 12}


@pytest.mark.parametrize("number", [0, 1, 2])
def test_variants_pass_the_second_checker(number: int) -> None:
    _, call, level = call_of(number)
    heights = [note.midi for note in call]
    low, high = min(59, *heights), max(86, *heights)
    roles = {2: {"chord tone"}, 3: {"chord tone", "passing", "neighbour"}}.get(level, _ROLES)
    roles = frozenset(roles - {"approach", "appoggiatura"}) if level == 4 else frozenset(roles)
    for variation in (
        Variation(bars=(1,)),
        Variation(rhythm=True),
        Variation(near="answer"),
        Variation(near="like"),
        Variation(near="unlike"),
    ):
        found = document(ask(number, variation, count=4))
        for idea in found["ideas"]:
            alone = {**found, "ideas": [{**idea, "rank": 1}]}
            assert not faults(alone, Limits(low, high, _LEAPS[level], roles)), (variation, idea["text"])


def test_keep_reads_bars_and_parts() -> None:
    """Bars in any order and number, joined with any part."""
    for bars in (range(1, 3), range(2, 9), range(4, 5)):
        text = ",".join(str(bar) for bar in reversed(bars))
        assert read_keep(f"{text},contour") == Variation(bars=tuple(bars), contour=True)
        assert read_keep(f"{bars.start}-{bars.stop - 1}").bars == tuple(bars)
