"""Ideas as text: each phrase bar by bar under its chords, beats aligned, every note marked with its role."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from itertools import pairwise

from fillgen.chart.progression import Progression
from fillgen.errors import printable
from fillgen.phrase.idea import CHORD_TONE, Idea, IdeaNote, Ideas
from fillgen.phrase.text import phrase_tokens
from fillgen.theory.metre import Metre
from fillgen.writers.notation import LINE, bars_in_line, line_starts

MARKS = {
    "passing": "pass",
    "neighbour": "nbr",
    "anticipation": "ant",
    "approach": "appr",
    "appoggiatura": "lean",
    "": "?",
    "accented passing": "pass",
    "chromatic passing": "pass",
    "pentatonic passing": "pass",
    "accented neighbour": "nbr",
    "chromatic neighbour": "nbr",
    "double neighbour": "nbr",
    "incomplete neighbour": "nbr",
    "free anticipation": "ant",
    "suspension": "susp",
    "retardation": "ret",
    "escape tone": "esc",
    "changing note": "nbr",
    "cambiata": "camb",
    "pedal": "ped",
}
"""Marks of notes outside their chord, by role, and by what textbooks call those that have no role."""
_MEANINGS = {
    "pass": "passing note",
    "nbr": "neighbour note",
    "ant": "anticipation",
    "appr": "approach note",
    "lean": "appoggiatura",
    "?": "a note no rule justifies",
}
_HEAD = 8
_TERMS_INDENT = 6

TickText = Mapping[int, str]
"""Texts by tick of a bar."""
_BarRows = tuple[TickText, TickText, TickText, TickText]
"""The chords, notes, marks and fingers of a bar."""


def to_text(ideas: Ideas, *, width: int = 100) -> str:
    """Ideas as text of about `width` characters; the note lines read back as phrase text."""
    blocks = [_heading(ideas), *(block(idea, ideas.progression, width) for idea in ideas)]
    blocks += [f"Note: {remark}" for remark in ideas.remarks]
    return "\n\n".join(blocks) + "\n"


def _heading(ideas: Ideas) -> str:
    progression = ideas.progression
    marks = {MARKS[note.role] for idea in ideas for note in idea.notes if note.role in MARKS}
    used = ", ".join(f"{mark} {meaning}" for mark, meaning in _MEANINGS.items() if mark in marks)
    hand = f", {ideas.hand} hand" if "ease" in ideas.weights else ""
    keep = "phrase that keeps" if ideas.phrases == 1 else "phrases that keep"
    return (
        f"{chart_heading(progression)}, {ideas.rhythm} at {ideas.tempo} quarter notes a minute, "
        f"level {ideas.level}{hand}, seed {ideas.seed}\n"
        f"{len(ideas)} of {_count(ideas.phrases)} {keep} the rules{_over(ideas)}, {ideas.order}\n"
        f"Under each note: the degree of a chord tone{f', or {used}' if used else ''}"
    )


def _over(ideas: Ideas) -> str:
    """What the phrases are counted over, where passages have to come back in some of it."""
    if not ideas.returning:
        return ""
    return f" over {ideas.rhythms} rhythms, in {ideas.returning} of them with bars that return"


def chart_heading(progression: Progression) -> str:
    r"""The title of a chart, if it has one, with its key and metre.

    >>> from fillgen.chart.text import parse_chart
    >>> chart_heading(parse_chart("title: Two Lanterns\n| Eb | Bb7 |"))
    'Two Lanterns: Eb major, 4/4'
    """
    title = f"{printable(progression.title)}: " if progression.title else ""
    return f"{title}{progression.keys_in_words}, {progression.metres_in_words}"


def _count(phrases: int) -> str:
    """A number in full up to 15 digits, then as a power of ten."""
    digits = str(phrases)
    if len(digits) <= 15:
        return f"{phrases:,}"
    return f"about {digits[0]}.{digits[1:3]} x 10^{len(digits) - 1}"


def block(idea: Idea, progression: Progression, width: int) -> str:
    """An idea as lines of text: rank, score, shape and terms, then its notes under their chords."""
    form = f"  ({idea.form})" if idea.form else ""
    lines = [f"{idea.rank:>4}  {idea.score:.3f}  {idea.shape}{form}", *_terms(idea, width)]
    return "\n".join([*lines, *staff(idea.notes, progression, width)])


def _terms(idea: Idea, width: int) -> list[str]:
    """The terms of the score with their values, in lines of even length that are not too wide."""
    terms = [f"{name} {value:.2f}" for name, value in idea.terms.items()]
    in_row = max(1, (width - _TERMS_INDENT) // (max(map(len, terms), default=1) + 2))
    rows = -(-len(terms) // in_row)
    even = -(-len(terms) // max(rows, 1))
    starts = range(0, len(terms), max(even, 1))
    return [f"{' ' * _TERMS_INDENT}{'  '.join(terms[start : start + even])}" for start in starts]


def staff(notes: Sequence[IdeaNote], progression: Progression, width: int) -> list[str]:
    """Notes as lines of text under their chords, with the role of each and its finger if it has one."""
    bars = _bars(notes, progression)
    metres = [progression.metre_of(number) for number in range(len(bars))]
    columns = {
        metre: _columns([bar for bar, own in zip(bars, metres, strict=True) if own == metre], metre)
        for metre in dict.fromkeys(metres)
    }
    bar_width = max(sum(each.values()) for each in columns.values())
    in_row = _bars_in_row(len(bars), max(1, (width - _HEAD) // (bar_width + 2)))
    sections = dict(progression.sections)
    lines = []
    for first, after in pairwise(line_starts(len(bars), in_row, sections)):
        if first in sections:
            lines.append(f"{printable(sections[first]):>6} |")
        some = slice(first, after)
        ruler = first == 0 or len(columns) > 1
        lines += _row(bars[some], [columns[metre] for metre in metres[some]], metres[some], ruler)
    return lines


def _bars_in_row(bars: int, most: int) -> int:
    """How many bars go in a row where `most` fit: a long chart has four, or two or one, a short one even rows."""
    if bars > LINE:
        return bars_in_line(lambda count: count <= most)
    rows = -(-bars // most)
    return -(-bars // rows)


def _bars(notes: Sequence[IdeaNote], progression: Progression) -> list[_BarRows]:
    """Chords, notes, marks and fingers of each bar, by tick of the bar."""
    names = [each.name for each in notes]
    phrase = tuple(each.note for each in notes)
    tokens = phrase_tokens(phrase, names, progression.timeline, len(progression.bars))
    bars: list[_BarRows] = []
    seen: set[int] = set()
    for spans, row in zip(progression.bars, tokens, strict=True):
        start = spans[0].onset
        chords = {span.onset - start: span.chord.symbol for span in spans}
        texts = {tick: text for tick, _, text, _ in row}
        marks, fingers = {}, {}
        for tick, _, _, index in row:
            if index is not None and index not in seen:
                seen.add(index)
                marks[tick] = mark(notes[index])
                if notes[index].finger:
                    fingers[tick] = str(notes[index].finger)
        bars.append((chords, texts, marks, fingers))
    return bars


def mark(note: IdeaNote) -> str:
    """The mark under a note: the degree of a chord tone, a short word for any other role."""
    return note.degree if note.role == CHORD_TONE else MARKS[note.role]


def _columns(bars: Sequence[_BarRows], metre: Metre) -> dict[int, int]:
    """The columns of a bar: the ticks with text in any bar, each with its width in all bars."""
    widest: dict[int, int] = defaultdict(int)
    for tick in range(0, metre.bar, metre.beat):
        widest[tick] = 2
    for rows in bars:
        for row in rows[1:]:
            for tick, text in row.items():
                widest[tick] = max(widest[tick], len(text) + 1)
    ticks = sorted(widest)
    for rows in bars:
        _make_room(rows[0], ticks, widest, metre.bar)
    return {tick: widest[tick] for tick in ticks}


def _make_room(chords: TickText, ticks: Sequence[int], widest: dict[int, int], bar: int) -> None:
    """Widen columns until each chord symbol ends before the next begins."""
    starts = [*sorted(chords), bar]
    for start, end in pairwise(starts):
        room = sum(widest[tick] for tick in ticks if start <= tick < end)
        widest[start] += max(0, len(chords[start]) + 1 - room)


def _row(
    bars: Sequence[_BarRows], columns: Sequence[Mapping[int, int]], metres: Sequence[Metre], ruler: bool
) -> list[str]:
    beats: list[TickText] = [{n * metre.beat: str(n + 1) for n in range(metre.beats)} for metre in metres]
    lines = [_line("beat", beats, columns)] if ruler else []
    for part, head in enumerate(("chord", "notes", "", "finger")):
        rows = [rows[part] for rows in bars]
        if any(rows):
            lines.append(_line(head, rows, columns))
    return lines


def _line(head: str, rows: Sequence[TickText], columns: Sequence[Mapping[int, int]]) -> str:
    return (f"{head:>6} | " + "| ".join(map(_fit, rows, columns)) + "|").rstrip()


def _fit(row: TickText, columns: Mapping[int, int]) -> str:
    """The texts of one bar in their columns; a text may run into the empty columns after it."""
    line, at = "", 0
    for tick, width in columns.items():
        if tick in row:
            line = f"{line:<{at}}{row[tick]}"
        at += width
    return f"{line:<{at}}"
