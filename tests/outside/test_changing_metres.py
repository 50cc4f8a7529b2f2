"""Charts with a bar of another metre, as music21 and mido read what is written from them.

That a time signature holds until the next is common practice, and said so by MusicXML 4.0 (W3C Music Notation Community
Group) and the Standard MIDI Files 1.0 specification (MIDI Manufacturers Association), from memory.
"""

from __future__ import annotations

import io
import itertools
from functools import cache
from typing import Any

import mido
import music21
import pytest

import fillgen
from fillgen.hands.playing import PARTS, Playing
from fillgen.page.data import Stage
from fillgen.phrase.text import parse_phrase, phrase_text
from fillgen.theory.metre import METRES, TICKS
from fillgen.writers.entry import entries_of
from fillgen.writers.look import SheetOptions
from fillgen.writers.midi import to_midi
from fillgen.writers.sheet import render
from tests.effort import each_once, one_in
from tests.outside.test_tunes import check_schema

CHARTS = {
    "a bar of 2/4 in 4/4": "| Ebmaj7 | Gm7 C7 | 2/4 Fm7 | 4/4 Bb7 | Eb6 |",
    "a bar of 4/4 in 3/4": "metre: 3/4\n| Ab | Fm7 | 4/4 Bbm7 Eb7 | 3/4 Ab |",
    "first and last bars": "| 2/4 Gb | 4/4 Ebm7 Abm7 | Db7 | 3/4 Gb |",
    "dotted beats": "metre: 6/8\n| Fm | 9/8 Bbm7 | 6/8 Db C7 | Fm |",
}


@cache
def ideas_of(name: str, level: int = 4) -> fillgen.Ideas:
    return fillgen.ideas(CHARTS[name], count=4, seed=5, level=level, busy="many")


def lengths(ideas: fillgen.Ideas) -> list[float]:
    """The quarter notes of each bar, by the metres named in the chart's text."""
    return [metre.count * 4 / metre.unit for metre in ideas.progression.metres]


def changes(ideas: fillgen.Ideas) -> list[str | None]:
    """The time signature that is due at each bar of one idea, None where the one before still holds."""
    names = [metre.name for metre in ideas.progression.metres]
    return [None if own == before else own for before, own in zip(["", *names], names, strict=False)]


@pytest.mark.costly
@pytest.mark.parametrize("name", CHARTS)
@pytest.mark.parametrize("kind", ["musicxml", "mei"])
def test_music21_reads_measures_of_their_own_length(name: str, kind: str) -> None:
    """In both staves every measure is as long as its bar, full of notes and rests, and the notes are those of the ideas."""
    ideas = ideas_of(name)
    content = render(entries_of(ideas), SheetOptions("two-hands"), kind)
    if kind == "musicxml":
        check_schema(content)
    score: Any = music21.converter.parse(content.decode(), format=kind)
    for part in score.parts:
        measures = list(part.getElementsByClass("Measure"))
        assert [measure.barDuration.quarterLength for measure in measures] == lengths(ideas) * len(ideas)
        assert [measure.duration.quarterLength for measure in measures] == lengths(ideas) * len(ideas)
    right = [
        round(float(note.offset), 4) for note in score.parts[0].stripTies().flatten().notes if note.isNote
    ]
    once = sum(lengths(ideas))
    wanted = [n * once + note.onset / TICKS for n, idea in enumerate(ideas) for note in idea.phrase]
    assert right == pytest.approx(wanted, abs=0.001)


@pytest.mark.parametrize("name", CHARTS)
def test_musicxml_signs_a_metre_where_it_changes(name: str) -> None:
    """One idea alone is signed at its first bar and at every change, nowhere else."""
    ideas = ideas_of(name)
    score: Any = music21.converter.parse(render(entries_of(ideas)[:1], SheetOptions(), "musicxml"))
    measures = score.parts[0].getElementsByClass("Measure")
    assert [m.timeSignature.ratioString if m.timeSignature else None for m in measures] == changes(ideas)


def signatures(content: bytes) -> list[tuple[int, str]]:
    """The ticks and time signatures of a MIDI file."""
    at, found = 0, []
    for message in mido.MidiFile(file=io.BytesIO(content)).tracks[0]:
        at += message.time
        if message.type == "time_signature":
            found.append((at, f"{message.numerator}/{message.denominator}"))
    return found


@pytest.mark.parametrize(
    ("count_in", "times", "name"), one_in(3, itertools.product((False, True), (1, 2), CHARTS))
)
def test_midi_signs_a_metre_where_it_changes(name: str, times: int, count_in: bool) -> None:
    """Followed from signature to signature, the bars of a file are those of the chart, with bars of its metre between."""
    ideas = ideas_of(name)
    chart = ideas.progression
    content = to_midi(ideas, Playing(parts=PARTS, times=times, count_in=count_in))
    found = signatures(content)
    assert len({tick for tick, _ in found}) == len(found)
    assert all(one != other for (_, one), (_, other) in itertools.pairwise(found))
    due: list[str] = []
    for number in range(len(ideas)):
        due += [chart.metre.name] * int(number > 0 or count_in)
        due += [metre.name for metre in chart.metres] * times
    at, running = 0, ""
    for bar in due:
        running = next((metre for tick, metre in found if tick == at), running)
        assert running == bar, at
        at += METRES[bar].bar
    assert at == sum(message.time for message in mido.MidiFile(file=io.BytesIO(content)).tracks[0])


@pytest.mark.parametrize("name", CHARTS)
def test_music21_reads_midi_in_measures_of_their_own_length(name: str) -> None:
    """music21 makes the measures of the first idea from the signatures of a MIDI file."""
    ideas = ideas_of(name)
    score: Any = music21.converter.parseData(to_midi(ideas, Playing(parts=("right",))), format="midi")
    measures = list(score.parts[0].getElementsByClass("Measure"))[: len(lengths(ideas))]
    assert [measure.barDuration.quarterLength for measure in measures] == lengths(ideas)


@pytest.mark.costly
@pytest.mark.parametrize(("name", "level"), one_in(3, itertools.product(CHARTS, (1, 2, 3, 5))))
def test_phrase_text_reads_back(name: str, level: int) -> None:
    """Texts have a bar for each of the chart's, each full, and read back to the same notes and the same text."""
    ideas = ideas_of(name, level)
    chart = ideas.progression
    for idea in ideas:
        notes = parse_phrase(idea.text, chart.timeline)
        assert [(n.onset, n.length, n.midi) for n in notes] == [
            (n.onset, n.length, n.midi) for n in idea.phrase
        ]
        assert phrase_text(notes, chart) == idea.text
        report = fillgen.check(CHARTS[name], idea.text, level=str(level))
        assert report.right
        assert [fault for fault in report.faults if fault.kind in ("clash", "level")] == []


RESTLESS = "| 4/4 Eb Cm7 | 3/4 Fm7 | 4/4 Bb7 | 2/4 Gm7 | 5/4 C7 | 3/4 Fm7 | 4/4 Bb7 | 2/4 Eb |"


@pytest.mark.costly
@pytest.mark.parametrize(
    ("chart", "level"), each_once(itertools.product([*CHARTS.values(), RESTLESS], (3, 5)))
)
def test_the_engraver_has_room_for_signatures(
    chart: str, level: int, capfd: pytest.CaptureFixture[str]
) -> None:
    """Neither the systems of a page nor a sheet are squeezed, and each change of metre is printed."""
    ideas = fillgen.ideas(chart, count=3, seed=2, level=level, busy="many")
    found = Stage(ideas).some(ideas.ideas)["ideas"]
    render(entries_of(ideas), SheetOptions(), "svg")
    assert capfd.readouterr() == ("", "")
    due = sum(own is not None for own in changes(ideas))
    for document in found:
        assert "".join(document["systems"]).count('class="meterSig"') >= due
