"""The commands `play`, `listen` and `ports`, on ports in memory; and stopped by signals in a process of their own."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterable, Sequence
from pathlib import Path
from time import monotonic, sleep

import mido
import pytest

from fillgen.phrase.text import parse_phrase
from fillgen.sound import performance
from fillgen.sound.performance import Clock, bar_seconds
from fillgen.teaching.cautions import CAUTIONS
from fillgen.theory.metre import METRES, TICKS
from tests import memory_ports
from tests.commands import Call, refused
from tests.memory_ports import FakeClock, World, hanging
from tests.unit.cli.test_phrases import HOME, RIGHT, WRONG
from tests.unit.sound.test_performance import midi_file, off, on

ORGAN, EXPANDER = "Organ 61 MIDI 1", "Expander"


@pytest.fixture(name="world")
def _world(monkeypatch: pytest.MonkeyPatch) -> World:
    """An expander to play to and an organ to play on, in a time that passes only in waits."""
    clock = FakeClock()
    world = World(outputs=[EXPANDER], inputs=[ORGAN], now=clock.now)
    monkeypatch.setattr(memory_ports, "WORLD", world)
    monkeypatch.setenv("MIDO_BACKEND", memory_ports.NAME)
    monkeypatch.setattr(performance, "Clock", lambda: Clock(clock.now, clock.sleep))
    return world


def messages(world: World) -> list[bytes]:
    return [data for _, data in world.sent]


def begun(sent: Iterable[tuple[float, bytes]], channel: int | None = None) -> list[tuple[float, int, int]]:
    """Seconds from the first, pitch and loudness of the notes that begin, of one channel or all."""
    found = [
        (time, data[1], data[2])
        for time, data in sent
        if data[0] & 0xF0 == 0x90 and data[2] and channel in (None, data[0] & 0x0F)
    ]
    return [(round(time - found[0][0], 4), midi, loud) for time, midi, loud in found]


def written(path: Path) -> list[tuple[float, bytes]]:
    """What mido itself plays of a file: seconds and messages of channels."""
    at, found = 0.0, []
    for message in mido.MidiFile(path):
        at += message.time
        if not message.is_meta:
            found.append((at, bytes(message.bytes())))
    return found


# play


@pytest.mark.costly
@pytest.mark.parametrize(
    "options",
    [
        ("-n", "3"),
        ("-n", "2", "--for", "intro", "--rhythm", "swing", "--count-in", "--feel", "0.5"),
        ("-n", "1", "--for", "ending", "--close", "held", "--slow-down", "--tempo", "70"),
        ("-n", "2", "--parts", "left,bass", "--bass", "pedals", "--swing", "3", "--hand", "small"),
        ("-n", "1", "--sound", "left=Drawbar Organ", "--parts", "right,left"),
    ],
)
def test_what_sounds_is_what_is_written(call: Call, world: World, options: Sequence[str]) -> None:
    """Every message of the file that `ideas` writes with the same options is sent, in its time, and no other."""
    chart = "| F | Dm7 | G7 | C |" if "ending" in options else HOME
    assert call("ideas", chart, *options, "-o", "x.mid").code == 0
    answer = call("play", chart, *options)
    assert (answer.code, answer.out) == (0, "")
    file = written(Path("x.mid"))
    start = world.sent[0][0]
    sent = [(time - start, data) for time, data in world.sent][: len(file)]
    assert [data for _, data in sent] == [data for _, data in file]
    assert [time for time, _ in sent] == pytest.approx([time for time, _ in file], abs=1e-5)
    ending = messages(world)[len(file) :]
    assert all(data[0] & 0xF0 == 0xB0 for data in ending)
    assert not hanging(messages(world))


def test_one_rank(call: Call, world: World) -> None:
    """`--rank 3` plays the third idea that `ideas` lists, and names it."""
    listed = json.loads(call("ideas", HOME, "--format", "json").out)
    answer = call("play", HOME, "--only", "3")
    assert [midi for _, midi, _ in begun(world.sent)] == [n["midi"] for n in listed["ideas"][2]["notes"]]
    assert "Playing idea 3 on Expander" in answer.err
    assert "Idea 3: " in answer.err


def test_ranks_in_the_order_asked_for(call: Call, world: World) -> None:
    """`--only 3,1` plays those two, the third first."""
    ideas = json.loads(call("ideas", HOME, "-n", "3", "--format", "json").out)["ideas"]
    answer = call("play", HOME, "-n", "3", "--only", "3,1")
    assert answer.code == 0
    wanted = [note["midi"] for rank in (3, 1) for note in ideas[rank - 1]["notes"]]
    assert [midi for _, midi, _ in begun(world.sent)] == wanted
    assert re.findall(r"Idea (\d): ", answer.err) == ["3", "1"]


def test_ideas_of_the_book(call: Call, world: World, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Ideas are played by their numbers in the book or their last ranks, at another tempo where one is asked for."""
    monkeypatch.setenv("FILLGEN_BOOK", str(tmp_path / "own.book"))
    call("ideas", "| D | A7 |", "-n", "2")
    shown = json.loads(call("ideas", HOME, "-n", "3", "--format", "json").out)
    pitches = [[note["midi"] for note in idea["notes"]] for idea in shown["ideas"]]
    for arguments, wanted in (
        (("4",), pitches[1]),
        (("3,5",), pitches[0] + pitches[2]),
        (("2", "--last"), pitches[1]),
        (("3-5", "--only", "3"), pitches[2]),
        (("--book", str(tmp_path / "own.book"), "5"), pitches[2]),
    ):
        world.sent.clear()
        assert call("play", *arguments, "--feel", "0").code == 0
        assert [midi for _, midi, _ in begun(world.sent)] == wanted
    world.sent.clear()
    assert call("play", "4", "--swing", "1", "--feel", "0").code == 0
    usual = begun(world.sent)
    world.sent.clear()
    tempo = 2 * shown["chart"]["tempo"]
    assert call("play", "4", "--swing", "1", "--feel", "0", "--tempo", str(tempo)).code == 0
    assert [time for time, *_ in begun(world.sent)] == pytest.approx(
        [time / 2 for time, *_ in usual], abs=1e-3
    )
    world.sent.clear()
    for arguments, parts in (
        (("9",), ["9", "5"]),
        (("1,3",), ["2 charts"]),
        (("1", "--level", "4", "--seed", "2"), ["--level", "--seed", "ideas of the book"]),
        (("1", "--key", "C"), ["its own chart"]),
        (("3", "--part", "2"), ["--part"]),
        (("4", "--last"), ["4"]),
    ):
        refused(call("play", *arguments), *parts)
    assert world.sent == []


def test_phrase_of_ones_own(call: Call, world: World) -> None:
    answer = call("play", HOME, RIGHT, "--tempo", "120", "--feel", "0")
    assert answer.code == 0
    notes = parse_phrase(RIGHT, METRES["4/4"])
    assert [(time, midi) for time, midi, _ in begun(world.sent)] == [
        (pytest.approx(n.onset / TICKS / 2, abs=1e-4), n.midi) for n in notes
    ]


def test_loop_counts_in_once(call: Call, world: World) -> None:
    """One idea three times: a bar of clicks, then twelve bars of four quarters at 120."""
    answer = call("play", HOME, "--only", "1", "--loop", "3", "--count-in", "--tempo", "120")
    assert answer.code == 0
    clicks, notes = begun(world.sent, 9), begun(world.sent, 0)
    assert len(clicks) == 4
    once = notes[: len(notes) // 3]
    assert notes == [
        (pytest.approx(time + number * 8, abs=1e-3), *rest) for number in range(3) for time, *rest in once
    ]
    assert "0:26 min" in answer.err
    assert answer.err.count("Idea 1: ") == 1


def test_a_backing_track_loops_without_a_gap(call: Call, world: World) -> None:
    """A bar of clicks, then 3 times four bars of two seconds, each as the first, and nothing sounds after the last."""
    asked = ("--parts", "left,bass,drums", "--loop", "3", "--count-in", "--tempo", "120", "--rhythm", "swing")
    assert call("play", HOME, *asked).code == 0
    struck = [(time, *data[:2]) for time, data in world.sent if data[0] & 0xF0 == 0x90 and data[2]]
    music = [(time - struck[0][0], *rest) for time, *rest in struck][4:]
    once = music[: len(music) // 3]
    assert {status & 0x0F for _, status, _ in music} == {1, 2, 9}
    assert once[0][0] == pytest.approx(2, abs=1e-3)
    assert music == [
        (pytest.approx(time + number * 8, abs=2e-3), *rest) for number in range(3) for time, *rest in once
    ]
    ends = [number for number, (_, data) in enumerate(world.sent) if data[0] & 0xF0 in (0x80, 0x90)]
    assert hanging(messages(world)[: ends[-1] + 1]) == {}


@pytest.mark.parametrize("tempo", [67, 72, 130])
def test_no_note_is_lost_where_a_loop_begins_anew(call: Call, world: World, tempo: int) -> None:
    """Tempi whose microseconds are not whole: every turn has all its notes."""
    call("play", HOME, "--only", "1", "--loop", "2", "--count-in", "--tempo", str(tempo))
    notes = [rest for _, *rest in begun(world.sent, 0)]
    assert len(notes) % 2 == 0
    assert notes[: len(notes) // 2] == notes[len(notes) // 2 :]


def test_several_ideas_loop_with_their_rest(call: Call, world: World) -> None:
    """Two ideas twice: between all four lies the same bar of rest."""
    call("play", "| C | G7 |", "-n", "2", "--loop", "2", "--tempo", "120", "--rhythm", "ballad")
    notes = [time for time, _ in world.sent if _[0] & 0xF0 == 0x90]
    half = len(notes) // 2
    assert notes[half] - notes[0] == pytest.approx(2 * (2 + 1) * 2, abs=1e-3)


def test_midi_file_is_played(call: Call, world: World) -> None:
    """A file of format 0 with everything of its channel, at its own tempo, and at another."""
    Path("song.mid").write_bytes(midi_file([on(60), off(60, 96), on(64), off(64, 96)], format_=0))
    answer = call("play", "song.mid", "--port", "expand")
    assert (answer.code, begun(world.sent)) == (0, [(0, 60, 90), (0.5, 64, 90)])
    assert "Playing song.mid on Expander, 0:01 min" in answer.err
    world.sent.clear()
    call("play", "song.mid", "--tempo", "60", "--count-in", "--loop", "2")
    assert begun(world.sent, 0) == [(0, 60, 90), (1, 64, 90), (2, 60, 90), (3, 64, 90)]
    assert [time for time, *_ in begun(world.sent)][:5] == [0, 1, 2, 3, 4]


def test_system_exclusive_is_told(call: Call, world: World) -> None:
    Path("song.mid").write_bytes(
        midi_file([mido.Message("sysex", data=(1, 2)), on(60), off(60, 96)], format_=0)
    )
    answer = call("play", "song.mid")
    assert "Note: 1 system exclusive message, meant for one device only, is not sent." in answer.err
    assert all(data[0] != 0xF0 for data in messages(world))


def test_long_playing_shows_cautions(call: Call, world: World) -> None:
    """Over five minutes the cautions are shown, under them they are not."""
    assert CAUTIONS[1] not in call("play", HOME, "-n", "1").err
    answer = call("play", HOME, "-n", "1", "--loop", "50")
    assert [caution in answer.err for caution in (CAUTIONS[0], CAUTIONS[1], CAUTIONS[3])] == [True] * 3


def test_port_that_goes_in_the_middle(call: Call, world: World) -> None:
    world.gone_after = 12
    answer = call("play", HOME, "-n", "1")
    assert answer.code == 2
    assert answer.err.splitlines()[-1].startswith("fillgen: the MIDI port 'Expander' no longer works.")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((HOME, "--port", "flute"), ["no MIDI output 'flute'", "'Expander'"]),
        ((HOME, "--loop", "-1"), ["--loop is -1", "0 to repeat until Ctrl-C"]),
        ((HOME, "--only", "0"), ["'0'", "50 ideas", "begin at 1"]),
        ((HOME, "--only", "4", "-n", "2"), ["'4'", "2 ideas"]),
        ((HOME, RIGHT, "--only", "1", "--seed", "3"), ["--seed and --only", "phrase"]),
        ((HOME, RIGHT, "--last"), ["--last"]),
        ((HOME, "--last"), ["--last"]),
        ((HOME, "--part", "2"), ["--part"]),
        ((HOME, "C5q D5x"), ["bar 1", "D5x"]),
        ((HOME, "--tempo", "1000"), ["the tempo is 1000", "20 to 400"]),
        ((HOME, "--parts", "rigt"), ["'rigt'", "right"]),
        (("nothing.mid",), ["nothing.mid: no such file"]),
        (("damaged.mid",), ["damaged.mid", "damaged MIDI file"]),
        (("empty.mid",), ["empty.mid", "damaged MIDI file"]),
        (("quiet.mid",), ["quiet.mid", "has no notes"]),
        (("song.mid", "--tempo", "5"), ["the tempo is 5"]),
        (("song.mid", "--only", "2", "--key", "C"), ["--key and --only", "MIDI file"]),
        (("song.mid", "--sound", "Flute"), ["--sound", "MIDI file"]),
        (("song.mid", "--last", "--book", "x.book"), ["--last and --book", "MIDI file"]),
        (("song.mid", RIGHT), ["phrase", "MIDI file"]),
        ((), ["chart", "sequence"]),
    ],
)
def test_play_refuses(call: Call, world: World, arguments: Sequence[str], words: Sequence[str]) -> None:
    """Bad input ends with a message of a line or two, and nothing is sent."""
    Path("song.mid").write_bytes(midi_file([on(60), off(60, 96)]))
    Path("damaged.mid").write_bytes(midi_file([on(60), off(60, 96)])[:-9])
    Path("empty.mid").write_bytes(b"")
    Path("quiet.mid").write_bytes(midi_file([]))
    refused(call("play", *arguments), *words)
    assert world.sent == []


# listen


def keys(phrase: str, tempo: int, start: float = 1000.05, late: float = 0.0) -> list[tuple[float, bytes]]:
    """A phrase as it comes in at the times of the fake clock, after a bar of count-in."""
    second, first = 60 / tempo / TICKS, start + bar_seconds("4/4", tempo) + late
    found = []
    for note in parse_phrase(phrase, METRES["4/4"]):
        found.append((first + note.onset * second, bytes((0x90, note.midi, 80))))
        found.append((first + note.end * second - 0.01, bytes((0x80, note.midi, 64))))
    return sorted(found)


@pytest.mark.parametrize("phrase", [RIGHT, WRONG])
@pytest.mark.parametrize("options", [(), ("--level", "auto"), ("--format", "json", "--hand", "small")])
def test_listening_says_what_check_says(
    call: Call, world: World, phrase: str, options: Sequence[str]
) -> None:
    """A phrase that is played is told of as the same phrase in text, with the same exit code."""
    checked = call("check", HOME, phrase, "--tempo", "100", *options)
    world.coming += keys(phrase, 100)
    answer = call("listen", HOME, *options)
    assert (answer.code, _without_notes(answer.out)) == (checked.code, _without_notes(checked.out))
    clicks = begun(world.sent, 9)
    assert [time for time, *_ in clicks] == pytest.approx([number * 0.6 for number in range(20)], abs=1e-3)


def _without_notes(out: str) -> object:
    """An answer without the remarks on how the phrase was read."""
    if out.startswith("{"):
        return {key: value for key, value in json.loads(out).items() if key not in ("reading", "remarks")}
    return [line for line in out.splitlines() if "moved to the nearest" not in line]


def test_listening_makes_up_for_latency(call: Call, world: World) -> None:
    world.coming += keys(RIGHT, 120, late=0.2)
    answer = call("listen", HOME, "--tempo", "120", "--latency", "200", "-o", "x.json")
    assert answer.code == 0
    assert json.loads(Path("x.json").read_text())["right"] is True


def test_listening_without_metronome(call: Call, world: World) -> None:
    """Without clicks no output is needed."""
    world.outputs.clear()
    world.coming += keys(RIGHT, 100)
    answer = call("listen", HOME, "--no-metronome")
    assert (answer.code, world.sent) == (0, [])
    assert "Listening to Organ 61 MIDI 1 for 4 bars at 100" in answer.err


def test_own_ports_are_not_taken(call: Call, world: World) -> None:
    """Where the ports that are open are listed as well, the only instrument is still the only one."""
    world.lists_open_ports = True
    world.coming += keys(RIGHT, 100)
    assert call("listen", HOME).code == 0


def test_nothing_played(call: Call, world: World) -> None:
    answer = call("listen", HOME)
    assert answer.code == 2
    assert answer.err.splitlines()[-1].startswith("fillgen: nothing was played. Is it the right input?")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((HOME, "--input", "flute"), ["no MIDI input 'flute'", ORGAN]),
        ((HOME, "--port", "flute"), ["no MIDI output 'flute'", EXPANDER]),
        ((HOME, "--port", "expander", "--no-metronome"), ["not both"]),
        ((HOME, "--tempo", "5"), ["the tempo is 5"]),
        ((HOME, "--level", "9"), ["9"]),
        ((HOME, "--hand", "tiny"), ["tiny"]),
        ((HOME, "--low", "X9"), ["'X9'", "lowest", "D4"]),
        ((HOME, "--ends-on", "ninth"), ["ninth"]),
        ((HOME, "--rhythm", "waltzz"), ["waltz"]),
        (("| Hm7 |",), ["Hm7", "bar 1"]),
        (("| Ab | 2/4 Eb7 | 4/4 Ab |",), ["one metre", "bar 2 in 2/4"]),
        ((HOME, "-o", "x.doc"), ["'x.doc'", ".json"]),
        ((HOME, "-o", "x.json", "--format", "json"), ["--format"]),
    ],
)
def test_listen_refuses_before_anybody_plays(
    call: Call, world: World, arguments: Sequence[str], words: Sequence[str]
) -> None:
    """What is wrong with the options is told at once: no click is heard."""
    refused(call("listen", *arguments), *words)
    assert world.sent == []


def test_latency_out_of_bounds(call: Call, world: World) -> None:
    answer = call("listen", HOME, "--latency", "9000")
    assert (answer.code, world.sent) == (2, [])
    assert "the latency is 9000 milliseconds. Give up to 500 milliseconds." in answer.err


# ports


def test_ports_are_listed(call: Call, world: World) -> None:
    assert call("ports").out.splitlines() == [
        "outputs, for play --port",
        f"  {EXPANDER}",
        "inputs, for listen --input",
        f"  {ORGAN}",
    ]
    assert json.loads(call("ports", "--format", "json").out) == {"inputs": [ORGAN], "outputs": [EXPANDER]}


def test_no_ports(call: Call, world: World) -> None:
    world.outputs.clear()
    world.inputs.clear()
    assert call("ports").out.splitlines()[1::2] == ["  none", "  none"]
    refused(call("play", HOME, "-n", "1"), "there is no MIDI output", "Connect an instrument")


# In a process of its own


def started(log: Path, *arguments: str) -> subprocess.Popen[str]:
    """A command under way, whose ports are in its memory and whose messages go to a file."""
    environment = {
        **os.environ,
        "MIDO_BACKEND": memory_ports.NAME,
        "MEMORY_OUTPUTS": EXPANDER,
        "MEMORY_INPUTS": ORGAN,
        "MEMORY_LOG": str(log),
    }
    return subprocess.Popen(
        [sys.executable, "-m", "fillgen", *arguments],
        env=environment,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=Path(__file__).parents[3],
    )


def logged(log: Path) -> list[bytes]:
    """The messages in a log, as far as their lines are whole."""
    text = log.read_text() if log.exists() else ""
    return [bytes.fromhex(line) for line in text.splitlines(keepends=True) if line.endswith("\n")]


def until_notes(log: Path, process: subprocess.Popen[str], count: int) -> None:
    """Wait until so many notes have begun; the test fails where the process ends before, or after a minute."""
    limit = monotonic() + 60
    while sum(data[0] & 0xF0 == 0x90 for data in logged(log)) < count:
        assert process.poll() is None, process.communicate()
        assert monotonic() < limit
        sleep(0.01)


@pytest.mark.parametrize(
    ("arguments", "how"),
    [
        (("play", HOME, "-n", "2", "--loop", "0", "--for", "intro", "--tempo", "300"), signal.SIGINT),
        (("play", HOME, RIGHT, "--loop", "0", "--tempo", "300"), signal.SIGTERM),
        (("listen", HOME, "--tempo", "300"), signal.SIGINT),
    ],
)
def test_signal_leaves_no_note_hanging(tmp_path: Path, arguments: Sequence[str], how: signal.Signals) -> None:
    """Stopped in the middle: exit code 130, every note ended, pedal up and all notes off on each channel used."""
    log = tmp_path / "sent"
    process = started(log, *arguments)
    try:
        until_notes(log, process, 6)
        process.send_signal(how)
        out, err = process.communicate(timeout=60)
    finally:
        process.kill()
    assert (process.returncode, out) == (130, "")
    assert "Traceback" not in err
    sent = logged(log)
    assert hanging(sent) == {}
    ends = {(data[0] & 0x0F, data[1], data[2]) for data in sent if data[0] & 0xF0 == 0xB0}
    channels = {data[0] & 0x0F for data in sent}
    assert {(channel, what, 0) for channel in channels for what in (64, 123)} <= ends
