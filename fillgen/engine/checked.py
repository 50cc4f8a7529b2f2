"""A phrase checked against the rules and rhythms of a level, and the lowest level that it fits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

from fillgen.chart.progression import Progression
from fillgen.engine.request import check_tempo, closing_degrees, hand_use, seconds_of, since_of
from fillgen.errors import OptionError
from fillgen.hands.reach import Reach
from fillgen.phrase.note import Phrase
from fillgen.phrase.place import Place, places
from fillgen.phrase.text import check_phrase
from fillgen.rules import judge
from fillgen.rules.pack import Level, RulePack
from fillgen.rules.rule import Example, Rule, RuleSetting, RuleUse, Seen, Verdict
from fillgen.theory.pitch import midi_name
from fillgen.theory.swing import swing_at

_USUAL_TEMPO = 120
"""Quarter notes a minute, for a hand without a tempo. Common practice: a metronome's middle, a moderate march."""


@dataclass(frozen=True)
class CheckSettings:
    """How a phrase is checked; None takes the level's own.

    `tempo` is in quarter notes a minute; a `hand` must be able to reach the notes at that tempo, eighths played as they
    swing, or at 120 if none is given. `ends_on` are degrees of the last chord, `lead_to` is the tune's first pitch,
    `low` and `high` are another range, all as for ideas. A phrase that isn't `whole` doesn't have to close. Where the check
    is `strict`, matters of style and of the level count as much as clashes do.
    """

    tempo: int | None = None
    hand: Reach | None = None
    ends_on: Sequence[str] | None = None
    whole: bool = True
    lead_to: int | None = None
    low: int | None = None
    high: int | None = None
    swings: bool = False
    strict: bool = False


USUAL = CheckSettings()


@dataclass(frozen=True)
class Checked:
    """A phrase with the level it is checked at, and all that its places depend on."""

    progression: Progression
    notes: Phrase
    level: Level
    settings: CheckSettings

    @property
    def tempo(self) -> int | None:
        """The tempo of the check, in quarter notes a minute; a hand is always judged at one."""
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
        """The tune's first pitch, -1 if it does not matter."""
        return -1 if self.settings.lead_to is None else self.settings.lead_to

    @cached_property
    def ends_on(self) -> tuple[str, ...]:
        return closing_degrees(self.settings.ends_on, self.level)

    @cached_property
    def uses(self) -> tuple[RuleUse, ...]:
        """The rules about notes and their neighbours; the range comes on top."""
        hand = (hand_use(self.hand),) if self.hand is not None else ()
        return (*(self._ending(use) for use in self.level.uses), *hand)

    def _ending(self, use: RuleUse) -> RuleUse:
        """The rule of the last note names the requested degrees."""
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
        """When the notes begin, in seconds at the tempo of the check; empty without a tempo."""
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

    @cached_property
    def breaches(self) -> tuple[judge.Breach, ...]:
        return tuple(judge.breaches(self.every_use, self.where, [note.midi for note in self.notes]))

    @property
    def fits(self) -> bool:
        """Whether the phrase keeps every rule of the level and does nothing that the level's rhythms don't do."""
        return not self.breaches and not any(judge.rhythm_beyond(self.progression, self.notes, self.level))


def _range_rule(low: int, high: int) -> Rule:
    """The range of a level as a rule; `low` and `high` are MIDI numbers."""

    def within(note: Seen, **_names: str) -> Verdict:
        return (note.midi >= low) & (note.midi <= high)

    return Rule(
        "range",
        1,
        says="Every note is between {low} and {high}.",
        reason="Each level stays in the part of the keyboard its player knows.",
        source="common practice",
        settings={"low": RuleSetting(), "high": RuleSetting()},
        keeps=Example("| C |", "C5w"),
        breaks=Example("| C |", "C8w"),
        asks=within,
    )


def checked_phrase(
    progression: Progression, notes: Phrase, level: Level, settings: CheckSettings = USUAL
) -> Checked:
    """A phrase as it is checked at a level.

    Raises PhraseError for a phrase that doesn't go with its chart, and OptionError for settings that can't be used.
    """
    checked = _readable(progression, notes, level, settings)
    if checked.low > checked.high:
        names = [midi_name(midi, progression.key) for midi in (checked.low, checked.high)]
        raise OptionError(f"the lowest note {names[0]} is above the highest, {names[1]}")
    return checked


def _readable(progression: Progression, notes: Phrase, level: Level, settings: CheckSettings) -> Checked:
    check_phrase(progression, notes)
    if settings.tempo is not None:
        check_tempo(settings.tempo)
    return Checked(progression, notes, level, settings)


def lowest_level(
    progression: Progression, notes: Phrase, pack: RulePack, settings: CheckSettings = USUAL
) -> int | None:
    """The lowest level of a pack whose rules a phrase keeps and whose rhythms it stays within; None if there isn't one.

    A range that the settings give takes the place of each level's own. Raises PhraseError for a phrase that doesn't go
    with its chart, and OptionError for a tempo or a degree that isn't offered.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.phrase.text import parse_phrase
    >>> chart = parse_chart("| F | C7 |", key="F")
    >>> [lowest_level(chart, parse_phrase(text, chart.metre), RulePack())
    ...  for text in ("F5w | C5w", "F5h A5h | E5w", "F5q G5q A5h | E5w", "F5h A5q. Bb5e~ | Bb5h G5q E5q")]
    [1, 3, 3, 4]
    """
    phrase = _readable(progression, notes, pack.level(pack.level_numbers[0]), settings)
    return next(
        (number for number in pack.level_numbers if replace(phrase, level=pack.level(number)).fits), None
    )
