"""Chord kinds, spelling and Roman numerals against published tables and libraries that fillgen does not use.

Sources: the kind-value table of MusicXML 4.0 (W3C); the chord formulas and intervals of music21; pychord and
mingus; Shaffer, Hughes and Moseley, Open Music Theory (CC BY-SA); Wikipedia, Backdoor progression and Avoid note;
Watkins (BYU-Idaho), on the tritone substitute. The table FOUR_LIBRARIES holds values on which
music21, pychord, mingus and tonal agree.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import cache
from itertools import combinations
from typing import Any

import pychord
import pytest
from mingus.core import chords as mingus_chords
from music21 import harmony, interval, scale
from music21 import key as music21_key
from music21 import pitch as music21_pitch
from pychord.constants.qualities import DEFAULT_QUALITIES

from fillgen import parse_chart
from fillgen.errors import ChartError
from fillgen.phrase.place import places
from fillgen.theory.chords import Chord, Kind, kinds, make_chord, quality, read_chord
from fillgen.theory.pitch import Name

ROOTS = ["C", "C#", "Db", "D", "D#", "Eb", "E", "F", "F#", "Gb", "G", "G#", "Ab", "A", "A#", "Bb", "B"]
LETTERS = "CDEFGAB"
SCALE = (0, 2, 4, 5, 7, 9, 11)
MAJOR_KEYS = ["C", "G", "D", "A", "E", "B", "F#", "C#", "F", "Bb", "Eb", "Ab", "Db", "Gb", "Cb"]
MINOR_KEYS = ["A", "E", "B", "F#", "C#", "G#", "D#", "A#", "D", "G", "C", "F", "Bb", "Eb", "Ab"]

MUSIC21_KINDS = {
    "major triad": "major",
    "minor triad": "minor",
    "augmented triad": "augmented",
    "diminished triad": "diminished",
    "power": "power",
    "suspended fourth": "suspended-fourth",
    "suspended second": "suspended-second",
    "major sixth": "major-sixth",
    "minor sixth": "minor-sixth",
    "dominant seventh": "dominant-seventh",
    "major seventh": "major-seventh",
    "minor seventh": "minor-seventh",
    "diminished seventh": "diminished-seventh",
    "augmented seventh": "augmented-seventh",
    "half-diminished seventh": "half-diminished-seventh",
    "minor with major seventh": "minor-major-seventh",
    "augmented major seventh": "augmented-major-seventh",
    "seventh flat five": "seventh-flat-five",
    "suspended seventh": "suspended-fourth-seventh",
    "dominant ninth": "dominant-ninth",
    "major ninth": "major-ninth",
    "minor ninth": "minor-ninth",
    "minor with major ninth": "minor-major-ninth",
    "half-diminished ninth": "half-diminished-ninth",
    "ninth sharp five": "augmented-dominant-ninth",
    "dominant eleventh": "dominant-11th",
    "major eleventh": "major-11th",
    "minor eleventh": "minor-11th",
    "half-diminished eleventh": "half-diminished-11th",
    "dominant thirteenth": "dominant-13th",
    "major thirteenth": "major-13th",
    "minor thirteenth": "minor-13th",
}
"""The kinds that music21 has too, by its own names."""

MUSIC21_CHANGED = {
    "flat five triad": ("major", "alter b5"),
    "suspended second and fourth": ("suspended-fourth", "add 2"),
    "six nine": ("major-sixth", "add 9"),
    "minor six nine": ("minor-sixth", "add 9"),
    "six nine sharp eleven": ("major-sixth", "add 9, add #11"),
    "diminished with major seventh": ("diminished", "add 7"),
    "major seventh flat five": ("major-seventh", "alter b5"),
    "major seventh sharp eleven": ("major-seventh", "add #11"),
    "minor seventh sharp five": ("minor-seventh", "alter #5"),
    "minor seventh added eleventh": ("minor-seventh", "add 11"),
    "suspended seventh flat nine": ("suspended-fourth-seventh", "add b9"),
    "suspended ninth": ("suspended-fourth-seventh", "add 9"),
    "suspended thirteenth": ("suspended-fourth-seventh", "add 9, add 13"),
    "added ninth": ("major", "add 9"),
    "minor with added ninth": ("minor", "add 9"),
    "added eleventh": ("major", "add 11"),
    "added sharp eleventh": ("major", "add #11"),
    "major ninth sharp eleven": ("major-ninth", "add #11"),
    "seventh with thirteenth": ("dominant-seventh", "add 13"),
    "seventh flat nine": ("dominant-seventh", "add b9"),
    "seventh sharp nine": ("dominant-seventh", "add #9"),
    "seventh sharp eleven": ("dominant-seventh", "add #11"),
    "seventh flat thirteen": ("dominant-seventh", "add b13"),
    "seventh flat five flat nine": ("seventh-flat-five", "add b9"),
    "seventh flat five sharp nine": ("seventh-flat-five", "add #9"),
    "seventh sharp five flat nine": ("augmented-seventh", "add b9"),
    "seventh sharp five sharp nine": ("augmented-seventh", "add #9"),
    "seventh flat nine sharp nine": ("dominant-seventh", "add b9, add #9"),
    "seventh flat nine sharp eleven": ("dominant-seventh", "add b9, add #11"),
    "seventh sharp nine sharp eleven": ("dominant-seventh", "add #9, add #11"),
    "seventh flat nine flat thirteen": ("dominant-seventh", "add b9, add b13"),
    "seventh sharp nine flat thirteen": ("dominant-seventh", "add #9, add b13"),
    "ninth flat five": ("dominant-ninth", "alter b5"),
    "ninth sharp eleven": ("dominant-ninth", "add #11"),
    "ninth flat thirteen": ("dominant-ninth", "add b13"),
    "thirteenth flat nine": ("dominant-seventh", "add b9, add 13"),
    "thirteenth sharp nine": ("dominant-seventh", "add #9, add 13"),
    "thirteenth flat five": ("dominant-ninth", "alter b5, add 13"),
    "thirteenth sharp eleven": ("dominant-13th", "alter #11"),
}
"""The kinds that music21 builds from one of its own by altering or adding degrees, as MusicXML writes them."""

AUGMENTED_SIXTHS = {"German": ("dominant seventh", 8), "French": ("seventh flat five", 2)}
"""Functional chords of music21 that sound as a kind on another root: its semitones above theirs (enharmonic)."""

MUSICXML = {
    "major": "M3 P5",
    "minor": "m3 P5",
    "augmented": "M3 A5",
    "diminished": "m3 d5",
    "dominant": "M3 P5 m7",
    "major-seventh": "M3 P5 M7",
    "minor-seventh": "m3 P5 m7",
    "diminished-seventh": "m3 d5 d7",
    "augmented-seventh": "M3 A5 m7",
    "half-diminished": "m3 d5 m7",
    "major-minor": "m3 P5 M7",
    "major-sixth": "M3 P5 M6",
    "minor-sixth": "m3 P5 M6",
    "dominant-ninth": "M3 P5 m7 M9",
    "major-ninth": "M3 P5 M7 M9",
    "minor-ninth": "m3 P5 m7 M9",
    "dominant-11th": "M3 P5 m7 M9 P11",
    "major-11th": "M3 P5 M7 M9 P11",
    "minor-11th": "m3 P5 m7 M9 P11",
    "dominant-13th": "M3 P5 m7 M9 P11 M13",
    "major-13th": "M3 P5 M7 M9 P11 M13",
    "minor-13th": "m3 P5 m7 M9 P11 M13",
    "suspended-second": "M2 P5",
    "suspended-fourth": "P4 P5",
    "power": "P5",
}
"""W3C MusicXML 4.0, type kind-value, its bases written out: a dominant-11th is a dominant-ninth and a perfect 11th."""

FOUR_LIBRARIES = {
    "": "0 4 7",
    "m": "0 3 7",
    "dim": "0 3 6",
    "aug": "0 4 8",
    "7": "0 4 7 10",
    "maj7": "0 4 7 11",
    "m7": "0 3 7 10",
    "m7b5": "0 3 6 10",
    "dim7": "0 3 6 9",
    "mM7": "0 3 7 11",
    "7#5": "0 4 8 10",
    "maj7#5": "0 4 8 11",
    "6": "0 4 7 9",
    "m6": "0 3 7 9",
    "sus4": "0 5 7",
    "sus2": "0 2 7",
    "7sus4": "0 5 7 10",
    "9": "0 2 4 7 10",
    "maj9": "0 2 4 7 11",
    "m9": "0 2 3 7 10",
    "7b5": "0 4 6 10",
    "5": "0 7",
    "7b9": "0 1 4 7 10",
    "7#9": "0 3 4 7 10",
    "7#11": "0 4 6 7 10",
    "6/9": "0 2 4 7 9",
    "add9": "0 2 4 7",
}
"""Pitch classes above the root on which music21, pychord, mingus and tonal agree."""

READ_OTHERWISE = {
    "pychord": {
        "4": "an added fourth, not a suspended one",
        "6/9": "a bass by its degree after the slash",
        "m6/9": "a bass by its degree after the slash",
        "7/9": "a bass by its degree after the slash",
        "maj7/9": "a bass by its degree after the slash",
        "m7/9": "a bass by its degree after the slash",
        "m7/11": "a bass by its degree after the slash",
        "7/13": "a bass by its degree after the slash",
        "7/6": "a bass by its degree after the slash",
        "7b9b13": "stacked over an eleventh",
        "13b9": "stacked over an eleventh",
        "13-9": "stacked over an eleventh",
        "13#9": "stacked over an eleventh",
        "13+9": "stacked over an eleventh",
    },
    "mingus": {
        "7+": "an augmented major seventh",
        "M7+5": "a minor seventh over an augmented fifth",
        "maj7+5": "a minor seventh over an augmented fifth",
        "11": "without third and ninth",
        "m11": "without the ninth",
        "min11": "without the ninth",
        "-11": "without the ninth",
        "mi11": "without the ninth",
        "13": "without the eleventh",
        "maj13": "without the eleventh",
        "M13": "without the eleventh",
        "ma13": "without the eleventh",
        "m13": "without the eleventh",
        "min13": "without the eleventh",
        "-13": "without the eleventh",
        "mi13": "without the eleventh",
    },
}
"""The spellings that a library knows and takes for other notes, and for which."""

SPOT_VALUES = {
    "Gb7": "Gb Bb Db Fb",
    "F#7": "F# A# C# E",
    "Bdim7": "B D F Ab",
    "C#maj7": "C# E# G# B#",
    "Ebm7b5": "Eb Gb Bbb Db",
    "Abm6": "Ab Cb Eb F",
    "Cm": "C Eb G",
    "Baug": "B D# F##",
    "E7#9": "E G# B D F##",
    "Gbm7": "Gb Bbb Db Fb",
    "D#7": "D# F## A# C#",
    "Dbdim7": "Db Fb Abb Cbb",
    "Bb7b9": "Bb D F Ab Cb",
    "Fmaj7#11": "F A C E B",
    "G6/9": "G B D E A",
    "A7sus4": "A D E G",
}

UNICODE_SIGNS = {
    "C♯m7♭5": ("C#", "half-diminished seventh"),
    "BΔ7": ("B", "major seventh"),
    "B△7": ("B", "major seventh"),
    "B∆": ("B", "major seventh"),
    "Eø": ("E", "half-diminished seventh"),
    "EØ7": ("E", "half-diminished seventh"),
    "G°7": ("G", "diminished seventh"),
    "Gº7": ("G", "diminished seventh"),
    "B♭7": ("Bb", "dominant seventh"),
    "A♭−7": ("Ab", "minor seventh"),
    "D–7": ("D", "minor seventh"),
    "F♯⁺": ("F#", "augmented triad"),
    "G7(♭9, ♯11)": ("G", "seventh flat nine sharp eleven"),
    "G7 [♯9]": ("G", "seventh sharp nine"),
}

SAME_CHORD = {
    "maj7": "M7 ma7 Δ Δ7",
    "m7": "min7 mi7 -7",
    "m": "min mi -",
    "aug": "+ (#5)",
    "dim": "° o",
    "dim7": "°7 o7",
    "m7b5": "ø ø7 m7-5 -7b5 min7b5",
    "7#5": "+7 aug7 7+5 7(#5)",
    "7b5": "7-5 7(b5)",
    "7b9": "7-9 7(b9)",
    "7#9": "7+9 7(#9)",
    "7sus4": "7sus",
    "sus4": "sus",
    "6/9": "69",
    "mM7": "mMaj7 m(maj7) -Δ7 minmaj7",
    "7alt": "alt",
    "add9": "(add9) 2",
    "7b9#11": "7(b9,#11) 7#11b9",
}
"""Other ways in which players write a chord."""

AVOIDED = {
    "Cmaj7": "F",
    "Dm7": "",
    "Em7": "C F",
    "Fmaj7": "",
    "G7": "C",
    "Am7": "F",
    "Bm7b5": "C",
}
"""Wikipedia, Avoid note, an older revision after Nettles and Graf: the table of C major. Its B over Dm7 is left out:
it lies a whole tone above the fifth, and is avoided by convention, not for its clash."""


# Reckoned here, without asking fillgen


def by_name(name: str) -> Kind:
    """The kind of that name."""
    return next(kind for kind in kinds() if kind.name == name)


def degree_parts(text: str) -> tuple[str, int]:
    """A degree as its signs and its number."""
    found = re.fullmatch(r"([b#]*)(\d+)", text)
    assert found is not None, text
    return found[1], int(found[2])


def semitones(text: str) -> int:
    """Semitones of a degree above its root: those of the major scale, raised by # and lowered by b."""
    signs, number = degree_parts(text)
    octaves, step = divmod(number - 1, 7)
    return 12 * octaves + SCALE[step] + signs.count("#") - signs.count("b")


def named_interval(text: str) -> tuple[int, int]:
    """An interval such as m3 as letters and semitones."""
    number = int(text[1:])
    octaves, step = divmod(number - 1, 7)
    perfect = step in (0, 3, 4)
    lowered = {"P": 0, "M": 0, "A": 1, "m": -1, "d": -1 if perfect else -2}[text[0]]
    return number - 1, 12 * octaves + SCALE[step] + lowered


def interval_name(text: str) -> str:
    """The name of a degree's interval above the root, for music21: b3 is m3, #5 is A5."""
    signs, number = degree_parts(text)
    perfect = (number - 1) % 7 in (0, 3, 4)
    quality_of = {"": "P", "b": "d", "#": "A"} if perfect else {"": "M", "b": "m", "bb": "d", "#": "A"}
    return f"{quality_of[signs]}{number}"


def pitch_class(name: str) -> int:
    """The pitch class of a spelled name."""
    return (SCALE[LETTERS.index(name[0])] + name.count("#") - name[1:].count("b")) % 12


def from_music21(name: str) -> str:
    """A name without octave as music21 writes it, with b for flats."""
    return name.replace("-", "b")


def to_music21(name: str) -> str:
    """A spelled name as music21 writes it, with - for flats."""
    return name[0] + name[1:].replace("b", "-")


@cache
def music21_tone(root: str, degree: str) -> str:
    """The name that music21 gives a degree above a root."""
    start = music21_pitch.Pitch(f"{to_music21(root)}4")
    return from_music21(interval.Interval(interval_name(degree)).transposePitch(start).name)


def formula_classes(music21_kind: str) -> set[int]:
    """The pitch classes of a kind's formula in music21, root 0."""
    formula: Any = harmony.CHORD_TYPES[music21_kind][0]
    return {semitones(degree.replace("-", "b")) % 12 for degree in formula.split(",")}


def changed_classes(music21_kind: str, changes: str) -> set[int]:
    """The pitch classes on C of a kind of music21 after degrees are altered or added."""
    symbol = harmony.ChordSymbol(root="C", kind=music21_kind)
    for change in changes.split(", "):
        what, degree = change.split()
        signs, number = degree_parts(degree)
        rise = signs.count("#") - signs.count("b")
        symbol.addChordStepModification(harmony.ChordStepModification(what, number, rise))
    return {sounding.pitchClass for sounding in symbol.pitches}


def classes(kind: Kind) -> set[int]:
    """The pitch classes of a kind in full, root 0, reckoned from the texts of its degrees."""
    return {semitones(degree.text) % 12 for degree in kind.degrees}


def names(chord: Chord) -> list[str]:
    """The tones of a chord as theory stacks them, each on the letter of its degree."""
    return [str(tone.stacked) for tone in chord.tones]


def symbol(root: str, spelling: str) -> str:
    """A root and a spelling as a player writes them: in brackets where a sign would be taken for the root's own."""
    own_sign = len(root) == 1 and spelling[:1] in ("b", "#")
    return f"{root}({spelling})" if own_sign else f"{root}{spelling}"


def pychord_tones(spelling: str) -> set[str] | None:
    """The tones that pychord reads on C; None where it does not know the spelling."""
    try:
        return set(pychord.Chord(f"C{spelling}").components())
    except ValueError:
        return None


def mingus_tones(spelling: str) -> set[str] | None:
    """The tones that mingus reads on C; None where it does not know the spelling."""
    try:
        return set(mingus_chords.from_shorthand(f"C{spelling}"))
    except Exception as error:
        if type(error).__module__.startswith("mingus"):
            return None
        raise


LIBRARIES = {"pychord": pychord_tones, "mingus": mingus_tones}


def own_tones_on_c(kind: Kind) -> set[str]:
    """The full kind on C, spelled by the letters of its degrees."""
    told = set()
    for degree in kind.degrees:
        signs, number = degree_parts(degree.text)
        told.add(LETTERS[(number - 1) % 7] + signs[::-1])
    return told


# Definitions


def test_every_music21_kind_has_the_same_tones() -> None:
    """Each kind that music21 names has the pitch classes of music21's formula."""
    assert len(MUSIC21_KINDS) >= 32
    for name, music21_kind in MUSIC21_KINDS.items():
        assert classes(by_name(name)) == formula_classes(music21_kind), name


@pytest.mark.parametrize("name", MUSIC21_CHANGED)
def test_every_kind_built_from_a_music21_kind_has_the_same_tones(name: str) -> None:
    """Each kind that music21 reaches by altering or adding degrees has the pitch classes it then sounds."""
    assert classes(by_name(name)) == changed_classes(*MUSIC21_CHANGED[name])


def test_no_kind_is_left_out_of_the_comparison_but_the_altered_seventh() -> None:
    """Every kind but one is compared with music21, which has no altered dominant."""
    compared = {*MUSIC21_KINDS, *MUSIC21_CHANGED}
    assert {kind.name for kind in kinds()} - compared == {"altered seventh"}
    assert not MUSIC21_KINDS.keys() & MUSIC21_CHANGED.keys()


@pytest.mark.parametrize(("functional", "sounds_as"), AUGMENTED_SIXTHS.items())
def test_augmented_sixths_sound_as_dominants(functional: str, sounds_as: tuple[str, int]) -> None:
    """The German and French sixths of music21 sound as the kinds they are enharmonic with."""
    name, root = sounds_as
    assert {(root + tone) % 12 for tone in classes(by_name(name))} == formula_classes(functional)


def test_tristan_sounds_as_half_diminished() -> None:
    """The Tristan chord of music21 sounds as a half-diminished seventh on the same root."""
    assert classes(by_name("half-diminished seventh")) == formula_classes("Tristan")


def test_altered_seventh_holds_every_altered_tension() -> None:
    """An altered seventh is a shell with both ninths, the sharp eleven and the flat thirteen (common practice)."""
    assert classes(by_name("altered seventh")) == {0, 4, 10, 1, 3, 6, 8}


@pytest.mark.parametrize("value", MUSICXML)
def test_musicxml_kind_is_there_with_its_intervals(value: str) -> None:
    """Each kind of MusicXML's table is a kind of its own, with just those letters and semitones."""
    wanted = [(0, 0), *map(named_interval, MUSICXML[value].split())]
    fitting = [
        kind
        for kind in kinds()
        if kind.musicxml == value and [(d.steps, d.semitones) for d in kind.degrees] == wanted
    ]
    assert len(fitting) == 1


def test_musicxml_table_is_complete() -> None:
    """All twenty-five kinds of the table are asked for, and no kind names another."""
    assert len(MUSICXML) == 25
    assert {kind.musicxml for kind in kinds()} <= MUSICXML.keys()


@pytest.mark.parametrize("spelling", FOUR_LIBRARIES)
def test_values_of_four_libraries(spelling: str) -> None:
    """A symbol has the pitch classes on which four libraries agree."""
    chord = read_chord(f"C{spelling}")
    assert {pitch_class(name) for name in names(chord)} == set(map(int, FOUR_LIBRARIES[spelling].split()))
    assert [bit for bit in range(12) if chord.mask >> bit & 1] == list(
        map(int, FOUR_LIBRARIES[spelling].split())
    )


@pytest.mark.parametrize("library", LIBRARIES)
def test_a_library_that_knows_a_spelling_reads_the_same_tones(library: str) -> None:
    """pychord and mingus read each spelling they know as the same spelled tones, apart from those listed."""
    asked, other = 0, []
    for kind in kinds():
        for spelling in kind.spellings:
            read = None if spelling[:1] in ("b", "#") else LIBRARIES[library](spelling)
            asked += read is not None
            if read is not None and read != own_tones_on_c(kind):
                other.append(spelling)
    assert asked >= 50
    assert sorted(other) == sorted(READ_OTHERWISE[library])


@pytest.mark.parametrize(("spelling", "tones"), [("7b9", "C E G Bb Db"), ("m7b5", "C Eb Gb Bb")])
def test_pychord_components(spelling: str, tones: str) -> None:
    """A symbol's tones are pychord's components, in order and in spelling."""
    assert names(read_chord(f"C{spelling}")) == pychord.Chord(f"C{spelling}").components() == tones.split()


def test_kinds_differ_in_their_degrees() -> None:
    """No two kinds have the same degrees."""
    alike = [
        (one.name, other.name)
        for one, other in combinations(kinds(), 2)
        if {d.text for d in one.degrees} == {d.text for d in other.degrees}
    ]
    assert not alike


def test_what_is_left_out_lies_a_semitone_from_another_tone() -> None:
    """A tone left out of a full stack clashes with one that stays, and root and seventh always stay."""
    thinned = [kind for kind in kinds() if kind.left_out]
    assert len(thinned) >= 4
    for kind in thinned:
        stays = {semitones(degree.text) % 12 for degree in kind.sounding}
        for text in kind.left_out:
            assert {(semitones(text) + rise) % 12 for rise in (1, -1)} & stays, kind.name
        assert {degree.text for degree in kind.sounding} & {"7", "b7"}
        assert "1" not in kind.left_out


# Spelling on seventeen roots


@pytest.mark.parametrize("root", ROOTS)
def test_every_tone_has_the_letter_of_its_degree(root: str) -> None:
    """On every root a tone's letter lies its degree's number above the root's, at the right pitch class."""
    for kind in kinds():
        chord = make_chord(Name.read(root), kind)
        assert [tone.degree.text for tone in chord.tones] == [
            degree.text for degree in kind.degrees if degree.text not in kind.left_out
        ]
        for tone in chord.tones:
            _, number = degree_parts(tone.degree.text)
            letter = LETTERS[(LETTERS.index(root[0]) + number - 1) % 7]
            assert str(tone.stacked)[0] == letter, (root, kind.name)
            wanted = (pitch_class(root) + semitones(tone.degree.text)) % 12
            assert pitch_class(str(tone.name)) == tone.name.pitch_class == wanted, (root, kind.name)


@pytest.mark.parametrize("root", ROOTS)
def test_spelling_is_that_of_music21(root: str) -> None:
    """On every root every kind is spelled as music21's intervals spell it."""
    for kind in kinds():
        chord = make_chord(Name.read(root), kind)
        wanted = [music21_tone(root, tone.degree.text) for tone in chord.tones]
        assert names(chord) == wanted, (root, kind.name)


@pytest.mark.parametrize("written", SPOT_VALUES)
def test_spelling_of_known_chords(written: str) -> None:
    """Chords with double flats, double sharps and odd letters are spelled as a textbook has them."""
    assert names(read_chord(written)) == SPOT_VALUES[written].split()


# Reading


def test_enough_kinds_and_spellings() -> None:
    """There are at least 45 kinds and 120 spellings, and no spelling stands for two kinds."""
    all_spellings = [spelling for kind in kinds() for spelling in kind.spellings]
    assert len(kinds()) >= 45
    assert len(all_spellings) >= 120
    assert len(all_spellings) == len(set(all_spellings))


@pytest.mark.parametrize("root", ROOTS)
def test_every_spelling_is_read_on_every_root(root: str) -> None:
    """Every spelling of every kind is read as that kind on that root."""
    for kind in kinds():
        for spelling in kind.spellings:
            chord = read_chord(symbol(root, spelling))
            assert (str(chord.root), chord.kind, chord.bass) == (root, kind, None), spelling


@pytest.mark.costly
@pytest.mark.parametrize("root", ROOTS)
@pytest.mark.parametrize("bass", ["E", "Bb", "F#", "A"])
def test_every_spelling_is_read_with_a_slash_bass(root: str, bass: str) -> None:
    """Every spelling is read with a bass after a slash, and the bass changes no tone."""
    for kind in kinds():
        for spelling in kind.spellings:
            chord = read_chord(f"{symbol(root, spelling)}/{bass}")
            assert (str(chord.root), chord.kind, str(chord.bass)) == (root, kind, bass), spelling
            assert names(chord) == names(read_chord(symbol(root, spelling)))


def test_a_printed_symbol_reads_back() -> None:
    """The symbol that fillgen prints for a kind on a root is read as the same kind on the same root."""
    unlike = []
    for root in ROOTS:
        for kind in kinds():
            printed = make_chord(Name.read(root), kind).symbol
            back = read_chord(printed)
            if (str(back.root), back.kind) != (root, kind):
                unlike.append(printed)
    assert not unlike


def test_what_two_libraries_read_alike_is_read() -> None:
    """Every spelling that pychord and mingus both know, and agree on, is read as they read it."""
    shared = 0
    for spelling, _ in DEFAULT_QUALITIES:
        if spelling[:1] in ("b", "#"):
            continue
        one, other = pychord_tones(spelling), mingus_tones(spelling)
        if one is not None and one == other:
            shared += 1
            assert set(names(read_chord(f"C{spelling}"))) == one, spelling
    assert shared >= 25


@pytest.mark.parametrize("written", SAME_CHORD)
def test_ways_to_write_one_chord(written: str) -> None:
    """The ways in which players write a chord are read as the same chord (common practice)."""
    kind = read_chord(f"C{written}").kind
    for other in SAME_CHORD[written].split():
        assert read_chord(f"C{other}").kind == kind, other
        assert read_chord(f"Bb{other}").kind == kind, other


@pytest.mark.parametrize("written", UNICODE_SIGNS)
def test_real_signs_are_read(written: str) -> None:
    """Flats, sharps, triangles, circles, long minus signs, brackets and blanks are read as what is typed for them."""
    chord = read_chord(written)
    assert chord.kind is not None
    assert (str(chord.root), chord.kind.name) == UNICODE_SIGNS[written]


@pytest.mark.parametrize("written", ["H7", "c7", "C7b14", "Cmaj7/H", "C/", "Cfoo", "", "C♭♭♭♭7"])
def test_what_is_no_chord_is_refused(written: str) -> None:
    """A text that names no chord is refused, not read as the nearest."""
    with pytest.raises(ChartError):
        read_chord(written)


def test_a_minus_before_a_number_lowers_it_or_makes_minor() -> None:
    """C-7 is minor, C7-9 has a flat ninth, and C7+9 a sharp one (common practice)."""
    read = [quality(text) for text in ("-7", "7-9", "7+9")]
    assert [kind.name for kind in read if kind] == [
        "minor seventh",
        "seventh flat nine",
        "seventh sharp nine",
    ]


# Roman numerals


def numeral_chords(numerals: str, key: str) -> list[Chord]:
    """The chords of numerals in a key, one a bar."""
    chart = parse_chart("| " + " | ".join(numerals.split()) + " |", key=key)
    return [span.chord for span in chart.spans]


def stacked_thirds(tonic: str) -> list[set[int]]:
    """The seventh chord on each degree of a key's scale in music21, as pitch classes."""
    steps = music21_key.Key(to_music21(tonic)).pitches[:7]
    return [{steps[(degree + third) % 7].pitchClass for third in (0, 2, 4, 6)} for degree in range(7)]


def stacked_names(tonic: str) -> list[list[str]]:
    """The seventh chord on each degree of a key's scale in music21, as spelled names."""
    steps = [from_music21(tone.name) for tone in music21_key.Key(to_music21(tonic)).pitches[:7]]
    return [[steps[(degree + third) % 7] for third in (0, 2, 4, 6)] for degree in range(7)]


def name_of(chord: Chord) -> str:
    """The name of a chord's kind."""
    assert chord.kind is not None
    return chord.kind.name


@pytest.mark.parametrize("tonic", MAJOR_KEYS)
def test_diatonic_sevenths_of_major(tonic: str) -> None:
    """The sevenths of a major key are its scale in thirds, with the qualities Open Music Theory names."""
    chords = numeral_chords("Imaj7 ii7 iii7 IVmaj7 V7 vi7 viiø7", f"{tonic} major")
    assert [name_of(chord) for chord in chords] == [
        "major seventh",
        "minor seventh",
        "minor seventh",
        "major seventh",
        "dominant seventh",
        "minor seventh",
        "half-diminished seventh",
    ]
    assert [{tone.name.pitch_class for tone in chord.tones} for chord in chords] == stacked_thirds(tonic)
    assert [names(chord) for chord in chords] == stacked_names(tonic)


@pytest.mark.parametrize("tonic", MINOR_KEYS)
@pytest.mark.parametrize("signs", ["", "b"])
def test_diatonic_sevenths_of_natural_minor(tonic: str, signs: str) -> None:
    """The sevenths of a natural minor key are its scale in thirds, the flat of III, VI and VII written or not."""
    numerals = f"i7 iiø7 {signs}IIImaj7 iv7 v7 {signs}VImaj7 {signs}VII7"
    chords = numeral_chords(numerals, f"{tonic} minor")
    assert [names(chord) for chord in chords] == stacked_names(tonic.lower())


@pytest.mark.parametrize("tonic", MINOR_KEYS)
def test_leading_sevenths_of_minor(tonic: str) -> None:
    """In minor V7 has the raised seventh for its third, and viidim7 stands on it: harmonic minor in thirds."""
    dominant, leading = numeral_chords("V7 viidim7", f"{tonic} minor")
    harmonic = scale.HarmonicMinorScale(to_music21(tonic)).getPitches()[:7]
    for degree, chord in ((4, dominant), (6, leading)):
        wanted = {harmonic[(degree + third) % 7].pitchClass for third in (0, 2, 4, 6)}
        assert {tone.name.pitch_class for tone in chord.tones} == wanted
    assert leading.root is not None
    assert leading.root.pitch_class == harmonic[6].pitchClass


@pytest.mark.parametrize(("numeral", "key", "wanted"), [("V7/ii", "C", "A7"), ("V7/V", "D", "E7")])
def test_secondary_dominants(numeral: str, key: str, wanted: str) -> None:
    """The dominant of a degree stands a fifth above it: V7/ii in C is A7, V7/V in D is E7 (common practice)."""
    assert numeral_chords(numeral, key)[0].symbol == wanted


@pytest.mark.parametrize("tonic", MAJOR_KEYS)
@pytest.mark.parametrize("goal", ["ii", "iii", "IV", "V", "vi"])
def test_a_secondary_dominant_resolves_by_fifth(tonic: str, goal: str) -> None:
    """The root of V7/x lies seven semitones above that of x, and its third is x's leading note."""
    dominant, aim = numeral_chords(f"V7/{goal} {goal}", f"{tonic} major")
    assert dominant.root is not None
    assert aim.root is not None
    assert (dominant.root.pitch_class - aim.root.pitch_class) % 12 == 7
    assert (dominant.tones[1].name.pitch_class + 1) % 12 == aim.root.pitch_class
    assert name_of(dominant) == "dominant seventh"


def test_backdoor_dominant() -> None:
    """bVII7 in C is Bb D F Ab and shares two tones with G7 (Wikipedia, Backdoor progression)."""
    backdoor, dominant = numeral_chords("bVII7 V7", "C")
    assert names(backdoor) == ["Bb", "D", "F", "Ab"]
    assert len(set(names(backdoor)) & set(names(dominant))) == 2


@pytest.mark.parametrize("tonic", MAJOR_KEYS)
def test_tritone_substitute_shares_third_and_seventh(tonic: str) -> None:
    """bII7 has V7's seventh for its third and V7's third for its seventh (Watkins)."""
    substitute, dominant = numeral_chords("bII7 V7", f"{tonic} major")
    _, third, _, seventh = [tone.name.pitch_class for tone in substitute.tones]
    _, other_third, _, other_seventh = [tone.name.pitch_class for tone in dominant.tones]
    assert (third, seventh) == (other_seventh, other_third)


# Avoid notes


def white_names(mask: int) -> Iterable[str]:
    """The names of the white notes among a mask's bits."""
    return sorted(letter for letter, bit in zip(LETTERS, SCALE, strict=True) if mask >> bit & 1)


@pytest.mark.parametrize("written", AVOIDED)
def test_avoid_notes_of_c_major(written: str) -> None:
    """The scale notes a semitone above a chord tone are those that the handbook's table tells to avoid."""
    chart = parse_chart(f"| {written} |", key="C")
    (place,) = places(chart, [(0, chart.length)])
    assert white_names(place.passing) == sorted(LETTERS)
    assert place.passing & place.avoid == place.avoid & sum(1 << bit for bit in SCALE)
    assert white_names(place.passing & place.avoid) == AVOIDED[written].split()
