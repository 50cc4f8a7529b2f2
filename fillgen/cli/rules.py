"""The command `rules`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from fillgen.app.options import OPTIONS, RULES, Option, OutputOptions
from fillgen.cli.inputs import pack_of
from fillgen.cli.outputs import show, width_of
from fillgen.cli.signature import grouped

NAME = Option((), "A rule, level, rhythm or shape to explain.", metavar="NAME")
CHECK = Option(("--check",), "Check a rule pack of your own, and list what it adds.", Path)


@grouped()
def rules(
    *,
    name: Annotated[str | None, NAME] = None,
    check: Annotated[Path | None, CHECK] = None,
    rules: Annotated[Path | None, RULES] = None,
    no_pager: Annotated[bool, OPTIONS[OutputOptions]["no_pager"]] = False,
) -> None:
    """List the levels, rules, rhythms and shapes, or explain one of them."""
    from fillgen.writers.rulebook import explain, listing

    pack, width = pack_of(check or rules), width_of()
    lines: list[str] = []
    if check is not None:
        added = ", ".join(f"{len(rows)} {group}" for group, rows in pack.own.items()) or "nothing"
        lines.append(f"{check} is a valid rule pack. It adds: {added}.")
    if name is not None:
        lines.append(explain(name, pack, width))
    elif check is None:
        lines.append(listing(pack, width))
    show("\n".join(lines), OutputOptions(no_pager=no_pager))
