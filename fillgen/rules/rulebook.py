"""The rules: named questions about a note between the note before it and the note after it.

Each rule is written here once. The bar problems apply it while they are solved, the lattice across bar lines,
the judge asks it of a player's phrase, and `fillgen rules` explains it. A rule pack switches a rule on
and gives it its numbers.

A question is written with `&`, `|` and comparisons only, so that it answers for one note (pitches are integers)
and for whole tables of notes at once (pitches are arrays) alike.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Literal

from fillgen.rules.rule import BEAT, FOURTH, STEP, Example, Rule, RuleSetting, Seen, Verdict
from fillgen.rules.tones import BLUE_NOTES, EMBELLISHMENTS, blue, encloses

_MUSIC_THEORY = "Open Music Theory (Shaffer, Hughes and Moseley), Embellishing tones"
_SPECIES = "Open Music Theory (Shaffer, Hughes and Moseley), Composing a cantus firmus"
_TRADE = "common practice"


_ALLOWED = RuleSetting(words=tuple(EMBELLISHMENTS))


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
    **settings: RuleSetting,
) -> Callable[[Callable[..., Verdict]], Callable[..., Verdict]]:
    def enter(asks: Callable[..., Verdict]) -> Callable[..., Verdict]:
        RULES[kind] = Rule(kind, window, says, reason, source, settings, keeps, breaks, asks, alone, enough)
        return asks

    return enter


# The rules


def _may_sound(note: Seen, allow: Iterable[str] = (), slides: Iterable[str] = ()) -> Verdict:
    """Whether a pitch could be one of the kinds allowed, as far as can be known without its neighbours."""
    place = note.place
    verdict = note.tone
    if {"passing", "neighbour", "appoggiatura"} & set(allow) and not place.ends:
        verdict = verdict | note.among(place.passing | place.leading | place.climbing)
    if "anticipation" in allow:
        verdict = verdict | (note.weak & note.among(place.ahead | place.coming))
    if slides:
        verdict = verdict | (note.weak & note.among(place.blue_third | place.blue_fifth))
    return verdict | note.weak if "approach" in allow and not place.ends else verdict


@_rule(
    "root-only",
    1,
    says="Every note is the root of its chord.",
    reason="The root is the surest note of a chord, and the first you find at sight.",
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
    reason="The ear hears the harmony on the strong beats; a note outside the chord there sounds wrong or leans.",
    source=_MUSIC_THEORY,
    keeps=Example("| C |", "E5q F5q G5h"),
    breaks=Example("| C |", "E5q E5q F5q E5q"),
    allow=RuleSetting(words=("appoggiatura",)),
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
    says="[A note outside the chord is one of these: {allow}.|Every note is a tone of its chord.]"
    "[ In a blues it may also be the blue {slides}, which slides.]",
    reason="A note outside the chord needs a way in and a way out, or it sounds like a slip.",
    source=_MUSIC_THEORY,
    keeps=Example("| C |", "C5q D5q E5h"),
    breaks=Example("| C |", "C5q D5q G5h"),
    alone=_may_sound,
    enough=lambda note: note.tone,
    allow=_ALLOWED,
    slides=RuleSetting(words=BLUE_NOTES, needed=False),
)
def non_chord_note(
    before: Seen | None,
    note: Seen,
    after: Seen | None,
    allow: Iterable[str] = (),
    slides: Iterable[str] = (),
) -> Verdict:
    verdict = note.tone | (blue(note, after, slides) if slides else False)
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
    return unopened if after is None else unopened | encloses(before, note, after)


@_rule(
    "avoid-note",
    1,
    says="A note outside the chord a half step above one of its tones is never stressed, and lasts no longer than {beats} of a beat over it.",
    reason="It rubs against the tone below for as long as it is held.",
    source="Nettles and Graf, The Chord Scale Theory, on avoid notes; as quoted in later handbooks",
    keeps=Example("| Cmaj7 |", "G5q. F5e E5h"),
    breaks=Example("| Cmaj7 |", "G5q F5q E5h"),
    beats=RuleSetting(0.25, 16),
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
    beats=RuleSetting(0.25, 16),
    chromatic=RuleSetting(0.25, 16, needed=False),
)
def non_chord_length(note: Seen, beats: float, chromatic: float | None = None) -> Verdict:
    if note.place.length > beats * BEAT:
        return note.tone
    if chromatic is None or note.place.length <= chromatic * BEAT:
        return True
    place = note.place
    return note.among(place.chord | place.passing | place.leading | place.climbing)


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
    says="No leap is wider than {semitones} half steps.",
    reason="Wide leaps are hard to hit and break the line.",
    source=_SPECIES,
    keeps=Example("| C |", "C5h G5h"),
    breaks=Example("| C |", "C4h E5h"),
    semitones=RuleSetting(1, 36),
)
def leap_limit(before: Seen, note: Seen, semitones: int) -> Verdict:
    return abs(note.midi - before.midi) <= semitones


@_rule(
    "in-reach",
    2,
    says="Two notes farther apart than {semitones} half steps have at least {seconds} seconds between them.",
    reason="A hand that can't open that far has to move, which takes time; forced stretches strain it.",
    source="Parncutt and others (1997), Music Perception 14(4), for the spans; the time is a choice of this project",
    keeps=Example("| C |", "C4q C5q G4h", tempo=100),
    breaks=Example("| C |", "C4e C5e G4q E4h", tempo=200),
    semitones=RuleSetting(1, 36),
    seconds=RuleSetting(0.0, 4.0),
)
def in_reach(before: Seen, note: Seen, semitones: int, seconds: float) -> Verdict:
    if not 0 < note.place.since < seconds * 1000:
        return True
    return abs(note.midi - before.midi) <= semitones


@_rule(
    "leap-turns-back",
    3,
    says="After a leap of more than {over} half steps the line turns back.",
    reason="A wide leap opens a gap that the ear waits to hear filled, and the hand isn't stretched twice.",
    source="Von Hippel and Huron (2000), Why do skips precede reversals?, Music Perception 18(1); "
    + _SPECIES,
    keeps=Example("| C |", "C5q G5q E5h"),
    breaks=Example("| C |", "C5q G5q C6h"),
    over=RuleSetting(1, 36),
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
    says="No pitch is struck more than twice in a row.",
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
    degrees=RuleSetting(words=("root", "third", "fifth")),
)
def final_note(note: Seen, degrees: Iterable[str] = ()) -> Verdict:
    return note.among(note.place.ends) if note.place.ends else True


@_rule(
    "lead-in",
    1,
    says="The last note is within {semitones} half steps of the tune's first note.",
    reason="A line that ends near the tune's first note hands over to it without a leap.",
    source=_TRADE,
    keeps=Example("| C | G7 |", "E5w | B4w", lead=72),
    breaks=Example("| C | G7 |", "E5w | G4w", lead=72),
    semitones=RuleSetting(0, 12),
)
def lead_in(note: Seen, semitones: int) -> Verdict:
    return abs(note.midi - note.place.lead) <= semitones if note.place.lead >= 0 else True
