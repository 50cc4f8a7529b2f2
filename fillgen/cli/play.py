"""The command `play`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fillgen.app.contents import in_two_voices, only_some, own_answer
from fillgen.app.options import (
    FIRST_NOTE_ON,
    LAST,
    ONLY,
    PART,
    PHRASE,
    PORT,
    RULES,
    BookOptions,
    ChordOptions,
    IdeaOptions,
    Option,
    PlayOptions,
    given,
)
from fillgen.cli.inputs import (
    hints_of,
    ideas_of_book,
    is_midi_file,
    pack_of,
    progression_of,
    reading_of,
    refuse_last,
    refuse_options,
    refuse_part,
    with_phrase,
)
from fillgen.cli.outputs import note
from fillgen.cli.signature import PHRASES_OWN, grouped
from fillgen.engine.generate import generate
from fillgen.engine.request import Request
from fillgen.errors import OptionError, many
from fillgen.hands.playing import Playing, played_as
from fillgen.phrase.idea import Ideas

if TYPE_CHECKING:
    from fillgen.rules.pack import RulePack
    from fillgen.sound.performance import Performance

_MOST_LOOPS = 1000
LOOP = Option(("--loop",), "How many times to play it; 0 repeats until Ctrl-C.", int)
_OF_FILES = {"tempo", "count_in"}
"""The options that go with a MIDI file."""
_OF_PHRASES = {"tempo", "rhythm", "hand"}
"""The options of ideas that go with a phrase of the player's own."""


@dataclass(frozen=True)
class _Piece:
    """What is to be played, where it begins the second time, in seconds, and its name."""

    performance: Performance
    loop_from: float
    name: str


@grouped(without=("times", "second_set"), defaults=PHRASES_OWN)
def play(
    *,
    chords: ChordOptions,
    phrase: Annotated[str | None, PHRASE] = None,
    only: Annotated[str | None, ONLY] = None,
    port: Annotated[str | None, PORT] = None,
    loop: Annotated[int, LOOP] = 1,
    options: IdeaOptions,
    part: Annotated[str | None, PART] = None,
    first_note_on: Annotated[float | None, FIRST_NOTE_ON] = None,
    last: Annotated[bool, LAST] = False,
    playing: PlayOptions,
    book: BookOptions,
    rules: Annotated[Path | None, RULES] = None,
) -> None:
    """Play ideas, a phrase of your own, ideas of the book, or a MIDI file on an instrument connected by MIDI.

    What sounds is what -o NAME.mid writes. Ctrl-C stops it, and no note hangs.
    """
    if not 0 <= loop <= _MOST_LOOPS:
        hint = f"Give 1 to {_MOST_LOOPS}, or 0 to repeat until Ctrl-C."
        raise OptionError(f"--loop is {loop:,}", hint=hint)
    if chords.chart is not None and is_midi_file(chords.chart):
        asked = [*given(replace(chords, chart=None)), *given(options), *given(playing)]
        others = {
            "only": only,
            "rules": rules,
            "part": part,
            "first-note-on": first_note_on,
            "last": last,
            **given(book),
        }
        asked += [name for name, value in others.items() if value]
        refuse_options([name for name in asked if name not in _OF_FILES], "a MIDI file")
        if phrase is not None:
            raise OptionError(
                "a phrase can't be played with a MIDI file", hint="Give the phrase after its chart."
            )
        _send(_file_piece(chords.chart, options.tempo, playing.count_in), port, loop)
        return
    pack = pack_of(rules)
    played = played_as(playing, pack, purpose=options.purpose, hand=options.hand)
    chords, phrase = with_phrase(chords, phrase)
    if phrase is not None:
        asked = [name for name in given(options) if name not in _OF_PHRASES]
        refuse_options([*asked, *(["only"] if only else [])], "a phrase of your own")
        refuse_last(last)
        hints = hints_of(options.tempo, first_note_on)
        reading = reading_of(chords, phrase, part, options.rhythm, pack, hints)
        found = own_answer(reading, pack, rhythm=options.rhythm, tempo=options.tempo, hand=options.hand)
    else:
        refuse_part(part, hints_of(None, first_note_on))
        found = only_some(_ideas(chords, options, pack, book, last=last), only)
    one = phrase is not None or len(found) == 1 or not played[0].has_right
    _send(_ideas_piece(found, played, own=phrase is not None, one=one), port, loop)


def _ideas(
    chords: ChordOptions,
    options: IdeaOptions,
    pack: RulePack,
    book: BookOptions,
    *,
    last: bool,
) -> Ideas:
    """New ideas, or those of the book whose numbers are given."""
    found = ideas_of_book(chords, book, options, last=last, besides=("hand",))
    return (
        generate(Request.over(progression_of(chords, options.rhythm, pack), options, pack))
        if found is None
        else found
    )


def _file_piece(source: str, tempo: int | None, count_in: bool) -> _Piece:
    """A MIDI file, after a bar of clicks if they are asked for."""
    from fillgen.engine.request import check_tempo
    from fillgen.incoming import read_bytes
    from fillgen.readers.musicxml import MOST_BYTES
    from fillgen.sound.performance import bar_seconds, counted_in
    from fillgen.sound.playback import to_performance

    if tempo is not None:
        check_tempo(tempo)
    performance = to_performance(read_bytes(Path(source), MOST_BYTES), source, tempo)
    if not count_in:
        return _Piece(performance, 0.0, Path(source).name)
    loop_from = bar_seconds(performance.metre, performance.tempo)
    return _Piece(counted_in(performance), loop_from, Path(source).name)


def _ideas_piece(found: Ideas, played: tuple[Playing, dict[str, str]], *, own: bool, one: bool) -> _Piece:
    """Ideas one after another, as their MIDI file has them."""
    from fillgen.sound.performance import bar_seconds
    from fillgen.sound.playback import to_performance
    from fillgen.writers.midi import to_midi

    markers = ((0, found[0].text),) if own else ()
    performance = to_performance(to_midi(in_two_voices(found, played[0]), *played, markers))
    performance = replace(performance, remarks=(*map(str, found.remarks), *performance.remarks))
    bar = bar_seconds(found.progression.metre.name, performance.tempo)  # as the file has it, in microseconds
    if not one:  # before the first idea comes again there is the rest that lies between all of them
        performance = replace(performance, length=performance.length + bar)
    loop_from = bar if one and played[0].count_in else 0.0
    return _Piece(performance, loop_from, _named(found, played[0], own=own))


def _named(found: Ideas, playing: Playing, *, own: bool) -> str:
    """What is played, in words."""
    if not playing.has_right:
        return "the backing track"
    if own:
        return "your phrase"
    return f"idea {found[0].rank}" if len(found) == 1 else many(len(found), "idea")


def _send(piece: _Piece, port: str | None, loop: int) -> None:
    """Play a piece on a port; exit with 130 where it was stopped."""
    from fillgen.sound.performance import interrupts, perform
    from fillgen.sound.ports import open_output

    with interrupts() as stop, open_output(port) as output:
        for remark in piece.performance.remarks:
            note(remark)
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
