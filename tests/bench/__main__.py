"""The bench: speed, memory and likeness, as ratios within one run. `python -m tests.bench` prints the tables.

Nothing here is a unit test: figures depend on the machine, ratios much less. It needs the extra `bench`.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from itertools import combinations
from pathlib import Path

import constraint
import numpy as np
from ortools.sat.python import cp_model

import fillgen
from fillgen.chart.progression import Progression
from fillgen.chart.text import parse_chart
from fillgen.dice import Dice
from fillgen.engine import score
from fillgen.engine.generate import Engine, PhraseSpace, generate
from fillgen.engine.request import Request, settle
from fillgen.phrase.note import Phrase
from tests.bench.surroundings import figure, told

CHART = "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |"
LONG = f"| {' | '.join(['Ebmaj7 | Gm7 C7 | Fm7 | Bb7'] * 16)} |"
COMPILED = str(Path(__file__).resolve().parents[2] / "bench-results/compiled")
"""Where the compiled modules of the timed processes lie."""
NO_BOOK = {"FILLGEN_NO_BOOK": "1"}
"""No bench touches the idea book of whoever runs it."""
FLOOR = "import constraint, numpy, mido, typer"
PLAIN = "import typer"
"""What is loaded to find ideas, and for a command that finds none."""
LIMITS = {
    "cold command": 3.0,
    "64 bars": 20.0,
    "1,000 ideas": 6.0,
    "peak memory, MB": 150.0,
    "voicings, 64 bars": 1.0,
    "four parts": 1.3,
}
"""What the figures may be at most: ratios, but for the memory."""


def seconds(job: Callable[[], object], times: int = 5) -> float:
    """The median time of a job."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        job()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def in_turn(*jobs: Callable[[], object], times: int = 9) -> list[float]:
    """The least time of each job, the jobs run in turn so that a busy moment of the machine meets all of them."""
    rounds = [[seconds(job, 1) for job in jobs] for _ in range(times)]
    return [min(column) for column in zip(*rounds, strict=True)]


def process(*arguments: str) -> Callable[[], object]:
    """A job that runs Python anew, compiled modules at hand as they are where the program is installed."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    environment = {**kept, "PYTHONPYCACHEPREFIX": COMPILED, **NO_BOOK}
    return lambda: subprocess.run(
        [sys.executable, *arguments], check=True, capture_output=True, env=environment
    )


def peak_megabytes(*arguments: str) -> float:
    """The peak resident memory of the command line with some arguments."""
    code = (
        "import resource, sys; from fillgen.cli import main\n"
        "try: main(sys.argv[1:])\n"
        "except SystemExit: pass\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, file=sys.stderr)"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code, "ideas", *arguments],
        check=True,
        capture_output=True,
        text=True,
        env={**os.environ, **NO_BOOK},
    )
    return float(ran.stderr.split()[-1]) / 1024


def speed() -> dict[str, float]:
    """The promised ratios, and the peak memory of the largest of the three jobs."""
    short, long = parse_chart(CHART), parse_chart(LONG)
    fifty, sixty_four, thousand = in_turn(
        lambda: generate(Request(short)),
        lambda: generate(Request(long)),
        lambda: generate(Request(short, count=1000)),
        times=5,
    )
    jobs = ([CHART], [LONG], [CHART, "--count", "1000"])
    with tempfile.TemporaryDirectory() as folder:
        to_file = ("--overwrite", "-o", f"{folder}/ideas.mid", "--parts", "right,left,bass,drums")
        floor, plain, cold, parsing, voiced, four = in_turn(
            process("-c", FLOOR),
            process("-c", PLAIN),
            process("-m", "fillgen", "ideas", CHART),
            process("-c", f"{PLAIN}; import fillgen.chart.text; fillgen.chart.text.parse_chart({LONG!r})"),
            process("-m", "fillgen", "voicings", LONG),
            process("-m", "fillgen", "ideas", CHART, *to_file),
        )
    for name, taken in (("bare imports", floor), ("cold command", cold), ("engine, fifty ideas", fifty)):
        figure(f"{name}, ms", f"{taken * 1e3:.0f}")
    return {
        "voicings, 64 bars": (voiced - plain) / (2 * (parsing - plain) + 0.1),
        "four parts": four / cold,
        "cold command": cold / floor,
        "64 bars": sixty_four / fifty,
        "1,000 ideas": thousand / fifty,
        "peak memory, MB": max(peak_megabytes(*job) for job in jobs),
    }


# The same model in other solvers


class Model:
    """One plan of the chart as tables: what each note may be, and what each three neighbours may be."""

    def __init__(self, progression: Progression) -> None:
        self.engine = Engine(settle(Request(progression)))
        spaces = self.engine.spaces(Dice(0))
        self.space: PhraseSpace = max(spaces, key=lambda space: len(space.plan.rhythm))
        self.domains = self.space.pitches
        self.allowed = self.space.lattice.allowed
        self.values = self._values()

    def _values(self) -> list[np.ndarray]:
        """The additive part of the score of each window: the value of its interval, in thousandths."""
        found = []
        for index, table in enumerate(self.allowed):
            value = np.zeros(table.shape, dtype=np.int64)
            if index:
                gap = np.abs(self.domains[index][None, :] - self.domains[index - 1][:, None])
                value += np.round(1000 * score.INTERVAL_VALUE[gap]).astype(np.int64)[:, :, None]
            found.append(value)
        return found

    def phrase(self, row: Sequence[int]) -> Phrase:
        rhythm = self.space.plan.rhythm
        return tuple(
            fillgen.Note(onset, length, int(self.domains[i][index]))
            for i, ((onset, length), index) in enumerate(zip(rhythm, row, strict=True))
        )


def cp_sat(model: Model, wanted: int) -> tuple[list[int], float]:
    """The values of a number of best phrases by CP-SAT, one after another, and the time."""
    start = time.perf_counter()
    sat = cp_model.CpModel()
    notes = [sat.new_int_var(0, len(domain) - 1, f"n{i}") for i, domain in enumerate(model.domains)]
    worth = []
    for index, (table, value) in enumerate(zip(model.allowed, model.values, strict=True)):
        gain = sat.new_int_var(0, 1000, f"g{index}")
        around = [i for i in (index - 1, index, index + 1) if 0 <= i < len(notes)]
        rows = [
            [*(where[i - index + 1] for i in around), int(value[tuple(where)])]
            for where in np.argwhere(table).tolist()
        ]
        sat.add_allowed_assignments([*(notes[i] for i in around), gain], rows)
        worth.append(gain)
    sat.maximize(sum(worth))
    totals = []
    for _ in range(wanted):
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 2
        solver.solve(sat)
        totals.append(int(solver.objective_value))
        sat.add_forbidden_assignments(notes, [[solver.value(note) for note in notes]])
    return totals, time.perf_counter() - start


def lattice_best(model: Model) -> int:
    """The value of the best phrase by the lattice."""
    values = [np.where(t, v.astype(float), -np.inf) for t, v in zip(model.allowed, model.values, strict=True)]
    return round(model.space.lattice.best(values)[0])


def plain_search(model: Model, wanted: int) -> tuple[list[Phrase], float]:
    """The first phrases that one problem over the whole phrase gives, and the time."""
    start = time.perf_counter()
    problem = constraint.Problem()
    for index, domain in enumerate(model.domains):
        problem.addVariable(index, list(range(len(domain))))
    last = len(model.domains) - 1
    for index, table in enumerate(model.allowed):
        around = [i for i in (index - 1, index, index + 1) if 0 <= i <= last]
        problem.addConstraint(_window(table, index == 0, index == last), around)
    found = []
    for solution in problem.getSolutionIter():
        found.append(model.phrase([solution[i] for i in range(last + 1)]))
        if len(found) == wanted:
            break
    return found, time.perf_counter() - start


def _window(table: np.ndarray, first: bool, last: bool) -> Callable[..., bool]:
    rows = table.tolist()
    if first:
        return lambda note, after: rows[0][note][after]
    if last:
        return lambda before, note: rows[before][note][0]
    return lambda before, note, after: rows[before][note][after]


def likeness(phrases: Sequence[Phrase]) -> float:
    """The mean share of sounding time in which two of the phrases sound the same."""
    lines = [{t: n.midi for n in phrase for t in range(n.onset, n.end, 40)} for phrase in phrases]
    shares = [
        sum(b.get(t) == m for t, m in a.items()) / min(len(a), len(b)) for a, b in combinations(lines, 2)
    ]
    return statistics.mean(shares)


def rivals() -> None:
    """Fifty ideas beside CP-SAT and beside one whole-phrase problem."""
    model = Model(parse_chart(CHART))
    engine = seconds(lambda: generate(Request(parse_chart(CHART))))
    totals, sat_time = cp_sat(model, 10)
    plain, plain_time = plain_search(model, 50)
    ours = [idea.phrase for idea in generate(Request(parse_chart(CHART)))]
    best = lattice_best(model)
    figure("best value: lattice", f"{best}", f"CP-SAT {totals[0]}", best == totals[0])
    print(f"CP-SAT, ten best phrases of one rhythm: {sat_time:.2f} s; fifty would be {5 * sat_time:.1f} s")
    figure("fifty ideas, times as fast as CP-SAT", f"{5 * sat_time / engine:.0f}")
    print(f"one problem over the whole phrase, its first fifty: {plain_time * 1e3:.0f} ms")
    print(f"  alike: plain search {likeness(plain):.2f}, fillgen {likeness(ours):.2f} of their sounding time")


def main() -> int:
    """Print all tables; 1 where a figure is beyond its limit."""
    print(told(["python-constraint2", "ortools"]))
    figures = speed()
    missed = 0
    for name, value in figures.items():
        good = 0 < value <= LIMITS[name]
        missed += not good
        figure(name, f"{value:.2f}", f"at most {LIMITS[name]:g}", good)
    rivals()
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
