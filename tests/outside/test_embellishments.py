"""What a note outside the chord is, against music21's three-note segments and definitions worked by hand.

Sources: `music21.voiceLeading.ThreeNoteLinearSegment`; Shaffer, Hughes and Moseley, Open Music Theory (CC BY-SA),
chapter Embellishing tones. Open Music Theory lets a passing or neighbour tone be accented too; fillgen takes the
unaccented ones only, and leaves out escape tones and suspensions. Approach notes and enclosures, and the last tests
of this page, are common practice.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from itertools import product

import pytest
from music21 import interval, voiceLeading
from music21 import pitch as music21_pitch

import fillgen
from fillgen import parse_chart, parse_phrase
from fillgen.chart.progression import Progression
from fillgen.phrase.note import Phrase
from fillgen.phrase.place import Place, places
from fillgen.rules.judge import breaches, roles
from fillgen.rules.pack import RulePack
from fillgen.rules.rule import Seen
from fillgen.rules.tones import EMBELLISHMENTS, neighbour, passing

C_MAJOR_TRIAD = 0b000010010001
WHITE_NOTES = 0b101010110101
C_ONLY = 0b000000000001
WHITE = ["C4", "D4", "E4", "F4", "G4", "A4", "B4", "C5"]
BEAT = 96
"""A beat in the unit of `Place.length`."""


# Every triple of white notes


def place(*, strong: bool) -> Place:
    """A place over a C major chord in C major, one beat long, with notes on either side."""
    return Place(
        strong=strong,
        length=BEAT,
        before_rest=False,
        chord=C_MAJOR_TRIAD,
        root=C_ONLY,
        passing=WHITE_NOTES,
    )


@cache
def height(name: str) -> int:
    """The MIDI number of a name, by music21."""
    return int(music21_pitch.Pitch(name).midi)


@cache
def segment(names: tuple[str, str, str]) -> voiceLeading.ThreeNoteLinearSegment:
    """Three notes in a row, in music21."""
    return voiceLeading.ThreeNoteLinearSegment(*names)


def seen(names: Sequence[str], *, strong: bool) -> tuple[Seen, Seen, Seen]:
    """Three notes in a row as a rule sees them, the middle one on a strong or a weak place."""
    before, note, after = (height(name) for name in names)
    outer = place(strong=True)
    return Seen(outer, before), Seen(place(strong=strong), note), Seen(outer, after)


TRIPLES: list[tuple[str, str, str]] = list(product(WHITE, repeat=3))


def test_passing_is_what_music21_takes_for_passing() -> None:
    """Of the 512 triples of white notes just those pass, on a weak place, that could pass in music21."""
    ours = {names for names in TRIPLES if bool(passing(*seen(names, strong=False)))}
    theirs = {names for names in TRIPLES if segment(names).couldBePassingTone()}
    assert ours == theirs
    assert len(ours) == 12


def test_neighbour_is_what_music21_takes_for_neighbour() -> None:
    """Of the 512 triples of white notes just those are neighbours, on a weak place, that could be in music21."""
    ours = {names for names in TRIPLES if bool(neighbour(*seen(names, strong=False)))}
    theirs = {names for names in TRIPLES if segment(names).couldBeNeighborTone()}
    assert ours == theirs
    assert len(ours) == 14


def test_nothing_passes_or_returns_on_a_strong_place() -> None:
    """On a strong place no triple of white notes passes or returns."""
    strong = [seen(names, strong=True) for names in TRIPLES]
    assert len(strong) == 512
    assert not any(bool(passing(*window)) or bool(neighbour(*window)) for window in strong)


@pytest.mark.parametrize("name", WHITE)
def test_neither_end_of_a_phrase_passes_or_returns(name: str) -> None:
    """A note without a note before or after it is neither a passing nor a neighbour note."""
    for other in WHITE:
        before, note, _ = seen((other, name, other), strong=False)
        for question in (passing, neighbour):
            assert not bool(question(None, note, before))
            assert not bool(question(before, note, None))


def test_a_note_outside_the_scale_neither_passes_nor_returns() -> None:
    """A black note between white ones is in neither the chord nor the scale, and is no passing note of C major."""
    black = ["C#4", "D#4", "F#4", "G#4", "A#4"]
    triples = list(product(WHITE, black, WHITE))
    by_step = [names for names in triples if segment(names).couldBeChromaticNeighborTone()]
    assert by_step
    for names in triples:
        window = seen(names, strong=False)
        assert not bool(passing(*window) or neighbour(*window)), names


# Definitions, worked out


TONE = "chord tone"
NOTHING = ""

WORKED = {
    "a passing tone fills a third upward": ("C", "| C |", "4/4", "C5q D5q E5h", [TONE, "passing", TONE]),
    "a passing tone fills a third downward": ("C", "| C |", "4/4", "G5q F5q E5h", [TONE, "passing", TONE]),
    "two passing tones fill a fourth": (
        "C",
        "| C |",
        "4/4",
        "G4e A4e B4e C5e G4h",
        [TONE, "passing", "passing", TONE, TONE],
    ),
    "a passing tone is taken from the key's scale": (
        "Bb",
        "| Eb |",
        "4/4",
        "G4q A4q Bb4h",
        [TONE, "passing", TONE],
    ),
    "a passing tone in a minor key": ("Am", "| Am |", "4/4", "E5q D5q C5h", [TONE, "passing", TONE]),
    "a passing tone on two of a waltz bar": ("C", "| C |", "3/4", "C5q D5q E5q", [TONE, "passing", TONE]),
    "a passing tone on the third eighth of 6/8": (
        "C",
        "| C |",
        "6/8",
        "C5q D5e E5q.",
        [TONE, "passing", TONE],
    ),
    "a passing tone across the bar line": (
        "C",
        "| C | Dm |",
        "4/4",
        "C5h. B4q | A4w",
        [TONE, "passing", TONE],
    ),
    "no passing tone on a strong beat": (
        "C",
        "| C |",
        "4/4",
        "C5q E5q F5q G5q",
        [TONE, TONE, NOTHING, TONE],
    ),
    "an upper neighbour": ("C", "| C |", "4/4", "E5q F5q E5h", [TONE, "neighbour", TONE]),
    "a lower neighbour": ("C", "| C |", "4/4", "C5q B4q C5h", [TONE, "neighbour", TONE]),
    "no neighbour that does not return": (
        "C",
        "| C |",
        "4/4",
        "E5q D5q G5h",
        [TONE, NOTHING, TONE],
    ),
    "a double neighbour encloses its tone": (
        "C",
        "| C |",
        "4/4",
        "C5q D5e B4e C5h",
        [TONE, "approach", "approach", TONE],
    ),
    "an anticipation is struck again as a tone of the new chord": (
        "C",
        "| C | F |",
        "4/4",
        "G5h. F5q | F5w",
        [TONE, "anticipation", TONE],
    ),
    "an anticipation may be reached by leap": (
        "C",
        "| G7 | C |",
        "4/4",
        "G4h. C5q | C5w",
        [TONE, "anticipation", TONE],
    ),
    "an early arrival is tied into the new chord": (
        "C",
        "| C | F |",
        "4/4",
        "G5h. F5q~ | F5w",
        [TONE, "anticipation"],
    ),
    "no anticipation where the new chord lacks the note": (
        "C",
        "| C | G |",
        "4/4",
        "E5h. F5q | F5h D5h",
        [TONE, NOTHING, NOTHING, TONE],
    ),
    "an appoggiatura leaps up and resolves down": (
        "C",
        "| C |",
        "4/4",
        "E5h A5q G5q",
        [TONE, "appoggiatura", TONE],
    ),
    "an appoggiatura leaps down and resolves up": (
        "C",
        "| C |",
        "4/4",
        "G5h D5q E5q",
        [TONE, "appoggiatura", TONE],
    ),
    "an appoggiatura on the beat of a new chord": (
        "C",
        "| C | Dm |",
        "4/4",
        "C5w | G5h F5h",
        [TONE, "appoggiatura", TONE],
    ),
    "no appoggiatura that goes on in the direction of its leap": (
        "C",
        "| C |",
        "4/4",
        "G4h D5q E5q",
        [TONE, NOTHING, TONE],
    ),
    "no appoggiatura on a weak beat": ("C", "| C |", "4/4", "C5q A5q G5h", [TONE, NOTHING, TONE]),
    "no appoggiatura that leaps away": ("C", "| C |", "4/4", "E5h A5q E5q", [TONE, NOTHING, TONE]),
    "no appoggiatura that is reached by step": (
        "C",
        "| C |",
        "4/4",
        "G5h A5q G5q",
        [TONE, NOTHING, TONE],
    ),
    "an escape tone is none of the kinds": ("C", "| C |", "4/4", "E5q F5q C5h", [TONE, NOTHING, TONE]),
    "a suspension is none of the kinds": ("C", "| F | C |", "4/4", "F5w | F5h E5h", [TONE, NOTHING, TONE]),
    "a chromatic approach from below": ("C", "| C |", "4/4", "C5q D#5q E5h", [TONE, "approach", TONE]),
    "a chromatic approach from above": ("C", "| C |", "4/4", "C5q Ab5q G5h", [TONE, "approach", TONE]),
    "a leading note reached by leap approaches the new chord": (
        "C",
        "| C | F |",
        "4/4",
        "E5h G5q G5e B5e | C6w",
        [TONE, TONE, TONE, "approach", TONE],
    ),
    "a chord tone is a chord tone however it is reached": (
        "C",
        "| Em |",
        "4/4",
        "G5q B4q G5h",
        [TONE, TONE, TONE],
    ),
}
"""Small phrases, each with its key, chart, metre and what its notes are."""


def judged(chart: Progression, phrase: Phrase) -> list[str]:
    """What each note of a phrase is over a chart."""
    rhythm = [(note.onset, note.length) for note in phrase]
    return roles(places(chart, rhythm), [note.midi for note in phrase])


def test_enough_cases_for_every_kind() -> None:
    """Every kind of note outside the chord is worked out, and so are notes that are none of them."""
    told = {role for *_, wanted in WORKED.values() for role in wanted}
    assert told == {TONE, NOTHING, *EMBELLISHMENTS}
    assert len(WORKED) >= 12


@pytest.mark.parametrize("says", WORKED)
def test_worked_definitions(says: str) -> None:
    """Each note of a worked phrase is what its definition says it is."""
    key, text, metre, notes, wanted = WORKED[says]
    chart = parse_chart(text, key=key, metre=metre)
    assert judged(chart, parse_phrase(notes, chart.metre)) == wanted


MAJOR_TONICS = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"]
MINOR_TONICS = ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"]


def to_music21(name: str) -> music21_pitch.Pitch:
    """A spelled name as a pitch of music21."""
    return music21_pitch.Pitch(name[0] + name[1:].replace("b", "-") + "4")


def moved_chart(text: str, rise: interval.Interval) -> str:
    """A chart with every root moved by an interval, in music21's spelling of it."""

    def moved(found: re.Match[str]) -> str:
        return str(rise.transposePitch(to_music21(found[0])).name).replace("-", "b")

    return re.sub(r"[A-G][b#]?", moved, text)


@pytest.mark.parametrize("says", WORKED)
def test_roles_do_not_depend_on_the_key(says: str) -> None:
    """A worked phrase moved with its chart into each of the twelve keys keeps the roles of its notes."""
    key, text, metre, notes, wanted = WORKED[says]
    mode = "minor" if key.endswith("m") else "major"
    for tonic in MINOR_TONICS if mode == "minor" else MAJOR_TONICS:
        rise = interval.Interval(to_music21(key.removesuffix("m")), to_music21(tonic))
        chart = parse_chart(moved_chart(text, rise), key=f"{tonic} {mode}", metre=metre)
        phrase = parse_phrase(notes, chart.metre)
        higher = tuple(replace(note, midi=note.midi + rise.semitones) for note in phrase)
        assert judged(chart, higher) == wanted, (tonic, text)


# Common practice


def broken(text: str, notes: str, level: int) -> list[tuple[int, str]]:
    """The rules of a level that a phrase breaks over a chart in C, each with the note it breaks it at."""
    chart = parse_chart(text, key="C")
    phrase = parse_phrase(notes, chart.metre)
    where = places(chart, [(note.onset, note.length) for note in phrase])
    found = breaches(RulePack().level(level).uses, where, [note.midi for note in phrase])
    return [(breach.index, breach.use.rule.kind) for breach in found]


def test_on_a_dominant_the_phrase_rests_on_root_or_third() -> None:
    """Every idea over a turnaround ends on the dominant's root or third, and both of them are used."""
    last = [
        idea.notes[-1].name[:-1]
        for seed in range(3)
        for idea in fillgen.ideas("| Dmaj7 | F#m7 B7 | Em7 | A7 |", seed=seed, count=20)
    ]
    assert len(last) == 60
    assert set(last) == {"A", "C#"}


@pytest.mark.parametrize(
    ("chart", "phrase"),
    [
        ("| C | Am |", "E5h C5h~ | C5w"),
        ("| C | F |", "E5h C5h~ | C5h A4h"),
        ("| Dm7 | G7 |", "A4h D5h~ | D5h B4h"),
        ("| C G | C |", "E5h D5h | C5w"),
    ],
)
def test_a_common_tone_may_be_kept(chart: str, phrase: str) -> None:
    """A tone that belongs to both chords may be held while the chord changes."""
    assert broken(chart, phrase, 2) == []


@pytest.mark.parametrize(
    ("chart", "phrase", "index"),
    [("| C | Dm |", "E5h C5h~ | C5h D5h", 1), ("| C | G7 |", "C5h E5h~ | E5h G5h", 1)],
)
def test_a_tone_of_the_old_chord_alone_may_not_be_kept(chart: str, phrase: str, index: int) -> None:
    """A tone that the new chord lacks may not be held into it."""
    assert (index, "held-note") in broken(chart, phrase, 2)


SMALL_LEAP = 5
LOW, HIGH = 60, 79
"""The range of level 2, C4 to G5."""


def chord_walks(tones: Sequence[set[int]], finals: set[int]) -> Iterator[tuple[int, ...]]:
    """Every walk over chord tones by steps and small leaps that ends on a final and strikes no pitch three times."""
    walks: list[tuple[int, ...]] = [()]
    for number, chord in enumerate(tones):
        wanted = finals if number == len(tones) - 1 else chord
        walks = [
            (*walk, midi)
            for walk in walks
            for midi in range(LOW, HIGH + 1)
            if midi % 12 in wanted
            and (not walk or abs(midi - walk[-1]) <= SMALL_LEAP)
            and walk[-2:] != (midi, midi)
        ]
    yield from walks


@pytest.mark.parametrize(
    ("text", "tones", "finals"),
    [
        ("| C | F | G7 | C |", [{0, 4, 7}, {5, 9, 0}, {7, 11, 2, 5}, {0, 4, 7}], {0, 4}),
        ("| Am | Dm | E7 | Am |", [{9, 0, 4}, {2, 5, 9}, {4, 8, 11, 2}, {9, 0, 4}], {9, 0}),
        ("| C | G7 |", [{0, 4, 7}, {0, 4, 7}, {7, 11, 2, 5}, {7, 11, 2, 5}], {7, 11}),
    ],
)
def test_chord_notes_alone_break_no_rule(text: str, tones: list[set[int]], finals: set[int]) -> None:
    """A phrase of chord notes with small leaps breaks no rule of level 2."""
    chart = parse_chart(text)
    length = chart.length // len(tones)
    where = places(chart, [(number * length, length) for number in range(len(tones))])
    uses = RulePack().level(2).uses
    walks = list(chord_walks(tones, finals))
    assert len(walks) >= 50
    for walk in walks:
        assert breaches(uses, where, walk) == [], walk


@pytest.mark.parametrize("foreign", ["D5", "F5", "A4", "B4", "F#5"])
@pytest.mark.parametrize("level", [2, 3])
def test_a_note_outside_the_chord_needs_a_way_in_and_out(foreign: str, level: int) -> None:
    """Reached and left by leap on a weak beat, a note outside the chord breaks a rule at its place."""
    other = "G4" if foreign in {"D5", "F5", "F#5"} else "E5"
    assert (1, "non-chord-note") in broken("| C |", f"{other}q {foreign}q {other}h", level)
