"""The files that the page gives, written by its scripts without a browser (Node) and read by mido and music21.

The format of MIDI files is that of the MIDI Association's "Standard MIDI Files 1.0": a tempo is in microseconds a quarter
note, a key in sharps (or flats below 0). MusicXML is held against the schema of its version 4.0.
"""

from __future__ import annotations

import base64
import io
import json
import os
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import mido
import music21
import pytest

import fillgen
from fillgen.app.contents import in_two_voices
from fillgen.hands.playing import Playing
from fillgen.hands.take import PARTS
from fillgen.page.data import Stage
from fillgen.phrase.idea import Ideas
from fillgen.writers.midi import to_midi
from tests.outside.test_tunes import check_schema

SCRIPT = Path(__file__).parents[1] / "js" / "write.js"
CHART = "title: Copper & <Rain>\n| Ebm7 | Abm7 Db7 | Gb6 | Bb7(b9) |"
PLAIN = "title: Copper & <Rain>\n| Ebm7 | Abm7 | Gb6 | Bb7(b9) |"
CHANGING = "| 2/4 Fmaj7 | 4/4 Bbm7 Eb7 | 3/4 Ab | 4/4 C7 |"
TICKS = 480


class Files(NamedTuple):
    """What the page gave."""

    midi: bytes
    score: bytes


@pytest.fixture(scope="module")
def node() -> str:
    """Where Node is; without it the tests are skipped, or fail where CI is set."""
    found = shutil.which("node")
    if found is None:
        words = "there is no node; install it with: apt-get install nodejs"
        if os.environ.get("CI"):
            pytest.fail(words)
        pytest.skip(words)
    return found


def written(
    node: str, stage: Stage, *, shift: int = 0, parts: Sequence[str] = ("right",), count_in: bool = False
) -> Files:
    """The files of all ideas in one key."""
    whole = stage.whole()
    wishes = {
        "parts": list(parts),
        "tempo": whole["tempo"],
        "shift": shift,
        "countIn": count_in,
        "sounds": {},
    }
    ideas = stage.some(stage.ideas.ideas)["ideas"]
    document = {"whole": whole, "ideas": ideas, "look": stage.look(shift), "wishes": wishes}
    done = subprocess.run(
        [node, "--no-warnings", str(SCRIPT)],
        input=json.dumps(document),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return Files(**{name: base64.b64decode(each) for name, each in json.loads(done.stdout).items()})


def ideas_over(chart: str = CHART, **options: Any) -> Ideas:
    return fillgen.ideas(
        chart, **{"rhythm": "swing", "count": 2, "seed": 9, "level": 5, "busy": "many", **options}
    )


def struck(content: bytes, track: int) -> list[tuple[int, int]]:
    """The tick and the pitch of each note that begins in a track, as mido reads it."""
    at, found = 0, []
    for message in mido.MidiFile(file=io.BytesIO(content)).tracks[track]:
        at += message.time
        if message.type == "note_on" and message.velocity:
            found.append((at, message.note))
    return found


def meta(content: bytes, kind: str) -> list[Any]:
    return [m for m in mido.MidiFile(file=io.BytesIO(content)).tracks[0] if m.type == kind]


@pytest.mark.parametrize("shift", [-5, 0, 6])
def test_notes_of_the_midi_file(node: str, shift: int) -> None:
    """Each idea's pitches and swung onsets, one after another with a bar between."""
    ideas = ideas_over()
    midi = written(node, Stage(ideas), shift=shift).midi
    ratio = Stage(ideas).whole()["swing"]
    share = min(ratio["largest"], max(ratio["smallest"], 60 / ideas.tempo / ratio["short"] - 1))
    bars = 4 * 4 * TICKS
    wanted = [
        (number * (bars + 4 * TICKS) + _swung(note.onset, round(share, 3)), note.midi + shift)
        for number, idea in enumerate(ideas)
        for note in idea.phrase
    ]
    assert struck(midi, 1) == wanted


def _swung(tick: int, ratio: float) -> int:
    """Where a tick falls when the first of two eighths is `ratio` times as long; triplets stay."""
    beat, inside = divmod(tick, TICKS)
    if inside % 60:
        return tick
    turn = TICKS * ratio / (1 + ratio)
    if inside <= 240:
        return beat * TICKS + round(inside / 240 * turn)
    return beat * TICKS + round(turn + (inside - 240) / 240 * (TICKS - turn))


def test_facts_of_the_midi_file(node: str) -> None:
    """Title, tempo, metre and key, as the standard writes them; chords and ideas are named where they begin."""
    ideas = ideas_over(tempo=97)
    midi = written(node, Stage(ideas), shift=1).midi
    file = mido.MidiFile(file=io.BytesIO(midi))
    assert (file.type, file.ticks_per_beat, len(file.tracks)) == (1, TICKS, 2)
    assert file.tracks[0].name == "Copper & <Rain>"
    assert [m.tempo for m in meta(midi, "set_tempo")] == [round(60_000_000 / 97)]
    assert [(m.numerator, m.denominator) for m in meta(midi, "time_signature")] == [(4, 4)]
    assert [m.key for m in meta(midi, "key_signature")] == ["G"]
    assert [m.text for m in meta(midi, "text")] == ["Em7", "Am7", "D7", "G6", "B7b9"] * 2
    assert len(meta(midi, "marker")) == 2


@pytest.mark.costly
@pytest.mark.parametrize("chart", [CHART, CHANGING])
@pytest.mark.parametrize(
    ("playing", "count_in"),
    [
        (Playing(), False),
        (Playing(parts=PARTS, count_in=True), True),
        (Playing(parts=PARTS, close="held", slow_down=True), False),
        (Playing(parts=("right", "bass"), swing=3.0), False),
    ],
)
def test_the_page_writes_what_the_command_line_writes(
    node: str, chart: str, playing: Playing, count_in: bool
) -> None:
    """Byte for byte."""
    ideas = ideas_over(chart)
    midi = written(node, Stage(ideas, playing), parts=playing.parts, count_in=count_in).midi
    assert midi == to_midi(ideas, playing)


@pytest.mark.costly
@pytest.mark.parametrize(
    ("options", "lengths"),
    [
        ({}, [4, 4, 4, 4]),
        ({"chart": PLAIN, "metre": "3/4", "rhythm": "waltz"}, [3, 3, 3, 3]),
        ({"chart": PLAIN, "metre": "6/8", "rhythm": None}, [3, 3, 3, 3]),
        ({"chart": PLAIN, "metre": "5/4", "rhythm": None}, [5, 5, 5, 5]),
        ({"chart": CHANGING}, [2, 4, 3, 4]),
    ],
)
def test_scores_are_read_by_another_program(node: str, options: dict[str, Any], lengths: list[int]) -> None:
    """Bars of the right length in quarter notes, the pitches of each idea, the schema, and the title."""
    ideas = ideas_over(**options)
    score = written(node, Stage(ideas)).score
    check_schema(score)
    read = music21.converter.parse(score, format="musicxml")
    bars = read.parts[0].getElementsByClass("Measure")
    assert [bar.barDuration.quarterLength for bar in bars] == lengths * 2
    assert [sum(n.quarterLength for n in bar.notesAndRests if n.quarterLength) for bar in bars] == lengths * 2
    assert _pitches(read) == [note.midi for idea in ideas for note in idea.phrase]
    if ideas.progression.title:
        assert read.metadata.title == "Copper & <Rain>"


@pytest.mark.costly
@pytest.mark.parametrize(("shift", "sharps"), [(-5, -5), (0, -6), (1, 1), (6, 0)])
def test_scores_in_other_keys(node: str, shift: int, sharps: int) -> None:
    """G flat major (six flats) moved: the signature of each key on the circle of fifths, and the pitches."""
    ideas = ideas_over()
    read = music21.converter.parse(written(node, Stage(ideas), shift=shift).score, format="musicxml")
    (signature,) = {each.sharps for each in read.flatten().getElementsByClass(music21.key.KeySignature)}
    assert signature == sharps
    assert _pitches(read) == [note.midi + shift for idea in ideas for note in idea.phrase]


def test_two_voices_are_chords(node: str) -> None:
    """What is struck with a note of the line is in the same chord, below it."""
    ideas = fillgen.ideas(CHART, count=1, seed=9, rhythm="foxtrot")

    playing = Playing(second="sixths")
    stage = Stage(in_two_voices(ideas, playing), playing)
    read = music21.converter.parse(written(node, stage).score, format="musicxml").stripTies()
    tops = [max(n.pitches).midi for n in read.flatten().notes if not isinstance(n, music21.harmony.Harmony)]
    assert tops == [note.midi for note in ideas[0].phrase]
    struck_together = [n for n in read.flatten().notes if isinstance(n, music21.chord.Chord)]
    assert any(len(n.pitches) == 2 for n in struck_together if not isinstance(n, music21.harmony.Harmony))


def _pitches(read: Any) -> list[int]:
    notes = read.stripTies().flatten().notes
    return [note.pitch.midi for note in notes if not isinstance(note, music21.harmony.Harmony)]
