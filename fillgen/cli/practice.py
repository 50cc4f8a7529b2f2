"""The command `practice`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

import fillgen
from fillgen.cli.audio import SoundWish, put_sound, sound_wish
from fillgen.cli.inputs import pack_of, progression_of, reading_of, span_of, whole_number
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
    SheetOption,
    SoundfontOption,
    SoundOption,
    SwingOption,
    TempoOption,
)
from fillgen.cli.outputs import (
    HTML,
    MIDI,
    SOUND_ENDINGS,
    TEXT,
    put_out,
    sheet_path,
    target_of,
    width_of,
    write_sheet,
)
from fillgen.cli.playing import USUAL, playing_of
from fillgen.errors import OptionError, shorten

if TYPE_CHECKING:
    from fillgen.hands.take import Playing
    from fillgen.readers.phrases import Reading
    from fillgen.rules.pack import RulePack
    from fillgen.teaching.lesson import Lesson
    from fillgen.teaching.practice import Session


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
            help="Write to a file: .mid, .wav or .flac to play along with; .html or .txt for a lesson sheet.",
        ),
    ] = None,
    soundfont: SoundfontOption = None,
    sheet: SheetOption = None,
    overwrite: OverwriteOption = False,
    rules: RulesOption = None,
) -> None:
    """Loops from slow to tempo, call and answer, and a lesson sheet that goes up the ladder of levels."""
    from fillgen.teaching.lesson import lesson
    from fillgen.teaching.practice import own_ideas
    from fillgen.writers.lessons import lesson_html, lesson_text, session_text

    target = target_of(
        output, None, {".mid": MIDI, ".midi": MIDI, **SOUND_ENDINGS, ".html": HTML, ".txt": TEXT}
    )
    heard = sound_wish(output, soundfont)
    engraved = sheet_path(sheet, output, overwrite)
    is_lesson = target != MIDI and turns is None
    _check_together(target, turns, idea, level if is_lesson else None)
    wishes = {**USUAL, "swing": swing, "feel": feel, "span": span_of(None, hand)}
    played = playing_of(parts, None, sound, rules, wishes)
    pack = pack_of(rules)
    reading = reading_of(chart, phrase, key, metre, part) if phrase is not None else None
    own = None
    if reading is not None:
        tempo = tempo if tempo is not None else reading.tempo
        own = own_ideas(reading.progression, reading.notes, rhythm=rhythm, tempo=tempo, hand=hand, pack=pack)
        _tell(reading, pack)
    progression = progression_of(chart, None, key, metre, False) if own is None else own.progression
    if is_lesson:
        course = lesson(
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
        put_out(lesson_html(course) if target == HTML else lesson_text(course, width_of()), output, overwrite)
        if engraved is not None:
            _write_lesson_sheet(engraved, course, swing, pack, overwrite)
        return
    ideas = own or fillgen.ideas(
        progression,
        count=max(_LISTED, min(idea, 1000)),
        seed=seed,
        tempo=tempo,
        rhythm=rhythm,
        level=level,
        busy=busy,
        hand=hand,
        rules=pack,
    )
    session = _session(ideas, played[0].parts, turns, idea, slowest, steps, times)
    if target == MIDI and output is not None:
        _write_session(session, output, played, heard, overwrite)
    typer.echo(session_text(session).rstrip())
    if engraved is not None:
        _write_session_sheet(engraved, session, swing, overwrite)


def _write_lesson_sheet(
    path: Path, course: Lesson, swing: float | None, pack: RulePack, overwrite: bool
) -> None:
    """The phrases of a lesson as notes."""
    from fillgen.theory.swing import swing_at
    from fillgen.writers.entry import lesson_entries

    own = swing_at(course.progression.metre, course.tempo, pack.rhythm(course.rhythm).swing)
    write_sheet(path, lesson_entries(course, own if swing is None else swing), None, overwrite)


def _write_session_sheet(path: Path, session: Session, swing: float | None, overwrite: bool) -> None:
    """The ideas that are looped or called as notes, each once."""
    from fillgen.writers.entry import entries_of

    ranks = {each.idea.rank for each in session.rounds}
    every = zip(session.ideas, entries_of(session.ideas, swing), strict=True)
    entries = [entry for idea, entry in every if idea.rank in ranks]
    write_sheet(path, entries, None, overwrite)


_LISTED = 50
"""As many ideas are found as `ideas` lists, so that an idea has the same number here and there."""


def _check_together(target: str, turns: int | None, idea: int, level: int | None) -> None:
    """Refuse options that do not go with one another; `level` is given for a lesson only."""
    if level is not None:
        hint = "A lesson sheet has --levels, such as --levels 1,2,4."
        raise OptionError("--level goes with a .mid file", hint=hint)
    if turns is not None and target == HTML:
        raise OptionError("--turns goes with a .mid file", hint="A lesson sheet has levels, not turns.")
    if turns is not None and idea != 1:
        raise OptionError("--turns and --idea do not go together", hint="Each turn takes the next idea.")
    if idea < 1:
        raise OptionError(f"there is no idea {idea}", hint="Ideas are counted from 1.")


def _tell(reading: Reading, pack: RulePack) -> None:
    """Say how a phrase was read, and whether there is something to mend before it is practised."""
    from fillgen.engine.checked import CheckSettings, lowest_level

    for remark in reading.remarks:
        typer.echo(f"Note: {remark}", err=True)
    if lowest_level(reading.progression, reading.notes, pack, CheckSettings(whole=reading.whole)) is None:
        typer.echo("Note: no level's rules fit the phrase as it is; fillgen check tells why.", err=True)


def _session(
    ideas: fillgen.Ideas,
    parts: Sequence[str],
    turns: int | None,
    idea: int,
    slowest: float,
    steps: int,
    times: int,
) -> Session:
    """Call and answer where turns are asked for, otherwise the loop of an idea."""
    from fillgen.teaching.practice import call_and_answer, loop

    if turns is not None:
        return call_and_answer(ideas, turns=turns, parts=parts)
    if idea > len(ideas):
        raise OptionError(f"there is no idea {idea}", hint=f"There are {len(ideas)} here.")
    return loop(ideas, ideas[idea - 1], slowest=slowest, steps=steps, times=times, parts=parts)


def _numbers(text: str) -> tuple[int, ...]:
    """Levels that commas part, or the first and last with a dash; OptionError where they are none or do not rise."""
    found: list[int] = []
    for word in text.split(","):
        first, dash, last = word.strip().partition("-")
        ends = whole_number(first.strip()), whole_number(last.strip() if dash else first.strip())
        if ends[0] is None or ends[1] is None:
            raise OptionError(
                f"{shorten(word.strip())} is no level", hint="Levels are given like 1,2,3 or 1-3."
            )
        found += range(ends[0], ends[1] + 1)
    if found != sorted(set(found)):
        raise OptionError(f"the levels {shorten(text)} do not go up", hint="A ladder goes up, such as 1,2,3.")
    return tuple(found)


def _write_session(
    session: Session,
    output: str,
    played: tuple[Playing, dict[str, str]],
    heard: SoundWish | None,
    overwrite: bool,
) -> None:
    from fillgen.writers.files import write_file
    from fillgen.writers.midi import to_practice

    midi = to_practice(session, *played)
    if heard is not None:
        put_sound(Path(output), midi, heard, overwrite=overwrite)
    else:
        write_file(Path(output), midi, overwrite=overwrite)
    typer.echo(f"written to {output}", err=True)
