"""The chord symbols of scores as charts. ABC 2.1 (abcnotation.com, 2011), 4.18: chords stand in quotes before a note."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from pathlib import Path

import pytest

from fillgen.app.charts import reading_of
from fillgen.app.options import ChordOptions
from fillgen.chart.text import chart_text, parse_chart
from fillgen.errors import TuneError
from fillgen.readers.symbols import chart_of
from fillgen.theory.chords import read_chord
from fillgen.theory.metre import METRES

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


@pytest.mark.parametrize(
    ("metre", "ticks", "found"),
    [
        ("4/4", [0, 240, 1680], [(0, "N.C."), (480, "F"), (1920, "Bb")]),
        ("4/4", [0, 479, 960], [(0, "N.C."), (480, "F"), (960, "Bb")]),
        ("6/8", [0, 480, 1200], [(0, "N.C."), (720, "F"), (1440, "Bb")]),
        ("6/8", [0, 480, 960], [(0, "N.C."), (720, "Bb")]),
    ],
)
def test_chords_count_from_the_nearest_beat(
    metre: str, ticks: Sequence[int], found: Sequence[tuple[int, str]]
) -> None:
    """Of two at one beat the later one stays; the chart can be written and read back."""
    symbols = [(tick, read_chord(name)) for tick, name in zip(ticks, ("N.C.", "F", "Bb"), strict=True)]
    chart = chart_of(symbols, METRES[metre], 2)
    changes = [
        spans[0] for spans in (list(same) for _, same in groupby(chart.spans, lambda span: span.chord))
    ]
    assert [(span.onset, span.chord.symbol) for span in changes] == found
    assert [s.onset for s in parse_chart(chart_text(chart)).spans] == [s.onset for s in chart.spans]
