"""Performances: MIDI messages sent in time, without hanging notes however they end.

Each message is due at a moment counted from the start, so that small delays never add up. Messages are bytes of the
MIDI 1.0 specification; whatever takes them is an `Output`.
"""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from itertools import count
from typing import Protocol

from fillgen.errors import FillgenError, OptionError
from fillgen.hands.instruments import DRUM_CHANNEL, SUSTAIN
from fillgen.hands.take import clicks
from fillgen.theory.metre import METRES, TICKS

NOTE_OFF, NOTE_ON, CONTROL = 0x80, 0x90, 0xB0
"""The upper halves of status bytes (MIDI 1.0 Detailed Specification, table of status bytes)."""
RESET_CONTROLLERS, ALL_NOTES_OFF = 121, 123
"""Controller numbers of the two channel mode messages that end everything (MIDI 1.0, as above)."""
_LEAD = 0.05
"""Seconds before the first message, so that it is not late itself."""
_SLICE = 0.02
"""The longest seconds between two looks at the clock while waiting, and so the longest wait for Ctrl-C."""
_STALLED = 1.0
"""Seconds of delay that mean the machine was asleep: the rest moves back instead of coming all at once."""
_SAME_MOMENT = 0.0005
"""Seconds of tolerance: files count whole microseconds, so an event on a beat may lie a little before it."""
_SHORTEST_LOOP = 0.1
"""The shortest music, in seconds, that can be repeated."""


class PortError(FillgenError):
    """A MIDI port that is missing, can't be used, or has been disconnected."""


class Output(Protocol):
    """Takes MIDI messages; PortError if it no longer can."""

    def send(self, data: bytes) -> None:
        """Send one message at once."""


@dataclass(frozen=True, slots=True)
class Event:
    """A message due at a second from the start, or, if `data` is empty, a text for the player."""

    second: float
    data: bytes
    text: str = ""


@dataclass(frozen=True)
class Performance:
    """Events in time order, and their length in seconds.

    `tempo`, in quarter notes a minute, and `metre` are those at the start, for a count-in; `remarks` are for the player.
    """

    events: tuple[Event, ...]
    length: float
    tempo: float = 120.0
    metre: str = "4/4"
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Clock:
    """The clock in seconds, and how to sleep for some; tests use their own."""

    now: Callable[[], float] = time.perf_counter
    sleep: Callable[[float], None] = time.sleep


class Stop:
    """A request to stop. Asking for the third time breaks off whatever hangs."""

    def __init__(self) -> None:
        self.times = 0

    @property
    def asked(self) -> bool:
        return self.times > 0

    def ask(self, *_: object) -> None:
        """Ask to stop; also a signal handler."""
        self.times += 1
        if self.times > 2:
            raise KeyboardInterrupt


@contextmanager
def interrupts() -> Iterator[Stop]:
    """Let Ctrl-C, SIGTERM and a closed terminal ask for a stop meanwhile, so that every note is ended.

    Signals that the process ignores stay ignored. Outside the main thread, which alone receives signals, nothing
    changes.
    """
    stop = Stop()
    before = {}
    if threading.current_thread() is threading.main_thread():
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)
            if number is not None and signal.getsignal(number) not in (signal.SIG_IGN, None):
                before[number] = signal.signal(number, stop.ask)
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


# Clicks


def click_events(metre: str, tempo: float, bars: int = 1) -> tuple[Event, ...]:
    """Bars of clicks at a tempo in quarter notes a minute, the first of each bar the loudest.

    `metre` may be any time signature of a file; one that charts don't have is clicked in its lower number.

    >>> [round(event.second, 2) for event in click_events("3/4", 60) if event.data[0] >> 4 == 9]
    [0.0, 1.0, 2.0]
    """
    second = 60 / tempo / TICKS
    bar, strokes = _clicked(metre)
    found = []
    for number in range(bars):
        for tick, length, key, velocity in strokes:
            start = number * bar + tick
            found.append(Event(start * second, bytes((NOTE_ON | DRUM_CHANNEL, key, velocity))))
            found.append(Event((start + length) * second, bytes((NOTE_OFF | DRUM_CHANNEL, key, 64))))
    return tuple(found)


def _clicked(metre: str) -> tuple[int, list[tuple[int, int, int, int]]]:
    """The ticks of a bar, and its clicks: tick, ticks of length, key, velocity."""
    if metre in METRES:
        return METRES[metre].bar, [(s.tick, s.length, s.midi, s.velocity) for s in clicks(METRES[metre])]
    upper, lower = (max(1, int(number)) for number in metre.split("/"))
    beat = 4 * TICKS // lower
    first, other = clicks(METRES["4/4"])[:2]
    length = min(first.length, beat // 2)
    return upper * beat, [
        (number * beat, length, first.midi, other.velocity if number else first.velocity)
        for number in range(upper)
    ]


def bar_seconds(metre: str, tempo: float) -> float:
    """How long a bar lasts at a tempo in quarter notes a minute.

    >>> bar_seconds("6/8", 90), bar_seconds("7/8", 105)
    (2.0, 2.0)
    """
    return _clicked(metre)[0] / TICKS * 60 / tempo


def counted_in(performance: Performance) -> Performance:
    """A performance with a bar of clicks before it, in its own metre and tempo.

    >>> played = Performance((Event(0.0, bytes((0x90, 60, 80))),), 1.0, tempo=60)
    >>> counted_in(played).length, counted_in(played).events[-1].second
    (5.0, 4.0)
    """
    bar = bar_seconds(performance.metre, performance.tempo)
    later = (replace(event, second=event.second + bar) for event in performance.events)
    events = (*click_events(performance.metre, performance.tempo), *later)
    return replace(performance, events=events, length=bar + performance.length)


# Sending


class _Sender:
    """Sends messages and keeps track of sounding notes, so that it can end them."""

    def __init__(self, output: Output) -> None:
        self._output = output
        self._sounding: dict[tuple[int, int], None] = {}
        self._channels: set[int] = set()

    def send(self, data: bytes) -> None:
        kind, channel = data[0] & 0xF0, data[0] & 0x0F
        self._channels.add(channel)
        begins = kind == NOTE_ON and data[2] > 0
        if begins:  # known before it is sent: a note that may sound is one to end
            self._sounding[channel, data[1]] = None
        self._output.send(data)
        if kind in (NOTE_OFF, NOTE_ON) and not begins:
            self._sounding.pop((channel, data[1]), None)

    def silence(self) -> None:
        """End every note and lift the pedal, on each channel that was used."""
        for channel, midi in tuple(self._sounding):
            self.send(bytes((NOTE_OFF | channel, midi, 64)))
        for channel in sorted(self._channels):
            for controller in (SUSTAIN, RESET_CONTROLLERS, ALL_NOTES_OFF):
                self._output.send(bytes((CONTROL | channel, controller, 0)))


def _nothing(_second: float, _left: float) -> None:
    pass


def _silent(_text: str) -> None:
    pass


def perform(
    performance: Performance,
    output: Output,
    *,
    loops: int | None = 1,
    loop_from: float = 0.0,
    stop: Stop | None = None,
    clock: Clock | None = None,
    tell: Callable[[str], None] = _silent,
    meanwhile: Callable[[float, float], None] = _nothing,
    look_up: float = _SLICE,
) -> bool:
    """Send a performance in time, and return whether it was played to its end rather than stopped.

    `loops` is how often to play it, None for endlessly; repetitions begin at the second `loop_from`, after the count-in.
    `tell` is called with each text for the player, and `meanwhile` while waiting, at least every `look_up` seconds, with
    the current second of the performance and the seconds left before the next message.

    However it ends, by itself, by `stop` or by an error, all notes are ended and the pedal is lifted. OptionError if
    there is nothing to repeat; PortError if the output fails.

    >>> class Paper:
    ...     def send(self, data):
    ...         print(data.hex(" "))
    >>> note = (Event(0.0, bytes((0x90, 60, 80))), Event(0.01, bytes((0x80, 60, 64))))
    >>> perform(Performance(note, 0.01), Paper())
    90 3c 50
    80 3c 40
    b0 40 00
    b0 79 00
    b0 7b 00
    True
    """
    if loops != 1 and performance.length - loop_from < _SHORTEST_LOOP:
        raise OptionError("there is nothing to repeat", hint="Leave out --loop.")
    sender = _Sender(output)
    run = _Player(sender, stop or Stop(), clock or Clock(), tell, meanwhile, look_up)
    try:
        done = run.through(_schedule(performance, loops, loop_from))
        sender.silence()
    except BaseException:
        with suppress(PortError):
            sender.silence()
        raise
    return done


def _schedule(performance: Performance, loops: int | None, loop_from: float) -> Iterator[Event]:
    """The events of all repetitions, and an empty one at the very end."""
    again = [event for event in performance.events if event.second >= loop_from - _SAME_MOMENT]
    turn = performance.length - loop_from
    yield from performance.events
    for number in count(1) if loops is None else range(1, loops):
        for event in again:
            yield replace(event, second=event.second + number * turn)
    yield Event(performance.length + ((loops or 1) - 1) * turn, b"")


@dataclass
class _Player:
    """A performance in progress: `start`, in seconds of its clock, moves only after the machine was asleep."""

    sender: _Sender
    stop: Stop
    clock: Clock
    tell: Callable[[str], None]
    meanwhile: Callable[[float, float], None]
    look_up: float
    start: float = 0.0

    def through(self, events: Iterator[Event]) -> bool:
        self.start = self.clock.now() + _LEAD
        for event in events:
            self._wait(event.second)
            if self.stop.asked:
                return False
            if event.data:
                self.sender.send(event.data)
            if event.text:
                self.tell(event.text)
        return True

    def _wait(self, second: float) -> None:
        while not self.stop.asked:
            left = self.start + second - self.clock.now()
            if left < -_STALLED:
                self.start -= left
                self.sender.silence()
            if left < 1e-6:
                return
            self.meanwhile(second - left, left)
            left = self.start + second - self.clock.now()
            self.clock.sleep(max(0.0, min(left, self.look_up)))
