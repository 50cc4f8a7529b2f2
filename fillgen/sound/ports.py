"""MIDI ports: listed and opened. The driver is loaded only when a port is needed."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib.util import find_spec
from types import TracebackType
from typing import Any, Self

import mido
from mido.backends.backend import Backend

from fillgen.errors import FillgenError, OptionError, did_you_mean, shorten
from fillgen.sound.performance import PortError

INSTALL = f"{sys.executable} -m pip install python-rtmidi"
"""The command that installs the driver."""
_THROUGH = "midi through"
"""ALSA's port that only passes messages on: it makes no sound, so it is never the default."""
_USUAL_DRIVER = "rtmidi"
_WATCH_EVERY = 3.0
"""Seconds between two checks that a port is still there."""
_QUICK, _SLOW = 0.015, 0.4
"""Seconds of silence that leave time for a check: through the open port, and through a new connection."""


@dataclass(frozen=True, slots=True)
class PortNames:
    """The names of this machine's ports: inputs to play on, and outputs to play to."""

    inputs: tuple[str, ...]
    outputs: tuple[str, ...]


def port_names() -> PortNames:
    """The ports that are there now, in the order of the system.

    PortError if the driver is not installed or the system has no MIDI.
    """
    with _driven("list the MIDI ports") as backend:
        return PortNames(tuple(backend.get_input_names()), tuple(backend.get_output_names()))


def choose(wanted: str | None, names: Sequence[str], what: str, option: str) -> str:
    """Choose a port by its name, by a part that only its name has, or as the only one there is.

    `what` is `input` or `output`, `option` the option for messages. PortError if there are no ports at all, OptionError
    if none or several match.

    >>> choose("key", ["Keystage 49 20:0", "Expander 24:0"], "output", "--port")
    'Keystage 49 20:0'
    """
    if not names:
        raise PortError(f"there is no MIDI {what}", hint="Connect an instrument, or start a synthesizer.")
    if wanted is None:
        return _only(names, what, option)
    if wanted in names:
        return wanted
    folded = wanted.strip().casefold()
    found = [name for name in dict.fromkeys(names) if folded and folded in name.casefold()]
    if len(found) == 1:
        return found[0]
    if found:
        raise OptionError(f"more than one {what} has {shorten(wanted)} in its name", hint=_these(found))
    near = did_you_mean(wanted, names)
    raise OptionError(f"no MIDI {what} {shorten(wanted)}", hint=near if "Did" in near else _these(names))


def _only(names: Sequence[str], what: str, option: str) -> str:
    """The only port, apart from those that make no sound."""
    real = [name for name in dict.fromkeys(names) if _THROUGH not in name.casefold()] or list(names)
    if len(real) > 1:
        raise OptionError(f"there are several MIDI {what}s", hint=f"Name one with {option}. {_these(real)}")
    return real[0]


def _these(names: Sequence[str]) -> str:
    shown = ", ".join(shorten(name, 60) for name in list(dict.fromkeys(names))[:12])
    return f"They are {shown}." if len(names) > 1 else f"There is {shown}."


class _Port:
    """An open port; closed at the end of its `with`."""

    def __init__(self, name: str, port: Any) -> None:
        self.name = name
        self._port = port

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        with suppress(Exception):  # a disconnected port can't be closed, and needn't be
            self._port.close()

    def _gone(self, error: Exception) -> PortError:
        hint = "Is it still connected and switched on? fillgen ports lists the ports."
        wrong = PortError(f"the MIDI port {shorten(self.name, 60)} no longer works", hint=hint)
        wrong.__cause__ = error
        return wrong


class OutputPort(_Port):
    """A port to send messages to."""

    _looked = 0.0

    def send(self, data: bytes) -> None:
        """Send one message; PortError if the port is gone."""
        message = mido.Message.from_bytes(data)
        try:
            self._port.send(message)
        except Exception as error:  # each system and driver has errors of its own
            raise self._gone(error) from error

    def watch(self, second: float, left: float) -> None:
        """Check now and then, while there is time, that the port is still there; PortError if it isn't.

        Some systems silently accept messages to an unplugged instrument. `second` counts from the start of the
        performance, `left` is the number of seconds of silence ahead.
        """
        if left < (_QUICK if self._driver is not None else _SLOW) or second - self._looked < _WATCH_EVERY:
            return
        self._looked = second
        names = port_names().outputs if self._driver is None else self._driver.get_ports()
        if self.name not in names:
            raise self._gone(OSError("not listed any more"))

    @property
    def _driver(self) -> Any:
        """The driver behind the port, if mido has one: it lists ports at once, without a new connection."""
        return getattr(self._port, "_rt", None)


class InputPort(_Port):
    """A port to receive messages from."""

    def poll(self) -> bytes | None:
        """The next message that has arrived, or None; PortError if the port is gone."""
        try:
            message = self._port.poll()
        except Exception as error:
            raise self._gone(error) from error
        return None if message is None else bytes(message.bytes())


def open_output(
    wanted: str | None = None, option: str = "--port", names: PortNames | None = None
) -> OutputPort:
    """Open an output. Errors are those of `port_names` and `choose`, and PortError if the port is busy.

    To open two ports, list the `names` before: on some systems an open port is listed itself.
    """
    name = choose(wanted, (names or port_names()).outputs, "output", option)
    return OutputPort(name, _opened(name, "open_output"))


def open_input(
    wanted: str | None = None, option: str = "--input", names: PortNames | None = None
) -> InputPort:
    """Open an input and discard what was waiting in it. All else is as for `open_output`."""
    name = choose(wanted, (names or port_names()).inputs, "input", option)
    port = InputPort(name, _opened(name, "open_input"))
    while port.poll() is not None:
        pass
    return port


def _opened(name: str, how: str) -> Any:
    hint = "Another program may be using it; close that one first."
    with _driven(f"open the MIDI port {shorten(name, 60)}", hint) as backend:
        return getattr(backend, how)(name)


@contextmanager
def _driven(doing: str, hint: str = "") -> Iterator[Backend]:
    """The driver; any error within becomes a PortError that says what could not be done."""
    try:
        backend = Backend()
        with _without_noise():
            backend.load()
            yield backend
    except FillgenError:
        raise
    except ImportError as error:
        raise _not_installed(error) from error
    except Exception as error:  # python-rtmidi has errors of its own for each system
        raise PortError(f"cannot {doing}", hint=hint or _NO_MIDI) from error


_NO_MIDI = (
    "This system has no MIDI, or does not let this program use it (containers and remote shells have none)."
)


def _not_installed(error: ImportError) -> PortError:
    named = os.environ.get("MIDO_BACKEND", "")
    if named and not named.startswith("mido.backends.rtmidi"):
        return PortError(
            f"there is no MIDI back end {shorten(named)}",
            hint="Change or unset MIDO_BACKEND, which names it.",
        )
    if _is_there(_USUAL_DRIVER):
        hint = f"Install it again: {INSTALL}"
        return PortError(f"python-rtmidi, which drives MIDI ports, does not load ({error})", hint=hint)
    return PortError("MIDI ports need python-rtmidi, which is not installed", hint=f"Install it: {INSTALL}")


def _is_there(module: str, find: Callable[[str], object] = find_spec) -> bool:
    return find(module) is not None


@contextmanager
def _without_noise() -> Iterator[None]:
    """Silence standard error meanwhile: the libraries of some systems write to it."""
    try:
        kept = os.dup(2)
    except OSError:
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)
    try:
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)
