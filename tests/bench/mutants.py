"""Mutants: small faults put into the heart of the program, and how many of them the tests find.

`python -m tests.bench.mutants` draws mutants of the rules, chords, lattice and score (by the operators of cosmic-ray, a
general library; all of them with `--each 0`), puts each into a copy of the project, and runs the tests that are about
its module. Mutants that change only annotations or caches are left out. The survivors are printed to be looked at.
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
TESTS: dict[str, tuple[Sequence[str], Sequence[str]]] = {
    # the module: the tests that are about it and quick, then those that meet it on their way
    "rules/rulebook": (
        (
            "fillgen/rules/rulebook.py",
            "tests/unit/rules/test_examples.py",
            "tests/outside/test_embellishments.py",
        ),
        ("tests/outside/test_embellishing_tones.py", "tests/properties/test_brute_force.py"),
    ),
    "theory/chords": (
        (
            "fillgen/theory/chords.py",
            "tests/unit/theory/test_chords.py",
            "tests/unit/chart/test_text.py",
            "tests/outside/test_chords.py",
        ),
        ("tests/unit/chart/test_sequences.py", "tests/unit/teaching/test_notefit.py"),
    ),
    "engine/lattice": (
        ("tests/unit/engine/test_lattice.py",),
        ("tests/properties/test_brute_force.py", "tests/properties/test_kept_and_hands.py"),
    ),
    "engine/score": (
        ("fillgen/engine/score.py", "tests/unit/engine/test_score.py"),
        ("tests/properties/test_fifty.py", "tests/docs"),
    ),
}
TIMEOUT = 120
"""Seconds after which a mutant that makes the tests hang counts as found."""


@dataclass(frozen=True)
class Mutant:
    """A module with one fault in it: which operator at which place made it, and its text."""

    module: str
    operator: str
    occurrence: int
    text: str

    def told(self) -> str:
        """What is changed, line by line."""
        own = (ROOT / "fillgen" / f"{self.module}.py").read_text(encoding="utf-8").splitlines()
        lines = unified_diff(own, self.text.splitlines(), lineterm="", n=0)
        changed = [line for line in lines if line[:2] not in ("--", "++", "@@")]
        return f"{self.module} {self.operator}: " + " ".join(changed)


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


def places(path: Path) -> list[tuple[str, int]]:
    """Every operator with each place of a module where it can put a fault."""
    nodes = list(ast_nodes(get_ast_from_path(path)))
    found = []
    for name in sorted(plugins.operator_names()):
        kind = plugins.get_operator(name)
        if not kind.arguments():
            count = sum(1 for node in nodes for _ in kind().mutation_positions(node))
            found += [(name, occurrence) for occurrence in range(count)]
    return found


def mutants(module: str, seed: int) -> Iterator[Mutant]:
    """The mutants of a module that do something else than the module, in an order drawn from a seed."""
    path = ROOT / "fillgen" / f"{module}.py"
    own = path.read_text(encoding="utf-8")
    plain = bare(own)
    every = places(path)
    for name, occurrence in random.Random(f"{seed} {module}").sample(every, len(every)):
        text = mutate_code(own, plugins.get_operator(name)(), occurrence)
        if text is not None and _differs(text, plain):
            yield Mutant(module, name.removeprefix("core/"), occurrence, text)


def _differs(text: str, plain: str) -> bool:
    try:
        return bare(text) != plain
    except SyntaxError:
        return False


def survives(mutant: Mutant, folder: Path) -> bool:
    """Whether all tests that are about a module pass with a mutant in its place."""
    path = folder / "fillgen" / f"{mutant.module}.py"
    own = path.read_text(encoding="utf-8")
    path.write_text(mutant.text, encoding="utf-8")
    try:
        return all(_pass(tests, folder) for tests in TESTS[mutant.module])
    finally:
        path.write_text(own, encoding="utf-8")


def _pass(tests: Sequence[str], folder: Path) -> bool:
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-n", "0", "-p", "no:cacheprovider", *tests]
    environment = {**os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        done = subprocess.run(
            command, cwd=folder, env=environment, capture_output=True, timeout=TIMEOUT, check=False
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
    asked.add_argument("--each", type=int, default=120, help="mutants of each module, 0 for all")
    asked.add_argument("--only", choices=sorted(TESTS), help="one module only")
    asked.add_argument("--seed", type=int, default=0)
    asked.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    given = asked.parse_args()
    print(surroundings(["cosmic-ray", "pytest"]))
    with tempfile.TemporaryDirectory() as place:
        free = copies(given.jobs, Path(place))

        def tried(mutant: Mutant) -> bool:
            folder = free.get()
            try:
                return survives(mutant, folder)
            finally:
                free.put(folder)

        for module in [given.only] if given.only else TESTS:
            some = list(islice(mutants(module, given.seed), given.each or None))
            with ThreadPoolExecutor(given.jobs) as pool:
                alive = [mutant for mutant, lives in zip(some, pool.map(tried, some), strict=True) if lives]
            found = 1 - len(alive) / len(some)
            figure(
                f"mutants of {module} found, of {len(some)}", f"{found:.1%}", "at least 85 %", found >= 0.85
            )
            for mutant in alive:
                print(f"   {mutant.told()}", flush=True)


if __name__ == "__main__":
    main()
