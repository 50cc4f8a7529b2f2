"""Notes and phrases, and how notes are spelled over their chords."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from fillgen.chart.progression import Progression, passing_names
from fillgen.errors import PhraseError
from fillgen.theory.metre import Metre
from fillgen.theory.pitch import Name, midi_name


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


def check_line(notes: Phrase, metre: Metre, first: int = 1) -> None:
    """Refuse what is no line of single notes: PhraseError with its place, the first bar having the number given.

    >>> from fillgen.theory.metre import METRES
    >>> check_line((Note(0, 960, 65), Note(480, 480, 69)), METRES["3/4"])
    Traceback (most recent call last):
    ...
    fillgen.errors.PhraseError: bar 1, beat 2: two notes sound at once. Give one note at a time.
    """
    if not notes:
        raise PhraseError("the phrase has no note", hint="A note is written like F5q.")
    for before, note in pairwise((Note(0, 0, 0), *notes)):
        if note.onset < 0 or note.length <= 0 or not 0 <= note.midi <= 127:
            place = metre.place_name(max(0, note.onset), first)
            hint = "A note has a length and a MIDI number from 0 to 127, and doesn't begin before the phrase."
            raise PhraseError("not a note that can be played", place=place, hint=hint)
        if note.onset < before.end:
            place = metre.place_name(note.onset, first)
            raise PhraseError("two notes sound at once", place=place, hint="Give one note at a time.")


def spell(progression: Progression, notes: Phrase) -> tuple[str, ...]:
    """The scientific names of a phrase's notes, spelled by chord, then key, then by where a note resolves.

    A note outside both is written on the letter beside that of the note to which it steps. Where it does not step it
    is written as is usual in the key.
    """
    return Speller(progression).names(notes)


class Speller:
    """Spells phrases over one progression as `spell` does, and remembers the names found for many phrases."""

    def __init__(self, progression: Progression) -> None:
        self._progression = progression
        self._known: dict[tuple[Note, Note], str] = {}

    def names(self, notes: Phrase) -> tuple[str, ...]:
        """The scientific names of a phrase's notes."""
        return tuple(map(self._name, notes, (*notes[1:], *notes[-1:])))

    def _name(self, note: Note, after: Note) -> str:
        known = (note, after)
        if known not in self._known:
            self._known[known] = _spell_one(self._progression, note, after).at(note.midi)
        return self._known[known]


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
