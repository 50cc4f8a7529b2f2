"""The command `voicings`."""

from __future__ import annotations

from typing import Annotated

from fillgen.app.contents import VOICINGS, voicings_content
from fillgen.app.formats import targets_of
from fillgen.app.options import (
    OPTIONS,
    ChordOptions,
    IdeaOptions,
    Option,
    OutputOptions,
    PlayOptions,
    SheetOptions,
)
from fillgen.cli.inputs import explained_progression_of
from fillgen.cli.outputs import answer, check_printed, width_of
from fillgen.cli.signature import OF_PHRASES, grouped
from fillgen.errors import OptionError
from fillgen.hands.playing import span_of
from fillgen.rules.pack import RulePack
from fillgen.theory.pitch import pitch_of

_MOST_PATHS = 20
COUNT = Option(("--count", "-n"), f"How many ways through the chart, 1 to {_MOST_PATHS}.", int)
LOW = Option(("--low",), "Lowest key.")
HIGH = Option(("--high",), "Highest key.")
THIN = Option(("--thin",), "At most three keys, for small hands; the fifth goes first.", bool)
SPREAD = Option(("--spread",), "Open voicings too, up to a tenth.", bool)


@grouped(
    without=("audio", *OF_PHRASES),
    defaults={
        "hand": "fingers of a medium hand",
        "metre": "4/4",
        "tempo": "that of the usual rhythm of the metre",
    },
)
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
    tempo: Annotated[int | None, OPTIONS[IdeaOptions]["tempo"]] = None,
    output: OutputOptions,
    look: SheetOptions,
) -> None:
    """Left-hand inversions that move least from chord to chord, with a small keyboard for each.

    As .pdf, .html or .svg it is a handout on a bass staff, with fingers; in .mid and .wav the ways are played as block chords,
    one after another.
    """
    from fillgen.engine.request import check_tempo
    from fillgen.hands.voicing import Hand, best_paths

    check_printed(output)
    targets = targets_of(output, VOICINGS, look)
    lowest, highest = pitch_of(low, "the lowest key"), pitch_of(high, "the highest key")
    if lowest > highest:
        raise OptionError(f"the lowest key {low} is above the highest key {high}")
    if not 1 <= count <= _MOST_PATHS:
        raise OptionError(f"the count is {count}", hint=f"Give 1 to {_MOST_PATHS}.")
    if tempo is not None:
        check_tempo(tempo)
    found = explained_progression_of(chords)
    paths = best_paths(found, Hand(lowest, highest, span_of(span, hand), thin, spread), count)
    usual = RulePack().rhythm(RulePack().usual_rhythm(found)).tempo
    content = voicings_content(found, paths, usual if tempo is None else tempo, look, width=width_of(targets))
    answer(content, targets, output)
