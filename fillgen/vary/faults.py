"""Rules that kept notes break among themselves, whatever the new notes will be."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from fillgen.engine.generate import Engine
from fillgen.errors import NoPhraseError
from fillgen.phrase.note import Phrase
from fillgen.phrase.place import Place
from fillgen.phrase.spelling import spell
from fillgen.rules.judge import Breach
from fillgen.rules.rule import RuleUse, Seen
from fillgen.vary.likeness import rhythm_of
from fillgen.vary.variation import Bars


def faults_in(engine: Engine, phrase: Phrase, bars: Bars) -> list[Breach]:
    """The rules broken inside the kept bars, whatever the notes of other bars will be."""
    known = _Known(engine, phrase, bars)
    return [
        Breach(index, use)
        for index, note in enumerate(phrase)
        if engine.progression.bar_index(note.onset) in bars
        for use in engine.choices.uses
        if not known.may_keep(index, use)
    ]


@dataclass(frozen=True)
class _Known:
    """What is known of kept notes: their neighbours, where no new note can come between."""

    engine: Engine
    phrase: Phrase
    bars: Bars

    @cached_property
    def places(self) -> tuple[Place, ...]:
        return self.engine.places(rhythm_of(self.phrase))

    def may_keep(self, index: int, use: RuleUse) -> bool:
        """Whether a note can keep a rule, as far as its known neighbours show."""
        before, after = self._meets(index - 1), self._meets(index)
        note = Seen(self._place(index, after), self.phrase[index].midi)
        if not bool(use.rule.may_stand(note, use.settings)):
            return False
        if (use.rule.window > 1 and not before) or (use.rule.window > 2 and not after):
            return True
        return bool(use.holds((self._seen(index - 1), note, self._seen(index + 1))))

    def _place(self, index: int, after: bool) -> Place:
        place = self.places[index]
        return place if after else replace(place, before_rest=False, coming=0xFFF, ends=0, lead=-1)

    def _seen(self, index: int) -> Seen | None:
        inside = 0 <= index < len(self.phrase)
        return Seen(self.places[index], self.phrase[index].midi) if inside else None

    def _meets(self, index: int) -> bool:
        """Whether no new note can come between a note and the next; the ends of the phrase count as notes."""
        bar_index = self.engine.progression.bar_index
        first = bar_index(self.phrase[index].onset) if index >= 0 else 0
        last = bar_index(self.phrase[index + 1].onset) if index + 1 < len(self.phrase) else None
        end = len(self.engine.progression.bars) - 1 if last is None else last
        return all(bar in self.bars for bar in range(first, end + 1))


def broken(engine: Engine, phrase: Phrase, fault: Breach, hint: str = "") -> NoPhraseError:
    """The error for a kept note that breaks a rule."""
    note, progression = phrase[fault.index], engine.progression
    name = spell(progression, phrase)[fault.index]
    symbol = progression.span_at(note.onset).heard.symbol
    kind = fault.use.rule.kind
    other = "other notes to end on (--ends-on)" if kind == "final-note" else "another --level"
    return NoPhraseError(
        f'{name} breaks {kind} over {symbol} ("{fault.use.text.rstrip(".")}")',
        place=progression.place_name(note.onset),
        hint=hint or f"Keep less, or try {other}.",
    )
