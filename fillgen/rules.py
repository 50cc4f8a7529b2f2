"""The rules: named questions about a note between the note before it and the note after it.

Each rule stands here once. The bar problems ask it while they are solved, the lattice asks it across bar lines,
the judge asks it of a player's phrase, and `fillgen rules` tells it to the reader. A rule pack switches a rule on
and gives it its numbers.

A question is written with `&`, `|` and comparisons only, so that it answers for one note (pitches are integers)
and for whole tables of notes at once (pitches are arrays) alike.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from fillgen.music import CHORD_TONE, Place

Pitch = Any
"""A MIDI pitch, or an array of them."""
Verdict = Any
"""True or False, or an array of them in the shape of the pitches asked about."""
STEP = 2
"""The widest step, in semitones."""
FOURTH = 5
"""A perfect fourth, in semitones."""
BEAT = 96
"""One beat in the unit of `Place.length`."""

_MUSIC_THEORY = "Open Music Theory (Shaffer, Hughes and Moseley), Embellishing tones"
_SPECIES = "Open Music Theory (Shaffer, Hughes and Moseley), Composing a cantus firmus"
_TRADE = "common practice"


@dataclass(frozen=True, slots=True)
class Seen:
    """A note as a rule sees it: its place and its pitch."""

    place: Place
    midi: Pitch

    def among(self, mask: int) -> Verdict:
        """Whether the pitch class is one of a mask's."""
        return (mask >> (self.midi % 12)) & 1 == 1

    @property
    def tone(self) -> Verdict:
        """A tone of the chord it starts over."""
        return self.among(self.place.chord)

    @property
    def foreign(self) -> Verdict:
        """Outside the chord it starts over."""
        return self.among(~self.place.chord & 0xFFF)

    @property
    def weak(self) -> bool:
        return not self.place.strong


Window = tuple[Seen | None, Seen, Seen | None]
"""A note with the sounding notes before and after it; None at either end of a phrase."""


@dataclass(frozen=True, slots=True)
class Example:
    """A phrase over a chart, in chart and phrase text, that keeps or breaks a rule.

    `lead` is the tune's first note, `tempo` the quarter notes a minute, 0 where it does not matter.
    """

    chart: str
    phrase: str
    lead: int = -1
    tempo: int = 0


@dataclass(frozen=True, slots=True)
class Setting:
    """A number or a list of words that a pack gives a rule: its lowest and highest value, or the words allowed."""

    low: float = 0
    high: float = 127
    words: tuple[str, ...] = ()
    needed: bool = True

    @property
    def whole(self) -> bool:
        """Whether only whole numbers are meant."""
        return isinstance(self.low, int)


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule: its name, its question, how many notes it looks at, and what a reader should know of it.

    `window` is 1 where the question is about the note alone, 2 where it needs the note before as well, and 3
    where it needs both neighbours.
    """

    kind: str
    window: Literal[1, 2, 3]
    says: str
    reason: str
    source: str
    settings: Mapping[str, Setting]
    keeps: Example
    breaks: Example
    asks: Callable[..., Verdict]
    alone: Callable[..., Verdict] | None = None
    """The part of the question that a note alone decides, where a rule that needs neighbours has one."""
    enough: Callable[[Seen], Verdict] | None = None
    """What a note alone may have, so that its neighbours need not be asked about."""

    def may_stand(self, note: Seen, settings: Mapping[str, Any]) -> Verdict:
        """Whether the rule leaves a pitch a chance at its place, whatever its neighbours will be."""
        asks = self.asks if self.window == 1 else self.alone
        return True if asks is None else asks(note, **settings)

    def holds(self, window: Window, settings: Mapping[str, Any]) -> Verdict:
        """Whether the rule holds for the note in the middle of a window."""
        before, note, after = window
        if self.window == 1:
            return self.asks(note, **settings)
        if self.window == 2:
            return True if before is None else self.asks(before, note, **settings)
        return self.asks(before, note, after, **settings)

    def told(self, settings: Mapping[str, Any]) -> str:
        """The rule as a sentence, with its numbers.

        A part in square brackets stands only where the settings it names are given, otherwise what follows its
        bar does: `[one of {allow}|none]`.
        """
        words = {key: _listed(value) for key, value in settings.items() if value != ()}
        return _OPTIONAL.sub(lambda part: _part(part, words), self.says).format(**words)


_OPTIONAL = re.compile(r"\[([^\]|]*)\|?([^\]]*)\]")
_FIELD = re.compile(r"\{([\w-]+)\}")


def _part(part: re.Match[str], words: Mapping[str, str]) -> str:
    return part[1] if set(_FIELD.findall(part[1])) <= words.keys() else part[2]


def _listed(value: Any) -> str:
    return " or ".join(value) if isinstance(value, list | tuple) else str(value)


RULES: dict[str, Rule] = {}
"""Every rule by its name, in the order of this file."""


def _rule(
    kind: str,
    window: Literal[1, 2, 3],
    *,
    says: str,
    reason: str,
    source: str,
    keeps: Example,
    breaks: Example,
    alone: Callable[..., Verdict] | None = None,
    enough: Callable[[Seen], Verdict] | None = None,
    **settings: Setting,
) -> Callable[[Callable[..., Verdict]], Callable[..., Verdict]]:
    def enter(asks: Callable[..., Verdict]) -> Callable[..., Verdict]:
        RULES[kind] = Rule(kind, window, says, reason, source, settings, keeps, breaks, asks, alone, enough)
        return asks

    return enter


def _is_step(rise: Pitch) -> Verdict:
    return (abs(rise) >= 1) & (abs(rise) <= STEP)


# The notes outside the chord: what each of them is. A note may be one of those that its level names.


def _in_scale(note: Seen, after: Seen) -> Verdict:
    """Whether a note may pass over its chord: one of the scale, or the raised seventh of a minor key going up."""
    leads = note.among(note.place.leading) & (after.midi - note.midi == 1)
    return note.among(note.place.passing) | leads


def passing(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """Reached by step and left by step in the same direction, on a weak place."""
    if before is None or after is None:
        return False
    into, out = note.midi - before.midi, after.midi - note.midi
    return note.weak & _in_scale(note, after) & _is_step(into) & _is_step(out) & (into * out > 0)


def neighbour(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """Reached by step and left by step back to where it came from, on a weak place."""
    if before is None or after is None:
        return False
    there_and_back = _is_step(note.midi - before.midi) & (after.midi == before.midi)
    return note.weak & _in_scale(note, after) & there_and_back


def anticipation(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """A tone of the chord to come, on a weak place just before it: repeated there, or held into it."""
    held = note.weak & note.among(note.place.ahead)
    if after is None:
        return held
    return held | (note.weak & (after.midi == note.midi) & after.tone)


def approach(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """On a weak place, a semitone from the chord tone that follows; or one of two notes that enclose it."""
    if after is None:
        return False
    leads = note.weak & (abs(after.midi - note.midi) == 1) & after.tone
    return leads | _opens_enclosure(note, after) | _closes_enclosure(before, note, after)


def _opens_enclosure(note: Seen, after: Seen) -> Verdict:
    rise = abs(after.midi - note.midi)
    return note.weak & after.weak & after.foreign & (rise > STEP) & (rise <= 2 * STEP)


def _closes_enclosure(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    if before is None or after is None:
        return False
    return note.weak & before.foreign & _encloses(before, note, after)


def _encloses(before: Seen, note: Seen, after: Seen) -> Verdict:
    """Whether two notes lie on either side of the chord tone that follows them, each within a step of it."""
    one, other = after.midi - before.midi, after.midi - note.midi
    return after.tone & _is_step(one) & _is_step(other) & (one * other < 0) & (abs(one - other) > STEP)


def appoggiatura(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """On a strong beat, reached by leap and left by step in the opposite direction to a chord tone."""
    if before is None or after is None:
        return False
    into, out = note.midi - before.midi, after.midi - note.midi
    leaned = note.place.strong & note.among(note.place.passing & ~note.place.avoid)
    return leaned & (abs(into) > STEP) & _is_step(out) & (into * out < 0) & after.tone


Embellishment = Callable[[Seen | None, Seen, Seen | None], Verdict]
EMBELLISHMENTS: dict[str, Embellishment] = {
    "anticipation": anticipation,
    "passing": passing,
    "neighbour": neighbour,
    "approach": approach,
    "appoggiatura": appoggiatura,
}
"""What a note outside the chord can be, in the order in which a note is named. Definitions: Open Music Theory,
Embellishing tones; the appoggiatura is the stricter one, which leaves against the leap."""


# What textbooks name besides. No level uses these kinds: they tell a reader what a note is called.


def suspension(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """A tone kept from the chord before on a strong beat of one that lacks it, and left by step down to a tone."""
    return _is_kept(before, note, after) & _resolves(note, after, -1)


def retardation(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """A tone kept from the chord before on a strong beat of one that lacks it, and left by step up to a tone."""
    return _is_kept(before, note, after) & _resolves(note, after, 1)


def _is_kept(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """Whether a tone of the chord before is held into a chord that lacks it, or is struck again over it."""
    if after is None:
        return False
    place = note.place
    held = note.tone & note.among(~place.ahead & 0xFFF) if place.ahead == after.place.chord else False
    if before is None or before.place.before_rest or place.chord != after.place.chord:
        return held
    return held | (place.strong & note.foreign & (before.midi == note.midi) & before.tone)


def _resolves(note: Seen, after: Seen | None, way: int) -> Verdict:
    if after is None:
        return False
    out = after.midi - note.midi
    return _is_step(out) & (out * way > 0) & after.tone


def leaning(before: Seen | None, note: Seen, after: Seen | None, *, either_way: bool = False) -> Verdict:
    """On a strong beat, reached by leap and left by step against the leap to a tone; `either_way` leaves that open."""
    if before is None or after is None:
        return False
    into, out = note.midi - before.midi, after.midi - note.midi
    leaned = note.place.strong & note.foreign & (abs(into) > STEP) & _is_step(out) & after.tone
    return leaned if either_way else leaned & (into * out < 0)


def accented_passing(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """On a strong beat, reached by step and left by step in the same direction."""
    return note.place.strong & _goes_by_step(before, note, after, 1)


def accented_neighbour(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """On a strong beat, reached by step and left by step back to where it came from."""
    return note.place.strong & _goes_by_step(before, note, after, -1)


def chromatic_passing(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """A passing note on a weak place that the scale of its chord lacks."""
    return note.weak & note.among(~note.place.passing & 0xFFF) & _goes_by_step(before, note, after, 1)


def chromatic_neighbour(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """A neighbour note on a weak place that the scale of its chord lacks."""
    return note.weak & note.among(~note.place.passing & 0xFFF) & _goes_by_step(before, note, after, -1)


def _goes_by_step(before: Seen | None, note: Seen, after: Seen | None, way: int) -> Verdict:
    """Whether a note outside its chord is reached and left by step: onwards (1), or back to the same note (-1)."""
    if before is None or after is None:
        return False
    into, out = note.midi - before.midi, after.midi - note.midi
    onwards = _is_step(out) & (into * out > 0) if way > 0 else out == -into
    return note.foreign & _is_step(into) & onwards


def escape_tone(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """On a weak place, reached by step and left by leap in the opposite direction."""
    if before is None or after is None:
        return False
    into, out = note.midi - before.midi, after.midi - note.midi
    return note.weak & note.foreign & _is_step(into) & (abs(out) > STEP) & (into * out < 0)


def incomplete_neighbour(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """On a weak place, reached by leap and left by step to a chord tone on a strong beat."""
    if before is None or after is None:
        return False
    into, out = note.midi - before.midi, after.midi - note.midi
    settles = after.place.strong & after.tone
    return note.weak & note.foreign & (abs(into) > STEP) & _is_step(out) & settles


def double_neighbour(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """One of two notes on weak places, a step above and a step below the same note, as far as three notes tell."""
    if before is None or after is None:
        return False
    return _begins_double(before, note, after) | _begins_double(after, note, before)


def _begins_double(main: Seen, note: Seen, other: Seen) -> Verdict:
    one, two = note.midi - main.midi, other.midi - main.midi
    weak = note.weak & other.weak & note.foreign & other.foreign
    return weak & _is_step(one) & _is_step(two) & (one * two < 0)


FURTHER_TONES: dict[str, Embellishment] = {
    "double neighbour": double_neighbour,
    "suspension": suspension,
    "retardation": retardation,
    "appoggiatura": leaning,
    "accented passing": accented_passing,
    "accented neighbour": accented_neighbour,
    "chromatic passing": chromatic_passing,
    "chromatic neighbour": chromatic_neighbour,
    "escape tone": escape_tone,
    "incomplete neighbour": incomplete_neighbour,
}
"""What a note is called that is none of the above, in the order in which it is named. Definitions: Open Music Theory,
Embellishing tones. `leaning` is the appoggiatura that may clash as well; left in either direction it is that of
Hutchinson, Music Theory for the 21st-Century Classroom. A note held into its chord may be a tone where it begins and a
suspension or a retardation where it is held."""


def role(window: Window) -> str:
    """What the note in the middle of a window is; empty where it is outside its chord and nothing justifies it."""
    if bool(window[1].tone):
        return CHORD_TONE
    return next((name for name, is_one in EMBELLISHMENTS.items() if bool(is_one(*window))), "")


_ALLOWED = Setting(words=tuple(EMBELLISHMENTS))


# The rules


def _may_sound(note: Seen, allow: Iterable[str] = ()) -> Verdict:
    """Whether a pitch could be one of the kinds allowed, as far as it can tell without its neighbours."""
    place = note.place
    verdict = note.tone
    if {"passing", "neighbour", "appoggiatura"} & set(allow) and not place.ends:
        verdict = verdict | note.among(place.passing | place.leading)
    if "anticipation" in allow:
        verdict = verdict | (note.weak & note.among(place.ahead | place.coming))
    return verdict | note.weak if "approach" in allow and not place.ends else verdict


@_rule(
    "root-only",
    1,
    says="Every note is the root of its chord.",
    reason="The root is the surest note of a chord, and the first to be found at sight.",
    source=_TRADE,
    keeps=Example("| C | G7 |", "C5w | G4w"),
    breaks=Example("| C | G7 |", "E5w | G4w"),
)
def root_only(note: Seen) -> Verdict:
    return note.among(note.place.root)


@_rule(
    "strong-beat",
    1,
    says="A note that starts on a strong beat is a chord tone[ or an {allow}].",
    reason="The ear takes the harmony from the strong beats; a note outside the chord there sounds wrong or leans.",
    source=_MUSIC_THEORY,
    keeps=Example("| C |", "E5q F5q G5h"),
    breaks=Example("| C |", "E5q E5q F5q E5q"),
    allow=Setting(words=("appoggiatura",)),
)
def strong_beat(note: Seen, allow: Iterable[str] = ()) -> Verdict:
    may_lean = "appoggiatura" in allow and not note.place.ends
    leans = note.among(note.place.passing & ~note.place.avoid) if may_lean else False
    return note.weak | note.tone | leans


@_rule(
    "held-note",
    1,
    says="A note held across a strong beat, or into a new chord, is a chord tone of the chord there.",
    reason="It sounds on as part of the new chord.",
    source=_TRADE,
    keeps=Example("| C / F / |", "E5q C5h A4q"),
    breaks=Example("| C / F / |", "C5q E5h A4q"),
)
def held_note(note: Seen) -> Verdict:
    return note.among(note.place.held)


@_rule(
    "non-chord-note",
    3,
    says="[A note outside the chord is of one of these kinds: {allow}.|Every note is a tone of its chord.]",
    reason="A note outside the chord needs a way in and a way out, or it sounds like a slip.",
    source=_MUSIC_THEORY,
    keeps=Example("| C |", "C5q D5q E5h"),
    breaks=Example("| C |", "C5q D5q G5h"),
    alone=_may_sound,
    enough=lambda note: note.tone,
    allow=_ALLOWED,
)
def non_chord_note(before: Seen | None, note: Seen, after: Seen | None, allow: Iterable[str] = ()) -> Verdict:
    verdict = note.tone
    for name in allow:
        verdict = verdict | EMBELLISHMENTS[name](before, note, after)
    return verdict


@_rule(
    "enclosure-closes",
    3,
    says="Two notes that enclose a chord tone go to it.",
    reason="The pair points at one note from both sides; going elsewhere leaves both hanging.",
    source=_TRADE,
    keeps=Example("| C |", "C5q A5e F#5e G5h"),
    breaks=Example("| C |", "C5q A5e F#5e E5h"),
)
def enclosure_closes(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    if before is None:
        return True
    held = before.weak & before.among(before.place.ahead)
    unopened = before.tone | held | (abs(note.midi - before.midi) <= STEP)
    return unopened if after is None else unopened | _encloses(before, note, after)


@_rule(
    "avoid-note",
    1,
    says="A note outside the chord a semitone above one of its tones is never stressed, and lasts no longer than {beats} of a beat over it.",
    reason="It clashes with the tone below it as soon as it is held.",
    source="Nettles and Graf, The Chord Scale Theory, on avoid notes; as told in later handbooks",
    keeps=Example("| Cmaj7 |", "G5q. F5e E5h"),
    breaks=Example("| Cmaj7 |", "G5q F5q E5h"),
    beats=Setting(0.25, 16),
)
def avoid_note(note: Seen, beats: float) -> Verdict:
    if note.weak and note.place.length <= beats * BEAT:
        return True
    return note.among(~note.place.avoid & 0xFFF)


@_rule(
    "non-chord-length",
    1,
    says="A note outside the chord lasts no longer than {beats} beat over it[, one outside the scale {chromatic}].",
    reason="A passing note passes; held, it would be heard as part of the chord.",
    source=_TRADE,
    keeps=Example("| C |", "C5q D5q E5h"),
    breaks=Example("| C |", "C5q D5h E5q"),
    beats=Setting(0.25, 16),
    chromatic=Setting(0.25, 16, needed=False),
)
def non_chord_length(note: Seen, beats: float, chromatic: float | None = None) -> Verdict:
    if note.place.length > beats * BEAT:
        return note.tone
    if chromatic is None or note.place.length <= chromatic * BEAT:
        return True
    return note.among(note.place.chord | note.place.passing | note.place.leading)


@_rule(
    "settled-before-rest",
    1,
    says="The last note before a rest is a chord tone.",
    reason="The ear stays with the note before a silence; it should be one that can stay.",
    source=_TRADE,
    keeps=Example("| C |", "F5e E5q. rh"),
    breaks=Example("| C |", "E5e F5e rq G5h"),
)
def settled_before_rest(note: Seen) -> Verdict:
    if not note.place.before_rest:
        return True
    return note.tone | note.among(note.place.ahead)


@_rule(
    "leap-limit",
    2,
    says="No leap is wider than {semitones} semitones.",
    reason="Wide leaps are hard to hit and break the line.",
    source=_SPECIES,
    keeps=Example("| C |", "C5h G5h"),
    breaks=Example("| C |", "C4h E5h"),
    semitones=Setting(1, 36),
)
def leap_limit(before: Seen, note: Seen, semitones: int) -> Verdict:
    return abs(note.midi - before.midi) <= semitones


@_rule(
    "in-reach",
    2,
    says="Two notes farther apart than {semitones} semitones have at least {seconds} seconds between them.",
    reason="Where the hand cannot open so far it has to move, which takes time; forced stretches strain it.",
    source="Parncutt and others (1997), Music Perception 14(4), for the spans; the time is a choice of this project",
    keeps=Example("| C |", "C4q C5q G4h", tempo=100),
    breaks=Example("| C |", "C4e C5e G4q E4h", tempo=200),
    semitones=Setting(1, 36),
    seconds=Setting(0.0, 4.0),
)
def in_reach(before: Seen, note: Seen, semitones: int, seconds: float) -> Verdict:
    if not 0 < note.place.since < seconds * 1000:
        return True
    return abs(note.midi - before.midi) <= semitones


@_rule(
    "leap-turns-back",
    3,
    says="After a leap of more than {over} semitones the line turns back.",
    reason="A wide leap opens a gap, and the ear waits for it to be filled; a hand that leaps is not stretched twice.",
    source="Von Hippel and Huron (2000), Why do skips precede reversals?, Music Perception 18(1); "
    + _SPECIES,
    keeps=Example("| C |", "C5q G5q E5h"),
    breaks=Example("| C |", "C5q G5q C6h"),
    over=Setting(1, 36),
)
def leap_turns_back(before: Seen | None, note: Seen, after: Seen | None, over: int = FOURTH) -> Verdict:
    if before is None:
        return True
    leap = note.midi - before.midi
    small = abs(leap) <= over
    return small if after is None else small | (leap * (after.midi - note.midi) < 0)


@_rule(
    "repeat-limit",
    3,
    says="No pitch is struck more than twice running.",
    reason="A third stroke of the same note stops the line.",
    source=_TRADE,
    keeps=Example("| C |", "E5q E5q G5h"),
    breaks=Example("| C |", "E5q E5q E5h"),
)
def repeat_limit(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    if before is None or after is None:
        return True
    return (before.midi != note.midi) | (note.midi != after.midi)


@_rule(
    "final-note",
    1,
    says="The last note is [the {degrees}|a tone] of the last chord.",
    reason="On a dominant the root and the third lead straight into the tune; on a tonic they close it.",
    source=_TRADE,
    keeps=Example("| C | G7 |", "E5w | B4w"),
    breaks=Example("| C | G7 |", "E5w | D5w"),
    degrees=Setting(words=("root", "third", "fifth")),
)
def final_note(note: Seen, degrees: Iterable[str] = ()) -> Verdict:
    return note.among(note.place.ends) if note.place.ends else True


@_rule(
    "lead-in",
    1,
    says="The last note lies within {semitones} semitones of the tune's first note.",
    reason="A line that ends near the tune's first note hands over to it without a leap.",
    source=_TRADE,
    keeps=Example("| C | G7 |", "E5w | B4w", lead=72),
    breaks=Example("| C | G7 |", "E5w | G4w", lead=72),
    semitones=Setting(0, 12),
)
def lead_in(note: Seen, semitones: int) -> Verdict:
    return abs(note.midi - note.place.lead) <= semitones if note.place.lead >= 0 else True


@dataclass(frozen=True, slots=True)
class RuleUse:
    """A rule switched on, with its numbers."""

    rule: Rule
    settings: Mapping[str, Any]

    def holds(self, window: Window) -> Verdict:
        return self.rule.holds(window, self.settings)

    def told(self) -> str:
        return self.rule.told(self.settings)
