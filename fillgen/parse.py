"""Chart text and phrase text, read and written.

Chart text: bars between `|`; the chords of a bar share its beats evenly; a lone `/` holds a chord one more beat;
`%` repeats a bar; `|: :|` repeats what lies between. Lines at the head of a chart may name its `title:`, `key:`
and `metre:`. Phrase text: `F5q. Eb5e D5h | rq G5q F5h`, with `~` after a length to tie it to the next note.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeVar

from fillgen.chords import Chord, Kind, make_chord, quality, read_chord
from fillgen.errors import ChartError, OptionError, PhraseError, did_you_mean, printable, shorten
from fillgen.metre import LENGTHS, METRES, TICKS, Metre, length_text, split_length
from fillgen.music import Note, Phrase, Progression, Span, laid, spell
from fillgen.pitch import LETTERS, MODES, NATURAL, Key, Name, all_keys, plain_signs, read_pitch

MOST_BARS = 512
"""The longest chart, in bars with repeats written out."""
MOST_TEXT = 100_000
"""The longest chart or phrase text, in characters."""

T = TypeVar("T")
_MOST_SLASHES = 3
_HEADS = ("title", "key", "metre")
_HEAD = re.compile(r"\s*([A-Za-z]+)\s*:(?![|])\s*(.*)")
_SIGN = re.compile(r"\|:|:\|:?|\|\]|\[\||\|+|(?:\([^)|]{0,99}\)|[^\s|:])+|:")
_NUMERAL = re.compile(r"(b|#|)(VII|VI|IV|V|III|II|I|vii|vi|iv|v|iii|ii|i)(.*)", re.DOTALL)
_ROMANS = ("i", "ii", "iii", "iv", "v", "vi", "vii")


# Settings that come as text


def read_metre(text: str) -> Metre:
    """The metre a text names; OptionError where there is none.

    >>> read_metre("6/8").bar
    1440
    """
    if text not in METRES:
        raise OptionError(f"unknown metre {shorten(text)}", hint=f"It is one of: {', '.join(METRES)}.")
    return METRES[text]


def read_key(text: str) -> Key:
    """The key a text names: `Eb`, `Eb major`, `C minor`, `Cm`; OptionError where there is none.

    >>> str(read_key("F#m"))
    'F# minor'
    """
    words = plain_signs(text).split()
    if len(words) == 1 and words[0].endswith("m") and len(words[0]) > 1:
        words = [words[0][:-1], "minor"]
    mode = (
        {"maj": "major", "min": "minor"}.get(words[1].lower(), words[1].lower())
        if len(words) > 1
        else "major"
    )
    known = [str(key) for key in all_keys()]
    wanted = f"{words[0][:1].upper()}{words[0][1:]} {mode}" if words else ""
    if len(words) > 2 or mode not in MODES or wanted not in known:
        hint = did_you_mean(text, known) or "A key is written like 'Eb major' or 'C minor'."
        raise OptionError(f"unknown key {shorten(text)}", hint=hint)
    return all_keys()[known.index(wanted)]


# Charts


class MisreadChartError(ChartError):
    """A chart with signs that cannot be read: the characters from `start` up to `end` are at fault, counted from 0.

    >>> try:
    ...     parse_chart("| C | Hm7 |")
    ... except MisreadChartError as error:
    ...     "| C | Hm7 |"[error.start : error.end]
    'Hm7'
    """

    def __init__(self, message: str, start: int, end: int, *, place: str = "", hint: str = "") -> None:
        super().__init__(message, place=place, hint=hint)
        self.start = start
        self.end = end


@dataclass(frozen=True, slots=True)
class _Sign:
    """A sign of a chart: its text as it is read, and the characters it takes up, counted from the chart's start."""

    text: str
    start: int
    end: int


@dataclass(slots=True)
class _Bar:
    """A bar as it is read: its signs, and its number in the written chart."""

    signs: list[_Sign]
    number: int
    line: int

    def misread(self, message: str, *, hint: str = "") -> MisreadChartError:
        """The error of a bar that is wrong as a whole."""
        return MisreadChartError(
            message, self.signs[0].start, self.signs[-1].end, place=self.place(), hint=hint
        )

    def place(self, item: int | None = None) -> str:
        where = f"chart line {self.line}, bar {self.number}" if self.line > 1 else f"bar {self.number}"
        return where if item is None else f"{where}, chord {item}"


def parse_chart(text: str, *, key: str | Key | None = None, metre: str | Metre | None = None) -> Progression:
    """The progression that a chart text describes.

    `key` and `metre` win over the chart's own head lines; without either the key is inferred from the chords and
    the metre is 4/4. Raises ChartError with bar and chord where the text cannot be read, OptionError for a key or
    metre that does not exist.

    >>> chart = parse_chart("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |")
    >>> str(chart.key), len(chart.bars)
    ('Eb major', 4)
    """
    if len(text) > MOST_TEXT:
        raise ChartError(f"the chart has {len(text)} characters; the limit is {MOST_TEXT}")
    if "\0" in text or (not text.isprintable() and _has_surrogates(text)):
        raise ChartError("the chart is not text", hint="Give a file with chords between bar lines.")
    heads, body = _heads(text)
    the_metre = _setting(metre if metre is not None else heads.get("metre", "4/4"), read_metre)
    wanted = key if key is not None else heads.get("key")
    the_key = _setting(wanted, read_key) if wanted is not None else None
    bars = _unfold(_written_bars(body))
    chords = [_chords_of(bar, the_metre, the_key) for bar in bars]
    if not any(chord.root is not None for bar in chords for chord, _ in bar):
        raise ChartError("the chart has no chord, only N.C.", hint="At least one chord must sound.")
    the_key = the_key or infer_key([(chord, length) for bar in chords for chord, length in bar])
    return Progression(the_metre, the_key, laid(chords), printable(heads.get("title", "")))


def stated_metre(text: str) -> Metre | None:
    """The metre that a chart text names in its `metre:` head line; None where it names none.

    Raises OptionError for a metre that does not exist, ChartError for a head line that is not known.

    >>> stated_metre("| F | C7 |") is None
    True
    """
    named = _heads(text)[0].get("metre")
    return None if named is None else read_metre(named)


def _has_surrogates(text: str) -> bool:
    """Whether a text holds bytes that were no text, as a command line passes them on."""
    return any("\ud800" <= letter <= "\udfff" for letter in text)


def _setting(value: str | T, read: Callable[[str], T]) -> T:
    return read(value) if isinstance(value, str) else value


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of a chart: its text, its number, and how many characters stand before it."""

    text: str
    number: int
    start: int


def _lines(text: str) -> Iterator[_Line]:
    start = len(text) - len(text.lstrip("\ufeff"))
    for number, line in enumerate(text[start:].splitlines(keepends=True), 1):
        yield _Line(line.splitlines()[0], number, start)
        start += len(line)


def _heads(text: str) -> tuple[dict[str, str], list[_Line]]:
    """The head lines of a chart, and its other lines."""
    heads: dict[str, str] = {}
    body = []
    for written in _lines(text):
        line = written.text
        match = _HEAD.fullmatch(line)
        if match is not None and match[1].lower() in _HEADS:
            heads[match[1].lower()] = match[2].strip()
        elif match is None or "|" in line:
            body.append(written)
        else:
            hint = did_you_mean(match[1], _HEADS)
            start, end = (written.start + place for place in match.span(1))
            message, place = f"unknown head line {shorten(match[1])}", f"chart line {written.number}"
            raise MisreadChartError(message, start, end, place=place, hint=hint)
    return heads, body


def _written_bars(body: Iterable[_Line]) -> list[_Bar | str]:
    """The bars of a chart as they stand, with the repeat signs between them."""
    bars: list[_Bar | str] = []
    number = 1
    open_bar: _Bar | None = None
    blank = False
    for line in body:
        for match in _SIGN.finditer(line.text):
            sign = match[0]
            start, end = (line.start + place for place in match.span())
            if "|" not in sign:
                open_bar = open_bar or _Bar([], number, line.number)
                open_bar.signs.append(_Sign(sign, start, end))
                continue
            if open_bar is not None:
                bars.append(open_bar)
                number, open_bar = number + 1, None
            elif blank and sign == "|" and line.text[: match.start()].rstrip() != "":
                hint = "Write % to repeat the bar before, or N.C. for no chord."
                place = _Bar([], number, line.number).place()
                raise MisreadChartError("the bar is empty", start, end, place=place, hint=hint)
            blank = sign == "|"
            bars += [mark for mark in (":|", "|:") if mark in _parts(sign)]
    if open_bar is not None:
        bars.append(open_bar)
    if not any(isinstance(bar, _Bar) for bar in bars):
        raise ChartError("the chart is empty", hint='Write chords between bars: "| C | Am7 | Dm7 | G7 |".')
    return bars


def _parts(sign: str) -> tuple[str, ...]:
    return (":|", "|:") if sign == ":|:" else (sign,)


def _unfold(bars: Sequence[_Bar | str]) -> list[_Bar]:
    """The bars in the order in which they are played."""
    played: list[_Bar] = []
    begin, is_open = 0, False
    for bar in bars:
        if bar == "|:":
            if is_open:
                raise ChartError("a repeat is opened inside a repeat", hint="Close the first one with :|.")
            begin, is_open = len(played), True
        elif bar == ":|":
            played += played[begin:]
            begin, is_open = len(played), False
        elif isinstance(bar, _Bar):
            played.append(_repeated(bar, played))
        if len(played) > MOST_BARS:
            raise ChartError(f"the chart has more than {MOST_BARS} bars", hint=f"The limit is {MOST_BARS}.")
    if is_open:
        raise ChartError("a repeat is opened and never closed", hint="Close it with :|.")
    return played


def _repeated(bar: _Bar, played: Sequence[_Bar]) -> _Bar:
    if [sign.text for sign in bar.signs] != ["%"]:
        return bar
    if not played:
        raise bar.misread("there is no bar before the % to repeat")
    return _Bar(played[-1].signs, bar.number, bar.line)


def _chords_of(bar: _Bar, metre: Metre, key: Key | None) -> list[tuple[Chord, int]]:
    """The chords of a bar with their lengths in ticks."""
    signs = _joined(bar.signs)
    if any(sign.text == "/" for sign in signs):
        return _held_chords(signs, bar, metre, key)
    if metre.beats % len(signs):
        raise bar.misread(
            f"{len(signs)} chords do not share the {metre.beats} beats of a {metre.name} bar evenly",
            hint=_slash_hint([sign.text for sign in signs], metre),
        )
    share = metre.bar // len(signs)
    return [(_chord(sign, bar, item, key), share) for item, sign in enumerate(signs, 1)]


def _slash_hint(signs: Sequence[str], metre: Metre) -> str:
    if len(signs) > metre.beats:
        return f"At most {metre.beats} chords fit, one a beat."
    shown = [*signs, *["/"] * (metre.beats - len(signs))]
    return f"Write a / for each beat a chord is held on, such as | {' '.join(shown)} |."


def _held_chords(signs: Sequence[_Sign], bar: _Bar, metre: Metre, key: Key | None) -> list[tuple[Chord, int]]:
    if len(signs) != metre.beats:
        raise bar.misread(
            f"{len(signs)} beats are written, a {metre.name} bar has {metre.beats}",
            hint="Where a / is used, each chord and each / is one beat.",
        )
    if signs[0].text == "/":
        raise bar.misread("a / holds the chord before it, and there is none in this bar")
    chords: list[tuple[Chord, int]] = []
    for sign in signs:
        if sign.text == "/":
            chords[-1] = (chords[-1][0], chords[-1][1] + metre.beat)
        else:
            chords.append((_chord(sign, bar, len(chords) + 1, key), metre.beat))
    return chords


def _joined(signs: Sequence[_Sign]) -> list[_Sign]:
    """The signs of a bar, a chord quality that stands alone joined to the numeral before it (`#iv dim7`)."""
    joined: list[_Sign] = []
    for sign in signs:
        text = plain_signs(sign.text)
        alone = _NUMERAL.fullmatch(text) is None and text[0] not in LETTERS and quality(text) is not None
        if (
            alone
            and text != "/"
            and joined
            and _NUMERAL.fullmatch(joined[-1].text)
            and not joined[-1].text[-1].isdigit()
        ):
            joined[-1] = _Sign(joined[-1].text + text, joined[-1].start, sign.end)
        else:
            joined.append(_Sign(text, sign.start, sign.end))
    return joined


def _chord(sign: _Sign, bar: _Bar, item: int, key: Key | None) -> Chord:
    text = sign.text
    try:
        if text == "%":
            raise ChartError("a % stands alone in its bar")
        if text.endswith(",") or text == "-":
            raise ChartError(
                f"cannot read {shorten(text)}", hint="Chords stand between bar lines: | C | Am |."
            )
        if _NUMERAL.fullmatch(plain_signs(text)):
            return read_numeral(text, key)
        return read_chord(text)
    except ChartError as error:
        place = bar.place(item)
        raise MisreadChartError(error.message, sign.start, sign.end, place=place, hint=error.hint) from None


# Roman numerals


def read_numeral(text: str, key: Key | None) -> Chord:
    """The chord a Roman numeral stands for in a key: capital letters for major, small ones for minor.

    In a minor key III, VI and VII stand on the key's own degrees, with or without a flat sign, and a diminished
    vii on the raised seventh. After a slash stands the degree whose dominant it is (`V7/ii`), or a bass note.

    >>> read_numeral("V7/ii", read_key("C")).symbol
    'A7'
    """
    if key is None:
        raise ChartError(
            f"the numeral {shorten(text)} needs a key", hint="Give one with --key, such as --key Eb."
        )
    if text.count("/") > _MOST_SLASHES:
        raise ChartError(f"the numeral {shorten(text)} has too many slashes", hint="Write it like V7/ii.")
    body, slash, target = plain_signs(text).rpartition("/")
    if slash and _NUMERAL.fullmatch(target) and not quality_of_numeral(plain_signs(text)):
        goal = read_numeral(target, key)
        assert goal.root is not None
        assert goal.kind is not None
        mode = "minor" if any(degree.text == "b3" for degree in goal.kind.degrees) else "major"
        return read_numeral(body, Key(goal.root, mode))
    bass = None
    if slash and not quality_of_numeral(plain_signs(text)):
        bass = _bass_name(target, text)
    else:
        body = plain_signs(text)
    match = _NUMERAL.fullmatch(body)
    kind = quality_of_numeral(body)
    if match is None or kind is None:
        hint = "A numeral is written like ii7, V7/ii, bVII7 or #ivdim7."
        raise ChartError(f"unknown numeral {shorten(text)}", hint=hint)
    diminished = any(degree.text == "b5" for degree in kind.degrees) and match[2].islower()
    return make_chord(_root_of_numeral(match[1], match[2].lower(), key, diminished).plain(), kind, bass)


def _bass_name(text: str, whole: str) -> Name:
    try:
        return Name.read(text)
    except ValueError:
        hint = "After the slash stands a numeral (V7/ii) or a bass note (V7/D)."
        raise ChartError(f"unknown numeral {shorten(whole)}", hint=hint) from None


def quality_of_numeral(text: str) -> Kind | None:
    """The chord kind of a numeral, from its letters and what follows them; None where there is none."""
    match = _NUMERAL.fullmatch(text)
    if match is None:
        return None
    rest = match[3]
    if match[2].isupper():
        return quality(rest)
    own = quality(rest) if rest else None
    minor_already = own is not None and not any(d.text in ("3", "4", "2") for d in own.degrees)
    return own if minor_already else quality(f"m{rest}")


def _root_of_numeral(sign: str, roman: str, key: Key, diminished: bool) -> Name:
    step = _ROMANS.index(roman)
    rise = NATURAL[step]
    natural = MODES[key.mode][step]
    if sign:
        return key.tonic.up(
            step, rise + (1 if sign == "#" else -1) if key.mode == "major" else _minor(sign, step)
        )
    if key.mode == "minor" and step == 6 and diminished:
        return key.tonic.up(step, 11)
    return key.tonic.up(step, natural)


def _minor(sign: str, step: int) -> int:
    """Semitones above the tonic of a degree with a sign in a minor key: counted from the major scale."""
    rise, natural = NATURAL[step], MODES["minor"][step]
    if sign == "b":
        return rise - 1
    return natural + 1


# Keys


@lru_cache(maxsize=4096)
def _key_fit(key: Key, chord: Chord) -> float:
    """How much of a chord lies in a key, from 0 to 1; the raised seventh of a minor key counts as its own."""
    own = {name.pitch_class for name in key.scale}
    if key.mode == "minor":
        own.add((key.tonic.pitch_class + 11) % 12)
    spelled = {str(name) for name in key.scale}
    inside = [tone.name.pitch_class in own for tone in chord.tones]
    tidy = [str(tone.name) in spelled for tone in chord.tones]
    return (sum(inside) + 0.1 * sum(tidy)) / (1.1 * len(inside))


def infer_key(chords: Sequence[tuple[Chord, int]]) -> Key:
    """The key that fits chords best: their tones, a last chord that is its tonic or leads there, cadences inside."""
    sounding = [(chord, length) for chord, length in chords if chord.root is not None]
    if not sounding:
        raise ChartError("the chart has no chord, only N.C.", hint="At least one chord must sound.")
    whole = sum(length for _, length in sounding)
    names = [chord for chord, _ in sounding]

    def fit(key: Key) -> float:
        tones = sum(_key_fit(key, chord) * length for chord, length in sounding) / whole
        cadences = sum(_cadence(chords, key) for chords in zip(names, names[1:], names[2:], strict=False))
        return (
            3.0 * tones
            + 0.3 * _opens(names[0], key)
            + 0.25 * _is_tonic(names[-1], key)
            + 0.6 * _frames(names, key)
            + 0.4 * _is_dominant_of(names[-1], key)
            + min(cadences, 0.9)
            - 0.01 * abs(key.fifths)
            - 0.02 * (key.mode == "minor")
        )

    return max(all_keys(), key=lambda key: round(fit(key), 9))


def _third(chord: Chord) -> str:
    degrees = {degree.text for degree in chord.kind.degrees} if chord.kind else set()
    return "b3" if "b3" in degrees else "3"


def _is_tonic(chord: Chord, key: Key) -> bool:
    kind_fits = _third(chord) == ("3" if key.mode == "major" else "b3")
    plain = chord.kind is not None and not chord.kind.is_dominant and not _flat_five(chord)
    return chord.root == key.tonic and kind_fits and plain


def _flat_five(chord: Chord) -> bool:
    return chord.kind is not None and any(degree.text == "b5" for degree in chord.kind.degrees)


def _is_dominant_of(chord: Chord, key: Key) -> bool:
    driving = chord.kind is not None and (chord.kind.is_dominant or chord.kind.name == "major triad")
    return driving and chord.root == key.tonic.up(4, 7)


def _opens(chord: Chord, key: Key) -> float:
    """How much a first chord sounds like the tonic; a minor seventh may as well be another degree."""
    return _is_tonic(chord, key) * (0.5 if chord.kind and chord.kind.name == "minor seventh" else 1.0)


def _frames(chords: Sequence[Chord], key: Key) -> bool:
    """Whether chords begin and end on the tonic, be it a seventh chord as in the blues."""
    ends = (chords[0], chords[-1])
    third = "3" if key.mode == "major" else "b3"
    return len(chords) > 1 and all(chord.root == key.tonic and _third(chord) == third for chord in ends)


def _cadence(chords: Sequence[Chord], key: Key) -> float:
    """What three chords say for a key: its dominant going home, more so after its second degree."""
    first, second, third = chords
    home = _is_dominant_of(second, key) and _is_tonic(third, key)
    return home * (0.5 if first.root == key.tonic.up(1, 2) else 0.25)


# Chart text, written


def chart_text(progression: Progression) -> str:
    """The chart as text that reads back to the same progression, with head lines where they are needed.

    >>> chart_text(parse_chart("C / / G7 | F"))
    '| C / / G7 | F |'
    """
    inferred = infer_key([(span.chord, span.length) for span in progression.spans])
    heads = [
        ("title", progression.title, ""),
        ("key", str(progression.key), str(inferred)),
        ("metre", progression.metre.name, "4/4"),
    ]
    lines = [f"{head}: {value}\n" for head, value, usual in heads if value != usual]
    bars = " | ".join(_bar_text(bar, progression.metre) for bar in progression.bars)
    return f"{''.join(lines)}| {bars} |"


def _bar_text(bar: Sequence[Span], metre: Metre) -> str:
    even = len({span.length for span in bar}) == 1
    beats = [1 if even else span.length // metre.beat for span in bar]
    return " ".join(f"{span.chord.symbol}{' /' * (n - 1)}" for span, n in zip(bar, beats, strict=True))


# Phrases

_TOKEN = re.compile(r"(?:(r)|([A-G](?:#{1,3}|b{1,3})?-?\d))([whqes][.t]?)(~?)")


def parse_phrase(text: str, metre: Metre) -> Phrase:
    """The notes of a phrase text; PhraseError with bar and note where it cannot be read.

    >>> parse_phrase("rq G5e~ G5q Eb5e h", METRES["4/4"])
    Traceback (most recent call last):
    ...
    fillgen.errors.PhraseError: bar 1, note 5: cannot read 'h'. A note is written like 'F5q' or 'Eb4h.', a rest like 'rq'.
    """
    return written_phrase(text, metre).notes


@dataclass(frozen=True, slots=True)
class Written:
    """A phrase as it is written: its notes, one bar right after the other, and the ticks of each bar."""

    notes: Phrase
    bars: tuple[int, ...]


def written_phrase(text: str, metre: Metre | None = None) -> Written:
    """A phrase text with bars of any length, or of a metre; PhraseError with bar and note where it cannot be read.

    >>> written_phrase("Bb4q | C5w").bars
    (480, 1920)
    """
    if len(text) > MOST_TEXT:
        raise PhraseError(f"the phrase has {len(text)} characters; the limit is {MOST_TEXT}")
    notes: list[Note] = []
    bars: list[int] = []
    tied = False
    for number, bar in enumerate(_phrase_bars(text), 1):
        ticks, tied = _read_bar(bar, number, sum(bars), notes, tied)
        if metre is not None and ticks != metre.bar:
            raise wrong_bar(number, ticks, metre)
        bars.append(ticks)
    if tied:
        raise PhraseError("the last note is tied to nothing", place=f"bar {len(bars)}")
    if not notes:
        raise PhraseError("the phrase has no note", hint="A note is written like F5q.")
    return Written(tuple(notes), tuple(bars))


def wrong_bar(number: int, ticks: int, metre: Metre) -> PhraseError:
    """The error of a bar that does not last as long as its metre says."""
    lasts, whole = ticks / TICKS, metre.bar / TICKS
    return PhraseError(
        f"the bar lasts {lasts:g} quarter notes, a {metre.name} bar {whole:g}", place=f"bar {number}"
    )


def _read_bar(bar: str, number: int, start: int, notes: list[Note], tied: bool) -> tuple[int, bool]:
    """Read the notes of a bar that begins at a tick; its ticks, and whether its last note is tied on."""
    onset = start
    for item, token in enumerate(bar.split(), 1):
        place = f"bar {number}, note {item}"
        midi, length, ties = _read_note(token, place)
        if tied and (midi is None or notes[-1].midi != midi):
            raise PhraseError("a tie needs the same pitch again", place=place)
        if tied and midi is not None:
            notes[-1] = Note(notes[-1].onset, notes[-1].length + length, midi)
        elif midi is not None:
            notes.append(Note(onset, length, midi))
        tied = ties
        onset += length
    return onset - start, tied


def _phrase_bars(text: str) -> list[str]:
    bars = [bar.strip() for bar in text.replace("\n", " ").split("|")]
    if bars and not bars[0]:
        bars = bars[1:]
    if bars and not bars[-1]:
        bars = bars[:-1]
    return bars


def _read_note(token: str, place: str) -> tuple[int | None, int, bool]:
    match = _TOKEN.fullmatch(plain_signs(token))
    if match is None or (match[1] and match[4]):
        raise PhraseError(f"cannot read {shorten(token)}", place=place, hint=_note_hint(token))
    try:
        midi = None if match[1] else read_pitch(match[2])
    except ValueError as error:
        raise PhraseError(str(error), place=place) from None
    return midi, LENGTHS[match[3]], bool(match[4])


def _note_hint(token: str) -> str:
    """What is probably meant by something that is no note."""
    bare = token.strip(",;.~")
    meant = f"{bare[:1].upper()}{bare[1:]}"
    if bare != token.strip("~") and _TOKEN.fullmatch(bare):
        return f"Leave out what stands after {bare}."
    if meant != bare and _TOKEN.fullmatch(meant):
        return f"Notes have capital letters: {meant}."
    if re.fullmatch(r"[A-G](#|b)?\d", meant):
        return f"It has no length: {meant}q is a quarter, {meant}e an eighth."
    if re.fullmatch(r"[Hh]-?\d.*", bare):
        return f"The note H is called B here: B{bare[1:]}."
    if _is_chord(token):
        return "That looks like a chord; the chart comes first, then the phrase."
    return "A note is written like 'F5q' or 'Eb4h.', a rest like 'rq'."


def _is_chord(text: str) -> bool:
    try:
        read_chord(plain_signs(text))
    except ChartError:
        return False
    return True


def phrase_tokens(
    notes: Phrase, names: Sequence[str], metre: Metre, bars: int
) -> list[list[tuple[int, int, str, int | None]]]:
    """The tokens of a phrase, bar by bar: tick in the bar, ticks, text, and the note's index (None for a rest).

    A note that crosses a bar line, or whose length no single letter has, becomes several tokens tied by `~`.
    """
    rows: list[list[tuple[int, int, str, int | None]]] = [[] for _ in range(bars)]
    at = 0
    for index, note in enumerate(notes):
        _write(rows, metre, at, note.onset - at, "r", None)
        _write(rows, metre, note.onset, note.length, names[index], index)
        at = note.end
    _write(rows, metre, at, bars * metre.bar - at, "r", None)
    return rows


def _write(
    rows: list[list[tuple[int, int, str, int | None]]],
    metre: Metre,
    onset: int,
    length: int,
    name: str,
    index: int | None,
) -> None:
    end = onset + length
    while onset < end:
        bar, tick = divmod(onset, metre.bar)
        room = min(end, (bar + 1) * metre.bar) - onset
        parts = split_length(room)
        for part in parts if index is not None else _rest_parts(parts, tick):
            tie = "~" if index is not None and onset + part < end else ""
            rows[bar].append((onset - bar * metre.bar, part, f"{name}{length_text(part)}{tie}", index))
            onset += part


def _rest_parts(parts: Sequence[int], tick: int) -> Sequence[int]:
    """The parts of a rest, the short ones first where it begins off the beat."""
    return tuple(reversed(parts)) if tick % TICKS else parts


def phrase_text(notes: Phrase, progression: Progression, names: Sequence[str] | None = None) -> str:
    """A phrase as text that reads back to the same notes, with the names given or spelled by its chords.

    >>> chart = parse_chart("| Eb | Bb7 |")
    >>> phrase_text(parse_phrase("G5q. Bb5e G5h | F5w", chart.metre), chart)
    'G5q. Bb5e G5h | F5w'
    """
    names = spell(progression, notes) if names is None else names
    rows = phrase_tokens(notes, names, progression.metre, len(progression.bars))
    return " | ".join(" ".join(token[2] for token in row) for row in rows)
