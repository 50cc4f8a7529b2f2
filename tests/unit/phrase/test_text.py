"""Phrase text: notes, rests, ties and triplets read and written, and what is said of a phrase that cannot be read."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace

import pytest

from fillgen import FillgenError, Note, PhraseError, Progression, parse_chart, parse_phrase, phrase_text
from fillgen.chart.text import MOST_TEXT
from fillgen.theory.metre import LENGTHS, METRES, length_text, split_length

LETTER_TICKS = {"w": 1920, "h": 960, "q": 480, "e": 240, "s": 120}


def read(text: str, metre: str = "4/4") -> list[tuple[int, int, int]]:
    """The notes of a phrase as onset, length and MIDI pitch."""
    return [(note.onset, note.length, note.midi) for note in parse_phrase(text, METRES[metre])]


def chart_of(bars: int, metre: str = "4/4", chord: str = "C", key: str = "C") -> Progression:
    """A chart of so many bars of one chord."""
    return parse_chart("| " + " | ".join([chord] * bars) + " |", key=key, metre=metre)


def printed(text: str, metre: str = "4/4", chord: str = "C", key: str = "C") -> str:
    """A phrase read and printed again."""
    phrase = parse_phrase(text, METRES[metre])
    bars = text.strip("| ").count("|") + 1
    return phrase_text(phrase, chart_of(bars, metre, chord, key))


def refusal(text: str, metre: str = "4/4") -> str:
    """What is said of a phrase that is refused, in one line."""
    with pytest.raises(FillgenError) as caught:
        parse_phrase(text, METRES[metre])
    said = str(caught.value)
    assert "\n" not in said
    return said


# Reading


def test_phrase_of_the_notation() -> None:
    """Letters, octave, length and dot give pitch and time; r is a rest; bars are parted by bar lines."""
    assert read("F5q. Eb5e D5h | rq G5q F5h") == [
        (0, 720, 77),
        (720, 240, 75),
        (960, 960, 74),
        (2400, 480, 79),
        (2880, 960, 77),
    ]


@pytest.mark.parametrize("letter", LETTER_TICKS)
@pytest.mark.parametrize(("mark", "factor"), [("", (1, 1)), (".", (3, 2)), ("t", (2, 3))])
def test_every_length(letter: str, mark: str, factor: tuple[int, int]) -> None:
    """A dot makes a length half as long again, a t two thirds of it."""
    ticks = LETTER_TICKS[letter] * factor[0] // factor[1]
    assert LENGTHS[letter + mark] == ticks
    assert length_text(ticks) == letter + mark
    assert sum(split_length(ticks)) == ticks


def test_no_other_length_has_letters() -> None:
    """There are five letters, each plain, dotted and as a triplet."""
    assert len(LENGTHS) == 15


@pytest.mark.parametrize(
    ("name", "midi"),
    [
        ("C4", 60),
        ("A4", 69),
        ("Eb5", 75),
        ("F#4", 66),
        ("Cb5", 71),
        ("B#4", 72),
        ("Bbb4", 69),
        ("F##4", 67),
        ("E♭5", 75),
        ("F♯4", 66),
        ("C-1", 0),
        ("G9", 127),
    ],
)
def test_pitch_names(name: str, midi: int) -> None:
    """Pitches are scientific names: C4 is 60, and signs are counted from the letter's own octave."""
    assert read(f"{name}w") == [(0, 1920, midi)]


@pytest.mark.parametrize("text", ["| C5w | D5w |", "C5w|D5w", "C5w\n| D5w", "  C5w |  D5w  "])
def test_outer_bar_lines_and_blanks_do_not_matter(text: str) -> None:
    """Outer bar lines may stand or not, and blanks and line ends part nothing but tokens."""
    assert read(text) == [(0, 1920, 72), (1920, 1920, 74)]


def test_tie_makes_one_note() -> None:
    """A note tied to the next is one note, inside a bar and over bar lines."""
    assert read("C5h~ C5e D5q. | E5w~ | E5h rh") == [(0, 1200, 72), (1200, 720, 74), (1920, 2880, 76)]


def test_ties_may_be_spelled_in_two_ways() -> None:
    """A tie joins equal pitches whatever their letters."""
    assert read("F#5h~ Gb5h") == [(0, 1920, 78)]


def test_equal_pitches_without_a_tie_are_two_notes() -> None:
    """Without a tie the same pitch is struck again."""
    assert read("C5h C5h") == [(0, 960, 72), (960, 960, 72)]


def test_triplets_fill_their_beat() -> None:
    """Three triplet eighths fill a quarter, three triplet quarters a half."""
    assert read("C5et D5et E5et C5qt D5qt E5qt rq") == [
        (0, 160, 72),
        (160, 160, 74),
        (320, 160, 76),
        (480, 320, 72),
        (800, 320, 74),
        (1120, 320, 76),
    ]


def test_rests_part_notes() -> None:
    """A rest takes time and gives no note; a phrase may begin and end with rests."""
    assert read("rq C5q rh | rw") == [(480, 480, 72)]


@pytest.mark.parametrize(
    ("metre", "bar"),
    [
        ("4/4", "C5w"),
        ("2/2", "C5h D5h"),
        ("3/4", "C5h."),
        ("2/4", "C5h"),
        ("5/4", "C5h. D5h"),
        ("6/8", "C5q. D5q."),
        ("9/8", "C5q. D5q. E5q."),
        ("12/8", "C5h. D5h."),
    ],
)
def test_bars_of_every_metre(metre: str, bar: str) -> None:
    """A bar is full when it lasts as long as its metre says, and then only."""
    assert read(f"{bar} | {bar}", metre)[-1][0] + read(bar, metre)[-1][1] == 2 * METRES[metre].bar
    assert "bar 1" in refusal(f"{bar} C5s", metre)
    assert METRES[metre].name in refusal(f"{bar} C5s", metre)


# Writing


CANONICAL = [
    ("4/4", "F5q. E5e D5h | rq G5q F5h"),
    ("4/4", "C5w"),
    ("4/4", "C5h~ C5e D5q. | E5w~ | E5h rh"),
    ("4/4", "C5et D5et E5et C5qt D5qt E5qt rq"),
    ("4/4", "C5e. D5s E5e. F5s G5h"),
    ("4/4", "re C5e rh."),
    ("4/4", "C5e. rs rh."),
    ("4/4", "rw | C5w"),
    ("3/4", "C5h. | D5q E5h"),
    ("2/4", "C5h~ | C5q rq"),
    ("2/2", "C5h D5h"),
    ("5/4", "C5w~ C5q"),
    ("5/4", "rw rq | C5h. D5h"),
    ("6/8", "C5q. D5q. | E5q F5e G5q."),
    ("9/8", "C5w~ C5e"),
    ("12/8", "C5w. | D5h. E5h."),
]


@pytest.mark.parametrize(("metre", "text"), CANONICAL)
def test_canonical_phrase_prints_as_it_was(metre: str, text: str) -> None:
    """A phrase in the form in which phrases are printed is printed as it was."""
    assert printed(text, metre) == text


@pytest.mark.parametrize(
    ("text", "canonical"),
    [
        ("| C5q~ C5q D5h |", "C5h D5h"),
        ("C5q rq rq rq", "C5q rh."),
        ("B#4w", "B#4w"),
        ("C5h~ C5q. D5e", None),
        ("rq.  rq. C5q", "rh. C5q"),
    ],
)
def test_other_forms_print_in_canonical_form(text: str, canonical: str | None) -> None:
    """A phrase in another form is printed in canonical form, which stands for the same notes."""
    again = printed(text)
    assert read(again) == read(text)
    assert printed(again) == again
    assert canonical in {None, again}


@pytest.mark.parametrize(
    ("text", "chord", "key", "canonical"),
    [
        ("D#5w", "Ebmaj7", "Eb", "Eb5w"),
        ("Eb5w", "B7", "E", "D#5w"),
        ("E5w", "Gb7", "Cb", "Fb5w"),
        ("B4w", "Gb7sus4", "Gb", "Cb5w"),
    ],
)
def test_notes_are_spelled_by_their_chord(text: str, chord: str, key: str, canonical: str) -> None:
    """A chord tone is printed with the letter it has in its chord, in the octave of that letter; a typed one stays."""
    nameless = tuple(replace(note, name=None) for note in parse_phrase(text, METRES["4/4"]))
    assert phrase_text(nameless, chart_of(1, "4/4", chord, key)) == canonical
    assert read(canonical) == read(text)
    assert printed(text, chord=chord, key=key) == text


@pytest.mark.parametrize(
    ("ticks", "letters"),
    [(1920, "w"), (2400, "w q"), (1200, "h e"), (1680, "h. e"), (600, "q s"), (3840, "w. h"), (640, None)],
)
def test_lengths_are_split_into_few_parts(ticks: int, letters: str | None) -> None:
    """A length no letter has is split into the fewest that have one, the longest first."""
    parts = split_length(ticks)
    assert sum(parts) == ticks
    assert list(parts) == sorted(parts, reverse=True)
    assert letters in {None, " ".join(map(length_text, parts))}


def _fewest_parts(most: int) -> dict[int, int]:
    """How many letters each length needs at least, for every length that letters can make."""
    fewest = {0: 0}
    for ticks in range(20, most + 1, 20):
        known = [fewest[ticks - part] for part in LENGTHS.values() if ticks - part in fewest]
        if known:
            fewest[ticks] = 1 + min(known)
    del fewest[0]
    return fewest


def test_every_length_that_can_be_read_can_be_written() -> None:
    """Every length that tied letters can make can be split into letters again."""

    def is_split(ticks: int) -> bool:
        try:
            return sum(split_length(ticks)) == ticks
        except ValueError:
            return False

    assert [ticks for ticks in _fewest_parts(2880) if not is_split(ticks)] == []


def test_lengths_are_split_into_the_fewest_parts() -> None:
    """A length is split into as few letters as can make it, where it is split at all."""
    more = {}
    for ticks, fewest in _fewest_parts(2880).items():
        with suppress(ValueError):
            if len(split_length(ticks)) > fewest:
                more[ticks] = (len(split_length(ticks)), fewest)
    assert more == {}


@pytest.mark.parametrize(
    "text",
    [
        "C5s.~ C5s D5e. E5s F5s. G5h",
        "C5s~ C5et D5et E5s F5et G5e A5h",
        "C5s. rs rs. D5h.",
        "rs. rs C5s. D5h.",
    ],
)
def test_unusual_ties_and_rests_can_be_written(text: str) -> None:
    """Notes and rests of any length that can be read are printed, and read back."""
    phrase = parse_phrase(text, METRES["4/4"])
    assert parse_phrase(phrase_text(phrase, chart_of(1)), METRES["4/4"]) == phrase


# What is said of a phrase that cannot be read


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("C5q D5q E5q", ["bar 1", "3 quarter notes", "4/4", "4"]),
        ("C5w | C5w D5e", ["bar 2", "4.5 quarter notes"]),
        ("C5w | | C5w", ["bar 2", "0 quarter notes"]),
        ("C5w | C5q H5q C5h", ["bar 2, note 2", "'H5q'", "B5q"]),
        ("C5", ["bar 1, note 1", "'C5'", "no length", "C5q"]),
        ("c5q", ["bar 1, note 1", "'c5q'", "capital", "C5q"]),
        ("C5w, | D5w", ["bar 1, note 1", "Leave out", "C5w"]),
        ("| Cmaj7 | F |", ["bar 1, note 1", "'Cmaj7'", "chart comes first"]),
        ("C5x", ["bar 1, note 1", "'C5x'", "'F5q'", "'rq'"]),
        ("C5x", ["bar 1, note 1", "'C5x'"]),
        ("q", ["bar 1, note 1", "'q'"]),
        ("C5q..", ["bar 1, note 1", "'C5q..'"]),
        ("rq~ C5h.", ["bar 1, note 1", "'rq~'"]),
        ("C5q~ D5h.", ["bar 1, note 2", "tie", "same pitch"]),
        ("C5q~ rq C5h", ["bar 1, note 2", "tie", "same pitch"]),
        ("C5w~ | D5w", ["bar 2, note 1", "tie"]),
        ("C5w | C5w~", ["bar 2", "tied to nothing"]),
        ("rw", ["no note", "F5q."]),
        ("rw | rw", ["no note"]),
        ("", ["no note"]),
        ("|", ["no note"]),
        ("||", ["bar 1"]),
        ("A9w", ["bar 1, note 1", "MIDI range", "'A9'"]),
        ("Cb-1w", ["bar 1, note 1", "MIDI range"]),
        ("C" * (MOST_TEXT + 1), [str(MOST_TEXT + 1), str(MOST_TEXT)]),
    ],
)
def test_what_is_said_of_a_wrong_phrase(text: str, parts: list[str]) -> None:
    """A phrase that cannot be read is refused with its bar and note and what was expected."""
    said = refusal(text)
    assert [part for part in parts if part not in said] == []


def test_errors_of_a_phrase_are_phrase_errors() -> None:
    """A wrong phrase raises PhraseError, whose place can be asked for."""
    with pytest.raises(PhraseError) as caught:
        parse_phrase("C5q D5z E5h", METRES["4/4"])
    assert caught.value.place == "bar 1, note 2"


@pytest.mark.parametrize("ticks", [0, 1, 60, 100])
def test_lengths_that_no_letters_make(ticks: int) -> None:
    """A length that no letters make is refused, not rounded."""
    with pytest.raises(ValueError, match=str(ticks)):
        split_length(ticks)


def test_a_note_ends_where_its_length_says() -> None:
    """A note's end is its onset and its length together."""
    assert Note(480, 240, 60).end == 720
