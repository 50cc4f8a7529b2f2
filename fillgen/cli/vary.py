"""The command `vary`."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Annotated

from fillgen.app.charts import chosen
from fillgen.app.contents import IDEAS, ideas_content, look_of, only_some
from fillgen.app.formats import targets_of
from fillgen.app.memory import keeps
from fillgen.app.options import (
    FIRST_NOTE_ON,
    LAST,
    ONLY,
    PART,
    PHRASE,
    RULES,
    TASTE,
    BookOptions,
    ChordOptions,
    IdeaOptions,
    OutputOptions,
    PlayOptions,
    SheetOptions,
    VaryOptions,
    given,
)
from fillgen.app.taste import by_taste
from fillgen.app.varying import variants
from fillgen.cli.ideas import show_ideas, way_of
from fillgen.cli.inputs import (
    hints_of,
    names_a_phrase,
    own_phrase,
    pack_of,
    progression_of,
    refuse_part,
    with_phrase,
)
from fillgen.cli.outputs import check_printed, keep_in_book, width_of
from fillgen.cli.signature import PHRASES_OWN, PLAYED_PLAINLY, grouped
from fillgen.engine.generate import generate
from fillgen.engine.request import Request
from fillgen.errors import OptionError
from fillgen.phrase.text import phrase_text
from fillgen.readers.phrases import Reading
from fillgen.rules.pack import RulePack


@grouped(
    usual=(IdeaOptions(count=10),),
    without=("purpose",),
    defaults={**PHRASES_OWN, **PLAYED_PLAINLY, "level": "the lowest that the phrase fits, from 3 up"},
)
def vary(
    *,
    chords: ChordOptions,
    phrase: Annotated[str | None, PHRASE] = None,
    varying: VaryOptions,
    options: IdeaOptions,
    only: Annotated[str | None, ONLY] = None,
    part: Annotated[str | None, PART] = None,
    first_note_on: Annotated[float | None, FIRST_NOTE_ON] = None,
    last: Annotated[bool, LAST] = False,
    taste: Annotated[bool, TASTE] = False,
    playing: PlayOptions,
    output: OutputOptions,
    look: SheetOptions,
    book: BookOptions,
    rules: Annotated[Path | None, RULES] = None,
) -> None:
    """Keep part of a phrase and vary the rest; invert it, transpose it, make it easier or harder, or answer it.

    The phrase is given after its chart, or as the number of an idea in the idea book (with --last: its rank in what was
    shown last). With a chart alone, --only 3 varies the third idea that fillgen ideas finds over it with the same options.
    """
    check_printed(output)
    targets = targets_of(output, IDEAS, look)
    pack = pack_of(rules)
    played = way_of(playing, pack, options, needed=bool(targets))
    remembers = keeps(book, taste=taste)
    hints = hints_of(options.tempo, first_note_on)
    chords, phrase = with_phrase(chords, phrase)
    if phrase is None and only is not None and not last and not names_a_phrase(chords.chart):
        refuse_part(part, hints)
        reading, only = _idea_of_chart(chords, only, options, pack), None
    else:
        reading = own_phrase(
            chords, phrase, part, book, last=last, rhythm=options.rhythm, pack=pack, hints=hints
        )
    search = partial(variants, reading, varying, options, pack)
    every = by_taste(search, book.book, pack) if taste else search()
    found = only_some(every, only)
    original = phrase_text(reading.notes, reading.progression)
    content = ideas_content(
        found, *played, look_of(look, playing, played[0]), width=width_of(targets), original=original
    )
    show_ideas(found, content, playing, output, targets)
    if remembers:
        asked = {**given(varying), **given(options), "taste": taste}
        shown = replace(found, remarks=())
        keep_in_book(shown, book, command="vary", options=asked, pack=pack)


def _idea_of_chart(chords: ChordOptions, only: str, options: IdeaOptions, pack: RulePack) -> Reading:
    """The idea of that rank, as fillgen ideas finds it over a chart with the same options."""
    asked = replace(options, count=IdeaOptions().count)
    found = generate(Request.over(progression_of(chords, options.rhythm, pack), asked, pack))
    ideas = chosen(found.ideas, only)
    if len(ideas) != 1:
        raise OptionError(f"--only {only} names {len(ideas)} ideas", hint="Name the one to vary.")
    remarks = (f"Variants of idea {ideas[0].rank}, seed {options.seed}.",)
    return Reading(
        found.progression, ideas[0].phrase, found.tempo, "", remarks, whole=True, swings=found.swing
    )
