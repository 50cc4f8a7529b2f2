"""The page stays awake: whoever asks too much, leaves, or never comes to the point costs the others nothing."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import socket
import sys

import pytest

from fillgen.server import serving
from fillgen.server.frames import Question
from fillgen.server.guard import Door
from fillgen.server.workers import Workers
from tests.properties.local_page import WAIT, Page, running

HANGING = "import sys, time; sys.stdin.buffer.read(1); time.sleep(600)"
"""A worker that takes a question and never answers."""
PICKY = (
    "import sys, time\n"
    "while True:\n"
    "    head = sys.stdin.buffer.read(5)\n"
    "    if not head: break\n"
    "    asked = sys.stdin.buffer.read(int.from_bytes(head[1:], 'big'))\n"
    "    if b'\"ideas\"' in asked: time.sleep(600)\n"
    '    for kind, part in ((b\'h\', b\'{"status": 200, "kind": "application/json", "name": ""}\'), (b\'e\', b\'\')):\n'
    "        sys.stdout.buffer.write(kind + len(part).to_bytes(4, 'big') + part)\n"
    "    sys.stdout.buffer.flush()\n"
)
"""A worker that answers everything but ideas."""
FLOODING = (
    "import sys\n"
    "sys.stdin.buffer.read(1)\n"
    'head = b\'{"status": 200, "kind": "application/x-ndjson", "name": ""}\'\n'
    "sys.stdout.buffer.write(b'h' + len(head).to_bytes(4, 'big') + head)\n"
    "while True: sys.stdout.buffer.write(b'd' + (60_000).to_bytes(4, 'big') + bytes(60_000))\n"
)
"""A worker whose answer never ends."""


def test_an_answer_that_is_left_in_the_middle_is_stopped() -> None:
    """A reader who goes while more comes than anybody takes: the worker ends, and the next question finds another."""

    async def ask() -> list[bytes]:
        command = (sys.executable, "-c", FLOODING)
        found = []
        async with Workers(1, limit=WAIT, command=command) as workers:
            for _ in range(2):
                answer = await workers.ask(Question("ideas", {}))
                parts = answer.parts()
                found.append(await anext(parts))
                await parts.aclose()
                await asyncio.wait(set(workers._at_work))
        return found

    assert [len(part) for part in asyncio.run(ask())] == [60_000, 60_000]


def test_work_that_nobody_waits_for_is_stopped() -> None:
    """An asker who goes before the answer begins frees the worker, which is replaced, long before the time is up."""

    async def ask() -> tuple[int, int]:
        command = (sys.executable, "-c", HANGING)
        async with Workers(1, limit=WAIT, command=command) as workers:
            (first,) = workers._alive
            asking = asyncio.create_task(workers.ask(Question("ideas", {})))
            while not workers._at_work:
                await asyncio.sleep(0)
            asking.cancel()
            await asyncio.wait({asking})
            await asyncio.wait(set(workers._at_work))
            assert first.returncode is not None
            return len(workers._alive), len(workers._at_work)

    assert asyncio.run(ask()) == (1, 0)


def test_quick_questions_keep_a_worker() -> None:
    """However many long questions are asked, a quick one is answered at once."""

    async def ask() -> int:
        command = (sys.executable, "-c", PICKY)
        async with Workers(3, limit=WAIT, wait=WAIT, command=command) as workers:
            long = [asyncio.create_task(workers.ask(Question("ideas", {}))) for _ in range(6)]
            await asyncio.sleep(0)
            answer = await workers.ask(Question("chart", {}))
            assert not any(task.done() for task in long)
            for task in long:
                task.cancel()
            await asyncio.wait(long)
            return answer.status

    assert asyncio.run(ask()) == 200


def test_an_idle_worker_that_was_killed_is_replaced_unseen() -> None:
    """The question after a worker died is answered, not refused."""

    async def ask() -> list[int]:
        async with Workers(2) as workers:
            first = await workers.ask(Question("chart", {}, b'{"chart": "| Ab | Eb7 |"}'))
            await first.whole()
            for process in tuple(workers._alive):
                os.kill(process.pid, signal.SIGKILL)
            second = await workers.ask(Question("chart", {}, b'{"chart": "| Ab | Eb7 |"}'))
            return [first.status, second.status]

    assert asyncio.run(ask()) == [200, 200]


def test_a_client_that_goes_stops_its_work() -> None:
    """The connection of a long question is closed: its worker is free again, and nothing is logged as a fault."""
    body = json.dumps({"chart": "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", "count": 200}).encode()
    with running() as page:
        page.post("api/chart", {"chart": "| Ab |"})
        with socket.create_connection(("127.0.0.1", page.door.port), timeout=WAIT) as link:
            link.sendall(_head(page, "api/ideas", len(body)) + body)
        assert page.post("api/chart", {"chart": "| Ab | Eb7 |"}).status == 200
        assert page.logged == []


def _head(page: Page, what: str, length: int) -> bytes:
    return (
        f"POST {page.root}{what} HTTP/1.1\r\nHost: 127.0.0.1:{page.door.port}\r\nOrigin: {page.origin}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {length}\r\n\r\n"
    ).encode()


@pytest.mark.parametrize("begun", [b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: x"])
def test_half_sent_heads_are_closed(monkeypatch: pytest.MonkeyPatch, begun: bytes) -> None:
    """A connection on which no whole request comes is closed by the server."""
    monkeypatch.setattr(serving, "_HEAD_SECONDS", 0.05)
    with running() as page, socket.create_connection(("127.0.0.1", page.door.port), timeout=WAIT) as link:
        link.sendall(begun)
        assert link.recv(100) == b""


def test_a_connection_at_rest_is_not_half_a_request(monkeypatch: pytest.MonkeyPatch) -> None:
    """After an answer a browser keeps its connection: the clock for heads does not run then."""
    monkeypatch.setattr(serving, "_HEAD_SECONDS", 0.05)
    with running() as page, socket.create_connection(("127.0.0.1", page.door.port), timeout=WAIT) as link:
        asked = f"GET {page.root}api/book HTTP/1.1\r\nHost: 127.0.0.1:{page.door.port}\r\n\r\n".encode()
        for _ in range(2):
            link.sendall(asked)
            assert link.recv(15) == b"HTTP/1.1 200 OK"
            rest = link.recv(65536)
            while b"}" not in rest:
                rest += link.recv(65536)
            page.get("api/book")


# The address


def test_a_code_leads_to_the_page_once() -> None:
    """The browser's command line has a code that is used up when the page opens."""
    with running() as page:
        opened = f"GET /{page.door.code} HTTP/1.1\r\nHost: 127.0.0.1:{page.door.port}\r\n\r\n".encode()
        first, second = page.raw(opened), page.raw(opened)
    assert first.startswith(b"HTTP/1.1 303")
    assert f"location: {page.root}".encode() in first.lower().replace(
        page.root.lower().encode(), page.root.encode()
    )
    assert second.startswith(b"HTTP/1.1 404")


def test_the_token_is_not_in_what_the_browser_is_given(monkeypatch: pytest.MonkeyPatch) -> None:
    door = Door("secret-token", 8000, "one-time")
    assert door.token not in door.once


def test_an_old_address_says_what_to_do() -> None:
    """A reader who comes back after a restart gets a page in words; a script gets an error it can read."""
    with running() as page:
        old = f"GET /an-old-token/ HTTP/1.1\r\nHost: 127.0.0.1:{page.door.port}\r\n"
        seen = page.raw(f"{old}Accept: text/html\r\n\r\n".encode())
        script = page.raw(f"{old}\r\n".encode())
    assert seen.startswith(b"HTTP/1.1 404")
    assert b"text/html" in seen
    assert b"<code>fillgen page</code>" in seen
    assert page.door.token.encode() not in seen + script
    assert json.loads(script.split(b"\r\n\r\n")[1])["error"]["hint"]
