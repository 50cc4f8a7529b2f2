"""The command `sheet`, and `--sheet` of ideas, vary, practice and tune."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from tests.commands import Call, refused
from tests.unit.cli.test_import_cost import command, loaded

CHART = "| Ab | Cm | Db | Eb7 |"
PHRASE = "Eb4e F4e | C5q Bb4q Ab4h | G4q. F4e Eb4h | F4q G4q Ab4h | Bb4h G4h"
TUNE = str(Path(__file__).parents[3] / "shared/tunes/garden-gate.musicxml")


def headings(page: Path) -> list[str]:
    return re.findall(r"<h2>(.*?)</h2>", page.read_text(encoding="utf-8"))


@pytest.mark.parametrize("ending", ["svg", "pdf", "html", "musicxml", "mei"])
def test_every_kind_is_written(ending: str, call: Call, tmp_path: Path) -> None:
    """The ending says what is written; it is said on the error stream, and nothing is printed."""
    path = tmp_path / f"ideas.{ending}"
    answer = call("sheet", CHART, "-n", "3", "-o", str(path))
    assert (answer.code, answer.out) == (0, "")
    assert answer.err.startswith(f"3 phrases on the sheet {path}\n")
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
    assert "Pick-up: E flat 4 eighth, F 4 eighth." in text


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
    """The notes of a tune's sheet are those that `-o` writes, bar by bar, and the picture has its bars."""
    names = [str(tmp_path / name) for name in ("a.musicxml", "b.musicxml", "c.svg", "d.mei")]
    call("tune", TUNE, "-o", names[0], "--sheet", names[1])
    call("tune", TUNE, "--sheet", names[2])
    call("tune", TUNE, "--sheet", names[3])
    score = Path(names[0]).read_bytes()
    assert sounding(score) == sounding(Path(names[1]).read_bytes())
    bars = len(re.findall(rb"<measure ", score.partition(b"</part>")[0]))
    assert Path(names[2]).read_text(encoding="utf-8").count('class="measure"') == bars
    assert len(re.findall(r"<measure ", Path(names[3]).read_text(encoding="utf-8"))) == bars


def sounding(score: bytes) -> list[list[list[tuple[str, ...]]]]:
    """For each part and measure of a score the pitches and lengths of the notes, its bar lines left out."""
    tags = ("pitch/step", "pitch/alter", "pitch/octave", "duration", "type")
    return [
        [[tuple(note.findtext(tag, "") for tag in tags) for note in bar.iter("note")] for bar in part]
        for part in ET.fromstring(score).iter("part")
    ]


def test_the_sections_of_a_tune_are_marked(call: Call, tmp_path: Path) -> None:
    """Intro, tune and ending have their words behind double bars; a pick-up is no bar; the last note is held."""
    path = tmp_path / "a.musicxml"
    call("tune", TUNE, "--sheet", str(path))
    for part in ET.parse(path).getroot().iter("part"):
        bars = part.findall("measure")
        assert [bar.get("number") for bar in bars] == [*"1234", "X4", *"5678", "9", "10", "11", "12"]
        words = {bar.get("number"): bar.findtext(".//rehearsal") for bar in bars}
        named = {number: word for number, word in words.items() if word}
        assert named in ({"1": "Intro", "X4": "Tune", "9": "Ending"}, {})
        double = [bar.get("number") for bar in bars if bar.findtext("barline/bar-style") == "light-light"]
        assert double == ["4", "8"]
        assert len(bars[-1].findall("note/notations/fermata")) == 1
        assert not part.findall(".//barline/fermata")
    alone = tmp_path / "b.musicxml"
    call("tune", TUNE, "--intro", "0", "--sheet", str(alone))
    part = ET.parse(alone).getroot().find("part")
    assert part is not None
    assert [bar.get("number") for bar in part.findall("measure")][:3] == ["0", "1", "2"]
    assert [word.text for word in part.iter("rehearsal")] == ["Tune", "Ending"]


def test_remarks_about_all_are_left_out_of_some(call: Call, tmp_path: Path) -> None:
    """Where only some ideas are shown, nothing is said about all; what the chart lacks is said still."""
    wishes = (CHART, "-n", "50", "--seed", "0", "--level", "1", "--busy", "few")
    every = call("sheet", *wishes, "-o", str(tmp_path / "a.svg"))
    some = call("sheet", *wishes, "--only", "1", "-o", str(tmp_path / "b.svg"))
    assert "all of them are given" in every.err
    assert "Note: " not in some.err
    lacks = call("sheet", "| C | F |", "--for", "intro", "--only", "1", "-o", str(tmp_path / "c.svg"))
    assert "does not lead to C" in lacks.err


def test_the_title_comes_from_the_file_at_last(call: Call, tmp_path: Path) -> None:
    """`--title` goes before the chart's title, and that before the title of the file of the phrase."""
    tune = tmp_path / "own.abc"
    tune.write_text("X:1\nT:Quiet Ferry\nM:4/4\nL:1/4\nK:C\nceg2|\n", encoding="utf-8")
    titled = "title: Loud Ferry\n| C |"
    for chart, options, wanted in (
        ("| C |", (), "Quiet Ferry"),
        (titled, (), "Loud Ferry"),
        (titled, ("--title", "My Ferry"), "My Ferry"),
    ):
        path = tmp_path / f"{wanted}.html"
        assert call("sheet", chart, "--phrase", str(tune), *options, "-o", str(path)).code == 0
        assert f"<h1>{wanted}</h1>" in path.read_text(encoding="utf-8")


def test_letters_that_pdf_lacks_are_told(call: Call, tmp_path: Path) -> None:
    """A title that PDF cannot show is named in a note; a web page shows it, and no note is due."""
    options = ("sheet", CHART, "-n", "1", "--title", "雨の Lamp")
    told = call(*options, "-o", str(tmp_path / "a.pdf")).err
    assert "Note: the PDF cannot show 雨 の and has ? there; .svg and .html keep it." in told
    assert "cannot show" not in call(*options, "-o", str(tmp_path / "a.html")).err


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
        (("sheet", CHART, "-o", "a.svg", "--only", "0-2"), "There are 50 ideas. Ranks begin at 1."),
        (("sheet", CHART, "-o", "dir.pdf/"), "'dir.pdf/' is a folder"),
        (("sheet", "-o", "a.pdf"), 'fillgen sheet "| C | G7 |" -o ideas.pdf'),
        (("play",), 'fillgen play "| C | G7 |"'),
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
        "fillgen.writers.sheet",
    }
    picture = loaded(command("sheet", "| C | G7 |", "-n", "1", "-o", str(tmp_path / "a.svg")))
    assert "verovio" in picture
    assert not picture & {"reportlab", "music21", "mido"}
