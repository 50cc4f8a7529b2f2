"""The chord symbols of scores as charts. ABC 2.1 (abcnotation.com, 2011), 4.18: chords stand in quotes before a note."""

from __future__ import annotations

from pathlib import Path

import pytest

from fillgen.app.charts import reading_of
from fillgen.app.options import ChordOptions
from fillgen.errors import TuneError

HEAD = "X:1\nT:Harbour Steps\nM:3/4\nL:1/4\nK:F\n"


def test_chords_of_abc(tmp_path: Path) -> None:
    """A chord lasts until the next; what is written above the notes is no chord, and a pick-up has none."""
    file = tmp_path / "steps.abc"
    file.write_text(HEAD + 'C | "F"F2A | "^slow""Dm7"d2c | [Bd]"C7/E"A"Solo"G | "F"F3 |]\n')
    reading = reading_of(ChordOptions(), str(file))
    found = [(s.onset, s.chord.symbol) for s in reading.progression.spans]
    assert found == [(0, "N.C."), (1440, "F"), (2880, "Dm7"), (4320, "Dm7"), (4800, "C7/E"), (5760, "F")]
    assert any("Solo" in remark for remark in reading.remarks)


def test_no_chords(tmp_path: Path) -> None:
    file = tmp_path / "bare.abc"
    file.write_text(HEAD + "F2A | F3 |]\n")
    with pytest.raises(TuneError) as caught:
        reading_of(ChordOptions(), str(file))
    assert "chart" in caught.value.hint
