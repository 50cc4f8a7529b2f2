"""A phrase varied: some of it is kept, or it is turned, moved, made easier or harder, and the rest is found anew.

Every variant is a phrase of the same engine that finds ideas: what is kept becomes part of its lattice, so that kept
and new notes are solved together, across the bar lines too, and what there is can be counted.
"""

from __future__ import annotations

from collections.abc import Callable

from fillgen.engine.request import Request
from fillgen.hands.reach import reach
from fillgen.phrase.idea import Ideas
from fillgen.phrase.note import Phrase
from fillgen.phrase.remark import Remark, on_count
from fillgen.phrase.text import check_phrase
from fillgen.vary.impossible import check_kept
from fillgen.vary.keeping import with_bars, with_rhythm
from fillgen.vary.ladder import at_level
from fillgen.vary.laying import with_pitches
from fillgen.vary.likeness import LIKE, UNLIKE, distance
from fillgen.vary.mirror import mirrored
from fillgen.vary.nearness import answer, like, unlike
from fillgen.vary.pool import Pool, nearest_of, scored
from fillgen.vary.task import Task, task_for
from fillgen.vary.transposition import moved
from fillgen.vary.variation import NEAR, Variation, check_variation, read_keep

__all__ = ["LIKE", "NEAR", "UNLIKE", "Variation", "distance", "read_keep", "vary"]


def vary(request: Request, phrase: Phrase, variation: Variation) -> Ideas:
    """Variants of a phrase over the chart of a request, best first; those of a mirror image or another level nearest
    first.

    Without a level, it is the lowest, from 3 up, whose rules the kept notes keep. Without a
    range, the level's is widened to hold what is kept. Raises OptionError if the options contradict one another
    or leave nothing to vary, PhraseError if the phrase does not fit the chart, and NoPhraseError if nothing
    can be found, with the notes that are in the way.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.phrase.text import parse_phrase
    >>> chart = parse_chart("| D | C | G | A7 |")
    >>> call = parse_phrase("D5q F#5h A5q | G5q E5q C5h | D5q B4q D5h | C#5h A4h", chart.metre)
    >>> found = vary(Request(chart, count=3), call, read_keep("1,2"))
    >>> {idea.text.split(" | ")[0] for idea in found}
    {'D5q F#5h A5q'}
    """
    check_phrase(request.progression, phrase)
    remarks: tuple[Remark, ...] = ()
    if variation.key is not None:
        request, phrase, remarks = moved(request, phrase, variation.key)
    check_variation(variation, request.progression)
    task = task_for(request, phrase, variation)
    check_kept(task)
    return _chosen(task, _pool(task), remarks)


def _pool(task: Task) -> Pool:
    variation = task.variation
    if variation.level_as is not None:
        return at_level(task)
    ways: dict[str, Callable[[Task], Pool]] = {
        "mirror": mirrored,
        "like": like,
        "unlike": unlike,
        "answer": answer,
    }
    for aim in variation.aims:
        return ways[aim](task)
    if variation.pitches:
        return with_pitches(task)
    if variation.rhythm or variation.contour:
        return with_rhythm(task)
    return with_bars(task) if variation.bars else _itself(task)


def _chosen(task: Task, pool: Pool, remarks: tuple[Remark, ...]) -> Ideas:
    """The variants chosen from a pool, with what there is to say about them."""
    if pool.nearest is None:
        picked, apart = task.engine.pick(pool.groups, task.ranges, pool.most_alike)
    else:
        picked = nearest_of(pool.groups, pool.nearest, task.choices.request.count, pool.most_alike)
        apart = len(picked)
    choices = task.choices
    variation, count = task.variation, choices.request.count
    only_moved = variation.key is not None and not variation.kept and not variation.aims
    counted = () if only_moved else on_count(count, pool.phrases, len(picked), apart)
    return Ideas(
        task.progression,
        choices.rhythm.name,
        choices.level.number,
        choices.tempo,
        choices.rhythm.swing,
        choices.request.seed,
        pool.phrases,
        task.engine.ideas(picked),
        (*remarks, *pool.remarks, *counted),
        choices.weights,
        (choices.hand or reach()).size,
        "best first" if pool.nearest is None else "nearest first",
        usual=choices.usual,
        floors=choices.floors,
    )


def _itself(task: Task) -> Pool:
    """The phrase as it is."""
    return Pool([scored(task, task.rhythm)], 1)
