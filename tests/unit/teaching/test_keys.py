"""The order of the keys, and a phrase in each of them."""

from __future__ import annotations

from itertools import pairwise

import pytest

import fillgen
from fillgen import Ideas, NoPhraseError, OptionError
from fillgen.chart.text import parse_chart
from fillgen.phrase.text import parse_phrase
from fillgen.teaching.keys import ORDERS, in_keys, keys_through
from fillgen.teaching.practice import own_ideas
from fillgen.theory.keys import read_key

HOMES = ("C", "Eb", "F#", "Gb", "B", "Cb", "C#", "Am", "G#m", "Ebm", "F blues")


def names(text: str, home: str) -> str:
    """The tonics of the keys that a text names."""
    return " ".join(str(key.tonic) for key in keys_through(text, read_key(home)))


@pytest.mark.parametrize(
    ("text", "home", "wanted"),
    [
        ("fifths", "C", "C G D A E B F# Db Ab Eb Bb F"),
        ("fourths", "C", "C F Bb Eb Ab Db Gb B E A D G"),
        ("fifths", "Ab", "Ab Eb Bb F C G D A E B F# Db"),
        ("fourths", "Am", "A D G C F Bb Eb G# C# F# B E"),
        ("half-steps", "Eb", "Eb E F Gb G Ab A Bb B C Db D"),
        ("Half-Steps", "G", "G Ab A Bb B C Db D Eb E F F#"),
        ("eb, A♭ ,Db", "F", "Eb Ab Db"),
        ("Db", "Gm", "C#"),
    ],
)
def test_the_order_of_the_keys(text: str, home: str, wanted: str) -> None:
    """The circle of fifths one way and the other, and the half steps up. Common practice."""
    assert names(text, home) == wanted


@pytest.mark.parametrize("home", HOMES)
@pytest.mark.parametrize("order", ORDERS)
def test_every_key_comes_once(order: str, home: str) -> None:
    """Twelve keys of the mode, the first its own, each the same step from the one before, six signs at most."""
    keys = keys_through(order, read_key(home))
    tonics = [key.tonic.pitch_class for key in keys]
    assert keys[0] == read_key(home)
    assert sorted(tonics) == list(range(12))
    assert {(after - before) % 12 for before, after in pairwise(tonics)} == {ORDERS[order][0]}
    assert {key.mode for key in keys} == {keys[0].mode}
    assert all(abs(key.fifths) <= 6 for key in keys[1:])


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("fiths", "'fifths'"),
        ("Eb,,Ab", "half-steps"),
        ("", "fifths"),
        ("Es", "Eb"),
        ("Eb,D#", "once"),
        ("F,F major", "once"),
    ],
)
def test_keys_refuse(text: str, hint: str) -> None:
    """What names no key, and a key named twice, by whatever name."""
    with pytest.raises(OptionError) as caught:
        keys_through(text, read_key("Bb"))
    assert hint in caught.value.hint


def own(chart: str, phrase: str) -> Ideas:
    """A phrase of one's own."""
    progression = parse_chart(chart)
    return own_ideas(progression, parse_phrase(phrase, progression.metre))


@pytest.mark.parametrize("second", [None, "thirds"])
def test_pitches_move_exactly(second: str | None) -> None:
    """Every note of both voices moves by the same interval, the chords by it too, rhythm and roles stay, all in range."""
    found = fillgen.ideas("| Bb | Cm7 F7 | Bb |", count=1, seed=3, level=4)
    if second:
        from fillgen.hands.second import with_second  # noqa: PLC0415 - one case only

        found = with_second(found, second)
    home = found[0]
    for version in in_keys(found, home, keys_through("half-steps", found.progression.key)):
        moved = version[0]
        shift = moved.notes[0].note.midi - home.notes[0].note.midi
        rise = version.progression.key.tonic.pitch_class - found.progression.key.tonic.pitch_class
        assert (shift - rise) % 12 == 0
        for voice, before in ((moved.notes, home.notes), (moved.second, home.second)):
            assert [n.note.midi - b.note.midi for n, b in zip(voice, before, strict=True)] == [shift] * len(
                voice
            )
            assert [(n.note.onset, n.note.length, n.degree) for n in voice] == [
                (b.note.onset, b.note.length, b.degree) for b in before
            ]
        assert all(60 <= each.note.midi <= 84 for each in moved.notes)
        assert all(1 <= each.finger <= 5 for each in moved.notes)
        assert parse_phrase(moved.text, version.progression.metre) == moved.phrase
        roots = [span.chord.root for span in version.progression.spans]
        assert [
            (root.pitch_class - span.chord.root.pitch_class - shift) % 12
            for root, span in zip(roots, found.progression.spans, strict=True)
            if root is not None and span.chord.root is not None
        ] == [0] * len(roots)


def test_the_hand_stays_in_its_register() -> None:
    """A phrase that lies low goes up, one that lies high goes down; level 3 has D4 to A5."""
    low, high = own("| F | C7 |", "F4q A4q C5h | E4w"), own("| F | C7 |", "F5q A5q C5h | E5w")
    (up,), (down,) = (in_keys(each, each[0], keys_through("D", each.progression.key)) for each in (low, high))
    assert up[0].notes[0].name in ("D5", "D4")
    assert min(each.note.midi for each in up[0].notes) >= 62
    assert down[0].notes[0].name == "D5"


def test_a_range_without_room_is_refused_with_the_key() -> None:
    """Where the player's range is too narrow for a key, the error names the key and the options."""
    found = own("| F | C7 |", "F4q A4q C5h | E5w")
    with pytest.raises(NoPhraseError) as caught:
        in_keys(found, found[0], keys_through("G,B", found.progression.key), low="F4", high="G5")
    assert caught.value.place == "B major"
    assert "--low" in caught.value.hint


def test_names_that_were_written_move_along() -> None:
    """Names that nobody would choose stay as they were written, by the same interval, where they stay plain."""
    found = own("| F | C7 |", "Eb5q E5q D#5q D5q | C5w")
    there = in_keys(found, found[0], keys_through("Bb,C", found.progression.key))
    assert [each[0].text[:18].translate(str.maketrans("", "", "45q")) for each in there] == [
        "Ab A G# G ",
        "Bb B A# A ",
    ]
