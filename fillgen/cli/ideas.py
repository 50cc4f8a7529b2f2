"""The command `ideas`: the main job."""

from __future__ import annotations

from typing import Annotated, Any

import typer

import fillgen
from fillgen.cli.audio import sound_wish
from fillgen.cli.inputs import pack_of, progression_of, span_of, words_of
from fillgen.cli.options import (
    AudioOption,
    BookOption,
    BusyOption,
    EndsOnOption,
    FeelOption,
    FormatOption,
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
    RhythmOption,
    RulesOption,
    SeedOption,
    SeventhsOption,
    ShapeOption,
    SheetOption,
    SlowDownOption,
    SoundfontOption,
    SoundOption,
    SwingOption,
    TempoOption,
    beginning,
    sequence_names,
)
from fillgen.cli.outputs import (
    HTML,
    MIDI,
    TEXT,
    book_wish,
    explained,
    fresh_ideas,
    ideas_sheet,
    keep_in_book,
    put_out,
    sheet_path,
    show_ideas,
    target_of,
)
from fillgen.cli.playing import is_special, playing_of
from fillgen.errors import OptionError


def ideas(
    chart: OptionalChart = None,
    count: Annotated[int, typer.Option("--count", "-n", help="How many ideas, 1 to 1000.")] = 50,
    seed: SeedOption = 0,
    key: KeyOption = None,
    metre: MetreOption = None,
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
    parts: Annotated[
        str | None,
        typer.Option(
            "--parts",
            help="Parts of a MIDI file: right, left, bass, drums, or several with commas. [default: right; all four "
            "with --for]",
        ),
    ] = None,
    times: Annotated[int, typer.Option("--times", help="How often an idea is played over in MIDI.")] = 1,
    second_set: Annotated[
        bool,
        typer.Option("--second-set", help="The left hand takes its second-best voicings every other time."),
    ] = False,
    count_in: Annotated[bool, typer.Option("--count-in", help="A bar of clicks before each idea.")] = False,
    swing: SwingOption = None,
    feel: FeelOption = 0.0,
    close: Annotated[
        str | None,
        typer.Option(
            "--close",
            help="How it closes: held, button (short) or fading (twice more, softer). "
            "[default: held with --for ending]",
        ),
    ] = None,
    slow_down: SlowDownOption = False,
    bass: Annotated[
        str, typer.Option("--bass", help="Where the bass lies: keyboard or pedals.")
    ] = "keyboard",
    span: Annotated[
        int | None,
        typer.Option(
            "--span", help="How far the left hand reaches, in semitones. [default: 12, for a small hand 9]"
        ),
    ] = None,
    sound: SoundOption = None,
    explain: Annotated[
        int | None,
        typer.Option(
            "--explain", help="Explain the idea of this rank: note by note, and why it ranks there."
        ),
    ] = None,
    format_: FormatOption = None,
    output: Annotated[
        str | None,
        typer.Option(
            "--output",
            "-o",
            help="Write to a file instead: .html a page that shows and plays all ideas, .mid all in one file, .wav or "
            ".flac all as sound, .txt, .json; or FOLDER/ for one MIDI file an idea.",
        ),
    ] = None,
    audio: AudioOption = False,
    soundfont: SoundfontOption = None,
    sheet: SheetOption = None,
    overwrite: OverwriteOption = False,
    fresh: Annotated[
        bool,
        typer.Option("--fresh", help="Only ideas that were never shown over these chords, in any key."),
    ] = False,
    book: BookOption = None,
    no_book: NoBookOption = False,
    rules: RulesOption = None,
) -> None:
    """Fifty right-hand ideas over a chart, best first.

    Every idea keeps the rules of its level: chord notes on the strong beats, passing notes that go somewhere, and a
    last note from which the tune can begin.
    """
    target = target_of(output, format_)
    heard = sound_wish(output, soundfont, audio=audio)
    engraved = sheet_path(sheet, output, overwrite)
    if explain is not None and target in (MIDI, HTML):
        raise OptionError("--explain is told in words", hint="Print it, or write it with -o to .txt.")
    wishes: dict[str, Any] = {
        "times": times,
        "second_set": second_set,
        "count_in": count_in,
        "swing": swing,
        "feel": feel,
        "close": close,
        "slow_down": slow_down,
        "bass": bass,
        "span": span_of(span, hand),
    }
    playing = (
        playing_of(parts, purpose, sound, rules, wishes)
        if target in (MIDI, HTML) or is_special(parts, sound, wishes)
        else None
    )
    keeps = book_wish(book, no_book, fresh=fresh)
    pack = pack_of(rules)
    settings: dict[str, Any] = {
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
    if fresh:
        found = fresh_ideas(progression, settings, pack, book)
    else:
        found = fillgen.ideas(progression, rules=pack, **settings)
    if explain is not None and target == TEXT:
        put_out(explained(found, explain), output, overwrite)
    else:
        show_ideas(found, output, target, playing, overwrite, heard)
    ideas_sheet(engraved, found, parts, swing, overwrite)
    if keeps:
        options = {**settings, "fresh": fresh, "sequence": sequence, "sevenths": sevenths}
        keep_in_book(found, "ideas", options, pack, book, firm=fresh)
