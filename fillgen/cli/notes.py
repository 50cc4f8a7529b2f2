"""The command `notes`."""

from __future__ import annotations

from typing import Annotated

from fillgen.app.contents import NOTES, notes_content
from fillgen.app.formats import targets_of
from fillgen.app.options import ChordOptions, Option, OutputOptions, SheetOptions
from fillgen.cli.inputs import explained_progression_of
from fillgen.cli.outputs import answer, check_printed, width_of
from fillgen.cli.signature import OF_PHRASES, grouped

DORIAN_SIXTH = Option(
    ("--dorian-sixth",), "Treat the sixth over ii7 as a note to leave quickly too, as some teachers do.", bool
)


@grouped(without=("audio", "soundfont", "voices", *OF_PHRASES), defaults={"metre": "4/4"})
def notes(
    *,
    chords: ChordOptions,
    dorian_sixth: Annotated[bool, DORIAN_SIXTH] = False,
    output: OutputOptions,
    look: SheetOptions,
) -> None:
    """Which notes fit each chord and why, and the nearest way into the next chord.

    As .pdf, .html or .svg it is a handout: each chord once, on a staff and on the keys.
    """
    check_printed(output)
    targets = targets_of(output, NOTES, look)
    found = explained_progression_of(chords)
    content = notes_content(found, look, dorian_sixth=dorian_sixth, width=width_of(targets))
    answer(content, targets, output)
