"""Phrase text, read and written: `F5q. Eb5e D5h | rq G5q F5h`, with `~` after a length to tie it to the next note."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from fillgen.chart.progression import Progression
from fillgen.chart.text import MOST_TEXT
from fillgen.errors import ChartError, PhraseError, shorten
from fillgen.phrase.note import Note, Phrase, check_line
from fillgen.phrase.spelling import spell
from fillgen.theory.chords import read_chord
from fillgen.theory.metre import (
    LENGTHS,
    TICKS,
    Metre,
    Timeline,
    is_length,
    length_text,
    split_length,
    timeline_of,
)
from fillgen.theory.pitch import Name, plain_signs, read_pitch

# Phrases

_TOKEN = re.compile(r"(?:(r)|([A-G](?:#{1,3}|b{1,3})?-?\d))([whqes][.t]?)(~?)")


def parse_phrase(text: str, metre: Metre | Timeline) -> Phrase:
    """The notes of a phrase text; PhraseError with bar and note where it cannot be read.

    Give the timeline of a chart whose bars have several metres.

    >>> from fillgen.theory.metre import METRES
    >>> parse_phrase("rq G5e~ G5q Eb5e h", METRES["4/4"])
    Traceback (most recent call last):
    ...
    fillgen.errors.PhraseError: bar 1, note 5: cannot read 'h'. Write notes like 'F5q' or 'Eb4h.', a rest like 'rq'.
    """
    return written_phrase(text, metre).notes


@dataclass(frozen=True, slots=True)
class WrittenPhrase:
    """A phrase as it is written: its notes, one bar right after the other, and the ticks of each bar."""

    notes: Phrase
    bars: tuple[int, ...]


def written_phrase(text: str, metre: Metre | Timeline | None = None) -> WrittenPhrase:
    """A phrase text with bars of any length, or of a metre; PhraseError with bar and note where it cannot be read.

    >>> written_phrase("Bb4q | C5w").bars
    (480, 1920)
    """
    if len(text) > MOST_TEXT:
        raise PhraseError(f"the phrase has {len(text)} characters; the limit is {MOST_TEXT}")
    notes: list[Note] = []
    bars: list[int] = []
    tied, start = False, 0
    for number, bar in enumerate(_phrase_bars(text), 1):
        ticks, tied = _read_bar(bar, number, start, notes, tied)
        start += ticks
        if metre is not None and ticks != (own := timeline_of(metre).metre_of(number - 1)).bar:
            raise wrong_bar(number, ticks, own)
        bars.append(ticks)
    if tied:
        raise PhraseError("the last note is tied to nothing", place=f"bar {len(bars)}")
    if not notes:
        raise PhraseError("the phrase has no notes", hint="Write notes like F5q.")
    return WrittenPhrase(tuple(notes), tuple(bars))


def wrong_bar(number: int, ticks: int, metre: Metre) -> PhraseError:
    """The error for a bar that doesn't last as long as its metre says."""
    lasts, whole = ticks / TICKS, metre.bar / TICKS
    return PhraseError(
        f"the bar lasts {lasts:g} quarter notes, a {metre.name} bar {whole:g}", place=f"bar {number}"
    )


def check_phrase(progression: Progression, notes: Phrase) -> None:
    """Refuse notes that can't be played and written down one at a time over a chart: PhraseError with their place.

    >>> from fillgen.chart.text import parse_chart
    >>> check_phrase(parse_chart("| Bb | F7 |"), (Note(0, 960, 74), Note(480, 480, 72)))
    Traceback (most recent call last):
    ...
    fillgen.errors.PhraseError: bar 1, beat 2: two notes sound at once. Give one note at a time.
    """
    check_line(notes, progression.timeline, progression.first)
    if notes[-1].end > progression.length:
        bars = progression.timeline.bars_until(notes[-1].end)
        message = f"the phrase has {bars} bars, the chart {len(progression.bars)}"
        raise PhraseError(message, hint="Give the phrase as many bars as its chart.")
    try:
        phrase_text(notes, progression)
    except ValueError as error:
        hint = "Use the lengths w h q e s, dotted or in triplets."
        raise PhraseError(str(error), hint=hint) from None


def _read_bar(bar: str, number: int, start: int, notes: list[Note], tied: bool) -> tuple[int, bool]:
    """Read the notes of a bar that begins at a tick; its ticks, and whether its last note is tied on."""
    onset = start
    for item, token in enumerate(bar.split(), 1):
        place = f"bar {number}, note {item}"
        midi, name, length, ties = _read_note(token, place)
        if tied and (midi is None or notes[-1].midi != midi):
            raise PhraseError("a tie needs the same pitch after it", place=place)
        if tied and midi is not None:
            notes[-1] = replace(notes[-1], length=notes[-1].length + length)
        elif midi is not None:
            notes.append(Note(onset, length, midi, name))
        tied = ties
        onset += length
    return onset - start, tied


_PRINTED = re.compile(r"^ *notes (.*)$", re.MULTILINE)
"""The lines of notes of a phrase as it is printed, under its beats and chords."""


def _phrase_bars(text: str) -> list[str]:
    """The bars of a text; of one as it is printed those on its lines of notes. A bar line may end a line and begin the next."""
    printed = _PRINTED.findall(text)
    joined = re.sub(r"\|\s*\n\s*\|", "|", "\n".join(printed) if printed else text)
    bars = [bar.strip() for bar in joined.replace("\n", " ").split("|")]
    if bars and not bars[0]:
        bars = bars[1:]
    if bars and not bars[-1]:
        bars = bars[:-1]
    return bars


def _read_note(token: str, place: str) -> tuple[int | None, Name | None, int, bool]:
    match = _TOKEN.fullmatch(plain_signs(token))
    if match is None or (match[1] and match[4]):
        raise PhraseError(f"cannot read {shorten(token)}", place=place, hint=_note_hint(token))
    try:
        midi = None if match[1] else read_pitch(match[2])
        name = None if match[1] else Name.read(match[2].rstrip("-0123456789"))
    except ValueError as error:
        raise PhraseError(str(error), place=place) from None
    return midi, name, LENGTHS[match[3]], bool(match[4])


def _note_hint(token: str) -> str:
    """A hint at what something that isn't a note probably means."""
    bare = token.strip(",;.~")
    meant = f"{bare[:1].upper()}{bare[1:]}"
    if bare != token.strip("~") and _TOKEN.fullmatch(bare):
        return f"Leave out what comes after {bare}."
    if meant != bare and _TOKEN.fullmatch(meant):
        return f"Notes have capital letters: {meant}."
    if re.fullmatch(r"[A-G](#|b)?\d", meant):
        return f"It has no length: {meant}q is a quarter, {meant}e an eighth."
    if re.fullmatch(r"[Hh]-?\d.*", bare):
        return f"The note H is called B here: B{bare[1:]}."
    if _is_chord(token):
        return "That looks like a chord; the chart comes first, then the phrase."
    return "Write notes like 'F5q' or 'Eb4h.', a rest like 'rq'."


def _is_chord(text: str) -> bool:
    try:
        read_chord(plain_signs(text))
    except ChartError:
        return False
    return True


def phrase_tokens(
    notes: Phrase, names: Sequence[str], metre: Metre | Timeline, bars: int
) -> list[list[tuple[int, int, str, int | None]]]:
    """The tokens of a phrase, bar by bar: tick in the bar, ticks, text, and the note's index (None for a rest).

    A note that crosses a bar line, or whose length no single letter has, becomes several tokens tied by `~`.
    """
    rows: list[list[tuple[int, int, str, int | None]]] = [[] for _ in range(bars)]
    line = timeline_of(metre)
    at = 0
    for index, note in enumerate(notes):
        if note.onset > at:
            _write(rows, line, at, note.onset - at, "r", None)
        _write(rows, line, note.onset, note.length, names[index], index)
        at = note.end
    _write(rows, line, at, line.start(bars) - at, "r", None)
    return rows


def _write(
    rows: list[list[tuple[int, int, str, int | None]]],
    line: Timeline,
    onset: int,
    length: int,
    name: str,
    index: int | None,
) -> None:
    end = onset + length
    for start, room in _inside_bars(onset, end, line):
        bar, tick = line.index(start), line.inside(start)
        parts = split_length(room)
        for part in parts if index is not None else _rest_parts(parts, tick):
            tie = "~" if index is not None and onset + part < end else ""
            rows[bar].append((onset - line.start(bar), part, f"{name}{length_text(part)}{tie}", index))
            onset += part


def _inside_bars(onset: int, end: int, timeline: Timeline) -> Iterator[tuple[int, int]]:
    """The time from one tick to another, cut at bar lines: where each part begins, and its ticks."""
    while onset < end:
        line = timeline.end(timeline.index(onset))
        yield onset, min(end, line) - onset
        onset = line


def can_be_written(onset: int, end: int, metre: Metre | Timeline) -> bool:
    """Whether a note or rest from one tick to another has a length in letters, tied across bar lines.

    >>> from fillgen.theory.metre import METRES
    >>> [can_be_written(420, end, METRES["4/4"]) for end in (480, 540, 600)]
    [False, True, True]
    """
    return all(is_length(room) for _, room in _inside_bars(onset, end, timeline_of(metre)))


def _rest_parts(parts: Sequence[int], tick: int) -> Sequence[int]:
    """The parts of a rest, the short ones first where it begins off the beat."""
    return tuple(reversed(parts)) if tick % TICKS else parts


def phrase_text(notes: Phrase, progression: Progression, names: Sequence[str] | None = None) -> str:
    """A phrase as text that reads back to the same notes, with the names given or spelled by its chords.

    >>> from fillgen.chart.text import parse_chart
    >>> chart = parse_chart("| Eb | Bb7 |")
    >>> phrase_text(parse_phrase("G5q. Bb5e G5h | F5w", chart.metre), chart)
    'G5q. Bb5e G5h | F5w'
    """
    names = spell(progression, notes) if names is None else names
    rows = phrase_tokens(notes, names, progression.timeline, len(progression.bars))
    return " | ".join(" ".join(token[2] for token in row) for row in rows)
