"""Measures of MusicXML 4.0: notes, chord symbols and attributes as elements. Durations are in ticks, 480 a quarter."""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from math import gcd
from typing import NamedTuple
from xml.etree.ElementTree import Element, SubElement

from fillgen.theory.chords import Chord, Kind, base_kind
from fillgen.theory.metre import METRES, TICKS, Metre
from fillgen.theory.pitch import LETTERS, Key, Name
from fillgen.writers.notation import (
    RITARDANDO,
    SHORT_CLOSE,
    Score,
    ScoreBar,
    ScoreSymbol,
    Symbol,
    name_and_octave,
)

_TYPES = {"w": "whole", "h": "half", "q": "quarter", "e": "eighth", "s": "16th"}
_SIGNS = {"b": "flat", "bb": "flat-flat", "n": "natural", "#": "sharp", "##": "double-sharp"}
_FAMILY_RISE = {"1": 0, "2": 2, "3": 4, "4": 5, "5": 7, "6": 9, "7": 10, "9": 14, "11": 17, "13": 21}
"""Semitones of the degrees of a dominant chord, from which MusicXML counts an added degree's alteration."""


class Harmony(NamedTuple):
    """The tick of a bar at which a chord symbol is printed, the chord, and whether it is only proposed."""

    tick: int
    chord: Chord
    proposed: bool = False


def measure(
    number: str,
    symbols: Sequence[Symbol],
    harmonies: Sequence[Harmony] = (),
    lead: Sequence[Element] = (),
    *,
    short: bool = False,
    slows: int | None = None,
) -> Element:
    """One measure. `lead` are elements that come first, such as attributes; `short` marks a bar that is not full, `slows`
    is the tick at which it begins to slow down.
    """
    found = Element("measure", {"number": number} | ({"implicit": "yes"} if short else {}))
    found.extend(lead)
    waiting = sorted(harmonies, key=lambda harmony: harmony.tick)
    for symbol in symbols:
        end = symbol.tick + symbol.length
        while waiting and waiting[0].tick < end:
            tick, chord, proposed = waiting.pop(0)
            found.append(harmony_element(chord, tick - symbol.tick, proposed=proposed))
        if slows is not None and symbol.tick <= slows < end:
            found.append(_ritardando(slows - symbol.tick))
        found.extend(note_elements(symbol))
    return found


def _text(parent: Element, tag: str, text: object) -> Element:
    child = SubElement(parent, tag)
    child.text = str(text)
    return child


# Notes


def note_elements(symbol: Symbol) -> list[Element]:
    """The elements of a symbol: one for a note or rest, one for each name of a chord."""
    if symbol.is_rest:
        return [_note(symbol, None, "", first=True)]
    none = ("",) * len(symbol.names)
    signs = zip(symbol.names, symbol.accidentals or none, symbol.courtesies or none, strict=True)
    return [
        _note(symbol, name, sign or courtesy, first=index == 0, courtesy=bool(courtesy))
        for index, (name, sign, courtesy) in enumerate(signs)
    ]


def _note(symbol: Symbol, name: str | None, sign: str, *, first: bool, courtesy: bool = False) -> Element:
    note = Element("note")
    if not first:
        SubElement(note, "chord")
    if name is None:
        SubElement(note, "rest", {"measure": "yes"} if symbol.letters == "bar" else {})
    else:
        note.append(pitch_element(name))
    _text(note, "duration", symbol.length)
    for kind, tied in (("stop", symbol.tied_from), ("start", symbol.tied_to)):
        if tied:
            SubElement(note, "tie", {"type": kind})
    _text(note, "voice", 1)
    _length(note, symbol)
    if sign:
        note.insert(_place_of_accidental(note), _accidental(sign, courtesy=courtesy))
    if first:
        for level, word in enumerate(symbol.beams, 1):
            _text(note, "beam", word).set("number", str(level))
    _notations(note, symbol, first=first)
    return note


def as_cue(bar: Element) -> None:
    """Make the notes of a measure small ones, such as those of another player."""
    for note in bar.findall("note"):
        if note.find("pitch") is None:
            continue
        note.insert(0, Element("cue"))
        for tie in note.findall("tie"):
            note.remove(tie)
        kind = note.find("type")
        if kind is not None:
            kind.set("size", "cue")


def pitch_element(name: str) -> Element:
    """A pitch from its scientific name."""
    letters, octave = name_and_octave(name)
    spelled = Name.read(letters)
    pitch = Element("pitch")
    _text(pitch, "step", LETTERS[spelled.letter])
    if spelled.alter:
        _text(pitch, "alter", spelled.alter)
    _text(pitch, "octave", octave)
    return pitch


def _length(note: Element, symbol: Symbol) -> None:
    if symbol.letters == "bar":
        return
    _text(note, "type", _TYPES[symbol.letters[0]])
    if symbol.letters.endswith("."):
        SubElement(note, "dot")
    if symbol.is_triplet:
        change = SubElement(note, "time-modification")
        _text(change, "actual-notes", 3)
        _text(change, "normal-notes", 2)


def _accidental(sign: str, *, courtesy: bool) -> Element:
    accidental = Element("accidental", {"cautionary": "yes", "parentheses": "yes"} if courtesy else {})
    accidental.text = _SIGNS[sign]
    return accidental


def _place_of_accidental(note: Element) -> int:
    """After type and dots, before what follows them."""
    tags = [child.tag for child in note]
    return max(index for index, tag in enumerate(tags) if tag in ("type", "dot", "voice")) + 1


def _notations(note: Element, symbol: Symbol, *, first: bool) -> None:
    marks: list[Element] = []
    for kind, tied in (("stop", symbol.tied_from), ("start", symbol.tied_to)):
        if tied:
            marks.append(Element("tied", {"type": kind}))
    if symbol.group and first:
        marks.append(Element("tuplet", {"type": symbol.group}))
    if marks:
        SubElement(note, "notations").extend(marks)


# Chord symbols


def harmony_element(chord: Chord, offset: float = 0, *, proposed: bool = False) -> Element:
    """A chord symbol, `offset` ticks after the note that follows it in the file; in brackets where it is `proposed`."""
    harmony = Element("harmony")
    if chord.root is None or chord.kind is None:
        root = SubElement(harmony, "root")
        _text(root, "root-step", "C").set("text", "")
        _text(harmony, "kind", "none").set("text", "N.C.")
    else:
        _degree_name(harmony, "root", chord.root)
        kind = _text(harmony, "kind", chord.kind.musicxml)
        kind.set("text", chord.kind.spellings[0] + "]" * proposed)
        if proposed:
            harmony[0][0].set("text", f"[{harmony[0][0].text}")
        if chord.bass is not None:
            _degree_name(harmony, "bass", chord.bass)
        for value, alter, change in changes(chord.kind):
            degree = SubElement(harmony, "degree", {"print-object": "no"})
            _text(degree, "degree-value", value)
            _text(degree, "degree-alter", alter)
            _text(degree, "degree-type", change)
    if offset:
        _text(harmony, "offset", offset)
    return harmony


def _degree_name(harmony: Element, part: str, name: Name) -> None:
    parent = SubElement(harmony, part)
    _text(parent, f"{part}-step", LETTERS[name.letter])
    if name.alter:
        _text(parent, f"{part}-alter", name.alter)


def changes(kind: Kind) -> list[tuple[int, int, str]]:
    """What a kind adds to, alters in and takes from the nearest MusicXML kind: degree, semitones, what.

    Semitones count as in MusicXML: an altered degree from the one in the chord, an added one from a dominant chord's.
    """
    base = base_kind(kind.musicxml)
    own = {degree.text: degree for degree in kind.degrees}
    there = {degree.text: degree for degree in base.degrees}
    fresh = [degree for text, degree in own.items() if text not in there]
    gone = {degree.family: degree for text, degree in there.items() if text not in own}
    found = []
    for degree in fresh:
        value = int(degree.family)
        if degree.family in gone:
            found.append((value, degree.semitones - gone.pop(degree.family).semitones, "alter"))
        else:
            found.append((value, degree.semitones - _FAMILY_RISE[degree.family], "add"))
    return found + [(int(family), 0, "subtract") for family in gone]


# Attributes and directions


def attributes(metre: Metre, key: Key, clef: str = "G") -> Element:
    """Divisions, key, time and clef."""
    found = Element("attributes")
    _text(found, "divisions", TICKS)
    signature = SubElement(found, "key")
    _text(signature, "fifths", key.fifths)
    _text(signature, "mode", key.signature_mode)
    _put_time(found, metre)
    sign = SubElement(found, "clef")
    _text(sign, "sign", clef)
    _text(sign, "line", 2 if clef == "G" else 4)
    return found


def _put_time(found: Element, metre: Metre) -> None:
    time = SubElement(found, "time")
    _text(time, "beats", metre.count)
    _text(time, "beat-type", metre.unit)


def _change_of_metre(metre: Metre) -> Element:
    """The attributes of a bar from which another metre holds."""
    found = Element("attributes")
    _put_time(found, metre)
    return found


_BEATS = {
    TICKS // 2: ("eighth", 0),
    TICKS: ("quarter", 0),
    TICKS * 3 // 2: ("quarter", 1),
    2 * TICKS: ("half", 0),
}
"""The note value of a beat of some ticks, and its dots."""


def beat_mark(tempo: int, metre: Metre) -> tuple[str, int, int]:
    """A tempo, in quarter notes a minute, in beats: the note that is a beat, its dots, and how many a minute.

    >>> from fillgen.theory.metre import METRES
    >>> beat_mark(84, METRES["12/8"]), beat_mark(120, METRES["2/2"])
    (('quarter', 1, 56), ('half', 0, 60))
    """
    return *_BEATS[metre.beat], round(tempo * TICKS / metre.beat)


def beat_words(tempo: int, metre: Metre) -> str:
    """A tempo, in quarter notes a minute, in words as the metre is counted.

    >>> from fillgen.theory.metre import METRES
    >>> beat_words(84, METRES["6/8"])
    'dotted quarter = 56'
    """
    note, dots, count = beat_mark(tempo, metre)
    return f"{'dotted ' * dots}{note} = {count}"


def tempo_direction(tempo: int, swing: float = 1.0, metre: Metre = METRES["4/4"]) -> Element:
    """A metronome mark in beats for a tempo in quarter notes a minute, with the swing of the eighths if any."""
    note, dots, count = beat_mark(tempo, metre)
    direction = Element("direction", {"placement": "above"})
    kind = SubElement(direction, "direction-type")
    mark = SubElement(kind, "metronome")
    _text(mark, "beat-unit", note)
    for _ in range(dots):
        SubElement(mark, "beat-unit-dot")
    _text(mark, "per-minute", count)
    if swing > 1:
        _text(SubElement(direction, "direction-type"), "words", "Swing")
        _swing_sign(SubElement(direction, "direction-type"))
    sound = SubElement(direction, "sound", {"tempo": str(tempo)})
    if swing > 1:
        first, second = whole_ratio(swing)
        ratio = SubElement(sound, "swing")
        _text(ratio, "first", first)
        _text(ratio, "second", second)
        _text(ratio, "swing-type", "eighth")
    return direction


def _swing_sign(parent: Element) -> None:
    """Two eighths that are played as a triplet's quarter and eighth, as MusicXML 4.0 writes a relation of notes."""
    mark = SubElement(parent, "metronome", {"parentheses": "yes"})
    for beam in ("begin", "end"):
        note = SubElement(mark, "metronome-note")
        _text(note, "metronome-type", "eighth")
        _text(note, "metronome-beam", beam).set("number", "1")
    _text(mark, "metronome-relation", "equals")
    for kind, end in (("quarter", "start"), ("eighth", "stop")):
        note = SubElement(mark, "metronome-note")
        _text(note, "metronome-type", kind)
        tuplet = SubElement(
            note, "metronome-tuplet", {"type": end, "bracket": "yes", "show-number": "actual"}
        )
        _text(tuplet, "actual-notes", 3)
        _text(tuplet, "normal-notes", 2)
        _text(tuplet, "normal-type", "eighth")


def without_swing_signs(content: str) -> str:
    """A score without the signs of swing, which engravers that don't know them draw as empty brackets."""
    return _SWING_SIGN.sub("", content)


_SWING_SIGN = re.compile(
    r"<direction-type>\s*<metronome[^>]*>\s*<metronome-note>.*?</metronome>\s*</direction-type>", re.DOTALL
)


def _ritardando(offset: int) -> Element:
    """The word where music begins to slow down, `offset` ticks after the note that follows it in the file."""
    direction = Element("direction", {"placement": "above"})
    _text(SubElement(direction, "direction-type"), "words", RITARDANDO)
    if offset:
        _text(direction, "offset", offset)
    return direction


def whole_ratio(ratio: float) -> tuple[int, int]:
    """A ratio in small whole numbers, to the tenth: MusicXML takes no fractions.

    >>> whole_ratio(2.5)
    (5, 2)
    """
    first = round(10 * ratio)
    shared = gcd(first, 10)
    return first // shared, 10 // shared


def final_barline(*, fermata: bool = False) -> Element:
    """The double bar at the end; `fermata` puts one over it, for a last chord that is held."""
    barline = Element("barline", {"location": "right"})
    _text(barline, "bar-style", "light-heavy")
    if fermata:
        SubElement(barline, "fermata", {"type": "upright"})
    return barline


# Scores


def score_bytes(scores: Sequence[Score], title: str = "") -> bytes:
    """Scores of one piece as a MusicXML file: one after another, each on a new system with a double bar at its end.

    Several staves are one part, as for a piano or an organ. Bars are numbered through; a pick-up has no number of its own.

    >>> from fillgen.theory.metre import METRES
    >>> from fillgen.writers.notation import ScoreBar, ScoreSymbol
    >>> bar = ScoreBar(1, 1920, ((ScoreSymbol(Symbol(0, 1920, (), "bar")),),))
    >>> b"score-partwise" in score_bytes([Score("a", METRES["4/4"], Key(Name(0, 0), "major"), (bar,))])
    True
    """
    root = Element("score-partwise", {"version": "4.0"})
    if title:
        _text(SubElement(root, "work"), "work-title", title)
    _text(SubElement(SubElement(root, "part-list"), "score-part", {"id": "P1"}), "part-name", "Keyboard")
    part = SubElement(root, "part", {"id": "P1"})
    shift = 0
    for number, score in enumerate(scores):
        before = scores[number - 1] if number else None
        part.extend(_score_measures(score, before, shift, named=len(scores) > 1))
        shift += score.bars[-1].number
    return to_bytes(root)


def _score_measures(score: Score, before: Score | None, shift: int, *, named: bool) -> list[Element]:
    found = []
    for place, bar in enumerate(score.bars):
        number = str(shift + bar.number) if bar.number else f"X{shift}" if shift else "0"
        lead = _lead(score, before, named=named) if place == 0 else []
        if place and score.metres[place] != score.metres[place - 1]:
            lead.append(_change_of_metre(score.metres[place]))
        first = [written.symbol for written in bar.staves[0]]
        chords = [Harmony(*each) for each in bar.chords]
        element = measure(number, first, chords, lead, short=score.is_short(bar), slows=bar.slows)
        if bar.section:
            _section_word(element, bar.section)
        _note_marks(element.findall("note"), bar.staves[0], stemless=score.free)
        _dynamics(element, bar.staves[0])
        _further_staves(element, bar, stemless=score.free)
        found.append(element)
    _double_bar(found[-1])
    return found


def _lead(score: Score, before: Score | None, *, named: bool) -> list[Element]:
    """What comes before the first note: a new system, the signs that change, the tempo and the heading."""
    found = [] if before is None else [Element("print", {"new-system": "yes"})]
    if before is None or (before.key, before.metres[-1]) != (score.key, score.metres[0]):
        signs = attributes(score.metres[0], score.key)
        if score.free:
            _shown_time(signs).set("print-object", "no")
        _put_staves(signs, score)
        found.append(signs)
    pace = (score.tempo, score.swing, score.metre)
    if before is None or (before.tempo, before.swing, before.metre) != pace:
        found.append(tempo_direction(*pace))
    if named and score.heading:
        words = Element("direction", {"placement": "above"})
        _text(SubElement(words, "direction-type"), "words", score.heading)
        found.append(words)
    return found


def _shown_time(signs: Element) -> Element:
    time = signs.find("time")
    assert time is not None
    return time


def _put_staves(signs: Element, score: Score) -> None:
    """Turn the attributes of a part with one staff into those of a part with the staves of a score.

    A brace joins the staves of two hands; MusicXML takes it for all staves where `part-symbol` doesn't say otherwise.
    """
    for clef in signs.findall("clef"):
        signs.remove(clef)
    several = len(score.staves) > 1
    if several:
        _text(signs, "staves", len(score.staves))
    if several and score.hands < len(score.staves):
        ends = {"top-staff": "1", "bottom-staff": "2"} if score.hands == 2 else {}
        SubElement(signs, "part-symbol", ends).text = "brace" if ends else "none"
    for number, staff in enumerate(score.staves, 1):
        clef = SubElement(signs, "clef", {"number": str(number)} if several else {})
        _text(clef, "sign", staff.clef)
        _text(clef, "line", 2 if staff.clef == "G" else 4)
        if staff.lowered:
            _text(clef, "clef-octave-change", -1)


def _note_marks(notes: Iterable[Element], staff: Sequence[ScoreSymbol], *, stemless: bool) -> None:
    """Heads and fingers on all notes of each symbol, the words below and the sign of a close on the first."""
    every = iter(notes)
    for written in staff:
        note, *below = [next(every) for _ in written.symbol.names or ("rest",)]
        for each in (note, *below):
            _put_head(each, written, stemless=stemless)
        for each, finger in zip((note, *below), written.fingers, strict=False):
            _text(SubElement(_notations_of(each), "technical"), "fingering", finger)
        if written.slur:
            SubElement(_notations_of(note), "slur", {"type": written.slur, "number": "1"})
        if written.close == "held":
            SubElement(_notations_of(note), "fermata", {"type": "upright"})
        _articulate(note, written.articulations)
        if written.name:
            lyric = SubElement(note, "lyric", {"number": "1"})
            _text(lyric, "syllabic", "single")
            _text(lyric, "text", written.name)


def close_last(measures: Sequence[Element]) -> None:
    """Accent and staccato on the last note of some measures, one that is short."""
    notes = [note for element in measures for note in _heads(element) if note.find("rest") is None]
    for note in notes[-1:]:
        _articulate(note, SHORT_CLOSE)


def _articulate(note: Element, signs: Sequence[str]) -> None:
    """The signs of how a note is struck."""
    if signs:
        articulations = SubElement(_notations_of(note), "articulations")
        for sign in signs:
            SubElement(articulations, sign)


_SHAPES = {"ring": ("normal", {"filled": "no"}), "cross": ("x", {})}


def _put_head(note: Element, written: ScoreSymbol, *, stemless: bool) -> None:
    """The stem and the head of a note where they aren't the usual ones: they come before beams, notations and words."""
    behind = [place for place, child in enumerate(note) if child.tag in ("beam", "notations", "lyric")]
    place = min(behind, default=len(note))
    if written.head:
        shape, attributes = _SHAPES[written.head]
        head = Element("notehead", dict(attributes))
        head.text = shape
        note.insert(place, head)
    if stemless and not written.symbol.is_rest:
        stem = Element("stem")
        stem.text = "none"
        note.insert(place, stem)


def _heads(element: Element) -> list[Element]:
    """The first note of each symbol of a measure."""
    return [note for note in element.findall("note") if note.find("chord") is None]


def _notations_of(note: Element) -> Element:
    """The notations of a note, added if it has none."""
    found = note.find("notations")
    return SubElement(note, "notations") if found is None else found


def _dynamics(element: Element, staff: Sequence[ScoreSymbol]) -> None:
    """The dynamics of the first staff below it, each before its note."""
    for note, written in zip(_heads(element), staff, strict=True):
        if written.dynamic:
            direction = Element("direction", {"placement": "below"})
            SubElement(SubElement(SubElement(direction, "direction-type"), "dynamics"), written.dynamic)
            element.insert(list(element).index(note), direction)


def _further_staves(element: Element, bar: ScoreBar, *, stemless: bool) -> None:
    """The other staves of a bar after the first: each back to the bar's start, in a voice and on a staff of its own."""
    if len(bar.staves) < 2:
        return
    for note in element.findall("note"):
        _on_staff(note, 1)
    for number, staff in enumerate(bar.staves[1:], 2):
        _text(SubElement(element, "backup"), "duration", bar.length)
        notes = [note for written in staff for note in note_elements(written.symbol)]
        _note_marks(notes, staff, stemless=stemless)
        for note in notes:
            _on_staff(note, number)
            element.append(note)


def _on_staff(note: Element, staff: int) -> None:
    voice = note.find("voice")
    assert voice is not None
    voice.text = str(4 * (staff - 1) + 1)
    behind = [place for place, child in enumerate(note) if child.tag in ("beam", "notations", "lyric")]
    sign = Element("staff")
    sign.text = str(staff)
    note.insert(min(behind, default=len(note)), sign)


# Sections


def with_sections(
    content: bytes, starts: Mapping[int, str], numbers: Sequence[str], tempo: Element | None = None
) -> bytes:
    """A score with a word over each measure where a section starts, and a double bar before it.

    `starts` counts the measures from 0. `numbers` names every measure: one that completes the measure before it has a
    number that begins with X, or 0, and is not counted. A fermata over the last bar line moves to the last note. `tempo`
    replaces the first metronome mark. ValueError unless there are as many numbers as measures.
    """
    root = ET.fromstring(content)  # noqa: S314 - a score of our own making
    for place, part in enumerate(root.findall("part")):
        measures = part.findall("measure")
        for element, number in zip(measures, numbers, strict=True):
            element.set("number", number)
            if not number.isdecimal() or number == "0":
                element.set("implicit", "yes")
        for start, word in starts.items():
            if place == 0:
                _section_word(measures[start], word)
            if start:
                _double_bar(measures[start - 1])
        _fermata_to_note(measures[-1])
    if tempo is not None:
        _new_tempo(root, tempo)
    return to_bytes(root)


def _new_tempo(root: Element, tempo: Element) -> None:
    for element in root.iter("measure"):
        for place, child in enumerate(element):
            if child.find("direction-type/metronome") is not None:
                element[place] = tempo
                return


_IN_FRONT = ("print", "attributes")


def _section_word(element: Element, word: str) -> None:
    direction = Element("direction", {"placement": "above"})
    kind = SubElement(direction, "direction-type")
    _text(kind, "rehearsal", word).set("enclosure", "none")
    before = [
        place
        for place, child in enumerate(element)
        if child.tag in _IN_FRONT or (child.tag == "barline" and child.get("location") == "left")
    ]
    notes = [place for place, child in enumerate(element) if child.tag == "note"]
    behind = [place + 1 for place in before if not notes or place < notes[0]]
    element.insert(max(behind, default=0), direction)


def _double_bar(element: Element) -> None:
    """Add a double bar at the end of a measure, unless it ends with a repeat or another bar line."""
    if any(barline.get("location") != "left" for barline in element.findall("barline")):
        return
    barline = SubElement(element, "barline", {"location": "right"})
    _text(barline, "bar-style", "light-light")


def _fermata_to_note(element: Element) -> None:
    heads = _heads(element)
    for barline in element.findall("barline"):
        fermata = barline.find("fermata")
        if fermata is None or not heads:
            continue
        barline.remove(fermata)
        _notations_of(heads[-1]).append(fermata)


# Files


def to_bytes(root: Element) -> bytes:
    """A score as a file in UTF-8 with the document type of MusicXML 4.0."""
    ET.indent(root, " ")
    head = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
        '"http://www.musicxml.org/dtds/partwise.dtd">\n'
    )
    return head.encode() + bytes(ET.tostring(root, encoding="utf-8")) + b"\n"


_CONTAINER = b"""<?xml version="1.0" encoding="UTF-8"?>
<container>
 <rootfiles>
  <rootfile full-path="score.musicxml" media-type="application/vnd.recordare.musicxml+xml"/>
 </rootfiles>
</container>
"""
_OLDEST = (1980, 1, 1, 0, 0, 0)
"""The date of every file in a packed score, the first there is, so that the same score gives the same bytes."""


def packed(content: bytes) -> bytes:
    """A score as a packed file, as MusicXML 4.0 has it ("Compressed .mxl files"): its media type, unpacked and first,
    a container that names the score, and the score.

    >>> import zipfile, io
    >>> zipfile.ZipFile(io.BytesIO(packed(b"<score-partwise/>"))).namelist()
    ['mimetype', 'META-INF/container.xml', 'score.musicxml']
    """
    files = (
        ("mimetype", b"application/vnd.recordare.musicxml", zipfile.ZIP_STORED),
        ("META-INF/container.xml", _CONTAINER, zipfile.ZIP_DEFLATED),
        ("score.musicxml", content, zipfile.ZIP_DEFLATED),
    )
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as file:
        for name, data, way in files:
            entry = zipfile.ZipInfo(name, _OLDEST)
            entry.create_system = 3
            entry.external_attr = 0o644 << 16
            file.writestr(entry, data, way, 9)
    return buffer.getvalue()
