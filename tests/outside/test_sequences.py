"""Stock sequences against published ones, and their chords against a second reader and against music21.

Sources: Wikipedia, Turnaround (music) and Backdoor progression; Shaffer, Hughes and Moseley, Open Music Theory
(CC BY-SA), for common progressions and for the seventh chords of a key; Watkins (BYU-Idaho), on the tritone
substitute; the Roman numerals and intervals of music21.
"""

from __future__ import annotations

import re
from functools import cache

import pytest
from music21 import key as music21_key
from music21 import pitch as music21_pitch
from music21 import roman

from fillgen import Key, Progression, parse_chart
from fillgen.chart.enrich import proposals, with_sevenths
from fillgen.chart.sequences import Sequence, sequence, sequences, spelled
from fillgen.theory.chords import Chord, read_chord
from fillgen.theory.keys import read_key
from fillgen.theory.pitch import all_keys

EVERY = sequences()
OPENING = [known for known in EVERY if known.purpose in ("intro", "turnaround")]
ENDINGS = [known for known in EVERY if known.purpose == "ending"]
MAJOR_KEYS = ["C", "G", "D", "A", "E", "B", "F#", "C#", "F", "Bb", "Eb", "Ab", "Db", "Gb", "Cb"]
MINOR_KEYS = ["A", "E", "B", "F#", "C#", "G#", "D#", "A#", "D", "G", "C", "F", "Bb", "Eb", "Ab"]

TURNAROUNDS = {
    "circle turnaround": "I vi ii V",
    "bright six turnaround": "I VI ii V",
    "chain of dominants": "I VI II V",
    "three to two turnaround": "I iii ii7 V7",
    "flat six turnaround": "I vi bVI7#11 V",
    "turnaround from three": "iii VI ii V",
    "chromatic turnaround": "I bIII bVI bII7",
}
"""Wikipedia, Turnaround (music), the typical examples; their flat and sharp signs from memory."""

BLUES = "V IV I"
"""Wikipedia, Turnaround (music): the blues turnaround, whose last bar may be on the dominant."""

COMMON = {
    "plain close": "I IV V I",
    "close by way of two": "I ii V I",
    "close by way of six": "I vi V I",
    "turnaround and close": "I vi ii V I I",
    "doo-wop intro": "I vi IV V",
    "plagal vamp": "I IV",
    "double plagal close": "bVII IV I",
}
"""Shaffer, Hughes and Moseley, Open Music Theory: common progressions and schemas."""

SEVENTHS_MAJOR = ("I maj7", "ii m7", "iii m7", "IV maj7", "V 7", "vi m7", "vii m7b5")
SEVENTHS_MINOR = ("i m7", "ii m7b5", "III maj7", "iv m7", "v m7", "VI maj7", "VII 7")
"""Open Music Theory: the diatonic seventh chords, with the chord symbols that players write for them."""

MUSIC21_MAJOR = ("I7", "ii7", "iii7", "IV7", "V7", "vi7", "viiø7")
MUSIC21_MINOR = ("i7", "iiø7", "III7", "iv7", "v7", "VI7", "VII7")

# A second reader of numerals, which shares no code with fillgen

RISES = {"i": 0, "ii": 2, "iii": 4, "iv": 5, "v": 7, "vi": 9, "vii": 11}
TONES = {
    "": (0, 4, 7),
    "7": (0, 4, 7, 10),
    "maj7": (0, 4, 7, 11),
    "6": (0, 4, 7, 9),
    "6/9": (0, 4, 7, 9, 2),
    "7sus4": (0, 5, 7, 10),
    "sus4": (0, 5, 7),
    "7#11": (0, 4, 7, 10, 6),
    "small": (0, 3, 7),
    "small7": (0, 3, 7, 10),
    "small6": (0, 3, 7, 9),
    "smallmaj7": (0, 3, 7, 11),
    "smallø7": (0, 3, 6, 10),
    "small°7": (0, 3, 6, 9),
    "smalldim7": (0, 3, 6, 9),
}
"""Semitones above the root, by what follows a numeral; a numeral in small letters stands for a minor chord."""


def tones_of(numeral: str, mode: str) -> frozenset[int]:
    """The pitch classes of a numeral above the tonic, reckoned from its letters."""
    found = re.fullmatch(r"([b#]?)(VII|VI|V|IV|III|II|I|vii|vi|v|iv|iii|ii|i)(?![iIvV])(.*)", numeral)
    assert found is not None, numeral
    sign, letters, rest = found.groups()
    root = RISES[letters.lower()]
    diminished = letters.islower() and rest[:1] == "°"
    if mode == "minor" and letters.lower() in ("iii", "vi", "vii") and sign != "b" and not diminished:
        root -= 1
    root += {"": 0, "b": -1, "#": 1}[sign]
    return frozenset((root + tone) % 12 for tone in TONES[("small" if letters.islower() else "") + rest])


def numerals(known: Sequence) -> list[list[str]]:
    """The numerals of each bar, repeated bars written out."""
    rows: list[list[str]] = []
    for bar in known.chords.strip("| ").split("|"):
        rows.append(rows[-1] if bar.strip() == "%" else bar.split())
    return rows


def flat(known: Sequence) -> list[str]:
    """The numerals of a sequence in order."""
    return [numeral for bar in numerals(known) for numeral in bar]


def bare(numeral: str) -> str:
    """A numeral with its sign and letters alone."""
    found = re.match(r"[b#]?[ivIV]+", numeral)
    assert found is not None
    return found[0]


def classes(chord: Chord) -> frozenset[int]:
    """The pitch classes of a chord."""
    return frozenset(tone.name.pitch_class for tone in chord.tones)


def names(chord: Chord) -> list[str]:
    """The tones of a chord as theory stacks them, each on the letter of its degree."""
    return [str(tone.stacked) for tone in chord.tones]


def keys_of(mode: str) -> list[Key]:
    """The fifteen keys of a mode."""
    return [key for key in all_keys() if key.mode == mode]


@cache
def ruler(tonic: str, mode: str) -> music21_key.Key:
    """A key of music21, which writes flats as minus signs."""
    return music21_key.Key(tonic.replace("b", "-"), mode)


def music21_names(figure: str, tonic: str, mode: str) -> list[str]:
    """The tones that music21 gives a Roman numeral, spelled as fillgen spells."""
    return [pitch.name.replace("-", "b") for pitch in roman.RomanNumeral(figure, ruler(tonic, mode)).pitches]


def music21_classes(figure: str, tonic: str, mode: str) -> frozenset[int]:
    """The pitch classes that music21 gives a Roman numeral."""
    return frozenset(
        int(pitch.pitchClass) for pitch in roman.RomanNumeral(figure, ruler(tonic, mode)).pitches
    )


def leading_tone(key: Key) -> int:
    """The pitch class a minor second below the tonic, by music21."""
    tonic = music21_pitch.Pitch(str(key.tonic).replace("b", "-"))
    return int(tonic.transpose("-m2").pitchClass)


# Published sequences


@pytest.mark.parametrize(("name", "expected"), TURNAROUNDS.items())
def test_published_turnarounds(name: str, expected: str) -> None:
    """The turnarounds of Wikipedia are there with exactly their numerals."""
    assert " ".join(flat(sequence(name))) == expected
    assert sequence(name).purpose == "turnaround"
    assert "Wikipedia, Turnaround (music)" in sequence(name).source


def test_published_blues_turnaround() -> None:
    """V-IV-I closes a blues; with the dominant in the last bar it is a turnaround."""
    assert [bare(numeral) for numeral in flat(sequence("blues close"))][:3] == BLUES.split()
    assert [bare(numeral) for numeral in flat(sequence("blues turnaround"))] == [*BLUES.split(), "V"]


@pytest.mark.parametrize(("name", "expected"), COMMON.items())
def test_published_progressions(name: str, expected: str) -> None:
    """The common progressions of Open Music Theory are there."""
    assert " ".join(flat(sequence(name))) == expected
    assert "Open Music Theory" in sequence(name).source


def test_published_close_by_the_subdominant() -> None:
    """Plagal motion goes from IV to I; the deceptive motion from V to vi."""
    assert flat(sequence("plagal close")) == ["IV", "I"]
    deceptive = [bare(numeral) for numeral in flat(sequence("deceptive close and return"))]
    assert deceptive[1:3] == ["V", "vi"]
    assert deceptive[-3:] == ["ii", "V", "I"]


def test_tags_repeat_the_cadence() -> None:
    """A tag is ii-V or iii-VI-ii-V said again before the tonic (from memory)."""
    assert [bare(numeral) for numeral in flat(sequence("tag"))] == ["iii", "VI", "ii", "V", "I", "I"]
    assert [bare(numeral) for numeral in flat(sequence("tag of three"))] == ["ii", "V"] * 3 + ["I"]
    long = [bare(numeral) for numeral in flat(sequence("long tag"))]
    assert long == ["ii", "V", "iii", "VI"] * 2 + ["ii", "V", "I", "I"]


@pytest.mark.parametrize("name", ["backdoor close", "backdoor turnaround"])
def test_backdoor(name: str) -> None:
    """Wikipedia, Backdoor progression: iv7 bVII7 I; in C the second is Bb D F Ab, which shares D and F with G7."""
    found = sequence(name)
    played = [bare(numeral) for numeral in [*flat(found), found.leads_to]]
    at = played.index("bVII")
    assert played[at - 1 : at + 2] == ["iv", "bVII", "I"]
    chord = spelled(found, read_key("C")).spans[at].chord
    assert names(chord) == ["Bb", "D", "F", "Ab"]
    assert sorted(set(names(chord)) & set(names(read_chord("G7")))) == ["D", "F"]


def test_backdoor_from_flat_six() -> None:
    """Wikipedia, Backdoor progression: bVImaj7 bVII7 I is possible as well."""
    assert [
        span.chord.symbol for span in spelled(sequence("flat six, flat seven close"), read_key("C")).spans
    ] == [
        "Abmaj7",
        "Bb7",
        "C",
    ]


# Every chord by a second reader


def test_chords_by_a_second_reader() -> None:
    """In every key the chords have the tones that a reader of numerals without any code of fillgen finds."""
    for known in EVERY:
        above = [tones_of(numeral, known.mode) for numeral in flat(known)]
        for key in keys_of(known.mode):
            tonic = int(music21_pitch.Pitch(str(key.tonic).replace("b", "-")).pitchClass)
            expected = [frozenset((tone + tonic) % 12 for tone in chord) for chord in above]
            assert [classes(span.chord) for span in spelled(known, key).spans] == expected, known.name


def test_bars_by_a_second_reader() -> None:
    """The chords of a bar share it evenly, in quarter notes of the time signature."""
    for known in EVERY:
        count, unit = map(int, known.metre.name.split("/"))
        chart = spelled(known, keys_of(known.mode)[0])
        for row, bar in zip(numerals(known), chart.bars, strict=True):
            quarters = [span.length / 480 for span in bar]
            assert quarters == [count * 4 / unit / len(row)] * len(row), known.name


def test_openings_end_on_a_dominant() -> None:
    """The last chord has the leading tone, which music21 finds, or it is the backdoor chord a whole step below."""
    for known in OPENING:
        for key in keys_of(known.mode):
            last = spelled(known, key).last
            lead = leading_tone(key)
            backdoor = frozenset((lead + tone) % 12 for tone in (11, 3, 6, 9))
            assert lead in classes(last) or (known.mode == "major" and classes(last) == backdoor), known.name
            assert (lead + 1) % 12 not in classes(last), known.name


def test_endings_end_on_the_tonic() -> None:
    """The last chord has the tonic's root, and the third of the mode unless it is the Picardy third."""
    for known in ENDINGS:
        for key in keys_of(known.mode):
            last = spelled(known, key).last
            lead = leading_tone(key)
            assert last.root == key.tonic, known.name
            third = 4 if known.mode == "major" or known.name == "Picardy close" else 3
            assert {(lead + 1) % 12, (lead + 1 + third) % 12, (lead + 8) % 12} <= classes(last), known.name
            assert last.bass is None, known.name


# The tritone substitute


@pytest.mark.parametrize("tonic", MAJOR_KEYS)
def test_tritone_substitutes_exchange_third_and_seventh(tonic: str) -> None:
    """Watkins: the substitute lies a tritone away, and its third and seventh are the dominant's, exchanged."""
    chart = parse_chart("| I | V7 | I |", key=tonic)
    (found,) = [proposal for proposal in proposals(chart) if proposal.kind == "tritone substitute"]
    old, new = (chord.tones for chord in (found.chord, found.becomes[0]))
    assert [tone.degree.text for tone in old] == [tone.degree.text for tone in new] == ["1", "3", "5", "b7"]
    assert new[1].name.pitch_class == old[3].name.pitch_class
    assert new[3].name.pitch_class == old[1].name.pitch_class
    assert (new[0].name.pitch_class - old[0].name.pitch_class) % 12 == 6
    assert (new[0].name.pitch_class - read_key(tonic).tonic.pitch_class) % 12 == 1


def test_the_table_has_the_tritone_substitute() -> None:
    """In the tritone close and the half-step turnaround the substitutes of both dominants stand in their places."""
    close = [span.chord.symbol for span in spelled(sequence("tritone close"), read_key("C")).spans]
    assert close == ["Dm7", "Db7", "Cmaj7"]
    plain = spelled(sequence("turnaround from three"), read_key("C"))
    slid = spelled(sequence("half-step turnaround"), read_key("C"))
    for place in (1, 3):
        old, new = plain.spans[place].chord.tones, slid.spans[place].chord.tones
        assert (old[0].name.pitch_class - new[0].name.pitch_class) % 12 == 6
        assert new[3].name.pitch_class == old[1].name.pitch_class


@pytest.mark.parametrize("tonic", MAJOR_KEYS)
def test_proposed_backdoor_shares_two_tones(tonic: str) -> None:
    """Wikipedia: bVII7 shares two tones with V7, and its seventh and third lead to the tonic chord."""
    chart = parse_chart("| I | V7 | I |", key=tonic)
    (found,) = [proposal for proposal in proposals(chart) if proposal.kind == "backdoor"]
    assert len(classes(found.chord) & classes(found.becomes[0])) == 2
    above = {(tone - read_key(tonic).tonic.pitch_class) % 12 for tone in classes(found.becomes[0])}
    assert above == {10, 2, 5, 8}


# Seventh chords of a key


def triads(tonic: str, figures: tuple[str, ...], mode: str) -> Progression:
    """The diatonic triads of a key as a chart, on the names that music21 gives them."""
    signs = {(4, 7): "", (3, 7): "m", (3, 6): "dim"}
    symbols = []
    for figure in figures:
        chord = roman.RomanNumeral(re.sub("ø?7", "", figure), ruler(tonic, mode))
        root, *rest = [int(pitch.midi) for pitch in chord.pitches]
        shape = signs[(rest[0] - root, rest[1] - root)] if "ø" not in figure else "dim"
        symbols.append(f"{chord.root().name.replace('-', 'b')}{shape}")
    return parse_chart(f"| {' | '.join(symbols)} |", key=f"{tonic} {mode}")


@pytest.mark.parametrize("tonic", MAJOR_KEYS)
def test_sevenths_of_major_keys(tonic: str) -> None:
    """Open Music Theory's table in every major key, its tones spelled as music21 spells them."""
    check_sevenths(tonic, "major", SEVENTHS_MAJOR, MUSIC21_MAJOR)


@pytest.mark.parametrize("tonic", MINOR_KEYS)
def test_sevenths_of_minor_keys(tonic: str) -> None:
    """The same in every minor key, on the degrees of the natural minor scale."""
    check_sevenths(tonic, "minor", SEVENTHS_MINOR, MUSIC21_MINOR)


def check_sevenths(tonic: str, mode: str, expected: tuple[str, ...], figures: tuple[str, ...]) -> None:
    found = with_sevenths(triads(tonic, figures, mode)).spans
    scale = read_key(f"{tonic} {mode}").scale
    assert [span.chord.symbol for span in found] == [
        f"{name}{text.split()[1]}" for name, text in zip(scale, expected, strict=True)
    ]
    for span, figure in zip(found, figures, strict=True):
        assert names(span.chord) == music21_names(figure, tonic, mode)


@pytest.mark.parametrize("tonic", MINOR_KEYS)
def test_dominants_of_minor_keys(tonic: str) -> None:
    """With the raised seventh V becomes a dominant seventh and vii a diminished seventh, as in music21."""
    chart = with_sevenths(parse_chart("| i | V | vii° | i |", key=f"{tonic} minor"))
    assert names(chart.spans[1].chord) == music21_names("V7", tonic, "minor")
    assert classes(chart.spans[2].chord) == music21_classes("viio7", tonic, "minor")


@pytest.mark.parametrize("tonic", MAJOR_KEYS)
@pytest.mark.parametrize("target", ["ii", "iii", "V", "vi"])
def test_secondary_dominants(tonic: str, target: str) -> None:
    """A major triad a fifth above a degree becomes that degree's dominant seventh, as in music21."""
    chart = with_sevenths(parse_chart(f"| V/{target} | {target} |", key=tonic))
    assert classes(chart.spans[0].chord) == music21_classes(f"V7/{target}", tonic, "major")


@pytest.mark.parametrize("tonic", MAJOR_KEYS)
@pytest.mark.parametrize("target", ["ii", "iii", "IV", "V", "vi"])
def test_proposed_secondary_dominants(tonic: str, target: str) -> None:
    """Before a degree its dominant seventh is proposed, with the tones that music21 gives it."""
    chart = parse_chart(f"| I6 | {target} |", key=tonic)
    found = [proposal for proposal in proposals(chart) if proposal.kind == "secondary dominant"]
    assert found
    expected = music21_classes(f"V7/{target}", tonic, "major")
    assert {classes(proposal.becomes[-1]) for proposal in found} == {expected}
