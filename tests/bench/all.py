"""All benches, one after another, and their figures in one table: `python -m tests.bench.all [FOLDER]`.

What each prints is kept in the folder, with the table as `figures.md`. It needs the extras `dev` and `bench`, and about
an hour and a half on two cores; `--only NAME` runs some of them.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

from tests.bench.surroundings import FIGURE, told

ROOT = Path(__file__).resolve().parents[2]
_PYTEST = ("-m", "pytest", "-p", "no:cacheprovider")
BENCHES: Mapping[str, Sequence[str]] = {
    "speed": ("-m", "tests.bench"),
    "growth": ("-m", "tests.bench.growth"),
    "variety": ("-m", "tests.bench.variety"),
    "taste": ("-m", "tests.bench.taste"),
    "form": ("-m", "tests.bench.form"),
    "idiom": ("-m", "tests.bench.idiom"),
    "optimum": ("-m", "tests.bench.optimum"),
    "real melodies": ("-m", "tests.bench.real_melodies"),
    "likeness to music": ("-m", "tests.bench.likeness_to_music"),
    "batch": ("-m", "tests.bench.batch"),
    "hostile command lines": (*_PYTEST, "-n", "auto", "tests/properties/test_fuzz.py"),
    "properties at length": (
        *_PYTEST,
        "-n",
        "auto",
        "tests/properties",
        "--ignore=tests/properties/test_fuzz.py",
    ),
    "slow tests": (*_PYTEST, "-n", "auto", "-m", "slow"),
    "book": ("-m", "tests.bench.book"),
    "jitter": ("-m", "tests.bench.jitter"),
    "sound": ("-m", "tests.bench.sound"),
    "server": ("-m", "tests.bench.server"),
    "page": ("-m", "tests.bench.page"),
    "mutants": ("-m", "tests.bench.mutants", "--each", "100"),
    "mutations": ("-m", "tests.bench.mutations"),
    "coverage": (*_PYTEST, "-n", "auto", "--cov=fillgen", "--cov-branch", "--cov-report="),
}
AT_LENGTH = 25
"""So many times as many examples as in the tests: five thousand command lines."""
LEAST_COVERED = 95.0
"""The branches that the tests are to go through, in per cent."""


def run(name: str, folder: Path) -> list[str]:
    """Run a bench, keep what it prints, and return the rows of the table."""
    arguments = [*BENCHES[name]]
    covered = folder / "coverage.json"
    if name == "coverage":
        arguments[-1] += f"json:{covered}"
    is_long = name in ("hostile command lines", "properties at length")
    environment = {**os.environ, "FILLGEN_EFFORT": str(AT_LENGTH)} if is_long else None
    start = time.perf_counter()
    ran = subprocess.run(
        [sys.executable, *arguments], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    taken = f"{(time.perf_counter() - start) / 60:.1f} min"
    printed = ran.stdout + ran.stderr
    (folder / f"{name.replace(' ', '-')}.txt").write_text(printed, encoding="utf-8")
    rows = [
        line.removeprefix(f"{FIGURE} | ") for line in printed.splitlines() if line.startswith(f"{FIGURE} |")
    ]
    if name == "coverage" and covered.exists():
        rows.append(_covered(json.loads(covered.read_text(encoding="utf-8"))["totals"]))
    ended = "kept" if ran.returncode == 0 and not any("MISSED" in row for row in rows) else "MISSED"
    return [
        f"| {name} | {row} |" for row in [*rows, f"the whole bench | {taken} | no promise missed | {ended}"]
    ]


def _covered(totals: Mapping[str, float]) -> str:
    """The row of the coverage."""
    branches = 100 * totals["covered_branches"] / totals["num_branches"]
    verdict = "kept" if branches >= LEAST_COVERED else "MISSED"
    lines = 100 * totals["covered_lines"] / totals["num_statements"]
    return f"branches gone through (lines) | {branches:.1f} % ({lines:.1f} %) | at least {LEAST_COVERED:g} % | {verdict}"


def main() -> int:
    """Run all benches that are asked for; 1 where one missed a promise."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("folder", nargs="?", type=Path, default=ROOT / "bench-results")
    asked.add_argument("--only", action="append", choices=sorted(BENCHES))
    given = asked.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    rows = [
        told(["python-constraint2", "ortools"]),
        "",
        "| bench | figure | reached | wanted | |",
        "|---|---|---|---|---|",
    ]
    print("\n".join(rows), flush=True)
    for name in given.only or BENCHES:
        found = run(name, given.folder)
        print("\n".join(found), flush=True)
        rows += found
        (given.folder / "figures.md").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return int(any("MISSED" in row for row in rows))


if __name__ == "__main__":
    sys.exit(main())
