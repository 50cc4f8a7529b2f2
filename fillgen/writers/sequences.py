"""Chord sequences as text and as JSON, and proposals that make a chart richer as text."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable
from typing import Any

from fillgen.chart.enrich import Proposal, proposals
from fillgen.chart.progression import Progression
from fillgen.chart.sequences import Sequence, spelled
from fillgen.chart.text import chart_text
from fillgen.errors import many
from fillgen.theory.chords import Chord
from fillgen.theory.pitch import Key, Name, key_on
from fillgen.writers.lines import TEXT_WIDTH
from fillgen.writers.text import bar_rows

LEADS = {"intro": "leads to", "turnaround": "leads to", "ending": "closes on", "vamp": "goes round to"}
"""What a sequence of each purpose does with the chord that follows."""


Played = Callable[[Sequence, Key], Progression]
"""Gives the chords of a sequence in a key."""


def sequences_text(
    found: Iterable[Sequence],
    key: Key | None = None,
    played: Played = spelled,
    goal: Chord | None = None,
    *,
    width: int = TEXT_WIDTH,
) -> str:
    """Sequences as text: the purpose of each, its numerals, its chords in a key, and what it does.

    The default key is C; a sequence of the other mode is shown in the key on the same tonic. `played` may change the
    chords, for sevenths or to lead to `goal`.

    >>> from fillgen.chart.sequences import sequence
    >>> print(sequences_text([sequence("plagal close")]))
    plagal close: ending in major, 2 bars of 4/4
      numerals  | IV | I |  closes on I
      C major   | F | C |  closes on C
      The amen: from IV to the tonic without a dominant, calm and final.
    """
    blocks = [_block(sequence, played(sequence, key_for(sequence, key)), goal, width) for sequence in found]
    return "\n\n".join(blocks) or "No such sequence."


def _block(sequence: Sequence, shown: Progression, goal: Chord | None, width: int) -> str:
    key, leads = shown.key, LEADS[sequence.purpose]
    to = goal or sequence.goal(key)
    bars = f"{many(sequence.bars, 'bar')} of {shown.metre.name}"
    is_led = goal is not None and shown.last != spelled(sequence, key, shown.metre).last
    numerals = [] if is_led else _chords("numerals", sequence.chords, f"{leads} {sequence.leads_to}", width)
    summary = f"Its last chord is changed so that it {leads} {to.symbol}." if is_led else sequence.says
    return "\n".join(
        [
            f"{sequence.name}: {sequence.purpose} in {sequence.mode}, {bars}",
            *numerals,
            *_chords(str(key), _bars(shown), f"{leads} {to.symbol}", width),
            _paragraph(summary, width),
        ]
    )


def _chords(head: str, bars: str, where: str, width: int) -> list[str]:
    """Bars with a head before them, and where they lead after them."""
    first, later = f"  {head:<8}  ", " " * 12
    rows = [row.strip() for row in bar_rows(bars, width - len(later))]
    together = f"{rows[-1]}  {where}"
    rows[-1:] = [together] if len(together) <= width - len(later) else [rows[-1], where]
    return [(first if number == 0 else later) + row for number, row in enumerate(rows)]


def key_for(sequence: Sequence, key: Key | None) -> Key:
    """The key in which a sequence is shown: the requested one, in the other mode on the same tonic; C by default."""
    return key_on(key.tonic if key else Name(0, 0), sequence.mode)


def _bars(progression: Progression) -> str:
    """The bars of a chart as text, without title, key and metre."""
    return chart_text(progression).splitlines()[-1]


def _paragraph(text: str, width: int) -> str:
    return textwrap.fill(text, width, initial_indent="  ", subsequent_indent="  ")


def sequences_document(
    found: Iterable[Sequence], key: Key | None = None, played: Played = spelled
) -> dict[str, Any]:
    """Sequences as plain dictionaries and lists, with their chords in a key as in `sequences_text`.

    >>> from fillgen.chart.sequences import sequence
    >>> sequences_document([sequence("one-bar close")])["sequences"][0]["chords"]
    [['G7', 'C']]
    """
    return {"sequences": [_row(sequence, played(sequence, key_for(sequence, key))) for sequence in found]}


def _row(sequence: Sequence, played: Progression) -> dict[str, Any]:
    key = played.key
    return {
        "name": sequence.name,
        "purpose": sequence.purpose,
        "mode": sequence.mode,
        "metre": sequence.metre.name,
        "bars": sequence.bars,
        "numerals": sequence.chords,
        "leads_to": {"numeral": sequence.leads_to, "chord": sequence.goal(key).symbol},
        "key": str(key),
        "chords": [[span.chord.symbol for span in bar] for bar in played.bars],
        "chart": _bars(played),
        "says": sequence.says,
        "source": sequence.source,
    }


def proposals_text(progression: Progression, *, width: int = TEXT_WIDTH) -> str:
    """Proposals that make a chart richer, a change at a time: where, what, why, and the changed chart.

    >>> from fillgen.chart.text import parse_chart
    >>> print(proposals_text(parse_chart("| G7sus4 | C6 |")))
    bar 1, G7sus4: Dm7 G7sus4 (two before five)
      Dm7 prepares G7sus4: they share D, F and C, its root falls a fifth, and its seventh, C, stays.
      | Dm7 G7sus4 | C6 |
    """
    blocks = [_proposal(proposal, width) for proposal in proposals(progression)]
    return "\n\n".join(blocks) or "Nothing to add to this chart."


def _proposal(proposal: Proposal, width: int) -> str:
    head = f"bar {proposal.bar}, {proposal.chord.symbol}: {proposal.symbol} ({proposal.kind})"
    return "\n".join(
        [head, _paragraph(proposal.reason, width), *bar_rows(_bars(proposal.progression), width, "  ")]
    )
