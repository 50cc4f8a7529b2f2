"""How lines are written down: lengths, ties, beams, triplets and signs.

What is asked for here is common practice of notation: the beats of a bar stay visible, the middle of a 4/4 bar more
than the others, and rests more strictly than notes.
"""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from fillgen.rules.pack import Cell, RulePack, read_cell
from fillgen.theory.metre import LENGTHS, METRES, TICKS, Metre
from fillgen.theory.pitch import Key, Name
from fillgen.writers.notation import Chunk, Symbol, bars_in_line, line_starts, written

C_MAJOR = Key(Name.read("C"), "major")
PACK = RulePack()
NAMES = ("C5", "E5", "F#5", "G5", "Bb4")


def cells_of(rhythm: str, metre: str) -> list[Cell]:
    """All cells and closes of a rhythm in a metre."""
    found = PACK.rhythm(rhythm)
    groups = [
        cells for table in (found.cells, found.closes) for (name, _), cells in table.items() if name == metre
    ]
    return [cell for cells in groups for cell in cells]


def chunks_of(cell: Cell) -> list[Chunk]:
    """The notes of a cell, with names that differ from one to the next."""
    return [Chunk(on, length, (NAMES[n % len(NAMES)],)) for n, (on, length) in enumerate(cell.notes)]


def bar_of(text: str, metre: str = "4/4", key: Key = C_MAJOR) -> list[Symbol]:
    """A bar from cell text such as `q. e h`, as it is written."""
    (symbols,) = written(chunks_of(read_cell(text, METRES[metre])), METRES[metre], key, [METRES[metre].bar])
    return symbols


def told(symbols: Sequence[Symbol]) -> str:
    """Symbols as cell text, with ~ for ties and r for rests."""
    return " ".join(
        "r" * symbol.is_rest + symbol.letters + "~" * symbol.tied_to
        for symbol in symbols
        if symbol.letters != "bar"
    )


def sounding(bars: Sequence[Sequence[Symbol]], lengths: Sequence[int]) -> list[Chunk]:
    """Written bars as they sound: tied symbols are one note."""
    found: list[Chunk] = []
    start = 0
    for symbols, length in zip(bars, lengths, strict=True):
        for symbol in symbols:
            if symbol.is_rest:
                continue
            if symbol.tied_from:
                before = found.pop()
                assert before.onset + before.length == start + symbol.tick
                assert before.names == symbol.names
                found.append(Chunk(before.onset, before.length + symbol.length, before.names))
            else:
                found.append(Chunk(start + symbol.tick, symbol.length, symbol.names))
        start += length
    return found


def check_bar(symbols: Sequence[Symbol], metre: Metre, length: int) -> None:
    """That symbols fill a bar, have the lengths of their letters, and are beamed and grouped in pairs."""
    at = 0
    for symbol in symbols:
        assert symbol.tick == at
        assert symbol.letters == "bar" or LENGTHS[symbol.letters] == symbol.length
        at += symbol.length
    assert at == length
    check_beams(symbols, metre)
    check_groups(symbols)


def beat_of(tick: int, metre: Metre) -> int:
    """The beat that holds a tick; in 7/8 its group of two, two or three eighths, as it is felt (common practice)."""
    return sum(edge <= tick for edge in (480, 960)) if metre.name == "7/8" else tick // metre.beat


def check_beams(symbols: Sequence[Symbol], metre: Metre) -> None:
    """That each level of beams begins and ends in pairs within a beat, and only over notes that have it."""
    for level in (1, 2):
        opened: int | None = None
        for symbol in symbols:
            word = symbol.beams[level - 1] if len(symbol.beams) >= level else ""
            if word == "begin":
                assert opened is None
                opened = beat_of(symbol.tick, metre)
            elif word in ("continue", "end"):
                assert opened == beat_of(symbol.tick, metre)
                opened = None if word == "end" else opened
            else:
                assert opened is None
                assert word in ("", "forward hook", "backward hook")
            if word:
                assert not symbol.is_rest
                assert symbol.letters[0] == "s" or (level == 1 and symbol.letters[0] == "e")
        assert opened is None


def check_groups(symbols: Sequence[Symbol]) -> None:
    """That triplets are grouped from start to stop, each group a whole number of quarters, nothing else inside."""
    opened: int | None = None
    for symbol in symbols:
        if symbol.group == "start":
            assert opened is None
            opened = symbol.tick
        assert symbol.is_triplet == (opened is not None)
        if symbol.group == "stop":
            assert opened is not None
            assert (symbol.tick + symbol.length - opened) % TICKS == 0
            opened = None
    assert opened is None


# All cells


@pytest.mark.parametrize("rhythm", PACK.rhythm_names)
def test_every_cell_is_written_whole(rhythm: str) -> None:
    """Symbols fill the bar, ties join, beams and triplets come in pairs, and what is written sounds as the cell."""
    for metre in PACK.rhythm(rhythm).metres:
        cells = cells_of(rhythm, metre)
        assert len(cells) >= 30
        for cell in cells:
            bar = METRES[metre].bar
            (symbols,) = bars = written(chunks_of(cell), METRES[metre], C_MAJOR, [bar])
            check_bar(symbols, METRES[metre], bar)
            assert sounding(bars, [bar]) == chunks_of(cell), cell.text


@pytest.mark.parametrize("rhythm", PACK.rhythm_names)
def test_no_cell_hides_a_beat(rhythm: str) -> None:
    """A note off the beat ends by the next beat, or is the middle of a plain syncopation; see `hides`."""
    for metre in PACK.rhythm(rhythm).metres:
        for cell in cells_of(rhythm, metre):
            for symbol in bar_of(cell.text, metre):
                assert not hides(symbol, METRES[metre]), (cell.text, told(bar_of(cell.text, metre)))


def hides(symbol: Symbol, metre: Metre) -> bool:
    """Whether a symbol hides beats that must be seen.

    One that begins between beats may reach over a beat in simple metres only, as the long note of short-long-short
    within half a bar. In compound metres one that begins on a beat lies within it or fills whole beats. No rest
    but that of a whole bar covers the middle of a 4/4 or 2/2 bar from a lighter place, and none is syncopated.
    """
    end = symbol.tick + symbol.length
    if symbol.letters == "bar" or symbol.is_triplet:
        return False
    inside = symbol.tick % metre.beat
    if inside:
        crossed = end > symbol.tick - inside + metre.beat
        half = 2 * TICKS * (symbol.tick // (2 * TICKS) + 1)
        plain = metre.beat == TICKS and symbol.tick % 240 == 0 and end <= half and not symbol.is_rest
        return crossed and not plain
    if metre.beat == 720:
        return symbol.length > metre.beat and symbol.length % metre.beat != 0
    middle = metre.bar // 2
    return symbol.is_rest and metre.bar == 1920 and 0 < symbol.tick < middle < end


LINES = [
    ("4/4", "w", "w"),
    ("4/4", "q. e h", "q. e h"),
    ("4/4", "h q. e", "h q. e"),
    ("4/4", "e q e h", "e q e h"),
    ("4/4", "h e q e", "h e q e"),
    ("4/4", "q h.", "q q~ h"),
    ("4/4", "q h q", "q h q|q q~ q q"),
    ("4/4", "q e q e q", "q e e~ e e q"),
    ("4/4", "q. q. q", "q. e~ q q"),
    ("4/4", "q. h e", "q. e~ q. e"),
    ("4/4", "h. q", "h. q"),
    ("4/4", "e h. e", "e q.~ q. e|e e~ q~ q. e|e e~ h e"),
    ("4/4", "s e s q h", "s e s q h"),
    ("4/4", "e s s e. s h", "e s s e. s h"),
    ("3/4", "h.", "h."),
    ("3/4", "q h", "q h"),
    ("3/4", "q. q.", "q. e~ q"),
    ("3/4", "e q e q", "e q e q"),
    ("3/4", "q e q e", "q e e~ e e|q e q e"),
    ("2/4", "e q e", "e q e"),
    ("2/4", "q. e", "q. e"),
    ("2/2", "q h q", "q q~ q q|q h q"),
    ("2/2", "e q e h", "e q e h"),
    ("6/8", "q e q e", "q e q e"),
    ("6/8", "q. q.", "q. q."),
    ("6/8", "h.", "h."),
    ("6/8", "e q e q", "e q e q"),
    ("6/8", "q q q", "q e~ e q"),
    ("6/8", "h q", "q.~ e q"),
    ("6/8", "q h", "q e~ q."),
    ("6/8", "h~ e e", "q.~ q e"),
    ("9/8", "h. q.", "h. q."),
    ("9/8", "h.~ q.", "h.~ q."),
    ("9/8", "h h~ e", "q.~ e q~ q."),
    ("12/8", "w.", "w.|h.~ h."),
    ("12/8", "h. h q", "h. q.~ e q"),
    ("12/8", "h.~ q. q.", "h.~ q. q."),
    ("5/4", "w~ q", "h.~ h"),
    ("5/4", "h. h", "h. h"),
    ("5/4", "h h q", "h q~ q q"),
    ("7/4", "w h.", "w h."),
    ("7/4", "w~ h.", "w~ h."),
    ("7/8", "h q.", "h q."),
    ("7/8", "h~ q.", "h~ q."),
    ("7/8", "q h~ e", "q q~ q."),
    ("7/8", "q. e q.", "q~ e e q."),
    ("7/8", "q h e", "q q~ q e"),
    ("7/8", "q q q e", "q q q e"),
    ("7/8", "e q e q.", "e e~ e e q."),
]


@pytest.mark.parametrize("metre", dict.fromkeys(row[0] for row in LINES))
def test_lengths_as_a_player_expects_them(metre: str) -> None:
    """Hand-made bars are split and tied where a player looks for the beats; | stands between equally good ways."""
    found = {text: bar_of(text, metre) for name, text, _ in LINES if name == metre}
    for symbols in found.values():
        check_bar(symbols, METRES[metre], METRES[metre].bar)
    wanted = {text: ways.split("|") for name, text, ways in LINES if name == metre}
    assert {text: told(bar) for text, bar in found.items() if told(bar) not in wanted[text]} == {}


RESTS = [
    ("4/4", "q rh.", "q rq rh"),
    ("4/4", "q rh q", "q rq rq q"),
    ("4/4", "e rq e h", "e re re e h"),
    ("4/4", "rh. q", "rh rq q|rh. q"),
    ("4/4", "e re rq h", "e re rq h|e rq. h"),
    ("3/4", "e rq e q", "e re re e q"),
    ("6/8", "q rq q", "q re re q"),
    ("6/8", "e re re q.", "e re re q.|e rq q."),
]


def test_rests_show_the_beats() -> None:
    """Rests are never syncopated, and none covers the middle of a 4/4 bar from beat two."""
    found = {(metre, text): told(bar_of(text, metre)) for metre, text, _ in RESTS}
    wanted = {(metre, text): ways.split("|") for metre, text, ways in RESTS}
    assert {bar: way for bar, way in found.items() if way not in wanted[bar]} == {}


def test_a_silent_bar_is_one_rest() -> None:
    """A bar without notes is a rest of the whole bar in every metre, and a short one a rest of its length."""
    for metre in METRES.values():
        (symbols,) = written([], metre, C_MAJOR, [metre.bar])
        assert [(s.letters, s.is_rest, s.length) for s in symbols] == [("bar", True, metre.bar)]
    (short,) = written([], METRES["4/4"], C_MAJOR, [480])
    assert told(short) == "rq"


def test_a_note_over_the_bar_line_is_tied() -> None:
    """A note over two bar lines is tied through: begun in one, going on in the next, ended in the third."""
    line = [Chunk(960, 960 + 1920 + 480, ("D5",)), Chunk(2 * 1920 + 480, 480, ("E5",))]
    bars = written(line, METRES["4/4"], C_MAJOR, [1920] * 3)
    assert [told(bar) for bar in bars] == ["rh h~", "w~", "q q rh"]
    assert [(s.tied_from, s.tied_to) for s in bars[1]] == [(True, True)]
    assert (bars[2][0].tied_from, bars[2][0].tied_to) == (True, False)
    assert sounding(bars, [1920] * 3) == line


def test_a_short_bar_ends_where_it_ends() -> None:
    """A line in bars of which the last is short is split at their ends, and is as long as they are together."""
    lengths = [1440, 1440, 960]
    line = [Chunk(960, 960, ("A4",)), Chunk(2400, 1440, ("B4",))]
    bars = written(line, METRES["3/4"], C_MAJOR, lengths)
    assert [told(bar) for bar in bars] == ["rq rq q~", "q rq q~", "h"]
    assert sounding(bars, lengths) == line


def test_a_chord_is_tied_as_one() -> None:
    """A chord keeps all its names through a tie, with a place for a sign for each."""
    names = ("C4", "E4", "Bb4")
    first, second = written([Chunk(0, 2400, names)], METRES["4/4"], C_MAJOR, [1920, 1920])
    assert [s.names for s in (*first, second[0])] == [names] * 2
    assert first[0].accidentals == ("", "", "b")
    assert second[0].accidentals == ("", "", "")


# Triplets


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("et et et q h", "et et et q h"),
        ("qt et qt et h", "qt et qt et h"),
        ("qt qt qt h", "qt qt qt h"),
        ("ret et et q h", "ret et et q h"),
        ("et et ret q h", "et et ret q h"),
    ],
)
def test_triplets_are_grouped(text: str, wanted: str) -> None:
    """Triplets, with rests in them, are grouped beat by beat, or over a half bar for quarters."""
    symbols = bar_of(text)
    assert told(symbols) == wanted
    check_bar(symbols, METRES["4/4"], 1920)
    spans = (
        [s.tick for s in symbols if s.group == "start"],
        [s.tick + s.length for s in symbols if s.group == "stop"],
    )
    assert len(spans[0]) == len(spans[1]) >= 1
    assert [stop - start for start, stop in zip(*spans, strict=True)] == (
        [960] if text.startswith("qt qt") else [480] * len(spans[0])
    )


OUT_OF_TRIPLETS = [
    ("et et et~ q h", "et et et~ q h"),
    ("et et et~ e e h", "et et et~ e e h"),
    ("q~ et et et h", "q~ et et et h"),
    ("et rqt rq h", "et rqt rq h|et ret ret rq h"),
    ("et et et~ et et et h", "et et et~ et et et h"),
    ("h et et et~ q", "h et et et~ q"),
]


def test_triplets_end_with_their_beat() -> None:
    """A note tied out of a triplet, or a rest that goes on from it, is split where the triplet's beat ends."""
    found = {text: told(bar_of(text)) for text, _ in OUT_OF_TRIPLETS}
    wanted = {text: ways.split("|") for text, ways in OUT_OF_TRIPLETS}
    assert {text: way for text, way in found.items() if way not in wanted[text]} == {}
    for text in wanted:
        check_bar(bar_of(text), METRES["4/4"], 1920)


# Beams


BEAMS = [
    ("4/4", "e e q h", [("begin",), ("end",), (), ()]),
    ("4/4", "e e e e h", [("begin",), ("end",), ("begin",), ("end",), ()]),
    ("4/4", "e. s q h", [("begin",), ("end", "backward hook"), (), ()]),
    ("4/4", "s e. q h", [("begin", "forward hook"), ("end",), (), ()]),
    ("4/4", "s s e q h", [("begin", "begin"), ("continue", "end"), ("end",), (), ()]),
    (
        "4/4",
        "s e s q h",
        [("begin", "forward hook"), ("continue",), ("end", "backward hook"), (), ()],
    ),
    ("4/4", "e q e h", [(), (), (), ()]),
    ("4/4", "re e e re h", [(), (), (), (), ()]),
    ("6/8", "e e e q.", [("begin",), ("continue",), ("end",), ()]),
    ("6/8", "q e e e e", [(), (), ("begin",), ("continue",), ("end",)]),
    ("3/4", "q e e q", [(), ("begin",), ("end",), ()]),
    ("2/2", "e e e e h", [("begin",), ("continue",), ("continue",), ("end",), ()]),
    ("4/4", "et et et q h", [("begin",), ("continue",), ("end",), (), ()]),
]


def test_beams_join_the_notes_of_a_beat() -> None:
    """Eighths and sixteenths of one beat are beamed, rests and beats break the beam, lone sixteenths have hooks."""
    for metre, text, wanted in BEAMS:
        assert [symbol.beams for symbol in bar_of(text, metre)] == wanted, text


# Signs


def signs(names: Sequence[str], key: Key = C_MAJOR, length: int = 480) -> list[str]:
    """The signs of a line of single notes of one length in 4/4."""
    line = [Chunk(number * length, length, (name,)) for number, name in enumerate(names)]
    bars = written(line, METRES["4/4"], key, [1920] * -(-len(names) * length // 1920))
    return [s.accidentals[0] for bar in bars for s in bar if s.names and not s.tied_from]


SIGNED = [
    ("C major", "F#5 F#5 G5 F#5", "# - - -"),
    ("C major", "F#5 F5 F#5 F5", "# n # n"),
    ("C major", "F#5 G5 A5 B5 F#5 F#5 G5 A5", "# - - - # - - -"),
    ("C major", "F#5 G5 A5 B5 F5 G5 A5 B5", "# - - - - - - -"),
    ("C major", "F#4 F#5 F5 F4", "# # n n"),
    ("G major", "F#5 F5 F#5 F#5", "- n # -"),
    ("G major", "F5 G5 A5 B5 F#5 F5 A5 B5", "n - - - - n - -"),
    ("Eb major", "Bb4 B4 Bb4 E5", "- n b n"),
    ("F# major", "E#5 E5 E#5 Fb5", "- n # b"),
    ("C major", "Bb4 Bbb4 Bb4 B4", "b bb b n"),
    ("A minor", "G#4 A4 G4 G#4", "# - n #"),
]


def test_signs_count_for_their_bar() -> None:
    """A sign is shown once a bar, at its own octave, cancelled by a natural, and shown again in the next bar."""
    for key, names, wanted in SIGNED:
        tonic, mode = key.split()
        found = signs(names.split(), Key(Name.read(tonic), mode))
        assert [sign or "-" for sign in found] == wanted.split(), (key, names)


def test_a_tie_carries_its_sign_over_the_bar_line() -> None:
    """A tied note needs no sign in the next bar, but the same note struck anew there has one."""
    line = [Chunk(960, 1440, ("F#5",)), Chunk(2400, 480, ("G5",)), Chunk(2880, 960, ("F#5",))]
    first, second = written(line, METRES["4/4"], C_MAJOR, [1920, 1920])
    assert [s.accidentals for s in first if s.names] == [("#",)]
    assert [s.accidentals for s in second] == [("",), ("",), ("#",)]


# Lines


@pytest.mark.parametrize(
    ("bars", "in_line", "sections", "pickup", "wanted"),
    [
        (4, 4, (), 0, [0, 4]),
        (9, 4, (), 0, [0, 4, 8, 9]),
        (10, 4, (0, 6), 0, [0, 4, 6, 10]),
        (10, 2, (0, 3), 0, [0, 2, 3, 5, 7, 9, 10]),
        (9, 4, (), 1, [0, 5, 9]),
        (1, 1, (0,), 0, [0, 1]),
    ],
)
def test_lines_begin_every_four_bars_and_with_sections(
    bars: int, in_line: int, sections: tuple[int, ...], pickup: int, wanted: list[int]
) -> None:
    """Lines are counted anew from each section; a pick-up is one bar more in the first line."""
    assert line_starts(bars, in_line, sections, pickup) == wanted


def test_as_many_bars_in_a_line_as_fit_by_four_or_two() -> None:
    """Three are never put into a line of a long chart."""
    assert [bars_in_line(lambda bars, most=most: bars <= most) for most in (1, 2, 3, 4, 9)] == [1, 2, 2, 4, 4]
