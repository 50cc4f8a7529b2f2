"""A lesson that goes up the ladder of levels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from fillgen.chart.progression import Progression
from fillgen.engine.generate import generate
from fillgen.engine.request import MOST_IDEAS, Request
from fillgen.errors import NoPhraseError, OptionError
from fillgen.hands.fingering import best
from fillgen.hands.reach import reach
from fillgen.phrase.idea import CHORD_TONE, IdeaNote
from fillgen.phrase.remark import FEWER
from fillgen.phrase.text import check_phrase
from fillgen.rules.pack import Level, RulePack
from fillgen.teaching.cautions import CAUTIONS
from fillgen.teaching.notefit import ChordNotes, chord_notes
from fillgen.teaching.practice import check_count, tempi
from fillgen.teaching.sentences import reasons
from fillgen.theory.pitch import interval_in_words

_MOST_PER_LEVEL = 10
_WIDE = 5
"""Semitones of a leap, a fourth, that is worth playing alone first."""


# Lessons


@dataclass(frozen=True, slots=True)
class Explained:
    """A phrase as a lesson shows it: what it is called, its notes with their fingers, and why each of them fits."""

    name: str
    notes: tuple[IdeaNote, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """A step of a lesson: its name, what it adds, how to practise it, its phrases, and what else there is to say."""

    name: str
    adds: str
    practise: tuple[str, ...]
    phrases: tuple[Explained, ...]
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Lesson:
    """A lesson over one chart: what fits each chord, and the steps up the ladder, easiest first.

    `tempo` is in quarter notes a minute, `hand` the size of hand that the phrases are fingered for.
    """

    progression: Progression
    rhythm: str
    tempo: int
    hand: str
    fits: tuple[ChordNotes, ...]
    steps: tuple[Step, ...]
    cautions: tuple[str, ...] = CAUTIONS


@dataclass(frozen=True)
class _Course:
    """What all steps of a lesson share."""

    request: Request
    tempo: int
    hand: str
    pack: RulePack = field(default_factory=RulePack)


def lesson(
    progression: Progression,
    *,
    levels: Sequence[int] = (1, 2, 3),
    per_level: int = 2,
    seed: int = 0,
    rhythm: str | None = None,
    tempo: int | None = None,
    hand: str = "medium",
    pack: RulePack | None = None,
    phrase: tuple[IdeaNote, ...] | None = None,
) -> Lesson:
    """A lesson over a chart: a step for each level, easiest first, then the pupil's own phrase where there is one.

    A step has `per_level` ideas, or fewer if the level allows no more, as its remarks say. Fingers that a
    phrase has are kept, others are found. OptionError for a setting out of range, PhraseError for a phrase that
    does not go with the chart, NoPhraseError if no level has any idea and there is no phrase either.

    >>> from fillgen.chart.text import parse_chart
    >>> found = lesson(parse_chart("| C | F | G7 | C |"), levels=(2, 1), per_level=1)
    >>> [step.name for step in found.steps], found.steps[0].phrases[0].reasons[0].startswith("C")
    (['Level 1: roots', 'Level 2: chord notes'], True)
    """
    pack = pack or RulePack()
    check_count(per_level, min(_MOST_PER_LEVEL, MOST_IDEAS), "idea")
    if not levels:
        known = ", ".join(map(str, pack.level_numbers))
        raise OptionError("no level given", hint=f"The levels are {known}.")
    reach(hand)
    chosen = pack.rhythm(rhythm or pack.usual_rhythm(progression))
    request = Request(
        progression, count=per_level, seed=seed, rhythm=chosen.name, tempo=tempo, hand=hand, pack=pack
    )
    course = _Course(request, chosen.tempo if tempo is None else tempo, hand, pack)
    steps = _levels(course, [pack.level(number) for number in sorted(set(levels))], phrase is not None)
    if phrase is not None:
        steps.append(_own(course, phrase))
    return Lesson(progression, chosen.name, course.tempo, hand, chord_notes(progression), tuple(steps))


def _levels(course: _Course, levels: Sequence[Level], goes_on: bool) -> list[Step]:
    """A step for each level. If a level has no phrase its step says so; if none has and nothing else comes, NoPhraseError."""
    steps, failed = [], None
    for level in levels:
        try:
            steps.append(_level_step(course, level))
        except NoPhraseError as error:
            failed = error
            steps.append(Step(_named(level), level.says, (), (), (f"There is no idea here: {error}",)))
    if failed is not None and not goes_on and not any(step.phrases for step in steps):
        raise failed
    return steps


def _named(level: Level) -> str:
    return f"Level {level.number}: {level.name}"


def _level_step(course: _Course, level: Level) -> Step:
    ideas = generate(replace(course.request, level=level.number))
    phrases = tuple(_explained(course, f"Idea {idea.rank}: {idea.shape}", idea.notes) for idea in ideas)
    practise = (_way(level), _tempo_way(course.tempo), *_leap_way(phrases))
    few = tuple(str(remark) for remark in ideas.remarks if remark.kind in FEWER)
    return Step(_named(level), level.says, practise, phrases, few)


def _own(course: _Course, phrase: tuple[IdeaNote, ...]) -> Step:
    """The pupil's phrase as the last step."""
    check_phrase(course.request.progression, tuple(each.note for each in phrase))
    phrases = (_explained(course, "Your phrase", phrase),)
    practise = (_own_way(phrase), _tempo_way(course.tempo), *_leap_way(phrases))
    return Step("Your own phrase", "What you made yourself, note by note.", practise, phrases)


def _explained(course: _Course, name: str, notes: tuple[IdeaNote, ...]) -> Explained:
    fingered = _fingered(notes, course.hand)
    phrase = tuple(each.note for each in notes)
    return Explained(name, fingered, reasons(course.request.progression, phrase))


def _fingered(notes: tuple[IdeaNote, ...], hand: str) -> tuple[IdeaNote, ...]:
    """Notes with fingers: their own where all have one, otherwise those that cost the hand least."""
    if all(each.finger for each in notes):
        return notes
    fingers = best([each.note.midi for each in notes], reach(hand))
    return tuple(replace(each, finger=finger) for each, finger in zip(notes, fingers, strict=True))


# How to practise


def _way(level: Level) -> str:
    """How to practise a level, depending on what its rules and rhythms allow."""
    allowed = {
        word for use in level.uses if use.rule.kind == "non-chord-note" for word in use.settings["allow"]
    }
    return next(words for has, words in _ways(level, allowed) if has)


def _ways(level: Level, allowed: set[str]) -> tuple[tuple[bool, str], ...]:
    """From the newest thing a level can have to the oldest, with what to do about it."""
    return (
        (level.one_a_chord, "Say the name of each chord aloud, then play its root as the chord begins."),
        (
            bool(allowed & {"approach", "appoggiatura"}),
            "Play each colour note together with the note it goes to, as a pair, until you hear where it wants to go.",
        ),
        (
            level.triplets,
            "Speak the rhythm with its triplets evenly on one syllable before you play the notes.",
        ),
        (
            level.syncopation,
            "Tap the beats with your foot and clap the rhythm first; play the notes once the off-beats stay in place.",
        ),
        (
            bool(allowed),
            "Leave out the notes in between at first and play the chord notes alone; then put them back one by one.",
        ),
        (
            True,
            "Hold each chord with the left hand, and sing the next note of it before you play it.",
        ),
    )


def _own_way(phrase: Sequence[IdeaNote]) -> str:
    """How to practise your own phrase, by what its notes are."""
    doubtful = [each for each in phrase if not each.role]
    if doubtful:
        first = doubtful[0]
        return f"Try another note in the place of {first.name} in bar {first.bar}, and hear which one you like better."
    if any(each.role != CHORD_TONE for each in phrase):
        return (
            "Play the chord notes alone at first, then the whole phrase, and listen to what the others add."
        )
    return "Play it as written, then join two of its chord notes with a note between them."


def _tempo_way(tempo: int) -> str:
    """From which tempo to which, and when to go on."""
    *slower, last = map(str, tempi(tempo))
    return (
        f"Begin at {slower[0]} quarter notes a minute; when it goes well three times in a row, go on to "
        f"{', '.join([*slower[1:], last])}."
    )


def _leap_way(phrases: Sequence[Explained]) -> tuple[str, ...]:
    """The widest leap of all phrases, where it is wide, to be played alone first."""
    steps = [(abs(b.note.midi - a.note.midi), a, b) for each in phrases for a, b in pairwise(each.notes)]
    wide, before, after = max(steps, key=lambda step: step[0], default=(0, None, None))
    if before is None or after is None or wide <= _WIDE:
        return ()
    where = f"{before.name} to {after.name} in bar {after.bar}"
    return (
        f"The widest leap is {interval_in_words(wide)}, from {where}: play it alone first, without looking.",
    )
