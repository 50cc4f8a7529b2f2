"""A phrase with what each of its notes is."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property, lru_cache

from fillgen.chart.progression import Progression
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.place import Place, places
from fillgen.phrase.spelling import spell
from fillgen.rules import judge
from fillgen.rules.rule import STEP, Seen, Window
from fillgen.rules.tones import role
from fillgen.teaching.words import on_beat
from fillgen.theory.chords import Chord

_ANY_CLOSE = ("root", "third", "fifth")
"""The degrees on which a phrase may close where no level says which."""
_NEAR = 4
"""How far a chord tone may be from a note to be offered instead, in semitones."""


# A phrase note by note


@lru_cache(maxsize=256)
def _places(progression: Progression, rhythm: tuple[tuple[int, int], ...]) -> tuple[Place, ...]:
    """The places of a whole phrase; ideas share their rhythms, so they are kept."""
    return places(progression, rhythm, _ANY_CLOSE)


class Line:
    """A phrase over its chart: names, roles, and what is around each note.

    Notes are counted from 0. `where` are the places of the notes; without them the phrase is a whole one.
    """

    def __init__(self, progression: Progression, notes: Phrase, where: Sequence[Place] | None = None) -> None:
        self.progression = progression
        self.notes = notes
        rhythm = tuple((note.onset, note.length) for note in notes)
        self.where = tuple(where) if where is not None else _places(progression, rhythm)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The spelled names, such as Eb5."""
        return spell(self.progression, self.notes)

    @cached_property
    def windows(self) -> list[Window]:
        return list(judge.windows(self.where, [note.midi for note in self.notes]))

    @cached_property
    def roles(self) -> list[str]:
        """The role of each note by the rules, empty if nothing justifies it."""
        return [role(window) for window in self.windows]

    def before(self, index: int) -> Note | None:
        return self.notes[index - 1] if index else None

    def after(self, index: int) -> Note | None:
        return self.notes[index + 1] if index + 1 < len(self.notes) else None

    def other_before(self, index: int) -> int | None:
        """The last note before one that has another pitch, if there is one."""
        own = self.notes[index].midi
        return next((i for i in range(index - 1, -1, -1) if self.notes[i].midi != own), None)

    def other_after(self, index: int) -> int | None:
        """The first note after one that has another pitch, if there is one."""
        own = self.notes[index].midi
        return next((i for i in range(index + 1, len(self.notes)) if self.notes[i].midi != own), None)

    def into(self, index: int) -> int:
        """The semitones by which the line rises to a note from the one before; 0 at the beginning."""
        return self.notes[index].midi - self.notes[index - 1].midi if index else 0

    def out(self, index: int) -> int:
        """The semitones by which the line rises from a note to the next; 0 at the end."""
        return self.into(index + 1) if index + 1 < len(self.notes) else 0

    def approach(self, index: int) -> int:
        """The semitones to a note from the last one of another pitch; 0 if there is none."""
        before = self.other_before(index)
        return 0 if before is None else self.notes[index].midi - self.notes[before].midi

    def departure(self, index: int) -> int:
        """The semitones from a note to the next one of another pitch; 0 if there is none."""
        after = self.other_after(index)
        return 0 if after is None else self.notes[after].midi - self.notes[index].midi

    def chord(self, index: int) -> Chord:
        """The chord the ear has where a note begins."""
        return self.progression.span_at(self.notes[index].onset).heard

    def at(self, index: int) -> str:
        """A note with where it begins: `G5 on beat 1`."""
        return f"{self.names[index]} {on_beat(self.progression.timeline, self.notes[index].onset)}"

    def held_into(self, index: int) -> tuple[int, Chord] | None:
        """The other chord into which a note is held, and the tick: the first that lacks it, otherwise the last."""
        others = self._others(index)
        return self.lacking(index) or next(iter(others[-1:]), None)

    def lacking(self, index: int) -> tuple[int, Chord] | None:
        """The first other chord into which a note is held that lacks it, and the tick."""
        inside = self.notes[index].midi % 12
        if self.where[index].held >> inside & 1:
            return None
        return next((each for each in self._others(index) if each[1].tone_at(inside) is None), None)

    def _others(self, index: int) -> list[tuple[int, Chord]]:
        """The other chords over whose strong beats a note is held, and the ticks."""
        note, own = self.notes[index], self.chord(index)
        ticks = self.progression.strong_between(note.onset, note.end)
        heard = [(tick, self.progression.span_at(tick).heard) for tick in ticks]
        return [(tick, chord) for tick, chord in heard if chord.mask != own.mask]

    def near(self, index: int) -> list[str]:
        """The chord tones nearest to a note, one below it and one above, by name."""
        chord, midi = self.chord(index), self.notes[index].midi
        found = []
        for way in (-1, 1):
            rises = (midi + way * size for size in range(1, 12))
            tone = next((m for m in rises if chord.tone_at(m % 12) and 0 <= m <= 127), None)
            if tone is not None:
                found.append(tone)
        close = [tone for tone in found if abs(tone - midi) <= _NEAR] or found
        return [tone_name(chord, tone) for tone in close]

    def goals(self, index: int) -> list[str]:
        """The chord tones within a step to which a note reached by step could go instead, by name."""
        before, note, after = self.windows[index]
        if after is None or not 1 <= abs(self.into(index)) <= STEP:
            return []
        chord = self.chord(index + 1)
        steps = [note.midi + rise for rise in (-2, -1, 1, 2) if 0 <= note.midi + rise <= 127]
        tones = [midi for midi in steps if chord.tone_at(midi % 12) and midi != after.midi]
        kinds = [(midi, role((before, note, Seen(after.place, midi)))) for midi in tones]
        plain = [midi for midi, kind in kinds if kind in ("passing", "neighbour")]
        return [tone_name(chord, midi) for midi in plain or [midi for midi, kind in kinds if kind]]


def tone_name(chord: Chord, midi: int) -> str:
    """The name of a chord's tone at a MIDI pitch, such as Eb5."""
    tone = chord.tone_at(midi % 12)
    assert tone is not None
    return tone.name.at(midi)
