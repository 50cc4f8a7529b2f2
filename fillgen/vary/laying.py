"""The row of pitches kept: new rhythms for the same pitches in the same order, all counted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from fillgen.engine.plans import PUSH, Rhythm_, begun, chord_cell, makes_room, stock
from fillgen.errors import NoPhraseError, many
from fillgen.phrase.place import Place
from fillgen.phrase.remark import Remark, RemarkKind
from fillgen.rules.pack import BUSY, Cell
from fillgen.rules.rule import Seen, Window
from fillgen.vary.impossible import nothing_else
from fillgen.vary.likeness import rhythm_of
from fillgen.vary.pool import Pool, distinct, scored
from fillgen.vary.task import Task

_DRAWN = 400
"""Rhythms drawn for a row of pitches."""


def with_pitches(task: Task) -> Pool:
    """New rhythms for the same pitches in the same order."""
    search = _RhythmSearch(task)
    layers = search.layers()
    if not layers[-1] or not layers[0]:
        raise search.stuck(layers)
    ways = search.ways(layers)
    rhythms = search.drawn(layers, ways)
    found = [scored(task, rhythm) for rhythm in rhythms if rhythm != task.rhythm]
    groups = distinct(task, found)
    if not groups:
        raise nothing_else()
    own = search.is_one(task.rhythm)
    count = ways[0][_START] - own
    text = f"{many(count, 'other rhythm')} {'fits' if count == 1 else 'fit'} these pitches."
    few = len(groups) if ways[0][_START] <= _DRAWN else count
    return Pool(groups, few, (Remark(RemarkKind.RHYTHMS, text),))


_State = tuple[int, Rhythm_]
"""How many notes of a row are laid, and the rhythm of the last three of them."""


_START: _State = (0, ())


@dataclass(frozen=True, slots=True)
class _Edge:
    """One more bar: the state it leads to, the notes it adds, and whether the last note before gives it room."""

    to: _State
    added: Rhythm_
    shortened: tuple[int, int] | None = None


_Layer = dict[_State, list[_Edge]]


class _RhythmSearch:
    """A row of pitches laid over the bars of a chart in every rhythm that the rules allow, bar by bar.

    Whether a note keeps the rules is known once the two notes after it are, so a state needs no more than
    the number of notes laid and the last three.
    """

    def __init__(self, task: Task) -> None:
        self.task = task
        self.engine = task.engine
        self.pitches = [note.midi for note in task.phrase]
        self.options = [self._options(bar) for bar in range(len(task.progression.bars))]
        self.place = lru_cache(maxsize=None)(self._place)
        self.stands = lru_cache(maxsize=None)(self._stands)
        self.may_be = lru_cache(maxsize=None)(self._may_be)
        self.inner = lru_cache(maxsize=None)(self._inner)
        self.alone = lru_cache(maxsize=None)(self._alone)

    # What a bar may hold

    def _options(self, bar: int) -> tuple[Rhythm_, ...]:
        task = self.task
        if bar in task.timed:
            return (rhythm_of(task.inside(bar)),)
        start = task.progression.start_of(bar)
        free = max(
            (n.end for n in task.phrase if task.bar(n.onset) in task.bars and n.onset < start), default=0
        )
        notes = [[(start + onset, length) for onset, length in cell.notes] for cell in _every_cell(task, bar)]
        return tuple(dict.fromkeys(tuple(begun(each, free, task.progression)) for each in notes))

    def _goes_on(self, bar: int, used: int) -> set[int]:
        """How many notes may be laid after a bar, as far as its own notes show, given the number laid before it."""
        if bar in self.task.bars and used != self._first_of(bar):
            return set()
        most = len(self.pitches) - used
        return {
            used + len(each) for each in self.options[bar] if len(each) <= most and self.inner(used, each)
        }

    def _finishing(self) -> list[set[int]]:
        """The numbers of notes laid before each bar with which the row can come out at the end, as far as single bars show."""
        counts = [{len(self.pitches)}]
        for bar in reversed(range(len(self.options))):
            every = range(len(self.pitches) + 1)
            counts.append({used for used in every if self._goes_on(bar, used) & counts[-1]})
        return counts[::-1]

    # The recursion

    def layers(self) -> list[_Layer]:
        """The states that can be reached after each bar with what may follow; the last has those that close."""
        finishing = self._finishing()
        layers: list[_Layer] = [{_START: []} if 0 in finishing[0] else {}]
        for bar in range(len(self.options)):
            ahead: _Layer = {}
            for state, edges in layers[-1].items():
                for edge in self._edges(bar, state):
                    if edge.to[0] in finishing[bar + 1]:
                        edges.append(edge)
                        ahead.setdefault(edge.to, [])
            layers.append(ahead)
        layers[-1] = {state: [] for state in layers[-1] if self._closes(state)}
        return layers

    def _edges(self, bar: int, state: _State) -> Iterator[_Edge]:
        used, tail = state
        if bar in self.task.bars and used != self._first_of(bar):
            return
        for added in self.options[bar]:
            if used + len(added) > len(self.pitches) or not self.inner(used, added):
                continue
            yield from self._joins(bar, tail, used, added)

    def _first_of(self, bar: int) -> int:
        """The number of the first note of a kept bar."""
        return sum(self.task.bar(note.onset) < bar for note in self.task.phrase)

    def _joins(self, bar: int, tail: Rhythm_, used: int, added: Rhythm_) -> Iterator[_Edge]:
        if self._fit(tail, used, added):
            yield _Edge((used + len(added), (*tail, *added)[-3:]), added)
        pushed = self._pushed(bar, tail, added)
        if pushed is not None:
            last, moved = pushed
            whole = (*tail[:-1], last)
            if self._fit(whole, used, moved):
                yield _Edge((used + len(moved), (*whole, *moved)[-3:]), moved, last)

    def _pushed(self, bar: int, tail: Rhythm_, added: Rhythm_) -> tuple[tuple[int, int], Rhythm_] | None:
        """The last note before a bar and the notes of the bar, its first an eighth early, where that can be."""
        line = self.task.progression.start_of(bar)
        kept = {bar, bar - 1} & self.task.timed
        if kept or not self.task.level.pushes or not tail or not added or added[0][0] != line:
            return None
        room = [tail[-1]]
        if self.task.bar(tail[-1][0]) != bar - 1 or not makes_room(room, line - PUSH):
            return None
        return room[0], ((line - PUSH, added[0][1] + PUSH), *added[1:])

    def _fit(self, tail: Rhythm_, used: int, added: Rhythm_) -> bool:
        """Whether the notes that can be judged now keep the rules."""
        notes = (*tail, *added)
        first = used - len(tail)
        judged = range(max(0, len(tail) - 2), len(notes) - 2)
        return all(
            self.stands(first + at, notes[at - 1] if at else None, *notes[at : at + 3]) for at in judged
        )

    def _inner(self, used: int, added: Rhythm_) -> bool:
        """Whether the notes inside a bar keep the rules, whatever comes before and after.

        The first may be pushed over the bar line, so that the second cannot be judged by it.
        """
        first = int(self.task.level.pushes)
        return all(self._has_a_chance(used + at, added[at]) for at in range(len(added))) and all(
            self.stands(used + at, added[at - 1], *added[at : at + 3])
            for at in range(first + 1, len(added) - 2)
        )

    def _has_a_chance(self, index: int, note: tuple[int, int]) -> bool:
        """Whether a note of the row may be at a place, or before it if it may be pushed over the bar line."""
        onset, least = note[0], min(note[1], PUSH)
        if self.alone(index, onset, least):
            return True
        may_push = self.task.level.pushes and onset > 0 and self.task.progression.inside(onset) == 0
        return may_push and self.alone(index, onset - PUSH, least + PUSH)

    def _closes(self, state: _State) -> bool:
        used, tail = state
        if used != len(self.pitches):
            return False
        first = used - len(tail)
        return all(
            self.stands(
                first + at,
                tail[at - 1] if at else None,
                tail[at],
                tail[at + 1] if at + 1 < len(tail) else None,
                None,
            )
            for at in range(max(0, len(tail) - 2), len(tail))
        )

    # The rules

    def _place(
        self, before: tuple[int, int] | None, note: tuple[int, int], after: tuple[int, int] | None
    ) -> Place:
        run = [one for one in (before, note, after) if one is not None]
        return self.engine.places(run, closes=after is None)[0 if before is None else 1]

    def _alone(self, index: int, onset: int, length: int) -> bool:
        """Whether a note of the row has a chance at a place with a length at least, whatever its neighbours."""
        place = self.place(None, (onset, length), (onset, PUSH))
        note = Seen(replace(place, before_rest=False, coming=0xFFF), self.pitches[index])
        return all(bool(use.rule.may_stand(note, use.settings)) for use in self.engine.choices.uses)

    def _stands(
        self,
        index: int,
        before: tuple[int, int] | None,
        note: tuple[int, int],
        after: tuple[int, int] | None,
        later: tuple[int, int] | None,
    ) -> bool:
        """Whether a note of the row keeps the rules between its neighbours."""
        hand = self.engine.choices.hand is not None
        one = self.place(None, before, note) if before is not None else None
        two = self.place(before if hand else None, note, after)
        three = self.place(None, after, later) if after is not None else None
        return self.may_be(index, one, two, three)

    def _may_be(self, index: int, before: Place | None, note: Place, after: Place | None) -> bool:
        window: Window = (
            Seen(before, self.pitches[index - 1]) if before is not None else None,
            Seen(note, self.pitches[index]),
            Seen(after, self.pitches[index + 1]) if after is not None else None,
        )
        inside = self.engine.windows.low <= self.pitches[index] <= self.engine.windows.high
        return inside and all(bool(use.holds(window)) for use in self.engine.choices.uses)

    # Counting and drawing

    def ways(self, layers: Sequence[_Layer]) -> list[dict[_State, int]]:
        """In how many ways the row can be finished from each state."""
        counts = [dict.fromkeys(layers[-1], 1)]
        for layer in reversed(layers[:-1]):
            after = counts[-1]
            counts.append(
                {state: sum(after.get(edge.to, 0) for edge in edges) for state, edges in layer.items()}
            )
        return counts[::-1]

    def drawn(self, layers: Sequence[_Layer], ways: Sequence[Mapping[_State, int]]) -> list[Rhythm_]:
        """All rhythms where they are few, otherwise as many different ones, drawn fairly."""
        total = ways[0][_START]
        if total <= _DRAWN:
            numbers: Iterable[int] = range(total)
        else:
            numbers = sorted({int(each * total) for each in self.task.dice.doubles(_DRAWN)})
        return [self._number(each, layers, ways) for each in numbers]

    def _number(self, number: int, layers: Sequence[_Layer], ways: Sequence[Mapping[_State, int]]) -> Rhythm_:
        """The rhythm of a number, counted from 0."""
        rhythm: list[tuple[int, int]] = []
        state = _START
        for layer, after in zip(layers, ways[1:], strict=False):
            for edge in layer[state]:
                here = after.get(edge.to, 0)
                if number < here:
                    break
                number -= here
            if edge.shortened is not None:
                rhythm[-1] = edge.shortened
            rhythm += edge.added
            state = edge.to
        return tuple(rhythm)

    def is_one(self, rhythm: Rhythm_) -> bool:
        """Whether a rhythm is among those found."""
        states = {_START}
        for bar in range(len(self.options)):
            states = {
                edge.to
                for state in states
                for edge in self._edges(bar, state)
                if edge.added == rhythm[edge.to[0] - len(edge.added) : edge.to[0]] or not edge.added
            }
            states = {state for state in states if state[1][:-1] == rhythm[: state[0]][-3:-1]}
        return any(self._closes(state) and state[1] == rhythm[-3:] for state in states)

    # If there is none

    def _farthest(self) -> int:
        """The most notes that can be laid, as far as single bars show."""
        reached = [{0}]
        for bar in range(len(self.options)):
            reached.append({after for used in reached[-1] for after in self._goes_on(bar, used)})
        return max(max(each) for each in reached if each)

    def stuck(self, layers: Sequence[_Layer]) -> NoPhraseError:
        """How far the row gets."""
        task = self.task
        reached = max((state[0] for layer in layers[:-1] for state in layer), default=self._farthest())
        index = min(reached, len(task.phrase) - 1)
        return NoPhraseError(
            f"no {task.choices.rhythm.name} rhythm fits these pitches: none gets past {task.names[index]}, "
            f"note {index + 1}",
            place=task.progression.place_name(task.phrase[index].onset),
            hint="Try another --rhythm or --level.",
        )


def _every_cell(task: Task, bar: int) -> list[Cell]:
    """The cells of the rhythm that a bar may have, whatever their number of notes."""
    c = task.choices
    if c.level.one_a_chord:
        return [chord_cell(task.progression, bar)]
    metre, last = task.progression.metre_of(bar), bar == len(task.progression.bars) - 1
    firm = c.request.purpose == "ending"
    found = [
        stock(task.progression, c.level, c.rhythm, busy, leave=c.request.leave, firm=firm, metre=metre)[last]
        for busy in BUSY
        if (task.metre.name, busy) in c.rhythm.cells
    ]
    return [cell for cells in found for cell in cells]
