"""A player's own phrase held against the rules of a level: what fits, what does not, and the smallest change that mends it.

The rules are those by which ideas are made, asked of the finished phrase; what its rhythm does beyond the level is a
remark and no fault. The mend is found by the solver that finds ideas: of all phrases that keep the rules the one with
the fewest notes changed, and of those the one whose notes move least.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fillgen import judge
from fillgen.accompaniment import swing_at
from fillgen.errors import OptionError, PhraseError, listed
from fillgen.explain import KEPT_OVER, Line, beat_number, beat_words
from fillgen.fingering import Reach, best, beyond, difficulty, reach
from fillgen.generate import check_tempo, closing_degrees, hand_use, seconds_of, since_of
from fillgen.lattice import Lattice, Run
from fillgen.metre import TICKS
from fillgen.music import CHORD_TONE, IdeaNote, Note, Phrase, Place, Progression, places
from fillgen.notefit import degree_in_words
from fillgen.parse import phrase_text
from fillgen.pitch import interval_in_words, midi_name, read_pitch
from fillgen.rulepack import Level, RulePack
from fillgen.rules import BEAT, FOURTH, STEP, Example, Rule, RuleUse, Seen, Setting, Verdict
from fillgen.windows import Windows

_EASY, _HARD = 0.2, 0.35
"""Below and from which difficulty fingers are told to have it easy or hard. A choice made here: the C major scale is
easy at two notes a second, middling at four, hard at eight."""
_WIDEST = 24
"""Semitones: wider intervals are all as uneven."""
_USUAL_TEMPO = 120
"""Quarter notes a minute, for a hand without a tempo. Common practice: a metronome's middle, a moderate march."""
_FEW_NOTES = 4
"""A line of fewer notes has no contour to speak of."""


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
    told: str
    reason: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Mend:
    """The smallest change that mends a phrase: the notes after it, which of them changed, and in words."""

    notes: Phrase
    changed: tuple[int, ...]
    text: str
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Report:
    """What there is to say of a phrase: its notes, faults and mend, what holds, and what works.

    `names` is what textbooks call each note, `reasons` a sentence for each; `holds` are the rules that hold, by name
    and as told. `tempo` is in quarter notes a minute, None where none was given; `lowest` is the lowest level the
    phrase fits, None where none was sought or found. `reading` are remarks on how the phrase was read, such as its part
    or its timing; whoever read it adds them with `dataclasses.replace`.
    """

    progression: Progression
    level: int
    level_name: str
    notes: tuple[IdeaNote, ...]
    names: tuple[str, ...]
    reasons: tuple[str, ...]
    faults: tuple[Fault, ...]
    mend: Mend | None
    works: tuple[str, ...]
    remarks: tuple[str, ...]
    holds: tuple[tuple[str, str], ...]
    tempo: int | None = None
    lowest: int | None = None
    reading: tuple[str, ...] = ()

    @property
    def right(self) -> bool:
        """Whether no rule is broken."""
        return not self.faults

    @property
    def phrase(self) -> Phrase:
        return tuple(told.note for told in self.notes)


# What is asked


@dataclass(frozen=True)
class Settings:
    """How a phrase is held against its rules; None takes the level's own.

    `tempo` is in quarter notes a minute; a hand shall reach the phrase, its eighths played as they swing, at that tempo,
    or at 120 where none is given. `ends_on` are degrees of the last chord, `lead_to` the tune's first pitch, `low` and `high` another
    range, all as for ideas. A phrase that is not `whole` need not close.
    """

    tempo: int | None = None
    hand: Reach | None = None
    ends_on: Sequence[str] | None = None
    whole: bool = True
    lead_to: int | None = None
    low: int | None = None
    high: int | None = None
    swings: bool = False


_USUAL = Settings()


@dataclass(frozen=True)
class _Asked:
    """A phrase with the rules it is held against, and all that its places depend on."""

    progression: Progression
    notes: Phrase
    level: Level
    settings: Settings

    @property
    def tempo(self) -> int | None:
        """The tempo asked about; a hand is judged at one in any case."""
        given = self.settings.tempo
        return _USUAL_TEMPO if given is None and self.hand is not None else given

    @property
    def hand(self) -> Reach | None:
        return self.settings.hand

    @property
    def closes(self) -> bool:
        return self.settings.whole

    @property
    def low(self) -> int:
        return self.level.low if self.settings.low is None else self.settings.low

    @property
    def high(self) -> int:
        return self.level.high if self.settings.high is None else self.settings.high

    @property
    def lead(self) -> int:
        """The tune's first pitch, -1 where it does not matter."""
        return -1 if self.settings.lead_to is None else self.settings.lead_to

    @cached_property
    def ends_on(self) -> tuple[str, ...]:
        return closing_degrees(self.settings.ends_on, self.level)

    @cached_property
    def uses(self) -> tuple[RuleUse, ...]:
        """The rules about notes and their neighbours; the range is asked besides."""
        hand = (hand_use(self.hand),) if self.hand is not None else ()
        return (*(self._ending(use) for use in self.level.uses), *hand)

    def _ending(self, use: RuleUse) -> RuleUse:
        """The rule of the last note tells the degrees that are asked for."""
        return RuleUse(use.rule, {"degrees": self.ends_on}) if use.rule.kind == "final-note" else use

    @cached_property
    def range_use(self) -> RuleUse:
        names = [midi_name(midi, self.progression.key) for midi in (self.low, self.high)]
        return RuleUse(_range_rule(self.low, self.high), dict(zip(("low", "high"), names, strict=True)))

    @cached_property
    def every_use(self) -> tuple[RuleUse, ...]:
        return (*self.uses, self.range_use)

    @cached_property
    def seconds(self) -> tuple[float, ...]:
        """When the notes begin, at the tempo asked about; at none of them none."""
        if self.tempo is None:
            return ()
        onsets = [note.onset for note in self.notes]
        swing = swing_at(self.progression.metre, self.tempo, self.settings.swings)
        played = seconds_of(onsets, self.tempo, swing)
        # A triplet beside a straight eighth has no place when eighths swing: such a phrase is taken as it is written
        rises = all(before < after for before, after in pairwise(played))
        return played if rises else seconds_of(onsets, self.tempo)

    @cached_property
    def where(self) -> tuple[Place, ...]:
        rhythm = [(note.onset, note.length) for note in self.notes]
        since = since_of(self.seconds) if self.hand is not None else ()
        return places(self.progression, rhythm, self.ends_on, self.lead, closes=self.closes, since=since)

    def shortened(self, index: int, length: int) -> Place:
        """The place of a note that is let go earlier; those of all others stay as they are."""
        own = (self.notes[index].onset, length)
        following = [(note.onset, note.length) for note in self.notes[index + 1 : index + 2]]
        closes = self.closes and not following
        found = places(self.progression, [own, *following], self.ends_on, self.lead, closes=closes)[0]
        return replace(found, since=self.where[index].since)

    def breaches(self) -> list[judge.Breach]:
        return judge.breaches(self.every_use, self.where, [note.midi for note in self.notes])


def _range_rule(low: int, high: int) -> Rule:
    """The range of a level as a rule; `low` and `high` are MIDI numbers, told by name."""

    def within(note: Seen, **_names: str) -> Verdict:
        return (note.midi >= low) & (note.midi <= high)

    return Rule(
        "range",
        1,
        says="Every note lies between {low} and {high}.",
        reason="A level keeps to the part of the keyboard that its player knows.",
        source="common practice",
        settings={"low": Setting(), "high": Setting()},
        keeps=Example("| C |", "C5w"),
        breaks=Example("| C |", "C8w"),
        asks=within,
    )


def _asked(progression: Progression, notes: Phrase, level: Level, settings: Settings) -> _Asked:
    _check_phrase(progression, notes)
    if settings.tempo is not None:
        check_tempo(settings.tempo)
    asked = _Asked(progression, notes, level, settings)
    if asked.low > asked.high:
        names = [midi_name(midi, progression.key) for midi in (asked.low, asked.high)]
        raise OptionError(f"the lowest note {names[0]} lies above the highest, {names[1]}")
    return asked


def _check_phrase(progression: Progression, notes: Phrase) -> None:
    """PhraseError where notes overlap, leave the chart, or cannot be written."""
    if not notes:
        raise PhraseError("the phrase has no note", hint="A note is written like F5q.")
    for before, note in pairwise((Note(0, 0, 0), *notes)):
        place = f"bar {progression.bar_of(max(0, note.onset))}"
        if note.length <= 0 or note.onset < before.end or not 0 <= note.midi <= 127:
            hint = "Give one note at a time, each with a length, from MIDI number 0 to 127."
            raise PhraseError("the notes overlap or are no notes", place=place, hint=hint)
    if notes[-1].end > progression.length:
        bars = -(-notes[-1].end // progression.metre.bar)
        told = f"the phrase has {bars} bars, the chart {len(progression.bars)}"
        raise PhraseError(told, hint="Give the phrase as many bars as its chart.")
    try:
        phrase_text(notes, progression)
    except ValueError as error:
        hint = "Lengths are those of w h q e s, dotted or in triplets."
        raise PhraseError(str(error), hint=hint) from None


def check(
    progression: Progression,
    notes: Phrase,
    level: Level,
    settings: Settings = _USUAL,
    *,
    pack: RulePack | None = None,
) -> Report:
    """What there is to say of a phrase at a level.

    With a pack the lowest level it fits is told too. Raises PhraseError where the phrase and the chart do not go
    together, OptionError for a tempo or a degree that is not offered.

    >>> from fillgen.parse import parse_chart, parse_phrase
    >>> chart = parse_chart("| C | G7 |", key="C")
    >>> report = check(chart, parse_phrase("C5q D5q A5q G5q | F5h B4h", chart.metre), RulePack().level(3))
    >>> sorted({(fault.name, fault.kind) for fault in report.faults})
    [('A5', 'non-chord-note'), ('A5', 'strong-beat'), ('B4', 'leap-turns-back'), ('D5', 'non-chord-note')]
    """
    asked = _asked(progression, notes, level, settings)
    line = _Ranged(asked)
    faults = _faults(asked, line)
    fingers = best([note.midi for note in notes], settings.hand).fingers
    mend, unmended = _mended(asked) if faults else (None, ())
    lowest = _lowest(asked, pack) if pack is not None else None
    return Report(
        progression,
        level.number,
        level.name,
        judge.told(progression, notes, asked.where, fingers),
        line.kinds,
        tuple(line.sentence(index) for index in range(len(notes))),
        faults,
        mend,
        _works(asked, line, faults),
        (*unmended, *_remarks(asked), *(_lowest_told(lowest, pack) if pack is not None else ())),
        _holds(asked, faults),
        settings.tempo,
        lowest,
    )


class _Ranged(Line):
    """A phrase as it is told, with no other note proposed than those of its range, where the range has any."""

    def __init__(self, asked: _Asked) -> None:
        super().__init__(asked.progression, asked.notes, asked.where)
        self._range = range(asked.low, asked.high + 1)

    def near(self, index: int) -> list[str]:
        every = super().near(index)
        return self._inside(every) or every

    def goals(self, index: int) -> list[str]:
        return self._inside(super().goals(index))

    def _inside(self, names: Sequence[str]) -> list[str]:
        return [name for name in names if read_pitch(name) in self._range]


# Faults


def _faults(asked: _Asked, line: Line) -> tuple[Fault, ...]:
    told = []
    for breach in asked.breaches():
        note, rule = asked.notes[breach.index], breach.use.rule
        told.append(
            Fault(
                rule.kind,
                breach.index,
                asked.progression.bar_of(note.onset),
                beat_number(asked.progression.metre, note.onset),
                line.names[breach.index],
                breach.use.told(),
                rule.reason,
                _wrong(asked, line, breach),
            )
        )
    return tuple(told)


def _wrong(asked: _Asked, line: Line, breach: judge.Breach) -> str:
    """What is wrong with one note, by the rule that it breaks."""
    says = _WRONG.get(breach.use.rule.kind)
    return says(asked, line, breach.index, breach.use) if says else line.says(breach.index)


_Says = Callable[[_Asked, Line, int, RuleUse], str]


def _foreign(asked: _Asked, line: Line, index: int, use: RuleUse) -> str:
    """A note outside its chord: its textbook name where it has one, and that the level does not use it."""
    says = line.says(index)
    return f"{says} {_refused(asked, line, index, use)}" if line.kinds[index] else says


def _refused(asked: _Asked, line: Line, index: int, use: RuleUse) -> str:
    """Why a note that textbooks know is still against the rule."""
    kind, level = line.kinds[index], f"Level {asked.level.number}"
    if kind in use.settings.get("allow", ()):
        return f"{level} uses {_many(kind)} in the scale only, and none a half step above a chord note."
    return f"{level} does not use {_many(kind)}."


def _many(kind: str) -> str:
    """Several notes of a kind.

    >>> _many("escape tone"), _many("accented passing")
    ('escape tones', 'accented passing notes')
    """
    return f"{kind} notes" if kind.endswith(("passing", "neighbour", "approach")) else f"{kind}s"


def _not_root(_asked: _Asked, line: Line, index: int, _use: RuleUse) -> str:
    chord, midi = line.chord(index), line.notes[index].midi
    tone = chord.tone_at(midi % 12)
    what = f"the {degree_in_words(tone.degree)} of {chord.symbol}" if tone else f"outside {chord.symbol}"
    return f"{line.at(index)} is {what}; its root is {chord.root}."


def _held(asked: _Asked, line: Line, index: int, use: RuleUse) -> str:
    note, held, metre = asked.notes[index], line.held_into(index), asked.progression.metre
    if line.kinds[index] in KEPT_OVER:
        return _foreign(asked, line, index, use)
    if held is None:
        tick = asked.progression.strong_between(note.onset, note.end)[0]
        return f"{line.at(index)} is outside {line.chord(index).symbol} and held across {beat_words(metre, tick)}."
    told = f"{line.at(index)} is held into {held[1].symbol}, which lacks it"
    return f"{told}; it could end before {beat_words(metre, held[0])}, or be a note of both chords."


def _open_enclosure(_asked: _Asked, line: Line, index: int, _use: RuleUse) -> str:
    pair = f"{line.names[index - 1]} and {line.at(index)}"
    after = line.after(index)
    goes = f"go on to {line.names[index + 1]}" if after is not None else "end the phrase"
    return f"{pair} lie on either side of a note like an enclosure, but {goes}, not to the chord note between them."


def _avoided(asked: _Asked, line: Line, index: int, use: RuleUse) -> str:
    place, chord = asked.where[index], line.chord(index)
    below = _tone_below(line, index)
    rubs = f"{line.at(index)} lies a half step above {below}, a note of {chord.symbol}"
    if place.strong:
        return f"{rubs}, and stands on a strong beat, where the two clash."
    return f"{rubs}, and lasts {_beats(place.length / BEAT)} over it; {_beats(use.settings['beats'])} is the most."


def _tone_below(line: Line, index: int) -> str:
    midi = line.notes[index].midi - 1
    tone = line.chord(index).tone_at(midi % 12)
    assert tone is not None
    return tone.name.at(midi)


def _beats(beats: float) -> str:
    """A number of beats in words."""
    return _BEATS.get(beats) or f"{beats:g} beats"


_BEATS = {0.25: "a quarter of a beat", 0.5: "half a beat", 1.0: "one beat"}


def _too_long(asked: _Asked, line: Line, index: int, use: RuleUse) -> str:
    place, settings = asked.where[index], use.settings
    inside = asked.notes[index].midi % 12
    chromatic = "chromatic" in settings and not (place.chord | place.passing) >> inside & 1
    most = settings["chromatic" if chromatic else "beats"]
    where = "outside the scale" if chromatic else f"outside {line.chord(index).symbol}"
    return f"{line.at(index)} is {where} and lasts {_beats(place.length / BEAT)}; {_beats(most)} is the most."


def _hanging(_asked: _Asked, line: Line, index: int, _use: RuleUse) -> str:
    told = f"{line.at(index)} is outside {line.chord(index).symbol}"
    hangs = "the phrase stops on it" if line.after(index) is None else "a rest comes after it"
    return f"{told} and {hangs}; {listed(line.near(index))} could stay."


def _too_wide(_asked: _Asked, line: Line, index: int, use: RuleUse) -> str:
    into, most = line.into(index), use.settings["semitones"]
    counted, leap = f"{abs(into)} half steps", interval_in_words(into)
    told = leap if leap == counted else f"{leap} ({counted})"
    return f"From {line.names[index - 1]} to {line.at(index)} is a leap of {told}; {most} are the most."


def _out_of_reach(asked: _Asked, line: Line, index: int, _use: RuleUse) -> str:
    into, seconds = line.into(index), asked.where[index].since / 1000
    span = f"{abs(into)} half steps in {seconds:.2f} seconds"
    return f"From {line.names[index - 1]} to {line.at(index)} are {span}: more than the hand spans in comfort, with no time to move."


def _not_turned(_asked: _Asked, line: Line, index: int, _use: RuleUse) -> str:
    into = line.into(index)
    leap = f"After the leap of {interval_in_words(into)} {'up' if into > 0 else 'down'} to {line.at(index)}"
    if line.after(index) is None:
        return f"{leap} the phrase ends; a note {'below' if into > 0 else 'above'} it should follow."
    return f"{leap} comes {line.names[index + 1]}; a note {'below' if into > 0 else 'above'} it should turn it back."


def _struck(_asked: _Asked, line: Line, index: int, _use: RuleUse) -> str:
    return (
        f"{line.at(index)} is the middle one of three strokes of the same note; one of them could be another."
    )


def _end(asked: _Asked, line: Line, index: int, _use: RuleUse) -> str:
    last, ends = asked.progression.last, asked.where[index].ends
    tone = last.tone_at(asked.notes[index].midi % 12)
    what = (
        f"the {degree_in_words(tone.degree)} of {last.symbol}"
        if tone
        else f"outside the last chord, {last.symbol}"
    )
    wanted = [str(tone.name) for tone in last.tones if ends >> tone.name.pitch_class & 1]
    return f"{line.at(index)} ends the phrase and is {what}; {listed(wanted)} would close it."


def _far_from_tune(asked: _Asked, line: Line, index: int, use: RuleUse) -> str:
    first = midi_name(asked.lead, asked.progression.key)
    away = abs(asked.notes[index].midi - asked.lead)
    return f"{line.at(index)} lies {away} half steps from {first}, where the tune begins; {use.settings['semitones']} are the most."


def _out_of_range(asked: _Asked, line: Line, index: int, use: RuleUse) -> str:
    midi = asked.notes[index].midi
    low, high = str(use.settings["low"]), str(use.settings["high"])
    if midi < asked.low:
        return f"{line.at(index)} lies {interval_in_words(asked.low - midi)} below {low}, the lowest note of the range."
    return f"{line.at(index)} lies {interval_in_words(midi - asked.high)} above {high}, the highest note of the range."


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


def _holds(asked: _Asked, faults: Sequence[Fault]) -> tuple[tuple[str, str], ...]:
    """The rules that hold, without those that had nothing to ask."""
    broken = {fault.kind for fault in faults}
    idle = {"lead-in"} if asked.lead < 0 or not asked.closes else set()
    idle |= set() if asked.closes else {"final-note"}
    return tuple(
        (use.rule.kind, use.told())
        for use in asked.every_use
        if use.rule.kind not in broken | idle and use.rule.window <= len(asked.notes)
    )


# The mend


_Values = NDArray[np.float64]


@dataclass(frozen=True)
class _State:
    """A length that a note may have, and its place with that length."""

    length: int
    place: Place


def _mended(asked: _Asked) -> tuple[Mend | None, tuple[str, ...]]:
    """The smallest mend; where there is none, a sentence that says so.

    Notes may change their pitch, and may end where a strong beat or a chord begins.
    """
    states = [_lengths(asked, index) for index in range(len(asked.notes))]
    found = _nearest(asked, Windows(asked.uses, asked.low, asked.high), states)
    return (_mend(asked, found), ()) if found else (None, (_no_mend(asked),))


def _lengths(asked: _Asked, index: int) -> list[_State]:
    """A note as it is, and let go at each strong beat or new chord that it is held across."""
    note = asked.notes[index]
    ends = reversed(asked.progression.strong_between(note.onset, note.end))
    cut = [_State(end - note.onset, asked.shortened(index, end - note.onset)) for end in ends]
    return [_State(note.length, asked.where[index]), *cut]


def _nearest(asked: _Asked, windows: Windows, states: Sequence[Sequence[_State]]) -> Phrase | None:
    """Of all phrases that keep the rules the one with the fewest notes changed, then with the least movement.

    What is still equal is told apart by the time by which notes are shortened, then by how evenly the line moves.
    """
    domains = [[windows.domain(state.place) for state in each] for each in states]
    pitches = [np.concatenate(each).astype(np.int64) for each in domains]
    runs = [Run(index, np.arange(each.size)[:, None]) for index, each in enumerate(pitches)]
    if not all(each.size for each in pitches):
        return None
    costs = zip(_costs(asked, states, domains, pitches), range(len(states)), strict=True)
    nearest = _smallest([np.where(_table(windows, states, i), cost, np.inf) for cost, i in costs])
    uneven = zip(nearest, _unevenness(pitches), strict=True)
    total, rows = Lattice(runs, nearest).best([np.where(table, -each, -np.inf) for table, each in uneven])
    if total == -np.inf:
        return None
    lengths = [
        _repeated([state.length for state in each], own) for each, own in zip(states, domains, strict=True)
    ]
    return tuple(
        Note(note.onset, int(length[row]), int(pitch[row]))
        for note, length, pitch, row in zip(asked.notes, lengths, pitches, rows[0].tolist(), strict=True)
    )


def _repeated(each: Sequence[int], domains: Sequence[NDArray[np.int16]]) -> NDArray[np.int64]:
    """A number of each state, for every pitch of its domain."""
    return np.repeat(np.asarray(each, dtype=np.int64), [domain.size for domain in domains])


def _table(windows: Windows, states: Sequence[Sequence[_State]], index: int) -> NDArray[np.bool_]:
    """What may stand between what, for all lengths of a note and its neighbours together."""
    before: Sequence[_State | None] = states[index - 1] if index else (None,)
    after: Sequence[_State | None] = states[index + 1] if index + 1 < len(states) else (None,)
    rows = []
    for one in before:
        blocks = [
            [windows.joined(one and one.place, two.place, three and three.place) for three in after]
            for two in states[index]
        ]
        rows.append(np.concatenate([np.concatenate(row, axis=2) for row in blocks], axis=1))
    return np.concatenate(rows, axis=0)


def _costs(
    asked: _Asked,
    states: Sequence[Sequence[_State]],
    domains: Sequence[Sequence[NDArray[np.int16]]],
    pitches: Sequence[NDArray[np.int64]],
) -> Iterator[_Values]:
    """What the change of each note costs, in axes of the note before, the note and the note after.

    A note counts for more than all semitones together, a semitone for more than all ticks. Every sum is a whole number
    that a float holds exactly, for phrases of up to 4,000 notes in as many beats.
    """
    notes = asked.notes
    a_semitone = float(asked.progression.length + 1)
    a_note = a_semitone * (128 * len(notes) + 1)
    for note, pitch, each, own in zip(notes, pitches, states, domains, strict=True):
        cut = note.length - _repeated([state.length for state in each], own)
        moved = np.abs(pitch - note.midi)
        cost = a_note * ((cut > 0) | (moved > 0)) + a_semitone * moved + cut
        yield cost[None, :, None]


def _smallest(costs: Sequence[_Values]) -> list[NDArray[np.bool_]]:
    """The windows through which a phrase of the smallest cost goes, and no other phrase; a forbidden one costs inf."""
    kept = []
    following: _Values = np.zeros((costs[-1].shape[1], 1))
    for cost in reversed(costs):
        whole = cost + following[None]
        following = whole.min(axis=2)
        kept.append((whole == following[:, :, None]) & np.isfinite(whole))
    kept[-1] &= (following == following.min())[:, :, None]
    return kept[::-1]


def _unevenness(pitches: Sequence[NDArray[np.int64]]) -> Iterator[_Values]:
    """How unevenly the line moves to each note, in axes of the note before, the note and the note after."""
    yield np.zeros((1, pitches[0].size, 1))
    for before, now in pairwise(pitches):
        gaps = np.minimum(np.abs(before[:, None] - now[None, :]), _WIDEST)
        yield gaps.astype(np.float64)[:, :, None] ** 2


def _mend(asked: _Asked, notes: Phrase) -> Mend:
    line, old = Line(asked.progression, notes), Line(asked.progression, asked.notes)
    pairs = list(zip(asked.notes, notes, strict=True))
    changed = tuple(index for index, (before, after) in enumerate(pairs) if before != after)
    return Mend(
        notes,
        changed,
        phrase_text(notes, asked.progression),
        tuple(_change(asked, old, line, index) for index in changed),
    )


def _change(asked: _Asked, old: Line, new: Line, index: int) -> str:
    """A changed note in a sentence."""
    progression, before, after = asked.progression, asked.notes[index], new.notes[index]
    told = f"bar {progression.bar_of(before.onset)}, {beat_words(progression.metre, before.onset)}: {old.names[index]}"
    parts = [f"becomes {new.names[index]}"] if before.midi != after.midi else []
    if after.end != before.end:
        parts.append(f"ends before {_end_words(progression, after.end)}")
    return f"{told} {' and '.join(parts)}"


def _end_words(progression: Progression, tick: int) -> str:
    words = beat_words(progression.metre, tick)
    return f"{words} of bar {progression.bar_of(tick)}"


def _no_mend(asked: _Asked) -> str:
    """Why a phrase has no mend over its rhythm: the rules without which it would have one."""
    states = [_lengths(asked, index) for index in range(len(asked.notes))]
    named = [
        use.rule.kind
        for use in asked.uses
        if _nearest(asked, Windows([u for u in asked.uses if u is not use], asked.low, asked.high), states)
    ]
    told = "No other notes in this rhythm keep every rule"
    return f"{told}; without {listed(named)} some would." if named else f"{told}: give it another rhythm."


# Rhythm and levels


def _remarks(asked: _Asked) -> tuple[str, ...]:
    return (*_rhythm_told(asked), *_silent_bars(asked), *_hand_told(asked))


def _rhythm_told(asked: _Asked) -> Iterator[str]:
    """What the rhythm does that the level's rhythms do not."""
    for what, found in _rhythm_beyond(asked.progression, asked.notes, asked.level):
        where = listed([_place_words(asked.progression, note.onset) for note in found[:3]], "and")
        more = f", and {len(found) - 3} more" if len(found) > 3 else ""
        yield f"The rhythms of level {asked.level.number} have no {what}; here: {where}{more}."


def _place_words(progression: Progression, tick: int) -> str:
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


def _silent_bars(asked: _Asked) -> Iterator[str]:
    """That a whole phrase stops before its last bar."""
    last = asked.progression.bar_of(asked.notes[-1].end - 1)
    end = asked.progression.bar_of(asked.progression.length - 1)
    if asked.closes and last < end:
        silent = f"bar {end} is" if last + 1 == end else f"bars {last + 1} to {end} are"
        yield f"The phrase stops in bar {last}: {silent} silent."


def _hand_told(asked: _Asked) -> Iterator[str]:
    """How hard the phrase is for a hand at its tempo, and what lies out of its reach."""
    if asked.tempo is None:
        return
    if asked.settings.tempo is None:
        yield f"No tempo is given: the hand is judged at {asked.tempo} quarter notes a minute."
    hand = asked.hand or reach()
    pitches = [note.midi for note in asked.notes]
    hard = difficulty(pitches, asked.seconds, hand)
    word = "easy" if hard < _EASY else "hard" if hard >= _HARD else "middling"
    yield f"For the fingers of a {hand.size} hand it is {word} at {asked.tempo} quarter notes a minute (difficulty {hard:.2f} of 1)."
    far = beyond(pitches, asked.seconds, hand)
    if far:
        where = listed(
            [_place_words(asked.progression, asked.notes[index].onset) for index in far[:3]], "and"
        )
        yield (
            f"A {hand.size} hand does not reach {where} in time: play it slower or leave it out, do not force it. "
            "If a hand hurts, stop, and ask a teacher, or a clinician where it lasts."
        )


def lowest_level(
    progression: Progression,
    notes: Phrase,
    pack: RulePack,
    settings: Settings = _USUAL,
) -> int | None:
    """The lowest level of a pack whose rules a phrase keeps and whose rhythms it stays with; None where there is none.

    Errors are those of `check`.

    >>> from fillgen.parse import parse_chart, parse_phrase
    >>> chart = parse_chart("| C | G7 |", key="C")
    >>> [lowest_level(chart, parse_phrase(text, chart.metre), RulePack())
    ...  for text in ("C5w | G4w", "C5h E5h | B4w", "C5q D5q E5h | B4w", "C5h E5q. F5e~ | F5h D5q B4q")]
    [1, 2, 3, 4]
    """
    return _lowest(_asked(progression, notes, pack.level(pack.level_numbers[0]), settings), pack)


def _lowest(asked: _Asked, pack: RulePack) -> int | None:
    for level in map(pack.level, pack.level_numbers):
        here = replace(asked, level=level)
        if not here.breaches() and not any(_rhythm_beyond(asked.progression, asked.notes, level)):
            return level.number
    return None


def _lowest_told(lowest: int | None, pack: RulePack) -> Iterator[str]:
    if lowest is None:
        yield "No level fits the phrase as it is."
    else:
        yield f"The lowest level that fits the phrase is {lowest}, {pack.level(lowest).name}."


# What works


def _works(asked: _Asked, line: Line, faults: Sequence[Fault]) -> tuple[str, ...]:
    """What can honestly be said for a phrase; if hardly anything can, the one thing that does."""
    told = [
        *_right_bars(asked, faults),
        *_strong_beats(asked, line),
        *_closing(asked, line, faults),
        *_peak(asked, line),
        *_turned_leaps(line),
        *_steps(line),
        *_range(line, faults),
    ]
    return tuple(told or [_one_thing(asked, line, faults)])


def _right_bars(asked: _Asked, faults: Sequence[Fault]) -> Iterator[str]:
    played = list(dict.fromkeys(asked.progression.bar_of(note.onset) for note in asked.notes))
    right = [bar for bar in played if bar not in {fault.bar for fault in faults}]
    if right == played:
        yield f"Every note keeps every rule of level {asked.level.number}."
    elif right:
        which = (
            f"Bar {right[0]} keeps" if len(right) == 1 else f"Bars {listed([*map(str, right)], 'and')} keep"
        )
        yield f"{which} every rule."


def _strong_beats(asked: _Asked, line: Line) -> Iterator[str]:
    strong = [index for index, place in enumerate(asked.where) if place.strong]
    tones = [index for index in strong if bool(line.windows[index][1].tone)]
    if strong and len(tones) == len(strong):
        yield _ALL_STRONG.get(len(strong), f"All {len(strong)} notes on strong beats belong to their chords.")
    elif strong and 3 * len(tones) >= 2 * len(strong):
        yield f"{len(tones)} of {len(strong)} notes on strong beats belong to their chords."


_ALL_STRONG = {
    1: "The note on a strong beat belongs to its chord.",
    2: "Both notes on strong beats belong to their chords.",
}


def _closing(asked: _Asked, line: Line, faults: Sequence[Fault]) -> Iterator[str]:
    last, end = asked.progression.last, len(asked.notes) - 1
    tone = last.tone_at(asked.notes[end].midi % 12)
    fits = asked.where[end].ends >> asked.notes[end].midi % 12 & 1
    if not fits or tone is None or any(fault.index == end for fault in faults):
        return
    yield f"It ends on {line.names[end]}, the {degree_in_words(tone.degree)} of {last.symbol}, where a phrase may close."


def _peak(asked: _Asked, line: Line) -> Iterator[str]:
    pitches = [note.midi for note in asked.notes]
    top = max(pitches)
    reached = [i for i, midi in enumerate(pitches) if midi == top and (not i or pitches[i - 1] != top)]
    if len(pitches) >= _FEW_NOTES and len(reached) == 1 and min(pitches) < top:
        bar = asked.progression.bar_of(asked.notes[reached[0]].onset)
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
    if any(fault.kind == "range" for fault in faults) or low == high:
        return
    names = [line.names[pitches.index(end)] for end in (low, high)]
    yield f"It stays between {names[0]} and {names[1]} and spans {interval_in_words(high - low)}."


def _one_thing(asked: _Asked, line: Line, faults: Sequence[Fault]) -> str:
    tone = next((index for index, role in enumerate(line.roles) if role == CHORD_TONE), None)
    if tone is not None:
        bar = asked.progression.bar_of(asked.notes[tone].onset)
        return f"{line.at(tone)} of bar {bar} belongs to its chord: begin from there."
    held = _holds(asked, faults)
    if held:
        return f"One rule holds throughout: {held[0][1][0].lower()}{held[0][1][1:]}"
    whole = asked.notes[-1].end / TICKS
    return f"Its rhythm counts out, {whole:g} quarter notes from first to last: the notes can change and the rhythm stay."
