"""The phrase at another level: made easier or harder, and recognisably the same."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import islice, pairwise, product

import numpy as np
from numpy.typing import NDArray

from fillgen.chart.progression import Progression
from fillgen.engine.generate import Candidates, Kept, PhraseSpace
from fillgen.engine.plans import PUSH, makes_room
from fillgen.phrase.idea import CHORD_TONE
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.place import Place
from fillgen.phrase.remark import Remark, RemarkKind
from fillgen.phrase.text import can_be_written
from fillgen.rules.judge import rhythm_beyond, roles
from fillgen.rules.rule import RuleUse, Seen
from fillgen.theory.metre import TICKS, is_length, is_triplet
from fillgen.vary.impossible import fallen, held_to, nothing, nothing_else
from fillgen.vary.keeping import PLANS
from fillgen.vary.likeness import in_common, rhythm_of, sounding_in, sounds_at
from fillgen.vary.pool import Pool, filtered, gathered, rather
from fillgen.vary.task import Task, levels, own_level, own_plan

_SIXTEENTH = TICKS // 4
_REACH = ("leap-limit", "in-reach")
"""Rules about the size of intervals: breaking them makes a phrase wider, but is not what a level adds."""
ON_STRONG, SOUNDING = 0.75, 0.5
"""A phrase at another level keeps these shares of its pitches on strong beats and of its sounding time, where the
rules allow it."""


_Shares = tuple[NDArray[np.float64], NDArray[np.float64]]
"""The shares of strong beats and of sounding time that each of some candidates keeps."""


@dataclass(frozen=True, slots=True)
class _Sketch:
    """A phrase on its way to another level: its notes, and the numbers of those that are new."""

    notes: Phrase
    new: frozenset[int] = frozenset()


def at_level(task: Task) -> Pool:
    """The phrase made easier or harder: recognisably the same, with what the level adds or without what it forbids."""
    own = own_level(task.choices.request, task.phrase)
    harder = own is not None and own < task.level.number
    sketches = _harder(task) if harder else _easier(task)
    every = [_over_sketch(task, sketch) for sketch in sketches]
    spaces = [space for space in every if space is not None and space.count]
    if not spaces:
        raise nothing(task, [], "that is near to this one")
    groups, phrases = gathered(task, spaces)
    if harder:
        groups = rather(groups, lambda group: _needs_level(task, group), 1)
    if not groups:
        raise nothing_else()
    return _recognisable(task, groups, phrases, harder)


def _recognisable(task: Task, groups: list[Candidates], phrases: int, harder: bool) -> Pool:
    """The candidates that keep enough of the phrase, or those that keep the most."""
    likeness = {id(group): _likeness(task, group) for group in groups}

    def enough(group: Candidates) -> NDArray[np.bool_]:
        strong, sounding = likeness[id(group)]
        return np.asarray((strong >= ON_STRONG) & (sounding >= SOUNDING))

    kept = filtered(groups, enough)
    remarks = [] if harder else [Remark(RemarkKind.ORDER, "The nearest to the phrase come first.")]
    if not kept:
        kept = groups
        strong, sounding = _most(list(likeness.values()))
        text = (
            f"The rules of level {task.level.number} don't let it stay recognisable throughout: the nearest keeps "
            f"{strong:.0%} of its strong beats and {sounding:.0%} of its sounding time."
        )
        remarks.append(Remark(RemarkKind.PARTLY, text))
    nearest = [np.add(*_likeness(task, group)) for group in kept]
    if harder:
        return Pool(kept, phrases, tuple(remarks), most_alike=0.9)
    return Pool(kept, phrases, tuple(remarks), most_alike=0.95, nearest=nearest)


def _most(likeness: Sequence[_Shares]) -> tuple[float, float]:
    """The shares of the candidate that keeps the most."""
    rows = np.concatenate([np.stack(shares, axis=1) for shares in likeness])
    strong, sounding = rows[int(rows.sum(axis=1).argmax())]
    return float(strong), float(sounding)


def _likeness(task: Task, group: Candidates) -> _Shares:
    """The shares of the phrase's pitches on strong beats and of its sounding time that candidates have."""
    ticks = [t for t in _strong_ticks(task.progression) if sounds_at(task.phrase, t) is not None]
    grid = np.array(ticks, dtype=np.int64)
    wanted = np.array([sounds_at(task.phrase, tick) for tick in ticks])
    found = sounding_in(group.plan.rhythm, group.pitches, grid) == wanted[None, :]
    strong = found.mean(axis=1) if ticks else np.ones(len(group.pitches))
    common = in_common(group.plan.rhythm, group.pitches, task.phrase)
    return np.asarray(strong), common.same / common.other


def _strong_ticks(progression: Progression) -> list[int]:
    return [0, *progression.strong_between(0, progression.length)]


def _over_sketch(task: Task, sketch: _Sketch) -> PhraseSpace | None:
    """The phrases of the level over a sketch: its pitches on strong beats as far as the rules let them all stay.

    None if there aren't any, if the level's rhythms don't have such a one, or if a note or rest can't be written.
    """
    beyond = rhythm_beyond(task.progression, sketch.notes, task.level)
    if any(beyond) or not _can_be_written(task.progression, sketch.notes):
        return None
    plan = own_plan(task, rhythm_of(sketch.notes))
    whole = task.engine.space(plan)
    if not whole.count:
        return None
    best = _most_kept(task, whole, sketch)
    stay = {
        index: note.midi
        for index, note in enumerate(sketch.notes)
        if index not in sketch.new and best[index] == note.midi
    }
    near = {index: (midi, 4.0) for index, midi in enumerate(best) if index not in sketch.new}
    return task.engine.space(plan, Kept(stay, near=near, never=_no_repeats(task, sketch)))


def _can_be_written(progression: Progression, notes: Phrase) -> bool:
    edges = [0, *(tick for note in notes for tick in (note.onset, note.end)), progression.length]
    return all(can_be_written(start, end, progression.timeline) for start, end in pairwise(edges))


def _no_repeats(task: Task, sketch: _Sketch) -> dict[int, tuple[int, ...]]:
    """The pitches that new notes do not take: that of the note before them, and below level 4 that of the next."""
    never = {}
    for index in sketch.new:
        before, after = sketch.notes[index - 1], sketch.notes[index + 1]
        same = [before.midi] if index - 1 not in sketch.new else []
        same += [after.midi] if index + 1 not in sketch.new and not task.level.pushes else []
        never[index] = tuple(same)
    return never


def _most_kept(task: Task, whole: PhraseSpace, sketch: _Sketch) -> list[int]:
    """The phrase of a space that keeps the most of a sketch's pitches, those on strong beats counting most."""
    domains = whole.pitches
    values = []
    for index, (note, table) in enumerate(zip(sketch.notes, whole.lattice.allowed, strict=True)):
        away = np.abs(domains[index] - note.midi)
        weight = 3.0 if task.progression.is_strong(note.onset) else 1.0
        own = (weight * (away == 0) - away / 20) if index not in sketch.new else np.zeros(len(away))
        values.append(np.where(table, own[None, :, None], -np.inf))
    _, rows = whole.lattice.best(values)
    return [int(domain[at]) for domain, at in zip(domains, rows[0], strict=True)]


def _easier(task: Task) -> list[_Sketch]:
    """Sketches from the fullest to the barest: what the level forbids falls away, then decoration bar by bar."""
    if task.level.one_a_chord:
        return _roots(task)
    notes = task.phrase[_first_on_grid(task) :]
    if not task.level.triplets:
        notes = fallen(task, notes, [i for i, note in enumerate(notes) if is_triplet(note.onset)])
        notes = tuple(replace(note, length=_straight_length(note.length)) for note in notes)
    if not task.level.syncopation:
        notes = _straight(task, notes)
    notes = _without_forbidden(task, notes)
    steps = range(4) if len(task.progression.bars) <= 4 else range(0, 4, 3)
    every = islice(product(steps, repeat=min(len(task.progression.bars), 8)), 4096)
    sketches = dict.fromkeys(_thinned(task, notes, thin) for thin in sorted(every, key=lambda t: (sum(t), t)))
    return [_Sketch(each) for each in islice(sketches, 2 * PLANS)]


def _straight_length(ticks: int) -> int:
    """The length itself, or whole sixteenths that fit into a triplet length; one sixteenth at least."""
    return max(_SIXTEENTH, ticks // _SIXTEENTH * _SIXTEENTH) if is_triplet(ticks) else ticks


def _first_on_grid(task: Task) -> int:
    """The number of the first note that the level's rhythms can begin with: not one inside a triplet below level 5."""
    if task.level.triplets:
        return 0
    return next((index for index, note in enumerate(task.phrase) if not is_triplet(note.onset)), 0)


def _roots(task: Task) -> list[_Sketch]:
    """One note for each chord over which the phrase sounds, released on time or a little early."""
    spans = [span for span in task.progression.spans if _heard_in(task, span.onset, span.end) is not None]
    beat = task.metre.beat
    sketches = []
    for early in (0, beat, 2 * beat):
        notes = [
            Note(span.onset, span.length - early * (span.length > early), midi)
            for span in spans
            if (midi := _heard_in(task, span.onset, span.end)) is not None
        ]
        sketches.append(_Sketch(tuple(notes)))
    return list(dict.fromkeys(sketches))


def _heard_in(task: Task, start: int, end: int) -> int | None:
    """What the phrase sounds first from one tick to another."""
    return next((note.midi for note in task.phrase if note.onset < end and note.end > start), None)


def _straight(task: Task, notes: Phrase) -> Phrase:
    """Syncopated notes moved to the beat they come before; the note before fills the gap."""
    straight: list[Note] = []
    for note in notes:
        onset = _beat_of(task, note)
        if straight and onset > note.onset == straight[-1].end:
            straight[-1] = _uncrossed(task, held_to(task, straight[-1], onset))
        straight.append(_uncrossed(task, Note(onset, note.end - onset, note.midi)))
    return _without_scraps(task, straight)


def _without_scraps(task: Task, notes: Sequence[Note]) -> Phrase:
    """Notes without those too short to be written; their time goes to the note before."""
    whole = list(notes)
    while len(whole) > 1 and not is_length(whole[0].length):
        del whole[0]
    left = fallen(task, whole, [i for i, note in enumerate(whole) if not is_length(note.length)])
    return tuple(_uncrossed(task, note) for note in left)


def _beat_of(task: Task, note: Note) -> int:
    """The heaviest beat that a syncopated note is held across, where it begins before one heavier than its own."""
    timeline = task.progression.timeline
    if not timeline.crosses(note.onset, note.length):
        return note.onset
    grid = range(note.onset - note.onset % (TICKS // 2) + TICKS // 2, note.end, TICKS // 2)
    return max(grid, key=lambda tick: (timeline.accent(tick), -tick))


def _uncrossed(task: Task, note: Note) -> Note:
    """A note let go before a beat that is heavier than its own."""
    timeline = task.progression.timeline
    own = timeline.accent(note.onset)
    grid = range(note.onset - note.onset % (TICKS // 2) + TICKS // 2, note.end, TICKS // 2)
    end = next((tick for tick in grid if timeline.accent(tick) > own), note.end)
    return replace(note, length=end - note.onset)


def _without_forbidden(task: Task, notes: Phrase) -> Phrase:
    """Notes without those on weak places that the level does not allow."""
    allowed = {CHORD_TONE}
    for use in task.choices.uses:
        if use.rule.kind == "non-chord-note":
            allowed |= set(use.settings.get("allow", ()))
    while True:
        where = task.engine.places(rhythm_of(notes))
        found = roles(where, [note.midi for note in notes])
        bad = [
            index
            for index, (place, role) in enumerate(zip(where, found, strict=True))
            if index and not place.strong and role not in allowed
        ]
        if not bad:
            return notes
        notes = fallen(task, notes, bad[:1])


def _thinned(task: Task, notes: Phrase, thin: Sequence[int]) -> Phrase:
    """Notes with more or less decoration gone in each bar: 1 notes outside the chord, 2 off-beat ones, 3 weak ones."""
    progression = task.progression
    away = []
    for index, note in enumerate(notes):
        much = thin[min(task.bar(note.onset), len(thin) - 1)]
        weak = not progression.is_strong(note.onset)
        foreign = not progression.span_at(note.onset).heard.mask >> note.midi % 12 & 1
        off_beat = task.progression.inside(note.onset) % task.metre.beat != 0
        if weak and ((much >= 1 and foreign) or (much >= 2 and off_beat) or much >= 3):
            away.append(index)
    return fallen(task, notes, away)


def _harder(task: Task) -> list[_Sketch]:
    """Sketches with new notes put between the phrase's own, and with notes pushed where the level allows it."""
    sketches: dict[_Sketch, None] = {}
    wanted = max(PLANS, task.choices.request.count // 8)
    for turn in range(4 * wanted):
        notes = task.phrase
        if task.level.pushes and turn % 3:
            notes = _pushed(task, notes)
        sketch = _decorated(task, notes, 1 + turn % 3)
        if rhythm_of(sketch.notes) != task.rhythm:
            sketches[sketch] = None
        if len(sketches) == wanted:
            break
    return list(sketches)


def _pushed(task: Task, notes: Phrase) -> Phrase:
    """Some first notes of bars moved an eighth early, if the note before leaves room or can make it."""
    pushed = list(notes)
    for index in range(1, len(pushed)):
        note = pushed[index]
        room = [(pushed[index - 1].onset, pushed[index - 1].length)]
        if (
            task.progression.inside(note.onset)
            or not task.dice.chance(0.5)
            or not makes_room(room, note.onset - PUSH)
        ):
            continue
        pushed[index - 1] = replace(pushed[index - 1], length=room[0][1])
        pushed[index] = Note(note.onset - PUSH, note.length + PUSH, note.midi)
    return tuple(pushed)


def _decorated(task: Task, notes: Phrase, often: int) -> _Sketch:
    """Notes with some of them split, so that new ones lead on to the next: at most `often` in two bars.

    There is at most one triplet.
    """
    splits = {index: _splits(task, note) for index, note in enumerate(notes[:-1])}
    places = [index for index, ways in splits.items() if ways]
    most = min(len(places), max(1, often * len(task.progression.bars) // 2))
    chosen: dict[int, tuple[int, ...]] = {}
    for _ in range(most):
        index = task.dice.one_of(places)
        ways = [way for way in splits[index] if not _is_triplet_way(way) or not _has_triplet(chosen.values())]
        if ways:
            chosen[index] = task.dice.one_of(ways)
    row: list[Note] = []
    new: set[int] = set()
    for index, note in enumerate(notes):
        lengths = chosen.get(index, (note.length,))
        row.append(replace(note, length=lengths[0]))
        for length in lengths[1:]:
            new.add(len(row))
            row.append(Note(row[-1].end, length, note.midi))
    return _Sketch(tuple(row), frozenset(new))


def _is_triplet_way(lengths: Sequence[int]) -> bool:
    return any(map(is_triplet, lengths))


def _has_triplet(ways: Iterable[Sequence[int]]) -> bool:
    return any(_is_triplet_way(way) for way in ways)


def _splits(task: Task, note: Note) -> list[tuple[int, ...]]:
    """The ways to split a note that the level's rhythms allow, the first part at least as long as each new one."""
    eighth = TICKS // 2
    ways: list[tuple[int, ...]] = [
        (note.length - size * number, *(size,) * number)
        for size, number in ((eighth, 1), (eighth, 2), (TICKS, 1))
        if note.length - size * number >= size and note.end % size == 0
    ]
    third = TICKS // 3
    before = note.length - TICKS
    if task.level.triplets and task.metre.beat == TICKS and before >= 0 and note.end % TICKS == 0:
        ways.append((*(before,) * (before > 0), third, third, third))
    return [way for way in ways if task.level.syncopation or not _makes_syncopation(task, note, way)]


def _makes_syncopation(task: Task, note: Note, lengths: Sequence[int]) -> bool:
    onset = note.onset
    for length in lengths:
        if task.progression.timeline.crosses(onset, length):
            return True
        onset += length
    return False


def _needs_level(task: Task, group: Candidates) -> NDArray[np.bool_]:
    """Which candidates wouldn't fit the level below."""
    lower = [n for n in task.choices.request.pack.level_numbers if n < task.level.number]
    if not lower:
        return np.ones(len(group.pitches), dtype=bool)
    below = dict(levels(task.choices.request))[lower[-1]]
    timing = tuple(Note(onset, length, 60) for onset, length in group.plan.rhythm)
    if any(rhythm_beyond(task.progression, timing, below.choices.level)):
        return np.ones(len(group.pitches), dtype=bool)
    uses = [use for use in below.choices.uses if use.rule.kind not in _REACH]
    return ~_keep_rules(uses, below.places(group.plan.rhythm), group.pitches)


def _keep_rules(
    uses: Sequence[RuleUse], where: Sequence[Place], pitches: NDArray[np.int16]
) -> NDArray[np.bool_]:
    """Which of many phrases over one rhythm, given as rows of pitches, keep every rule."""
    seen = [Seen(place, pitches[:, index]) for index, place in enumerate(where)]
    kept = np.ones(len(pitches), dtype=bool)
    edged = [None, *seen, None]
    for before, note, after in zip(edged, seen, edged[2:], strict=False):
        for use in uses:
            kept &= use.holds((before, note, after))
    return kept
