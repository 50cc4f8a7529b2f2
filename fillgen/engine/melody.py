"""The score of a bare melody: lines of notes with a metre and a key, but no chords, no plan and no hand."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import overload

import numpy as np

from fillgen.chart.text import MOST_BARS
from fillgen.engine.habits import Home, home_in, home_of
from fillgen.engine.plans import Plan, Rhythm_
from fillgen.engine.score import Pitches, ScoreContext, follows, in_shape, terms, total
from fillgen.errors import OptionError, PhraseError, shorten
from fillgen.phrase.note import Note, Phrase, check_line
from fillgen.phrase.place import Place
from fillgen.phrase.text import parse_phrase
from fillgen.rules.pack import TERMS, RulePack
from fillgen.theory.chords import mask_of
from fillgen.theory.keys import read_key, read_metre
from fillgen.theory.metre import Metre, Timeline
from fillgen.theory.pitch import Key, pitch_of

MELODY_TERMS = tuple(term for term in TERMS if term not in ("colour", "idiom", "ease"))
"""The terms of the score that need neither chords nor a rhythm nor a hand, in their order."""
_LEVEL = 3
"""The level whose range counts if none is given."""
_DECIMALS = 9
"""Terms are rounded to this many decimals, so that every machine agrees and no line depends on the others of its call."""


@dataclass(frozen=True)
class MelodyScore:
    """How a line of notes scores without chords, from 0 to 1, and the terms that the score is made of.

    `score` is the mean of the terms by the weights of `rules/score.toml`, rounded to six decimals. Each of the `terms`
    runs from 0 to 1, more is better, rounded to nine decimals; `says` in that file explains it. They are
    those of the ideas except `colour`, which needs chords, and `ease`, which needs a hand. These differ:

    - `shape` is the fit to the built-in shape that the line follows best;
    - `echo` compares bars with the same rhythm, since no form was planned; it is 0.5 where no two bars have the same;
    - `habit` and `order` hear a key; a scale without a tonic is heard as the major scale that it is most like;
    - `order` is 0.5 for a line of fewer than four bars;
    - `close` hears how smoothly the last note is reached, but needs no root, because the last chord is unknown;
    - `key` counts what lies outside the scale, unless a semitone leads from it into the scale; it hears no dominant.

    A term about moves that a line is too short to make is 1 or 0.5, as for ideas.

    Sources: Vos and Troost (1989) and Huron (2001) for intervals and their order, von Hippel (2002) and Huron (2006) for
    steps that go on, strict counterpoint for answered leaps, Bharucha (1984) for anchored notes. The habits, the order of
    bars, the weights, and where a term is full, come from folk songs and airs: `python -m tests.bench.learned_habits`,
    `.tuned_weights` and `.real_melodies`.
    """

    score: float
    terms: Mapping[str, float]


@overload
def melody_score(  # type: ignore[overload-overlap]  # a text is a sequence of texts as well, to a type checker
    phrase: str | Phrase,
    metre: str | Metre,
    key: str | Key | Collection[int],
    *,
    low: str | int | None = None,
    high: str | int | None = None,
) -> MelodyScore: ...


@overload
def melody_score(
    phrase: Sequence[str | Phrase],
    metre: str | Metre,
    key: str | Key | Collection[int],
    *,
    low: str | int | None = None,
    high: str | int | None = None,
) -> tuple[MelodyScore, ...]: ...


def melody_score(
    phrase: str | Phrase | Sequence[str | Phrase],
    metre: str | Metre,
    key: str | Key | Collection[int],
    *,
    low: str | int | None = None,
    high: str | int | None = None,
) -> MelodyScore | tuple[MelodyScore, ...]:
    """Score a line of notes without chords, or many lines: the score of the ideas without its chord terms.

    Lines with the same rhythm are scored together: a thousand of sixteen notes take about 15 ms, a thousand that all
    differ in rhythm half a second.

    Parameters
    ----------
    phrase
        Phrase text such as `F5q. Eb5e D5h | rq G5q F5h`, every bar full, or notes, their ticks counted from the start
        of the first bar. A pick-up is at the end of a bar that begins with rests. Of a sequence of texts or phrases
        each is a line.
    metre, key
        Those of all lines, by name (`6/8`, `C minor`) or value. The raised seventh belongs to a minor key. Any other
        scale, such as a church mode, is given as its pitch classes, C being 0.
    low, high
        The range the line is to use, as names or MIDI numbers, by default that of level 3 (D4 to A5). Only `register`
        needs it: a line moved with its key and range keeps its score.

    Returns
    -------
    A `MelodyScore` for one line; for many a tuple of them, in the order of the lines.

    Raises
    ------
    PhraseError
        For what cannot be read, has no note, two at once, or more than 512 bars: with its bar, and its line among many.
    OptionError
        For an unknown metre or key, a scale without notes, and an impossible range.

    Examples
    --------
    >>> sung = melody_score("Ab4q Bb4q C5q Db5q | C5q Eb5q Db5q C5q | Bb4q C5q Bb4q G4q | Ab4w", "4/4", "Ab major")
    >>> sung.score, sung.terms["steps"], sung.terms["echo"]
    (0.874346, 1.0, 0.688888889)
    >>> both = melody_score(["F#4q A4q B4h", "F#4q A4q C5h"], "4/4", "B minor")
    >>> [each.terms["key"] for each in both]
    [1.0, 0.0]
    """
    metre = read_metre(metre) if isinstance(metre, str) else metre
    heard = _scale(key), _range(low, high)
    if isinstance(phrase, str) or not phrase or isinstance(phrase[0], Note):
        return _scored([_line(phrase, metre)], metre, *heard)[0]
    return _scored([_numbered(n, line, metre) for n, line in enumerate(phrase, 1)], metre, *heard)


def plan_of(rhythm: Rhythm_, metre: Metre) -> Plan:
    """A given rhythm as a plan: bars with the same rhythm share a letter; there is no particular shape.

    A bar in which no note starts is `z`, which answers no other.
    """
    bars: list[list[tuple[int, int]]] = [[] for _ in range(rhythm[-1][0] // metre.bar + 1)]
    for onset, length in rhythm:
        bars[onset // metre.bar].append((onset % metre.bar, length))
    letters: dict[tuple[tuple[int, int], ...], str] = {(): "z"}
    named = tuple(letters.setdefault(tuple(bar), f"a{len(letters)}") for bar in bars)
    return Plan(rhythm, named, (0,) * len(rhythm), next(iter(_pack().shapes.values())))


def _scored(
    lines: Sequence[Phrase], metre: Metre, scale: tuple[int, Home], reach: tuple[int, int]
) -> tuple[MelodyScore, ...]:
    """The scores of checked lines, those of one rhythm found together."""
    by_rhythm: dict[Rhythm_, list[int]] = {}
    for number, line in enumerate(lines):
        by_rhythm.setdefault(tuple((note.onset, note.length) for note in line), []).append(number)
    found: dict[int, MelodyScore] = {}
    notes, home = scale
    for rhythm, numbers in by_rhythm.items():
        bare = (Place(strong=False, length=0, before_rest=False, chord=0, root=0, passing=notes),)
        size = len(rhythm)
        plan, homes = plan_of(rhythm, metre), (home,) * size
        context = ScoreContext(plan, bare * size, Timeline(metre), *reach, metre=metre, homes=homes)
        pitches = np.array([[note.midi for note in lines[number]] for number in numbers], dtype=np.int16)
        found.update(zip(numbers, _heard(pitches, context), strict=True))
    return tuple(found[number] for number in range(len(lines)))


def _heard(pitches: Pitches, context: ScoreContext) -> list[MelodyScore]:
    """The scores of lines of one rhythm, given as rows of pitches; each is held to the shape that it follows best."""
    heard = terms(pitches, context, [name for name in MELODY_TERMS if name != "shape"])
    heard["shape"] = in_shape(follows(pitches, list(_pack().shapes.values()), context.times).max(axis=1))
    rounded = {name: np.round(heard[name], _DECIMALS) for name in MELODY_TERMS}
    scores = total(rounded, _pack().weights)
    rows = zip(*(values.tolist() for values in rounded.values()), strict=True)
    return [
        MelodyScore(score, dict(zip(MELODY_TERMS, row, strict=True)))
        for score, row in zip(scores.tolist(), rows, strict=True)
    ]


@lru_cache(maxsize=1)
def _pack() -> RulePack:
    """The built-in tables: shapes, weights and the range of a level."""
    return RulePack()


# What comes from outside


def _line(given: object, metre: Metre) -> Phrase:
    """A line read and checked; PhraseError with its place."""
    line = parse_phrase(given, metre) if isinstance(given, str) else given
    if not isinstance(line, Sequence) or not all(isinstance(note, Note) for note in line):
        hint = "Give phrase text such as 'F5q. Eb5e D5h', or a tuple of Note."
        raise PhraseError(f"not a line of notes: {shorten(str(given))}", hint=hint)
    check_line(tuple(line), metre)
    bars = -(-line[-1].end // metre.bar)
    if bars > MOST_BARS:
        raise PhraseError(f"the line has {bars} bars; the limit is {MOST_BARS}", hint="Score it in parts.")
    return tuple(line)


def _numbered(number: int, given: object, metre: Metre) -> Phrase:
    """A line among many, whose number precedes the place of an error."""
    try:
        return _line(given, metre)
    except PhraseError as error:
        raise error.within(f"line {number}") from None


def _scale(key: str | Key | Collection[int]) -> tuple[int, Home]:
    """The notes of a key as bits, the raised seventh of a minor one among them, and its home; OptionError if none."""
    key = read_key(key) if isinstance(key, str) else key
    if isinstance(key, Key):
        raised = (key.tonic.pitch_class + 11) % 12
        notes = (*(name.pitch_class for name in key.scale), *([raised] if key.mode == "minor" else []))
        return mask_of(notes), home_of(key)
    if not key or not all(pitch_class in range(12) for pitch_class in key):
        hint = "C is 0, B is 11; E dorian is {4, 6, 7, 9, 11, 1, 2}."
        raise OptionError("a scale needs at least one pitch class from 0 to 11", hint=hint)
    return mask_of(key), home_in(mask_of(key))


def _range(low: str | int | None, high: str | int | None) -> tuple[int, int]:
    """The given range, completed by that of a level; OptionError if it is impossible."""
    level = _pack().level(_LEVEL)
    lowest = level.low if low is None else pitch_of(low, "the lowest note")
    highest = level.high if high is None else pitch_of(high, "the highest note")
    if lowest > highest:
        hint = "Give both ends of the range, the lower one first."
        raise OptionError(f"the lowest note {lowest} is above the highest, {highest}", hint=hint)
    return lowest, highest
