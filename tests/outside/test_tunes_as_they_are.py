"""Tunes of our own and of music21's corpus, kept bar for bar: what is written is compared with the source as music21 reads it.

The own ones (shared/tunes) have pick-ups, repeats, endings, changes of key and metre, two voices, ties, chords that come
late or not at all, a minor key without a mode, as MusicXML, packed MusicXML, ABC and MIDI. The corpus is that of music21.
"""

from __future__ import annotations

import io
import re
import xml.etree.ElementTree as ET
from functools import cache
from pathlib import Path
from typing import Any

import mido
import music21
import pytest

from fillgen.app.tunes import open_tune
from fillgen.hands.playing import Playing
from fillgen.readers.charted import body_of
from fillgen.readers.tunes import Tune
from fillgen.tune import Piece, TuneRequest, pieces
from fillgen.writers.midi import to_midi
from fillgen.writers.musicxml import packed
from fillgen.writers.tunes import piece_document, piece_text, tune_musicxml
from tests.outside.test_tunes import check_schema, measures, parsed, told

FOLDER = Path(__file__).parents[2] / "shared" / "tunes"
OWN = sorted(path.name for path in FOLDER.iterdir())
SCORES = [name for name in OWN if name.endswith((".musicxml", ".mxl"))]
BARE = ("kettle-lid.abc", "paper-boats.mid", "slate-and-heather.musicxml")
CORPUS = Path(music21.__file__).parent / "corpus"
LEAD_SHEETS = ("leadSheet/fosterBrownHair.mxl", "leadSheet/berlinAlexandersRagtime.mxl")
WITH_CHORDS = (
    *("demos/chord_realization_exercise.mxl", "monteverdi/madrigal.3.1.mxl", "monteverdi/madrigal.3.5.mxl"),
    *("monteverdi/madrigal.3.7.mxl", "monteverdi/madrigal.3.8.mxl", "monteverdi/madrigal.3.15.mxl"),
    *("monteverdi/madrigal.3.16.mxl", "monteverdi/madrigal.3.17.mxl", "monteverdi/madrigal.5.4.mxl"),
)
"""The other scores of the corpus that have chord symbols, but for one that is a list of chords without notes."""
SIGNS = ("RepeatMark", "RepeatBracket")


@cache
def read(name: str) -> Tune:
    return open_tune(FOLDER / name)


@cache
def piece(name: str) -> Piece:
    bars = 1 if read(name).bar_metres[-1].name != "3/4" else 2
    return pieces(TuneRequest(read(name), intro=2, ending=bars))[0]


@cache
def source(path: Path) -> Any:
    """A tune as music21 reads its file."""
    if path.suffix == ".abc":
        return music21.converter.parse("%abc-2.1\n" + path.read_text(encoding="utf-8"), format="abc")
    return music21.converter.parse(path)


def sounding(part: Any) -> list[tuple[float, float, tuple[int, ...]]]:
    """The notes of a part as they are written, repeats once: from the first, their lengths, their pitches."""
    found = [n for n in part.stripTies().flatten().notes if "Harmony" not in n.classes]
    return [
        (float(n.offset - found[0].offset), float(n.quarterLength), tuple(p.midi for p in n.pitches))
        for n in found
    ]


def unchanged(tune: Tune, own: Piece, before: Any) -> None:
    """That each measure of each part of a score has its notes, ties and repeat signs after the intro."""
    content = tune_musicxml(own, tune)
    check_schema(content)
    after = parsed(content)
    first = own.first if own.intro else 0
    ids = [part.id for part in before.parts]
    kept = [part for part in after.parts if part.id in ids]
    assert [part.id for part in kept] == ids
    for part, same in zip(before.parts, kept, strict=True):
        bars = measures(same)[first : first + len(measures(part))]
        for was, now in zip(measures(part), bars, strict=True):
            assert told(now)[0] == told(was)[0]
            symbols, written = told(was)[1], told(now)[1]
            assert [symbol for symbol in written if symbol in symbols] == symbols
    for mark in ("repeat", "ending"):
        was, now = (ET.fromstring(xml).find("part") for xml in (tune.xml, content))
        assert was is not None
        assert now is not None
        kinds = [
            [(s.get("direction"), s.get("number"), s.get("type")) for s in p.iter(mark)] for p in (was, now)
        ]
        assert kinds[1][-len(kinds[0]) or len(kinds[1]) :] == kinds[0]


@pytest.mark.costly
@pytest.mark.parametrize("name", SCORES)
def test_every_bar_of_a_score_is_unchanged(name: str) -> None:
    """Note for note, with ties, both voices and the chord symbols there were, and the repeats and endings as written."""
    unchanged(read(name), piece(name), source(FOLDER / name))


@pytest.mark.parametrize("name", [name for name in OWN if name not in SCORES])
def test_abc_and_midi_are_written_note_for_note(name: str) -> None:
    """The score that is made of a tune has the notes that music21 reads in its ABC or MIDI file."""
    own = parsed(read(name).xml)
    check_schema(read(name).xml)
    assert sounding(own.parts[0]) == sounding(source(FOLDER / name).parts[0])
    unchanged(read(name), piece(name), own)


def test_repeats_and_endings_of_abc_are_written() -> None:
    """The measures, endings and repeats are those that music21 finds in the file, and it expands them to the same notes."""
    own, theirs = (parsed(read("quill-and-lantern.abc").xml), source(FOLDER / "quill-and-lantern.abc"))
    lengths = [[m.duration.quarterLength for m in measures(score.parts[0])] for score in (own, theirs)]
    assert lengths[0] == lengths[1]
    played = read("quill-and-lantern.abc").notes
    expanded = own.parts[0].expandRepeats().stripTies().flatten().getElementsByClass("Note")
    assert [(n.offset * 480, n.quarterLength * 480, n.pitch.midi) for n in expanded] == [
        (n.onset, n.length, n.midi) for n in played
    ]


@pytest.mark.costly
@pytest.mark.parametrize("name", OWN)
def test_intro_and_ending_fit_where_they_are(name: str) -> None:
    """The intro leads to within a third of the first note, in the first metre; the ending closes in the final key."""
    tune, own = read(name), piece(name)
    assert own.intro is not None
    assert own.ending is not None
    assert abs(own.intro.phrase[-1].midi - tune.notes[0].midi) <= 4
    progression, key = own.ideas.progression, tune.keys[-1]
    assert {progression.metre_of(bar) for bar in range(own.first)} == {tune.bar_metres[0]}
    ends = range(own.last, len(progression.bars))
    assert {progression.metre_of(bar) for bar in ends} == {tune.bar_metres[-1]}
    assert progression.last.root == key.tonic
    third = (key.scale[2].pitch_class - key.tonic.pitch_class) % 12
    assert (own.ending.phrase[-1].midi - key.tonic.pitch_class) % 12 in (0, third)
    played = [
        (n.onset - progression.start_of(own.first) + tune.pickup, n.length, n.midi) for n in own.idea.phrase
    ]
    assert [each for each in played if 0 <= each[0] < tune.length] == [
        (n.onset, n.length, n.midi) for n in tune.notes
    ]


def test_a_lower_voice_is_played_with_the_tune() -> None:
    """Every note that music21 finds in the measures of a score with two voices sounds in the file of the right hand."""
    tune, own = read("two-herons.musicxml"), piece("two-herons.musicxml")
    content = to_midi(own.ideas, Playing(feel=0))
    start = own.ideas.progression.start_of(own.first) - tune.pickup
    tick, struck = 0, []
    for message in mido.merge_tracks(mido.MidiFile(file=io.BytesIO(content)).tracks):
        tick += message.time
        if message.type == "note_on" and message.velocity and start <= tick < start + tune.length:
            struck.append((tick - start, message.note))
    theirs = sorted(
        (round(float(note.offset) * 480), pitch.midi)
        for part in source(FOLDER / "two-herons.musicxml").parts
        for note in part.stripTies().flatten().notes
        if "Harmony" not in note.classes
        for pitch in note.pitches
    )
    assert sorted(struck) == theirs


def test_keys_and_metres_are_those_written() -> None:
    """What the files say in words: keys at both ends, metres in turn, a mode that is nowhere written."""
    found = {name: (str(read(name).keys[0]), str(read(name).keys[-1])) for name in OWN}
    assert found["quill-and-lantern.abc"] == ("D minor", "F major")
    assert found["over-the-ridge.mxl"] == ("Db major", "Eb major")
    assert found["slate-and-heather.musicxml"] == ("E minor", "E minor")
    assert found["two-herons.musicxml"] == ("A minor", "A minor")
    metres = [metre.name for metre in read("the-crooked-stile.musicxml").bar_metres]
    assert metres == ["4/4", "4/4", "3/4", "3/4", "4/4", "4/4", "3/4", "3/4"]
    assert b"<mode>" not in read("slate-and-heather.musicxml").xml


@pytest.mark.parametrize("name", BARE)
def test_chords_are_proposed_and_marked(name: str) -> None:
    """Every bar has chords, marked in text, JSON and on the sheet; it closes from the dominant to the tonic."""
    tune, own = read(name), piece(name)
    body = body_of(tune)
    assert all(span.proposed for span in body.spans)
    assert all(len(bar) <= 2 for bar in body.bars)
    symbols = [span.chord for span in body.spans]
    assert symbols[-1].root == symbols[0].root == tune.key.tonic
    before = next(chord for chord in reversed(symbols) if chord.root != tune.key.tonic)
    assert before.root is not None
    assert before.root.pitch_class == (tune.key.tonic.pitch_class + 7) % 12
    text = piece_text(own)
    assert all(f"[{chord.symbol}]" in text for chord in symbols)
    bars = piece_document(own)["chart"]["bars"][own.first : own.last]
    assert all(chord["proposed"] for bar in bars for chord in bar["chords"])
    roots = re.findall(rb'<root-step text="(\[[A-G])">', tune_musicxml(own, tune))
    assert len(roots) == sum(
        len({span.onset for span in body.bars[bar]})
        for bar in {number: bar for bar, number in reversed(list(enumerate(tune.written_bars)))}.values()
    )


def test_chords_that_come_late() -> None:
    """The bars before the first chord symbol get chords that are proposed, those after keep what is written."""
    body = body_of(read("late-post.musicxml"))
    assert [bar[0].proposed for bar in body.bars] == [True] * 4 + [False] * 4
    assert [span.chord.symbol for bar in body.bars[4:] for span in bar] == ["E", "A", "B7", "E"]
    assert str(body.spans[0].chord.root) == "E"
    assert "bar 5" in body.remarks[0]


def test_the_same_bytes_packed() -> None:
    """A packed score reads back as it was, by music21 as well, and has the same bytes each time."""
    tune = read("over-the-ridge.mxl")
    content = packed(tune.xml)
    assert content == packed(tune.xml)
    assert content[30:38] == b"mimetype"
    assert b"application/vnd.recordare.musicxml" in content[:80]


def corpus_piece(name: str) -> None:
    path = CORPUS / name
    tune = open_tune(path)
    unchanged(tune, pieces(TuneRequest(tune, intro=2, ending=2))[0], source(path))


@pytest.mark.parametrize("name", LEAD_SHEETS)
def test_lead_sheets_are_kept(name: str) -> None:
    """The two lead sheets of the corpus keep every bar."""
    corpus_piece(name)


@pytest.mark.slow
@pytest.mark.parametrize("name", WITH_CHORDS)
def test_scores_with_chords_are_kept(name: str) -> None:
    """The other scores of the corpus with chord symbols keep every bar."""
    corpus_piece(name)
