"""Rivals of real phrases: lines made of a phrase's own notes or of those of its kind, that nobody has sung.

Each takes something away that a score may hear: the order of the notes, of the intervals or of the bars, which rhythm
belongs to which notes, or just two notes. Nothing here is a published value.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import cache, lru_cache
from itertools import pairwise, permutations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fillgen.chart.progression import Progression
from fillgen.chart.text import parse_chart
from fillgen.dice import Dice
from fillgen.engine.generate import Engine
from fillgen.engine.melody import plan_of
from fillgen.engine.request import Request, settle
from fillgen.phrase.note import Note, Phrase
from fillgen.theory.metre import METRES
from fillgen.theory.pitch import Key
from tests.outside.melodies import BARS, Pitches, Tune, pitches_of, texts, tune_of

RIVALS = (
    "shuffled",
    "walk",
    "scale walk",
    "two notes",
    "markov",
    "rhythms permuted",
    "backwards",
    "reversed",
    "bar exchanged",
    "bars permuted",
    "drawn",
)
"""What a phrase is set against, told at the functions that make them."""
SAMPLED = 24
"""One tune in so many lends bars, and teaches the chain of the Markov melodies."""


def rivals(tune: Tune, phrase: Phrase, dice: Dice, wanted: Sequence[str] = RIVALS) -> dict[str, Phrase]:
    """The wanted rivals of a phrase, as far as there are any. The same dice give the same rivals."""
    pitched = {
        "shuffled": lambda: shuffled(phrase, dice),
        "walk": lambda: walk(phrase, dice),
        "scale walk": lambda: scale_walk(tune, phrase, dice),
        "backwards": lambda: backwards(phrase),
        "drawn": lambda: drawn(tune, phrase, dice),
        "two notes": lambda: two_notes(tune, phrase, dice),
        "markov": lambda: markov(tune, phrase, dice),
    }
    whole = {
        "reversed": lambda: reversed_in_time(tune, phrase),
        "rhythms permuted": lambda: rhythms_permuted(tune, phrase, dice),
        "bar exchanged": lambda: bar_exchanged(tune, phrase, dice),
        "bars permuted": lambda: bars_permuted(tune, phrase, dice),
    }
    rows = {name: make() for name, make in pitched.items() if name in wanted}
    made = {name: with_pitches(phrase, row) for name, row in rows.items() if row is not None}
    others = {name: make() for name, make in whole.items() if name in wanted}
    made |= {name: other for name, other in others.items() if other is not None}
    return {name: made[name] for name in wanted if name in made}


# Other pitches over the rhythm


def with_pitches(phrase: Phrase, pitches: Iterable[int]) -> Phrase:
    """Other pitches over a phrase's rhythm."""
    return tuple(replace(note, midi=int(midi)) for note, midi in zip(phrase, pitches, strict=True))


def shuffled(phrase: Phrase, dice: Dice) -> Pitches:
    """The phrase's own notes in random order over its rhythm."""
    own = pitches_of(phrase)
    return own[np.argsort(dice.doubles(len(own)), kind="stable")]


def walk(phrase: Phrase, dice: Dice) -> Pitches:
    """A walk from the phrase's first note by its own intervals in random order, over its rhythm."""
    own = pitches_of(phrase)
    moves = np.diff(own)
    taken = moves[np.argsort(dice.doubles(len(moves)), kind="stable")]
    return np.concatenate([own[:1], own[0] + np.cumsum(taken, dtype=np.int16)]).astype(np.int16)


def scale_walk(tune: Tune, phrase: Phrase, dice: Dice) -> Pitches | None:
    """A walk that never leaves the scale: the phrase's intervals, counted in notes of the scale, in random order.

    None where a note of the phrase lies outside the scale.
    """
    rungs = _rungs(tune, phrase)
    if rungs is None:
        return None
    moves = np.diff(rungs)
    taken = moves[np.argsort(dice.doubles(len(moves)), kind="stable")]
    return _at(tune, np.concatenate([rungs[:1], rungs[0] + np.cumsum(taken)]))


def two_notes(tune: Tune, phrase: Phrase, dice: Dice) -> Pitches | None:
    """The phrase with two of its notes a step of the scale higher or lower; None as for `scale_walk`."""
    rungs = _rungs(tune, phrase)
    if rungs is None:
        return None
    moved = np.argsort(dice.doubles(len(rungs)), kind="stable")[:2]
    ways = np.where(dice.doubles(2) < 0.5, -1, 1)
    return _at(tune, rungs + np.bincount(moved, ways, len(rungs)).astype(np.intp))


def markov(tune: Tune, phrase: Phrase, dice: Dice) -> Pitches | None:
    """A melody of the first order over the phrase's rhythm: each note follows the one before as notes do in tunes.

    The chain of intervals in the scale by the degree they leave is learned from a part of the tuning half; it starts
    on the phrase's first note, and keeps to an octave about the phrase. None as for `scale_walk`.
    """
    rungs = _rungs(tune, phrase)
    if rungs is None:
        return None
    size = tune.scale.bit_count()
    chain = _chain(size)
    low, high = int(rungs.min()), int(rungs.max())
    spare = max(0, size - (high - low))
    low, high = low - spare // 2, high + spare - spare // 2
    tonic = int(np.searchsorted(_ladder(tune), tune.tonic.pitch_class))
    line = [int(rungs[0])]
    for chance in dice.doubles(len(rungs) - 1).tolist():
        reached = line[-1] + np.arange(-_WIDEST, _WIDEST + 1)
        likely = chain[(line[-1] - tonic) % size] * ((reached >= low) & (reached <= high))
        ladder = likely.cumsum()
        line.append(int(reached[np.searchsorted(ladder, chance * ladder[-1], side="right")]))
    return _at(tune, np.array(line))


_WIDEST = 9
"""The widest step of the chain, in notes of the scale."""


@cache
def _chain(size: int) -> NDArray[np.float64]:
    """How often each degree of a scale with so many notes is left by each interval in the scale, in the tuning half."""
    found = np.full((size, 2 * _WIDEST + 1), 0.1)
    for tune in sample(held_out=False):
        if tune.scale.bit_count() == size:
            tonic = int(np.searchsorted(_ladder(tune), tune.tonic.pitch_class))
            for phrase in tune.phrases:
                rungs = _rungs(tune, phrase)
                for one, other in pairwise(rungs if rungs is not None else ()):
                    if abs(other - one) <= _WIDEST:
                        found[(one - tonic) % size, other - one + _WIDEST] += 1
    return found


@lru_cache(maxsize=2)
def sample(*, held_out: bool) -> tuple[Tune, ...]:
    """A fixed part of one half of the tunes."""
    read = [tune_of(*each) for each in texts(held_out=held_out, one_in=SAMPLED)]
    return tuple(tune for tune in read if tune is not None)


def _ladder(tune: Tune) -> Pitches:
    """The pitches of the scale, from the lowest."""
    return np.array([pitch for pitch in range(128) if tune.scale >> pitch % 12 & 1], dtype=np.int16)


def _rungs(tune: Tune, phrase: Phrase) -> NDArray[np.intp] | None:
    """The notes of a phrase as numbers in the scale; None where one lies outside it."""
    ladder, own = _ladder(tune), pitches_of(phrase)
    return np.searchsorted(ladder, own) if np.isin(own, ladder).all() else None


def _at(tune: Tune, rungs: NDArray[np.intp]) -> Pitches:
    """The pitches of numbers in the scale."""
    ladder = _ladder(tune)
    return ladder[rungs.clip(0, len(ladder) - 1)]


def backwards(phrase: Phrase) -> Pitches:
    """The phrase's pitches from the last to the first, over its own rhythm."""
    return pitches_of(phrase)[::-1].copy()


def chart_of(tune: Tune, phrase: Phrase) -> Progression:
    """A simple chart under a phrase: for each bar that of I, IV and V whose triad sounds longest, strong notes twice.

    In a minor key they are i, iv and V. Of equals the first named wins.
    """
    metre = METRES[tune.metre]
    key = Key(tune.tonic, "minor" if tune.mode == "min" else "major")
    minor = "m" if tune.mode == "min" else ""
    triads = {
        f"{key.scale[step]}{kind}": (key.scale[step].pitch_class, third)
        for step, kind, third in ((0, minor, 3 if minor else 4), (3, minor, 3 if minor else 4), (4, "", 4))
    }
    symbols = []
    for number in range(BARS):
        inside = [note for note in phrase if note.onset // metre.bar == number]
        heard = {symbol: _sounding(inside, root, third, metre) for symbol, (root, third) in triads.items()}
        symbols.append(max(heard, key=lambda symbol: heard[symbol]))
    return parse_chart(f"| {' | '.join(symbols)} |", key=key, metre=metre)


def _sounding(notes: Iterable[Note], root: int, third: int, metre: Any) -> int:
    tones = {root, (root + third) % 12, (root + 7) % 12}
    return sum(
        note.length * (2 if note.onset % metre.bar in metre.strong else 1)
        for note in notes
        if note.midi % 12 in tones
    )


def drawn(tune: Tune, phrase: Phrase, dice: Dice) -> Pitches | None:
    """A fair draw from all phrases that our rules allow over the phrase's rhythm and a simple chart.

    Level 3 is asked first, then 4 and 5; the range is the phrase's own, an octave at least. None for church modes, in
    which a chart has no key with us, and where no level has a phrase.
    """
    if tune.mode not in ("maj", "min"):
        return None
    own = pitches_of(phrase)
    spare = max(0, 12 - int(np.ptp(own)))
    low = int(own.min()) - spare // 2
    high = int(own.max()) + spare - spare // 2
    chances = dice.doubles(3 * len(own))
    progression = chart_of(tune, phrase)
    rhythm = tuple((note.onset, note.length) for note in phrase)
    plan = plan_of(rhythm, METRES[tune.metre])
    for level in (3, 4, 5):
        engine = Engine(settle(Request(progression, level=level, low=low, high=high)))
        space = engine.space(plan)
        if space.count:
            lattice = space.lattice
            fair = [table.astype(float) for table in lattice.allowed]
            row = lattice.draw(fair, chances[None, : 3 * len(lattice.runs)])[0]
            domains = [engine.windows.domain(place) for place in space.places]
            return np.array([domain[i] for domain, i in zip(domains, row, strict=True)], dtype=np.int16)
    return None


# Other rhythms, and other orders of bars


def reversed_in_time(tune: Tune, phrase: Phrase) -> Phrase:
    """The phrase from its end to its beginning, pitches and rhythm both."""
    end = BARS * METRES[tune.metre].bar
    return tuple(Note(end - note.end, note.length, note.midi) for note in reversed(phrase))


def rhythms_permuted(tune: Tune, phrase: Phrase, dice: Dice) -> Phrase | None:
    """The phrase's pitches in order over the rhythms of its bars in another order.

    None where a note is held over a bar line, and where all bars have the same rhythm.
    """
    return _another_order(
        tune, phrase, dice, lambda joined: with_pitches(joined, (note.midi for note in phrase))
    )


def bars_permuted(tune: Tune, phrase: Phrase, dice: Dice) -> Phrase | None:
    """The phrase's bars in another order, notes and rhythm together; None where a note is held over a bar line."""
    return _another_order(tune, phrase, dice, lambda joined: joined)


def bar_exchanged(tune: Tune, phrase: Phrase, dice: Dice) -> Phrase | None:
    """The phrase with one of its bars out of another tune: the bar of the same number, in the phrase's key.

    The other tune has the same metre and mode; its bar is moved by octaves to about the height of the phrase. None where
    a note is held over a bar line, and where there is no such tune.
    """
    size = METRES[tune.metre].bar
    own = in_bars(phrase, size)
    number = dice.below(BARS)
    lent = [
        (other, bars[number])
        for other, bars in _lenders(tune.metre, tune.mode, held_out=tune.held_out)
        if other.name != tune.name and bars[number]
    ]
    if own is None or not lent:
        return None
    other, bar = dice.one_of(lent)
    rise = (tune.tonic.pitch_class - other.tonic.pitch_class) % 12
    away = pitches_of(phrase).mean() - (np.mean([note.midi for note in bar]) + rise)
    rise += 12 * round(float(away) / 12)
    own[number] = [replace(note, midi=note.midi + rise) for note in bar]
    made = _joined(own, range(BARS), size)
    return None if made == phrase else made


@cache
def _lenders(metre: str, mode: str, *, held_out: bool) -> tuple[tuple[Tune, list[list[Note]]], ...]:
    """The phrases of one metre and mode out of the sample of a half, bar by bar, with their tunes."""
    return tuple(
        (tune, bars)
        for tune in sample(held_out=held_out)
        if (tune.metre, tune.mode) == (metre, mode)
        for phrase in tune.phrases
        if (bars := in_bars(phrase, METRES[metre].bar)) is not None
    )


def in_bars(phrase: Phrase, size: int) -> list[list[Note]] | None:
    """The notes of each bar, their ticks counted from its start; None where a note is held over a bar line."""
    if any(note.onset % size + note.length > size for note in phrase):
        return None
    bars: list[list[Note]] = [[] for _ in range(BARS)]
    for note in phrase:
        bars[note.onset // size].append(replace(note, onset=note.onset % size))
    return bars


def _joined(bars: Sequence[Sequence[Note]], order: Iterable[int], size: int) -> Phrase:
    """Bars in some order as a phrase."""
    return tuple(
        replace(note, onset=note.onset + place * size)
        for place, number in enumerate(order)
        for note in bars[number]
    )


def _another_order(
    tune: Tune, phrase: Phrase, dice: Dice, made_of: Callable[[Phrase], Phrase]
) -> Phrase | None:
    """What is made of the bars in the first of all orders, drawn by chance, that gives another phrase."""
    size = METRES[tune.metre].bar
    bars = in_bars(phrase, size)
    orders = list(permutations(range(BARS)))
    chances = dice.doubles(len(orders))
    if bars is None:
        return None
    made = (made_of(_joined(bars, orders[turn], size)) for turn in np.argsort(chances, kind="stable"))
    return next((other for other in made if other != phrase), None)
