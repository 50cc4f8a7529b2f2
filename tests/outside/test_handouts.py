"""Handouts read by strangers: chords by pychord and mingus, scores by music21 and the schema of MusicXML 4.0, MIDI by mido."""

from __future__ import annotations

import io
import re

import mido
import music21
import pytest
from mingus.core import chords as mingus_chords
from pychord import Chord

from fillgen.chart.sequences import sequence
from fillgen.chart.text import parse_chart
from fillgen.hands.voicing import best_paths
from fillgen.theory.keys import read_key
from fillgen.theory.pitch import Name
from fillgen.writers.handout import Handout, render_handout
from fillgen.writers.handouts.notes import notes_handout
from fillgen.writers.handouts.sequences import sequences_handout
from fillgen.writers.handouts.voicings import voicings_handout
from fillgen.writers.look import USUAL
from fillgen.writers.midi import to_block_chords
from tests.outside.test_sheets import check_schema

CHART = "| Eb | Gm7 C7 | Fm7 | Bb7 | Cm6 | Abm | Ddim | F9 | Dbmaj7 | F#m7 |"


def pitch_classes(names: list[str]) -> set[int]:
    return {Name.read(re.sub(r"-?\d+$", "", name)).pitch_class for name in names}


def chord_of(score: object, handout: Handout) -> tuple[str, list[str]]:
    """The symbol over a score of notes, and the names of the chord it holds."""
    found = next(each for each in handout.scores if each is score)
    symbol = found.heading.split(",")[0].replace("♭", "b").replace("♯", "#")
    return symbol, list(found.bars[0].staves[0][0].symbol.names)


def test_chords_have_the_notes_that_others_give_them() -> None:
    """pychord 1.4 and mingus 0.6 give each chord on the staff the same notes."""
    handout = notes_handout(parse_chart(CHART))
    assert len(handout.scores) == 11
    for score in handout.scores:
        symbol, names = chord_of(score, handout)
        assert pitch_classes(names) == pitch_classes(Chord(symbol).components()), symbol
        assert pitch_classes(names) == pitch_classes(mingus_chords.from_shorthand(symbol)), symbol


def handouts() -> list[Handout]:
    progression = parse_chart(CHART)
    return [
        notes_handout(progression),
        voicings_handout(progression, best_paths(progression)),
        sequences_handout([sequence("waltz vamp"), sequence("blues turnaround")], read_key("Bb")),
    ]


def test_the_schema_accepts_handouts(capfd: pytest.CaptureFixture[str]) -> None:
    """Scores of handouts are valid MusicXML 4.0, and the engraver has nothing to complain of."""
    for handout in handouts():
        check_schema(render_handout(handout, USUAL, "musicxml"))
        render_handout(handout, USUAL, "html")
    assert capfd.readouterr().err == ""


def test_a_stranger_reads_the_left_hand() -> None:
    """music21 reads the chords of each way with their names and fingers, in the bass clef."""
    progression = parse_chart(CHART)
    paths = best_paths(progression)
    content = render_handout(voicings_handout(progression, paths), USUAL, "musicxml").decode()
    part = music21.converter.parseData(content, format="musicxml").parts[0]
    assert part.recurse().getElementsByClass(music21.clef.Clef).first().sign == "F"
    held = [
        each
        for each in part.recurse().notes
        if isinstance(each, music21.chord.Chord) and not isinstance(each, music21.harmony.ChordSymbol)
    ]
    fresh = [each for each in held if each.tie is None or each.tie.type == "start"]
    names = [tuple(p.nameWithOctave.replace("-", "b") for p in each.pitches) for each in fresh]
    assert names == [voicing.names for path in paths for voicing in path.voicings if voicing is not None]


def test_a_stranger_reads_the_heads() -> None:
    """music21 finds crosses and open heads on the notes that have them, and no stems."""
    handout = notes_handout(parse_chart("| Ebmaj7 |"))
    content = render_handout(handout, USUAL, "musicxml").decode()
    part = music21.converter.parseData(content, format="musicxml").parts[0]
    notes = [each for each in part.recurse().notes if isinstance(each, music21.note.Note)]
    looks = {each.name.replace("-", "b"): (each.notehead, each.noteheadFill) for each in notes}
    assert looks["Ab"][0] == "x"
    assert looks["F"] == ("normal", False)
    assert looks["G"] == ("normal", None)
    assert {each.stemDirection for each in notes} == {"noStem"}


def test_the_ways_are_heard_one_after_another() -> None:
    """mido reads block chords: each chord's keys begin and end with it, a bar of rest between two ways, at the tempo."""
    progression = parse_chart("metre: 3/4\n| Ab | Fm7 | Bbm7 Eb7 / |")
    paths = best_paths(progression, count=2)
    file = mido.MidiFile(file=io.BytesIO(to_block_chords(progression, paths, 90)))
    sounding: dict[int, int] = {}
    heard = []
    at = 0
    for message in file.tracks[1]:
        at += message.time
        if message.type == "note_on" and message.velocity:
            sounding[message.note] = at
        elif message.type in ("note_off", "note_on"):
            heard.append((sounding.pop(message.note), at, message.note))
    wanted = []
    for number, path in enumerate(paths):
        start = number * (progression.length + progression.metre.bar)
        for span, voicing in zip(progression.spans, path.voicings, strict=True):
            assert voicing is not None
            wanted += [(start + span.onset, start + span.end, midi) for midi in voicing.pitches]
    assert sorted(heard) == sorted(wanted)
    guide = file.tracks[0]
    assert next(m.tempo for m in guide if m.type == "set_tempo") == mido.bpm2tempo(90)
    assert [m.text for m in guide if m.type == "marker"] == ["Way 1", "Way 2"]
