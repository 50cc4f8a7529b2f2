"""A second, independent reading of the hard rules, leaning on music21.

It reads the JSON document that ``fillgen ideas --format json`` prints and lists every fault of every
idea.  Nothing here uses the program's own predicates: chord tones come from music21's chord formulas,
scales from its keys, accents from its metres, and every passing or neighbour note is read twice, once in
semitones here and once as a spelled three-note segment there.

Units: times are quarter notes, heights are MIDI numbers (semitones), pitch classes run 0..11.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import accumulate, pairwise
from typing import Any

from music21 import harmony, key, meter, pitch, voiceLeading

TOLERANCE = 0.01
"""Two times closer than this many quarter notes are the same time."""

SILENT = "N.C."
CHORD_TONE = "chord tone"
LARGEST_STEP = 2
SMALLEST_APPOGGIATURA_LEAP = 3
LARGEST_FREE_LEAP = 5

MAJOR_SCALE = (0, 2, 4, 5, 7, 9, 11)
LETTERS = "CDEFGAB"

LENGTHS = {"w": 4.0, "h": 2.0, "q": 1.0, "e": 0.5, "s": 0.25}
"""Quarter notes in each written note length."""

STRONG = {
    "4/4": (0.0, 2.0),
    "2/2": (0.0, 2.0),
    "3/4": (0.0,),
    "2/4": (0.0,),
    "6/8": (0.0, 1.5),
    "9/8": (0.0, 1.5, 3.0),
    "12/8": (0.0, 1.5, 3.0, 4.5),
    "5/4": (0.0, 3.0),
    "7/4": (0.0, 4.0),
    "7/8": (0.0, 1.0, 2.0),
}
"""Strong places of each metre, in quarter notes from the bar line."""

UNEVEN = {"5/4": "3/4+2/4", "7/4": "4/4+3/4", "7/8": "2/8+2/8+3/8"}
"""How music21 must be told the grouping of a metre that is not even."""

KINDS: dict[str, tuple[str, str]] = {
    "": ("major", ""),
    "m": ("minor", ""),
    "dim": ("diminished", ""),
    "aug": ("augmented", ""),
    "7": ("dominant-seventh", ""),
    "maj7": ("major-seventh", ""),
    "m7": ("minor-seventh", ""),
    "m7b5": ("half-diminished-seventh", ""),
    "dim7": ("diminished-seventh", ""),
    "m(maj7)": ("minor-major-seventh", ""),
    "mMaj7": ("minor-major-seventh", ""),
    "mM7": ("minor-major-seventh", ""),
    "6": ("major-sixth", ""),
    "m6": ("minor-sixth", ""),
    "6/9": ("major-sixth", "9"),
    "add9": ("major", "9"),
    "9": ("dominant-ninth", ""),
    "maj9": ("major-ninth", ""),
    "m9": ("minor-ninth", ""),
    "7b9": ("dominant-seventh", "-9"),
    "7#9": ("dominant-seventh", "#9"),
    "7#11": ("dominant-seventh", "#11"),
    "maj7#11": ("major-seventh", "#11"),
    "7b13": ("dominant-seventh", "-13"),
    "7b5": ("seventh-flat-five", ""),
    "7#5": ("augmented-seventh", ""),
    "maj7#5": ("augmented-major-seventh", ""),
    "7sus4": ("suspended-fourth-seventh", ""),
    "sus4": ("suspended-fourth", ""),
    "sus2": ("suspended-second", ""),
    "5": ("power", ""),
    "11": ("dominant-11th", ""),
    "m11": ("minor-11th", ""),
    "13": ("dominant-13th", ""),
    "maj13": ("major-13th", ""),
    "m13": ("minor-13th", ""),
    "13b9": ("dominant-13th", "-9"),
}
"""Each written suffix: music21's name of the kind, and a degree put into its formula."""

FAMILIES = {"1": (0,), "3": (4, 3, 5, 2), "5": (7, 6, 8)}
"""Semitones over the root that stand for a degree, best first: a suspended note stands for the third."""

SYMBOL = re.compile(r"([A-G](?:#{1,2}|b{1,2})?)(.*?)(?:/[A-G](?:##?|bb?)?)?")
NAME = re.compile(r"([A-G])(#*|b*)(-?\d+)")
DEGREE = re.compile(r"(#*|b*)(\d+)")
TOKEN = re.compile(
    r"(?:(?P<name>[A-G](?:#{1,2}|b{1,2})?\d)|r)"
    r"(?P<letter>[whqes])(?P<dots>\.*)(?P<triplet>t?)(?P<tie>~?)"
)


@dataclass(frozen=True)
class Limits:
    """What a level allows: range in MIDI numbers, largest leap in semitones, roles, final degrees."""

    low: int
    high: int
    leap: int
    roles: frozenset[str]
    final_degrees: tuple[str, ...] = ("1", "3")


@dataclass(frozen=True)
class Chord:
    """A chord from ``start`` (quarter notes from the start of the chart) until the next one."""

    start: float
    symbol: str
    root: int
    tones: frozenset[int]
    field: frozenset[int]
    """Pitch classes of the key's scale with the chord's tones in the place of the same letters."""
    leading: int | None = None
    """The raised seventh of a minor key, which may pass on its way up to the tonic."""
    climbing: int | None = None
    """The raised sixth of a minor key, which may pass on its way up to the raised seventh."""
    third: int | None = None
    """The blue third of a blues, which slides up a half step."""
    fifth: int | None = None
    """The blue fifth of a blues, which slides a half step either way."""


@dataclass(frozen=True)
class Chart:
    """The chart: lengths in quarter notes, ``strong`` places in quarter notes from its start."""

    metre: str
    lines: tuple[float, ...]
    """Where each bar begins, and the end of the last."""
    beat: float
    bars: tuple[int, ...]
    chords: tuple[Chord, ...]
    starts: tuple[float, ...]
    strong: tuple[float, ...]

    @property
    def length(self) -> float:
        """Quarter notes in the whole chart."""
        return self.lines[-1]

    def bar_at(self, time: float) -> int:
        """The bar, counted from 0, in which a time (quarter notes) lies."""
        return bisect_right(self.lines, time + TOLERANCE) - 1

    def chord_at(self, time: float) -> Chord:
        """The chord sounding at a time (quarter notes)."""
        return self.chords[max(bisect_right(self.starts, time + TOLERANCE) - 1, 0)]

    def is_strong(self, time: float) -> bool:
        """Whether a time (quarter notes) is a strong place."""
        place = bisect_left(self.strong, time - TOLERANCE)
        return place < len(self.strong) and self.strong[place] <= time + TOLERANCE

    def strong_inside(self, start: float, end: float) -> tuple[float, ...]:
        """The strong places after ``start`` and before ``end`` (quarter notes), ends left out."""
        first = bisect_right(self.strong, start + TOLERANCE)
        return self.strong[first : bisect_left(self.strong, end - TOLERANCE)]


@dataclass(frozen=True)
class Note:
    """One note of an idea: times in quarter notes from the start of the phrase, ``midi`` in semitones."""

    bar: int
    onset: float
    duration: float
    midi: int
    name: str
    role: str
    degree: str

    @property
    def end(self) -> float:
        """Quarter notes from the start of the phrase to the end of the note."""
        return self.onset + self.duration


@dataclass(frozen=True)
class Token:
    """One written token: a spelled note ("" for a rest), its length in quarter notes, and its tie."""

    name: str
    length: float
    tied: bool


@dataclass(frozen=True)
class Written:
    """One note read from a phrase text: times in quarter notes from the start of the phrase."""

    name: str
    onset: float
    duration: float


@dataclass(frozen=True)
class Phrase:
    """An idea laid over the chart: its notes in order of time, each with its chord and its stress."""

    rank: int
    chart: Chart
    limits: Limits
    notes: tuple[Note, ...]
    chords: tuple[Chord, ...]
    strong: tuple[bool, ...]

    def move_in(self, i: int) -> int | None:
        """Semitones from the sounding note before (None at the start)."""
        return self.notes[i].midi - self.notes[i - 1].midi if i > 0 else None

    def move_out(self, i: int) -> int | None:
        """Semitones to the sounding note after (None at the end)."""
        return self.notes[i + 1].midi - self.notes[i].midi if i + 1 < len(self.notes) else None

    def in_chord(self, i: int) -> bool:
        """Whether a note is a tone of the chord at its onset."""
        return self.notes[i].midi % 12 in self.chords[i].tones

    def resolves(self, i: int) -> bool:
        """Whether the note after is a tone of the chord at its own onset."""
        return i + 1 < len(self.notes) and self.in_chord(i + 1)


# --- pitch -----------------------------------------------------------------------------------------------


def _spelled(name: str) -> str:
    """A written name in music21's spelling, where a flat is a minus sign."""
    return name[:1] + name[1:].replace("b", "-")


@cache
def pitch_class(name: str) -> int:
    """The pitch class (0..11) of a spelled name without octave, such as Eb."""
    return int(pitch.Pitch(_spelled(name)).pitchClass)


@cache
def height(name: str) -> int | None:
    """The MIDI number of a spelled name with octave, such as F#5 (None if it is not a name)."""
    return int(pitch.Pitch(_spelled(name)).ps) if NAME.fullmatch(name) else None


@cache
def staff_place(name: str) -> int:
    """The place of a spelled name on the staff, counted in letters, whatever its accidentals."""
    found = NAME.fullmatch(name)
    if found is None:
        raise ValueError(f"{name!r} is not a note name")
    return LETTERS.index(found[1]) + 7 * int(found[3])


@cache
def degree_semitones(degree: str) -> int | None:
    """Semitones (0..11) over the root of a degree such as b9 (None if it is not a degree)."""
    found = DEGREE.fullmatch(degree)
    if found is None or int(found[2]) < 1:
        return None
    natural = MAJOR_SCALE[(int(found[2]) - 1) % 7]
    return (natural + found[1].count("#") - found[1].count("b")) % 12


# --- chords and scale ------------------------------------------------------------------------------------


def _split(symbol: str) -> tuple[str, str]:
    """The root and the suffix of a chord symbol; a slash bass is left out."""
    found = SYMBOL.fullmatch(symbol)
    if found is None or found[2] not in KINDS:
        raise ValueError(f"chord symbol {symbol!r} is not known")
    return found[1], found[2]


def _formula(suffix: str) -> dict[int, str]:
    """The degrees of a kind, each with its accidental as music21 writes it ('-' flat, '#' sharp)."""
    kind, added = KINDS[suffix]
    formula: Any = harmony.CHORD_TYPES[kind][0]
    written = [str(degree) for degree in formula.split(",")] + ([added] if added else [])
    return {int(degree.strip("-#")): degree.rstrip("0123456789") for degree in written}


@cache
def chord_tones(symbol: str) -> frozenset[int]:
    """The pitch classes of a chord symbol by music21's formulas; raises ValueError if not known."""
    root, suffix = _split(symbol)
    degrees = (sign.replace("-", "b") + str(number) for number, sign in _formula(suffix).items())
    return frozenset((pitch_class(root) + (degree_semitones(degree) or 0)) % 12 for degree in degrees)


@cache
def chord_letters(symbol: str) -> dict[int, str]:
    """The letter on which theory stacks each pitch class of a chord symbol: the thirds above its root."""
    root, suffix = _split(symbol)
    found = {}
    for number, sign in _formula(suffix).items():
        semitones = degree_semitones(sign.replace("-", "b") + str(number)) or 0
        letter = "CDEFGAB"[("CDEFGAB".index(root[0]) + number - 1) % 7]
        found[(pitch_class(root) + semitones) % 12] = letter
    return found


@cache
def _may_be_thinner(symbol: str) -> bool:
    """Whether a chart may give fewer tones than music21: only in eleventh and thirteenth kinds."""
    return KINDS[_split(symbol)[1]][0].endswith(("11th", "13th"))


@cache
def _tones_agree(symbol: str, tones: frozenset[int]) -> bool:
    """Whether a chart's tones are music21's (or, where allowed, some of them with the root)."""
    full = chord_tones(symbol)
    thinner = _may_be_thinner(symbol) and pitch_class(_split(symbol)[0]) in tones and tones < full
    return tones == full or thinner


@cache
def scale_letters(key_name: str) -> dict[str, int]:
    """The pitch class of each letter in a key such as "Eb major" or "C minor" (natural minor)."""
    tonic, mode = key_name.split()
    mode = "minor" if mode == "minor" else "major"
    return {str(tone.step): int(tone.pitchClass) for tone in key.Key(_spelled(tonic), mode).pitches}


@cache
def _field(key_name: str, tones: tuple[str, ...], symbol: str) -> frozenset[int]:
    """The scale's pitch classes with chord tones put in the place of the letters they are stacked on.

    A chart prints Bbdim7 as Bb Db E G; its seventh stands on A all the same.
    """
    stacked = chord_letters(symbol)
    letters = {stacked.get(pitch_class(tone), tone[0]) for tone in tones}
    tonic, mode = key_name.split()
    scale = dict(scale_letters(key_name))
    if mode == "blues" and (pitch_class(tonic) + 3) % 12 in map(pitch_class, tones):
        seventh = next(letter for letter, tone in scale.items() if tone == (pitch_class(tonic) + 11) % 12)
        scale[seventh] = (pitch_class(tonic) + 10) % 12
    kept = {tone for letter, tone in scale.items() if letter not in letters}
    return frozenset(kept | {pitch_class(tone) for tone in tones})


# --- metre -----------------------------------------------------------------------------------------------


def bar_length(metre: str) -> float:
    """Quarter notes in a bar of a metre."""
    count, unit = metre.split("/")
    return int(count) * 4 / int(unit)


def beat_length(metre: str) -> float:
    """Quarter notes in one beat: a dotted quarter in compound metres, a half in 2/2, else a quarter."""
    return {"8": 1.5, "2": 2.0}.get(metre.split("/")[1], 1.0)


@cache
def accents_agree(metre: str) -> bool:
    """Whether music21 weighs every strong place of a metre above every other eighth note of the bar."""
    signature: Any = meter.TimeSignature(UNEVEN.get(metre, metre))
    places = [eighth / 2 for eighth in range(int(bar_length(metre) * 2))]
    weights = {place: float(signature.getAccentWeight(place)) for place in places}
    weak = max(weight for place, weight in weights.items() if place not in STRONG[metre])
    return weak < min(weights[place] for place in STRONG[metre])


# --- reading the chart -----------------------------------------------------------------------------------


def metres_of(chart: dict[str, Any]) -> list[str]:
    """The metre of each bar: its own where it names one, else the chart's."""
    return [bar.get("metre", chart["metre"]) for bar in chart["bars"]]


def lines_of(metres: Iterable[str]) -> tuple[float, ...]:
    """Where bars of some metres begin, and the end of the last, in quarter notes."""
    return tuple(accumulate(map(bar_length, metres), initial=0.0))


def _events(chart: dict[str, Any]) -> Iterator[tuple[float, dict[str, Any]]]:
    """Every chord entry of the chart with its start in quarter notes from the start of the chart."""
    for start, bar in zip(lines_of(metres_of(chart)), chart["bars"], strict=False):
        for entry in bar["chords"]:
            yield start + entry["onset"], entry


def _heard_tones(entry: dict[str, Any]) -> frozenset[int]:
    """The tones to judge by: the chart's where they may stand, else music21's."""
    own = frozenset(pitch_class(tone) for tone in entry["tones"])
    return own if _tones_agree(entry["symbol"], own) else chord_tones(entry["symbol"])


def _chord(start: float, entry: dict[str, Any], key_name: str) -> Chord:
    """A chord of the chart as it is heard."""
    symbol = entry["symbol"]
    field = _field(key_name, tuple(entry["tones"]), symbol)
    tonic, mode = key_name.split()
    above = {"minor": (11, 9, None, None), "blues": (None, None, 3, 6)}.get(mode, (None,) * 4)
    further = (None if rise is None else (pitch_class(tonic) + rise) % 12 for rise in above)
    return Chord(start, symbol, pitch_class(_split(symbol)[0]), _heard_tones(entry), field, *further)


def _chords(chart: dict[str, Any]) -> tuple[Chord, ...]:
    """The chords as they change in the ear: silences and repeats go on, the first begins the chart."""
    chords: list[Chord] = []
    for start, entry in _events(chart):
        if entry["symbol"] != SILENT and (not chords or chords[-1].symbol != entry["symbol"]):
            chords.append(_chord(start if chords else 0.0, entry, entry.get("key", chart["key"])))
    return tuple(chords)


def _strong_places(metres: Sequence[str], chords: Iterable[Chord]) -> tuple[float, ...]:
    """Every strong beat and every change of chord, in quarter notes from the start of the chart."""
    starts = zip(lines_of(metres), metres, strict=False)
    beats = [start + beat for start, metre in starts for beat in STRONG[metre]]
    changes = [chord.start for chord in chords if all(abs(chord.start - beat) > TOLERANCE for beat in beats)]
    return tuple(sorted(beats + changes))


def _read_chart(chart: dict[str, Any]) -> Chart:
    """The chart of a document."""
    metre, metres, chords = chart["metre"], metres_of(chart), _chords(chart)
    bars = tuple(bar["bar"] for bar in chart["bars"])
    starts = tuple(chord.start for chord in chords)
    strong = _strong_places(metres, chords)
    return Chart(metre, lines_of(metres), beat_length(metre), bars, chords, starts, strong)


def _tones_fault(entry: dict[str, Any]) -> str:
    """The fault of one chord entry's tones ("" if none)."""
    symbol, own = entry["symbol"], frozenset(pitch_class(tone) for tone in entry["tones"])
    try:
        right = symbol == SILENT or _tones_agree(symbol, own)
    except ValueError as unknown:
        return f"chord tones: {unknown}"
    return "" if right else f"chord tones: {symbol} is {sorted(chord_tones(symbol))}, not {sorted(own)}"


def _metre_faults(metre: str) -> list[str]:
    """The faults of the metre itself."""
    if metre not in STRONG:
        return [f"chart: metre: {metre} is not a metre of the rules"]
    return [] if accents_agree(metre) else [f"chart: metre: music21 stresses {metre} otherwise"]


def _chart_faults(chart: dict[str, Any]) -> list[str]:
    """The faults of the chart: its metre and its chords' tones."""
    entries = [(bar["bar"], entry) for bar in chart["bars"] for entry in bar["chords"]]
    found = [(bar, entry["onset"], _tones_fault(entry)) for bar, entry in entries]
    silent = all(entry["symbol"] == SILENT for _, entry in entries)
    lines = [f"chart: bar {bar}, quarter {onset:g}: {fault}" for bar, onset, fault in found if fault]
    metres = [fault for metre in dict.fromkeys(metres_of(chart)) for fault in _metre_faults(metre)]
    return metres + lines + ["chart: chord tones: no chord at all"] * silent


def _readable(chart: dict[str, Any]) -> bool:
    """Whether ideas can be judged over the chart at all: known metre, known symbols, some chord."""
    symbols = [entry["symbol"] for bar in chart["bars"] for entry in bar["chords"]]
    sounding = [SYMBOL.fullmatch(symbol) for symbol in symbols if symbol != SILENT]
    known = all(found is not None and found[2] in KINDS for found in sounding)
    return set(metres_of(chart)) <= set(STRONG) and bool(sounding) and known


# --- reading the phrase text -----------------------------------------------------------------------------


@cache
def _token(text: str) -> Token:
    """One token such as ``Eb5q.`` or ``re``; raises ValueError if it cannot be read."""
    found = TOKEN.fullmatch(text)
    if found is None or (found["tie"] and not found["name"]):
        raise ValueError(f"cannot read {text!r}")
    length = LENGTHS[found["letter"]] * (2 - 0.5 ** len(found["dots"]))
    return Token(found["name"] or "", length * 2 / 3 if found["triplet"] else length, bool(found["tie"]))


def _tokens(text: str, bar: float | Sequence[float]) -> Iterator[tuple[float, Token]]:
    """Every token with its onset (quarter notes); raises ValueError if a bar is not exactly full."""
    bars = text.strip(" |").split("|")
    lines = [n * bar for n in range(len(bars) + 1)] if isinstance(bar, int | float) else bar
    for count, (written, start, end) in enumerate(zip(bars, lines, lines[1:], strict=False)):
        time = start
        for token in map(_token, written.split()):
            yield time, token
            time += token.length
        if abs(time - end) > TOLERANCE:
            raise ValueError(f"bar {count + 1} lasts {time - start:g} quarters, not {end - start:g}")
    if len(lines) <= len(bars):
        raise ValueError(f"there are {len(bars)} bars, not {len(lines) - 1}")


def _prolong(note: Written, token: Token) -> Written:
    """A note tied on into a token; raises ValueError if the pitch is another."""
    if not token.name or height(token.name) != height(note.name):
        raise ValueError(f"{note.name} is tied to {token.name or 'a rest'}")
    return replace(note, duration=note.duration + token.length)


def read_text(text: str, bar: float | Sequence[float]) -> tuple[Written, ...]:
    """The notes of a phrase text over bars of ``bar`` quarter notes, tied tokens made one note.

    Instead of one length there may be the times at which bars begin, and the end of the last.
    """
    notes: list[Written] = []
    tied = False
    for onset, token in _tokens(text, bar):
        if tied:
            notes[-1] = _prolong(notes[-1], token)
        elif token.name:
            notes.append(Written(token.name, onset, token.length))
        tied = token.tied
    if tied:
        raise ValueError(f"{notes[-1].name} is tied to nothing")
    return tuple(notes)


# --- what the roles mean ---------------------------------------------------------------------------------


def _is_step(move: int | None) -> bool:
    """Whether a move (semitones) is a step."""
    return move is not None and 1 <= abs(move) <= LARGEST_STEP


def _is_passing(phrase: Phrase, i: int) -> bool:
    """Step in, step out, the same way."""
    first, second = phrase.move_in(i), phrase.move_out(i)
    return _is_step(first) and _is_step(second) and (first or 0) * (second or 0) > 0


def _is_neighbour(phrase: Phrase, i: int) -> bool:
    """Step out and back to the same pitch."""
    first, second = phrase.move_in(i), phrase.move_out(i)
    return _is_step(first) and second is not None and second == -(first or 0)


def _is_held_over(phrase: Phrase, i: int) -> bool:
    """Whether a note sounds on into the next chord and is a tone of it."""
    note, chart = phrase.notes[i], phrase.chart
    place = bisect_right(chart.starts, note.onset + TOLERANCE)
    coming = chart.chords[place : place + 1]
    return any(c.start < note.end - TOLERANCE and note.midi % 12 in c.tones for c in coming)


def _is_anticipation(phrase: Phrase, i: int) -> bool:
    """The coming chord's tone heard early: struck again in that chord, or held into it."""
    return (phrase.move_out(i) == 0 and phrase.resolves(i)) or _is_held_over(phrase, i)


def _encloses(phrase: Phrase, i: int) -> bool:
    """Whether notes i and i + 1 lie either side of chord tone i + 2, each within a whole tone of it."""
    if i < 0 or i + 2 >= len(phrase.notes) or not phrase.in_chord(i + 2):
        return False
    first, second, goal = (note.midi for note in phrase.notes[i : i + 3])
    return _is_step(first - goal) and _is_step(second - goal) and (first - goal) * (second - goal) < 0


def is_blue(phrase: Phrase, i: int) -> bool:
    """A blue note on a weak place that slides."""
    chord, own = phrase.chords[i], phrase.notes[i].midi % 12
    ways = ((chord.third, 1), (chord.fifth, 1), (chord.fifth, -1))
    return not phrase.strong[i] and own not in chord.field and (own, phrase.move_out(i)) in ways


def _is_approach(phrase: Phrase, i: int) -> bool:
    """Left by a semitone into a chord tone, or one of two notes enclosing a chord tone."""
    slides = phrase.move_out(i) in (-1, 1) and phrase.resolves(i)
    return slides or is_blue(phrase, i) or _encloses(phrase, i) or _encloses(phrase, i - 1)


def _is_appoggiatura(phrase: Phrase, i: int) -> bool:
    """On a strong place, leapt to, left by step the other way to a chord tone."""
    first, second = phrase.move_in(i) or 0, phrase.move_out(i)
    leapt = abs(first) >= SMALLEST_APPOGGIATURA_LEAP
    turned = _is_step(second) and first * (second or 0) < 0
    return phrase.strong[i] and leapt and turned and phrase.resolves(i)


ROLES: dict[str, Callable[[Phrase, int], bool]] = {
    CHORD_TONE: Phrase.in_chord,
    "passing": _is_passing,
    "neighbour": _is_neighbour,
    "anticipation": _is_anticipation,
    "approach": _is_approach,
    "appoggiatura": _is_appoggiatura,
}


@cache
def _spelled_in_seconds(first: str, middle: str, last: str) -> bool:
    """Whether both moves of a triple are spelled as seconds the way they sound, so that music21 must agree."""
    return all(_is_second(middle, end) for end in (first, last))


def _is_second(one: str, other: str) -> bool:
    """Whether two spelled notes lie on neighbouring letters, the higher letter being the higher note."""
    rise = (height(other) or 0) - (height(one) or 0)
    return (
        abs(staff_place(other) - staff_place(one)) == 1 and (staff_place(other) - staff_place(one)) * rise > 0
    )


@cache
def music21_reads(role: str, first: str, middle: str, last: str) -> bool:
    """Whether music21 takes the middle of three spelled notes for passing, or for a neighbour."""
    linear: Any = voiceLeading.ThreeNoteLinearSegment
    segment = linear(_spelled(first), _spelled(middle), _spelled(last))
    return bool(segment.couldBePassingTone() if role == "passing" else segment.couldBeNeighborTone())


def _music21_differs(phrase: Phrase, i: int) -> bool:
    """Whether music21 refuses a passing or neighbour note that is spelled in seconds."""
    names = (phrase.notes[i - 1].name, phrase.notes[i].name, phrase.notes[i + 1].name)
    if any(height(name) is None for name in names) or not _spelled_in_seconds(*names):
        return False
    return not music21_reads(phrase.notes[i].role, *names)


# --- rules of one note -----------------------------------------------------------------------------------


def _strong_fault(phrase: Phrase, i: int) -> str:
    """A note struck on a strong place is a chord tone, or an appoggiatura where that is allowed."""
    if not phrase.strong[i] or phrase.in_chord(i):
        return ""
    role = phrase.notes[i].role
    excused = role == "appoggiatura" and role in phrase.limits.roles
    return "" if excused else f"strong beat: not a tone of {phrase.chords[i].symbol}"


def _held_fault(phrase: Phrase, i: int) -> str:
    """A note held over a strong place is a tone of the chord there."""
    note, chart = phrase.notes[i], phrase.chart
    over = map(chart.chord_at, chart.strong_inside(note.onset, note.end))
    clashes = [chord.symbol for chord in over if note.midi % 12 not in chord.tones]
    return f"held note: held over a strong place, not a tone of {clashes[0]}" if clashes else ""


def _role_fault(phrase: Phrase, i: int) -> str:
    """The stated role is known, allowed, and truly fulfilled."""
    role = phrase.notes[i].role
    slides = role == "approach" and is_blue(phrase, i)
    if role != CHORD_TONE and not slides and (role not in phrase.limits.roles or role not in ROLES):
        return f"role allowed: {role!r} is not allowed here"
    if phrase.in_chord(i) and role != CHORD_TONE:
        return f"role: a tone of {phrase.chords[i].symbol} is called {role}"
    return "" if ROLES[role](phrase, i) else f"role: it is no {role} over {phrase.chords[i].symbol}"


def _music21_fault(phrase: Phrase, i: int) -> str:
    """A passing or neighbour note spelled in seconds is one to music21 as well."""
    role = phrase.notes[i].role
    if role not in ("passing", "neighbour") or not ROLES[role](phrase, i):
        return ""
    return f"music21: does not read it as {role}" if _music21_differs(phrase, i) else ""


def _scale_fault(phrase: Phrase, i: int) -> str:
    """Passing and neighbour notes keep to the scale as the chord bends it."""
    note = phrase.notes[i]
    chord = phrase.chords[i]
    leads = (note.midi % 12, phrase.move_out(i)) in ((chord.leading, 1), (chord.climbing, 2))
    foreign = note.midi % 12 not in chord.field and not leads
    bound = note.role in ("passing", "neighbour")
    return f"scale: foreign to the key over {phrase.chords[i].symbol}" if bound and foreign else ""


def _clash_fault(phrase: Phrase, i: int) -> str:
    """A note a semitone above a chord tone is never strong and never longer than a beat over that chord."""
    note = phrase.notes[i]
    if phrase.in_chord(i) or (note.midi - 1) % 12 not in phrase.chords[i].tones:
        return ""
    if phrase.strong[i]:
        return "semitone above: a semitone above a chord tone on a strong place"
    coming = bisect_right(phrase.chart.starts, note.onset + TOLERANCE)
    own_end = min([note.end, *phrase.chart.starts[coming : coming + 1]])
    long = own_end - note.onset > phrase.chart.beat + TOLERANCE
    return "semitone above: a semitone above a chord tone for longer than a beat" if long else ""


def _range_fault(phrase: Phrase, i: int) -> str:
    """Every note lies in the range."""
    low, high = phrase.limits.low, phrase.limits.high
    return "" if low <= phrase.notes[i].midi <= high else f"range: outside {low}..{high}"


def _leap_fault(phrase: Phrase, i: int) -> str:
    """No move exceeds the largest leap."""
    move = abs(phrase.move_in(i) or 0)
    return f"largest leap: {move} semitones, over {phrase.limits.leap}" if move > phrase.limits.leap else ""


def _turn_fault(phrase: Phrase, i: int) -> str:
    """A leap of more than a fourth is followed by a move the other way."""
    move, after = phrase.move_in(i) or 0, phrase.move_out(i) or 0
    if abs(move) <= LARGEST_FREE_LEAP or move * after < 0:
        return ""
    return f"turn back: a leap of {move:+d} semitones does not turn back"


def _overlap_fault(phrase: Phrase, i: int) -> str:
    """A note begins no earlier than the one before it ends, and lasts."""
    note = phrase.notes[i]
    if note.duration <= TOLERANCE:
        return "overlap: the note has no length"
    early = i > 0 and note.onset < phrase.notes[i - 1].end - TOLERANCE
    return "overlap: begins before the note before it has ended" if early else ""


def _inside_fault(phrase: Phrase, i: int) -> str:
    """A note lies inside the bars of the chart."""
    note = phrase.notes[i]
    inside = note.onset >= -TOLERANCE and note.end <= phrase.chart.length + TOLERANCE
    return "" if inside else "inside the bars: the note lies outside the chart"


def _bar_fault(phrase: Phrase, i: int) -> str:
    """The bar number is that of the bar in which the note begins."""
    note, chart = phrase.notes[i], phrase.chart
    count = chart.bar_at(note.onset)
    right = not 0 <= count < len(chart.bars) or chart.bars[count] == note.bar
    return "" if right else f"bar number: the onset lies in bar {chart.bars[count]}"


def _name_fault(phrase: Phrase, i: int) -> str:
    """The spelled name sounds as the MIDI number says."""
    note = phrase.notes[i]
    return "" if height(note.name) == note.midi else f"name: {note.name} is not {note.midi}"


def _degree_fault(phrase: Phrase, i: int) -> str:
    """The degree is as many semitones over the root as the note."""
    note, chord = phrase.notes[i], phrase.chords[i]
    right = degree_semitones(note.degree) == (note.midi - chord.root) % 12
    return "" if right else f"degree: it is not the {note.degree} of {chord.symbol}"


NOTE_RULES: tuple[Callable[[Phrase, int], str], ...] = (
    _strong_fault,
    _held_fault,
    _role_fault,
    _music21_fault,
    _scale_fault,
    _clash_fault,
    _range_fault,
    _leap_fault,
    _turn_fault,
    _overlap_fault,
    _inside_fault,
    _bar_fault,
    _name_fault,
    _degree_fault,
)


# --- rules of one idea -----------------------------------------------------------------------------------


def _final_tones(chord: Chord, degrees: Iterable[str]) -> set[int]:
    """The pitch classes a phrase may end on: the best tone the chord has of each degree family."""
    over = {(tone - chord.root) % 12 for tone in chord.tones}
    best = (next((step for step in FAMILIES[degree] if step in over), None) for degree in degrees)
    return {(chord.root + step) % 12 for step in best if step is not None}


def _ending_fault(phrase: Phrase) -> str:
    """The final note is a final degree of the chart's last chord."""
    if not phrase.notes:
        return "ending: the idea has no notes"
    chord = phrase.chart.chords[-1]
    right = phrase.notes[-1].midi % 12 in _final_tones(chord, phrase.limits.final_degrees)
    return "" if right else f"ending: {phrase.notes[-1].name} is no final degree of {chord.symbol}"


def _same(written: Written, note: Note) -> bool:
    """Whether a note read from the text is the note of the document."""
    early, short = abs(written.onset - note.onset), abs(written.duration - note.duration)
    return written.name == note.name and early <= TOLERANCE and short <= TOLERANCE


def _text_fault(phrase: Phrase, text: str) -> str:
    """The phrase text reads as the same notes."""
    try:
        written = read_text(text, phrase.chart.lines)
    except ValueError as unreadable:
        return f"text: {unreadable}"
    if len(written) != len(phrase.notes):
        return f"text: reads as {len(written)} notes, not {len(phrase.notes)}"
    pairs = zip(written, phrase.notes, strict=True)
    return next((f"text: {note.name} reads otherwise" for w, note in pairs if not _same(w, note)), "")


def _terms_faults(idea: dict[str, Any]) -> list[str]:
    """Every term of the score lies between 0 and 1."""
    wrong = [(name, term) for name, term in idea["terms"].items() if not 0 <= term <= 1]
    return [f"terms: {name} is {term}" for name, term in wrong]


def _phrase(idea: dict[str, Any], chart: Chart, limits: Limits) -> Phrase:
    """An idea of the document laid over the chart."""
    fields = Note.__dataclass_fields__
    unsorted = [Note(**{field: note[field] for field in fields}) for note in idea["notes"]]
    notes = tuple(sorted(unsorted, key=lambda note: note.onset))
    chords = tuple(chart.chord_at(note.onset) for note in notes)
    strong = tuple(chart.is_strong(note.onset) for note in notes)
    return Phrase(idea["rank"], chart, limits, notes, chords, strong)


def _beat(chart: Chart, time: float) -> str:
    """The beat (from 1, parts of a beat as decimals) of a time in quarter notes."""
    inside = time - chart.lines[max(0, min(chart.bar_at(time), len(chart.bars) - 1))]
    return f"{round(max(inside, 0) / chart.beat + 1, 2):g}"


def _where(phrase: Phrase, i: int) -> str:
    """The place of a note as a reader would name it."""
    note = phrase.notes[i]
    return f"idea {phrase.rank}, bar {note.bar}, beat {_beat(phrase.chart, note.onset)}, {note.name}"


def _note_faults(phrase: Phrase) -> Iterator[str]:
    """Every fault of every note of a phrase."""
    for i in range(len(phrase.notes)):
        for rule in NOTE_RULES:
            fault = rule(phrase, i)
            if fault:
                yield f"{_where(phrase, i)}: {fault}"


def _idea_faults(idea: dict[str, Any], chart: Chart, limits: Limits) -> list[str]:
    """Every fault of one idea."""
    phrase = _phrase(idea, chart, limits)
    ending, text = _ending_fault(phrase), _text_fault(phrase, idea["text"])
    last = _where(phrase, len(phrase.notes) - 1) if phrase.notes else f"idea {phrase.rank}"
    found = [f"{last}: {ending}"] if ending else []
    whole = ([text] if text else []) + _terms_faults(idea)
    return [*_note_faults(phrase), *found, *(f"idea {phrase.rank}: {fault}" for fault in whole)]


# --- rules of the whole list -----------------------------------------------------------------------------


def _order_faults(ideas: list[dict[str, Any]]) -> list[str]:
    """Ranks are 1, 2, 3 ... and scores do not rise."""
    misplaced = [(idea["rank"], n) for n, idea in enumerate(ideas, 1) if idea["rank"] != n]
    rising = [after["rank"] for before, after in pairwise(ideas) if after["score"] > before["score"]]
    ranks = [f"idea {rank}: rank: should be {n}" for rank, n in misplaced]
    return ranks + [f"idea {rank}: score: rises above the idea before" for rank in rising]


def _print(idea: dict[str, Any]) -> tuple[tuple[int, float, float], ...]:
    """What makes an idea itself: heights, onsets and lengths, rounded well within the tolerance."""
    notes = idea["notes"]
    return tuple((note["midi"], round(note["onset"], 3), round(note["duration"], 3)) for note in notes)


def _twin_faults(ideas: list[dict[str, Any]]) -> list[str]:
    """No two ideas are equal."""
    first: dict[tuple[tuple[int, float, float], ...], int] = {}
    elder = [(idea["rank"], first.setdefault(_print(idea), n), n) for n, idea in enumerate(ideas)]
    return [f"idea {rank}: twins: equal to idea {ideas[old]['rank']}" for rank, old, n in elder if old != n]


def faults(document: dict[str, Any], limits: Limits) -> list[str]:
    """Every fault of a document against the hard rules, one line each (empty if there is none)."""
    found = _chart_faults(document["chart"])
    if not _readable(document["chart"]):
        return found
    chart, ideas = _read_chart(document["chart"]), document["ideas"]
    found += _order_faults(ideas) + _twin_faults(ideas)
    return found + [fault for idea in ideas for fault in _idea_faults(idea, chart, limits)]
