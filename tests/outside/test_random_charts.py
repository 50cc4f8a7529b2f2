"""Ideas over random charts, judged by the second checker, which shares no code with the program."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, replace

import pytest

import fillgen
from fillgen.writers.document import document
from tests.effort import one_in
from tests.outside.second_checker import Limits, faults

PER_BATCH = 10
BATCHES = 40
ONE_IN = 15
"""One batch in so many is tried each time, the others with the slow tests."""
_KEYS = ("C", "G", "D", "A", "E", "B", "Gb", "Db", "Ab", "Eb", "Bb", "F", "Am", "Cm", "F#m", "Gm")
_METRES = {
    "4/4": 4,
    "3/4": 3,
    "2/4": 2,
    "2/2": 2,
    "5/4": 5,
    "7/4": 7,
    "7/8": 7,
    "6/8": 2,
    "9/8": 3,
    "12/8": 4,
}
_MAJOR = [
    "I",
    "Imaj7",
    "I6",
    "ii7",
    "iii7",
    "IV",
    "IVmaj7",
    "V",
    "V7",
    "vi7",
    "vi",
    "iiø7",
    "iv",
    "bVII7",
    "V7/ii",
    "V7/V",
    "bII7",
    "#ivdim7",
    "V9",
    "V7b9",
    "Vsus4",
    "I6/9",
]
_MINOR = [
    "i",
    "im6",
    "iiø7",
    "bIII",
    "iv",
    "iv7",
    "V7",
    "V7b9",
    "VI",
    "VII7",
    "vii°7",
    "V7/iv",
    "imMaj7",
    "i7",
    "V7#5",
]
_SYMBOLS = [
    "C",
    "F#m7",
    "Bbmaj7",
    "E7#9",
    "Abm7b5",
    "Dbdim7",
    "Gsus4",
    "A13",
    "Ebadd9",
    "B7b9",
    "Cm11",
    "F7#5",
    "D6/9",
    "N.C.",
]
_PLAIN = frozenset({"chord tone"})
_PASSING = _PLAIN | {"passing", "neighbour"}
LIMITS = {
    1: Limits(60, 81, 7, _PLAIN),
    2: Limits(60, 79, 9, _PLAIN),
    3: Limits(62, 81, 9, _PASSING),
    4: Limits(60, 84, 12, _PASSING | {"anticipation"}),
    5: Limits(59, 86, 12, _PASSING | {"anticipation", "approach", "appoggiatura"}),
}
"""What the README promises of each level: lowest and highest note, widest leap, kinds of notes."""


@dataclass(frozen=True)
class Question:
    """A random chart with the settings it is asked with."""

    chart: str
    key: str
    metre: str
    level: int
    busy: str
    seed: int


def question(number: int) -> Question:
    """A chart of one to eight bars, mostly in its key, with chords that change on any beat."""
    dice = random.Random(number)
    key, metre = dice.choice(_KEYS), list(_METRES)[number % len(_METRES)]
    stock = (_MINOR if key.endswith("m") else _MAJOR) + (_SYMBOLS if number % 3 == 0 else [])
    bars = [_bar(stock, _METRES[metre], dice) for _ in range(dice.choice((0, 1, 2, 3, 3, 3, 4, 7)))]
    bars.append(dice.choice([symbol for symbol in stock if symbol != "N.C."]))
    level = 1 if number % 11 == 0 else 2 + (number + number // len(_METRES)) % 4
    chart = f"| {' | '.join(bars)} |"
    return Question(chart, key, metre, level, dice.choice(("few", "some", "many")), number)


def _bar(stock: list[str], beats: int, dice: random.Random) -> str:
    even = beats % 2 == 0
    share = beats if dice.random() < 0.1 else (2 if even and dice.random() < 0.3 else 1)
    if share == 1 and beats > 2 and dice.random() < 0.15:
        return f"{dice.choice(stock)} {'/ ' * (beats - 2)}{dice.choice(stock)}"
    return " ".join(dice.choice(stock) for _ in range(share))


def _ask(asked: Question) -> fillgen.Ideas:
    return fillgen.ideas(
        asked.chart,
        key=asked.key,
        metre=asked.metre,
        level=asked.level,
        busy=asked.busy,
        seed=asked.seed,
    )


@pytest.mark.parametrize("batch", one_in(ONE_IN, range(BATCHES)))
def test_second_checker_finds_no_fault(batch: int) -> None:
    """Fifty ideas for each chart, or all that the rules allow, and no fault in any of them."""
    complete = 0
    for number in range(batch * PER_BATCH, (batch + 1) * PER_BATCH):
        asked = question(number)
        try:
            found = _ask(asked)
        except fillgen.NoPhraseError:
            assert asked.level == 1, asked
            continue
        assert faults(document(found), LIMITS[asked.level]) == [], asked
        assert len(found) == min(50, found.phrases) or asked.level <= 2, (asked, len(found), found.phrases)
        complete += len(found) == 50
    assert complete >= PER_BATCH - 2


_MIXED = (
    ("4/4", ("2/4", "3/4", "5/4")),
    ("3/4", ("4/4", "2/4")),
    ("6/8", ("9/8", "12/8")),
    ("2/4", ("3/4", "4/4")),
)


def mixed_question(number: int) -> Question:
    """A random chart of which some bars have another metre: one of 2/4 in 4/4, one of 4/4 in 3/4, and so on."""
    dice = random.Random(number)
    usual, others = _MIXED[number % len(_MIXED)]
    asked = question(number)
    stock = _MINOR if asked.key.endswith("m") else _MAJOR
    metres = [usual, dice.choice(others), usual, *dice.choices((usual, *others), k=dice.randint(0, 3))]
    bars = [f"{metre} {_bar(stock, _METRES[metre], dice)}" for metre in metres]
    return replace(asked, chart=f"| {' | '.join(bars)} |", metre=usual, level=2 + number // 4 % 4)


@pytest.mark.costly
@pytest.mark.parametrize("number", one_in(5, range(32)))
def test_second_checker_finds_no_fault_in_charts_whose_metre_changes(number: int) -> None:
    """Bars, strong places and texts of ideas are those of each bar's own metre."""
    asked = mixed_question(number)
    found = _ask(asked)
    written = document(found)
    assert len({bar["metre"] for bar in written["chart"]["bars"]}) > 1
    assert faults(written, LIMITS[asked.level]) == [], asked
    assert len(found) == min(50, found.phrases) or asked.level <= 2


def test_the_questions_cover_keys_metres_and_levels() -> None:
    """The random charts number at least 300 beyond level 1, over twelve keys and more, all metres, all levels.

    Those that are quick to try have every level and every metre, each metre at three levels or more.
    """
    asked = [question(number) for number in range(BATCHES * PER_BATCH)]
    assert sum(q.level > 1 for q in asked) >= 300
    assert len({(q.metre, q.level) for q in asked}) == 5 * len(_METRES)
    assert len({(q.key, q.level) for q in asked}) >= 4 * 12
    quick = [q for number, q in enumerate(asked) if number // PER_BATCH % ONE_IN == 0]
    tried = Counter(metre for metre, _ in {(q.metre, q.level) for q in quick})
    assert len(tried) == len(_METRES)
    assert min(tried.values()) >= 3
    assert {q.level for q in quick} == set(LIMITS)
    assert len({q.key for q in quick}) >= 12
