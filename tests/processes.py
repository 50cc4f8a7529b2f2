"""Processes that a test starts."""

from __future__ import annotations

import os


def unmeasured() -> dict[str, str]:
    """The environment without what makes a process count the lines it goes through, which loads and writes things."""
    return {name: value for name, value in os.environ.items() if not name.startswith("COVERAGE")}
