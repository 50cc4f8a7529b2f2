"""The lowest level at which a phrase is right."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from fillgen.chart.progression import Progression
from fillgen.errors import listed
from fillgen.phrase.note import Note, Phrase
from fillgen.rules.pack import Level, RulePack
from fillgen.teaching.asked import USUAL, Asked, Settings, ask
from fillgen.teaching.words import beat_words


def rhythm_words(asked: Asked) -> Iterator[str]:
    """What the rhythm does that the level's rhythms do not."""
    for what, found in _rhythm_beyond(asked.progression, asked.notes, asked.level):
        where = listed([place_words(asked.progression, note.onset) for note in found[:3]], "and")
        more = f", and {len(found) - 3} more" if len(found) > 3 else ""
        yield f"The rhythms of level {asked.level.number} have no {what}; here: {where}{more}."


def place_words(progression: Progression, tick: int) -> str:
    """A tick as bar and beat, in words."""
    return f"bar {progression.bar_of(tick)}, {beat_words(progression.metre, tick)}"


def _rhythm_beyond(progression: Progression, notes: Phrase, level: Level) -> Iterator[tuple[str, list[Note]]]:
    """What a level's rhythms leave out and the notes that do it, as far as there are any."""
    starts = {span.onset for span in progression.spans}
    crossing = [note for note in notes if _is_syncopated(progression, note, starts)]
    pushed = [note for note in crossing if _crosses_bar(progression, note)]
    held = [note for note in crossing if not _crosses_bar(progression, note)]
    triplets = [note for note in notes if note.onset % 60 or note.length % 60]
    asked = (
        (level.syncopation, "syncopation (notes held across a heavier beat)", held),
        (level.pushes, "notes held over the bar line from a weaker beat", pushed),
        (level.triplets, "triplets", triplets),
        (
            not level.one_a_chord,
            "notes but the one that comes in with each chord",
            _beside_chords(progression, notes),
        ),
    )
    yield from ((what, found) for has, what, found in asked if not has and found)


def _is_syncopated(progression: Progression, note: Note, starts: set[int]) -> bool:
    """Whether a note is held across a heavier place; the beat on which a chord comes in is heavy."""
    return note.onset not in starts and progression.metre.crosses(note.onset, note.length)


def _crosses_bar(progression: Progression, note: Note) -> bool:
    return note.onset // progression.metre.bar != (note.end - 1) // progression.metre.bar


def _beside_chords(progression: Progression, notes: Phrase) -> list[Note]:
    starts = {span.onset for span in progression.spans}
    return [note for note in notes if note.onset not in starts]


def lowest_level(
    progression: Progression,
    notes: Phrase,
    pack: RulePack,
    settings: Settings = USUAL,
) -> int | None:
    """The lowest level of a pack whose rules a phrase keeps and whose rhythms it stays with; None where there is none.

    Errors are those of `check`.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.phrase.text import parse_phrase
    >>> chart = parse_chart("| C | G7 |", key="C")
    >>> [lowest_level(chart, parse_phrase(text, chart.metre), RulePack())
    ...  for text in ("C5w | G4w", "C5h E5h | B4w", "C5q D5q E5h | B4w", "C5h E5q. F5e~ | F5h D5q B4q")]
    [1, 2, 3, 4]
    """
    return lowest_of(ask(progression, notes, pack.level(pack.level_numbers[0]), settings), pack)


def lowest_of(asked: Asked, pack: RulePack) -> int | None:
    """The lowest level at which a phrase is right, None if there isn't one."""
    for level in map(pack.level, pack.level_numbers):
        here = replace(asked, level=level)
        if not here.breaches() and not any(_rhythm_beyond(asked.progression, asked.notes, level)):
            return level.number
    return None


def lowest_words(lowest: int | None, pack: RulePack) -> Iterator[str]:
    """The lowest level of a phrase, in words."""
    if lowest is None:
        yield "No level fits the phrase as it is."
    else:
        yield f"The lowest level that fits the phrase is {lowest}, {pack.level(lowest).name}."
