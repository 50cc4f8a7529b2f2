"""The workers of a server: processes that answer, each killed and replaced where it takes too long or dies."""

from __future__ import annotations

import asyncio
import contextlib
import json
from asyncio.subprocess import PIPE, Process
from collections.abc import AsyncIterator, Callable, Sequence
from typing import Any

from fillgen.readers.confined import command
from fillgen.server.frames import (
    DATA,
    END,
    HEAD,
    JSON,
    LINES,
    PREFIX,
    QUESTION,
    Question,
    error_bytes,
    frame,
    json_bytes,
    length_of,
    silent,
)

LIMIT = 20.0
"""Seconds that an answer may take."""
WAIT = 30.0
"""Seconds that a question waits for a worker."""
_FAREWELL = 1.0
"""Seconds that idle workers have to end by themselves."""
QUICK = frozenset(
    {"start", "chart", "notes", "why", "sequences", "sequences-find", "book", "book-search", "book-change"}
)
"""The questions that are answered in a moment: a worker of their own is always there for them."""
_PIECE = 1 << 16
UNABLE = 503
"""The HTTP status where no worker could answer."""
COMMAND = command("fillgen.server.process")
"""What a worker is started with."""

Log = Callable[[str], None]
_Frame = tuple[bytes, bytes]
_Frames = asyncio.Queue[_Frame]


class Answer:
    """An answer on its way: its status, media type and name, and its parts as they come."""

    def __init__(self, head: bytes, frames: _Frames, work: asyncio.Task[None] | None = None) -> None:
        answer: dict[str, Any] = json.loads(head)
        self.status: int = answer["status"]
        self.kind: str = answer["kind"]
        self.name: str = answer["name"]
        self._frames = frames
        self._work = work

    async def parts(self) -> AsyncIterator[bytes]:
        """The parts as they come. Whoever stops before the end abandons the work on the rest."""
        ended = False
        try:
            while True:
                kind, content = await self._frames.get()
                if kind == END:
                    ended = True
                    return
                yield content
        finally:
            if not ended:
                self.abandon()

    def abandon(self) -> None:
        """Stop the work on an answer that nobody is waiting for."""
        if self._work is not None:
            self._work.cancel()

    async def whole(self) -> bytes:
        """All parts at once."""
        return b"".join([part async for part in self.parts()])


class Workers:
    """Some worker processes: `most` at a time, `limit` seconds an answer, `wait` seconds until one must be free.

    One of them is kept for quick questions: those that take long have the others. A context manager; `log` is given a line for each fault. A question that no worker could answer gets an answer of status 503.
    """

    def __init__(
        self,
        most: int = 2,
        *,
        limit: float = LIMIT,
        wait: float = WAIT,
        log: Log = silent,
        command: Sequence[str] = COMMAND,
    ) -> None:
        self._free = asyncio.Semaphore(most)
        self._for_long = asyncio.Semaphore(max(1, most - 1))
        self._idle: list[Process] = []
        self._alive: set[Process] = set()
        self._proven: set[Process] = set()
        self._at_work: set[asyncio.Task[None]] = set()
        self._closing = False
        self._limit, self._wait = limit, wait
        self._log = log
        self._command = command

    async def __aenter__(self) -> Workers:
        self._idle.append(await self._started())
        return self

    async def __aexit__(self, *_: object) -> None:
        self._closing = True
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(_FAREWELL):
                await asyncio.gather(*map(_farewell, self._idle))
        for process in tuple(self._alive):
            _kill(process)
        await asyncio.gather(*self._at_work)
        for process in tuple(self._alive):
            await self._end(process)

    async def ask(self, question: Question) -> Answer:
        """The answer to a question as soon as it begins; work is stopped when the client disconnects."""
        frames: _Frames = asyncio.Queue()
        try:
            async with asyncio.timeout(self._wait):
                await self._room(question)
        except TimeoutError:
            _tell(frames, "", "fillgen is busy", "Try again in a moment.")
            return Answer((await frames.get())[1], frames)
        work = asyncio.create_task(self._answer(question, frames))
        self._at_work.add(work)
        work.add_done_callback(self._at_work.discard)
        try:
            _, head = await frames.get()
        except asyncio.CancelledError:
            work.cancel()
            raise
        return Answer(head, frames, work)

    async def _room(self, question: Question) -> None:
        """Wait until a worker may take a question."""
        if question.name in QUICK:
            await self._free.acquire()
            return
        await self._for_long.acquire()
        try:
            await self._free.acquire()
        except BaseException:
            self._for_long.release()
            raise

    def _leave(self, question: Question) -> None:
        """Make room for the next question."""
        self._free.release()
        if question.name not in QUICK:
            self._for_long.release()

    async def _started(self) -> Process:
        process = await asyncio.create_subprocess_exec(
            *self._command, stdin=PIPE, stdout=PIPE, start_new_session=True
        )
        self._alive.add(process)
        if self._closing:  # it was asked for before that was known
            _kill(process)
        return process

    async def _end(self, process: Process) -> None:
        _kill(process)
        await _drained(process)
        await process.wait()
        self._alive.discard(process)
        self._proven.discard(process)

    async def _worker(self) -> Process:
        while self._idle:
            process = self._idle.pop()
            if process.returncode is None:
                return process
            await self._end(process)
        return await self._started()

    async def _answer(self, question: Question, frames: _Frames) -> None:
        """Have a worker answer; one that fails is ended, and another is started in its place."""
        begun: list[str] = []
        process = None
        try:
            process = await self._worker()
            async with asyncio.timeout(self._limit):
                process = await self._passed_on(process, question, frames, begun)
            self._proven.add(process)
            self._idle.append(process)
        except asyncio.CancelledError:  # the client has gone
            if process is not None:
                await self._replaced(process)
        except TimeoutError:
            self._log(f"{question.name}: stopped after {self._limit:g} seconds")
            message = f"stopped after {self._limit:g} seconds: this takes too long"
            await self._failed(process, frames, begun, message, "Ask for fewer bars or ideas.")
        except (OSError, EOFError):
            if not self._closing:
                self._log(f"{question.name}: the process that answered ended")
            message = "the page was stopped" if self._closing else "the work on this ended early"
            await self._failed(process, frames, begun, message, "Try again.")
        except Exception as error:  # whatever a worker sends, the client gets an answer
            self._log(f"{question.name}: {type(error).__name__}: {error}")
            await self._failed(process, frames, begun, "the work on this ended early", "Try again.")
        finally:
            self._leave(question)

    async def _passed_on(
        self, process: Process, question: Question, frames: _Frames, begun: list[str]
    ) -> Process:
        """Pass on an answer; a worker that was found dead is replaced once. The worker that answered."""
        try:
            await self._pass_on(process, question, frames, begun)
        except (OSError, EOFError):
            was_idle = process in self._proven
            await self._end(process)
            if begun or self._closing or not was_idle:
                raise
            process = await self._started()
            await self._pass_on(process, question, frames, begun)
        return process

    async def _failed(
        self, process: Process | None, frames: _Frames, begun: Sequence[str], message: str, hint: str
    ) -> None:
        """Say that an answer failed, end its worker, and have another ready."""
        _tell(frames, "".join(begun), message, hint)
        await self._replaced(process)

    async def _replaced(self, process: Process | None) -> None:
        """End a worker, and have another ready."""
        if process is not None:
            await self._end(process)
        if not self._closing:
            with contextlib.suppress(OSError):
                self._idle.append(await self._started())

    async def _pass_on(self, process: Process, question: Question, frames: _Frames, begun: list[str]) -> None:
        """Pass on the frames of an answer up to its end; `begun` holds its media type once it is known."""
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write(frame(QUESTION, question.packed()))
        await process.stdin.drain()
        kind = b""
        while kind != END:
            prefix = await process.stdout.readexactly(PREFIX)
            kind, content = prefix[:1], await process.stdout.readexactly(length_of(prefix))
            if kind == HEAD:
                begun.append(json.loads(content)["kind"])
            if kind == END and content:
                self._log(content.decode())
            frames.put_nowait((kind, content))


def _tell(frames: _Frames, begun: str, message: str, hint: str) -> None:
    """An error as an answer, or as the last line of one that had begun."""
    content = error_bytes(message, hint=hint)
    if not begun:
        frames.put_nowait((HEAD, json_bytes({"status": UNABLE, "kind": JSON, "name": ""})))
    if begun in ("", LINES):
        frames.put_nowait((DATA, content + b"\n"))
    frames.put_nowait((END, b""))


async def _drained(process: Process) -> None:
    """Read what a killed worker had written: its end isn't seen while a full pipe waits to be read."""
    assert process.stdout is not None
    with contextlib.suppress(OSError):
        while await process.stdout.read(_PIECE):
            pass


async def _farewell(process: Process) -> None:
    """Let a worker that has nothing to do end by itself."""
    if process.stdin is not None:
        process.stdin.close()
    await process.wait()


def _kill(process: Process) -> None:
    with contextlib.suppress(ProcessLookupError):
        process.kill()
