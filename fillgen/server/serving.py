"""The server itself: bound to the loopback interface, and to the local network if asked; run until stopped."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import secrets
import socket
import sys
from collections.abc import Callable, Iterator, Sequence

import h11
import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from fillgen.errors import OptionError, OutputError
from fillgen.page import ASSETS, asset, shell
from fillgen.server.addresses import ADDRESS_HINT, PORT, new_token, short_token
from fillgen.server.app import MADE, Site, app_of
from fillgen.server.frames import silent
from fillgen.server.guard import LOOPBACK, Door, Log
from fillgen.server.workers import Workers

_WAITING = 128
"""Connections that may wait to be taken."""
_AT_ONCE = 200
_HEAD_SECONDS = 5.0
"""Seconds in which the head of a request must have come."""
_LONGEST_HEAD = 16_384
"""The longest head of a request, in bytes."""


@contextlib.contextmanager
def loopback(port: int | None = 0, token: str = "") -> Iterator[tuple[socket.socket, Door]]:
    """A socket that listens on 127.0.0.1, and its door, with a new token unless one is given.

    Port 0 takes a free one; None takes `PORT`, or a free one if that is taken. OptionError if the port given is in use or
    may not be used.
    """
    if port is not None and not 0 <= port <= 65535:
        raise OptionError(f"the port is {port}", hint="Give 1 to 65535, or leave it out.")
    with _listening(LOOPBACK, (PORT, 0) if port is None else (port,)) as listening:
        found = listening.getsockname()[1]
        yield listening, Door(token or new_token(), found, secrets.token_urlsafe(12))


@contextlib.contextmanager
def network(address: str, port: int) -> Iterator[tuple[socket.socket, Door]]:
    """A socket that listens on an address of this computer in the local network, and its door with a new token.

    It has the port given, or a free one if that is taken. OptionError if the address can't be used.
    """
    with _listening(address, (port, 0)) as listening:
        yield listening, Door(short_token(), listening.getsockname()[1], host=address)


def _listening(host: str, ports: Sequence[int]) -> socket.socket:
    """A socket that listens on the first of some ports that can be had; OptionError if none can."""
    for port in ports[:-1]:
        with contextlib.suppress(OSError):
            return _bound(host, port)
    port = ports[-1]
    try:
        return _bound(host, port)
    except OSError as error:
        if error.errno == errno.EADDRNOTAVAIL:
            raise OptionError(f"{host} is not an address of this computer", hint=ADDRESS_HINT) from None
        why = "is in use" if error.errno == errno.EADDRINUSE else f"cannot be used: {error.strerror}"
        hint = "Give another --port, or leave it out."
        raise OptionError(f"port {port} {why}", hint=hint) from None


def _bound(host: str, port: int) -> socket.socket:
    """A socket that listens."""
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform != "win32":  # there the option would let two programs have one port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind((host, port))
        listening.listen(_WAITING)
    except OSError:
        listening.close()
        raise
    return listening


class PromptProtocol(H11Protocol):
    """Requests over HTTP/1.1 whose heads must come in time: a connection on which one doesn't is closed."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Wait for the first request."""
        super().connection_made(transport)
        self._overdue: asyncio.TimerHandle | None = None
        self._watch()

    def data_received(self, data: bytes) -> None:
        """Take what has come, and watch the clock while a head isn't whole."""
        super().data_received(data)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop watching."""
        self._unwatch()
        super().connection_lost(exc)

    def _watch(self) -> None:
        if self.conn.their_state is not h11.IDLE:
            self._unwatch()
        elif self._overdue is None:
            self._overdue = self.loop.call_later(_HEAD_SECONDS, self._close)

    def _unwatch(self) -> None:
        if self._overdue is not None:
            self._overdue.cancel()
            self._overdue = None

    def _close(self) -> None:
        self._overdue = None
        if self.conn.their_state is h11.IDLE:
            self.transport.close()


class PageServer(uvicorn.Server):
    """A server that calls `ready` as soon as it answers."""

    def __init__(self, config: uvicorn.Config, ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._ready = ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            self._ready()


def server_of(app: ASGIApp, ready: Callable[[], None] = lambda: None) -> PageServer:
    """A server for an application; it says nothing of itself, and logs only what breaks."""
    return PageServer(
        uvicorn.Config(
            app,
            http=PromptProtocol,
            ws="none",
            lifespan="on",
            loop="asyncio",
            log_config=None,
            log_level="critical",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            limit_concurrency=_AT_ONCE,
            h11_max_incomplete_event_size=_LONGEST_HEAD,
            timeout_keep_alive=30,
            timeout_graceful_shutdown=1,
        ),
        ready,
    )


def serve(app: ASGIApp, listening: list[socket.socket], ready: Callable[[], None] = lambda: None) -> None:
    """Serve on some sockets until Ctrl-C or a signal to end; `ready` is called once the page can be opened.

    OutputError where the page cannot be started, such as where no process can be.
    """
    server = server_of(app, ready)
    with contextlib.suppress(KeyboardInterrupt, SystemExit):  # it ends so where starting fails
        server.run(sockets=listening)
    if not server.started:
        hint = "Its workers may not have been allowed to start. Try again, or restart the computer."
        raise OutputError("cannot be started", place="the page", hint=hint)


def page_of(*doors: Door, chart: str = "", book: str | None = None, log: Log = silent) -> ASGIApp:
    """The page behind its doors, with a chart to begin with.

    `book` is the file of the idea book, nothing for the usual one, None where nothing shall be remembered.
    """
    workers = Workers(_most_workers(), log=log)
    kinds = {name: kind for name, kind in ASSETS.items() if name not in MADE}
    return app_of(Site(doors, shell, kinds, asset, {"chart": chart, "book": book}), workers, log)


def _most_workers() -> int:
    return max(3, min(5, (os.cpu_count() or 1) + 1))
