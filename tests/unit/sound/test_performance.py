"""Performances: sent in time by a clock of the test's own, looped, stopped anywhere, and read from MIDI files."""

from __future__ import annotations

import io
import os
import signal
import threading
from collections.abc import Callable, Sequence
from itertools import pairwise

import mido
import pretty_midi
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import fillgen
from fillgen.errors import OptionError, TuneError
from fillgen.hands.playing import PARTS, Playing
from fillgen.sound.performance import (
    Clock,
    Event,
    Performance,
    PortError,
    Stop,
    bar_seconds,
    click_events,
    counted_in,
    interrupts,
    perform,
)
from fillgen.sound.playback import to_performance
from fillgen.theory.metre import METRES
from fillgen.writers.midi import to_midi
from tests.memory_ports import FakeClock, hanging

ON, OFF, PEDAL_UP, ALL_OFF = 0x90, 0x80, (64, 0), (123, 0)
"""Status bytes and controllers as the MIDI 1.0 Detailed Specification lists them (tables 1 to 3)."""


class Tape:
    """An output that keeps messages with the time of a clock; it goes wrong after so many."""

    def __init__(self, clock: FakeClock, gone_after: int | None = None) -> None:
        self.clock = clock
        self.gone_after = gone_after
        self.sent: list[tuple[float, bytes]] = []
        self.after: Callable[[], None] = lambda: None

    def send(self, data: bytes) -> None:
        if self.gone_after is not None and len(self.sent) >= self.gone_after:
            raise PortError("gone")
        self.sent.append((self.clock.time, data))
        self.after()

    @property
    def data(self) -> list[bytes]:
        return [data for _, data in self.sent]

    def notes(self) -> list[tuple[float, bytes]]:
        """The notes that begin, with the seconds since the first of them."""
        first = next(time for time, data in self.sent if data[0] & 0xF0 == ON)
        return [(time - first, data) for time, data in self.sent if data[0] & 0xF0 == ON]


def scale(count: int, every: float = 0.1) -> Performance:
    """Notes one after another."""
    events = []
    for number in range(count):
        key = 40 + number % 40
        events.append(Event(number * every, bytes((ON, key, 80))))
        events.append(Event((number + 1) * every, bytes((OFF, key, 64))))
    return Performance(tuple(sorted(events, key=lambda e: e.second)), count * every)


def played(performance: Performance, clock: FakeClock | None = None, **options: object) -> Tape:
    clock = clock or FakeClock()
    tape = Tape(clock)
    perform(performance, tape, clock=Clock(clock.now, clock.sleep), **options)  # type: ignore[arg-type]
    return tape


def silenced(data: Sequence[bytes], channels: Sequence[int]) -> bool:
    """Whether messages end with the pedal up and all notes off on every channel, and nothing sounds."""
    ends = [(d[0] & 0x0F, tuple(d[1:])) for d in data if d[0] & 0xF0 == 0xB0]
    said = all((channel, what) in ends for channel in channels for what in (PEDAL_UP, ALL_OFF))
    return said and not hanging(list(data))


# Time


def test_messages_come_when_they_are_due() -> None:
    """Every message leaves at its second, counted from the first."""
    tape = played(scale(50))
    assert [round(time, 6) for time, _ in tape.notes()] == [round(number * 0.1, 6) for number in range(50)]


@pytest.mark.parametrize("too_long", [0.0005, 0.004, 0.015])
def test_delays_do_not_add_up(too_long: float) -> None:
    """Where every sleep takes too long, the last message of two thousand is no later than one such delay."""
    tape = played(scale(1000), FakeClock(too_long))
    start = 1000.05
    late = [time - start - number * 0.1 for number, (time, _) in enumerate(_ons(tape))]
    assert min(late) > -1e-5
    assert max(late) <= too_long + 1e-5


def _ons(tape: Tape) -> list[tuple[float, bytes]]:
    return [(time, data) for time, data in tape.sent if data[0] & 0xF0 == ON]


def test_sleeping_machine_does_not_pile_up_notes() -> None:
    """A machine that slept half a minute goes on in time; what was due meanwhile does not come all at once."""
    clock = FakeClock()
    tape = Tape(clock)
    asleep = [30.0]

    def sleep_once() -> None:
        if len(tape.sent) == 20 and asleep:
            clock.time += asleep.pop()

    tape.after = sleep_once
    perform(scale(50), tape, clock=Clock(clock.now, clock.sleep))
    times = [time for time, _ in _ons(tape)]
    gaps = [b - a for a, b in pairwise(times)]
    assert len(times) == 50
    assert min(gaps) > 0.099
    assert sum(gap > 1 for gap in gaps) == 1


def test_loop_follows_without_a_gap() -> None:
    """Three times through: each begins where the one before ends; the count-in is heard once."""
    tune = Performance((Event(0.0, bytes((ON, 60, 80))), Event(0.5, bytes((OFF, 60, 64)))), 2.0, tempo=120)
    counted = counted_in(tune)
    tape = played(counted, loops=3, loop_from=bar_seconds("4/4", 120))
    clicks = [time for time, data in tape.notes() if data[0] & 0x0F == 9]
    notes = [time for time, data in tape.notes() if data[0] & 0x0F == 0]
    assert clicks == pytest.approx([0, 0.5, 1, 1.5])
    assert notes == pytest.approx([2, 4, 6])
    assert tape.sent[-1][0] == pytest.approx(1000.05 + 2 + 3 * 2)


def test_endless_loop_goes_on_until_stopped() -> None:
    """Without a number of times it goes on; a request to stop is answered within a fiftieth of a second."""
    clock, stop = FakeClock(), Stop()
    tape = Tape(clock)

    def enough() -> None:
        if len(tape.sent) == 5000:
            stop.ask()

    tape.after = enough
    done = perform(scale(8), tape, loops=None, stop=stop, clock=Clock(clock.now, clock.sleep))
    assert not done
    assert silenced(tape.data, [0])
    assert tape.sent[-1][0] - tape.sent[4999][0] <= 0.02 + 1e-6


def test_nothing_cannot_be_looped() -> None:
    with pytest.raises(OptionError, match="nothing to repeat"):
        played(Performance((), 0.0), loops=None)


# Ends


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 30), st.integers(1, 30), st.integers(0, 3), st.integers(60, 64), st.booleans()
        ),
        min_size=1,
        max_size=12,
    ),
    st.integers(0, 40),
    st.sampled_from(["stop", "error", "interrupt"]),
)
def test_nothing_hangs_wherever_it_ends(
    notes: list[tuple[int, int, int, int, bool]], after: int, how: str
) -> None:
    """Stopped, or broken off by an error or Ctrl-C, after any message: every note and the pedal are let go."""
    events = []
    for tick, length, channel, midi, pedal in notes:
        events.append(Event(tick / 10, bytes((ON | channel, midi, 80))))
        if pedal:
            events.append(Event(tick / 10, bytes((0xB0 | channel, 64, 127))))
        events.append(Event((tick + length) / 10, bytes((OFF | channel, midi, 64))))
    performance = Performance(tuple(sorted(events, key=lambda e: e.second)), 6.0)
    clock, stop = FakeClock(), Stop()
    tape = Tape(clock)
    broken: list[bool] = []

    def end() -> None:
        if len(tape.sent) == after and not broken:
            broken.append(True)
            if how == "stop":
                stop.ask()
            else:
                raise RuntimeError if how == "error" else KeyboardInterrupt

    tape.after = end
    try:
        perform(performance, tape, stop=stop, clock=Clock(clock.now, clock.sleep))
    except (RuntimeError, KeyboardInterrupt):
        assert how != "stop"
    used = sorted({data[0] & 0x0F for data in tape.data})
    assert silenced(tape.data, used)


def test_port_that_goes_is_told_once() -> None:
    """A port that goes ends the performance with its own error, though it cannot be silenced any more."""
    clock = FakeClock()
    tape = Tape(clock, gone_after=7)
    with pytest.raises(PortError, match="gone"):
        perform(scale(20), tape, clock=Clock(clock.now, clock.sleep))
    assert len(tape.sent) == 7


def test_signals_ask_for_an_end() -> None:
    """Ctrl-C and SIGTERM only ask, the third time they break off; afterwards they do what they did before."""
    before = signal.getsignal(signal.SIGINT), signal.getsignal(signal.SIGTERM)
    with interrupts() as stop:
        assert not stop.asked
        os.kill(os.getpid(), signal.SIGTERM)
        assert stop.asked
        os.kill(os.getpid(), signal.SIGINT)
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGINT)
    assert (signal.getsignal(signal.SIGINT), signal.getsignal(signal.SIGTERM)) == before


def test_ignored_signals_stay_ignored() -> None:
    """A process that outlives its terminal (nohup) goes on playing."""
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with interrupts() as stop:
            os.kill(os.getpid(), signal.SIGHUP)
            assert not stop.asked
    finally:
        signal.signal(signal.SIGHUP, before)


def test_other_threads_get_no_signals() -> None:
    """In another thread, where Python allows no handlers, nothing goes wrong."""
    asked: list[bool] = []

    def run() -> None:
        with interrupts() as stop:
            asked.append(stop.asked)

    thread = threading.Thread(target=run)
    thread.start()
    thread.join()
    assert asked == [False]


# Clicks


@pytest.mark.costly
@pytest.mark.parametrize("metre", METRES)
def test_clicks_are_those_of_the_files(metre: str) -> None:
    """A bar of clicks is what a written count-in holds."""
    ideas = fillgen.ideas(fillgen.parse_chart("| C | G7 |", metre=metre), count=1, tempo=100)
    counted = to_performance(to_midi(ideas, Playing(count_in=True)))
    bar = bar_seconds(metre, 100)
    inside = [
        (round(e.second, 6), e.data)
        for e in counted.events
        if e.second < bar - 1e-6 and e.data[:1] in (b"\x99", b"\x89")
    ]
    assert inside == [(round(e.second, 6), e.data) for e in click_events(metre, 100)]


def test_odd_metres_are_clicked() -> None:
    """A metre of a file that no chart has: one click a lower number, the first the loudest."""
    clicks = [e for e in click_events("11/8", 120) if e.data[0] == 0x99]
    assert [e.second for e in clicks] == pytest.approx([number * 0.25 for number in range(11)])
    assert clicks[0].data[2] > max(e.data[2] for e in clicks[1:])


# Files


def midi_file(
    *tracks: Sequence[mido.Message | mido.MetaMessage], format_: int = 1, division: int = 96
) -> bytes:
    file = mido.MidiFile(type=format_, ticks_per_beat=division)
    file.tracks.extend(mido.MidiTrack(track) for track in tracks)
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def on(note: int, time: int = 0, channel: int = 0) -> mido.Message:
    return mido.Message("note_on", note=note, velocity=90, time=time, channel=channel)


def off(note: int, time: int = 0, channel: int = 0) -> mido.Message:
    return mido.Message("note_off", note=note, time=time, channel=channel)


def tempo(bpm: float, time: int = 0) -> mido.MetaMessage:
    return mido.MetaMessage("set_tempo", tempo=round(60_000_000 / bpm), time=time)


def sounding(performance: Performance) -> list[tuple[float, float, int, int]]:
    """Notes of a performance: seconds, channel, pitch, in order; each must be let go before it is struck again."""
    begun: dict[tuple[int, int], float] = {}
    found = []
    for event in performance.events:
        if event.data and event.data[0] & 0xF0 in (ON, OFF):
            key = (event.data[0] & 0x0F, event.data[1])
            if event.data[0] & 0xF0 == ON and event.data[2]:
                assert key not in begun
                begun[key] = event.second
            else:
                found.append((begun.pop(key), event.second, *key))
    assert not begun
    return sorted(found)


def as_pretty_midi(content: bytes) -> list[tuple[float, float, int, int]]:
    """The same notes as another library reads them."""
    file = pretty_midi.PrettyMIDI(io.BytesIO(content))
    return sorted(
        (note.start, note.end, 9 if part.is_drum else part.program % 16, note.pitch)
        for part in file.instruments
        for note in part.notes
    )


TWO_PARTS = (
    [tempo(90), tempo(150, 100), tempo(60, 150)],
    [mido.Message("program_change", program=0), on(60), off(60, 130), on(62, 40), off(62, 200)],
    [mido.Message("program_change", program=1, channel=1), on(40, 30, 1), off(40, 300, 1)],
)


def test_tempo_changes_agree_with_another_library() -> None:
    """Seconds of notes under changes of tempo, format 1, as pretty_midi has them."""
    content = midi_file(*TWO_PARTS)
    ours, others = sounding(to_performance(content)), as_pretty_midi(content)
    assert [note[2:] for note in ours] == [note[2:] for note in others]
    assert [t for n in ours for t in n[:2]] == pytest.approx([t for n in others for t in n[:2]], abs=1e-6)


def test_tempo_by_hand() -> None:
    """A quarter at 120 (no tempo signed: Standard MIDI Files 1.0) lasts half a second; at 60 twice as long."""
    usual = to_performance(midi_file([on(60), off(60, 96)], format_=0))
    assert (usual.tempo, usual.events[-1].second, usual.length) == (120, 0.5, 0.5)
    slower = to_performance(midi_file([tempo(60), on(60), off(60, 96)], format_=0))
    assert (slower.tempo, slower.length) == (60, 1.0)


def test_tempo_asked_for_keeps_proportions() -> None:
    """Another tempo at the start moves every change with it."""
    own, fast = (to_performance(midi_file(*TWO_PARTS), tempo=t) for t in (None, 180.0))
    assert own.tempo == pytest.approx(90, abs=1e-3)
    assert [2 * event.second for event in fast.events] == pytest.approx(
        [event.second for event in own.events], abs=1e-4
    )
    assert fast.tempo == 180


@pytest.mark.parametrize(("rhythm", "chart"), [("swing", "| Dm7 | G7 |"), ("waltz", "| F | C7 |")])
def test_written_ideas_sound_as_other_libraries_read_them(rhythm: str, chart: str) -> None:
    """All four parts, with feel, count-in and slowing down: seconds and pitches as pretty_midi reads the file."""
    metre = "3/4" if rhythm == "waltz" else "4/4"
    ideas = fillgen.ideas(fillgen.parse_chart(chart, metre=metre), count=2, rhythm=rhythm)
    content = to_midi(ideas, Playing(parts=PARTS, feel=0.5, count_in=True, slow_down=True))
    ours = [(a, b, midi) for a, b, _, midi in sounding(to_performance(content))]
    others = [(a, b, midi) for a, b, _, midi in as_pretty_midi(content)]
    assert sorted(note[2] for note in ours) == sorted(note[2] for note in others)
    for ours_, others_ in zip(sorted(ours, key=_key), sorted(others, key=_key), strict=True):
        assert ours_ == pytest.approx(others_, abs=1e-6)


def _key(note: tuple[float, float, int]) -> tuple[int, float, float]:
    return note[2], round(note[0], 4), round(note[1], 4)


def test_key_struck_again_is_let_go_first() -> None:
    """Two notes of one pitch that overlap: the first ends where the second begins, which lasts to the later end."""
    overlapping = midi_file([on(60), on(60, 48), off(60, 48), off(60, 96)], format_=0)
    assert sounding(to_performance(overlapping)) == [(0, 0.25, 0, 60), (0.25, 1.0, 0, 60)]


def test_two_tracks_on_one_channel() -> None:
    """One track lets go the key in the moment in which another strikes it: the new note sounds."""
    content = midi_file([on(60, 96), off(60, 96)], [on(60), off(60, 96)])
    assert sounding(to_performance(content)) == [(0, 0.5, 0, 60), (0.5, 1.0, 0, 60)]


def test_note_without_end_ends_with_the_file() -> None:
    """A key that the file leaves down is let go at its end, in every loop anew."""
    performance = to_performance(
        midi_file([on(60), on(64, 96), off(64, 96), mido.MetaMessage("end_of_track", time=96)], format_=0)
    )
    assert sounding(performance) == [(0, 1.5, 0, 60), (0.5, 1.0, 0, 64)]
    assert performance.length == 1.5
    assert not hanging(played(performance, loops=3).data)


def test_silent_note_on_is_a_note_off() -> None:
    """A note-on of velocity 0 lets go (MIDI 1.0 Detailed Specification, note off)."""
    performance = to_performance(midi_file([on(60), mido.Message("note_on", note=60, velocity=0, time=96)]))
    assert sounding(performance) == [(0, 0.5, 0, 60)]


def test_system_exclusive_is_left_out_and_told() -> None:
    performance = to_performance(
        midi_file([mido.Message("sysex", data=(126, 127, 9, 1)), on(60), off(60, 96)], format_=0)
    )
    assert all(event.data[0] < 0xF0 for event in performance.events if event.data)
    assert performance.remarks == ("1 system exclusive message, meant for one device only, is not sent.",)


def test_pedal_and_bends_are_sent() -> None:
    """What belongs to a channel is sent as it is, pedal and pitch bend among it."""
    messages = [
        mido.Message("control_change", control=64, value=127),
        mido.Message("pitchwheel", pitch=100),
        mido.Message("aftertouch", value=5),
        mido.Message("polytouch", note=60, value=5),
    ]
    performance = to_performance(midi_file([*messages, on(60), off(60, 96)], format_=0))
    assert [e.data for e in performance.events[:4]] == [bytes(message.bytes()) for message in messages]


HEAD = b"MThd\x00\x00\x00\x06"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "damaged MIDI file"),
        (b"not MIDI at all", "damaged MIDI file"),
        (midi_file([on(60), off(60, 96)])[:-9], "damaged MIDI file"),
        (midi_file([tempo(90)]), "has no notes"),
        (midi_file(), "has no notes"),
        (midi_file([on(60), off(60, 96)], format_=2), "format 2"),
        (HEAD + b"\x00\x01\x00\x01\xe7\x28" + midi_file([on(60), off(60, 9)])[14:], "film frames"),
        (midi_file([on(60), off(60, 100_000_000)]), "longer than 6 hours"),
    ],
)
def test_files_that_cannot_be_played(content: bytes, words: str) -> None:
    with pytest.raises(TuneError, match=words) as caught:
        to_performance(content, "song.mid")
    assert caught.value.place == "song.mid"


def test_mad_tempi_do_not_flood() -> None:
    """A tempo of no time at all is passed over, one faster than any is slowed down to a thousand quarters a minute."""
    none = midi_file([mido.MetaMessage("set_tempo", tempo=0), on(60), off(60, 96)], format_=0)
    assert to_performance(none).length == 0.5
    mad = midi_file([mido.MetaMessage("set_tempo", tempo=1), on(60), off(60, 96)], format_=0)
    assert to_performance(mad).length == pytest.approx(0.06)


def test_metre_and_markers() -> None:
    """The metre under the first note counts in; markers become texts that can be printed."""
    performance = to_performance(
        midi_file(
            [
                mido.MetaMessage("time_signature", numerator=3, denominator=4),
                mido.MetaMessage("marker", text="Verse\x1b[2J\none"),
                on(60),
                off(60, 96),
            ]
        )
    )
    assert performance.metre == "3/4"
    assert [e.text for e in performance.events if e.text] == ["Verse [2J one"]
    assert counted_in(performance).length == 1.5 + 0.5
