"""Ideas engraved in every key of a page, by several processes where that is quicker."""

from __future__ import annotations

import base64
import gzip
import multiprocessing
import os
import sys
import threading
import warnings
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from fillgen.render.page.data import Stage, json_text

_ROWS = 25
"""How many ideas are engraved at a time."""
_WORTH_A_PROCESS = 100
"""Fewer pictures than these are done sooner alone."""
_MOST_PROCESSES = 8
_stages: list[Stage] = []
"""What a worker process engraves, given to it when it begins."""

_Piece = tuple[int, int, int]
"""A key, by its shift, and the first idea and the one after the last to be engraved in it."""


@dataclass(frozen=True)
class Looks:
    """A page's ideas in its own key, as documents, with their glyphs; each other key packed: gzip in base64, by its shift."""

    ideas: tuple[dict[str, Any], ...]
    glyphs: dict[str, str]
    packed: dict[int, str]


def looks(stage: Stage, shifts: Sequence[int], processes: int | None = None) -> Looks:
    """All ideas in all keys; `processes` is how many work at it, as many as there are cores where it is left out."""
    others = [shift for shift in shifts if shift]
    count = len(stage.ideas)
    pieces = [
        (shift, first, min(first + _ROWS, count))
        for shift in (0, *others)
        for first in range(0, count, _ROWS)
    ]
    usual = _usual_processes(count * (len(others) + 1))
    found = _all(stage, pieces, usual if processes is None else processes)
    own = [part for piece, part in zip(pieces, found, strict=True) if not piece[0]]
    return Looks(
        tuple(each for part in own for each in part["ideas"]),
        {name: glyph for part in own for name, glyph in part["glyphs"].items()},
        {shift: packed(_joined(stage, shift, pieces, found)) for shift in others},
    )


def packed(document: dict[str, Any]) -> str:
    """A document as JSON, compressed by gzip, in base64."""
    return base64.b64encode(gzip.compress(json_text(document).encode(), 6, mtime=0)).decode("ascii")


def _joined(
    stage: Stage, shift: int, pieces: Sequence[_Piece], found: Sequence[dict[str, Any]]
) -> dict[str, Any]:
    """The look of a key from its parts."""
    head = stage.look(shift, ())
    for piece, part in zip(pieces, found, strict=True):
        if piece[0] == shift:
            head["ideas"].update(part["ideas"])
            head["glyphs"].update(part["glyphs"])
    return head


def _engraved(stage: Stage, piece: _Piece) -> dict[str, Any]:
    shift, first, last = piece
    ideas = stage.ideas.ideas[first:last]
    return stage.look(shift, ideas) if shift else stage.some(ideas)


# Processes


def _usual_processes(pictures: int) -> int:
    if pictures < _WORTH_A_PROCESS or threading.active_count() > 1:
        return 1
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(_MOST_PROCESSES, cores)


def _all(stage: Stage, pieces: Sequence[_Piece], processes: int) -> list[dict[str, Any]]:
    """Every piece in order. Where processes cannot be had or die, this one does what is left."""
    if processes < 2:
        return [_engraved(stage, piece) for piece in pieces]
    try:
        with _pool(stage, processes) as pool:
            waiting = [pool.submit(_work, piece) for piece in pieces]
            return [_result(stage, *each) for each in zip(waiting, pieces, strict=True)]
    except (OSError, ImportError, BrokenProcessPool):
        return [_engraved(stage, piece) for piece in pieces]


def _result(stage: Stage, waiting: Future[dict[str, Any]], piece: _Piece) -> dict[str, Any]:
    try:
        return waiting.result()
    except BrokenProcessPool:
        return _engraved(stage, piece)


@contextmanager
def _pool(stage: Stage, processes: int) -> Iterator[ProcessPoolExecutor]:
    """Worker processes: copies of this one on Linux, which begin at once, new ones elsewhere."""
    way = "fork" if sys.platform == "linux" else "spawn"
    context = multiprocessing.get_context(way)
    with warnings.catch_warnings():
        # the threads of numerical libraries wait for work and hold no lock
        warnings.simplefilter("ignore", DeprecationWarning)
        pool = ProcessPoolExecutor(processes, mp_context=context, initializer=_begin, initargs=(stage,))
        try:
            yield pool
        finally:
            pool.shutdown(cancel_futures=True)


def _begin(stage: Stage) -> None:
    _stages[:] = [stage]


def _work(piece: _Piece) -> dict[str, Any]:
    return _engraved(_stages[0], piece)
