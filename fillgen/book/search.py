"""Search for ideas in the book."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from fillgen.book import fingerprint
from fillgen.book.door import Book
from fillgen.book.entries import check_stars, plain_word
from fillgen.book.store import tag_spellings, tags, unknown_word
from fillgen.chart.progression import Progression
from fillgen.errors import OptionError, did_you_mean, shorten
from fillgen.rules.pack import RulePack
from fillgen.tables import plain_name

_THROUGH_ORIGIN = (
    "id IN (SELECT idea FROM showing WHERE origin IN "
    "(SELECT origin.id FROM origin JOIN chart ON chart.id = origin.chart WHERE {}))"
)


@dataclass(frozen=True)
class Wanted:
    """Search conditions; None matches anything.

    `progression` is met in any key. `title` and `words` are parts of a chart's title, and of the name, the note or the
    title; `key` is a key by name, such as `Eb major`. `stars` are the fewest. `since` and `until` are days, the last
    included, between which an idea was last shown (UTC).
    """

    progression: Progression | None = None
    title: str | None = None
    key: str | None = None
    rhythm: str | None = None
    level: int | None = None
    shape: str | None = None
    tag: str | None = None
    words: str | None = None
    since: date | None = None
    until: date | None = None
    stars: int | None = None


def search(book: Book, wanted: Wanted, count: int | None = None) -> tuple[list[int], int]:
    """The numbers of the ideas that are wanted, those last shown first, and how many there are in all.

    Case doesn't matter in a tag, a rhythm or a shape. OptionError for a tag that isn't in the book, and for a rhythm or
    a shape that neither the book nor the built-in rules have.
    """
    wanted = _settled(book, wanted)
    conditions = list(_conditions(book, wanted))
    where = " AND ".join(condition for condition, _ in conditions) or "1"
    values = [value for _, some in conditions for value in some]
    question = f"SELECT id FROM idea WHERE {where} ORDER BY last DESC, id"  # noqa: S608 - made of the texts below
    found = [number for (number,) in book.rows(question, values)]
    return found[:count], len(found)


_RHYTHMS = "SELECT DISTINCT rhythm FROM origin ORDER BY rhythm"
_SHAPES = "SELECT DISTINCT shape FROM idea WHERE shape <> '' ORDER BY shape"


def _settled(book: Book, wanted: Wanted) -> Wanted:
    """What is wanted, with rhythm and shape spelled as the book has them."""
    if wanted.rhythm is not None:
        known = [name for (name,) in book.rows(_RHYTHMS, (), (str,))]
        every = [*RulePack().rhythm_names, *known]
        wanted = replace(wanted, rhythm=_spelled(wanted.rhythm, every, "rhythm"))
    if wanted.shape is not None:
        known = [name for (name,) in book.rows(_SHAPES, (), (str,))]
        wanted = replace(wanted, shape=_spelled(wanted.shape, [*RulePack().shapes, *known], "shape"))
    return wanted


def _spelled(word: str, known: Sequence[str], what: str) -> str:
    """The known word that is meant; OptionError with the nearest if there is none."""
    if word in known:
        return word
    for name in known:
        if plain_name(name) == plain_name(word):
            return name
    raise OptionError(f"unknown {what} {shorten(word)}", hint=did_you_mean(word, dict.fromkeys(known)))


def _conditions(book: Book, wanted: Wanted) -> Iterator[tuple[str, Sequence[object]]]:
    """The conditions in SQL, with the values for its question marks."""
    if wanted.progression is not None:
        question = "progression = (SELECT id FROM progression WHERE digest = ?)"
        yield question, [fingerprint.degrees(wanted.progression)]
    origin = list(_origin_conditions(wanted))
    if origin:
        yield _THROUGH_ORIGIN.format(" AND ".join(each for each, _ in origin)), [value for _, value in origin]
    if wanted.shape is not None:
        yield "shape = ?", [wanted.shape]
    if wanted.tag is not None:
        question = "id IN (SELECT idea FROM tag WHERE word IN (SELECT value FROM json_each(?)))"
        yield question, [json.dumps(_tag_words(book, wanted.tag))]
    if wanted.words is not None:
        yield _WORDS, [_part(wanted.words)]
    if wanted.stars is not None:
        yield "stars >= ?", [check_stars(wanted.stars)]
    if wanted.since is not None:
        yield "last >= ?", [wanted.since.isoformat()]
    if wanted.until is not None and wanted.until < date.max:
        yield "last < ?", [(wanted.until + timedelta(days=1)).isoformat()]


def _origin_conditions(wanted: Wanted) -> Iterator[tuple[str, object]]:
    """The conditions on the chart and origin of an idea, with the value for the question mark."""
    if wanted.key is not None:
        yield "chart.key = ?", wanted.key
    if wanted.rhythm is not None:
        yield "origin.rhythm = ?", wanted.rhythm
    if wanted.level is not None:
        yield "origin.level = ?", wanted.level
    if wanted.title is not None:
        yield "chart.title LIKE ? ESCAPE '\\'", _part(wanted.title)


_WORDS = (
    r"(name || char(10) || note || char(10) || (SELECT title FROM origin JOIN chart ON chart.id = origin.chart "
    r"WHERE origin.id = idea.origin)) LIKE ? ESCAPE '\'"
)


def _part(text: str) -> str:
    """A pattern that finds a text anywhere, with its wildcards escaped."""
    if "\0" in text or any("\ud800" <= letter <= "\udfff" for letter in text):
        raise OptionError(f"{shorten(text)} can't be searched for")
    for sign in ("\\", "%", "_"):
        text = text.replace(sign, f"\\{sign}")
    return f"%{text}%"


def _tag_words(book: Book, tag: str) -> list[str]:
    """How the book spells a tag; OptionError if it has none such."""
    found = tag_spellings(book, plain_word(tag, "tag"))
    if not found:
        raise unknown_word(tag, list(tags(book)), "tag")
    return found


def read_day(text: str, option: str) -> date:
    """The day that a text names; OptionError if it names none.

    >>> read_day("2026-11-01", "--since")
    datetime.date(2026, 11, 1)
    """
    try:
        return date.fromisoformat(text)
    except ValueError:
        hint = "Write a day like 2026-11-01."
        raise OptionError(f"unknown day {shorten(text)} for {option}", hint=hint) from None
