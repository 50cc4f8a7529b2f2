"""Mutants: small faults put into the heart of the program, and how many of them the tests find.

`python -m tests.bench.mutants` draws mutants of the rules, chords, lattice and score (by the operators of cosmic-ray, a
general library; all of them with `--each 0`), puts each into a copy of the project, and runs the tests that are about
its part, which must pass without a mutant. Mutants that change only annotations or caches are left out. The survivors are
printed to be looked at.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from difflib import unified_diff
from itertools import islice
from pathlib import Path
from queue import Queue

from cosmic_ray import plugins
from cosmic_ray.ast import ast_nodes, get_ast_from_path
from cosmic_ray.mutating import mutate_code

from tests.bench.surroundings import figure
from tests.bench.surroundings import told as surroundings

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Part:
    """A part of the program: its files, the tests that are about it and quick, and those that meet it on their way."""

    files: Sequence[str]
    quick: Sequence[str]
    further: Sequence[str]


PARTS = {
    "rules": Part(
        ("fillgen/rules/rulebook.py", "fillgen/rules/tones.py", "fillgen/rules/rule.py"),
        ("fillgen/rules", "tests/unit/rules", "tests/outside/test_embellishments.py"),
        (
            "tests/outside/test_embellishing_tones.py",
            "tests/unit/teaching/test_sentences.py",
            "tests/properties/test_brute_force.py",
        ),
    ),
    "chords": Part(
        ("fillgen/theory/chords.py",),
        (
            "fillgen/theory/chords.py",
            "tests/unit/theory/test_chords.py",
            "tests/unit/chart/test_text.py",
            "tests/outside/test_chords.py",
        ),
        ("tests/unit/chart/test_sequences.py", "tests/unit/teaching/test_notefit.py"),
    ),
    "lattice": Part(
        ("fillgen/engine/lattice.py",),
        ("tests/unit/engine/test_lattice.py",),
        ("tests/properties/test_brute_force.py", "tests/properties/test_kept_and_hands.py"),
    ),
    "score": Part(
        ("fillgen/engine/score.py", "fillgen/engine/guide.py", "fillgen/engine/melody.py"),
        (
            "fillgen/engine/score.py",
            "fillgen/engine/melody.py",
            "tests/unit/engine/test_score.py",
            "tests/unit/engine/test_melody.py",
        ),
        ("tests/properties/test_melody.py", "tests/properties/test_fifty.py", "tests/docs"),
    ),
}
PATIENCE = 60, 10
"""A mutant whose tests take this many seconds, and this many times as long as without it, hangs: it counts as found."""


@dataclass(frozen=True)
class Mutant:
    """A file with one fault in it: which operator at which place made it, and its text."""

    file: str
    operator: str
    occurrence: int
    text: str

    def told(self) -> str:
        """What is changed, line by line."""
        own = (ROOT / self.file).read_text(encoding="utf-8").splitlines()
        lines = unified_diff(own, self.text.splitlines(), lineterm="", n=0)
        changed = [line for line in lines if line[:2] not in ("--", "++", "@@")]
        return f"{self.file} {self.operator}: " + " ".join(changed)


class _Bare(ast.NodeTransformer):
    """Takes annotations out of a tree."""

    def visit_arg(self, node: ast.arg) -> ast.arg:
        node.annotation = None
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.FunctionDef:
        node.returns = None
        self.generic_visit(node)
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AnnAssign:
        node.annotation = ast.Constant(None)
        self.generic_visit(node)
        return node


def bare(text: str) -> str:
    """A program without what changes no answer: annotations, and how values are cached or stored."""
    return ast.dump(_Bare().visit(ast.parse(_STORED.sub("", text))))


_STORED = re.compile(r"^ *@(lru_cache|dataclass|cached_property)\b.*\n", re.MULTILINE)


def places(file: str) -> list[tuple[str, str, int]]:
    """Every operator with each place of a file where it can put a fault."""
    nodes = list(ast_nodes(get_ast_from_path(ROOT / file)))
    found = []
    for name in sorted(plugins.operator_names()):
        kind = plugins.get_operator(name)
        if not kind.arguments():
            count = sum(1 for node in nodes for _ in kind().mutation_positions(node))
            found += [(file, name, occurrence) for occurrence in range(count)]
    return found


def mutants(name: str, seed: int) -> Iterator[Mutant]:
    """The mutants of a part that do something else than the part, in an order drawn from a seed."""
    own = {file: (ROOT / file).read_text(encoding="utf-8") for file in PARTS[name].files}
    plain = {file: bare(text) for file, text in own.items()}
    every = [place for file in own for place in places(file)]
    for file, operator, occurrence in random.Random(f"{seed} {name}").sample(every, len(every)):
        text = mutate_code(own[file], plugins.get_operator(operator)(), occurrence)
        if text is not None and _differs(text, plain[file]):
            yield Mutant(file, operator.removeprefix("core/"), occurrence, text)


def _differs(text: str, plain: str) -> bool:
    try:
        return bare(text) != plain
    except SyntaxError:
        return False


@dataclass(frozen=True)
class Trial:
    """The tests of a part, and the seconds after which each half of them, quick and further, counts as hanging."""

    halves: Sequence[tuple[Sequence[str], float]]

    @classmethod
    def of(cls, name: str, folder: Path) -> Trial:
        """The trial that the mutants of a part stand; SystemExit where its tests fail without any."""
        halves = []
        for tests in (PARTS[name].quick, PARTS[name].further):
            start = time.perf_counter()
            if not _pass(tests, folder, None):
                raise SystemExit(f"{name}: {' '.join(tests)} fail without a mutant")
            least, times = PATIENCE
            halves.append((tests, max(least, times * (time.perf_counter() - start))))
        return cls(halves)

    def survives(self, mutant: Mutant, folder: Path) -> bool:
        """Whether all tests pass with a mutant in its place."""
        path = folder / mutant.file
        own = path.read_text(encoding="utf-8")
        path.write_text(mutant.text, encoding="utf-8")
        try:
            return all(_pass(tests, folder, seconds) for tests, seconds in self.halves)
        finally:
            path.write_text(own, encoding="utf-8")


def _pass(tests: Sequence[str], folder: Path, seconds: float | None) -> bool:
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-n", "0", "-p", "no:cacheprovider", *tests]
    environment = {**os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        done = subprocess.run(
            command, cwd=folder, env=environment, capture_output=True, timeout=seconds, check=False
        )
    except subprocess.TimeoutExpired:
        return False
    return done.returncode == 0


def copies(count: int, place: Path) -> Queue[Path]:
    """Copies of the project, one for each worker."""
    free: Queue[Path] = Queue()
    for number in range(count):
        folder = place / str(number)
        shutil.copytree(
            ROOT, folder, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", ".*_cache")
        )
        free.put(folder)
    return free


def main() -> None:
    """Draw mutants, try them, and print the share found and the survivors."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--each", type=int, default=120, help="mutants of each part, 0 for all")
    asked.add_argument("--only", choices=sorted(PARTS), help="one part only")
    asked.add_argument("--seed", type=int, default=0)
    asked.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    given = asked.parse_args()
    print(surroundings(["cosmic-ray", "pytest"]))
    with tempfile.TemporaryDirectory() as place:
        free = copies(given.jobs, Path(place))
        for name in [given.only] if given.only else PARTS:
            some = list(islice(mutants(name, given.seed), given.each or None))
            alive = survivors(name, some, free)
            found = 1 - len(alive) / len(some)
            figure(f"mutants of {name} found, of {len(some)}", f"{found:.1%}", "at least 85 %", found >= 0.85)
            for mutant in alive:
                print(f"   {mutant.told()}", flush=True)


def survivors(name: str, some: Sequence[Mutant], free: Queue[Path]) -> list[Mutant]:
    """The mutants of a part that its tests do not find, tried in as many copies of the project as there are."""
    folder = free.get()
    trial = Trial.of(name, folder)
    free.put(folder)

    def lives(mutant: Mutant) -> bool:
        folder = free.get()
        try:
            return trial.survives(mutant, folder)
        finally:
            free.put(folder)

    with ThreadPoolExecutor(free.qsize()) as pool:
        return [mutant for mutant, alive in zip(some, pool.map(lives, some), strict=True) if alive]


if __name__ == "__main__":
    main()
