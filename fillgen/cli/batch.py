"""The command `batch`: ideas for a whole folder of charts."""

from __future__ import annotations

import os
import sys
from collections import Counter
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fillgen.cli.inputs import file_text, optional_pitch, pack_of, span_of, words_of
from fillgen.cli.options import (
    BusyOption,
    EndsOnOption,
    HandOption,
    HighOption,
    KeyOption,
    LevelOption,
    LowOption,
    MetreOption,
    OverwriteOption,
    RhythmOption,
    RulesOption,
    SeedOption,
    ShapeOption,
    TempoOption,
    beginning,
)
from fillgen.cli.playing import USUAL, playing_of
from fillgen.errors import FillgenError

if TYPE_CHECKING:
    from fillgen.batch import Outcome


class ResultFormat(StrEnum):
    """What the results are written as."""

    json = "json"
    text = "text"
    midi = "midi"


def batch(
    folder: Annotated[
        Path,
        typer.Argument(
            metavar="FOLDER", help="A folder of charts: .txt, .chart and .chords, sub-folders too."
        ),
    ],
    results: Annotated[
        Path,
        typer.Option(
            "--output", "-o", metavar="RESULTS", help="The folder for the results, made if missing."
        ),
    ],
    count: Annotated[int, typer.Option("--count", "-n", help="How many ideas a chart, 1 to 1000.")] = 50,
    seed: SeedOption = 0,
    key: KeyOption = None,
    metre: MetreOption = None,
    tempo: TempoOption = None,
    rhythm: RhythmOption = None,
    level: LevelOption = None,
    busy: BusyOption = None,
    shape: ShapeOption = None,
    low: LowOption = None,
    high: HighOption = None,
    purpose: Annotated[
        str | None,
        typer.Option(
            "--for",
            help="What they are for: intro, turnaround or ending.",
            autocompletion=beginning(lambda: ("intro", "turnaround", "ending")),
        ),
    ] = None,
    ends_on: EndsOnOption = None,
    hand: HandOption = None,
    format_: Annotated[
        ResultFormat, typer.Option("--format", help="What the results are written as.")
    ] = ResultFormat.json,
    jobs: Annotated[
        int | None, typer.Option("--jobs", "-j", help="How many charts at a time. [default: one a core]")
    ] = None,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Tell only what was refused.")] = False,
    overwrite: OverwriteOption = False,
    rules: RulesOption = None,
) -> None:
    """Ideas for every chart of a folder, one result file each, on all cores.

    Stopped or killed, the same command goes on where it was. Charts that cannot be read are told at the end, with
    exit code 2; the others are made all the same.
    """
    from fillgen.batch import Batch, Order
    from fillgen.chart.text import parse_chart
    from fillgen.engine.request import Request

    pack = pack_of(rules)
    request = Request(
        parse_chart("| I |", key=key or "C", metre=metre),
        count=count,
        seed=seed,
        level=level,
        rhythm=rhythm,
        tempo=tempo,
        busy=busy,
        shape=shape,
        low=optional_pitch(low, "--low"),
        high=optional_pitch(high, "--high"),
        purpose=purpose,
        ends_on=words_of(ends_on),
        hand=hand,
        pack=pack,
    )
    playing, _ = playing_of(None, purpose, None, rules, {**USUAL, "span": span_of(None, hand)})
    order = Order(request, key, metre, format_.value, playing)
    work = Batch(
        order, folder, results, file_text, jobs=cores() if jobs is None else jobs, overwrite=overwrite
    )
    refused: list[Outcome] = []
    states: Counter[str] = Counter()
    try:
        for outcome in _watched(work.outcomes(), len(work), quiet):
            states[outcome.state] += 1
            if outcome.state == "refused":
                refused.append(outcome)
    except KeyboardInterrupt:  # at the very beginning, or a second time
        work.stopped = True
    except FillgenError:
        if states:
            _tell(states, refused, quiet)
        raise
    _tell(states, refused, quiet or work.stopped)
    if work.stopped:
        done = f"{states['made'] + states['kept']:,} of {len(work):,}"
        typer.echo(f"fillgen: stopped; {done} are done. The same command goes on from here.", err=True)
        raise typer.Exit(130)
    if refused:
        raise typer.Exit(2)


def cores() -> int:
    """The cores that this process may use."""
    allowed = getattr(os, "sched_getaffinity", None)
    return len(allowed(0)) if allowed is not None else os.cpu_count() or 1


def _watched(outcomes: Iterator[Outcome], length: int, quiet: bool) -> Iterator[Outcome]:
    """The outcomes, with a bar that shows how far they are where standard error is a terminal."""
    if quiet or not sys.stderr.isatty():
        yield from outcomes
        return
    with typer.progressbar(length=length, label="charts", show_pos=True, file=sys.stderr) as bar:
        for outcome in outcomes:
            yield outcome
            bar.update(1)


def _tell(states: Counter[str], refused: list[Outcome], quiet: bool) -> None:
    """How many were made, how many were there, and each that was refused."""
    words = {"made": "written", "kept": "there already", "refused": "refused"}
    told = [f"{states[s]:,} {word}" for s, word in words.items() if states[s] or s == "made"]
    if refused or not quiet:
        typer.echo(f"{', '.join(told)}{':' if refused else '.'}", err=True)
    for outcome in sorted(refused, key=lambda outcome: outcome.name):
        typer.echo(f"  {outcome}", err=True)
