"""What a phrase breaks, and where."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fillgen.engine.checked import Checked
from fillgen.errors import listed
from fillgen.rules import judge
from fillgen.rules.rule import BEAT, RuleUse
from fillgen.teaching.line import Line
from fillgen.teaching.naming import KEPT_OVER, kinds
from fillgen.teaching.notefit import degree_in_words
from fillgen.teaching.sentences import says
from fillgen.teaching.words import beat_number, beat_words
from fillgen.theory.pitch import interval_in_words, midi_name


@dataclass(frozen=True, slots=True)
class Fault:
    """A rule broken at a note: the note, counted from 0, where it begins, what the rule says, and what is wrong.

    `beat` counts from 1; `sentence` is about this very note.
    """

    kind: str
    index: int
    bar: int
    beat: float
    name: str
    says: str
    reason: str
    sentence: str


# Faults


def faults_of(checked: Checked, line: Line) -> tuple[Fault, ...]:
    """Every fault of a phrase, in the order of its notes."""
    found = []
    for breach in checked.breaches():
        note, rule = checked.notes[breach.index], breach.use.rule
        found.append(
            Fault(
                rule.kind,
                breach.index,
                checked.progression.bar_of(note.onset),
                beat_number(checked.progression.metre, note.onset),
                line.names[breach.index],
                breach.use.text,
                rule.reason,
                _wrong(checked, line, breach),
            )
        )
    return tuple(found)


def _wrong(checked: Checked, line: Line, breach: judge.Breach) -> str:
    """What is wrong with one note, by the rule that it breaks."""
    wrong = _WRONG.get(breach.use.rule.kind)
    return wrong(checked, line, breach.index, breach.use) if wrong else says(line, breach.index)


_Says = Callable[[Checked, Line, int, RuleUse], str]


def _foreign(checked: Checked, line: Line, index: int, use: RuleUse) -> str:
    """A note outside its chord: its textbook name where it has one, and that the level does not use it."""
    said = says(line, index)
    return f"{said} {_refused(checked, line, index, use)}" if kinds(line)[index] else said


def _refused(checked: Checked, line: Line, index: int, use: RuleUse) -> str:
    """Why a note that textbooks know is still against the rule."""
    kind, level = kinds(line)[index], f"Level {checked.level.number}"
    if kind in use.settings.get("allow", ()):
        return f"{level} uses {_many(kind)} in the scale only, and none a half step above a chord note."
    return f"{level} does not use {_many(kind)}."


def _many(kind: str) -> str:
    """Several notes of a kind.

    >>> _many("escape tone"), _many("accented passing")
    ('escape tones', 'accented passing notes')
    """
    return f"{kind} notes" if kind.endswith(("passing", "neighbour", "approach")) else f"{kind}s"


def _not_root(_checked: Checked, line: Line, index: int, _use: RuleUse) -> str:
    chord, midi = line.chord(index), line.notes[index].midi
    tone = chord.tone_at(midi % 12)
    what = f"the {degree_in_words(tone.degree)} of {chord.symbol}" if tone else f"outside {chord.symbol}"
    return f"{line.at(index)} is {what}; its root is {chord.root}."


def _held(checked: Checked, line: Line, index: int, use: RuleUse) -> str:
    note, held, metre = checked.notes[index], line.held_into(index), checked.progression.metre
    if kinds(line)[index] in KEPT_OVER:
        return _foreign(checked, line, index, use)
    if held is None:
        tick = checked.progression.strong_between(note.onset, note.end)[0]
        return f"{line.at(index)} is outside {line.chord(index).symbol} and held across {beat_words(metre, tick)}."
    start = f"{line.at(index)} is held into {held[1].symbol}, which lacks it"
    return f"{start}; it could end before {beat_words(metre, held[0])}, or be a note of both chords."


def _open_enclosure(_checked: Checked, line: Line, index: int, _use: RuleUse) -> str:
    pair = f"{line.names[index - 1]} and {line.at(index)}"
    after = line.after(index)
    goes = f"go on to {line.names[index + 1]}" if after is not None else "end the phrase"
    return f"{pair} lie on either side of a note like an enclosure, but {goes}, not to the chord note between them."


def _avoided(checked: Checked, line: Line, index: int, use: RuleUse) -> str:
    place, chord = checked.where[index], line.chord(index)
    below = _tone_below(line, index)
    rubs = f"{line.at(index)} lies a half step above {below}, a note of {chord.symbol}"
    if place.strong:
        return f"{rubs}, and stands on a strong beat, where the two clash."
    return f"{rubs}, and lasts {_beats(place.length / BEAT)} over it; the limit is {_beats(use.settings['beats'])}."


def _tone_below(line: Line, index: int) -> str:
    midi = line.notes[index].midi - 1
    tone = line.chord(index).tone_at(midi % 12)
    assert tone is not None
    return tone.name.at(midi)


def _beats(beats: float) -> str:
    """A number of beats in words."""
    return _BEATS.get(beats) or f"{beats:g} beats"


_BEATS = {0.25: "a quarter of a beat", 0.5: "half a beat", 1.0: "one beat"}


def _too_long(checked: Checked, line: Line, index: int, use: RuleUse) -> str:
    place, settings = checked.where[index], use.settings
    inside = checked.notes[index].midi % 12
    chromatic = "chromatic" in settings and not (place.chord | place.passing) >> inside & 1
    most = settings["chromatic" if chromatic else "beats"]
    where = "outside the scale" if chromatic else f"outside {line.chord(index).symbol}"
    return (
        f"{line.at(index)} is {where} and lasts {_beats(place.length / BEAT)}; the limit is {_beats(most)}."
    )


def _hanging(_checked: Checked, line: Line, index: int, _use: RuleUse) -> str:
    start = f"{line.at(index)} is outside {line.chord(index).symbol}"
    hangs = "the phrase stops on it" if line.after(index) is None else "a rest comes after it"
    return f"{start} and {hangs}; {listed(line.near(index))} could stay."


def _too_wide(_checked: Checked, line: Line, index: int, use: RuleUse) -> str:
    into, most = line.into(index), use.settings["semitones"]
    counted, leap = f"{abs(into)} half steps", interval_in_words(into)
    size = leap if leap == counted else f"{leap} ({counted})"
    return f"From {line.names[index - 1]} to {line.at(index)} is a leap of {size}; the limit is {most}."


def _out_of_reach(checked: Checked, line: Line, index: int, _use: RuleUse) -> str:
    into, seconds = line.into(index), checked.where[index].since / 1000
    span = f"{abs(into)} half steps in {seconds:.2f} seconds"
    return f"From {line.names[index - 1]} to {line.at(index)} are {span}: more than the hand spans in comfort, with no time to move."


def _not_turned(_checked: Checked, line: Line, index: int, _use: RuleUse) -> str:
    into = line.into(index)
    leap = f"After the leap of {interval_in_words(into)} {'up' if into > 0 else 'down'} to {line.at(index)}"
    if line.after(index) is None:
        return f"{leap} the phrase ends; a note {'below' if into > 0 else 'above'} it should follow."
    return f"{leap} comes {line.names[index + 1]}; a note {'below' if into > 0 else 'above'} it should turn it back."


def _struck(_checked: Checked, line: Line, index: int, _use: RuleUse) -> str:
    return (
        f"{line.at(index)} is the middle one of three strokes of the same note; one of them could be another."
    )


def _end(checked: Checked, line: Line, index: int, _use: RuleUse) -> str:
    last, ends = checked.progression.last, checked.where[index].ends
    tone = last.tone_at(checked.notes[index].midi % 12)
    what = (
        f"the {degree_in_words(tone.degree)} of {last.symbol}"
        if tone
        else f"outside the last chord, {last.symbol}"
    )
    wanted = [str(tone.name) for tone in last.tones if ends >> tone.name.pitch_class & 1]
    return f"{line.at(index)} ends the phrase and is {what}; {listed(wanted)} would close it."


def _far_from_tune(checked: Checked, line: Line, index: int, use: RuleUse) -> str:
    first = midi_name(checked.lead, checked.progression.key)
    away = abs(checked.notes[index].midi - checked.lead)
    return f"{line.at(index)} lies {away} half steps from {first}, where the tune begins; the limit is {use.settings['semitones']}."


def _out_of_range(checked: Checked, line: Line, index: int, use: RuleUse) -> str:
    midi = checked.notes[index].midi
    low, high = str(use.settings["low"]), str(use.settings["high"])
    if midi < checked.low:
        return f"{line.at(index)} lies {interval_in_words(checked.low - midi)} below {low}, the lowest note of the range."
    return f"{line.at(index)} lies {interval_in_words(midi - checked.high)} above {high}, the highest note of the range."


_WRONG: dict[str, _Says] = {
    "root-only": _not_root,
    "strong-beat": _foreign,
    "held-note": _held,
    "non-chord-note": _foreign,
    "enclosure-closes": _open_enclosure,
    "avoid-note": _avoided,
    "non-chord-length": _too_long,
    "settled-before-rest": _hanging,
    "leap-limit": _too_wide,
    "in-reach": _out_of_reach,
    "leap-turns-back": _not_turned,
    "repeat-limit": _struck,
    "final-note": _end,
    "lead-in": _far_from_tune,
    "range": _out_of_range,
}
"""What is wrong with a note, by the rule it breaks; of any other rule what the note is."""


def rules_kept(checked: Checked, faults: Sequence[Fault]) -> tuple[tuple[str, str], ...]:
    """The rules that hold, without those that had nothing to ask."""
    broken = {fault.kind for fault in faults}
    idle = {"lead-in"} if checked.lead < 0 or not checked.closes else set()
    idle |= set() if checked.closes else {"final-note"}
    return tuple(
        (use.rule.kind, use.text)
        for use in checked.every_use
        if use.rule.kind not in broken | idle and use.rule.window <= len(checked.notes)
    )
