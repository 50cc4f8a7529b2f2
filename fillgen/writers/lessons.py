"""Lesson sheets as text and as a printable web page, and the plan of a practice session as text.

Colour is never the only sign: the role of a note is written beside it, and its outline shows it as well.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from xml.etree.ElementTree import Element

from fillgen.chart.progression import Progression, Span
from fillgen.errors import many, printable
from fillgen.phrase.idea import CHORD_TONE, IdeaNote
from fillgen.teaching.cautions import CAUTIONS
from fillgen.teaching.lesson import Explained, Lesson, Step
from fillgen.teaching.notefit import LEAVE_QUICKLY, PASSES, ChordNotes
from fillgen.teaching.practice import Session, minutes
from fillgen.teaching.words import on_beat
from fillgen.theory.metre import TICKS
from fillgen.writers.lines import TEXT_WIDTH
from fillgen.writers.markup import LIGHT, css, new_page, new_table, page_text, put, themed
from fillgen.writers.notation import name_and_octave
from fillgen.writers.notes import bars_of, tone_names
from fillgen.writers.text import mark, staff

_WHAT = "A lesson up the ladder"
_CARE, _FIT, _REMARKS = "Before you begin", "Which notes fit each chord", "Remarks"
_BLANK = " "
"""The text of an otherwise empty element, so that the page is valid as HTML and as XML."""
_LINES = 3
"""Lines for handwritten remarks under each step."""
_INDENT = " " * 4
_NARROWEST = 40
"""The narrowest text, in characters."""
_ROLES = {
    "passing": "passing note",
    "neighbour": "neighbour note",
    "approach": "approach note",
    "": "outside the chord",
}
_FIT_WORDS = ((PASSES, "may pass"), (LEAVE_QUICKLY, "leave quickly"))


# What text and page have in common


def _title(lesson: Lesson) -> str:
    title = printable(lesson.progression.title)
    return f"{title}: a lesson" if title else _WHAT


def _about(lesson: Lesson) -> str:
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


def _role(note: IdeaNote) -> str:
    """The role of a note in words, with the degree of a chord tone.

    >>> from fillgen.phrase.note import Note
    >>> _role(IdeaNote(1, Note(0, 480, 67), "G4", "chord tone", "5"))
    'chord tone 5'
    """
    return f"{CHORD_TONE} {note.degree}" if note.role == CHORD_TONE else _ROLES.get(note.role, note.role)


def _beat(note: IdeaNote, progression: Progression) -> str:
    """The beat of its bar at which a note begins, with the time after the beat as a fraction of it."""
    beat, past = divmod(progression.inside(note.note.onset), progression.metre.beat)
    part = Fraction(past, progression.metre.beat)
    return f"{beat + 1}{f' {part}' if part else ''}"


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
        "\n".join([*textwrap.wrap(_title(lesson), width), *textwrap.wrap(_about(lesson), width)]),
        "\n".join([_CARE, *_bullets(lesson.cautions, width)]),
        "\n".join([_FIT, *_fit_lines(lesson, width)]),
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

    >>> import fillgen
    >>> from fillgen.teaching.practice import loop
    >>> ideas = fillgen.ideas("| C | F | G7 | C |", tempo=120, count=1)
    >>> print("\n".join(session_text(loop(ideas, ideas[0], steps=1, times=1)).splitlines()[:4]))
    3 rounds, 30 seconds
       0:00  120 a minute, right hand alone
       0:10  120 a minute, both hands
       0:20  120 a minute, all parts
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
    return "\n".join([*lines, "", _CARE, *_bullets(CAUTIONS, width)]) + "\n"


def _clock(seconds: float) -> str:
    """Seconds as minutes and seconds."""
    whole = int(seconds + 0.5)
    return f"{whole // 60:>4}:{whole % 60:02}"


# The picture of a bar

_WIDE, _CROWDED = 240, 320
"""The width of a bar, and of one with short notes or many beats."""
_TOP, _FIELD = 30, 100
"""The upper edge of the highest note, and the greatest distance from it to that of the lowest."""
_THICK, _FOOT = 18, 38
"""The height of a note, and the room below the lowest for marks and fingers."""
_SEMITONE = 8.0
"""The height of a semitone if there is room for it."""
_LETTER = 8.5
"""The usual width of a letter of a chord symbol."""
_TIGHT = 19
"""The width of a note below which its name is written smaller."""


@dataclass(frozen=True, slots=True)
class _Scale:
    """The scale of a phrase's pictures: its highest note, a semitone's height, a bar's ticks, and the picture's size."""

    highest: int
    semitone: float
    bar: int
    wide: int
    high: float

    @classmethod
    def of(cls, notes: Sequence[IdeaNote], bar: int) -> _Scale:
        pitches = [each.note.midi for each in notes]
        extent = max(pitches) - min(pitches)
        semitone = min(_SEMITONE, _FIELD / max(1, extent))
        crowded = bar > 4 * TICKS or any(each.note.length < TICKS // 2 for each in notes)
        high = round(_TOP + extent * semitone + _THICK + _FOOT, 1)
        return cls(max(pitches), semitone, bar, _CROWDED if crowded else _WIDE, high)

    def x(self, tick: int) -> float:
        """Units from the left edge to a tick of the bar."""
        return round(4 + tick * (self.wide - 6) / self.bar, 1)

    def y(self, midi: int) -> float:
        """Units from the top to the upper edge of a note."""
        return round(_TOP + (self.highest - midi) * self.semitone, 1)


def _bar_picture(
    bar: Sequence[Span], notes: Sequence[IdeaNote], scale: _Scale, progression: Progression, named: str
) -> Element:
    """A bar as a line of notes, higher ones higher, under its chords and over its fingers, with a description."""
    picture = Element(
        "svg",
        {
            "viewBox": f"0 0 {scale.wide} {scale.high}",
            "role": "img",
            "aria-labelledby": f"{named}-title {named}-described",
        },
    )
    start, number = bar[0].onset, progression.bar_of(bar[0].onset)
    put(picture, "title", f"Bar {number}: {_chords(bar)}", id=f"{named}-title")
    put(picture, "desc", _described(notes, start, progression), id=f"{named}-described")
    for beat in range(1, scale.bar // progression.metre.beat):
        x = scale.x(beat * progression.metre.beat)
        put(picture, "line", look="beat-line", x1=x, x2=x, y1=24, y2=scale.high - 22)
    put(picture, "line", look="bar-line", x1=1, x2=1, y1=4, y2=scale.high - 4)
    _put_chords(picture, bar, scale)
    if bar is progression.bars[-1]:
        put(picture, "line", look="bar-line", x1=scale.wide - 1, x2=scale.wide - 1, y1=4, y2=scale.high - 4)
    for note in notes:
        _put_note(picture, note, start, scale)
    return picture


def _chords(bar: Sequence[Span]) -> str:
    return ", ".join(span.chord.symbol for span in bar)


def _described(notes: Sequence[IdeaNote], start: int, progression: Progression) -> str:
    """The notes of a bar in a sentence."""
    words = []
    for note in notes:
        finger = f", finger {note.finger}" if note.finger else ""
        on = on_beat(progression.timeline, note.note.onset)
        begins = on if note.note.onset >= start else "held from the bar before"
        words.append(f"{note.name} {begins}, {_role(note)}{finger}")
    return f"{'; '.join(words)}." if words else "No note begins or sounds here."


def _put_chords(picture: Element, bar: Sequence[Span], scale: _Scale) -> None:
    start = bar[0].onset
    for span in bar:
        x, end = scale.x(span.onset - start) + 2, scale.x(span.end - start)
        symbol = span.chord.symbol
        room = {} if len(symbol) * _LETTER < end - x else {"textLength": f"{end - x - 3:.1f}"}
        put(picture, "text", symbol, "chord", x=x, y=17, **room, lengthAdjust="spacingAndGlyphs")


def _put_note(picture: Element, note: IdeaNote, start: int, scale: _Scale) -> None:
    """The part of a note that sounds in the bar, with its name; mark and finger where it begins."""
    onset, end = note.note.onset, min(note.note.end, start + scale.bar) - start
    left, top = scale.x(max(onset, start) - start), scale.y(note.note.midi)
    wide = max(6.0, scale.x(end) - left - 2)
    begins, middle = onset >= start, round(left + wide / 2, 1)
    group = put(picture, "g", look=_look(note))
    put(group, "rect", x=left, y=top, width=round(wide, 1), height=_THICK, rx=3)
    name, _ = name_and_octave(note.name)
    tight = " tight" if wide < _TIGHT else ""
    put(group, "text", name if begins else f"~{name}", f"name{tight}", x=middle, y=top + 13)
    if begins:
        put(group, "text", mark(note), f"mark{tight}", x=middle, y=round(top + _THICK + 11, 1))
        put(group, "text", _finger(note), "of-finger", x=middle, y=scale.high - 6)


def _look(note: IdeaNote) -> str:
    return "tone" if note.role == CHORD_TONE else "between" if note.role else "lost"


# The page


def lesson_html(lesson: Lesson) -> str:
    r"""A lesson as a web page, valid XML as well, to read on a screen or print on A4.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.teaching.lesson import lesson
    >>> page = lesson_html(lesson(parse_chart("title: <b>\n| C | G7 | C |"), levels=(1, 2), per_level=1))
    >>> "<b>" in page, "&lt;b&gt;" in page, page.count("<table "), page.count("</figure>")
    (False, True, 2, 2)
    """
    style = themed(
        css("lesson-colours", LIGHT), css("lesson"), colours="lesson-colours", paper="lesson-print"
    )
    page, body = new_page(_title(lesson), style)
    _put_header(body, lesson)
    main = put(body, "main")
    _put_fits(main, lesson)
    for number, step in enumerate(lesson.steps, 1):
        _put_step(main, step, number, lesson.progression)
    return page_text(page)


def _put_header(body: Element, lesson: Lesson) -> None:
    """The title, the cautions, and a link to each step."""
    header = put(body, "header")
    put(header, "h1", _title(lesson))
    put(header, "p", _about(lesson), "soft")
    care = put(header, "aside", look="care", aria_labelledby="care")
    put(care, "h2", _CARE, id="care")
    _put_list(care, lesson.cautions)
    places = put(put(body, "nav", aria_label="Steps"), "ol")
    put(put(places, "li"), "a", _FIT, href="#fits")
    for number, step in enumerate(lesson.steps, 1):
        put(put(places, "li"), "a", step.name, href=f"#step-{number}")


def _put_list(parent: Element, sentences: Iterable[str]) -> None:
    rows = put(parent, "ul")
    for sentence in sentences:
        put(rows, "li", sentence)


def _put_fits(main: Element, lesson: Lesson) -> None:
    """The notes that fit each chord, a line each, and how to read the pictures."""
    section = put(main, "section", id="fits", aria_labelledby="fits-name")
    put(section, "h2", _FIT, id="fits-name")
    rows = put(section, "ul")
    for chord in lesson.fits:
        row = put(rows, "li", f"{bars_of([(chord.bar, chord.through)], lesson.progression.first)} ")
        put(row, "strong", chord.span.chord.symbol).tail = f": {_fitting(chord)}"
    put(section, "h3", "How to read the pictures")
    legend = put(section, "ul", look="legend")
    for look, name, words in _LEGEND:
        row = put(legend, "li")
        row.append(_sample(look, name))
        put(row, "span", words)
    below = "Below each note is its mark, and at the foot of the bar its finger: 1 is the thumb."
    put(section, "p", below)


_LEGEND = (
    (
        "tone",
        "G",
        "filled: a note of the chord, with its degree below it (1 root, 3 third, 5 fifth, and so on)",
    ),
    (
        "between",
        "A",
        "outlined: a note between (pass passing, nbr neighbour, ant anticipation, appr approach, lean appoggiatura)",
    ),
    (
        "lost",
        "?",
        "broken outline, marked ?: any other note outside the chord; its row below says more",
    ),
)


def _sample(look: str, name: str) -> Element:
    drawn = Element("svg", {"viewBox": "0 0 48 20", "aria-hidden": "true"})
    group = put(drawn, "g", look=look)
    put(group, "rect", x=1, y=1, width=46, height=_THICK, rx=3)
    put(group, "text", name, "name", x=24, y=14)
    return drawn


def _put_step(main: Element, step: Step, number: int, progression: Progression) -> None:
    named = f"step-{number}"
    section = put(main, "section", look="step", id=named, aria_labelledby=f"{named}-name")
    put(section, "h2", step.name, id=f"{named}-name")
    if step.adds:
        _put_words(section, "What it adds:", step.adds)
    if step.practise:
        put(put(section, "p"), "strong", "How to practise:")
        _put_list(section, step.practise)
    for remark in step.remarks:
        _put_words(section, "Note:", remark)
    for index, each in enumerate(step.phrases, 1):
        _put_phrase(section, each, f"{named}-{index}", progression)
    remarks = put(section, "div", look="remarks")
    put(remarks, "h3", _REMARKS)
    for _ in range(_LINES):
        put(remarks, "div", _BLANK, "line")


def _put_words(parent: Element, head: str, words: str) -> None:
    put(put(parent, "p"), "strong", head).tail = f" {printable(words)}"


def _put_phrase(section: Element, each: Explained, named: str, progression: Progression) -> None:
    """A phrase: a picture of each bar, then a row for each note."""
    put(section, "h3", each.name)
    scale = _Scale.of(each.notes, progression.metre.bar)
    looks = "bars crowded" if scale.wide == _CROWDED else "bars"
    figure = put(section, "figure", look=looks, aria_label=f"{each.name}, bar by bar")
    for number, bar in enumerate(progression.bars, 1):
        start, end = bar[0].onset, bar[-1].end
        sounding = [note for note in each.notes if note.note.onset < end and note.note.end > start]
        figure.append(
            _bar_picture(bar, sounding, replace(scale, bar=end - start), progression, f"{named}-bar-{number}")
        )
    section.append(_table(each, progression))


def _table(each: Explained, progression: Progression) -> Element:
    """A row for each note, grouped by bar."""
    table = new_table(f"{each.name}, note by note", ("Beat", "Note", "What it is", "Finger", "Why it fits"))
    explained = list(zip(each.notes, each.reasons, strict=True))
    for bar in progression.bars:
        number = progression.bar_of(bar[0].onset)
        rows = [pair for pair in explained if pair[0].bar == number]
        body = put(table, "tbody", role="rowgroup")
        head = put(body, "tr", look="of-bar", role="row")
        put(head, "th", f"Bar {number}: {_chords(bar)}", colspan=5, scope="rowgroup", role="rowheader")
        for note, reason in rows:
            _put_row(body, note, reason, progression)
    return table


def _put_row(body: Element, note: IdeaNote, reason: str, progression: Progression) -> None:
    row = put(body, "tr", role="row")
    put(row, "td", _beat(note, progression), "beat", role="cell")
    put(row, "th", note.name, "note", scope="row", role="rowheader")
    put(row, "td", _role(note), "role", role="cell")
    put(row, "td", _finger(note) or _BLANK, "finger", role="cell")
    put(row, "td", reason, "why", role="cell")
