"""Stock sequences: what the table holds, its chords in every key and metre, the way to a chord, and what is proposed."""

from __future__ import annotations

import json
from itertools import pairwise

import pytest

from fillgen import Key, OptionError, Progression, chart_text, parse_chart
from fillgen.chart.enrich import Proposal, proposals, with_sevenths
from fillgen.chart.sequences import PURPOSES, Sequence, find, sequence, sequences, spelled, to_chord
from fillgen.theory.chords import read_chord
from fillgen.theory.keys import read_key
from fillgen.theory.metre import METRES
from fillgen.theory.pitch import Name, all_keys, key_on
from fillgen.writers.sequences import LEADS, proposals_text, sequences_document, sequences_text
from tests.effort import one_in

EVERY = sequences()
OPENING = [known for known in EVERY if known.purpose in ("intro", "turnaround")]
ENDINGS = [known for known in EVERY if known.purpose == "ending"]
VAMPS = [known for known in EVERY if known.purpose == "vamp"]
GOALS = ("C", "Am", "Fm7", "Bb", "F#m", "Dm7", "G7", "Bm7b5", "Ebmaj7", "C#dim7", "Abm", "D#7", "E6/9")
SOURCES = (
    "common practice",
    "from memory",
    "Wikipedia, ",
    "Shaffer, Hughes and Moseley",
    "Watkins, BYU-Idaho",
)


def keys_of(mode: str) -> list[Key]:
    """The fifteen keys of a mode."""
    return [key for key in all_keys() if key.mode == mode]


def bars(chart: Progression) -> list[str]:
    """The symbols of each bar."""
    return [" ".join(span.chord.symbol for span in bar) for bar in chart.bars]


def line(chart: Progression) -> str:
    """The bars of a chart without its head lines."""
    return chart_text(chart).splitlines()[-1]


def classes(chart: Progression) -> list[list[int]]:
    """The pitch classes of each chord, from its root up."""
    return [[tone.name.pitch_class for tone in span.chord.tones] for span in chart.spans]


def minor(group: list[Sequence]) -> int:
    """How many of some sequences are in minor."""
    return sum(known.mode == "minor" for known in group)


def only(found: tuple[Proposal, ...], kind: str) -> list[str]:
    """The charts that one kind of proposal leads to."""
    return [line(proposal.progression) for proposal in found if proposal.kind == kind]


# The table


def test_there_are_enough() -> None:
    """Every purpose has enough sequences, in minor as well, and lengths and metres to choose from."""
    assert len(OPENING) >= 14
    assert len(ENDINGS) >= 14
    assert len(VAMPS) >= 7
    assert minor(OPENING) >= 4
    assert minor(ENDINGS) >= 4
    assert minor(VAMPS) >= 2
    for group in (OPENING, ENDINGS):
        assert {known.bars for known in group} == {1, 2, 4, 8}
        assert {"4/4", "3/4", "6/8"} <= {known.metre.name for known in group}


def test_names_and_chords_stand_once() -> None:
    """No two sequences have the same name, or the same chords for the same purpose."""
    assert len({known.name.lower() for known in EVERY}) == len(EVERY)
    assert len({(k.purpose, k.mode, k.metre.name, k.chords) for k in EVERY}) == len(EVERY)


def test_every_sequence_has_its_words() -> None:
    """A sequence has a purpose, a length, a sentence for the player, and a source."""
    for known in EVERY:
        assert known.purpose in PURPOSES, known.name
        assert known.bars in (1, 2, 4, 8), known.name
        assert known.says[0].isupper(), known.name
        assert known.says.endswith("."), known.name
        assert any(name in known.source for name in SOURCES), known.name


def test_where_a_sequence_leads() -> None:
    """Intros and turnarounds lead to the tonic, an ending closes on its goal, a vamp begins on it."""
    for known in EVERY:
        key = keys_of(known.mode)[0]
        chart = spelled(known, key)
        goal = known.goal(key)
        assert goal.root == key.tonic, known.name
        if known in OPENING:
            assert known.leads_to == ("I" if known.mode == "major" else "i"), known.name
            assert chart.last.root != key.tonic, known.name
        else:
            assert goal == (chart.last if known in ENDINGS else chart.spans[0].chord), known.name


# Keys


@pytest.mark.parametrize("turn", one_in(3, range(3)))
def test_every_sequence_in_every_key(turn: int) -> None:
    """In each key of its mode the chart is titled, keeps its metre, and reads back from its text."""
    for number, known in enumerate(EVERY):
        for key in keys_of(known.mode)[(number + turn) % 3 :: 3]:
            chart = spelled(known, key)
            assert (chart.title, chart.key, chart.metre) == (known.name, key, known.metre), known.name
            assert len(chart.bars) == known.bars, known.name
            written = chart_text(chart)
            assert parse_chart(written) == chart, known.name
            assert parse_chart(written, key=key, metre=known.metre) == chart, known.name


def test_roots_have_one_sign_at_most() -> None:
    """No root needs a double flat or a double sharp, whatever the key."""
    for known in EVERY:
        for key in keys_of(known.mode):
            assert all(
                abs(span.chord.root.alter) <= 1 for span in spelled(known, key).spans if span.chord.root
            ), known.name


def test_keys_differ_by_nothing_but_pitch() -> None:
    """In any key the chords are those of C, all moved by the same interval."""
    for known in EVERY:
        home = classes(spelled(known, key_on(Name.read("C"), known.mode)))
        for key in keys_of(known.mode):
            up = key.tonic.pitch_class
            assert classes(spelled(known, key)) == [[(tone + up) % 12 for tone in chord] for chord in home], (
                known.name
            )


def test_the_other_mode_is_refused() -> None:
    """A sequence in major has no place in a minor key nor the reverse; the message names those that have."""
    for known in EVERY:
        other = "minor" if known.mode == "major" else "major"
        with pytest.raises(OptionError) as caught:
            spelled(known, keys_of(other)[0])
        said = str(caught.value)
        assert known.name in said, known.name
        assert f"Sequences in {other}: " in said, known.name
        for fitting in find(known.purpose, other):
            assert fitting.name in said, known.name


@pytest.mark.parametrize(
    ("name", "key", "expected"),
    [
        ("circle turnaround", "Eb", "| Eb Cm | Fm Bb |"),
        ("chromatic turnaround", "F", "| F Ab | Db Gb7 |"),
        ("chromatic turnaround", "Gb", "| Gb A | D G7 |"),
        ("half-step turnaround", "A", "| C#m7 C7 | Bm7 Bb7 |"),
        ("backdoor close", "G", "| Cm7 F7 | Gmaj7 |"),
        ("Neapolitan close", "Db", "| Db | D | Ab7 | Db |"),
        ("minor Neapolitan close", "Eb minor", "| Ebm | Fb | Bb7 | Ebm |"),
        ("Picardy close", "A minor", "| Dm | E7 | A | A |"),
        ("diminished minor turnaround", "F# minor", "| F#m | Bm | G#m7b5 | E#dim7 |"),
        ("double plagal close", "Cb", "| A Fb | Cb |"),
    ],
)
def test_spelled_in_a_key(name: str, key: str, expected: str) -> None:
    """The chords have the names that players write, plain ones where a root would need two signs."""
    assert line(spelled(sequence(name), read_key(key))) == expected.replace("A Fb", "Bbb Fb").replace(
        "Bbb", "A"
    )


def test_chords_are_the_keys_own() -> None:
    """Diatonic chords are written on the names of the key's scale."""
    for key in keys_of("major"):
        chart = spelled(sequence("circle intro"), key)
        assert [span.chord.root for span in chart.spans] == [key.scale[step] for step in (0, 5, 1, 4)]


@pytest.mark.parametrize(
    ("tonic", "mode", "key"),
    [
        ("C", "major", "C major"),
        ("Cb", "major", "Cb major"),
        ("B", "major", "B major"),
        ("G#", "major", "Ab major"),
        ("Db", "minor", "C# minor"),
        ("Gb", "minor", "F# minor"),
        ("A#", "minor", "A# minor"),
        ("Fb", "major", "E major"),
        ("E#", "minor", "F minor"),
    ],
)
def test_key_on_a_tonic(tonic: str, mode: str, key: str) -> None:
    """A tonic that none of the thirty keys has is written as the same sound under another name."""
    assert str(key_on(Name.read(tonic), mode)) == key


# Finding


def test_found_by_name() -> None:
    """A sequence is found by its name, whatever its capitals and hyphens."""
    for known in EVERY:
        assert sequence(known.name) is known, known.name
        assert sequence(known.name.upper().replace("-", " ")) is known, known.name


def test_unknown_name() -> None:
    """A wrong name is refused with the nearest one."""
    with pytest.raises(OptionError, match="Did you mean 'circle turnaround'"):
        sequence("circle turnarond")
    with pytest.raises(OptionError, match="list of sequences"):
        sequence("qqqq")


def test_find_asks_for_each_trait() -> None:
    """What is found has every trait asked for, and nothing that has them is left out."""
    for purpose in (None, *PURPOSES):
        for mode in (None, "major", "minor"):
            for count in (None, 1, 2, 4, 8):
                found = find(purpose, mode, count)
                expected = [
                    known
                    for known in EVERY
                    if (purpose is None or known.purpose == purpose)
                    and (mode is None or known.mode == mode)
                    and (count is None or known.bars == count)
                ]
                assert list(found) == expected
    assert find(bars=3) == ()


def test_find_refuses_unknown_words() -> None:
    """A purpose or a mode that does not exist is refused with the nearest that does."""
    with pytest.raises(OptionError, match="Did you mean 'ending'"):
        find("endng")
    with pytest.raises(OptionError, match="Did you mean 'minor'"):
        find(mode="minr")


# Metres


@pytest.mark.costly
@pytest.mark.parametrize("name", METRES)
def test_find_in_a_metre_finds_what_can_be_played(name: str) -> None:
    """In a metre those are found that can be spelled in it, first those that are written for it."""
    metre = METRES[name]
    found = find(metre=metre)
    own = [known.metre == metre for known in found]
    assert own == sorted(own, reverse=True)
    for known in EVERY:
        key = keys_of(known.mode)[0]
        if known not in found:
            with pytest.raises(OptionError, match="evenly"):
                spelled(known, key, metre)
            continue
        chart = spelled(known, key, metre)
        assert chart.metre == metre
        assert bars(chart) == bars(spelled(known, key))
        assert all(sum(span.length for span in bar) == metre.bar for bar in chart.bars)
        assert all(a.end == b.onset for a, b in pairwise(chart.spans))
        assert all(len({span.length for span in bar}) == 1 for bar in chart.bars)
        assert parse_chart(chart_text(chart)) == chart


@pytest.mark.parametrize("name", METRES)
def test_a_chord_a_bar_fits_any_metre(name: str) -> None:
    """Where each bar has one chord, the sequence can be played in every metre."""
    alone = [known for known in EVERY if all(len(bar.split()) == 1 for bar in bars_written(known))]
    assert len(alone) > 20
    assert set(alone) <= set(find(metre=METRES[name]))


def bars_written(known: Sequence) -> list[str]:
    """The bars of a sequence as they stand in the table."""
    return [bar.strip() for bar in known.chords.strip("| ").split("|")]


@pytest.mark.parametrize(
    ("name", "metre", "lengths"),
    [
        ("circle turnaround", "12/8", [1440] * 4),
        ("circle turnaround", "2/4", [480] * 4),
        ("circle turnaround", "6/8", [720] * 4),
        ("plain close", "5/4", [2400] * 4),
        ("six-eight intro", "4/4", [1920, 1920, 960, 960, 960, 960]),
        ("waltz close", "4/4", [1920] * 4),
    ],
)
def test_lengths_in_another_metre(name: str, metre: str, lengths: list[int]) -> None:
    """The chords of a bar share the beats of the metre evenly; lengths are in ticks."""
    chart = spelled(sequence(name), read_key("C"), METRES[metre])
    assert [span.length for span in chart.spans] == lengths


def test_uneven_bars_keep_their_beats() -> None:
    """A chord that is held three beats of four is held three beats of four in 12/8, and cannot be held so in 3/4."""
    held = Sequence("held", "intro", "major", METRES["4/4"], "| I / / V7 |", "I", "Held.", "common practice")
    assert [span.length for span in spelled(held, read_key("C"), METRES["12/8"]).spans] == [2160, 720]
    with pytest.raises(OptionError) as caught:
        spelled(held, read_key("C"), METRES["3/4"])
    assert str(caught.value).startswith(
        "bar 1: the chords of 'held' don't divide the 3 beats of a 3/4 bar evenly"
    )
    assert "waltz intro" in str(caught.value)
    with pytest.raises(OptionError, match="evenly"):
        spelled(held, read_key("C"), METRES["2/4"])


def test_refusals_name_what_fits_in_every_respect() -> None:
    """The sequences that a refusal names have the mode of the key and can be played in the metre."""
    circle, waltz = sequence("circle turnaround"), METRES["3/4"]
    for key, mode in (("C", "major"), ("C minor", "minor")):
        with pytest.raises(OptionError) as caught:
            spelled(circle, read_key(key), waltz)
        hint = caught.value.hint
        assert hint.endswith(f": {', '.join(k.name for k in find('turnaround', mode, metre=waltz))}.")


# Up to a chord


@pytest.mark.parametrize(
    ("name", "goal", "expected"),
    [
        ("circle turnaround", "A", "| A F#m | Bm E |"),
        ("circle turnaround", "Bb", "| Bb Gm | Cm F |"),
        ("circle turnaround", "Dm7", "| C Am | Dm A7 |"),
        ("circle turnaround", "Fm7", "| Eb Cm | Fm C7 |"),
        ("circle turnaround", "Am", "| C Am | Dm E7 |"),
        ("circle turnaround", "F#m", "| A F#m | Bm C#7 |"),
        ("circle turnaround", "G7", "| C Am | Dm D7 |"),
        ("circle turnaround", "Bm7b5", "| C Am | Dm F#7 |"),
        ("circle turnaround", "Gsus4", "| G Em | Am D |"),
        ("minor circle turnaround", "Am", "| Am F | Bm7b5 E7 |"),
        ("minor circle turnaround", "Fm7", "| Fm Db | Gm7b5 C7 |"),
        ("minor circle turnaround", "F#m", "| F#m D | G#m7b5 C#7 |"),
        ("minor circle turnaround", "Dm7", "| Dm Bb | Em7b5 A7 |"),
        ("minor circle turnaround", "Bb", "| Gm Eb | Am7b5 F7 |"),
        ("minor circle turnaround", "Dm7b5", "| Cm Ab | Dm7b5 A7 |"),
        ("half-step turnaround", "C", "| Em7 Eb7 | Dm7 Db7 |"),
        ("half-step turnaround", "Dm7", "| Em7 Eb7 | Dm7 A7 |"),
        ("suspended intro", "Dm7", "| A7sus4 | A7 |"),
        ("one-bar dominant", "Fm7", "| C7 |"),
        ("tag", "Bb", "| Dm7 G7 | Cm7 F7 | Bb6 | Bb |"),
        ("tag", "C7", "| Em7 A7 | Dm7 G7 | C6 | C7 |"),
        ("minor amen", "Am", "| Dm | Am |"),
        ("minor two-five close", "Fm7", "| Gm7b5 C7 | Fm7 |"),
        ("Picardy close", "Bb", "| Ebm | F7 | Bb | Bb |"),
        ("plagal close", "G#", "| Db | Ab |"),
        ("plagal vamp", "Bb", "| Bb | Eb |"),
        ("Dorian vamp", "F#m", "| F#m7 | B7 |"),
    ],
)
def test_up_to_a_chord(name: str, goal: str, expected: str) -> None:
    """A sequence is played in the key in which it leads to a chord, its last chord changed where it must be."""
    assert line(to_chord(sequence(name), read_chord(goal))) == expected


def test_every_opening_leads_to_every_chord() -> None:
    """The last chord is the sequence's own where the goal is the tonic, else the goal's dominant seventh."""
    for known in OPENING:
        for goal in map(read_chord, GOALS):
            assert goal.root is not None, known.name
            chart = to_chord(known, goal)
            own = spelled(known, chart.key)
            if goal.root.pitch_class == chart.key.tonic.pitch_class:
                assert chart == own, known.name
                continue
            assert chart.last.root is not None, known.name
            assert chart.last.root.pitch_class == (goal.root.pitch_class + 7) % 12, known.name
            assert chart.last.kind is not None, known.name
            assert chart.last.kind.name == "dominant seventh", known.name
            differ = [n for n, (a, b) in enumerate(zip(own.spans, chart.spans, strict=True)) if a != b]
            assert differ == list(range(differ[0], len(own.spans))), known.name
            assert {own.spans[n].chord.root for n in differ} == {own.last.root}, known.name


def test_endings_and_vamps_take_a_chord_for_their_tonic() -> None:
    """An ending closes on the chord and a vamp begins on its root; where the third is another they are refused."""
    for known in [*ENDINGS, *VAMPS]:
        home = known.goal(key_on(Name.read("C"), known.mode))
        third = {tone.degree.text for tone in home.tones} & {"3", "b3"}
        for goal in map(read_chord, GOALS):
            degrees = {tone.degree.text for tone in goal.tones}
            if not degrees & third or "b5" in degrees:
                with pytest.raises(OptionError, match="can't be"):
                    to_chord(known, goal)
                continue
            chart = to_chord(known, goal)
            own = spelled(known, chart.key)
            assert goal.root is not None, known.name
            assert (chart.key.tonic.pitch_class, chart.key.mode) == (goal.root.pitch_class, known.mode), (
                known.name
            )
            assert chart.spans[:-1] == own.spans[:-1], known.name
            assert chart.last.mask == (goal.mask if known in ENDINGS else own.last.mask), known.name


@pytest.mark.parametrize(
    ("name", "goal", "key", "expected"),
    [
        ("circle turnaround", "D7", "D", "| D Bm | Em A |"),
        ("blues turnaround", "C7", "C", "| G7 | F7 | C7 | G7 |"),
        ("circle turnaround", "Dm", "C", "| C Am | Dm A7 |"),
        ("circle turnaround", "Dm7", "F", "| F Dm | Gm A7 |"),
        ("circle turnaround", "F", "C", "| C Am | Dm C7 |"),
        ("circle turnaround", "Gm", "G", "| G Em | Am D7 |"),
        ("minor circle turnaround", "Eb", "C minor", "| Cm Ab | Dm7b5 Bb7 |"),
        ("minor circle turnaround", "Cm7", "C minor", "| Cm Ab | Dm7b5 G7 |"),
        ("plain close", "F", "C", "| F | Bb | C | F |"),
    ],
)
def test_up_to_a_chord_in_the_key_of_a_tune(name: str, goal: str, key: str, expected: str) -> None:
    """With the tune's key an opening stays in that key and ends on the dominant of the goal."""
    assert line(to_chord(sequence(name), read_chord(goal), read_key(key))) == expected


def test_up_to_a_chord_in_another_metre() -> None:
    """The metre can be asked for as well."""
    chart = to_chord(sequence("circle intro"), read_chord("F"), metre=METRES["3/4"])
    assert (chart.metre.name, bars(chart)) == ("3/4", ["Fmaj7", "Dm7", "Gm7", "C7"])
    assert to_chord(sequence("plain close"), read_chord("F"), metre=METRES["3/4"]).metre.name == "3/4"


def test_no_chord_is_no_goal() -> None:
    """Nothing leads to N.C."""
    with pytest.raises(OptionError, match="no sequence can lead to"):
        to_chord(sequence("circle intro"), read_chord("N.C."))


def test_a_goal_that_no_ending_closes_on() -> None:
    """A refusal names the endings that close on such a chord, or says what can be closed on."""
    with pytest.raises(OptionError) as caught:
        to_chord(sequence("tag"), read_chord("Am"))
    assert "the tonic of 'tag' can't be Am. Sequences that fit Am: minor two-five close" in str(caught.value)
    assert "Picardy" not in str(caught.value)
    with pytest.raises(OptionError, match="can be a tonic"):
        to_chord(sequence("tag"), read_chord("Bm7b5"))


def test_the_key_of_a_tune_must_have_the_mode() -> None:
    """A tune in minor takes no turnaround in major."""
    with pytest.raises(OptionError, match="Sequences in minor"):
        to_chord(sequence("circle turnaround"), read_chord("Eb"), read_key("C minor"))


# Sevenths


@pytest.mark.parametrize(
    ("key", "chart", "expected"),
    [
        ("C", "| C | Dm | Em | F | G | Am | Bdim |", "| Cmaj7 | Dm7 | Em7 | Fmaj7 | G7 | Am7 | Bm7b5 |"),
        (
            "C minor",
            "| Cm | Ddim | Eb | Fm | Gm | Ab | Bb |",
            "| Cm7 | Dm7b5 | Ebmaj7 | Fm7 | Gm7 | Abmaj7 | Bb7 |",
        ),
        ("C minor", "| Cm | G | Bdim | Cm |", "| Cm7 | G7 | Bdim7 | Cm7 |"),
        (
            "C",
            "| C | D | G | A | Dm | B | Em | E | Am |",
            "| Cmaj7 | D7 | G7 | A7 | Dm7 | B7 | Em7 | E7 | Am7 |",
        ),
        ("C", "| Ab | Bb | Eb | Db | C |", "| Abmaj7 | Bbmaj7 | Ebmaj7 | Dbmaj7 | Cmaj7 |"),
        ("C", "| F | Fm | C |", "| Fmaj7 | Fm7 | Cmaj7 |"),
        ("C", "| C | C#dim | Dm | F#dim | G |", "| Cmaj7 | C#dim7 | Dm7 | F#dim7 | G7 |"),
        ("C", "| C | Caug | F |", "| Cmaj7 | C7#5 | Fmaj7 |"),
        ("C minor", "| C | Fm | G | C | C |", "| C7 | Fm7 | G7 | Cmaj7 | Cmaj7 |"),
        ("C minor", "| Cm | C | N.C. |", "| Cm7 | Cmaj7 | N.C. |"),
        ("C minor", "| Cm | Db | G | Cm |", "| Cm7 | Dbmaj7 | G7 | Cm7 |"),
        ("C minor", "| Cm | F | Cm |", "| Cm7 | F7 | Cm7 |"),
        ("C", "| C/E | G/B | N.C. | Am/C |", "| Cmaj7/E | G7/B | N.C. | Am7/C |"),
        ("C", "| C6 | Gsus4 | G7 | C5 | Cadd9 |", "| C6 | Gsus4 | G7 | C5 | Cadd9 |"),
        ("Gb", "| Gb | Cb | Db | Gb |", "| Gbmaj7 | Cbmaj7 | Db7 | Gbmaj7 |"),
    ],
)
def test_sevenths(key: str, chart: str, expected: str) -> None:
    """Triads get the seventh that fits the key, chords outside it the one that suits them; others stay."""
    given = parse_chart(chart, key=key)
    found = with_sevenths(given)
    assert line(found) == expected
    assert (found.key, found.metre, found.title) == (given.key, given.metre, given.title)
    assert [(s.onset, s.length) for s in found.spans] == [(s.onset, s.length) for s in given.spans]
    assert with_sevenths(found) == found


@pytest.mark.parametrize("turn", one_in(3, range(3)))
def test_sevenths_keep_the_triads(turn: int) -> None:
    """With sevenths a sequence has the same roots, every tone it had, and no plain triad left."""
    for number, known in enumerate(EVERY):
        for key in keys_of(known.mode)[(number + turn) % 3 :: 3]:
            plain = spelled(known, key)
            rich = with_sevenths(plain)
            assert parse_chart(chart_text(rich)) == rich, known.name
            for before, after in zip(plain.spans, rich.spans, strict=True):
                assert before.chord.root == after.chord.root, known.name
                assert before.chord.mask & ~after.chord.mask == 0, known.name
                assert after.chord.kind is not None, known.name
                assert not after.chord.kind.name.endswith(" triad"), known.name


def test_sevenths_let_the_ear_go_on_over_no_chord() -> None:
    """Over N.C. the chord with its seventh goes on."""
    assert with_sevenths(parse_chart("| C | N.C. |", key="C")).last.symbol == "Cmaj7"


# Proposals

CHARTS = [
    parse_chart("| Eb | Gm7 | Fm7 | Bb7 |", key="Eb"),
    parse_chart("| C / / G7 | F / C / | Bb | N.C. G7 | C |", key="C"),
    parse_chart("| F#m | Bm | C#7 | F#m |", key="F# minor", metre="3/4"),
    parse_chart("| Gb Ebm | Abm7 Db7 | Gb6 |", key="Gb", metre="6/8"),
    parse_chart("| C7 | F7 | C7 | G13 | F9 | C7 |", key="C"),
    parse_chart("| Cb | Gb7 | Cb |", key="Cb", metre="5/4"),
    parse_chart("| C#maj7 | D#m7 | G#7alt | C#6 |", key="C#"),
    parse_chart("| Em7b5 | A7b9 | Dm11 | Dmadd9 |", key="D minor"),
    parse_chart("| Csus4 C5 | Caug | F/A | G11 | E7#9 Am |", key="C"),
]


@pytest.mark.parametrize("chart", CHARTS, ids=chart_text)
def test_every_proposal_is_one_change(chart: Progression) -> None:
    """Over any chart that proposals are made for, each is a single change."""
    assert proposals(chart)
    check_proposals(chart)


def test_every_proposal_for_a_sequence_is_one_change() -> None:
    """The same over every sequence, in keys near and far."""
    for known in EVERY:
        for tonic in ("C", "Gb"):
            check_proposals(spelled(known, key_on(Name.read(tonic), known.mode)))


def check_proposals(chart: Progression) -> None:
    """A proposal changes one chord and no other, keeps the lengths of all bars, says why, and reads back."""
    found = proposals(chart)
    assert len({proposal.progression for proposal in found}) == len(found)
    for proposal in found:
        new = proposal.progression
        assert (new.key, new.metre, new.title) == (chart.key, chart.metre, chart.title)
        assert parse_chart(chart_text(new), key=chart.key, metre=chart.metre) == new
        changed = [n for n, (a, b) in enumerate(zip(bars(chart), bars(new), strict=True), 1) if a != b]
        assert changed == [proposal.bar]
        place = next(n for n, (a, b) in enumerate(zip(chart.spans, new.spans, strict=False)) if a != b)
        span, count = chart.spans[place], len(proposal.becomes)
        put = new.spans[place : place + count]
        assert span.chord == proposal.chord
        assert tuple(part.chord for part in put) == proposal.becomes
        assert sum(part.length for part in put) == span.length
        assert all(part.length % chart.metre.beat == 0 for part in put)
        rest = [(s.chord, s.onset, s.length) for s in chart.spans[place + 1 :]]
        assert [(s.chord, s.onset, s.length) for s in new.spans[place + count :]] == rest
        assert proposal.reason.endswith(".")
        assert any(chord.symbol in proposal.reason for chord in proposal.becomes if chord != proposal.chord)
        assert all(chord.root is None or abs(chord.root.alter) <= 1 for chord in proposal.becomes)


def test_what_is_proposed_for_a_plain_chart() -> None:
    """Sevenths, secondary dominants, the tritone substitute and the backdoor chord, bar by bar."""
    found = proposals(CHARTS[0])
    assert [(p.kind, p.bar, p.chord.symbol, p.symbol) for p in found] == [
        ("seventh", 1, "Eb", "Ebmaj7"),
        ("secondary dominant", 1, "Eb", "Eb D7"),
        ("secondary dominant", 2, "Gm7", "C7"),
        ("secondary dominant", 2, "Gm7", "Gm7 C7"),
        ("secondary dominant", 3, "Fm7", "F7"),
        ("tritone substitute", 4, "Bb7", "Fb7"),
        ("backdoor", 4, "Bb7", "Db7"),
    ]
    assert line(found[1].progression) == "| Eb D7 | Gm7 | Fm7 | Bb7 |"


@pytest.mark.parametrize(
    ("chart", "key", "symbol", "reason"),
    [
        (
            "| Dm7 | G7 | C |",
            "C",
            "Db7",
            "Db7 has the same third and seventh as G7, F and B, and its root falls a half step to C.",
        ),
        (
            "| Dm7 | G7 | C |",
            "C",
            "Bb7",
            (
                "Bb7 shares D and F with G7; its seventh, Ab, falls a half step to G, "
                "and its root rises a whole step to C."
            ),
        ),
        (
            "| C | G7 | C |",
            "C",
            "Dm7 G7",
            (
                "Dm7 prepares G7: they share D and F, its root falls a fifth, "
                "and its seventh, C, falls a half step to B."
            ),
        ),
        (
            "| C | Am7 | Dm7 |",
            "C",
            "A7",
            (
                "A7 is the dominant of Dm7: its third, C#, rises a half step to D, and its seventh, G, "
                "falls a whole step to F. It keeps A, E and G of Am7."
            ),
        ),
        (
            "| C | F | C |",
            "C",
            "C7",
            (
                "C7 is the dominant of F: its third, E, rises a half step to F, and its seventh, Bb, "
                "falls a half step to A. It keeps C, E and G of C."
            ),
        ),
        ("| G | C |", "C", "G7", "G7 adds the seventh, F, to G; F falls a half step to E in C."),
        ("| C | Em |", "C", "Cmaj7", "Cmaj7 adds the seventh, B, to C; B stays in Em."),
        ("| C | E7#11 |", "C", "Cmaj7", "Cmaj7 adds the seventh, B, to C; B stays in E7#11."),
        ("| G7 | C |", "C", "Cmaj7", "Cmaj7 adds the seventh, B, to C; B belongs to C major."),
        (
            "| Cm | G7 | Cm |",
            "C minor",
            "Dm7b5 G7",
            (
                "Dm7b5 prepares G7: they share D and F, its root falls a fifth, "
                "and its seventh, C, falls a half step to B."
            ),
        ),
        (
            "| F | Bbm | Eb7 |",
            "Ab",
            "A7",
            "A7 has the same third and seventh as Eb7, Db and G, and its root falls a half step to Ab.",
        ),
    ],
)
def test_reasons(chart: str, key: str, symbol: str, reason: str) -> None:
    """A reason names the tones that stay and the tones that move."""
    found = [p.reason for p in proposals(parse_chart(chart, key=key)) if p.symbol == symbol]
    assert found == [reason]


@pytest.mark.parametrize(
    ("chart", "key", "kind", "expected"),
    [
        ("| C | Dm7 | G7 |", "C", "two before five", []),
        ("| C | G7 |", "C", "two before five", ["| C | Dm7 G7 |"]),
        ("| C | G |", "C", "two before five", ["| C | Dm7 G |"]),
        ("| C / / G7 | C |", "C", "two before five", []),
        ("| C | G7sus4 | G7 |", "C", "two before five", ["| C | Dm7 G7sus4 | G7 |"]),
        ("| A7 | Dm |", "C", "two before five", ["| Em7b5 A7 | Dm |"]),
        ("| D7 | G7 |", "C", "two before five", ["| Am7 D7 | G7 |"]),
        ("| F7 | C |", "C", "two before five", []),
        ("| C | G7 | Am |", "C", "tritone substitute", []),
        ("| C | G7sus4 | C |", "C", "tritone substitute", []),
        ("| C | Eb | Ab | Db7 |", "C", "tritone substitute", []),
        ("| C | F7 | C7 |", "C", "tritone substitute", []),
        ("| F | C7 |", "F", "tritone substitute", ["| F | Gb7 |"]),
        ("| C | D7 | G7 | C |", "C", "tritone substitute", ["| C | Ab7 | G7 | C |", "| C | D7 | Db7 | C |"]),
        ("| Cm | G7 | Cm |", "C minor", "backdoor", []),
        ("| C | G7 | Am |", "C", "backdoor", []),
        ("| C | G7 | C7 |", "C", "backdoor", ["| C | Bb7 | C7 |"]),
        ("| C | G7 | Cm |", "C", "backdoor", []),
        ("| C | D7 | G |", "C", "backdoor", []),
        ("| G7 | C |", "C", "secondary dominant", []),
        ("| C | Bb |", "C", "secondary dominant", []),
        ("| C | Bdim |", "C", "secondary dominant", []),
        ("| C | Db7 | Dm |", "C", "secondary dominant", ["| C | Db7 A7 | Dm |"]),
        ("| C | Eb7 | Dm |", "C", "secondary dominant", []),
        ("| C | C#dim7 | Dm |", "C", "secondary dominant", []),
        ("| C | Am | Am7 |", "C", "secondary dominant", ["| C E7 | Am | Am7 |"]),
        ("| C | N.C. | Am |", "C", "secondary dominant", []),
        ("| Em | Am |", "C", "secondary dominant", ["| E7 | Am |"]),
        ("| Em | Dm |", "C", "secondary dominant", ["| Em A7 | Dm |"]),
        ("| C | G7 | Am |", "C", "secondary dominant", ["| C D7 | G7 | Am |", "| C | G7 E7 | Am |"]),
        ("| Am | C |", "C", "secondary dominant", []),
        ("| C | G7 | N.C. | C |", "C", "backdoor", []),
        ("| C | A7 |", "C", "two before five", ["| C | Em7b5 A7 |"]),
        (
            "| C | Em | Dm |",
            "C",
            "secondary dominant",
            ["| C B7 | Em | Dm |", "| C | A7 | Dm |", "| C | Em A7 | Dm |"],
        ),
    ],
)
def test_what_is_proposed_where(chart: str, key: str, kind: str, expected: list[str]) -> None:
    """A change is proposed where it leads on, and nowhere else."""
    assert only(proposals(parse_chart(chart, key=key)), kind) == expected


@pytest.mark.parametrize(
    ("metre", "chart", "expected"),
    [
        ("3/4", "| C | G7 | C |", "| C | Dm7 / G7 | C |"),
        ("6/8", "| C | G7 | C |", "| C | Dm7 G7 | C |"),
        ("5/4", "| C | G7 | C |", "| C | Dm7 / / G7 / | C |"),
        ("4/4", "| C G7 | C |", "| C / Dm7 G7 | C |"),
        ("4/4", "| C G7 / / | C |", "| C Dm7 / G7 | C |"),
    ],
)
def test_room_is_shared_in_whole_beats(metre: str, chart: str, expected: str) -> None:
    """A chord that lasts two beats or more makes room for its ii, which has the longer half."""
    assert only(proposals(parse_chart(chart, key="C", metre=metre)), "two before five") == [expected]


def test_a_chord_that_sounds_no_more_is_left_alone() -> None:
    """Nothing is proposed for N.C., and what is heard over it changes with the chord before."""
    found = proposals(parse_chart("| G | N.C. |", key="C"))
    assert {proposal.bar for proposal in found} == {1}
    assert {proposal.progression.last.symbol for proposal in found} == {"G7", "G"}


# As text and JSON


def test_text_of_a_sequence() -> None:
    """The text holds the name, the purpose, the length, the numerals, the chords in the key, and what it does."""
    for known in EVERY:
        key = read_key("Ab")
        own = key_on(key.tonic, known.mode)
        said = sequences_text([known], key)
        assert all(len(row) <= 80 for row in said.splitlines()), known.name
        bars = f"{known.bars} bar" + "s" * (known.bars > 1)
        told = (
            f"{known.name}: {known.purpose} in {known.mode}, {bars} of {known.metre.name} numerals {known.chords} "
            f"{LEADS[known.purpose]} {known.leads_to} {own} {line(spelled(known, own))} "
            f"{LEADS[known.purpose]} {known.goal(own).symbol} {known.says}"
        )
        assert _in_a_row(said) == _in_a_row(told), known.name


def _in_a_row(text: str) -> list[str]:
    """The words of a text; a bar line at the end of a row and one at the beginning of the next are one."""
    return [word for word, after in pairwise([*text.split(), ""]) if (word, after) != ("|", "|")]


def test_text_of_many() -> None:
    """Sequences stand one below the other, in C where no key is given; an empty list is said to be empty."""
    said = sequences_text(EVERY)
    assert said.count("\n\n") == len(EVERY) - 1
    assert "  C major   | C Em | Dm7 G7 |  leads to C" in said
    assert "  C minor   | Fm | Cm |  closes on Cm" in said
    assert "  C minor   | Cm7 | F7 |  goes round to Cm7" in said
    assert sequences_text([]) == "No such sequence."


def test_document_of_many() -> None:
    """The document can be written as JSON and holds everything that is known of each sequence."""
    document = sequences_document(EVERY, read_key("E"))
    assert json.loads(json.dumps(document)) == document
    assert [row["name"] for row in document["sequences"]] == [known.name for known in EVERY]
    for row, known in zip(document["sequences"], EVERY, strict=True):
        key = read_key(row["key"])
        assert (row["purpose"], row["mode"], row["metre"]) == (known.purpose, known.mode, known.metre.name)
        assert (row["numerals"], row["says"], row["source"]) == (known.chords, known.says, known.source)
        assert row["leads_to"] == {"numeral": known.leads_to, "chord": known.goal(key).symbol}
        assert len(row["chords"]) == row["bars"] == known.bars
        assert parse_chart(row["chart"], key=key, metre=row["metre"]).bars == spelled(known, key).bars


def test_text_of_proposals() -> None:
    """Each proposal comes with its place, its change, its reason and the whole chart."""
    found = proposals(CHARTS[0])
    blocks = proposals_text(CHARTS[0]).split("\n\n")
    assert len(blocks) == len(found)
    for block, proposal in zip(blocks, found, strict=True):
        head, *reason, chart = block.splitlines()
        assert head == f"bar {proposal.bar}, {proposal.chord.symbol}: {proposal.symbol} ({proposal.kind})"
        assert " ".join(row.strip() for row in reason) == proposal.reason
        assert chart.strip() == line(proposal.progression)
    assert proposals_text(parse_chart("| C6 |", key="C")) == "Nothing to add to this chart."
