"""Takes to play along with, against published values and in the eyes of two libraries that did not write them.

Sources: General MIDI System Level 1 (percussion map, keys 35 to 81, channel 10), as pretty_midi lists it; ballroom
tempo tables of WDSF and NDCA, in quarter notes a minute (their bars a minute times the beats of a bar; the numbers
below are written from memory); Friberg and Sundström 2002, Music Perception 19(3), for the swing ratios. What a
bass or a left hand commonly does is marked "common practice". music21 and symusic are the readers.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import Any

import pretty_midi
import pytest
import symusic
from music21 import midi as music21_midi

import fillgen
from fillgen import Ideas, OptionError, RulePack
from fillgen.chart.progression import Progression
from fillgen.hands.bass import REGISTERS, bass_line
from fillgen.hands.instruments import percussion, percussion_keys, program
from fillgen.hands.patterns import band
from fillgen.hands.playing import PARTS, Playing
from fillgen.hands.stroke import Stroke
from fillgen.hands.take import Ensemble, clicks, left_paths
from fillgen.hands.voicing import Hand, best_paths
from fillgen.theory.metre import METRES
from fillgen.theory.swing import swing_ratio
from fillgen.writers.midi import to_midi
from tests.outside.test_midi import MARKER, META, TEMPO, File, Sound, meta, read_file, sounds

PACK = RulePack()
COMBINATIONS = [(name, metre) for name in PACK.rhythm_names for metre in PACK.rhythm(name).metres]
COUPLED = {
    "5/4": "Dm7 / / G7 /",
    "7/4": "Dm7 / / / G7 / /",
    "7/8": "Dm7 / / / G7 / /",
    "3/4": "Dm7 / G7",
    "9/8": "Dm7 / G7",
}
"""A bar of two chords in the metres whose beats two chords cannot share evenly."""
CHANNELS = {"Right hand": 0, "Left hand": 1, "Bass": 2, "Drums": 9}
PROGRAMS = {"Right hand": 11, "Left hand": 4, "Bass": 32}
"""General MIDI sound set: Vibraphone is number 12, Electric Piano 1 number 5, Acoustic Bass number 33 (on the wire
one less)."""
CHART = "| Dm7 | G7 | Cmaj7 | A7 |"


@cache
def made(rhythm: str, metre: str, level: int = 3) -> Ideas:
    """Two ideas over five bars that have a slash chord and a bar of two chords."""
    chart = f"| C | Em7 | F/A | {COUPLED.get(metre, 'Dm7 G7')} | C |"
    return fillgen.ideas(chart, key="C major", metre=metre, rhythm=rhythm, count=2, seed=2, level=level)


@cache
def swinging(tempo: int = 132, level: int = 4) -> Ideas:
    """Two ideas in swing."""
    return fillgen.ideas(CHART, rhythm="swing", tempo=tempo, level=level, busy="many", count=2, seed=5)


def playing(**options: Any) -> Playing:
    """All parts, with some options."""
    return Playing(parts=PARTS, **options)


@cache
def data_of(rhythm: str, metre: str) -> bytes:
    """The file of a rhythm in a metre, all parts."""
    return to_midi(made(rhythm, metre), playing(swing=1.0))


def tracks_of(file: File) -> dict[str, list[Sound]]:
    """The notes of each track by its name; `sounds` refuses notes that hang or overlap at one pitch."""
    told = {}
    for track in file.tracks:
        (name,) = [event.text for event in track if (event.status, event.meta) == (META, 3)]
        told[name] = sounds(replace(file, tracks=(track,)))
    return told


def starts(ideas: Ideas) -> list[int]:
    """Where the ideas of a plain file begin."""
    progression = ideas.progression
    return [number * (progression.length + progression.metre.bar) for number in range(len(ideas))]


def test_there_are_twenty_five_combinations() -> None:
    """The rhythms and the metres they have cells for are all on this page."""
    assert len(COMBINATIONS) == len(set(COMBINATIONS)) >= 25


# Every rhythm in every metre


@pytest.mark.costly
@pytest.mark.parametrize("rhythm", PACK.rhythm_names)
def test_symusic_reads_every_take(rhythm: str) -> None:
    """symusic reads four tracks with their names and programs, drums apart, and the notes of our own reader."""
    for metre in PACK.rhythm(rhythm).metres:
        data, ideas = data_of(rhythm, metre), made(rhythm, metre)
        score = symusic.Score.from_midi(data)
        own = tracks_of(read_file(data))
        assert score.ticks_per_quarter == 480
        assert [track.name for track in score.tracks] == list(CHANNELS)
        assert [track.is_drum for track in score.tracks] == [False, False, False, True]
        assert {t.name: t.program for t in score.tracks if not t.is_drum} == PROGRAMS
        for track in score.tracks:
            read = [Sound(n.time, n.duration, n.pitch, n.velocity) for n in track.notes]
            assert sorted(read, key=lambda s: (s.onset, s.midi)) == own[track.name] != []
        assert score.end() <= starts(ideas)[-1] + ideas.progression.length


@pytest.mark.costly
@pytest.mark.parametrize("rhythm", PACK.rhythm_names)
def test_music21_reads_every_take(rhythm: str) -> None:
    """music21 reads the tracks, their channels and programs, as many notes as are struck, and the whole length."""
    for metre in PACK.rhythm(rhythm).metres:
        ideas = made(rhythm, metre)
        file = music21_midi.MidiFile()
        file.readstr(data_of(rhythm, metre))
        assert (file.format, len(file.tracks)) == (1, 5)
        whole = starts(ideas)[-1] + ideas.progression.length
        own = tracks_of(read_file(data_of(rhythm, metre)))
        for track, (name, channel) in zip(file.tracks[1:], CHANNELS.items(), strict=True):
            events = [event for event in track.events if not event.isDeltaTime()]
            struck = [event for event in events if event.isNoteOn()]
            programs = [
                event.data
                for event in events
                if event.type == music21_midi.ChannelVoiceMessages.PROGRAM_CHANGE
            ]
            assert {event.channel - 1 for event in struck} == {channel}
            assert programs == ([PROGRAMS[name]] if name in PROGRAMS else [])
            assert len(struck) == sum(event.isNoteOff() for event in events) == len(own[name])
            assert sum(event.time for event in track.events if event.isDeltaTime()) == whole


@pytest.mark.parametrize("rhythm", PACK.rhythm_names)
def test_the_bass_gives_each_chord_its_root(rhythm: str) -> None:
    """Where a chord begins the bass plays its root or slash bass, one note at a time (common practice)."""
    for metre in PACK.rhythm(rhythm).metres:
        ideas = made(rhythm, metre)
        bass = tracks_of(read_file(data_of(rhythm, metre)))["Bass"]
        at = {sound.onset: sound.midi % 12 for sound in bass}
        for start in starts(ideas):
            for span in ideas.progression.spans:
                name = span.chord.bass or span.chord.root
                assert name is not None
                assert at[start + span.onset] == name.pitch_class
        assert all(a.onset + a.length <= b.onset for a, b in pairwise(bass))
        assert all(REGISTERS["keyboard"].low <= s.midi <= REGISTERS["keyboard"].high for s in bass)


@pytest.mark.parametrize("rhythm", PACK.rhythm_names)
def test_the_left_hand_plays_the_chord_below_the_right(rhythm: str) -> None:
    """The left hand strikes tones of the chord that sounds, and stays below the right hand's lowest note."""
    for metre in PACK.rhythm(rhythm).metres:
        ideas = made(rhythm, metre)
        own = tracks_of(read_file(data_of(rhythm, metre)))
        length = ideas.progression.length
        for start, idea in zip(starts(ideas), ideas, strict=True):
            left = [s for s in own["Left hand"] if start <= s.onset < start + length]
            lowest = min(note.midi for note in idea.phrase)
            for sound in left:
                span = ideas.progression.span_at(sound.onset - start)
                assert sound.midi % 12 in {tone.name.pitch_class for tone in span.chord.tones}
                assert sound.onset + sound.length <= start + span.end
            struck = {s.onset - start for s in left}
            assert all(
                any(span.onset <= tick < span.end for tick in struck) for span in ideas.progression.spans
            )
            if has_room(ideas.progression, lowest):
                assert max(sound.midi for sound in left) < lowest


def has_room(progression: Progression, lowest: int) -> bool:
    """Whether a hand of the usual register can hold thinned chords under a pitch."""
    try:
        best_paths(progression, Hand(low=min(48, max(0, lowest - 15)), high=min(64, lowest - 1), thin=True))
    except OptionError:
        return False
    return True


def plain(name: str) -> str:
    """A name's letters and digits in small letters."""
    return "".join(letter for letter in name.lower() if letter.isalnum())


def test_percussion_is_that_of_general_midi() -> None:
    """The percussion keys are those of the published map, 35 to 81, under their published names."""
    published = {plain(pretty_midi.note_number_to_drum_name(key)): key for key in range(35, 82)}
    assert {plain(name): key for name, key in percussion_keys().items()} == published
    assert len(pretty_midi.constants.DRUM_MAP) == len(published) == 47


@pytest.mark.parametrize("rhythm", PACK.rhythm_names)
def test_drums_strike_percussion_in_every_bar(rhythm: str) -> None:
    """Every bar has drums, all of the percussion map, and something sounds on its first beat."""
    for metre in PACK.rhythm(rhythm).metres:
        ideas = made(rhythm, metre)
        drums = tracks_of(read_file(data_of(rhythm, metre)))["Drums"]
        bar = METRES[metre].bar
        assert {sound.midi for sound in drums} <= set(percussion_keys().values())
        for start in starts(ideas):
            for number in range(len(ideas.progression.bars)):
                first = start + number * bar
                inside = [s.onset - first for s in drums if first <= s.onset < first + bar]
                assert 0 in inside
                assert len(inside) >= 2


BALLROOM = {
    "waltz": [(84, 90), (174, 180)],
    "tango": [(120, 132)],
    "foxtrot": [(112, 120), (120, 128)],
    "cha-cha": [(112, 128)],
    "rumba": [(100, 108), (128, 144)],
    "Viennese waltz": [(174, 180)],
    "slow foxtrot": [(112, 120)],
    "quickstep": [(200, 208)],
    "jive": [(168, 176)],
    "samba": [(100, 104)],
    "paso doble": [(120, 124)],
    "bolero": [(96, 104)],
}
"""Quarter notes a minute: slow and Viennese waltz, tango, foxtrot by WDSF and NDCA, cha-cha, rumba and the American;
Viennese waltz, slow foxtrot, quickstep, jive, samba and paso doble by WDSF, bolero by NDCA."""


def test_dances_have_their_tempo() -> None:
    """A dance's own tempo lies in a range of the ballroom tables, and what is offered stays within them."""
    for rhythm, ranges in BALLROOM.items():
        found = PACK.rhythm(rhythm)
        assert any(low <= found.tempo <= high for low, high in ranges)
        assert found.tempo_range[0] <= found.tempo <= found.tempo_range[1]
        assert min(low for low, _ in ranges) <= found.tempo_range[0]
        assert found.tempo_range[1] <= max(high for _, high in ranges)


# Swing


def test_swing_falls_as_the_tempo_rises() -> None:
    """Friberg and Sundström 2002: the short note lasts about 100 ms, so 2:1 at 200, 3:2 at 240, even at 300."""
    wanted = {60: 2.0, 132: 2.0, 200: 2.0, 240: 1.5, 300: 1.0, 360: 1.0}
    assert {tempo: swing_ratio(tempo) for tempo in wanted} == pytest.approx(wanted, abs=0.01)
    for tempo in range(200, 301, 10):
        assert 60 / tempo / (1 + swing_ratio(tempo)) == pytest.approx(0.1, abs=0.001)


@pytest.mark.parametrize(
    ("tempo", "asked", "tick"),
    [(132, None, 320), (240, None, 288), (300, None, 240), (132, 1.0, 240), (132, 3.0, 360), (240, 2.0, 320)],
)
def test_off_beats_fall_where_the_swing_puts_them(tempo: int, asked: float | None, tick: int) -> None:
    """Off-beat eighths of every part begin at the tick the ratio gives: 320 of 480 for 2:1, 240 for even, 360 for 3:1."""
    ideas = swinging(tempo=tempo)
    exact = tracks_of(read_file(to_midi(ideas, playing(swing=1.0))))
    found = tracks_of(read_file(to_midi(ideas, playing(swing=asked))))
    for name, sounded in found.items():
        on_paper = sorted(s.onset for s in exact[name])
        moved = {240: tick}
        assert [s.onset for s in sounded] == [n - n % 480 + moved.get(n % 480, n % 480) for n in on_paper]
    assert sum(s.onset % 480 == tick for s in found["Right hand"]) >= 8
    assert sum(s.onset % 480 == tick for s in found["Drums"]) >= 8


@pytest.mark.parametrize("metre", ["6/8", "9/8", "12/8", "4/4", "3/4", "2/2"])
def test_swing_leaves_the_beats_alone(metre: str) -> None:
    """However much the eighths swing, every beat of the metre, plain or dotted, stays in its place (common practice)."""
    rhythm = PACK.rhythm_for(METRES[metre])
    ideas = made(rhythm, metre)
    beat = METRES[metre].beat
    exact = tracks_of(read_file(to_midi(ideas, playing(swing=1.0))))
    swung = tracks_of(read_file(to_midi(ideas, playing(swing=2.0))))
    for name, sounded in exact.items():
        on_beats = {(s.onset, s.midi) for s in sounded if s.onset % beat == 0}
        assert on_beats <= {(s.onset, s.midi) for s in swung[name]}


# The walking bass


WALKS = [
    CHART,
    "| Cmaj7 | Eb7 | Abmaj7 | B7 |",
    "| Fm7 | Bb7 | Ebmaj7 | Ebmaj7 | Am7b5 | D7 | Gm6 | Gm6 |",
    "| C6 A7 | Dm7 G7 | Em7 A7 | D7 G7 |",
    "| F#m7b5 | B7 | Em7 | C#dim7 | D/F# | G | A7sus4 | D |",
    "| B | F | E | Bb |",
]


def test_a_walking_bass_leads_into_the_next_chord() -> None:
    """In beats; chord tones on strong beats; the last beat before a chord lies a half or whole step from its bass."""
    far = []
    for chart in WALKS:
        progression = fillgen.parse_chart(chart)
        line = bass_line(progression, band(PACK, "swing", METRES["4/4"]).a.bass)
        assert [note.onset for note in line] == list(range(0, progression.length, 480))
        assert {note.length for note in line} == {480}
        firsts = {span.onset for span in progression.spans}
        for before, after in pairwise(line):
            if after.onset in firsts and not 1 <= abs(after.midi - before.midi) <= 2:
                far.append((chart, before.onset, before.midi, after.midi))
            elif after.onset not in firsts and before.onset % 960 == 0:
                chord = progression.span_at(before.onset).chord
                assert before.midi % 12 in {tone.name.pitch_class for tone in chord.tones}
    assert not far


def test_a_walking_bass_walks() -> None:
    """A walking line repeats no note within a chord and leaps an octave at most (common practice)."""
    wrong = []
    for chart in WALKS:
        progression = fillgen.parse_chart(chart)
        line = bass_line(progression, band(PACK, "swing", METRES["4/4"]).a.bass)
        for before, after in pairwise(line):
            same = progression.span_at(before.onset) == progression.span_at(after.onset)
            if abs(after.midi - before.midi) > 12 or (same and before.midi == after.midi):
                wrong.append((chart, before.onset, before.midi, after.midi))
    assert not wrong


def test_a_walking_bass_is_one_voice_under_chords_off_the_beat() -> None:
    """Where a chord comes on an off-beat each bass note ends before the next, and none lasts beyond the end."""
    progression = fillgen.parse_chart(CHART)
    first, second, *rest = progression.spans
    early = replace(second, onset=1680, length=240)
    bars = ((replace(first, length=1680), early), (second,), *((span,) for span in rest))
    pushed = replace(progression, bars=bars)
    line = bass_line(pushed, band(PACK, "swing", METRES["4/4"]).a.bass)
    assert 1680 in {note.onset for note in line}
    assert all(a.end <= b.onset for a, b in pairwise(line))
    assert line[-1].end <= pushed.length


# How often, and how it begins and closes


def strokes_of(ideas: Ideas, part: str, **options: Any) -> tuple[Stroke, ...]:
    """What a part plays in the first idea."""
    return Ensemble(ideas, playing(**options)).take(ideas[0]).strokes[part]


@pytest.mark.parametrize("part", PARTS)
def test_three_times_over(part: str) -> None:
    """Three times over the line is the same three times; the band has its other pattern the second time, and a fill leads on."""
    ideas = made("bossa nova", "4/4")
    once, thrice = strokes_of(ideas, part), strokes_of(ideas, part, times=3)
    length = ideas.progression.length
    passes = [
        [replace(s, tick=s.tick - n * length) for s in thrice if n * length <= s.tick < (n + 1) * length]
        for n in range(3)
    ]
    assert passes[0] == list(once)
    first_bar = METRES["4/4"].bar if part == "drums" else 0
    assert [s for s in passes[2] if s.tick >= first_bar] == [s for s in once if s.tick >= first_bar]
    assert (passes[1] == passes[0]) == (part == "right")
    if part == "drums":
        crashes = [[s.tick for s in each if s.midi == percussion("Crash Cymbal 1")] for each in passes]
        assert crashes == [[], [0], [0]]


@pytest.mark.parametrize(
    ("rhythm", "metre", "parts"),
    [("waltz", "3/4", PARTS), ("slow 6/8", "6/8", ("right",)), ("swing", "5/4", PARTS)],
)
def test_a_bar_of_clicks_counts_in(rhythm: str, metre: str, parts: tuple[str, ...]) -> None:
    """Before each idea a bar of clicks, one a beat, the first the loudest, on the drum channel, and nothing else."""
    ideas = made(rhythm, metre)
    file = read_file(to_midi(ideas, Playing(parts=parts, count_in=True)))
    told = tracks_of(file)
    bar, beat = METRES[metre].bar, METRES[metre].beat
    for number in range(len(ideas)):
        start = number * (ideas.progression.length + bar)
        inside = [s for sounded in told.values() for s in sounded if start <= s.onset < start + bar]
        assert [s.onset - start for s in inside] == list(range(0, bar, beat))
        assert inside[0].velocity > max(s.velocity for s in inside[1:])
        assert {s.midi for s in inside} == {37}, "General MIDI percussion 37, Side Stick"
    channels = {e.status & 15 for t in file.tracks for e in t if e.status & 0xF0 == 0x90}
    assert 9 in channels
    assert len(clicks(METRES[metre])) == METRES[metre].beats


def stop_of(ideas: Ideas) -> int:
    """The tick of the last stroke of a close: that of the first idea's last note."""
    last = ideas[0].phrase[-1].onset
    assert last >= ideas.progression.spans[-1].onset
    return last


@pytest.mark.parametrize("part", PARTS)
def test_a_held_close_holds_the_last_stroke_alone(part: str) -> None:
    """Held, the last stroke of each part comes with the last note and lasts to the end of the take; all before is as it was."""
    ideas = made("foxtrot", "4/4")
    plain_, held = strokes_of(ideas, part, swing=1.0), strokes_of(ideas, part, close="held", swing=1.0)
    take = Ensemble(ideas, playing(close="held")).take(ideas[0])
    stop = stop_of(ideas)
    assert take.length == ideas.progression.length + METRES["4/4"].bar
    kept = [replace(s, length=min(s.length, stop - s.tick)) for s in plain_ if s.tick < stop]
    assert [s for s in held if s.tick < stop] == kept
    assert {(s.tick, s.tick + s.length) for s in held if s.tick >= stop} == {(stop, take.length)}


@pytest.mark.parametrize("part", PARTS)
def test_a_button_shortens_the_last_stroke_alone(part: str) -> None:
    """A button is one short stroke of all parts with the last note, louder than it would be; the take is no longer."""
    ideas = made("foxtrot", "4/4")
    plain_, struck = strokes_of(ideas, part, swing=1.0), strokes_of(ideas, part, close="button", swing=1.0)
    stop = stop_of(ideas)
    kept = [replace(s, length=min(s.length, stop - s.tick)) for s in plain_ if s.tick < stop]
    assert [s for s in struck if s.tick < stop] == kept
    final = [s for s in struck if s.tick >= stop]
    assert {(s.tick, s.length <= 240) for s in final} == {(stop, True)}
    if part == "right":
        assert final[0].velocity > plain_[-1].velocity
    assert Ensemble(ideas, playing(close="button")).take(ideas[0]).length == ideas.progression.length


@pytest.mark.parametrize("close", ["held", "button"])
@pytest.mark.parametrize("part", ["left", "drums"])
def test_a_close_is_whole_with_feel(close: str, part: str) -> None:
    """Played with feel, the last chord has all its keys, and is struck once."""
    ideas = made("foxtrot", "4/4")
    last = stop_of(ideas)
    wanted = sorted(s.midi for s in strokes_of(ideas, part, close=close) if s.tick >= last - 60)
    felt = [s for s in strokes_of(ideas, part, close=close, feel=0.5) if s.tick >= last - 60]
    assert sorted(s.midi for s in felt) == wanted


def test_a_fading_close_comes_softer_and_softer() -> None:
    """Fading, two more passes follow, each softer than the one before; the line has the same notes."""
    ideas = made("bossa nova", "4/4")
    length = ideas.progression.length
    for part in PARTS:
        faded = strokes_of(ideas, part, close="fading")
        passes = [[s for s in faded if n * length <= s.tick < (n + 1) * length] for n in range(3)]
        if part == "right":
            assert [[(s.tick % length, s.midi) for s in once] for once in passes[1:]] == [
                [(s.tick, s.midi) for s in passes[0]]
            ] * 2
        for louder, softer in pairwise(passes):
            assert max(s.velocity for s in louder) > max(s.velocity for s in softer)
            assert min(s.velocity for s in louder) > min(s.velocity for s in softer) >= 1
    assert Ensemble(ideas, playing(close="fading")).take(ideas[0]).length == 3 * length


@pytest.mark.parametrize(("rhythm", "metre"), [("waltz", "3/4"), ("slow 6/8", "12/8"), ("march", "2/4")])
def test_slowing_down_along_the_published_curve(rhythm: str, metre: str) -> None:
    """From before the last chord to the last note the tempo is that of Friberg and Sundberg (1999), J. Acoust. Soc. Am.
    105(3), 1469-1484: v(x) = (1 + (v_end^q - 1) x)^(1/q), here with q = 2 and v_end = 0.5; then the tempo is restored.
    """
    ideas = made(rhythm, metre)
    file = read_file(to_midi(ideas, playing(slow_down=True)))
    told = [(e.tick, 60_000_000 / int.from_bytes(e.data, "big")) for e in meta(file, TEMPO)]
    assert told[0] == (0, pytest.approx(ideas.tempo, rel=1e-4))
    for idea, start in zip(ideas, starts(ideas), strict=True):
        end = start + ideas.progression.length
        inside = [(tick, tempo / ideas.tempo) for tick, tempo in told if start < tick < end]
        goal = start + idea.phrase[-1].onset
        first = inside[0][0] - 120
        assert first < start + ideas.progression.spans[-1].onset
        assert goal - first >= METRES[metre].bar
        assert inside[-1] == (goal, pytest.approx(0.5, rel=1e-4))
        for tick, share in inside:
            assert share == pytest.approx((1 - 0.75 * (tick - first) / (goal - first)) ** 0.5, rel=1e-4)
        assert all(b - a <= 120 for (a, _), (b, _) in pairwise(inside))
        assert [tempo for tick, tempo in told if tick == end] == [pytest.approx(ideas.tempo, rel=1e-4)]


# A backing track


@pytest.mark.parametrize(("rhythm", "metre"), [("swing", "4/4"), ("waltz", "3/4"), ("bossa nova", "4/4")])
@pytest.mark.parametrize("feel", [0.0, 1.0])
def test_a_backing_track_is_written_once_and_has_no_seams(rhythm: str, metre: str, feel: float) -> None:
    """Without the right hand one track for all ideas: counted in once, rounds end to end, over on the last bar line."""
    ideas = made(rhythm, metre)
    bar, rounds = METRES[metre].bar, 3
    parts = ("left", "bass", "drums")
    file = read_file(to_midi(ideas, Playing(parts=parts, times=rounds, count_in=True, feel=feel)))
    end = bar + rounds * ideas.progression.length
    assert {track[-1].tick for track in file.tracks} == {end}
    assert [(event.tick, event.text) for event in meta(file, MARKER)] == [(bar, "Backing track")]
    told = tracks_of(file)
    assert told.pop("Backing track") == []
    assert set(told) == {"Left hand", "Bass", "Drums"}
    assert sum(s.midi == 37 for s in told["Drums"] if s.onset < bar) == METRES[metre].beats
    for sounded in told.values():
        assert max(s.onset + s.length for s in sounded) <= end
        ends: dict[int, int] = {}
        for each in sorted(sounded, key=lambda s: s.onset):
            assert each.onset >= ends.get(each.midi, 0), "a key is struck while it is down"
            ends[each.midi] = each.onset + each.length
    if not feel:
        played = [s for s in told["Bass"] if s.onset >= bar]
        once = ideas.progression.length
        firsts = [
            [(s.onset - bar - n * once, s.midi) for s in played if n * once <= s.onset - bar < (n + 1) * once]
            for n in range(rounds)
        ]
        assert firsts[0] == firsts[2]
        assert [first[0] for first in firsts] == [firsts[0][0]] * 3
        assert firsts[0][0][0] == 0


# Feel, the second set, places


@pytest.mark.parametrize(("rhythm", "metre"), [("swing", "4/4"), ("rumba", "4/4"), ("waltz", "3/4")])
def test_feel_is_repeatable_and_small(rhythm: str, metre: str) -> None:
    """With feel the same file comes twice; it differs from the exact one by a few hundredths of a second at most."""
    ideas = made(rhythm, metre)
    felt, exact = to_midi(ideas, playing(feel=1.0)), to_midi(ideas, playing())
    assert felt == to_midi(replace(ideas), playing(feel=1.0))
    assert felt != exact
    there, here = tracks_of(read_file(exact)), tracks_of(read_file(felt))
    for name, sounded in here.items():
        by_pitch = [
            sorted((s.midi, s.onset, s.velocity, s.length) for s in some) for some in (sounded, there[name])
        ]
        moves = [(a[1] - b[1], a[2] - b[2]) for a, b in zip(*by_pitch, strict=True)]
        assert all(abs(late) <= 35 and abs(loud) <= 30 for late, loud in moves)
        assert len(set(moves)) > 3 or not moves
        assert all(s.onset >= 0 and s.length >= 1 and 1 <= s.velocity <= 127 for s in sounded)
    assert to_midi(replace(ideas, seed=77), playing(feel=1.0)) != felt


@pytest.mark.parametrize("close", [None, "held", "button", "fading"])
def test_feel_never_goes_back_in_time(close: str | None) -> None:
    """With feel, clicks, passes and closes together every file is whole and every delta time is at least nought."""
    ideas = made("foxtrot", "4/4")
    data = to_midi(ideas, playing(feel=1.0, close=close, times=2, count_in=True, second_set=True))
    told = tracks_of(read_file(data))
    assert len(told) == 5
    assert all(sounded for name, sounded in told.items() if name in CHANNELS)


def test_drums_of_fine_steps_count_in(tmp_path: Any) -> None:
    """A player's own drums on steps finer than a sixteenth can be counted in, idea after idea."""
    path = tmp_path / "own.toml"
    path.write_text(
        '[[rhythm]]\nname = "fine"\nswing = false\ntempo = 100\ntempo-range = [80, 120]\n'
        '[rhythm.cells."4/4"]\nfew = ["h h"]\nsome = ["q q h"]\nmany = ["q q q q"]\n'
        '[rhythm.closes."4/4"]\nfew = ["w"]\nsome = ["h h"]\nmany = ["q q h"]\n'
        f'[rhythm.drums."4/4"]\n"Closed Hi-hat" = ["{"x" * 96}"]\n'
    )
    pack = RulePack.read(path)
    ideas = fillgen.ideas("| C | F | G7 | C |", rhythm="fine", count=2, rules=pack)
    data = to_midi(ideas, playing(count_in=True, pack=pack))
    assert len(tracks_of(read_file(data))["Drums"]) > 2 * 4 * 96


@pytest.mark.parametrize(("rhythm", "metre"), [("bossa nova", "4/4"), ("waltz", "3/4")])
def test_the_second_set_differs(rhythm: str, metre: str) -> None:
    """On the second pass the left hand takes its second-best way, where there is one, on the third the first again."""
    ideas = made(rhythm, metre)
    length = ideas.progression.length
    lowest = min(note.midi for note in ideas[0].phrase)
    assert len(left_paths(ideas.progression, lowest)) == 2
    struck = strokes_of(ideas, "left", times=3, second_set=True)
    passes = [
        [(s.tick % length, s.midi) for s in struck if n * length <= s.tick < (n + 1) * length]
        for n in range(3)
    ]
    assert passes[0] == passes[2] != passes[1]
    usual = strokes_of(ideas, "left", times=3)
    assert passes[0] == [(s.tick, s.midi) for s in usual if s.tick < length]
    assert passes[1] != [(s.tick % length, s.midi) for s in usual if length <= s.tick < 2 * length]


def test_volume_and_place_are_set() -> None:
    """Each track sets volume (controller 7) and panning (10) once, before its first note."""
    for track in read_file(data_of("waltz", "3/4")).tracks[1:]:
        kinds = [e.status & 0xF0 for e in track]
        changes = {e.data[0]: e.data[1] for e in track if e.status & 0xF0 == 0xB0}
        assert set(changes) == {7, 10}
        assert 40 <= changes[7] <= 127
        assert 32 <= changes[10] <= 96
        assert max(i for i, kind in enumerate(kinds) if kind == 0xB0) < kinds.index(0x90)


def test_sounds_of_the_parts_can_be_chosen() -> None:
    """A sound given for a part sets that part's program and no other's."""
    wanted = {"left": "Drawbar Organ", "bass": "Electric Bass (finger)"}
    score = symusic.Score.from_midi(to_midi(made("waltz", "3/4"), playing(), wanted))
    found = [track.program for track in score.tracks if not track.is_drum]
    assert found == [PROGRAMS["Right hand"], program("Drawbar Organ"), program("Electric Bass (finger)")]
    assert found[1:] == [16, 33]


def test_pedals_lie_on_the_pedals() -> None:
    """A pedal bass keeps to the pedal board, C2 to G4 (36 to 67), and to the same roots."""
    ideas = made("waltz", "3/4")
    keyboard = strokes_of(ideas, "bass", swing=1.0)
    pedals = strokes_of(ideas, "bass", bass="pedals", swing=1.0)
    assert all(36 <= s.midi <= 67 for s in pedals)
    roots = {span.onset for span in ideas.progression.spans}
    assert [s.midi % 12 for s in pedals if s.tick in roots] == [
        s.midi % 12 for s in keyboard if s.tick in roots
    ]
