"""The bench of `fillgen batch`: thousands of charts, fifty ideas each. `python -m tests.bench.batch [CHARTS] [KILLS]`.

It prints the time in all and per chart, how many times faster all cores are than one process, memory over the run, and
how many results are whole; then how many of so many killed processes left only whole files. 5,000 charts and 200 kills
if nothing is said. Memory is read from /proc, so it needs Linux.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from fillgen.chart.text import parse_chart
from fillgen.dice import Dice
from fillgen.theory.metre import METRES
from fillgen.theory.pitch import Key, all_keys
from tests.bench.surroundings import figure

MAJOR = (
    "Imaj7",
    "I6",
    "ii7",
    "iii7",
    "IVmaj7",
    "V7",
    "vi7",
    "V7/ii",
    "V7/V",
    "#ivdim7",
    "bVII7",
    "iv6",
    "VI7",
)
MINOR = ("im7", "i6", "iim7b5", "III", "ivm7", "V7", "V7b9", "VI", "VII", "V7/iv")
ALONE = 6
"""One process is timed over a part of the charts, half of it before and half after: one in so many."""
GROWTH = 1.1
"""What memory in the last tenth of a run may be of that in the second tenth, at most."""
WARM = 2400
"""From so many charts on memory is judged: the second tenth begins when every key has been met in every metre."""
NEAR_ALL = 0.8
"""How much of each core's work has to come out as speed."""


def chart(number: int) -> str:
    """A chart of its own for every number: all keys and metres in turn, four to eight bars, ending on the dominant.

    >>> chart(0) == chart(0)
    True
    """
    dice = Dice(number)
    key = all_keys()[number % len(all_keys())]
    metre = METRES[list(METRES)[number // len(all_keys()) % len(METRES)]]
    bars = [_bar(dice, key, metre.beats % 2 == 0) for _ in range(dice.below(5) + 3)]
    return f"title: Number {number}\nkey: {key}\nmetre: {metre.name}\n| {' | '.join(bars)} | V7 |\n"


def _bar(dice: Dice, key: Key, halves: bool) -> str:
    chords = MAJOR if key.mode == "major" else MINOR
    return " ".join(chords[dice.below(len(chords))] for _ in range(1 + (halves and dice.below(3) == 0)))


def write_charts(folder: Path, count: int) -> None:
    """So many charts in a folder, a hundred to a sub-folder."""
    for number in range(count):
        path = folder / f"{number // 100:03}" / f"{number:05}.txt"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(chart(number), encoding="utf-8")


def batch(charts: Path, results: Path, *options: str) -> subprocess.Popen[bytes]:
    """A running `fillgen batch`."""
    command = [sys.executable, "-m", "fillgen", "batch", str(charts), "-o", str(results), *options]
    return subprocess.Popen(command, stderr=subprocess.PIPE)


def memory(process: int) -> float:
    """The resident memory of a process in megabytes, 0 once it has ended."""
    try:
        told = Path(f"/proc/{process}/statm").read_text()
    except OSError:
        return 0.0
    return int(told.split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def children(process: int) -> Iterator[int]:
    """The processes that a process has started and that are still there."""
    for listed in Path(f"/proc/{process}/task").glob("*/children"):
        try:
            yield from map(int, listed.read_text().split())
        except OSError:
            continue


def watched(running: subprocess.Popen[bytes]) -> tuple[float, list[tuple[float, float]]]:
    """The seconds that a batch takes, and the memory of its first process and of all others while it runs."""
    start = time.perf_counter()
    samples = []
    while True:
        try:
            running.wait(0.25)
        except subprocess.TimeoutExpired:
            samples.append((memory(running.pid), sum(memory(child) for child in children(running.pid))))
        else:
            return time.perf_counter() - start, samples


def spent() -> float:
    """The seconds of computing of all processes that have been started here and have ended."""
    told = resource.getrusage(resource.RUSAGE_CHILDREN)
    return told.ru_utime + told.ru_stime


def grown(values: list[float]) -> tuple[float, float, float]:
    """The highest of some values, and the middle of the second and of the last tenth of them."""
    tenth = max(1, len(values) // 10)
    return max(values), statistics.median(values[tenth : 2 * tenth]), statistics.median(values[-tenth:])


def whole(results: Path) -> int:
    """How many results can be read and hold ideas over the bars of their chart."""
    good = 0
    for path in results.rglob("*.json"):
        told = json.loads(path.read_bytes())
        bars = len(parse_chart(chart(int(path.stem))).bars)
        good += bool(told["ideas"]) and len(told["chart"]["bars"]) == bars
    return good


def work(count: int, folder: Path) -> int:
    """Time the batch over so many charts, and say what came of it; the figures that are not as they should be."""
    charts, results = folder / "charts", folder / "results"
    write_charts(charts, count)
    parts = _parts(charts, folder / "few", max(1, count // ALONE))
    alone = [watched(batch(part, folder / f"alone-{n}", "--jobs", "1"))[0] for n, part in parts[:1]]
    before = spent()
    seconds, samples = watched(batch(charts, results))
    busy = spent() - before
    alone += [watched(batch(part, folder / f"alone-{n}", "--jobs", "1"))[0] for n, part in parts[1:]]
    few = sum(1 for _ in (folder / "few").rglob("*.txt"))
    good, cores = whole(results), len(os.sched_getaffinity(0))
    rate, rate_alone = count / seconds, few / sum(alone)
    print(
        f"{count:,} charts, fifty ideas each: {seconds:.1f} s in all, {1000 * seconds / count:.0f} ms a chart"
    )
    print(
        f"{rate:.2f} charts a second on {cores} cores, {rate_alone:.2f} in one process: ratio {rate / rate_alone:.2f}"
    )
    idle = 1 - busy / (seconds * cores)
    print(
        f"{1000 * busy / count:.0f} ms of computing a chart; the cores were left to others for {idle:.0%} of the time"
    )
    missed = rate / rate_alone < NEAR_ALL * cores
    for who, values in zip(("the first process", "the others"), zip(*samples, strict=True), strict=True):
        peak, second, last = grown(list(values))
        kept = last <= GROWTH * second
        told = ("flat" if kept else "GROWS") if count >= WARM else f"told from {WARM:,} charts up"
        missed += told == "GROWS"
        figure(
            f"batch: memory of {who}, MB: second and last tenth, peak",
            f"{second:.0f}, {last:.0f}, {peak:.0f}",
            told,
        )
    figure(f"batch of {count:,} charts: results whole", f"{good:,}", f"{count:,}", good == count)
    figure("batch: ms a chart, busy cores", f"{1000 * seconds / count:.0f}")
    figure(
        "batch: times one process",
        f"{rate / rate_alone:.2f}",
        f"at least {NEAR_ALL * cores:.1f}",
        rate / rate_alone >= NEAR_ALL * cores,
    )
    return missed + (good != count)


def _parts(charts: Path, folder: Path, count: int) -> list[tuple[int, Path]]:
    """Two folders with copies of so many of the charts, taken evenly from all of them."""
    every = sorted(charts.rglob("*.txt"))
    for number, path in enumerate(every[:: max(1, len(every) // count)][:count]):
        part = folder / str(number % 2)
        part.mkdir(parents=True, exist_ok=True)
        shutil.copy(path, part)
    return [(number, folder / str(number)) for number in range(min(2, count))]


def main(arguments: list[str]) -> int:
    """Print the figures; 1 where one is not as it should be."""
    from tests.properties.test_faults import killed_batches, killed_writers  # noqa: PLC0415 - it imports this

    count, kills = [*map(int, arguments), *(5000, 200)[len(arguments) :]]
    with tempfile.TemporaryDirectory() as name:
        missed = work(count, Path(name) / "work")
        for what, killed in (("writers", killed_writers), ("batches", killed_batches)):
            (Path(name) / what).mkdir()
            drafts = killed(Path(name) / what, kills)
            figure(f"{kills} {what} killed, all files whole; drafts left, then cleared", f"{drafts}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
