"""What the messages of all errors have in common."""

from __future__ import annotations

from pathlib import Path

import pytest

from fillgen import PackError, RulePack
from fillgen.errors import FillgenError


@pytest.mark.parametrize("strange", ["\x07", "\x1b[2J", "\u009b", "\n", "\u2028", "\ud800", "\x7f"])
def test_messages_hold_no_control_characters(strange: str) -> None:
    """Wherever in an error a control character stands, it is not told."""
    error = FillgenError(f"a{strange}b", place=f"c{strange}d", hint=f"e{strange}f")
    assert str(error).isprintable()
    assert [each[0] + each[-1] for each in (error.place, error.message, error.hint)] == ["cd", "ab", "ef"]


def test_messages_are_bounded() -> None:
    """Of a long text the beginning and the end are told."""
    error = FillgenError(f"unknown name '{'x' * 100_000}' of a rhythm", place="p" * 5000, hint="h" * 5000)
    assert len(str(error)) < 1600
    assert error.message.startswith("unknown name 'xx")
    assert error.message.endswith("xx' of a rhythm")
    assert str(FillgenError("x" * 500)) == "x" * 500 + "."


def test_long_words_of_a_pack(tmp_path: Path) -> None:
    """A pack whose key is very long is refused with its place, in a message that can be read."""
    path = tmp_path / "own.toml"
    path.write_text(f"[weights]\n{'9' * 5000} = 1\n")
    with pytest.raises(PackError, match=r"weights: unknown term '99.*99'") as refused:
        RulePack.read(path)
    assert len(str(refused.value)) < 1500
