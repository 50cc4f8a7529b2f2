"""The left hand: voicings, movement, paths, words, keyboards, text and document on cases made by hand."""

from __future__ import annotations

import json
from dataclasses import FrozenInstanceError

import pytest

from fillgen.chart.text import parse_chart
from fillgen.errors import OptionError
from fillgen.hands.voicing import (
    LOW_LIMITS,
    MOST_PATHS,
    Hand,
    Pitches,
    Voicing,
    best_paths,
    held_tones,
    matching,
    movement,
    moves_in_words,
    voicings,
)
from fillgen.theory.chords import read_chord
from fillgen.theory.pitch import interval_in_words, read_pitch
from fillgen.writers.document import chart_document
from fillgen.writers.keyboard import keyboard_text
from fillgen.writers.voicings import voicings_document, voicings_text

EVERYWHERE = Hand(0, 127)


def keys(names: str) -> Pitches:
    """Scientific names as MIDI numbers."""
    return tuple(map(read_pitch, names.split()))


def held(symbol: str, names: str, *, thin: bool = False, spread: bool = False) -> Voicing:
    """The voicing of a chord on the keys of those names."""
    found = voicings(read_chord(symbol), Hand(0, 127, thin=thin, spread=spread))
    return next(voicing for voicing in found if voicing.pitches == keys(names))


def named(symbol: str, hand: Hand | None = None) -> list[str]:
    """The voicings of a chord, by the names of their keys."""
    return [" ".join(voicing.names) for voicing in voicings(read_chord(symbol), hand or Hand())]


# Voicings


def test_inversions_of_a_triad() -> None:
    """A triad has a root position and two inversions, each as high as the register lets it."""
    assert named("C", Hand(48, 67)) == ["E3 G3 C4", "G3 C4 E4", "C4 E4 G4"]
    found = voicings(read_chord("C"), Hand(48, 67))
    assert [voicing.inversion for voicing in found] == [1, 2, 0]


def test_inversions_of_a_seventh_chord() -> None:
    """A seventh chord has three inversions; each is known by its lowest tone."""
    found = voicings(read_chord("Dm7"), Hand(57, 76))
    assert [(" ".join(voicing.names), voicing.position) for voicing in found] == [
        ("A3 C4 D4 F4", "second inversion"),
        ("C4 D4 F4 A4", "third inversion"),
        ("D4 F4 A4 C5", "root position"),
        ("F4 A4 C5 D5", "first inversion"),
    ]


def test_keys_are_spelled_as_the_chord_has_them() -> None:
    """A flat of the chord is a flat on the key, and an octave's number follows the letter."""
    assert held("Gb7", "Gb3 Bb3 Db4 Fb4").names == ("Gb3", "Bb3", "Db4", "Fb4")
    assert held("Abm", "Ab3 Cb4 Eb4").names == ("Ab3", "Cb4", "Eb4")


def test_tones_stand_beside_their_keys() -> None:
    """Each key has the tone of the chord that it sounds."""
    voicing = held("C7", "E3 G3 Bb3 C4")
    assert [tone.degree.text for tone in voicing.tones] == ["3", "5", "b7", "1"]
    assert [str(tone.name) for tone in voicing.tones] == ["E", "G", "Bb", "C"]


@pytest.mark.parametrize(
    ("symbol", "names", "position"),
    [
        ("Am", "A3 C4 E4", "root position"),
        ("Am", "C4 E4 A4", "first inversion"),
        ("Am", "E4 A4 C5", "second inversion"),
        ("C6", "A3 C4 E4 G4", "third inversion"),
        ("Bdim7", "Ab3 B3 D4 F4", "third inversion"),
        ("Csus4", "F3 G3 C4", "fourth at the bottom"),
        ("Csus2", "D4 G4 C5", "second at the bottom"),
        ("C5", "G3 C4", "fifth at the bottom"),
        ("C5", "C3 G3", "root at the bottom"),
        ("Cadd9", "D4 E4 G4 C5", "ninth at the bottom"),
        ("C9", "D4 E4 Bb4 C5", "ninth at the bottom"),
        ("C7b9", "Db4 E4 Bb4 C5", "ninth at the bottom"),
        ("C13", "Bb3 D4 E4 A4", "seventh at the bottom"),
        ("C13", "A3 Bb3 D4 E4", "thirteenth at the bottom"),
        ("Cm11", "F3 Bb3 D4 Eb4", "eleventh at the bottom"),
        ("C6/9", "E3 A3 C4 D4", "third at the bottom"),
    ],
)
def test_positions_in_words(symbol: str, names: str, position: str) -> None:
    """Whole triads, sixths and sevenths have inversions; of other chords the lowest tone is named."""
    assert held(symbol, names).position == position


def test_a_thinned_chord_is_known_by_its_lowest_tone() -> None:
    """With a tone left out it is said which tone is at the bottom."""
    assert held("C7", "E3 Bb3 C4", thin=True).position == "third at the bottom"
    assert held("C", "E3 G3 C4", thin=True).position == "first inversion"


def test_spread_forms_are_wider_than_an_octave() -> None:
    """A close position opens by its second key from the top going down an octave, up to a tenth wide."""
    assert named("C", Hand(48, 64, spread=True)) == ["C3 G3 E4", "E3 G3 C4", "G3 C4 E4"]
    opened = held("C", "C3 G3 E4", spread=True)
    assert (opened.spread, opened.width, opened.position) == (True, 16, "root position, spread")
    assert not held("C", "C4 E4 G4", spread=True).spread


def test_spread_forms_of_a_seventh_chord() -> None:
    """Of four keys the second from the top goes down, the other three stay."""
    wide = [voicing for voicing in voicings(read_chord("G7"), Hand(48, 72, spread=True)) if voicing.spread]
    assert [" ".join(voicing.names) for voicing in wide] == [
        "D3 G3 B3 F4",
        "F3 B3 D4 G4",
        "G3 D4 F4 B4",
    ]


def test_a_wider_span_lets_wider_spread_forms_in() -> None:
    """Spread forms end at a tenth, unless the span is wider still."""
    assert [v.width for v in voicings(read_chord("Csus4"), Hand(48, 72, spread=True)) if v.spread] == [14]
    wider = voicings(read_chord("Csus4"), Hand(48, 72, 17, spread=True))
    assert {voicing.width for voicing in wider if voicing.spread} == {14, 17}


def test_a_narrow_span_leaves_the_narrow_inversions() -> None:
    """A hand that reaches a fifth holds a triad in root position only."""
    assert {voicing.inversion for voicing in voicings(read_chord("C"), Hand(48, 84, 7))} == {0}
    assert {voicing.inversion for voicing in voicings(read_chord("C"), Hand(48, 84, 8))} == {0, 1}
    assert {voicing.inversion for voicing in voicings(read_chord("C"), Hand(48, 84, 9))} == {0, 1, 2}


def test_seconds_and_thirds_stay_clear_of_the_bottom() -> None:
    """Below E3 there is a fourth at least between neighbours, below Bb2 a fifth."""
    assert named("Fmaj7", Hand(40, 64)) == ["E3 F3 A3 C4", "F3 A3 C4 E4"]
    assert named("F7", Hand(40, 63)) == ["F3 A3 C4 Eb4"]
    assert named("C5", Hand(36, 48)) == ["C2 G2"]


@pytest.mark.parametrize(
    ("symbol", "hand", "names"),
    [
        ("Fm11", Hand(48, 64), ["Eb3 Ab3 Bb3", "Ab3 Bb3 Eb4"]),
        ("A7b13", Hand(48, 64), ["F3 G3 C#4"]),
        ("F7", Hand(40, 60), ["Eb3 A3 C4"]),
        ("C9", Hand(48, 64), ["E3 G3 Bb3 D4", "G3 Bb3 D4 E4"]),
        ("Bm7b5", Hand(48, 58), ["D3 A3"]),
    ],
)
def test_without_mud_a_chord_has_fewer_keys(symbol: str, hand: Hand, names: list[str]) -> None:
    """Where no full form is clear and free of clusters, the chord keeps what says most."""
    assert named(symbol, hand) == names
    assert not any(voicing.reason for voicing in voicings(read_chord(symbol), hand))


def test_the_least_bad_has_a_reason() -> None:
    """A hand that has no room for anything clear takes what lacks least, and says what is wrong."""
    found = voicings(read_chord("Eb"), Hand(39, 46))
    assert found
    assert {voicing.reason for voicing in found} <= {limit.reason for limit in LOW_LIMITS}
    assert found == voicings(read_chord("Eb"), Hand(39, 46))


@pytest.mark.parametrize(
    ("symbol", "kept"),
    [
        ("C7", "3 5 b7"),
        ("C", "1 3 5"),
        ("C7/E", "1 3 5 b7"),
        ("C7/C", "3 5 b7"),
        ("Cm9", "b3 5 b7 9"),
        ("C6", "3 5 6"),
    ],
)
def test_a_rootless_hand_leaves_the_root_to_the_bass(symbol: str, kept: str) -> None:
    """Chords of four tones and more lose the root where the bass plays it; triads, and chords over another bass, keep it."""
    assert [tone.degree.text for tone in held_tones(read_chord(symbol), 4, rootless=True)] == kept.split()
    hand = Hand(53, 76, rootless=True)
    assert all(
        {tone.degree.text for tone in voicing.tones} == {*kept.split()}
        for voicing in voicings(read_chord(symbol), hand)
    )


def test_low_limits_tell_their_reasons() -> None:
    """The limits rise as the intervals get smaller, and each has a reason."""
    assert [(limit.below, limit.semitones) for limit in LOW_LIMITS] == [(46, 7), (52, 5)]
    assert all(limit.reason for limit in LOW_LIMITS)


def test_a_slash_bass_changes_nothing() -> None:
    """The bass after a slash is not the left hand's: the same keys are held."""
    plain, slash = (voicings(read_chord(symbol), Hand()) for symbol in ("C7", "C7/F#"))
    assert [voicing.pitches for voicing in plain] == [voicing.pitches for voicing in slash]


def test_no_chord_has_no_voicing() -> None:
    """Over N.C. there is nothing to hold."""
    assert voicings(read_chord("N.C."), Hand()) == ()


@pytest.mark.parametrize(
    ("symbol", "most", "kept"),
    [
        ("C", 4, "1 3 5"),
        ("C", 3, "1 3 5"),
        ("C7", 4, "1 3 5 b7"),
        ("C7", 3, "1 3 b7"),
        ("Caug", 3, "1 3 #5"),
        ("C7#5", 3, "3 #5 b7"),
        ("Cadd9", 3, "1 3 9"),
        ("C7alt", 4, "3 b7 #11 b13"),
        ("C13b5", 4, "3 b5 b7 13"),
        ("C13b5", 3, "3 b5 b7"),
        ("C5", 3, "1 5"),
        ("Csus24", 3, "1 2 4"),
    ],
)
def test_what_a_hand_keeps_of_a_chord(symbol: str, most: int, kept: str) -> None:
    """The perfect fifth goes first, then the root, then the lowest tensions."""
    assert [tone.degree.text for tone in held_tones(read_chord(symbol), most)] == kept.split()


# Hands


def test_hands_are_values() -> None:
    """A hand cannot be changed, and equal hands are equal."""
    assert Hand() == Hand(48, 67, 12, thin=False, spread=False, rootless=False)
    with pytest.raises(FrozenInstanceError):
        Hand().low = 50  # type: ignore[misc]


@pytest.mark.parametrize(("low", "high"), [(64, 48), (-1, 60), (60, 128)])
def test_a_register_without_keys_is_refused(low: int, high: int) -> None:
    """The register runs upwards, within the keys there are."""
    with pytest.raises(OptionError, match=f"^register: the register from {low} to {high} has no keys"):
        Hand(low, high)


@pytest.mark.parametrize(("span", "spread"), [(0, False), (17, False), (0, True), (20, True)])
def test_a_span_no_hand_has_is_refused(span: int, spread: bool) -> None:
    """The span is a tenth at most, with spread forms an octave and a fifth."""
    with pytest.raises(OptionError, match=r"^span: .* The span is 1 to 16, with spread forms 1 to 19"):
        Hand(span=span, spread=spread)


@pytest.mark.parametrize(("span", "spread"), [(1, False), (16, False), (19, True)])
def test_the_widest_spans_are_taken(span: int, spread: bool) -> None:
    """The ends of what is offered are offered."""
    assert Hand(span=span, spread=spread).span == span


# Movement


@pytest.mark.parametrize(
    ("before", "after", "total", "largest", "common"),
    [
        ("C4 E4 G4", "C4 E4 G4", 0, 0, 3),
        ("C4 E4 G4", "C4 E4 A4", 2, 2, 2),
        ("C4 E4 G4", "C4 F4 A4", 3, 2, 1),
        ("C4 E4 G4", "B3 D4 G4", 3, 2, 1),
        ("C4 E4 G4", "D4 F#4 A4", 6, 2, 0),
        ("C4 E4 G4", "C5 E5 G5", 36, 12, 0),
        ("C4 E4", "E4 G#4", 8, 4, 1),
        ("A3 C4 E4", "G3 A3 C4 E4", 2, 2, 3),
        ("G3 A3 C4 E4", "A3 C4 E4", 2, 2, 3),
        ("C4 G4", "C4 E4 G4 Bb4", 6, 3, 2),
        ("C4 D4", "C4 E4 G4 B4", 16, 9, 1),
    ],
)
def test_movement_by_hand(before: str, after: str, total: int, largest: int, common: int) -> None:
    """Semitones in all, the largest move, and the keys held on, counted by hand."""
    moved = movement(keys(before), keys(after))
    assert (moved.total, moved.largest, moved.common) == (total, largest, common)


def test_keys_that_share_lie_side_by_side() -> None:
    """Where keys are added each shares with its nearest; where they are left out likewise."""
    assert matching((60, 67), (60, 64, 67, 70)) == ((60, 60), (67, 64), (67, 67), (67, 70))
    assert matching((60, 64, 67, 70), (60, 67)) == ((60, 60), (64, 67), (67, 67), (70, 67))


def test_of_equal_matchings_fewer_keys_move() -> None:
    """Two keys that move a step are better than one that moves a step and two that move a half step."""
    assert matching((60, 61, 64), (58, 60, 63, 64)) == ((60, 58), (60, 60), (61, 63), (64, 64))


def test_of_equal_matchings_the_largest_move_is_small() -> None:
    """Where both ways add up to the same the one without the larger move is taken."""
    assert matching((60, 63, 64), (60, 61, 64, 65)) == ((60, 60), (60, 61), (63, 64), (64, 65))


# Paths


def paths_of(chart: str, hand: Hand | None = None, count: int = 3) -> list[list[str]]:
    """The paths through a chart, by the names of their keys; nothing over N.C."""
    found = best_paths(parse_chart(chart, key="C"), hand, count)
    return [[" ".join(voicing.names) if voicing else "" for voicing in path.voicings] for path in found]


def test_the_way_that_moves_least() -> None:
    """C Am F C: one note or two move at each change."""
    assert paths_of("C | Am | F | C", Hand(52, 67), 1) == [["G3 C4 E4", "A3 C4 E4", "A3 C4 F4", "G3 C4 E4"]]


def test_a_better_start_is_found_from_the_end() -> None:
    """The last chord has one voicing only, and the first is chosen for it."""
    assert paths_of("C | G7", Hand(55, 65), 1) == [["G3 C4 E4", "G3 B3 D4 F4"]]


def test_a_repeated_chord_is_held() -> None:
    """A chord that comes again, another bass under it or N.C. between, is held on every path."""
    found = best_paths(parse_chart("C | C | C/E | N.C. | C | F", key="C"), Hand(48, 72))
    for path in found:
        pitches = [voicing.pitches for voicing in path.voicings[:5] if voicing]
        assert len(pitches) == 4
        assert len({*pitches}) == 1
        assert path.moves[:5] == (0, 0, 0, 0, 0)
    assert [voicing.chord.symbol for voicing in found[0].voicings if voicing] == ["C", "C", "C/E", "C", "F"]


def test_over_no_chord_the_hand_stays() -> None:
    """Movement is counted from the chord that was held before N.C."""
    progression = parse_chart("N.C. | C | N.C. | F | N.C.", key="C")
    path = best_paths(progression, Hand(48, 67))[0]
    assert [voicing is None for voicing in path.voicings] == [True, False, True, False, True]
    assert path.moves == (0, 0, 0, 3, 0)
    assert path.movement == 3
    assert path.before[:2] == (None, None)
    assert path.before[2] == path.before[3] == path.voicings[1]


def test_paths_are_different_and_in_order() -> None:
    """No path comes twice, and none moves less than the one before it."""
    found = best_paths(parse_chart("Eb | Gm | Ab | Bb7", key="Eb"), Hand(48, 72), 50)
    assert len({tuple(v.pitches for v in path.voicings if v) for path in found}) == len(found) == 50
    assert [path.movement for path in found] == sorted(path.movement for path in found)


def test_all_paths_where_these_are_fewer() -> None:
    """As many paths come as there are."""
    assert paths_of("C", Hand(48, 64), 10) == [["E3 G3 C4"], ["G3 C4 E4"]]


def test_of_equal_paths_the_one_nearest_to_the_middle_comes_first() -> None:
    """Where nothing moves the register decides, then the lower keys."""
    assert paths_of("C", Hand(48, 67), 4) == [["E3 G3 C4"], ["G3 C4 E4"], ["C4 E4 G4"]]


def test_the_usual_hand_is_used_where_none_is_given() -> None:
    """Without a hand it is the usual one, and three paths."""
    progression = parse_chart("| Bmaj7 | D#m7 | Emaj7 | F#7 |")
    assert best_paths(progression) == best_paths(progression, Hand(), 3)
    assert len(best_paths(progression)) == 3


@pytest.mark.parametrize(
    ("hand", "hint"),
    [
        (Hand(48, 65, 2), "A wider span, such as 12 semitones, would leave some."),
        (Hand(61, 64), "A wider register, such as C3 to E5, would leave some."),
        (Hand(61, 64, 2), "A wider register together with a wider span would leave some."),
    ],
)
def test_where_there_is_no_voicing_a_way_on_is_named(hand: Hand, hint: str) -> None:
    """The error names the bar and the chord, and the settings that would give it a voicing."""
    with pytest.raises(OptionError) as caught:
        best_paths(parse_chart("| N.C. | N.C. Dm7 |", key="C"), hand)
    assert str(caught.value).startswith(
        "bar 2: the left hand has no voicing of Dm7 in its register and span. "
    )
    assert caught.value.place == "bar 2"
    assert caught.value.hint == hint


@pytest.mark.parametrize("count", [0, -1, MOST_PATHS + 1])
def test_a_count_outside_what_is_offered_is_refused(count: int) -> None:
    """One path at least, a hundred at most."""
    with pytest.raises(OptionError, match=f"^count: {count} is out of range. Give 1 to 100"):
        best_paths(parse_chart("C"), count=count)


# Words


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (("C", "C4 E4 G4"), ("C", "C4 E4 G4"), "the same keys"),
        (("Am7", "A3 C4 E4 G4"), ("C6", "A3 C4 E4 G4"), "the same keys"),
        (("C", "C4 E4 G4"), ("Am", "C4 E4 A4"), "only the top note moves, up a whole step"),
        (("C", "C4 E4 G4"), ("Em", "B3 E4 G4"), "only the lowest note moves, down a half step"),
        (("C", "C4 E4 G4"), ("Cm", "C4 Eb4 G4"), "only the middle note moves, down a half step"),
        (("Cmaj7", "C4 E4 G4 B4"), ("C7", "C4 E4 G4 Bb4"), "only the top note moves, down a half step"),
        (("Cmaj7", "C4 E4 G4 B4"), ("Am7", "C4 E4 G4 A4"), "only the top note moves, down a whole step"),
        (
            ("C7", "C4 E4 G4 Bb4"),
            ("Cm7", "C4 Eb4 G4 Bb4"),
            "only the lower middle note moves, down a half step",
        ),
        (
            ("Cm7", "C4 Eb4 G4 Bb4"),
            ("Cm7b5", "C4 Eb4 Gb4 Bb4"),
            "only the upper middle note moves, down a half step",
        ),
        (
            ("C", "C4 E4 G4"),
            ("F", "C4 F4 A4"),
            "one note stays, the middle goes up a half step, the top goes up a whole step",
        ),
        (("C", "C4 E4 G4"), ("D", "D4 F#4 A4"), "all three notes go up a whole step"),
        (("C7", "C4 E4 G4 Bb4"), ("B7", "B3 D#4 F#4 A4"), "all four notes go down a half step"),
        (("C5", "C4 G4"), ("F5", "F4 C5"), "both notes go up a fourth"),
        (
            ("C", "C4 E4 G4"),
            ("Dm", "D4 F4 A4"),
            "the lowest and top go up a whole step, the middle goes up a half step",
        ),
        (
            ("Dm7", "C4 D4 F4 A4"),
            ("G7", "B3 D4 F4 G4"),
            "two notes stay, the lowest goes down a half step, the top goes down a whole step",
        ),
        (
            ("C#dim7", "C#4 E4 G4 Bb4"),
            ("C7", "C4 E4 G4 Bb4"),
            "only the lowest note moves, down a half step",
        ),
        (("Am", "A3 C4 E4"), ("Am7", "G3 A3 C4 E4"), "one key is added: G"),
        (("Am7", "G3 A3 C4 E4"), ("Am", "A3 C4 E4"), "one key is left out: G"),
        (("C5", "C4 G4"), ("C7", "C4 E4 G4 Bb4"), "two keys are added: E and Bb"),
        (("C7", "C4 E4 G4 Bb4"), ("C5", "C4 G4"), "two keys are left out: E and Bb"),
        (
            ("F", "C4 F4 A4"),
            ("G7", "B3 D4 F4 G4"),
            "one note stays, the lowest goes down a half step, the top goes down a whole step, one key is added: D",
        ),
        (("C", "C4 E4 G4"), ("C", "C5 E5 G5"), "all three notes go up an octave"),
    ],
)
def test_moves_in_words(before: tuple[str, str], after: tuple[str, str], words: str) -> None:
    """What stays, what moves and by how much, and what is added or left out, in plain words."""
    assert moves_in_words(held(*before), held(*after)) == words


def test_the_first_chord_and_no_chord_in_words() -> None:
    """At the start nothing moves; over N.C. the hand stays."""
    voicing = held("C", "C4 E4 G4")
    assert moves_in_words(None, voicing) == "start here"
    assert moves_in_words(voicing, None) == moves_in_words(None, None) == "no chord, the hand stays"


def test_every_interval_has_a_name() -> None:
    """From the half step to two octaves, up or down alike."""
    words = [interval_in_words(semitones) for semitones in range(1, 25)]
    assert words == [interval_in_words(-semitones) for semitones in range(1, 25)]
    assert interval_in_words(0) == "the same note"
    assert words[:4] == ["a half step", "a whole step", "a minor third", "a major third"]
    assert words[4:8] == ["a fourth", "a tritone", "a fifth", "a minor sixth"]
    assert words[8:14] == [
        "a major sixth",
        "a minor seventh",
        "a major seventh",
        "an octave",
        "an octave and a half step",
        "an octave and a whole step",
    ]
    assert words[-1] == "2 octaves"
    assert len({*words}) == 24


# Keyboards


def test_keyboard_of_an_octave() -> None:
    """White keys between lines, black keys over the lines, O where a key is held."""
    assert keyboard_text(keys("C3 E3 G3 Bb3"), 48, 59) == [
        "  # #   # # O",
        "|O|_|O|_|O|_|_|",
        " C3",
    ]


def test_keyboard_without_held_keys() -> None:
    """An empty keyboard has two black keys, a gap, and three black keys to an octave."""
    assert keyboard_text([], 60, 84) == [
        "  # #   # # #   # #   # # #",
        "|_|_|_|_|_|_|_|_|_|_|_|_|_|_|_|",
        " C4            C5            C6",
    ]


def test_keyboard_that_ends_on_black_keys() -> None:
    """A black key at an end has a white one beside it, and the lowest key is named where there is no C."""
    assert keyboard_text([54, 56], 54, 58) == ["  O O #", "|_|_|_|_|", " F3"]


def test_keyboard_that_begins_above_a_black_key() -> None:
    """A black key below the stretch is not drawn."""
    assert keyboard_text([55], 55, 60) == ["  # #", "|O|_|_|_|", "       C4"]


def test_held_keys_outside_widen_the_keyboard() -> None:
    """No held key is lost."""
    assert keyboard_text([48, 62], 53, 55) == keyboard_text([48, 62], 48, 62)


@pytest.mark.parametrize("midi", range(48, 72))
def test_each_key_has_a_place_of_its_own(midi: int) -> None:
    """One key held is one mark, and every key's mark lies further right than the one before it."""
    black, white, _ = keyboard_text([midi], 48, 71)
    assert (black + white).count("O") == 1
    places = [max(row.find("O") for row in keyboard_text([key], 48, 71)[:2]) for key in range(48, midi + 1)]
    assert places == sorted({*places})


# Text and document

EXAMPLE = """\
title: Boats
| Ab | Cm |
| N.C. | Db Eb7 |
"""
TEXT = """\
Boats: Ab major, 4/4
The left hand, least movement first; O is a key to hold

   1  10 half steps in all

      # #   # O #   # O        bar 1  Ab: Ab3 C4 Eb4, root position
    |_|_|_|_|_|_|_|O|_|_|_|    start here
     C3            C4

      # #   # # #   # O        bar 2  Cm: G3 C4 Eb4, second inversion
    |_|_|_|_|O|_|_|O|_|_|_|    only the lowest note moves, down a half step
     C3            C4

    bar 3  N.C.: no chord, the hand stays

      # #   # O #   O #        bar 4  Db: Ab3 Db4 F4, second inversion
    |_|_|_|_|_|_|_|_|_|_|O|    the lowest and middle go up a half step, the top goes up a whole step
     C3            C4

      # #   # # O   O O        bar 4  Eb7: G3 Bb3 Db4 Eb4, first inversion
    |_|_|_|_|O|_|_|_|_|_|_|    one note stays, the lowest goes down a half step, the top goes down a
     C3            C4          whole step, one key is added: Bb

   2  11 half steps in all
    bar 1  Ab    Ab3 C4 Eb4      root position     0 half steps
    bar 2  Cm    G3 C4 Eb4       second inversion  1 half step
    bar 3  N.C.  -                                 0 half steps
    bar 4  Db    Ab3 Db4 F4      second inversion  4 half steps
    bar 4  Eb7   Bb3 Db4 Eb4 G4  second inversion  6 half steps
"""


def test_text_of_an_example() -> None:
    """The first path with keyboards, the next best in columns, a line a chord."""
    progression = parse_chart(EXAMPLE, key="Ab")
    assert voicings_text(progression, best_paths(progression, Hand(), 2), width=100) == TEXT


def test_text_is_readable_at_a_hundred_columns() -> None:
    """No line is longer than asked, however much there is to tell."""
    progression = parse_chart("| Ebmaj7 Abm7b5 | Gm7 C7alt | F#13#11/A# F5 | N.C. Bb13 |", key="Eb")
    paths = best_paths(progression, Hand(48, 72, spread=True), 5)
    for width, shown in ((100, paths), (80, paths[:1])):
        lines = voicings_text(progression, shown, width=width).splitlines()
        assert max(map(len, lines)) <= width
        assert lines == [line.rstrip() for line in lines]


def test_document_of_an_example() -> None:
    """The chart, and for each path its rank, its movement and its chords."""
    progression = parse_chart(EXAMPLE, key="Ab")
    paths = best_paths(progression, Hand(), 2)
    document = voicings_document(progression, paths, 90)
    assert json.loads(json.dumps(document)) == document
    assert document["chart"] == chart_document(progression, 90)
    assert [(path["rank"], path["movement"]) for path in document["paths"]] == [(1, 10), (2, 11)]
    first, *_, rest, _, last = document["paths"][0]["chords"]
    assert first == {
        "bar": 1,
        "symbol": "Ab",
        "pitches": [56, 60, 63],
        "names": ["Ab3", "C4", "Eb4"],
        "inversion": "root position",
        "movement": 0,
        "words": "start here",
    }
    assert rest == {
        "bar": 3,
        "symbol": "N.C.",
        "pitches": [],
        "names": [],
        "inversion": "",
        "movement": 0,
        "words": "no chord, the hand stays",
    }
    assert last == {
        "bar": 4,
        "symbol": "Eb7",
        "pitches": [55, 58, 61, 63],
        "names": ["G3", "Bb3", "Db4", "Eb4"],
        "inversion": "first inversion",
        "movement": 5,
        "words": (
            "one note stays, the lowest goes down a half step, the top goes down a whole step, "
            "one key is added: Bb"
        ),
    }


def test_document_adds_up() -> None:
    """The movements of the chords are those of their path."""
    progression = parse_chart("| Bbmaj7 | Gm7 | N.C. Ebmaj7 | F7 |")
    for path in voicings_document(progression, best_paths(progression))["paths"]:
        assert sum(chord["movement"] for chord in path["chords"]) == path["movement"]
        assert [chord["bar"] for chord in path["chords"]] == [1, 2, 3, 3, 4]
