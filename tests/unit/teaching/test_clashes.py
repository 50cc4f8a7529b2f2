"""What clashes: by the whole phrase for a reader, by three notes for the solver."""

from __future__ import annotations

from itertools import product

import pytest

from fillgen import Note, Phrase, Progression, parse_chart, parse_phrase
from fillgen.phrase.place import places
from fillgen.teaching.clashes import GOES_SOMEWHERE, HALF_STEP, UNRESOLVED, clash_rule, rubbing
from fillgen.teaching.line import Line
from tests.effort import one_in

RHYTHMS = {
    "quarters": (0, 480, 960, 1440),
    "from beat 2": (480, 960, 1440, 1920),
    "over the bar line": (960, 1440, 2400, 2880),
    "long": (0, 1440, 1920, 3360),
}
"""Where four notes begin, in ticks; each lasts until the next."""
IN_TURN = [([*RHYTHMS], "| Eb | Bb7 |"), ([*RHYTHMS][::-1], "| Fm7 Bb7 | Eb |")]
"""Each chart with all rhythms, in such an order that every other row has each rhythm once."""


def line_of(progression: Progression, notes: Phrase, *, closes: bool = True) -> Line:
    """A phrase with the places it has as a whole phrase, or as one that goes on."""
    rhythm = [(note.onset, note.length) for note in notes]
    return Line(progression, notes, places(progression, rhythm, closes=closes))


@pytest.mark.costly
@pytest.mark.parametrize(
    ("chart", "rhythm"),
    one_in(2, [(chart, rhythm) for rhythms, chart in IN_TURN for rhythm in rhythms]),
)
def test_what_three_notes_prove_holds_in_the_whole_phrase(chart: str, rhythm: str) -> None:
    """Over all phrases of four notes in a tritone: where three notes show that nothing clashes, the whole phrase shows it too."""
    progression = parse_chart(chart, key="Eb")
    onsets = RHYTHMS[rhythm]
    lengths = [end - onset for onset, end in zip(onsets, (*onsets[1:], progression.length), strict=True)]
    proved = clashing = 0
    for pitches in product(range(67, 74), repeat=4):
        notes = tuple(Note(*each) for each in zip(onsets, lengths, pitches, strict=True))
        line = line_of(progression, notes)
        for index, window in enumerate(line.windows):
            rule = clash_rule(line, index, closes=True)
            shown = bool(GOES_SOMEWHERE.asks(*window))
            assert rule is None or not shown, (line.names, index)
            proved += shown
            clashing += rule is not None
    assert proved >= 1000
    assert clashing >= 1000


def test_its_own_examples() -> None:
    """The example that keeps the solver's rule keeps it, the other breaks it."""
    for example, kept in ((GOES_SOMEWHERE.keeps, True), (GOES_SOMEWHERE.breaks, False)):
        progression = parse_chart(example.chart)
        line = line_of(progression, parse_phrase(example.phrase, progression.metre))
        assert all(bool(GOES_SOMEWHERE.asks(*window)) for window in line.windows) is kept


@pytest.mark.parametrize(
    ("phrase", "index", "rule", "against"),
    [
        ("Eb5q F5q Bb5h", 1, UNRESOLVED, ""),
        ("Eb5h Ab5q Eb5q", 1, HALF_STEP, "G5"),
        ("Eb5q A5q Eb5h", 1, HALF_STEP, "Bb5"),
        ("Eb5q F5q G5h", 1, None, ""),
    ],
)
def test_a_half_step_has_its_own_rule(phrase: str, index: int, rule: object, against: str) -> None:
    """A note that goes nowhere rubs where a note of the chord lies a half step above or below it."""
    progression = parse_chart("| Eb |", key="Eb")
    line = line_of(progression, parse_phrase(phrase, progression.metre))
    assert clash_rule(line, index, closes=True) is rule
    assert rubbing(line, index) == against


def test_nobody_knows_where_a_fragment_goes() -> None:
    """The last note of a phrase that goes on is no clash; of one that closes it is."""
    progression = parse_chart("| Eb |", key="Eb")
    notes = parse_phrase("Eb5h F5h", progression.metre)
    assert clash_rule(line_of(progression, notes), 1, closes=True) is UNRESOLVED
    assert clash_rule(line_of(progression, notes, closes=False), 1, closes=False) is None
