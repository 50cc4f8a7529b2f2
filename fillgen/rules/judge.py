"""What each note of a phrase is, which rules a phrase keeps, and what its rhythm does beyond a level."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from fillgen.chart.progression import Progression
from fillgen.phrase.idea import Idea, IdeaNote
from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.place import Place, places
from fillgen.phrase.spelling import Speller
from fillgen.phrase.text import phrase_text
from fillgen.rules.pack import Level
from fillgen.rules.rule import RuleUse, Seen, Window
from fillgen.rules.tones import role
from fillgen.theory.metre import is_triplet


@dataclass(frozen=True, slots=True)
class Breach:
    """A rule broken at a note, counted from 0."""

    index: int
    use: RuleUse


def windows(places: Sequence[Place], pitches: Sequence[int]) -> Iterator[Window]:
    """Each note between its neighbours."""
    seen: list[Seen | None] = [Seen(place, midi) for place, midi in zip(places, pitches, strict=True)]
    edged = [None, *seen, None]
    for before, note, after in zip(edged, edged[1:], edged[2:], strict=False):
        assert note is not None
        yield before, note, after


def roles(places: Sequence[Place], pitches: Sequence[int]) -> list[str]:
    """What each note is in its chord; empty for a note outside it that nothing justifies."""
    return [role(window) for window in windows(places, pitches)]


def breaches(uses: Sequence[RuleUse], places: Sequence[Place], pitches: Sequence[int]) -> list[Breach]:
    """Every rule that a phrase breaks, note by note."""
    return [
        Breach(index, use)
        for index, window in enumerate(windows(places, pitches))
        for use in uses
        if not bool(use.holds(window))
    ]


# Rhythm


def rhythm_beyond(progression: Progression, notes: Phrase, level: Level) -> Iterator[tuple[str, list[Note]]]:
    """What a phrase's rhythm does that a level's rhythms don't, with the notes that do it.

    There may be `syncopation` (notes held across a heavier beat), a `push` (notes held over the bar line), a `triplet`,
    or notes `beside` those that come in with a chord.
    """
    starts = {span.onset for span in progression.spans}
    crossing = [note for note in notes if _is_syncopated(progression, note, starts)]
    pushed = [note for note in crossing if _crosses_bar(progression, note)]
    held = [note for note in crossing if not _crosses_bar(progression, note)]
    if level.light_syncopation:
        bars = Counter(progression.bar_of(note.onset) for note in held)
        held = [note for note in held if bars[progression.bar_of(note.onset)] > 1]
    triplets = [note for note in notes if is_triplet(note.onset) or is_triplet(note.length)]
    beside = [note for note in notes if note.onset not in starts]
    features = (
        (level.syncopation, "syncopation", held),
        (level.pushes, "push", pushed),
        (level.triplets, "triplet", triplets),
        (not level.one_a_chord, "beside", beside),
    )
    yield from ((what, found) for allowed, what, found in features if not allowed and found)


def _is_syncopated(progression: Progression, note: Note, starts: set[int]) -> bool:
    """Whether a note is held across a heavier place; the beat on which a chord comes in is heavy."""
    return note.onset not in starts and progression.timeline.crosses(note.onset, note.length)


def _crosses_bar(progression: Progression, note: Note) -> bool:
    return progression.bar_index(note.onset) != progression.bar_index(note.end - 1)


# Notes with what they are


def as_idea(
    progression: Progression,
    notes: Phrase,
    fingers: Sequence[int] = (),
    *,
    rank: int = 1,
    score: float = 0.0,
    shape: str = "",
    terms: Mapping[str, float] = MappingProxyType({}),
) -> Idea:
    """A phrase as an idea: with what each note is, and its text.

    >>> from fillgen.chart.text import parse_chart
    >>> as_idea(parse_chart("| Bb |"), (Note(0, 960, 74), Note(960, 960, 70))).text
    'D5h Bb4h'
    """
    where = places(progression, [(note.onset, note.length) for note in notes])
    every = annotated(progression, notes, where, fingers)
    text = phrase_text(notes, progression, [each.name for each in every])
    return Idea(rank, score, dict(terms), shape, text, every)


def annotated(
    progression: Progression,
    notes: Phrase,
    where: Sequence[Place],
    fingers: Sequence[int] = (),
    speller: Speller | None = None,
) -> tuple[IdeaNote, ...]:
    """The notes of a phrase with what each of them is, at the places they have.

    A `speller` of the same progression remembers names from one phrase to the next.
    """
    pitches = [note.midi for note in notes]
    names = (speller or Speller(progression)).names(notes)
    return tuple(
        IdeaNote(
            progression.bar_of(note.onset),
            note,
            name,
            role,
            progression.span_at(note.onset).heard.degree_of(note.midi % 12),
            finger,
        )
        for note, name, role, finger in zip(
            notes, names, roles(where, pitches), fingers or [0] * len(notes), strict=True
        )
    )
