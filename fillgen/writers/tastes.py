"""A player's taste as text and as plain values: how starred ideas differ from those not starred."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fillgen.engine.taste import FEWEST_SEARCHES, FEWEST_STARS, Clarity, Leaning, Taste
from fillgen.errors import listed, many
from fillgen.rules.pack import RulePack
from fillgen.writers.lines import TEXT_WIDTH, wrapped


def taste_text(taste: Taste, aside: int, pack: RulePack, width: int = TEXT_WIDTH) -> str:
    """What the stars say, term by term, how sure that is, and what it does to the ranking.

    `aside` is how many starred ideas don't count.

    >>> from fillgen.engine.taste import taste
    >>> print(taste_text(taste([], {"motif": 1.8}), 0, RulePack()).splitlines()[0])
    Your taste, from 0 starred ideas in 0 searches; 0 ideas shown beside them were
    """
    searches = f"{taste.searches:,} search{'' if taste.searches == 1 else 'es'}"
    passed = (
        f"{many(taste.passed, 'idea')} shown beside them {'was' if taste.passed == 1 else 'were'} passed over"
    )
    paragraphs = [
        f"Your taste, from {many(taste.stars, 'starred idea')} in {searches}; {passed}.",
        _surely(taste),
        *([_set_aside(aside)] if aside else []),
    ]
    blocks = [wrapped(text, width, hang=0) for text in paragraphs]
    if taste.leanings:
        blocks += [_differences(taste.leanings, pack, width), _table(taste, width)]
    blocks.append(wrapped(_PRIVATE, width, hang=0))
    return "\n\n".join(blocks) + "\n"


_PRIVATE = (
    "This is worked out from the stars each time; it isn't stored, and nothing leaves this machine. "
    "fillgen book taste --forget starts afresh: the stars stay, but no longer count."
)


def _surely(taste: Taste) -> str:
    """How sure a taste is, and which ranking is used."""
    if taste.clarity is Clarity.TOO_FEW:
        need = f"{FEWEST_STARS} starred ideas from {FEWEST_SEARCHES} searches"
        return f"Too few stars: --taste needs at least {need}, and uses the default ranking until then."
    shares = (
        f"Weights learned without a search rank its starred ideas above {taste.hits:.0%} of the others there, the default "
        f"weights above {taste.usual_hits:.0%}; chance would be 50%."
    )
    ends = {
        Clarity.UNCLEAR: "No clear taste yet. {} That is too little to go by, so --taste uses the default ranking.",
        Clarity.USUAL: "You like what is ranked first anyway. {} So --taste uses the default ranking.",
        Clarity.CLEAR: "A clear taste. {} ideas --taste ranks by yours.",
    }
    return ends[taste.clarity].format(shares)


def _set_aside(aside: int) -> str:
    some = f"{many(aside, 'other starred idea')} {'is' if aside == 1 else 'are'}"
    return f"{some} left out, as you asked with --forget; fillgen book taste --recall counts all stars again."


def _differences(leanings: Sequence[Leaning], pack: RulePack, width: int) -> str:
    """What the starred ideas have clearly more or less of, most first, and in what they don't differ clearly."""
    clear = sorted((each for each in leanings if each.clear), key=lambda each: -abs(each.difference))
    lines = ["Your starred ideas have, on average (terms of the score, from 0 to 1)"] if clear else []
    for each in clear:
        says = pack.says(each.term).split(":")[0].rstrip(".")
        more = "more" if each.difference > 0 else "less"
        text = f"{more} `{each.term}`, {says[:1].lower()}{says[1:]}: {each.starred:.2f} against {each.passed:.2f}"
        lines += [wrapped(f"- {text}", width, depth=1)]
    rest = [f"`{each.term}`" for each in leanings if not each.clear]
    if rest:
        lines += [wrapped(f"No clear difference in {listed(rest, 'and')}.", width, hang=0)]
    return "\n".join(lines)


def _table(taste: Taste, width: int) -> str:
    """Each term with its means, the difference with its standard error, and its weight."""
    ranked = taste.clarity is Clarity.CLEAR
    head = f"{'term':10}{'starred':>9}{'others':>9}{'difference':>17}{'weight':>9}{'yours':>9}"
    lines = [
        f"{each.term:10}{each.starred:9.2f}{each.passed:9.2f}{_spreads(each):>17}{each.usual:9.2f}"
        f"{f'{each.weight:.2f}' if ranked else '-':>9}"
        for each in taste.leanings
    ]
    below = ["A weight below 0: less of it counts as better."] * any(
        each.weight < 0 for each in taste.leanings
    )
    note = "Differences are in standard deviations of the term in a search (± standard error)."
    return "\n".join([head, *lines, "", wrapped(" ".join([note, *below]), width, hang=0)])


def _spreads(each: Leaning) -> str:
    return f"{each.difference:+.2f} (±{each.error:.2f})"


def taste_document(taste: Taste, aside: int) -> dict[str, Any]:
    """A taste as plain values. Differences and their standard errors are in standard deviations within a search."""
    return {
        "clarity": taste.clarity.value,
        "starred": taste.stars,
        "passed_over": taste.passed,
        "searches": taste.searches,
        "set_aside": aside,
        "hits": taste.hits,
        "hits_by_default": taste.usual_hits,
        "weights": dict(taste.weights),
        "terms": [
            {
                "term": each.term,
                "starred": round(each.starred, 4),
                "passed_over": round(each.passed, 4),
                "difference": round(each.difference, 4),
                "error": round(each.error, 4),
                "default_weight": each.usual,
                "weight": each.weight,
            }
            for each in taste.leanings
        ],
    }
