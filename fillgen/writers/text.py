"""Ideas as text: each phrase bar by bar under its chords, beats aligned, every note marked with its role."""

from __future__ import annotations

import textwrap
from collections import defaultdict
from collections.abc import Mapping, Sequence
from itertools import pairwise

from fillgen.chart.progression import Progression
from fillgen.errors import many, printable
from fillgen.phrase.idea import CHORD_TONE, Idea, IdeaNote, Ideas, struck_with
from fillgen.phrase.text import phrase_tokens
from fillgen.theory.metre import Metre
from fillgen.writers.lines import TEXT_WIDTH, wrapped
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

TickText = Mapping[int, str]
"""Texts by tick of a bar."""
_BarRows = tuple[TickText, ...]
"""The chords, notes, marks, fingers, second and third voice of a bar."""


def to_text(ideas: Ideas, *, width: int = TEXT_WIDTH, hint: str = "", original: str = "") -> str:
    """Ideas as text in lines of `width` characters, a summary first; `hint`, if there is one, is its last line.

    The lines of notes read back as phrase text. Where ideas are variants of an `original` phrase, it comes first, and a
    line with the whole phrase follows each, to be copied into another command.
    """
    blocks = [_heading(ideas, width, hint)]
    if original:
        blocks.append(f"The phrase\n{quoted_phrase(original, ideas.progression)}")
    for idea in ideas:
        line = f"\n{quoted_phrase(idea.text, ideas.progression)}" if original else ""
        blocks.append(block(idea, ideas.progression, width) + line)
    blocks += [wrapped(f"Note: {remark}", width) for remark in ideas.remarks]
    return "\n\n".join(blocks) + "\n"


def quoted_phrase(text: str, progression: Progression) -> str:
    """The text of a phrase as a command takes it: in quotes, a pick-up as a short first bar.

    >>> from fillgen.chart.text import parse_chart
    >>> quoted_phrase("G5h F5h | D5w", parse_chart("| Eb | Bb7 |"))
    '"G5h F5h | D5w"'
    """
    if progression.first == 0:
        first, *rest = text.split(" | ")
        tokens = first.split(" ")
        while len(tokens) > 1 and tokens[0].startswith("r"):
            del tokens[0]
        text = " | ".join([" ".join(tokens), *rest])
    return f'"{text}"'


def _heading(ideas: Ideas, width: int, hint: str) -> str:
    progression = ideas.progression
    marks = {MARKS[note.role] for idea in ideas for note in idea.notes if note.role in MARKS}
    used = ", ".join(f"{mark} = {meaning}" for mark, meaning in _MEANINGS.items() if mark in marks)
    hand = f", {ideas.hand} hand" if "ease" in ideas.weights else ""
    keep = "phrase that keeps" if ideas.phrases == 1 else "phrases that keep"
    settings = f"level {ideas.level}{hand}, seed {ideas.seed}"
    order = f"{ideas.order}{', by your taste' if ideas.usual else ''}"
    lines = [
        f"{chart_heading(progression)}, {ideas.rhythm} at {ideas.tempo} quarter notes a minute, {settings}",
        f"{many(len(ideas), 'idea')} of {_count(ideas.phrases)} {keep} the rules{_over(ideas)}, {order}",
        f"Under each note: its chord degree{f'; {used}' if used else ''}",
        hint,
    ]
    return "\n".join(wrapped(line, width) for line in lines if line)


def _over(ideas: Ideas) -> str:
    """What the phrases are counted over, if passages return in some of it."""
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
    """An idea as lines of text: rank and shape, then its notes under their chords."""
    form = f"  ({idea.form})" if idea.form else ""
    head = wrapped(f"{idea.rank:>4}  {idea.shape}{form}", width, hang=3)
    return "\n".join([head, *staff(idea.notes, progression, width, idea.second)])


def staff(
    notes: Sequence[IdeaNote], progression: Progression, width: int, second: Sequence[IdeaNote] = ()
) -> list[str]:
    """Notes as lines of text under their chords, with the role of each and its finger if it has one.

    What is struck with them is below, a voice a line, each of which reads back as phrase text. Lines are broken at bar
    lines, and a bar that is longer than a line at a beat: there is no bar line there.
    """
    bars = _bars(notes, progression, struck_with(notes, second))
    metres = [progression.metre_of(number) for number in range(len(bars))]
    columns = {
        metre: _columns([bar for bar, own in zip(bars, metres, strict=True) if own == metre], metre)
        for metre in dict.fromkeys(metres)
    }
    room = width - _HEAD
    bar_width = max(sum(each.values()) for each in columns.values()) + 2
    aligned = bar_width <= room
    grids = [columns[own] if aligned else _columns([bar], own) for bar, own in zip(bars, metres, strict=True)]
    in_row = _bars_in_row(len(bars), max(1, room // bar_width))
    sections = dict(progression.sections)
    lines = []
    for first, after in pairwise(line_starts(len(bars), in_row, sections)):
        if first in sections:
            lines.append(f"{printable(sections[first]):>6} |")
        some = slice(first, after)
        ruler = first == 0 or len(columns) > 1 or not aligned
        if aligned:
            lines += _row(bars[some], grids[some], metres[some], ruler=ruler)
        else:
            lines += _broken(bars[first], grids[first], metres[first], room)
    return lines


def _broken(bar: _BarRows, columns: Mapping[int, int], metre: Metre, room: int) -> list[str]:
    """The lines of a single bar, broken at a beat where it is longer than there is room."""
    parts: list[dict[int, int]] = [{}]
    for beat in range(0, metre.bar, metre.beat):
        own = {tick: wide for tick, wide in columns.items() if beat <= tick < beat + metre.beat}
        if parts[-1] and sum(parts[-1].values()) + sum(own.values()) + 2 > room:
            parts.append({})
        parts[-1].update(own)
    lines = []
    for part in parts:
        ends = (part is parts[0], part is parts[-1])
        rows = tuple({tick: text for tick, text in row.items() if tick in part} for row in bar)
        lines += _row([rows], [part], [metre], ruler=True, ends=ends)
    return lines


def bar_rows(text: str, width: int, indent: str = "") -> list[str]:
    r"""Bars on one line, such as chords or a phrase, in lines of four bars, or of two or one where they don't fit.

    >>> bar_rows("Eb5q D5q C5h | Bb4w | rq Ab4q G4h", 20, "  ")
    ['  Eb5q D5q C5h |', '  Bb4w |', '  rq Ab4q G4h']
    """
    bars = text.split(" | ")

    def rows(count: int) -> list[str]:
        some = [" | ".join(bars[first : first + count]) for first in range(0, len(bars), count)]
        return [indent + row for row in [*(f"{row} |" for row in some[:-1]), some[-1]]]

    count = bars_in_line(lambda count: max(map(len, rows(count))) <= width)
    return [
        line for row in rows(count) for line in textwrap.wrap(row, width, subsequent_indent=indent + "  ")
    ]


def _bars_in_row(bars: int, most: int) -> int:
    """How many bars go in a row where `most` fit: a long chart has four, or two or one, a short one even rows."""
    if bars > LINE:
        return bars_in_line(lambda count: count <= most)
    rows = -(-bars // most)
    return -(-bars // rows)


def _bars(
    notes: Sequence[IdeaNote], progression: Progression, below: Sequence[Sequence[IdeaNote]]
) -> list[_BarRows]:
    """Chords, notes, marks, fingers and lower voices of each bar, by tick of the bar."""
    tokens = _tokens(notes, progression)
    lower = [
        _tokens([low[number] for low in below if len(low) > number], progression)
        for number in range(max(map(len, below), default=0))
    ]
    bars: list[_BarRows] = []
    seen: set[int] = set()
    for spans, row, *voices in zip(progression.bars, tokens, *lower, strict=True):
        start = spans[0].onset
        chords = {span.onset - start: span.chord.symbol for span in spans}
        texts = {tick: text for tick, _, text, _ in row}
        marks, fingers = {}, {}
        for tick, _, _, index in row:
            if index is not None and index not in seen:
                seen.add(index)
                marks[tick] = mark(notes[index])
                if notes[index].finger:
                    struck = (*reversed(below[index]), notes[index])
                    fingers[tick] = "-".join(str(each.finger) for each in struck)
        under = [{tick: text for tick, _, text, _ in voice} for voice in voices]
        bars.append((chords, texts, marks, fingers, *under))
    return bars


def _tokens(
    notes: Sequence[IdeaNote], progression: Progression
) -> list[list[tuple[int, int, str, int | None]]]:
    """Notes as the tokens of phrase text, bar by bar."""
    names, phrase = [each.name for each in notes], tuple(each.note for each in notes)
    return phrase_tokens(phrase, names, progression.timeline, len(progression.bars))


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
    bars: Sequence[_BarRows],
    columns: Sequence[Mapping[int, int]],
    metres: Sequence[Metre],
    *,
    ruler: bool,
    ends: tuple[bool, bool] = (True, True),
) -> list[str]:
    """The lines of some bars; `ends` say whether there is a bar line before them, and whether there is one after."""
    beats: list[TickText] = [{n * metre.beat: str(n + 1) for n in range(metre.beats)} for metre in metres]
    lines = [_line("beat", beats, columns, ends)] if ruler else []
    for part, head in enumerate(("chord", "notes", "", "finger", "second", "third")[: len(bars[0])]):
        rows = [rows[part] for rows in bars]
        if any(rows):
            lines.append(_line(head, rows, columns, ends))
    return lines


def _line(
    head: str, rows: Sequence[TickText], columns: Sequence[Mapping[int, int]], ends: tuple[bool, bool]
) -> str:
    before, after = ("|" if end else " " for end in ends)
    return (f"{head:>6} {before} " + "| ".join(map(_fit, rows, columns)) + after).rstrip()


def _fit(row: TickText, columns: Mapping[int, int]) -> str:
    """The texts of one bar in their columns; a text may run into the empty columns after it."""
    line, at = "", 0
    for tick, width in columns.items():
        if tick in row:
            line = f"{line:<{at}}{row[tick]}"
        at += width
    return f"{line:<{at}}"
