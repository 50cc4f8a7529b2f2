"""Which notes fit each chord, as a handout: each chord once, on a staff and on the keys."""

from __future__ import annotations

from collections.abc import Sequence

from fillgen.chart.progression import Progression
from fillgen.errors import listed
from fillgen.hands.fingering import best
from fillgen.hands.grip import chord_fingers
from fillgen.phrase.idea import CHORD_TONE
from fillgen.teaching.notefit import (
    CLASHES,
    LEAVE_QUICKLY,
    PASSES,
    ChordNotes,
    NoteFit,
    Recurring,
    chord_notes,
    recurring,
)
from fillgen.theory.chords import Tone
from fillgen.writers.handout import Handout, titled
from fillgen.writers.handouts.staves import Written, free_picture, free_score
from fillgen.writers.keys import CROSS, DOT, RING, KeyMark, keys_drawing, mark_drawing
from fillgen.writers.layout import Cell, Picture, Row, Words, column_pixels, in_rows
from fillgen.writers.look import PAPERS, USUAL, SheetOptions
from fillgen.writers.mei import signed
from fillgen.writers.notation import Score
from fillgen.writers.notes import bars_of

_WHAT = "Which notes fit each chord"
_MARKS = {CHORD_TONE: DOT, PASSES: RING, LEAVE_QUICKLY: CROSS}
_LEGEND = (
    (CHORD_TONE, "Full dot: a note of the chord. It can fall on any beat and stay."),
    (PASSES, "Ring: a note of the scale. It passes between chord notes and doesn't rub."),
    (LEAVE_QUICKLY, "Cross: a note to avoid holding, because it rubs. Touch it and move on."),
    (CLASHES, "No mark: outside. Only slide from it into the note beside it."),
)
_SAID = {CHORD_TONE: "chord note", PASSES: "passing note", LEAVE_QUICKLY: "note to avoid holding"}
_LISTED = {CHORD_TONE: "Chord", PASSES: "Passing", LEAVE_QUICKLY: "Avoid holding"}
_COLUMNS = 2
_MIDDLE_C = 60
_MOST_ONWARD = 2
"""Chords that follow, of which the way there is named."""


def notes_handout(
    progression: Progression, look: SheetOptions = USUAL, *, dorian_sixth: bool = False
) -> Handout:
    """Each chord of a progression once: its notes and those that pass on a staff with fingers, and on an octave of keys.

    `dorian_sixth` is as for `fillgen.teaching.notefit.note_fits`.

    >>> from fillgen.chart.text import parse_chart
    >>> [score.heading for score in notes_handout(parse_chart("| Ab | Db | Ab |")).scores]
    ['A♭, bars 1 and 3', 'D♭, bar 2']
    """
    every = recurring(chord_notes(progression, dorian_sixth=dorian_sixth))
    chords = [each for each in every if not each.notes.remark]
    scores = [_score(each, number, progression.first, look) for number, each in enumerate(chords, 1)]
    pixels = column_pixels(_COLUMNS, PAPERS[look.paper])
    cells = [_card(each, score, pixels) for each, score in zip(chords, scores, strict=True)]
    about = f"{signed(progression.keys_in_words)}, {progression.metres_in_words}. Right hand; 1 is the thumb."
    silent = [each for each in every if each.notes.remark]
    rows = [Row(((Words(about),),), leads=True), *_legend(), *in_rows(cells, _COLUMNS)]
    rows += [Row(((Words(_silence(each, progression.first)),),)) for each in silent]
    return Handout(titled(look, progression.title, _WHAT), tuple(rows), tuple(scores))


def _legend() -> list[Row]:
    return in_rows(
        [(Words(text, mark=mark_drawing(_MARKS.get(kind, ""))),) for kind, text in _LEGEND], _COLUMNS
    )


def _symbol(chord: ChordNotes) -> str:
    return signed(chord.span.chord.symbol)


def _silence(each: Recurring, first: int) -> str:
    """What is heard over bars in which no chord is played."""
    where = bars_of(each.bars, first)
    return f"{where[0].upper()}{where[1:]}: {each.notes.remark}."


# The staff


def _score(each: Recurring, number: int, first: int, look: SheetOptions) -> Score:
    """The chord held, then its notes and those of its scale upwards to the root again."""
    chord = each.notes
    assert chord.heard.root is not None
    root = _MIDDLE_C + chord.heard.root.pitch_class
    held = [(root + tone.degree.semitones, tone) for tone in _upwards(chord.tones)]
    pitches = [midi for midi, _ in held]
    block = Written(
        tuple(tone.name.at(midi) for midi, tone in held), chord_fingers(pitches) if look.is_fingered else ()
    )
    heading = f"{_symbol(chord)}, {bars_of(each.bars, first)}"
    return free_score(f"chord-{number}", heading, [("w", [block]), ("q", _line(chord, root, look))])


def _upwards(tones: Sequence[Tone]) -> list[Tone]:
    return sorted(tones, key=lambda tone: tone.degree.semitones)


def _line(chord: ChordNotes, root: int, look: SheetOptions) -> list[Written]:
    fits = [fit for fit in chord.fits if fit.kind in _MARKS]
    fits.append(fits[0])
    pitches = [root + (fit.pitch_class - root) % 12 for fit in fits[:-1]] + [root + 12]
    fingers = best(pitches)
    heads = {DOT: "", RING: "ring", CROSS: "cross"}
    return [
        Written(
            (fit.name.at(midi),),
            (finger,) if look.is_fingered else (),
            signed(str(fit.name)),
            heads[_MARKS[fit.kind]],
        )
        for fit, midi, finger in zip(fits, pitches, fingers, strict=True)
    ]


# The card


def _card(each: Recurring, score: Score, pixels: int) -> Cell:
    chord = each.notes
    words = _described(chord)
    staff = free_picture(score, pixels, words)
    keys = {
        _MIDDLE_C + fit.pitch_class: KeyMark(_MARKS[fit.kind], signed(str(fit.name)))
        for fit in chord.fits
        if fit.kind in _MARKS
    }
    drawing = keys_drawing(_MIDDLE_C, _MIDDLE_C + 11, keys)
    beside = [Words(text) for text in (*_kinds(chord), *_onward(each))]
    name = f"Keys over {_symbol(chord)}"
    return (
        Words(f"{_symbol(chord)} · {score.heading.partition(', ')[2]}", 3),
        staff,
        Picture(drawing, name, words, tuple(beside)),
    )


def _described(chord: ChordNotes) -> str:
    """The notes upwards, each with what it is."""
    named = [f"{signed(str(fit.name))} {_SAID[fit.kind]}" for fit in chord.fits if fit.kind in _MARKS]
    return f"{listed(named, 'and')}."


def _kinds(chord: ChordNotes) -> list[str]:
    """The notes of each kind with their degrees, a line each."""
    return [
        f"{_LISTED[kind]}: {', '.join(map(_with_degree, chord.of_kind(kind)))}"
        for kind in _MARKS
        if chord.of_kind(kind)
    ]


def _with_degree(fit: NoteFit) -> str:
    return f"{signed(str(fit.name))}\N{NO-BREAK SPACE}({signed_degree(fit.degree)})"


def signed_degree(text: str) -> str:
    """A degree with a real flat or sharp.

    >>> signed_degree("b7"), signed_degree("#11"), signed_degree("5")
    ('♭7', '♯11', '5')
    """
    return text.replace("b", "♭").replace("#", "♯")


def _onward(each: Recurring) -> list[str]:
    """What stays and what moves by a half step into the chords that follow."""
    lines = []
    for place in each.onward[:_MOST_ONWARD]:
        assert place.following is not None
        stay = [signed(str(shared.tone.name)) for shared in place.common]
        ways = [
            f"{signed(str(way.tone.name))} {'up' if way.rise > 0 else 'down'} to {signed(str(way.goal.name))}"
            for way in place.ways
            if abs(way.rise) == 1
        ]
        parts = [f"{_and(stay)} {'stays' if len(stay) == 1 else 'stay'}"] if stay else []
        said = "; ".join([*parts, *ways]) or "all notes move by a whole step or more"
        lines.append(f"Into {signed(place.following.symbol)}: {said}")
    return lines


def _and(words: Sequence[str]) -> str:
    return listed(list(words), "and")
