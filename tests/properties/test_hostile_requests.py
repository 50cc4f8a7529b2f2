"""Requests that no page of ours sends: every one is turned away with a 4xx, and the server lives on.

They are made from the server's own routes: `app.ASKED` with a body that is right, in which one thing is made wrong.
"""

from __future__ import annotations

import base64
import json
import random
import re
import socket
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from fillgen.page import ASSETS
from fillgen.server.app import ASKED, MADE
from fillgen.server.guard import MOST_BODY
from tests.effort import examples
from tests.properties.local_page import WAIT, Page, running

COUNT = examples(2400)
GROUND: dict[str, Any] = {"chart": "| C | G7 |", "key": "C", "metre": "4/4"}
PHRASE = "C5q E5q G5h | D5h B4h"
IDEAS = [{"rank": 1, "text": PHRASE, "shape": "arch", "score": 0.5}]
SETTINGS: dict[str, Any] = {
    "rhythm": "foxtrot",
    "tempo": 120,
    "level": 3,
    "busy": "some",
    "shape": "arch",
    "low": "C4",
    "high": "C6",
    "for": "intro",
    "ends_on": ["third"],
    "lead_to": "C5",
    "hand": "medium",
    "seed": 1,
    "count": 1,
}
RIGHT: dict[str, dict[str, Any]] = {
    "/api/sequences/find": {
        "key": "C",
        "metre": "4/4",
        "to": "Fm7",
        "for": "intro",
        "bars": 4,
        "sevenths": True,
    },
    "/api/chart": {**GROUND, "sevenths": False},
    "/api/ideas": {**GROUND, **SETTINGS, "fresh": False},
    "/api/vary": {
        **GROUND,
        "phrase": PHRASE,
        "part": "1",
        "keep": [1],
        "mirror": False,
        "count": 2,
        "level": 3,
    },
    "/api/notation": {**GROUND, "rhythm": "foxtrot", "tempo": 120, "ideas": IDEAS, "shift": 1, "first": 1},
    "/api/notes": {**GROUND, "bar": 1, "beat": 1},
    "/api/check": {
        **GROUND,
        "phrase": PHRASE,
        "level": 3,
        "tempo": 120,
        "hand": "small",
        "rhythm": "foxtrot",
        "low": "C4",
        "ends_on": ["root"],
        "lead_to": "C5",
    },
    "/api/files": {**GROUND, "ideas": IDEAS, "ending": "mid", "shift": 1, "parts": ["right"]},
    "/api/book/search": {"words": "a", "stars": 1, "since": "2026-11-01", "count": 5, "skip": 0, "level": 3},
    "/api/book/open": {"ids": [1]},
    "/api/book/change": {"steps": [{"action": "star", "ids": [1], "stars": 3}]},
    "/api/book/files": {"ids": [1], "ending": "pdf"},
}
"""For every address that takes a body, one that is right as far as its fields go."""
OF_ANOTHER_TYPE: dict[type, list[Any]] = {
    str: [7, True, 1.5, [], ["C"], {}, {"chart": "| C |"}, "\ud800", "x" * 20_000],
    int: ["1", True, 1.5, -(10**6), 10**400, [], [1], {}, 2**53],
    bool: [0, 1, "yes", [], {}],
    list: [
        7,
        True,
        "root",
        {},
        {"0": 1},
        [[]],
        [{}],
        [None],
        [1.5],
        ["\ud800"],
        ["x" * 300],
        [0] * 5000,
        [-1],
    ],
}
CLOSED = (
    "key",
    "metre",
    "rhythm",
    "busy",
    "for",
    "hand",
    "low",
    "high",
    "lead_to",
    "move_to",
    "like",
    "ending",
    "to",
)
"""Fields whose words are a closed list; any other word is wrong."""
WORDS = (
    "nonesuch",
    "../../etc/passwd",
    "%2e%2e/",
    "\x00",
    "'; DROP TABLE idea; --",
    "<script>",
    "𝄞" * 20,
    "C:\\x",
)
NUMBERS = {"tempo": 401, "level": 100, "count": 201, "stars": 6, "bar": 3, "beat": 6, "shift": 7, "first": 2}


def framed(page: Page, method: str, what: str, body: bytes = b"", **headers: str | None) -> bytes:
    """A request as it goes over the wire; a header that is None is left out."""
    usual: dict[str, str | None] = {"Host": f"127.0.0.1:{page.door.port}", "Connection": "close"}
    if method not in ("GET", "HEAD"):
        usual |= {"Origin": page.origin, "Content-Type": "application/json", "Content-Length": str(len(body))}
    usual |= {name.replace("_", "-"): value for name, value in headers.items()}
    lines = [f"{name}: {value}" for name, value in usual.items() if value is not None]
    return "\r\n".join([f"{method} {what} HTTP/1.1", *lines, "", ""]).encode("latin-1", "replace") + body


Case = tuple[str, bytes]
"""What is wrong, and the request."""


def posted(page: Page, path: str, document: Any) -> bytes:
    return framed(page, "POST", page.root + path[1:], json.dumps(document).encode())


def wrong_fields(page: Page, dice: random.Random) -> Iterator[Case]:
    """Each field of each body of another type, outside its bounds or its words; fields that are not known."""
    for path, right in RIGHT.items():
        for name, value in right.items():
            wrong = list(OF_ANOTHER_TYPE[type(value)])
            wrong += list(WORDS) if name in CLOSED else []
            wrong += [NUMBERS[name]] if name in NUMBERS else []
            for each in wrong:
                if not (name in ("keep", "ends_on", "parts") and each in ([], {})) and not _right(name, each):
                    yield f"{path} {name}={each!r:.40}", posted(page, path, {**right, name: each})
        unknown = dice.choice(["admin", "path", "__proto__", "chart ", "CHART", "file"])
        yield f"{path} {unknown}", posted(page, path, {**right, unknown: 1})
        for whole in ([], "chart", 7, True, None, [right]):
            yield f"{path} body {whole!r:.20}", posted(page, path, whole)


def _right(name: str, value: Any) -> bool:
    """What is no error: an empty row where none is needed, and a number where any number will do."""
    right = {
        "seed": 2**53 - 1,
        "beat": 1.5,
        "level": "1",
    }  # a check takes a level as a word as well, for "auto"
    return name in right and value == right[name]


def wrong_charts(page: Page, dice: random.Random) -> Iterator[Case]:
    signs = [
        "|",
        "|:",
        ":|",
        "%",
        "/",
        "(",
        "H7",
        "Cmaj99",
        "\u2028",
        "\x00",
        "𝄞",
        "V/V/V/V/V",
        "<b>",
        "key:",
        "N.C.",
    ]
    for path in ("/api/chart", "/api/ideas", "/api/notes", "/api/check", "/api/vary", "/api/notation"):
        for _ in range(12):
            chart = " ".join(dice.choices(signs, k=dice.randint(1, 30))) + " | Xyz |"
            yield f"{path} chart {chart!r:.40}", posted(page, path, {**RIGHT[path], "chart": chart})
        for chart in (
            "| C " * 33,
            "(" * 9_999,
            "x" * 10_001,
            "| " + "C" * 9_000,
            "/etc/passwd",
            "charts/../x.txt",
        ):
            yield f"{path} chart {chart!r:.20}", posted(page, path, {**RIGHT[path], "chart": chart})


def wrong_phrases(page: Page, dice: random.Random) -> Iterator[Case]:
    base = {name: GROUND[name] for name in ("chart", "key")}
    damaged = [
        b"",
        b"MThd",
        b"MThd" + bytes(40),
        b"PK\x03\x04" + bytes(60),
        b"<score-partwise>",
        b"\xff\xfe<",
    ]
    damaged += [b'<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><score-partwise>&b;</score-partwise>']
    damaged += [dice.randbytes(dice.randint(1, 400)) for _ in range(20)]
    for path in ("/api/check", "/api/vary"):
        for content in damaged:
            for name in ("a.mid", "../../a.xml", "/etc/passwd", "\x00"):
                file = {"name": name, "content": base64.b64encode(content).decode()}
                yield f"{path} file {content[:12]!r}", posted(page, path, {**base, "file": file})
        for content in ("%%%", "====", 7, [], {}, "AAAA\n=", "A"):
            document = {**base, "file": {"name": "a.mid", "content": content}}
            yield f"{path} base64 {content!r}", posted(page, path, document)
        for played in (
            7,
            [7],
            [{}],
            [{"midi": 60}],
            [{"midi": 128, "start": 0, "end": 1}],
            [{"midi": 60, "start": 1, "end": 1}],
        ):
            yield f"{path} played {played!r}", posted(page, path, {**base, "played": played, "tempo": 100})
        for phrase in (
            "X5q",
            "C5q | | C5q",
            "C5q~",
            "C99q",
            "/etc/passwd",
            "-",
            "a.mid",
            "C5q " * 2000,
            "Z" * 9_000,
        ):
            yield f"{path} phrase {phrase!r:.20}", posted(page, path, {**base, "phrase": phrase})


def wrong_steps(page: Page, dice: random.Random) -> Iterator[Case]:
    """Changes of a book that has no idea, and steps that are none."""
    actions = [
        "star",
        "rename",
        "note",
        "tag",
        "untag",
        "forget",
        "put",
        "take",
        "arrange",
        "add",
        "drop",
        "",
        "__init__",
    ]
    values: list[Any] = [
        None,
        7,
        "x",
        [],
        {},
        [1],
        ["a"],
        "\x00",
        "\ud800",
        True,
        -1,
        {"ideas": [{}]},
        {"ideas": 7},
    ]
    for action in actions:
        for _ in range(24):
            names = dice.sample(
                ["ids", "stars", "name", "note", "words", "set", "book"], k=dice.randint(1, 4)
            )
            step = {"action": action, **{name: dice.choice(values) for name in names}}
            if not (action == "arrange" and not step.get("ids")):
                yield f"step {step!r:.60}", posted(page, "/api/book/change", {"steps": [step]})


def wrong_json(page: Page, dice: random.Random) -> Iterator[Case]:
    for path, right in RIGHT.items():
        good = json.dumps(right).encode()
        bodies = [
            b"",
            b"{",
            b"null",
            b"\xff\xfe{}",
            b"\x00",
            b"[" * 50_000,
            b'{"a":' * 50_000,
            b"9" * 5_000,
            b"{NaN:1}",
        ]
        bodies += [good[: dice.randint(1, len(good) - 1)] for _ in range(4)]
        bodies += [
            good + b"}",
            b"\xef\xbb\xbf" + good,
            good.replace(b'"', b"'"),
            good.decode().encode("utf-16"),
        ]
        bodies += [dice.randbytes(dice.randint(1, 300)) for _ in range(4)]
        for body in bodies:
            yield f"{path} json {body[:20]!r}", framed(page, "POST", page.root + path[1:], body)


def wrong_doors(page: Page, dice: random.Random) -> Iterator[Case]:
    """Right requests with a wrong method, token, host, origin, kind of content or place of origin."""
    port = page.door.port
    hosts = [
        None,
        "",
        "evil.example",
        f"evil.example:{port}",
        "127.0.0.1",
        f"127.0.0.1:{port + 1}",
        f"0.0.0.0:{port}",
    ]
    hosts += [
        f"[::1]:{port}",
        f"127.0.0.1:{port}@evil.example",
        f"127.1:{port}",
        f"2130706433:{port}",
        f"127.0.0.1.:{port}",
    ]
    origins = [
        None,
        "",
        "null",
        "http://evil.example",
        f"https://127.0.0.1:{port}",
        f"http://127.0.0.1:{port}/",
    ]
    origins += [
        f"http://127.0.0.1:{port + 1}",
        f"http://localhost:{port}",
        "file://",
        f"http://127.0.0.1:{port}.evil.example",
    ]
    kinds = [
        None,
        "",
        "text/plain",
        "multipart/form-data",
        "application/x-www-form-urlencoded",
        "application/jsonp",
    ]
    kinds += ["application/json; charset=utf-16", "text/html", "application/json, text/plain"]
    tokens = [
        "",
        "x",
        page.door.token[:-1],
        page.door.token + "x",
        page.door.token.swapcase(),
        "..",
        "%00",
        "\xe9",
    ]
    for path, (method, _) in ASKED.items():
        what, body = (
            page.root + path[1:],
            json.dumps(RIGHT.get(path, {})).encode() if method == "POST" else b"",
        )
        for other in (
            "PUT",
            "DELETE",
            "PATCH",
            "OPTIONS",
            "TRACE",
            "PROPFIND",
            "X",
            "get",
            {"GET": "POST", "POST": "GET"}[method],
        ):
            yield f"{other} {path}", framed(page, other, what, b"" if other == "GET" else b"{}")
        for host in hosts:
            yield f"{path} host {host}", framed(page, method, what, body, Host=host)
        for origin in origins[0 if method == "POST" else 1 :]:
            yield f"{path} origin {origin}", framed(page, method, what, body, Origin=origin)
        for site in ("cross-site", "same-site", "", "SAME-ORIGIN"):
            yield f"{path} site {site}", framed(page, method, what, body, Sec_Fetch_Site=site)
        for token in tokens:
            yield f"{path} token {token}", framed(page, method, f"/{token}{path}", body)
        for end in ("/", "?x=1", "%00", "/..", ";x", "%2f", "\\", "//", "/../../etc/passwd", "#x"):
            yield f"{path}{end}", framed(page, method, what + end, body)
        if method == "POST":
            for kind in kinds:
                yield f"{path} kind {kind}", framed(page, method, what, body, Content_Type=kind)
            yield f"{path} packed", framed(page, method, what, body, Content_Encoding="gzip")
        else:
            yield f"{path} body", framed(page, method, what, b"{}", Content_Length="2")


def wrong_paths(page: Page, dice: random.Random) -> Iterator[Case]:
    names = [
        "..",
        "../page.html",
        "%2e%2e/data.py",
        "....//",
        "page.html",
        "/etc/passwd",
        "C:\\x",
        "\x7f",
        "page.css/",
        "PAGE.CSS",
    ]
    names += [
        "%70age.css",
        "page.css%00.js",
        "workshop",
        "workshop/..",
        "workshop//main.js",
        "../assets/page.css",
        ".",
        "",
    ]
    names += [name[:-1] for name in ASSETS] + [f"{name}~" for name in (*ASSETS, *MADE)]
    for name in names:
        yield f"asset {name!r}", framed(page, "GET", f"{page.root}assets/{name}".replace(" ", "%20"))
    for what in (
        "",
        "/",
        "/favicon.ico",
        "/robots.txt",
        "//",
        "/./",
        f"/.{page.root}",
        f"//127.0.0.1{page.root}",
        "*",
        "x",
        f"http://127.0.0.1{page.root}",
    ):
        if what:
            yield f"path {what!r}", framed(page, "GET", what)
    for _ in range(100):
        letters = dice.choices("abcdef0123456789%./\\_-~;:@&=+$,", k=dice.randint(1, 60))
        yield "random path", framed(page, dice.choice(["GET", "POST"]), page.root + "".join(letters))


def wrong_messages(page: Page, dice: random.Random) -> Iterator[Case]:
    """What is no HTTP, or HTTP that contradicts itself (RFC 9112)."""
    host = f"Host: 127.0.0.1:{page.door.port}\r\n"
    own = f"{host}Origin: {page.origin}\r\nContent-Type: application/json\r\n"
    what = f"{page.root}api/chart"
    good = json.dumps(RIGHT["/api/chart"]).encode()
    for line in (
        "",
        "GET",
        "GET /",
        "GET / HTTP/9.9",
        "GET / HTTP/2.0",
        "GET  / HTTP/1.1",
        "\x16\x03\x01\x02",
        "PRI * HTTP/2.0",
    ):
        yield f"line {line!r}", f"{line}\r\n{host}\r\n".encode("latin-1")
    for extra in (
        f"{host}",
        "Bad Header: x\r\n",
        "X: a\x00b\r\n",
        ": x\r\n",
        "X\r\n",
        " folded\r\n",
        f"X: {'a' * 70_000}\r\n",
    ):
        yield f"header {extra[:20]!r}", f"GET {page.root} HTTP/1.1\r\n{host}{extra}\r\n".encode("latin-1")
    flood = "".join(f"X-{n}: 1\r\n" for n in range(300))
    yield "flood", f"GET {page.root} HTTP/1.1\r\n{host}Connection: close\r\n{flood}\r\n".encode()
    for length in ("-1", "1e3", "+5", "0x10", "5, 6", "9" * 30, " ", "abc", str(MOST_BODY + 1)):
        yield (
            f"length {length}",
            f"POST {what} HTTP/1.1\r\n{own}Content-Length: {length}\r\n\r\n".encode() + good,
        )
    for coding in ("gzip", "chunked, gzip", "identity", "xchunked", "chunked\r\nContent-Length: 5"):
        yield (
            f"coding {coding!r}",
            f"POST {what} HTTP/1.1\r\n{own}Transfer-Encoding: {coding}\r\n\r\n".encode() + b"zz\r\n",
        )
    chunked = f"POST {what} HTTP/1.1\r\n{own}Connection: close\r\nTransfer-Encoding: chunked\r\n\r\n".encode()
    for chunks in (
        b"zz\r\n{}",
        b"-1\r\n",
        b"ffffffffffffffffffffffff\r\n",
        b"2\r\n{}xx",
        b"1;" + b"a" * 70_000 + b"\r\n",
        b"0\r\n\r\n",
    ):
        yield f"chunks {chunks[:12]!r}", chunked + chunks
    for _ in range(60):
        yield "no HTTP", dice.randbytes(dice.randint(1, 200)) + b"\r\n\r\n"


MAKERS = (
    wrong_fields,
    wrong_charts,
    wrong_phrases,
    wrong_steps,
    wrong_json,
    wrong_doors,
    wrong_paths,
    wrong_messages,
)


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    """A page with one idea in its book."""
    with running(str(tmp_path_factory.mktemp("hostile") / "ideas.book")) as found:
        assert found.post("api/ideas", {**GROUND, "count": 1}).status == 200
        yield found


def cases(page: Page) -> list[Case]:
    """All that is made once, and again with other dice until there are enough; of too many some, spread evenly."""
    found: list[Case] = []
    seed = 0
    while len(found) < COUNT:
        dice = random.Random(seed)
        found += [case for maker in MAKERS for case in maker(page, dice)]
        seed += 1
    return found[:: len(found) // COUNT]


def status_of(answer: bytes) -> int:
    """The status of the one answer that came; 0 where it is none."""
    head = re.match(rb"HTTP/1\.1 (\d{3}) ", answer)
    return int(head[1]) if head else 0


def is_refused(answer: bytes) -> bool:
    """Whether one answer came, a 4xx that tells nothing it should not."""
    alone = answer.count(b"HTTP/1.1 ") == 1
    return alone and 400 <= status_of(answer) < 500 and not tells_too_much(answer)


def tells_too_much(answer: bytes) -> bool:
    """Whether an answer shows how the program is made, or where it lies."""
    return any(word in answer for word in (b"Traceback", b"site-packages", b"/fillgen/", b'File "'))


def test_hostile_requests_get_4xx_and_nothing_else(page: Page) -> None:
    """No traceback, no path of this computer, no fault logged, no second answer; and afterwards it answers as before."""
    begun = page.get("api/start").body
    asked = cases(page)
    assert len(asked) >= COUNT
    with ThreadPoolExecutor(4) as pool:
        answers = pool.map(page.raw, [request for _, request in asked])
        wrong = [
            (told, answer[:60], answer[-200:])
            for (told, _), answer in zip(asked, answers, strict=True)
            if not is_refused(answer)
        ]
    assert not wrong, "\n".join(map(str, wrong[:40]))
    assert page.logged == []
    assert page.get("api/start").body == begun
    assert page.post("api/chart", {"chart": "| C | G7 |"}).status == 200
    assert page.get("api/book").json["ideas"] == 1


def test_the_right_bodies_are_right(tmp_path: Path) -> None:
    """What is made wrong above is refused for that alone: as they stand the bodies are taken."""
    with running(str(tmp_path / "ideas.book")) as page:
        assert page.post("api/ideas", {**GROUND, "count": 1}).status == 200
        for path, right in RIGHT.items():
            came = page.post(path[1:], right)
            assert (path, came.status, b'"error"' in came.body) == (path, 200, False), came.body


def test_a_body_that_never_ends_is_cut(page: Page) -> None:
    """More than the limit in chunks: the answer comes before the body has ended."""
    head = (
        f"POST {page.root}api/chart HTTP/1.1\r\nHost: 127.0.0.1:{page.door.port}\r\nOrigin: {page.origin}\r\n"
        "Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n"
    )
    chunk = b"10000\r\n" + b" " * 0x10000 + b"\r\n"
    with socket.create_connection(("127.0.0.1", page.door.port), timeout=WAIT) as link:
        link.sendall(head.encode())
        for _ in range(MOST_BODY // 0x10000 + 2):
            link.sendall(chunk)
        assert status_of(link.recv(65536)) == 413
