"""Scores are read in a process of their own, with limits on time and memory for each.

The library that reads them trusts what a file says about itself; the damage stays inside that process.
"""

from __future__ import annotations

import atexit
import contextlib
import os
import pickle
import signal
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from subprocess import DEVNULL, PIPE, Popen
from threading import Lock, Timer
from typing import Any, BinaryIO

from fillgen.errors import FillgenError, TuneError
from fillgen.incoming import read_bytes
from fillgen.readers import musicxml
from fillgen.readers.lines import Lines
from fillgen.readers.melody import Sheet
from fillgen.readers.tunes import Tune

try:
    import resource
except ImportError:  # on Windows, where only the clock stops a reader
    _HAS_LIMITS = False
else:
    _HAS_LIMITS = True

MOST_SECONDS = 3
"""The computing time that one score may take, in seconds."""
MOST_WAITING = 20.0
"""How long an answer is waited for on a busy machine, in seconds."""
MOST_MEMORY = 480_000_000
"""The memory that the process may have, its libraries included, in bytes; kept on Linux only."""
_GROWN = MOST_MEMORY * 2 // 3
_HINT = "Give a shorter score, or save it again from a music program."

_ROOT = str(Path(__file__).resolve().parents[2])


def command(module: str) -> tuple[str, ...]:
    """The command line of a process that runs `main` of one of our modules.

    Its modules are never looked for in the folder where fillgen was started.
    """
    code = f"import sys; sys.path.append({_ROOT!r}); from {module} import main; main()"
    return sys.executable, "-P", "-c", code


def _midi_lines(content: bytes, place: str) -> Lines:
    from fillgen.readers.midi_lines import read_lines  # noqa: PLC0415 - mido is loaded for MIDI files only

    return read_lines(content, place)


_TASKS: dict[str, Callable[[Any, str], Any]] = {
    "abc lines": musicxml.read_abc_lines,
    "midi lines": _midi_lines,
    "tune": musicxml.read_tune,
    "score": musicxml.read_score,
    "abc": musicxml.read_abc,
}


def read_tune(path: Path) -> Tune:
    """The tune of a MusicXML file, as `musicxml.read_tune` reads it, under the limits.

    Raises OutputError if the file cannot be read, TuneError if it cannot be used or takes more than it may.
    """
    return tune_in(read_bytes(path, musicxml.MOST_BYTES), str(path))


def tune_in(content: bytes, place: str) -> Tune:
    """The tune in the bytes of a MusicXML file, under the limits; TuneError if it cannot be used."""
    tune: Tune = _READER.ask("tune", content, place)
    return tune


def read_lines(content: bytes | str, place: str) -> Lines:
    """The lines of a tune, from the bytes of a MIDI file or from an ABC text, under the limits.

    Raises TuneError if it cannot be used or takes more than it may.
    """
    task = "abc lines" if isinstance(content, str) else "midi lines"
    lines: Lines = _READER.ask(task, content, place)
    return lines


def read_score(content: bytes, place: str) -> Sheet:
    """The melodies of a MusicXML score, plain or packed, under the limits; TuneError if it cannot be used."""
    sheet: Sheet = _READER.ask("score", content, place)
    return sheet


def read_abc(text: str, place: str) -> Sheet:
    r"""The melodies of the first tune of an ABC text, under the limits; TuneError if it cannot be used.

    >>> found = read_abc("X:1\nT:Quill\nM:3/4\nL:1/4\nK:F\nFGB|c3|", "a tune")
    >>> [sound.midi for sound in found.voices[0].sounds]
    [65, 67, 70, 72]
    """
    sheet: Sheet = _READER.ask("abc", text, place)
    return sheet


class _Reader:
    """The process that reads, kept for the next score; one that has ended is replaced."""

    def __init__(self, command: Sequence[str]) -> None:
        self._command = command
        self._process: Popen[bytes] | None = None
        self._owner = 0
        self._lock = Lock()

    def ask(self, task: str, content: bytes | str, place: str) -> Any:
        """The result of a task on some content; TuneError if it doesn't end within its limits."""
        with self._lock:
            process = self._running()
            assert process.stdin is not None
            assert process.stdout is not None
            watch = Timer(MOST_WAITING, process.kill)
            watch.start()
            try:
                pickle.dump((task, content, place), process.stdin)
                process.stdin.flush()
                answer, stays = pickle.load(process.stdout)  # noqa: S301 - from our own process
            except (OSError, EOFError, pickle.UnpicklingError):
                self.end()
                raise TuneError("takes too long to read", place=place, hint=_HINT) from None
            except BaseException:  # Ctrl-C: nobody is waiting for the rest
                process.kill()
                self.end()
                raise
            finally:
                watch.cancel()
            if not stays:
                self.end()
        if isinstance(answer, Exception):
            raise answer
        return answer

    def _running(self) -> Popen[bytes]:
        """The process, started if this process has none of its own."""
        if self._process is None or self._owner != os.getpid() or self._process.poll() is not None:
            self.end()
            self._process = Popen(self._command, stdin=PIPE, stdout=PIPE, stderr=DEVNULL)  # noqa: S603 - our own
            self._owner = os.getpid()
            atexit.register(self.end)
        return self._process

    def end(self) -> None:
        """Let the process end, by closing what it reads from."""
        process, self._process = self._process, None
        if process is None or self._owner != os.getpid():
            return
        atexit.unregister(self.end)
        for stream in (process.stdin, process.stdout):
            assert stream is not None
            with contextlib.suppress(OSError):
                stream.close()
        process.wait()


_READER = _Reader(command(__name__))


# In the process of its own


def main() -> None:
    """Answer requests from standard input on standard output, until the input is closed."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    asks, tells = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints must not come between the answers
    import music21  # noqa: F401, PLC0415 - its loading is not counted against the first score

    limit_memory(MOST_MEMORY)
    with contextlib.suppress(EOFError, BrokenPipeError):
        while True:
            _answer(asks, tells)


def _answer(asks: BinaryIO, tells: BinaryIO) -> None:
    """Answer one request, and say whether this process may be kept; EOFError after the last."""
    task, content, place = pickle.load(asks)  # noqa: S301 - from the process that started this one
    _limit_time()
    try:
        answer = _TASKS[task](content, place)
    except FillgenError as error:
        answer = error
    except MemoryError:
        answer = TuneError("takes more memory to read than any score should", place=place, hint=_HINT)
    except Exception as error:  # our own bug, to be seen as one
        answer = RuntimeError(f"{type(error).__name__}: {error}")
    pickle.dump((answer, not _has_grown()), tells)
    tells.flush()


def _has_grown() -> bool:
    """Whether this process holds so much memory that the next score had too little."""
    return _memory()[1] > _GROWN


def _limit_time() -> None:
    """Have the system end this process when it computes for too long from now on."""
    if _HAS_LIMITS:
        used = resource.getrusage(resource.RUSAGE_SELF)
        soft = int(used.ru_utime + used.ru_stime) + 1 + MOST_SECONDS
        hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
        resource.setrlimit(resource.RLIMIT_CPU, (soft, hard))


def limit_memory(most: int) -> None:
    """Limit this process to a number of bytes of memory, if the system can.

    The limit is on its address space, which is larger than its memory; what it has now is not counted.
    """
    addresses, pages = _memory()
    if not _HAS_LIMITS or not addresses:
        return
    limit = addresses + max(0, most - pages)
    hard = resource.getrlimit(resource.RLIMIT_AS)[1]
    resource.setrlimit(
        resource.RLIMIT_AS, (limit if hard == resource.RLIM_INFINITY else min(limit, hard), hard)
    )


def _memory() -> tuple[int, int]:
    """The bytes of this process's addresses and of its pages in memory; zeros if the system doesn't say."""
    statm = Path("/proc/self/statm")
    if not _HAS_LIMITS or not statm.is_file():
        return 0, 0
    addresses, pages = (int(count) * resource.getpagesize() for count in statm.read_text().split()[:2])
    return addresses, pages
