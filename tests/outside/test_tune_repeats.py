"""Tunes with repeats and endings: their scores stay as written, and what is played is what music21 expands them to."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from pathlib import Path

import mido
import music21
import pytest

from fillgen.errors import TuneError
from fillgen.hands.playing import Playing
from fillgen.readers.charted import body_of
from fillgen.readers.confined import read_tune
from fillgen.tune import TuneRequest, pieces
from fillgen.writers.entry import section_marks
from fillgen.writers.tunes import tune_midi, tune_musicxml

_BARS = (
    (
        "<key><fifths>0</fifths><mode>major</mode></key><time><beats>4</beats><beat-type>4</beat-type></time>",
        "",
        [("G", 4, 1)],
        "",
    ),
    ("", "C", [("C", 5, 2), ("E", 5, 2)], ""),
    ("", "G", [("D", 5, 3)], '<barline location="right"><repeat direction="backward"/></barline>'),
    ("", "", [("B", 4, 1)], ""),
    ("", "F", [("C", 5, 4)], ""),
    ("", "C", [("C", 5, 3)], ""),
)
"""Attributes, chord root, notes (step, octave, quarters) and bar line of each measure: 1, 4, 3 + 1, 4, 3 quarters."""


def _measure(number: int, attributes: str, root: str, notes: list[tuple[str, int, int]], barline: str) -> str:
    sounds = "".join(
        f"<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>{length}</duration></note>"
        for step, octave, length in notes
    )
    head = f"<attributes><divisions>1</divisions>{attributes}</attributes>" if attributes else ""
    chord = f"<harmony><root><root-step>{root}</root-step></root><kind>major</kind></harmony>" if root else ""
    return f'<measure number="{number}">{head}{chord}{sounds}{barline}</measure>'


def _score() -> str:
    measures = "".join(_measure(number, *bar) for number, bar in enumerate(_BARS))
    return (
        '<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1">'
        f'<part-name>Voice</part-name></score-part></part-list><part id="P1">{measures}</part></score-partwise>'
    )


def test_two_short_measures_make_one_bar(tmp_path: Path) -> None:
    """Measures of three and one quarters at a repeat are one bar of the tune; written out they stay as they were."""
    path = tmp_path / "two-halves.musicxml"
    path.write_text(_score(), encoding="utf-8")
    tune = read_tune(path)
    assert (tune.pickup, tune.bars, tune.shortage) == (480, 6, 480)
    assert tune.order == (0, 1, 2, 0, 1, 2, 3, 4, 5)
    assert tune.written_bars == (0, 1, 0, 1, 2, 3)
    assert tune.measures == (480, 1920, 1440, 480, 1920, 1440)
    piece = pieces(TuneRequest(tune, intro=2, ending=2))[0]
    parts = music21.converter.parseData(tune_musicxml(piece, tune), format="musicxml").parts
    lengths = [[m.duration.quarterLength for m in part.getElementsByClass("Measure")] for part in parts]
    assert lengths[0] == [4, 3, 1, 4, 3, 1, 4, 3, 1, 4, 4]
    assert lengths[0] == lengths[1]
    signs = [len(part.recurse().getElementsByClass("Repeat")) for part in parts]
    assert signs[0] == signs[1] == 2


# Played out


def _ending(number: str, kind: str, where: str, sign: str = "") -> str:
    return f'<barline location="{where}"><ending number="{number}" type="{kind}"/>{sign}</barline>'


_FORWARD = '<barline location="left"><repeat direction="forward"/></barline>'
_BACKWARD = '<repeat direction="backward"/>'
_CLOSED = f'<barline location="right">{_BACKWARD}</barline>'
_SCORES = {
    "first and second ending after a pick-up": [
        ("", "", [("G", 4, 1)], ""),
        ("", "C", [("C", 5, 2), ("E", 5, 2)], ""),
        ("", "G", [("D", 5, 3)], _ending("1", "start", "left") + _ending("1", "stop", "right", _BACKWARD)),
        ("", "F", [("A", 4, 3)], _ending("2", "start", "left") + _ending("2", "stop", "right")),
        ("", "", [("B", 4, 1)], ""),
        ("", "C", [("C", 5, 4)], ""),
    ],
    "two repeats, the second opened": [
        ("", "C", [("C", 5, 4)], _CLOSED),
        ("", "F", [("A", 4, 4)], ""),
        ("", "G", [("D", 5, 4)], _FORWARD),
        ("", "C", [("E", 5, 4)], _CLOSED),
    ],
    "an ending of two bars": [
        ("", "C", [("C", 5, 4)], ""),
        ("", "G", [("D", 5, 4)], _ending("1", "start", "left")),
        ("", "G", [("B", 4, 4)], _ending("1", "stop", "right", _BACKWARD)),
        ("", "F", [("A", 4, 4)], _ending("2", "start", "left") + _ending("2", "stop", "right")),
        ("", "C", [("C", 5, 4)], ""),
    ],
    "three times": [
        ("", "C", [("C", 5, 4)], ""),
        ("", "G", [("D", 5, 4)], f'<barline location="right">{_BACKWARD.replace("/>", " times=" + chr(34) + "3" + chr(34) + "/>")}</barline>'),
        ("", "C", [("C", 5, 4)], ""),
    ],
}  # fmt: skip


def _written(case: str, folder: Path) -> Path:
    signs = _BARS[0][0]
    measures = "".join(
        _measure(number, signs if number == 0 else "", *rest[:2], _right(rest[2])).replace(
            f'<measure number="{number}">', f'<measure number="{number}">{_left(rest[2])}'
        )
        for number, (_, *rest) in enumerate(_SCORES[case])
    )
    path = folder / "tune.musicxml"
    path.write_text(_score().split("<measure")[0] + measures + "</part></score-partwise>", encoding="utf-8")
    return path


def _left(barlines: str) -> str:
    return "".join(f"{each}</barline>" for each in barlines.split("</barline>") if 'location="left"' in each)


def _right(barlines: str) -> str:
    return "".join(f"{each}</barline>" for each in barlines.split("</barline>") if 'location="right"' in each)


@pytest.mark.costly
@pytest.mark.parametrize("case", _SCORES)
def test_repeats_are_played_as_music21_expands_them(case: str, tmp_path: Path) -> None:
    """The notes of the tune, and those in MIDI between intro and ending, are those of music21's `expandRepeats`."""
    path = _written(case, tmp_path)
    expanded = music21.converter.parse(path).parts[0].expandRepeats().flatten()
    wanted = [
        (round(note.offset * 480), round(note.quarterLength * 480), note.pitch.midi)
        for note in expanded.getElementsByClass("Note")
    ]
    tune = read_tune(path)
    assert [(note.onset, note.length, note.midi) for note in tune.notes] == wanted
    chords = [
        (round(each.offset * 480), each.root().name) for each in expanded.getElementsByClass("ChordSymbol")
    ]
    assert [
        (tick, str(chord.root)) for tick, chord in tune.chords if (tick, str(chord.root)) in chords
    ] == chords
    piece = pieces(TuneRequest(tune, intro=2, ending=2))[0]
    file = mido.MidiFile(file=io.BytesIO(tune_midi(piece, Playing(swing=1.0), {})))
    start = piece.first * 1920 - tune.pickup
    heard = [(on - start, off - on, midi) for on, off, midi in _heard(file.tracks[1])]
    assert [each for each in heard if 0 <= each[0] < tune.length] == wanted
    assert (piece.first, piece.last) == (2, 2 + tune.bars)


def _heard(track: mido.MidiTrack) -> list[tuple[int, int, int]]:
    at, down, found = 0, {}, []
    for message in track:
        at += message.time
        if message.type == "note_on":
            down[message.note] = at
        elif message.type == "note_off":
            found.append((down.pop(message.note), at, message.note))
    return sorted(found)


def test_the_score_keeps_its_repeats_and_endings(tmp_path: Path) -> None:
    """Written out, both hands have the repeat and the endings, and every measure of the tune stands once."""
    tune = read_tune(_written("first and second ending after a pick-up", tmp_path))
    assert tune.measures == (480, 1920, 1440, 1440, 480, 1920)
    piece = pieces(TuneRequest(tune, intro=2, ending=2))[0]
    for part in ET.fromstring(tune_musicxml(piece, tune)).findall("part"):
        assert len(part.findall("measure")) == 2 + 6 + 2
        assert [sign.get("number") for sign in part.iter("ending") if sign.get("type") == "start"] == [
            "1",
            "2",
        ]
    assert section_marks(piece, tune)[1] == ["1", "2", "X2", "3", "4", "5", "X5", "6", "7", "8"]


def test_chords_may_be_given_as_written_or_as_played(tmp_path: Path) -> None:
    """A chart for the bars of a tune with endings has them once each, or with its repeats played out."""
    tune = read_tune(_written("an ending of two bars", tmp_path))
    written, played = "| Eb | Bb7 | Bb | Ab | Eb |", "| Eb | Bb7 | Bb | Eb | Ab | Eb |"
    found = [[(s.onset, s.chord.symbol) for s in body_of(tune, text).spans] for text in (written, played)]
    assert found[0] == found[1]
    with pytest.raises(TuneError, match="5, 6 with repeats"):
        body_of(tune, "| Eb | Ab |")


def test_a_repeat_that_does_not_come_out_even_is_read_once(tmp_path: Path) -> None:
    """A pick-up that is repeated after a full bar has no place in it: each measure is played once, with a remark."""
    path = tmp_path / "uneven.musicxml"
    path.write_text(
        _score()
        .replace("<duration>3</duration>", "<duration>4</duration>", 1)
        .replace("<duration>1</duration>", "<duration>4</duration>")
        .replace("<duration>4</duration>", "<duration>1</duration>", 1),
        encoding="utf-8",
    )
    tune = read_tune(path)
    assert not tune.repeats
    assert "once" in tune.remarks[0]
