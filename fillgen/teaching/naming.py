"""The names that textbooks give to notes outside the chord."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache

from fillgen.phrase.idea import CHORD_TONE
from fillgen.rules.rule import STEP, Seen, Verdict
from fillgen.rules.tones import Embellishment, is_light, is_step
from fillgen.teaching.line import Line
from fillgen.teaching.wider import wider

# Further kinds from textbooks. No level uses these; they name notes for the reader.


def suspension(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """A tone held over from the chord before on a strong beat of one that lacks it, and left by step down to a tone."""
    return _is_kept(before, note, after) & _resolves(note, after, -1)


def retardation(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """A tone held over from the chord before on a strong beat of one that lacks it, and left by step up to a tone."""
    return _is_kept(before, note, after) & _resolves(note, after, 1)


def _is_kept(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """Whether a tone of the chord before is held into a chord that lacks it, or is struck again over it."""
    if after is None:
        return False
    place = note.place
    held = note.tone & note.among(~place.ahead & 0xFFF) if place.ahead == after.place.chord else False
    if before is None or before.place.before_rest or place.chord != after.place.chord:
        return held
    return held | (place.strong & note.foreign & (before.midi == note.midi) & before.tone)


def _resolves(note: Seen, after: Seen | None, way: int) -> Verdict:
    if after is None:
        return False
    out = after.midi - note.midi
    return is_step(out) & (out * way > 0) & after.tone


def leaning(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """On a strong beat, reached by leap and left by step against the leap to a tone."""
    if before is None or after is None:
        return False
    into, out = note.midi - before.midi, after.midi - note.midi
    leaned = note.place.strong & note.foreign & (abs(into) > STEP) & is_step(out) & after.tone
    return leaned & (into * out < 0)


def accented_passing(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """On a strong beat, reached by step and left by step in the same direction."""
    return note.place.strong & _goes_by_step(before, note, after, 1)


def accented_neighbour(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """On a strong beat, reached by step and left by step back to where it came from."""
    return note.place.strong & _goes_by_step(before, note, after, -1)


def chromatic_passing(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """A passing note on a weak place that the scale of its chord lacks."""
    return note.weak & note.among(~note.place.passing & 0xFFF) & _goes_by_step(before, note, after, 1)


def chromatic_neighbour(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """A neighbour note on a weak place that the scale of its chord lacks."""
    return note.weak & note.among(~note.place.passing & 0xFFF) & _goes_by_step(before, note, after, -1)


def _goes_by_step(before: Seen | None, note: Seen, after: Seen | None, way: int) -> Verdict:
    """Whether a note outside its chord is reached and left by step: onwards (1), or back to the same note (-1)."""
    if before is None or after is None:
        return False
    into, out = note.midi - before.midi, after.midi - note.midi
    onwards = is_step(out) & (into * out > 0) if way > 0 else out == -into
    return note.foreign & is_step(into) & onwards


def escape_tone(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """Light and in the scale, reached by step and left by leap in the opposite direction."""
    if before is None or after is None:
        return False
    into, out = note.midi - before.midi, after.midi - note.midi
    escapes = is_light(note) & note.among(note.place.passing) & note.foreign
    return escapes & is_step(into) & (abs(out) > STEP) & (into * out < 0)


def incomplete_neighbour(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """Light, reached by leap and left by step to a chord tone on a strong beat."""
    if before is None or after is None:
        return False
    into, out = note.midi - before.midi, after.midi - note.midi
    settles = after.place.strong & after.tone
    return is_light(note) & note.foreign & (abs(into) > STEP) & is_step(out) & settles


def double_neighbour(before: Seen | None, note: Seen, after: Seen | None) -> Verdict:
    """One of two notes on weak places, a step above and a step below the same note, as far as three notes show."""
    if before is None or after is None:
        return False
    return _begins_double(before, note, after) | _begins_double(after, note, before)


def _begins_double(main: Seen, note: Seen, other: Seen) -> Verdict:
    one, two = note.midi - main.midi, other.midi - main.midi
    weak = note.weak & other.weak & note.foreign & other.foreign
    return weak & is_step(one) & is_step(two) & (one * two < 0)


FURTHER_TONES: dict[str, Embellishment] = {
    "double neighbour": double_neighbour,
    "suspension": suspension,
    "retardation": retardation,
    "appoggiatura": leaning,
    "accented passing": accented_passing,
    "accented neighbour": accented_neighbour,
    "chromatic passing": chromatic_passing,
    "chromatic neighbour": chromatic_neighbour,
    "escape tone": escape_tone,
    "incomplete neighbour": incomplete_neighbour,
}
"""Names for notes that are none of the above, in order of preference. Definitions: Open Music Theory,
Embellishing tones. `leaning` is the appoggiatura that may clash as well. A note held into its chord may be a tone where it begins and a
suspension or a retardation where it is held."""


KEPT_OVER = ("suspension", "retardation")
"""The names of a note held into the next chord that moves on by step."""


# What textbooks call a note


@lru_cache(maxsize=64)
def kinds(line: Line, *, narrow: bool = False) -> tuple[str, ...]:
    """What textbooks call each note, empty if they have no name for it.

    Chord tones and the kinds of `fillgen.rules.tones.EMBELLISHMENTS` first, then those of `FURTHER_TONES`, then those of
    `fillgen.teaching.wider.WIDER_TONES` unless only `narrow` definitions are wanted. A tone held into a chord that lacks it
    and left by step is a suspension or a retardation.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.phrase.text import parse_phrase
    >>> chart = parse_chart("| F | C |", key="C")
    >>> kinds(Line(chart, parse_phrase("C5q G5q F5h~ | F5h E5h", chart.metre)))
    ('chord tone', 'incomplete neighbour', 'suspension', 'chord tone')
    """
    found = [_kind(line, index, FURTHER_TONES) for index in range(len(line.notes))]
    return tuple(found if narrow else [_widely(line, index, kind) for index, kind in enumerate(found)])


def _widely(line: Line, index: int, kind: str) -> str:
    """What one note is called where the narrow definitions have no name for it, or none for what it is held into."""
    if kind == CHORD_TONE:
        return kind if line.lacking(index) is None else wider(line, index) or kind
    return kind or wider(line, index)


def _kind(line: Line, index: int, table: Mapping[str, Embellishment]) -> str:
    """What one note is called. A tie says more about a chord tone, and a pair of notes more about an approach note."""
    found = line.roles[index]
    if found == CHORD_TONE:
        asked: Sequence[str] = KEPT_OVER if line.where[index].ahead else ()
    elif found == "approach" and _leads(line, index):
        asked = ("double neighbour",)
    else:
        found = "" if found == "approach" else found
        asked = () if found else tuple(table)
    further = (
        name for name in asked if bool(table[name](*line.windows[index])) and _bears(line, index, name)
    )
    return next(further, found)


def _leads(line: Line, index: int) -> bool:
    """Whether an approach note does go to its chord tone, alone or as one of two that enclose it."""
    after = line.windows[index][2]
    assert after is not None
    if bool(after.tone):
        return abs(line.out(index)) == 1 or _closes(line, index)
    return index + 2 < len(line.notes) and _closes(line, index + 1)


def _bears(line: Line, index: int, kind: str) -> bool:
    """Whether the notes farther off confirm what three notes suggest."""
    if kind == "double neighbour":
        return any(is_double(line, first) for first in (index - 1, index))
    return kind not in KEPT_OVER or _is_lighter(line, index)


def is_double(line: Line, first: int) -> bool:
    """Whether a note and the next one are a step above and below the note that comes before and after them both."""
    if first < 1 or first + 2 >= len(line.notes) or line.roles[first] not in ("", "approach"):
        return False
    pair = (first, first + 1)
    returns = line.notes[first - 1].midi == line.notes[first + 2].midi
    return returns and all(bool(FURTHER_TONES["double neighbour"](*line.windows[each])) for each in pair)


def _is_lighter(line: Line, index: int) -> bool:
    """Whether a note kept over resolves on a lighter place than that on which it is kept."""
    held, after = line.held_into(index), line.notes[index + 1].onset
    kept = held[0] if held and line.roles[index] == CHORD_TONE else line.notes[index].onset
    timeline = line.progression.timeline
    return not line.progression.is_strong(after) or timeline.accent(after) < timeline.accent(kept)


def _closes(line: Line, index: int) -> bool:
    """Whether a note and the one before it are on either side of the chord tone that follows."""
    after = line.windows[index][2]
    one, two = line.out(index), line.out(index) + line.into(index)
    apart = abs(line.into(index)) > STEP and one * two < 0
    return after is not None and bool(after.tone) and apart and max(abs(one), abs(two)) <= STEP
