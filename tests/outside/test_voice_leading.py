"""The left hand's movement against published voice leading and what players do.

Sources: Open Music Theory (Shaffer, Hughes and Moseley; Gotham and others, CC BY-SA), on voice leading: Composing in
basso-continuo style (three upper voices in one hand, an octave at most, each going the shortest way) and
Neo-Riemannian triadic progressions (which triads share two tones, one, or none). The movements are values computed by
enumeration over all one-to-one voice leadings. What is marked so is common practice.
"""

from __future__ import annotations

from itertools import pairwise, permutations

import pytest

from fillgen.chart.text import parse_chart
from fillgen.hands.voicing import Hand, Voicing, best_paths, held_tones, movement, moves_in_words, voicings
from fillgen.theory.chords import Kind, kinds, make_chord, read_chord
from fillgen.theory.pitch import Name

WIDE = Hand(53, 84)
"""A register in which every chord has all its inversions, above the low limits."""

# Semitones in all, largest move, common tones: Open Music Theory, on voice leading; values computed by enumeration
# over all one-to-one voice leadings.
TRIADS = {
    "C Em": (1, 1, 2),
    "C Cm": (1, 1, 2),
    "C Caug": (1, 1, 2),
    "F Fm": (1, 1, 2),
    "C Am": (2, 2, 2),
    "C E": (2, 1, 1),
    "C Ab": (2, 1, 1),
    "Fm C": (2, 1, 1),
    "C F": (3, 2, 1),
    "C G": (3, 2, 1),
    "Am Dm": (3, 2, 1),
    "Dm G": (4, 2, 1),
    "C Dm": (5, 2, 0),
    "F G": (6, 2, 0),
    "Bb C": (6, 2, 0),
    "C F#": (6, 3, 0),
}
SEVENTHS = {
    "Dm7 G7": (3, 2, 2),
    "G7 Cmaj7": (3, 2, 2),
    "Cmaj7 Am7": (2, 2, 3),
    "Am7 Dm7": (4, 2, 2),
    "A7 Dm7": (5, 2, 1),
    "Em7 A7": (3, 2, 2),
    "Cmaj7 A7": (3, 2, 2),
    "G7 Db7": (2, 1, 2),
    "Dm7 Db7": (3, 1, 1),
    "Db7 Cmaj7": (3, 1, 1),
    "Fm7 Bb7": (3, 2, 2),
    "Bb7 Cmaj7": (5, 2, 0),
    "Cmaj7 C#dim7": (2, 1, 2),
    "C#dim7 Dm7": (6, 2, 0),
    "Dm7b5 G7": (2, 1, 2),
    "G7 Bdim7": (1, 1, 3),
    "G7 C6": (5, 2, 1),
    "C7 F7": (4, 2, 1),
}
# Open Music Theory, Neo-Riemannian triadic progressions: the six transformations and the tones they keep.
TRANSFORMATIONS = {
    "parallel": ("C", "Cm", 2),
    "relative": ("C", "Am", 2),
    "leading-tone exchange": ("C", "Em", 2),
    "slide": ("C", "C#m", 1),
    "Nebenverwandt": ("C", "Fm", 1),
    "hexpole": ("C", "Abm", 0),
}
TWELVE = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"]


def best(*symbols: str, hand: Hand = WIDE) -> list[Voicing]:
    """The voicings of the best path over chords, a bar each."""
    path, *_ = best_paths(parse_chart(" | ".join(symbols), key="C"), hand)
    return [voicing for voicing in path.voicings if voicing]


# Published movements


@pytest.mark.parametrize("change", [*TRIADS, *SEVENTHS])
def test_best_path_reaches_the_published_movement(change: str) -> None:
    """Total, largest move and common tones of the best path over two chords are the published ones."""
    before, after = best(*change.split())
    moved = movement(before.pitches, after.pitches)
    assert (moved.total, moved.largest, moved.common) == (TRIADS | SEVENTHS)[change]


@pytest.mark.parametrize("change", [*TRIADS, *SEVENTHS])
def test_published_movements_are_those_of_enumeration(change: str) -> None:
    """Matching the tones of two chords in every way, octaves aside, leaves no smaller movement than the table's."""
    one, other = ([tone.name.pitch_class for tone in read_chord(symbol).tones] for symbol in change.split())
    tried = [[apart(a, b) for a, b in zip(one, way, strict=True)] for way in permutations(other)]
    total, largest = min((sum(moves), max(moves)) for moves in tried)
    assert (total, largest, len({*one} & {*other})) == (TRIADS | SEVENTHS)[change]


def apart(one: int, other: int) -> int:
    """Semitones between two pitch classes, the shorter way round."""
    return min((one - other) % 12, (other - one) % 12)


@pytest.mark.parametrize("name", TRANSFORMATIONS)
def test_transformations_keep_their_common_tones(name: str) -> None:
    """Related triads keep two keys, one or none, and what moves goes by a half step, in relatives by a step."""
    one, other, kept = TRANSFORMATIONS[name]
    before, after = best(one, other)
    moved = movement(before.pitches, after.pitches)
    assert moved.common == kept
    assert moved.largest == (2 if name == "relative" else 1)
    assert moved.total == moved.largest * (3 - kept)


@pytest.mark.parametrize("kind", kinds(), ids=lambda kind: kind.name)
def test_one_hand_spans_no_more_than_an_octave(kind: Kind) -> None:
    """Voices played by one hand never span more than an octave, unless spread forms are asked for."""
    chords = [make_chord(Name.read(root), kind) for root in TWELVE]
    spans = [voicing.width for chord in chords for voicing in voicings(chord, Hand(36, 84))]
    assert spans
    assert max(spans) <= 12


# Common practice


@pytest.mark.parametrize("tonic", TWELVE)
def test_relative_minor_is_one_step_away(tonic: str) -> None:
    """From a major triad to its relative minor one note goes up a whole step and two stay."""
    relative = Name.read(tonic).up(5, 9).plain()
    before, after = best(tonic, f"{relative}m")
    assert len({*before.pitches} & {*after.pitches}) == 2
    words = moves_in_words(before, after)
    assert words.startswith("only the ")
    assert words.endswith(" note moves, up a whole step")


@pytest.mark.parametrize("tonic", TWELVE)
def test_the_seventh_adds_a_single_key(tonic: str) -> None:
    """From a minor triad to its minor seventh chord every key stays and the seventh is added, a step from the root."""
    before, after = best(f"{tonic}m", f"{tonic}m7")
    (added,) = {*after.pitches} - {*before.pitches}
    assert {*before.pitches} < {*after.pitches}
    assert (added - Name.read(tonic).pitch_class) % 12 == 10
    assert moves_in_words(before, after) == f"one key is added: {Name.read(tonic).up(6, 10)}"


@pytest.mark.parametrize("tonic", TWELVE)
def test_major_relative_minor_and_its_seventh_in_a_row(tonic: str) -> None:
    """The way from a major triad over its relative minor to that chord's seventh moves one note, then adds one key.

    The seventh is the note that has just moved up, a step below.
    """
    relative = Name.read(tonic).up(5, 9).plain()
    first, second, third = best(tonic, f"{relative}m", f"{relative}m7")
    assert movement(first.pitches, second.pitches).total == movement(second.pitches, third.pitches).total == 2
    assert {*second.pitches} < {*third.pitches}
    assert {*first.pitches} < {*third.pitches}


@pytest.mark.parametrize("tonic", TWELVE)
def test_sevenths_fall_to_thirds_down_the_circle_of_fifths(tonic: str) -> None:
    """In ii7 V7 Imaj7 each seventh falls by a step or half step to the third of the next chord, the rest stays near."""
    numerals = parse_chart("| ii7 | V7 | Imaj7 |", key=f"{tonic} major")
    path, *_ = best_paths(numerals, WIDE)
    held = [voicing for voicing in path.voicings if voicing]
    assert path.movement == 6
    for before, after in pairwise(held):
        seventh, third = pitch_of(before, "7"), pitch_of(after, "3")
        assert 1 <= seventh - third <= 2


def pitch_of(voicing: Voicing, family: str) -> int:
    """The key that holds the tone of a family, such as the seventh."""
    tones = zip(voicing.tones, voicing.pitches, strict=True)
    return next(midi for tone, midi in tones if tone.degree.family == family)


@pytest.mark.parametrize(
    ("symbol", "kept"),
    [
        ("C9", "1 3 b7 9"),
        ("Cmaj9", "1 3 7 9"),
        ("Cm9", "1 b3 b7 9"),
        ("C6/9", "1 3 6 9"),
        ("C13", "3 b7 9 13"),
        ("C13#11", "3 b7 #11 13"),
        ("C7b9", "1 3 b7 b9"),
        ("C7#5#9", "3 #5 b7 #9"),
        ("C7b5b9", "3 b5 b7 b9"),
        ("C11", "1 b7 9 11"),
        ("Cm11", "b3 b7 9 11"),
        ("Cm11b5", "b3 b5 b7 11"),
        ("C13sus4", "4 b7 9 13"),
    ],
)
def test_rich_chords_leave_out_fifth_and_root_first(symbol: str, kept: str) -> None:
    """Chords of five tones and more lose the perfect fifth, then the root; common practice with a bass player.

    Where what is left makes a cluster in every position (Bb C D E), the root goes before the fifth.
    """
    chord = read_chord(symbol)
    assert [tone.degree.text for tone in held_tones(chord, 4)] == kept.split()
    for voicing in voicings(chord, Hand()):
        held = {tone.degree.text for tone in voicing.tones}
        assert held == {*kept.split()} or held <= {tone.degree.text for tone in chord.tones} - {"1"}
        assert {tone for tone in chord.tones if tone.degree.family in "37"} <= {*voicing.tones}


@pytest.mark.parametrize(
    ("symbol", "kept"),
    [("C7", "1 3 b7"), ("Cmaj7", "1 3 7"), ("Cm7b5", "b3 b5 b7"), ("Cdim7", "b3 b5 bb7"), ("C13", "3 b7 13")],
)
def test_small_hands_hold_three_keys(symbol: str, kept: str) -> None:
    """Three keys of a seventh chord are root, third and seventh; an altered fifth is worth more than the root."""
    for voicing in voicings(read_chord(symbol), Hand(thin=True)):
        assert {tone.degree.text for tone in voicing.tones} == {*kept.split()}
