"""Notes and phrases."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

from fillgen.errors import PhraseError
from fillgen.theory.metre import Metre, Timeline, timeline_of
from fillgen.theory.pitch import Name


@dataclass(frozen=True, slots=True)
class Note:
    """A note: ticks from the start of the phrase, ticks of length, and its MIDI pitch.

    `name` is the spelling that a person wrote, or None; notes that sound alike are equal whatever their names.
    """

    onset: int
    length: int
    midi: int
    name: Name | None = field(default=None, compare=False, repr=False)

    @property
    def end(self) -> int:
        return self.onset + self.length


Phrase = tuple[Note, ...]


def check_line(notes: Phrase, metre: Metre | Timeline, first: int = 1) -> None:
    """PhraseError with its place unless the notes are a line of single notes; `first` numbers the first bar.

    >>> from fillgen.theory.metre import METRES
    >>> check_line((Note(0, 960, 65), Note(480, 480, 69)), METRES["3/4"])
    Traceback (most recent call last):
    ...
    fillgen.errors.PhraseError: bar 1, beat 2: two notes sound at once. Give one note at a time.
    """
    if not notes:
        raise PhraseError("the phrase has no notes", hint="Write notes like F5q.")
    for before, note in pairwise((Note(0, 0, 0), *notes)):
        if note.onset < 0 or note.length <= 0 or not 0 <= note.midi <= 127:
            place = timeline_of(metre).place_name(max(0, note.onset), first)
            hint = "A note has a length and a MIDI number from 0 to 127, and doesn't begin before the phrase."
            raise PhraseError("not a note that can be played", place=place, hint=hint)
        if note.onset < before.end:
            place = timeline_of(metre).place_name(note.onset, first)
            raise PhraseError("two notes sound at once", place=place, hint="Give one note at a time.")
