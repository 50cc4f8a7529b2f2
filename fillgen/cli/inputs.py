"""What is given on the command line: charts and phrases as text or files, numbers of the idea book, rule packs."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from fillgen.app import charts
from fillgen.app.options import BookOptions, ChordOptions, IdeaOptions, given
from fillgen.chart.progression import Progression
from fillgen.cli.outputs import note
from fillgen.errors import ChartError, OptionError, OutputError, listed
from fillgen.rules.pack import RulePack

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from fillgen.book.entries import Entry
    from fillgen.phrase.idea import Ideas
    from fillgen.readers.phrases import Hints, Reading

_CHART_LIKE = {".txt", ".chart", ".chords", ".md", ".mid", ".json", ".xml", ".musicxml"}
"""Endings of names that are meant as files, so that a file that isn't there is said."""

_MIDI_ENDINGS = (".mid", ".midi")
_PLAIN = "A chart is a plain text file."
_SCORES = (".musicxml", ".xml", ".mxl", ".abc")


def progression_of(
    chords: ChordOptions, rhythm: str | None = None, pack: RulePack | None = None
) -> Progression:
    """The progression of a chart (text, a file, or standard input) or of a stock sequence; a rhythm may bring its metre."""
    with named_chart(chords.chart):
        return charts.progression_of(read_chart(chords), rhythm, pack)


def explained_progression_of(
    chords: ChordOptions, rhythm: str | None = None, pack: RulePack | None = None
) -> Progression:
    """The same for an answer that has no remarks of its own: how the chart was read is said beside it."""
    found = progression_of(chords, rhythm, pack)
    for remark in found.remarks:
        note(remark)
    return found


@contextmanager
def named_chart(chart: str | None) -> Iterator[None]:
    """Where a chart that comes from a file can't be read inside the block, the file is named before the bar."""
    try:
        yield
    except ChartError as error:
        if chart is not None and _is_file(chart):
            error.place = error.place.removeprefix("chart").strip()
            error.within(chart)
        raise


def read_chart(chords: ChordOptions) -> ChordOptions:
    """The same chords with the text of the chart in place of a file's name or of `-`."""
    return chords if chords.chart is None else replace(chords, chart=chart_text(chords.chart))


def written_chart(
    chart: str | None, sequence: str | None, key: str | None = None, metre: str | None = None
) -> str | None:
    """The text of a chart as it is given, or of a stock sequence written out in a key; None where neither is given."""
    if sequence is None:
        return None if chart is None else chart_text(chart)
    from fillgen.chart.text import chart_text as text_of

    return text_of(charts.progression_of(ChordOptions(chart=chart, sequence=sequence, key=key, metre=metre)))


def with_phrase(chords: ChordOptions, phrase: str | None) -> tuple[ChordOptions, str | None]:
    """Chords and phrase as they were meant: with --sequence, or where it is a score, the only argument is the phrase."""
    if (
        phrase is None
        and chords.chart is not None
        and (chords.sequence is not None or _is_score(chords.chart))
    ):
        return replace(chords, chart=None), chords.chart
    return chords, phrase


def _is_score(source: str) -> bool:
    """Whether an argument names a score, which may have chord symbols of its own."""
    return "|" not in source and "\n" not in source and Path(source).suffix.lower() in _SCORES


def reading_of(
    chords: ChordOptions,
    phrase: str,
    part: str | None = None,
    rhythm: str | None = None,
    pack: RulePack | None = None,
    hints: Hints | None = None,
) -> Reading:
    """A phrase lined up with its chart; only one of them can come from standard input."""
    if chords.chart == phrase == "-":
        raise OptionError(
            "chart and phrase can't both come from standard input",
            hint="Give one of them as text or as a file.",
        )
    with named_chart(chords.chart):
        return charts.reading_of(read_chart(chords), phrase, part, rhythm, pack, hints)


def hints_of(tempo: int | None, first_note_on: float | None) -> Hints:
    """What a player knows of a recording."""
    from fillgen.readers.phrases import Hints

    return Hints(tempo, first_note_on)


def pack_of(path: Path | None) -> RulePack:
    """The built-in rules, with a pack of the player's own laid over them."""
    if path is None:
        return RulePack()
    from fillgen.hands.patterns import read_pack

    return read_pack(path)


def chart_text(chart: str) -> str:
    """The text of a chart that is given as text, as a file name, or as - for standard input."""
    if chart == "-":
        from fillgen.incoming import decoded, from_stdin

        return decoded(from_stdin(_limit()), "standard input", _PLAIN)
    if "|" in chart or "\n" in chart:
        return chart
    if _is_file(chart):
        return file_text(Path(chart))
    if Path(chart).suffix.lower() in _CHART_LIKE:
        hint = "Give chart text or the name of a chart file."
        raise OutputError("no such file", place=chart[:80], hint=hint)
    return chart


def _is_file(chart: str) -> bool:
    """Whether a chart is given as the name of a file that is there."""
    try:
        return "|" not in chart and "\n" not in chart and Path(chart).is_file()
    except (OSError, ValueError):
        return False


def names_a_phrase(source: str | None) -> bool:
    """Whether the only argument is no chart: numbers of the idea book, or a file of a phrase."""
    from fillgen.app.memory import is_numbers

    return source is not None and (is_numbers(source) or is_midi_file(source))


def is_midi_file(source: str) -> bool:
    """Whether an argument names a MIDI file, by its ending or by what it begins with."""
    if "|" in source or "\n" in source:
        return False
    path = Path(source)
    try:
        if not path.is_file():
            return path.suffix.lower() in _MIDI_ENDINGS
        with path.open("rb") as file:
            return file.read(4) == b"MThd" or path.suffix.lower() in _MIDI_ENDINGS
    except (OSError, ValueError):
        return False


def file_text(path: Path, most: int | None = None) -> str:
    """The text of a file, of so many bytes at most; OutputError where it can't be read or isn't text."""
    from fillgen.incoming import decoded, read_bytes

    return decoded(read_bytes(path, _limit() if most is None else most), str(path), _PLAIN)


def _limit() -> int:
    from fillgen.chart.text import MOST_TEXT

    return 4 * MOST_TEXT


def own_phrase(
    chords: ChordOptions,
    phrase: str | None,
    part: str | None,
    book: BookOptions,
    *,
    last: bool = False,
    rhythm: str | None = None,
    pack: RulePack | None = None,
    hints: Hints | None = None,
) -> Reading:
    """A phrase of the player's own: over its chart, in a score with chords, or an idea of the book by number or last rank."""
    chords, phrase = with_phrase(chords, phrase)
    if phrase is None and chords.chart is not None and (chords.chart == "-" or is_midi_file(chords.chart)):
        chords, phrase = replace(chords, chart=None), chords.chart
    if phrase is None:
        refuse_part(part, hints)
        entries = book_entries(chords, book, last=last)
        if entries is None:
            raise OptionError(
                "give a phrase after its chart",
                hint='Such as "| Eb | Bb7 |" "G5h F5h | D5h F5h", a score with chord symbols, or the number of an idea in the '
                "book.",
            )
        from fillgen.app.memory import as_reading

        return as_reading(entries)
    refuse_last(last)
    return reading_of(chords, phrase, part, rhythm, pack, hints)


def book_entries(chords: ChordOptions, book: BookOptions, *, last: bool = False) -> list[Entry] | None:
    """The ideas of the book that are named in place of a chart; None where a chart is given."""
    from fillgen.app.memory import is_numbers, taken_out

    if chords.chart is None or not is_numbers(chords.chart):
        if last:
            raise OptionError("--last needs ranks", hint="Such as 1,3 --last.")
        return None
    if chords.key is not None or chords.metre is not None or chords.sequence is not None or chords.sevenths:
        raise OptionError(
            "an idea of the book brings its own chart",
            hint="Leave out --key, --metre, --sequence and --sevenths.",
        )
    return taken_out([chords.chart], book.book, last=last)


def ideas_of_book(
    chords: ChordOptions,
    book: BookOptions,
    options: IdeaOptions,
    *,
    last: bool = False,
    besides: Sequence[str] = (),
) -> Ideas | None:
    """Ideas of the book as an answer, at the tempo asked for; None where a chart is given.

    OptionError where they stand over several charts, and for other options of ideas than the tempo and those `besides`.
    """
    entries = book_entries(chords, book, last=last)
    if entries is None:
        return None
    from fillgen.app.memory import as_answer

    refuse_options([name for name in given(options) if name not in ("tempo", *besides)], "ideas of the book")
    return as_answer(entries, options.tempo)


def refuse_options(names: Sequence[str], what: str) -> None:
    """OptionError where options, by their names, don't go with what there is."""
    if names:
        flags = [f"--{name.replace('_', '-')}" for name in names]
        it = "it" if len(names) == 1 else "them"
        raise OptionError(f"{listed(flags, 'and')} can't be used with {what}", hint=f"Leave {it} out.")


def refuse_part(part: str | None, hints: Hints | None = None) -> None:
    """OptionError where a part is named, or the beat of the first note, and no phrase is given."""
    if hints is not None and hints.first_note_on is not None:
        raise OptionError(
            "--first-note-on needs a phrase", hint="It says where a MIDI file's first note falls."
        )
    if part is not None:
        raise OptionError("--part needs a phrase", hint="It names a part of the phrase's file.")


def refuse_last(last: bool) -> None:
    """OptionError where --last is given with a phrase."""
    if last:
        raise OptionError("--last needs the rank of an idea", hint="Such as 3 --last.")
