"""The command `sequences`."""

from __future__ import annotations

from typing import Annotated

from fillgen.app.contents import document_text
from fillgen.app.formats import Content, targets_of
from fillgen.app.options import ChordOptions, Option, OutputOptions, SequenceOptions
from fillgen.app.sequences import found_sequences
from fillgen.cli.inputs import explained_progression_of
from fillgen.cli.outputs import answer, check_printed, width_of
from fillgen.cli.signature import grouped

CHANGES = Option(("--changes",), "Richer chords for a sequence or chart, with reasons.", metavar="NAME|CHART")


@grouped(without=("audio", "soundfont"))
def sequences(
    *,
    options: SequenceOptions,
    changes: Annotated[str | None, CHANGES] = None,
    output: OutputOptions,
) -> None:
    """Chord sequences for intros, turnarounds, endings and vamps, in any key."""
    check_printed(output)
    targets = targets_of(output, ("text", "json") if changes is None else ("text",))
    width = width_of(targets)
    answer(_listed(options, width) if changes is None else _changes(changes, options, width), targets, output)


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


def _listed(options: SequenceOptions, width: int) -> Content:
    """The stock sequences that are like what is asked for."""
    from fillgen.writers.sequences import sequences_document, sequences_text

    listed = found_sequences(options)
    return Content(
        text=lambda: sequences_text(listed.found, listed.key, listed.played, listed.goal, width=width),
        json=lambda: document_text(sequences_document(listed.found, listed.key, listed.played)),
    )
