"""The command `practice`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from fillgen.app.charts import chosen
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
from fillgen.cli.signature import PHRASES_OWN, grouped
from fillgen.engine.generate import generate
from fillgen.engine.request import Request
from fillgen.errors import OptionError, listed, shorten
from fillgen.hands.playing import PARTS, Playing, played_as
from fillgen.phrase.idea import Ideas
from fillgen.phrase.ranks import whole_number

if TYPE_CHECKING:
    from fillgen.readers.phrases import Hints, Reading
    from fillgen.rules.pack import RulePack
    from fillgen.teaching.lesson import Lesson
    from fillgen.teaching.practice import Session

SLOWEST = Option(
    ("--slowest",), "The slowest tempo of a loop, as a share of the tempo, 0.3 to 1. [default: 0.6]", float
)
STEPS = Option(
    ("--steps",), "How many tempos, from the slowest up to the tempo. [default: 4; 1 with --keys]", int
)
TIMES = Option(("--times",), "How many times each tempo is played. [default: 2; 1 with --keys]", int)
KEYS = Option(
    ("--keys",),
    "The phrase in key after key, without a gap: fifths, fourths or half-steps through all twelve, or keys with "
    "commas, such as Eb,Ab,Db.",
    values=lambda: ("fifths", "fourths", "half-steps"),
)
TURNS = Option(("--turns",), "Call and answer: this many ideas, each followed by empty bars for you.", int)
LEVELS = Option(("--levels",), "The levels of a lesson, such as 1,2,4 or 1-3. [default: 1,2,3]")
PER_LEVEL = Option(("--per-level",), "Ideas at each step of a lesson. [default: 2]", int)
_PAGES = (".html", ".htm")
_LEVELS, _PER_LEVEL = "1,2,3", 2
_OF_LESSONS = ("tempo", "rhythm", "hand", "seed")
"""The options of ideas that go with a phrase of the player's own, or an idea of the book."""


@grouped(
    usual=(PlayOptions(parts=PARTS, count_in=True),),
    without=("times", "audio", "second_set", "close", "slow_down", "bass", "format"),
    defaults={**PHRASES_OWN, "enter": "together"},
)
def practice(
    *,
    chords: ChordOptions,
    phrase: Annotated[str | None, PHRASE] = None,
    only: Annotated[str | None, ONLY] = None,
    slowest: Annotated[float | None, SLOWEST] = None,
    steps: Annotated[int | None, STEPS] = None,
    times: Annotated[int | None, TIMES] = None,
    keys: Annotated[str | None, KEYS] = None,
    turns: Annotated[int | None, TURNS] = None,
    levels: Annotated[str | None, LEVELS] = None,
    per_level: Annotated[int | None, PER_LEVEL] = None,
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

    By default it is a lesson, printed or as .html, .txt, .pdf or .svg; .mid, .wav and .flac hold the loop of an idea to
    play along with, or with --turns calls that you answer; without right in --parts it is the loop of a backing track.
    Sheets show the notes of either. With --keys all of them take one phrase through the keys.
    """
    check_printed(output)
    targets = targets_of(output, PRACTICE, look)
    if keys is not None:
        _check_keys(turns, steps, slowest)
    loops, lessons = _sorted_out(targets, turns) if keys is None else (list(targets), [])
    is_lesson = turns is None and keys is None and not loops
    _check_together(lessons, turns, only, options.level, playing.second, is_lesson=is_lesson)
    has_lesson = is_lesson or bool(lessons)
    if not has_lesson:
        _check_ladder(levels, per_level)
    pack = pack_of(rules)
    played, sounds = played_as(playing, pack, hand=options.hand)
    chords, phrase = with_phrase(chords, phrase)
    hints = hints_of(options.tempo, first_note_on)
    mine = _mine(chords, phrase, part, options, book, pack, hints, last=last, has_lesson=has_lesson)
    read = heard = None
    if has_lesson:
        course = _course(mine, chords, levels or _LEVELS, per_level or _PER_LEVEL, options, pack)
        read = lesson_content(course, playing.swing, pack, look, width=width_of(targets))
    if not is_lesson:
        ideas = mine or _new(chords, options, pack)
        plan = _Plan(turns, keys, slowest, steps, times)
        session = _session(in_two_voices(ideas, played), played, only, plan, options, pack)
        # not all that sounds by itself is seen
        seen = look if playing.parts == PARTS else look_of(look, playing, played)
        heard = session_content(session, played, sounds, seen, width=width_of(targets))
    works = ((read, lessons), (heard, loops))
    deliver_all([Delivery(each, files) for each, files in works if each is not None], output)
    written = {target.ending for target in (lessons if is_lesson else loops)}
    printed = read if is_lesson else heard
    if printed is not None and not written & {".txt", *(_PAGES if is_lesson else ())}:
        print_out(printed, output)


def _new(chords: ChordOptions, options: IdeaOptions, pack: RulePack) -> Ideas:
    """New ideas over a chart, where none are given."""
    return generate(Request.over(explained_progression_of(chords, options.rhythm, pack), options, pack))


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
        raise OptionError("--level needs a .mid file", hint=hint)
    if is_lesson and second is not None:
        raise OptionError("--second needs a .mid file", hint="A lesson has one voice.")
    if is_lesson and only is not None:
        hint = "A lesson takes the best ideas of each level."
        raise OptionError("--only needs a .mid file", hint=hint)
    if turns is not None and any(target.ending in _PAGES for target in lessons):
        raise OptionError("--turns needs a .mid file", hint="A lesson has levels, not turns.")
    if turns is not None and only is not None:
        raise OptionError("use --turns or --only, not both", hint="Each turn takes the next idea.")


def _check_ladder(levels: str | None, per_level: int | None) -> None:
    """Refuse the levels of a lesson where there is none."""
    given = [flag for flag, value in (("--levels", levels), ("--per-level", per_level)) if value is not None]
    if given:
        hint = "What is played is of one level, such as --level 2. A ladder of levels is written on its own: -o ladder.pdf."
        raise OptionError(f"{listed(given, 'and')} can't be used here", hint=hint)


def _check_keys(turns: int | None, steps: int | None, slowest: float | None) -> None:
    """Refuse what doesn't go with a phrase through the keys."""
    if turns is not None:
        hint = "--keys takes one phrase through the keys; each turn takes the next idea."
        raise OptionError("use --turns or --keys, not both", hint=hint)
    if slowest is not None and (steps is None or steps == 1):
        hint = "Each key is played at full tempo only. --steps 3 works up to it in each key."
        raise OptionError("with --keys, --slowest needs --steps", hint=hint)


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
    has_lesson: bool,
) -> Ideas | None:
    """A phrase of the player's own or ideas of the book in the place of new ideas, if any are given."""
    if phrase is None:
        refuse_part(part, hints)
        return ideas_of_book(chords, book, options, last=last, besides=_OF_LESSONS if has_lesson else ())
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
    from fillgen.app.varying import in_own_rhythm
    from fillgen.teaching.lesson import lesson

    if mine is not None and len(mine) > 1:
        raise OptionError(f"{len(mine)} ideas are named", hint="A lesson takes one of them.")
    if mine is not None:
        options = in_own_rhythm(options, mine.rhythm, mine.tempo, mine.progression, pack)
    return lesson(
        explained_progression_of(chords, options.rhythm, pack) if mine is None else mine.progression,
        levels=_numbers(levels),
        per_level=per_level,
        seed=options.seed,
        rhythm=options.rhythm,
        tempo=options.tempo,
        hand=options.hand or "medium",
        pack=pack,
        phrase=mine[0].notes if mine is not None else None,
    )


@dataclass(frozen=True)
class _Plan:
    """What a session is to be: its turns or keys, and the tempi and times of a loop; None is the usual."""

    turns: int | None
    keys: str | None
    slowest: float | None
    steps: int | None
    times: int | None

    @property
    def counts(self) -> dict[str, int]:
        """The numbers that are given."""
        both = {"steps": self.steps, "times": self.times}
        return {name: count for name, count in both.items() if count is not None}


def _session(
    ideas: Ideas, played: Playing, only: str | None, plan: _Plan, options: IdeaOptions, pack: RulePack
) -> Session:
    """Call and answer where turns are asked for, otherwise an idea: its loop, or through the keys."""
    from fillgen.hands.take import Ensemble
    from fillgen.teaching.keys import in_keys, keys_through
    from fillgen.teaching.practice import SLOWEST as USUAL_SLOWEST
    from fillgen.teaching.practice import call_and_answer, loop, through_keys

    parts, count_in = played.parts, played.count_in
    if plan.turns is not None:
        return call_and_answer(ideas, turns=plan.turns, parts=parts, count_in=count_in)
    some = chosen(ideas.ideas, only)
    if only is not None and len(some) > 1:
        raise OptionError("a loop needs one idea", hint="Choose one with --only.")
    first = Ensemble(replace(ideas, ideas=some), played).in_order()[0]
    slowest = USUAL_SLOWEST if plan.slowest is None else plan.slowest
    if plan.keys is None:
        return loop(ideas, first, slowest=slowest, parts=parts, count_in=count_in, **plan.counts)
    keys = keys_through(plan.keys, ideas.progression.key)
    versions = in_keys(ideas, first, keys, low=options.low, high=options.high, pack=pack)
    return through_keys(ideas, versions, slowest=slowest, parts=parts, count_in=count_in, **plan.counts)


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
        raise OptionError(
            f"the levels {shorten(text)} don't rise", hint="Give them in rising order, such as 1,2,3."
        )
    return tuple(found)
