"""What the page's addresses are made of: the usual port, tokens, and this computer's address in the local network.

The page on the loopback interface keeps its port and its token from start to start. So its address can be kept as a bookmark,
a tab that is still open goes on after a restart, and what the browser keeps for the page (by scheme, host and port: RFC 6454,
"The Web Origin Concept") is found again. The token lies in a file that only its owner may read. In the local network each
start has a new one.
"""

from __future__ import annotations

import contextlib
import ipaddress
import os
import re
import secrets
import socket
import stat
from pathlib import Path

from fillgen.errors import OptionError, shorten

PORT = 61753
"""The usual port: in the dynamic range 49152 to 65535 (RFC 6335, 6), above 60999, where Linux takes ports for connections
that leave (its default `ip_local_port_range`, from memory)."""
ADDRESS_HINT = "Give one of this computer's addresses in the local network with --address."
_TOKEN_BYTES = 24
_TOKEN = re.compile(r"[A-Za-z0-9_-]{32}")
_FILE = "page-address"
_SIGNS = "abcdefghjkmnpqrstuvwxyz23456789"
"""What short tokens are made of: no characters that are easily confused."""
_SHORT = 9
"""The length of a short token: 31 to the power of 9 is 44 bits: centuries of guessing at a thousand tries a second."""
_ELSEWHERE = ("192.0.2.1", 9)
"""An address that no computer has (RFC 5737): to ask which way out there is, nothing is sent."""


def new_token() -> str:
    """A token of 192 random bits."""
    return secrets.token_urlsafe(_TOKEN_BYTES)


def short_token() -> str:
    """A token that can be typed on a tablet."""
    return "".join(secrets.choice(_SIGNS) for _ in range(_SHORT))


def kept_token(path: Path | None = None, *, renew: bool = False) -> str:
    """The token of the page on this computer: read from `path`, or made and stored there.

    Without a path the file is in the user's state folder. A file that others may read isn't trusted. Where none can be
    written the token is good for this start.
    """
    path = path or _token_path()
    if path is None:
        return new_token()
    was_there = os.path.lexists(path)
    found = None if renew else _read(path)
    if found is not None:
        return found
    token = new_token()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if was_there:
            path.unlink()
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(token.encode("ascii"))
    except FileExistsError:  # another page began at the same moment
        return _read(path) or token
    except OSError:
        return token
    return token


def _token_path() -> Path | None:
    from platformdirs import user_state_path  # noqa: PLC0415 - only where a page is served

    with contextlib.suppress(OSError, RuntimeError):
        return user_state_path("fillgen", appauthor=False) / _FILE
    return None


def _read(path: Path) -> str | None:
    """The token in a file of one's own; None if there is none."""
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))
        with os.fdopen(handle, "rb") as file:
            about = os.fstat(file.fileno())
            if not stat.S_ISREG(about.st_mode):
                return None
            if hasattr(os, "getuid") and (about.st_uid != os.getuid() or about.st_mode & 0o077):
                return None
            text = file.read(100).decode("ascii", "replace")
    except OSError:
        return None
    return text if _TOKEN.fullmatch(text) else None


def network_address(given: str | None = None) -> str:
    """The IPv4 address of this computer in the local network: the one given, else that of its way to other networks.

    OptionError for what is no IPv4 address of a local network, and if the computer is in none.

    >>> network_address("192.168.7.20")
    '192.168.7.20'
    """
    address = _way_out() if given is None else given
    try:
        read = ipaddress.IPv4Address(address)
    except ValueError:
        message = f"{shorten(address)} is not an IPv4 address"
        raise OptionError(message, hint="One looks like 192.168.7.20.") from None
    if read.is_loopback or read.is_unspecified or read.is_multicast:
        raise OptionError(f"{address} is not an address in a local network", hint=ADDRESS_HINT)
    if read.is_global:
        hint = "The page is for local networks. Connect to one through a router."
        raise OptionError(f"{address} can be reached from the internet", hint=hint)
    return address


def _way_out() -> str:
    """The address that the system would send from; OptionError if it has no way out."""
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
            asking.connect(_ELSEWHERE)
            found: str = asking.getsockname()[0]
            return found
    except OSError:
        raise OptionError("this computer isn't in a local network", hint=ADDRESS_HINT) from None
