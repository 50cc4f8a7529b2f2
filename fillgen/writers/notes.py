"""Which notes fit each chord: as text, as plain dictionaries, as one web page, and as one picture.

Page and picture need nothing but themselves: no script, no font, no request. A kind of note is told by a word, by a
mark and by a shade. All elements are built as a tree, so that whatever a chart holds comes out as text.
"""

from __future__ import annotations

import textwrap
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from xml.etree.ElementTree import Element

from fillgen.chart.progression import Progression
from fillgen.errors import printable
from fillgen.phrase.idea import CHORD_TONE
from fillgen.teaching.notefit import (
    CLASHES,
    LEAVE_QUICKLY,
    NOTE_KINDS,
    PASSES,
    ChordNotes,
    NoteFit,
    chord_notes,
)
from fillgen.theory.pitch import NATURAL, is_black
from fillgen.writers.document import chart_document
from fillgen.writers.markup import LIGHT, css, new_page, page_text, put, themed

_INDENT = " " * 4
_KIND_WIDTH = max(map(len, NOTE_KINDS)) + 2
_WHAT = "Which notes fit each chord, and why"
_SAYS = {
    CHORD_TONE: "a note of the chord: it may stand on any beat and stay",
    PASSES: "fits between chord tones, and does not rub if it lasts",
    LEAVE_QUICKLY: "rubs against a chord tone if it lasts: touch it and move on",
    CLASHES: "outside: only to slide from, into the note beside it",
}
"""What a player does with a note of each kind."""


# What all of them tell


def _heading(progression: Progression) -> str:
    title = f"{printable(progression.title)}: " if progression.title else ""
    return f"{title}{progression.key}, {progression.metre.name}"


def _where(told: ChordNotes) -> str:
    """The bars in which a chord stands.

    >>> from fillgen.chart.text import parse_chart
    >>> [_where(told) for told in chord_notes(parse_chart("| C | C | F |"))]
    ['bars 1 to 2', 'bar 3']
    """
    return f"bar {told.bar}" if told.bar == told.through else f"bars {told.bar} to {told.through}"


def _called(told: ChordNotes) -> str:
    """A chord as the chart has it; over N.C. with the one that is heard."""
    symbol = told.span.chord.symbol
    return f"{symbol} ({told.heard.symbol})" if told.remark else symbol


def _tones(told: ChordNotes) -> str:
    return " ".join(str(tone.name) for tone in told.tones)


def _into(told: ChordNotes) -> list[str]:
    """What stays and what moves into the next chord, a sentence each; nothing at the end."""
    if told.following is None:
        return []
    words = [shared.words for shared in told.common] + [way.words for way in told.ways]
    return [f"{sentence}." for sentence in words]


# Text


def notes_text(progression: Progression, *, dorian_sixth: bool = False, width: int = 100) -> str:
    """All chords as text of about a width in characters: their notes by kind, each with its degree and the reason.

    `dorian_sixth` is told at `fillgen.teaching.notefit.note_fits`.

    >>> from fillgen.chart.text import parse_chart
    >>> print(notes_text(parse_chart("| C | Csus4 |"), width=80).split("passes")[0])
    C major, 4/4
    Which notes fit each chord, and why
    <BLANKLINE>
    bar 1  C: C E G
        chord tone     C   1    C is the root of C: it may stand on any beat and stay.
                       E   3    E is the third of C: it may stand on any beat and stay.
                       G   5    G is the fifth of C: it may stand on any beat and stay.
    """
    blocks = [f"{_heading(progression)}\n{_WHAT}"]
    blocks += [_block(told, width) for told in chord_notes(progression, dorian_sixth=dorian_sixth)]
    return "\n\n".join(blocks) + "\n"


def _block(told: ChordNotes, width: int) -> str:
    remark = f" ({told.remark})" if told.remark else ""
    head = f"{_where(told)}  {told.span.chord.symbol}: {_tones(told)}{remark}"
    lines = textwrap.wrap(head, width, subsequent_indent=_INDENT)
    for kind in NOTE_KINDS:
        lines += _listed(kind, [_line(fit) for fit in told.of_kind(kind)] or [("", "none")], width)
    if told.following is not None:
        lines += _listed(f"into {told.following.symbol}", [("", words) for words in _into(told)], width)
    return "\n".join(lines)


def _line(fit: NoteFit) -> tuple[str, str]:
    return f"{fit.name!s:<4}{fit.degree:<5}", fit.reason


def _listed(head: str, rows: Sequence[tuple[str, str]], width: int) -> list[str]:
    """Rows under a head that stands before the first; a head too long for its column has a line of its own."""
    first = f"{_INDENT}{head:<{_KIND_WIDTH}}"
    later = _INDENT + " " * _KIND_WIDTH
    lines = [first.rstrip()] if len(head) >= _KIND_WIDTH else []
    for index, (label, words) in enumerate(rows):
        start = (first if index == 0 and not lines else later) + label
        room = max(width, len(start) + 30)
        lines += textwrap.wrap(words, room, initial_indent=start, subsequent_indent=" " * len(start))
    return lines


# Plain dictionaries


def notes_document(
    progression: Progression, *, dorian_sixth: bool = False, tempo: int = 120
) -> dict[str, Any]:
    """All chords as plain dictionaries and lists: the keys that other programs may rely on.

    `tempo` is in quarter notes a minute, `semitones` of a way is above zero where it goes up. `heard` is the chord
    whose notes are told, which over N.C. is not the one printed.

    >>> from fillgen.chart.text import parse_chart
    >>> first, _ = notes_document(parse_chart("| G7 | C |"))["chords"]
    >>> first["tones"][0], first["ways"][0]["words"]
    ({'name': 'G', 'degree': '1'}, 'B goes up a half step to C')
    """
    return {
        "chart": chart_document(progression, tempo),
        "chords": [_chord(told) for told in chord_notes(progression, dorian_sixth=dorian_sixth)],
    }


def _chord(told: ChordNotes) -> dict[str, Any]:
    return {
        "bar": told.bar,
        "through": told.through,
        "symbol": told.span.chord.symbol,
        "heard": told.heard.symbol,
        "remark": told.remark,
        "tones": [{"name": str(tone.name), "degree": tone.degree.text} for tone in told.tones],
        "notes": [_note(fit) for fit in told.fits],
        "into": told.following.symbol if told.following else None,
        "common": [
            {"name": str(shared.tone.name), "becomes": str(shared.becomes.name), "words": shared.words}
            for shared in told.common
        ],
        "ways": [
            {
                "from": str(way.tone.name),
                "to": str(way.goal.name),
                "semitones": way.rise,
                "words": way.words,
            }
            for way in told.ways
        ],
    }


def _note(fit: NoteFit) -> dict[str, str]:
    return {"name": str(fit.name), "degree": fit.degree, "kind": fit.kind, "reason": fit.reason}


# Looks: colours as CSS has them; lengths are units of the picture


@dataclass(frozen=True, slots=True)
class _KeyLook:
    """How a kind looks on a key: its word, the white key and the black key, each as fill and ink."""

    word: str
    white: tuple[str, str]
    black: tuple[str, str]


_LOOKS = {
    CHORD_TONE: _KeyLook("stay", ("#8fc4c8", "#10282b"), ("#0a4c54", "#ffffff")),
    PASSES: _KeyLook("pass", ("#e9f3f3", "#1c3b3e"), ("#48666b", "#ffffff")),
    LEAVE_QUICKLY: _KeyLook("quick", ("#fbe7c2", "#4a2f00"), ("#5b3d0a", "#fff3dc")),
    CLASHES: _KeyLook("clash", ("#dddbd7", "#44413c"), ("#2b2a27", "#dedbd4")),
}
_WHITE, _BLACK = (52, 188), (38, 106)
"""Width and height of the keys."""
_EDGE = 2
_WIDTH, _HEIGHT = 7 * _WHITE[0] + 2 * _EDGE, _WHITE[1] + 2 * _EDGE
_MARKS = {
    CHORD_TONE: ("solid", "M-8-8H8V8H-8Z"),
    PASSES: ("open", "M0-9L9 0L0 9L-9 0Z"),
    LEAVE_QUICKLY: ("open", "M-8-7L-1 0L-8 7M1-7L8 0L1 7"),
    CLASHES: ("open", "M-6-6L6 6M6-6L-6 6"),
}
"""The mark of each kind, round the point 0 0: a full block, a diamond, two arrow heads, a cross."""


def _key_style() -> str:
    """The colours of the keys, the same on every page: a keyboard is white and black by day and by night."""
    keys = [
        css("key", side=side, word=look.word, fill=fill, ink=ink)
        for look in _LOOKS.values()
        for side, (fill, ink) in (("white", look.white), ("black", look.black))
    ]
    return "".join([css("keyboard"), *keys])


# A keyboard


def _keyboard(told: ChordNotes, number: int) -> Element:
    """An octave of keys from C to B, each with its note's name, degree, word and mark; told in words as well."""
    titles = [f"keys-{number}", f"told-{number}"]
    drawn = Element(
        "svg",
        {
            "class": "keyboard",
            "viewBox": f"0 0 {_WIDTH} {_HEIGHT}",
            "role": "img",
            "aria-labelledby": " ".join(titles),
        },
    )
    put(drawn, "title", f"Keyboard for {_called(told)}, {_where(told)}", id=titles[0])
    put(drawn, "desc", _described(told), id=titles[1])
    drawn.extend(_keys(told))
    return drawn


def _described(told: ChordNotes) -> str:
    """The notes of each kind in a sentence."""
    parts = [
        f"{kind}: {', '.join(str(fit.name) for fit in told.of_kind(kind)) or 'none'}" for kind in NOTE_KINDS
    ]
    return f"{told.remark + '. ' if told.remark else ''}{'; '.join(parts)}."


def _keys(told: ChordNotes) -> Iterable[Element]:
    """The white keys, then the black ones that lie on them."""
    by_class = {fit.pitch_class: fit for fit in told.fits}
    classes = sorted(range(12), key=lambda pitch_class: (is_black(pitch_class), pitch_class))
    return [_key(by_class[pitch_class]) for pitch_class in classes]


def _key(fit: NoteFit) -> Element:
    black = is_black(fit.pitch_class)
    wide, high = _BLACK if black else _WHITE
    look = _LOOKS[fit.kind]
    key = Element("g", {"class": f"{'black' if black else 'white'} {look.word}"})
    left = _left(fit.pitch_class)
    put(key, "rect", look="key", x=left, y=_EDGE, width=wide, height=high, rx=4)
    bottom = high + _EDGE
    key.append(_mark(fit.kind, left + wide // 2, bottom - 68))
    for part, text, above in (
        ("name", str(fit.name), 40),
        ("degree", fit.degree, 24),
        ("word", look.word, 8),
    ):
        put(key, "text", text, part, x=left + wide // 2, y=bottom - above)
    return key


def _left(pitch_class: int) -> int:
    """The left edge of a key; a black one lies over the line between two white ones."""
    whites = sum(natural < pitch_class for natural in NATURAL)
    return _EDGE + whites * _WHITE[0] - (_BLACK[0] // 2 if is_black(pitch_class) else 0)


def _mark(kind: str, x: int, y: int) -> Element:
    form, path = _MARKS[kind]
    return Element("path", {"class": form, "d": path, "transform": f"translate({x} {y})"})


def _mark_box(kind: str) -> Element:
    """A mark in a line of text, where the word beside it tells what it is."""
    box = Element("svg", {"class": "mark-box", "viewBox": "-11 -11 22 22", "aria-hidden": "true"})
    box.append(_mark(kind, 0, 0))
    return box


# The page


def notes_html(progression: Progression, *, dorian_sixth: bool = False) -> str:
    r"""All chords as one web page, which is XML as well, with a keyboard and a table for each.

    >>> from fillgen.chart.text import parse_chart
    >>> page = notes_html(parse_chart("title: <b>\n| Dm7 | G7 |"))
    >>> "<b>" in page, "&lt;b&gt;" in page, page.count("<table ")
    (False, True, 2)
    """
    chords = chord_notes(progression, dorian_sixth=dorian_sixth)
    style = themed(
        css("notes"), css("notes-colours", LIGHT), _key_style(), colours="notes-colours", paper="notes-print"
    )
    page, body = new_page(_named(progression), style)
    _intro(body, progression, chords)
    main = put(body, "main")
    for number, told in enumerate(chords, 1):
        main.append(_section(told, number))
    return page_text(page)


def _named(progression: Progression) -> str:
    """What the page is called: by the chart's title where it has one."""
    title = printable(progression.title)
    return f"{title}: which notes fit" if title else _WHAT


def _intro(body: Element, progression: Progression, chords: Sequence[ChordNotes]) -> None:
    """The title, the kinds with their marks, and the way to each chord."""
    header = put(body, "header")
    put(header, "h1", _named(progression))
    put(header, "p", f"{progression.key}, {progression.metre.name}", "soft")
    legend = put(header, "ul", look="legend")
    for kind in NOTE_KINDS:
        row = put(legend, "li")
        row.append(_mark_box(kind))
        words = put(row, "span")
        put(words, "strong", _LOOKS[kind].word).tail = f" ({kind}): {_SAYS[kind]}"
    places = put(put(body, "nav", aria_label="Chords"), "ol")
    for number, told in enumerate(chords, 1):
        row = put(places, "li")
        put(row, "a", f"{_where(told)} {_called(told)}", href=f"#chord-{number}")


def _section(told: ChordNotes, number: int) -> Element:
    named = f"name-{number}"
    section = Element("section", {"id": f"chord-{number}", "aria-labelledby": named})
    put(section, "h2", f"{_called(told)}, {_where(told)}", id=named)
    if told.remark:
        put(section, "p", f"{told.remark[0].upper()}{told.remark[1:]}.")
    columns = put(section, "div", look="chord")
    left = put(columns, "div", look="ways")
    left.append(_keyboard(told, number))
    _next(left, told)
    columns.append(_table(told))
    return section


def _next(parent: Element, told: ChordNotes) -> None:
    """What stays and what moves into the next chord."""
    if told.following is None:
        return
    following = put(parent, "div")
    put(following, "h3", f"Into {told.following.symbol}")
    rows = put(following, "ul")
    for words in _into(told):
        put(rows, "li", words)


def _table(told: ChordNotes) -> Element:
    """A row for each note. The roles keep it a table for readers aloud where a narrow screen lays it out anew."""
    table = Element("table", {"role": "table"})
    put(table, "caption", f"The twelve notes over {told.heard.symbol}")
    heads = put(put(table, "thead", role="rowgroup"), "tr", role="row")
    for text in ("Note", "Degree", "Kind", "Why"):
        put(heads, "th", text, scope="col", role="columnheader")
    body = put(table, "tbody", role="rowgroup")
    for kind in NOTE_KINDS:
        for fit in told.of_kind(kind):
            body.append(_row(fit))
    return table


def _row(fit: NoteFit) -> Element:
    row = Element("tr", {"role": "row"})
    put(row, "th", str(fit.name), scope="row", role="rowheader")
    put(row, "td", fit.degree, role="cell")
    kind = put(row, "td", look="kind", role="cell")
    mark = _mark_box(fit.kind)
    mark.tail = fit.kind
    kind.append(mark)
    put(row, "td", fit.reason, "why", role="cell")
    return row


# The picture

_ACROSS = 2
_GAP, _HEAD, _TOP, _LINE = 24, 30, 76, 26
"""Between keyboards, above each for its name, above all for the title, and a line of the legend."""


def notes_svg(progression: Progression, *, dorian_sixth: bool = False) -> str:
    """All chords' keyboards as one picture, two in a row, with what the marks mean below them.

    >>> from fillgen.chart.text import parse_chart
    >>> picture = notes_svg(parse_chart("| C | F | G7 |"))
    >>> picture.count('class="keyboard"'), picture.count("<title")
    (3, 4)
    """
    chords = chord_notes(progression, dorian_sixth=dorian_sixth)
    rows = -(-len(chords) // _ACROSS)
    wide = _ACROSS * (_WIDTH + _GAP) + _GAP
    legend_at = _TOP + rows * (_HEIGHT + _HEAD + _GAP)
    picture = _canvas(progression, chords, wide, legend_at + len(NOTE_KINDS) * _LINE + _GAP)
    for index, told in enumerate(chords):
        row, column = divmod(index, _ACROSS)
        x, y = _GAP + column * (_WIDTH + _GAP), _TOP + row * (_HEIGHT + _HEAD + _GAP)
        picture.append(_placed(told, index + 1, x, y))
    for index, kind in enumerate(NOTE_KINDS):
        _explained(picture, kind, legend_at + index * _LINE)
    return ET.tostring(picture, encoding="unicode") + "\n"


def _canvas(progression: Progression, chords: Sequence[ChordNotes], wide: int, high: int) -> Element:
    """An empty picture of a width and height, with its title, its description and its ground."""
    picture = Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {wide} {high}",
            "width": str(wide),
            "height": str(high),
            "role": "img",
            "aria-labelledby": "picture-title picture-told",
        },
    )
    put(picture, "title", _named(progression), id="picture-title")
    told = " ".join(f"{_where(each)}, {_called(each)}: {_described(each)}" for each in chords)
    put(picture, "desc", told, id="picture-told")
    put(picture, "style", css("notes-picture", LIGHT) + _key_style())
    put(picture, "rect", look="ground", width=wide, height=high)
    _words(picture, "head", _cut(_named(progression)), 38)
    _words(picture, "line", f"{progression.key}, {progression.metre.name}", 60)
    return picture


def _cut(text: str) -> str:
    """A text cut to what the width of a picture holds."""
    return text if len(text) <= _MOST_LETTERS else f"{text[: _MOST_LETTERS - 1]}…"


_MOST_LETTERS = 48


def _words(parent: Element, look: str, text: str, y: int, x: int = _GAP) -> None:
    put(parent, "text", text, look, x=x, y=y)


def _placed(told: ChordNotes, number: int, x: int, y: int) -> Element:
    """A chord's keyboard at a place of the picture, its name above it."""
    group = Element("g", {"transform": f"translate({x} {y})"})
    _words(group, "name-above", f"{_called(told)}, {_where(told)}", _HEAD - 10, 0)
    drawn = _keyboard(told, number)
    drawn.attrib |= {"y": str(_HEAD), "width": str(_WIDTH), "height": str(_HEIGHT)}
    group.append(drawn)
    return group


def _explained(picture: Element, kind: str, y: int) -> None:
    """A line that tells what a mark means."""
    group = put(picture, "g", look="mark-box")
    group.append(_mark(kind, _GAP + 10, y))
    _words(picture, "line", f"{_LOOKS[kind].word} ({kind}): {_SAYS[kind]}", y + 5, _GAP + 32)
