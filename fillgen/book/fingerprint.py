"""What makes two ideas the same: the same notes above the tonic, in the same rhythm, over the same degrees.

The key and the octave do not count: a phrase in C is the same idea in F, and an octave higher too.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fillgen.chart.progression import Progression
from fillgen.phrase.note import Phrase
from fillgen.theory.chords import Chord

Rhythm = Sequence[tuple[int, int]]
"""Onset and length of each note, in ticks from the start of the phrase."""
Heights = NDArray[np.int16]
"""Phrases as rows: semitones above the tonic at or below the first note."""


def _digest(content: str) -> bytes:
    return hashlib.blake2b(content.encode(), digest_size=16).digest()


def degrees(progression: Progression) -> bytes:
    """A fingerprint of a progression by scale degrees, 16 bytes: the same in every key.

    >>> from fillgen.chart.text import parse_chart
    >>> degrees(parse_chart("| C | Dm7 G7 |")) == degrees(parse_chart("| Eb | Fm7 Bb7 |"))
    True
    >>> degrees(parse_chart("| C | Dm7 G7 |")) == degrees(parse_chart("| C | Dm7 G |"))
    False
    """
    tonic = progression.key.tonic.pitch_class
    chords: list[str] = []
    before = None
    for span in progression.spans:
        chord = _degree(span.chord, tonic)
        if chord != before:
            chords.append(f"{span.onset} {chord}")
        before = chord
    head = f"{progression.metre.name} {progression.key.signature_mode} {progression.length}"
    metres = " ".join(metre.name for metre in progression.metres)
    return _digest("\n".join([head, *chords, *filter(None, [metres])]))


def _degree(chord: Chord, tonic: int) -> str:
    """A chord without its key: the semitones of root and bass above the tonic, and its kind."""
    if chord.root is None or chord.kind is None:
        return "none"
    bass = chord.root if chord.bass is None else chord.bass
    return f"{(chord.root.pitch_class - tonic) % 12} {(bass.pitch_class - tonic) % 12} {chord.kind.name}"


def onsets(rhythm: Rhythm) -> bytes:
    """A fingerprint of a rhythm, 16 bytes.

    >>> onsets([(0, 480), (480, 480)]) == onsets(((0, 480), (480, 480)))
    True
    """
    return _digest(" ".join(f"{onset},{length}" for onset, length in rhythm))


def heights(pitches: NDArray[np.int16], tonic: int) -> Heights:
    """Rows of MIDI pitches as semitones above the tonic at or under the first note; `tonic` is a pitch class.

    >>> heights(np.array([[64, 67, 60], [76, 79, 72]], dtype=np.int16), 0).tolist()
    [[4, 7, 0], [4, 7, 0]]
    """
    above = pitches.astype(np.int16) - np.int16(tonic)
    return np.ascontiguousarray(above - 12 * (above[:, :1] // 12))


def packed(rows: Heights) -> list[bytes]:
    """Each row as bytes, as the book holds it.

    >>> [list(row) for row in packed(np.array([[4, 7, -1]], dtype=np.int16))]
    [[4, 7, 255]]
    """
    small = rows.astype(np.int8)
    width = small.shape[1]
    whole = small.tobytes()
    return [whole[start : start + width] for start in range(0, len(whole), width)]


def unpacked(rows: Sequence[bytes], width: int) -> Heights:
    """Rows from their bytes; rows of another width are left out."""
    kept = b"".join(row for row in rows if len(row) == width)
    return np.frombuffer(kept, dtype=np.int8).reshape(-1, width).astype(np.int16)


def of_phrase(notes: Phrase, progression: Progression) -> tuple[bytes, bytes]:
    """The fingerprints of a phrase's rhythm and of its pitches.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.phrase.text import parse_phrase
    >>> one, other = parse_chart("| C | G7 |"), parse_chart("| F | C7 |")
    >>> call = of_phrase(parse_phrase("E5h G5h | F5w", one.metre), one)
    >>> call == of_phrase(parse_phrase("A4h C5h | Bb4w", other.metre), other)
    True
    """
    pitches = np.array([[note.midi for note in notes]], dtype=np.int16)
    own = packed(heights(pitches, progression.key.tonic.pitch_class))[0]
    return onsets([(note.onset, note.length) for note in notes]), own
