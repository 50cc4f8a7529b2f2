"""Handouts: what is on them once, in order and in words, as page, PDF, picture and score."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import Any

import pytest
from lxml import etree

from fillgen.app.options import SequenceOptions
from fillgen.app.sequences import found_sequences
from fillgen.chart.progression import Progression
from fillgen.chart.sequences import sequence
from fillgen.chart.text import parse_chart
from fillgen.errors import OptionError
from fillgen.hands.grip import chord_fingers
from fillgen.hands.voicing import best_paths
from fillgen.phrase.idea import CHORD_TONE
from fillgen.teaching.cautions import CAUTIONS
from fillgen.teaching.lesson import lesson
from fillgen.teaching.notefit import LEAVE_QUICKLY, PASSES, chord_notes, note_fits
from fillgen.theory.keys import read_key
from fillgen.writers.handout import Handout, render_handout
from fillgen.writers.handouts.lessons import lesson_handout
from fillgen.writers.handouts.notes import notes_handout
from fillgen.writers.handouts.sequences import sequences_handout
from fillgen.writers.handouts.voicings import voicings_handout
from fillgen.writers.keys import CROSS, DOT, RING
from fillgen.writers.layout import Picture, Words
from fillgen.writers.look import USUAL, SheetOptions
from fillgen.writers.mei import signed

SVG = "{http://www.w3.org/2000/svg}"
CHARTS = {
    "turnaround": "title: Ferry Steps\n| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |",
    "minor": "| Cm | Fm7 | Dm7b5 | G7(b9) | N.C. | Cm6 |",
    "blues": "key: F blues\n| F7 | Bb7 | F7 | F7 | Bb7 | Bb7 | F7 | D7 | Gm7 | C7 | F7 D7 | Gm7 C7 |",
    "waltz": "metre: 3/4\n| Ab | Fm7 | Bbm7 | Eb13 |",
    "changing": "| Ab | 2/4 Bbm7 | 4/4 Eb7/G | Ab |",
}


@cache
def chart(name: str) -> Progression:
    return parse_chart(CHARTS[name])


def ways(name: str) -> Handout:
    return voicings_handout(chart(name), best_paths(chart(name), count=3))


def course(name: str) -> Handout:
    return lesson_handout(lesson(chart(name), levels=(1, 3), per_level=1))


@cache
def made(kind: str, name: str) -> Handout:
    """A handout of a kind over a chart."""
    makers: dict[str, Callable[[str], Handout]] = {
        "notes": lambda name: notes_handout(chart(name)),
        "voicings": ways,
        "lesson": course,
        "sequences": lambda _: sequences_handout(
            [sequence("waltz vamp"), sequence("backdoor close")], read_key("Eb")
        ),
    }
    return makers[kind](name)


KINDS = [("notes", name) for name in CHARTS] + [("voicings", name) for name in CHARTS]
KINDS += [("lesson", "turnaround"), ("lesson", "waltz"), ("sequences", "")]


def page(handout: Handout, look: SheetOptions = USUAL) -> Any:
    """The page of a handout, read as XML by a parser that forgives nothing."""
    return etree.fromstring(render_handout(handout, look, "html").decode().removeprefix("<!DOCTYPE html>\n"))


def words(element: Any) -> str:
    """All text of an element but that of its pictures."""
    return " ".join(" ".join(element.itertext()).split())


def pictures(handout: Handout) -> list[Picture]:
    return [
        piece for row in handout.rows for cell in row.cells for piece in cell if isinstance(piece, Picture)
    ]


def headings(handout: Handout, level: int) -> list[str]:
    pieces = [piece for row in handout.rows for cell in row.cells for piece in cell]
    return [piece.text for piece in pieces if isinstance(piece, Words) and piece.level == level]


# Notes


@pytest.mark.parametrize("name", CHARTS)
def test_each_chord_stands_once(name: str) -> None:
    """A card for each chord of the chart, in the order in which they come first, with all its bars; none for silence."""
    heads = headings(made("notes", name), 3)
    symbols = [head.split(" · ")[0] for head in heads]
    in_order = dict.fromkeys(
        signed(span.chord.symbol) for span in chart(name).spans if span.chord.root is not None
    )
    assert symbols == list(in_order)
    assert len(made("notes", name).scores) == len(heads)
    if name == "blues":
        assert heads[0] == "F7 · bars 1, 3 to 4, 7 and 11"


@pytest.mark.parametrize("name", CHARTS)
def test_the_right_keys_are_marked(name: str) -> None:
    """A dot on the chord's notes, a ring on those that pass, a cross on those that don't stay, and nothing else."""
    shapes = {CHORD_TONE: DOT, PASSES: RING, LEAVE_QUICKLY: CROSS}
    keyboards = [each for each in pictures(made("notes", name)) if "data-key" in each.drawing.inside]
    chords = {signed(each.span.chord.symbol): each for each in chord_notes(chart(name)) if not each.remark}
    assert len(keyboards) == len(chords)
    for keyboard, chord in zip(keyboards, chords.values(), strict=True):
        found = dict(re.findall(r'data-key="(\d+)" data-mark="(\w+)"', keyboard.drawing.inside))
        wanted = {
            str(60 + fit.pitch_class): shapes[fit.kind]
            for fit in note_fits(chord.heard, chord.span.key)
            if fit.kind in shapes
        }
        assert found == wanted


@pytest.mark.parametrize("name", CHARTS)
def test_the_staff_has_the_notes_of_the_keys(name: str) -> None:
    """First the chord held, then its notes and those that pass upwards to the root, with heads that say what they are."""
    heads = {"": CHORD_TONE, "ring": PASSES, "cross": LEAVE_QUICKLY}
    chords = {signed(each.span.chord.symbol): each for each in chord_notes(chart(name)) if not each.remark}
    for score, chord in zip(made("notes", name).scores, chords.values(), strict=True):
        block, line = (bar.staves[0] for bar in score.bars)
        assert {re.sub(r"\d", "", each) for each in block[0].symbol.names} == {
            str(t.name) for t in chord.tones
        }
        *notes, octave = line
        kinds = {str(fit.name): fit.kind for fit in chord.fits if fit.kind in heads.values()}
        assert {signed(each): kind for each, kind in kinds.items()} == {
            each.name: heads[each.head] for each in notes
        }
        assert octave.name == notes[0].name
        assert all(len(each.fingers) == 1 for each in line)


def test_the_legend_says_the_shapes_in_words() -> None:
    """Dot, ring, cross and no mark are each said; with words the page needs no colour."""
    said = words(page(made("notes", "minor")))
    for wanted in ("Full dot", "Ring", "Cross", "No mark"):
        assert wanted in said
    assert "Bar 5: no chord is played: G7(b9) lingers in the ear." in said


# Voicings


@pytest.mark.parametrize("name", CHARTS)
def test_the_left_hand_follows_the_chart(name: str) -> None:
    """Each way is a score in the bass clef with every chord of the chart in its order, bar by bar as the chart has them."""
    for score, path in zip(made("voicings", name).scores, best_paths(chart(name), count=3), strict=True):
        assert [staff.clef for staff in score.staves] == ["F"]
        assert len(score.bars) == len(chart(name).bars)
        shown = [[chord.symbol for _, chord in bar.chords] for bar in score.bars]
        assert shown == [[span.chord.symbol for span in bar] for bar in chart(name).bars]
        fresh = [
            each.symbol.names
            for bar in score.bars
            for each in bar.staves[0]
            if not each.symbol.is_rest and not each.symbol.tied_from
        ]
        assert fresh == [voicing.names for voicing in path.voicings if voicing is not None]


@pytest.mark.parametrize("name", CHARTS)
def test_each_position_has_one_keyboard_with_fingers(name: str) -> None:
    """For each way a keyboard for each chord in each position, in order, its keys marked with the left hand's fingers."""
    keyboards = iter(each for each in pictures(made("voicings", name)) if "data-key" in each.drawing.inside)
    for path in best_paths(chart(name), count=3):
        held = dict.fromkeys((v.chord.symbol, v.pitches) for v in path.voicings if v is not None)
        for symbol, pitches in held:
            keyboard = next(keyboards)
            assert keyboard.name == f"Keys of {signed(symbol)}"
            groups = re.findall(r'<g data-key="(\d+)" data-mark="dot">(.*?)</g>', keyboard.drawing.inside)
            by_key = {int(midi): re.findall(r"<text[^>]*>(\d)</text>", inside) for midi, inside in groups}
            fingers = chord_fingers(pitches, left=True)
            assert by_key == {midi: [str(finger)] for midi, finger in zip(pitches, fingers, strict=True)}
    assert next(keyboards, None) is None


def test_fingers_can_be_left_out() -> None:
    """Without fingers neither staff nor keys have any."""
    bare = voicings_handout(chart("waltz"), best_paths(chart("waltz")), SheetOptions(fingers=False))
    assert not [each for score in bare.scores for bar in score.bars for each in bar.staves[0] if each.fingers]
    assert not [each for each in pictures(bare) if re.search(r">\d</text>", each.drawing.inside)]


# Sequences


def test_each_sequence_has_its_purpose_and_numerals() -> None:
    """Name, purpose, key and goal in words; the numerals stand below the chords, also where a bar is repeated."""
    handout = made("sequences", "")
    said = words(page(handout))
    assert "Waltz vamp Vamp in E♭ major, 4 bars of 3/4; goes round to E♭" in said
    assert "Ending in E♭ major, 2 bars of 4/4; closes on E♭maj7" in said
    below = [[each.name for bar in score.bars for each in bar.staves[0]] for score in handout.scores]
    assert below == [["I", "I", "V7", "V7"], ["iv7", "♭VII7", "Imaj7"]]


def test_all_sequences_can_be_handed_out() -> None:
    """Every stock sequence has its card and its score, each with all its chords and, unchanged, all its numerals."""
    listed = found_sequences(SequenceOptions(key="Ab"))
    handout = sequences_handout(listed.found, listed.key, listed.played)
    assert len(headings(handout, 3)) == len(handout.scores) == len(listed.found)
    for score in handout.scores:
        written = [each for bar in score.bars for each in bar.staves[0] if not each.symbol.tied_from]
        assert all(each.name for each in written if not each.symbol.is_rest)


def test_numerals_are_left_out_where_chords_changed() -> None:
    """Led to another chord a sequence is no longer its numerals."""
    listed = found_sequences(SequenceOptions(to="Fm7", purpose="turnaround"))
    handout = sequences_handout(listed.found, listed.key, listed.played, listed.goal)
    assert "leads to Fm7" in words(page(handout))
    assert any(not each.name for score in handout.scores for bar in score.bars for each in bar.staves[0])


# Lessons


def test_a_lesson_has_its_tasks_cautions_and_phrases() -> None:
    """All cautions; for each level its name, its task and its advice; each phrase as music, with the notes it has."""
    found = lesson(chart("turnaround"), levels=(1, 2, 3), per_level=2)
    handout = lesson_handout(found)
    said = words(page(handout))
    assert all(caution in said for caution in CAUTIONS)
    for step in found.steps:
        assert f"{step.name} {step.adds} {' '.join(step.practise)}" in said
    phrases = [each for step in found.steps for each in step.phrases]
    assert len(handout.scores) == len(phrases) == 6
    for score, phrase in zip(handout.scores, phrases, strict=True):
        written = [each for bar in score.bars for each in bar.staves[0]]
        fresh = [each for each in written if not each.symbol.is_rest and not each.symbol.tied_from]
        assert [each.symbol.names[0] for each in fresh] == [note.name for note in phrase.notes]
        assert [each.fingers for each in fresh] == [(note.finger,) for note in phrase.notes]


# All kinds


@pytest.mark.parametrize(("kind", "name"), KINDS)
def test_a_page_stands_alone_and_is_in_order(kind: str, name: str) -> None:
    """No script, no request; ids once and found; headings go down one by one; every picture has a name and words."""
    root = page(made(kind, name))
    tags = {element.tag for element in root.iter()}
    assert not tags & {"script", "link", "img", "iframe", "object", f"{SVG}image"}
    style = root.findtext(".//style")
    assert "@import" not in style
    assert not re.search(r"url\((?!data:|['\"]?data:)", style)
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    for drawn in root.iter(f"{SVG}svg"):
        if drawn.get("role") == "img":
            assert all(wanted in ids for wanted in drawn.get("aria-labelledby").split())
            assert all(drawn.find(f"{SVG}{part}").text for part in ("title", "desc"))
    levels = [int(element.tag[1]) for element in root.iter() if re.fullmatch(r"h\d", str(element.tag))]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert root.get("lang") == "en"


@pytest.mark.parametrize(("paper", "size"), [("a4", "A4"), ("letter", "letter")])
def test_a_page_is_printed_on_its_paper(paper: str, size: str) -> None:
    """The print style names the paper, and music is as large as on the PDF."""
    style = page(made("notes", "waltz"), SheetOptions(paper=paper)).findtext(".//style")
    assert f"@page{{size:{size} portrait" in style
    assert "@media print" in style
    wide = {"a4": 595.28, "letter": 612.0}[paper] - 80
    assert f"--unit:{wide / 840:.4f}pt" in style


@pytest.mark.costly
@pytest.mark.parametrize(("kind", "name"), KINDS)
def test_a_handout_is_a_page_or_two(kind: str, name: str) -> None:
    """On paper it takes a page or two; three ways through more than a line of bars a page each."""
    content = render_handout(made(kind, name), SheetOptions(author="Mara Lind"), "pdf")
    pages = len(re.findall(rb"/Type /Page\b(?!s)", content))
    assert pages <= (3 if kind == "voicings" and len(chart(name).bars) > 4 else 2)
    for wanted in (b"/Author (Mara Lind)", b"/Lang (en)", b"/DisplayDocTitle true", b"/Producer (fillgen)"):
        assert wanted in content


@pytest.mark.parametrize(("kind", "name"), KINDS)
def test_a_picture_holds_all_in_its_frame(kind: str, name: str) -> None:
    """The SVG is one picture in which nothing lies beyond the frame."""
    root = etree.fromstring(render_handout(made(kind, name), USUAL, "svg"))
    _, _, wide, high = map(float, root.get("viewBox").split())
    for drawn in root.findall(f"{SVG}svg"):
        assert float(drawn.get("x")) + float(drawn.get("width")) <= wide
        assert float(drawn.get("y")) + float(drawn.get("height")) <= high
    assert all(float(text.get("y")) <= high for text in root.findall(f"{SVG}text"))
    assert root.findtext(f"{SVG}title") == made(kind, name).title


@pytest.mark.parametrize("kind", ["html", "svg"])
@pytest.mark.parametrize("title", ["<script>alert(1)</script>", '"><img src=x onerror=y>', "a & b ]]> <!--"])
def test_a_title_stays_text(kind: str, title: str) -> None:
    """Whatever a chart is called comes out as text."""
    handout = notes_handout(replace(chart("waltz"), title=title + "\x08"))
    text = render_handout(handout, SheetOptions(author='"><b>'), kind).decode()
    root = etree.fromstring(text.removeprefix("<!DOCTYPE html>\n").encode())
    assert handout.title == f"{title}: which notes fit each chord"
    assert not {"script", "img", "b"} & {element.tag for element in root.iter()}
    assert handout.title in words(root)


def test_the_same_handout_every_time() -> None:
    """The same chart gives the same bytes in every kind."""
    for kind in ("pdf", "html", "svg", "musicxml", "mei"):
        once, again = (render_handout(notes_handout(chart("minor")), USUAL, kind) for _ in range(2))
        assert once == again


def test_what_has_no_music_has_no_score() -> None:
    """OptionError where there is nothing to write as a score."""
    empty = Handout("Nothing", (), ())
    for kind in ("musicxml", "mei"):
        with pytest.raises(OptionError, match="there is no music in this"):
            render_handout(empty, USUAL, kind)
