"""Ideas as Standard MIDI Files. This is the one module that knows mido."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import mido

from fillgen.metre import TICKS, Metre, swung
from fillgen.music import Idea, Ideas, Progression
from fillgen.pitch import Key

SWING = 2.0
"""How much longer the first of two swung eighths is than the second."""
_CHANNEL = 0
_CLOCKS = 24
"""MIDI clocks in a quarter note."""


@dataclass(frozen=True, slots=True)
class _Event:
    """A message at a tick. At one tick lower ranks come first: notes end before others begin."""

    tick: int
    rank: int
    message: mido.Message | mido.MetaMessage


def to_midi(ideas: Ideas, program: int) -> bytes:
    """All ideas in order in one file of format 1, a marker before each and a bar of rest between them."""
    bar, length = ideas.progression.metre.bar, ideas.progression.length
    starts = [number * (length + bar) for number in range(len(ideas))]
    return _file(
        ideas, list(zip(starts, ideas, strict=True)), program, max(0, len(ideas) * (length + bar) - bar)
    )


def to_midi_files(ideas: Ideas, program: int) -> dict[str, bytes]:
    """One file for each idea, by name: `idea-01.mid` and so on."""
    digits = max(2, len(str(len(ideas))))
    return {
        f"idea-{idea.rank:0{digits}}.mid": _file(ideas, [(0, idea)], program, ideas.progression.length)
        for idea in ideas
    }


def _file(ideas: Ideas, takes: Sequence[tuple[int, Idea]], program: int, length: int) -> bytes:
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS, charset="utf-8")
    guide = [event for start, idea in takes for event in _guide(start, idea, ideas.progression)]
    hand = [event for start, idea in takes for event in _notes(start, idea, ideas)]
    file.tracks.append(_track([*_head(ideas), *guide], length))
    name = mido.MetaMessage("track_name", name="Right hand")
    change = mido.Message("program_change", channel=_CHANNEL, program=program)
    file.tracks.append(_track([_Event(0, 0, name), _Event(0, 1, change), *hand], length))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


def _head(ideas: Ideas) -> list[_Event]:
    """Title, tempo, metre and key at the start of the file."""
    progression = ideas.progression
    messages = [
        mido.MetaMessage("track_name", name=progression.title or "Right-hand ideas"),
        mido.MetaMessage("set_tempo", tempo=round(60_000_000 / ideas.tempo)),
        _time_signature(progression.metre),
        mido.MetaMessage("key_signature", key=_key_name(progression.key)),
    ]
    return [_Event(0, rank, message) for rank, message in enumerate(messages)]


def _time_signature(metre: Metre) -> mido.MetaMessage:
    return mido.MetaMessage(
        "time_signature",
        numerator=metre.count,
        denominator=metre.unit,
        clocks_per_click=metre.beat * _CLOCKS // TICKS,
        notated_32nd_notes_per_beat=8,
    )


def _key_name(key: Key) -> str:
    return f"{key.tonic}{'m' if key.mode == 'minor' else ''}"


def _guide(start: int, idea: Idea, progression: Progression) -> list[_Event]:
    """A marker where an idea begins, and its chords as text."""
    told = f"Idea {idea.rank}: {idea.shape}, {idea.score:.3f}"
    marker = _Event(start, 8, mido.MetaMessage("marker", text=told))
    chords = [
        _Event(start + span.onset, 9, mido.MetaMessage("text", text=span.chord.symbol))
        for span in progression.spans
    ]
    return [marker, *chords]


def _notes(start: int, idea: Idea, ideas: Ideas) -> list[_Event]:
    metre = ideas.progression.metre
    events = []
    for note in idea.phrase:
        loud = 70 + round(26 * metre.accent(note.onset))
        begin, end = (_played(tick, ideas.swing) for tick in (note.onset, note.end))
        events.append(_Event(start + begin, 7, _note("note_on", note.midi, loud)))
        events.append(_Event(start + end, 6, _note("note_off", note.midi, 64)))
    return events


def _played(tick: int, swing: bool) -> int:
    return swung(tick, SWING) if swing else tick


def _note(kind: str, midi: int, velocity: int) -> mido.Message:
    return mido.Message(kind, channel=_CHANNEL, note=midi, velocity=velocity)


def _track(events: Iterable[_Event], length: int) -> mido.MidiTrack:
    """Events in time order with the ticks between them, and the end of the track at the end of the music."""
    track = mido.MidiTrack()
    at = 0
    for event in sorted(events, key=lambda event: (event.tick, event.rank)):
        track.append(event.message.copy(time=event.tick - at))
        at = event.tick
    track.append(mido.MetaMessage("end_of_track", time=max(0, length - at)))
    return track
