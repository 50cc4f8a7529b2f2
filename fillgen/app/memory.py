"""What is remembered in the idea book, what is fresh, and ideas taken out of it by their numbers: once for every way in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fillgen.app.options import BookOptions
from fillgen.errors import FillgenError, OptionError, shorten
from fillgen.version import __version__

if TYPE_CHECKING:
    from fillgen.book.entries import Entry
    from fillgen.engine.request import Request
    from fillgen.phrase.idea import Ideas
    from fillgen.readers.phrases import Reading
    from fillgen.rules.pack import RulePack

_MOST_NUMBERS = 100_000
_DIGITS = 18
"""Numbers of ideas have no more digits, so that they fit the file."""


def now() -> datetime:
    """The time, in UTC: the one clock of the program."""
    return datetime.now(UTC)


def keeps(options: BookOptions, *, fresh: bool = False, taste: bool = False) -> bool:
    """Whether what is shown will be remembered.

    Raises OptionError where the options contradict one another, BookError for a book that is named and can't be used;
    the usual book is looked at only when ideas were shown.
    """
    from fillgen.book.place import OFF, is_off  # noqa: PLC0415 - a command that shows no ideas needs no book

    off = "--no-book" if options.no_book else OFF if is_off() else ""
    if options.book is not None and off:
        raise OptionError(f"--book can't be used with {off}")
    reads = {"--fresh": fresh and "What was shown before is", "--taste": taste and "Your stars are"}
    for flag, what in reads.items():
        if off and what:
            raise OptionError(f"{flag} can't be used with {off}", hint=f"{what} in the idea book.")
    if options.book is not None:
        from fillgen.book.door import refuse_unusable  # noqa: PLC0415

        refuse_unusable(options.book)
    return not off


def remember(
    found: Ideas,
    book: Path | None,
    *,
    command: str,
    options: Mapping[str, Any],
    pack: RulePack,
    must: bool = False,
) -> tuple[list[int], str]:
    """Remember ideas that were shown: their numbers in the book, or none and a sentence that says why not.

    `book` is None for the usual one; `options` are those that the command was given. A book that can't be written
    raises BookError only where it `must` be written or is named, and isn't just busy.
    """
    from fillgen.book.door import SHORT_WAIT, Book, BusyError  # noqa: PLC0415
    from fillgen.book.place import book_path  # noqa: PLC0415
    from fillgen.book.store import remember as enter  # noqa: PLC0415

    given = {name: value for name, value in options.items() if value is not None and value is not False}
    try:
        with Book(book_path(book), wait=SHORT_WAIT) as opened:
            numbers = enter(
                opened, found, now(), command=command, options=given, rules=pack.digest, version=__version__
            )
    except FillgenError as error:
        if must or (book is not None and not isinstance(error, BusyError)):
            raise
        return [], not_remembered(error)
    return numbers, ""


def not_remembered(error: FillgenError) -> str:
    """What to say where ideas could not be remembered."""
    return f"Ideas not saved in the book: {' '.join(str(error).split())}"


def fresh_ideas(request: Request, book: Path | None, *, wait: float | None = None) -> Ideas:
    """Ideas for a request that aren't in the book."""
    from fillgen.book.door import Book  # noqa: PLC0415
    from fillgen.book.fresh import fresh, shown  # noqa: PLC0415
    from fillgen.book.place import book_path  # noqa: PLC0415

    path = book_path(book)
    with Book(path) if wait is None else Book(path, wait=wait) as opened:
        return fresh(request, shown(opened, request.progression))


# Ideas of the book


def is_numbers(text: str | None) -> bool:
    """Whether an argument names ideas of the book, such as `12`, `3,5` or `20-24`, rather than a chart."""
    return text is not None and text.strip() != "" and set(text) <= set("0123456789,- ")


def numbers_of(texts: Sequence[str]) -> list[int]:
    """Numbers of ideas, given singly, with commas or as a first and a last one; OptionError for anything else.

    >>> numbers_of(["3,5", "20-22"])
    [3, 5, 20, 21, 22]
    """
    found: list[int] = []
    for word in [word.strip() for text in texts for word in text.split(",")]:
        first, dash, last = word.partition("-")
        ends = [first, last if dash else first]
        if not all(end.isascii() and end.isdecimal() and len(end) <= _DIGITS for end in ends):
            hint = "Numbers of ideas are given like 12, 3,5 or 20-24."
            raise OptionError(f"{shorten(word)} is not the number of an idea", hint=hint)
        low, high = map(int, ends)
        if high < low or high - low >= _MOST_NUMBERS:
            raise OptionError(f"{shorten(word)} is not a range of ideas", hint="Put the lower number first.")
        found += range(low, high + 1)
    return list(dict.fromkeys(found))


def taken_out(texts: Sequence[str], book: Path | None, *, last: bool = False) -> list[Entry]:
    """Ideas of the book by their numbers, or by their ranks in what was shown `last`."""
    from fillgen.book.door import Book  # noqa: PLC0415
    from fillgen.book.place import book_path  # noqa: PLC0415
    from fillgen.book.store import entries, of_last  # noqa: PLC0415

    numbers = numbers_of(texts)
    with Book(book_path(book), writes=False) as opened:
        return entries(opened, of_last(opened, numbers) if last else numbers)


def as_answer(entries: Sequence[Entry], tempo: int | None = None) -> Ideas:
    """Ideas of the book as one answer, ranked by their numbers, at a tempo of quarter notes a minute or their own.

    OptionError where they stand over several charts, and for a tempo that isn't offered.
    """
    from fillgen.book.listing import one_ground  # noqa: PLC0415
    from fillgen.engine.request import check_tempo  # noqa: PLC0415

    found = one_ground(entries, None)
    if tempo is None:
        return found
    check_tempo(tempo)
    return replace(found, tempo=tempo)


def as_reading(entries: Sequence[Entry]) -> Reading:
    """One idea of the book as a phrase of the player's own; OptionError for several."""
    from fillgen.readers.phrases import Reading  # noqa: PLC0415

    if len(entries) != 1:
        raise OptionError(f"{len(entries)} ideas are named", hint="Name the one to vary.")
    (entry,) = entries
    origin = entry.origin
    progression = entry.chart.progression()
    return Reading(
        progression,
        entry.notes,
        origin.tempo,
        entry.name,
        (),
        whole=True,
        swings=origin.swing,
        rhythm=origin.rhythm,
    )
