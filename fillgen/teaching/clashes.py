"""What clashes: a note outside its chord that goes nowhere.

A clash is a matter of the ear, not of a level: a note that handbooks have no name for, or one held into a chord that lacks it
and left there.
"""

from __future__ import annotations

from dataclasses import dataclass

from fillgen.phrase.idea import CHORD_TONE
from fillgen.rules.rule import BEAT, Example, Rule, Seen, Verdict
from fillgen.rules.tones import EMBELLISHMENTS, is_step
from fillgen.teaching.line import Line, tone_name
from fillgen.teaching.naming import FURTHER_TONES, KEPT_OVER, kinds, retardation, suspension
from fillgen.theory.chords import Chord


@dataclass(frozen=True, slots=True)
class ClashRule:
    """A rule that no level switches off: its name, what it says, and why."""

    name: str
    says: str
    reason: str


UNRESOLVED = ClashRule(
    "unresolved-note",
    "A note outside its chord comes from somewhere and goes somewhere: it passes, returns, leans on the next note, is "
    "held over from the chord before or comes early for the next.",
    "If it leaps away or stops, it sounds like a slip.",
)
HALF_STEP = ClashRule(
    "unresolved-half-step",
    "A note a half step from a note of its chord moves on by step, within two beats unless it is held over from the chord before.",
    "The two rub until one of them gives way.",
)


CLASHES = {rule.name: rule for rule in (UNRESOLVED, HALF_STEP)}
"""The rules by their names."""


def clash_rule(line: Line, index: int, *, closes: bool) -> ClashRule | None:
    """The rule by which a note clashes with its chord, None if it does not.

    If the phrase goes on (`closes` is false), it isn't known where its last note goes.
    """
    if index == len(line.notes) - 1 and not closes:
        return None
    kind = kinds(line)[index]
    hangs = kind == CHORD_TONE and line.lacking(index) is not None
    waits = line.where[index].length > _LONGEST * BEAT and kind not in (CHORD_TONE, *_PREPARED)
    if kind and not hangs and not (waits and rubbing(line, index)):
        return None
    return HALF_STEP if rubbing(line, index) else UNRESOLVED


_LONGEST = 2
"""Beats that a note may rub against its chord before it moves on. Chosen: stressed notes of hymns and songs last one or two."""
_PREPARED = (*KEPT_OVER, "pedal", "anticipation")
"""What the ear has accepted before, or is about to: such a note may last."""


def rubbing(line: Line, index: int) -> str:
    """The chord note a half step from a note outside its chord, by name; empty if there is none."""
    midi, chord = line.notes[index].midi, _against(line, index)
    beside = (near for near in (midi - 1, midi + 1) if chord.tone_at(near % 12) and 0 <= near <= 127)
    return next((tone_name(chord, near) for near in beside), "")


def _against(line: Line, index: int) -> Chord:
    """The chord that a note is outside of: its own, or the one it is held into."""
    lacking = line.lacking(index)
    own = line.chord(index)
    return lacking[1] if lacking and own.tone_at(line.notes[index].midi % 12) else own


# As seen from three notes, for the mend


_THREE_TELL = (
    *(is_one for name, is_one in EMBELLISHMENTS.items() if name != "approach"),
    *(is_one for name, is_one in FURTHER_TONES.items() if name != "double neighbour"),
)
"""The kinds of notes outside their chords for which three notes are proof."""


def _goes_somewhere(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """Whether three notes alone show that the one in the middle doesn't clash."""
    if after is None and not note.place.ends:
        return True  # the phrase goes on, it isn't known where
    verdict = note.tone & note.among(note.place.held)
    if note.place.length > _LONGEST * BEAT:
        return verdict | suspension(before, note, after) | retardation(before, note, after)
    if after is not None:
        verdict = verdict | (note.foreign & is_step(after.midi - note.midi) & after.tone)
    for is_one in _THREE_TELL:
        verdict = verdict | is_one(before, note, after)
    return verdict


GOES_SOMEWHERE = Rule(
    "goes-somewhere",
    3,
    says=UNRESOLVED.says,
    reason=UNRESOLVED.reason,
    source="common practice",
    settings={},
    keeps=Example("| Bb |", "Bb4q C5q D5h"),
    breaks=Example("| Bb |", "Bb4q C5q G5h"),
    asks=_goes_somewhere,
)
"""What clashes by three notes alone, for the solver: stricter than `clash_rule`, which looks farther."""
