"""The smallest change that mends a phrase.

A strict mend keeps every rule of the level. Otherwise only what clashes is mended: the notes that change keep the rules of the
level, the others stay as they are and only mustn't clash.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fillgen.chart.progression import Progression
from fillgen.engine.checked import Checked
from fillgen.engine.lattice import Lattice, Run
from fillgen.errors import listed
from fillgen.phrase.note import Phrase
from fillgen.phrase.place import Place
from fillgen.phrase.text import can_be_written, phrase_text
from fillgen.rules.rule import RuleUse, Seen
from fillgen.rules.windows import Windows
from fillgen.teaching.clashes import GOES_SOMEWHERE
from fillgen.teaching.faults import all_clashes
from fillgen.teaching.line import Line
from fillgen.teaching.words import beat_words

_WIDEST = 24
"""Semitones: wider intervals are all as uneven."""
_BESIDE = 2
"""How far from a clash notes may be changed to mend it, as long as that is enough."""
_CUTS = 2
"""How many of the last, and of the first, of the places are tried where a long note may be let go."""
_ROUNDS = 3
"""How often a mend is mended, if a note that stayed depended on one that changed farther off."""


@dataclass(frozen=True, slots=True)
class Mend:
    """The smallest change that mends a phrase: the notes after it, which of them changed, and in words."""

    notes: Phrase
    changed: tuple[int, ...]
    text: str
    sentences: tuple[str, ...]


# The mend


_Values = NDArray[np.float64]


@dataclass(frozen=True)
class _State:
    """A length that a note may have, its place with that length, and its pitch where that stays as it is."""

    length: int
    place: Place
    kept: int | None = None


def mended(checked: Checked) -> tuple[Mend | None, tuple[str, ...]]:
    """The smallest mend; if there is none, a sentence that says so.

    Notes may change their pitch, and may end where a strong beat or a chord begins.
    """
    found = _kept_to_rules(checked) if checked.settings.strict else _freed_of_clashes(checked)
    return (_mend(checked, found), ()) if found else (None, (_no_mend(checked),))


def _kept_to_rules(checked: Checked) -> Phrase | None:
    """The nearest phrase that keeps every rule of the level."""
    states = [_lengths(checked, index) for index in range(len(checked.notes))]
    return _nearest(checked, _Question(Windows(checked.uses, checked.low, checked.high)), states)


def _freed_of_clashes(checked: Checked) -> Phrase | None:
    """The nearest phrase in which nothing clashes; what changes keeps the level's rules if it can.

    Notes beside a clash may change first, all others only where that isn't enough.
    """
    reach = tuple(use for use in checked.uses if use.rule.kind == "in-reach")
    fair = (RuleUse(GOES_SOMEWHERE, {}), *reach)
    ways = ((uses, beside) for uses in (checked.uses, fair) for beside in (_BESIDE, len(checked.notes)))
    freed = (_freed(checked, uses, fair, beside) for uses, beside in ways)
    return next((notes for notes in freed if notes is not None), None)


def _freed(
    checked: Checked, uses: Sequence[RuleUse], fair: tuple[RuleUse, ...], beside: int
) -> Phrase | None:
    """The nearest phrase in which nothing clashes, where notes up to so many from a clash may change by some rules."""
    windows, now = Windows(uses, checked.low, checked.high), checked
    for _ in range(_ROUNDS):
        clashing = frozenset(all_clashes(now, Line(now.progression, now.notes, now.where)))
        if not clashing:
            return now.notes
        free = {at for index in clashing for at in range(index - beside, index + beside + 1)}
        states = [
            [
                _State(note.length, now.where[index], note.midi),
                *(_lengths(now, index) if index in free else ()),
            ]
            for index, note in enumerate(now.notes)
        ]
        found = _nearest(now, _Question(windows, fair, clashing), states)
        if found is None:
            return None
        now = replace(now, notes=found)
    return None


@dataclass(frozen=True)
class _Question:
    """The rules for a mended phrase: those for notes that may change, and those for notes that stay.

    If a note and both its neighbours stay, it only must not be one that clashes.
    """

    windows: Windows
    fair: tuple[RuleUse, ...] = ()
    clashing: frozenset[int] = frozenset()

    def domain(self, state: _State) -> NDArray[np.int16]:
        """The pitches that a note may have in a state."""
        if state.kept is None:
            return self.windows.domain(state.place)
        return np.array([state.kept], dtype=np.int16)

    def allowed(
        self, index: int, before: _State | None, state: _State, after: _State | None
    ) -> NDArray[np.bool_]:
        """Which pitches may come between which: axes of the note before, the note and the note after."""
        around = [each for each in (before, state, after) if each]
        if all(each.kept is None for each in around):
            return self.windows.joined(before and before.place, state.place, after and after.place)
        one = Seen(before.place, self.domain(before)[:, None, None]) if before else None
        two = Seen(state.place, self.domain(state)[None, :, None])
        three = Seen(after.place, self.domain(after)[None, None, :]) if after else None
        shape = (one.midi.size if one else 1, two.midi.size, three.midi.size if three else 1)
        if all(each.kept is not None for each in around):
            return np.full(shape, index not in self.clashing)
        table = np.ones(shape, dtype=np.bool_)
        for use in self.windows.uses if state.kept is None else self.fair:
            table &= use.holds((one, two, three))
        return table


def _lengths(checked: Checked, index: int) -> list[_State]:
    """A note as it is, and let go at strong beats or new chords that it is held across: of many, the last and the first."""
    note, metre = checked.notes[index], checked.progression.timeline
    following = [*(after.onset for after in checked.notes[index + 1 :]), checked.progression.length][0]
    cut = [
        _State(end - note.onset, checked.shortened(index, end - note.onset))
        for end in reversed(checked.progression.strong_between(note.onset, note.end))
        if can_be_written(note.onset, end, metre) and can_be_written(end, following, metre)
    ]
    return [_State(note.length, checked.where[index]), *cut[:_CUTS], *cut[_CUTS:][-_CUTS:]]


def _nearest(checked: Checked, asked: _Question, states: Sequence[Sequence[_State]]) -> Phrase | None:
    """Of all phrases that keep the rules the one with the fewest notes changed, then with the least movement.

    Ties are broken by the time by which notes are shortened, then by how evenly the line moves.
    """
    domains = [[asked.domain(state) for state in each] for each in states]
    pitches = [np.concatenate(each).astype(np.int64) for each in domains]
    runs = [Run(index, np.arange(each.size)[:, None]) for index, each in enumerate(pitches)]
    if not all(each.size for each in pitches):
        return None
    costs = zip(_costs(checked, states, domains, pitches), range(len(states)), strict=True)
    nearest = _smallest([np.where(_table(asked, states, i), cost, np.inf) for cost, i in costs])
    uneven = zip(nearest, _unevenness(pitches), strict=True)
    total, rows = Lattice(runs, nearest).best([np.where(table, -each, -np.inf) for table, each in uneven])
    if total == -np.inf:
        return None
    lengths = [
        _repeated([state.length for state in each], own) for each, own in zip(states, domains, strict=True)
    ]
    return tuple(
        replace(note, length=int(length[row]), midi=int(pitch[row]))
        for note, length, pitch, row in zip(checked.notes, lengths, pitches, rows[0].tolist(), strict=True)
    )


def _repeated(each: Sequence[int], domains: Sequence[NDArray[np.int16]]) -> NDArray[np.int64]:
    """A number of each state, for every pitch of its domain."""
    return np.repeat(np.asarray(each, dtype=np.int64), [domain.size for domain in domains])


def _table(asked: _Question, states: Sequence[Sequence[_State]], index: int) -> NDArray[np.bool_]:
    """What may come between what, for all lengths of a note and its neighbours together."""
    before: Sequence[_State | None] = states[index - 1] if index else (None,)
    after: Sequence[_State | None] = states[index + 1] if index + 1 < len(states) else (None,)
    rows = []
    for one in before:
        blocks = [[asked.allowed(index, one, two, three) for three in after] for two in states[index]]
        rows.append(np.concatenate([np.concatenate(row, axis=2) for row in blocks], axis=1))
    return np.concatenate(rows, axis=0)


def _costs(
    checked: Checked,
    states: Sequence[Sequence[_State]],
    domains: Sequence[Sequence[NDArray[np.int16]]],
    pitches: Sequence[NDArray[np.int64]],
) -> Iterator[_Values]:
    """What the change of each note costs, in axes of the note before, the note and the note after.

    A note counts for more than all semitones together, a semitone for more than all ticks. Every sum is a whole number
    that a float holds exactly, for phrases of up to 4,000 notes in as many beats.
    """
    notes = checked.notes
    a_semitone = float(checked.progression.length + 1)
    a_note = a_semitone * (128 * len(notes) + 1)
    for note, pitch, each, own in zip(notes, pitches, states, domains, strict=True):
        cut = note.length - _repeated([state.length for state in each], own)
        moved = np.abs(pitch - note.midi)
        cost = a_note * ((cut > 0) | (moved > 0)) + a_semitone * moved + cut
        yield cost[None, :, None]


def _smallest(costs: Sequence[_Values]) -> list[NDArray[np.bool_]]:
    """The windows through which a phrase of the smallest cost goes, and no other phrase; a forbidden one costs inf."""
    kept = []
    following: _Values = np.zeros((costs[-1].shape[1], 1))
    for cost in reversed(costs):
        whole = cost + following[None]
        following = whole.min(axis=2)
        kept.append((whole == following[:, :, None]) & np.isfinite(whole))
    kept[-1] &= (following == following.min())[:, :, None]
    return kept[::-1]


def _unevenness(pitches: Sequence[NDArray[np.int64]]) -> Iterator[_Values]:
    """How unevenly the line moves to each note, in axes of the note before, the note and the note after."""
    yield np.zeros((1, pitches[0].size, 1))
    for before, now in pairwise(pitches):
        gaps = np.minimum(np.abs(before[:, None] - now[None, :]), _WIDEST)
        yield gaps.astype(np.float64)[:, :, None] ** 2


def _mend(checked: Checked, notes: Phrase) -> Mend:
    line, old = Line(checked.progression, notes), Line(checked.progression, checked.notes)
    pairs = list(zip(checked.notes, notes, strict=True))
    changed = tuple(index for index, (before, after) in enumerate(pairs) if before != after)
    return Mend(
        notes,
        changed,
        phrase_text(notes, checked.progression),
        tuple(_change(checked, old, line, index) for index in changed),
    )


def _change(checked: Checked, old: Line, new: Line, index: int) -> str:
    """A changed note in a sentence."""
    progression, before, after = checked.progression, checked.notes[index], new.notes[index]
    head = f"bar {progression.bar_of(before.onset)}, {beat_words(progression.timeline, before.onset)}: {old.names[index]}"
    parts = [f"becomes {new.names[index]}"] if before.midi != after.midi else []
    if after.end != before.end:
        parts.append(f"ends before {_end_words(progression, after.end)}")
    return f"{head} {' and '.join(parts)}"


def _end_words(progression: Progression, tick: int) -> str:
    words = beat_words(progression.timeline, tick)
    return f"{words} of bar {progression.bar_of(tick)}"


def _no_mend(checked: Checked) -> str:
    """Why a phrase has no mend over its rhythm: the rules without which it would have one."""
    if not checked.settings.strict:
        return "No other notes in this rhythm go with the chords. Try another rhythm."
    states = [_lengths(checked, index) for index in range(len(checked.notes))]
    named = [
        use.rule.kind
        for use in checked.uses
        if _nearest(
            checked,
            _Question(Windows([u for u in checked.uses if u is not use], checked.low, checked.high)),
            states,
        )
    ]
    none = "No other notes in this rhythm keep every rule"
    return f"{none}; without {listed(named)} some would." if named else f"{none}. Try another rhythm."
