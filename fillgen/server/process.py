"""A worker: a process that answers one question after another over its pipes, and ends when they are closed."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator
from typing import BinaryIO

from fillgen.errors import FillgenError, NoPhraseError, OutputError, shorten
from fillgen.readers.confined import limit_memory
from fillgen.server.frames import (
    DATA,
    END,
    HEAD,
    JSON,
    LINES,
    PREFIX,
    Question,
    Reply,
    error_bytes,
    frame,
    json_bytes,
    length_of,
)

BAD, CLASH, NONE, FAULT, FULL = 400, 409, 422, 500, 503
"""HTTP statuses: an unreadable request; a file in the way; no phrase possible; a bug; too much asked."""
MOST_MEMORY = 1_500_000_000
"""The memory that a worker may have, in bytes."""
_TOO_MUCH = "this takes more memory than the page allows"
OUR_FAULT = "something went wrong; it's a bug in fillgen, not a mistake of yours"
_GENERAL = "Try again; if it happens again, report it with what you asked for."


def answered(question: Question) -> Iterator[tuple[bytes, bytes]]:
    """The frames of the answer to a question, kind and content; whatever goes wrong is in them."""
    kind, log = "", ""
    try:
        reply = _reply(question)
        parts = iter(reply.parts)
        first = next(parts, b"")
        kind = reply.kind
        yield HEAD, json_bytes({"status": 200, "kind": kind, "name": reply.name})
        yield DATA, first
        for part in parts:
            yield DATA, part
    except FillgenError as error:
        yield from _refused(_status(error), error_of(error), kind)
    except MemoryError:
        log = f"{question.name}: stopped at its limit of memory"
        yield from _refused(FULL, error_bytes(_TOO_MUCH, hint="Ask for fewer bars or ideas."), kind)
    except Exception as error:  # one question must not end the worker
        log = f"{question.name}: {type(error).__name__}: {shorten(str(error), 200)}"
        yield from _refused(FAULT, error_bytes(OUR_FAULT, hint=_GENERAL), kind)
    yield END, log.encode("utf-8", "backslashreplace")


def _reply(question: Question) -> Reply:
    from fillgen.server.answers import ANSWERS  # noqa: PLC0415 - a worker that is being started does not wait for it

    return ANSWERS[question.name](question)


def _refused(status: int, refusal: bytes, begun: str) -> Iterator[tuple[bytes, bytes]]:
    """An error as an answer, or as the last line of one that had begun."""
    if not begun:
        yield HEAD, json_bytes({"status": status, "kind": JSON, "name": ""})
        yield DATA, refusal
    elif begun == LINES:
        yield DATA, refusal + b"\n"


def _status(error: FillgenError) -> int:
    if isinstance(error, NoPhraseError):
        return NONE
    return CLASH if isinstance(error, OutputError) else BAD


def error_of(error: FillgenError) -> bytes:
    """An error as JSON; `start` and `end` are the characters at fault of a chart, as JavaScript counts them."""
    marked = {name: getattr(error, name) for name in ("start", "end") if hasattr(error, name)}
    return error_bytes(error.message, place=error.place, hint=error.hint, **marked)


def work(asks: BinaryIO, tells: BinaryIO) -> None:
    """Answer questions until the pipe is closed."""
    while (content := _next(asks)) is not None:
        for kind, part in answered(Question.read(content)):
            tells.write(frame(kind, part))
            tells.flush()


def _next(asks: BinaryIO) -> bytes | None:
    prefix = asks.read(PREFIX)
    if len(prefix) < PREFIX:
        return None
    length = length_of(prefix)
    content = asks.read(length)
    return content if len(content) == length else None


def main() -> None:
    """Be a worker: questions come on standard input, answers go to what was standard output."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    asks = os.fdopen(os.dup(0), "rb")
    tells = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints must not come between the frames
    import fillgen.server.answers  # noqa: F401, PLC0415 - loaded before the first question comes

    limit_memory(MOST_MEMORY)
    try:
        work(asks, tells)
    except BrokenPipeError:
        sys.exit(0)
