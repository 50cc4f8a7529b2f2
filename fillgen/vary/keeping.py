"""Bars kept and the others new; the rhythm kept, with the contour or without."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import islice, pairwise

from fillgen.engine.generate import FEW, Kept, PhraseSpace
from fillgen.engine.plans import Plan, Rhythm_, gesture_intervals, plans
from fillgen.rules.pack import Shape
from fillgen.vary.impossible import nothing, nothing_else
from fillgen.vary.likeness import rhythm_of
from fillgen.vary.pool import Pool, apart_from_phrase, gathered
from fillgen.vary.task import Task, own_plan, rises_of
from fillgen.vary.variation import Bars

PLANS = 24
"""Plans drawn for fifty variants and fewer."""


def with_bars(task: Task) -> Pool:
    """Phrases with the kept bars as they are; NoPhraseError if there are none."""
    spaces, tried = spaces_over(task, planned(task, task.bars), lambda plan: keeping_bars(task, plan))
    if not spaces:
        raise nothing(task, tried)
    groups, phrases = gathered(task, spaces)
    if not groups:
        raise nothing_else()
    return Pool(apart_from_phrase(task, groups), phrases)


def planned(task: Task, bars: Bars, firm: bool = False, shapes: Sequence[Shape] = ()) -> Iterator[Plan]:
    """Plans in which the phrase keeps its rhythm in some bars, and in that of its pick-up."""
    c = task.choices
    bars |= task.timed
    return plans(
        task.progression,
        c.level,
        c.rhythm,
        c.busy,
        shapes or c.shapes,
        c.request.pack,
        task.engine.fits,
        task.dice,
        leave=c.request.leave,
        firm=firm or c.request.purpose == "ending",
        fixed={bar: _fixed(task, bar, bars) for bar in sorted(bars)},
    )


def _fixed(task: Task, bar: int, bars: Bars) -> Rhythm_:
    """The rhythm of a bar that stays, with the note that is held into it where that belongs to a bar that does not."""
    line = task.progression.start_of(bar)
    held = [n for n in task.phrase if n.onset < line < n.end and task.bar(n.onset) == bar - 1]
    entering = held if bar - 1 not in bars else []
    return rhythm_of((*entering, *task.inside(bar)))


def spaces_over(
    task: Task, stream: Iterable[Plan], keep: Callable[[Plan], Kept], wanted: int = 0
) -> tuple[list[PhraseSpace], list[PhraseSpace]]:
    """The spaces over plans that have phrases, one for each rhythm, and some that have none."""
    wanted = wanted or max(PLANS, task.choices.request.count // 8)
    found: list[PhraseSpace] = []
    tried: list[PhraseSpace] = []
    seen: set[Rhythm_] = set()
    for plan in islice(stream, 3 * wanted):
        if plan.rhythm in seen:
            continue
        seen.add(plan.rhythm)
        space = task.engine.space(echoing(task, plan), keep(plan))
        (found if space.count else tried).append(space)
        if len(found) == wanted:
            break
    return found, tried


def echoing(task: Task, plan: Plan) -> Plan:
    """A plan in which bars of the same letter as a kept bar take up its gesture."""
    gestures: dict[str, tuple[bool, list[int]]] = {}
    for bar in sorted(task.bars):
        letter = plan.letters[bar]
        moves = [after.midi - note.midi for note, after in pairwise(task.inside(bar))]
        if moves and letter != "z":
            gestures.setdefault(letter.replace("'", ""), ("'" in letter, moves))
    found = list(plan.intervals)
    item, last = 0, -1
    for index, (onset, _) in enumerate(plan.rhythm):
        bar = task.bar(onset)
        item = item + 1 if bar == last else 0
        last = bar
        letter = plan.letters[bar]
        turned, moves = gestures.get(letter.replace("'", ""), (False, []))
        if moves and bar not in task.bars:
            found[index] = moves[item % len(moves)] * (-1 if turned != ("'" in letter) else 1)
    return replace(plan, intervals=tuple(found))


def keeping_bars(task: Task, plan: Plan) -> Kept:
    """The pitches of kept bars, by the numbers that their notes have in a plan."""
    own = {note.onset: note.midi for note in task.phrase if task.bar(note.onset) in task.bars}
    return Kept({index: own[onset] for index, (onset, _) in enumerate(plan.rhythm) if onset in own})


def with_rhythm(task: Task) -> Pool:
    """Phrases that have the same rhythm, and go up and down as the phrase does where the contour is kept."""
    rises = rises_of(task) if task.variation.contour else {}
    kept = replace(keeping_bars(task, own_plan(task)), rises=rises)
    spaces = _over_rhythm(task, kept)
    if not spaces[0].count:
        raise nothing(task, spaces[:1])
    groups, phrases = gathered(task, spaces, spaces[0].count)
    if not groups:
        raise nothing_else()
    return Pool(apart_from_phrase(task, groups), phrases)


def _over_rhythm(task: Task, kept: Kept) -> list[PhraseSpace]:
    """The phrases over the phrase's rhythm: one space where there are few, otherwise one for each of some plans."""
    plain = own_plan(task)
    first = task.engine.space(plain, kept)
    if first.count <= FEW:
        return [first]
    shapes = [*task.choices.shapes] * (PLANS // 2)
    leaning = [
        replace(
            plain,
            shape=shape,
            intervals=gesture_intervals(plain.rhythm, plain.letters, task.progression, task.dice),
        )
        for shape in shapes[: PLANS // 2]
    ]
    return [task.engine.space(echoing(task, plan), kept) for plan in leaning]
