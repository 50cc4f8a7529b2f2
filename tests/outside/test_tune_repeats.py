"""A tune with a pick-up whose repeated half ends in a short bar, as songs in two halves are usually written."""

from __future__ import annotations

from pathlib import Path

import music21

from fillgen.readers.confined import read_tune
from fillgen.tune import TuneRequest, pieces
from fillgen.writers.tunes import tune_musicxml

_BARS = (
    (
        "<key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time>",
        "",
        [("G", 4, 1)],
        "",
    ),
    ("", "C", [("C", 5, 2), ("E", 5, 2)], ""),
    ("", "G", [("D", 5, 3)], '<barline location="right"><repeat direction="backward"/></barline>'),
    ("", "", [("B", 4, 1)], ""),
    ("", "F", [("C", 5, 4)], ""),
    ("", "C", [("C", 5, 3)], ""),
)
"""Attributes, chord root, notes (step, octave, quarters) and bar line of each measure: 1, 4, 3 + 1, 4, 3 quarters."""


def _measure(number: int, attributes: str, root: str, notes: list[tuple[str, int, int]], barline: str) -> str:
    sounds = "".join(
        f"<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{length}</duration></note>"
        for step, octave, length in notes
    )
    head = f"<attributes><divisions>1</divisions>{attributes}</attributes>" if attributes else ""
    chord = f"<harmony><root><root-step>{root}</root-step></root><kind>major</kind></harmony>" if root else ""
    return f'<measure number="{number}">{head}{chord}{sounds}{barline}</measure>'


def _score() -> str:
    measures = "".join(_measure(number, *bar) for number, bar in enumerate(_BARS))
    return (
        '<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1">'
        f'<part-name>Voice</part-name></score-part></part-list><part id="P1">{measures}</part></score-partwise>'
    )


def test_two_short_measures_make_one_bar(tmp_path: Path) -> None:
    """Measures of three and one quarters at a repeat are one bar of the tune; written out they stay as they were."""
    path = tmp_path / "two-halves.musicxml"
    path.write_text(_score(), encoding="utf-8")
    tune = read_tune(path)
    assert (tune.pickup, tune.bars, tune.shortage) == (480, 4, 480)
    assert tune.measures == (480, 1920, 1440, 480, 1920, 1440)
    piece = pieces(TuneRequest(tune, intro=2, ending=2))[0]
    parts = music21.converter.parseData(tune_musicxml(piece, tune), format="musicxml").parts
    lengths = [[m.duration.quarterLength for m in part.getElementsByClass("Measure")] for part in parts]
    assert lengths[0] == [4, 3, 1, 4, 3, 1, 4, 3, 1, 4, 4]
    assert lengths[0] == lengths[1]
    signs = [len(part.recurse().getElementsByClass("Repeat")) for part in parts]
    assert signs[0] == signs[1] == 2
