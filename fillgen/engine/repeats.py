"""What a plan's passages require of its notes: which are the same, and which pitches they can have at every place."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fillgen.engine.forms import NOWHERE, STAYS, Passage, Shift
from fillgen.engine.plans import Plan
from fillgen.engine.returning import Same

Pitches = NDArray[np.int16]


@dataclass(frozen=True)
class Repeats:
    """Stretches of notes that are the same; for each note its pitches in one order, and where its domain has them."""

    sames: tuple[Same, ...]
    pitches: tuple[Pitches, ...]
    common: tuple[NDArray[np.intp], ...]


def repeats(plan: Plan, domains: Sequence[Pitches], bar: int) -> Repeats | None:
    """What returns in a plan; None if nothing does, or if a note would have no pitch at all its places.

    `domains` are the pitches that each note may have on its own, `bar` are the ticks of a bar.
    """
    onsets = [onset for onset, _ in plan.rhythm]
    first_of = [bisect_left(onsets, number * bar) for number in range(len(plan.letters) + 1)]
    sames = _sames(plan.passages, first_of)
    if not sames:
        return None
    roots = list(range(len(domains)))
    shifts = [STAYS] * len(domains)
    for note, original, shift in sorted(_copies(plan.passages, first_of)):
        roots[note] = roots[original]
        shifts[note] = _after(shifts[original], shift)
    open_ = [domain.tolist() for domain in domains]
    for note, root in enumerate(roots):
        if note != root:
            open_[root] = [p for p in open_[root] if _moved(p, shifts[note]) in open_[note]]
    if not all(open_[root] for root in roots):
        return None
    pitches = tuple(
        np.array([_moved(p, shift) for p in open_[root]], dtype=np.int16)
        for root, shift in zip(roots, shifts, strict=True)
    )
    common = tuple(np.searchsorted(domain, own) for domain, own in zip(domains, pitches, strict=True))
    return Repeats(sames, pitches, common)


def _sames(passages: Sequence[Passage], first_of: Sequence[int]) -> tuple[Same, ...]:
    """Passages as stretches of notes; those that hold a single note are too short to return."""
    found = []
    for passage in passages:
        firsts = tuple(first_of[bar] for bar in passage.firsts)
        size = first_of[passage.firsts[0] + passage.bars] - firsts[0]
        inside = _sames(passage.inside, first_of)
        gaps = passage.between or ((),) * (len(firsts) - 1)
        between = tuple(_sames(gap, first_of) for gap in gaps)
        found += [Same(firsts, size, inside, between)] if size > 1 else [*inside, *sum(between, ())]
    return tuple(found)


def _copies(passages: Sequence[Passage], first_of: Sequence[int]) -> list[tuple[int, int, Shift]]:
    """Each note of a later place with the note it repeats, and how far it moves."""
    found = []
    for passage in passages:
        for bar, original, shift in passage.copies():
            size = first_of[bar + 1] - first_of[bar]
            found += [(first_of[bar] + n, first_of[original] + n, shift) for n in range(size)]
    return found


def _after(first: Shift, second: Shift) -> Shift:
    """One move after another."""
    if first == STAYS:
        return second
    moves = []
    for pc, move in enumerate(first):
        then = second[(pc + move) % 12] if move != NOWHERE else NOWHERE
        moves.append(NOWHERE if then == NOWHERE else move + then)
    return tuple(moves)


def _moved(pitch: int, shift: Shift) -> int:
    """A pitch moved; -1 if it cannot move."""
    move = shift[pitch % 12]
    return -1 if move == NOWHERE else pitch + move
