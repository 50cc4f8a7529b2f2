"""The location of the idea book: the user's data folder, unless the environment or an option names another."""

from __future__ import annotations

import os
from pathlib import Path

from fillgen.errors import OutputError

NAME = "ideas.book"
FILE = "FILLGEN_BOOK"
"""The environment variable that names another book."""
OFF = "FILLGEN_NO_BOOK"
"""The environment variable that turns remembering off, whatever it holds."""


def book_path(given: Path | None = None) -> Path:
    """The file of the book: the one given, the one the environment names, or `ideas.book` in the user's data folder.

    >>> book_path(Path("gig.book")).name
    'gig.book'
    """
    if given is not None:
        return given
    named = os.environ.get(FILE, "")
    if named:
        return Path(named)
    from platformdirs import user_data_path  # noqa: PLC0415 - where nothing else names the book

    try:
        return user_data_path("fillgen", appauthor=False) / NAME
    except RuntimeError as error:
        hint = "Name a book with --book FILE."
        raise OutputError("no folder for the idea book can be found", hint=hint) from error


def is_off() -> bool:
    """Whether the environment turns remembering off."""
    return bool(os.environ.get(OFF, ""))
