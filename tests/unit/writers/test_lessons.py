"""Lessons: each note explained, and a text that is whole whatever it holds."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from typing import Any

import pytest

from fillgen import NoPhraseError, OptionError, PhraseError, RulePack, parse_chart, parse_phrase
from fillgen.chart.progression import Progression
from fillgen.engine.generate import generate
from fillgen.engine.request import Request
from fillgen.hands.fingering import best
from fillgen.hands.reach import reach
from fillgen.phrase.idea import IdeaNote
from fillgen.phrase.place import places
from fillgen.rules.judge import annotated
from fillgen.teaching.cautions import CAUTIONS
from fillgen.teaching.lesson import Lesson, lesson
from fillgen.teaching.practice import loop
from fillgen.teaching.sentences import reasons
from fillgen.writers.lessons import lesson_text, session_text

NAMES = ("usual", "waltz", "twelve", "rests", "short", "title")
NASTY = '<b>&"\x07</style><script>alert(1)</script> \u2028end'


def noted(progression: Progression, text: str) -> tuple[IdeaNote, ...]:
    """A pupil's phrase with what each of its notes is."""
    notes = parse_phrase(text, progression.metre)
    return annotated(progression, notes, places(progression, [(note.onset, note.length) for note in notes]))


@cache
def made(name: str = "usual") -> Lesson:
    """A lesson by what is special about it."""
    charts = {
        "usual": "title: Ferry Steps\n| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |",
        "waltz": "metre: 3/4\n| F | Gm7 | C7 | F |",
        "twelve": "metre: 12/8\n| Am | F | E7 | Am |",
        "rests": "| N.C. | Dm7 G7 | C6 / / G7(b9) | C |",
        "short": "| C |",
        "title": "| C | G7 |",
    }
    progression = parse_chart(charts[name])
    if name == "title":
        progression = replace(progression, title=NASTY)
    if name == "usual":
        own = noted(progression, "Eb5q F5s G5s Ab5s E5s D5h | G5et F5et Eb5et D5q C5h | Ab4w~ | Ab4h Bb4h")
        return lesson(progression, levels=(1, 2, 3), phrase=own)
    return lesson(progression, levels=(2, 5), per_level=1, seed=3)


@cache
# The lesson


def test_a_lesson_goes_up_the_ladder() -> None:
    """The steps are the levels asked for, easiest first and each once, then the pupil's own phrase."""
    assert [step.name for step in made().steps] == [
        "Level 1: roots",
        "Level 2: chord notes",
        "Level 3: passing notes",
        "Your own phrase",
    ]
    found = lesson(parse_chart("| C | G7 |"), levels=(4, 2, 4), per_level=1)
    assert [step.name[:7] for step in found.steps] == ["Level 2", "Level 4"]
    assert [step.adds for step in found.steps] == [RulePack().level(number).says for number in (2, 4)]


def test_the_ideas_are_those_of_their_level() -> None:
    """Each step holds the best ideas of its level, two of them, and the roots are roots."""
    progression = made().progression
    for number, step in zip((1, 2, 3), made().steps, strict=False):
        wanted = generate(Request(progression, count=2, level=number, hand="medium"))
        assert [[n.note for n in each.notes] for each in step.phrases] == [
            [n.note for n in idea.notes] for idea in wanted
        ]
    assert {note.degree for each in made().steps[0].phrases for note in each.notes} == {"1"}
    assert {note.role for each in made().steps[1].phrases for note in each.notes} == {"chord tone"}


@pytest.mark.costly
@pytest.mark.parametrize("name", NAMES)
def test_each_note_has_its_reason_and_its_finger(name: str) -> None:
    """Every note of every phrase has a sentence, the one that explains it, and a finger from 1 to 5."""
    for step in made(name).steps:
        for each in step.phrases:
            assert len(each.notes) == len(each.reasons) > 0
            assert each.reasons == reasons(made(name).progression, tuple(n.note for n in each.notes))
            assert all(reason.strip().endswith(".") for reason in each.reasons)
            assert all(1 <= note.finger <= 5 for note in each.notes)


def test_fingers_are_for_the_hand() -> None:
    """A phrase without fingers gets those that cost the hand least; one that has them keeps them."""
    progression = parse_chart("| C | C |")
    bare = noted(progression, "C4q E4q G4q C5q | E5q C5q G4q C4q")
    for size in ("small", "large"):
        own = lesson(progression, levels=(2,), per_level=1, hand=size, phrase=bare).steps[-1].phrases[0]
        wanted = best([note.note.midi for note in bare], reach(size))
        assert tuple(note.finger for note in own.notes) == wanted
    kept = lesson(progression, levels=(2,), per_level=1, phrase=own.notes).steps[-1].phrases[0]
    assert kept.notes == own.notes


def test_advice_follows_the_level_and_the_notes() -> None:
    """Every level has advice of its own; tempi are told; a wide leap is told where there is one."""
    found = lesson(parse_chart("| Bb | Dm | Eb | F7 |"), levels=(1, 2, 3, 4, 5), per_level=1, tempo=100)
    assert len({step.practise[0] for step in found.steps}) == 5
    assert all("60 quarter notes" in step.practise[1] and "100." in step.practise[1] for step in found.steps)
    progression = parse_chart("| C | C |")
    steps = noted(progression, "C5q D5q E5q D5q | C5w")
    leaps = noted(progression, "C5q E4q G4q C5q | C5w")
    (near,) = lesson(progression, levels=(2,), phrase=steps).steps[-1:]
    (wide,) = lesson(progression, levels=(2,), phrase=leaps).steps[-1:]
    assert not [line for line in near.practise if "widest" in line]
    assert "The widest leap is a minor sixth, from C5 to E4 in bar 1" in wide.practise[-1]


def test_a_level_without_ideas_says_so() -> None:
    """Where a level has no idea its step says why, and the others stand; where none has any, that is the error."""
    chart = parse_chart("| C |")
    pack = RulePack({"level": [{"number": 6, "like": 1, "low": "D4", "high": "D4"}]})
    found = lesson(chart, levels=(2, 6), per_level=1, pack=pack)
    assert [bool(step.phrases) for step in found.steps] == [True, False]
    assert "There is no idea here: bar 1" in found.steps[1].remarks[0]
    assert found.steps[1].remarks[0] in " ".join(lesson_text(found, 300).split())
    with pytest.raises(NoPhraseError):
        lesson(chart, levels=(6,), pack=pack)
    alone = lesson(chart, levels=(6,), pack=pack, phrase=noted(chart, "C5w"))
    assert [bool(step.phrases) for step in alone.steps] == [False, True]


@pytest.mark.parametrize(
    ("options", "error", "told"),
    [
        ({"levels": ()}, OptionError, "The levels are 1, 2, 3, 4, 5"),
        ({"levels": (1, 9)}, OptionError, "there is no level 9"),
        ({"per_level": 0}, OptionError, "1 to 10 ideas"),
        ({"per_level": 11}, OptionError, "1 to 10 ideas"),
        ({"rhythm": "waltzz"}, OptionError, "Did you mean 'waltz'"),
        ({"tempo": 5}, OptionError, "20 to 400"),
        ({"hand": "huge"}, OptionError, "small"),
        ({"seed": -1}, OptionError, "seed"),
        ({"phrase": ()}, PhraseError, "no note"),
    ],
)
def test_what_a_lesson_refuses(options: dict[str, Any], error: type[Exception], told: str) -> None:
    """A setting outside what is offered is refused with what is."""
    with pytest.raises(error, match=re.escape(told)):
        lesson(parse_chart("| C | G7 |"), **options)


def test_a_phrase_longer_than_the_chart_is_refused() -> None:
    """A phrase that goes on after the chart's last bar has no chord there."""
    longer = noted(parse_chart("| C | C |"), "C5w | E5w")
    with pytest.raises(PhraseError, match="the phrase has 2 bars, the chart 1"):
        lesson(parse_chart("| C |"), phrase=longer)


def test_the_same_lesson_every_time() -> None:
    """The same request gives the same sheets, and another seed others."""
    chart = parse_chart("| Dm7 | G7 | C |")
    assert lesson_text(lesson(chart, seed=2)) == lesson_text(lesson(chart, seed=2))
    assert lesson_text(lesson(chart, seed=2)) != lesson_text(lesson(chart, seed=3))


# Text


@pytest.mark.parametrize("name", NAMES)
def test_the_text_holds_everything(name: str) -> None:
    """Text has all cautions, chords, steps, advice, remarks, each note with finger and reason, and lines to write on."""
    made_text = lesson_text(made(name))
    flat = " ".join(made_text.split())
    for caution in CAUTIONS:
        assert caution in flat
    for fit in made(name).fits:
        assert f"{fit.span.chord.symbol} chord notes {' '.join(str(t.name) for t in fit.tones)}" in flat
    for step in made(name).steps:
        assert all(line in flat for line in (step.name, step.adds, *step.practise, *step.remarks))
        for each in step.phrases:
            for note, reason in zip(each.notes, each.reasons, strict=True):
                assert f"bar {note.bar} {note.name} finger {note.finger} {reason}" in flat
    assert made_text.count("\nRemarks\n    ____") == len(made(name).steps)


@pytest.mark.parametrize("width", [1, 60, 100, 140])
def test_text_keeps_its_width(width: int) -> None:
    """Prose keeps within the width, down to forty characters; only rows of notes may be wider."""
    for line in lesson_text(made("waltz"), width).splitlines():
        is_row = "|" in line
        assert is_row or len(line) <= max(width, 60)


@pytest.mark.parametrize("name", NAMES)
def test_the_notes_of_the_text_read_back(name: str) -> None:
    """The note rows of the text are phrase text, and read back as the phrases."""
    rows: list[str] = []
    for block in lesson_text(made(name)).split("\n\n"):
        if "\n notes |" in block:
            parts = [line.split("|", 1)[1] for line in block.splitlines() if line.startswith(" notes |")]
            rows.append("|".join(part.rstrip().removesuffix("|") for part in parts))
    phrases = [each for step in made(name).steps for each in step.phrases]
    assert len(rows) == len(phrases) > 0
    for row, each in zip(rows, phrases, strict=True):
        assert parse_phrase(row, made(name).progression.metre) == tuple(n.note for n in each.notes)


# The page


def test_titles_are_text() -> None:
    """Whatever a title holds stands on one line of the text."""
    wanted = '<b>&"</style><script>alert(1)</script> end: a lesson'
    assert lesson_text(made("title")).splitlines()[0].split() == wanted.split()


def test_words_of_a_pack_are_text() -> None:
    """What a player's pack says of a level stands there as text, without control characters."""
    pack = RulePack({"level": [{"number": 6, "like": 2, "name": "<i>x\x00", "says": "a & b\x1b[2J"}]})
    found = lesson(parse_chart("| C | G7 |"), levels=(6,), per_level=1, pack=pack)
    text = lesson_text(found)
    assert "Level 6: <i>x" in text.splitlines()
    assert "a & b[2J" in text
    assert "\x1b" not in text


# The plan of a session as text


def test_the_plan_of_a_session_tells_when_and_how_long() -> None:
    """Each round stands there with the time at which it begins, rests as well, then the cautions."""
    ideas = generate(Request(parse_chart("| C | F | G7 | C |"), count=1, tempo=120))
    told_text = session_text(loop(ideas, ideas[0], slowest=0.5, steps=2, times=6))
    lines = told_text.splitlines()
    assert lines[0] == "36 rounds, 7 minutes 38 seconds"
    assert lines[1:3] == [
        "   0:00  60 a minute, right hand alone, time 1 of 6",
        "   0:20  60 a minute, right hand alone, time 2 of 6",
    ]
    once = loop(ideas, ideas[0], steps=1, times=1, parts=("right",))
    assert session_text(once).splitlines()[0] == "1 round, 10 seconds"
    at = next(i for i, line in enumerate(lines) if "rest your hands" in line)
    assert lines[at].startswith("   4:52  rest")
    assert lines[at + 1].startswith("   5:12  120 a minute, right hand alone, time 1 of 6")
    assert all(caution in " ".join(told_text.split()) for caution in CAUTIONS)


def test_a_bar_of_pick_up_is_bar_nought() -> None:
    """Where a chart begins with the bar of a pick-up, its bars are counted from 0 in every place."""
    progression = replace(parse_chart("| N.C. | C | G7 | C |"), first=0)
    own = noted(progression, "rh. G4q | C5h E5h | D5h B4h | C5w")
    found = lesson(progression, levels=(2,), per_level=1, phrase=own)
    for number, symbol in enumerate(("N.C.", "C", "G7", "C")):
        assert f"    bar {number}  {symbol}" in lesson_text(found)
    assert "    bar 0   G4    finger" in lesson_text(found)
