"""The fills of one room: drawn by the engine between the tune's notes, and ranked as a player would."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice, pairwise

import numpy as np
from numpy.typing import NDArray

from fillgen.chart.progression import Progression, Span, where_differing
from fillgen.dice import Dice
from fillgen.engine.generate import Candidates, Engine, Kept, PhraseSpace
from fillgen.engine.plans import Plan, Rhythm_, gesture_intervals
from fillgen.engine.request import Request, settle
from fillgen.fills.rooms import Room
from fillgen.fills.timing import rhythms
from fillgen.phrase.idea import IdeaNote
from fillgen.phrase.note import Phrase
from fillgen.phrase.text import phrase_text
from fillgen.rules.pack import RulePack
from fillgen.theory.metre import Metre

THIRD = 4
"""A fill leads to within this many semitones of the tune's next note."""
_STEP = 2
_AWAY = 9
"""A fill stays within this many semitones above or below the notes around it. Chosen."""
_LOWEST = 60
"""Fills leave the range below C4 to the left hand, unless the tune itself is there. Chosen."""
_LEAP = 12
"""A fill begins within this many semitones of the note before it. Chosen."""
_CLEAR = 3
"""A note played against one that the tune holds stays this many semitones away: at least a third. Source: common practice."""
_ROUGH = (10, 11, 13, 14)
"""The intervals to a held note that a note on the beat, or as long as a beat, avoids: sevenths and ninths."""
_ROUGHEST = 13
"""The interval to a held note that no note makes: a minor ninth."""
_RHYTHMS = 16
"""Rhythms tried for one room."""
_KEPT = 60
"""The best candidates of each rhythm from which a fill is chosen."""
_BY_STEP, _BY_THIRD = 0.12, 0.05
"""What leading into the tune by step or by third is worth, against the engine's score. Chosen by ear."""
_ECHO = 0.08
"""What it is worth that a rhythm takes up that of the tune just before. Chosen by ear."""
_ONWARD, _PICK_UP = 0.06, 0.06
"""What it is worth that the last notes go the way of the tune's next one, and that the last comes just before it."""
_REPEATED = 0.5
"""What it costs if every note repeats the one before; less where some do. Chosen by ear."""


@dataclass(frozen=True)
class FillRequest:
    """The options for fills. `gap` is in beats; `how_many` is None for all; None elsewhere takes the default."""

    gap: float = 2
    how_many: str | None = None
    only: str | None = None
    rhythm: str | None = None
    level: int | None = None
    busy: str | None = None
    tempo: int | None = None
    seed: int = 0
    pack: RulePack = field(default_factory=RulePack)


@dataclass(frozen=True)
class Candidate:
    """A fill that fits a room: its notes in ticks of the whole progression, what it is worth, and its text."""

    notes: tuple[IdeaNote, ...]
    worth: float
    text: str

    @property
    def rhythm(self) -> Rhythm_:
        """Onsets and lengths, counted from the first note."""
        first = self.notes[0].note.onset
        return tuple((each.note.onset - first, each.note.length) for each in self.notes)

    @property
    def contour(self) -> tuple[int, ...]:
        """Whether the line rises (1), falls (-1) or repeats a note (0), note by note."""
        pitches = [each.note.midi for each in self.notes]
        return tuple((b > a) - (b < a) for a, b in pairwise(pitches))


@dataclass(frozen=True)
class _Found:
    """A row of candidates that the engine has drawn, with its worth."""

    engine: Engine
    group: Candidates
    row: int
    worth: float
    size: int


def candidates(
    progression: Progression, line: Phrase, room: Room, wanted: FillRequest
) -> Iterator[Candidate]:
    """The fills that fit a room, best first."""
    search = _Search(progression, line, room, wanted)
    found = sorted(search.found(), key=lambda each: -each.worth)
    yield from (search.candidate(each) for each in islice(found, 4 * _KEPT))


class _Search:
    """The stretch of a tune around one room, as a phrase of its own for the engine."""

    def __init__(self, progression: Progression, line: Phrase, room: Room, wanted: FillRequest) -> None:
        first = progression.bar_index(room.onset)
        self.shift = progression.start_of(first)
        self.own = excerpt(progression, first, progression.bar_index(room.first.next.onset))
        self.room, self.gap, self.line = room, room.first, line
        self.dice = Dice(wanted.seed + room.number)
        leads = room.leads()
        self.leads = leads
        around = (self.gap.before.midi, *leads)
        request = Request(
            self.own,
            count=20,
            seed=wanted.seed,
            level=wanted.level,
            rhythm=rhythm_in(self.own.metre, progression.metre, wanted.rhythm, wanted.pack),
            tempo=wanted.tempo,
            busy=wanted.busy,
            low=max(min(around) - _AWAY, min(_LOWEST, *around)),
            high=min(127, max(around) + _AWAY),
            pack=wanted.pack,
            closes=False,
        )
        self.engine = Engine(settle(request))

    # Spaces

    def found(self) -> list[_Found]:
        """All fills that fit, with what they are worth; those that also judge the tune's next note if there are any."""
        start, end = self.room.onset - self.shift, self.room.limit - self.shift
        every = rhythms(self.engine.choices, start, end, self.dice)[:_RHYTHMS]
        for onward in (True, False):
            spaces = [
                (rhythm, self.engine.space(plan, kept))
                for rhythm in every
                for plan, kept in self._plans(rhythm, onward=onward)
            ]
            filled = [(rhythm, space) for rhythm, space in spaces if space.count]
            if filled:
                return [each for rhythm, space in filled for each in self._drawn(rhythm, space)]
        return []

    def _plans(self, rhythm: Rhythm_, *, onward: bool) -> Iterator[tuple[Plan, Kept]]:
        """A rhythm as plans: below and above a note that is held meanwhile, with the tune's next note or without."""
        after = self.gap.next
        whole = (*rhythm, (after.onset - self.shift, after.length)) if onward else rhythm
        whole = tuple((onset, min(length, self.own.length - onset)) for onset, length in whole)
        letters = tuple("abcd"[n % 4] for n in range(len(self.own.bars)))
        shapes = self.engine.choices.shapes
        for below in (True, False) if self._overlaps(rhythm[0][0]) else (True,):
            intervals = gesture_intervals(whole, letters, self.own, self.dice)
            plan = Plan(whole, letters, intervals, self.dice.one_of(shapes))
            yield plan, self._kept(rhythm, below=below, onward=onward)

    def _overlaps(self, onset: int) -> bool:
        """Whether the tune's note still sounds when one begins at a tick of the stretch."""
        return onset + self.shift < self.gap.before.end

    def _kept(self, rhythm: Rhythm_, *, below: bool, onward: bool) -> Kept:
        """Where the notes of a fill may be: clear of the held note on one side of it, and near the tune's next note."""
        held, low, high = self.gap.before.midi, self.engine.choices.low, self.engine.choices.high
        within: dict[int, tuple[int, int]] = {}
        never: dict[int, tuple[int, ...]] = {}
        for index, (onset, length) in enumerate(rhythm):
            least, most = low, high
            if index == 0:
                least, most = max(least, held - _LEAP), min(most, held + _LEAP)
            if index == len(rhythm) - 1:
                least, most = max(least, max(self.leads) - THIRD), min(most, min(self.leads) + THIRD)
            if self._overlaps(onset):
                least, most = (
                    (least, min(most, held - _CLEAR)) if below else (max(least, held + _CLEAR), most)
                )
                rough = _ROUGH if self._is_heavy(onset, length) else (_ROUGHEST,)
                never[index] = tuple(held + sign * size for size in rough for sign in (1, -1))
            within[index] = least, most
        pitches = {len(rhythm): self.gap.next.midi} if onward else {}
        return Kept(pitches=pitches, within=within, never=never)

    def _is_heavy(self, onset: int, length: int) -> bool:
        """Whether a note of the stretch is on the beat, or as long as a beat."""
        metre = self.own.metre_at(onset)
        return length >= metre.pulse or self.own.inside(onset) % metre.pulse == 0

    # Worth

    def _drawn(self, rhythm: Rhythm_, space: PhraseSpace) -> Iterator[_Found]:
        (group,) = self.engine.candidates([space], space.count, self.dice) or (None,)
        groups = self.engine.idiomatic([group]) if group is not None else []
        for each in groups:
            pitches = each.pitches[:, : len(rhythm)]
            timing = _ECHO * self._echo(rhythm) + _PICK_UP * self._picks_up(rhythm)
            worth = each.scores + timing + self._leading(pitches) + _moving(pitches, self.gap.next.midi)
            best = np.argsort(-worth, kind="stable")[:_KEPT]
            yield from (_Found(self.engine, each, int(row), float(worth[row]), len(rhythm)) for row in best)

    def _leading(self, pitches: NDArray[np.int16]) -> NDArray[np.float64]:
        """What each row is worth for how it leads into the tune's next notes."""
        gains = []
        for lead in self.leads:
            away = np.abs(pitches[:, -1] - lead)
            gains.append(np.where(away == 0, 0.0, np.where(away <= _STEP, _BY_STEP, _BY_THIRD)))
        return np.asarray(np.mean(gains, axis=0))

    def _picks_up(self, rhythm: Rhythm_) -> bool:
        """Whether the last note is short and comes just before the tune continues."""
        end, (last, length) = self.room.limit - self.shift, rhythm[-1]
        return last + length == end and length < self.own.metre_at(last).pulse

    def _echo(self, rhythm: Rhythm_) -> float:
        """The share of a rhythm that takes up the rhythm of the tune in the two bars before, from 0 to 1."""
        since = self.gap.before.onset - 2 * self.own.metre.bar
        onsets = [note.onset for note in self.line if since <= note.onset <= self.gap.before.onset]
        said = [b - a for a, b in pairwise(onsets)]
        own = [b - a for (a, _), (b, _) in pairwise(rhythm)]
        longest = max(
            (
                size
                for size in range(2, len(own) + 1)
                for at in range(len(own) - size + 1)
                if _holds(said, own[at : at + size])
            ),
            default=0,
        )
        return longest / len(own)

    # Results

    def candidate(self, found: _Found) -> Candidate:
        """A fill with the names and roles of its notes, and its text."""
        idea = found.engine.idea(1, found.group, found.row, ())
        own = idea.notes[: found.size]
        last = self.own.bar_index(own[-1].note.onset)
        bars = excerpt(self.own, self.own.bar_index(own[0].note.onset), last)
        at = self.own.start_of(self.own.bar_index(own[0].note.onset))
        phrase = tuple(replace(each.note, onset=each.note.onset - at) for each in own)
        text = phrase_text(phrase, bars, [each.name for each in own])
        notes = tuple(
            replace(each, note=replace(each.note, onset=each.note.onset + self.shift)) for each in own
        )
        return Candidate(notes, found.worth, text)


def _moving(pitches: NDArray[np.int16], lead: int) -> NDArray[np.float64]:
    """What rows of pitches gain by moving: no repeated notes, and at the end the way to the note they lead to."""
    moves = np.diff(pitches.astype(np.int64), axis=1)
    onward = np.sign(moves[:, -1]) == np.sign(lead - pitches[:, -1])
    return np.asarray(_ONWARD * onward - _REPEATED * (moves == 0).mean(axis=1))


def _holds(row: Sequence[int], part: Sequence[int]) -> bool:
    return any(list(row[n : n + len(part)]) == list(part) for n in range(len(row) - len(part) + 1))


def rhythm_in(metre: Metre, home: Metre, asked: str | None, pack: RulePack) -> str:
    """The requested rhythm, if any; where a tune is in another metre than its first by then, the usual one of that metre.

    >>> from fillgen.theory.metre import METRES, Metre
    >>> rhythm_in(METRES["3/4"], METRES["4/4"], "tango", RulePack())
    'waltz'
    """
    usual = pack.rhythm_for(metre)
    if asked is None or metre == home:
        return asked or usual
    return asked if metre.name in pack.rhythm(asked).metres else usual


def excerpt(progression: Progression, first: int, last: int) -> Progression:
    """The bars of a progression from one to another, counted from 0, as a progression that keeps their keys and numbers."""
    start = progression.start_of(first)
    bars = tuple(tuple(_moved(span, -start) for span in bar) for bar in progression.bars[first : last + 1])
    metres = [progression.metre_of(bar) for bar in range(first, last + 1)]
    return replace(
        progression,
        key=bars[0][0].key,
        bars=bars,
        first=progression.first + first,
        sections=(),
        metre=metres[0],
        metres=where_differing(metres, metres[0]),
    )


def _moved(span: Span, ticks: int) -> Span:
    return replace(span, onset=span.onset + ticks)
