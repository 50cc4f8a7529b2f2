"""The command `voicings`."""

from __future__ import annotations

from typing import Annotated

import typer

import fillgen
from fillgen.cli.inputs import chart_text, pitch_of, span_of
from fillgen.cli.options import (
    Chart,
    Format,
    FormatOption,
    KeyOption,
    MetreOption,
)
from fillgen.cli.outputs import (
    json_text,
)
from fillgen.errors import OptionError


def voicings(
    chart: Chart,
    count: Annotated[
        int, typer.Option("--count", "-n", help="How many ways through the chart, 1 to 20.")
    ] = 3,
    key: KeyOption = None,
    metre: MetreOption = None,
    span: Annotated[
        int | None,
        typer.Option(
            "--span",
            help="How far the hand reaches, in semitones; 12 is an octave. [default: 12, for a small hand 9]",
        ),
    ] = None,
    size: Annotated[
        str | None, typer.Option("--hand", help="Size of hand: small, medium or large. It bounds the span.")
    ] = None,
    low: Annotated[str, typer.Option("--low", help="Lowest key.")] = "C3",
    high: Annotated[str, typer.Option("--high", help="Highest key.")] = "E4",
    thin: Annotated[
        bool, typer.Option("--thin", help="Three keys at most, for small hands: the fifth is left out first.")
    ] = False,
    spread: Annotated[bool, typer.Option("--spread", help="Spread forms as well, up to a tenth.")] = False,
    format_: FormatOption = None,
) -> None:
    """Left-hand inversions that move least from chord to chord, with a small keyboard for each."""
    from fillgen.hands.voicing import Hand, best_paths
    from fillgen.writers.voicings import voicings_document, voicings_text

    if pitch_of(low, "--low") > pitch_of(high, "--high"):
        raise OptionError(f"the lowest key {low} lies above the highest, {high}")
    if not 1 <= count <= _MOST_PATHS:
        raise OptionError(f"the count is {count}", hint=f"Ask for 1 to {_MOST_PATHS} ways.")
    progression = fillgen.parse_chart(chart_text(chart), key=key, metre=metre)
    hand = Hand(pitch_of(low, "--low"), pitch_of(high, "--high"), span_of(span, size), thin, spread)
    paths = best_paths(progression, hand, count)
    if format_ is Format.json:
        typer.echo(json_text(voicings_document(progression, paths)))
    else:
        typer.echo(voicings_text(progression, paths).rstrip())


_MOST_PATHS = 20
