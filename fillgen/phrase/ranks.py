"""Numbers and ranges as players write them to choose from a list: 1,3-5."""

from __future__ import annotations

_LONGEST_NUMBER = 4


def whole_number(text: str) -> int | None:
    """A whole number of a few digits; None if the text isn't one."""
    is_one = text.isascii() and text.isdecimal() and len(text) <= _LONGEST_NUMBER
    return int(text) if is_one else None


def range_of(word: str) -> range | None:
    """The numbers that a word such as `4` or `1-3` names; None if it isn't a number or a range upwards.

    >>> range_of("4"), range_of(" 1 - 3"), range_of("3-1")
    (range(4, 5), range(1, 4), None)
    """
    first, dash, last = (part.strip() for part in word.partition("-"))
    low, high = whole_number(first), whole_number(last if dash else first)
    return range(low, high + 1) if low is not None and high is not None and low <= high else None
