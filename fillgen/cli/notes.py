"""The command `notes`."""

from __future__ import annotations

from typing import Annotated

from fillgen.app.contents import document_text
from fillgen.app.formats import Content, as_file, targets_of
from fillgen.app.options import ChordOptions, Option, OutputOptions
from fillgen.cli.inputs import explained_progression_of
from fillgen.cli.outputs import answer, check_printed, width_of
from fillgen.cli.signature import grouped

DORIAN_SIXTH = Option(
    ("--dorian-sixth",), "Leave the sixth over ii7 quickly as well, as some teachers do.", bool
)


@grouped(without=("audio", "soundfont"))
def notes(
    *,
    chords: ChordOptions,
    dorian_sixth: Annotated[bool, DORIAN_SIXTH] = False,
    output: OutputOptions,
) -> None:
    """Which notes fit each chord and why, and the nearest way into the next chord."""
    from fillgen.writers.notes import notes_document, notes_html, notes_svg, notes_text

    check_printed(output)
    targets = targets_of(output, ("text", "json", "page", "picture"))
    found = explained_progression_of(chords)
    content = Content(
        text=lambda: notes_text(found, dorian_sixth=dorian_sixth, width=width_of(targets)),
        json=lambda: document_text(notes_document(found, dorian_sixth=dorian_sixth)),
        page=lambda: as_file(notes_html(found, dorian_sixth=dorian_sixth)),
        picture=lambda: as_file(notes_svg(found, dorian_sixth=dorian_sixth)),
    )
    answer(content, targets, output)
