"""The answers of a worker: the same functions as those of the command line, as plain values for JSON."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from typing import Any

from fillgen.app.checking import report_on
from fillgen.app.contents import in_two_voices
from fillgen.app.options import CheckOptions, PlayOptions, SequenceOptions, SheetOptions, VaryOptions, given
from fillgen.app.sequences import found_sequences
from fillgen.app.varying import variants
from fillgen.chart.progression import Progression
from fillgen.chart.sequences import PURPOSES as STOCK_PURPOSES
from fillgen.chart.sequences import find
from fillgen.chart.text import chart_text
from fillgen.engine.generate import generate
from fillgen.engine.request import ENDS_ON, PURPOSES, Request, Weights
from fillgen.errors import OptionError
from fillgen.hands.playing import SECONDS, Playing
from fillgen.hands.reach import SIZES
from fillgen.page.data import Stage
from fillgen.phrase.idea import Ideas
from fillgen.rules import judge
from fillgen.rules.pack import BUSY, RulePack
from fillgen.server import asked, bookshelf
from fillgen.server.frames import JSON, Question, Reply
from fillgen.server.replies import document_reply, fields_of, lines_reply, staged
from fillgen.server.takeaway import taken_along
from fillgen.teaching.check import Report
from fillgen.teaching.sentences import reasons
from fillgen.theory.keys import read_metre
from fillgen.theory.metre import METRES
from fillgen.theory.pitch import all_keys, blues_keys
from fillgen.vary.variation import NEAR
from fillgen.version import __version__
from fillgen.writers.checks import check_document, check_text
from fillgen.writers.document import chart_document
from fillgen.writers.notes import notes_document
from fillgen.writers.sequences import sequences_document

_USUAL_IDEAS, _USUAL_VARIANTS = 50, 10
_PACK = RulePack()


# Choices


def _start(question: Question) -> Reply:
    """What the page's form offers, and its initial values."""
    pack = _PACK
    rhythms = [pack.rhythm(name) for name in pack.rhythm_names]
    return document_reply(
        {
            "version": __version__,
            "chart": question.settings.get("chart") or "",
            "book": question.settings.get("book") is not None,
            "metres": list(METRES),
            "keys": [str(key) for key in (*all_keys(), *blues_keys())],
            "rhythms": [
                {"name": each.name, "tempo": each.tempo, "metres": list(each.metres)} for each in rhythms
            ],
            "rhythm_of": {name: pack.rhythm_for(read_metre(name)) for name in METRES},
            "levels": [{"number": number, "name": pack.level(number).name} for number in pack.level_numbers],
            "busy": list(BUSY),
            "shapes": list(pack.shapes),
            "for": list(PURPOSES),
            "sequences_for": list(STOCK_PURPOSES),
            "ends_on": list(ENDS_ON),
            "hands": list(SIZES),
            "seconds": list(SECONDS),
            "near": list(NEAR),
            "usual": {
                "level": pack.default("level"),
                "busy": pack.default("busy"),
                "count": _USUAL_IDEAS,
                "hand": "medium",
            },
            "most": {"bars": asked.MOST_BARS, "ideas": asked.MOST_IDEAS, "bars_of_all": asked.MOST_WORK},
        }
    )


def _sequences(_: Question) -> Reply:
    """All stock sequences, in C and A minor."""
    return document_reply(sequences_document(find()))


def _sequences_find(question: Question) -> Reply:
    """Stock sequences, as the command `sequences` finds them."""
    fields = fields_of(question)
    options = fields.group(SequenceOptions)
    fields.end()
    listed = found_sequences(options)
    return document_reply(sequences_document(listed.found, listed.key, listed.played))


# Charts


def _chart(question: Question) -> Reply:
    """A chart as fillgen reads it."""
    fields = fields_of(question)
    progression = asked.progression_of(fields)
    fields.end()
    usual = _PACK.rhythm(_PACK.usual_rhythm(progression))
    document = chart_document(progression, usual.tempo)
    return document_reply(
        {"title": progression.title, "text": chart_text(progression), "rhythm": usual.name, **document}
    )


def _notes(question: Question) -> Reply:
    """Which notes fit the chord at a beat, and why; of all chords where no bar is named."""
    fields = fields_of(question)
    progression = asked.progression_of(fields)
    bar, beat = fields.whole("bar", 1, asked.MOST_BARS), fields.number("beat", 1, 13)
    fields.end()
    document = notes_document(progression)
    if bar is None:
        return document_reply(document)
    return document_reply({"chord": document["chords"][_chord_at(progression, bar, beat or 1.0)]})


def _chord_at(progression: Progression, bar: int, beat: float) -> int:
    """The number of the chord that sounds at a beat, among those that `notes_document` tells; both count from 1."""
    from fillgen.teaching.notefit import chord_notes  # noqa: PLC0415 - for this question only

    metre = progression.metre_of(bar - 1)
    if bar > len(progression.bars) or beat >= metre.beats + 1:
        hint = f"There are {len(progression.bars)} bars; bar {bar} has {metre.beats} beats."
        if not progression.metres:
            hint = f"There are {len(progression.bars)} bars of {metre.beats} beats."
        raise OptionError(f"bar {bar} has no beat {beat:g}", hint=hint)
    tick = progression.start_of(bar - 1) + round((beat - 1) * metre.beat)
    onsets = [each.span.onset for each in chord_notes(progression)]
    return sum(onset <= tick for onset in onsets) - 1


# Ideas


def _ideas(question: Question) -> Reply:
    """Ideas over a chart, a line each as they are engraved; they are remembered unless that is turned off."""
    fields = fields_of(question)
    progression = asked.progression_of(fields)
    options, fresh = asked.idea_options(fields, _USUAL_IDEAS), fields.flag("fresh")
    taste, playing, example = fields.flag("taste"), asked.second_of(fields), fields.flag("example")
    fields.end()
    asked.check_work(options.count, len(progression.bars))
    request = Request.over(progression, options, _PACK)

    def search(weights: Weights | None = None) -> Ideas:
        weighed = replace(request, weights=weights)
        return bookshelf.fresh(question, weighed) if fresh else generate(weighed)

    found = bookshelf.by_taste(question, search, _PACK) if taste else search()
    if example:  # nobody asked for these
        return lines_reply(staged(Stage(in_two_voices(found, playing), playing), (), ()))
    return _shown(found, question, playing, {**given(options), "fresh": fresh, "taste": taste})


def _shown(found: Ideas, question: Question, playing: Playing, options: Mapping[str, Any]) -> Reply:
    """Ideas as lines: what they share, each with its number in the book, and what there is to say at the end."""
    numbers, remarks = bookshelf.remembered(question, found, options, _PACK)
    stage = Stage(in_two_voices(found, playing), playing)
    return lines_reply(staged(stage, numbers, (*map(str, found.remarks), *remarks)))


def _vary(question: Question) -> Reply:
    """Variants of a phrase, as the command `vary` finds them."""
    fields = fields_of(question)
    reading = asked.reading_of(fields)
    varying = fields.group(VaryOptions)
    options, taste = asked.idea_options(fields, _USUAL_VARIANTS), fields.flag("taste")
    playing = asked.second_of(fields)
    fields.end()
    asked.check_work(options.count, len(reading.progression.bars))
    search = partial(variants, reading, varying, options, _PACK)
    found = bookshelf.by_taste(question, search, _PACK) if taste else search()
    return _shown(found, question, playing, {**given(varying), **given(options), "taste": taste})


def _shown_again(question: Question) -> Reply:
    """Ideas that a page had, as lines like new ones."""
    fields = fields_of(question)
    ideas, playing = asked.ideas_of(fields, _PACK), asked.second_of(fields)
    fields.end()
    return lines_reply(staged(Stage(in_two_voices(ideas, playing), playing), (), ()))


def _why(question: Question) -> Reply:
    """Why each note of some ideas fits, in words."""
    fields = fields_of(question)
    ideas = asked.ideas_of(fields, _PACK)
    fields.end()
    return document_reply({"why": [reasons(ideas.progression, idea.phrase) for idea in ideas]})


def _notation(question: Question) -> Reply:
    """Ideas that the page has, in another key."""
    fields = fields_of(question)
    ideas = asked.ideas_of(fields, _PACK)
    shift, playing = fields.whole("shift", -5, 6), asked.second_of(fields)
    fields.end()
    stage = Stage(in_two_voices(ideas, playing), playing)
    offered = stage.keys()
    if shift not in [key["shift"] for key in offered]:
        raise OptionError("these ideas can't be transposed that far", place="shift")
    return document_reply(stage.look(shift or 0))


def _files(question: Question) -> Reply:
    """Ideas of the page as a file to download."""
    fields = fields_of(question)
    ideas = asked.ideas_of(fields, _PACK)
    ending, shift = fields.text("ending") or "", fields.whole("shift", -5, 6) or 0
    playing, look = fields.group(PlayOptions), fields.group(SheetOptions)
    fields.end()
    return taken_along(ideas, ending, shift, playing, look)


# Phrases of one's own


def _check(question: Question) -> Reply:
    """What clashes and what works in a phrase, as the command `check` says it."""
    fields = fields_of(question)
    reading = asked.reading_of(fields)
    options = fields.group(CheckOptions)
    fields.end()
    report = report_on(reading, options, _PACK)
    document = {**check_document(report), "summary": check_text(report, 72)}
    return document_reply({**document, **_as_notation(report)})


def _as_notation(report: Report) -> dict[str, Any]:
    """A checked phrase as the page shows ideas, followed by the mended phrase if there is one."""
    own = judge.as_idea(
        report.progression, tuple(each.note for each in report.notes), [each.finger for each in report.notes]
    )
    mended = [judge.as_idea(report.progression, report.mend.notes, rank=2)] if report.mend else []
    ideas = (own, *mended)
    rhythm = _PACK.rhythm(_PACK.usual_rhythm(report.progression))
    tempo = report.tempo or rhythm.tempo
    found = Ideas(report.progression, rhythm.name, report.level, tempo, rhythm.swing, 0, len(ideas), ideas)
    stage = Stage(found)
    return {"whole": stage.whole(), "drawn": stage.some(stage.ideas.ideas)}


# Assets


def _bank(_: Question) -> Reply:
    from fillgen.page.voices import bank_text  # noqa: PLC0415 - the synthesizer is loaded for this only

    return Reply(JSON, [bank_text().encode()])


def _music_font(_: Question) -> Reply:
    from fillgen.page import ASSETS, asset  # noqa: PLC0415

    return Reply(ASSETS["music-font.css"], [asset("music-font.css")])


ANSWERS: Mapping[str, Callable[[Question], Reply]] = {
    "start": _start,
    "sequences": _sequences,
    "sequences-find": _sequences_find,
    "chart": _chart,
    "ideas": _ideas,
    "vary": _vary,
    "shown": _shown_again,
    "why": _why,
    "notation": _notation,
    "notes": _notes,
    "check": _check,
    "files": _files,
    "book": bookshelf.about,
    "book-search": bookshelf.search,
    "book-open": bookshelf.opened,
    "book-change": bookshelf.change,
    "book-files": bookshelf.files,
    "bank": _bank,
    "music-font": _music_font,
}
"""The answers by name."""
