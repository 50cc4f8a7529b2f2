"""What holds for every test: no test, and no process that a test starts, touches the idea book or the instruments of whoever runs them."""

from __future__ import annotations

import atexit
import contextlib
import os
import signal

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
