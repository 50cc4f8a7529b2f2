"""Which notes fit each chord: as text and as plain dictionaries."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from fillgen.chart.progression import Progression
from fillgen.errors import listed
from fillgen.teaching.notefit import (
    NOTE_KINDS,
    ChordNotes,
    NoteFit,
    Recurring,
    chord_notes,
    recurring,
)
from fillgen.writers.document import chart_document
from fillgen.writers.lines import TEXT_WIDTH, wrapped
from fillgen.writers.text import chart_heading

_INDENT = " " * 4
_KIND_WIDTH = max(map(len, NOTE_KINDS)) + 2
_WHAT = "Which notes fit each chord, and why"


# What all formats have in common


def bars_of(runs: Sequence[tuple[int, int]], first: int = 1) -> str:
    """Runs of bars in words, each from its first bar to its last; `first` is the number of the chart's first bar.

    >>> bars_of([(1, 2), (4, 4)]), bars_of([(3, 3)]), bars_of([(1, 1), (3, 3)], 0)
    ('bars 1 to 2 and 4', 'bar 3', 'bars 0 and 2')
    """
    shown = [(start - 1 + first, end - 1 + first) for start, end in runs]
    words = [str(start) if start == end else f"{start} to {end}" for start, end in shown]
    is_one = len(shown) == 1 and shown[0][0] == shown[0][1]
    return f"{'bar' if is_one else 'bars'} {listed(words, 'and')}"


def _symbol(chord: ChordNotes) -> str:
    """The symbol of a chord as in the chart; for N.C. with the chord still heard."""
    symbol = chord.span.chord.symbol
    return f"{symbol} ({chord.heard.symbol})" if chord.remark else symbol


def tone_names(chord: ChordNotes) -> str:
    """The names of the chord tones in a row."""
    return " ".join(str(tone.name) for tone in chord.tones)


def _into(chord: ChordNotes) -> list[str]:
    """What stays and what moves into the next chord, a sentence each; nothing for the last chord."""
    words = [shared.words for shared in chord.common] + [way.words for way in chord.ways]
    return [f"{sentence}." for sentence in words]


# Text


def notes_text(progression: Progression, *, dorian_sixth: bool = False, width: int = TEXT_WIDTH) -> str:
    """All chords as text of about `width` characters: their notes by kind, each with its degree and the reason.

    A chord that returns is listed once, with all its bars and the ways into each chord after it.

    `dorian_sixth` is as for `fillgen.teaching.notefit.note_fits`.

    >>> from fillgen.chart.text import parse_chart
    >>> print(notes_text(parse_chart("| C | Csus4 |"), width=80).split("passes")[0])
    C major, 4/4
    Which notes fit each chord, and why
    <BLANKLINE>
    bar 1  C: C E G
        chord tone     C   1    C is the root of C: it can fall on any beat and stay.
                       E   3    E is the third of C: it can fall on any beat and stay.
                       G   5    G is the fifth of C: it can fall on any beat and stay.
    """
    blocks = [f"{wrapped(chart_heading(progression), width)}\n{_WHAT}"]
    every = recurring(chord_notes(progression, dorian_sixth=dorian_sixth))
    blocks += [_block(chord, width) for chord in every]
    return "\n\n".join(blocks) + "\n"


def _block(each: Recurring, width: int) -> str:
    chord = each.notes
    remark = f" ({chord.remark})" if chord.remark else ""
    head = f"{bars_of(each.bars)}  {chord.span.chord.symbol}: {tone_names(chord)}{remark}"
    lines = textwrap.wrap(head, width, subsequent_indent=_INDENT)
    for kind in NOTE_KINDS:
        lines += _listed(kind, [_line(fit) for fit in chord.of_kind(kind)] or [("", "none")], width)
    for place in each.onward:
        assert place.following is not None
        lines += _listed(f"into {place.following.symbol}", [("", words) for words in _into(place)], width)
    return "\n".join(lines)


def _line(fit: NoteFit) -> tuple[str, str]:
    return f"{fit.name!s:<4}{fit.degree:<5}", fit.reason


def _listed(head: str, rows: Sequence[tuple[str, str]], width: int) -> list[str]:
    """Rows with a head in front of the first; a head too long for its column goes on a line of its own."""
    first = f"{_INDENT}{head:<{_KIND_WIDTH}}"
    later = _INDENT + " " * _KIND_WIDTH
    lines = [first.rstrip()] if len(head) >= _KIND_WIDTH else []
    for index, (label, words) in enumerate(rows):
        start = (first if index == 0 and not lines else later) + label
        room = max(width, len(start) + 30)
        lines += textwrap.wrap(words, room, initial_indent=start, subsequent_indent=" " * len(start))
    return lines


# Plain dictionaries


def notes_document(
    progression: Progression, *, dorian_sixth: bool = False, tempo: int = 120
) -> dict[str, Any]:
    """All chords as plain dictionaries and lists, with keys that other programs may rely on.

    `tempo` is in quarter notes a minute; `semitones` of a way is positive upwards. The notes are those of `heard`, which
    under N.C. is the chord before.

    >>> from fillgen.chart.text import parse_chart
    >>> first, _ = notes_document(parse_chart("| G7 | C |"))["chords"]
    >>> first["tones"][0], first["ways"][0]["words"]
    ({'name': 'G', 'degree': '1'}, 'B goes up a half step to C')
    """
    return {
        "chart": chart_document(progression, tempo),
        "chords": [_chord(chord) for chord in chord_notes(progression, dorian_sixth=dorian_sixth)],
    }


def _chord(chord: ChordNotes) -> dict[str, Any]:
    return {
        "bar": chord.bar,
        "through": chord.through,
        "symbol": chord.span.chord.symbol,
        "key": str(chord.span.key),
        "heard": chord.heard.symbol,
        "remark": chord.remark,
        "tones": [{"name": str(tone.name), "degree": tone.degree.text} for tone in chord.tones],
        "notes": [_note(fit) for fit in chord.fits],
        "into": chord.following.symbol if chord.following else None,
        "common": [
            {"name": str(shared.tone.name), "becomes": str(shared.becomes.name), "words": shared.words}
            for shared in chord.common
        ],
        "ways": [
            {
                "from": str(way.tone.name),
                "to": str(way.goal.name),
                "semitones": way.rise,
                "words": way.words,
            }
            for way in chord.ways
        ],
    }


def _note(fit: NoteFit) -> dict[str, str]:
    return {"name": str(fit.name), "degree": fit.degree, "kind": fit.kind, "reason": fit.reason}
