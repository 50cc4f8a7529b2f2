"""Ideas that come from another book or go to one: JSON documents, phrases from files, whole books joined.

The JSON of a book is an object with `fillgen-book`, the version of the form, and `ideas`. An idea has `chart` (`text`,
`key`, `metre`, `title`, `first`), `notes` as rows of onset, length (ticks, 480 to the quarter) and MIDI pitch, `showings`
with what made it and when, and what the player added: `name`, `stars`, `note`, `tags`, `sets`.
"""

from __future__ import annotations

import json
import re
import shutil
import tempfile
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict, replace
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar

from fillgen.book.door import MAGIC, Book, BookError
from fillgen.book.entries import (
    LONGEST_NAME,
    Chart,
    Entry,
    Origin,
    Showing,
    check_stars,
    notes_of,
    plain_note,
    plain_word,
)
from fillgen.book.store import add, every_entry, stamp
from fillgen.book.telling import in_key
from fillgen.engine.request import check_tempo
from fillgen.errors import FillgenError, OutputError, printable, shorten
from fillgen.hands.reach import reach
from fillgen.phrase.idea import Ideas
from fillgen.phrase.text import check_phrase, phrase_text
from fillgen.rules.pack import RulePack
from fillgen.theory.keys import read_metre
from fillgen.theory.metre import TICKS
from fillgen.theory.pitch import Key
from fillgen.version import __version__

FORM = "fillgen-book"
_VERSION = 1
MOST_BYTES = 200_000_000
"""The largest JSON file that is read."""
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")
_MOST_TIMES = 10**9
_HIGHEST_LEVEL = 99
_LONGEST_LINE = 300
"""The most letters of a word or title that comes from elsewhere."""
_HIGHEST_SEED = 10**100
T = TypeVar("T")


# JSON


def to_json(entries: Sequence[Entry]) -> str:
    """Entries as a JSON document that `from_json` reads back."""
    told = {FORM: _VERSION, "ideas": [_document(entry) for entry in entries]}
    return json.dumps(told, ensure_ascii=False, indent=1) + "\n"


def _document(entry: Entry) -> dict[str, Any]:
    return {
        "id": entry.id,
        "name": entry.name,
        "stars": entry.stars,
        "note": entry.note,
        "tags": list(entry.tags),
        "sets": [[name, place] for name, place in entry.sets],
        "text": entry.text,
        "notes": [[note.onset, note.length, note.midi] for note in entry.notes],
        "shape": entry.shape,
        "score": entry.score,
        "terms": dict(entry.terms),
        "showings": [_showing_document(showing) for showing in entry.showings],
    }


def _showing_document(showing: Showing) -> dict[str, Any]:
    origin = asdict(showing.origin)
    dates = {"times": showing.times, "first": showing.first, "last": showing.last}
    return {"chart": asdict(showing.chart), **origin, "options": json.loads(showing.origin.options), **dates}


def from_json(text: str, place: str, moment: datetime) -> list[Entry]:
    """The entries of a JSON document: one that a book exported, or one that `fillgen ideas` wrote.

    What was written by `fillgen ideas` is dated with a moment. OutputError where it is neither, with the idea at fault.
    """
    try:
        whole = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise OutputError(f"is no JSON: {error}", place=place) from None
    if not isinstance(whole, dict) or not isinstance(whole.get("ideas"), list):
        hint = "Give what fillgen book export or fillgen ideas --format json wrote."
        raise OutputError("holds no ideas", place=place, hint=hint)
    if FORM not in whole:
        return _each(whole["ideas"], lambda row: _shown_entry(row, whole, moment), place)
    if whole[FORM] != _VERSION:
        told = f"is of version {shorten(str(whole[FORM]))}, and this fillgen reads {_VERSION}"
        raise OutputError(told, place=place, hint="Update fillgen.")
    return _each(whole["ideas"], _entry, place)


def _each(rows: Sequence[Any], read: Callable[[Any], Entry], place: str) -> list[Entry]:
    found = []
    for number, row in enumerate(rows, 1):
        where = f"{place}, idea {number}"
        try:
            found.append(_checked(read(row)))
        except FillgenError as error:
            told = f"{error.place}: {error.message}" if error.place else error.message
            raise OutputError(told, place=where, hint=error.hint) from None
        except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
            why = f"{error} is missing" if isinstance(error, KeyError) else str(error)
            raise OutputError(f"cannot be read: {why}", place=where) from None
    return found


def _checked(entry: Entry) -> Entry:
    """An entry whose notes fit its chart, in the words of this program; a FillgenError where they do not."""
    progression = entry.chart.progression()
    for showing in entry.showings:
        showing.chart.progression()
        check_tempo(showing.origin.tempo)
    check_phrase(progression, entry.notes)
    showings = tuple(map(_plain, entry.showings))
    text = phrase_text(entry.notes, progression)
    return replace(entry, text=text, shape=_line(entry.shape), showings=showings)


def _plain(showing: Showing) -> Showing:
    """A showing of somebody else's whose words can be printed."""
    origin = showing.origin
    told: dict[str, Any] = {
        name: _line(getattr(origin, name)) for name in ("command", "rules", "version", "rhythm")
    }
    chart = replace(showing.chart, title=_line(showing.chart.title))
    return replace(showing, chart=chart, origin=replace(origin, **told))


def _line(text: str) -> str:
    return printable(text)[:_LONGEST_LINE]


def _entry(row: Any) -> Entry:
    """An entry from the JSON of a book."""
    showings = tuple(_showing(each) for each in row["showings"])
    if not showings:
        raise ValueError("it was never shown")
    return Entry(
        notes_of(row["notes"]),
        "",
        _number(row["score"]),
        {plain_word(name, "term"): _number(value) for name, value in row["terms"].items()},
        _string(row["shape"]),
        showings,
        name=plain_word(row["name"], "name", LONGEST_NAME) if row["name"] else "",
        stars=check_stars(row["stars"]),
        note=plain_note(row["note"]),
        tags=tuple(sorted({plain_word(word, "tag") for word in row["tags"]})),
        sets=tuple((plain_word(name, "name of a set"), _whole(place)) for name, place in row["sets"]),
    )


def _showing(row: Any) -> Showing:
    origin = Origin(
        command=_string(row["command"]),
        options=json.dumps(row["options"], sort_keys=True, ensure_ascii=False),
        seed=_whole(row["seed"], _HIGHEST_SEED),
        rules=_string(row["rules"]),
        version=_string(row["version"]),
        level=_whole(row["level"], _HIGHEST_LEVEL),
        rhythm=_string(row["rhythm"]),
        tempo=_whole(row["tempo"]),
        swing=bool(row["swing"]),
        hand=reach(_string(row["hand"])).size,
    )
    return Showing(
        _chart(row["chart"]), origin, _whole(row["times"]), _moment(row["first"]), _moment(row["last"])
    )


def _chart(row: Any) -> Chart:
    text, key, metre, title = (_string(row[name]) for name in ("text", "key", "metre", "title"))
    return Chart(text, key, metre, title, _whole(row["first"], 1))


def _shown_entry(row: Any, whole: Any, moment: datetime) -> Entry:
    """An entry from the JSON of `fillgen ideas`, whose notes are given in quarter notes."""
    chart = _chart_of(whole["chart"])
    origin = _imported(
        whole["rhythm"],
        _whole(whole["chart"]["tempo"]),
        _whole(whole["seed"], _HIGHEST_SEED),
        _whole(whole["level"], _HIGHEST_LEVEL),
        swing=_swings(whole["rhythm"]),
    )
    notes = notes_of([(_ticks(n["onset"]), _ticks(n["duration"]), n["midi"]) for n in row["notes"]])
    terms = {plain_word(name, "term"): _number(value) for name, value in row["terms"].items()}
    showing = Showing(chart, origin, 1, stamp(moment), stamp(moment))
    return Entry(notes, "", _number(row["score"]), terms, _string(row["shape"]), (showing,))


def _chart_of(document: Any) -> Chart:
    metre = read_metre(_string(document["metre"]))
    bars = [_bar_text(bar["chords"], metre.beat) for bar in document["bars"]]
    return Chart(
        f"| {' | '.join(bars)} |",
        _string(document["key"]),
        metre.name,
        "",
        _whole(document["bars"][0]["bar"], 1),
    )


def _swings(rhythm: Any) -> bool:
    """Whether a rhythm swings, which the JSON of ideas leaves to its name."""
    pack = RulePack()
    return rhythm in pack.rhythm_names and pack.rhythm(rhythm).swing


def _bar_text(chords: Any, beat: int) -> str:
    lengths = [_ticks(chord["duration"]) for chord in chords]
    held = [0 if len(set(lengths)) == 1 else length // beat - 1 for length in lengths]
    symbols = [_string(chord["symbol"]) for chord in chords]
    return " ".join(f"{symbol}{' /' * more}" for symbol, more in zip(symbols, held, strict=True))


def _imported(rhythm: Any, tempo: int, seed: int = 0, level: int = 0, swing: bool = False) -> Origin:
    version = __version__
    return Origin("import", "{}", seed, "", version, level, _string(rhythm), tempo, swing, "medium")


def _ticks(quarters: Any) -> int:
    return round(_number(quarters) * TICKS)


def _number(value: Any) -> float:
    if not isinstance(value, int | float) or isinstance(value, bool) or not abs(value) < 10**9:
        raise ValueError(f"{shorten(str(value))} is no number")
    return float(value)


def _whole(value: Any, most: int = _MOST_TIMES) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= most:
        raise ValueError(f"{shorten(str(value))} is no whole number from 0 to {most:,}")
    return value


def _string(value: Any) -> str:
    if not isinstance(value, str) or "\0" in value or any("\ud800" <= each <= "\udfff" for each in value):
        raise ValueError(f"{shorten(str(value))} is no text")
    return value


def _moment(value: Any) -> str:
    if not isinstance(value, str) or not _MOMENT.fullmatch(value):
        raise ValueError(f"{shorten(str(value))} is no moment such as 2026-11-25T09:30:00Z")
    return value


# Phrases


def from_phrase(ideas: Ideas, moment: datetime) -> Entry:
    """A player's own phrase as an entry; `ideas` are as of `own_ideas`."""
    (idea,) = ideas.ideas
    origin = _imported(ideas.rhythm, ideas.tempo, swing=ideas.swing)
    showing = Showing(
        Chart.of(ideas.progression), replace(origin, hand=ideas.hand), 1, stamp(moment), stamp(moment)
    )
    return _checked(
        Entry(idea.phrase, idea.text, 0.0, {}, "", (showing,), name=ideas.progression.title[:LONGEST_NAME])
    )


# Keys


def in_other_key(entry: Entry, key: Key | None) -> Entry:
    """An entry whose notes and first chart are moved into a key; the entry itself without one."""
    if key is None:
        return entry
    progression, notes = in_key(entry, key)
    first = replace(entry.showings[0], chart=Chart.of(progression))
    told = phrase_text(notes, progression)
    return replace(entry, notes=notes, text=told, showings=(first, *entry.showings[1:]))


# Whole books


def merge(book: Book, other: Path) -> tuple[int, int]:
    """Join another book into a book; how many ideas that one has, and how many of them were new here.

    The other book is not touched: a copy of it is read, and brought up to date where it is older. BookError where it
    cannot be read.
    """
    with suppress(OSError, ValueError):
        if other.samefile(book.path):
            raise BookError("is the book itself", place=str(other), hint="Name another book.")
    with tempfile.TemporaryDirectory(prefix="fillgen-") as folder:
        copy = Path(folder) / "other.book"
        _copy(other, copy)
        try:
            with Book(copy) as read:
                read.check()
                found = [replace(_checked(entry), id=0) for entry in every_entry(read)]
        except FillgenError as error:
            place = "" if error.place == str(copy) else f"{error.place}: "
            raise BookError(f"{place}{error.message}", place=str(other), hint=error.hint) from error
    numbers, new = add(book, found)
    return len(numbers), new


def _copy(path: Path, copy: Path) -> None:
    """Copy a book with what lies beside it in its log; BookError where it cannot be read."""
    if not is_book(path):
        raise BookError("is no idea book", place=str(path), hint="Give the file that another fillgen keeps.")
    try:
        shutil.copyfile(path, copy)
        log = path.with_name(f"{path.name}-wal")
        if log.exists():
            shutil.copyfile(log, copy.with_name(f"{copy.name}-wal"))
    except OSError as error:
        raise BookError(f"cannot be read: {error.strerror or error}", place=str(path)) from error


def is_book(path: Path) -> bool:
    """Whether a file begins as a SQLite file does; BookError where it cannot be read."""
    try:
        with path.open("rb") as file:
            return file.read(len(MAGIC)) == MAGIC
    except (OSError, ValueError) as error:
        raise BookError(
            f"cannot be read: {getattr(error, 'strerror', None) or error}", place=str(path)
        ) from error
