"""The page in figures: `python -m tests.bench.page`.

How long fifty ideas take to become a page, with the sounds made before and without; how large it is; how soon it can be used
after it is opened, in Debian's chromium; how soon the server answers. Each figure is the least of several runs, since other
work on the machine only adds. 1 where a promise is missed; without chromium the opening is not measured, and that is said.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping
from pathlib import Path

from tests.bench.surroundings import figure, told
from tests.browser.conftest import ARGUMENTS
from tests.properties.local_page import running

CHART = "title: Lantern Steps\n| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |"
RUNS = 5
BUILT, USABLE, ANSWERED = 1.5, 1.0, 0.15
"""Seconds: to build, until it can be used, until the server answers."""
LARGEST = 3.0
"""MB."""
BUILD = f"""
import os, sys, time
import fillgen
found = fillgen.ideas({CHART!r}, rhythm="foxtrot", count=50, seed=3)
assert len(found) == 50
import fillgen.page.data, fillgen.page.looks, fillgen.page.voices
from fillgen.page import build
began, worked = time.perf_counter(), sum(os.times()[:4])
page = build(found)
print(time.perf_counter() - began, sum(os.times()[:4]) - worked)
with open(sys.argv[1], "wb") as file:
    file.write(page)
"""
USE = """() => new Promise((done) => {
    const begun = performance.now();
    document.addEventListener("fillgen:lit", () => done(performance.now() - begun), { once: true });
    document.querySelector("#card-1-1 .play").click();
})"""


def built(page: Path, cache: Path) -> tuple[float, float]:
    """Seconds that a fresh process takes to build the page, its modules being loaded and its ideas found; and the seconds
    of processor time of all processes that work at it."""
    surroundings = {**os.environ, "XDG_CACHE_HOME": str(cache)}
    ran = subprocess.run(
        [sys.executable, "-c", BUILD, str(page)], env=surroundings, check=True, capture_output=True, text=True
    )
    taken, worked = map(float, ran.stdout.split())
    return taken, worked


def opened(page: Path, chromium: str) -> Mapping[str, float]:
    """Seconds from opening the file until all is shown and answers, and from pressing Play to the first lit note."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - only where there is a browser

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=list(ARGUMENTS))
        tab = browser.new_page()
        tab.goto("about:blank")
        tab.goto(page.as_uri())
        ready = tab.evaluate("() => performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd")
        tab.wait_for_selector("body[data-ready]")
        assert tab.locator("article").count() == 50
        lit = tab.evaluate(USE)
        browser.close()
    return {"ready": ready / 1000, "lit": lit / 1000}


def first_reply() -> float:
    """Seconds from loaded modules to the local page in hand."""
    begun = time.perf_counter()
    with running(None) as page:
        assert page.get("").status == 200
        return time.perf_counter() - begun


def main() -> int:
    """Print the figures; 1 where a promise is missed."""
    print(told(("verovio", "playwright")), flush=True)
    kept = []

    def promised(what: str, value: float, unit: str, most: float) -> None:
        kept.append(value <= most)
        figure(what, f"{value:.3g} {unit}", f"at most {most:g} {unit}", kept[-1])

    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "ideas.html"
        cold = [built(page, Path(folder) / f"cache-{run}") for run in range(RUNS)]
        warm = [built(page, Path(folder) / "cache-0") for _ in range(RUNS)]
        promised("page: fifty ideas in twelve keys built, sounds kept from before", min(warm)[0], "s", BUILT)
        figure("page: the same, median", f"{statistics.median(taken for taken, _ in warm):.2f} s")
        figure(
            "page: the same, processor time of all processes", f"{min(worked for _, worked in warm):.2f} s"
        )
        figure("page: the same, sounds made as well", f"{min(cold)[0]:.2f} s")
        promised("page: size of the file", page.stat().st_size / 1e6, "MB", LARGEST)
        chromium = os.environ.get("CHROMIUM") or shutil.which("chromium")
        if chromium:
            found = [opened(page, chromium) for _ in range(RUNS)]
            promised("page: usable after opening", min(each["ready"] for each in found), "s", USABLE)
            figure("page: from Play to the first lit note", f"{min(each['lit'] for each in found):.2f} s")
        else:
            figure("page: usable after opening", "not measured, no chromium: bash .ci/system")
    promised("page: server, start to first reply", min(first_reply() for _ in range(RUNS)), "s", ANSWERED)
    return int(not all(kept))


if __name__ == "__main__":
    sys.exit(main())
