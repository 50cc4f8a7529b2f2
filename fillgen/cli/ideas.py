"""The command `ideas`: the main job."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Annotated

from fillgen.app.contents import IDEAS, ideas_content, look_of, only_some
from fillgen.app.formats import JSON, Content, Target, targets_of
from fillgen.app.memory import fresh_ideas, keeps
from fillgen.app.options import (
    ONLY,
    RULES,
    TASTE,
    BookOptions,
    ChordOptions,
    IdeaOptions,
    Option,
    OutputOptions,
    PlayOptions,
    SheetOptions,
    given,
)
from fillgen.app.taste import by_taste
from fillgen.cli.inputs import pack_of, progression_of
from fillgen.cli.outputs import answer, check_printed, keep_in_book, note, say_older, width_of
from fillgen.cli.signature import grouped
from fillgen.engine.generate import generate
from fillgen.engine.request import Request, Weights
from fillgen.errors import OptionError, many
from fillgen.hands.playing import Playing, played_as
from fillgen.phrase.idea import Ideas
from fillgen.rules.pack import RulePack

EXPLAIN = Option(("--explain",), "Explain each note of an idea, and why it ranks where it does.", bool)
FRESH = Option(("--fresh",), "Only ideas you haven't been shown over these chords, in any key.", bool)


@grouped()
def ideas(
    *,
    chords: ChordOptions,
    options: IdeaOptions,
    only: Annotated[str | None, ONLY] = None,
    explain: Annotated[bool, EXPLAIN] = False,
    fresh: Annotated[bool, FRESH] = False,
    taste: Annotated[bool, TASTE] = False,
    playing: PlayOptions,
    output: OutputOptions,
    look: SheetOptions,
    book: BookOptions,
    rules: Annotated[Path | None, RULES] = None,
) -> None:
    """Fifty right-hand ideas over a chart, best first.

    Every idea keeps the rules of its level: chord notes on the strong beats, passing notes that go somewhere, and a
    last note from which the tune can begin.
    """
    check_printed(output)
    targets = targets_of(output, IDEAS, look)
    if explain and (output.format == JSON or any(target.ending != ".txt" for target in targets)):
        raise OptionError(
            "--explain needs text output", hint="Print it as text, or write it with -o to .txt."
        )
    pack = pack_of(rules)
    played = way_of(playing, pack, options, needed=bool(targets))
    remembers = keeps(book, fresh=fresh, taste=taste)
    request = Request.over(progression_of(chords, options.rhythm, pack), options, pack)

    def search(weights: Weights | None = None) -> Ideas:
        weighed = replace(request, weights=weights)
        return fresh_ideas(weighed, book.book) if fresh else generate(weighed)

    every = by_taste(search, book.book, pack) if taste else search()
    found = only_some(every, only)
    width, hint = width_of(targets), "" if targets else _hint(found)
    content = ideas_content(found, *played, look_of(look, playing, played[0]), width=width, hint=hint)
    if explain:
        content = replace(content, text=lambda: _explained(every, found, only, width))
    show_ideas(found, content, playing, output, targets)
    if remembers:
        asked = {**given(chords), **given(options), "fresh": fresh, "taste": taste}
        keep_in_book(found, book, command="ideas", options=asked, pack=pack, must=fresh)


def way_of(
    playing: PlayOptions, pack: RulePack, options: IdeaOptions, *, needed: bool
) -> tuple[Playing, dict[str, str]]:
    """How ideas are played, checked wherever anything is asked for; what's only printed needs no more than the usual."""
    if not needed and playing == PlayOptions() and options.purpose is None:
        return Playing(), {}
    return played_as(playing, pack, purpose=options.purpose, hand=options.hand)


def show_ideas(
    found: Ideas, content: Content, playing: PlayOptions, output: OutputOptions, targets: Sequence[Target]
) -> None:
    """Print ideas, or write them to the files asked for, and say what there is to say."""
    answer(content, targets, output, many(len(found), "idea"))
    say_older(targets, len(found), output)
    for remark in found.remarks if targets or output.format == JSON else ():
        note(remark)
    if any(target.ending in (".html", ".htm") for target in targets):
        _say_page(playing)


def _say_page(playing: PlayOptions) -> None:
    """What of the ways of playing a page leaves to the reader."""
    if playing.times > 1 or playing.feel != PlayOptions().feel or playing.second_set:
        note("the page plays each idea once, at one tempo, with one set of voicings; you can loop it there.")


_EXAMPLE = 3
"""The rank of the idea that the hint names, if there are as many."""


def _hint(found: Ideas) -> str:
    """How to see why an idea is among them."""
    ranks = [idea.rank for idea in found][:_EXAMPLE]
    return f"To see why an idea fits and ranks where it does: --only {ranks[-1]} --explain" if ranks else ""


def _explained(every: Ideas, found: Ideas, only: str | None, width: int) -> str:
    """Why the notes of each idea chosen may be where they are, and why it ranks there; of all ideas the first."""
    from fillgen.writers.checks import explain_text
    from fillgen.writers.lines import wrapped

    ranks = [idea.rank for idea in found] if only is not None else [1]
    texts = [explain_text(every, rank, width).rstrip() for rank in ranks]
    return "\n\n".join([*texts, *(wrapped(f"Note: {remark}", width) for remark in found.remarks)])
