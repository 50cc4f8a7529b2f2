"""Notes outside the chord: passing notes, neighbours, anticipations, approaches, enclosures, appoggiaturas."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from fillgen.phrase.idea import CHORD_TONE
from fillgen.rules.rule import STEP, Pitch, Seen, Verdict, Window


def is_step(rise: Pitch) -> Verdict:
    """Whether a rise in semitones is a step, up or down."""
    return (abs(rise) >= 1) & (abs(rise) <= STEP)


def is_light(note: Seen) -> Verdict:
    """Whether a note neither begins on a strong beat nor sounds on into one whose chord lacks it."""
    return note.weak & note.among(note.place.held)


# The notes outside the chord. A note may be one of those that its level names.


def _in_scale(note: Seen, after: Seen) -> Verdict:
    """Whether a note may pass over its chord: one of the scale, or the raised sixth or seventh of a minor key going up."""
    leads = note.among(note.place.leading) & (after.midi - note.midi == 1)
    climbs = note.among(note.place.climbing) & (after.midi - note.midi == 2)
    return note.among(note.place.passing) | leads | climbs


def passing(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """Reached by step and left by step in the same direction, on a weak place."""
    if before is None or after is None:
        return False
    into, out = note.midi - before.midi, after.midi - note.midi
    return note.weak & _in_scale(note, after) & is_step(into) & is_step(out) & (into * out > 0)


def neighbour(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """Reached by step and left by step back to where it came from, on a weak place."""
    if before is None or after is None:
        return False
    there_and_back = is_step(note.midi - before.midi) & (after.midi == before.midi)
    return note.weak & _in_scale(note, after) & there_and_back


def anticipation(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """A tone of the next chord, on a weak place just before it: repeated there, or held into it."""
    held = note.weak & note.among(note.place.ahead)
    if after is None:
        return held
    return held | (note.weak & (after.midi == note.midi) & after.tone)


def approach(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """On a weak place, a semitone from the chord tone that follows; or one of two notes that enclose it."""
    if after is None:
        return False
    leads = note.weak & (abs(after.midi - note.midi) == 1) & after.tone
    return leads | _opens_enclosure(note, after) | _closes_enclosure(before, note, after)


def _opens_enclosure(note: Seen, after: Seen) -> Verdict:
    rise = abs(after.midi - note.midi)
    return note.weak & after.weak & after.foreign & (rise > STEP) & (rise <= 2 * STEP)


def _closes_enclosure(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    if before is None or after is None:
        return False
    return note.weak & before.foreign & encloses(before, note, after)


def encloses(before: Seen, note: Seen, after: Seen) -> Verdict:
    """Whether two notes are on either side of the chord tone that follows them, each within a step of it."""
    one, other = after.midi - before.midi, after.midi - note.midi
    return after.tone & lies_between(one, other) & (abs(one - other) > STEP)


def lies_between(one: Pitch, other: Pitch) -> Verdict:
    """Whether a note is between two others, a step from each, by the rises from them to it.

    >>> lies_between(2, -1), lies_between(2, 1), lies_between(3, -1)
    (True, False, False)
    """
    return is_step(one) & is_step(other) & (one * other < 0)


def appoggiatura(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """On a strong beat, reached by leap and left by step in the opposite direction to a chord tone."""
    if before is None or after is None:
        return False
    into, out = note.midi - before.midi, after.midi - note.midi
    leaned = note.place.strong & note.among(note.place.passing & ~note.place.avoid)
    return leaned & (abs(into) > STEP) & is_step(out) & (into * out < 0) & after.tone


BLUE_NOTES = ("third", "fifth")
"""The notes of a blues that slide: between the minor and the major third, and about the fifth. Source: common practice."""
Embellishment = Callable[[Seen | None, Seen, Seen | None], Verdict]
EMBELLISHMENTS: dict[str, Embellishment] = {
    "anticipation": anticipation,
    "passing": passing,
    "neighbour": neighbour,
    "approach": approach,
    "appoggiatura": appoggiatura,
}
"""What a note outside the chord can be, in the order in which a note is named. Definitions: Open Music Theory,
Embellishing tones; the appoggiatura is the stricter one, which leaves against the leap."""


def blue(note: Seen, after: Seen | None, which: Iterable[str] = BLUE_NOTES) -> Verdict:
    """A blue note on a weak place that slides: the third up to the third, the fifth to fourth or fifth."""
    if after is None:
        return False
    rise, place = after.midi - note.midi, note.place
    third = note.among(place.blue_third if "third" in which else 0) & (rise == 1)
    fifth = note.among(place.blue_fifth if "fifth" in which else 0) & (abs(rise) == 1)
    return note.weak & (third | fifth) & after.among(after.place.chord | after.place.passing)


def role(window: Window) -> str:
    """What the note in the middle of a window is; empty if it is outside its chord and nothing justifies it.

    A blue note slides into the next one and is an approach note.
    """
    if bool(window[1].tone):
        return CHORD_TONE
    found = next((name for name, is_one in EMBELLISHMENTS.items() if bool(is_one(*window))), "")
    return found or ("approach" if bool(blue(window[1], window[2])) else "")
