"""The bass: a note under each chord, by the pattern of the rhythm or as a walking line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fillgen.chart.progression import Progression, Span, passing_names
from fillgen.hands.patterns import WALK, BassNote
from fillgen.phrase.note import Note, Phrase
from fillgen.theory.chords import Chord

_STEP = 2
_FAR = 7
_TURNING_BACK = 4.0


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

    Each chord begins with its root, or its slash bass; over N.C. the bass is silent.
    """
    notes: list[Note] = []
    for number in range(len(progression.bars)):
        pattern = bars[number % len(bars)]
        for span in progression.bars[number]:
            if span.chord.root is not None:
                before = notes[-1].midi if notes else register.home
                notes += _span_line(progression, span, pattern, register, before)
    return tuple(notes)


def _span_line(
    progression: Progression, span: Span, pattern: Sequence[BassNote], register: Register, before: int
) -> list[Note]:
    if pattern == WALK:
        return _walk(progression, span, register, before)
    start = span.onset - span.onset % progression.metre.bar
    notes: list[Note] = []
    for onset, length, degree in _clipped(pattern, span, start):
        midi = _pitch(progression, span, degree, register, before)
        notes.append(Note(onset, length, midi))
        before = midi
    return notes


def _clipped(pattern: Sequence[BassNote], span: Span, start: int) -> list[tuple[int, int, str]]:
    """The part of a bar's pattern that falls under one chord, which always begins with the chord's own bass."""
    inside = [
        (start + onset, min(length, span.end - start - onset), degree)
        for onset, length, degree in pattern
        if span.onset <= start + onset < span.end
    ]
    if not inside or inside[0][0] > span.onset:
        end = inside[0][0] if inside else span.end
        return [(span.onset, end - span.onset, "1"), *inside]
    return [(inside[0][0], inside[0][1], "1"), *inside[1:]]


def own_bass(chord: Chord) -> int:
    """The pitch class under a chord: its slash bass where it has one, otherwise its root."""
    name = chord.bass or chord.root
    assert name is not None
    return name.pitch_class


def _pitch(progression: Progression, span: Span, degree: str, register: Register, before: int) -> int:
    root = nearest(own_bass(span.chord), register.home if degree == "1" else before, register)
    if degree == "1":
        return root
    if degree == "a":
        return _approach(progression, span, register, before)
    if degree == "8":
        return root + 12 if root + 12 <= register.high else root
    family = {"5": "5", "3": "3"}[degree]
    tone = next((tone for tone in span.chord.tones if tone.degree.family == family), span.chord.tones[0])
    return nearest(tone.name.pitch_class, before, register)


def nearest(pitch_class: int, to: int, register: Register) -> int:
    """The pitch of a class in a register that lies nearest to another pitch, the lower of two equally near.

    >>> nearest(7, 40, REGISTERS["keyboard"])
    43
    """
    pitches = range(register.low, register.high + 1)
    return min((p for p in pitches if p % 12 == pitch_class), key=lambda p: (abs(p - to), p))


def _following(progression: Progression, span: Span) -> Chord:
    """The chord after a span; after the last the first comes again."""
    spans = [s for s in progression.spans if s.chord.root is not None]
    return spans[(spans.index(span) + 1) % len(spans)].chord


def _approach(progression: Progression, span: Span, register: Register, before: int) -> int:
    """A note a step or half step from the next chord's bass, one of this chord or of the key where there is one."""
    goal = nearest(own_bass(_following(progression, span)), register.home, register)
    own = {name.pitch_class for name in passing_names(span.heard, progression.key)}
    near = [goal + rise for rise in (-1, -2, 1, 2) if register.low <= goal + rise <= register.high]
    return min(near, key=lambda p: (p % 12 not in own, abs(p - goal), abs(p - before)))


# Walking


def _walk(progression: Progression, span: Span, register: Register, before: int) -> list[Note]:
    """A walking line in beats under one chord: chord notes on strong beats, a step into the next chord's bass.

    Among all such lines the one that moves least and repeats nothing is found by going through them beat by beat
    and keeping the best line to each note.
    """
    metre = progression.metre
    beats = list(range(span.onset, span.end, metre.beat))
    goal = own_bass(_following(progression, span))
    ladders = [_candidates(progression, span, tick, beats, goal, register) for tick in beats]
    best: dict[int, tuple[float, tuple[int, ...]]] = {
        midi: (_cost(before, midi), (midi,)) for midi in ladders[0]
    }
    for ladder in ladders[1:]:
        best = {midi: _cheapest(best, midi) for midi in ladder}
    _, line = min(best.values())
    ends = [*beats[1:], span.end]
    return [Note(tick, end - tick, midi) for tick, end, midi in zip(beats, ends, line, strict=True)]


def _candidates(
    progression: Progression, span: Span, tick: int, beats: Sequence[int], goal: int, register: Register
) -> list[int]:
    pitches = range(register.low, register.high + 1)
    if tick == span.onset:
        return [nearest(own_bass(span.chord), register.home, register)]
    tones = {tone.name.pitch_class for tone in span.chord.tones}
    own = {name.pitch_class for name in passing_names(span.heard, progression.key)}
    if tick == beats[-1]:
        to = nearest(goal, register.home, register)
        near = [p for p in (to - 2, to - 1, to + 1, to + 2) if p in pitches]
        return [p for p in near if p % 12 in own or abs(p - to) == 1]
    if progression.is_strong(tick):
        return [p for p in pitches if p % 12 in tones]
    return [p for p in pitches if p % 12 in own]


def _cheapest(best: dict[int, tuple[float, tuple[int, ...]]], midi: int) -> tuple[float, tuple[int, ...]]:
    """The best line that goes on to a note; one that turns straight back to where it was costs more."""
    ways = (
        (cost + _cost(line[-1], midi) + _TURNING_BACK * (midi in line[-2:-1]), line)
        for cost, line in best.values()
    )
    cost, line = min(ways)
    return cost, (*line, midi)


def _cost(before: int, midi: int) -> float:
    """How awkward a move is: steps are free, repeated notes and wide leaps dear."""
    move = abs(midi - before)
    if move == 0:
        return 6.0
    return 0.0 if move <= _STEP else (move - _STEP) * 0.8 + (8.0 if move > _FAR else 0.0)
