"""How the server and its workers talk: frames over a pipe, each a kind, a length and that many bytes."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

QUESTION, HEAD, DATA, END = b"q", b"h", b"d", b"e"
"""A question; the head of an answer; a part of it; its end, with a line for the log if there is one."""
PREFIX = 5
"""Bytes before the content of a frame: its kind and its length."""
JSON, LINES = "application/json", "application/x-ndjson"
"""The media types of answers that are one JSON document, and of those that are a JSON document a line."""


def frame(kind: bytes, content: bytes = b"") -> bytes:
    r"""A frame as it goes over the pipe.

    >>> frame(DATA, b"{}")
    b'd\x00\x00\x00\x02{}'
    """
    return kind + len(content).to_bytes(PREFIX - 1, "big") + content


def length_of(prefix: bytes) -> int:
    """The bytes of content that follow a frame's prefix."""
    return int.from_bytes(prefix[1:PREFIX], "big")


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: the name of an answer, the settings of the server, and the body of the request as it came."""

    name: str
    settings: dict[str, Any]
    body: bytes = b""

    def packed(self) -> bytes:
        """The question as the content of a frame.

        >>> Question.read(Question("chart", {"book": None}, b"{}").packed())
        Question(name='chart', settings={'book': None}, body=b'{}')
        """
        return json_bytes({"name": self.name, "settings": self.settings}) + b"\n" + self.body

    @classmethod
    def read(cls, content: bytes) -> Question:
        head, _, body = content.partition(b"\n")
        question = json.loads(head)
        return cls(question["name"], question["settings"], body)


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer: its media type, its parts, and the name under which a browser keeps it, if any."""

    kind: str
    parts: Iterable[bytes]
    name: str = ""


def json_bytes(document: Any) -> bytes:
    r"""A document as JSON in UTF-8, in one line; half of a surrogate pair is written as its escape, as JSON has it.

    >>> json_bytes({"key": "E♭", "odd": "\ud800"}).decode()
    '{"key":"E♭","odd":"\\ud800"}'
    """
    text = json.dumps(document, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return text.encode("utf-8", "backslashreplace")


def silent(_line: str) -> None:
    """A log that discards everything."""


def error_bytes(message: str, *, place: str = "", hint: str = "", **more: Any) -> bytes:
    """An error as JSON: the message of the command line, in its parts."""
    return json_bytes({"error": {"message": message, "place": place, "hint": hint, **more}})
