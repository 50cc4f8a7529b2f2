"""Import and export of ideas: JSON documents, phrases from files, whole books joined.

The JSON of a book is an object with `fillgen-book`, the version of the form, and `ideas`. An idea has `chart` (`text`,
`key`, `metre`, `title`, `first`), `notes` as rows of onset, length (ticks, 480 to the quarter) and MIDI pitch, `showings`
with what made it and when, and what the player added: `name`, `stars`, `note`, `tags`, `sets`.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict, fields, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from fillgen.book.door import MAGIC, Book, BookError, read_head
from fillgen.book.entries import (
    LONGEST_NAME,
    Chart,
    Entry,
    Origin,
    Showing,
    notes_of,
    plain_note,
    plain_word,
)
from fillgen.book.listing import in_key
from fillgen.book.store import add, every_entry, stamp
from fillgen.book.validity import checked, escaped, options_text
from fillgen.errors import FillgenError, OutputError, shorten
from fillgen.phrase.idea import Ideas
from fillgen.phrase.text import phrase_text
from fillgen.rules.pack import RulePack
from fillgen.theory.keys import read_metre
from fillgen.theory.metre import TICKS
from fillgen.theory.pitch import Key
from fillgen.version import __version__

FORM = "fillgen-book"
_VERSION = 1
MOST_BYTES = 200_000_000
"""The largest JSON file that is read."""
_MOST_QUARTERS = 10**6


# JSON


def to_json(entries: Sequence[Entry]) -> str:
    """Entries as a JSON document that `from_json` reads back."""
    document = {FORM: _VERSION, "ideas": [_document(entry) for entry in entries]}
    return escaped(json.dumps(document, ensure_ascii=False, indent=1)) + "\n"


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

    What was written by `fillgen ideas` is dated with a moment. OutputError if it is neither, with the idea at fault.
    """
    try:
        whole = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise OutputError(f"is not JSON: {error}", place=place) from None
    if not isinstance(whole, dict) or not isinstance(whole.get("ideas"), list):
        hint = "Give a file from fillgen book export or fillgen ideas --format json."
        raise OutputError("contains no ideas", place=place, hint=hint)
    if FORM not in whole:
        return _each(whole["ideas"], lambda row: _shown_entry(row, whole, moment), place)
    if whole[FORM] != _VERSION:
        message = f"is version {shorten(str(whole[FORM]))}, but this fillgen reads version {_VERSION}"
        raise OutputError(message, place=place, hint="Update fillgen.")
    return _each(whole["ideas"], _entry, place)


def _each(rows: Sequence[Any], read: Callable[[Any], Entry], place: str) -> list[Entry]:
    found = []
    for number, row in enumerate(rows, 1):
        where = f"{place}, idea {number}"
        try:
            found.append(_checked(read(row)))
        except FillgenError as error:
            message = f"{error.place}: {error.message}" if error.place else error.message
            raise OutputError(message, place=where, hint=error.hint) from None
        except (LookupError, TypeError, ValueError, AttributeError, OverflowError, RecursionError) as error:
            why = f"{error} is missing" if isinstance(error, KeyError) else str(error)
            raise OutputError(f"cannot be read: {why}", place=where) from None
    return found


def _checked(entry: Entry) -> Entry:
    """An imported entry with the content of our own, its text as this program writes it."""
    entry = checked(entry)
    return replace(entry, text=phrase_text(entry.notes, entry.chart.progression()))


def _entry(row: Any) -> Entry:
    """An entry from the JSON of a book."""
    return Entry(
        notes_of(row["notes"]),
        "",
        row["score"],
        dict(row["terms"]),
        row["shape"],
        tuple(map(_showing, row["showings"])),
        name=plain_word(row["name"], "name", LONGEST_NAME) if row["name"] else "",
        stars=row["stars"],
        note=plain_note(row["note"]),
        tags=tuple(sorted({plain_word(word, "tag") for word in row["tags"]})),
        sets=tuple((plain_word(name, "name of a set"), place) for name, place in row["sets"]),
    )


def _showing(row: Any) -> Showing:
    origin = Origin(
        **{name: row[name] for name in _AS_THEY_ARE},
        options=options_text(row["options"]),
        swing=bool(row["swing"]),
    )
    chart = Chart(**{each.name: row["chart"][each.name] for each in fields(Chart)})
    return Showing(chart, origin, row["times"], row["first"], row["last"])


_AS_THEY_ARE = [each.name for each in fields(Origin) if each.name not in ("options", "swing")]


def _shown_entry(row: Any, whole: Any, moment: datetime) -> Entry:
    """An entry from the JSON of `fillgen ideas`, whose notes are given in quarter notes."""
    chart = _chart_of(whole["chart"])
    tempo, seed, level = whole["chart"]["tempo"], whole["seed"], whole["level"]
    origin = _imported(whole["rhythm"], tempo, seed, level, swing=_swings(whole["rhythm"]))
    notes = notes_of([(_ticks(n["onset"]), _ticks(n["duration"]), n["midi"]) for n in row["notes"]])
    showing = Showing(chart, origin, 1, stamp(moment), stamp(moment))
    return Entry(notes, "", row["score"], dict(row["terms"]), row["shape"], (showing,))


def _chart_of(document: Any) -> Chart:
    metre = read_metre(document["metre"])
    named: str | None = None
    bars, own = [], metre.name
    for bar in document["bars"]:
        text = _bar_text(bar["chords"], metre.beat)
        if bar.get("metre", metre.name) != own:
            own = read_metre(bar["metre"]).name if "metre" in bar else metre.name
            text = f"{own} {text}"
        section = bar.get("section", named)
        bars.append(text if section == named else f"[{section}] {text}")
        named = section
    return Chart(f"| {' | '.join(bars)} |", document["key"], metre.name, "", document["bars"][0]["bar"])


def _swings(rhythm: Any) -> bool:
    """Whether a rhythm swings, which the JSON of ideas leaves to its name."""
    pack = RulePack()
    return rhythm in pack.rhythm_names and pack.rhythm(rhythm).swing


def _bar_text(chords: Any, beat: int) -> str:
    lengths = [_ticks(chord["duration"]) for chord in chords]
    held = [0 if len(set(lengths)) == 1 else length // beat - 1 for length in lengths]
    symbols = [chord["symbol"] for chord in chords]
    return " ".join(f"{symbol}{' /' * more}" for symbol, more in zip(symbols, held, strict=True))


def _imported(rhythm: Any, tempo: Any, seed: Any = 0, level: Any = 0, swing: bool = False) -> Origin:
    version = __version__
    return Origin("import", "{}", seed, "", version, level, rhythm, tempo, swing, "medium")


def _ticks(quarters: Any) -> int:
    if not isinstance(quarters, int | float) or not abs(quarters) < _MOST_QUARTERS:
        raise ValueError(f"{shorten(str(quarters))} is not a number of quarter notes")
    return round(quarters * TICKS)


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
    text = phrase_text(notes, progression)
    return replace(entry, notes=notes, text=text, showings=(first, *entry.showings[1:]))


# Whole books


def merge(book: Book, other: Path) -> tuple[int, int]:
    """Merge another book into a book; the number of its ideas, and how many of them were new.

    The other book is not touched: it is copied at one moment, and the copy is read. BookError if it cannot be read,
    or where anything in it is not what a book has.
    """
    with suppress(OSError, ValueError):
        if other.samefile(book.path):
            raise BookError("is the book itself", place=str(other), hint="Name another book.")
    if not is_book(other):
        raise BookError(
            "is not an idea book", place=str(other), hint="Give the file that another fillgen keeps."
        )
    with Book(other, writes=False, copies=True) as read:
        read.check()
        found = [replace(_checked(entry), id=0) for entry in every_entry(read)]
    numbers, new = add(book, found)
    return len(numbers), new


def is_book(path: Path) -> bool:
    """Whether a file begins as a SQLite file does; BookError if it cannot be read."""
    try:
        return read_head(path)[0].startswith(MAGIC)
    except (OSError, ValueError) as error:
        raise BookError(
            f"cannot be read: {getattr(error, 'strerror', None) or error}", place=str(path)
        ) from error
