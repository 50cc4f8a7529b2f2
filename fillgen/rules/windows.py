"""The rules applied to whole tables: which pitches a place may have, and which may follow one another.

Every table is made once for each set of places and kept. Axes run over the pitches that the rules leave to each
note; a missing neighbour (before the first note, after the last) is an axis of length 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fillgen.phrase.place import Place
from fillgen.rules.rule import RuleUse, Seen

Pitches = NDArray[np.int16]
Allowed = NDArray[np.bool_]


_KEPT = 8192
"""How many tables are kept: more than a long chart has, few enough to stay small."""


class Windows:
    """The tables of one set of rules over one range of pitches (MIDI numbers, both ends included)."""

    def __init__(self, uses: Sequence[RuleUse], low: int, high: int) -> None:
        self.uses = tuple(uses)
        self.low, self.high = low, high
        self._range: Pitches = np.arange(low, high + 1, dtype=np.int16)
        self._by_window = {size: [u for u in self.uses if u.rule.window == size] for size in (1, 2, 3)}
        self.domain = lru_cache(maxsize=None)(self._domain)
        self.pairs = lru_cache(maxsize=None)(self._pairs)
        self.triples = lru_cache(maxsize=_KEPT)(self._triples)
        self.joined = lru_cache(maxsize=_KEPT)(self._joined)

    def blocks(self, use: RuleUse, place: Place) -> bool:
        """Whether a rule alone leaves no pitch of the range to a place."""
        return not np.any(use.rule.may_stand(Seen(place, self._range), use.settings))

    def _domain(self, place: Place) -> Pitches:
        """The pitches that no rule about the note alone forbids, lowest first."""
        note = Seen(place, self._range)
        open_: Allowed = np.ones(len(self._range), dtype=bool)
        for use in self.uses:
            open_ &= use.rule.may_stand(note, use.settings)
        return self._range[open_]

    def _pairs(self, before: Place, note: Place) -> Allowed:
        """Which pitches may follow which, as far as two notes can show: axes before, note."""
        one = Seen(before, self.domain(before)[:, None])
        two = Seen(note, self.domain(note)[None, :])
        table: Allowed = np.ones((one.midi.size, two.midi.size), dtype=bool)
        for use in self._by_window[2]:
            table &= use.holds((one, two, None))
        return table

    def _triples(self, before: Place | None, note: Place, after: Place | None) -> Allowed:
        """Which pitches may come between which, by the rules about three notes: axes before, note, after."""
        one = Seen(before, self.domain(before)[:, None, None]) if before else None
        two = Seen(note, self.domain(note)[None, :, None])
        three = Seen(after, self.domain(after)[None, None, :]) if after else None
        shape = (one.midi.size if one else 1, two.midi.size, three.midi.size if three else 1)
        table: Allowed = np.ones(shape, dtype=bool)
        for use in self._by_window[3]:
            enough = use.rule.enough
            if enough is None or not np.all(enough(two)):
                table &= use.holds((one, two, three))
        return table

    def _joined(self, before: Place | None, note: Place, after: Place | None) -> Allowed:
        """All rules on a note and the one before it: triples and pairs in one table."""
        table = self.triples(before, note, after)
        return table & self.pairs(before, note)[:, :, None] if before else table
