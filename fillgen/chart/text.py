"""Chart text and phrase text, read and written.

Chart text: bars between `|`; the chords of a bar share its beats evenly; a lone `/` holds a chord one more beat;
`%` repeats a bar; `|: :|` repeats what lies between. Lines at the head of a chart may name its `title:`, `key:`
and `metre:`. Phrase text: `F5q. Eb5e D5h | rq G5q F5h`, with `~` after a length to tie it to the next note.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

from fillgen.chart.progression import Progression, Span, laid
from fillgen.errors import ChartError, did_you_mean, printable, shorten
from fillgen.theory.chords import Chord, quality, read_chord
from fillgen.theory.keys import infer_key, read_key, read_metre
from fillgen.theory.metre import Metre
from fillgen.theory.numerals import NUMERAL, read_numeral
from fillgen.theory.pitch import LETTERS, Key, plain_signs

MOST_BARS = 512
"""The longest chart, in bars with repeats written out."""
MOST_TEXT = 100_000
"""The longest chart or phrase text, in characters."""

T = TypeVar("T")
_HEADS = ("title", "key", "metre")
_HEAD = re.compile(r"\s*([A-Za-z]+)\s*:(?![|])\s*(.*)")
_SIGN = re.compile(r"\|:|:\|:?|\|\]|\[\||\|+|(?:\([^)|]{0,99}\)|[^\s|:])+|:")


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


@dataclass(slots=True)
class _Bar:
    """A bar as it is read: its signs, and its number in the written chart."""

    signs: list[_Sign]
    number: int
    line: int

    def misread(self, message: str, *, hint: str = "") -> MisreadChartError:
        """The error of a bar that is wrong as a whole."""
        return MisreadChartError(
            message, self.signs[0].start, self.signs[-1].end, place=self.place(), hint=hint
        )

    def place(self, item: int | None = None) -> str:
        where = f"chart line {self.line}, bar {self.number}" if self.line > 1 else f"bar {self.number}"
        return where if item is None else f"{where}, chord {item}"


def parse_chart(text: str, *, key: str | Key | None = None, metre: str | Metre | None = None) -> Progression:
    """The progression that a chart text describes.

    `key` and `metre` win over the chart's own head lines; without either the key is inferred from the chords and
    the metre is 4/4. Raises ChartError with bar and chord where the text cannot be read, OptionError for a key or
    metre that does not exist.

    >>> chart = parse_chart("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |")
    >>> str(chart.key), len(chart.bars)
    ('Eb major', 4)
    """
    if len(text) > MOST_TEXT:
        raise ChartError(f"the chart has {len(text)} characters; the limit is {MOST_TEXT}")
    if "\0" in text or (not text.isprintable() and _has_surrogates(text)):
        raise ChartError("the chart is not text", hint="Give a file with chords between bar lines.")
    heads, body = _heads(text)
    the_metre = _setting(metre if metre is not None else heads.get("metre", "4/4"), read_metre)
    wanted = key if key is not None else heads.get("key")
    the_key = _setting(wanted, read_key) if wanted is not None else None
    bars = _unfold(_written_bars(body))
    chords = [_chords_of(bar, the_metre, the_key) for bar in bars]
    if not any(chord.root is not None for bar in chords for chord, _ in bar):
        raise ChartError("the chart has no chord, only N.C.", hint="At least one chord must sound.")
    the_key = the_key or infer_key([(chord, length) for bar in chords for chord, length in bar])
    return Progression(the_metre, the_key, laid(chords), printable(heads.get("title", "")))


def stated_metre(text: str) -> Metre | None:
    """The metre that a chart text names in its `metre:` head line; None where it names none.

    Raises OptionError for a metre that does not exist, ChartError for a head line that is not known.

    >>> stated_metre("| F | C7 |") is None
    True
    """
    named = _heads(text)[0].get("metre")
    return None if named is None else read_metre(named)


def _has_surrogates(text: str) -> bool:
    """Whether a text holds bytes that were no text, as a command line passes them on."""
    return any("\ud800" <= letter <= "\udfff" for letter in text)


def _setting(value: str | T, read: Callable[[str], T]) -> T:
    return read(value) if isinstance(value, str) else value


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of a chart: its text, its number, and how many characters come before it."""

    text: str
    number: int
    start: int


def _lines(text: str) -> Iterator[_Line]:
    start = len(text) - len(text.lstrip("\ufeff"))
    for number, line in enumerate(text[start:].splitlines(keepends=True), 1):
        yield _Line(line.splitlines()[0], number, start)
        start += len(line)


def _heads(text: str) -> tuple[dict[str, str], list[_Line]]:
    """The head lines of a chart, and its other lines."""
    heads: dict[str, str] = {}
    body = []
    for written in _lines(text):
        line = written.text
        match = _HEAD.fullmatch(line)
        if match is not None and match[1].lower() in _HEADS:
            heads[match[1].lower()] = match[2].strip()
        elif match is None or "|" in line:
            body.append(written)
        else:
            hint = did_you_mean(match[1], _HEADS)
            start, end = (written.start + place for place in match.span(1))
            message, place = f"unknown head line {shorten(match[1])}", f"chart line {written.number}"
            raise MisreadChartError(message, start, end, place=place, hint=hint)
    return heads, body


def _written_bars(body: Iterable[_Line]) -> list[_Bar | str]:
    """The bars of a chart as they are written, with the repeat signs between them."""
    bars: list[_Bar | str] = []
    number = 1
    open_bar: _Bar | None = None
    blank = False
    for line in body:
        for match in _SIGN.finditer(line.text):
            sign = match[0]
            start, end = (line.start + place for place in match.span())
            if "|" not in sign:
                open_bar = open_bar or _Bar([], number, line.number)
                open_bar.signs.append(_Sign(sign, start, end))
                continue
            if open_bar is not None:
                bars.append(open_bar)
                number, open_bar = number + 1, None
            elif blank and sign == "|" and line.text[: match.start()].rstrip() != "":
                hint = "Write % to repeat the bar before, or N.C. for no chord."
                place = _Bar([], number, line.number).place()
                raise MisreadChartError("the bar is empty", start, end, place=place, hint=hint)
            blank = sign == "|"
            bars += [mark for mark in (":|", "|:") if mark in _parts(sign)]
    if open_bar is not None:
        bars.append(open_bar)
    if not any(isinstance(bar, _Bar) for bar in bars):
        raise ChartError("the chart is empty", hint='Write chords between bars: "| Ebmaj7 | Gm7 C7 |".')
    return bars


def _parts(sign: str) -> tuple[str, ...]:
    return (":|", "|:") if sign == ":|:" else (sign,)


def _unfold(bars: Sequence[_Bar | str]) -> list[_Bar]:
    """The bars in the order in which they are played."""
    played: list[_Bar] = []
    begin, is_open = 0, False
    for bar in bars:
        if bar == "|:":
            if is_open:
                raise ChartError("a repeat is opened inside a repeat", hint="Close the first one with :|.")
            begin, is_open = len(played), True
        elif bar == ":|":
            played += played[begin:]
            begin, is_open = len(played), False
        elif isinstance(bar, _Bar):
            played.append(_repeated(bar, played))
        if len(played) > MOST_BARS:
            raise ChartError(f"the chart has more than {MOST_BARS} bars", hint=f"The limit is {MOST_BARS}.")
    if is_open:
        raise ChartError("a repeat is opened and never closed", hint="Close it with :|.")
    return played


def _repeated(bar: _Bar, played: Sequence[_Bar]) -> _Bar:
    if [sign.text for sign in bar.signs] != ["%"]:
        return bar
    if not played:
        raise bar.misread("there is no bar before the % to repeat")
    return _Bar(played[-1].signs, bar.number, bar.line)


def _chords_of(bar: _Bar, metre: Metre, key: Key | None) -> list[tuple[Chord, int]]:
    """The chords of a bar with their lengths in ticks."""
    signs = _joined(bar.signs)
    if any(sign.text == "/" for sign in signs):
        return _held_chords(signs, bar, metre, key)
    if metre.beats % len(signs):
        raise bar.misread(
            f"{len(signs)} chords do not share the {metre.beats} beats of a {metre.name} bar evenly",
            hint=_slash_hint([sign.text for sign in signs], metre),
        )
    share = metre.bar // len(signs)
    return [(_chord(sign, bar, item, key), share) for item, sign in enumerate(signs, 1)]


def _slash_hint(signs: Sequence[str], metre: Metre) -> str:
    if len(signs) > metre.beats:
        return f"At most {metre.beats} chords fit, one a beat."
    shown = [*signs, *["/"] * (metre.beats - len(signs))]
    return f"Write a / for each beat a chord is held on, such as | {' '.join(shown)} |."


def _held_chords(signs: Sequence[_Sign], bar: _Bar, metre: Metre, key: Key | None) -> list[tuple[Chord, int]]:
    if len(signs) != metre.beats:
        raise bar.misread(
            f"{len(signs)} beats are written, a {metre.name} bar has {metre.beats}",
            hint="Where a / is used, each chord and each / is one beat.",
        )
    if signs[0].text == "/":
        raise bar.misread("a / holds the chord before it, and there is none in this bar")
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
            joined[-1] = _Sign(joined[-1].text + text, joined[-1].start, sign.end)
        else:
            joined.append(_Sign(text, sign.start, sign.end))
    return joined


def _chord(sign: _Sign, bar: _Bar, item: int, key: Key | None) -> Chord:
    text = sign.text
    try:
        if text == "%":
            raise ChartError("a % stands alone in its bar")
        if text.endswith(",") or text == "-":
            raise ChartError(
                f"cannot read {shorten(text)}", hint="Chords stand between bar lines: | Eb | Gm |."
            )
        if NUMERAL.fullmatch(plain_signs(text)):
            return read_numeral(text, key)
        return read_chord(text)
    except ChartError as error:
        place = bar.place(item)
        raise MisreadChartError(error.message, sign.start, sign.end, place=place, hint=error.hint) from None


# Chart text, written


def chart_text(progression: Progression) -> str:
    """The chart as text that reads back to the same progression, with head lines where they are needed.

    >>> chart_text(parse_chart("C / / G7 | F"))
    '| C / / G7 | F |'
    """
    inferred = infer_key([(span.chord, span.length) for span in progression.spans])
    heads = [
        ("title", progression.title, ""),
        ("key", str(progression.key), str(inferred)),
        ("metre", progression.metre.name, "4/4"),
    ]
    lines = [f"{head}: {value}\n" for head, value, usual in heads if value != usual]
    bars = " | ".join(_bar_text(bar, progression.metre) for bar in progression.bars)
    return f"{''.join(lines)}| {bars} |"


def _bar_text(bar: Sequence[Span], metre: Metre) -> str:
    even = len({span.length for span in bar}) == 1
    beats = [1 if even else span.length // metre.beat for span in bar]
    return " ".join(f"{span.chord.symbol}{' /' * (n - 1)}" for span, n in zip(bar, beats, strict=True))
