"""The command `practice`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from fillgen.app.charts import chosen, whole_number
from fillgen.app.contents import PRACTICE, lesson_content, own_answer, session_content
from fillgen.app.formats import Target, targets_of
from fillgen.app.options import (
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
)
from fillgen.cli.inputs import book_ideas, pack_of, progression_of, reading_of, with_phrase
from fillgen.cli.outputs import answer, check_printed, deliver, note, print_out, width_of
from fillgen.cli.signature import grouped
from fillgen.engine.generate import generate
from fillgen.engine.request import Request
from fillgen.errors import OptionError, shorten
from fillgen.hands.playing import PARTS, played_as
from fillgen.phrase.idea import Ideas

if TYPE_CHECKING:
    from fillgen.readers.phrases import Reading
    from fillgen.rules.pack import RulePack
    from fillgen.teaching.practice import Session

SLOWEST = Option(("--slowest",), "Where a loop begins, as a share of the tempo, 0.3 to 1.", float)
STEPS = Option(("--steps",), "Tempos from the slowest up to the tempo.", int)
TURNS = Option(
    ("--turns",), "Call and answer instead: this many ideas, each followed by empty bars for you.", int
)
LEVELS = Option(("--levels",), "The steps of a lesson: levels, with commas.")
PER_LEVEL = Option(("--per-level",), "Ideas at each step of a lesson.", int)
_PAGES = (".html", ".htm")


@grouped(
    usual=(PlayOptions(parts=PARTS, times=2),),
    without=("audio", "second_set", "count_in", "close", "slow_down", "bass", "format"),
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
    last: Annotated[bool, LAST] = False,
    playing: PlayOptions,
    output: OutputOptions,
    look: SheetOptions,
    book: BookOptions,
    rules: Annotated[Path | None, RULES] = None,
) -> None:
    """Loops from slow to tempo, call and answer, and a lesson that goes up the ladder of levels.

    Printed, and written to .html and .txt, it is a lesson; .mid, .wav and .flac hold the loop of an idea to play along
    with, or with --turns calls that you answer. Sheets show the notes of either.
    """
    check_printed(output)
    targets = targets_of(output, PRACTICE)
    loops, lessons = _sorted_out(targets, turns)
    is_lesson = turns is None and not loops
    _check_together(lessons, turns, only, options.level if is_lesson else None)
    pack = pack_of(rules)
    played, sounds = played_as(playing, pack, hand=options.hand)
    chords, phrase = with_phrase(chords, phrase)
    own, in_book = _own(chords, phrase, part, options, pack), None
    if own is None:
        in_book = _of_book(chords, book, last=last)
    elif last:
        raise OptionError("--last goes with the rank of an idea", hint="Such as 3 --last.")
    mine = own or in_book
    if is_lesson or lessons:
        _teach(mine, chords, levels, per_level, options, playing.swing, pack, output, lessons, look)
    if is_lesson:
        return
    ideas = mine or generate(Request.over(progression_of(chords), options, pack))
    session = _session(ideas, played.parts, turns, only, slowest, steps, playing.times)
    content = session_content(session, replace(played, times=1), sounds, look)
    deliver(content, loops, output)
    if not any(target.ending == ".txt" for target in loops):
        print_out(content, output)


def _sorted_out(targets: Sequence[Target], turns: int | None) -> tuple[list[Target], list[Target]]:
    """The files that hold what is played, and those that hold a lesson; sheets go with what is played, if anything is."""
    heard = [target for target in targets if "midi" in target.format.needs]
    read = [
        target for target in targets if target.ending in _PAGES or (target.ending == ".txt" and turns is None)
    ]
    rest = [target for target in targets if target not in heard and target not in read]
    return (heard + rest, read) if heard or turns is not None else ([], read + rest)


def _check_together(
    lessons: Sequence[Target], turns: int | None, only: str | None, level: int | None
) -> None:
    """Refuse options that don't go with one another; `level` is given for a lesson only."""
    if level is not None:
        hint = "A lesson has --levels, such as --levels 1,2,4."
        raise OptionError("--level goes with a .mid file", hint=hint)
    if turns is not None and any(target.ending in _PAGES for target in lessons):
        raise OptionError("--turns goes with a .mid file", hint="A lesson has levels, not turns.")
    if turns is not None and only is not None:
        raise OptionError("--turns and --only do not go together", hint="Each turn takes the next idea.")


def _own(
    chords: ChordOptions, phrase: str | None, part: str | None, options: IdeaOptions, pack: RulePack
) -> Ideas | None:
    """A phrase of the player's own in the place of ideas, if one is given; what there is to mend is said first."""
    if phrase is None:
        if part is not None:
            raise OptionError("--part goes with a phrase", hint="It names a part of the phrase's file.")
        return None
    reading = reading_of(chords, phrase, part)
    _say(reading, pack)
    own = own_answer(reading, pack, rhythm=options.rhythm, tempo=options.tempo, hand=options.hand)
    return replace(own, remarks=())


def _of_book(chords: ChordOptions, book: BookOptions, *, last: bool) -> Ideas | None:
    """Ideas of the book in the place of new ones, if their numbers are given."""
    entries = book_ideas(chords, book, last=last)
    if entries is None:
        return None
    from fillgen.app.memory import as_answer

    return as_answer(entries)


def _say(reading: Reading, pack: RulePack) -> None:
    """Say how a phrase was read, and whether there is something to mend before it is practised."""
    from fillgen.engine.checked import CheckSettings, lowest_level

    for remark in reading.remarks:
        note(remark)
    if lowest_level(reading.progression, reading.notes, pack, CheckSettings(whole=reading.whole)) is None:
        note("no level's rules fit the phrase as it is; fillgen check says why.")


def _teach(
    mine: Ideas | None,
    chords: ChordOptions,
    levels: str,
    per_level: int,
    options: IdeaOptions,
    swing: float | None,
    pack: RulePack,
    output: OutputOptions,
    targets: Sequence[Target],
    look: SheetOptions,
) -> None:
    """Print a lesson, or write it."""
    from fillgen.teaching.lesson import lesson

    course = lesson(
        progression_of(chords) if mine is None else mine.progression,
        levels=_numbers(levels),
        per_level=per_level,
        seed=options.seed,
        rhythm=options.rhythm,
        tempo=options.tempo if mine is None else mine.tempo,
        hand=options.hand or "medium",
        pack=pack,
        phrase=mine[0].notes if mine is not None else None,
    )
    content = lesson_content(course, swing, pack, look, width=width_of())
    if targets and not any(target.ending in (*_PAGES, ".txt") for target in targets):
        deliver(content, targets, output)
        print_out(content, output)
    else:
        answer(content, targets, output)


def _session(
    ideas: Ideas,
    parts: Sequence[str],
    turns: int | None,
    only: str | None,
    slowest: float,
    steps: int,
    times: int,
) -> Session:
    """Call and answer where turns are asked for, otherwise the loop of an idea."""
    from fillgen.teaching.practice import call_and_answer, loop

    if turns is not None:
        return call_and_answer(ideas, turns=turns, parts=parts)
    some = chosen(ideas.ideas, only)[:1] if only is None else chosen(ideas.ideas, only)
    if len(some) > 1:
        raise OptionError("a loop repeats one idea", hint="Name one rank with --only.")
    return loop(ideas, some[0], slowest=slowest, steps=steps, times=times, parts=parts)


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
