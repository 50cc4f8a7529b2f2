"""Rule packs: the built-in tables are sound, a player's own pack is laid over them, and a wrong one is refused."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path

import pytest

import fillgen
from fillgen import FillgenError, OptionError, OutputError, PackError, RulePack
from fillgen.rules.pack import BUSY, TERMS, Cell, Level, Rhythm, fitted_cells, read_cell
from fillgen.rules.tones import EMBELLISHMENTS
from fillgen.theory.metre import METRES, is_length
from tests.readings import LEVEL_SIX

PACK = RulePack()
RHYTHMS = [PACK.rhythm(name) for name in PACK.rhythm_names]
LEVELS = [PACK.level(number) for number in PACK.level_numbers]
LETTER_TICKS = {"w": 1920, "h": 960, "q": 480, "e": 240, "s": 120}
every_rhythm = pytest.mark.parametrize("rhythm", RHYTHMS, ids=lambda rhythm: rhythm.name)

GALLOP = """
[[rhythm]]
name = "gallop"
says = "A short figure that leans into the next beat."
tempo = 120
tempo-range = [100, 140]
source = "our own"

[rhythm.cells."4/4"]
few = ["q. e h"]
some = ["q e e q e e", "q. e q q"]
many = ["q e e q e e", "e e e e q q"]

[rhythm.closes."4/4"]
few = ["h h"]
some = ["q e e h"]
many = ["e e e e h"]
"""


def ticks(token: str) -> int:
    """The length of a token of a cell, reckoned from its letters."""
    letters = token.removeprefix("r").removesuffix("~")
    factor = {".": (3, 2), "t": (2, 3)}.get(letters[1:], (1, 1))
    return LETTER_TICKS[letters[0]] * factor[0] // factor[1]


def write(folder: Path, text: str | bytes) -> Path:
    """A pack file."""
    path = folder / "own.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def read(folder: Path, text: str | bytes) -> RulePack:
    """A pack read from a file of that text."""
    return RulePack.read(write(folder, text))


def setting(level: Level, kind: str, key: str) -> object:
    """What a level gives a rule, None where it does not use the rule."""
    return next((use.settings.get(key) for use in level.uses if use.rule.kind == kind), None)


def kinds(level: Level) -> set[str]:
    """The names of the rules of a level."""
    return {use.rule.kind for use in level.uses}


def playable(cells: Iterable[Cell], level: Level) -> list[Cell]:
    """The cells a level may play."""
    return [
        cell
        for cell in cells
        if (level.syncopation or not cell.syncopated or (level.light_syncopation and cell.light))
        and (level.triplets or not cell.triplets)
    ]


# The built-in tables


def test_there_are_twenty_eight_rhythms_and_five_levels() -> None:
    """There are twenty-eight built-in rhythms and five levels."""
    assert len(RHYTHMS) == len({rhythm.name for rhythm in RHYTHMS}) == 28
    assert [level.number for level in LEVELS] == [1, 2, 3, 4, 5]


@every_rhythm
def test_cells_fill_their_bar(rhythm: Rhythm) -> None:
    """Every cell of every rhythm lasts as long as the bar of its metre, and its notes follow one another."""
    for group in (rhythm.cells, rhythm.closes):
        for (metre, _), cells in group.items():
            for cell in cells:
                assert sum(map(ticks, cell.text.split())) == METRES[metre].bar
                ends = [0, *(onset + length for onset, length in cell.notes)]
                onsets = [*(onset for onset, _ in cell.notes), METRES[metre].bar]
                assert all(end <= onset for end, onset in zip(ends, onsets, strict=True))
                assert all(length > 0 for _, length in cell.notes)


@every_rhythm
def test_every_metre_has_cells_for_every_busyness(rhythm: Rhythm) -> None:
    """Each metre of a rhythm has cells and closes for few, some and many notes, which all levels can play."""
    wanted = {(metre, busy) for metre in rhythm.metres for busy in BUSY}
    assert set(rhythm.cells) == set(rhythm.closes) == wanted
    for where in wanted:
        for level in LEVELS[1:]:
            assert len(playable(rhythm.cells[where], level)) >= 4
            assert len(playable(rhythm.closes[where], level)) >= 2


@every_rhythm
def test_cells_differ(rhythm: Rhythm) -> None:
    """No cell stands twice in its group."""
    doubled = [
        (where, cell.text)
        for group in (rhythm.cells, rhythm.closes)
        for where, cells in group.items()
        for cell in cells
        if [other.notes for other in cells].count(cell.notes) > 1
    ]
    assert doubled == []


@every_rhythm
def test_busier_cells_have_more_notes(rhythm: Rhythm) -> None:
    """On the average few, some and many are a rising number of notes."""
    for metre in rhythm.metres:
        means = [
            sum(len(cell.notes) for cell in rhythm.cells[metre, busy]) / len(rhythm.cells[metre, busy])
            for busy in BUSY
        ]
        assert means == sorted(set(means))


@every_rhythm
def test_tempo_lies_in_its_range(rhythm: Rhythm) -> None:
    """The tempo of a rhythm lies within its own range, and it says what it is and who says so."""
    low, high = rhythm.tempo_range
    assert 20 <= low <= rhythm.tempo <= high <= 400
    assert rhythm.says.endswith(".")
    assert rhythm.source


@pytest.mark.parametrize("name", METRES)
def test_every_metre_has_a_rhythm(name: str) -> None:
    """The rhythm that is taken for a metre is played in it."""
    assert name in PACK.rhythm(PACK.rhythm_for(METRES[name])).metres


def test_ranges_of_levels_grow() -> None:
    """From level 2 on a higher level has no narrower range than the one before."""
    widths = [level.high - level.low for level in LEVELS[1:]]
    assert widths == sorted(widths)


@pytest.mark.parametrize(("kind", "key"), [("non-chord-note", "allow"), ("strong-beat", "allow")])
def test_kinds_of_notes_grow(kind: str, key: str) -> None:
    """A higher level allows every kind of note that the one before allows."""
    allowed = [set(setting(level, kind, key) or ()) for level in LEVELS[1:]]
    assert all(lower <= higher for lower, higher in pairwise(allowed))
    assert allowed[0] < allowed[-1]


def test_leaps_and_freedoms_grow() -> None:
    """A higher level allows no smaller leaps, and keeps the rhythmic freedoms of the one before."""
    leaps = [setting(level, "leap-limit", "semitones") for level in LEVELS]
    assert leaps == sorted(leaps)
    freedoms = [(level.syncopation, level.pushes, level.triplets) for level in LEVELS]
    assert freedoms == sorted(freedoms)
    assert [level.one_a_chord for level in LEVELS] == [True, False, False, False, False]


def test_highest_level_allows_every_kind() -> None:
    """The highest level allows every kind of note there is."""
    assert set(setting(LEVELS[-1], "non-chord-note", "allow") or ()) == set(EMBELLISHMENTS)


def test_hard_rules_hold_on_every_level() -> None:
    """Chord notes on strong beats, held notes, the leap limit and the last note are asked on every level."""
    hard = {"strong-beat", "held-note", "leap-limit", "final-note", "lead-in"}
    assert [hard - kinds(level) for level in LEVELS] == [set()] * 5


def test_shapes_forms_and_weights() -> None:
    """The built-in shapes run from 0 to 1, there is a form for one to four bars, and every term is weighed."""
    for shape in PACK.shapes.values():
        assert (shape.points[0][0], shape.points[-1][0]) == (0, 1)
    assert {1, 2, 3, 4} <= set(PACK.forms)
    assert tuple(PACK.weights) == TERMS
    assert all(weight > 0 for weight in PACK.weights.values())


def test_builtin_pack_checks_itself() -> None:
    """The built-in tables pass the check that a player's own pack must pass."""
    PACK.check()
    assert PACK.digest == "built-in"


@pytest.mark.parametrize("name", ["bossa nova", "Bossa Nova", "BOSSA-NOVA", "bossa_nova", " bossa  nova "])
def test_names_of_rhythms_may_be_written_in_many_ways(name: str) -> None:
    """Capitals, hyphens and blanks do not matter in the name of a rhythm."""
    assert PACK.rhythm(name).name == "bossa nova"


@pytest.mark.parametrize(
    ("name", "near"), [("foxtrott", "'foxtrot'"), ("waltzz", "'waltz'"), ("xyz", "swing")]
)
def test_unknown_rhythm(name: str, near: str) -> None:
    """An unknown rhythm is refused and the nearest, or all, are named."""
    with pytest.raises(OptionError) as caught:
        PACK.rhythm(name)
    assert repr(name) in str(caught.value)
    assert near in str(caught.value)


def test_unknown_level() -> None:
    """An unknown level is refused and the levels are named."""
    with pytest.raises(OptionError, match="1, 2, 3, 4, 5"):
        PACK.level(6)


@pytest.mark.parametrize(
    ("text", "metre", "syncopated"),
    [
        ("q q q q", "4/4", False),
        ("h h", "4/4", False),
        ("w", "4/4", False),
        ("q. e h", "4/4", False),
        ("e q e q q", "4/4", True),
        ("q h q", "4/4", True),
        ("q. e~ h", "4/4", True),
        ("q e q.", "6/8", False),
        ("e q q.", "6/8", False),
        ("q e~ q.", "6/8", True),
        ("h.", "3/4", False),
        ("e q e q", "3/4", True),
    ],
)
def test_which_cells_are_syncopated(text: str, metre: str, syncopated: bool) -> None:
    """A cell is syncopated when it holds a note over a heavier place of the bar than the note's own."""
    cell = read_cell(text, METRES[metre])
    assert (cell.syncopated, cell.triplets) == (syncopated, False)


def test_triplets_are_no_syncopation(tmp_path: Path) -> None:
    """A level with triplets and without syncopation plays triplets."""
    pack = read(tmp_path, "[[level]]\nnumber = 3\nlike = 3\ntriplets = true\n")
    found = fillgen.ideas("| Bb | Dm7 | Ebmaj7 | F7 |", rhythm="swing", rules=pack, count=200)
    assert any(note.length == 160 for idea in found for note in idea.phrase)
    assert any(cell.triplets for cell in playable(PACK.rhythm("swing").cells["4/4", "some"], pack.level(3)))


# A pack of the player's own


def test_empty_pack_changes_nothing(tmp_path: Path) -> None:
    """A pack that says nothing leaves everything as it is."""
    pack = read(tmp_path, "")
    assert pack.shapes == PACK.shapes
    assert pack.weights == PACK.weights
    assert [pack.level(number) for number in pack.level_numbers] == LEVELS


def test_own_rhythm(tmp_path: Path) -> None:
    """A pack can add a rhythm, which then is played by its own cells only, at its own tempo."""
    pack = read(tmp_path, GALLOP)
    assert pack.rhythm_names == (*PACK.rhythm_names, "gallop")
    found = fillgen.ideas("| A | G | D | E7 |", rhythm="Gallop", rules=pack, level=2, count=5)
    assert (found.rhythm, found.tempo, found.swing) == ("gallop", 120, False)
    own = {cell.notes for group in ("cells", "closes") for cell in _cells_of(pack, group)}
    for idea in found:
        for number in range(4):
            bar = [(n.onset - 1920 * number, n.length) for n in idea.phrase if n.onset // 1920 == number]
            assert tuple(bar) in own


def _cells_of(pack: RulePack, group: str) -> tuple[Cell, ...]:
    return getattr(pack.rhythm("gallop"), group)["4/4", "some"]


def test_own_rhythm_takes_the_place_of_a_builtin_one(tmp_path: Path) -> None:
    """A rhythm with the name of a built-in one replaces it."""
    pack = read(tmp_path, GALLOP.replace('"gallop"', '"swing"'))
    assert pack.rhythm("swing").tempo == 120
    assert pack.rhythm_names == PACK.rhythm_names


def test_own_level_like_another(tmp_path: Path) -> None:
    """A level can be like a built-in one, with rules replaced, left out, and a range of its own."""
    pack = read(tmp_path, LEVEL_SIX)
    level, base = pack.level(6), PACK.level(3)
    assert pack.level_numbers == (1, 2, 3, 4, 5, 6)
    assert (level.number, level.name, level.low, level.high) == (6, "narrow", 65, 77)
    assert kinds(level) == kinds(base) - {"repeat-limit"}
    assert setting(level, "leap-limit", "semitones") == 4
    assert setting(level, "leap-turns-back", "over") == setting(base, "leap-turns-back", "over")
    for idea in fillgen.ideas("| C | G7 |", rules=pack, level=6, count=10):
        pitches = [note.midi for note in idea.phrase]
        assert all(65 <= pitch <= 77 for pitch in pitches)
        assert all(abs(b - a) <= 4 for a, b in pairwise(pitches))


def test_own_level_changes_a_builtin_one(tmp_path: Path) -> None:
    """A level with the number of a built-in one replaces it, and takes over what it does not say."""
    pack = read(tmp_path, '[[level]]\nnumber = 4\nlike = 4\npushes = false\nhigh = "G5"\n')
    level, base = pack.level(4), PACK.level(4)
    assert (level.pushes, level.high, level.low) == (False, 79, base.low)
    assert level.uses == base.uses
    assert level.syncopation == base.syncopation


def test_own_weights(tmp_path: Path) -> None:
    """A pack can weigh the terms of the score anew; a weight of 0 leaves a term out, others stay."""
    pack = read(tmp_path, "[weights]\nshape = 5\necho = 0\n")
    assert (pack.weights["shape"], pack.weights["echo"]) == (5.0, 0.0)
    assert pack.weights["steps"] == PACK.weights["steps"]
    found = fillgen.ideas("| C | G7 |", rules=pack, count=3)
    assert all("echo" not in idea.terms for idea in found)
    terms = [name for name in TERMS if name not in ("echo", "ease")]
    whole = sum(pack.weights[name] for name in terms)
    for idea in found:
        mean = sum(pack.weights[name] * idea.terms[name] for name in terms) / whole
        assert idea.score == pytest.approx(mean, abs=1e-3)


def test_own_shape(tmp_path: Path) -> None:
    """A pack can add a shape, which then can be asked for by name."""
    pack = read(tmp_path, '[[shape]]\nname = "dip"\npoints = [[0, 1], [0.5, 0], [1, 1]]\n')
    assert tuple(pack.shapes) == (*PACK.shapes, "dip")
    assert pack.shapes["dip"].points == ((0.0, 1.0), (0.5, 0.0), (1.0, 1.0))
    assert len(fillgen.ideas("| C | G7 |", rules=pack, shape="dip", count=3)) == 3


def test_own_forms(tmp_path: Path) -> None:
    """A pack's forms take the place of the built-in ones of their length; other lengths stay."""
    pack = read(tmp_path, '[[form]]\nbars = 4\nletters = ["a", "a", "a", "z"]\n')
    assert [form.letters for form in pack.forms[4]] == [("a", "a", "a", "z")]
    assert {1, 2, 3} <= set(pack.forms)
    for idea in fillgen.ideas("| C | C | C | C |", rules=pack, level=2, count=10):
        bars = [
            [(n.onset % 1920, n.length) for n in idea.phrase if n.onset // 1920 == bar] for bar in range(3)
        ]
        assert bars[0] == bars[1] == bars[2]


def test_own_long_form_is_used(tmp_path: Path) -> None:
    """A form of eight bars is used for a chart of eight bars."""
    pack = read(tmp_path, '[[form]]\nletters = ["a", "a", "a", "a", "a", "a", "a", "z"]\n')
    for idea in fillgen.ideas("| " + "C | " * 8, rules=pack, level=2, count=10):
        bars = [
            [(n.onset % 1920, n.length) for n in idea.phrase if n.onset // 1920 == bar] for bar in range(7)
        ]
        assert all(bar == bars[0] for bar in bars)


def test_digest_names_a_pack_by_what_it_holds(tmp_path: Path) -> None:
    """Packs with the same contents have the same fingerprint, others another."""
    one = read(tmp_path, "[weights]\nshape = 5\n").digest
    same = read(tmp_path, "[weights]\n# heavier\nshape    = 5\n").digest
    other = read(tmp_path, "[weights]\nshape = 6\n").digest
    assert one == same
    assert len({one, other, "built-in"}) == 3


# Wrong packs


def _level(*rules: str, head: str = 'low = "C4"\nhigh = "C6"') -> str:
    """A level of its own, with rules given as lines."""
    return f"[[level]]\nnumber = 7\n{head}\n" + "".join(f"[[level.rule]]\n{rule}\n" for rule in rules)


FREE = 'kind = "non-chord-note"\nallow = ["passing", "appoggiatura"]'
STRICT = 'kind = "strong-beat"'
BIG = "1" + "0" * 400
LEVEL_7 = ["own.toml", "level 7"]
WRONG = {
    # what the mistake is: the pack, and what the message must hold
    "unknown key of a pack": ("[[rhytm]]\n", ["own.toml", "'rhytm'", "'rhythm'"]),
    "unknown key of a level": (
        _level(STRICT, head='low = "C4"\nhigh = "C5"\nlowest = 3'),
        [*LEVEL_7, "'lowest'"],
    ),
    "unknown key of a level like another": (
        "[[level]]\nnumber = 7\nlike = 3\npush = true\n",
        ["own.toml", "'push'", "'pushes'"],
    ),
    "unknown key of a rule": (
        _level('kind = "leap-limit"\nsemitone = 7'),
        [*LEVEL_7, "leap-limit", "'semitone'", "'semitones'"],
    ),
    "unknown key of a rhythm": (GALLOP + "swong = true\n", ["own.toml", "'swong'"]),
    "unknown key of a shape": (
        '[[shape]]\nname = "x"\npoint = []\n',
        ["own.toml", "shape 'x'", "'point'", "'points'"],
    ),
    "unknown key of a form": ('[[form]]\nletter = ["z"]\n', ["own.toml", "'letter'", "'letters'"]),
    "unknown term": ("[weights]\nshapes = 1\n", ["own.toml", "weights", "'shapes'", "'shape'"]),
    "unknown rule": (_level('kind = "leap-limitt"'), [*LEVEL_7, "'leap-limitt'", "'leap-limit'"]),
    "unknown rule left out": (
        '[[level]]\nnumber = 7\nlike = 3\nwithout = ["repeat-limits"]\n',
        ["own.toml", "'repeat-limits'", "'repeat-limit'"],
    ),
    "unknown level taken over": ("[[level]]\nnumber = 7\nlike = 9\n", ["own.toml", "'like'", "9"]),
    "unknown metre": (GALLOP.replace('"4/4"', '"4/5"'), ["own.toml", "gallop", "cells", "'4/5'", "'4/4'"]),
    "unknown busyness": (GALLOP.replace("some =", "sum ="), ["own.toml", "gallop", "4/4", "'sum'", "some"]),
    "unknown word of a rule": (
        _level('kind = "final-note"\ndegrees = ["thrid"]'),
        [*LEVEL_7, "final-note", "'degrees'", "'thrid'", "'third'"],
    ),
    "unknown length in a cell": (
        GALLOP.replace("q. e h", "q. x h"),
        ["own.toml", "gallop", "4/4", "few", "'x'", "'q. x h'"],
    ),
    "rule without a name": (_level("semitones = 7"), [*LEVEL_7, "rule"]),
    "rule without its number": (
        _level('kind = "leap-limit"'),
        [*LEVEL_7, "leap-limit", "'semitones'", "missing"],
    ),
    "level without a range": (_level(STRICT, head='low = "C4"'), [*LEVEL_7, "'high'", "missing"]),
    "level without a number": ('[[level]]\nlike = 3\nlow = "C4"\n', ["own.toml", "'number'", "missing"]),
    "rhythm without a tempo": (
        GALLOP.replace("tempo = 120", ""),
        ["own.toml", "gallop", "'tempo'", "missing"],
    ),
    "rhythm without a name": (GALLOP.replace('name = "gallop"', ""), ["own.toml", "'name'", "missing"]),
    "rhythm without closes": (
        GALLOP.partition("[rhythm.closes")[0],
        ["own.toml", "gallop", "'closes'", "missing"],
    ),
    "cells without closes": (
        GALLOP.replace('many = ["e e e e h"]', ""),
        ["own.toml", "gallop", "4/4", "'many'", "closes"],
    ),
    "shape without points": ('[[shape]]\nname = "x"\n', ["own.toml", "shape 'x'", "'points'", "missing"]),
    "form without letters": ("[[form]]\nbars = 1\n", ["own.toml", "'letters'", "missing"]),
    "text for a number": (
        _level('kind = "leap-limit"\nsemitones = "7"'),
        [*LEVEL_7, "leap-limit", "'semitones'", "whole number"],
    ),
    "fraction for a whole number": (
        _level('kind = "leap-limit"\nsemitones = 7.5'),
        [*LEVEL_7, "leap-limit", "'semitones'", "whole number"],
    ),
    "truth for a number": (
        _level('kind = "leap-limit"\nsemitones = true'),
        [*LEVEL_7, "leap-limit", "'semitones'", "whole number"],
    ),
    "text for a list of words": (
        _level('kind = "final-note"\ndegrees = "root"'),
        [*LEVEL_7, "final-note", "'degrees'", "list"],
    ),
    "list in a list of words": (
        _level('kind = "final-note"\ndegrees = [["root"]]'),
        [*LEVEL_7, "final-note", "'degrees'", "root"],
    ),
    "text for a level's number": (
        '[[level]]\nnumber = "7"\nlike = 3\n',
        ["own.toml", "'number'", "whole number"],
    ),
    "text for truth": (
        '[[level]]\nnumber = 7\nlike = 3\npushes = "yes"\n',
        ["own.toml", "'pushes'", "true or false"],
    ),
    "number for a pitch": ("[[level]]\nnumber = 7\nlike = 3\nlow = 60\n", ["own.toml", "'low'", "text"]),
    "list of lists left out": ('[[level]]\nnumber = 7\nlike = 3\nwithout = [["a"]]\n', ["own.toml"]),
    "list for a rule's name": (
        '[[level]]\nnumber = 7\nlike = 3\n[[level.rule]]\nkind = ["leap-limit"]\n',
        ["own.toml", "leap-limit"],
    ),
    "number for a level": ("level = 3\n", ["own.toml", "'level'", "list"]),
    "table for a list of levels": ("[level]\nnumber = 7\n", ["own.toml", "'level'", "list"]),
    "list of numbers for levels": ("level = [3]\n", ["own.toml", "'level'", "[[level]]"]),
    "list of numbers for rules": (
        "[[level]]\nnumber = 7\nlike = 3\nrule = [3]\n",
        ["own.toml", "'rule'"],
    ),
    "text for cells": (
        '[[rhythm]]\nname = "x"\ntempo = 100\ncells = "q q q q"\ncloses = {}\n',
        ["own.toml", "'x'", "'cells'", "table"],
    ),
    "list for a metre's cells": (
        '[[rhythm]]\nname = "x"\ntempo = 100\ncells = {"4/4" = ["w"]}\ncloses = {}\n',
        ["own.toml", "'x'", "4/4", "few, some and many"],
    ),
    "number for a cell": (GALLOP.replace('["q. e h"]', "[4]"), ["own.toml", "gallop", "4/4", "few", "text"]),
    "list for a cell": (
        GALLOP.replace('["q. e h"]', '[["q. e h"]]'),
        ["own.toml", "gallop", "4/4", "few", "text"],
    ),
    "text for a tempo": (GALLOP.replace("tempo = 120", 'tempo = "120"'), ["own.toml", "gallop", "'tempo'"]),
    "text for a weight": ('[weights]\nshape = "2"\n', ["own.toml", "weights", "'shape'", "number"]),
    "number for weights": ("weights = 3\n", ["own.toml", "'weights'", "table"]),
    "text for a point": ('[[shape]]\nname = "x"\npoints = ["0", "1"]\n', ["own.toml", "shape 'x'", "point"]),
    "number for a letter": ("[[form]]\nletters = [1]\n", ["own.toml", "'letters'"]),
    "number out of range": (
        _level('kind = "leap-limit"\nsemitones = 37'),
        [*LEVEL_7, "leap-limit", "'semitones'", "1 and 36"],
    ),
    "number below its range": (
        _level('kind = "leap-limit"\nsemitones = 0'),
        [*LEVEL_7, "leap-limit", "'semitones'", "1 and 36"],
    ),
    "pitch that is none": (_level(STRICT, head='low = "H4"\nhigh = "C6"'), [*LEVEL_7, "'low'", "'H4'", "D4"]),
    "pitch out of range": (_level(STRICT, head='low = "C4"\nhigh = "C10"'), [*LEVEL_7, "'high'", "'C10'"]),
    "tempo out of its range": (
        GALLOP.replace("tempo = 120", "tempo = 90"),
        ["own.toml", "gallop", "90", "100", "140"],
    ),
    "tempo range that is none": (
        GALLOP.replace("[100, 140]", "[140, 100]"),
        ["own.toml", "gallop", "'tempo-range'", "20 to 400"],
    ),
    "tempo range too wide": (
        GALLOP.replace("[100, 140]", "[100, 900]"),
        ["own.toml", "gallop", "'tempo-range'"],
    ),
    "weight below 0": ("[weights]\nshape = -1\n", ["own.toml", "weights", "'shape'", "0 to 100"]),
    "weight above 100": ("[weights]\nshape = 101\n", ["own.toml", "weights", "'shape'", "0 to 100"]),
    "weight that is no number": ("[weights]\nshape = nan\n", ["own.toml", "weights", "'shape'", "0 to 100"]),
    "weight that is endless": ("[weights]\nshape = inf\n", ["own.toml", "weights", "'shape'", "0 to 100"]),
    "weight of many digits": (f"[weights]\nshape = {BIG}\n", ["own.toml", "weights", "'shape'", "0 to 100"]),
    "number of too many digits": ("[weights]\nshape = " + "9" * 5000 + "\n", ["own.toml"]),
    "weights all zero": (
        "[weights]\n" + "".join(f"{term} = 0\n" for term in TERMS),
        ["own.toml", "weights", "every weight is 0"],
    ),
    "point outside 0 to 1": (
        '[[shape]]\nname = "x"\npoints = [[0, 0], [1, 2]]\n',
        ["own.toml", "shape 'x'", "0 to 1"],
    ),
    "times that do not rise": (
        '[[shape]]\nname = "x"\npoints = [[0, 0], [0.5, 1], [0.5, 0], [1, 1]]\n',
        ["own.toml", "shape 'x'", "times"],
    ),
    "times that do not end": (
        '[[shape]]\nname = "x"\npoints = [[0, 0], [0.5, 1]]\n',
        ["own.toml", "shape 'x'", "times"],
    ),
    "shape with no points": ('[[shape]]\nname = "x"\npoints = []\n', ["own.toml", "shape 'x'", "times"]),
    "shape with no form": (
        '[[shape]]\nname = "x"\npoints = [[0, 1], [1, 1]]\n',
        ["own.toml", "shape 'x'", "heights"],
    ),
    "form that never rests": ('[[form]]\nletters = ["a", "b"]\n', ["own.toml", "form", "'z'"]),
    "form that rests in the middle": (
        '[[form]]\nletters = ["a", "z", "b", "z"]\n',
        ["own.toml", "form", "'z'"],
    ),
    "form with another number of bars": (
        '[[form]]\nbars = 3\nletters = ["a", "z"]\n',
        ["own.toml", "form", "3 bars", "2 letters"],
    ),
    "form with no letters": ("[[form]]\nletters = []\n", ["own.toml", "'letters'"]),
    "rule twice": (_level(STRICT, STRICT), [*LEVEL_7, "'strong-beat'", "twice"]),
    "level twice": (LEVEL_SIX + LEVEL_SIX.replace('"narrow"', '"again"'), ["own.toml", "6"]),
    "rhythm twice": (GALLOP + GALLOP, ["own.toml", "gallop"]),
    "cell too short": (
        GALLOP.replace("q. e h", "q. e q"),
        ["own.toml", "gallop", "cells", "4/4", "few", "'q. e q'", "3 quarter notes", "4"],
    ),
    "close too long": (
        GALLOP.replace('["h h"]', '["h h e"]'),
        ["own.toml", "gallop", "closes", "4/4", "few", "'h h e'", "4.5 quarter notes"],
    ),
    "cell of rests": (GALLOP.replace("q. e h", "rh rh"), ["own.toml", "gallop", "few", "'rh rh'", "no note"]),
    "no cells": (GALLOP.replace('["q. e h"]', "[]"), ["own.toml", "gallop", "4/4", "'few'", "empty"]),
    "no cells at all": (
        '[[rhythm]]\nname = "x"\ntempo = 100\ncells = {}\ncloses = {}\n',
        ["own.toml", "'x'", "cells"],
    ),
    "low above high": (
        _level(STRICT, head='low = "C6"\nhigh = "C4"'),
        [*LEVEL_7, "'low'", "C6", "'high'", "C4"],
    ),
    "low above high of another": (
        '[[level]]\nnumber = 7\nlike = 3\nlow = "B5"\n',
        [*LEVEL_7, "'low'", "B5", "'high'", "A5"],
    ),
    "roots only, and passing notes": (
        _level('kind = "root-only"', 'kind = "non-chord-note"\nallow = ["passing"]'),
        [*LEVEL_7, "'root-only'", "'non-chord-note'"],
    ),
    "appoggiatura among foreign notes only": (
        _level(STRICT, FREE),
        [*LEVEL_7, "'strong-beat'", "'non-chord-note'", "'appoggiatura'"],
    ),
    "appoggiatura on strong beats only": (
        _level(
            'kind = "strong-beat"\nallow = ["appoggiatura"]', 'kind = "non-chord-note"\nallow = ["passing"]'
        ),
        [*LEVEL_7, "'strong-beat'", "'non-chord-note'", "'appoggiatura'"],
    ),
    "appoggiatura on strong beats and no rule of foreign notes": (
        _level('kind = "strong-beat"\nallow = ["appoggiatura"]'),
        [*LEVEL_7, "'strong-beat'", "'non-chord-note'"],
    ),
    "approach notes without their rule": (
        _level(STRICT, 'kind = "non-chord-note"\nallow = ["approach"]'),
        [*LEVEL_7, "'approach'", "'enclosure-closes'"],
    ),
    "not TOML": ("[[level]\nnumber", ["own.toml", "TOML", "line 1"]),
    "not text": (b"[weights]\n# \xff\nshape = 1\n", ["own.toml", "UTF-8", "12"]),
}


@pytest.mark.parametrize("mistake", WRONG)
def test_wrong_pack_is_refused(tmp_path: Path, mistake: str) -> None:
    """Each kind of mistake is refused when the pack is read, in one line that names file, place and key."""
    text, parts = WRONG[mistake]
    with pytest.raises(PackError) as caught:
        read(tmp_path, text)
    said = str(caught.value)
    assert [part for part in parts if part not in said] == []
    assert "\n" not in said


def test_missing_pack(tmp_path: Path) -> None:
    """A pack that is not there, and a folder in its place, are refused by name."""
    for path, why in ((tmp_path / "none.toml", "no such file"), (tmp_path, "cannot be read")):
        with pytest.raises(OutputError) as caught:
            RulePack.read(path)
        assert str(path) in str(caught.value)
        assert why in str(caught.value)


def test_wrong_pack_stops_the_work(tmp_path: Path) -> None:
    """Ideas are not made with a wrong pack, even where the mistake is in a part that would not be used."""
    path = write(tmp_path, '[[shape]]\nname = "x"\npoints = []\n')
    with pytest.raises(FillgenError, match="shape 'x'"):
        fillgen.ideas("| C |", rules=path, shape="arch")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("x = 1\n" * 40_000, "larger than 200 kB"),
        (".".join("a" * 90_000) + " = 1", "more dots"),
        ("x = " + "[" * 90_000 + "]" * 90_000, "not a valid TOML file"),
        (f'"{"k" * 150_000}" = 1', "unknown key"),
    ],
    ids=["long", "dotted", "nested", "one key"],
)
def test_a_pack_of_any_size_is_refused_in_a_few_words(text: str, why: str, tmp_path: Path) -> None:
    """A key of many parts takes memory by the square of their number, so it is not given to the parser."""
    with pytest.raises(PackError, match=why) as refused:
        read(tmp_path, text).check()
    assert len(str(refused.value)) < 1200


# Cells in bars of another metre


FAMILIES = (("4/4", "3/4", "2/4", "5/4", "7/4"), ("6/8", "9/8", "12/8"))


@pytest.mark.parametrize(("old", "new"), [(a, b) for names in FAMILIES for a in names for b in names])
def test_cells_in_bars_of_another_metre(old: str, new: str) -> None:
    """They begin as they were, lie inside the new bar one note after another, and are marked by its own accents."""
    for rhythm in RHYTHMS:
        for busy in BUSY:
            cells = rhythm.cells.get((old, busy), ())
            moved = fitted_cells(cells, METRES[old], METRES[new])
            assert len(set(moved)) == len(moved) >= min(1, len(cells))
            shared = min(METRES[old].bar, METRES[new].bar)
            begun = {tuple(on for on, _ in cell.notes if on < shared) for cell in cells}
            for cell in moved:
                edges = [(on, on + length) for on, length in cell.notes]
                assert all(a[1] <= b[0] for a, b in pairwise(edges))
                assert all(on < end <= METRES[new].bar for on, end in edges)
                assert tuple(on for on, _ in cell.notes if on < shared) in begun
                assert cell.syncopated == any(METRES[new].crosses(*note) for note in cell.notes)
                assert all(is_length(length) for _, length in cell.notes)


def test_beats_that_prolong_a_bar() -> None:
    """What is added are the last beats again; a note held to the end of the bar goes on to what follows."""
    three, four, five = (METRES[name] for name in ("3/4", "4/4", "5/4"))
    waltz = read_cell("q q e e", three)
    assert fitted_cells([waltz], three, four)[0].notes == read_cell("q q e e e e", four).notes
    assert fitted_cells([waltz], three, five)[0].notes == read_cell("q q e e q e e", five).notes
    assert fitted_cells([read_cell("h.", three)], three, four)[0].notes == ((0, 1920),)
    assert fitted_cells([read_cell("q. e h", four)], four, METRES["2/4"])[0].notes == ((0, 720), (720, 240))


def test_every_term_says_what_it_asks() -> None:
    """In a sentence."""
    pack = RulePack()
    assert {term: pack.says(term)[-1] for term in pack.weights} == dict.fromkeys(pack.weights, ".")
