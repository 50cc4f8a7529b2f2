"""The command `sequences`."""

from __future__ import annotations

from typing import Annotated

from fillgen.app.contents import SEQUENCES, sequences_content
from fillgen.app.formats import Content, targets_of
from fillgen.app.options import ChordOptions, Option, OutputOptions, SequenceOptions, SheetOptions
from fillgen.app.sequences import found_sequences
from fillgen.cli.inputs import explained_progression_of
from fillgen.cli.outputs import answer, check_printed, width_of
from fillgen.cli.signature import OF_PHRASES, grouped

CHANGES = Option(("--changes",), "Richer chords for a sequence or chart, with reasons.", metavar="NAME|CHART")


@grouped(
    without=("audio", "soundfont", "voices", *OF_PHRASES, "fingers"), defaults={"title": "Chord sequences"}
)
def sequences(
    *,
    options: SequenceOptions,
    changes: Annotated[str | None, CHANGES] = None,
    output: OutputOptions,
    look: SheetOptions,
) -> None:
    """Chord sequences for intros, turnarounds, endings and vamps, in any key.

    As .pdf, .html or .svg they are a handout: block chords on a staff, each sequence with its purpose.
    """
    check_printed(output)
    targets = targets_of(output, SEQUENCES if changes is None else ("text",), look)
    width = width_of(targets)
    content = (
        sequences_content(found_sequences(options), look, width=width)
        if changes is None
        else _changes(changes, options, width)
    )
    answer(content, targets, output)


def _changes(source: str, options: SequenceOptions, width: int) -> Content:
    """Richer chords for a chart or a stock sequence, with reasons."""
    from fillgen.writers.sequences import proposals_text

    is_chart = "|" in source
    chords = ChordOptions(
        chart=source if is_chart else None,
        sequence=None if is_chart else source,
        key=options.key,
        metre=options.metre,
        sevenths=options.sevenths,
    )
    found = explained_progression_of(chords)
    return Content(text=lambda: proposals_text(found, width=width))
