"""Ideas: phrases with their scores, as they are shown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import overload

from fillgen.chart.progression import Progression
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.remark import Remark

CHORD_TONE = "chord tone"


@dataclass(frozen=True, slots=True)
class IdeaNote:
    """A note of an idea with what it is: its spelled name, its role, its degree over the chord, and its finger.

    The role is empty if nothing justifies the note, the finger 0 if none was looked for.
    """

    bar: int
    note: Note
    name: str
    role: str
    degree: str
    finger: int = 0


@dataclass(frozen=True)
class Idea:
    """A phrase with its score, the terms of the score, its shape and its text.

    `form` says in words which bars return, such as `bars 5-6 repeat 1-2`; it is empty if none has to. `second` are the
    notes struck with the line, below it, in order and from the highest down; empty if none were requested. `fills` are
    the notes of a part of their own, where the line rests or holds a note.
    """

    rank: int
    score: float
    terms: Mapping[str, float]
    shape: str
    text: str
    notes: tuple[IdeaNote, ...]
    form: str = ""
    second: tuple[IdeaNote, ...] = ()
    fills: tuple[IdeaNote, ...] = ()

    @property
    def phrase(self) -> Phrase:
        return tuple(each.note for each in self.notes)

    @property
    def lowest(self) -> int:
        """The lowest pitch of the right hand and of fills, 127 where there are none."""
        return min((each.note.midi for each in (*self.notes, *self.second, *self.fills)), default=127)

    def below(self) -> tuple[tuple[IdeaNote, ...], ...]:
        """The notes struck with each note of the line, from the highest down."""
        return struck_with(self.notes, self.second)

    def __str__(self) -> str:
        return self.text


def struck_with(notes: Sequence[IdeaNote], second: Sequence[IdeaNote]) -> tuple[tuple[IdeaNote, ...], ...]:
    """Of a second voice the notes that are struck with each note of a line, in their order."""
    found: dict[int, list[IdeaNote]] = {}
    for each in second:
        found.setdefault(each.note.onset, []).append(each)
    return tuple(tuple(found.get(each.note.onset, ())) for each in notes)


@dataclass(frozen=True)
class Ideas(Sequence[Idea]):
    """What one call found: ideas best first, over their progression.

    `phrases` is the exact number of phrases that keep every rule over the rhythms drawn from: `rhythms` in number (0
    where none were drawn), in `returning` of which passages come back and are counted only so. `remarks` are
    for the player, such as why there are fewer ideas than requested. `weights` are those of the score's
    terms, `usual` the default ones where `weights` are fitted to a player's taste (empty otherwise), and `floors` the values
    below which less of a term is no better, where its weight is below 0; `hand` is the size of hand the ideas were
    fingered for, `order` says which comes first.
    """

    progression: Progression
    rhythm: str
    level: int
    tempo: int
    swing: bool
    seed: int
    phrases: int
    ideas: tuple[Idea, ...]
    remarks: tuple[Remark, ...] = ()
    weights: Mapping[str, float] = field(default_factory=dict)
    hand: str = "medium"
    order: str = "best first"
    rhythms: int = 0
    returning: int = 0
    usual: Mapping[str, float] = field(default_factory=dict)
    floors: Mapping[str, float] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.ideas)

    @overload
    def __getitem__(self, index: int) -> Idea: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Idea, ...]: ...
    def __getitem__(self, index: int | slice) -> Idea | tuple[Idea, ...]:
        return self.ideas[index]
