"""The left hand's paths against plain enumeration, and what every voicing of every chord keeps."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from heapq import nsmallest
from itertools import combinations, groupby, pairwise, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fillgen.chart.progression import Progression
from fillgen.chart.text import parse_chart
from fillgen.errors import OptionError
from fillgen.hands.voicing import (
    Hand,
    Pitches,
    Voicing,
    VoicingPath,
    best_paths,
    held_tones,
    matching,
    movement,
    voicings,
)
from fillgen.theory.chords import Chord, Tone, kinds, make_chord, read_chord
from fillgen.theory.pitch import Name
from tests.effort import examples

CASES = 600
ROOTS = ["C", "C#", "Db", "D", "D#", "Eb", "E", "F", "F#", "Gb", "G", "G#", "Ab", "A", "A#", "Bb", "B"]
_SYMBOLS = [
    "C",
    "Fmaj7",
    "Am",
    "G7",
    "Dm7",
    "E7",
    "Bm7b5",
    "Ebmaj7",
    "Bb9",
    "C#dim7",
    "Gsus4",
    "F6/C",
    "A7b9",
    "Dm",
    "D5",
    "Ab13",
    "F#aug",
    "N.C.",
]
_TRIADS = ("", "m", "dim", "aug")


# Paths


@dataclass(frozen=True)
class Case:
    """A small problem: two to five chords, at least one of which sounds, and a hand."""

    progression: Progression
    hand: Hand

    @property
    def chords(self) -> list[Chord]:
        """The chords that are held, one after the other."""
        return [span.chord for span in self.progression.spans if span.chord.root is not None]


@cache
def random_case(number: int) -> Case:
    """A case with repeated chords, N.C., slash basses, fifths without a third, thin and spread hands among them."""
    dice = random.Random(number)
    symbols = [dice.choice(_SYMBOLS) for _ in range(dice.randint(2, 5))]
    if dice.random() < 0.2:
        symbols[1] = symbols[0]
    if set(symbols) == {"N.C."}:
        symbols[-1] = "C"
    low, thin, spread = dice.randint(46, 60), dice.random() < 0.3, dice.random() < 0.3
    room = dice.randint(13, 21) if dice.random() < 0.92 else dice.randint(3, 6)
    hand = Hand(low, low + room, dice.randint(8, 12), thin, spread, rootless=dice.random() < 0.3)
    return Case(parse_chart(" | ".join(symbols), key="C"), hand)


@cache
def onto(many: int, few: int) -> list[tuple[int, ...]]:
    """Every way to give each of many things one of a few, so that none of the few is left out."""
    return [goals for goals in product(range(few), repeat=many) if len({*goals}) == few]


@cache
def least(before: Pitches, after: Pitches) -> tuple[int, int]:
    """The least total and, with it, the least largest move, by trying every way to match the keys."""
    many, few = sorted((before, after), key=len, reverse=True)
    tried = [
        [abs(key - few[goal]) for key, goal in zip(many, way, strict=True)]
        for way in onto(len(many), len(few))
    ]
    return min((sum(moves), max(moves)) for moves in tried)


Order = tuple[int, int, int, int, tuple[Pitches, ...]]


def order(path: tuple[Pitches, ...], hand: Hand) -> Order:
    """What makes one path come before another: movement, largest moves, keys held on, nearness to the middle."""
    changes = list(pairwise(path))
    moved = [least(*change) for change in changes]
    common = sum(len({*before} & {*after}) for before, after in changes)
    off_centre = sum(abs(keys[0] + keys[-1] - hand.low - hand.high) for keys in path)
    return sum(total for total, _ in moved), sum(largest for _, largest in moved), -common, off_centre, path


def spaces(chords: Sequence[Chord], hand: Hand) -> list[list[Pitches]]:
    """The pitches that a hand can hold for each chord."""
    return [[voicing.pitches for voicing in voicings(chord, hand)] for chord in chords]


def in_a_row(chords: Sequence[Chord]) -> list[Chord]:
    """The chords, those that are repeated once only."""
    return [next(same) for _, same in groupby(chords, key=lambda chord: chord.tones)]


def brute(case: Case, count: int) -> list[Order]:
    """The first paths of all, a repeated chord being held."""
    every = product(*spaces(in_a_row(case.chords), case.hand))
    return nsmallest(count, (order(path, case.hand) for path in every))


def steps_of(voicings_held: Sequence[Voicing]) -> tuple[Pitches, ...]:
    """The pitches of each chord in turn; a repeated chord is held as it is."""
    steps = []
    for _, same in groupby(voicings_held, key=lambda voicing: voicing.chord.tones):
        (pitches,) = {voicing.pitches for voicing in same}
        steps.append(pitches)
    return tuple(steps)


def found(case: Case, count: int) -> list[tuple[int, tuple[Pitches, ...]]]:
    """The program's paths as movement and pitches, chords that are repeated once only."""
    paths = best_paths(case.progression, case.hand, count)
    return [(path.movement, steps_of([voicing for voicing in path.voicings if voicing])) for path in paths]


def is_possible(case: Case) -> bool:
    """Whether the hand has a voicing of every chord."""
    return all(spaces(case.chords, case.hand))


@cache
def possible() -> list[int]:
    """The cases in which the hand has a voicing of every chord."""
    return [number for number in range(CASES) if is_possible(random_case(number))]


def impossible() -> list[int]:
    """The cases in which it has none of some chord."""
    return sorted({*range(CASES)} - {*possible()})


def test_best_paths_are_the_best_of_all() -> None:
    """The three best paths are the first three of all paths, in their order, each with its movement."""
    for number in possible():
        case = random_case(number)
        assert found(case, 3) == [(total, path) for total, *_, path in brute(case, 3)], number


def test_holding_a_repeated_chord_costs_nothing() -> None:
    """The best movement is the least of all, repeated chords being free to move too."""
    for number in possible():
        case = random_case(number)
        every = product(*spaces(case.chords, case.hand))
        least_of_all = min(sum(least(*change)[0] for change in pairwise(path)) for path in every)
        assert best_paths(case.progression, case.hand, 1)[0].movement == least_of_all, number


def test_movements_add_up_and_nothing_is_held_over_no_chord() -> None:
    """Each path's movement is the sum of its moves; N.C. holds nothing and moves nothing."""
    for number in possible():
        case = random_case(number)
        for path in best_paths(case.progression, case.hand):
            assert sum(path.moves) == path.movement, number
            for span, voicing, moved in zip(case.progression.spans, path.voicings, path.moves, strict=True):
                assert (voicing is None) == (span.chord.root is None), number
                assert voicing is None or voicing.chord is span.chord, number
                assert voicing is not None or moved == 0, number


def test_without_a_voicing_the_bar_is_named() -> None:
    """Where the hand has no voicing of a chord the first such bar is named, and a setting that would help."""
    for number in impossible():
        case = random_case(number)
        spans = enumerate(case.progression.spans, 1)
        bar = next(bar for bar, span in spans if span.chord.root and not voicings(span.chord, case.hand))
        with pytest.raises(OptionError, match=f"^bar {bar}: .*(register|span).* would leave some") as error:
            best_paths(case.progression, case.hand)
        assert case.progression.spans[bar - 1].chord.symbol in str(error.value), number


def test_the_cases_are_worth_trying() -> None:
    """There are cases with and without voicings, thin and spread hands, repeats, N.C., and choices by the hundred."""
    cases = [random_case(number) for number in possible()]
    sizes = [len(list(product(*spaces(in_a_row(case.chords), case.hand)))) for case in cases]
    assert len(impossible()) >= 20
    assert len(possible()) >= 500
    assert sum(size > 30 for size in sizes) >= 100
    assert max(sizes) > 1000
    assert sum(size < 3 for size in sizes) >= 3
    assert sum(len(in_a_row(case.chords)) < len(case.chords) for case in cases) >= 20
    assert sum(len(case.chords) < len(case.progression.spans) for case in cases) >= 20
    assert sum(case.hand.thin for case in cases) >= 50
    assert sum(case.hand.spread for case in cases) >= 50
    assert len({len({key[0] for key in brute(case, 3)}) for case in cases[:100]}) == 3


# Against root positions


def root_position_movement(chords: Sequence[Chord], hand: Hand) -> int:
    """The least movement of all paths on which every chord is in root position."""
    rooted = [[v.pitches for v in voicings(chord, hand) if v.inversion == 0] for chord in chords]
    return min(sum(least(*change)[0] for change in pairwise(path)) for path in product(*rooted))


@cache
def random_triads(number: int) -> tuple[Progression, Hand]:
    """Two to five triads and a register of two octaves, in which every triad has a root position."""
    dice = random.Random(number)
    symbols = [f"{dice.choice(ROOTS)}{dice.choice(_TRIADS)}" for _ in range(dice.randint(2, 5))]
    low = dice.randint(48, 55)
    return parse_chart(" | ".join(symbols), key="C"), Hand(low, low + 24)


def test_never_more_than_root_positions() -> None:
    """The best path of triads never moves more than the best with every chord in root position."""
    for number in range(CASES):
        progression, hand = random_triads(number)
        rooted = root_position_movement([span.chord for span in progression.spans], hand)
        assert best_paths(progression, hand, 1)[0].movement <= rooted, number


def test_inversions_save_most_of_the_movement() -> None:
    """Over the random triads the best paths move the hand less than half as far as root positions do."""
    rooted = best = 0
    for number in range(CASES):
        progression, hand = random_triads(number)
        rooted += root_position_movement([span.chord for span in progression.spans], hand)
        best += best_paths(progression, hand, 1)[0].movement
    assert 0 < best < rooted / 2


# Movement

_KEYS = st.sets(st.integers(45, 80), min_size=1, max_size=4).map(lambda keys: tuple(sorted(keys)))


@given(_KEYS, _KEYS)
@settings(max_examples=examples(300), deadline=None)
def test_movement_is_the_least_of_all_matchings(before: Pitches, after: Pitches) -> None:
    """Total and largest move are those of the best of all ways to match the keys; the way back is as far."""
    there, back = movement(before, after), movement(after, before)
    assert (there.total, there.largest) == least(before, after)
    assert there == back
    assert there.common == len({*before} & {*after})


@given(_KEYS, _KEYS)
@settings(max_examples=examples(300), deadline=None)
def test_matching_leaves_no_key_out(before: Pitches, after: Pitches) -> None:
    """Every key before and every key after has a partner, and no more pairs are made than are needed."""
    pairs = matching(before, after)
    assert {key for key, _ in pairs} == {*before}
    assert {goal for _, goal in pairs} == {*after}
    assert len(pairs) == max(len(before), len(after))


# Voicings

_HANDS = [
    Hand(),
    Hand(thin=True),
    Hand(spread=True),
    Hand(45, 70, 8, spread=True),
    Hand(40, 72, 9),
    Hand(36, 60, 19, spread=True, thin=True),
    Hand(48, 62, rootless=True),
    Hand(41, 57, 9),
]


@pytest.mark.parametrize("thin", [False, True])
def test_every_chord_has_a_voicing(thin: bool) -> None:
    """The usual hand and the thin one hold every chord kind on every root."""
    for kind in kinds():
        chords = [make_chord(Name.read(root), kind) for root in ROOTS]
        assert len(chords) == 17, kind.name
        assert [chord.symbol for chord in chords if not voicings(chord, Hand(thin=thin))] == [], kind.name


@pytest.mark.costly
@pytest.mark.parametrize("hand", _HANDS, ids=str)
def test_every_voicing_keeps_what_is_asked(hand: Hand) -> None:
    """Every voicing has tones of its chord only, each once, with third and seventh, in register, span and limits."""
    for kind in kinds():
        for root in ROOTS:
            chord = make_chord(Name.read(root), kind)
            must = {tone for tone in chord.tones if tone.degree.family in {"3", "7"}}
            for voicing in voicings(chord, hand):
                assert must <= {*voicing.tones} <= {*chord.tones}, kind.name
                assert len({*voicing.tones}) == len(voicing.pitches) <= (3 if hand.thin else 4), kind.name
                assert [tone.name.pitch_class for tone in voicing.tones] == [
                    midi % 12 for midi in voicing.pitches
                ], kind.name
                assert list(voicing.pitches) == sorted({*voicing.pitches}), kind.name
                assert hand.low <= voicing.pitches[0], kind.name
                assert voicing.pitches[-1] <= hand.high, kind.name
                assert voicing.width <= (hand.reach if voicing.spread else hand.span), kind.name
                assert voicing.spread <= hand.spread, kind.name
                assert clear(voicing.pitches) == (not voicing.reason), kind.name


def clear(pitches: Pitches) -> bool:
    """Whether every two keys with the lower one below E3 are a fourth apart, and no three within a major third."""
    apart = all(b - a >= 5 for a, b in combinations(pitches, 2) if a < 52)
    wide = all(high - low >= 7 for low, high in pairwise(pitches) if low < 46)
    return apart and wide and all(max(three) - min(three) > 4 for three in combinations(pitches, 3))


@pytest.mark.parametrize("rootless", [False, True])
@pytest.mark.parametrize("span", [9, 12])
def test_the_usual_hand_is_never_muddy(span: int, rootless: bool) -> None:
    """From C3 to G4 every chord kind on every root is clear, for a small hand as well."""
    for kind in kinds():
        for root in ROOTS:
            found = voicings(make_chord(Name.read(root), kind), Hand(span=span, rootless=rootless))
            assert found, (root, kind.name)
            assert all(clear(voicing.pitches) and not voicing.reason for voicing in found), (root, kind.name)


def is_close(pitches: Pitches) -> bool:
    return pitches[-1] - pitches[0] < 12


def is_spread(pitches: Pitches) -> bool:
    """Whether the lowest key an octave higher is the second from the top of a close position."""
    raised = tuple(sorted((*pitches[1:], pitches[0] + 12)))
    return len(pitches) > 2 and not is_close(pitches) and is_close(raised) and raised[-2] == pitches[0] + 12


@pytest.mark.parametrize("hand", _HANDS, ids=str)
@pytest.mark.parametrize(
    "symbol", ["C", "Ebm", "F#7", "Bbmaj7", "G13", "Abdim7", "D5", "E7alt", "Asus4", "B6/9"]
)
def test_voicings_are_all_there_are(symbol: str, hand: Hand) -> None:
    """No set of keys is missed that has each tone once, in close or spread form, in register, span and limits."""
    chord = read_chord(symbol)
    found = [voicing.pitches for voicing in voicings(chord, hand)]
    wanted = clear_forms(held_tones(chord, hand.most, rootless=hand.rootless), hand)
    if wanted:
        assert found == wanted
        return
    fewer = [
        clear_forms(tones, hand)
        for size in range(2, hand.most + 1)
        for tones in combinations(chord.tones, size)
        if {tone for tone in chord.tones if tone.degree.family in ("3", "7")} <= {*tones}
    ]
    if all(map(clear, found)):
        assert {*found} <= {form for forms in fewer for form in forms}
    else:
        assert not any(fewer)


def clear_forms(tones: Sequence[Tone], hand: Hand) -> list[Pitches]:
    """Every clear set of keys in close or spread form that has each of some tones once, from the lowest up."""
    classes = sorted(tone.name.pitch_class for tone in tones)
    keys = [midi for midi in range(hand.low, hand.high + 1) if midi % 12 in classes]
    every = [
        chosen for chosen in combinations(keys, len(classes)) if sorted(k % 12 for k in chosen) == classes
    ]
    return [
        chosen
        for chosen in every
        if clear(chosen)
        and (
            (is_close(chosen) and chosen[-1] - chosen[0] <= hand.span)
            or (hand.spread and is_spread(chosen) and chosen[-1] - chosen[0] <= hand.reach)
        )
    ]


# Keys

MAJOR = {
    "C": 0,
    "Db": 1,
    "D": 2,
    "Eb": 3,
    "E": 4,
    "F": 5,
    "F#": 6,
    "G": 7,
    "Ab": 8,
    "A": 9,
    "Bb": 10,
    "B": 11,
}
MINOR = {
    "C": 0,
    "C#": 1,
    "D": 2,
    "Eb": 3,
    "E": 4,
    "F": 5,
    "F#": 6,
    "G": 7,
    "G#": 8,
    "A": 9,
    "Bb": 10,
    "B": 11,
}
_KEYS_OF_24 = [("major", *item) for item in MAJOR.items()] + [("minor", *item) for item in MINOR.items()]
_NUMERALS = {
    "major": "| I | vi7 | ii7 | V7 | iii7 VI9 | N.C. | IV6 ivm6 | I |",
    "minor": "| i | iv7 | iim7b5 | V7b9 | VI | VII13 | viidim7 | i |",
}


@pytest.mark.parametrize("hand", [Hand(55, 74), Hand(55, 79, thin=True), Hand(52, 76, spread=True)], ids=str)
@pytest.mark.parametrize(("mode", "tonic", "rise"), _KEYS_OF_24)
def test_paths_do_not_depend_on_the_key(mode: str, tonic: str, rise: int, hand: Hand) -> None:
    """In each of the 24 keys the paths of a progression in a moved register are the moved paths."""
    home = best_paths(parse_chart(_NUMERALS[mode], key=f"C {mode}"), hand)
    higher = replace(hand, low=hand.low + rise, high=hand.high + rise)
    moved = best_paths(parse_chart(_NUMERALS[mode], key=f"{tonic} {mode}"), higher)
    assert [path.movement for path in moved] == [path.movement for path in home]
    for one, other in zip(home, moved, strict=True):
        assert keys_of(other) == [tuple(midi + rise for midi in keys) for keys in keys_of(one)]
        assert inversions_of(other) == inversions_of(one)


def keys_of(path: VoicingPath) -> list[Pitches]:
    return [voicing.pitches if voicing else () for voicing in path.voicings]


def inversions_of(path: VoicingPath) -> list[str]:
    return [voicing.position if voicing else "" for voicing in path.voicings]
