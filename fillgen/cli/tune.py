"""The command `tune`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fillgen.cli.audio import SoundWish, sound_bytes, sound_wish, tell_caution
from fillgen.cli.inputs import chart_text, pack_of
from fillgen.cli.options import (
    BusyOption,
    FeelOption,
    LevelOption,
    OverwriteOption,
    RhythmOption,
    RulesOption,
    SheetOption,
    SlowDownOption,
    SoundfontOption,
    SoundOption,
    SwingOption,
)
from fillgen.cli.outputs import SOUND_ENDINGS, sheet_path, write_sheet
from fillgen.cli.playing import USUAL, playing_of
from fillgen.errors import OptionError, shorten

if TYPE_CHECKING:
    from fillgen.hands.take import Playing
    from fillgen.readers.musicxml import Tune
    from fillgen.tune import Piece


def tune(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A tune in MusicXML, plain or packed (.musicxml, .mxl).")
    ],
    intro: Annotated[int, typer.Option("--intro", help="Bars of intro, 0 for none.")] = 4,
    ending: Annotated[int, typer.Option("--ending", help="Bars of ending, 0 for none.")] = 4,
    quote: Annotated[
        int, typer.Option("--quote", help="Bars from the tune's end to begin the ending with.")
    ] = 0,
    count: Annotated[int, typer.Option("--count", "-n", help="How many different versions.")] = 1,
    rhythm: RhythmOption = None,
    level: LevelOption = None,
    busy: BusyOption = None,
    tempo: Annotated[
        int | None, typer.Option("--tempo", help="Quarter notes a minute. [default: the tune's]")
    ] = None,
    seed: Annotated[int, typer.Option("--seed", help="Another number gives other ideas.")] = 0,
    chords: Annotated[
        str | None,
        typer.Option("--chords", help="A chart for the tune's bars, if the file has no chord symbols."),
    ] = None,
    parts: Annotated[str | None, typer.Option("--parts", help="Parts of a MIDI file. [default: all]")] = None,
    swing: SwingOption = None,
    feel: FeelOption = 0.0,
    close: Annotated[str, typer.Option("--close", help="held, button or fading.")] = "held",
    slow_down: SlowDownOption = False,
    count_in: Annotated[bool, typer.Option("--count-in", help="A bar of clicks first.")] = False,
    sound: SoundOption = None,
    output: Annotated[
        str | None,
        typer.Option(
            "--output", "-o", help="Where to write: .musicxml, .mid, .wav or .flac. [default: only tell]"
        ),
    ] = None,
    soundfont: SoundfontOption = None,
    sheet: SheetOption = None,
    overwrite: OverwriteOption = False,
    rules: RulesOption = None,
) -> None:
    """Put an intro and an ending on a tune; every bar of the tune stays as it is."""
    from fillgen.readers.musicxml import read_tune
    from fillgen.tune import TuneRequest, pieces

    written = _tune_files(output, count)
    heard = sound_wish(output, soundfont)
    engraved = sheet_path(sheet, output if count <= 1 else None, overwrite)
    if engraved is not None and count > 1 and engraved.suffix.lower() in _SCORES | {".mei"}:
        hint = "Give a .pdf, .html or .svg, or write the scores with -o NAME.musicxml."
        raise OptionError(f"{count} versions do not go into one score", hint=hint)
    wishes = {
        **USUAL,
        "swing": swing,
        "feel": feel,
        "close": close,
        "slow_down": slow_down,
        "count_in": count_in,
    }
    if close == "fading":
        raise OptionError("a tune does not fade", hint="Give --close held or --close button.")
    played = playing_of("right,left,bass,drums" if parts is None else parts, None, sound, rules, wishes)
    read = read_tune(file)
    request = TuneRequest(
        read,
        intro=intro,
        ending=ending,
        quote=quote,
        count=count,
        rhythm=rhythm,
        level=level,
        busy=busy,
        tempo=tempo,
        seed=seed,
        chords=chart_text(chords) if chords is not None else None,
        pack=pack_of(rules),
    )
    from fillgen.writers.tunes import piece_text

    found = pieces(request)
    if len(found) < count:
        typer.echo(f"Note: there are {len(found)} versions with different chords.", err=True)
    for number, piece in enumerate(found, 1):
        typer.echo(piece_text(piece, number))
    if read.repeats:
        typer.echo("Note: in a MIDI file the repeats of the tune are not played out.", err=True)
    if written:
        _write_tunes(list(zip(written, found, strict=False)), read, played, heard, overwrite)
    if engraved is not None:
        _write_sheet(engraved, found, read, swing, overwrite)


def _write_sheet(
    path: Path, found: Sequence[Piece], read: Tune, swing: float | None, overwrite: bool
) -> None:
    """All versions as notes in one file."""
    from fillgen.writers.sheet import tune_entry

    entries = [tune_entry(piece, read, swing, number) for number, piece in enumerate(found, 1)]
    write_sheet(path, entries, None, overwrite, "tune" if len(entries) == 1 else "version")


def _tune_files(output: str | None, count: int) -> list[Path]:
    """The files to be written: one, or one for each version with its number before the ending."""
    if output is None:
        return []
    path = Path(output)
    if path.suffix.lower() not in _SCORES | {".mid", ".midi", *SOUND_ENDINGS}:
        hint = "Use .musicxml, .mid, .wav or .flac."
        raise OptionError(f"cannot tell what to write to {shorten(output)}", hint=hint)
    if count <= 1:
        return [path]
    return [path.with_name(f"{path.stem}-{number}{path.suffix}") for number in range(1, count + 1)]


_SCORES = {".musicxml", ".xml"}


def _write_tunes(
    versions: Sequence[tuple[Path, Piece]],
    read: Tune,
    played: tuple[Playing, dict[str, str]],
    heard: SoundWish | None,
    overwrite: bool,
) -> None:
    from fillgen.writers.files import refuse_existing, write_files
    from fillgen.writers.tunes import tune_midi, tune_musicxml

    playing, sounds = played
    contents = {}
    for path, piece in versions:
        refuse_existing(path, overwrite)
        if path.suffix.lower() in _SCORES:
            contents[path] = tune_musicxml(piece, read, swing=playing.swing)
            continue
        midi = tune_midi(piece, playing, sounds)
        contents[path] = sound_bytes(midi, heard) if heard is not None else midi
    write_files(contents, overwrite=overwrite)
    if heard is not None:
        tell_caution()
    for path in contents:
        typer.echo(f"written to {path}", err=True)
