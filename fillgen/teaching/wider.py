"""What handbooks call a note that the narrowest definitions leave without a name.

The narrow definitions look at three notes. Here repeated notes count as one, as the ear takes them; a note may come in with
the phrase, resolve through another passing note or by a detour; and the metre decides which notes are light.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property

from fillgen.rules.rule import BEAT, STEP, Seen
from fillgen.rules.tones import is_light
from fillgen.teaching.line import Line

_MINOR_THIRD, _MAJOR_THIRD = 3, 4


@dataclass(frozen=True)
class _Run:
    """A note of a phrase among its repetitions: the notes `first` to `last` have its pitch."""

    line: Line
    index: int

    @cached_property
    def first(self) -> int:
        before = self.line.other_before(self.index)
        return 0 if before is None else before + 1

    @cached_property
    def last(self) -> int:
        after = self.line.other_after(self.index)
        return len(self.line.notes) - 1 if after is None else after - 1

    @cached_property
    def note(self) -> Seen:
        return self.line.windows[self.index][1]

    @property
    def into(self) -> int:
        return self.line.approach(self.index)

    @property
    def out(self) -> int:
        return self.line.departure(self.index)

    @property
    def passing(self) -> bool:
        """Whether the note belongs to the scale over its chord."""
        return bool(self.note.among(self.note.place.passing))

    def tones(self, indices: range) -> Iterator[int]:
        """Those of some notes that are tones of their chords."""
        return (each for each in indices if bool(self.line.windows[each][1].tone))

    @cached_property
    def prepared(self) -> bool:
        """Whether the note is kept from a chord that it belongs to."""
        held = bool(self.note.tone) and self.line.held_into(self.index) is not None
        return held or next(self.tones(range(self.first, self.index)), None) is not None

    @cached_property
    def arrives(self) -> bool:
        """Whether the note moves by step to a tone, itself or through passing notes in the same direction."""
        way, at = self.out, self.last + 1
        if not 1 <= abs(way) <= STEP:
            return False
        while not bool(self.line.windows[at][1].tone):
            following = self.line.other_after(at)
            if following is None:
                return False
            on = self.line.into(following)
            if abs(on) > STEP or on * way < 0:
                return False
            at = following
        return True


def _pedal(run: _Run) -> bool:
    """Kept or repeated while the chords change, a tone of the first and of the last of them."""
    if bool(run.note.tone):
        return bool(run.note.among(run.note.place.ahead or run.note.place.chord))
    return run.prepared and next(run.tones(range(run.index + 1, run.last + 1)), None) is not None


def _anticipation(run: _Run) -> bool:
    """Struck again as a tone of the chord to come, on a heavier place."""
    tone = next(run.tones(range(run.index + 1, run.last + 1)), None)
    notes, timeline = run.line.notes, run.line.progression.timeline
    return tone is not None and timeline.accent(notes[run.index].onset) < timeline.accent(notes[tone].onset)


def _free_anticipation(run: _Run) -> bool:
    """Light, a tone of the next chord, over which the line goes on with another tone."""
    after = run.line.windows[run.index][2]
    return (
        after is not None
        and bool(is_light(run.note))
        and bool(run.note.among(run.note.place.coming))
        and bool(after.tone)
    )


def _kept_and_left(way: int) -> Callable[[_Run], bool]:
    """A tone kept over a chord that lacks it, and left by step up (1) or down (-1) to a tone, at once or by a detour."""

    def is_one(run: _Run) -> bool:
        if not run.prepared:
            return False
        return (run.arrives and run.out * way > 0) or _by_detour(run, way)

    return is_one


def _by_detour(run: _Run, way: int) -> bool:
    """Whether the resolution comes after one tone of the chord in between."""
    line, between, goal = run.line, run.last + 1, run.last + 2
    if goal >= len(line.notes) or abs(run.out) <= STEP:
        return False
    rise = line.notes[goal].midi - line.notes[run.index].midi
    return 1 <= rise * way <= STEP and all(bool(line.windows[each][1].tone) for each in (between, goal))


def _onwards(run: _Run) -> bool:
    """Reached by step and left by step in the same direction."""
    return 1 <= abs(run.into) <= STEP and 1 <= abs(run.out) <= STEP and run.into * run.out > 0


def _and_back(run: _Run) -> bool:
    """Reached by step and left by step back to where it came from."""
    return 1 <= abs(run.into) <= STEP and run.out == -run.into


def _changing(run: _Run) -> bool:
    """In the scale, no longer than half a beat, and with the note that follows on either side of a tone to which they go."""
    line, other, goal = run.line, run.last + 1, run.last + 2
    if goal >= len(line.notes) or bool(line.windows[other][1].tone):
        return False
    if not run.passing or 2 * run.note.place.length > BEAT:
        return False
    one, two = (line.notes[goal].midi - line.notes[each].midi for each in (run.index, other))
    steps = 1 <= abs(one) <= STEP and 1 <= abs(two) <= STEP and one * two < 0
    return steps and bool(line.windows[goal][1].tone)


def _cambiata(run: _Run) -> bool:
    """Light, reached by step, left by a third the same way to a tone, from which a step turns back."""
    if not (bool(is_light(run.note)) and run.passing and 1 <= abs(run.into) <= STEP):
        return False
    goal = run.last + 1
    third = run.into * run.out > 0 and abs(run.out) in (_MINOR_THIRD, _MAJOR_THIRD)
    turns = third and -STEP <= run.line.out(goal) * (1 if run.out > 0 else -1) < 0
    return turns and bool(run.line.windows[goal][1].tone)


def _pentatonic(run: _Run) -> bool:
    """Light, reached by step and left by a minor third the same way to a tone: a passing note of five-note scales."""
    if not (bool(is_light(run.note)) and run.passing and 1 <= abs(run.into) <= STEP):
        return False
    third = run.into * run.out > 0 and abs(run.out) == _MINOR_THIRD
    return third and bool(run.line.windows[run.last + 1][1].tone)


WIDER_TONES: dict[str, Callable[[_Run], bool]] = {
    "pedal": _pedal,
    "anticipation": _anticipation,
    "suspension": _kept_and_left(-1),
    "retardation": _kept_and_left(1),
    "accented passing": lambda run: run.note.place.strong and _onwards(run),
    "accented neighbour": lambda run: run.note.place.strong and _and_back(run),
    "passing": lambda run: run.passing and _onwards(run),
    "neighbour": lambda run: run.passing and _and_back(run),
    "chromatic passing": _onwards,
    "chromatic neighbour": _and_back,
    "appoggiatura": lambda run: run.note.place.strong and run.arrives,
    "incomplete neighbour": lambda run: run.arrives,
    "free anticipation": _free_anticipation,
    "changing note": _changing,
    "cambiata": _cambiata,
    "pentatonic passing": _pentatonic,
}
"""Names for notes that are none of the narrow kinds, in order of preference.

Suspensions with a detour ("ornamental resolution"), appoggiaturas in any direction (Hutchinson, Music Theory for the
21st-Century Classroom, 10.4), free anticipations, changing notes and the cambiata are in Piston, Harmony, on nonharmonic tones; the pedal in
any handbook; passing notes of five-note scales in Day-O'Connell, Pentatonicism from the Eighteenth Century to Debussy. The two
books are named from memory."""


def wider(line: Line, index: int) -> str:
    """What a note is called by the wider definitions; empty for one that goes nowhere."""
    run = _Run(line, index)
    return next((name for name, is_one in WIDER_TONES.items() if is_one(run)), "")
