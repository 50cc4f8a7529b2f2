"""The values that flow through the program: progressions, notes, phrases, places and ideas. All are frozen."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache, partial
from itertools import pairwise
from typing import overload

from fillgen.chords import Chord, Tone, mask_of
from fillgen.metre import Metre
from fillgen.pitch import Key, Name, midi_name

CHORD_TONE = "chord tone"
_FINAL_FAMILIES = {"root": {"1"}, "third": {"3"}, "fifth": {"5"}}
_IN_PLACE_OF_THE_THIRD = ("4", "11", "2")


@dataclass(frozen=True, slots=True)
class Span:
    """A chord and how long it lasts: ticks from the start of the phrase, and ticks."""

    chord: Chord
    onset: int
    length: int
    heard: Chord

    @property
    def end(self) -> int:
        return self.onset + self.length


@dataclass(frozen=True)
class Progression:
    """A parsed chart: its metre, its key, and the chords of each bar.

    `heard` of a span is the chord the ear has there: over N.C. the chord before goes on. `first` is the number of the
    first bar: 0 where that one holds the pick-up of a phrase.
    """

    metre: Metre
    key: Key
    bars: tuple[tuple[Span, ...], ...]
    title: str = ""
    first: int = 1

    def bar_of(self, tick: int) -> int:
        """The number of the bar that holds a tick."""
        return tick // self.metre.bar + self.first

    @cached_property
    def spans(self) -> tuple[Span, ...]:
        return tuple(span for bar in self.bars for span in bar)

    @cached_property
    def changes(self) -> tuple[int, ...]:
        """The ticks at which another chord begins, the start included."""
        fresh = [b.onset for a, b in pairwise(self.spans) if a.heard.symbol != b.heard.symbol]
        return (0, *fresh)

    @property
    def length(self) -> int:
        """Ticks of the whole progression."""
        return len(self.bars) * self.metre.bar

    @property
    def last(self) -> Chord:
        """The chord on which the phrase ends."""
        return self.spans[-1].heard

    def span_at(self, tick: int) -> Span:
        """The span that holds a tick."""
        bar = self.bars[tick // self.metre.bar]
        return next(span for span in reversed(bar) if span.onset <= tick)

    def is_strong(self, tick: int) -> bool:
        """Whether a tick is a strong beat of its bar or the beat on which a new chord begins."""
        return tick % self.metre.bar in self.metre.strong or tick in self._change_set

    def strong_between(self, start: int, end: int) -> list[int]:
        """The strong ticks after `start` and before `end`."""
        bar = self.metre.bar
        first, last = start // bar, (end - 1) // bar
        beats = {n * bar + tick for n in range(first, last + 1) for tick in self.metre.strong}
        return sorted(tick for tick in beats | self._change_set if start < tick < end)

    @cached_property
    def passing_masks(self) -> dict[Chord, int]:
        """For each chord the pitch classes that may pass over it, as bits."""
        chords = dict.fromkeys(span.heard for span in self.spans)
        return {chord: mask_of(n.pitch_class for n in passing_names(chord, self.key)) for chord in chords}

    @cached_property
    def leading(self) -> int:
        """The raised seventh of a minor key as a bit; nothing in a major key, whose own seventh leads."""
        return mask_of([self.key.tonic.pitch_class + 11]) if self.key.mode == "minor" else 0

    @cached_property
    def spelled(self) -> dict[tuple[Note, Note], str]:
        """The names found so far for notes with the note after them; `spell` fills it."""
        return {}

    @cached_property
    def _change_set(self) -> frozenset[int]:
        return frozenset(self.changes)


@dataclass(frozen=True, slots=True)
class Note:
    """A note: ticks from the start of the phrase, ticks of length, and its MIDI pitch."""

    onset: int
    length: int
    midi: int

    @property
    def end(self) -> int:
        return self.onset + self.length


Phrase = tuple[Note, ...]


@dataclass(frozen=True, slots=True)
class Place:
    """What is known of a note before it has a pitch. Masks hold pitch classes as bits, C = bit 0.

    `held` are the tones common to all chords over whose strong beats the note is held (all twelve bits where
    there are none); `ahead` are the tones of the chord it is held into, `coming` those of the chord on which the
    next note starts, both 0 where that is no other chord;
    `ends` are the tones on which the phrase may close, 0 unless this is its last note; `lead` is the tune's
    first pitch if the last note shall lie near it, -1 otherwise. `length` is how long the note sounds over the chord
    on which it starts, in beats of the metre times 96. `since` are the milliseconds since the note before began,
    0 where no hand is asked about. `leading` is the raised seventh of a minor key where the chord has none: it may pass
    as well on its way up to the tonic.
    """

    strong: bool
    length: int
    before_rest: bool
    chord: int
    root: int
    passing: int
    held: int = 0xFFF
    ahead: int = 0
    coming: int = 0
    ends: int = 0
    lead: int = -1
    since: int = 0
    leading: int = 0

    @property
    def avoid(self) -> int:
        """The pitch classes outside the chord that lie a semitone above one of its tones."""
        return (self.chord << 1 | self.chord >> 11) & 0xFFF & ~self.chord


@dataclass(frozen=True, slots=True)
class IdeaNote:
    """A note of an idea with what it is: its spelled name, its role, its degree over the chord, and its finger.

    The role is empty where nothing justifies the note, the finger 0 where none was looked for.
    """

    bar: int
    note: Note
    name: str
    role: str
    degree: str
    finger: int = 0


@dataclass(frozen=True)
class Idea:
    """A phrase with its score, the terms of the score, its shape and its text."""

    rank: int
    score: float
    terms: Mapping[str, float]
    shape: str
    text: str
    notes: tuple[IdeaNote, ...]

    @property
    def phrase(self) -> Phrase:
        return tuple(told.note for told in self.notes)

    def __str__(self) -> str:
        return self.text


@dataclass(frozen=True)
class Ideas(Sequence[Idea]):
    """What one call found: ideas best first, over their progression.

    `phrases` is the exact number of phrases that keep every rule over the rhythms drawn from. `remarks` are
    sentences for the player, such as why there are fewer ideas than asked for. `weights` are those of the score's
    terms, `hand` is the size of hand the ideas were fingered for, `order` says which comes first.
    """

    progression: Progression
    rhythm: str
    level: int
    tempo: int
    swing: bool
    seed: int
    phrases: int
    ideas: tuple[Idea, ...]
    remarks: tuple[str, ...] = ()
    weights: Mapping[str, float] = field(default_factory=dict)
    hand: str = "medium"
    order: str = "best first"

    def __len__(self) -> int:
        return len(self.ideas)

    @overload
    def __getitem__(self, index: int) -> Idea: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Idea, ...]: ...
    def __getitem__(self, index: int | slice) -> Idea | tuple[Idea, ...]:
        return self.ideas[index]


def laid(bars: Sequence[Sequence[tuple[Chord, int]]]) -> tuple[tuple[Span, ...], ...]:
    """Chords with their lengths in ticks, bar by bar, as spans one after another; one chord at least must sound.

    Over N.C. the chord before goes on in the ear, at the start of a chart the first that comes.
    """
    heard = next(chord for bar in bars for chord, _ in bar if chord.root is not None)
    onset, rows = 0, []
    for bar in bars:
        spans = []
        for chord, length in bar:
            heard = chord if chord.root is not None else heard
            spans.append(Span(chord, onset, length, heard))
            onset += length
        rows.append(tuple(spans))
    return tuple(rows)


@lru_cache(maxsize=4096)
def passing_names(chord: Chord, key: Key) -> tuple[Name, ...]:
    """The notes that may pass over a chord: the key's scale, the chord's tones in place of their letters.

    >>> from fillgen.chords import read_chord
    >>> [str(name) for name in passing_names(read_chord("C7"), Key(Name.read("Eb"), "major"))]
    ['C', 'D', 'E', 'F', 'G', 'Ab', 'Bb']
    """
    taken = {tone.name.letter for tone in chord.tones}
    rest = [name for name in key.scale if name.letter not in taken]
    return tuple(sorted([*rest, *(tone.name for tone in chord.tones)]))


def final_tones(chord: Chord, ends_on: Sequence[str]) -> tuple[Tone, ...]:
    """The tones of the last chord on which a phrase may close: `root`, `third` or `fifth`.

    In a suspended chord the fourth (or the second) stands for the third.
    """
    wanted = {family for word in ends_on for family in _FINAL_FAMILIES[word]}
    if "3" in wanted and not any(tone.degree.family == "3" for tone in chord.tones):
        wanted.update(_IN_PLACE_OF_THE_THIRD[:2])
        if not any(tone.degree.family in wanted - {"1", "5"} for tone in chord.tones):
            wanted.add("2")
    return tuple(tone for tone in chord.tones if tone.degree.family in wanted)


def places(
    progression: Progression,
    rhythm: Sequence[tuple[int, int]],
    ends_on: Sequence[str] = ("root", "third"),
    lead: int = -1,
    *,
    closes: bool = True,
    since: Sequence[int] = (),
    make: Callable[..., Place] | None = None,
) -> tuple[Place, ...]:
    """The place of each note of a rhythm, given as onsets and lengths in ticks from the start of the phrase.

    `lead` is the tune's first pitch, -1 where it does not matter; `closes` says whether the phrase ends here;
    `since` are the milliseconds from each note's beginning back to that of the note before, where a hand is asked about;
    `make` is `place_of` for this progression, where one is at hand that remembers what it made.
    """
    make = make or partial(place_of, progression)
    finals = closing_mask(progression, ends_on)
    following = [*(onset for onset, _ in rhythm[1:]), CLOSES if closes else GOES_ON]
    last = len(rhythm) - 1
    return tuple(
        make(
            *note,
            after,
            finals if closes and index == last else 0,
            lead if closes and index == last else -1,
            since[index] if since else 0,
        )
        for index, (note, after) in enumerate(zip(rhythm, following, strict=True))
    )


CLOSES, GOES_ON = -1, -2
"""What follows a last note: nothing, for the phrase closes, or something not known yet."""


def closing_mask(progression: Progression, ends_on: Sequence[str]) -> int:
    """The pitch classes on which a phrase may close, as bits."""
    return mask_of(tone.name.pitch_class for tone in final_tones(progression.last, ends_on))


def place_of(
    progression: Progression,
    onset: int,
    length: int,
    following: int,
    ends: int = 0,
    lead: int = -1,
    since: int = 0,
) -> Place:
    """The place of one note, given in ticks; `following` is where the next begins, or CLOSES or GOES_ON."""
    end = onset + length
    chord = progression.span_at(onset).heard
    crossed = progression.strong_between(onset, end)
    held = [progression.span_at(tick).heard for tick in crossed]
    others = (tick for tick, at in zip(crossed, held, strict=True) if at.mask != chord.mask)
    return Place(
        strong=progression.is_strong(onset),
        length=(next(others, end) - onset) * 96 // progression.metre.beat,
        before_rest=following == CLOSES or following > end,
        chord=chord.mask,
        root=mask_of([chord.root.pitch_class] if chord.root else []),
        passing=progression.passing_masks[chord],
        held=_common(held),
        ahead=_other(chord, held[-1]) if held else 0,
        coming=_other(chord, progression.span_at(following).heard) if following >= 0 else 0,
        ends=ends,
        lead=lead,
        since=since,
        leading=progression.leading & ~progression.passing_masks[chord],
    )


def _other(chord: Chord, later: Chord) -> int:
    """The tones of a later chord, 0 where they are those of the first."""
    return later.mask if later.mask != chord.mask else 0


def _common(chords: Sequence[Chord]) -> int:
    mask = 0xFFF
    for chord in chords:
        mask &= chord.mask
    return mask


def spell(progression: Progression, notes: Phrase) -> tuple[str, ...]:
    """The scientific names of a phrase's notes, spelled by chord, then key, then by where a note resolves.

    A note outside both is written on the letter beside that of the note to which it steps. Where it does not step it
    is written as is usual in the key.
    """
    names = []
    for index, note in enumerate(notes):
        after = notes[index + 1] if index + 1 < len(notes) else note
        known = (note, after)
        if known not in progression.spelled:
            progression.spelled[known] = _spell_one(progression, *known).at(note.midi)
        names.append(progression.spelled[known])
    return tuple(names)


def _spell_one(progression: Progression, note: Note, after: Note) -> Name:
    own = _own_name(progression, note)
    if own is not None:
        return own
    rise = after.midi - note.midi
    goal = _own_name(progression, after) if abs(rise) == 2 else None
    if goal is not None:
        beside = goal.up(-1 if rise > 0 else 1, -rise)
        if abs(beside.alter) <= 1:
            return beside
    if abs(rise) == 1:
        for name in passing_names(progression.span_at(note.onset).heard, progression.key):
            if (name.pitch_class - rise) % 12 == note.midi % 12:
                return _chromatic(name, rise)
    return Name.read(midi_name(note.midi, progression.key).rstrip("-0123456789"))


def _own_name(progression: Progression, note: Note) -> Name | None:
    """The name of a note in the chord it begins over or is held into, or in the scale there; None outside both."""
    span = progression.span_at(note.onset)
    chords = [span.heard]
    chords += [progression.span_at(t).heard for t in progression.strong_between(note.onset, note.end)]
    for chord in chords:
        tone = chord.tone_at(note.midi % 12)
        if tone is not None:
            return tone.name
    scale = passing_names(span.heard, progression.key)
    return next((name for name in scale if name.pitch_class == note.midi % 12), None)


def _chromatic(target: Name, toward: int) -> Name:
    """The name a semitone below (`toward` 1) or above (-1) a target: a plain letter, or else the letter beside it."""
    beside = target.up(-toward, -toward)
    naturals = (Name(letter, 0) for letter in range(7))
    return next((name for name in naturals if name.pitch_class == beside.pitch_class), beside.plain())
