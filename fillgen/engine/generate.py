"""From a progression to ideas: plan, solve, join, draw, score, thin out. This page names the stages in order."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache, partial
from itertools import islice, pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fillgen.dice import Dice
from fillgen.engine import diversify, score
from fillgen.engine.bars import BarProblems, parts
from fillgen.engine.devices import Drawn, showing, triplets
from fillgen.engine.forms import passages_in_words
from fillgen.engine.guide import Guide
from fillgen.engine.habits import Home, home_over
from fillgen.engine.lattice import Lattice, Run
from fillgen.engine.leanings import LEADING, Leanings
from fillgen.engine.never import misplayed
from fillgen.engine.plans import Plan, chord_cell, plans
from fillgen.engine.remarks import remarks_on
from fillgen.engine.repeats import repeats
from fillgen.engine.request import Choices, Request, seconds_of, settle, since_of
from fillgen.engine.returning import ReturningLattice
from fillgen.errors import NoPhraseError, listed
from fillgen.hands.fingering import best_of_many
from fillgen.hands.reach import reach
from fillgen.phrase.idea import Idea, Ideas
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.place import Place, place_of, places
from fillgen.phrase.spelling import Speller
from fillgen.phrase.text import phrase_text
from fillgen.rules import judge
from fillgen.rules.pack import Cell
from fillgen.rules.rule import RuleUse, Seen
from fillgen.rules.windows import Windows
from fillgen.theory.metre import TICKS
from fillgen.theory.pitch import midi_name
from fillgen.theory.swing import swing_at

_DRAWN = 170
_SHORT = TICKS // 2
"""Notes shorter than this, in ticks, are hardly left by a wide leap."""
"""Candidates drawn from each plan."""
_PLANS = 24
"""Plans drawn for fifty ideas and fewer."""
FEW = _PLANS * _DRAWN
"""Up to this many phrases, all of them are examined; beyond that they are drawn."""
_MOST_DRAWN = 12_000
"""The most candidates drawn in all: each of many ideas is chosen from fewer."""
_GUIDE = Guide()
_KEPT_TABLES = 2048
_PITCHES = 128
_ENOUGH = 2_000
"""Passages return exactly if that leaves at least this many phrases."""
_MOST_WORK = 4_000_000
"""Passages return exactly if solving them takes at most this many additions a note."""
_IN_SHAPE = 0.6
"""How well an idea must at least follow its shape, if a shape is requested."""
_EDGE = np.zeros(1, dtype=np.intp)
_HEIGHT = 8.2
"""Semitones between the lowest and the highest point of a shape."""
_SWAY = 2.0
"""How many semitones higher or lower plans are than one another."""


@dataclass(frozen=True)
class Kept:
    """What phrases over a plan must keep besides the rules, by the number of the note, counted from 0.

    `pitches` are fixed (MIDI numbers); `rises` say whether the line goes up to a note from the one before (1), down (-1)
    or neither (0); `near` are pitches that the draws lean to, each with a strength, or lean away from where that is
    below 0; `within` are the lowest and the highest pitch a note may have, `never` pitches that it must not have.
    """

    pitches: Mapping[int, int] = field(default_factory=dict)
    rises: Mapping[int, int] = field(default_factory=dict)
    near: Mapping[int, tuple[int, float]] = field(default_factory=dict)
    within: Mapping[int, tuple[int, int]] = field(default_factory=dict)
    never: Mapping[int, tuple[int, ...]] = field(default_factory=dict)

    def leaves(self, index: int, pitches: NDArray[np.int16]) -> NDArray[np.bool_]:
        """Which of some pitches the note of that number may have."""
        open_ = np.ones(pitches.shape, dtype=bool)
        if index in self.pitches:
            open_ &= pitches == self.pitches[index]
        if index in self.within:
            low, high = self.within[index]
            open_ &= (pitches >= low) & (pitches <= high)
        if index in self.never:
            open_ &= ~np.isin(pitches, self.never[index])
        return open_


@dataclass(frozen=True)
class PhraseSpace:
    """All phrases over one plan, and how many there are.

    `pitches` are those that each note may have, in the order of the lattice's indices. Where passages return, `common`
    says for each note which of its pitches are possible at every place.
    """

    plan: Plan
    places: tuple[Place, ...]
    pitches: tuple[NDArray[np.int16], ...]
    lattice: Lattice | ReturningLattice
    count: int
    kept: Kept | None = None
    common: tuple[NDArray[np.intp], ...] = ()

    def heard(self, rows: NDArray[np.intp]) -> NDArray[np.int16]:
        """Rows of the lattice as pitches."""
        return np.stack([own[rows[:, i]] for i, own in enumerate(self.pitches)], axis=1)

    def holds(self, pitches: NDArray[np.int16]) -> NDArray[np.bool_]:
        """Which rows of pitches are phrases of this space. Exact: each is looked up in the tables at which the lattice joins."""
        near = np.clip(pitches, 0, _PITCHES - 1)
        rows = np.stack([_positions(own)[near[:, i]] for i, own in enumerate(self.pitches)], axis=1)
        inside = np.asarray(((rows >= 0) & (near == pitches)).all(axis=1))
        found = np.zeros(len(pitches), dtype=bool)
        found[inside] = self.lattice.holds(rows[inside])
        return found


@dataclass(frozen=True)
class Candidates:
    """Phrases over one plan: pitches as rows, their terms and scores, the shape each follows best, and how well."""

    plan: Plan
    places: tuple[Place, ...]
    pitches: NDArray[np.int16]
    terms: dict[str, NDArray[np.float64]]
    scores: NDArray[np.float64]
    shapes: NDArray[np.intp]
    fit: NDArray[np.float64]

    def rows(self, kept: NDArray[np.bool_]) -> Candidates:
        """Only some of the candidates."""
        terms = {name: values[kept] for name, values in self.terms.items()}
        arrays = (self.pitches[kept], terms, self.scores[kept], self.shapes[kept], self.fit[kept])
        return Candidates(self.plan, self.places, *arrays)


Gather = Callable[["Engine", Sequence[PhraseSpace], int, Dice], list[Candidates]]
"""How candidates are found in some spaces, given how many phrases these hold."""


def generate(request: Request, gather: Gather | None = None) -> Ideas:
    """The ideas for a request, best first; `gather` takes the place of `Engine.candidates`.

    Raises OptionError for a setting out of range, and NoPhraseError if nothing can be found.
    """
    choices = settle(request)
    engine = Engine(choices)
    dice = Dice(request.seed)
    found = engine.spaces(dice)
    if not found:
        raise engine.why_nothing()
    phrases = sum(space.count for space in found)
    gather = gather or Engine.candidates
    candidates = engine.idiomatic(gather(engine, found, phrases, dice))
    picked, apart = engine.pick(candidates)
    ideas = engine.ideas(picked)
    return Ideas(
        choices.progression,
        choices.rhythm.name,
        choices.level.number,
        choices.tempo,
        choices.rhythm.swing,
        request.seed,
        phrases,
        ideas,
        remarks_on(choices, phrases, len(ideas), apart),
        choices.weights,
        (choices.hand or reach()).size,
        rhythms=len(found),
        returning=sum(bool(space.plan.passages) for space in found),
        usual=choices.usual,
        floors=choices.floors,
    )


def leanings_of(choices: Choices) -> Leanings:
    """What lines lean to: what the rhythm names; on a level with devices also broken chords and guide tones."""
    by_name = dict(choices.rhythm.idiom.leanings)
    if not choices.level.devices:
        return Leanings(by_name)
    by_name["arpeggio"] = by_name.get("arpeggio", 0.0) + 0.8
    return Leanings(by_name, LEADING)


# The engine


class Engine:
    """Everything that one request needs to be kept between the stages. `written` are notes that keep their names."""

    def __init__(self, choices: Choices, written: Phrase = ()) -> None:
        self.choices = choices
        self.progression = choices.progression
        self.windows = Windows(choices.uses, choices.low, choices.high)
        self.problems = BarProblems(self.windows)
        self.speller = Speller(self.progression, written)
        self.fits = lru_cache(maxsize=None)(self._fits)
        self._place = lru_cache(maxsize=None)(partial(place_of, self.progression))
        self._offsets = lru_cache(maxsize=None)(self._above_lowest)
        self._own = lru_cache(maxsize=None)(self._own_factor)
        self._factor = lru_cache(maxsize=_KEPT_TABLES)(self._base_factor)
        size = choices.high - choices.low
        self.leanings = leanings_of(choices)
        moves, turns = self.leanings.table(size)
        self._move = _GUIDE.moves(size) * _GUIDE.rising(size) * moves
        self._turn = self._move[:, :, None] * _GUIDE.turn(size) * turns
        self._onward = _GUIDE.onward(size)
        self._reach = np.arange(choices.low, choices.high + 1, dtype=np.int16)
        self._moved = lru_cache(maxsize=None)(partial(_moved, size))
        self._follows = lru_cache(maxsize=None)(self._habits)
        self.home = lru_cache(maxsize=None)(self._home)
        self.context = lru_cache(maxsize=1)(self._context)

    @property
    def lead(self) -> int:
        return -1 if self.choices.lead_to is None else self.choices.lead_to

    # Plans and lattices

    def _fits(self, bar: int, cell: Cell) -> bool:
        """Whether every note of a cell has a pitch it may take in a bar, whatever its neighbours."""
        start = self.progression.start_of(bar)
        notes = [(start + onset, length) for onset, length in cell.notes]
        is_last = bar == len(self.progression.bars) - 1
        found = self.places(notes, closes=is_last)
        return all(map(self._is_possible, found))

    def _is_possible(self, place: Place) -> bool:
        """Whether a note can be at a place: on a strong beat as a chord tone, since one that leans may have nowhere to go."""
        domain = self.windows.domain(place)
        return bool(domain.size and (not place.strong or Seen(place, domain).tone.any()))

    def spaces(self, dice: Dice) -> list[PhraseSpace]:
        """Plans with all their phrases, only plans that have any."""
        c = self.choices
        wanted = max(_PLANS, c.request.count // 8)
        stream = plans(
            self.progression,
            c.level,
            c.rhythm,
            c.busy,
            c.shapes,
            c.request.pack,
            self.fits,
            dice,
            leave=c.request.leave,
            firm=c.request.purpose == "ending",
        )
        found = []
        for plan in islice(stream, 3 * wanted):
            space = self.space(plan)
            if space.count:
                found.append(space)
            if len(found) == wanted:
                break
        return found

    def space(self, plan: Plan, kept: Kept | None = None) -> PhraseSpace:
        """All phrases over a plan that keep the rules, and what must be kept besides.

        Passages return if that leaves enough phrases, and if nothing else must be kept; elsewhere they share no
        more than a rhythm and a gesture.
        """
        where = self.places(plan.rhythm)
        domains = tuple(self.windows.domain(place) for place in where)
        if plan.passages and kept is None:
            space = self._returning(plan, where, domains)
            if space is not None:
                return space
        lattice = self._lattice(plan, where, domains, kept)
        return PhraseSpace(replace(plan, passages=()), where, domains, lattice, lattice.count(), kept)

    def _returning(
        self, plan: Plan, where: tuple[Place, ...], domains: Sequence[NDArray[np.int16]]
    ) -> PhraseSpace | None:
        """The phrases over a plan in which its passages return; None if there are few, or if they take too much work."""
        found = repeats(plan, domains, self.progression.metre.bar)
        if found is None:
            return None
        allowed = [
            _cut(self.windows.joined(*window), found.common, index)
            for index, window in enumerate(_neighbours(where))
        ]
        lattice = ReturningLattice(allowed, found.sames)
        if lattice.work > _MOST_WORK * len(where):
            return None
        count = lattice.count()
        if count < _ENOUGH:
            return None
        return PhraseSpace(plan, where, found.pitches, lattice, count, common=found.common)

    def places(self, rhythm: Sequence[tuple[int, int]], *, closes: bool = True) -> tuple[Place, ...]:
        """The places of the notes of a whole phrase, or of a part that does not close it."""
        closes = closes and self.choices.request.closes
        since = since_of(self.seconds(rhythm)) if self.choices.hand is not None else ()
        ends = self.choices.ends_on, self.lead
        return places(self.progression, rhythm, *ends, closes=closes, since=since, make=self._place)

    def seconds(self, rhythm: Sequence[tuple[int, int]]) -> tuple[float, ...]:
        """When the notes of a rhythm begin, as they are played."""
        swing = swing_at(self.progression.metre, self.choices.tempo, self.choices.rhythm.swing)
        return seconds_of([onset for onset, _ in rhythm], self.choices.tempo, swing)

    def _lattice(
        self,
        plan: Plan,
        where: Sequence[Place],
        domains: Sequence[NDArray[np.int16]],
        kept: Kept | None,
    ) -> Lattice:
        onsets = [onset for onset, _ in plan.rhythm]
        runs = [
            Run(part.start, self.problems.figures(tuple(where[part.start : part.stop])))
            for part in parts(onsets, [domain.size for domain in domains], self.progression.timeline)
        ]
        allowed = [self.windows.joined(*window) for window in _neighbours(where)]
        if kept is None:
            return Lattice(runs, allowed)
        return Lattice(
            [_keeping(run, domains, kept) for run in runs],
            [table & _keeps(index, domains, kept) for index, table in enumerate(allowed)],
        )

    # Candidates

    def candidates(self, found: Sequence[PhraseSpace], phrases: int, dice: Dice) -> list[Candidates]:
        """Phrases of every plan, scored: all of them if they are few, otherwise drawn."""
        all_of_them = phrases <= FEW
        drawn = min(max(FEW, 24 * self.choices.request.count), _MOST_DRAWN) // len(found)
        scored = []
        for space in found:
            if all_of_them:
                rows = space.lattice.phrases()
            else:
                chances = dice.doubles(drawn * space.lattice.columns).reshape(drawn, -1)
                rows = _distinct(space.lattice.draw(self.weights(space), chances))
            scored.append(self.scored(space.plan, space.places, space.heard(rows)))
        return self._in_shape(scored)

    def weights(self, space: PhraseSpace) -> list[NDArray[np.float64]]:
        """How much a plan favours each window; 0 if the rules forbid it, or what must be kept.

        A note at several places is weighted by their mean, so that what returns leans no more than the rest.
        """
        plan = space.plan
        context = self.context(plan, space.places)
        wanted = score.heights(plan.shape, context.times)
        middle = self._middle(plan)
        near = space.kept.near if space.kept is not None else {}
        inside = {first + n for first in triplets(plan.rhythm) for n in (1, 2)}
        times = space.lattice.times if isinstance(space.lattice, ReturningLattice) else ()
        accents = [*pairwise(context.accents), (0, 0)]
        heights = _GUIDE.height(self._reach, (middle + (wanted - 0.5) * _HEIGHT)[:, None])
        offsets = [self._offsets(place) for place in space.places]
        weights = []
        for index, (before, note, after) in enumerate(_neighbours(space.places)):
            own = heights[index, offsets[index]][None, :]
            if index in near:
                own = own * _GUIDE.near(self.windows.domain(note), *near[index])
            if before is not None:
                is_short = plan.rhythm[index - 1][1] < _SHORT
                moved = self._moved(plan.intervals[index - 1], is_short)
                own = own * moved[_window(*offsets[index - 1 : index + 1])]
            table = self._factor(before, note, after, context.homes[index], accents[index]) * own[:, :, None]
            if index in inside and before is not None and after is not None:
                table = table * self._onward[_window(*offsets[index - 1 : index + 2])]
            if space.common:
                table = _cut(table, space.common, index)
                table = table if times[index] == 1 else table ** (1 / times[index])
            weights.append(table if space.kept is None else table * space.lattice.allowed[index])
        return weights

    def _middle(self, plan: Plan) -> float:
        """The pitch around which a plan's shape lies: the middle of the range, higher or lower from plan to plan."""
        sway = (sum(onset for onset, _ in plan.rhythm) // 120 % 5 - 2) * _SWAY
        return (self.choices.low + self.choices.high) / 2 + sway

    def _base_factor(
        self, before: Place | None, note: Place, after: Place | None, home: Home, accents: tuple[int, int]
    ) -> NDArray[np.float64]:
        """The rules and what the guide favours in any plan (notes, intervals, habits) in one table."""
        allowed = self.windows.joined(before, note, after)
        own = self._own(note)[:, None]
        offsets = [self._offsets(place) for place in (before, note, after) if place is not None]
        if before is not None:
            led = self.leanings.leads(before, self.windows.domain(before), self.windows.domain(note))
            own = own if led is None else own * led[:, :, None]
        if after is None:
            move = 1.0 if before is None else self._move[_window(*offsets)][:, :, None]
            return np.asarray(allowed * own * move)
        inside, opening = self._follows(home, accents)
        if before is None:
            return np.asarray(allowed * own * opening[_window(*offsets)])
        return np.asarray(inside[_window(*offsets)] * own * allowed)

    def _own_factor(self, place: Place) -> NDArray[np.float64]:
        """What the guide and the leanings favour in a note alone."""
        domain = self.windows.domain(place)
        return np.asarray(_GUIDE.place(place, domain) * np.exp(self.leanings.toned(place)[domain % 12]))

    def _habits(
        self, home: Home, accents: tuple[int, int]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """What three pitches of the range are worth to the draws, and two with which a phrase begins."""
        low, high = self._ends()
        inside, opening = _GUIDE.follows(low, high - low, home, accents)
        return inside * self._turn, opening

    def _above_lowest(self, place: Place) -> NDArray[np.intp]:
        """The pitches a place may have, counted from the lowest of the range."""
        return self.windows.domain(place).astype(np.intp) - self.choices.low

    def _context(self, plan: Plan, where: tuple[Place, ...]) -> score.ScoreContext:
        c = self.choices
        home = where[-1].root if c.request.purpose == "ending" else 0
        seconds = self.seconds(plan.rhythm) if c.hand is not None else ()
        metre, homes = self.progression.metre, self.homes(plan.rhythm)
        return score.ScoreContext(
            plan,
            where,
            self.progression.timeline,
            c.low,
            c.high,
            home,
            seconds,
            c.hand,
            self.leanings,
            metre,
            homes,
        )

    def homes(self, rhythm: Sequence[tuple[int, int]]) -> list[Home]:
        """The home heard at each note of a rhythm: that of its chord in the key there."""
        return [self.home(onset) for onset, _ in rhythm]

    def _home(self, tick: int) -> Home:
        span = self.progression.span_at(tick)
        return home_over(span.heard.mask, span.key)

    def scored(self, plan: Plan, where: tuple[Place, ...], pitches: NDArray[np.int16]) -> Candidates:
        """Phrases over a plan, given as rows of pitches, with their terms and scores."""
        context = self.context(plan, where)
        weights = self.choices.weights
        found = score.terms(pitches, context, tuple(weights))
        every = self.choices.request.pack.shapes.values()
        fit = np.round(score.follows(pitches, list(every), context.times), 6)
        return Candidates(
            plan,
            where,
            pitches,
            found,
            score.total(found, weights, self.choices.floors),
            fit.argmax(axis=1),
            fit.max(axis=1),
        )

    def _in_shape(self, scored: list[Candidates]) -> list[Candidates]:
        """Only the candidates of the requested shape, as long as there are plenty."""
        if self.choices.request.shape is None:
            return scored
        wanted = list(self.choices.request.pack.shapes).index(self.choices.request.shape)
        kept = [group.rows((group.shapes == wanted) & (group.fit > _IN_SHAPE)) for group in scored]
        plenty = sum(len(group.scores) for group in kept) >= 4 * self.choices.request.count
        return [group for group in kept if len(group.scores)] if plenty else scored

    def idiomatic(self, scored: list[Candidates]) -> list[Candidates]:
        """Only candidates that show a device of the level, and nothing that is never played in the rhythm.

        All of them if there is none.
        """
        kept = []
        for group in scored:
            drawn = Drawn(group.plan.rhythm, group.places, group.pitches, self.progression.metre.beat)
            good = showing(drawn, self.choices.level.devices)
            good &= ~misplayed(drawn, self.choices.rhythm.name)
            kept.append(group if good.all() else group.rows(good))
        return [group for group in kept if len(group.scores)] or scored

    # The choice

    def pick(
        self,
        candidates: Sequence[Candidates],
        kept: Sequence[tuple[int, int]] = (),
        most_alike: float = diversify.ALIKE,
    ) -> tuple[list[tuple[Candidates, int]], int]:
        """The candidates to be shown, best first, and how many of them keep their distance.

        What all of them share, from one tick to another each, is `kept` and does not count.
        """
        owners = [(group, row) for group in candidates for row in range(len(group.scores))]
        traits = self._traits(candidates)
        edges = sorted(
            {edge for group in candidates for note in group.plan.rhythm for edge in (note[0], sum(note))}
        )
        starts = np.array(edges, dtype=np.int64)
        grid, widths = starts[:-1], starts[1:] - starts[:-1]
        for start, end in kept:
            widths = np.where((grid >= start) & (grid < end), 0, widths)
        sounds = np.vstack([_sounding(group, grid) for group in candidates])
        scores = np.concatenate([group.scores for group in candidates])
        limits = diversify.Limits.of(self.choices.request.count, len(self.choices.shapes))
        picked, apart = diversify.choose(
            scores,
            lambda index: traits(*owners[index]),
            sounds,
            widths,
            self.choices.request.count,
            limits,
            most_alike,
        )
        return [owners[index] for index in picked], apart

    def _traits(self, candidates: Sequence[Candidates]) -> Callable[[Candidates, int], diversify.Traits]:
        """A function from a candidate to its traits; rhythms and first bars are numbered, since they are looked up often."""
        bar = self.progression.size_of(0)
        rhythms: dict[tuple[tuple[int, int], ...], int] = {}
        openings: dict[tuple[tuple[int, int], ...], int] = {}
        numbers = {}
        for group in candidates:
            first = tuple(note for note in group.plan.rhythm if note[0] < bar)
            of_rhythm = rhythms.setdefault(group.plan.rhythm, len(rhythms))
            numbers[id(group)] = of_rhythm, openings.setdefault(first, len(openings)), len(first)

        def traits(group: Candidates, row: int) -> diversify.Traits:
            rhythm, opening, size = numbers[id(group)]
            pitches = group.pitches[row].tolist()
            first_bar = (opening, *pitches[:size])
            return diversify.Traits(rhythm, first_bar, int(group.shapes[row]), pitches[0], pitches[-1])

        return traits

    # Explanations

    def ideas(self, picked: Sequence[tuple[Candidates, int]]) -> tuple[Idea, ...]:
        """The chosen candidates as ideas, best first."""
        fingers = best_of_many([group.pitches[row].tolist() for group, row in picked], self.choices.hand)
        return tuple(
            self.idea(rank, group, row, hand)
            for rank, ((group, row), hand) in enumerate(zip(picked, fingers, strict=True), 1)
        )

    def idea(self, rank: int, group: Candidates, row: int, fingers: Sequence[int]) -> Idea:
        """A chosen candidate as an idea: named, spelled, explained, with its fingers."""
        pitches = [int(midi) for midi in group.pitches[row]]
        notes: Phrase = tuple(
            Note(onset, length, midi)
            for (onset, length), midi in zip(group.plan.rhythm, pitches, strict=True)
        )
        annotated = judge.annotated(self.progression, notes, group.places, fingers, self.speller)
        shapes = list(self.choices.request.pack.shapes)
        return Idea(
            rank,
            float(group.scores[row]),
            {name: round(float(values[row]), 4) for name, values in group.terms.items()},
            shapes[int(group.shapes[row])],
            phrase_text(notes, self.progression, [each.name for each in annotated]),
            annotated,
            passages_in_words(group.plan.passages, self.progression.first),
        )

    # When nothing can be found

    def why_nothing(self) -> NoPhraseError:
        """Why there are no phrases: the first bar that none gets past, and the rules without which one would."""
        bars = len(self.progression.bars)
        stuck = next((bar for bar in range(1, bars + 1) if not self._goes_to(bar, self.windows)), bars)
        named = [
            use
            for use in self.choices.uses
            if self._goes_to(stuck, Windows([u for u in self.windows.uses if u is not use], *self._ends()))
        ]
        named = named or self._blocking(stuck)
        kinds = listed([use.rule.kind for use in named] or ["all the rules together"], "and")
        return NoPhraseError(
            f"no phrase between {self._range()} keeps {kinds}",
            place=f"bar {stuck}",
            hint=self._way_on(named, stuck),
        )

    def _blocking(self, bar: int) -> list[RuleUse]:
        """The rules that leave one of a bar's notes without a pitch."""
        notes = [
            (self.progression.start_of(bar - 1) + onset, length)
            for onset, length in chord_cell(self.progression, bar - 1).notes
        ]
        closes = bar == len(self.progression.bars) and self.choices.request.closes
        where = places(self.progression, notes, self.choices.ends_on, self.lead, closes=closes)
        empty = [place for place in where if not self.windows.domain(place).size]
        return [use for use in self.choices.uses for place in empty[:1] if self.windows.blocks(use, place)]

    def _ends(self) -> tuple[int, int]:
        return self.choices.low, self.choices.high

    def _goes_to(self, bars: int, windows: Windows) -> bool:
        """Whether one note a chord can be played up to a bar under some rules."""
        notes = [
            (self.progression.start_of(bar) + onset, length)
            for bar in range(bars)
            for onset, length in chord_cell(self.progression, bar).notes
        ]
        closes = bars == len(self.progression.bars) and self.choices.request.closes
        where = places(self.progression, notes, self.choices.ends_on, self.lead, closes=closes)
        runs = [Run(i, np.arange(windows.domain(place).size)[:, None]) for i, place in enumerate(where)]
        return Lattice(runs, [windows.joined(*window) for window in _neighbours(where)]).count() > 0

    def _way_on(self, named: Sequence[RuleUse], bar: int) -> str:
        kinds = {use.rule.kind for use in named}
        if bar == len(self.progression.bars) and kinds & {"final-note", "lead-in"}:
            ways = ["Widen the range with --low and --high", "allow other last notes with --ends-on"]
            return f"{listed([*ways, *(['leave out --lead-to'] if self.lead >= 0 else [])], 'or')}."
        return "Widen the range with --low and --high, or try another level or fewer notes (--busy few)."

    def _range(self) -> str:
        names = [midi_name(p, self.progression.key) for p in (self.choices.low, self.choices.high)]
        return f"{names[0]} and {names[1]}"


def _moved(size: int, interval: int, short: bool) -> NDArray[np.float64]:
    """The weight of each interval of a range for a gesture; after a short note, narrow ones weigh more."""
    weights = _GUIDE.preferred(size, interval)
    return weights * _GUIDE.calm(size) if short else weights


def _window(*offsets: NDArray[np.intp]) -> tuple[NDArray[np.intp], ...]:
    """The places of the pitches of two or three neighbours in a table over the whole range."""
    last = len(offsets) - 1
    return tuple(own.reshape(-1, *(1,) * (last - axis)) for axis, own in enumerate(offsets))


def _positions(own: NDArray[np.int16]) -> NDArray[np.intp]:
    """The index of each MIDI number among the pitches of a note, -1 if it isn't one of them."""
    table = np.full(_PITCHES, -1, dtype=np.intp)
    table[own] = np.arange(len(own))
    return table


def _neighbours(where: Sequence[Place]) -> list[tuple[Place | None, Place, Place | None]]:
    before = [None, *where[:-1]]
    after = [*where[1:], None]
    return list(zip(before, where, after, strict=True))


def _cut(table: NDArray[Any], common: Sequence[NDArray[np.intp]], index: int) -> NDArray[Any]:
    """The windows around a note whose notes are possible at every place."""
    before = common[index - 1] if index else _EDGE
    after = common[index + 1] if index + 1 < len(common) else _EDGE
    if (len(before), len(common[index]), len(after)) == table.shape:
        own = (before, common[index], after)
        if all(not len(each) or each[-1] == len(each) - 1 for each in own):
            return table
    return np.asarray(table[before[:, None, None], common[index][None, :, None], after[None, None, :]])


def _keeps(index: int, domains: Sequence[NDArray[np.int16]], kept: Kept) -> NDArray[np.bool_]:
    """Which windows about a note keep its own pitch and its rise: axes before, note, after."""
    own = domains[index]
    table = kept.leaves(index, own)[None, :, None]
    if index in kept.rises and index:
        rise = np.sign(own[None, :] - domains[index - 1][:, None])
        table = table & (rise == kept.rises[index])[:, :, None]
    return table


def _keeping(run: Run, domains: Sequence[NDArray[np.int16]], kept: Kept) -> Run:
    """The figures of a run that keep what must be kept inside it."""
    figures = run.figures
    for column in range(run.size):
        index = run.first + column
        pitches = domains[index][figures[:, column]]
        stays = kept.leaves(index, pitches)
        if index in kept.rises and column:
            before = domains[index - 1][figures[:, column - 1]]
            stays &= np.sign(pitches - before) == kept.rises[index]
        figures = figures[stays]
    return Run(run.first, figures)


def _distinct(rows: NDArray[np.intp]) -> NDArray[np.intp]:
    """The rows without repetitions, in order. A number is below 256, so that a row can be compared as text."""
    packed = rows.astype(np.uint8).view(f"S{rows.shape[1]}")[:, 0]
    return rows[np.unique(packed, return_index=True)[1]]


def _sounding(group: Candidates, grid: NDArray[np.int64]) -> diversify.Sounding:
    onsets = [onset for onset, _ in group.plan.rhythm]
    ends = [onset + length for onset, length in group.plan.rhythm]
    return diversify.sounding(onsets, ends, group.pitches, grid)
