"""What is said of a player's own phrase: faults, the smallest mend, what holds, what works."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

import fillgen
from fillgen import Note, OptionError, PhraseError, RulePack, parse_chart, parse_phrase, phrase_text
from fillgen.engine.checked import CheckSettings, lowest_level
from fillgen.hands.reach import reach
from fillgen.rules.rulebook import RULES
from fillgen.teaching.check import Report, check
from fillgen.theory.metre import METRES
from fillgen.writers.checks import check_document, check_text, explain_text

PACK = RulePack()


def report_of(
    chart: str,
    phrase: str,
    level: int = 3,
    *,
    key: str = "C",
    pack: RulePack | None = None,
    **settings: object,
) -> Report:
    """The report on a phrase, both given as text."""
    progression = parse_chart(chart, key=key)
    notes = parse_phrase(phrase, progression.metre)
    asked = CheckSettings(**settings)  # type: ignore[arg-type]
    return check(progression, notes, PACK.level(level), asked, pack=pack)


# Faults


CLASH = ("unresolved-note", "unresolved-half-step")


@pytest.mark.parametrize(
    ("chart", "phrase", "level", "index", "rule", "parts"),
    [
        ("| Bb |", "Bb4q Bb4q C5q F5q", 3, 2, "unresolved-note", ["outside Bb", "it could be Bb4 or D5"]),
        ("| Bb |", "D5h Eb5q Bb4q", 3, 1, "unresolved-half-step", ["strong beat", "rubs against D5"]),
        ("| Bb |", "Bb4q C5q F5h", 3, 1, "unresolved-note", ["by step from Bb4", "could go to Bb4 or D5"]),
        ("| Bb |", "Bb4q B4q F5h", 2, 1, "unresolved-half-step", ["by step from Bb4", "rubs against Bb4"]),
        ("| Bb |", "Bb4q C5q F5h", 1, 1, "unresolved-note", ["outside Bb"]),
        (
            "| Bb | F |",
            "D5h Bb4h~ | Bb4q F5h.",
            3,
            1,
            "unresolved-half-step",
            ["held into F", "end before beat 1"],
        ),
        ("| Bb | F |", "Bb4h D5h~ | D5q A4q F4h", 3, 1, "unresolved-note", ["held into F"]),
        ("| Bb |", "D5h F5q G5q", 3, 2, "unresolved-note", ["no note after it"]),
        ("| Bb | F7 |", "D5w | Bb4w", 3, 1, "unresolved-half-step", ["outside F7", "rubs against A4"]),
        ("| Bb |", "Bb4q G5e E5e Bb4h", 5, 2, "unresolved-half-step", ["outside Bb", "rubs against F5"]),
    ],
)
def test_clash(chart: str, phrase: str, level: int, index: int, rule: str, parts: list[str]) -> None:
    """A note outside its chord that goes nowhere is a clash at every level, said once, with what is wrong there."""
    report = report_of(chart, phrase, level, key="Bb")
    found = [fault for fault in report.of_kind("clash") if fault.index == index]
    assert [fault.rule for fault in found] == [rule], report.faults
    assert [part for part in parts if part not in found[0].sentence] == [], found[0].sentence
    assert found[0].name == report.notes[index].name
    assert not report.right


@pytest.mark.parametrize(
    ("chart", "phrase", "level", "index", "rule", "kind", "parts"),
    [
        ("| C |", "C5h F5q E5q", 3, 1, "strong-beat", "level", ["an appoggiatura"]),
        ("| C |", "G5h F5q E5q", 3, 1, "strong-beat", "level", ["an accented passing note"]),
        ("| C |", "E5h A5q G5q", 4, 1, "strong-beat", "level", ["an appoggiatura"]),
        ("| Cmaj7 |", "C5h F5q E5q", 5, 1, "strong-beat", "level", ["none a half step above"]),
        ("| C |", "C5q D5q E5h", 2, 1, "non-chord-note", "level", ["a passing note"]),
        ("| C |", "E5q F5q C5h", 3, 1, "non-chord-note", "level", ["an escape tone"]),
        ("| C | F |", "C5h. F5q | F5w", 3, 1, "non-chord-note", "level", ["anticipates"]),
        ("| C |", "E5q D#5q E5h", 3, 1, "non-chord-note", "level", ["an approach note"]),
        ("| C |", "E5w", 1, 0, "root-only", "level", ["third of C; its root is C"]),
        ("| F | C |", "C5h F5h~ | F5h E5h", 3, 1, "held-note", "level", ["suspension (4-3)"]),
        ("| C |", "E5e F5h E5e G5q", 3, 1, "held-note", "level", ["outside C and held across beat 3"]),
        (
            "| Bb |",
            "F5e G5e Eb5e D5e Bb4h",
            5,
            2,
            "enclosure-closes",
            "level",
            ["like an enclosure", "go on to D5"],
        ),
        (
            "| Cmaj7 |",
            "G5q F5q E5h",
            3,
            1,
            "avoid-note",
            "level",
            ["above E5", "one beat", "the limit is half a beat"],
        ),
        ("| Cmaj7 |", "G5h F5q E5q", 3, 1, "avoid-note", "level", ["strong beat, where it rubs most"]),
        ("| C |", "C5q D5q. E5q.", 3, 1, "non-chord-length", "level", ["1.5 beats", "the limit is one beat"]),
        (
            "| C |",
            "C5q C#5q D5e E5q.",
            5,
            1,
            "non-chord-length",
            "level",
            ["outside the scale", "half a beat"],
        ),
        (
            "| C |",
            "E5e F5e rq E5h",
            3,
            1,
            "settled-before-rest",
            "style",
            ["a rest comes after it", "E5 or G5 could stay"],
        ),
        ("| C |", "E4h E5h", 3, 1, "leap-limit", "level", ["octave (12 half steps)", "the limit is 9"]),
        (
            "| C |",
            "G4q E5q G5h",
            3,
            1,
            "leap-turns-back",
            "style",
            ["major sixth up", "comes G5", "below it"],
        ),
        ("| C |", "E5q E5q E5h", 3, 1, "repeat-limit", "style", ["three strokes"]),
        ("| C | G7 |", "E5w | D5w", 3, 1, "final-note", "style", ["fifth of G7; G or B would close"]),
        ("| C |", "E4h C4h", 3, 1, "range", "level", ["C4 on beat 3 lies a whole step below D4"]),
        ("| C |", "G5h C6h", 3, 1, "range", "level", ["a minor third above A5"]),
        ("| C |", "C5e E5q G5e E5h", 2, 1, "rhythm", "level", ["held across a heavier beat"]),
        ("| C |", "C5e E5q G5q E5q C5e", 3, 1, "rhythm", "level", ["held across a heavier beat"]),
        ("| C | F |", "E5h. C5q~ | C5h A4h", 3, 1, "rhythm", "level", ["held over the bar line"]),
        ("| C |", "C5et D5et E5et G5q E5h", 3, 0, "rhythm", "level", ["belongs to a triplet"]),
        ("| C |", "C5h G4h", 1, 1, "rhythm", "level", ["doesn't come in with a chord"]),
    ],
)
def test_style_and_level(
    chart: str, phrase: str, level: int, index: int, rule: str, kind: str, parts: list[str]
) -> None:
    """What doesn't clash is a matter of style or beyond the level: named at its note, no clash, and counted where strict."""
    report = report_of(chart, phrase, level)
    found = [fault for fault in report.faults if (fault.index, fault.rule) == (index, rule)]
    assert [fault.kind for fault in found] == [kind], report.faults
    assert [part for part in parts if part not in found[0].sentence] == [], found[0].sentence
    assert found[0].name == report.notes[index].name
    assert report.right is not any(fault.kind == "clash" for fault in report.faults)
    assert not report_of(chart, phrase, level, strict=True).right


def test_every_rule_has_its_own_words() -> None:
    """A fault of each rule there is has words of its own, whatever example breaks it; those that clash are said as clashes."""
    asked = {use.rule.kind: number for number in PACK.level_numbers for use in PACK.level(number).uses}
    for rule, number in asked.items():
        example = RULES[rule].breaks
        lead = example.lead if example.lead >= 0 else None
        report = report_of(example.chart, example.phrase, number, lead_to=lead)
        sentences = [fault.sentence for fault in report.faults if fault.rule in (rule, *CLASH)]
        assert sentences, rule
        assert all(sentence.endswith((".", "away.")) and " on " in sentence for sentence in sentences)


def test_where_a_fault_stands() -> None:
    """Bars and beats count from 1, in the beats of the metre."""
    chart = parse_chart("| C | C |", key="C", metre="6/8")
    report = check(chart, parse_phrase("C5q. E5q. | E5q. D5e A5e C5e", chart.metre), PACK.level(3))
    assert {(fault.bar, round(fault.beat, 2), fault.name) for fault in report.faults} >= {(2, 2.0, "D5")}


def test_a_phrase_that_is_right() -> None:
    """A phrase that keeps every rule has no fault, no mend, and all its rules hold."""
    report = report_of("| C | G7 |", "C5q D5q E5h | D5h B4h")
    assert report.right
    assert report.mend is None
    kinds = [kind for kind, _ in report.holds]
    assert {"strong-beat", "leap-limit", "final-note", "range"} <= set(kinds)
    assert "lead-in" not in kinds
    assert "Every note keeps every rule of level 3." in report.works


def test_a_fragment_need_not_close() -> None:
    """A phrase that is not whole is not asked for its last note."""
    assert report_of("| C | G7 |", "E5w | D5w").faults
    fragment = report_of("| C | G7 |", "E5w | D5w", whole=False)
    assert not fragment.faults
    assert report_of("| C | G7 |", "E5w | C5w", whole=False).right
    assert not report_of("| C | G7 |", "E5w | C5w").right
    assert "final-note" not in dict(fragment.holds)


def test_the_ending_may_be_asked_for() -> None:
    """`ends_on` and `lead_to` are asked and named in place of the level's own."""
    fifth = report_of("| C | G7 |", "E5w | D5w", ends_on=("fifth",))
    assert not fifth.faults
    assert dict(fifth.holds)["final-note"] == "The last note is the fifth of the last chord."
    far = report_of("| C | G7 |", "E5w | B4w", lead_to=79)
    assert [(fault.rule, fault.kind) for fault in far.faults] == [("lead-in", "style")]
    assert "8 half steps from G5" in far.faults[0].sentence


def test_the_range_may_be_asked_for() -> None:
    """`low` and `high` stand for the range of the level."""
    assert not report_of("| C |", "E4h C4h", low=60).faults
    assert {fault.rule for fault in report_of("| C |", "E5h C5h", high=74).faults} == {"range"}


# A hand


def test_a_hand_is_asked_at_its_tempo() -> None:
    """With a hand and a tempo, notes out of reach are a fault; slower, or with a larger hand, they are none."""
    chart, phrase = "| C |", "E4e E5e E4e G4e C5h"
    small = report_of(chart, phrase, 5, tempo=200, hand=reach("small"))
    assert {(fault.rule, fault.kind) for fault in small.faults} == {("in-reach", "clash")}
    assert "12 half steps in 0.15 seconds" in small.faults[0].sentence
    assert report_of(chart, phrase, 5, tempo=100, hand=reach("small")).right
    assert report_of(chart, phrase, 5, tempo=200, hand=reach("large")).right
    assert report_of(chart, phrase, 5, hand=reach("small")).right


def test_a_hand_without_a_tempo_is_judged_at_120() -> None:
    """A hand is asked even where no tempo is given, and the report says at which it is judged."""
    chart, phrase = "| C |", "E4s E5s E4e G4q C5h"
    remark = "No tempo given: the hand is judged at 120 quarter notes a minute."
    report = report_of(chart, phrase, 5, hand=reach("small"))
    assert {fault.rule for fault in report.faults} == {"in-reach"}
    assert "12 half steps in 0.12 seconds" in report.faults[0].sentence
    assert remark in report.remarks
    given = report_of(chart, phrase, 5, tempo=120, hand=reach("small"))
    assert given.faults == report.faults
    assert remark not in given.remarks
    assert remark not in report_of(chart, phrase, 5).remarks


def test_difficulty_is_said_with_a_tempo_only() -> None:
    """How hard it is for the fingers is said for a hand at a tempo, and gets harder with the tempo."""
    chart, phrase = "| C |", "C5e D5e E5e F5e G5e F5e E5e C5e"
    assert not any("fingers" in remark for remark in report_of(chart, phrase).remarks)
    slow, fast = (" ".join(report_of(chart, phrase, tempo=tempo).remarks) for tempo in (40, 400))
    assert "easy at 40" in slow
    assert "hard at 400" in fast
    assert "medium hand" in slow


def test_what_is_out_of_reach_comes_with_a_caution() -> None:
    """Where a hand cannot reach in time, the report says not to force it."""
    remarks = " ".join(report_of("| C |", "C4s G5s C4e C5h.", 5, tempo=240, hand=reach("small")).remarks)
    assert "don't force it" in remarks
    assert "teacher" in remarks


def test_a_triplet_beside_a_straight_eighth_has_seconds() -> None:
    """Where swung eighths and triplets would fall together the phrase is taken as written."""
    chart = parse_chart("| C |", key="C")
    notes = (Note(0, 240, 72), Note(240, 80, 74), Note(320, 160, 76), Note(480, 1440, 72))
    assert check(chart, notes, PACK.level(5), CheckSettings(tempo=120, swings=True)).notes


def test_every_note_has_a_finger() -> None:
    """The report holds the best fingering of the hand."""
    report = report_of("| C |", "C5q D5q E5q G5q")
    assert [each.finger for each in report.notes] == [1, 2, 3, 5]


# The mend


@pytest.mark.parametrize(
    ("chart", "phrase", "level", "mended", "sentences"),
    [
        ("| C |", "C5q D5q G5h", 3, "C5q E5q G5h", ["bar 1, beat 2: D5 becomes E5"]),
        ("| C |", "C5q F5q E5h", 2, "C5q E5q E5h", ["bar 1, beat 2: F5 becomes E5"]),
        ("| C | G7 |", "E5w | C5w", 3, "E5w | B4w", ["bar 2, beat 1: C5 becomes B4"]),
        ("| C |", "C6h G5h", 3, "G5h G5h", ["bar 1, beat 1: C6 becomes G5"]),
        (
            "| C | G7 |",
            "G5q. G5h E4e~ | E4q. D5q B4q.",
            2,
            "G5q. G5h C5e | rq. D5q B4q.",
            ["bar 1, the second half of beat 4: E4 becomes C5 and ends before beat 1 of bar 2"],
        ),
    ],
)
def test_mend(chart: str, phrase: str, level: int, mended: str, sentences: list[str]) -> None:
    """The smallest change that keeps every rule is found in a strict check, and put into words."""
    settings = {"ends_on": ("root", "third", "fifth")} if "C |" in chart and "G7" not in chart else {}
    mend = report_of(chart, phrase, level, strict=True, **settings).mend
    assert mend is not None
    assert mend.text == mended
    assert list(mend.sentences) == sentences
    assert len(mend.changed) == len(sentences)


@pytest.mark.parametrize(
    ("chart", "phrase", "level", "mended", "sentences"),
    [
        # one clash, and matters of style and level that stay as they are
        (
            "| Bb |",
            "D5q D5q D5e C5e F4q",
            3,
            "D5q D5q D5e Bb4e F4q",
            ["bar 1, the second half of beat 3: C5 becomes Bb4"],
        ),
        ("| Eb |", "Bb5q Ab5q Eb5h", 3, "Bb5q G5q Eb5h", ["bar 1, beat 2: Ab5 becomes G5"]),
        # held into a chord that lacks it, and left by leap
        (
            "| Bb | F |",
            "D5h Bb4h~ | Bb4q F5h.",
            3,
            "D5h Bb4h | rq F5h.",
            ["bar 1, beat 3: Bb4 ends before beat 1 of bar 2"],
        ),
    ],
)
def test_mend_of_clashes(chart: str, phrase: str, level: int, mended: str, sentences: list[str]) -> None:
    """Only what clashes is mended: notes that are a matter of style or beyond the level stay."""
    report = report_of(chart, phrase, level, key="Bb", ends_on=("root", "third", "fifth"))
    assert report.mend is not None
    assert (report.mend.text, list(report.mend.sentences)) == (mended, sentences)
    assert check(report.progression, report.mend.notes, PACK.level(level)).right


def test_no_mend_is_sought_where_nothing_clashes() -> None:
    """Matters of style and of the level are mended in a strict check only."""
    phrase = "D5q D5q D5q F5q"
    assert report_of("| Bb |", phrase, key="Bb").mend is None
    assert report_of("| Bb |", phrase, key="Bb", strict=True).mend is not None


def test_mend_lets_go_of_a_held_note() -> None:
    """Where no pitch belongs to both chords, the note ends where the next chord begins."""
    report = report_of("| C | Bbm |", "C5h G5h~ | G5q F5q Db5h", 2, strict=True)
    assert {fault.rule for fault in report.faults} >= {"held-note"}
    assert report.mend is not None
    assert "ends before beat 1 of bar 2" in " ".join(report.mend.sentences)
    assert check(report.progression, report.mend.notes, PACK.level(2), CheckSettings(strict=True)).right


def test_no_mend_says_why() -> None:
    """Where no pitches and no shorter notes keep the rules, the rules that stand in the way are named."""
    own = {
        "level": [
            {
                "number": 9,
                "like": 1,
                "low": "C4",
                "high": "C5",
                "rule": [{"kind": "leap-limit", "semitones": 1}],
            }
        ]
    }
    chart = parse_chart("| C | F |", key="C")
    strict = CheckSettings(strict=True)
    report = check(chart, parse_phrase("C5w | C5w", chart.metre), RulePack(own).level(9), strict)
    assert not report.right
    assert report.mend is None
    assert "without root-only or leap-limit some would" in report.remarks[0]


def test_mend_reads_back() -> None:
    """The text of a mend is the phrase text of its notes."""
    report = report_of("| C | Dm7 G7 |", "D5q G5q F5q C5q | C5e B4e C#5q F5q D5q")
    assert report.mend is not None
    assert parse_phrase(report.mend.text, METRES["4/4"]) == report.mend.notes
    assert phrase_text(report.mend.notes, report.progression) == report.mend.text


def test_a_mend_can_be_written_down() -> None:
    """A note is not cut to less than a length can be written for: here 60 ticks, half a sixteenth, would be left."""
    report = report_of("| F C7 |", "F4q A4e F4s. A4s. C5q. rs", 4)
    assert [(fault.kind, fault.name) for fault in report.faults] == [("clash", "A4")]
    assert report.mend is not None
    assert report.mend.text == "F4q A4e F4s. Bb4s. C5q. rs"


# Rhythm and levels


def test_a_chord_that_comes_in_late_makes_no_syncopation() -> None:
    """A note that begins with its chord on a light beat is on a heavy place."""
    assert not report_of("| C F / / |", "C5q A4h.", 2).faults


@pytest.mark.parametrize(
    ("chart", "phrase", "level"),
    [
        ("| C | G7 |", "C5w | G4w", 1),
        ("| C | G7 |", "C5h E5h | B4w", 2),
        ("| C | G7 |", "C5q D5q E5h | B4w", 3),
        ("| C | G7 |", "C5e D5e E5e G5e~ G5h | F5h D5q B4q", None),
        ("| C | G7 |", "C5e E5q G5e E5h | F5h D5q B4q", 3),
        ("| C | G7 |", "C5e E5q G5q E5q C5e | F5h D5q B4q", 4),
        ("| C | G7 |", "E5h A5q G5q | F5h D5q B4q", 5),
        ("| C | G7 |", "C5et D5et E5et E5q G5h | F5h D5q B4q", 5),
        ("| C | G7 |", "E5s. F5s. G5s. F5s. E5q C5q re | D5h B4h", 4),
        ("| C | G7 |", "F#5w | C#5w", None),
    ],
)
def test_lowest_level(chart: str, phrase: str, level: int | None) -> None:
    """The lowest level is the first whose rules hold and whose rhythms are kept."""
    progression = parse_chart(chart, key="C")
    notes = parse_phrase(phrase, progression.metre)
    if level is None:
        found = lowest_level(progression, notes, PACK)
        assert found is None or not any(
            check(progression, notes, PACK.level(number), pack=PACK).lowest == number
            for number in range(1, found)
        )
    else:
        assert lowest_level(progression, notes, PACK) == level
        assert f"is {level}, " in check(progression, notes, PACK.level(3), pack=PACK).remarks[-1]


def test_silent_bars_are_said() -> None:
    """That a phrase stops before its chart is said."""
    assert "stops in bar 1: bars 2 to 3 are silent" in report_of("| C | C | C |", "C5w").remarks[-1]


# What works


def test_works_says_only_what_is_there() -> None:
    """Praise is given for what holds, and one thing where hardly anything does."""
    good = " ".join(report_of("| C | G7 |", "G4q A4q C5h | B4q C5e D5e B4h").works)
    assert "All 4 notes on strong beats" in good
    assert "third of G7" in good
    assert "It moves by step 4 times out of 6." in good
    bad = report_of("| C | C |", "C#6w | F#4w").works
    assert len(bad) == 1
    poor = report_of("| C |", "C#4w").works
    assert len(poor) == 1
    assert "rule holds throughout" in poor[0] or "rhythm" in poor[0]


@pytest.mark.parametrize(
    ("phrase", "part"),
    [
        ("C5w", "The note on a strong beat belongs to its chord."),
        ("C5h E5h", "Both notes on strong beats belong to their chords."),
        ("C5q G5q C5q E5q", "Both leaps of more than a fourth turn back."),
        ("C5q D5q E5h", "It stays between C5 and E5 and spans a major third."),
    ],
)
def test_works_speaks_of_one_two_and_many(phrase: str, part: str) -> None:
    """Praise counts as people do, and tells the phrase's own lowest and highest note."""
    assert part in report_of("| C |", phrase, ends_on=("root", "third", "fifth")).works


def test_works_names_the_bars_that_are_right() -> None:
    """Bars without a clash are named by number."""
    works = report_of("| Bb | Bb | Bb |", "Bb4h D5h | E5h Bb4h | D5h Bb4h", key="Bb").works
    assert "Nothing clashes in bars 1 and 3." in works
    assert "Every note goes with its chord." in report_of("| Bb |", "D5q D5q D5q Bb4q", key="Bb").works


def test_what_leans_is_praised() -> None:
    """Stressed notes outside their chords that resolve are named."""
    works = report_of("| Bb | F |", "D5h Bb4h~ | Bb4q A4q G4q F4q", key="Bb").works
    assert "It has 1 suspension and 1 accented passing note, resolved by step." in works


@pytest.mark.parametrize("level", PACK.level_numbers)
def test_something_works_in_every_phrase(level: int) -> None:
    """Whatever is played, the report ends with something that is so."""
    chart = parse_chart("| Cmaj7 |", key="C")
    for midi in (0, 49, 61, 66, 72, 127):
        assert check(chart, (Note(0, 1920, midi),), PACK.level(level)).works


# Bad input


@pytest.mark.parametrize(
    ("notes", "part"),
    [
        ((), "no note"),
        ((Note(0, 960, 60), Note(480, 480, 62)), "bar 1, beat 2: two notes sound at once"),
        ((Note(0, 0, 60),), "not a note that can be played"),
        ((Note(-240, 240, 60),), "not a note that can be played"),
        ((Note(0, 480, 128),), "not a note that can be played"),
        ((Note(0, 3840, 60),), "the phrase has 2 bars, the chart 1"),
        ((Note(0, 477, 60),), "not a note length: 477 ticks"),
    ],
)
def test_phrases_that_cannot_be_checked(notes: tuple[Note, ...], part: str) -> None:
    """Notes that overlap, leave the chart or cannot be written are refused with a reason."""
    with pytest.raises(PhraseError, match=part):
        check(parse_chart("| C |"), notes, PACK.level(3))


@pytest.mark.parametrize(
    ("settings", "part"),
    [
        ({"tempo": 5}, "tempo is 5"),
        ({"ends_on": ("thirds",)}, "Did you mean 'third'"),
        ({"ends_on": ()}, "no degree"),
        ({"low": 80, "high": 60}, "is above"),
    ],
)
def test_settings_that_are_not_offered(settings: dict[str, object], part: str) -> None:
    """A setting outside what is offered is refused with what is."""
    with pytest.raises(OptionError) as caught:
        report_of("| C |", "C5w", 3, **settings)
    assert part in str(caught.value)


# Text and plain dictionaries


def test_text_ends_with_what_works() -> None:
    """The verdict comes first, then the places and what works, and every note only if asked; lines keep the width."""
    report = report_of("| Bb | Cm7 F7 |", "C5q F5q Eb5q Bb4q | C5q Eb5q D5q C5q", pack=PACK)
    assert {fault.kind for fault in report.faults} == {"clash", "style", "level"}
    short, whole = (check_text(report, width=80, explain=explain) for explain in (False, True))
    for text in (short, whole):
        heads = [line for line in text.splitlines() if line and not line.startswith(" ")]
        assert heads[0] == report.verdict
        wanted = ["Clashes", "Style", "Beyond level 3", "What works", "Note by note", "What holds", "Also"]
        assert [head for head in heads if head in wanted] == [
            head for head in wanted if text is whole or head not in ("Note by note", "What holds")
        ]
        assert report.mend is not None
        assert report.mend.text in text
        assert max(map(len, text.splitlines())) <= 80
        assert text.endswith(".\n")


def test_each_rule_is_stated_once() -> None:
    """However often a rule is broken, it is stated once; every place is there."""
    report = report_of("| Bb | Bb |", "Bb4q C5q F5q C5q | Bb4q C5q F5q Bb4q", key="Bb")
    text = " ".join(check_text(report).split())
    assert len(report.of_kind("clash")) >= 2
    assert all(text.count(fault.sentence) >= 1 for fault in report.faults)
    assert all(text.count(fault.says) == 1 for fault in report.faults)


@pytest.mark.parametrize(
    ("phrase", "verdict"),
    [
        ("Bb4q C5q D5h", "Nothing clashes: the phrase keeps every rule of level 3."),
        ("D5q D5q D5h", "Nothing clashes; 1 note is a matter of style."),
        ("D5h C5q Bb4q", "Nothing clashes; 1 note goes beyond level 3."),
        ("Bb4q C5q Gb5e B4e Gb5q", "4 notes clash; 1 note is a matter of style."),
        (
            "D5q Eb5q Eb5e G4e F5q",
            "3 notes clash; 1 note is a matter of style and 1 note goes beyond level 3.",
        ),
    ],
)
def test_verdict_in_one_sentence(phrase: str, verdict: str) -> None:
    """The verdict counts the notes of each kind."""
    assert report_of("| Bb |", phrase, key="Bb").verdict == verdict


def test_text_of_a_right_phrase_has_no_faults() -> None:
    """That a phrase is right is said at once."""
    text = check_text(report_of("| C |", "C5q D5q E5h"))
    assert "keeps every rule of level 3" in text
    assert "breaks" not in text


def test_notes_outside_the_range_are_not_proposed() -> None:
    """What a note could be instead lies in the range that is asked for."""
    both, high = (report_of("| C |", "D5h G5h", low=low) for low in (60, 74))
    assert "it could be C5 or E5." in both.faults[0].sentence
    assert "it could be E5." in high.faults[0].sentence


def test_how_a_phrase_was_read_stands_under_the_verdict() -> None:
    """Remarks on the reading follow the verdict at once, and stand in the dictionary."""
    plain = report_of("| C |", "C5q D5q E5h")
    reading = (
        "The notes are those of the part 'Lead'.",
        "Note times were rounded to eighths. " + "So it goes. " * 9,
    )
    report = replace(plain, reading=reading)
    text = check_text(report, width=60)
    assert text.splitlines()[0] == plain.verdict
    assert text.splitlines()[2] == reading[0]
    assert max(map(len, text.splitlines())) <= 60
    assert text.split("\n\n")[1:] == check_text(plain, width=60).split("\n\n")[1:]
    assert check_document(report)["reading"] == list(reading)
    assert check_document(plain)["reading"] == []


def test_a_fault_off_the_beat_is_put_in_words() -> None:
    """Where a fault is, is said as in the sentences, not as a number with a point."""
    text = check_text(report_of("| C |", "C5q. F#5e C5h"))
    assert "bar 1: F#5 on the second half of beat 2 is outside C" in text
    assert "beat 2.5" not in text


def test_document_holds_the_report() -> None:
    """The dictionary can be written as JSON and says the same as the report."""
    report = report_of("| F | C |", "C5h F5h~ | F5h E5h", tempo=100, pack=PACK)
    document = json.loads(json.dumps(check_document(report)))
    assert document["right"] is True
    assert document["verdict"] == report.verdict
    assert document["chart"]["tempo"] == 100
    assert document["text"] == "C5h F5h~ | F5h E5h"
    assert [note["kind"] for note in document["notes"]] == ["chord tone", "suspension", "chord tone"]
    assert [note["why"] for note in document["notes"]] == list(report.reasons)
    assert [(each["kind"], each["note"], each["rule"]) for each in document["faults"]] == [
        (fault.kind, fault.index, fault.rule) for fault in report.faults
    ]
    assert document["mend"] is None
    wrong = report_of("| F | C |", "C5h F5h~ | F5h C5h")
    assert wrong.mend is not None
    assert check_document(wrong)["mend"]["text"] == wrong.mend.text
    assert document["works"] == list(report.works)
    right = check_document(report_of("| C |", "C5q D5q E5h"))
    assert (right["mend"], right["faults"], right["chart"]["tempo"]) == (None, [], None)


def test_a_pick_up_counts_from_bar_0() -> None:
    """Where the first bar holds a pick-up, bars are called by their own numbers."""
    chart = replace(parse_chart("| G7 | C |", key="C"), first=0)
    report = check(chart, parse_phrase("rh. F#5q | E5h C5h", chart.metre), PACK.level(2))
    assert {fault.bar for fault in report.faults} == {0}
    assert "bar 0: F#5 on beat 4" in check_text(report)


def test_an_explained_idea() -> None:
    """An idea is shown with its staff, its notes and its rank; a number that is not shown is refused."""
    ideas = fillgen.ideas("| G | F | C | D7 |", count=2)
    text = explain_text(ideas, 2, 90)
    assert "Note by note" in text
    assert "after idea 1" in text
    assert max(map(len, text.splitlines())) <= 100
    with pytest.raises(OptionError, match="there is no idea 3"):
        explain_text(ideas, 3)


def test_an_idea_on_the_fifth_is_no_surprise() -> None:
    """An idea that was asked to end on the fifth is not said to end wrongly."""
    ideas = fillgen.ideas("| C | G7 |", ends_on=["fifth"], count=1)
    assert "The phrase can close on it." in " ".join(explain_text(ideas, 1).split())
