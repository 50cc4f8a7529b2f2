"""Scores as MEI 5.1, the encoding of the Music Encoding Initiative: text that an engraver can read."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from xml.sax.saxutils import escape, quoteattr

from fillgen.theory.chords import Chord
from fillgen.theory.metre import TICKS, Metre
from fillgen.theory.pitch import LETTERS, Name
from fillgen.writers.musicxml import beat_mark
from fillgen.writers.notation import (
    RITARDANDO,
    Score,
    ScoreBar,
    ScoreStaff,
    ScoreSymbol,
    Symbol,
    name_and_octave,
)

GLYPHS = {"eighth": "\ueca7", "quarter": "\ueca5", "half": "\ueca3"}
"""The notes of metronome marks by their lengths."""
DOT = "\uecb7"
"""Their dot; both are numbers of SMuFL, as engravers' music fonts have them (section Metronome marks)."""
_DURATIONS = {"w": "1", "h": "2", "q": "4", "e": "8", "s": "16"}
_ACCIDENTALS = {"bb": "ff", "b": "f", "n": "n", "#": "s", "##": "x"}
_GESTURAL = {-3: "ff", -2: "ff", -1: "f", 1: "s", 2: "ss", 3: "ss"}
_SIGNS = str.maketrans({"b": "♭", "#": "♯"})
_ALTERED = re.compile(r"(?:(?<=^[A-G])|(?<=/[A-G]))[b#]+|[b#](?=\d)")


def signed(symbol: str) -> str:
    """A chord symbol or note name with real flats and sharps.

    >>> signed("Bb7(b9,#11)/Ab"), signed("Cdim")
    ('B♭7(♭9,♯11)/A♭', 'Cdim')
    """
    return _ALTERED.sub(lambda found: found[0].translate(_SIGNS), symbol)


def to_mei(
    scores: Sequence[Score], title: str = "", *, breaks: Collection[int] = (), tempo: bool = False
) -> str:
    """Scores of one piece as an MEI file: one after another, each on a new system with a double bar at its end.

    `breaks` are the bars of each score, counted from 0, that begin a new system as well. With `tempo` the tempo is
    printed over the first bar and wherever it changes, in beats a minute.

    >>> from fillgen.theory.metre import METRES
    >>> from fillgen.theory.pitch import Key
    >>> bar = ScoreBar(1, 1920, ((ScoreSymbol(Symbol(0, 1920, (), "bar")),),))
    >>> "<mRest/>" in to_mei([Score("a", METRES["4/4"], Key(Name(0, 0), "major"), (bar,))])
    True
    """
    many = len(scores) > 1
    body = []
    for number, score in enumerate(scores):
        before = scores[number - 1] if number else None
        mark = _tempo(score) if tempo and (before is None or _tempo(before) != _tempo(score)) else ""
        body += _section(score, mark, breaks, named=many, before=before)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="5.1">\n'
        f"<meiHead><fileDesc><titleStmt><title>{escape(title)}</title></titleStmt><pubStmt/></fileDesc></meiHead>\n"
        f"<music><body><mdiv><score>\n{_definition(scores[0])}\n"
        + "\n".join(body)
        + "\n</score></mdiv></body></music>\n</mei>\n"
    )


# Staves and signatures


def _definition(score: Score) -> str:
    staves = [_staff(number, staff) for number, staff in enumerate(score.staves, 1)]
    if score.hands == 2:
        staves[:2] = [f'<staffGrp symbol="brace" bar.thru="true">{"".join(staves[:2])}</staffGrp>']
    group = staves[0] if len(staves) == 1 and score.hands == 2 else f"<staffGrp>{''.join(staves)}</staffGrp>"
    hidden = ' meter.visible="false"' if score.free else ""
    return f"<scoreDef {_signature(score, score.metres[0])}{hidden}>{group}</scoreDef>"


def _signature(score: Score, metre: Metre) -> str:
    key = score.key.fifths
    sign = f"{abs(key)}{'s' if key > 0 else 'f'}" if key else "0"
    return f'{_metre(metre)} keysig="{sign}" midi.bpm="{score.tempo}"'


def _metre(metre: Metre) -> str:
    return f'meter.count="{metre.count}" meter.unit="{metre.unit}"'


def _staff(number: int, staff: ScoreStaff) -> str:
    clef = f'clef.shape="{staff.clef}" clef.line="{2 if staff.clef == "G" else 4}"'
    below = ' clef.dis="8" clef.dis.place="below"' if staff.lowered else ""
    return f'<staffDef n="{number}" lines="5" {clef}{below}/>'


# Bars


def _tempo(score: Score) -> str:
    """The tempo as it is counted, with the beat as a glyph of SMuFL, and a word where eighths swing."""
    note, dots, count = beat_mark(score.tempo, score.metre)
    unit = f'mm="{count}" mm.unit="{_UNITS[note]}"{" mm.dots=" + quoteattr(str(dots)) if dots else ""}'
    sign = GLYPHS[note] + DOT * dots
    swing = ", Swing" * (score.swing > 1)
    return (
        f'<tempo tstamp="1" staff="1" place="above" {unit}>'
        f'<rend glyph.auth="smufl">{sign}</rend> = {count}{swing}</tempo>'
    )


_UNITS = {"eighth": 8, "quarter": 4, "half": 2}


def _section(
    score: Score, tempo: str, breaks: Collection[int], *, named: bool, before: Score | None
) -> list[str]:
    lines = [f"<section xml:id={quoteattr(score.id)}>"]
    if before is not None:
        lines += ["<sb/>", *_changed(score, before)]
    for number, bar in enumerate(score.bars):
        heading = score.heading if named and number == 0 else ""
        above = _heading(heading) + (tempo if number == 0 else "")
        lines += ["<sb/>"] if number in breaks else []
        if number and score.metres[number] != score.metres[number - 1]:
            lines.append(f"<scoreDef {_metre(score.metres[number])}/>")
        lines.append(_bar(score, bar, above, last=number == len(score.bars) - 1))
    return [*lines, "</section>"]


def _changed(score: Score, before: Score) -> list[str]:
    """The signature of a score, if it differs from that of the score before it."""
    signature = _signature(score, score.metres[0])
    return [f"<scoreDef {signature}/>"] if signature != _signature(before, before.metres[-1]) else []


def _bar(score: Score, bar: ScoreBar, above: str, *, last: bool) -> str:
    staves = "".join(
        f'<staff n="{n}"><layer n="1">{_line(staff, stemless=score.free)}</layer></staff>'
        for n, staff in enumerate(bar.staves, 1)
    )
    metcon = ' metcon="false"' if score.is_short(bar) else ""
    right = ' right="dbl"' if last else ""
    return (
        f'<measure xml:id="{score.id}-b{bar.number}" n="{bar.number}"{metcon}{right}>{staves}'
        f"{_mark(bar.section)}{above}{_slows(bar, score)}{_harmonies(bar.chords, score.metre)}{_fingers(bar.staves)}"
        f"{_fermatas(bar.staves)}{_slurs(bar, score)}{_dynamics(bar.staves)}</measure>"
    )


def _mark(section: str) -> str:
    """The name of a section above the bar with which it begins."""
    return f'<reh tstamp="1" staff="1" place="above">{escape(section)}</reh>' if section else ""


def _slows(bar: ScoreBar, score: Score) -> str:
    """The word where the music begins to slow down."""
    if bar.slows is None:
        return ""
    at = 1 + bar.slows / (4 * TICKS // score.metre_of(bar).unit)
    return f'<tempo tstamp="{at:g}" staff="1" place="above" func="continuous">{RITARDANDO}</tempo>'


def _fermatas(staves: Iterable[Iterable[ScoreSymbol]]) -> str:
    return "".join(
        f'<fermata staff="{n}" place="above" startid="#{each.id}"/>'
        for n, staff in enumerate(staves, 1)
        for each in staff
        if each.close == "held"
    )


def _slurs(bar: ScoreBar, score: Score) -> str:
    """The slurs that begin in a bar, of which one may end in the next."""
    return "".join(
        f'<slur staff="{n}" startid="#{each.id}" endid="#{score.slurs[each.id]}"/>'
        for n, staff in enumerate(bar.staves, 1)
        for each in staff
        if each.slur == "start"
    )


def _dynamics(staves: Iterable[Iterable[ScoreSymbol]]) -> str:
    return "".join(
        f'<dynam staff="{n}" place="below" startid="#{each.id}">{each.dynamic}</dynam>'
        for n, staff in enumerate(staves, 1)
        for each in staff
        if each.dynamic
    )


def _heading(text: str) -> str:
    return f'<dir tstamp="1" staff="1" place="above">{escape(text)}</dir>' if text else ""


def _harmonies(chords: Iterable[tuple[int, Chord]], metre: Metre) -> str:
    beat = 4 * TICKS // metre.unit
    return "".join(
        f'<harm staff="1" place="above" tstamp="{1 + tick / beat:g}">{escape(signed(chord.symbol))}</harm>'
        for tick, chord in chords
    )


def _fingers(staves: Iterable[Iterable[ScoreSymbol]]) -> str:
    """The fingers of notes; those of a chord one above the other over it, the lowest key's first."""
    return "".join(
        f'<fing staff="{n}" place="above" startid="#{each.id}">{finger}</fing>'
        for n, staff in enumerate(staves, 1)
        for each in staff
        for finger in _from_below(each)
    )


def _from_below(each: ScoreSymbol) -> list[int]:
    """The fingers of a symbol from its lowest key up."""
    pitches = [name_and_octave(name) for name in each.symbol.names] if each.fingers else []
    heights = [(int(octave), LETTERS.index(name[0])) for name, octave in pitches]
    return [finger for _, finger in sorted(zip(heights, each.fingers, strict=True))]


def _line(staff: Sequence[ScoreSymbol], *, stemless: bool) -> str:
    """The notes and rests of a bar, with the elements of triplets and beams round them."""
    opened, closed = _groups([each.symbol for each in staff])
    return "".join(
        "".join(opened[index]) + _symbol(each, stemless=stemless) + "".join(closed[index])
        for index, each in enumerate(staff)
    )


_TUPLET = '<tuplet num="3" numbase="2">'


def _groups(symbols: Sequence[Symbol]) -> tuple[list[list[str]], list[list[str]]]:
    """What opens before each symbol and closes after it, one inside the other: the longer of two outside."""
    spans = [(first, last, _TUPLET, "</tuplet>") for first, last in _spans([s.group for s in symbols])]
    words = [symbol.beams[0] if symbol.beams else "" for symbol in symbols]
    beams = [(first, last, "<beam>", "</beam>") for first, last in _spans(words)]
    opened: list[list[str]] = [[] for _ in symbols]
    closed: list[list[str]] = [[] for _ in symbols]
    for first, last, start, stop in sorted(spans + beams, key=lambda span: span[0] - span[1]):
        opened[first].append(start)
        closed[last].insert(0, stop)
    return opened, closed


def _spans(words: Sequence[str]) -> list[tuple[int, int]]:
    """The first and last places of what begins (`start`, `begin`) and ends (`stop`, `end`) along a bar."""
    starts = [place for place, word in enumerate(words) if word in ("start", "begin")]
    stops = [place for place, word in enumerate(words) if word in ("stop", "end")]
    return list(zip(starts, stops, strict=True))


# Notes


_SHAPES = {"ring": ' head.fill="void"', "cross": ' head.shape="x"'}


def _symbol(each: ScoreSymbol, *, stemless: bool = False) -> str:
    symbol = each.symbol
    if symbol.letters == "bar":
        return "<mRest/>"
    length = f'dur="{_DURATIONS[symbol.letters[0]]}"{_dots(symbol)}'
    look = _SHAPES.get(each.head, "") + (' stem.visible="false"' if stemless else "")
    if symbol.is_rest:
        return f"<rest {length}/>"
    name = f' xml:id="{each.id}"' if each.id else ""
    notes = [_pitch(symbol, place) for place in range(len(symbol.names))]
    if len(notes) == 1:
        head, inside = notes[0]
        return f"<note{name} {head} {length}{look}{_tie(symbol)}>{inside}{_struck(each)}{_verse(each.name)}</note>"
    heads = "".join(f"<note {head}{_tie(symbol)}>{inside}</note>" for head, inside in notes)
    return f"<chord{name} {length}{look}>{heads}{_struck(each)}{_verse(each.name)}</chord>"


_ARTICULATIONS = {"accent": "acc", "staccato": "stacc"}


def _struck(each: ScoreSymbol) -> str:
    """The signs of how a note is struck."""
    signs = " ".join(_ARTICULATIONS[sign] for sign in each.articulations)
    return f'<artic artic="{signs}"/>' if signs else ""


def _dots(symbol: Symbol) -> str:
    return ' dots="1"' if symbol.letters.endswith(".") else ""


def _tie(symbol: Symbol) -> str:
    word = {(False, True): "i", (True, True): "m", (True, False): "t"}.get((symbol.tied_from, symbol.tied_to))
    return f' tie="{word}"' if word else ""


def _pitch(symbol: Symbol, place: int) -> tuple[str, str]:
    """The attributes of a pitch, and its printed sign."""
    letters, octave = name_and_octave(symbol.names[place])
    name = Name.read(letters)
    sign = symbol.accidentals[place] if symbol.accidentals else ""
    courtesy = symbol.courtesies[place] if symbol.courtesies else ""
    head = f'pname="{LETTERS[name.letter].lower()}" oct="{octave}"'
    if sign:
        return head, f'<accid accid="{_ACCIDENTALS[sign]}"/>'
    if courtesy:
        return head, f'<accid accid="{_ACCIDENTALS[courtesy]}" func="caution" enclose="paren"/>'
    return head + (f' accid.ges="{_GESTURAL[name.alter]}"' if name.alter else ""), ""


def _verse(name: str) -> str:
    return f'<verse n="1"><syl>{escape(name)}</syl></verse>' if name else ""
