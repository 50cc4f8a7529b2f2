"""What a stranger's score may cost: numbers are bounded before a library counts by them, and texts are read in one go."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest

from fillgen.errors import TuneError
from fillgen.readers import abc
from fillgen.readers.confined import read_abc, read_score, read_tune

SCORE = """<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Fern</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>{harmony}
<note><pitch><step>B</step><alter>-1</alter><octave>4</octave></pitch><duration>4</duration></note>{bar}</measure></part>
</score-partwise>"""
HARMONY = (
    "<harmony><root><root-step>E</root-step></root><kind>major</kind><degree><degree-value>9</degree-value>"
    "<degree-alter>{}</degree-alter><degree-type>add</degree-type></degree></harmony>"
)


def score(harmony: str = "", bar: str = "") -> bytes:
    return SCORE.format(harmony=harmony, bar=bar).encode()


@pytest.mark.parametrize(
    ("content", "names"),
    [
        (score(bar='<barline><ending number="1-99999999" type="start"/></barline>'), "number of ending"),
        (score(bar='<barline><ending number="1,2,99999" type="start"/></barline>'), "number of ending"),
        (score(bar='<barline><repeat direction="backward" times="999999"/></barline>'), "times of repeat"),
        (score(harmony=HARMONY.format("999999999999")), "degree-alter"),
        (score(harmony=HARMONY.format("-99999999999")), "degree-alter"),
    ],
)
def test_numbers_that_no_score_has(content: bytes, names: str, tmp_path: Path) -> None:
    """They are refused, with what holds them, before music21 sees them."""
    with pytest.raises(TuneError, match=names):
        read_score(content, "a score")
    path = tmp_path / "a.musicxml"
    path.write_bytes(content)
    with pytest.raises(TuneError, match=names):
        read_tune(path)


def test_numbers_that_scores_have() -> None:
    bar = '<barline><ending number="1, 2" type="start"/><repeat direction="backward" times="3"/></barline>'
    sheet = read_score(score(harmony=HARMONY.format("-1"), bar=bar), "a score")
    assert [sound.midi for sound in sheet.voices[0].sounds] == [70]


def test_a_measure_may_have_any_number() -> None:
    """Long works count their measures past a thousand; nothing is counted by that number."""
    sheet = read_score(score().replace(b'measure number="1"', b'measure number="12345"'), "a score")
    assert [sound.midi for sound in sheet.voices[0].sounds] == [70]


@pytest.mark.parametrize(("tempo", "read"), [(5, None), (20, 20), (132, 132), (400, 400), (900, None)])
def test_tempos_that_nobody_plays_are_not_believed(tempo: int, read: int | None) -> None:
    """An ABC tempo, in quarter notes a minute, is taken from 20 to 400 only."""
    assert read_abc(f"X:1\nM:4/4\nL:1/4\nQ:1/4={tempo}\nK:Bb\nBcdf|\n", "a tune").tempo == read


@pytest.mark.parametrize("packing", [zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2])
def test_other_packings_are_refused_before_they_are_opened(packing: int) -> None:
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", packing) as packed:
        packed.writestr("fern.musicxml", score())
    with pytest.raises(TuneError, match="packed in a way"):
        read_score(content.getvalue(), "a score")


def test_the_pattern_of_notes_never_looks_to_the_end_of_a_text() -> None:
    """What must be closed by a sign is looked for within a bound, so that a row of openings costs no more than its length."""
    assert max(len(m[0]) for m in abc._ABC.finditer("^" * 50_000)) < 10


def test_a_row_of_accidentals_is_refused() -> None:
    with pytest.raises(TuneError, match=r"cannot read"):
        read_abc("X:1\nM:4/4\nL:1/4\nK:Bb\n" + "^" * 99_000 + "\n", "a tune")


def test_titles_and_names_are_printable() -> None:
    """Whatever control characters a score or an ABC text has in its title and in the names of its parts, none is passed on."""
    text = 'X:1\nT:Wren\x7f Song\nM:4/4\nL:1/4\nK:Bb\nV:1 name="To\x1bp"\nBcdf|\n'
    sheet = read_abc(text, "a tune")
    assert (sheet.title, sheet.voices[0].name) == ("Wren Song", "Top")
    sheet = read_score(score().replace(b"Fern", "Fern\u009b2".encode()), "a score")
    assert sheet.voices[0].name == "Fern2"
