"""What is asked for, read from the fields of a request: charts, settings, phrases and ideas. Files are never touched."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from fillgen.app import charts
from fillgen.app.options import ChordOptions, IdeaOptions
from fillgen.chart.progression import Progression
from fillgen.chart.text import MisreadChartError
from fillgen.engine.request import Request, lead_of, settle
from fillgen.errors import ChartError, FillgenError, OptionError, many
from fillgen.hands.fingering import best_of_many
from fillgen.hands.playing import Playing, check_second
from fillgen.hands.reach import reach
from fillgen.phrase.idea import Idea, Ideas
from fillgen.phrase.note import Phrase
from fillgen.phrase.text import check_phrase, parse_phrase
from fillgen.readers.melody import Sound
from fillgen.readers.phrases import Found, Reading, find_phrase
from fillgen.rules import judge
from fillgen.rules.pack import RulePack
from fillgen.server.fields import Fields
from fillgen.sound.listening import Heard, check_one_metre, written
from fillgen.theory.metre import TICKS
from fillgen.theory.pitch import pitch_of

MOST_BARS = 32
"""The longest chart of the page, in bars."""
MOST_IDEAS = 200
"""The most ideas of one request."""
MOST_WORK = 1600
"""The most bars of all ideas of one request together."""
LONGEST_CHART = 10_000
"""The longest chart and phrase of the page, in characters."""
_MOST_PLAYED = 2_000
"""The most notes that are taken down at once."""
_LATEST = 3600.0
"""The longest performance, in seconds."""
_LONGEST_TITLE = 200


# Charts


def progression_of(fields: Fields) -> Progression:
    """The progression of a chart, or of a stock sequence by name; ChartError says where the chart is wrong."""
    return _progression(fields.group(ChordOptions, longest=LONGEST_CHART))


def _progression(options: ChordOptions) -> Progression:
    try:
        found = charts.progression_of(options)
    except MisreadChartError as error:
        error.start, error.end = (
            _in_utf_16(options.chart or "", place) for place in (error.start, error.end)
        )
        raise
    if len(found.bars) > MOST_BARS:
        message = f"the chart has {len(found.bars)} bars; the page takes {MOST_BARS}"
        raise ChartError(message, hint="The command line takes longer charts.")
    return found


def _in_utf_16(text: str, place: int) -> int:
    """The place of a character as JavaScript counts: those beyond the first 65,536 count twice.

    >>> _in_utf_16("𝄞 Hm7", 2)
    3
    """
    return len(text[:place].encode("utf-16-le", "surrogatepass")) // 2


# Options of ideas


def idea_options(fields: Fields, usual: int) -> IdeaOptions:
    """The options of ideas, with another usual count; OptionError for more ideas than the page takes."""
    options = fields.group(IdeaOptions)
    for name, what in _PITCHES.items():
        value = getattr(options, name)
        if value is not None:
            pitch_of(value, what, place=name)
    if options.lead_to is not None:
        lead_of(options.lead_to, 0, place="lead_to")
    if not fields.has("count"):
        return replace(options, count=usual)
    if not 1 <= options.count <= MOST_IDEAS:
        hint = f"Ask for 1 to {MOST_IDEAS} ideas."
        raise OptionError(f"the count is {options.count}", place="count", hint=hint)
    return options


_PITCHES = {"low": "the lowest note", "high": "the highest note"}
"""The options that are pitches, so that a wrong one is said at its field."""


def check_work(count: int, bars: int) -> None:
    """OptionError where so many ideas over so many bars are more than one request may ask for."""
    if count * bars > MOST_WORK:
        hint = f"For {many(bars, 'bar')} the limit is {MOST_WORK // bars} ideas."
        raise OptionError(f"{count} ideas are too many for a chart this long", place="count", hint=hint)


def second_of(fields: Fields) -> Playing:
    """How ideas are shown and heard first: with a second voice where one is asked for."""
    second = fields.text("second")
    check_second(second)
    return Playing(second=second)


# Phrases


def reading_of(fields: Fields) -> Reading:
    """A phrase lined up with its chart: given as text, as the bytes of a file, or as it was played."""
    options, part = fields.group(ChordOptions, longest=LONGEST_CHART), fields.text("part")
    progression = _progression(options)
    reading = charts.aligned(_found(fields, progression, part, options.metre), options)
    if len(reading.progression.bars) > MOST_BARS + 1:
        raise OptionError(f"the phrase is too long; the page takes {MOST_BARS} bars", place="phrase")
    return reading


def _found(fields: Fields, progression: Progression, part: str | None, metre: str | None) -> Found:
    text = fields.text("phrase", LONGEST_CHART)
    file, played = fields.part("file"), fields.rows("played", _MOST_PLAYED)
    if sum(each is not None for each in (text, file, played)) != 1:
        raise OptionError(
            "give a phrase, a file or a recording", hint="A phrase is written like F5q. Eb5e D5h."
        )
    if played is not None:
        return _played(played, fields.whole("tempo"), progression)
    if file is not None:
        name, content = file.text("name") or "the file", file.content("content") or b""
        file.end()
        return _read(content, part, metre, name)
    return _read((text or "").encode(), part, metre, "")


def _read(content: bytes, part: str | None, metre: str | None, name: str) -> Found:
    """The melody in some bytes. They are handed over as standard input would be: no name of a file is looked at."""
    try:
        found = find_phrase("-", part=part, metre=metre, stdin=lambda: content)
    except FillgenError as error:
        error.place = _renamed(error.place, name)
        raise
    return replace(found, place=_renamed(found.place, name))


def _renamed(place: str, name: str) -> str:
    return place.replace("standard input", name).removeprefix(", ")


def _played(rows: Sequence[Fields], tempo: int | None, progression: Progression) -> Found:
    """Keys that were pressed, in seconds from the first beat of the chart, as a phrase on paper."""
    if tempo is None or not 20 <= tempo <= 400:
        raise OptionError("give a tempo from 20 to 400", place="tempo")
    check_one_metre(progression)
    sounds = [_sound(row, tempo) for row in rows]
    ordered = tuple(sorted(sounds, key=lambda sound: (sound.onset, sound.midi)))
    return written(Heard(ordered, progression.metre, tempo, len(progression.bars)))


def _sound(row: Fields, tempo: int) -> Sound:
    start, end = row.number("start", -_LATEST, _LATEST), row.number("end", -_LATEST, _LATEST)
    midi = row.whole("midi", 0, 127)
    row.end()
    if start is None or end is None or midi is None or not end > start or math.isclose(start, end):
        raise OptionError("a note needs midi, start and an end after the start", place="played")
    second = tempo * TICKS / 60
    return Sound(start * second, end * second, midi)


# Ideas that the page has


def ideas_of(fields: Fields, pack: RulePack) -> Ideas:
    """The ideas that a page shows, from what it knows of them: their chart and options, and a row with each's text."""
    progression = replace(progression_of(fields), first=_first(fields))
    rows = fields.rows("ideas", MOST_IDEAS)
    if not rows:
        raise OptionError("give at least one idea", place="ideas")
    check_work(len(rows), len(progression.bars))
    choices = settle(Request.over(progression, replace(fields.group(IdeaOptions), count=1), pack))
    hand = choices.hand or reach()
    phrases = [_phrase(row, progression) for row in rows]
    fingers = best_of_many([[note.midi for note in phrase] for phrase in phrases], hand)
    ideas = [
        _idea(number, row, phrase, own, progression)
        for number, (row, phrase, own) in enumerate(zip(rows, phrases, fingers, strict=True), 1)
    ]
    _check_ranks(ideas)
    return Ideas(
        progression,
        choices.rhythm.name,
        choices.level.number,
        choices.tempo,
        choices.rhythm.swing,
        choices.request.seed,
        len(ideas),
        tuple(ideas),
        hand=hand.size,
    )


def _first(fields: Fields) -> int:
    first = fields.whole("first", 0, 1)
    return 1 if first is None else first


def _phrase(row: Fields, progression: Progression) -> Phrase:
    text = row.text("text", LONGEST_CHART)
    if text is None:
        raise OptionError("give a phrase", place="text", hint="A phrase is written like F5q. Eb5e D5h.")
    phrase = parse_phrase(text, progression.timeline)
    check_phrase(progression, phrase)
    return phrase


def _idea(number: int, row: Fields, phrase: Phrase, fingers: Sequence[int], progression: Progression) -> Idea:
    rank, shape = row.whole("rank", 1, 10**6), row.text("shape", _LONGEST_TITLE)
    score = row.number("score", 0, 1)
    row.end()
    return judge.as_idea(
        progression, phrase, fingers, rank=rank or number, score=score or 0.0, shape=shape or ""
    )


def _check_ranks(ideas: Sequence[Idea]) -> None:
    ranks = [idea.rank for idea in ideas]
    if len(set(ranks)) < len(ranks):
        raise OptionError("two ideas have the same rank", place="ideas")
