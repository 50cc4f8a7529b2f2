"""Devices: what a line of the highest level shows, each recognised by its notes, for all candidates of a plan at once.

Sources: appoggiatura and approach are defined as in `fillgen.rules.tones` (Open Music Theory, Embellishing tones); that
a triplet needs an aim, broken chords of four notes and guide tones (the third and the seventh of a dominant, which
move on by step) are common practice.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fillgen.phrase.place import Place
from fillgen.rules.tones import lies_between
from fillgen.theory.metre import TICKS, is_triplet

Mask = NDArray[np.bool_]
"""For each candidate, or for each note (rows) and pitch class, whether something is so."""
_STEP, _SKIP = 2, 5
"""Semitones of the widest step, and of the widest move inside a broken chord."""


@dataclass(frozen=True)
class Drawn:
    """Candidates over one rhythm: pitches as MIDI numbers (rows are candidates), onsets and lengths in ticks, places.

    `beat` are the ticks of a beat of the metre.
    """

    rhythm: Sequence[tuple[int, int]]
    places: Sequence[Place]
    pitches: NDArray[np.int16]
    beat: int

    @cached_property
    def moves(self) -> NDArray[np.int16]:
        """The intervals between neighbouring notes, in semitones."""
        return np.diff(self.pitches, axis=1)

    @cached_property
    def tones(self) -> Mask:
        """Whether each note of each candidate belongs to its chord."""
        return self._among([place.chord for place in self.places])

    @cached_property
    def known(self) -> Mask:
        """Whether each note of each candidate belongs to its chord, to the scale over it, or to a blues."""
        return self._among(
            [
                place.chord
                | place.passing
                | place.leading
                | place.climbing
                | place.blue_third
                | place.blue_fifth
                for place in self.places
            ]
        )

    def _among(self, masks: Sequence[int]) -> Mask:
        bits = np.array(masks, dtype=np.int64)
        return np.asarray((bits[None, :] >> (self.pitches % 12)) & 1 == 1)

    def on_beat(self, index: int) -> bool:
        return self.rhythm[index][0] % self.beat == 0

    def none(self) -> Mask:
        return np.zeros(len(self.pitches), dtype=bool)


def triplets(rhythm: Sequence[tuple[int, int]]) -> list[int]:
    """The number of the first note of each triplet: three notes of the same triplet length in a row.

    >>> triplets([(0, 160), (160, 160), (320, 160), (480, 480)])
    [0]
    """
    found: list[int] = []
    index = 0
    while index + 2 < len(rhythm):
        start, length = rhythm[index]
        two, three = (start + length, length), (start + 2 * length, length)
        is_begun = is_triplet(length) and start % TICKS == 0
        if is_begun and rhythm[index + 1] == two and rhythm[index + 2] == three:
            found.append(index)
            index += 3
        else:
            index += 1
    return found


def aimed(drawn: Drawn, first: int) -> Mask:
    """Which candidates give the triplet that begins with a note an aim: it arrives, without a rest, at a chord note.

    It runs one way to that note, or runs and steps back to it, or its last two notes enclose it.
    """
    after = first + 3
    if after >= len(drawn.rhythm) or sum(drawn.rhythm[first + 2]) != drawn.rhythm[after][0]:
        return drawn.none()
    one, two, three = (drawn.moves[:, first + n] for n in range(3))
    runs = (one * two > 0) & (np.abs(one) <= _SKIP) & (np.abs(two) <= _SKIP)
    onward = runs & (two * three > 0) & (np.abs(three) <= _SKIP)
    back = runs & (two * three < 0) & (np.abs(three) <= _STEP)
    return np.asarray(drawn.tones[:, after] & (onward | back | _encloses(drawn, first + 1)))


def _encloses(drawn: Drawn, first: int) -> Mask:
    """Whether two notes are on either side of the next one, each within a step of it."""
    other = drawn.moves[:, first + 1]
    return np.asarray(lies_between(drawn.moves[:, first] + other, other))


def _any(drawn: Drawn, found: Sequence[Mask]) -> Mask:
    return np.any(np.stack(found), axis=0) if found else drawn.none()


def _appoggiatura(drawn: Drawn) -> Mask:
    """A note outside the chord on a strong beat, reached by leap and left by step the other way to a chord note."""
    strong = np.array([place.strong for place in drawn.places])[1:-1]
    into, out = drawn.moves[:, :-1], drawn.moves[:, 1:]
    leans = (np.abs(into) > _STEP) & (np.abs(out) <= _STEP) & (into * out < 0)
    return np.asarray((leans & strong & ~drawn.tones[:, 1:-1] & drawn.tones[:, 2:]).any(axis=1))


def _chromatic_approach(drawn: Drawn) -> Mask:
    """A note outside chord and scale that a semitone leads from into a chord note."""
    leads = ~drawn.known[:, :-1] & drawn.tones[:, 1:] & (np.abs(drawn.moves) == 1)
    return np.asarray(leads.any(axis=1))


def _enclosure(drawn: Drawn) -> Mask:
    """Two notes, the second outside the chord and a beat long at most, on either side of a chord note, which comes on a beat."""
    found = [
        _encloses(drawn, first) & drawn.tones[:, first + 2] & ~drawn.tones[:, first + 1]
        for first in range(len(drawn.rhythm) - 2)
        if drawn.on_beat(first + 2) and drawn.rhythm[first + 1][1] <= drawn.beat
    ]
    return _any(drawn, found)


def _aimed_triplet(drawn: Drawn) -> Mask:
    """A triplet that arrives somewhere; see `aimed`."""
    return _any(drawn, [aimed(drawn, first) for first in triplets(drawn.rhythm)])


def _guide_tones(drawn: Drawn) -> Mask:
    """The third of a dominant that rises by a semitone, or its seventh that falls by a step, into the next chord."""
    found: list[Mask] = []
    for index, place in enumerate(drawn.places[:-1]):
        third, seventh = guide_tones(place)
        if place.coming and third:
            pitch, move = drawn.pitches[:, index] % 12, drawn.moves[:, index]
            led = ((pitch == third - 1) & (move == 1)) | (
                (pitch == seventh - 1) & (move < 0) & (move >= -_STEP)
            )
            found.append(np.asarray(led & drawn.tones[:, index + 1]))
    return _any(drawn, found)


def guide_tones(place: Place) -> tuple[int, int]:
    """The pitch classes of third and seventh of a dominant, counted from 1; zeros over any other chord."""
    for root in range(12):
        third, seventh = (root + 4) % 12, (root + 10) % 12
        if place.root >> root & 1 and place.chord >> third & 1 and place.chord >> seventh & 1:
            return third + 1, seventh + 1
    return 0, 0


def _broken_chord(drawn: Drawn) -> Mask:
    """Four notes of one chord in a row, each a skip above the one before, or each a skip below."""
    found: list[Mask] = []
    for first in range(len(drawn.rhythm) - 3):
        if len({place.chord for place in drawn.places[first : first + 4]}) == 1:
            moves, inside = drawn.moves[:, first : first + 3], drawn.tones[:, first : first + 4].all(axis=1)
            skips = (np.abs(moves) > _STEP).all(axis=1) & (np.abs(moves) <= _SKIP).all(axis=1)
            one_way = (moves > 0).all(axis=1) | (moves < 0).all(axis=1)
            found.append(np.asarray(inside & skips & one_way))
    return _any(drawn, found)


DEVICES: dict[str, Callable[[Drawn], Mask]] = {
    "appoggiatura": _appoggiatura,
    "chromatic approach": _chromatic_approach,
    "enclosure": _enclosure,
    "aimed triplet": _aimed_triplet,
    "guide tones": _guide_tones,
    "broken chord": _broken_chord,
}
"""The devices by name, as a level names them."""


def showing(drawn: Drawn, names: Sequence[str]) -> Mask:
    """Which candidates show at least one of some devices; all of them where none is named."""
    if not names:
        return ~drawn.none()
    return _any(drawn, [DEVICES[name](drawn) for name in names])
