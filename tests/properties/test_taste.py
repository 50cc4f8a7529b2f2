"""Simulated players star ideas; the ranking by their taste then puts twice as many liked ideas first, over new charts.

What liking means is said in `tests/properties/players.py`; `python -m tests.bench.taste` does the same with many players.
"""

from __future__ import annotations

import pytest

from fillgen.engine.taste import Clarity, taste
from tests.properties.players import TO_RANK, TO_STAR, USUAL, Ground, Player, default_score


@pytest.fixture(scope="module")
def seen() -> list[Ground]:
    return [Ground(number, *each) for number, each in enumerate(TO_STAR)]


@pytest.fixture(scope="module")
def new() -> list[Ground]:
    return [Ground(number, *each) for number, each in enumerate(TO_RANK, len(TO_STAR))]


def test_twice_as_many_liked_ideas_come_first(seen: list[Ground], new: list[Ground]) -> None:
    """Of sixteen players, after thirty stars each."""
    before = after = 0
    for seed in range(300, 316):
        player = Player(seed)
        found = taste(player.starred(seen), USUAL)
        assert found.stars == 30
        before += sum(player.liked(ground, ground.fifty) for ground in new)
        after += sum(player.liked(ground, ground.ranked(found)) for ground in new)
    assert before > 0
    assert after >= 2 * before


def test_stars_at_random_cost_no_more_than_a_twentieth(seen: list[Ground], new: list[Ground]) -> None:
    """The first ten keep their mean default score, which tells how good ideas are to somebody unknown."""
    for seed in range(400, 406):
        found = taste(Player(seed, at_random=True).starred(seen), USUAL)
        for ground in new:
            assert default_score(ground.ranked(found)) >= 0.95 * default_score(ground.fifty)


def test_ideas_by_taste_differ_as_much(seen: list[Ground], new: list[Ground]) -> None:
    """All fifty ideas ranked by a clear taste keep the distance from one another that those by default keep."""
    found = next(
        each
        for each in (taste(Player(seed).starred(seen), USUAL) for seed in range(300, 306))
        if each.clarity is Clarity.CLEAR
    )
    for ground in new:
        picked, apart = ground.engine.pick(ground.weighed(found))
        assert (len(picked), apart) == (50, ground.engine.pick(ground.groups)[1]) == (50, 50)
