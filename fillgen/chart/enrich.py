"""Ways to make a progression richer: sevenths, secondary dominants, substitutes, backdoors."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from fillgen.chart.progression import Progression, Span
from fillgen.chart.sequences import (
    can_be_tonic,
    chord_on,
    family_of,
    own_third,
    root_of,
    third_of_mode,
    tones_by_degree,
    with_bars,
    with_chords,
)
from fillgen.errors import listed
from fillgen.theory.chords import Chord
from fillgen.theory.pitch import MODES, Key, Name

# Sevenths


def with_sevenths(progression: Progression) -> Progression:
    """A progression whose triads have the seventh that fits its key; every other chord stays as it is.

    Minor triads get the minor seventh, diminished ones on a degree of the key the half-diminished, other diminished
    ones the diminished seventh. Major triads in the key get the seventh of its scale; outside the key those
    a fifth above one of its degrees become dominants. A major tonic at the end of a chart in minor stays at rest.
    Source: Shaffer, Hughes and Moseley, Open Music Theory, for the chords of a key; common practice for the others.

    >>> from fillgen.chart.text import parse_chart
    >>> chart = parse_chart("| C A | Dm G |", key="C")
    >>> [span.chord.symbol for span in with_sevenths(chart).spans]
    ['Cmaj7', 'A7', 'Dm7', 'G7']
    """
    bars = [
        [(_with_seventh(span, progression), span.length, span.key) for span in bar]
        for bar in progression.bars
    ]
    return with_bars(progression, bars)


def _with_seventh(span: Span, progression: Progression) -> Chord:
    chord, key = span.chord, span.key
    if chord.root is None or chord.kind is None:
        return chord
    above = (chord.root.pitch_class - key.tonic.pitch_class) % 12
    at_rest = above == 0 and _is_close(span, progression)
    qualities = {
        "major triad": "maj7" if at_rest else _major_or_dominant(above, key.mode),
        "minor triad": "m7",
        "diminished triad": "m7b5" if above in MODES[key.mode] else "dim7",
        "augmented triad": "7#5",
    }
    quality = qualities.get(chord.kind.name)
    return chord if quality is None else chord_on(chord.root, quality, chord.bass)


def _is_close(span: Span, progression: Progression) -> bool:
    """Whether no other chord comes after this one."""
    return all(later.heard == span.chord for later in progression.spans if later.onset > span.onset)


def _major_or_dominant(above: int, mode: str) -> str:
    """The seventh of a major triad by the semitones of its root above the tonic: `maj7` or `7`."""
    scale = MODES[mode]
    inside = all((above + tone) % 12 in scale for tone in (0, 4, 7))
    dominant = not inside and (above + 5) % 12 in scale
    return "maj7" if (above + 11) % 12 in scale and not dominant else "7"


# Proposals


@dataclass(frozen=True, slots=True)
class Proposal:
    """One change to a progression: in a bar, counted from 1, a chord `becomes` one chord or two.

    `kind` says what sort of change it is; `reason` tells a player why it works.
    """

    kind: str
    bar: int
    chord: Chord
    becomes: tuple[Chord, ...]
    reason: str
    progression: Progression

    @property
    def symbol(self) -> str:
        """What takes the place of the chord."""
        return " ".join(chord.symbol for chord in self.becomes)


def proposals(progression: Progression) -> tuple[Proposal, ...]:
    """The ways to make a progression richer by a single change, in the order of its bars.

    They are: a seventh added, the dominant of the chord that follows, the tritone substitute of a dominant seventh,
    a ii before a V that lasts two beats, and the backdoor chord in place of V7.

    >>> from fillgen.chart.text import parse_chart
    >>> chart = parse_chart("| C | G7 | C |", key="C")
    >>> print(next(found for found in proposals(chart) if found.kind == "tritone substitute").reason)
    Db7 has the same third and seventh as G7, F and B, and its root falls a half step to C.
    """
    spots = [_Spot(progression, index) for index in range(len(progression.spans))]
    return tuple(proposal for spot in spots if spot.chord.root for proposal in _proposals_at(spot))


def _proposals_at(spot: _Spot) -> Iterable[Proposal]:
    """What can become of one chord, each thing once."""
    looks = (_sevenths, _secondary_dominants, _tritone_substitutes, _twos, _backdoors)
    found: dict[str, Proposal] = {}
    for look in looks:
        for proposal in look(spot):
            found.setdefault(proposal.symbol, proposal)
    return found.values()


@dataclass(frozen=True, slots=True)
class _Spot:
    """A chord among its neighbours, by the index of its span."""

    progression: Progression
    index: int

    @property
    def span(self) -> Span:
        return self.progression.spans[self.index]

    @property
    def chord(self) -> Chord:
        return self.span.chord

    @property
    def key(self) -> Key:
        return self.span.key

    @property
    def before(self) -> Chord | None:
        """The chord before, if there is one and it sounds."""
        return self._neighbour(self.index - 1)

    @property
    def after(self) -> Chord | None:
        """The chord after, if there is one and it sounds."""
        return self._neighbour(self.index + 1)

    @property
    def is_last(self) -> bool:
        return self.index == len(self.progression.spans) - 1

    @property
    def above(self) -> int:
        """Semitones of the root above the tonic."""
        return (root_of(self.chord).pitch_class - self.key.tonic.pitch_class) % 12

    @property
    def halves(self) -> tuple[int, ...]:
        """The lengths in ticks of the halves of the chord in whole beats, the longer first; none below two beats."""
        beat = self.progression.metre.beat
        second = self.span.length // beat // 2 * beat
        return (self.span.length - second, second) if second else ()

    def _neighbour(self, index: int) -> Chord | None:
        spans = self.progression.spans
        chord = spans[index].chord if 0 <= index < len(spans) else None
        return chord if chord is not None and chord.root is not None else None

    def proposal(self, kind: str, becomes: tuple[Chord, ...], reason: str) -> Proposal:
        lengths = self.halves if len(becomes) > 1 else ()
        changed = with_chords(self.progression, self.span, becomes, lengths)
        bar = self.progression.bar_index(self.span.onset) + 1
        return Proposal(kind, bar, self.chord, becomes, reason, changed)


def _sevenths(spot: _Spot) -> Iterator[Proposal]:
    """The chord with its seventh."""
    new = _with_seventh(spot.span, spot.progression)
    if new.symbol == spot.chord.symbol:
        return
    seventh, after = new.tones[-1].name, spot.after
    sentence = f"{new.symbol} adds the seventh, {seventh}, to {spot.chord.symbol}"
    goes = _goes(seventh, after, (0, -1, -2)) if after else ""
    if after and goes:
        sentence += f"; {seventh} {goes} in {after.symbol}"
    elif seventh.pitch_class in {name.pitch_class for name in spot.key.scale}:
        sentence += f"; {seventh} belongs to {spot.key}"
    yield spot.proposal("seventh", (new,), f"{sentence}.")


def _secondary_dominants(spot: _Spot) -> Iterator[Proposal]:
    """The dominant of the chord that follows, in place of the chord or in its second half."""
    target = spot.after
    if target is None or not _can_be_led_to(target, spot.key) or _leads(spot.chord, target):
        return
    new = chord_on(root_of(target).up(4, 7), "7")
    common = _common(new, spot.chord)
    if new.root == spot.chord.root or (
        len(common) > 1 and spot.index and family_of(spot.chord) != "dominant"
    ):
        keeps = f" It keeps {listed(map(str, common), 'and')} of {spot.chord.symbol}."
        yield spot.proposal("secondary dominant", (new,), f"{_pull(new, target)}{keeps}")
    if spot.halves and new.root != spot.chord.root:
        yield spot.proposal("secondary dominant", (spot.chord, new), _pull(new, target))


def _can_be_led_to(target: Chord, key: Key) -> bool:
    """Whether a chord is at rest on a degree of the key other than the tonic, so that it can have a dominant."""
    above = (root_of(target).pitch_class - key.tonic.pitch_class) % 12
    return (
        above != 0 and above in MODES[key.mode] and own_third(target) != "" and "5" in tones_by_degree(target)
    )


def _leads(chord: Chord, target: Chord) -> bool:
    """Whether a chord has its target's root, or is its dominant already or a chord that stands in for it."""
    away = (root_of(chord).pitch_class - root_of(target).pitch_class) % 12
    family = family_of(chord)
    return (
        away == 0
        or (away in (1, 7) and family == "dominant")
        or (away == 11 and family in ("diminished", "half-diminished"))
    )


def _pull(dominant: Chord, target: Chord) -> str:
    """How the third and the seventh of a dominant go on into its target."""
    third, seventh = tones_by_degree(dominant)["3"], tones_by_degree(dominant)["b7"]
    return (
        f"{dominant.symbol} is the dominant of {target.symbol}: its third, {third}, "
        f"{_goes(third, target, (1, 0))}, and its seventh, {seventh}, {_goes(seventh, target, (-1, -2, 0))}."
    )


def _tritone_substitutes(spot: _Spot) -> Iterator[Proposal]:
    """The dominant a tritone away from a dominant seventh that falls a fifth."""
    goal, has = _falls_to(spot), tones_by_degree(spot.chord)
    if goal is None or family_of(spot.chord) != "dominant" or "3" not in has:
        return
    new = chord_on(goal.up(1, 1), "7")
    reason = (
        f"{new.symbol} has the same third and seventh as {spot.chord.symbol}, {has['b7']} and {has['3']}, "
        f"and its root falls a half step to {goal}."
    )
    yield spot.proposal("tritone substitute", (new,), reason)


def _falls_to(spot: _Spot) -> Name | None:
    """The root a fifth below a chord, if it comes next, or where the chart ends, if it is a degree of the key."""
    goal = root_of(spot.chord).up(-4, -7).plain()
    if spot.after is not None:
        after = root_of(spot.after)
        return after if after.pitch_class == goal.pitch_class else None
    ahead = spot.is_last and spot.above != 0 and (spot.above + 5) % 12 in MODES[spot.key.mode]
    return goal if ahead else None


def _twos(spot: _Spot) -> Iterator[Proposal]:
    """The ii of a dominant in its first half, unless that ii or the dominant itself comes right before."""
    if not spot.halves or not _is_five(spot):
        return
    five, goal = root_of(spot.chord), root_of(spot.chord).up(-4, -7).plain()
    new = chord_on(five.up(4, 7), "m7" if _goal_third(spot, goal) == "3" else "m7b5")
    if spot.before is not None and spot.before.root in (five, new.root):
        return
    seventh = tones_by_degree(new)["b7"]
    reason = (
        f"{new.symbol} prepares {spot.chord.symbol}: they share {listed(map(str, _common(new, spot.chord)), 'and')}, its root falls "
        f"a fifth, and its seventh, {seventh}, {_goes(seventh, spot.chord, (-1, 0))}."
    )
    yield spot.proposal("two before five", (new, spot.chord), reason)


def _is_five(spot: _Spot) -> bool:
    """Whether a chord is the key's dominant, or a dominant seventh whose root falls a fifth."""
    if spot.above == 7:
        return family_of(spot.chord) == "dominant" or tones_by_degree(spot.chord).keys() == {"1", "3", "5"}
    return family_of(spot.chord) == "dominant" and _falls_to(spot) is not None


def _goal_third(spot: _Spot, goal: Name) -> str:
    """The third of the chord to which a dominant belongs: as the key has it, or as the chord that follows has it."""
    if goal.pitch_class == spot.key.tonic.pitch_class:
        return third_of_mode(spot.key.mode)
    if (
        spot.after is not None
        and root_of(spot.after).pitch_class == goal.pitch_class
        and own_third(spot.after)
    ):
        return own_third(spot.after)
    above = (goal.pitch_class - spot.key.tonic.pitch_class) % 12
    return "b3" if (above + 3) % 12 in MODES[spot.key.mode] else "3"


def _backdoors(spot: _Spot) -> Iterator[Proposal]:
    """The dominant seventh a whole step below a major tonic in place of V7."""
    has = tones_by_degree(spot.chord)
    if (
        spot.key.signature_mode != "major"
        or spot.above != 7
        or not {"3", "b7"} <= set(has)
        or _falls_to(spot) is None
    ):
        return
    tonic = chord_on(spot.key.tonic, "")
    if spot.after is not None and not can_be_tonic(spot.after, spot.key):
        return
    new = chord_on(spot.key.tonic.up(6, 10), "7")
    seventh = tones_by_degree(new)["b7"]
    reason = (
        f"{new.symbol} shares {listed(map(str, _common(new, spot.chord)), 'and')} with {spot.chord.symbol}; its seventh, {seventh}, "
        f"{_goes(seventh, tonic, (-1,))}, and its root rises a whole step to {spot.key.tonic}."
    )
    yield spot.proposal("backdoor", (new,), reason)


# Words for a player

_WAYS = {
    0: "stays",
    1: "rises a half step to {}",
    -1: "falls a half step to {}",
    -2: "falls a whole step to {}",
}


def _goes(note: Name, into: Chord, ways: tuple[int, ...]) -> str:
    """How a note goes on into a chord, by the first of some ways in semitones; empty if there is none."""
    for way in ways:
        tone = into.tone_at((note.pitch_class + way) % 12)
        if tone is not None:
            return _WAYS[way].format(tone.name)
    return ""


def _common(chord: Chord, other: Chord) -> list[Name]:
    """The tones of a chord that another has too."""
    return [tone.name for tone in chord.tones if other.tone_at(tone.name.pitch_class)]
