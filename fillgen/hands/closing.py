"""How a take ends: the last note held or struck short, and the slowing-down that leads there."""

from __future__ import annotations

from dataclasses import replace

from fillgen.chart.progression import Progression
from fillgen.phrase.idea import Idea, Ideas
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.text import phrase_text
from fillgen.theory.metre import TICKS

BUTTON = TICKS // 2
"""The length of a short last note, in ticks."""
SLOWEST = 0.5
"""The share of the tempo that remains at the last note."""
CURVATURE = 2.0
"""The exponent of the slowing-down; listeners preferred 2 and 3 (Friberg and Sundberg 1999)."""
_STEP = TICKS // 4
"""The ticks between two changes of tempo: a sixteenth."""


def closes(close: str | None) -> bool:
    """Whether a close changes the last note: one that fades doesn't."""
    return close in ("held", "button")


def last_stroke(progression: Progression, phrase: Phrase) -> int:
    """The tick at which all parts strike for the last time: that of the phrase's last note, within the last chord.

    >>> from fillgen.chart.text import parse_chart
    >>> last_stroke(parse_chart("| Bb7 | Eb |"), (Note(0, 480, 74), Note(2400, 480, 75)))
    2400
    """
    return max([progression.spans[-1].onset, *(note.onset for note in phrase[-1:])])


def closed(progression: Progression, phrase: Phrase, close: str | None) -> Phrase:
    """A phrase as it is written with a close: its last note held to the end, or short; all others stay.

    A note that stops before the last chord and isn't one of its notes is held to the end of its own chord.

    >>> from fillgen.chart.text import parse_chart
    >>> closed(parse_chart("| Bb7 | Eb |"), (Note(0, 480, 74), Note(2400, 480, 75)), "held")[-1].end
    3840
    """
    if not phrase or not closes(close):
        return phrase
    last = phrase[-1]
    length = _end_of(progression, last) - last.onset if close == "held" else min(last.length, BUTTON)
    return (*phrase[:-1], replace(last, length=length))


def _end_of(progression: Progression, note: Note) -> int:
    """The tick to which a last note is held."""
    last = progression.spans[-1]
    own = {tone.name.pitch_class for tone in last.heard.tones}
    if note.end > last.onset or note.midi % 12 in own:
        return progression.length
    return max(note.end, next(span.end for span in progression.spans if span.end > note.onset))


def closed_idea(progression: Progression, idea: Idea, close: str | None) -> Idea:
    """An idea as it is written with a close, in all its voices and its text."""
    phrase = closed(progression, idea.phrase, close)
    if phrase == idea.phrase:
        return idea
    notes = (*idea.notes[:-1], replace(idea.notes[-1], note=phrase[-1]))
    text = phrase_text(phrase, progression, [each.name for each in notes]) if idea.text else ""
    below = tuple(
        replace(each, note=replace(each.note, length=phrase[-1].length))
        if each.note.onset == phrase[-1].onset
        else each
        for each in idea.second
    )
    return replace(idea, notes=notes, text=text, second=below)


def closed_ideas(ideas: Ideas, close: str | None) -> Ideas:
    """Ideas as they are written with a close."""
    if not closes(close):
        return ideas
    return replace(ideas, ideas=tuple(closed_idea(ideas.progression, idea, close) for idea in ideas))


# Slowing down


def ritardando(place: float, slowest: float = SLOWEST, curvature: float = CURVATURE) -> float:
    """The share of the tempo at a place of a final slowing-down, from 0 where it begins to 1 at the last note.

    v(x) = (1 + (v_end^q - 1) x)^(1/q), x in score position: Friberg and Sundberg (1999), "Does music performance allude to
    locomotion?", Journal of the Acoustical Society of America 105(3), 1469-1484.

    >>> [round(ritardando(place), 4) for place in (0, 0.5, 1)]
    [1.0, 0.7906, 0.5]
    """
    return float((1 + (slowest**curvature - 1) * place) ** (1 / curvature))


def slows_from(progression: Progression, phrase: Phrase) -> int:
    """The tick at which a take begins to slow down: a bar before its last stroke, on a beat before the last chord.

    >>> from fillgen.chart.text import parse_chart
    >>> slows_from(parse_chart("| Eb | Bb7 | Eb |"), (Note(0, 480, 74), Note(3840, 480, 75)))
    1920
    """
    metre = progression.metre_of(len(progression.bars) - 1)
    start = min(last_stroke(progression, phrase) - metre.bar, progression.spans[-1].onset - metre.beat)
    if start <= 0:
        return 0
    return start - progression.inside(start) % metre.beat


def slowing(progression: Progression, phrase: Phrase) -> tuple[tuple[int, float], ...]:
    """The share of the tempo from a tick on, each sixteenth from where a take slows down to its last stroke."""
    start, goal = slows_from(progression, phrase), last_stroke(progression, phrase)
    ticks = [*range(start + _STEP, goal, _STEP), goal]
    return tuple((tick, ritardando((tick - start) / (goal - start))) for tick in ticks if start < goal)
