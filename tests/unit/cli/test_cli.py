"""The command line: what it writes and where, what it says of bad input, and that it writes nothing then."""

from __future__ import annotations

import errno
import io
import json
import os
import re
import subprocess
import sys
from itertools import product
from pathlib import Path
from typing import Any

import mido
import pytest

import fillgen
from fillgen import RulePack, parse_chart, parse_phrase
from fillgen.chart.text import MOST_BARS
from fillgen.rules.pack import BUSY
from fillgen.rules.rulebook import RULES
from fillgen.teaching.clashes import CLASHES
from fillgen.theory.metre import METRES
from fillgen.theory.pitch import read_pitch
from fillgen.writers import files
from tests.commands import Answer, Call, refused, tree
from tests.effort import each_once, one_in

CHART = "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |"
PACK = RulePack()


@pytest.fixture(autouse=True)
def without_a_book(monkeypatch: pytest.MonkeyPatch) -> None:
    """What stands in the idea book is told in a line of its own, which is tested elsewhere."""
    monkeypatch.setenv("FILLGEN_NO_BOOK", "1")


def texts_of(printed: str) -> list[str]:
    """The phrase text of each idea, from the note lines of the printed text."""
    found: list[str] = []
    for line in printed.splitlines():
        if re.match(r" *\d+  [a-z]", line):
            found.append("")
        elif line.startswith(" notes |"):
            found[-1] += line.removeprefix(" notes |")
    return found


def flat(printed: str) -> str:
    """A printed text as one line."""
    return " ".join(printed.split())


def right_hand(path: Path, kind: str) -> list[Any]:
    """The messages of a kind on the first channel of a MIDI file, which is the right hand's."""
    messages = [message for track in mido.MidiFile(path).tracks for message in track]
    return [message for message in messages if message.type == kind and message.channel == 0]


def expected(chart: str = CHART, **settings: Any) -> fillgen.Ideas:
    """The ideas that the library finds for the same request."""
    return fillgen.ideas(chart, **settings)


# Bad input

LONG = "| C " * 10_000 + "|"
BAD: dict[str, tuple[list[str], list[str]]] = {
    # what is wrong: arguments, and what the message must hold
    "unknown chord": (["| C | Hm7 |"], ["bar 2, chord 1", "'Hm7'", "'Bm7'"]),
    "unknown quality": (["| C | Fmaj77 |"], ["bar 2, chord 1", "'Fmaj77'", "'Fmaj7'"]),
    "numeral without a key": (["| I | V7 |"], ["bar 1, chord 1", "'I'", "--key"]),
    "empty chart": ([""], ["chart", "empty", "| Ebmaj7 |"]),
    "chart of bar lines": (["| |"], ["bar 1", "empty", "N.C."]),
    "wrong metre": (["| C |", "--metre", "11/4"], ["'11/4'", *METRES]),
    "wrong metre in the chart": (["metre: 11/4\n| C |"], ["'11/4'", *METRES]),
    "chart that does not fill its bars": (
        ["| C | F / G |"],
        ["bar 2", "3 beats", "4/4 bar has 4", "one beat"],
    ),
    "chords that do not share a bar": (["| C F G |"], ["bar 1", "3 chords", "4 beats", "| C F G / |"]),
    "no chord at all": (["| N.C. |"], ["only N.C."]),
    "repeat that is not closed": (["|: C | F |"], ["repeat", ":|"]),
    "10,000 bars": ([LONG], [f"more than {MOST_BARS} bars", str(MOST_BARS)]),
    "too long a text": (["| C |" + " " * 100_000], ["characters", "100000"]),
    "impossible range": (
        ["| C | F#7 |", "--low", "C4", "--high", "D4"],
        ["bar 2", "C4", "D4", "final-note", "--low", "--high"],
    ),
    "impossible range in the middle": (
        ["| C | F#7 | C |", "--low", "C4", "--high", "C4", "--level", "2"],
        ["bar 2", "C4", "strong-beat", "--low", "--high"],
    ),
    "range upside down": (["| C |", "--low", "A5", "--high", "D4"], ["A5", "D4", "lowest", "highest"]),
    "tune out of reach": (["| C |", "--lead-to", "C8"], ["bar 1", "lead-in"]),
    "low that is no pitch": (["| C |", "--low", "H4"], ["'H4'", "lowest", "D4"]),
    "high that is no pitch": (["| C |", "--high", "67"], ["'67'", "highest", "D4"]),
    "lead that is no pitch": (["| C |", "--lead-to", "C99"], ["'C99'", "D4"]),
    "count 0": (["| C |", "--count", "0"], ["0", "1 to 1000"]),
    "count below 0": (["| C |", "-n", "-5"], ["-5", "1 to 1000"]),
    "count 1001": (["| C |", "--count", "1001"], ["1001", "1 to 1000"]),
    "seed below 0": (["| C |", "--seed", "-1"], ["-1", "0"]),
    "tempo too slow": (["| C |", "--tempo", "19"], ["19", "20 to 400"]),
    "tempo too fast": (["| C |", "--tempo", "401"], ["401", "20 to 400"]),
    "unknown rhythm": (["| C |", "--rhythm", "foxtrott"], ["'foxtrott'", "'foxtrot'"]),
    "rhythm like no other": (["| C |", "--rhythm", "xyz"], ["'xyz'", *PACK.rhythm_names]),
    "rhythm not in the metre": (
        ["| C |", "--metre", "3/4", "--rhythm", "swing"],
        ["swing", "3/4", "4/4", "5/4"],
    ),
    "unknown shape": (["| C |", "--shape", "arck"], ["'arck'", "'arch'"]),
    "empty shape": (["| C |", "--shape", ""], ["''", *PACK.shapes]),
    "unknown busyness": (["| C |", "--busy", "lots"], ["'lots'", *BUSY]),
    "unknown purpose": (["| C |", "--for", "outro"], ["'outro'", "'intro'"]),
    "ending that does not end": (["| C | G7 |", "--for", "ending"], ["G7", "tonic", "C"]),
    "unknown degree": (["| C |", "--ends-on", "root,thrid"], ["'thrid'", "'third'"]),
    "no degree": (["| C |", "--ends-on", ""], ["root", "third", "fifth"]),
    "unknown level": (["| C |", "--level", "9"], ["9", "1, 2, 3, 4, 5"]),
    "unknown key": (["| C |", "--key", "H"], ["'H'", "B major"]),
    "nearly a key": (["| C |", "--key", "Eb mayor"], ["'Eb mayor'", "'Eb major'"]),
    "missing chart file": (["missing.txt"], ["missing.txt", "no such file"]),
    "rules from nowhere": (["| C |", "--rules", "none.toml"], ["none.toml: no such file"]),
    "rules from a folder": (["| C |", "--rules", "."], [".: cannot be read"]),
}


OUTPUTS = (None, "out.mid")


@pytest.mark.parametrize(
    ("what", "output"),
    one_in(2, [(what, OUTPUTS[(n + turn) % 2]) for n, what in enumerate(BAD) for turn in range(2)]),
)
def test_bad_input(call: Call, tmp_path: Path, what: str, output: str | None) -> None:
    """Bad input ends with code 2 and a line that names the place, the wrong word and the nearest right one."""
    arguments, parts = BAD[what]
    refused(call("ideas", *arguments, *(["-o", output] if output else [])), *parts)
    assert tree(tmp_path) == {}


BAD_OUTPUT: dict[str, tuple[list[str], list[str]]] = {
    "unknown ending": (["-o", "out.ogg"], ["'out.ogg'", ".mid", ".txt", ".json", "/"]),
    "no ending": (["-o", "out"], ["'out'", ".mid", ".txt", ".json", "/"]),
    "ending and format": (["-o", "out.txt", "--format", "json"], ["--format", "-o NAME.json"]),
    "ending and the same format": (["-o", "out.json", "--format", "json"], ["--format"]),
    "folder and format": (["-o", "out/", "--format", "json"], ["--format"]),
    "one output twice": (["-o", "out.txt", "-o", "out.txt"], ["'out.txt'", "twice"]),
    "one output twice, written otherwise": (
        ["-o", "out.txt", "-o", "folder/../out.txt"],
        ["out.txt'", "twice"],
    ),
    "missing folder": (["-o", "none/out.txt"], ["none/out.txt", "cannot be written"]),
    "missing folder of MIDI": (["-o", "none/out.mid"], ["none/out.mid", "cannot be written"]),
    "folder in a file": (["-o", "kept.txt/out.mid"], ["kept.txt/out.mid", "cannot be written"]),
    "folder that is a file": (["-o", "kept.txt/"], ["kept.txt", "cannot be made"]),
    "existing file": (["-o", "kept.txt"], ["kept.txt", "exists already", "--overwrite"]),
    "existing JSON file": (["-o", "kept.json"], ["kept.json", "exists already", "--overwrite"]),
    "existing MIDI file": (["-o", "kept.mid"], ["kept.mid", "exists already", "--overwrite"]),
    "existing file in a folder": (["-o", "folder/"], ["idea-01.mid", "exists already", "--overwrite"]),
    "no name": (["-o", ""], ["''"]),
    "too long a name": (["-o", "x" * 300 + ".txt"], ["xxx"]),
    "too long a name of MIDI": (["-o", "x" * 300 + ".mid"], ["xxx"]),
    "unknown sound": (["-o", "out.mid", "--sound", "Vibrafone"], ["'Vibrafone'", "'Vibraphone'"]),
    "unknown sound of a folder": (["-o", "out/", "--sound", "Vibrafone"], ["'Vibrafone'", "'Vibraphone'"]),
    "unknown sound where none is used": (["--sound", "Vibrafone"], ["'Vibrafone'", "'Vibraphone'"]),
    "sound 0": (["-o", "out.mid", "--sound", "0"], ["0", "1 to 128"]),
    "sound 129": (["-o", "out.mid", "--sound", "129"], ["129", "1 to 128"]),
    "sound of many digits": (["-o", "out.mid", "--sound", "9" * 5000], ["1 to 128"]),
}


@pytest.mark.parametrize("what", BAD_OUTPUT)
def test_bad_output(call: Call, tmp_path: Path, what: str) -> None:
    """What cannot be written is refused by name, and nothing that was there is touched."""
    for name in ("kept.txt", "kept.json", "kept.mid"):
        (tmp_path / name).write_bytes(b"old")
    for name in ("folder", "folder.txt"):
        (tmp_path / name).mkdir()
    (tmp_path / "folder" / "idea-01.mid").write_bytes(b"old")
    before = tree(tmp_path)
    arguments, parts = BAD_OUTPUT[what]
    refused(call("ideas", "| C | G7 |", "-n", "2", *arguments), *parts)
    assert tree(tmp_path) == before
    assert not (tmp_path / "out").exists()


BAD_USE: dict[str, tuple[list[str], list[str]]] = {
    "unknown option": (["ideas", "| C |", "--shap", "arch"], ["--shap", "--shape"]),
    "unknown command": (["idea", "| C |"], ["'idea'"]),
    "no chart": (["ideas"], ["chart"]),
    "two charts": (["ideas", "| C |", "| F |"], ["| F |"]),
    "option without a value": (["ideas", "| C |", "--key"], ["--key"]),
    "count that is not a number": (["ideas", "| C |", "--count", "ten"], ["--count", "'ten'"]),
    "level that is no number": (["ideas", "| C |", "--level", "high"], ["--level", "'high'"]),
    "tempo of many digits": (["ideas", "| C |", "--tempo", "9" * 5000], ["--tempo"]),
    "unknown format": (["ideas", "| C |", "--format", "xml"], ["'xml'", "text", "json"]),
    "unknown format of ports": (["ports", "--format", "xml"], ["'xml'", "text", "json"]),
    "unknown format of the book": (["book", "--format", "xml"], ["'xml'", "text", "json"]),
}


@pytest.mark.parametrize("what", BAD_USE)
def test_bad_use(call: Call, tmp_path: Path, what: str) -> None:
    """Unknown options, missing values and words for numbers end with code 2 and name what is wrong."""
    arguments, parts = BAD_USE[what]
    answer = call(*arguments)
    assert (answer.code, answer.out) == (2, "")
    assert "Traceback" not in answer.err
    assert [part for part in parts if part not in answer.err] == []
    assert tree(tmp_path) == {}


@pytest.mark.parametrize(
    "what", ["unknown option", "no chart", "count that is not a number", "unknown format"]
)
def test_bad_use_is_said_as_shortly(call: Call, what: str) -> None:
    """A mistake in the use of the command is said in one or two lines, as every other mistake is."""
    answer = call(*BAD_USE[what][0])
    assert 1 <= len(answer.err.splitlines()) <= 2


@pytest.mark.parametrize(
    "content",
    [
        b"| C | G7 \xff |",
        b"\x89PNG\r\n\x1a\n\x00\x00",
        b"\xff\xfe|\x00 \x00C\x00",
        b"MThd\x00\x00\x00\x06\x00\x01",
    ],
)
@pytest.mark.parametrize("source", ["chart.txt", "-"])
def test_bytes_that_are_no_chart(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, content: bytes, source: str
) -> None:
    """A file or an input that is not text, or not a chart, is refused."""
    (tmp_path / "chart.txt").write_bytes(content)
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(content)))
    refused(call("ideas", source, "-o", "out.mid"), "text")
    assert set(tree(tmp_path)) == {"chart.txt"}


def test_file_that_is_too_long(call: Call, tmp_path: Path) -> None:
    """A file far beyond the limit is refused with the limit, whatever is in it."""
    (tmp_path / "chart.txt").write_text("| C " * 1_000_000)
    refused(call("ideas", "chart.txt"), "characters", "100000")


def test_folder_no_one_may_enter(call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A path below a folder that may not be entered is refused by name."""
    ask = Path.stat

    def guarded(path: Path, **settings: Any) -> os.stat_result:
        if "secret" in path.parts[:-1]:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
        return ask(path, **settings)

    monkeypatch.setattr(Path, "stat", guarded)
    refused(call("ideas", "| C |", "-o", "secret/out.mid"), "secret/out.mid")
    assert tree(tmp_path) == {}


def test_folder_no_one_may_write_to(call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder that may not be written to is refused with the reason, and nothing is written."""

    def denied(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))

    monkeypatch.setattr(files.tempfile, "mkstemp", denied)
    refused(call("ideas", "| C |", "-o", "out.mid"), "out.mid", os.strerror(errno.EACCES))
    assert tree(tmp_path) == {}


@pytest.mark.parametrize("output", ["out.txt", "out.mid", "out.json", "out/"])
def test_title_of_bytes_that_are_no_text(call: Call, output: str) -> None:
    """A chart argument with bytes that are no text is refused or written, and ends without a traceback."""
    answer = call("ideas", "title: Caf\udce9\n| C |", "-n", "1", "-o", output)
    assert answer.code in {0, 2}
    assert len(answer.err.splitlines()) <= 2


BAD_PACKS = {
    "not TOML": ("[[level]\n", ["own.toml", "TOML"]),
    "unknown key": ("[[rhytm]]\n", ["own.toml", "'rhytm'", "'rhythm'"]),
    "unknown rule": (
        '[[level]]\nnumber = 6\nlike = 3\n[[level.rule]]\nkind = "leap-limits"\n',
        ["own.toml", "level 6", "'leap-limits'", "'leap-limit'"],
    ),
    "number out of range": (
        '[[level]]\nnumber = 6\nlike = 3\n[[level.rule]]\nkind = "leap-limit"\nsemitones = 99\n',
        ["own.toml", "level 6", "leap-limit", "'semitones'", "1 and 36"],
    ),
}


TAKING_A_PACK = (["ideas", "| C |", "-o", "out.mid", "--rules"], ["rules", "--rules"], ["rules", "--check"])


@pytest.mark.parametrize(("what", "command"), one_in(2, product(BAD_PACKS, TAKING_A_PACK)))
def test_bad_rule_pack(call: Call, tmp_path: Path, what: str, command: list[str]) -> None:
    """A wrong rule pack is refused by every command that takes one, naming file, rule and key."""
    text, parts = BAD_PACKS[what]
    (tmp_path / "own.toml").write_text(text)
    refused(call(*command, "own.toml"), *parts)
    assert set(tree(tmp_path)) == {"own.toml"}


GALLOP = """[[rhythm]]
name = "gallop"
tempo = 120
cells = {"4/4" = {some = ["q e e q e e"]}}
closes = {"4/4" = {some = ["q e e h"]}}
"""
BAD_BACKING = {
    # what is wrong: a line of the rhythm, and what the message must hold
    "number for a metre": ('accompaniment = {"4/4" = 3}', ["4/4"]),
    "number for a metre of the drums": ('drums = {"4/4" = 3}', ["4/4"]),
    "unknown metre": ('accompaniment = {"4/5" = {bass = ["1w"]}}', ["'4/5'", "'4/4'"]),
    "unknown metre of the drums": ('drums = {"4/5" = {"Ride Cymbal 1" = ["x..."]}}', ["'4/5'", "'4/4'"]),
    "unknown key": ('accompaniment = {"4/4" = {bas = ["1w"]}}', ["'bas'", "'bass'"]),
    "number for bass bars": ('accompaniment = {"4/4" = {bass = 3}}', ["'bass'", "list"]),
    "bass that does not fill the bar": ('accompaniment = {"4/4" = {bass = ["1q"]}}', ["'1q'", "4/4"]),
    "unknown note of the bass": ('accompaniment = {"4/4" = {bass = ["9w"]}}', ["'9w'"]),
    "bass without a note": ('accompaniment = {"4/4" = {bass = ["rw"]}}', ["'rw'"]),
    "chords that do not fill the bar": ('accompaniment = {"4/4" = {chords = ["w w"]}}', ["'w w'"]),
    "list for a bar of chords": ('accompaniment = {"4/4" = {chords = [["w"]]}}', ["'chords'"]),
    "unknown percussion": (
        'drums = {"4/4" = {"Ride Cymbel 1" = ["x..."]}}',
        ["'Ride Cymbel 1'", "'Ride Cymbal 1'"],
    ),
    "unknown step": ('drums = {"4/4" = {"Ride Cymbal 1" = ["x.y."]}}', ["'x.y.'", "'Ride Cymbal 1'"]),
    "steps that do not share the bar": ('drums = {"4/4" = {"Ride Cymbal 1" = ["xxxxxxx"]}}', ["'xxxxxxx'"]),
    "no bar of drums": ('drums = {"4/4" = {"Ride Cymbal 1" = []}}', ["'Ride Cymbal 1'"]),
    "number for drum bars": ('drums = {"4/4" = {"Ride Cymbal 1" = 3}}', ["'Ride Cymbal 1'"]),
    "number for a drum bar": ('drums = {"4/4" = {"Ride Cymbal 1" = [3]}}', ["'Ride Cymbal 1'"]),
}
PLAYED = [
    "ideas",
    "| C |",
    "-o",
    "out.mid",
    "--rhythm",
    "gallop",
    "--parts",
    "right,left,bass,drums",
    "--rules",
]


@pytest.mark.parametrize(("command", "what"), each_once(product((PLAYED, ["rules", "--check"]), BAD_BACKING)))
def test_bad_backing_in_a_rule_pack(call: Call, tmp_path: Path, what: str, command: list[str]) -> None:
    """A wrong accompaniment in a pack is refused when it is checked and when it is played, naming file and rhythm."""
    line, parts = BAD_BACKING[what]
    (tmp_path / "own.toml").write_text(f"{GALLOP}{line}\n")
    refused(call(*command, "own.toml"), "own.toml", "gallop", *parts)
    assert set(tree(tmp_path)) == {"own.toml"}


BAD_PLAYING: dict[str, tuple[list[str], list[str]]] = {
    "unknown part": (["--parts", "right,lefft"], ["'lefft'", "'left'"]),
    "no part": (["--parts", ""], ["right", "left", "bass", "drums"]),
    "no time": (["--times", "0"], ["0", "1 to 32"]),
    "too many times": (["--times", "33"], ["33", "1 to 32"]),
    "swing backwards": (["--swing", "0.5"], ["0.5", "1", "4"]),
    "swing that is not a number": (["--swing", "nan"], ["nan", "1", "4"]),
    "too loose": (["--feel", "1.5"], ["1.5", "0", "1"]),
    "unknown close": (["--close", "hold"], ["'hold'", "'held'"]),
    "unknown bass": (["--bass", "pedal"], ["'pedal'", "'pedals'"]),
    "span of nothing": (["--span", "0"], ["0", "span"]),
    "span of two octaves": (["--span", "24"], ["24", "span"]),
    "unknown part of a sound": (["--sound", "lefft=flute"], ["'lefft'", "'left'"]),
    "unknown sound of a part": (["--sound", "left=flut"], ["'flut'", "Flute"]),
}


@pytest.mark.parametrize(
    ("what", "output"), one_in(2, product(BAD_PLAYING, (["-o", "out.mid"], ["-o", "out.json"], [])))
)
def test_bad_playing(call: Call, tmp_path: Path, what: str, output: list[str]) -> None:
    """A way of playing that is not offered is refused, whether or not what is written would be played."""
    arguments, parts = BAD_PLAYING[what]
    refused(call("ideas", "| C | G7 |", "-n", "1", *arguments, *output), *parts)
    assert tree(tmp_path) == {}


@pytest.mark.parametrize(
    ("name", "parts"),
    [
        ("leaplimit", ["'leaplimit'", "'leap-limit'"]),
        ("9", ["'9'"]),
        ("xyz", ["'xyz'", "fillgen rules"]),
        ("9" * 5000, ["999"]),
    ],
)
def test_unknown_name_of_a_rule(call: Call, name: str, parts: list[str]) -> None:
    """An unknown rule is refused, and the nearest is named or where to find them all."""
    refused(call("rules", name), *parts)


# Text


def test_text(call: Call) -> None:
    """The text tells key, metre, rhythm, tempo, level, seed and the number of phrases, and every idea in order."""
    answer = call("ideas", CHART, "-n", "5", "--seed", "3")
    found = expected(count=5, seed=3)
    assert (answer.code, answer.err) == (0, "")
    head = answer.out.split("\n\n")[0]
    for part in (
        "Eb major",
        "4/4",
        "foxtrot",
        f"{found.tempo}",
        "level 3",
        "seed 3",
        f"5 ideas of {found.phrases:,} phrases",
    ):
        assert part in head
    ranks = re.findall(r"^ *(\d+)  ([a-z ]+)$", answer.out, re.MULTILINE)
    assert ranks == [(str(idea.rank), idea.shape) for idea in found]


@pytest.mark.costly
@pytest.mark.parametrize(
    ("chart", "settings"),
    [
        (CHART, {}),
        (CHART, {"level": 1}),
        (CHART, {"level": 5, "busy": "many", "rhythm": "swing"}),
        ("| Ab | Cm7 | Db Eb7 | Ab | Db | Dbm | Ab Eb7 | Ab |", {"level": 4}),
        ("| F | Gm7 | C7 | F |", {"metre": "3/4", "level": 4, "busy": "many"}),
        ("| D | A7 |", {"metre": "6/8"}),
        ("| D | A7 | D | N.C. | G |", {"metre": "9/8", "level": 5}),
        ("| D | A7 |", {"metre": "12/8", "level": 4, "busy": "many"}),
        ("| D / / A7 / | D |", {"metre": "5/4"}),
        ("| G | D7 |", {"metre": "2/4", "busy": "few"}),
        ("| Bb6/9 Ebmaj7#11 | F13b9 |", {"metre": "2/2"}),
        ("| C |", {"level": 2}),
    ],
)
def test_note_lines_read_back(call: Call, chart: str, settings: dict[str, Any]) -> None:
    """The note lines of each idea, row after row, are phrase text for the idea's notes."""
    options = [part for key, value in settings.items() for part in (f"--{key}", str(value))]
    printed = texts_of(call("ideas", chart, "-n", "10", *options).out)
    found = expected(chart, count=10, **settings)
    metre = METRES[settings.get("metre", "4/4")]
    assert [parse_phrase(text, metre) for text in printed] == [idea.phrase for idea in found]


@pytest.mark.costly
@pytest.mark.parametrize("level", [1, 2, 3, 4, 5])
def test_every_note_is_marked(call: Call, level: int) -> None:
    """Under each note stands one mark, which is its degree or the short name of its kind."""
    answer = call("ideas", CHART, "-n", "3", "--level", str(level))
    lines = answer.out.splitlines()
    told = [note for idea in expected(count=3, level=level) for note in idea.notes]
    marks = [
        mark for n, line in enumerate(lines) if line.startswith(" notes |") for mark in lines[n + 1].split()
    ]
    marks = [mark for mark in marks if mark != "|"]
    assert len(marks) == len(told)
    for mark, note in zip(marks, told, strict=True):
        assert (mark == note.degree) == (note.role == "chord tone")


def test_chords_stand_over_their_notes(call: Call) -> None:
    """Each chord begins in the column of the note that sounds with it."""
    lines = call(
        "ideas", "| Eb Gm7 | Abmaj7 Bb7 |", "-n", "1", "--level", "1", "--seed", "2"
    ).out.splitlines()
    chords = next(line for line in lines if line.startswith(" chord |"))
    notes = next(line for line in lines if line.startswith(" notes |"))
    assert [m.start() for m in re.finditer(r"[A-G]\S*", chords)] == [
        m.start() for m in re.finditer(r"[A-G]\S*", notes)
    ]


def test_title_is_told(call: Call) -> None:
    """The title of a chart stands at the head of the text."""
    assert call("ideas", "title: Paper Kite Ferry\n| C |", "-n", "1").out.startswith(
        "Paper Kite Ferry: C major"
    )


def test_remarks_stand_at_the_end(call: Call) -> None:
    """Where fewer ideas are found than asked for the text says why; a file leaves that to standard error."""
    shown = call("ideas", "| C |", "--level", "1", "--low", "C4", "--high", "B4")
    assert shown.out.splitlines()[-1].startswith("Note: ")
    assert shown.err == ""
    written = call("ideas", "| C |", "--level", "1", "--low", "C4", "--high", "B4", "--format", "json")
    assert "Note: " in written.err
    assert json.loads(written.out)["remarks"]


# JSON


def test_json_has_the_promised_keys(call: Call) -> None:
    """The JSON has the keys that other programs rely on, at every depth."""
    answer = call(
        "ideas", "| Ebmaj7 | N.C. C7/E | Fm7 / / Bb7 |", "-n", "4", "--format", "json", "--seed", "7"
    )
    assert (answer.code, answer.err) == (0, "")
    told = json.loads(answer.out)
    assert {"chart", "space", "seed", "ideas"} <= set(told)
    assert {"key", "metre", "tempo", "bars"} <= set(told["chart"])
    assert {"phrases"} <= set(told["space"])
    for number, bar in enumerate(told["chart"]["bars"], 1):
        assert bar["bar"] == number
        for chord in bar["chords"]:
            assert {"symbol", "onset", "duration", "tones"} <= set(chord)
    for rank, idea in enumerate(told["ideas"], 1):
        assert {"rank", "score", "terms", "shape", "text", "notes"} <= set(idea)
        assert idea["rank"] == rank
        for note in idea["notes"]:
            assert {"bar", "onset", "duration", "midi", "name", "role", "degree"} <= set(note)


def test_json_tells_the_chart(call: Call) -> None:
    """The chart in the JSON has every chord with its beats in its bar and its tones."""
    told = json.loads(
        call("ideas", "| Ebmaj7 | N.C. C7/E | Fm7 / / Bb7 |", "-n", "1", "--format", "json").out
    )
    chart = told["chart"]
    assert (chart["key"], chart["metre"], chart["tempo"]) == ("Eb major", "4/4", 116)
    rows = [
        (bar["bar"], chord["symbol"], chord["onset"], chord["duration"], " ".join(chord["tones"]))
        for bar in chart["bars"]
        for chord in bar["chords"]
    ]
    assert rows == [
        (1, "Ebmaj7", 0, 4, "Eb G Bb D"),
        (2, "N.C.", 0, 2, ""),
        (2, "C7/E", 2, 2, "C E G Bb"),
        (3, "Fm7", 0, 3, "F Ab C Eb"),
        (3, "Bb7", 3, 1, "Bb D F Ab"),
    ]


@pytest.mark.parametrize("settings", [{}, {"level": 5, "busy": "many", "rhythm": "swing", "seed": 4}])
def test_json_tells_the_ideas(call: Call, settings: dict[str, Any]) -> None:
    """The ideas in the JSON are those of the library, note by note."""
    options = [part for key, value in settings.items() for part in (f"--{key}", str(value))]
    told = json.loads(call("ideas", CHART, "-n", "6", "--format", "json", *options).out)
    found = expected(count=6, **settings)
    assert (told["space"]["phrases"], told["seed"]) == (found.phrases, found.seed)
    for row, idea in zip(told["ideas"], found, strict=True):
        assert (row["score"], row["shape"], row["text"]) == (idea.score, idea.shape, idea.text)
        assert row["terms"] == dict(idea.terms)
        notes = [(n["bar"], n["midi"], n["name"], n["role"], n["degree"]) for n in row["notes"]]
        assert notes == [(n.bar, n.note.midi, n.name, n.role, n.degree) for n in idea.notes]
        for n, note in zip(row["notes"], idea.phrase, strict=True):
            assert n["onset"] * 480 == pytest.approx(note.onset, abs=0.01)
            assert n["duration"] * 480 == pytest.approx(note.length, abs=0.01)


# Files


@pytest.mark.parametrize("name", ["out.txt", "OUT.TXT", "out.json"])
def test_written_text_is_the_printed_text(call: Call, tmp_path: Path, name: str) -> None:
    """A text or JSON file holds what would be printed but for the hint at other options, and the number of ideas is told on standard error."""
    printed = call("ideas", CHART, "-n", "3", "--format", "json" if name.endswith("json") else "text").out
    printed = printed.replace("To see why an idea fits and ranks where it does: --only 3 --explain\n", "")
    answer = call("ideas", CHART, "-n", "3", "-o", name)
    assert (answer.code, answer.out) == (0, "")
    assert answer.err == f"3 ideas in {name}\n"
    assert tree(tmp_path) == {name: printed.encode()}


@pytest.mark.parametrize("name", ["out.mid", "out.midi"])
def test_midi_file(call: Call, tmp_path: Path, name: str) -> None:
    """A MIDI file holds all notes of all ideas in order, a marker for each, and the sound."""
    answer = call("ideas", CHART, "-n", "3", "-o", name, "--sound", "flute")
    assert (answer.code, answer.out, answer.err) == (0, "", f"3 ideas in {name}\n")
    played = [message.note for message in right_hand(tmp_path / name, "note_on")]
    assert played == [note.midi for idea in expected(count=3) for note in idea.phrase]
    assert [message.program for message in right_hand(tmp_path / name, "program_change")] == [73]
    messages = [message for track in mido.MidiFile(tmp_path / name).tracks for message in track]
    markers = [message.text for message in messages if message.type == "marker"]
    assert [text.partition(":")[0] for text in markers] == ["Idea 1", "Idea 2", "Idea 3"]


@pytest.mark.parametrize("sound", [None, "12", "vibraphone", " Vibraphone "])
def test_sounds(call: Call, tmp_path: Path, sound: str | None) -> None:
    """A sound is given by name or by its number on paper; the vibraphone is taken where none is."""
    call("ideas", "| C |", "-n", "1", "-o", "out.mid", *(["--sound", sound] if sound else []))
    assert [message.program for message in right_hand(tmp_path / "out.mid", "program_change")] == [11]


@pytest.mark.parametrize("folder", ["takes/", "a/b/takes/", "there"])
def test_folder_of_midi_files(call: Call, tmp_path: Path, folder: str) -> None:
    """A name with / at its end, or an existing folder, takes one MIDI file for each idea."""
    (tmp_path / "there").mkdir()
    answer = call("ideas", CHART, "-n", "3", "-o", folder)
    assert (answer.code, answer.err) == (0, f"3 ideas in {folder}\n")
    written = tree(tmp_path / folder)
    assert sorted(written) == ["idea-01.mid", "idea-02.mid", "idea-03.mid"]
    for name, idea in zip(sorted(written), expected(count=3), strict=True):
        played = [message.note for message in right_hand(tmp_path / folder / name, "note_on")]
        assert played == [note.midi for note in idea.phrase]


@pytest.mark.parametrize("name", ["out.txt", "out.json", "out.mid"])
def test_overwrite(call: Call, tmp_path: Path, name: str) -> None:
    """With --overwrite an existing file is replaced by what would have been written without it."""
    call("ideas", "| C |", "-n", "1", "-o", name)
    fresh = (tmp_path / name).read_bytes()
    (tmp_path / name).write_bytes(b"old")
    assert call("ideas", "| C |", "-n", "1", "-o", name, "--overwrite").code == 0
    assert tree(tmp_path) == {name: fresh}


def test_overwrite_a_folder(call: Call, tmp_path: Path) -> None:
    """With --overwrite the files of a folder are replaced, and files of other names stay."""
    (tmp_path / "takes").mkdir()
    for name in ("idea-02.mid", "mine.txt"):
        (tmp_path / "takes" / name).write_bytes(b"old")
    assert call("ideas", "| C | G7 |", "-n", "2", "-o", "takes/", "--overwrite").code == 0
    written = tree(tmp_path / "takes")
    assert sorted(written) == ["idea-01.mid", "idea-02.mid", "mine.txt"]
    assert (written["mine.txt"], written["idea-02.mid"][:4]) == (b"old", b"MThd")


# Charts from elsewhere


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("source", ["chart.txt", "chart", "-"])
def test_chart_from_file_and_standard_input(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, source: str, encoding: str
) -> None:
    """A chart from a file or from standard input is read as the same text would be."""
    text = "title: Café Lantern\nkey: C minor\nmetre: 3/4\n| Cm | Fm | G7 | Cm |\n| E♭ | G7 |\n"
    if source == "-":
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text.encode(encoding))))
    else:
        (tmp_path / source).write_bytes(text.encode(encoding))
    given = call("ideas", source, "-n", "2")
    assert given.out.startswith("Café Lantern: C minor, 3/4, waltz")
    assert given == call("ideas", text, "-n", "2")


@pytest.mark.parametrize(
    "words", [["notes"], ["voicings"], ["practice"], ["ideas", "--format", "json"], ["ideas"], ["check"]]
)
def test_what_a_chart_left_open_is_said_once(call: Call, words: list[str]) -> None:
    """Every command says that each chord is a bar where a chart has no bar lines, with or beside its answer."""
    phrase = ["C5w | G4w"] if words[0] == "check" else []
    given = call(*words, "Ab Eb7", *phrase)
    assert (
        len(
            re.findall(
                r"There are no bar\s+lines", given.out if words[-1] in ("ideas", "check") else given.err
            )
        )
        == 1
    )
    assert "no bar" not in call(*words, "| Ab | Eb7 |", *phrase).err


def test_options_reach_the_generator(call: Call) -> None:
    """Every option of the command does what the setting of the same name does in the library."""
    options = (
        "--key Eb --metre 4/4 --tempo 150 --rhythm swing --level 4 --busy many --shape fall --low E4 --high A5 "
        "--for turnaround --ends-on third,fifth --lead-to G4 --seed 11 --count 4"
    )
    printed = call("ideas", CHART, *options.split(), "--format", "json")
    found = fillgen.ideas(
        CHART,
        key="Eb",
        metre="4/4",
        tempo=150,
        rhythm="swing",
        level=4,
        busy="many",
        shape="fall",
        low="E4",
        high="A5",
        purpose="turnaround",
        ends_on=("third", "fifth"),
        lead_to="G4",
        seed=11,
        count=4,
    )
    told = json.loads(printed.out)
    assert [idea["text"] for idea in told["ideas"]] == [idea.text for idea in found]
    assert told["chart"]["tempo"] == 150
    assert all(64 <= note["midi"] <= 81 for idea in told["ideas"] for note in idea["notes"])
    assert all(abs(idea["notes"][-1]["midi"] - 67) <= 4 for idea in told["ideas"])
    assert {idea["notes"][-1]["degree"] for idea in told["ideas"]} <= {"3", "5"}


def test_lead_to_the_lowest_pitch_is_a_lead(call: Call) -> None:
    """The lowest pitch there is can be led to as any other: a range that does not reach it leaves no phrase."""
    refused(call("ideas", "| C |", "--lead-to", "C-1"), "lead-in")


@pytest.mark.parametrize("pitch", ["C4", "C-1", "G9"])
def test_range_of_one_pitch(call: Call, pitch: str) -> None:
    """A range of one pitch leaves no phrase that moves, which is said with the ways to loosen it."""
    refused(call("ideas", "| C | C |", "--low", pitch, "--high", pitch), pitch, "--low", "--high")


@pytest.mark.parametrize(
    ("low", "high"),
    [("C4", "G4"), ("C-1", "C0"), ("C9", "G9"), ("C3", "C6"), ("C3", "C#6"), ("C2", "C6")],
)
def test_every_range_is_answered(call: Call, low: str, high: str) -> None:
    """Every range that holds a fifth is answered with ideas inside it, low, high or wide."""
    answer = call("ideas", "| C | C |", "--low", low, "--high", high, "-n", "3", "--format", "json")
    assert answer.code == 0
    lowest, highest = read_pitch(low), read_pitch(high)
    notes = [note["midi"] for idea in json.loads(answer.out)["ideas"] for note in idea["notes"]]
    assert notes
    assert all(lowest <= midi <= highest for midi in notes)


def test_a_range_beyond_four_octaves_is_refused(call: Call) -> None:
    """A range that no right hand's line needs is refused, with what may be asked for."""
    refused(
        call("ideas", "| C | C |", "--low", "C-1", "--high", "G9"), "127 half steps", "--low", "four octaves"
    )


def test_too_many_ideas_over_a_long_chart_are_refused(call: Call) -> None:
    """A thousand ideas over 300 bars are refused with the number that can be had."""
    refused(call("ideas", f"|{' C |' * 300}", "-n", "1000"), "1000", "85")


# Other commands


def test_version(call: Call) -> None:
    """--version prints name and version."""
    assert call("--version") == Answer(0, f"fillgen {fillgen.__version__}\n", "")


@pytest.mark.parametrize("arguments", [["--help"], ["ideas", "--help"], ["rules", "--help"]])
def test_help(call: Call, arguments: list[str]) -> None:
    """--help prints what a command does."""
    answer = call(*arguments)
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.startswith("Usage: ")
    assert "--help" in answer.out


def test_listing(call: Call) -> None:
    """`rules` lists every level, rule, rhythm and shape."""
    answer = call("rules")
    assert (answer.code, answer.err) == (0, "")
    for name in (*map(str, PACK.level_numbers), *RULES, *CLASHES, *PACK.rhythm_names, *PACK.shapes):
        assert re.search(rf"^  {re.escape(name)} ", answer.out, re.MULTILINE), name
    assert "{" not in answer.out
    assert "1 bars" not in answer.out


@pytest.mark.parametrize("rule", RULES.values(), ids=lambda rule: rule.kind)
def test_rule_is_explained(call: Call, rule: Any) -> None:
    """`rules NAME` tells of a rule what it asks at each level, why, whose it is, and what keeps and breaks it."""
    answer = call("rules", rule.kind)
    assert (answer.code, answer.err) == (0, "")
    for part in (rule.kind, rule.reason, rule.source, rule.keeps.phrase, rule.breaks.phrase):
        assert part in flat(answer.out)
    for number in PACK.level_numbers:
        for use in PACK.level(number).uses:
            if use.rule is rule:
                assert f"level {number}: {use.text}" in flat(answer.out)
    assert ("on request: " in answer.out) == ("level " not in answer.out)


@pytest.mark.parametrize("rule", CLASHES.values(), ids=lambda rule: rule.name)
def test_what_clashes_is_explained(call: Call, rule: Any) -> None:
    """`rules NAME` explains the rules that a fault of `check` names and no level switches off."""
    answer = call("rules", rule.name)
    assert (answer.code, answer.err) == (0, "")
    assert rule.says in flat(answer.out)
    assert rule.reason in flat(answer.out)


@pytest.mark.parametrize("name", PACK.rhythm_names)
def test_rhythm_is_explained(call: Call, name: str) -> None:
    """`rules NAME` tells of a rhythm its tempo, where it comes from, and its cells, which read back."""
    answer, rhythm = call("rules", name.upper()), PACK.rhythm(name)
    assert (answer.code, answer.err) == (0, "")
    told = flat(answer.out)
    assert rhythm.says in told
    assert f"Tempo {rhythm.tempo}" in told
    for (metre, busy), cells in rhythm.cells.items():
        assert f"{metre} {busy}: " + " ".join(cell.text for cell in cells) in told


@pytest.mark.parametrize("name", PACK.shapes)
def test_shape_is_explained(call: Call, name: str) -> None:
    """`rules NAME` tells of a shape what it is and where its points lie."""
    answer, shape = call("rules", name), PACK.shapes[name]
    assert (answer.code, answer.err) == (0, "")
    assert shape.says in flat(answer.out)
    assert all(f"{height:g} at {time:g}" in flat(answer.out) for time, height in shape.points)


@pytest.mark.parametrize(
    ("number", "form"), each_once(product(PACK.level_numbers, ("{}", "level {}", "Level {}")))
)
def test_level_is_explained(call: Call, number: int, form: str) -> None:
    """`rules NUMBER` tells of a level what it is for, its range, and every rule with its numbers."""
    answer, level = call("rules", form.format(number)), PACK.level(number)
    assert (answer.code, answer.err) == (0, "")
    assert level.says in flat(answer.out)
    assert all(use.text in flat(answer.out) for use in level.uses)


def test_examples_of_rules_read_back(call: Call) -> None:
    """The example phrases that are printed are phrase text over chart text."""
    for kind in RULES:
        printed = call("rules", kind).out
        rows = re.findall(r"^(?:Keeps|Breaks) it: +(.+?)  over  (\|.*\|)", printed, re.MULTILINE)
        assert len(rows) == 2
        for phrase, chart in rows:
            assert parse_phrase(phrase, parse_chart(chart).metre)


def test_own_pack(call: Call, tmp_path: Path) -> None:
    """A pack of the player's own is checked, listed, explained and used."""
    (tmp_path / "own.toml").write_text(
        '[[level]]\nnumber = 6\nlike = 2\nname = "narrow"\nlow = "G4"\nhigh = "G5"\n'
        '[[shape]]\nname = "dip"\nsays = "Down and up."\npoints = [[0, 1], [0.5, 0], [1, 1]]\n'
    )
    checked = call("rules", "--check", "own.toml")
    assert (checked.code, checked.err) == (0, "")
    assert "own.toml is a valid rule pack" in checked.out
    assert "1 level" in checked.out
    assert "1 shape" in checked.out
    assert re.search(r"^  6 +narrow", call("rules", "--rules", "own.toml").out, re.MULTILINE)
    assert "Down and up." in call("rules", "dip", "--rules", "own.toml").out
    used = call("ideas", CHART, "-n", "2", "--rules", "own.toml", "--level", "6", "--shape", "dip")
    assert used.code == 0
    assert "level 6" in used.out


def test_a_mistake_in_a_file_names_the_file(call: Call, tmp_path: Path) -> None:
    """Before the line and the bar; a chart that is text has no name."""
    (tmp_path / "lamps.txt").write_text("| Eb |\n| Fm7 | Hm7 |\n")
    (tmp_path / "fern.txt").write_text("G4w | G4w | G4w")
    (tmp_path / "wren.abc").write_text("X:1\nT:Wren\nM:4/4\nL:1/4\nK:Eb\nG4 | G4 | G4 |\n")
    for command in (
        ["ideas", "lamps.txt"],
        ["check", "lamps.txt", "G4w"],
        ["voicings", "lamps.txt"],
        ["listen", "lamps.txt"],
        ["page", "lamps.txt"],
        ["tune", "wren.abc", "--chords", "lamps.txt"],
        ["book", "import", "fern.txt", "--chart", "lamps.txt"],
        ["book", "--chart", "lamps.txt"],
    ):
        refused(call(*command), "fillgen: lamps.txt, line 2, bar 3, chord 1: unknown chord 'Hm7'")
    refused(call("ideas", "| Eb | Hm7 |"), "fillgen: bar 2, chord 1: unknown chord 'Hm7'")
    for head, wrong in (("metre: 13/4", "unknown metre '13/4'"), ("key: Q", "unknown key 'Q'")):
        (tmp_path / "ferry.txt").write_text(f"# evening\n{head}\n| Eb |\n")
        refused(call("ideas", "ferry.txt"), f"fillgen: ferry.txt, line 2: {wrong}")


# The same again


def outputs_of(program: str, folder: Path) -> list[bytes]:
    """What a program prints under two hash seeds, each time in a folder of its own with the same files."""
    outputs = []
    for seed in ("0", "12345"):
        place = folder / seed
        place.mkdir()
        for name, content in tree(folder).items():
            if "/" not in name:
                (place / name).write_bytes(content)
        environment = {**os.environ, "PYTHONHASHSEED": seed}
        done = subprocess.run(
            [sys.executable, "-c", program], cwd=place, env=environment, capture_output=True, check=False
        )
        assert (done.returncode, done.stderr) == (0, b"")
        outputs.append(done.stdout)
    return outputs


def test_same_message_whatever_the_hash_seed(tmp_path: Path) -> None:
    """Of several mistakes in a pack the same one is told under any PYTHONHASHSEED."""
    cells = "".join(f'{busy} = ["w"]\n' for busy in BUSY)
    (tmp_path / "own.toml").write_text(
        '[[rhythm]]\nname = "gallop"\ntempo = 100\n[rhythm.cells."4/4"]\n'
        + cells
        + '[rhythm.closes."3/4"]\nfew = ["h."]\n'
    )
    program = "from fillgen import RulePack, PackError\nfrom pathlib import Path\n"
    program += "try:\n    RulePack.read(Path('own.toml'))\nexcept PackError as error:\n    print(error)"
    one, other = outputs_of(program, tmp_path)
    assert one == other
    assert b"closes" in one


def test_same_request_same_answer(call: Call) -> None:
    """Asked twice in one process the answer is the same; another seed gives another."""
    one, again = (call("ideas", CHART, "-n", "10", "--seed", "5").out for _ in range(2))
    assert one == again
    assert call("ideas", CHART, "-n", "10", "--seed", "6").out != one


# Shell completion


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ("fillgen ideas --rhythm b", {"ballad", "bossa nova", "beguine"}),
        ("fillgen ideas --shape v", {"valley"}),
        ("fillgen ideas --busy f", {"few"}),
        ("fillgen ideas --for e", {"ending"}),
        ("fillgen ideas --sequence back", {"backdoor turnaround", "backdoor close"}),
    ],
)
def test_shell_completes_names(words: str, wanted: set[str]) -> None:
    """The shell is told the names that begin as what is typed."""
    environment = {"_FILLGEN_COMPLETE": "complete_bash", "COMP_WORDS": words, "COMP_CWORD": "3"}
    ran = subprocess.run(
        [sys.executable, "-m", "fillgen"],
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=True,
    )
    assert wanted <= set(ran.stdout.splitlines())


# Hands


def test_fingers_stand_under_the_notes(call: Call) -> None:
    """Ideas are printed with a finger under each note, and JSON holds the same fingers."""
    printed, document = call("ideas", CHART, "-n", "1"), call("ideas", CHART, "-n", "1", "--format", "json")
    rows = [line.partition("|")[2] for line in printed.out.splitlines() if line.startswith("finger")]
    fingers = [int(letter) for row in rows for letter in row if letter.isdigit()]
    assert fingers == [note["finger"] for note in json.loads(document.out)["ideas"][0]["notes"]]
    assert set(fingers) <= {1, 2, 3, 4, 5}


def test_a_hand_is_named_or_refused(call: Call) -> None:
    """A size of hand adds the term `ease`; a size there is not, or a span beyond it, is said."""
    assert "ease" in call("ideas", CHART, "-n", "1", "--hand", "small", "--explain").out
    unknown = call("ideas", CHART, "--hand", "smal")
    assert (unknown.code, "Did you mean 'small'?" in unknown.err) == (2, True)
    wide = call("voicings", CHART, "--hand", "small", "--span", "14")
    assert (wide.code, "The limit for it is 12" in wide.err) == (2, True)
    assert call("voicings", CHART, "--hand", "large", "--span", "15").code == 0
