"""The idea book as the page has it: shown, searched and changed; every change is answered with what undoes it.

Nothing is kept between two requests but the book itself, so that several tabs may be open, and undo what they did
themselves.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fillgen.app import taste
from fillgen.app.contents import BOOK, book_content
from fillgen.app.memory import fresh_ideas, not_remembered, remember
from fillgen.app.options import PlayOptions, SheetOptions
from fillgen.book import store
from fillgen.book.door import SHORT_WAIT, Book
from fillgen.book.entries import LONGEST_NOTE, Entry, plain_word
from fillgen.book.exchange import from_json, to_json
from fillgen.book.listing import grouped, list_document
from fillgen.book.place import book_path
from fillgen.book.search import Wanted, read_day
from fillgen.book.search import search as found_in
from fillgen.chart.text import parse_chart
from fillgen.engine.request import Request, Weights
from fillgen.errors import OptionError, OutputError, did_you_mean, many, shorten
from fillgen.hands.playing import Playing, played_as
from fillgen.page.data import Stage
from fillgen.phrase.idea import Ideas
from fillgen.rules.pack import RulePack
from fillgen.server.asked import LONGEST_CHART, MOST_IDEAS, check_work, second_of
from fillgen.server.fields import LARGEST, Fields
from fillgen.server.frames import Question, Reply
from fillgen.server.replies import document_reply, fields_of, lines_reply, staged
from fillgen.server.takeaway import file_reply, format_of
from fillgen.theory.keys import read_key

_MOST_STEPS = 50
_MOST_LISTED = 100_000
Step = dict[str, Any]
"""A change as the page asks for it: an action and what it needs."""


def _path(question: Question) -> Path:
    """The file of the book; OptionError where there is none."""
    named = question.settings.get("book")
    if named is None:
        raise OptionError("the idea book is turned off", hint="Start the page without --no-book.")
    return book_path(Path(named) if named else None)


# Entering ideas


def fresh(question: Question, request: Request) -> Ideas:
    """Ideas that aren't in the book."""
    return fresh_ideas(request, _path(question), wait=SHORT_WAIT)


def by_taste(question: Question, search: Callable[[Weights | None], Ideas], pack: RulePack) -> Ideas:
    """Ideas ranked by what the stars in the book say, where they say enough."""
    return taste.by_taste(search, _path(question), pack)


def remembered(
    question: Question, found: Ideas, options: Mapping[str, Any], pack: RulePack
) -> tuple[list[int], list[str]]:
    """The numbers of ideas that were shown, in the book; none, and a sentence, where it cannot be written."""
    if question.settings.get("book") is None:
        return [], []
    try:
        numbers, fault = remember(found, _path(question), command="page", options=options, pack=pack)
    except OutputError as error:
        return [], [not_remembered(error)]
    return numbers, [fault] if fault else []


# Reading


def about(question: Question) -> Reply:
    """Whether there is a book, how many ideas it holds, and its tags and sets."""
    if question.settings.get("book") is None:
        return document_reply({"on": False, "ideas": 0, "tags": {}, "sets": {}})
    with Book(_path(question), writes=False) as book:
        count = found_in(book, Wanted(), 1)[1]
        return document_reply(
            {"on": True, "ideas": count, "tags": store.tags(book), "sets": dict(store.sets(book))}
        )


def search(question: Question) -> Reply:
    """The ideas that match, most recently shown first; those of a set in its order."""
    fields = fields_of(question)
    wanted, named = _wanted(fields), fields.text("set")
    count = fields.whole("count", 1, MOST_IDEAS) or MOST_IDEAS
    skip = fields.whole("skip", 0, _MOST_LISTED) or 0
    fields.end()
    with Book(_path(question), writes=False) as book:
        if named is None:
            numbers, total = found_in(book, wanted, skip + count)
        else:
            known = set(found_in(book, wanted)[0])
            numbers = [number for number in store.set_members(book, named) if number in known]
            total = len(numbers)
        return document_reply(list_document(store.entries(book, numbers[skip : skip + count]), total))


def _wanted(fields: Fields) -> Wanted:
    chart, metre = fields.text("chart", LONGEST_CHART), fields.text("metre")
    key, since, until = fields.text("key"), fields.text("since"), fields.text("until")
    progression = parse_chart(chart, key=key, metre=metre) if chart is not None else None
    return Wanted(
        progression=progression,
        title=fields.text("title"),
        key=str(read_key(key)) if key is not None and progression is None else None,
        rhythm=fields.text("rhythm"),
        level=fields.whole("level", 0, 99),
        shape=fields.text("shape"),
        tag=fields.text("tag"),
        words=fields.text("words"),
        since=read_day(since, "since") if since is not None else None,
        until=read_day(until, "until") if until is not None else None,
        stars=fields.whole("stars", 0, 5),
    )


def _ids(fields: Fields) -> tuple[int, ...]:
    found = fields.wholes("ids", 1, LARGEST, MOST_IDEAS)
    if not found:
        raise OptionError("give the numbers of ideas", place="ids")
    return tuple(dict.fromkeys(found))


def opened(question: Question) -> Reply:
    """Ideas of the book as lines like new ones, chart by chart; their ranks are their numbers."""
    fields = fields_of(question)
    ids, playing = _ids(fields), second_of(fields)
    fields.end()
    with Book(_path(question), writes=False) as book:
        groups = grouped(store.entries(book, ids), second=playing.second)
    for ideas in groups:
        check_work(len(ideas), len(ideas.progression.bars))
    return lines_reply(_all_staged(groups, playing))


def _all_staged(groups: Sequence[Ideas], playing: Playing) -> Iterator[dict[str, Any]]:
    """The lines of several answers, each with its own beginning and end."""
    for ideas in groups:
        numbers = [idea.rank for idea in ideas]
        yield from staged(Stage(ideas, playing), numbers, [remark.text for remark in ideas.remarks])


def files(question: Question) -> Reply:
    """Ideas of the book as a file: a sheet, MIDI, or JSON for another book."""
    fields = fields_of(question)
    ids, ending = _ids(fields), fields.text("ending") or ""
    key, look, playing = fields.text("key"), fields.group(SheetOptions), fields.group(PlayOptions)
    fields.end()
    played = played_as(playing, RulePack())
    kind = format_of(ending, BOOK)
    with Book(_path(question), writes=False) as book:
        entries = store.entries(book, ids)
    content = book_content(entries, read_key(key) if key is not None else None, look, played)
    return file_reply(content, kind, ending)


# Changing it


def change(question: Question) -> Reply:
    """Changes to the book, all or none; the answer has the changes that undo them, to be sent here again."""
    fields = fields_of(question)
    steps = fields.rows("steps", _MOST_STEPS)
    fields.end()
    if not steps:
        raise OptionError("give at least one change", place="steps")
    undo: list[Step] = []
    touched: list[int] = []
    with Book(_path(question), wait=SHORT_WAIT) as book, book.writing():
        for step in steps:
            back, ids = _changed(book, step)
            undo[:0] = back
            touched += ids
        left = store.known_among(book, touched)
        listed = list_document(store.entries(book, left), len(left))
    return document_reply({"undo": undo, **listed})


def _changed(book: Book, step: Fields) -> tuple[list[Step], tuple[int, ...]]:
    """Take one step; the steps back, and the ideas it was about."""
    action = step.text("action") or ""
    if action not in _ACTIONS:
        hint = did_you_mean(action, _ACTIONS)
        raise OptionError(f"unknown action {shorten(action)}", place="action", hint=hint)
    return _ACTIONS[action](book, step)


_Change = tuple[list[Step], tuple[int, ...]]


def _star(book: Book, step: Fields) -> _Change:
    ids, stars = _ids(step), step.whole("stars", 0, 5)
    step.end()
    before = store.entries(book, ids)
    if stars is None:
        store.star_at_least(book, ids, 1)
    else:
        store.star(book, ids, stars)
    return _back("star", "stars", before, lambda entry: entry.stars), ids


def _rename(book: Book, step: Fields) -> _Change:
    ids, name = _ids(step), step.text("name", LONGEST_NOTE)
    step.end()
    before = store.entries(book, ids)
    store.rename(book, ids, name or "")
    return _back("rename", "name", before, lambda entry: entry.name), ids


def _note(book: Book, step: Fields) -> _Change:
    ids, note = _ids(step), step.text("note", 2 * LONGEST_NOTE)
    step.end()
    before = store.entries(book, ids)
    store.annotate(book, ids, note or "")
    return _back("note", "note", before, lambda entry: entry.note), ids


def _back(action: str, what: str, before: Iterable[Entry], value: Callable[[Entry], Any]) -> list[Step]:
    """The steps that give ideas back what they had, one for each different value."""
    groups: dict[Any, list[int]] = defaultdict(list)
    for entry in before:
        groups[value(entry)].append(entry.id)
    return [{"action": action, "ids": ids, what: old} for old, ids in groups.items()]


def _tag(book: Book, step: Fields) -> _Change:
    ids, words = _words_for(step)
    before = store.entries(book, ids)
    for word in words:
        store.tag(book, ids, word)
    return _back_to("untag", before, words, had=False), ids


def _untag(book: Book, step: Fields) -> _Change:
    ids, words = _words_for(step)
    before = store.entries(book, ids)
    for word in words:
        store.untag(book, ids, word)
    return _back_to("tag", before, words, had=True), ids


def _words_for(step: Fields) -> tuple[tuple[int, ...], tuple[str, ...]]:
    ids, words = _ids(step), step.words("words")
    step.end()
    if not words:
        raise OptionError("give at least one tag", place="words")
    return ids, tuple(dict.fromkeys(plain_word(word, "tag") for word in words))


def _back_to(action: str, before: Iterable[Entry], words: Iterable[str], *, had: bool) -> list[Step]:
    """The steps that give back, or take away again, the tags that really changed, capitals aside."""
    old = {entry.id: {tag.casefold() for tag in entry.tags} for entry in before}
    changed = {word: [number for number in old if (word.casefold() in old[number]) is had] for word in words}
    return [{"action": action, "ids": ids, "words": [word]} for word, ids in changed.items() if ids]


def _forget(book: Book, step: Fields) -> _Change:
    ids = _ids(step)
    step.end()
    gone = json.loads(to_json(store.entries(book, ids)))
    store.forget(book, ids)
    return [{"action": "add", "book": gone}], ids


def _add(book: Book, step: Fields) -> _Change:
    """Take in ideas as another book, or forgetting them, gave them; they get new numbers."""
    document = step.whatever("book")
    step.end()
    entries = from_json(json.dumps(document), "book", datetime.now(UTC))
    if not entries or len(entries) > MOST_IDEAS:
        raise OptionError(f"give 1 to {many(MOST_IDEAS, 'idea')}", place="book")
    highest = store.highest(book) or 0
    numbers, _ = store.add(book, entries)
    new = [number for number in dict.fromkeys(numbers) if number > highest]
    _put_back(book, {number: entry for number, entry in zip(numbers, entries, strict=True) if number in new})
    return [{"action": "forget", "ids": new}] if new else [], tuple(numbers)


def _put_back(book: Book, again: Mapping[int, Entry]) -> None:
    """Move ideas that come again to the places that they had in their sets, as far as the others kept theirs."""
    for name in dict.fromkeys(name for entry in again.values() for name, _ in entry.sets):
        places = {number: dict(entry.sets).get(name) for number, entry in again.items()}
        rows = store.set_places(book, name)
        order = sorted(rows, key=lambda row: (places.get(row[0]) or row[1], row[0] not in places))
        store.take_from_set(book, name, ())
        store.put_in_set(book, name, [number for number, _ in order])


def _put(book: Book, step: Fields) -> _Change:
    ids, name = _in_set(step)
    before = _members(book, name)
    store.put_in_set(book, name, ids)
    return _set_back(name, before), ids


def _take(book: Book, step: Fields) -> _Change:
    ids, name = _in_set(step)
    before = _members(book, name)
    store.take_from_set(book, name, ids)
    return _set_back(name, before), ids


def _arrange(book: Book, step: Fields) -> _Change:
    """Make a set hold ideas in an order; without ideas it is gone."""
    name, ids = step.text("set") or "", step.wholes("ids", 1, LARGEST, _MOST_LISTED) or ()
    step.end()
    before = _members(book, name)
    if before:
        store.take_from_set(book, name, ())
    if ids:
        store.put_in_set(book, name, tuple(dict.fromkeys(ids)))
    return _set_back(name, before), ids[:MOST_IDEAS]


def _in_set(step: Fields) -> tuple[tuple[int, ...], str]:
    ids, name = _ids(step), step.text("set")
    step.end()
    return ids, plain_word(name or "", "name of a set")


def _members(book: Book, name: str) -> list[int]:
    """The ideas of a set in order; none if the set doesn't exist."""
    known = dict(store.sets(book))
    plain = plain_word(name, "name of a set")
    return store.set_members(book, plain) if plain in known else []


def _set_back(name: str, before: list[int]) -> list[Step]:
    return [{"action": "arrange", "set": name, "ids": before}]


_ACTIONS: Mapping[str, Callable[[Book, Fields], _Change]] = {
    "star": _star,
    "rename": _rename,
    "note": _note,
    "tag": _tag,
    "untag": _untag,
    "forget": _forget,
    "add": _add,
    "put": _put,
    "take": _take,
    "arrange": _arrange,
}
"""The changes a page can make to the book."""
