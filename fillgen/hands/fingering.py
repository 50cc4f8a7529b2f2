"""Fingers of the right hand: what a fingering costs, which ones cost least, and how hard a melody is for a hand.

Spans and rules are those of Parncutt, Sloboda, Clarke, Raekallio and Desain (1997), 'An ergonomic model of keyboard
fingering for melodic fragments', Music Perception 14(4), 341-382; they are in `rules/fingering.toml`. Fingers are 1
(thumb) to 5, pitches are MIDI numbers (C4 = 60), distances are semitones, points are whole numbers: fewer are easier.

The rules look at three notes in a row, so the least points from each pair of fingers to the end, found from the last
note back, settle the rest exactly. What the model leaves open is settled here: a key that is struck again keeps its
finger and is one note to the rules; where no two fingers reach from a note to the next, the hand jumps, which begins a
new fragment. There are as few jumps as can be.

Points do not know anyone's hand. Whatever hurts or tires is wrong at any number of them: stop, and ask a teacher, or
a clinician where it lasts.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations, groupby, pairwise, permutations
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

from fillgen.errors import OptionError
from fillgen.hands.reach import HELD_LESS, JUMP_SECONDS, Reach, Stretch, check_pitches, reach
from fillgen.tables import table
from fillgen.theory.pitch import NATURAL

JUMP_POINTS = 60
"""What a jump adds to the points of a difficulty. A choice made here: more than what any stretch of a wider
hand can cost together with the notes around it, so that a smaller hand never has it easier."""
HOP_POINTS = 5
"""What is charged for a finger that goes from a key held with others to another key held so. A choice made here: parallel
thirds take 1-3, 2-4 and 3-5 in turn, as every book of scales in thirds has them."""
REST_SECONDS = 1.0
"""A longer wait for the next note makes a melody no easier. A choice made here."""
HARD = 20.0
"""Points a second at which difficulty is one half. A choice made here: the C major scale at four notes a second comes
to 0.3."""

Fingers = tuple[int, ...]
Points = NDArray[np.int64]
"""Points for every finger, pair or triple of fingers: an axis of five for each note."""
_Truths = NDArray[np.bool_]

_FINGER = np.arange(1, 6)
_ONE, _TWO = _FINGER[:, None], _FINGER[None, :]
_THREE_FOUR_FIVE = np.zeros((5, 5, 5), dtype=bool)
_THREE_FOUR_FIVE[tuple(zip(*permutations((2, 3, 4)), strict=True))] = True
_WHITE = frozenset(NATURAL)
_FARTHEST = 24
"""Rises are cut to this many semitones; no pair of fingers reaches as far."""
_NEAR = 12
"""Melodies without wider steps than this many semitones need smaller tables, which are sooner made."""
_JUMP = 10**9
"""The price of a jump while fingers are searched for: more than all points of any melody."""


# Rules and hands


@dataclass(frozen=True, slots=True)
class FingeringRule:
    """A rule of the model: its name, its points by what they are charged for, and what it says."""

    name: str
    points: Mapping[str, int]
    says: str


@lru_cache(maxsize=1)
def rules() -> tuple[FingeringRule, ...]:
    """The twelve rules, in the order of the publication.

    >>> [rule.name for rule in rules()][:3]
    ['stretch', 'small span', 'large span']
    """
    return tuple(FingeringRule(row["name"], row["points"], row["says"]) for row in table("fingering")["rule"])


# What the rules charge, for all fingers at once


@dataclass(frozen=True, slots=True)
class _Spans:
    """The stretches of a hand as tables of five by five, near ends and far ends."""

    practical: Points
    comfortable: Points
    relaxed: Points

    def reached(self, opened: Points) -> _Truths:
        """Which two fingers reach so far, `opened` from the lower finger up to the higher one."""
        return np.equal(_outside(opened, self.practical), 0)


@lru_cache(maxsize=8)
def _spans(hand: Reach) -> _Spans:
    tables = (
        np.array([[getattr(stretch, name) for stretch in row] for row in hand.stretches])
        for name in Stretch.__slots__
    )
    return _Spans(*(np.moveaxis(each, 2, 0) for each in tables))


def _outside(opened: Points, span: Points) -> Points:
    """Semitones outside a span."""
    near, far = span
    return _above_zero(np.maximum(near - opened, opened - far))


def _above_zero(semitones: Points) -> Points:
    return np.maximum(semitones, 0)


def _opened(rise: Points) -> Points:
    """How far each two fingers open over a rise; crossed fingers are below zero."""
    return np.where(_ONE <= _TWO, rise, -rise)


@dataclass(frozen=True, slots=True)
class _Pair:
    """Two notes in a row: semitones from one to the next, and whether their keys are white.

    Each may hold many, with two axes of length 1 at the end, which stand for the fingers.
    """

    spans: _Spans
    rise: Points
    white: _Truths
    then_white: _Truths

    @property
    def opened(self) -> Points:
        return _opened(self.rise)

    @property
    def to_black(self) -> _Truths:
        return self.white & ~self.then_white

    @property
    def from_black(self) -> _Truths:
        return self.then_white & ~self.white


_Charge = Mapping[str, int]
"""The points of a rule, by what they are charged for."""


def _stretch(pair: _Pair, charge: _Charge) -> Points:
    return _outside(pair.opened, pair.spans.comfortable) * charge["semitone"]


def _small_span(pair: _Pair, charge: _Charge) -> Points:
    return _above_zero(pair.spans.relaxed[0] - pair.opened) * _by_thumb(charge)


def _large_span(pair: _Pair, charge: _Charge) -> Points:
    return _above_zero(pair.opened - pair.spans.relaxed[1]) * _by_thumb(charge)


def _by_thumb(charge: _Charge) -> Points:
    with_thumb = np.minimum(_ONE, _TWO) == 1
    return np.where(with_thumb, charge["semitone-with-thumb"], charge["semitone"])


def _three_to_four(_pair: _Pair, charge: _Charge) -> Points:
    return np.where((_ONE == 3) & (_TWO == 4), charge["pair"], 0)


def _four_on_black(pair: _Pair, charge: _Charge) -> Points:
    goes = (_ONE == 3) & (_TWO == 4) & pair.to_black
    comes = (_ONE == 4) & (_TWO == 3) & pair.from_black
    return np.where(goes | comes, charge["pair"], 0)


def _thumb_on_black(pair: _Pair, charge: _Charge) -> Points:
    return _beside_white(1, pair, charge)


def _five_on_black(pair: _Pair, charge: _Charge) -> Points:
    return _beside_white(5, pair, charge)


def _beside_white(finger: int, pair: _Pair, charge: _Charge) -> Points:
    goes = np.where((finger == _TWO) & pair.to_black, charge["white-before"], 0)
    comes = np.where((finger == _ONE) & pair.from_black, charge["white-after"], 0)
    return goes + comes


def _thumb_passing(pair: _Pair, charge: _Charge) -> Points:
    """The thumb on the upper of two keys, another finger on the lower one, whichever comes first."""
    falls = pair.rise < 0
    low_white = np.where(falls, pair.then_white, pair.white)
    points = np.where(pair.white == pair.then_white, charge["level"], charge["thumb-on-black"] * low_white)
    passes = np.where(falls, (_ONE == 1) & (_TWO != 1), (_TWO == 1) & (_ONE != 1))
    return np.where(passes & (pair.rise != 0), points, 0)


_PAIR_RULES: Mapping[str, Callable[[_Pair, _Charge], Points]] = {
    "stretch": _stretch,
    "small span": _small_span,
    "large span": _large_span,
    "three to four": _three_to_four,
    "four on black": _four_on_black,
    "thumb on black": _thumb_on_black,
    "five on black": _five_on_black,
    "thumb passing": _thumb_passing,
}


@lru_cache(maxsize=1)
def _charges() -> dict[str, _Charge]:
    return {rule.name: rule.points for rule in rules()}


@lru_cache(maxsize=2)
def _note_points(white: bool) -> dict[str, Points]:
    """What a note is charged by itself, for each finger."""
    weak, thumb = _charges()["weak finger"], _charges()["thumb on black"]
    return {
        "weak finger": np.where(_FINGER >= 4, weak["note"], 0),
        "thumb on black": np.where((_FINGER == 1) & (not white), thumb["note"], 0),
    }


def _pair_points(hand: Reach, rise: Points, white: _Truths, then_white: _Truths) -> dict[str, Points]:
    """What two notes in a row are charged, for each two fingers; nothing where the hand jumps between them."""
    pair = _Pair(_spans(hand), rise, white, then_white)
    reached = _reached(hand, rise)
    return {name: rule(pair, _charges()[name]) * reached for name, rule in _PAIR_RULES.items()}


def _triple_points(hand: Reach, rise: Points, then: Points) -> dict[str, Points]:
    """What three notes in a row are charged, for each three fingers; nothing where the hand jumps between them.

    `rise` and `then` may hold many, with two axes of length 1 at the end. A finger that plays the first and the third
    of them has no span with itself: wherever these are two keys, it moves by all there is between them. The
    publication leaves this open. Read so, the totals of two of its seven fragments come out as printed throughout; of
    the others some do, and some are a point or two away.
    """
    spans, charges = _spans(hand), _charges()
    opened = _opened(rise + then)
    over = _outside(opened, spans.comfortable)[..., :, None, :]
    between = (rise * then > 0)[..., None]
    in_full = between & (_FINGER == 1)[None, :, None] & ~spans.reached(opened)[..., :, None, :]
    change = charges["position change"]
    moved = np.where(in_full, change["full"], change["half"]) * (over > 0)
    reached = _reached(hand, rise)[..., :, :, None] & _reached(hand, then)[..., None, :, :]
    return {
        "position change": moved * reached,
        "size of the change": over * charges["size of the change"]["semitone"] * reached,
        "three-four-five": _THREE_FOUR_FIVE * charges["three-four-five"]["triple"] * reached,
    }


def _reached(hand: Reach, rise: Points) -> _Truths:
    """Which finger reaches the next note, by the finger on this one; the same finger only strikes a key again."""
    return _spans(hand).reached(_opened(rise))


@dataclass(frozen=True)
class _Charges:
    """The points of every note, pair and triple for a hand, as tables.

    `alone` is asked by whether the key is white; `moves` by the rise, counted from `far` semitones down, and whether
    the two keys are white: the points of the pair and of its second note, and the price of a jump where it takes one;
    `turns` by the two rises of a triple.
    """

    far: int
    alone: Points
    moves: Points
    turns: Points


@lru_cache(maxsize=16)
def _tables(hand: Reach, jump: int, far: int) -> _Charges:
    """The tables of a hand for rises of up to `far` semitones up and down, with `jump` as the price of a jump."""
    rise = np.arange(-far, far + 1)[:, None, None]
    alone = np.stack([_added(*_note_points(white).values()) for white in (False, True)])
    white = np.array([False, True])[:, None, None]
    paired = _pair_points(hand, rise[:, None, None], white[:, None], white)
    jumped = np.where(_reached(hand, rise), 0, jump)[:, None, None]
    moves = _summed(paired) + alone[:, None, :] + jumped
    return _Charges(far, alone, moves, _summed(_triple_points(hand, rise[:, None], rise)))


def _summed(points: Mapping[str, Points]) -> Points:
    """The points of several rules together."""
    return np.asarray(sum(points.values()))


# The cheapest fingerings


def best(pitches: Sequence[int], hand: Reach | None = None) -> Fingers:
    """The cheapest fingering of a melody, found exactly; for a medium hand if none is given.

    Fingerings are compared by their jumps, fewest first, then by their points, then by the lower first finger that
    differs. OptionError for anything that isn't a pitch.

    >>> best((60, 62, 64, 65, 67, 69, 71, 72))
    (1, 2, 3, 1, 2, 3, 4, 5)
    """
    return best_of_many([pitches], hand)[0]


def best_of_many(phrases: Sequence[Sequence[int]], hand: Reach | None = None) -> list[Fingers]:
    """The fingers that `best` finds for each of many melodies, worked out together.

    >>> best_of_many([(60, 62, 64, 65, 67), (67, 67, 64)])
    [(1, 2, 3, 4, 5), (2, 2, 1)]
    """
    if not any(phrases):
        return [() for _ in phrases]
    for pitches in phrases:
        check_pitches(pitches)
    struck = [[key for key, _ in groupby(pitches)] or [60] for pitches in phrases]
    longest = max(map(len, struck))
    rows = np.array([keys + keys[-1:] * (longest - len(keys)) for keys in struck], dtype=np.int64)
    found = (_Ways(rows, hand or reach(), _JUMP).fingers() + 1).tolist()
    return [
        tuple(finger for (_, same), finger in zip(groupby(pitches), fingers, strict=False) for _ in same)
        for pitches, fingers in zip(phrases, found, strict=True)
    ]


# Keys held together


_NEVER = 10**13
"""The points of two fingers that can't hold two keys together: more than the jumps of any melody."""


@lru_cache(maxsize=4096)
def holds(keys: tuple[int, ...], hand: Reach) -> dict[int, tuple[int, Fingers]]:
    """How a hand holds keys together, from the highest down: by the finger on the highest the points and all fingers.

    Fingers never cross here, and reach `HELD_LESS` less far than in a melody. Each two of them that are next to one another,
    and the outer two, are charged for stretch and span as if one key followed the other. Empty where the hand can't hold
    the keys.

    >>> {finger: fingers for finger, (_, fingers) in holds((67, 64), reach()).items()}
    {2: (2, 1), 3: (3, 1), 4: (4, 2), 5: (5, 3)}
    >>> holds((79, 62), reach())
    {}
    """
    found: dict[int, tuple[int, Fingers]] = {}
    for fingers in combinations(range(5, 0, -1), len(keys)):
        rising = list(zip(keys[::-1], fingers[::-1], strict=True))
        pairs = {*pairwise(rising), (rising[0], rising[-1])} if len(keys) > 1 else set()
        points = sum(_held(hand, key, finger, above, upper) for (key, finger), (above, upper) in pairs)
        points += sum(int(_alone(_is_white(key))[finger - 1]) for key, finger in rising[:-1])
        if points < min(_NEVER, found.get(fingers[0], (_NEVER, ()))[0]):
            found[fingers[0]] = points, fingers
    return dict(sorted(found.items()))


def best_with_held(melody: Sequence[tuple[int, ...]], hand: Reach) -> list[Fingers]:
    """The fingers for a melody with keys held below some of its notes: each note's keys and fingers from the highest down.

    As `best`, with what it costs to hold the keys. OptionError where the hand can't hold keys together.

    >>> best_with_held([(64, 60), (65, 62), (67, 64)], reach())
    [(3, 1), (4, 2), (5, 3)]
    """
    for keys in melody:
        check_pitches(keys)
        if not holds(keys, hand):
            raise OptionError(f"a {hand.size} hand can't hold {keys[-1]} to {keys[0]}", place="pitches")
    runs = [list(run) for _, run in groupby(melody, key=itemgetter(0))]
    if not runs:
        return []
    alone = [_added(*(_by_finger(holds(keys, hand)) for keys in run))[None, :] for run in runs]
    hops = [np.zeros((5, 5), dtype=np.int64), *(_hops(a[-1], b[0], hand) for a, b in pairwise(runs))]
    costs = [one + other for one, other in zip(alone, hops, strict=True)]
    ways = _Ways(np.array([[run[0][0] for run in runs]]), hand, _JUMP, np.array([costs]))
    chosen = (ways.fingers()[0] + 1).tolist()
    return [holds(keys, hand)[finger][1] for run, finger in zip(runs, chosen, strict=True) for keys in run]


def _hops(keys: tuple[int, ...], others: tuple[int, ...], hand: Reach) -> Points:
    """What it costs to go from one grip to another, by the fingers on the highest keys: each finger that leaves its key for
    another one can't play on smoothly.
    """
    points = np.zeros((5, 5), dtype=np.int64)
    for finger, (_, fingers) in holds(keys, hand).items():
        for other, (_, then) in holds(others, hand).items():
            before, after = dict(zip(fingers, keys, strict=True)), dict(zip(then, others, strict=True))
            hops = sum(before[each] != after[each] for each in before.keys() & after.keys())
            points[finger - 1, other - 1] = HOP_POINTS * hops
    return points


def _held(hand: Reach, key: int, finger: int, above: int, upper: int) -> int:
    """What two fingers are charged that hold two keys together."""
    if above - key > hand.between(finger, upper).practical[1] - HELD_LESS:
        return _NEVER
    points = _pair_points(hand, np.array(above - key), np.array(_is_white(key)), np.array(_is_white(above)))
    return sum(int(points[name][finger - 1, upper - 1]) for name in ("stretch", "small span", "large span"))


def _by_finger(held: Mapping[int, tuple[int, Fingers]]) -> Points:
    """The points of each finger on the highest key."""
    return np.array([held[finger][0] if finger in held else _NEVER for finger in range(1, 6)])


def _is_white(key: int) -> bool:
    return key % 12 in _WHITE


@lru_cache(maxsize=2)
def _alone(white: bool) -> Points:
    return _added(*_note_points(white).values())


@dataclass(frozen=True)
class _Ways:
    """All fingerings of melodies without repeated keys, a row each: what each step costs, and what is left at least.

    Keys that fill up a row, its last one again, charge nothing. `jump` is the price of a jump. `besides` is what each
    key costs besides, such as for the keys held below it: axes are the melodies, the keys, the finger before and the finger.
    """

    keys: NDArray[np.int64]
    hand: Reach
    jump: int
    besides: Points | None = None

    @cached_property
    def rises(self) -> NDArray[np.int64]:
        return np.clip(np.diff(self.keys, axis=1), -_FARTHEST, _FARTHEST)

    @cached_property
    def tables(self) -> _Charges:
        near = not self.rises.size or int(np.abs(self.rises).max()) <= _NEAR
        return _tables(self.hand, self.jump, _NEAR if near else _FARTHEST)

    @cached_property
    def white(self) -> NDArray[np.int64]:
        """1 for white keys, 0 for black ones."""
        return np.isin(self.keys % 12, NATURAL).astype(np.int64)

    @cached_property
    def moves(self) -> list[Points]:
        """For each note after the first its own points, those of the pair it ends, and the price of a jump.

        Axes are the melodies, the finger before and the finger.
        """
        moves = [
            self.tables.moves[rise + self.tables.far, white, then] * (rise != 0)[:, None, None]
            for rise, white, then in zip(self.rises.T, self.white.T, self.white.T[1:], strict=False)
        ]
        if self.besides is None:
            return moves
        return [move + self.besides[:, index] for index, move in enumerate(moves, 1)]

    @cached_property
    def turns(self) -> list[Points]:
        """For each note after the second the points of the triple it ends: axes are the melodies and three fingers."""
        return [
            self.tables.turns[rise + self.tables.far, then + self.tables.far]
            * (then != 0)[:, None, None, None]
            for rise, then in pairwise(self.rises.T)
        ]

    @cached_property
    def to_go(self) -> list[Points]:
        """For each note after the first the least that can follow, by the fingers before it and on it."""
        left = [np.zeros((len(self.keys), 5, 5), dtype=np.int64)]
        for move, turn in zip(self.moves[:0:-1], self.turns[::-1], strict=True):
            left.append(_least(turn + (move + left[-1])[:, None, :, :]))
        return left[::-1]

    @cached_property
    def starts(self) -> Points:
        """For each melody and first finger the least points of the whole."""
        alone = self.tables.alone[self.white[:, 0]]
        if self.besides is not None:
            alone = alone + self.besides[:, 0, 0]
        return np.asarray(alone + _least(self.moves[0] + self.to_go[0])) if self.moves else alone

    def ahead(self, rows: NDArray[np.intp], fingers: Sequence[NDArray[np.intp]]) -> Points:
        """For each next finger the least points of all that follows the fingers given so far, counted from 0."""
        index = len(fingers) - 1
        after = self.moves[index][rows, fingers[-1]] + self.to_go[index][rows, fingers[-1]]
        return np.asarray(after + self.turns[index - 1][rows, fingers[-2], fingers[-1]] if index else after)

    def fingers(self) -> NDArray[np.intp]:
        """The cheapest fingers, counted from 0; of equals, those with the lower first finger that differs."""
        rows = np.arange(len(self.keys))
        chosen = [self.starts.argmin(axis=1)]
        for _ in self.moves:
            chosen.append(self.ahead(rows, chosen).argmin(axis=1))
        return np.stack(chosen, axis=1)


def _least(points: Points) -> Points:
    """The least of each row, over the fingers of the last note."""
    return np.asarray(points.min(axis=-1))


def _added(*tables: Points) -> Points:
    return np.asarray(np.add.reduce(tables))


# Difficulty


def difficulty(pitches: Sequence[int], seconds: Sequence[float], hand: Reach | None = None) -> float:
    """How hard a melody is to finger at its tempo, from 0 (easy) towards 1; `seconds` are the notes' onsets.

    The points of the best fingering, a jump priced at `JUMP_POINTS`, are divided by the seconds from the first onset
    to the last, a wait longer than `REST_SECONDS` cut to that. Of `x` points a second the difficulty is
    `x / (x + HARD)`: the same stretch is harder the more notes there are in a second. It tells of fingers only: not of
    reading, force or endurance. OptionError for anything that isn't a pitch, or if there aren't as many onsets as notes,
    or they don't rise.

    >>> scale = (60, 62, 64, 65, 67, 69, 71, 72)
    >>> [round(difficulty(scale, [index / rate for index in range(8)]), 2) for rate in (2, 4, 8)]
    [0.18, 0.3, 0.46]
    """
    _check_seconds(pitches, seconds)
    if len(pitches) < 2:
        return 0.0
    return float(difficulties(np.array([pitches], dtype=np.int16), seconds, hand)[0])


def _lasting(seconds: Sequence[float]) -> float:
    """The seconds from the first onset to the last, long waits cut."""
    return sum(min(after - before, REST_SECONDS) for before, after in pairwise(seconds))


def difficulties(
    pitches: NDArray[np.int16], seconds: Sequence[float], hand: Reach | None = None
) -> NDArray[np.float64]:
    """The `difficulty` of many melodies over one rhythm at once: a row each, a column for each onset.

    >>> rows = np.array([[60, 62, 64, 65], [60, 72, 60, 72]], dtype=np.int16)
    >>> difficulties(rows, (0.0, 0.5, 1.0, 1.5)).round(2).tolist()
    [0.06, 0.21]
    """
    if pitches.shape[1] < 2:
        return np.zeros(len(pitches))
    ways = _Ways(_struck_once(pitches), hand or reach(), JUMP_POINTS)
    a_second = ways.starts.min(axis=1) / _lasting(seconds)
    return np.asarray(a_second / (a_second + HARD))


def _struck_once(pitches: NDArray[np.int16]) -> NDArray[np.int64]:
    """Rows without keys that are struck again; each is filled up with its last key."""
    fresh = np.ones(pitches.shape, dtype=bool)
    fresh[:, 1:] = pitches[:, 1:] != pitches[:, :-1]
    kept = fresh.sum(axis=1)
    order = np.argsort(~fresh, axis=1, kind="stable")
    column = np.minimum(np.arange(pitches.shape[1]), kept[:, None] - 1)
    return np.take_along_axis(pitches, np.take_along_axis(order, column, axis=1), axis=1).astype(np.int64)


def beyond(pitches: Sequence[int], seconds: Sequence[float], hand: Reach | None = None) -> list[int]:
    """Which notes, counted from 0, the hand cannot reach in time; `seconds` are the notes' onsets.

    They lie farther from the note before than any two fingers stretch, and come in less than `JUMP_SECONDS` after it.
    OptionError as of `difficulty`.

    >>> beyond((60, 76, 60), (0.0, 0.5, 0.6))
    [2]
    """
    hand = hand or reach()
    _check_seconds(pitches, seconds)
    steps = zip(pairwise(pitches), pairwise(seconds), strict=True)
    return [
        index
        for index, ((one, two), (before, after)) in enumerate(steps, start=1)
        if abs(two - one) > hand.widest and after - before < JUMP_SECONDS
    ]


def _check_seconds(pitches: Sequence[int], seconds: Sequence[float]) -> None:
    check_pitches(pitches)
    if len(pitches) != len(seconds):
        message = f"{len(seconds)} onsets for {len(pitches)} notes"
        raise OptionError(message, place="seconds", hint="Give one onset for each note.")
    if any(not before < after for before, after in pairwise(seconds)):
        hint = "Give each note a later onset than the one before."
        raise OptionError("onsets do not rise", place="seconds", hint=hint)
