"""The idea book beside a plain dict: whatever commands come in whatever order, both hold the same."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from fillgen.book import exchange, store
from fillgen.book.door import Book
from fillgen.book.entries import Entry
from fillgen.book.search import Wanted, search
from fillgen.book.store import tags
from fillgen.chart.text import parse_chart
from fillgen.dice import Dice
from fillgen.errors import OptionError
from fillgen.phrase.idea import Idea, Ideas
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.text import phrase_text
from tests.effort import examples

CHARTS = {
    "C": ("| C | Bb | F | G7 |", "| F#m7b5 | B7 |"),
    "F": ("| F | Eb | Bb | C7 |", "| Bm7b5 | E7 |"),
}
"""The same degrees in two keys each: first a major progression, then a minor one."""
KEYS = {("C", 0): "C", ("F", 0): "F", ("C", 1): "E minor", ("F", 1): "A minor"}
RISE = {"C": 0, "F": 5}
WORDS = ("gig", "lesson 2", "'; DROP TABLE idea; --", "🎷", "100 %_\\")
NOTES = ("", "slowly", "with pedal\nnot too loud", "slowly\nand again", "x" * 10_000)
START = datetime(2026, 3, 1, 20, 15, tzinfo=UTC)


@dataclass
class Known:
    """What the dict holds of an idea."""

    number: int
    times: dict[str, int]
    first: datetime
    last: datetime
    name: str = ""
    stars: int = 0
    note: str = ""
    tags: set[str] = field(default_factory=set)


def phrase(which: int) -> Phrase:
    """A phrase of two bars of 4/4 for every number, no two the same idea."""
    dice = Dice(1000 + which)
    notes, tick = [], 0
    while tick < 3840:
        length = 240 * (1 + dice.below(4))
        notes.append(Note(tick, min(length, 3840 - tick), 60 + dice.below(24)))
        tick += length
    return tuple(notes)


def answer(key: str, form: int, numbers: list[int]) -> Ideas:
    """An answer with some of the phrases, in a key."""
    progression = parse_chart(CHARTS[key][form], key=KEYS[key, form])
    rise = RISE[key]
    ideas = []
    for rank, which in enumerate(numbers, 1):
        notes = tuple(replace(note, midi=note.midi + rise) for note in phrase(which))
        ideas.append(Idea(rank, which / 100, {}, "wave", phrase_text(notes, progression), ()))
        object.__setattr__(ideas[-1], "notes", tuple(_Told(note) for note in notes))
    return Ideas(progression, "swing", 3, 120, True, 7, 9, tuple(ideas))


@dataclass(frozen=True)
class _Told:
    """A note of an idea as far as the book asks for it."""

    note: Note


phrases = st.lists(st.integers(0, 11), min_size=1, max_size=5, unique=True)
some = st.integers(0, 30)


class BookBesideDict(RuleBasedStateMachine):
    """Commands on a book and on a dict; every step compares them whole."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.path = Path(self.folder.name) / "ideas.book"
        self.known: dict[tuple[int, int], Known] = {}
        self.sets: dict[str, list[int]] = {}
        self.latest: dict[int, int] = {}
        self.given = 0
        self.moment = START

    @initialize()
    def open(self) -> None:
        self.book = Book(self.path)

    def teardown(self) -> None:
        self.book.close()
        self.folder.cleanup()

    def numbers(self) -> list[int]:
        return sorted(known.number for known in self.known.values())

    def by_number(self, number: int) -> Known:
        return next(known for known in self.known.values() if known.number == number)

    def pick(self, which: int) -> int:
        """A number that is known, or one that is not where the dict is empty."""
        numbers = self.numbers()
        return numbers[which % len(numbers)] if numbers else self.given + 1

    def attempt(self, change: object, number: int) -> bool:
        """Whether a change goes through: it does for a number that is known, and else says so."""
        assert callable(change)
        if number in self.numbers():
            change()
            return True
        with pytest.raises(OptionError, match="no idea"):
            change()
        return False

    @rule(key=st.sampled_from(["C", "F"]), form=st.integers(0, 1), which=phrases, hours=st.integers(0, 60))
    def remember(self, key: str, form: int, which: list[int], hours: int) -> None:
        self.moment += timedelta(hours=hours)
        told = store.remember(
            self.book,
            answer(key, form, which),
            self.moment,
            command="ideas",
            options={},
            rules="built-in",
            version="1",
        )
        expected = []
        for number in which:
            own = self.known.get((form, number))
            if own is None:
                self.given += 1
                own = self.known[form, number] = Known(self.given, {}, self.moment, self.moment)
            own.times[key] = own.times.get(key, 0) + 1
            own.last = max(own.last, self.moment)
            expected.append(own.number)
        assert told == expected
        self.latest = dict(enumerate(expected, 1))

    @rule(which=some, stars=st.integers(0, 5))
    def star(self, which: int, stars: int) -> None:
        number = self.pick(which)
        if self.attempt(lambda: store.star(self.book, [number], stars), number):
            self.by_number(number).stars = stars

    @rule(which=some, word=st.sampled_from(WORDS), takes=st.booleans())
    def tag(self, which: int, word: str, takes: bool) -> None:
        number = self.pick(which)
        change = store.untag if takes else store.tag
        if self.attempt(lambda: change(self.book, [number], word), number):
            own = self.by_number(number).tags
            own.discard(word) if takes else own.add(word)

    @rule(which=some, note=st.sampled_from(NOTES), name=st.sampled_from(("", *WORDS)))
    def write(self, which: int, note: str, name: str) -> None:
        number = self.pick(which)
        if self.attempt(lambda: store.annotate(self.book, [number], note), number):
            store.rename(self.book, [number], name)
            self.by_number(number).note, self.by_number(number).name = note, name

    @rule(which=some)
    def forget(self, which: int) -> None:
        number = self.pick(which)
        if self.attempt(lambda: store.forget(self.book, [number]), number):
            self.known = {own: known for own, known in self.known.items() if known.number != number}
            self.latest = {rank: own for rank, own in self.latest.items() if own != number}
            self.take(number)

    def take(self, number: int) -> None:
        left = {name: [each for each in members if each != number] for name, members in self.sets.items()}
        self.sets = {name: members for name, members in left.items() if members}

    @rule(which=st.lists(some, min_size=1, max_size=3), name=st.sampled_from(WORDS))
    def put_in_set(self, which: list[int], name: str) -> None:
        numbers = list(dict.fromkeys(self.pick(each) for each in which))
        if self.attempt(lambda: store.put_in_set(self.book, name, numbers), numbers[0]):
            members = self.sets.setdefault(name, [])
            members += [number for number in numbers if number not in members]

    @precondition(lambda self: self.sets)
    @rule(which=some)
    def take_from_set(self, which: int) -> None:
        name = sorted(self.sets)[which % len(self.sets)]
        number = self.sets[name][which % len(self.sets[name])]
        store.take_from_set(self.book, name, [number])
        self.sets[name].remove(number)
        self.sets = {name: members for name, members in self.sets.items() if members}

    @rule()
    def open_again(self) -> None:
        self.book.close()
        self.book = Book(self.path)

    @rule()
    def break_off(self) -> None:
        """What is begun and not finished leaves nothing."""
        try:
            with self.book.writing():
                self.book.run("DELETE FROM member")
                self.book.run("UPDATE idea SET stars = 0, note = 'gone'")
                raise RuntimeError
        except RuntimeError:
            pass

    @rule()
    def give_to_a_new_book(self) -> None:
        """A new book that this one is joined to, or that takes in its JSON, holds the same; a second time changes nothing."""
        path = Path(self.folder.name) / "other.book"
        path.unlink(missing_ok=True)
        own = store.every_entry(self.book)
        with Book(path) as other:
            assert exchange.merge(other, self.path) == (len(own), len(own))
            found = exchange.from_json(exchange.to_json(own), "all.json", self.moment)
            assert store.add(other, found)[1] == 0
            theirs = store.every_entry(other)
            assert [_bare(each) for each in theirs] == [_bare(each) for each in own]
            assert {name: _members(theirs, name) for name in self.sets} == {
                name: _members(own, name) for name in self.sets
            }
        assert store.add(self.book, [replace(each, id=0) for each in theirs])[1] == 0

    @invariant()
    def the_same(self) -> None:
        if not hasattr(self, "book"):
            return
        found = {entry.id: entry for entry in store.every_entry(self.book)}
        assert sorted(found) == self.numbers()
        for (form, which), known in self.known.items():
            entry = found[known.number]
            assert (entry.name, entry.stars, entry.note) == (known.name, known.stars, known.note)
            assert set(entry.tags) == known.tags
            assert entry.times == sum(known.times.values())
            assert (entry.first, entry.last) == (store.stamp(known.first), store.stamp(known.last))
            shown = {showing.chart.key.split()[0]: showing.times for showing in entry.showings}
            names = {KEYS[key, form].split()[0]: times for key, times in known.times.items()}
            assert shown == names
            rise = entry.notes[0].midi - phrase(which)[0].midi
            assert rise in RISE.values()
        assert dict(store.sets(self.book)) == {name: len(members) for name, members in self.sets.items()}
        for name, members in self.sets.items():
            assert store.set_members(self.book, name) == members

    @invariant()
    def found_alike(self) -> None:
        if not hasattr(self, "book"):
            return
        every = sorted(self.known.values(), key=lambda known: (-known.last.timestamp(), known.number))
        assert search(self.book, Wanted())[0] == [known.number for known in every]
        for word, count in tags(self.book).items():
            with_it = [known.number for known in every if word in known.tags]
            assert (search(self.book, Wanted(tag=word))[0], count) == (with_it, len(with_it))
        starred = [known.number for known in every if known.stars >= 3]
        assert search(self.book, Wanted(stars=3))[0] == starred
        in_f = [known.number for known in every if "F" in known.times]
        assert search(self.book, Wanted(rhythm="swing"))[0] == [known.number for known in every]
        keys = search(self.book, Wanted(key="F major"))[0] + search(self.book, Wanted(key="A minor"))[0]
        assert sorted(keys) == sorted(in_f)

    @invariant()
    def shown_last(self) -> None:
        """Ranks lead to what was shown last, though ideas are forgotten and other books come in."""
        if not hasattr(self, "book"):
            return
        assert store.of_last(self.book, list(self.latest)) == list(self.latest.values())
        with pytest.raises(OptionError, match="no rank"):
            store.of_last(self.book, [max(self.latest, default=0) + 1])

    @invariant()
    def sound(self) -> None:
        if hasattr(self, "book"):
            self.book.check()


def _bare(entry: Entry) -> Entry:
    """An entry without its number, and with its sets alone: where one was taken out of a set, places have gaps."""
    return replace(entry, id=0, sets=tuple((name, 0) for name, _ in entry.sets))


def _members(entries: list[Entry], name: str) -> list[object]:
    """The ideas of a set in its order, by their notes."""
    inside = [entry for entry in entries if name in dict(entry.sets)]
    return [entry.notes for entry in sorted(inside, key=lambda entry: dict(entry.sets)[name])]


TestBookBesideDict = BookBesideDict.TestCase
TestBookBesideDict.settings = settings(
    max_examples=examples(20),
    stateful_step_count=25,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
