"""Chord loops of pop songs: which charts are nothing but one of them. The loops are in `rules/loops.toml`."""

from __future__ import annotations

from functools import lru_cache

from fillgen.chart.progression import Progression
from fillgen.tables import table
from fillgen.theory.chords import Chord
from fillgen.theory.numerals import read_numeral
from fillgen.theory.pitch import Key, Name

_Step = tuple[int, str]
"""Semitones of a root above some pitch, and the chord's third: `3`, `b3`, or nothing if it is suspended."""
_PLAIN = {"1", "3", "b3", "5", "2", "4", "9", "11"}
"""The degrees of triads, suspended or with an added note, but no seventh."""
_IN_A_BAR = 2


def pop_loop(progression: Progression) -> str | None:
    """The name of the loop that a chart repeats, starting at any of its chords and in any key; None if it isn't a loop.

    The chart must be whole rounds of the loop, with one or two chords a bar.

    >>> from fillgen.chart.text import parse_chart
    >>> pop_loop(parse_chart("| Gm | Eb | Bb | F |")), pop_loop(parse_chart("| Gm7 | C7 | F | F |"))
    ('singer-songwriter', None)
    """
    if max(map(len, progression.bars), default=0) > _IN_A_BAR:
        return None
    steps = [_step_of(span.chord) for bar in progression.bars for span in bar]
    played = [step for step in steps if step is not None]
    if len(played) < len(steps):
        return None
    return next((name for name, loop in _loops() if _goes_round(played, loop)), None)


@lru_cache(maxsize=1)
def _loops() -> tuple[tuple[str, tuple[_Step, ...]], ...]:
    home = Key(Name(0, 0), "major")
    found = []
    for row in table("loops")["loop"]:
        steps = [_step_of(read_numeral(numeral, home)) for numeral in row["chords"]]
        found.append((row["name"], tuple(step for step in steps if step is not None)))
    return tuple(found)


def _step_of(chord: Chord) -> _Step | None:
    """A chord's root and third; None for a chord that isn't a plain triad."""
    degrees = {tone.degree.text for tone in chord.tones}
    if (
        chord.root is None
        or chord.bass not in (None, *(tone.name for tone in chord.tones))
        or not degrees <= _PLAIN
    ):
        return None
    third = next((degree for degree in ("3", "b3") if degree in degrees), "")
    return chord.root.pitch_class, third


def _goes_round(steps: list[_Step], loop: tuple[_Step, ...]) -> bool:
    size = len(loop)
    if not steps or len(steps) % size:
        return False
    return any(_same(steps, loop[start:] + loop[:start]) for start in range(size))


def _same(steps: list[_Step], loop: tuple[_Step, ...]) -> bool:
    """Whether steps repeat a loop, all of them the same number of semitones away from it."""
    shift = steps[0][0] - loop[0][0]
    return all(
        (root - own) % 12 == shift % 12 and third in (own_third, "")
        for index, (root, third) in enumerate(steps)
        for own, own_third in (loop[index % len(loop)],)
    )
