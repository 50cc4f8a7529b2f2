"""What textbooks call the notes outside the chord, against worked examples and music21's three-note segments.

Sources: Shaffer, Hughes and Moseley, Open Music Theory (CC BY-SA), chapter Embellishing tones: how each kind is
approached, left and accented; the examples are made from these definitions. Hutchinson, Music Theory for the
21st-Century Classroom, 10.4: an appoggiatura whose leap and step may go in any direction. `music21.voiceLeading`'s
`ThreeNoteLinearSegment`. The cases marked as schoolbook cases are common practice, written down from memory.
What `test_embellishments.py` checks (the kinds that levels use, triples of white notes) is not repeated.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from functools import cache
from itertools import product

import pytest
from music21 import interval, voiceLeading

from fillgen import Note, Phrase, Progression, parse_chart, parse_phrase
from fillgen.rules.tones import EMBELLISHMENTS
from fillgen.teaching.line import Line
from fillgen.teaching.naming import FURTHER_TONES, kinds
from fillgen.teaching.sentences import reasons
from fillgen.teaching.wider import WIDER_TONES
from tests.outside.test_embellishments import MAJOR_TONICS, moved_chart, to_music21

TONE = "chord tone"


@dataclass(frozen=True)
class Case:
    """A phrase in C major: its chart, metre and text, and what the book calls each of its notes."""

    chart: str
    metre: str
    phrase: str
    kinds: tuple[str, ...]


def case(chart: str, phrase: str, *kinds: str, metre: str = "4/4") -> Case:
    """A case with `-` for a chord tone."""
    return Case(chart, metre, phrase, tuple(TONE if kind == "-" else kind for kind in kinds))


DEFINED = {
    # Passing: step in, step out the same way, accented or not
    "PT fills a third": case("| C |", "C5q D5q E5h", "-", "passing", "-"),
    "two PTs fill a fourth": case("| C |", "G4e A4e B4e C5e E5h", "-", "passing", "passing", "-", "-"),
    "PT on the last eighth of a waltz bar": case(
        "| C | C |", "E5h E5e F5e | G5h.", "-", "-", "passing", "-", metre="3/4"
    ),
    "PT in 6/8": case("| C |", "C5e D5e E5e G5q.", "-", "passing", "-", "-", metre="6/8"),
    "accented PT": case("| C |", "G5h F5q E5q", "-", "accented passing", "-"),
    "accented PT on a new chord": case("| Am | F |", "E5q C5h. | B4h A4h", "-", "-", "accented passing", "-"),
    "accented PT in 6/8": case("| C |", "G5q. F5q E5e", "-", "accented passing", "-", metre="6/8"),
    "chromatic PT to a chord tone": case("| Dm |", "F5q E5e Eb5e D5h", "-", "passing", "approach", "-"),
    "chromatic PT between scale notes": case(
        "| C |", "G4e Ab4e A4e B4e C5h", "-", "chromatic passing", "passing", "passing", "-"
    ),
    # Complete neighbour: step out and back, either accent
    "upper NT": case("| C |", "E5q F5q E5h", "-", "neighbour", "-"),
    "lower NT": case("| C |", "C5q B4q C5h", "-", "neighbour", "-"),
    "accented NT": case("| C |", "G5h A5q G5q", "-", "accented neighbour", "-"),
    "accented NT on a new chord": case("| C | Am |", "C5w | B4h C5h", "-", "accented neighbour", "-"),
    "chromatic NT by whole step": case("| C |", "C5q Bb4q C5h", "-", "chromatic neighbour", "-"),
    # Double neighbour: above and below the same note, unaccented
    "DN above then below": case("| C |", "E5q F5e D5e E5h", "-", "double neighbour", "double neighbour", "-"),
    "DN below then above": case("| C |", "C5q B4e D5e C5h", "-", "double neighbour", "double neighbour", "-"),
    "DN in 6/8": case(
        "| C |", "G5e A5e F5e G5q.", "-", "double neighbour", "double neighbour", "-", metre="6/8"
    ),
    "a pair that goes elsewhere is no DN": case("| Am |", "C5q D5e B4e E5h", "-", "escape tone", "", "-"),
    # Incomplete neighbour: leap in, step out to an accented stable tone, unaccented
    "INT from above": case("| C |", "C5q A5q G5h", "-", "incomplete neighbour", "-"),
    "INT from below": case("| C |", "G5q D5q E5h", "-", "incomplete neighbour", "-"),
    "INT before a new chord": case("| C | F |", "E5h. B5q | A5w", "-", "incomplete neighbour", "-"),
    "no INT to a weak place": case("| C |", "C5h C5e A5e G5q", "-", "-", "", "-"),
    # Appoggiatura: leap in, step out the other way, accented
    "APP leaps up, steps down": case("| C |", "E5h A5q G5q", "-", "appoggiatura", "-"),
    "APP leaps down, steps up": case("| C |", "G5h D5q E5q", "-", "appoggiatura", "-"),
    "APP that clashes": case("| C |", "C5h F5q E5q", "-", "appoggiatura", "-"),
    "APP from outside the scale": case("| C |", "C5h F#5q E5q", "-", "appoggiatura", "-"),
    "APP on a new chord in a waltz": case(
        "| C | G |", "G4h. | E5q D5h", "-", "appoggiatura", "-", metre="3/4"
    ),
    "no APP the same way, by the stricter definition": case("| C |", "G4h D5q E5q", "-", "", "-"),
    # Escape: step in, leap out the other way, unaccented
    "ESC steps up, leaps down": case("| C |", "E5q F5q C5h", "-", "escape tone", "-"),
    "ESC steps down, leaps up": case("| C |", "C5q B4q E5h", "-", "escape tone", "-"),
    "ESC over a change of chord": case("| C | G |", "E5h. F5q | D5w", "-", "escape tone", "-"),
    "no ESC the same way": case("| C |", "C5q D5q G5h", "-", "", "-"),
    "no ESC that is accented": case("| C |", "E5h F5q C5q", "-", "", "-"),
    # Anticipation: a tone of the next chord, unaccented, just before it
    "ANT before a cadence": case("| G7 | C |", "B4h. C5q | C5w", "-", "anticipation", "-"),
    "ANT by leap": case("| C | F |", "E5h. A5q | A5w", "-", "anticipation", "-"),
    # Syncopation: an early arrival tied into its chord
    "early arrival tied over": case("| G7 | C |", "D5h. E5q~ | E5w", "-", "anticipation"),
    # Suspension: the same note from a chord tone, accented, step down over the same harmony
    "SUS 4-3, tied": case("| F | C |", "A4h F5h~ | F5h E5h", "-", "suspension", "-"),
    "SUS 4-3, struck again": case("| F | C |", "A4h F5h | F5h E5h", "-", "-", "suspension", "-"),
    "SUS 9-8, tied": case("| G | C |", "G4h D5h~ | D5h C5h", "-", "suspension", "-"),
    "SUS 7-6 over a chord in inversion, tied": case(
        "| Am/C | G/B |", "E5h A5h~ | A5h G5h", "-", "suspension", "-"
    ),
    "SUS in a waltz": case("| F | C |", "F5h.~ | F5q E5h", "suspension", "-", metre="3/4"),
    "SUS inside a bar": case("| F C |", "F5h~ F5q E5q", "suspension", "-"),
    "SUS in 6/8": case("| F | C |", "F5h.~ | F5q. E5q.", "suspension", "-", metre="6/8"),
    "no SUS that leaps away": case("| F | C |", "A4h F5h | F5h C5h", "-", "-", "", "-"),
    "no SUS that was not prepared": case("| Am | C |", "C5h F5h | F5h E5h", "-", "", "", "-"),
    "no SUS that resolves on the next downbeat": case(
        "| F | C | C |", "A4h F5h | F5w | E5w", "-", "-", "", "-"
    ),
    "no SUS that resolves over another chord": case("| F | C Am |", "F5w | F5h E5h", "-", "", "-"),
    # Retardation: as a suspension, step up
    "RET, tied": case("| G | C |", "D5h B4h~ | B4h C5h", "-", "retardation", "-"),
    "RET, struck again": case("| G | F |", "G4h B4h | B4h C5h", "-", "-", "retardation", "-"),
}
"""Open Music Theory, Embellishing tones: each kind by its approach, departure and accent."""

SCHOOLBOOK = {
    "4-3 over the dominant": case("| C | G |", "E5h C5h~ | C5h B4h", "-", "suspension", "-"),
    "9-8 over the subdominant": case("| C | F |", "C5h G5h~ | G5h F5h", "-", "suspension", "-"),
    "7-8 retardation at a cadence": case("| G7 | C |", "D5h B4h~ | B4q C5h.", "-", "retardation", "-"),
    "a chain of two suspensions": case(
        "| F | C | G |",
        "F5w~ | F5h E5h | D5h B4h",
        "suspension",
        "-",
        "-",
        "-",
    ),
    "4-3 ornamented by a lower neighbour afterwards": case(
        "| C | G |", "C5w~ | C5h B4e A4e B4q", "suspension", "-", "neighbour", "-"
    ),
    "scale run over one chord": case(
        "| C |",
        "C5e D5e E5e F5e G5e A5e B5e C6e",
        *("-", "passing", "-", "passing", "-", "passing", "passing", "-"),
    ),
    "descending scale run with accented passing notes": case(
        "| C |",
        "C6e B5e A5e G5e F5e E5e D5e C5e",
        *("-", "passing", "passing", "-", "accented passing", "-", "passing", "-"),
    ),
    "the cadence of a hymn": case(
        "| C F | G7 C |",
        "E5q D5q C5h | C5q B4e C5e C5h",
        *("-", "passing", "-", "suspension", "-", "anticipation", "-"),
    ),
}
"""Schoolbook cases, common practice, from memory."""

EVERY = {**DEFINED, **SCHOOLBOOK}


def moved(one: Case, tonic: str) -> tuple[Progression, Phrase]:
    """A case moved with its chart into another major key, in music21's spelling."""
    rise = interval.Interval(to_music21("C"), to_music21(tonic))
    text = " | ".join(
        " ".join(moved_chart(sign, rise) for sign in bar.split()) for bar in one.chart.strip("| ").split("|")
    )
    chart = parse_chart(f"| {text} |", key=f"{tonic} major", metre=one.metre)
    phrase = parse_phrase(one.phrase, chart.metre)
    return chart, tuple(replace(note, midi=note.midi + rise.semitones) for note in phrase)


@pytest.mark.parametrize("says", EVERY)
def test_each_note_is_called_what_the_book_calls_it(says: str) -> None:
    """Every note of an example is called what its definition says, in all twelve keys."""
    one = EVERY[says]
    for tonic in MAJOR_TONICS:
        chart, phrase = moved(one, tonic)
        assert kinds(Line(chart, phrase), narrow=True) == one.kinds, (tonic, phrase)


WIDER = {
    # Day-O'Connell: a passing note of five-note scales
    "five-note passing from six to eight": case("| Bb |", "F4q G4q Bb4h", "-", "pentatonic passing", "-"),
    "no five-note passing by a major third": case("| Bb |", "D5q C5q Ab4h", "-", "", ""),
    "no five-note passing on a strong beat": case("| Bb |", "F4h G4q Bb4q", "-", "", "-"),
    # Repeated notes count as one
    "repeated passing": case("| F |", "F4q G4e G4e A4h", "-", "passing", "passing", "-"),
    "repeated accented passing": case("| F |", "A4h G4q G4e F4e", "-", "accented passing", "passing", "-"),
    "repeated neighbour": case("| F |", "A4q G4e G4e A4h", "-", "neighbour", "neighbour", "-"),
    # Hutchinson 10.4: an appoggiatura in any direction; one that begins the phrase is common practice
    "appoggiatura the same way": case("| Eb |", "Bb4h F5q G5q", "-", "appoggiatura", "-"),
    "appoggiatura from the start": case("| Eb |", "F5q Eb5h.", "appoggiatura", "-"),
    "appoggiatura with a passing note on its way": case(
        "| Eb |", "Bb4h D5q C5e Bb4e", "-", "appoggiatura", "passing", "-"
    ),
    "no appoggiatura that leaps away": case("| Eb |", "Bb4h F5q Bb4q", "-", "", "-"),
    # Piston: incomplete neighbours, cambiata, free anticipation, ornamental resolution
    "incomplete neighbour to a weak place": case(
        "| Eb |", "Eb5h Eb5e C5e Bb4q", "-", "-", "incomplete neighbour", "-"
    ),
    "cambiata": case("| Eb |", "Eb5q D5q Bb4e C5e Bb4q", "-", "cambiata", "-", "neighbour", "-"),
    "free anticipation": case("| Eb | Bb |", "G5h. D5q | F5w", "-", "free anticipation", "-"),
    "no free anticipation of a chord that is not to come": case(
        "| Eb | Ab |", "G5h. D5q | Ab4w", "-", "", "-"
    ),
    "changing notes on a strong beat": case(
        "| Eb |", "Eb5h F5e Ab5e G5q", "-", "changing note", "approach", "-"
    ),
    "no changing notes that go elsewhere": case("| Eb |", "Eb5h F5e Ab5e Eb5q", "-", "", "", "-"),
    "suspension with a detour": case("| Eb | Bb |", "G5h Eb5h~ | Eb5h Bb4q D5q", "-", "suspension", "-", "-"),
    "suspension that resolves on the next downbeat": case(
        "| Eb | Bb | Bb |", "G5h Eb5h | Eb5w | D5w", "-", "-", "suspension", "-"
    ),
    "suspension that resolves over another chord": case(
        "| Eb | Bb Gm |", "Eb5w | Eb5h D5h", "-", "suspension", "-"
    ),
    "no suspension that leaps away": case("| Eb | Bb |", "G5h Eb5h | Eb5h Bb4h", "-", "-", "", "-"),
    # Pedal: kept while the chords change
    "pedal, held": case("| Eb Bb | Eb |", "Eb5w~ | Eb5w", "pedal"),
    "pedal, struck again": case("| Eb | Bb | Eb |", "Eb5w | Eb5w | Eb5w", "-", "pedal", "-"),
    "anticipation where a chord comes in off the beat": case(
        "| Bb7 | Eb |", "D5h. D5e Eb5e | Eb5w", "-", "-", "anticipation", "-"
    ),
}
"""What the narrow definitions leave without a name; Piston, Harmony, on nonharmonic tones, and Day-O'Connell,
Pentatonicism from the Eighteenth Century to Debussy, are named from memory."""


@pytest.mark.parametrize("says", WIDER)
def test_wider_definitions(says: str) -> None:
    """What handbooks know besides has a name, and what goes nowhere has none."""
    one = WIDER[says]
    chart = parse_chart(one.chart, key="Eb", metre=one.metre)
    phrase = parse_phrase(one.phrase, chart.metre)
    assert kinds(Line(chart, phrase)) == one.kinds
    words = {
        "anticipation": "anticipates",
        "": "outside",
        "passing": "passing note",
        "neighbour": "neighbour note",
    }
    for kind, sentence in zip(one.kinds, reasons(chart, phrase), strict=True):
        assert kind == TONE or words.get(kind, kind) in sentence


def test_every_wider_kind_has_examples() -> None:
    """Each kind of the wider definitions that no narrow one has is worked out."""
    told = {kind for one in WIDER.values() for kind in one.kinds}
    assert WIDER_TONES.keys() - FURTHER_TONES.keys() - EMBELLISHMENTS.keys() <= told


def test_every_kind_has_examples() -> None:
    """Each kind of the roles and of the further tones is worked out, and notes that are none of them."""
    told = {kind for one in EVERY.values() for kind in one.kinds}
    assert told == {TONE, "", *EMBELLISHMENTS, *FURTHER_TONES}


@pytest.mark.parametrize("says", EVERY)
def test_the_sentence_uses_the_name(says: str) -> None:
    """The sentence for a note outside its chord holds what the book calls it."""
    one = EVERY[says]
    chart, phrase = moved(one, "C")
    words = {
        "": "outside",
        "anticipation": "anticipates",
        "approach": "approach note",
        "passing": "passing note",
        "neighbour": "neighbour note",
    }
    widely = kinds(Line(chart, phrase))
    for kind, wide, sentence in zip(one.kinds, widely, reasons(chart, phrase), strict=True):
        if wide != TONE:
            assert words.get(kind or wide, kind or wide) in sentence


@pytest.mark.parametrize(
    ("says", "figure"),
    [
        ("SUS 4-3, tied", "(4-3)"),
        ("SUS 4-3, struck again", "(4-3)"),
        ("SUS 9-8, tied", "(9-8)"),
        ("SUS 7-6 over a chord in inversion, tied", "(7-6)"),
        ("4-3 over the dominant", "(4-3)"),
        ("9-8 over the subdominant", "(9-8)"),
        ("7-8 retardation at a cadence", "(7-8)"),
    ],
)
def test_suspensions_are_counted_above_the_bass(says: str, figure: str) -> None:
    """A suspension is told with the intervals above the bass that give it its name, in all keys."""
    for tonic in MAJOR_TONICS:
        chart, phrase = moved(EVERY[says], tonic)
        assert figure in " ".join(reasons(chart, phrase)), tonic


@pytest.mark.parametrize(
    ("phrase", "strict"),
    [
        ("E5h A5q G5q", "appoggiatura"),
        ("G5h D5q E5q", "appoggiatura"),
        ("G4h D5q E5q", ""),
        ("C6h A5q G5q", ""),
        ("E4h B4q C5q", ""),
    ],
)
def test_the_wider_appoggiatura(phrase: str, strict: str) -> None:
    """By Hutchinson the leap and the step of an appoggiatura may go in any direction; accent and resolution stay."""
    chart = parse_chart("| C |", key="C")
    notes = parse_phrase(phrase, chart.metre)
    assert kinds(Line(chart, notes), narrow=True)[1] == strict
    assert kinds(Line(chart, notes))[1] == "appoggiatura"
    weak = parse_phrase(phrase.replace("h ", "q ").replace("q", "q", 1) + " rq", chart.metre)
    assert kinds(Line(chart, weak))[1] != "appoggiatura"


# Every triple of the twelve notes, against music21

SETTINGS = {
    "C, off the beats": ("| C |", "C", "4/4", (0, 480, 960)),
    "C, on beat 3": ("| C |", "C", "4/4", (480, 960, 1440)),
    "Eb, waltz": ("| Eb |", "Eb", "3/4", (0, 480, 960)),
    "A minor, 6/8": ("| Am |", "A minor", "6/8", (0, 240, 720)),
    "A minor, 6/8, on beat 2": ("| Am |", "A minor", "6/8", (240, 720, 960)),
    "E7, 2/2": ("| E7 |", "A", "2/2", (0, 480, 960)),
    "Bbm7, 12/8": ("| Bbm7 |", "Db", "12/8", (0, 480, 720)),
}
"""Chart, key, metre, and where the three notes begin, in ticks."""
PASSING = ("passing", "chromatic passing", "accented passing")
NEIGHBOUR = ("neighbour", "chromatic neighbour", "accented neighbour")


@cache
def segment(names: tuple[str, ...]) -> voiceLeading.ThreeNoteLinearSegment:
    """Three spelled notes in music21."""
    return voiceLeading.ThreeNoteLinearSegment(*(name[0] + name[1:].replace("b", "-") for name in names))


@pytest.fixture(name="triples", scope="module", params=SETTINGS)
def _triples(request: pytest.FixtureRequest) -> list[tuple[tuple[int, ...], Line, str]]:
    """All 2,197 triples of an octave over the chart of a setting whose middle note lies outside its chord: pitches, line,
    and what the middle note is called."""
    chart, key, metre, onsets = SETTINGS[request.param]
    progression = parse_chart(chart, key=key, metre=metre)
    ends = (*onsets[1:], progression.length)
    found = []
    for pitches in product(range(60, 73), repeat=3):
        notes = [Note(on, end - on, midi) for on, end, midi in zip(onsets, ends, pitches, strict=True)]
        line = Line(progression, tuple(notes))
        found.append((pitches, line, kinds(line)[1]))
    return [each for each in found if each[2] != TONE]


def by_step(names: tuple[str, ...], pitches: tuple[int, ...]) -> bool:
    """Whether both intervals are seconds of one or two semitones by name.

    music21 looks at letters only: it takes C-D#-E for passing, and C#-Eb-F for none.
    """
    letters = [7 * int(name[-1]) + "CDEFGAB".index(name[0]) for name in names]
    sizes = zip(letters, letters[1:], pitches, pitches[1:], strict=False)
    return all(abs(two - one) == 1 and 1 <= abs(high - low) <= 2 for one, two, low, high in sizes)


@pytest.mark.costly
def test_passing_and_neighbour_are_what_music21_takes_for_them(
    triples: list[tuple[tuple[int, ...], Line, str]],
) -> None:
    """Over all 2,197 triples of an octave: what is reached and left by step is what music21 says it could be.

    A note that leads by half step to a chord tone is called an approach note first.
    """
    compared = Counter[str]()
    for pitches, line, kind in triples:
        if by_step(line.names, pitches):
            theirs = segment(line.names)
            passes, returns = theirs.couldBePassingTone(), theirs.couldBeNeighborTone()
            assert (kind in PASSING) <= passes <= (kind in (*PASSING, "approach")), line.names
            assert (kind in NEIGHBOUR) <= returns <= (kind in (*NEIGHBOUR, "approach")), line.names
            compared["passing" if passes else "neighbour" if returns else "other"] += 1
    assert compared["passing"] >= 15
    assert compared["neighbour"] >= 10


def test_steps_have_names_and_accents_tell_them_apart(
    triples: list[tuple[tuple[int, ...], Line, str]],
) -> None:
    """Whatever its spelling, a note outside the chord between two steps has a name, accented on strong beats only."""
    for _, line, kind in triples:
        into, out = line.into(1), line.out(1)
        if not (1 <= abs(into) <= 2 and 1 <= abs(out) <= 2):
            continue
        if into * out < 0 and into != -out:
            continue
        assert kind in (*PASSING, *NEIGHBOUR, "approach")
        assert kind.startswith("accented") == line.where[1].strong
