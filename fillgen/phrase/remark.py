"""Remarks about ideas."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from fillgen.errors import many


class RemarkKind(StrEnum):
    """What a remark is about, for callers; its text is for the player."""

    ALL_GIVEN = "all given"
    """Fewer ideas than requested, because the rules allow no more."""
    TOO_FEW = "too few"
    """Fewer ideas than requested, because no more were found."""
    ALIKE = "alike"
    """Some ideas are close to others."""
    LEAD = "lead"
    """Which note the phrase leads to, where its octave was left open."""
    LAST_CHORD = "last chord"
    """The chart doesn't lead on as an intro or a turnaround should."""
    ORDER = "order"
    """Which idea comes first, if that isn't the best."""
    PARTLY = "partly"
    """The request is met only in part."""
    RHYTHMS = "rhythms"
    """How many rhythms fit a row of pitches."""
    SPELLING = "spelling"
    """A key is written as another that sounds the same."""
    CHART = "chart"
    """How the chart was read."""
    READING = "reading"
    """How the player's phrase was read."""
    MEMORY = "memory"
    """What was shown before, and what is left."""
    TASTE = "taste"
    """Whether the player's stars rank the ideas, and if not, why."""


FEWER = frozenset({RemarkKind.ALL_GIVEN, RemarkKind.TOO_FEW})
"""The kinds of remarks on fewer ideas than requested."""
ALL_IDEAS = FEWER | {RemarkKind.ALIKE}
"""The kinds of remarks that mean all ideas found, not only those shown."""


@dataclass(frozen=True, slots=True)
class Remark:
    """Something to say about ideas, as a sentence, with its kind.

    >>> str(Remark(RemarkKind.ORDER, "The nearest come first."))
    'The nearest come first.'
    """

    kind: RemarkKind
    text: str

    def __str__(self) -> str:
        return self.text


def on_count(asked: int, phrases: int, shown: int, apart: int) -> tuple[Remark, ...]:
    """Why there are fewer ideas than requested, or why some are alike; nothing if neither is the case.

    `phrases` is how many the rules allow, `apart` how many of those shown keep their distance.

    >>> [str(remark) for remark in on_count(50, 900, 1, 1)]
    ['1 idea was found; you asked for 50.']
    """
    if shown == phrases < asked:
        return (
            Remark(
                RemarkKind.ALL_GIVEN,
                f"The rules allow {many(phrases, 'phrase')} here; these are all of them.",
            ),
        )
    if shown < asked:
        were = "was" if shown == 1 else "were"
        return (Remark(RemarkKind.TOO_FEW, f"{many(shown, 'idea')} {were} found; you asked for {asked}."),)
    if apart < shown:
        few = f"Of the {shown} ideas {'one is' if apart == 1 else f'{apart} are'} clearly apart"
        return (Remark(RemarkKind.ALIKE, f"{few}; the rest are close to one of these."),)
    return ()


def on_chart(sentences: Iterable[str]) -> tuple[Remark, ...]:
    """What there is to say about how a chart was read."""
    return tuple(Remark(RemarkKind.CHART, sentence) for sentence in sentences)


def on_reading(sentences: Iterable[str]) -> tuple[Remark, ...]:
    """What there is to say about how a phrase was read."""
    return tuple(Remark(RemarkKind.READING, sentence) for sentence in sentences)
