"""A page that runs in this process, and raw requests to it: for the tests and the bench of the server."""

from __future__ import annotations

import contextlib
import http.client
import json
import socket
import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from fillgen.server.guard import Door
from fillgen.server.serving import loopback, page_of, server_of

WAIT = 120.0
"""Seconds after which a test gives up; nothing here depends on how quick a machine is."""


@dataclass
class Said:
    """An answer as it came."""

    status: int
    headers: dict[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)

    @property
    def lines(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self.body.splitlines()]


@dataclass
class Page:
    """A running page."""

    door: Door
    logged: list[str] = field(default_factory=list)

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.door.port}"

    @property
    def root(self) -> str:
        return f"/{self.door.token}/"

    def get(self, what: str, **headers: str) -> Said:
        return self.ask("GET", what, headers=headers)

    def post(self, what: str, document: Any) -> Said:
        return self.ask("POST", what, json.dumps(document).encode())

    def ask(
        self, method: str, what: str, body: bytes | None = None, headers: Mapping[str, str] | None = None
    ) -> Said:
        usual = {"Origin": self.origin, "Content-Type": "application/json"} if body is not None else {}
        link = http.client.HTTPConnection("127.0.0.1", self.door.port, timeout=WAIT)
        try:
            link.request(method, self.root + what, body, {**usual, **(headers or {})})
            came = link.getresponse()
            return Said(came.status, {k.lower(): v for k, v in came.getheaders()}, came.read())
        finally:
            link.close()

    def raw(self, sent: bytes) -> bytes:
        """All that is answered to some bytes until the server closes; what does not come to an end is given up."""
        with socket.create_connection(("127.0.0.1", self.door.port), timeout=WAIT) as link:
            with contextlib.suppress(OSError):  # it may close before all is sent
                link.sendall(sent)
            return _all(link)


def _all(link: socket.socket) -> bytes:
    found = b""
    with contextlib.suppress(ConnectionError):
        while part := link.recv(65536):
            found += part
    return found


@contextlib.contextmanager
def running(book: str | None = None, chart: str = "") -> Iterator[Page]:
    """A page that serves while the block runs."""
    with loopback() as (listening, door):
        page = Page(door)
        server = server_of(page_of(door, chart=chart, book=book, log=page.logged.append))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        try:
            yield page
        finally:
            server.should_exit = True
            thread.join(WAIT)
            assert not thread.is_alive()
