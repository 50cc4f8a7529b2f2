"""A second voice: thirds, sixths or close chords under the right hand's line, where the ear and the hand can take them.

On strong places, and under held notes, what is added belongs to the chord; between them it moves with the line in the
scale over the chord. Quick notes go alone. Common practice of keyboard players, but where a source is named.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from fillgen.chart.progression import Progression, passing_names
from fillgen.hands.fingering import best_with_held, holds
from fillgen.hands.playing import check_second
from fillgen.hands.reach import Reach, reach
from fillgen.hands.take import swing_of
from fillgen.phrase.idea import CHORD_TONE, Idea, IdeaNote, Ideas
from fillgen.phrase.note import Note
from fillgen.phrase.spelling import names_of
from fillgen.rules.rule import STEP
from fillgen.theory.chords import Chord
from fillgen.theory.metre import TICKS, swung
from fillgen.theory.pitch import Key, Name

PARALLEL = "parallel"
"""The role of an added note that isn't in the chord: it moves with the line."""
LOWEST = 62
"""The lowest added note, D4: the left hand keeps the octave below middle C. A choice made here."""
QUICKEST = {"thirds": 0.16, "sixths": 0.16, "chord": 0.25}
"""Seconds: what is shorter goes alone, under chords eighths beyond 120 quarter notes a minute. A choice made here."""
_SHORTEST = TICKS // 2
_CLOSE = 12
"""The widest close chord: an octave."""
_SIXTH = 9
"""The widest interval of two voices, and of what takes the place of a third or sixth."""
_TRITONE, _FIFTH = 6, 7
_HARSH = (1, 11)
"""Semitones, octaves aside, at which two notes grate: the minor second with its inversion."""


@dataclass(frozen=True, slots=True)
class _Interval:
    """The interval of two voices: letters, the consonant semitones, and the nearest substitutes."""

    letters: int
    sizes: tuple[int, int]

    @property
    def usual(self) -> float:
        return sum(self.sizes) / 2


_INTERVALS = {"thirds": _Interval(2, (3, 4)), "sixths": _Interval(5, (8, 9))}
"""Thirds and sixths, minor and major: the imperfect consonances, which may follow one another (common practice)."""


def with_second(ideas: Ideas, kind: str, swing: float | None = None) -> Ideas:
    """Ideas with a second voice of a kind, `thirds`, `sixths` or `chord`, with fingers for all keys.

    `swing` is the ratio of eighths, None for the rhythm's own. OptionError for another kind.

    >>> import fillgen
    >>> waltz = with_second(fillgen.ideas("| F | C7 |", metre="3/4", count=1, seed=2), "thirds")
    >>> all(low.note.midi < waltz[0].notes[0].note.midi for low in waltz[0].below()[0])
    True
    """
    check_second(kind)
    hand, ratio = reach(ideas.hand), swing_of(ideas, swing)
    found = []
    for idea in ideas:
        keys = added_keys(ideas.progression, idea.notes, kind, hand, ideas.tempo, ratio)
        found.append(struck(ideas.progression, idea, keys, hand))
    return replace(ideas, ideas=tuple(found))


def struck(progression: Progression, idea: Idea, keys: Sequence[tuple[int, ...]], hand: Reach) -> Idea:
    """An idea with keys struck below each of its notes, from the highest down, named and fingered with them."""
    if not any(keys):
        return replace(idea, second=())
    melody = [(each.note.midi, *low) for each, low in zip(idea.notes, keys, strict=True)]
    fingers = best_with_held(melody, hand)
    notes = tuple(replace(each, finger=own[0]) for each, own in zip(idea.notes, fingers, strict=True))
    second = tuple(
        _added_note(progression, each, key, finger)
        for each, low, own in zip(notes, keys, fingers, strict=True)
        for key, finger in zip(low, own[1:], strict=True)
    )
    return replace(idea, notes=notes, second=second)


def _added_note(progression: Progression, above: IdeaNote, key: int, finger: int) -> IdeaNote:
    chord = progression.span_at(above.note.onset).heard
    name = _name_of(progression, above.note, key % 12)
    tones = _held_tones(progression, above.note)
    role = CHORD_TONE if tones >> key % 12 & 1 else PARALLEL
    note = replace(above.note, midi=key, name=name)
    return replace(
        above, note=note, name=name.at(key), role=role, degree=chord.degree_of(key % 12), finger=finger
    )


def _name_of(progression: Progression, note: Note, pitch_class: int) -> Name:
    """A pitch class as the chord has it, or the next one that the note is held into, or the scale."""
    chords = _chords(progression, note)
    tones = [tone.name for chord in chords if (tone := chord.tone_at(pitch_class)) is not None]
    scale = passing_names(chords[0], progression.span_at(note.onset).key)
    others = [name for name in scale if name.pitch_class == pitch_class]
    return [*tones, *others, names_of(pitch_class)[0]][0]


def _chords(progression: Progression, note: Note) -> list[Chord]:
    """The chords over which a note sounds."""
    later = [tick for tick in progression.changes if note.onset < tick < note.end]
    return [progression.span_at(tick).heard for tick in (note.onset, *later)]


def _held_tones(progression: Progression, note: Note) -> int:
    """The pitch classes, as bits, that belong to every chord under a note; of an anticipation to the chord to come."""
    chords = _chords(progression, note)
    if len(chords) > 1 and not chords[0].mask >> note.midi % 12 & 1:
        chords = chords[1:]
    mask = chords[0].mask
    for chord in chords[1:]:
        mask &= chord.mask
    return mask


# What is added


@dataclass(frozen=True, slots=True)
class _Place:
    """A note of the line and what it lies over: the chord, its key, and the tones that may be held under it as bits.

    `long` notes last a beat or more; `steps_on` says whether the line goes on by step. `near` are the names that are heard
    about it: two notes of the line before and after it, and the chord of the next one.
    """

    note: Note
    name: Name
    chord: Chord
    key: Key
    tones: int
    strong: bool
    long: bool
    steps_on: bool
    near: frozenset[Name]

    @property
    def is_tone(self) -> bool:
        return bool(self.tones >> self.note.midi % 12 & 1)

    def has(self, key: int) -> bool:
        """Whether a key is a tone that may be held here."""
        return bool(self.tones >> key % 12 & 1)

    def tones_below(self, most: int) -> Iterator[int]:
        """The tones at a third or more below the line, the nearest first."""
        for key in range(self.note.midi - 3, max(LOWEST, self.note.midi - most) - 1, -1):
            if self.has(key):
                yield key

    def is_crossed(self, key: int) -> bool:
        """Whether a key of the scale is heard nearby under the same letter with another accidental, such as F near F#."""
        name = next(name for name in passing_names(self.chord, self.key) if name.pitch_class == key % 12)
        return any(each.letter == name.letter and each != name for each in self.near)

    def is_against_bass(self, key: int) -> bool:
        """Whether a key outside the chord is a half step, octaves aside, from the bass."""
        low = self.chord.bass or self.chord.root
        return low is not None and (key - low.pitch_class) % 12 in _HARSH

    def grates(self, key: int) -> bool:
        """Whether a key is a half step, octaves aside, above a tone of the chord."""
        return bool(self.chord.mask >> (key - 1) % 12 & 1)


_Below = tuple[int, ...]
"""Keys from the highest down; of what went before with the line's at the front."""


def added_keys(
    progression: Progression, notes: Sequence[IdeaNote], kind: str, hand: Reach, tempo: int, swing: float = 1
) -> list[_Below]:
    """The keys struck below each note of a line, from the highest down; empty under notes that go alone.

    `kind` is `thirds`, `sixths` or `chord`, `tempo` in quarter notes a minute, `swing` the ratio of first eighth to second.
    """
    choose = _CHOICES[kind]
    found: list[_Below] = []
    before: _Below = ()
    for index, each in enumerate(notes):
        place = _place(progression, notes, index)
        keys = choose(place, before) if _lasts(progression, each.note, tempo, swing, QUICKEST[kind]) else ()
        if keys and not holds((each.note.midi, *keys), hand):
            keys = ()
        found.append(keys)
        before = (each.note.midi, *keys) if keys else before
    return found


def _place(progression: Progression, notes: Sequence[IdeaNote], index: int) -> _Place:
    note = notes[index].note
    after = notes[index + 1].note if index + 1 < len(notes) else None
    span, coming = progression.span_at(note.onset), progression.span_at((after or note).onset)
    line = {_letters(each) for each in notes[max(0, index - 2) : index + 3]}
    return _Place(
        note,
        _letters(notes[index]),
        span.heard,
        span.key,
        _held_tones(progression, note),
        progression.is_strong(note.onset) or bool(progression.strong_between(note.onset, note.end)),
        note.length >= progression.metre_at(note.onset).beat,
        after is not None and 1 <= abs(after.midi - note.midi) <= STEP,
        frozenset(line | {tone.name for tone in coming.heard.tones}),
    )


def _letters(each: IdeaNote) -> Name:
    return Name.read(each.name.rstrip("-0123456789"))


def _lasts(progression: Progression, note: Note, tempo: int, swing: float, least: float) -> bool:
    """Whether a note lasts at least so many seconds, as it is swung, and is over a chord."""
    seconds = (swung(note.end, swing) - swung(note.onset, swing)) / TICKS * 60 / tempo
    sounds = progression.span_at(note.onset).chord.root is not None
    return sounds and note.length >= _SHORTEST and seconds >= least


# Thirds and sixths


def _voice(interval: _Interval) -> Callable[[_Place, _Below], _Below]:
    def choose(place: _Place, before: _Below) -> _Below:
        parallel = _parallel(place, interval)
        if parallel is not None and (place.has(parallel) or _may_pass(place, parallel)):
            return (parallel,)
        if not place.is_tone and not place.strong:
            return ()
        return _nearest(place, interval, before)

    return choose


def _parallel(place: _Place, interval: _Interval) -> int | None:
    """The key so many letters below in the scale over the chord, where it is consonant and not too low."""
    letter = (place.name.letter - interval.letters) % 7
    for name in passing_names(place.chord, place.key):
        size = (place.note.midi - name.pitch_class) % 12
        if name.letter == letter and size in interval.sizes and place.note.midi - size >= LOWEST:
            return place.note.midi - size
    return None


def _may_pass(place: _Place, key: int) -> bool:
    """Whether a key outside the chord may go with the line: on a weak place, where it doesn't clash.

    Under a note that passes too it may rub against the chord, not against the bass. Under a chord tone it must rub against
    neither, last less than a beat, and go on by step as the line does.
    """
    if place.strong or place.is_against_bass(key) or place.is_crossed(key):
        return False
    return not place.is_tone or (place.steps_on and not place.long and not place.grates(key))


def _nearest(place: _Place, interval: _Interval, before: _Below) -> _Below:
    """The tone of the chord nearest to the interval: a third, fourth, fifth or sixth.

    A tritone, and a fifth after another, are passed over for what is nearly as near; little movement is better than much.
    """
    above, *lower = before or (place.note.midi,)

    def cost(key: int) -> float:
        size = place.note.midi - key
        fifths = size == _FIFTH and above != place.note.midi and _FIFTH in [above - low for low in lower]
        moved = abs(key - lower[0]) if lower else 0
        return abs(size - interval.usual) + 1.5 * (size == _TRITONE) + 3 * fifths + moved / 8

    tones = list(place.tones_below(_SIXTH))
    return (min(tones, key=cost),) if tones else ()


# Close chords


def _chord(place: _Place, before: _Below) -> _Below:
    """Two tones of the chord below the line within an octave, or one where two don't fit, or none on short weak notes."""
    if not (place.long or place.strong):
        return ()
    tones = list(place.tones_below(_CLOSE))
    pairs = [pair for pair in combinations(tones, 2) if _is_clear((place.note.midi, *pair))]
    if pairs:
        return min(pairs, key=lambda pair: _chord_cost(place, pair, before))
    return _nearest(place, _INTERVALS["thirds"], ())


def _is_clear(keys: Sequence[int]) -> bool:
    """Whether no two keys are a half step apart, octaves aside, or the same in two octaves."""
    return not any((a - b) % 12 in (0, *_HARSH) for a, b in combinations(keys, 2))


def _chord_cost(place: _Place, pair: tuple[int, ...], before: _Below) -> float:
    """Less where the third and seventh are there, the root of a fuller chord is left to the bass, and little moves."""
    chord = place.chord
    here = {key % 12 for key in (place.note.midi, *pair)}
    guides = [tone for tone in chord.tones if tone.degree.family in ("3", "7")]
    missing = sum(tone.name.pitch_class not in here for tone in guides)
    root = chord.root.pitch_class if chord.root is not None else -1
    doubled = len(chord.tones) > 3 and any(key % 12 == root for key in pair)
    cluster = pair[0] - pair[1] < 3
    moved = sum(abs(a - b) for a, b in zip(pair, before[1:], strict=False))
    span = place.note.midi - pair[1]
    return 3 * missing + doubled + cluster / 2 + span / 8 + moved / 16


_CHOICES: Mapping[str, Callable[[_Place, _Below], _Below]] = {
    **{kind: _voice(interval) for kind, interval in _INTERVALS.items()},
    "chord": _chord,
}
