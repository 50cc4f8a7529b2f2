"""A request, and the same with every default filled in and every setting checked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields

from fillgen.chart.progression import Progression
from fillgen.errors import OptionError, did_you_mean, shorten
from fillgen.hands.reach import JUMP_SECONDS, Reach, reach
from fillgen.rules.pack import BUSY, Level, Rhythm, RulePack, Shape
from fillgen.rules.rule import RuleUse
from fillgen.rules.rulebook import RULES
from fillgen.theory.metre import TICKS, swung
from fillgen.theory.pitch import midi_name, nearest_pitch, pitch_of

MOST_IDEAS = 1000
MOST_VERSIONS = 20
"""The most versions of a tune with other chords before and after it."""
PURPOSES = ("intro", "turnaround", "ending")
ENDS_ON = ("root", "third", "fifth")
_WIDEST_RANGE = 48
"""The widest range, in semitones: four octaves are more than a right hand's line needs."""
_MOST_NOTES = 25_600
"""The most bars in all, of all ideas together."""
_OVER_THE_LEFT = 65
"""The usual lowest note, F4, where the left hand plays as well: intros, turnarounds and endings."""


@dataclass(frozen=True, kw_only=True)
class IdeaOptions:
    """The options for ideas; None takes the default.

    Pitches are names such as `D4` or MIDI numbers, `tempo` is in quarter notes a minute, `hand` is a size of hand for
    which the ideas lie well. `settle` checks every value.
    """

    count: int = 50
    seed: int = 0
    tempo: int | None = None
    rhythm: str | None = None
    level: int | None = None
    busy: str | None = None
    shape: str | None = None
    low: str | int | None = None
    high: str | int | None = None
    purpose: str | None = None
    ends_on: Sequence[str] | None = None
    lead_to: str | int | None = None
    hand: str | None = None


@dataclass(frozen=True)
class Weights:
    """Weights of the score's terms. Where one is below 0, the less of the term the better, down to its floor."""

    by_term: Mapping[str, float]
    floors: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Request(IdeaOptions):
    """Ideas over a progression, and what else is settled for them.

    `leave` are ticks at the end of the last bar that stay free, for the pick-up of a tune. A phrase that does not
    `close` is a part of one: its last note is free. `weights` of the score's terms take the place of the pack's, such as
    those fitted to a player's stars.
    """

    progression: Progression
    leave: int = field(default=0, kw_only=True)
    closes: bool = field(default=True, kw_only=True)
    weights: Weights | None = field(default=None, kw_only=True)
    pack: RulePack = field(default_factory=RulePack, kw_only=True)

    @classmethod
    def over(cls, progression: Progression, options: IdeaOptions, pack: RulePack) -> Request:
        """A request for ideas over a progression with the options of a player."""
        own = {each.name: getattr(options, each.name) for each in fields(IdeaOptions)}
        return cls(progression, **own, pack=pack)


@dataclass(frozen=True)
class Choices:
    """A request with every default filled in and every setting checked."""

    request: Request
    level: Level
    rhythm: Rhythm
    tempo: int
    busy: str
    shapes: tuple[Shape, ...]
    low: int
    high: int
    ends_on: tuple[str, ...]
    hand: Reach | None = None
    lead_to: int | None = None

    @property
    def progression(self) -> Progression:
        return self.request.progression

    @property
    def uses(self) -> tuple[RuleUse, ...]:
        """The rules of the level, and that of the hand if one is given."""
        return (*self.level.uses, hand_use(self.hand)) if self.hand is not None else self.level.uses

    @property
    def weights(self) -> dict[str, float]:
        """The weights of the terms that count."""
        own = self.request.weights
        return self._counting(self.request.pack.weights if own is None else own.by_term)

    @property
    def floors(self) -> Mapping[str, float]:
        """Below which less of a term is no better, for terms whose weights are below 0."""
        return self.request.weights.floors if self.request.weights is not None else {}

    @property
    def usual(self) -> dict[str, float]:
        """The default weights of the terms, where others have taken their place; empty otherwise."""
        return {} if self.request.weights is None else self._counting(self.request.pack.weights)

    def _counting(self, every: Mapping[str, float]) -> dict[str, float]:
        return {
            name: each for name, each in every.items() if each and (name != "ease" or self.hand is not None)
        }


def hand_use(hand: Reach) -> RuleUse:
    """The rule that keeps a phrase within a hand: what it does not reach in comfort, it has time to move to."""
    _, comfortable = hand.between(1, 5).comfortable
    return RuleUse(RULES["in-reach"], {"semitones": comfortable, "seconds": JUMP_SECONDS})


def seconds_of(onsets: Sequence[int], tempo: int, swing: float = 1.0) -> tuple[float, ...]:
    """When notes begin, in seconds from the start of the phrase; `onsets` are in ticks, swung at a ratio."""
    return tuple(swung(onset, swing) * 60 / (TICKS * tempo) for onset in onsets)


def since_of(seconds: Sequence[float]) -> tuple[int, ...]:
    """The milliseconds from each note's beginning back to that of the note before, 0 for the first."""
    return tuple(
        round(1000 * (now - before)) for before, now in zip([*seconds[:1], *seconds], seconds, strict=False)
    )


# Settings


def settle(request: Request) -> Choices:
    """The request with its defaults filled in; OptionError if a setting is outside what is offered."""
    pack = request.pack
    if not 1 <= request.count <= MOST_IDEAS:
        raise OptionError(f"the count is {request.count}", hint=f"Ask for 1 to {MOST_IDEAS} ideas.")
    if request.seed < 0:
        raise OptionError(f"the seed is {request.seed}", hint="Give a whole number, 0 or more.")
    level = pack.level(pack.default("level") if request.level is None else request.level)
    usual = pack.usual_rhythm(request.progression)
    rhythm = pack.rhythm(usual if request.rhythm is None else request.rhythm)
    busy = _word(pack.default("busy") if request.busy is None else request.busy, BUSY, "busy-ness")
    tempo = rhythm.tempo if request.tempo is None else request.tempo
    check_tempo(tempo)
    shapes = tuple(pack.shapes.values())
    if request.shape is not None:
        shapes = (pack.shapes[_word(request.shape, tuple(pack.shapes), "shape")],)
    usual_low = level.low if request.purpose is None else max(level.low, _OVER_THE_LEFT)
    low = usual_low if request.low is None else pitch_of(request.low, "the lowest note")
    high = level.high if request.high is None else pitch_of(request.high, "the highest note")
    lead_to = None if request.lead_to is None else lead_of(request.lead_to, (low + high) / 2)
    if low > high:
        names = [midi_name(pitch, request.progression.key) for pitch in (low, high)]
        raise OptionError(f"the lowest note {names[0]} is above the highest, {names[1]}")
    if high - low > _WIDEST_RANGE:
        hint = "Keep --low and --high within four octaves."
        raise OptionError(f"the range of {high - low} half steps is too wide", hint=hint)
    most = _MOST_NOTES // len(request.progression.bars)
    if request.count > most:
        hint = f"Over {len(request.progression.bars)} bars, ask for at most {most} ideas."
        raise OptionError(f"{request.count} ideas are too many for such a long chart", hint=hint)
    hand = reach(request.hand) if request.hand is not None else None
    ends_on = closing_degrees(request.ends_on, level)
    choices = Choices(request, level, rhythm, tempo, busy, shapes, low, high, ends_on, hand, lead_to)
    _check_purpose(choices)
    return choices


def lead_of(given: str | int, near: float, *, place: str = "") -> int:
    """The MIDI number of the note to lead to; of one without an octave the nearest to a MIDI number.

    OptionError, with its place, if there is no such note.
    """
    return nearest_pitch(given, near, "the note to lead to", place=place)


def check_tempo(tempo: int) -> None:
    """OptionError if a tempo, in quarter notes a minute, is outside what is offered."""
    if not 20 <= tempo <= 400:
        raise OptionError(f"the tempo is {tempo}", hint="Give 20 to 400 quarter notes a minute.")


def _word(word: str, known: Sequence[str], what: str) -> str:
    if word not in known:
        raise OptionError(f"unknown {what} {shorten(word)}", hint=_offered(word, known))
    return word


def _offered(word: str, known: Sequence[str]) -> str:
    near = did_you_mean(word, known)
    every = f"Use one of: {', '.join(known)}."
    return near if near == every else f"{near} {every}".strip()


def closing_degrees(wanted: Sequence[str] | None, level: Level) -> tuple[str, ...]:
    """The degrees on which a phrase may end: those wanted, else those of its level, else any.

    OptionError for a degree that isn't offered, and if the list is empty.
    """
    if wanted is not None:
        if not wanted:
            raise OptionError("there is no degree to end on", hint="Give root, third or fifth.")
        return tuple(_word(word.strip(), ENDS_ON, "degree to end on") for word in wanted)
    uses = {use.rule.kind: use for use in level.uses}
    return tuple(uses["final-note"].settings.get("degrees", ())) if "final-note" in uses else ENDS_ON


def _check_purpose(choices: Choices) -> None:
    request = choices.request
    if request.purpose is None:
        return
    if request.purpose in ("fill", "fills"):
        hint = f"{_offered(request.purpose, PURPOSES)} Fills are made for a tune: fillgen tune FILE --fills."
        raise OptionError("fills aren't made over a chart", hint=hint)
    _word(request.purpose, PURPOSES, "purpose")
    tonic, last = request.progression.end_key.tonic, request.progression.last
    if request.purpose == "ending" and last.root != tonic:
        raise OptionError(
            f"an ending closes on the tonic, {tonic}, but the chart closes on {last.symbol}",
            hint=f"Add a bar of {tonic}, name another --key, or use --for intro.",
        )
