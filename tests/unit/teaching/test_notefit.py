"""Which notes fit: kinds, reasons, ways, text and document, on cases made by hand and by brute force."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import FrozenInstanceError, replace
from itertools import product

import pytest

from fillgen.chart.progression import Progression, passing_names
from fillgen.chart.text import parse_chart
from fillgen.phrase.idea import CHORD_TONE
from fillgen.phrase.place import places
from fillgen.teaching.notefit import (
    CLASHES,
    LEAVE_QUICKLY,
    NOTE_KINDS,
    PASSES,
    NoteFit,
    chord_notes,
    note_fits,
    recurring,
    shared_tones,
    ways,
)
from fillgen.theory.chords import Chord, kinds, make_chord, mask_of, read_chord
from fillgen.theory.pitch import Key, Name, all_keys
from fillgen.writers.document import chart_document
from fillgen.writers.notes import notes_document, notes_text
from tests.effort import one_in

ROOTS = ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]
C_MAJOR = Key(Name.read("C"), "major")
CHART = "title: Harbour\n| Ebmaj7 | Gm7 C7 | N.C. | Fm7 | Bb7 | Bb7 |"


def every_chord() -> Iterator[Chord]:
    """A chord of every kind on every root."""
    return (make_chord(Name.read(root), kind) for root, kind in product(ROOTS, kinds()))


def fit(symbol: str, name: str, key: Key = C_MAJOR) -> NoteFit:
    """What a note is over a chord."""
    return next(found for found in note_fits(read_chord(symbol), key) if str(found.name) == name)


def of_kind(symbol: str, kind: str, key: Key = C_MAJOR) -> list[str]:
    """The names of one kind over a chord, from its root up."""
    return [str(found.name) for found in note_fits(read_chord(symbol), key) if found.kind == kind]


# Kinds


@pytest.mark.costly
@pytest.mark.parametrize("key", one_in(5, all_keys()), ids=str)
def test_twelve_notes_of_one_kind_each(key: Key) -> None:
    """Over every chord in every key each pitch class stands once; the kinds are those by which phrases are made."""
    for chord in every_chord():
        fits = note_fits(chord, key)
        assert sorted(found.pitch_class for found in fits) == list(range(12))
        masks = {
            kind: mask_of(found.pitch_class for found in fits if found.kind == kind) for kind in NOTE_KINDS
        }
        assert masks[CHORD_TONE] == chord.mask
        may_pass = mask_of(name.pitch_class for name in passing_names(chord, key))
        assert masks[PASSES] | masks[LEAVE_QUICKLY] == may_pass & ~chord.mask
        assert masks[CLASHES] == ~may_pass & ~chord.mask & 0xFFF
        for found in fits:
            below = chord.mask >> (found.pitch_class - 1) % 12 & 1
            assert found.kind != LEAVE_QUICKLY or below
            assert found.kind != PASSES or not below


def test_kinds_agree_with_the_places_of_phrases() -> None:
    """What is left quickly is what the rule on avoid notes is asked with."""
    chart = parse_chart("| Cmaj7 | Fm7 | B7 | Dm7b5 | G7 | Cm |", key="C minor")
    for each in chord_notes(chart):
        (place,) = places(chart, [(each.span.onset, each.span.length)], closes=False)
        quick = mask_of(found.pitch_class for found in each.of_kind(LEAVE_QUICKLY))
        assert quick == place.avoid & place.passing


def test_notes_stand_from_the_root_up() -> None:
    """The first note is the root, each further one a half step higher."""
    fits = note_fits(read_chord("Gm7"), C_MAJOR)
    assert [found.pitch_class for found in fits] == [7, 8, 9, 10, 11, 0, 1, 2, 3, 4, 5, 6]


def test_no_notes_without_a_chord() -> None:
    """N.C. has no notes of its own."""
    assert note_fits(read_chord("N.C."), C_MAJOR) == ()


# Names and degrees


@pytest.mark.parametrize(
    ("symbol", "degrees"),
    [
        ("C", "C1 Dbb9 D9 Ebb3 E3 F4 F##4 G5 Abb6 A6 Bbb7 B7"),
        ("Cmaj7", "C1 Dbb9 D9 Ebb3 E3 F11 F##11 G5 Abb13 A13 Bbb7 B7"),
        ("Bm7b5", "B1 Cb9 C#9 Db3 D#3 E11 Fb5 F#5 Gb13 G#13 Ab7 A#7"),
        ("C7#9", "C1 Dbb9 D9 D##9 E3 F11 F##11 G5 Abb13 A13 Bbb7 B7"),
        ("Ebmaj7", "Eb1 Eb9 F9 Gbb3 G3 Ab11 A#11 Bb5 B#5 C13 Dbb7 D7"),
    ],
)
def test_degrees(symbol: str, degrees: str) -> None:
    """Fourths and sixths are 11 and 13 above a seventh; a note of the key has the degree of its letter.

    A white key outside chord and key has its plain name.
    """
    shown = [f"{found.name}{found.degree}" for found in note_fits(read_chord(symbol), C_MAJOR)]
    assert shown == degrees.split()


def test_white_keys_have_plain_names() -> None:
    """In Eb the half steps above Eb and Bb are called E and B, not Fb and Cb; a tone of the chord keeps its name."""
    key = Key(Name.read("Eb"), "major")
    assert of_kind("Ebmaj7", CLASHES, key) == ["E", "Gb", "A", "B", "Db"]
    degrees = [fit("Ebmaj7", name, key).degree for name in ("E", "Gb", "A", "B", "Db")]
    assert degrees == ["b9", "b3", "#11", "b13", "b7"]
    assert of_kind("Abm", CHORD_TONE, key) == ["Ab", "Cb", "Eb"]


def test_a_tone_keeps_the_chords_spelling() -> None:
    """Over Gb7 the seventh is Fb, in whatever key."""
    assert fit("Gb7", "Fb").degree == "b7"
    assert of_kind("Gb7", CHORD_TONE) == ["Gb", "Bb", "Db", "Fb"]


# Reasons


@pytest.mark.parametrize(
    ("symbol", "name", "reason"),
    [
        ("Dm7", "F", "F is the third of Dm7: it can fall on any beat and stay."),
        (
            "Dm7",
            "E",
            "E belongs to C major and lies a whole step above D, the root of Dm7: it passes freely.",
        ),
        (
            "C5",
            "B",
            "B belongs to C major and lies a half step below C, the root of C5: it passes, leading up to it.",
        ),
        ("C5", "F", "F belongs to C major and lies a whole step below G, the fifth of C5: it passes freely."),
        ("C5", "E", "E belongs to C major and lies well clear of C, the root of C5: it passes freely."),
        (
            "Em7",
            "C",
            "C lies a half step above B, the fifth of Em7, and clashes with it when held: move on to B.",
        ),
        ("Fm7", "A", "A belongs to C major, but Fm7 has Ab in its place: it clashes with Ab."),
        (
            "C",
            "F#",
            "F# lies outside C major, a half step below G, the fifth of C: it clashes unless it slides into G.",
        ),
        (
            "Dm7",
            "Bb",
            "Bb lies outside C major, a half step above A, the fifth of Dm7: it clashes unless it slides into A.",
        ),
        (
            "C9",
            "Db",
            "Db lies outside C major, a half step below D, the ninth of C9: it clashes unless it slides into D.",
        ),
        (
            "Fm7",
            "Bb",
            "Bb lies outside C major and has no chord tone beside it: it sounds foreign unless it slides into B, a half step above it.",
        ),
    ],
)
def test_reasons(symbol: str, name: str, reason: str) -> None:
    """Each kind of reason, word by word."""
    assert fit(symbol, name).reason == reason


@pytest.mark.parametrize("key", ["C major", "Gb major", "A minor", "G# minor"])
def test_every_reason_is_a_sentence_about_the_note(key: str) -> None:
    """It begins with the note, ends with a full stop, and names the chord or another note."""
    in_key = next(each for each in all_keys() if str(each) == key)
    for chord in every_chord():
        names = {str(found.name) for found in note_fits(chord, in_key)}
        for found in note_fits(chord, in_key):
            first, *rest = re.findall(r"[^\s:,.]+", found.reason)
            assert first == str(found.name)
            assert chord.symbol in found.reason or names & {*rest} - {first}
            assert found.reason.endswith(".")
            assert found.reason.count(".") - chord.symbol.count(".") <= 1 + 2 * chord.symbol.count(".")


def test_the_step_that_a_reason_tells_is_there() -> None:
    """The two notes of `X lies a half step above Y` are a half step apart, and so for the other steps."""
    rises = {"half step above": 1, "whole step above": 2, "half step below": -1, "whole step below": -2}
    count = 0
    for chord, key in product(every_chord(), all_keys()[::7]):
        for found in note_fits(chord, key):
            match = re.search(r"a (\w+ step \w+) ([A-G][b#]*), the", found.reason)
            if match is not None:
                count += 1
                other = Name.read(match[2]).pitch_class
                assert (found.pitch_class - other - rises[match[1]]) % 12 == 0, found.reason
                assert chord.tone_at(other) is not None
    assert count > 10_000


# The convention on the second degree


@pytest.mark.parametrize("symbol", ["Dm7", "Dm9", "Dm11"])
def test_the_sixth_over_the_second_degree(symbol: str) -> None:
    """With the switch B is left quickly over the minor seventh chord on D in C, and the tritone is named."""
    plain = note_fits(read_chord(symbol), C_MAJOR)
    strict = note_fits(read_chord(symbol), C_MAJOR, dorian_sixth=True)
    changed = [(one, other) for one, other in zip(plain, strict, strict=True) if one != other]
    assert [(str(one.name), one.kind, other.kind) for one, other in changed] == [("B", PASSES, LEAVE_QUICKLY)]
    assert changed[0][1].reason == (
        f"B makes a tritone with F, the third of {symbol}, the sound of G7: by convention it is left quickly."
    )


@pytest.mark.parametrize(
    ("symbol", "key"),
    [
        ("Dm7", "A minor"),
        ("Bm7", "A minor"),
        ("Dm", "C major"),
        ("D7", "C major"),
        ("Dm7b5", "C major"),
        ("Dm13", "C major"),
        ("Am7", "C major"),
    ],
)
def test_the_convention_stays_where_it_belongs(symbol: str, key: str) -> None:
    """Other chords, other degrees, other keys: the switch changes nothing."""
    in_key = next(each for each in all_keys() if str(each) == key)
    chord = read_chord(symbol)
    assert note_fits(chord, in_key, dorian_sixth=True) == note_fits(chord, in_key)


# Through a chart


def test_repeats_are_listed_once() -> None:
    """A chord repeated at once stands there once, with the bars it fills, however it is written."""
    chords = chord_notes(parse_chart("| C | C / F / | Fmaj7 | FM7 | C |"))
    assert [(each.span.chord.symbol, each.bar, each.through) for each in chords] == [
        ("C", 1, 2),
        ("F", 2, 2),
        ("Fmaj7", 3, 4),
        ("C", 5, 5),
    ]
    assert [each.following.symbol if each.following else None for each in chords] == ["F", "Fmaj7", "C", None]
    assert (chords[-1].common, chords[-1].ways) == ((), ())


def test_a_chord_over_another_bass_is_another_chord() -> None:
    """All tones stay into it."""
    first, _ = chord_notes(parse_chart("| C | C/E |"))
    assert [str(shared.tone.name) for shared in first.common] == ["C", "E", "G"]


def test_no_chord_keeps_the_one_before() -> None:
    """Over N.C. the notes of the chord before fit, the remark says so, and the way leads on to the next chord."""
    played, silent, after = chord_notes(parse_chart("| Dm7 | N.C. | G7 |"))
    assert silent.remark == "no chord is played: Dm7 lingers in the ear"
    assert (silent.tones, silent.fits, silent.heard) == (played.tones, played.fits, played.heard)
    assert played.following == silent.following == after.heard
    assert played.remark == after.remark == ""


def test_no_chord_at_the_start_takes_the_one_to_come() -> None:
    """Before the first chord the one to come is meant."""
    silent, played = chord_notes(parse_chart("| N.C. | G7 |"))
    assert silent.remark == "no chord is played yet: G7 is next"
    assert silent.fits == played.fits
    assert silent.following is None


def test_values_are_frozen() -> None:
    """An answer cannot be changed."""
    with pytest.raises(FrozenInstanceError):
        chord_notes(parse_chart("| C |"))[0].bar = 2  # type: ignore[misc]


# Common tones and steps


@pytest.mark.parametrize("symbol", ["C", "Cm7b5", "C7", "C6/9", "Cdim7", "Caug", "C13"])
def test_common_tones_and_steps_by_brute_force(symbol: str) -> None:
    """Into every kind of chord on every root: all pairs of tones on paper, those that stay and those a step apart."""
    chord = read_chord(symbol)
    here = [tone.name.pitch_class for tone in chord.tones]
    for following in every_chord():
        there = {tone.name.pitch_class for tone in following.tones}
        stay = [shared.tone.name.pitch_class for shared in shared_tones(chord, following)]
        assert stay == [each for each in here if each in there]
        found = [
            (way.tone.name.pitch_class, way.goal.name.pitch_class, way.rise) for way in ways(chord, following)
        ]
        steps = {
            (one, other, rise)
            for one, other, rise in product(here, there, (-2, -1, 1, 2))
            if (one + rise) % 12 == other
        }
        assert len(found) == len(steps)
        assert set(found) == steps
        sizes = [abs(rise) for _, _, rise in found]
        assert sizes == sorted(sizes)


def test_ways_in_words() -> None:
    """Up and down, half and whole."""
    words = [way.words for way in ways(read_chord("Dm7"), read_chord("G7"))]
    assert words == [
        "C goes down a half step to B",
        "F goes up a whole step to G",
        "A goes down a whole step to G",
        "A goes up a whole step to B",
        "C goes up a whole step to D",
    ]


def test_a_common_tone_that_is_written_anew() -> None:
    """A tone that stays under another name is named with both."""
    (shared,) = (
        each for each in shared_tones(read_chord("Gb7"), read_chord("C7")) if str(each.tone.name) == "Fb"
    )
    assert shared.words == "Fb stays, now written E: the seventh of Gb7 becomes the third of C7"


# Text and document


def test_text_of_a_chart() -> None:
    """Heading, kinds with names, degrees and reasons, and the way on, in so many columns."""
    lines = notes_text(parse_chart("title: Harbour\n| Dm7 | Dm7 | G7 |", key="C"), width=100).splitlines()
    assert lines[:5] == [
        "Harbour: C major, 4/4",
        "Which notes fit each chord, and why",
        "",
        "bars 1 to 2  Dm7: D F A C",
        "    chord tone     D   1    D is the root of Dm7: it can fall on any beat and stay.",
    ]
    assert "    leave quickly  none" in lines
    assert "    into G7        D stays: the root of Dm7 becomes the fifth of G7." in lines
    assert "bar 3  G7: G B D F" in lines
    assert not [line for line in lines[lines.index("bar 3  G7: G B D F") :] if "into" in line.split()[:1]]


@pytest.mark.parametrize("width", [60, 80, 100])
def test_text_keeps_its_width(width: int) -> None:
    """No line is wider than asked for, and none ends in blanks."""
    for line in notes_text(parse_chart(CHART), width=width).splitlines():
        assert len(line) <= width
        assert line == line.rstrip()


BLUES = "| F7 | Bb7 | F7 | F7 | Bb7 | Bb7 | F7 | F7 | C7 | Bb7 | F7 | C7 |"


def test_a_chord_that_comes_again_is_told_once() -> None:
    """Text tells each chord of a blues once, with all its bars and the ways into what follows."""
    chart = parse_chart(BLUES)
    found = recurring(chord_notes(chart))
    assert [(each.notes.span.chord.symbol, each.bars) for each in found] == [
        ("F7", ((1, 1), (3, 4), (7, 8), (11, 11))),
        ("Bb7", ((2, 2), (5, 6), (10, 10))),
        ("C7", ((9, 9), (12, 12))),
    ]
    goals = [[str(place.following and place.following.symbol) for place in each.onward] for each in found]
    assert goals == [["Bb7", "C7"], ["F7"], ["Bb7"]]
    text = notes_text(chart)
    assert [line for line in text.splitlines() if line.startswith("bar")] == [
        "bars 1, 3 to 4, 7 to 8 and 11  F7: F A C Eb",
        "bars 2, 5 to 6 and 10  Bb7: Bb D F Ab",
        "bars 9 and 12  C7: C E G Bb",
    ]
    assert len(text.splitlines()) <= 200


def test_chords_are_told_apart_by_what_fits_them() -> None:
    """N.C. keeps a remark of its own, and another bass is another chord."""
    found = recurring(chord_notes(parse_chart("| C7 | N.C. | FM7 | FM7/C | FM7 | C7 |")))
    assert [(each.notes.span.chord.symbol, each.bars) for each in found] == [
        ("C7", ((1, 1), (6, 6))),
        ("N.C.", ((2, 2),)),
        ("FM7", ((3, 3), (5, 5))),
        ("FM7/C", ((4, 4),)),
    ]


def test_text_of_long_symbols() -> None:
    """A next chord whose symbol is too long for its column stands on a line of its own."""
    lines = notes_text(parse_chart("| C | Gb7(b9,#11) |"), width=100).splitlines()
    at = lines.index("    into Gb7(b9,#11)")
    assert lines[at + 1].lstrip() == "C stays: the root of C becomes the sharp eleventh of Gb7(b9,#11)."


@pytest.mark.parametrize("symbol", ["C5", "C", "Cmaj7"])
def test_there_is_always_a_way_on(symbol: str) -> None:
    """Into every other chord something stays or moves by step: even two tones leave no gap that a chord fits into."""
    chord = read_chord(symbol)
    assert all(shared_tones(chord, other) or ways(chord, other) for other in every_chord())


def test_document() -> None:
    """The keys that other programs rely on; the whole is JSON."""
    chart = parse_chart(CHART)
    document = json.loads(json.dumps(notes_document(chart)))
    assert document["chart"] == chart_document(chart, 120)
    first, _, _, silent, _, last = document["chords"]
    assert list(first) == [
        "bar",
        "through",
        "symbol",
        "key",
        "heard",
        "remark",
        "tones",
        "notes",
        "into",
        "common",
        "ways",
    ]
    assert first["tones"] == [
        {"name": "Eb", "degree": "1"},
        {"name": "G", "degree": "3"},
        {"name": "Bb", "degree": "5"},
        {"name": "D", "degree": "7"},
    ]
    assert {note["kind"] for note in first["notes"]} == set(NOTE_KINDS)
    assert [list(note) for note in first["notes"]] == [["name", "degree", "kind", "reason"]] * 12
    assert [shared["name"] for shared in first["common"]] == ["G", "Bb", "D"]
    assert first["ways"][0] == {
        "from": "Eb",
        "to": "D",
        "semitones": -1,
        "words": "Eb goes down a half step to D",
    }
    assert (silent["symbol"], silent["heard"], silent["into"]) == ("N.C.", "C7", "Fm7")
    assert (last["bar"], last["through"], last["into"], last["common"], last["ways"]) == (5, 6, None, [], [])


# Any chart


def test_control_characters_of_a_title_are_dropped() -> None:
    """No terminal should have them."""
    written = notes_text(replace(parse_chart("| C |"), title="Har\x08\x1bbour\ufffe"))
    assert "Harbour" in written
    assert all(letter.isprintable() or letter == "\n" for letter in written)


@pytest.mark.parametrize(
    "chart", ["| C |", "| N.C. | C |", "| C/D | Gb7(b9,#11) Fm11 |", "metre: 6/8\n| Am | E7 |"]
)
def test_every_chart_can_be_shown(chart: str) -> None:
    """Text and document have the same chords in the same order."""
    progression: Progression = parse_chart(chart)
    symbols = [each.span.chord.symbol for each in chord_notes(progression)]
    assert [each["symbol"] for each in notes_document(progression)["chords"]] == symbols
    blocks = re.findall(r"(?m)^bars? \d+(?: to \d+)?  (\S+):", notes_text(progression))
    assert blocks == symbols


def test_blue_notes_are_left_quickly() -> None:
    """Over the chords of a blues its third and fifth slide; they are no clashes, nor is there one to be held."""
    (first, *_) = chord_notes(parse_chart("| F7 | Bb7 | F7 | C7 |", key="F blues"))
    blue = {str(fit.name): fit.reason for fit in first.of_kind(LEAVE_QUICKLY) if "slides" in fit.reason}
    assert blue == {"Ab": "blue third: slides to A.", "B": "blue fifth: slides to Bb or C."}
    assert not {"Ab", "B"} & {str(fit.name) for fit in first.of_kind(CLASHES)}
