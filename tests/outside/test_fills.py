"""Fills in whole tunes: the files against the MusicXML 4.0 schema, as music21 reads them, and as MIDI.

Sources: the schema musicxml.xsd of MusicXML 4.0 (W3C Music Notation Community Group); music21 as reader.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from fillgen.fills.fill import FillRequest
from fillgen.hands.playing import PARTS, Playing
from fillgen.readers.confined import read_tune
from fillgen.readers.tunes import Tune
from fillgen.tune import Piece, TuneRequest, pieces
from fillgen.writers.tunes import piece_text, tune_midi, tune_musicxml
from tests.outside.test_midi import read_file
from tests.outside.test_takes import tracks_of
from tests.outside.test_tunes import Made, check_schema, measures, parsed, read_bytes, run, save, score, told

SHARED = Path(__file__).parents[2] / "shared/tunes"
OWN = {
    "pick-up": Made(
        "Tinker's Field",
        "F major",
        -1,
        "4/4",
        """<F> C5_q
        <F> A5_q. G5_e F5_h
        <Gm7> D5_h. E5_q
        <Bb> F5_q G5_q A5_q Bb5_q
        <C7> G5_h r_q C5_q
        <F> A5_q. G5_e F5_h
        <Gm7> D5_h. Bb4_q
        <C7> C5_q E5_q G5_q E5_q
        <F> F5_h. ||""",
        pickup=1,
        shortage=1,
    ),
    "no room": Made(
        "Busy Lane", "G major", 1, "2/4", "<G> G4_q B4_q\n<D7> A4_q F#4_q\n<D7> A4_q C5_q\n<G> B4_q G4_q ||"
    ),
}
NAMES = ["harbour-lanterns", "garden-gate", "pick-up"]
PLAYING = Playing(parts=PARTS, swing=1.0)


@cache
def read(name: str) -> Tune:
    """A tune of ours as it is read."""
    return read_bytes(score(OWN[name])) if name in OWN else read_tune(SHARED / f"{name}.musicxml")


@cache
def piece(name: str, *, fills: bool = True, intro: int = 1) -> Piece:
    """A tune with intro and ending, and a fill in every place that has room."""
    request = FillRequest(how_many="100%") if fills else None
    return pieces(TuneRequest(read(name), intro=intro, ending=2, fills=request))[0]


@pytest.mark.costly
@pytest.mark.parametrize("intro", [0, 1])
@pytest.mark.parametrize("name", NAMES)
def test_the_score_is_valid_and_keeps_the_tune(name: str, intro: int) -> None:
    """By the schema it is MusicXML, and music21 reads the same notes in every bar of the tune, with fills and without."""
    with_fills = tune_musicxml(piece(name, intro=intro), read(name))
    without = tune_musicxml(piece(name, fills=False, intro=intro), read(name))
    check_schema(with_fills)
    part = read(name).part
    told_bars = [
        [told(bar) for bar in measures(next(p for p in parsed(content).parts if p.id == part))]
        for content in (with_fills, without)
    ]
    assert told_bars[0] == told_bars[1]


@pytest.mark.parametrize("name", NAMES)
def test_the_fills_are_small_notes_of_a_part_of_their_own(name: str) -> None:
    """Music21 reads the fills in a part of that name, at their places in the written tune, and each note is a cue note."""
    own, tune = piece(name), read(name)
    assert own.fills
    (part,) = [p for p in parsed(tune_musicxml(own, tune)).parts if p.partName == "Fills"]
    tied = part.stripTies().flatten().notes
    start = own.first * tune.metre.bar - tune.pickup
    wanted = [
        (start + fill.room.first.written + each.note.onset - fill.room.first.before.onset, each.note.midi)
        for fill in own.fills
        for each in fill.notes
    ]
    assert [(round(float(n.offset) * 480), n.pitch.midi) for n in tied] == wanted
    assert all(n.style.noteSize == "cue" for n in part.flatten().notes)


@pytest.mark.parametrize("name", NAMES)
def test_the_midi_file_has_the_tune_unchanged(name: str) -> None:
    """The right hand plays the same with fills and without; the fills have a track, in which no note meets a moving one."""
    own, tune = piece(name), read(name)
    with_fills = tracks_of(read_file(tune_midi(own, PLAYING, {})))
    without = tracks_of(read_file(tune_midi(piece(name, fills=False), PLAYING, {})))
    assert with_fills["Right hand"] == without["Right hand"]
    assert set(with_fills) == {*without, "Fills"}
    begins = {s.onset for s in with_fills["Right hand"]}
    for sound in with_fills["Fills"]:
        assert not any(sound.onset <= tick < sound.onset + sound.length for tick in begins)
    times = sum(len(fill.notes) * len(fill.room.gaps) for fill in own.fills)
    assert len(with_fills["Fills"]) == times
    assert tune.repeats == (times > sum(len(fill.notes) for fill in own.fills))


def test_a_repeat_plays_its_fills_each_time() -> None:
    """In MIDI the fills of a repeated section sound again, so many bars later."""
    own = piece("harbour-lanterns")
    first = next(fill for fill in own.fills if len(fill.room.gaps) == 2)
    once, again = first.played()
    assert [b.note.onset - a.note.onset for a, b in zip(once, again, strict=True)] == [4 * 1920] * len(once)
    heard = {(s.onset, s.midi) for s in tracks_of(read_file(tune_midi(own, PLAYING, {})))["Fills"]}
    assert {(each.note.onset, each.note.midi) for each in (*once, *again)} <= heard


def test_the_band_stays_below_the_fills() -> None:
    """The left hand plays below the lowest note of the fills."""
    tracks = tracks_of(read_file(tune_midi(piece("pick-up"), PLAYING, {})))
    assert max(s.midi for s in tracks["Left hand"]) < min(s.midi for s in tracks["Fills"])


def test_each_version_has_fills_of_its_own() -> None:
    """Of several versions each fills the tune in another way."""
    request = TuneRequest(read("harbour-lanterns"), intro=2, ending=0, count=2, fills=FillRequest())
    one, other = pieces(request)
    assert [fill.text for fill in one.fills] != [fill.text for fill in other.fills]


def test_the_text_lists_the_fills() -> None:
    """Each fill has its number, its bars in the tune, its chord and its notes."""
    own = piece("harbour-lanterns")
    text = piece_text(own)
    for fill in own.fills:
        bars = [
            n + 1
            for n in (own.ideas.progression.bar_index(p[0].note.onset) - own.first for p in fill.played())
        ]
        assert f"{' and '.join(map(str, bars))}, over " in text
        assert fill.text.split(" | ")[0] in text


# The command


def test_a_whole_arrangement_in_one_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One command writes the sheet and the band with its fills."""
    target = tmp_path / "harbour.mid"
    given = [
        str(SHARED / "harbour-lanterns.musicxml"),
        "--fills",
        "--from-tune",
        "--intro",
        "4",
        "--ending",
        "4",
    ]
    assert run([*given, "-o", str(target), "-o", str(tmp_path / "harbour.svg")]) == 0
    assert "fills" in capsys.readouterr().out
    assert set(tracks_of(read_file(target.read_bytes()))) >= {
        "Right hand",
        "Left hand",
        "Bass",
        "Drums",
        "Fills",
    }
    assert (tmp_path / "harbour.svg").read_text().startswith("<?xml")


def test_fills_alone_are_enough(capsys: pytest.CaptureFixture[str]) -> None:
    """A tune may have fills without intro and ending."""
    given = [str(SHARED / "harbour-lanterns.musicxml"), "--fills", "--intro", "0", "--ending", "0"]
    assert run([*given, "--only", "3"]) == 0
    out = capsys.readouterr().out
    assert "intro" not in out
    assert "      3  bars 4 and 8, over Bb7" in out


def test_no_room_is_a_remark(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where the tune leaves no room the command says so and ends with 0."""
    path = save(score(OWN["no room"]), tmp_path)
    assert run([str(path), "--fills", "--intro", "0", "--ending", "0"]) == 0
    assert "no room for fills" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--gap", "3"], "--gap needs --fills"),
        (["--only", "1"], "--only needs --fills"),
        (["--how-many", "2"], "--how-many needs --fills"),
        (["--fills", "--gap", "0"], "gap of 0 beats"),
        (["--fills", "--how-many", "some"], "'some'"),
        (["--fills", "--intro", "0", "--ending", "0", "--only", "77"], "no fill 77"),
        (["--fills", "--only", "1", "--how-many", "2"], "use --only or --how-many, not both"),
        (["--from-tune", "--intro", "0"], "no intro"),
    ],
)
def test_the_command_refuses_wrong_options(
    options: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """An option outside what is offered ends with 2 and a sentence that names it."""
    assert run([str(SHARED / "harbour-lanterns.musicxml"), *options]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert said in err.replace("\n", " ")


def test_busy_fills_have_more_notes() -> None:
    """Asked for many notes, fills have more than asked for few."""
    tune = read("harbour-lanterns")
    counts = []
    for busy in ("few", "many"):
        request = TuneRequest(tune, intro=0, ending=0, busy=busy, fills=FillRequest())
        counts.append(sum(len(fill.notes) for fill in pieces(request)[0].fills))
    assert counts[0] < counts[1]


def test_chords_of_each_time_are_minded() -> None:
    """Where a repeat has other chords the second time, its fills are found for each time apart."""
    tune = read("harbour-lanterns")
    chart = "| Eb | Cm7 | Fm7 | Bb7 | Eb | C7 | Fm7 | Db9 | Gm7 | C7 | Fm7 | Bb7 | Eb | Cm7 | Fm7 Bb7 | Eb |"
    request = TuneRequest(tune, intro=0, ending=0, chords=chart, fills=FillRequest(how_many="100%"))
    fills = pieces(request)[0].fills
    assert all(each.role for fill in fills for each in fill.notes)
    assert any(len(fill.room.gaps) == 1 for fill in fills if fill.room.first.written < 4 * 1920)


def test_fills_go_on_where_the_metre_changes() -> None:
    """Of a tune that turns from one metre to another, in the rhythm of the metre that holds there; all of it is written."""
    tune = read_tune(SHARED / "the-crooked-stile.musicxml")
    found = pieces(TuneRequest(tune, intro=1, ending=2, fills=FillRequest(gap=1, how_many="100%")))[0]
    assert found.fills
    line = found.ideas.progression
    begin = {note.onset for note in found.idea.phrase}
    for fill in found.fills:
        assert line.bar_index(fill.notes[0].note.onset) < found.last
        assert not {each.note.onset for each in fill.notes} & begin
    xml = tune_musicxml(found, tune)
    check_schema(xml)
    lengths = {tuple(bar.duration.quarterLength for bar in measures(part)) for part in parsed(xml).parts}
    assert len(lengths) == 1
