"""The page in figures: `python -m tests.bench.page`.

How long fifty ideas take to become a page, with the sounds made before and without; how large it is, and one of 200 ideas;
how soon it can be used after it is opened, in Debian's chromium; how smoothly 200 ideas scroll and how long the browser is
held up meanwhile; how soon the server answers, and how soon its page shows ideas over 4, 16 and 32 bars, in seconds and in
multiples of what the engine takes for four bars. Each figure is the least of several runs, since other work on the machine
only adds. 1 where a promise is missed; without chromium the opening is not measured, and that is said.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import fillgen
from fillgen.page import build
from tests.bench.surroundings import figure, told
from tests.browser.conftest import ARGUMENTS
from tests.properties.local_page import running

CHART = "title: Lantern Steps\n| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |"
RUNS = 5
SERVED_RUNS = 3
BUILT, USABLE, ANSWERED = 1.5, 1.0, 0.15
"""Seconds: to build, until it can be used, until the server answers."""
LARGEST, LARGEST_OF_200 = 3.0, 6.0
"""MB."""
FRAME, HELD_UP, SOUND = 20.0, 100.0, 0.3
"""Milliseconds that 95 of 100 frames stay within while 200 ideas scroll, and that nothing holds the page up for longer than;
seconds to the first sound."""
FOUR = ("Ebmaj7", "Gm7", "Fm7", "Bb7")
SOON = {4: (0.3, 0.8), 16: (None, 1.5), 32: (None, 3.0)}
"""By bars: seconds to the first idea and to the fiftieth, on two idle cores."""
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
WATCH = """
    globalThis.longest = 0;
    new PerformanceObserver((list) => list.getEntries().forEach(({ duration }) => { longest = Math.max(longest, duration); }))
        .observe({ type: "longtask", buffered: true });
"""
SCROLL = """() => new Promise((done) => {
    const frames = [];
    let last = 0;
    const go = (now) => {
        if (last) frames.push(now - last);
        last = now;
        window.scrollBy({ top: 60, behavior: "instant" });
        if (frames.length < 200) requestAnimationFrame(go);
        else done(frames.sort((one, other) => one - other)[Math.floor(0.95 * frames.length)]);
    };
    requestAnimationFrame(go);
})"""
NAMES = """() => new Promise((done) => {
    document.querySelector('[name="names"]').click();
    setTimeout(() => requestAnimationFrame(() => setTimeout(() => done(longest), 100)), 0);
})"""
FIND = """() => new Promise((done) => {
    const begun = performance.now();
    let first = 0;
    const watch = new MutationObserver(() => {
        const count = document.querySelectorAll("#ideas .idea").length;
        if (fillgen.made === before) return;
        if (!first && count && document.querySelector("#ideas .idea .picture svg")) first = performance.now() - begun;
        if (count < 50 || !first) return;
        watch.disconnect();
        done([first / 1000, (performance.now() - begun) / 1000]);
    });
    const before = fillgen.made;
    watch.observe(document.getElementById("ideas"), { childList: true, subtree: true });
    document.querySelector(".find").click();
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


@contextlib.contextmanager
def tab_of(chromium: str) -> Iterator[Any]:
    """A tab that notes the longest task of its main thread, in milliseconds."""
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - only where there is a browser

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=list(ARGUMENTS))
        tab = browser.new_page()
        tab.add_init_script(WATCH)
        yield tab
        browser.close()


def long_list(page: Path, chromium: str) -> Mapping[str, float]:
    """Milliseconds that 95 of 100 frames take at most while a page of 200 ideas scrolls; the longest task until it is open
    and has scrolled, and until its note names are shown."""
    with tab_of(chromium) as tab:
        tab.goto(page.as_uri())
        tab.wait_for_selector("body[data-ready]")
        assert tab.locator("article").count() == 200
        frame = tab.evaluate(SCROLL)
        shown = tab.evaluate("() => longest")
        tab.evaluate("() => { longest = 0; }")
        return {"frame": frame, "shown": shown, "names": tab.evaluate(NAMES)}


def served(bars: int, chromium: str) -> tuple[float, float, float]:
    """Seconds from a press on the button of the served page to the first idea and to the fiftieth; the longest task, in ms."""
    chart = " | ".join(FOUR[place % len(FOUR)] for place in range(bars))
    with running(None) as page, tab_of(chromium) as tab:
        tab.goto(f"{page.origin}{page.root}")
        tab.wait_for_selector("body[data-ready]")
        tab.wait_for_selector("#ideas .idea:nth-child(12)", state="attached")
        tab.fill("#chart", f"title: Lantern Steps\n| {chart} |")
        tab.wait_for_selector(f".chart-bars li:nth-child({bars})", state="attached")
        first, fifty = tab.evaluate(FIND)
        return first, fifty, tab.evaluate("() => longest")


def engine() -> float:
    """Seconds that the engine takes for fifty ideas over four bars, in this process, having worked before."""
    chart = f"| {' | '.join(FOUR)} |"
    begun = time.perf_counter()
    fillgen.ideas(chart, rhythm="foxtrot", count=50, seed=3)
    return time.perf_counter() - begun


def first_reply() -> float:
    """Seconds from loaded modules to the local page in hand."""
    begun = time.perf_counter()
    with running(None) as page:
        assert page.get("").status == 200
        return time.perf_counter() - begun


Promise = Callable[[str, float, str, float], None]


def in_the_browser(folder: Path, chromium: str, promised: Promise) -> None:
    """The figures that a browser is needed for."""
    found = [opened(folder / "ideas.html", chromium) for _ in range(RUNS)]
    promised("page: usable after opening", min(each["ready"] for each in found), "s", USABLE)
    promised("page: from Play to the first lit note", min(each["lit"] for each in found), "s", SOUND)
    lists = [long_list(folder / "long.html", chromium) for _ in range(RUNS)]
    for what, name, most in (
        ("page: 200 ideas scroll, 95 of 100 frames", "frame", FRAME),
        ("page: 200 ideas opened and scrolled, longest task", "shown", HELD_UP),
        ("page: note names of 200 ideas shown, longest task", "names", HELD_UP),
    ):
        promised(what, min(each[name] for each in lists), "ms", most)
    unit = min(engine() for _ in range(RUNS))
    figure("page: the engine's time for fifty ideas over four bars", f"{unit:.2f} s")
    for bars, (first_most, fifty_most) in SOON.items():
        runs = [served(bars, chromium) for _ in range(SERVED_RUNS)]
        first, fifty, held = (min(each) for each in zip(*runs, strict=True))
        for what, value, most in (("first idea", first, first_most), ("fifty ideas", fifty, fifty_most)):
            name = f"page: {bars} bars, from the button to the {what}"
            promised(name, value, "s", most) if most else figure(name, f"{value:.3g} s")
            figure(f"{name}, in engine's times for four bars", f"{value / unit:.2f}")
        promised(f"page: {bars} bars searched, longest task", held, "ms", HELD_UP)


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
        ideas = fillgen.ideas(CHART, rhythm="foxtrot", count=200, seed=3)
        (Path(folder) / "long.html").write_bytes(build(ideas))
        size = (Path(folder) / "long.html").stat().st_size / 1e6
        promised("page: size of the file of 200 ideas", size, "MB", LARGEST_OF_200)
        chromium = os.environ.get("CHROMIUM") or shutil.which("chromium")
        if chromium:
            in_the_browser(Path(folder), chromium, promised)
        else:
            figure("page: usable after opening", "not measured, no chromium: bash .ci/system")
    promised("page: server, start to first reply", min(first_reply() for _ in range(RUNS)), "s", ANSWERED)
    return int(not all(kept))


if __name__ == "__main__":
    sys.exit(main())
