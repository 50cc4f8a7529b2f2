"""What an idea in a book must be, wherever it comes from: this book's file, another book, JSON, a phrase.

What a player wrote (names, notes, tags, sets) is refused if it holds control characters; words that no player chose
(titles, rhythms, what made an idea) are read without them.
"""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import lru_cache
from typing import Any

from fillgen.book.entries import (
    LONGEST_NAME,
    Chart,
    Entry,
    Origin,
    Showing,
    check_stars,
    plain_note,
    plain_word,
)
from fillgen.chart.text import MOST_TEXT
from fillgen.engine.request import check_tempo
from fillgen.errors import printable, shorten
from fillgen.hands.reach import reach
from fillgen.phrase.text import check_phrase

_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", re.ASCII)
_MOST_TIMES = 10**9
_HIGHEST_LEVEL = 99
_HIGHEST_SEED = 10**4299
_LONGEST_LINE = 300
"""The most letters of a word or title that comes from elsewhere."""
_LONGEST_OPTIONS = 1_000_000


def checked(entry: Entry) -> Entry:
    """An entry in which every value can be trusted: its type, its range, its words, notes that fit their chart.

    Raises FillgenError or ValueError, saying what is wrong.
    """
    _check_marks(entry)
    _number(entry.score, "score")
    for name, value in entry.terms.items():
        plain_word(name, "term")
        _number(value, name)
    if not entry.showings:
        raise ValueError("it was never shown")
    showings = tuple(map(_checked_showing, entry.showings))
    check_phrase(showings[0].chart.progression(), entry.notes)
    text, shape = printable(_text(entry.text, "text")), line(entry.shape, "shape")
    return replace(entry, text=text, shape=shape, showings=showings)


def _check_marks(entry: Entry) -> None:
    """Refuse what no player can have put on an idea."""
    if entry.name != "":
        plain_word(entry.name, "name", LONGEST_NAME)
    plain_note(entry.note)
    check_stars(entry.stars)
    for word in entry.tags:
        plain_word(word, "tag")
    for name, place in entry.sets:
        plain_word(name, "name of a set")
        _whole(place, "place in a set")


def _checked_showing(showing: Showing) -> Showing:
    _whole(showing.times, "number of times")
    for moment in (showing.first, showing.last):
        if not isinstance(moment, str) or not _MOMENT.fullmatch(moment):
            raise ValueError(f"{shorten(str(moment))} is not a time such as 2026-11-25T09:30:00Z")
    return replace(showing, chart=checked_chart(showing.chart), origin=checked_origin(showing.origin))


_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")
"""Control characters but for the tab and the line feed."""


@lru_cache(maxsize=256)
def checked_chart(chart: Chart) -> Chart:
    """A chart that can be read; ValueError or a FillgenError for any other."""
    for name, most in (("text", MOST_TEXT), ("key", _LONGEST_LINE), ("metre", _LONGEST_LINE)):
        text = _text(getattr(chart, name), name)
        if len(text) > most or _CONTROL.search(text):
            raise ValueError(f"the {name} of its chart is too long or contains control characters")
    _whole(chart.first, "number of the first bar", 1)
    plain = replace(chart, title=line(chart.title, "title"))
    plain.progression()
    return plain


@lru_cache(maxsize=256)
def checked_origin(origin: Origin) -> Origin:
    """What made an idea, in words that can be printed; ValueError or a FillgenError if it can't be."""
    check_tempo(_whole(origin.tempo, "tempo"))
    _whole(origin.seed, "seed", _HIGHEST_SEED)
    _whole(origin.level, "level", _HIGHEST_LEVEL)
    if not isinstance(origin.swing, bool):
        raise ValueError(f"{shorten(str(origin.swing))} does not say whether it swings")
    reach(_text(origin.hand, "hand"))
    options = _checked_options(origin.options)
    command, rules = line(origin.command, "command"), line(origin.rules, "rules")
    version, rhythm = line(origin.version, "version"), line(origin.rhythm, "rhythm")
    return replace(origin, command=command, options=options, rules=rules, version=version, rhythm=rhythm)


def _checked_options(options: Any) -> str:
    """Options as JSON that can be printed; ValueError if they are no JSON, or more than a command can have."""
    if len(_text(options, "options")) > _LONGEST_OPTIONS:
        raise ValueError("its options are too long")
    try:
        found = json.loads(options)
        return options if options.isprintable() else options_text(found)
    except RecursionError:
        raise ValueError("its options are nested too deeply") from None


def options_text(options: Any) -> str:
    r"""Options as JSON of letters that can be printed.

    >>> options_text({"title": "Lamp\x9b", "count": 2})
    '{"count": 2, "title": "Lamp\\u009b"}'
    """
    return escaped(json.dumps(options, sort_keys=True, ensure_ascii=False, default=str))


def escaped(document: str) -> str:
    """JSON with all control characters escaped; JSON itself lets the higher ones through."""
    return _UNSEEN.sub(lambda found: f"\\u{ord(found[0]):04x}", document)


_UNSEEN = re.compile("[\x7f-\x9f\xad\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff]")
"""Higher control characters, and those that turn the direction of writing or take no room."""


def line(text: Any, what: str) -> str:
    """A word or title from elsewhere, as one line that can be printed; ValueError if it is not text."""
    return printable(_text(text, what))[:_LONGEST_LINE]


def _text(value: Any, what: str) -> str:
    if not isinstance(value, str) or _UNFIT.search(value):
        raise ValueError(f"{shorten(str(value))} is not text for the {what}")
    return value


_UNFIT = re.compile("[\0\ud800-\udfff]")
"""What is no letter of a text: NUL, and half a letter of UTF-16."""


def _number(value: Any, what: str) -> float:
    if not isinstance(value, int | float) or isinstance(value, bool) or not abs(value) < 10**9:
        raise ValueError(f"{_shown(value)} is not a number for the {what}")
    return float(value)


def _whole(value: Any, what: str, most: int = _MOST_TIMES) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= most:
        raise ValueError(f"{_shown(value)} is not a whole number from 0 to {_shown(most)} for the {what}")
    return value


def _shown(value: Any) -> str:
    """A value as a message has it; a number too long to write out by its size."""
    if isinstance(value, int) and abs(value) >= 10**12:
        return f"a number of {value.bit_length()} bits"
    return f"{value:,}" if isinstance(value, int) else shorten(str(value))
