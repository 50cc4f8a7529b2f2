"""Lines spelled as a whole: chromatic notes by their direction, chords without double signs, typed names kept."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from pathlib import Path
from random import Random
from typing import Any

import pytest

import fillgen
from fillgen import IdeaNote, Ideas, Note, parse_chart, parse_phrase, phrase_text
from fillgen.phrase.spelling import Speller, is_plain, names_of, spell
from fillgen.readers.phrases import find_phrase
from fillgen.theory.chords import kinds, make_chord
from fillgen.theory.pitch import LETTERS, NATURAL, Name, all_keys
from tests.commands import caller

DIMINISHED = "| G | Bbdim7 | Am7 | D7 |"


def line(chart: str, *pitches: int, key: str | None = None) -> str:
    """The names of quarter notes over a chart."""
    notes = tuple(Note(480 * index, 480, midi) for index, midi in enumerate(pitches))
    return " ".join(spell(parse_chart(chart, key=key), notes))


# Chords


def test_chords_print_no_double_signs() -> None:
    """Every kind on every root has single signs at most, and the pitch classes of its degrees."""
    for root, kind in product([Name(letter, alter) for letter in range(7) for alter in (-1, 0, 1)], kinds()):
        for tone in make_chord(root, kind).tones:
            assert abs(tone.name.alter) <= 1, (root, kind.name)
            assert tone.name.pitch_class == tone.stacked.pitch_class
            assert tone.name == tone.stacked or kind.naturals or abs(tone.stacked.alter) > 1


def test_diminished_sevenths_have_plain_letters() -> None:
    """In a diminished seventh on any root every other white key is a plain letter."""
    (kind,) = (kind for kind in kinds() if kind.naturals)
    for root in (Name(letter, alter) for letter in range(7) for alter in (-1, 0, 1)):
        _, *others = make_chord(root, kind).tones
        assert all(not tone.name.alter for tone in others if tone.name.pitch_class in NATURAL), root


# Lines


@pytest.mark.parametrize(
    ("chart", "key", "pitches", "names"),
    [
        ("| Bb |", "Bb", (72, 73, 74), "C5 C#5 D5"),
        ("| Bb |", "Bb", (74, 73, 72), "D5 Db5 C5"),
        ("| F |", "F", (77, 78, 79), "F5 F#5 G5"),
        ("| F |", "F", (79, 78, 77), "G5 Gb5 F5"),
        ("| A |", "A", (76, 77, 76), "E5 F5 E5"),
        ("| Eb |", "Eb", (79, 78, 79), "G5 F#5 G5"),
        ("| E7b9 |", "A minor", (68, 66, 65), "G#4 F#4 F4"),
        ("| E7b9 |", "A minor", (65, 68, 69), "F4 G#4 A4"),
        ("| Bbdim7 |", "G", (70, 67, 64), "Bb4 G4 E4"),
        ("| Bbdim7 |", "G", (71, 73, 73), "B4 C#5 C#5"),
        ("| Gb7 |", "Db", (78, 76, 73), "Gb5 Fb5 Db5"),
    ],
)
def test_a_line_is_spelled_as_an_editor_would(
    chart: str, key: str, pitches: tuple[int, ...], names: str
) -> None:
    """Raised notes rise, lowered notes fall, chords keep their letters, and one key keeps its name (common practice)."""
    assert line(chart, *pitches, key=key) == names


def test_spelling_costs_least_of_all() -> None:
    """No other names of a line cost less than those chosen, on lines short enough to try all of them."""
    dice = Random(11)
    symbols = ("G", "Bbdim7", "Am7", "D7", "E7b9", "Db", "F#m7b5", "Cm6", "B7#9", "Abmaj7")
    for _ in range(150):
        chart = parse_chart(" | ".join(dice.sample(symbols, 2)), key=str(dice.choice(all_keys())))
        notes = tuple(Note(480 * index, 480, dice.randint(58, 80)) for index in range(7))
        speller = Speller(chart)
        rows = [speller._choices(note) for note in notes]
        assert [{each.name for each in row} for row in rows] == [
            {*names_of(note.midi % 12)} for note in notes
        ]

        def cost(line: Sequence[Any]) -> int:
            pairs = zip(notes, line, notes[1:], line[1:], strict=False)  # noqa: B023
            own = sum(choice.cost for choice in line)
            return own + sum(speller._pair(*pair) for pair in pairs)  # noqa: B023

        names = speller._line(notes)
        chosen = [
            next(each for each in row if each.name == name) for row, name in zip(rows, names, strict=True)
        ]
        assert cost(chosen) == min(map(cost, product(*rows)))


# Odd intervals


def name_of(note: IdeaNote) -> Name:
    """The name of a note without its octave."""
    return Name.read(note.name.rstrip("-0123456789"))


def oddly_spelled(ideas: Ideas, before: IdeaNote, note: IdeaNote) -> bool:
    """Whether two notes look augmented or diminished without need.

    That is neither a tritone, which has no other look, nor a half step on one letter, which a chromatic line cannot do
    without, nor two tones of one chord as the chord prints them, or under any names in a diminished seventh.
    """
    first, second = name_of(before), name_of(note)
    if is_plain(first, before.note.midi, second, note.note.midi):
        return False
    if first.letter == second.letter and abs(before.note.midi - note.note.midi) == 1:
        return False
    chord = ideas.progression.span_at(note.note.onset).heard
    tones = [chord.tone_at(name.pitch_class) for name in (first, second)]
    if None in tones:
        return True
    free = chord.kind is not None and chord.kind.naturals
    return not free and [tone.name for tone in tones if tone] != [first, second]


@pytest.mark.parametrize("level", [2, 3, 4, 5])
def test_few_ideas_have_oddly_spelled_intervals(level: int) -> None:
    """Over a diminished seventh that passes at most two ideas of fifty have one, and none a double sign."""
    ideas = fillgen.ideas(DIMINISHED, count=50, level=level)
    odd = [
        idea.rank
        for idea in ideas
        if any(oddly_spelled(ideas, *pair) for pair in zip(idea.notes, idea.notes[1:], strict=False))
    ]
    assert len(ideas) == 50
    assert len(odd) <= 2
    assert all(abs(name_of(note).alter) <= 1 for idea in ideas for note in idea.notes)


# Typed names


def test_typed_names_stay() -> None:
    """A phrase keeps the names it is typed with, and the others are spelled around them."""
    chart = parse_chart("| Eb | Bb7 |")
    text = "G5q F#5q Gb5q D#5q | E#5h Cb5h"
    phrase = parse_phrase(text, chart.metre)
    assert phrase_text(phrase, chart) == text
    assert [note.name for note in fillgen.check(chart, text).notes] == text.replace("|", "").replace(
        "q", ""
    ).replace("h", "").split()


def test_a_moved_note_loses_its_name() -> None:
    """A name that no longer says what sounds is passed over."""
    assert spell(parse_chart("| Eb |"), (Note(0, 480, 75, Name.read("F#")),)) == ("Eb5",)


def test_kept_bars_keep_their_names() -> None:
    """What `vary` keeps of a phrase is spelled as it was typed."""
    chart = parse_chart("| Eb | Cm7 | Fm7 | Bb7 |")
    text = "G5q D#5q G5h | Eb5h D#5h | C5q Ab4q F4h | Bb4h D5h"
    found = fillgen.variants(chart, text, keep=("1-2",), count=3, level=5)
    assert all(idea.text.startswith("G5q D#5q G5h | Eb5h D#5h |") for idea in found)


@pytest.mark.parametrize("ending", ["abc", "musicxml"])
def test_names_of_files_stay(tmp_path: Path, capsys: pytest.CaptureFixture[str], ending: str) -> None:
    """Notes of ABC and MusicXML keep the names of the file; what is written from typed names has them too."""
    path = tmp_path / f"line.{ending}"
    if ending == "abc":
        path.write_text("X:1\nM:4/4\nL:1/4\nK:Eb\nG ^F _G ^D | ^E2 _c2 |\n", encoding="utf-8")
    else:
        caller(capsys)("check", "| Eb | Bb7 |", "G4q F#4q Gb4q D#4q | E#4h Cb5h", "-o", str(path))
    found = find_phrase(str(path))
    names = spell(parse_chart("| Eb | Bb7 |"), found.notes)
    assert names == ("G4", "F#4", "Gb4", "D#4", "E#4", "Cb5")


def test_letters_are_those_of_the_keyboard() -> None:
    """Every pitch class has its plain letter or two names with one sign, the white keys beside black ones two."""
    found = [list(map(str, names_of(pitch_class))) for pitch_class in range(12)]
    assert [names[0] for names in found if len(names[0]) == 1] == sorted(LETTERS, key=LETTERS.index)
    assert [len(names) for names in found] == [2, 2, 1, 2, 2, 2, 2, 1, 2, 1, 2, 2]
