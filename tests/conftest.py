"""What holds for every test: no test, and no process that a test starts, touches the idea book or the instruments of whoever runs them."""

from __future__ import annotations

import atexit
import contextlib
import gc
import os
import signal
from collections import defaultdict

import pytest

from tests.folders import own_folder

_END = contextlib.ExitStack()
_FOLDER = _END.enter_context(own_folder())
"""Kept as long as the tests run, and removed when they end. Each process of a parallel run has its own."""
atexit.register(_END.close)

os.environ["FILLGEN_BOOK"] = str(_FOLDER / "ideas.book")
os.environ["XDG_DATA_HOME"] = str(_FOLDER / "data")
os.environ["XDG_CACHE_HOME"] = str(_FOLDER / "cache")
os.environ["XDG_STATE_HOME"] = str(_FOLDER / "state")
os.environ["FILLGEN_SOUNDFONT"] = ""  # our own voices, whatever is installed
os.environ["MIDO_BACKEND"] = "tests.memory_ports"
os.environ.pop("FILLGEN_NO_BOOK", None)

if (
    signal.getsignal(signal.SIGINT) is signal.SIG_IGN
):  # so are the processes of a script that runs in the background
    signal.signal(signal.SIGINT, signal.default_int_handler)


_LONG = tuple(f"tests/{name}/" for name in ("browser", "outside", "properties"))
"""Where the files lie that take long."""


def pytest_xdist_auto_num_workers(config: pytest.Config) -> int:
    """Two workers for a processor: now and then one waits for a browser, a server or a process."""
    return 2 * (os.cpu_count() or 1)


def pytest_collection_finish() -> None:
    """What has been loaded stays until the end: nobody need look through it for what can be thrown away."""
    gc.collect()
    gc.freeze()


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Files that take long come first, so that no worker is left with one of them at the end.

    Of the cases of a costly test two are tried each time, the first and the last; the others are slow.
    """
    items.sort(key=lambda item: not item.nodeid.startswith(_LONG))
    tests: dict[tuple[object, str], list[pytest.Item]] = defaultdict(list)
    for item in items:
        if item.get_closest_marker("costly") and not item.get_closest_marker("slow"):
            tests[item.parent, item.name.partition("[")[0]].append(item)
    for cases in tests.values():
        for item in cases[1:-1]:
            item.add_marker("slow")
