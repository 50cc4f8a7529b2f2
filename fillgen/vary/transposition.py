"""A phrase and its chords in another key, and ideas with names and fingers for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from fillgen.chart.progression import Progression
from fillgen.engine.request import Request, settle
from fillgen.errors import NoPhraseError, OptionError
from fillgen.hands.fingering import best_of_many
from fillgen.hands.reach import reach
from fillgen.hands.second import struck
from fillgen.phrase.idea import Idea
from fillgen.phrase.note import Phrase
from fillgen.phrase.remark import Remark, RemarkKind
from fillgen.phrase.spelling import spell
from fillgen.theory.chords import Chord
from fillgen.theory.pitch import NATURAL, Key, Name, key_on, keys_in, midi_name, pitch_of


def moved(request: Request, phrase: Phrase, key: Key) -> tuple[Request, Phrase, tuple[Remark, ...]]:
    """A request and a phrase in another key, by the smaller way up or down that stays in range."""
    old = request.progression.key
    new = _plain_key(Key(key.tonic, old.mode) if key.mode == old.signature_mode else key)
    if new.mode != old.mode:
        raise OptionError(
            f"the chart is in {old}, and moving it to {key} would change its mode",
            hint=f"Name a {old.signature_mode} key.",
        )
    if new == old:
        raise OptionError(f"the chart is in {old} already", hint="Name another key.")
    steps = (new.tonic.letter - old.tonic.letter) % 7
    rise = (new.tonic.pitch_class - old.tonic.pitch_class) % 12
    local = {span.key: _moved_key(span.key, steps, rise) for span in request.progression.spans} | {old: new}
    bars = tuple(
        tuple(
            replace(
                span,
                chord=_moved_chord(span.chord, steps, rise, local[span.key]),
                heard=_moved_chord(span.heard, steps, rise, local[span.key]),
                key=local[span.key],
            )
            for span in bar
        )
        for bar in request.progression.bars
    )
    progression = replace(request.progression, key=new, bars=bars)
    shift = _shift(request, phrase, rise)
    moved = tuple(
        replace(
            note,
            midi=note.midi + shift,
            name=_moved_written(note.name, steps, rise, progression.span_at(note.onset).key),
        )
        for note in phrase
    )
    lead = None if request.lead_to is None else pitch_of(request.lead_to, "the note to lead to") + shift
    remarks = () if new.tonic == key.tonic else (Remark(RemarkKind.SPELLING, f"{key} is written as {new}."),)
    return replace(request, progression=progression, lead_to=lead), moved, remarks


def ideas_at(ideas: Sequence[Idea], progression: Progression, shift: int, size: str) -> list[Idea]:
    """Ideas transposed by some semitones over a transposed progression, respelled and refingered; their text stays."""
    if shift == 0:
        return list(ideas)
    phrases = [
        tuple(replace(each.note, midi=each.note.midi + shift) for each in idea.notes) for idea in ideas
    ]
    fingers = best_of_many([[note.midi for note in phrase] for phrase in phrases], reach(size))
    found = []
    for idea, phrase, chosen in zip(ideas, phrases, fingers, strict=True):
        names = spell(progression, phrase)
        rows = zip(idea.notes, phrase, names, chosen, strict=True)
        notes = tuple(replace(each, note=note, name=name, finger=finger) for each, note, name, finger in rows)
        below = [tuple(each.note.midi + shift for each in low) for low in idea.below()]
        found.append(struck(progression, replace(idea, notes=notes), below, reach(size)))
    return found


def _plain_key(key: Key) -> Key:
    """The same key with fewer signs where it has seven: B major for Cb major."""
    alike = [each for each in keys_in(key.mode) if each.tonic.pitch_class == key.tonic.pitch_class]
    return min(alike, key=lambda each: (abs(each.fifths), each != key)) if abs(key.fifths) > 6 else key


def _moved_key(key: Key, steps: int, rise: int) -> Key:
    """A key some letters and semitones higher, with as few signs as can be where it would have seven or more."""
    letter = (key.tonic.letter + steps) % 7
    alter = (key.tonic.pitch_class + rise - NATURAL[letter] + 6) % 12 - 6
    return _plain_key(key_on(Name(letter, alter), key.mode))


def _moved_chord(chord: Chord, steps: int, rise: int, key: Key) -> Chord:
    if chord.root is None:
        return chord
    bass = None if chord.bass is None else _moved_name(chord.bass, steps, rise, key)
    return chord.on(_moved_name(chord.root, steps, rise, key), bass)


def _moved_name(name: Name, steps: int, rise: int, key: Key) -> Name:
    """A name some letters and semitones higher, as the key has it; a plain letter in place of an odd spelling."""
    letter = (name.letter + steps) % 7
    alter = (name.pitch_class + rise - NATURAL[letter] + 6) % 12 - 6
    moved = Name(letter, alter)
    naturals = [Name(n, 0) for n in range(7) if NATURAL[n] == moved.pitch_class]
    odd = alter != 0 and bool(naturals) and moved not in key.scale
    return naturals[0] if odd else moved.plain()


def _moved_written(name: Name | None, steps: int, rise: int, key: Key) -> Name | None:
    """A written name, some letters and semitones higher; None if that would be hard to read."""
    moved = None if name is None else _moved_name(name, steps, rise, key)
    same_letter = moved is not None and name is not None and moved.letter == (name.letter + steps) % 7
    return moved if same_letter else None


def _shift(request: Request, phrase: Phrase, rise: int) -> int:
    """The semitones that notes move by: the fewest that leave them all in range, or else the fewest."""
    usual = settle(replace(request, level=request.level or int(request.pack.default("level"))))
    ways = sorted((rise + 12 * octaves for octaves in (-2, -1, 0, 1)), key=lambda way: (abs(way), -way))
    low, high = min(note.midi for note in phrase), max(note.midi for note in phrase)
    fitting = [way for way in ways if usual.low <= low + way and high + way <= usual.high]
    possible = [way for way in ways if low + way >= 0 and high + way <= 127]
    if not fitting and (request.low is not None or request.high is not None):
        ends = [midi_name(midi, request.progression.key) for midi in (usual.low, usual.high)]
        raise NoPhraseError(
            f"the phrase can't be moved to fit between {ends[0]} and {ends[1]}",
            hint="Widen the range with --low and --high.",
        )
    return (fitting or possible)[0]
