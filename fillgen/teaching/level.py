"""What a rhythm does beyond a level, and the lowest level of a phrase, in words."""

from __future__ import annotations

from collections.abc import Iterator

from fillgen.chart.progression import Progression
from fillgen.engine.checked import Checked
from fillgen.phrase.note import Note
from fillgen.rules.judge import rhythm_beyond
from fillgen.rules.pack import RulePack
from fillgen.teaching.words import beat_words


def rhythm_beyond_words(checked: Checked) -> Iterator[tuple[str, str, list[Note]]]:
    """What the rhythm does that the level's rhythms do not: a sentence, what such a note does, and the notes."""
    for feature, found in rhythm_beyond(checked.progression, checked.notes, checked.level):
        what, does = _IN_WORDS[feature]
        yield f"The rhythms of level {checked.level.number} have no {what}.", does, found


_IN_WORDS = {
    "syncopation": ("syncopation", "is held across a heavier beat"),
    "push": ("notes held over the bar line from a weaker beat", "is held over the bar line"),
    "triplet": ("triplets", "belongs to a triplet"),
    "beside": ("notes but the one that comes in with each chord", "doesn't come in with a chord"),
}


def place_words(progression: Progression, tick: int) -> str:
    """A tick as bar and beat, in words."""
    return f"bar {progression.bar_of(tick)}, {beat_words(progression.timeline, tick)}"


def lowest_words(lowest: int | None, pack: RulePack) -> Iterator[str]:
    """The lowest level of a phrase, in words."""
    if lowest is None:
        yield "No level fits the phrase as it is."
    else:
        yield f"The lowest level that fits the phrase is {lowest}, {pack.level(lowest).name}."
