"""What holds for every test: no test, and no process that a test starts, touches the idea book or the instruments of whoever runs them."""

from __future__ import annotations

import os
import signal
import tempfile
from pathlib import Path

_FOLDER = tempfile.TemporaryDirectory(prefix="fillgen-tests-")
"""Kept as long as the tests run, and removed when they end. Each process of a parallel run has its own."""

os.environ["FILLGEN_BOOK"] = str(Path(_FOLDER.name) / "ideas.book")
os.environ["XDG_DATA_HOME"] = str(Path(_FOLDER.name) / "data")
os.environ["XDG_CACHE_HOME"] = str(Path(_FOLDER.name) / "cache")
os.environ["MIDO_BACKEND"] = "tests.memory_ports"
os.environ.pop("FILLGEN_NO_BOOK", None)

if (
    signal.getsignal(signal.SIGINT) is signal.SIG_IGN
):  # so are the processes of a script that runs in the background
    signal.signal(signal.SIGINT, signal.default_int_handler)
