"""How help is laid out: options under headings with all their values, commands described whole, and examples."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fillgen.app.options import Option
from fillgen.cli.examples import EXAMPLES

OWN_HEADING = "Options"
"""The heading of the options that belong to no group."""
_DEFAULT = "[default: "
_WIDEST = 22
"""The widest first column, in characters; what is wider stands on a line of its own."""


@dataclass(frozen=True, slots=True)
class Laid:
    """An option and the heading it stands under."""

    row: Option
    heading: str


def write_options(command: Any, ctx: Any, formatter: Any) -> None:
    """Write a command's arguments, and its options under their headings; then values that need room of their own."""
    laid: dict[str, Laid] = getattr(command.callback, "laid", {})
    arguments: list[tuple[str, str]] = []
    sections: dict[str, list[tuple[str, str]]] = {OWN_HEADING: []}
    for param in command.get_params(ctx):
        record = param.get_help_record(ctx)
        if record is None:
            continue
        place = laid.get(param.name)
        if param.param_type_name == "argument":
            arguments.append(record)
        elif place is None:
            sections[OWN_HEADING].append(record)
        else:
            sections.setdefault(place.heading, []).append((record[0], _with_values(record[1], place.row)))
    _write_section("Arguments", arguments, formatter)
    own = sections.pop(OWN_HEADING)
    for heading, records in sections.items():
        _write_section(heading, records, formatter)
    _write_section("Other options" if sections else OWN_HEADING, own, formatter)
    for place in laid.values():
        _write_families(place.row, formatter)


def with_default(text: str, default: str) -> str:
    """What an option's help says, with another default in words, or without one where that is empty.

    >>> with_default("Quarter notes a minute. [default: the rhythm's own]", "the tune's")
    "Quarter notes a minute. [default: the tune's]"
    """
    says = text.partition(_DEFAULT)[0].rstrip()
    return f"{says} {_DEFAULT}{default}]" if default else says


def _with_values(text: str, row: Option) -> str:
    """What an option's help says, with its values unless they are named in it already.

    The default of a command takes the place of the usual one.
    """
    says, *defaults = text.split(_DEFAULT)
    text = _DEFAULT.join([says, *defaults[-1:]])
    if row.values is None or not row.listed or row.families is not None:
        return text
    values = row.values()
    if all(re.search(rf"\b{re.escape(value)}\b", text) for value in values):
        return text
    says, mark, default = text.partition(_DEFAULT)
    return f"{says.rstrip()} One of: {', '.join(values)}. {mark}{default}".rstrip()


def _write_section(
    heading: str, records: Sequence[tuple[str, str]], formatter: Any, widest: int = _WIDEST
) -> None:
    if records:
        with formatter.section(heading):
            formatter.write_dl(records, col_max=widest)


def _write_families(row: Option, formatter: Any) -> None:
    """Write the values of an option that come in families, with their numbers."""
    if row.families is None:
        return
    records, first = [], 1
    for family, names in row.families().items():
        last = first + len(names) - 1
        records.append((f"{family}, {first}-{last}", ", ".join(names)))
        first = last + 1
    widest = max(len(name) for name, _ in records)
    _write_section(f"Values of {row.flags[0]}, by family and number", records, formatter, widest)


def write_commands(group: Any, ctx: Any, formatter: Any, tasks: Mapping[str, Sequence[str]]) -> None:
    """Write the commands of a group under the headings of their tasks, each with the whole of its first sentence."""
    headings: dict[str, list[tuple[str, str]]] = {}
    for name in group.list_commands(ctx):
        command = group.get_command(ctx, name)
        heading = next((task for task, names in tasks.items() if name in names), "Commands")
        first = " ".join((command.help or "").split("\n\n")[0].split())
        headings.setdefault(heading, []).append((name, first))
    for heading, records in headings.items():
        _write_section(heading, records, formatter)


def write_examples(ctx: Any, formatter: Any) -> None:
    """Write a command's examples, and the page of the guide that has more."""
    from fillgen.writers.guide import topic_of

    name = ctx.command_path.partition(" ")[2]
    examples = EXAMPLES.get(name, ())
    if examples:
        with formatter.section("Examples" if len(examples) > 1 else "Example"):
            for example in examples:
                formatter.write(f"  {example}\n")
    topic = topic_of(name.partition(" ")[0])
    if topic is not None and name != "help":
        formatter.write(f"\nMore: fillgen help {topic.name}\n")
