"""The command `vary`."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

import typer

import fillgen
from fillgen.cli.audio import sound_wish
from fillgen.cli.inputs import optional_pitch, pack_of, reading_of, words_of
from fillgen.cli.options import (
    AudioOption,
    BookOption,
    BusyOption,
    Chart,
    EndsOnOption,
    FormatOption,
    HandOption,
    HighOption,
    KeyOption,
    LeadToOption,
    LevelOption,
    LowOption,
    MetreOption,
    NoBookOption,
    OverwriteOption,
    PartOption,
    PhraseArgument,
    RhythmOption,
    RulesOption,
    SeedOption,
    ShapeOption,
    SheetOption,
    SoundfontOption,
    SoundOption,
    TempoOption,
)
from fillgen.cli.outputs import (
    HTML,
    MIDI,
    book_wish,
    ideas_sheet,
    keep_in_book,
    sheet_path,
    show_ideas,
    target_of,
)
from fillgen.cli.playing import USUAL, is_special, playing_of
from fillgen.errors import OptionError


def vary(
    chart: Chart,
    phrase: PhraseArgument,
    keep: Annotated[
        str | None,
        typer.Option(
            "--keep",
            help="What stays: bars (1,2 or 1-3), rhythm, pitches or contour, or several with commas.",
        ),
    ] = None,
    mirror: Annotated[bool, typer.Option("--mirror", help="Ups become downs, over the same rhythm.")] = False,
    as_level: Annotated[
        int | None, typer.Option("--as", help="The same phrase easier or harder: as on this level, 1 to 5.")
    ] = None,
    move_to: Annotated[
        str | None,
        typer.Option("--move-to", help="Into another key, chords and notes, such as Ab or 'F# minor'."),
    ] = None,
    like: Annotated[bool, typer.Option("--like", help="Small changes only.")] = False,
    unlike: Annotated[
        bool, typer.Option("--unlike", help="As different as can be over the same chart.")
    ] = False,
    answer: Annotated[bool, typer.Option("--answer", help="Phrases that answer it.")] = False,
    count: Annotated[int, typer.Option("--count", "-n", help="How many, 1 to 1000.")] = 10,
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
    ends_on: EndsOnOption = None,
    lead_to: LeadToOption = None,
    hand: HandOption = None,
    parts: Annotated[
        str | None,
        typer.Option(
            "--parts", help="Parts of a MIDI file: right, left, bass, drums, with commas. [default: right]"
        ),
    ] = None,
    sound: SoundOption = None,
    format_: FormatOption = None,
    output: Annotated[
        str | None,
        typer.Option(
            "--output",
            "-o",
            help="Write to a file instead: .html a page that shows and plays them, .mid, .wav, .flac, .txt, .json; or "
            "FOLDER/ for MIDI files.",
        ),
    ] = None,
    audio: AudioOption = False,
    soundfont: SoundfontOption = None,
    sheet: SheetOption = None,
    overwrite: OverwriteOption = False,
    book: BookOption = None,
    no_book: NoBookOption = False,
    rules: RulesOption = None,
) -> None:
    """Keep some of a phrase and find the rest anew; turn it, move it, make it easier or harder, or answer it."""
    from fillgen.phrase.remark import on_reading
    from fillgen.theory.keys import read_key
    from fillgen.vary import vary as varied
    from fillgen.vary.wish import Wish, read_keep

    near = [word for word, asked in (("like", like), ("unlike", unlike), ("answer", answer)) if asked]
    if len(near) > 1:
        raise OptionError(f"--{near[0]} and --{near[1]} do not go together")
    if as_level is not None and level is not None:
        raise OptionError("--as and --level do not go together", hint="--as names the level itself.")
    keeps = book_wish(book, no_book)
    target = target_of(output, format_)
    heard = sound_wish(output, soundfont, audio=audio)
    engraved = sheet_path(sheet, output, overwrite)
    wish = replace(
        read_keep(keep) if keep is not None else Wish(),
        mirror=mirror,
        level_as=as_level,
        key=read_key(move_to) if move_to is not None else None,
        near="".join(near),
    )
    playing = (
        playing_of(parts, None, sound, rules, USUAL)
        if target in (MIDI, HTML) or is_special(parts, sound, USUAL)
        else None
    )
    reading = reading_of(chart, phrase, key, metre, part)
    request = fillgen.Request(
        reading.progression,
        count=count,
        seed=seed,
        level=level,
        rhythm=rhythm,
        tempo=tempo if tempo is not None else reading.tempo,
        busy=busy,
        shape=shape,
        low=optional_pitch(low, "--low"),
        high=optional_pitch(high, "--high"),
        ends_on=words_of(ends_on),
        lead_to=optional_pitch(lead_to, "--lead-to"),
        hand=hand,
        closes=reading.whole,
        pack=pack_of(rules),
    )
    found = varied(request, reading.notes, wish)
    told = replace(found, remarks=(*on_reading(reading.remarks), *found.remarks))
    show_ideas(told, output, target, playing, overwrite, heard)
    ideas_sheet(engraved, found, parts, None, overwrite)
    if keeps:
        asked = {"keep": keep, "mirror": mirror, "as": as_level, "move_to": move_to, "near": wish.near}
        asked |= {"count": count, "seed": seed, "rhythm": rhythm, "busy": busy, "shape": shape, "hand": hand}
        keep_in_book(found, "vary", asked, request.pack, book)
