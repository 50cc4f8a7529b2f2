"""Chart text and phrase text, read and written.

Chart text: bars between `|`; the chords of a bar share its beats evenly; a lone `/` holds a chord one more beat;
`%` repeats a bar; `|: :|` repeats the bars between, with `|1. ... :|2. ... |` for its endings; `[A]` before a bar
begins a section; a key before a chord (`Db: Ebm7`, `c: Dm7b5`, `F blues: F7`) holds to the next, and so does a metre
at the beginning of a bar (`2/4 Fm7`), or between bar lines before it. Commas and dashes may separate chords; roots and bass
notes may be lower case (`bb gm7`). Without any `|`, each chord is a bar. Lines at the head of a chart may name its `title:`,
`key:` and `metre:`; a line that begins with `#` and a space is a comment.
Phrase text: `F5q. Eb5e D5h | rq G5q F5h`, with `~` after a length to tie it to the next note.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TypeVar

from fillgen.chart.progression import Progression, Span, laid, where_differing
from fillgen.errors import ChartError, OptionError, did_you_mean, printable, shorten
from fillgen.theory.chords import Chord, quality, read_chord
from fillgen.theory.keys import read_key, read_metre, short_key, short_name
from fillgen.theory.metre import METRES, Metre
from fillgen.theory.numerals import NUMERAL, read_numeral
from fillgen.theory.pitch import LETTERS, Key, plain_signs
from fillgen.theory.tonality import keys_of

MOST_BARS = 512
"""The longest chart, in bars with repeats written out."""
MOST_TEXT = 100_000
"""The longest chart or phrase text, in characters."""

T = TypeVar("T")
_HEADS = ("title", "key", "metre")
_HEAD = re.compile(r"\s*([A-Za-z]+)\s*:(?![|])\s*(.*)")
_COMMENT = re.compile(r"\s*#(?:\s.*)?")
_KEY = r"(?<![^\s|:])[A-Ga-g][b#♭♯]?(?:m|[ \t]+(?:major|minor|blues))?:(?!\|)"
"""A key before a chord."""
_SIGN = re.compile(
    r"(?P<line>\|:|:\|:?|\|\]|\[\||\|+)"
    r"|\[\s*(?P<section>[^\]|\s][^\]|]{0,39})\]"
    r"|(?P<joint>,|[-–—−]+)"
    rf"|(?P<word>{_KEY}|"
    r"(?:\([^)|]{0,99}\)|,(?=[#b♯♭\d])|[^\s|:,])+|:)"
)
"""The signs of a chart. A comma or dash at the beginning of a sign separates chords; elsewhere it may belong to one."""
_DASH = re.compile(r"[-–—−](?=[A-G]|N\.?C|[#b♯♭]?[IViv])")
"""A dash between two chords written without spaces."""
_ANY_DASH = re.compile(r"[-–—−](?=[A-Ga-gNn#b♯♭IViv])")
_SMALL = re.compile(r"(?:^|(?<=/))[a-g]")
"""A root or bass note in lower case."""
_ENDING = re.compile(r"[1-9](?:[,-][1-9])*(?:\.|(?=$|[A-GN%]))")
"""The number of an ending, alone or close to its first chord."""


_METRE = re.compile(r"\d{1,2}/(?:1|2|4|8|16|32)")
"""A metre before a bar."""
_METRE_HINT = "Write a metre at the beginning of a bar: | Eb | 2/4 Fm7 | 4/4 Bb7 |."


# Charts


class MisreadChartError(ChartError):
    """A chart with signs that cannot be read: the characters from `start` up to `end` are at fault, counted from 0.

    >>> try:
    ...     parse_chart("| C | Hm7 |")
    ... except MisreadChartError as error:
    ...     "| C | Hm7 |"[error.start : error.end]
    'Hm7'
    """

    def __init__(self, message: str, start: int, end: int, *, place: str = "", hint: str = "") -> None:
        super().__init__(message, place=place, hint=hint)
        self.start = start
        self.end = end


@dataclass(frozen=True, slots=True)
class _Sign:
    """A sign of a chart: its text as it is read, and the characters it takes up, counted from the chart's start."""

    text: str
    start: int
    end: int
    key: Key | None = None
    """The key written for it."""


@dataclass(slots=True)
class _Bar:
    """A bar as it is read: its signs, its number in the written chart, the section that it begins, if any, and the metre
    that was written last.
    """

    signs: list[_Sign]
    number: int
    line: int
    section: str = ""
    metre: Metre | None = None

    def misread(self, message: str, *, hint: str = "") -> MisreadChartError:
        """The error for a bar that is wrong as a whole."""
        return MisreadChartError(
            message, self.signs[0].start, self.signs[-1].end, place=self.place(), hint=hint
        )

    def place(self, item: int | None = None) -> str:
        where = _place(self.number, self.line)
        return where if item is None else f"{where}, chord {item}"


@dataclass(frozen=True, slots=True)
class _Mark:
    """A repeat sign between bars, or the number of an ending: the bar that follows it, and its line."""

    sign: _Sign
    number: int
    line: int

    def misread(self, message: str, *, hint: str = "") -> MisreadChartError:
        place = _place(self.number, self.line)
        return MisreadChartError(message, self.sign.start, self.sign.end, place=place, hint=hint)

    @property
    def passes(self) -> list[int]:
        """The times through a repeat that an ending is for: `1,2.` and `1-2` are for the first and second."""
        numbers: list[int] = []
        for part in self.sign.text.rstrip(".").split(","):
            first, *more = part.split("-")
            numbers += range(int(first), int(more[-1] if more else first) + 1)
        return numbers


def _place(number: int, line: int) -> str:
    return f"chart line {line}, bar {number}" if line > 1 else f"bar {number}"


def parse_chart(text: str, *, key: str | Key | None = None, metre: str | Metre | None = None) -> Progression:
    """The progression that a chart text describes.

    `key` and `metre` override the chart's own header lines; without a metre it is 4/4, or that of most bars where one is
    written before the first bar. The key is that in which the chart begins (a major one may turn out to be a blues), unless
    one is written before the first chord; a key written before a chord holds to the next one, and all others are found from
    the chords. Raises ChartError with line, bar and chord where the text cannot be read, OptionError for a `key` or `metre`
    that does not exist. What the text left open is in the progression's `remarks`.

    >>> chart = parse_chart("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |")
    >>> str(chart.key), len(chart.bars)
    ('Eb major', 4)
    >>> chart_text(parse_chart("[A] Ebmaj7, Abmaj7 [B] Fm7, Bb7"))
    '| [A] Ebmaj7 | Abmaj7 | [B] Fm7 | Bb7 |'
    """
    if len(text) > MOST_TEXT:
        raise ChartError(f"the chart has {len(text)} characters; the limit is {MOST_TEXT}")
    if "\0" in text or (not text.isprintable() and _has_surrogates(text)):
        raise ChartError("the chart is not text", hint="Give a file with chords between bar lines.")
    heads, body = _heads(text)
    stated = _setting(metre, heads.get("metre"), read_metre)
    the_key = _setting(key, heads.get("key"), read_key)
    barred = any("|" in line.text for line in body)
    written = _with_keys(_written_bars(body, barred=barred))
    bars, remarks = (_unfold(written), ()) if barred else _each_a_bar(written, stated or METRES["4/4"])
    the_metre = stated or _usual_metre(bars)
    metres = _metres_of(bars, the_metre)
    chords = [_chords_of(bar, own, the_key) for bar, own in zip(bars, metres, strict=True)]
    if not any(chord.root is not None for bar in chords for chord, _ in bar):
        raise ChartError("the chart has no chords, only N.C.", hint="Write at least one chord.")
    keys = [sign.key for bar in bars for sign in _joined(bar.signs) if sign.text != "/"]
    rows = laid(chords, keys, the_key)
    title = printable(heads["title"].text) if "title" in heads else ""
    sections = tuple((index, bar.section) for index, bar in enumerate(bars) if bar.section)
    return Progression(
        the_metre,
        the_key or rows[0][0].key,
        rows,
        title,
        sections=sections,
        remarks=remarks,
        metres=where_differing(metres, the_metre),
    )


def _usual_metre(bars: Sequence[_Bar]) -> Metre:
    """The metre of most bars where one is written before the first, otherwise 4/4."""
    found = Counter(bar.metre for bar in bars if bar.metre is not None)
    return found.most_common(1)[0][0] if bars[0].metre is not None else METRES["4/4"]


def _metres_of(bars: Sequence[_Bar], usual: Metre) -> tuple[Metre, ...]:
    """The metre of each bar; ChartError for one whose beat differs from the chart's metre."""
    for bar in bars:
        if bar.metre is not None and bar.metre.beat != usual.beat:
            fitting = [each.name for each in METRES.values() if each.beat == usual.beat]
            raise bar.misread(
                f"a bar of {bar.metre.name} doesn't have the beat of {usual.name}",
                hint=f"Other bars of a chart in {usual.name} can be in {', '.join(fitting)}."
                if len(fitting) > 1
                else f"Every bar of a chart in {usual.name} must have that metre.",
            )
    return tuple(bar.metre or usual for bar in bars)


def stated_metre(text: str) -> Metre | None:
    """The metre that a chart text names in its `metre:` header line, or by metres before its bars; None if it names none.

    Raises ChartError for what cannot be read.

    >>> stated_metre("| F | C7 |") is None
    True
    """
    heads, body = _heads(text)
    if "metre" in heads:
        return heads["metre"].read(read_metre)
    barred = any("|" in line.text for line in body)
    if not barred or not any(_METRE.search(line.text) for line in body):
        return None
    bars = _unfold(_written_bars(body, barred=True))
    return _usual_metre(bars) if any(bar.metre is not None for bar in bars) else None


def _has_surrogates(text: str) -> bool:
    """Whether a text holds bytes that weren't valid text, as a command line passes them on."""
    return any("\ud800" <= letter <= "\udfff" for letter in text)


def _setting(asked: str | T | None, head: _Head | None, read: Callable[[str], T]) -> T | None:
    """A key or metre as it is asked for, otherwise as the chart's header has it."""
    if asked is None:
        return None if head is None else head.read(read)
    return read(asked) if isinstance(asked, str) else asked


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of a chart: its text, its number, and how many characters come before it."""

    text: str
    number: int
    start: int

    def misread(self, span: tuple[int, int], message: str, *, hint: str = "") -> MisreadChartError:
        """The error for a part of the line, from one of its characters up to another."""
        start, end = (self.start + place for place in span)
        return MisreadChartError(message, start, end, place=f"chart line {self.number}", hint=hint)


def _lines(text: str) -> Iterator[_Line]:
    start = len(text) - len(text.lstrip("\ufeff"))
    for number, line in enumerate(text[start:].splitlines(keepends=True), 1):
        yield _Line(line.splitlines()[0], number, start)
        start += len(line)


@dataclass(frozen=True, slots=True)
class _Head:
    """What a header line says: its text, its line, and its place in the line."""

    text: str
    line: _Line
    span: tuple[int, int]

    def read(self, read: Callable[[str], T]) -> T:
        """The key or metre named; ChartError, with its line, if there is none of that name."""
        try:
            return read(self.text)
        except OptionError as error:
            raise self.line.misread(self.span, error.message, hint=error.hint) from None


def _heads(text: str) -> tuple[dict[str, _Head], list[_Line]]:
    """The header lines of a chart, and its other lines."""
    heads: dict[str, _Head] = {}
    body = []
    for written in _lines(text):
        line = written.text
        match = _HEAD.fullmatch(line)
        if _COMMENT.fullmatch(line):
            continue
        if match is not None and match[1].lower() in _HEADS:
            value, start = match[2].strip(), match.start(2)
            heads[match[1].lower()] = _Head(value, written, (start, start + len(value)))
        elif match is None or "|" in line or short_key(match[1]) is not None:
            body.append(written)
        else:
            is_metre = _METRE.fullmatch(match[2].strip()) is not None
            hint = did_you_mean("metre" if is_metre else match[1], _HEADS)
            raise written.misread(match.span(1), f"unknown header line {shorten(match[1])}", hint=hint)
    return heads, body


def _written_bars(body: Iterable[_Line], *, barred: bool) -> list[_Bar | _Mark]:
    """The bars of a chart as they are written, with the repeat signs and endings between them.

    A line's end ends a bar. Where a chart is not `barred`, all that a line has between two names of sections is one bar.
    """
    reader = _Reader(barred=barred)
    for line in body:
        for match in _SIGN.finditer(line.text):
            reader.take(match, line)
        reader.end_line()
    return reader.finished()


class _Reader:
    """Takes the signs of a chart one after another and puts them into bars."""

    def __init__(self, *, barred: bool) -> None:
        self.bars: list[_Bar | _Mark] = []
        self._barred = barred
        self._bar: _Bar | None = None
        self._number = 1
        self._after_line = False
        self._section: _Mark | None = None
        self._joint: _Mark | None = None
        self._metre: Metre | None = None
        self._fresh: _Mark | None = None
        self._marked = False

    def take(self, match: re.Match[str], line: _Line) -> None:
        start, end = (line.start + place for place in match.span())
        mark = _Mark(_Sign(match[0], start, end), self._number, line.number)
        kind = match.lastgroup
        if kind == "line":
            self._bar_line(mark, first=line.text[: match.start()].strip() == "")
        elif kind == "section":
            self._begin_section(replace(mark, sign=_Sign(printable(match["section"]).strip(), start, end)))
        elif kind == "joint":
            self._join(mark)
        else:
            for sign in _apart(self._without_ending(mark)):
                self._word(replace(mark, sign=sign))

    def end_line(self) -> None:
        """Ends a bar with its line; a comma or dash may wait for the next one."""
        joint, self._joint = self._joint, None
        self._close()
        self._joint = joint

    def finished(self) -> list[_Bar | _Mark]:
        """All bars; ChartError if there are none, or where something is missing at the end."""
        self._close()
        if self._section is not None:
            raise self._no_bar()
        if self._fresh is not None:
            raise self._fresh.misread("no bar follows the metre", hint=_METRE_HINT)
        if not any(isinstance(bar, _Bar) for bar in self.bars):
            raise ChartError("the chart is empty", hint='Write chords between bars: "| Ebmaj7 | Gm7 C7 |".')
        return self.bars

    def _without_ending(self, mark: _Mark) -> _Sign:
        """A sign less the number of an ending at its beginning, where a bar begins as well; that one is taken."""
        sign = mark.sign
        match = _ENDING.match(sign.text) if self._barred and self._bar is None else None
        if match is None:
            return sign
        middle = sign.start + match.end()
        self.bars.append(replace(mark, sign=_Sign(match[0], sign.start, middle)))
        return _Sign(sign.text[match.end() :], middle, sign.end)

    def _no_bar(self) -> MisreadChartError:
        assert self._section is not None
        return self._section.misread("no bar follows the name of the section")

    def _word(self, mark: _Mark) -> None:
        if self._barred and _METRE.fullmatch(mark.sign.text):
            self._change_metre(mark)
            return
        if self._bar is None:
            section = self._section.sign.text if self._section is not None else ""
            self._bar = _Bar([], mark.number, mark.line, section, self._metre)
            self._section = self._fresh = None
        self._bar.signs.append(mark.sign)
        self._joint = None

    def _change_metre(self, mark: _Mark) -> None:
        """Takes a metre, which holds for the bar that begins with it or comes next, and for those after it."""
        if self._fresh is not None or (
            self._bar is not None and not all(sign.text.endswith(":") for sign in self._bar.signs)
        ):
            raise mark.misread(f"{mark.sign.text} is inside a bar", hint=_METRE_HINT)
        try:
            self._metre = read_metre(mark.sign.text)
        except OptionError as error:
            raise mark.misread(error.message, hint=error.hint) from None
        if self._bar is None:
            self._fresh, self._marked = mark, True
        else:
            self._bar.metre = self._metre

    def _join(self, mark: _Mark) -> None:
        if self._bar is None or self._joint is not None:
            raise _misplaced(mark)
        self._joint = mark

    def _begin_section(self, mark: _Mark) -> None:
        if self._bar is not None and self._barred:
            hint = "Write its name before the first chord of a bar, such as | [B] Ab | Bb7 |."
            raise mark.misread("a section begins inside a bar", hint=hint)
        self._close()
        if self._section is not None:
            raise self._no_bar()
        self._section = replace(mark, number=self._number)

    def _bar_line(self, mark: _Mark, *, first: bool) -> None:
        """Takes a bar line or repeat sign; an outer one, the first of its text line, closes no empty bar."""
        sign = mark.sign.text
        if self._bar is not None:
            self._close()
        elif self._after_line and sign == "|" and not first and self._section is None and not self._marked:
            hint = "Write % to repeat the bar before, or N.C. for no chord."
            raise mark.misread("the bar is empty", hint=hint)
        self._after_line, self._marked = sign == "|", False
        parts = (":|", "|:") if sign == ":|:" else (sign,)
        for part in parts:
            if part in (":|", "|:"):
                place = _Mark(_Sign(part, mark.sign.start, mark.sign.end), mark.number, mark.line)
                self.bars.append(place)

    def _close(self) -> None:
        if self._joint is not None and self._joint.sign.text != ",":
            raise _misplaced(self._joint)
        if self._bar is not None:
            self.bars.append(self._bar)
            self._number += 1
        self._bar = self._joint = None


def _with_keys(bars: Iterable[_Bar | _Mark]) -> list[_Bar | _Mark]:
    """The bars without the keys written before chords, each chord with its key."""
    key: Key | None = None
    keyed: list[_Bar | _Mark] = []
    for bar in bars:
        if isinstance(bar, _Mark):
            keyed.append(bar)
            continue
        signs = []
        for sign in bar.signs:
            written = short_key(sign.text[:-1]) if sign.text.endswith(":") else None
            if written is None:
                signs.append(replace(sign, key=key))
            key = written or key
        if written is not None:
            last = bar.signs[-1]
            hint = "Write it before the chord from which it holds: | Db: Ebm7 |."
            raise MisreadChartError(
                "no chord comes after the key", last.start, last.end, place=bar.place(), hint=hint
            )
        keyed.append(replace(bar, signs=signs))
    return keyed


def _misplaced(mark: _Mark) -> MisreadChartError:
    """The error for a comma or dash without a chord on one side."""
    if mark.sign.text == ",":
        return mark.misread("the comma needs a chord before it", hint="Write it between two chords: Eb, Gm.")
    return mark.misread(
        f"{shorten(mark.sign.text)} needs a chord on both sides",
        hint="To hold a chord one more beat, write /.",
    )


def _apart(sign: _Sign) -> list[_Sign]:
    """The chords that a sign is made of, where dashes join them (`Eb-Gm-Fm7`); a chord that has a dash is one."""
    if not sign.text:
        return []
    if _is_chord(_with_capitals(sign.text)):
        return [sign]
    parts = _cut(sign, _DASH)
    small = _cut(sign, _ANY_DASH)
    if len(small) > len(parts) and all(_is_chord(_with_capitals(part.text)) for part in small):
        return small
    return parts


def _cut(sign: _Sign, dash: re.Pattern[str]) -> list[_Sign]:
    """The parts of a sign between dashes."""
    edges = [-1, *(match.start() for match in dash.finditer(sign.text)), len(sign.text)]
    return [
        _Sign(sign.text[before + 1 : after], sign.start + before + 1, sign.start + after)
        for before, after in pairwise(edges)
    ]


def _with_capitals(text: str) -> str:
    """A chord symbol with a large root and bass note.

    >>> _with_capitals("bb7/d")
    'Bb7/D'
    """
    return _SMALL.sub(lambda letter: letter[0].upper(), text)


def _is_chord(text: str) -> bool:
    try:
        read_chord(text)
    except ChartError:
        return False
    return True


def _each_a_bar(rows: Iterable[_Bar | _Mark], metre: Metre) -> tuple[list[_Bar], tuple[str, ...]]:
    """The bars of a chart without bar lines, and a remark: each chord is a bar, or with / to count beats, that many beats are."""
    joined = [replace(row, signs=_joined(row.signs)) for row in rows if isinstance(row, _Bar)]
    counted = any(sign.text == "/" for row in joined for sign in row.signs)
    size = metre.beats if counted else 1
    bars: list[_Bar] = []
    for row in _run_on(joined) if counted else joined:
        for first in range(0, len(row.signs), size):
            bar = _Bar(row.signs[first : first + size], len(bars) + 1, row.line, "" if first else row.section)
            bars.append(_repeated(bar, bars))
    if len(bars) > MOST_BARS:
        raise _too_many()
    if len(bars) < 2:
        return bars, ()
    if counted:
        return bars, (f"There are no bar lines, so every {metre.beats} beats make a bar.",)
    return bars, ("There are no bar lines, so each chord is a bar. Write two in a bar as | Gm7 C7 |.",)


def _run_on(rows: Iterable[_Bar]) -> list[_Bar]:
    """Rows of signs, each joined to the one before unless it begins a section."""
    found: list[_Bar] = []
    for row in rows:
        if found and not row.section:
            found[-1].signs.extend(row.signs)
        else:
            found.append(replace(row, signs=[*row.signs]))
    return found


def _too_many() -> ChartError:
    return ChartError(f"the chart has more than {MOST_BARS} bars", hint=f"The limit is {MOST_BARS}.")


# Repeats

_ENDINGS = "Write endings as |: Eb | Gm7 |1. Bb7 :|2. Eb |."


def _unfold(written: Iterable[_Bar | _Mark]) -> list[_Bar]:
    """The bars in the order in which they are played."""
    repeats = _Repeats()
    for each in written:
        if isinstance(each, _Bar):
            repeats.play(each)
        elif each.sign.text == "|:":
            repeats.open(each)
        elif each.sign.text == ":|":
            repeats.close()
        else:
            repeats.ending(each)
    return repeats.finished()


class _Repeats:
    """Plays bars in order, those of a repeat again, each time with the ending that is meant for it.

    `_body` are the bars of a repeat up to its first ending, None if no ending has begun; `_time` is how often the body
    was played. `_last` is the open ending, `_owed` says that it was closed and the next one must follow.
    """

    def __init__(self) -> None:
        self.played: list[_Bar] = []
        self._begin = 0
        self._opened: _Mark | None = None
        self._body: list[_Bar] | None = None
        self._last: _Mark | None = None
        self._time = 1
        self._ending = 0
        self._owed = False

    def play(self, bar: _Bar) -> None:
        self._settle()
        self._add([_repeated(bar, self.played)])

    def open(self, mark: _Mark) -> None:
        self._settle()
        if self._opened is not None:
            raise mark.misread("a repeat begins inside another", hint="Close the first one with :|.")
        self._start_over()
        self._opened = mark

    def ending(self, mark: _Mark) -> None:
        passes = mark.passes
        due = 1 if self._body is None else self._time + 1
        if passes != list(range(due, due + max(1, len(passes)))):
            raise mark.misread(f"ending {due} is expected here", hint=_ENDINGS)
        if self._body is None:
            self._body = self.played[self._begin :]
            if not self._body:
                raise mark.misread("the repeat has no bar before its ending", hint=_ENDINGS)
        elif self._owed:
            self._add(self._body)
        else:
            assert self._last is not None
            raise mark.misread(
                f"ending {self._last.sign.text.rstrip('.')} is not closed", hint="Close it with :|."
            )
        self._time, self._owed, self._last = due, False, mark
        self._ending = len(self.played)

    def close(self) -> None:
        self._opened = None
        if self._body is None or self._last is None:
            self._add(self.played[self._begin :])
            self._start_over()
            return
        bars = self.played[self._ending :]
        for _ in self._last.passes[1:]:
            self._add([*self._body, *bars])
        self._time = self._last.passes[-1]
        self._owed = True

    def finished(self) -> list[_Bar]:
        """All bars as they are played; ChartError for a repeat or an ending that lacks its end."""
        self._settle()
        if self._opened is not None:
            raise self._opened.misread("a repeat is opened but never closed", hint="Close it with :|.")
        if self._last is not None and self._last.passes[0] == 1:
            raise self._alone(self._last)
        return self.played

    def _settle(self) -> None:
        """Once the last of several endings is closed, what follows is no longer part of the repeat."""
        if not self._owed:
            return
        assert self._last is not None
        if self._last.passes[0] == 1:
            raise self._alone(self._last)
        self._start_over()

    def _alone(self, ending: _Mark) -> MisreadChartError:
        return ending.misread(
            f"ending {ending.passes[-1] + 1} is missing after ending {ending.sign.text.rstrip('.')}",
            hint=_ENDINGS,
        )

    def _start_over(self) -> None:
        self._begin = len(self.played)
        self._body = self._last = None
        self._time, self._owed = 1, False

    def _add(self, bars: Sequence[_Bar]) -> None:
        self.played += bars
        if len(self.played) > MOST_BARS:
            raise _too_many()


def _repeated(bar: _Bar, played: Sequence[_Bar]) -> _Bar:
    if [sign.text for sign in bar.signs] != ["%"]:
        return bar
    if not played:
        raise bar.misread("there is no bar before the % to repeat")
    key, signs = bar.signs[0].key, played[-1].signs
    goes_on = key == signs[-1].key
    return replace(bar, signs=signs if goes_on else [replace(sign, key=key) for sign in signs])


def _chords_of(bar: _Bar, metre: Metre, key: Key | None) -> list[tuple[Chord, int]]:
    """The chords of a bar with their lengths in ticks."""
    signs = _joined(bar.signs)
    if any(sign.text == "/" for sign in signs):
        return _held_chords(signs, bar, metre, key)
    if metre.beats % len(signs):
        raise bar.misread(
            f"{len(signs)} chords don't divide the {metre.beats} beats of a {metre.name} bar evenly",
            hint=_slash_hint([sign.text for sign in signs], metre),
        )
    share = metre.bar // len(signs)
    return [(_chord(sign, bar, item, key), share) for item, sign in enumerate(signs, 1)]


def _slash_hint(signs: Sequence[str], metre: Metre) -> str:
    if len(signs) > metre.beats:
        return f"At most {metre.beats} chords fit, one a beat."
    shown = [*signs, *["/"] * (metre.beats - len(signs))]
    return f"Add a / for each beat a chord is held, such as | {' '.join(shown)} |."


def _held_chords(signs: Sequence[_Sign], bar: _Bar, metre: Metre, key: Key | None) -> list[tuple[Chord, int]]:
    if len(signs) != metre.beats:
        raise bar.misread(
            f"{len(signs)} beats are written, but a {metre.name} bar has {metre.beats}",
            hint="In a bar with /, each chord and each / is one beat.",
        )
    if signs[0].text == "/":
        raise bar.misread("a / holds the chord before it, but there is none in this bar")
    chords: list[tuple[Chord, int]] = []
    for sign in signs:
        if sign.text == "/":
            chords[-1] = (chords[-1][0], chords[-1][1] + metre.beat)
        else:
            chords.append((_chord(sign, bar, len(chords) + 1, key), metre.beat))
    return chords


def _joined(signs: Sequence[_Sign]) -> list[_Sign]:
    """The signs of a bar, a chord quality on its own joined to the numeral before it (`#iv dim7`)."""
    joined: list[_Sign] = []
    for sign in signs:
        text = plain_signs(sign.text)
        alone = NUMERAL.fullmatch(text) is None and text[0] not in LETTERS and quality(text) is not None
        if (
            alone
            and text != "/"
            and joined
            and NUMERAL.fullmatch(joined[-1].text)
            and not joined[-1].text[-1].isdigit()
        ):
            joined[-1] = replace(joined[-1], text=joined[-1].text + text, end=sign.end)
        else:
            joined.append(replace(sign, text=text))
    return joined


def _chord(sign: _Sign, bar: _Bar, item: int, key: Key | None) -> Chord:
    text = sign.text
    try:
        if text == "%":
            raise ChartError("a % must be alone in its bar")
        if text in METRES:
            hint = "Put bars between | where the metre changes, or name it in a line above the chart: metre: 3/4."
            raise ChartError(f"{text} is among chords without bar lines", hint=hint)
        if NUMERAL.fullmatch(plain_signs(text)):
            return read_numeral(text, sign.key or key)
        large = _with_capitals(text)
        return read_chord(large if _is_chord(large) else text)
    except ChartError as error:
        place = bar.place(item)
        raise MisreadChartError(error.message, sign.start, sign.end, place=place, hint=error.hint) from None


# Chart text, written


def chart_text(progression: Progression) -> str:
    """The chart as text that reads back to the same progression, with header lines where they are needed.

    >>> chart_text(parse_chart("C / / G7 | F"))
    '| C / / G7 | F |'
    """
    chords = [span.chord for span in progression.spans]
    keys = tuple(span.key for span in progression.spans)
    home = progression.key
    is_found = home == keys[0] and keys == keys_of(chords)
    written = not is_found and keys != keys_of(chords, home=home)
    is_clear = is_found or (written and home == keys[0])
    heads = [
        ("title", progression.title, ""),
        ("key", str(home), str(home) if is_clear else ""),
        ("metre", progression.metre.name, "" if progression.metre_of(0) != progression.metre else "4/4"),
    ]
    lines = [f"{head}: {value}\n" for head, value, usual in heads if value != usual]
    marks = {tick: f"{short_name(key)}: " for tick, key in progression.keys} if written else {}
    bars = [_bar_text(bar, progression.metre, marks) for bar in progression.bars]
    metres = (progression.metre, *progression.metres)
    for index, (before, own) in enumerate(pairwise(metres)):
        if own != before:
            bars[index] = f"{own.name} {bars[index]}"
    for index, name in progression.sections:
        if index < len(bars):
            bars[index] = f"[{name}] {bars[index]}"
    return f"{''.join(lines)}| {' | '.join(bars)} |"


def _bar_text(bar: Sequence[Span], metre: Metre, marks: Mapping[int, str]) -> str:
    even = len({span.length for span in bar}) == 1
    beats = [1 if even else span.length // metre.beat for span in bar]
    return " ".join(
        f"{marks.get(span.onset, '')}{span.chord.symbol}{' /' * (n - 1)}"
        for span, n in zip(bar, beats, strict=True)
    )
