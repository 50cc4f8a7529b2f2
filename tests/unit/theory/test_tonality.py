"""The key at every chord: sixty charts over modulations that the trade knows, the blues, and what is written by hand."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from fillgen import ChartError, chart_text, ideas, parse_chart
from fillgen.chart.progression import Span, passing_names
from fillgen.chart.sequences import Sequence, sequences, spelled
from fillgen.engine.request import Request
from fillgen.phrase.note import Note
from fillgen.phrase.place import places
from fillgen.phrase.text import parse_phrase
from fillgen.rules.judge import roles
from fillgen.teaching.sentences import reasons
from fillgen.theory.chords import read_chord
from fillgen.theory.keys import read_key
from fillgen.theory.pitch import Name, key_on
from fillgen.theory.tonality import CHANGE, FAR, keys_of
from fillgen.vary.transposition import moved
from tests.effort import one_in

CHARTS = (
    # the last chorus up a half or a whole step
    "| F: F | Dm7 | Gm7 | C7 | F | Dm7 | Gm7 C7 | F G: D7 | G | Em7 | Am7 | D7 | G | Em7 | Am7 D7 | G |",
    "| Eb: Ebmaj7 | Cm7 | Fm7 | Bb7 | Ebmaj7 | Cm7 | Fm7 Bb7 | Eb6 | E: Emaj7 | C#m7 | F#m7 | B7 | Emaj7 | C#m7 | F#m7 B7 | E6 |",
    "| A: A | D | E7 | A | A | D | E7 | A | Bb: F7 | Bb | Eb | F7 | Bb | Bb | Eb | F7 | Bb |",
    "| D: D | Bm | G | A7 | D | Bm | G A7 | D | E: B7 | E | C#m | A | B7 | E | C#m | A B7 | E |",
    "| Ab: Abmaj7 | Fm7 | Bbm7 | Eb7 | Abmaj7 | Bbm7 Eb7 | Ab6 | A: Bm7 E7 | Amaj7 | F#m7 | Bm7 | E7 | Amaj7 | Bm7 E7 | A6 | A6 |",
    "| G: G | Am7 D7 | G | C | G | Am7 D7 | G | A: Bm7 E7 | A | Bm7 E7 | A | D | A | Bm7 E7 | A |",
    "| c: Cm | Fm | G7 | Cm | Cm | Fm | G7 | Cm | c#: G#7 | C#m | F#m | G#7 | C#m | C#m | F#m | G#7 | C#m |",
    "| Bb: Bb | Gm | Eb | F7 | Bb | Gm | Eb F7 | Bb | B: F#7 | B | G#m | E | F#7 | B | G#m | E F#7 | B |",
    # a bridge on IV
    "| C: Cmaj7 | Em7 | Dm7 | G7 | Cmaj7 | Em7 | Dm7 G7 | C6 | F: Gm7 | C7 | Fmaj7 | Dm7 | Gm7 | C7 | Fmaj7 | Fmaj7 | C: Dm7 | G7 | Cmaj7 | Em7 | Dm7 | G7 | C6 | C6 |",
    "| G: G | Em | Am | D7 | G | Em | Am D7 | G | C: Dm7 | G7 | C | Em | Dm7 | G7 | C | C | G: Am7 | D7 | G | Em | Am | D7 | G | G |",
    "| Eb: Ebmaj7 | Fm7 Bb7 | Ebmaj7 | Fm7 Bb7 | Eb6 | Fm7 Bb7 | Eb6 | Eb6 | Ab: Bbm7 | Eb7 | Abmaj7 | Fm7 | Bbm7 | Eb7 | Abmaj7 | Abmaj7 | Eb: Fm7 | Bb7 | Ebmaj7 | Cm7 | Fm7 | Bb7 | Eb6 | Eb6 |",
    "| D: D | A7 | D | G | D | A7 | D | D | G: Am7 | D7 | G | Em | Am7 | D7 | G | G | D: Em7 | A7 | D | G | D | A7 | D | D |",
    "| Bb: Bb6 | Gm7 | Cm7 | F7 | Bb6 | Gm7 | Cm7 F7 | Bb6 | Eb: Fm7 | Bb7 | Ebmaj7 | Cm7 | Fm7 | Bb7 | Ebmaj7 | Ebmaj7 | Bb: Cm7 | F7 | Bb6 | Gm7 | Cm7 | F7 | Bb6 | Bb6 |",
    "| A: A | F#m | Bm | E7 | A | F#m | Bm E7 | A | D: Em7 | A7 | D | Bm | Em7 | A7 | D | D | A: Bm7 | E7 | A | F#m | Bm | E7 | A | A |",
    # a bridge on VI
    "| C: Cmaj7 | Em7 | Dm7 | G7 | Cmaj7 | Em7 | Dm7 G7 | C6 | A: Bm7 | E7 | Amaj7 | F#m7 | Bm7 | E7 | Amaj7 | Amaj7 | C: Dm7 | G7 | Cmaj7 | Em7 | Dm7 | G7 | C6 | C6 |",
    "| Eb: Ebmaj7 | Cm7 | Fm7 | Bb7 | Ebmaj7 | Cm7 | Fm7 Bb7 | Eb6 | C: Dm7 | G7 | Cmaj7 | Em7 | Dm7 | G7 | Cmaj7 | Cmaj7 | Eb: Fm7 | Bb7 | Ebmaj7 | Cm7 | Fm7 | Bb7 | Eb6 | Eb6 |",
    "| F: F | Bb | C7 | F | F | Bb | C7 | F | D: A7 | D | G | A7 | D | G | A7 | D | F: C7 | F | Bb | C7 | F | Bb | C7 | F |",
    "| G: Gmaj7 | Em7 | Am7 | D7 | Gmaj7 | Em7 | Am7 D7 | G6 | E: F#m7 | B7 | Emaj7 | C#m7 | F#m7 | B7 | Emaj7 | Emaj7 | G: Am7 | D7 | Gmaj7 | Em7 | Am7 | D7 | G6 | G6 |",
    "| Bb: Bbmaj7 | Ebmaj7 | Cm7 | F7 | Bbmaj7 | Ebmaj7 | Cm7 F7 | Bb6 | G: Am7 | D7 | Gmaj7 | Em7 | Am7 | D7 | Gmaj7 | Gmaj7 | Bb: Cm7 | F7 | Bbmaj7 | Ebmaj7 | Cm7 | F7 | Bb6 | Bb6 |",
    "| D: Dmaj7 | Bm7 | Em7 | A7 | Dmaj7 | Bm7 | Em7 A7 | D6 | B: C#m7 | F#7 | Bmaj7 | G#m7 | C#m7 | F#7 | Bmaj7 | Bmaj7 | D: Em7 | A7 | Dmaj7 | Bm7 | Em7 | A7 | D6 | D6 |",
    # a bridge on bIII
    "| C: Cmaj7 | Em7 | Dm7 | G7 | Cmaj7 | Em7 | Dm7 G7 | C6 | Eb: Fm7 | Bb7 | Ebmaj7 | Cm7 | Fm7 | Bb7 | Ebmaj7 | Ebmaj7 | C: Dm7 | G7 | Cmaj7 | Em7 | Dm7 | G7 | C6 | C6 |",
    "| G: G | Em7 | Am7 | D7 | G | Em7 | Am7 D7 | G | Bb: Cm7 | F7 | Bbmaj7 | Gm7 | Cm7 | F7 | Bbmaj7 | Bbmaj7 | G: Am7 | D7 | G | Em7 | Am7 | D7 | G | G |",
    "| F: Fmaj7 | Gm7 C7 | Fmaj7 | Gm7 C7 | Fmaj7 | Gm7 C7 | F6 | F6 | Ab: Bbm7 | Eb7 | Abmaj7 | Fm7 | Bbm7 | Eb7 | Abmaj7 | Abmaj7 | F: Gm7 | C7 | Fmaj7 | Dm7 | Gm7 | C7 | F6 | F6 |",
    "| A: A | D | E7 | A | A | D | E7 | A | C: G7 | C | F | G7 | C | F | G7 | C | A: E7 | A | D | E7 | A | D | E7 | A |",
    "| Bb: Bbmaj7 | Gm7 | Cm7 | F7 | Bbmaj7 | Gm7 | Cm7 F7 | Bb6 | Db: Ebm7 | Ab7 | Dbmaj7 | Bbm7 | Ebm7 | Ab7 | Dbmaj7 | Dbmaj7 | Bb: Cm7 | F7 | Bbmaj7 | Gm7 | Cm7 | F7 | Bb6 | Bb6 |",
    "| D: D | Bm7 | Em7 | A7 | D | Bm7 | Em7 A7 | D | F: Gm7 | C7 | F | Dm7 | Gm7 | C7 | F | F | D: Em7 | A7 | D | Bm7 | Em7 | A7 | D | D |",
    # to the relative key and back
    "| C: C | G7 | C | F | C | G7 | C | C | a: E7 | Am | Dm | Am | E7 | Am | E7 | Am | C: G7 | C | F | G7 | C |",
    "| Eb: Eb | Bb7 | Eb | Ab | Eb | Bb7 | Eb | Eb | c: G7 | Cm | Fm | Cm | Dm7b5 | G7 | Cm | Cm | Eb: Bb7 | Eb | Ab | Bb7 | Eb |",
    "| a: Am | Dm | E7 | Am | Am | Dm | E7 | Am | C: G7 | C | F | C | Dm7 | G7 | C | C | a: E7 | Am | Dm | E7 | Am |",
    "| d: Dm | Gm | A7 | Dm | Dm | Gm | A7 | Dm | F: Gm7 | C7 | Fmaj7 | Bbmaj7 | Gm7 | C7 | F | F | d: Em7b5 | A7 | Dm | Gm | A7 | Dm |",
    "| g: Gm | Cm | D7 | Gm | Am7b5 | D7 | Gm | Gm | Bb: F7 | Bb | Eb | Bb | Cm7 | F7 | Bb | Bb | g: Am7b5 | D7 | Gm | Cm | D7 | Gm |",
    "| G: G | D7 | G | C | G | D7 | G | G | e: B7 | Em | Am | Em | F#m7b5 | B7 | Em | Em | G: D7 | G | C | D7 | G |",
    "| f: Fm | Bbm | C7 | Fm | Fm | Bbm | C7 | Fm | Ab: Bbm7 | Eb7 | Abmaj7 | Dbmaj7 | Bbm7 | Eb7 | Ab6 | Ab6 | f: Gm7b5 | C7 | Fm | Bbm | C7 | Fm |",
    # to the parallel key and back
    "| C: Cmaj7 | Dm7 G7 | Cmaj7 | Dm7 G7 | Cmaj7 | Em7 | Dm7 G7 | C6 | c: Cm | Fm | Dm7b5 | G7 | Cm | Fm | G7 | Cm | C: Cmaj7 | Em7 | Dm7 | G7 | C6 | C6 |",
    "| d: Dm | Gm | A7 | Dm | Gm | Dm | Em7b5 A7 | Dm | D: D | Em7 | A7 | D | Bm7 | Em7 | A7 | D | d: Dm | Gm | A7 | Dm |",
    "| g: Gm | Cm | D7 | Gm | Gm | Cm | D7 | Gm | G: G | C | D7 | G | Em | Am | D7 | G |",
    "| F: F6 | Gm7 C7 | F6 | Gm7 C7 | F6 | Dm7 | Gm7 C7 | F6 | f: Fm | Bbm | C7 | Fm | Db | Gm7b5 | C7 | Fm | F: F6 | Dm7 | Gm7 | C7 | F6 |",
    "| e: Em | Am | B7 | Em | C | Am | B7 | Em | E: E | A | B7 | E | C#m | F#m7 | B7 | E | e: Em | Am | B7 | Em |",
    "| A: A | E7 | A | D | A | E7 | A | A | a: Am | Dm | E7 | Am | F | Dm | E7 | Am | A: A | D | E7 | A |",
    "| Bb: Bbmaj7 | Cm7 F7 | Bbmaj7 | Gm7 | Cm7 | F7 | Bb6 | Bb6 | bb: Bbm | Ebm | F7 | Bbm | Gb | Cm7b5 | F7 | Bbm | Bb: Bbmaj7 | Gm7 | Cm7 | F7 | Bb6 |",
    # chains of ii-V, with and without a change of key
    "| C: Dm7 | G7 | Cmaj7 | Cmaj7 | Db: Ebm7 | Ab7 | Dbmaj7 | Dbmaj7 |",
    "| G: Am7 | D7 | Gmaj7 | Gmaj7 | F: Gm7 | C7 | Fmaj7 | Fmaj7 | Eb: Fm7 | Bb7 | Ebmaj7 | Ebmaj7 |",
    "| Ab: Bbm7 | Eb7 | Abmaj7 | Abmaj7 | G: Am7 | D7 | Gmaj7 | Gmaj7 | E: F#m7 | B7 | Emaj7 | Emaj7 |",
    "| D: Em7 | A7 | Dmaj7 | Dmaj7 | C: Dm7 | G7 | Cmaj7 | Cmaj7 | Bb: Cm7 | F7 | Bbmaj7 | Bbmaj7 |",
    "| F: Fmaj7 | Fmaj7 | Gm7 | C7 | Fmaj7 | Fmaj7 | Em7b5 | A7 | Dm7 | G7 | Gm7 | C7 | Fmaj7 | Fmaj7 |",
    "| Bb: Bbmaj7 | Dm7 G7 | Cm7 | F7 | Dm7 | G7 | Cm7 | F7 | Bbmaj7 | Bbmaj7 |",
    "| Eb: Ebmaj7 | Am7b5 D7 | Gm7 C7 | Fm7 Bb7 | Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |",
    "| C: Cmaj7 | Em7b5 A7 | Dm7 | G7 | Em7 A7 | Dm7 G7 | Cmaj7 | Cmaj7 |",
    "| e: F#m7b5 | B7 | Em | Em | d: Em7b5 | A7 | Dm | Dm | c: Dm7b5 | G7 | Cm | Cm |",
    "| A: C#m7 F#7 | Bm7 E7 | Amaj7 | Amaj7 | C: Dm7 G7 | Cmaj7 | Cmaj7 | A: Bm7 E7 | Amaj7 | Amaj7 |",
    # backdoor, tritone substitute, borrowed and passing chords: no change of key
    "| C: Cmaj7 | Fm7 Bb7 | Cmaj7 | Em7 | Dm7 | G7 | Cmaj7 | Cmaj7 |",
    "| Eb: Ebmaj7 | Abm7 Db7 | Ebmaj7 | Cm7 | Fm7 | Bb7 | Ebmaj7 | Ebmaj7 |",
    "| G: Gmaj7 | Em7 | Am7 | Ab7 | Gmaj7 | Em7 | Am7 Ab7 | Gmaj7 |",
    "| F: Fmaj7 | Ab7 | Gm7 | Gb7 | Fmaj7 | D7 | Gm7 Gb7 | Fmaj7 |",
    "| Bb: Bbmaj7 | Bbmaj7 | Ebmaj7 | Ebm7 Ab7 | Bbmaj7 | G7 | Cm7 F7 | Bb6 |",
    "| D: D | D7 | G | Gm6 | D | B7 | Em7 A7 | D |",
    "| A: Amaj7 | Bbdim7 | Bm7 | E7 | Amaj7 | F#7 | Bm7 Bb7 | Amaj7 |",
    "| Ab: Abmaj7 | Adim7 | Bbm7 | Eb7 | Cm7 | Bdim7 | Bbm7 A7 | Abmaj7 |",
    "| E: E | C#7 | F#7 | B7 | E | E7 | A Am | E B7 | E |",
    "| a: Am7 | Bm7b5 | E7 | Am7 | Dm7 | Bb7 | Am7 E7 | Am |",
    "| c: Cm | Ab7 | G7 | Cm | Fm | Db | G7 | Cm |",
    "| Db: Dbmaj7 | Gbm7 Cb7 | Dbmaj7 | Bbm7 | Ebm7 | Ab7 | Dbmaj7 | Dbmaj7 |",
)
"""Charts with their keys written before the chords from which they hold. Sources: common practice; the dominant and the ii
before it belong to the key they lead to."""

_WRITTEN = re.compile(r"(?<=\s)[A-Ga-g][b#]?:")
BLUES = {
    "plain": "| I7 | I7 | I7 | I7 | IV7 | IV7 | I7 | I7 | V7 | IV7 | I7 | I7 |",
    "quick change": "| I7 | IV7 | I7 | I7 | IV7 | IV7 | I7 | I7 | V7 | IV7 | I7 | V7 |",
    "jazz": "| I7 | IV7 | I7 | v7 I7 | IV7 | #ivdim7 | I7 | iiiø VI7 | ii7 | V7 | I7 VI7 | ii7 V7 |",
    "minor": "| i7 | iv7 | i7 | i7 | iv7 | iv7 | i7 | i7 | bVI7 | V7 | i7 | iiø V7 |",
}
"""Forms of the blues. Source: common practice; the plain form is in Open Music Theory, Blues harmony."""
TONICS = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


def keys_at(text: str) -> list[str]:
    return [str(span.key) for span in parse_chart(text).spans]


def test_there_are_sixty() -> None:
    """The table is as long as it claims to be."""
    assert len(set(CHARTS)) >= 60


@pytest.mark.parametrize("chart", CHARTS)
def test_keys_are_found_where_they_are(chart: str) -> None:
    """Every chord of every chart is in the key that is written for it, when it is not written."""
    assert keys_at(_WRITTEN.sub("", chart)) == keys_at(chart)


@pytest.mark.parametrize("chart", CHARTS)
def test_keys_move_with_a_chart(chart: str) -> None:
    """In another key the changes come at the same chords, by the same intervals."""
    found = parse_chart(_WRITTEN.sub("", chart))
    away = key_on(found.key.tonic.up(3, 5), found.key.mode)
    request, _, _ = moved(Request(found), (Note(0, 480, 72),), away)
    there = keys_of([span.chord for span in request.progression.spans])
    rises = {
        (b.tonic.pitch_class - a.key.tonic.pitch_class) % 12 for a, b in zip(found.spans, there, strict=True)
    }
    assert rises == {5}
    assert [key.mode for key in there] == [span.key.mode for span in found.spans]


@pytest.mark.parametrize("known", sequences(), ids=lambda known: known.name)
def test_a_stock_sequence_stays_in_its_key(known: Sequence) -> None:
    """Every sequence of the table is heard on one tonic when its key is given: passing dominants change nothing."""
    key = key_on(Name.read("Eb"), known.mode)
    assert {span.key.tonic for span in spelled(known, key).spans} == {key.tonic}


@pytest.mark.parametrize("form", BLUES)
@pytest.mark.parametrize("tonic", TONICS)
def test_a_blues_is_in_its_key(form: str, tonic: str) -> None:
    """Four forms in twelve keys are heard in the blues or, the minor one, in the minor key on their tonic."""
    mode = "minor" if form == "minor" else "major"
    written = parse_chart(BLUES[form], key=key_on(Name.read(tonic), mode))
    found = keys_of([span.chord for span in written.spans])
    kind = "minor" if form == "minor" else "blues"
    assert {(key.tonic.pitch_class, key.mode) for key in found} == {(Name.read(tonic).pitch_class, kind)}


def test_a_major_key_that_is_given_may_be_a_blues() -> None:
    """--key Bb over a blues in B flat leaves the chart's key as it was given and hears the blues."""
    chart = parse_chart("| Bb7 | Eb7 | Bb7 | F7 |", key="Bb")
    assert (str(chart.key), chart.keys_in_words) == ("Bb major", "Bb blues")


def test_the_seventh_of_a_blues_is_flat_over_four() -> None:
    """Over IV7 the flat seventh of the key may pass, over V7 its leading note."""
    blues = read_key("F blues")
    over = {
        symbol: {str(name) for name in passing_names(read_chord(symbol), blues)} for symbol in ("Bb7", "C7")
    }
    assert {"Eb"} == over["Bb7"] & {"E", "Eb"}
    assert {"E"} == over["C7"] & {"E", "Eb"}


def test_an_ending_may_close_on_a_seventh_chord() -> None:
    """A blues whose last bars are on I7 is an ending."""
    found = ideas("| G7 | C7 | G7 | G7 |", level=3, count=3, purpose="ending")
    assert len(found) == 3


@pytest.mark.parametrize("level", [4, 5])
def test_blue_notes_slide(level: int) -> None:
    """Of fifty ideas in swing fifteen at least have a blue note; each goes on by a half step."""
    chart = "| Bb7 | Eb7 | Bb7 | Fm7 Bb7 | Eb7 | Edim7 | Bb7 | Dm7b5 G7 | Cm7 | F7 | Bb7 G7 | Cm7 F7 |"
    found = ideas(chart, level=level, rhythm="swing", count=50, seed=3)
    with_one = 0
    for idea in found:
        why = reasons(found.progression, idea.phrase)
        blue = [index for index, text in enumerate(why) if "is the blue" in text]
        with_one += bool(blue)
        assert all(abs(idea.phrase[n + 1].midi - idea.phrase[n].midi) == 1 for n in blue)
        assert all(idea.notes[n].role == "approach" for n in blue)
    assert with_one >= 15


def is_diatonic(span: Span) -> bool:
    """Whether a chord lies wholly in its major key."""
    scale = {name.pitch_class for name in span.key.scale}
    return span.key.mode == "major" and all(tone.name.pitch_class in scale for tone in span.heard.tones)


@pytest.mark.costly
@pytest.mark.parametrize(
    ("chart", "level"),
    one_in(3, [(chart, 1 + (n + turn) % 3) for n, chart in enumerate(CHARTS[::6]) for turn in range(3)]),
)
def test_diatonic_stretches_stay_in_their_key(chart: str, level: int) -> None:
    """Where a chord and the one that a note leads to lie in one major key, no idea of levels 1 to 3 has a note outside it."""
    progression = parse_chart(chart)
    asked = 0
    for idea in ideas(progression, level=level, count=5, seed=2):
        for note, after in pairwise(idea.phrase):
            spans = progression.span_at(note.onset), progression.span_at(after.onset)
            if all(map(is_diatonic, spans)) and spans[0].key == spans[1].key:
                asked += 1
                inside = {name.pitch_class for name in spans[0].key.scale}
                assert note.midi % 12 in inside, (idea.rank, note)
    assert asked or not any(map(is_diatonic, progression.spans))


# Keys by hand


@pytest.mark.parametrize(
    ("text", "keys"),
    [
        ("| Dm7 | G7 | Db: Ebm7 |", ["C major", "C major", "Db major"]),
        ("| c#: D#m7b5 | G#7 | bb: Cm7b5 F7 |", ["C# minor", "C# minor", "Bb minor", "Bb minor"]),
        ("| F blues: F7 | F7 |", ["F blues", "F blues"]),
        ("| Eb: ii7 V7 | Gb: ii7 V7 |", ["Eb major", "Eb major", "Gb major", "Gb major"]),
        ("|: Eb: Ab7 | Db: Ab7 :|", ["Eb major", "Db major", "Eb major", "Db major"]),
        ("F#m: C#7\n| D: A7 |", ["F# minor", "D major"]),
        ("| A: E7 | % | Ab: Eb7 | % |", ["A major", "A major", "Ab major", "Ab major"]),
    ],
)
def test_keys_written_before_chords(text: str, keys: list[str]) -> None:
    """A key holds to the next one, in the order in which the chart is written; numerals are read in it."""
    chart = parse_chart(text)
    assert [str(span.key) for span in chart.spans] == keys
    again = parse_chart(chart_text(chart))
    assert again == chart


def test_a_key_needs_a_chord() -> None:
    """A key at the end of a bar stands before nothing and is refused with its place."""
    with pytest.raises(ChartError) as caught:
        parse_chart("| F | C7 Db: |")
    assert "bar 2" in str(caught.value)


def test_changes_cost_what_they_say() -> None:
    """A far change is dearer than a near one, and a single passing dominant is worth neither."""
    assert 0 < CHANGE < CHANGE + FAR
    assert set(keys_at("| Ebmaj7 | C7 | Fm7 | Bb7 |")) == {"Eb major"}


# Minor


def test_the_raised_sixth_of_minor_climbs() -> None:
    """In minor the raised sixth passes on its way up to the raised seventh, and the natural one elsewhere."""
    chart = parse_chart("| D7 | Gm |", key="G minor")

    def kinds(text: str) -> list[str]:
        phrase = parse_phrase(text, chart.metre)
        where = places(chart, [(note.onset, note.length) for note in phrase])
        return roles(where, [note.midi for note in phrase])

    assert kinds("D5q E5q F#5h | G5w")[1] == "passing"
    assert kinds("D5q Eb5q D5h | G5w")[1] == "neighbour"
    assert kinds("F#5q E5q D5h | G5w")[1] == ""
