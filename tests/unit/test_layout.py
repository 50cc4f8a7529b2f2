"""The floor plan: few files lie flat, and no module imports itself in a round, lazily or not."""

from __future__ import annotations

from pathlib import Path

import grimp

import fillgen

ROOT = Path(fillgen.__file__).parent


def test_no_import_circle() -> None:
    """No chain of imports leads back to where it began, inside a folder neither."""
    graph = grimp.build_graph("fillgen")
    reached = {module: graph.find_upstream_modules(module) for module in graph.modules}
    circles = sorted(module for module, upstream in reached.items() if module in upstream)
    mutual = sorted((a, b) for a, upstream in reached.items() for b in upstream if a < b and a in reached[b])
    assert (circles, mutual) == ([], [])


def test_few_files_lie_flat() -> None:
    """At most nine files stand outside the folders."""
    flat = sorted(path.name for path in ROOT.iterdir() if path.is_file())
    assert len(flat) <= 9, flat
