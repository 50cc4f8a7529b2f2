"""Music for handouts: chords held and notes in a row, as scores and as pictures with a description."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fillgen.chart.progression import Progression
from fillgen.theory.metre import METRES, TICKS
from fillgen.theory.pitch import C_MAJOR
from fillgen.writers.engraver import UNITS, bar_widths, engraved
from fillgen.writers.layout import Picture
from fillgen.writers.mei import to_mei
from fillgen.writers.notation import Chunk, Score, ScoreBar, ScoreStaff, ScoreSymbol, Symbol, ids_of, written
from fillgen.writers.sheet import drawn


@dataclass(frozen=True, slots=True)
class Written:
    """A note or a chord of a row: scientific names, fingers (one for each name, or none), the word below, the head."""

    names: tuple[str, ...]
    fingers: tuple[int, ...] = ()
    below: str = ""
    head: str = ""


def free_score(name: str, heading: str, bars: Sequence[tuple[str, Sequence[Written]]]) -> Score:
    """Bars without a metre, in the treble clef and without a key signature, so that each note has its own sign.

    Each bar has the letter of its notes' length, `w` or `q`, and its notes.
    """
    ticks = {"w": 4 * TICKS, "q": TICKS}
    chunks, lengths = [], []
    at = 0
    for letter, row in bars:
        lengths.append(ticks[letter] * len(row))
        for each in row:
            chunks.append(Chunk(at, ticks[letter], each.names))
            at += ticks[letter]
    lines = _free_line(chunks, lengths)
    every = [each for _, row in bars for each in row]
    staves = _with_marks(lines, ids_of(lines, f"{name}-n"), every)
    made = [
        ScoreBar(number, length, (tuple(line),))
        for number, (length, line) in enumerate(zip(lengths, staves, strict=True), 1)
    ]
    return Score(name, METRES["4/4"], C_MAJOR, tuple(made), heading, free=True)


def _free_line(chunks: Sequence[Chunk], lengths: Sequence[int]) -> list[list[Symbol]]:
    """Symbols whose lengths are never split: each note is spelled in a bar of its own length."""
    return written(chunks, METRES["4/4"], C_MAJOR, lengths)


def _with_marks(
    lines: Sequence[Sequence[Symbol]], ids: Sequence[Sequence[str]], every: Sequence[Written]
) -> list[list[ScoreSymbol]]:
    """Symbols with the fingers, words and heads of what they write; a symbol that is tied from another has none."""
    marks = iter(every)
    found = []
    for line, row in zip(lines, ids, strict=True):
        made = []
        for symbol, name in zip(line, row, strict=True):
            if symbol.is_rest or symbol.tied_from:
                made.append(ScoreSymbol(symbol, name))
            else:
                each = next(marks)
                made.append(ScoreSymbol(symbol, name, each.fingers, each.below, head=each.head))
        found.append(made)
    return found


_WIDER = (1.0, 1.15, 1.3, 1.5, 1.75, 2.0)
"""How much wider a line may be engraved before it is made smaller to fit."""


def free_picture(score: Score, pixels: int, described: str) -> Picture:
    """Bars without a metre on one line that is made to fit `pixels`: where there are many notes they are smaller."""
    text = to_mei([score])
    for more in _WIDER:
        (drawing,) = engraved(text, score.id, int(pixels * UNITS * more), whole=True)
        if len(bar_widths(drawing)) == 1:
            break
    return Picture(drawing, score.heading, described)


def pictures(score: Score, pixels: int, described: str) -> list[Picture]:
    """A score in lines of four bars or two, as wide as `pixels`."""
    found = drawn(score, int(pixels * UNITS))
    return [Picture(drawing, score.heading or "Chords", described) for drawing in found]


def metred_score(
    name: str, heading: str, progression: Progression, chords: Sequence[Written | None]
) -> Score:
    """The chords of a progression, each as long as it lasts, in the bass clef; None leaves a rest."""
    bars = range(len(progression.bars))
    lengths, metres = [progression.size_of(n) for n in bars], [progression.metre_of(n) for n in bars]
    pairs = [
        (span, chord) for span, chord in zip(progression.spans, chords, strict=True) if chord is not None
    ]
    chunks = [Chunk(span.onset, span.length, chord.names) for span, chord in pairs]
    lines = written(chunks, metres, progression.key, lengths)
    staves = _with_marks(lines, ids_of(lines, f"{name}-n"), [chord for _, chord in pairs])
    sections = dict(progression.sections)
    made = [
        ScoreBar(
            progression.first + n,
            lengths[n],
            (tuple(staves[n]),),
            tuple((progression.inside(span.onset), span.chord) for span in progression.bars[n]),
            sections.get(n, ""),
            metres[n],
        )
        for n in bars
    ]
    return Score(
        name, progression.metre, progression.key, tuple(made), heading, staves=(ScoreStaff("left", "F"),)
    )
