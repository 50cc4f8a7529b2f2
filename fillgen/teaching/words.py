"""Numbers and beats in words."""

from __future__ import annotations

from functools import lru_cache

from fillgen.theory.metre import TICKS, Metre, Timeline, timeline_of

_EIGHTH = TICKS // 2
_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")


# Words for beats and intervals


def beat_number(metre: Metre | Timeline, tick: int) -> float:
    """The place of a tick in its bar, in beats counted from 1; `tick` counts from the start of the phrase.

    >>> from fillgen.theory.metre import METRES
    >>> beat_number(METRES["4/4"], 2640), beat_number(METRES["6/8"], 720)
    (2.5, 2.0)
    """
    line = timeline_of(metre)
    return round(1 + line.inside(tick) / line.usual.beat, 4)


def on_beat(metre: Metre | Timeline, tick: int) -> str:
    """A tick as a sentence has it after a note's name: `on beat 3`, `just before beat 3`."""
    words = beat_words(metre, tick)
    return words if words.startswith("just") else f"on {words}"


@lru_cache(maxsize=1024)
def beat_words(metre: Metre | Timeline, tick: int) -> str:
    """The place of a tick in its bar, as it is counted; `tick` counts from the start of the phrase.

    >>> from fillgen.theory.metre import METRES
    >>> [beat_words(METRES["4/4"], tick) for tick in (960, 720, 360, 1120)]
    ['beat 3', 'the second half of beat 2', 'the fourth sixteenth of beat 1', 'the second triplet note of beat 3']
    >>> beat_words(METRES["6/8"], 960)
    'the second eighth of beat 2'
    >>> beat_words(METRES["4/4"], 180), beat_words(METRES["4/4"], 1860)
    ('just before the second half of beat 1', 'just before the next bar')
    """
    line = timeline_of(metre)
    own = line.usual.beat
    beat, inside = divmod(line.inside(tick), own)
    whole = f"beat {beat + 1}"
    if not inside:
        return whole
    if 2 * inside == own and own % 480 == 0:
        return f"the second half of {whole}"
    for unit, name in ((240, "eighth"), (160, "triplet note"), (120, "sixteenth"), (80, "triplet sixteenth")):
        if inside % unit == 0 and inside // unit < len(_ORDINALS):
            return f"the {_ORDINALS[inside // unit]} {name} of {whole}"
    near = round(inside / _EIGHTH) * _EIGHTH
    side, at = "before" if inside < near else "after", tick - inside + near
    return f"just {side} {beat_words(metre, at) if line.inside(at) or side == 'after' else 'the next bar'}"
