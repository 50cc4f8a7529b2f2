"""Checking is fair: what people sing is not called a clash, and a wrong note is.

Bach's sopranos over the chords of published analyses (music21's corpus), twelve traditional tunes over their usual chords, and
wrong notes put into both of them at random.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import count
from random import Random

import pytest

from fillgen import Phrase, Progression, RulePack, ideas, parse_chart, parse_phrase
from fillgen.engine.checked import checked_phrase
from fillgen.rules.rule import STEP
from fillgen.teaching.check import Report, check
from fillgen.teaching.faults import all_clashes
from fillgen.teaching.line import Line
from tests.effort import each_once
from tests.outside.chorales import SCORES, chorale
from tests.outside.traditional import TUNES

PACK = RulePack()
MOST_CLASHES = 0.02
"""The share of notes of real music that may be called a clash."""
FOUND = 0.95
"""The share of wrong notes that must be found."""
WRONG_NOTES = 40
"""How many wrong notes are put into each tune, one at a time."""
Music = tuple[Progression, Phrase]


def clashes(progression: Progression, notes: Phrase, level: int = 3) -> set[int]:
    """The notes that are called a clash at a level, counted from 0."""
    checked = checked_phrase(progression, notes, PACK.level(level))
    return all_clashes(checked, Line(progression, notes, checked.where))


@cache
def music() -> dict[str, Music]:
    """All tunes and chorales by their names."""
    return {
        **{name: tune.parsed() for name, tune in TUNES.items()},
        **{f"chorale {number}": chorale(number) for number in SCORES},
    }


def test_the_chorales_are_read_in_step_with_their_chords() -> None:
    """Chorales in a major key close on their tonic, over chords that hold nearly all of their notes."""
    for progression, notes in map(chorale, SCORES):
        if progression.key.mode == "major":
            assert (
                notes[-1].midi % 12 == progression.last.root.pitch_class == progression.key.tonic.pitch_class
            )
    notes = [(line, i) for line in (Line(*chorale(n)) for n in SCORES) for i in range(len(line.notes))]
    tones = sum(line.roles[index] == "chord tone" for line, index in notes)
    assert len(notes) == 543
    assert 0.85 <= tones / len(notes) <= 0.98


def test_chorales_hardly_clash() -> None:
    """Over their analysed chords at most one note in fifty of Bach's sopranos is called a clash."""
    found = sum(len(clashes(*chorale(number))) for number in SCORES)
    notes = sum(len(chorale(number)[1]) for number in SCORES)
    assert found <= MOST_CLASHES * notes


@pytest.mark.parametrize("name", TUNES)
def test_traditional_tunes_do_not_clash(name: str) -> None:
    """No note of a tune that everybody sings is called a clash at any level, whatever else is said of it."""
    progression, notes = TUNES[name].parsed()
    for level in PACK.level_numbers:
        report = check(progression, notes, PACK.level(level))
        assert report.of_kind("clash") == ()
        assert report.right
        assert report.mend is None
        assert {fault.kind for fault in report.faults} <= {"style", "level"}


def test_the_tunes_are_worth_checking() -> None:
    """Among them are stressed notes outside their chords, early and repeated ones: by the rules of ideas few are right."""
    reports = [check(*tune.parsed(), PACK.level(3)) for tune in TUNES.values()]
    named = {name for report in reports for name in report.names}
    assert len(reports) == 12
    assert {"accented passing", "accented neighbour", "appoggiatura", "suspension", "escape tone"} <= named
    assert all(report.faults for report in reports)


def wrong_notes(progression: Progression, notes: Phrase, dice: Random) -> Iterator[tuple[int, Phrase]]:
    """A phrase with one note changed at a time: on a strong beat, foreign to its chord, a half step from one of its tones
    or outside the key, and left by leap to the next note, which sounds at once."""
    scale = {name.pitch_class for name in progression.key.scale}
    spots = []
    for index in range(len(notes) - 1):
        note, after = notes[index], notes[index + 1]
        tones = {tone.name.pitch_class for tone in progression.span_at(note.onset).heard.tones}
        if note.onset % progression.metre.bar not in progression.metre.strong:
            continue
        for midi in range(note.midi - 7, note.midi + 8):
            bad = midi % 12 not in scale or {(midi - 1) % 12, (midi + 1) % 12} & tones
            if midi % 12 not in tones and bad and abs(after.midi - midi) > STEP:
                spots.append((index, midi))
    for index, midi in dice.sample(spots, min(WRONG_NOTES, len(spots))):
        changed = replace(notes[index], midi=midi)
        yield index, (*notes[:index], changed, *notes[index + 1 :])


def test_wrong_notes_are_found() -> None:
    """A foreign note on a strong beat that leaps away is a clash, in tunes and in chorales."""
    found = tried = 0
    for seed, (progression, notes) in zip(count(1), music().values(), strict=False):
        for index, phrase in wrong_notes(progression, notes, Random(seed)):
            tried += 1
            found += index in clashes(progression, phrase)
    assert tried >= 20 * WRONG_NOTES
    assert found >= FOUND * tried


@pytest.mark.parametrize("name", ["London Bridge", "Auld Lang Syne", "chorale 5"])
def test_a_wrong_note_is_mended(name: str) -> None:
    """A mend takes the clash away, changes one note where one is wrong, and leaves the others alone."""
    progression, notes = music()[name]
    before = clashes(progression, notes)
    for index, phrase in list(wrong_notes(progression, notes, Random(7)))[:8]:
        report = check(progression, phrase, PACK.level(3))
        assert index in {fault.index for fault in report.of_kind("clash")}
        assert not report.right
        assert report.mend is not None
        assert clashes(progression, report.mend.notes) == set()
        assert len(report.mend.changed) <= len(report.of_kind("clash")) + len(before)


MADE_OVER = (
    ("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", "4/4"),
    ("| F#m | B7 | E | C#7b9 |", "3/4"),
    ("| Bbm7 | Eb7 | Abmaj7 | Fm |", "6/8"),
)


@pytest.mark.parametrize(
    ("chart", "metre", "level"),
    each_once((*each, level) for level in PACK.level_numbers for each in MADE_OVER),
)
def test_ideas_never_clash(chart: str, metre: str, level: int) -> None:
    """What keeps the rules of a level has no clash: judging is never stricter than making."""
    for idea in ideas(chart, metre=metre, level=level, count=50, seed=5):
        assert clashes(ideas_chart(chart, metre), idea.phrase, level) == set(), idea.text


@cache
def ideas_chart(chart: str, metre: str) -> Progression:
    """The chart of the ideas, parsed once."""
    return parse_chart(chart, metre=metre)


def judged(chart: str, phrase: str, key: str) -> Report:
    """A report on a phrase at level 3, both as text."""
    progression = parse_chart(chart, key=key)
    return check(progression, parse_phrase(phrase, progression.metre), PACK.level(3))


@pytest.mark.parametrize(
    ("chart", "phrase", "clash"),
    [
        ("| Ab | Db |", "Eb5h C5h~ | C5h Db5h", False),  # retardation
        ("| Ab | Eb |", "Eb5h Ab4h~ | Ab4h G4h", False),  # suspension, tied
        ("| Ab | Eb |", "C5h Ab4h | Ab4h G4h", False),  # suspension, struck again
        ("| Ab | Eb |", "Eb5h Ab4h~ | Ab4h Eb4h", True),  # kept and left by leap
        ("| Db | Eb |", "F4h Db5h | C5h Eb5h", True),  # not prepared, and left by leap
        ("| Ab |", "Eb4h Db5q C5q", False),  # appoggiatura
        ("| Ab |", "Eb4h Db5q Ab4q", True),  # the same left by leap
        ("| Ab |", "C5q Db5q Ab4h", False),  # escape tone, light
        ("| Ab |", "C5h Db5q Ab4q", True),  # the same on a strong beat
        ("| Ab |", "C5q D5q Ab4h", True),  # outside the scale
        ("| Ab |", "Eb5q F5e Db5e Eb5h", False),  # double neighbour
        ("| Ab |", "Ab4h C5q D5q", True),  # the phrase stops on it
        ("| Ab | Eb7 |", "C5w~ | C5w", True),  # held into a chord that lacks it to the end
        ("| Ab | Eb7 Ab |", "C5w~ | C5w", False),  # pedal
        ("| Ab | Eb7 |", "A4w | G4w", True),  # a half step that rubs for a whole bar
    ],
)
def test_foreign_notes_have_to_go_somewhere(chart: str, phrase: str, clash: bool) -> None:
    """Prepared and resolved, or resolved, or light: common practice, as the handbooks of `test_embellishing_tones` say."""
    assert bool(judged(chart, phrase, "Ab").of_kind("clash")) is clash
