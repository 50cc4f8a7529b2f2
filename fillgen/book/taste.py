"""What the book knows of a player's taste: the searches that led to stars, and the stars that don't count."""

from __future__ import annotations

import json
from itertools import groupby
from typing import Any

from fillgen.book.door import Book
from fillgen.book.store import unreadable
from fillgen.engine.taste import Search
from fillgen.rules.pack import TERMS

_FARTHEST = 10**9
MOST_SEARCHES = 400
"""Of more searches with stars, the latest count: a taste may change."""
_SEARCHES = """
SELECT showing.origin, idea.id, idea.stars, idea.terms FROM showing JOIN idea ON idea.id = showing.idea
WHERE idea.id NOT IN (SELECT idea FROM aside) AND showing.origin IN (
    SELECT showing.origin FROM idea JOIN showing ON showing.idea = idea.id
    WHERE idea.stars > 0 AND idea.id NOT IN (SELECT idea FROM aside)
    GROUP BY showing.origin ORDER BY max(showing.last) DESC, showing.origin LIMIT ?
)
ORDER BY showing.origin, idea.id
"""


def searches(book: Book) -> list[Search]:
    """The searches from which ideas were starred: all ideas that each has shown, with their stars and terms.

    Ideas of one origin are of one search. BookError if an idea's terms are not numbers.
    """
    rows = book.rows(_SEARCHES, [MOST_SEARCHES], (int, int, int, str))
    found = []
    for _, group in groupby(rows, key=lambda row: row[0]):
        _, ideas, stars, terms = zip(*group, strict=True)
        read = tuple(_terms(book, idea, text) for idea, text in zip(ideas, terms, strict=True))
        found.append(Search(ideas, stars, read))
    return found


def _terms(book: Book, idea: int, text: str) -> dict[str, float]:
    """The terms of an idea that the score knows today."""
    try:
        return {name: _number(value) for name, value in json.loads(text).items() if name in TERMS}
    except (AttributeError, RecursionError, ValueError) as error:
        raise unreadable(book, idea, error) from error


def _number(value: Any) -> float:
    """A term as the score gives it, from 0 to 1, whatever another program made of it."""
    if not isinstance(value, int | float) or isinstance(value, bool) or not abs(value) < _FARTHEST:
        raise ValueError("a term of its score is not a number")
    return min(max(float(value), 0.0), 1.0)


def set_aside(book: Book) -> int:
    """Let the stars given so far no longer count for the taste; they stay. How many ideas that adds."""
    before = aside(book)
    with book.writing():
        book.run("INSERT OR IGNORE INTO aside (idea) SELECT id FROM idea WHERE stars > 0")
    return aside(book) - before


def take_back(book: Book) -> int:
    """Let all stars count again; of how many ideas."""
    before = aside(book)
    with book.writing():
        book.run("DELETE FROM aside")
    return before


def aside(book: Book) -> int:
    """How many starred ideas don't count for the taste."""
    question = "SELECT count(*) FROM aside JOIN idea ON idea.id = aside.idea WHERE idea.stars > 0"
    ((count,),) = book.rows(question, (), (int,))
    return int(count)
