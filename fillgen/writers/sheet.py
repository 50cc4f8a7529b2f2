"""Sheets of music: ideas engraved one under another, as SVG, a web page, PDF, MusicXML or MEI."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise
from pathlib import Path
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

from fillgen.errors import OptionError, cut, did_you_mean, many, printable, shorten
from fillgen.hands.take import swing_of
from fillgen.writers.engraver import FONT, TALLEST, UNITS, Drawing, as_mei, bar_widths, engraved, font_css
from fillgen.writers.files import write_file
from fillgen.writers.layout import Cell, Picture, Row, Words, in_rows
from fillgen.writers.mei import to_mei
from fillgen.writers.musicxml import score_bytes, tempo_direction, with_sections, without_swing_signs
from fillgen.writers.notation import LINE, Score, bars_in_line, line_starts
from fillgen.writers.pace import pace_drawing, pace_words
from fillgen.writers.styles import css

if TYPE_CHECKING:
    from fillgen.readers.tunes import Tune
    from fillgen.tune import Piece

from fillgen.writers.entry import SheetEntry, about, in_words, score_of, section_marks
from fillgen.writers.look import PAPERS, USUAL, SheetOptions

WIDE, NARROW = 2100, 1000
"""The width of a sheet and of one for a small screen, in units of the engraver (2.5 to a pixel)."""
KINDS = {
    ".svg": "svg",
    ".pdf": "pdf",
    ".html": "html",
    ".htm": "html",
    ".musicxml": "musicxml",
    ".xml": "musicxml",
    ".mei": "mei",
}
"""The kinds of sheets by the ending of the file's name."""


def tune_entry(
    piece: Piece, tune: Tune, swing: float | None = None, number: int = 1, *, slow_down: bool = False
) -> SheetEntry:
    """A tune with its intro and ending as an entry that is engraved from its own score."""
    from fillgen.writers.tunes import tune_musicxml  # noqa: PLC0415 - what writes tunes loads MIDI as well

    ideas = piece.ideas
    score = tune_musicxml(piece, tune, swing=swing, slow_down=slow_down)
    ratio = swing_of(ideas, swing)
    mark = tempo_direction(ideas.tempo, ratio, tune.metre) if piece.intro else None
    return SheetEntry(
        f"tune-{number}",
        ideas.progression,
        piece.idea.notes,
        "",
        ideas.rhythm,
        ideas.tempo,
        ratio,
        with_sections(score, *section_marks(piece, tune), mark).decode(),
    )


def _title(entries: Sequence[SheetEntry], settings: SheetOptions) -> str:
    return printable(settings.title or entries[0].progression.title).strip()


@dataclass(frozen=True, slots=True)
class _Pace:
    """The mark of an entry's tempo and swing, and what it says."""

    drawing: Drawing
    words: str


def _pace(entry: SheetEntry) -> _Pace:
    facts = entry.tempo, entry.swing, entry.progression.metre
    return _Pace(pace_drawing(*facts), pace_words(*facts))


def _common(entries: Sequence[SheetEntry]) -> tuple[str, _Pace | None]:
    """Key and metre in a line and the mark of the tempo if they are the same for all entries, else nothing."""
    lines = {about(entry): entry for entry in entries}
    if len(lines) > 1:
        return "", None
    return about(entries[0], paced=False), _pace(entries[0])


def _labels(entry: SheetEntry, common: str) -> tuple[str, _Pace | None]:
    """The text and the mark above an entry: its heading, and its key, metre and tempo unless all entries share them."""
    heading = printable(entry.heading).strip()
    if common:
        return heading, None
    return " · ".join(filter(None, [heading, about(entry, paced=False)])), _pace(entry)


# Pictures

_NAMED = 120
"""The margin at the left of a score whose staves have names, in units."""


def drawings(
    entry: SheetEntry, settings: SheetOptions = USUAL, *, width: int = WIDE, height: int = TALLEST
) -> tuple[Drawing, ...]:
    """An entry engraved: one drawing, or several if it is higher than `height`; lengths in units of the engraver."""
    if entry.source:
        return engraved(without_swing_signs(entry.source), entry.name, width, height, margin=_NAMED)
    return drawn(score_of(entry, settings), width, height)


def drawn(score: Score, width: int = WIDE, height: int = TALLEST) -> tuple[Drawing, ...]:
    """A score engraved as `drawings` has it: in lines of four bars, or of two, as wide as `width` where they are whole."""
    loose = engraved(to_mei([score]), score.id, width, height, justified=False)
    lines = [line for drawing in loose for line in bar_widths(drawing)]
    pickup = score.bars[0].number == 0
    sections = [number for number, bar in enumerate(score.bars) if bar.section]
    breaks = _four_a_line(lines, sections, pickup=pickup) or _even_breaks(lines, pickup=pickup)
    ends = [0, *breaks, len(score.bars)] if breaks else [0, *accumulate(map(len, lines))]
    whole = _is_whole([end - start for start, end in pairwise(ends)])
    return engraved(to_mei([score], breaks=breaks), score.id, width, height, broken=bool(breaks), whole=whole)


def _is_whole(counts: Sequence[int]) -> bool:
    """Whether the last line has as many bars as a line has, four or so many as the line before it.

    >>> _is_whole([4, 4]), _is_whole([4, 2]), _is_whole([4]), _is_whole([2, 2]), _is_whole([1])
    (True, False, True, True, False)
    """
    return counts[-1] >= LINE or counts[-1] == max(counts[:-1], default=LINE)


_SIGNS = 1600
"""The width of a clef with a key of many signs, 25 to a pixel."""


def _four_a_line(
    lines: Sequence[Sequence[int]], sections: Collection[int] = (), *, pickup: bool
) -> tuple[int, ...]:
    """The bars, counted from 0, that begin a line if a long score has four bars a line, or two where four don't fit.

    Widths and the pick-up are as in `_even_breaks`; `sections` are bars that begin a line. Nothing if there are four
    bars and fewer, or where one line is left for each.

    >>> _four_a_line([(3000, 3000, 3000, 3000, 3000), (3200, 3300, 3500)], pickup=False)
    (4,)
    >>> _four_a_line([(9000, 9000), (5400, 5400, 7200)], pickup=False)
    (2, 4)
    """
    widths = [width for line in lines for width in line]
    room = max(map(sum, lines))
    leads = set(accumulate(map(len, lines), initial=0))

    def wide(a: int, b: int) -> int:
        return sum(widths[a:b]) + (0 if a in leads else _SIGNS)

    def starts(bars: int) -> list[int]:
        return line_starts(len(widths), bars, sections, pickup)

    bars = bars_in_line(lambda count: all(wide(a, b) <= room for a, b in pairwise(starts(count))))
    return tuple(starts(bars)[1:-1]) if len(widths) - pickup > LINE and bars > 1 else ()


def _even_breaks(lines: Sequence[Sequence[int]], *, pickup: bool) -> tuple[int, ...]:
    """The bars, counted from 0, that begin a line if the same number of lines is filled evenly; none if it is already.

    `lines` are the widths of bars as they are drawn without being stretched. A pick-up doesn't count as a bar.

    >>> _even_breaks([(30, 35, 35), (30,)], pickup=False), _even_breaks([(50, 50), (30, 30, 40)], pickup=False)
    ((2,), ())
    """
    widths = [width for line in lines for width in line]
    each, more = divmod(len(widths) - pickup, len(lines))
    counts = [each + (number < more) + (pickup and number == 0) for number in range(len(lines))]
    if each == 0 or counts == [len(line) for line in lines]:
        return ()
    ends = list(accumulate(counts))
    room = max(map(sum, lines))
    fits = all(sum(widths[start:end]) <= room for start, end in pairwise([0, *ends]))
    return tuple(ends[:-1]) if fits else ()


def svg_of(entry: SheetEntry, settings: SheetOptions = USUAL, *, width: int = WIDE) -> str:
    """The picture of an entry as one `svg` element for a page, with a description and without a heading.

    Every note has its id from `fillgen.writers.notation.note_ids`. A page needs `text_font_css` once, for the flats in
    chord symbols.

    >>> from fillgen.phrase.idea import IdeaNote
    >>> from fillgen.phrase.note import Note
    >>> from fillgen.chart.text import parse_chart
    >>> picture = svg_of(SheetEntry("a", parse_chart("| C |"), (IdeaNote(1, Note(0, 960, 76), "E5", "", ""),)))
    >>> 'id="a-n0"' in picture, "<desc" in picture
    (True, True)
    """
    parts = drawings(entry, settings, width=width)
    wide, high = max(part.wide for part in parts), sum(part.high for part in parts)
    return _picture(entry, settings, _stacked(parts), wide, high)


def _stacked(parts: Sequence[Drawing], top: int = 0) -> str:
    found = ""
    for part in parts:
        found += (
            f'<svg y="{top}" width="{part.wide}" height="{part.high}" viewBox="0 0 {part.wide} {part.high}">'
            f"{part.inside}</svg>"
        )
        top += part.high
    return found


def _picture(
    entry: SheetEntry, settings: SheetOptions, inside: str, wide: int, high: int, place: str = ""
) -> str:
    name = entry.name
    title = printable(entry.heading).strip() or "Phrase"
    return (
        f'<svg id="{name}-picture"{place} viewBox="0 0 {wide} {high}" xmlns="{_SVG}" xmlns:xlink="{_XLINK}" '
        f'role="img" aria-labelledby="{name}-title {name}-words">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-words">{escape(printable(in_words(entry, settings)))}</desc>{inside}</svg>'
    )


_SVG, _XLINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"


def text_font_css() -> str:
    """The music font as a CSS rule, which every page with pictures needs once."""
    return font_css()


_EDGE = 20
"""The margin of a picture with several entries, in pixels, and the height of a line of text."""
_TITLE, _HEAD = 26, 15
"""The sizes of a title and of the text above an entry, in pixels."""
_LETTERS = 70
"""Letters of a title that fit into a line."""


def _whole_svg(entries: Sequence[SheetEntry], settings: SheetOptions) -> bytes:
    """All entries below one another as one picture, with the title and what they share above."""
    (common, shared), title = _common(entries), _title(entries, settings)
    inside, at = [], _EDGE
    if title:
        at += _TITLE
        inside.append(_line(cut(title, _LETTERS), at, _TITLE, "bold"))
        at += _HEAD // 2
    if common:
        at += _HEAD
        inside.append(_line(common, at, _HEAD, "normal"))
        at += _HEAD // 2
    wide = round(WIDE / UNITS)
    at = _put_pace(inside, shared, at)
    for entry in entries:
        label, pace = _labels(entry, common)
        if label:
            at += _HEAD + _EDGE // 2
            inside.append(_line(label, at, _HEAD, "bold"))
        at = _put_pace(inside, pace, at)
        parts = drawings(entry, settings)
        high = sum(part.high for part in parts)
        place = f' x="{_EDGE}" y="{at}" width="{wide}" height="{high}"'
        inside.append(_picture(entry, settings, _stacked(parts), wide, high, place))
        at += high
    at += _EDGE
    wide += 2 * _EDGE
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<svg xmlns="{_SVG}" xmlns:xlink="{_XLINK}" width="{wide}" '
        f'height="{at}" viewBox="0 0 {wide} {at}" font-family="Times, {FONT}, serif">'
        f"<title>{escape(title or 'Sheet of music')}</title><style>{font_css()}</style>"
        f'<rect width="100%" height="100%" fill="#fff"/>{"".join(inside)}</svg>\n'
    ).encode()


def _line(text: str, y: int, size: int, weight: str) -> str:
    return f'<text x="{_EDGE}" y="{y}" font-size="{size}" font-weight="{weight}">{escape(text)}</text>'


def _put_pace(inside: list[str], pace: _Pace | None, at: int) -> int:
    """Add a mark of tempo below a height; the height below the mark."""
    if pace is None:
        return at
    drawing = pace.drawing
    inside.append(_pace_svg(pace, f'x="{_EDGE}" y="{at}" width="{drawing.wide}" height="{drawing.high}"'))
    return at + drawing.high


def _pace_svg(pace: _Pace, place: str) -> str:
    drawing = pace.drawing
    return (
        f'<svg {place} viewBox="0 0 {drawing.wide} {drawing.high}" xmlns="{_SVG}" role="img" '
        f"aria-label={quoteattr(pace.words)}>{drawing.inside}</svg>"
    )


def _pace_html(pace: _Pace | None) -> str:
    if pace is None:
        return ""
    size = f'class="pace" width="{pace.drawing.wide}" height="{pace.drawing.high}"'
    return f"<p>{_pace_svg(pace, size)}</p>"


_PAGES = {"a4": "A4", "letter": "letter"}


def _html(entries: Sequence[SheetEntry], settings: SheetOptions) -> bytes:
    """All entries as a page that needs no other file, in one column on a phone and two on paper.

    A single entry fills the width of the page: it is there twice, in long lines and in short ones for a phone.
    """
    picture = _both_widths if len(entries) == 1 else _narrow
    (common, shared), title = _common(entries), _title(entries, settings)
    style = font_css() + css("sheet", font=FONT, paper=_PAGES[settings.paper])
    head = f"<p>{escape(common)}</p>{_pace_html(shared)}\n" if common else ""
    sections = [
        f"<section>{_heading(entry, common)}{picture(entry, settings)}</section>" for entry in entries
    ]
    column = ' class="one"' if len(entries) == 1 else ""
    named = escape(title or "Sheet of music")
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"/>'
        '<meta name="viewport" content="width=device-width, initial-scale=1"/>'
        f"{author_tag(settings.author)}<title>{named}</title><style>{style}</style></head>\n<body{column}><h1>{named}</h1>\n"
        f'{head}<main class="ideas">\n' + "\n".join(sections) + "\n</main></body></html>\n"
    ).encode()


def author_tag(author: str) -> str:
    """The author tag of a page's head; empty without an author."""
    return f'<meta name="author" content={quoteattr(printable(author))}/>' if author else ""


def _narrow(entry: SheetEntry, settings: SheetOptions) -> str:
    return svg_of(entry, settings, width=NARROW)


def _both_widths(entry: SheetEntry, settings: SheetOptions) -> str:
    small = replace(entry, name=f"{entry.name}-small")
    return (
        f'<div class="wide">{svg_of(entry, settings)}</div>'
        f'<div class="small">{_narrow(small, settings)}</div>'
    )


def _heading(entry: SheetEntry, common: str) -> str:
    label, pace = _labels(entry, common)
    return (f"<h2>{escape(label)}</h2>" if label else "") + _pace_html(pace)


# Files


def _pdf(entries: Sequence[SheetEntry], settings: SheetOptions) -> bytes:
    from fillgen.writers.pdf import pdf_bytes, room_of  # noqa: PLC0415 - reportlab is loaded for PDF only

    (common, shared), title = _common(entries), _title(entries, settings)
    paper = PAPERS[settings.paper]
    width, height = room_of(paper, settings.columns)
    head = _there(Words(title, 1) if title else None, Words(common) if common else None, _pace_piece(shared))
    cells = [cell for entry in entries for cell in _cells(entry, common, settings, width, height)]
    rows = [*([Row((head,), leads=True)] if head else []), *in_rows(cells, settings.columns)]
    return pdf_bytes(rows, paper, title=title, author=settings.author)


def _cells(entry: SheetEntry, common: str, settings: SheetOptions, width: int, height: int) -> Iterator[Cell]:
    """The drawings of an entry, the first below its heading; OptionError for one that is too long for a column."""
    if settings.columns > 1 and (
        entry.source or len(entry.progression.bars) > LINE + 1 - entry.progression.first
    ):
        bars = many(len(entry.progression.bars), "bar")
        raise OptionError(
            f"two columns hold ideas of up to four bars, not {bars}", hint="Leave --columns out."
        )
    label, pace = _labels(entry, common)
    above = _there(Words(label, 3) if label else None, _pace_piece(pace))
    for number, drawing in enumerate(drawings(entry, settings, width=width, height=height)):
        picture = Picture(drawing, label or "Phrase", in_words(entry))
        yield (*above, picture) if number == 0 else (picture,)


def _there(*pieces: Words | Picture | None) -> tuple[Words | Picture, ...]:
    return tuple(piece for piece in pieces if piece is not None)


def _pace_piece(pace: _Pace | None) -> Picture | None:
    return None if pace is None else Picture(pace.drawing, "Tempo", pace.words)


def unshown(entries: Sequence[SheetEntry], settings: SheetOptions, kind: str) -> str:
    """The letters of title and headings that a sheet of a kind prints as a question mark, each once: PDF has few letters.

    >>> from fillgen.chart.text import parse_chart
    >>> unshown([SheetEntry("a", parse_chart("| C |"), ())], SheetOptions(title="雨 Rain ☂"), "pdf")
    '雨☂'
    """
    if kind != "pdf":
        return ""
    from fillgen.writers.pdf import shapeless  # noqa: PLC0415 - reportlab is loaded for PDF only

    common, _ = _common(entries)
    labels = [label for label, _ in (_labels(each, common) for each in entries)]
    return shapeless("".join([_title(entries, settings), common, *labels]))


def _musicxml(entries: Sequence[SheetEntry], settings: SheetOptions) -> bytes:
    if _only(entries).source:
        return entries[0].source.encode()
    return score_bytes([score_of(entry, settings) for entry in entries], _title(entries, settings))


def _mei(entries: Sequence[SheetEntry], settings: SheetOptions) -> bytes:
    if _only(entries).source:
        return as_mei(without_swing_signs(entries[0].source), entries[0].name).encode()
    scores = [score_of(entry, settings) for entry in entries]
    return to_mei(scores, _title(entries, settings), tempo=True).encode()


def _only(entries: Sequence[SheetEntry]) -> SheetEntry:
    """The first of the entries; OptionError if there are several and one of them has a score of its own."""
    if len(entries) > 1 and any(entry.source for entry in entries):
        raise OptionError(
            "these scores can't be joined", hint="Write one file for each, or a .pdf or .html of all."
        )
    return entries[0]


_MAKERS: Mapping[str, Callable[[Sequence[SheetEntry], SheetOptions], bytes]] = {
    "svg": _whole_svg,
    "pdf": _pdf,
    "html": _html,
    "musicxml": _musicxml,
    "mei": _mei,
}


def render(entries: Sequence[SheetEntry], settings: SheetOptions, kind: str) -> bytes:
    """A sheet with entries as a file of a kind: svg, pdf, html, musicxml or mei.

    In MusicXML and MEI the entries follow one another in one score, each on a new system under its heading. OptionError
    for any other kind, without entries, and if two have the same name.
    """
    if kind not in _MAKERS:
        raise OptionError(f"unknown kind of sheet {shorten(kind)}", hint=did_you_mean(kind, _MAKERS))
    if not entries:
        raise OptionError("there is nothing to engrave")
    if not settings.written:
        raise OptionError(
            "drums are heard only", hint="A sheet shows right, left and bass: add one to --parts."
        )
    names = [entry.name for entry in entries]
    if len(set(names)) < len(names):
        raise OptionError("two entries of a sheet have the same name")
    return _MAKERS[kind](entries, settings)


def kind_of(path: str) -> str:
    """The kind of sheet for a file, by the ending of its name; OptionError for an unknown ending."""
    if path.endswith(("/", os.sep)):
        name = Path(path)
        file = name if name.suffix.lower() in KINDS else name.with_name(f"{name.name}.pdf")
        hint = f"Use a name such as {shorten(str(file))}."
        raise OptionError(f"{shorten(path)} is a folder, and a sheet of music is a file", hint=hint)
    kind = KINDS.get(Path(path).suffix.lower())
    if kind is None:
        hint = "Use .svg, .pdf, .html, .musicxml or .mei."
        raise OptionError(f"cannot tell what to write to {shorten(path)}", hint=hint)
    return kind


def write(
    path: Path, entries: Sequence[SheetEntry], settings: SheetOptions = USUAL, *, overwrite: bool = False
) -> None:
    """Write a sheet of the kind that the file's ending names, whole or not at all; OutputError if that fails."""
    write_file(path, render(entries, settings, kind_of(str(path))), overwrite=overwrite)
