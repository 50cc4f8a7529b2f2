"""The fields of a request: each read by name, of one type, within bounds; whatever else is there is refused."""

from __future__ import annotations

import base64
import binascii
import json
from collections.abc import Sequence
from typing import Any, NoReturn, TypeVar

from fillgen.app.options import OPTIONS, Option
from fillgen.errors import OptionError, did_you_mean, shorten

LARGEST = 2**53 - 1
"""The largest whole number that JSON's readers agree on (RFC 8259, section 6)."""
_LONGEST_WORD = 200
_FARTHEST = 1e6
"""Options that are numbers lie nearer to 0 than this; the range of each is checked where it is used."""
Group = TypeVar("Group")


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
        raise OptionError(f"the request is not JSON: {error}") from None


def _no_number(word: str) -> NoReturn:
    raise ValueError(f"{word} is not a number")


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

    def has(self, name: str) -> bool:
        """Whether a field is there, and not null."""
        return self._document.get(name) is not None

    def _taken(self, name: str) -> Any:
        self._asked.append(name)
        return self._document.get(name)

    def _wrong(self, name: str, wanted: str) -> OptionError:
        return OptionError(f"{wanted} is expected", place=self._place + name)

    def text(self, name: str, longest: int = _LONGEST_WORD) -> str | None:
        """A text of limited length; None where it is left out or empty."""
        value = self._taken(name)
        if value is None:
            return None
        if not isinstance(value, str) or any("\ud800" <= letter <= "\udfff" for letter in value):
            raise self._wrong(name, "a text")
        if len(value) > longest:
            message = f"has {len(value):,} characters; the limit is {longest:,}"
            raise OptionError(message, place=self._place + name)
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
        """True or false; false where the field is left out."""
        value = self._taken(name)
        if value is not None and not isinstance(value, bool):
            raise self._wrong(name, "true or false")
        return bool(value)

    def word(self, name: str, longest: int = _LONGEST_WORD) -> str | None:
        """A text, or a whole number as text; None where it is left out or empty."""
        value = self._document.get(name)
        if isinstance(value, int) and not isinstance(value, bool):
            self._asked.append(name)
            return str(value)
        return self.text(name, longest)

    def group(self, kind: type[Group], *, without: Sequence[str] = (), longest: int = _LONGEST_WORD) -> Group:
        """A group of options, each field under the name it has on the command line; one left out has its default.

        `without` are fields of the group that a request doesn't have; texts have so many characters at most.
        """
        usual = kind()
        values: dict[str, Any] = {}
        for field, row in OPTIONS[kind].items():
            if field not in without:
                found = self._option(row, longest)
                values[field] = getattr(usual, field) if found is None else found
        return kind(**values)

    def _option(self, row: Option, longest: int) -> Any:
        """The value of an option as JSON has it; None where it is left out."""
        name = row.name
        if row.kind is bool:
            return self.flag(name)
        if row.many or row.words:
            return self.words(name)
        if row.kind is int:
            return self.whole(name)
        if row.kind is float:
            return self.number(name, -_FARTHEST, _FARTHEST)
        return self.word(name, longest)

    def words(self, name: str, most: int = 50) -> tuple[str, ...] | None:
        """Some texts; None where they are left out."""
        values = self._row(name, most)
        if values is None:
            return None
        row = Fields(dict(zip(map(str, range(len(values))), values, strict=True)), self._place + name)
        found = [row.word(str(index)) for index in range(len(values))]
        if None in found:
            raise self._wrong(name, "a list of texts")
        return tuple(word for word in found if word is not None)

    def wholes(self, name: str, low: int, high: int, most: int) -> tuple[int, ...] | None:
        """Some whole numbers within bounds; None where they are left out."""
        values = self._row(name, most)
        if values is None:
            return None
        for value in values:
            if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
                raise self._wrong(name, f"a list of whole numbers from {low} to {high}")
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
        """An unvalidated value."""
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
            raise self._wrong(name, "a list of values")
        if len(value) > most:
            raise OptionError(f"has {len(value):,} values; the limit is {most:,}", place=self._place + name)
        return value
