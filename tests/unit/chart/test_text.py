"""Chart text: what every sign means, which key a chart is in, and what is said of a chart that cannot be read."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fillgen import ChartError, FillgenError, Key, OptionError, Progression, chart_text, parse_chart
from fillgen.chart.text import MOST_BARS, MOST_TEXT, stated_metre
from fillgen.theory.chords import NO_CHORD, Kind, kinds, read_chord
from fillgen.theory.keys import read_key, read_metre
from fillgen.theory.metre import METRES
from fillgen.theory.numerals import read_numeral
from fillgen.theory.pitch import all_keys

METRE_TABLE = [
    # name, ticks of a bar, beats of a bar, strong ticks
    ("4/4", 1920, 4, (0, 960)),
    ("3/4", 1440, 3, (0,)),
    ("2/4", 960, 2, (0,)),
    ("2/2", 1920, 2, (0, 960)),
    ("5/4", 2400, 5, (0, 1440)),
    ("7/4", 3360, 7, (0, 1920)),
    ("7/8", 1680, 7, (0, 480, 960)),
    ("6/8", 1440, 2, (0, 720)),
    ("9/8", 2160, 3, (0, 720, 1440)),
    ("12/8", 2880, 4, (0, 720, 1440, 2160)),
]
CYCLE = ("C", "F", "Bb", "Eb", "Ab")


def spans(text: str, **settings: str) -> list[tuple[str, int, int]]:
    """The chords of a chart with onset and length in ticks."""
    chart = parse_chart(text, **settings)
    return [(span.chord.symbol, span.onset, span.length) for span in chart.spans]


def symbols(text: str, **settings: str) -> list[list[str]]:
    """The chord symbols of a chart, bar by bar."""
    return [[span.chord.symbol for span in bar] for bar in parse_chart(text, **settings).bars]


def numeral(text: str, key: str) -> str:
    """The symbol of the one chord of a chart that is written as a numeral."""
    return parse_chart(f"| {text} |", key=key).spans[0].chord.symbol


def refusal(text: str, **settings: str) -> str:
    """What is said of a chart that is refused, in one line."""
    with pytest.raises(FillgenError) as caught:
        parse_chart(text, **settings)
    said = str(caught.value)
    assert "\n" not in said
    return said


def read_back(chart: Progression) -> Progression:
    """A chart printed and read again."""
    return parse_chart(chart_text(chart))


# Metres and beats


@pytest.mark.parametrize(("name", "bar", "beats", "strong"), METRE_TABLE)
def test_metre_of_a_chart(name: str, bar: int, beats: int, strong: tuple[int, ...]) -> None:
    """A chart can be in each of the metres, and its bars last as long as the metre says."""
    chart = parse_chart("| C | G7 |", metre=name)
    assert (chart.metre.name, chart.metre.bar, chart.metre.beats) == (name, bar, beats)
    assert chart.metre.strong == strong
    assert [(span.onset, span.length) for span in chart.spans] == [(0, bar), (bar, bar)]
    assert chart.length == 2 * bar


def test_every_metre_is_tested() -> None:
    """The table above names every metre there is."""
    assert {row[0] for row in METRE_TABLE} == set(METRES)


def test_metre_is_four_four_unless_named() -> None:
    """A chart without a metre is in 4/4."""
    assert parse_chart("| C |").metre.name == "4/4"


@pytest.mark.parametrize(("name", "bar", "beats", "strong"), METRE_TABLE)
def test_chords_share_the_beats_evenly(name: str, bar: int, beats: int, strong: tuple[int, ...]) -> None:
    """As many chords as divide the beats of a bar share it evenly; any other number is refused."""
    for count in range(1, beats + 2):
        text = f"| {' '.join((CYCLE + CYCLE)[:count])} |"
        if beats % count:
            assert "evenly" in refusal(text, metre=name)
        else:
            lengths = [(onset, length) for _, onset, length in spans(text, metre=name)]
            assert lengths == [(n * bar // count, bar // count) for n in range(count)]


@pytest.mark.parametrize(
    ("text", "metre", "beats"),
    [
        ("| C / / G7 |", "4/4", [3, 1]),
        ("| C G7 / / |", "4/4", [1, 3]),
        ("| C / F G7 |", "4/4", [2, 1, 1]),
        ("| C F / G7 |", "4/4", [1, 2, 1]),
        ("| C / / / |", "4/4", [4]),
        ("| C / G7 |", "3/4", [2, 1]),
        ("| C G7 / |", "3/4", [1, 2]),
        ("| C / |", "2/4", [2]),
        ("| C / |", "2/2", [2]),
        ("| C / / F / |", "5/4", [3, 2]),
        ("| C / F / G7 |", "5/4", [2, 2, 1]),
        ("| C / / / F / / |", "7/4", [4, 3]),
        ("| C / F / G7 / / |", "7/8", [2, 2, 3]),
        ("| C / |", "6/8", [2]),
        ("| C / F |", "9/8", [2, 1]),
        ("| C / / F |", "12/8", [3, 1]),
    ],
)
def test_slash_holds_a_chord_one_more_beat(text: str, metre: str, beats: list[int]) -> None:
    """A lone / gives the chord before it one more beat of the metre."""
    chart = parse_chart(text, metre=metre)
    assert [span.length // chart.metre.beat for span in chart.spans] == beats
    assert sum(span.length for span in chart.spans) == chart.metre.bar


@pytest.mark.parametrize(
    "text",
    [
        "bb gm7 eb f7/a",
        "bb-gm7-eb-f7/a",
        "bb, gm7, eb, f7/a",
        "bb\ngm7\neb\nf7/a",
        "| bb | gm7 | eb | f7/a |",
    ],
)
def test_roots_and_bass_notes_in_small_letters(text: str) -> None:
    """As people type them on a phone; what is printed has large letters."""
    assert chart_text(parse_chart(text)) == "| Bb | Gm7 | Eb | F7/A |"


@pytest.mark.parametrize(
    ("text", "bars"),
    [
        ("Ebmaj7 Gm7 C7 Fm7", ["Ebmaj7", "Gm7", "C7", "Fm7"]),
        ("Ebmaj7\nGm7\n\nFm7\n", ["Ebmaj7", "Gm7", "Fm7"]),
        ("title: Pier\nEb Gm7\nFm7 Bb7", ["Eb", "Gm7", "Fm7", "Bb7"]),
        ("Eb -\nGm7 -\nFm7", ["Eb", "Gm7", "Fm7"]),
        ("Eb, Gm7, Fm7,\nBb7,", ["Eb", "Gm7", "Fm7", "Bb7"]),
        ("Eb - Gm7 – Fm7 — Bb7", ["Eb", "Gm7", "Fm7", "Bb7"]),
        ("Eb-Gm7-C-7-Fm7-Bb7/D", ["Eb", "Gm7", "C-7", "Fm7", "Bb7/D"]),
        ("C-, F-7 - Bb7", ["C-", "F-7", "Bb7"]),
        ("Gbmaj7 % N.C. Db7", ["Gbmaj7", "Gbmaj7", "N.C.", "Db7"]),
        ("F7b9,#11 Bb7(b9, #11)", ["F7b9,#11", "Bb7(b9,#11)"]),
    ],
)
def test_without_bar_lines_each_chord_is_a_bar(text: str, bars: list[str]) -> None:
    """A chart without any bar line has a bar for each chord, whatever parts them, and says so."""
    chart = parse_chart(text)
    assert [[span.chord.symbol for span in bar] for bar in chart.bars] == [[symbol] for symbol in bars]
    assert all(span.length == chart.metre.bar for span in chart.spans)
    assert len(chart.remarks) == 1
    assert "each chord is a bar" in chart.remarks[0]
    assert read_back(chart).remarks == ()


@pytest.mark.parametrize("text", ["I-vi-ii7-V7", "I vi ii7 V7", "I, vi, ii7, V7"])
def test_numerals_without_bar_lines(text: str) -> None:
    """Numerals are taken as chords are; a quality on its own stays with its numeral."""
    assert symbols(text, key="Ab") == [["Ab"], ["Fm"], ["Bbm7"], ["Eb7"]]
    assert symbols("#iv dim7 V7", key="Ab") == [["Ddim7"], ["Eb7"]]


@pytest.mark.parametrize(
    ("text", "metre", "beats"),
    [
        ("Eb / / Bb7 Ab / / /", "4/4", [[3, 1], [4]]),
        ("Eb / /\n/ Ab / /\nBb7", "4/4", [[4], [3, 1]]),
        ("Eb / Bb7 Ab / /", "3/4", [[2, 1], [3]]),
    ],
)
def test_without_bar_lines_slashes_count_the_beats(text: str, metre: str, beats: list[list[int]]) -> None:
    """Where a / holds a chord, as many beats as the metre has are a bar, and the chart says so."""
    chart = parse_chart(text, metre=metre)
    assert [[span.length // chart.metre.beat for span in bar] for bar in chart.bars] == beats
    assert len(chart.remarks) == 1
    assert f"{chart.metre.beats} beats" in chart.remarks[0]


def test_one_chord_needs_no_remark() -> None:
    """A chart of one chord is one bar however it is read."""
    assert parse_chart("Eb").remarks == parse_chart("Eb / / /").remarks == ()


@pytest.mark.parametrize("text", ["| Eb, Gm7 | Fm7 - Bb7 |", "| Eb-Gm7 | Fm7–Bb7 |", "|Eb,Gm7,|Fm7,Bb7|"])
def test_commas_and_dashes_part_chords_inside_a_bar(text: str) -> None:
    """Between bar lines, chords may be parted by commas and dashes as well; nothing is left open."""
    chart = parse_chart(text)
    assert symbols(text) == [["Eb", "Gm7"], ["Fm7", "Bb7"]]
    assert chart.remarks == ()


@pytest.mark.parametrize("written", ["C-", "C-7", "C–7", "C-maj7", "C-7b5", "C-9"])
def test_a_dash_of_a_minor_chord_stays(written: str) -> None:
    """A dash that belongs to a chord does not part anything."""
    chart = parse_chart(f"| {written} F |")
    assert [str(span.chord.root) for span in chart.spans] == ["C", "F"]
    assert chart.spans[0].chord.degree_of(3) == "b3"


# Comments and sections


def test_comment_lines_are_passed_over() -> None:
    """A line that begins with # and a blank, or is # alone, is a comment; a sharp is none."""
    text = "# by ear | Q |\ntitle: Pier\n  # in a hurry:\n| F#m | B7 |\n#\n#iv dim7 | E |\n"
    chart = parse_chart(text, key="E")
    assert symbols(text, key="E") == [["F#m"], ["B7"], ["A#dim7"], ["E"]]
    assert chart.title == "Pier"
    assert "line 3, bar 1" in refusal("# one\n# two\n| Q |")


@pytest.mark.parametrize(
    ("text", "sections"),
    [
        ("[A] | Eb | Gm7 | [B] | Fm7 | Bb7 |", [(0, "A"), (2, "B")]),
        ("| [A] Eb | Gm7 | [B] Fm7 | Bb7 |", [(0, "A"), (2, "B")]),
        ("[A]\n| Eb | Gm7 |\n[ Verse 2 ]\n| Fm7 | Bb7 |", [(0, "A"), (2, "Verse 2")]),
        ("Eb Gm7 [Bridge] Fm7 Bb7", [(2, "Bridge")]),
        ("[A]|:Eb:|[A]|Gm7|Bb7|", [(0, "A"), (1, "A"), (2, "A")]),
        ("|: [A] Eb :| Gm7 |", [(0, "A"), (1, "A")]),
        ("[A] |: Eb | Gm7 | [B] Fm7 :|", [(0, "A"), (2, "B"), (3, "A"), (5, "B")]),
        ("|: [A'] Eb |1. Gm7 :|2. [B♭] Ab | Bb7 |", [(0, "A'"), (2, "A'"), (3, "B♭")]),
    ],
)
def test_sections(text: str, sections: list[tuple[int, str]]) -> None:
    """A name in square brackets begins a section with the bar that follows, each time that bar is played."""
    chart = parse_chart(text)
    assert list(chart.sections) == sections
    assert read_back(chart) == chart


def test_section_of_a_bar() -> None:
    """A bar is in the section that began last; before the first it is in none."""
    chart = parse_chart("| Eb | [A] Gm7 | Fm7 | [B] Bb7 |")
    assert [chart.section_of(bar) for bar in range(4)] == ["", "A", "A", "B"]
    assert parse_chart("| Eb | Gm7 |").section_of(1) == ""


# Bar lines


@pytest.mark.parametrize(
    "text",
    ["C | G7", "| C | G7 |", "|C|G7|", "C\nG7 |", "| C\nG7", "C |\n\n G7", "| C ||\nG7 |]", "[| C | G7 |]"],
)
def test_bar_lines_may_be_written_in_many_ways(text: str) -> None:
    """Outer bar lines may be left out, double and final ones mean the same, a line's end ends a bar."""
    assert symbols(text, metre="2/4") == [["C"], ["G7"]]


def test_rows_of_bars() -> None:
    """A chart may run over several lines, each with its own outer bar lines."""
    expected = [["Eb"], ["Gm7"], ["Ab"], ["Bb7"]]
    for text in ("| Eb | Gm7 |\n| Ab | Bb7 |\n", "Eb | Gm7\nAb | Bb7", "| Eb | Gm7\n\n# aside\n| Ab | Bb7"):
        assert symbols(text) == expected


# Repeats


@pytest.mark.parametrize(
    ("text", "bars"),
    [
        ("| C | % |", ["C", "C"]),
        ("| C | % | G7 | % | % |", ["C", "C", "G7", "G7", "G7"]),
        ("|: C | F :|", ["C", "F", "C", "F"]),
        ("|: C :| G7 |", ["C", "C", "G7"]),
        ("| C |: F :| G7 |", ["C", "F", "F", "G7"]),
        ("|: C :|: F :|", ["C", "C", "F", "F"]),
        ("|: C :: F :|", None),
        ("|: C :| |: F :|", ["C", "C", "F", "F"]),
        ("| C | F :|", ["C", "F", "C", "F"]),
        ("|: C | % :|", ["C", "C", "C", "C"]),
        ("|: C :| % |", ["C", "C", "C"]),
    ],
)
def test_repeats_are_written_out(text: str, bars: list[str] | None) -> None:
    """% repeats the bar before, |: :| repeats what lies between, and a lone :| goes back to the beginning."""
    if bars is None:
        assert "chord" in refusal(text)
    else:
        assert [" ".join(bar) for bar in symbols(text)] == bars


@pytest.mark.parametrize(
    ("text", "bars"),
    [
        ("|: Eb | Gm7 |1. Bb7 :|2. Eb |", "Eb Gm7 Bb7 Eb Gm7 Eb"),
        ("|: Eb | Gm7 |1 Bb7 :|2 Eb |", "Eb Gm7 Bb7 Eb Gm7 Eb"),
        ("|:Eb|1.Gm7|Bb7:|2.Eb|Ab||", "Eb Gm7 Bb7 Eb Eb Ab"),
        ("|:Eb|1Gm7:|2%|", "Eb Gm7 Eb Eb"),
        ("|: Eb | 1. Gm7 | Bb7 :| 2. Eb | Ab |", "Eb Gm7 Bb7 Eb Eb Ab"),
        ("| Eb |1. Bb7 :|2. Eb :| Ab |", "Eb Bb7 Eb Eb Ab"),
        ("|: Eb |1,2. Bb7 :|3. Ab |", "Eb Bb7 Eb Bb7 Eb Ab"),
        ("|: Eb |1-3. Bb7 :|4. Ab |", "Eb Bb7 Eb Bb7 Eb Bb7 Eb Ab"),
        ("|: Eb |1. Bb7 :|2. Ab :|3. Gm |", "Eb Bb7 Eb Ab Eb Gm"),
        ("|: Eb |1. Bb7 :|2. % | Ab |: Gm :|", "Eb Bb7 Eb Eb Ab Gm Gm"),
        ("|: Eb |1. Bb7 :|2. Ab |: Gm |1. F :|2. Fm |", "Eb Bb7 Eb Ab Gm F Gm Fm"),
    ],
)
def test_endings_are_written_out(text: str, bars: str) -> None:
    """Each time through a repeat takes the ending with its number; what follows the last one is played once.

    The signs |1 and :|2, with lists and ranges of numbers, are those of the ABC standard 2.1, section 4.9 (from memory),
    with the full stop that engraved music has.
    """
    chart = parse_chart(text, key="Eb")
    assert [span.chord.symbol for span in chart.spans] == bars.split()
    assert chart_text(chart).splitlines()[-1] == f"| {bars.replace(' ', ' | ')} |"


def test_repeat_signs_need_no_blank_beside_them() -> None:
    """A repeat sign is seen when the chord stands close to it, as a bar line is."""
    assert symbols("|:C|G7:|") == [["C"], ["G7"], ["C"], ["G7"]]


def test_percent_repeats_all_chords_of_a_bar() -> None:
    """% brings back every chord of the bar before, with its beats."""
    assert spans("| C / / G7 | % |") == [
        ("C", 0, 1440),
        ("G7", 1440, 480),
        ("C", 1920, 1440),
        ("G7", 3360, 480),
    ]


# N.C.


@pytest.mark.parametrize("written", ["N.C.", "NC", "N.C", "n.c.", "nc"])
def test_no_chord_leaves_the_chord_before_in_the_ear(written: str) -> None:
    """Over N.C. no chord is written and the chord before goes on sounding in the ear."""
    chart = parse_chart(f"| C | {written} | F G7 | {written} |")
    assert [span.chord.symbol for span in chart.spans] == ["C", NO_CHORD, "F", "G7", NO_CHORD]
    assert [span.heard.symbol for span in chart.spans] == ["C", "C", "F", "G7", "G7"]
    assert chart.last.symbol == "G7"
    assert chart.spans[1].chord.tones == ()


def test_no_chord_at_the_beginning_hears_the_first_chord() -> None:
    """N.C. before the first chord is heard as that chord."""
    chart = parse_chart("| N.C. | F |")
    assert chart.spans[0].heard.symbol == "F"
    assert chart.changes == (0,)


def test_no_chord_shares_the_beats_of_its_bar() -> None:
    """N.C. takes its share of a bar as a chord does."""
    assert spans("| C N.C. |") == [("C", 0, 960), ("N.C.", 960, 960)]


# Head lines


def test_head_lines() -> None:
    """title:, key: and metre: at the head of a chart are read, in capitals or not, with blanks or not."""
    chart = parse_chart("Title: The Cellar Stairs\nKEY:Eb\n metre :  3/4\n| Eb | Bb7 |\n")
    assert (chart.title, str(chart.key), chart.metre.name) == ("The Cellar Stairs", "Eb major", "3/4")
    assert [bar[0].chord.symbol for bar in chart.bars] == ["Eb", "Bb7"]


def test_title_may_hold_a_colon() -> None:
    """Everything after the first colon of a title line is the title."""
    assert parse_chart("title: Two lamps: a waltz\n| C |").title == "Two lamps: a waltz"


def test_settings_win_over_head_lines() -> None:
    """A key and a metre that are asked for win over the chart's own."""
    chart = parse_chart("key: C\nmetre: 4/4\n| C |", key="A minor", metre="6/8")
    assert (str(chart.key), chart.metre.name) == ("A minor", "6/8")


def test_settings_may_be_values() -> None:
    """Key and metre may be given as parsed values."""
    chart = parse_chart("| C |", key=read_key("F"), metre=read_metre("9/8"))
    assert (str(chart.key), chart.metre.name) == ("F major", "9/8")


def test_byte_order_mark_is_passed_over() -> None:
    """A mark at the beginning of a file is no part of the chart."""
    assert parse_chart("\ufefftitle: Blue Door\n| C |").title == "Blue Door"


@pytest.mark.parametrize("key", all_keys(), ids=str)
def test_every_key_reads_back(key: Key) -> None:
    """Each of the thirty keys is read in the form in which it is printed, and in its short form."""
    short = f"{key.tonic}{'m' if key.mode == 'minor' else ''}"
    assert read_key(str(key)) == key
    assert read_key(short) == key
    assert parse_chart(f"key: {key}\n| C |").key == key


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("Eb", "Eb major"),
        ("E♭ maj", "Eb major"),
        ("f♯m", "F# minor"),
        ("c min", "C minor"),
        ("bb Minor", "Bb minor"),
    ],
)
def test_keys_may_be_written_in_many_ways(text: str, key: str) -> None:
    """Signs may be real, letters small, modes short."""
    assert str(read_key(text)) == key


# Chords


@pytest.mark.parametrize(
    ("written", "tones"),
    [
        ("C", "C E G"),
        ("B♭7", "Bb D F Ab"),
        ("F♯m7b5", "F# A C E"),
        ("Gb7", "Gb Bb Db Fb"),
        ("Cmaj7/E", "C E G B"),
        ("C6/9", "C E G A D"),
        ("C6/9/E", "C E G A D"),
        ("G7(b9, #11)", "G B D F Ab C#"),
        ("Bø7", "B D F A"),
        ("F#°7", "F# A C Eb"),
        ("CΔ7", "C E G B"),
        ("C-7", "C Eb G Bb"),
        ("C11", "C G Bb D F"),
        ("E7#9", "E G# B D G"),
        ("B♭dim7", "Bb Db E G"),
        ("Dbdim7", "Db E G Bb"),
        ("Ebm7b5", "Eb Gb A Db"),
    ],
)
def test_chord_symbols(written: str, tones: str) -> None:
    """Symbols with real or typed signs, brackets and bass notes stand for their tones, each rightly spelled."""
    chord = parse_chart(f"| {written} |").spans[0].chord
    assert " ".join(str(tone.name) for tone in chord.tones) == tones


def test_bass_note_is_kept() -> None:
    """A chord over a bass note remembers the note, and its tones stay those of the chord."""
    chord = read_chord("Dm7/G")
    assert (str(chord.root), str(chord.bass)) == ("D", "G")
    assert [str(tone.name) for tone in chord.tones] == ["D", "F", "A", "C"]


ROOTS = [letter + sign for letter in "ABCDEFG" for sign in ("", "b", "#")]


@pytest.mark.costly
@pytest.mark.parametrize("root", ROOTS)
def test_every_spelling_on_every_root_reads_back(root: str) -> None:
    """Every spelling of every chord kind is read on every root, in brackets where it begins with a sign."""
    for kind in kinds():
        for spelling in kind.spellings:
            quality = f"({spelling})" if spelling[:1] in {"#", "b"} else spelling
            chord = parse_chart(f"| {root}{quality} |").spans[0].chord
            assert (str(chord.root), chord.kind) == (root, kind)
            assert read_chord(chord.symbol) == chord


# Roman numerals


@pytest.mark.parametrize(
    ("written", "key", "symbol"),
    [
        ("I", "C", "C"),
        ("ii", "C", "Dm"),
        ("ii7", "C", "Dm7"),
        ("iii7", "C", "Em7"),
        ("IVmaj7", "C", "Fmaj7"),
        ("V7", "C", "G7"),
        ("vi", "C", "Am"),
        ("vii°7", "C", "Bdim7"),
        ("viiø7", "C", "Bm7b5"),
        ("iiø7", "C", "Dm7b5"),
        ("V7", "Eb", "Bb7"),
        ("ii7", "Gb", "Abm7"),
        ("bVII7", "C", "Bb7"),
        ("♭VII7", "C", "Bb7"),
        ("bVII7", "Eb", "Db7"),
        ("bIII", "C", "Eb"),
        ("bVI", "A", "F"),
        ("#iv dim7", "C", "F#dim7"),
        ("#ivdim7", "C", "F#dim7"),
        ("#iv°7", "F", "Bdim7"),
        ("♯iv dim7", "Eb", "Adim7"),
        ("iv", "C", "Fm"),
        ("iv6", "C", "Fm6"),
        ("V7/ii", "C", "A7"),
        ("V7/V", "C", "D7"),
        ("V7/vi", "F", "A7"),
        ("V7/IV", "Bb", "Bb7"),
        ("V7/V7/V", "C", "A7"),
        ("vii°7/ii", "C", "C#dim7"),
        ("ii7/V", "C", "Am7"),
        ("iiø7/vi", "C", "Bm7b5"),
        ("V7b9", "C", "G7b9"),
        ("V7sus4", "C", "G7sus4"),
        ("I6/9", "C", "C6/9"),
        ("i6/9", "C minor", "Cm6/9"),
        ("V7/D", "C", "G7/D"),
        ("I/E", "C", "C/E"),
        ("V+", "C", "Gaug"),
        ("i", "C minor", "Cm"),
        ("i7", "C minor", "Cm7"),
        ("iiø7", "C minor", "Dm7b5"),
        ("III", "C minor", "Eb"),
        ("bIII", "C minor", "Eb"),
        ("iv7", "C minor", "Fm7"),
        ("v7", "C minor", "Gm7"),
        ("V7", "C minor", "G7"),
        ("VI", "C minor", "Ab"),
        ("bVI", "C minor", "Ab"),
        ("VImaj7", "A minor", "Fmaj7"),
        ("VII7", "C minor", "Bb7"),
        ("bVII7", "C minor", "Bb7"),
        ("vii°7", "C minor", "Bdim7"),
        ("vii°7", "A minor", "G#dim7"),
        ("viiø7", "D minor", "C#m7b5"),
        ("V7/iv", "A minor", "A7"),
        ("V7/VI", "C minor", "Eb7"),
        ("#vi°7", "C minor", "Adim7"),
    ],
)
def test_numerals(written: str, key: str, symbol: str) -> None:
    """A Roman numeral is the chord that players mean by it in its key."""
    assert numeral(written, key) == symbol


def test_quality_apart_from_its_numeral_takes_no_beats() -> None:
    """A chord quality after a blank belongs to the numeral before it and is no chord of its own."""
    expected = [("F#dim7", 0, 960), ("G7", 960, 960)]
    assert spans("| #iv dim7 V7 |", key="C") == expected


def test_numerals_and_letters_mix() -> None:
    """Numerals and chord letters may stand in one bar."""
    assert symbols("| I Gm7 | ii7 V7/F |", key="Eb") == [["Eb", "Gm7"], ["Fm7", "Bb7/F"]]


def test_numerals_take_the_key_of_the_head_line() -> None:
    """A key: line is enough to read numerals."""
    assert symbols("key: Bb\n| ii7 V7 | I |") == [["Cm7", "F7"], ["Bb"]]


def test_numeral_without_a_key() -> None:
    """A numeral where no key is given is refused, and the message says how to give one."""
    said = refusal("| C | V7 |")
    assert said.startswith("bar 2, chord 1: ")
    assert "'V7'" in said
    assert "--key" in said


@pytest.mark.parametrize("written", ["V7/x", "Vfoo", "viifoo", "V7/", "ii7/H"])
def test_unknown_numerals(written: str) -> None:
    """A numeral with an unknown part is refused with its place, and numerals are shown."""
    said = refusal(f"| I {written} |", key="C")
    assert said.startswith("bar 1, chord 2: ")
    assert repr(written) in said
    assert re.search(r"ii7|V7/ii", said.partition(repr(written))[2])


def test_long_chains_of_dominants_are_refused() -> None:
    """Dominants of dominants without end are refused with their place, and a short chain is shown."""
    said = refusal("| " + "V/" * 3000 + "I |", key="C")
    assert said.startswith("bar 1, chord 1: ")
    assert "V7/ii" in said


# Keys found from chords


@pytest.mark.parametrize(
    ("chart", "key"),
    [
        ("| Dm7 | G7 | Cmaj7 | Cmaj7 |", "C major"),
        ("| Cm7 | F7 | Bbmaj7 | Bbmaj7 |", "Bb major"),
        ("| Fm7 | Bb7 | Ebmaj7 | Ebmaj7 |", "Eb major"),
        ("| Bm7 | E7 | Amaj7 | Amaj7 |", "A major"),
        ("| Abm7 | Db7 | Gbmaj7 | Gbmaj7 |", "Gb major"),
        ("| G#m7 | C#7 | F#maj7 | F#maj7 |", "F# major"),
        ("| Gb | Ebm | Abm7 | Db7 |", "Gb major"),
        ("| F# | D#m | G#m7 | C#7 |", "F# major"),
        ("| Em7 | A7 | Dmaj7 | Dmaj7 |", "D major"),
        ("| Gm7 | C7 | F6 | F6 |", "F major"),
        ("| Dm7b5 | G7b9 | Cm | Cm |", "C minor"),
        ("| Bm7b5 | E7 | Am7 | Am7 |", "A minor"),
        ("| Em7b5 | A7b9 | Dm6 | Dm6 |", "D minor"),
        ("| F#m7b5 | B7 | Em7 | Em7 |", "E minor"),
        ("| Am7b5 | D7 | Gm | Gm |", "G minor"),
        ("| C | Em7 | F | G7 |", "C major"),
        ("| Am | Dm | E7 | Am |", "A minor"),
        ("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", "Eb major"),
        ("| Cm | Fm | G7 | Cm |", "C minor"),
        ("| G | Em | C | D7 |", "G major"),
        ("| Em | C | D | Em |", "E minor"),
        ("| F | Bb | C7 | F |", "F major"),
        ("| Dm | Bb | C | Dm |", "D minor"),
        ("| E | A | B7 | E |", "E major"),
        ("| Ab | Fm7 | Bbm7 | Eb7 |", "Ab major"),
        ("| Db | Bbm7 | Ebm7 | Ab7 |", "Db major"),
        ("| B | G#m7 | C#m7 | F#7 |", "B major"),
        ("| Bm | Em | F#7 | Bm |", "B minor"),
        ("| C |", "C major"),
        ("| Am |", "A minor"),
        ("| C | F | G7 | C |", "C major"),
        ("| N.C. | D | G | A7 | D |", "D major"),
    ],
)
def test_key_is_found(chart: str, key: str) -> None:
    """The key of a plain chart is found from its chords, spelled as its chords are."""
    assert str(parse_chart(chart).key) == key


@pytest.mark.parametrize("root", ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"])
@pytest.mark.parametrize(
    ("numerals", "mode"),
    [
        ("| ii7 | V7 | Imaj7 | Imaj7 |", "major"),
        ("| I | vi7 | ii7 | V7 |", "major"),
        ("| iiø7 | V7 | i | i |", "minor"),
    ],
)
def test_key_is_found_wherever_the_chart_stands(root: str, numerals: str, mode: str) -> None:
    """The same chart in another place gives the same key in that place, by sound."""
    written = parse_chart(numerals, key=f"{'C#' if (root, mode) == ('Db', 'minor') else root} {mode}")
    found = parse_chart(chart_text(written)).key
    assert (found.tonic.pitch_class, found.mode) == (written.key.tonic.pitch_class, mode)


# Printed charts


@pytest.mark.parametrize(
    ("text", "metre", "printed"),
    [
        ("C / / G7 | F", "4/4", "| C / / G7 | F |"),
        ("| C / / / |", "4/4", "| C |"),
        ("| C / F / |", "4/4", "| C F |"),
        ("|: C :| % |", "4/4", "| C | C | C |"),
        ("| C / / F / | G7 |", "5/4", "| C / / F / | G7 |"),
        ("| C F | G7 / |", "6/8", "| C F | G7 |"),
        ("| C N.C. |", "2/4", "| C N.C. |"),
        ("| G7(b9, #11) | C6/9/E |", "4/4", None),
        ("| B♭Δ7 | F♯ø |", "3/4", None),
        ("| C C C C |", "12/8", "| C C C C |"),
        ("| C F G7 | Am / F |", "9/8", "| C F G7 | Am / F |"),
    ],
)
def test_printed_chart_reads_back(text: str, metre: str, printed: str | None) -> None:
    """What is printed of a chart is read as the same progression, and printed the same again."""
    chart = parse_chart(text, metre=metre)
    if printed is not None:
        assert chart_text(chart).splitlines()[-1] == printed
    again = read_back(chart)
    assert again == chart
    assert chart_text(again) == chart_text(chart)


@pytest.mark.parametrize("key", all_keys(), ids=str)
def test_numerals_print_as_chords_that_read_back(key: Key) -> None:
    """A chart of numerals is printed in chord letters that stand for the same chords, in every key."""
    numerals = (
        "I",
        "ii7",
        "iiø7",
        "V7/ii",
        "bVII7",
        "#iv dim7",
        "vii°7",
        "VI",
        "V7/V",
        "iv6",
        "bII7",
        "III+",
    )
    chart = parse_chart("| " + " | ".join(numerals) + " |", key=key)
    assert read_back(chart).bars == chart.bars


@pytest.mark.parametrize("kind", kinds(), ids=lambda kind: kind.name)
def test_numerals_of_every_kind_print_as_chords_that_read_back(kind: Kind) -> None:
    """A numeral with any chord kind is printed as a symbol that is read as the same root and kind."""
    for spelling in kind.spellings:
        chord = parse_chart(f"| I{spelling} |", key="C").spans[0].chord
        assert (str(chord.root), chord.kind) == ("C", kind)
        assert read_chord(chord.symbol) == chord


@pytest.mark.parametrize(
    ("text", "heads"),
    [
        ("| C | G7 |", ""),
        ("key: C\nmetre: 4/4\n| C | G7 |", ""),
        ("metre: 5/4\n| C / / F / |", "metre: 5/4\n"),
        ("key: C\n| Dm |", "key: C major\n"),
        ("title: Slow Ferry\n| C |", "title: Slow Ferry\n"),
        (
            "metre: 3/4\nkey: C\ntitle: Slow Ferry: a waltz\n| Dm7 | G7 | Dm |",
            "title: Slow Ferry: a waltz\nkey: C major\nmetre: 3/4\n",
        ),
    ],
)
def test_printed_chart_tells_what_it_needs(text: str, heads: str) -> None:
    """A chart is printed with the head lines without which it would be read as another."""
    chart = parse_chart(text)
    assert chart_text(chart).startswith(f"{heads}| ")
    assert read_back(chart) == chart


# What is said of a chart that cannot be read


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("| C | Hm7 |", ["bar 2, chord 1", "'Hm7'", "'Bm7'"]),
        ("| C | Am7 Dmaj77 |", ["bar 2, chord 2", "'Dmaj77'", "'Dmaj7'"]),
        ("| cmin77 |", ["bar 1, chord 1", "'cmin77'", "'Cmin7'"]),
        ("| C | Cmin77 |", ["bar 2, chord 1", "'Cmin77'", "'Cmin7'"]),
        ("| C/H |", ["bar 1, chord 1", "'H'", "'C/B'", "Bb"]),
        ("| !!! |", ["bar 1, chord 1", "'!!!'", "Eb, Fm7 or Bb7"]),
        ("| C |\n| F | Gsuss |", ["chart line 2, bar 3, chord 1", "'Gsuss'", "'Gsus"]),
        ("", ["empty", '"| Ebmaj7 | Gm7 C7 |"']),
        ("   \n  ", ["empty"]),
        ("| |", ["empty"]),
        ("|: :|", ["empty"]),
        ("title: Low Tide", ["empty"]),
        ("| C | | F |", ["bar 2", "empty", "%", "N.C."]),
        ("| C F G |", ["bar 1", "3 chords", "4 beats", "4/4", "| C F G / |"]),
        ("| C F G Am Dm |", ["bar 1", "5 chords", "4 beats", "At most 4"]),
        ("| C / / |", ["bar 1", "3 beats are written", "4/4", "4", "each / is one beat"]),
        ("| C | F / / / / |", ["bar 2", "5 beats are written"]),
        ("| C | / F / / |", ["bar 2", "a / holds the chord before it"]),
        ("| % | C |", ["bar 1", "no bar before the %"]),
        ("| C | % F |", ["bar 2, chord 1", "%", "alone"]),
        ("|: C | F |", ["bar 1", "repeat", "never closed", ":|"]),
        ("|: C |1. F :|", ["bar 2", "ending 2", "missing"]),
        ("|: C |1. F :| G |: A :|", ["bar 2", "ending 2", "missing"]),
        ("|: C |1. F |2. G |", ["bar 3", "ending 1", "not closed", ":|"]),
        ("|: C |2. F :|", ["bar 2", "ending 1 is expected"]),
        ("|: C |1. F :|3. G |", ["bar 3", "ending 2 is expected"]),
        ("|: C |2-1. F :|3. G |", ["bar 2", "ending 1 is expected"]),
        ("|: C :|1. F :|2. G |", ["bar 2", "the repeat has no bar"]),
        ("|: C |1. F |", ["never closed"]),
        ("| C |1. F |", ["bar 2", "ending 2", "missing"]),
        ("| C |1,2,3,4,5,6,7,8,9. " + "F | " * 60 + ":|", [f"more than {MOST_BARS} bars"]),
        ("| C | [B] F | G [C] C |", ["bar 3", "section", "inside a bar"]),
        ("[A] [B] | C |", ["bar 1", "no bar follows"]),
        ("| C | [A]", ["bar 2", "no bar follows"]),
        ("Eb - - Bb7", ["bar 1", "'-'", "both sides", "/"]),
        ("| C - | F |", ["bar 1", "'-'", "both sides", "/"]),
        ("| C | - F |", ["bar 2", "'-'", "both sides"]),
        ("C -- F ---", ["bar 1", "'---'"]),
        ("| C | , F |", ["bar 2", "comma"]),
        ("| C,, F |", ["bar 1", "comma"]),
        ("C 2/4 F", ["bar 2, chord 1", "2/4", "without bar lines", "metre:"]),
        ("| C | F 2/4 G |", ["bar 2", "2/4 is inside a bar", "| 2/4"]),
        ("| C | 2/4 3/4 F |", ["bar 2", "3/4 is inside a bar"]),
        ("| C | 2/4 |", ["bar 2", "no bar follows the metre"]),
        ("| C | 2/4 | | F |", ["bar 2", "the bar is empty"]),
        ("| C | 3/8 F |", ["bar 2", "unknown metre '3/8'", "3/4"]),
        ("| C | 6/8 F |", ["bar 2", "6/8", "beat of 4/4", "2/4"]),
        ("metre: 2/2\n| C | 2/4 F |", ["bar 2", "2/4", "beat of 2/2", "Every bar"]),
        ("| C | 2/4 F G C |", ["bar 2", "3 chords", "2 beats of a 2/4 bar"]),
        ("| C | 2/4 F / / G |", ["bar 2", "4 beats are written, but a 2/4 bar has 2"]),
        ("Eb\nGm\nFm Q", ["chart line 3, bar 4, chord 1", "'Q'"]),
        ("| H7 |", ["'H7'", "Did you mean 'B7'", "Bb"]),
        ("| Es |", ["'Es'", "Did you mean 'Eb'", "German Es is Eb"]),
        ("| Asm7 |", ["'Asm7'", "Did you mean 'Abm7'", "German As is Ab"]),
        ("| Fis |", ["'Fis'", "Did you mean 'F#'", "German Fis is F#"]),
        ("| cis7 |", ["'cis7'", "Did you mean 'C#7'", "German Cis is C#"]),
        ("| Fis/Ais |", ["Did you mean 'F#/A#'", "Fis is F#", "Ais is A#"]),
        ("| Desmaj7 |", ["Did you mean 'Dbmaj7'"]),
        ("| Hes |", ["Did you mean 'Bb'"]),
        ("| hello |", ["'hello'. Write chords"]),
        ("| EsusX |", ["Did you mean 'Esus'"]),
        ("|: C |: F :|", ["repeat", "inside another", ":|"]),
        ("| N.C. | N.C. |", ["only N.C.", "one chord"]),
        ("tile: Rain\n| C |", ["chart line 1", "'tile'", "'title'"]),
        ("time: 3/4\n| C |", ["chart line 1", "'time'", "mean 'metre'"]),
        ("title: Rain\nkeys: C\n| C |", ["chart line 2", "'keys'", "'key'"]),
        ("| C \0 |", ["not text"]),
        ("| C " * (MOST_BARS + 1) + "|", [f"more than {MOST_BARS} bars", f"limit is {MOST_BARS}"]),
        ("| C " * 10_000 + "|", [f"more than {MOST_BARS} bars"]),
        ("|: C " + "| C " * 300 + ":|", [f"more than {MOST_BARS} bars"]),
        ("C" * (MOST_TEXT + 1), [str(MOST_TEXT + 1), str(MOST_TEXT)]),
    ],
)
def test_what_is_said_of_a_wrong_chart(text: str, parts: list[str]) -> None:
    """A chart that cannot be read is refused with its place, what was expected, and the nearest right word."""
    said = refusal(text)
    assert [part for part in parts if part not in said] == []


def test_longest_chart_is_read() -> None:
    """A chart of as many bars as the limit names is read."""
    assert len(parse_chart("| C " * MOST_BARS + "|").bars) == MOST_BARS


def test_errors_of_a_chart_are_chart_errors() -> None:
    """A wrong chart raises ChartError, whose parts can be asked for."""
    with pytest.raises(ChartError) as caught:
        parse_chart("| C | Hm7 |")
    assert caught.value.place == "bar 2, chord 1"
    assert caught.value.message == "unknown chord 'Hm7'"
    assert "'Bm7'" in caught.value.hint


@pytest.mark.parametrize("metre", ["11/4", "4", "", "four", "4-4"])
def test_unknown_metre(metre: str) -> None:
    """A metre that does not exist is refused, and all that exist are named."""
    with pytest.raises(OptionError) as caught:
        parse_chart("| C |", metre=metre)
    assert repr(metre) in str(caught.value)
    assert all(name in str(caught.value) for name in METRES)


@pytest.mark.parametrize(
    ("key", "near"),
    [
        ("H", "'B major'"),
        ("Es-Dur", "'Eb major'"),
        ("fis-Moll", "'F# minor'"),
        ("Q", "Write keys like"),
        ("Eb mayor", "'Eb major'"),
        ("C dorian", "'C "),
        ("G# major", "'G"),
        ("", "key"),
    ],
)
def test_unknown_key(key: str, near: str) -> None:
    """A key that does not exist is refused, and the nearest or the form is shown."""
    with pytest.raises(OptionError) as caught:
        parse_chart("| C |", key=key)
    assert repr(key) in str(caught.value)
    assert near in str(caught.value)


def test_key_of_the_head_line_is_checked() -> None:
    """A wrong key or metre in a head line is refused as a wrong option is."""
    assert "'Q'" in refusal("key: Q\n| C |")
    assert "'9/9'" in refusal("metre: 9/9\n| C |")


def test_numeral_needs_no_chart() -> None:
    """A numeral can be read alone."""
    assert read_numeral("V7/ii", read_key("D")).symbol == "B7"


# Bars of another metre


@pytest.mark.parametrize(
    ("text", "usual", "metres"),
    [
        ("| Eb | Bb7 | 2/4 Fm7 | 4/4 Bb7 |", "4/4", "4/4 4/4 2/4 4/4"),
        ("| Eb | Bb7 | 2/4 | Fm7 | 4/4 | Bb7 |", "4/4", "4/4 4/4 2/4 4/4"),
        ("metre: 3/4\n| Ab | 4/4 Eb7 / Db / | 3/4 Ab |", "3/4", "3/4 4/4 3/4"),
        ("| 3/4 Ab | Eb7 | 4/4 Db | 3/4 Ab |", "3/4", "3/4 3/4 4/4 3/4"),
        ("| 2/4 Ab | 4/4 Eb7 | Db | Ab |", "4/4", "2/4 4/4 4/4 4/4"),
        ("metre: 4/4\n| 3/4 Ab | Eb7 |", "4/4", "3/4 3/4"),
        ("|: Ab | 2/4 Eb7 :| [B] 4/4 Db | % |", "4/4", "4/4 2/4 4/4 2/4 4/4 4/4"),
        ("|: Ab |1. 2/4 Eb7 :|2. 4/4 Eb7 |", "4/4", "4/4 2/4 4/4 4/4"),
        ("| Ab | 2/4 % | % | 4/4 Eb7 |", "4/4", "4/4 2/4 2/4 4/4"),
        ("| Ab: Db | Gb: 2/4 Db7 | 4/4 Ab: Ab |", "4/4", "4/4 2/4 4/4"),
        ("metre: 6/8\n| Fm | 9/8 Bbm7 / Eb7 | 6/8 Ab |", "6/8", "6/8 9/8 6/8"),
        ("| Ab | Eb7 2/4\n| Db |", "", ""),
    ],
)
def test_bars_of_another_metre(text: str, usual: str, metres: str) -> None:
    """A metre before a bar holds to the next one; where it comes before the first bar, that of most bars is the chart's."""
    if not usual:
        with pytest.raises(ChartError):
            parse_chart(text)
        return
    chart = parse_chart(text)
    assert chart.metre.name == usual
    assert [metre.name for metre in chart.metres] == metres.split()
    assert [sum(span.length for span in bar) for bar in chart.bars] == [m.bar for m in chart.metres]
    assert parse_chart(chart_text(chart)) == chart
    named = stated_metre(text)
    assert named is not None
    assert named.name == usual


def test_metre_that_changes_nothing() -> None:
    """A chart that names its one metre before its bars is the same as one that names it at its head."""
    assert parse_chart("| 3/4 Ab | 3/4 Eb7 |") == parse_chart("metre: 3/4\n| Ab | Eb7 |")
    assert parse_chart("| Ab | 4/4 Eb7 |").metres == ()


_FAMILIES = (("4/4", "3/4", "2/4", "5/4", "7/4"), ("6/8", "9/8", "12/8"))


@given(data=st.data())
def test_metres_are_written_so_that_they_read_back(data: st.DataObject) -> None:
    """Whatever metres bars have, with sections, keys and chords on any beat, the text reads back to the same chart."""
    family = data.draw(st.sampled_from(_FAMILIES))
    names = data.draw(st.lists(st.sampled_from(family), min_size=1, max_size=8))
    bars = []
    for number, name in enumerate(names):
        beats = METRES[name].beats
        chords = data.draw(
            st.lists(st.sampled_from(("Ab", "Fm7", "Eb7/G", "N.C.", "/")), min_size=beats, max_size=beats)
        )
        chords[0] = "Db" if number == 0 or chords[0] == "/" else chords[0]
        head = data.draw(st.sampled_from(("", "[B] ", "Ab: ", "[C] Ab: ")))
        bars.append(f"{head}{name} {' '.join(chords)}")
    start = data.draw(st.sampled_from(("", f"metre: {family[0]}\n")))
    chart = parse_chart(f"{start}| {' | '.join(bars)} |")
    assert parse_chart(chart_text(chart)) == chart
    assert parse_chart(chart_text(chart), key=chart.key, metre=chart.metre) == chart
