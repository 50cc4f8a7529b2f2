"""The command `voicings`."""

from __future__ import annotations

from typing import Annotated

from fillgen.app.contents import document_text
from fillgen.app.formats import Content, targets_of
from fillgen.app.options import OPTIONS, ChordOptions, IdeaOptions, Option, OutputOptions, PlayOptions
from fillgen.cli.inputs import explained_progression_of
from fillgen.cli.outputs import answer, check_printed, width_of
from fillgen.cli.signature import grouped
from fillgen.errors import OptionError
from fillgen.hands.playing import span_of
from fillgen.theory.pitch import pitch_of

_MOST_PATHS = 20
COUNT = Option(("--count", "-n"), f"How many ways through the chart, 1 to {_MOST_PATHS}.", int)
LOW = Option(("--low",), "Lowest key.")
HIGH = Option(("--high",), "Highest key.")
THIN = Option(("--thin",), "Three keys at most, for small hands: the fifth is left out first.", bool)
SPREAD = Option(("--spread",), "Spread forms as well, up to a tenth.", bool)


@grouped(without=("audio", "soundfont"))
def voicings(
    *,
    chords: ChordOptions,
    count: Annotated[int, COUNT] = 3,
    span: Annotated[int | None, OPTIONS[PlayOptions]["span"]] = None,
    hand: Annotated[str | None, OPTIONS[IdeaOptions]["hand"]] = None,
    low: Annotated[str, LOW] = "C3",
    high: Annotated[str, HIGH] = "G4",
    thin: Annotated[bool, THIN] = False,
    spread: Annotated[bool, SPREAD] = False,
    output: OutputOptions,
) -> None:
    """Left-hand inversions that move least from chord to chord, with a small keyboard for each."""
    from fillgen.hands.voicing import Hand, best_paths
    from fillgen.writers.voicings import voicings_document, voicings_text

    check_printed(output)
    targets = targets_of(output, ("text", "json"))
    lowest, highest = pitch_of(low, "the lowest key"), pitch_of(high, "the highest key")
    if lowest > highest:
        raise OptionError(f"the lowest key {low} lies above the highest, {high}")
    if not 1 <= count <= _MOST_PATHS:
        raise OptionError(f"the count is {count}", hint=f"Ask for 1 to {_MOST_PATHS} ways.")
    found = explained_progression_of(chords)
    paths = best_paths(found, Hand(lowest, highest, span_of(span, hand), thin, spread), count)
    content = Content(
        text=lambda: voicings_text(found, paths, width=width_of(targets)),
        json=lambda: document_text(voicings_document(found, paths)),
    )
    answer(content, targets, output)
