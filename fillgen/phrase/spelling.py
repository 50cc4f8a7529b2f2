"""How notes are spelled: the names of a whole line at once, as an editor would choose them.

Every pitch has one or two names without double signs. A line takes those that cost least together, exactly: what a
name says over its chord, and what two neighbours look like. A note that came with a name keeps it, and its neighbours
are spelled around it.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from operator import itemgetter
from typing import NamedTuple

from fillgen.chart.progression import Progression, passing_names
from fillgen.phrase.note import Note, Phrase
from fillgen.theory.chords import Chord
from fillgen.theory.pitch import NATURAL, Key, Name, midi_name

ODD_INTERVAL = 8
"""Two neighbours that look augmented or diminished where other names of the same keys make a plain interval. It costs
more than any name but another than the chord prints."""
MOST_SIGNS = 2
"""Sharps or flats that can be engraved; a name typed with more gives way to one of ours."""
RENAMED = 24
"""A key struck again under another name: it costs more than any interval around it."""
OTHER_THAN_CHORD = 9
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


class _Choice(NamedTuple):
    """A name that a note may take: what it costs, and its place on the staff in letters."""

    name: Name
    cost: int
    height: int


class Speller:
    """Spells phrases over one progression. `written` are notes whose names also hold when they return."""

    def __init__(self, progression: Progression, written: Phrase = ()) -> None:
        self._progression = progression
        self._written = {(note.onset, note.midi): note.name for note in written if note.name is not None}
        self._usual = lru_cache(maxsize=4096)(self._usual_choices)
        self._sounding = lru_cache(maxsize=4096)(self._chords_between)

    def names(self, notes: Phrase) -> tuple[str, ...]:
        """The scientific names of a phrase's notes."""
        return tuple(name.at(note.midi) for name, note in zip(self._line(notes), notes, strict=True))

    def _line(self, notes: Phrase) -> tuple[Name, ...]:
        """The names that cost least together; of equals the one whose later notes have the better names."""
        rows = [self._choices(note) for note in notes]
        first = [row[0] for row in rows]
        if not any(choice.cost for choice in first) and self._is_free_of_charge(notes, first):
            return tuple(choice.name for choice in first)
        lines: list[tuple[int, tuple[_Choice, ...]]] = [(0, ())]
        for index, row in enumerate(rows):
            lines = [self._onward(lines, notes, index, choice) for choice in row]
        return tuple(choice.name for choice in min(lines, key=itemgetter(0))[1])

    def _is_free_of_charge(self, notes: Phrase, choices: Sequence[_Choice]) -> bool:
        pairs = zip(notes, choices, notes[1:], choices[1:], strict=False)
        return not any(self._pair(*pair) for pair in pairs)

    def _onward(
        self,
        lines: Sequence[tuple[int, tuple[_Choice, ...]]],
        notes: Phrase,
        index: int,
        choice: _Choice,
    ) -> tuple[int, tuple[_Choice, ...]]:
        """The cheapest of some lines that goes on to a choice for the next note."""
        if not index:
            return choice.cost, (choice,)
        before, note = notes[index - 1], notes[index]
        ways = ((total + self._pair(before, line[-1], note, choice), line) for total, line in lines)
        total, line = min(ways, key=itemgetter(0))
        return total + choice.cost, (*line, choice)

    def _choices(self, note: Note) -> tuple[_Choice, ...]:
        """The names a note may take, the cheapest first; its own alone where it came with one."""
        own = note.name or self._written.get((note.onset, note.midi))
        if own is not None and own.pitch_class == note.midi % 12 and abs(own.alter) <= MOST_SIGNS:
            return (_Choice(own, 0, _height(own, note.midi)),)
        return self._usual(note)

    def _usual_choices(self, note: Note) -> tuple[_Choice, ...]:
        costs = _name_costs(note.midi % 12, self._chords(note), self._key_at(note.onset))
        return tuple(_Choice(name, cost, _height(name, note.midi)) for name, cost in costs)

    def _pair(self, before: Note, first: _Choice, note: Note, second: _Choice) -> int:
        """What two neighbours cost by the interval that they show."""
        interval = _looks(first.height, before.midi, second.height, note.midi)
        if interval in _PLAIN:
            return 0
        if before.midi == note.midi:
            return RENAMED
        if interval == _HALF_STEP:
            into, out = HALF_STEP_ON_A_LETTER
            return into * self._is_outside(note) + out * self._is_outside(before)
        return min(_odd_over(chord, first.name, second.name) for chord in self._chords(note))

    def _is_outside(self, note: Note) -> bool:
        """Whether a note is outside its chord and the scale over it."""
        chords = self._chords(note)
        scale = passing_names(chords[0], self._key_at(note.onset))
        tones = (tone.name for chord in chords for tone in chord.tones)
        return all(name.pitch_class != note.midi % 12 for name in (*tones, *scale))

    def _chords(self, note: Note) -> tuple[Chord, ...]:
        """The chord over which a note begins, and those that it is held into."""
        return self._sounding(note.onset, note.end)

    def _chords_between(self, onset: int, end: int) -> tuple[Chord, ...]:
        held = self._progression.strong_between(onset, end)
        return tuple(self._progression.span_at(tick).heard for tick in (onset, *held))

    def _key_at(self, tick: int) -> Key:
        """The key by which the notes at a tick are spelled."""
        return self._progression.span_at(tick).key


@lru_cache(maxsize=12)
def names_of(pitch_class: int) -> tuple[Name, ...]:
    """The names of a pitch class with one sign at most.

    >>> [" ".join(map(str, names_of(pitch_class))) for pitch_class in (0, 1, 2)]
    ['C B#', 'C# Db', 'D']
    """
    names = (Name(letter, alter) for alter in (0, 1, -1) for letter in range(7))
    return tuple(name for name in names if name.pitch_class == pitch_class)


@lru_cache(maxsize=4096)
def _name_costs(pitch_class: int, chords: tuple[Chord, ...], key: Key) -> tuple[tuple[Name, int], ...]:
    """The names of a pitch class over some chords with the cost of each on its own, cheapest first."""
    costs = ((name, _name_cost(name, chords, key)) for name in names_of(pitch_class))
    return tuple(sorted(costs, key=itemgetter(1)))


def _name_cost(name: Name, chords: Sequence[Chord], key: Key) -> int:
    """The cost of a name on its own: least as the chord spells it, then the scale, then what is usual in the key."""
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
    return 0 if str(name) == usual else OTHER_THAN_USUAL + _signed_natural(name)


def _signed_natural(name: Name) -> int:
    return SIGNED_NATURAL if name.alter and name.pitch_class in NATURAL else 0


def _is_free(chord: Chord) -> bool:
    """Whether the letters of a chord say nothing of where it goes."""
    return chord.kind is not None and chord.kind.naturals


def _odd_over(chord: Chord, first: Name, second: Name) -> int:
    """What an odd interval costs over a chord: nothing if the chord itself has it, such as F and G# of E7b9."""
    if _is_free(chord):
        both = chord.tone_at(first.pitch_class) and chord.tone_at(second.pitch_class)
        return ODD_BETWEEN_FREE if both else ODD_INTERVAL
    return 0 if {first, second} <= {tone.name for tone in chord.tones} else ODD_INTERVAL


# Intervals as they look

_PLAIN = frozenset(
    {
        *((letters, NATURAL[letters]) for letters in range(7)),
        *((letters, NATURAL[letters] - 1) for letters in (1, 2, 4, 5, 6)),
        (3, 6),
    }
)
"""Letters and semitones of the perfect, major and minor intervals and of both tritones, octaves aside."""
_HALF_STEP = (0, 1)


def _looks(first: int, first_midi: int, second: int, second_midi: int) -> tuple[int, int]:
    """An interval as it is printed, upwards and without its octaves: letters and semitones."""
    letters, semitones = second - first, second_midi - first_midi
    if semitones < 0 or (semitones == 0 and letters < 0):
        letters, semitones = -letters, -semitones
    octaves, rest = divmod(letters, 7)
    return rest, semitones - 12 * octaves


def _height(name: Name, midi: int) -> int:
    """The place of a name on the staff, in letters."""
    return (midi - name.alter - NATURAL[name.letter]) // 12 * 7 + name.letter


def is_plain(first: Name, first_midi: int, second: Name, second_midi: int) -> bool:
    """Whether two notes look like a perfect, major or minor interval, or like a tritone.

    >>> e, ab, g_sharp = map(Name.read, ("E", "Ab", "G#"))
    >>> is_plain(e, 64, g_sharp, 68), is_plain(e, 64, ab, 68), is_plain(ab, 68, Name.read("D"), 74)
    (True, False, True)
    """
    heights = _height(first, first_midi), _height(second, second_midi)
    return _looks(heights[0], first_midi, heights[1], second_midi) in _PLAIN
