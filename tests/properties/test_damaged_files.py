"""Damaged files of phrases: whatever is in a file, `check` judges it as a phrase or refuses it in a line, with code 2.

Small whole files (MIDI, MusicXML plain and packed, ABC, phrase text) are damaged in thousands of ways, each drawn from
a seed, so that every run meets the same damage.
"""

from __future__ import annotations

import contextlib
import io
import random
import warnings
from collections.abc import Iterator, Sequence
from itertools import product
from pathlib import Path
from typing import Any
from unittest import mock

import mido
import pytest

from fillgen import parse_phrase, phrase_text
from fillgen.cli import main
from fillgen.readers.phrases import Reading, line_up
from tests.effort import one_in
from tests.mutation import BYTES, Damage, flipped, numbers_changed, packed
from tests.readings import ABC, ABC_VOICES, PHRASES

CHART = "| Ebmaj7 | Bb7 |"


def answered(source: Path) -> Reading | str:
    """What the command line makes of a file: the phrase it judged, or its message with exit code 2.

    Anything else, a traceback or a warning among it, gets out.
    """
    read: list[Reading] = []

    def lined_up(*given: Any, **options: Any) -> Reading:
        read.append(line_up(*given, **options))
        return read[-1]

    told, failed = io.StringIO(), io.StringIO()
    with (
        mock.patch("fillgen.readers.phrases.line_up", lined_up),
        contextlib.redirect_stdout(told),
        contextlib.redirect_stderr(failed),
        pytest.raises(SystemExit) as ended,
    ):
        main(["check", CHART, str(source)])
    if ended.value.code == 2:
        assert not told.getvalue()
        return failed.getvalue()
    assert ended.value.code in (0, 1, None)
    assert not failed.getvalue()
    assert "What works" in told.getvalue()
    return read[-1]


# Whole files


def midi_file(kind: int = 1, division: int = 96) -> bytes:
    """Two bars in two tracks, or in two channels of one."""
    file = mido.MidiFile(type=kind, ticks_per_beat=division)
    head = [
        mido.MetaMessage("track_name", name="Wren"),
        mido.MetaMessage("set_tempo", tempo=500_000),
        mido.MetaMessage("time_signature", numerator=4, denominator=4),
        mido.MetaMessage("key_signature", key="Eb"),
    ]
    tracks = [mido.MidiTrack(head), mido.MidiTrack()] if kind else [mido.MidiTrack(head)]
    for channel, pitches in enumerate(((67, 70, 72, 74, 75), (43, 46, 50))):
        for midi in pitches:
            tracks[-1].append(mido.Message("note_on", channel=channel, note=midi, velocity=80, time=8))
            tracks[-1].append(mido.Message("note_off", channel=channel, note=midi, time=division - 8))
        tracks[-1].append(mido.Message("control_change", channel=channel, control=7, value=90))
    file.tracks.extend(tracks)
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def xml_note(step: str, octave: int, ticks: int, more: str = "") -> str:
    pitch = f"<pitch><step>{step}</step><alter>-1</alter><octave>{octave}</octave></pitch>"
    return f"<note>{pitch}<duration>{ticks}</duration>{more}</note>"


ATTRIBUTES = (
    "<attributes><divisions>6</divisions><key><fifths>-3</fifths></key>"
    "<time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>"
)
HARMONY = "<harmony><root><root-step>E</root-step></root><kind>major-seventh</kind></harmony>"
TIED, LAST = "<tie type='start'/>", "<tie type='stop'/>"
TRIPLET = (
    "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>"
)
XML = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0"><work><work-title>Wren</work-title></work>'
    '<part-list><score-part id="P1"><part-name>Melody</part-name></score-part></part-list><part id="P1">'
    f'<measure number="0" implicit="yes">{ATTRIBUTES}<direction><sound tempo="96"/></direction>'
    f"{xml_note('B', 4, 6)}</measure>"
    f'<measure number="1">{HARMONY}{xml_note("E", 5, 12)}{xml_note("G", 5, 4, TRIPLET)}'
    f"{xml_note('A', 5, 4, TRIPLET)}{xml_note('G', 5, 4, TRIPLET)}</measure>"
    f'<measure number="2">{xml_note("B", 5, 12, TIED)}{xml_note("B", 5, 6, LAST)}'
    "<note><rest/><duration>6</duration></note><barline><repeat direction='backward'/></barline></measure>"
    "</part></score-partwise>"
)

# Damage


def messages_changed(_: bytes, chance: random.Random) -> bytes:
    """A whole MIDI file in which only the music is wrong: times, metres, tempi, the order of messages."""
    file = mido.MidiFile(file=io.BytesIO(midi_file(chance.randrange(2))))
    file.ticks_per_beat = chance.choice((96, 480, 1, 7, 100, 1023, 32_767))
    for track in file.tracks:
        for _ in range(chance.randint(1, 8)):
            at = chance.randrange(len(track))
            kind = chance.randrange(6)
            if kind == 0:
                del track[at]
            elif kind == 1:
                track.insert(at, track[chance.randrange(len(track))])
            elif kind == 2:
                names = {"numerator": chance.choice((1, 3, 7)), "denominator": chance.choice((2, 8, 64))}
                track.insert(at, mido.MetaMessage("time_signature", **names, time=chance.choice((0, 384))))
            elif kind == 3:
                track.insert(
                    at, mido.MetaMessage("set_tempo", tempo=chance.choice((0, 1, 500_000, 0xFFFFFF)))
                )
            else:
                track[at].time = chance.choice((0, 1, 5, 31, 40, 48, 64, 77, 96, 1000, 40_000, 2**28 - 1))
            if not track:
                break
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def re_encoded(data: bytes, chance: random.Random) -> bytes:
    text = data.decode("utf-8")
    return text.encode(chance.choice(("utf-16", "utf-16-be", "utf-32", "utf-7", "utf-8-sig", "cp037")))


def words(nasty: Sequence[str]) -> Damage:
    """Something put in, once or very often."""

    def damaged(data: bytes, chance: random.Random) -> bytes:
        text = data.decode("utf-8")
        at = chance.randrange(len(text) + 1)
        return (text[:at] + chance.choice(nasty) * chance.choice((1, 1, 1, 3, 300)) + text[at:]).encode()

    return damaged


def tags_moved(data: bytes, chance: random.Random) -> bytes:
    """Elements left out, doubled or swapped, at their ends, so that what is left is often whole XML."""
    parts = data.decode("utf-8").replace("</", "\0</").replace("><", ">\0<").split("\0")
    for _ in range(chance.randint(1, 3)):
        a, b = chance.randrange(len(parts)), chance.randrange(len(parts))
        kind = chance.randrange(3)
        if kind == 0:
            parts[a], parts[b] = parts[b], parts[a]
        elif kind == 1:
            parts.insert(a, parts[b])
        else:
            del parts[a]
    return "".join(parts).encode()


NOTES_OF_XML = [f"{part}</note>" for part in XML.split("</note>")[1:5]]
MEASURES = [f"<measure{part}" for part in XML.split("<measure")[1:]]


def elements_moved(data: bytes, chance: random.Random) -> bytes:
    """Whole notes, measures and values changed, so that the XML stays whole and only the music is wrong."""
    text = data.decode("utf-8")
    old, new = chance.choice(
        (
            (
                "<duration>6</duration>",
                f"<duration>{chance.choice((0, 1, 5, 7, 90, 9999, 1234567))}</duration>",
            ),
            ("<duration>4</duration>", ""),
            ("<octave>5</octave>", f"<octave>{chance.choice((-9, 0, 10, 99))}</octave>"),
            ("<divisions>6</divisions>", f"<divisions>{chance.choice((0, 1, 7, 997, 1000000))}</divisions>"),
            ("<beats>4</beats>", f"<beats>{chance.choice(('0', '3', '7', '3+2', 'x', '12'))}</beats>"),
            ("<beat-type>4<", f"<beat-type>{chance.choice(('0', '3', '8', '32', ''))}<"),
            ("<rest/>", chance.choice(("<unpitched/>", "<rest measure='yes'/><grace/>", "<chord/><rest/>"))),
            ("</measure>", f"{'<backup><duration>99</duration></backup>' * chance.randint(1, 3)}</measure>"),
            ("</measure>", f"<forward><duration>{chance.randint(1, 9999)}</duration></forward></measure>"),
            ("<step>E</step>", chance.choice(("<step>H</step>", "<step></step>", ""))),
            ("<alter>-1</alter>", f"<alter>{chance.choice(('0.5', '9', '-99', 'x'))}</alter>"),
            ("<actual-notes>3<", f"<actual-notes>{chance.choice((0, 1, 5, 7, 99))}<"),
            ("<fifths>-3<", f"<fifths>{chance.choice((-7, 8, 99, 'x'))}<"),
            ("<part-name>Melody</part-name>", "<part-name></part-name>"),
            (' id="P1"', chance.choice(("", ' id="P2"'))),
            ("</attributes>", "<transpose><chromatic>-200</chromatic></transpose></attributes>"),
            (
                "</attributes>",
                "<measure-style><multiple-rest>900</multiple-rest></measure-style></attributes>",
            ),
            ("</attributes>", "<staves>2</staves></attributes>"),
            ("</part>", f"{chance.choice(MEASURES).partition('</measure>')[0]}</measure></part>"),
        )
    )
    return text.replace(old, new, chance.choice((1, 1, 9))).encode()


def repacked(_: bytes, chance: random.Random) -> bytes:
    """A damaged score in a whole packed file."""
    return packed(elements_moved(XML.encode(), chance), container=chance.random() < 0.5)


DEEP = "<a>" * 50_000
BOMB = "<!DOCTYPE x [" + "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, 9)) + "]>"
OUTSIDE = '<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]>'
XML_WORDS = words(
    [
        BOMB,
        OUTSIDE,
        "&e8;",
        "&#0;",
        "&lt;",
        DEEP,
        "<![CDATA[",
        "<note>",
        "</note>",
        "<!--",
        "\x00",
        "é",
        "𝄞",
        "<?x ?>",
    ]
)
ABC_WORDS = words(
    ["|", "|:", ":|", "::", "[", "]", "(3", "(9:9:9", "(", ")", "-", ">", "<<<", "^", "___", "=", ",", "'", "/", "//////",
     "0", "99999", "z", "Z", "Z999", "x", "&", "{", "}", '"', "!", "%", "\\", "\n", "\n\n", "[K:", "[K:Q]", "[M:7/8]", "[L:1/3]",
     "[V:2]", "\nK:", "\nM:1/0\n", "\nL:0\n", "\nV:\n", "\nX:2\n", "é", "\x00", "𝄞", "A", "g'", "%%abc-include x\n", "+", "$"]
)  # fmt: skip
TEXT_WORDS = words(
    ["|", "~", "r", "rq", "C5q", "C5q~", "q", ".", "t", "#", "bbbb", "9", "-1", "\n", "\x00", "é", "\u2028", "♭", "G9w", "w" * 90,
     "A" * 200_000, "\ufeff", "X:", "\nX:1\n", "<", "PK", "MThd", "/", "\ud7ff"]
)  # fmt: skip


def damages(kind: str) -> tuple[Sequence[bytes], Sequence[Damage]]:
    """The whole files of a kind, and what is done to them."""
    if kind == "midi":
        return [midi_file(), midi_file(kind=0), midi_file(division=480)], (*BYTES, *[messages_changed] * 7)
    if kind == "musicxml":
        text = (XML_WORDS, numbers_changed, re_encoded, tags_moved)
        return [XML.encode()], (*text, *[elements_moved] * 11, *BYTES)
    if kind == "mxl":
        return [packed(XML.encode()), packed(XML.encode(), container=False)], (*BYTES, *[repacked] * 5)
    if kind == "abc":
        return [ABC, ABC_VOICES], (ABC_WORDS, ABC_WORDS, numbers_changed, re_encoded, *BYTES)
    return PHRASES, (TEXT_WORDS, TEXT_WORDS, numbers_changed, re_encoded, *BYTES)


def damaged_files(kind: str, seed: int, count: int) -> Iterator[bytes]:
    """So many files of a kind, each damaged once or twice."""
    whole, ways = damages(kind)
    for number in range(count):
        chance = random.Random(f"{kind} {seed} {number}")
        data = chance.choice(whole)
        for _ in range(chance.choice((1, 1, 2))):
            try:
                data = chance.choice(ways)(data, chance) or b"\x00"
            except (UnicodeError, IndexError):
                data = flipped(data, chance)
        yield data


def check_answer(path: Path, data: bytes) -> bool:
    """Hold an answer against what is promised; whether it was a phrase."""
    path.write_bytes(data)
    answer = answered(path)
    if isinstance(answer, str):
        said = answer.removesuffix("\n")
        assert said.startswith("fillgen: ")
        assert said.isprintable()
        assert len(said) < 1000
        return False
    text = phrase_text(answer.notes, answer.progression)
    assert parse_phrase(text, answer.progression.metre) == answer.notes
    assert all(remark.isprintable() for remark in answer.remarks)
    return True


CHUNKS = [
    *(("midi", "wren.mid", seed, 150) for seed in range(6)),
    *(("musicxml", "wren.musicxml", seed, 100) for seed in range(4)),
    *(("mxl", "wren.mxl", seed, 100) for seed in range(1)),
    *(("abc", "wren.abc", seed, 100) for seed in range(5)),
    *(("text", "wren.txt", seed, 150) for seed in range(2)),
]


@pytest.mark.costly
@pytest.mark.parametrize(
    ("kind", "name", "seed", "count"),
    [pytest.param(*chunk, marks=[pytest.mark.slow] if chunk[2] else []) for chunk in CHUNKS],
)
def test_damaged_files_are_read_or_refused(
    kind: str, name: str, seed: int, count: int, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Every damaged file gives a phrase that is written and read back, or an error in one line; nothing is printed."""
    read = 0
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for data in damaged_files(kind, seed, count):
            read += check_answer(tmp_path / name, data)
    assert capfd.readouterr() == ("", "")
    assert 0 < read < count


def test_there_are_many() -> None:
    """Two thousand files at the least are damaged, and nearly all of them differently."""
    files = [data for kind, _, seed, count in CHUNKS for data in damaged_files(kind, seed, count)]
    assert len(files) >= 2000
    assert len(set(files)) > 0.9 * len(files)


@pytest.mark.parametrize("kind", ["midi", "musicxml", "mxl", "abc", "text"])
def test_whole_files_are_read(kind: str, tmp_path: Path) -> None:
    """Before it is damaged, every file is read as a phrase."""
    for data in damages(kind)[0]:
        assert check_answer(tmp_path / "wren", data)


ODD = {
    "nothing": b"",
    "blanks": b" \n\t\n",
    "a zero": b"\x00",
    "zeros": b"\x00" * 100_000,
    "high bytes": b"\xff" * 100_000,
    "only a header": b"MThd",
    "format 2": midi_file()[:8] + b"\x00\x02" + midi_file()[10:],
    "film frames": midi_file()[:12] + b"\xe7\x28" + midi_file()[14:],
    "no ticks": midi_file()[:12] + b"\x00\x00" + midi_file()[14:],
    "a number that never ends": midi_file()[:22] + b"\xff" * 200_000,
    "a very late note": midi_file()[:22] + b"\xff\xff\xff\x7f\x90\x40\x40" * 50 + b"\x00\xff\x2f\x00",
    "deep XML": (b"<score-partwise>" + b"<part>" * 30_000),
    "a bomb": f"{BOMB}<score-partwise>&e8;</score-partwise>".encode(),
    "an outside entity": f"{OUTSIDE}<score-partwise>&e;</score-partwise>".encode(),
    "an empty score": b"<score-partwise/>",
    "another document": b"<html><body>F5q</body></html>",
    "a packed bomb": packed(b"<score-partwise>" + b" " * 30_000_000 + b"</score-partwise>"),
    "a packed file without a score": packed(b"F5q", "notes.txt", container=False),
    "a container that names nothing": packed(b"<a/>", "META-INF/container.xml", container=False),
    "ABC without notes": b"X:1\nT:Wren\nK:C\n",
    "ABC without an end": b"X:1\nK:C\n" + b"(3" * 40_000,
    "ABC in many voices": b"X:1\nK:C\n" + b"".join(b"[V:%d]C|" % n for n in range(500)),
    "ABC of one long chord": b"X:1\nK:C\n" + b"[" + b"CEG" * 5_000 + b"]|",
    "ABC of ten thousand notes": b"X:1\nL:1/8\nM:4/4\nK:C\n" + b"CDEFGABc|" * 1_300,
    "ABC of many rests": b"X:1\nL:1/8\nM:4/4\nK:C\nC8|" + b"Z512|" * 500,
    "text of many bars": b"C5w|" * 600,
    "long text": b"C5q " * 300_000,
    "a large file": b"C5w|" * 1_200_000,
}


@pytest.mark.parametrize(
    ("name", "ending"), one_in(5, product(ODD, ("mid", "musicxml", "abc", "txt", "", "MID")))
)
def test_odd_files_are_refused(
    name: str, ending: str, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Files that no phrase can be in are refused in one line, whatever they are called."""
    assert not check_answer(tmp_path / f"wren.{ending}", ODD[name])
    assert capfd.readouterr() == ("", "")
