"""The left hand's ways through a chart as a handout: on a bass staff in the order of the chart, and on the keys."""

from __future__ import annotations

from collections.abc import Sequence

from fillgen.chart.progression import Progression
from fillgen.errors import many
from fillgen.hands.grip import chord_fingers
from fillgen.hands.voicing import Voicing, VoicingPath
from fillgen.theory.pitch import is_black
from fillgen.writers.handout import Handout, titled
from fillgen.writers.handouts.staves import Written, metred_score, pictures
from fillgen.writers.keys import DOT, KeyMark, keys_drawing
from fillgen.writers.layout import PAGE_PIXELS, Cell, Picture, Row, Words, column_pixels, in_rows
from fillgen.writers.look import PAPERS, USUAL, SheetOptions
from fillgen.writers.mei import signed
from fillgen.writers.notation import Score

_WHAT = "The left hand"
_COLUMNS, _FEWER_COLUMNS = 4, 3
_MOST_WHITE_KEYS = 9
"""White keys of a keyboard that is large enough in the narrower column."""
_MOST_BARS = 8
"""Bars of a chart that has fingers on the staff as well; a longer one has them on the keys alone, for room."""
_HOW = (
    "Left hand, least movement first: on the staff in the order of the chart, then each chord once on the keys. "
    "A full dot is a key to hold, the number in it the finger; 5 is the little finger, 1 the thumb."
)


def voicings_handout(
    progression: Progression, paths: Sequence[VoicingPath], look: SheetOptions = USUAL
) -> Handout:
    """Each way through a progression: its staff with fingers, and a keyboard for each chord and position, once.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.hands.voicing import best_paths
    >>> chart = parse_chart("| Ab | Fm | Bbm7 | Eb7 |")
    >>> [score.heading for score in voicings_handout(chart, best_paths(chart, count=2)).scores]
    ['Way 1: 8 half steps in all', 'Way 2: 14 half steps in all']
    """
    about = f"{signed(progression.keys_in_words)}, {progression.metres_in_words}. {_HOW}"
    rows = [Row(((Words(about),),), leads=True)]
    scores = []
    for rank, path in enumerate(paths, 1):
        score = _score(progression, path, rank, look)
        scores.append(score)
        rows += _way(score, path, look)
    return Handout(titled(look, progression.title, _WHAT), tuple(rows), tuple(scores))


def _score(progression: Progression, path: VoicingPath, rank: int, look: SheetOptions) -> Score:
    known: set[tuple[int, ...]] = set()
    has_fingers = look.is_fingered and len(progression.bars) <= _MOST_BARS
    chords = []
    for voicing in path.voicings:
        fresh = voicing is not None and has_fingers and voicing.pitches not in known
        if voicing is not None:
            known.add(voicing.pitches)
        fingers = chord_fingers(voicing.pitches, left=True) if voicing is not None and fresh else ()
        chords.append(None if voicing is None else Written(voicing.names, fingers))
    heading = f"Way {rank}: {many(path.movement, 'half step')} in all"
    return metred_score(f"way-{rank}", heading, progression, chords)


def _way(score: Score, path: VoicingPath, look: SheetOptions) -> list[Row]:
    """A way's heading with its staff, then its keyboards."""
    words = ", ".join(f"{signed(v.chord.symbol)}: {_names(v)}" for v in path.voicings if v is not None)
    staff = pictures(score, PAGE_PIXELS, f"{words}.")
    first = _first_places(path)
    low, high = _stretch(first)
    whites = sum(not is_black(midi) for midi in range(low, high + 1))
    most = _COLUMNS if whites <= _MOST_WHITE_KEYS else _FEWER_COLUMNS
    lines = max(1, -(-len(first) // most))
    columns = max(_FEWER_COLUMNS, -(-len(first) // lines))
    pixels = column_pixels(columns, PAPERS[look.paper])
    cells = [_card(voicing, (low, high), pixels, look) for voicing in first]
    return [Row(((Words(score.heading, 2), *staff),), leads=True), *in_rows(cells, columns)]


def _first_places(path: VoicingPath) -> list[Voicing]:
    """Each chord in each of its positions once, in the order in which they come first."""
    found: dict[tuple[str, tuple[int, ...]], Voicing] = {}
    for voicing in path.voicings:
        if voicing is not None:
            found.setdefault((voicing.chord.symbol, voicing.pitches), voicing)
    return list(found.values())


def _stretch(held: Sequence[Voicing]) -> tuple[int, int]:
    """The keys that a way needs, from a C or F up to a white key, so that the eye finds its place."""
    pitches = [midi for voicing in held for midi in voicing.pitches] or [48]
    low = next(midi for midi in range(min(pitches), -13, -1) if midi % 12 in (0, 5))
    return low, max(pitches) + is_black(max(pitches))


def _card(voicing: Voicing, ends: tuple[int, int], pixels: int, look: SheetOptions) -> Cell:
    fingers = chord_fingers(voicing.pitches, left=True) if look.is_fingered else ()
    shown = [str(finger) for finger in fingers] or [""] * len(voicing.pitches)
    marks = {
        midi: KeyMark(DOT, signed(str(tone.name)), finger)
        for midi, tone, finger in zip(voicing.pitches, voicing.tones, shown, strict=True)
    }
    symbol = signed(voicing.chord.symbol)
    described = ", ".join(
        f"{name}{f' finger {finger}' if finger else ''}"
        for name, finger in zip(voicing.names, shown, strict=True)
    )
    keys = keys_drawing(*ends, marks, room=pixels, octaves=True)
    said = f"{voicing.position}; {voicing.reason}" if voicing.reason else voicing.position
    return (Words(symbol, 3), Words(said), Picture(keys, f"Keys of {symbol}", f"{described}."))


def _names(voicing: Voicing) -> str:
    return " ".join(map(signed, voicing.names))
