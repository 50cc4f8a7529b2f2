"""How exactly messages leave and arrive: `python -m tests.bench.jitter [SECONDS]`.

Messages are sent as `fillgen play` sends them, to a port that only notes the time, and, where the system has MIDI and
python-rtmidi is installed, through a virtual port of the system to an input of this program. Jitter is the distance
of each from the steady time of all. Where there is no sequencer, JACK with its dummy driver makes a real loop:

    jackd --no-realtime -d dummy -r 48000 -p 128 &
    MIDO_BACKEND=mido.backends.rtmidi/UNIX_JACK python -m tests.bench.jitter
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Sequence
from statistics import median

from mido.backends.backend import Backend

import fillgen
from fillgen.hands.playing import PARTS, Playing
from fillgen.sound.performance import Event, Performance, perform
from fillgen.sound.playback import to_performance
from fillgen.sound.ports import OutputPort, open_output
from fillgen.writers.midi import to_midi
from tests.bench.surroundings import figure, told

CHART = "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |"
LIMIT = 3.0
"""Milliseconds that the median may be at most, on a machine with nothing else to do."""
_STEADY = 0.01
_VIRTUAL = "fillgen bench"


class Noted:
    """An output that notes when each message left, and hands it on if there is a port."""

    def __init__(self, port: OutputPort | None = None) -> None:
        self.port = port
        self.left: list[float] = []

    def send(self, data: bytes) -> None:
        self.left.append(time.perf_counter())
        if self.port is not None:
            self.port.send(data)


def ms(times: Sequence[float], due: Sequence[float]) -> dict[str, float]:
    """Milliseconds from the steady time: at the median, for 99 of 100, and the most."""
    late = [at - second for at, second in zip(times, due, strict=True)]
    middle = median(late)
    off = sorted(abs(each - middle) * 1000 for each in late)
    return {"median": median(off), "99 %": off[int(0.99 * (len(off) - 1))], "most": off[-1]}


def music(seconds: float) -> Performance:
    """All four parts of an idea in swing, over and over for about so many seconds."""
    ideas = fillgen.ideas(CHART, count=1, rhythm="swing", seed=7)
    once = to_performance(to_midi(ideas, Playing(parts=PARTS, feel=0.5)))
    times = max(1, round(seconds / once.length))
    events = [
        Event(event.second + number * once.length, event.data)
        for number in range(times)
        for event in once.events
        if event.data
    ]
    return Performance(tuple(events), times * once.length)


def steady(seconds: float) -> Performance:
    """A message every hundredth of a second, numbered: what arrives is known by it, and none is lost unseen."""
    events = [
        Event(number * _STEADY, bytes((0xA0 | number >> 14, number >> 7 & 0x7F, number & 0x7F)))
        for number in range(int(seconds / _STEADY))
    ]
    return Performance(tuple(events), seconds)


def sent(performance: Performance, port: OutputPort | None = None) -> tuple[dict[str, float], Noted]:
    """The jitter of sending."""
    noted = Noted(port)
    perform(performance, noted)
    due = [event.second for event in performance.events]
    return ms(noted.left[: len(due)], due), noted


def through_system(seconds: float) -> None:
    """The jitter of sending to and receiving from a virtual port of the system, and the time that it takes."""
    arrived: dict[int, float] = {}

    def hear(message: object) -> None:
        data = message.bytes()  # type: ignore[attr-defined]
        if data[0] & 0xF0 == 0xA0:
            arrived[(data[0] & 0x0F) << 14 | data[1] << 7 | data[2]] = time.perf_counter()

    performance = steady(seconds)
    with Backend().open_input(_VIRTUAL, virtual=True, callback=hear), open_output(_VIRTUAL) as port:
        out, noted = sent(performance, port)
        time.sleep(0.2)
    here = sorted(arrived)
    due = [performance.events[number].second for number in here]
    inside = ms([arrived[number] for number in here], due)
    way = median((arrived[number] - noted.left[number]) * 1000 for number in here)
    lost = len(performance.events) - len(here)
    told_of("sent to a virtual port", out)
    told_of("received from it", inside)
    print(f"on the way {way:.3f} ms at the median, {lost} of {len(performance.events)} lost")


def told_of(name: str, figures: dict[str, float]) -> None:
    """Print the jitter of one way, the median as a figure of all benches."""
    print(f"{name:26}" + "  ".join(f"{what} {value:7.3f}" for what, value in figures.items()) + "  ms")
    middle = figures["median"]
    figure(f"jitter, {name}: median, ms", f"{middle:.3f}", f"under {LIMIT:g}", middle < LIMIT)


def main() -> None:
    """Print the table."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 20.0
    print(told(("mido", "python-rtmidi")))
    print(f"load {os.getloadavg()[0]:.1f}; the median is to be under {LIMIT:g} ms on an idle machine")
    told_of("steady, to no port", sent(steady(seconds))[0])
    told_of("four parts, to no port", sent(music(seconds))[0])
    try:
        through_system(seconds)
    except Exception as error:
        print(f"no virtual port of the system: {error}")


if __name__ == "__main__":
    main()
