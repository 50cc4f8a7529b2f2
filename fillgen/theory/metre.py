"""Metre and time. Time is counted in integer ticks, 480 to the quarter note."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import accumulate

TICKS = 480
"""Ticks in a quarter note."""

_BASE = {"w": 4 * TICKS, "h": 2 * TICKS, "q": TICKS, "e": TICKS // 2, "s": TICKS // 4}
LENGTHS: dict[str, int] = {
    **_BASE,
    **{f"{letter}.": ticks * 3 // 2 for letter, ticks in _BASE.items()},
    **{f"{letter}t": ticks * 2 // 3 for letter, ticks in _BASE.items()},
}
"""Every length that has a letter, in ticks: plain, dotted and triplet."""

_LETTERS = {ticks: letters for letters, ticks in LENGTHS.items()}
_LONGEST_FIRST = sorted(LENGTHS.values(), reverse=True)
_UNIT = 20
"""Every length is a multiple of this many ticks."""
_STRAIGHT = TICKS // 8
"""Every plain or dotted length is a multiple of this many ticks, half a sixteenth; no triplet length is."""


def is_triplet(ticks: int) -> bool:
    """Whether an onset or a length belongs to a triplet: it's off the grid of plain and dotted lengths.

    >>> [name for name, ticks in LENGTHS.items() if is_triplet(ticks)]
    ['wt', 'ht', 'qt', 'et', 'st']
    """
    return ticks % _STRAIGHT != 0


@dataclass(frozen=True, slots=True)
class Metre:
    """A metre: its name, the ticks of a bar and of a beat, its strong beats and its accents.

    `strong` are ticks from the start of the bar; `accents` are weights from 0 to 1 on the eighth-note grid. Where beats are
    eighths (7/8), they are felt in groups of two and three, which begin at the strong ones.

    >>> metre("6/8").beats, metre("6/8").strong
    (2, (0, 720))
    >>> metre("7/8").beats, metre("7/8").strong
    (7, (0, 480, 960))
    """

    name: str
    bar: int
    beat: int
    strong: tuple[int, ...]
    accents: tuple[float, ...]

    @property
    def beats(self) -> int:
        return self.bar // self.beat

    @property
    def count(self) -> int:
        """The upper number of the time signature."""
        return int(self.name.split("/")[0])

    @property
    def unit(self) -> int:
        """The lower number of the time signature."""
        return int(self.name.split("/")[1])

    @property
    def is_grouped(self) -> bool:
        """Whether beats are eighths, felt in uneven groups."""
        return self.beat < TICKS

    @property
    def pulse(self) -> int:
        """Ticks of what is felt as a beat: a quarter at least."""
        return max(self.beat, TICKS)

    def group(self, tick: int) -> int:
        """The number of the beat of a bar that holds a tick, or of the group of beats, counted from 0.

        >>> [METRES["7/8"].group(tick) for tick in (240, 480, 1440)], METRES["3/4"].group(960)
        ([0, 1, 2], 2)
        """
        if not self.is_grouped:
            return tick // self.beat
        return sum(start <= tick for start in self.strong) - 1

    def place_name(self, tick: int, first: int = 1) -> str:
        """A tick as players count it, the first bar having the number given.

        >>> METRES["6/8"].place_name(2520), METRES["4/4"].place_name(720, first=0)
        ('bar 2, beat 2.5', 'bar 0, beat 2.5')
        """
        return f"bar {tick // self.bar + first}, beat {1 + tick % self.bar / self.beat:.3g}"

    def accent(self, tick: int) -> float:
        """How heavy a place of the bar is, from 1 (its first beat) down to 1/16 or less (between eighths)."""
        eighth, between = divmod(tick % self.bar, TICKS // 2)
        return min(0.0625, *(each / 2 for each in self.accents)) if between else self.accents[eighth]

    def off_beat(self, tick: int) -> bool:
        """Whether a tick is off the beat: between quarters, or between dotted quarters where these are the beat.

        >>> METRES["2/2"].off_beat(480), METRES["2/2"].off_beat(240), METRES["6/8"].off_beat(480)
        (False, True, True)
        """
        return tick % (self.beat if self.beat % TICKS else TICKS) != 0

    def crosses(self, onset: int, length: int) -> bool:
        """Whether a note is syncopated: held across a place of the bar that is heavier than its own.

        A note of a triplet is syncopated only where it is held across a beat.
        """
        own = self.accent(onset)
        grid = TICKS if is_triplet(onset) else TICKS // 2
        first = onset - onset % grid + grid
        return any(self.accent(tick) > own for tick in range(first, onset + length, grid))


_QUARTER = (0.25, 0.125)
METRES: dict[str, Metre] = {
    name: Metre(name, len(accents) * TICKS // 2, beat, strong, accents)
    for name, beat, strong, accents in (
        ("4/4", 480, (0, 960), (1, 0.125, *_QUARTER, 0.5, 0.125, *_QUARTER)),
        ("3/4", 480, (0,), (1, 0.25, 0.5, 0.25, 0.5, 0.25)),
        ("2/4", 480, (0,), (1, 0.25, 0.5, 0.25)),
        ("2/2", 960, (0, 960), (1, 0.125, *_QUARTER, 0.5, 0.125, *_QUARTER)),
        ("5/4", 480, (0, 1440), (1, 0.125, *_QUARTER, *_QUARTER, 0.5, 0.125, *_QUARTER)),
        (
            "7/4",
            480,
            (0, 1920),
            (1, 0.0625, 0.125, 0.0625, 0.25, 0.0625, 0.125, 0.0625, 0.5, 0.125, *_QUARTER, *_QUARTER),
        ),
        ("7/8", 240, (0, 480, 960), (1, 0.25, 0.5, 0.25, 0.5, 0.25, 0.25)),
        ("6/8", 720, (0, 720), (1, 0.25, 0.25, 0.5, 0.25, 0.25)),
        ("9/8", 720, (0, 720, 1440), (1, 0.25, 0.25, 0.5, 0.25, 0.25, 0.5, 0.25, 0.25)),
        (
            "12/8",
            720,
            (0, 720, 1440, 2160),
            (1, 0.125, 0.125, 0.25, 0.125, 0.125, 0.5, 0.125, 0.125, 0.25, 0.125, 0.125),
        ),
    )
}
"""The metres a chart can have. Accents agree with music21's `getAccentWeight`, 5/4 being counted 3 + 2, 7/4 4 + 3 and
7/8 2 + 2 + 3."""


def metre(name: str) -> Metre:
    """The metre of that name; KeyError if there is none."""
    return METRES[name]


@dataclass(frozen=True)
class Timeline:
    """Where bars begin and which metre each has: all of one metre, or each of its own in `metres`.

    Bars are counted from 0, ticks from the first bar line. All metres of a timeline count the same beats. After the last
    of `metres` come bars of the `usual` metre.

    >>> line = Timeline(METRES["4/4"], (METRES["4/4"], METRES["2/4"], METRES["4/4"]))
    >>> [line.index(tick) for tick in (1919, 1920, 2880)], line.start(3), line.place_name(2880)
    ([0, 1, 2], 4800, 'bar 3, beat 1')
    """

    usual: Metre
    metres: tuple[Metre, ...] = ()

    @cached_property
    def _starts(self) -> tuple[int, ...]:
        return tuple(accumulate((metre.bar for metre in self.metres), initial=0))

    def index(self, tick: int) -> int:
        """The bar that holds a tick."""
        if not self.metres:
            return tick // self.usual.bar
        end = self._starts[-1]
        if tick >= end or tick < 0:
            return len(self.metres) * (tick >= 0) + (tick - end * (tick >= 0)) // self.usual.bar
        return bisect_right(self._starts, tick) - 1

    def off_beat(self, tick: int) -> bool:
        """Whether a tick is off the beat of its bar, as `Metre.off_beat` has it."""
        return self.metre_at(tick).off_beat(self.inside(tick))

    def start(self, bar: int) -> int:
        """The tick at which a bar begins."""
        if bar < 0 or not self.metres:
            return bar * self.usual.bar
        beyond = max(0, bar - len(self.metres))
        return self._starts[bar - beyond] + beyond * self.usual.bar

    def end(self, bar: int) -> int:
        """The tick at which a bar is over."""
        return self.start(bar + 1)

    def metre_of(self, bar: int) -> Metre:
        """The metre of a bar."""
        return self.metres[bar] if 0 <= bar < len(self.metres) else self.usual

    def size(self, bar: int) -> int:
        """The ticks of a bar."""
        return self.metre_of(bar).bar

    def inside(self, tick: int) -> int:
        """A tick counted from the start of its bar."""
        return tick - self.start(self.index(tick)) if self.metres else tick % self.usual.bar

    def metre_at(self, tick: int) -> Metre:
        """The metre of the bar that holds a tick."""
        return self.metre_of(self.index(tick)) if self.metres else self.usual

    def bars_until(self, tick: int) -> int:
        """How many bars there are up to a tick; the last may continue after it."""
        return self.index(tick - 1) + 1

    def place_name(self, tick: int, first: int = 1) -> str:
        """A tick as players count it, the first bar having the number given."""
        bar = self.index(tick)
        return self.metre_of(bar).place_name(tick - self.start(bar), first + bar)

    def accent(self, tick: int) -> float:
        """How heavy a place is in its bar (see `Metre.accent`)."""
        return self.metre_at(tick).accent(self.inside(tick))

    def crosses(self, onset: int, length: int) -> bool:
        """Whether a note is syncopated (see `Metre.crosses`), each place being as heavy as its own bar makes it."""
        own = self.accent(onset)
        grid = TICKS if is_triplet(onset) else TICKS // 2
        first = onset + grid - self.inside(onset) % grid
        return any(self.accent(tick) > own for tick in range(first, onset + length, grid))


def timeline_of(metre: Metre | Timeline) -> Timeline:
    """Bars that all have one metre; a timeline as it is."""
    return metre if isinstance(metre, Timeline) else Timeline(metre)


def split_length(ticks: int) -> tuple[int, ...]:
    """A length as the fewest lengths that have a letter, longest first; ValueError if there are none.

    >>> [length_text(part) for part in split_length(1200)]
    ['h', 'e']
    """
    whole = max(0, -(-(ticks - _LONGEST_FIRST[0]) // _LONGEST_FIRST[0]))
    parts = _fewest(ticks - whole * _LONGEST_FIRST[0])
    if ticks <= 0 or not parts:
        raise ValueError(f"not a note length: {ticks} ticks")
    return (_LONGEST_FIRST[0],) * whole + parts


def is_length(ticks: int) -> bool:
    """Whether lengths that have a letter, tied together, make up some ticks."""
    try:
        split_length(ticks)
    except ValueError:
        return False
    return True


@lru_cache(maxsize=1024)
def _fewest(ticks: int) -> tuple[int, ...]:
    """The fewest lengths that make up some ticks, longest first; none if it can't be done."""
    if ticks in _LETTERS:
        return (ticks,)
    found: tuple[int, ...] = ()
    for part in _LONGEST_FIRST:
        rest = _fewest(ticks - part) if part < ticks and ticks % _UNIT == 0 else ()
        if rest and rest[0] <= part and (not found or len(rest) + 1 < len(found)):
            found = (part, *rest)
    return found


def length_text(ticks: int) -> str:
    """The letters of a length, `q.` for 720 ticks; KeyError if no single letter has it."""
    return _LETTERS[ticks]


def swung(tick: int, ratio: float) -> int:
    """Where a tick falls when eighths swing: the first eighth of a quarter lasts `ratio` times the second.

    Only the straight grid moves; triplets are where they are already.

    >>> swung(240, 2.0), swung(160, 2.0)
    (320, 160)
    """
    quarter, inside = divmod(tick, TICKS)
    half = TICKS // 2
    if is_triplet(inside):
        return tick
    turn = TICKS * ratio / (1 + ratio)
    if inside <= half:
        return quarter * TICKS + round(inside * turn / half)
    return quarter * TICKS + round(turn + (inside - half) * (TICKS - turn) / half)
