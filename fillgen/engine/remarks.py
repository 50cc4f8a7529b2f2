"""What there is to say about the ideas of one answer."""

from __future__ import annotations

from fillgen.chart.progression import Progression
from fillgen.engine.request import Choices
from fillgen.errors import many


def _leads(choices: Choices) -> bool:
    """Whether the last chord leads on to the tonic, as an intro or a turnaround should."""
    progression = choices.progression
    last, tonic = progression.last, progression.key.tonic
    if last.root is None or last.kind is None:
        return False
    away = (last.root.pitch_class - tonic.pitch_class) % 12
    if away == 7:
        return last.kind.is_dominant or last.kind.name == "major triad"
    return (away in (1, 10) and last.kind.is_dominant) or (away == 11 and "b5" in _degrees(progression))


def _degrees(progression: Progression) -> set[str]:
    return {tone.degree.text for tone in progression.last.tones}


def remarks_on(choices: Choices, phrases: int, shown: int, apart: int) -> tuple[str, ...]:
    """What to say about an answer: why there are fewer ideas than asked for, and whether the last chord leads on."""
    remarks = []
    count = choices.request.count
    if shown == phrases < count:
        remarks.append(f"The rules allow {many(phrases, 'phrase')} here, and all of them are given.")
    elif shown < count:
        remarks.append(f"{many(shown, 'idea')} were found for the {count} asked for.")
    elif apart < shown:
        few = f"{apart} of them are" if apart > 1 else "One of them is"
        remarks.append(f"{few} clearly apart; each of the others is near to one of those.")
    if choices.request.purpose in ("intro", "turnaround") and not _leads(choices):
        key = choices.progression.key
        dominant = key.tonic.up(4, 7)
        remarks.append(
            f"The last chord, {choices.progression.last.symbol}, does not lead to {key.tonic}; "
            f"the usual last chord of the {choices.request.purpose} is {dominant}7."
        )
    return tuple(remarks)
