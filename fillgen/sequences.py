"""Stock chord sequences: intros, turnarounds, endings and vamps, in any key, up to any chord, and richer step by step.

The sequences stand in `rules/sequences.toml` as Roman numerals.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

from fillgen.chords import Chord, read_chord
from fillgen.errors import OptionError, did_you_mean, shorten
from fillgen.metre import Metre, metre
from fillgen.music import Progression, Span, laid
from fillgen.parse import parse_chart, read_numeral
from fillgen.pitch import MODES, Key, Name, all_keys
from fillgen.tables import plain_name, table

PURPOSES = ("intro", "turnaround", "ending", "vamp")
"""What a sequence is for."""

_Rows = Iterable[Iterable[tuple[Chord, int]]]
"""The chords of each bar with their lengths in ticks."""


@dataclass(frozen=True, slots=True)
class Sequence:
    """A stock sequence: `chords` and `leads_to` are Roman numerals, `metre` is the one it is written for.

    `leads_to` is the chord that follows: of an ending the chord it closes on, of a vamp the one it goes round to.

    >>> found = sequence("backdoor close")
    >>> found.chords, found.bars, found.goal(Key(Name.read("Eb"), "major")).symbol
    ('| iv7 bVII7 | Imaj7 |', 2, 'Ebmaj7')
    """

    name: str
    purpose: str
    mode: str
    metre: Metre
    chords: str
    leads_to: str
    says: str
    source: str

    @property
    def bars(self) -> int:
        return len(_at_home(self).bars)

    def goal(self, key: Key) -> Chord:
        """The chord that it leads to in a key."""
        return read_numeral(self.leads_to, key)


# Finding


@lru_cache(maxsize=1)
def sequences() -> tuple[Sequence, ...]:
    """All sequences of `rules/sequences.toml`."""
    return tuple(
        Sequence(
            row["name"],
            row["purpose"],
            row["mode"],
            metre(row["metre"]),
            row["chords"],
            row["leads-to"],
            row["says"],
            row["source"],
        )
        for row in table("sequences")["sequence"]
    )


def sequence(name: str) -> Sequence:
    """The sequence of that name; capitals and hyphens do not matter. OptionError names the nearest.

    >>> sequence("Circle Turnaround").chords
    '| I vi | ii V |'
    """
    for known in sequences():
        if plain_name(known.name) == plain_name(name):
            return known
    hint = did_you_mean(name, [known.name for known in sequences()])
    raise OptionError(
        f"unknown sequence {shorten(name)}", hint=hint or "The list of sequences names them all."
    )


def find(
    purpose: str | None = None,
    mode: str | None = None,
    bars: int | None = None,
    metre: Metre | None = None,
) -> tuple[Sequence, ...]:
    """The sequences of a purpose, a mode and a number of bars that can be played in a metre, each if asked for.

    Those that are written for the metre come first. OptionError for a purpose or a mode that does not exist.

    >>> [found.name for found in find("turnaround", "minor", bars=1)]
    ['one-bar minor two-five']
    """
    _check(purpose, PURPOSES, "purpose")
    _check(mode, MODES, "mode")
    fitting = [
        known
        for known in sequences()
        if purpose in (None, known.purpose)
        and mode in (None, known.mode)
        and bars in (None, known.bars)
        and (metre is None or _plays_in(known, metre))
    ]
    return tuple(sorted(fitting, key=lambda known: metre is not None and known.metre != metre))


def _check(word: str | None, known: Iterable[str], what: str) -> None:
    if word is not None and word not in known:
        raise OptionError(f"unknown {what} {shorten(word)}", hint=did_you_mean(word, known))


def _names(found: Iterable[Sequence]) -> str:
    return ", ".join(known.name for known in found)


# Keys and metres


def key_on(tonic: Name, mode: str) -> Key:
    """The key on a tonic, written as the same sounds under another name where none of the thirty keys has it.

    >>> str(key_on(Name.read("Db"), "minor"))
    'C# minor'
    """
    same = [key for key in all_keys() if key.mode == mode and key.tonic.pitch_class == tonic.pitch_class]
    return min(same, key=lambda key: (key.tonic != tonic, abs(key.fifths)))


def spelled(sequence: Sequence, key: Key, metre: Metre | None = None) -> Progression:
    """A sequence with its chords in a key, in its own metre or in another whose beats its chords share evenly.

    Raises OptionError where the key has the other mode, and where a bar cannot be shared in the metre; both name
    the sequences that fit.

    >>> [span.chord.symbol for span in spelled(sequence("chromatic turnaround"), Key(Name.read("Eb"), "major")).spans]
    ['Eb', 'Gb', 'Cb', 'Fb7']
    """
    if key.mode != sequence.mode:
        raise OptionError(
            f"{sequence.name!r} is in {sequence.mode}, and the key is {key}",
            hint=f"In {key.mode} there are: {_names(find(sequence.purpose, key.mode, metre=metre))}.",
        )
    written = parse_chart(sequence.chords, key=key, metre=sequence.metre)
    if metre is not None and metre != sequence.metre:
        written = _in_metre(sequence, written, metre)
    return replace(written, title=sequence.name)


@lru_cache(maxsize=256)
def _at_home(sequence: Sequence) -> Progression:
    """A sequence as it is written, in C."""
    return spelled(sequence, Key(Name(0, 0), sequence.mode))


def _plays_in(sequence: Sequence, metre: Metre) -> bool:
    return all(_shares(bar, sequence.metre, metre) for bar in _at_home(sequence).bars)


def _in_metre(sequence: Sequence, written: Progression, metre: Metre) -> Progression:
    bars = []
    for number, bar in enumerate(written.bars, 1):
        lengths = _shares(bar, written.metre, metre)
        if not lengths:
            fitting = find(sequence.purpose, sequence.mode, metre=metre)
            raise OptionError(
                f"the chords of {sequence.name!r} do not share the {metre.beats} beats of a {metre.name} bar evenly",
                place=f"bar {number}",
                hint=f"In {metre.name} there are: {_names(fitting)}.",
            )
        bars.append([(span.chord, length) for span, length in zip(bar, lengths, strict=True)])
    return _laid(replace(written, metre=metre), bars)


def _shares(bar: tuple[Span, ...], old: Metre, new: Metre) -> tuple[int, ...]:
    """The lengths in ticks of a bar's chords in another metre; none where they cannot share its beats evenly."""
    if old.beats == new.beats:
        return tuple(span.length // old.beat * new.beat for span in bar)
    even = len({span.length for span in bar}) == 1 and new.beats % len(bar) == 0
    return (new.bar // len(bar),) * len(bar) if even else ()


def _laid(like: Progression, bars: _Rows) -> Progression:
    """A progression with other bars."""
    return replace(like, bars=laid([list(bar) for bar in bars]))


# Up to a chord

_STANDS_ON = {
    ("major", "dominant"): (4, 7),
    ("major", "minor seventh"): (1, 2),
    ("major", "minor"): (5, 9),
    ("major", "half-diminished"): (6, 11),
    ("major", "diminished"): (6, 11),
    ("minor", "dominant"): (4, 7),
    ("minor", "major"): (2, 3),
    ("minor", "half-diminished"): (1, 2),
    ("minor", "diminished"): (6, 11),
}
"""Letter steps and semitones above the tonic at which a chord most often stands that cannot be the tonic of a mode.

Source: common practice.
"""


def to_chord(
    sequence: Sequence, goal: Chord, key: Key | None = None, metre: Metre | None = None
) -> Progression:
    """A sequence in the key in which it leads to a chord, such as the first of a tune.

    `key` is the tune's. An intro or a turnaround whose goal is the tonic stays as it is; on the way to any other
    chord its last chord is changed for the dominant seventh of that chord. Where no key is given, a goal that can be
    the tonic of the sequence's mode is, and another is taken for the degree it most often is: a minor seventh for
    ii7 of a major key, a dominant seventh for V7. Endings and vamps take the goal for their tonic, whatever the key,
    and an ending closes on it. Raises OptionError where there is no such key, and where nothing can close on the
    goal.

    >>> [span.chord.symbol for span in to_chord(sequence("circle intro"), read_chord("Fm7")).spans]
    ['Ebmaj7', 'Cm7', 'Fm7', 'C7']
    """
    if goal.root is None:
        raise OptionError(f"{goal.symbol} is no chord to lead to", hint="Name a chord, such as Eb or Fm7.")
    if sequence.purpose in ("ending", "vamp"):
        return _around(sequence, goal, metre)
    home = key or _home_of(goal, sequence.mode)
    played = spelled(sequence, home, metre)
    return played if _is_tonic(goal, home) else _led(played, goal)


def _home_of(goal: Chord, mode: str) -> Key:
    """The key of a mode in which a chord is the tonic, or else the degree that it most often is."""
    steps, semitones = _STANDS_ON.get((mode, _family(goal)), (0, 0))
    return key_on(_root(goal).up(-steps, -semitones), mode)


def _family(chord: Chord) -> str:
    """What a chord is to a key: dominant, major, minor, minor seventh, half-diminished, diminished or open."""
    has = _degrees(chord)
    if "b5" in has and "b3" in has:
        return "half-diminished" if "b7" in has else "diminished"
    if chord.kind is not None and chord.kind.is_dominant:
        return "dominant"
    if "b3" in has:
        return "minor seventh" if "b7" in has else "minor"
    return "major" if "3" in has else "open"


def _is_tonic(chord: Chord, key: Key) -> bool:
    """Whether a chord is the tonic of a key; one without a third may be."""
    return _root(chord).pitch_class == key.tonic.pitch_class and _closes(chord, _third_of(key.mode))


def _closes(chord: Chord, third: str) -> bool:
    """Whether a chord can be a tonic with that third, `3` or `b3`."""
    return _third(chord) in (third, "") and "b5" not in _degrees(chord)


def _led(played: Progression, goal: Chord) -> Progression:
    """A progression with its last chord changed for the dominant of a goal, along with what holds that chord back."""
    root = _root(goal).up(4, 7).plain()
    held = _root(played.last)
    rows = [list(bar) for bar in _rows(played)]
    places = [(bar, item) for bar, row in enumerate(rows) for item in range(len(row))]
    for bar, item in reversed(places):
        chord, length = rows[bar][item]
        if chord.root != held:
            break
        rows[bar][item] = (_as_dominant(chord, root), length)
    return _laid(played, rows)


def _as_dominant(chord: Chord, root: Name) -> Chord:
    """The dominant on a root: suspended where the chord in its place is, a plain seventh otherwise."""
    return _chord(root, "7sus4" if _third(chord) == "" else "7")


def _around(sequence: Sequence, goal: Chord, metre: Metre | None) -> Progression:
    """An ending or a vamp with a chord as its tonic; an ending closes on that very chord."""
    if not _closes(goal, _tonic_third(sequence)):
        same = find(sequence.purpose, metre=metre)
        names = _names(known for known in same if _closes(goal, _tonic_third(known)))
        raise OptionError(
            f"the tonic of {sequence.name!r} cannot be {goal.symbol}",
            hint=f"With {goal.symbol} there are: {names}." if names else "Name a chord that can be at rest.",
        )
    key = key_on(_root(goal), sequence.mode)
    played = spelled(sequence, key, metre)
    if sequence.purpose == "vamp":
        return played
    last = goal if goal.root == key.tonic else goal.on(key.tonic, None)
    return _changed(played, played.spans[-1], (last,))


def _tonic_third(sequence: Sequence) -> str:
    return _third(sequence.goal(Key(Name(0, 0), sequence.mode)))


# Chords and their tones


def _root(chord: Chord) -> Name:
    assert chord.root is not None
    return chord.root


def _degrees(chord: Chord) -> dict[str, Name]:
    """The tones of a chord by what they are above its root."""
    return {tone.degree.text: tone.name for tone in chord.tones}


def _third(chord: Chord) -> str:
    """The third of a chord, `3` or `b3`; empty where it has none."""
    return next((degree for degree in ("3", "b3") if degree in _degrees(chord)), "")


def _third_of(mode: str) -> str:
    return "3" if mode == "major" else "b3"


def _chord(root: Name, quality: str, bass: Name | None = None) -> Chord:
    return read_chord(f"{root.plain()}{quality}{f'/{bass}' if bass else ''}")


def _rows(progression: Progression) -> list[list[tuple[Chord, int]]]:
    return [[(span.chord, span.length) for span in bar] for bar in progression.bars]


def _changed(
    progression: Progression, place: Span, chords: tuple[Chord, ...], lengths: tuple[int, ...] = ()
) -> Progression:
    """A progression with other chords in the place of one; their lengths in ticks are told where they are several."""
    parts = tuple(zip(chords, lengths or (place.length,), strict=True))
    bars = [
        [part for span in bar for part in (parts if span is place else ((span.chord, span.length),))]
        for bar in progression.bars
    ]
    return _laid(progression, bars)


# Sevenths


def with_sevenths(progression: Progression) -> Progression:
    """A progression whose triads have the seventh that fits its key; every other chord stays as it is.

    Minor triads get the minor seventh, diminished ones on a degree of the key the half-diminished, other diminished
    ones the diminished seventh. Major triads that lie in the key get the seventh of its scale; outside the key those
    a fifth above one of its degrees become dominants. A major tonic at the end of a chart in minor stays at rest.
    Source: Shaffer, Hughes and Moseley, Open Music Theory, for the chords of a key; common practice for the others.

    >>> chart = parse_chart("| C A | Dm G |", key="C")
    >>> [span.chord.symbol for span in with_sevenths(chart).spans]
    ['Cmaj7', 'A7', 'Dm7', 'G7']
    """
    bars = [[(_with_seventh(span, progression), span.length) for span in bar] for bar in progression.bars]
    return _laid(progression, bars)


def _with_seventh(span: Span, progression: Progression) -> Chord:
    chord, key = span.chord, progression.key
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
    return chord if quality is None else _chord(chord.root, quality, chord.bass)


def _is_close(span: Span, progression: Progression) -> bool:
    """Whether no other chord follows."""
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
        """What stands in the place of the chord."""
        return " ".join(chord.symbol for chord in self.becomes)


def proposals(progression: Progression) -> tuple[Proposal, ...]:
    """The ways to make a progression richer by a single change, in the order of its bars.

    They are: a seventh added, the dominant of the chord that follows, the tritone substitute of a dominant seventh,
    a ii before a V that lasts two beats, and the backdoor chord in place of V7.

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
        return self.progression.key

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
        return (_root(self.chord).pitch_class - self.key.tonic.pitch_class) % 12

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
        changed = _changed(self.progression, self.span, becomes, lengths)
        bar = self.span.onset // self.progression.metre.bar + 1
        return Proposal(kind, bar, self.chord, becomes, reason, changed)


def _sevenths(spot: _Spot) -> Iterator[Proposal]:
    """The chord with its seventh."""
    new = _with_seventh(spot.span, spot.progression)
    if new.symbol == spot.chord.symbol:
        return
    seventh, after = new.tones[-1].name, spot.after
    told = f"{new.symbol} adds the seventh, {seventh}, to {spot.chord.symbol}"
    goes = _goes(seventh, after, (0, -1, -2)) if after else ""
    if after and goes:
        told += f"; {seventh} {goes} in {after.symbol}"
    elif seventh.pitch_class in {name.pitch_class for name in spot.key.scale}:
        told += f"; {seventh} belongs to {spot.key}"
    yield spot.proposal("seventh", (new,), f"{told}.")


def _secondary_dominants(spot: _Spot) -> Iterator[Proposal]:
    """The dominant of the chord that follows, in place of the chord or in its second half."""
    target = spot.after
    if target is None or not _can_be_led_to(target, spot.key) or _leads(spot.chord, target):
        return
    new = _chord(_root(target).up(4, 7), "7")
    common = _common(new, spot.chord)
    if new.root == spot.chord.root or (len(common) > 1 and spot.index and _family(spot.chord) != "dominant"):
        keeps = f" It keeps {_listed(common)} of {spot.chord.symbol}."
        yield spot.proposal("secondary dominant", (new,), f"{_pull(new, target)}{keeps}")
    if spot.halves and new.root != spot.chord.root:
        yield spot.proposal("secondary dominant", (spot.chord, new), _pull(new, target))


def _can_be_led_to(target: Chord, key: Key) -> bool:
    """Whether a chord stands at rest on a degree of the key other than the tonic, so that it can have a dominant."""
    above = (_root(target).pitch_class - key.tonic.pitch_class) % 12
    return above != 0 and above in MODES[key.mode] and _third(target) != "" and "5" in _degrees(target)


def _leads(chord: Chord, target: Chord) -> bool:
    """Whether a chord has its target's root, or is its dominant already or a chord that stands in for it."""
    away = (_root(chord).pitch_class - _root(target).pitch_class) % 12
    family = _family(chord)
    return (
        away == 0
        or (away in (1, 7) and family == "dominant")
        or (away == 11 and family in ("diminished", "half-diminished"))
    )


def _pull(dominant: Chord, target: Chord) -> str:
    """How the third and the seventh of a dominant go on into its target."""
    third, seventh = _degrees(dominant)["3"], _degrees(dominant)["b7"]
    return (
        f"{dominant.symbol} is the dominant of {target.symbol}: its third, {third}, "
        f"{_goes(third, target, (1, 0))}, and its seventh, {seventh}, {_goes(seventh, target, (-1, -2, 0))}."
    )


def _tritone_substitutes(spot: _Spot) -> Iterator[Proposal]:
    """The dominant a tritone away from a dominant seventh that falls a fifth."""
    goal, has = _falls_to(spot), _degrees(spot.chord)
    if goal is None or _family(spot.chord) != "dominant" or "3" not in has:
        return
    new = _chord(goal.up(1, 1), "7")
    reason = (
        f"{new.symbol} has the same third and seventh as {spot.chord.symbol}, {has['b7']} and {has['3']}, "
        f"and its root falls a half step to {goal}."
    )
    yield spot.proposal("tritone substitute", (new,), reason)


def _falls_to(spot: _Spot) -> Name | None:
    """The root a fifth below a chord, if it comes next, or where the chart ends, if it is a degree of the key."""
    goal = _root(spot.chord).up(-4, -7).plain()
    if spot.after is not None:
        after = _root(spot.after)
        return after if after.pitch_class == goal.pitch_class else None
    ahead = spot.is_last and spot.above != 0 and (spot.above + 5) % 12 in MODES[spot.key.mode]
    return goal if ahead else None


def _twos(spot: _Spot) -> Iterator[Proposal]:
    """The ii of a dominant in its first half, unless that ii or the dominant itself stands right before."""
    if not spot.halves or not _is_five(spot):
        return
    five, goal = _root(spot.chord), _root(spot.chord).up(-4, -7).plain()
    new = _chord(five.up(4, 7), "m7" if _goal_third(spot, goal) == "3" else "m7b5")
    if spot.before is not None and spot.before.root in (five, new.root):
        return
    seventh = _degrees(new)["b7"]
    reason = (
        f"{new.symbol} prepares {spot.chord.symbol}: they share {_listed(_common(new, spot.chord))}, its root falls "
        f"a fifth, and its seventh, {seventh}, {_goes(seventh, spot.chord, (-1, 0))}."
    )
    yield spot.proposal("two before five", (new, spot.chord), reason)


def _is_five(spot: _Spot) -> bool:
    """Whether a chord is the key's dominant, or a dominant seventh whose root falls a fifth."""
    if spot.above == 7:
        return _family(spot.chord) == "dominant" or _degrees(spot.chord).keys() == {"1", "3", "5"}
    return _family(spot.chord) == "dominant" and _falls_to(spot) is not None


def _goal_third(spot: _Spot, goal: Name) -> str:
    """The third of the chord to which a dominant belongs: as the key has it, or as the chord that follows has it."""
    if goal.pitch_class == spot.key.tonic.pitch_class:
        return _third_of(spot.key.mode)
    if spot.after is not None and _root(spot.after).pitch_class == goal.pitch_class and _third(spot.after):
        return _third(spot.after)
    above = (goal.pitch_class - spot.key.tonic.pitch_class) % 12
    return "b3" if (above + 3) % 12 in MODES[spot.key.mode] else "3"


def _backdoors(spot: _Spot) -> Iterator[Proposal]:
    """The dominant seventh a whole step below a major tonic in place of V7."""
    has = _degrees(spot.chord)
    if spot.key.mode != "major" or spot.above != 7 or not {"3", "b7"} <= set(has) or _falls_to(spot) is None:
        return
    tonic = _chord(spot.key.tonic, "")
    if spot.after is not None and not _is_tonic(spot.after, spot.key):
        return
    new = _chord(spot.key.tonic.up(6, 10), "7")
    seventh = _degrees(new)["b7"]
    reason = (
        f"{new.symbol} shares {_listed(_common(new, spot.chord))} with {spot.chord.symbol}; its seventh, {seventh}, "
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
    """How a note goes on into a chord, by the first of some ways in semitones; empty where there is none."""
    for way in ways:
        tone = into.tone_at((note.pitch_class + way) % 12)
        if tone is not None:
            return _WAYS[way].format(tone.name)
    return ""


def _common(chord: Chord, other: Chord) -> list[Name]:
    """The tones of a chord that another has too."""
    return [tone.name for tone in chord.tones if other.tone_at(tone.name.pitch_class)]


def _listed(names: list[Name]) -> str:
    """Names as a sentence has them: `A, C and E`."""
    words = [str(name) for name in names]
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else "".join(words)
