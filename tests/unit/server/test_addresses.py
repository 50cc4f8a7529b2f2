"""The page's addresses: the usual port, the token that is kept, and what the command says of them."""

from __future__ import annotations

import os
import socket
import stat
from pathlib import Path

import pytest

from fillgen.cli import main
from fillgen.server import serving
from fillgen.server.addresses import PORT, kept_token, short_token
from fillgen.server.serving import loopback, network
from tests.commands import caller, refused
from tests.properties.local_page import running


def test_the_usual_port_is_one_for_private_use() -> None:
    """The dynamic ports of RFC 6335, 6: 49152 to 65535."""
    assert 49152 <= PORT <= 65535


def test_the_usual_port_is_taken_first_and_another_when_it_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        usual = held.getsockname()[1]
        monkeypatch.setattr(serving, "PORT", usual)
        held.listen()
        with loopback(None) as (_, door):
            assert door.port not in (0, usual)
            assert door.host == "127.0.0.1"
    with loopback(None) as (_, door):
        assert door.port == usual


def test_a_free_port_in_the_network_where_the_same_is_taken() -> None:
    """On loopback both sockets have one address, so the second must move."""
    with loopback() as (_, own), network("127.0.0.1", own.port) as (_, shared):
        assert shared.port != own.port
        assert shared.token != own.token


def test_a_token_is_kept_for_its_owner(tmp_path: Path) -> None:
    """At least 128 bits (RFC 4086), in a file that nobody else may read."""
    path = tmp_path / "state" / "page-address"
    token = kept_token(path)
    assert kept_token(path) == token
    assert len(token) == 32
    if os.name == "posix":
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    renewed = kept_token(path, renew=True)
    assert renewed != token
    assert kept_token(path) == renewed


@pytest.mark.skipif(os.name != "posix", reason="files have no rights for others here")
@pytest.mark.parametrize("damage", ["rights", "short", "signs", "empty", "folder", "link"])
def test_a_token_that_may_be_known_is_replaced(tmp_path: Path, damage: str) -> None:
    """A file that others may read, a damaged one, and what is no file of one's own."""
    path, other = tmp_path / "page-address", tmp_path / "other"
    token = kept_token(path)
    if damage == "rights":
        path.chmod(0o644)
    elif damage == "link":
        path.rename(other)
        path.symlink_to(other)
    elif damage == "folder":
        path.unlink()
        path.mkdir()
    else:
        path.write_text({"short": token[:-1], "signs": "/" * 32, "empty": ""}[damage])
    found = kept_token(path)
    assert found != token
    assert len(found) == 32
    assert (kept_token(path) == found) == (damage != "folder")


def test_short_tokens_can_be_typed() -> None:
    """No sign looks like another, none needs a second key; each start has its own."""
    made = {short_token() for _ in range(200)}
    assert len(made) == 200
    assert not set("".join(made)) & set("0O1lIi")
    assert all(token.isalnum() and token == token.lower() for token in made)


def test_an_address_without_its_last_slash_leads_on() -> None:
    with running() as page:
        asked = f"GET {page.root[:-1]} HTTP/1.1\r\nHost: 127.0.0.1:{page.door.port}\r\n\r\n".encode()
        twice = [page.raw(asked) for _ in range(2)]
    for came in twice:
        assert came.startswith(b"HTTP/1.1 303")
        assert f"location: {page.root}".encode() in came


def test_the_address_lasts_from_start_to_start(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The command prints the same address again, another one when asked, and says so if the port is another."""

    def printed(*arguments: str) -> tuple[str, str]:
        with pytest.raises(SystemExit):
            main(["page", "--no-browser", *arguments])
        shown = capsys.readouterr()
        return shown.out.strip(), shown.err

    monkeypatch.setattr("fillgen.server.serving.serve", lambda _app, _sockets, ready: ready())
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        usual = free.getsockname()[1]
    monkeypatch.setattr("fillgen.server.serving.PORT", usual)
    monkeypatch.setattr("fillgen.server.addresses.PORT", usual)
    first, told = printed()
    assert first.startswith(f"http://127.0.0.1:{usual}/")
    assert "taken" not in told
    assert printed()[0] == first
    renewed, _ = printed("--new-address")
    assert renewed != first
    with socket.socket() as held:
        held.bind(("127.0.0.1", usual))
        held.listen()
        moved, told = printed()
    assert moved.rpartition(":")[2].partition("/")[2] == renewed.rpartition(":")[2].partition("/")[2]
    assert f"Port {usual} is taken" in told
    assert printed("--port", "0")[1].count("taken") == 0


def test_sharing_wants_its_own_option(capsys: pytest.CaptureFixture[str]) -> None:
    refused(caller(capsys)("page", "--no-browser", "--address", "10.1.2.3"), "--address", "Add --share.")
    refused(caller(capsys)("page", "--no-browser", "--share", "--address", "8.8.8.8"), "from the internet")


def test_a_code_that_a_stream_cannot_draw_is_left_out(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The addresses and the warning are there all the same."""
    monkeypatch.setattr("fillgen.server.serving.serve", lambda _app, _sockets, ready: ready())
    monkeypatch.setattr("fillgen.server.addresses.network_address", lambda _: "127.0.0.1")
    for draws in (True, False):
        monkeypatch.setattr("fillgen.cli.page._can_draw", lambda _, draws=draws: draws)
        with pytest.raises(SystemExit):
            main(["page", "--no-browser", "--share", "--no-book"])
        shown = capsys.readouterr()
        assert len(shown.out.split()) == 2
        assert ("\u2588" in shown.err) == draws
        assert "Nothing is encrypted" in shown.err
        assert "idea book" not in shown.err
        assert "\x1b" not in shown.err
