"""The command `practice`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from fillgen.app.charts import chosen, whole_number
from fillgen.app.contents import PRACTICE, in_two_voices, lesson_content, look_of, own_answer, session_content
from fillgen.app.formats import Delivery, Target, targets_of
from fillgen.app.options import (
    FIRST_NOTE_ON,
    LAST,
    ONLY,
    PART,
    PHRASE,
    RULES,
    BookOptions,
    ChordOptions,
    IdeaOptions,
    Option,
    OutputOptions,
    PlayOptions,
    SheetOptions,
    given,
)
from fillgen.cli.inputs import (
    explained_progression_of,
    hints_of,
    ideas_of_book,
    pack_of,
    reading_of,
    refuse_last,
    refuse_options,
    refuse_part,
    with_phrase,
)
from fillgen.cli.outputs import check_printed, deliver_all, note, print_out, width_of
from fillgen.cli.signature import grouped
from fillgen.engine.generate import generate
from fillgen.engine.request import Request
from fillgen.errors import OptionError, shorten
from fillgen.hands.playing import PARTS, Playing, played_as
from fillgen.phrase.idea import Ideas

if TYPE_CHECKING:
    from fillgen.readers.phrases import Hints, Reading
    from fillgen.rules.pack import RulePack
    from fillgen.teaching.lesson import Lesson
    from fillgen.teaching.practice import Session

SLOWEST = Option(("--slowest",), "Where a loop begins, as a share of the tempo, 0.3 to 1.", float)
STEPS = Option(("--steps",), "Tempos from the slowest up to the tempo.", int)
TURNS = Option(
    ("--turns",), "Call and answer instead: this many ideas, each followed by empty bars for you.", int
)
LEVELS = Option(("--levels",), "The steps of a lesson: levels, with commas.")
PER_LEVEL = Option(("--per-level",), "Ideas at each step of a lesson.", int)
_PAGES = (".html", ".htm")
_OF_LESSONS = ("tempo", "rhythm", "hand", "seed")
"""The options of ideas that go with a phrase of the player's own, or an idea of the book."""


@grouped(
    usual=(PlayOptions(parts=PARTS, times=2, count_in=True),),
    without=("audio", "second_set", "close", "slow_down", "bass", "format"),
)
def practice(
    *,
    chords: ChordOptions,
    phrase: Annotated[str | None, PHRASE] = None,
    only: Annotated[str | None, ONLY] = None,
    slowest: Annotated[float, SLOWEST] = 0.6,
    steps: Annotated[int, STEPS] = 4,
    turns: Annotated[int | None, TURNS] = None,
    levels: Annotated[str, LEVELS] = "1,2,3",
    per_level: Annotated[int, PER_LEVEL] = 2,
    options: IdeaOptions,
    part: Annotated[str | None, PART] = None,
    first_note_on: Annotated[float | None, FIRST_NOTE_ON] = None,
    last: Annotated[bool, LAST] = False,
    playing: PlayOptions,
    output: OutputOptions,
    look: SheetOptions,
    book: BookOptions,
    rules: Annotated[Path | None, RULES] = None,
) -> None:
    """Loops from slow to tempo, call and answer, and a lesson that goes up the ladder of levels.

    Printed, and written to .html and .txt, it is a lesson; .mid, .wav and .flac hold the loop of an idea to play along
    with, or with --turns calls that you answer; without right in --parts it is the loop of a backing track. Sheets show the notes of either.
    """
    check_printed(output)
    targets = targets_of(output, PRACTICE, look)
    loops, lessons = _sorted_out(targets, turns)
    is_lesson = turns is None and not loops
    _check_together(lessons, turns, only, options.level, playing.second, is_lesson=is_lesson)
    pack = pack_of(rules)
    played, sounds = played_as(
        replace(playing, times=1), pack, hand=options.hand
    )  # `times` is the loop's own
    chords, phrase = with_phrase(chords, phrase)
    hints = hints_of(options.tempo, first_note_on)
    mine = _mine(chords, phrase, part, options, book, pack, hints, last=last)
    read = heard = None
    if is_lesson or lessons:
        course = _course(mine, chords, levels, per_level, options, pack)
        read = lesson_content(course, playing.swing, pack, look, width=width_of(targets))
    if not is_lesson:
        ideas = mine or generate(
            Request.over(explained_progression_of(chords, options.rhythm, pack), options, pack)
        )
        session = _session(in_two_voices(ideas, played), played, turns, only, slowest, steps, playing.times)
        seen = (
            look if playing.parts == PARTS else look_of(look, playing, played)
        )  # not all that sounds by itself
        heard = session_content(session, played, sounds, seen, width=width_of(targets))
    works = ((read, lessons), (heard, loops))
    deliver_all([Delivery(each, files) for each, files in works if each is not None], output)
    written = {target.ending for target in (lessons if is_lesson else loops)}
    printed = read if is_lesson else heard
    if printed is not None and not written & {".txt", *(_PAGES if is_lesson else ())}:
        print_out(printed, output)


def _sorted_out(targets: Sequence[Target], turns: int | None) -> tuple[list[Target], list[Target]]:
    """The files that hold what is played, and those that hold a lesson; sheets go with what is played, if anything is."""
    heard = [target for target in targets if "midi" in target.format.needs]
    read = [
        target for target in targets if target.ending in _PAGES or (target.ending == ".txt" and turns is None)
    ]
    rest = [target for target in targets if target not in heard and target not in read]
    return (heard + rest, read) if heard or turns is not None else ([], read + rest)


def _check_together(
    lessons: Sequence[Target],
    turns: int | None,
    only: str | None,
    level: int | None,
    second: str | None,
    *,
    is_lesson: bool,
) -> None:
    """Refuse options that don't go with one another, or with a lesson where that is all there is."""
    if is_lesson and level is not None:
        hint = "A lesson has --levels, such as --levels 1,2,4."
        raise OptionError("--level goes with a .mid file", hint=hint)
    if is_lesson and second is not None:
        raise OptionError("--second goes with a .mid file", hint="A lesson has one voice.")
    if is_lesson and only is not None:
        hint = "A lesson takes the best ideas of each level."
        raise OptionError("--only goes with a .mid file", hint=hint)
    if turns is not None and any(target.ending in _PAGES for target in lessons):
        raise OptionError("--turns goes with a .mid file", hint="A lesson has levels, not turns.")
    if turns is not None and only is not None:
        raise OptionError("--turns and --only do not go together", hint="Each turn takes the next idea.")


def _mine(
    chords: ChordOptions,
    phrase: str | None,
    part: str | None,
    options: IdeaOptions,
    book: BookOptions,
    pack: RulePack,
    hints: Hints,
    *,
    last: bool,
) -> Ideas | None:
    """A phrase of the player's own or ideas of the book in the place of new ideas, if any are given."""
    if phrase is None:
        refuse_part(part, hints)
        return ideas_of_book(chords, book, options, last=last, besides=_OF_LESSONS)
    refuse_last(last)
    refuse_options([name for name in given(options) if name not in _OF_LESSONS], "a phrase of your own")
    reading = reading_of(chords, phrase, part, options.rhythm, pack, hints)
    _say(reading, pack)
    own = own_answer(reading, pack, rhythm=options.rhythm, tempo=options.tempo, hand=options.hand)
    return replace(own, remarks=())


def _say(reading: Reading, pack: RulePack) -> None:
    """Say how a phrase was read, and whether there is something to mend before it is practised."""
    from fillgen.engine.checked import CheckSettings, lowest_level

    for remark in reading.remarks:
        note(remark)
    if lowest_level(reading.progression, reading.notes, pack, CheckSettings(whole=reading.whole)) is None:
        note("no level's rules fit the phrase as it is; fillgen check says why.")


def _course(
    mine: Ideas | None,
    chords: ChordOptions,
    levels: str,
    per_level: int,
    options: IdeaOptions,
    pack: RulePack,
) -> Lesson:
    """A lesson, with one phrase of the player's own or one idea of the book at its end."""
    from fillgen.teaching.lesson import lesson

    if mine is not None and len(mine) > 1:
        raise OptionError(f"{len(mine)} ideas are named", hint="A lesson takes one.")
    return lesson(
        explained_progression_of(chords, options.rhythm, pack) if mine is None else mine.progression,
        levels=_numbers(levels),
        per_level=per_level,
        seed=options.seed,
        rhythm=options.rhythm,
        tempo=options.tempo if mine is None else mine.tempo,
        hand=options.hand or "medium",
        pack=pack,
        phrase=mine[0].notes if mine is not None else None,
    )


def _session(
    ideas: Ideas,
    played: Playing,
    turns: int | None,
    only: str | None,
    slowest: float,
    steps: int,
    times: int,
) -> Session:
    """Call and answer where turns are asked for, otherwise the loop of an idea."""
    from fillgen.hands.take import Ensemble
    from fillgen.teaching.practice import call_and_answer, loop

    if turns is not None:
        return call_and_answer(ideas, turns=turns, parts=played.parts, count_in=played.count_in)
    some = chosen(ideas.ideas, only)
    if only is not None and len(some) > 1:
        raise OptionError("a loop repeats one idea", hint="Name one rank with --only.")
    first = Ensemble(replace(ideas, ideas=some), played).in_order()[0]
    return loop(
        ideas,
        first,
        slowest=slowest,
        steps=steps,
        times=times,
        parts=played.parts,
        count_in=played.count_in,
    )


def _numbers(text: str) -> tuple[int, ...]:
    """Levels that commas part, or the first and last with a dash; OptionError where they aren't levels or don't rise."""
    found: list[int] = []
    for word in text.split(","):
        first, dash, last = word.strip().partition("-")
        ends = whole_number(first.strip()), whole_number(last.strip() if dash else first.strip())
        if ends[0] is None or ends[1] is None:
            hint = "Levels are given like 1,2,3 or 1-3."
            raise OptionError(f"{shorten(word.strip())} is not a level", hint=hint)
        found += range(ends[0], ends[1] + 1)
    if found != sorted(set(found)):
        raise OptionError(f"the levels {shorten(text)} do not go up", hint="A ladder goes up, such as 1,2,3.")
    return tuple(found)
