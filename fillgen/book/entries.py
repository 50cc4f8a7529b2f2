"""The values of an idea book: what is remembered about an idea, and what a player has added to it."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

from fillgen.chart.progression import Progression
from fillgen.chart.text import chart_text, parse_chart
from fillgen.errors import OptionError, shorten
from fillgen.hands.fingering import best
from fillgen.hands.reach import reach
from fillgen.phrase.idea import Idea, Ideas
from fillgen.phrase.note import Note, Phrase
from fillgen.rules import judge

MOST_STARS = 5
LONGEST_WORD = 100
"""The longest tag or name of a set, in characters."""
LONGEST_NAME = 200
LONGEST_NOTE = 100_000


@dataclass(frozen=True, slots=True)
class Chart:
    """A chart as the book holds it: its text, its key and metre by name, its title, the number of its first bar."""

    text: str
    key: str
    metre: str
    title: str = ""
    first: int = 1

    @classmethod
    def of(cls, progression: Progression) -> Chart:
        """The chart of a progression.

        >>> Chart.of(parse_chart("| C | G7 |"))
        Chart(text='| C | G7 |', key='C major', metre='4/4', title='', first=1)
        """
        return _chart(progression)

    def progression(self) -> Progression:
        """The progression of the chart; ChartError or OptionError if it cannot be read."""
        return _progression(self)


@lru_cache(maxsize=256)
def _chart(progression: Progression) -> Chart:
    bars = chart_text(progression).splitlines()[-1]
    named = str(progression.key), progression.metre.name
    return Chart(bars, *named, progression.title, progression.first)


@lru_cache(maxsize=4096)
def _progression(chart: Chart) -> Progression:
    found = parse_chart(chart.text, key=chart.key, metre=chart.metre)
    return replace(found, title=chart.title, first=chart.first)


@dataclass(frozen=True, slots=True)
class Origin:
    """Where an idea came from: the command and its options, seed, digest of the rule pack and version of fillgen.

    `level` is 0 for a phrase that was brought in from elsewhere, `tempo` is in quarter notes a minute, `hand` the size of
    hand it was fingered for.
    """

    command: str
    options: str
    seed: int
    rules: str
    version: str
    level: int
    rhythm: str
    tempo: int
    swing: bool
    hand: str


@dataclass(frozen=True, slots=True)
class Showing:
    """How often an idea was shown from one origin, over one chart, and when first and last: UTC, ISO 8601."""

    chart: Chart
    origin: Origin
    times: int
    first: str
    last: str


@dataclass(frozen=True, slots=True)
class Entry:
    """An idea in the book. `id` is its number there, 0 before it has one; the first showing is that of its notes.

    `notes` are in ticks, in the key of its first chart; `stars` are 0 to 5; `sets` are names with places in them.
    """

    notes: Phrase
    text: str
    score: float
    terms: Mapping[str, float]
    shape: str
    showings: tuple[Showing, ...]
    id: int = 0
    name: str = ""
    stars: int = 0
    note: str = ""
    tags: tuple[str, ...] = ()
    sets: tuple[tuple[str, int], ...] = field(default=())

    @property
    def chart(self) -> Chart:
        return self.showings[0].chart

    @property
    def origin(self) -> Origin:
        return self.showings[0].origin

    @property
    def first(self) -> str:
        return min(showing.first for showing in self.showings)

    @property
    def last(self) -> str:
        return max(showing.last for showing in self.showings)

    @property
    def times(self) -> int:
        """How often it was shown in all."""
        return sum(showing.times for showing in self.showings)


def idea_of(entry: Entry, number: int, progression: Progression, notes: Phrase) -> Idea:
    """An entry as an idea of that rank, over its progression or one in another key, with roles and fingers."""
    fingers = best([note.midi for note in notes], reach(entry.origin.hand))
    return judge.as_idea(
        progression, notes, fingers, rank=number, score=entry.score, shape=entry.shape, terms=entry.terms
    )


def as_ideas(entries: Mapping[int, tuple[Entry, Phrase]], progression: Progression) -> Ideas:
    """Entries over one progression as ideas, whose ranks are their numbers in the book."""
    first = next(iter(entries.values()))[0]
    origin = first.origin
    ideas = tuple(idea_of(entry, number, progression, notes) for number, (entry, notes) in entries.items())
    return Ideas(
        progression,
        origin.rhythm,
        origin.level,
        origin.tempo,
        origin.swing,
        origin.seed,
        len(ideas),
        ideas,
        hand=origin.hand,
        order="in the order of the book",
    )


def plain_word(text: Any, what: str, longest: int = LONGEST_WORD) -> str:
    """A tag or a name as it is kept: one line, no control characters, composed (NFC); OptionError for any other.

    >>> plain_word("  Café ", "tag")
    'Café'
    """
    word = unicodedata.normalize("NFC", _text(text, what, longest).strip())
    if not word:
        raise OptionError(f"the {what} is empty", hint="Give a word or a few.")
    if not word.isprintable() and any(unicodedata.category(each) in ("Cc", "Zl", "Zp") for each in word):
        raise OptionError(f"the {what} {shorten(word)} is more than a line", hint="Write it on one line.")
    return word


def plain_note(text: Any) -> str:
    """A note as it is kept, of several lines if need be; OptionError if it is no text or too long."""
    note = _text(text, "note", LONGEST_NOTE).replace("\r\n", "\n")
    if any(unicodedata.category(letter) == "Cc" and letter not in "\n\t" for letter in note):
        raise OptionError("the note contains control characters", hint="Write it as plain text.")
    return unicodedata.normalize("NFC", note).strip()


def _text(text: Any, what: str, longest: int) -> str:
    if not isinstance(text, str) or any("\ud800" <= letter <= "\udfff" for letter in text):
        raise OptionError(f"the {what} is not text")
    if "\0" in text:
        raise OptionError(f"the {what} contains a NUL character", hint="Write it as plain text.")
    if len(text) > longest:
        raise OptionError(f"the {what} has {len(text):,} characters; the limit is {longest:,}")
    return text


def check_stars(stars: Any) -> int:
    """A number of stars; OptionError unless it is from 0 to 5."""
    if not isinstance(stars, int) or isinstance(stars, bool) or not 0 <= stars <= MOST_STARS:
        raise OptionError(f"{stars!r} is not a number of stars", hint=f"Give 0 to {MOST_STARS}.")
    return stars


def notes_of(rows: Any) -> Phrase:
    """Notes from rows of onset, length and MIDI pitch; ValueError if they aren't valid."""
    notes = tuple(Note(onset, length, midi) for onset, length, midi in (map(_whole, row) for row in rows))
    if any(not 0 <= note.midi <= 127 for note in notes):
        raise ValueError("a pitch is outside the MIDI numbers 0 to 127")
    return notes


def _whole(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool):
        raise ValueError(f"{shorten(repr(value))} is not a whole number")
    return value
