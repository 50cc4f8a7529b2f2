"""The command `sequences`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from fillgen.app.contents import document_text
from fillgen.app.formats import Content, targets_of
from fillgen.app.options import OPTIONS, ChordOptions, Option, OutputOptions
from fillgen.chart.progression import Progression
from fillgen.cli.inputs import progression_of
from fillgen.cli.outputs import answer, check_printed
from fillgen.cli.signature import grouped
from fillgen.errors import OptionError
from fillgen.theory.pitch import Key

if TYPE_CHECKING:
    from fillgen.chart.sequences import Sequence as Stock
    from fillgen.theory.chords import Chord

PURPOSE = Option(("--for",), "Only for an intro, turnaround, ending or vamp.")
KEY = Option(("--key",), "Spell the chords in this key. [default: C, A minor]")
BARS = Option(("--bars",), "Only with this many bars.", int)
METRE = Option(("--metre",), "Only those that can be played in this metre.")
TO = Option(("--to",), "The tune's first chord, such as Fm7: the last chord then leads there.")
CHANGES = Option(("--changes",), "Richer chords for a sequence or chart, with reasons.", metavar="NAME|CHART")


@grouped(without=("audio", "soundfont"))
def sequences(
    *,
    purpose: Annotated[str | None, PURPOSE] = None,
    key: Annotated[str | None, KEY] = None,
    bars: Annotated[int | None, BARS] = None,
    metre: Annotated[str | None, METRE] = None,
    to: Annotated[str | None, TO] = None,
    sevenths: Annotated[bool, OPTIONS[ChordOptions]["sevenths"]] = False,
    changes: Annotated[str | None, CHANGES] = None,
    output: OutputOptions,
) -> None:
    """Chord sequences for intros, turnarounds, endings and vamps, in any key."""
    check_printed(output)
    if changes is not None:
        by_name = "|" not in changes
        chords = ChordOptions(
            chart=None if by_name else changes,
            sequence=changes if by_name else None,
            key=key,
            metre=metre,
            sevenths=sevenths,
        )
        targets = targets_of(output, ("text",))
        answer(_changes(chords), targets, output)
        return
    targets = targets_of(output, ("text", "json"))
    answer(_listed(purpose, key, bars, metre, to, sevenths), targets, output)


def _changes(chords: ChordOptions) -> Content:
    """Richer chords for a progression, with reasons."""
    from fillgen.writers.sequences import proposals_text

    found = progression_of(chords)
    return Content(text=lambda: proposals_text(found))


def _listed(
    purpose: str | None, key: str | None, bars: int | None, metre: str | None, to: str | None, sevenths: bool
) -> Content:
    """The stock sequences that are like what is asked for, spelled in a key or led to a chord."""
    from fillgen.chart.enrich import with_sevenths
    from fillgen.chart.sequences import find, spelled, to_chord
    from fillgen.theory.chords import read_chord
    from fillgen.theory.keys import read_key, read_metre
    from fillgen.writers.sequences import sequences_document, sequences_text

    in_key = read_key(key) if key is not None else None
    mode, beat = in_key.mode if in_key else None, read_metre(metre) if metre is not None else None
    found = find(purpose, mode, bars, beat)
    if not found:
        raise OptionError("no sequence is like that", hint="fillgen sequences lists them all.")
    goal = read_chord(to) if to is not None else None

    def played(stock: Stock, key: Key) -> Progression:
        shown = to_chord(stock, goal, in_key) if goal is not None else spelled(stock, key)
        return with_sevenths(shown) if sevenths else shown

    if goal is not None:
        found = tuple(stock for stock in found if _can_lead(stock, goal, in_key))
    return Content(
        text=lambda: sequences_text(found, in_key, played, goal),
        json=lambda: document_text(sequences_document(found, in_key, played)),
    )


def _can_lead(stock: Stock, goal: Chord, key: Key | None) -> bool:
    """Whether a sequence can lead to a chord, or close on it."""
    from fillgen.chart.sequences import to_chord

    try:
        to_chord(stock, goal, key)
    except OptionError:
        return False
    return True
