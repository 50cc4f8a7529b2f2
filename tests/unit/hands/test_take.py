"""The left hand of a take: clear below E3, without clusters, and without the root where the bass plays it."""

from __future__ import annotations

from collections import defaultdict
from itertools import combinations, product

import pytest

import fillgen
from fillgen import RulePack, parse_chart
from fillgen.hands.arrangement import arranged, planned
from fillgen.hands.patterns import band
from fillgen.hands.playing import PARTS, Playing
from fillgen.hands.take import Ensemble, left_paths
from fillgen.theory.pitch import all_keys
from tests.effort import one_in

PACK = RulePack()
NUMERALS = {
    "major": "| Imaj9 | vi7 | ii7 | V13 | iii7 | VI7b9 | ivm6 | viidim7 | bII7 | I6/9 |",
    "minor": "| im11 | iv7 | iim7b5 | V7b13 | VImaj7 | VII13 | viidim7 | V7alt | iv6 | i |",
}


def is_clear(pitches: tuple[int, ...]) -> bool:
    """Whether nothing below a fourth lies under E3, and no three keys within a major third."""
    low = all(b - a >= 5 for a, b in combinations(pitches, 2) if a < 52)
    return low and all(max(three) - min(three) > 4 for three in combinations(pitches, 3))


@pytest.mark.costly
@pytest.mark.parametrize("rootless", [False, True])
@pytest.mark.parametrize("span", [9, 12])
@pytest.mark.parametrize("below", [60, 62, 64, 67, 72])
def test_the_left_hand_is_clear_in_every_key(below: int, span: int, rootless: bool) -> None:
    """What isn't clear has its reason, and from a right hand on Eb4 upwards there is nothing of that kind."""
    unclear = 0
    for key in all_keys():
        progression = parse_chart(NUMERALS[key.mode], key=str(key))
        for path in left_paths(progression, below, span, rootless=rootless):
            assert all(v is None or is_clear(v.pitches) or v.reason for v in path.voicings)
            assert all(v is None or v.pitches[-1] < below for v in path.voicings)
            assert all(v is None or v.width <= span for v in path.voicings)
            unclear += path.unclear
    assert not unclear or below < 63


CROWDED, PLAIN = "| Fm11 | A7b13 | Dm | G7 |", "| G | Bbdim7 | Am7 | D7 |"
IN_FOUR = [rhythm for rhythm in PACK.rhythm_names if "4/4" in PACK.rhythm(rhythm).metres]


@pytest.mark.parametrize(("chart", "first"), one_in(2, [(CROWDED, 0), (CROWDED, 1), (PLAIN, 1), (PLAIN, 0)]))
def test_what_sounds_is_clear(chart: str, first: int) -> None:
    """In every rhythm of four beats the left hand's strokes are clear, with a bass without the roots of its sevenths."""
    for rhythm in IN_FOUR[first::2]:
        ideas = fillgen.ideas(chart, rhythm=rhythm, count=3, low="E4")
        for parts, idea in product([("right", "left"), ("right", "left", "bass")], ideas):
            ensemble = Ensemble(ideas, Playing(parts=parts, swing=1.0))
            struck: dict[int, list[int]] = defaultdict(list)
            for stroke in ensemble.take(idea).strokes["left"]:
                struck[stroke.tick].append(stroke.midi)
            for tick, keys in struck.items():
                chord = ideas.progression.span_at(tick).chord
                assert is_clear(tuple(sorted(keys))), (rhythm, chord.symbol, keys)
                if "bass" in parts and chord.root is not None and len(chord.tones) > 3:
                    assert chord.root.pitch_class not in {midi % 12 for midi in keys}


# Bars of another metre


CHANGING = parse_chart("| Ab | Fm7 | 2/4 Bbm7 | 4/4 Eb7 | Ab |")
LONGER = parse_chart("metre: 3/4\n| Ab | 4/4 Fm7 | 3/4 Eb7 | Ab |")


@pytest.mark.parametrize("chart", [CHANGING, LONGER])
@pytest.mark.parametrize("rhythm", PACK.rhythm_names)
def test_patterns_of_bars_of_another_metre(chart: fillgen.Progression, rhythm: str) -> None:
    """A bar's patterns are the rhythm's own of its metre, or those of the chart's metre cut off at its end or prolonged."""
    if chart.metre.name not in PACK.rhythm(rhythm).metres:
        return
    usual = band(PACK, rhythm, chart.metre)
    found = arranged(PACK, rhythm, chart)
    assert len(found.bass) == len(found.chords) == len(found.drums) == len(chart.bars)
    for bar, metre in enumerate(chart.metres):
        row = PACK.rhythm_row(rhythm).get("accompaniment", {})
        own = band(PACK, rhythm, metre) if metre.name in row else usual
        bass, cell = own.a.bass[bar % len(own.a.bass)], own.a.chords[bar % len(own.a.chords)]
        fill = planned(chart)[bar].fill
        drums = own.fills[-1] if fill else own.a.drums[bar % len(own.a.drums)]
        shared = min(metre.bar, chart.metre.bar if own is usual else metre.bar)
        assert [hit for hit in found.drums[bar] if hit.tick < shared] == [h for h in drums if h.tick < shared]
        assert [n[0] for n in found.chords[bar].notes if n[0] < shared] == [
            n[0] for n in cell.notes if n[0] < shared
        ]
        assert [n[::2] for n in found.bass[bar] if n[0] < shared] == [n[::2] for n in bass if n[0] < shared]
        assert all(hit.tick < metre.bar for hit in found.drums[bar])
        assert all(onset + length <= metre.bar for onset, length in found.chords[bar].notes)
        assert all(onset + length <= metre.bar for onset, length, _ in found.bass[bar])
        if metre.bar > shared and drums:
            assert any(hit.tick >= shared for hit in found.drums[bar])


@pytest.mark.parametrize("chart", [CHANGING, LONGER])
def test_every_hand_keeps_to_its_bars(chart: fillgen.Progression) -> None:
    """Bass and left hand sound the chords of the bar they are in, each from its first beat, and the accents are its own."""
    ideas = fillgen.ideas(chart, count=1, seed=2)
    take = Ensemble(ideas, Playing(parts=PARTS, swing=1.0)).take(ideas[0])
    for part in ("bass", "left"):
        ticks = {stroke.tick for stroke in take.strokes[part]}
        assert part == "left" or {span.onset for span in chart.spans} <= ticks
        for stroke in take.strokes[part]:
            bar = chart.bar_index(stroke.tick)
            assert stroke.tick + stroke.length <= chart.start_of(bar + 1), part
    for stroke in take.strokes["bass"]:
        if stroke.tick in chart.changes:
            assert stroke.midi % 12 == chart.span_at(stroke.tick).chord.tones[0].name.pitch_class
    loud = {stroke.tick: stroke.velocity for stroke in take.strokes["bass"]}
    assert len({loud[chart.start_of(bar)] for bar in range(len(chart.bars))}) == 1
    assert take.length == chart.length
