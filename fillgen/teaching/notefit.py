"""Which notes fit each chord of a chart and why, which tones stay into the next chord, and which move by step.

Every one of the twelve pitch classes has one kind over a chord: chord tone, passes, leave quickly, or clashes. The
kinds are those by which phrases are made: what may pass is `fillgen.chart.progression.passing_names`, what is left quickly is
`fillgen.phrase.place.Place.avoid`. Distances are semitones.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from fillgen.chart.progression import Progression, Span, blue_masks, passing_names, scale_over
from fillgen.phrase.idea import CHORD_TONE
from fillgen.phrase.place import Place
from fillgen.theory.chords import DEGREE_NAMES, FAMILIES, Chord, Degree, Tone, mask_of
from fillgen.theory.pitch import NATURAL, Key, Name

PASSES = "passes"
LEAVE_QUICKLY = "leave quickly"
CLASHES = "clashes"
NOTE_KINDS = (CHORD_TONE, PASSES, LEAVE_QUICKLY, CLASHES)
"""What a note can be over a chord, from the safest on."""


@dataclass(frozen=True, slots=True)
class NoteFit:
    """A note over a chord: its spelled name, its degree, its kind (one of `NOTE_KINDS`) and a sentence that says why."""

    name: Name
    degree: str
    kind: str
    reason: str

    @property
    def pitch_class(self) -> int:
        return self.name.pitch_class


@dataclass(frozen=True, slots=True)
class SharedTone:
    """A tone that stays: what it is in the chord, what it becomes in the next one, and both in words."""

    tone: Tone
    becomes: Tone
    words: str


@dataclass(frozen=True, slots=True)
class Way:
    """A step from a tone of the chord to a tone of the next: `rise` in semitones, -2 to 2, and in words."""

    tone: Tone
    goal: Tone
    rise: int
    words: str


@dataclass(frozen=True, slots=True)
class ChordNotes:
    """A chord of a chart with all that fits it, from its root up.

    `span` is the first of the spans in a row that hold the chord, from bar `bar` to bar `through`. `following` is the
    next other chord, None at the end; `common` are the tones that stay into it, `ways` the half and whole steps into
    it, smallest first. `remark` says over N.C. which chord is meant, and is empty elsewhere.
    """

    span: Span
    bar: int
    through: int
    tones: tuple[Tone, ...]
    fits: tuple[NoteFit, ...]
    following: Chord | None
    common: tuple[SharedTone, ...]
    ways: tuple[Way, ...]
    remark: str = ""

    @property
    def heard(self) -> Chord:
        """The chord the ear has: over N.C. the one before, at the start of a chart the one to come."""
        return self.span.heard

    def of_kind(self, kind: str) -> tuple[NoteFit, ...]:
        """The notes of one kind, from the root up."""
        return tuple(fit for fit in self.fits if fit.kind == kind)


@dataclass(frozen=True, slots=True)
class Recurring:
    """A chord that a chart returns to, listed once: as it comes first, with each chord it goes on to.

    `bars` are the runs of bars that have it, each with its first and last number; `onward` has one of its places
    for each chord that follows it.
    """

    notes: ChordNotes
    bars: tuple[tuple[int, int], ...]
    onward: tuple[ChordNotes, ...]


def recurring(chords: Sequence[ChordNotes]) -> tuple[Recurring, ...]:
    """The chords of a chart, each once with all its places, in the order in which they come first.

    Chords are one where the same notes fit them for the same reasons.

    >>> from fillgen.chart.text import parse_chart
    >>> first, second = recurring(chord_notes(parse_chart("| F7 | Bb7 | F7 | F7 | Bb7 |")))
    >>> first.bars, [str(each.following.symbol) for each in first.onward], second.bars
    (((1, 1), (3, 4)), ['Bb7'], ((2, 2), (5, 5)))
    """
    places: dict[object, list[ChordNotes]] = {}
    for each in chords:
        chord = each.span.chord
        places.setdefault((chord.root, chord.kind, chord.bass, each.fits, each.remark), []).append(each)
    return tuple(Recurring(group[0], _runs(group), _onward(group)) for group in places.values())


def _runs(group: Sequence[ChordNotes]) -> tuple[tuple[int, int], ...]:
    """The runs of bars of a chord's places; those that touch are one."""
    runs: list[tuple[int, int]] = []
    for each in group:
        if runs and each.bar <= runs[-1][1] + 1:
            runs[-1] = (runs[-1][0], each.through)
        else:
            runs.append((each.bar, each.through))
    return tuple(runs)


def _onward(group: Sequence[ChordNotes]) -> tuple[ChordNotes, ...]:
    """One of a chord's places for each chord that it goes on to."""
    found: dict[object, ChordNotes] = {}
    for each in group:
        if each.following is not None:
            found.setdefault((each.following.root, each.following.kind, each.following.bass), each)
    return tuple(found.values())


def chord_notes(progression: Progression, *, dorian_sixth: bool = False) -> tuple[ChordNotes, ...]:
    """What fits each chord of a progression; a chord repeated immediately is listed once.

    Over N.C. the chord before lingers in the ear, so its notes are the ones that fit, and a remark says so.
    see `note_fits` for `dorian_sixth`.

    >>> from fillgen.chart.text import parse_chart
    >>> first, second = chord_notes(parse_chart("| Dm7 | Dm7 | G7 |", key="C"))
    >>> first.through, [str(fit.name) for fit in first.of_kind(PASSES)]
    (2, ['E', 'G', 'B'])
    >>> [shared.words for shared in first.common][0], first.ways[0].words
    ('D stays: the root of Dm7 becomes the fifth of G7', 'C goes down a half step to B')
    """
    groups = _groups(progression.spans)
    heard = [group[0].heard for group in groups]
    return tuple(
        _chord_notes(progression, group, _following(heard, index), dorian_sixth)
        for index, group in enumerate(groups)
    )


def _groups(spans: Sequence[Span]) -> list[list[Span]]:
    """The spans in order, those in a row that hold the same chord in the same key together."""
    groups: list[list[Span]] = []
    for span in spans:
        last = groups[-1][0] if groups else None
        if last is not None and _is_same(last.chord, span.chord) and last.key == span.key:
            groups[-1].append(span)
        else:
            groups.append([span])
    return groups


def _is_same(chord: Chord, other: Chord) -> bool:
    """Whether two chords are the same, however they are written."""
    return (chord.root, chord.kind, chord.bass) == (other.root, other.kind, other.bass)


def _following(heard: Sequence[Chord], index: int) -> Chord | None:
    """The next chord that is another one than the chord heard now."""
    return next((chord for chord in heard[index + 1 :] if not _is_same(chord, heard[index])), None)


def _chord_notes(
    progression: Progression, group: Sequence[Span], following: Chord | None, dorian_sixth: bool
) -> ChordNotes:
    first, heard = group[0], group[0].heard
    bars = [progression.bar_index(span.onset) + 1 for span in (first, group[-1])]
    return ChordNotes(
        first,
        bars[0],
        bars[1],
        heard.tones,
        note_fits(heard, first.key, dorian_sixth=dorian_sixth),
        following,
        shared_tones(heard, following) if following else (),
        ways(heard, following) if following else (),
        _remark(first),
    )


def _remark(span: Span) -> str:
    if span.chord.root is not None:
        return ""
    if span.onset == 0:
        return f"no chord is played yet: {span.heard.symbol} is next"
    return f"no chord is played: {span.heard.symbol} lingers in the ear"


# The twelve notes over one chord


@lru_cache(maxsize=1024)
def note_fits(chord: Chord, key: Key, *, dorian_sixth: bool = False) -> tuple[NoteFit, ...]:
    """What each of the twelve pitch classes is over a chord in a key, from the chord's root up; nothing for N.C.

    A note that may pass is left quickly if it is a semitone above a chord tone: Nettles and Graf, The Chord
    Scale Theory, on avoid notes, as quoted in later handbooks. With `dorian_sixth` the major sixth over a minor seventh
    chord on the second degree of a major key is left quickly as well, because it makes a tritone with the third; this
    is a convention, common practice, and no clash. The flat ninth of a dominant is judged like any other note.

    >>> from fillgen.theory.chords import read_chord
    >>> fits = note_fits(read_chord("Cmaj7"), Key(Name.read("C"), "major"))
    >>> [(str(fit.name), fit.degree) for fit in fits if fit.kind == PASSES]
    [('D', '9'), ('A', '13')]
    >>> next(fit.reason for fit in fits if fit.kind == LEAVE_QUICKLY)
    'F lies a half step above E, the third of Cmaj7, and clashes with it when held: move on to E.'
    """
    if chord.root is None:
        return ()
    over = _Over(chord, chord.root, key, _place(chord, key), dorian_sixth and _is_second(chord, key))
    return tuple(over.fit((chord.root.pitch_class + rise) % 12) for rise in range(12))


def _place(chord: Chord, key: Key) -> Place:
    """A weak place over a chord, which knows what passes there and what does not stay."""
    passing = mask_of(name.pitch_class for name in passing_names(chord, key))
    return Place(strong=False, length=0, before_rest=False, chord=chord.mask, root=0, passing=passing)


def _is_second(chord: Chord, key: Key) -> bool:
    """Whether a chord is a minor seventh chord on the second degree; in minor its sixth lies outside the key anyway."""
    on_it = chord.root is not None and chord.root.pitch_class == key.scale[1].pitch_class
    texts = {tone.degree.text for tone in chord.tones}
    return on_it and {"b3", "b7"} <= texts and "b5" not in texts


_SIGN_WORDS = {"": "", "b": "flat ", "bb": "double flat ", "#": "sharp "}
_UNSIGNED = {"3", "7"}
"""Degrees that players name by number alone, whatever the chord."""


def degree_in_words(degree: Degree) -> str:
    """A degree as players say it.

    >>> [degree_in_words(Degree.read(text)) for text in ("1", "b3", "b5", "#11")]
    ['root', 'third', 'flat fifth', 'sharp eleventh']
    """
    sign = "" if degree.family in _UNSIGNED else degree.text.removesuffix(degree.family)
    return _SIGN_WORDS[sign] + FAMILIES[degree.family]


_UPPER = {"4": "11", "#4": "#11", "b6": "b13", "6": "13"}
"""What fourths and sixths are called above a seventh."""
_LETTER_DEGREES = ("1", "9", "3", "4", "5", "6", "7")
_ALTERED = {"b9", "#9", "b3", "#4", "b5", "#5", "b6", "b7"}


def _by_letter(root: Name, name: Name) -> str:
    """The degree by a note's letter, empty if no player would call it that.

    >>> [_by_letter(Name.read("F"), Name.read(name)) for name in ("Gb", "B", "Cb")]
    ['b9', '#4', 'b5']
    """
    steps = (name.letter - root.letter) % 7
    alter = (name.pitch_class - root.pitch_class - NATURAL[steps] + 6) % 12 - 6
    text = {0: "", 1: "#", -1: "b"}.get(alter, "?") + _LETTER_DEGREES[steps]
    return text if alter == 0 or text in _ALTERED else ""


@dataclass(frozen=True, slots=True)
class _Over:
    """A chord in its key, over which notes are judged; `dorian` where its sixth is left by convention."""

    chord: Chord
    root: Name
    key: Key
    place: Place
    dorian: bool

    @property
    def scale(self) -> tuple[Name, ...]:
        """The key's scale as it is over the chord."""
        return scale_over(self.chord, self.key)

    def fit(self, pitch_class: int) -> NoteFit:
        name = self._name(pitch_class)
        kind, reason = self._judged(name)
        return NoteFit(name, self._degree(name), kind, reason)

    def _degree(self, name: Name) -> str:
        """What a note is in the chord, otherwise what its letter says in the key, otherwise how far away it is."""
        tone = self.chord.tone_at(name.pitch_class)
        if tone is not None:
            return tone.degree.text
        by_letter = _by_letter(self.root, name) if name in self.scale else ""
        text = by_letter or DEGREE_NAMES[(name.pitch_class - self.root.pitch_class) % 12]
        has_seventh = any(tone.degree.family == "7" for tone in self.chord.tones)
        return _UPPER.get(text, text) if has_seventh else text

    def _name(self, pitch_class: int) -> Name:
        """The note as the chord has it, then as the key has it, then as its key is called or its degree written."""
        tone = self.chord.tone_at(pitch_class)
        return tone.name if tone else self._in_key(pitch_class) or self._by_degree(pitch_class)

    def _in_key(self, pitch_class: int) -> Name | None:
        return next((name for name in self.scale if name.pitch_class == pitch_class), None)

    def _by_degree(self, pitch_class: int) -> Name:
        if pitch_class in NATURAL:
            return Name(NATURAL.index(pitch_class), 0)
        degree = Degree.read(DEGREE_NAMES[(pitch_class - self.root.pitch_class) % 12])
        return self.root.up(degree.steps, degree.semitones).plain()

    def _judged(self, name: Name) -> tuple[str, str]:
        """A note's kind and the reason for it."""
        tone = self.chord.tone_at(name.pitch_class)
        if tone is not None:
            start = f"{name} is the {degree_in_words(tone.degree)} of {self.chord.symbol}"
            return CHORD_TONE, f"{start}: it can fall on any beat and stay."
        if not _has(self.place.passing, name):
            slide = self._why_it_slides(name)
            return (LEAVE_QUICKLY, slide) if slide else (CLASHES, self._why_it_clashes(name))
        if _has(self.place.avoid, name):
            return LEAVE_QUICKLY, self._why_it_rubs(name)
        if self.dorian and (name.pitch_class - self.root.pitch_class) % 12 == 9:
            return LEAVE_QUICKLY, self._why_by_convention(name)
        return PASSES, self._why_it_passes(name)

    def _why_it_rubs(self, name: Name) -> str:
        tone = self._beside(name, -1)
        assert tone is not None
        start = f"{name} lies a half step above {self._tone_in_words(tone)}"
        return f"{start}, and clashes with it when held: move on to {tone.name}."

    def _why_by_convention(self, name: Name) -> str:
        third = self._beside(name, -6)
        assert third is not None
        start = (
            f"{name} makes a tritone with {self._tone_in_words(third)}, the sound of {self.root.up(3, 5)}7"
        )
        return f"{start}: by convention it is left quickly."

    def _why_it_passes(self, name: Name) -> str:
        start = f"{name} belongs to {self.key} and lies"
        for rise in (-2, 1, 2):
            tone = self._beside(name, rise)
            if tone is not None:
                return f"{start} {_step(rise)} {self._tone_in_words(tone)}: {_PASSING[rise]}."
        return f"{start} well clear of {self._tone_in_words(self.chord.tones[0])}: it passes freely."

    def _why_it_slides(self, name: Name) -> str:
        """What a blue note does; empty for any other."""
        third, fifth = blue_masks(self.chord, self.key)
        if _has(third, name):
            return f"blue third: slides to {self.key.scale[2]}."
        if _has(fifth, name):
            return f"blue fifth: slides to {self.key.scale[3]} or {self.key.scale[4]}."
        return ""

    def _why_it_clashes(self, name: Name) -> str:
        """In the key, but another form of the letter is in the chord; or beside a chord tone; or beside another note."""
        if self._in_key(name.pitch_class):
            own = self.chord.stands_on(name.letter)
            assert own is not None
            return (
                f"{name} belongs to {self.key}, but {self.chord.symbol} has {own.name} in its place: "
                f"it clashes with {own.name}."
            )
        start = f"{name} lies outside {self.key}"
        for rise in (1, -1):
            tone = self._beside(name, rise)
            if tone is not None:
                return f"{start}, {_step(rise)} {self._tone_in_words(tone)}: it clashes unless it slides into {tone.name}."
        return f"{start} and {self._slide(name)}."

    def _slide(self, name: Name) -> str:
        """Where a note goes that has no chord tone within a half step: to the nearest note that may pass."""
        goals = passing_names(self.chord, self.key)
        rise = next(r for r in (1, -1, 2, -2) if any(_is_above(name, goal, r) for goal in goals))
        goal = next(goal for goal in goals if _is_above(name, goal, rise))
        return (
            f"has no chord tone beside it: it sounds foreign unless it slides into {goal}, {_step(-rise)} it"
        )

    def _beside(self, name: Name, rise: int) -> Tone | None:
        """The chord tone a number of semitones above a note."""
        return self.chord.tone_at((name.pitch_class + rise) % 12)

    def _tone_in_words(self, tone: Tone) -> str:
        return f"{tone.name}, the {degree_in_words(tone.degree)} of {self.chord.symbol}"


_PASSING = {-2: "it passes freely", 1: "it passes, leading up to it", 2: "it passes freely"}


def _has(mask: int, name: Name) -> bool:
    return bool(mask >> name.pitch_class & 1)


def _is_above(name: Name, goal: Name, rise: int) -> bool:
    return (goal.pitch_class - name.pitch_class - rise) % 12 == 0


def _step(rise: int) -> str:
    """Where a note is whose neighbour is a number of semitones above it.

    >>> _step(1), _step(-2)
    ('a half step below', 'a whole step above')
    """
    return f"a {_SIZES[abs(rise)]} {'below' if rise > 0 else 'above'}"


_SIZES = {1: "half step", 2: "whole step"}


# From one chord into the next


def shared_tones(chord: Chord, following: Chord) -> tuple[SharedTone, ...]:
    """The tones of a chord that are in the next one as well, from the root up.

    >>> from fillgen.theory.chords import read_chord
    >>> [str(shared.tone.name) for shared in shared_tones(read_chord("G7"), read_chord("Cmaj7"))]
    ['G', 'B']
    """
    pairs = [(tone, following.tone_at(tone.name.pitch_class)) for tone in chord.tones]
    return tuple(
        SharedTone(tone, becomes, _shared_in_words(chord, tone, following, becomes))
        for tone, becomes in pairs
        if becomes is not None
    )


def _shared_in_words(chord: Chord, tone: Tone, following: Chord, becomes: Tone) -> str:
    written = "" if tone.name == becomes.name else f", now written {becomes.name}"
    was, will_be = degree_in_words(tone.degree), degree_in_words(becomes.degree)
    return (
        f"{tone.name} stays{written}: the {was} of {chord.symbol} becomes the {will_be} of {following.symbol}"
    )


def ways(chord: Chord, following: Chord) -> tuple[Way, ...]:
    """All half and whole steps from a tone of a chord to a tone of the next, smallest first, then from the root up.

    >>> from fillgen.theory.chords import read_chord
    >>> [way.words for way in ways(read_chord("G7"), read_chord("C"))][:2]
    ['B goes up a half step to C', 'F goes down a half step to E']
    """
    return tuple(sorted(_ways(chord, following), key=lambda way: abs(way.rise)))


def _ways(chord: Chord, following: Chord) -> Iterator[Way]:
    for tone in chord.tones:
        for rise in (-2, -1, 1, 2):
            goal = following.tone_at((tone.name.pitch_class + rise) % 12)
            if goal is not None:
                yield Way(tone, goal, rise, _way_in_words(tone, goal, rise))


def _way_in_words(tone: Tone, goal: Tone, rise: int) -> str:
    return f"{tone.name} goes {'up' if rise > 0 else 'down'} a {_SIZES[abs(rise)]} to {goal.name}"
