"""The candidates among which variants are chosen."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fillgen.engine import diversify
from fillgen.engine.generate import FEW, Candidates, PhraseSpace
from fillgen.engine.plans import Rhythm_
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.remark import Remark
from fillgen.vary.likeness import distance, in_common, rhythm_of
from fillgen.vary.task import Task, own_plan


@dataclass(frozen=True)
class Pool:
    """Candidates, how many phrases there are, and how they are chosen.

    `nearest` are values of each group's rows, the largest of which come first; without them the best scores do.
    """

    groups: list[Candidates]
    phrases: int
    remarks: tuple[Remark, ...] = ()
    most_alike: float = diversify.ALIKE
    nearest: list[NDArray[np.float64]] | None = None


def nearest_of(
    groups: Sequence[Candidates], values: Sequence[NDArray[np.float64]], count: int, most_alike: float
) -> list[tuple[Candidates, int]]:
    """The candidates of the largest values, those of the best score first among equals, no two of them near-copies."""
    owners = [(group, row) for group in groups for row in range(len(group.scores))]
    scores = np.concatenate([group.scores for group in groups])
    order = np.lexsort((-scores, -np.round(np.concatenate(list(values)), 6)))
    picked: list[tuple[Candidates, int]] = []
    for index in order.tolist():
        group, row = owners[index]
        line = _line(group, row)
        if all(distance(line, _line(*other)) >= 1 - most_alike for other in picked):
            picked.append((group, row))
        if len(picked) == count:
            break
    return picked


def _line(group: Candidates, row: int) -> Phrase:
    return tuple(
        Note(onset, length, int(midi))
        for (onset, length), midi in zip(group.plan.rhythm, group.pitches[row], strict=True)
    )


def gathered(
    task: Task, spaces: Sequence[PhraseSpace], phrases: int | None = None
) -> tuple[list[Candidates], int]:
    """The candidates of some spaces that differ from the phrase and from one another, and how many there are.

    `phrases` is how many phrases the spaces hold together, where that is not the sum.
    """
    total = sum(space.count for space in spaces) if phrases is None else phrases
    groups = distinct(task, task.engine.candidates(spaces, total, task.dice))
    if total <= FEW and task.choices.request.shape is None:
        return groups, sum(len(group.scores) for group in groups)
    return groups, total - any(_holds(space, task.phrase) for space in spaces)


def distinct(task: Task, groups: Iterable[Candidates]) -> list[Candidates]:
    """The candidates that sound other than the phrase, each once."""
    seen: dict[Rhythm_, set[bytes]] = {}
    kept = []
    for group in groups:
        if not len(group.scores):
            continue
        found = in_common(group.plan.rhythm, group.pitches, task.phrase)
        known = seen.setdefault(group.plan.rhythm, set())
        fresh = found.same < found.either
        for row, pitches in enumerate(group.pitches):
            key = pitches.tobytes()
            fresh[row] &= key not in known
            known.add(key)
        kept.append(group.rows(fresh))
    return [group for group in kept if len(group.scores)]


def _holds(space: PhraseSpace, phrase: Phrase) -> bool:
    """Whether a phrase is one of a space."""
    if space.plan.rhythm != rhythm_of(phrase):
        return False
    return bool(space.holds(np.array([[note.midi for note in phrase]], dtype=np.int16))[0])


def filtered(
    groups: Iterable[Candidates], keep: Callable[[Candidates], NDArray[np.bool_]]
) -> list[Candidates]:
    """The rows of each group that something is true of."""
    kept = [group.rows(keep(group)) for group in groups]
    return [group for group in kept if len(group.scores)]


def rather(
    groups: list[Candidates], keep: Callable[[Candidates], NDArray[np.bool_]], least: int
) -> list[Candidates]:
    """The rows that something is true of, or all where those are too few."""
    kept = filtered(groups, keep)
    return kept if sum(len(group.scores) for group in kept) >= least else groups


def apart_from_phrase(
    task: Task, groups: list[Candidates], most: float = diversify.ALIKE
) -> list[Candidates]:
    """The candidates that aren't near-copies of the phrase, if something new is requested and there are enough."""

    def differs(group: Candidates) -> NDArray[np.bool_]:
        found = in_common(group.plan.rhythm, group.pitches, task.phrase, task.ranges)
        return np.asarray(found.same <= most * min(found.own, found.other))

    return rather(groups, differs, task.choices.request.count)


def scored(task: Task, rhythm: Rhythm_) -> Candidates:
    """The row of pitches in a rhythm, with its score."""
    plan = own_plan(task, rhythm)
    return task.engine.scored(plan, task.engine.places(rhythm), task.pitches)
