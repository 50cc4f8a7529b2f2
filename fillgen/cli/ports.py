"""The command `ports`."""

from __future__ import annotations

from collections.abc import Sequence

import typer

from fillgen.cli.options import Format, FormatOption
from fillgen.cli.outputs import json_text


def ports(format_: FormatOption = None) -> None:
    """MIDI ports of this machine: inputs for listen, outputs for play.

    A part of a name that no other port has is enough for --port and --input.
    """
    from fillgen.sound.ports import port_names

    names = port_names()
    if format_ is Format.json:
        typer.echo(json_text({"inputs": list(names.inputs), "outputs": list(names.outputs)}))
        return
    typer.echo(_listed("outputs, for play --port", names.outputs))
    typer.echo(_listed("inputs, for listen --input", names.inputs))


def _listed(what: str, names: Sequence[str]) -> str:
    return "\n".join([what, *(f"  {name}" for name in names or ("none",))])
