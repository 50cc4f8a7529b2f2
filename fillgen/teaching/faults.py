"""What to mend in a phrase, and where: what clashes, what is a matter of style, what goes beyond the level."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from typing import Literal

from fillgen.engine.checked import Checked
from fillgen.errors import listed
from fillgen.rules import judge
from fillgen.rules.rule import BEAT, RuleUse
from fillgen.teaching.clashes import ClashRule, clash_rule, rubbing
from fillgen.teaching.level import rhythm_beyond_words
from fillgen.teaching.line import Line
from fillgen.teaching.naming import KEPT_OVER, kinds
from fillgen.teaching.notefit import degree_in_words
from fillgen.teaching.sentences import says
from fillgen.teaching.words import beat_number, beat_words
from fillgen.theory.pitch import interval_in_words, midi_name

FaultKind = Literal["clash", "style", "level"]
"""A clash sounds wrong or is out of reach; a matter of style is a choice that few would make; the rest is beyond the level."""
_CLASHES = {"in-reach"}
"""Rules of a level that clash when broken."""
_STYLE = {"repeat-limit", "leap-turns-back", "settled-before-rest", "final-note", "lead-in"}
"""Rules of a level that are a matter of style."""
_ABOUT_FOREIGN_NOTES = {
    "root-only",
    "strong-beat",
    "held-note",
    "non-chord-note",
    "enclosure-closes",
    "avoid-note",
    "non-chord-length",
    "settled-before-rest",
    "final-note",
}
"""Rules of a level that have nothing to add where a note clashes."""


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault at a note: how serious it is, by which rule, the note, where it begins, and what is wrong with it.

    `kind` is clash, style or level; `rule` is the rule's name, `says` and `reason` what it says and why. `index` counts notes
    from 0, `beat` counts from 1; `sentence` is about this very note.
    """

    kind: FaultKind
    rule: str
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
    clashing = clashes_of(checked, line)
    found = [
        _fault(checked, line, "clash", index, rule.name, rule.says, rule.reason, _clash(checked, line, index))
        for index, rule in clashing.items()
    ]
    for breach in checked.breaches:
        if not _said_by_clash(breach, clashing):
            rule, wrong = breach.use.rule, _wrong(checked, line, breach)
            kind = _kind(rule.kind)
            found.append(
                _fault(checked, line, kind, breach.index, rule.kind, breach.use.text, rule.reason, wrong)
            )
    found += _beyond_rhythms(checked, line)
    return tuple(sorted(found, key=lambda fault: fault.index))


def clashes_of(checked: Checked, line: Line) -> dict[int, ClashRule]:
    """The notes that clash with their chords, counted from 0, with the rules by which they do."""
    asked = ((index, clash_rule(line, index, closes=checked.closes)) for index in range(len(line.notes)))
    return {index: rule for index, rule in asked if rule is not None}


def all_clashes(checked: Checked, line: Line) -> set[int]:
    """The notes that clash with their chords or are out of reach, counted from 0."""
    far = {breach.index for breach in checked.breaches if breach.use.rule.kind in _CLASHES}
    return far | clashes_of(checked, line).keys()


def _fault(
    checked: Checked,
    line: Line,
    kind: FaultKind,
    index: int,
    rule: str,
    statement: str,
    reason: str,
    sentence: str,
) -> Fault:
    progression, onset = checked.progression, checked.notes[index].onset
    bar, beat = progression.bar_of(onset), beat_number(progression.timeline, onset)
    return Fault(kind, rule, index, bar, beat, line.names[index], statement, reason, sentence)


def _kind(rule: str) -> FaultKind:
    """How serious it is to break a rule of a level if nothing clashes otherwise."""
    return "clash" if rule in _CLASHES else "style" if rule in _STYLE else "level"


def _said_by_clash(breach: judge.Breach, clashing: Collection[int]) -> bool:
    """Whether a rule of the level says no more about a note than that it clashes."""
    rule = breach.use.rule.kind
    about = {breach.index, breach.index - 1} if rule == "enclosure-closes" else {breach.index}
    return rule in _ABOUT_FOREIGN_NOTES and not about.isdisjoint(clashing)


def _beyond_rhythms(checked: Checked, line: Line) -> Iterator[Fault]:
    """What the rhythm does that those of the level don't, note by note."""
    at = {note.onset: index for index, note in enumerate(checked.notes)}
    reason = "Each level keeps to rhythms its player can count."
    for statement, does, notes in rhythm_beyond_words(checked):
        for index in (at[note.onset] for note in notes):
            wrong = f"{line.at(index)} {does}."
            yield _fault(checked, line, "level", index, "rhythm", statement, reason, wrong)


def _clash(checked: Checked, line: Line, index: int) -> str:
    """What is wrong with a note that clashes."""
    rubs = rubbing(line, index)
    against = f" It rubs against {rubs}, a half step away." if rubs else ""
    held = bool(line.windows[index][1].tone)
    return f"{_held_over(checked, line, index) if held else says(line, index)}{against}"


def _wrong(checked: Checked, line: Line, breach: judge.Breach) -> str:
    """What is wrong with one note, by the rule that it breaks."""
    wrong = _WRONG.get(breach.use.rule.kind)
    return wrong(checked, line, breach.index, breach.use) if wrong else says(line, breach.index)


_Says = Callable[[Checked, Line, int, RuleUse], str]


def _foreign(checked: Checked, line: Line, index: int, use: RuleUse) -> str:
    """A note outside its chord: what it is, and which of its kind the level does not use where it uses others."""
    said, kind = says(line, index), kinds(line)[index]
    if kind in use.settings.get("allow", ()):
        level = f"Level {checked.level.number}"
        return (
            f"{said} {level} uses {_many(kind)} only in the scale, and none a half step above a chord note."
        )
    return said


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
    if kinds(line)[index] in (*KEPT_OVER, "pedal"):
        return _foreign(checked, line, index, use)
    return _held_over(checked, line, index)


def _held_over(checked: Checked, line: Line, index: int) -> str:
    """A note held where it doesn't belong."""
    note, held, metre = checked.notes[index], line.held_into(index), checked.progression.timeline
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
        return f"{rubs}, and falls on a strong beat, where it rubs most."
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
    return f"From {line.names[index - 1]} to {line.at(index)} is {span}: more than the hand spans comfortably, with no time to move."


def _not_turned(_checked: Checked, line: Line, index: int, _use: RuleUse) -> str:
    into = line.into(index)
    leap = f"After the leap of {interval_in_words(into)} {'up' if into > 0 else 'down'} to {line.at(index)}"
    if line.after(index) is None:
        return f"{leap} the phrase ends; a note {'below' if into > 0 else 'above'} it should follow."
    return f"{leap} comes {line.names[index + 1]}; a note {'below' if into > 0 else 'above'} it should turn it back."


def _struck(_checked: Checked, line: Line, index: int, _use: RuleUse) -> str:
    return f"{line.at(index)} is the second of three strokes of the same note; one of them could be another note."


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
    first = midi_name(checked.lead, checked.progression.end_key)
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


def rules_kept(checked: Checked) -> tuple[tuple[str, str], ...]:
    """The rules that hold, without those that didn't apply."""
    broken = {breach.use.rule.kind for breach in checked.breaches}
    idle = {"lead-in"} if checked.lead < 0 or not checked.closes else set()
    idle |= set() if checked.closes else {"final-note"}
    return tuple(
        (use.rule.kind, use.text)
        for use in checked.every_use
        if use.rule.kind not in broken | idle and use.rule.window <= len(checked.notes)
    )
