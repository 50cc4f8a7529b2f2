"""The local page's server: answers as the command line gives them, a closed door, workers that are replaced."""

from __future__ import annotations

import asyncio
import base64
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from io import BytesIO
from pathlib import Path
from typing import Any

import mido
import music21
import pytest
from starlette.types import Message

import fillgen
from fillgen.book.door import Book
from fillgen.book.store import entries, every_entry, set_members
from fillgen.chart.text import MisreadChartError, parse_chart
from fillgen.cli import main
from fillgen.errors import ChartError, OptionError, OutputError
from fillgen.page import ASSETS
from fillgen.phrase.text import parse_phrase
from fillgen.rules.pack import RulePack
from fillgen.server import answers, guard
from fillgen.server.app import ASKED, MADE
from fillgen.server.fields import Fields, document_of
from fillgen.server.frames import DATA, END, HEAD, JSON, LINES, Question, Reply, json_bytes
from fillgen.server.guard import HEADERS, Door, Guard, Log
from fillgen.server.process import OUR_FAULT, answered
from fillgen.server.serving import loopback, page_of, serve
from fillgen.server.workers import COMMAND, Workers
from fillgen.teaching.check import check
from fillgen.teaching.sentences import reasons
from fillgen.writers.checks import check_document
from fillgen.writers.midi import to_midi
from fillgen.writers.notes import notes_document
from tests.properties.local_page import WAIT, Page, running
from tests.unit.cli.test_import_cost import command, loaded

CHART = "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |"
GROUND = {"chart": CHART, "rhythm": "foxtrot"}
PHRASE = "G5q F5q Eb5h | D5q C5q Bb4h | Ab4q C5q Eb5h | D5h Bb4h"


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("page") / "ideas.book"


@pytest.fixture(scope="module")
def page(book: Path) -> Iterator[Page]:
    with running(str(book), "| C | G7 |") as found:
        yield found
        assert found.logged == []


# The page and what it is made of


def test_the_page_has_nothing_inline(page: Page) -> None:
    """Its policy allows no inline style and script, so there is none; all it names is served."""
    came = page.get("")
    text = came.body.decode()
    assert came.status == 200
    assert came.headers["content-type"].startswith("text/html")
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:|https?://", text)
    assert all("src=" in tag for tag in re.findall(r"<script[^>]*>", text))
    for name in re.findall(r'(?:src|href)="(assets/[^"]+)"', text):
        assert page.get(name).status == 200, name


@pytest.mark.parametrize("name", sorted({*ASSETS, *MADE}))
def test_assets(page: Page, name: str) -> None:
    came = page.get(f"assets/{name}")
    assert (came.status, bool(came.body)) == (200, True)
    assert came.headers["content-type"] == ASSETS.get(name, JSON)


def test_every_answer_carries_the_headers(page: Page) -> None:
    for came in (page.get(""), page.get("api/start"), page.get("nothing"), page.post("api/chart", {})):
        for name, value in HEADERS:
            assert came.headers[name.lower()] == value
        assert "server" not in came.headers
        assert "set-cookie" not in came.headers


def test_what_there_is_to_choose_from(page: Page, capsys: pytest.CaptureFixture[str]) -> None:
    told = page.get("api/start").json
    pack = RulePack()
    assert told["chart"] == "| C | G7 |"
    assert told["book"] is True
    assert [level["number"] for level in told["levels"]] == list(pack.level_numbers)
    assert {each["name"] for each in told["rhythms"]} == set(pack.rhythm_names)
    assert told["rhythm_of"]["3/4"] == "waltz"
    names = [each["name"] for each in page.get("api/sequences").json["sequences"]]
    assert "circle turnaround" in names
    with pytest.raises(SystemExit):
        main(["sequences", "--to", "Fm7", "--for", "turnaround", "--format", "json"])
    led = page.post("api/sequences/find", {"to": "Fm7", "for": "turnaround"})
    assert led.json == json.loads(capsys.readouterr().out)


# Charts


def test_charts_are_understood_and_errors_located(page: Page) -> None:
    """The words are those of the command line; the place is in characters as JavaScript counts them."""
    told = page.post("api/chart", {"chart": CHART}).json
    assert (told["key"], told["text"]) == ("Eb major", CHART)
    wrong = "title: 𝄞\n| Eb | Gm |\n| Ab Hm7 | Bb7 |"
    came = page.post("api/chart", {"chart": wrong})
    error = came.json["error"]
    with pytest.raises(MisreadChartError) as ours:
        parse_chart(wrong)
    assert came.status == 400
    assert (error["message"], error["place"], error["hint"]) == (
        ours.value.message,
        ours.value.place,
        ours.value.hint,
    )
    units = wrong.encode("utf-16-le")
    assert units[2 * error["start"] : 2 * error["end"]].decode("utf-16-le") == "Hm7"


@pytest.mark.parametrize(
    ("chart", "wrong"),
    [
        ("| C | | G7 |", "|"),
        ("| C | Am F D | G7 |", "Am F D"),
        ("| % | C |", "%"),
        ("| C | / G7 / / |", "/ G7 / /"),
        ("| C / G7 |", "C / G7"),
        ("tempo: 90\n| C |", "tempo"),
        ("\ufeff| C |\r\n| #iv dim99 |", "dim99"),
        ("| C | Dm7 Em7 % G7 |", "%"),
    ],
)
def test_the_wrong_signs_of_a_chart(chart: str, wrong: str) -> None:
    with pytest.raises(MisreadChartError) as error:
        parse_chart(chart, key="C")
    assert chart[error.value.start : error.value.end] == wrong


def test_a_stock_sequence_and_a_long_chart(page: Page) -> None:
    told = page.post("api/chart", {"sequence": "circle turnaround", "key": "F", "sevenths": True}).json
    assert told["text"].splitlines()[-1] == "| Fmaj7 Dm7 | Gm7 C7 |"
    assert page.post("api/chart", {"sequence": "circle turnaround", "chart": "| C |"}).status == 400
    long = page.post("api/chart", {"chart": "| C " * 33})
    assert (long.status, "33 bars" in long.json["error"]["message"]) == (400, True)


# Ideas


def test_ideas_are_those_of_the_command_line(page: Page, book: Path) -> None:
    came = page.post("api/ideas", {**GROUND, "count": 12, "seed": 7, "level": 4})
    assert came.headers["content-type"] == LINES
    first, *ideas, done = came.lines
    ours = fillgen.ideas(CHART, rhythm="foxtrot", count=12, seed=7, level=4)
    assert first["whole"]["count"] == 12
    assert [each["idea"]["text"] for each in ideas] == [idea.text for idea in ours]
    assert done == {"done": {"count": 12, "remarks": [remark.text for remark in ours.remarks]}}
    known: set[str] = set()
    for each in ideas:
        known |= set(each["idea"]["glyphs"])
        pictures = "".join(each["idea"]["systems"])
        assert pictures.startswith("<svg")
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=|<script", pictures)
        assert set(re.findall(r'href="#([0-9A-F]+)-fillgen"', pictures)) <= known
    with Book(book, writes=False) as kept:
        known = entries(kept, [each["idea"]["book"] for each in ideas])
    assert [entry.text for entry in known] == [idea.text for idea in ours]
    assert {entry.origin.command for entry in known} == {"page"}


def test_fresh_ideas_were_never_shown(page: Page) -> None:
    asked = {**GROUND, "count": 5, "seed": 3}
    old = [each["idea"]["text"] for each in page.post("api/ideas", asked).lines[1:-1]]
    new = [each["idea"]["text"] for each in page.post("api/ideas", {**asked, "fresh": True}).lines[1:-1]]
    assert len(old) == len(new) == 5
    assert not set(old) & set(new)


@pytest.mark.parametrize(
    ("more", "status", "told"),
    [
        ({"rhythm": "foxtrott"}, 400, "Did you mean 'foxtrot'"),
        ({"shap": "arch"}, 400, "Did you mean 'shape'?"),
        ({"count": 201}, 400, "1 to 200"),
        ({"chart": "| C " * 32, "count": 51}, 400, "the limit is 50 ideas"),
        ({"low": "C6", "high": "C4"}, 400, "is above"),
        ({"low": "H2"}, 400, "the lowest note"),
        ({"low": "C4", "high": "C4", "level": 2, "rhythm": "foxtrot"}, 422, ""),
        ({"level": "3"}, 400, "a whole number"),
    ],
)
def test_ideas_that_cannot_be(page: Page, more: dict[str, Any], status: int, told: str) -> None:
    came = page.post("api/ideas", {**GROUND, **more})
    error = came.json["error"]
    assert came.status == status
    assert told in " ".join(map(str, error.values()))


def test_variants_keep_what_is_kept(page: Page) -> None:
    lines = page.post("api/vary", {**GROUND, "phrase": PHRASE, "keep": [1, 3], "count": 4}).lines
    kept = PHRASE.split(" | ")
    bars = [each["idea"]["text"].split(" | ") for each in lines[1:-1]]
    assert len(bars) == 4
    assert all((each[0], each[2]) == (kept[0], kept[2]) for each in bars)
    moved = page.post("api/vary", {**GROUND, "phrase": PHRASE, "move_to": "F", "count": 1}).lines
    assert moved[0]["whole"]["key"] == "F major"
    assert page.post("api/vary", {**GROUND, "phrase": PHRASE}).status == 400


def test_another_key(page: Page) -> None:
    asked = {**GROUND, "ideas": [{"rank": 3, "text": PHRASE, "shape": "fall"}], "shift": 2}
    look = page.post("api/notation", asked).json
    assert look["key"] == "F major"
    assert look["ideas"]["idea-3"]["names"][:3] == ["A5", "G5", "F5"]
    twice = {**asked, "ideas": [{"rank": 1, "text": PHRASE}] * 2}
    assert page.post("api/notation", twice).status == 400


def test_files_are_read_by_others(page: Page) -> None:
    """mido reads the MIDI, music21 the MusicXML; a PDF begins and ends as ISO 32000-1, 7.5 says."""
    asked = {**GROUND, "ideas": [{"rank": 1, "text": PHRASE}], "shift": -1}
    midi = page.post("api/files", {**asked, "ending": "mid", "parts": ["right", "bass"]})
    assert midi.headers["content-disposition"] == 'attachment; filename="ideas.mid"'
    notes = [
        message.note
        for message in mido.MidiFile(file=BytesIO(midi.body)).tracks[1]
        if message.type == "note_on" and message.velocity
    ]
    sounding = [note.midi - 1 for note in parse_phrase(PHRASE, parse_chart(CHART).metre)]
    assert notes == sounding
    score = page.post("api/files", {**asked, "ending": "musicxml"}).body
    read = music21.converter.parseData(score, format="musicxml")
    assert [note.pitch.midi for note in read.flatten().getElementsByClass("Note")] == sounding
    pdf = page.post("api/files", {**asked, "ending": "pdf"}).body
    assert pdf.startswith(b"%PDF-1.")
    assert pdf.rstrip().endswith(b"%%EOF")
    assert page.post("api/files", {**asked, "ending": "exe"}).status == 400


def test_files_have_the_parts_that_are_chosen(page: Page) -> None:
    """Staves of a score by music21: the hands and the bass; two ideas without a right hand are one backing track."""
    asked = {**GROUND, "ideas": [{"rank": 1, "text": PHRASE}, {"rank": 2, "text": PHRASE}], "shift": 0}
    for parts, staves, bars in ((["right", "left", "bass", "drums"], 3, 8), (["left", "bass"], 2, 4)):
        score = page.post("api/files", {**asked, "ending": "musicxml", "parts": parts}).body
        read = music21.converter.parseData(score, format="musicxml")
        assert len(read.parts) == staves
        assert len(read.parts[0].getElementsByClass("Measure")) == bars
    drums = page.post("api/files", {**asked, "ending": "pdf", "parts": ["drums"]})
    assert (drums.status, "heard only" in drums.json["error"]["message"]) == (400, True)


def test_ideas_come_in_two_voices(page: Page) -> None:
    """Found, varied and in another key with the second voice that is asked for; another word is refused."""
    whole, *lines = page.post("api/ideas", {**GROUND, "count": 2, "second": "thirds"}).lines
    assert whole["whole"]["second"] == "thirds"
    assert all(any(line["idea"]["below"]) for line in lines if "idea" in line)
    asked = {**GROUND, "ideas": [{"rank": 1, "text": PHRASE}], "shift": 2}
    look = page.post("api/notation", {**asked, "second": "sixths"}).json
    assert any(look["ideas"]["idea-1"]["below"])
    assert not any(page.post("api/notation", asked).json["ideas"]["idea-1"]["below"])
    assert page.post("api/ideas", {**GROUND, "second": "fifths"}).status == 400


# Chords and phrases


def test_the_notes_of_a_chord(page: Page) -> None:
    every = notes_document(parse_chart(CHART))["chords"]
    for bar, beat, number in ((1, 1, 0), (2, 2.9, 1), (2, 3, 2), (4, 4.5, 4)):
        came = page.post("api/notes", {"chart": CHART, "bar": bar, "beat": beat}).json
        assert came == {"chord": every[number]}
    assert page.post("api/notes", {"chart": CHART}).json["chords"] == every
    assert page.post("api/notes", {"chart": CHART, "bar": 5}).status == 400


def test_a_chart_whose_metre_changes(page: Page) -> None:
    """Beats are those of each bar's own metre; phrases, files and variants go by them; playing to clicks is refused."""
    chart = "| Ebmaj7 | 2/4 Fm7 Bb7 | 4/4 Eb6 Cm7 |"
    read = page.post("api/chart", {"chart": chart}).json
    assert [bar["metre"] for bar in read["bars"]] == ["4/4", "2/4", "4/4"]
    every = notes_document(parse_chart(chart))["chords"]
    for bar, beat, number in ((1, 4, 0), (2, 1, 1), (2, 2.5, 2), (3, 1, 3), (3, 3, 4)):
        came = page.post("api/notes", {"chart": chart, "bar": bar, "beat": beat}).json
        assert came == {"chord": every[number]}
    assert page.post("api/notes", {"chart": chart, "bar": 2, "beat": 3}).status == 400
    phrase = "G4q Ab4q Bb4h | C5q D5q | Eb5h C5h"
    assert page.post("api/check", {"chart": chart, "phrase": phrase}).json["right"]
    files = {"chart": chart, "ideas": [{"rank": 1, "text": phrase}], "ending": "musicxml"}
    score = music21.converter.parseData(page.post("api/files", files).body, format="musicxml")
    assert [bar.duration.quarterLength for bar in score.parts[0].getElementsByClass("Measure")] == [4, 2, 4]
    played = [{"midi": 67, "start": 0.0, "end": 0.5}]
    refused = page.post("api/check", {"chart": chart, "played": played, "tempo": 120})
    assert (refused.status, "one metre" in refused.json["error"]["message"]) == (400, True)


def test_a_phrase_is_checked_as_on_the_command_line(page: Page) -> None:
    progression = parse_chart(CHART)
    notes = parse_phrase(PHRASE, progression.metre)
    report = check(progression, notes, RulePack().level(2), pack=RulePack())
    came = page.post("api/check", {"chart": CHART, "phrase": PHRASE, "level": 2}).json
    assert came.pop("summary").splitlines()[0] == report.verdict
    whole, drawn = came.pop("whole"), came.pop("drawn")
    assert (whole["chart"], whole["level"]) == (CHART, 2)
    assert [idea["text"] for idea in drawn["ideas"]] == [PHRASE, *([report.mend.text] if report.mend else [])]
    assert came == json.loads(json_bytes(check_document(report)))
    lowest = page.post("api/check", {"chart": CHART, "phrase": PHRASE, "level": "auto"}).json
    assert lowest["level"] == lowest["lowest"] == 3


def test_files_of_a_phrase(page: Page) -> None:
    """What a program wrote is read from bytes; a damaged file is told by its name."""
    ideas = fillgen.ideas(CHART, rhythm="foxtrot", count=1)
    content = base64.b64encode(to_midi(ideas)).decode()
    came = page.post("api/check", {"chart": CHART, "file": {"name": "tune.mid", "content": content}}).json
    assert [note["midi"] for note in came["notes"]] == [note.midi for note in ideas[0].phrase]
    broken = {"name": "tune.mid", "content": base64.b64encode(b"MThd\0\0\0\6").decode()}
    error = page.post("api/check", {"chart": CHART, "file": broken}).json["error"]
    assert error["place"] == "tune.mid"


def test_no_name_from_a_request_is_opened(page: Page, tmp_path: Path) -> None:
    """A text that names a file on this computer is taken for a phrase or a chart, and is none."""
    phrase, chart = tmp_path / "phrase.txt", tmp_path / "chart.txt"
    phrase.write_text(PHRASE)
    chart.write_text(CHART)
    for named in (str(phrase), f"../{phrase.name}", f"file://{phrase}"):
        came = page.post("api/check", {"chart": CHART, "phrase": named})
        assert (came.status, "cannot read" in came.json["error"]["message"]) == (400, True)
        file = {"name": named, "content": ""}
        assert page.post("api/check", {"chart": CHART, "file": file}).status == 400
    assert page.post("api/chart", {"chart": str(chart)}).status == 400


def test_what_was_played(page: Page) -> None:
    """Keys in seconds from the first beat: at 120 quarter notes a minute a quarter lasts half a second."""
    starts = [0.01, 0.5, 0.99, 2.0, 4.01, 6.0]
    pitches = [79, 77, 75, 74, 72, 74]
    played = [
        {"midi": midi, "start": start, "end": start + 0.45}
        for midi, start in zip(pitches, starts, strict=True)
    ]
    came = page.post("api/check", {"chart": CHART, "played": played, "tempo": 120}).json
    assert [(note["midi"], note["onset"]) for note in came["notes"]] == list(
        zip(pitches, (0, 1, 2, 4, 8, 12), strict=True)
    )
    assert page.post("api/check", {"chart": CHART, "played": [], "tempo": 120}).status == 400
    assert page.post("api/check", {"chart": CHART, "played": played}).status == 400


# The idea book


def test_ideas_by_taste(page: Page) -> None:
    """Where the book has too few stars the page says so, and shows the default ranking."""
    plain = page.post("api/ideas", {**GROUND, "count": 3, "seed": 12}).lines
    asked = page.post("api/ideas", {**GROUND, "count": 3, "seed": 12, "taste": True}).lines
    assert [each["idea"]["text"] for each in asked[1:-1]] == [each["idea"]["text"] for each in plain[1:-1]]
    assert "The default ranking is used: a taste needs" in str(asked[-1])
    assert page.post("api/ideas", {**GROUND, "taste": "yes"}).status == 400


def change(page: Page, *steps: dict[str, Any]) -> dict[str, Any]:
    came = page.post("api/book/change", {"steps": list(steps)})
    assert came.status == 200, came.body
    told: dict[str, Any] = came.json
    return told


def without_dates(book: Path) -> list[Any]:
    with Book(book, writes=False) as kept:
        return [(e.id, e.stars, e.name, e.note, e.tags, e.sets) for e in every_entry(kept)]


STEPS: list[dict[str, Any]] = [
    {"action": "star", "stars": 4},
    {"action": "rename", "name": "Quiet harbour"},
    {"action": "note", "note": "for Tuesday\nslowly"},
    {"action": "tag", "words": ["lesson", "easy"]},
    {"action": "untag", "words": ["first"]},
    {"action": "put", "set": "gig"},
    {"action": "take", "set": "begun"},
    {"action": "arrange", "set": "begun"},
]


@pytest.fixture
def shown(page: Page, book: Path) -> Iterator[list[int]]:
    """Three ideas that are in the book, with marks of their own."""
    lines = page.post("api/ideas", {**GROUND, "count": 3, "seed": 11}).lines
    ids = [each["idea"]["book"] for each in lines[1:-1]]
    begun = change(
        page,
        {"action": "star", "ids": ids[:1], "stars": 2},
        {"action": "tag", "ids": ids[1:], "words": ["first"]},
        {"action": "put", "ids": ids[::-1], "set": "begun"},
    )
    yield ids
    with Book(book, writes=False) as kept:
        left = {entry.id for entry in every_entry(kept)}
    if set(ids) <= left:
        change(page, *begun["undo"])


@pytest.mark.parametrize("step", STEPS, ids=[step["action"] for step in STEPS])
def test_changes_are_undone_and_redone(
    page: Page, book: Path, shown: list[int], step: dict[str, Any]
) -> None:
    before = without_dates(book)
    done = change(page, {**step, "ids": shown[:2]})
    after = without_dates(book)
    assert after != before
    undone = change(page, *done["undo"])
    assert without_dates(book) == before
    change(page, *undone["undo"])
    assert without_dates(book) == after
    change(page, *done["undo"])


def test_what_is_forgotten_comes_back(page: Page, book: Path, shown: list[int]) -> None:
    with Book(book, writes=False) as kept:
        (before,) = entries(kept, shown[:1])
    gone = change(page, {"action": "forget", "ids": shown[:1]})
    assert gone["found"] == 0
    assert page.post("api/book/open", {"ids": shown[:1]}).status == 400
    back = change(page, *gone["undo"])
    with Book(book, writes=False) as kept:
        (after,) = entries(kept, [back["ideas"][0]["id"]])
    assert (after.text, after.stars, after.tags, after.times) == (
        before.text,
        before.stars,
        before.tags,
        before.times,
    )
    assert [name for name, _ in after.sets] == ["begun"]


def test_what_is_forgotten_comes_back_to_its_place(page: Page, book: Path, shown: list[int]) -> None:
    one, two, three = shown[:3]
    change(page, {"action": "arrange", "set": "gig", "ids": [one, two, three]})
    gone = change(page, {"action": "forget", "ids": [two]})
    again = change(page, *gone["undo"])["ideas"][0]["id"]
    with Book(book, writes=False) as kept:
        assert set_members(kept, "gig") == [one, again, three]


def test_steps_are_taken_all_or_none(page: Page, book: Path, shown: list[int]) -> None:
    before = without_dates(book)
    steps = [{"action": "star", "ids": shown, "stars": 5}, {"action": "star", "ids": [10**9], "stars": 5}]
    came = page.post("api/book/change", {"steps": steps})
    assert (came.status, "no idea 1000000000" in came.json["error"]["message"]) == (400, True)
    assert without_dates(book) == before


def test_the_book_is_searched_and_opened(page: Page, shown: list[int]) -> None:
    change(page, {"action": "rename", "ids": shown[:1], "name": "Paper kite"})
    found = page.post("api/book/search", {"words": "paper KITE"}).json
    assert [each["id"] for each in found["ideas"]] == shown[:1]
    in_order = page.post("api/book/search", {"set": "begun"}).json["ideas"]
    assert [each["id"] for each in in_order] == shown[::-1]
    every = page.post("api/book/search", {"chart": CHART}).json
    some = page.post("api/book/search", {"chart": CHART, "count": 2, "skip": 1}).json
    assert some["found"] == every["found"]
    assert some["ideas"] == every["ideas"][1:3]
    about = page.get("api/book").json
    assert about["on"] is True
    assert about["sets"]["begun"] == 3
    lines = page.post("api/book/open", {"ids": shown}).lines
    assert [each["idea"]["rank"] for each in lines[1:-1]] == shown
    assert page.post("api/book/files", {"ids": shown, "ending": "pdf", "key": "F"}).body[:5] == b"%PDF-"
    exported = page.post("api/book/files", {"ids": shown, "ending": "json"}).json
    assert [each["id"] for each in exported["ideas"]] == shown


@pytest.mark.parametrize(
    ("steps", "told"),
    [
        ([], "give at least one change"),
        ([{"action": "stra", "ids": [1]}], "Did you mean 'star'?"),
        ([{"action": "tag", "ids": [1], "words": []}], "give at least one tag"),
        ([{"action": "add", "book": {"fillgen-book": 1, "ideas": []}}], "give 1 to"),
    ],
)
def test_changes_that_say_nothing(page: Page, steps: list[dict[str, Any]], told: str) -> None:
    came = page.post("api/book/change", {"steps": steps})
    assert came.status == 400
    assert told in came.body.decode()


def test_ideas_over_two_charts_are_opened_chart_by_chart(page: Page, shown: list[int]) -> None:
    other = page.post("api/ideas", {"chart": "| F | C7 |", "count": 1}).lines[1]["idea"]["book"]
    lines = page.post("api/book/open", {"ids": [shown[0], other]}).lines
    assert [next(iter(line)) for line in lines] == ["whole", "idea", "done"] * 2
    assert [line["whole"]["chart"] for line in lines if "whole" in line] == [CHART, "| F | C7 |"]
    assert [line["idea"]["book"] for line in lines if "idea" in line] == [shown[0], other]


def test_ideas_are_shown_again_and_explained(page: Page) -> None:
    """What a page keeps of its ideas is enough to have them as they were, and the reason for each note."""
    whole, *ideas, _ = page.post("api/ideas", {**GROUND, "count": 3, "example": True}).lines
    names = ("chart", "key", "metre", "first", "level", "rhythm", "tempo", "hand", "seed", "second")
    head = {name: whole["whole"][name] for name in names}
    rows = [{name: each["idea"][name] for name in ("text", "rank", "shape", "score")} for each in ideas]
    again = page.post("api/shown", {**head, "ideas": rows}).lines
    assert again[0]["whole"]["spans"] == whole["whole"]["spans"]
    for before, now in zip(ideas, again[1:-1], strict=True):
        assert before["idea"]["book"] is None  # nobody asked for an example
        for name in ("text", "rank", "notes", "strokes", "systems"):
            assert now["idea"][name] == before["idea"][name]
    del head["second"]
    progression = parse_chart(CHART)
    phrases = [parse_phrase(row["text"], progression.metre) for row in rows]
    said = page.post("api/why", {**head, "ideas": rows}).json["why"]
    assert said == [list(reasons(progression, phrase)) for phrase in phrases]


def test_stars_are_added_and_never_taken_unasked(page: Page, book: Path, shown: list[int]) -> None:
    change(page, {"action": "star", "ids": shown[:2]})
    with Book(book, writes=False) as kept:
        assert [entry.stars for entry in entries(kept, shown[:2])] == [2, 1]
    came = page.post("api/book/files", {"ids": shown[:1], "ending": "mid"})
    assert came.body[:4] == b"MThd"


def test_without_a_book() -> None:
    with running(None) as page:
        lines = page.post("api/ideas", {**GROUND, "count": 1}).lines
        assert lines[1]["idea"]["book"] is None
        assert page.get("api/book").json["on"] is False
        error = page.post("api/book/search", {}).json["error"]
        assert "--no-book" in error["hint"]
        assert page.post("api/ideas", {**GROUND, "fresh": True}).status == 400


def test_a_damaged_book_stops_no_ideas(tmp_path: Path) -> None:
    """A file that is no book is left as it is: ideas come with a remark, the book's own answers are refused."""
    file = tmp_path / "ideas.book"
    file.write_bytes(b"no book " * 500)
    before = file.read_bytes()
    with running(str(file)) as page:
        lines = page.post("api/ideas", {**GROUND, "count": 1}).lines
        assert lines[1]["idea"]["book"] is None
        assert "not saved in the book" in lines[-1]["done"]["remarks"][-1]
        assert page.post("api/book/search", {}).status == 409
        assert page.logged == []
    assert file.read_bytes() == before


# Several at once


def test_several_tabs_at_once(page: Page) -> None:
    """Each of many questions at once gets the answer to itself."""
    keys = ["C", "D", "Eb", "F", "G", "A", "Bb", "Ab"]

    def tab(key: str) -> tuple[str, int]:
        lines = page.post("api/ideas", {"sequence": "circle turnaround", "key": key, "count": 2}).lines
        return lines[0]["whole"]["key"], len(lines)

    with ThreadPoolExecutor(len(keys)) as pool:
        assert list(pool.map(tab, keys)) == [(f"{key} major", 4) for key in keys]


def test_an_asker_who_goes_away_harms_nobody(page: Page) -> None:
    body = json.dumps({**GROUND, "count": 50}).encode()
    head = (
        f"POST {page.root}api/ideas HTTP/1.1\r\nHost: 127.0.0.1:{page.door.port}\r\nOrigin: {page.origin}\r\n"
        f"Content-Type: application/json\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    for _ in range(2):
        with socket.create_connection(("127.0.0.1", page.door.port), timeout=WAIT) as link:
            link.sendall(head.encode() + body)
            link.recv(100)
    assert page.post("api/chart", {"chart": CHART}).status == 200


# Workers


def frames_of(name: str, body: bytes = b"") -> list[tuple[bytes, bytes]]:
    return list(answered(Question(name, {"book": None, "chart": ""}, body)))


def test_a_fault_is_told_without_its_traces(monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(_: Question) -> Reply:
        raise ZeroDivisionError("secret/path.py")

    monkeypatch.setitem(answers.ANSWERS, "chart", breaks)  # type: ignore[arg-type]
    (head, told), (_, body), (end, log) = frames_of("chart")
    assert (head, end, json.loads(told)["status"]) == (HEAD, END, 500)
    assert json.loads(body)["error"]["message"] == OUR_FAULT
    assert b"secret" not in body
    assert log == b"chart: ZeroDivisionError: 'secret/path.py'"


def test_a_stream_that_breaks_off_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ideas come one by one; what breaks later is the last line."""
    calls: list[int] = []

    def some(_: Any, ideas: Any) -> dict[str, Any]:
        calls.append(len(ideas))
        if len(calls) == 2:
            raise OptionError("the third is missing")
        return {"ideas": [{"id": f"idea-{idea.rank}"} for idea in ideas], "glyphs": {"E0A4": ""}}

    monkeypatch.setattr("fillgen.page.data.Stage.some", some)
    frames = answered(Question("ideas", {"book": None}, json.dumps({**GROUND, "count": 3}).encode()))
    assert [next(frames)[0] for _ in range(2)] == [HEAD, DATA]
    assert calls == []
    rest = [json.loads(content) for kind, content in frames if kind == DATA]
    assert [next(iter(each)) for each in rest] == ["idea", "idea", "error"]
    assert [len(each["idea"]["glyphs"]) for each in rest[:2]] == [1, 0]


IMPATIENT = "import sys; sys.stdin.buffer.read()"
DYING = "import sys; sys.stdin.buffer.read(1)"
HALF = (
    "import sys; sys.stdin.buffer.read(1); "
    'told = b\'{"status": 200, "kind": "application/x-ndjson", "name": ""}\'; '
    "sys.stdout.buffer.write(b'h' + len(told).to_bytes(4, 'big') + told); sys.stdout.buffer.flush()"
)

JUNK = (
    "import sys, time; sys.stdin.buffer.read(1); "
    "sys.stdout.buffer.write(b'h' + (2).to_bytes(4, 'big') + b'{]'); sys.stdout.buffer.flush(); time.sleep(60)"
)


@pytest.mark.parametrize(
    ("program", "limit", "status", "told"),
    [
        (IMPATIENT, 0.3, 503, "stopped after 0.3 seconds"),
        (DYING, WAIT, 503, "ended early"),
        (HALF, WAIT, 200, "ended early"),
        (JUNK, WAIT, 503, "ended early"),
    ],
)
def test_a_worker_that_fails_is_replaced(program: str, limit: float, status: int, told: str) -> None:
    """Whether it takes too long or dies: its question is answered with a word, and the next finds another."""

    async def ask() -> tuple[list[tuple[int, bytes]], list[str]]:
        logged: list[str] = []
        command = (sys.executable, "-c", program)
        found = []
        async with Workers(1, limit=limit, log=logged.append, command=command) as workers:
            for _ in range(2):
                answer = await workers.ask(Question("chart", {}))
                found.append((answer.status, await answer.whole()))
        return found, logged

    found, logged = asyncio.run(ask())
    assert [code for code, _ in found] == [status] * 2
    assert all(told.encode() in body for _, body in found)
    assert len(logged) == 2


def test_a_worker_ends_with_its_server() -> None:
    """A server that is killed cannot end its workers: they end when nothing can be asked any more."""
    ended = subprocess.run(COMMAND, stdin=subprocess.DEVNULL, capture_output=True, timeout=WAIT, check=False)
    assert (ended.returncode, ended.stdout, ended.stderr) == (0, b"", b"")


def test_the_death_of_a_worker_harms_no_other_question() -> None:
    """A question on which a worker dies is told so; the questions beside and after it are answered."""

    async def ask() -> tuple[list[int], list[str]]:
        logged: list[str] = []
        async with Workers(2, log=logged.append) as workers:
            first = await workers.ask(Question("start", {}))
            (victim,) = workers._alive
            await first.whole()
            # far more than a pipe holds, so that it cannot have ended before it is killed
            slow = Question("ideas", {"book": None}, json.dumps({**GROUND, "count": 200}).encode())
            broken = await workers.ask(slow)
            beside = asyncio.create_task(workers.ask(Question("start", {})))
            victim.kill()
            last = json.loads((await broken.whole()).splitlines()[-1])
            assert last["error"]["message"] == "the work on this ended early"
            after = await workers.ask(Question("start", {}))
            return [first.status, (await beside).status, after.status], logged

    statuses, logged = asyncio.run(ask())
    assert statuses == [200, 200, 200]
    assert logged == ["ideas: the process that answered ended"]


def test_a_question_waits_its_turn_only_so_long() -> None:
    async def ask() -> tuple[int, bytes]:
        command = (sys.executable, "-c", IMPATIENT)
        async with Workers(1, limit=WAIT, wait=0.05, command=command) as workers:
            first = asyncio.create_task(workers.ask(Question("chart", {})))
            await asyncio.sleep(0)
            answer = await workers.ask(Question("chart", {}))
            told = answer.status, await answer.whole()
        assert (await first).status == 503
        return told

    status, body = asyncio.run(ask())
    assert status == 503
    assert b"fillgen is busy" in body


# The door

GOOD = "127.0.0.1:8000"


def asked_of(
    method: str = "POST", path: str = "/t/api/chart", query: bytes = b"", **headers: str
) -> guard.Refusal | None:
    given = {"host": GOOD, "origin": f"http://{GOOD}", "content_type": "application/json", **headers}
    pairs = [
        (name.replace("_", "-").encode(), value.encode("latin-1")) for name, value in given.items() if value
    ]
    scope = {
        "type": "http",
        "method": method,
        "raw_path": path.encode(),
        "query_string": query,
        "headers": pairs,
    }
    return guard.refusal(scope, Door("t", 8000))


@pytest.mark.parametrize(
    ("changed", "status"),
    [
        ({}, None),
        ({"host": "localhost:8000", "origin": "http://localhost:8000"}, None),
        ({"content_type": "application/json; charset=UTF-8"}, None),
        ({"sec_fetch_site": "same-origin"}, None),
        ({"method": "GET", "origin": "", "content_type": ""}, None),
        (
            {"method": "GET", "origin": "", "sec_fetch_site": "cross-site", "sec_fetch_mode": "navigate"},
            None,
        ),
        ({"host": "evil.example:8000", "origin": "http://evil.example:8000"}, 403),
        ({"host": "127.0.0.1", "origin": "http://127.0.0.1"}, 403),
        ({"host": "127.0.0.1:8001"}, 403),
        ({"host": "127.0.0.1:8000.evil.example"}, 403),
        ({"host": "LOCALHOST:8000 "}, 403),
        ({"host": ""}, 403),
        ({"origin": "http://localhost:8000"}, 403),
        ({"origin": "https://127.0.0.1:8000"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": ""}, 403),
        ({"method": "GET", "origin": "http://evil.example"}, 403),
        ({"method": "GET", "origin": "", "sec_fetch_site": "cross-site", "sec_fetch_mode": "no-cors"}, 403),
        ({"sec_fetch_site": "cross-site"}, 403),
        ({"sec_fetch_site": "same-site"}, 403),
        ({"sec_fetch_site": "none, cross-site"}, 403),
        ({"path": "/u/api/chart"}, 404),
        ({"path": "/t"}, 404),
        ({"path": "//t/api/chart"}, 404),
        ({"path": "/t/api/%63hart"}, 404),
        ({"path": "http://127.0.0.1:8000/t/"}, 404),
        ({"path": "*"}, 404),
        ({"query": b"x=1"}, 404),
        ({"content_type": "text/plain"}, 415),
        ({"content_type": "application/x-www-form-urlencoded"}, 415),
        ({"content_type": ""}, 415),
        ({"content_encoding": "gzip"}, 415),
        ({"content_length": "1000001"}, 413),
        ({"content_length": "9" * 400}, 413),
        ({"method": "GET", "origin": "", "content_length": "5"}, 400),
        ({"method": "GET", "origin": "", "transfer_encoding": "chunked"}, 400),
    ],
)
def test_who_may_come_in(changed: dict[str, Any], status: int | None) -> None:
    """Host exact (RFC 9110, 7.2), Origin and Sec-Fetch-Site as the Fetch standard has them."""
    refused = asked_of(**changed)
    assert (refused.status if refused else None) == status


def test_a_token_is_new_each_time_and_long() -> None:
    """At least 128 bits, as RFC 4086 and common practice ask of a secret in an address."""
    with loopback() as (one, first), loopback() as (_, second):
        assert first.token != second.token
        assert len(base64.urlsafe_b64decode(first.token)) >= 16
        assert one.getsockname()[0] == "127.0.0.1"


async def _never() -> Message:
    await asyncio.Event().wait()
    raise AssertionError


def test_a_body_must_come_in_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "BODY_SECONDS", 0.01)
    refused = asyncio.run(guard._body(_never))
    assert isinstance(refused, guard.Refusal)
    assert refused.status == 408


def test_a_fault_in_one_request_is_logged_in_a_line() -> None:
    async def breaks(*_: Any) -> None:
        raise RuntimeError("it\nbroke")

    sent: list[Message] = []

    async def send(message: Message) -> None:
        sent.append(message)

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    logged: list[str] = []
    scope = {
        "type": "http",
        "method": "GET",
        "raw_path": b"/t/",
        "query_string": b"",
        "headers": [(b"host", GOOD.encode())],
        "server": ("127.0.0.1", 8000),
    }
    asyncio.run(Guard(breaks, [Door("t", 8000)], logged.append)(scope, receive, send))
    assert sent[0]["status"] == 500
    assert logged == ["GET /: RuntimeError: 'it\\nbroke'"]


# Fields


def test_documents_that_are_none() -> None:
    """RFC 8259: no NaN, UTF-8 only; and no depth that would break a reader."""
    for body in (
        b"",
        b"{",
        b"\xff",
        b"[NaN]",
        b"[Infinity]",
        b"[" * 100_000,
        b'{"a":' * 100_000,
        b"9" * 10_000,
    ):
        with pytest.raises(OptionError):
            document_of(body)


def test_fields_are_of_their_type() -> None:
    for value in (True, "1", 1.5, -1, 11, [1]):
        with pytest.raises(OptionError, match="count: a whole number from 0 to 10"):
            Fields({"count": value}).whole("count", 0, 10)
    for value in (1, ["a"], {"a": 1}, "\ud800", "x" * 201):
        with pytest.raises(OptionError, match="shape"):
            Fields({"shape": value}).text("shape")
    fields = Fields({"shape": None})
    assert fields.text("shape") is None
    with pytest.raises(OptionError, match="a JSON object"):
        Fields([])


# The command


def page_command(*arguments: str, **environment: str) -> subprocess.Popen[str]:
    call = [sys.executable, "-m", "fillgen", "page", "--no-browser", *arguments]
    return subprocess.Popen(
        call,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, **environment},
    )


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGINT to send to one process on Windows")
def test_the_command_ends_with_a_word() -> None:
    running_one = page_command("| C | G7 |")
    with running_one:
        assert running_one.stdout is not None
        address = running_one.stdout.readline().strip()
        found = re.fullmatch(r"http://127\.0\.0\.1:(\d+)/([A-Za-z0-9_-]+)/", address)
        assert found is not None
        page = Page(Door(found[2], int(found[1])))
        assert page.get("").status == 200
        assert page.get("api/start").json["chart"] == "| C | G7 |"
        again = page_command("--port", found[1])
        assert "in use" in again.communicate(timeout=WAIT)[1]
        assert again.returncode == 2
        running_one.send_signal(signal.SIGINT)
        out, told = running_one.communicate(timeout=WAIT)
    assert (running_one.returncode, out) == (0, "")
    assert told.splitlines()[-1] == "The page is closed."
    assert "Traceback" not in told


def test_workers_that_cannot_be_started_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no worker can be, no address is given and no browser opened: the page says that it cannot be started."""
    called: list[bool] = []

    def workers(count: int, *, log: Log) -> Workers:
        return Workers(count, log=log, command=("/there/is/no/such/program",))

    monkeypatch.setattr("fillgen.server.serving.Workers", workers)
    with loopback(0) as (listening, door), pytest.raises(OutputError, match="cannot be started"):
        serve(page_of(door), [listening], lambda: called.append(True))
    assert called == []


@pytest.mark.parametrize("opens", [True, False])
def test_the_browser_is_opened_unless_told_not_to(
    opens: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Once, with a code in place of the token that is printed; where there is no browser, a sentence says so."""
    seen: list[str] = []
    looked = threading.Event()

    def browse(address: str) -> bool:
        seen.append(address)
        looked.set()
        return False

    def served(_app: Any, _listening: Any, ready: Callable[[], None]) -> None:
        ready()
        if opens:
            assert looked.wait(WAIT)

    monkeypatch.setattr("webbrowser.open", browse)
    monkeypatch.setattr("fillgen.server.serving.serve", served)
    with pytest.raises(SystemExit) as ended:
        main(["page", *([] if opens else ["--no-browser"])])
    assert ended.value.code == 0
    (printed,) = capsys.readouterr().out.split()
    host, token = printed.removesuffix("/").rsplit("/", 1)
    assert len(seen) == int(opens)
    assert all(address.startswith(f"{host}/") and token not in address for address in seen)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("| C | Hm |",), "bar 2, chord 1: unknown chord 'Hm'. Did you mean 'Bm'?"),
        (("--port", "70000"), "the port is 70000"),
        (("--book", "a.book", "--no-book"), "--book can't be used with --no-book"),
    ],
)
def test_what_cannot_be_served(arguments: tuple[str, ...], told: str) -> None:
    refused = page_command(*arguments)
    out, error = refused.communicate(timeout=WAIT)
    assert (refused.returncode, out) == (2, "")
    assert told in error


def test_the_server_itself_loads_no_engraver_and_no_midi() -> None:
    """What the workers need is not loaded by the process that serves; nor does another command load a server."""
    modules = loaded("import fillgen.server.serving")
    assert {"starlette", "uvicorn"} <= modules
    assert not modules & {"verovio", "mido", "music21", "reportlab", "sqlite3"}
    assert not loaded(command("rules")) & {"starlette", "uvicorn", "fillgen.server"}


def test_every_question_has_an_answer() -> None:
    """The routes name answers that there are, and there is no answer without a route."""
    asked = {name for _, name in ASKED.values()} | set(MADE.values())
    assert asked == set(answers.ANSWERS)
    assert all(path.startswith("/api/") for path in ASKED)


def test_a_chart_error_is_still_a_chart_error() -> None:
    with pytest.raises(ChartError, match="bar 1, chord 1: unknown chord"):
        parse_chart("| Hm |")
