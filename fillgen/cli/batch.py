"""The command `batch`: ideas for a whole folder of charts."""

from __future__ import annotations

import os
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fillgen.app.options import (
    OPTIONS,
    RULES,
    ChordOptions,
    IdeaOptions,
    Option,
    OutputOptions,
    PlayOptions,
    SheetOptions,
)
from fillgen.cli.inputs import file_text, pack_of
from fillgen.cli.signature import grouped
from fillgen.errors import FillgenError

if TYPE_CHECKING:
    from fillgen.app.batch import Outcome

CHARTS = Option((), "A folder of charts: .txt, .chart and .chords, sub-folders too.", Path, metavar="FOLDER")
RESULTS = Option(("--output", "-o"), "The folder for the results, made if missing.", Path, metavar="RESULTS")
FORMAT = Option(("--format",), "The format of the results: json, txt, mid, pdf or another ending of -o.")
JOBS = Option(("--jobs", "-j"), "Charts made at the same time. [default: one per core]", int)
QUIET = Option(("--quiet", "-q"), "Report only charts that were refused.", bool)


@grouped(without=("chart", "sequence"))
def batch(
    *,
    folder: Annotated[Path, CHARTS],
    results: Annotated[Path, RESULTS],
    format_: Annotated[str, FORMAT] = "json",
    chords: ChordOptions,
    options: IdeaOptions,
    playing: PlayOptions,
    look: SheetOptions,
    jobs: Annotated[int | None, JOBS] = None,
    quiet: Annotated[bool, QUIET] = False,
    overwrite: Annotated[bool, OPTIONS[OutputOptions]["overwrite"]] = False,
    rules: Annotated[Path | None, RULES] = None,
) -> None:
    """Ideas for every chart of a folder, one result file each, on all cores.

    If it is stopped, run the same command to continue. Charts that can't be read are listed at the end, with exit
    code 2; the rest are still made.
    """
    from fillgen.app.batch import Batch, Order

    order = Order(options, pack_of(rules), chords, playing, look, form=format_)
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
        typer.echo(f"fillgen: stopped; {done} done. Run the same command to continue.", err=True)
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
    counts = [f"{states[s]:,} {word}" for s, word in words.items() if states[s] or s == "made"]
    if refused or not quiet:
        typer.echo(f"{', '.join(counts)}{':' if refused else '.'}", err=True)
    for outcome in sorted(refused, key=lambda outcome: outcome.name):
        typer.echo(f"  {outcome}", err=True)
