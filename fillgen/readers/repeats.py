"""In which order the measures of a score are played: repeats and their endings, read from MusicXML and played out."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

from fillgen.phrase.note import Note, Phrase
from fillgen.theory.chords import Chord

MOST_PLAYED = 1000
"""The most measures that a tune may have when its repeats are played out."""
_JUMPS = frozenset({"dacapo", "dalsegno", "tocoda", "fine"})
"""The attributes of a sound with which a score jumps elsewhere (MusicXML 4.0, element `sound`)."""


@dataclass(frozen=True, slots=True)
class Signs:
    """The repeat signs of a measure: whether it `opens` or `closes` a repeat, and how many `times` that is played.

    `endings` are the times through for which the measure is meant, empty if it belongs to all.
    """

    opens: bool = False
    closes: bool = False
    times: int = 2
    endings: tuple[int, ...] = ()


# Read


def signs_of(xml: bytes) -> tuple[Signs, ...]:
    """The repeat signs of every measure of a MusicXML score, from the first part that has any."""
    parts = ET.fromstring(xml).findall("part")  # noqa: S314 - `safe_xml` has refused entities and deep or large files
    signed = [part for part in parts if part.find("measure/barline/repeat") is not None]
    return tuple(_signs((signed or parts)[0])) if parts else ()


def _signs(part: ET.Element) -> Iterable[Signs]:
    numbers: tuple[int, ...] = ()
    for measure in part.findall("measure"):
        repeats = measure.findall("barline/repeat")
        endings = measure.findall("barline/ending")
        for ending in endings:
            if ending.get("type") == "start":
                numbers = tuple(map(int, re.findall(r"\d+", ending.get("number", ""))))
        back = [sign for sign in repeats if sign.get("direction") == "backward"]
        times = [int(sign.get("times", "")) for sign in back if sign.get("times", "").isdecimal()]
        yield Signs(len(back) < len(repeats), bool(back), max(times, default=2), numbers)
        if any(ending.get("type") in ("stop", "discontinue") for ending in endings):
            numbers = ()


def jumps(xml: bytes) -> bool:
    """Whether a MusicXML score goes back to its beginning or to a sign, or on to a coda."""
    return any(_JUMPS & set(sound.keys()) for sound in ET.fromstring(xml).iter("sound"))  # noqa: S314 - as above


# The order


def played_order(measures: Sequence[Signs]) -> tuple[int, ...]:
    """The measures as they are played, counted from 0, with repeats and endings played out.

    A repeat goes back to where it was opened, or else to the end of the repeat before it, or to the beginning. A measure
    under an ending is played in its own times only.

    >>> played_order([Signs(), Signs(endings=(1,), closes=True), Signs(endings=(2,)), Signs()])
    (0, 1, 0, 2, 3)
    """
    order: list[int] = []
    at = start = 0
    while at < len(measures):
        if measures[at].opens:
            order += range(start, at)
            start = at
        if measures[at].endings:
            endings = _endings(measures, at)
            body, at = range(start, at), endings[-1].stop
            order += _played(measures, body, endings)
            start = at
        elif measures[at].closes:
            order += [*range(start, at + 1)] * measures[at].times
            at = start = at + 1
        else:
            at += 1
    return (*order, *range(start, len(measures)))


def _endings(measures: Sequence[Signs], at: int) -> list[range]:
    """The endings from a measure on, each as its measures."""
    end = next((n for n in range(at, len(measures)) if not measures[n].endings), len(measures))
    cuts = [
        n
        for n in range(at + 1, end)
        if measures[n].endings != measures[n - 1].endings or measures[n - 1].closes
    ]
    return [range(*ends) for ends in pairwise([at, *cuts, end])]


def _played(measures: Sequence[Signs], body: range, endings: Sequence[range]) -> list[int]:
    """A repeat with endings, played out: in a time for which no ending is meant, what comes before them."""
    closing = [measures[n].times for ending in endings for n in ending if measures[n].closes]
    times = max([*closing, *(max(measures[ending[0]].endings) for ending in endings)])
    found: list[int] = []
    for time in range(1, times + 1):
        found += body
        found += next((ending for ending in endings if time in measures[ending[0]].endings), ())
    return found


# Notes and chords


@dataclass(frozen=True)
class Unfolded:
    """Notes and chords moved to where they come in the order of the measures, in ticks."""

    order: tuple[int, ...]
    lengths: tuple[int, ...]

    @property
    def _runs(self) -> list[tuple[int, int, int]]:
        """Measures played as they are written, one after another: the first tick as written, the last, and as played."""
        starts = [0, *accumulate(self.lengths)]
        runs: list[tuple[int, int, int]] = []
        at = 0
        for before, number in zip((None, *self.order), self.order, strict=False):
            first, end = starts[number], starts[number + 1]
            if before is not None and number == before + 1:
                runs[-1] = (runs[-1][0], end, runs[-1][2])
            else:
                runs.append((first, end, at))
            at += end - first
        return runs

    def begins(self, starts: frozenset[int]) -> tuple[bool, ...]:
        """Whether each measure begins at one of some ticks, the first time that it is played."""
        first: dict[int, int] = {}
        at = 0
        for number in self.order:
            first.setdefault(number, at)
            at += self.lengths[number]
        return tuple(number in first and first[number] in starts for number in range(len(self.lengths)))

    def notes(self, notes: Phrase, tied: frozenset[int]) -> Phrase:
        """The notes as they are played. One that begins at a tick in `tied` continues the note before it."""
        found: list[Note] = []
        for first, end, at in self._runs:
            for note in notes:
                onset, stop = max(note.onset, first), min(note.end, end)
                if onset >= stop:
                    continue
                played = replace(note, onset=at + onset - first, length=stop - onset)
                last = found[-1] if found else None
                goes_on = last is not None and (last.midi, last.end) == (played.midi, played.onset)
                if last is not None and goes_on and note.onset == first and first in tied:
                    found[-1] = replace(last, length=last.length + played.length)
                else:
                    found.append(played)
        return tuple(found)

    def chords(self, chords: Sequence[tuple[int, Chord]]) -> tuple[tuple[int, Chord], ...]:
        """The chords as they are played; where a repeat goes back, that which sounded there the first time."""
        found: list[tuple[int, Chord]] = []
        behind = 0
        for first, end, at in self._runs:
            inside = [(tick, chord) for tick, chord in chords if first <= tick < end]
            before = [chord for tick, chord in chords if tick < first]
            if first < behind and before and (not inside or inside[0][0] > first):
                found.append((at, before[-1]))
            found += [(at + tick - first, chord) for tick, chord in inside]
            behind = end
        return tuple(found)
