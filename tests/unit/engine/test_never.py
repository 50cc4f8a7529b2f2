"""What is never played in a rhythm: the table and its patterns go together, and no idea has one."""

from __future__ import annotations

import pytest

import fillgen
from fillgen import RulePack
from fillgen.chart.text import parse_chart
from fillgen.engine.never import PITCH, TIMING, misplayed, mistimed, never_in
from fillgen.phrase.note import Phrase
from fillgen.phrase.text import parse_phrase
from fillgen.tables import table
from fillgen.theory.metre import METRES
from tests.effort import one_in
from tests.unit.engine.test_devices import drawn, drawn_over

PACK = RulePack()
ROWS = table("never")["never"]
CHART = "| Bb | Gm7 | Cm7 | F7 |"

TIMED = [
    ("triplet into a rest", "D5q F5et D5et C5et rh | Bb4w", True),
    ("triplet into a rest", "D5q F5et D5et C5et Bb4h | Bb4w", False),
    ("triplet into a rest", "D5h. F5et D5et C5et | Bb4w", False),
    ("triplet into a rest", "D5h. F5et D5et C5et | rh Bb4h", True),
    ("no one after the eighths on four", "D5h. C5e D5e | rq F5h.", True),
    ("no one after the eighths on four", "D5h. C5e D5e | F5w", False),
    ("no one after the eighths on four", "D5h. C5q | rq F5h.", False),
    ("dotted eighth and sixteenth", "C5e. D5s D5h. | F5w", True),
    ("dotted eighth and sixteenth", "C5e. D5e. D5e D5h | F5w", False),
    ("dotted eighth and sixteenth", "C5e D5s D5s D5h. | F5w", False),
    ("push over the bar line", "D5h. C5e F5e~ | F5w", True),
    ("push over the bar line", "D5h. C5e F5e | F5w", False),
    ("push over the bar line", "D5w~ | D5h F5h", False),
    ("quarter-note triplet", "D5qt C5qt D5qt Bb4h | F5w", True),
    ("quarter-note triplet", "D5et C5et D5et Bb4h. | F5w", False),
    ("rests in most bars", "rq D5h. | F5w | C5h rh | Bb4w", True),
    ("rests in most bars", "rq D5h. | F5w | C5w | Bb4h rh", False),
    ("rests in most bars", "D5w~ | D5h F5h | C5h rh | Bb4w", False),
    ("turn in most bars", "D5h. C5s D5s Eb5s D5s | F5w | Eb5h. D5s C5s D5s Eb5s | F5w", True),
    ("turn in most bars", "D5h. C5s D5s Eb5s D5s | F5w | Eb5h. D5e C5e | D5h. C5s D5s Eb5s D5s", False),
    ("turn in most bars", "D5h. C5e D5s Eb5s | F5h. F5e G5s A5s | Eb5h. D5e Eb5s C5s | F5w", False),
]
PITCHED = [
    ("aimless triplet", "F5q Bb4et F5et C5et D5h | Bb4w", True),
    ("aimless triplet", "F5q Bb4et C5et C#5et D5h | Bb4w", False),
    ("leap on a sixteenth", "D5e. Bb4s F5h. | Bb4w", True),
    ("leap on a sixteenth", "D5e. F4s Bb4h. | Bb4w", True),
    ("leap on a sixteenth", "D5e. Bb4s D5h. | Bb4w", False),
    ("tritone close", "D5h Eb5h | A4w", True),
    ("tritone close", "D5h Bb4h | A4w", False),
    ("scale exercise", "Bb4q C5e D5e Eb5e F5e G5e A5e | Bb5w", True),
    ("scale exercise", "Bb4q C5e D5e Eb5e F5e G5q | F5w", False),
]


def notes(phrase: str) -> Phrase:
    return parse_phrase(phrase, METRES["4/4"])


@pytest.mark.parametrize(("name", "phrase", "found"), TIMED)
def test_patterns_of_timing(name: str, phrase: str, found: bool) -> None:
    """Each pattern of timing is found where it is, and nowhere else."""
    assert TIMING[name]([(note.onset, note.length) for note in notes(phrase)], METRES["4/4"]) is found


@pytest.mark.parametrize(("name", "phrase", "found"), PITCHED)
def test_patterns_of_pitch(name: str, phrase: str, found: bool) -> None:
    """Each pattern of pitch is found where it is, and nowhere else."""
    assert bool(PITCH[name](drawn("| Bb | Bb |", phrase))[0]) is found


def test_the_table_and_the_patterns_are_the_same() -> None:
    """Every row of the table has its pattern, every pattern its row and its examples, and every rhythm named exists."""
    names = [row["name"] for row in ROWS]
    assert sorted(names) == sorted([*TIMING, *PITCH])
    assert {(name, found) for name, _, found in (*TIMED, *PITCHED)} == {
        (n, f) for n in names for f in (True, False)
    }
    assert {rhythm for row in ROWS for rhythm in row["rhythms"]} <= {"every", *PACK.rhythm_names}
    assert all(row["says"].endswith(".") and row["source"] for row in ROWS)


LEVELS_IN_TURN = [
    (rhythm, 3 + (number + turn) % 3) for number, rhythm in enumerate(PACK.rhythm_names) for turn in range(3)
]
"""Every rhythm at each level from 3, the level that is tried each time first: another one from rhythm to rhythm."""


@pytest.mark.costly
@pytest.mark.parametrize(("rhythm", "level"), one_in(3, LEVELS_IN_TURN))
def test_no_idea_has_what_is_never_played(rhythm: str, level: int) -> None:
    """Thirty ideas of each rhythm, in its first metre, have none of the patterns of its rhythm."""
    metre = METRES[PACK.rhythm(rhythm).metres[0]]
    chart = parse_chart(CHART, metre=metre)
    for idea in fillgen.ideas(CHART, metre=metre.name, rhythm=rhythm, level=level, count=30, seed=level):
        timing = [(note.onset, note.length) for note in idea.phrase]
        assert not mistimed(timing, metre, rhythm), idea.text
        assert not misplayed(drawn_over(chart, idea.phrase), rhythm).any(), idea.text


def test_never_in_takes_any_spelling_of_a_name() -> None:
    """The name of a rhythm may be written in many ways; an unknown one has what holds for all."""
    assert never_in("Bossa-Nova") == never_in("bossa nova")
    assert never_in("gallop") == tuple(row["name"] for row in ROWS if row["rhythms"] == ["every"])
