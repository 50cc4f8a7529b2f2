"""What is in the book, as text, as sheets and as MIDI, in its own key or another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING, Any

from fillgen.book.entries import Chart, Entry, as_ideas
from fillgen.chart.progression import Progression
from fillgen.engine.request import Request
from fillgen.errors import OptionError, many
from fillgen.hands.closing import closed_ideas
from fillgen.hands.playing import Playing
from fillgen.phrase.idea import Ideas
from fillgen.phrase.note import Phrase
from fillgen.theory.pitch import Key
from fillgen.vary.transposition import moved
from fillgen.writers.lines import TEXT_WIDTH, wrapped
from fillgen.writers.text import block, staff

if TYPE_CHECKING:
    from fillgen.writers.entry import SheetEntry

_STARS = "*****"
_LEAST = 12
"""The least width of a phrase in a list, in characters; with less it goes on a line of its own."""
_LATER = " " * 7


# Lists


def list_text(entries: Sequence[Entry], total: int, width: int = TEXT_WIDTH) -> str:
    """Entries a line each: number, stars, day, key, rhythm, level, then name, tags and the phrase as far as it goes."""
    if not entries:
        return "No ideas found.\n"
    rows = [_cells(entry) for entry in entries]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = [
        _line([f"{cell:<{size}}" for cell, size in zip(row, widths, strict=True)], entry, width)
        for row, entry in zip(rows, entries, strict=True)
    ]
    head = many(total, "idea") if len(entries) == total else f"{len(entries)} of {many(total, 'idea')}"
    return "\n".join([f"{head}, most recently shown first", "", *lines]) + "\n"


def _cells(entry: Entry) -> list[str]:
    origin = entry.origin
    level = f"level {origin.level}" if origin.level else ""
    day = entry.last[:10]
    return [f"{entry.id:>5}", _STARS[: entry.stars], day, entry.chart.key, origin.rhythm, level]


def _line(cells: Sequence[str], entry: Entry, width: int) -> str:
    head = "  ".join(cells)
    words = [*([f"{entry.name!r}"] if entry.name else []), *(f"[{tag}]" for tag in entry.tags)]
    start = "  ".join([head, *words])
    fits = len(start) + 2 + _LEAST <= width
    before = f"{start}  " if fits else _LATER
    room = width - len(before)
    text = entry.text if len(entry.text) <= room else f"{entry.text[: room - 1]}…"
    return f"{before}{text}" if fits else f"{wrapped(start, width, hang=4)}\n{before}{text}"


def list_document(entries: Sequence[Entry], total: int) -> dict[str, Any]:
    """Entries as plain dictionaries, with how many there are in all."""
    return {"found": total, "ideas": [_document(entry) for entry in entries]}


def _document(entry: Entry) -> dict[str, Any]:
    chart, origin = entry.chart, entry.origin
    return {
        "id": entry.id,
        "name": entry.name,
        "stars": entry.stars,
        "tags": list(entry.tags),
        "sets": [name for name, _ in entry.sets],
        "note": entry.note,
        "chart": chart.text,
        "title": chart.title,
        "key": chart.key,
        "metre": chart.metre,
        "rhythm": origin.rhythm,
        "level": origin.level,
        "tempo": origin.tempo,
        "seed": origin.seed,
        "rules": origin.rules,
        "version": origin.version,
        "shape": entry.shape,
        "score": entry.score,
        "text": entry.text,
        "times": entry.times,
        "first": entry.first,
        "last": entry.last,
    }


# Keys


def in_key(entry: Entry, key: Key | None) -> tuple[Progression, Phrase]:
    """The progression and the notes of an entry in a key, or as they are; OptionError if the modes differ."""
    progression = entry.chart.progression()
    if key is None or key == progression.key:
        return progression, entry.notes
    request, notes, _ = moved(Request(progression, count=1), entry.notes, key)
    return request.progression, notes


def grouped(entries: Sequence[Entry], key: Key | None = None, second: str | None = None) -> list[Ideas]:
    """Entries as ideas, in order: one answer for each run of entries over one chart, in one rhythm and at one tempo.

    They have the requested second voice.
    """
    answers = []
    for _, run in groupby(entries, key=_ground):
        some = list(run)
        lines = {entry.id: (entry, in_key(entry, key)[1]) for entry in some}
        answers.append(as_ideas(lines, in_key(some[0], key)[0]))
    if second is None:
        return answers
    from fillgen.hands.second import with_second  # noqa: PLC0415 - what has one voice needs no voicings

    return [with_second(each, second) for each in answers]


def _ground(entry: Entry) -> tuple[Chart, str, int, bool, str]:
    origin = entry.origin
    return entry.chart, origin.rhythm, origin.tempo, origin.swing, origin.hand


def one_ground(entries: Sequence[Entry], key: Key | None, second: str | None = None) -> Ideas:
    """Entries as the ideas of one answer, for a file that has one tempo; OptionError if they differ in it."""
    groups = grouped(_by_ground(entries), key, second)
    if len(groups) > 1:
        raise OptionError(
            f"the ideas have {len(groups)} charts or tempos, but a MIDI file holds one",
            hint="Write them into a folder, such as -o ideas/.",
        )
    return groups[0]


def _by_ground(entries: Sequence[Entry]) -> list[Entry]:
    """Entries of one ground together, the grounds in the order in which they come first."""
    grounds = [_ground(entry) for entry in entries]
    return sorted(entries, key=lambda entry: grounds.index(_ground(entry)))


def singly(entries: Sequence[Entry], key: Key | None, second: str | None = None) -> list[tuple[Entry, Ideas]]:
    """Each entry with its idea alone in an answer."""
    return [(entry, grouped([entry], key, second)[0]) for entry in entries]


# Text and sheets


def entries_text(
    entries: Sequence[Entry],
    key: Key | None = None,
    width: int = TEXT_WIDTH,
    *,
    second: str | None = None,
    close: str | None = None,
) -> str:
    """Entries in full: what they are, where they come from, what was noted, and the phrase under its chords.

    `second` is the voice under the line, `close` how the last note of each closes.
    """
    blocks = []
    for entry, ideas in singly(entries, key, second):
        about = [*heading(entry, ideas.progression).splitlines(), *_about(entry)]
        lines = [wrapped(line, width) for line in about]
        shown = _block if entry.terms else _unjudged
        blocks.append("\n".join([*lines, shown(closed_ideas(ideas, close), width)]))
    return "\n\n".join(blocks) + "\n"


def _block(ideas: Ideas, width: int) -> str:
    return block(ideas[0], ideas.progression, width)


def _unjudged(ideas: Ideas, width: int) -> str:
    """The notes of an idea without a score, such as an imported phrase."""
    return "\n".join(staff(ideas[0].notes, ideas.progression, width, ideas[0].second))


def heading(entry: Entry, progression: Progression) -> str:
    """The number of an idea with its name, its chart's title, its key, metre and rhythm."""
    named = [f"Idea {entry.id}", entry.name, progression.title if progression.title != entry.name else ""]
    title = ", ".join(word for word in named if word)
    level = f", level {entry.origin.level}" if entry.origin.level else ""
    stars = f"  {_STARS[: entry.stars]}" if entry.stars else ""
    return (
        f"{title}{stars}\n{progression.keys_in_words}, {progression.metres_in_words}, {entry.origin.rhythm} at "
        f"{entry.origin.tempo} quarter notes a minute{level}"
    )


def _about(entry: Entry) -> list[str]:
    origin = entry.origin
    times = "once" if entry.times == 1 else f"{entry.times:,} times, last"
    lines = [
        f"shown {times} on {entry.last[:10]} by {origin.command}, seed {origin.seed}, fillgen {origin.version}"
    ]
    if origin.rules not in ("", "built-in"):
        lines.append(f"rule pack {origin.rules}")
    if entry.tags:
        lines.append(f"tags: {', '.join(entry.tags)}")
    if entry.sets:
        lines.append(f"sets: {', '.join(name for name, _ in entry.sets)}")
    return [*lines, *(f"note: {line}" for line in entry.note.splitlines())]


def sheet_entries(
    entries: Sequence[Entry], key: Key | None = None, playing: Playing | None = None
) -> list[SheetEntry]:
    """Entries to be engraved, each headed by its number, its name and its shape, with the marks of how they are played.

    Without the right hand there is one backing track for those over one chart.
    """
    from fillgen.writers.entry import backing_entry, entries_of  # noqa: PLC0415 - it is loaded for a sheet only

    found = []
    played = playing or Playing()
    if not played.has_right:
        every = enumerate(grouped(_by_ground(entries), key, played.second), 1)
        return [
            replace(backing_entry(closed_ideas(ideas, played.close), played), name=f"backing-{number}")
            for number, ideas in every
        ]
    for entry, ideas in singly(entries, key, played.second):
        (engraved,) = entries_of(closed_ideas(ideas, played.close), played.swing, played)
        words = [str(entry.id), entry.name or entry.chart.title, entry.shape, _STARS[: entry.stars]]
        named = [word for word in words if word]
        heading_ = "  ".join(named) if len(named) > 1 else f"Idea {entry.id}"
        found.append(replace(engraved, name=f"idea-{entry.id}", heading=heading_))
    return found
