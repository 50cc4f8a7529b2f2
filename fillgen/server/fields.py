"""The fields of a request: each read by name, of one type, within bounds; whatever else is there is refused."""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Sequence
from typing import Any, NoReturn

from fillgen.errors import OptionError, did_you_mean, shorten

LARGEST = 2**53 - 1
"""The largest whole number that JSON's readers agree on (RFC 8259, section 6)."""
_LONGEST_WORD = 200


def document_of(body: bytes) -> Any:
    """The JSON document in some bytes; OptionError where there is none.

    >>> document_of(b'{"chart": "| C |"}')
    {'chart': '| C |'}
    """
    try:
        return json.loads(body.decode("utf-8"), parse_constant=_no_number)
    except UnicodeDecodeError as error:
        raise OptionError(f"the request is not text (byte {error.start} is not UTF-8)") from None
    except RecursionError:
        raise OptionError("the request is nested too deeply") from None
    except ValueError as error:
        raise OptionError(f"the request is no JSON: {error}") from None


def _no_number(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number")


class Fields:
    """The fields of a JSON object. Every field is asked for by name; `end` refuses those that nobody asked for.

    A field that is null counts as left out. OptionError names the field that is wrong.

    >>> fields = Fields({"count": 3, "shape": "arch"})
    >>> fields.whole("count", 1, 200), fields.text("shape"), fields.flag("fresh")
    (3, 'arch', False)
    >>> fields.end()
    """

    def __init__(self, document: Any, place: str = "") -> None:
        if not isinstance(document, dict):
            raise OptionError("a JSON object is expected", place=place)
        self._document: dict[str, Any] = document
        self._place = f"{place}." if place else ""
        self._asked: list[str] = []

    def end(self) -> None:
        """Refuse fields that are not known."""
        for name in self._document:
            if name not in self._asked:
                hint = did_you_mean(name, self._asked)
                raise OptionError(f"unknown field {shorten(self._place + name)}", hint=hint)

    def _taken(self, name: str) -> Any:
        self._asked.append(name)
        return self._document.get(name)

    def _wrong(self, name: str, wanted: str) -> OptionError:
        return OptionError(f"{wanted} is expected", place=self._place + name)

    def text(self, name: str, longest: int = _LONGEST_WORD) -> str | None:
        """A text of so many characters at most; None where it is left out or empty."""
        value = self._taken(name)
        if value is None:
            return None
        if not isinstance(value, str) or any("\ud800" <= letter <= "\udfff" for letter in value):
            raise self._wrong(name, "a text")
        if len(value) > longest:
            told = f"has {len(value):,} characters; the limit is {longest:,}"
            raise OptionError(told, place=self._place + name)
        return value or None

    def whole(self, name: str, low: int = 0, high: int = LARGEST) -> int | None:
        """A whole number within bounds; None where it is left out."""
        value = self._taken(name)
        if value is None:
            return None
        if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
            bounds = f" from {low} up" if high == LARGEST else f" from {low} to {high}"
            raise self._wrong(name, f"a whole number{bounds}")
        return value

    def number(self, name: str, low: float, high: float) -> float | None:
        """A number within bounds; None where it is left out."""
        value = self._taken(name)
        if value is None:
            return None
        if not isinstance(value, int | float) or isinstance(value, bool) or not low <= value <= high:
            raise self._wrong(name, f"a number from {low:g} to {high:g}")
        return float(value)

    def flag(self, name: str) -> bool:
        """Whether something is wished for; it is not where the field is left out."""
        value = self._taken(name)
        if value is not None and not isinstance(value, bool):
            raise self._wrong(name, "true or false")
        return bool(value)

    def words(self, name: str, most: int = 50) -> tuple[str, ...] | None:
        """Some texts; None where they are left out."""
        values = self._row(name, most)
        if values is None:
            return None
        row = Fields(dict(zip(map(str, range(len(values))), values, strict=True)), self._place + name)
        found = [row.text(str(index)) for index in range(len(values))]
        if None in found:
            raise self._wrong(name, "a row of texts")
        return tuple(word for word in found if word is not None)

    def wholes(self, name: str, low: int, high: int, most: int) -> tuple[int, ...] | None:
        """Some whole numbers within bounds; None where they are left out."""
        values = self._row(name, most)
        if values is None:
            return None
        for value in values:
            if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
                raise self._wrong(name, f"a row of whole numbers from {low} to {high}")
        return tuple(values)

    def rows(self, name: str, most: int) -> list[Fields] | None:
        """Some objects; None where they are left out."""
        values = self._row(name, most)
        if values is None:
            return None
        return [Fields(value, f"{self._place}{name} {number}") for number, value in enumerate(values, 1)]

    def part(self, name: str) -> Fields | None:
        """An object inside this one; None where it is left out."""
        value = self._taken(name)
        return None if value is None else Fields(value, self._place + name)

    def whatever(self, name: str) -> Any:
        """A value that somebody else judges."""
        return self._taken(name)

    def content(self, name: str) -> bytes | None:
        """Bytes that come as base64; None where they are left out."""
        value = self._taken(name)
        if value is None:
            return None
        try:
            return base64.b64decode(value, validate=True)
        except (binascii.Error, ValueError, TypeError):
            raise self._wrong(name, "a file in base64") from None

    def _row(self, name: str, most: int) -> Sequence[Any] | None:
        value = self._taken(name)
        if value is None:
            return None
        if not isinstance(value, list):
            raise self._wrong(name, "a row of values")
        if len(value) > most:
            raise OptionError(f"has {len(value):,} values; the limit is {most:,}", place=self._place + name)
        return value
