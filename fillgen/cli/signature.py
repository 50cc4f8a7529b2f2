"""Commands that take groups of options: typer sees a parameter for each option, the command sees the groups.

What a command declares:

- a parameter whose type is a group of `fillgen.app.options` stands for all its options;
- a parameter annotated with a row, such as `Annotated[Path | None, RULES]`, is that single option or argument;
- everything else is typer's own.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Annotated, Any, get_args, get_origin, get_type_hints

import typer

from fillgen.app.options import HEADINGS, OPTIONS, Option
from fillgen.cli.layout import OWN_HEADING, Laid, with_default, write_commands, write_examples, write_options
from fillgen.errors import OptionError

_Command = Callable[..., None]


class _OnceOnly:
    """On which an option that takes one value can't be given twice."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read the arguments; OptionError for an option given more than once."""
        command: Any = self
        _, _, order = command.make_parser(ctx).parse_args(args=list(args))
        single = [each for each in order if isinstance(each, typer.core.TyperOption) and not each.multiple]
        twice = next((each for number, each in enumerate(single) if each in single[:number]), None)
        if twice is not None:
            raise OptionError(f"{twice.opts[0]} is given twice", hint="Give it once.")
        rest: list[str] = super().parse_args(ctx, args)  # type: ignore[misc]
        return rest


class _Helpful:
    """Whose help has options under headings, whole descriptions, and examples."""

    tasks: Mapping[str, Sequence[str]] = {}
    """The commands of a group by what they're for, where they're listed so."""

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """Write arguments and options, then the commands of a group."""
        write_options(self, ctx, formatter)
        if isinstance(self, typer.core.TyperGroup):
            write_commands(self, ctx, formatter, self.tasks)

    def format_epilog(self, ctx: Any, formatter: Any) -> None:
        """Write examples, and what is said last."""
        write_examples(ctx, formatter)
        super().format_epilog(ctx, formatter)  # type: ignore[misc]


class Strict(_Helpful, _OnceOnly, typer.core.TyperCommand):
    """A command whose options, but those that may be, are given once only."""


class StrictGroup(_Helpful, _OnceOnly, typer.core.TyperGroup):
    """Commands under one name, whose own options are given once only."""


PHRASES_OWN = {
    "rhythm": "the idea's own, or what suits the metre",
    "tempo": "the phrase's own, or the rhythm's",
}
"""What rhythm and tempo are where a phrase or an idea is given, and nothing else is asked for."""
PLAYED_PLAINLY = {"parts": "right", "close": "", "enter": "together"}
"""How it is played where a command has no --for."""
OF_PHRASES = ("view", "articulation", "note_names", "columns")
"""The options of a sheet of phrases that handouts of chords don't have."""


def grouped(
    *,
    usual: Sequence[Any] = (),
    without: Sequence[str] = (),
    defaults: Mapping[str, str] = MappingProxyType({}),
) -> Callable[[_Command], _Command]:
    """A command with groups of options, as typer can read it, called with whole groups.

    `usual` are groups with other defaults than their own, `without` are fields of groups that the command doesn't take,
    `defaults` say in words what a field that isn't given stands for, where the command has its own way.
    """
    own_defaults = {type(group): group for group in usual}

    def made(command: _Command) -> _Command:
        hints = get_type_hints(command, include_extras=True)
        parameters: list[inspect.Parameter] = []
        groups: dict[str, tuple[Any, list[str]]] = {}
        laid: dict[str, Laid] = {}
        for name, parameter in inspect.signature(command).parameters.items():
            hint = hints[name]
            if hint in OPTIONS:
                group = own_defaults[hint] if hint in own_defaults else hint()
                rows = {
                    field: _with_default(row, defaults.get(field))
                    for field, row in OPTIONS[hint].items()
                    if field not in without
                }
                groups[name] = group, list(rows)
                laid |= {field: Laid(row, HEADINGS.get(hint, OWN_HEADING)) for field, row in rows.items()}
                parameters += [_parameter(field, row, getattr(group, field)) for field, row in rows.items()]
            else:
                single = _row(hint)
                if single is None:
                    parameters.append(_plain(parameter, hint))
                    continue
                single = _with_default(single, defaults.get(name))
                parameters.append(_parameter(name, single, parameter.default))
                laid[name] = Laid(single, OWN_HEADING)

        def called(**values: Any) -> None:
            whole = {
                name: replace(
                    group, **{each: _value(values.pop(each), OPTIONS[type(group)][each]) for each in names}
                )
                for name, (group, names) in groups.items()
            }
            command(**values, **whole)

        called.__name__, called.__doc__ = command.__name__, command.__doc__
        seen: Any = called
        seen.__signature__ = inspect.Signature(parameters)
        seen.__annotations__ = {each.name: each.annotation for each in parameters}
        seen.laid = laid
        return called

    return made


def _with_default(row: Option, default: str | None) -> Option:
    """The row with what it stands for where it isn't given, if the command has its own way."""
    return row if default is None else replace(row, help=with_default(row.help, default))


def _plain(parameter: inspect.Parameter, hint: Any) -> inspect.Parameter:
    """A parameter of a command as typer reads it by itself."""
    return inspect.Parameter(
        parameter.name, inspect.Parameter.KEYWORD_ONLY, default=parameter.default, annotation=hint
    )


def _row(hint: Any) -> Option | None:
    """The row that a parameter is annotated with, if it is."""
    if get_origin(hint) is Annotated and isinstance(get_args(hint)[1], Option):
        row: Option = get_args(hint)[1]
        return row
    return None


_METAVARS = {int: "N", float: "N", str: "TEXT"}


def _parameter(name: str, row: Option, default: Any) -> inspect.Parameter:
    """An option or argument as a parameter that typer reads."""
    required = default is inspect.Parameter.empty
    if row.many:
        kind: Any = list[row.kind] | None  # type: ignore[name-defined]
        default = default if required else None
    elif row.kind is bool:
        kind = bool
    else:
        kind = row.kind if required or default is not None else row.kind | None
    if row.words and isinstance(default, tuple):
        default = ",".join(default)
    if row.flags:
        info: Any = typer.Option(
            *row.flags,
            help=row.help,
            metavar=None if row.kind is bool else row.metavar or _metavar(row),
            autocompletion=_completion(row),
            show_default=_shown(default),
        )
    else:
        metavar = row.metavar if required else f"[{row.metavar}]"
        info = typer.Argument(metavar=metavar, help=row.help, show_default=False)
    annotation = Annotated[kind, info]
    return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, default=default, annotation=annotation)


def _metavar(row: Option) -> str:
    """What stands for a value in the help."""
    return "NAME" if row.values is not None and row.kind is str else _METAVARS.get(row.kind, "FILE")


def _shown(default: Any) -> bool:
    """Whether the help names a default: not where nothing, or nothing special, is the usual."""
    return default not in (None, False, "", 0, 0.0) or default is True


def _completion(row: Option) -> Callable[[str], list[str]] | None:
    """What the shell offers: the values that begin as what is typed."""
    if row.values is None:
        return None
    values = row.values
    return lambda incomplete: [name for name in values() if name.lower().startswith(incomplete.lower())]


def _value(given: Any, row: Option) -> Any:
    """A value as typer gives it, as the group holds it."""
    if row.many:
        return tuple(given or ())
    if row.words and isinstance(given, str):
        return tuple(word.strip() for word in given.split(","))
    return given
