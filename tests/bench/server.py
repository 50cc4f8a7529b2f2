"""How soon the local page answers, beyond what its imports take: `python -m tests.bench.server`.

Every figure is the median of several starts; the page is bound to a free port of this computer.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from collections.abc import Callable

from tests.bench.surroundings import figure, told
from tests.properties.local_page import running

_STARTS = 7
_SOONEST_MS = 150
GROUND = {"chart": "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", "rhythm": "foxtrot"}


def _ms(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return 1000 * (time.perf_counter() - begun)


def _first_reply() -> float:
    """From nothing but loaded modules to the page in hand, and the end of the server besides."""
    begun = time.perf_counter()
    with running(None) as page:
        assert page.get("").status == 200
        return 1000 * (time.perf_counter() - begun)


def _imports() -> float:
    """What a process takes to load the server, beyond what it takes to start."""

    def run(program: str) -> float:
        return _ms(lambda: subprocess.run([sys.executable, "-c", program], check=True))

    with_server = statistics.median(run("import fillgen.server.serving") for _ in range(_STARTS))
    with_engine = statistics.median(run("import fillgen") for _ in range(_STARTS))
    return with_server - with_engine


def main() -> None:
    print(told(("starlette", "uvicorn")))
    first = statistics.median(_first_reply() for _ in range(_STARTS))
    figure("page: start to first reply, ms", f"{first:.0f}", f"at most {_SOONEST_MS}", first <= _SOONEST_MS)
    figure("page: imports of the server beyond the engine's, ms", f"{_imports():.0f}")
    with running(None) as page:
        page.get("api/start")
        chart = statistics.median(_ms(lambda: page.post("api/chart", GROUND)) for _ in range(_STARTS))
        fifty = statistics.median(_ms(lambda: page.post("api/ideas", GROUND)) for _ in range(3))
    figure("page: a chart understood, ms", f"{chart:.1f}")
    figure("page: fifty ideas found, engraved and sent, ms", f"{fifty:.0f}")


if __name__ == "__main__":
    main()
