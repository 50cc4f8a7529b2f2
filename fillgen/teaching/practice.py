"""Practising: sessions that loop an idea or leave room for an answer, and lessons that go up the ladder of levels.

What is planned here is written as MIDI by `fillgen.writers.midi.to_practice` and as a sheet by `fillgen.writers.lessons`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import groupby
from math import ceil

from fillgen.chart.progression import Progression
from fillgen.engine.request import Request, settle
from fillgen.errors import OptionError, listed, many
from fillgen.hands.fingering import best
from fillgen.hands.playing import PARTS, Playing, check_playing
from fillgen.hands.reach import reach
from fillgen.phrase.idea import Idea, Ideas
from fillgen.phrase.note import Phrase
from fillgen.rules import judge
from fillgen.rules.pack import RulePack
from fillgen.theory.metre import TICKS

MOST_MINUTES = 60
"""The longest session offered. Common practice: no longer without leaving the instrument."""
REST_AFTER = 5.0
"""The most minutes of playing between two rests, unless one time through is longer. Common practice."""
REST_SECONDS = 20.0
"""How long the hands rest at least, in empty bars. Common practice."""
SLOWEST = 0.6
"""The usual share of the tempo at which practice begins."""
STEPS = 4
"""How many tempi there usually are on the way up."""
_MOST_STEPS, _MOST_TIMES, _MOST_TURNS = 12, 16, 50
_LEAST_SHARE = 0.3


# Sessions


@dataclass(frozen=True, slots=True)
class Round:
    """One time through the bars: the idea, its tempo in quarter notes a minute, the parts that sound, and a label.

    `count_in` is a bar of clicks before it, `rest` are empty bars before that, in which the hands rest. `progression` are
    the chords in another key, None if they are those of the session.
    """

    idea: Idea
    tempo: int
    parts: tuple[str, ...]
    label: str
    count_in: bool = False
    rest: int = 0
    progression: Progression | None = None

    @property
    def before(self) -> int:
        """Bars before the music begins."""
        return self.rest + self.count_in


@dataclass(frozen=True)
class Session:
    """Rounds one after another, over the progression, in the rhythm and with the swing of their ideas."""

    ideas: Ideas
    rounds: tuple[Round, ...]

    @cached_property
    def starts(self) -> tuple[int, ...]:
        """The tick at which the music of each round begins, after its rest and its count-in."""
        bar, at, starts = self.ideas.progression.metre.bar, 0, []
        for each in self.rounds:
            at += each.before * bar
            starts.append(at)
            at += self.ideas.progression.length
        return tuple(starts)

    def over(self, each: Round) -> Progression:
        """The chords of a round, in its key."""
        return each.progression or self.ideas.progression

    @cached_property
    def by_key(self) -> tuple[Ideas, ...]:
        """The ideas that are played, those of each key together, in the order of the keys."""
        played: dict[int, tuple[Progression, dict[int, Idea]]] = {}
        for each in self.rounds:
            chords = self.over(each)
            played.setdefault(id(chords), (chords, {}))[1][each.idea.rank] = each.idea
        return tuple(
            replace(self.ideas, progression=chords, ideas=tuple(some[rank] for rank in sorted(some)))
            for chords, some in played.values()
        )

    @property
    def length(self) -> int:
        """Ticks of the whole session."""
        return self.starts[-1] + self.ideas.progression.length


def minutes(session: Session) -> float:
    """How long a session lasts, in minutes, rests and count-ins included.

    >>> import fillgen
    >>> ideas = fillgen.ideas("| C | F | G7 | C |", tempo=120, count=1)
    >>> minutes(loop(ideas, ideas[0], steps=1, times=1))  # a bar of clicks and three rounds of four bars, two seconds each
    0.43333333333333335
    """
    return sum(_minutes(each, session.ideas.progression) for each in session.rounds)


def _minutes(each: Round, progression: Progression) -> float:
    return (each.before * progression.metre.bar + progression.length) / TICKS / each.tempo


def tempi(tempo: int, slowest: float = SLOWEST, steps: int = STEPS) -> tuple[int, ...]:
    """Tempi from a share of the tempo up to it, in equal steps of whole quarter notes a minute, each faster.

    One step is the tempo itself; where steps would be smaller than one quarter note a minute there are fewer of
    them. OptionError for a share or a number of steps out of range.

    >>> tempi(116), tempi(20, 0.9, 4)
    ((70, 85, 101, 116), (18, 19, 20))
    """
    if not _LEAST_SHARE <= slowest <= 1:
        hint = f"Give a share of the tempo from {_LEAST_SHARE:g} to 1, such as {SLOWEST:g}."
        raise OptionError(f"the slowest tempo is {slowest:g} times the tempo", hint=hint)
    check_count(steps, _MOST_STEPS, "step")
    shares = [slowest + (1 - slowest) * number / (steps - 1) for number in range(steps - 1)]
    return tuple(dict.fromkeys([*(max(1, round(tempo * share)) for share in shares), tempo]))


def check_count(count: int, most: int, what: str) -> None:
    """OptionError unless a count is from 1 to `most`; `what` names the things counted."""
    if not 1 <= count <= most:
        raise OptionError(f"you asked for {many(count, what)}", hint=f"Ask for 1 to {most} {what}s.")


def loop(
    ideas: Ideas,
    idea: Idea,
    *,
    slowest: float = SLOWEST,
    steps: int = STEPS,
    times: int = 2,
    parts: Sequence[str] = PARTS,
    count_in: bool = True,
) -> Session:
    """An idea over and over, from slow to its tempo, at each tempo with more and more of its parts.

    At every tempo the right hand plays alone, then with the left hand, then with all parts, each `times` over: one
    difficulty is added at a time, and a tempo is left only once the phrase has been heard in time with the whole
    band, so that nothing is hurried before it is sure. The order is the same at every tempo. Without the right hand the
    parts are a backing track, and play together from the first. Rounds follow one another without a gap, the tempo
    changing at the bar line; with `count_in` a bar of clicks comes before the first round and after a rest. Rests come
    every five minutes at most, between two tempi where that can be.

    OptionError for a setting out of range, and for more than an hour, with the number that fits.

    >>> import fillgen
    >>> ideas = fillgen.ideas("| C | F | G7 | C |", tempo=100, count=1)
    >>> [each.label for each in loop(ideas, ideas[0], steps=2, times=1).rounds][:4]
    ['60 a minute, right hand alone', '60 a minute, both hands', '60 a minute, all parts',
     '100 a minute, right hand alone']
    """
    check_count(times, _MOST_TIMES, "time")
    stages = _stages(_sounding(parts))

    def planned(over: int, tempo_steps: int) -> Session:
        speeds = tempi(ideas.tempo, slowest, tempo_steps)
        rounds = _looped(idea, speeds, stages, over)
        groups = _together(rounds, ideas.progression, lambda each: each.tempo, count_in=count_in)
        return Session(ideas, _rested(groups, ideas.progression, count_in=count_in))

    return _fitted(planned, times, steps)


def through_keys(
    ideas: Ideas,
    versions: Sequence[Ideas],
    *,
    slowest: float = SLOWEST,
    steps: int = 1,
    times: int = 1,
    parts: Sequence[str] = PARTS,
    count_in: bool = True,
) -> Session:
    """An idea in one key after another without a gap, all parts together: once in each at its tempo by default.

    `versions` are the idea in its keys in order, each over its own chords, as `fillgen.teaching.keys.in_keys` makes them. With
    more `steps` each key goes from slow to the tempo before the next begins; `times` is how often each tempo is played.
    Count-in and rests are as in a `loop`, a rest coming between two keys where that can be. OptionError as for `loop`.

    >>> import fillgen
    >>> from fillgen.teaching.keys import in_keys, keys_through
    >>> ideas = fillgen.ideas("| Bb | Cm7 F7 | Bb |", tempo=120, count=1)
    >>> keys = in_keys(ideas, ideas[0], keys_through("half-steps", ideas.progression.key))
    >>> [each.label for each in through_keys(ideas, keys).rounds][:2]
    ['Bb major, 120 a minute, all parts', 'B major, 120 a minute, all parts']
    """
    check_count(times, _MOST_TIMES, "time")
    sounding = _sounding(parts)

    def planned(over: int, tempo_steps: int) -> Session:
        speeds = tempi(ideas.tempo, slowest, tempo_steps)
        rounds = (
            replace(each, label=f"{version.progression.key}, {each.label}", progression=version.progression)
            for version in versions
            for each in _looped(version[0], speeds, [sounding], over)
        )
        groups = _together(rounds, ideas.progression, lambda each: each.progression, count_in=count_in)
        return Session(ideas, _rested(groups, ideas.progression, count_in=count_in))

    return _fitted(planned, times, steps)


def _fitted(planned: Callable[[int, int], Session], times: int, steps: int) -> Session:
    """A session planned by times over and steps; OptionError if it is longer than what is offered, with what fits."""
    session = planned(times, steps)
    if minutes(session) <= MOST_MINUTES:
        return session
    fewer = _most_that_fit(lambda count: planned(count, steps), times)
    if fewer:
        raise _too_long(session, f"{many(fewer, 'time')} over")
    alone = _most_that_fit(lambda count: planned(1, count), steps)
    raise _too_long(session, f"{many(alone, 'step')}, once over each" if alone else "")


def _sounding(parts: Sequence[str]) -> tuple[str, ...]:
    """The requested parts in order; OptionError for an unknown one."""
    check_playing(Playing(parts=tuple(parts)))
    return tuple(part for part in PARTS if part in parts)


def _stages(parts: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    """The right hand alone, both hands, all parts; each once where they are the same. A backing track has one stage."""
    if "right" not in parts:
        return (tuple(parts),)
    hands = tuple(part for part in parts if part in ("right", "left"))
    return tuple(dict.fromkeys([("right",), hands, tuple(parts)]))


def _looped(
    idea: Idea, speeds: Sequence[int], stages: Sequence[tuple[str, ...]], times: int
) -> Iterator[Round]:
    for tempo in speeds:
        for parts in stages:
            for number in range(1, times + 1):
                turn = f", time {number} of {times}" if times > 1 else ""
                yield Round(idea, tempo, parts, f"{tempo} a minute, {_parts_in_words(parts)}{turn}")


def _together(
    rounds: Iterable[Round], progression: Progression, what: Callable[[Round], object], *, count_in: bool
) -> list[list[Round]]:
    """The rounds that have something in common together, each alone where together they would last too long without a rest."""
    groups: list[list[Round]] = []
    for _, same in groupby(rounds, key=what):
        group = list(same)
        counted = (replace(group[0], count_in=count_in), *group[1:])
        lasts = sum(_minutes(each, progression) for each in counted)
        groups += [group] if lasts <= REST_AFTER else [[each] for each in group]
    return groups


_PART_WORDS = {"right": "right hand", "left": "left hand", "bass": "bass", "drums": "drums"}
_TOGETHER = {("right",): "right hand alone", ("right", "left"): "both hands", PARTS: "all parts"}


def _parts_in_words(parts: tuple[str, ...]) -> str:
    """Parts in words.

    >>> _parts_in_words(("right", "left")), _parts_in_words(("right", "bass"))
    ('both hands', 'right hand and bass')
    """
    words = [_PART_WORDS[part] for part in parts]
    return _TOGETHER.get(parts, listed(words, "and"))


def call_and_answer(
    ideas: Ideas, *, turns: int = 4, parts: Sequence[str] = PARTS, count_in: bool = True
) -> Session:
    """An idea, then the same bars without the right hand for the player to answer; the next turn has the next idea.

    The other parts go on from call to answer without a break, as they would with another player: with `count_in` there
    are clicks at the beginning and after a rest only, and no rest parts a call from its answer. After the last idea the first
    comes again. OptionError for a setting out of range, for no ideas, if nothing would sound in the answer, and
    for more than an hour, with the number that fits.

    >>> import fillgen
    >>> ideas = fillgen.ideas("| C | F | G7 | C |", tempo=100, count=2)
    >>> [(each.idea.rank, "right" in each.parts) for each in call_and_answer(ideas, turns=3).rounds]
    [(1, True), (1, False), (2, True), (2, False), (1, True), (1, False)]
    """
    check_count(turns, _MOST_TURNS, "turn")
    if not len(ideas):
        raise OptionError("no ideas to answer", hint="Give at least one idea.")
    both = _sounding(parts)
    if "right" not in both:
        raise OptionError(
            "the right hand is not among the parts", hint="It plays the calls that you answer: add 'right'."
        )
    if both == ("right",):
        hint = f"Add one of {', '.join(PARTS[1:])}."
        raise OptionError("nothing would sound while you answer", hint=hint)

    def planned(count: int) -> Session:
        groups = [_turn(ideas, number, both) for number in range(count)]
        return Session(ideas, _rested(groups, ideas.progression, count_in=count_in))

    session = planned(turns)
    if minutes(session) > MOST_MINUTES:
        fewer = _most_that_fit(planned, turns)
        raise _too_long(session, many(fewer, "turn") if fewer else "")
    return session


def _turn(ideas: Ideas, number: int, parts: tuple[str, ...]) -> list[Round]:
    idea = ideas[number % len(ideas)]
    head = f"{ideas.tempo} a minute, turn {number + 1}"
    return [
        Round(idea, ideas.tempo, parts, f"{head}, listen to idea {idea.rank}"),
        Round(idea, ideas.tempo, parts[1:], f"{head}, your answer"),
    ]


def _rested(
    groups: Sequence[Sequence[Round]], progression: Progression, *, count_in: bool
) -> tuple[Round, ...]:
    """All rounds, with a rest before a group where the playing would grow too long; no group is parted.

    With `count_in`, the first round and those after a rest are counted in.
    """
    rounds: list[Round] = []
    played = 0.0
    for first, *others in groups:
        rests = (
            bool(rounds)
            and played + sum(_minutes(each, progression) for each in (first, *others)) > REST_AFTER
        )
        begins = replace(first, count_in=count_in and (rests or not rounds))
        lasts = sum(_minutes(each, progression) for each in (begins, *others))
        played = lasts if rests else played + lasts
        rounds += [replace(begins, rest=_rest_bars(begins, progression) if rests else 0), *others]
    return tuple(rounds)


def _rest_bars(each: Round, progression: Progression) -> int:
    """The empty bars in which the hands rest before a round."""
    bar = progression.metre.bar / TICKS * 60 / each.tempo
    return max(1, ceil(REST_SECONDS / bar))


def _most_that_fit(planned: Callable[[int], Session], most: int) -> int:
    """The largest number whose session isn't too long, 0 if there is none."""
    return next((count for count in range(most, 0, -1) if minutes(planned(count)) <= MOST_MINUTES), 0)


def _too_long(session: Session, fits: str) -> OptionError:
    lasts = f"the session lasts {minutes(session):.0f} minutes, more than {MOST_MINUTES}"
    return OptionError(lasts, hint=f"There is room for {fits}." if fits else "Practise fewer bars at a time.")


def own_ideas(
    progression: Progression,
    notes: Phrase,
    *,
    rhythm: str | None = None,
    tempo: int | None = None,
    hand: str | None = None,
    pack: RulePack | None = None,
) -> Ideas:
    """The player's own phrase instead of ideas, with its fingering, to be looped or explained.

    `tempo` is in quarter notes a minute; without a rhythm it is played straight. Raises OptionError for a rhythm, tempo
    or hand that is not offered.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.phrase.text import parse_phrase
    >>> chart = parse_chart("| F | C7 |")
    >>> own_ideas(chart, parse_phrase("A4h C5h | Bb4h E4h", chart.metre), rhythm="swing")[0].text
    'A4h C5h | Bb4h E4h'
    """
    choices = settle(Request(progression, rhythm=rhythm, tempo=tempo, hand=hand, pack=pack or RulePack()))
    fingers = best([note.midi for note in notes], choices.hand)
    return Ideas(
        progression,
        choices.rhythm.name,
        0,
        choices.tempo,
        rhythm is not None and choices.rhythm.swing,
        0,
        1,
        (judge.as_idea(progression, notes, fingers),),
        hand=(choices.hand or reach()).size,
    )
