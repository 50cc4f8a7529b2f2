"""The bench of the idea book: 100,000 ideas. `python -m tests.bench.book [IDEAS]`.

It fills a book with ideas that the engine draws, half of them over one progression, and prints the time of listing,
searching and finding fresh ideas as engine time, and what remembering fifty ideas adds to a command. All times are
medians on a book that is opened anew each time.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from fillgen.book import store
from fillgen.book.door import Book
from fillgen.book.entries import Chart, Entry, Origin, Showing
from fillgen.book.fresh import fresh, shown
from fillgen.book.listing import list_text
from fillgen.book.search import Wanted, search
from fillgen.chart.text import parse_chart
from fillgen.dice import Dice
from fillgen.engine.generate import Engine, generate
from fillgen.engine.request import Request, settle
from fillgen.phrase.note import Note
from fillgen.phrase.text import phrase_text
from tests.bench.surroundings import figure, told

CHARTS = (
    "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |",
    "| D | F#m | Em7 | A7 |",
    "| F | Dm7 | Gm7 | C7 |",
    "| Am | F | Dm7 | E7 |",
    "| G | Em7 | Am7 D7 | G6 D7 |",
    "| Bbmaj7 G7 | Cm7 F7 | Dm7 Gm7 | Cm7 F7 |",
)
LIMIT = 0.150
"""What listing, searching and finding fresh ideas may take, in seconds."""
REMEMBERING = 0.015
"""What remembering may add to a command, in seconds."""
MONTHS = 400
"""Over so many days the ideas were shown."""


def entries(chart: str, count: int) -> Iterator[Entry]:
    """So many different ideas over a chart, as the engine draws them."""
    progression = parse_chart(chart)
    seen: set[tuple[Note, ...]] = set()
    start = datetime(2026, 1, 1, tzinfo=UTC)
    seed = 0
    while True:
        engine = Engine(settle(Request(progression, seed=seed)))
        dice = Dice(seed)
        spaces = engine.spaces(dice)
        for group in engine.candidates(spaces, sum(space.count for space in spaces), dice):
            for row, score in zip(group.pitches.tolist(), group.scores.tolist(), strict=True):
                notes = tuple(Note(*at, midi) for at, midi in zip(group.plan.rhythm, row, strict=True))
                if notes in seen:
                    continue
                seen.add(notes)
                at = store.stamp(start + timedelta(days=len(seen) * MONTHS // count))
                origin = Origin("ideas", "{}", seed, "built-in", "0", 3, "foxtrot", 116, True, "medium")
                showing = Showing(Chart.of(progression), origin, 1, at, at)
                text = phrase_text(notes, progression)
                yield Entry(notes, text, score, {}, "wave", (showing,), stars=len(seen) % 6)
                if len(seen) == count:
                    return
        seed += 1


def fill(path: Path, count: int) -> None:
    """A book of so many ideas, half of them over the first chart, every fiftieth tagged and noted."""
    with Book(path) as book:
        for number, chart in enumerate(CHARTS):
            own = count // 2 if not number else count // 2 // (len(CHARTS) - 1)
            numbers, _ = store.add(book, entries(chart, own))
            store.tag(book, numbers[::50], "gig")
            store.tag(book, numbers[::3], f"lesson {number}")
            store.annotate(book, numbers[::50], "a little slower, and the left hand softer")


def median(job: Callable[[], object], times: int = 9) -> float:
    """The median time of a job, in seconds."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        job()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def figures(path: Path) -> dict[str, float]:
    """What each of the jobs takes, in seconds."""
    progression = parse_chart(CHARTS[0])
    moved = parse_chart("| Cmaj7 | Em7 A7 | Dm7 | G7 |")

    def listed(wanted: Wanted) -> str:
        with Book(path, writes=False) as book:
            numbers, total = search(book, wanted, 20)
            return list_text(store.entries(book, numbers), total)

    def found() -> object:
        with Book(path) as book:
            return fresh(Request(progression), shown(book, progression))

    wishes = {
        "list": Wanted(),
        "chart in another key": Wanted(progression=moved),
        "key": Wanted(key="C major"),
        "rhythm and level": Wanted(rhythm="foxtrot", level=3),
        "tag": Wanted(tag="lesson 0"),
        "words": Wanted(words="left hand"),
        "title": Wanted(title="harbour"),
        "days and stars": Wanted(since=date(2026, 3, 1), until=date(2026, 6, 1), stars=4),
    }
    told_: dict[str, float] = {name: median(lambda w=wanted: listed(w)) for name, wanted in wishes.items()}  # type: ignore[misc]
    return {
        **told_,
        "fresh": median(found),
        "(ideas without a book)": median(lambda: generate(Request(progression))),
    }


def remembering(path: Path) -> float:
    """What remembering fifty ideas takes, the book opened and closed, in seconds."""
    ideas = generate(Request(parse_chart(CHARTS[0]), seed=77))
    moment = datetime(2026, 11, 25, tzinfo=UTC)

    def job() -> None:
        with Book(path) as book:
            store.remember(book, ideas, moment, command="ideas", options={}, rules="built-in", version="0")

    return median(job)


def main(arguments: list[str]) -> int:
    """Print the figures; 1 where one is beyond its limit."""
    count = int(arguments[0]) if arguments else 100_000
    missed = 0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ideas.book"
        start = time.perf_counter()
        fill(path, count)
        print(told())
        size = path.stat().st_size / 1e6
        print(f"{count:,} ideas put in in {time.perf_counter() - start:.0f} s, {size:.0f} MB")
        for name, seconds in figures(path).items():
            good = seconds <= LIMIT
            missed += not good
            figure(
                f"book of {count:,}: {name}, ms", f"{1000 * seconds:.0f}", f"at most {1000 * LIMIT:.0f}", good
            )
        seconds = remembering(path)
        missed += seconds > REMEMBERING
        good, most = seconds <= REMEMBERING, f"at most {1000 * REMEMBERING:.0f}"
        figure("book: remember fifty, ms", f"{1000 * seconds:.0f}", most, good)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
