"""Entries of a sheet: a phrase with its chords, fingers and heading, as a score and in words."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

from fillgen.chart.progression import Progression
from fillgen.errors import OptionError, OutputError, printable, shorten
from fillgen.hands.closing import closes, slows_from
from fillgen.hands.playing import Playing
from fillgen.hands.take import Ensemble, left_paths, swing_of
from fillgen.phrase.articulation import accented, slurred
from fillgen.phrase.idea import Idea, IdeaNote, Ideas, struck_with
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.spelling import spell
from fillgen.theory.chords import Tone
from fillgen.theory.metre import TICKS, Metre
from fillgen.theory.pitch import Key
from fillgen.writers.look import USUAL, SheetOptions
from fillgen.writers.mei import signed
from fillgen.writers.musicxml import whole_ratio
from fillgen.writers.notation import (
    Chunk,
    Score,
    ScoreBar,
    ScoreStaff,
    ScoreSymbol,
    Symbol,
    ids_of,
    name_and_octave,
    written,
)

if TYPE_CHECKING:
    from fillgen.readers.tunes import Tune
    from fillgen.teaching.lesson import Lesson
    from fillgen.tune import Piece


_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_-]*")
_GRID = TICKS // 4
_DYNAMIC = "mf"
"""How loud the right hand plays: its velocities lie round 80, which stands for mezzo forte. Source: common practice."""


@dataclass(frozen=True)
class SheetEntry:
    """A phrase over its chords to be engraved, with its heading.

    `name` is the prefix of all ids in its picture: a letter, then letters, digits, - and _; OptionError for any other
    name. `heading` is a few words such as the rank and the shape. `tempo` is in quarter notes a minute, `swing` the
    ratio of first eighth to second. A first bar with the number 0 holds a pick-up, and is written short. `source` is
    MusicXML to engrave instead of the notes. `second` are the notes struck with the line, below it. `close` is how the last
    note closes, `held` or `button`, and `slows` the tick from which the music slows down; None if it doesn't. `bass`
    are the notes of the bass, as it plays, for a sheet that shows it.
    """

    name: str
    progression: Progression
    notes: tuple[IdeaNote, ...]
    heading: str = ""
    rhythm: str = ""
    tempo: int = 120
    swing: float = 1.0
    source: str = ""
    second: tuple[IdeaNote, ...] = ()
    close: str | None = None
    slows: int | None = None
    bass: Phrase = ()

    def __post_init__(self) -> None:
        if not _NAME.fullmatch(self.name):
            hint = "Use a letter, then letters, digits, - and _."
            raise OptionError(f"{shorten(self.name)} is not a name for a picture", hint=hint)


def entries_of(
    ideas: Ideas, swing: float | None = None, playing: Playing | None = None
) -> tuple[SheetEntry, ...]:
    """Ideas as entries named `idea-1`, `idea-2` and so on by rank, with the marks of how they close and slow down.

    >>> import fillgen
    >>> [entry.heading for entry in entries_of(fillgen.ideas("| C | G7 |", count=1, shape="arch"))]
    ['1 · arch']
    """
    ratio = swing_of(ideas, swing)
    close = playing.close if playing is not None and closes(playing.close) else None
    slow_down = playing is not None and playing.slow_down
    bass = _bass_of(ideas, playing) if playing is not None and "bass" in playing.parts else None
    return tuple(
        SheetEntry(
            f"idea-{idea.rank}",
            ideas.progression,
            idea.notes,
            " · ".join(filter(None, [str(idea.rank), idea.shape])),
            ideas.rhythm,
            ideas.tempo,
            ratio,
            second=idea.second,
            close=close,
            slows=slows_from(ideas.progression, idea.phrase) if slow_down else None,
            bass=bass(idea) if bass is not None else (),
        )
        for idea in ideas
    )


def _bass_of(ideas: Ideas, playing: Playing) -> Callable[[Idea], Phrase]:
    """What gives the bass under an idea: its notes as they are played once, before swing and feel, with their close."""
    close = playing.close if closes(playing.close) else None
    exact = replace(playing, parts=("bass",), times=1, swing=1.0, feel=0.0, close=close, slow_down=False)
    ensemble = Ensemble(ideas, exact)
    end = ensemble.pass_length

    def bass(idea: Idea) -> Phrase:
        strokes = ensemble.take(idea).strokes["bass"]
        return tuple(Note(s.tick, min(s.length, end - s.tick), s.midi) for s in strokes)

    return bass


def backing_entry(ideas: Ideas, playing: Playing) -> SheetEntry:
    """The backing track of ideas as one entry, named `backing`: that of the idea above which all others find room."""
    first = replace(ideas, ideas=Ensemble(ideas, playing).in_order())
    (entry,) = entries_of(first, playing.swing, playing)
    return replace(entry, name="backing", heading="Backing track")


def lesson_entries(lesson: Lesson, swing: float = 1.0) -> tuple[SheetEntry, ...]:
    """The phrases of a lesson as entries named by step and place, such as `step-2-1`."""
    return tuple(
        SheetEntry(
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


def section_marks(piece: Piece, tune: Tune) -> tuple[dict[int, str], list[str]]:
    """The measures of a tune's score at which intro, tune and ending start, and the numbers of all its measures."""
    before = piece.first if piece.intro else 0
    after = len(piece.ideas.progression.bars) - piece.last if piece.ending else 0
    filler = [False] if tune.shortage and after else []
    begins = [*[True] * before, *tune.begins, *filler, *[True] * after]
    starts = {0: "Intro", before: "Tune"} if before else {0: "Tune"}
    if after:
        starts[len(begins) - after] = "Ending"
    return starts, list(_numbers(begins))


def _numbers(begins: Sequence[bool]) -> Iterator[str]:
    """The numbers of measures by whether each begins a bar; one that doesn't, such as a pick-up, is not counted.

    >>> list(_numbers([True, True, True, False, True])), list(_numbers([False, True]))
    (['1', '2', '3', 'X3', '4'], ['0', '1'])
    """
    number = 0
    for begin in begins:
        number += begin
        yield str(number) if begin else f"X{number}" if number else "0"


# Scores


def score_of(entry: SheetEntry, settings: SheetOptions = USUAL) -> Score:
    """An entry as a score; OutputError if a note is too short to be written."""
    progression = entry.progression
    lead = _lead(entry)
    skipped = int(lead == progression.size_of(0))
    whole = progression.bars[skipped:]
    metres = [progression.metre_of(number) for number in range(skipped, len(progression.bars))]
    lengths = [metre.bar for metre in metres]
    lengths[0] -= 0 if skipped else lead
    frame = _Frame(progression.key, lead, lengths, metres)
    try:
        lines = [_MAKERS[part](entry, settings, frame) for part in settings.written]
    except (ValueError, KeyError) as error:
        reason = "has notes too short to be written"
        raise OutputError(reason, place=entry.heading or entry.name) from error
    first = progression.first + skipped
    sections = {place: printable(name) for place, name in progression.sections}
    bars = []
    at = lead
    for number, (length, metre, spans, *staves) in enumerate(
        zip(lengths, metres, whole, *lines, strict=True)
    ):
        chords = tuple(
            (max(0, span.onset - at), span.chord)
            for span in spans
            if span.end > at and not (first + number == 0 and span.chord.root is None)
        )
        section = sections.get(number + skipped, "")
        slows = entry.slows - at if entry.slows is not None and at <= entry.slows < at + length else None
        bars.append(ScoreBar(first + number, length, tuple(staves), chords, section, metre, slows))
        at += length
    heading = printable(entry.heading)
    return Score(
        entry.name,
        progression.metre,
        progression.key,
        tuple(bars),
        heading,
        entry.tempo,
        entry.swing,
        tuple(_staff(part, settings) for part in settings.written),
    )


def _staff(part: str, settings: SheetOptions) -> ScoreStaff:
    """The staff of a part. A bass at a keyboard's low end is written an octave higher, as that of a bass guitar is."""
    if part == "right":
        return ScoreStaff(part)
    return ScoreStaff(part, "F", lowered=part == "bass" and settings.bass == "keyboard")


@dataclass(frozen=True)
class _Frame:
    """What the staves of an entry share: the key, the ticks left out at the beginning, length and metre of each bar."""

    key: Key
    lead: int
    lengths: Sequence[int]
    metres: Sequence[Metre]

    def bars(self, chunks: Iterable[Chunk]) -> list[list[Symbol]]:
        """Chunks, counted from the first tick of the chart, as they are written."""
        shown = [
            replace(
                each,
                onset=max(0, each.onset - self.lead),
                length=each.length - max(0, self.lead - each.onset),
            )
            for each in chunks
            if each.onset + each.length > self.lead
        ]
        return written(shown, self.metres, self.key, self.lengths, pickup=self.lead > 0)


def _lead(entry: SheetEntry) -> int:
    """The ticks by which the first bar is shortened: the silence before a pick-up, a whole bar if it is all silent."""
    if entry.progression.first != 0 or not entry.notes:
        return 0
    first = min(each.note.onset for each in entry.notes)
    first -= first % _GRID and first % TICKS
    return min(first, entry.progression.size_of(0))


def _names(entry: SheetEntry) -> Sequence[str]:
    """The scientific names of the notes, spelled here if the entry has none."""
    if all(each.name for each in entry.notes):
        return [each.name for each in entry.notes]
    return spell(entry.progression, tuple(each.note for each in entry.notes))


_Line = list[tuple[ScoreSymbol, ...]]
"""The bars of a staff."""


def _right(entry: SheetEntry, settings: SheetOptions, frame: _Frame) -> _Line:
    """The bars of the right hand, with ids, fingers and names."""
    below = struck_with(entry.notes, entry.second)
    bars = frame.bars(
        Chunk(each.note.onset, each.note.length, (name, *(low.name for low in added)))
        for each, name, added in zip(entry.notes, _names(entry), below, strict=True)
    )
    ids = ids_of(bars, f"{entry.name}-n")
    fingers = iter(
        [
            (each.finger, *(low.finger for low in added))
            for each, added in zip(entry.notes, below, strict=True)
        ]
    )
    found: _Line = []
    for symbols, row in zip(bars, ids, strict=True):
        line = []
        for symbol, name in zip(symbols, row, strict=True):
            begins = not symbol.is_rest and not symbol.tied_from
            own = next(fingers) if begins else ()
            shown = signed(name_and_octave(symbol.names[0])[0]) if begins and settings.note_names else ""
            line.append(ScoreSymbol(symbol, name, own if settings.is_fingered and any(own) else (), shown))
        found.append(tuple(line))
    return _with_close(_articulated(found, entry) if settings.is_articulated else found, entry.close)


def _articulated(bars: _Line, entry: SheetEntry) -> _Line:
    """Bars with a dynamic on the first note, and with the slurs and accents that the line is played with."""
    line = [(each.note.onset, each.note.length, each.note.midi) for each in entry.notes]
    timeline, swings = entry.progression.timeline, entry.swing > 1
    joined, stressed = slurred(line, timeline, swings=swings), accented(line, timeline, swings=swings)
    number = -1
    found: _Line = []
    for symbols in bars:
        row = []
        for each in symbols:
            if each.symbol.is_rest:
                row.append(each)
                continue
            begins = not each.symbol.tied_from
            number += begins
            opens = begins and number in joined and number - 1 not in joined
            shuts = not each.symbol.tied_to and number - 1 in joined and number not in joined
            slur = "start" if opens else "stop" if shuts else ""
            dynamic = _DYNAMIC if begins and number == 0 else ""
            row.append(replace(each, slur=slur, accent=begins and number in stressed, dynamic=dynamic))
        found.append(tuple(row))
    return found


def _with_close(bars: _Line, close: str | None) -> _Line:
    """Bars with the mark of a close on the last note: at its end where it is held, on its stroke where it is short."""
    places = [
        (bar, place)
        for bar, line in enumerate(bars)
        for place, each in enumerate(line)
        if not each.symbol.is_rest and (close == "held" or not each.symbol.tied_from)
    ]
    for bar, place in places[-1:] if close else []:
        line = list(bars[bar])
        line[place] = replace(line[place], close=close or "")
        bars[bar] = tuple(line)
    return bars


def _left(entry: SheetEntry, settings: SheetOptions, frame: _Frame) -> _Line:
    """The bars of the left hand: chords held as long as they last, voiced along the best path."""
    below = min((each.note.midi for each in (*entry.notes, *entry.second)), default=127)
    rootless = "bass" in settings.parts
    voiced = _voiced(entry.progression, below, settings.span, rootless=rootless)
    return _named(frame.bars(Chunk(*each) for each in voiced), f"{entry.name}-c")


def _bass(entry: SheetEntry, _: SheetOptions, frame: _Frame) -> _Line:
    """The bars of the bass, note by note as it plays."""
    names = spell(entry.progression, entry.bass)
    chunks = (Chunk(note.onset, note.length, (name,)) for note, name in zip(entry.bass, names, strict=True))
    return _with_close(_named(frame.bars(chunks), f"{entry.name}-d"), entry.close)


def _named(bars: Sequence[Sequence[Symbol]], prefix: str) -> _Line:
    """Bars with an id for each symbol."""
    return [
        tuple(map(ScoreSymbol, symbols, row)) for symbols, row in zip(bars, ids_of(bars, prefix), strict=True)
    ]


_MAKERS: Mapping[str, Callable[[SheetEntry, SheetOptions, _Frame], _Line]] = {
    "right": _right,
    "left": _left,
    "bass": _bass,
}
"""What makes the staff of each part."""


@lru_cache(maxsize=256)
def _voiced(
    progression: Progression, below: int, span: int, *, rootless: bool
) -> tuple[tuple[int, int, tuple[str, ...]], ...]:
    """The left hand's chords below a pitch: onset and length in ticks and the names of the keys; none if it is silent."""
    path = left_paths(progression, below, span, rootless=rootless)[0]
    return tuple(
        (chord.onset, chord.length, tuple(_key_names(voicing.tones, voicing.pitches)))
        for chord, voicing in zip(progression.spans, path.voicings, strict=True)
        if voicing is not None
    )


def _key_names(tones: Sequence[Tone], pitches: Sequence[int]) -> list[str]:
    return [tone.name.at(midi) for tone, midi in zip(tones, pitches, strict=True)]


# Words


_LENGTHS = {"w": "whole", "h": "half", "q": "quarter", "e": "eighth", "s": "sixteenth"}
_SPOKEN = {"♭": " flat ", "♯": " sharp ", "♮": " natural "}


def in_words(entry: SheetEntry, settings: SheetOptions = USUAL) -> str:
    """What a sheet shows of an entry in words, bar by bar and part by part, for people who can't see it.

    >>> from fillgen.phrase.note import Note
    >>> from fillgen.chart.text import parse_chart
    >>> note = IdeaNote(1, Note(0, 720, 75), "Eb5", "", "")
    >>> in_words(SheetEntry("a", parse_chart("| Cm7 |"), (note,)))
    'Bar 1, chord Cm7: E flat 5 dotted quarter, eighth rest, half rest.'
    """
    if entry.source:
        title = entry.progression.title or "A tune"
        return f"{title}, {len(entry.progression.bars)} bars, with chord symbols."
    score = score_of(entry, settings)
    return " ".join(_bar_in_words(bar, score.staves) for bar in score.bars)


_HANDS = {"right": "", "left": "left hand: ", "bass": "bass: "}
"""What begins the words of each part."""


def _bar_in_words(bar: ScoreBar, staves: Sequence[ScoreStaff]) -> str:
    chords = ", ".join(_spoken(chord.symbol) for _, chord in bar.chords)
    where = "Pick-up" if bar.number == 0 else f"Bar {bar.number}"
    over = f", {'chords' if len(bar.chords) > 1 else 'chord'} {chords}" if chords else ""
    lines = [
        f"{_HANDS[staff.part]}{_line_in_words(line)}" for staff, line in zip(staves, bar.staves, strict=True)
    ]
    return f"{where}{over}: {'; '.join(lines)}."


def _line_in_words(line: Sequence[ScoreSymbol]) -> str:
    notes: list[str] = []
    for each in line:
        if each.symbol.tied_from and notes:
            notes[-1] += f" and {_length_in_words(each.symbol)}"
        else:
            notes.append(_symbol_in_words(each.symbol))
    return ", ".join(notes)


def _spoken(name: str) -> str:
    return " ".join("".join(_SPOKEN.get(letter, letter) for letter in signed(name)).split())


def _symbol_in_words(symbol: Symbol) -> str:
    if symbol.is_rest:
        return f"{_length_in_words(symbol)} rest"
    keys = [name_and_octave(name) for name in symbol.names]
    first, *others = [f"{_spoken(name)} {octave}" for name, octave in keys]
    under = f" with {' and '.join(others)}" if others else ""
    held = " held" if symbol.tied_from else ""
    return f"{first}{under}{held} {_length_in_words(symbol)}"


def _length_in_words(symbol: Symbol) -> str:
    if symbol.letters == "bar":
        return "whole bar"
    word = _LENGTHS[symbol.letters[0]]
    return f"{'dotted ' * symbol.letters.endswith('.')}{'triplet ' * symbol.is_triplet}{word}"


def about(entry: SheetEntry, *, paced: bool = True) -> str:
    """Key, metre, rhythm, tempo and swing of an entry in a line; without tempo and swing if it isn't `paced`.

    >>> from fillgen.chart.text import parse_chart
    >>> about(SheetEntry("a", parse_chart("| Eb | Bb7 |", key="Eb"), (), "", "swing", 120, 2.0))
    'E♭ major, 4/4, swing, 120 quarter notes a minute, eighths swung 2:1'
    >>> about(SheetEntry("a", parse_chart("| Dm | A7 |", metre="12/8"), (), "", "slow 6/8", 84), paced=False)
    'D minor, 12/8, slow 6/8'
    """
    keys = entry.progression.keys_in_words.split(", ")
    words = [key.split(" ", 1) for key in keys]
    parts = [*(f"{signed(tonic)} {rest}" for tonic, rest in words), entry.progression.metres_in_words]
    parts += [entry.rhythm] if entry.rhythm else []
    if paced:
        parts.append(f"{entry.tempo} quarter notes a minute")
    if paced and entry.swing > 1:
        first, second = whole_ratio(entry.swing)
        parts.append(f"eighths swung {first}:{second}")
    return printable(", ".join(parts))
