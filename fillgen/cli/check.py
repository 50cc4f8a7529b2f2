"""The command `check`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fillgen.app.checking import report_on
from fillgen.app.contents import CHECKED, checked_content, look_of
from fillgen.app.formats import JSON, Target, targets_of
from fillgen.app.options import (
    FIRST_NOTE_ON,
    LAST,
    PART,
    PHRASE,
    RULES,
    BookOptions,
    CheckOptions,
    ChordOptions,
    Option,
    OutputOptions,
    PlayOptions,
    SheetOptions,
)
from fillgen.cli.inputs import hints_of, own_phrase, pack_of
from fillgen.cli.outputs import check_printed, deliver, print_out, width_of
from fillgen.cli.signature import PLAYED_PLAINLY, grouped
from fillgen.errors import OptionError
from fillgen.hands.playing import played_as
from fillgen.readers.phrases import Reading
from fillgen.rules.pack import RulePack

EXPLAIN = Option(("--explain",), "Explain each note, and the rules it keeps or breaks.", bool)


@grouped(
    without=("audio",),
    defaults={
        **PLAYED_PLAINLY,
        "tempo": "the phrase's own; else 120 to judge by, and the rhythm's in what is played",
        "swing": "1",
    },
)
def check(
    *,
    chords: ChordOptions,
    phrase: Annotated[str | None, PHRASE] = None,
    options: CheckOptions,
    part: Annotated[str | None, PART] = None,
    first_note_on: Annotated[float | None, FIRST_NOTE_ON] = None,
    last: Annotated[bool, LAST] = False,
    explain: Annotated[bool, EXPLAIN] = False,
    playing: PlayOptions,
    output: OutputOptions,
    look: SheetOptions,
    book: BookOptions,
    rules: Annotated[Path | None, RULES] = None,
) -> None:
    """Check your own phrase: what clashes, what is a matter of style or beyond the level, and how to mend it.

    With -o NAME.txt or .json the report goes to a file; with .mid, .pdf and the like the phrase itself does. The exit code
    is 1 where something clashes or is out of reach, with --strict where anything at all is amiss.
    """
    targets = check_targets(output, look, explain=explain)
    pack = pack_of(rules)
    hints = hints_of(options.tempo, first_note_on)
    reading = own_phrase(chords, phrase, part, book, last=last, rhythm=options.rhythm, pack=pack, hints=hints)
    show_check(reading, options, playing, pack, output, targets, look, explain=explain)


def check_targets(output: OutputOptions, look: SheetOptions, *, explain: bool = False) -> tuple[Target, ...]:
    """The files of a check, refused before any work where they can't be written."""
    check_printed(output)
    targets = targets_of(output, CHECKED, look)
    if explain and (output.format == JSON or any(target.ending == ".json" for target in targets)):
        raise OptionError(
            "--explain needs text output", hint="JSON explains every note anyway. Leave --explain out."
        )
    return targets


def show_check(
    reading: Reading,
    options: CheckOptions,
    playing: PlayOptions,
    pack: RulePack,
    output: OutputOptions,
    targets: tuple[Target, ...],
    look: SheetOptions,
    *,
    explain: bool = False,
) -> None:
    """Check a phrase and print or write what was found; exit with 1 where something clashes."""
    played = played_as(playing, pack, hand=options.hand)
    report = report_on(reading, options, pack)
    seen = look_of(look, playing, played[0])
    content = checked_content(
        report, reading, options, pack, *played, seen, width=width_of(targets), explain=explain
    )
    if not any(target.ending in (".txt", ".json") for target in targets):
        print_out(content, output)
    deliver(content, targets, output)
    if not report.right:
        raise typer.Exit(1)
