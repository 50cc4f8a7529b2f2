"""Numbers and beats in words."""

from __future__ import annotations

from functools import lru_cache

from fillgen.theory.metre import Metre

_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth")


# Words for beats and intervals


def beat_number(metre: Metre, tick: int) -> float:
    """Where a tick lies in its bar, in beats counted from 1; `tick` counts from the start of the phrase.

    >>> from fillgen.theory.metre import METRES
    >>> beat_number(METRES["4/4"], 2640), beat_number(METRES["6/8"], 720)
    (2.5, 2.0)
    """
    return round(1 + tick % metre.bar / metre.beat, 4)


@lru_cache(maxsize=1024)
def beat_words(metre: Metre, tick: int) -> str:
    """Where a tick lies in its bar, as it is counted; `tick` counts from the start of the phrase.

    >>> from fillgen.theory.metre import METRES
    >>> [beat_words(METRES["4/4"], tick) for tick in (960, 720, 360, 1120)]
    ['beat 3', 'the second half of beat 2', 'the fourth sixteenth of beat 1', 'the second triplet note of beat 3']
    >>> beat_words(METRES["6/8"], 960)
    'the second eighth of beat 2'
    """
    beat, inside = divmod(tick % metre.bar, metre.beat)
    whole = f"beat {beat + 1}"
    if not inside:
        return whole
    if 2 * inside == metre.beat and metre.beat % 480 == 0:
        return f"the second half of {whole}"
    for unit, name in ((240, "eighth"), (160, "triplet note"), (120, "sixteenth"), (80, "triplet sixteenth")):
        if inside % unit == 0 and inside // unit < len(_ORDINALS):
            return f"the {_ORDINALS[inside // unit]} {name} of {whole}"
    return f"{inside / metre.beat:.2f} of a beat after {whole}"
