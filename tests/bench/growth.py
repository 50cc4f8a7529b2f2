"""How does time grow? `python -m tests.bench.growth [FOLDER]` prints tables and draws `growth.png` into the folder.

Time to find ideas against the number of bars, of ideas, the level and how busy they are; one thing changes at a time, the rest stays
as by default. Each time is the least of several, all cases in turn, so that a busy moment of the machine meets all of
them. It needs the extra `bench` (matplotlib) and takes about a minute.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np

from fillgen.chart.text import parse_chart
from fillgen.engine.generate import generate
from fillgen.engine.request import Request
from fillgen.rules.pack import BUSY
from tests.bench.surroundings import figure, told

LINE = "Ebmaj7 | Gm7 C7 | Fm7 | Bb7"
BARS = (4, 8, 16, 32, 64, 128, 256)
IDEAS = (10, 25, 50, 100, 250, 500, 1000)
LEVELS = (1, 2, 3, 4, 5)
ROUNDS = 5
MOST_A_BAR = 1.5
"""A bar of 256 takes at most so many times as long as one of 64."""


def request(bars: int = 4, **settings: Any) -> Request:
    return Request(parse_chart(f"| {' | '.join([LINE] * (bars // 4))} |"), **settings)


CASES: dict[str, Mapping[str, Request]] = {
    "bars": {str(bars): request(bars) for bars in BARS},
    "ideas": {str(count): request(count=count) for count in IDEAS},
    "level": {str(level): request(level=level) for level in LEVELS},
    "busy": {busy: request(busy=busy) for busy in BUSY},
}
TITLES = {
    "bars": "Fifty ideas over so many bars",
    "ideas": "So many ideas over four bars",
    "level": "Fifty ideas of four bars, by level",
    "busy": "Fifty ideas of four bars, by how busy they are",
}


def least(jobs: Sequence[Callable[[], object]]) -> list[float]:
    """The least time of each job in milliseconds, the jobs run in turn."""
    rounds = []
    for _ in range(ROUNDS):
        times = []
        for job in jobs:
            start = perf_counter()
            job()
            times.append(1e3 * (perf_counter() - start))
        rounds.append(times)
    return [min(column) for column in zip(*rounds, strict=True)]


def timed(group: str) -> dict[str, float]:
    """The milliseconds of each case of a group."""
    cases = CASES[group]
    return dict(zip(cases, least([lambda r=r: generate(r) for r in cases.values()]), strict=True))


def a_bar(times: Mapping[str, float]) -> float:
    """The time of a bar of 256 against that of a bar of 64."""
    return (times["256"] / 256) / (times["64"] / 64)


def table(group: str, times: Mapping[str, float]) -> None:
    print(f"\n{TITLES[group]}\n\n| {' | '.join([group, *times])} |\n|---|{'---:|' * len(times)}")
    print(f"| ms | {' | '.join(f'{time:.0f}' for time in times.values())} |")
    if group in {"bars", "ideas"}:
        each = (f"{time / int(case):.2f}" for case, time in times.items())
        print(f"| ms each | {' | '.join(each)} |")


def line_through(times: Mapping[str, float]) -> tuple[float, float]:
    """Milliseconds for each one more, and those that are there from the start: a line by least squares."""
    slope, start = np.polyfit([int(case) for case in times], list(times.values()), 1)
    return float(slope), float(start)


# The picture


def draw(found: Mapping[str, Mapping[str, float]], path: Path) -> None:
    """Four panels: lines where something is counted, bars where there are kinds."""
    from matplotlib.figure import Figure  # noqa: PLC0415 - 0.4 s that only the picture needs

    figure = Figure(figsize=(10, 7.5), layout="constrained")
    axes = figure.subplots(2, 2).flat
    for (group, times), panel in zip(found.items(), axes, strict=True):
        panel.set_title(TITLES[group], fontsize=12, loc="left")
        panel.set_ylabel("time (ms)")
        panel.spines[["top", "right"]].set_visible(False)
        panel.grid(axis="y", color="0.88")
        panel.set_axisbelow(True)
        _line(panel, group, times) if group in {"bars", "ideas"} else _bars(panel, group, times)
        panel.set_ylim(0, 1.12 * max(times.values()))
    figure.savefig(path, dpi=110)


def _line(panel: Any, group: str, times: Mapping[str, float]) -> None:
    counts = [int(case) for case in times]
    slope, start = line_through(times)
    panel.plot([0, counts[-1]], [start, start + slope * counts[-1]], color="0.6", linestyle="--", linewidth=1)
    panel.plot(counts, list(times.values()), marker="o", color="tab:blue")
    panel.annotate(
        f"dashed: a straight line, {slope:.2f} ms for each one more",
        (0.98, 0.05),
        xycoords="axes fraction",
        ha="right",
        color="0.35",
    )
    panel.set_xlabel(f"number of {group}")
    panel.set_xlim(left=0)
    panel.set_xticks([count for count in counts if count >= counts[-1] / 8])


def _bars(panel: Any, group: str, times: Mapping[str, float]) -> None:
    drawn = panel.bar(list(times), list(times.values()), width=0.6, color="tab:blue")
    panel.bar_label(drawn, fmt="%.0f", padding=2)
    panel.set_xlabel({"level": "level", "busy": "how many notes"}[group])


def main() -> int:
    """Print the tables and draw the picture; 1 where time grows faster than the bars."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(tempfile.gettempdir())
    folder.mkdir(parents=True, exist_ok=True)
    print(told(["matplotlib"]))
    generate(request())
    found = {group: timed(group) for group in CASES}
    for group, times in found.items():
        table(group, times)
    slope, start = line_through(found["bars"])
    ratio = a_bar(found["bars"])
    good = ratio <= MOST_A_BAR
    print(f"\ntime = {start:.0f} ms + {slope:.2f} ms a bar")
    figure("a bar of 256, times one of 64", f"{ratio:.2f}", f"at most {MOST_A_BAR}", good)
    draw(found, folder / "growth.png")
    print(f"drawn: {folder / 'growth.png'}")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
