"""The streams that commands print to: what a reader who has gone no longer takes is dropped, and the work goes on."""

from __future__ import annotations

import contextlib
import io
import os
import sys
from collections.abc import Iterator

GONE = 141
"""The exit code where nobody read to the end: that of a program ended by SIGPIPE, 128 + 13."""


class Outlet(io.TextIOWrapper):
    """A stream that outlives its reader; characters that it can't encode are written as escapes."""

    gone = False

    def write(self, text: str) -> int:
        """Write a text, or drop it where the reader has gone."""
        try:
            return super().write(text)
        except BrokenPipeError:
            self._drop()
            return len(text)

    def flush(self) -> None:
        """Send what was written on its way."""
        try:
            super().flush()
        except BrokenPipeError:
            self._drop()

    def _drop(self) -> None:
        """From here on everything goes nowhere."""
        self.gone = True
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, self.fileno())
        os.close(nowhere)


@contextlib.contextmanager
def outlets() -> Iterator[list[Outlet]]:
    """The program's own streams as outlets while the block runs; streams put in their place by others are left alone."""
    made: list[Outlet] = []
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if (
            stream is not None
            and stream is getattr(sys, f"__{name}__")
            and isinstance(stream, io.TextIOWrapper)
        ):
            stream.flush()
            outlet = Outlet(
                stream.detach(), stream.encoding, "backslashreplace", line_buffering=stream.line_buffering
            )
            setattr(sys, name, outlet)
            setattr(sys, f"__{name}__", outlet)
            made.append(outlet)
        elif stream is not None and hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        yield made
    finally:
        for outlet in made:
            outlet.flush()
