"""The mirror image: what went up goes down."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from fillgen.engine.generate import PhraseSpace
from fillgen.phrase.remark import Remark, RemarkKind
from fillgen.theory.pitch import Key
from fillgen.vary.impossible import nothing, nothing_else
from fillgen.vary.keeping import keeping_bars
from fillgen.vary.pool import Pool, gathered
from fillgen.vary.task import Task, follows, leaning, own_plan, rises_of


def mirrored(task: Task) -> Pool:
    """The phrases nearest to the mirror image in the key: about the first note, or about the middle.

    As many directions as the rules allow are reversed.
    """
    images = [_image(task, axis) for axis in _axes(task)]
    shape = max(task.choices.shapes, key=lambda shape: follows(task, shape, images[0]))
    plan, rises = own_plan(task, shape=shape), rises_of(task, -1)
    fixed = keeping_bars(task, plan)
    whole = task.engine.space(plan, fixed)
    if not whole.count:
        raise nothing(task, [whole])
    turned = max((_turned(whole, rises, image) for image in images), key=lambda found: found[0])[1]
    spaces = [
        task.engine.space(plan, replace(fixed, rises=turned, near=leaning(image, 2.0))) for image in images
    ]
    groups, phrases = gathered(task, spaces, spaces[0].count)
    if not groups:
        raise nothing_else()
    lengths = np.array([note.length for note in task.phrase], dtype=float)
    away = [
        np.min(
            [np.abs(group.pitches - np.array(image)) @ lengths / lengths.sum() for image in images], axis=0
        )
        for group in groups
    ]
    remarks = [Remark(RemarkKind.ORDER, "The nearest to the mirror image come first.")]
    if len(turned) < len(rises):
        left = len(rises) - len(turned)
        text = f"The rules don't let every direction be reversed: {left} of {len(rises)} aren't."
        remarks.append(Remark(RemarkKind.PARTLY, text))
    return Pool(groups, phrases, tuple(remarks), most_alike=0.9, nearest=[-each for each in away])


def _axes(task: Task) -> list[float]:
    """Heights about which the phrase is mirrored, in steps of the scale: its first note, and the middle of it."""
    steps = [_step(task.progression.key, note.midi) for note in task.phrase]
    return [steps[0], (min(steps) + max(steps)) / 2]


def _image(task: Task, axis: float) -> tuple[int, ...]:
    key = task.progression.key
    own = [note.midi if task.bar(note.onset) in task.bars else None for note in task.phrase]
    image = [_at_step(key, 2 * axis - _step(key, note.midi)) for note in task.phrase]
    return tuple(mirrored if kept is None else kept for mirrored, kept in zip(image, own, strict=True))


def _step(key: Key, midi: int) -> float:
    """How high a pitch is in steps of a key's scale; half-way between two if it isn't one of them."""
    classes = sorted(name.pitch_class for name in key.scale)
    octave, own = divmod(midi, 12)
    below = sum(pitch_class <= own for pitch_class in classes)
    return 7 * octave + below - (1.0 if own in classes else 0.5)


def _at_step(key: Key, step: float) -> int:
    """The pitch at a height; between two steps the note between them, or the lower of them."""
    classes = sorted(name.pitch_class for name in key.scale)
    octave, inside = divmod(int(step // 1), 7)
    low = 12 * octave + classes[inside]
    high = 12 * (octave + (inside == 6)) + classes[(inside + 1) % 7]
    return low if step % 1 == 0 or high - low < 2 else low + 1


def _turned(
    whole: PhraseSpace, rises: Mapping[int, int], image: Sequence[int]
) -> tuple[float, dict[int, int]]:
    """The directions turned round by the phrase that turns the most, and among these is nearest to an image."""
    domains = whole.pitches
    values = []
    for index, table in enumerate(whole.lattice.allowed):
        value = (-np.abs(domains[index] - image[index]) / 1000.0)[None, :, None] + np.zeros(table.shape)
        if index in rises:
            rise = np.sign(domains[index][None, :] - domains[index - 1][:, None])
            value = value + (rise == rises[index])[:, :, None]
        values.append(np.where(table, value, -np.inf))
    total, rows = whole.lattice.best(values)
    line = [int(domain[at]) for domain, at in zip(domains, rows[0], strict=True)]
    same = {i: rise for i, rise in rises.items() if np.sign(line[i] - line[i - 1]) == rise}
    return total, same
