"""What the book tells of a player's taste: searches with stars, and stars that don't count."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from fillgen.book import store
from fillgen.book.door import Book, BookError
from fillgen.book.taste import aside, searches, set_aside, take_back
from fillgen.chart.text import parse_chart
from fillgen.engine.generate import generate
from fillgen.engine.request import Request
from fillgen.phrase.idea import Ideas
from tests.unit.book.test_book import MOMENT

CHARTS = ("| Ab | Fm | Db | Eb7 |", "| G | Em | Am7 | D7 |")


def found(number: int) -> Ideas:
    return generate(Request(parse_chart(CHARTS[number]), count=4))


def shown(book: Book, ideas: Ideas, **options: object) -> list[int]:
    return store.remember(
        book, ideas, MOMENT, command="ideas", options=options, rules="built-in", version="1.0.0"
    )


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with Book(tmp_path / "ideas.book") as opened:
        yield opened


def test_a_search_has_all_that_it_has_shown(book: Book) -> None:
    """Stars and terms of all ideas of the searches with stars, and of no others; the terms as they were shown."""
    first, second = found(0), found(1)
    numbers, others = shown(book, first), shown(book, second)
    assert searches(book) == []
    store.star(book, [numbers[2]], 3)
    (search,) = searches(book)
    assert (search.ideas, search.stars) == (tuple(numbers), (0, 0, 3, 0))
    assert list(search.terms) == [dict(idea.terms) for idea in first]
    store.star(book, others[:1], 1)
    assert [each.ideas for each in searches(book)] == [tuple(numbers), tuple(others)]


def test_an_idea_belongs_to_every_search_that_has_shown_it(book: Book) -> None:
    numbers = shown(book, found(0))
    assert shown(book, found(0), seed=9) == numbers
    store.star(book, numbers[:1], 1)
    assert [each.ideas for each in searches(book)] == [tuple(numbers), tuple(numbers)]


def test_stars_set_aside_stay_and_do_not_count(book: Book) -> None:
    """An idea set aside is neither liked nor passed over; a star given again counts, and all of them if wanted."""
    numbers = shown(book, found(0))
    store.star(book, numbers[:2], 2)
    assert (set_aside(book), set_aside(book), aside(book)) == (2, 0, 2)
    assert searches(book) == []
    assert [entry.stars for entry in store.entries(book, numbers)] == [2, 2, 0, 0]
    store.star_at_least(book, numbers[:1])
    assert [each.ideas for each in searches(book)] == [(numbers[0], *numbers[2:])]
    assert (aside(book), take_back(book), aside(book)) == (1, 1, 0)
    assert [each.stars for each in searches(book)] == [(2, 2, 0, 0)]


def test_an_idea_that_is_forgotten_is_not_set_aside_either(book: Book) -> None:
    numbers = shown(book, found(0))
    store.star(book, numbers[:2], 2)
    set_aside(book)
    store.forget(book, numbers[:1])
    assert aside(book) == 1
    book.check()


@pytest.mark.parametrize("terms", ["[1]", '{"habit": "much"}', '{"habit": NaN}', "{", "[" * 90_000, "7"])
def test_terms_that_are_none(book: Book, terms: str) -> None:
    """What is no term is refused, with the idea and the way on."""
    numbers = shown(book, found(0))
    store.star(book, numbers[:1], 1)
    book.run("UPDATE idea SET terms = ? WHERE id = ?", [terms, numbers[1]])
    with pytest.raises(BookError, match=rf"idea {numbers[1]} cannot be read.*forget {numbers[1]}"):
        searches(book)


def test_terms_of_another_program(book: Book) -> None:
    """Terms that the score doesn't know are passed over; one outside 0 to 1 counts as the nearest of these."""
    numbers = shown(book, found(0))
    store.star(book, numbers[:1], 1)
    book.run("UPDATE idea SET terms = ? WHERE id = ?", ['{"lustre": 1, "habit": 7, "order": -1}', numbers[1]])
    (search,) = searches(book)
    assert search.terms[1] == {"habit": 1.0, "order": 0.0}
