"""A player's taste, as far as the stars in the idea book tell it: worked out from them each time, and never stored."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from fillgen.errors import many
from fillgen.phrase.remark import Remark, RemarkKind

if TYPE_CHECKING:
    from fillgen.engine.request import Weights
    from fillgen.engine.taste import Taste
    from fillgen.phrase.idea import Ideas
    from fillgen.rules.pack import RulePack


def taste_of(book: Path | None, pack: RulePack) -> tuple[Taste, int]:
    """What the stars of a book say, and how many starred ideas were set aside; `book` is None for the usual one."""
    from fillgen.book.door import Book  # noqa: PLC0415 - for players who ask for it only
    from fillgen.book.place import book_path  # noqa: PLC0415
    from fillgen.book.taste import aside, searches  # noqa: PLC0415
    from fillgen.engine.taste import taste  # noqa: PLC0415

    with Book(book_path(book), writes=False) as opened:
        return taste(searches(opened), pack.weights), aside(opened)


def by_taste(search: Callable[[Weights | None], Ideas], book: Path | None, pack: RulePack) -> Ideas:
    """Ideas ranked by a player's taste, with a remark; by default where the stars don't say enough, and why.

    `search` finds ideas by the weights of the score's terms that it is given, or by the default ones.
    """
    from fillgen.engine.request import Weights  # noqa: PLC0415
    from fillgen.engine.taste import Clarity  # noqa: PLC0415

    known, _ = taste_of(book, pack)
    found = search(Weights(known.weights, known.floors) if known.clarity is Clarity.CLEAR else None)
    return replace(found, remarks=(*found.remarks, Remark(RemarkKind.TASTE, _says(known))))


def _says(known: Taste) -> str:
    """Whether the stars rank the ideas, in a sentence or two."""
    from fillgen.engine.taste import FEWEST_SEARCHES, FEWEST_STARS, Clarity  # noqa: PLC0415

    have = (
        f"{many(known.stars, 'starred idea')} of {known.searches} search{'' if known.searches == 1 else 'es'}"
    )
    if known.clarity is Clarity.CLEAR:
        return f"Ranked by your taste, learned from {have}. fillgen book taste shows it."
    if known.clarity is Clarity.UNCLEAR:
        return f"The default ranking is used: your {have} don't show a clear taste. fillgen book taste says more."
    if known.clarity is Clarity.USUAL:
        return f"The default ranking is used: it fits your {have} as well as one learned from them."
    return (
        f"The default ranking is used: a taste needs {FEWEST_STARS} starred ideas of {FEWEST_SEARCHES} searches, "
        f"and the book has {have}."
    )
