"""Functions that take a group of options as keywords: each field of the group is a keyword, typed as the field is."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any, Concatenate, ParamSpec, TypeVar

_Options = ParamSpec("_Options")
_Group = TypeVar("_Group")
_First = TypeVar("_First")
_Second = TypeVar("_Second")
_Answer = TypeVar("_Answer")


def with_keywords(
    group: Callable[_Options, _Group],
) -> Callable[[Callable[[_First, _Group], _Answer]], Callable[Concatenate[_First, _Options], _Answer]]:
    """A function of something and a group of options, called with the group's fields as keywords.

    >>> from fillgen.app.options import ChordOptions
    >>> @with_keywords(ChordOptions)
    ... def shown(text: str, options: ChordOptions) -> str:
    ...     return f"{text} in {options.key}"
    >>> shown("a chart", key="Ab")
    'a chart in Ab'
    """

    def made(
        function: Callable[[_First, _Group], _Answer],
    ) -> Callable[Concatenate[_First, _Options], _Answer]:
        def called(first: _First, /, *args: _Options.args, **options: _Options.kwargs) -> _Answer:
            return function(first, group(*args, **options))

        _dress(called, function, group, leading=1)
        return called

    return made


def with_two_and_keywords(
    group: Callable[_Options, _Group],
) -> Callable[
    [Callable[[_First, _Second, _Group], _Answer]], Callable[Concatenate[_First, _Second, _Options], _Answer]
]:
    """The same for a function of two things and a group of options."""

    def made(
        function: Callable[[_First, _Second, _Group], _Answer],
    ) -> Callable[Concatenate[_First, _Second, _Options], _Answer]:
        def called(
            first: _First, second: _Second, /, *args: _Options.args, **options: _Options.kwargs
        ) -> _Answer:
            return function(first, second, group(*args, **options))

        _dress(called, function, group, leading=2)
        return called

    return made


def _dress(called: Any, function: Callable[..., Any], group: Callable[..., Any], *, leading: int) -> None:
    """Give a function the name, the documentation and the signature that a reader of `help` should see."""
    own = inspect.signature(function)
    first = [
        each.replace(kind=inspect.Parameter.POSITIONAL_ONLY)
        for each in list(own.parameters.values())[:leading]
    ]
    keywords = inspect.signature(group).parameters.values()
    called.__name__, called.__qualname__ = function.__name__, function.__qualname__
    called.__doc__, called.__module__ = function.__doc__, function.__module__
    called.__wrapped__ = function
    called.__signature__ = own.replace(parameters=[*first, *keywords])
