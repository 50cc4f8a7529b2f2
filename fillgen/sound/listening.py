"""Listening: notes played on an instrument over a chart, to a metronome, become a phrase."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from statistics import median
from typing import Protocol

from fillgen.chart.progression import Progression
from fillgen.errors import ChartError, OptionError, PhraseError, many
from fillgen.phrase.note import Note, Phrase
from fillgen.readers.melody import MOST_NOTES, Sound, top_line
from fillgen.readers.phrases import Found
from fillgen.readers.timing import settled
from fillgen.sound.performance import (
    NOTE_OFF,
    NOTE_ON,
    Clock,
    Output,
    Performance,
    Stop,
    bar_seconds,
    click_events,
    perform,
)
from fillgen.theory.metre import TICKS, Metre

MOST_LATENCY = 500
"""The greatest delay that can be compensated, in milliseconds."""
_LOOK_UP = 0.001
"""Seconds between two looks at the input: far shorter than any written note."""
_NEAR_A_BEAT = TICKS / 8
"""Notes this close to a beat, in ticks, are meant for it."""
_WORTH_A_REMARK = 15
"""The smallest median delay of notes near beats that gets a remark, in milliseconds. Chosen: half of what is audible."""
_ENOUGH = 4
"""The fewest notes near beats that show a delay; fewer may be chance."""


class Input(Protocol):
    """Gives MIDI messages; PortError if it no longer can."""

    def poll(self) -> bytes | None:
        """The next message that has arrived, or None."""


class _Nowhere:
    """An output that makes no sound."""

    def send(self, data: bytes) -> None:
        pass


@dataclass(frozen=True, slots=True)
class Heard:
    """What was played: sounds in ticks from the first beat after the count-in, negative before it.

    `tempo` is in quarter notes a minute, `bars` the number of bars listened to, `latency` the delay compensated, in
    milliseconds; `stopped` means the player broke it off.
    """

    sounds: tuple[Sound, ...]
    metre: Metre
    tempo: int
    bars: int
    latency: float = 0.0
    stopped: bool = False


@dataclass
class _Ear:
    """Records when keys are pressed and let go, in seconds of the performance."""

    source: Input
    down: dict[int, float] = field(default_factory=dict)
    struck: list[tuple[float, float, int]] = field(default_factory=list)

    def hear(self, second: float, _left: float = 0.0) -> None:
        while (data := self.source.poll()) is not None:
            kind = data[0] & 0xF0
            if kind in (NOTE_ON, NOTE_OFF) and len(self.struck) < MOST_NOTES:
                self._key(data[1], second, pressed=kind == NOTE_ON and data[2] > 0)

    def _key(self, midi: int, second: float, *, pressed: bool) -> None:
        begun = self.down.pop(midi, None)
        if begun is not None and second > begun:
            self.struck.append((begun, second, midi))
        if pressed:
            self.down[midi] = second

    def end(self, second: float) -> None:
        """End the keys still held."""
        for midi in tuple(self.down):
            self._key(midi, second, pressed=False)


def listen(
    source: Input,
    metre: Metre,
    tempo: int,
    bars: int,
    *,
    metronome: Output | None = None,
    latency: float = 0.0,
    stop: Stop | None = None,
    clock: Clock | None = None,
) -> Heard:
    """Count in a bar, then listen for a number of bars, with a click on every beat if there is a metronome.

    `tempo` is in quarter notes a minute. `latency` is the delay that instrument and computer add between a click and the
    note played to it, in milliseconds; all notes are moved earlier by it. Keys still held at the end are let go there.
    Raises OptionError for a latency beyond `MOST_LATENCY`, PortError if a port is disconnected.
    """
    if not -MOST_LATENCY <= latency <= MOST_LATENCY:
        hint = f"Give up to {MOST_LATENCY} milliseconds."
        raise OptionError(f"the latency is {latency:g} milliseconds", hint=hint)
    bar = bar_seconds(metre.name, tempo)
    end = (bars + 1) * bar
    length = end + max(0.0, latency / 1000)
    ear = _Ear(source)
    done = perform(
        Performance(click_events(metre.name, tempo, bars + 1), length),
        metronome or _Nowhere(),
        stop=stop,
        clock=clock,
        meanwhile=ear.hear,
        look_up=_LOOK_UP,
    )
    ear.hear(length)
    ear.end(length)
    sounds = _in_ticks(ear.struck, bar + latency / 1000, tempo)
    return Heard(sounds, metre, tempo, bars, latency, stopped=not done)


def _in_ticks(struck: Iterable[tuple[float, float, int]], zero: float, tempo: int) -> tuple[Sound, ...]:
    second = tempo * TICKS / 60
    sounds = (Sound((a - zero) * second, (b - zero) * second, midi) for a, b, midi in struck)
    return tuple(sorted(sounds, key=lambda sound: (sound.onset, sound.midi)))


# From sounds to a phrase


def check_one_metre(progression: Progression) -> None:
    """Refuse a chart whose metre changes, to which no metronome clicks yet: ChartError."""
    if progression.metres:
        raise ChartError(
            f"playing to a metronome needs bars of one metre; the chart is in {progression.metres_in_words}",
            hint="Give the phrase as text to check, or leave the metres out of the chart.",
        )


def written(heard: Heard) -> Found:
    """What was heard as a written phrase, with the metronome's bars, so that it can be lined up with its chart.

    Of notes struck together the highest counts. Notes in the last beats of the count-in are a pick-up; earlier notes,
    and notes after the end, are left out, with a remark. PhraseError if nothing was played.

    >>> from fillgen.theory.metre import METRES
    >>> late = (Sound(9, 470, 60), Sound(489, 955, 64), Sound(975, 1905, 67))
    >>> found = written(Heard(late, METRES["4/4"], 120, 1))
    >>> found.notes[1], found.written
    (Note(onset=480, length=480, midi=64), (1920,))
    """
    metre = heard.metre
    counted = [replace(s, onset=s.onset + metre.bar, end=s.end + metre.bar) for s in heard.sounds]
    after = [s for s in counted if s.onset >= 0]
    if not after:
        raise PhraseError("nothing was played", hint=_NOTHING)
    timing = settled(top_line(after), metre)
    notes, pickup = _within(timing.notes, metre, heard.bars)
    if not notes:
        raise PhraseError("nothing was played while the chart went by", hint=_NOTHING)
    remarks = (*timing.remarks(heard.tempo), *_left_out(timing.notes, notes), *_delay(heard))
    bars = (*([pickup] if pickup else []), *[metre.bar] * heard.bars)
    swings = timing.swing is not None
    return Found(notes, metre, bars, heard.tempo, remarks=remarks, place="what was played", swings=swings)


_NOTHING = "Is it the right input? fillgen ports lists them; choose one with --input."


def _within(notes: Phrase, metre: Metre, bars: int) -> tuple[Phrase, int]:
    """The notes of the bars listened to and of their pick-up, counted from its beginning, and its length in ticks.

    The onsets of `notes` count from the start of the count-in.
    """
    end = (bars + 1) * metre.bar
    inside = [
        replace(note, length=min(note.end, end) - note.onset)
        for note in notes
        if metre.beat <= note.onset < end
    ]
    early = metre.bar - inside[0].onset if inside else 0
    pickup = max(0, -(-early // metre.beat) * metre.beat)
    first = metre.bar - pickup
    return tuple(Note(note.onset - first, note.length, note.midi) for note in inside), pickup


def _left_out(played: Phrase, kept: Phrase) -> tuple[str, ...]:
    missing = len(played) - len(kept)
    if not missing:
        return ()
    return (
        f"{many(missing, 'note')} played outside the chart's bars {'is' if missing == 1 else 'are'} left out.",
    )


def _delay(heard: Heard) -> tuple[str, ...]:
    """A remark if the notes near beats are early or late together."""
    late = off_beat_ms(heard.sounds, heard.metre, heard.tempo)
    if abs(late) < _WORTH_A_REMARK:
        return ()
    latency = round(heard.latency + late)
    how = "late" if late > 0 else "early"
    remark = f"Half of your notes on the beat are {abs(late):.0f} ms {how} or more."
    if not -MOST_LATENCY <= latency <= MOST_LATENCY:
        return (remark,)
    return (f"{remark} If the delay is in your instrument or computer, use --latency {latency}.",)


def off_beat_ms(sounds: Sequence[Sound], metre: Metre, tempo: int) -> float:
    """The median delay of notes meant for beats, in milliseconds; 0 if too few notes are near beats.

    >>> from fillgen.theory.metre import METRES
    >>> off_beat_ms([Sound(beat * 480 + 24, beat * 480 + 400, 60) for beat in range(4)], METRES["4/4"], 120)
    25.0
    """
    beat = metre.beat
    ticks = [(sound.onset + beat / 2) % beat - beat / 2 for sound in sounds]
    near = [tick for tick in ticks if abs(tick) <= _NEAR_A_BEAT]
    return median(near) / TICKS * 60_000 / tempo if len(near) >= _ENOUGH else 0.0
