"""The commands that take a phrase of one's own: `check`, `vary`, `practice`; and `ideas --explain`."""

from __future__ import annotations

import io
import json
import re
from pathlib import Path

import mido
import pytest

import fillgen
from tests.commands import Call, refused
from tests.unit.cli.test_cli import CHART, texts_of

HOME = "| Cm | Ab | Fm7 | G7 |"
RIGHT = "Eb5q D5q C5h | C5q. Bb4e Ab4h | Ab4q G4q F4h | G4h B4h"
WRONG = "Eb5q D5q C5h | C5q. Bb4e Ab4h | Ab4q G4q F4h | G4h C5h"


# check


def test_right_phrase_ends_with_what_works(call: Call) -> None:
    """A phrase that keeps every rule: code 0, a verdict first, what works, and every note if asked."""
    answer = call("check", HOME, RIGHT)
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.splitlines()[0] == "Nothing clashes: the phrase keeps every rule of level 3."
    assert "What works" in answer.out
    assert "Note by note" not in answer.out
    assert "Note by note" in call("check", HOME, RIGHT, "--explain").out


def test_wrong_phrase_is_mended(call: Call) -> None:
    """A phrase that clashes: code 1, the place, the rule, and a mend that is right when it is checked."""
    answer = call("check", HOME, WRONG, "--format", "json")
    document = json.loads(answer.out)
    assert (answer.code, answer.err, document["right"]) == (1, "", False)
    assert {(fault["bar"], fault["note"]) for fault in document["faults"]} == {(4, 10)}
    assert {(fault["kind"], fault["rule"]) for fault in document["faults"]} == {
        ("clash", "unresolved-half-step")
    }
    assert call("check", HOME, document["mend"]["text"]).code == 0


def test_only_clashes_have_code_1_unless_strict(call: Call) -> None:
    """Repeated notes, a close on the fifth and an accented passing note: code 0, 1 where the check is strict."""
    phrase = "Eb5q Eb5q Eb5h | C5q. Bb4e Ab4h | C5h Bb4q Ab4q | G4h D5h"
    document = json.loads(call("check", HOME, phrase, "--format", "json").out)
    assert {fault["kind"] for fault in document["faults"]} == {"style", "level"}
    assert (document["right"], document["mend"]) == (True, None)
    assert call("check", HOME, phrase).code == 0
    strict = call("check", HOME, phrase, "--strict", "--format", "json")
    assert (strict.code, json.loads(strict.out)["right"]) == (1, False)
    assert call("check", HOME, json.loads(strict.out)["mend"]["text"], "--strict").code == 0
    assert call("check", HOME, RIGHT, "--strict").code == 0


def test_lowest_level_is_found(call: Call) -> None:
    """`--level auto` takes the lowest level that a phrase fits; roots alone are of the first."""
    levels = {
        phrase: json.loads(call("check", "| C | G7 |", phrase, "--level", "auto", "--format", "json").out)[
            "level"
        ]
        for phrase in ("C5w | G4w", "E5h C5h | D5h B4h", "E5q D5q C5h | D5h B4h")
    }
    assert list(levels.values()) == [1, 2, 3]


def test_level_auto_without_one(call: Call) -> None:
    """Where no level fits, the highest is told, and the code is 1."""
    answer = call("check", "| C |", "C#5w", "--level", "auto")
    assert answer.code == 1
    assert "No level fits" in answer.out


def test_phrase_from_standard_input(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    """A phrase is read from standard input with -, a chart too, but not both."""
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(RIGHT.encode())))
    assert call("check", HOME, "-").code == 0
    refused(call("check", "-", "-"), "standard input")


def test_own_ideas_are_right(call: Call, tmp_path: Path) -> None:
    """What `ideas` writes as MIDI, `check` reads and finds right at its level."""
    assert call("ideas", CHART, "-n", "3", "-o", "takes/", "--level", "3", "--swing", "1").code == 0
    for path in sorted((tmp_path / "takes").iterdir()):
        answer = call("check", CHART, str(path), "--format", "json")
        assert (answer.code, json.loads(answer.out)["right"]) == (0, True)


def test_many_ideas_in_one_file_are_refused(call: Call) -> None:
    """A file of several ideas is no phrase; the way on is said."""
    assert call("ideas", CHART, "-n", "3", "-o", "three.mid").code == 0
    refused(call("check", CHART, "three.mid"), "three.mid", "3 ideas", "-o NAME/")


def test_check_is_written(call: Call, tmp_path: Path) -> None:
    """The answer goes to a text or JSON file as well, and the code stays what it is."""
    assert call("check", HOME, WRONG, "-o", "told.txt").code == 1
    assert "1 note clashes" in (tmp_path / "told.txt").read_text(encoding="utf-8")
    assert call("check", HOME, WRONG, "-o", "told.json").code == 1
    assert json.loads((tmp_path / "told.json").read_text(encoding="utf-8"))["right"] is False
    refused(call("check", HOME, WRONG, "-o", "told/"), "'told/'", ".txt", ".json")


BAD = {
    "note that is none": (["check", HOME, "H5w"], ["bar 1, note 1", "'H5w'"]),
    "bar that is not full": (
        ["check", "| C | F |", "C5w | E5q E5q | C5w"],
        ["bar 2", "2 quarter notes", "4"],
    ),
    "no such file": (["check", HOME, "nothing.abc"], ["nothing.abc", "no such file"]),
    "unknown level": (["check", HOME, RIGHT, "--level", "nine"], ["'nine'", "1, 2, 3, 4, 5", "auto"]),
    "level there is not": (["check", HOME, RIGHT, "--level", "9"], ["no level 9"]),
    "metre against metre": (["check", "metre: 3/4\n| C |", "C5w", "--metre", "4/4", "--level", "x"], ["'x'"]),
    "part there is not": (["check", HOME, RIGHT, "--part", "flute"], ["flute"]),
    "keep that is nothing": (["vary", HOME, RIGHT, "--keep", "rythm"], ["'rythm'", "'rhythm'"]),
    "keep bar 9": (["vary", HOME, RIGHT, "--keep", "9"], ["9", "4"]),
    "all kept": (["vary", HOME, RIGHT, "--keep", "1-4"], ["nothing is left"]),
    "nothing asked": (["vary", HOME, RIGHT], ["--keep"]),
    "like and unlike": (["vary", HOME, RIGHT, "--like", "--unlike"], ["--like", "--unlike"]),
    "unknown key": (["vary", HOME, RIGHT, "--move-to", "H"], ["'H'"]),
    "wrong note kept": (["vary", HOME, WRONG, "--keep", "4"], ["bar 4, beat 3", "C5"]),
    "practice upside down": (["practice", HOME, "--slowest", "2", "-o", "x.mid"], ["0.3", "1"]),
    "practice to nowhere": (["practice", HOME, "-o", "x.json"], ["x.json", ".mid", ".html"]),
    "turns on paper": (["practice", HOME, "--turns", "2", "-o", "x.html"], [".mid"]),
    "idea there is not": (["practice", HOME, "--only", "0", "-o", "x.mid"], ["'0'", "50 ideas"]),
    "levels that are none": (["practice", HOME, "--levels", "1,two"], ["'two'"]),
    "too long a session": (
        ["practice", HOME, "--turns", "50", "--tempo", "20", "-o", "x.mid"],
        ["more than 60", "33 turns"],
    ),
    "a loop of two": (["practice", HOME, "--only", "1,2", "-o", "x.mid"], ["one idea", "--only"]),
    "lesson and a loop of nothing": (
        ["practice", HOME, "--only", "60", "-o", "x.html", "-o", "x.mid"],
        ["'60'", "50 ideas"],
    ),
    "explained from nowhere": (["ideas", HOME, "-n", "2", "--explain", "--only", "3"], ["'3'", "2 ideas"]),
    "explained as MIDI": (["ideas", HOME, "--explain", "-o", "x.mid"], ["--explain", ".txt"]),
    "check explained as JSON": (["check", HOME, RIGHT, "--explain", "--format", "json"], ["--explain"]),
    "check explained in a JSON file": (["check", HOME, RIGHT, "--explain", "-o", "x.json"], ["--explain"]),
    "explained as JSON": (["ideas", HOME, "--explain", "--format", "json"], ["--explain", ".txt"]),
    "huge level": (["check", HOME, RIGHT, "--level", "9" * 5000], ["unknown level"]),
    "ladder that goes down": (["practice", HOME, "--levels", "3,2"], ["rise"]),
    "level of a lesson": (["practice", HOME, "--level", "4"], ["--levels"]),
    "turns and an idea": (["practice", HOME, "--turns", "2", "--only", "2"], ["--only"]),
    "keys and turns": (["practice", HOME, "--keys", "fifths", "--turns", "2"], ["--turns", "--keys"]),
    "keys and a ladder": (
        ["practice", HOME, "--keys", "fifths", "--levels", "1,2"],
        ["--levels", "--level 2"],
    ),
    "keys from slow": (["practice", HOME, "--keys", "fifths", "--slowest", "0.5"], ["--slowest", "--steps"]),
    "keys of no order": (["practice", HOME, "--keys", "half-stepps", "-o", "x.mid"], ["'half-steps'"]),
    "key of the other mode": (["practice", HOME, RIGHT, "--keys", "Eb major"], ["mode", "minor key"]),
    "key named twice": (["practice", HOME, RIGHT, "--keys", "F,D,F"], ["F minor", "once"]),
    "keys of two ideas": (["practice", HOME, "--keys", "fifths", "--only", "1,2"], ["one idea", "--only"]),
    "keys for hours": (
        ["practice", HOME, RIGHT, "--keys", "fifths", "--steps", "12", "--times", "16"],
        ["more than 60", "room for"],
    ),
    "keys out of range": (
        ["practice", HOME, "--keys", "fifths", "--low", "C4", "--high", "C5", "-o", "x.mid"],
        ["between C4 and C5", "--low"],
    ),
    "options of ideas with a phrase": (
        ["practice", HOME, RIGHT, "--shape", "arch", "--ends-on", "root", "-o", "x.mid"],
        ["--shape and --ends-on", "phrase"],
    ),
    "part without a phrase": (["practice", HOME, "--part", "2"], ["--part"]),
    "last without ranks": (["vary", HOME, RIGHT, "--last"], ["--last"]),
    "only a variant there is not": (["vary", HOME, RIGHT, "--like", "-n", "2", "--only", "3"], ["'3'"]),
    "no phrase": (["check", HOME], ["phrase", "number"]),
    "as and a level": (["vary", HOME, RIGHT, "--as", "2", "--level", "4"], ["--as"]),
}


@pytest.mark.parametrize(("arguments", "parts"), BAD.values(), ids=BAD)
def test_bad_input_is_refused(call: Call, tmp_path: Path, arguments: list[str], parts: list[str]) -> None:
    """Bad input gets code 2 and a line or two with what helps; nothing is written."""
    refused(call(*arguments), *parts)
    assert list(tmp_path.iterdir()) == []


# vary


def test_kept_bars_stay(call: Call) -> None:
    """Variants have the bars that are kept, and others in the place of the rest; what is printed reads back."""
    answer = call("vary", HOME, RIGHT, "--keep", "1,2", "-n", "5")
    found = [[bar.split() for bar in text.strip(" |").split("|")] for text in texts_of(answer.out)]
    own = [bar.split() for bar in RIGHT.split("|")]
    assert len(found) == 5
    for bars in found:
        assert [list(filter(None, bar)) for bar in bars[:2]] == own[:2]
        assert bars[2:] != own[2:]
    assert all(call("check", HOME, text, "--level", "auto").code == 0 for text in texts_of(answer.out))


def test_moved_phrase_comes_with_its_chart(call: Call) -> None:
    """A phrase moved to another key has its chords moved too, as JSON tells."""
    document = json.loads(call("vary", HOME, RIGHT, "--move-to", "D minor", "--format", "json").out)
    chords = [bar["chords"][0]["symbol"] for bar in document["chart"]["bars"]]
    assert (document["chart"]["key"], chords) == ("D minor", ["Dm", "Bb", "Gm7", "A7"])
    moved = [note["midi"] for note in document["ideas"][0]["notes"]]
    own = [note.midi for note in fillgen.parse_phrase(RIGHT, fillgen.parse_chart(HOME).metre)]
    assert {new - old for new, old in zip(moved, own, strict=True)} == {2}


def test_a_cut_chart_is_moved_too(call: Call) -> None:
    """A phrase over the N.C. at the beginning of a chart can be moved: the ear keeps the chord that comes."""
    assert call("vary", "| N.C. | G7 |", "C5w", "--move-to", "Ab", "--key", "C").code == 0


def test_a_part_of_a_phrase_need_not_close(call: Call) -> None:
    """A phrase shorter than its chart is varied as it is checked: its last note is free."""
    chart, phrase = "| C | F | C | G7 |", "E5h G5h | F5h C5h"
    assert call("check", chart, phrase).code == 0
    assert call("vary", chart, phrase, "--keep", "2", "-n", "2").code == 0


def test_nearest_first_is_said(call: Call) -> None:
    """Variants that are shown nearest first say so, and no sentence tells of ranks by score."""
    document = json.loads(call("vary", HOME, RIGHT, "--mirror", "--format", "json").out)
    assert "nearest first" in call("vary", HOME, RIGHT, "--mirror").out.splitlines()[1]
    assert {idea["why"][-1] for idea in document["ideas"]} == {
        "The ideas are shown nearest first, not by their scores."
    }


def test_bars_are_numbered_alike(call: Call) -> None:
    """With a pick-up the bars of the chart have the numbers that notes and faults have."""
    answer = call("check", "| C | G7 |", "rh. G4q | C5h E5h | D5h B4h", "--format", "json")
    document = json.loads(answer.out)
    assert [bar["bar"] for bar in document["chart"]["bars"]] == [0, 1, 2]
    assert {note["bar"] for note in document["notes"]} == {0, 1, 2}


def test_an_idea_has_one_number(call: Call) -> None:
    """Idea 3 of `practice` is idea 3 of `ideas`."""
    third = json.loads(call("ideas", HOME, "--format", "json").out)["ideas"][2]["notes"]
    call(
        "practice",
        HOME,
        "--only",
        "3",
        "--parts",
        "right",
        "--steps",
        "1",
        "--times",
        "1",
        "--swing",
        "1",
        "-o",
        "x.mid",
    )
    played = [m.note for m in mido.MidiFile("x.mid").tracks[1] if m.type == "note_on" and m.velocity]
    assert played[: len(third)] == [note["midi"] for note in third]


def test_variants_are_written_as_midi(call: Call, tmp_path: Path) -> None:
    """Variants go to one MIDI file, or one each in a folder."""
    assert call("vary", HOME, RIGHT, "--like", "-n", "3", "-o", "near/").code == 0
    assert len(list((tmp_path / "near").iterdir())) == 3
    assert call("vary", HOME, RIGHT, "--mirror", "-o", "turned.mid", "--parts", "right,bass").code == 0
    assert len(mido.MidiFile(tmp_path / "turned.mid").tracks) == 3


# practice


def test_loop_is_written_and_told(call: Call, tmp_path: Path) -> None:
    """A loop is written as MIDI with rising tempi, and its rounds are told."""
    answer = call("practice", HOME, RIGHT, "--tempo", "100", "--steps", "2", "-o", "loop.mid")
    assert answer.code == 0
    tempi = [
        round(60_000_000 / message.tempo)
        for message in mido.MidiFile(tmp_path / "loop.mid").tracks[0]
        if message.type == "set_tempo"
    ]
    assert tempi == sorted(tempi)
    assert {60, 100} <= set(tempi)
    assert "60 a minute, right hand alone" in answer.out


def test_lesson_goes_up_the_ladder(call: Call, tmp_path: Path) -> None:
    """A lesson sheet has cautions at its head, a step for each level, and the pupil's own phrase at the end."""
    printed = call("practice", HOME, RIGHT, "--levels", "1,2")
    assert printed.code == 0
    order = [
        printed.out.index(word) for word in ("Before you begin", "Level 1", "Level 2", "Your own phrase")
    ]
    assert order == sorted(order)
    assert call("practice", HOME, "-o", "sheet.html").code == 0
    assert "<script" not in (tmp_path / "sheet.html").read_text(encoding="utf-8")


def test_turns_leave_room(call: Call, tmp_path: Path) -> None:
    """Call and answer: as many ideas as turns, the right hand silent in between."""
    answer = call("practice", HOME, "--turns", "3", "-o", "turns.mid")
    assert answer.code == 0
    right = mido.MidiFile(tmp_path / "turns.mid").tracks[1]
    assert sum(message.type == "note_on" for message in right) > 10
    plan = call("practice", HOME, "--turns", "3")
    assert plan.out == answer.out


def test_a_phrase_goes_through_the_keys(call: Call, tmp_path: Path) -> None:
    """Twelve keys, each once, told with the phrase and its fingers in each; one file has no rest, a sheet twelve signatures."""
    answer = call(
        "practice",
        HOME,
        RIGHT,
        "--keys",
        "fourths",
        "--tempo",
        "120",
        "-o",
        "keys.mid",
        "-o",
        "keys.musicxml",
    )
    assert answer.code == 0
    bars = RIGHT.count("|") + 1
    assert mido.MidiFile(tmp_path / "keys.mid").length == pytest.approx((12 * bars + 1) * 2, abs=0.01)
    assert answer.out.count("120 a minute, all parts") == 12
    assert answer.out.count("finger |") >= 12
    score = (tmp_path / "keys.musicxml").read_text(encoding="utf-8")
    signs = [int(sign) for sign in re.findall(r"<fifths>(-?\d+)</fifths>", score)]
    assert sorted(set(signs)) == list(range(-6, 6))
    assert len(signs) == 12


def test_steps_rise_in_each_of_some_keys(call: Call, tmp_path: Path) -> None:
    """A list of keys is played in its order, each from slow to its tempo, all on paper too."""
    listed = ("practice", HOME, "--keys", "F,B", "--only", "2", "--parts", "right,left")
    answer = call(
        *listed, "--steps", "2", "--slowest", "0.5", "--tempo", "100", "-o", "some.html", "-o", "some.txt"
    )
    assert answer.code == 0
    text = (tmp_path / "some.txt").read_text(encoding="utf-8")
    assert re.findall(r"(\w+) minor, (\d+) a minute, both hands", text) == [
        ("F", "50"),
        ("F", "100"),
        ("B", "50"),
        ("B", "100"),
    ]
    assert (tmp_path / "some.html").read_text(encoding="utf-8").count("<section") == 2


# ideas explained


def test_an_idea_is_explained(call: Call) -> None:
    """`--explain` says of the ideas chosen what each note is and why it ranks where it does; JSON says it of all."""
    answer = call("ideas", CHART, "-n", "3", "--explain", "--only", "2")
    document = json.loads(call("ideas", CHART, "-n", "3", "--format", "json").out)
    second = document["ideas"][1]
    flat = " ".join(answer.out.split())
    assert "idea 2 of 3" in flat
    for note in second["notes"]:
        assert " ".join(note["why"].split()) in flat
    assert second["terms"].keys() == {line.split("`")[1] for line in second["why"] if line.startswith("`")}
    best = call("ideas", CHART, "-n", "3", "--explain").out
    assert best == call("ideas", CHART, "-n", "3", "--explain", "--only", "1").out
    both = call("ideas", CHART, "-n", "3", "--explain", "--only", "3,1").out
    assert [int(number) for number in re.findall(r"idea (\d) of 3", both, re.MULTILINE)] == [3, 1]
    assert call("ideas", CHART, "-n", "3", "--explain", "-o", "why.txt").code == 0
    assert Path("why.txt").read_text(encoding="utf-8") == best
