"""The command `listen`."""

from __future__ import annotations

from contextlib import ExitStack
from typing import TYPE_CHECKING, Annotated

import typer

from fillgen.cli.checking import Wanted, check_target, report_on, tell_check
from fillgen.cli.inputs import chart_text, pack_of
from fillgen.cli.options import (
    Chart,
    EndsOnOption,
    FormatOption,
    HandOption,
    HighOption,
    KeyOption,
    LeadToOption,
    LowOption,
    MetreOption,
    OverwriteOption,
    PortOption,
    RhythmOption,
    RulesOption,
)
from fillgen.errors import OptionError, many

if TYPE_CHECKING:
    from fillgen.chart.progression import Progression
    from fillgen.sound.listening import Heard


def listen(
    chart: Chart,
    input_: Annotated[
        str | None,
        typer.Option(
            "--input",
            help="The MIDI input you play on, a part of its name is enough. [default: the only one]",
        ),
    ] = None,
    port: PortOption = None,
    no_metronome: Annotated[
        bool, typer.Option("--no-metronome", help="No clicks; you keep time by yourself.")
    ] = False,
    latency: Annotated[
        float,
        typer.Option("--latency", help="Milliseconds by which your notes arrive late through the equipment."),
    ] = 0.0,
    tempo: Annotated[
        int | None,
        typer.Option("--tempo", help="Quarter notes a minute. [default: the rhythm's own, or 100]"),
    ] = None,
    level: Annotated[
        str | None,
        typer.Option(
            "--level", help="1 to 5, or auto for the lowest at which the phrase is right. [default: 3]"
        ),
    ] = None,
    key: KeyOption = None,
    metre: MetreOption = None,
    rhythm: RhythmOption = None,
    hand: HandOption = None,
    low: LowOption = None,
    high: HighOption = None,
    ends_on: EndsOnOption = None,
    lead_to: LeadToOption = None,
    format_: FormatOption = None,
    output: Annotated[
        str | None, typer.Option("--output", "-o", help="Write to a file instead: .txt or .json.")
    ] = None,
    overwrite: OverwriteOption = False,
    rules: RulesOption = None,
) -> None:
    """Play a phrase over the chart to a metronome, and see what fits and what does not, as check says it.

    A bar is counted in, then the chart goes by once. The exit code is 1 where a rule is broken.
    """
    from fillgen.chart.text import parse_chart
    from fillgen.engine.request import check_tempo
    from fillgen.readers.phrases import line_up
    from fillgen.sound.listening import written

    if no_metronome and port is not None:
        raise OptionError("--no-metronome and --port do not go together", hint="Leave one of them out.")
    target = check_target(output, format_)
    pack = pack_of(rules)
    if tempo is None:
        tempo = pack.rhythm(rhythm).tempo if rhythm is not None else _USUAL_TEMPO
    check_tempo(tempo)
    text = chart_text(chart)
    progression = parse_chart(text, key=key, metre=metre)
    wanted = Wanted(level, tempo, rhythm, hand, low, high, ends_on, lead_to, pack)
    _rehearse(progression, wanted)
    heard = _heard(progression, tempo, input_, port, latency, clicks=not no_metronome)
    if heard.stopped:
        typer.echo("fillgen: stopped; nothing was checked.", err=True)
        raise typer.Exit(130)
    reading = line_up(written(heard), text, key=key, metre=progression.metre)
    tell_check(reading, wanted, target, output, overwrite)


_USUAL_TEMPO = 100
"""A tempo at which most phrases can be played, in quarter notes a minute. Chosen."""


def _rehearse(progression: Progression, wanted: Wanted) -> None:
    """Check some note in the place of a phrase: options that are wrong are told before anybody has played."""
    from fillgen.phrase.note import Note
    from fillgen.readers.phrases import Reading

    note = Note(0, progression.metre.beat, 72)
    report_on(Reading(progression, (note,), wanted.tempo, "", (), whole=False), wanted)


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
        told = f"{many(bars, 'bar')} at {tempo} quarter notes a minute, after a bar of count-in"
        clicked = f", clicks on {metronome.name}" if metronome is not None else ""
        typer.echo(f"Listening to {source.name} for {told}{clicked}. Ctrl-C stops it.", err=True)
        typer.echo(f"Note: {LOUDNESS}", err=True)
        return listened(
            source, progression.metre, tempo, bars, metronome=metronome, latency=latency, stop=stop
        )
