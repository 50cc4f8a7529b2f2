"""A lesson as a handout: the usual cautions, the notes of each chord, and each level's task with its phrases."""

from __future__ import annotations

from collections.abc import Iterator

from fillgen.errors import printable
from fillgen.teaching.lesson import Lesson, Step
from fillgen.teaching.notefit import LEAVE_QUICKLY, PASSES, ChordNotes, Recurring, recurring
from fillgen.writers.engraver import Drawing
from fillgen.writers.entry import SheetEntry, in_words, lesson_entries, score_of
from fillgen.writers.handout import Handout, titled
from fillgen.writers.handouts.staves import pictures
from fillgen.writers.layout import PAGE_PIXELS, Picture, Row, Words, in_rows
from fillgen.writers.lessons import CARE, FIT, LESSON, about_lesson
from fillgen.writers.look import USUAL, SheetOptions
from fillgen.writers.mei import signed
from fillgen.writers.notation import Score
from fillgen.writers.notes import bars_of

_FIT_COLUMNS = 2
_LINES, _LINE_HIGH = 2, 34
"""Lines for handwritten remarks under each step, and their distance in pixels."""


def lesson_handout(lesson: Lesson, swing: float = 1.0, look: SheetOptions = USUAL) -> Handout:
    """The phrases of a lesson as music, level by level, each level with its task in a sentence and how to practise it.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.teaching.lesson import lesson
    >>> made = lesson_handout(lesson(parse_chart("| Ab | Eb7 | Ab |"), levels=(1, 2), per_level=1))
    >>> [score.heading.split(" · ")[0] for score in made.scores]
    ['Level 1: roots', 'Level 2: chord notes']
    """
    entries = lesson_entries(lesson, swing)
    scores = [score_of(entry, look) for entry in entries]
    drawn = iter(zip(entries, scores, strict=True))
    rows = [Row(((Words(f"{signed(about_lesson(lesson))}."),),))]
    rows.append(Row(((Words(CARE, 2), *(Words(each, bullet=True) for each in lesson.cautions)),)))
    rows.append(Row(((Words(FIT, 2),),), leads=True))
    rows += in_rows(
        [(Words(_fits(each, lesson.progression.first), bullet=True),) for each in recurring(lesson.fits)],
        _FIT_COLUMNS,
    )
    for step in lesson.steps:
        rows += _step(step, drawn)
    return Handout(titled(look, lesson.progression.title, LESSON), tuple(rows), tuple(scores))


def _fits(each: Recurring, first: int) -> str:
    """A chord and the notes that fit it, in a line."""
    chord = each.notes
    parts = [f"{signed(chord.span.chord.symbol)} ({bars_of(each.bars, first)}): {_tones(chord)}"]
    for kind, words in ((PASSES, "may pass"), (LEAVE_QUICKLY, "leave quickly")):
        names = " ".join(signed(str(fit.name)) for fit in chord.of_kind(kind))
        parts += [f"{words} {names}"] if names else []
    return "; ".join([*parts, *([chord.remark] if chord.remark else [])])


def _tones(chord: ChordNotes) -> str:
    return " ".join(signed(str(tone.name)) for tone in chord.tones)


def _step(step: Step, drawn: Iterator[tuple[SheetEntry, Score]]) -> Iterator[Row]:
    """A level's heading, task and advice on one row, then a row for each line of its phrases, then lines to write on."""
    words = [Words(step.name, 2)]
    words += [Words(printable(step.adds))] if step.adds else []
    words += [Words(each, bullet=True) for each in step.practise]
    words += [Words(f"Note: {printable(each)}") for each in step.remarks]
    yield Row((tuple(words),), leads=True)
    for phrase in step.phrases:
        entry, score = next(drawn)
        for number, picture in enumerate(pictures(score, PAGE_PIXELS, in_words(entry))):
            yield Row(((Words(phrase.name, 3), picture) if number == 0 else (picture,),))
    yield Row(((Words("Remarks", 3), _lines()),))


def _lines() -> Picture:
    """Empty lines to write on."""
    rules = "".join(
        f'<path d="M0 {y}L{PAGE_PIXELS} {y}" fill="none" stroke="#888888" stroke-width="1"/>'
        for y in range(_LINE_HIGH, _LINE_HIGH * _LINES + 1, _LINE_HIGH)
    )
    return Picture(
        Drawing(rules, PAGE_PIXELS, _LINE_HIGH * _LINES + 2), "Remarks", "Empty lines to write on."
    )
