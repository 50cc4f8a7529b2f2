"""Scores as MEI: lengths, beams, triplets, ties, signs and courtesies, pick-ups and chord symbols.

The elements and attributes are those of the MEI guidelines 5.1 (Music Encoding Initiative), from memory; that an
engraver and a reader of another make understand them is checked in tests/outside/test_sheets.py. Where a courtesy
stands is common practice of notation.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import replace
from xml.etree.ElementTree import Element

import pytest

from fillgen.chart.text import parse_chart
from fillgen.phrase.idea import IdeaNote
from fillgen.phrase.text import parse_phrase
from fillgen.readers.phrases import find_phrase, line_up
from fillgen.theory.metre import METRES
from fillgen.theory.pitch import Key, Name
from fillgen.writers.entry import SheetEntry, score_of
from fillgen.writers.look import USUAL, SheetOptions
from fillgen.writers.mei import signed, to_mei
from fillgen.writers.notation import Chunk, Symbol, written

MEI = "{http://www.music-encoding.org/ns/mei}"
ID = "{http://www.w3.org/XML/1998/namespace}id"


def entry_of(chart: str, phrase: str, metre: str = "4/4", key: str | None = None) -> SheetEntry:
    """A phrase over its chart, spelled as its text has it."""
    reading = line_up(find_phrase(phrase, metre=metre), chart, key=key, metre=metre)
    names = [token.rstrip("~.whqest") for token in phrase.replace("|", " ").split() if token[0] != "r"]
    assert len(names) == len(reading.notes), "phrases with ties are not for this helper"
    notes = (
        IdeaNote(1, note, name, "", "", 1 + place % 5)
        for place, (note, name) in enumerate(zip(reading.notes, names, strict=True))
    )
    return SheetEntry("a", reading.progression, tuple(notes), "1 · arch")


def tree_of(*entries: SheetEntry, settings: SheetOptions = USUAL, title: str = "") -> Element:
    return ET.fromstring(to_mei([score_of(entry, settings) for entry in entries], title))


def layer(tree: Element, bar: int = 0, staff: int = 0) -> Element:
    return tree.findall(f".//{MEI}measure")[bar].findall(f"{MEI}staff/{MEI}layer")[staff]


def told(element: Element) -> str:
    """What is in a layer, with brackets round triplets and parentheses round beams."""
    words = []
    for child in element:
        tag = child.tag.removeprefix(MEI)
        if tag == "tuplet":
            words.append(f"[{told(child)}]")
        elif tag == "beam":
            words.append(f"({told(child)})")
        elif tag == "mRest":
            words.append("R")
        else:
            words.append(f"{'r' * (tag == 'rest')}{child.get('dur')}{'.' * int(child.get('dots', 0))}")
    return " ".join(words)


@pytest.mark.parametrize(
    ("metre", "phrase", "wanted"),
    [
        ("4/4", "C5q. D5e E5h", "4. 8 2"),
        ("4/4", "C5e D5e E5e F5e G5h", "(8 8) (8 8) 2"),
        ("4/4", "C5et D5et E5et F5q G5h", "[(8 8 8)] 4 2"),
        ("4/4", "C5qt D5qt E5qt F5h", "[4 4 4] 2"),
        ("4/4", "C5e. D5s E5s F5s G5e rq A5q", "(8. 16) (16 16 8) r4 4"),
        ("4/4", "C5e C5st D5st E5st F5q G5h", "(8 [16 16 16]) 4 2|8 [(16 16 16)] 4 2"),
        ("4/4", "ret D5et E5et F5q rh", "[r8 (8 8)] 4 r2"),
        ("3/4", "C5e D5e E5h", "(8 8) 2"),
        ("6/8", "C5e D5e E5e F5q G5e", "(8 8 8) 4 8"),
        ("12/8", "C5e D5e E5e F5q. G5h.", "(8 8 8) 4. 2."),
        ("2/2", "C5e D5e E5e F5e G5h", "(8 8 8 8) 2"),
        ("2/2", "C5et D5et E5et F5e G5e A5h", "[(8 8 8)] (8 8) 2"),
    ],
)
def test_beams_and_triplets_nest(metre: str, phrase: str, wanted: str) -> None:
    """Beams join what lies within a beat, triplets are grouped, and no element crosses another."""
    assert told(layer(tree_of(entry_of("| C |", phrase, metre)))) in wanted.split("|")


def test_a_silent_bar_is_a_whole_rest() -> None:
    """A bar without notes is one rest of the bar."""
    tree = tree_of(entry_of("| C | C |", "C5w | rw"))
    assert told(layer(tree, 1)) == "R"


def test_ties_are_told_from_both_ends() -> None:
    """A note over beats and bars is initial, medial and terminal."""
    progression = parse_chart("| C | F | C |")
    notes = parse_phrase("C5h. F5q~ | F5w~ | F5q E5q D5h", progression.metre)
    tree = tree_of(SheetEntry("a", progression, tuple(IdeaNote(1, note, "", "", "") for note in notes)))
    found = [(note.get(ID), note.get("tie")) for note in tree.iter(f"{MEI}note")]
    assert found == [
        ("a-n0", None),
        ("a-n1", "i"),
        ("a-n1t1", "m"),
        ("a-n1t2", "t"),
        ("a-n2", None),
        ("a-n3", None),
    ]


def signs(tree: Element) -> list[str]:
    """For each note its letter with the sign that is printed, in parentheses where it is a courtesy."""
    found = []
    for note in tree.iter(f"{MEI}note"):
        accid = note.find(f"{MEI}accid")
        sign = "" if accid is None else accid.get("accid", "")
        found.append(f"{note.get('pname')}{f'({sign})' if accid is not None and accid.get('func') else sign}")
    return found


@pytest.mark.parametrize(
    ("key", "phrase", "wanted"),
    [
        ("C", "F#5q F#5q F5h | F5w", "fs f fn f"),
        ("C", "F#5w | F5w", "fs f(n)"),
        ("C", "F#5w | F#5w", "fs fs"),
        ("C", "F#5w | F4h F5h", "fs f(n) f(n)"),
        ("C", "F#5h F4h | F4w", "fs f(n) f"),
        ("C", "F#5w | G5w | F5w", "fs g f"),
        ("F", "Bb4h B4h | Bb4w", "b bn b(f)"),
        ("Gb", "Cb5h C5h | Cb5w", "c cn c(f)"),
        ("B", "F##5h F#5h | A#5w", "fx fs a"),
        ("Eb", "Bbb4h Bb4h", "bff bf"),
    ],
)
def test_signs_and_courtesies(key: str, phrase: str, wanted: str) -> None:
    """Signs hold to the bar's end in their octave; what goes back to the key is told once in doubt."""
    bars = phrase.count("|") + 1
    assert " ".join(signs(tree_of(entry_of("| C " * bars + "|", phrase, key=key)))) == wanted


def test_signs_that_are_not_printed_still_sound() -> None:
    """A note that the key or an earlier sign alters says so for the ear."""
    tree = tree_of(entry_of("| F |", "Bb4h Bb4h", key="F"))
    assert [note.get("accid.ges") for note in tree.iter(f"{MEI}note")] == ["f", "f"]


def test_a_tied_note_keeps_its_sign_alone() -> None:
    """Behind a tie over the bar line the same note needs its sign anew."""
    line = [Chunk(960, 1920, ("F#5",)), Chunk(2880, 480, ("F#5",)), Chunk(3360, 480, ("F5",))]
    _, second = written(line, METRES["4/4"], Key(Name(0, 0), "major"), [1920, 1920])
    assert [symbol.accidentals for symbol in second] == [("",), ("#",), ("n",)]


@pytest.mark.parametrize(
    ("metre", "phrase", "wanted"),
    [
        ("4/4", "G4q | C5w", "4"),
        ("4/4", "G4e A4e B4e | C5w", "8 (8 8)"),
        ("6/8", "G4e | C5h.", "8"),
        ("6/8", "G4e A4s B4s | C5h.", "(8 16 16)"),
        ("3/4", "G4e A4e | C5h.", "(8 8)"),
    ],
)
def test_a_pickup_is_beamed_from_its_bars_end(metre: str, phrase: str, wanted: str) -> None:
    """A pick-up is a short bar of its own, numbered 0, whose beats are those at the end of a bar."""
    tree = tree_of(entry_of("| C |", phrase, metre))
    first, second = tree.iter(f"{MEI}measure")
    assert (first.get("n"), first.get("metcon"), second.get("n"), second.get("metcon")) == (
        "0",
        "false",
        "1",
        None,
    )
    assert told(layer(tree)) == wanted
    assert [harm.text for harm in tree.iter(f"{MEI}harm")] == ["C"]


def test_a_triplet_pickup_begins_on_its_beat() -> None:
    """What begins on the third of a triplet is written with the rest before it."""
    tree = tree_of(entry_of("| C |", "rqt G4et | C5w"))
    assert told(layer(tree)) == "[r4 8]"


def test_chord_symbols_stand_on_their_beats() -> None:
    """Symbols have real signs and the beat of the metre's lower number."""
    tree = tree_of(entry_of("| Bbmaj7 F#m7b5 | N.C. |", "D5h. C5h. | rh. rh.", "12/8", "Bb"))
    found = [(harm.get("tstamp"), harm.text) for harm in tree.iter(f"{MEI}harm")]
    assert found == [("1", "B♭maj7"), ("7", "F♯m7♭5"), ("1", "N.C.")]


@pytest.mark.parametrize(
    ("symbol", "wanted"),
    [
        ("Bb", "B♭"),
        ("Bdim", "Bdim"),
        ("Ab/Eb", "A♭/E♭"),
        ("C7#9", "C7♯9"),
        ("Db7(b9,#11)/Ab", "D♭7(♭9,♯11)/A♭"),
    ],
)
def test_signs_of_symbols(symbol: str, wanted: str) -> None:
    assert signed(symbol) == wanted


def test_fingers_and_names() -> None:
    """Fingers belong to their notes; names stand under them without octaves; both can be left out."""
    entry = entry_of("| Cm |", "Eb5h C5h", key="C minor")
    tree = tree_of(entry, settings=SheetOptions(note_names=True))
    assert [(f.get("startid"), f.text) for f in tree.iter(f"{MEI}fing")] == [("#a-n0", "1"), ("#a-n1", "2")]
    assert [syl.text for syl in tree.iter(f"{MEI}syl")] == ["E♭", "C"]
    bare = tree_of(entry, settings=SheetOptions(fingers=False))
    assert not [*bare.iter(f"{MEI}fing"), *bare.iter(f"{MEI}syl")]


def test_slurs_accents_and_a_dynamic() -> None:
    """In swing an off-beat note is slurred to the beat after it, over the bar line too, and accented above its neighbours."""
    entry = replace(entry_of("| C7 | F |", "C5h D5e E5e C5e D5e | C5h rh", key="F"), swing=2.0)
    tree = tree_of(entry, settings=SheetOptions(articulation=True))
    slurs = [(each.get("startid"), each.get("endid")) for each in tree.iter(f"{MEI}slur")]
    assert slurs == [("#a-n2", "#a-n3"), ("#a-n4", "#a-n5")]
    accented = [note.get(ID) for note in tree.iter(f"{MEI}note") if note.find(f"{MEI}artic") is not None]
    assert accented == ["a-n2", "a-n4"]
    assert [(each.get("startid"), each.text) for each in tree.iter(f"{MEI}dynam")] == [("#a-n0", "mf")]
    bare = tree_of(entry)
    assert not [*bare.iter(f"{MEI}slur"), *bare.iter(f"{MEI}artic"), *bare.iter(f"{MEI}dynam")]


def test_two_staves_have_the_left_hand_below() -> None:
    """The second staff holds the chords with their signs, one id for each chord, under a brace."""
    tree = tree_of(entry_of("| C7 | F |", "E5w | F5w", key="F"), settings=SheetOptions("two-hands"))
    assert [clef.get("clef.shape") for clef in tree.iter(f"{MEI}staffDef")] == ["G", "F"]
    chords = list(tree.iter(f"{MEI}chord"))
    assert [chord.get(ID) for chord in chords] == ["a-c0", "a-c1"]
    letters = [{note.get("pname") for note in chord} for chord in chords]
    assert letters == [{"c", "e", "g", "b"}, {"f", "a", "c"}]


def test_several_scores_follow_one_another() -> None:
    """Each has a section, a new system, its heading and a double bar; a new key is signed where it comes."""
    first, second = entry_of("| C |", "C5w", key="C"), entry_of("| D |", "D5w", key="D")
    second = SheetEntry("b", second.progression, second.notes, "2 · <fall> & rise")
    tree = tree_of(first, second, title="Two <Lamps> & more")
    assert tree.findtext(f".//{MEI}title") == "Two <Lamps> & more"
    assert [section.get(ID) for section in tree.iter(f"{MEI}section")] == ["a", "b"]
    assert [d.text for d in tree.iter(f"{MEI}dir")] == ["1 · arch", "2 · <fall> & rise"]
    assert [d.get("keysig") for d in tree.iter(f"{MEI}scoreDef")] == ["0", "2s"]
    assert [m.get("right") for m in tree.iter(f"{MEI}measure")] == ["dbl", "dbl"]
    assert len(list(tree.iter(f"{MEI}sb"))) == 1


def test_the_tempo_is_told_in_beats_where_asked() -> None:
    """A dotted quarter in 6/8, a half in 2/2; again only where it changes, and not in a picture."""
    slow = replace(entry_of("| C |", "C5h.", "6/8"), tempo=84)
    cut = replace(entry_of("| C |", "C5w", "2/2"), name="b", tempo=120)
    again = replace(cut, name="c")
    scores = [score_of(entry) for entry in (slow, cut, again)]
    marks = list(ET.fromstring(to_mei(scores, tempo=True)).iter(f"{MEI}tempo"))
    assert [(m.get("mm"), m.get("mm.unit"), m.get("mm.dots"), "".join(m.itertext())) for m in marks] == [
        ("56", "4", "1", "\ueca5\uecb7 = 56"),
        ("60", "2", None, "\ueca3 = 60"),
    ]
    assert not list(tree_of(slow, cut).iter(f"{MEI}tempo"))


def test_breaks_stand_before_their_bars() -> None:
    """A break that is asked for stands before the bar of that place."""
    score = score_of(entry_of("| C | C | C |", "C5w | D5w | E5w"))
    section = ET.fromstring(to_mei([score], breaks=(2,))).find(f".//{MEI}section")
    assert section is not None
    tags = [child.tag.removeprefix(MEI) for child in section]
    assert tags == ["measure", "measure", "sb", "measure"]


def counted(bars: Sequence[Sequence[Symbol]]) -> int:
    return sum(symbol.length for bar in bars for symbol in bar)


@pytest.mark.parametrize("metre", METRES)
def test_a_short_first_bar_is_full(metre: str) -> None:
    """Whatever is left of a first bar, its symbols fill it, and their ticks count from its own start."""
    for length in range(120, METRES[metre].bar, 120):
        line = [Chunk(0, length, ("C5",)), Chunk(length, METRES[metre].bar, ("D5",))]
        bars = written(
            line, METRES[metre], Key(Name(0, 0), "major"), [length, METRES[metre].bar], pickup=True
        )
        assert bars[0][0].tick == 0
        assert counted(bars[:1]) == length
        assert counted(bars) == length + METRES[metre].bar


def test_sections_have_their_names_above() -> None:
    """A named section is marked where it begins, and nowhere else."""
    entry = entry_of("| [A] C | G7 | [B <2>] F | C |", "C5w | D5w | C5w | E5w")
    bars = tree_of(entry).findall(f".//{MEI}measure")
    assert [[mark.text for mark in bar.findall(f"{MEI}reh")] for bar in bars] == [["A"], [], ["B <2>"], []]
