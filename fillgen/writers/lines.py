"""Lines of text: how long they are, and how longer ones are broken."""

from __future__ import annotations

import textwrap

TEXT_WIDTH = 80
"""The length of a line, in characters, where nothing else is known."""
_NARROWEST = 40
_INDENT = "  "


def wrapped(line: str, width: int = TEXT_WIDTH, depth: int = 0, hang: int = 1) -> str:
    r"""A line indented `depth` times, and `hang` times more where it's broken, between words only.

    >>> wrapped("Two lanterns over the harbour, and nobody there to light them", 40)
    'Two lanterns over the harbour, and\n  nobody there to light them'
    """
    first = _INDENT * depth
    return textwrap.fill(
        line,
        max(_NARROWEST, width),
        initial_indent=first,
        subsequent_indent=first + _INDENT * hang,
        break_long_words=False,
        break_on_hyphens=False,
    )
