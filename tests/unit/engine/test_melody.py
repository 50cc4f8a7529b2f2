"""The score of a bare line: what each term hears in it, how it may be given, and what is refused."""

from __future__ import annotations

import json
import pickle
from dataclasses import FrozenInstanceError

import pytest

import fillgen
from fillgen.engine.melody import MELODY_TERMS, MelodyScore, melody_score, plan_of
from fillgen.errors import FillgenError, OptionError, PhraseError
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.text import parse_phrase
from fillgen.rules.pack import TERMS, RulePack
from fillgen.theory.keys import read_key
from fillgen.theory.metre import METRES

SUNG = "Ab4q Bb4q C5q Db5q | C5q Eb5q Db5q C5q | Bb4q C5q Bb4q G4q | Ab4w"


def term(name: str, text: str, key: str | set[int] = "Eb major", metre: str = "4/4", **reach: int) -> float:
    """One term of one line."""
    return melody_score(text, metre, key, **reach).terms[name]


def line(*pitches: int, length: int = 480) -> Phrase:
    """Notes of one length, one right after the other."""
    return tuple(Note(length * index, length, midi) for index, midi in enumerate(pitches))


# What is given back


def test_score_is_the_weighted_mean_of_its_terms() -> None:
    """All terms but those that need chords, a rhythm or a hand, by the weights of the built-in tables."""
    found = melody_score(SUNG, "4/4", "Ab major")
    weights = RulePack().weights
    others = {"colour", "idiom", "ease"}
    assert tuple(found.terms) == MELODY_TERMS == tuple(name for name in TERMS if name not in others)
    whole = sum(weights[name] * value for name, value in found.terms.items())
    assert found.score == pytest.approx(whole / sum(weights[name] for name in MELODY_TERMS), abs=5e-7)
    assert found.score == round(found.score, 6)


def test_score_is_a_plain_value() -> None:
    """It cannot be changed, goes into JSON and through a process's door, and equals another with the same numbers."""
    found = melody_score(SUNG, "4/4", "Ab major")
    with pytest.raises(FrozenInstanceError):
        found.score = 1.0  # type: ignore[misc]
    assert pickle.loads(pickle.dumps(found)) == found
    assert json.loads(json.dumps(found.terms)) == found.terms
    assert MelodyScore(found.score, dict(found.terms)) == found


def test_many_lines_are_scored_in_their_order() -> None:
    """Texts and notes, of the same rhythm or not: each as if it were alone."""
    lines = [
        SUNG,
        parse_phrase("Eb5h Db5h | C5w", METRES["4/4"]),
        SUNG.replace("Eb5", "F5"),
        "Eb5h G4h | C5w",
    ]
    found = melody_score(lines, "4/4", "Ab major")
    assert isinstance(found, tuple)
    assert found == tuple(melody_score(each, "4/4", "Ab major") for each in lines)
    assert len({each.score for each in found}) == 4
    assert melody_score(lines[:1], "4/4", "Ab major") == found[:1]


def test_text_and_values_mean_the_same() -> None:
    """A phrase, a metre and a key as text or value; a list of notes is a line as well."""
    metre, key = METRES["4/4"], read_key("Ab major")
    notes = parse_phrase(SUNG, metre)
    by_text = melody_score(SUNG, "4/4", "Ab major")
    assert melody_score(notes, metre, key) == by_text
    assert melody_score(list(notes), metre, key) == by_text  # type: ignore[arg-type]
    assert melody_score(SUNG, "4/4", [8, 10, 0, 1, 3, 5, 7]) == by_text


# The terms


@pytest.mark.parametrize("shape", RulePack().shapes.values(), ids=lambda shape: shape.name)
def test_line_is_held_to_the_shape_it_follows_best(shape: object) -> None:
    """Nobody asked for a shape: a line at the heights of any built-in one has the term nearly in full."""
    heights = dict(shape.points)  # type: ignore[attr-defined]
    lengths = [round(9600 * time) for time in heights]
    at = [*lengths[1:], 9600 + 480]
    notes = tuple(
        Note(onset, end - onset, round(60 + 24 * height))
        for onset, end, height in zip(lengths, at, heights.values(), strict=True)
    )
    assert melody_score(notes, "4/4", "Eb major").terms["shape"] > 0.99


def test_level_line_has_no_shape() -> None:
    """One pitch over and over follows no shape."""
    assert melody_score(line(70, 70, 70, 70), "4/4", "Eb major").terms["shape"] == 0


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("Eb4q F4q G4h | Bb4q C5q D5h", 1),
        ("Eb4q F4q G4h | F4q G4q Ab4h", 0.6 + 0.4 * (1 - (0 + 1) / 2 / 6)),
        ("Eb4q F4q G4h | Eb4q F4q G4h", 1),
        ("Eb4q F4q G4h | G4q F4q Eb4h", 0.4 * (1 - 4 / 6)),
        ("Eb4q F4q G4h | F4h G4q Ab4q", 0.5),
        ("Eb4q F4q G4h | rw", 0.5),
        ("Eb4q F4q G4h | rq F4q G4q Ab4q", 0.5),
    ],
)
def test_bars_of_one_rhythm_answer_one_another(text: str, value: float) -> None:
    """Intervals are compared in bars with the same rhythm; other bars, and empty ones, say nothing."""
    assert term("echo", text) == pytest.approx(value)


def test_a_bar_may_answer_one_that_is_not_beside_it() -> None:
    """Across an empty bar and one of another rhythm, the first bar's rhythm is known again."""
    assert term("echo", "Eb4q F4q G4h | rw | Bb4w | Ab4q Bb4q C5h") == 1
    assert term("echo", "Eb4q F4q G4h | rw | Bb4w | C5q Bb4q Ab4h") < 0.5


def test_close_asks_for_no_root() -> None:
    """A step into the last note is as good wherever it ends; a leap into it is not."""
    assert term("close", "G4h F4h | Eb4w") == term("close", "Ab4h G4h | F4w") == 1
    assert term("close", "G4h Bb4h | Eb4w") == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("key", "text", "value"),
    [
        ("C minor", "C5q B4q C5h", 1),
        ("C minor", "C5q Bb4q Ab4h", 1),
        ("C minor", "C5q B4q G4h", 1),
        ("C minor", "C5q A4q G4h", 0),
        ("Eb major", "Bb4q B4q Bb4h", 1),
        ("Eb major", "Bb4q B4q G4h", 0),
        ("Eb major", "Bb4e B4e G4h.", 0.5),
        ({0, 2, 3, 5, 7, 9, 10}, "C5q A4q G4h", 1),
        ({0, 2, 3, 5, 7, 9, 10}, "C5q Ab4q F4h", 0),
    ],
)
def test_notes_outside_the_scale_stray(key: str | set[int], text: str, value: float) -> None:
    """The raised seventh belongs to a minor key; what else lies outside had better lead back by a semitone."""
    assert term("key", text, key) == pytest.approx(value)


def test_register_goes_by_the_range() -> None:
    """The same line lies well in its own range, less well in another; level 3's counts where none is given."""
    own, above = (
        term("register", "C4q F4q A4h", "F", low=53, high=77),
        term("register", "C4q F4q A4h", "F", low=72, high=96),
    )
    assert own == pytest.approx(0.7 + 0.3 * (1 - 2 * abs(194 / 3 - 65) / 24))
    assert above < own
    assert melody_score(SUNG, "4/4", "Ab major", low="D4", high=81) == melody_score(SUNG, "4/4", "Ab major")
    assert melody_score(SUNG, "4/4", "Ab major", low=62) == melody_score(SUNG, "4/4", "Ab major")
    assert term("register", "Bb4w", low=70, high=70) == pytest.approx(0.3)


def test_only_the_register_goes_by_the_range() -> None:
    """Another range changes no other term."""
    one, other = melody_score(SUNG, "4/4", "Ab major"), melody_score(SUNG, "4/4", "Ab major", low=36, high=60)
    assert {name for name in MELODY_TERMS if one.terms[name] != other.terms[name]} == {"register"}


def test_the_terms_are_those_of_the_ideas() -> None:
    """What needs no chord is heard in an idea as in a bare line."""
    found = fillgen.ideas("| Bbmaj7 | G7 | Cm7 | F7 |", level=3, rhythm="bossa nova", count=10, seed=3)
    for idea in found:
        bare = melody_score(idea.phrase, found.progression.metre, found.progression.key)
        for name in ("steps", "flow", "turns", "motif", "close", "register"):
            assert round(bare.terms[name], 4) == idea.terms[name], (name, idea.text)
        assert bare.terms["shape"] >= idea.terms["shape"] - 5e-5


def test_one_note_is_a_line() -> None:
    """Terms about moves have nothing to say about it."""
    found = melody_score("Bb4w", "4/4", "Eb major")
    assert {found.terms[name] for name in ("steps", "flow", "turns", "close", "key")} == {1.0}
    assert {found.terms[name] for name in ("habit", "echo", "motif", "order")} == {0.5}


# The rhythm as a plan


def test_bars_of_one_rhythm_share_a_letter() -> None:
    """Lengths count as well as onsets; a bar in which nothing starts is `z`, and so is one that a note is held into."""
    metre = METRES["3/4"]
    notes = parse_phrase("Eb4q F4h | rh. | G4q Ab4h | Bb4q C5q rq | Bb4h.~ | Bb4q Ab4h | Eb4q F4h", metre)
    plan = plan_of(tuple((note.onset, note.length) for note in notes), metre)
    a, empty, b, c, d, e, last = plan.letters
    assert empty == "z"
    assert a == b == last
    assert len({a, c, d, e, empty}) == 5
    held = parse_phrase("Eb4q F4h~ | F4h. | G4q Ab4h", metre)
    assert plan_of(tuple((note.onset, note.length) for note in held), metre).letters[1] == "z"


# What is refused


@pytest.mark.parametrize(
    ("phrase", "place", "message"),
    [
        ("", "", "has no note"),
        ((), "", "has no note"),
        ([], "", "has no note"),
        ("rw", "", "has no note"),
        ("Eb4q F4h", "bar 1", "a 4/4 bar 4"),
        ("Eb4q F4q Gb4x", "bar 1, note 3", "Gb4x"),
        ([SUNG, "Eb4q F4q h"], "line 2, bar 1, note 3", "'h'"),
        ([SUNG, ""], "line 2", "has no note"),
        ([SUNG, ()], "line 2", "has no note"),
        ([SUNG, line(60), (Note(1920, 480, 200),)], "line 3, bar 2, beat 1", "can be played"),
        ((Note(-1, 480, 60),), "bar 1, beat 1", "can be played"),
        ((Note(1920, 0, 60),), "bar 2, beat 1", "can be played"),
        ((Note(0, 480, -1),), "bar 1, beat 1", "can be played"),
        ((Note(0, 480, 60), Note(1920, 960, 62), Note(2400, 480, 64)), "bar 2, beat 2", "at once"),
        ((Note(480, 480, 60), Note(0, 480, 62)), "bar 1, beat 1", "at once"),
        ((Note(0, 480, 60), Note(512 * 1920, 480, 62)), "", "513 bars"),
        ([60, 62, 64], "line 1", "not a line of notes: '60'"),
        ((Note(0, 480, 60), 62), "", "not a line of notes"),
    ],
)
def test_wrong_lines_are_refused(phrase: object, place: str, message: str) -> None:
    """Each with its line, its bar and what is wrong, and with a way on where the place does not say enough."""
    with pytest.raises(PhraseError) as refused:
        melody_score(phrase, "4/4", "Eb major")  # type: ignore[call-overload]
    assert refused.value.place == place
    assert message in refused.value.message
    assert refused.value.hint or refused.value.place


def test_the_longest_line_is_taken() -> None:
    """Up to 512 bars."""
    notes = (Note(0, 480, 60), Note(512 * 1920 - 480, 480, 62))
    assert 0 <= melody_score(notes, "4/4", "Eb major").score <= 1


@pytest.mark.parametrize(
    ("metre", "key", "reach", "message"),
    [
        ("11/4", "Eb major", {}, "unknown metre '11/4'"),
        ("4/4", "Eb majr", {}, "unknown key 'Eb majr'"),
        ("4/4", [], {}, "at least one pitch class"),
        ("4/4", [0, 12], {}, "from 0 to 11"),
        ("4/4", [-1], {}, "from 0 to 11"),
        ("4/4", ["C", "D"], {}, "from 0 to 11"),
        ("4/4", "Eb major", {"low": 70, "high": 69}, "lowest note 70 is above the highest, 69"),
        ("4/4", "Eb major", {"low": 82}, "lowest note 82 is above the highest, 81"),
        ("4/4", "Eb major", {"low": -1}, "unknown pitch -1 for the lowest note"),
        ("4/4", "Eb major", {"high": 128}, "unknown pitch 128 for the highest note"),
        ("4/4", "Eb major", {"low": "H4"}, "unknown pitch 'H4' for the lowest note"),
    ],
)
def test_wrong_settings_are_refused(metre: str, key: object, reach: dict[str, object], message: str) -> None:
    """Each with a way on."""
    with pytest.raises(OptionError) as refused:
        melody_score(SUNG, metre, key, **reach)  # type: ignore[call-overload]
    assert message in refused.value.message
    assert refused.value.hint


def test_settings_are_checked_before_lines() -> None:
    """All errors are fillgen's own."""
    with pytest.raises(FillgenError, match="unknown metre"):
        melody_score("nothing", "9/7", "nowhere")
