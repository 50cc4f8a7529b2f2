"""The command `sheet`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated, Any

import typer

import fillgen
from fillgen.cli.inputs import pack_of, progression_of, reading_of, span_of, whole_number, words_of
from fillgen.cli.options import (
    BookOption,
    BusyOption,
    EndsOnOption,
    HandOption,
    HighOption,
    KeyOption,
    LeadToOption,
    LevelOption,
    LowOption,
    MetreOption,
    NoBookOption,
    OptionalChart,
    OverwriteOption,
    PartOption,
    RhythmOption,
    RulesOption,
    SeedOption,
    SeventhsOption,
    ShapeOption,
    SwingOption,
    TempoOption,
    beginning,
    sequence_names,
)
from fillgen.cli.outputs import book_wish, keep_in_book, sheet_path, write_sheet
from fillgen.errors import OptionError, many, shorten

if TYPE_CHECKING:
    from fillgen.readers.phrases import Reading
    from fillgen.rules.pack import RulePack

_USUAL = 50
"""As many ideas are found as `ideas` lists, so that an idea has the same rank here and there."""


def sheet(
    chart: OptionalChart = None,
    output: Annotated[
        str | None,
        typer.Option(
            "--output", "-o", help="The file: .svg, .pdf, .html (one page), .musicxml or .mei, by the ending."
        ),
    ] = None,
    phrase: Annotated[
        str | None,
        typer.Option(
            "--phrase", help="A phrase of your own, as text or a file as for check, in the place of ideas."
        ),
    ] = None,
    count: Annotated[
        int, typer.Option("--count", "-n", help="How many ideas are found, 1 to 1000.")
    ] = _USUAL,
    only: Annotated[
        str | None,
        typer.Option("--only", help="Only some of them, by rank: such as 1,4 or 1-6. [default: all]"),
    ] = None,
    staves: Annotated[
        int, typer.Option("--staves", help="1 for the right hand, 2 with the left hand's chords below.")
    ] = 1,
    note_names: Annotated[
        bool, typer.Option("--note-names", help="The name of each note under it, for beginners.")
    ] = False,
    fingers: Annotated[bool, typer.Option("--fingers/--no-fingers", help="Fingers above the notes.")] = True,
    paper: Annotated[
        str,
        typer.Option("--paper", help="a4 or letter.", autocompletion=beginning(lambda: ("a4", "letter"))),
    ] = "a4",
    title: Annotated[str | None, typer.Option("--title", help="The title. [default: the chart's]")] = None,
    seed: SeedOption = 0,
    key: KeyOption = None,
    metre: MetreOption = None,
    part: PartOption = None,
    tempo: TempoOption = None,
    rhythm: RhythmOption = None,
    level: LevelOption = None,
    busy: BusyOption = None,
    shape: ShapeOption = None,
    low: LowOption = None,
    high: HighOption = None,
    purpose: Annotated[
        str | None,
        typer.Option(
            "--for",
            help="What it is for: intro, turnaround or ending.",
            autocompletion=beginning(lambda: ("intro", "turnaround", "ending")),
        ),
    ] = None,
    ends_on: EndsOnOption = None,
    lead_to: LeadToOption = None,
    hand: HandOption = None,
    sequence: Annotated[
        str | None,
        typer.Option(
            "--sequence",
            help="A stock chord sequence by name, in the place of a chart.",
            autocompletion=beginning(sequence_names),
        ),
    ] = None,
    sevenths: SeventhsOption = False,
    swing: SwingOption = None,
    span: Annotated[
        int | None,
        typer.Option(
            "--span", help="How far the left hand reaches, in semitones. [default: 12, for a small hand 9]"
        ),
    ] = None,
    overwrite: OverwriteOption = False,
    book: BookOption = None,
    no_book: NoBookOption = False,
    rules: RulesOption = None,
) -> None:
    """Ideas, or a phrase of your own, as a sheet of music to read, print or edit.

    The same chart and options give the same ideas as the command ideas. In .musicxml and .mei they follow one another
    in one score, each on a new line under its rank and shape.
    """
    from fillgen.writers.entry import Settings, entries_of

    if output is None:
        raise OptionError("a sheet of music is a file", hint="Give it a name, such as -o ideas.pdf.")
    if phrase is None and (chart is None) == (sequence is None):
        hint = 'Such as: fillgen sheet "| C | G7 |" -o ideas.pdf.'
        raise OptionError("give either a chart or --sequence", hint=hint)
    path = sheet_path(output, None, overwrite)
    settings = Settings(staves, note_names, fingers, paper.strip().lower(), span_of(span, hand), title or "")
    asked = {
        "--level": level,
        "--busy": busy,
        "--shape": shape,
        "--low": low,
        "--high": high,
        "--for": purpose,
        "--ends-on": ends_on,
        "--lead-to": lead_to,
        "--sequence": sequence,
        "--only": only,
    }
    keeps = book_wish(book, no_book)
    pack = pack_of(rules)
    if phrase is not None:
        _check_own(count, asked)
        reading = reading_of(_needed(chart), phrase, key, metre, part)
        own_tempo = tempo if tempo is not None else reading.tempo
        found, remarks = _own(reading, rhythm, own_tempo, hand, pack), reading.remarks
        entries = tuple(replace(entry, heading="") for entry in entries_of(found, swing))
        settings = replace(settings, title=title or found.progression.title or reading.title)
    else:
        if part is not None:
            raise OptionError("--part goes with --phrase", hint="It names a part of the phrase's file.")
        wishes: dict[str, Any] = {
            "count": count,
            "seed": seed,
            "tempo": tempo,
            "rhythm": rhythm,
            "level": level,
            "busy": busy,
            "shape": shape,
            "low": low,
            "high": high,
            "purpose": purpose,
            "ends_on": words_of(ends_on),
            "lead_to": lead_to,
            "hand": hand,
        }
        progression = progression_of(chart, sequence, key, metre, sevenths)
        every = fillgen.ideas(progression, rules=pack, **wishes)
        found = replace(every, ideas=_chosen(every, only))
        remarks = _remarks(every, only)
        entries = entries_of(found, swing)
    write_sheet(path, entries, settings, overwrite)
    if keeps and phrase is None:
        options = {**wishes, "sequence": sequence, "sevenths": sevenths}
        keep_in_book(found, "sheet", options, pack, book)
    for remark in remarks:
        typer.echo(f"Note: {remark}", err=True)


def _needed(chart: str | None) -> str:
    if chart is None:
        raise OptionError(
            "a phrase needs its chart",
            hint='Such as: fillgen sheet "| C | G7 |" --phrase "E5h D5h | D5h B4h".',
        )
    return chart


def _check_own(count: int, asked: Mapping[str, object]) -> None:
    """Refuse options that choose among ideas, where a phrase of the player's own is given."""
    given = [option for option, value in asked.items() if value] + (["--count"] if count != _USUAL else [])
    if given:
        hint = "A phrase of your own is written down as it is."
        raise OptionError(f"--phrase and {given[0]} do not go together", hint=hint)


def _own(
    reading: Reading, rhythm: str | None, tempo: int | None, hand: str | None, pack: RulePack
) -> fillgen.Ideas:
    from fillgen.teaching.practice import own_ideas

    return own_ideas(reading.progression, reading.notes, rhythm=rhythm, tempo=tempo, hand=hand, pack=pack)


def _remarks(ideas: fillgen.Ideas, only: str | None) -> tuple[str, ...]:
    """What there is to say about ideas; where only some of them are shown, nothing about all."""
    from fillgen.phrase.remark import ALL_IDEAS

    return tuple(each.text for each in ideas.remarks if only is None or each.kind not in ALL_IDEAS)


def _chosen(ideas: Sequence[fillgen.Idea], only: str | None) -> tuple[fillgen.Idea, ...]:
    """The ideas of some ranks, in the order asked for; OptionError where there is no such rank."""
    if only is None:
        return tuple(ideas)
    ranks: dict[int, None] = {}
    for word in only.split(","):
        first, dash, last = (part.strip() for part in word.partition("-"))
        ends = whole_number(first), whole_number(last if dash else first)
        if ends[0] is None or ends[1] is None or ends[0] > ends[1]:
            raise OptionError(f"{shorten(word.strip())} is no rank", hint="Give ranks like 1,4 or 1-6.")
        if not 1 <= ends[0] <= ends[1] <= len(ideas):
            are = "is" if len(ideas) == 1 else "are"
            hint = f"There {are} {many(len(ideas), 'idea')}.{' Ranks begin at 1.' * (ends[0] == 0)}"
            raise OptionError(f"there is no idea {shorten(word.strip())}", hint=hint)
        ranks.update(dict.fromkeys(range(ends[0], ends[1] + 1)))
    return tuple(ideas[rank - 1] for rank in ranks)
