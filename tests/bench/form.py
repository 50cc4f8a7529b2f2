"""Do sections return, and are four bars a figure? `python -m tests.bench.form` prints how the bars of ideas answer one another.

Over twenty charts of each length and two seeds, fifty ideas each; beside each figure stands what is wanted. It takes some
minutes; `--quick` takes fewer charts and one seed.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from fillgen.chart.text import parse_chart
from fillgen.engine.generate import generate
from fillgen.engine.request import Request
from fillgen.phrase.note import Note, Phrase
from fillgen.theory.metre import METRES
from tests.bench.surroundings import figure, told

SEEDS = (0, 1)
TOP = 10
_LINES = (
    # opening line, its answer, the middle of a song: each of four bars, or eight in the middle
    ("Eb Cm7 Fm7 Bb7", "Eb Cm7 Fm7,Bb7 Eb", "Gm7 C7 Gm7 C7 F7 F7 Bb7 Bb7", "4/4", None),
    ("F F Bb C7", "F F C7 F", "Bb Bb F F G7 G7 C7 C7", "4/4", "march"),
    ("Am Dm E7 Am", "Am Dm E7 Am", "F F C C Dm Dm E7 E7", "4/4", "tango"),
    ("D Bm Em A7", "D Bm A7 D", "G G D D E7 E7 A7 A7", "4/4", "bossa nova"),
    ("G D7 D7 G", "G D7 D7 G", "C C G G A7 A7 D7 D7", "3/4", None),
    ("Bb Gm Cm F7", "Bb Gm F7 Bb", "Eb Eb Bb Bb C7 C7 F7 F7", "3/4", "jazz waltz"),
    ("Ab Eb7 Eb7 Ab", "Ab Db Eb7 Ab", "Fm Fm Db Db Bb7 Bb7 Eb7 Eb7", "4/4", "beguine"),
    ("E A B7 E", "E A B7 E", "C#m C#m F#m F#m B7 B7 B7 B7", "6/8", None),
    ("Gm Cm D7 Gm", "Eb Cm D7 Gm", "Bb F7 Bb F7 Eb A7 D7 D7", "4/4", "rumba"),
    ("Dbmaj7 Bbm7 Ebm7 Ab7", "Dbmaj7 Bbm7 Ebm7,Ab7 Db", "Gbmaj7 Gbm7 Fm7 Bb7 Ebm7 Ebm7 Ab7 Ab7", "4/4", "swing"),
    ("F C7 F Bb", "F Bb C7 F", "Dm A7 Dm A7 Gm Gm C7 C7", "2/4", None),
    ("Fmaj7 Gm7 Am7 D7", "Gm7 C7 Fmaj7 Fmaj7", "Bbmaj7 Am7 Gm7 C7 Am7 D7 Gm7 C7", "4/4", "cha-cha"),
    ("Em Am B7 Em", "C Am B7 Em", "G D7 G D7 Am Am B7 B7", "4/4", "ballad"),
    ("Eb Ab Bb7 Eb", "Eb Ab Bb7 Eb", "Cm G7 Cm G7 F7 F7 Bb7 Bb7", "4/4", "foxtrot"),
    ("A F#m Bm E7", "A F#m E7 A", "D D A A B7 B7 E7 E7", "12/8", None),
    ("Bbmaj7 G7 Cm7 F7", "Dm7 G7 Cm7,F7 Bb", "Ebmaj7 Ebm7 Dm7 Dbdim7 Cm7 Cm7 F7 F7", "4/4", "swing"),
    ("G Em Am D7", "G Em Am,D7 G", "C Cm G E7 A7 A7 D7 D7", "4/4", "slow"),
    ("Cm Fm G7 Cm", "Ab Fm G7 Cm", "Eb Bb7 Eb Bb7 Fm Fm G7 G7", "4/4", None),
    ("Db Ab7 Ab7 Db", "Db Gb Ab7 Db", "Bbm F7 Bbm F7 Eb7 Eb7 Ab7 Ab7", "3/4", "waltz"),
    ("B G#m C#m F#7", "B E F#7 B", "E E B B C#7 C#7 F#7 F#7", "4/4", None),
)  # fmt: skip


def _bars(line: str) -> str:
    return " | ".join(bar.replace(",", " ") for bar in line.split())


def charts(length: str) -> Iterator[tuple[str, str, str | None]]:
    """Chart, metre and rhythm of each song: its first four bars, eight bars, two verses, or AABA."""
    for opening, answer, middle, metre, rhythm in _LINES:
        a, b = f"{_bars(opening)} | {_bars(answer)}", _bars(middle)
        text = {"4": _bars(opening), "8": a, "16": f"{a} | {a}", "32": f"{a} | {a} | {b} | {a}"}[length]
        yield f"| {text} |", metre, rhythm if rhythm != "slow" else None


Bar = tuple[tuple[tuple[int, int], ...], tuple[int, ...]]
"""The rhythm of a bar, from its start, and its pitches."""


def bars_of(phrase: Phrase, bar: int, count: int) -> list[Bar]:
    """The bars of a phrase; notes belong to the bar in which they begin."""
    found = []
    for number in range(count):
        notes = [note for note in phrase if note.onset // bar == number]
        rhythm = tuple((note.onset - number * bar, note.length) for note in notes)
        found.append((rhythm, tuple(note.midi for note in notes)))
    return found


def same_rhythm(one: Bar, other: Bar) -> bool:
    """Whether the notes of two bars begin at the same times; the last may be held or let go."""
    return [onset for onset, _ in one[0]] == [onset for onset, _ in other[0]]


def same_contour(one: Bar, other: Bar) -> bool:
    """Whether two bars of one rhythm go up and down alike."""
    return same_rhythm(one, other) and list(np.sign(np.diff(one[1]))) == list(np.sign(np.diff(other[1])))


def the_same(one: Bar, other: Bar) -> bool:
    """Whether two bars have the same notes at the same times."""
    return same_rhythm(one, other) and one[1] == other[1]


class Shares:
    """Shares that are gathered one observation at a time."""

    def __init__(self) -> None:
        self.seen: dict[str, list[float]] = defaultdict(list)

    def add(self, name: str, values: Iterable[float]) -> None:
        self.seen[name] += [float(value) for value in values]

    def mean(self, name: str) -> float:
        return float(np.mean(self.seen[name]))


def four_later(shares: Shares, bars: Sequence[Bar], where: str) -> None:
    """Each bar against the bar four later."""
    pairs = list(zip(bars, bars[4:], strict=False))
    shares.add(f"{where}: same rhythm", (same_rhythm(*pair) for pair in pairs))
    shares.add(f"{where}: rhythm and contour", (same_contour(*pair) for pair in pairs))
    shares.add(f"{where}: exactly the same", (the_same(*pair) for pair in pairs))


def eight(shares: Shares, bars: Sequence[Bar]) -> None:
    four_later(shares, bars, "8 bars, bar against bar four later")
    shares.add(
        "8 bars: bars 1 and 2 return as 5 and 6", [the_same(bars[0], bars[4]) and the_same(bars[1], bars[5])]
    )
    shares.add("8 bars: bars 4 and 8 close in one rhythm", [same_rhythm(bars[3], bars[7])])
    shares.add(
        "8 bars: nothing returns exactly", [not any(the_same(*p) for p in zip(bars, bars[4:], strict=False))]
    )


def thirty_two(shares: Shares, bars: Sequence[Bar]) -> None:
    pairs = [(bars[n], bars[start + n]) for start in (8, 24) for n in range(6)]
    shares.add(
        "AABA: bars 1 to 6 of the second and last A as in the first", (the_same(*pair) for pair in pairs)
    )
    closes = [bars[n][0] for n in range(3, 32, 4)]
    shares.add("AABA: all closes in one rhythm", [len(set(closes)) == 1])
    shares.add(
        "AABA: closes of four bars in the rhythm of the last", (close == closes[-1] for close in closes[:-1])
    )


def breath(shares: Shares, phrase: Phrase, bar: int, count: int, where: str) -> None:
    """Where the line rests or holds: at the ends of four bars, and elsewhere."""
    for number in range(count):
        notes = [note for note in phrase if note.onset // bar == number]
        sounds = sum(min(note.end, (number + 1) * bar) - note.onset for note in notes)
        held = notes and notes[-1].length >= bar / 2
        name = "ends of four bars" if number % 4 == 3 else "other bars"
        shares.add(f"{where}: {name} that rest or hold", [bool(sounds < bar or held)])
        shares.add(f"{where}: {name} that rest", [sounds < bar])


def four(shares: Shares, phrase: Phrase, bars: Sequence[Bar], top: bool) -> None:
    back = [same_rhythm(bars[0], bars[n]) for n in (1, 2)]
    shares.add("4 bars: the rhythm of bar 1 is back by bar 3", [any(back)])
    shares.add("4 bars: bar 1 is back by bar 3", [any(the_same(bars[0], bars[n]) for n in (1, 2))])
    means = [float(np.mean(pitches)) for _, pitches in bars if pitches]
    shares.add("4 bars: drift of the means of bars, semitones", [max(means) - min(means)])
    highest = max(note.midi for note in phrase)
    shares.add("4 bars: the highest note first in bar 3", [_first(bars, highest) == 2])
    shares.add("4 bars: the highest note in bar 3, first or again", [highest in bars[2][1]])
    gaps = np.abs(np.diff([note.midi for note in phrase]))
    for who in ("ideas", "top ten")[: 1 + top]:
        shares.add(f"4 bars, {who}: leaps of a fifth and more", gaps >= 7)
        shares.add(f"4 bars, {who}: steps", (gaps > 0) & (gaps <= 2))


def _first(bars: Sequence[Bar], midi: int) -> int:
    return next(number for number, (_, pitches) in enumerate(bars) if midi in pitches)


def measured(lengths: Sequence[str], some: int, seeds: Sequence[int]) -> Shares:
    """All shares over some charts of each length."""
    shares = Shares()
    for length in lengths:
        for chart, metre, rhythm in list(charts(length))[:some]:
            progression = parse_chart(chart, metre=METRES[metre])
            bar, count = progression.metre.bar, int(length)
            for seed in seeds:
                for idea in generate(Request(progression, rhythm=rhythm, seed=seed)):
                    entered(shares, idea.phrase, bar, count, top=idea.rank <= TOP)
    return shares


def entered(shares: Shares, phrase: Sequence[Note], bar: int, count: int, *, top: bool) -> None:
    """Add a phrase to the shares of its length."""
    bars = bars_of(tuple(phrase), bar, count)
    breath(shares, tuple(phrase), bar, count, f"{count} bars")
    if count == 4:
        four(shares, tuple(phrase), bars, top)
    elif count == 8:
        eight(shares, bars)
    elif count == 16:
        four_later(shares, bars, "16 bars, bar against bar four later")
    else:
        thirty_two(shares, bars)


WANTED: dict[str, tuple[float, float]] = {
    "8 bars, bar against bar four later: exactly the same": (0.15, 0.35),
    "AABA: bars 1 to 6 of the second and last A as in the first": (0.6, 1.0),
    "8 bars: bars 4 and 8 close in one rhythm": (0.0, 0.45),
    "4 bars: the rhythm of bar 1 is back by bar 3": (0.5, 0.8),
    "4 bars: drift of the means of bars, semitones": (0.0, 6.6),
    "4 bars: the highest note first in bar 3": (0.28, 1.0),
    "4 bars, top ten: leaps of a fifth and more": (0.03, 1.0),
}
"""What is wanted, at least and at most: real tunes lie there."""


def main() -> int:
    """Print the figures; 1 where one is not as wanted."""
    quick = "--quick" in sys.argv
    print(told([]))
    shares = measured(("4", "8", "16", "32"), 5 if quick else len(_LINES), SEEDS[:1] if quick else SEEDS)
    missed = 0
    for name in sorted(shares.seen):
        value = shares.mean(name)
        if name not in WANTED:
            figure(name, f"{value:.3f}")
            continue
        low, high = WANTED[name]
        good = low <= value <= high
        missed += not good
        figure(name, f"{value:.3f}", f"{low:g} to {high:g}", good)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
