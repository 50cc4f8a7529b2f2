"""The command `check`."""

from __future__ import annotations

from typing import Annotated

import typer

from fillgen.cli.checking import Wanted, check_target, tell_check
from fillgen.cli.inputs import pack_of, reading_of
from fillgen.cli.options import (
    Chart,
    EndsOnOption,
    FormatOption,
    HandOption,
    HighOption,
    KeyOption,
    LeadToOption,
    LowOption,
    MetreOption,
    OverwriteOption,
    PartOption,
    PhraseArgument,
    RhythmOption,
    RulesOption,
)


def check(
    chart: Chart,
    phrase: PhraseArgument,
    level: Annotated[
        str | None,
        typer.Option(
            "--level", help="1 to 5, or auto for the lowest at which the phrase is right. [default: 3]"
        ),
    ] = None,
    key: KeyOption = None,
    metre: MetreOption = None,
    part: PartOption = None,
    tempo: Annotated[
        int | None,
        typer.Option("--tempo", help="Quarter notes a minute. [default: the phrase's own, or 120]"),
    ] = None,
    rhythm: RhythmOption = None,
    hand: HandOption = None,
    low: LowOption = None,
    high: HighOption = None,
    ends_on: EndsOnOption = None,
    lead_to: LeadToOption = None,
    format_: FormatOption = None,
    output: Annotated[
        str | None, typer.Option("--output", "-o", help="Write to a file instead: .txt or .json.")
    ] = None,
    overwrite: OverwriteOption = False,
    rules: RulesOption = None,
) -> None:
    """What fits and what does not in a phrase of your own, note by note, and the smallest change that mends it.

    The exit code is 1 where a rule is broken.
    """
    target = check_target(output, format_)
    wanted = Wanted(level, tempo, rhythm, hand, low, high, ends_on, lead_to, pack_of(rules))
    tell_check(reading_of(chart, phrase, key, metre, part), wanted, target, output, overwrite)
