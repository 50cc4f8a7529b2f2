"""`fillgen book` and the options of `ideas` and `vary` that belong to the idea book."""

from __future__ import annotations

import io
import json
import os
import re
import shutil
import sqlite3
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import music21
import pytest
import symusic

import fillgen
from fillgen.book import store
from fillgen.book.door import Book
from fillgen.cli import main

CHART = "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |"
MOVED = "| Amaj7 | C#m7 F#7 | Bm7 | E7 |"
PHRASE = "D5q C5q Bb4h | A4q. G4e F4h | G4q A4q Bb4h | C5h A4h"
PLAIN = "| Bb | Dm | Eb | F7 |"


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of its own for each test, with its own book, on a fixed day."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("FILLGEN_BOOK", str(tmp_path / "home" / "ideas.book"))
    monkeypatch.setattr("fillgen.app.memory.now", lambda: datetime(2026, 11, 21, 20, 0, tzinfo=UTC))
    monkeypatch.setattr("fillgen.cli.book.now", lambda: datetime(2026, 11, 22, 20, 0, tzinfo=UTC))
    return tmp_path


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> object:
    """A command line that goes well: what it prints."""

    def ran(*arguments: str, code: int = 0) -> tuple[str, str]:
        with pytest.raises(SystemExit) as caught:
            main(list(arguments))
        out, err = capsys.readouterr()
        assert (caught.value.code or 0) == code, err
        return out, err

    return ran


def texts(out: str) -> list[str]:
    return [idea["text"] for idea in json.loads(out)["ideas"]]


# What is remembered


def test_ideas_are_remembered(run: object, place: Path) -> None:
    """What `ideas` shows stands in the book with its options, and what is shown twice stands there once."""
    out, err = run("ideas", CHART, "-n", "5", "--rhythm", "foxtrot", "--format", "json")
    assert err == "In the idea book: 1 to 5.\n"
    assert run("ideas", CHART, "-n", "5", "--rhythm", "foxtrot", "--format", "json")[0] == out
    with Book(place / "home" / "ideas.book") as book:
        entries = store.every_entry(book)
    assert [entry.text for entry in entries] == texts(out)
    assert {entry.times for entry in entries} == {2}
    assert json.loads(entries[0].origin.options) == {"count": 5, "rhythm": "foxtrot"}
    assert entries[0].last == "2026-11-21T20:00:00Z"


def test_variants_are_remembered(run: object, place: Path) -> None:
    """What `vary` shows is remembered with what was asked."""
    out, _ = run("vary", PLAIN, PHRASE, "--keep", "1,2", "-n", "3", "--format", "json")
    with Book(place / "home" / "ideas.book") as book:
        entries = store.every_entry(book)
    assert [entry.text for entry in entries] == texts(out)
    assert entries[0].origin.command == "vary"
    assert json.loads(entries[0].origin.options)["keep"] == ["1,2"]


def test_the_answer_does_not_depend_on_the_book(run: object) -> None:
    """Without --fresh the book changes nothing: same command, same bytes."""
    first, _ = run("ideas", CHART, "-n", "8", "--no-book")
    run("ideas", CHART, "-n", "8", "--fresh")
    assert run("ideas", CHART, "-n", "8")[0] == first


@pytest.mark.parametrize("how", ["option", "environment"])
def test_no_trace(run: object, place: Path, monkeypatch: pytest.MonkeyPatch, how: str) -> None:
    """--no-book and FILLGEN_NO_BOOK leave no file and no folder, and neither does looking into a book that is not there."""
    if how == "environment":
        monkeypatch.setenv("FILLGEN_NO_BOOK", "1")
    extra = ["--no-book"] if how == "option" else []
    run("ideas", CHART, "-n", "2", *extra)
    run("vary", PLAIN, PHRASE, "--like", "-n", "2", *extra)
    out, err = run("book")
    assert "No idea" in out
    assert str(place / "home" / "ideas.book") in err
    run("book", "set")
    run("book", "check")
    assert list(place.iterdir()) == []
    _, err = run("ideas", CHART, "--fresh", *extra, code=2)
    assert "can't be used with" in err
    if how == "option":
        assert "can't be used with" in run("ideas", CHART, "--book", "x.book", *extra, code=2)[1]


def test_the_usual_place(place: Path) -> None:
    """Without FILLGEN_BOOK the book lies in the user's data folder (XDG base directories on Linux)."""
    told = {name: value for name, value in os.environ.items() if name != "FILLGEN_BOOK"}
    told |= {"XDG_DATA_HOME": str(place / "data"), "HOME": str(place), "LOCALAPPDATA": str(place / "data")}
    command = [sys.executable, "-m", "fillgen", "ideas", "| C | G7 |", "-n", "1"]
    subprocess.run(command, check=True, capture_output=True, env=told)
    assert [path.name for path in place.rglob("*") if path.is_file()] == ["ideas.book"]
    if sys.platform == "linux":
        assert (place / "data" / "fillgen" / "ideas.book").is_file()


# Fresh


def test_fresh_in_any_key(run: object) -> None:
    """Fifty, fifty more in another key, fifty more in the first: none twice; what is left goes down."""
    degrees = []
    for chart, low, high in ((CHART, "D4", "A5"), (MOVED, "G#3", "D#5"), (CHART, "D4", "A5")):
        out, err = run(
            "ideas", chart, "--fresh", "-n", "20", "--low", low, "--high", high, "--format", "json"
        )
        assert re.search(
            r"; in this key and range [\d,]+ phrases are left that would be new in every octave\.", err
        )
        for idea in json.loads(out)["ideas"]:
            first = json.loads(out)["ideas"][0]["notes"][0]["midi"] * 0
            tonic = 3 if chart == CHART else 9
            low_tonic = (idea["notes"][0]["midi"] - tonic) // 12 * 12 + tonic + first
            degrees.append(
                tuple((note["onset"], note["duration"], note["midi"] - low_tonic) for note in idea["notes"])
            )
    assert len(set(degrees)) == len(degrees) == 60


def test_fresh_says_when_nothing_is_left(run: object) -> None:
    """A space so small that it is soon spent: the end is told, and exit code 2."""
    for _ in range(12):
        out, err = run_any(run, "ideas", "| C |", "--level", "1", "--fresh", "-n", "50", "--format", "json")
        if "no fresh idea is left" in err:
            break
        assert json.loads(out)["ideas"]
    else:
        pytest.fail("the space is never spent")


def run_any(run: object, *arguments: str) -> tuple[str, str]:
    try:
        return run(*arguments)
    except AssertionError as error:
        return "", str(error)


def test_fresh_in_text_says_what_is_left(run: object) -> None:
    """The text ends with what was shown before and what is left."""
    first = " ".join(run("ideas", CHART, "--fresh", "-n", "2")[0].split())
    assert "Note: No phrase over these rhythms was shown before; in this key and range " in first
    assert (
        "Note: 2 phrases over these rhythms were shown before, in this octave and key or another; "
        in " ".join(run("ideas", CHART, "--fresh", "-n", "2")[0].split())
    )


# The commands


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a book: ideas 1 to 3 over one chart, 4 and 5 over a titled waltz, all shown on one day."""
    folder = tmp_path_factory.mktemp("ready")
    (folder / "ferry.txt").write_text("title: Night Ferry\nkey: F\nmetre: 3/4\n| F | Dm7 | Gm7 | C7 |\n")
    moment = datetime(2026, 11, 21, 20, 0, tzinfo=UTC)
    first = fillgen.ideas(CHART, count=3, rhythm="foxtrot")
    second = fillgen.ideas((folder / "ferry.txt").read_text(), count=2, level=2)
    with Book(folder / "home" / "ideas.book") as book:
        for found in (first, second):
            store.remember(book, found, moment, command="ideas", options={}, rules="built-in", version="1")
    return folder


@pytest.fixture
def filled(ready: Path, place: Path) -> None:
    """The folder `ready` as the folder of the test."""
    shutil.copytree(ready, place, dirs_exist_ok=True)


def listed(out: str) -> list[int]:
    return [int(number) for number in re.findall(r"^ *(\d+)  ", out, re.MULTILINE)]


@pytest.mark.usefixtures("filled")
@pytest.mark.parametrize(
    ("args", "found"),
    [
        ([], [1, 2, 3, 4, 5]),
        (["--chart", "| Cmaj7 | Em7 A7 | Dm7 | G7 |"], [1, 2, 3]),
        (["--chart", "ferry.txt"], [4, 5]),
        (["--chart", "night"], [4, 5]),
        (["--key", "F"], [4, 5]),
        (["--rhythm", "foxtrot"], [1, 2, 3]),
        (["--level", "2"], [4, 5]),
        (["--tag", "gig"], [2, 5]),
        (["--words", "bell"], [5]),
        (["--stars", "3"], [1]),
        (["--since", "2026-11-21"], [1, 2, 3, 4, 5]),
        (["--since", "2026-11-22"], []),
        (["--until", "2026-11-20"], []),
        (["-n", "2"], [1, 2]),
    ],
    ids=lambda value: " ".join(map(str, value)),
)
def test_lists_and_searches(run: object, args: list[str], found: list[int]) -> None:
    """Each search of the list, as text and as JSON."""
    run("book", "tag", "gig", "2,5")
    run("book", "star", "1", "--stars", "4")
    run("book", "rename", "5", "Bell tower")
    out, _ = run("book", *args)
    assert listed(out) == found
    document = json.loads(run("book", *args, "--format", "json")[0])
    assert [idea["id"] for idea in document["ideas"]] == found
    assert document["found"] == (5 if args[:1] == ["-n"] else len(found))


@pytest.mark.usefixtures("filled")
def test_marks(run: object) -> None:
    """Stars, tags, notes and names are set, shown and taken away."""
    assert run("book", "star", "1-2")[0] == "Ideas 1 and 2 have 1 star.\n"
    assert run("book", "tag", "gig", "1")[0] == "1 idea tagged 'gig'\n"
    run("book", "note", "1", "went well\nslower")
    run("book", "rename", "1", "Opening")
    out, _ = run("book", "show", "1")
    assert out.startswith("Idea 1, Opening  *\nEb major, 4/4, foxtrot at 116")
    assert "tags: gig\n" in out
    assert "note: went well\nnote: slower\n" in out
    assert "| Ebmaj7" in out
    for gone in (
        ("tag", "gig", "1", "--remove"),
        ("star", "1", "--stars", "0"),
        ("note", "1", ""),
        ("rename", "1", ""),
    ):
        run("book", *gone)
    out, _ = run("book", "show", "1")
    assert out.startswith("Idea 1\n")
    assert "note" not in out.split("beat")[0].replace("quarter notes", "")
    assert "gig" not in out


@pytest.mark.usefixtures("filled")
def test_forget(run: object) -> None:
    """What is forgotten is gone, and may be shown again as fresh."""
    assert run("book", "forget", "1", "3-4")[0] == "3 ideas forgotten\n"
    assert listed(run("book")[0]) == [2, 5]
    assert "no idea 1" in run("book", "show", "1", code=2)[1]


@pytest.mark.usefixtures("filled")
def test_sets_on_one_sheet(run: object) -> None:
    """A set keeps its order over several charts, and is printed as one page of music and as text."""
    run("book", "set", "Tuesday", "4", "1")
    assert run("book", "set")[0] == "Tuesday: 2 ideas\n"
    run("book", "set", "Tuesday", "2", "-o", "tuesday.html")
    page = Path("tuesday.html").read_text()
    places = [page.index(f'id="idea-{number}-n0"') for number in (4, 1, 2)]
    assert places == sorted(places)
    assert "Tuesday" in page
    out, _ = run("book", "set", "Tuesday")
    assert re.findall(r"^Idea (\d)", out, re.MULTILINE) == ["4", "1", "2"]
    run("book", "set", "Tuesday", "4", "--remove")
    assert run("book", "set")[0] == "Tuesday: 2 ideas\n"
    run("book", "set", "Tuesday", "--remove")
    assert "No sets yet" in run("book", "set")[0]


@pytest.mark.usefixtures("filled")
@pytest.mark.parametrize("key", [None, "Bb"])
def test_export_is_read_by_others(run: object, key: str | None) -> None:
    """MIDI read by symusic and MusicXML read by music21 have the notes of the book, moved where a key is asked for."""
    moved = ["--key", key] if key else []
    said = run("book", "export", "1", "2", *moved, "-o", "a.json", "-o", "a.mid")[1]
    assert said == "2 ideas in a.json\n2 ideas in a.mid\n"
    ideas = json.loads(Path("a.json").read_text())["ideas"]
    run("book", "export", "1", *moved, "-o", "one.musicxml")
    run("book", "export", "--all", *moved[:0], "-o", "all/")
    played = symusic.Score("a.mid")
    pitches = [note.pitch for note in sorted(played.tracks[0].notes, key=lambda note: note.time)]
    assert pitches == [midi for idea in ideas for _, _, midi in idea["notes"]]
    score = music21.converter.parse("one.musicxml")
    heard = [
        note.pitch.midi for note in score.parts[0].flatten().notes if hasattr(note, "pitch") and starts(note)
    ]
    assert heard == [midi for _, _, midi in ideas[0]["notes"]]
    assert ideas[0]["showings"][0]["chart"]["key"] == (f"{key} major" if key else "Eb major")
    assert sorted(path.name for path in Path("all").iterdir()) == [f"idea-{n}.mid" for n in range(1, 6)]


def starts(note: music21.note.Note) -> bool:
    """Whether a written note is not the tied end of another."""
    return note.tie is None or note.tie.type == "start"


@pytest.mark.usefixtures("filled")
def test_one_midi_file_holds_one_chart(run: object) -> None:
    """Ideas over two charts do not fit one MIDI file; a folder holds them."""
    assert "2 charts" in run("book", "export", "1", "4", "-o", "x.mid", code=2)[1]
    assert not Path("x.mid").exists()


@pytest.mark.usefixtures("filled")
def test_json_goes_to_another_book(run: object) -> None:
    """Export and import with names, tags and sets; the second import brings nothing new."""
    run("book", "set", "Gig", "5", "2")
    run("book", "tag", "quick", "2")
    run("book", "export", "--all", "-o", "mine.json")
    assert run("book", "import", "mine.json", "--book", "pupil.book")[0] == "5 new ideas\n"
    assert (
        run("book", "import", "mine.json", "--book", "pupil.book")[0]
        == "0 new ideas, 5 ideas already in the book\n"
    )
    assert run("book", "--tag", "quick", "--book", "pupil.book")[0].count("foxtrot") == 1
    assert run("book", "set", "--book", "pupil.book")[0] == "Gig: 2 ideas\n"
    run("book", "export", "--tag", "quick", "-o", "quick.txt")
    assert Path("quick.txt").read_text().startswith("Idea 2")


@pytest.mark.usefixtures("filled")
def test_books_are_joined(run: object) -> None:
    """`merge` takes another book in and leaves it as it is; `import` says so."""
    run("ideas", "| C | G7 |", "-n", "4", "--book", "pupil.book")
    before = Path("pupil.book").read_bytes()
    assert run("book", "merge", "pupil.book")[0] == "4 new ideas\n"
    assert run("book", "merge", "pupil.book")[0] == "0 new ideas, 4 ideas already in the book\n"
    assert Path("pupil.book").read_bytes() == before
    assert "fillgen book merge pupil.book" in run("book", "import", "pupil.book", code=2)[1]
    assert "9 ideas" in run("book", "check")[0]


@pytest.mark.parametrize("kind", ["mid", "musicxml", "txt"])
def test_phrases_are_taken_in(run: object, kind: str) -> None:
    """A phrase from MIDI, MusicXML or text comes in over its chart, and is the idea it was."""
    if kind == "txt":
        Path("phrase.txt").write_text(PHRASE)
    else:
        Path("phrase.txt").write_text(PHRASE)
        run("book", "import", "phrase.txt", "--chart", PLAIN, "--book", "first.book")
        run("book", "export", "1", "-o", f"phrase.{kind}", "--book", "first.book")
    out, _ = run("book", "import", f"phrase.{kind}", "--chart", PLAIN, "--rhythm", "swing")
    assert out.startswith("1 new idea\nIt is idea 1.")
    document = json.loads(run("book", "--format", "json")[0])
    assert document["ideas"][0]["text"] == PHRASE
    assert document["ideas"][0]["last"] == "2026-11-22T20:00:00Z"
    if kind == "musicxml":
        assert run("book", "import", "phrase.musicxml")[0].startswith(
            "0 new ideas, 1 idea already in the book"
        )
    else:
        assert "has no chord symbols" in run("book", "import", f"phrase.{kind}", code=2)[1]


# What is refused


@pytest.mark.usefixtures("filled")
@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["star", "77"], "the book has no idea 77. Its numbers go up to 5"),
        (["star", "0"], "no idea 0"),
        (["star", "1", "9"], "the book has no idea 9"),
        (["star", "--last", "6"], "no rank 6. They have ranks 1 and 2."),
        (["set", "Gig", "--last"], "--last needs ranks"),
        (["--rhythm", "walz"], "unknown rhythm 'walz'. Did you mean 'waltz'?"),
        (["--shape", "arc"], "unknown shape 'arc'. Did you mean 'arch'?"),
        (["import", "notes.pdf"], "is a PDF; fillgen can't read phrases from one. fillgen takes .json"),
        (["import", "ferry.svg"], "cannot be read"),
        (["star", "one"], "'one' is not the number"),
        (["star", "5-2"], "'5-2' is not a range of ideas"),
        (["star", "1-9999999999"], "is not a range of ideas"),
        (["star", "9" * 30], "is not the number"),
        (["star", "²"], "is not the number"),
        (["star", "1", "--stars", "6"], "Give 0 to 5"),
        (["tag", "", "1"], "the tag is empty"),
        (["tag", "two\nlines", "1"], "more than a line"),
        (["rename", "1", "x" * 201], "limit is 200"),
        (["--tag", "gigg"], "It has no tag yet"),
        (["--since", "soon"], "unknown day 'soon'"),
        (["--key", "H"], "unknown key 'H'"),
        (["--stars", "9"], "Give 0 to 5"),
        (["-n", "0"], "the count is 0"),
        (["--stars", "2", "star", "1"], "Put it after the command"),
        (["--book", "x.book", "star", "1"], "--book stands before star"),
        (["set", "Frday"], "no set 'Frday'"),
        (["export"], "say which ideas"),
        (["export", "1", "--all"], "say which ideas"),
        (["export", "1", "-o", "x.docx"], "can't tell what to write"),
        (["export", "1", "--key", "Cm"], "change its mode"),
        (["import", "none.json"], "none.json: no such file"),
        (["import", "ferry.txt", "--chart", "| C |"], "ferry.txt"),
        (["merge", "ferry.txt"], "is not an idea book"),
        (["merge", "home/ideas.book"], "the book itself"),
        (["show", "1", "--book", "."], "is a folder"),
    ],
    ids=lambda value: " ".join(value)[:40] if isinstance(value, list) else "",
)
def test_refused(run: object, ready: Path, arguments: list[str], told: str) -> None:
    """Bad input is told in a line or two with the way on, exit code 2, and the book stays as it was."""
    Path("notes.pdf").write_bytes(b"%PDF-1.7\n")
    _, err = run("book", *arguments, code=2)
    assert told in err
    assert len(err.strip().splitlines()) <= 2
    assert not Path("x.book").exists()
    assert Path("home/ideas.book").read_bytes() == (ready / "home" / "ideas.book").read_bytes()


def test_a_note_from_standard_input(run: object, monkeypatch: pytest.MonkeyPatch) -> None:
    """A long note is read from standard input, ten thousand characters of it."""
    run("ideas", PLAIN, "-n", "1")
    told = "Lamp by lamp, and not too fast. 🎹\n" * 320
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(told.encode())))
    run("book", "note", "1", "-")
    assert json.loads(run("book", "--format", "json")[0])["ideas"][0]["note"] == told.strip()


# Ranks


def test_ranks_lead_to_numbers(run: object) -> None:
    """What a command showed is told by number, and --last takes its ranks, whatever was in the book before."""
    run("ideas", PLAIN, "-n", "4")
    out, err = run("ideas", CHART, "-n", "5", "--format", "json")
    assert err == "In the idea book: 5 to 9.\n"
    assert run("ideas", PLAIN, "-n", "4")[1] == "In the idea book: 1 to 4.\n"
    assert run("ideas", CHART, "-n", "5", "--format", "json")[1] == "In the idea book: 5 to 9.\n"
    assert run("book", "star", "--last", "1,3")[0] == "Ideas 5 and 7 have 1 star.\n"
    run("book", "tag", "gig", "2", "--last")
    run("book", "note", "--last", "2", "slowly")
    run("book", "rename", "--last", "2", "Pier")
    run("book", "set", "Tuesday", "--last", "4", "2")
    run("book", "export", "--last", "2", "-o", "two.json")
    (entry,) = json.loads(Path("two.json").read_text())["ideas"]
    assert (entry["id"], entry["text"]) == (6, texts(out)[1])
    assert (entry["name"], entry["note"], entry["tags"]) == ("Pier", "slowly", ["gig"])
    assert [name for name, _ in entry["sets"]] == ["Tuesday"]
    assert run("book", "show", "--last", "2")[0].startswith("Idea 6, Pier\n")
    run("book", "forget", "--last", "1")
    assert "no rank 1. They have ranks 2 to 5." in run("book", "show", "--last", "1", code=2)[1]
    assert run("book", "show", "--last", "2")[0].startswith("Idea 6, Pier\n")


def test_ranks_of_sheets_and_variants(run: object) -> None:
    """A sheet of some ranks keeps those ranks; variants have theirs."""
    shown = run("ideas", PLAIN, "-n", "9", "--format", "json", "--no-book")[0]
    err = run("ideas", PLAIN, "-n", "9", "--only", "4,2", "-o", "some.svg")[1]
    assert "In the idea book: 1 and 2.\n" in err
    run("book", "export", "--last", "4", "-o", "four.json")
    assert json.loads(Path("four.json").read_text())["ideas"][0]["text"] == texts(shown)[3]
    assert "They have ranks 2 and 4." in run("book", "show", "--last", "1", code=2)[1]
    assert "In the idea book: " in run("vary", PLAIN, PHRASE, "--like", "-n", "2")[1]
    assert run("book", "star", "--last", "1-2")[0] == "Ideas 3 and 4 have 1 star.\n"


# Ideas of the book in place of a chart


@pytest.mark.usefixtures("filled")
def test_an_idea_of_the_book_is_varied_and_checked(run: object) -> None:
    """`vary 2` and `check 2` answer as for the same phrase over its chart; a waltz keeps its metre and its key."""
    shown = {entry["id"]: entry["text"] for entry in json.loads(run("book", "--format", "json")[0])["ideas"]}
    for number, chart in ((2, CHART), (5, Path("ferry.txt").read_text())):
        for command, rest in (("check", ()), ("vary", ("--keep", "1-3", "-n", "2"))):
            ways = ((str(number),), (chart, shown[number]))
            one, other = (
                json.loads(run(command, *way, *rest, "--level", "3", "--format", "json", "--no-book")[0])
                if command == "vary"
                else json.loads(run(command, *way, *rest, "--level", "3", "--format", "json")[0])
                for way in ways
            )
            parts = ("ideas", "space") if command == "vary" else ("right", "faults", "notes", "level")
            assert [one[part] for part in parts] == [other[part] for part in parts]
            assert one["chart"]["key"] == ("Eb major" if number == 2 else "F major")
            assert one["chart"]["metre"] == ("4/4" if number == 2 else "3/4")


@pytest.mark.usefixtures("filled")
def test_an_idea_of_the_book_is_practised(run: object) -> None:
    """`practice 2` loops that idea, slower where a tempo is asked for; a lesson has it at its end."""
    shown = {entry["id"]: entry["text"] for entry in json.loads(run("book", "--format", "json")[0])["ideas"]}
    once = ("--steps", "1", "--times", "1", "--slowest", "1", "--parts", "right", "--swing", "1")
    run("practice", "2", *once, "-o", "own.mid", "-o", "own.html")
    run("practice", "2", *once, "--tempo", "80", "-o", "slow.mid")
    for name, tempo in (("own.mid", 116), ("slow.mid", 80)):
        score = symusic.Score(name)
        played = [note.pitch for note in sorted(score.tracks[0].notes, key=lambda note: note.time)]
        notes = fillgen.parse_phrase(shown[2], fillgen.parse_chart(CHART).metre)
        assert played[: len(notes)] == [note.midi for note in notes]
        assert score.tempos[0].qpm == pytest.approx(tempo, abs=0.01)
    assert "Your own phrase" in Path("own.html").read_text()
    run("practice", "1-3", "--turns", "3", "-o", "turns.mid")
    assert symusic.Score("turns.mid").tracks[0].notes


def test_ranks_of_what_was_shown_last(run: object) -> None:
    """With --last a number is a rank of what was shown last, by `vary` as well."""
    run("ideas", PLAIN, "-n", "4")
    shown = texts(run("ideas", CHART, "-n", "5", "--format", "json")[0])
    assert json.loads(run("check", "3", "--last", "--format", "json")[0])["notes"]
    third = json.loads(run("check", "3", "--last", "--format", "json")[0])
    assert third["notes"] == json.loads(run("check", CHART, shown[2], "--format", "json")[0])["notes"]
    assert third["notes"] == json.loads(run("check", "7", "--format", "json")[0])["notes"]
    varied = texts(run("vary", "3", "--last", "--like", "-n", "2", "--format", "json")[0])
    second = json.loads(run("check", "2", "--last", "--format", "json")[0])
    assert second["notes"] == json.loads(run("check", CHART, varied[1], "--format", "json")[0])["notes"]
    run("practice", "1", "--last", "--steps", "1", "-o", "loop.mid")


def test_an_idea_keeps_its_rhythm(run: object) -> None:
    """What is varied or becomes a lesson stays in the rhythm that it was made in, unless another is asked for."""
    run("ideas", CHART, "-n", "2", "--rhythm", "swing")
    varied = json.loads(run("vary", "1", "--like", "-n", "1", "--format", "json")[0])
    assert (varied["rhythm"], varied["chart"]["tempo"]) == ("swing", 132)
    asked = ("vary", "1", "--like", "-n", "1", "--rhythm", "ballad", "--format", "json")
    assert "swing at 132" in run("practice", "1", "--levels", "2", "--per-level", "1")[0]
    other = json.loads(run(*asked)[0])
    assert (other["rhythm"], other["chart"]["tempo"]) == ("ballad", 66)
    lesson = ("practice", "1", "--levels", "2", "--per-level", "1", "--rhythm", "ballad")
    assert "ballad at 66" in run(*lesson)[0]
    run("practice", "1", "--rhythm", "ballad", "-o", "loop.mid", code=2)


@pytest.mark.usefixtures("filled")
@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        (["vary", "9", "--like"], ["9", "5"]),
        (["check", "0"], ["0"]),
        (["vary", "1,2", "--like"], ["2 ideas"]),
        (["check", "1-3"], ["3 ideas"]),
        (["check", "2-1"], ["'2-1'"]),
        (["check", "1", "--key", "C"], ["its own chart", "--key"]),
        (["vary", "1", "--like", "--sevenths"], ["its own chart", "--sevenths"]),
        (["check", "1", "--part", "2"], ["--part"]),
        (["practice", "1,2"], ["2 ideas"]),
        (["practice", "1,4", "--turns", "2"], ["2 charts"]),
        (["practice", "1", "--shape", "arch", "-o", "x.mid"], ["--shape", "ideas of the book"]),
        (["practice", "1", "--tempo", "5", "-o", "x.mid"], ["5", "20 to 400"]),
        (["check", "9", "--last"], ["9"]),
        (["check", CHART, PHRASE, "--last"], ["--last"]),
        (["check", "--last"], ["--last"]),
        (["vary", "1", "--like", "--book", "none.book"], ["1"]),
    ],
    ids=lambda value: " ".join(value)[:40],
)
def test_ideas_of_the_book_are_refused(
    run: object, ready: Path, arguments: list[str], parts: list[str]
) -> None:
    """A number that isn't in the book, several where one is needed, and options that an idea has already."""
    out, err = run(*arguments, code=2)
    assert out == ""
    assert [part for part in parts if part not in err] == [], err
    assert len(err.strip().splitlines()) == 1
    assert not Path("x.mid").exists()
    assert Path("home/ideas.book").read_bytes() == (ready / "home" / "ideas.book").read_bytes()


@pytest.mark.usefixtures("filled")
def test_a_star_never_takes_stars(run: object) -> None:
    """Without --stars an idea keeps the stars it has; each is told, and a wrong number stops all of them."""
    run("book", "star", "1", "--stars", "5")
    assert run("book", "star", "1-3")[0] == "Idea 1 has 5 stars.\nIdeas 2 and 3 have 1 star.\n"
    assert run("book", "star", "1", "--stars", "2")[0] == "Idea 1 has 2 stars.\n"
    run("book", "star", "4", "9", code=2)
    assert listed(run("book", "--stars", "1")[0]) == [1, 2, 3]


@pytest.mark.usefixtures("filled")
def test_tags_without_case(run: object) -> None:
    """A tag keeps its first spelling, in whatever capitals it is written later, from a file too."""
    run("book", "tag", "Gig", "1")
    assert run("book", "tag", "GIG", "1-2")[0] == "2 ideas tagged 'Gig'\n"
    run("book", "export", "1-2", "-o", "tagged.json")
    Path("tagged.json").write_text(Path("tagged.json").read_text().replace('"Gig"', '"gig"'))
    run("book", "import", "tagged.json")
    assert listed(run("book", "--tag", "giG")[0]) == [1, 2]
    assert run("book", "show", "1")[0].count("tags: Gig\n") == 1
    assert run("book", "tag", "gig", "1", "--remove")[0] == "1 idea no longer tagged 'Gig'\n"
    assert listed(run("book", "--tag", "Gig")[0]) == [2]


@pytest.mark.usefixtures("filled")
def test_rhythms_without_case(run: object) -> None:
    """Rhythms and shapes are looked for as `ideas` takes them: capitals do not matter, and none found is an answer."""
    assert listed(run("book", "--rhythm", "Foxtrot")[0]) == [1, 2, 3]
    assert run("book", "--rhythm", "Bossa Nova")[0] == run("book", "--stars", "5")[0] == "No ideas found.\n"


def test_a_phrase_without_a_score(run: object) -> None:
    """A phrase of one's own shows no score, and its sheet is headed by more than a number."""
    Path("own.txt").write_text(PHRASE)
    run("book", "import", "own.txt", "--chart", PLAIN)
    assert "0.000" not in run("book", "show", "1")[0]
    run("book", "export", "1", "-o", "own.svg")
    assert ">Idea 1<" in Path("own.svg").read_text()


def test_a_sheet_brings_its_chords(run: object) -> None:
    """A sheet of ours is taken in with its own chords; the book has the idea already."""
    run("ideas", CHART, "-n", "1")
    run("ideas", CHART, "-n", "9", "--only", "1", "-o", "one.musicxml", "--no-book")
    assert (
        run("book", "import", "one.musicxml")[0] == "0 new ideas, 1 idea already in the book\nIt is idea 1.\n"
    )
    run("ideas", CHART, "-n", "9", "--only", "2", "-o", "two.musicxml", "--no-book")
    assert run("book", "import", "two.musicxml")[0] == "1 new idea\nIt is idea 2.\n"
    bare = re.sub(r"<harmony.*?</harmony>", "", Path("two.musicxml").read_text(), flags=re.DOTALL)
    Path("bare.musicxml").write_text(bare)
    assert "has no chord symbols" in run("book", "import", "bare.musicxml", code=2)[1]


# A book that is named


UNUSABLE = ("a.pdf", "folder", "other.sqlite", "cut.book", "a.pdf/new.book")


@pytest.fixture
def unusable(place: Path) -> Path:
    """A folder with files that are not idea books."""
    (place / "a.pdf").write_bytes(b"%PDF-1.7\n" * 30)
    (place / "folder").mkdir()
    pages = sqlite3.connect(place / "other.sqlite")
    pages.execute("CREATE TABLE recipes (id)")
    pages.close()
    with Book(place / "cut.book"):
        pass
    (place / "cut.book").write_bytes((place / "cut.book").read_bytes()[:8192])
    return place


@pytest.mark.usefixtures("unusable")
@pytest.mark.parametrize("name", UNUSABLE)
@pytest.mark.parametrize("command", ["ideas", "vary", "page"])
def test_a_named_book_that_cannot_be_used(run: object, command: str, name: str) -> None:
    """It is refused before any work: nothing is shown, and nothing is written."""
    rest = {"vary": [PHRASE], "page": ["--no-browser"]}.get(command, ["-o", "x.mid"])
    files = sorted(Path().rglob("*"))
    out, err = run(command, PLAIN, *rest, "--book", name, code=2)
    assert out == ""
    assert name.partition("/")[0] in err
    assert len(err.splitlines()) == 1
    assert sorted(Path().rglob("*")) == files


@pytest.mark.usefixtures("unusable")
@pytest.mark.parametrize("name", UNUSABLE)
def test_the_usual_book_that_cannot_be_used(run: object, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The usual book, in the same state, only costs the remembering."""
    monkeypatch.setenv("FILLGEN_BOOK", name)
    out, err = run("ideas", PLAIN, "-n", "1")
    assert "1 idea of " in out
    assert err.startswith("Note: ideas not saved in the book: ")


@pytest.mark.parametrize("command", ["ideas", "page"])
def test_a_named_book_and_none(run: object, command: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A book that is named contradicts the variable that turns remembering off."""
    monkeypatch.setenv("FILLGEN_NO_BOOK", "1")
    err = run(command, PLAIN, "--book", "mine.book", code=2)[1]
    assert "--book can't be used with FILLGEN_NO_BOOK" in err
    assert not Path("mine.book").exists()


# Taste


def starred(run: object) -> None:
    """Three searches, of which the ideas that use the register least have stars."""
    for chart in (CHART, PLAIN, "| G | Em | Am7 | D7 |", "| D | Bm | Em7 | A7 |"):
        found = json.loads(run("ideas", chart, "--format", "json")[0])["ideas"]  # type: ignore[operator]
        few = sorted(found, key=lambda idea: idea["terms"]["register"])[:3]
        run("book", "star", "--last", ",".join(str(idea["rank"]) for idea in few))  # type: ignore[operator]


def test_ranked_by_taste(run: object) -> None:
    """The ideas say that they are ranked by taste, which weights that moves, and what they are now; so do variants."""
    plain = json.loads(run("ideas", MOVED, "--format", "json")[0])  # type: ignore[operator]
    starred(run)
    out, err = run("ideas", MOVED, "--taste", "--format", "json")  # type: ignore[operator]
    found = json.loads(out)
    assert (plain["ranked_by"], found["ranked_by"]) == ("default", "taste")
    assert found["weights"]["register"] < 0 < plain["weights"]["register"]
    assert texts(out)[:10] != [idea["text"] for idea in plain["ideas"]][:10]
    assert "Ranked by your taste" in err
    assert run("ideas", MOVED, "--taste", "--format", "json")[0] == out  # type: ignore[operator]
    explained, _ = run("ideas", MOVED, "--taste", "--explain")  # type: ignore[operator]
    words = " ".join(explained.split())
    assert re.search(r"Your stars move the weights of .*`register` from 0\.7 to -", words)
    assert "since you like less of it" in words
    varied, _ = run("vary", PLAIN, PHRASE, "--like", "--taste", "--format", "json")  # type: ignore[operator]
    assert json.loads(varied)["ranked_by"] == "taste"
    assert (
        run("ideas", MOVED, "--format", "json")[0]
        == json.dumps(  # type: ignore[operator]
            plain, ensure_ascii=False, indent=1
        )
        + "\n"
    )


def test_what_the_stars_say(run: object) -> None:
    """In words with numbers, in JSON, forgotten and recalled; the stars stay."""
    starred(run)
    out, _ = run("book", "taste")  # type: ignore[operator]
    words = " ".join(out.split())
    assert "from 12 starred ideas in 4 searches; 188 ideas shown beside them were passed over" in words
    assert "A clear taste." in words
    assert "less `register`, use of the register:" in words
    assert "nothing leaves this machine" in words
    told = json.loads(run("book", "taste", "--format", "json")[0])  # type: ignore[operator]
    assert (told["clarity"], told["starred"], told["set_aside"]) == ("clear", 12, 0)
    assert "12 ideas no longer count" in run("book", "taste", "--forget")[0]  # type: ignore[operator]
    words = " ".join(run("book", "taste")[0].split())  # type: ignore[operator]
    assert "Too few stars" in words
    assert "12 other starred ideas are left out" in words
    assert json.loads(run("book", "--stars", "1", "--format", "json")[0])["found"] == 12  # type: ignore[operator]
    assert run("book", "taste", "--recall")[0] == "The stars of 12 ideas count again.\n"  # type: ignore[operator]
    assert json.loads(run("book", "taste", "--format", "json")[0]) == told  # type: ignore[operator]


def test_too_few_stars(run: object) -> None:
    """Without stars the ideas are those of the default ranking, and a note says what is missing."""
    plain, _ = run("ideas", PLAIN, "--format", "json", "--count", "4")  # type: ignore[operator]
    out, err = run("ideas", PLAIN, "--format", "json", "--count", "4", "--taste")  # type: ignore[operator]
    assert texts(out) == texts(plain)
    assert json.loads(out)["ranked_by"] == "default"
    assert "a taste needs 10 starred ideas of 3 searches, and the book has 0" in err


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["ideas", PLAIN, "--taste", "--no-book"], "--taste can't be used with --no-book"),
        (["vary", PLAIN, PHRASE, "--like", "--taste", "--no-book"], "--taste can't be used with --no-book"),
        (["book", "taste", "--forget", "--recall"], "use --forget or --recall, not both"),
        (["book", "taste", "--forget", "--format", "json"], "--forget can't be used with --format"),
    ],
)
def test_a_taste_that_cannot_be_asked_for(run: object, arguments: list[str], told: str) -> None:
    out, err = run(*arguments, code=2)  # type: ignore[operator]
    assert (out, told in err) == ("", True)
