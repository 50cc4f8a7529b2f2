"""A player's phrase from text, MIDI, MusicXML and ABC: what is found in a source, and how it is lined up with a chart."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from pathlib import Path

import mido
import pytest

import fillgen
from fillgen import FillgenError, Ideas, Phrase, parse_phrase, phrase_text
from fillgen.errors import OptionError, OutputError, PhraseError, TuneError
from fillgen.hands.playing import USUAL_FEEL, Playing
from fillgen.readers.melody import Sound, top_line
from fillgen.readers.phrases import Found, Reading, find_phrase, line_up
from fillgen.readers.timing import settled
from fillgen.theory.metre import METRES
from fillgen.writers.midi import to_midi_files

CHART = "| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |"
PLAIN = "| Ebmaj7 | C7 | Fm7 | Bb7 |"
TWO_BARS = "| Ebmaj7 | Bb7 |"
FOUR = "G5w | F5w | Eb5w | D5w"

# Small makers of files

Keys = Iterable[tuple[float, float, int]]


def track(
    keys: Keys, name: str = "", channel: int = 0, division: int = 480, head: Sequence[mido.MetaMessage] = ()
) -> mido.MidiTrack:
    """A track of notes given as onset and end in ticks of 480, and pitch."""
    marks = []
    for onset, end, midi in keys:
        marks.append((round(onset * division / 480), 1, midi))
        marks.append((round(end * division / 480), 0, midi))
    messages: list[mido.Message | mido.MetaMessage] = [mido.MetaMessage("track_name", name=name)] * bool(name)
    messages += head
    at = 0
    for tick, begins, midi in sorted(marks):
        kind = "note_on" if begins else "note_off"
        messages.append(mido.Message(kind, channel=channel, note=midi, velocity=80, time=tick - at))
        at = tick
    return mido.MidiTrack(messages)


def metre_sign(name: str, time: int = 0) -> mido.MetaMessage:
    upper, lower = name.split("/")
    return mido.MetaMessage("time_signature", numerator=int(upper), denominator=int(lower), time=time)


def midi(*tracks: mido.MidiTrack, division: int = 480, kind: int = 1) -> bytes:
    file = mido.MidiFile(type=kind, ticks_per_beat=division)
    file.tracks.extend(tracks)
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def keys_of(text: str, metre: str = "4/4", start: int = 0) -> list[tuple[float, float, int]]:
    """The notes of a phrase text for a MIDI track."""
    return [(start + note.onset, start + note.end, note.midi) for note in parse_phrase(text, METRES[metre])]


def note(name: str, ticks: int, more: str = "", before: str = "") -> str:
    """A note of MusicXML with 24 divisions; `r` is a rest."""
    if name == "r":
        return f"<note><rest/><duration>{ticks}</duration>{more}</note>"
    alter = "<alter>-1</alter>" if "b" in name else ""
    pitch = f"<pitch><step>{name[0]}</step>{alter}<octave>{name[-1]}</octave></pitch>"
    lasts = f"<duration>{ticks}</duration>" if ticks else ""
    return f"<note>{before}{pitch}{lasts}{more}</note>"


def xml(
    *measures: str, metre: str | None = "4/4", name: str = "Melody", more: str = "", title: str = ""
) -> str:
    """A MusicXML score of one part; `more` stands among its attributes."""
    sign = ""
    if metre:
        upper, lower = metre.split("/")
        sign = f"<time><beats>{upper}</beats><beat-type>{lower}</beat-type></time>"
    head = f"<attributes><divisions>24</divisions>{sign}{more}</attributes>"
    bars = "".join(
        f'<measure number="{number}">{head if number == 1 else ""}{inside}</measure>'
        for number, inside in enumerate(measures, 1)
    )
    work = f"<work><work-title>{title}</work-title></work>" if title else ""
    return (
        f'<score-partwise version="4.0">{work}<part-list><score-part id="P1"><part-name>{name}</part-name>'
        f'</score-part></part-list><part id="P1">{bars}</part></score-partwise>'
    )


def abc(body: str, metre: str = "4/4", unit: str = "1/4", key: str = "Eb", head: str = "") -> str:
    return f"X:1\nT:Alder\nM:{metre}\nL:{unit}\n{head}K:{key}\n{body}\n"


def found(content: bytes | str, part: str | None = None, metre: str | None = None) -> Found:
    """What is found in a file that comes over standard input."""
    data = content.encode() if isinstance(content, str) else content
    return find_phrase("-", part=part, metre=metre, stdin=lambda: data)


def shown(notes: Phrase) -> list[tuple[int, int, int]]:
    return [(note.onset, note.length, note.midi) for note in notes]


def text_of(reading: Reading) -> str:
    return phrase_text(reading.notes, reading.progression)


def refusal(content: bytes | str, chart: str = CHART, kind: type[FillgenError] = FillgenError) -> str:
    """What is said of a source that is refused."""
    with pytest.raises(kind) as caught:
        line_up(found(content), chart)
    return str(caught.value)


# Sources


def test_phrase_text_is_found_as_it_stands() -> None:
    """Phrase text needs no file: its notes count from its first bar, its bars are counted."""
    answer = find_phrase("F5q. Eb5e D5h | rq G5q F5h")
    assert answer.notes == parse_phrase("F5q. Eb5e D5h | rq G5q F5h", METRES["4/4"])
    assert (answer.metre, answer.pickup, answer.bars, answer.part) == (None, 0, 2, "")


SOURCES = {
    "midi": midi(track(keys_of("G4h Bb4h | F5w"))),
    "musicxml": xml(note("G4", 48) + note("Bb4", 48), note("F5", 96)).encode(),
    "abc": abc("G2B2|f4|").encode(),
    "txt": b"G4h Bb4h | F5w\n",
}


@pytest.mark.parametrize("kind", SOURCES)
@pytest.mark.parametrize("ending", ["own", "none"])
def test_files_of_every_kind(kind: str, ending: str, tmp_path: Path) -> None:
    """The same phrase is found in a file of every kind, by its ending or by what is in it, and on standard input."""
    path = tmp_path / (f"alder.{kind}" if ending == "own" else "alder")
    path.write_bytes(SOURCES[kind])
    expected = [(0, 960, 67), (960, 960, 70), (1920, 1920, 77)]
    assert shown(find_phrase(str(path)).notes) == expected
    assert shown(found(SOURCES[kind]).notes) == expected


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_scores_in_other_encodings(encoding: str) -> None:
    """A score may begin with a byte order mark, of UTF-16 as well."""
    head = f'<?xml version="1.0" encoding="{encoding.replace("-sig", "")}"?>'
    data = (head + xml(note("G4", 96), note("F5", 96))).encode(encoding)
    assert [note.midi for note in found(data).notes] == [67, 77]


def test_text_may_begin_with_a_byte_order_mark() -> None:
    """So may phrase text."""
    assert len(found("\ufeffG5w").notes) == 1


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("aldr.mid", "no such file. Did you mean 'alder.mid'"),
        ("folder/alder.abc", "no such file. There is no folder"),
        ("other.musicxml", "no such file. Give phrase text"),
        ("sub", "is a folder"),
    ],
)
def test_no_such_file(name: str, said: str, tmp_path: Path) -> None:
    """A name with the ending of a phrase file is no phrase text, and the nearest name is told."""
    (tmp_path / "alder.mid").write_bytes(SOURCES["midi"])
    (tmp_path / "sub").mkdir()
    with pytest.raises(OutputError, match=r"alder|other|sub") as caught:
        find_phrase(str(tmp_path / name))
    assert said in str(caught.value)


def test_a_word_may_have_been_meant_as_a_file() -> None:
    """A word with a dot or slash that is no note may have been a file's name."""
    with pytest.raises(PhraseError, match="There is no file with that name"):
        find_phrase("alder.midd")
    with pytest.raises(PhraseError) as caught:
        find_phrase("H5q.")
    assert "file" not in str(caught.value)


@pytest.mark.parametrize("source", ["", "   ", "\0", "G5", "\udcff", "x" * 5000, "| |"])
def test_sources_that_are_nothing(source: str) -> None:
    """Whatever is given is refused with an error of the package's own."""
    with pytest.raises(PhraseError):
        find_phrase(source)


def test_files_that_are_no_text(tmp_path: Path) -> None:
    """A file that is neither music nor text, an empty one and one that cannot be read are refused by name."""
    path = tmp_path / "alder.txt"
    for content, said in (
        (b"G5w \xff", "byte 4 is not UTF-8"),
        (b" \n", "is empty"),
        (b"G5x", "bar 1, note 1"),
    ):
        path.write_bytes(content)
        with pytest.raises(FillgenError) as caught:
            find_phrase(str(path))
        assert str(caught.value).startswith(str(path))
        assert said in str(caught.value)


# Metre


def test_metre_of_the_source() -> None:
    """The source's metre is used where the chart names none; where nobody names one it is 4/4."""
    waltz = found(abc("GBe|f3|", metre="3/4"))
    assert waltz.metre == METRES["3/4"]
    assert line_up(waltz, TWO_BARS).progression.metre.name == "3/4"
    assert line_up(found(midi(track(keys_of(FOUR)))), CHART).progression.metre.name == "4/4"
    assert line_up(found("G5h. | F5h."), f"metre: 3/4\n{TWO_BARS}").whole


def test_metres_that_differ() -> None:
    """Chart and phrase in two metres is a contradiction that only the player can solve."""
    waltz = found(abc("GBe|f3|", metre="3/4"))
    with pytest.raises(OptionError, match=r"the chart is in 4/4, the phrase in 3/4.*--metre"):
        line_up(waltz, f"metre: 4/4\n{TWO_BARS}")
    with pytest.raises(OptionError, match="the phrase is in 3/4, but you asked for 4/4"):
        line_up(waltz, TWO_BARS, metre="4/4")


def test_metre_asked_for_wins() -> None:
    """Many programs write 4/4 into every MIDI file: the metre asked for counts."""
    data = midi(track(keys_of("G5h. | F5h.", "3/4"), head=[metre_sign("4/4")]))
    reading = line_up(found(data, metre="3/4"), TWO_BARS, metre="3/4")
    assert text_of(reading) == "G5h. | F5h."


@pytest.mark.parametrize("kind", ["midi", "musicxml", "abc"])
def test_metres_we_do_not_have(kind: str) -> None:
    """A metre outside the list is refused with the list."""
    files = {
        "midi": midi(track([(0, 480, 60)], head=[metre_sign("11/8")])),
        "musicxml": xml(note("G5", 84), metre="11/8").encode(),
        "abc": abc("GABcdefGABc|", metre="11/8", unit="1/8").encode(),
    }
    said = refusal(files[kind])
    assert "is in 11/8" in said
    assert "4/4, 3/4, 2/4, 2/2, 5/4, 7/4, 7/8, 6/8, 9/8, 12/8" in said


@pytest.mark.parametrize("kind", ["midi", "musicxml", "abc"])
def test_changes_of_metre(kind: str) -> None:
    """A change of metre inside the melody is refused with its bar."""
    change = "<attributes><time><beats>3</beats><beat-type>4</beat-type></time></attributes>"
    guide = mido.MidiTrack([metre_sign("4/4"), metre_sign("3/4", time=3840)])
    files = {
        "midi": midi(guide, track(keys_of("G5w | G5w | F5h. F5q"))),
        "musicxml": xml(note("G5", 96), note("G5", 96), change + note("F5", 72)).encode(),
        "abc": abc("g4|g4|[M:3/4]f3|").encode(),
    }
    assert "bar 3: the metre changes from 4/4 to 3/4" in refusal(files[kind])


def test_a_metre_before_the_melody_counts() -> None:
    """What a MIDI file signs before its first note gives way to what it signs later, and bars count from there."""
    guide = mido.MidiTrack([metre_sign("4/4"), metre_sign("3/4", time=1920)])
    answer = found(midi(guide, track(keys_of("G5h. | F5h.", "3/4", start=1920))))
    assert answer.metre == METRES["3/4"]
    assert shown(answer.notes) == [(0, 1440, 79), (1440, 1440, 77)]


@pytest.mark.parametrize(("sign", "first"), [("1/4", 480), ("1/8", 240), ("2/4", 960), ("3/4", 480)])
def test_a_pickup_with_a_signature_of_its_own(sign: str, first: int) -> None:
    """A first signature that holds for less than a bar of the next is a pick-up, however long, and no change of metre."""
    guide = mido.MidiTrack([metre_sign(sign), metre_sign("3/4", time=first)])
    keys = [(0, first, 70), *keys_of("G5h. | F5h.", "3/4", start=first)]
    answer = found(midi(guide, track(keys)))
    assert (answer.metre, answer.pickup, answer.bars) == (METRES["3/4"], first, 2)
    reading = line_up(answer, TWO_BARS)
    assert shown(reading.notes) == [(1440 - first, first, 70), (1440, 1440, 79), (2880, 1440, 77)]
    assert reading.progression.first == 0
    assert reading.whole


def test_a_full_bar_in_another_metre_is_no_pickup() -> None:
    """A whole bar of 4/4 before 3/4 is a change of metre."""
    guide = mido.MidiTrack([metre_sign("4/4"), metre_sign("3/4", time=1920)])
    data = midi(guide, track([(0, 1920, 70), *keys_of("G5h. | F5h.", "3/4", start=1920)]))
    assert "the metre changes from 4/4 to 3/4" in refusal(data)


# Pick-ups and lengths


@pytest.mark.parametrize("start", [480, 1440, 1920 + 960])
def test_a_recording_started_late(start: int) -> None:
    """Notes that fill the chart exactly from their first beat begin at bar 1, and this is said first."""
    reading = line_up(found(midi(track(keys_of(FOUR, start=start)))), CHART)
    assert text_of(reading) == FOUR
    assert "fills the chart from there" in reading.remarks[0]
    assert reading.whole


def test_a_first_bar_that_lacks_a_beat_is_no_pickup() -> None:
    """With as many bars as the chart the text's first bar is bar 1, with a rest at its end; a shorter one is a pick-up."""
    reading = line_up(found("C5q D5q C5q | F5w"), "| C | F |")
    assert text_of(reading) == "C5q D5q C5q rq | F5w"
    assert (reading.progression.first, reading.whole) == (1, True)
    assert any("lacks 1 quarter note" in remark for remark in reading.remarks)
    for text in ("C5q | F5w", "C5q E5h~ | E5q F5h.", "C5q D5q | F5w", "C5q D5q C5q | F5w | G5w"):
        assert line_up(found(text), "| C | F |").progression.first == 0


def test_in_a_chart_of_several_metres_the_bar_that_lacks_a_beat_is_named() -> None:
    """With as many bars as the chart the short bar is the first, not a later one of another metre."""
    assert "bar 1: the bar lasts 3" in refusal("C5q D5q C5q | F5w | E5h. | G5w", "| C | F | 3/4 C | 4/4 G |")


def test_a_pickup_may_be_longer_than_half_a_bar() -> None:
    """One bar more than the chart, begun after the first beat, may be a pick-up; from the first beat it is none."""
    reading = line_up(found("rq Bb4h. | G4w | F4w"), TWO_BARS)
    assert any("may be a pick-up" in remark for remark in reading.remarks)
    reading = line_up(found("re Bb4e Bb4h. | G4w | F4w"), TWO_BARS)
    assert not any("pick-up" in remark for remark in reading.remarks)


@pytest.mark.parametrize(
    "source",
    [
        "Bb4q | G4h Bb4h | D5w",
        "Bb4q | G4h Bb4h | D5h.",
        "rh. Bb4q | G4h Bb4h | D5w",
        xml(note("Bb4", 24), note("G4", 48) + note("Bb4", 48), note("D5", 72)),
        abc("B|G2B2|d3|]"),
        midi(track(keys_of("rh. Bb4q | G4h Bb4h | D5w"))),
        midi(track(keys_of("rw | rh. Bb4q | G4h Bb4h | D5w"))),
    ],
    ids=["text", "text, short last bar", "text, full bar", "MusicXML", "ABC", "MIDI", "MIDI, count-in"],
)
def test_pickup(source: bytes | str) -> None:
    """A short first bar, or one more bar than the chart that begins with silence, stands in bar 0, over no chord."""
    reading = line_up(found(source), TWO_BARS)
    assert reading.progression.first == 0
    assert [span.chord.symbol for span in reading.progression.bars[0]] == ["N.C."]
    assert reading.progression.bars[0][0].heard.symbol == "Ebmaj7"
    assert len(reading.progression.bars) == 3
    assert reading.progression.bar_of(reading.notes[1].onset) == 1
    assert text_of(reading).startswith("rh. Bb4q | G4h Bb4h | D5")
    assert reading.whole
    assert any("pick-up" in remark for remark in reading.remarks)


def test_pickup_is_marked() -> None:
    """What the source itself marks as a pick-up is told before a chart is known."""
    assert found("Bb4q | G4w").pickup == 480
    assert found(abc("B/|G4|d4|")).pickup == 240
    assert found("G4w | F4w").pickup == 0
    assert found("G4w").pickup == 0


def test_twice_the_chart_with_a_pickup() -> None:
    """One bar more than twice the chart is a pick-up as well."""
    reading = line_up(found("rh. Bb4q | G4w | F4w | G4w | F4w"), TWO_BARS)
    assert reading.progression.first == 0
    assert len(reading.progression.bars) == 5
    assert reading.whole


def test_one_more_bar_that_sounds_early_is_no_pickup() -> None:
    """A first bar that sounds in its first half is a bar like the others: the chart is played again."""
    reading = line_up(found("rq Bb4h. | G4w | F4w"), TWO_BARS)
    assert reading.progression.first == 1
    assert [bar[0].chord.symbol for bar in reading.progression.bars] == ["Ebmaj7", "Bb7", "Ebmaj7"]
    assert not reading.whole


def test_short_phrase() -> None:
    """A shorter phrase takes the chart's first bars, and is not whole."""
    reading = line_up(found("G5w | F5w"), CHART)
    assert [bar[0].chord.symbol for bar in reading.progression.bars] == ["Ebmaj7", "Gm7"]
    assert not reading.whole
    assert "the chart's first 2 bars are used" in reading.remarks[-1]


def test_long_phrase() -> None:
    """A longer phrase plays the chart again."""
    reading = line_up(found(f"{FOUR} | {FOUR}"), CHART)
    assert len(reading.progression.bars) == 8
    assert reading.progression.bars[4][0].chord.symbol == "Ebmaj7"
    assert reading.whole
    assert "the chart repeats" in reading.remarks[-1]


def test_rest_follows_a_phrase_that_ends_inside_its_bar() -> None:
    """The last bar may be short: rest follows. Others may not."""
    assert text_of(line_up(found("G5w | F5h"), TWO_BARS)) == "G5w | F5h rh"
    assert text_of(line_up(found(abc("g4|f2|]")), TWO_BARS)) == "G5w | F5h rh"
    assert text_of(line_up(found(midi(track(keys_of("G5w | F5h rh")))), TWO_BARS)) == "G5w | F5h rh"
    assert "bar 2: the bar lasts 2 quarter notes, a 4/4 bar 4" in refusal("G5w | F5h | F5w")


def test_bars_that_are_all_short_are_no_pickup() -> None:
    """A phrase in another metre than the chart's is refused at its first bar."""
    assert "bar 1: the bar lasts 3 quarter notes, a 4/4 bar 4" in refusal("G5h. | F5h.", TWO_BARS)


def test_bars_that_are_too_long() -> None:
    """So is a bar with too much in it, in a score with the file's name."""
    assert "bar 2" in refusal("G5w | F5w F5q | F5w")
    assert "bar 2 doesn't fill a 4/4 bar" in refusal(abc("g4|f5|f4|"))
    assert "standard input" in refusal(abc("g4|f5|f4|"))


def test_empty_bars_of_a_count_in_are_dropped() -> None:
    """Leading empty bars of a MIDI file are left out where the rest has the chart's length; otherwise they count."""
    counted = line_up(found(midi(track(keys_of(f"rw | {FOUR}")))), CHART)
    assert text_of(counted) == FOUR
    assert "count-in" in counted.remarks[0]
    resting = line_up(found(midi(track(keys_of("rw | F5w | Eb5w | D5w")))), CHART)
    assert text_of(resting) == "rw | F5w | Eb5w | D5w"
    assert resting.remarks == ()
    longer = line_up(found(midi(track(keys_of(f"rw | rw | {FOUR} | G5w")))), CHART)
    assert text_of(longer) == f"{FOUR} | G5w"


def test_a_last_note_held_on() -> None:
    """A last note of a MIDI file that is held beyond the chart ends where the chart does."""
    reading = line_up(found(midi(track([*keys_of("G5w"), (1920, 5000, 77)]))), TWO_BARS)
    assert text_of(reading) == "G5w | F5w"
    assert "held past the end of the chart" in reading.remarks[-1]


def test_too_many_bars() -> None:
    """A phrase is at most as long as a chart may be."""
    assert "more than 512 bars" in refusal(" | ".join(["G5w"] * 600), TWO_BARS)


# Parts


def ensemble() -> bytes:
    """A guide, a low and a high part, and drums that are higher still."""
    guide = mido.MidiTrack([mido.MetaMessage("track_name", name="Alder"), metre_sign("4/4")])
    low = track(keys_of("Eb3w | Bb2w"), "Left Hand", channel=1)
    high = track(keys_of("G4w | F5w"), "Lead", channel=2)
    return midi(guide, low, high, track([(0, 480, 120), (480, 960, 127)], "Drums", channel=9))


def test_highest_part_is_taken() -> None:
    """Without a choice the part with the highest mean pitch is taken, never the drums, and it is named."""
    answer = found(ensemble())
    assert answer.part == "Lead"
    assert answer.title == "Alder"
    assert answer.remarks == ("The highest part was used: 'Lead'. There are also 'Left Hand'.",)


@pytest.mark.parametrize("part", ["Left Hand", "lefthand", "LEFT", "1"])
def test_part_by_name_or_number(part: str) -> None:
    """A part is named in full or by its beginning, in any case and spacing, or by its number."""
    answer = found(ensemble(), part=part)
    assert [note.midi for note in answer.notes] == [51, 46]
    assert answer.remarks == ()


@pytest.mark.parametrize(
    ("part", "said"),
    [
        ("Leed", "no part 'Leed'. Did you mean 'Lead'? The parts are 1 'Left Hand', 2 'Lead'."),
        ("3", "no part '3'"),
        ("le", "more than one part begins with 'le'"),
        ("", "no part ''"),
        ("drums", "no part 'drums'"),
    ],
)
def test_unknown_parts(part: str, said: str) -> None:
    """Another name is refused with the names there are."""
    with pytest.raises(OptionError) as caught:
        found(ensemble(), part=part)
    assert said in str(caught.value)


def test_channels_of_one_track_are_parts() -> None:
    """In a file of format 0 the channels are the parts."""
    single = mido.MidiTrack()
    for channel, pitch in ((0, 48), (3, 72), (9, 40)):
        single += track([(0, 960, pitch)], channel=channel)
    answer = found(midi(single, kind=0))
    assert answer.part == "channel 4"
    assert found(midi(single, kind=0), part="channel 1").notes[0].midi == 48


def test_parts_of_scores() -> None:
    """The parts of a score and the voices of an ABC tune have names as well."""
    second = xml(note("C3", 96), name="Bass").replace('"P1"', '"P2"')
    both = xml(note("G4", 96)).replace(
        "</part-list>", second.partition("<part-list>")[2].partition("<part ")[0]
    )
    both = both.replace("</score-partwise>", "<part id" + second.partition("<part id")[2])
    assert found(both).part == "Melody"
    assert found(both, part="bass").notes[0].midi == 48
    voices = abc("[V:1]G,4|\n[V:2]g4|", head='V:1 name="Low"\nV:2 nm="High"\n')
    assert found(voices).part == "High"
    assert found(voices, part="low").notes[0].midi == 55


def test_only_drums() -> None:
    """Drums alone are no melody."""
    assert "has only drum notes" in refusal(midi(track([(0, 480, 40)], channel=9)))
    assert "has no notes" in refusal(midi(mido.MidiTrack()))


# Melodies in chords


def test_highest_note_is_the_melody() -> None:
    """Of notes that begin together the highest is the melody; lower ones under a held note are left out."""
    chords = [(0, 960, 60), (0, 960, 64), (0, 1920, 67), (960, 1920, 62), (1920, 3840, 65)]
    assert shown(found(midi(track(chords))).notes) == [(0, 1920, 67), (1920, 1920, 65)]
    harmony = note("C4", 96) + note("E4", 96, before="<chord/>") + note("G4", 96, before="<chord/>")
    assert [n.midi for n in found(xml(harmony, note("F4", 96))).notes] == [67, 65]


def test_a_note_ends_where_the_next_begins() -> None:
    """Notes that overlap, as in legato playing, end where the next begins, also where that is lower."""
    assert shown(found(midi(track([(0, 500, 67), (480, 1000, 64), (960, 1920, 65)]))).notes) == [
        (0, 480, 67),
        (480, 480, 64),
        (960, 960, 65),
    ]


def test_rolled_chords_are_struck_once() -> None:
    """Notes of a chord that come a little after one another are one chord."""
    assert [s.midi for s in top_line([Sound(0, 900, 60), Sound(11, 900, 64), Sound(22, 900, 67)])] == [67]


def test_grace_notes_and_chord_symbols_are_left_out() -> None:
    """Grace notes have no time of their own; chord symbols are not notes."""
    graced = xml(note("A4", 0, before="<grace/>") + note("G4", 96), note("F5", 96))
    assert [n.midi for n in found(graced).notes] == [67, 77]
    assert [n.midi for n in found(abc('"Eb"{a}G4|"Bb7"f4|')).notes] == [67, 77]


def test_tied_notes_are_one() -> None:
    """Ties in scores make one note, over bar lines too; slurs between other pitches do not."""
    tied = xml(note("G4", 96, '<tie type="start"/>'), note("G4", 48, '<tie type="stop"/>') + note("F4", 48))
    assert shown(found(tied).notes) == [(0, 2880, 67), (2880, 960, 65)]
    assert shown(found(abc("G4-|G2-F2|")).notes) == [(0, 2880, 67), (2880, 960, 65)]


def test_transposing_parts_sound() -> None:
    """A part for a transposing instrument is read as it sounds."""
    more = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    assert found(xml(note("A4", 96), more=more)).notes[0].midi == 67


# Scores


def test_titles_and_tempi() -> None:
    """Title and tempo of a source are handed on."""
    score = xml('<direction><sound tempo="96"/></direction>' + note("G4", 96), title="Alder")
    assert (found(score).title, found(score).tempo) == ("Alder", 96)
    tune = found(abc("G4|F4|", head="Q:3/8=60\n"))
    assert (tune.title, tune.tempo) == ("Alder", 90)
    tempo = mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(116))
    assert found(midi(track(keys_of(FOUR), head=[tempo]))).tempo == 116
    assert line_up(found("G5w"), "title: Fern\n| C |").title == "Fern"


def test_repeats_are_told() -> None:
    """Repeats are not played out, and that is said."""
    assert any("Repeats" in remark for remark in found(abc("|:G4|F4:|")).remarks)
    score = xml(note("G4", 96) + '<barline location="right"><repeat direction="backward"/></barline>')
    assert any("Repeats" in remark for remark in found(score).remarks)


def test_first_tune_of_a_file() -> None:
    """Of several tunes in an ABC file the first is read."""
    answer = found(abc("G4|F4|") + "\n" + abc("c4|").replace("X:1", "X:2"))
    assert [note.midi for note in answer.notes] == [67, 65]
    assert any("2 tunes" in remark for remark in answer.remarks)


def test_two_short_measures_at_a_repeat_make_one_bar() -> None:
    """A bar that a repeat sign cuts in two is one bar."""
    assert len(line_up(found(abc("B|G4|F3:|:A|G4|F3|]")), TWO_BARS).progression.bars) == 5


def test_notes_between_the_written_places_are_moved() -> None:
    """Thirty-seconds and quintuplets of a score are moved to sixteenths, and it is said."""
    reading = line_up(found(abc("G/4A/4B/4c/4 d/4e/4f/4g/4 G2|F4|", unit="1/4")), TWO_BARS)
    assert text_of(reading).count("s") == 8
    reading = line_up(found(abc("G/8A/8B/4c/2 d G2|F4|", unit="1/4")), TWO_BARS)
    assert any("moved" in remark or "left out" in remark for remark in reading.remarks)
    assert parse_phrase(text_of(reading), METRES["4/4"]) == reading.notes


@pytest.mark.parametrize("form", ["c2 [L:1/8]c2e2|c8|", "c2\nL:1/8\nc2e2|c8|", "c2 [L:1/8]c2[ce]2|[c4e4]2|"])
def test_another_unit_length_inside_a_bar(form: str) -> None:
    """An L: field among the notes of a bar changes their lengths, and does not part the bar."""
    answer = found(abc(form, key="C"))
    assert answer.written == (1920, 1920)
    assert [(n.onset, n.length) for n in answer.notes] == [(0, 960), (960, 480), (1440, 480), (1920, 1920)]


@pytest.mark.parametrize("form", ["f2 [K:D]f2|c4|", "f2\nK:D\nf2|c4|"])
def test_another_key_inside_a_bar(form: str) -> None:
    """Nor does a K: field; what follows has the new signature."""
    answer = found(abc(form, key="C"))
    assert answer.written == (1920, 1920)
    assert [n.midi for n in answer.notes] == [77, 78, 73]


@pytest.mark.parametrize(
    ("key", "pitches"),
    [
        ("C", [65, 67, 69, 71, 72]),
        ("C ^f", [66, 67, 69, 71, 72]),
        ("D exp _b", [65, 67, 69, 70, 72]),
        ("D exp _b ^c", [65, 67, 69, 70, 73]),
        ("D =c", [66, 67, 69, 71, 72]),
        ("Hp", [66, 67, 69, 71, 73]),
        ("none", [65, 67, 69, 71, 72]),
        ("Gmix", [65, 67, 69, 71, 72]),
        ("F#m", [66, 68, 69, 71, 73]),
        ("D Phrygian ^f", [66, 67, 69, 70, 72]),
        ("Bb lyd", [65, 67, 69, 70, 72]),
        ("Ab clef=treble", [65, 67, 68, 70, 72]),
        ("C octave=0", [65, 67, 69, 71, 72]),
    ],
)
def test_keys_of_abc(key: str, pitches: Sequence[int]) -> None:
    """Modes and accidentals of a K: field sound (ABC 2.1, 3.1.14; from memory)."""
    assert [n.midi for n in found(abc("FGAB|c4|", key=key)).notes] == pitches


def test_accidentals_of_abc_last_for_their_bar() -> None:
    """An accidental counts to the end of its bar, in every octave, and over a bar line along a tie only."""
    assert [n.midi for n in found(abc("^ffF=f|f3F|", key="C")).notes] == [78, 78, 66, 77, 77, 65]
    assert [n.midi for n in found(abc("G^f3-|f2f2|", key="C")).notes] == [67, 78, 77]
    assert [n.midi for n in found(abc("_A2G2-|G2A2|", key="C")).notes] == [68, 67, 69]


ABC_REFUSED = {
    "[K:C octave=-1]c4|": "cannot read octave=-1",
    "[K:C transpose=2]c4|": "cannot read transpose=2. Write the notes at the pitch they sound",
    "[V:1 octave=1]c4|": "cannot read octave=1",
    "[K:G#lyd]c4|": "unknown key 'G# lyd'",
    "(0abc": "Write triplets like (3abc",
    "^^^c4|": "cannot read '^^^c4'",
    "c99999|": "cannot read 'c99999'",
    "Z9999|": "a rest of 9999 bars",
    "[K:Q]c4|": "unknown key 'Q'",
    "[L:1/7]c4|": "unknown unit length '1/7'",
    "[CEG": "can't be read as music",
    "z4|": "has no notes",
}


@pytest.mark.parametrize("body", ABC_REFUSED)
def test_abc_that_cannot_be_read(body: str) -> None:
    """What is wrong in an ABC tune is named, with the file."""
    said = refusal(abc(body), kind=TuneError)
    assert said.startswith("standard input: ")
    assert ABC_REFUSED[body] in said


# MIDI files


@pytest.mark.parametrize("division", [24, 96, 120, 192, 384, 480, 960, 1000, 1024, 10_080])
def test_every_division(division: int) -> None:
    """Files count in ticks of their own; the notes are the same."""
    text = "G5e. F5s Eb5et D5et Eb5et F5h | rq G5e Ab5e Bb5qt C6qt Bb5qt"
    data = midi(track(keys_of(text), division=division), division=division)
    assert found(data).notes == parse_phrase(text, METRES["4/4"])
    assert found(data).remarks == ()


def test_files_that_cannot_be_used() -> None:
    """Format 2 and film frames are refused for what they are."""
    data = SOURCES["midi"]
    assert "format 2" in refusal(data[:8] + b"\x00\x02" + data[10:], kind=TuneError)
    assert "film frames" in refusal(data[:12] + b"\xe7\x28" + data[14:], kind=TuneError)
    assert "damaged" in refusal(data[:-9], kind=TuneError)


def test_key_signatures_do_not_matter() -> None:
    """A key signature that no key has does not keep the notes from being read."""
    signed = midi(track(keys_of(FOUR), head=[mido.MetaMessage("key_signature", key="Eb")]))
    assert (
        found(signed.replace(b"\xff\x59\x02\xfd\x00", b"\xff\x59\x02\x63\x07")).notes == found(signed).notes
    )


def test_notes_without_an_end() -> None:
    """A key struck again ends its note before; one never let go sounds to the end of its track."""
    messages = [mido.Message("note_on", note=67, time=time) for time in (0, 480, 480)]
    single = mido.MidiTrack([*messages, mido.MetaMessage("end_of_track", time=960)])
    assert shown(found(midi(single)).notes) == [(0, 480, 67), (480, 480, 67), (960, 960, 67)]


def test_names_are_read_as_utf_8_or_latin_1() -> None:
    """Names of tracks are shown as they were meant, without what cannot be printed."""
    for name in ("Mélodie", "M\x07élodie"):
        data = midi(track([(0, 480, 60)], "MMMMMMMM"))
        named = data.replace(b"MMMMMMMM", name.replace("\x07", "").encode()[:8].ljust(8))
        assert found(named).part == "Mélodie"
    data = midi(track([(0, 480, 60)], "M\x07lodie"))
    assert found(data).part == "M lodie"


def tempi_at(*tempi: tuple[int, int]) -> mido.MidiTrack:
    """A guide with tempi in quarter notes a minute at ticks."""
    at, messages = 0, []
    for tick, tempo in tempi:
        messages.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(tempo), time=tick - at))
        at = tick
    return mido.MidiTrack(messages)


@pytest.mark.parametrize(
    ("tempi", "start", "tempo", "told"),
    [
        (((0, 120), (0, 60)), 0, 60, None),
        (((0, 60), (0, 120)), 0, 120, None),
        (((0, 200), (1920, 96)), 1920, 96, None),
        (((0, 200), (1930, 96)), 1920, 96, None),
        (((0, 100), (3840, 80)), 0, 100, "to 80; the tempo at its start, 100,"),
        (((0, 100), (3840, 80), (4800, 70)), 0, 100, "between 70 and 80"),
        (((0, 100), (7680, 80)), 0, 100, None),
        (((3840, 88),), 0, 88, None),
        ((), 0, None, None),
    ],
)
def test_tempo_where_the_melody_begins(
    tempi: tuple[tuple[int, int], ...], start: int, tempo: int | None, told: str | None
) -> None:
    """The last tempo at the first note counts, not that of a count-in; a later change is told."""
    answer = found(midi(tempi_at(*tempi), track(keys_of(FOUR, start=start))))
    assert answer.tempo == tempo
    assert [told in remark for remark in answer.remarks] == ([True] if told else [])


# Played timing


def played(text: str, late: Sequence[int], ends: Sequence[int] = (0,), metre: str = "4/4") -> list[Sound]:
    """A phrase played unevenly: onsets and ends later by so many ticks, in turn."""
    return [
        Sound(max(0, note.onset + late[index % len(late)]), note.end + ends[index % len(ends)], note.midi)
        for index, note in enumerate(parse_phrase(text, METRES[metre]))
    ]


PLAYED = [
    ("4/4", "G5q F5e Eb5e D5h | F5q. G5e F5h"),
    ("4/4", "G5e. F5s Eb5e F5e G5q F5q | rq G5e Ab5e Bb5h"),
    ("4/4", "G5et F5et Eb5et F5q G5e F5e Eb5q | D5q Eb5qt F5qt G5qt F5q"),
    ("3/4", "G5q F5e Eb5e D5q | F5h rq"),
    ("6/8", "G5q. F5e Eb5e D5e | F5q G5e F5q."),
    ("2/2", "G5s F5s G5s Ab5s Bb5q F5e G5e rq | F5w"),
]


@pytest.mark.parametrize(("metre", "text"), PLAYED)
@pytest.mark.parametrize("late", [(3, -4, 7), (-12, 9, 0, 15), (16, -13, 5)])
@pytest.mark.parametrize("ends", [(0,), (-40, -90, 10), (25,)])
def test_uneven_playing_is_read_as_written(
    metre: str, text: str, late: Sequence[int], ends: Sequence[int]
) -> None:
    """Notes up to a twentieth of a beat early or late, legato or detached, come back as they are written."""
    timing = settled(played(text, late, ends, metre), METRES[metre])
    assert timing.notes == parse_phrase(text, METRES[metre])
    assert timing.moved == pytest.approx(max(map(abs, late)), abs=12)


def test_exact_notes_stay() -> None:
    """What is written exactly stays as it is, short notes and rests included, and nothing is said."""
    text = "C5e. D5s C5s rs re C5e. rs rq | C5st D5st C5st re C5et ret C5et rh"
    answer = found(midi(track(keys_of(text))))
    assert answer.notes == parse_phrase(text, METRES["4/4"])
    assert answer.remarks == ()


def test_how_far_notes_were_moved_is_told() -> None:
    """The largest movement is told in milliseconds at the file's own tempo."""
    tempo = mido.MetaMessage("set_tempo", tempo=1_000_000)
    data = midi(track([(12, 400, 67), (480, 960, 65), (955, 1920, 67)], head=[tempo]))
    assert found(data).remarks == ("Notes were moved to the nearest written position, by at most 25 ms.",)


def test_notes_that_nearly_reach_the_next() -> None:
    """Where the playing is else legato, a note that ends within a sixteenth of the next reaches it; a longer gap is a rest."""
    legato = [
        Sound(0, 370, 67),
        Sound(480, 700, 65),
        Sound(960, 1430, 67),
        Sound(1440, 1915, 65),
        Sound(1920, 2900, 67),
    ]
    assert shown(settled(legato, METRES["4/4"]).notes) == [
        (0, 480, 67),
        (480, 240, 65),
        (960, 480, 67),
        (1440, 480, 65),
        (1920, 960, 67),
    ]


@pytest.mark.parametrize("share", [0.42, 0.5, 0.6, 0.75])
def test_detached_playing_is_closed_up(share: float) -> None:
    """Notes played short throughout are written to the next one; half a bar of silence is a rest all the same."""
    written = parse_phrase("G5q F5q Eb5e F5e G5q | rh Eb5e F5e G5q | F5w", METRES["4/4"])
    short = [Sound(n.onset + 7, n.onset + 7 + n.length * share, n.midi) for n in written]
    notes = settled(short, METRES["4/4"]).notes
    assert [n.onset for n in notes] == [n.onset for n in written]
    assert [n.length for n in notes[:4]] == [n.length for n in written[:4]]
    assert [n.length for n in notes[5:7]] == [n.length for n in written[5:7]]
    assert notes[4].end < notes[5].onset


def test_two_notes_on_one_place() -> None:
    """Of two notes near one place the later moves on; where no place is free it is left out."""
    moved = settled([Sound(0, 40, 67), Sound(50, 400, 65), Sound(483, 900, 67)], METRES["4/4"])
    assert [note.onset for note in moved.notes] == [0, 120, 480]
    crowd = [Sound(tick, tick + 30, 60 + tick // 30) for tick in range(1, 480, 31)]
    timing = settled(crowd, METRES["4/4"])
    assert timing.merged > 0
    assert len({note.onset for note in timing.notes}) == len(timing.notes)
    assert any("left out" in remark for remark in timing.remarks(120))


def swings(text: str, turn: int, metre: str = "4/4") -> list[Sound]:
    """A phrase whose off-beat eighths begin at a tick of the beat."""

    def swung(tick: int) -> int:
        return tick - 240 + turn if tick % 480 == 240 else tick

    return [Sound(swung(n.onset), swung(n.end), n.midi) for n in parse_phrase(text, METRES[metre])]


@pytest.mark.parametrize("turn", [288, 300, 309, 320, 333, 343, 355, 368, 373])
def test_swung_eighths_are_read_straight(turn: int) -> None:
    """Eighths that swing 1.5 to 3.5 to 1 are straight eighths on paper, and it is said."""
    text = "G5e F5e Eb5q. D5e Eb5q | rq re G5e F5e Eb5e D5q"
    timing = settled(swings(text, turn), METRES["4/4"])
    assert timing.notes == parse_phrase(text, METRES["4/4"])
    assert timing.swing == pytest.approx(turn / (480 - turn), rel=0.02)
    assert "read as straight eighths" in timing.remarks(120)[0]


def test_files_that_may_swing_three_to_one() -> None:
    """Where all off-beats lie at three quarters the file may swing: it is read as written, and this is said."""
    dotted = found(midi(track(keys_of("G5e. F5s Eb5e. D5s Eb5h | F5w"))))
    assert "may be swung 3 to 1" in dotted.remarks[-1]
    assert dotted.notes[1].onset == 360
    for text in (
        "G5e. F5s Eb5h. | F5w",
        "G5e. F5s Eb5e. D5s Eb5e F5e G5q | F5w",
        "G5e. F5s Eb5q D5e F5e G5q",
    ):
        assert found(midi(track(keys_of(text)))).remarks == ()
    assert not found("G5e. F5s Eb5e. D5s Eb5h").remarks


def test_swing_is_handed_on() -> None:
    """Whether a played file swings is part of the reading."""
    text = "G5e F5e Eb5q. D5e Eb5q | F5w"
    keys = [(sound.onset, sound.end, sound.midi) for sound in swings(text, 320)]
    assert line_up(found(midi(track(keys))), TWO_BARS).swings
    assert not line_up(found(midi(track(keys_of(text)))), TWO_BARS).swings
    assert not line_up(found(text), TWO_BARS).swings


def test_swing_with_triplets() -> None:
    """Triplets are where they are, also among swung eighths."""
    text = "G5et F5et Eb5et F5e G5e Ab5q G5q | G5q F5e Eb5e D5h"
    assert settled(swings(text, 320), METRES["4/4"]).notes == parse_phrase(text, METRES["4/4"])


@pytest.mark.parametrize(
    ("metre", "text"),
    [
        ("4/4", "G5e. F5s Eb5h. | F5e. G5s F5h."),
        ("4/4", "G5qt F5qt Eb5qt D5h | F5w"),
        ("4/4", "G5ht F5ht Eb5ht | F5w"),
        ("4/4", "G5et ret F5et Eb5h. | F5w"),
        ("6/8", "G5q F5e Eb5q. | F5h."),
        ("3/4", "G5e F5e Eb5e. F5s G5q | F5h."),
    ],
)
def test_what_does_not_swing(metre: str, text: str) -> None:
    """Dotted figures, triplets and dotted beats are no swing."""
    timing = settled(swings(text, 240, metre), METRES[metre])
    assert timing.notes == parse_phrase(text, METRES[metre])
    assert timing.swing is None


# There and back

REQUESTS = [
    ("4/4", "foxtrot", 3, None),
    ("4/4", "swing", 4, "many"),
    ("4/4", "rumba", 5, None),
    ("4/4", "ballad", 1, None),
    ("4/4", "bossa nova", 4, None),
    ("3/4", "waltz", 5, None),
    ("3/4", "jazz waltz", 3, None),
    ("2/4", "march", 5, "many"),
    ("6/8", "slow 6/8", 4, None),
    ("2/2", "foxtrot", 3, "few"),
]


def ideas_of(metre: str, rhythm: str, level: int, busy: str | None) -> Ideas:
    return fillgen.ideas(PLAIN, metre=metre, rhythm=rhythm, level=level, busy=busy, count=8, seed=5)


@pytest.mark.costly
@pytest.mark.parametrize("request_", REQUESTS, ids=str)
def test_straight_midi_comes_back(request_: tuple[str, str, int, str | None]) -> None:
    """What fillgen writes straight is read back note for note; only of dotted figures it is said that they may be swing."""
    ideas = ideas_of(*request_)
    files = to_midi_files(ideas, Playing(swing=1.0)).values()
    for idea, data in zip(ideas, files, strict=True):
        answer = found(data)
        assert answer.notes == idea.phrase
        assert all("may be swung 3 to 1" in remark for remark in answer.remarks)
        assert (answer.metre, answer.tempo) == (ideas.progression.metre, ideas.tempo)
        assert line_up(answer, PLAIN).notes == idea.phrase


@pytest.mark.costly
@pytest.mark.parametrize("ratio", [None, 1.5, 1.8, 2.3, 2.8, 3.4])
@pytest.mark.parametrize("request_", [REQUESTS[0], REQUESTS[1], REQUESTS[6]], ids=str)
def test_swung_midi_comes_back(request_: tuple[str, str, int, str | None], ratio: float | None) -> None:
    """What fillgen writes swung is read back straight, at the rhythm's own ratio and at others."""
    ideas = ideas_of(*request_)
    for idea, data in zip(ideas, to_midi_files(ideas, Playing(swing=ratio)).values(), strict=True):
        assert found(data).notes == idea.phrase


@pytest.mark.costly
@pytest.mark.parametrize("feel", [USUAL_FEEL, 1.0])
@pytest.mark.parametrize("request_", [REQUESTS[0], REQUESTS[1], REQUESTS[5], REQUESTS[8]], ids=str)
def test_midi_with_feel_comes_back(request_: tuple[str, str, int, str | None], feel: float) -> None:
    """So is what it plays with feel, the usual one and the loosest, and with a count-in and the other parts."""
    ideas = ideas_of(*request_)
    playing = Playing(parts=("right", "left", "bass", "drums"), count_in=True, feel=feel)
    for idea, data in zip(ideas, to_midi_files(ideas, playing).values(), strict=True):
        reading = line_up(found(data, part="right"), PLAIN)
        assert reading.notes == idea.phrase
        assert reading.whole


# Charts whose metre changes


CHANGING = "| Ebmaj7 | 2/4 Fm7 | 4/4 Bb7 |"


@pytest.mark.parametrize(
    ("source", "bars", "first", "onsets"),
    [
        ("G4h Bb4h | C5h | D5w", 3, 1, [0, 960, 1920, 2880]),
        ("Bb4q | G4h Bb4h | C5h | D5w", 4, 0, [1440, 1920, 2880, 3840, 4800]),
        ("G4h Bb4h | C5h | D5q", 3, 1, [0, 960, 1920, 2880]),
        ("G4h Bb4h", 1, 1, [0, 960]),
        ("G4w | C5h | D5w | G4w | C5h | D5w", 6, 1, [0, 1920, 2880, 4800, 6720, 7680]),
        ("G4w~ | G4h | D5w", 3, 1, [0, 2880]),
    ],
)
def test_a_chart_whose_metre_changes(source: str, bars: int, first: int, onsets: list[int]) -> None:
    """Written bars are held against the chart's own one by one; a short first one is a pick-up, a short last one rests."""
    reading = line_up(found(source), CHANGING)
    chart = reading.progression
    assert (len(chart.bars), chart.first) == (bars, first)
    assert [note.onset for note in reading.notes] == onsets
    names = ["4/4", "2/4", "4/4"] * 2
    expected = ["4/4"] * (first == 0) + names
    assert [chart.metre_of(bar).name for bar in range(bars)] == expected[:bars]
    assert reading.whole == (bars - (first == 0) in (3, 6))
    assert phrase_text(reading.notes, chart).count("|") == bars - 1


@pytest.mark.parametrize(
    ("source", "said"),
    [
        ("G4w | C5w | D5w", "bar 2: the bar lasts 4 quarter notes, a 2/4 bar 2"),
        ("G4w | C5q | D5w", "bar 2: the bar lasts 1 quarter notes, a 2/4 bar 2"),
        ("Bb4q | G4w | C5w | D5w", "bar 3: the bar lasts 4 quarter notes, a 2/4 bar 2"),
        (midi(track(keys_of("G4w | C5w | D5w"))), "changes metre"),
        (xml(note("G4", 96), note("C5", 96)), "changes metre"),
    ],
)
def test_phrases_that_do_not_fit_such_a_chart(source: bytes | str, said: str) -> None:
    """A bar of the wrong length is named; a file that counts all bars in one metre is refused."""
    with pytest.raises(FillgenError) as caught:
        line_up(found(source), CHANGING)
    assert said in str(caught.value)


def test_metre_of_such_a_chart() -> None:
    """The metre before the first bar is the chart's for phrases as well."""
    assert line_up(found("G4h. | Bb4h."), "| 3/4 Eb | Bb7 |").progression.metre.name == "3/4"
    refused = "| 3/4 Eb | Bb7 |"
    with pytest.raises(OptionError):
        line_up(found(xml(note("G4", 96), note("C5", 96))), refused)
