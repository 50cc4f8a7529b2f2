"""How a phrase is to be checked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

from fillgen.chart.progression import Progression
from fillgen.engine.request import check_tempo, closing_degrees, hand_use, seconds_of, since_of
from fillgen.errors import OptionError, PhraseError
from fillgen.hands.reach import Reach
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.place import Place, places
from fillgen.phrase.text import phrase_text
from fillgen.rules import judge
from fillgen.rules.pack import Level
from fillgen.rules.rule import Example, Rule, RuleUse, Seen, Setting, Verdict
from fillgen.theory.pitch import midi_name
from fillgen.theory.swing import swing_at

_USUAL_TEMPO = 120
"""Quarter notes a minute, for a hand without a tempo. Common practice: a metronome's middle, a moderate march."""


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


USUAL = Settings()


@dataclass(frozen=True)
class Asked:
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


def ask(progression: Progression, notes: Phrase, level: Level, settings: Settings) -> Asked:
    """A phrase with all that is asked of it at a level; PhraseError or OptionError where that cannot be asked."""
    _check_phrase(progression, notes)
    if settings.tempo is not None:
        check_tempo(settings.tempo)
    asked = Asked(progression, notes, level, settings)
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
