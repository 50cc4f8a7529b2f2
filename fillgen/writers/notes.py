"""Which notes fit each chord: as text, as plain dictionaries, as a web page, and as a picture.

Colour is never the only sign: each kind of note has a word, a mark and a shade.
"""

from __future__ import annotations

import textwrap
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from xml.etree.ElementTree import Element

from fillgen.chart.progression import Progression
from fillgen.errors import cut, listed, printable
from fillgen.phrase.idea import CHORD_TONE
from fillgen.teaching.notefit import (
    CLASHES,
    LEAVE_QUICKLY,
    NOTE_KINDS,
    PASSES,
    ChordNotes,
    NoteFit,
    Recurring,
    chord_notes,
    recurring,
)
from fillgen.theory.pitch import NATURAL, is_black
from fillgen.writers.document import chart_document
from fillgen.writers.lines import TEXT_WIDTH, wrapped
from fillgen.writers.markup import LIGHT, css, new_page, new_table, page_text, put, themed
from fillgen.writers.text import chart_heading

_INDENT = " " * 4
_KIND_WIDTH = max(map(len, NOTE_KINDS)) + 2
_WHAT = "Which notes fit each chord, and why"
_SAYS = {
    CHORD_TONE: "a note of the chord: it may stand on any beat and stay",
    PASSES: "fits between chord tones, and does not rub if it lasts",
    LEAVE_QUICKLY: "rubs against a chord tone if it lasts: touch it and move on",
    CLASHES: "outside: only to slide from, into the note beside it",
}
"""What to do with a note of each kind."""


# What all formats have in common


def bars_of(runs: Sequence[tuple[int, int]], first: int = 1) -> str:
    """Runs of bars in words, each from its first bar to its last; `first` is the number of the chart's first bar.

    >>> bars_of([(1, 2), (4, 4)]), bars_of([(3, 3)]), bars_of([(1, 1), (3, 3)], 0)
    ('bars 1 to 2 and 4', 'bar 3', 'bars 0 and 2')
    """
    shown = [(start - 1 + first, end - 1 + first) for start, end in runs]
    words = [str(start) if start == end else f"{start} to {end}" for start, end in shown]
    is_one = len(shown) == 1 and shown[0][0] == shown[0][1]
    return f"{'bar' if is_one else 'bars'} {listed(words, 'and')}"


def _symbol(chord: ChordNotes) -> str:
    """The symbol of a chord as in the chart; for N.C. with the chord still heard."""
    symbol = chord.span.chord.symbol
    return f"{symbol} ({chord.heard.symbol})" if chord.remark else symbol


def tone_names(chord: ChordNotes) -> str:
    """The names of the chord tones in a row."""
    return " ".join(str(tone.name) for tone in chord.tones)


def _into(chord: ChordNotes) -> list[str]:
    """What stays and what moves into the next chord, a sentence each; nothing for the last chord."""
    words = [shared.words for shared in chord.common] + [way.words for way in chord.ways]
    return [f"{sentence}." for sentence in words]


# Text


def notes_text(progression: Progression, *, dorian_sixth: bool = False, width: int = TEXT_WIDTH) -> str:
    """All chords as text of about `width` characters: their notes by kind, each with its degree and the reason.

    A chord that comes back is listed once, with all its bars and the ways into each chord after it.

    `dorian_sixth` is as for `fillgen.teaching.notefit.note_fits`.

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
    blocks = [f"{wrapped(chart_heading(progression), width)}\n{_WHAT}"]
    every = recurring(chord_notes(progression, dorian_sixth=dorian_sixth))
    blocks += [_block(chord, width) for chord in every]
    return "\n\n".join(blocks) + "\n"


def _block(each: Recurring, width: int) -> str:
    chord = each.notes
    remark = f" ({chord.remark})" if chord.remark else ""
    head = f"{bars_of(each.bars)}  {chord.span.chord.symbol}: {tone_names(chord)}{remark}"
    lines = textwrap.wrap(head, width, subsequent_indent=_INDENT)
    for kind in NOTE_KINDS:
        lines += _listed(kind, [_line(fit) for fit in chord.of_kind(kind)] or [("", "none")], width)
    for place in each.onward:
        assert place.following is not None
        lines += _listed(f"into {place.following.symbol}", [("", words) for words in _into(place)], width)
    return "\n".join(lines)


def _line(fit: NoteFit) -> tuple[str, str]:
    return f"{fit.name!s:<4}{fit.degree:<5}", fit.reason


def _listed(head: str, rows: Sequence[tuple[str, str]], width: int) -> list[str]:
    """Rows with a head in front of the first; a head too long for its column goes on a line of its own."""
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
    """All chords as plain dictionaries and lists, with keys that other programs may rely on.

    `tempo` is in quarter notes a minute; `semitones` of a way is positive upwards. The notes are those of `heard`, which
    under N.C. is the chord before.

    >>> from fillgen.chart.text import parse_chart
    >>> first, _ = notes_document(parse_chart("| G7 | C |"))["chords"]
    >>> first["tones"][0], first["ways"][0]["words"]
    ({'name': 'G', 'degree': '1'}, 'B goes up a half step to C')
    """
    return {
        "chart": chart_document(progression, tempo),
        "chords": [_chord(chord) for chord in chord_notes(progression, dorian_sixth=dorian_sixth)],
    }


def _chord(chord: ChordNotes) -> dict[str, Any]:
    return {
        "bar": chord.bar,
        "through": chord.through,
        "symbol": chord.span.chord.symbol,
        "key": str(chord.span.key),
        "heard": chord.heard.symbol,
        "remark": chord.remark,
        "tones": [{"name": str(tone.name), "degree": tone.degree.text} for tone in chord.tones],
        "notes": [_note(fit) for fit in chord.fits],
        "into": chord.following.symbol if chord.following else None,
        "common": [
            {"name": str(shared.tone.name), "becomes": str(shared.becomes.name), "words": shared.words}
            for shared in chord.common
        ],
        "ways": [
            {
                "from": str(way.tone.name),
                "to": str(way.goal.name),
                "semitones": way.rise,
                "words": way.words,
            }
            for way in chord.ways
        ],
    }


def _note(fit: NoteFit) -> dict[str, str]:
    return {"name": str(fit.name), "degree": fit.degree, "kind": fit.kind, "reason": fit.reason}


# Looks: colours are as in CSS, lengths in units of the picture


@dataclass(frozen=True, slots=True)
class _KeyLook:
    """The look of a kind on the keys: its word, then fill and ink of a white key and of a black one."""

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
"""The mark of each kind, centred on 0 0: a full block, a diamond, two arrow heads, a cross."""


def _key_style() -> str:
    """The colours of the keys, the same on every page: a keyboard is white and black by day and by night."""
    keys = [
        css("key", side=side, word=look.word, fill=fill, ink=ink)
        for look in _LOOKS.values()
        for side, (fill, ink) in (("white", look.white), ("black", look.black))
    ]
    return "".join([css("keyboard"), *keys])


# A keyboard


def _keyboard(each: Recurring, number: int) -> Element:
    """An octave of keys from C to B, each with its note's name, degree, word and mark, and a description."""
    chord = each.notes
    titles = [f"keys-{number}", f"described-{number}"]
    drawn = Element(
        "svg",
        {
            "class": "keyboard",
            "viewBox": f"0 0 {_WIDTH} {_HEIGHT}",
            "role": "img",
            "aria-labelledby": " ".join(titles),
        },
    )
    put(drawn, "title", f"Keyboard for {_symbol(chord)}, {bars_of(each.bars)}", id=titles[0])
    put(drawn, "desc", _described(chord), id=titles[1])
    drawn.extend(_keys(chord))
    return drawn


def _described(chord: ChordNotes) -> str:
    """The notes of each kind in a sentence."""
    parts = [
        f"{kind}: {', '.join(str(fit.name) for fit in chord.of_kind(kind)) or 'none'}" for kind in NOTE_KINDS
    ]
    return f"{chord.remark + '. ' if chord.remark else ''}{'; '.join(parts)}."


def _keys(chord: ChordNotes) -> Iterable[Element]:
    """The white keys, then the black ones on top of them."""
    by_class = {fit.pitch_class: fit for fit in chord.fits}
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
    """The left edge of a key; a black one is centred on the line between two white ones."""
    whites = sum(natural < pitch_class for natural in NATURAL)
    return _EDGE + whites * _WHITE[0] - (_BLACK[0] // 2 if is_black(pitch_class) else 0)


def _mark(kind: str, x: int, y: int) -> Element:
    form, path = _MARKS[kind]
    return Element("path", {"class": form, "d": path, "transform": f"translate({x} {y})"})


def _mark_box(kind: str) -> Element:
    """A mark in a line of text, beside its word."""
    box = Element("svg", {"class": "mark-box", "viewBox": "-11 -11 22 22", "aria-hidden": "true"})
    box.append(_mark(kind, 0, 0))
    return box


# The page


def notes_html(progression: Progression, *, dorian_sixth: bool = False) -> str:
    r"""All chords as a web page, valid XML as well, with a keyboard and a table for each.

    >>> from fillgen.chart.text import parse_chart
    >>> page = notes_html(parse_chart("title: <b>\n| Dm7 | G7 |"))
    >>> "<b>" in page, "&lt;b&gt;" in page, page.count("<table ")
    (False, True, 2)
    """
    chords = recurring(chord_notes(progression, dorian_sixth=dorian_sixth))
    style = themed(
        css("notes"), css("notes-colours", LIGHT), _key_style(), colours="notes-colours", paper="notes-print"
    )
    page, body = new_page(_title(progression), style)
    _intro(body, progression, chords)
    main = put(body, "main")
    for number, chord in enumerate(chords, 1):
        main.append(_section(chord, number))
    return page_text(page)


def _title(progression: Progression) -> str:
    """The title of page and picture, with the chart's own if it has one."""
    title = printable(progression.title)
    return f"{title}: which notes fit" if title else _WHAT


def _intro(body: Element, progression: Progression, chords: Sequence[Recurring]) -> None:
    """The title, the kinds with their marks, and a link to each chord."""
    header = put(body, "header")
    put(header, "h1", _title(progression))
    put(header, "p", f"{progression.keys_in_words}, {progression.metres_in_words}", "soft")
    legend = put(header, "ul", look="legend")
    for kind in NOTE_KINDS:
        row = put(legend, "li")
        row.append(_mark_box(kind))
        words = put(row, "span")
        put(words, "strong", _LOOKS[kind].word).tail = f" ({kind}): {_SAYS[kind]}"
    places = put(put(body, "nav", aria_label="Chords"), "ol")
    for number, chord in enumerate(chords, 1):
        row = put(places, "li")
        put(row, "a", f"{bars_of(chord.bars)} {_symbol(chord.notes)}", href=f"#chord-{number}")


def _section(each: Recurring, number: int) -> Element:
    chord = each.notes
    named = f"name-{number}"
    section = Element("section", {"id": f"chord-{number}", "aria-labelledby": named})
    put(section, "h2", f"{_symbol(chord)}, {bars_of(each.bars)}", id=named)
    if chord.remark:
        put(section, "p", f"{chord.remark[0].upper()}{chord.remark[1:]}.")
    columns = put(section, "div", look="chord")
    left = put(columns, "div", look="ways")
    left.append(_keyboard(each, number))
    for place in each.onward:
        _next(left, place)
    columns.append(_table(chord))
    return section


def _next(parent: Element, chord: ChordNotes) -> None:
    """What stays and what moves into the next chord."""
    assert chord.following is not None
    following = put(parent, "div")
    put(following, "h3", f"Into {chord.following.symbol}")
    rows = put(following, "ul")
    for words in _into(chord):
        put(rows, "li", words)


def _table(chord: ChordNotes) -> Element:
    """A row for each note."""
    table = new_table(f"The twelve notes over {chord.heard.symbol}", ("Note", "Degree", "Kind", "Why"))
    body = put(table, "tbody", role="rowgroup")
    for kind in NOTE_KINDS:
        for fit in chord.of_kind(kind):
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
"""Keyboards in a row of the picture."""
_LONGEST_TITLE = 48
"""Letters of a title that fit into the picture."""
_GAP, _HEAD, _TOP, _LINE = 24, 30, 76, 26
"""Heights and gaps: between keyboards, above each for its name, above all for the title, a line of the legend."""


def notes_svg(progression: Progression, *, dorian_sixth: bool = False) -> str:
    """All chords' keyboards as one picture, two in a row, with a legend below.

    >>> from fillgen.chart.text import parse_chart
    >>> picture = notes_svg(parse_chart("| C | F | G7 |"))
    >>> picture.count('class="keyboard"'), picture.count("<title")
    (3, 4)
    """
    chords = recurring(chord_notes(progression, dorian_sixth=dorian_sixth))
    rows = -(-len(chords) // _ACROSS)
    wide = _ACROSS * (_WIDTH + _GAP) + _GAP
    legend_at = _TOP + rows * (_HEIGHT + _HEAD + _GAP)
    picture = _canvas(progression, chords, wide, legend_at + len(NOTE_KINDS) * _LINE + _GAP)
    for index, chord in enumerate(chords):
        row, column = divmod(index, _ACROSS)
        x, y = _GAP + column * (_WIDTH + _GAP), _TOP + row * (_HEIGHT + _HEAD + _GAP)
        picture.append(_placed(chord, index + 1, x, y))
    for index, kind in enumerate(NOTE_KINDS):
        _put_legend(picture, kind, legend_at + index * _LINE)
    return ET.tostring(picture, encoding="unicode") + "\n"


def _canvas(progression: Progression, chords: Sequence[Recurring], wide: int, high: int) -> Element:
    """An empty picture of a width and height, with its title, description and background."""
    picture = Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {wide} {high}",
            "width": str(wide),
            "height": str(high),
            "role": "img",
            "aria-labelledby": "picture-title picture-described",
        },
    )
    put(picture, "title", _title(progression), id="picture-title")
    words = " ".join(
        f"{bars_of(each.bars)}, {_symbol(each.notes)}: {_described(each.notes)}" for each in chords
    )
    put(picture, "desc", words, id="picture-described")
    put(picture, "style", css("notes-picture", LIGHT) + _key_style())
    put(picture, "rect", look="ground", width=wide, height=high)
    _words(picture, "head", cut(_title(progression), _LONGEST_TITLE), 38)
    _words(picture, "line", f"{progression.keys_in_words}, {progression.metres_in_words}", 60)
    return picture


def _words(parent: Element, look: str, text: str, y: int, x: int = _GAP) -> None:
    put(parent, "text", text, look, x=x, y=y)


def _placed(chord: Recurring, number: int, x: int, y: int) -> Element:
    """A chord's keyboard at a place in the picture, with its name above."""
    group = Element("g", {"transform": f"translate({x} {y})"})
    _words(group, "name-above", f"{_symbol(chord.notes)}, {bars_of(chord.bars)}", _HEAD - 10, 0)
    drawn = _keyboard(chord, number)
    drawn.attrib |= {"y": str(_HEAD), "width": str(_WIDTH), "height": str(_HEIGHT)}
    group.append(drawn)
    return group


def _put_legend(picture: Element, kind: str, y: int) -> None:
    """A line of the legend: a mark and what it means."""
    group = put(picture, "g", look="mark-box")
    group.append(_mark(kind, _GAP + 10, y))
    _words(picture, "line", f"{_LOOKS[kind].word} ({kind}): {_SAYS[kind]}", y + 5, _GAP + 32)
