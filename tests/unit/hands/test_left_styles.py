"""How the left hand plays its chords, with its pedal, and how parts come in one by one."""

from __future__ import annotations

import io
from collections import defaultdict
from functools import cache

import mido
import pytest

import fillgen
from fillgen.app.options import PlayOptions
from fillgen.errors import OptionError
from fillgen.hands.playing import PARTS, Playing, played_as
from fillgen.hands.stroke import Stroke
from fillgen.hands.take import Ensemble, Take
from fillgen.rules.pack import RulePack
from fillgen.writers.midi import to_midi

CHART = "| Ebmaj7 | Cm7 | Fm7 | Bb7 |"


@cache
def ideas_of(rhythm: str) -> fillgen.Ideas:
    return fillgen.ideas(CHART, rhythm=rhythm, count=1, seed=3)


def take_of(rhythm: str, left: str | None = None, close: str | None = None, feel: float = 0.0) -> Take:
    ideas = ideas_of(rhythm)
    playing = Playing(parts=PARTS, left=left, close="held" if close else None, feel=feel, swing=1.0)
    return Ensemble(ideas, playing).take(ideas[0])


def struck(strokes: tuple[Stroke, ...]) -> dict[int, list[int]]:
    found: dict[int, list[int]] = defaultdict(list)
    for s in strokes:
        found[s.tick].append(s.midi)
    return found


def test_a_ballad_breaks_its_chords_unless_asked_otherwise() -> None:
    """One key at a time, of the chord, each held until it is struck again or the chord is over (common practice)."""
    left = take_of("ballad").strokes["left"]
    assert all(len(keys) == 1 for keys in struck(left).values())
    assert sorted(struck(left)) == list(range(0, 4 * 1920, 240))
    for s in left:
        chord = ideas_of("ballad").progression.span_at(s.tick)
        assert s.midi % 12 in {tone.name.pitch_class for tone in chord.chord.tones}
        later = [other.tick for other in left if other.midi == s.midi and other.tick > s.tick]
        assert s.tick + s.length == min([chord.end, *later])
    assert any(len(keys) > 2 for keys in struck(take_of("ballad", "rhythm").strokes["left"]).values())


def test_a_close_strikes_the_whole_chord() -> None:
    """However the chord was broken before, its keys are struck together at the end, with the last note."""
    ideas = ideas_of("ballad")
    left = take_of("ballad", close="held").strokes["left"]
    stop = max(s.tick for s in left)
    assert stop == max(s.tick for s in take_of("ballad", close="held").strokes["right"])
    assert len([s for s in left if s.tick == stop]) >= 3
    assert ideas.progression.spans[-1].onset <= stop


def test_held_chords_last_as_long_as_they_are_written() -> None:
    left = take_of("swing", "held").strokes["left"]
    assert sorted(struck(left)) == [span.onset for span in ideas_of("swing").progression.spans]
    assert {s.length for s in left} == {1920}


def test_strummed_chords_are_struck_string_by_string() -> None:
    """From the lowest string on the beat, from the highest off it, all within a twentieth of a second (common practice)."""
    whole = struck(take_of("country", "rhythm").strokes["left"])
    strings = take_of("country", feel=0.01).strokes["left"]
    assert struck(take_of("country").strokes["left"]) == whole
    assert all(len(keys) == 1 for keys in struck(strings).values())
    tick = 60_000 / 480 / ideas_of("country").tempo
    for onset, keys in whole.items():
        own = sorted((s for s in strings if 0 <= s.tick - onset < 100), key=lambda s: s.tick)
        assert [s.midi for s in own] == sorted(keys, reverse=onset % 480 != 0)
        assert 0 < (own[-1].tick - onset) * tick <= 50
    assert sum(onset % 480 != 0 for onset in whole) >= 1


@pytest.mark.parametrize(
    ("sound", "left"),
    [("Drawbar Organ", "held"), ("26", "strummed"), ("String Ensemble 1", "held"), ("1", None)],
)
def test_the_sound_of_the_left_hand_chooses(sound: str, left: str | None) -> None:
    """General MIDI System Level 1: 17 to 24 are organs, 25 to 32 guitars, 41 to 56 strings and ensembles."""
    assert played_as(PlayOptions(sound=(f"left={sound}",)), RulePack())[0].left == left
    assert played_as(PlayOptions(sound=(f"left={sound}",), left="broken"), RulePack())[0].left == "broken"


def test_the_pedal_changes_with_the_chords() -> None:
    """Controller 64 (General MIDI) goes up with each new chord and down after it, and stays up at the end."""
    ideas = ideas_of("ballad")
    file = mido.MidiFile(file=io.BytesIO(to_midi(ideas, Playing(parts=("left",), feel=0.3))))
    at, found = 0, []
    for message in file.tracks[1]:
        at += message.time
        if message.type == "control_change" and message.control == 64:
            found.append((at, message.value))
    changes = [span.onset for span in ideas.progression.spans]
    assert [tick for tick, value in found if value == 0] == [*changes, ideas.progression.length]
    assert [tick - 60 for tick, value in found if value == 127] == changes
    assert take_of("ballad").pedal == ()
    assert take_of("ballad", "held", feel=0.3).pedal == ()
    assert take_of("swing", feel=0.3).pedal == ()


def test_an_intro_begins_thin() -> None:
    """Right and left hand at once, the bass a bar later, the drums after two; together where that is asked for."""
    ideas = ideas_of("swing")
    for options, starts in ((PlayOptions(), (0, 1920, 3840)), (PlayOptions(enter="together"), (0, 0, 0))):
        playing, _ = played_as(options, RulePack(), purpose="intro")
        take = Ensemble(ideas, playing).take(ideas[0])
        first = [min(s.tick for s in take.strokes[part]) for part in ("left", "bass", "drums")]
        assert all(0 <= tick - start + 20 < 60 for tick, start in zip(first, starts, strict=True))
    assert played_as(PlayOptions(), RulePack(), purpose="ending")[0].enter == "together"


@pytest.mark.parametrize(
    ("options", "near"), [(PlayOptions(left="brokn"), "broken"), (PlayOptions(enter="thn"), "thin")]
)
def test_unknown_words_are_named(options: PlayOptions, near: str) -> None:
    with pytest.raises(OptionError) as caught:
        played_as(options, RulePack())
    assert near in str(caught.value.hint)
