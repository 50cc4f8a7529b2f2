"""The command `sheet`, and `--sheet` of ideas, vary, practice and tune."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.unit.test_cli import Call, _call, refused
from tests.unit.test_import_cost import command, loaded

__all__ = ["_call"]

CHART = "| C | Am | Dm7 | G7 |"
PHRASE = "G4e A4e | E5q D5q C5h | C5q. D5e E5h | F5q E5q D5h | D5h B4h"
TUNE = str(Path(__file__).parents[2] / "shared/tunes/garden-gate.musicxml")


def headings(page: Path) -> list[str]:
    return re.findall(r"<h2>(.*?)</h2>", page.read_text(encoding="utf-8"))


@pytest.mark.parametrize("ending", ["svg", "pdf", "html", "musicxml", "mei"])
def test_every_kind_is_written(ending: str, call: Call, tmp_path: Path) -> None:
    """The ending says what is written; it is said on the error stream, and nothing is printed."""
    path = tmp_path / f"ideas.{ending}"
    answer = call("sheet", CHART, "-n", "3", "-o", str(path))
    assert (answer.code, answer.out) == (0, "")
    assert answer.err == f"3 phrases on the sheet {path}\n"
    marks = {
        "svg": b"<svg",
        "pdf": b"%PDF-",
        "html": b"<!DOCTYPE html>",
        "musicxml": b"<score-",
        "mei": b"<mei ",
    }
    assert marks[ending] in path.read_bytes()[:400]


def test_same_ideas_as_the_command_ideas(call: Call, tmp_path: Path) -> None:
    """The ranks and shapes of the sheet are those that `ideas` prints for the same options."""
    options = ("--rhythm", "swing", "--level", "4", "--seed", "3", "-n", "5")
    call("sheet", CHART, *options, "-o", str(tmp_path / "a.html"))
    printed = call("ideas", CHART, *options, "--sheet", str(tmp_path / "b.html")).out
    ranked = re.findall(r"^ +(\d+)  0\.\d+  (.+)$", printed, re.MULTILINE)
    assert headings(tmp_path / "a.html") == [f"{rank} · {shape}" for rank, shape in ranked]
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "b.html").read_bytes()


def test_only_some_ranks(call: Call, tmp_path: Path) -> None:
    """`--only` takes ranks and ranges, each once, in the order asked for."""
    path = tmp_path / "some.html"
    call("sheet", CHART, "-n", "8", "--only", "5,1-3,2", "-o", str(path))
    assert [heading.split(" ")[0] for heading in headings(path)] == ["5", "1", "2", "3"]


def test_looks_can_be_chosen(call: Call, tmp_path: Path) -> None:
    """Two staves, note names, no fingers, a title and the paper are found in the page."""
    path = tmp_path / "look.html"
    wishes = ("--staves", "2", "--note-names", "--no-fingers", "--title", "Tea & <Rain>", "--paper", "Letter")
    call("sheet", CHART, "-n", "1", *wishes, "-o", str(path))
    text = path.read_text(encoding="utf-8")
    assert 'class="syl"' in text
    assert 'class="fing"' not in text
    assert 'id="idea-1-c0"' in text
    assert "<h1>Tea &amp; &lt;Rain&gt;</h1>" in text
    assert "size:letter" in text


def test_a_phrase_of_ones_own(call: Call, tmp_path: Path) -> None:
    """A phrase with a pick-up is engraved as it is, under its chart; what was found in reading it is told."""
    path = tmp_path / "own.svg"
    answer = call("sheet", CHART, "--phrase", PHRASE, "-o", str(path))
    assert answer.code == 0
    assert "pick-up" in answer.err
    text = path.read_text(encoding="utf-8")
    assert text.count('class="measure"') == 5
    assert text.count('class="note"') == 13
    assert "Pick-up: G 4 eighth, A 4 eighth." in text


def test_vary_practice_and_tune_have_sheets(call: Call, tmp_path: Path) -> None:
    """Varied phrases, the idea that is looped, the ideas of turns, a lesson and a whole tune come out as notes."""
    own = PHRASE.partition("| ")[2]
    varied, loop, turns, course, whole = (tmp_path / f"{n}.html" for n in range(5))
    assert call("vary", CHART, own, "-n", "2", "--keep", "1,2", "--sheet", str(varied)).code == 0
    assert len(headings(varied)) == 2
    assert (
        call("practice", CHART, "-o", str(tmp_path / "a.mid"), "--idea", "3", "--sheet", str(loop)).code == 0
    )
    assert [heading.split(" ")[0] for heading in headings(loop)] == ["3"]
    assert (
        call("practice", CHART, "-o", str(tmp_path / "b.mid"), "--turns", "2", "--sheet", str(turns)).code
        == 0
    )
    assert [heading.split(" ")[0] for heading in headings(turns)] == ["1", "2"]
    assert call("practice", CHART, "--levels", "1,2", "--per-level", "1", "--sheet", str(course)).code == 0
    assert [heading.partition(" · ")[0] for heading in headings(course)] == [
        "Level 1: roots",
        "Level 2: chord notes",
    ]
    assert call("tune", TUNE, "--rhythm", "waltz", "--sheet", str(whole)).code == 0
    assert "<h1>Garden Gate</h1>" in whole.read_text(encoding="utf-8")


def test_a_tune_is_engraved_from_its_own_score(call: Call, tmp_path: Path) -> None:
    """The score of a tune's sheet is the one that `-o` writes, and the picture has its bars."""
    names = [str(tmp_path / name) for name in ("a.musicxml", "b.musicxml", "c.svg", "d.mei")]
    call("tune", TUNE, "-o", names[0], "--sheet", names[1])
    call("tune", TUNE, "--sheet", names[2])
    call("tune", TUNE, "--sheet", names[3])
    score = Path(names[0]).read_bytes()
    assert score == Path(names[1]).read_bytes()
    bars = len(re.findall(rb"<measure ", score.partition(b"</part>")[0]))
    assert Path(names[2]).read_text(encoding="utf-8").count('class="measure"') == bars
    assert len(re.findall(r"<measure ", Path(names[3]).read_text(encoding="utf-8"))) == bars


def test_left_hand_comes_with_its_part(call: Call, tmp_path: Path) -> None:
    """Where the left hand is to be heard it stands on the sheet as well."""
    path = tmp_path / "both.html"
    call("ideas", CHART, "-n", "1", "--parts", "right,left", "--sheet", str(path))
    assert 'id="idea-1-c0"' in path.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("sheet", CHART), "Give it a name, such as -o ideas.pdf."),
        (("sheet", CHART, "-o", "ideas.png"), "cannot tell what to write to 'ideas.png'"),
        (("sheet", CHART, "-o", "ideas"), "Use .svg, .pdf, .html, .musicxml or .mei."),
        (("sheet", CHART, "-o", "a.svg", "--staves", "3"), "3 staves"),
        (("sheet", CHART, "-o", "a.svg", "--paper", "a44"), "Did you mean 'a4'?"),
        (("sheet", CHART, "-o", "a.svg", "--only", "51"), "There are 50 ideas."),
        (("sheet", CHART, "-o", "a.svg", "--only", "two"), "'two' is no rank"),
        (("sheet", CHART, "-o", "a.svg", "--only", "3-1"), "'3-1' is no rank"),
        (("sheet", CHART, "-o", "a.svg", "--part", "2"), "--part goes with --phrase"),
        (("sheet", "-o", "a.svg"), "give either a chart or --sequence"),
        (("sheet", "-o", "a.svg", "--phrase", "C5w"), "a phrase needs its chart"),
        (("sheet", CHART, "-o", "a.svg", "--phrase", "C5w", "--level", "2"), "--phrase and --level"),
        (("sheet", CHART, "-o", "a.svg", "--phrase", "C5w", "-n", "2"), "--phrase and --count"),
        (("ideas", CHART, "--sheet", "a.txt"), "cannot tell what to write to 'a.txt'"),
        (("tune", TUNE, "-o", "a.musicxml", "--sheet", "a.musicxml"), "both name 'a.musicxml'"),
        (("tune", TUNE, "-n", "2", "--sheet", "a.mei"), "2 versions do not go into one score"),
        (("practice", CHART, "--sheet", "a.mid"), "cannot tell what to write to 'a.mid'"),
    ],
)
def test_wrong_calls_are_told(arguments: tuple[str, ...], told: str, call: Call, tmp_path: Path) -> None:
    """Bad input ends with code 2 and what to do, and no file is written."""
    refused(call(*arguments), told)
    assert list(tmp_path.iterdir()) == []


def test_an_existing_sheet_stays(call: Call, tmp_path: Path) -> None:
    """A sheet that exists is kept, nothing else is written either, and --overwrite replaces it."""
    path, midi = tmp_path / "a.svg", tmp_path / "a.mid"
    path.write_text("mine", encoding="utf-8")
    refused(call("ideas", CHART, "-n", "1", "-o", str(midi), "--sheet", str(path)), "exists already")
    assert path.read_text(encoding="utf-8") == "mine"
    assert not midi.exists()
    assert call("ideas", CHART, "-n", "1", "-o", str(midi), "--sheet", str(path), "--overwrite").code == 0
    assert path.read_text(encoding="utf-8") != "mine"
    assert midi.exists()


def test_notation_is_loaded_only_for_sheets(tmp_path: Path) -> None:
    """Ideas without a sheet load neither the engraver nor the PDF library; a picture does not load the latter."""
    assert not loaded(command("ideas", "| C | G7 |", "-n", "2")) & {
        "verovio",
        "reportlab",
        "fillgen.render.sheet",
    }
    picture = loaded(command("sheet", "| C | G7 |", "-n", "1", "-o", str(tmp_path / "a.svg")))
    assert "verovio" in picture
    assert not picture & {"reportlab", "music21", "mido"}
