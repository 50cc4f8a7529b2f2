"""What works in a phrase."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fillgen.engine.checked import Checked
from fillgen.errors import listed, many
from fillgen.phrase.idea import CHORD_TONE
from fillgen.rules.rule import FOURTH, STEP
from fillgen.teaching.faults import Fault, rules_kept
from fillgen.teaching.line import Line
from fillgen.teaching.naming import kinds
from fillgen.teaching.notefit import degree_in_words
from fillgen.theory.metre import TICKS
from fillgen.theory.pitch import interval_in_words

_FEW_NOTES = 4
"""A line of fewer notes has no contour to speak of."""


# What works


def what_works(checked: Checked, line: Line, faults: Sequence[Fault]) -> tuple[str, ...]:
    """What can honestly be said for a phrase; if hardly anything can, the one thing that does."""
    found = [
        *_right_bars(checked, line, faults),
        *_strong_beats(checked, line),
        *_closing(checked, line, faults),
        *_peak(checked, line),
        *_turned_leaps(line),
        *_steps(line),
        *_range(line, faults),
    ]
    return tuple(found or [_one_thing(checked, line)])


def _right_bars(checked: Checked, line: Line, faults: Sequence[Fault]) -> Iterator[str]:
    if not faults:
        yield f"Every note keeps every rule of level {checked.level.number}."
        return
    clashing = {fault.bar for fault in faults if fault.kind == "clash"}
    played = list(dict.fromkeys(checked.progression.bar_of(note.onset) for note in checked.notes))
    right = [bar for bar in played if bar not in clashing]
    if right == played:
        yield "Every note goes with its chord." if all(kinds(line)) else "Nothing clashes."
    elif right:
        which = f"bar {right[0]}" if len(right) == 1 else f"bars {listed([*map(str, right)], 'and')}"
        yield f"Nothing clashes in {which}."


def _strong_beats(checked: Checked, line: Line) -> Iterator[str]:
    strong = [index for index, place in enumerate(checked.where) if place.strong]
    tones = [index for index in strong if bool(line.windows[index][1].tone)]
    if strong and len(tones) == len(strong):
        yield _ALL_STRONG.get(len(strong), f"All {len(strong)} notes on strong beats belong to their chords.")
    elif strong and 3 * len(tones) >= 2 * len(strong):
        yield f"{len(tones)} of {len(strong)} notes on strong beats belong to their chords."
    yield from _accented(line)


def _accented(line: Line) -> Iterator[str]:
    """Notes on strong beats that lean on what follows, by their names."""
    names = dict.fromkeys(_LEANING, 0)
    for kind in kinds(line):
        names[kind] = names.get(kind, 0) + 1
    found = [many(names[kind], what) for kind, what in _LEANING.items() if names[kind]]
    if found:
        yield f"It has {listed(found, 'and')}, resolved by step."


_LEANING = {
    "suspension": "suspension",
    "retardation": "retardation",
    "appoggiatura": "appoggiatura",
    "accented passing": "accented passing note",
    "accented neighbour": "accented neighbour note",
}
"""The kinds of notes that are stressed outside their chords, and what they are called."""


_ALL_STRONG = {
    1: "The note on a strong beat belongs to its chord.",
    2: "Both notes on strong beats belong to their chords.",
}


def _closing(checked: Checked, line: Line, faults: Sequence[Fault]) -> Iterator[str]:
    last, end = checked.progression.last, len(checked.notes) - 1
    tone = last.tone_at(checked.notes[end].midi % 12)
    fits = checked.where[end].ends >> checked.notes[end].midi % 12 & 1
    if not fits or tone is None or any(fault.index == end for fault in faults):
        return
    yield f"It ends on {line.names[end]}, the {degree_in_words(tone.degree)} of {last.symbol}, where a phrase may close."


def _peak(checked: Checked, line: Line) -> Iterator[str]:
    pitches = [note.midi for note in checked.notes]
    top = max(pitches)
    reached = [i for i, midi in enumerate(pitches) if midi == top and (not i or pitches[i - 1] != top)]
    if len(pitches) >= _FEW_NOTES and len(reached) == 1 and min(pitches) < top:
        bar = checked.progression.bar_of(checked.notes[reached[0]].onset)
        yield f"The line has one high point, {line.names[reached[0]]} in bar {bar}."


def _turned_leaps(line: Line) -> Iterator[str]:
    leaps = [index for index in range(1, len(line.notes)) if abs(line.into(index)) > FOURTH]
    turned = [index for index in leaps if line.into(index) * line.out(index) < 0]
    if len(leaps) == 1 and turned:
        yield f"Its one leap of more than a fourth, to {line.at(leaps[0])}, turns back."
    elif leaps and len(leaps) == len(turned):
        which = "Both" if len(leaps) == 2 else f"All {len(leaps)}"
        yield f"{which} leaps of more than a fourth turn back."


def _steps(line: Line) -> Iterator[str]:
    rises = [abs(line.into(index)) for index in range(1, len(line.notes))]
    steps = sum(1 <= rise <= STEP for rise in rises)
    if len(rises) > 1 and 2 * steps >= len(rises):
        yield f"It moves by step {steps} times out of {len(rises)}."


def _range(line: Line, faults: Sequence[Fault]) -> Iterator[str]:
    pitches = [note.midi for note in line.notes]
    low, high = min(pitches), max(pitches)
    if any(fault.rule == "range" for fault in faults) or low == high:
        return
    names = [line.names[pitches.index(end)] for end in (low, high)]
    yield f"It stays between {names[0]} and {names[1]} and spans {interval_in_words(high - low)}."


def _one_thing(checked: Checked, line: Line) -> str:
    tone = next((index for index, role in enumerate(line.roles) if role == CHORD_TONE), None)
    if tone is not None:
        bar = checked.progression.bar_of(checked.notes[tone].onset)
        return f"{line.at(tone)} of bar {bar} belongs to its chord: start from there."
    held = rules_kept(checked)
    if held:
        return f"One rule holds throughout: {held[0][1][0].lower()}{held[0][1][1:]}"
    whole = checked.notes[-1].end / TICKS
    return f"Its rhythm adds up, {whole:g} quarter notes from first to last: keep the rhythm and change the notes."
