"""How different phrases are from one another, in figures from 0 (the same) up, measured from the notes alone."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from fillgen.dice import Dice
from fillgen.engine.generate import Engine, PhraseSpace
from fillgen.engine.request import Request, settle
from fillgen.phrase.note import Note, Phrase

SLICE = 40
"""Time is cut into slices of so many ticks: all our onsets and ends fall on them."""
SIDES = ("pitch", "rhythm", "shape", "opening")
"""Sides of a difference, told at the functions that measure them."""
ALIKE = 0.55
"""Two phrases are apart where they sound the same pitch in at most this share of the time of the one that sounds less."""

Matrix = NDArray[np.float64]


@dataclass(frozen=True)
class Heard:
    """Phrases as rows of slices of time: what sounds (0 for silence), where notes begin, and the line through the notes."""

    sounds: NDArray[np.int16]
    onsets: NDArray[np.bool_]
    lines: Matrix
    bar: int
    """Slices in a bar."""

    @classmethod
    def of(cls, phrases: Sequence[Phrase], bar: int) -> Heard:
        """Phrases as heard; `bar` are the ticks of a bar."""
        slices = -(-max(phrase[-1].end for phrase in phrases) // SLICE)
        sounds = np.zeros((len(phrases), slices), dtype=np.int16)
        onsets = np.zeros((len(phrases), slices), dtype=bool)
        lines = np.zeros((len(phrases), 64))
        for row, phrase in enumerate(phrases):
            for note in phrase:
                sounds[row, note.onset // SLICE : note.end // SLICE] = note.midi
                onsets[row, note.onset // SLICE] = True
            times = np.linspace(0, slices * SLICE, 64)
            lines[row] = np.interp(times, [note.onset for note in phrase], [note.midi for note in phrase])
        return cls(sounds, onsets, lines, bar // SLICE)


def distances(heard: Heard) -> dict[str, Matrix]:
    """The distance of each two phrases, in the order of `itertools.combinations`, side by side."""
    first = np.ascontiguousarray(heard.sounds[:, : heard.bar])
    return {
        "pitch": _apart_in_time(heard.sounds),
        "rhythm": _apart_in_rhythm(heard.onsets),
        "shape": _apart_in_shape(heard.lines),
        "opening": _apart_in_time(first),
    }


def _pairs(rows: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    return np.triu_indices(rows, 1)


def _apart_in_time(sounds: NDArray[np.int16]) -> Matrix:
    """1 less the share of sounding time, of the phrase that sounds less, in which both sound the same pitch."""
    same = [((sounds[n + 1 :] == row) & (row > 0)).sum(axis=1) for n, row in enumerate(sounds)]
    lengths = (sounds > 0).sum(axis=1)
    one, other = _pairs(len(sounds))
    less = np.minimum(lengths[one], lengths[other])
    return np.asarray(1 - np.concatenate(same) / np.maximum(less, 1))


def _apart_in_rhythm(onsets: NDArray[np.bool_]) -> Matrix:
    """The share of onsets that only one of two phrases has (Jaccard distance)."""
    whole = onsets.astype(np.float64)
    shared = whole @ whole.T
    counts = whole.sum(axis=1)
    one, other = _pairs(len(onsets))
    return np.asarray(1 - shared[one, other] / (counts[one] + counts[other] - shared[one, other]))


def _apart_in_shape(lines: Matrix) -> Matrix:
    """1 less the correlation of two lines, from 0 for the same shape to 2 for the shape turned upside down."""
    level = lines - lines.mean(axis=1, keepdims=True)
    spread = np.sqrt((level**2).sum(axis=1, keepdims=True))
    level = level / np.where(spread > 0, spread, 1)
    one, other = _pairs(len(lines))
    return np.asarray(1 - (level @ level.T)[one, other])


def near_copies(apart: Matrix, rows: int, alike: float = ALIKE) -> tuple[int, int]:
    """How many pairs are no further apart than near-copies, and how many phrases must go so that none is left.

    They are counted in order: a phrase goes where one that stays is its near-copy.
    """
    near = np.zeros((rows, rows), dtype=bool)
    near[_pairs(rows)] = apart < 1 - alike - 1e-9
    stay: list[int] = []
    for row in range(rows):
        if not near[stay, row].any():
            stay.append(row)
    return int(near.sum()), rows - len(stay)


def drawn(request: Request, *, fair: bool = True) -> list[Phrase]:
    """As many phrases as asked for, drawn over as many plans as ideas are drawn from, and not ranked.

    Fair draws give each phrase of a plan the same chance; others lean as those of the program do.
    """
    engine = Engine(settle(request))
    dice = Dice(request.seed)
    spaces = engine.spaces(dice)
    each = -(-request.count // len(spaces))
    found = [list(_from(engine, space, each, dice, fair=fair)) for space in spaces]
    in_turn = [phrases[n] for n in range(each) for phrases in found]
    return in_turn[: request.count]


def _from(engine: Engine, space: PhraseSpace, wanted: int, dice: Dice, *, fair: bool) -> Iterable[Phrase]:
    domains = space.pitches
    weights = [t.astype(float) for t in space.lattice.allowed] if fair else engine.weights(space)
    chances = dice.doubles(wanted * space.lattice.columns).reshape(wanted, -1)
    for row in space.lattice.draw(weights, chances).tolist():
        pitches = [int(domain[index]) for domain, index in zip(domains, row, strict=True)]
        yield tuple(
            Note(onset, length, midi)
            for (onset, length), midi in zip(space.plan.rhythm, pitches, strict=True)
        )


def apart_by_pairs(phrases: Sequence[Phrase]) -> list[float]:
    """The distance in pitch of each two phrases, worked out note by note: slow, and plain to see."""
    lines = [{t: n.midi for n in phrase for t in range(n.onset, n.end, SLICE)} for phrase in phrases]
    return [
        1 - sum(b.get(t) == midi for t, midi in a.items()) / min(len(a), len(b))
        for a, b in combinations(lines, 2)
    ]
