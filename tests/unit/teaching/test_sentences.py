"""Why a note may stand where it stands, what it is called, and why an idea ranks where it does."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

import fillgen
from fillgen import parse_chart, parse_phrase
from fillgen.phrase.place import places
from fillgen.teaching.line import Line
from fillgen.teaching.naming import kinds
from fillgen.teaching.ranking import ranking, shares
from fillgen.teaching.sentences import reasons
from fillgen.teaching.words import beat_words
from fillgen.theory.metre import METRES


def sentences_of(chart: str, phrase: str, key: str = "C", metre: str | None = None) -> tuple[str, ...]:
    """The sentences for the notes of a phrase in phrase text."""
    progression = parse_chart(chart, key=key, metre=metre)
    return reasons(progression, parse_phrase(phrase, progression.metre))


# Beats and intervals


@pytest.mark.parametrize(
    ("metre", "tick", "words"),
    [
        ("4/4", 0, "beat 1"),
        ("4/4", 1920 + 1440, "beat 4"),
        ("4/4", 240, "the second half of beat 1"),
        ("4/4", 1800, "the fourth sixteenth of beat 4"),
        ("4/4", 160, "the second triplet note of beat 1"),
        ("4/4", 1280, "the third triplet note of beat 3"),
        ("3/4", 720, "the second half of beat 2"),
        ("2/2", 480, "the second half of beat 1"),
        ("2/2", 1200, "the second eighth of beat 2"),
        ("6/8", 240, "the second eighth of beat 1"),
        ("6/8", 1200, "the third eighth of beat 2"),
        ("12/8", 2160, "beat 4"),
        ("9/8", 360, "the fourth sixteenth of beat 1"),
        ("4/4", 80, "the second triplet sixteenth of beat 1"),
        ("4/4", 20, "just after beat 1"),
        ("4/4", 180, "just before the second half of beat 1"),
        ("4/4", 780, "just after the second half of beat 2"),
        ("4/4", 1860, "just before the next bar"),
        ("6/8", 660, "just before beat 2"),
    ],
)
def test_beats_are_counted_in_the_metre(metre: str, tick: int, words: str) -> None:
    """A tick is named by the beat of its metre and the part of the beat."""
    assert beat_words(METRES[metre], tick) == words


def test_every_place_of_every_bar_has_its_own_words() -> None:
    """No two places of a bar on the grids of sixteenths and triplets are called the same."""
    for metre in METRES.values():
        ticks = sorted({*range(0, metre.bar, 120), *range(0, metre.bar, 160)})
        assert len({beat_words(metre, tick) for tick in ticks}) == len(ticks), metre.name


# Sentences


@pytest.mark.parametrize(
    ("chart", "phrase", "index", "parts"),
    [
        ("| C |", "G5w", 0, ["G5 on beat 1 is the fifth of C", "strong beat"]),
        ("| C | F |", "C5w | A4w", 1, ["third of F, which begins here"]),
        ("| C |", "E5q E5q G5h", 1, ["struck again"]),
        ("| C |", "G5q A5q B5q C6q", 1, ["passing note between G5 and B5", "off the strong beats"]),
        ("| C |", "E5e F5e E5q G5h", 1, ["step above E5 and back", "half step above E5", "moves on quickly"]),
        ("| C | F |", "G5h. F5q | F5w", 1, ["anticipates the root of F", "struck next"]),
        ("| C | F |", "G5h. A5q~ | A5w", 1, ["anticipates the third of F", "held into it"]),
        ("| C |", "C5q D#5q E5h", 1, ["half step below E5, the third of C"]),
        ("| C |", "C5q A5e F#5e G5h", 1, ["with F#5 after it, it encloses G5"]),
        ("| C |", "C5q A5e F5e G5h", 2, ["with A5 before it, it encloses G5"]),
        ("| C |", "C5q A5e F#5e E5h", 1, ["opens an enclosure"]),
        ("| C |", "E5h A5q G5q", 1, ["leap from E5", "steps down to G5"]),
        ("| Cmaj7 |", "C5q D5q G5h", 1, ["outside Cmaj7", "left by a leap to G5", "could go to C5 or E5"]),
        ("| C |", "D5q G5q C5h", 0, ["outside C and falls on a strong beat; it could be C5 or E5"]),
        ("| C |", "D5q E5q G5h", 0, ["appoggiatura: it leans on the strong beat and steps up to E5"]),
        ("| C |", "rq D5q G5h", 0, ["no note before it"]),
        ("| C |", "rq D5q E5h", 0, ["incomplete neighbour: a step below E5"]),
        ("| C |", "C5q E5q G5q A5q", 3, ["no note after it", "would close on C, E or G"]),
        ("| C |", "C5q D5q rq E5q", 1, ["waits over a rest for E5"]),
        ("| C |", "C5q D5q rq G5q", 1, ["left by a leap to G5 over a rest"]),
        ("| C |", "C5q rq E5h", 0, ["stay in the ear over the rest"]),
        ("| C | Am |", "E5h C5h~ | C5w", 1, ["held on as the third of Am"]),
        ("| C | G |", "E5h C5h~ | C5w", 1, ["held into G, which lacks it; it could end before beat 1"]),
        ("| F | C |", "C5h F5h~ | F5h E5h", 1, ["root of F", "held over into C", "suspension (4-3)"]),
        ("| F | C |", "C5h F5h | F5h E5h", 2, ["stays from F over C", "suspension (4-3)"]),
        ("| C |", "C5q A5q E5h", 1, ["major sixth up to it turns back to E5"]),
        ("| C |", "C5q G5q C6h", 1, ["goes on to C6 the same way"]),
        ("| C |", "C5q G5q G5h", 1, ["does not turn back: the same note follows"]),
        ("| C | G7 |", "E5w | C5w", 1, ["would close on G, B or D"]),
        ("| C | G7 |", "E5w | B4w", 1, ["can close on it"]),
        ("| C N.C. |", "E5h C5h", 1, ["No chord is played here: C lingers in the ear"]),
        ("| N.C. C |", "E5h C5h", 0, ["No chord is played here: C is next"]),
        ("| C |", "C5q D5e B4e C5h", 1, ["double neighbour", "with B4", "below C5"]),
        ("| C |", "C5q D5e B4e C5h", 2, ["double neighbour", "with D5"]),
    ],
)
def test_sentence(chart: str, phrase: str, index: int, parts: list[str]) -> None:
    """A note's sentence says what matters about it."""
    sentence = sentences_of(chart, phrase)[index]
    assert [part for part in parts if part not in sentence] == [], sentence


def test_notes_are_spelled_by_their_chords() -> None:
    """Names and chords are those of the key, in flats where it has flats."""
    sentences = sentences_of("| Abmaj7 | Db6 |", "C5q Db5q Eb5h | Db5h Ab4h", key="Ab")
    assert sentences[1].startswith("Db5 on beat 2 is a passing note between C5 and Eb5")
    assert "fifth of Db6" in sentences[4]


def test_each_sentence_is_a_sentence() -> None:
    """For every idea there are as many sentences as notes; each begins with its note and ends with a full stop."""
    for level in range(1, 6):
        ideas = fillgen.ideas("| Dm7 | G7 | Em7 A7 | Dm7 G7 |", level=level, count=6, seed=level)
        for idea in ideas:
            sentences = reasons(ideas.progression, idea.phrase)
            assert len(sentences) == len(idea.notes)
            for note, sentence in zip(idea.notes, sentences, strict=True):
                assert sentence.startswith(f"{note.name} on ")
                assert sentence.endswith(".")
                assert "outside" not in sentence
                assert not re.search(r"\bNone\b|\{|\}|  ", sentence)


def test_a_fragment_is_not_said_to_close() -> None:
    """Where the places do not close a phrase, nothing is said of its ending."""
    chart = parse_chart("| C |", key="C")
    notes = parse_phrase("C5h D5q E5q", chart.metre)
    where = places(chart, [(note.onset, note.length) for note in notes], closes=False)
    assert "close" in reasons(chart, notes)[-1]
    assert "close" not in reasons(chart, notes, where)[-1]


def test_places_given_are_used_for_names() -> None:
    """Naming and sentences agree on what each note is, with places given or not."""
    chart = parse_chart("| F | C |", key="C")
    notes = parse_phrase("C5h F5h~ | F5h E5h", chart.metre)
    where = places(chart, [(note.onset, note.length) for note in notes])
    assert kinds(Line(chart, notes)) == kinds(Line(chart, notes, where)) == kinds(Line(chart, notes))


# Ranks


@pytest.fixture(scope="module")
def found() -> fillgen.Ideas:
    """Some ideas to explain."""
    return fillgen.ideas("| Ebmaj7 | Gm7 C7 | Fm7 | Bb7 |", count=8, seed=7)


def test_points_add_up_to_the_score(found: fillgen.Ideas) -> None:
    """The points of the terms add up to the score; no term gives more than its weight allows."""
    for idea in found:
        each = shares(idea, found)
        assert sum(share.points for share in each) == pytest.approx(idea.score, abs=2e-4)
        assert sum(share.most for share in each) == pytest.approx(1.0)
        assert all(0 <= share.points <= share.most + 1e-9 for share in each)
        assert all(share.mean <= share.best + 1e-9 and share.points <= share.best + 1e-9 for share in each)


def test_ranking_tells_every_term_and_the_one_before(found: fillgen.Ideas) -> None:
    """Every term of the score is named with its points, and each idea is held against the one before it."""
    for idea in found:
        sentences = ranking(idea, found)
        assert f"{idea.score:.3f}" in sentences[0]
        named = [re.match(r"`(\w+)`", sentence) for sentence in sentences[1 : 1 + len(idea.terms)]]
        assert [match[1] for match in named if match] == list(idea.terms)
        if idea.rank == 1:
            assert "first" in sentences[-1]
        else:
            assert f"after idea {idea.rank - 1}" in sentences[-1]


def test_gaps_named_are_the_gaps(found: fillgen.Ideas) -> None:
    """The terms that are said to tell an idea from the one before differ by the points that are given."""
    for before, idea in pairwise(found):
        closing = ranking(idea, found)[-1]
        theirs = {share.term: share.points for share in shares(before, found)}
        ours = {share.term: share.points for share in shares(idea, found)}
        gaps = re.findall(r"`(\w+)` (\d\.\d+)", closing)
        for term, gap in gaps:
            assert abs(ours[term] - theirs[term]) == pytest.approx(float(gap), abs=6e-4)


def test_a_single_idea_is_held_against_itself() -> None:
    """With one idea there is nothing to compare, and the sentences do not pretend there is."""
    one = fillgen.ideas("| C | G7 |", count=1)
    assert "on average" not in " ".join(ranking(one[0], one))
    assert ranking(one[0], one)[-1].startswith("It comes first")


def test_ranking_uses_the_weights_of_the_pack() -> None:
    """Weights of a player's own count in the points; a term of weight 0 is left out."""
    pack = fillgen.RulePack({"weights": {"echo": 6.0, "turns": 0.0}})
    mine = fillgen.ideas("| E | G#m | A | B7 |", count=3, rules=pack)
    by_term = {share.term: share for share in shares(mine[0], mine)}
    assert by_term["echo"].weight == 6.0
    assert "turns" not in by_term
    assert sum(share.points for share in by_term.values()) == pytest.approx(mine[0].score, abs=2e-4)
