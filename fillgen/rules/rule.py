"""What a rule is: a question about a window of notes, with its reason, source and examples."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from fillgen.phrase.place import Place

Pitch = Any
"""A MIDI pitch, or an array of them."""
Verdict = Any
"""True or False, or an array of them in the shape of the pitches given."""
STEP = 2
"""The widest step, in semitones."""
FOURTH = 5
"""A perfect fourth, in semitones."""
BEAT = 96
"""One beat in the unit of `Place.length`."""


@dataclass(frozen=True, slots=True)
class Seen:
    """A note as a rule sees it: its place and its pitch."""

    place: Place
    midi: Pitch

    def among(self, mask: int) -> Verdict:
        """Whether the pitch class is one of a mask's."""
        return (mask >> (self.midi % 12)) & 1 == 1

    @property
    def tone(self) -> Verdict:
        """A tone of the chord it starts over."""
        return self.among(self.place.chord)

    @property
    def foreign(self) -> Verdict:
        """Outside the chord it starts over."""
        return self.among(~self.place.chord & 0xFFF)

    @property
    def weak(self) -> bool:
        return not self.place.strong


Window = tuple[Seen | None, Seen, Seen | None]
"""A note with the sounding notes before and after it; None at either end of a phrase."""


@dataclass(frozen=True, slots=True)
class Example:
    """A phrase over a chart, in chart and phrase text, that keeps or breaks a rule.

    `lead` is the tune's first note, `tempo` the quarter notes a minute, 0 if it does not matter.
    """

    chart: str
    phrase: str
    lead: int = -1
    tempo: int = 0


@dataclass(frozen=True, slots=True)
class RuleSetting:
    """A number or a list of words that a pack gives a rule: its lowest and highest value, or the words allowed."""

    low: float = 0
    high: float = 127
    words: tuple[str, ...] = ()
    needed: bool = True

    @property
    def whole(self) -> bool:
        """Whether only whole numbers are meant."""
        return isinstance(self.low, int)


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule: its name, its question, how many notes it looks at, and what a reader should know about it.

    `window` is 1 if the question is about the note alone, 2 where it needs the note before as well, and 3
    where it needs both neighbours.
    """

    kind: str
    window: Literal[1, 2, 3]
    says: str
    reason: str
    source: str
    settings: Mapping[str, RuleSetting]
    keeps: Example
    breaks: Example
    asks: Callable[..., Verdict]
    alone: Callable[..., Verdict] | None = None
    """The part of the question that a note alone decides, where a rule that needs neighbours has one."""
    enough: Callable[[Seen], Verdict] | None = None
    """What a note alone may have, so that its neighbours don't have to be checked."""

    def may_stand(self, note: Seen, settings: Mapping[str, Any]) -> Verdict:
        """Whether the rule might allow a pitch at its place, depending on its neighbours."""
        asks = self.asks if self.window == 1 else self.alone
        return True if asks is None else asks(note, **settings)

    def holds(self, window: Window, settings: Mapping[str, Any]) -> Verdict:
        """Whether the rule holds for the note in the middle of a window."""
        before, note, after = window
        if self.window == 1:
            return self.asks(note, **settings)
        if self.window == 2:
            return True if before is None else self.asks(before, note, **settings)
        return self.asks(before, note, after, **settings)

    def text(self, settings: Mapping[str, Any]) -> str:
        """The rule as a sentence, with its numbers.

        A part in square brackets is used only if the settings it names are given, otherwise what follows its
        bar does: `[one of {allow}|none]`.
        """
        words = {key: _listed(value) for key, value in settings.items() if value != ()}
        return _OPTIONAL.sub(lambda part: _part(part, words), self.says).format(**words)

    @property
    def on_request(self) -> str:
        """The rule as a sentence where its numbers are those of a request, such as of a hand."""
        return self.text(dict.fromkeys(self.settings, "so many"))


_OPTIONAL = re.compile(r"\[([^\]|]*)\|?([^\]]*)\]")
_FIELD = re.compile(r"\{([\w-]+)\}")


def _part(part: re.Match[str], words: Mapping[str, str]) -> str:
    return part[1] if set(_FIELD.findall(part[1])) <= words.keys() else part[2]


def _listed(value: Any) -> str:
    return " or ".join(value) if isinstance(value, list | tuple) else str(value)


@dataclass(frozen=True, slots=True)
class RuleUse:
    """A rule switched on, with its numbers."""

    rule: Rule
    settings: Mapping[str, Any]

    def holds(self, window: Window) -> Verdict:
        return self.rule.holds(window, self.settings)

    @property
    def text(self) -> str:
        """The rule as a sentence, with its numbers."""
        return self.rule.text(self.settings)
