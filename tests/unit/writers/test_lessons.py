"""Lessons and their sheets: each note explained, text and page alike, and a page that is whole whatever it holds."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import Any

import pytest
from lxml import etree

from fillgen import NoPhraseError, OptionError, PhraseError, RulePack, parse_chart, parse_phrase
from fillgen.chart.progression import Progression
from fillgen.engine.generate import generate
from fillgen.engine.request import Request
from fillgen.hands.fingering import best
from fillgen.hands.reach import reach
from fillgen.phrase.idea import IdeaNote
from fillgen.phrase.place import places
from fillgen.rules.judge import annotated
from fillgen.teaching.cautions import CAUTIONS
from fillgen.teaching.lesson import Lesson, lesson
from fillgen.teaching.practice import loop
from fillgen.teaching.sentences import reasons
from fillgen.writers.lessons import lesson_html, lesson_text, session_text

NAMES = ("usual", "waltz", "twelve", "rests", "short", "title")
NASTY = '<b>&"\x07</style><script>alert(1)</script> \u2028end'


def noted(progression: Progression, text: str) -> tuple[IdeaNote, ...]:
    """A pupil's phrase with what each of its notes is."""
    notes = parse_phrase(text, progression.metre)
    return annotated(progression, notes, places(progression, [(note.onset, note.length) for note in notes]))


@cache
def made(name: str = "usual") -> Lesson:
    """A lesson by what is special about it."""
    charts = {
        "usual": "title: Ferry Steps\n| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |",
        "waltz": "metre: 3/4\n| F | Gm7 | C7 | F |",
        "twelve": "metre: 12/8\n| Am | F | E7 | Am |",
        "rests": "| N.C. | Dm7 G7 | C6 / / G7(b9) | C |",
        "short": "| C |",
        "title": "| C | G7 |",
    }
    progression = parse_chart(charts[name])
    if name == "title":
        progression = replace(progression, title=NASTY)
    if name == "usual":
        own = noted(progression, "Eb5q F5s G5s Ab5s E5s D5h | G5et F5et Eb5et D5q C5h | Ab4w~ | Ab4h Bb4h")
        return lesson(progression, levels=(1, 2, 3), phrase=own)
    return lesson(progression, levels=(2, 5), per_level=1, seed=3)


@cache
def page(name: str = "usual") -> Any:
    """The page of a lesson, read as XML by a parser that forgives nothing."""
    return etree.fromstring(lesson_html(made(name)).removeprefix("<!DOCTYPE html>\n"))


def words(element: Any) -> str:
    """All text of an element."""
    return " ".join("".join(element.itertext()).split())


# The lesson


def test_a_lesson_goes_up_the_ladder() -> None:
    """The steps are the levels asked for, easiest first and each once, then the pupil's own phrase."""
    assert [step.name for step in made().steps] == [
        "Level 1: roots",
        "Level 2: chord notes",
        "Level 3: passing notes",
        "Your own phrase",
    ]
    found = lesson(parse_chart("| C | G7 |"), levels=(4, 2, 4), per_level=1)
    assert [step.name[:7] for step in found.steps] == ["Level 2", "Level 4"]
    assert [step.adds for step in found.steps] == [RulePack().level(number).says for number in (2, 4)]


def test_the_ideas_are_those_of_their_level() -> None:
    """Each step holds the best ideas of its level, two of them, and the roots are roots."""
    progression = made().progression
    for number, step in zip((1, 2, 3), made().steps, strict=False):
        wanted = generate(Request(progression, count=2, level=number, hand="medium"))
        assert [[n.note for n in each.notes] for each in step.phrases] == [
            [n.note for n in idea.notes] for idea in wanted
        ]
    assert {note.degree for each in made().steps[0].phrases for note in each.notes} == {"1"}
    assert {note.role for each in made().steps[1].phrases for note in each.notes} == {"chord tone"}


@pytest.mark.parametrize("name", NAMES)
def test_each_note_has_its_reason_and_its_finger(name: str) -> None:
    """Every note of every phrase has a sentence, the one that explains it, and a finger from 1 to 5."""
    for step in made(name).steps:
        for each in step.phrases:
            assert len(each.notes) == len(each.reasons) > 0
            assert each.reasons == reasons(made(name).progression, tuple(n.note for n in each.notes))
            assert all(reason.strip().endswith(".") for reason in each.reasons)
            assert all(1 <= note.finger <= 5 for note in each.notes)


def test_fingers_are_for_the_hand() -> None:
    """A phrase without fingers gets those that cost the hand least; one that has them keeps them."""
    progression = parse_chart("| C | C |")
    bare = noted(progression, "C4q E4q G4q C5q | E5q C5q G4q C4q")
    for size in ("small", "large"):
        own = lesson(progression, levels=(2,), per_level=1, hand=size, phrase=bare).steps[-1].phrases[0]
        wanted = best([note.note.midi for note in bare], reach(size))
        assert tuple(note.finger for note in own.notes) == wanted
    kept = lesson(progression, levels=(2,), per_level=1, phrase=own.notes).steps[-1].phrases[0]
    assert kept.notes == own.notes


def test_advice_follows_the_level_and_the_notes() -> None:
    """Every level has advice of its own; tempi are told; a wide leap is told where there is one."""
    found = lesson(parse_chart("| Bb | Dm | Eb | F7 |"), levels=(1, 2, 3, 4, 5), per_level=1, tempo=100)
    assert len({step.practise[0] for step in found.steps}) == 5
    assert all("60 quarter notes" in step.practise[1] and "100." in step.practise[1] for step in found.steps)
    progression = parse_chart("| C | C |")
    steps = noted(progression, "C5q D5q E5q D5q | C5w")
    leaps = noted(progression, "C5q E4q G4q C5q | C5w")
    (near,) = lesson(progression, levels=(2,), phrase=steps).steps[-1:]
    (wide,) = lesson(progression, levels=(2,), phrase=leaps).steps[-1:]
    assert not [line for line in near.practise if "widest" in line]
    assert "The widest leap is a minor sixth, from C5 to E4 in bar 1" in wide.practise[-1]


def test_a_level_without_ideas_says_so() -> None:
    """Where a level has no idea its step says why, and the others stand; where none has any, that is the error."""
    chart = parse_chart("| C |")
    pack = RulePack({"level": [{"number": 6, "like": 1, "low": "D4", "high": "D4"}]})
    found = lesson(chart, levels=(2, 6), per_level=1, pack=pack)
    assert [bool(step.phrases) for step in found.steps] == [True, False]
    assert "There is no idea here: bar 1" in found.steps[1].remarks[0]
    assert found.steps[1].remarks[0] in " ".join(lesson_text(found).split())
    assert found.steps[1].remarks[0] in lesson_html(found)
    with pytest.raises(NoPhraseError):
        lesson(chart, levels=(6,), pack=pack)
    alone = lesson(chart, levels=(6,), pack=pack, phrase=noted(chart, "C5w"))
    assert [bool(step.phrases) for step in alone.steps] == [False, True]


@pytest.mark.parametrize(
    ("wishes", "error", "told"),
    [
        ({"levels": ()}, OptionError, "The levels are 1, 2, 3, 4, 5"),
        ({"levels": (1, 9)}, OptionError, "there is no level 9"),
        ({"per_level": 0}, OptionError, "1 to 10 ideas"),
        ({"per_level": 11}, OptionError, "1 to 10 ideas"),
        ({"rhythm": "waltzz"}, OptionError, "Did you mean 'waltz'"),
        ({"tempo": 5}, OptionError, "20 to 400"),
        ({"hand": "huge"}, OptionError, "small"),
        ({"seed": -1}, OptionError, "seed"),
        ({"phrase": ()}, PhraseError, "no note"),
    ],
)
def test_what_a_lesson_refuses(wishes: dict[str, Any], error: type[Exception], told: str) -> None:
    """A setting outside what is offered is refused with what is."""
    with pytest.raises(error, match=re.escape(told)):
        lesson(parse_chart("| C | G7 |"), **wishes)


def test_a_phrase_longer_than_the_chart_is_refused() -> None:
    """A phrase that goes on after the chart's last bar has no chord there."""
    longer = noted(parse_chart("| C | C |"), "C5w | E5w")
    with pytest.raises(PhraseError, match="the phrase has 2 bars, the chart 1"):
        lesson(parse_chart("| C |"), phrase=longer)


def test_the_same_lesson_every_time() -> None:
    """The same request gives the same sheets, and another seed others, in a process with another hash seed as well."""
    program = (
        "from fillgen import parse_chart\nfrom fillgen.teaching.lesson import lesson\n"
        "from fillgen.writers.lessons import lesson_html\nimport zlib\n"
        "print(zlib.crc32(lesson_html(lesson(parse_chart('| Dm7 | G7 | C |'), seed=2)).encode()))"
    )
    runs = [
        subprocess.run(
            [sys.executable, "-c", program],
            capture_output=True,
            text=True,
            check=True,
            env={"PYTHONHASHSEED": seed},
        )
        for seed in ("1", "2")
    ]
    assert runs[0].stdout == runs[1].stdout != ""
    chart = parse_chart("| Dm7 | G7 | C |")
    assert lesson_text(lesson(chart, seed=2)) == lesson_text(lesson(chart, seed=2))
    assert lesson_text(lesson(chart, seed=2)) != lesson_text(lesson(chart, seed=3))


# Both sheets


@pytest.mark.parametrize("name", NAMES)
def test_the_text_holds_everything(name: str) -> None:
    """Text has all cautions, chords, steps, advice, remarks, each note with finger and reason, and lines to write on."""
    made_text = lesson_text(made(name))
    flat = " ".join(made_text.split())
    for caution in CAUTIONS:
        assert caution in flat
    for fit in made(name).fits:
        assert f"{fit.span.chord.symbol} chord notes {' '.join(str(t.name) for t in fit.tones)}" in flat
    for step in made(name).steps:
        assert all(line in flat for line in (step.name, step.adds, *step.practise, *step.remarks))
        for each in step.phrases:
            for note, reason in zip(each.notes, each.reasons, strict=True):
                assert f"bar {note.bar} {note.name} finger {note.finger} {reason}" in flat
    assert made_text.count("\nRemarks\n    ____") == len(made(name).steps)


@pytest.mark.parametrize("width", [1, 60, 100, 140])
def test_text_keeps_its_width(width: int) -> None:
    """Prose keeps within the width, down to forty characters; only rows of notes may be wider."""
    for line in lesson_text(made("waltz"), width).splitlines():
        is_row = "|" in line
        assert is_row or len(line) <= max(width, 60)


@pytest.mark.parametrize("name", NAMES)
def test_the_notes_of_the_text_read_back(name: str) -> None:
    """The note rows of the text are phrase text, and read back as the phrases."""
    rows: list[str] = []
    for block in lesson_text(made(name)).split("\n\n"):
        if "\n notes |" in block:
            parts = [line.split("|", 1)[1] for line in block.splitlines() if line.startswith(" notes |")]
            rows.append("|".join(part.rstrip().removesuffix("|") for part in parts))
    phrases = [each for step in made(name).steps for each in step.phrases]
    assert len(rows) == len(phrases) > 0
    for row, each in zip(rows, phrases, strict=True):
        assert parse_phrase(row, made(name).progression.metre) == tuple(n.note for n in each.notes)


@pytest.mark.parametrize("name", NAMES)
def test_the_page_holds_every_note(name: str) -> None:
    """The page has a row for each note: beat, name, what it is, finger and reason, under its bar and its chords."""
    tables = page(name).findall(".//table")
    phrases = [each for step in made(name).steps for each in step.phrases]
    assert len(tables) == len(phrases)
    progression = made(name).progression
    for table, each in zip(tables, phrases, strict=True):
        bodies = table.findall("tbody")
        assert len(bodies) == len(progression.bars)
        rows = []
        for number, (body, bar) in enumerate(zip(bodies, progression.bars, strict=True), 1):
            head, *notes = body.findall("tr")
            assert words(head) == f"Bar {number}: {', '.join(span.chord.symbol for span in bar)}"
            rows += [[number, *(words(cell) for cell in row)] for row in notes]
        assert [[row[0], row[2], row[4], row[5]] for row in rows] == [
            [note.bar, note.name, str(note.finger), reason]
            for note, reason in zip(each.notes, each.reasons, strict=True)
        ]
        for row, note in zip(rows, each.notes, strict=True):
            assert (f"chord tone {note.degree}" == row[3]) == (note.role == "chord tone")


@pytest.mark.parametrize("name", NAMES)
def test_the_page_has_what_the_text_has(name: str) -> None:
    """Cautions, fitting notes, steps, advice and remarks stand on the page as well, and lines to write on."""
    whole = words(page(name).find("body"))
    lines = [*CAUTIONS]
    for step in made(name).steps:
        lines += [step.name, step.adds, *step.practise, *step.remarks]
    for line in lines:
        assert line in whole
    items = [words(item) for item in page(name).findall(".//section[@id='fits']/ul/li")]
    for fit in made(name).fits:
        tones = " ".join(str(tone.name) for tone in fit.tones)
        assert any(f"{fit.span.chord.symbol}: chord notes {tones}" in item for item in items)
    assert len(page(name).findall(".//div[@class='line']")) == 3 * len(made(name).steps)


# The page


@pytest.mark.parametrize("name", NAMES)
def test_pictures_show_every_note(name: str) -> None:
    """A phrase has a picture for each bar, in which its notes lie by pitch and time, inside, named, and told in words."""
    progression = made(name).progression
    figures = page(name).findall(".//figure")
    phrases = [each for step in made(name).steps for each in step.phrases]
    for figure, each in zip(figures, phrases, strict=True):
        assert len(figure) == len(progression.bars)
        seen = []
        for picture, bar in zip(figure, progression.bars, strict=True):
            wide, high = (float(part) for part in picture.get("viewBox").split()[2:])
            title, desc = picture.find("title"), picture.find("desc")
            assert picture.get("aria-labelledby").split() == [title.get("id"), desc.get("id")]
            drawn = [text.text for text in picture.findall("text[@class='chord']")]
            assert drawn == [span.chord.symbol for span in bar]
            for group in picture.findall("g"):
                box = group.find("rect")
                x, y, width, height = (float(box.get(key)) for key in ("x", "y", "width", "height"))
                assert 0 <= x < x + width <= wide
                assert 0 <= y < y + height <= high
                texts = [text.text for text in group.findall("text")]
                if not texts[0].startswith("~"):
                    seen.append((group.get("class"), y, texts))
        assert len(seen) == len(each.notes)
        for (look, _, texts), note in zip(seen, each.notes, strict=True):
            assert look == {"chord tone": "tone", "": "lost"}.get(note.role, "between")
            assert note.name.startswith(texts[0])
            assert texts[2] == str(note.finger)
            assert (texts[1] == note.degree) == (note.role == "chord tone")
        for one, (_, above, _) in zip(each.notes, seen, strict=True):
            for other, (_, below, _) in zip(each.notes, seen, strict=True):
                assert (one.note.midi > other.note.midi) == (above < below)


def test_a_note_over_the_bar_line_is_drawn_in_both_bars() -> None:
    """What is tied over goes on in the next bar's picture, and is named and fingered where it begins only."""
    figure = page().findall(".//figure")[-1]
    third, fourth = figure[2].findall("g"), figure[3].findall("g")
    assert [words(group) for group in third] == [words(third[0])]
    assert third[0].findtext("text") == "Ab"
    assert [text.text for text in fourth[0].findall("text")] == ["~Ab"]
    assert "held from the bar before" in figure[3].find("desc").text


@pytest.mark.parametrize("name", NAMES)
def test_the_page_stands_alone(name: str) -> None:
    """No script, no request, nothing from outside; the style sheet knows dark, print and narrow screens."""
    root = page(name)
    tags = {element.tag for element in root.iter()}
    assert not tags & {"script", "link", "img", "iframe", "object", "use", "image"}
    for element in root.iter():
        for key, value in element.attrib.items():
            assert not key.startswith("on")
            if key in ("href", "src"):
                assert value.startswith("#")
    style = root.findtext(".//style")
    assert "url(" not in style
    assert "@import" not in style
    for part in ("prefers-color-scheme: dark", "@media print", "A4 portrait", "max-width:34rem"):
        assert part in style


@pytest.mark.parametrize("name", NAMES)
def test_the_page_is_in_order(name: str) -> None:
    """Ids are given once and found; headings go down one by one; cells belong to rows; nothing closes too early."""
    root = page(name)
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    for element in root.iter():
        for key in ("aria-labelledby", "href"):
            for wanted in (element.get(key) or "").removeprefix("#").split():
                assert wanted in ids
    levels = [int(element.tag[1]) for element in root.iter() if element.tag in ("h1", "h2", "h3")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert root.get("lang") == "en"
    void = {"meta"}
    inside = {element for svg in root.iter("svg") for element in svg.iter()}
    empty = {e.tag for e in root.iter() if not len(e) and not e.text and e not in inside}
    assert empty <= void


def test_a_reader_of_web_pages_sees_the_same_page() -> None:
    """A parser of web pages, which reads an empty element's end another way than XML, finds the same elements."""
    forgiving = etree.fromstring(lesson_html(made()), etree.HTMLParser())
    for tag in ("section", "table", "tr", "td", "figure", "svg", "div", "li"):
        assert len(forgiving.findall(f".//{tag}")) == len(page().findall(f".//{tag}")) > 0
    assert len(forgiving.find("body")) == len(page().find("body"))


def test_titles_are_text() -> None:
    """Whatever a title holds stands on the page as text, without what no page may hold, and on one line of the text."""
    root = page("title")
    wanted = '<b>&"</style><script>alert(1)</script> end: a lesson'
    assert words(root.find(".//h1")) == words(root.find(".//title")) == wanted
    assert not root.findall(".//b")
    assert lesson_text(made("title")).splitlines()[0].split() == wanted.split()


def test_words_of_a_pack_are_text() -> None:
    """What a player's pack says of a level stands on the page as text too."""
    pack = RulePack({"level": [{"number": 6, "like": 2, "name": "<i>x\x00", "says": "a & b\x1b[2J"}]})
    found = lesson(parse_chart("| C | G7 |"), levels=(6,), per_level=1, pack=pack)
    root = etree.fromstring(lesson_html(found).removeprefix("<!DOCTYPE html>\n"))
    assert "Level 6: <i>x" in [words(head) for head in root.findall(".//h2")]
    assert "a & b[2J" in words(root)
    assert "\x1b" not in lesson_text(found)


def contrast(one: str, other: str) -> float:
    """The contrast of two colours: WCAG 2.1, relative luminance and contrast ratio."""

    def luminance(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_words_can_be_read_by_day_and_by_night() -> None:
    """WCAG 2.1, 1.4.3: text has a contrast of 4.5 at least with its ground, on the page and in a filled note."""
    style = page().findtext(".//style")
    palettes = [dict(re.findall(r"--(\w+):(#\w{6})", part)) for part in re.findall(r":root\{[^}]*\}", style)]
    assert len(palettes) == 3
    assert palettes[0] == palettes[2] != palettes[1]
    for colours in palettes:
        for name in ("ink", "soft", "link"):
            assert contrast(colours[name], colours["ground"]) >= 4.5


# The plan of a session as text


def test_the_plan_of_a_session_tells_when_and_how_long() -> None:
    """Each round stands there with the time at which it begins, rests as well, then the cautions."""
    ideas = generate(Request(parse_chart("| C | F | G7 | C |"), count=1, tempo=120))
    told_text = session_text(loop(ideas, ideas[0], slowest=0.5, steps=2, times=6))
    lines = told_text.splitlines()
    assert lines[0] == "36 rounds, 9 minutes 20 seconds"
    assert lines[1:3] == [
        "   0:00  60 a minute, right hand alone, time 1 of 6",
        "   0:20  60 a minute, right hand alone, time 2 of 6",
    ]
    once = loop(ideas, ideas[0], steps=1, times=1, parts=("right",))
    assert session_text(once).splitlines()[0] == "1 round, 10 seconds"
    at = next(i for i, line in enumerate(lines) if "rest your hands" in line)
    assert lines[at].startswith("   5:00  rest")
    assert lines[at + 1].startswith("   5:20  60 a minute, all parts, time 4 of 6")
    assert all(caution in " ".join(told_text.split()) for caution in CAUTIONS)


def test_a_bar_of_pick_up_is_bar_nought() -> None:
    """Where a chart begins with the bar of a pick-up, its bars are counted from 0 in every place of both sheets."""
    progression = replace(parse_chart("| N.C. | C | G7 | C |"), first=0)
    own = noted(progression, "rh. G4q | C5h E5h | D5h B4h | C5w")
    found = lesson(progression, levels=(2,), per_level=1, phrase=own)
    root = etree.fromstring(lesson_html(found).removeprefix("<!DOCTYPE html>\n"))
    heads = [words(row) for row in root.findall(".//tr[@class='of-bar']")]
    assert heads == ["Bar 0: N.C.", "Bar 1: C", "Bar 2: G7", "Bar 3: C"] * 2
    assert [len(body) for body in root.findall(".//tbody")[-4:]] == [2, 3, 3, 2]
    titles = [words(title) for title in root.findall(".//svg/title")]
    assert titles == heads
    assert [words(row).split(":")[0] for row in root.findall(".//section[@id='fits']/ul")[0]] == [
        "bar 0 N.C.",
        "bar 1 C",
        "bar 2 G7",
        "bar 3 C",
    ]
    assert "    bar 0   G4    finger" in lesson_text(found)
