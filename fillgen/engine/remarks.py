"""What there is to say about the ideas of one answer."""

from __future__ import annotations

from fillgen.chart.progression import Progression
from fillgen.engine.request import Choices
from fillgen.phrase.remark import Remark, RemarkKind, on_chart, on_count
from fillgen.theory.pitch import Name


def _leads(choices: Choices) -> bool:
    """Whether the last chord leads on to the tonic, as an intro or a turnaround should."""
    progression = choices.progression
    last, tonic = progression.last, progression.end_key.tonic
    if last.root is None or last.kind is None:
        return False
    away = (last.root.pitch_class - tonic.pitch_class) % 12
    if away == 7:
        return last.kind.is_dominant or last.kind.name == "major triad"
    return (away in (1, 10) and last.kind.is_dominant) or (away == 11 and "b5" in _degrees(progression))


def _degrees(progression: Progression) -> set[str]:
    return {tone.degree.text for tone in progression.last.tones}


def _on_lead(choices: Choices) -> tuple[Remark, ...]:
    """Which note the ideas lead to, if the player left the octave open."""
    asked = choices.request.lead_to
    if choices.lead_to is None or not isinstance(asked, str) or asked.strip()[-1:].isdigit():
        return ()
    note = Name.read(asked.strip()).at(choices.lead_to)
    text = f"The ideas lead to {note}, the nearest one to the middle of their range."
    return (Remark(RemarkKind.LEAD, text),)


def remarks_on(choices: Choices, phrases: int, shown: int, apart: int) -> tuple[Remark, ...]:
    """What to say about an answer: how the chart was read, why ideas are few, whether the last chord leads on."""
    request = choices.request
    counted = (
        *on_chart(choices.progression.remarks),
        *_on_lead(choices),
        *on_count(request.count, phrases, shown, apart),
    )
    if request.purpose not in ("intro", "turnaround") or _leads(choices):
        return counted
    tonic, last = choices.progression.end_key.tonic, choices.progression.last
    text = (
        f"The last chord, {last.symbol}, doesn't lead to {tonic}; "
        f"the usual last chord of the {request.purpose} is {tonic.up(4, 7)}7."
    )
    return (*counted, Remark(RemarkKind.LAST_CHORD, text))
