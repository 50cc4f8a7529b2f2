"""Access control: only requests from the page itself get through.

The address holds a random token; Host must be the address and port of the socket that was reached, so that a name made to
point here (DNS rebinding) doesn't help; a POST must come from the page's own origin, as JSON, which no form of another site can
send. A page that is shared has two doors with a token each: one on the loopback interface, one in the local network.
Sources: RFC 9110 (Host, methods), the Fetch standard (Origin, Sec-Fetch-Site), Content Security Policy level 3.
"""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from fillgen.errors import shorten
from fillgen.server.frames import JSON, error_bytes, silent
from fillgen.server.process import OUR_FAULT

MOST_BODY = 1_000_000
"""The longest body of a request, in bytes."""
BODY_SECONDS = 10.0
"""Seconds in which a body must have come."""
_MOST_HEADERS, _MOST_HEAD = 100, 16_384
"""The most headers of a request, and the most bytes of all of them."""
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self' data:; "
    "connect-src 'self'; media-src 'self' blob:; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
)
HEADERS = (
    ("Content-Security-Policy", POLICY),
    ("X-Content-Type-Options", "nosniff"),
    ("Referrer-Policy", "no-referrer"),
    ("Cross-Origin-Opener-Policy", "same-origin"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
    ("Permissions-Policy", "midi=(self), camera=(), microphone=(), geolocation=()"),
    ("Cache-Control", "no-store"),
)
"""What every answer carries."""
_RAW = [(name.lower().encode(), value.encode()) for name, value in HEADERS]

Log = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a request is refused: an HTTP status and a message."""

    status: int
    message: str
    hint: str = ""


LOOPBACK = "127.0.0.1"
_HTTP_PORT = 80


@dataclass(frozen=True, slots=True)
class Door:
    """A way in to the page: its token, its port, a one-time code, and this computer's IPv4 address.

    The code is for the browser's command line, which every user of the computer can read.

    >>> Door("abc", 8000).address
    'http://127.0.0.1:8000/abc/'
    """

    token: str
    port: int
    code: str = ""
    host: str = LOOPBACK

    @property
    def once(self) -> str:
        """An address that leads to the page once."""
        return f"http://{self.host}:{self.port}/{self.code}"

    @property
    def address(self) -> str:
        return f"http://{self.host}:{self.port}/{self.token}/"

    @property
    def is_shared(self) -> bool:
        return self.host != LOOPBACK

    @property
    def hosts(self) -> tuple[str, ...]:
        """The hosts a browser may name; it leaves out port 80, the default of HTTP."""
        names = (self.host,) if self.is_shared else (self.host, "localhost")
        named = tuple(f"{name}:{self.port}" for name in names)
        return (*named, *names) if self.port == _HTTP_PORT else named

    def path(self, raw: bytes) -> str | None:
        """What follows the token in a path as it was sent; None where it doesn't begin with the token."""
        _, token, *rest = raw.split(b"/", 2) if raw.startswith(b"/") else (b"", b"")
        known = secrets.compare_digest(token, self.token.encode())
        return f"/{rest[0].decode('ascii', 'replace')}" if known and rest else None


class Headers:
    """The headers of a request by name, all values of each."""

    def __init__(self, scope: Scope) -> None:
        self.pairs: list[tuple[bytes, bytes]] = list(scope["headers"])

    @property
    def size(self) -> int:
        return sum(len(name) + len(value) for name, value in self.pairs)

    def every(self, name: str) -> list[str]:
        wanted = name.lower().encode()
        return [value.decode("latin-1") for key, value in self.pairs if key == wanted]

    def one(self, name: str) -> str:
        """The value of a header given exactly once, else nothing."""
        found = self.every(name)
        return found[0] if len(found) == 1 else ""


def refusal(scope: Scope, door: Door) -> Refusal | None:
    """Why a request is refused before its body is read; None where it isn't."""
    headers = Headers(scope)
    if len(headers.pairs) > _MOST_HEADERS or headers.size > _MOST_HEAD:
        return Refusal(431, "the request has too many headers, or too long ones")
    host = headers.one("host")
    if host not in door.hosts:
        return Refusal(403, "the page is not at this address", f"Its address is {door.hosts[0]}.")
    raw: bytes = scope.get("raw_path") or b""
    if door.path(raw) is None:
        return OLD_ADDRESS
    if b"%" in raw or scope.get("query_string"):
        return Refusal(404, "nothing at this address")
    return _foreign(scope, headers, f"http://{host}") or _unreadable(scope, headers)


def _foreign(scope: Scope, headers: Headers, own: str) -> Refusal | None:
    """Whether a request was made by another site. Only the page itself may be opened from elsewhere."""
    site = headers.every("sec-fetch-site")
    opened = scope["method"] in ("GET", "HEAD") and headers.one("sec-fetch-mode") == "navigate"
    if not set(site) <= {"same-origin", "none"} and not opened:
        return Refusal(403, "requests from other sites are refused")
    origin = headers.every("origin")
    needed = scope["method"] not in ("GET", "HEAD")
    if (needed or origin) and origin != [own]:
        return Refusal(403, "requests from other sites are refused", "Only the page itself can ask.")
    return None


def _unreadable(scope: Scope, headers: Headers) -> Refusal | None:
    """Whether a body is there that should not be, or is of a kind or length that cannot be taken."""
    length = headers.one("content-length")
    if scope["method"] in ("GET", "HEAD"):
        has_body = headers.every("transfer-encoding") or length not in ("", "0")
        return Refusal(400, "a request of this kind has no body") if has_body else None
    kind = headers.one("content-type").replace(" ", "").lower()
    if kind not in (JSON, f"{JSON};charset=utf-8"):
        message = f"the content type {shorten(kind)} isn't accepted"
        return Refusal(415, message, f"Send {JSON}.")
    if headers.every("content-encoding"):
        return Refusal(415, "compressed content isn't accepted")
    if length.isdecimal() and (len(length) > 9 or int(length) > MOST_BODY):
        return TOO_LARGE
    return None


OLD_ADDRESS = Refusal(404, "no such page", "Copy the whole address that fillgen page printed.")
_LOST = b"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>fillgen: this address is no longer in use</title></head>
<body><h1>This address is no longer in use</h1>
<p>The page was restarted with a new address. Go to the terminal where <code>fillgen page</code> runs, and open the address
that it printed there. If the page is shared from another computer, ask for its new address, or scan its code again.</p>
</body></html>
"""
"""What a reader sees who comes back to an address that was replaced. It can't link to the new one: only who knows the token
may learn of it."""
TOO_LARGE = Refusal(413, "the request is too large", f"The limit is {MOST_BODY // 1_000_000} MB.")


class Guard:
    """An application behind its doors: it sees only requests that may come in, with their bodies whole.

    A request came through the door whose socket it reached.
    """

    def __init__(self, app: ASGIApp, doors: Sequence[Door], log: Log = silent) -> None:
        self.app = app
        self.log = log
        self._doors = {(door.host, door.port): door for door in doors}
        self._codes = {door: door.code for door in doors}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
        elif scope["type"] == "http":
            await self._http(scope, receive, _Marked(send))

    async def _http(self, scope: Scope, receive: Receive, send: _Marked) -> None:
        door = self._doors.get(tuple(scope.get("server") or ()))
        if door is None:
            await _refuse(send, OLD_ADDRESS)
            return
        refused = refusal(scope, door)
        if refused is OLD_ADDRESS and self._leads_in(scope, door):
            await _answer(send, 303, b"", (b"location", f"/{door.token}/".encode()))
            return
        if refused is OLD_ADDRESS and _is_reader(scope):
            await _answer(send, refused.status, _LOST, (b"content-type", b"text/html; charset=utf-8"))
            return
        if refused is not None:
            await _refuse(send, refused)
            return
        body = await _body(receive)
        if body is None:
            return
        if isinstance(body, Refusal):
            await _refuse(send, body)
            return
        path = door.path(scope["raw_path"])
        inside = {**scope, "path": path, "raw_path": (path or "").encode(), "root_path": ""}
        try:
            await self.app(inside, _Replayed(body, receive), send)
        except Exception as error:  # one request must not break the others
            self.log(f"{scope['method']} {path}: {type(error).__name__}: {shorten(str(error), 200)}")
            if not send.begun:
                await _refuse(send, Refusal(500, OUR_FAULT))

    def _leads_in(self, scope: Scope, door: Door) -> bool:
        """Whether a request has the token without its last slash, or the code that leads to the page once."""
        if scope["method"] != "GET":
            return False
        raw: bytes = scope.get("raw_path") or b""
        if secrets.compare_digest(raw, f"/{door.token}".encode()):
            return True
        code = self._codes[door]
        right = bool(code) and secrets.compare_digest(raw, f"/{code}".encode())
        if right:
            self._codes[door] = ""
        return right


def _is_reader(scope: Scope) -> bool:
    """Whether somebody opens an address in a browser, rather than a script asking for it."""
    headers = Headers(scope)
    opened = headers.one("sec-fetch-mode") == "navigate" or "text/html" in headers.one("accept")
    return scope["method"] == "GET" and opened


async def _body(receive: Receive) -> bytes | Refusal | None:
    """The whole body; None where the client has disconnected."""
    body = bytearray()
    try:
        async with asyncio.timeout(BODY_SECONDS):
            while True:
                message = await receive()
                if message["type"] == "http.disconnect":
                    return None
                body += message.get("body", b"")
                if len(body) > MOST_BODY:
                    return TOO_LARGE
                if not message.get("more_body", False):
                    return bytes(body)
    except TimeoutError:
        return Refusal(408, "the request took too long to arrive")


class _Replayed:
    """A body that was read, replayed once; then whatever else comes."""

    def __init__(self, body: bytes, receive: Receive) -> None:
        self._body: bytes | None = body
        self._receive = receive

    async def __call__(self) -> Message:
        if self._body is None:
            return await self._receive()
        body, self._body = self._body, None
        return {"type": "http.request", "body": body, "more_body": False}


class _Marked:
    """Outgoing answers, with the common headers added."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self.begun = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self.begun = True
            message = {**message, "headers": [*message.get("headers", []), *_RAW]}
        await self._send(message)


async def _refuse(send: Send, refused: Refusal) -> None:
    content = error_bytes(refused.message, hint=refused.hint)
    await _answer(send, refused.status, content, (b"content-type", JSON.encode()))


async def _answer(send: Send, status: int, content: bytes, *headers: tuple[bytes, bytes]) -> None:
    """A short answer, after which the connection is closed."""
    length = (b"content-length", str(len(content)).encode())
    head = [*headers, length, (b"connection", b"close")]
    await send({"type": "http.response.start", "status": status, "headers": head})
    await send({"type": "http.response.body", "body": content})
