"""Why nothing could be kept: the notes in the way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import combinations, islice

from fillgen.engine.generate import Kept, PhraseSpace
from fillgen.errors import NoPhraseError
from fillgen.phrase.note import Note, Phrase
from fillgen.theory.pitch import midi_name
from fillgen.vary.faults import broken, faults_in
from fillgen.vary.likeness import rhythm_of
from fillgen.vary.task import Task, own_plan

_TRIED = 4
"""Plans on which the notes in the way are searched for."""


def unmended(task: Task) -> NoPhraseError | None:
    """The error for a phrase that breaks more rules than a small change can mend."""
    every = frozenset(range(len(task.progression.bars)))
    faults = faults_in(task.engine, task.phrase, every)
    hint = "Mend it first, or try another --level."
    return broken(task.engine, task.phrase, faults[0], hint) if faults else None


def fallen(task: Task, notes: Sequence[Note], away: Iterable[int]) -> Phrase:
    """Notes without some of them, whose time goes to the note before, as far as that one may be held."""
    gone = set(away) - {0}
    kept: list[Note] = []
    for index, note in enumerate(notes):
        if index not in gone:
            kept.append(note)
        elif kept[-1].end == note.onset:
            kept[-1] = held_to(task, kept[-1], note.end)
    return tuple(kept)


def held_to(task: Task, note: Note, end: int) -> Note:
    """A note held to a tick, or to the first strong beat before it whose chord it does not belong to."""
    for tick in task.progression.strong_between(note.onset, end):
        mask = task.progression.span_at(tick).heard.mask
        if tick >= note.end and not mask >> note.midi % 12 & 1:
            end = tick
            break
    return replace(note, length=end - note.onset)


def nothing_else() -> NoPhraseError:
    """The error if only the phrase itself keeps what is kept."""
    return NoPhraseError(
        "the rules allow no other phrase that keeps this",
        hint="Keep less, or try another --level or a wider range (--low, --high).",
    )


def nothing(task: Task, tried: Sequence[PhraseSpace], what: str = "that keeps this") -> NoPhraseError:
    """Why nothing could be kept: the notes without which something could be, or what was looked for in words."""
    tried = list(tried[:_TRIED])
    for onsets in _suspects(tried):
        if any(_without(task, space, onsets).count for space in tried):
            return _preventing(task, onsets)
    if task.variation.rhythm or task.variation.contour or task.variation.mirror:
        return _in_rhythm(task)
    if not task.engine.spaces(task.dice):
        return task.engine.why_nothing()
    hint = "Try another --level, --rhythm or --seed, or a wider range (--low, --high)."
    return NoPhraseError(f"no phrase was found {what}", hint=hint)


def check_kept(task: Task) -> None:
    """Refuse kept bars that break a rule themselves, or are outside the range."""
    faults = faults_in(task.engine, task.phrase, task.bars)
    if faults:
        raise broken(task.engine, task.phrase, faults[0])
    for note in task.phrase:
        if task.bar(note.onset) in task.bars and not _in_range(task, note):
            raise _out_of_range(task, note)


def _in_range(task: Task, note: Note) -> bool:
    return task.choices.low <= note.midi <= task.choices.high


def _out_of_range(task: Task, note: Note) -> NoPhraseError:
    name = task.names[task.phrase.index(note)]
    ends = [midi_name(midi, task.progression.key) for midi in (task.choices.low, task.choices.high)]
    return NoPhraseError(
        f"{name} is outside the range {ends[0]} to {ends[1]}",
        place=task.progression.place_name(note.onset),
        hint="Widen the range with --low and --high, or keep other bars.",
    )


def _suspects(tried: Sequence[PhraseSpace]) -> Iterator[tuple[int, ...]]:
    """Kept notes, by their onsets, one at a time and then two."""
    onsets = sorted(
        {
            space.plan.rhythm[index][0]
            for space in tried
            if space.kept is not None
            for index in (*space.kept.pitches, *space.kept.rises)
        }
    )
    yield from combinations(onsets, 1)
    yield from islice(combinations(onsets, 2), 100)


def _without(task: Task, space: PhraseSpace, onsets: Sequence[int]) -> PhraseSpace:
    """A space in which some notes are not kept."""
    kept = space.kept or Kept()
    free = {index for index, (onset, _) in enumerate(space.plan.rhythm) if onset in onsets}
    left = replace(
        kept,
        pitches={index: midi for index, midi in kept.pitches.items() if index not in free},
        rises={index: rise for index, rise in kept.rises.items() if index not in free},
        never={index: each for index, each in kept.never.items() if index not in free},
    )
    return task.engine.space(space.plan, left)


def _preventing(task: Task, onsets: Sequence[int]) -> NoPhraseError:
    found = [index for index, note in enumerate(task.phrase) if note.onset in onsets]
    names = " and ".join(
        f"{task.names[index]} over {task.progression.span_at(task.phrase[index].onset).heard.symbol}"
        for index in found
    )
    way = "the way to " if task.variation.contour and not task.bars else ""
    its, it = ("its", "it") if len(found) == 1 else ("their", "them")
    return NoPhraseError(
        f"{way}{names} can't be kept next to {its} neighbours; without {it} there are phrases",
        place=task.progression.place_name(task.phrase[found[0]].onset),
        hint="Keep fewer bars or notes, or try another --level.",
    )


def _in_rhythm(task: Task) -> NoPhraseError:
    """The note of the rhythm without which it could be kept."""
    for index in range(1, len(task.phrase)):
        notes = fallen(task, task.phrase, [index])
        if task.engine.space(own_plan(task, rhythm_of(notes))).count:
            return NoPhraseError(
                f"no pitch keeps the rules in place of {task.names[index]}; without this note there are phrases",
                place=task.progression.place_name(task.phrase[index].onset),
                hint="Try another --level, or keep something else.",
            )
    return NoPhraseError(
        f"no phrase of level {task.level.number} has this rhythm",
        hint="Try another --level, or a wider range (--low, --high).",
    )
