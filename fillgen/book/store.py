"""Ideas put into the book and taken out of it, and the marks a player sets on them."""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Container, Iterable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from fillgen.book import fingerprint
from fillgen.book.door import Book, BookError, Row
from fillgen.book.entries import (
    LONGEST_NAME,
    Chart,
    Entry,
    Origin,
    Showing,
    check_stars,
    notes_of,
    plain_note,
    plain_word,
)
from fillgen.book.validity import checked, options_text
from fillgen.chart.progression import Progression
from fillgen.errors import FillgenError, OptionError, did_you_mean, listed, many, shorten
from fillgen.phrase.idea import Ideas

_CHART = ("text", "key", "metre", "title", "first")
_ORIGIN = ("command", "options", "seed", "rules", "version", "level", "rhythm", "tempo", "swing", "hand")


def stamp(moment: datetime) -> str:
    """A moment as the book holds it: UTC, ISO 8601, to the second.

    >>> stamp(datetime(2026, 11, 25, 9, 30, tzinfo=UTC))
    '2026-11-25T09:30:00Z'
    """
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


# Putting in


def remember(
    book: Book,
    ideas: Ideas,
    moment: datetime,
    *,
    command: str,
    options: Mapping[str, Any],
    rules: str,
    version: str,
) -> list[int]:
    """Remember ideas that were shown at a moment; their numbers in the book, in order.

    `options` are those the command was given, as plain values; `rules` is the digest of the rule pack. An idea that is
    known already is counted and dated. BookError if the book cannot be written.
    """
    chart = Chart.of(ideas.progression)
    settings = (ideas.level, ideas.rhythm, ideas.tempo, ideas.swing, ideas.hand)
    origin = Origin(command, options_text(dict(options)), ideas.seed, rules, version, *settings)
    at = stamp(moment)
    showing = Showing(chart, origin, 1, at, at)
    entries = [
        Entry(idea.phrase, idea.text, idea.score, dict(idea.terms), idea.shape, (showing,)) for idea in ideas
    ]
    with book.writing():
        ground = _ground(book, showing, ideas.progression)
        numbers = [_put(book, entry, ideas.progression, [ground], counts=True) for entry in entries]
        ranks = [idea.rank for idea in ideas]
        book.run("DELETE FROM latest")
        book.run_many(
            "INSERT INTO latest (rank, idea) VALUES (?, ?)", dict(zip(ranks, numbers, strict=True)).items()
        )
        return numbers


def of_last(book: Book, ranks: Sequence[int]) -> list[int]:
    """The numbers of ideas by their ranks in what was shown last; OptionError if there was no such rank.

    Two ranks have one number where their ideas differ in the octave alone.
    """
    found: dict[int, int] = dict(book.rows("SELECT rank, idea FROM latest ORDER BY rank", (), (int, int)))
    missing = [str(rank) for rank in ranks if rank not in found]
    if missing:
        message = f"the ideas shown last have no rank {listed(missing[:3])}"
        which = f"They have {'rank' if len(found) == 1 else 'ranks'} {runs(list(found))}." if found else ""
        raise OptionError(message, hint=which or "Nothing was shown, or all of it was forgotten.")
    return list(dict.fromkeys(found[rank] for rank in ranks))


def runs(numbers: Sequence[int]) -> str:
    """Numbers as a sentence has them, those that follow one another as a first and a last one.

    >>> runs([17, 18, 19, 4, 21]), runs([5, 6])
    ('17 to 19, 4 and 21', '5 and 6')
    """
    found: list[list[int]] = []
    for number in numbers:
        if found and number == found[-1][-1] + 1:
            found[-1].append(number)
        else:
            found.append([number])
    parts = [[str(each) for each in run] if len(run) < _RUN else [f"{run[0]} to {run[-1]}"] for run in found]
    return listed([word for words in parts for word in words], "and")


_RUN = 3
"""From this many on, numbers in a row are given by the first and the last."""


def add(book: Book, entries: Iterable[Entry]) -> tuple[list[int], int]:
    """Add entries from elsewhere, all or none; their numbers, and how many of them were new.

    Of an idea that is here already nothing is lost and nothing is counted twice: stars become the higher, tags, sets and
    showings both, another name or note is added to the note. ChartError if a chart cannot be read.
    """
    with book.writing():
        ((before,),) = book.rows("SELECT count(*) FROM idea")
        known = {word.casefold(): word for word in reversed(tags(book))}
        some = [(_added(book, entry, known), entry.sets) for entry in entries]
        members = [(name, place, number) for number, sets_ in some for name, place in sets_]
        for name, _, number in sorted(members, key=lambda member: member[:2]):
            _join_set(book, name, number)
        ((after,),) = book.rows("SELECT count(*) FROM idea")
    return [number for number, _ in some], after - before


def _added(book: Book, entry: Entry, known: dict[str, str]) -> int:
    """Add one entry; its tags are spelled as those `known`, and join them."""
    progression = entry.chart.progression()
    grounds = [_ground(book, showing, progression) for showing in entry.showings]
    number = _put(book, entry, progression, grounds, counts=False)
    words = [known.setdefault(word.casefold(), word) for word in entry.tags]
    book.run_many("INSERT OR IGNORE INTO tag (word, idea) VALUES (?, ?)", [(word, number) for word in words])
    return number


_JOIN_SET = """
INSERT OR IGNORE INTO member (collection, idea, place)
SELECT collection.id, ?2, 1 + coalesce((SELECT max(place) FROM member WHERE member.collection = collection.id), 0)
FROM collection WHERE name = ?1
"""


def _join_set(book: Book, name: str, idea: int) -> None:
    """Put an idea at the end of a set, which is made where it is missing, unless it is in it already."""
    book.run("INSERT OR IGNORE INTO collection (name) VALUES (?)", [name])
    book.run(_JOIN_SET, [name, idea])


def put_in_set(book: Book, name: str, ideas: Sequence[int]) -> None:
    """Put ideas at the end of a set, in order; the set is made where it is missing."""
    name = plain_word(name, "name of a set")
    with book.writing():
        check_known(book, ideas)
        for idea in ideas:
            _join_set(book, name, idea)


def _put(
    book: Book, entry: Entry, progression: Progression, grounds: Sequence[_Ground], *, counts: bool
) -> int:
    """Add one entry, or what it adds to an idea that is already here; `counts` is for one being shown now."""
    where, first = grounds[0]
    print_ = fingerprint.of_phrase(entry.notes, progression)
    question = "SELECT id, name, note FROM idea WHERE progression = ? AND onsets = ? AND pitches = ?"
    known = book.one(question, [where, *print_], (int, str, str))
    if known is None:
        number = _new(book, entry, where, print_, first)
    else:
        number = known[0]
        _join(book, entry, known)
    for (_, origin), showing in zip(grounds, entry.showings, strict=True):
        _show(book, number, origin, showing, counts=counts)
    return number


_NEW = """
INSERT INTO idea
    (progression, onsets, pitches, origin, last, notes, text, score, terms, shape, name, stars, note)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
"""


def _new(book: Book, entry: Entry, progression: int, print_: tuple[bytes, bytes], origin: int) -> int:
    notes = json.dumps([[note.onset, note.length, note.midi] for note in entry.notes], separators=(",", ":"))
    terms = json.dumps(dict(entry.terms), ensure_ascii=False)
    values = [notes, entry.text, entry.score, terms, entry.shape, entry.name, entry.stars, entry.note]
    return book.added(_NEW, [progression, *print_, origin, entry.last, *values])


def _join(book: Book, entry: Entry, known: Row) -> None:
    """What an entry adds to an idea that is in the book: the later date, the higher stars, another name or note."""
    number, name, note = known
    book.run(
        "UPDATE idea SET last = max(last, ?), stars = max(stars, ?), name = ?, note = ? WHERE id = ?",
        [entry.last, entry.stars, name or entry.name, _notes_joined(name, note, entry), number],
    )


def _notes_joined(name: str, note: str, entry: Entry) -> str:
    """Two notes as one; another name goes into it, for an idea has one name. What is there is not said again."""
    said = note.splitlines()
    other = f"Also called: {entry.name}"
    if name and entry.name not in ("", name) and other not in said:
        said.append(other)
    theirs = entry.note.splitlines()
    here = any(said[start : start + len(theirs)] == theirs for start in range(len(said) + 1))
    return "\n".join(said if here else [*said, *theirs])


_SHOW = """
INSERT INTO showing (idea, origin, times, first, last) VALUES (?1, ?2, ?3, ?4, ?5)
ON CONFLICT (idea, origin) DO UPDATE SET
    times = CASE WHEN ?6 THEN times + excluded.times ELSE max(times, excluded.times) END,
    first = min(first, excluded.first), last = max(last, excluded.last)
"""


def _show(book: Book, idea: int, origin: int, showing: Showing, *, counts: bool) -> None:
    book.run(_SHOW, [idea, origin, showing.times, showing.first, showing.last, counts])


_Ground = tuple[int, int]
"""The numbers of a progression and of an origin."""


def _ground(book: Book, showing: Showing, progression: Progression) -> _Ground:
    """The numbers of a progression and an origin, which are put in where they are missing."""
    where = _row_id(book, "progression", {"digest": fingerprint.degrees(progression)})
    chart = {name: getattr(showing.chart, name) for name in _CHART}
    own = {name: getattr(showing.origin, name) for name in _ORIGIN}
    own |= {"chart": _chart_id(book, chart, where), "seed": str(showing.origin.seed)}
    return where, _row_id(book, "origin", own | {"swing": int(showing.origin.swing)})


def _chart_id(book: Book, chart: Mapping[str, object], progression: int) -> int:
    known = _found(book, "chart", chart)
    return known if known is not None else _row_id(book, "chart", {**chart, "progression": progression})


def _row_id(book: Book, table: str, values: Mapping[str, object]) -> int:
    """The number of the row that has some values, which is added where it is missing."""
    known = _found(book, table, values)
    if known is not None:
        return known
    marks = ", ".join("?" * len(values))
    return book.added(f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})", [*values.values()])  # noqa: S608


def _found(book: Book, table: str, values: Mapping[str, object]) -> int | None:
    wanted = " AND ".join(f"{name} = ?" for name in values)
    found = book.one(f"SELECT id FROM {table} WHERE {wanted}", [*values.values()])  # noqa: S608
    return None if found is None else int(found[0])


# Taking out

_ENTRIES = """
SELECT id, notes, text, score, terms, shape, name, stars, note FROM idea
WHERE id IN (SELECT value FROM json_each(?))
"""
_TAGS = "SELECT idea, word FROM tag WHERE idea IN (SELECT value FROM json_each(?)) ORDER BY word"
_MEMBERS = """
SELECT member.idea, collection.name, member.place FROM member JOIN collection ON collection.id = member.collection
WHERE member.idea IN (SELECT value FROM json_each(?)) ORDER BY collection.name
"""
_SHOWINGS = """
SELECT showing.idea, showing.origin, showing.times, showing.first, showing.last
FROM showing JOIN idea ON idea.id = showing.idea
WHERE showing.idea IN (SELECT value FROM json_each(?))
ORDER BY showing.idea, showing.origin <> idea.origin, showing.first, showing.origin
"""
_ORIGINS = """
SELECT id, chart, command, options, seed, rules, version, level, rhythm, tempo, swing, hand FROM origin
WHERE id IN (SELECT origin FROM showing WHERE idea IN (SELECT value FROM json_each(?)))
"""
_CHARTS = "SELECT id, text, key, metre, title, first FROM chart WHERE id IN (SELECT value FROM json_each(?))"


def entries(book: Book, numbers: Sequence[int]) -> list[Entry]:
    """The ideas of some numbers, in order.

    OptionError if the book has no idea of one of them, BookError if one is not what an idea can be.
    """
    some = json.dumps(list(numbers))
    made = _origins(book, some)
    showings, tags, places = (_by_idea(book, each, some) for each in (_SHOWINGS, _TAGS, _MEMBERS))
    found = {}
    for row in book.rows(_ENTRIES, [some]):
        number = row[0]
        try:
            shown = [_showing(made, *each) for each in showings[number]]
            found[number] = checked(_entry(row, shown, tags[number], places[number]))
        except (FillgenError, LookupError, TypeError, ValueError, OverflowError, RecursionError) as error:
            raise unreadable(book, number, error) from error
    _refuse_missing(book, numbers, found)
    return [found[number] for number in numbers]


def unreadable(book: Book, number: int, error: Exception) -> BookError:
    """The error for an idea that isn't valid."""
    why = " ".join(str(error.message if isinstance(error, FillgenError) else error).split())
    hint = f"fillgen book forget {number} removes it, if the book is yours."
    return BookError(
        f"idea {number} cannot be read: {shorten(why, 200)[1:-1]}", place=str(book.path), hint=hint
    )


def check(book: Book) -> int:
    """Read the whole book, its file and every idea in it; how many ideas it has. BookError where anything is wrong."""
    book.check()
    numbers = _every_number(book)
    for start in range(0, len(numbers), _AT_A_TIME):
        entries(book, numbers[start : start + _AT_A_TIME])
    sets(book)
    return len(numbers)


_AT_A_TIME = 1000
"""Ideas that are looked at together when all of them are."""


def every_entry(book: Book) -> list[Entry]:
    """All ideas of the book in the order of their numbers."""
    return entries(book, _every_number(book))


def _every_number(book: Book) -> list[int]:
    return [number for (number,) in book.rows("SELECT id FROM idea ORDER BY id")]


def check_known(book: Book, numbers: Sequence[int]) -> None:
    """OptionError if the book has no idea of one of some numbers."""
    _refuse_missing(book, numbers, _known(book, numbers))


def known_among(book: Book, numbers: Sequence[int]) -> list[int]:
    """Those of some numbers that are ideas in the book, each once, in the order given."""
    known = _known(book, numbers)
    return [number for number in dict.fromkeys(numbers) if number in known]


def _known(book: Book, numbers: Sequence[int]) -> set[int]:
    question = "SELECT id FROM idea WHERE id IN (SELECT value FROM json_each(?))"
    return {number for (number,) in book.rows(question, [json.dumps(list(numbers))])}


def highest(book: Book) -> int | None:
    """The highest number of an idea in the book; None if it is empty."""
    ((number,),) = book.rows("SELECT max(id) FROM idea")
    return None if number is None else int(number)


def _refuse_missing(book: Book, numbers: Sequence[int], known: Container[int]) -> None:
    missing = [str(number) for number in dict.fromkeys(numbers) if number not in known]
    if not missing:
        return
    last = highest(book)
    hint = "It is empty." if last is None else f"Its numbers go up to {last}; fillgen book lists them."
    raise OptionError(f"the book has no idea {listed(missing[:3])}", hint=hint)


def _entry(row: Row, showings: Sequence[Showing], tags: Sequence[Row], places: Sequence[Row]) -> Entry:
    number, notes, text, score, terms, shape, name, stars, note = row
    return Entry(
        *(notes_of(json.loads(notes)), text, score, dict(json.loads(terms)), shape),
        tuple(showings),
        *(number, name, stars, note),
        tuple(word for (word,) in tags),
        tuple((set_, place) for set_, place in places),
    )


def _by_idea(book: Book, question: str, numbers: str) -> dict[int, list[Row]]:
    """The rest of each row by the idea it begins with."""
    found: dict[int, list[Row]] = defaultdict(list)
    for number, *rest in book.rows(question, [numbers]):
        found[number].append(tuple(rest))
    return found


_Made = Mapping[int, tuple[Chart, Origin]]
"""The chart and the origin of each number of an origin."""


def _origins(book: Book, numbers: str) -> _Made:
    """What made some ideas, each origin and each chart read once however many ideas share them."""
    rows = book.rows(_ORIGINS, [numbers])
    charts = {number: Chart(*rest) for number, *rest in _charts(book, {row[1] for row in rows})}
    return {number: (charts[chart], _origin(*rest)) for number, chart, *rest in rows if chart in charts}


def _charts(book: Book, numbers: Iterable[Any]) -> list[Row]:
    return book.rows(_CHARTS, [json.dumps([number for number in numbers if isinstance(number, int)])])


def _origin(command: Any, options: Any, seed: Any, rules: Any, version: Any, *rest: Any) -> Origin:
    level, rhythm, tempo, swing, hand = rest
    seed = int(seed) if isinstance(seed, str) and _SEED.fullmatch(seed) else seed
    swing = bool(swing) if swing in (0, 1) else swing
    return Origin(command, options, seed, rules, version, level, rhythm, tempo, swing, hand)


_SEED = re.compile(r"[0-9]{1,4300}")


def _showing(made: _Made, origin: int, times: int, first: str, last: str) -> Showing:
    return Showing(*made[origin], times, first, last)


# Marks


def star(book: Book, numbers: Sequence[int], stars: int) -> None:
    """Give ideas a number of stars, 0 to 5; OptionError if the book lacks one of them."""
    check_stars(stars)
    _star(book, numbers, "UPDATE idea SET stars = ? WHERE id = ?", stars)


def star_at_least(book: Book, numbers: Sequence[int], stars: int = 1) -> None:
    """Raise ideas to a number of stars; OptionError if the book lacks one of them."""
    check_stars(stars)
    _star(book, numbers, "UPDATE idea SET stars = max(stars, ?) WHERE id = ?", stars)


def _star(book: Book, numbers: Sequence[int], statement: str, stars: int) -> None:
    """Change stars; ideas that were set aside from the player's taste count again."""
    with book.writing():
        _change(book, numbers, statement, stars)
        book.run_many("DELETE FROM aside WHERE idea = ?", [(number,) for number in numbers])


def rename(book: Book, numbers: Sequence[int], name: str) -> None:
    """Give ideas a name; an empty one takes it away."""
    plain = plain_word(name, "name", LONGEST_NAME) if name else ""
    _change(book, numbers, "UPDATE idea SET name = ? WHERE id = ?", plain)


def annotate(book: Book, numbers: Sequence[int], note: str) -> None:
    """Give ideas a note, replacing an older one; an empty one removes it."""
    _change(book, numbers, "UPDATE idea SET note = ? WHERE id = ?", plain_note(note))


def tag(book: Book, numbers: Sequence[int], word: str) -> str:
    """Put a tag on ideas; how it is spelled, which is as it was spelled first: capitals do not matter."""
    new = plain_word(word, "tag")
    with book.writing():
        spelled = next(iter(tag_spellings(book, new)), new)
        _change(book, numbers, "INSERT OR IGNORE INTO tag (word, idea) VALUES (?, ?)", spelled)
    return spelled


def untag(book: Book, numbers: Sequence[int], word: str) -> str:
    """Take a tag off ideas, in whatever capitals; how it was spelled, or the word where no idea had it."""
    plain = plain_word(word, "tag")
    with book.writing():
        spelled = tag_spellings(book, plain)
        question = "DELETE FROM tag WHERE word IN (SELECT value FROM json_each(?)) AND idea = ?"
        _change(book, numbers, question, json.dumps(spelled))
    return next(iter(spelled), plain)


def tag_spellings(book: Book, word: str) -> list[str]:
    """The tags of the book that differ from a word in capitals alone; that word itself comes first.

    There are several only in a book that an older fillgen has written.
    """
    same = [known for known in tags(book) if known.casefold() == word.casefold()]
    return sorted(same, key=lambda known: known != word)


def tags(book: Book) -> dict[str, int]:
    """The tags in order, with how many ideas have each."""
    found: dict[str, int] = dict(
        book.rows("SELECT word, count(*) FROM tag GROUP BY word ORDER BY word", (), (str, int))
    )
    _check_words(book, found, "tag")
    return found


def _change(book: Book, numbers: Sequence[int], statement: str, value: object) -> None:
    with book.writing():
        check_known(book, numbers)
        book.run_many(statement, [(value, number) for number in numbers])


def forget(book: Book, numbers: Sequence[int]) -> int:
    """Take ideas out of the book, with all that belongs to them; how many. Their numbers are not given again."""
    with book.writing():
        check_known(book, numbers)
        book.run_many("DELETE FROM idea WHERE id = ?", [(number,) for number in numbers])
        _sweep(book)
    return len(set(numbers))


_SWEEPING = (
    "DELETE FROM origin WHERE id NOT IN (SELECT origin FROM showing UNION SELECT origin FROM idea)",
    "DELETE FROM chart WHERE id NOT IN (SELECT chart FROM origin)",
    "DELETE FROM progression WHERE id NOT IN (SELECT progression FROM idea UNION SELECT progression FROM chart)",
    "DELETE FROM collection WHERE id NOT IN (SELECT collection FROM member)",
)


def _sweep(book: Book) -> None:
    """Remove origins, charts, progressions and sets that nothing leads to any more."""
    for statement in _SWEEPING:
        book.run(statement)


# Sets


def sets(book: Book) -> list[tuple[str, int]]:
    """The sets by name, with how many ideas each has."""
    question = (
        "SELECT name, count(*) FROM collection JOIN member ON member.collection = collection.id "
        "GROUP BY collection.id ORDER BY name"
    )
    found = [(name, count) for name, count in book.rows(question, (), (str, int))]
    _check_words(book, [name for name, _ in found], "name of a set")
    return found


def _check_words(book: Book, words: Iterable[str], what: str) -> None:
    """BookError if a word of the book isn't one that a player can have given."""
    for word in words:
        try:
            plain_word(word, what)
        except OptionError as error:
            raise book.damaged(error.message) from error


def set_members(book: Book, name: str) -> list[int]:
    """The numbers of a set's ideas in order; OptionError if the set doesn't exist."""
    found = [number for number, _ in set_places(book, name)]
    if not found:
        raise unknown_word(name, [known for known, _ in sets(book)], "set")
    return found


_PLACES = """
SELECT member.idea, member.place FROM member JOIN collection ON collection.id = member.collection WHERE name = ?
ORDER BY place
"""


def set_places(book: Book, name: str) -> list[tuple[int, int]]:
    """The ideas of a set with their places in it, in order; an empty list for a set that isn't in the book."""
    name = plain_word(name, "name of a set")
    return [(number, place) for number, place in book.rows(_PLACES, [name], (int, int))]


def take_from_set(book: Book, name: str, numbers: Sequence[int]) -> None:
    """Take ideas out of a set, all of them where no number is given; a set without ideas is gone."""
    with book.writing():
        members = set_members(book, name)
        for number in numbers:
            if number not in members:
                raise OptionError(f"idea {number} is not in the set {name!r}")
        ((which,),) = book.rows(
            "SELECT id FROM collection WHERE name = ?", [plain_word(name, "name of a set")]
        )
        book.run_many(
            "DELETE FROM member WHERE collection = ? AND idea = ?",
            [(which, each) for each in numbers or members],
        )
        _sweep(book)


def unknown_word(word: str, known: Sequence[str], what: str) -> OptionError:
    """The error for a set or tag that isn't in the book."""
    hint = did_you_mean(word, known) or (
        f"It has {many(len(known), what)}." if known else f"It has no {what} yet."
    )
    return OptionError(f"the book has no {what} {shorten(word)}", hint=hint)
