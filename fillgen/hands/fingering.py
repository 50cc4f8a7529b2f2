"""Fingers of the right hand: what a fingering costs, which ones cost least, and how hard a melody is for a hand.

Spans and rules are those of Parncutt, Sloboda, Clarke, Raekallio and Desain (1997), 'An ergonomic model of keyboard
fingering for melodic fragments', Music Perception 14(4), 341-382; they stand in `rules/fingering.toml`. Fingers are 1
(thumb) to 5, pitches are MIDI numbers (C4 = 60), distances are semitones, points are whole numbers: fewer are easier.

The rules look at three notes in a row, so the least points from each pair of fingers to the end, found from the last
note back, settle the rest exactly. What the model leaves open is settled here: a key that is struck again keeps its
finger and is one note to the rules; where no two fingers reach from a note to the next, the hand jumps, which begins a
new fragment. There are as few jumps as can be.

Points do not know anyone's hand. Whatever hurts or tires is wrong at any number of them: stop, and ask a teacher, or
a clinician where it lasts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from heapq import heapify, heappop, heappush
from itertools import groupby, islice, pairwise, permutations

import numpy as np
from numpy.typing import NDArray

from fillgen.errors import OptionError
from fillgen.hands.reach import FINGERS, JUMP_SECONDS, Reach, Stretch, check_pitches, reach
from fillgen.tables import table
from fillgen.theory.pitch import NATURAL, is_black

MOST_FINGERINGS = 1000
"""The most fingerings that can be asked for."""
JUMP_POINTS = 60
"""What a jump adds to the points when difficulty is told. A choice made here: more than what any stretch of a wider
hand can cost together with the notes around it, so that a smaller hand never has it easier."""
REST_SECONDS = 1.0
"""A longer wait for the next note does not make a melody easier still. A choice made here."""
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
"""The price of a jump while fingers are sought: more than all points of any melody."""
_NEVER = 10**15
"""The price of what is not asked for: another finger than the fixed one."""


# Rules and hands


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule of the model: its name, its points by what they are charged for, and what it says."""

    name: str
    points: Mapping[str, int]
    says: str


@lru_cache(maxsize=1)
def rules() -> tuple[Rule, ...]:
    """The twelve rules, in the order of the publication.

    >>> [rule.name for rule in rules()][:3]
    ['stretch', 'small span', 'large span']
    """
    return tuple(Rule(row["name"], row["points"], row["says"]) for row in table("fingering")["rule"])


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
    """The tables of a hand for rises of so many semitones up and down, a jump at a price."""
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


# The points of a fingering


def costs(pitches: Sequence[int], fingers: Sequence[int], hand: Reach | None = None) -> dict[str, int]:
    """The points of a melody played with given fingers, by rule; a medium hand where none is given.

    Where two fingers do not reach, the hand jumps: nothing is charged across it, see `jumps`. A key struck again with
    the same finger is one note. OptionError where pitches or fingers are not such, or not as many.

    >>> {name: points for name, points in costs((60, 62, 64, 65), (1, 2, 3, 1)).items() if points}
    {'small span': 4, 'thumb passing': 1}
    """
    hand = hand or reach()
    _check_fingers(pitches, fingers)
    played = [struck for struck, _ in groupby(zip(pitches, fingers, strict=True))]
    found = dict.fromkeys((rule.name for rule in rules()), 0)
    for part, tables in _charged(played, hand):
        for name, points in tables.items():
            found[name] += int(points[tuple(finger - 1 for _, finger in part)])
    return found


def _charged(
    played: Sequence[tuple[int, int]], hand: Reach
) -> Iterator[tuple[Sequence[tuple[int, int]], dict[str, Points]]]:
    """Every note, pair and triple of a melody of pitches and fingers, each with what it can be charged."""
    pitches = [pitch for pitch, _ in played]
    for index, pitch in enumerate(pitches):
        yield played[index : index + 1], _note_points(not is_black(pitch))
    for index, (one, two) in enumerate(pairwise(pitches)):
        whites = np.array([not is_black(one), not is_black(two)])
        yield played[index : index + 2], _pair_points(hand, np.asarray(_rise(one, two)), *whites)
    for index, (one, two, three) in enumerate(zip(pitches, pitches[1:], pitches[2:], strict=False)):
        rises = np.array([_rise(one, two), _rise(two, three)])[:, None, None]
        yield played[index : index + 3], _triple_points(hand, *rises)


def total(pitches: Sequence[int], fingers: Sequence[int], hand: Reach | None = None) -> int:
    """The points of a melody played with given fingers, all rules together; as `costs` otherwise.

    >>> total((60, 62, 64, 65, 67, 69, 71, 72), (1, 2, 3, 1, 2, 3, 4, 5))
    15
    """
    return sum(costs(pitches, fingers, hand).values())


def jumps(pitches: Sequence[int], fingers: Sequence[int], hand: Reach | None = None) -> tuple[int, ...]:
    """Which notes, counted from 0, the fingers do not reach from the note before; errors as of `costs`.

    >>> jumps((60, 64, 80), (1, 1, 5))
    (1, 2)
    """
    hand = hand or reach()
    _check_fingers(pitches, fingers)
    steps = pairwise(zip(pitches, fingers, strict=True))
    return tuple(
        index
        for index, ((one, finger), (two, then)) in enumerate(steps, start=1)
        if not _reached(hand, np.asarray(_rise(one, two)))[finger - 1, then - 1]
    )


def _rise(one: int, two: int) -> int:
    """Semitones from a note to the next, cut where no finger reaches any more."""
    return max(-_FARTHEST, min(_FARTHEST, two - one))


def _check_fingers(pitches: Sequence[int], fingers: Sequence[int]) -> None:
    check_pitches(pitches)
    if len(pitches) != len(fingers):
        told = f"{len(fingers)} fingers for {len(pitches)} notes"
        raise OptionError(told, place="fingers", hint="Give one finger for each note.")
    for finger in fingers:
        _check_finger(finger, "fingers")


def _check_finger(finger: int, place: str) -> None:
    if finger not in FINGERS:
        hint = "Fingers are 1 (thumb) to 5."
        raise OptionError(f"{finger} is no finger", place=place, hint=hint)


# The fingerings that cost least


@dataclass(frozen=True, slots=True)
class Fingering:
    """Fingers for a melody, their points, and the notes, counted from 0, to which the hand has to jump."""

    fingers: Fingers
    total: int
    jumps: tuple[int, ...] = ()

    def __str__(self) -> str:
        return "".join(map(str, self.fingers))


def best(
    pitches: Sequence[int],
    hand: Reach | None = None,
    *,
    first: int | None = None,
    last: int | None = None,
) -> Fingering:
    """The fingering of a melody that costs least, exactly; a medium hand where none is given.

    `first` and `last` fix the fingers of the first and the last note. Fingerings are compared by their jumps, fewest
    first, then by their points, then by the lower first finger that differs. OptionError for what is no pitch or no
    finger, and where first and last cannot both be.

    >>> str(best((60, 62, 64, 65, 67, 69, 71, 72)))
    '12312345'
    """
    found = _search(pitches, hand, first, last, 1)
    return found[0]


def ranked(
    pitches: Sequence[int],
    hand: Reach | None = None,
    count: int = 10,
    *,
    first: int | None = None,
    last: int | None = None,
) -> tuple[Fingering, ...]:
    """The fingerings that cost least, best first, exactly; ordered and fixed as by `best`.

    There are fewer than asked for where no more do with as few jumps. OptionError as of `best`, and for a count
    outside 1 to 1000.

    >>> [(str(found), found.total) for found in ranked((60, 64, 67), count=3)]
    [('124', 1), ('135', 1), ('123', 2)]
    """
    if not 1 <= count <= MOST_FINGERINGS:
        hint = f"Ask for 1 to {MOST_FINGERINGS} fingerings."
        raise OptionError(f"{count} fingerings are not offered", place="count", hint=hint)
    return _search(pitches, hand, first, last, count)


def _search(
    pitches: Sequence[int], hand: Reach | None, first: int | None, last: int | None, count: int
) -> tuple[Fingering, ...]:
    hand = hand or reach()
    check_pitches(pitches)
    for place, finger in (("first", first), ("last", last)):
        if finger is not None:
            _check_finger(finger, place)
    if not pitches:
        return (Fingering((), 0),)
    runs = [(key, len([*struck])) for key, struck in groupby(pitches)]
    ways = _Ways(np.array([[key for key, _ in runs]]), hand, _JUMP, last)
    found: list[Fingering] = []
    for cost, fingers in islice(_best_first(ways, first), count):
        if found and cost // _JUMP > len(found[0].jumps):
            break
        every = tuple(f for f, (_, times) in zip(fingers, runs, strict=True) for _ in range(times))
        found.append(Fingering(every, cost % _JUMP, jumps(pitches, every, hand)))
    if not found:
        told = f"one key has one finger, not {first} first and {last} last"
        raise OptionError(told, place="fingers", hint="Fix one of them.")
    return tuple(found)


@dataclass(frozen=True)
class _Ways:
    """All fingerings of melodies without repeated keys, a row each: what each step costs, and what is left at least.

    Keys that fill up a row, its last one again, charge nothing. `jump` is the price of a jump; `last` fixes the finger
    of the last column.
    """

    keys: NDArray[np.int64]
    hand: Reach
    jump: int
    last: int | None = None

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
        return [
            self.tables.moves[rise + self.tables.far, white, then] * (rise != 0)[:, None, None]
            for rise, white, then in zip(self.rises.T, self.white.T, self.white.T[1:], strict=False)
        ]

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
        left = [np.zeros((len(self.keys), 5, 5), dtype=np.int64) + self.closing]
        for move, turn in zip(self.moves[:0:-1], self.turns[::-1], strict=True):
            left.append(_least(turn + (move + left[-1])[:, None, :, :]))
        return left[::-1]

    @property
    def closing(self) -> Points:
        """What the finger on the last note costs, beyond what the rules charge: the others than a fixed one."""
        return np.where(np.isin(_FINGER, self.last or FINGERS), 0, _NEVER)

    @cached_property
    def starts(self) -> Points:
        """For each melody and first finger the least points of the whole."""
        alone = self.tables.alone[self.white[:, 0]]
        rest = _least(self.moves[0] + self.to_go[0]) if self.moves else self.closing
        return np.asarray(alone + rest)

    def ahead(self, rows: NDArray[np.intp], fingers: Sequence[NDArray[np.intp]]) -> Points:
        """For each next finger the least points of all that follows the fingers given so far, counted from 0."""
        index = len(fingers) - 1
        after = self.moves[index][rows, fingers[-1]] + self.to_go[index][rows, fingers[-1]]
        return np.asarray(after + self.turns[index - 1][rows, fingers[-2], fingers[-1]] if index else after)

    def fingers(self) -> NDArray[np.intp]:
        """The fingers that cost least, counted from 0, of all that do the lower first finger that differs."""
        rows = np.arange(len(self.keys))
        chosen = [self.starts.argmin(axis=1)]
        for _ in self.moves:
            chosen.append(self.ahead(rows, chosen).argmin(axis=1))
        return np.stack(chosen, axis=1)


def _best_first(ways: _Ways, first: int | None) -> Iterator[tuple[int, Fingers]]:
    """All fingerings with their costs, by cost and then by fingers, each when it is asked for.

    What is left to go is known exactly, so the cheapest beginning always leads to the next fingering.
    """
    starts = (first,) if first else FINGERS
    open_ways: list[tuple[int, Fingers]] = [(int(ways.starts[0, finger - 1]), (finger,)) for finger in starts]
    heapify(open_ways)
    while open_ways and open_ways[0][0] < _NEVER:
        cost, fingers = heappop(open_ways)
        if len(fingers) == ways.keys.shape[1]:
            yield cost, fingers
        else:
            (ahead,) = ways.ahead(np.array([0]), [np.array([finger - 1]) for finger in fingers])
            for finger, more in zip(FINGERS, (ahead - ahead.min()).tolist(), strict=True):
                heappush(open_ways, (cost + more, (*fingers, finger)))


def _least(points: Points) -> Points:
    """The least of each row, over the fingers of the last note."""
    return np.asarray(points.min(axis=-1))


def _added(*tables: Points) -> Points:
    return np.asarray(np.add.reduce(tables))


# How hard it is


def difficulty(pitches: Sequence[int], seconds: Sequence[float], hand: Reach | None = None) -> float:
    """How hard a melody is to finger at its tempo, from 0 (easy) towards 1; `seconds` are the notes' onsets.

    The points of the best fingering, a jump priced at `JUMP_POINTS`, are divided by the seconds from the first onset
    to the last, a wait longer than `REST_SECONDS` cut to that. Of `x` points a second the difficulty is
    `x / (x + HARD)`: the same stretch is harder the more notes there are in a second. It tells of fingers only: not of
    reading, force or endurance. OptionError for what is no pitch, or where onsets are not as many or do not rise.

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
        told = f"{len(seconds)} onsets for {len(pitches)} notes"
        raise OptionError(told, place="seconds", hint="Give one onset for each note.")
    if any(not before < after for before, after in pairwise(seconds)):
        hint = "Give each note a later onset than the one before."
        raise OptionError("onsets do not rise", place="seconds", hint=hint)
