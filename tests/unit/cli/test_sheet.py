"""Sheets of music: what `-o` with .svg, .pdf, .musicxml and .mei holds, and .html where there is no page to play."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

import mido
import pytest

from tests.commands import Call, refused
from tests.unit.cli.test_import_cost import command, loaded

CHART = "| Ab | Cm | Db | Eb7 |"
PHRASE = "Eb4e F4e | C5q Bb4q Ab4h | G4q. F4e Eb4h | F4q G4q Ab4h | Bb4h G4h"
TUNE = str(Path(__file__).parents[3] / "shared/tunes/garden-gate.musicxml")


def headings(sheet: Path) -> list[str]:
    """The headings over the phrases of a picture or a page of music."""
    text = sheet.read_text(encoding="utf-8")
    if sheet.suffix == ".html":
        return re.findall(r"<h2>(.*?)</h2>", text)
    return list(dict.fromkeys(re.findall(r">([^<>]* · [^<>]*)<", text)))


def test_same_ideas_as_are_printed(call: Call, tmp_path: Path) -> None:
    """The ranks and shapes of the sheet are those that are printed for the same options."""
    options = ("--rhythm", "swing", "--level", "4", "--seed", "3", "-n", "5")
    assert call("ideas", CHART, *options, "-o", "a.svg").code == 0
    ranked = re.findall(
        r"^ +(\d+)  ([a-z ]+?)(?:  \(.*\))?$", call("ideas", CHART, *options).out, re.MULTILINE
    )
    assert len(ranked) == 5
    assert headings(tmp_path / "a.svg") == [f"{rank} · {shape}" for rank, shape in ranked]


def test_looks_can_be_chosen(call: Call, tmp_path: Path) -> None:
    """Two staves, note names, no fingers and a title are found in the picture, the paper in the PDF."""
    args = (
        "--view",
        "two-hands",
        "--note-names",
        "--no-fingers",
        "--title",
        "Tea & <Rain>",
        "--paper",
        "Letter",
    )
    assert call("ideas", CHART, "-n", "1", *args, "-o", "look.svg", "-o", "look.pdf").code == 0
    text = (tmp_path / "look.svg").read_text(encoding="utf-8")
    assert 'class="syl"' in text
    assert 'class="fing"' not in text
    assert 'id="idea-1-c0"' in text
    assert "Tea &amp; &lt;Rain&gt;" in text
    assert re.search(rb"/MediaBox \[ *0 0 612 792 *\]", (tmp_path / "look.pdf").read_bytes())
    assert call("ideas", CHART, "-n", "1", "-o", "usual.svg", "-o", "usual.pdf").code == 0
    usual = (tmp_path / "usual.svg").read_text(encoding="utf-8")
    assert ('class="syl"' in usual, 'class="fing"' in usual, 'id="idea-1-c0"' in usual) == (
        False,
        True,
        False,
    )
    assert re.search(rb"/MediaBox \[ *0 0 595\.\d+ 841\.\d+ *\]", (tmp_path / "usual.pdf").read_bytes())


def test_columns_and_author(call: Call, tmp_path: Path) -> None:
    """A PDF names its author and has two columns if asked for; both are refused where there is no sheet."""
    args = ("--columns", "2", "--author", "Mara Lind")
    assert call("ideas", CHART, "-n", "6", *args, "-o", "two.pdf").code == 0
    content = (tmp_path / "two.pdf").read_bytes()
    assert b"/Author (Mara Lind)" in content
    assert len(re.findall(rb"/Type /Page\b(?!s)", content)) == 1
    refused(call("ideas", CHART, *args), "--author and --columns need a sheet")
    refused(call("ideas", "| Ab | Db | Ab | Eb7 | Ab |", "-n", "1", *args, "-o", "long.pdf"), "four bars")
    assert not (tmp_path / "long.pdf").exists()


def test_handouts_take_the_look_of_a_sheet(call: Call, tmp_path: Path) -> None:
    """Title, author and paper of notes, voicings, sequences and a lesson are those asked for, on paper and as a page."""
    args = ("--title", "Monday <class>", "--author", "Mara Lind", "--paper", "letter")
    commands = (
        ("notes", "--sequence", "plagal close", "--key", "Ab"),
        ("voicings", CHART),
        ("sequences", "--for", "vamp", "--key", "Eb"),
        ("practice", CHART, "--levels", "1", "--per-level", "1"),
    )
    for words in commands:
        name = words[0]
        answer = call(*words, *args, "-o", f"{name}.pdf", "-o", f"{name}.html")
        assert answer.code == 0, answer.err
        content = (tmp_path / f"{name}.pdf").read_bytes()
        assert b"/Title (Monday <class>)" in content
        assert b"/Author (Mara Lind)" in content
        assert re.search(rb"/MediaBox \[ *0 0 612 792 *\]", content)
        text = (tmp_path / f"{name}.html").read_text(encoding="utf-8")
        assert "<h1>Monday &lt;class&gt;</h1>" in text
        assert "@page{size:letter" in text
        assert '<meta name="author" content="Mara Lind"/>' in text


def test_a_stock_sequence_wherever_a_chart_is_taken(call: Call, tmp_path: Path) -> None:
    """`--sequence` gives the chords of a tune without any, over and over; where it comes out uneven it is refused."""
    tune = Path(TUNE).read_text(encoding="utf-8")
    bare = tmp_path / "bare.musicxml"
    bare.write_text(re.sub(r"<harmony.*?</harmony>", "", tune, flags=re.DOTALL), encoding="utf-8")
    asked = ("tune", str(bare), "--intro", "2", "--ending", "0")
    given = "| Bb | Bb | F7 | F7 |"
    for name, words in (("one", ("--sequence", "waltz vamp")), ("two", ("--chords", given))):
        answer = call(*asked, *words, "-o", f"{name}.musicxml")
        assert answer.code == 0, answer.err
    assert (tmp_path / "one.musicxml").read_bytes() == (tmp_path / "two.musicxml").read_bytes()
    refused(
        call(*asked, "--sequence", "waltz vamp", "--chords", CHART), "use a chart or --sequence, not both"
    )
    refused(call(*asked, "--sequence", "waltz vmp"), "unknown sequence", "waltz vamp")
    assert "No ideas found" in call("book", "--sequence", "plagal close").out
    refused(call("page", "--sequence", "plagal clos"), "Did you mean 'plagal close'")


def test_a_phrase_of_ones_own(call: Call, tmp_path: Path) -> None:
    """A phrase with a pick-up is engraved as it is, under its chart; the report on it is printed all the same."""
    answer = call("check", CHART, PHRASE, "--level", "auto", "-o", "own.svg")
    assert answer.out == call("check", CHART, PHRASE, "--level", "auto").out
    assert "pick-up" in answer.out
    text = (tmp_path / "own.svg").read_text(encoding="utf-8")
    assert text.count('class="measure"') == 5
    assert text.count('class="note"') == 13
    assert "Pick-up: E flat 4 eighth, F 4 eighth." in text


def test_vary_practice_and_tune_have_sheets(call: Call, tmp_path: Path) -> None:
    """Varied phrases, the idea that is looped, the ideas of turns, a lesson and a whole tune come out as notes."""
    own = PHRASE.partition("| ")[2]
    varied, loop, turns, course = (tmp_path / f"{name}.svg" for name in "vltc")
    assert call("vary", CHART, own, "-n", "2", "--keep", "1,2", "-o", str(varied)).code == 0
    assert len(headings(varied)) == 2
    assert call("practice", CHART, "-o", "a.mid", "--only", "3", "-o", str(loop)).code == 0
    assert [heading.split(" ")[0] for heading in headings(loop)] == ["3"]
    assert call("practice", CHART, "-o", "b.mid", "--turns", "2", "-o", str(turns)).code == 0
    assert [heading.split(" ")[0] for heading in headings(turns)] == ["1", "2"]
    assert call("practice", CHART, "--levels", "1,2", "--per-level", "1", "-o", str(course)).code == 0
    levels = re.findall(r">(Level \d: [^<·]*)<", course.read_text(encoding="utf-8"))
    assert levels == ["Level 1: roots", "Level 2: chord notes"]
    assert call("tune", TUNE, "--rhythm", "waltz", "-o", "whole.html").code == 0
    assert "<h1>Garden Gate</h1>" in (tmp_path / "whole.html").read_text(encoding="utf-8")


def test_a_tune_is_engraved_from_its_own_score(call: Call, tmp_path: Path) -> None:
    """The picture and the MEI of a tune have the bars of the score that is written beside them."""
    assert call("tune", TUNE, "-o", "a.musicxml", "-o", "c.svg", "-o", "d.mei").code == 0
    score, picture, mei = (
        (tmp_path / name).read_text(encoding="utf-8") for name in ("a.musicxml", "c.svg", "d.mei")
    )
    bars = len(re.findall(r"<measure ", score.partition("</part>")[0]))
    assert bars > 8
    assert picture.count('class="measure"') == bars
    assert len(re.findall(r"<measure ", mei)) == bars


def test_the_sections_of_a_tune_are_marked(call: Call, tmp_path: Path) -> None:
    """Intro, tune and ending have their words behind double bars; a pick-up is no bar; the last note is held."""
    assert call("tune", TUNE, "-o", "a.mei").code == 0
    bars = measures(tmp_path / "a.mei")
    assert [bar.get("n") for bar in bars] == [*"1234", "X4", *"5678", "9", "10", "11", "12"]
    words = {
        bar.get("n"): "".join(bar.find(f".//{MEI}reh").itertext()).strip()
        for bar in bars
        if bar.findall(f".//{MEI}reh")
    }
    assert words == {"1": "Intro", "X4": "Tune", "9": "Ending"}
    assert [bar.get("n") for bar in bars if bar.get("right") == "dbl"] == ["4", "8"]
    assert [bar.get("n") for bar in bars if bar.findall(f".//{MEI}fermata")] == ["12"]
    assert call("tune", TUNE, "--intro", "0", "-o", "b.mei").code == 0
    bars = measures(tmp_path / "b.mei")
    assert [bar.get("n") for bar in bars][:3] == ["0", "1", "2"]
    assert ["".join(word.itertext()).strip() for bar in bars for word in bar.iter(f"{MEI}reh")] == [
        "Tune",
        "Ending",
    ]


MEI = "{http://www.music-encoding.org/ns/mei}"


def measures(score: Path) -> list[ET.Element]:
    return list(ET.parse(score).getroot().iter(f"{MEI}measure"))


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
        assert call("check", chart, str(tune), *options, "-o", str(path)).code in {0, 1}
        assert f"<h1>{wanted}</h1>" in path.read_text(encoding="utf-8")


def test_letters_that_pdf_lacks_are_named(call: Call, tmp_path: Path) -> None:
    """A title that PDF cannot show is named in a note; a picture shows it, and no note is due."""
    options = ("ideas", CHART, "-n", "1", "--title", "雨の Lamp")
    noted = [line for line in call(*options, "-o", "a.pdf").err.splitlines() if line.startswith("Note: ")]
    assert len(noted) == 1
    assert {"雨", "の", ".svg"} <= set(noted[0].replace(",", "").split())
    assert "Note: " not in call(*options, "-o", "a.svg").err
    assert "雨の Lamp" in (tmp_path / "a.svg").read_text(encoding="utf-8")


def widest_chord(score: Path) -> int:
    """The semitones between the outer notes of the widest chord on the lower staff of a score in MusicXML."""
    steps = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
    chords: list[list[int]] = []
    for note in ET.parse(score).getroot().iter("note"):
        if note.findtext("staff") != "2" or note.find("pitch") is None:
            continue
        octave, alter = int(note.findtext("pitch/octave", "")), int(note.findtext("pitch/alter", "0"))
        pitch = 12 * octave + steps[note.findtext("pitch/step", "")] + alter
        chords = (
            [*chords[:-1], [*chords[-1], pitch]] if note.find("chord") is not None else [*chords, [pitch]]
        )
    return max(max(chord) - min(chord) for chord in chords)


@pytest.mark.parametrize(
    ("options", "reach"), [((), 12), (("--span", "10"), 10), (("--hand", "small"), 9), (("--span", "15"), 15)]
)
def test_left_hand_of_a_phrase_reaches_as_far_as_asked(
    options: tuple[str, ...], reach: int, call: Call, tmp_path: Path
) -> None:
    """Below a phrase of one's own the left hand's chords keep within the span, or what suits the hand."""
    chart, phrase = "| Bbm7 | Gbmaj7 | Ebm9 | F7b9 |", "F5h Db5h | Db5h Bb4h | F5h Db5h | A4h C5h"
    call("check", chart, phrase, *options, "--view", "two-hands", "-o", "own.musicxml")
    assert 0 < widest_chord(tmp_path / "own.musicxml") <= reach


def test_phrase_of_ones_own_swings_as_asked(call: Call, tmp_path: Path) -> None:
    """The offbeats of a phrase that is checked are written to MIDI where the swing puts them."""
    places = {}
    for swing in ("1", "3"):
        call("check", "| Bb |", "D5e F5e Bb4q D5h", "--swing", swing, "--feel", "0", "-o", f"{swing}.mid")
        track = mido.MidiFile(tmp_path / f"{swing}.mid")
        events = mido.merge_tracks(track.tracks)
        tick, struck = 0, []
        for event in events:
            tick += event.time
            struck += [tick / track.ticks_per_beat] if event.type == "note_on" and event.velocity else []
        places[swing] = struck[1]
    assert places == {"1": 0.5, "3": 0.75}


def test_left_hand_comes_with_its_part(call: Call, tmp_path: Path) -> None:
    """Where the left hand is to be heard it stands on the sheet as well."""
    for name, options in (("both", ("--parts", "right,left")), ("right", ())):
        assert call("ideas", CHART, "-n", "1", *options, "-o", f"{name}.svg").code == 0
        left = 'id="idea-1-c0"' in (tmp_path / f"{name}.svg").read_text(encoding="utf-8")
        assert left == (name == "both")


@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        (("ideas", CHART, "-o", "ideas.png"), ["'ideas.png'", ".svg", ".pdf"]),
        (("ideas", CHART, "-o", "ideas.pfd"), ["'ideas.pfd'", "'.pdf'"]),
        (("ideas", CHART, "-o", "a.svg", "--view", "lead"), ["unknown view", "lead-sheet"]),
        (("ideas", CHART, "-o", "a.svg", "--paper", "a44"), ["'a44'", "'a4'"]),
        (("check", CHART, PHRASE, "-o", "a.svg", "--paper", "foolscap"), ["'foolscap'", "a4", "letter"]),
        (("check", CHART, "C5x", "-o", "a.svg"), ["bar 1", "C5x"]),
        (("tune", TUNE, "-o", "a.svg", "--title", "A", "--view", "0"), ["unknown view"]),
        (("practice", CHART, "-o", "a.json"), ["'a.json'", ".mid", ".html"]),
        (("practice", CHART, "-o", "a.mid", "--times", "17"), ["17", "1 to 16"]),
        (("practice", CHART, "-o", "a.pdf", "--only", "2"), ["--only", ".mid"]),
        (("ideas", CHART, "--note-names"), ["--note-names", ".pdf"]),
        (("ideas", CHART, "--no-fingers", "-o", "a.html", "-o", "a.mid"), ["--no-fingers", ".pdf"]),
        (("vary", CHART, PHRASE, "--view", "two-hands", "-o", "a/"), ["--view", ".pdf"]),
        (("check", CHART, PHRASE, "--paper", "letter", "--title", "A"), ["--paper and --title", ".pdf"]),
        (("check", CHART, PHRASE, "--swing", "5"), ["swing", "1", "4"]),
        (("tune", TUNE, "--view", "two-hands", "-o", "a.musicxml"), ["--view", ".pdf"]),
        (("practice", CHART, "--no-fingers", "-o", "a.txt"), ["--no-fingers", ".pdf"]),
    ],
)
def test_wrong_calls_are_refused(
    arguments: tuple[str, ...], parts: list[str], call: Call, tmp_path: Path
) -> None:
    """Bad input ends with code 2 and what to do, and no file is written."""
    refused(call(*arguments), *parts)
    assert list(tmp_path.iterdir()) == []


def test_notation_is_loaded_only_for_sheets(tmp_path: Path) -> None:
    """Ideas without a sheet load neither the engraver nor the PDF library; a picture does not load the latter."""
    assert not loaded(command("ideas", "| C | G7 |", "-n", "2")) & {
        "verovio",
        "reportlab",
        "fillgen.writers.sheet",
    }
    picture = loaded(command("ideas", "| C | G7 |", "-n", "1", "-o", str(tmp_path / "a.svg")))
    assert "verovio" in picture
    assert not picture & {"reportlab", "music21", "mido"}


def test_parts_that_sound_are_on_the_sheet(call: Call, tmp_path: Path) -> None:
    """Those asked for by name; drums are told of, and all four that play for a purpose are not on it by themselves."""
    chart = ("ideas", "| Ab | Db | Eb7 | Ab |", "-n", "2")
    shown = call(*chart, "--parts", "left,bass,drums", "-o", str(tmp_path / "a.musicxml"))
    assert "a backing track in" in shown.err
    assert "leaves out the drums" in shown.err
    root = ET.fromstring((tmp_path / "a.musicxml").read_bytes())
    assert (root.findtext(".//staves"), len(list(root.iter("measure")))) == ("2", 4)
    quiet = call(*chart, "--for", "ending", "-o", str(tmp_path / "b.musicxml"))
    assert "drums" not in quiet.err
    assert ET.fromstring((tmp_path / "b.musicxml").read_bytes()).find(".//staves") is None
