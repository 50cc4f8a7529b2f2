"""The command `play`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

import fillgen
from fillgen.cli.inputs import pack_of, progression_of, reading_of, span_of, words_of
from fillgen.cli.options import (
    BusyOption,
    EndsOnOption,
    FeelOption,
    HandOption,
    HighOption,
    KeyOption,
    LeadToOption,
    LevelOption,
    LowOption,
    MetreOption,
    PortOption,
    RhythmOption,
    RulesOption,
    SeedOption,
    SeventhsOption,
    ShapeOption,
    SlowDownOption,
    SoundOption,
    SwingOption,
    TempoOption,
    beginning,
    sequence_names,
)
from fillgen.cli.playing import USUAL, playing_of
from fillgen.errors import OptionError, listed, many

if TYPE_CHECKING:
    from fillgen.hands.take import Playing
    from fillgen.sound.performance import Performance

_MOST_LOOPS = 1000
_LISTED = 50
"""As many ideas are found as `ideas` lists, so that an idea has the same rank here and there."""
_MIDI_ENDINGS = (".mid", ".midi")


@dataclass(frozen=True)
class _Piece:
    """What is to be played, where it begins the second time, in seconds, and its name."""

    performance: Performance
    loop_from: float
    name: str


def play(
    chart: Annotated[
        str | None,
        typer.Argument(
            metavar="CHART",
            help="A chart, as for ideas, or a MIDI file. Left out where --sequence gives the chords.",
        ),
    ] = None,
    phrase: Annotated[
        str | None,
        typer.Option(
            "--phrase", help="A phrase of your own in the place of ideas: text or a file, as for check."
        ),
    ] = None,
    rank: Annotated[
        int | None, typer.Option("--rank", help="Only the idea of this rank. [default: all in turn]")
    ] = None,
    count: Annotated[
        int | None,
        typer.Option("--count", "-n", help="How many ideas, 1 to 1000, the same as of ideas. [default: 50]"),
    ] = None,
    port: PortOption = None,
    loop: Annotated[int, typer.Option("--loop", help="How often it is played over; 0 is until Ctrl-C.")] = 1,
    count_in: Annotated[
        bool, typer.Option("--count-in", help="A bar of clicks before it, before each of several ideas.")
    ] = False,
    tempo: TempoOption = None,
    seed: SeedOption = 0,
    key: KeyOption = None,
    metre: MetreOption = None,
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
            help="Parts that sound: right, left, bass, drums, or several with commas. [default: right; all four "
            "with --for]",
        ),
    ] = None,
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
    rules: RulesOption = None,
) -> None:
    """Play ideas, a phrase of your own, or a MIDI file on an instrument connected by MIDI.

    What sounds is what -o NAME.mid writes. Ctrl-C stops it, and no note hangs.
    """
    if not 0 <= loop <= _MOST_LOOPS:
        hint = f"Ask for 1 to {_MOST_LOOPS}, or 0 for until Ctrl-C."
        raise OptionError(f"{many(loop, 'loop')} are asked for", hint=hint)
    given: dict[str, Any] = {
        "--phrase": phrase,
        "--rank": rank,
        "--count": count,
        "--seed": seed or None,
        "--key": key,
        "--metre": metre,
        "--rhythm": rhythm,
        "--level": level,
        "--busy": busy,
        "--shape": shape,
        "--low": low,
        "--high": high,
        "--for": purpose,
        "--ends-on": ends_on,
        "--lead-to": lead_to,
        "--hand": hand,
        "--sequence": sequence,
        "--sevenths": sevenths or None,
        "--parts": parts,
        "--swing": swing,
        "--feel": feel or None,
        "--close": close,
        "--slow-down": slow_down or None,
        "--bass": bass if bass != USUAL["bass"] else None,
        "--span": span,
        "--sound": sound or None,
        "--rules": rules,
    }
    if chart is not None and _is_midi_file(chart):
        _refuse(given, "a MIDI file")
        piece = _file_piece(chart, tempo, count_in)
    else:
        wishes = {
            **USUAL,
            "count_in": count_in,
            "swing": swing,
            "feel": feel,
            "close": close,
            "slow_down": slow_down,
            "bass": bass,
            "span": span_of(span, hand),
        }
        playing = playing_of(parts, purpose, sound, rules, wishes)
        if phrase is not None:
            alone = ("--rank", "--count", "--seed", "--level", "--busy", "--shape", "--low", "--high")
            of_ideas = (*alone, "--ends-on", "--lead-to", "--sequence", "--sevenths")
            _refuse({name: given[name] for name in of_ideas}, "--phrase")
            found = _own(chart, phrase, key, metre, rhythm, tempo, hand, rules)
        else:
            if (chart is None) == (sequence is None):
                hint = 'Such as: fillgen play "| C | G7 |".'
                raise OptionError("give either a chart or --sequence", hint=hint)
            found = fillgen.ideas(
                progression_of(chart, sequence, key, metre, sevenths),
                count=_count(rank, count),
                seed=seed,
                tempo=tempo,
                rhythm=rhythm,
                level=level,
                busy=busy,
                shape=shape,
                low=low,
                high=high,
                purpose=purpose,
                ends_on=words_of(ends_on),
                lead_to=lead_to,
                hand=hand,
                rules=pack_of(rules),
            )
        piece = _ideas_piece(found, rank, playing, own=phrase is not None)
    _send(piece, port, loop)


def _refuse(given: dict[str, Any], what: str) -> None:
    """OptionError where an option does not go with what is to be played."""
    wrong = [name for name, value in given.items() if value is not None]
    if wrong:
        verb = "does" if len(wrong) == 1 else "do"
        raise OptionError(f"{listed(wrong, 'and')} {verb} not go with {what}", hint="Leave it out.")


def _count(rank: int | None, count: int | None) -> int:
    """How many ideas are found: as many as are asked for, or so many that there is one of that rank."""
    if rank is not None and rank < 1:
        raise OptionError(f"there is no idea {rank}", hint="Ideas are counted from 1.")
    return count if count is not None else max(_LISTED, min(rank or 1, 1000))


def _is_midi_file(source: str) -> bool:
    """Whether an argument names a MIDI file, by its ending or by what it begins with."""
    if "|" in source or "\n" in source:
        return False
    path = Path(source)
    try:
        if not path.is_file():
            return path.suffix.lower() in _MIDI_ENDINGS
        with path.open("rb") as file:
            return file.read(4) == b"MThd" or path.suffix.lower() in _MIDI_ENDINGS
    except (OSError, ValueError):
        return False


def _file_piece(source: str, tempo: int | None, count_in: bool) -> _Piece:
    """A MIDI file, after a bar of clicks if they are asked for."""
    from fillgen.engine.request import check_tempo
    from fillgen.readers.musicxml import read_bytes
    from fillgen.sound.performance import bar_seconds, counted_in
    from fillgen.sound.playback import to_performance

    if tempo is not None:
        check_tempo(tempo)
    performance = to_performance(read_bytes(Path(source)), source, tempo)
    if not count_in:
        return _Piece(performance, 0.0, Path(source).name)
    loop_from = bar_seconds(performance.metre, performance.tempo)
    return _Piece(counted_in(performance), loop_from, Path(source).name)


def _own(
    chart: str | None,
    phrase: str,
    key: str | None,
    metre: str | None,
    rhythm: str | None,
    tempo: int | None,
    hand: str | None,
    rules: Path | None,
) -> fillgen.Ideas:
    """A phrase of the player's own in the place of ideas."""
    from fillgen.phrase.remark import on_reading
    from fillgen.teaching.practice import own_ideas

    if chart is None:
        raise OptionError("--phrase needs the chart that it goes with", hint="Give the chart first.")
    reading = reading_of(chart, phrase, key, metre, None)
    tempo = tempo if tempo is not None else reading.tempo
    pack = pack_of(rules)
    own = own_ideas(reading.progression, reading.notes, rhythm=rhythm, tempo=tempo, hand=hand, pack=pack)
    return replace(own, remarks=on_reading(reading.remarks))


def _ideas_piece(
    found: fillgen.Ideas, rank: int | None, playing: tuple[Playing, dict[str, str]], *, own: bool
) -> _Piece:
    """Ideas one after another, as their MIDI file has them, or the one of a rank."""
    from fillgen.sound.performance import bar_seconds
    from fillgen.sound.playback import to_performance
    from fillgen.writers.midi import to_midi

    if rank is not None and rank > len(found):
        raise OptionError(f"there is no idea {rank}", hint=f"There are {len(found)} here.")
    chosen = found.ideas if rank is None else (found[rank - 1],)
    markers = ((0, found[0].text),) if own else ()
    content = to_midi(replace(found, ideas=chosen), *playing, markers)
    performance = to_performance(content)
    performance = replace(performance, remarks=(*map(str, found.remarks), *performance.remarks))
    bar = bar_seconds(found.progression.metre.name, performance.tempo)  # as the file has it, in microseconds
    if len(chosen) > 1:  # before the first idea comes again there is the rest that lies between all of them
        performance = replace(performance, length=performance.length + bar)
    loop_from = bar if len(chosen) == 1 and playing[0].count_in else 0.0
    name = "your phrase" if own else many(len(chosen), "idea") if rank is None else f"idea {rank}"
    return _Piece(performance, loop_from, name)


def _send(piece: _Piece, port: str | None, loop: int) -> None:
    """Play a piece on a port; exit with 130 where it was stopped."""
    from fillgen.sound.performance import interrupts, perform
    from fillgen.sound.ports import open_output

    for remark in piece.performance.remarks:
        typer.echo(f"Note: {remark}", err=True)
    with interrupts() as stop, open_output(port) as output:
        seconds = piece.performance.length + max(0, loop - 1) * (piece.performance.length - piece.loop_from)
        how_long = f", {_lasting(seconds)}. Ctrl-C stops it." if loop else " until Ctrl-C."
        typer.echo(f"Playing {piece.name} on {output.name}{how_long}", err=True)
        _caution(seconds, endless=loop == 0)
        done = perform(
            piece.performance,
            output,
            loops=loop or None,
            loop_from=piece.loop_from,
            stop=stop,
            tell=_teller(),
            meanwhile=output.watch,
        )
    if not done:
        typer.echo("Stopped, all notes are off.", err=True)
        raise typer.Exit(130)


def _teller() -> Callable[[str], None]:
    """Says what comes, and not again what it said last, such as in a loop."""
    last = ""

    def tell(text: str) -> None:
        nonlocal last
        if text != last:
            typer.echo(f"  {text}", err=True)
        last = text

    return tell


def _lasting(seconds: float) -> str:
    """Minutes and seconds.

    >>> _lasting(75.4)
    '1:15 min'
    """
    return f"{round(seconds) // 60}:{round(seconds) % 60:02d} min"


def _caution(seconds: float, *, endless: bool) -> None:
    """What to mind, where playing goes on for long."""
    from fillgen.teaching.cautions import LOUDNESS, PAIN, TURNS
    from fillgen.teaching.practice import REST_AFTER

    if endless or seconds > REST_AFTER * 60:
        typer.echo(f"{TURNS} {LOUDNESS}", err=True)
        typer.echo(PAIN, err=True)
