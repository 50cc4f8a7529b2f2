"""Hosts in a network of the tests' own: network namespaces that a cable joins (Linux, iproute2)."""

from __future__ import annotations

import contextlib
import itertools
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import pytest

STUDY, TABLET = "10.83.7.1", "10.83.7.2"
"""The addresses of the two hosts, out of a range for private use (RFC 1918)."""
SECOND = "10.83.9.1"
"""Another address of the first host."""


_NUMBERS = itertools.count()


@dataclass(frozen=True)
class Host:
    """A namespace: what is started in it has its network."""

    name: str
    address: str

    def command(self, *arguments: str) -> list[str]:
        """A command line that runs another one on this host."""
        return [_ip(), "netns", "exec", self.name, *arguments]

    def run(self, *arguments: str, given: str = "") -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            self.command(*arguments), input=given, capture_output=True, text=True, check=False, timeout=120
        )


def _ip() -> str:
    return shutil.which("ip") or "/usr/sbin/ip"


def _missing(why: str) -> None:
    if os.environ.get("CI"):
        pytest.fail(why)
    pytest.skip(why)


def _do(*arguments: str) -> None:
    done = subprocess.run([_ip(), *arguments], capture_output=True, text=True, check=False)
    if done.returncode:
        _missing(f"ip {' '.join(arguments)}: {done.stderr.strip()}")


@contextlib.contextmanager
def two_hosts() -> Iterator[tuple[Host, Host]]:
    """A computer and a tablet in one local network, the tablet being the computer's way to the rest of the world.

    Where there can be none the test is skipped with the reason, and fails if the environment variable CI is set.
    """
    if not sys.platform.startswith("linux") or not Path(_ip()).exists():
        _missing("network namespaces need Linux and iproute2 (apt-get install iproute2)")
    if os.getuid() != 0:
        _missing("network namespaces need root")
    number = next(_NUMBERS)
    names = [f"fillgen-{os.getpid()}-{number}{letter}" for letter in "ab"]
    cable = [f"fg{os.getpid()}n{number}{letter}" for letter in "ab"]
    hosts = Host(names[0], STUDY), Host(names[1], TABLET)
    try:
        for name in names:
            _do("netns", "add", name)
        _do("link", "add", cable[0], "type", "veth", "peer", "name", cable[1])
        for host, end in zip(hosts, cable, strict=True):
            _do("link", "set", end, "netns", host.name)
            _settle(host)
            _inside(host, ("addr", "add", f"{host.address}/24", "dev", end), ("link", "set", end, "up"))
            _inside(host, ("link", "set", "lo", "up"))
        _inside(hosts[0], ("addr", "add", f"{SECOND}/24", "dev", cable[0]))
        _inside(hosts[0], ("route", "add", "default", "via", TABLET))
        _inside(hosts[1], ("route", "add", f"{SECOND}/32", "via", STUDY))
        yield hosts
    finally:
        for name in names:
            subprocess.run([_ip(), "netns", "del", name], capture_output=True, check=False)


def _settle(host: Host) -> None:
    """No address of IPv6, which the system would add a second or two later: browsers drop what they load at such a change."""
    switch = "/proc/sys/net/ipv6/conf/all/disable_ipv6"
    _do("netns", "exec", host.name, "sh", "-c", f"test ! -e {switch} || echo 1 >{switch}")


def _inside(host: Host, *changes: Sequence[str]) -> None:
    for change in changes:
        _do("-n", host.name, *change)


# The page on a host


@dataclass
class Shared:
    """A page that is served on a host."""

    process: subprocess.Popen[str]
    own: str
    lan: str = ""
    said: list[str] = field(default_factory=list)

    @property
    def port(self) -> int:
        return int(urlsplit(self.lan or self.own).port or 0)

    @property
    def token(self) -> str:
        return urlsplit(self.lan).path

    @property
    def own_token(self) -> str:
        return urlsplit(self.own).path


@contextlib.contextmanager
def served(host: Host, *arguments: str) -> Iterator[Shared]:
    """The command `page` on a host, with the addresses that it printed."""
    command = host.command(sys.executable, "-m", "fillgen", "page", "--no-browser", *arguments)
    surroundings = {**os.environ, "PYTHONIOENCODING": "utf-8"}
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8", env=surroundings
    )
    assert process.stdout is not None
    assert process.stderr is not None
    page = Shared(process, process.stdout.readline().strip())
    try:
        if "--share" in arguments:
            page.lan = process.stdout.readline().strip()
        while line := process.stderr.readline():
            page.said.append(line.rstrip("\n"))
            if "Ctrl-C" in line:
                break
        yield page
    finally:
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=60)
