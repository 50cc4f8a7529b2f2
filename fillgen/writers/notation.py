"""How notes are written down: lengths split at beats, ties, beams, triplets and accidentals, for any file format."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import groupby

from fillgen.theory.chords import Chord
from fillgen.theory.metre import LENGTHS, TICKS, Metre, length_text, split_length
from fillgen.theory.pitch import Key, Name

EIGHTH = TICKS // 2
_GRID = TICKS // 4
"""The finest plain grid: anything off it belongs to a triplet."""
_QUARTER_TRIPLET = TICKS * 2 // 3
_SINGLE = frozenset(LENGTHS.values())

LINE = 4
"""Bars of a line of music where a chart is longer than that: a breath, and the eye finds its place again."""


def bars_in_line(fits: Callable[[int], bool]) -> int:
    """How many bars are on each line of a long chart: four, or two, or one if more don't fit.

    >>> bars_in_line(lambda bars: bars <= 3)
    2
    """
    return next((bars for bars in (LINE, LINE // 2) if fits(bars)), 1)


def line_starts(bars: int, in_line: int, sections: Collection[int] = (), pickup: int = 0) -> list[int]:
    """The bars, counted from 0, that begin a line, and the number of bars; a section begins a line.

    A pick-up is one bar more in the first line.

    >>> line_starts(10, 4, (0, 6)), line_starts(9, 4, pickup=1)
    ([0, 4, 6, 10], [0, 5, 9])
    """
    starts = [0]
    at = pickup
    for bar in range(pickup, bars):
        if bar in sections and bar > pickup:
            at = bar
        if bar > pickup and (bar - at) % in_line == 0:
            starts.append(bar)
    return [*starts, bars]


@dataclass(frozen=True, slots=True)
class Chunk:
    """Notes that sound together, or a rest if `names` is empty: ticks from the start, ticks, scientific names."""

    onset: int
    length: int
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Symbol:
    """A written note, chord or rest.

    `tick` counts from the start of its bar; `letters` is its length as in phrase text (`q.`, `et`); `beams` holds a
    word for each beam level (`begin`, `continue`, `end`, `forward hook`, `backward hook`); `group` is `start` or
    `stop` at the ends of a triplet; `accidentals` are the signs to be printed, "" for none, one for each name.
    `courtesies` are signs that only remind: a note goes back to the key after the same letter was altered in the bar
    before, or in another octave.
    """

    tick: int
    length: int
    names: tuple[str, ...]
    letters: str
    tied_from: bool = False
    tied_to: bool = False
    beams: tuple[str, ...] = ()
    group: str = ""
    accidentals: tuple[str, ...] = ()
    courtesies: tuple[str, ...] = ()

    @property
    def is_rest(self) -> bool:
        return not self.names

    @property
    def is_triplet(self) -> bool:
        return self.letters.endswith("t")


def written(
    chunks: Sequence[Chunk],
    metre: Metre | Sequence[Metre],
    key: Key,
    lengths: Sequence[int],
    *,
    pickup: bool = False,
) -> list[list[Symbol]]:
    """The bars of a line as they are written; `lengths` are the ticks of the bars, of which any may be short.

    `metre` is that of all bars, or a metre for each.

    Gaps are filled with rests. A chunk that crosses a bar line or hides a beat is split and tied. A short first bar
    counts as the end of a bar with `pickup`, as the beginning of one without; its beats follow.

    >>> from fillgen.theory.metre import METRES
    >>> line = [Chunk(0, 720, ("C5",)), Chunk(720, 960, ("E5",))]
    >>> bars = written(line, METRES["4/4"], Key(Name(0, 0), "major"), [1920])
    >>> [(s.letters, s.tied_to) for s in bars[0]]
    [('q.', False), ('e', True), ('q.', False), ('e', False)]
    """
    starts = [sum(lengths[:number]) for number in range(len(lengths))]
    chunks = [_until(chunk, sum(lengths)) for chunk in chunks]
    bars = []
    recent: dict[_StaffPlace, int] = {}
    metres = [metre] * len(lengths) if isinstance(metre, Metre) else metre
    for number, (start, length, own) in enumerate(zip(starts, lengths, metres, strict=True)):
        lead = own.bar - length if pickup and number == 0 else 0
        symbols = _bar(_in_bar(chunks, start, length), start - lead, length, own)
        signed, recent = _with_accidentals(symbols, key, recent)
        bars.append([replace(symbol, tick=symbol.tick - lead) for symbol in signed] if lead else signed)
    return bars


def _bar(inside: Sequence[tuple[Chunk, bool, bool]], start: int, length: int, metre: Metre) -> list[Symbol]:
    """The symbols of a bar, grouped and beamed; `start` is the tick of its first beat."""
    thirds = _in_thirds([chunk.onset - start for chunk, _, _ in inside])
    symbols = [symbol for piece in inside for symbol in _symbols(piece, start, length, metre, thirds)]
    return _with_beams(_with_groups(symbols), metre)


def _until(chunk: Chunk, end: int) -> Chunk:
    """A chunk cut off at the end of the last bar, so that no tie leads nowhere."""
    return replace(chunk, length=min(chunk.length, end - chunk.onset))


def _in_bar(chunks: Sequence[Chunk], start: int, length: int) -> list[tuple[Chunk, bool, bool]]:
    """What is in a bar, rests included: each piece, whether it is tied from before and to what follows."""
    end, at = start + length, start
    pieces: list[tuple[Chunk, bool, bool]] = []
    for chunk in chunks:
        first, last = max(chunk.onset, start), min(chunk.onset + chunk.length, end)
        if first >= last:
            continue
        if first > at:
            pieces.append((Chunk(at, first - at), False, False))
        pieces.append(
            (Chunk(first, last - first, chunk.names), chunk.onset < start, chunk.onset + chunk.length > end)
        )
        at = last
    if at < end:
        pieces.append((Chunk(at, end - at), False, False))
    return pieces


def _in_thirds(onsets: Sequence[int]) -> frozenset[int]:
    """The half bars, by their first tick, in which all begins on the thirds of a quarter triplet."""
    halves = {onset - onset % (2 * TICKS) for onset in onsets if onset % _GRID}
    return frozenset(
        half
        for half in halves
        if all(
            onset % _QUARTER_TRIPLET == half % _QUARTER_TRIPLET
            for onset in onsets
            if half <= onset < half + 960
        )
    )


def _symbols(
    piece: tuple[Chunk, bool, bool], start: int, length: int, metre: Metre, thirds: frozenset[int]
) -> list[Symbol]:
    """The symbols of one piece of a bar, tied to one another."""
    chunk, tied_from, tied_to = piece
    onset = chunk.onset - start
    if not chunk.names and chunk.length == length == metre.bar:
        return [Symbol(0, length, (), "bar")]
    parts = list(_parts(onset, chunk.length, metre, thirds, rest=not chunk.names))
    symbols = []
    for index, (tick, ticks) in enumerate(parts):
        symbols.append(
            Symbol(
                tick,
                ticks,
                chunk.names,
                length_text(ticks),
                bool(chunk.names) and (tied_from or index > 0),
                bool(chunk.names) and (tied_to or index < len(parts) - 1),
            )
        )
    return symbols


def _parts(
    onset: int, length: int, metre: Metre, thirds: frozenset[int], *, rest: bool
) -> Iterable[tuple[int, int]]:
    """A length split so that the beats stay visible: ticks in the bar and ticks."""
    end = onset + length
    while onset < end:
        until = _first_end(onset, end, metre, thirds, rest=rest)
        pieces = split_length(until - onset)
        for piece in reversed(pieces) if onset % metre.beat else pieces:
            yield onset, piece
            onset += piece


def _first_end(onset: int, end: int, metre: Metre, thirds: frozenset[int], *, rest: bool) -> int:
    """The tick up to which one written note or rest may reach."""
    half = onset - onset % (2 * TICKS)
    if half in thirds and end <= half + 2 * TICKS:
        return end
    if metre.is_grouped:
        return _grouped_end(onset, end, metre)
    if metre.beat % TICKS:
        return _compound_end(onset, end, metre)
    return _simple_end(onset, end, metre, rest=rest)


def _next(tick: int, grid: int) -> int:
    return tick - tick % grid + grid


def _compound_end(onset: int, end: int, metre: Metre) -> int:
    """In dotted beats: a beat, two from a heavier one, four from the first; within a beat, to its end."""
    if onset % metre.beat:
        return min(end, _next(onset, metre.beat))
    for beats in (4, 2, 1):
        if onset % (beats * metre.beat) == 0 and onset + beats * metre.beat <= end:
            return onset + beats * metre.beat
    return end


def _grouped_end(onset: int, end: int, metre: Metre) -> int:
    """In uneven groups of beats: to the end of the group, or from its beginning over whole groups as one note."""
    edges = (*metre.strong, metre.bar)
    group = next(edge for edge in edges if edge > onset)
    if end <= group or onset not in edges:
        return min(end, group)
    return max(edge for edge in edges if onset < edge <= end and edge - onset in _SINGLE)


def _simple_end(onset: int, end: int, metre: Metre, *, rest: bool) -> int:
    """In plain beats, counted in quarters."""
    if onset % _GRID or end % _GRID:
        return _triplet_end(onset, end)
    if rest:
        return _rest_end(onset, end, metre)
    strong = next((tick for tick in (*metre.strong, metre.bar) if tick > onset), metre.bar)
    if end <= _next(onset, TICKS):
        return end
    if onset % TICKS == 0:
        return end if _shows_itself(onset, end, strong, metre) else min(end, strong)
    if onset % (2 * TICKS) == EIGHTH and end <= strong and end - onset == TICKS:
        return end
    return _next(onset, TICKS)


def _shows_itself(onset: int, end: int, strong: int, metre: Metre) -> bool:
    """Whether a note from a beat may cross the next strong beat: from the first of four, or a half from the second."""
    if end <= strong:
        return True
    if metre.bar != 4 * TICKS:
        return False
    from_first = onset == 0 and end - onset in _SINGLE
    return from_first or (metre.beat == TICKS and onset == TICKS and end - onset == 2 * TICKS)


def _rest_end(onset: int, end: int, metre: Metre) -> int:
    """A rest shows every beat, but for half bars of four."""
    if metre.bar == 4 * TICKS and onset % (2 * TICKS) == 0 and end - onset >= 2 * TICKS:
        return onset + 2 * TICKS
    return min(end, _next(onset, TICKS))


def _triplet_end(onset: int, end: int) -> int:
    """Where a note of a triplet, or one tied into or out of one, may reach: not beyond its beat."""
    last_beat = end - end % TICKS
    if onset % TICKS == 0 and onset < last_beat:
        return last_beat
    return min(end, _next(onset, TICKS))


# Triplets, beams, accidentals


def _with_groups(symbols: Sequence[Symbol]) -> list[Symbol]:
    """Triplet brackets: they open with the first triplet symbol and close when a whole beat or half is full.

    They close before the next plain symbol in any case: sixteenth triplets may fill just an eighth.
    """
    grouped = list(symbols)
    open_at: int | None = None
    for index, symbol in enumerate(grouped):
        if not symbol.is_triplet:
            continue
        if open_at is None:
            open_at = symbol.tick
            grouped[index] = replace(symbol, group="start")
        elif (symbol.tick + symbol.length - open_at) % TICKS == 0 or not _is_triplet_at(symbols, index + 1):
            grouped[index] = replace(symbol, group="stop")
            open_at = None
    return grouped


def _is_triplet_at(symbols: Sequence[Symbol], index: int) -> bool:
    return index < len(symbols) and symbols[index].is_triplet


def _levels(symbol: Symbol) -> int:
    """How many beams a symbol has."""
    return 0 if symbol.is_rest else {"e": 1, "s": 2}.get(symbol.letters[0], 0)


def _with_beams(symbols: Sequence[Symbol], metre: Metre) -> list[Symbol]:
    """Beams that join the short notes of one beat, or of one group of beats."""
    beamed: list[Symbol] = []
    for _, members in groupby(symbols, key=lambda s: (metre.group(s.tick), _levels(s) > 0)):
        run = list(members)
        if any(symbol.is_triplet for symbol in run):
            beamed += [each for part in _in_groups(run) for each in _joined(part)]
        else:
            beamed += _joined(run)
    return beamed


def _in_groups(run: Sequence[Symbol]) -> list[list[Symbol]]:
    """A run parted by the quarter, so that no beam leads out of a triplet."""
    return [list(part) for _, part in groupby(run, key=lambda s: (s.tick // TICKS, s.is_triplet))]


def _joined(run: Sequence[Symbol]) -> list[Symbol]:
    return _beamed(run) if len(run) > 1 and _levels(run[0]) else list(run)


def _beamed(run: Sequence[Symbol]) -> list[Symbol]:
    words = []
    for index, symbol in enumerate(run):
        around = [_levels(run[i]) if 0 <= i < len(run) else 0 for i in (index - 1, index + 1)]
        words.append(tuple(_beam_word(level, *around) for level in range(1, _levels(symbol) + 1)))
    return [replace(symbol, beams=beams) for symbol, beams in zip(run, words, strict=True)]


def _beam_word(level: int, before: int, after: int) -> str:
    if before >= level and after >= level:
        return "continue"
    if after >= level:
        return "begin"
    if before >= level:
        return "end"
    return "backward hook" if before else "forward hook"


_StaffPlace = tuple[int, str]
"""A letter and an octave."""
SIGNS = {-2: "bb", -1: "b", 0: "n", 1: "#", 2: "##"}
"""Printed signs by alteration; `n` is a natural."""


def _with_accidentals(
    symbols: Sequence[Symbol], key: Key, before: Mapping[_StaffPlace, int]
) -> tuple[list[Symbol], dict[_StaffPlace, int]]:
    """The signs to print in one bar: for notes that differ from the key or from the same letter before them.

    `before` are the last alterations of each letter in the bar before, by octave and, under "", in any octave; those of
    this bar are returned with the symbols. A note that needs no sign has a courtesy if its letter was last heard with
    another alteration.
    """
    state: dict[_StaffPlace, int] = {}
    heard, recent = dict(before), dict[_StaffPlace, int]()
    shown = []
    for symbol in symbols:
        signs, courtesies = [], []
        for text in symbol.names:
            letters, octave = name_and_octave(text)
            name = Name.read(letters)
            where = (name.letter, octave)
            usual = state.get(where, key.by_letter[name.letter].alter)
            sign = SIGNS.get(name.alter, "")
            is_due = name.alter != usual and not symbol.tied_from
            is_doubtful = not is_due and not symbol.tied_from and where not in state
            signs.append(sign if is_due else "")
            places = where, (name.letter, "")
            changed = any(heard.get(place, name.alter) != name.alter for place in places)
            courtesies.append(sign if is_doubtful and changed else "")
            if not symbol.tied_from:
                state[where] = name.alter
            latest = dict.fromkeys(places, name.alter)
            heard, recent = heard | latest, recent | latest
        shown.append(replace(symbol, accidentals=tuple(signs), courtesies=tuple(courtesies)))
    return shown, recent


def name_and_octave(pitch: str) -> tuple[str, str]:
    """A scientific pitch name in its two parts.

    >>> name_and_octave("Eb5"), name_and_octave("C-1")
    (('Eb', '5'), ('C', '-1'))
    """
    name = pitch.rstrip("-0123456789")
    return name, pitch[len(name) :]


# Scores

HEADS = ("", "ring", "cross")
"""The heads of notes: the usual one of their length, an open one, a cross."""


RITARDANDO = "rit."
"""The word where music begins to slow down."""


SHORT_CLOSE = ("accent", "staccato")
"""How a short last note is struck."""


@dataclass(frozen=True, slots=True)
class ScoreSymbol:
    """A symbol of a score with its marks: its id, a finger for each of its names or none, the word printed below, its head.

    `close` is `held` on a last note with a fermata, `button` on one that is short and accented; `head` is one of `HEADS`.
    `slur` is `start` or `stop` where one begins or ends; `dynamic` is a word such as mf.
    """

    symbol: Symbol
    id: str = ""
    fingers: tuple[int, ...] = ()
    name: str = ""
    close: str = ""
    head: str = ""
    slur: str = ""
    accent: bool = False
    dynamic: str = ""

    @property
    def articulations(self) -> tuple[str, ...]:
        """How it is struck: accent, staccato."""
        if self.close == "button":
            return SHORT_CLOSE
        return ("accent",) if self.accent else ()


@dataclass(frozen=True, slots=True)
class ScoreBar:
    """A bar of a score: its number, its length in ticks, the symbols on each staff, and chord symbols with their ticks.

    `section` is the name of the section that begins with it, `metre` is None if it has that of the score; `slows` is
    the tick in it at which the music begins to slow down, None if it doesn't.
    """

    number: int
    length: int
    staves: tuple[tuple[ScoreSymbol, ...], ...]
    chords: tuple[tuple[int, Chord], ...] = ()
    section: str = ""
    metre: Metre | None = None
    slows: int | None = None


@dataclass(frozen=True, slots=True)
class ScoreStaff:
    """A staff of a score: the part on it, the letter of its clef, and whether it sounds an octave lower than written."""

    part: str = "right"
    clef: str = "G"
    lowered: bool = False


@dataclass(frozen=True)
class Score:
    """What a writer of a notation format writes: bars under a key and a metre, on staves from the highest down.

    `id` is the prefix of all ids in it, `heading` the text above it; `tempo` is in quarter notes a minute, `swing` the
    ratio of the first eighth to the second. A score that is `free` has no metre: its bars are as long as they are, and its notes have no stems.
    """

    id: str
    metre: Metre
    key: Key
    bars: tuple[ScoreBar, ...]
    heading: str = ""
    tempo: int = 120
    swing: float = 1.0
    staves: tuple[ScoreStaff, ...] = (ScoreStaff(),)
    free: bool = False

    @property
    def hands(self) -> int:
        """How many staves are those of the hands: the first ones, which a brace joins where there are two."""
        return sum(staff.part != "bass" for staff in self.staves)

    @cached_property
    def slurs(self) -> Mapping[str, str]:
        """The id of the symbol on which each slur ends, by that of the symbol on which it begins."""
        staves = range(len(self.staves))
        signs = [each.id for n in staves for bar in self.bars for each in bar.staves[n] if each.slur]
        return dict(zip(signs[::2], signs[1::2], strict=True))

    def is_short(self, bar: ScoreBar) -> bool:
        return self.free or bar.length < self.metre_of(bar).bar

    def metre_of(self, bar: ScoreBar) -> Metre:
        return bar.metre or self.metre

    @property
    def metres(self) -> tuple[Metre, ...]:
        """The metre of each bar."""
        return tuple(map(self.metre_of, self.bars))


def ids_of(bars: Iterable[Sequence[Symbol]], prefix: str) -> list[list[str]]:
    """An id for each symbol of a line, "" for rests: notes are counted from 0.

    The parts tied to a note have the note's id followed by `t1`, `t2` ...

    >>> tied = Symbol(0, 480, ("C5",), "q", tied_from=True)
    >>> ids_of([[Symbol(480, 480, ("C5",), "q", tied_to=True)], [tied, Symbol(480, 480, (), "q")]], "a-n")
    [['a-n0'], ['a-n0t1', '']]
    """
    note, part = -1, 0
    found = []
    for bar in bars:
        row = []
        for symbol in bar:
            if not symbol.is_rest:
                note, part = (note, part + 1) if symbol.tied_from else (note + 1, 0)
            tied = f"t{part}" if part else ""
            row.append("" if symbol.is_rest else f"{prefix}{note}{tied}")
        found.append(row)
    return found


def note_ids(score: Score) -> list[list[str]]:
    """For each note on the first staff the ids of its written parts, of which a tied note has several."""
    found: list[list[str]] = []
    for bar in score.bars:
        for each in bar.staves[0]:
            if each.symbol.is_rest:
                continue
            if not each.symbol.tied_from:
                found.append([])
            found[-1].append(each.id)
    return found
