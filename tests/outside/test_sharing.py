"""The page shared in a local network, from one host to another, and its code as another program reads it.

The hosts are network namespaces: two computers as far as the network is concerned. The codes are read by zxing-cpp.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pytest
import zxingcpp

from fillgen.errors import OptionError
from fillgen.server.addresses import PORT, network_address
from fillgen.writers.qr import qr_text
from tests.hosts import SECOND, STUDY, Host, Shared, served, two_hosts

CHART = "| Ab | Fm7 | Bbm7 | Eb7 |"
ASK = """
import http.client, json, sys
answers = []
for host, port, method, path, headers, body in json.load(sys.stdin):
    link = http.client.HTTPConnection(host, port, timeout=60)
    try:
        link.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in headers.items():
            link.putheader(name, value)
        link.endheaders(body.encode() or None)
        came = link.getresponse()
        answers.append([came.status, dict(came.getheaders()), came.read().decode("utf-8", "replace")])
    except OSError as error:
        answers.append([0, {}, type(error).__name__])
    finally:
        link.close()
json.dump(answers, sys.stdout)
"""
"""A program that asks the questions it is given, each over a connection of its own, and prints the answers."""


@dataclass(frozen=True)
class Answer:
    """What came back; the status is 0 where there is nobody to answer."""

    status: int
    headers: dict[str, str]
    body: str


def asked(asker: Host, *questions: tuple[Any, ...]) -> list[Answer]:
    """The answers to (host, port, method, path, headers, body) that are asked on a host."""
    done = asker.run(sys.executable, "-c", ASK, given=json.dumps(questions))
    assert done.returncode == 0, done.stderr
    return [Answer(*each) for each in json.loads(done.stdout)]


def get(page: Shared, path: str, address: str = STUDY, host: str = "", **headers: str) -> tuple[Any, ...]:
    named = host or f"{STUDY}:{page.port}"
    return address, page.port, "GET", path, {"Host": named, **headers}, ""


def post(page: Shared, path: str, document: Any, host: str = "") -> tuple[Any, ...]:
    named = host or f"{STUDY}:{page.port}"
    body = json.dumps(document)
    headers = {
        "Host": named,
        "Origin": f"http://{named}",
        "Content-Type": "application/json",
        "Content-Length": str(len(body)),
    }
    return STUDY, page.port, "POST", path, headers, body


@pytest.fixture(scope="module")
def hosts() -> Iterator[tuple[Host, Host]]:
    with two_hosts() as made:
        yield made


def test_a_page_that_is_not_shared_stays_at_home(hosts: tuple[Host, Host]) -> None:
    """Nobody answers on the network, whatever the request says."""
    study, tablet = hosts
    with served(study) as page:
        (home,) = asked(study, get(page, page.own_token, "127.0.0.1", f"127.0.0.1:{page.port}"))
        (away,) = asked(tablet, get(page, page.own_token, host=f"127.0.0.1:{page.port}"))
    assert (home.status, away.status) == (200, 0)
    assert urlsplit(page.own).port == PORT


def test_a_shared_page_answers_the_tablet(hosts: tuple[Host, Host]) -> None:
    """The page, what it is made of and what it asks; the address is short, and a missing slash at its end forgiven."""
    study, tablet = hosts
    with served(study, "--share", CHART) as page:
        assert re.fullmatch(rf"http://{re.escape(STUDY)}:{PORT}/[a-z2-9]{{9}}/", page.lan)
        front, part, start, ideas, short = asked(
            tablet,
            get(page, page.token),
            get(page, f"{page.token}assets/main.js"),
            get(page, f"{page.token}api/start"),
            post(page, f"{page.token}api/ideas", {"chart": CHART, "count": 2}),
            get(page, page.token.rstrip("/")),
        )
        assert [each.status for each in (front, part, start, ideas)] == [200] * 4
        assert json.loads(start.body)["chart"] == CHART
        assert len(ideas.body.splitlines()) == 4
        assert (short.status, short.headers["location"]) == (303, page.token)
        (home,) = asked(study, get(page, page.own_token, "127.0.0.1", f"127.0.0.1:{page.port}"))
        assert home.status == 200
    told = " ".join(page.said)
    for word in (
        "whoever has this address",
        "idea book",
        "Nothing is encrypted",
        "headphones and amplifiers low",
    ):
        assert word in told


def test_what_a_shared_page_refuses(hosts: tuple[Host, Host]) -> None:
    """Other names, tokens, routes, origins and addresses; the token of the page at home is no use from outside."""
    study, tablet = hosts
    with served(study, "--share") as page:
        port = page.port
        refused = asked(
            tablet,
            get(page, page.token, host=f"study.example:{port}"),
            get(page, page.token, host=f"127.0.0.1:{port}"),
            get(page, page.token, host=f"localhost:{port}"),
            get(page, page.token, host=STUDY),
            get(page, page.own_token),
            get(page, "/"),
            get(page, "/abcdefghj/"),
            get(page, f"{page.token}../{page.token[1:]}"),
            get(page, f"{page.token}assets/../guard.py"),
            get(page, f"{page.token}etc/passwd"),
            post(page, f"{page.token}api/chart", {"chart": CHART}, host="study.example"),
            (*get(page, page.token)[:2], "DELETE", *get(page, page.token)[3:]),
        )
        assert {each.status for each in refused} <= {400, 403, 404, 405}
        assert all(page.token.strip("/") not in each.body for each in refused)
        assert all(page.own_token.strip("/") not in each.body for each in refused)
        away, wrong_way = asked(
            tablet, get(page, page.token, SECOND), get(page, page.token, SECOND, f"{SECOND}:{port}")
        )
        assert (away.status, wrong_way.status) == (0, 0)
        (swapped,) = asked(study, get(page, page.token, "127.0.0.1", f"127.0.0.1:{port}"))
        assert swapped.status == 404


def test_the_shared_address_is_new_at_each_start(hosts: tuple[Host, Host]) -> None:
    """The old one is refused with a page in words; the address at home stays as it is."""
    study, tablet = hosts
    with served(study, "--share") as first:
        pass
    with served(study, "--share") as second:
        (old,) = asked(tablet, get(second, first.token, Accept="text/html"))
    assert first.token != second.token
    assert first.own == second.own
    assert old.status == 404
    assert "was restarted with a new address" in old.body
    assert second.token not in old.body


def test_the_address_may_be_chosen(hosts: tuple[Host, Host]) -> None:
    """Of several addresses of a computer; one that is another computer's is refused, with exit code 2."""
    study, _ = hosts
    with served(study, "--share", "--address", SECOND) as page:
        assert urlsplit(page.lan).hostname == SECOND
    refused = study.run(
        sys.executable, "-m", "fillgen", "page", "--no-browser", "--share", "--address", "10.83.7.99"
    )
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "10.83.7.99 is not an address of this computer" in refused.stderr


def test_without_a_network_there_is_nothing_to_share(hosts: tuple[Host, Host]) -> None:
    """A host whose only way is to itself."""
    _, tablet = hosts
    refused = tablet.run(sys.executable, "-m", "fillgen", "page", "--no-browser", "--share")
    assert (refused.returncode, refused.stdout) == (2, "")
    assert "isn't in a local network" in refused.stderr


@pytest.mark.parametrize(
    ("address", "why"),
    [
        ("8.8.8.8", "can be reached from the internet"),
        ("127.0.0.1", "not an address in a local network"),
        ("0.0.0.0", "not an address in a local network"),
        ("224.0.0.251", "not an address in a local network"),
        ("fe80::1", "is not an IPv4 address"),
        ("tablet", "is not an IPv4 address"),
    ],
)
def test_addresses_that_are_not_local(address: str, why: str) -> None:
    """Special addresses as the registry of RFC 6890 has them."""
    with pytest.raises(OptionError, match=why):
        network_address(address)


@pytest.mark.parametrize("address", ["10.1.2.3", "172.16.9.9", "192.168.7.20", "169.254.3.4", "100.64.0.7"])
def test_addresses_of_local_networks(address: str) -> None:
    """Those for private use (RFC 1918), link-local ones (RFC 3927), and shared ones behind a provider (RFC 6598)."""
    assert network_address(address) == address


def picture(text: str) -> Any:
    """Half blocks as a picture, drawn ones light, each module four dots wide."""
    halves = {" ": (0, 0), "\u2580": (255, 0), "\u2584": (0, 255), "\u2588": (255, 255)}
    lines = text.splitlines()
    rows = [[halves[sign][half] for sign in line] for line in lines for half in (0, 1)]
    return np.kron(np.array(rows, dtype=np.uint8), np.ones((4, 4), dtype=np.uint8))


@pytest.mark.parametrize(
    "address", ["http://192.168.7.20:61753/k7m4xq2wn/", "http://10.83.7.1:49999/aaaaaaaaa/"]
)
def test_the_code_is_read_by_another_program(address: str) -> None:
    (read,) = zxingcpp.read_barcodes(picture(qr_text(address)))
    assert (read.format, read.text) == (zxingcpp.BarcodeFormat.QRCode, address)


def test_a_code_in_colours_has_its_own_ground() -> None:
    """White on black on every line (ECMA-48), so that a light terminal doesn't turn it inside out."""
    plain, coloured = qr_text("http://10.1.2.3/").splitlines(), qr_text("http://10.1.2.3/", colours=True)
    assert coloured.splitlines() == [f"\x1b[97;40m{line}\x1b[0m" for line in plain]


def test_the_code_printed_is_the_address_printed(hosts: tuple[Host, Host]) -> None:
    study, _ = hosts
    with served(study, "--share") as page:
        drawn = [line for line in page.said if line and not set(line) - set(" \u2580\u2584\u2588")]
    (read,) = zxingcpp.read_barcodes(picture("\n".join(drawn)))
    assert read.text == page.lan
