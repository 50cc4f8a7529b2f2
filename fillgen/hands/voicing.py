"""The left hand: which keys it can hold for a chord, and the way through a chart that moves it least, exactly.

A chord is held with one key for each of its tones, in close position or spread, clear of mud and clusters, or with fewer
keys where that can't be. Which of its positions is best depends on the chords around it, so the whole chart is decided
at once: the best ways on from every voicing are found from the last chord back to the first. Pitches are MIDI numbers
(C4 = 60), distances are semitones.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from heapq import nsmallest
from itertools import combinations, islice, pairwise
from typing import NamedTuple

from fillgen.chart.progression import Progression
from fillgen.errors import OptionError
from fillgen.theory.chords import FAMILIES, Chord, Tone
from fillgen.theory.pitch import C_MAJOR, interval_in_words, midi_name

MOST_KEYS = 4
"""Keys the left hand holds at most; common practice."""
OCTAVE = 12
TENTH = 16
"""An octave and a major third, in semitones: the widest stretch of many hands, common practice."""
WIDEST = 19
"""An octave and a fifth, in semitones: the widest span that can be asked for."""
MOST_PATHS = 100
"""The most paths that can be asked for."""

Pitches = tuple[int, ...]
"""MIDI numbers, ascending."""


@dataclass(frozen=True, slots=True)
class LowLimit:
    """Below a MIDI pitch, two neighbouring keys lie at least this many semitones apart."""

    below: int
    semitones: int
    reason: str


LOW_LIMITS = (
    LowLimit(46, 7, "below Bb2 fourths turn muddy: a fifth or more stays clear"),
    LowLimit(52, 5, "below E3 seconds and thirds turn muddy: a fourth or more stays clear"),
)
"""How close keys may lie low down. Common practice: arrangers' tables of low interval limits begin half steps at E3,
whole steps at Eb3, thirds between Bb2 and C3 and fourths at Bb2. That is as low as they go; in one hand on a piano seconds
and thirds are clear from E3."""
CLUSTER = 4
"""Three keys within so many semitones, a major third, are a cluster; two seconds one above the other are as well."""


@dataclass(frozen=True, slots=True)
class Hand:
    """What a left hand is asked to do: its register, its span, and how full it plays.

    `low` and `high` are the lowest and the highest key, as MIDI numbers. `span` is how far the hand reaches, in
    semitones; a chord in close position is always narrower than an octave. `thin` leaves three keys to a chord, for
    small hands. `rootless` leaves the root of a chord of four tones and more to the bass, unless the chart gives the bass
    another note. `spread` adds the spread forms of each chord, up to a tenth wide, or up to `span` where that is more.
    OptionError where a setting is outside what is offered.

    >>> Hand(span=30)
    Traceback (most recent call last):
    ...
    fillgen.errors.OptionError: span: 30 semitones are not offered. The span is 1 to 16, with spread forms 1 to 19.
    """

    low: int = 48
    high: int = 67
    span: int = OCTAVE
    thin: bool = False
    spread: bool = False
    rootless: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.low <= self.high <= 127:
            message = f"the register from {self.low} to {self.high} has no keys"
            hint = "Give the lowest key first; keys are 0 to 127, C4 is 60."
            raise OptionError(message, place="register", hint=hint)
        if not 1 <= self.span <= (WIDEST if self.spread else TENTH):
            hint = f"The span is 1 to {TENTH}, with spread forms 1 to {WIDEST}."
            raise OptionError(f"{self.span} half steps are out of range", place="span", hint=hint)

    @property
    def most(self) -> int:
        """How many keys the hand holds at most."""
        return MOST_KEYS - self.thin

    @property
    def reach(self) -> int:
        """The widest voicing, in semitones."""
        return max(self.span, TENTH) if self.spread else self.span


_INVERSIONS = {
    "1": "root position",
    "3": "first inversion",
    "5": "second inversion",
    "6": "third inversion",
    "7": "third inversion",
}


@dataclass(frozen=True, slots=True)
class Voicing:
    """A chord as the hand holds it: its keys from the lowest up, and the tone of the chord on each of them.

    `reason` says why it isn't clear, where the hand has nothing clearer; it is empty for a clear voicing.
    """

    chord: Chord
    pitches: Pitches
    tones: tuple[Tone, ...]
    reason: str = ""

    @property
    def inversion(self) -> int:
        """Which tone of the chord is lowest, counted from the root: 0 in root position."""
        return self.chord.tones.index(self.tones[0])

    @property
    def width(self) -> int:
        """Semitones from the lowest key to the highest."""
        return self.pitches[-1] - self.pitches[0]

    @property
    def spread(self) -> bool:
        """Whether it is wider than an octave, and so than any close position."""
        return self.width > OCTAVE

    @property
    def names(self) -> tuple[str, ...]:
        """The keys' scientific names, spelled as the chord has them."""
        return tuple(tone.name.at(midi) for tone, midi in zip(self.tones, self.pitches, strict=True))

    @property
    def position(self) -> str:
        """The inversion in words; where it has no name of its own, the tone at the bottom.

        Triads, sixths and sevenths that are held whole have inversions; in other chords, and in chords that lack a
        tone, the name would not tell which keys are meant.

        >>> from fillgen.theory.chords import read_chord
        >>> [voicing.position for voicing in voicings(read_chord("Bb"), Hand())]
        ['second inversion', 'root position']
        >>> [voicing.position for voicing in voicings(read_chord("Bb7"), Hand(thin=True))]
        ['third at the bottom', 'seventh at the bottom']
        """
        lowest = self.tones[0].degree.family
        named = self._is_whole() and {tone.degree.family for tone in self.tones} <= _INVERSIONS.keys()
        position = _INVERSIONS[lowest] if named else f"{FAMILIES[lowest]} at the bottom"
        return f"{position}, spread" if self.spread else position

    def _is_whole(self) -> bool:
        return len(self.tones) == len(self.chord.tones) > 2


# The keys of one chord

_TRIAD = 3
_FEWEST_KEYS = 2


def held_tones(chord: Chord, most: int, *, rootless: bool = False) -> tuple[Tone, ...]:
    """The tones of a chord that the left hand keeps if it holds at most a number of keys, two or more.

    What the bass and the ear supply goes first: a perfect fifth, then the root, then the lowest of the tensions.
    Third and seventh, altered fifths and the highest tensions stay. Common practice. A bass note after a slash is
    the bass player's, and changes nothing; where it isn't the root, a `rootless` hand plays the root as well.

    >>> from fillgen.theory.chords import read_chord
    >>> [tone.degree.text for tone in held_tones(read_chord("C13/G"), 4)]
    ['3', 'b7', '9', '13']
    """
    bass_has_root = chord.bass is None or chord.bass == chord.root
    without = rootless and bass_has_root and len(chord.tones) > _TRIAD
    return _kept(_above_root(chord) if without else chord.tones, most)


def _guides(chord: Chord) -> tuple[Tone, ...]:
    """The guide tones, third and seventh: less than these isn't the chord any more."""
    return tuple(tone for tone in chord.tones if tone.degree.family in ("3", "7"))


def _above_root(chord: Chord) -> tuple[Tone, ...]:
    """The tones without the root, and without a fifth that rubs against a tension a half step away, such as a b13."""
    others = [tone for tone in chord.tones if tone.degree.text not in ("1", "5")]
    rubbed = {(tone.name.pitch_class + rise) % OCTAVE for tone in others for rise in (-1, 1)}
    return tuple(
        tone
        for tone in chord.tones
        if tone in others or (tone.degree.text == "5" and tone.name.pitch_class not in rubbed)
    )


def _kept(tones: Sequence[Tone], most: int) -> tuple[Tone, ...]:
    kept = list(tones)
    for tone in _dispensable(tones):
        if len(kept) > most:
            kept.remove(tone)
    return tuple(kept)


def _dispensable(tones: Sequence[Tone]) -> list[Tone]:
    """The tones a chord can do without, those it misses least first."""
    supplied = [tone for text in ("5", "1") for tone in tones if tone.degree.text == text]
    tensions = [tone for tone in tones if tone.degree.semitones > OCTAVE]
    return supplied + sorted(tensions, key=lambda tone: tone.degree.semitones)


@lru_cache(maxsize=1024)
def voicings(chord: Chord, hand: Hand) -> tuple[Voicing, ...]:
    """All the ways in which a hand can hold a chord clearly, from the lowest keys up; none for N.C.

    These are its close positions, and with `hand.spread` its spread forms: a close position with its second key from
    the top an octave lower, which is the same as another one with its second key from the bottom an octave higher.
    Keys keep their low limits and make no cluster; a chord that has no such form in the register is held with fewer keys,
    down to two, and where that doesn't help either as clearly as can be, with the `reason`.

    >>> from fillgen.theory.chords import read_chord
    >>> [" ".join(voicing.names) for voicing in voicings(read_chord("F7"), Hand())]
    ['F3 A3 C4 Eb4', 'A3 C4 Eb4 F4']
    """
    sizes = _sizes(chord, hand)
    for size in sizes:
        clear = [form for form in _held(size, hand) if not _mud(form[0])]
        if clear:
            return _voiced(chord, clear)
    forms = [(_mud(form[0]), number, form) for number, size in enumerate(sizes) for form in _held(size, hand)]
    least = min((each[:2] for each in forms), default=None)
    return _voiced(chord, [form for *cost, form in forms if tuple(cost) == least])


def _sizes(chord: Chord, hand: Hand) -> list[list[tuple[Tone, ...]]]:
    """The tones that a hand may hold of a chord: first as many as it can, then fewer, with the root or without."""
    full = held_tones(chord, hand.most, rootless=hand.rootless)
    sizes = [[full]]
    for most in range(len(full), _FEWEST_KEYS - 1, -1):
        ways = dict.fromkeys((_kept(full, most), _kept(_above_root(chord), most), _guides(chord)))
        sizes.append([tones for tones in ways if len(tones) == most])
    return sizes


_Form = tuple[Pitches, tuple[Tone, ...]]
"""Keys, and the tones that are on them in any order."""


def _voiced(chord: Chord, forms: Sequence[_Form]) -> tuple[Voicing, ...]:
    found = []
    for pitches, tones in forms:
        by_class = {tone.name.pitch_class: tone for tone in tones}
        found.append(
            Voicing(chord, pitches, tuple(by_class[midi % OCTAVE] for midi in pitches), unclear(pitches))
        )
    return tuple(found)


def _held(ways: Sequence[tuple[Tone, ...]], hand: Hand) -> list[_Form]:
    """Every form of some tones that lies in the register and the reach of a hand, from the lowest up."""
    forms = [(pitches, tones) for tones in ways for pitches in _forms(_classes(tones), hand)]
    return sorted((form for form in forms if _is_in_reach(form[0], hand)), key=lambda form: form[0])


def _classes(tones: Sequence[Tone]) -> tuple[int, ...]:
    return tuple(tone.name.pitch_class for tone in tones)


def _is_in_reach(pitches: Pitches, hand: Hand) -> bool:
    return hand.low <= pitches[0] and pitches[-1] <= hand.high and pitches[-1] - pitches[0] <= hand.reach


def _forms(classes: Sequence[int], hand: Hand) -> Iterator[Pitches]:
    """The close positions on every key of the register, and their spread forms where these are wanted."""
    for lowest in range(hand.low, hand.high + 1):
        if lowest % OCTAVE in classes:
            close = tuple(sorted(lowest + (each - lowest) % OCTAVE for each in classes))
            if close[-1] - lowest <= hand.span:
                yield close
            if hand.spread and len(close) > 2:
                yield (close[-2] - OCTAVE, *close[:-2], close[-1])


def _mud(pitches: Pitches) -> int:
    """How unclear some keys are: the semitones that neighbours lack to their low limit, and an octave for a cluster."""
    lacking = [limit.semitones - (above - key) for limit, key, above in _too_close(pitches)]
    return sum(lacking) + OCTAVE * _clusters(pitches)


def _too_close(pitches: Pitches) -> list[tuple[LowLimit, int, int]]:
    """The neighbours that lie closer than their low limit, with the first limit that they break."""
    found = []
    for key, above in pairwise(pitches):
        broken = (limit for limit in LOW_LIMITS if key < limit.below and above - key < limit.semitones)
        found += [(limit, key, above) for limit in islice(broken, 1)]
    return found


def _clusters(pitches: Pitches) -> int:
    return sum(top - bottom <= CLUSTER for bottom, top in zip(pitches, pitches[2:], strict=False))


def unclear(pitches: Pitches) -> str:
    """Why some keys do not sound clear together; empty where they do.

    >>> unclear((52, 55, 60)), unclear((48, 52, 55))
    ('', 'below E3 seconds and thirds turn muddy: a fourth or more stays clear')
    >>> unclear((55, 56, 58))
    'three keys within a major third are a cluster'
    """
    if _clusters(pitches):
        return "three keys within a major third are a cluster"
    return next((limit.reason for limit, _, _ in _too_close(pitches)), "")


# From one voicing to the next


@dataclass(frozen=True, slots=True)
class Movement:
    """How far the hand moves: all semitones together, the largest single move, and how many keys are held on."""

    total: int
    largest: int
    common: int


def matching(before: Pitches, after: Pitches) -> tuple[tuple[int, int], ...]:
    """Which key goes where: pairs of a key before and a key after, so that all of them together move least.

    Every key of either side has a part. Keys in equal number go each to one, in order, which is the least there is
    on a line; otherwise keys of the smaller side share, neighbours with neighbours. Of equals the one with the
    smaller largest move is taken, then the one with fewer moves.

    >>> matching((57, 60, 64), (55, 57, 60, 64))
    ((57, 55), (57, 57), (60, 60), (64, 64))
    """
    if len(before) > len(after):
        return tuple((key, goal) for goal, key in matching(after, before))
    cuts = combinations(range(1, len(after)), len(before) - 1)
    ways = (tuple((before[bisect_right(cut, i)], goal) for i, goal in enumerate(after)) for cut in cuts)
    return min(ways, key=_effort)


def _effort(pairs: Sequence[tuple[int, int]]) -> tuple[int, int, int]:
    """Semitones in all, the largest move, and how many keys move."""
    moves = [abs(goal - key) for key, goal in pairs]
    return sum(moves), max(moves), sum(move > 0 for move in moves)


@lru_cache(maxsize=65536)
def movement(before: Pitches, after: Pitches) -> Movement:
    """How far the hand moves from some keys to others.

    >>> movement((60, 64, 67), (60, 65, 69))
    Movement(total=3, largest=2, common=1)
    """
    total, largest, _ = _effort(matching(before, after))
    return Movement(total, largest, len({*before} & {*after}))


# Through a chart


@dataclass(frozen=True, slots=True)
class VoicingPath:
    """A way through a chart: the voicing of each span, None over N.C., and all the semitones it moves the hand."""

    voicings: tuple[Voicing | None, ...]
    movement: int

    @property
    def unclear(self) -> int:
        """How many voicings aren't clear."""
        return sum(bool(voicing and voicing.reason) for voicing in self.voicings)

    @property
    def before(self) -> tuple[Voicing | None, ...]:
        """What the hand last held before each span; None until there is a first chord."""
        held: list[Voicing | None] = [None]
        for voicing in self.voicings:
            held.append(voicing or held[-1])
        return tuple(held[:-1])

    @property
    def moves(self) -> tuple[int, ...]:
        """Semitones moved into each span; 0 for the first chord and over N.C."""
        return tuple(
            movement(before.pitches, after.pitches).total if before and after else 0
            for before, after in zip(self.before, self.voicings, strict=True)
        )


class _Cost(NamedTuple):
    """What is kept small, in this order; each adds up along a path.

    Semitones moved; the largest move of each change; keys held on, below zero; twice the semitones between the
    middle of each voicing and the middle of the register.
    """

    total: int
    largest: int
    common: int
    off_centre: int


class _Way(NamedTuple):
    """A way from a voicing to the end: its cost, the voicing it takes next, and which of that one's ways it goes on.

    Ways compare by cost, then by the lower voicings.
    """

    cost: _Cost
    choice: int
    rank: int


def best_paths(progression: Progression, hand: Hand | None = None, count: int = 3) -> tuple[VoicingPath, ...]:
    """The paths through a progression that move the hand least, best first; all there are where these are fewer.

    Exact: no other path moves it less. Of paths that move it equally far, the one comes first whose largest moves,
    change by change, are smaller; then the one that keeps more keys; then the one nearer to the middle of the
    register; then the one with the lower first key that differs. A repeated chord is held; over N.C. the hand stays
    where it is. OptionError names the bar where the hand can hold no voicing of a chord.

    >>> from fillgen.chart.text import parse_chart
    >>> best, *_ = best_paths(parse_chart("| Bb | Dm | Eb | F7 |"))
    >>> [" ".join(voicing.names) for voicing in best.voicings], best.movement
    (['F3 Bb3 D4', 'F3 A3 D4', 'G3 Bb3 Eb4', 'F3 A3 C4 Eb4'], 10)
    """
    hand = hand or Hand()
    if not 1 <= count <= MOST_PATHS:
        hint = f"Give 1 to {MOST_PATHS}."
        raise OptionError(f"{count} is out of range", place="count", hint=hint)
    steps = _steps(progression)
    choices = [_choices(progression, first, hand) for first, *_ in steps]
    ways = _ways(choices, hand, count)
    starts = (
        _Way(way.cost, index, rank) for index, row in enumerate(ways[0]) for rank, way in enumerate(row)
    )
    return tuple(_path(progression, steps, choices, ways, start) for start in nsmallest(count, starts))


def _steps(progression: Progression) -> list[list[int]]:
    """The spans of each chord that is held, as numbers: a repeated chord is one step."""
    steps: list[list[int]] = []
    for number, span in enumerate(progression.spans):
        if not span.chord.tones:
            continue
        if steps and progression.spans[steps[-1][0]].chord.tones == span.chord.tones:
            steps[-1].append(number)
        else:
            steps.append([number])
    return steps


def _choices(progression: Progression, number: int, hand: Hand) -> tuple[Voicing, ...]:
    span = progression.spans[number]
    found = voicings(span.chord, hand)
    if not found:
        raise OptionError(
            f"the left hand has no voicing of {span.chord.symbol} in its register and span",
            place=f"bar {progression.bar_index(span.onset) + 1}",
            hint=_way_on(span.chord, hand),
        )
    return found


def _way_on(chord: Chord, hand: Hand) -> str:
    """Which setting, loosened alone, gives the hand a voicing of the chord; both where neither is enough."""
    higher = _called(max(hand.high, 76))
    wider = replace(hand, low=min(hand.low, 48), high=max(hand.high, 76))
    loosened = (
        (f"a wider register, such as {_called(wider.low)} to {higher},", wider),
        ("a wider span, such as 12 semitones,", replace(hand, span=max(hand.span, OCTAVE))),
    )
    helps = [words for words, other in loosened if voicings(chord, other)]
    helpful = " or ".join(helps) or "a wider register together with a wider span"
    return f"{helpful[0].upper()}{helpful[1:]} would leave some."


def _called(midi: int) -> str:
    return midi_name(midi, C_MAJOR)


def _ways(choices: Sequence[Sequence[Voicing]], hand: Hand, count: int) -> list[list[list[_Way]]]:
    """For each step and each voicing the best ways from there to the end, found from the last step back."""
    if not choices:
        return [[[_Way(_Cost(0, 0, 0, 0), 0, 0)]]]
    ways = [[[_Way(_Cost(0, 0, 0, _off_centre(last, hand)), 0, 0)] for last in choices[-1]]]
    for here, following in reversed(list(pairwise(choices))):
        ways.append([nsmallest(count, _ways_on(one, following, ways[-1], hand)) for one in here])
    return ways[::-1]


def _ways_on(
    here: Voicing, following: Sequence[Voicing], ways: Sequence[Sequence[_Way]], hand: Hand
) -> Iterator[_Way]:
    """Every way from a voicing over one of the next step's and one of that one's best ways."""
    off_centre = _off_centre(here, hand)
    for index, (there, row) in enumerate(zip(following, ways, strict=True)):
        move = movement(here.pitches, there.pitches)
        for rank, (rest, _, _) in enumerate(row):
            cost = _Cost(
                rest.total + move.total,
                rest.largest + move.largest,
                rest.common - move.common,
                rest.off_centre + off_centre,
            )
            yield _Way(cost, index, rank)


def _off_centre(voicing: Voicing, hand: Hand) -> int:
    """Twice the semitones from the middle of a voicing to the middle of the register."""
    return abs(voicing.pitches[0] + voicing.pitches[-1] - hand.low - hand.high)


def _path(
    progression: Progression,
    steps: Sequence[Sequence[int]],
    choices: Sequence[Sequence[Voicing]],
    ways: Sequence[Sequence[Sequence[_Way]]],
    start: _Way,
) -> VoicingPath:
    """A way written out over the spans, each voicing with the chord of its own span."""
    held: list[Voicing | None] = [None] * len(progression.spans)
    at = start
    for numbers, row, ways_here in zip(steps, choices, ways, strict=False):
        for number in numbers:
            held[number] = replace(row[at.choice], chord=progression.spans[number].chord)
        at = ways_here[at.choice][at.rank]
    return VoicingPath(tuple(held), start.cost.total)


# In words

_NUMBERS = ("no", "one", "two", "three", "four")


def moves_in_words(before: Voicing | None, after: Voicing | None) -> str:
    """What the hand does between two voicings; `before` is None at the start, `after` over N.C.

    >>> from fillgen.theory.chords import read_chord
    >>> bb, gm = (voicings(read_chord(symbol), Hand(53))[0] for symbol in ("Bb", "Gm"))
    >>> moves_in_words(None, bb), moves_in_words(bb, gm)
    ('start here', 'only the lowest note moves, up a whole step')
    """
    if after is None:
        return "no chord, the hand stays"
    if before is None:
        return "start here"
    if before.pitches == after.pitches:
        return "the same keys"
    moves, spare = _voices(before.pitches, after.pitches)
    moved = _moves_in_words(moves, bool(spare))
    return ", ".join([*moved, _spare_in_words(before, after, spare)] if spare else moved)


def _voices(before: Pitches, after: Pitches) -> tuple[list[int], list[int]]:
    """How far each key of the smaller side moves, upwards above zero, and the keys of the other side left over.

    Where keys share, the nearest of them is the one that moves.
    """
    few, many = (0, 1) if len(before) <= len(after) else (1, 0)
    partners: dict[int, tuple[int, int]] = {}
    for pair in sorted(matching(before, after), key=lambda pair: abs(pair[1] - pair[0])):
        partners.setdefault(pair[few], pair)
    taken = {pair[many] for pair in partners.values()}
    moves = [goal - key for key, goal in sorted(partners.values())]
    return moves, [key for key in (before, after)[many] if key not in taken]


def _moves_in_words(moves: Sequence[int], others: bool) -> list[str]:
    """The moves in clauses, keys that go alike together; nothing where no key moves."""
    alike: dict[int, list[str]] = {}
    for index, rise in enumerate(moves):
        alike.setdefault(rise, []).append(_place(index, len(moves)))
    stay = len(alike.pop(0, ()))
    if not alike:
        return []
    if not others and stay == len(moves) - 1:
        return [f"only the {place} note moves, {_rise(rise)}" for rise, (place,) in alike.items()]
    if not others and len(alike[next(iter(alike))]) == len(moves):
        return [f"{_all(len(moves))} notes go {_rise(rise)}" for rise in alike]
    parts = [f"{_NUMBERS[stay]} {'note stays' if stay == 1 else 'notes stay'}"] if stay else []
    return parts + [_move_in_words(places, rise) for rise, places in alike.items()]


def _move_in_words(places: Sequence[str], rise: int) -> str:
    return f"the {_and(places)} {'goes' if len(places) == 1 else 'go'} {_rise(rise)}"


def _rise(rise: int) -> str:
    return f"{'up' if rise > 0 else 'down'} {interval_in_words(abs(rise))}"


def _all(count: int) -> str:
    return "both" if count == 2 else f"all {_NUMBERS[count]}"


def _place(index: int, count: int) -> str:
    """The name of a key's place in the hand, counted from the lowest.

    >>> [_place(index, 4) for index in range(4)]
    ['lowest', 'lower middle', 'upper middle', 'top']
    """
    if index in (0, count - 1):
        return "top" if index else "lowest"
    return "middle" if count == 3 else ("lower middle", "upper middle")[index - 1]


def _and(words: Iterable[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def _spare_in_words(before: Voicing, after: Voicing, spare: Sequence[int]) -> str:
    """Which keys are added or left out, by their names."""
    added = len(after.pitches) > len(before.pitches)
    fuller = after if added else before
    names = [str(fuller.tones[fuller.pitches.index(key)].name) for key in spare]
    keys = "one key is" if len(spare) == 1 else f"{_NUMBERS[len(spare)]} keys are"
    return f"{keys} {'added' if added else 'left out'}: {_and(names)}"
