"""The second voice: chord tones on strong places, no crossing, within reach, alone where the line is quick."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import combinations

import pytest

import fillgen
from fillgen import IdeaNote, Ideas, OptionError, Progression, parse_chart, parse_phrase
from fillgen.hands.fingering import best, best_with_held, holds
from fillgen.hands.playing import SECONDS, Playing
from fillgen.hands.reach import Reach, Stretch, reach
from fillgen.hands.second import LOWEST, QUICKEST, added_keys, with_second
from fillgen.hands.take import Ensemble
from fillgen.teaching.practice import own_ideas
from fillgen.theory.metre import TICKS
from fillgen.writers.text import to_text

CHARTS = (
    ("| F | Gm | C7 | F |", "3/4", "waltz", 3),
    ("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", "4/4", "ballad", 4),
    ("| Em7b5 | A7b9 | Dm6 | Gdim7 C7/Bb |", "4/4", "swing", 5),
    ("| Bb7 | Eb7 | Bb7 | F7 |", "4/4", "shuffle", 5),
    ("| E | C#m | F#m7 | B7sus |", "6/8", None, 3),
)


@cache
def plain(number: int, hand: str = "medium") -> Ideas:
    chart, metre, rhythm, level = CHARTS[number]
    return fillgen.ideas(chart, metre=metre, rhythm=rhythm, level=level, count=12, seed=number, hand=hand)


@cache
def found(number: int, kind: str, hand: str = "medium") -> Ideas:
    return with_second(plain(number, hand), kind)


def thick(ideas: Ideas) -> Iterator[tuple[IdeaNote, tuple[IdeaNote, ...]]]:
    """Each note of the line that has others below it, with those."""
    for idea in ideas:
        yield from ((note, low) for note, low in zip(idea.notes, idea.below(), strict=True) if low)


def own(chart: str, phrase: str) -> Ideas:
    """A phrase in the place of ideas."""
    progression = parse_chart(chart)
    return own_ideas(progression, parse_phrase(phrase, progression.metre), tempo=72)


def voices(ideas: Ideas) -> str:
    """The names below each note of the first idea, a dash where it goes alone."""
    return " ".join("/".join(each.name for each in low) or "-" for low in ideas[0].below())


def over(progression: Progression, note: IdeaNote) -> list[int]:
    """The chords under a note from the second on, or all where it belongs to the first: as masks of pitch classes."""
    starts = [span for span in progression.spans if note.note.onset < span.onset < note.note.end]
    chords = [progression.span_at(note.note.onset).heard, *(span.heard for span in starts)]
    masks = [sum({1 << tone.name.pitch_class for tone in chord.tones}) for chord in chords]
    return masks if masks[0] >> note.note.midi % 12 & 1 else masks[1:] or masks


everywhere = pytest.mark.parametrize("number", range(len(CHARTS)))
every_kind = pytest.mark.parametrize("kind", SECONDS)


# The rules, over many ideas


@pytest.mark.costly
@everywhere
@every_kind
def test_strong_places_have_chord_tones(number: int, kind: str) -> None:
    """A note on a strong beat, or held across one, has nothing below it but tones of every chord it sounds over."""
    ideas = found(number, kind)
    asked = 0
    for note, low in thick(ideas):
        progression, onset = ideas.progression, note.note.onset
        if progression.is_strong(onset) or progression.strong_between(onset, note.note.end):
            asked += 1
            masks = over(progression, note)
            assert all(mask >> each.note.midi % 12 & 1 for mask in masks for each in low)
    assert asked > 12


@everywhere
@every_kind
def test_voices_do_not_cross_or_come_too_near(number: int, kind: str) -> None:
    """The nearest added note is a third or more below, the lowest is D4, thirds and sixths are no wider than a sixth."""
    most = 12 if kind == "chord" else 9
    for note, low in thick(found(number, kind)):
        keys = [each.note.midi for each in (note, *low)]
        assert keys == sorted(set(keys), reverse=True)
        assert 3 <= keys[0] - keys[1] <= most
        assert keys[0] - keys[-1] <= most
        assert keys[-1] >= LOWEST
        assert len(low) == 1 or kind == "chord"


@everywhere
@every_kind
def test_added_notes_do_not_grate_on_the_bass(number: int, kind: str) -> None:
    ideas = found(number, kind)
    for note, low in thick(ideas):
        chord = ideas.progression.span_at(note.note.onset).heard
        bass = chord.bass or chord.root
        assert bass is not None
        for each in low:
            assert each.role == "chord tone" or (each.note.midi - bass.pitch_class) % 12 not in (1, 11)


@everywhere
@every_kind
def test_quick_notes_go_alone(number: int, kind: str) -> None:
    """Sixteenths never have company; a close chord needs a beat or a strong place."""
    ideas = found(number, kind)
    progression = ideas.progression
    for note, _ in thick(ideas):
        onset, length = note.note.onset, note.note.length
        assert length >= TICKS // 2
        assert 2 * length / TICKS * 60 / ideas.tempo > QUICKEST[kind]
        heavy = progression.is_strong(onset) or progression.strong_between(onset, note.note.end)
        assert kind != "chord" or heavy or length >= progression.metre.beat


@pytest.mark.costly
@everywhere
@every_kind
@pytest.mark.parametrize("hand", ["small", "medium"])
def test_every_grip_is_within_the_hand(number: int, kind: str, hand: str) -> None:
    """Fingers never cross, and each two of a grip reach as far as they have to with a half step to spare."""
    own_reach = reach(hand)
    for note, low in thick(found(number, kind, hand)):
        grip = [(each.note.midi, each.finger) for each in (note, *low)]
        for (key, finger), (below, other) in combinations(grip, 2):
            assert finger > other >= 1
            assert key - below < own_reach.between(finger, other).practical[1]


@every_kind
def test_the_left_hand_stays_below(kind: str) -> None:
    ideas = found(0, kind)
    ensemble = Ensemble(ideas, Playing(parts=("right", "left")))
    for idea in ideas:
        strokes = ensemble.take(idea).strokes
        assert max(s.midi for s in strokes["left"]) < min(s.midi for s in strokes["right"])


@every_kind
def test_the_line_stays_as_it_is(kind: str) -> None:
    for idea, before in zip(found(1, kind), plain(1), strict=True):
        assert (idea.phrase, idea.text, idea.score) == (before.phrase, before.text, before.score)


# Single cases


@pytest.mark.parametrize(
    ("chart", "kind", "phrase", "below"),
    [
        ("| Bb | Eb |", "thirds", "D5q Eb5q F5q D5q | G4q Ab4q Bb4q C5q", "Bb4 C5 D5 Bb4 Eb4 F4 G4 Ab4"),
        ("| Bb | Eb |", "sixths", "D5q Eb5q F5q D5q | G4q Ab4q Bb4q C5q", "F4 G4 Bb4 F4 Eb4 - Eb4 Eb4"),
        ("| Gm | D7 |", "thirds", "Bb4q A4q F#4h | G4q F#4e D5e A4h", "G4 - D4 D4 D4 A4 F#4"),
        ("| Cm7 | F7 |", "chord", "Eb5h G5h | A4h C5h", "Bb4/G4 Eb5/Bb4 F4/Eb4 A4/Eb4"),
        ("| Ab |", "thirds", "C5s Db5s C5e Ab4h C5q", "- - Ab4 Eb4 Ab4"),
    ],
)
def test_what_a_player_would_add(chart: str, kind: str, phrase: str, below: str) -> None:
    """Parallel where that goes, the nearest chord tone on strong beats, alone where neither does (read as a musician)."""
    assert voices(with_second(own(chart, phrase), kind)) == below


def test_a_third_outside_the_chord_gives_way_on_a_strong_beat() -> None:
    """Under the tonic it is the fourth below; common practice."""
    assert voices(with_second(own("| Bb |", "Bb4h D5h"), "thirds")) == "F4 Bb4"


def test_a_seventh_on_the_bass_is_left_out() -> None:
    """Bb over Ab would have G below, a major seventh above the bass."""
    assert voices(with_second(own("| Ab |", "C5q Bb4q Ab4h"), "thirds")) == "Ab4 - Eb4"


def test_a_key_of_two_kinds_is_not_heard_side_by_side() -> None:
    """A over Gm has no F below while F# comes next; without F# it has."""
    assert voices(with_second(own("| Gm |", "Bb4q A4q F#4h"), "thirds")) == "G4 - D4"
    assert voices(with_second(own("| Gm |", "Bb4q A4q G4h"), "thirds")) == "G4 F4 D4"


def test_a_held_note_needs_a_tone_of_both_chords() -> None:
    """Under F5 from F into Bb nothing but another F belongs to both."""
    assert voices(with_second(own("| F | Bb |", "A4h F5h~ | F5h D5h"), "sixths")) == "F4 - F4"


def test_an_anticipation_belongs_to_the_chord_to_come() -> None:
    assert voices(with_second(own("| Eb | Bb7 |", "G5h. Ab5q~ | Ab5h F5h"), "thirds")) == "Eb5 F5 D5"


def test_no_chord_has_no_company() -> None:
    assert voices(with_second(own("| Bb | N.C. |", "D5h F5h | D5w"), "thirds")) == "Bb4 D5 -"


def test_swung_off_beats_are_quicker_than_they_look() -> None:
    """At 152, eighths last 0.2 s, and those between the beats 0.13 s where they swing."""
    phrase = replace(own("| Eb |", "G5e F5e G5e F5e G5h"), tempo=152)
    straight, swung = (
        [bool(low) for low in with_second(phrase, "sixths", ratio)[0].below()] for ratio in (1, 2)
    )
    assert (straight, swung) == ([True] * 5, [True, False, True, False, True])


def test_what_a_hand_cannot_take_is_left_out() -> None:
    """A hand whose fingers reach no farther than a third plays thirds, and no fourths."""
    stretch = Stretch((1, 5), (1, 4), (1, 3))
    tight = Reach("tight", ((stretch,) * 5,) * 5)
    ideas = own("| Bb |", "Bb4h D5h")
    keys = added_keys(ideas.progression, ideas[0].notes, "thirds", tight, 72)
    assert keys == [(), (70,)]
    assert added_keys(ideas.progression, ideas[0].notes, "thirds", reach(), 72) == [(65,), (70,)]


def test_an_unknown_second_voice_is_refused() -> None:
    with pytest.raises(OptionError, match="sixths"):
        with_second(own("| Bb |", "Bb4h D5h"), "sixth")


# Fingers


def test_thirds_take_the_usual_fingers() -> None:
    """A scale of five thirds in one position: 1-3, 2-4, 3-5. Common practice of every book of scales in thirds."""
    assert best_with_held([(64, 60), (65, 62), (67, 64)], reach()) == [(3, 1), (4, 2), (5, 3)]


def test_a_line_by_itself_keeps_its_fingers() -> None:
    line = [(60,), (62,), (64,), (65,), (67,), (67,), (72,)]
    assert tuple(own for (own,) in best_with_held(line, reach())) == best([key for (key,) in line])


def test_a_grip_beyond_reach_has_no_fingers() -> None:
    """A medium hand holds a ninth, no tenth and a half; the thumb never plays above another finger."""
    assert holds((76, 62), reach())
    assert not holds((77, 62), reach())
    assert 1 not in holds((64, 60), reach())
    with pytest.raises(OptionError, match="can't hold"):
        best_with_held([(80, 60)], reach())


# In text and sound


@every_kind
def test_each_lower_voice_reads_back_from_the_text(kind: str) -> None:
    """The lines `second` and `third` are phrase text: put together they are the notes that were added."""
    for idea in found(1, kind)[:4]:
        alone = replace(found(1, kind), ideas=(idea,))
        rows: dict[str, str] = {}
        for line in to_text(alone, width=400).splitlines():
            head, bar, rest = line.partition(" | ")
            if bar and head.strip() in ("second", "third"):
                rows[head.strip()] = rows.get(head.strip(), "") + f" | {rest.strip().strip('|')}"
        notes = [note for row in rows.values() for note in parse_phrase(row, alone.progression.metre)]
        assert sorted(notes, key=lambda note: (note.onset, -note.midi)) == [each.note for each in idea.second]


def test_the_added_notes_are_softer() -> None:
    ideas = found(0, "chord")
    for idea in ideas:
        strokes = Ensemble(ideas, Playing()).take(idea).strokes["right"]
        assert len(strokes) == len(idea.notes) + len(idea.second)
        line = {(note.onset, note.midi): 0 for note in idea.phrase}
        loud = {stroke.tick: stroke.velocity for stroke in strokes if (stroke.tick, stroke.midi) in line}
        assert all(s.velocity < loud[s.tick] for s in strokes if (s.tick, s.midi) not in line)


def test_ideas_without_one_have_none() -> None:
    ideas = fillgen.ideas("| Eb | Bb7 |", count=3)
    assert all(not idea.second and not any(idea.below()) for idea in ideas)
