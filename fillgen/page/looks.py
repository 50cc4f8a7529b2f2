"""Ideas engraved in every key of a page, by several processes if that is faster."""

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

from fillgen.page.data import Stage, json_text
from fillgen.phrase.idea import Idea

_ROWS = 25
"""The number of ideas engraved at a time."""
_WORTH_A_PROCESS = 100
"""The fewest pictures for which several processes are faster."""
_MOST_PROCESSES = 8
_SYSTEM, _UNKNOWN = 9, 255
"""The byte of gzip's header that names the system, and its value for an unknown one."""
_stages: list[Stage] = []
"""The stage of a worker process, set when it starts."""


@dataclass(frozen=True)
class Looks:
    """A page's ideas in its own key, as documents with their glyphs; the other keys, by shift, as gzip in base64."""

    ideas: tuple[dict[str, Any], ...]
    glyphs: dict[str, str]
    packed: dict[int, str]


def looks(stage: Stage, shifts: Sequence[int], processes: int | None = None) -> Looks:
    """All ideas in all keys, by a number of processes; the default is one per core if there is enough to do."""
    others = [shift for shift in shifts if shift]
    usual = _usual_processes(len(stage.ideas) * (len(others) + 1))
    own, *packed_ones = _all(stage, [0, *others], usual if processes is None else processes)
    return Looks(tuple(own["ideas"]), own["glyphs"], dict(zip(others, packed_ones, strict=True)))


def packed(document: dict[str, Any]) -> str:
    """A document as JSON, compressed and in base64."""
    return packed_text(json_text(document))


def packed_text(text: str) -> str:
    """A text compressed by gzip, in base64; the same on every system.

    Source: RFC 1952, section 2.3.1: byte 9 names the system, and 255 means unknown.
    """
    found = bytearray(gzip.compress(text.encode(), 6, mtime=0))
    found[_SYSTEM] = _UNKNOWN
    return base64.b64encode(found).decode("ascii")


def _engraved(stage: Stage, shift: int) -> Any:
    """All ideas in one key: packed, except in the page's own key, so that little goes from process to process."""
    ideas = stage.ideas.ideas
    rows = [ideas[first : first + _ROWS] for first in range(0, len(ideas), _ROWS)]
    if shift == 0:
        return _own([_explained(stage, row) for row in rows])
    head = stage.look(shift, ())
    for row in rows:
        part = stage.look(shift, row)
        head["ideas"].update(part["ideas"])
        head["glyphs"].update(part["glyphs"])
    return packed(head)


def _explained(stage: Stage, row: Sequence[Idea]) -> dict[str, Any]:
    """Some ideas in the page's own key, with the reason for each note: no server answers in a file."""
    found = stage.some(row)
    why = [stage.reasons(idea) for idea in row]
    return {**found, "ideas": [{**each, "why": said} for each, said in zip(found["ideas"], why, strict=True)]}


def _own(parts: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """The ideas of the page's own key from their parts."""
    return {
        "ideas": [idea for part in parts for idea in part["ideas"]],
        "glyphs": {name: glyph for part in parts for name, glyph in part["glyphs"].items()},
    }


# Processes


def _usual_processes(pictures: int) -> int:
    if pictures < _WORTH_A_PROCESS or threading.active_count() > 1:
        return 1
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(_MOST_PROCESSES, cores)


def _all(stage: Stage, shifts: Sequence[int], processes: int) -> list[Any]:
    """Every key in order. If processes can't be started or die, this one does the rest."""
    if processes < 2:
        return [_engraved(stage, shift) for shift in shifts]
    try:
        with _pool(stage, processes) as pool:
            waiting = [pool.submit(_work, shift) for shift in shifts]
            return [_result(stage, *each) for each in zip(waiting, shifts, strict=True)]
    except (OSError, ImportError, BrokenProcessPool):
        return [_engraved(stage, shift) for shift in shifts]


def _result(stage: Stage, waiting: Future[Any], shift: int) -> Any:
    try:
        return waiting.result()
    except BrokenProcessPool:
        return _engraved(stage, shift)


@contextmanager
def _pool(stage: Stage, processes: int) -> Iterator[ProcessPoolExecutor]:
    """Worker processes: forks of this one on Linux, which start at once, new ones elsewhere."""
    way = "fork" if sys.platform == "linux" else "spawn"
    context = multiprocessing.get_context(way)
    with warnings.catch_warnings():
        # the threads of numerical libraries are idle and hold no lock
        warnings.simplefilter("ignore", DeprecationWarning)
        pool = ProcessPoolExecutor(processes, mp_context=context, initializer=_begin, initargs=(stage,))
        try:
            yield pool
        finally:
            pool.shutdown(cancel_futures=True)


def _begin(stage: Stage) -> None:
    _stages[:] = [stage]


def _work(shift: int) -> Any:
    return _engraved(_stages[0], shift)
