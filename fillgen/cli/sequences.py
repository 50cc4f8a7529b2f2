"""The command `sequences`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

import fillgen
from fillgen.cli.inputs import progression_of
from fillgen.cli.options import (
    Format,
    FormatOption,
    SeventhsOption,
)
from fillgen.cli.outputs import (
    json_text,
)
from fillgen.errors import OptionError

if TYPE_CHECKING:
    from fillgen.chart.sequences import Sequence as Stock
    from fillgen.theory.chords import Chord


def sequences(
    purpose: Annotated[
        str | None, typer.Option("--for", help="Only for an intro, turnaround, ending or vamp.")
    ] = None,
    key: Annotated[
        str | None, typer.Option("--key", help="Spell the chords in this key. [default: C, A minor]")
    ] = None,
    bars: Annotated[int | None, typer.Option("--bars", help="Only of so many bars.")] = None,
    metre: Annotated[
        str | None, typer.Option("--metre", help="Only such as can be played in this metre.")
    ] = None,
    to: Annotated[
        str | None,
        typer.Option("--to", help="The tune's first chord, such as Fm7: the last chord then leads there."),
    ] = None,
    sevenths: SeventhsOption = False,
    changes: Annotated[
        str | None,
        typer.Option(
            "--changes", metavar="NAME|CHART", help="Richer chords for a sequence or chart, with reasons."
        ),
    ] = None,
    format_: FormatOption = None,
) -> None:
    """Chord sequences for intros, turnarounds, endings and vamps, in any key."""
    from fillgen.chart.enrich import with_sevenths
    from fillgen.chart.sequences import find, spelled, to_chord
    from fillgen.theory.chords import read_chord
    from fillgen.theory.keys import read_key, read_metre
    from fillgen.writers.sequences import proposals_text, sequences_document, sequences_text

    wanted = read_key(key) if key is not None else None
    if changes is not None:
        by_name = "|" not in changes
        progression = progression_of(
            None if by_name else changes, changes if by_name else None, key, metre, sevenths
        )
        typer.echo(proposals_text(progression).rstrip())
        return
    found = find(
        purpose, wanted.mode if wanted else None, bars, read_metre(metre) if metre is not None else None
    )
    if not found:
        raise OptionError("no sequence is like that", hint="fillgen sequences lists them all.")
    goal = read_chord(to) if to is not None else None

    def played(stock: Stock, in_key: fillgen.Key) -> fillgen.Progression:
        shown = to_chord(stock, goal, wanted) if goal is not None else spelled(stock, in_key)
        return with_sevenths(shown) if sevenths else shown

    if goal is not None:
        found = tuple(stock for stock in found if _can_lead(stock, goal, wanted))
    if format_ is Format.json:
        typer.echo(json_text(sequences_document(found, wanted, played)))
    else:
        typer.echo(sequences_text(found, wanted, played, goal).rstrip())


def _can_lead(stock: Stock, goal: Chord, key: fillgen.Key | None) -> bool:
    """Whether a sequence can lead to a chord, or close on it."""
    from fillgen.chart.sequences import to_chord

    try:
        to_chord(stock, goal, key)
    except OptionError:
        return False
    return True
