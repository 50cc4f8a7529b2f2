"""Ideas as text: where lines end, sections, and what the heads say."""

from __future__ import annotations

import re
from dataclasses import astuple
from typing import Any

import pytest

import fillgen
from fillgen.chart.text import parse_chart
from fillgen.phrase.idea import Ideas
from fillgen.phrase.text import parse_phrase
from fillgen.rules.pack import RulePack
from fillgen.teaching.check import check
from fillgen.writers.document import document
from fillgen.writers.entry import entries_of, score_of
from fillgen.writers.musicxml import score_bytes
from fillgen.writers.text import staff, to_text

A = "Eb | Cm7 | Fm7 | Bb7 | Eb | Cm7 | Bb7 | Eb"


def rows(text: str) -> list[int]:
    """How many bars each line of notes has."""
    return [line.count("|") - 1 for line in text.splitlines() if line.startswith(" notes |")]


@pytest.mark.costly
@pytest.mark.parametrize(
    ("chart", "width", "wanted"),
    [
        (f"| {A} |", 400, [4, 4]),
        (f"| {A} |", 100, [2, 2, 2, 2]),
        (f"| {A} |", 50, [1] * 8),
        ("| Eb | Cm7 | Fm7 | Bb7 | Eb |", 400, [4, 1]),
        ("| Eb | Cm7 | Bb7 |", 400, [3]),
        ("| [A] Eb | Cm7 | Fm7 | Bb7 | Eb | Bb7 | [B] Ab | Fm7 | Bb7 | Eb |", 400, [4, 2, 4]),
    ],
)
def test_four_bars_a_line(chart: str, width: int, wanted: list[int]) -> None:
    """A long chart has four bars a line, or two or one where they don't fit; a section begins a line."""
    found = fillgen.ideas(chart, count=1, rhythm="foxtrot")
    assert rows(to_text(found, width=width)) == wanted


@pytest.mark.costly
@pytest.mark.parametrize("width", [60, 80, 120])
@pytest.mark.parametrize(
    ("chart", "settings"),
    [
        ("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", {"level": 5, "busy": "many"}),
        ("| Ebmaj7#11 | F#m7b5 / / / B7b9 / / |", {"metre": "7/4", "busy": "many"}),
        ("| Bbm | Gb | Ebm7 | F7 | Bbm |", {"metre": "12/8", "busy": "many", "level": 4}),
        ("| Eb | Bb7 | 2/4 Fm7 | 4/4 Bb7 |", {}),
    ],
)
def test_what_is_printed_fits_and_reads_back(chart: str, settings: dict[str, Any], width: int) -> None:
    """No line is too long, and the whole block of an idea, copied as it stands, is phrase text of the idea."""
    found = fillgen.ideas(chart, count=5, hand="small", **settings)
    text = to_text(found, width=width, hint="A hint")
    assert max(map(len, text.splitlines())) <= width
    summary, *blocks = text.removesuffix("\n").split("\n\n")
    assert summary.splitlines()[-1] == "A hint"
    shown = blocks[: len(found)]
    timeline = found.progression.timeline
    assert [parse_phrase(block, timeline) for block in shown] == [idea.phrase for idea in found]
    assert [block.split()[0] for block in shown] == [str(idea.rank) for idea in found]
    assert not re.search(r"\d\.\d", "".join(shown))


@pytest.mark.parametrize("width", [60, 80])
def test_a_bar_longer_than_a_line_is_broken_at_a_beat(width: int) -> None:
    """Its first part ends and its second begins without a bar line, and it reads back."""
    progression = parse_chart("| Ebmaj7 | Bb7 |")
    text = " ".join(["Eb5s F5s G5s Ab5s"] * 4)
    notes = parse_phrase(f"{text} | {text}", progression.metre)
    spelled = check(progression, notes, RulePack().level(5)).notes
    lines = staff(spelled, progression, width)
    rows = [line for line in lines if line.startswith(" notes ")]
    assert max(map(len, lines)) <= width
    assert len(rows) == 4
    assert [(row[7], row[-1] == "|") for row in rows] == [("|", False), (" ", True)] * 2
    assert [note[:3] for note in map(astuple, parse_phrase("\n".join(lines), progression.metre))] == [
        note[:3] for note in map(astuple, notes)
    ]


def song() -> Ideas:
    return fillgen.ideas(f"| [A] {A} | [B <2>] Ab | Ab | Eb | Eb | F7 | F7 | Bb7 | Bb7 | [A] {A} |", count=12)


def test_sections_are_named() -> None:
    """Text, JSON and MusicXML name each section where it begins."""
    found = song()
    lines = to_text(found).splitlines()
    assert [line.strip(" |") for line in lines if re.fullmatch(r" *\S[^|]* \|", line)][:3] == [
        "A",
        "B <2>",
        "A",
    ]
    bars = document(found)["chart"]["bars"]
    assert [bars[n]["section"] for n in (0, 8, 16)] == ["A", "B <2>", "A"]
    score = score_bytes([score_of(entries_of(found)[0])]).decode()
    assert re.findall(r"<rehearsal[^>]*>([^<]*)<", score) == ["A", "B &lt;2&gt;", "A"]


def test_what_returns_is_told_and_true() -> None:
    """The head of an idea and its JSON say which bars return; those bars are the same, and the space says how many rhythms have such."""
    found = song()
    told = document(found)
    space = told["space"]
    assert space["phrases"] == found.phrases > 0
    assert 0 < space["returning"] <= space["rhythms"] == 24
    assert f"in {space['returning']} of them with bars that return" in " ".join(to_text(found).split())
    forms = [idea["form"] for idea in told["ideas"]]
    assert sum("bars 17-22 repeat 1-6" in form for form in forms) >= 6
    bar = found.progression.metre.bar
    for idea in found:
        if "bars 17-22 repeat 1-6" not in idea.form:
            continue
        first = [(n.onset, n.length, n.midi) for n in idea.phrase if n.onset < 6 * bar]
        again = [(n.onset - 16 * bar, n.length, n.midi) for n in idea.phrase if 16 <= n.onset // bar < 22]
        assert first == again
        assert f"({idea.form})" in to_text(found)


def test_short_charts_have_nothing_to_say() -> None:
    """Where nothing returns the heads say nothing of it."""
    found = fillgen.ideas("| Eb | Bb7 |", count=3)
    assert {idea.form for idea in found} == {""}
    assert "return" not in " ".join(to_text(found).split("\n\n")[0].split())
