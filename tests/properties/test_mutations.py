"""Valid files of every kind, changed a little: each is read or refused with a clear line, and nothing else gets out.

The bench `tests.bench.mutations` tries many more, guided by what they reach.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.effort import examples
from tests.readings import KINDS, judged, mutant, seeds, verdicts

MUTANTS = examples(1600)
_AT_A_TIME = 100
CHUNKS = [
    (kind, first, min(first + _AT_A_TIME, MUTANTS * each.share // 100))
    for kind, each in KINDS.items()
    for first in range(0, MUTANTS * each.share // 100, _AT_A_TIME)
]


@pytest.mark.parametrize("kind", KINDS)
def test_whole_files_are_read(kind: str, tmp_path: Path) -> None:
    """Before they are changed, all readers of their kind read them."""
    for data in seeds(kind):
        for name, verdict in verdicts(kind, data, tmp_path):
            assert verdict.read, (name, verdict.message)


@pytest.mark.parametrize(("kind", "first", "end"), CHUNKS)
def test_mutated_files_are_read_or_refused(kind: str, first: int, end: int, tmp_path: Path) -> None:
    """Some are read and some refused, each within bounds."""
    found = {
        (number, name): verdict
        for number in range(first, end)
        for name, verdict in verdicts(kind, mutant(kind, number), tmp_path)
    }
    assert {where: verdict.wrong for where, verdict in found.items() if verdict.wrong} == {}
    assert {verdict.read for verdict in found.values()} == {False, True}


def test_there_are_many() -> None:
    """As many files as are asked for, and nearly all of them different from each other and from the whole ones."""
    files = {mutant(kind, number) for kind, first, end in CHUNKS for number in range(first, end)}
    assert sum(end - first for _, first, end in CHUNKS) == MUTANTS
    assert len(files - {data for kind in KINDS for data in seeds(kind)}) > 0.9 * MUTANTS


def _bursts(_: Path) -> None:
    raise KeyError("x")


def _warns(_: Path) -> None:
    import warnings  # noqa: PLC0415

    warnings.warn("x", stacklevel=1)


@pytest.mark.parametrize(
    ("reader", "told"), [(_bursts, "KeyError"), (_warns, "UserWarning"), (print, "printed")]
)
def test_what_gets_out_is_seen(reader: object, told: str, tmp_path: Path) -> None:
    """An error that is not the package's own, a warning, and a line printed are wrong."""
    assert told in judged(reader, tmp_path).wrong  # type: ignore[arg-type]
