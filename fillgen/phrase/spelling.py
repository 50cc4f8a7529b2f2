"""How notes are spelled: the names of a whole line at once, as an editor would choose them.

Every pitch has one or two names without double signs. A line takes those that cost least together, exactly: what a
name says over its chord, and what two neighbours look like. A note that came with a name keeps it, and its neighbours
are spelled around it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from fillgen.chart.progression import Progression, passing_names
from fillgen.phrase.note import Note, Phrase
from fillgen.theory.chords import Chord
from fillgen.theory.pitch import NATURAL, Key, Name, midi_name

ODD_INTERVAL = 8
"""Two neighbours that look augmented or diminished where other names of the same keys make a plain interval. It costs
more than any name but those of two chord tones, which an editor leaves as the chord has them."""
MOST_SIGNS = 2
"""Sharps or flats that can be engraved; a name typed with more gives way to one of ours."""
RENAMED = 24
"""A key struck again under another name: it costs more than any interval around it."""
OTHER_THAN_CHORD = 7
"""A tone of the chord under another name than its chord prints."""
OTHER_THAN_SCALE = 5
"""A note of the scale over the chord under another name than the scale has."""
OTHER_THAN_FREE = 2
"""A tone of a chord whose letters say nothing, such as a diminished seventh, under its other name, twice as much where
that puts a sign before a white key (Cb in Ddim7); its root stays."""
ODD_BETWEEN_FREE = 3
"""An odd interval between two tones of such a chord: Bb Db E G holds one wherever it is spelled."""
OTHER_THAN_USUAL = 1
"""A note outside chord and scale that is not written as is usual in the key."""
SIGNED_NATURAL = 6
"""A white key with a sign (E#, Fb) that neither the chord nor the scale gives it."""
HALF_STEP_ON_A_LETTER = (2, 4)
"""A half step on one letter, into a note outside chord and scale and out of one: so a raised note goes up to the next
letter (C C# D) and a lowered one down (D Db C)."""


def spell(progression: Progression, notes: Phrase) -> tuple[str, ...]:
    """The scientific names of a phrase's notes: those they came with, and for the others the best for the line.

    >>> from fillgen.chart.text import parse_chart
    >>> rise = tuple(Note(480 * beat, 480, midi) for beat, midi in enumerate((70, 72, 73, 74)))
    >>> spell(parse_chart("| Bb |"), rise), spell(parse_chart("| Bb |"), tuple(Note(n.onset, 480, 144 - n.midi) for n in rise))
    (('Bb4', 'C5', 'C#5', 'D5'), ('D5', 'C5', 'B4', 'Bb4'))
    """
    return Speller(progression).names(notes)


class Speller:
    """Spells phrases over one progression. `written` are notes whose names also hold where they come back."""

    def __init__(self, progression: Progression, written: Phrase = ()) -> None:
        self._progression = progression
        self._written = {(note.onset, note.midi): note.name for note in written if note.name is not None}
        self._choices = lru_cache(maxsize=4096)(self._costs_of)

    def names(self, notes: Phrase) -> tuple[str, ...]:
        """The scientific names of a phrase's notes."""
        return tuple(name.at(note.midi) for name, note in zip(self._line(notes), notes, strict=True))

    def _line(self, notes: Phrase) -> tuple[Name, ...]:
        """The names that cost least together; of equals the one whose later notes have the better names."""
        best: dict[Name, tuple[int, tuple[Name, ...]]] = {}
        for index, note in enumerate(notes):
            choices = self._choices_of(note)
            before = notes[index - 1]
            best = {
                name: min(
                    (
                        (total + cost + self._pair(before, line[-1], note, name), (*line, name))
                        for total, line in best.values()
                    ),
                    key=lambda way: way[0],
                    default=(cost, (name,)),
                )
                for name, cost in choices.items()
            }
        return min(best.values(), key=lambda way: way[0])[1] if best else ()

    def _choices_of(self, note: Note) -> dict[Name, int]:
        """The names a note may take with their costs, the cheapest first; its own alone where it came with one."""
        own = note.name or self._written.get((note.onset, note.midi))
        if own is not None and own.pitch_class == note.midi % 12 and abs(own.alter) <= MOST_SIGNS:
            return {own: 0}
        return self._choices(note)

    def _costs_of(self, note: Note) -> dict[Name, int]:
        chords = self._chords(note)
        key = self._key_at(note.onset)
        costs = {name: _name_cost(name, chords, key) for name in names_of(note.midi % 12)}
        return dict(sorted(costs.items(), key=lambda item: item[1]))

    def _pair(self, before: Note, first: Name, note: Note, second: Name) -> int:
        """What two neighbours cost by the interval that they show."""
        if before.midi == note.midi and first != second:
            return RENAMED
        if is_plain(first, before.midi, second, note.midi):
            return 0
        if is_half_step_on_a_letter(first, before.midi, second, note.midi):
            into, out = HALF_STEP_ON_A_LETTER
            return into * self._is_outside(note) + out * self._is_outside(before)
        return min(_odd_over(chord, first, second) for chord in self._chords(note))

    def _is_outside(self, note: Note) -> bool:
        """Whether a note is outside its chord and the scale over it."""
        chords = self._chords(note)
        scale = passing_names(chords[0], self._key_at(note.onset))
        tones = (tone.name for chord in chords for tone in chord.tones)
        return all(name.pitch_class != note.midi % 12 for name in (*tones, *scale))

    def _chords(self, note: Note) -> list[Chord]:
        """The chord over which a note begins, and those that it is held into."""
        held = self._progression.strong_between(note.onset, note.end)
        return [self._progression.span_at(tick).heard for tick in (note.onset, *held)]

    def _key_at(self, tick: int) -> Key:  # noqa: ARG002 - one key for the whole chart, asked for in one place
        """The key by which the notes at a tick are spelled."""
        return self._progression.key


@lru_cache(maxsize=12)
def names_of(pitch_class: int) -> tuple[Name, ...]:
    """The names of a pitch class with one sign at most.

    >>> [" ".join(map(str, names_of(pitch_class))) for pitch_class in (0, 1, 2)]
    ['C B#', 'C# Db', 'D']
    """
    names = (Name(letter, alter) for alter in (0, 1, -1) for letter in range(7))
    return tuple(name for name in names if name.pitch_class == pitch_class)


def _name_cost(name: Name, chords: Sequence[Chord], key: Key) -> int:
    """What a name costs by itself: least as the chord has it, then the scale, then as is usual in the key."""
    for chord in chords:
        tone = chord.tone_at(name.pitch_class)
        if tone is not None:
            if tone.name == name:
                return 0
            if not _is_free(chord) or tone.name == chord.root:
                return OTHER_THAN_CHORD + _signed_natural(name)
            on_degree = chord.stands_on(name.letter) is tone
            return (
                OTHER_THAN_FREE * (1 + on_degree)
                if on_degree or not _signed_natural(name)
                else SIGNED_NATURAL
            )
    scale = passing_names(chords[0], key)
    if any(each.pitch_class == name.pitch_class for each in scale):
        return 0 if name in scale else OTHER_THAN_SCALE + _signed_natural(name)
    usual = midi_name(60 + name.pitch_class, key).rstrip("0123456789")
    return OTHER_THAN_USUAL * (str(name) != usual) + _signed_natural(name)


def _signed_natural(name: Name) -> int:
    return SIGNED_NATURAL if name.alter and name.pitch_class in NATURAL else 0


def _is_free(chord: Chord) -> bool:
    """Whether the letters of a chord say nothing of where it goes."""
    return chord.kind is not None and chord.kind.naturals


def _odd_over(chord: Chord, first: Name, second: Name) -> int:
    """What an odd interval costs over a chord: nothing where the chord itself has it, such as F and G# of E7b9."""
    if _is_free(chord):
        both = chord.tone_at(first.pitch_class) and chord.tone_at(second.pitch_class)
        return ODD_BETWEEN_FREE if both else ODD_INTERVAL
    return 0 if {first, second} <= {tone.name for tone in chord.tones} else ODD_INTERVAL


# Intervals as they look


def _looks(first: Name, first_midi: int, second: Name, second_midi: int) -> tuple[int, int]:
    """An interval as it is printed, upwards: letters, and semitones beyond the major or perfect one on them."""
    semitones = second_midi - first_midi
    letters = _height(second, second_midi) - _height(first, first_midi)
    if semitones < 0 or (semitones == 0 and letters < 0):
        semitones, letters = -semitones, -letters
    octaves, rest = divmod(letters, 7)
    return letters, semitones - 12 * octaves - NATURAL[rest]


def _height(name: Name, midi: int) -> int:
    """The place of a name on the staff, in letters."""
    return (midi - name.alter - NATURAL[name.letter]) // 12 * 7 + name.letter


def is_half_step_on_a_letter(first: Name, first_midi: int, second: Name, second_midi: int) -> bool:
    """Whether two notes are a chromatic half step, such as C C#.

    >>> is_half_step_on_a_letter(Name.read("C"), 72, Name.read("C#"), 73)
    True
    """
    return _looks(first, first_midi, second, second_midi) == (0, 1)


@lru_cache(maxsize=65536)
def is_plain(first: Name, first_midi: int, second: Name, second_midi: int) -> bool:
    """Whether two notes look like a perfect, major or minor interval, or like a tritone.

    >>> e, ab, g_sharp = map(Name.read, ("E", "Ab", "G#"))
    >>> is_plain(e, 64, g_sharp, 68), is_plain(e, 64, ab, 68), is_plain(ab, 68, Name.read("D"), 74)
    (True, False, True)
    """
    letters, beyond = _looks(first, first_midi, second, second_midi)
    if letters < 0:
        return False
    if letters % 7 in (0, 3, 4):
        return beyond == 0 or (letters % 7, beyond) in ((3, 1), (4, -1))
    return beyond in (0, -1)
