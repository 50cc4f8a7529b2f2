"""The bass: a note under each chord, by the pattern of the rhythm or as a walking line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fillgen.chart.progression import Progression, Span, passing_names
from fillgen.hands.patterns import WALK, BassNote
from fillgen.phrase.note import Note, Phrase
from fillgen.theory.chords import Chord

OCTAVE = 12
_STEP = 2
_FAR = 7
_TURNING_BACK = 4.0
_TOO_FAR = 1000.0
"""What a leap beyond an octave costs: more than a whole line, so that it happens only where nothing else is in the register."""
_HOME = 0.35
"""What each semitone from the home pitch costs, so that a line does not stay at an end of its register."""
_OCTAVE_BELOW, _NO_OCTAVE = 6.0, 20.0
"""The cost of a root's octave below it, or of no room for one."""


@dataclass(frozen=True, slots=True)
class Register:
    """Where a bass lies: lowest, highest and home pitch, as MIDI numbers."""

    low: int
    high: int
    home: int


REGISTERS = {
    "keyboard": Register(28, 52, 40),
    "pedals": Register(36, 67, 43),
}
"""A bass on a keyboard's low end, as of a bass guitar (E1 to E3), and on organ pedals (C2 to G4)."""


def bass_line(
    progression: Progression, bars: Sequence[tuple[BassNote, ...]], register: Register = REGISTERS["keyboard"]
) -> Phrase:
    """The bass notes of a progression. `bars` are the patterns of its rhythm, taken in turn.

    Each chord begins with its root, or its slash bass, and so does the last bar; where a chord goes on for another bar the
    pattern goes on as well. Over N.C. the bass is silent. The octave of every note comes
    from the note before: no leap is wider than an octave, nor is that from the end back to the beginning.
    """
    sounding = [
        (number, span) for number, bar in enumerate(progression.bars) for span in bar if span.chord.root
    ]
    notes: list[Note] = []
    for number, span in sounding:
        before = notes[-1].midi if notes else register.home
        after = notes[0].midi if notes and span is sounding[-1][1] else None
        way = _Way(progression, span, register, before, after)
        notes += way.line(bars[number % len(bars)])
    return tuple(notes)


@dataclass(frozen=True, slots=True)
class _Way:
    """The bass under one chord: the note before it, and the note to come back to after the last chord (MIDI)."""

    progression: Progression
    span: Span
    register: Register
    before: int
    after: int | None

    def line(self, pattern: Sequence[BassNote]) -> list[Note]:
        """The notes under the chord by a pattern of its bar."""
        if pattern == WALK:
            return _walk(self)
        start = self.span.onset - self.progression.inside(self.span.onset)
        clipped = _clipped(pattern, self.span, start, goes_on=self._goes_on)
        ways = (self._from_root(root, [degree for *_, degree in clipped]) for root in self.roots)
        _, line = min(ways)
        return [Note(onset, length, midi) for (onset, length, _), midi in zip(clipped, line, strict=True)]

    @property
    def _goes_on(self) -> bool:
        """Whether the chord is that of the bar before, and another bar follows."""
        spans = self.progression.spans
        number = spans.index(self.span)
        return 0 < number < len(spans) - 1 and spans[number - 1].chord == self.span.chord

    @property
    def roots(self) -> list[int]:
        """The chord's bass in every octave of the register."""
        return octaves(own_bass(self.span.chord), self.register)

    def _from_root(self, root: int, degrees: Sequence[str]) -> tuple[float, tuple[int, ...]]:
        """The cheapest line from one octave of the root, with its cost."""
        choices = [self._choices(degree, root) for degree in degrees]
        best: _Lines = {self.before: (0.0, ())}
        for row in choices:
            pulled = [(extra + _HOME * abs(midi - self.register.home), midi) for extra, midi in row]
            best = {midi: _onward(best, midi, extra) for extra, midi in pulled}
        return min((cost + _leap(midi, self.after), line) for midi, (cost, line) in best.items())

    def _choices(self, degree: str, root: int) -> list[tuple[float, int]]:
        """The pitches a degree of a pattern may have above or below a root, each with its extra cost."""
        register, chord = self.register, self.span.chord
        if degree == "a":
            return _approaches(self)
        if degree == "8":
            ways = ((0.0, root + OCTAVE), (_OCTAVE_BELOW, root - OCTAVE), (_NO_OCTAVE, root))
            return [(cost, midi) for cost, midi in ways if register.low <= midi <= register.high]
        if degree == "1":
            return [(0.0, root)]
        tone = next((tone for tone in chord.tones if tone.degree.family == degree), chord.tones[0])
        return [(0.0, midi) for midi in octaves(tone.name.pitch_class, register)]


_Lines = dict[int, tuple[float, tuple[int, ...]]]
"""The cheapest line to each last note, with its cost."""


def _onward(best: _Lines, midi: int, extra: float) -> tuple[float, tuple[int, ...]]:
    """The cheapest line that continues to a note; the lower one of equals."""
    cost, line = min(
        (cost + abs(midi - last) + _leap(midi, last), line) for last, (cost, line) in best.items()
    )
    return cost + extra, (*line, midi)


def _leap(midi: int, other: int | None) -> float:
    return _TOO_FAR if other is not None and abs(midi - other) > OCTAVE else 0.0


def _clipped(
    pattern: Sequence[BassNote], span: Span, start: int, *, goes_on: bool
) -> list[tuple[int, int, str]]:
    """The part of a bar's pattern that falls under one chord, which begins with its own bass unless it `goes_on`."""
    inside = [
        (start + onset, min(length, span.end - start - onset), degree)
        for onset, length, degree in pattern
        if span.onset <= start + onset < span.end
    ]
    if goes_on and inside and inside[0][0] == span.onset:
        return inside
    if not inside or inside[0][0] > span.onset:
        end = inside[0][0] if inside else span.end
        return [(span.onset, end - span.onset, "1"), *inside]
    return [(inside[0][0], inside[0][1], "1"), *inside[1:]]


def own_bass(chord: Chord) -> int:
    """The pitch class under a chord: its slash bass where it has one, otherwise its root."""
    name = chord.bass or chord.root
    assert name is not None
    return name.pitch_class


def octaves(pitch_class: int, register: Register) -> list[int]:
    """The pitches of a class in a register, from the lowest up.

    >>> octaves(7, REGISTERS["keyboard"])
    [31, 43]
    """
    return [midi for midi in range(register.low, register.high + 1) if midi % OCTAVE == pitch_class]


def _following(progression: Progression, span: Span) -> Chord:
    """The chord after a span; after the last the first comes again."""
    spans = [s for s in progression.spans if s.chord.root is not None]
    return spans[(spans.index(span) + 1) % len(spans)].chord


def _approaches(way: _Way) -> list[tuple[float, int]]:
    """Notes a step or half step from the next chord's bass, of this chord or the key where there is one, with costs."""
    register = way.register
    goals = octaves(own_bass(_following(way.progression, way.span)), register)
    near = [(goal + rise, abs(rise)) for goal in goals for rise in (-1, -2, 1, 2)]
    inside = [(midi, step) for midi, step in near if register.low <= midi <= register.high]
    own = _passing(way)
    outside = any(midi % OCTAVE in own for midi, _ in inside)
    return [(_TURNING_BACK * (outside and midi % OCTAVE not in own) + step, midi) for midi, step in inside]


def _passing(way: _Way) -> set[int]:
    return {name.pitch_class for name in passing_names(way.span.heard, way.span.key)}


# Walking


def _walk(way: _Way) -> list[Note]:
    """A walking line in beats under one chord: chord notes on strong beats, a step into the next chord's bass.

    Among all such lines the one that moves least and repeats nothing is found by going through them beat by beat
    and keeping the best line to each note.
    """
    span = way.span
    beats = list(range(span.onset, span.end, way.progression.metre.beat))
    ladders = [_candidates(way, tick, beats) for tick in beats]
    best: _Lines = {midi: (_cost(way.before, midi), (midi,)) for midi in ladders[0]}
    for ladder in ladders[1:]:
        best = {midi: _cheapest(best, midi) for midi in ladder}
    _, line = min((cost + _leap(midi, way.after), line) for midi, (cost, line) in best.items())
    ends = [*beats[1:], span.end]
    return [Note(tick, end - tick, midi) for tick, end, midi in zip(beats, ends, line, strict=True)]


def _candidates(way: _Way, tick: int, beats: Sequence[int]) -> list[int]:
    register, progression, span = way.register, way.progression, way.span
    pitches = range(register.low, register.high + 1)
    if tick == span.onset:
        return [
            min(
                way.roots, key=lambda root: (abs(root - way.before) + _HOME * abs(root - register.home), root)
            )
        ]
    own = _passing(way)
    if tick == beats[-1]:
        goals = octaves(own_bass(_following(progression, span)), register)
        near = [
            (goal + rise, abs(rise)) for goal in goals for rise in (-2, -1, 1, 2) if goal + rise in pitches
        ]
        return [midi for midi, step in near if midi % OCTAVE in own or step == 1]
    if progression.is_strong(tick):
        tones = {tone.name.pitch_class for tone in span.chord.tones}
        return [p for p in pitches if p % OCTAVE in tones]
    return [p for p in pitches if p % OCTAVE in own]


def _cheapest(best: _Lines, midi: int) -> tuple[float, tuple[int, ...]]:
    """The best line that continues to a note; one that turns straight back costs more."""
    ways = (
        (cost + _cost(line[-1], midi) + _TURNING_BACK * (midi in line[-2:-1]), line)
        for cost, line in best.values()
    )
    cost, line = min(ways)
    return cost, (*line, midi)


def _cost(before: int, midi: int) -> float:
    """How awkward a move is: steps are free, repeated notes and wide leaps expensive."""
    move = abs(midi - before)
    if move == 0:
        return 6.0
    wide = (8.0 if move > _FAR else 0.0) + _leap(midi, before)
    return 0.0 if move <= _STEP else (move - _STEP) * 0.8 + wide
