"""Ports: which one is meant, what is said where there are none, and that nothing of it is loaded unasked."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from fillgen.errors import FillgenError, OptionError
from fillgen.sound import ports
from fillgen.sound.performance import PortError
from fillgen.sound.ports import choose, open_input, open_output, port_names
from tests import memory_ports
from tests.memory_ports import World
from tests.unit.cli.test_import_cost import command, loaded

NAMES = ["Midi Through:Midi Through Port-0 14:0", "Organ 61:Organ 61 MIDI 1 20:0", "Expander 24:0"]


@pytest.fixture(name="world")
def _world(monkeypatch: pytest.MonkeyPatch) -> World:
    """Ports in memory: an organ that is played on and to, an expander, and the port that leads nowhere."""
    world = World(outputs=list(NAMES), inputs=NAMES[:2])
    monkeypatch.setattr(memory_ports, "WORLD", world)
    monkeypatch.setenv("MIDO_BACKEND", memory_ports.NAME)
    return world


# Names


@pytest.mark.parametrize("wanted", ["organ", "Organ 61:Organ 61 MIDI 1 20:0", "20:0", " ORGAN 61 "])
def test_part_of_a_name_is_enough(wanted: str) -> None:
    assert choose(wanted, NAMES, "output", "--port") == NAMES[1]


def test_full_name_goes_before_parts() -> None:
    """A name that is also a part of another names its own port."""
    assert choose("Synth", ["Synth 2", "Synth"], "output", "--port") == "Synth"


def test_only_port_is_taken() -> None:
    """Without a name the only real port is taken, or the one that leads nowhere where there is no other."""
    assert choose(None, NAMES[:2], "input", "--input") == NAMES[1]
    assert choose(None, NAMES[:1], "input", "--input") == NAMES[0]


def test_two_of_one_name_are_one() -> None:
    """Twins cannot be told apart by name: the first is meant."""
    assert choose(None, ["Pad", "Pad"], "output", "--port") == "Pad"


@pytest.mark.parametrize(
    ("wanted", "names", "words"),
    [
        (None, NAMES, "there are several MIDI outputs. Name one with --port. They are 'Organ 61"),
        ("i", NAMES, "more than one output has 'i' in its name. They are 'Midi Through"),
        ("Expandor 24:0", NAMES, "no MIDI output 'Expandor 24:0'. Did you mean 'Expander 24:0'?"),
        ("flute", NAMES[2:], "no MIDI output 'flute'. There is 'Expander 24:0'."),
        ("", NAMES, "no MIDI output ''. They are"),
        ("x" * 500, NAMES, "…'. They are"),
    ],
)
def test_port_that_is_not_meant(wanted: str | None, names: list[str], words: str) -> None:
    with pytest.raises(OptionError) as caught:
        choose(wanted, names, "output", "--port")
    assert words in str(caught.value)
    assert len(str(caught.value)) < 300


def test_no_port_at_all() -> None:
    with pytest.raises(PortError, match="there is no MIDI output") as caught:
        choose("organ", [], "output", "--port")
    assert "synthesizer" in caught.value.hint


# Opening


def test_ports_are_listed_in_order(world: World) -> None:
    assert (port_names().outputs, port_names().inputs) == (tuple(NAMES), tuple(NAMES[:2]))
    assert world.opened == 0


def test_messages_go_through(world: World) -> None:
    """What is sent arrives as it is; what comes in is given out; both ports are closed at the end."""
    with open_output("expander") as output, open_input("organ") as source:
        for data in (bytes((0x90, 60, 80)), bytes((0xC1, 5)), bytes((0xE0, 0, 64))):
            output.send(data)
        world.coming.append((0.0, bytes((0x90, 62, 70))))
        assert (source.poll(), source.poll()) == (bytes((0x90, 62, 70)), None)
    assert [data for _, data in world.sent] == [bytes((0x90, 60, 80)), bytes((0xC1, 5)), bytes((0xE0, 0, 64))]
    assert (world.opened, world.closed) == (2, 2)


def test_what_waited_in_an_input_is_thrown_away(world: World) -> None:
    world.coming += [(0.0, bytes((0x90, 62, 70))), (0.0, bytes((0x80, 62, 70)))]
    with open_input("organ") as source:
        assert source.poll() is None


def test_busy_port(world: World) -> None:
    world.busy = True
    with pytest.raises(PortError, match="cannot open the MIDI port 'Expander 24:0'") as caught:
        open_output("expander")
    assert "Another program" in caught.value.hint


def test_port_that_goes(world: World) -> None:
    """An error while sending or receiving names the port and what to look at."""
    with open_output("expander") as output, open_input("organ") as source:
        world.gone_after = -1
        with pytest.raises(PortError, match="'Expander 24:0' no longer works"):
            output.send(bytes((0x90, 60, 80)))
        with pytest.raises(PortError, match=r"'Organ 61.* no longer works"):
            source.poll()


def test_port_that_is_not_listed_any_more(world: World) -> None:
    """Unplugged without an error: it is noticed in a gap, every few seconds, and only there."""
    with open_output("expander") as output:
        world.outputs.remove("Expander 24:0")
        output.watch(100.0, 0.01)  # no time to look
        output.watch(1.0, 2.0)  # looked a moment ago
        with pytest.raises(PortError, match="no longer works"):
            output.watch(100.0, 2.0)


def test_port_that_is_still_there_is_watched_on(world: World) -> None:
    with open_output("expander") as output:
        output.watch(10.0, 2.0)
        world.outputs.remove("Expander 24:0")
        output.watch(12.9, 2.0)
        with pytest.raises(PortError):
            output.watch(13.1, 2.0)


def test_driver_that_lists_by_itself(world: World) -> None:
    """An open port of python-rtmidi lists ports quickly: it is asked in short gaps too, where music leaves no longer."""

    class Driver:
        def get_ports(self) -> list[str]:
            return ["Expander 24:0"] if len(asked) < 2 else []

    asked: list[float] = []
    with open_output("expander") as output:
        output._port._rt = Driver()
        for second in (4.0, 8.0):
            asked.append(second)
            output.watch(second, 0.005)  # no time at all
            if second == 8.0:
                with pytest.raises(PortError, match="no longer works"):
                    output.watch(second, 0.02)
            else:
                output.watch(second, 0.02)


# What drives ports


class _SequencerError(Exception):
    """As python-rtmidi has its own SystemError, which is none of Python's."""


def test_system_without_midi(world: World) -> None:
    """Where listing fails, as in a container without a sequencer, that is said."""
    world.broken = _SequencerError("error creating ALSA sequencer client object")
    with pytest.raises(PortError, match="cannot list the MIDI ports") as caught:
        port_names()
    assert "This system has no MIDI" in str(caught.value)


def test_rtmidi_that_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same through mido's own back end, with a driver that raises as python-rtmidi does."""
    driver = ModuleType("rtmidi")

    def refuse(**_: object) -> None:
        raise _SequencerError

    for name in ("MidiIn", "MidiOut"):
        setattr(driver, name, refuse)
    driver.API_UNSPECIFIED = 0  # type: ignore[attr-defined]
    driver.get_compiled_api = list  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "rtmidi", driver)
    monkeypatch.delitem(sys.modules, "mido.backends.rtmidi", raising=False)
    monkeypatch.delenv("MIDO_BACKEND", raising=False)
    with pytest.raises(PortError, match="cannot list the MIDI ports"):
        port_names()
    monkeypatch.delitem(sys.modules, "mido.backends.rtmidi")


def test_rtmidi_that_is_missing() -> None:
    """Without python-rtmidi each command says so with the line that installs it, code 2, no traceback."""
    for arguments in (["ports"], ["play", "| C | G7 |", "-n", "1"], ["listen", "| C | G7 |"]):
        program = (
            f"import sys\nsys.modules['rtmidi'] = None\nfrom fillgen.cli import main\nmain({arguments!r})"
        )
        environment = {"PATH": "", "MIDO_BACKEND": "mido.backends.rtmidi"}
        done = subprocess.run(
            [sys.executable, "-c", program], capture_output=True, text=True, check=False, env=environment
        )
        assert (done.returncode, done.stdout) == (2, "")
        assert done.stderr.splitlines()[-1] == (
            "fillgen: MIDI ports need python-rtmidi, which is not installed. "
            f"Install it: {sys.executable} -m pip install python-rtmidi"
        )


def test_back_end_that_is_unknown(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MIDO_BACKEND", "no_such_back_end")
    with pytest.raises(PortError, match="no MIDI back end 'no_such_back_end'"):
        port_names()


def test_driver_that_does_not_load(monkeypatch: pytest.MonkeyPatch) -> None:
    """Installed but broken, such as after an update of Python: that is another message."""
    monkeypatch.setattr(ports, "_is_there", lambda _: True)
    monkeypatch.delenv("MIDO_BACKEND", raising=False)
    monkeypatch.setitem(sys.modules, "rtmidi", None)
    monkeypatch.delitem(sys.modules, "mido.backends.rtmidi", raising=False)
    with pytest.raises(PortError, match="does not load"):
        port_names()


def test_libraries_are_silenced(world: World, capfd: pytest.CaptureFixture[str]) -> None:
    """What a driver writes to standard error by itself does not reach the player."""

    class LoudError(Exception):
        def __init__(self) -> None:
            os.write(2, b"ALSA lib seq_hw.c: open /dev/snd/seq failed\n")

    def shout(**_: object) -> list[dict[str, object]]:
        raise LoudError

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(memory_ports, "get_devices", shout)
        with pytest.raises(FillgenError):
            port_names()
    os.write(2, b"heard\n")
    assert capfd.readouterr().err == "heard\n"


def test_files_load_no_ports(tmp_path: Path) -> None:
    """Writing a MIDI file loads neither ports nor what drives them."""
    modules = loaded(command("ideas", "| C | G7 |", "-n", "1", "-o", str(tmp_path / "x.mid")))
    assert "fillgen.writers.midi" in modules
    assert not modules & {
        "rtmidi",
        "fillgen.sound.ports",
        "fillgen.sound.playback",
        "fillgen.sound.performance",
    }
