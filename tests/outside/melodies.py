"""Real melodies to hold the score against: folk songs and airs read from the installed music21 package.

The collections are the Essen folk songs (ABC by S. Schlien) and Aird's Airs (1778-1801, transcribed by J. Campin) of
music21's corpus. They are read where they lie and nothing of them is kept here: the Essen songs may be used, but not
sold. A tune is cut into phrases of four full bars, its pick-up left out; each phrase has rivals made of its own notes.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path
from typing import Any
from unittest.mock import patch
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from fillgen.phrase.note import Note, Phrase
from fillgen.theory.metre import METRES, TICKS
from fillgen.theory.pitch import MODES, Name

Pitches = NDArray[np.int16]
Values = NDArray[np.float64]
COLLECTIONS = {"essen": "essenFolksong", "aird": "airdsAirs"}
RIVALS = ("shuffled", "walk", "scale walk", "backwards", "reversed", "drawn")
"""What a phrase is set against, told at the functions that make them."""
BARS = 4
FEWEST = 6
"""The fewest notes of a phrase."""
MOST = 4
"""The most phrases of one tune that are tried, so that a long tune does not outweigh the others."""
_SCALES = {
    "maj": MODES["major"],
    "min": (*MODES["minor"], 11),
    "dor": (0, 2, 3, 5, 7, 9, 10),
    "mix": (0, 2, 4, 5, 7, 9, 10),
    "lyd": (0, 2, 4, 6, 7, 9, 11),
    "phr": (0, 1, 3, 5, 7, 8, 10),
}
"""Semitones above the tonic; a minor key has its raised leading note as well."""
_MODE_WORDS = {"": "", "m": "min", "aeo": "min", "ion": "maj", **{name: name for name in _SCALES}}
_COMMON = {"C": "4/4", "C|": "2/2"}


@dataclass(frozen=True)
class Tune:
    """A real tune: where it stands, its metre and key, and its phrases with their ticks counted from their own start.

    `scale` are the notes of its mode as bits; `mode` is `maj`, `min` or one of the church modes.
    """

    name: str
    metre: str
    tonic: Name
    mode: str
    phrases: tuple[Phrase, ...]

    @property
    def collection(self) -> str:
        return self.name.split("/")[0]

    @property
    def scale(self) -> int:
        """The notes of its mode as bits."""
        return sum(1 << (self.tonic.pitch_class + rise) % 12 for rise in _SCALES[self.mode])

    @property
    def held_out(self) -> bool:
        return is_held_out(self.name)


def is_held_out(name: str) -> bool:
    """Whether a tune is kept from the tuning of the weights: every second one, by the check sum of its name."""
    return crc32(name.encode()) % 2 == 1


def names_and_texts(collection: str) -> Iterator[tuple[str, str]]:
    """Every tune of a collection as ABC text, with its name: collection, file and number."""
    package = find_spec("music21")
    assert package is not None
    assert package.origin is not None
    folder = Path(package.origin).parent / "corpus" / COLLECTIONS[collection]
    for path in sorted(folder.glob("*.abc")):
        text = path.read_text(encoding="utf-8", errors="replace")
        for part in re.split(r"^(?=X:)", text, flags=re.MULTILINE)[1:]:
            number = part[2:].split(maxsplit=1)[0].lstrip("0")
            yield f"{collection}/{path.stem}/{number}", part


def tune_of(name: str, text: str) -> Tune | None:
    """The tune of an ABC text; None where it has no single metre or no key that we have, or no phrase long enough."""
    metre, key = _metre(text), _key(text)
    if metre is None or key is None:
        return None
    bars = _bars(text, METRES[metre].bar)
    phrases = tuple(phrase for phrase in _phrases(bars, METRES[metre].bar) if len(phrase) >= FEWEST)
    tonic, mode = key
    return Tune(name, metre, tonic, mode or _mode_heard(phrases, tonic), phrases) if phrases else None


def _metre(text: str) -> str | None:
    """The one metre of a tune, None where it changes or is none of ours."""
    found = {_COMMON.get(word, word) for word in re.findall(r"(?:^|\[)M: *([^\s%\]]+)", text, re.MULTILINE)}
    return found.pop() if len(found) == 1 and found <= set(METRES) else None


def _key(text: str) -> tuple[Name, str] | None:
    """The tonic and the mode written in the one K: field; the mode is empty where none is written."""
    found = re.findall(r"(?:^|\[)K: *([A-G])([b#]?) *([A-Za-z]*)", text, re.MULTILINE)
    fields = re.findall(r"(?:^|\[)K:", text, re.MULTILINE)
    if len(found) != 1 or len(fields) != 1 or found[0][2][:3].lower() not in _MODE_WORDS:
        return None
    letter, sign, mode = found[0]
    return Name.read(letter + sign), _MODE_WORDS[mode[:3].lower()]


def _mode_heard(phrases: Iterable[Phrase], tonic: Name) -> str:
    """Major or minor, by the third that sounds longer.

    The Essen songs write minor keys as major ones of the same tonic, with signs before the notes.
    """
    sounding = dict.fromkeys(range(12), 0)
    for phrase in phrases:
        for note in phrase:
            sounding[(note.midi - tonic.pitch_class) % 12] += note.length
    return "min" if sounding[3] > sounding[4] else "maj"


# Bars and phrases


def _bars(text: str, bar: int) -> list[tuple[float, bool, list[Any]]]:
    """The measures of a tune in order: length in ticks, whether full, and music21's notes in them.

    `%abc-2.1` lets an accidental last to the end of its bar, as these collections mean it. Two short measures in a row
    that make up a bar, as at a repeat sign after a pick-up, are one bar.
    """
    from music21 import abcFormat  # noqa: PLC0415 - 0.3 s that only these tests need
    from music21.stream.base import Measure, Part  # noqa: PLC0415

    handler = abcFormat.ABCFile().readstr("%abc-2.1\n" + text)
    with patch.object(Part, "makeBeams"):  # half the time, for beams that nobody looks at
        score = abcFormat.translate.abcToStreamScore(handler)
    part = score.parts[0] if score.parts else score
    found: list[tuple[float, bool, list[Any]]] = []
    for measure in part.getElementsByClass(Measure):
        length = float(measure.highestTime) * TICKS
        notes = [(float(each.offset) * TICKS, each) for each in measure.flatten().notes]
        if found and not found[-1][1] and length < bar and found[-1][0] + length == bar:
            start, _, before = found.pop()
            found.append((bar, True, before + [(start + onset, each) for onset, each in notes]))
        else:
            found.append((length, length == bar, notes))
    return found


def _phrases(bars: Sequence[tuple[float, bool, list[Any]]], bar: int) -> Iterator[Phrase]:
    """Four full bars at a time, from the first full bar on; a bar of another length begins a new count."""
    run: list[list[Any]] = []
    for _, full, notes in bars:
        run = [*run, notes] if full else []
        if len(run) == BARS:
            phrase = _phrase(run, bar)
            if phrase is not None:
                yield phrase
            run = []


def _phrase(run: Sequence[list[Any]], bar: int) -> Phrase | None:
    """The notes of four bars, tied ones joined; None where a chord stands in them or a note is off the grid."""
    notes: list[Note] = []
    for number, inside in enumerate(run):
        for offset, each in inside:
            onset, length = number * bar + offset, float(each.quarterLength) * TICKS
            if not length:
                continue
            if each.isChord or onset % 1 or length % 1:
                return None
            if _goes_on(each, notes):
                notes[-1] = replace(notes[-1], length=notes[-1].length + int(length))
            else:
                notes.append(Note(int(onset), int(length), each.pitch.midi))
    return tuple(notes) if all(a.end <= b.onset for a, b in pairwise(notes)) else None


def _goes_on(each: Any, notes: Sequence[Note]) -> bool:
    """Whether a written note is tied to the one before; hyphens between different pitches are slurs."""
    tied = each.tie is not None and each.tie.type in ("stop", "continue")
    return tied and bool(notes) and notes[-1].midi == each.pitch.midi


def pitches_of(phrase: Phrase) -> Pitches:
    return np.array([note.midi for note in phrase], dtype=np.int16)


def texts(*, held_out: bool, one_in: int = 1) -> list[tuple[str, str]]:
    """The names and texts of one half of all tunes, or of a fixed part of that half."""
    every = [tune for collection in COLLECTIONS for tune in names_and_texts(collection)]
    return [
        (name, text)
        for name, text in every
        if is_held_out(name) is held_out and crc32(name.encode()) // 2 % one_in == 0
    ]
