"""The command `notes`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import fillgen
from fillgen.cli.inputs import chart_text
from fillgen.cli.options import (
    Chart,
    Format,
    FormatOption,
    KeyOption,
    MetreOption,
)
from fillgen.cli.outputs import (
    ENDINGS,
    json_text,
)
from fillgen.errors import OptionError, shorten


def notes(
    chart: Chart,
    key: KeyOption = None,
    metre: MetreOption = None,
    dorian_sixth: Annotated[
        bool,
        typer.Option("--dorian-sixth", help="Leave the sixth over ii7 quickly as well, as some teachers do."),
    ] = False,
    format_: FormatOption = None,
    output: Annotated[
        str | None,
        typer.Option(
            "--output", "-o", help="Write to a file instead: .html a page, .svg a picture, .txt, .json."
        ),
    ] = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace a file that exists already.")
    ] = False,
) -> None:
    """Which notes fit each chord and why, and the nearest way into the next chord."""
    from fillgen.render import notes as told
    from fillgen.render.files import write_file

    ending = Path(output).suffix.lower() if output is not None else ""
    if output is not None and ending not in {".html", ".svg", ".txt", ".json"}:
        raise OptionError(
            f"cannot tell what to write to {shorten(output)}", hint="Use .html, .svg, .txt or .json."
        )
    if output is not None and format_ is not None and ENDINGS.get(ending) != format_.value:
        raise OptionError(f"--format {format_.value} does not go with {shorten(output)}")
    progression = fillgen.parse_chart(chart_text(chart), key=key, metre=metre)
    if ending == ".html":
        answer = told.notes_html(progression, dorian_sixth=dorian_sixth)
    elif ending == ".svg":
        answer = told.notes_svg(progression, dorian_sixth=dorian_sixth)
    elif ending == ".json" or format_ is Format.json:
        answer = json_text(told.notes_document(progression, dorian_sixth=dorian_sixth))
    else:
        answer = told.notes_text(progression, dorian_sixth=dorian_sixth)
    if output is None:
        typer.echo(answer.rstrip())
    else:
        write_file(Path(output), f"{answer.rstrip()}\n".encode(), overwrite=overwrite)
        typer.echo(f"written to {output}", err=True)
