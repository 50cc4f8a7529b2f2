"""The command `rules`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fillgen.cli.inputs import pack_of
from fillgen.cli.options import (
    RulesOption,
)


def rules(
    name: Annotated[
        str | None, typer.Argument(metavar="[NAME]", help="A rule, level, rhythm or shape to explain.")
    ] = None,
    check: Annotated[
        Path | None, typer.Option("--check", help="Check a rule pack of your own, and say what it adds.")
    ] = None,
    rules: RulesOption = None,
) -> None:
    """List the levels, rules, rhythms and shapes, or explain one of them."""
    from fillgen.hands.patterns import read_pack
    from fillgen.writers.rulebook import explain, listing

    if check is not None:
        pack = read_pack(check)
        told = ", ".join(f"{len(rows)} {group}" for group, rows in pack.own.items()) or "nothing"
        typer.echo(f"{check} is a sound rule pack. It gives: {told}.")
    pack = pack_of(check or rules)
    if name is not None:
        typer.echo(explain(name, pack))
    elif check is None:
        typer.echo(listing(pack))
