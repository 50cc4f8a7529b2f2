"""A take: an idea with its left hand, bass and drums, timed as it is played.

The backing of a progression (everything but the right hand) is made once and serves all ideas.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence, Set
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache, partial

from fillgen.chart.progression import Progression
from fillgen.errors import OptionError
from fillgen.hands.arrangement import arranged, enters
from fillgen.hands.bass import REGISTERS, bass_line
from fillgen.hands.closing import BUTTON, closed_idea, closes, last_stroke, slowing
from fillgen.hands.feel import Feel
from fillgen.hands.instruments import percussion
from fillgen.hands.patterns import Accompaniment, Band, band
from fillgen.hands.playing import FILLS, PARTS, Playing, check_playing
from fillgen.hands.stroke import Stroke
from fillgen.hands.voicing import Hand, VoicingPath, best_paths
from fillgen.phrase.idea import Idea, IdeaNote, Ideas
from fillgen.phrase.note import Phrase
from fillgen.rules.pack import Cell
from fillgen.theory.metre import TICKS, Metre, Timeline, swung, timeline_of
from fillgen.theory.swing import swing_at

_LEFT_LOW, _LEFT_HIGH = 48, 67
"""The left hand's register, C3 to G4, as far as the right hand leaves it."""
_LOUDNESS = {"right": (70, 26), "second": (54, 22), "fills": (60, 22), "left": (54, 16), "bass": (76, 16)}
"""The velocity of each part on the lightest place of a bar, and what the heaviest adds."""
_STRUM = 11
"""Milliseconds from one string to the next of a strummed chord."""
_FAST = 140
"""The tempo above which chords are broken in quarters."""
_ACCENT = 16
"""The velocity added to a short last stroke."""
_ROUNDS = 3
"""The number of passes that may differ: the first, into which no fill leads, the second, and the third, which has the first's pattern again."""
_FADE = (1.0, 0.7, 0.4)
"""The loudness of the passes of a fading close: once as it is, then softer twice."""


@dataclass(frozen=True, slots=True)
class Take:
    """What sounds: strokes of each part, chord symbols and tempo changes, all with their ticks; and its length.

    `pedal` are the ticks at which the left hand's pedal goes up, to be pressed again at once, and the last at which it stays up.
    """

    strokes: dict[str, tuple[Stroke, ...]]
    chords: tuple[tuple[int, str], ...]
    tempi: tuple[tuple[int, float], ...]
    length: int
    pedal: tuple[int, ...] = ()


def swing_of(ideas: Ideas, asked: float | None) -> float:
    """The ratio at which eighths swing: the one asked for, or the rhythm's own; dotted beats never swing."""
    metre = ideas.progression.metre
    if asked is not None and metre.beat % TICKS == 0:
        return asked
    return swing_at(metre, ideas.tempo, ideas.swing)


class Ensemble:
    """Plays the ideas of one answer: what they share is worked out once.

    With `on_paper` strokes have their places and lengths as they are written, but are as loud as they are played.
    """

    def __init__(self, ideas: Ideas, playing: Playing, *, on_paper: bool = False) -> None:
        check_playing(playing)
        self._on_paper = on_paper
        self.ideas = ideas
        self.playing = playing
        self.progression = ideas.progression
        self.swing = swing_of(ideas, playing.swing)
        swings = swing_of(ideas, None if on_paper else playing.swing) > 1
        self._feel = Feel(playing.feel, ideas.seed, ideas.tempo, swings, ideas.progression.timeline)
        self._shared = lru_cache(maxsize=None)(self._shared_part)
        self._paths = lru_cache(maxsize=None)(self._best_paths)
        self._patterns = lru_cache(maxsize=None)(
            partial(arranged, playing.pack, ideas.rhythm, self.progression)
        )

    @property
    def pass_length(self) -> int:
        """Ticks of the progression, played once."""
        return self.progression.length

    def take(self, idea: Idea) -> Take:
        """An idea with the parts asked for, as often as asked for, with its close."""
        parts = (*self.playing.parts, FILLS) if idea.fills else self.playing.parts
        strokes = {part: self._part(part, idea) for part in parts}
        chords = [
            (number * self.pass_length + span.onset, span.chord.symbol)
            for number in range(self._passes)
            for span in self.progression.spans
        ]
        tempi = self._slowing(idea.phrase) if self.playing.slow_down else ()
        length = self._passes * self.pass_length + self._extra
        pedal = self._pedal(length) if "left" in parts else ()
        return Take(strokes, tuple(chords), tempi, length, pedal)

    def in_order(self) -> tuple[Idea, ...]:
        """The ideas to be played one after another. Without the right hand there is one backing track for all of them:
        that of the idea that goes lowest, above which the left hand leaves room for any.
        """
        if self.playing.has_right:
            return self.ideas.ideas
        return tuple(sorted(self.ideas, key=lambda idea: idea.lowest)[:1])

    @property
    def _passes(self) -> int:
        return self.playing.times + (len(_FADE) - 1 if self.playing.close == "fading" else 0)

    @property
    def _extra(self) -> int:
        """Ticks by which a held close goes on after the last bar: a bar."""
        if self.playing.close != "held":
            return 0
        return self.progression.metre_of(len(self.progression.bars) - 1).bar

    # Parts

    def _part(self, part: str, idea: Idea) -> tuple[Stroke, ...]:
        if part == "right":
            salt = len(idea.notes) + sum(note.midi for note in idea.phrase)
            return self._passed("right", [self._right(idea)], self._closed_right(idea), salt)
        if part == FILLS:
            exact = self._voice(FILLS, idea.fills)
            return self._passed(FILLS, [exact], exact, len(PARTS) + len(idea.fills))
        below = min(_LEFT_HIGH + 1, idea.lowest) if part == "left" else 0
        return self._shared(part, below, self.stop(idea.phrase))

    def stop(self, phrase: Phrase) -> int:
        """The tick at which a close has all parts strike together for the last time; 0 where they go on to the end."""
        return last_stroke(self.progression, phrase) if closes(self.playing.close) else 0

    def _shared_part(self, part: str, below: int, stop: int) -> tuple[Stroke, ...]:
        """A part that all ideas have alike that close at one tick, the left hand those whose lowest note is the same."""
        rounds = [self._exact(part, below, number) for number in range(min(_ROUNDS, self._passes))]
        close = self._closed(rounds[_round(self._passes - 1)], part, stop)
        played = self._passed(part, rounds, close, _ROUNDS * PARTS.index(part))
        if part == "left" and self._left == "strummed" and self.playing.feel and not self._on_paper:
            return strummed(played, round(_STRUM * self.ideas.tempo * TICKS / 60_000))
        return played

    @property
    def _left(self) -> str:
        """How the left hand plays."""
        return self.playing.left or self._band.left

    @cached_property
    def _band(self) -> Band:
        return band(self.playing.pack, self.ideas.rhythm, self.progression.metre)

    def _pedal(self, length: int) -> tuple[int, ...]:
        """Where the left hand changes its pedal: with each chord, as long as there is feel and nothing that is held anyway."""
        if not (self._band.pedal and self._left in ("rhythm", "broken") and self.playing.feel):
            return ()
        changes = self.progression.changes
        ticks = [number * self.pass_length + tick for number in range(self._passes) for tick in changes]
        return (*ticks, length)

    def _passed(
        self, part: str, rounds: Sequence[list[Stroke]], close: list[Stroke], salt: int
    ) -> tuple[Stroke, ...]:
        """All passes of a part, its rounds in turn as they are played, the last with the close."""
        played = [self._timed(part, once, salt, number) for number, once in enumerate(rounds)]
        strokes: list[Stroke] = []
        for number in range(self._passes):
            once = played[min(_round(number), len(played) - 1)]
            if number == self._passes - 1 and closes(self.playing.close):
                once = self._timed(part, close, salt, min(_round(number), len(played) - 1))
            strokes += _moved(once, number * self.pass_length, self._fade(number))
        return apart(_within(strokes, self._passes * self.pass_length + self._extra))

    def _fade(self, number: int) -> float:
        if self.playing.close != "fading":
            return 1.0
        return _FADE[max(0, number - self.playing.times + 1)]

    def _right(self, idea: Idea) -> list[Stroke]:
        return [*self._voice("right", idea.notes), *self._voice("second", idea.second)]

    def _voice(self, loudness: str, notes: Sequence[IdeaNote]) -> list[Stroke]:
        """Notes as strokes that are as loud as a voice of that name is."""
        played = [(each.note.onset, each.note.length, each.note.midi) for each in notes]
        return _accented(played, loudness, self.progression.timeline)

    def _exact(self, part: str, below: int, number: int) -> list[Stroke]:
        """A part in the pass of a number: the first, or one that comes after another."""
        start = enters(self.progression, part) if self.playing.enter == "thin" and not number else 0
        return [s for s in self._written(part, self._patterns(number), below, number) if s.tick >= start]

    def _written(self, part: str, patterns: Accompaniment, below: int, number: int) -> list[Stroke]:
        if part == "bass":
            line = bass_line(self.progression, patterns.bass, REGISTERS[self.playing.bass])
            return _accented([(n.onset, n.length, n.midi) for n in line], "bass", self.progression.timeline)
        if part == "drums":
            return drum_strokes(self.progression, patterns)
        paths = self._paths(below)
        path = paths[min(number % 2, len(paths) - 1) if self.playing.second_set else 0]
        if self._left == "held":
            return block_strokes(self.progression, path)
        if self._left == "broken":
            return broken_strokes(self.progression, path, self.ideas.tempo)
        return left_strokes(self.progression, patterns.chords, path)

    def _best_paths(self, below: int) -> tuple[VoicingPath, ...]:
        """The left hand's ways through the chart under the right hand's lowest note."""
        return left_paths(self.progression, below, self.playing.span, rootless="bass" in self.playing.parts)

    # Timing

    def _timed(self, part: str, strokes: Sequence[Stroke], salt: int, number: int) -> list[Stroke]:
        """Strokes swung, as loud, as long and as late as they are played in the pass of a number."""
        feel = self._feel
        played = feel.loudness(part, strokes, salt + number)
        if self._on_paper or not feel.amount:
            return [self._swung(s, lambda _: 0, set(), 0) for s in played]
        late = feel.late(part, salt + number if part in (PARTS[0], FILLS) else number, self.pass_length)
        onsets = {s.tick for s in played}
        shares = feel.lengths(part, played)
        return [
            self._swung(s, late, onsets, feel.gap(s.length, share))
            for s, share in zip(played, shares, strict=True)
        ]

    def _swung(self, s: Stroke, late: Callable[[int], int], onsets: Set[int], gap: int) -> Stroke:
        """A stroke where it sounds; it ends with the next one where it is written to, but for a gap."""
        end = s.tick + s.length
        start = max(0, swung(s.tick, self.swing) + late(s.tick))
        until = swung(end, self.swing) + late(end if end in onsets else s.tick) - gap
        return replace(s, tick=start, length=max(1, until - start))

    def _slowing(self, phrase: Phrase) -> tuple[tuple[int, float], ...]:
        """Tempi that lead to the last stroke of the last pass, slower and slower."""
        start = (self._passes - 1) * self.pass_length
        return tuple(
            (start + tick, self.ideas.tempo * share) for tick, share in slowing(self.progression, phrase)
        )

    def _closed_right(self, idea: Idea) -> list[Stroke]:
        """The right hand's last pass with its close, which changes the last note alone and what is struck with it."""
        if not closes(self.playing.close):
            return []
        strokes = self._right(closed_idea(self.progression, idea, self.playing.close))
        end = max((stroke.tick for stroke in strokes), default=0)
        return [self._held_on(stroke) if stroke.tick == end else stroke for stroke in strokes]

    def _held_on(self, last: Stroke) -> Stroke:
        """A last stroke with its close: one that sounds to the end goes on as long as a held close does."""
        until_end = last.tick + last.length == self.pass_length
        return self._closing(last, last.length + (self._extra if until_end else 0))

    def _closed(self, strokes: list[Stroke], part: str, stop: int) -> list[Stroke]:
        """The last pass of another part with its close: up to its last stroke as ever, and nothing after that."""
        if not closes(self.playing.close):
            return []
        kept = [s for s in strokes if s.tick < stop]
        length = BUTTON if self.playing.close == "button" else self.pass_length + self._extra - stop
        if part == "drums":
            return [*kept, self._closing(Stroke(stop, 0, percussion("Crash Cymbal 1"), 80), length)]
        chord = self.progression.spans[-1].onset
        first = min((s.tick for s in strokes if s.tick >= chord), default=stop)
        struck = [replace(s, tick=stop) for s in strokes if s.tick == first]
        if part == "left":
            keys = {s.midi: replace(s, tick=stop) for s in reversed(strokes) if s.tick >= chord}
            struck = [keys[midi] for midi in sorted(keys)]
        ended = [replace(s, length=min(s.length, stop - s.tick)) for s in kept]
        return [*ended, *(self._closing(s, length) for s in struck)]

    def _closing(self, stroke: Stroke, length: int) -> Stroke:
        """A last stroke of some length, with an accent where it is short."""
        accent = _ACCENT if self.playing.close == "button" else 0
        return replace(stroke, length=length, velocity=min(127, stroke.velocity + accent))


def _round(number: int) -> int:
    """Which of the passes that differ a pass is like: after the first two, every other one is alike."""
    return number if number < _ROUNDS else _ROUNDS - 1 - (number - _ROUNDS + 1) % 2


def _within(strokes: Sequence[Stroke], end: int) -> list[Stroke]:
    """Strokes that are over when the take is."""
    return [
        s if s.tick + s.length <= end else replace(s, length=end - s.tick) for s in strokes if s.tick < end
    ]


def _moved(strokes: Sequence[Stroke], ticks: int, loudness: float) -> Sequence[Stroke]:
    """Strokes later by some ticks, at a share of their loudness."""
    if not ticks and loudness == 1.0:
        return strokes
    return [replace(s, tick=s.tick + ticks, velocity=max(1, round(s.velocity * loudness))) for s in strokes]


def apart(strokes: Sequence[Stroke]) -> tuple[Stroke, ...]:
    """Strokes in time order, each ended before its pitch is struck again."""
    ordered = sorted(strokes, key=lambda s: (s.tick, s.midi))
    ends: dict[int, int] = {}
    cut = []
    for s in reversed(ordered):
        limit = ends.get(s.midi)
        length = s.length if limit is None else min(s.length, limit - s.tick)
        ends[s.midi] = s.tick
        if length > 0:
            cut.append(replace(s, length=length))
    return tuple(reversed(cut))


def left_paths(
    progression: Progression, below: int, span: int = 12, *, rootless: bool = False
) -> tuple[VoicingPath, ...]:
    """The left hand's two best ways through a progression under the right hand's lowest note (MIDI).

    Where the usual register leaves too little room there for clear chords, a lower one is tried; where the hand can
    hold nothing below, the hands may meet. `rootless` leaves the roots to a bass that plays as well.
    """
    high = min(_LEFT_HIGH, below - 1)
    usual = Hand(low=min(_LEFT_LOW, max(0, high - 14)), high=high, span=span, rootless=rootless)
    found = []
    for hand in (usual, replace(usual, low=max(0, usual.low - 7))):
        with suppress(OptionError):
            found.append(best_paths(progression, hand, count=2))
    if not found:
        met = Hand(low=_LEFT_LOW, high=_LEFT_HIGH + 3, span=span, rootless=rootless)
        found = [best_paths(progression, met, count=2)]
    return min(found, key=lambda paths: paths[0].unclear)


def left_strokes(progression: Progression, cells: Sequence[Cell], path: VoicingPath) -> list[Stroke]:
    """The left hand: each chord's keys at the strokes of the rhythm, and at its start where none falls under it."""
    notes = []
    for span, voicing in zip(progression.spans, path.voicings, strict=True):
        if voicing is not None:
            for onset, length in strikes(span.onset, span.end, cells, progression.timeline):
                notes += [(onset, length, midi) for midi in voicing.pitches]
    return _accented(notes, "left", progression.timeline)


def block_strokes(progression: Progression, path: VoicingPath) -> list[Stroke]:
    """The left hand's keys held as long as each chord lasts."""
    notes = [
        (span.onset, span.length, midi)
        for span, voicing in zip(progression.spans, path.voicings, strict=True)
        if voicing is not None
        for midi in voicing.pitches
    ]
    return _accented(notes, "left", progression.timeline)


def broken_strokes(progression: Progression, path: VoicingPath, tempo: float) -> list[Stroke]:
    """The left hand's keys one by one, up and down, each held until its chord ends or it is struck again.

    In eighths; in quarters where the tempo, in quarter notes a minute, is fast and beats aren't dotted.
    """
    fast = tempo > _FAST and progression.metre.beat % TICKS == 0
    step = TICKS if fast else TICKS // 2
    notes = []
    for span, voicing in zip(progression.spans, path.voicings, strict=True):
        if voicing is None:
            continue
        keys = voicing.pitches
        order = [*keys, *keys[-2:0:-1]]
        for number, onset in enumerate(range(span.onset, span.end, step)):
            notes.append((onset, span.end - onset, order[number % len(order)]))
    return list(apart(_accented(notes, "left", progression.timeline)))


def strummed(strokes: Sequence[Stroke], spread: int) -> tuple[Stroke, ...]:
    """Chords struck string by string, some ticks apart: from below on the beat, from above off it."""
    together: dict[int, list[Stroke]] = {}
    for s in strokes:
        together.setdefault(s.tick, []).append(s)
    found = []
    for tick, chord in together.items():
        down = min(tick % TICKS, -tick % TICKS) <= TICKS // 8
        for number, s in enumerate(sorted(chord, key=lambda s: s.midi, reverse=not down)):
            late = min(number * spread, s.length - 1)
            found.append(replace(s, tick=tick + late, length=s.length - late))
    return apart(found)


def _accented(notes: Sequence[tuple[int, int, int]], part: str, timeline: Timeline) -> list[Stroke]:
    """Notes (tick, ticks, pitch) as strokes, louder on the heavier places of the bar."""
    least, more = _LOUDNESS[part]
    return [
        Stroke(tick, ticks, midi, least + round(more * timeline.accent(tick))) for tick, ticks, midi in notes
    ]


def strikes(start: int, end: int, cells: Sequence[Cell], metre: Metre | Timeline) -> list[tuple[int, int]]:
    """Onset and length of the strokes of a pattern from one tick to another; one over the whole where none falls there."""
    line = timeline_of(metre)
    number = line.index(start)
    offset = line.start(number)
    inside = [
        (offset + onset, min(length, end - offset - onset))
        for onset, length in cells[number % len(cells)].notes
        if start <= offset + onset < end
    ]
    return inside or [(start, end - start)]


def drum_strokes(progression: Progression, patterns: Accompaniment) -> list[Stroke]:
    """The drums of every bar."""
    return [
        Stroke(progression.start_of(number) + hit.tick, TICKS // 8, hit.key, hit.velocity)
        for number in range(len(progression.bars))
        for hit in patterns.drums[number % len(patterns.drums)]
    ]


def clicks(metre: Metre) -> list[Stroke]:
    """A bar of clicks to count in, the first the loudest."""
    key = percussion("Side Stick")
    return [
        Stroke(beat * metre.beat, TICKS // 8, key, 100 if beat == 0 else 76) for beat in range(metre.beats)
    ]
