"""Is fifty really fifty? `python -m tests.bench.variety` prints how different ideas are from one another.

Ideas beside fair draws over the same plans, which nobody ranked, beside draws that lean as the program's do, and beside the first answers
of one constraint problem over a whole phrase. It needs the extra `bench` and takes about a minute.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from fillgen.chart.text import parse_chart
from fillgen.engine.generate import generate
from fillgen.engine.request import Request
from fillgen.phrase.note import Phrase
from fillgen.theory.metre import METRES
from tests.bench.surroundings import figure, told
from tests.properties.variety import SIDES, Heard, distances, drawn, near_copies

CHARTS = (
    ("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", "4/4", "foxtrot"),
    ("| F | Dm7 | Gm7 | C7 |", "4/4", "bossa nova"),
    ("| Am | Dm7 | Bm7b5 | E7 |", "4/4", "rumba"),
    ("| G | Em7 | Am7 | D7 |", "3/4", "waltz"),
    ("| D6 | B7 | Em7 | A7 |", "6/8", "slow 6/8"),
    ("| Cmaj7 A7 | Dm7 G7 | Em7 A7 | Dm7 G7 |", "4/4", "swing"),
    ("| Bb | Gm | Cm7 | F7 |", "2/4", "march"),
    ("| Ab | Eb7 | Ab | Eb7 |", "4/4", "beguine"),
)
SEEDS = 10
LEAST_KEPT = 0.85
"""Ranked ideas are to keep at least this share of the distance in pitch of fair draws."""
LEAST_APART = 0.98
"""Of the pairs among the ideas of ten seeds at least this share is to be apart."""


def request(number: int, count: int, seed: int = 0) -> Request:
    chart, metre, rhythm = CHARTS[number]
    return Request(parse_chart(chart, metre=METRES[metre]), count=count, rhythm=rhythm, seed=seed)


def ideas(asked: Request) -> list[Phrase]:
    return [idea.phrase for idea in generate(asked)]


def ten_seeds(asked: Request) -> list[Phrase]:
    """Fifty ideas of each of ten seeds."""
    return [phrase for seed in range(SEEDS) for phrase in ideas(replace(asked, count=50, seed=seed))]


def plain(asked: Request) -> list[Phrase]:
    """The first answers of a constraint solver over the whole phrase."""
    from tests.bench.__main__ import Model, plain_search  # noqa: PLC0415 - loads the rival solvers

    return plain_search(Model(asked.progression), asked.count)[0]


WAYS: dict[str, tuple[int, Callable[[Request], list[Phrase]]]] = {
    "fifty ideas": (50, ideas),
    "fifty draws that lean": (50, lambda asked: drawn(asked, fair=False)),
    "fifty fair draws": (50, drawn),
    "fifty of a plain search": (50, plain),
    "five hundred ideas": (500, ideas),
    "ten seeds of fifty ideas": (500, ten_seeds),
    "five hundred fair draws": (500, drawn),
    "five hundred of a plain search": (500, plain),
}


def measured(way: str, number: int) -> dict[str, float]:
    """Mean and least distance on each side, pairs that are apart, and phrases that stay where near-copies go."""
    count, job = WAYS[way]
    asked = request(number, count)
    phrases = job(asked)
    apart = distances(Heard.of(phrases, asked.progression.metre.bar))
    pairs, gone = near_copies(apart["pitch"], len(phrases))
    found = {f"mean {side}": float(apart[side].mean()) for side in SIDES}
    found |= {f"least {side}": float(apart[side].min()) for side in SIDES}
    found["pairs apart, %"] = 100 * (1 - pairs / len(apart["pitch"]))
    found["equal"] = len(phrases) - len(set(phrases))
    found["ideas apart, %"] = 100 * (1 - gone / len(phrases))
    return found


def table(found: dict[str, Sequence[dict[str, float]]]) -> None:
    """A line for each way, the mean over all charts; the least distances are those of the worst chart."""
    columns = list(next(iter(found.values()))[0])
    print(f"\n| | {' | '.join(columns)} |\n|---|{'---:|' * len(columns)}")
    for way, charts in found.items():
        cells = []
        for column in columns:
            values = [chart[column] for chart in charts]
            value = min(values) if column.startswith("least") else np.mean(values)
            cells.append(f"{value:.1f}" if "%" in column or column == "equal" else f"{value:.2f}")
        print(f"| {way} | {' | '.join(cells)} |")


def main() -> int:
    """Print the table; 1 where a promise is missed."""
    print(told(["python-constraint2", "ortools"]))
    found = {way: [measured(way, number) for number in range(len(CHARTS))] for way in WAYS}
    table(found)
    kept = {
        side: np.mean([chart[f"mean {side}"] for chart in found["fifty ideas"]])
        / np.mean([chart[f"mean {side}"] for chart in found["fifty fair draws"]])
        for side in SIDES
    }
    for side in SIDES:
        wanted = (f"at least {LEAST_KEPT:.0%}", bool(kept[side] >= LEAST_KEPT)) if side == "pitch" else ()
        figure(f"fifty ideas, of the distance in {side} of fair draws", f"{kept[side]:.0%}", *wanted)
    apart = [chart["pairs apart, %"] for chart in found["ten seeds of fifty ideas"]]
    print(f"Ten seeds of fifty, pairs apart by chart, %: {', '.join(f'{each:.1f}' for each in apart)}")
    share = np.mean(apart)
    figure("ten seeds of fifty, pairs apart", f"{share:.1f} %", "at least 95 %", bool(share >= 95))
    alone = np.mean([chart["ideas apart, %"] for chart in found["ten seeds of fifty ideas"]])
    figure("ten seeds of fifty, ideas kept where near-copies go", f"{alone:.1f} %", "95 %", bool(alone >= 95))
    good = kept["pitch"] >= LEAST_KEPT and min(apart) >= 100 * LEAST_APART
    print("kept" if good else "MISSED")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
