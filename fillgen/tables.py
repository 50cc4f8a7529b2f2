"""The loader of the tables in `rules/`, and where what is installed with the package lies."""

from __future__ import annotations

import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any

from fillgen.errors import OutputError, PackError, cut
from fillgen.incoming import read_bytes

_HERE = Path(__file__).resolve().parent
_PLACES = {
    "rules": (_HERE / "installed_rules", _HERE.parent / "rules"),
    "guide": (_HERE / "installed_guide", _HERE.parent / "shared" / "guide"),
}

MOST_BYTES = 200_000
"""The largest table that is read, in bytes."""
_MOST_DOTS = 200
"""The most dots in a line: what a key of many parts costs grows by their square."""

Table = dict[str, Any]


def folder(what: str = "rules") -> Path:
    """The folder of the tables, or of the player's guide: inside an installed package, or in a checkout."""
    for place in _PLACES[what]:
        if place.is_dir():
            return place
    raise OutputError(f"the folder of {what} is missing", hint="Install fillgen again.")


@lru_cache(maxsize=64)
def table(name: str) -> Table:
    """A built-in table by its name without ending, such as `chords` or `rhythms/waltz`.

    The result is cached and shared: read it, never change it.

    >>> sorted(table("shapes"))
    ['shape']
    """
    return read_table(folder() / f"{name}.toml")


def plain_name(name: str) -> str:
    """A name for look-up, without capitals, hyphens and underscores.

    >>> plain_name("Cha-Cha")
    'cha cha'
    """
    return " ".join(name.lower().replace("-", " ").replace("_", " ").split())


def read_table(path: Path) -> Table:
    """A TOML file as plain dictionaries and lists; PackError for invalid content, OutputError if it can't be read."""
    content = read_bytes(path, MOST_BYTES)
    if len(content) > MOST_BYTES:
        raise PackError(f"larger than {MOST_BYTES // 1000} kB", place=str(path))
    if max(line.count(b".") for line in content.split(b"\n")) > _MOST_DOTS:
        raise PackError("has a line with more dots than a pack needs", place=str(path))
    try:
        return tomllib.loads(content.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise PackError(f"not text in UTF-8 (byte {error.start})", place=str(path)) from error
    except (ValueError, RecursionError) as error:
        raise PackError(f"not a valid TOML file: {cut(str(error), 200)}", place=str(path)) from error
