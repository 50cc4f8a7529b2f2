"""Listening: what is played to the metronome becomes the phrase that was meant; delays, swing, pick-ups, strays."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from fillgen.chart.text import parse_chart
from fillgen.dice import Dice
from fillgen.errors import OptionError, PhraseError
from fillgen.phrase.note import Phrase
from fillgen.phrase.text import parse_phrase, phrase_text
from fillgen.readers.phrases import Reading, line_up
from fillgen.sound.listening import Heard, Input, listen, off_beat_ms, written
from fillgen.sound.performance import Clock, PortError, Stop, bar_seconds
from fillgen.theory.metre import METRES, TICKS, swung
from tests.memory_ports import FakeClock

CHART = "| D | F#m | G | A7 |"
PHRASE = "F#5q E5q D5h | C#5q. B4e A4h | B4q C#5q D5h | E5h C#5h"
START = 1000.05
"""When the first click sounds: the fake clock begins at 1000, and a performance has a little lead."""


class Keys:
    """An input on which keys go down and up at seconds from the first click."""

    def __init__(self, clock: FakeClock, played: Iterable[tuple[float, bytes]]) -> None:
        self.clock = clock
        self.played = sorted((START + second, data) for second, data in played)

    def poll(self) -> bytes | None:
        if self.played and self.played[0][0] <= self.clock.time:
            return self.played.pop(0)[1]
        return None


class Clicks:
    """An output that keeps the seconds of what begins, from the first click."""

    def __init__(self, clock: FakeClock) -> None:
        self.clock = clock
        self.begun: list[tuple[float, int]] = []

    def send(self, data: bytes) -> None:
        if data[0] & 0xF0 == 0x90 and data[2]:
            self.begun.append((round(self.clock.time - START, 4), data[2]))


def fingers(
    notes: Phrase, metre: str, tempo: int, late: float = 0.0, ratio: float = 1.0, sway: float = 0.0
) -> list[tuple[float, bytes]]:
    """A phrase as keys go down and up, from the first beat after the count-in; `late` and `sway` in seconds."""
    dice = Dice(5)
    bar, second = bar_seconds(metre, tempo), 60 / tempo / TICKS
    played = []
    for note in notes:
        shift = bar + late + sway * (2 * float(dice.doubles(1)[0]) - 1)
        start, end = swung(note.onset, ratio) * second, swung(note.end, ratio) * second
        played.append((start + shift, bytes((0x90, note.midi, 80))))
        played.append((end + shift - 0.02, bytes((0x80, note.midi, 64))))
    return played


def heard(
    played: Iterable[tuple[float, bytes]],
    metre: str = "4/4",
    tempo: int = 100,
    bars: int = 4,
    latency: float = 0,
) -> Heard:
    clock = FakeClock()
    keys: Input = Keys(clock, played)
    return listen(keys, METRES[metre], tempo, bars, latency=latency, clock=Clock(clock.now, clock.sleep))


def text(found_for: Heard, chart: str = CHART) -> str:
    reading = lined_up(found_for, chart)
    names = [spelled(note.midi) for note in reading.notes]
    return phrase_text(reading.notes, reading.progression, names)


def lined_up(found_for: Heard, chart: str = CHART) -> Reading:
    return line_up(written(found_for), chart, metre=found_for.metre)


def spelled(midi: int) -> str:
    return f"{['C', 'C#', 'D', 'Eb', 'E', 'F', 'F#', 'G', 'Ab', 'A', 'Bb', 'B'][midi % 12]}{midi // 12 - 1}"


# Notes


@pytest.mark.parametrize("tempo", [40, 100, 220])
@pytest.mark.parametrize("sway", [0.0, 0.02])
def test_phrase_comes_back_as_played(tempo: int, sway: float) -> None:
    """What is played exactly, or by a hand that sways by 20 ms, is written as it was meant."""
    notes = parse_phrase(PHRASE, METRES["4/4"])
    assert text(heard(fingers(notes, "4/4", tempo, sway=sway), tempo=tempo)) == PHRASE


@pytest.mark.parametrize(
    ("metre", "chart", "phrase"),
    [
        ("3/4", "| F | C7 |", "A4h C5q | Bb4q. G4e E4q"),
        ("6/8", "| F | C7 |", "A4q. C5q A4e | Bb4q. E4q."),
        ("2/2", "| F | C7 |", "A4h C5h | Bb4h E4h"),
        ("5/4", "| F | C7 |", "A4h. C5h | Bb4h. E4h"),
        ("4/4", "| F | C7 |", "A4et C5et A4et F4h. | Bb4h E4h"),
        ("4/4", "| F | C7 |", "rq A4q C5h | rh E4q rq"),
    ],
)
def test_metres_triplets_and_rests(metre: str, chart: str, phrase: str) -> None:
    notes = parse_phrase(phrase, METRES[metre])
    assert text(heard(fingers(notes, metre, 90), metre, 90, 2), chart) == phrase


def test_late_equipment_is_made_up_for() -> None:
    """Notes that arrive 140 ms late, more than a sixteenth at this tempo: wrong without, right with --latency."""
    notes = parse_phrase("E5e D5e C5e D5e E5h | C5h E5h", METRES["4/4"])
    played = fingers(notes, "4/4", 120, late=0.14)
    assert text(heard(played, tempo=120, bars=2), "| C | Am |") != "E5e D5e C5e D5e E5h | C5h E5h"
    mended = heard(played, tempo=120, bars=2, latency=140)
    assert text(mended, "| C | Am |") == "E5e D5e C5e D5e E5h | C5h E5h"


def test_last_note_counts_in_spite_of_latency() -> None:
    """A note on the last eighth arrives after the last bar is over, and is heard all the same."""
    notes = parse_phrase("C5h. rq | E5h rq. G5e", METRES["4/4"])
    played = fingers(notes, "4/4", 120, late=0.3)
    assert text(heard(played, tempo=120, bars=2, latency=300), "| C | Am |") == "C5h. rq | E5h rq. G5e"


def test_delay_is_told_with_its_cure() -> None:
    """Forty milliseconds late throughout: a remark names the option that makes up for it, which then ends it."""
    notes = parse_phrase("C5q E5q G5q E5q | C5q A4q C5q A4q", METRES["4/4"])
    played = fingers(notes, "4/4", 100, late=0.04)
    remarks = written(heard(played, bars=2)).remarks
    assert any("--latency 40" in remark or "--latency 41" in remark for remark in remarks)
    cured = written(heard(played, bars=2, latency=40)).remarks
    assert not any("--latency" in remark for remark in cured)


def test_few_notes_tell_of_no_delay() -> None:
    assert (
        off_beat_ms(
            heard(fingers(parse_phrase("C5w", METRES["4/4"]), "4/4", 100, 0.05)).sounds, METRES["4/4"], 100
        )
        == 0
    )


def test_swing_is_taken_out() -> None:
    """Eighths played two to one are written straight, and the reading says that they swing."""
    phrase = "C5e D5e E5e G5e E5h | A4e C5e E5e C5e A4h"
    played = fingers(parse_phrase(phrase, METRES["4/4"]), "4/4", 120, ratio=2.0)
    found = heard(played, tempo=120, bars=2)
    assert text(found, "| C | Am |") == phrase
    assert lined_up(found, "| C | Am |").swings


def test_pickup_comes_before_bar_one() -> None:
    """Notes in the last beats of the count-in stand in a bar 0."""
    played = fingers(parse_phrase("C5h E5h | C5h A4h", METRES["4/4"]), "4/4", 120)
    pickup = [(1.5, bytes((0x90, 67, 80))), (1.95, bytes((0x80, 67, 64)))]
    reading = lined_up(heard([*pickup, *played], tempo=120, bars=2), "| C | Am |")
    assert reading.progression.first == 0
    assert (reading.notes[0].onset, reading.notes[0].midi) == (3 * TICKS, 67)
    assert reading.notes[1].onset == 4 * TICKS


def test_first_note_a_little_early_is_no_pickup() -> None:
    """Sixty milliseconds before the first beat is on the first beat."""
    played = [(2.34, bytes((0x90, 72, 80))), (4.7, bytes((0x80, 72, 64)))]
    reading = lined_up(heard(played, bars=2), "| C | Am |")
    assert (reading.progression.first, reading.notes[0].onset) == (1, 0)


def test_strays_are_left_out_and_told() -> None:
    """A key touched with the first click, and one after the end, are no notes of the phrase."""
    phrase = parse_phrase("C5h E5h | C5h A4h", METRES["4/4"])
    strays = [(0.05, bytes((0x90, 40, 80))), (0.3, bytes((0x80, 40, 64))), (5.97, bytes((0x90, 90, 80)))]
    found = heard([*strays, *fingers(phrase, "4/4", 120)], tempo=120, bars=2)
    assert text(found, "| C | Am |") == "C5h E5h | C5h A4h"
    assert any("2 notes played outside the chart's bars are left out" in r for r in written(found).remarks)


def test_held_key_ends_with_the_chart() -> None:
    """A key that is still down at the end is a note to the end."""
    assert text(heard([(2.4, bytes((0x90, 72, 80)))], bars=1), "| C |") == "C5w"


def test_chord_gives_its_highest_note() -> None:
    chord = [(2.4 + n / 100, bytes((0x90, midi, 80))) for n, midi in enumerate((60, 64, 72))]
    chord += [(4.7, bytes((0x80, midi, 64))) for midi in (60, 64, 72)]
    assert text(heard(chord, bars=1), "| C |") == "C5w"


def test_other_messages_are_passed_over() -> None:
    """Pedal, clock, active sensing and system exclusive messages are no notes; velocity 0 lets go."""
    noise = [bytes((0xB0, 64, 127)), b"\xf8", b"\xfe", b"\xf0\x7e\x00\xf7", bytes((0xE0, 0, 64))]
    keys = [(2.4, bytes((0x90, 72, 80))), (4.8, bytes((0x90, 72, 0)))]
    assert text(heard([*((2.4, data) for data in noise), *keys], bars=1), "| C |") == "C5w"


@pytest.mark.parametrize("played", [[], [(0.1, bytes((0x90, 40, 80))), (0.2, bytes((0x80, 40, 64)))]])
def test_nothing_played(played: list[tuple[float, bytes]]) -> None:
    with pytest.raises(PhraseError, match="nothing was played"):
        written(heard(played))


# Metronome


@pytest.mark.parametrize("metre", METRES)
def test_metronome_clicks_every_beat(metre: str) -> None:
    """A bar of count-in and two bars of chart: a click on each beat, the first of each bar the loudest."""
    clock = FakeClock()
    clicks = Clicks(clock)
    listen(Keys(clock, ()), METRES[metre], 90, 2, metronome=clicks, clock=Clock(clock.now, clock.sleep))
    beats, beat = METRES[metre].beats, METRES[metre].beat / TICKS * 60 / 90
    assert [second for second, _ in clicks.begun] == pytest.approx(
        [number * beat for number in range(3 * beats)], abs=1e-3
    )
    loud = max(velocity for _, velocity in clicks.begun)
    assert [n for n, (_, velocity) in enumerate(clicks.begun) if velocity == loud] == [0, beats, 2 * beats]


def test_stopped_while_listening() -> None:
    clock, stop = FakeClock(), Stop()
    stop.ask()
    found = listen(Keys(clock, ()), METRES["4/4"], 90, 2, stop=stop, clock=Clock(clock.now, clock.sleep))
    assert found.stopped


def test_input_that_goes_is_told() -> None:
    class Gone:
        def poll(self) -> bytes | None:
            raise PortError("gone")

    clock = FakeClock()
    clicks = Clicks(clock)
    with pytest.raises(PortError, match="gone"):
        listen(Gone(), METRES["4/4"], 90, 2, metronome=clicks, clock=Clock(clock.now, clock.sleep))


@pytest.mark.parametrize("latency", [-501.0, 501.0, float("nan")])
def test_latency_has_bounds(latency: float) -> None:
    with pytest.raises(OptionError, match="latency"):
        heard([], latency=latency)


def test_chart_is_gone_through_once() -> None:
    """As many bars are listened to as the chart has: the reading is whole where they are filled."""
    reading = lined_up(heard(fingers(parse_phrase(PHRASE, METRES["4/4"]), "4/4", 100)))
    assert reading.whole
    assert reading.progression.bars == parse_chart(CHART).bars
