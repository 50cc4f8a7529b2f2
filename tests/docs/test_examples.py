"""The examples are our own: the plainest four chords in the plainest key stand nowhere, neither in code nor in data."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

from fillgen.chart.text import chart_text, parse_chart
from fillgen.readers.confined import read_tune

ROOT = Path(__file__).resolve().parents[2]
BASS = "(?:/[A-G][b#]?)?"
GAP = r"(?:\\n|[^A-Za-z0-9#]|[A-G][b#]?[0-9]_?[a-z.~]+)+"
"""Between two chords: bar lines, quotes, line ends, and notes such as E5q or E5_q."""
CHORDS = (
    r"C(?:maj|ma|M|Δ|add)?[0-9]*",
    r"A(?:m|min|mi|-)[0-9]*",
    r"(?:D(?:m|min|mi|-)|F(?:maj|ma|M|Δ)?)[0-9]*",
    r"G[0-9]*(?:sus)?[0-9]*",
)
"""I, vi, ii or IV, and V in C, plain or with more notes."""
PLAINEST = re.compile(
    rf"(?<![A-Za-z0-9#]){GAP.join(chord + BASS for chord in CHORDS)}(?![A-Za-z0-9#])",
)


def tracked() -> list[Path]:
    """The files that git tracks."""
    if not (ROOT / ".git").exists():
        pytest.skip("no repository, so no tracked files")
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True).stdout
    return [path for name in listed.decode().split("\0") if name and (path := ROOT / name).is_file()]


def content(path: Path) -> str:
    """What a file says; of a score its chord symbols."""
    if path.suffix == ".musicxml":
        return " | ".join(chord.symbol for _, chord in read_tune(path).chords)
    return path.read_bytes().decode("utf-8", errors="replace")


def test_no_example_is_the_plainest() -> None:
    """No tracked file has those chords in a row, whatever stands between them."""
    files = tracked()
    assert {"README.md", "test_examples.py", "garden-gate.musicxml"} <= {path.name for path in files}
    found = []
    for path in files:
        text = content(path)
        for match in PLAINEST.finditer(text):
            line = text.count("\n", 0, match.start()) + 1
            found.append(f"{path.relative_to(ROOT)}, line {line}: {match[0]!r}")
    assert found == []


@pytest.mark.parametrize(
    "numerals",
    [
        "| I | vi | ii7 | V7 |",
        "| Imaj7 vi7 | ii7 V7 |",
        "| I | vi | IV | V |",
        "| I6 | vi7 | ii9 | V13 |",
        "| I/E | vi | IVmaj7 | V7sus4 |",
    ],
)
@pytest.mark.parametrize("between", [None, " ", "-", '", "', "|\\n|", " E5_q D5_e~ "])
def test_the_plainest_is_found_in_any_spelling(numerals: str, between: str | None) -> None:
    """In C, with bar lines, as a list or with notes between; in another key or another order it may stand."""
    for key, there in (("C", True), ("D", False), ("Ab", False)):
        chart = parse_chart(numerals, key=key)
        symbols = [span.chord.symbol for span in chart.spans]
        text = chart_text(chart) if between is None else between.join(symbols)
        assert (PLAINEST.search(text) is not None) == there
        assert PLAINEST.search(" | ".join(reversed(symbols))) is None
