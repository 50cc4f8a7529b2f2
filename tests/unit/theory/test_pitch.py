"""Pitches that a player gives, read in one place."""

from __future__ import annotations

import pytest

import fillgen
from fillgen import OptionError
from fillgen.theory.pitch import pitch_of


@pytest.mark.parametrize(
    ("given", "midi"),
    [("C4", 60), (" Eb5\n", 75), ("F♯4", 66), ("Bbb3", 57), ("C-1", 0), ("G9", 127), (0, 0), (127, 127)],
)
def test_names_and_numbers_are_read(given: str | int, midi: int) -> None:
    assert pitch_of(given) == midi


@pytest.mark.parametrize("given", ["H4", "c4", "C", "", "A9", "Cb-1", "60", "x" * 500])
def test_other_texts_are_refused_with_what_and_where(given: str) -> None:
    """The message names what the pitch is for, the place, and how a pitch is written; a long text is cut."""
    with pytest.raises(OptionError) as caught:
        pitch_of(given, "--low", place="low")
    assert str(caught.value).startswith("low: unknown pitch '")
    assert " for --low. " in str(caught.value)
    assert "C-1 to G9" in caught.value.hint
    assert len(str(caught.value)) < 140


@pytest.mark.parametrize("given", [-1, 128, 10**9])
def test_other_numbers_are_refused(given: int) -> None:
    with pytest.raises(OptionError, match=f"unknown pitch {given}") as caught:
        pitch_of(given)
    assert "0 to 127" in caught.value.hint


@pytest.mark.parametrize("name", ["low", "high", "lead_to"])
@pytest.mark.parametrize("given", ["Q5", 200])
def test_the_python_call_refuses_the_same(name: str, given: str | int) -> None:
    with pytest.raises(OptionError, match=r"unknown pitch .* for the (lowest|highest|note to lead to)"):
        fillgen.ideas("| Eb | Bb7 |", count=1, **{name: given})  # type: ignore[arg-type]
