"""Chords proposed for a melody that has none: one a bar, or two if its notes call for them.

The search is exact: of all ways to give each half bar a chord of its key, the one that costs least. A chord costs what the notes
over it say against it, and what `fillgen.theory.tonality` says of it in its key before the chord that follows, so that dominants
go where they lead. A tune begins and closes on its tonic; what gives something back for a cadence is `tonality`. Dynamic programming over a fit of
notes and the order of chords: Raczynski, Fukayama and Vincent (2013), 'Melody Harmonization with Interpolated Probabilistic
Models'; here costs from handbooks stand in for learned ones. All values are choices of this project.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from fillgen.chart.sequences import chord_on
from fillgen.phrase.idea import CHORD_TONE
from fillgen.phrase.note import Note, Phrase
from fillgen.teaching.notefit import CLASHES, LEAVE_QUICKLY, PASSES, note_fits
from fillgen.theory.chords import Chord
from fillgen.theory.metre import TICKS, Metre
from fillgen.theory.pitch import Key
from fillgen.theory.tonality import cost_in

_AGAINST = {CHORD_TONE: 0.0, PASSES: 0.6, LEAVE_QUICKLY: 0.9, CLASHES: 1.6}
"""The cost of a note against a chord, by its degree over the chord."""
_FIT = 6.0
"""The cost of a bar whose notes are all one step of that scale away."""
_SLIGHT = 0.5
"""How much less a short passing note off the beat counts."""
_HALVED = 1.0
"""What a second chord in a bar costs."""
_CHANGE = 0.15
"""What any change of chord costs."""
_BACK = 0.6
"""The cost of a dominant that falls back to a chord that prepares one."""
_BEGINS = 1.0
"""Given back where the tune begins on its tonic."""
_OPEN = 3.0
"""The cost of a tune that doesn't close on its tonic."""

_CHORDS: dict[str, tuple[tuple[int, int, str, float], ...]] = {
    "major": (
        (0, 0, "", 0.0),
        (4, 7, "7", 0.0),
        (3, 5, "", 0.0),
        (1, 2, "m", 0.1),
        (5, 9, "m", 0.1),
        (2, 4, "m", 0.5),
        (1, 2, "7", 0.0),
        (5, 9, "7", 0.0),
        (2, 4, "7", 0.0),
        (0, 0, "7", 0.0),
        (6, 10, "", 0.0),
    ),
    "minor": (
        (0, 0, "m", 0.0),
        (4, 7, "7", 0.0),
        (3, 5, "m", 0.0),
        (5, 8, "", 0.1),
        (2, 3, "", 0.2),
        (6, 10, "", 0.2),
        (1, 2, "m7b5", 0.3),
        (4, 7, "m", 0.3),
        (0, 0, "7", 0.0),
        (6, 10, "7", 0.0),
        (1, 2, "7", 0.0),
    ),
}
"""The chords of a mode: letter steps and semitones of the root above the tonic, quality, and what it costs beside that.
Those of the key and the dominants of its degrees, as handbooks list them; the plain ones first, which win a draw."""


@dataclass(frozen=True)
class MelodyBar:
    """A bar of a melody: its metre, its key, and what sounds in it, in ticks from its start."""

    metre: Metre
    key: Key
    notes: Phrase


Row = tuple[tuple[Chord, int], ...]
"""The chords of a bar with their lengths in ticks."""


@dataclass(frozen=True)
class _Part:
    """A bar or half of one: its bar, whether it is the second half, its length, and what each chord costs there."""

    bar: MelodyBar
    second: bool
    length: int
    costs: tuple[float, ...]


def proposed(bars: Sequence[MelodyBar], then: Chord | None = None) -> tuple[Row, ...]:
    """The chords proposed for the bars of a melody; `then` is the chord that follows, None if the tune ends there.

    >>> from fillgen.theory.metre import METRES
    >>> from fillgen.theory.pitch import Name
    >>> key, waltz = Key(Name.read("Bb"), "major"), METRES["3/4"]
    >>> line = [(70, 74, 77), (75, 79, 75), (72, 69, 75), (70,)]
    >>> bars = [MelodyBar(waltz, key, tuple(Note(480 * n, 480, midi) for n, midi in enumerate(bar))) for bar in line]
    >>> [[chord.symbol for chord, _ in row] for row in proposed(bars)]
    [['Bb'], ['Eb'], ['F7'], ['Bb']]
    """
    parts = [part for bar in bars for part in _parts(bar)]
    found = _cheapest(parts, then)
    rows: list[list[tuple[Chord, int]]] = []
    for part, number in zip(parts, found, strict=True):
        chord = candidates(part.bar.key)[number]
        if not part.second:
            rows.append([(chord, part.length)])
        elif rows[-1][-1][0] == chord:
            rows[-1] = [(chord, part.length + rows[-1][-1][1])]
        else:
            rows[-1].append((chord, part.length))
    return tuple(map(tuple, rows))


@lru_cache(maxsize=64)
def candidates(key: Key) -> tuple[Chord, ...]:
    """The chords of a key that may be proposed, the tonic first."""
    rows = _CHORDS[key.signature_mode]
    return tuple(chord_on(key.tonic.up(steps, semitones), quality) for steps, semitones, quality, _ in rows)


# Notes over chords


def _parts(bar: MelodyBar) -> list[_Part]:
    """A bar, in halves where its metre has a strong beat at which it can be divided."""
    half = _half(bar.metre)
    ends = [0, half, bar.metre.bar] if half else [0, bar.metre.bar]
    whole = sum(_weight(note, bar.metre, 0, bar.metre.bar) for note in bar.notes) or 1.0
    extra = _CHORDS[bar.key.signature_mode]
    return [
        _Part(
            bar,
            start > 0,
            end - start,
            tuple(
                _misfit(bar, chord, start, end) * _FIT / whole + own[3] * (end - start) / bar.metre.bar
                for chord, own in zip(candidates(bar.key), extra, strict=True)
            ),
        )
        for start, end in pairwise(ends)
    ]


def _half(metre: Metre) -> int:
    """The tick at which a bar can change its chord, 0 if there is none."""
    if metre.bar // 2 in metre.strong:
        return metre.bar // 2
    return metre.strong[1] if len(metre.strong) == 2 else 0


def _misfit(bar: MelodyBar, chord: Chord, start: int, end: int) -> float:
    """What the notes between two ticks of a bar say against a chord."""
    kinds = _kinds(chord, bar.key)
    return sum(_weight(note, bar.metre, start, end) * kinds[note.midi % 12] for note in bar.notes)


@lru_cache(maxsize=1024)
def _kinds(chord: Chord, key: Key) -> tuple[float, ...]:
    """What each pitch class says against a chord."""
    found = {fit.name.pitch_class: _AGAINST[fit.kind] for fit in note_fits(chord, key)}
    return tuple(found[pitch_class] for pitch_class in range(12))


def _weight(note: Note, metre: Metre, start: int, end: int) -> float:
    """How much a note counts between two ticks of its bar: by its length there, and by how heavy its place is."""
    onset, stop = max(note.onset, start), min(note.end, end)
    if onset >= stop:
        return 0.0
    slight = stop - onset <= TICKS // 2 and metre.off_beat(onset)
    return (stop - onset) / TICKS * (0.5 + metre.accent(onset)) * (_SLIGHT if slight else 1.0)


# The search


def _cheapest(parts: Sequence[_Part], then: Chord | None) -> list[int]:
    """The number of the chord of each part, by dynamic programming from the beginning."""
    if not parts:
        return []
    totals = [cost - _BEGINS * (number == 0) for number, cost in enumerate(parts[0].costs)]
    ways: list[list[int]] = []
    for before, part in pairwise(parts):
        halved = _HALVED if part.second else 0.0
        moves = _moves(before.bar.key, part.bar.key)
        row, way = [], []
        for number, cost in enumerate(part.costs):
            steps = [
                total + move + (halved if move else 0.0)
                for total, move in zip(totals, (each[number] for each in moves), strict=True)
            ]
            best = min(range(len(steps)), key=steps.__getitem__)
            row.append(steps[best] + cost)
            way.append(best)
        totals = row
        ways.append(way)
    totals = [total + end for total, end in zip(totals, _ends(parts[-1].bar.key, then), strict=True)]
    found = [min(range(len(totals)), key=totals.__getitem__)]
    for way in reversed(ways):
        found.append(way[found[-1]])
    return found[::-1]


@lru_cache(maxsize=256)
def _moves(key: Key, following: Key) -> tuple[tuple[float, ...], ...]:
    """What it costs to go from each chord of a key to each of the next bar's key; nothing if the chord stays."""
    return tuple(
        tuple(_move(chord, after, key) for after in candidates(following)) for chord in candidates(key)
    )


def _move(chord: Chord, after: Chord, key: Key) -> float:
    if chord == after:
        return 0.0
    return _CHANGE + cost_in(chord, after, key) + _BACK * _falls_back(chord, after, key)


def _falls_back(chord: Chord, after: Chord, key: Key) -> bool:
    """Whether the dominant goes to a chord that prepares one."""
    return _above(chord, key) == 7 and _above(after, key) in (2, 5)


def _above(chord: Chord, key: Key) -> int:
    """Semitones of a root above the tonic."""
    assert chord.root is not None
    return (chord.root.pitch_class - key.tonic.pitch_class) % 12


def _ends(key: Key, then: Chord | None) -> list[float]:
    """What each chord costs as the last: before the chord that follows, or where the tune closes on its tonic."""
    every = candidates(key)
    if then is not None:
        return [0.0 if chord == then else _CHANGE + cost_in(chord, then, key) for chord in every]
    return [0.0 if chord == every[0] else _OPEN for chord in every]
