"""Ideas ranked by a player's taste, for every way in."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

import fillgen
from fillgen.app import memory
from fillgen.app.taste import by_taste, taste_of
from fillgen.book import store
from fillgen.book.door import Book
from fillgen.engine.generate import generate
from fillgen.engine.request import Request, Weights
from fillgen.engine.taste import Clarity
from fillgen.phrase.idea import Ideas
from fillgen.phrase.remark import RemarkKind
from fillgen.rules.pack import RulePack

PACK = RulePack()
CHARTS = ("| F | Gm7 | C7 | F |", "| Ab | Fm | Db | Eb7 |", "| Bb | Eb | F7 | Bb |", "| D | Bm | Em7 | A7 |")
NEW = "| Db | Bbm7 | Ebm7 | Ab7 |"


@pytest.fixture(scope="module")
def starred(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The book of a player who stars the three ideas with the lowest register of each search."""
    path = tmp_path_factory.mktemp("starred") / "ideas.book"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(memory, "now", lambda: datetime(2026, 11, 21, 20, 0, tzinfo=UTC))
        for chart in CHARTS:
            found = fillgen.ideas(chart)
            numbers, _ = memory.remember(found, path, command="ideas", options={}, pack=PACK)
            liked = sorted(found, key=lambda idea: idea.terms["register"])[:3]
            with Book(path) as book:
                store.star(book, [numbers[idea.rank - 1] for idea in liked], 1)
    return path


def search(weights: Weights | None = None) -> Ideas:
    return generate(replace(Request(fillgen.parse_chart(NEW)), weights=weights))


def register(found: Ideas) -> float:
    return sum(idea.terms["register"] for idea in found[:10]) / 10


def test_ideas_by_taste(starred: Path) -> None:
    """The first ideas have what the player likes, the score is that of their weights, and a remark says so."""
    found, usual = by_taste(search, starred, PACK), search()
    assert register(found) < register(usual)
    assert found.usual == usual.weights
    assert found.weights["register"] < 0 < usual.weights["register"]
    assert [idea.score for idea in found] == sorted((idea.score for idea in found), reverse=True)
    assert all(0 <= idea.score <= 1 for idea in found)
    assert [remark.kind for remark in found.remarks] == [RemarkKind.TASTE]
    assert "12 starred ideas of 4 searches" in found.remarks[0].text


def test_same_book_same_ideas(starred: Path) -> None:
    assert by_taste(search, starred, PACK) == by_taste(search, starred, PACK)


def test_without_stars_enough_the_default_ranking_is_used(tmp_path: Path) -> None:
    found = by_taste(search, tmp_path / "none.book", PACK)
    assert found.ideas == search().ideas
    assert not found.usual
    assert found.remarks[-1].text.startswith("The default ranking is used: a taste needs 10 starred ideas")


def test_what_is_told_of_a_taste(starred: Path) -> None:
    """The taste counts from the weights of the rule pack that is used."""
    found, aside = taste_of(starred, PACK)
    assert (found.clarity, found.stars, found.passed, found.searches, aside) == (Clarity.CLEAR, 12, 188, 4, 0)
    assert found.usual == PACK.weights
    assert next(each for each in found.leanings if each.term == "register").difference < -1
