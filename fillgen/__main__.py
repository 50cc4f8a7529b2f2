"""The front door of the command line: quiet from the first moment, whatever its streams are."""

from __future__ import annotations

import contextlib
import os
import signal

_INTERRUPTED = 128 + signal.SIGINT


def run() -> None:
    """Start the program. Until it has started, Ctrl-C ends it without a word."""
    try:
        with contextlib.suppress(ValueError):  # only the first thread may say what signals do
            if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
                signal.signal(signal.SIGINT, signal.SIG_DFL)
    except KeyboardInterrupt:
        os._exit(_INTERRUPTED)
    _fill_gaps()
    from fillgen.cli import main

    main()


def _fill_gaps() -> None:
    """Open what stands for streams that are closed, so that no file of ours is taken for one of them."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)


if __name__ == "__main__":
    run()
