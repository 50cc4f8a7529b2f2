"""A player's own phrase judged: what clashes, what is a matter of style, what goes beyond the level, and how to mend it.

A clash is a note outside its chord that goes nowhere, by what handbooks say about such notes, or one that is out of reach. The
rules of a level, by which ideas are made, are asked as well; what breaks them and doesn't clash is style or beyond the level.
The mend is found by the solver that finds ideas: the fewest notes changed, and of those the one whose notes move least.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fillgen.chart.progression import Progression
from fillgen.engine.checked import USUAL, Checked, CheckSettings, checked_phrase, lowest_level
from fillgen.errors import listed, many
from fillgen.hands.fingering import best, beyond, difficulty
from fillgen.hands.reach import reach
from fillgen.phrase.idea import IdeaNote
from fillgen.phrase.note import Phrase
from fillgen.rules import judge
from fillgen.rules.pack import Level, RulePack
from fillgen.teaching.faults import Fault, FaultKind, all_clashes, faults_of, rules_kept
from fillgen.teaching.level import lowest_words, place_words
from fillgen.teaching.line import Line
from fillgen.teaching.mend import Mend, mended
from fillgen.teaching.naming import kinds
from fillgen.teaching.praise import what_works
from fillgen.teaching.sentences import sentence
from fillgen.theory.pitch import read_pitch

_EASY, _HARD = 0.2, 0.35
"""The difficulties below and above which a melody counts as easy or hard for the fingers. A choice made here: the C major scale is
easy at two notes a second, moderate at four, hard at eight."""


@dataclass(frozen=True)
class Report:
    """A report on a phrase: its notes, faults and mend, what holds, and what works.

    `names` is what textbooks call each note, `reasons` a sentence for each; `holds` are the rules that hold, by name
    and text. `tempo` is in quarter notes a minute, None if none was given; `lowest` is the lowest level the
    phrase fits, None if none was searched for or found. `reading` are remarks on how the phrase was read, such as its part
    or its timing; whoever read it adds them with `dataclasses.replace`. Where the check is `strict`, every fault counts.
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
    strict: bool = False

    @property
    def right(self) -> bool:
        """Whether nothing clashes; in a strict check, whether there is no fault of any kind."""
        return not (self.faults if self.strict else self.of_kind("clash"))

    def of_kind(self, kind: FaultKind) -> tuple[Fault, ...]:
        """The faults of one kind: clash, style or level."""
        return tuple(fault for fault in self.faults if fault.kind == kind)

    @property
    def verdict(self) -> str:
        """The verdict on the phrase in one sentence."""
        clashes, style, level = (
            len({fault.index for fault in self.of_kind(kind)}) for kind in ("clash", "style", "level")
        )
        if not self.faults:
            return f"Nothing clashes: the phrase keeps every rule of level {self.level}."
        rest = [f"{many(style, 'note')} {_is(style)} a matter of style"] if style else []
        rest += (
            [f"{many(level, 'note')} {'goes' if level == 1 else 'go'} beyond level {self.level}"]
            if level
            else []
        )
        first = (
            f"{many(clashes, 'note')} {'clashes' if clashes == 1 else 'clash'}"
            if clashes
            else "Nothing clashes"
        )
        return f"{first}{'; ' if rest else ''}{' and '.join(rest)}."

    @property
    def phrase(self) -> Phrase:
        return tuple(each.note for each in self.notes)


def _is(count: int) -> str:
    return "is" if count == 1 else "are"


def check(
    progression: Progression,
    notes: Phrase,
    level: Level,
    settings: CheckSettings = USUAL,
    *,
    pack: RulePack | None = None,
) -> Report:
    """A report on a phrase at a level.

    With a pack the report names the lowest level it fits as well. Raises PhraseError if the phrase and the chart do not go
    together, OptionError for a tempo or a degree that is not offered.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.phrase.text import parse_phrase
    >>> chart = parse_chart("| C | G7 |", key="C")
    >>> report = check(chart, parse_phrase("C5q D5q A5q G5q | F5h B4h", chart.metre), RulePack().level(3))
    >>> [(fault.name, fault.kind) for fault in report.faults]
    [('D5', 'clash'), ('A5', 'level'), ('A5', 'level'), ('B4', 'style')]
    """
    checked = checked_phrase(progression, notes, level, settings)
    line = _Ranged(checked)
    faults = faults_of(checked, line)
    fingers = best([note.midi for note in notes], settings.hand)
    mend, unmended = mended(checked) if _to_mend(checked, line) else (None, ())
    lowest = lowest_level(progression, notes, pack, settings) if pack is not None else None
    return Report(
        progression,
        level.number,
        level.name,
        judge.annotated(progression, notes, checked.where, fingers),
        kinds(line),
        tuple(sentence(line, index) for index in range(len(notes))),
        faults,
        mend,
        what_works(checked, line, faults),
        (*unmended, *_remarks(checked), *(lowest_words(lowest, pack) if pack is not None else ())),
        rules_kept(checked),
        settings.tempo,
        lowest,
        strict=settings.strict,
    )


def _to_mend(checked: Checked, line: Line) -> bool:
    """Whether to search for other notes: for clashes, or in a strict check for every broken rule."""
    return bool(checked.breaches) if checked.settings.strict else bool(all_clashes(checked, line))


class _Ranged(Line):
    """A phrase for whose notes only others of its range are proposed, as long as the range has any."""

    def __init__(self, checked: Checked) -> None:
        super().__init__(checked.progression, checked.notes, checked.where)
        self._range = range(checked.low, checked.high + 1)

    def near(self, index: int) -> list[str]:
        every = super().near(index)
        return self._inside(every) or every

    def goals(self, index: int) -> list[str]:
        return self._inside(super().goals(index))

    def _inside(self, names: Sequence[str]) -> list[str]:
        return [name for name in names if read_pitch(name) in self._range]


# Further remarks


def _remarks(checked: Checked) -> tuple[str, ...]:
    return (*_silent_bars(checked), *_hand_words(checked))


def _silent_bars(checked: Checked) -> Iterator[str]:
    """A remark if a whole phrase stops before its last bar."""
    last = checked.progression.bar_of(checked.notes[-1].end - 1)
    end = checked.progression.bar_of(checked.progression.length - 1)
    if checked.closes and last < end:
        silent = f"bar {end} is" if last + 1 == end else f"bars {last + 1} to {end} are"
        yield f"The phrase stops in bar {last}: {silent} silent."


def _hand_words(checked: Checked) -> Iterator[str]:
    """How hard the phrase is for a hand at its tempo, and what is out of its reach."""
    if checked.tempo is None:
        return
    if checked.settings.tempo is None:
        yield f"No tempo given: the hand is judged at {checked.tempo} quarter notes a minute."
    hand = checked.hand or reach()
    pitches = [note.midi for note in checked.notes]
    hard = difficulty(pitches, checked.seconds, hand)
    word = "easy" if hard < _EASY else "hard" if hard >= _HARD else "moderate"
    yield f"For the fingers of a {hand.size} hand it is {word} at {checked.tempo} quarter notes a minute (difficulty {hard:.2f} of 1)."
    far = beyond(pitches, checked.seconds, hand)
    if far:
        where = listed(
            [place_words(checked.progression, checked.notes[index].onset) for index in far[:3]], "and"
        )
        yield (
            f"A {hand.size} hand can't reach {where} in time: play it slower or leave it out, don't force it. "
            "If a hand hurts, stop, and ask a teacher, or a clinician if it lasts."
        )
