"""Where and when a bench ran: figures mean little without it."""

from __future__ import annotations

import os
import platform
import subprocess
from collections.abc import Sequence
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path


def commit() -> str:
    """The commit of the checkout, with a mark where files differ from it; `unknown` outside a checkout."""
    command = ["git", "-C", str(Path(__file__).parent), "describe", "--always", "--dirty", "--abbrev=10"]
    try:
        ran = subprocess.run(command, check=False, capture_output=True, text=True)
    except OSError:
        return "unknown"
    return ran.stdout.strip() or "unknown"


def told(packages: Sequence[str] = ()) -> str:
    """Date, commit, cores, Python and the versions of packages, in a line."""
    versions = [f"{name} {_version(name)}" for name in ("numpy", *packages)]
    day = datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC")
    machine = f"{os.cpu_count()} cores of {platform.machine()}, Python {platform.python_version()}"
    return f"{day}, commit {commit()}, {machine}, {', '.join(versions)}"


FIGURE = "figure"
"""What a line begins with that goes into the table of all benches."""


def figure(what: str, value: str, wanted: str = "", kept: bool | None = None) -> None:
    """Print a figure for the table of all benches: what it is, what was wanted, and whether that was reached."""
    verdict = "" if kept is None else "kept" if kept else "MISSED"
    print(" | ".join((FIGURE, what, value, wanted, verdict)), flush=True)


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "missing"
