"""MIDI ports in memory, as a back end of mido: MIDO_BACKEND names this module, in this process or another.

In one process the tests look at `WORLD`. A process of its own takes its ports from the environment and writes what it
sends to a file, a message a line.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import mido
from mido.ports import BaseInput, BaseOutput

NAME = __name__


class FakeClock:
    """A clock that goes on only where somebody sleeps, each time a little too long if asked."""

    def __init__(self, too_long: float = 0.0) -> None:
        self.time = 1000.0
        self.too_long = too_long

    def now(self) -> float:
        return self.time

    def sleep(self, seconds: float) -> None:
        self.time += seconds + self.too_long


@dataclass
class World:
    """The ports there are, what was sent with its time, what will come in, and what goes wrong."""

    outputs: list[str] = field(default_factory=list)
    inputs: list[str] = field(default_factory=list)
    sent: list[tuple[float, bytes]] = field(default_factory=list)
    coming: list[tuple[float, bytes]] = field(default_factory=list)
    now: Callable[[], float] = lambda: 0.0
    log: Path | None = None
    gone_after: int | None = None
    broken: Exception | None = None
    busy: bool = False
    lists_open_ports: bool = False
    opened: int = 0
    closed: int = 0

    @classmethod
    def of_environment(cls) -> World:
        """The world as the environment of a process of its own says it."""
        names = {
            kind: os.environ.get(f"MEMORY_{kind}") for kind in ("OUTPUTS", "INPUTS", "LOG", "GONE_AFTER")
        }
        return cls(
            outputs=(names["OUTPUTS"] or "").split(";") if names["OUTPUTS"] else [],
            inputs=(names["INPUTS"] or "").split(";") if names["INPUTS"] else [],
            log=Path(names["LOG"]) if names["LOG"] else None,
            gone_after=int(names["GONE_AFTER"]) if names["GONE_AFTER"] else None,
        )


WORLD = World.of_environment()


def get_devices(**_: object) -> list[dict[str, Any]]:
    if WORLD.broken is not None:
        raise WORLD.broken
    return [
        *({"name": name, "is_input": False, "is_output": True} for name in WORLD.outputs),
        *({"name": name, "is_input": True, "is_output": False} for name in WORLD.inputs),
    ]


def _open(name: str, names: list[str]) -> None:
    if WORLD.busy or name not in names:
        raise OSError(f"cannot open {name}")
    WORLD.opened += 1
    if WORLD.lists_open_ports:  # as JACK does, as ports of the other kind
        WORLD.outputs.append(f"open port {WORLD.opened}")
        WORLD.inputs.append(f"open port {WORLD.opened}")


class Output(BaseOutput):
    """Writes down what is sent."""

    def _open(self, **_: object) -> None:
        _open(self.name, WORLD.outputs)

    def _close(self) -> None:
        WORLD.closed += 1

    def _send(self, message: mido.Message) -> None:
        if WORLD.gone_after is not None and len(WORLD.sent) >= WORLD.gone_after:
            raise OSError("device not configured")
        data = bytes(message.bytes())
        WORLD.sent.append((WORLD.now(), data))
        if WORLD.log is not None:
            with WORLD.log.open("a") as file:
                file.write(f"{data.hex()}\n")


class Input(BaseInput):
    """Gives what is coming as soon as its time has come."""

    def _open(self, **_: object) -> None:
        _open(self.name, WORLD.inputs)

    def _close(self) -> None:
        WORLD.closed += 1

    def _receive(self, **_: object) -> mido.Message | None:
        if WORLD.gone_after is not None and WORLD.gone_after < 0:
            raise OSError("device not configured")
        if WORLD.coming and WORLD.coming[0][0] <= WORLD.now():
            return mido.Message.from_bytes(WORLD.coming.pop(0)[1])
        return None


def hanging(sent: list[bytes]) -> dict[tuple[int, int], int]:
    """What still sounds after some messages, by channel and key, as an instrument understands them.

    All notes off ends every note of its channel (MIDI 1.0 Detailed Specification, channel mode messages).
    """
    down: dict[tuple[int, int], int] = {}
    for data in sent:
        kind, channel = data[0] & 0xF0, data[0] & 0x0F
        if kind == 0x90 and data[2]:
            down[channel, data[1]] = down.get((channel, data[1]), 0) + 1
        elif kind in (0x80, 0x90):
            down.pop((channel, data[1]), None)
        elif kind == 0xB0 and data[1] == 123:
            down = {key: count for key, count in down.items() if key[0] != channel}
    return down
