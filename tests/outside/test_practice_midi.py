"""Sessions to practise with, read back by libraries that did not write them: symusic, pretty_midi and music21.

Sources: Standard MIDI Files 1.0 (RP-001) for tempo and marker events, by the reader of `test_midi`; General MIDI for
the Side Stick, percussion key 37; Friberg and Sundström 2002, Music Perception 19(3), for the swing ratios by tempo.
The order of a session and its rests are common practice, and are tested as the plan has them.
"""

from __future__ import annotations

import io
import itertools
from dataclasses import dataclass, replace
from functools import cache

import pretty_midi
import pytest
import symusic
from music21 import midi as music21_midi

import fillgen
from fillgen import Ideas, OptionError
from fillgen.hands.playing import PARTS, Playing
from fillgen.teaching.practice import Session, call_and_answer, loop, minutes
from fillgen.writers.midi import to_practice
from tests.outside.test_midi import KEY, MARKER, TEXT, TIME, Sound, meta, read_file, sounds

SIDE_STICK = 37
"""General MIDI percussion map: key 37 is the Side Stick."""
NAMES = {"right": "Right hand", "left": "Left hand", "bass": "Bass", "drums": "Drums"}
PROGRAMS = {"Right hand": 11, "Left hand": 4, "Bass": 32}
REST = "Rest your hands"
ROUNDING = 1e-5
"""A tempo is written in whole microseconds a quarter note, half of one off at most in two hundred thousand or more."""


@cache
def ideas_of(name: str) -> Ideas:
    """Three ideas over a chart that has what its name says."""
    if name == "foxtrot":
        return fillgen.ideas(
            "title: Long Pier\n| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", rhythm="foxtrot", count=3, seed=6
        )
    if name == "jazz waltz":
        return fillgen.ideas("| F | Gm7 | C7 | F |", metre="3/4", rhythm="jazz waltz", count=3)
    if name == "dotted":
        return fillgen.ideas("| Am | F | E7 | Am |", metre="6/8", count=3, busy="many")
    found = fillgen.ideas("| N.C. | Dm7 | G7 | C |", rhythm="bossa nova", count=3, level=4)
    return replace(found, progression=replace(found.progression, first=0))


@cache
def session_of(case: str) -> Session:
    """A session by its chart and its kind."""
    name, kind = case.split(": ")
    ideas = ideas_of(name)
    if kind == "answers":
        return call_and_answer(ideas, turns=5)
    if kind == "many answers":
        return call_and_answer(ideas, turns=30)
    if kind == "hands":
        return loop(ideas, ideas[1], slowest=0.4, steps=3, times=1, parts=("right", "left"))
    return loop(ideas, ideas[0])


CASES = (
    "foxtrot: loop",
    "foxtrot: answers",
    "foxtrot: many answers",
    "jazz waltz: loop",
    "dotted: hands",
    "dotted: answers",
    "pick-up: loop",
    "pick-up: answers",
)


@cache
def data_of(case: str, feel: float = 0.0) -> bytes:
    """The file of a session."""
    return to_practice(session_of(case), Playing(feel=feel))


@dataclass(frozen=True)
class Stretch:
    """A round in the file: where its rest or count-in begins, where its music begins and ends, in ticks."""

    begin: int
    start: int
    end: int


def stretches(session: Session) -> list[Stretch]:
    """All rounds in the file, laid out here once more: bars of rest, a bar of count-in, the bars of the chart."""
    metre, bars = session.ideas.progression.metre, len(session.ideas.progression.bars)
    at, found = 0, []
    for each in session.rounds:
        start = at + (each.rest + int(each.count_in)) * metre.bar
        found.append(Stretch(at, start, start + bars * metre.bar))
        at = found[-1].end
    return found


def tracks_of(case: str) -> dict[str, list[Sound]]:
    """The notes of each track by its name, in this project's own reader; it refuses hanging and doubled notes."""
    file = read_file(data_of(case))
    return {
        next(event.text for event in track if event.meta == 3): sounds(replace(file, tracks=(track,)))
        for track in file.tracks[1:]
    }


def within(found: list[Sound], begin: int, end: int) -> list[Sound]:
    """The sounds that begin in a stretch of ticks."""
    return [sound for sound in found if begin <= sound.onset < end]


def clicks(case: str) -> list[int]:
    """The ticks of the count-in: all Side Sticks outside the music."""
    music = stretches(session_of(case))
    return [
        sound.onset
        for sound in tracks_of(case)["Drums"]
        if not any(part.start <= sound.onset < part.end for part in music)
    ]


# Tempo, length and labels


@pytest.mark.parametrize("case", CASES)
def test_symusic_reads_the_tempo_of_every_round(case: str) -> None:
    """Where a round's rest or count-in begins its tempo is set, and nothing else changes it."""
    session = session_of(case)
    read = symusic.Score.from_midi(data_of(case)).tempos
    at_rounds = {
        part.begin: each.tempo for part, each in zip(stretches(session), session.rounds, strict=True)
    }
    for change in read:
        assert change.qpm == pytest.approx(at_rounds[change.time], rel=ROUNDING)
    for part, each in zip(stretches(session), session.rounds, strict=True):
        in_force = [change for change in read if change.time <= part.start][-1]
        assert in_force.qpm == pytest.approx(each.tempo, rel=ROUNDING)


@pytest.mark.parametrize("case", CASES)
def test_pretty_midi_times_every_round(case: str) -> None:
    """By pretty_midi's clock every round begins and ends when its tempi say, and all of it lasts the told minutes."""
    session = session_of(case)
    score = pretty_midi.PrettyMIDI(io.BytesIO(data_of(case)))
    quarters = session.ideas.progression.metre.bar / 480
    clock = 0.0
    for part, each in zip(stretches(session), session.rounds, strict=True):
        assert score.tick_to_time(part.begin) == pytest.approx(clock, rel=ROUNDING, abs=1e-4)
        before, bars = each.rest + int(each.count_in), len(session.ideas.progression.bars)
        clock += before * quarters * 60 / each.tempo
        assert score.tick_to_time(part.start) == pytest.approx(clock, rel=ROUNDING, abs=1e-4)
        clock += bars * quarters * 60 / each.tempo
    assert clock == pytest.approx(minutes(session) * 60)
    assert score.tick_to_time(session.length) == pytest.approx(minutes(session) * 60, rel=ROUNDING)


@pytest.mark.costly
@pytest.mark.parametrize("case", CASES)
def test_music21_reads_the_whole_length(case: str) -> None:
    """Every track ends with the last bar of the last round; format and number of tracks are right."""
    session = session_of(case)
    file = music21_midi.MidiFile()
    file.readstr(data_of(case))
    assert file.format == 1
    assert len(file.tracks) == len(tracks_of(case)) + 1
    for track in file.tracks:
        assert sum(event.time for event in track.events if event.isDeltaTime()) == session.length
    assert session.length == stretches(session)[-1].end


@pytest.mark.parametrize("case", CASES)
def test_markers_label_every_round(case: str) -> None:
    """A marker with the label stands where a round's count-in begins, one more where a rest does."""
    session = session_of(case)
    bar = session.ideas.progression.metre.bar
    wanted = []
    for part, each in zip(stretches(session), session.rounds, strict=True):
        if each.rest:
            wanted.append((part.begin, REST))
        wanted.append((part.start - bar * each.count_in, each.label))
    read = [(marker.time, marker.text) for marker in symusic.Score.from_midi(data_of(case)).markers]
    assert read == wanted


@pytest.mark.parametrize("case", CASES)
def test_chords_metre_and_key(case: str) -> None:
    """The chords are texts in every round, in answers as well; metre and key stand once, at the beginning."""
    session = session_of(case)
    file = read_file(data_of(case))
    spans = session.ideas.progression.spans
    wanted = [(part.start + span.onset, span.chord.symbol) for part in stretches(session) for span in spans]
    assert [(event.tick, event.text) for event in meta(file, TEXT)] == wanted
    assert [event.tick for event in meta(file, TIME)] == [event.tick for event in meta(file, KEY)] == [0]
    assert len(meta(file, MARKER)) >= len(session.rounds)


# Notes


@pytest.mark.parametrize("case", CASES)
def test_readers_agree_on_the_notes(case: str) -> None:
    """symusic, pretty_midi and music21 read the tracks, their programs, and as many notes as our own reader."""
    own = tracks_of(case)
    score = symusic.Score.from_midi(data_of(case))
    other = pretty_midi.PrettyMIDI(io.BytesIO(data_of(case)))
    file = music21_midi.MidiFile()
    file.readstr(data_of(case))
    assert [track.name for track in score.tracks] == [name for name in own if own[name]] == list(own)
    assert {track.name: track.program for track in score.tracks if not track.is_drum} == {
        name: program for name, program in PROGRAMS.items() if name in own
    }
    assert [track.is_drum for track in score.tracks] == [name == "Drums" for name in own]
    assert [track.name for track in other.instruments] == list(own)
    for one, two, three in zip(score.tracks, other.instruments, file.tracks[1:], strict=True):
        read = sorted((n.time, n.duration, n.pitch, n.velocity) for n in one.notes)
        assert read == sorted((s.onset, s.length, s.midi, s.velocity) for s in own[one.name])
        assert len(two.notes) == len(own[one.name])
        assert sum(event.isNoteOn() and event.velocity > 0 for event in three.events) == len(own[one.name])


@pytest.mark.parametrize("case", CASES)
def test_every_round_has_its_parts(case: str) -> None:
    """In a round the right hand has as many notes as its idea, at their pitches; parts without a turn are silent."""
    session, own = session_of(case), tracks_of(case)
    for part, each in zip(stretches(session), session.rounds, strict=True):
        for name, track in NAMES.items():
            found = within(own.get(track, []), part.start, part.end)
            assert bool(found) == (name in each.parts)
            assert all(sound.onset + sound.length <= part.end for sound in found)
        right = within(own["Right hand"], part.start, part.end)
        if "right" in each.parts:
            assert [s.midi for s in right] == [note.midi for note in each.idea.phrase]
        assert not any(
            within(own.get(track, []), part.begin, part.start)
            for track in ("Right hand", "Left hand", "Bass")
        )


@pytest.mark.parametrize("case", ["foxtrot: answers", "dotted: answers", "pick-up: answers"])
def test_the_band_goes_on_while_the_player_answers(case: str) -> None:
    """In an answer the right hand is silent, and the other parts play exactly what they played under the call."""
    session, own = session_of(case), tracks_of(case)
    parts = stretches(session)
    for call, answer in zip(parts[::2], parts[1::2], strict=True):
        assert answer.begin == call.end
        assert not within(own["Right hand"], answer.begin, answer.end)
        for track in ("Left hand", "Bass", "Drums"):
            one, two = within(own[track], call.start, call.end), within(own[track], answer.start, answer.end)
            assert one
            assert [replace(s, onset=s.onset + answer.start - call.start) for s in one] == two


@pytest.mark.parametrize("case", CASES)
def test_count_ins_are_there(case: str) -> None:
    """A click of the Side Stick on every beat of the bar before a round that has one, the first the loudest."""
    session = session_of(case)
    metre = session.ideas.progression.metre
    wanted = [
        part.start - metre.bar + beat * metre.beat
        for part, each in zip(stretches(session), session.rounds, strict=True)
        if each.count_in
        for beat in range(metre.beats)
    ]
    assert clicks(case) == wanted
    assert len(wanted) >= metre.beats
    drums = {(s.onset, s.midi): s.velocity for s in tracks_of(case)["Drums"]}
    loud = [drums[tick, SIDE_STICK] for tick in wanted]
    for first in range(0, len(loud), metre.beats):
        assert loud[first] > max([0, *loud[first + 1 : first + metre.beats]])


@pytest.mark.parametrize("case", ["foxtrot: many answers"])
def test_nothing_sounds_in_a_rest(case: str) -> None:
    """In the bars of a rest no part plays and nothing clicks."""
    session, own = session_of(case), tracks_of(case)
    bar = session.ideas.progression.metre.bar
    rests = [
        (part.begin, part.start - bar)
        for part, each in zip(stretches(session), session.rounds, strict=True)
        if each.rest
    ]
    assert rests
    for begin, end in rests:
        assert end - begin >= bar
        assert not any(within(found, begin, end) for found in own.values())
        assert not [s for found in own.values() for s in found if s.onset < begin < s.onset + s.length]


def off_beats(ideas: Ideas) -> dict[int, set[int]]:
    """For each tempo the ticks within a quarter at which off-beat eighths of the right hand begin."""
    session = loop(ideas, ideas[0], slowest=0.5, steps=3, times=1)
    file = read_file(to_practice(session, Playing()))
    right = sounds(replace(file, tracks=(file.tracks[1],)))
    found: dict[int, set[int]] = {}
    for part, each in zip(stretches(session), session.rounds, strict=True):
        ticks = {sound.onset % 480 for sound in within(right, part.start, part.end)} - {0}
        found.setdefault(each.tempo, set()).update(ticks)
    return found


def test_slow_rounds_swing_more() -> None:
    """Friberg and Sundström 2002: off-beats at 2:1 up to 200 quarter notes a minute, 3:2 at 240, even at 300."""
    ideas = fillgen.ideas(
        "| Dm7 | G7 | Cmaj7 | A7 |", rhythm="swing", tempo=300, busy="many", count=1, level=2, seed=1
    )
    found = off_beats(ideas)
    assert list(found) == [150, 225, 300]
    assert found[150] == {320}
    assert found[300] == {240}
    for tempo in (225, 300):
        (tick,) = found[tempo]
        assert (480 - tick) / 480 * 60 / tempo == pytest.approx(0.1, abs=0.001)
    straight = replace(ideas, swing=False)
    assert set(itertools.chain(*off_beats(straight).values())) == {240}


# How it is played


def test_ways_of_playing() -> None:
    """Swing, feel, bass and sounds are taken; the same session gives the same bytes; feel moves notes a little."""
    session = session_of("foxtrot: answers")
    assert to_practice(session) == to_practice(session, Playing()) == data_of("foxtrot: answers")
    loose = data_of("foxtrot: answers", 1.0)
    assert loose != data_of("foxtrot: answers")
    exact, felt = (
        pretty_midi.PrettyMIDI(io.BytesIO(data)).instruments for data in (data_of("foxtrot: answers"), loose)
    )
    for one, two in zip(exact, felt, strict=True):
        assert len(one.notes) == len(two.notes)
        starts = [sorted(note.start for note in track.notes) for track in (one, two)]
        assert max(abs(a - b) for a, b in zip(*starts, strict=True)) < 0.04
    score = symusic.Score.from_midi(to_practice(session, Playing(bass="pedals"), {"left": "Drawbar Organ"}))
    programs = {track.name: track.program for track in score.tracks}
    assert programs["Left hand"] == 16
    assert all(36 <= note.pitch <= 67 for note in score.tracks[2].notes)


def test_the_parts_of_a_way_of_playing_are_the_rounds() -> None:
    """Which parts sound, how often and with which count-in the rounds say, whatever the way of playing has."""
    session = session_of("dotted: hands")
    wanted = to_practice(session)
    assert to_practice(session, Playing(parts=PARTS, times=3, count_in=False)) == wanted
    assert "Bass" not in tracks_of("dotted: hands")


@pytest.mark.parametrize(
    ("playing", "told"),
    [
        (Playing(close="held"), "no close"),
        (Playing(slow_down=True), "no slowing down"),
        (Playing(second_set=True), "no second set"),
        (Playing(feel=2), "feel"),
        (Playing(swing=9), "swing"),
    ],
)
def test_what_a_session_has_not(playing: Playing, told: str) -> None:
    """A close, a slowing down and a second set are refused, and what no way of playing has."""
    with pytest.raises(OptionError, match=told):
        to_practice(session_of("foxtrot: answers"), playing)


def test_an_unknown_sound_is_refused() -> None:
    """A sound that General MIDI does not know is refused."""
    with pytest.raises(OptionError):
        to_practice(session_of("foxtrot: answers"), None, {"left": "Kazoo of Doom"})
