"""The command `check`."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

import typer

from fillgen.cli.inputs import level_of, optional_pitch, pack_of, reading_of, words_of
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
from fillgen.cli.outputs import JSON, TEXT, json_text, put_out, target_of, width_of


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
    from fillgen.check import Settings, lowest_level
    from fillgen.check import check as checked
    from fillgen.fingering import reach
    from fillgen.render.checks import check_document, check_text

    target = target_of(output, format_, {".txt": TEXT, ".json": JSON})
    pack = pack_of(rules)
    reading = reading_of(chart, phrase, key, metre, part)
    settings = Settings(
        tempo=tempo if tempo is not None else reading.tempo,
        hand=reach(hand) if hand is not None else None,
        ends_on=words_of(ends_on),
        whole=reading.whole,
        lead_to=optional_pitch(lead_to, "--lead-to"),
        low=optional_pitch(low, "--low"),
        high=optional_pitch(high, "--high"),
        swings=pack.rhythm(rhythm).swing if rhythm is not None else reading.swings,
    )
    if level == "auto":
        lowest = lowest_level(reading.progression, reading.notes, pack, settings)
        number = max(pack.level_numbers) if lowest is None else lowest
    else:
        number = level_of(level, pack)
    report = checked(reading.progression, reading.notes, pack.level(number), settings, pack=pack)
    report = replace(report, reading=reading.remarks)
    answer = json_text(check_document(report)) if target == JSON else check_text(report, width_of())
    put_out(answer, output, overwrite)
    if not report.right:
        raise typer.Exit(1)
