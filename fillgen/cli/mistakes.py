"""What is wrong with a command line, in the words of all other messages.

The errors are told apart by their names: where typer keeps the classes differs from version to version.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from fillgen.errors import did_you_mean, shorten

_NUMBERS = {"integer": "a whole number", "int": "a whole number", "float": "a number"}
"""The types of options, as the parser calls them, in words."""


def said(error: Any) -> str:
    """A sentence or two on an error of the parser of command lines; empty for one that isn't known here."""
    context = getattr(error, "ctx", None)
    return _SAID.get(type(error).__name__, _left_or_unknown)(
        error, getattr(context, "command_path", "fillgen")
    )


def _no_such_option(error: Any, command: str) -> str:
    near = did_you_mean(
        error.option_name.lstrip("-"), [each.lstrip("-") for each in error.possibilities or ()]
    )
    if near.startswith("Did"):
        asked = re.sub(r"'([^']+)'", r"--\1", near)
    elif error.option_name.startswith("--"):
        asked = f"{command} --help lists them."
    else:
        asked = f"Long option names begin with two dashes; {command} --help lists them."
    return f"there is no option {shorten(error.option_name)[1:-1]}. {asked}"


def _bad_use(error: Any, _: str) -> str:
    return f"{error.option_name} {'takes no value' if 'not take' in error.message else 'needs a value after it'}."


def _missing(error: Any, command: str) -> str:
    return f"{_name(error.param)} is missing. {command} --help says what that is."


def _wrong_value(error: Any, _: str) -> str:
    wanted = _NUMBERS.get(getattr(error.param.type, "name", "")) if error.param is not None else None
    given = re.match(r"['\"](.*)['\"] is not a valid", error.message)
    return f"{_name(error.param)} takes {wanted}, not {shorten(given[1])}." if wanted and given else ""


def _left_or_unknown(error: Any, command: str) -> str:
    if left := re.search(r"unexpected extra arguments?(?:\(s\))? \((.*)\)$", error.message):
        takes_chart = any(each.name == "chart" for each in error.ctx.command.params)
        hint = (
            "Put a chart, and a name of several words, in quotes."
            if takes_chart
            else f"{command} takes nothing more."
        )
        return f"{shorten(left[1])} is left over. {hint}"
    if unknown := re.match(r"No such command '(.*?)'\.", error.message):
        near = did_you_mean(unknown[1], error.ctx.command.list_commands(error.ctx))
        return f"there is no command {shorten(unknown[1])}. {near or f'{command} --help lists them.'}"
    return ""


def _name(param: Any) -> str:
    """A parameter as it is written: the long form of an option, or the word that stands for an argument."""
    long = [each for each in param.opts if each.startswith("--")]
    return str(long[0] if long else param.human_readable_name).rstrip(".")


_SAID: Mapping[str, Callable[[Any, str], str]] = {
    "NoSuchOption": _no_such_option,
    "BadOptionUsage": _bad_use,
    "MissingParameter": _missing,
    "BadParameter": _wrong_value,
}
