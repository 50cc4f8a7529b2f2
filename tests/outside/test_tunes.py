"""Intros and endings put on tunes: the files against the MusicXML 4.0 schema and as music21 reads them.

Sources: the schema musicxml.xsd of MusicXML 4.0 (W3C Music Notation Community Group), as the package `musicxml`
carries it; music21 as reader. All tunes on this page are made up for it, by its own small writer.
"""

from __future__ import annotations

import copy
import io
import random
import re
import tracemalloc
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import music21
import pytest
from lxml import etree

from fillgen import FillgenError
from fillgen.chart.sequences import sequence, to_chord
from fillgen.cli import main
from fillgen.errors import OptionError, OutputError, TuneError
from fillgen.hands.playing import PARTS, Playing
from fillgen.readers.confined import read_tune
from fillgen.readers.tunes import Tune
from fillgen.theory.chords import read_chord
from fillgen.theory.metre import METRES
from fillgen.tune import Piece, TuneRequest, pieces
from fillgen.writers.tunes import tune_midi, tune_musicxml
from tests.effort import one_in
from tests.outside.test_midi import MARKER, meta, read_file
from tests.outside.test_takes import tracks_of

# A small writer of MusicXML

DIVISIONS = 24
LENGTHS = {"w": 96, "h.": 72, "h": 48, "q.": 36, "q": 24, "e.": 18, "e": 12, "s": 6, "t": 3, "et": 8}
TYPES = {"w": "whole", "h": "half", "q": "quarter", "e": "eighth", "s": "16th", "t": "32nd"}
KINDS = {
    "": "major",
    "m": "minor",
    "7": "dominant",
    "maj7": "major-seventh",
    "m7": "minor-seventh",
    "m7b5": "half-diminished",
    "dim7": "diminished-seventh",
    "6": "major-sixth",
    "sus4": "suspended-fourth",
    "7b9": "dominant",
}
SYMBOL = re.compile(r"<([A-G])([#b]?)([^/>]*)(?:/([A-G])([#b]?))?>")
NOTE = re.compile(r"(r|[A-G][#b]?\d)_(\w+\.?)(~?)")
ALTERS = {"#": 1, "b": -1, "": 0}


def harmony(text: str) -> str:
    """A chord symbol such as <Dm7/G>."""
    match = SYMBOL.fullmatch(text)
    assert match is not None, text
    step, sign, kind, bass, bass_sign = match.groups()
    told = f"<harmony><root><root-step>{step}</root-step>"
    told += f"<root-alter>{ALTERS[sign]}</root-alter>" if sign else ""
    told += f'</root><kind text="{kind}">{KINDS[kind]}</kind>'
    if bass:
        alter = f"<bass-alter>{ALTERS[bass_sign]}</bass-alter>" if bass_sign else ""
        told += f"<bass><bass-step>{bass}</bass-step>{alter}</bass>"
    if kind == "7b9":
        told += "<degree><degree-value>9</degree-value><degree-alter>-1</degree-alter>"
        told += "<degree-type>add</degree-type></degree>"
    return told + "</harmony>"


def bar(text: str, number: int, held: list[bool], head: str = "") -> str:
    """A measure from its notes, such as `<C> C5_q D5_e~ r_e`; `:|` at its end repeats, `||` is the final bar line."""
    told = f'<measure number="{number}">{head}'
    for token in text.split():
        if token.startswith("<"):
            told += harmony(token)
        elif token in (":|", "|:", "||"):
            side = "left" if token == "|:" else "right"
            sign = {"|:": "forward", ":|": "backward", "||": ""}[token]
            style = "heavy-light" if token == "|:" else "light-heavy"
            repeat = f'<repeat direction="{sign}"/>' if sign else ""
            told += f'<barline location="{side}"><bar-style>{style}</bar-style>{repeat}</barline>'
        else:
            told += note(token, held)
    return told + "</measure>"


def note(token: str, held: list[bool]) -> str:
    """A note or rest such as F#5_q. or r_h; ~ ties it to the next."""
    match = NOTE.fullmatch(token)
    assert match is not None, token
    pitch, length, tie = match.groups()
    told = "<note>"
    if pitch == "r":
        told += "<rest/>"
    else:
        alter = f"<alter>{ALTERS[pitch[1:-1]]}</alter>" if pitch[1:-1] else ""
        told += f"<pitch><step>{pitch[0]}</step>{alter}<octave>{pitch[-1]}</octave></pitch>"
    told += f"<duration>{LENGTHS[length]}</duration>"
    ties = ["stop"] * held[0] + ["start"] * bool(tie)
    told += "".join(f'<tie type="{kind}"/>' for kind in ties)
    told += f"<voice>1</voice><type>{TYPES[length[0]]}</type>" + "<dot/>" * length.endswith(".")
    if length.endswith("t") and len(length) > 1:
        told += "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
        told += "</time-modification>"
    if ties:
        told += "<notations>" + "".join(f'<tied type="{kind}"/>' for kind in ties) + "</notations>"
    held[0] = bool(tie)
    return told + "</note>"


@dataclass(frozen=True)
class Made:
    """A tune of our own: its title, key, metre and bars; `more` are the bars of a second part."""

    title: str
    key: str
    fifths: int
    metre: str
    bars: str
    pickup: int = 0
    shortage: int = 0
    more: str = ""
    extra: str = ""

    @property
    def texts(self) -> list[str]:
        return [text.strip() for text in self.bars.strip().splitlines()]


def score(made: Made) -> bytes:
    """A tune as MusicXML."""
    beats, unit = made.metre.split("/")
    head = f"<attributes><divisions>{DIVISIONS}</divisions><key><fifths>{made.fifths}</fifths>"
    head += f"<mode>{made.key.split()[1]}</mode></key><time><beats>{beats}</beats><beat-type>{unit}</beat-type></time>"
    head += f"<clef><sign>G</sign><line>2</line></clef>{made.extra}</attributes>"
    lines = [made.texts] + ([[t.strip() for t in made.more.strip().splitlines()]] if made.more else [])
    names = ["P1", "P2"][: len(lines)]
    listed = "".join(
        f'<score-part id="{name}"><part-name>Voice {name}</part-name></score-part>' for name in names
    )
    parts = ""
    for name, texts in zip(names, lines, strict=True):
        held = [False]
        measures = [
            bar(text, number, held, head if number == 1 else "") for number, text in enumerate(texts, 1)
        ]
        parts += f'<part id="{name}">{"".join(measures)}</part>'
    return (
        '<?xml version="1.0" encoding="UTF-8"?>'
        '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 3.1 Partwise//EN" '
        '"http://www.musicxml.org/dtds/partwise.dtd">'
        f'<score-partwise version="3.1"><work><work-title>{made.title}</work-title></work>'
        f"<part-list>{listed}</part-list>{parts}</score-partwise>"
    ).encode()


TUNES = {
    "plain": Made(
        "Lantern Row", "C major", 0, "4/4",
        """<C> C5_q E5_q G5_q E5_q
        <Fmaj7> A4_h C5_q. B4_e
        <Dm7> D5_e E5_e F5_q A5_h
        <G7> G5_q F5_q D5_q B4_q
        <C> C5_q E5_q G5_q E5_q
        <A7> C#5_h E5_h
        <Dm7> D5_q F5_q <G7> E5_q D5_q
        <C> C5_w ||""",
    ),
    "pick-up": Made(
        "Three Gates", "G major", 1, "3/4",
        """D5_q
        <G> B4_h D5_q
        <D7> C5_q A4_q F#4_q
        <Em> G4_h B4_q
        <C> E5_q. D5_e C5_q
        <Am7> A4_q C5_q E5_q
        <D7> D5_q C5_q A4_q
        <G> G4_h ||""",
        pickup=480, shortage=480,
    ),
    "six-eight": Made(
        "Harbour Fog", "D minor", -1, "6/8",
        """<Dm> D5_q. F5_q E5_e
        <Gm> D5_q Bb4_e G4_q.
        <A7> A4_e C#5_e E5_e G5_q E5_e
        <Dm> F5_h.
        <Bb> D5_q F5_e Bb5_q.
        <Gm> G5_q. D5_q Bb4_e
        <A7> C#5_q. E5_q.
        <Dm> D5_h. ||""",
    ),
    "two parts": Made(
        "Slow Ferry", "F major", -1, "4/4",
        """<F> A4_q C5_q F5_h
        <Bb> D5_q. C5_e Bb4_h
        <C7> G4_q Bb4_q E5_q C5_q
        <F> F5_w ||""",
        more="""F3_h A3_h
        Bb3_w
        C3_h C3_h
        F3_w ||""",
    ),
    "repeat": Made(
        "Round the Pond", "D major", 2, "2/4",
        """<D> D5_q F#5_q
        <G> G5_q B4_q
        <A7> C#5_e E5_e A4_q
        <D> D5_h :|
        <Bm> B4_q D5_q
        <Em7> E5_q G5_q
        <A7> A5_e G5_e E5_q
        <D> D5_h :|""",
    ),
    "ties": Made(
        "Long Shadows", "Bb major", -2, "4/4",
        """<Bb> D5_h. F5_q~
        <Gm7> F5_h D5_h~
        <Cm7> D5_q Eb5_h.~
        <F7> Eb5_e D5_e C5_q A4_h
        <Bb> Bb4_w~
        <Bb> Bb4_w ||""",
    ),
    "kinds": Made(
        "Tin Weathercock", "Eb major", -3, "4/4",
        """<Ebmaj7> G5_h Bb5_h
        <Eb/G> Eb5_q G5_q Bb4_h
        <Am7b5> C5_h Eb5_h
        <D7b9> F#5_q Eb5_q C5_h
        <Gm> D5_w
        <C6> E5_h <Fm7> Ab5_h
        <Bbsus4> Eb5_h <Bb7/Ab> D5_h
        <Eb> Eb5_w ||""",
    ),
}  # fmt: skip


INTRO = 2
"""The bars of intro in most tests: short ones are found faster."""


def ending_of(case: str) -> int:
    """The bars of ending in most tests: one, in three-four time two."""
    return 2 if TUNES[case].metre == "3/4" else 1


def save(content: bytes, folder: Path, name: str = "tune.musicxml") -> Path:
    """A file with some content."""
    path = folder / name
    path.write_bytes(content)
    return path


def read_bytes(content: bytes, name: str = "tune.musicxml") -> Tune:
    """The tune of a file with some content."""
    with TemporaryDirectory() as folder:
        return read_tune(save(content, Path(folder), name))


@cache
def read(case: str) -> Tune:
    """A tune of ours as it is read."""
    return read_bytes(score(TUNES[case]))


@cache
def piece(case: str, quote: int = 0) -> Piece:
    """A tune with its best intro and ending."""
    ending = ending_of(case) + quote
    return pieces(TuneRequest(read(case), intro=INTRO, ending=ending, quote=quote))[0]


def short(tune: Tune, **changes: Any) -> Piece:
    """A tune with a bar of intro and one of ending, which are found fastest."""
    return pieces(TuneRequest(tune, **{"intro": 1, "ending": 1, **changes}))[0]


@cache
def xml(case: str, quote: int = 0) -> bytes:
    """The whole piece as MusicXML."""
    return tune_musicxml(piece(case, quote), read(case))


def parsed(content: bytes) -> Any:
    """A score as music21 reads it."""
    return music21.converter.parseData(content, format="musicxml")


@cache
def whole(case: str, quote: int = 0) -> Any:
    """The whole piece as music21 reads it."""
    return parsed(xml(case, quote))


@cache
def before(case: str) -> Any:
    """The tune alone as music21 reads it."""
    return parsed(score(TUNES[case]))


def measures(part: Any) -> list[Any]:
    """The measures of a part."""
    return list(part.getElementsByClass("Measure"))


def tune_bars(case: str) -> slice:
    """Which measures of the written piece are the tune's."""
    first = piece(case).first
    return slice(first, first + len(TUNES[case].texts))


def told(measure: Any) -> tuple[list[Any], list[Any]]:
    """What a measure shows: notes and rests with onset, pitches, length and ties, and chord symbols.

    A `<forward>` is not shown; music21 reads it as a hidden rest, but in the last measure of a part as nothing.
    """
    notes, symbols = [], []
    for found in measure.flatten().notesAndRests:
        if found.style.hideObjectOnPrint:
            continue
        if "ChordSymbol" in found.classes:
            symbols.append(
                (found.offset, found.root().name, found.bass().name, found.chordKind, found.figure)
            )
        else:
            pitches = [pitch.nameWithOctave for pitch in getattr(found, "pitches", ())]
            tie = found.tie.type if found.tie is not None else None
            notes.append((found.offset, pitches, found.duration.quarterLength, tie))
    return notes, symbols


# The schema


class _StandIns(etree.Resolver):
    """Gives what the schema imports in a few lines, so that nothing is fetched."""

    def resolve(self, url: str, _: str, context: Any) -> Any:
        """A stand-in for the attributes of XML itself and of XLink."""
        xs = '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="http://www.w3.org/'
        if url.endswith("xml.xsd"):
            text = f'{xs}XML/1998/namespace"><xs:attribute name="lang" type="xs:language"/>'
            text += '<xs:attribute name="space" type="xs:NCName"/></xs:schema>'
            return self.resolve_string(text, context)
        if url.endswith("xlink.xsd"):
            names = ("href", "type", "role", "title", "show", "actuate")
            given = "".join(f'<xs:attribute name="{name}" type="xs:string"/>' for name in names)
            return self.resolve_string(f'{xs}1999/xlink">{given}</xs:schema>', context)
        return None


@cache
def schema() -> etree.XMLSchema:
    """The schema of MusicXML 4.0."""
    spec = find_spec("musicxml")
    assert spec is not None
    assert spec.submodule_search_locations is not None
    path = Path(spec.submodule_search_locations[0]) / "generate_classes" / "musicxml_4_0.xsd"
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_StandIns())
    return etree.XMLSchema(etree.parse(str(path), parser))


def check_schema(content: bytes) -> None:
    """That a file is valid MusicXML 4.0."""
    document = etree.fromstring(content, etree.XMLParser(load_dtd=False, no_network=True))
    assert schema().validate(document), schema().error_log


@pytest.mark.costly
@pytest.mark.parametrize("case", TUNES)
def test_the_schema_accepts_what_is_written(case: str) -> None:
    """The tune of this page and the whole piece with intro and ending are valid MusicXML 4.0, and say 4.0."""
    check_schema(score(TUNES[case]))
    check_schema(xml(case))
    assert etree.fromstring(xml(case)).get("version") == "4.0"


def test_the_schema_refuses_what_is_wrong() -> None:
    """The schema, with its stand-ins, still refuses a note without a length and an unknown element."""
    good = score(TUNES["plain"])
    for wrong in (
        good.replace(b"<duration>24</duration>", b"", 1).replace(b"<voice>1</voice>", b"", 1),
        good.replace(b"<harmony>", b"<harmonie>").replace(b"</harmony>", b"</harmonie>"),
    ):
        with pytest.raises(AssertionError):
            check_schema(wrong)


# Reading


def test_a_tune_is_read_as_it_is() -> None:
    """Title, key, metre, pick-up, number of bars and missing beats are those of the file."""
    for case, made in TUNES.items():
        tune = read(case)
        assert (tune.title, str(tune.key), tune.metre.name) == (made.title, made.key, made.metre)
        assert (tune.pickup, tune.shortage) == (made.pickup, made.shortage)
        assert len(set(tune.written_bars)) == len(made.texts) - bool(made.pickup)
        assert tune.bars == (16 if case == "repeat" else len(made.texts) - bool(made.pickup))


@pytest.mark.parametrize(
    ("case", "first", "chords"),
    [
        ("plain", (0, 480, 72), ["C", "Fmaj7", "Dm7", "G7", "C", "A7", "Dm7", "G7", "C"]),
        ("pick-up", (0, 480, 74), ["G", "D7", "Em", "C", "Am7", "D7", "G"]),
        ("six-eight", (0, 720, 74), ["Dm", "Gm", "A7", "Dm", "Bb", "Gm", "A7", "Dm"]),
        ("two parts", (0, 480, 69), ["F", "Bb", "C7", "F"]),
        (
            "kinds",
            (0, 960, 79),
            ["Ebmaj7", "Eb/G", "Am7b5", "D7b9", "Gm", "C6", "Fm7", "Bbsus4", "Bb7/Ab", "Eb"],
        ),
    ],
)
def test_notes_and_chords_are_read(case: str, first: tuple[int, int, int], chords: list[str]) -> None:
    """The first note has its place, length and pitch, and every chord symbol its root, kind and bass."""
    tune = read(case)
    assert (tune.notes[0].onset, tune.notes[0].length, tune.notes[0].midi) == first
    wanted = [read_chord(symbol) for symbol in chords]
    assert [(c.root, c.kind, c.bass) for _, c in tune.chords] == [(c.root, c.kind, c.bass) for c in wanted]


def test_tied_notes_are_one() -> None:
    """Notes tied over bar lines are read as one note of their whole length."""
    lengths = [note.length for note in read("ties").notes]
    assert lengths == [1440, 480 + 960, 960 + 480, 1440 + 240, 240, 480, 960, 3840]


def test_a_packed_tune_is_the_same(tmp_path: Path) -> None:
    """A packed file gives the tune of the plain one."""
    content = score(TUNES["kinds"])
    tune = read_tune(save(packed(content), tmp_path, "tune.mxl"))
    assert (tune.notes, tune.chords, tune.xml) == (read("kinds").notes, read("kinds").chords, content)


def packed(content: bytes) -> bytes:
    """A packed MusicXML file."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as file:
        container = '<container><rootfiles><rootfile full-path="score.xml"/></rootfiles></container>'
        file.writestr("META-INF/container.xml", container)
        file.writestr("score.xml", content)
    return buffer.getvalue()


# The tune between intro and ending


@pytest.mark.costly
@pytest.mark.parametrize("case", TUNES)
def test_every_bar_of_the_tune_is_unchanged(case: str) -> None:
    """Read back by music21, each bar of each part has the same notes, onsets, lengths, ties and chord symbols."""
    for part in before(case).parts:
        (same,) = [other for other in whole(case).parts if other.id == part.id]
        after = measures(same)[tune_bars(case)]
        assert len(after) == len(measures(part)) == len(TUNES[case].texts)
        for was, found in zip(measures(part), after, strict=True):
            assert told(found) == told(was)


@pytest.mark.parametrize("case", ["pick-up", "two parts", "kinds"])
def test_every_element_of_the_tune_is_unchanged(case: str) -> None:
    """Element for element the tune's bars are those of the file, but for numbers, bar lines and signs shown already."""
    parser = etree.XMLParser(remove_blank_text=True)
    was, found = etree.fromstring(score(TUNES[case]), parser), etree.fromstring(xml(case), parser)
    for part in was.findall("part"):
        (same,) = [other for other in found.findall("part") if other.get("id") == part.get("id")]
        bars = same.findall("measure")[tune_bars(case)]
        for one, other in zip(part.findall("measure"), bars, strict=True):
            assert [etree.tostring(e) for e in kept(one)] == [etree.tostring(e) for e in kept(other)]


def kept(measure: Any) -> list[Any]:
    """What must not change in a measure: all but bar lines, and metre, key and clef, which have tests of their own."""
    found = [copy.deepcopy(element) for element in measure if element.tag != "barline"]
    for element in found:
        element.tail = None
        for sign in element.xpath("self::attributes/*[self::key or self::time or self::clef]"):
            element.remove(sign)
    return found


@pytest.mark.parametrize("case", ["two parts", "six-eight"])
def test_signs_at_the_start_hold_for_the_tune(case: str) -> None:
    """Clef, key and metre stand in the first bar of the intro as the tune has them, and hold where the tune begins."""
    for part in before(case).parts:
        (same,) = [other for other in whole(case).parts if other.id == part.id]
        for kind in ("Clef", "KeySignature", "TimeSignature"):
            was, now = [list(one.flatten().getElementsByClass(kind)) for one in (part, same)]
            assert now[0].offset == 0
            assert [str(sign) for sign in now] == [str(sign) for sign in was][:1]


def test_the_tempo_of_the_tune_is_kept() -> None:
    """The tempo that the tune has stands at its new beginning, once."""
    mark = "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>96</per-minute>"
    mark += '</metronome></direction-type><sound tempo="96"/></direction>'
    tune = read_bytes(swap("</attributes>", f"</attributes>{mark}"))
    own = short(tune)
    assert (tune.tempo, own.ideas.tempo) == (96, 96)
    content = tune_musicxml(own, tune)
    check_schema(content)
    found = etree.fromstring(content).findall("part/measure/direction/direction-type/metronome/per-minute")
    assert [(e.text, e.getparent().getparent().getparent().getparent().get("number")) for e in found] == [
        ("96", "1")
    ]


@pytest.mark.parametrize("case", TUNES)
def test_all_parts_have_the_same_bars(case: str) -> None:
    """All parts have as many measures, each as long as the melody's, numbered alike, with the left hand among them."""
    parts = list(whole(case).parts)
    assert len(parts) == len(before(case).parts) + 1
    lengths = [[measure.duration.quarterLength for measure in measures(part)] for part in parts]
    assert all(some == lengths[0] for some in lengths)
    numbers = [
        [m.get("number") for m in p.findall("measure")] for p in etree.fromstring(xml(case)).findall("part")
    ]
    assert all(some == [str(n) for n in range(1, len(some) + 1)] for some in numbers)


@pytest.mark.parametrize("case", TUNES)
def test_intro_and_ending_are_there(case: str) -> None:
    """The bars before the tune and after it have chord symbols, notes, a tempo, and a left hand that plays."""
    melody, left = whole(case).parts[0], whole(case).parts[1]
    assert left.partName == "Left hand"
    place, own = tune_bars(case), piece(case)
    count = len(measures(melody))
    added = [*range(place.start), *range(count - ending_of(case), count)]
    assert place.start == INTRO
    assert count == INTRO + len(TUNES[case].texts) + bool(TUNES[case].shortage) + ending_of(case)
    for number in added:
        notes, symbols = told(measures(melody)[number])
        assert symbols
        assert symbols[0][0] == 0
        assert any(pitches for _, pitches, _, _ in notes) or number == place.start - 1
        assert any(pitches for _, pitches, _, _ in told(measures(left)[number])[0])
    for found in measures(left)[place]:
        assert all(not pitches for _, pitches, _, _ in told(found)[0])
    marks = list(measures(melody)[0].flatten().getElementsByClass("MetronomeMark"))
    assert [round(mark.getQuarterBPM(), 3) for mark in marks] == [own.ideas.tempo]


@pytest.mark.parametrize(
    ("rhythm", "ratio"), [("swing", ("2", "1")), ("bossa nova", None), ("foxtrot", ("2", "1"))]
)
def test_a_swing_rhythm_is_marked(rhythm: str, ratio: tuple[str, str] | None) -> None:
    """In a swing rhythm the tempo mark says how the eighths swing, in others it does not."""
    content = tune_musicxml(short(read("plain"), rhythm=rhythm), read("plain"))
    root = etree.fromstring(content)
    found = root.findall("part/measure/direction/sound/swing")
    assert [(e.findtext("first"), e.findtext("second")) for e in found] == ([ratio] if ratio else [])
    check_schema(content)


@pytest.mark.parametrize("case", TUNES)
def test_the_intro_leads_into_the_tune(case: str) -> None:
    """The intro's last chord is its sequence's way to the tune's first chord, and its last note lies near the first."""
    own, tune = piece(case), read(case)
    goal = next(chord for tick, chord in tune.chords if tick >= tune.pickup)
    last = own.ideas.progression.bars[own.first - 1][-1].chord
    led = to_chord(sequence(own.names[0]), goal, tune.key, tune.metre).last
    assert last.symbol == led.symbol
    assert last.root is not None
    assert goal.root is not None
    assert last.symbol != goal.symbol
    assert own.intro is not None
    near = abs(own.intro.phrase[-1].midi - tune.notes[0].midi)
    assert near <= 4 or (case == "kinds" and near <= 7), "in reach of G5 Bb7 has no root or third"
    assert own.intro.phrase[-1].end <= own.first * tune.metre.bar - tune.pickup


@pytest.mark.parametrize("case", TUNES)
def test_the_piece_closes(case: str) -> None:
    """The last chord is built on the key's tonic, and the last note is its root or third."""
    own, tune = piece(case), read(case)
    last = own.ideas.progression.last
    assert last.root == tune.key.tonic
    (melody, *_) = whole(case).parts
    final = [n for n in melody.flatten().notes if "ChordSymbol" not in n.classes][-1]
    third = 3 if tune.key.mode == "minor" else 4
    assert (final.pitch.midi - last.root.pitch_class) % 12 in (0, third)
    assert measures(melody)[-1].rightBarline.type == "final"


def test_a_pick_up_completes_the_intro() -> None:
    """The intro's last bar and the pick-up fill one bar; the tune's short last bar is completed before the ending."""
    for part in whole("pick-up").parts:
        lengths = [measure.duration.quarterLength for measure in measures(part)]
        assert [n for n, length in enumerate(lengths) if length != 3] == [1, 2, 9, 10]
        assert lengths[1] + lengths[2] == lengths[9] + lengths[10] == 3


@pytest.mark.parametrize(
    ("case", "count"), one_in(2, [("ties", 1), ("plain", 2), ("six-eight", 2), ("plain", 1)])
)
def test_quoted_bars_repeat_the_tune(case: str, count: int) -> None:
    """The ending begins with the tune's last bars: the same notes, one held into them included, and the same chords."""
    (melody, *_) = whole(case, count).parts
    found = measures(melody)
    end = tune_bars(case).stop
    for one, other in zip(found[end - count : end], found[end : end + count], strict=True):
        was, now = told(one), told(other)
        assert [n[:3] for n in now[0]] == [n[:3] for n in was[0]]
        assert [symbol[:4] for symbol in now[1]] == [symbol[:4] for symbol in was[1]]
    assert piece(case, count).quoted == count
    check_schema(xml(case, count))


def test_versions_differ() -> None:
    """Several versions have different intros or endings, no two alike, the best first."""
    found = pieces(TuneRequest(read("plain"), intro=2, ending=1, count=3))
    assert len(found) == 3
    assert len({tune_musicxml(one, read("plain")) for one in found}) == 3
    assert len({one.names for one in found}) == 3
    scores = [one.intro.score for one in found if one.intro]
    assert scores == sorted(scores, reverse=True)


@pytest.mark.parametrize(
    ("case", "intro", "ending"),
    one_in(2, [("pick-up", 1, 0), ("plain", 4, 0), ("plain", 1, 8), ("plain", 0, 4), ("pick-up", 0, 2)]),
)
def test_other_numbers_of_bars(case: str, intro: int, ending: int) -> None:
    """Intro and ending have as many bars as are asked for, none where none is, and the file stays valid."""
    (own,) = pieces(TuneRequest(read(case), intro=intro, ending=ending))
    content = tune_musicxml(own, read(case))
    check_schema(content)
    numbers = [len(part.findall("measure")) for part in etree.fromstring(content).findall("part")]
    shortage = bool(TUNES[case].shortage and ending)
    assert numbers == [intro + len(TUNES[case].texts) + shortage + ending] * 2


@pytest.mark.parametrize("case", TUNES)
def test_the_midi_version_has_the_tune(case: str) -> None:
    """In MIDI the tune's notes stand at their ticks after the intro, under three markers, in order."""
    own, tune = piece(case), read(case)
    file = read_file(tune_midi(own, Playing(parts=PARTS, swing=1.0, close="held"), {}))
    start, bar_ticks = own.first * tune.metre.bar, tune.metre.bar
    wanted = [(n.onset - tune.pickup + start, n.length, n.midi) for n in tune.notes]
    right = [(s.onset, s.length, s.midi) for s in tracks_of(file)["Right hand"]]
    end = start + tune.bars * bar_ticks
    assert [s for s in right if start - tune.pickup <= s[0] < end] == wanted
    assert [(event.tick, event.text) for event in meta(file, MARKER)] == [
        (0, "Intro"),
        (start, tune.title),
        (end, "Ending"),
    ]
    assert set(tracks_of(file)) >= {"Right hand", "Left hand", "Bass", "Drums"}


# Repeats, other staves, odd lengths


def repeats(content: bytes) -> list[list[tuple[int, str]]]:
    """The repeat signs of each part: measure, counted from 0, and direction."""
    return [
        [
            (number, str(sign.get("direction")))
            for number, measure in enumerate(part.findall("measure"))
            for sign in measure.findall("barline/repeat")
        ]
        for part in etree.fromstring(content).findall("part")
    ]


def test_a_repeat_goes_back_to_the_tune() -> None:
    """A repeat without a beginning gets one where the tune begins, so that the intro is not played again."""
    first = INTRO
    assert repeats(xml("repeat"))[0] == [
        (first, "forward"),
        (first + 3, "backward"),
        (first + 7, "backward"),
    ]


def test_all_parts_have_the_same_repeats() -> None:
    """The left hand has the repeat signs of the melody: staves of one score go back together."""
    melody, left = repeats(xml("repeat"))
    assert left == melody


def test_a_repeat_keeps_its_bar_line() -> None:
    """A bar line that repeats stays light-heavy; a plain final one becomes a double line before the ending."""
    root = etree.fromstring(xml("repeat"))
    signs = root.findall("part[1]/measure/barline[repeat]")
    assert [(s.findtext("bar-style"), s.find("repeat").get("direction")) for s in signs] == [
        ("heavy-light", "forward"),
        ("light-heavy", "backward"),
        ("light-heavy", "backward"),
    ]
    styles = etree.fromstring(xml("plain")).findall("part[1]/measure/barline/bar-style")
    assert [style.text for style in styles] == ["light-light", "light-heavy"]


CHANGE = "<attributes><key><fifths>2</fifths><mode>major</mode></key></attributes>"


def test_signs_follow_the_key_at_the_end() -> None:
    """Where a tune has changed its key, the ending's printed signs fit the signature it stands under, or it is refused."""
    content = score(TUNES["plain"]).replace(
        b'<measure number="5">', b'<measure number="5">' + CHANGE.encode()
    )
    try:
        tune = read_bytes(content)
        own = short(tune, intro=0, ending=2)
    except TuneError:
        return
    root = etree.fromstring(tune_musicxml(own, tune))
    sharps: set[str] = set()
    missing = []
    for number, measure in enumerate(root.findall("part[1]/measure")):
        seen: dict[str, int] = {}
        for element in measure:
            fifths = element.findtext("key/fifths")
            if element.tag == "attributes" and fifths is not None:
                sharps = set("FCGDAEB"[: int(fifths)])
            step = element.findtext("pitch/step")
            if step is None or number < 8:
                continue
            where = step + str(element.findtext("pitch/octave"))
            alter = int(element.findtext("pitch/alter") or 0)
            usual = seen.get(where, int(step in sharps))
            tied = element.find("tie[@type='stop']") is not None
            if (alter != usual) != (element.find("accidental") is not None) and not tied:
                missing.append((number + 1, where, alter))
            seen[where] = alter
    assert not missing


def test_a_transposing_part_transposes_from_the_start() -> None:
    """Over a part for an instrument in B flat the intro is transposed as the tune is."""
    transpose = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    made = copy.copy(TUNES["plain"])
    content = score(Made(made.title, made.key, made.fifths, made.metre, made.bars, extra=transpose))
    tune = read_bytes(content)
    root = etree.fromstring(tune_musicxml(short(tune), tune))
    assert root.findtext("part[1]/measure[1]/attributes/transpose/chromatic") == "-2"


def swap(old: str, new: str) -> bytes:
    """The plain tune with one thing changed."""
    content = score(TUNES["plain"])
    assert old.encode() in content
    return content.replace(old.encode(), new.encode())


def short_pickup(length: str) -> bytes:
    """The tune in three with another pick-up and a last bar that is longer by what the pick-up lacks."""
    made = TUNES["pick-up"]
    return score(Made(made.title, made.key, 1, "3/4", made.bars.replace("D5_q\n", f"D5_{length}\n", 1)))


@pytest.mark.parametrize("length", ["t", "et", "s", "e."])
def test_short_pick_ups(length: str) -> None:
    """A pick-up of a triplet or a sixteenth works; one of a thirty-second works or is refused with a clear answer."""
    try:
        tune = read_bytes(short_pickup(length))
        own = short(tune, ending=2)
        content = tune_musicxml(own, tune)
    except FillgenError:
        if length != "t":
            raise
        return
    check_schema(content)
    for part in parsed(content).parts:
        found = [measure.duration.quarterLength for measure in measures(part)]
        assert found[0] + found[1] == 3


@pytest.mark.parametrize("last", ["<C> C5_t D5_t E5_s G5_e C5_h.", "<C> C5_et D5_et E5_et G5_e C5_e C5_h"])
def test_short_notes_are_quoted(last: str) -> None:
    """A bar with triplets can be quoted; one with thirty-seconds can be, or is refused with a clear answer."""
    bars = TUNES["plain"].bars.replace("<C> C5_w", last)
    tune = read_bytes(score(Made("Rain Gauge", "C major", 0, "4/4", bars)))
    try:
        own = short(tune, ending=2, quote=1)
        content = tune_musicxml(own, tune)
    except FillgenError:
        if "_t " not in last:
            raise
        return
    check_schema(content)
    (melody, *_) = parsed(content).parts
    bars_ = measures(melody)
    assert [n[:3] for n in told(bars_[9])[0]] == [n[:3] for n in told(bars_[8])[0]]


# Clear answers


CHART = "| C | Fmaj7 | Dm7 | G7 | C | A7 | Dm7 G7 | C |"
BARE = re.sub(rb"<harmony>.*?</harmony>", b"", score(TUNES["plain"]))


def test_chords_given_take_the_place_of_those_proposed() -> None:
    """A tune without chord symbols takes those of --chords; a wrong number of bars is said."""
    tune = read_bytes(BARE)
    own = short(tune, chords=CHART)
    check_schema(tune_musicxml(own, tune))
    symbols = [span.chord.symbol for bar in own.ideas.progression.bars[1:9] for span in bar]
    assert symbols == CHART.replace("|", " ").split()
    with pytest.raises(TuneError, match=r"3 bars.*8"):
        pieces(TuneRequest(tune, chords="| C | F | G7 |"))
    with pytest.raises(TuneError, match="bar 3 in"):
        pieces(TuneRequest(tune, chords=changing(tune)))


def changing(tune: Tune) -> str:
    """Chords for a tune, with another metre in the third bar."""
    other = next(each.name for each in METRES.values() if each.beat == tune.metre.beat and each != tune.metre)
    return f"| C | F | {other} G7 | {tune.metre.name} C |{' C |' * (tune.bars - 4)}"


DEEP = b"<score-partwise>" + b"<a>" * 20_000 + b"</a>" * 20_000 + b"</score-partwise>"
BOMB = (
    b'<?xml version="1.0"?><!DOCTYPE score-partwise [<!ENTITY a "aaaaaaaaaa">'
    + b"".join(f'<!ENTITY {chr(98 + n)} "{f"&{chr(97 + n)};" * 10}">'.encode() for n in range(9))
    + b"]><score-partwise><work><work-title>&j;</work-title></work></score-partwise>"
)
OUTSIDE = (
    b'<?xml version="1.0"?><!DOCTYPE score-partwise [<!ENTITY x SYSTEM "file:///etc/hostname">]>'
    b"<score-partwise><work><work-title>&x;</work-title></work></score-partwise>"
)
METRE_CHANGE = swap(
    '<measure number="4">',
    '<measure number="4"><attributes><time><beats>3</beats><beat-type>4</beat-type></time></attributes>',
)
ONLY_RESTS = re.sub(rb"<pitch>.*?</pitch>", b"<rest/>", score(TUNES["plain"]))
WRONG: dict[str, bytes] = {
    "nothing": b"",
    "not XML": b"Dear all, the tune is in the other file.",
    "binary": bytes(range(256)) * 8,
    "another XML": b"<html><body>score</body></html>",
    "no parts": b'<score-partwise version="4.0"><part-list/></score-partwise>',
    "entity bomb": BOMB,
    "entity outside": OUTSIDE,
    "deep": DEEP,
    "time-wise": score(TUNES["plain"]).replace(b"score-partwise", b"score-timewise"),
    "only rests and no chords": re.sub(rb"<harmony>.*?</harmony>", b"", ONLY_RESTS),
    "only rests under chords": ONLY_RESTS,
    "another metre in between": METRE_CHANGE,
    "seven eighths": swap("<beats>4</beats><beat-type>4</beat-type>", "<beats>7</beats><beat-type>8</beat-type>"),
    "a bar too long": swap("<duration>96</duration>", "<duration>960</duration>"),
    "a bar too short in between": swap('<measure number="3"><harmony>', '<measure number="3"><note><rest/><duration>24</duration></note><harmony>'),
    "no divisions": swap("<divisions>24</divisions>", "<divisions>0</divisions>"),
    "eleven sharps": swap("<fifths>0</fifths>", "<fifths>11</fifths>"),
    "a note of letter H": swap("<step>E</step>", "<step>H</step>"),
    "a length in words": swap("<duration>24</duration>", "<duration>long</duration>"),
    "damaged packing": packed(score(TUNES["plain"]))[:-40],
    "packed nothing": packed(b"")[:2] + b"\x03\x04",
    "unknown encoding": score(TUNES["plain"]).replace(b"UTF-8", b"shift_jis"),
    "wrong encoding": score(TUNES["plain"]).replace(b"Lantern", b"L\xe4ntern"),
}  # fmt: skip


def test_what_cannot_be_used_is_refused(tmp_path: Path) -> None:
    """A file that is no tune we can use is refused by a TuneError with its name, in a sentence."""
    accepted = []
    for case, content in WRONG.items():
        path = save(content, tmp_path)
        try:
            read_tune(path)
        except TuneError as error:
            answer = str(error)
            assert answer.startswith(f"{path}: "), case
            assert "\n" not in answer, case
        else:
            accepted.append(case)
    assert not accepted


def without_a_list_entry() -> bytes:
    """A tune whose part is not in the list of parts."""
    return swap('<score-part id="P1">', '<score-part id="P9">')


def with_a_drum_staff() -> bytes:
    """A tune whose first part is for unpitched percussion."""
    drums = re.sub(
        rb"<pitch>.*?</pitch>",
        b"<unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>",
        re.sub(rb"<harmony>.*?</harmony>", b"", score(TUNES["plain"])),
    )
    part = re.search(rb"<part id=.*</part>", drums, re.DOTALL)
    assert part is not None
    content = swap('<part id="P1">', '<part id="P2">').replace(b'<part id="P2">', part[0] + b'<part id="P2">')
    return content.replace(
        b"</part-list>", b'<score-part id="P2"><part-name>Two</part-name></score-part></part-list>'
    )


def with_a_chord_staff() -> bytes:
    """A tune whose first part has chord symbols over rests, and whose second has the melody with chord symbols."""
    part = re.search(rb"<part id=.*</part>", ONLY_RESTS, re.DOTALL)
    assert part is not None
    content = swap('<part id="P1">', '<part id="P2">').replace(b'<part id="P2">', part[0] + b'<part id="P2">')
    return content.replace(
        b"</part-list>", b'<score-part id="P2"><part-name>Two</part-name></score-part></part-list>'
    )


@pytest.mark.parametrize(
    "make", [without_a_list_entry, with_a_drum_staff, with_a_chord_staff], ids=lambda f: f.__name__
)
def test_unusual_staves_work_or_are_refused(make: Callable[[], bytes]) -> None:
    """With drums or bare chord symbols before it the melody is found; a part that is not listed may be refused."""
    try:
        tune = read_bytes(make())
        own = short(tune)
        content = tune_musicxml(own, tune)
    except FillgenError:
        if make is not without_a_list_entry:
            raise
        return
    assert [n.midi for n in tune.notes] == [n.midi for n in read("plain").notes]
    check_schema(content)


@pytest.mark.parametrize("name", ["missing.musicxml", "", "no\0name.musicxml"])
def test_no_file_is_said(name: str, tmp_path: Path) -> None:
    """A missing file, a folder and a name that is none are refused by an OutputError."""
    with pytest.raises(OutputError):
        read_tune(tmp_path / name)


def peak_of(call: Callable[[], object]) -> int:
    """The most bytes that a call has held at once."""
    tracemalloc.start()
    try:
        call()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize("kind", ["spaces", "zip bomb", "packed and large"])
def test_a_large_file_is_refused_unread(kind: str, tmp_path: Path) -> None:
    """Fifty megabytes, plain, packed small or packed large, are refused without being held in memory."""
    path = tmp_path / "large.mxl"
    if kind == "spaces":
        with path.open("wb") as file:
            for _ in range(50):
                file.write(b" " * 1_000_000)
    else:
        method = zipfile.ZIP_DEFLATED if kind == "zip bomb" else zipfile.ZIP_STORED
        with zipfile.ZipFile(path, "w", method, compresslevel=1) as packing:
            packing.writestr("score.xml", b" " * 50_000_000)

    def call() -> None:
        with pytest.raises(TuneError):
            read_tune(path)

    assert peak_of(call) < 30_000_000


def test_a_truncated_file_is_refused(tmp_path: Path) -> None:
    """Cut at fifty places a file is no whole XML, and is refused with the line and column."""
    content, dice = score(TUNES["kinds"]), random.Random(4)
    for place in sorted(dice.sample(range(1, len(content) - 1), 50)):
        with pytest.raises(TuneError, match="line 1, column"):
            read_tune(save(content[:place], tmp_path))


def test_a_damaged_packed_file_is_refused(tmp_path: Path) -> None:
    """A packed file with bytes changed in two hundred ways is read as it was or refused, never anything else."""
    content, dice = packed(score(TUNES["two parts"])), random.Random(8)
    refused = 0
    for _ in range(200):
        damaged = bytearray(content)
        for _ in range(dice.randint(1, 4)):
            damaged[dice.randrange(2, len(damaged))] = dice.randrange(256)
        try:
            tune = read_tune(save(bytes(damaged), tmp_path, "tune.mxl"))
        except FillgenError:
            refused += 1
        else:
            assert tune.notes == read("two parts").notes
    assert refused >= 100


TINY = Made("Two Bars", "C major", 0, "4/4", "<C> C5_q E5_q~ E5_e r_e G5_q\n<G7> B4_h. <C> C5_q ||")


def test_mutations_are_read_or_refused(tmp_path: Path) -> None:
    """A hundred and fifty changes of a good file, of bytes and of what elements hold: read or refused, nothing else."""
    content, dice = score(TINY), random.Random(2)
    outcomes = [mutated_outcome(mutation(content, dice, number), tmp_path) for number in range(150)]
    assert outcomes.count("read") >= 10
    assert outcomes.count("refused") >= 60


def mutation(content: bytes, dice: random.Random, number: int) -> bytes:
    """A file changed: bytes in every third, otherwise what an element holds, or an element that is gone or doubled."""
    if number % 3 == 0:
        changed = bytearray(content)
        for _ in range(dice.randint(1, 3)):
            changed[dice.randrange(len(changed))] = dice.randrange(256)
        return bytes(changed)
    found = list(re.finditer(rb"<([a-z-]+)( [^>]*)?>([^<]*)</\1>|<[a-z-]+ ?[^>]*/>", content))
    place = dice.choice(found)
    if number % 3 == 1 and place[1]:
        values = ["0", "-1", "999999999", "1e9", "nan", "", "x", "7.5", "C", "major", "∞"]
        return content[: place.start(3)] + dice.choice(values).encode() + content[place.end(3) :]
    times = dice.choice([0, 2])
    return content[: place.start()] + place[0] * times + content[place.end() :]


def mutated_outcome(content: bytes, folder: Path) -> str:
    """Whether a file is read or refused; any other exception goes on."""
    try:
        tune = read_tune(save(content, folder))
    except FillgenError:
        return "refused"
    assert tune.bars >= 1
    assert tune.notes
    return "read"


# The command


def run(arguments: Sequence[str]) -> int:
    """The exit code of the command."""
    with pytest.raises(SystemExit) as caught:
        main(["tune", *arguments])
    assert isinstance(caught.value.code, int)
    return caught.value.code


@pytest.mark.parametrize("case", ["not XML", "entity bomb", "seven eighths", "damaged packing", "nothing"])
def test_the_command_refuses_in_a_line_or_two(
    case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """For a file that cannot be used the command ends with 2, says why in two lines at most, and writes nothing."""
    path, target = save(WRONG[case], tmp_path), tmp_path / "out.musicxml"
    assert run([str(path), "-o", str(target)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert 1 <= len(err.strip().splitlines()) <= 2
    assert err.startswith("fillgen: ")
    assert [found.name for found in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--quote", "4"], "bars to quote"),
        (["--intro", "0", "--ending", "0"], "both intro and ending"),
        (["--intro", "99"], "99 bars"),
        (["--rhythm", "waltz"], "4/4"),
        (["--count", "0"], "0 versions"),
        (["--swing", "9"], "swing"),
        (["--chords", "| C |"], "1 bars"),
        (["-o", "out.docx"], "can't tell"),
    ],
)
def test_the_command_refuses_wrong_options(
    options: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An option outside what is offered ends with 2 and a sentence that names it."""
    path = save(score(TUNES["plain"]), tmp_path)
    assert run([str(path), *options]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err
    assert len(err.strip().splitlines()) <= 2


@pytest.mark.parametrize("ending", [".musicxml", ".mid"])
def test_the_command_writes_a_piece(ending: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The command tells the chords it has put on a tune and writes them as a score or as MIDI."""
    path, target = save(score(TUNES["plain"]), tmp_path), tmp_path / f"out{ending}"
    assert run([str(path), "-o", str(target), "--intro", "1", "--ending", "1"]) == 0
    out, _ = capsys.readouterr()
    assert "intro:" in out
    assert "ending:" in out
    if ending == ".mid":
        assert len(read_file(target.read_bytes()).tracks) == 5
    else:
        check_schema(target.read_bytes())


def test_more_bars_than_there_are_sequences_for() -> None:
    """Numbers of bars for which there is no sequence are refused as options, not as a fault of the tune."""
    with pytest.raises(OptionError):
        pieces(TuneRequest(read("plain"), intro=17))
