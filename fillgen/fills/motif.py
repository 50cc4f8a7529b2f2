"""Phrases that begin with the motif of a tune: its rhythm, and its ups and downs over other chords."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import islice, pairwise

import numpy as np

from fillgen.dice import Dice
from fillgen.engine.generate import Candidates, Engine, Gather, Kept, PhraseSpace
from fillgen.engine.plans import Plan, Rhythm_, plans
from fillgen.phrase.note import Phrase

_PLANS = 24
"""Plans drawn over a motif."""
_NEAR = 1.0
"""How strongly draws lean to the pitches that the tune itself has. Chosen by ear."""
_LEVELS_OF_LIKENESS = 3


def motif_of(line: Phrase, bar: int, bars: int) -> Phrase:
    """The notes of a line that begin in its first bars, cut off at the end of them; `bar` are the ticks of one."""
    end = bar * bars
    inside = (note for note in line if 0 <= note.onset < end)
    return tuple(replace(note, length=min(note.length, end - note.onset)) for note in inside)


def beginning_with(motif: Phrase) -> Gather:
    """A `gather` function for `generate` that finds candidates beginning with a motif.

    They have its rhythm, and rise and fall with it as far as the rules allow: all through, or in its first half.
    If no phrase has its rhythm, they are those of the given spaces.
    """

    def gather(engine: Engine, spaces: Sequence[PhraseSpace], phrases: int, dice: Dice) -> list[Candidates]:
        every = list(islice(_plans(engine, motif, dice), _PLANS))
        for part in range(_LEVELS_OF_LIKENESS):
            kept = motif[: len(motif) >> part] if part < _LEVELS_OF_LIKENESS - 1 else ()
            found = [engine.space(plan, _kept(plan, motif, kept)) for plan in every]
            filled = [space for space in found if space.count]
            if filled:
                return engine.candidates(filled, sum(space.count for space in filled), dice)
        return engine.candidates(spaces, phrases, dice)

    return gather


def _plans(engine: Engine, motif: Phrase, dice: Dice) -> Iterator[Plan]:
    """Plans whose first bars have the rhythm of a motif."""
    c = engine.choices
    return plans(
        engine.progression,
        c.level,
        c.rhythm,
        c.busy,
        c.shapes,
        c.request.pack,
        engine.fits,
        dice,
        leave=c.request.leave,
        fixed=_by_bar(engine, motif),
    )


def _by_bar(engine: Engine, motif: Phrase) -> Mapping[int, Rhythm_]:
    """The rhythm of a motif in each of its bars."""
    found: dict[int, list[tuple[int, int]]] = {}
    for note in motif:
        found.setdefault(engine.progression.bar_index(note.onset), []).append((note.onset, note.length))
    return {bar: tuple(notes) for bar, notes in found.items()}


def _kept(plan: Plan, motif: Phrase, contour: Phrase) -> Kept:
    """The ups and downs of a contour, the first notes of a motif, and its pitches to lean to."""
    at = {onset: index for index, (onset, _) in enumerate(plan.rhythm)}
    near = {at[note.onset]: (note.midi, _NEAR) for note in motif if note.onset in at}
    rises = {
        at[note.onset]: int(np.sign(note.midi - before.midi))
        for before, note in pairwise(contour)
        if note.onset in at and before.onset in at and at[note.onset] == at[before.onset] + 1
    }
    return Kept(rises=rises, near=near)
