"""Tunes read from MusicXML. This is the one module that loads music21, and it loads it only when a tune is read."""

from __future__ import annotations

import io
import lzma
import re
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.parsers import expat

from fillgen.chords import NO_CHORD, Chord, Kind, base_kind, kinds, make_chord
from fillgen.errors import OutputError, TuneError
from fillgen.metre import METRES, TICKS, Metre
from fillgen.music import Note, Phrase
from fillgen.pitch import Key, Name, all_keys

MOST_BYTES = 4_000_000
"""The largest score that is read, in bytes of XML."""
MOST_ELEMENTS = 60_000
_DEEPEST = 40
_MOST_PACKED = 64


@dataclass(frozen=True)
class Tune:
    """A tune as it was read: where each bar starts, its notes and its chords, in ticks from the first note or rest.

    `pickup` are the ticks before the first full bar, 0 where the tune begins on one; `shortage` are the ticks by
    which its last bar is short; `measures` are the ticks of
    the written measures, of which two may share a bar at a repeat; `part` is the id of the part that was read.
    """

    title: str
    key: Key
    metre: Metre
    tempo: int | None
    pickup: int
    bars: int
    shortage: int
    measures: tuple[int, ...]
    notes: Phrase
    chords: tuple[tuple[int, Chord], ...]
    xml: bytes
    part: str

    @property
    def repeats(self) -> bool:
        """Whether the score has repeat signs."""
        return b"<repeat " in self.xml

    @property
    def length(self) -> int:
        """Ticks of the whole tune, with its pick-up."""
        return self.pickup + self.bars * self.metre.bar


# Safe reading


def read_xml(path: Path) -> bytes:
    """The XML of a plain or packed MusicXML file, checked for size, depth and entities before anything parses it.

    Raises OutputError where the file cannot be read, TuneError where it is no such file or is too large.
    """
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise OutputError(f"cannot be read: {error.strerror}", place=str(path)) from error
    except ValueError as error:
        raise OutputError("is no name for a file", place=repr(str(path))[:80]) from error
    if content[:2] == b"PK":
        content = _unpacked(content, path)
    if len(content) > MOST_BYTES:
        raise TuneError(f"larger than {MOST_BYTES // 1_000_000} MB", place=str(path))
    _check(content, path)
    return content


def _unpacked(content: bytes, path: Path) -> bytes:
    """The score inside a packed file; sizes are checked before anything is unpacked."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            entries = packed.infolist()
            if len(entries) > _MOST_PACKED or sum(e.file_size for e in entries) > MOST_BYTES:
                raise TuneError("holds more than a score", place=str(path))
            names = [entry.filename for entry in entries]
            named = _ROOT_FILE.search(packed.read(_CONTAINER)) if _CONTAINER in names else None
            scores = [named[1].decode()] if named else [name for name in names if _is_score(name)]
            if not scores or scores[0] not in names:
                raise TuneError("holds no score", place=str(path), hint="Save the tune as MusicXML again.")
            with packed.open(scores[0]) as file:
                return file.read(MOST_BYTES + 1)
    except _DAMAGE as error:
        raise TuneError("a damaged packed file", place=str(path)) from error


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


class _Check:
    """Counts what a parser meets, and stops it at the first thing that a score never holds."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.depth = self.elements = 0
        self.root = ""

    def start(self, name: str, _: object) -> None:
        self.root = self.root or name
        self.depth += 1
        self.elements += 1
        if self.depth > _DEEPEST or self.elements > MOST_ELEMENTS:
            raise TuneError("deeper or longer than a score", place=str(self.path))

    def end(self, _: str) -> None:
        self.depth -= 1

    def entity(self, name: str, *_: object) -> None:
        raise TuneError(
            f"declares an entity ({name[:20]!r}), which a score has no need of", place=str(self.path)
        )


def _check(content: bytes, path: Path) -> None:
    check = _Check(path)
    parser = expat.ParserCreate()
    parser.StartElementHandler = check.start
    parser.EndElementHandler = check.end
    parser.EntityDeclHandler = check.entity
    try:
        parser.Parse(content, True)
    except expat.ExpatError as error:
        where = f"line {error.lineno}, column {error.offset + 1}"
        raise TuneError(f"not whole XML ({where})", place=str(path)) from None
    except (ValueError, LookupError) as error:
        raise TuneError("in an encoding that cannot be read", place=str(path)) from error
    if check.root != "score-partwise":
        hint = "Save the tune as MusicXML, with its parts one after another."
        raise TuneError(f"a file of {check.root[:30]!r}, not a MusicXML score", place=str(path), hint=hint)


# What the score says


def read_tune(path: Path) -> Tune:
    """The tune of a MusicXML file: the notes and chord symbols of its first part that has notes.

    Raises TuneError with the place where it cannot be used.
    """
    content = read_xml(path)
    import music21  # noqa: PLC0415 - a quarter of a second, for this command only

    try:
        score: Any = music21.converter.parseData(content, format="musicxml")
        part = next(part for part in score.parts if _pitched(part))
    except StopIteration:
        raise TuneError("has no notes", place=str(path)) from None
    except Exception as error:
        raise TuneError("cannot be read as music", place=str(path)) from error
    try:
        return _tune(score, part, content, path)
    except TuneError:
        raise
    except Exception as error:
        raise TuneError("holds something that is not understood", place=str(path)) from error


def _pitched(part: Any) -> list[Any]:
    """The notes and chords of a part that have pitches and last: no chord symbols, drums or grace notes."""
    return [
        element
        for element in part.flatten().notes
        if "Harmony" not in element.classes
        and getattr(element, "pitches", None)
        and element.duration.quarterLength
    ]


def _tune(score: Any, part: Any, content: bytes, path: Path) -> Tune:
    measures = list(part.getElementsByClass("Measure"))
    metre = _metre(part, path)
    if len({sign.sharps for sign in part.flatten().getElementsByClass("KeySignature")}) > 1:
        raise TuneError("changes its key", place=str(path), hint="Give a tune that stays in one key.")
    lengths = [_ticks(measure.duration.quarterLength) for measure in measures]
    pickup = lengths[0] if lengths and lengths[0] < metre.bar else 0
    bars = _full_bars(lengths[1:] if pickup else lengths, metre, path)
    return Tune(
        title=_title(score),
        key=_key(part),
        metre=metre,
        tempo=_tempo(part),
        pickup=pickup,
        bars=len(bars),
        shortage=metre.bar - bars[-1],
        measures=tuple(lengths),
        part=str(part.id),
        notes=_notes(part),
        chords=_chords(score, part),
        xml=content,
    )


def _full_bars(lengths: Sequence[int], metre: Metre, path: Path) -> list[int]:
    """The ticks of the bars; two short measures in a row, as at a repeat after a pick-up, make one bar together."""
    bars: list[int] = []
    for number, length in enumerate(lengths, 1):
        if bars and bars[-1] < metre.bar:
            bars[-1] += length
        else:
            bars.append(length)
        if bars[-1] > metre.bar:
            hint = "Only a pick-up, the last bar, and two that fill one bar together may be short."
            raise TuneError(f"bar {number} does not fill a {metre.name} bar", place=str(path), hint=hint)
    if not bars:
        raise TuneError("has no full bar", place=str(path))
    return bars


def _ticks(quarters: Any) -> int:
    return round(float(quarters) * TICKS)


def _title(score: Any) -> str:
    title = score.metadata.bestTitle if score.metadata is not None else None
    return str(title or "")


def _metre(part: Any, path: Path) -> Metre:
    found = {sign.ratioString for sign in part.flatten().getElementsByClass("TimeSignature")}
    if len(found) > 1:
        raise TuneError(f"changes its metre ({', '.join(sorted(found))})", place=str(path))
    name = next(iter(found), "4/4")
    if name not in METRES:
        raise TuneError(f"is in {name}", place=str(path), hint=f"Metres that work: {', '.join(METRES)}.")
    return METRES[name]


def _key(part: Any) -> Key:
    """The key as signed, with its mode; without a mode the one that the notes fit better."""
    signs = part.flatten().getElementsByClass("KeySignature")
    sharps = signs[0].sharps if signs else 0
    mode = getattr(signs[0], "mode", None) if signs else None
    if mode not in ("major", "minor"):
        mode = part.analyze("key").mode
    return next(key for key in all_keys() if key.fifths == sharps and key.mode == mode)


def _tempo(part: Any) -> int | None:
    marks = part.flatten().getElementsByClass("MetronomeMark")
    tempo = marks[0].getQuarterBPM() if marks else None
    return round(tempo) if tempo and 20 <= tempo <= 400 else None


def _notes(part: Any) -> Phrase:
    """The highest sounding note at each place, tied notes as one; grace notes are left out."""
    found: list[Note] = []
    for element in _pitched(part):
        midi = max(pitch.midi for pitch in element.pitches)
        onset, length = _ticks(element.offset), _ticks(element.duration.quarterLength)
        tied = element.tie is not None and element.tie.type in ("stop", "continue")
        if tied and found and found[-1].midi == midi and found[-1].end == onset:
            found[-1] = Note(found[-1].onset, found[-1].length + length, midi)
        elif not found or onset >= found[-1].end:
            found.append(Note(onset, length, midi))
    return tuple(found)


def _chords(score: Any, part: Any) -> tuple[tuple[int, Chord], ...]:
    """The chord symbols of the tune's part, or of the first part that has any."""
    found = (p.flatten().getElementsByClass("ChordSymbol") for p in (part, *score.parts))
    symbols = next((symbols for symbols in found if symbols), ())
    return tuple((_ticks(symbol.offset), _chord(symbol)) for symbol in symbols)


def _chord(symbol: Any) -> Chord:
    """A chord symbol of music21 as a chord of ours; a kind we do not have becomes its nearest plain kind."""
    if symbol.classes[0] == "NoChord" or symbol.chordKind == "none" or symbol.root() is None:
        return Chord(NO_CHORD, None, None)
    root = _name(symbol.root())
    bass = _name(symbol.bass()) if symbol.bass() is not None else root
    return make_chord(root.plain(), _kind(symbol), bass if bass != root else None)


def _name(pitch: Any) -> Name:
    return Name.read(pitch.name.replace("-", "b"))


_OTHER_NAMES = {
    "dominant-seventh": "dominant",
    "half-diminished-seventh": "half-diminished",
    "minor-major-seventh": "major-minor",
    "suspended-fourth-seventh": "suspended-fourth",
}
"""What music21 calls the kinds of MusicXML."""


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
