"""Phrases varied, one variation at a time, on small charts in several keys and metres; and every refusal."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, product

import pytest

from fillgen import NoPhraseError, OptionError, PhraseError, RulePack
from fillgen.chart.progression import Progression
from fillgen.chart.text import parse_chart
from fillgen.engine.request import Request, settle
from fillgen.phrase.idea import Ideas
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.remark import RemarkKind
from fillgen.phrase.text import parse_phrase, phrase_text
from fillgen.theory.keys import read_key
from fillgen.theory.metre import METRES, is_triplet
from fillgen.vary import vary
from fillgen.vary.likeness import LIKE, UNLIKE, distance
from fillgen.vary.variation import Variation, read_keep
from tests.effort import one_in

CHART = parse_chart("| D | F#m | Em7 | A7 |")
CALL = parse_phrase("F#5q. E5e D5h | A4q C#5q F#5h | G5q. F#5e E5q D5q | C#5h A4h", CHART.metre)
PUSHED = parse_phrase("D5q F#5q D5q. A4e~ | A4q F#4q A4h | E4q G4q B4q. A4e~ | A4q G4q A4h", CHART.metre)
WALTZ = parse_chart("| F | Gm7 | C7 | F |", metre="3/4")
TURN = parse_phrase("A4q C5q F5q | D5h Bb4q | E5q C5q G4q | A4h.", WALTZ.metre)
PICKED_UP = replace(parse_chart("| N.C. | F | Gm7 | C7 |", metre="3/4"), first=0)
UPBEAT = parse_phrase("rh C5q | A4q C5q F5q | D5q Bb4h | E5h C5q", PICKED_UP.metre)
SLOW = parse_chart("| Bb | Eb | F7 | Bb |", metre="6/8")
ROCKING = parse_phrase("D5q. F5q. | Eb5q D5e Eb5q. | C5q. A4q. | Bb4h.", SLOW.metre)
TRIPLETS = parse_phrase(
    "F#5et G5et A5et F#5q D5h | A4q C#5q F#5h | G5q. F#5e E5q D5q | C#5h A4h", CHART.metre
)


def ask(variation: Variation, chart: Progression = CHART, call: Phrase = CALL, **settings: object) -> Ideas:
    return vary(Request(chart, **settings), call, variation)  # type: ignore[arg-type]


def rhythm(phrase: Phrase) -> list[tuple[int, int]]:
    return [(note.onset, note.length) for note in phrase]


def pitches(phrase: Phrase) -> list[int]:
    return [note.midi for note in phrase]


def rises(phrase: Phrase) -> list[int]:
    return [(b.midi > a.midi) - (b.midi < a.midi) for a, b in pairwise(phrase)]


def in_bars(phrase: Phrase, chart: Progression, *bars: int) -> list[Note]:
    return [note for note in phrase if chart.bar_of(note.onset) in bars]


# What is kept, from text


@pytest.mark.parametrize(
    ("text", "variation"),
    [
        ("1", Variation(bars=(1,))),
        ("2,1,2", Variation(bars=(1, 2))),
        ("1-3", Variation(bars=(1, 2, 3))),
        (" 0 - 1 , 4 ", Variation(bars=(0, 1, 4))),
        ("rhythm", Variation(rhythm=True)),
        ("Contour,2", Variation(bars=(2,), contour=True)),
        ("pitches", Variation(pitches=True)),
    ],
)
def test_what_is_kept_is_read(text: str, variation: Variation) -> None:
    assert read_keep(text) == variation


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("rythm", "cannot keep 'rythm'. Did you mean 'rhythm'?"),
        ("contours,1", "Did you mean 'contour'?"),
        ("", "Keep bars by number (1,2 or 1-3), or rhythm, pitches or contour."),
        ("1,,2", "cannot keep ''"),
        ("3-1", "Put the lower number first, such as 1-3."),
        ("1-9999", "cannot keep the bars 1-9999"),
        ("-2", "cannot keep '-2'"),
        ("١", "cannot keep"),
    ],
)
def test_what_cannot_be_kept_is_refused(text: str, part: str) -> None:
    with pytest.raises(OptionError) as caught:
        read_keep(text)
    assert part in str(caught.value)


# Distance


def test_distance_is_the_share_of_time_that_differs() -> None:
    """Against sums by hand: a quarter of C, then one of E or of rest."""
    line = parse_phrase("C5q E5q rh", METRES["4/4"])
    assert distance(line, line) == 0
    assert distance(line, parse_phrase("C5q F5q rh", METRES["4/4"])) == 1 / 2
    assert distance(line, parse_phrase("C5q rq rh", METRES["4/4"])) == 1 / 2
    assert distance(line, parse_phrase("C5q E5q G5h", METRES["4/4"])) == 1 / 2
    assert distance(line, parse_phrase("rh C5h", METRES["4/4"])) == 1
    assert distance(line, parse_phrase("C5q F5q rh", METRES["4/4"]), outside=[(480, 960)]) == 0


# Bars kept


@pytest.mark.parametrize(
    ("call", "keep"), one_in(2, product((CALL, PUSHED), ("1", "2", "4", "1,2", "2,4", "1-3", "1,3")))
)
def test_kept_bars_stay(call: Phrase, keep: str) -> None:
    """Notes that begin in kept bars keep onset, length and pitch, and no other note begins there."""
    variation = read_keep(keep)
    found = ask(variation, call=call, count=20)
    assert len(found) == 20
    for idea in found:
        assert in_bars(idea.phrase, CHART, *variation.bars) == in_bars(call, CHART, *variation.bars)
        assert all(a.end <= b.onset for a, b in pairwise(idea.phrase))
        assert idea.phrase != call


def test_bars_count_from_0_where_there_is_a_pick_up() -> None:
    """`--keep 0` keeps the pick-up, and another bar kept leaves it its rhythm."""
    for idea in ask(read_keep("0,2"), PICKED_UP, UPBEAT, count=10):
        assert in_bars(idea.phrase, PICKED_UP, 0, 2) == in_bars(UPBEAT, PICKED_UP, 0, 2)
    for idea in ask(read_keep("2"), PICKED_UP, UPBEAT, count=10):
        assert rhythm(idea.phrase[:1]) == rhythm(UPBEAT[:1])
        assert idea.notes[0].bar == 0


def test_a_bar_of_rest_is_kept_as_well() -> None:
    call = parse_phrase("rw | A4q C#5q F#5h | G5q. F#5e E5q D5q | C#5h A4h", CHART.metre)
    for idea in ask(read_keep("1"), call=call, count=10):
        assert idea.phrase[0].onset >= CHART.metre.bar


def test_a_note_held_into_the_next_bar_belongs_to_the_bar_it_begins_in() -> None:
    """With bar 1 kept its last note sounds on in bar 2; with bar 2 kept it is new, or there is none."""
    for idea in ask(read_keep("1"), call=PUSHED, count=30):
        assert Note(1680, 720, 69) in idea.phrase
        assert not [note for note in idea.phrase if 1680 < note.onset < 2400]
    found = ask(read_keep("2"), call=PUSHED, count=30, level=4)
    held = [note for idea in found for note in idea.phrase if note.onset < 1920 < note.end]
    assert {note.midi for note in held} - {69}
    assert all(note.end <= 2400 for note in held)


def test_all_other_bars_differ_clearly() -> None:
    """Outside the kept bars no two variants sound the same in more than 55 % of the time."""
    found = ask(read_keep("1"), count=30)
    kept = [(0, CHART.metre.bar)]
    lines = [CALL, *(idea.phrase for idea in found)]
    assert min(distance(a, b, kept) for i, a in enumerate(lines) for b in lines[:i]) >= 0.4


# Rhythm, contour, pitches


@pytest.mark.parametrize(
    ("chart", "call"), [(CHART, CALL), (CHART, TRIPLETS), (WALTZ, TURN), (SLOW, ROCKING)]
)
def test_rhythm_and_contour_stay(chart: Progression, call: Phrase) -> None:
    for idea in ask(read_keep("rhythm"), chart, call, count=20):
        assert rhythm(idea.phrase) == rhythm(call)
        assert pitches(idea.phrase) != pitches(call)
    for idea in ask(read_keep("contour"), chart, call, count=20):
        assert rhythm(idea.phrase) == rhythm(call)
        assert rises(idea.phrase) == rises(call)
        assert pitches(idea.phrase) != pitches(call)


@pytest.mark.parametrize(("chart", "call"), [(CHART, CALL), (WALTZ, TURN), (SLOW, ROCKING)])
def test_the_row_of_pitches_stays(chart: Progression, call: Phrase) -> None:
    found = ask(read_keep("pitches"), chart, call, count=20)
    assert f"{found.phrases:,} other rhythm" in found.remarks[0].text
    for idea in found:
        assert pitches(idea.phrase) == pitches(call)
        assert rhythm(idea.phrase) != rhythm(call)
    assert len({idea.text for idea in found}) == len(found) == min(20, found.phrases)


def test_keeps_go_together() -> None:
    """A bar and the rhythm, a bar and the contour, a bar and the row of pitches."""
    for idea in ask(read_keep("2,rhythm"), count=10):
        assert rhythm(idea.phrase) == rhythm(CALL)
        assert in_bars(idea.phrase, CHART, 2) == in_bars(CALL, CHART, 2)
    for idea in ask(read_keep("3,contour"), count=10):
        assert rises(idea.phrase) == rises(CALL)
        assert in_bars(idea.phrase, CHART, 3) == in_bars(CALL, CHART, 3)
    for idea in ask(read_keep("1,pitches"), count=10):
        assert pitches(idea.phrase) == pitches(CALL)
        assert in_bars(idea.phrase, CHART, 1) == in_bars(CALL, CHART, 1)


# The mirror


def test_mirror_turns_every_direction_where_the_rules_allow_it() -> None:
    found = ask(Variation(mirror=True), count=10)
    assert found.remarks[0].kind == RemarkKind.ORDER
    for idea in found:
        assert rhythm(idea.phrase) == rhythm(CALL)
        assert rises(idea.phrase) == [-rise for rise in rises(CALL)]


def test_mirror_image_itself_comes_first_where_it_keeps_the_rules() -> None:
    """About its first note, in the scale of C: up a third becomes down a third."""
    chart = parse_chart("| C | C |")
    call = parse_phrase("E5q. F5e G5h | E5q. D5e E5h", chart.metre)
    first = ask(Variation(mirror=True), chart, call)[0]
    assert first.text == "E5q. D5e C5h | E5q. F5e E5h"


def test_mirror_turns_as_many_as_it_can_and_says_how_many_stay() -> None:
    """Three chord tones make two steps down, not three: one direction cannot be turned round."""
    chart = parse_chart("| C | C |")
    call = parse_phrase("C5h E5h | G5h C6h", chart.metre)
    found = ask(Variation(mirror=True), chart, call, low=72, high=80, level=2)
    assert any("don't let every direction be reversed: 1 of 3" in remark.text for remark in found.remarks)
    for idea in found:
        assert sum(a == -b for a, b in zip(rises(idea.phrase), rises(call), strict=True)) == 2


def test_mirror_leaves_kept_bars() -> None:
    for idea in ask(Variation(bars=(1,), mirror=True), count=5):
        assert in_bars(idea.phrase, CHART, 1) == in_bars(CALL, CHART, 1)
        assert rises(idea.phrase)[2:] == [-rise for rise in rises(CALL)[2:]]


# Another level


def test_decoration_falls_away_on_an_easier_level() -> None:
    """From level 3 to 2 passing notes fall, their time goes to the note before, strong beats stay."""
    first = ask(Variation(level_as=2), count=1)[0]
    assert first.text == "F#5h D5h | A4q C#5q F#5h | G5h E5q D5q | C#5h A4h"


def test_syncopation_is_straightened_below_level_4() -> None:
    found = ask(Variation(level_as=3), call=PUSHED, count=5)
    assert found[0].text == "D5q F#5q D5h | A4q F#4q A4h | E4q G4q B4h | A4q G4q A4h"
    assert not any(
        CHART.metre.crosses(note.onset % CHART.metre.bar, note.length)
        for idea in found
        for note in idea.phrase
    )


def test_triplets_fall_below_level_5() -> None:
    """Below level 5 no note of a triplet is left, and bars 2 to 4, which had none, stay as they were."""
    found = ask(Variation(level_as=4), call=TRIPLETS, count=1)
    _, rest = found[0].text.split(" | ", 1)
    assert rest == "A4q C#5q F#5h | G5q. F#5e E5q D5q | C#5h A4h"
    assert any(is_triplet(note.length) for note in TRIPLETS)
    assert not any(is_triplet(note.onset) or is_triplet(note.length) for note in found[0].phrase)


def test_level_1_is_the_roots() -> None:
    """One root for each chord, near to what sounded; what that leaves of the phrase is said."""
    found = ask(Variation(level_as=1), call=PUSHED)
    assert found.level == 1
    assert found.remarks[1].kind == RemarkKind.PARTLY
    assert "recognisable" in found.remarks[1].text
    for idea in found:
        assert [each.degree for each in idea.notes] == ["1", "1", "1", "1"]
        assert [note.onset for note in idea.phrase] == [span.onset for span in CHART.spans]


@pytest.mark.parametrize(("level", "roles"), [(4, set()), (5, {"approach", "appoggiatura"})])
def test_a_harder_level_adds_what_it_is_made_of(level: int, roles: set[str]) -> None:
    """Syncopation or an anticipation at level 4; a chromatic or leaning note or a triplet at level 5."""
    metre = CHART.metre
    for idea in ask(Variation(level_as=level), count=15):
        kinds = {each.role for each in idea.notes}
        crosses = any(metre.crosses(note.onset % metre.bar, note.length) for note in idea.phrase)
        triplet = any(note.length % 120 for note in idea.phrase)
        assert (level == 4 and (crosses or "anticipation" in kinds)) or (
            level == 5 and (kinds & roles or triplet)
        )
        assert len(idea.phrase) >= len(CALL)


def test_passing_notes_are_put_between_at_level_3() -> None:
    call = parse_phrase("F#5h D5h | A4h C#5h | G5h E5h | C#5h A4h", CHART.metre)
    found = ask(Variation(level_as=3), call=call, count=15)
    for idea in found:
        assert {each.role for each in idea.notes} & {"passing", "neighbour"}
        sounding = {note.onset: note.midi for note in idea.phrase}
        assert all(sounding[note.onset] == note.midi for note in call)


def test_the_level_a_phrase_has_already_is_refused() -> None:
    with pytest.raises(OptionError, match="is already at level 3"):
        ask(Variation(level_as=3))
    with pytest.raises(OptionError, match="there is no level 9"):
        ask(Variation(level_as=9))


# Another key


def test_moving_alone_gives_the_phrase_itself() -> None:
    found = ask(Variation(key=read_key("E")))
    assert [span.chord.symbol for span in found.progression.spans] == ["E", "G#m", "F#m7", "B7"]
    assert found[0].text == "G#5q. F#5e E5h | B4q D#5q G#5h | A5q. G#5e F#5q E5q | D#5h B4h"
    assert (len(found), found.phrases, found.remarks) == (1, 1, ())


def test_moving_goes_the_smaller_way_that_stays_in_range() -> None:
    """Up to E where there is room, down where the range ends below; the call lies between A4 and G5."""
    assert pitches(ask(Variation(key=read_key("E")))[0].phrase)[0] == 78 + 2
    assert pitches(ask(Variation(key=read_key("E")), low=55, high=79)[0].phrase)[0] == 78 - 10
    assert pitches(ask(Variation(key=read_key("B")))[0].phrase)[0] == 78 - 3
    with pytest.raises(NoPhraseError, match="can't be moved to fit between"):
        ask(Variation(key=read_key("E")), low=67, high=76)


@pytest.mark.parametrize(
    ("chart", "key", "symbols", "remark"),
    [
        ("| C | G7/B |", "Cb", "B F#7/A#", ("Cb major is written as B major.",)),
        ("| C | Ab7 |", "Gb", "Gb D7", ()),
        ("| C | F |", "Gb", "Gb Cb", ()),
        ("| C | F#dim7 |", "C#", "Db Gdim7", ("C# major is written as Db major.",)),
        ("| Gb | Db7 |", "F#", "F# C#7", ()),
        ("| C | N.C. |", "D", "D N.C.", ()),
        ("| CΔ7 | G7sus4 |", "Ab", "Abmaj7 Eb7sus4", ()),
    ],
)
def test_moved_chords_are_plainly_spelled(
    chart: str, key: str, symbols: str, remark: tuple[str, ...]
) -> None:
    """Expected symbols by hand; a key of seven signs is written with fewer."""
    head = parse_chart(chart, key=chart.split()[1].rstrip("Δ7"))
    call = parse_phrase("C5w | G4w", head.metre)
    found = ask(Variation(key=read_key(key)), head, call)
    assert " ".join(span.chord.symbol for span in found.progression.spans) == symbols
    assert tuple(map(str, found.remarks)) == remark


def test_moving_keeps_the_mode() -> None:
    with pytest.raises(OptionError, match=r"change its mode. Name a major key"):
        ask(Variation(key=read_key("Bm")))
    with pytest.raises(OptionError, match="in D major already"):
        ask(Variation(key=read_key("D")))


def test_moving_goes_first_and_another_change_after_it() -> None:
    found = ask(Variation(key=read_key("C"), bars=(1,)), count=5)
    moved = ask(Variation(key=read_key("C")))[0].phrase
    assert str(found.progression.key) == "C major"
    for idea in found:
        assert in_bars(idea.phrase, CHART, 1) == in_bars(moved, CHART, 1)


# Like, unlike, answer


@pytest.mark.costly
@pytest.mark.parametrize(("chart", "call"), [(CHART, CALL), (CHART, PUSHED), (WALTZ, TURN), (SLOW, ROCKING)])
def test_like_and_unlike_keep_their_bounds(chart: Progression, call: Phrase) -> None:
    for idea in ask(Variation(near="like"), chart, call, count=20):
        assert 0 < distance(idea.phrase, call) <= 1 - LIKE
    for idea in ask(Variation(near="unlike"), chart, call, count=20):
        assert distance(idea.phrase, call) > 1 - UNLIKE
        assert rhythm(idea.phrase) != rhythm(call)
        assert idea.phrase[0].midi != call[0].midi
        bar = chart.metre.bar
        assert [n for n in rhythm(idea.phrase) if n[0] < bar] != [n for n in rhythm(call) if n[0] < bar]


def test_like_keeps_what_is_kept_besides() -> None:
    for idea in ask(Variation(bars=(2,), near="like"), count=10):
        assert in_bars(idea.phrase, CHART, 2) == in_bars(CALL, CHART, 2)
    for idea in ask(Variation(contour=True, near="like"), count=10):
        assert rises(idea.phrase) == rises(CALL)
        assert rhythm(idea.phrase) == rhythm(CALL)


def test_like_mends_a_wrong_note() -> None:
    """A phrase with one note that breaks a rule: only what changes that note keeps the rules."""
    call = parse_phrase("F#5q. E5e D5h | A4q C#5q F#5h | G5q. F#5e A5q D5q | C#5h A4h", CHART.metre)
    found = ask(Variation(near="like"), call=call, count=10)
    assert all(Note(4800, 480, 81) not in idea.phrase for idea in found)


@pytest.mark.parametrize(("chart", "call"), [(CHART, CALL), (CHART, PUSHED), (WALTZ, TURN), (SLOW, ROCKING)])
def test_an_answer_answers(chart: Progression, call: Phrase) -> None:
    """The call's first bar in rhythm and contour or its turn, a start near its end, a close on the root."""
    bar = chart.metre.bar
    opening = [note for note in call if note.onset < bar]
    for idea in ask(Variation(near="answer"), chart, call, count=20):
        begun = idea.phrase[: len(opening)]
        assert rhythm(begun) == rhythm(tuple(opening))
        assert rises(begun) in (rises(tuple(opening)), [-rise for rise in rises(tuple(opening))])
        assert abs(begun[0].midi - call[-1].midi) <= 5
        assert idea.notes[-1].degree == "1"
        assert chart.is_strong(idea.phrase[-1].onset)
        if chart is not SLOW:  # the only other B flats lie outside the range of level 3
            assert idea.phrase[-1].midi != call[-1].midi
        assert distance(idea.phrase, call) >= 0.5


def test_an_answer_ends_where_it_is_asked_to() -> None:
    found = ask(Variation(near="answer"), count=10, ends_on=("third",))
    assert {idea.notes[-1].degree for idea in found} == {"3"}


def test_an_answer_over_one_bar_opens_with_half_of_it() -> None:
    chart = parse_chart("| C |")
    call = parse_phrase("E5q F5q G5h", chart.metre)
    for idea in ask(Variation(near="answer"), chart, call):
        assert rhythm(idea.phrase[:2]) == [(0, 480), (480, 480)]


# The level and the range taken


def test_the_level_is_the_lowest_that_what_is_kept_allows() -> None:
    assert ask(read_keep("1"), count=1).level == 3
    assert ask(read_keep("1"), call=PUSHED, count=1).level == 4
    assert ask(read_keep("2"), call=PUSHED, count=1).level == 3
    assert ask(read_keep("1"), call=TRIPLETS, count=1).level == 5
    assert ask(read_keep("2"), call=TRIPLETS, count=1).level == 3
    assert ask(read_keep("1"), count=1, level=5).level == 5


def test_the_range_is_widened_to_hold_what_is_kept() -> None:
    call = parse_phrase("F#6q E6q D6h | A5q C#6q F#6h | G6q. F#6e E6q D6q | C#6h A5h", CHART.metre)
    found = ask(read_keep("1"), call=call, count=20)
    assert max(note.midi for idea in found for note in idea.phrase) <= 90
    with pytest.raises(NoPhraseError, match=r"bar 1, beat 1: F#6 is outside the range D4 to C6"):
        ask(read_keep("1"), call=call, high=84)


# Refusals


@pytest.mark.parametrize(
    ("variation", "part"),
    [
        (Variation(), "there is nothing to vary by"),
        (Variation(bars=(1, 2, 3, 4)), "nothing is left to vary: all bars are kept"),
        (Variation(rhythm=True, pitches=True), "nothing is left to vary: rhythm and pitches are both kept"),
        (Variation(bars=(5,)), "there is no bar 5. The bars are 1 to 4."),
        (Variation(bars=(0,)), "there is no bar 0"),
        (Variation(mirror=True, near="like"), "mirror and like can't be combined"),
        (Variation(level_as=2, near="answer"), "another level and answer can't be combined"),
        (Variation(contour=True, mirror=True), "mirror and keeping contour can't be combined"),
        (Variation(pitches=True, near="unlike"), "unlike and keeping pitches can't be combined"),
        (Variation(bars=(1,), level_as=2), "another level and keeping bars can't be combined"),
        (Variation(near="likely"), "unknown nearness 'likely'. Did you mean"),
    ],
)
def test_variations_that_cannot_be_made_are_refused(variation: Variation, part: str) -> None:
    with pytest.raises(OptionError) as caught:
        ask(variation)
    assert part in str(caught.value)


@pytest.mark.parametrize(
    ("call", "part"),
    [
        ((), "the phrase has no notes"),
        ((Note(0, 9600, 60),), "the phrase has 5 bars, the chart 4"),
        ((Note(0, 480, 60), Note(240, 480, 62)), "bar 1, beat 1.5: two notes sound at once"),
    ],
)
def test_phrases_that_do_not_fit_the_chart_are_refused(call: Phrase, part: str) -> None:
    with pytest.raises(PhraseError) as caught:
        ask(read_keep("1"), call=call)
    assert part in str(caught.value)


@pytest.mark.parametrize(
    ("text", "keep", "part"),
    [
        (
            "F#5q. E5e D5h | B4h F#5h | G5w | C#5h A4h",
            "2",
            'bar 2, beat 1: B4 breaks strong-beat over F#m ("A note',
        ),
        ("F#5q. E5e D5h | A4h F#5h | G5w | C#5h E5h", "4", "bar 4, beat 3: E5 breaks final-note over A7"),
        ("F#5q F#5q F#5h | A4h F#5h | G5w | C#5h A4h", "1", "bar 1, beat 2: F#5 breaks repeat-limit over D"),
        ("F#5q D5q A4q F#4q | C#5h F#5h | G5w | C#5h A4h", "1-2", "bar 2, beat 1: C#5 breaks leap-turns"),
    ],
)
def test_a_kept_note_that_breaks_a_rule_is_named(text: str, keep: str, part: str) -> None:
    call = parse_phrase(text, CHART.metre)
    with pytest.raises(NoPhraseError) as caught:
        ask(read_keep(keep), call=call)
    assert part in str(caught.value)


def test_a_kept_note_that_nothing_can_follow_is_named() -> None:
    """B5 over C must be left by step into a bar whose notes lie farther off."""
    chart = parse_chart("| C | G7 |")
    call = parse_phrase("E5q G5h B5q | G5h B4h", chart.metre)
    with pytest.raises(NoPhraseError) as caught:
        ask(read_keep("1"), chart, call, level=3, high=83)
    assert "bar 1, beat 4: B5 over C can't be kept next to its neighbours" in str(caught.value)


def test_a_rhythm_that_no_phrase_has_is_named() -> None:
    """A note of the rhythm held across a chord it cannot belong to: C and F#7 have no tone in common."""
    chart = parse_chart("| C | F# |")
    call = parse_phrase("E5h G5h~ | G5q F#5q C#5h", chart.metre)
    with pytest.raises(NoPhraseError) as caught:
        ask(read_keep("rhythm"), chart, call, level=3)
    assert "bar 1, beat 3: no pitch keeps the rules in place of G5" in str(caught.value)


def test_pitches_that_no_rhythm_carries_are_refused() -> None:
    call = parse_phrase("F#5q G#5q A5h | A4q C#5q F#5h | G5w | C#5h A4h", CHART.metre)
    with pytest.raises(
        NoPhraseError, match=r"no foxtrot rhythm fits these pitches: none gets past .*, note \d"
    ):
        ask(read_keep("pitches"), call=call, level=3)


def test_a_phrase_too_wrong_for_small_changes_is_refused() -> None:
    call = parse_phrase("G#5h D#5h | B4h E5h | G#5w | C5h D#5h", CHART.metre)
    with pytest.raises(NoPhraseError, match=r"bar 1, beat 1: G#5 breaks strong-beat over D"):
        ask(Variation(near="like"), call=call)


# What comes back


def test_ideas_come_back_for_every_renderer() -> None:
    """Rank, score, terms, spelled notes and text, as from the main job."""
    found = ask(read_keep("1"), count=5, seed=3, rhythm="ballad", tempo=70)
    assert (found.rhythm, found.tempo, found.seed, found.level) == ("ballad", 70, 3, 3)
    assert [idea.rank for idea in found] == [1, 2, 3, 4, 5]
    assert [idea.score for idea in found] == sorted((idea.score for idea in found), reverse=True)
    for idea in found:
        assert parse_phrase(idea.text, CHART.metre) == idea.phrase
        assert phrase_text(idea.phrase, CHART) == idea.text
        assert all(each.role for each in idea.notes)


def test_few_are_given_whole_with_a_remark() -> None:
    chart = parse_chart("| C | G7 |")
    call = parse_phrase("E5h C5h | D5h B4h", chart.metre)
    found = ask(read_keep("contour"), chart, call, level=2, low=67, high=76)
    assert len(found) == found.phrases < 50
    assert found.remarks[-1].kind == RemarkKind.ALL_GIVEN


def test_a_pack_of_ones_own_counts() -> None:
    """No leap wider than a fourth: a kept fifth is refused by name, new notes keep within it."""
    pack = RulePack({"level": [{"number": 3, "like": 3, "rule": [{"kind": "leap-limit", "semitones": 5}]}]})
    found = ask(read_keep("1"), count=10, pack=pack, level=3)
    assert all(abs(a.midi - b.midi) <= 5 for idea in found for a, b in pairwise(idea.phrase))
    with pytest.raises(NoPhraseError, match=r"breaks leap-limit .*5 half steps"):
        ask(
            read_keep("2"),
            call=parse_phrase("F#5w | F#4h C#5h | G5w | C#5w", CHART.metre),
            pack=pack,
            level=3,
        )


def test_a_small_hand_counts() -> None:
    """What is asked of the hand is asked of variants as well."""
    found = ask(read_keep("1"), count=5, hand="small", tempo=200)
    assert found.hand == "small"
    assert "ease" in found[0].terms
    assert settle(Request(CHART, hand="small")).uses[-1].rule.kind == "in-reach"


# Charts whose metre changes


CHANGING = parse_chart("| D | F#m | 2/4 Em7 | 4/4 A7 |")
HOPPING = parse_phrase("D5q F#5q A5h | F#5h C#5h | B4q G4q | A4h C#5h", CHANGING.timeline)


@pytest.mark.parametrize("bars", ["1", "3", "1,3", "2-4"])
def test_bars_kept_where_the_metre_changes(bars: str) -> None:
    """The notes of kept bars stay, those of others keep to the bars of their own metre."""
    kept = read_keep(bars).bars
    found = ask(read_keep(bars), CHANGING, HOPPING, count=4)
    assert len(found)
    for idea in found:
        assert in_bars(idea.phrase, CHANGING, *kept) == in_bars(HOPPING, CHANGING, *kept)
        assert rhythm(parse_phrase(idea.text, CHANGING.timeline)) == rhythm(idea.phrase)


@pytest.mark.parametrize(
    "variation",
    [
        Variation(rhythm=True),
        Variation(pitches=True),
        Variation(contour=True),
        Variation(near="like"),
        Variation(near="unlike"),
        Variation(near="answer"),
    ],
    ids=str,
)
def test_variations_where_the_metre_changes(variation: Variation) -> None:
    """Every variation is met as over bars of one metre: the rhythm, the pitches or the contour stay; texts read back."""
    found = ask(variation, CHANGING, HOPPING, count=4)
    assert len(found)
    for idea in found:
        assert rhythm(parse_phrase(idea.text, CHANGING.timeline)) == rhythm(idea.phrase)
        if variation.rhythm:
            assert rhythm(idea.phrase) == rhythm(HOPPING)
        if variation.pitches:
            assert pitches(idea.phrase) == pitches(HOPPING)
        if variation.contour:
            assert rises(idea.phrase) == rises(HOPPING)
        if variation.near == "like":
            assert distance(idea.phrase, HOPPING) <= 1 - LIKE
