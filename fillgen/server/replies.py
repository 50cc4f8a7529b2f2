"""How answers are sent: as one document, or a document a line."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from fillgen.page.data import Stage
from fillgen.server.fields import Fields, document_of
from fillgen.server.frames import JSON, LINES, Question, Reply, json_bytes


def fields_of(question: Question) -> Fields:
    """The fields of a question's body; OptionError where it is no JSON object."""
    return Fields(document_of(question.body))


def document_reply(document: Mapping[str, Any]) -> Reply:
    """An answer that is one document."""
    return Reply(JSON, [json_bytes(document)])


def lines_reply(documents: Iterable[Mapping[str, Any]]) -> Reply:
    """An answer that is a document a line, each made when the one before is on its way."""
    return Reply(LINES, (json_bytes(document) + b"\n" for document in documents))


_FIRST, _PIECE = 2, 10
"""How many ideas are engraved at a time: few at first, so that something is seen soon, then as many as are quick."""


def staged(stage: Stage, numbers: Sequence[int], remarks: Sequence[str]) -> Iterator[dict[str, Any]]:
    """What ideas share, then each as it is engraved, with its number in the book, then what there is to say.

    A sign of the music font comes with the first idea that needs it.
    """
    yield {"whole": stage.whole()}
    known: set[str] = set()
    for first, last in _pieces(len(stage.ideas)):
        found = stage.some(stage.ideas[first:last])
        fresh = {name: drawn for name, drawn in found["glyphs"].items() if name not in known}
        known.update(fresh)
        for index, idea in enumerate(found["ideas"], first):
            glyphs = fresh if index == first else {}
            yield {"idea": {**idea, "glyphs": glyphs, "book": numbers[index] if numbers else None}}
    yield {"done": {"count": len(stage.ideas), "remarks": list(remarks)}}


def _pieces(count: int) -> Iterator[tuple[int, int]]:
    """Where each piece begins, and where the next does.

    >>> list(_pieces(15))
    [(0, 2), (2, 12), (12, 15)]
    """
    first, last = 0, min(_FIRST, count)
    while first < count:
        yield first, last
        first, last = last, min(last + _PIECE, count)
