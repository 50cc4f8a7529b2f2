"""Forms: which bars of a phrase answer one another, and which passages come back.

A passage of the chart that repeats may carry music that returns: a question and its answer (the same beginning, another
close), the two like lines of a blues, the sections of AABA, a verse and its last time. Where chords move by a step, a
motif may come back in sequence. The dice choose among them, and often nothing has to return: then bars that share a
letter share no more than a rhythm and a gesture. Periods, sentences and sequences: common practice.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from fillgen.chart.progression import Progression, Span
from fillgen.dice import Dice
from fillgen.rules.pack import Form
from fillgen.theory.chords import mask_of
from fillgen.theory.pitch import Key

LINE = 4
"""Bars of a breath."""
_SECTION = 2 * LINE
_GROUP = 4
"""This many sections make a chorus, whose sections answer one another."""
_NAMED = 8
"""This many named sections are considered together."""
_RETURNS = 0.85
"""How often sections over the same chords return unchanged."""
_INNER = (("period", 0.5), ("sequence", 0.2), ("free", 0.3))
"""What happens within a section, and how often."""
NOWHERE = 128
"""A move of a pitch class that has none."""

Shift = tuple[int, ...]
"""By how many semitones each pitch class moves, C first."""
STAYS: Shift = (0,) * 12


@dataclass(frozen=True, slots=True)
class Passage:
    """Bars that return: the first bars of its places, counted from 0, and how many bars each place has.

    `shifts` are the intervals from the pitches of the first place to those of each place; empty if they are the same. `inside` are
    passages that return within the first place, `between` those within the gaps between two places.
    """

    firsts: tuple[int, ...]
    bars: int
    shifts: tuple[Shift, ...] = ()
    inside: tuple[Passage, ...] = ()
    between: tuple[tuple[Passage, ...], ...] = ()

    def within(self) -> tuple[Passage, ...]:
        """The passages inside and between its places."""
        return (*self.inside, *(passage for gap in self.between for passage in gap))

    def copies(self) -> Iterator[tuple[int, int, Shift]]:
        """Each bar of a later place with the bar it repeats, and how far its pitches move."""
        for passage in self.within():
            yield from passage.copies()
        shifts = self.shifts or (STAYS,) * len(self.firsts)
        for first, shift in zip(self.firsts[1:], shifts[1:], strict=True):
            for bar in range(self.bars):
                yield first + bar, self.firsts[0] + bar, shift

    def edges(self) -> Iterator[int]:
        """The first bar of every place, and the bar after it."""
        for passage in self.within():
            yield from passage.edges()
        for first in self.firsts:
            yield from (first, first + self.bars)


@dataclass(frozen=True, slots=True)
class Outline:
    """A letter for each bar of a phrase, and the passages that return, in order."""

    letters: tuple[str, ...]
    passages: tuple[Passage, ...] = ()

    def sources(self) -> dict[int, int]:
        """For each bar that repeats another the first bar of its kind."""
        found: dict[int, int] = {}
        for bar, original, _ in sorted(copy for passage in self.passages for copy in passage.copies()):
            found[bar] = found.get(original, original)
        return found


class Forms:
    """The forms that phrases over a chart may have; `offered` are those of a rule pack, by their number of bars."""

    def __init__(self, progression: Progression, offered: dict[int, tuple[Form, ...]]) -> None:
        self.chart = Likeness(progression)
        self.bars = len(progression.bars)
        self.offered = offered

    def outline(self, dice: Dice, *, returning: bool = True) -> Outline:
        """A form chosen by the dice; without passages that return unless that is requested."""
        letters = self._letters(dice)
        like: tuple[Passage, ...] = ()
        if returning and max(self.offered) <= LINE:
            like = tuple(self._passages(dice))
        outline = Outline(letters, like)
        named = list(letters)
        for bar, source in outline.sources().items():
            named[bar] = named[source]
        return Outline(tuple(named), like)

    def _letters(self, dice: Dice) -> tuple[str, ...]:
        """A letter for each bar; a long phrase is made of the longest forms that fit, each named section anew."""
        letters: list[str] = []
        named = self.chart.sections if self.chart.progression.sections else [range(self.bars)]
        group = 0
        for section in named:
            left = len(section)
            while left:
                most = max((n for n in self.offered if n <= left), default=1)
                form = dice.one_of(self.offered[most]).letters
                mark = "" if group % 2 == 0 or dice.chance(0.5) else str(group)
                letters += [letter + mark if letter != "z" else "z" for letter in form]
                left -= len(form)
                group += 1
        return tuple(letters)

    # Sections that come back

    def _passages(self, dice: Dice) -> Iterator[Passage]:
        sections = self.chart.sections
        size = _NAMED if self.chart.progression.sections else _GROUP
        for first in range(0, len(sections), size):
            yield from self._of_group(sections[first : first + size], dice)

    def _of_group(self, group: Sequence[range], dice: Dice) -> list[Passage]:
        """The passages of some sections: those that return together, and within the others."""
        doubled = self._doubled(group)
        places = [] if doubled else self._like(group, dice)
        if doubled:
            group, places = doubled, [0, 1]
        if len(places) < 2 or not dice.chance(_RETURNS):
            return [passage for section in group for passage in self._inner(section, len(section), dice)]
        size = len(group[places[0]]) - 2
        before = [p for s in group[: places[0]] for p in self._inner(s, len(s), dice)]
        inside = tuple(
            p
            for start in range(0, size, _SECTION)
            for p in self._inner(
                range(group[places[0]].start + start, group[places[0]].stop),
                min(_SECTION, size - start),
                dice,
            )
        )
        between = tuple(
            tuple(p for s in group[one + 1 : other] for p in self._inner(s, len(s), dice))
            for one, other in pairwise(places)
        )
        after = [p for s in group[places[-1] + 1 :] for p in self._inner(s, len(s), dice)]
        firsts = tuple(group[place].start for place in places)
        return [*before, Passage(firsts, size, inside=inside, between=between), *after]

    def _doubled(self, group: Sequence[range]) -> list[range]:
        """Four sections as two of twice the size, where the last two are like the first two but not like one another."""
        if len(group) != _GROUP or self.chart.alike(group[0], group[1]):
            return []
        if not (self.chart.alike(group[0], group[2]) and self.chart.alike(group[1], group[3])):
            return []
        return [range(group[0].start, group[1].stop), range(group[2].start, group[3].stop)]

    def _like(self, group: Sequence[range], dice: Dice) -> list[int]:
        """Which sections return unchanged: those most often alike. Of many, the last but one is new."""
        kinds = [
            next((n for n, other in enumerate(group) if self.chart.alike(other, section)), number)
            for number, section in enumerate(group)
        ]
        kind, _ = Counter(kinds).most_common(1)[0]
        places = [number for number, own in enumerate(kinds) if own == kind]
        if len(places) == len(group) > 2 and not self.chart.progression.sections:
            places.remove(len(group) - 2 if len(group) > 3 or dice.chance(0.5) else 2)
        return places

    # What comes back within a section

    def _inner(self, section: range, limit: int, dice: Dice) -> list[Passage]:
        """What returns within the first bars of a section, up to a limit that is not passed; the last bar never does."""
        bars = range(section.start, min(section.start + limit, section.stop - 1, self.bars - 1))
        roll = dice.doubles(2)
        kind = _picked(float(roll[0]))
        if kind == "period":
            return self._period(bars, float(roll[1]))
        return self._sequence(bars, float(roll[1])) if kind == "sequence" else []

    def _period(self, bars: range, roll: float) -> list[Passage]:
        """The beginning of the first line returns in the second: usually two bars of it, else three or one.

        A single line may return to its first bar in the third, over the same chords.
        """
        if len(bars) < LINE:
            third = bars.start + 2
            return (
                [Passage((bars.start, third), 1)]
                if third in bars and self.chart.same(bars.start, third)
                else []
            )
        open_ = [bar for bar in bars[: LINE - 1] if bar + LINE in bars and self.chart.kin(bar, bar + LINE)]
        if not open_:
            return []
        start = open_[0]
        run = next((n for n in range(len(open_)) if start + n != open_[n]), len(open_))
        wanted = 2 if roll < 0.65 else 3 if roll < 0.8 else 1
        return [Passage((start, start + LINE), min(run, wanted))]

    def _sequence(self, bars: range, roll: float) -> list[Passage]:
        """A motif of one bar or two that is played again where the chords have moved by a step."""
        found = [
            Passage((bar, bar + size), size, (STAYS, shift))
            for line in range(bars.start, bars.stop, LINE)
            for size, starts in ((1, (line, line + 1)), (2, (line,)))
            for bar in starts
            if bar + 2 * size <= bars.stop
            for shift in (self.chart.shift(range(bar, bar + size), size),)
            if shift is not None
        ]
        return [found[int(roll * len(found))]] if found else []


def _picked(roll: float) -> str:
    for kind, share in _INNER:
        if roll < share:
            return kind
        roll -= share
    return _INNER[-1][0]


# The chords of bars beside one another


class Likeness:
    """How the bars of a chart are like one another in their chords."""

    def __init__(self, progression: Progression) -> None:
        self.progression = progression
        self._chords = [
            tuple((s.onset - bar[0].onset, s.length, s.heard.mask, _root(s)) for s in bar)
            for bar in progression.bars
        ]
        self.kin = lru_cache(maxsize=None)(self._kin)

    @property
    def sections(self) -> list[range]:
        """The sections of a chart: those it names, or of eight bars, the last with what is left over; of twelve where these repeat."""
        bars = len(self._chords)
        if self.progression.sections:
            starts = sorted({0, *(start for start, _ in self.progression.sections)})
        else:
            twelve = bars % 12 == 0 and self._repeats(12) and not self._repeats(_SECTION)
            starts = [*range(0, max(bars - LINE, 1), 12 if twelve else _SECTION)]
        return [range(one, other) for one, other in pairwise([*starts, bars])]

    def alike(self, one: range, other: range) -> bool:
        """Whether two sections have one name and the same chords up to their last two bars."""
        names = {self.progression.section_of(section.start) for section in (one, other)}
        return (
            len(names) == 1
            and len(one) == len(other) >= LINE
            and all(self.same(a, b) for a, b in zip(one[:-2], other[:-2], strict=True))
        )

    def _repeats(self, size: int) -> bool:
        return len(self._chords) > size and all(
            self.same(n, n + size) for n in range(min(size - 2, len(self._chords) - size))
        )

    def same(self, one: int, other: int) -> bool:
        """Whether two bars have the same chords at the same times."""
        return self._chords[one] == self._chords[other]

    def _kin(self, one: int, other: int) -> bool:
        """Whether two bars have the same chords, or chords with two tones in common wherever a beat is strong."""
        if self.same(one, other):
            return True
        metre = self.progression.metre_of(one)
        if metre != self.progression.metre_of(other):
            return False
        ticks = {*metre.strong, *(o for n in (one, other) for o, *_ in self._chords[n])}
        return all((self._mask(one, tick) & self._mask(other, tick)).bit_count() >= 2 for tick in ticks)

    def _mask(self, bar: int, tick: int) -> int:
        return next(mask for onset, _, mask, _ in reversed(self._chords[bar]) if onset <= tick)

    def shift(self, bars: range, by: int) -> Shift | None:
        """How pitches move from some bars to those a number of bars later, if all chords move by the same step."""
        pairs = [
            pair for bar in bars for pair in zip(self._chords[bar], self._chords[bar + by], strict=False)
        ]
        if any(len(self._chords[bar]) != len(self._chords[bar + by]) for bar in bars):
            return None
        if any(one[:2] != other[:2] for one, other in pairs):
            return None
        keys = {span.key for bar in bars for n in (bar, bar + by) for span in self.progression.bars[n]}
        return next((s for s in _steps(keys) if all(_moves(s, *pair) for pair in pairs)), None)


_Sounding = tuple[int, int, int, int]
"""Onset in the bar, length, tones and root of a chord, these as bits."""


def _root(span: Span) -> int:
    return mask_of([span.heard.root.pitch_class] if span.heard.root else [])


def _moves(shift: Shift, one: _Sounding, other: _Sounding) -> bool:
    """Whether a shift moves the root and the tones of one chord to those of another."""
    return moved(one[2], shift) == other[2] and moved(one[3], shift) == other[3]


def moved(mask: int, shift: Shift) -> int | None:
    """Pitch classes moved, as bits; None if one of them cannot move."""
    if any(shift[pc] == NOWHERE for pc in range(12) if mask >> pc & 1):
        return None
    return mask_of((pc + shift[pc]) % 12 for pc in range(12) if mask >> pc & 1)


def _steps(keys: Collection[Key]) -> Iterator[Shift]:
    """Steps up and down: along the scale where there is one key, and by one or two semitones whatever there is."""
    scale = sorted(name.pitch_class for key in keys for name in key.scale)
    for way in (-1, 1) if len(keys) == 1 else ():
        own = [NOWHERE] * 12
        for index, pc in enumerate(scale):
            after = scale[(index + way) % len(scale)]
            own[pc] = (after - pc) % 12 if way > 0 else -((pc - after) % 12)
        yield tuple(own)
    for semitones in (-2, 2, -1, 1):
        yield (semitones,) * 12


# In words


def passages_in_words(passages: Sequence[Passage], first: int = 1) -> str:
    """Passages in words; `first` is the number of the first bar.

    >>> passages_in_words([Passage((0, 4), 2)]), passages_in_words([Passage((1, 2), 1, (STAYS, (2,) * 12))])
    ('bars 5-6 repeat 1-2', 'bar 3 repeats 2 in sequence')
    """
    found = []
    for passage in passages:
        inner = [passages_in_words(passage.within(), first)] if passage.within() else []
        later = " and ".join(_bars(place + first, passage.bars) for place in passage.firsts[1:])
        many = "bars {} repeat {}" if passage.bars > 1 or len(passage.firsts) > 2 else "bar {} repeats {}"
        repeats = many.format(later, _bars(passage.firsts[0] + first, passage.bars))
        found += [*inner, f"{repeats} in sequence" if passage.shifts else repeats]
    return "; ".join(found)


def _bars(first: int, bars: int) -> str:
    return f"{first}-{first + bars - 1}" if bars > 1 else str(first)
