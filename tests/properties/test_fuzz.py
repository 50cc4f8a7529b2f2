"""Properties that hold for any input: what is read, what is printed, what is generated, and how bad input ends."""

from __future__ import annotations

import contextlib
import io
import json
import tempfile
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import TypeVar
from unittest import mock

from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st

import fillgen
from fillgen import (
    FillgenError,
    Ideas,
    Progression,
    RulePack,
    chart_text,
    parse_chart,
    parse_phrase,
    phrase_text,
)
from fillgen.chart.progression import Span
from fillgen.cli import main
from fillgen.phrase.place import places
from fillgen.rules.judge import breaches, roles
from fillgen.rules.pack import BUSY
from fillgen.theory.chords import Kind, kinds, make_chord, read_chord
from fillgen.theory.metre import LENGTHS, METRES, Metre
from fillgen.theory.pitch import Key, Name, all_keys, read_pitch
from tests.commands import all_commands
from tests.effort import examples

FUZZ = settings(
    max_examples=examples(100),
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)
PACK = RulePack()
metres = st.sampled_from(sorted(METRES))
keys = st.sampled_from(all_keys())
T = TypeVar("T")


def outcome(action: Callable[[], T]) -> T | str:
    """What an action gives, or what is said where it is refused with an error of the package's own."""
    try:
        return action()
    except FillgenError as error:
        return str(error)


# Texts

SYMBOLS = [
    "C",
    "Ebmaj7",
    "Am7",
    "G7",
    "Dm7",
    "F#m7b5",
    "B7b9",
    "Abdim7",
    "Gsus4",
    "Db6/9",
    "E7#9",
    "C/E",
    "Bb13",
    "N.C.",
    "I",
    "ii7",
    "V7/ii",
    "bVII7",
    "#iv",
    "dim7",
    "/",
    "%",
    "Caug",
    "A5",
    "D7alt",
    "♭VII",
    "F♯",
    "B♭7",
]
MARKS = ["|1.", ":|2.", "1,2.", "3", "[A]", "[Verse 2]", "-", "–", ",", "\n# aside\n", "Eb-Gm7"]
TOKENS = ["C5q", "D5h.", "Eb5et", "rq", "re", "~", "|", "C5q~", "F#4s", "G9w", "A-1e", "Bbb3ht", "r"]
CHART_LETTERS = "ABCDEFGHabdgijmnorstuv0123456789#b♭♯Δø°+-–()[]/%|: \n,.~"
VALID = (
    "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |",
    "title: Green Bridge\nkey: F\nmetre: 3/4\n|: F | Gm7 | C7 :| % |",
    "| C / / G7 | N.C. | #iv dim7 V7/ii |",
    "| G7(b9, #11) C6/9/E | B♭Δ7 |",
    "# Steps\n[A] |: Eb | Gm7 |1. Fm7, Bb7 :|2. Ab - Bb7 | [B] % |",
    "Eb Gm7 [Bridge] Fm7-Bb7, C-7",
)
chart_like = st.lists(
    st.one_of(st.sampled_from([*SYMBOLS, "|", "|:", ":|", "||", "\n", *MARKS])), max_size=30
).map(" ".join)


@st.composite
def mutated(draw: st.DrawFn) -> str:
    """A valid chart with some characters taken out, doubled, or replaced."""
    text = draw(st.sampled_from(VALID))
    for _ in range(draw(st.integers(1, 6))):
        at = draw(st.integers(0, len(text)))
        width = draw(st.integers(0, 4))
        fresh = draw(st.one_of(st.text(CHART_LETTERS, max_size=4), st.just(text[at : at + width] * 2)))
        text = text[:at] + fresh + text[at + width :]
    return text


chart_texts = st.one_of(st.text(max_size=60), st.text(CHART_LETTERS, max_size=60), chart_like, mutated())


@FUZZ
@given(text=chart_texts, key=st.none() | keys, metre=st.none() | metres)
@example(text="| " + "V/" * 2000 + "I |", key=all_keys()[0], metre=None)
@example(text="| C :|" * 3000, key=None, metre=None)
@example(text="| " * 20_000, key=None, metre=None)
@example(text="(" * 50_000, key=None, metre=None)
@example(text="| C" + "b" * 90_000 + " |", key=None, metre=None)
def test_any_text_is_a_chart_or_an_error(text: str, key: Key | None, metre: str | None) -> None:
    """Any text is read as a chart that prints and reads back, or refused with an error of the package's own."""
    chart = outcome(lambda: parse_chart(text, key=key, metre=metre))
    if isinstance(chart, str):
        assert chart
        return
    assert sum(span.length for span in chart.spans) == chart.length
    assert parse_chart(chart_text(chart)) == chart


@FUZZ
@given(
    text=st.one_of(
        st.text(max_size=40),
        st.text("ABCDEFG#b0123456789-whqest.r~| \n", max_size=40),
        st.lists(st.sampled_from(TOKENS), max_size=12).map(" ".join),
    ),
    metre=metres,
)
def test_any_text_is_a_phrase_or_an_error(text: str, metre: str) -> None:
    """Any text is read as a phrase or refused with an error of the package's own."""
    phrase = outcome(lambda: parse_phrase(text, METRES[metre]))
    if isinstance(phrase, str):
        assert phrase
        return
    assert all(a.end <= b.onset for a, b in pairwise(phrase))


@FUZZ
@given(
    text=st.one_of(st.text(max_size=20), st.text("ABCDEFGHabmjdinsu0123456789#b♭♯Δø°+-()/, ", max_size=12))
)
def test_any_text_is_a_chord_or_an_error(text: str) -> None:
    """Any symbol is read as a chord that its own symbol stands for, or refused with an error of the package's own."""
    chord = outcome(lambda: read_chord(text))
    if isinstance(chord, str):
        assert "\n" not in chord
        return
    assert read_chord(chord.symbol) == chord


# Phrases

_GRID = 20
_REACHABLE = {0}
for _ticks in range(_GRID, max(metre.bar for metre in METRES.values()) + 1, _GRID):
    if any(_ticks - length in _REACHABLE for length in LENGTHS.values()):
        _REACHABLE.add(_ticks)
_NAMES = [letter + sign for letter in "CDEFGAB" for sign in ("", "b", "#", "bb", "##")]


@st.composite
def phrase_texts(draw: st.DrawFn, metre: Metre) -> str:
    """A phrase of one to three full bars with notes, rests, ties over any line, dots and triplets."""
    bars: list[str] = []
    pitch, tied = "", False
    count = draw(st.integers(1, 3))
    for number in range(count):
        tokens: list[str] = []
        left = metre.bar
        while left:
            fitting = [name for name, ticks in LENGTHS.items() if left - ticks in _REACHABLE]
            length = draw(st.sampled_from(fitting))
            left -= LENGTHS[length]
            is_last = not left and number == count - 1
            if not tied:
                pitch = draw(st.sampled_from(_NAMES)) + str(draw(st.integers(0, 8)))
            rest = not tied and draw(st.integers(0, 3)) == 0
            tied = not rest and not is_last and draw(st.integers(0, 3)) == 0
            tokens.append(f"r{length}" if rest else f"{pitch}{length}{'~' if tied else ''}")
        bars.append(" ".join(tokens))
    return " | ".join(bars)


@st.composite
def phrases_over_charts(draw: st.DrawFn) -> tuple[str, Progression]:
    """A phrase text, and a chart of as many bars."""
    metre = METRES[draw(metres)]
    text = draw(phrase_texts(metre))
    symbols = draw(st.lists(chord_symbols(), min_size=text.count("|") + 1, max_size=text.count("|") + 1))
    return text, parse_chart("| " + " | ".join(symbols) + " |", key=draw(keys), metre=metre)


@st.composite
def chord_symbols(draw: st.DrawFn) -> str:
    """The symbol of any chord kind on any root, over any bass note or none."""
    letters, signs = st.integers(0, 6), st.integers(-1, 1)
    root = Name(draw(letters), draw(signs))
    kind: Kind = draw(st.sampled_from(kinds()))
    bass = Name(draw(letters), draw(signs)) if draw(st.integers(0, 4)) == 0 else None
    return make_chord(root, kind, bass).symbol


@FUZZ
@given(phrases_over_charts())
def test_phrases_print_and_read_back(case: tuple[str, Progression]) -> None:
    """Any phrase that can be read is printed, and what is printed is read as the same notes and printed the same."""
    text, chart = case
    assume(not all(token.startswith("r") for token in text.replace("|", " ").split()))
    phrase = parse_phrase(text, chart.metre)
    printed = phrase_text(phrase, chart)
    assert parse_phrase(printed, chart.metre) == phrase
    assert phrase_text(parse_phrase(printed, chart.metre), chart) == printed
    assert printed.count("|") == text.count("|")


# Progressions


@st.composite
def progressions(draw: st.DrawFn) -> Progression:
    """A progression of any chords with any division of its bars into beats."""
    metre, key = METRES[draw(metres)], draw(keys)
    bars = []
    at, heard = 0, read_chord(draw(chord_symbols()))
    for number in range(draw(st.integers(1, 6))):
        cuts = (
            draw(st.sets(st.integers(1, metre.beats - 1), max_size=metre.beats - 1))
            if metre.beats > 1
            else set()
        )
        edges = [0, *sorted(cuts), metre.beats]
        spans = []
        for start, end in pairwise(edges):
            first = number == 0 and start == 0
            silent = not first and draw(st.integers(0, 5)) == 0
            chord = read_chord("N.C.") if silent else heard if first else read_chord(draw(chord_symbols()))
            heard = heard if silent else chord
            spans.append(Span(chord, at, (end - start) * metre.beat, heard, key))
            at += (end - start) * metre.beat
        bars.append(tuple(spans))
    starts = sorted(draw(st.sets(st.integers(0, len(bars) - 1), max_size=3)))
    sections = tuple((start, draw(st.sampled_from(["A", "B", "Verse 2", "C'"]))) for start in starts)
    return Progression(metre, key, tuple(bars), sections=sections)


@FUZZ
@given(progressions())
def test_progressions_print_and_read_back(chart: Progression) -> None:
    """Any progression is printed as chart text that is read as the same progression."""
    again = parse_chart(chart_text(chart))
    assert again == chart
    assert chart_text(again) == chart_text(chart)


# Ideas

PITCHES = ["C-1", "C2", "G3", "C4", "E4", "F#4", "A4", "C5", "Eb5", "G5", "C6", "C7", "G9"]
pitches = st.sampled_from(PITCHES[1:-1])
IDEA_CHORDS = (
    "C",
    "Ebmaj7",
    "Am7",
    "G7",
    "Dm7",
    "F",
    "Bb7",
    "Fm",
    "E7#9",
    "F#m7b5",
    "Gsus4",
    "Abdim7",
    "C6/9",
    "N.C.",
    "B5",
    "A7b9",
)


@st.composite
def requests(draw: st.DrawFn) -> dict[str, object]:
    """A request for ideas with any settings, sensible and not."""
    metre = draw(metres)
    beats = METRES[metre].beats
    shares = [n for n in range(1, min(beats, 3) + 1) if beats % n == 0]
    bars = [
        " ".join(draw(st.sampled_from(IDEA_CHORDS)) for _ in range(draw(st.sampled_from(shares))))
        for _ in range(draw(st.integers(1, 4)))
    ]
    asked: dict[str, object] = {
        "chart": "| " + " | ".join(bars) + " |",
        "metre": metre,
        "count": draw(st.integers(1, 20)),
        "seed": draw(st.integers(0, 2**40)),
        "level": draw(st.none() | st.integers(1, 5)),
        "busy": draw(st.none() | st.sampled_from(BUSY)),
    }
    options: dict[str, st.SearchStrategy[object]] = {
        "rhythm": st.sampled_from(PACK.rhythm_names),
        "shape": st.sampled_from(sorted(PACK.shapes)),
        "low": pitches,
        "high": pitches,
        "purpose": st.sampled_from(["intro", "turnaround", "ending"]),
        "ends_on": st.lists(st.sampled_from(["root", "third", "fifth"]), min_size=1, max_size=3, unique=True),
        "lead_to": pitches,
    }
    for name, values in options.items():
        if draw(st.integers(0, 3)) == 0:
            asked[name] = draw(values)
    return asked


def check(found: Ideas, asked: dict[str, object]) -> None:
    """Everything that must hold of the ideas for a request."""
    chart, level = found.progression, PACK.level(found.level)
    low = read_pitch(str(asked["low"])) if "low" in asked else level.low
    high = read_pitch(str(asked["high"])) if "high" in asked else level.high
    lead = read_pitch(str(asked["lead_to"])) if "lead_to" in asked else None
    ends_on = asked.get("ends_on", ("root", "third"))
    assert 1 <= len(found) <= min(int(str(asked["count"])), found.phrases)
    assert len({idea.phrase for idea in found}) == len({idea.text for idea in found}) == len(found)
    assert [idea.rank for idea in found] == list(range(1, len(found) + 1))
    assert [idea.score for idea in found] == sorted((idea.score for idea in found), reverse=True)
    for idea in found:
        assert parse_phrase(idea.text, chart.metre) == idea.phrase
        assert all(low <= note.midi <= high for note in idea.phrase)
        assert all(a.end <= b.onset for a, b in pairwise(idea.phrase))
        assert idea.phrase[-1].end <= chart.length
        rhythm = [(note.onset, note.length) for note in idea.phrase]
        where = places(chart, rhythm, ends_on, **({} if lead is None else {"lead": lead}))  # type: ignore[arg-type]
        line = [note.midi for note in idea.phrase]
        assert breaches(level.uses, where, line) == []
        assert roles(where, line) == [note.role for note in idea.notes]
        assert lead is None or abs(line[-1] - lead) <= 4


@FUZZ
@given(requests())
@example({"chart": "| C |", "count": 3, "low": "C2", "high": "C7", "lead_to": "C7"})
@example({"chart": "| C | G7 |", "count": 3, "low": "C-1", "high": "G9", "lead_to": "G9"})
@example(
    {"chart": "| C | C | C | G7 |", "count": 5, "low": "C-1", "high": "G9", "lead_to": "C0", "busy": "many"}
)
@example({"chart": "| N.C. | C | N.C. |", "count": 20, "level": 5, "busy": "many"})
def test_ideas_keep_every_rule_or_are_refused(asked: dict[str, object]) -> None:
    """Any request is answered with different ideas that read back and break no rule, or refused with an error."""
    found = outcome(
        lambda: fillgen.ideas(
            asked["chart"], **{name: each for name, each in asked.items() if name != "chart"}
        )
    )  # type: ignore[arg-type]
    if isinstance(found, str):
        assert found
        return
    check(found, asked)


@settings(FUZZ, max_examples=examples(10))
@given(requests())
def test_ideas_can_be_found_again(asked: dict[str, object]) -> None:
    """The same request is answered with the same ideas."""
    one, other = (
        outcome(
            lambda: fillgen.ideas(
                asked["chart"], **{name: each for name, each in asked.items() if name != "chart"}
            )
        )
        for _ in range(2)
    )  # type: ignore[arg-type]
    assert one == other


# The command line

words = st.one_of(
    st.text(st.characters(exclude_characters="\0/", exclude_categories=["Cs"]), max_size=8),
    st.integers(-10, 200).map(str),
    st.sampled_from(
        ["", "-", "--", "0", "3.5", "1e3", "９", "²", "C4", "root", "swing", "C minor", "../x", "x" * 300]
    ),
)
file_names = st.builds(
    str.__add__,
    st.text("ab .~%é-", max_size=4),
    st.sampled_from(["", ".mid", ".MID", ".txt", ".json", ".ogg", "/", ".midi", ".pdf", ".svg", ".mei"]),
)
OPTIONS: dict[str, list[str]] = {
    # what each option may rightly or nearly rightly be
    "--count": ["1", "2", "3", "1001"],
    "--seed": ["0", "7", "123456789012345678901234567890"],
    "--key": ["C", "Ebm", "F# minor", "c"],
    "--metre": sorted(METRES),
    "--tempo": ["20", "133", "400"],
    "--rhythm": list(PACK.rhythm_names),
    "--level": ["1", "2", "3", "4", "5"],
    "--busy": list(BUSY),
    "--shape": sorted(PACK.shapes),
    "--low": PITCHES,
    "--high": PITCHES,
    "--for": ["intro", "turnaround", "ending"],
    "--ends-on": ["root,third", " fifth "],
    "--lead-to": PITCHES,
    "--parts": ["right", "right,left,bass,drums", "left, bass", "drums", "left"],
    "--times": ["1", "2", "3"],
    "--swing": ["1", "1.5", "4", "nan", "inf"],
    "--feel": ["0", "0.5", "1", "nan"],
    "--close": ["held", "button", "fading"],
    "--bass": ["keyboard", "pedals"],
    "--span": ["0", "5", "12", "24"],
    "--sound": ["flute", "12", "129", "left=12", "bass = Tuba", "drums=1"],
    "--format": ["text", "json", "mid", "svg"],
    "--intro": ["0", "2", "4", "-1"],
    "--ending": ["0", "4"],
    "--quote": ["0", "1", "9"],
    "--bars": ["2", "4", "0"],
    "--rules": ["own.toml", "bad.toml"],
    "--hand": ["small", "medium", "large"],
    "--part": ["1", "Tune", "2"],
    "--keep": ["1", "1,2", "rhythm", "pitches", "1,contour", "2-1"],
    "--as": ["1", "2", "3", "4", "5"],
    "--move-to": ["Eb", "F# minor", "Cb"],
    "--slowest": ["0.3", "0.6", "1", "nan", "-inf"],
    "--steps": ["1", "2", "12"],
    "--turns": ["1", "2", "50"],
    "--levels": ["1", "1,2", "2,3,"],
    "--per-level": ["1", "2"],
    "--sequence": ["backdoor turnaround", "tag"],
    "--to": ["C", "Fm7"],
    "--changes": ["tag", "| C | G7 |"],
    "--chords": ["| C | G7 | C |", "| C |"],
    "--check": ["own.toml", "bad.toml"],
    "--jobs": ["1", "2"],
    "--soundfont": ["tune.abc", "none.sf2"],
    "--only": ["1", "1,2", "2-3", "9"],
    "--view": ["right-hand", "lead-sheet", "two-hands", "3"],
    "--paper": ["a4", "letter", "A5"],
    "--title": ["Blue Lantern", "😀 & <b>", "x" * 200],
    "--port": ["0", "Piano", "99999"],
    "--loop": ["0", "1", "2"],
    "--latency": ["0", "30", "-5", "9999"],
    "--input": ["Piano"],
    "--book": ["own.book", "tune.abc", "."],
    "--since": ["2026-11-01", "2026-13-01"],
    "--until": ["2026-11-01", "yesterday"],
    "--stars": ["0", "3", "5", "6"],
    "--tag": ["gig", "' OR 1=1 --"],
    "--words": ["lantern", "%", '"'],
    "--set": ["Tuesday"],
    "--chart": ["| C | G7 |", "lantern"],
}
OUTPUTS = ["a.mid", "b/", "c.json", "d.txt", "a.mid", "e.musicxml", "f.html", "g.svg", "h.pdf", "i.mei"]
FLAGS = ["--overwrite", "--second-set", "--count-in", "--slow-down", "--overwrite", "--nope", "-o", "extra"]
SHORT = ["| C | G7 |", "| C |", "| Ebmaj7 | Gm7 C7 |", "| F Bb | N.C. C7 | F |", "-", "1", "2,3", "1-2"]


TUNE = """<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Tune</part-name></score-part>
</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions><key><fifths>0</fifths></key>
<time><beats>4</beats><beat-type>4</beat-type></time></attributes>
<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>
<note><pitch><step>G</step><octave>4</octave></pitch><duration>4</duration><type>whole</type></note></measure>
<measure number="2"><harmony><root><root-step>G</root-step></root><kind>dominant</kind></harmony>
<note><pitch><step>F</step><octave>4</octave></pitch><duration>4</duration><type>whole</type></note></measure>
<measure number="3"><harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>
<note><pitch><step>E</step><octave>4</octave></pitch><duration>4</duration><type>whole</type></note></measure>
</part></score-partwise>
"""
ABC = "X:1\nM:4/4\nL:1/4\nK:C\nE D C2|F E D2|]\n"
FILES = {
    "own.toml": "[weights]\nshape = 3\n",
    "bad.toml": "[weights]\nshapes = 3\n",
    "tune.musicxml": TUNE,
    "tune.abc": ABC,
    "charts/one.txt": "| C | G7 |",
    "charts/two.txt": "| Hm |",
}
ARGUMENTS = {
    "chart": SHORT,
    "phrase": ["E5q D5q C5h", "C5h E5h | D5h B4h", "tune.abc", "tune.musicxml", "-", "rq", "F#5w | Eb4s"],
    "file": ["tune.musicxml"],
    "folder": ["charts", "charts/", "."],
    "name": ["swing", "leap-limit", "3", "arch"],
    "ids": ["1", "1,2", "2-3", "999"],
    "idea": ["1", "2", "999"],
    "word": ["gig", "lesson"],
    "topic": ["charts", "ideas", "chart", "sax"],
    "text": ["went well", "😀", ""],
    "sources": ["tune.abc", "tune.musicxml", "own.toml", "charts"],
    "others": ["own.book", "tune.abc"],
}
COMMANDS = all_commands()
"""Every command, and those of the idea book, by the words that call it."""
CODES = {"check": {0, 1, 2}, "listen": {0, 1, 2, 130}, "play": {0, 2, 130}}
"""What a command may end with besides 0 and 2."""


@st.composite
def command_lines(draw: st.DrawFn) -> list[str]:
    """Any command with some of its options, most of them right, and sometimes a chart or an option that is none."""
    wild = st.integers(0, 5).map(lambda number: number == 0)
    words_of_call = draw(st.sampled_from([*[("ideas",)] * len(COMMANDS), *sorted(COMMANDS)]))
    command, name = COMMANDS[words_of_call], words_of_call[0]
    arguments = [*words_of_call]
    for argument in (p for p in command.params if p.param_type_name == "argument"):
        usual = st.sampled_from(ARGUMENTS[argument.name])
        odd = chart_texts.filter(lambda text: "\0" not in text) | words
        arguments += [draw(odd if draw(wild) else usual)]
    options = {p.opts[0]: p for p in command.params if p.param_type_name == "option"}
    chosen = draw(st.lists(st.sampled_from(sorted(options)), max_size=5, unique=True))
    several = [option for option in chosen if options[option].multiple]
    chosen += draw(st.lists(st.sampled_from(several), max_size=2)) if several else []
    chosen += [draw(st.sampled_from(chosen))] if chosen and draw(st.integers(0, 15)) == 0 else []
    for option in [*(["--count"] if name == "ideas" and "--count" not in chosen else []), *chosen]:
        is_wild = draw(wild)
        if options[option].is_flag:
            arguments += [option]
        elif option == "--output":
            arguments += [option, draw(file_names if is_wild else st.sampled_from(OUTPUTS))]
        else:
            usual = st.sampled_from(OPTIONS.get(option, ["1", "2", "4", "C"]))
            arguments += [option, draw(words if is_wild else usual)]
    return arguments + (draw(st.lists(st.sampled_from(FLAGS), max_size=2)) if draw(wild) else [])


@settings(FUZZ, max_examples=examples(200))
@given(arguments=command_lines(), typed=st.binary(max_size=20) | st.just(b"| C | F |"))
@example(arguments=["ideas", "| C |", "-n", "1", "-o", "x" * 300 + ".txt"], typed=b"")
@example(arguments=["ideas", "| C |", "-n", "1", "--sound", "9" * 5000, "-o", "a.mid"], typed=b"")
@example(arguments=["rules", "9" * 5000], typed=b"")
@example(arguments=["ideas", "title: \udcff\n| C |", "-n", "1", "-o", "a.txt"], typed=b"")
@example(arguments=["ideas", "\udcff", "-n", "1"], typed=b"")
@example(arguments=["ideas", "| C |", "-n", "1", "--low", "C0", "--high", "G9"], typed=b"")
@example(arguments=["vary", "1", "--like", "--last", "-n", "1", "-o", "a.mid", "-o", "b/"], typed=b"")
@example(arguments=["tune", "tune.musicxml", "-n", "9" * 30, "-o", "a.mid", "-o", "a.svg"], typed=b"")
@example(arguments=["ideas", "| C |", "-n", "1", "-o", "b/", "-o", "own.toml/", "-o", "c.json"], typed=b"")
@example(arguments=["ideas", "| C |", "-n", "1", "-o", "a.mid", "-o", "within/../a.mid"], typed=b"")
@example(arguments=["practice", "| C |", "-o", "a.html", "-o", "a.mid", "--only", "99"], typed=b"")
def test_any_command_line_ends_well(arguments: list[str], typed: bytes) -> None:
    """Any command line ends with a code that is promised and without a traceback, and leaves no draft of a file."""
    out, err = io.StringIO(), io.StringIO()
    with tempfile.TemporaryDirectory() as name, contextlib.chdir(name):
        folder = Path("within") / "two"
        folder.mkdir(parents=True)
        for file, content in FILES.items():
            (folder / file).parent.mkdir(exist_ok=True)
            (folder / file).write_text(content)
        with (
            contextlib.chdir(folder),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
            mock.patch("sys.stdin", io.TextIOWrapper(io.BytesIO(typed))),
            mock.patch("fillgen.server.serving.serve", return_value=None),
        ):
            code = _code(arguments)
        left = [path.name for path in Path().rglob("*") if path.is_file()]
    assert code in CODES.get(arguments[0], {0, 2})
    assert "Traceback" not in err.getvalue()
    assert not [file for file in left if file.endswith(".part")]
    if len(arguments) != len(dict.fromkeys(arguments)) and _gives_twice(arguments):
        assert code == 2
    if code == 2:
        assert err.getvalue()
        books = {Path(after).name for option, after in pairwise(arguments) if option == "--book"}
        books -= {Path(file).name for file in FILES}
        left = [file for file in left if file.removesuffix("-wal").removesuffix("-shm") not in books]
        assert arguments[0] == "batch" or sorted(left) == sorted(Path(file).name for file in FILES)
    elif arguments[0] == "ideas" and "json" in arguments and out.getvalue():
        assert json.loads(out.getvalue())["ideas"]


def _code(arguments: list[str]) -> object:
    try:
        main(arguments)
    except SystemExit as end:
        return end.code or 0
    return None


def _gives_twice(arguments: list[str]) -> bool:
    """Whether an option that takes one value stands twice among the options of a command, by its long name."""
    words = tuple(arguments[:2]) if tuple(arguments[:2]) in COMMANDS else (arguments[0],)
    single = {p.opts[0] for p in COMMANDS[words].params if p.param_type_name == "option" and not p.multiple}
    options = [word for word in arguments if word in single]
    return len(options) != len(set(options))


def test_values_are_of_options_there_are() -> None:
    """Every option and argument for which values are drawn is one of some command, and each that takes a word has some."""
    params = [param for command in COMMANDS.values() for param in command.params]
    assert OPTIONS.keys() <= {param.opts[0] for param in params if param.param_type_name == "option"}
    assert ARGUMENTS.keys() == {param.name for param in params if param.param_type_name == "argument"}
