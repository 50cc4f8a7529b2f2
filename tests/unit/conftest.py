"""What several unit tests share."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.commands import Call, caller


@pytest.fixture(name="call")
def _call(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Call:
    """The command line in an empty folder."""
    monkeypatch.chdir(tmp_path)
    return caller(capsys)
