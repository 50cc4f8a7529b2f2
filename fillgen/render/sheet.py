"""Sheets of music: ideas engraved one under another, as SVG, a web page, PDF, MusicXML or MEI."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import accumulate, pairwise
from pathlib import Path
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from fillgen.arrange import left_paths, swing_of
from fillgen.chords import Tone
from fillgen.errors import OptionError, OutputError, did_you_mean, printable, shorten
from fillgen.metre import TICKS
from fillgen.music import IdeaNote, Ideas, Progression, spell
from fillgen.notation import Chunk, Score, ScoreBar, Symbol, Written, ids_of, written
from fillgen.render.engraver import FONT, TALLEST, UNITS, Drawing, as_mei, bar_widths, engraved, font_css
from fillgen.render.files import write_file
from fillgen.render.mei import signed, to_mei
from fillgen.render.musicxml import beat_words, score_bytes, tempo_direction, whole_ratio, with_sections

if TYPE_CHECKING:
    from fillgen.practice import Lesson
    from fillgen.scores import Tune
    from fillgen.tune import Piece

WIDE, NARROW = 2100, 1000
"""The width of a sheet and of one for a small screen, in units of the engraver (2.5 to a pixel)."""
PAPERS = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
"""Paper sizes in points, 72 to the inch (ISO 216; ANSI Y14.1)."""
KINDS = {
    ".svg": "svg",
    ".pdf": "pdf",
    ".html": "html",
    ".htm": "html",
    ".musicxml": "musicxml",
    ".xml": "musicxml",
    ".mei": "mei",
}
"""What a sheet can be written as, by the ending of its name."""
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_-]*")
_GRID = TICKS // 4


@dataclass(frozen=True)
class Entry:
    """What is engraved: a phrase over its chords, with what stands over it.

    `name` begins all ids of its picture: a letter, then letters, digits, - and _. `heading` is a few words such as
    the rank and the shape. `tempo` is in quarter notes a minute, `swing` the ratio of first eighth to second. Where
    the progression's first bar is numbered 0 it holds a pick-up, and is written short. `source` is MusicXML that is
    engraved as it stands, in the place of the notes. OptionError for another name.
    """

    name: str
    progression: Progression
    notes: tuple[IdeaNote, ...]
    heading: str = ""
    rhythm: str = ""
    tempo: int = 120
    swing: float = 1.0
    source: str = ""

    def __post_init__(self) -> None:
        if not _NAME.fullmatch(self.name):
            hint = "It begins with a letter and has letters, digits, - and _ only."
            raise OptionError(f"{shorten(self.name)} is no name for a picture", hint=hint)


@dataclass(frozen=True, slots=True)
class Settings:
    """How a sheet looks. `staves` is 2 where the left hand stands below, which reaches `span` semitones.

    `note_names` puts the names under the notes, `fingers` the fingers above them; `paper` is a4 or letter; without a
    `title` the progression's is taken. OptionError where a setting is outside what is offered.
    """

    staves: int = 1
    note_names: bool = False
    fingers: bool = True
    paper: str = "a4"
    span: int = 12
    title: str = ""

    def __post_init__(self) -> None:
        if self.staves not in (1, 2):
            raise OptionError(f"{self.staves} staves", hint="Give 1, or 2 for the left hand as well.")
        if self.paper not in PAPERS:
            raise OptionError(f"unknown paper {shorten(self.paper)}", hint=did_you_mean(self.paper, PAPERS))


USUAL = Settings()


def entries_of(ideas: Ideas, swing: float | None = None) -> tuple[Entry, ...]:
    """The ideas of an answer as entries named `idea-1`, `idea-2` and so on by rank.

    >>> import fillgen
    >>> [entry.heading for entry in entries_of(fillgen.ideas("| C | G7 |", count=1, shape="arch"))]
    ['1 · arch']
    """
    ratio = swing_of(ideas, swing)
    return tuple(
        Entry(
            f"idea-{idea.rank}",
            ideas.progression,
            idea.notes,
            " · ".join(filter(None, [str(idea.rank), idea.shape])),
            ideas.rhythm,
            ideas.tempo,
            ratio,
        )
        for idea in ideas
    )


def lesson_entries(lesson: Lesson, swing: float = 1.0) -> tuple[Entry, ...]:
    """The phrases of a lesson as entries named by step and place, such as `step-2-1`."""
    return tuple(
        Entry(
            f"step-{number}-{place}",
            lesson.progression,
            phrase.notes,
            f"{step.name} · {phrase.name}",
            lesson.rhythm,
            lesson.tempo,
            swing,
        )
        for number, step in enumerate(lesson.steps, 1)
        for place, phrase in enumerate(step.phrases, 1)
    )


def tune_entry(piece: Piece, tune: Tune, swing: float | None = None, number: int = 1) -> Entry:
    """A tune with its intro and ending as an entry, engraved from its own score."""
    from fillgen.render.tunes import tune_musicxml  # noqa: PLC0415 - what writes tunes loads MIDI as well

    ideas = piece.ideas
    score = tune_musicxml(piece, tune, swing=swing)
    ratio = swing_of(ideas, swing)
    mark = tempo_direction(ideas.tempo, ratio, tune.metre) if piece.intro else None
    return Entry(
        f"tune-{number}",
        ideas.progression,
        piece.idea.notes,
        "",
        ideas.rhythm,
        ideas.tempo,
        ratio,
        with_sections(score, *_sections(piece, tune), mark).decode(),
    )


def _sections(piece: Piece, tune: Tune) -> tuple[dict[int, str], list[str]]:
    """The measures of a tune's score at which intro, tune and ending start, and what all its measures are called."""
    bar = tune.metre.bar
    before = piece.first if piece.intro else 0
    after = len(piece.ideas.progression.bars) - piece.last if piece.ending else 0
    intro = [bar] * (before - 1) + [bar - tune.pickup] if before else []
    filler = [tune.shortage] if tune.shortage and after else []
    lengths = [*intro, *tune.measures, *filler, *[bar] * after]
    starts = {0: "Intro", before: "Tune"} if before else {0: "Tune"}
    if after:
        starts[len(lengths) - after] = "Ending"
    return starts, list(_numbers(lengths, 0 if before else -tune.pickup % bar, bar))


def _numbers(lengths: Sequence[int], at: int, bar: int) -> Iterator[str]:
    """The numbers of measures of these lengths; one that begins within a bar, as a pick-up does, is not counted.

    >>> list(_numbers([1440, 1440, 960, 480, 1440], 0, 1440)), list(_numbers([480, 1440], 960, 1440))
    (['1', '2', '3', 'X3', '4'], ['0', '1'])
    """
    number = 0
    for length in lengths:
        number += at % bar == 0
        yield str(number) if at % bar == 0 else f"X{number}" if number else "0"
        at += length


# Scores


def score_of(entry: Entry, settings: Settings = USUAL) -> Score:
    """An entry as it is written down; OutputError where a note is too short for any sign."""
    progression, bar = entry.progression, entry.progression.metre.bar
    lead = _lead(entry)
    whole = progression.bars[1:] if lead == bar else progression.bars
    lengths = [bar - lead % bar] + [bar] * (len(whole) - 1)
    try:
        lines = [_right(entry, settings, lead, lengths)]
        if settings.staves == 2:
            lines.append(_left(entry, settings, lead, lengths))
    except (ValueError, KeyError) as error:
        told = "has notes too short to be written"
        raise OutputError(told, place=entry.heading or entry.name) from error
    first = progression.first + (lead == bar)
    bars = []
    at = lead
    for number, (length, spans, *staves) in enumerate(zip(lengths, whole, *lines, strict=True)):
        chords = tuple(
            (max(0, span.onset - at), span.chord)
            for span in spans
            if span.end > at and not (first + number == 0 and span.chord.root is None)
        )
        bars.append(ScoreBar(first + number, length, tuple(staves), chords))
        at += length
    heading = printable(entry.heading)
    return Score(
        entry.name, progression.metre, progression.key, tuple(bars), heading, entry.tempo, entry.swing
    )


def _lead(entry: Entry) -> int:
    """The ticks by which the first bar is shortened: what is silent before a pick-up, a whole bar where all is."""
    if entry.progression.first != 0 or not entry.notes:
        return 0
    first = min(told.note.onset for told in entry.notes)
    first -= first % _GRID and first % TICKS
    return min(first, entry.progression.metre.bar)


def _names(entry: Entry) -> Sequence[str]:
    """The scientific names of the notes, found here where an entry has none."""
    if all(told.name for told in entry.notes):
        return [told.name for told in entry.notes]
    return spell(entry.progression, tuple(told.note for told in entry.notes))


def _right(entry: Entry, settings: Settings, lead: int, lengths: Sequence[int]) -> list[tuple[Written, ...]]:
    """The bars of the right hand, with ids, fingers and names."""
    progression, names = entry.progression, _names(entry)
    chunks = [
        Chunk(told.note.onset - lead, told.note.length, (name,))
        for told, name in zip(entry.notes, names, strict=True)
    ]
    bars = written(chunks, progression.metre, progression.key, lengths, pickup=lead > 0)
    ids = ids_of(bars, f"{entry.name}-n")
    told = iter(entry.notes)
    found = []
    for symbols, row in zip(bars, ids, strict=True):
        line = []
        for symbol, name in zip(symbols, row, strict=True):
            begins = not symbol.is_rest and not symbol.tied_from
            finger = next(told).finger if begins else 0
            shown = signed(symbol.names[0].rstrip("-0123456789")) if begins and settings.note_names else ""
            line.append(Written(symbol, name, finger if settings.fingers else 0, shown))
        found.append(tuple(line))
    return found


def _left(entry: Entry, settings: Settings, lead: int, lengths: Sequence[int]) -> list[tuple[Written, ...]]:
    """The bars of the left hand: chords held as long as they last, by the best way through them."""
    progression = entry.progression
    below = min((told.note.midi for told in entry.notes), default=127)
    chunks = [
        Chunk(max(0, onset - lead), length - max(0, lead - onset), names)
        for onset, length, names in _voiced(progression, below, settings.span)
        if onset + length > lead
    ]
    bars = written(chunks, progression.metre, progression.key, lengths, pickup=lead > 0)
    ids = ids_of(bars, f"{entry.name}-c")
    return [tuple(map(Written, symbols, row)) for symbols, row in zip(bars, ids, strict=True)]


@lru_cache(maxsize=256)
def _voiced(progression: Progression, below: int, span: int) -> tuple[tuple[int, int, tuple[str, ...]], ...]:
    """The left hand's chords under a pitch: tick, ticks and the names of the keys, none where it is silent."""
    path = left_paths(progression, below, span)[0]
    return tuple(
        (chord.onset, chord.length, tuple(_key_names(voicing.tones, voicing.pitches)))
        for chord, voicing in zip(progression.spans, path.voicings, strict=True)
        if voicing is not None
    )


def _key_names(tones: Sequence[Tone], pitches: Sequence[int]) -> list[str]:
    return [tone.name.at(midi) for tone, midi in zip(tones, pitches, strict=True)]


def note_ids(entry: Entry) -> tuple[tuple[str, ...], ...]:
    """For each note of an entry the ids of its written parts in the picture, of which a tied note has several."""
    found: dict[str, list[str]] = {}
    for bar in score_of(entry).bars:
        for each in bar.staves[0]:
            if each.id:
                found.setdefault(each.id.removeprefix(f"{entry.name}-n").partition("t")[0], []).append(
                    each.id
                )
    return tuple(map(tuple, found.values()))


# Words


_LENGTHS = {"w": "whole", "h": "half", "q": "quarter", "e": "eighth", "s": "sixteenth"}
_SPOKEN = {"♭": " flat ", "♯": " sharp ", "♮": " natural "}


def in_words(entry: Entry) -> str:
    """A phrase in words, bar by bar, for those who cannot see it.

    >>> from fillgen.music import Note
    >>> from fillgen.parse import parse_chart
    >>> note = IdeaNote(1, Note(0, 720, 75), "Eb5", "", "")
    >>> in_words(Entry("a", parse_chart("| Cm7 |"), (note,)))
    'Bar 1, chord Cm7: E flat 5 dotted quarter, eighth rest, half rest.'
    """
    if entry.source:
        title = entry.progression.title or "A tune"
        return f"{title}, {len(entry.progression.bars)} bars, with chord symbols."
    return " ".join(map(_bar_in_words, score_of(entry).bars))


def _bar_in_words(bar: ScoreBar) -> str:
    chords = ", ".join(_spoken(chord.symbol) for _, chord in bar.chords)
    where = "Pick-up" if bar.number == 0 else f"Bar {bar.number}"
    over = f", {'chords' if len(bar.chords) > 1 else 'chord'} {chords}" if chords else ""
    notes: list[str] = []
    for each in bar.staves[0]:
        if each.symbol.tied_from and notes:
            notes[-1] += f" and {_length_in_words(each.symbol)}"
        else:
            notes.append(_symbol_in_words(each.symbol))
    return f"{where}{over}: {', '.join(notes)}."


def _spoken(name: str) -> str:
    return " ".join("".join(_SPOKEN.get(letter, letter) for letter in signed(name)).split())


def _symbol_in_words(symbol: Symbol) -> str:
    if symbol.is_rest:
        return f"{_length_in_words(symbol)} rest"
    octave = symbol.names[0].lstrip("ABCDEFG#b")
    held = " held" if symbol.tied_from else ""
    return f"{_spoken(symbol.names[0].rstrip('-0123456789'))} {octave}{held} {_length_in_words(symbol)}"


def _length_in_words(symbol: Symbol) -> str:
    if symbol.letters == "bar":
        return "whole bar"
    word = _LENGTHS[symbol.letters[0]]
    return f"{'dotted ' * symbol.letters.endswith('.')}{'triplet ' * symbol.is_triplet}{word}"


def about(entry: Entry, *, counted: bool = False) -> str:
    """Key, metre, rhythm, tempo and swing of an entry in a line; the tempo in beats a minute where it is `counted`.

    >>> from fillgen.parse import parse_chart
    >>> about(Entry("a", parse_chart("| Eb | Bb7 |", key="Eb"), (), "", "swing", 120, 2.0))
    'E♭ major, 4/4, swing, 120 quarter notes a minute, eighths swung 2:1'
    >>> about(Entry("a", parse_chart("| Dm | A7 |", metre="12/8"), (), "", "slow 6/8", 84), counted=True)
    'D minor, 12/8, slow 6/8, dotted quarter = 56'
    """
    key = entry.progression.key
    parts = [f"{signed(str(key.tonic))} {key.mode}", entry.progression.metre.name]
    parts += [entry.rhythm] if entry.rhythm else []
    metre = entry.progression.metre
    parts.append(beat_words(entry.tempo, metre) if counted else f"{entry.tempo} quarter notes a minute")
    if entry.swing > 1:
        first, second = whole_ratio(entry.swing)
        parts.append(f"eighths swung {first}:{second}")
    return printable(", ".join(parts))


def _title(entries: Sequence[Entry], settings: Settings) -> str:
    return printable(settings.title or entries[0].progression.title).strip()


def _common(entries: Sequence[Entry]) -> str:
    """What all entries have alike in a line, nothing where they differ."""
    lines = {about(entry, counted=True): None for entry in entries}
    return next(iter(lines)) if len(lines) == 1 else ""


def _labels(entry: Entry, common: str) -> str:
    """What stands over an entry: its heading, and its key, metre and tempo where those are not common to all."""
    return " · ".join(
        filter(None, [printable(entry.heading).strip(), "" if common else about(entry, counted=True)])
    )


# Pictures


def drawings(
    entry: Entry, settings: Settings = USUAL, *, width: int = WIDE, height: int = TALLEST
) -> tuple[Drawing, ...]:
    """An entry engraved: one drawing, or several where it is higher than `height`; both in units of the engraver."""
    if entry.source:
        return engraved(entry.source, entry.name, width, height)
    score = score_of(entry, settings)
    found = engraved(to_mei([score]), entry.name, width, height)
    lines = [line for drawing in found for line in bar_widths(drawing)]
    breaks = _even_breaks(lines, pickup=score.bars[0].number == 0)
    if not breaks:
        return found
    return engraved(to_mei([score], breaks=breaks), entry.name, width, height, broken=True)


def _even_breaks(lines: Sequence[Sequence[int]], *, pickup: bool) -> tuple[int, ...]:
    """The bars, counted from 0, that begin a line where as many lines hold as many bars each; none where they do.

    `lines` are the widths of bars as drawn. A line is stretched, never squeezed, so that bars fit together wherever
    their drawn widths do. A pick-up is no bar.

    >>> _even_breaks([(30, 35, 35), (30,)], pickup=False), _even_breaks([(50, 50), (30, 30, 40)], pickup=False)
    ((2,), ())
    """
    widths = [width for line in lines for width in line]
    each, more = divmod(len(widths) - pickup, len(lines))
    counts = [each + (number < more) + (pickup and number == 0) for number in range(len(lines))]
    if each == 0 or counts == [len(line) for line in lines]:
        return ()
    ends = list(accumulate(counts))
    room = max(map(sum, lines))
    fits = all(sum(widths[start:end]) <= room for start, end in pairwise([0, *ends]))
    return tuple(ends[:-1]) if fits else ()


def svg_of(entry: Entry, settings: Settings = USUAL, *, width: int = WIDE) -> str:
    """The picture of an entry as one `svg` element for a page, told in words as well; it has no heading.

    Every note has the id of `note_ids`. A page needs `text_font_css` once, for the flats in chord symbols.

    >>> from fillgen.music import Note
    >>> from fillgen.parse import parse_chart
    >>> picture = svg_of(Entry("a", parse_chart("| C |"), (IdeaNote(1, Note(0, 960, 76), "E5", "", ""),)))
    >>> 'id="a-n0"' in picture, "<desc" in picture
    (True, True)
    """
    parts = drawings(entry, settings, width=width)
    wide, high = max(part.wide for part in parts), sum(part.high for part in parts)
    return _picture(entry, _stacked(parts), wide, high, "")


def _stacked(parts: Sequence[Drawing], top: int = 0) -> str:
    found = ""
    for part in parts:
        found += (
            f'<svg y="{top}" width="{part.wide}" height="{part.high}" viewBox="0 0 {part.wide} {part.high}">'
            f"{part.inside}</svg>"
        )
        top += part.high
    return found


def _picture(entry: Entry, inside: str, wide: int, high: int, place: str) -> str:
    name = entry.name
    title = printable(entry.heading).strip() or "Phrase"
    return (
        f'<svg id="{name}-picture"{place} viewBox="0 0 {wide} {high}" xmlns="{_SVG}" xmlns:xlink="{_XLINK}" '
        f'role="img" aria-labelledby="{name}-title {name}-words">'
        f'<title id="{name}-title">{escape(title)}</title>'
        f'<desc id="{name}-words">{escape(printable(in_words(entry)))}</desc>{inside}</svg>'
    )


_SVG, _XLINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"


def text_font_css() -> str:
    """The music font as a rule of a style sheet, which every page with pictures needs once."""
    return font_css()


_EDGE = 20
"""The margin of a picture with several entries, in pixels, and the height of a line of text."""
_TITLE, _HEAD = 26, 15
"""The sizes of a title and of what stands over an entry, in pixels."""
_LETTERS = 70
"""As many letters of a title fit into a line."""


def _whole_svg(entries: Sequence[Entry], settings: Settings) -> bytes:
    """All entries one under another as one picture, with title and common line above."""
    common, title = _common(entries), _title(entries, settings)
    inside, at = [], _EDGE
    if title:
        at += _TITLE
        inside.append(_line(_cut(title), at, _TITLE, "bold"))
        at += _HEAD // 2
    if common:
        at += _HEAD
        inside.append(_line(common, at, _HEAD, "normal"))
        at += _HEAD // 2
    wide = round(WIDE / UNITS)
    for entry in entries:
        label = _labels(entry, common)
        if label:
            at += _HEAD + _EDGE // 2
            inside.append(_line(label, at, _HEAD, "bold"))
        parts = drawings(entry, settings)
        high = sum(part.high for part in parts)
        place = f' x="{_EDGE}" y="{at}" width="{wide}" height="{high}"'
        inside.append(_picture(entry, _stacked(parts), wide, high, place))
        at += high
    at += _EDGE
    wide += 2 * _EDGE
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<svg xmlns="{_SVG}" xmlns:xlink="{_XLINK}" width="{wide}" '
        f'height="{at}" viewBox="0 0 {wide} {at}" font-family="Times, {FONT}, serif">'
        f"<title>{escape(title or 'Sheet of music')}</title><style>{font_css()}</style>"
        f'<rect width="100%" height="100%" fill="#fff"/>{"".join(inside)}</svg>\n'
    ).encode()


def _line(text: str, y: int, size: int, weight: str) -> str:
    return f'<text x="{_EDGE}" y="{y}" font-size="{size}" font-weight="{weight}">{escape(text)}</text>'


def _cut(text: str) -> str:
    return text if len(text) <= _LETTERS else f"{text[: _LETTERS - 1]}…"


_LOOK = (
    "*{box-sizing:border-box}body{margin:0 auto;max-width:76rem;padding:1rem;background:#fff;color:#000;"
    f"font:1rem/1.4 system-ui,{FONT},sans-serif}}"
    "h1{font-size:1.5rem;line-height:1.2;margin:0 0 .2rem;overflow-wrap:anywhere}p{margin:0 0 .8rem}"
    ".ideas{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,25rem),1fr));gap:.6rem 1.6rem}"
    "section{break-inside:avoid}h2{font-size:1rem;margin:.6rem 0 .1rem;white-space:pre-wrap;overflow-wrap:anywhere}"
    "section>svg,section>div>svg{display:block;width:100%;height:auto}"
    ".one{max-width:64.5rem}.one .ideas{display:block}.one .wide{display:none}"
    "@media (min-width:44rem){.one .wide{display:block}.one .small{display:none}}"
    "@media print{body{max-width:none;padding:0;font-size:10pt}"
    ".ideas{grid-template-columns:1fr 1fr;gap:.4rem 1.2rem}h1{font-size:16pt}"
    ".one .wide{display:block}.one .small{display:none}}"
)
_PAGES = {"a4": "A4", "letter": "letter"}


def _html(entries: Sequence[Entry], settings: Settings) -> bytes:
    """All entries as a page that needs nothing but itself, in one column on a phone and two on paper.

    An entry that is alone fills the width of the page: it is there twice, in long lines and in short ones for a phone.
    """
    picture = _both_widths if len(entries) == 1 else _narrow
    common, title = _common(entries), _title(entries, settings)
    page = f"@page{{size:{_PAGES[settings.paper]} portrait;margin:14mm}}"
    head = f"<p>{escape(common)}</p>\n" if common else ""
    sections = [
        f"<section>{_heading(entry, common)}{picture(entry, settings)}</section>" for entry in entries
    ]
    column = ' class="one"' if len(entries) == 1 else ""
    named = escape(title or "Sheet of music")
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"/>'
        '<meta name="viewport" content="width=device-width, initial-scale=1"/>'
        f"<title>{named}</title><style>{font_css()}{_LOOK}{page}</style></head>\n<body{column}><h1>{named}</h1>\n"
        f'{head}<main class="ideas">\n' + "\n".join(sections) + "\n</main></body></html>\n"
    ).encode()


def _narrow(entry: Entry, settings: Settings) -> str:
    return svg_of(entry, settings, width=NARROW)


def _both_widths(entry: Entry, settings: Settings) -> str:
    small = replace(entry, name=f"{entry.name}-small")
    return (
        f'<div class="wide">{svg_of(entry, settings)}</div>'
        f'<div class="small">{_narrow(small, settings)}</div>'
    )


def _heading(entry: Entry, common: str) -> str:
    label = _labels(entry, common)
    return f"<h2>{escape(label)}</h2>" if label else ""


# Files


def _pdf(entries: Sequence[Entry], settings: Settings) -> bytes:
    from fillgen.render.pdf import Block, pdf_bytes, room_of  # noqa: PLC0415 - reportlab is loaded for PDF only

    common = _common(entries)
    paper = PAPERS[settings.paper]
    height = room_of(paper, WIDE)
    blocks = [Block(_labels(entry, common), drawings(entry, settings, height=height)) for entry in entries]
    return pdf_bytes(blocks, paper, title=_title(entries, settings), about=common)


def unshown(entries: Sequence[Entry], settings: Settings, kind: str) -> str:
    """The letters of title and headings that a sheet of a kind has a question mark for, each once: PDF has few.

    >>> from fillgen.parse import parse_chart
    >>> unshown([Entry("a", parse_chart("| C |"), ())], Settings(title="雨 Rain ☂"), "pdf")
    '雨☂'
    """
    if kind != "pdf":
        return ""
    from fillgen.render.pdf import shapeless  # noqa: PLC0415 - reportlab is loaded for PDF only

    common = _common(entries)
    return shapeless(
        "".join([_title(entries, settings), common, *(_labels(each, common) for each in entries)])
    )


def _musicxml(entries: Sequence[Entry], settings: Settings) -> bytes:
    if _only(entries).source:
        return entries[0].source.encode()
    return score_bytes([score_of(entry, settings) for entry in entries], _title(entries, settings))


def _mei(entries: Sequence[Entry], settings: Settings) -> bytes:
    if _only(entries).source:
        return as_mei(entries[0].source, entries[0].name).encode()
    scores = [score_of(entry, settings) for entry in entries]
    return to_mei(scores, _title(entries, settings), tempo=True).encode()


def _only(entries: Sequence[Entry]) -> Entry:
    """The first of the entries, which is the only one where it has a score of its own."""
    if len(entries) > 1 and any(entry.source for entry in entries):
        raise OptionError(
            "scores cannot be joined", hint="Write one file for each, or a .pdf or .html of all."
        )
    return entries[0]


_MAKERS: Mapping[str, Callable[[Sequence[Entry], Settings], bytes]] = {
    "svg": _whole_svg,
    "pdf": _pdf,
    "html": _html,
    "musicxml": _musicxml,
    "mei": _mei,
}


def render(entries: Sequence[Entry], settings: Settings, kind: str) -> bytes:
    """A sheet with entries as a file of a kind: svg, pdf, html, musicxml or mei.

    In MusicXML and MEI the entries follow one another in one score, each on a new system under its heading. OptionError
    for another kind or where there are no entries or two of one name.
    """
    if kind not in _MAKERS:
        raise OptionError(f"unknown kind of sheet {shorten(kind)}", hint=did_you_mean(kind, _MAKERS))
    if not entries:
        raise OptionError("there is nothing to engrave")
    names = [entry.name for entry in entries]
    if len(set(names)) < len(names):
        raise OptionError("two entries of a sheet have one name")
    return _MAKERS[kind](entries, settings)


def kind_of(path: str) -> str:
    """What a sheet is written as, by the ending of its name; OptionError for an ending that is not offered."""
    if path.endswith(("/", os.sep)):
        hint = f"Such as {shorten(path.rstrip('/' + os.sep))}."
        raise OptionError(f"{shorten(path)} is a folder, and a sheet of music is a file", hint=hint)
    kind = KINDS.get(Path(path).suffix.lower())
    if kind is None:
        hint = "Use .svg, .pdf, .html, .musicxml or .mei."
        raise OptionError(f"cannot tell what to write to {shorten(path)}", hint=hint)
    return kind


def write(
    path: Path, entries: Sequence[Entry], settings: Settings = USUAL, *, overwrite: bool = False
) -> None:
    """Write a sheet as what its ending says, whole or not at all; OutputError where that cannot be."""
    write_file(path, render(entries, settings, kind_of(str(path))), overwrite=overwrite)
