"""All that reads a file, asked with files that may be broken: what is promised of each, and small valid files of every kind."""

from __future__ import annotations

import cProfile
import io
import random
import sqlite3
import tempfile
import traceback
import warnings
import xml.etree.ElementTree as ET
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from itertools import pairwise
from pathlib import Path
from unittest import mock

import fillgen
from fillgen import FillgenError, RulePack, chart_text, parse_chart, parse_phrase, phrase_text
from fillgen.app.tunes import open_tune
from fillgen.book import store
from fillgen.book.door import Book
from fillgen.book.exchange import from_json, merge, to_json
from fillgen.hands.playing import PARTS, Playing
from fillgen.readers import confined
from fillgen.readers.charted import body_of
from fillgen.readers.phrases import find_phrase, line_up
from fillgen.sound.playback import to_performance
from fillgen.theory.metre import METRES
from fillgen.writers.document import to_json as ideas_json
from fillgen.writers.midi import to_midi
from tests.mutation import mutated, packed

ROOT = Path(__file__).resolve().parents[1]
MOMENT = datetime(2026, 11, 20, 18, 30, tzinfo=UTC)
CHART = "| Ebmaj7 | Bb7 |"
WALTZ = "metre: 3/4\ntitle: Fern\nkey: G minor\n| Gm D7 / |"

# Readers: each answers, or raises an error of the package's own


def _as_phrase(path: Path) -> None:
    """A phrase over a chart, which is written and read back."""
    reading = line_up(find_phrase(str(path)), CHART)
    text = phrase_text(reading.notes, reading.progression)
    assert parse_phrase(text, reading.progression.metre) == reading.notes
    assert all(remark.isprintable() for remark in (*reading.remarks, reading.title))


def _as_tune(path: Path) -> None:
    """A tune with its own chords or proposed ones, whose bars are a chart."""
    body = body_of(open_tune(path))
    spans = [(span.chord, span.onset, span.length) for span in body.spans]
    assert [(s.chord, s.onset, s.length) for s in parse_chart(chart_text(body)).spans] == spans


def _as_performance(path: Path) -> None:
    """What is played: in order, and each message one that instruments know."""
    performance = to_performance(path.read_bytes(), str(path))
    seconds = [event.second for event in performance.events]
    assert all(0 <= a <= b for a, b in pairwise(seconds))
    assert all(event.text.isprintable() for event in performance.events)


def _as_chart(path: Path) -> None:
    chart = parse_chart(path.read_text(encoding="utf-8", errors="replace"))
    assert parse_chart(chart_text(chart)) == chart


def _as_phrase_text(path: Path) -> None:
    notes = parse_phrase(path.read_text(encoding="utf-8", errors="replace"), METRES["4/4"])
    assert all(a.end <= b.onset for a, b in pairwise(notes))


def _as_pack(path: Path) -> None:
    """A pack, all of which can be asked for."""
    pack = RulePack.read(path)
    assert pack.digest
    assert [pack.level(number).uses for number in pack.level_numbers]
    assert [pack.rhythm(name).cells for name in pack.rhythm_names]


def _as_ideas(path: Path) -> None:
    """The ideas of a document, which a book takes in and gives back."""
    entries = from_json(path.read_text(encoding="utf-8", errors="replace"), str(path), MOMENT)
    assert len(from_json(to_json(entries), str(path), MOMENT)) == len(entries)
    with closing(Book(path.with_name("taken.book"))) as book, book.writing():
        store.add(book, entries)
        store.check(book)


def _as_book(path: Path) -> None:
    """A book that is read, and joined into another."""
    with Book(path, writes=False) as book:
        entries = store.every_entry(book)
    to_json(entries)
    with Book(path.with_name("joined.book")) as book:
        assert merge(book, path)[0] == len(entries)
        store.check(book)


def _as_own_book(path: Path) -> None:
    """A book that is written to."""
    with Book(path) as book:
        store.remember(book, _ideas(CHART), MOMENT, command="", options={}, rules="", version="")
        store.star(book, [1], 3)
        assert book.rows("SELECT stars FROM idea WHERE id = 1") == [(3,)]


Reader = Callable[[Path], None]


@dataclass(frozen=True)
class Kind:
    """A kind of file: its ending, its readers, and how many of a hundred mutated files are of it."""

    ending: str
    readers: tuple[Reader, ...]
    share: int


KINDS: Mapping[str, Kind] = {
    "midi": Kind(".mid", (_as_phrase, _as_performance, _as_tune), 20),
    "musicxml": Kind(".musicxml", (_as_phrase, _as_tune), 5),
    "mxl": Kind(".mxl", (_as_phrase, _as_tune), 3),
    "abc": Kind(".abc", (_as_phrase, _as_tune), 7),
    "phrase": Kind(".txt", (_as_phrase, _as_phrase_text), 14),
    "chart": Kind(".txt", (_as_chart,), 15),
    "pack": Kind(".toml", (_as_pack,), 14),
    "json": Kind(".json", (_as_ideas,), 14),
    "book": Kind(".book", (_as_book, _as_own_book), 8),
}

# Seeds


@cache
def _ideas(chart: str, *, rhythm: str | None = None) -> fillgen.Ideas:
    return fillgen.ideas(chart, count=1, rhythm=rhythm, seed=3)


def _scores() -> tuple[bytes, ...]:
    """Two bars of a tune with chords, and an idea of our own."""
    tune = ET.parse(ROOT / "shared/tunes/garden-gate.musicxml")
    for part in tune.findall("part"):
        part[:] = part[:2]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "idea.musicxml")
        fillgen.write(_ideas(WALTZ), path)
        return ET.tostring(tune.getroot()), path.read_bytes()


def _book() -> bytes:
    """A small idea book, in which something stands in every table."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "ideas.book")
        with Book(path) as book:
            for chart in (CHART, WALTZ):
                numbers = store.remember(
                    book, _ideas(chart), MOMENT, command="ideas", options={"level": 2}, rules="built-in", version="0.4.0"
                )  # fmt: skip
            store.star(book, numbers, 4)
            store.tag(book, numbers, "gig")
            store.rename(book, numbers[:1], "Boats go by")
            store.annotate(book, numbers, "slower")
            store.put_in_set(book, "Friday", numbers)
        with closing(sqlite3.connect(path)) as book:
            book.execute("PRAGMA journal_mode = DELETE")
            book.execute("VACUUM")
        return path.read_bytes()


def _book_json() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "ideas.book")
        path.write_bytes(_book())
        with Book(path) as book:
            return to_json(store.every_entry(book)).encode()


ABC = (
    b'X:1\nT:Wren\nM:4/4\nL:1/8\nQ:1/4=96\nK:Eb\nV:1 name="Top"\n'
    b'B2|:"Eb"e4 (3gag ^f>g|1 [Gb]4- b2 z2:|2 {c}b8|]\nw: la la\n'
)
ABC_VOICES = b"X:1\nM:C|\nL:1/4\nK:C dor\n[V:1]cdef|[M:2/2]g2 z2|\n[V:2]C4|Z|\n"
PHRASES = (
    b"Eb5h. Bb4q | Eb5h G5et Ab5et G5et re F5e~ | F5w",
    b"F5q. Eb5e D5h | rq G5q F5h |",
    b"C5e.  D5s C5q rh\n| C5w\n",
)
CHARTS = (
    b"key: Eb\n| Cm / / G7 | N.C. | #ivdim7 V7/ii |",
    b"key: F\n|: F7(b9, #11) | C6/9/E | B\xe2\x99\xad\xce\x947 :| % |",
)
LEVEL_SIX = """
[[level]]
number = 6
like = 3
name = "narrow"
low = "F4"
high = "F5"
without = ["repeat-limit"]

[[level.rule]]
kind = "leap-limit"
semitones = 4
"""
PACK = (
    LEVEL_SIX.encode()
    + b"""
[[rhythm]]
name = "sway"
says = "Lean on two."
swing = false
tempo = 110
tempo-range = [90, 140]

[rhythm.cells."4/4"]
few = ["q. e h"]
some = ["q e e q e e", "q. e q q"]
many = ["q e e q e e", "et et et re e h"]

[rhythm.closes."4/4"]
few = ["h h"]
some = ["q e e h"]
many = ["e e e e h"]

[rhythm.accompaniment."4/4"]
bass = ["1q. 5e 1h"]
chords = ["rq q rq q"]

[rhythm.drums."4/4"]
"Bass Drum 1" = ["x...x..."]

[[shape]]
name = "hill"
says = "Up, then down."
points = [[0.0, 0.2], [0.5, 1.0], [1.0, 0.3]]

[[form]]
bars = 2
letters = ["A", "z"]

[weights]
shape = 2.5
steps = 0
"""
)


@cache
def seeds(kind: str) -> tuple[bytes, ...]:
    """Small valid files of a kind."""
    shared = ROOT / "shared"
    if kind == "midi":
        band = to_midi(_ideas(WALTZ), Playing(parts=PARTS))
        return to_midi(_ideas(CHART, rhythm="swing"), Playing(feel=0.5)), band
    if kind in ("musicxml", "mxl"):
        return _scores() if kind == "musicxml" else tuple(map(packed, _scores()))
    return {
        "abc": (ABC, ABC_VOICES, (shared / "phrases/paper-boats.abc").read_bytes()),
        "phrase": PHRASES,
        "chart": (*CHARTS, *(path.read_bytes() for path in sorted((shared / "charts").glob("*.txt")))),
        "pack": (PACK, *((ROOT / "rules" / name).read_bytes() for name in ("forms.toml",))),
        "json": (ideas_json(_ideas(CHART)).encode(), _book_json()),
        "book": (_book(),),
    }[kind]  # fmt: skip


def mutant(kind: str, number: int, whole: Sequence[bytes] | None = None) -> bytes:
    """The mutated file of that number: always the same, unless other files than the small ones are given."""
    whole = seeds(kind) if whole is None else whole
    chance = random.Random(f"{kind} {number}")
    return mutated(kind, chance.choice(whole), whole, chance)


# Verdicts

LONGEST_MESSAGE = 1500
"""The most characters of a message, the file's name not counted: its place, what is wrong, and a hint."""
MOST_CALLS = 5_000_000
"""The most functions that reading a mutated file may call."""


IN_HERE = mock.patch.object(
    confined._READER, "ask", lambda task, content, place: confined._TASKS[task](content, place)
)
"""Scores are read in this process, where what gets out is seen and counted; elsewhere a process of their own ends by it."""


@dataclass(frozen=True)
class Verdict:
    """What a reader made of a file: whether it was read, why it was not, and what is wrong with that, if anything."""

    read: bool
    message: str = ""
    wrong: str = ""
    calls: int = 0


def judged(reader: Reader, path: Path) -> Verdict:
    """A file is read, or refused with the package's own error in one printable line; nothing is printed or warned of."""
    printed, message, wrong = io.StringIO(), "", ""
    count = cProfile.Profile()
    try:
        with warnings.catch_warnings(), redirect_stdout(printed), redirect_stderr(printed), IN_HERE, count:
            warnings.simplefilter("error")
            reader(path)
    except FillgenError as error:
        message = str(error)
        said = message.replace(str(path), "")
        if not said.isprintable() or len(said) > LONGEST_MESSAGE:
            wrong = f"a message of {len(said)} characters: {said[:300]!r}"
    except Exception as error:  # whatever else gets out is what is looked for
        at = traceback.extract_tb(error.__traceback__)[-1]
        message = wrong = (
            f"{type(error).__name__} in {Path(at.filename).name}, line {at.lineno}: {str(error)[:300]}"
        )
    calls = sum(entry.callcount for entry in count.getstats())
    if calls > MOST_CALLS:
        wrong = f"{calls:,} calls"
    if printed.getvalue():
        wrong = f"printed {printed.getvalue()[:300]!r}"
    return Verdict(not message, message, wrong, calls)


def name_of(reader: Reader) -> str:
    return reader.__name__.removeprefix("_as_").replace("_", " ")


def verdicts(kind: str, data: bytes, folder: Path) -> list[tuple[str, Verdict]]:
    """What every reader of a kind makes of a file, each with its name. The folder must be empty, and is left so."""
    path = folder / f"wren{KINDS[kind].ending}"
    found = []
    for reader in KINDS[kind].readers:
        path.write_bytes(data)
        found.append((name_of(reader), judged(reader, path)))
        for left in folder.iterdir():
            left.unlink()
    return found
