"""The command `practice`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

import fillgen
from fillgen.cli.inputs import pack_of, progression_of, reading_of, span_of
from fillgen.cli.options import (
    BusyOption,
    Chart,
    FeelOption,
    HandOption,
    KeyOption,
    LevelOption,
    MetreOption,
    OverwriteOption,
    PartOption,
    RhythmOption,
    RulesOption,
    SeedOption,
    SoundOption,
    SwingOption,
    TempoOption,
)
from fillgen.cli.outputs import HTML, MIDI, TEXT, put_out, target_of, width_of
from fillgen.cli.playing import USUAL, playing_of
from fillgen.errors import OptionError, shorten

if TYPE_CHECKING:
    from fillgen.arrange import Playing
    from fillgen.practice import Session


def practice(
    chart: Chart,
    phrase: Annotated[
        str | None,
        typer.Argument(
            metavar="[PHRASE]", help="A phrase of your own, as for check. Left out, ideas are found."
        ),
    ] = None,
    slowest: Annotated[
        float, typer.Option("--slowest", help="Where a loop begins, as a share of the tempo, 0.3 to 1.")
    ] = 0.6,
    steps: Annotated[int, typer.Option("--steps", help="Tempos from the slowest up to the tempo.")] = 4,
    times: Annotated[int, typer.Option("--times", help="How often each round of a loop is played.")] = 2,
    turns: Annotated[
        int | None,
        typer.Option(
            "--turns", help="Call and answer instead: so many ideas, each followed by empty bars for you."
        ),
    ] = None,
    idea: Annotated[int, typer.Option("--idea", help="Which idea is looped, by its rank.")] = 1,
    levels: Annotated[
        str, typer.Option("--levels", help="The steps of a lesson sheet: levels, with commas.")
    ] = "1,2,3",
    per_level: Annotated[int, typer.Option("--per-level", help="Ideas at each step of a lesson sheet.")] = 2,
    seed: SeedOption = 0,
    key: KeyOption = None,
    metre: MetreOption = None,
    part: PartOption = None,
    tempo: TempoOption = None,
    rhythm: RhythmOption = None,
    level: LevelOption = None,
    busy: BusyOption = None,
    hand: HandOption = None,
    parts: Annotated[
        str, typer.Option("--parts", help="Parts of a MIDI file: right, left, bass, drums, with commas.")
    ] = "right,left,bass,drums",
    swing: SwingOption = None,
    feel: FeelOption = 0.0,
    sound: SoundOption = None,
    output: Annotated[
        str | None,
        typer.Option(
            "--output",
            "-o",
            help="Write to a file: .mid to play along with; .html or .txt for a lesson sheet.",
        ),
    ] = None,
    overwrite: OverwriteOption = False,
    rules: RulesOption = None,
) -> None:
    """Loops from slow to tempo, call and answer, and a lesson sheet that goes up the ladder of levels."""
    from fillgen.practice import call_and_answer, lesson, loop, own_ideas
    from fillgen.render.lessons import lesson_html, lesson_text, session_text

    target = target_of(output, None, {".mid": MIDI, ".midi": MIDI, ".html": HTML, ".txt": TEXT})
    pack = pack_of(rules)
    reading = reading_of(chart, phrase, key, metre, part) if phrase is not None else None
    own = None
    if reading is not None:
        found_tempo = tempo if tempo is not None else reading.tempo
        own = own_ideas(
            reading.progression, reading.notes, rhythm=rhythm, tempo=found_tempo, hand=hand, pack=pack
        )
        for remark in reading.remarks:
            typer.echo(f"Note: {remark}", err=True)
    progression = progression_of(chart, None, key, metre, False) if own is None else own.progression
    if target != MIDI and turns is None:
        sheet = lesson(
            progression,
            levels=_numbers(levels),
            per_level=per_level,
            seed=seed,
            rhythm=rhythm,
            tempo=own.tempo if own is not None else tempo,
            hand=hand or "medium",
            pack=pack,
            phrase=own[0].notes if own is not None else None,
        )
        put_out(lesson_html(sheet) if target == HTML else lesson_text(sheet, width_of()), output, overwrite)
        return
    if target == HTML:
        raise OptionError("--turns goes with a .mid file", hint="A lesson sheet has levels, not turns.")
    played = playing_of(
        parts, None, sound, rules, {**USUAL, "swing": swing, "feel": feel, "span": span_of(None, hand)}
    )
    wanted = max(idea, turns or 1)
    ideas = own or fillgen.ideas(
        progression,
        count=wanted,
        seed=seed,
        tempo=tempo,
        rhythm=rhythm,
        level=level,
        busy=busy,
        hand=hand,
        rules=pack,
    )
    sounding = played[0].parts
    if turns is not None:
        session = call_and_answer(ideas, turns=turns, parts=sounding)
    elif not 1 <= idea <= len(ideas):
        raise OptionError(f"there is no idea {idea}", hint=f"There are {len(ideas)} here.")
    else:
        session = loop(ideas, ideas[idea - 1], slowest=slowest, steps=steps, times=times, parts=sounding)
    if target == MIDI and output is not None:
        _write_session(session, output, played, overwrite)
    typer.echo(session_text(session).rstrip())


def _numbers(text: str) -> tuple[int, ...]:
    """Numbers that commas part; OptionError where one is none."""
    words = [word.strip() for word in text.split(",")]
    wrong = next((word for word in words if not word.isdecimal() or len(word) > _LONGEST_NUMBER), None)
    if wrong is not None:
        raise OptionError(f"{shorten(wrong)} is no level", hint="Levels are given like 1,2,3.")
    return tuple(int(word) for word in words)


_LONGEST_NUMBER = 4


def _write_session(
    session: Session, output: str, played: tuple[Playing, dict[str, str]], overwrite: bool
) -> None:
    from fillgen.midi import to_practice
    from fillgen.render.files import write_file

    write_file(Path(output), to_practice(session, *played), overwrite=overwrite)
    typer.echo(f"written to {output}", err=True)
