"""The routes of the page: the page itself, its assets, and what it may ask."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp

from fillgen.server.frames import JSON, LINES, Question, error_bytes, silent
from fillgen.server.guard import Door, Guard
from fillgen.server.workers import Workers

ASKED: Mapping[str, tuple[str, str]] = {
    "/api/start": ("GET", "start"),
    "/api/sequences": ("GET", "sequences"),
    "/api/sequences/find": ("POST", "sequences-find"),
    "/api/chart": ("POST", "chart"),
    "/api/ideas": ("POST", "ideas"),
    "/api/vary": ("POST", "vary"),
    "/api/shown": ("POST", "shown"),
    "/api/why": ("POST", "why"),
    "/api/notation": ("POST", "notation"),
    "/api/notes": ("POST", "notes"),
    "/api/check": ("POST", "check"),
    "/api/files": ("POST", "files"),
    "/api/book": ("GET", "book"),
    "/api/book/search": ("POST", "book-search"),
    "/api/book/open": ("POST", "book-open"),
    "/api/book/change": ("POST", "book-change"),
    "/api/book/files": ("POST", "book-files"),
}
"""What the page may ask: the address, the method, and the name of the answer (`fillgen.server.answers.ANSWERS`)."""
MADE: Mapping[str, str] = {"bank.json": "bank", "music-font.css": "music-font"}
"""Assets that a worker makes, since what they are made of takes time to load; by name the answer."""
_WORDS = {404: "nothing at this address", 405: "this address doesn't take that method"}


@dataclass(frozen=True)
class Site:
    """What is served: behind which doors, with which settings for the answers, the page's own text, and its plain assets.

    `assets` gives the bytes of an asset by name, of those in `kinds`, which are media types by name.
    """

    doors: Sequence[Door]
    page: Callable[[], str]
    kinds: Mapping[str, str]
    assets: Callable[[str], bytes]
    settings: dict[str, Any] = field(default_factory=dict)


def app_of(site: Site, workers: Workers, log: Callable[[str], None] = silent) -> ASGIApp:
    """The application, behind its guard. The workers are started and ended with it."""

    @contextlib.asynccontextmanager
    async def living(_: Starlette) -> AsyncIterator[None]:
        async with workers:
            yield

    desk = _Desk(site, workers)
    routes = [
        Route("/", desk.page, methods=["GET"]),
        Route("/assets/{name:path}", desk.asset, methods=["GET"]),
        *(Route(path, desk.answer, methods=[method]) for path, (method, _) in ASKED.items()),
    ]
    app = Starlette(routes=routes, lifespan=living, exception_handlers={HTTPException: _refused})
    app.router.redirect_slashes = False
    return Guard(app, site.doors, log)


@dataclass(frozen=True)
class _Desk:
    """Where requests are answered."""

    site: Site
    workers: Workers

    async def page(self, _: Request) -> Response:
        return Response(self.site.page(), media_type="text/html; charset=utf-8")

    async def asset(self, request: Request) -> Response:
        """An asset from the table of all assets; a name from a request never becomes a path."""
        name = request.path_params["name"]
        if name in MADE:
            return await self._asked(request, Question(MADE[name], self.site.settings))
        if name not in self.site.kinds:
            raise HTTPException(404)
        return Response(self.site.assets(name), headers={"Content-Type": self.site.kinds[name]})

    async def answer(self, request: Request) -> Response:
        name = ASKED[request.url.path][1]
        return await self._asked(request, Question(name, self.site.settings, await request.body()))

    async def _asked(self, request: Request, question: Question) -> Response:
        """The answer of a worker; the work stops as soon as the client disconnects."""
        work = asyncio.create_task(self._answered(question))
        gone = asyncio.create_task(_left(request))
        await asyncio.wait({work, gone}, return_when=asyncio.FIRST_COMPLETED)
        for task in (work, gone):
            if not task.done():
                task.cancel()
        await asyncio.wait({work, gone})
        return Response(status_code=_GONE) if work.cancelled() else work.result()

    async def _answered(self, question: Question) -> Response:
        answer = await self.workers.ask(question)
        headers = {"Content-Type": answer.kind}
        if answer.name:
            headers["Content-Disposition"] = f'attachment; filename="{answer.name}"'
        if answer.kind == LINES:
            return StreamingResponse(answer.parts(), answer.status, headers=headers)
        return Response(await answer.whole(), answer.status, headers=headers)


_GONE = 400
"""The status of an answer that nobody reads."""


async def _left(request: Request) -> None:
    """Wait until the client disconnects; the body has been read already."""
    while (await request.receive())["type"] != "http.disconnect":
        pass


async def _refused(_: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    headers = dict(getattr(error, "headers", None) or {})
    content = error_bytes(_WORDS.get(status, "this can't be done"))
    return Response(content, status, headers={**headers, "Content-Type": JSON})
