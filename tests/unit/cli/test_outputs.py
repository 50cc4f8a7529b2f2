"""`-o` in every command that writes: each ending, several at once, and nothing written where one can't be."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Sequence
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path

import mido
import pytest

import fillgen
from fillgen.app.contents import BOOK, CHECKED, IDEAS, NOTES, PRACTICE, SEQUENCES, TUNE, VOICINGS
from fillgen.app.formats import FORMATS
from fillgen.book import store
from fillgen.book.door import Book
from tests.commands import Call, all_commands, refused, tree

CHART = "| Bb | Gm7 | Cm7 | F7 |"
PHRASE = "D5q C5q Bb4h | Bb4q A4q G4h | G4q F4q Eb4h | F4h A4h"
MOMENT = datetime(2026, 11, 21, 20, 0, tzinfo=UTC)
TUNE_FILE = str(Path(__file__).parents[3] / "shared/tunes/garden-gate.musicxml")
BEGINS = {
    # how a file of each kind begins, in its first 400 bytes
    ".mid": b"MThd",
    ".midi": b"MThd",
    ".wav": b"RIFF",
    ".flac": b"fLaC",
    ".musicxml": b"<score-partwise",
    ".xml": b"<score-partwise",
    ".mei": b"<mei ",
    ".svg": b"<svg",
    ".pdf": b"%PDF-",
    ".html": b"<!DOCTYPE html>",
    ".htm": b"<!DOCTYPE html>",
    ".txt": b"",
    ".json": b"{",
    ".mxl": b"PK",
}
WRITING: dict[str, tuple[Sequence[str], Sequence[str]]] = {
    # a command that writes, and the forms of what it has
    "ideas": (("ideas", CHART, "-n", "1", "--tempo", "200"), IDEAS),
    "vary": (("vary", CHART, PHRASE, "--like", "-n", "1", "--tempo", "200"), IDEAS),
    "check": (("check", CHART, PHRASE, "--tempo", "200"), CHECKED),
    "practice": (("practice", CHART, PHRASE, "--tempo", "200", "--steps", "1", "--times", "1"), PRACTICE),
    "tune": (("tune", TUNE_FILE, "--intro", "2", "--ending", "0", "--tempo", "200"), TUNE),
    "notes": (("notes", CHART), NOTES),
    "voicings": (("voicings", CHART, "-n", "1", "--tempo", "200"), VOICINGS),
    "sequences": (("sequences", "--for", "vamp", "--bars", "1"), SEQUENCES),
    "changes": (("sequences", "--changes", CHART), ("text",)),
    "export": (("book", "export", "1"), BOOK),
    "set": (("book", "set", "Pier"), BOOK),
}


@pytest.fixture(name="filled", scope="module")
def _filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with two ideas over two charts, one of them in a set."""
    path = tmp_path_factory.mktemp("filled") / "ideas.book"
    with Book(path) as book:
        for chart in (CHART, "| A | E7 |"):
            found = fillgen.ideas(chart, count=1, tempo=200)
            store.remember(book, found, MOMENT, command="ideas", options={}, rules="", version="1")
        store.put_in_set(book, "Pier", [1])
    return path


@pytest.fixture(autouse=True)
def _book(filled: Path, call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A copy of that book for each test; nothing is remembered in it."""
    path = tmp_path.parent / f"{tmp_path.name}.book"
    shutil.copy(filled, path)
    monkeypatch.setenv("FILLGEN_BOOK", str(path))
    monkeypatch.setattr("fillgen.app.memory.remember", lambda *_, **__: ([], ""))


def endings(forms: Sequence[str]) -> list[str]:
    """The endings that content of these forms can be written to."""
    usable = [ending for ending, kind in FORMATS.items() if kind.can_hold(frozenset(forms))]
    return [ending for ending in usable if ending != ".flac" or find_spec("soundfile")]


def options(names: Sequence[str]) -> list[str]:
    return [word for name in names for word in ("-o", name)]


# Every ending


def test_every_command_with_an_output_is_tried() -> None:
    """The table above has every command that takes `-o` for files, and knows how each kind of file begins."""
    own_folder = {("batch",), ("listen",)}  # tried in test_batch and test_play
    writing = {words for words, each in all_commands().items() if any("-o" in p.opts for p in each.params)}
    tried = {tuple(words[:2]) if words[0] == "book" else (words[0],) for words, _ in WRITING.values()}
    assert tried == writing - own_folder
    assert BEGINS.keys() == FORMATS.keys()


@pytest.mark.costly
@pytest.mark.parametrize("what", WRITING)
def test_every_ending_at_once(call: Call, tmp_path: Path, what: str) -> None:
    """One call writes every kind of file that can hold what there is, and a folder where there are takes."""
    arguments, forms = WRITING[what]
    names = [f"a{ending}" if ending != ".midi" else "b.MIDI" for ending in endings(forms)]
    names += ["takes/"] if "files" in forms else []
    answer = call(*arguments, *options(names))
    assert answer.code == 0, answer.err
    written = tree(tmp_path)
    takes = [name for name in written if name.startswith("takes/")]
    assert sorted(written) == sorted([*takes, *(name for name in names if name != "takes/")])
    assert bool(takes) == ("files" in forms)
    for name, content in written.items():
        assert BEGINS[Path(name).suffix.lower()].lower() in content[:400].lower(), name
        assert content
    assert [
        name for name in names if not re.search(rf"(in|to) {re.escape(name)}$", answer.err, re.MULTILINE)
    ] == []


@pytest.mark.parametrize("what", WRITING)
def test_other_endings_are_refused(call: Call, tmp_path: Path, what: str) -> None:
    """An ending that can't hold what there is, an unknown one and none are refused, with those that can."""
    arguments, forms = WRITING[what]
    usable = endings(forms)
    for name in [*(f"a{ending}" for ending in FORMATS if ending not in endings(forms)), "a.docx", "a"]:
        if name == "a.flac" and ".wav" in usable:
            continue
        answer = call(*arguments, "-o", f"first{usable[0]}", "-o", name)
        refused(answer, repr(name))
        hint = answer.err.partition(". ")[2]
        offered = set(re.findall(r"\.[a-z]+\b", hint))
        assert offered <= {*usable, ".flac"}, answer.err
        assert offered >= {*usable} - {".midi", ".xml", ".htm"}, answer.err
    if "files" not in forms:
        refused(call(*arguments, "-o", "takes/"), "'takes/'")
    assert tree(tmp_path) == {}


def test_one_output_is_the_same_as_among_others(call: Call, tmp_path: Path) -> None:
    """A file has the same bytes whether it is written alone or beside others."""
    arguments = ("ideas", CHART, "-n", "2", "--for", "intro")
    kinds = [".mid", ".musicxml", ".mei", ".svg", ".html", ".txt", ".json"]
    assert call(*arguments, *options([f"together{kind}" for kind in kinds])).code == 0
    for kind in kinds:
        assert call(*arguments, "-o", f"alone{kind}").code == 0
    written = tree(tmp_path)
    assert [kind for kind in kinds if written[f"together{kind}"] != written[f"alone{kind}"]] == []


def _without_hint(text: str) -> str:
    """A text without the line that names an option for the next command, which a file doesn't have."""
    return "".join(line for line in text.splitlines(keepends=True) if not line.startswith("To see why"))


def test_what_is_printed_is_what_a_text_holds(call: Call, tmp_path: Path) -> None:
    """A text or JSON file holds what is printed."""
    for what, (arguments, forms) in WRITING.items():
        if what in ("practice", "tune", "export", "set"):  # printed and written are told apart there
            continue
        printed = {"text": _without_hint(call(*arguments).out)}
        if "json" in forms:
            printed["json"] = call(*arguments, "--format", "json").out
        names = [f"{what}.txt", *([f"{what}.json"] if "json" in forms else [])]
        assert call(*arguments, *options(names)).code == 0
        assert [(tmp_path / name).read_text(encoding="utf-8") for name in names] == list(printed.values())


def test_format_is_for_what_is_printed(call: Call, tmp_path: Path) -> None:
    """`--format` beside `-o` is refused in every command that has both, and so is a format there isn't."""
    for arguments, _ in WRITING.values():
        words = tuple(arguments[:2]) if arguments[0] == "book" else (arguments[0],)
        if any("--format" in param.opts for param in all_commands()[words].params):
            refused(call(*arguments, "-o", "a.txt", "--format", "text"), "--format", "-o NAME.json")
            refused(call(*arguments, "--format", "jsn"), "'jsn'", "'json'")
    assert tree(tmp_path) == {}


# Nothing is written where one can't be


@pytest.mark.parametrize("what", WRITING)
def test_outputs_are_checked_before_anything_is_read(call: Call, tmp_path: Path, what: str) -> None:
    """A file in the way is what is said, though the chart, the tune or the number is wrong too: nothing was read yet."""
    arguments, forms = WRITING[what]
    wrong = {
        "tune": [*arguments[:1], "none.musicxml"],
        "export": ["book", "export", "99"],
        "set": ["book", "set", "x"],
    }
    wrong |= {"sequences": ["sequences", "--for", "none"], "changes": ["sequences", "--changes", "| Hm |"]}
    broken = wrong.get(what, [arguments[0], "| Hm |", *arguments[2:]])
    good, bad = f"a{endings(forms)[0]}", f"kept{endings(forms)[-1]}"
    (tmp_path / bad).write_bytes(b"mine")
    refused(call(*broken, *options([good, bad])), bad, "exists already", "--overwrite")
    refused(call(*broken, *options([good, f"none/{bad}"])), f"none/{bad}", "no such folder")
    refused(call(*broken, *options([good, f"./{good}"])), good, "twice")
    if "files" in forms:
        refused(call(*broken, *options([good, f"{bad}/takes/"])), bad, "cannot be made")
    assert tree(tmp_path) == {bad: b"mine"}
    assert call(*arguments, *options([good, bad]), "--overwrite").code == 0
    assert sorted(tree(tmp_path)) == sorted([good, bad])
    assert tree(tmp_path)[bad] != b"mine"


HALVES: dict[str, tuple[Sequence[str], Sequence[str], list[str]]] = {
    # a command, its outputs, of which one can't be made, and what is said
    "a take in the way": (WRITING["ideas"][0], ["a.mid", "takes/"], ["idea-01.mid", "exists already"]),
    "a sound take in the way": (
        (*WRITING["ideas"][0], "--audio"),
        ["a.mid", "sounds/"],
        ["idea-01.wav", "exists already"],
    ),
    "one MIDI file of two charts": (("book", "export", "--all"), ["a.json", "a.pdf", "a.mid"], ["2 charts"]),
    "a loop of an idea there isn't": (
        ("practice", CHART, "--only", "60"),
        ["a.html", "a.txt", "a.mid"],
        ["'60'", "50 ideas"],
    ),
    "the second of two versions": (
        ("tune", TUNE_FILE, "-n", "2"),
        ["a.mid", "a.pdf"],
        ["a-2.mid", "exists already"],
    ),
}


@pytest.mark.parametrize("what", HALVES)
def test_all_or_nothing(call: Call, tmp_path: Path, what: str) -> None:
    """Where one of several outputs can't be made, none is written."""
    for name in ("takes/idea-01.mid", "sounds/idea-01.wav", "a-2.mid"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"mine")
    before = tree(tmp_path)
    arguments, names, parts = HALVES[what]
    refused(call(*arguments, *options(names)), *parts)
    assert tree(tmp_path) == before


# Several contents


def test_a_loop_and_a_lesson(call: Call, tmp_path: Path) -> None:
    """`practice -o a.mid -o b.html` writes the loop to play along with and the lesson to read, as each alone would."""
    arguments = ("practice", CHART, PHRASE, "--steps", "2", "--levels", "1,2", "--per-level", "1")
    both = call(*arguments, *options(["a.mid", "b.html", "c.txt"]))
    assert both.code == 0
    assert both.out == call("practice", CHART, PHRASE, "--steps", "2", "-o", "alone.mid").out
    assert call(*arguments, *options(["alone.html", "alone.txt"])).out == ""
    written = tree(tmp_path)
    assert written["a.mid"] == written["alone.mid"]
    assert written["b.html"] == written["alone.html"]
    assert written["c.txt"] == written["alone.txt"]
    assert b"Level 2" in written["b.html"]


def test_what_is_played_has_no_ladder(call: Call, tmp_path: Path) -> None:
    """Levels are those of a lesson: where there is none they are refused, not passed over."""
    for outputs in (["-o", "a.mid", "-o", "a.pdf"], ["-o", "a.wav"], ["--turns", "2", "-o", "a.mid"]):
        refused(call("practice", CHART, "--levels", "1", *outputs), "--levels", "--level 2", "ladder.pdf")
    assert tree(tmp_path) == {}


def test_turns_have_no_lesson(call: Call, tmp_path: Path) -> None:
    """Calls and answers are heard, said in words and seen as notes; a page is for lessons, and is refused."""
    arguments = ("practice", CHART, "--turns", "2", "--tempo", "200")
    answer = call(*arguments, *options(["a.mid", "a.txt", "a.svg"]))
    assert (answer.code, answer.out) == (0, "")
    assert sorted(tree(tmp_path)) == ["a.mid", "a.svg", "a.txt"]
    assert (tmp_path / "a.txt").read_text(encoding="utf-8") == call(*arguments).out
    refused(call(*arguments, *options(["b.mid", "b.html"])), "--turns", ".mid")
    assert sorted(tree(tmp_path)) == ["a.mid", "a.svg", "a.txt"]


def test_versions_of_a_tune(call: Call, tmp_path: Path) -> None:
    """Each version has files of its own with its number, all of them are on one sheet, and the names are said."""
    answer = call(
        "tune", TUNE_FILE, "-n", "2", *options(["whole.mid", "whole.musicxml", "whole.svg", "whole.mei"])
    )
    assert answer.code == 0
    written = tree(tmp_path)
    numbered = [f"whole-{number}.{kind}" for number in (1, 2) for kind in ("mei", "mid", "musicxml")]
    assert sorted(written) == sorted([*numbered, "whole.svg"])
    assert [
        name for name in written if not re.search(rf"(in|to) {re.escape(name)}$", answer.err, re.MULTILINE)
    ] == []
    assert written["whole-1.musicxml"] != written["whole-2.musicxml"]
    assert call("tune", TUNE_FILE, "-n", "1", "-o", "one.musicxml").code == 0
    assert (tmp_path / "one.musicxml").read_bytes() == written["whole-1.musicxml"]
    bars = [written[f"whole-{number}.mei"].count(b"<measure ") for number in (1, 2)]
    assert written["whole.svg"].count(b'class="measure"') == sum(bars)


def test_sounds_beside_other_files(call: Call, tmp_path: Path) -> None:
    """Takes as sound files beside a sheet; a word of caution is said once."""
    answer = call(*WRITING["ideas"][0], "--audio", *options(["takes/", "a.wav", "a.svg"]))
    assert answer.code == 0
    assert sorted(tree(tmp_path)) == ["a.svg", "a.wav", "takes/idea-01.wav"]
    assert answer.err.count("headphones") == 1


# Some of the ideas


def texts(out: str) -> list[str]:
    return [idea["text"] for idea in json.loads(out)["ideas"]]


@pytest.mark.parametrize(
    "arguments",
    [("ideas", CHART, "-n", "5"), ("vary", CHART, PHRASE, "--keep", "1,2", "-n", "5")],
    ids=["ideas", "vary"],
)
def test_only_some_of_the_ideas(call: Call, tmp_path: Path, arguments: Sequence[str]) -> None:
    """`--only` takes ranks and ranges, each once, in the order asked for, printed and in every file."""
    every = texts(call(*arguments, "--format", "json").out)
    chosen = [every[rank - 1] for rank in (4, 1, 2, 3)]
    some = call(*arguments, "--only", "4,1-3,2", "--format", "json")
    assert texts(some.out) == chosen
    assert [idea["rank"] for idea in json.loads(some.out)["ideas"]] == [4, 1, 2, 3]
    assert call(*arguments, "--only", "4,1-3,2", *options(["a.json", "takes/"])).code == 0
    assert texts((tmp_path / "a.json").read_text(encoding="utf-8")) == chosen
    takes = sorted(path.name for path in (tmp_path / "takes").iterdir())
    assert takes == [f"idea-0{rank}.mid" for rank in (1, 2, 3, 4)]
    ranks = re.findall(r"^ *(\d+)  [a-z ]+$", call(*arguments, "--only", "4,2").out, re.MULTILINE)
    assert ranks == ["4", "2"]
    for wrong, parts in (("6", ["'6'", "5 ideas"]), ("0-2", ["'0-2'", "begin at 1"]), ("two", ["'two'"])):
        refused(call(*arguments, "--only", wrong), *parts)
    refused(call(*arguments, "--only", "3-1"), "'3-1'")


def test_remarks_about_all_are_left_out_of_some(call: Call) -> None:
    """Where only some ideas are shown, nothing is said about all; what the chart lacks is said still."""
    args = ("ideas", "| Ab | Cm | Db | Eb7 |", "-n", "50", "--level", "1", "--busy", "few")
    assert "Note: " in call(*args).out
    assert "Note: " not in call(*args, "--only", "1").out
    assert "Note: " in call("ideas", "| C | F |", "--for", "intro", "--only", "1").out


# Options given twice


def test_an_option_with_one_value_is_given_once(call: Call, tmp_path: Path) -> None:
    """Every option of every command, given twice, is refused by its name before anything else; three may be given again."""
    again, tried = set(), 0
    for words, command in all_commands().items():
        for param in command.params:
            if param.param_type_name != "option" or "--help" in param.opts:
                continue
            if param.multiple:
                again.add(param.opts[0])
                continue
            value = [] if param.is_flag else ["1"]
            for one in param.opts:
                for other in [*param.opts, *param.secondary_opts]:
                    answer = call(*words, one, *value, other, *value)
                    refused(answer, f"{param.opts[0]} is given twice")
                    tried += 1
    assert again == {"--output", "--keep", "--sound"}
    assert tried > 250
    assert tree(tmp_path) == {}


def test_what_is_kept_may_be_given_in_parts(call: Call) -> None:
    """`--keep 1-3 --keep rhythm` keeps the bars and the rhythm, as with one option and a comma."""
    apart = call("vary", CHART, PHRASE, "--keep", "1-3", "--keep", "rhythm", "-n", "3", "--format", "json")
    assert apart.code == 0
    assert apart.out == call("vary", CHART, PHRASE, "--keep", "1-3,rhythm", "-n", "3", "--format", "json").out
    own = fillgen.parse_phrase(PHRASE, fillgen.parse_chart(CHART).metre)
    for text in texts(apart.out):
        found = fillgen.parse_phrase(text, fillgen.parse_chart(CHART).metre)
        assert [(note.onset, note.length) for note in found] == [(note.onset, note.length) for note in own]
        assert text.split(" | ")[:3] == PHRASE.split(" | ")[:3]
        assert text.split(" | ")[3] != PHRASE.split(" | ")[3]


# A sequence in place of a chart, with a phrase


def test_a_phrase_over_a_sequence(call: Call, tmp_path: Path) -> None:
    """With --sequence the one argument is the phrase; the answers are those over the same chords as a chart."""
    named = ("--sequence", "backdoor close", "--key", "Bb")
    found = json.loads(call("ideas", *named, "-n", "1", "--format", "json").out)
    chart = " | ".join(" ".join(chord["symbol"] for chord in bar["chords"]) for bar in found["chart"]["bars"])
    over = (f"| {chart} |", "--key", "Bb")
    phrase = found["ideas"][0]["text"]

    def notes(answer_: str) -> list[object]:
        document = json.loads(answer_)
        return document["notes"] if "notes" in document else texts(answer_)

    for command, rest in (("check", ()), ("vary", ("--like", "-n", "2"))):
        one = call(command, *named, phrase, *rest, "--format", "json")
        other = call(command, over[0], phrase, *over[1:], *rest, "--format", "json")
        assert (one.code, other.code) == (0, 0), one.err
        assert notes(one.out) == notes(other.out)
    loop = ("--steps", "1", "--times", "1")
    assert call("practice", *named, phrase, *loop, "-o", "a.mid").code == 0
    assert call("practice", over[0], phrase, *over[1:], *loop, "-o", "b.mid").code == 0
    assert sounding(tmp_path / "a.mid") == sounding(tmp_path / "b.mid")
    refused(call("check", *named, over[0], phrase), "chart", "sequence")


def sounding(path: Path) -> list[list[tuple[int, int]]]:
    """The ticks and pitches of the notes of each track of a MIDI file."""
    tracks = []
    for track in mido.MidiFile(path).tracks:
        at, notes = 0, []
        for message in track:
            at += message.time
            if message.type == "note_on" and message.velocity:
                notes.append((at, message.note))
        tracks.append(notes)
    return tracks


# A second voice


def test_a_second_voice_goes_into_what_is_written(call: Call, tmp_path: Path) -> None:
    """JSON and MIDI hold the same keys, and the text a line for them."""
    outputs = [word for name in ("a.json", "a.mid", "a.txt") for word in ("-o", str(tmp_path / name))]
    assert call("ideas", CHART, "-n", "1", "--second", "thirds", *outputs, "--no-book").code == 0
    (idea,) = json.loads((tmp_path / "a.json").read_text())["ideas"]
    keys = sorted(note["midi"] for note in (*idea["notes"], *idea["second"]))
    assert set(idea["second"][0]) <= set(idea["notes"][0])
    file = mido.MidiFile(tmp_path / "a.mid")
    struck = [message.note for message in file if message.type == "note_on" and message.velocity]
    assert sorted(struck) == keys
    assert "second | " in (tmp_path / "a.txt").read_text()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("ideas", CHART, "--second", "tirds"), "thirds"),
        (("practice", CHART, "--second", "thirds"), ".mid"),
        (("book", "export", "1", "--second", "thirds", "-o", "a.json"), ".json"),
        (("book", "export", "1", "--second", "fourths"), "sixths"),
    ],
)
def test_a_second_voice_is_refused_where_it_cannot_be(
    call: Call, arguments: Sequence[str], words: str
) -> None:
    refused(call(*arguments), words)


def test_an_idea_of_the_book_takes_a_second_voice(call: Call) -> None:
    assert "second | " in call("book", "export", "1", "--second", "sixths").out
