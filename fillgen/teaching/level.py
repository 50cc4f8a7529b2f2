"""What a rhythm does beyond a level, and the lowest level of a phrase, in words."""

from __future__ import annotations

from collections.abc import Iterator

from fillgen.chart.progression import Progression
from fillgen.engine.checked import Checked
from fillgen.errors import listed
from fillgen.rules.judge import rhythm_beyond
from fillgen.rules.pack import RulePack
from fillgen.teaching.words import beat_words


def rhythm_words(checked: Checked) -> Iterator[str]:
    """What the rhythm does that the level's rhythms do not."""
    for what, found in rhythm_beyond(checked.progression, checked.notes, checked.level):
        where = listed([place_words(checked.progression, note.onset) for note in found[:3]], "and")
        more = f", and {len(found) - 3} more" if len(found) > 3 else ""
        yield f"The rhythms of level {checked.level.number} have no {what}; here: {where}{more}."


def place_words(progression: Progression, tick: int) -> str:
    """A tick as bar and beat, in words."""
    return f"bar {progression.bar_of(tick)}, {beat_words(progression.metre, tick)}"


def lowest_words(lowest: int | None, pack: RulePack) -> Iterator[str]:
    """The lowest level of a phrase, in words."""
    if lowest is None:
        yield "No level fits the phrase as it is."
    else:
        yield f"The lowest level that fits the phrase is {lowest}, {pack.level(lowest).name}."
