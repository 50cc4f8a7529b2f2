"""The sopranos of Bach chorales over the chords that analysts gave them, read from the installed music21 package.

The scores and the RomanText analyses (by A. Jones, D. Tymoczko and others) lie in the folder `bach` of music21's corpus and
are read there; the numbers are Riemenschneider's. Only 1 to 10 may be used: the others are kept apart for whoever judges the
program from outside.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from music21 import common, converter, corpus, roman

from fillgen import Note, Phrase, Progression
from fillgen.chart.progression import laid
from fillgen.theory.chords import Chord, Kind, kinds, make_chord
from fillgen.theory.metre import METRES, TICKS, Metre
from fillgen.theory.pitch import Key, Name

SCORES = {
    1: "bwv269",
    2: "bwv347",
    3: "bwv153.1",
    4: "bwv86.6",
    5: "bwv267",
    6: "bwv281",
    7: "bwv17.7",
    8: "bwv40.8",
    9: "bwv248.12-2",
    10: "bwv38.6",
}
"""The score of each chorale, by the BWV number that its analysis names."""
_WHOLE = {frozenset({0, 4, 10}): frozenset({0, 4, 7, 10}), frozenset({0, 11}): frozenset({0, 4, 7, 11})}
"""Numerals that music21 reads with tones left out (the Italian sixth, `bVII7[maj7]`), and the chords they stand for."""


@cache
def chorale(number: int) -> tuple[Progression, Phrase]:
    """The analysed chords of a chorale as a chart, and its soprano as a phrase; its pick-up stands at the end of a bar."""
    path = Path(common.getCorpusFilePath()) / "bach" / "choraleAnalyses" / f"riemenschneider{number:03}.rntxt"
    analysis = converter.parse(path, format="romanText")
    soprano = corpus.parse(f"bach/{SCORES[number]}").parts[0]
    metre = METRES[soprano.recurse().getElementsByClass("TimeSignature")[0].ratioString]
    first = soprano.getElementsByClass("Measure")[0]
    late = (metre.bar - _ticks(first.duration.quarterLength)) % metre.bar
    notes = _notes(soprano, late)
    bars = -(-notes[-1].end // metre.bar)
    numerals = list(analysis.recurse().getElementsByClass(roman.RomanNumeral))
    chords = [(late + _ticks(each.getOffsetInHierarchy(analysis)), _chord(each)) for each in numerals]
    own = numerals[0].key
    key = Key(_name(own.tonic.name), own.mode)
    return Progression(metre, key, laid(_bars(chords, metre, bars)), first=0 if late else 1), notes


def _ticks(quarters: Any) -> int:
    return round(float(quarters) * TICKS)


def _notes(soprano: Any, late: int) -> Phrase:
    """The notes of a part, ties joined and rests left out."""
    whole = soprano.stripTies().flatten().notes
    return tuple(
        Note(late + _ticks(each.offset), _ticks(each.duration.quarterLength), each.pitch.midi)
        for each in whole
    )


def _bars(chords: list[tuple[int, Chord]], metre: Metre, bars: int) -> list[list[tuple[Chord, int]]]:
    """Chords with their onsets as bars; the first chord is there from the start of its bar."""
    rows = []
    for start in range(0, bars * metre.bar, metre.bar):
        inside = [(onset, chord) for onset, chord in chords if start < onset < start + metre.bar]
        before = [chord for onset, chord in chords if onset <= start]
        cuts = [(start, (before or [chords[0][1]])[-1]), *inside]
        ends = [*(onset for onset, _ in cuts[1:]), start + metre.bar]
        rows.append([(chord, end - onset) for (onset, chord), end in zip(cuts, ends, strict=True)])
    return rows


def _name(text: str) -> Name:
    return Name.read(text.replace("-", "b"))


def _chord(numeral: Any) -> Chord:
    """A Roman numeral as a chord: the kind that has its pitch classes above its root."""
    root, bass = _name(numeral.root().name), _name(numeral.bass().name)
    above = frozenset((pitch.midi - numeral.root().midi) % 12 for pitch in numeral.pitches)
    return make_chord(root, _kind(_WHOLE.get(above, above)), bass)


def _kind(above: frozenset[int]) -> Kind:
    return next(each for each in kinds() if frozenset(d.semitones % 12 for d in each.sounding) == above)
