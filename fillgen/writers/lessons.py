"""Lessons and the plan of a practice session as text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from fillgen.chart.progression import Progression
from fillgen.errors import many, printable
from fillgen.phrase.idea import IdeaNote
from fillgen.teaching.cautions import CAUTIONS
from fillgen.teaching.lesson import Explained, Lesson, Step
from fillgen.teaching.notefit import LEAVE_QUICKLY, PASSES, ChordNotes
from fillgen.teaching.practice import Session, minutes
from fillgen.theory.metre import TICKS
from fillgen.writers.lines import TEXT_WIDTH
from fillgen.writers.notes import bars_of, tone_names
from fillgen.writers.text import staff

LESSON = "A lesson up the ladder"
CARE, FIT, _REMARKS = "Before you begin", "Which notes fit each chord", "Remarks"
_LINES = 3
"""Lines for handwritten remarks under each step."""
_INDENT = " " * 4
_NARROWEST = 40
"""The narrowest text, in characters."""
_FIT_WORDS = ((PASSES, "may pass"), (LEAVE_QUICKLY, "leave quickly"))


# Shared by text and handout


def _title(lesson: Lesson) -> str:
    title = printable(lesson.progression.title)
    return f"{title}: a lesson" if title else LESSON


def about_lesson(lesson: Lesson) -> str:
    """Keys, metres, rhythm, tempo and hand of a lesson in a line."""
    progression = lesson.progression
    return (
        f"{progression.keys_in_words}, {progression.metres_in_words}, {lesson.rhythm} at {lesson.tempo} quarter notes a minute, "
        f"fingers for a {lesson.hand} hand"
    )


def _fitting(chord: ChordNotes) -> str:
    """The notes that fit a chord, in a line."""
    parts = [f"chord notes {tone_names(chord)}"]
    parts += [
        f"{words} {' '.join(str(fit.name) for fit in chord.of_kind(kind))}"
        for kind, words in _FIT_WORDS
        if chord.of_kind(kind)
    ]
    return f"{'; '.join(parts)}{f' ({chord.remark})' if chord.remark else ''}"


def _finger(note: IdeaNote) -> str:
    return str(note.finger) if note.finger else ""


# Text


def lesson_text(lesson: Lesson, width: int = TEXT_WIDTH) -> str:
    r"""A lesson as text of about `width` characters; the note lines read back as phrase text.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.teaching.lesson import lesson
    >>> sheet = lesson_text(lesson(parse_chart("title: Two Lanterns\n| C | G7 | C |"), levels=(1,), per_level=1))
    >>> sheet.splitlines()[:2]
    ['Two Lanterns: a lesson', 'C major, 4/4, foxtrot at 116 quarter notes a minute, fingers for a medium hand']
    """
    width = max(width, _NARROWEST)
    blocks = [
        "\n".join([*textwrap.wrap(_title(lesson), width), *textwrap.wrap(about_lesson(lesson), width)]),
        "\n".join([CARE, *_bullets(lesson.cautions, width)]),
        "\n".join([FIT, *_fit_lines(lesson, width)]),
    ]
    for step in lesson.steps:
        blocks += _step_blocks(step, lesson.progression, width)
    return "\n\n".join(blocks) + "\n"


def _bullets(sentences: Iterable[str], width: int) -> list[str]:
    lines: list[str] = []
    for sentence in sentences:
        lines += textwrap.wrap(sentence, width, initial_indent="  - ", subsequent_indent=_INDENT)
    return lines


def _fit_lines(lesson: Lesson, width: int) -> list[str]:
    first_bar = lesson.progression.first
    heads = [
        f"{bars_of([(chord.bar, chord.through)], first_bar)}  {chord.span.chord.symbol}"
        for chord in lesson.fits
    ]
    column = max(map(len, heads)) + 2
    lines = []
    for head, chord in zip(heads, lesson.fits, strict=True):
        first, later = f"{_INDENT}{head:<{column}}", " " * (column + len(_INDENT))
        room = max(width, column + 34)
        lines += textwrap.wrap(_fitting(chord), room, initial_indent=first, subsequent_indent=later)
    return lines


def _step_blocks(step: Step, progression: Progression, width: int) -> list[str]:
    """A block for a step's name and advice, one for each of its phrases, and one of lines for remarks."""
    name = printable(step.name)
    head = [name, "=" * len(name)]
    if step.adds:
        head += textwrap.wrap(f"What it adds: {printable(step.adds)}", width)
    if step.practise:
        head += ["How to practise:", *_bullets(step.practise, width)]
    head += [line for remark in step.remarks for line in textwrap.wrap(f"Note: {remark}", width)]
    blocks = ["\n".join(head)]
    blocks += ["\n".join(_phrase_lines(each, progression, width)) for each in step.phrases]
    return [*blocks, "\n".join([_REMARKS, *[f"{_INDENT}{'_' * (width - len(_INDENT))}"] * _LINES])]


def _phrase_lines(each: Explained, progression: Progression, width: int) -> list[str]:
    lines = [each.name, *staff(each.notes, progression, width), ""]
    for note, reason in zip(each.notes, each.reasons, strict=True):
        finger = f"finger {_finger(note)}" if note.finger else ""
        first = f"{_INDENT}{f'bar {note.bar}':<8}{note.name:<6}{finger:<10}"
        room = max(width, len(first) + 30)
        lines += textwrap.wrap(reason, room, initial_indent=first, subsequent_indent=" " * len(first))
    return lines


# The plan of a session


def session_text(session: Session, width: int = TEXT_WIDTH) -> str:
    r"""The plan of a session: each round with the time of its rest or count-in, then the cautions.

    Where it goes through several keys, what is played in each comes between them, with its fingering.

    >>> import fillgen
    >>> from fillgen.teaching.practice import loop
    >>> ideas = fillgen.ideas("| C | F | G7 | C |", tempo=120, count=1)
    >>> print("\n".join(session_text(loop(ideas, ideas[0], steps=1, times=1)).splitlines()[:4]))
    3 rounds, 26 seconds
       0:00  120 a minute, right hand alone
       0:10  120 a minute, both hands
       0:18  120 a minute, all parts
    """
    whole, seconds = divmod(round(minutes(session) * 60), 60)
    counts = (len(session.rounds), "round"), (whole, "minute"), (seconds, "second")
    rounds, *lasts = (many(count, what) for count, what in counts if count)
    lines = [f"{rounds}, {' '.join(lasts)}"]
    bar, at = session.ideas.progression.metre.bar, 0.0
    for start, each in zip(session.starts, session.rounds, strict=True):
        first = start - each.before * bar
        rest = each.rest * bar / TICKS * 60 / each.tempo
        if each.rest:
            lines.append(f"{_clock(at)}  rest your hands; stop the music if you want longer")
        lines.append(f"{_clock(at + rest)}  {each.label}")
        tick = start + session.ideas.progression.length
        at += (tick - first) / TICKS * 60 / each.tempo
    blocks = ["\n".join(lines), *_key_blocks(session, width), "\n".join([CARE, *_bullets(CAUTIONS, width)])]
    return "\n\n".join(blocks) + "\n"


def _key_blocks(session: Session, width: int) -> list[str]:
    """What is played in each key under the key's name, where there are several."""
    if len(session.by_key) == 1:
        return []
    return [
        "\n".join([each.progression.keys_in_words, *staff(idea.notes, each.progression, width, idea.second)])
        for each in session.by_key
        for idea in each
    ]


def _clock(seconds: float) -> str:
    """Seconds as minutes and seconds."""
    whole = int(seconds + 0.5)
    return f"{whole // 60:>4}:{whole % 60:02}"
