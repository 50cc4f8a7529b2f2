"""What is given on the command line: charts, pitches, rule packs."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import fillgen
from fillgen.errors import OptionError, OutputError, shorten

if TYPE_CHECKING:
    from datetime import datetime

    from fillgen.readers.phrases import Reading
    from fillgen.rules.pack import RulePack


def progression_of(
    chart: str | None, sequence: str | None, key: str | None, metre: str | None, sevenths: bool
) -> fillgen.Progression:
    """The progression of a chart or of a stock sequence, with sevenths if they are asked for."""
    if (chart is None) == (sequence is None):
        raise OptionError(
            "give either a chart or --sequence", hint='Such as: fillgen ideas "| Ebmaj7 | Gm7 C7 |".'
        )
    if sequence is None:
        assert chart is not None
        found = fillgen.parse_chart(chart_text(chart), key=key, metre=metre)
    else:
        from fillgen.chart.sequences import sequence as stock
        from fillgen.chart.sequences import spelled
        from fillgen.theory.keys import read_key, read_metre

        chosen = stock(sequence)
        wanted = read_key(key or ("C" if chosen.mode == "major" else "A minor"))
        found = spelled(chosen, wanted, read_metre(metre) if metre is not None else None)
    if sevenths:
        from fillgen.chart.enrich import with_sevenths

        found = with_sevenths(found)
    return found


def pitch_of(text: str, option: str) -> int:
    """The MIDI number of a pitch given with an option; OptionError where it is none."""
    try:
        return fillgen.read_pitch(text.strip())
    except ValueError:
        raise OptionError(
            f"unknown pitch {shorten(text)} for {option}", hint="Write it like C3 or Eb4."
        ) from None


def reading_of(chart: str, phrase: str, key: str | None, metre: str | None, part: str | None) -> Reading:
    """A phrase lined up with its chart; only one of them can come from standard input."""
    from fillgen.readers.phrases import find_phrase, line_up

    if chart == phrase == "-":
        raise OptionError(
            "chart and phrase cannot both come from standard input", hint="Give one as text or file."
        )
    text = chart_text(chart)
    return line_up(find_phrase(phrase, part=part, metre=metre), text, key=key, metre=metre)


def words_of(text: str | None) -> tuple[str, ...] | None:
    """Words that commas part; None where nothing is given."""
    return tuple(word.strip() for word in text.split(",")) if text is not None else None


_LONGEST_NUMBER = 4


def whole_number(text: str) -> int | None:
    """A whole number of a few digits; None where a text is none."""
    is_one = text.isascii() and text.isdecimal() and len(text) <= _LONGEST_NUMBER
    return int(text) if is_one else None


def level_of(text: str | None, pack: RulePack) -> int:
    """The number of a level, the usual one where none is given."""
    if text is None:
        return int(pack.default("level"))
    if whole_number(text) is None:
        known = ", ".join(map(str, pack.level_numbers))
        raise OptionError(f"unknown level {shorten(text)}", hint=f"The levels are {known}, and auto.")
    return pack.level(int(text)).number


def span_of(span: int | None, size: str | None) -> int:
    """The left hand's span in semitones: as asked for, within what a size of hand holds, or else as suits the hand."""
    from fillgen.hands.reach import reach

    wanted = reach(size or "medium").span if span is None else span
    if size is not None and wanted > reach(size).held:
        hint = f"It holds {reach(size).held} at most."
        raise OptionError(f"a {size} hand does not hold {wanted} semitones", hint=hint)
    return wanted


def optional_pitch(text: str | None, option: str) -> int | None:
    """The MIDI number of a pitch given with an option; None where none is given."""
    return None if text is None else pitch_of(text, option)


def pack_of(path: Path | None) -> RulePack:
    """The built-in rules, with a pack of the player's own laid over them."""
    from fillgen.hands.patterns import read_pack
    from fillgen.rules.pack import RulePack

    return read_pack(path) if path is not None else RulePack()


def chart_text(chart: str) -> str:
    """The text of a chart that is given as text, as a file name, or as - for standard input."""
    if chart == "-":
        return _decoded(sys.stdin.buffer.read(_limit() + 1), "standard input")
    if "|" in chart or "\n" in chart:
        return chart
    try:
        is_file = Path(chart).is_file()
    except (OSError, ValueError):
        is_file = False
    if is_file:
        return file_text(Path(chart))
    if Path(chart).suffix.lower() in {
        ".txt",
        ".chart",
        ".chords",
        ".md",
        ".mid",
        ".json",
        ".xml",
        ".musicxml",
    }:
        raise OutputError(
            "no such file", place=chart[:80], hint="Give chart text or the name of a chart file."
        )
    return chart


def file_text(path: Path, most: int | None = None) -> str:
    """The text of a file, of so many bytes at most; OutputError where it cannot be read or is no text."""
    try:
        with path.open("rb") as file:
            return _decoded(file.read((_limit() if most is None else most) + 1), str(path))
    except OSError as error:
        raise OutputError(f"cannot be read: {error.strerror}", place=str(path)) from error


def _decoded(content: bytes, place: str) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise OutputError(
            f"not text (byte {error.start} is not UTF-8)", place=place, hint="A chart is a plain text file."
        ) from None


def now() -> datetime:
    """The time it is, in UTC: the clock of all commands."""
    from datetime import UTC, datetime

    return datetime.now(UTC)


def _limit() -> int:
    from fillgen.chart.text import MOST_TEXT

    return 4 * MOST_TEXT
