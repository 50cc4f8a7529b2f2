"""The command `listen`."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fillgen.app.charts import aligned, progression_of
from fillgen.app.checking import report_on
from fillgen.app.options import (
    PORT,
    RULES,
    CheckOptions,
    ChordOptions,
    Option,
    OutputOptions,
    PlayOptions,
    SheetOptions,
)
from fillgen.cli.check import EXPLAIN, check_targets, show_check
from fillgen.cli.inputs import named_chart, pack_of, read_chart
from fillgen.cli.outputs import note
from fillgen.cli.signature import grouped
from fillgen.errors import OptionError, many

if TYPE_CHECKING:
    from fillgen.chart.progression import Progression
    from fillgen.rules.pack import RulePack
    from fillgen.sound.listening import Heard

INPUT = Option(
    ("--input",), "The MIDI input you play on; part of its name is enough. [default: the only one there is]"
)
NO_METRONOME = Option(("--no-metronome",), "No clicks: you keep the time.", bool)
LATENCY = Option(("--latency",), "How late your notes arrive through the equipment, in milliseconds.", float)
_USUAL_TEMPO = 100
"""A tempo at which most phrases can be played, in quarter notes a minute. Chosen."""


@grouped(without=("audio",), defaults={"tempo": "the rhythm's, or 100"})
def listen(
    *,
    chords: ChordOptions,
    input_: Annotated[str | None, INPUT] = None,
    port: Annotated[str | None, PORT] = None,
    no_metronome: Annotated[bool, NO_METRONOME] = False,
    latency: Annotated[float, LATENCY] = 0.0,
    options: CheckOptions,
    explain: Annotated[bool, EXPLAIN] = False,
    output: OutputOptions,
    look: SheetOptions,
    rules: Annotated[Path | None, RULES] = None,
) -> None:
    """Play a phrase over the chart to a metronome, then see what clashes and what works, as in check.

    A bar is counted in, then the chart goes by once. The exit code is 1 where something clashes or is out of reach, with
    --strict where anything at all is amiss.
    """
    from fillgen.engine.request import check_tempo
    from fillgen.sound.listening import check_one_metre, written

    if no_metronome and port is not None:
        raise OptionError("use --no-metronome or --port, not both", hint="Leave one of them out.")
    targets = check_targets(output, look, explain=explain)
    pack = pack_of(rules)
    tempo = options.tempo
    if tempo is None:
        tempo = pack.rhythm(options.rhythm).tempo if options.rhythm is not None else _USUAL_TEMPO
    check_tempo(tempo)
    options = replace(options, tempo=tempo)
    with named_chart(chords.chart):
        chords = read_chart(chords)
        progression = progression_of(chords, options.rhythm, pack)
    check_one_metre(progression)
    _rehearse(progression, options, pack)
    heard = _heard(progression, tempo, input_, port, latency, clicks=not no_metronome)
    if heard.stopped:
        typer.echo("fillgen: stopped; nothing was checked.", err=True)
        raise typer.Exit(130)
    reading = aligned(written(heard), replace(chords, metre=progression.metre.name))
    show_check(reading, options, PlayOptions(), pack, output, targets, look, explain=explain)


def _rehearse(progression: Progression, options: CheckOptions, pack: RulePack) -> None:
    """Check some note in the place of a phrase: options that are wrong are said before anybody has played."""
    from fillgen.phrase.note import Note
    from fillgen.readers.phrases import Reading

    some = Note(0, progression.metre.beat, 72)
    report_on(Reading(progression, (some,), options.tempo, "", (), whole=False), options, pack)


def _heard(
    progression: Progression,
    tempo: int,
    input_: str | None,
    port: str | None,
    latency: float,
    *,
    clicks: bool,
) -> Heard:
    """What is played on the input while the chart goes by."""
    from fillgen.sound.listening import listen as listened
    from fillgen.sound.performance import interrupts
    from fillgen.sound.ports import open_input, open_output, port_names
    from fillgen.teaching.cautions import LOUDNESS

    bars, names = len(progression.bars), port_names()
    with ExitStack() as open_ports:
        stop = open_ports.enter_context(interrupts())
        source = open_ports.enter_context(open_input(input_, names=names))
        metronome = open_ports.enter_context(open_output(port, names=names)) if clicks else None
        length = f"{many(bars, 'bar')} at {tempo} quarter notes a minute, after a bar of count-in"
        clicked = f", clicks on {metronome.name}" if metronome is not None else ""
        typer.echo(f"Listening to {source.name} for {length}{clicked}. Ctrl-C stops it.", err=True)
        note(LOUDNESS)
        return listened(
            source, progression.metre, tempo, bars, metronome=metronome, latency=latency, stop=stop
        )
