"""The idea book: what is the same idea, what is kept, found, marked, shared and refused, and which ideas are fresh."""

from __future__ import annotations

import contextlib
import json
import sqlite3
import stat
import struct
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

import fillgen
from fillgen.book import entries as kept
from fillgen.book import exchange, fingerprint, schema, store
from fillgen.book.door import Book, BookError
from fillgen.book.entries import Chart
from fillgen.book.exchange import from_json
from fillgen.book.fresh import Shown, fresh, held, shown
from fillgen.book.listing import entries_text, in_key, list_text
from fillgen.book.search import Wanted, read_day, search
from fillgen.book.store import tags
from fillgen.book.taste import aside, set_aside
from fillgen.chart.text import chart_text, parse_chart
from fillgen.dice import Dice
from fillgen.engine.generate import Engine, generate
from fillgen.engine.request import Request, settle
from fillgen.errors import NoPhraseError, OptionError, OutputError
from fillgen.phrase.idea import Ideas
from fillgen.phrase.text import parse_phrase
from fillgen.teaching.practice import own_ideas
from fillgen.theory.keys import read_key
from fillgen.writers.document import to_json
from tests.processes import unmeasured

CHART = "| D | F#m | Em7 | A7 |"
IN_G = "| G | Bm | Am7 | D7 |"
PHRASES = (
    "F#5q E5q D5h | A4q. B4e C#5h | G5q F#5q E5h | E5h C#5h",
    "A4q B4q D5h | C#5q B4q A4h | E5q F#5q G5h | A5h E5h",
    "D5q F#5q A5h | F#5q C#5q A4h | G4q B4q E5h | C#5w",
    "A5w | F#5w | E5w | E5w",
)
MOMENT = datetime(2026, 11, 20, 18, 30, tzinfo=UTC)


def ideas_over(chart: str, *phrases: str, **settings: str) -> Ideas:
    """An answer that holds some phrases."""
    progression = parse_chart(chart)
    each = [own_ideas(progression, parse_phrase(text, progression.metre), rhythm="swing") for text in phrases]
    told = tuple(replace(one.ideas[0], rank=rank) for rank, one in enumerate(each, 1))
    return replace(each[0], ideas=told, level=3, **settings)


def remembered(book: Book, ideas: Ideas, moment: datetime = MOMENT, **options: object) -> list[int]:
    return store.remember(
        book, ideas, moment, command="ideas", options=options, rules="built-in", version="0.4.0"
    )


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "data" / "ideas.book"


@pytest.fixture
def book(path: Path) -> Iterator[Book]:
    with Book(path) as opened:
        yield opened


# What is the same


@pytest.mark.parametrize(
    ("chart", "phrase"),
    [
        ("| F | Am | Gm7 | C7 |", "A4q G4q F4h | C4q. D4e E4h | Bb4q A4q G4h | G4h E4h"),
        ("| Eb | Gm | Fm7 | Bb7 |", "G5q F5q Eb5h | Bb4q. C5e D5h | Ab5q G5q F5h | F5h D5h"),
        ("| F# | A#m | G#m7 | C#7 |", "A#4q G#4q F#4h | C#4q. D#4e E#4h | B4q A#4q G#4h | G#4h E#4h"),
        ("| D | F#m | Em7 | A7 |", "F#4q E4q D4h | A3q. B3e C#4h | G4q F#4q E4h | E4h C#4h"),
    ],
)
def test_the_same_idea_in_another_key(book: Book, chart: str, phrase: str) -> None:
    """A phrase moved by hand into another key, up or down, is the idea that was there; in another octave too."""
    (number,) = remembered(book, ideas_over(CHART, PHRASES[0]))
    later = MOMENT + timedelta(days=3)
    assert remembered(book, ideas_over(chart, phrase), later) == [number]
    (entry,) = store.entries(book, [number])
    assert entry.times == 2
    assert (entry.first, entry.last) == ("2026-11-20T18:30:00Z", "2026-11-23T18:30:00Z")
    assert entry.chart == Chart(CHART, "D major", "4/4")


@pytest.mark.parametrize(
    ("chart", "phrase"),
    [
        (CHART, "F#5q E5q D5h | A4q. B4e C#5h | G5q F#5q E5h | E5h A4h"),
        (CHART, "F#5q E5q D5h | A4q B4q C#5h | G5q F#5q E5h | E5h C#5h"),
        ("| D | F#m | Em | A7 |", PHRASES[0]),
        ("| D | F#m F#m7 | Em7 | A7 |", PHRASES[0]),
        ("| D/F# | F#m | Em7 | A7 |", PHRASES[0]),
    ],
)
def test_another_idea(book: Book, chart: str, phrase: str) -> None:
    """Another pitch, another rhythm, another chord, a change more, another bass: another idea."""
    (number,) = remembered(book, ideas_over(CHART, PHRASES[0]))
    (other,) = remembered(book, ideas_over(chart, phrase))
    assert other != number


def test_a_minor_key_is_another(book: Book) -> None:
    """The same chords read in D major and in B minor have other degrees."""
    major, minor = (parse_chart(CHART, key=key) for key in ("D", "B minor"))
    assert fingerprint.degrees(major) != fingerprint.degrees(minor)


def test_a_chord_held_is_the_same_as_one_said_again() -> None:
    """What sounds counts, not how it is written."""
    assert fingerprint.degrees(parse_chart("| C C | G7 |")) == fingerprint.degrees(parse_chart("| C | G7 |"))


def test_sections_are_kept() -> None:
    """The book's chart names its sections as the chart did."""
    progression = parse_chart("| [A] Ab | Fm7 | [Bridge] Bbm7 | Eb7 |")
    assert Chart.of(progression).progression() == progression


@pytest.mark.parametrize(
    "text", ["| Ab | 2/4 Fm7 | 4/4 Bbm7 Eb7 |", "| 2/4 Ab | 4/4 Fm7 | Db | [B] 3/4 Ab |"]
)
def test_metres_are_kept(text: str, book: Book) -> None:
    """The metres of bars are in the book's chart, and come back with the ideas and from JSON."""
    progression = parse_chart(text)
    assert Chart.of(progression).progression() == progression
    ideas = fillgen.ideas(progression, count=2, seed=3)
    remembered(book, ideas)
    for entry in from_json(to_json(ideas), "a.json", MOMENT):
        assert entry.showings[0].chart.progression() == progression
        assert entry.text in [idea.text for idea in ideas]
    plain = parse_chart("| Ab | Fm7 | Bbm7 Eb7 |")
    assert fingerprint.degrees(plain) != fingerprint.degrees(parse_chart("| Ab | 2/4 Fm7 | 4/4 Bbm7 Eb7 |"))


def test_rows_read_back() -> None:
    """Heights are packed into bytes and come back, those below the tonic too."""
    rows = np.array([[0, -12, 11], [4, 30, -20]], dtype=np.int16)
    assert fingerprint.unpacked(fingerprint.packed(rows), 3).tolist() == rows.tolist()
    assert fingerprint.unpacked([b"ab"], 3).shape == (0, 3)


# Kept


def test_everything_is_remembered(book: Book) -> None:
    """Chart, options, seed, rule pack and version come back, and the notes as they were."""
    progression = parse_chart("title: Lamps at Low Tide\nkey: Eb major\n| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |")
    found = generate(Request(progression, count=3, seed=9, rhythm="foxtrot"))
    numbers = remembered(book, found, rhythm="foxtrot", count=3)
    assert numbers == [1, 2, 3]
    for entry, idea in zip(store.entries(book, numbers), found, strict=True):
        assert (entry.notes, entry.text, entry.score, entry.shape) == (
            idea.phrase,
            idea.text,
            idea.score,
            idea.shape,
        )
        assert entry.terms == idea.terms
        assert entry.chart.title == "Lamps at Low Tide"
        assert entry.origin.seed == 9
        assert (entry.origin.rules, entry.origin.version) == ("built-in", "0.4.0")
        assert json.loads(entry.origin.options) == {"count": 3, "rhythm": "foxtrot"}
        again = entry.chart.progression()
        assert (again.bars, again.key, again.title) == (
            progression.bars,
            progression.key,
            progression.title,
        )


def test_a_huge_seed_and_a_pick_up_bar(book: Book) -> None:
    """A seed of any size fits, and a chart whose first bar holds a pick-up comes back so."""
    found = replace(ideas_over(CHART, PHRASES[3]), seed=10**40)
    found = replace(found, progression=replace(found.progression, first=0))
    (entry,) = store.entries(book, remembered(book, found))
    assert entry.origin.seed == 10**40
    assert entry.chart.progression().first == 0


def test_numbers_stay(book: Book) -> None:
    """A number is not given again when its idea is forgotten, and what is forgotten leaves nothing behind."""
    remembered(book, ideas_over(CHART, *PHRASES[:3]))
    store.tag(book, [3], "gig")
    store.put_in_set(book, "Friday", [3])
    assert store.forget(book, [1, 2, 3]) == 3
    tables = ["idea", "showing", "origin", "chart", "progression", "tag", "member", "collection"]
    assert [book.rows(f"SELECT count(*) FROM {name}") for name in tables] == [[(0,)]] * 8
    assert remembered(book, ideas_over(CHART, PHRASES[0])) == [4]


def test_a_file_that_others_read(path: Path) -> None:
    """The head is that of SQLite's file format (sqlite.org/fileformat2.html): magic, WAL, version, application."""
    with Book(path):
        pass
    head = path.read_bytes()[:100]
    assert head[:16] == b"SQLite format 3\0"
    assert head[18:20] == b"\2\2", "write-ahead log"
    assert struct.unpack(">I", head[60:64])[0] == schema.LATEST
    assert head[68:72] == b"fill"
    told = sqlite3.connect(path)
    assert told.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    told.close()


def test_only_its_owner_reads_it(path: Path) -> None:
    """The book and the folder made for it are private."""
    with Book(path):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_foreign_keys_are_on(book: Book) -> None:
    """SQLite keeps rows from leading nowhere, and takes what belongs to an idea away with it."""
    assert book.rows("PRAGMA foreign_keys") == [(1,)]
    with pytest.raises(BookError, match="FOREIGN KEY"):
        book.run("INSERT INTO tag (word, idea) VALUES ('gig', 99)")


def test_nothing_half_written(book: Book) -> None:
    """A failure in the middle takes back what was begun, and the book goes on."""
    with pytest.raises(OptionError, match="no idea 7"):
        store.star(book, [7], 3)
    with contextlib.suppress(ZeroDivisionError), book.writing():
        assert remembered(book, ideas_over(CHART, PHRASES[0])) == [1]
        raise ZeroDivisionError
    assert book.rows("SELECT count(*) FROM idea") == [(0,)]
    assert remembered(book, ideas_over(CHART, PHRASES[0])) == [1]


# Marks and sets

ODD = (
    "x'; DROP TABLE idea; --",
    "🎹 lamps 👩‍🏫",
    "100 % of_it \\",
    "–—…",
    '"quoted"',
)


@pytest.mark.parametrize("word", ODD)
def test_odd_words(book: Book, word: str) -> None:
    """SQL, emoji and patterns are words like others, as tag, name, note and set, and are found again."""
    remembered(book, ideas_over(CHART, *PHRASES[:2]))
    store.tag(book, [1], word)
    store.rename(book, [1], word)
    store.annotate(book, [1], f"{word}\nand more")
    store.put_in_set(book, word, [2, 1])
    (entry,) = store.entries(book, [1])
    assert (entry.tags, entry.name, entry.note) == ((word,), word, f"{word}\nand more")
    assert search(book, Wanted(tag=word)) == ([1], 1)
    assert search(book, Wanted(words=word)) == ([1], 1)
    assert store.set_members(book, word) == [2, 1]
    assert word in list_text([entry], 1, 400)
    store.untag(book, [1], word)
    assert tags(book) == {}


def test_words_are_composed(book: Book) -> None:
    """`é` as one letter and as two is one tag (NFC)."""
    remembered(book, ideas_over(CHART, PHRASES[0]))
    store.tag(book, [1], "Café")
    store.tag(book, [1], "Cafe\u0301")
    assert tags(book) == {"Café": 1}


@pytest.mark.parametrize("word", ["", "   ", "two\nlines", "nul\0", "\ud800", "x" * 101, "bell\a"])
def test_words_that_are_refused(book: Book, word: str) -> None:
    """Empty, longer than a line, or no text at all."""
    remembered(book, ideas_over(CHART, PHRASES[0]))
    with pytest.raises(OptionError, match=r"tag"):
        store.tag(book, [1], word)
    with pytest.raises(OptionError, match=r"set"):
        store.put_in_set(book, word, [1])


def test_long_notes(book: Book) -> None:
    """Ten thousand characters are fine; a hundred thousand and one are too many; a NUL is refused."""
    remembered(book, ideas_over(CHART, PHRASES[0]))
    store.annotate(book, [1], "slow, then slower. " * 527)
    assert len(store.entries(book, [1])[0].note) > 10_000
    with pytest.raises(OptionError, match="limit is 100,000"):
        store.annotate(book, [1], "x" * 100_001)
    with pytest.raises(OptionError, match="NUL"):
        store.annotate(book, [1], "a\0b")
    store.annotate(book, [1], "")
    assert store.entries(book, [1])[0].note == ""


@pytest.mark.parametrize("stars", [-1, 6, True, 2.5])
def test_wrong_stars(book: Book, stars: int) -> None:
    remembered(book, ideas_over(CHART, PHRASES[0]))
    with pytest.raises(OptionError, match="not a number of stars"):
        store.star(book, [1], stars)


def test_sets_keep_their_order(book: Book) -> None:
    """Ideas stand in a set in the order they were put in, each once, until they are taken out."""
    remembered(book, ideas_over(CHART, *PHRASES))
    store.put_in_set(book, "Friday", [3, 1])
    store.put_in_set(book, "Friday", [1, 4, 2])
    assert store.set_members(book, "Friday") == [3, 1, 4, 2]
    store.take_from_set(book, "Friday", [1])
    store.put_in_set(book, "Friday", [1])
    assert store.set_members(book, "Friday") == [3, 4, 2, 1]
    assert store.sets(book) == [("Friday", 4)]
    with pytest.raises(OptionError, match="not in the set"):
        store.take_from_set(book, "Friday", [77])
    store.take_from_set(book, "Friday", [])
    assert store.sets(book) == []
    with pytest.raises(OptionError, match="no set 'Friday'"):
        store.set_members(book, "Friday")


# Found


@pytest.fixture
def filled(book: Book) -> Book:
    """Ideas 1 and 2 over one chart, 3 over a titled one in G, shown a day later, idea 1 in G again."""
    remembered(book, ideas_over(CHART, *PHRASES[:2]))
    day = timedelta(days=1)
    remembered(
        book,
        ideas_over(f"title: Paper Boats\n{IN_G}", "D5q E5q G5h | F#5q E5q D5h | A5w | F#5w"),
        MOMENT + day,
    )
    remembered(
        book,
        ideas_over(IN_G, "B4q A4q G4h | D4q. E4e F#4h | C5q B4q A4h | A4h F#4h", rhythm="waltz"),
        MOMENT + 2 * day,
    )
    store.star(book, [2], 4)
    store.tag(book, [2, 3], "gig")
    store.rename(book, [3], "Boats go by")
    store.annotate(book, [1], "slower")
    return book


@pytest.mark.parametrize(
    ("wanted", "found"),
    [
        (Wanted(), [1, 3, 2]),
        (Wanted(progression=parse_chart("| Bb | Dm | Cm7 | F7 |")), [1, 3, 2]),
        (Wanted(progression=parse_chart("| Bb | Dm | Cm7 | F |")), []),
        (Wanted(title="boats"), [3]),
        (Wanted(key="D major"), [1, 2]),
        (Wanted(key="G major"), [1, 3]),
        (Wanted(key="G major", rhythm="swing"), [3]),
        (Wanted(rhythm="waltz"), [1]),
        (Wanted(level=3), [1, 3, 2]),
        (Wanted(level=4), []),
        (Wanted(tag="gig"), [3, 2]),
        (Wanted(tag="gig", stars=1), [2]),
        (Wanted(stars=5), []),
        (Wanted(words="boats"), [3]),
        (Wanted(words="slower"), [1]),
        (Wanted(words="%"), []),
        (Wanted(since=date(2026, 11, 21)), [1, 3]),
        (Wanted(until=date(2026, 11, 21)), [3, 2]),
        (Wanted(since=date(2026, 11, 21), until=date(2026, 11, 21)), [3]),
        (Wanted(until=date.max), [1, 3, 2]),
        (Wanted(shape="arch"), []),
    ],
)
def test_search(filled: Book, wanted: Wanted, found: list[int]) -> None:
    """Each condition, in any key, in every showing of an idea, those last shown first."""
    assert search(filled, wanted) == (found, len(found))


def test_search_counts_what_it_does_not_list(filled: Book) -> None:
    assert search(filled, Wanted(), 1) == ([1], 3)


def test_unknown_tag_and_day(filled: Book) -> None:
    """A wrong tag is told with the nearest known, a wrong day with an example."""
    with pytest.raises(OptionError, match="Did you mean 'gig'"):
        search(filled, Wanted(tag="gigg"))
    for text in ("yesterday", "2026-13-01", "", "20261"):
        with pytest.raises(OptionError, match="2026-11-01"):
            read_day(text, "--since")


def test_told_in_full(filled: Book) -> None:
    """What is told of an idea: its name, chart, marks and notes, and the phrase under its chords in another key."""
    found = store.entries(filled, [3])
    told = entries_text(found, read_key("Bb"))
    assert told.startswith("Idea 3, Boats go by, Paper Boats\nBb major, 4/4, swing")
    assert "tags: gig" in told
    assert "| Bb" in told
    progression, notes = in_key(found[0], read_key("Bb"))
    assert fingerprint.of_phrase(notes, progression) == fingerprint.of_phrase(
        found[0].notes, found[0].chart.progression()
    )
    with pytest.raises(OptionError, match="change its mode"):
        in_key(found[0], read_key("G minor"))


# Shared


def snapshot(book: Book) -> list[kept.Entry]:
    """All ideas without what differs from book to book: numbers, and places in sets but for their order."""
    found = []
    for entry in store.every_entry(book):
        names = tuple((name, 0) for name, _ in entry.sets)
        found.append(
            replace(entry, id=0, sets=names, showings=tuple(sorted(entry.showings, key=repr)), terms={})
        )
    return sorted(found, key=lambda entry: (entry.chart.text, entry.text))


def test_json_reads_back(filled: Book, tmp_path: Path) -> None:
    """What a book exports another takes in whole, and taking it in again changes nothing."""
    store.put_in_set(filled, "Friday", [3, 2])
    text = exchange.to_json(store.every_entry(filled))
    with Book(tmp_path / "other.book") as other:
        for new in (3, 0):
            found = exchange.from_json(text, "ideas.json", MOMENT)
            numbers, added = store.add(other, found)
            assert (len(numbers), added) == (3, new)
            assert snapshot(other) == snapshot(filled)
        assert [store.entries(other, [n])[0].name for n in store.set_members(other, "Friday")] == [
            "Boats go by",
            "",
        ]


def test_ideas_of_the_command_are_taken_in(book: Book) -> None:
    """The JSON of `fillgen ideas` comes in with its notes and its chart, held chords and odd metres too."""
    for chart in (
        "| C / / G7 | F |",
        "metre: 3/4\n| F | C7 |",
        "metre: 6/8\n| Dm A7 | Dm |",
        "| N.C. | Bbmaj7 F7 |",
    ):
        found = fillgen.ideas(chart, count=4, seed=2)
        taken = exchange.from_json(to_json(found), "x.json", MOMENT)
        assert [entry.notes for entry in taken] == [idea.phrase for idea in found]
        assert [entry.text for entry in taken] == [idea.text for idea in found]
        assert chart_text(taken[0].chart.progression()) == chart_text(found.progression)
        assert store.add(book, taken)[1] == 4
        assert (
            store.remember(book, found, MOMENT, command="ideas", options={}, rules="", version="1")
            == store.add(book, taken)[0]
        )


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda idea: idea.pop("notes"), "'notes' is missing"),
        (lambda idea: idea.update(stars=9), "not a number of stars"),
        (lambda idea: idea.update(tags=["a\nb"]), "more than a line"),
        (lambda idea: idea.update(notes=[[0, 480, 200]]), "outside the MIDI numbers"),
        (lambda idea: idea.update(notes=[[0, 480, 60], [240, 480, 62]]), "two notes sound at once"),
        (lambda idea: idea.update(notes=[[0, 48000, 60]]), "the phrase has 25 bars, the chart"),
        (lambda idea: idea.update(notes=[]), "no note"),
        (lambda idea: idea.update(notes=[[0, 480, "60"]]), "not a whole number"),
        (lambda idea: idea.update(score="high"), "not a number"),
        (lambda idea: idea.update(showings=[]), "never shown"),
        (lambda idea: idea["showings"][0]["chart"].update(text="| Hm |"), "unknown chord"),
        (lambda idea: idea["showings"][0]["chart"].update(key="H"), "unknown key"),
        (lambda idea: idea["showings"][0].update(last="now"), "not a time"),
        (lambda idea: idea["showings"][0].update(hand="giant"), "hand"),
        (lambda idea: idea["showings"][0].update(times=-1), "not a whole number"),
        (lambda idea: idea.update(sets=[["a"]]), "cannot be read"),
        (lambda idea: idea.update(name="\ud800"), "not text"),
    ],
)
def test_wrong_json(filled: Book, change: object, told: str) -> None:
    """Each fault is told with the idea at fault, and nothing is taken in."""
    document = json.loads(exchange.to_json(store.every_entry(filled)))
    change(document["ideas"][1])  # type: ignore[operator]
    with pytest.raises(OutputError, match=rf"ideas\.json, idea 2: .*{told}"):
        exchange.from_json(json.dumps(document), "ideas.json", MOMENT)


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", '{"ideas": 3}', '{"ideas": [3]}', '{"fillgen-book": 9, "ideas": []}', "[" * 100_000],
)
def test_no_ideas_in_json(text: str) -> None:
    with pytest.raises(OutputError):
        exchange.from_json(text, "x.json", MOMENT)


def test_merging_keeps_both(filled: Book, tmp_path: Path) -> None:
    """Two books that know one idea with other marks: ideas of both are there, the marks of both, and nothing twice."""
    store.put_in_set(filled, "Friday", [2])
    other_path = tmp_path / "other.book"
    with Book(other_path) as other:
        remembered(other, ideas_over(CHART, PHRASES[3], PHRASES[1]), MOMENT - timedelta(days=9))
        store.star(other, [2], 5)
        store.tag(other, [2], "Ünterricht")
        store.rename(other, [2], "Harbour bell")
        store.annotate(other, [2], "with pedal\nslowly")
        store.put_in_set(other, "Friday", [2, 1])
    store.rename(filled, [2], "Second try")
    before = other_path.read_bytes()
    assert exchange.merge(filled, other_path) == (2, 1)
    (entry,) = store.entries(filled, [2])
    assert (entry.name, entry.stars, entry.tags) == ("Second try", 5, ("gig", "Ünterricht"))
    assert entry.note == "Also called: Harbour bell\nwith pedal\nslowly"
    assert entry.first == "2026-11-11T18:30:00Z"
    assert store.set_members(filled, "Friday") == [2, 4]
    once = snapshot(filled)
    assert exchange.merge(filled, other_path) == (2, 0)
    assert snapshot(filled) == once
    assert other_path.read_bytes() == before


def test_merging_with_itself_or_no_book(filled: Book, tmp_path: Path) -> None:
    with pytest.raises(BookError, match="the book itself"):
        exchange.merge(filled, filled.path)
    (tmp_path / "text.book").write_text("no book")
    with pytest.raises(BookError, match="is not an idea book"):
        exchange.merge(filled, tmp_path / "text.book")
    with pytest.raises(BookError, match="cannot be read"):
        exchange.merge(filled, tmp_path / "missing.book")


def test_merging_an_open_book(filled: Book, tmp_path: Path) -> None:
    """What still stands in the other book's log comes along."""
    with Book(tmp_path / "other.book") as other:
        remembered(other, ideas_over(CHART, PHRASES[3]))
        assert exchange.merge(filled, tmp_path / "other.book") == (1, 1)


# Versions

BOOK_1 = """
CREATE TABLE progression (id INTEGER PRIMARY KEY, digest BLOB NOT NULL UNIQUE);
CREATE TABLE chart (id INTEGER PRIMARY KEY, progression INTEGER NOT NULL REFERENCES progression, text TEXT NOT NULL,
    key TEXT NOT NULL, metre TEXT NOT NULL, title TEXT NOT NULL, first INTEGER NOT NULL,
    UNIQUE (text, key, metre, title, first));
CREATE TABLE origin (id INTEGER PRIMARY KEY, chart INTEGER NOT NULL REFERENCES chart, command TEXT NOT NULL,
    options TEXT NOT NULL, seed TEXT NOT NULL, rules TEXT NOT NULL, version TEXT NOT NULL, level INTEGER NOT NULL,
    rhythm TEXT NOT NULL, tempo INTEGER NOT NULL, swing INTEGER NOT NULL, hand TEXT NOT NULL,
    UNIQUE (chart, command, options, seed, rules, version, level, rhythm, tempo, swing, hand));
CREATE TABLE idea (id INTEGER PRIMARY KEY AUTOINCREMENT, progression INTEGER NOT NULL REFERENCES progression,
    onsets BLOB NOT NULL, pitches BLOB NOT NULL, origin INTEGER NOT NULL REFERENCES origin, notes TEXT NOT NULL,
    text TEXT NOT NULL, score REAL NOT NULL, terms TEXT NOT NULL, shape TEXT NOT NULL, name TEXT NOT NULL DEFAULT '',
    stars INTEGER NOT NULL DEFAULT 0 CHECK (stars BETWEEN 0 AND 5), note TEXT NOT NULL DEFAULT '', last TEXT NOT NULL,
    UNIQUE (progression, onsets, pitches));
CREATE INDEX idea_by_last ON idea (last DESC, id);
CREATE TABLE showing (idea INTEGER NOT NULL REFERENCES idea ON DELETE CASCADE, origin INTEGER NOT NULL REFERENCES origin,
    times INTEGER NOT NULL, first TEXT NOT NULL, last TEXT NOT NULL, PRIMARY KEY (idea, origin)) WITHOUT ROWID;
CREATE INDEX showing_by_origin ON showing (origin, idea);
CREATE TABLE tag (word TEXT NOT NULL, idea INTEGER NOT NULL REFERENCES idea ON DELETE CASCADE,
    PRIMARY KEY (word, idea)) WITHOUT ROWID;
CREATE INDEX tag_by_idea ON tag (idea);
INSERT INTO progression VALUES (1, X'00112233445566778899AABBCCDDEEFF');
INSERT INTO chart VALUES (1, 1, '| C | G7 |', 'C major', '4/4', 'Night ferry', 1);
INSERT INTO origin VALUES (1, 1, 'ideas', '{"count": 2}', '7', 'built-in', '0.3.9', 3, 'swing', 132, 1, 'medium');
INSERT INTO idea VALUES (5, 1, X'AA', X'04FB', 1, '[[0,1920,64],[1920,1920,55]]', 'E4w | G3w', 0.75, '{"shape": 0.5}',
    'fall', 'Bell', 4, 'soft', '2026-10-01T08:00:00Z');
INSERT INTO showing VALUES (5, 1, 2, '2026-09-30T08:00:00Z', '2026-10-01T08:00:00Z');
INSERT INTO tag VALUES ('gig', 5);
PRAGMA application_id = 1718185068;
PRAGMA user_version = 1;
"""
"""A book as version 1 made it; it stays here as it is."""
BOOK_2 = (
    BOOK_1
    + """
CREATE TABLE collection (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE);
CREATE TABLE member (collection INTEGER NOT NULL REFERENCES collection ON DELETE CASCADE,
    idea INTEGER NOT NULL REFERENCES idea ON DELETE CASCADE, place INTEGER NOT NULL,
    PRIMARY KEY (collection, idea)) WITHOUT ROWID;
CREATE INDEX member_by_idea ON member (idea);
INSERT INTO collection VALUES (3, 'Monday');
INSERT INTO member VALUES (3, 5, 1);
PRAGMA user_version = 2;
"""
)
"""A book as version 2 made it, with a set; it stays here as it is."""
BOOK_3 = (
    BOOK_2
    + """
CREATE TABLE latest (rank INTEGER PRIMARY KEY, idea INTEGER NOT NULL REFERENCES idea ON DELETE CASCADE);
CREATE INDEX latest_by_idea ON latest (idea);
PRAGMA user_version = 3;
"""
)
"""A book as version 3 made it; it stays here as it is."""
OLDER = {1: BOOK_1, 2: BOOK_2, 3: BOOK_3}


def old_book(path: Path, version: int) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    pages = sqlite3.connect(path)
    pages.executescript(OLDER[version])
    pages.close()


def test_every_earlier_version_is_tested() -> None:
    assert sorted(OLDER) == list(range(1, schema.LATEST))


@pytest.mark.parametrize("version", sorted(OLDER))
@pytest.mark.parametrize("writes", [True, False])
def test_older_books_are_brought_up_to_date(path: Path, version: int, writes: bool) -> None:
    """All that an older book holds is there in the new one, and what is new can be used; its layout is a new book's."""
    old_book(path, version)
    with Book(path, writes=writes) as book:
        (entry,) = store.every_entry(book)
        assert (entry.id, entry.name, entry.stars, entry.note, entry.tags) == (5, "Bell", 4, "soft", ("gig",))
        assert (entry.times, entry.first, entry.origin.seed) == (2, "2026-09-30T08:00:00Z", 7)
        assert entry.chart.title == "Night ferry"
        assert entry.sets == ((("Monday", 1),) if version > 1 else ())
        store.put_in_set(book, "Friday", [5])
        with pytest.raises(OptionError, match=r"no rank 1\. Nothing was shown"):
            store.of_last(book, [1])
        (number,) = remembered(book, ideas_over(CHART, PHRASES[0]))
        assert number == 6
        assert store.of_last(book, [1]) == [number]
        assert (set_aside(book), aside(book)) == (1, 1)
        book.check()
        layout = "SELECT type, name, tbl_name FROM sqlite_master ORDER BY name"
        columns = "SELECT m.name, p.name, p.type, p.pk FROM sqlite_master m, pragma_table_info(m.name) p ORDER BY 1, p.cid"
        with Book(path.with_name("new.book")) as new:
            assert book.rows(layout) == new.rows(layout)
            assert book.rows(columns) == new.rows(columns)
        assert book.rows("PRAGMA user_version") == [(schema.LATEST,)]


@pytest.mark.parametrize("version", sorted(OLDER))
def test_an_update_that_fails_takes_nothing(
    path: Path, version: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A step that breaks off leaves the older book as it was."""
    old_book(path, version)
    broken = [*schema.statements(version), "INSERT INTO nowhere VALUES (1)"]
    with monkeypatch.context() as patch:
        patch.setattr("fillgen.book.door.statements", lambda _: broken)
        with pytest.raises(BookError):
            Book(path)
    pages = sqlite3.connect(path)
    assert pages.execute("PRAGMA user_version").fetchall() == [(version,)]
    assert pages.execute("SELECT count(*) FROM sqlite_master WHERE name = 'aside'").fetchall() == [(0,)]
    pages.close()
    with Book(path) as book:
        assert len(store.every_entry(book)) == 1


def test_a_newer_book_is_refused(path: Path) -> None:
    """A book of a version to come is told and not touched, whether it is to be read or written."""
    with Book(path) as book:
        remembered(book, ideas_over(CHART, PHRASES[0]))
        book.run(f"PRAGMA user_version = {schema.LATEST + 1}")
    before = path.read_bytes()
    for writes in (True, False):
        with pytest.raises(BookError, match="newer fillgen"):
            Book(path, writes=writes)
    assert path.read_bytes() == before


def test_another_programs_file_is_refused(path: Path) -> None:
    """A SQLite file of somebody else is told and not touched."""
    path.parent.mkdir()
    pages = sqlite3.connect(path)
    pages.execute("CREATE TABLE recipes (id)")
    pages.close()
    before = path.read_bytes()
    with pytest.raises(BookError, match="not an idea book"):
        Book(path)
    assert path.read_bytes() == before


# Fresh


def test_fresh_until_the_space_is_spent(book: Book) -> None:
    """Roots alone over four chords: every phrase comes once, in whatever key, until none is left, and that is told."""
    request = Request(parse_chart("| Bb | F7 | Eb | F7 |"), level=1, count=20, seed=3)
    moved = replace(request, progression=parse_chart("| Eb | Bb7 | Ab | Bb7 |"), low=65, high=86)
    seen: set[tuple[bytes, bytes]] = set()
    while True:
        try:
            found = fresh(request, shown(book, request.progression))
        except NoPhraseError:
            break
        prints = {fingerprint.of_phrase(idea.phrase, found.progression) for idea in found}
        assert not prints & seen
        assert len(prints) == len(found)
        seen |= prints
        remembered(book, found)
    assert len(seen) > 20
    assert str(found.remarks[-1]).endswith("none is left that would be new in every octave.")
    space = generate(replace(request, count=1000))
    assert {fingerprint.of_phrase(idea.phrase, space.progression) for idea in space} <= seen
    told = "no fresh idea is left: all .* were shown before, in this octave and key or another"
    with pytest.raises(NoPhraseError, match=told):
        fresh(moved, shown(book, moved.progression))


@pytest.mark.parametrize(("level", "seed"), [(1, 0), (2, 5), (3, 2)])
def test_what_is_held_is_exact(level: int, seed: int) -> None:
    """The number of phrases that are known, by the lattice's tables and by listing every phrase of each space."""
    progression = parse_chart("| Dm7 G7 | C6 |")
    engine = Engine(settle(Request(progression, level=level, low=60, high=81)))
    spaces = [space for space in engine.spaces(Dice(seed)) if space.count < 20_000]
    assert spaces
    tonic = progression.key.tonic.pitch_class
    for space in spaces[:6]:
        domains = space.pitches
        rows = space.lattice.phrases()
        every = fingerprint.heights(
            np.stack([domain[rows[:, i]] for i, domain in enumerate(domains)], axis=1), tonic
        )
        dice = Dice(seed)
        some = every[dice.doubles(len(every)) < 0.3][:50]
        known = np.unique(np.concatenate([some, some + 1]), axis=0) if len(some) else some
        listed = set(fingerprint.packed(known)) if len(known) else set()
        by_list = sum(own in listed for own in fingerprint.packed(every))
        assert held(engine, space, known) == by_list
        assert by_list >= len(some)


def test_fresh_ideas_in_another_key(book: Book) -> None:
    """Fifty shown in Eb are not shown in A, though without a book they would be; what is left goes down by as many."""
    here, there = (
        parse_chart("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |"),
        parse_chart("| Amaj7 | C#m7 F#7 | Bm7 | E7 |"),
    )
    left = []
    for progression in (here, there, here):
        known = shown(book, progression)
        found = fresh(Request(progression, count=20, low=60, high=84), known)
        assert len(found) == 20
        before = known.count
        remembered(book, found)
        assert shown(book, progression).count == before + 20
        left.append(str(found.remarks[-1]))
    assert left[0].startswith("No phrase over these rhythms was shown before; ")
    assert all("; in this key and range " in each for each in left)


@pytest.mark.parametrize("chart", ["| G7 |", "| C7 |"])
def test_octaves_of_one_idea(book: Book, chart: str) -> None:
    """Where the phrases are octaves of few ideas, every sentence is true: each idea once, and none in another octave."""
    request = Request(parse_chart(chart), level=1, low=67, high=79)
    every = generate(request)
    prints = {fingerprint.of_phrase(idea.phrase, request.progression) for idea in every}
    found = fresh(request, shown(book, request.progression))
    assert len(found) == len(prints) <= found.phrases == len(every)
    assert str(found.remarks[-1]) == (
        "No phrase over these rhythms was shown before; in this key and range none is left that would be new in every "
        "octave."
    )
    remembered(book, found)
    with pytest.raises(
        NoPhraseError, match=f"all {len(every)} phrases over .* in this octave and key or another"
    ):
        fresh(request, shown(book, request.progression))
    assert len(prints) < len(every) or chart == "| C7 |"


def test_nothing_known_changes_nothing() -> None:
    """With an empty book the fresh ideas are the ideas."""
    request = Request(parse_chart(CHART), count=12, seed=5)
    nothing = Shown(0, lambda rhythm: np.zeros((0, len(rhythm)), dtype=np.int16))
    found = fresh(request, nothing)
    assert found.ideas == generate(request).ideas
    assert found.seed == 5
    assert found.phrases == generate(request).phrases


def test_when_drawn_candidates_run_out(book: Book) -> None:
    """When all that was drawn is known more is drawn, and all of it is new."""
    progression = parse_chart(CHART)
    tonic = progression.key.tonic.pitch_class
    request = Request(progression, count=5)
    engine = Engine(settle(request))
    dice = Dice(0)
    spaces = engine.spaces(dice)
    drawn: dict[tuple[tuple[int, int], ...], list[np.ndarray]] = {}
    for group in engine.candidates(spaces, sum(space.count for space in spaces), dice):
        drawn.setdefault(group.plan.rhythm, []).append(fingerprint.heights(group.pitches, tonic))

    def rows(rhythm: tuple[tuple[int, int], ...]) -> np.ndarray:
        known = drawn.get(rhythm, [])
        return np.concatenate(known) if known else np.zeros((0, len(rhythm)), dtype=np.int16)

    found = fresh(request, Shown(0, rows))
    assert len(found) == 5
    for idea in found:
        rhythm = tuple((note.onset, note.length) for note in idea.phrase)
        own = fingerprint.of_phrase(idea.phrase, progression)[1]
        assert own not in set(fingerprint.packed(rows(rhythm)) if len(rows(rhythm)) else [])


def test_fresh_is_the_same_for_the_same_book(book: Book) -> None:
    """The same request and the same book give the same ideas; the seed is the one asked for."""
    progression = parse_chart(CHART)
    remembered(book, generate(Request(progression, count=30)))
    once, twice = (fresh(Request(progression, count=10, seed=4), shown(book, progression)) for _ in range(2))
    assert once == twice
    assert once.seed == 4


# Cheap to start


def test_a_command_without_a_book_loads_no_sqlite() -> None:
    """`fillgen ideas --no-book` loads neither sqlite3 nor platformdirs, nor do commands that show no ideas."""
    program = (
        "import contextlib, sys\nfrom fillgen.cli import main\n"
        "for arguments in (['ideas', '| C | G7 |', '-n', '1', '--no-book'], ['sequences']):\n"
        "    with contextlib.suppress(SystemExit): main(arguments)\n"
        "print('LOADED', *sorted({'sqlite3', 'platformdirs', 'fillgen.book.door'} & set(sys.modules)))"
    )
    ran = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, env=unmeasured()
    )
    assert ran.stdout.splitlines()[-1] == "LOADED"


@pytest.mark.parametrize(
    ("field", "wrong", "told"),
    [
        ("tempo", 0, "the tempo is 0"),
        ("tempo", 10**8, "the tempo is"),
        ("level", 10**6, "not a whole number"),
    ],
)
def test_numbers_of_others_are_checked(field: str, wrong: int, told: str, tmp_path: Path) -> None:
    """A tempo or a level that no idea can have is refused when it comes, not met when the idea is played."""
    with Book(tmp_path / "ideas.book") as book:
        store.remember(
            book,
            fillgen.ideas("| C | G7 |", count=1),
            datetime(2026, 11, 1, tzinfo=UTC),
            command="ideas",
            options={},
            rules="",
            version="1",
        )
        document = json.loads(exchange.to_json(store.every_entry(book)))
    document["ideas"][0]["showings"][0][field] = wrong
    with pytest.raises(OutputError, match=told):
        exchange.from_json(json.dumps(document), "mine.json", datetime(2026, 11, 2, tzinfo=UTC))


def test_titles_of_others_bring_no_commands_to_the_terminal(tmp_path: Path) -> None:
    """Control characters in the words of somebody else's book are left out."""
    with Book(tmp_path / "ideas.book") as book:
        store.remember(
            book,
            fillgen.ideas("title: Blue Lantern\n| C | G7 |", count=1),
            datetime(2026, 11, 1, tzinfo=UTC),
            command="ideas",
            options={},
            rules="",
            version="1",
        )
        document = json.loads(exchange.to_json(store.every_entry(book)))
    document["ideas"][0]["showings"][0]["chart"]["title"] = "Blue\x1b]0;x\x07\nLantern"
    (entry,) = exchange.from_json(json.dumps(document), "mine.json", datetime(2026, 11, 2, tzinfo=UTC))
    assert entry.showings[0].chart.title.isprintable()


def test_ideas_that_swing_swing_in_the_book() -> None:
    """What `ideas --format json` wrote keeps the swing of its rhythm."""
    told = to_json(fillgen.ideas("| C | G7 |", rhythm="swing", count=1))
    (entry,) = exchange.from_json(told, "ideas.json", datetime(2026, 11, 2, tzinfo=UTC))
    assert entry.showings[0].origin.swing
