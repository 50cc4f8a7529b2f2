"""The answers of a worker: the same functions as those of the command line, told as plain values for JSON."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from fillgen.chart.enrich import with_sevenths
from fillgen.chart.progression import Progression
from fillgen.chart.sequences import PURPOSES as STOCK_PURPOSES
from fillgen.chart.sequences import Sequence as Stock
from fillgen.chart.sequences import find, spelled, to_chord
from fillgen.chart.text import chart_text
from fillgen.engine.checked import CheckSettings, lowest_level
from fillgen.engine.generate import generate
from fillgen.engine.request import ENDS_ON, PURPOSES
from fillgen.errors import OptionError, did_you_mean, shorten
from fillgen.hands.reach import reach
from fillgen.page.data import Stage
from fillgen.phrase.idea import Ideas
from fillgen.phrase.remark import on_reading
from fillgen.readers.phrases import Reading
from fillgen.rules.pack import BUSY, RulePack
from fillgen.server import asked, bookshelf
from fillgen.server.fields import Fields
from fillgen.server.frames import JSON, Question, Reply
from fillgen.server.replies import document_reply, fields_of, lines_reply, staged
from fillgen.server.takeaway import taken_along
from fillgen.teaching.check import check
from fillgen.theory.chords import Chord, read_chord
from fillgen.theory.keys import read_key, read_metre
from fillgen.theory.pitch import Key, all_keys
from fillgen.vary import vary
from fillgen.vary.wish import NEAR, Wish, read_keep
from fillgen.version import __version__
from fillgen.writers.checks import check_document, check_text
from fillgen.writers.document import chart_document
from fillgen.writers.notes import notes_document
from fillgen.writers.sequences import sequences_document

_USUAL_IDEAS, _USUAL_VARIANTS = 50, 10
_HANDS = ("small", "medium", "large")
_PACK = RulePack()


# What there is to choose from


def _start(question: Question) -> Reply:
    """What the page's form offers, and with what it begins."""
    pack = _PACK
    rhythms = [pack.rhythm(name) for name in pack.rhythm_names]
    return document_reply(
        {
            "version": __version__,
            "chart": question.settings.get("chart") or "",
            "book": question.settings.get("book") is not None,
            "metres": list(asked.metres()),
            "keys": [str(key) for key in all_keys()],
            "rhythms": [
                {"name": each.name, "tempo": each.tempo, "metres": list(each.metres)} for each in rhythms
            ],
            "rhythm_of": {name: pack.rhythm_for(read_metre(name)) for name in asked.metres()},
            "levels": [{"number": number, "name": pack.level(number).name} for number in pack.level_numbers],
            "busy": list(BUSY),
            "shapes": list(pack.shapes),
            "for": list(PURPOSES),
            "sequences_for": list(STOCK_PURPOSES),
            "ends_on": list(ENDS_ON),
            "hands": list(_HANDS),
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
    key_text, metre, to = fields.text("key"), fields.text("metre"), fields.text("to")
    purpose, bars, sevenths = fields.text("for"), fields.whole("bars", 1, 512), fields.flag("sevenths")
    fields.end()
    key = read_key(key_text) if key_text is not None else None
    goal = read_chord(to) if to is not None else None
    in_metre = read_metre(metre) if metre is not None else None
    found = find(purpose, key.mode if key else None, bars, in_metre)
    if goal is not None:
        found = tuple(stock for stock in found if _can_lead(stock, goal, key))

    def played(stock: Stock, in_key: Key) -> Progression:
        shown = to_chord(stock, goal, key, in_metre) if goal is not None else spelled(stock, in_key, in_metre)
        return with_sevenths(shown) if sevenths else shown

    return document_reply(sequences_document(found, key, played))


def _can_lead(stock: Stock, goal: Chord, key: Key | None) -> bool:
    try:
        to_chord(stock, goal, key)
    except OptionError:
        return False
    return True


# Charts


def _chart(question: Question) -> Reply:
    """A chart as it is understood."""
    fields = fields_of(question)
    progression = asked.progression_of(fields)
    fields.end()
    usual = _PACK.rhythm(_PACK.rhythm_for(progression.metre))
    told = chart_document(progression, usual.tempo)
    return document_reply({"title": progression.title, "text": chart_text(progression), **told})


def _notes(question: Question) -> Reply:
    """Which notes fit the chord at a beat, and why; of all chords where no bar is named."""
    fields = fields_of(question)
    progression = asked.progression_of(fields)
    bar, beat = fields.whole("bar", 1, asked.MOST_BARS), fields.number("beat", 1, 13)
    fields.end()
    told = notes_document(progression)
    if bar is None:
        return document_reply(told)
    return document_reply({"chord": told["chords"][_chord_at(progression, bar, beat or 1.0)]})


def _chord_at(progression: Progression, bar: int, beat: float) -> int:
    """The number of the chord that sounds at a beat, among those that `notes_document` tells; both count from 1."""
    from fillgen.teaching.notefit import chord_notes  # noqa: PLC0415 - for this question only

    metre = progression.metre
    if bar > len(progression.bars) or beat >= metre.beats + 1:
        hint = f"There are {len(progression.bars)} bars of {metre.beats} beats."
        raise OptionError(f"there is no beat {beat:g} of bar {bar}", hint=hint)
    tick = (bar - 1) * metre.bar + round((beat - 1) * metre.beat)
    onsets = [told.span.onset for told in chord_notes(progression)]
    return sum(onset <= tick for onset in onsets) - 1


# Ideas


def _ideas(question: Question) -> Reply:
    """Ideas over a chart, a line each as they are engraved; they are remembered unless that is turned off."""
    fields = fields_of(question)
    progression = asked.progression_of(fields)
    request = asked.request_of(fields, progression, _PACK, _USUAL_IDEAS)
    fresh = fields.flag("fresh")
    fields.end()
    if fresh:
        return _shown(bookshelf.fresh_ideas(question, request), question, {"fresh": True})
    return _shown(generate(request), question, {})


def _shown(found: Ideas, question: Question, options: Mapping[str, Any]) -> Reply:
    """Ideas as lines: what they share, each with its number in the book, and what there is to say at the end."""
    numbers, remarks = bookshelf.remembered(question, found, options, _PACK)
    return lines_reply(staged(Stage(found), numbers, (*map(str, found.remarks), *remarks)))


def _vary(question: Question) -> Reply:
    """Variants of a phrase, as the command `vary` finds them."""
    fields = fields_of(question)
    reading = asked.reading_of(fields)
    wish = _wish(fields)
    request = asked.request_of(fields, reading.progression, _PACK, _USUAL_VARIANTS)
    fields.end()
    tempo = request.tempo if request.tempo is not None else reading.tempo
    found = vary(replace(request, tempo=tempo, closes=reading.whole), reading.notes, wish)
    told = replace(found, remarks=(*on_reading(reading.remarks), *found.remarks))
    return _shown(told, question, {"keep": list(wish.kept)})


def _wish(fields: Fields) -> Wish:
    bars = fields.wholes("keep", 0, asked.MOST_BARS, asked.MOST_BARS)
    parts = fields.words("keep_parts", 3) or ()
    key = fields.text("move_to")
    near = fields.text("near")
    if near is not None and near not in NEAR:
        raise OptionError(f"unknown nearness {shorten(near)}", place="near", hint=did_you_mean(near, NEAR))
    kept = [*(str(bar) for bar in bars or ()), *parts]
    return replace(
        read_keep(",".join(kept)) if kept else Wish(),
        mirror=fields.flag("mirror"),
        level_as=fields.whole("as", 1, 99),
        key=read_key(key) if key is not None else None,
        near=near or "",
    )


def _notation(question: Question) -> Reply:
    """Ideas that the page has, in another key."""
    fields = fields_of(question)
    ideas = asked.ideas_of(fields, _PACK)
    shift = fields.whole("shift", -5, 6)
    fields.end()
    stage = Stage(ideas)
    offered = stage.keys()
    if shift not in [key["shift"] for key in offered]:
        raise OptionError("these ideas cannot be moved there", place="shift")
    return document_reply(stage.look(shift or 0))


def _files(question: Question) -> Reply:
    """Ideas that the page has as a file to take along."""
    fields = fields_of(question)
    ideas = asked.ideas_of(fields, _PACK)
    kind, shift = fields.text("kind") or "", fields.whole("shift", -5, 6) or 0
    parts, title = fields.words("parts", 4), fields.text("title")
    fields.end()
    return taken_along(ideas, kind, shift, parts, title)


# Phrases of one's own


def _check(question: Question) -> Reply:
    """What fits and what does not in a phrase, as the command `check` says it."""
    fields = fields_of(question)
    reading = asked.reading_of(fields)
    level = fields.whatever("level")
    settings = _check_settings(fields, reading)
    fields.end()
    number = _level(level, reading, settings)
    report = check(reading.progression, reading.notes, _PACK.level(number), settings, pack=_PACK)
    report = replace(report, reading=reading.remarks)
    return document_reply({**check_document(report), "told": check_text(report, 72)})


def _check_settings(fields: Fields, reading: Reading) -> CheckSettings:
    tempo, hand, rhythm = fields.whole("tempo", 20, 400), fields.text("hand"), fields.text("rhythm")
    return CheckSettings(
        tempo=tempo if tempo is not None else reading.tempo,
        hand=reach(hand) if hand is not None else None,
        ends_on=fields.words("ends_on"),
        whole=reading.whole,
        lead_to=asked.pitch_of(fields, "lead_to"),
        low=asked.pitch_of(fields, "low"),
        high=asked.pitch_of(fields, "high"),
        swings=_PACK.rhythm(rhythm).swing if rhythm is not None else reading.swings,
    )


def _level(level: Any, reading: Reading, settings: CheckSettings) -> int:
    """The number of a level; for `auto` the lowest at which the phrase is right, the highest where it never is."""
    if level == "auto":
        lowest = lowest_level(reading.progression, reading.notes, _PACK, settings)
        return max(_PACK.level_numbers) if lowest is None else lowest
    if level is None:
        return int(_PACK.default("level"))
    if not isinstance(level, int) or isinstance(level, bool):
        known = ", ".join(map(str, _PACK.level_numbers))
        raise OptionError("a level is expected", place="level", hint=f"The levels are {known}, and auto.")
    return _PACK.level(level).number


# What the page is made of


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
