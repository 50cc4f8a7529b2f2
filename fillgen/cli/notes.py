"""The command `notes`."""

from __future__ import annotations

from typing import Annotated

import typer

import fillgen
from fillgen.cli.inputs import chart_text
from fillgen.cli.options import (
    Chart,
    FormatOption,
    KeyOption,
    MetreOption,
)
from fillgen.cli.outputs import HTML, JSON, SVG, TEXT, json_text, put_out, target_of


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
    from fillgen.writers import notes as told

    target = target_of(output, format_, {".html": HTML, ".svg": SVG, ".txt": TEXT, ".json": JSON})
    progression = fillgen.parse_chart(chart_text(chart), key=key, metre=metre)
    if target == HTML:
        answer = told.notes_html(progression, dorian_sixth=dorian_sixth)
    elif target == SVG:
        answer = told.notes_svg(progression, dorian_sixth=dorian_sixth)
    elif target == JSON:
        answer = json_text(told.notes_document(progression, dorian_sixth=dorian_sixth))
    else:
        answer = told.notes_text(progression, dorian_sixth=dorian_sixth)
    put_out(answer, output, overwrite)
