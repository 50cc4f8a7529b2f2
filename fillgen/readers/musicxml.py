"""Tunes and melodies read from MusicXML and ABC.

This is the one module that loads music21, and it loads it only when a score is read.
"""

from __future__ import annotations

import codecs
import contextlib
import io
import lzma
import math
import re
import warnings
import zipfile
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import accumulate
from statistics import fmean
from typing import Any, TypeVar
from xml.parsers import expat

from fillgen.errors import TuneError, printable, shorten
from fillgen.phrase.note import Note, Phrase
from fillgen.readers.abc import AbcTune, AbcVoice, first_tune
from fillgen.readers.lines import Lines, measures_of, split_lines
from fillgen.readers.melody import REPEATS, Sheet, Sound, Voice, checked_sheet, named_apart
from fillgen.readers.repeats import MOST_PLAYED, Unfolded, jumps, played_order, signs_of
from fillgen.readers.tunes import Tune, full_bars, mode_of, stretches
from fillgen.theory.chords import NO_CHORD, Chord, Kind, base_kind, kinds, make_chord
from fillgen.theory.metre import METRES, TICKS, Metre
from fillgen.theory.pitch import Key, Name, all_keys

MOST_BYTES = 4_000_000
"""The largest score that is read, in bytes of XML."""
MOST_ELEMENTS = 60_000
_DEEPEST = 40
_MOST_PACKED = 64
_T = TypeVar("_T")


# Safe reading


def safe_xml(content: bytes, place: str) -> bytes:
    """The XML in the bytes of a plain or packed score, checked; TuneError if it isn't one or is too large."""
    if content[:2] == b"PK":
        content = _unpacked(content, place)
    if len(content) > MOST_BYTES:
        raise TuneError(f"larger than {MOST_BYTES // 1_000_000} MB", place=place)
    _check(content, place)
    return content


def _unpacked(content: bytes, place: str) -> bytes:
    """The score inside a packed file; sizes are checked before anything is unpacked."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            entries = packed.infolist()
            if len(entries) > _MOST_PACKED or sum(e.file_size for e in entries) > MOST_BYTES:
                raise TuneError("contains more than a score", place=place)
            if not {entry.compress_type for entry in entries} <= _PACKINGS:
                hint = "Save the tune as MusicXML again."
                raise TuneError("packed in a way that scores aren't", place=place, hint=hint)
            names = [entry.filename for entry in entries]
            named = _ROOT_FILE.search(packed.read(_CONTAINER)) if _CONTAINER in names else None
            scores = [named[1].decode()] if named else [name for name in names if _is_score(name)]
            if not scores or scores[0] not in names:
                raise TuneError("contains no score", place=place, hint="Save the tune as MusicXML again.")
            with packed.open(scores[0]) as file:
                return file.read(MOST_BYTES + 1)
    except _DAMAGE as error:
        raise TuneError("a damaged packed file", place=place) from error


_PACKINGS = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
"""How files in a packed score are compressed; other ways could take any amount of memory."""
_CONTAINER = "META-INF/container.xml"
_ROOT_FILE = re.compile(rb"""full-path\s*=\s*["']([^"']+)["']""")
_DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    RuntimeError,
    NotImplementedError,
    EOFError,
    OSError,
    ValueError,
)
"""What a damaged packed file can raise."""


def _is_score(name: str) -> bool:
    return name.lower().endswith((".xml", ".musicxml")) and not name.startswith("META-INF")


_LONGEST_NUMBER = {
    "duration": 8,
    "divisions": 8,
    "beats": 12,
    "beat-type": 3,
    "multiple-rest": 3,
    "measure-repeat": 3,
    "actual-notes": 3,
    "normal-notes": 3,
    "octave": 3,
    "alter": 8,
    "fifths": 3,
    "chromatic": 6,
    "octave-change": 3,
}
"""The most characters of the numbers of a score; a program that trusts longer ones can count forever."""
_OTHER_NUMBERS = 7
"""The most characters of a number in any other element, what comes after its point not counted."""
_LONGEST_FRACTION = 24
"""The most characters of such a number with all of its decimals."""
_LONGEST_COUNT = 3
"""The most digits of what is counted in an attribute, such as the number of an ending or the times of a repeat."""
_COUNTS = ("number", "times", "type", "measures", "slash-dots", "divisions")
"""The attributes that hold counts."""
_IS_NUMBER = re.compile(r"[-+]?[\d.]+")
_BEATS = re.compile(r"\s*\d{1,2}\s*(\+\s*\d{1,2}\s*)*")


class _Check:
    """Counts what a parser meets, and stops it at the first thing that no score contains."""

    def __init__(self, place: str) -> None:
        self.place = place
        self.depth = self.elements = 0
        self.root = self.element = self.content = ""

    def start(self, name: str, attributes: Mapping[str, str]) -> None:
        self.root = self.root or name
        self.depth += 1
        self.elements += 1
        if self.depth > _DEEPEST or self.elements > MOST_ELEMENTS:
            raise TuneError("nested deeper, or longer, than any score", place=self.place)
        for attribute in (
            _COUNTS if name != "measure" else ()
        ):  # the name of a measure isn't used for counting
            if re.search(rf"\d{{{_LONGEST_COUNT + 1}}}", attributes.get(attribute, "")):
                raise TuneError(f"contains a {attribute} of {name} that no score has", place=self.place)
        self.element, self.content = name, ""

    def text(self, text: str) -> None:
        self.content += text
        content, most = self.content.strip(), _LONGEST_NUMBER.get(self.element)
        whole = len(content.partition(".")[0])
        if most is None and whole > _OTHER_NUMBERS and _IS_NUMBER.fullmatch(content):
            most = _OTHER_NUMBERS
        elif most is None and len(content) > _LONGEST_FRACTION and _IS_NUMBER.fullmatch(content):
            most = _LONGEST_FRACTION
        if most is not None and len(content) > most:
            raise TuneError(f"contains {self.element or 'a number'} that no score has", place=self.place)

    def end(self, _: str) -> None:
        self.depth -= 1
        if self.element == "beats" and _BEATS.fullmatch(self.content) is None:
            raise TuneError(f"can't count the beats {shorten(self.content)}", place=self.place)
        self.element = self.content = ""

    def entity(self, name: str, *_: object) -> None:
        raise TuneError(f"declares an entity ({name[:20]!r}), which no score needs", place=self.place)


def _check(content: bytes, place: str) -> None:
    check = _Check(place)
    parser = expat.ParserCreate()
    parser.StartElementHandler = check.start
    parser.EndElementHandler = check.end
    parser.CharacterDataHandler = check.text
    parser.EntityDeclHandler = check.entity
    try:
        parser.Parse(content, True)
    except expat.ExpatError as error:
        if not content.lstrip(b"\xef\xbb\xbf\xff\xfe\x00 \t\r\n").startswith(b"<"):
            hint = "Export it again from your notation program, as MusicXML (.musicxml, .xml or packed .mxl)."
            what = "is not a MusicXML score" if content.strip() else "the file is empty"
            raise TuneError(what, place=place, hint=hint) from None
        where = f"line {error.lineno}, column {error.offset + 1}"
        raise TuneError(f"not well-formed XML ({where})", place=place) from None
    except (ValueError, LookupError) as error:
        raise TuneError("in an encoding that can't be read", place=place) from error
    if check.root != "score-partwise":
        hint = "Save the tune as MusicXML, with its parts one after another."
        raise TuneError(f"a file of {check.root[:30]!r}, not a MusicXML score", place=place, hint=hint)


# What the score says


def read_tune(content: bytes, place: str) -> Tune:
    """The tune of a MusicXML file, plain or packed, given as bytes: the notes and chord symbols of its first part
    that has notes.

    Raises TuneError with the place where it cannot be used.
    """
    xml = safe_xml(content, place)
    with _quiet(place):
        score = _score(xml)
        part = next((part for part in score.parts if _pitched(part)), None)
    if part is None:
        raise TuneError("has no notes", place=place)
    try:
        return _tune(score, part, xml, place)
    except (TuneError, MemoryError):
        raise
    except Exception as error:
        raise TuneError("contains something that fillgen doesn't understand", place=place) from error


def _pitched(part: Any) -> list[Any]:
    """The notes and chords of a part that have pitches and last: no chord symbols, drums or grace notes."""
    return [
        element
        for element in part.flatten().notes
        if "Harmony" not in element.classes
        and getattr(element, "pitches", None)
        and element.duration.quarterLength
    ]


def _tune(score: Any, part: Any, content: bytes, place: str) -> Tune:
    measures = list(part.getElementsByClass("Measure"))
    lengths = [_ticks(measure.duration.quarterLength) for measure in measures]
    metres = _metres(part, measures, place)
    pickup = lengths[0] if lengths and lengths[0] < metres[0].bar else 0
    order, bars, remarks = _played(lengths, metres, content, place)
    starts = [pickup + tick for tick in accumulate((ticks for _, ticks in bars), initial=0)]
    unfolded = Unfolded(order, tuple(lengths))
    notes, chords = _notes(part), _chords(score, part)
    return Tune(
        title=_title(score),
        tempo=_tempo(part),
        pickup=pickup,
        bar_metres=tuple(metre for metre, _ in bars),
        shortage=bars[-1][0].bar - bars[-1][1],
        measures=tuple(lengths),
        measure_metres=tuple(metres),
        keys=_keys(part, measures, notes, chords),
        part=str(part.id),
        notes=unfolded.notes(notes, _tied(part)),
        below=unfolded.notes(_below(part), frozenset()),
        chords=unfolded.chords(chords),
        xml=content,
        order=order,
        begins=unfolded.begins(frozenset(starts)),
        remarks=remarks,
    )


def _played(
    lengths: Sequence[int], metres: Sequence[Metre], xml: bytes, place: str
) -> tuple[tuple[int, ...], list[tuple[Metre, int]], tuple[str, ...]]:
    """The order in which measures are played, the bars that come of it with their ticks, and what isn't played as written.

    Where the bars don't come out even with the repeats, each measure is played once.
    """
    written = tuple(range(len(lengths)))
    signs = signs_of(xml)
    order = played_order(signs) if len(signs) == len(lengths) else written
    if len(order) > MOST_PLAYED:
        raise TuneError(f"has more than {MOST_PLAYED} measures with its repeats", place=place)
    jumping = (_JUMPING,) if jumps(xml) else ()
    try:
        return order, _bars_of(order, lengths, metres, place), jumping
    except TuneError:
        if order == written:
            raise
        return written, _bars_of(written, lengths, metres, place), (_UNEVEN, *jumping)


_JUMPING = "D.C., D.S., Fine and Coda are not followed; repeats and endings are."
_UNEVEN = "the tune's bars don't add up with its repeats, so each measure is played once."


def _bars_of(
    order: Sequence[int], lengths: Sequence[int], metres: Sequence[Metre], place: str
) -> list[tuple[Metre, int]]:
    """The full bars of a tune that may begin with a pick-up, with their ticks."""
    whole = [(lengths[number], metres[number]) for number in order]
    bars = whole[1:] if whole and whole[0][0] < whole[0][1].bar else whole
    return full_bars([ticks for ticks, _ in bars], [metre for _, metre in bars], place)


def _melody(part: Any) -> list[Any]:
    """The notes of a part without those of its lower voices, where measures have several."""
    voices = {
        id(note): (number, str(voice.id), note)
        for number, measure in enumerate(part.getElementsByClass("Measure"))
        for voice in measure.voices
        for note in voice.notes
        if getattr(note, "pitches", None) and "Harmony" not in note.classes
    }
    if not voices:
        return _pitched(part)
    names = sorted({name for _, name, _ in voices.values()})
    heights = {
        name: fmean(note.pitches[-1].midi for _, own, note in voices.values() if own == name)
        for name in names
    }
    top = max(names, key=heights.__getitem__)
    there = {number for number, name, _ in voices.values() if name == top}
    low = {each for each, (number, name, _) in voices.items() if number in there and name != top}
    return [note for note in _pitched(part) if id(note) not in low]


def _tied(part: Any) -> frozenset[int]:
    """The ticks at which notes begin that are tied to one before."""
    return frozenset(_ticks(element.offset) for element in _melody(part) if _goes_on(element))


def _ticks(quarters: Any) -> int:
    return round(float(quarters) * TICKS)


def _title(score: Any) -> str:
    title = score.metadata.bestTitle if score.metadata is not None else None
    return printable(str(title or ""))


def _metres(part: Any, measures: Sequence[Any], place: str) -> list[Metre]:
    """The metre of each measure; TuneError for an unsupported one."""
    found = _held(part, measures, "TimeSignature", lambda sign: str(sign.ratioString), "4/4")
    for number, name in enumerate(found, 1):
        if name not in METRES:
            hint = f"Metres that work: {', '.join(METRES)}."
            raise TuneError(f"bar {number} is in {shorten(name)[1:-1]}", place=place, hint=hint)
    return [METRES[name] for name in found]


def _held(part: Any, measures: Sequence[Any], kind: str, read: Callable[[Any], _T], usual: _T) -> list[_T]:
    """What the signs of a kind say of each measure: each holds until the next, the first for what comes before it too."""
    signs = [(_ticks(sign.offset), read(sign)) for sign in part.flatten().getElementsByClass(kind)]
    found = []
    now = signs[0][1] if signs else usual
    for measure in measures:
        start = _ticks(measure.offset)
        now = next((value for tick, value in reversed(signs) if tick <= start), now)
        found.append(now)
    return found


def _keys(
    part: Any, measures: Sequence[Any], notes: Phrase, chords: Sequence[tuple[int, Chord]]
) -> tuple[Key, ...]:
    """The key of each measure as signed; where no mode is, that in which the chords and notes up to the next change are."""
    unsigned: tuple[int, str | None] = (0, None)
    signed = _held(part, measures, "KeySignature", _signature, unsigned)
    ends = [*(_ticks(measure.offset) for measure in measures[1:]), math.inf]
    found: list[Key] = []
    for stretch in stretches(signed):
        sharps, mode = signed[stretch[0]]
        if mode not in ("major", "minor"):
            begin, end = (ends[stretch[0] - 1] if stretch[0] else 0), ends[stretch[-1]]
            own = [chord for tick, chord in chords if begin <= tick < end]
            line = tuple(note for note in notes if begin <= note.onset < end)
            found += [mode_of(sharps, own, line)] * len(stretch)
        else:
            found += [_key_of(sharps, mode)] * len(stretch)
    return tuple(found)


def _signature(sign: Any) -> tuple[int, str | None]:
    """The sharps of a key signature, or flats below zero, and its mode if it says one."""
    return int(sign.sharps), getattr(sign, "mode", None)


def _signed_key(part: Any) -> Key | None:
    """The key as signed with its mode, where both are."""
    signs = part.flatten().getElementsByClass("KeySignature")
    mode = getattr(signs[0], "mode", None) if signs else None
    return _key_of(signs[0].sharps, mode) if mode in ("major", "minor") else None


def _key_of(sharps: int, mode: str) -> Key:
    return next(key for key in all_keys() if key.fifths == sharps and key.mode == mode)


def _tempo(part: Any) -> int | None:
    marks = part.flatten().getElementsByClass("MetronomeMark")
    tempo = marks[0].getQuarterBPM() if marks else None
    return round(tempo) if tempo and 20 <= tempo <= 400 else None


def _notes(part: Any) -> Phrase:
    """The highest sounding note at each place, tied notes as one; grace notes are left out."""
    found: list[Note] = []
    for element in _melody(part):
        note = _note(element, _highest(element))
        if _goes_on(element) and found and found[-1].midi == note.midi and found[-1].end == note.onset:
            found[-1] = replace(found[-1], length=found[-1].length + note.length)
        elif not found or note.onset >= found[-1].end:
            found.append(note)
    return tuple(found)


def _below(part: Any) -> Phrase:
    """What sounds under the highest notes: lower voices and the other notes of chords, tied notes as one."""
    upper = {id(element) for element in _melody(part)}
    found: list[Note] = []
    ringing: dict[int, int] = {}  # where in `found` the last note of a pitch is
    for element in _pitched(part):
        for pitch in element.pitches:
            if id(element) in upper and pitch is _highest(element):
                continue
            note, last = _note(element, pitch), ringing.get(pitch.midi)
            if _goes_on(element) and last is not None and found[last].end == note.onset:
                found[last] = replace(found[last], length=found[last].length + note.length)
            else:
                ringing[pitch.midi] = len(found)
                found.append(note)
    return tuple(sorted(found, key=lambda note: (note.onset, -note.midi)))


def _highest(element: Any) -> Any:
    return max(element.pitches, key=lambda pitch: pitch.midi)


def _goes_on(element: Any) -> bool:
    """Whether a note is tied to one before it."""
    return element.tie is not None and element.tie.type in ("stop", "continue")


def _note(element: Any, pitch: Any) -> Note:
    return Note(_ticks(element.offset), _ticks(element.duration.quarterLength), pitch.midi, _spelling(pitch))


def _chords(score: Any, part: Any) -> tuple[tuple[int, Chord], ...]:
    """The chord symbols of the tune's part, or of the first part that has any."""
    found = (p.flatten().getElementsByClass("ChordSymbol") for p in (part, *score.parts))
    symbols = next((symbols for symbols in found if symbols), ())
    return tuple((_ticks(symbol.offset), _chord(symbol)) for symbol in symbols)


def _chord(symbol: Any) -> Chord:
    """A chord symbol of music21 as a chord of ours; an unsupported kind becomes the nearest plain kind."""
    if symbol.classes[0] == "NoChord" or symbol.chordKind == "none" or symbol.root() is None:
        return Chord(NO_CHORD, None, None)
    root = _name(symbol.root())
    bass = _name(symbol.bass()) if symbol.bass() is not None else root
    return make_chord(root.plain(), _kind(symbol), bass if bass != root else None)


def _name(pitch: Any) -> Name:
    return Name.read(pitch.name.replace("-", "b"))


def _spelling(pitch: Any) -> Name | None:
    """How a note is spelled; None for quarter tones and what needs more than two signs."""
    alter = pitch.accidental.alter if pitch.accidental is not None else 0
    return _name(pitch) if alter in (-2, -1, 0, 1, 2) else None


_OTHER_NAMES = {
    "dominant-seventh": "dominant",
    "half-diminished-seventh": "half-diminished",
    "minor-major-seventh": "major-minor",
    "suspended-fourth-seventh": "suspended-fourth",
}
"""The music21 names of the MusicXML kinds."""


def _kind(symbol: Any) -> Kind:
    name = _OTHER_NAMES.get(symbol.chordKind, symbol.chordKind)
    try:
        base = base_kind(name)
    except KeyError:
        return _by_sound(symbol) or base_kind("major")
    degrees = {degree.text for degree in base.degrees}
    for change in symbol.getChordStepModifications():
        degrees = _changed(degrees, str(change.degree), int(change.interval.semitones), change.modType)
    return next(
        (kind for kind in kinds() if {d.text for d in kind.degrees} == degrees), _by_sound(symbol) or base
    )


def _changed(degrees: set[str], degree: str, semitones: int, change: str) -> set[str]:
    if change == "subtract":
        return {text for text in degrees if text.lstrip("b#") != degree}
    sign = "#" * semitones if semitones > 0 else "b" * -semitones
    if change == "alter":
        degrees = {text for text in degrees if text.lstrip("b#") != degree}
    elif degree == "7":
        sign = "b" if not semitones else ""
    return degrees | {f"{sign}{degree}"}


def _by_sound(symbol: Any) -> Kind | None:
    """The kind with the same pitch classes above the root."""
    root = symbol.root().pitchClass
    above = frozenset((pitch.pitchClass - root) % 12 for pitch in symbol.pitches)
    return next((k for k in kinds() if frozenset(d.semitones % 12 for d in k.degrees) == above), None)


# Melodies


def read_score(content: bytes, place: str) -> Sheet:
    """The melodies of a MusicXML score, plain or packed, given as bytes; TuneError if it cannot be used."""
    xml = safe_xml(content, place)
    with _quiet(place):
        score = _score(xml)
        parts = [part for part in score.parts if _pitched(part)]
        voices = tuple(_voice(part) for part in parts)
        chords = _chords(score, parts[0]) if parts else ()
        key = _signed_key(parts[0]) if parts else None
        title, tempi = _title(score), [_tempo(part) for part in score.parts]
    repeats = (REPEATS,) if b"<repeat " in xml else ()
    tempo = next(filter(None, tempi), None)
    return checked_sheet(Sheet(named_apart(voices), title, tempo, repeats, chords, key), place)


def _score(xml: bytes) -> Any:
    import music21  # noqa: PLC0415 - a quarter of a second, for scores only

    return music21.converter.parseData(_as_utf_8(xml), format="musicxml")


def _as_utf_8(xml: bytes) -> bytes:
    """XML of UTF-16, which expat reads and music21 does not, as UTF-8."""
    if xml[:2] not in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        return xml
    return re.sub(r"^\s*<\?xml[^>]*>", "", xml.decode("utf-16")).encode()


@contextlib.contextmanager
def _quiet(place: str) -> Iterator[None]:
    """Run music21 without its warnings and prints; any error on a damaged score becomes a TuneError."""
    nowhere = io.StringIO()
    try:
        with (
            warnings.catch_warnings(),
            contextlib.redirect_stdout(nowhere),
            contextlib.redirect_stderr(nowhere),
        ):
            warnings.simplefilter("ignore")
            yield
    except MemoryError:
        raise
    except Exception as error:
        raise TuneError("can't be read as music", place=place) from error


def _voice(part: Any) -> Voice:
    name = " ".join(str(part.partName or "").split()) or str(part.id)
    staff = re.search(r"-Staff(\d+)$", str(part.id))
    signs = part.flatten().getElementsByClass("TimeSignature")
    return Voice(
        name=f"{name}, staff {staff[1]}" if staff else name,
        sounds=_sounds(part),
        metres=tuple((_ticks(sign.offset), f"{sign.numerator}/{sign.denominator}") for sign in signs),
        bars=_measures(part),
    )


def _measures(part: Any) -> tuple[int, ...]:
    """The ticks of each written measure."""
    measures = list(part.getElementsByClass("Measure"))
    starts = [_ticks(measure.offset) for measure in measures]
    ends = [*starts[1:], *(starts[-1] + _ticks(m.duration.quarterLength) for m in measures[-1:])]
    return tuple(end - start for start, end in zip(starts, ends, strict=True))


def _sounds(part: Any) -> tuple[Sound, ...]:
    """All notes of a part as they sound, tied ones as one; grace notes are left out."""
    shift = _transposition(part)
    found: list[Sound] = []
    last: dict[int, int] = {}
    for element in _pitched(part):
        onset, end = _exact(element.offset), _exact(element.offset + element.duration.quarterLength)
        for note in getattr(element, "notes", (element,)):
            midi = min(127, max(0, note.pitch.midi + shift))
            tied = note.tie is not None and note.tie.type in ("stop", "continue")
            before = last.get(midi)
            if tied and before is not None and abs(found[before].end - onset) < 1:
                found[before] = replace(found[before], end=end)
            else:
                last[midi] = len(found)
                found.append(Sound(onset, end, midi, _spelling(note.pitch) if not shift % 12 else None))
    return tuple(found)


def _transposition(part: Any) -> int:
    """Semitones from the written to the sounding pitch."""
    found = (instrument.transposition for instrument in part.getElementsByClass("Instrument"))
    interval = next((interval for interval in found if interval is not None), None)
    return round(interval.semitones) if interval is not None else 0


def _exact(quarters: Any) -> float:
    """Quarter notes in ticks, whole where they are whole but for rounding."""
    ticks = float(quarters) * TICKS
    return float(round(ticks)) if abs(ticks - round(ticks)) < 0.01 else ticks


def read_abc(text: str, place: str) -> Sheet:
    r"""The melodies of the first tune of an ABC text, one for each voice; TuneError if it cannot be used.

    >>> found = read_abc("X:1\nT:Quill\nM:3/4\nL:1/4\nK:F\nFGB|c3|", "a tune")
    >>> [sound.midi for sound in found.voices[0].sounds], found.voices[0].bars
    ([65, 67, 70, 72], (1440, 1440))
    """
    tune, both, remarks = _abc(text, place)
    remarks += [REPEATS] if tune.repeats else []
    voices = tuple(voice for _, voice, _ in both if voice.sounds)
    chords = next((chords for *_, chords in both if chords), ())
    sheet = Sheet(named_apart(voices), tune.title, tune.tempo, tuple(remarks), chords)
    return checked_sheet(sheet, place)


_Chords = tuple[tuple[int, Chord], ...]


def _abc(text: str, place: str) -> tuple[AbcTune, list[tuple[AbcVoice, Voice, _Chords]], list[str]]:
    """The first tune of an ABC text: its fields, its voices with their chord symbols, and remarks."""
    tune, more = AbcTune(place), first_tune(text)
    for head, letter, value in more[0]:
        if head:
            tune.head(letter, value)
        elif letter:
            tune.inside(letter, value)
        else:
            tune.line(value)
    remarks = [f"The file holds {more[1]} tunes; the first is read."] if more[1] > 1 else []
    with _quiet(place):
        both = [(voice, *_abc_voice(tune, voice)) for voice in tune.voices.values() if voice.text]
    remarks += [_PASSED_OVER.format(shorten(text)) for text in dict.fromkeys(tune.not_chords)]
    return tune, both, remarks


def read_abc_lines(text: str, place: str) -> Lines:
    r"""The first tune of an ABC text with its measures, repeat signs and endings; TuneError if it cannot be used.

    >>> found = read_abc_lines("X:1\nT:Quill\nM:3/4\nL:1/4\nK:F\nC|FGB|c2:|", "a tune")
    >>> [(measure.length, measure.signs.closes) for measure in found.measures]
    [(480, False), (1440, False), (960, True)]
    """
    tune, both, remarks = _abc(text, place)
    sounding = [each for each in both if each[1].sounds]
    if not sounding:
        raise TuneError("has no notes", place=place)
    own, _, chords = sounding[0]
    usual = tune.metre or "4/4"
    bars, marks = split_lines(sounding[0][1].bars, own.marks.metres, usual, own.marks)
    measures = measures_of(bars, (usual, tune.signed), marks, place)
    voices = named_apart(tuple(voice for _, voice, _ in sounding))
    alike = tuple(voice for voice in voices if sum(voice.bars) == sum(bars))
    if len(alike) < len(voices):
        remarks.append("Voices whose bars differ from the first one's were left out.")
    sheet = checked_sheet(Sheet(alike, tune.title), place)
    chords = next((found for *_, found in sounding if found), chords)
    every = tuple((voice.name, voice.sounds) for voice in alike)
    return Lines(sheet.title, tune.tempo, measures, every, chords, tuple(remarks))


_PASSED_OVER = "{} above the notes is not a chord and was ignored."


def _abc_voice(tune: AbcTune, voice: AbcVoice) -> tuple[Voice, tuple[tuple[int, Chord], ...]]:
    """A voice as music21 reads it, and its chord symbols with their ticks.

    It gets no metre, which would make it cut long bars in two.
    """
    from music21 import abcFormat  # noqa: PLC0415 - for scores only
    from music21.abcFormat import translate  # noqa: PLC0415

    text = f"%abc-2.1\nX:1\nL:{tune.unit_length}\nK:C\n{''.join(voice.text)} |\n"
    translated: Any = translate.abcToStreamScore
    score = translated(abcFormat.ABCFile().readstr(text))
    part = score.parts[0]
    sounds = _sounds(part)
    whole = _ticks(part.duration.quarterLength)
    bars = _measures(part) or ((whole,) if tune.barred else ())
    if tune.metre and not voice.metres:
        bars = tuple(_unwritten_lines(bars, int(Fraction(tune.metre) * 4 * TICKS)))
    signed = [(0, tune.metre)] if tune.metre else []
    starts = (0, *accumulate(bars))
    metres = [*signed, *((starts[min(bar, len(bars))], name) for bar, name in voice.metres)]
    elements = [
        _ticks(element.offset) for element in part.flatten().notesAndRests if not element.duration.isGrace
    ]
    ends = [*elements, whole]
    chords = tuple((ends[min(number, len(elements))], chord) for number, chord in voice.chords)
    return Voice(voice.name, sounds, tuple(metres), bars), chords


def _unwritten_lines(bars: Sequence[int], whole: int) -> Iterator[int]:
    """Bars with the bar lines that ABC may leave out at the end of a line of text: two full bars are not one."""
    for ticks in bars:
        yield from [whole] * (ticks // whole) if ticks > whole and ticks % whole == 0 else [ticks]
