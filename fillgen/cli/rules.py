"""The command `rules`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fillgen.app.options import RULES, Option
from fillgen.cli.inputs import pack_of
from fillgen.cli.signature import grouped

NAME = Option((), "A rule, level, rhythm or shape to explain.", metavar="NAME")
CHECK = Option(("--check",), "Check a rule pack of your own, and say what it adds.", Path)


@grouped()
def rules(
    *,
    name: Annotated[str | None, NAME] = None,
    check: Annotated[Path | None, CHECK] = None,
    rules: Annotated[Path | None, RULES] = None,
) -> None:
    """List the levels, rules, rhythms and shapes, or explain one of them."""
    from fillgen.writers.rulebook import explain, listing

    pack = pack_of(check or rules)
    if check is not None:
        added = ", ".join(f"{len(rows)} {group}" for group, rows in pack.own.items()) or "nothing"
        typer.echo(f"{check} is a sound rule pack. It gives: {added}.")
    if name is not None:
        typer.echo(explain(name, pack))
    elif check is None:
        typer.echo(listing(pack))
