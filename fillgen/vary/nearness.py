"""Small changes, very different phrases, and answers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import islice, pairwise, product

import numpy as np
from numpy.typing import NDArray

from fillgen.engine.generate import Candidates, Engine, Kept, PhraseSpace
from fillgen.engine.plans import Plan, Rhythm_, begun, stock
from fillgen.engine.request import settle
from fillgen.errors import NoPhraseError
from fillgen.rules.pack import Shape
from fillgen.vary.impossible import nothing, nothing_else, unmended
from fillgen.vary.keeping import PLANS, keeping_bars, planned, spaces_over
from fillgen.vary.likeness import ANSWER, LIKE, UNLIKE, in_common, rhythm_of, sounds_at
from fillgen.vary.pool import Pool, filtered, gathered
from fillgen.vary.task import Task, follows, leaning, own_plan, rises_of

_FREE = 3
"""The most neighbouring notes that a small change touches."""


_PLACES = 64
"""The most places of a long phrase that small changes are looked for at; another seed takes others."""
_NEAR_COPY = 0.97
"""Small changes may leave two variants alike in this share of their sounding time."""


_FOURTH = 5


def like(task: Task) -> Pool:
    """Some neighbouring notes changed, or a part of one bar's rhythm.

    What changes makes up the share of sounding time that may differ at most.
    """
    spaces = [*_few_notes(task), *_new_figures(task)]
    found = [space for space in spaces if space.count]
    if not found:
        raise unmended(task) or nothing(task, spaces)
    groups, phrases = gathered(task, found)
    groups = filtered(groups, lambda group: _is_like(task, group))
    if not groups:
        raise nothing_else()
    return Pool(groups, phrases, most_alike=_NEAR_COPY)


def _is_like(task: Task, group: Candidates) -> NDArray[np.bool_]:
    found = in_common(group.plan.rhythm, group.pitches, task.phrase)
    return np.asarray((found.same >= LIKE * found.either) & (found.same < found.either))


def _few_notes(task: Task) -> Iterator[PhraseSpace]:
    """For each note the phrases in which it is the first of a few neighbouring notes that change."""
    plan = own_plan(task)
    rises = rises_of(task) if task.variation.contour else {}
    own = dict(enumerate(note.midi for note in task.phrase))
    for first in _places(task):
        free, note = _free_from(task, first), task.phrase[first]
        if free:
            stays = {index: midi for index, midi in own.items() if index not in free}
            kept = Kept(stays, rises, leaning(list(own.values()), 1.0), never={first: (note.midi,)})
            yield task.engine.space(plan, kept)


def _places(task: Task) -> Sequence[int]:
    """The notes with which small changes begin: of many, as many as there is time for, spread over the phrase."""
    every = len(task.phrase) / _PLACES
    if every <= 1:
        return range(len(task.phrase))
    return [int((place + task.dice.doubles(1)[0]) * every) for place in range(_PLACES)]


def _free_from(task: Task, first: int) -> range:
    """The notes from one on that may change together."""
    most = (1 - LIKE) * sum(note.length for note in task.phrase)
    end = first
    while end < min(len(task.phrase), first + _FREE):
        changed = task.phrase[first : end + 1]
        if sum(note.length for note in changed) > most or task.bar(changed[-1].onset) in task.bars:
            break
        end += 1
    return range(first, end)


def _new_figures(task: Task) -> list[PhraseSpace]:
    """Phrases with another rhythm in one bar; the notes that both rhythms have keep their pitch."""
    if task.variation.rhythm or task.variation.contour:
        return []
    plans_ = [plan for bar in range(len(task.progression.bars)) for plan in _with_figure(task, bar)]
    some = sorted({task.dice.below(len(plans_)) for _ in range(2 * PLANS)}) if plans_ else []
    return [task.engine.space(plans_[at], _same_notes(task, plans_[at].rhythm)) for at in some]


def _with_figure(task: Task, bar: int) -> Iterator[Plan]:
    if bar in task.timed or not task.inside(bar):
        return
    start, end = task.progression.start_of(bar), task.progression.start_of(bar + 1)
    before = [(note.onset, note.length) for note in task.phrase if task.bar(note.onset) < bar]
    after = [(note.onset, note.length) for note in task.phrase if task.bar(note.onset) > bar]
    free = max([0, *(sum(note) for note in before)])
    until = after[0][0] if after else end
    metre = task.progression.metre_of(bar)
    cells = stock(task.progression, task.level, task.choices.rhythm, task.choices.busy, metre=metre)
    for cell in cells[bar == len(task.progression.bars) - 1]:
        notes = begun([(start + onset, length) for onset, length in cell.notes], free, task.progression)
        cut = [(onset, min(length, until - onset)) for onset, length in notes if onset < until]
        rhythm = (*before, *cut, *after)
        if cut and rhythm != task.rhythm and _changed(task, rhythm) <= 1 - LIKE:
            yield own_plan(task, rhythm)


def _changed(task: Task, rhythm: Rhythm_) -> float:
    """The largest share of sounding time that may sound different in another rhythm."""
    same = set(task.rhythm) & set(rhythm)
    sounding = max(sum(length for _, length in each) for each in (task.rhythm, rhythm))
    return 1 - sum(length for _, length in same) / sounding


def _same_notes(task: Task, rhythm: Rhythm_) -> Kept:
    """The pitches of the notes that a rhythm has in common with the phrase; the others are near what sounded there."""
    own = {(note.onset, note.length): note.midi for note in task.phrase}
    pitches = {index: own[note] for index, note in enumerate(rhythm) if note in own}
    near = {
        index: (midi, 2.0)
        for index, (onset, _) in enumerate(rhythm)
        if index not in pitches and (midi := sounds_at(task.phrase, onset)) is not None
    }
    return Kept(pitches, near=near)


def unlike(task: Task) -> Pool:
    """Another rhythm, another opening, and hardly a moment that sounds the same."""
    opening = next((bar for bar in range(len(task.progression.bars)) if bar not in task.timed), 0)
    first = rhythm_of(task.inside(opening))
    stream = (
        plan
        for plan in planned(task, task.bars)
        if plan.rhythm != task.rhythm and tuple(n for n in plan.rhythm if task.bar(n[0]) == opening) != first
    )
    spaces, tried = spaces_over(task, stream, lambda plan: _shunning(task, plan))
    if not spaces:
        raise nothing(task, tried, "that is unlike this one")
    groups, phrases = gathered(task, spaces)
    groups = filtered(groups, lambda group: _is_unlike(task, group))
    if not groups:
        raise NoPhraseError(
            "no phrase so unlike this one was found",
            hint="Try another --rhythm or --seed, or a wider range (--low, --high).",
        )
    return Pool(groups, phrases)


def _shunning(task: Task, plan: Plan) -> Kept:
    """Kept bars, another first note, and draws that lean away from what sounded."""
    kept = keeping_bars(task, plan)
    near = {
        index: (midi, -1.5)
        for index, (onset, _) in enumerate(plan.rhythm)
        if index not in kept.pitches and (midi := sounds_at(task.phrase, onset)) is not None
    }
    never = {} if 0 in kept.pitches else {0: (task.phrase[0].midi,)}
    return replace(kept, near=near, never=never)


def _is_unlike(task: Task, group: Candidates) -> NDArray[np.bool_]:
    found = in_common(group.plan.rhythm, group.pitches, task.phrase, task.ranges)
    return np.asarray(found.same < UNLIKE * min(found.own, found.other))


def answer(task: Task) -> Pool:
    """Phrases that answer the phrase as the second half of a period answers the first.

    They open with the rhythm of the call's first bar, or of its first half, and take up its contour there or turn it
    round; they begin within a fourth of the call's last note; they close on the last chord with a longer note, on
    its root where the rules allow it, and not on the very note of the call where there is another. Source: common
    practice; William Caplin, Classical Form (1998), cited from memory, on the period: the consequent begins with the
    idea of the antecedent and closes with the stronger cadence.
    """
    shapes = sorted(task.choices.shapes, key=lambda shape: follows(task, shape))[:3]
    for wanted in (task if task.choices.request.ends_on else _on_the_root(task), task):
        spaces, tried = _answering(wanted, shapes)
        if spaces:
            break
    else:
        raise nothing(task, tried, "that answers this one")
    groups, phrases = gathered(wanted, spaces)

    def is_other(group: Candidates) -> NDArray[np.bool_]:
        found = in_common(group.plan.rhythm, group.pitches, task.phrase)
        return np.asarray(found.same <= ANSWER * min(found.own, found.other))

    groups = filtered(groups, is_other)
    if not groups:
        raise NoPhraseError(
            "no answer was found that doesn't just repeat the call", hint="Try another --seed."
        )
    return Pool(groups, phrases)


def _on_the_root(task: Task) -> Task:
    request = replace(task.choices.request, ends_on=("root",))
    return replace(task, engine=Engine(settle(request)))


def _answering(task: Task, shapes: Sequence[Shape]) -> tuple[list[PhraseSpace], list[PhraseSpace]]:
    """Spaces of answers, the strictest there are: with a last note of their own, and the call's contour."""
    openings = _openings(task)
    for other_end, strict in product((True, False), (True, False)):
        found: list[PhraseSpace] = []
        tried: list[PhraseSpace] = []
        for opening in openings:
            keep = _turning(task, opening, other_end, strict)
            some, none = spaces_over(task, _opened(task, opening, shapes), keep, PLANS // len(openings))
            known = {space.plan.rhythm for space in found}
            found += [space for space in some if space.plan.rhythm not in known]
            tried += none
        if found:
            break
    return found, tried


def _openings(task: Task) -> list[int]:
    """The ticks up to which an answer takes the call's rhythm: one bar, or half of it all."""
    start, bars = task.progression.start_of, len(task.progression.bars)
    first = task.bar(task.phrase[0].onset) + 1
    if task.progression.first == 0 and bars > 2:
        first = max(first, 2)
    if first >= bars:
        return [(task.phrase[0].onset + task.phrase[-1].end) // 2]
    return sorted({start(first), start(max(first, bars // 2))})


def _opened(task: Task, opening: int, shapes: Sequence[Shape]) -> Iterator[Plan]:
    """Plans that open with the call's rhythm up to a tick and close firmly."""
    inside = task.progression.inside(opening)
    bars = frozenset(range(task.bar(opening)))
    call = tuple((n.onset, min(n.length, opening - n.onset)) for n in task.phrase if n.onset < opening)
    if inside:
        for plan in islice(planned(task, bars, shapes=shapes), 6 * PLANS):
            rhythm = (*call, *(note for note in plan.rhythm if note[0] >= opening))
            if _is_firm(task, rhythm):
                yield replace(plan, rhythm=rhythm, intervals=(0,) * len(rhythm))
        return
    landing, other = planned(task, bars, True, shapes), planned(task, bars, shapes=shapes)
    for one, two in islice(zip(landing, other, strict=False), 3 * PLANS):
        yield one
        if _is_firm(task, two.rhythm):
            yield two


def _is_firm(task: Task, rhythm: Rhythm_) -> bool:
    """Whether a rhythm closes on a strong beat, with a note as long as the call's last or half a bar."""
    onset, length = rhythm[-1]
    last = len(task.progression.bars) - 1
    long_enough = length >= min(task.phrase[-1].length, task.progression.size_of(last) // 2)
    return task.bar(onset) == last and long_enough and task.progression.is_strong(onset)


def _turning(task: Task, opening: int, other_end: bool, strict: bool) -> Callable[[Plan], Kept]:
    """What answers keep: where they begin and end, and the call's contour in the opening, turned for every other."""
    last = task.phrase[-1].midi
    turns = iter(lambda: task.dice.chance(0.5), None)

    def keep(plan: Plan) -> Kept:
        sign = -1 if next(turns) else 1
        moves = [after.midi - note.midi for note, after in pairwise(task.phrase)]
        opened = [index for index, note in enumerate(task.phrase) if note.onset < opening and index]
        rises = {index: sign * int(np.sign(moves[index - 1])) for index in opened} if strict else {}
        never = {len(plan.rhythm) - 1: (last,)} if other_end else {}
        return Kept(
            rises=rises,
            near={0: (last, 1.0)},
            within={0: (last - _FOURTH, last + _FOURTH)},
            never=never,
        )

    return keep
