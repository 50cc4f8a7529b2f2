"""Takes and practice sessions as Standard MIDI Files."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import mido

from fillgen.chart.progression import Progression
from fillgen.errors import OptionError
from fillgen.hands.instruments import PAN, PART_SETUPS, SUSTAIN, VOLUME, PartSetup, program
from fillgen.hands.playing import PARTS, Playing
from fillgen.hands.stroke import Stroke
from fillgen.hands.take import Ensemble, Take, apart, block_strokes, clicks, swing_of
from fillgen.phrase.idea import Idea, Ideas
from fillgen.theory.metre import TICKS, Metre
from fillgen.theory.pitch import Key

if TYPE_CHECKING:  # a file of ideas needs no sessions
    from fillgen.hands.voicing import VoicingPath
    from fillgen.teaching.practice import Round, Session

_CLOCKS = 24
"""MIDI clocks in a quarter note."""


@dataclass(frozen=True, slots=True)
class _TrackEvent:
    """A message at a tick. At one tick lower ranks come first: notes end before others begin."""

    tick: int
    rank: int
    message: mido.Message | mido.MetaMessage


@dataclass(frozen=True, slots=True)
class _MessageRun:
    """Messages with the ticks between them: the tick of the first, the messages, and the tick of the last."""

    first: int
    messages: tuple[mido.Message, ...]
    last: int


def to_midi(
    ideas: Ideas,
    playing: Playing | None = None,
    sounds: Mapping[str, str] | None = None,
    markers: Sequence[tuple[int, str]] = (),
) -> bytes:
    """All ideas in order in one file of format 1, a marker before each and a bar of rest between them.

    Without the right hand they have one backing track, which is written once and ends on its last bar line.
    `sounds` gives General MIDI names or numbers by part; OptionError for an unknown sound. `markers` are ticks and
    texts to use instead of the ideas' own markers.
    """
    ensemble = Ensemble(ideas, playing or Playing())
    bar = ideas.progression.metre.bar
    at = bar if ensemble.playing.count_in else 0
    takes = []
    for idea in ensemble.in_order():
        take = ensemble.take(idea)
        takes.append((at, idea, take))
        at += take.length + bar
    return _file(ensemble, takes, sounds or {}, max(0, at - bar), markers)


def to_midi_files(
    ideas: Ideas, playing: Playing | None = None, sounds: Mapping[str, str] | None = None
) -> dict[str, bytes]:
    """One file for each idea, by name: `idea-01.mid` and so on; `backing.mid` alone without the right hand."""
    ensemble = Ensemble(ideas, playing or Playing())
    start = ideas.progression.metre.bar if ensemble.playing.count_in else 0
    digits = max(2, len(str(len(ideas))))
    files = {}
    for idea in ensemble.in_order():
        take = ensemble.take(idea)
        name = f"idea-{idea.rank:0{digits}}.mid" if ensemble.playing.has_right else "backing.mid"
        files[name] = _file(ensemble, [(start, idea, take)], sounds or {}, start + take.length)
    return files


def to_practice(
    session: Session, playing: Playing | None = None, sounds: Mapping[str, str] | None = None
) -> bytes:
    """A practice session in one file of format 1: for each round its tempo and its label; there is no gap between rounds.

    Where a round is in another key, its key signature comes with its tempo. The marker of a round that is counted in is at
    the beginning of the clicks. Swing, feel,
    bass, left-hand span and pack of `playing` apply; the rounds decide which parts sound. A rhythm that swings by its
    tempo swings more in the slow rounds. `sounds` are as for `to_midi`. OptionError as for `to_midi`, and if `playing`
    has a close, a slowing down or a second set of voicings.

    >>> import fillgen
    >>> from fillgen.teaching.practice import loop
    >>> ideas = fillgen.ideas("| C | F | G7 | C |", count=1)
    >>> to_practice(loop(ideas, ideas[0], steps=2, times=1))[:4]
    b'MThd'
    """
    ensembles = _Ensembles(session, playing or Playing())
    metre, sounds = session.ideas.progression.metre, sounds or {}
    tracks = [_track(_session_guide(session, ensembles), session.length)]
    for part in ensembles.parts:
        turns = _session_turns(part, session, ensembles)
        tracks.append(_part_track(part, turns, metre, sounds.get(part), session.length))
    return _saved(tracks)


class _Ensembles:
    """Plays the rounds of a session, with one ensemble for all rounds over the same chords that share a swing ratio."""

    def __init__(self, session: Session, playing: Playing) -> None:
        for wanted, what in (
            (playing.close, "close"),
            (playing.slow_down, "slowing down"),
            (playing.second_set, "second set"),
        ):
            if wanted:
                raise OptionError(f"a practice session has no {what}", hint="Leave it out.")
        sounding = tuple(part for part in PARTS if any(part in each.parts for each in session.rounds))
        clicked = ("drums",) if any(each.count_in for each in session.rounds) else ()
        self.parts = tuple(part for part in PARTS if part in (*sounding, *clicked))
        self.session = session
        self._playing = replace(playing, parts=sounding, times=1, count_in=True)
        self._ensembles: dict[tuple[float, int], Ensemble] = {}
        self._takes: dict[tuple[float, int], Take] = {}

    def ensemble(self, each: Round) -> Ensemble:
        """The ensemble that plays a round."""
        chords = self.session.over(each)
        ideas = replace(self.session.ideas, tempo=each.tempo, progression=chords)
        ratio = swing_of(ideas, self._playing.swing)
        known = (ratio, id(chords))
        if known not in self._ensembles:
            self._ensembles[known] = Ensemble(ideas, replace(self._playing, swing=ratio))
        return self._ensembles[known]

    def take(self, each: Round) -> Take:
        """What a round sounds like with all parts of the session."""
        ensemble = self.ensemble(each)
        known = (ensemble.swing, id(each.idea))
        if known not in self._takes:
            self._takes[known] = ensemble.take(each.idea)
        return self._takes[known]


def to_block_chords(progression: Progression, paths: Sequence[VoicingPath], tempo: int) -> bytes:
    """The left hand's ways through a chart in one file of format 1, each chord held, a bar of rest between two ways.

    `tempo` is in quarter notes a minute. A marker names each way.

    >>> from fillgen.chart.text import parse_chart
    >>> from fillgen.hands.voicing import best_paths
    >>> chart = parse_chart("| Ab | Eb7 |")
    >>> to_block_chords(chart, best_paths(chart, count=2), 96)[:4]
    b'MThd'
    """
    rest = progression.metre.bar
    starts = [number * (progression.length + rest) for number in range(len(paths))]
    length = starts[-1] + progression.length
    guide = _opening(progression, "The left hand", tempo)
    turns = []
    for number, (start, path) in enumerate(zip(starts, paths, strict=True), 1):
        guide.append(_TrackEvent(start, 8, mido.MetaMessage("marker", text=f"Way {number}")))
        guide += _changes_of_metre(progression, start, 1)
        guide += [
            _TrackEvent(start + span.onset, 9, mido.MetaMessage("text", text=span.chord.symbol))
            for span in progression.spans
        ]
        turns.append(_Turn(start, apart(block_strokes(progression, path)), False))
    left = _part_track("left", turns, progression.metre, None, length)
    return _saved([_track(guide, length), left])


def _session_guide(session: Session, ensembles: _Ensembles) -> list[_TrackEvent]:
    """Title, metre and key, then for each round its tempo, its key where that changes, its rest and label, and its chords."""
    bar, key = session.ideas.progression.metre.bar, session.over(session.rounds[0]).key
    events = [
        e
        for e in _head(ensembles.ensemble(session.rounds[0]), session.starts[0])
        if e.message.type != "set_tempo"
    ]
    for start, each in zip(session.starts, session.rounds, strict=True):
        first, counted = start - each.before * bar, start - each.count_in * bar
        events.append(_TrackEvent(first, 7, _tempo(each.tempo)))
        if session.over(each).key != key:
            key = session.over(each).key
            events.append(_TrackEvent(first, 6, _signature(key)))
        if each.rest:
            events.append(_TrackEvent(first, 8, mido.MetaMessage("marker", text="Rest your hands")))
        events.append(_TrackEvent(counted, 8, mido.MetaMessage("marker", text=each.label)))
        events += _changes_of_metre(session.ideas.progression, start, 1)
        chords = ensembles.take(each).chords
        events += [_TrackEvent(start + tick, 9, mido.MetaMessage("text", text=text)) for tick, text in chords]
    return events


def _session_turns(part: str, session: Session, ensembles: _Ensembles) -> list[_Turn]:
    """A part in the rounds of a session, silent in those without it; the drums count in as well."""
    return [
        _Turn(
            start,
            ensembles.take(each).strokes.get(part, ()) if part in each.parts else (),
            part == "drums" and bool(each.count_in),
            ensembles.take(each).pedal if part == "left" else (),
        )
        for start, each in zip(session.starts, session.rounds, strict=True)
    ]


def _file(
    ensemble: Ensemble,
    takes: Sequence[tuple[int, Idea, Take]],
    sounds: Mapping[str, str],
    length: int,
    markers: Sequence[tuple[int, str]] = (),
) -> bytes:
    guide = []
    for start, idea, take in takes:
        name = (
            f"Idea {idea.rank}: {idea.shape}, {idea.score:.3f}"
            if ensemble.playing.has_right
            else "Backing track"
        )
        own = markers or ((0, name),)
        guide += _guide(start, own, take, ensemble)
    tracks = [_track([*_head(ensemble, takes[0][0] if takes else 0), *guide], length)]
    parts, count_in = list(ensemble.playing.parts), ensemble.playing.count_in
    if count_in and "drums" not in parts:
        parts.append("drums")
    parts += [
        part
        for part in PART_SETUPS
        if part not in parts and any(part in take.strokes for _, _, take in takes)
    ]
    for part in parts:
        counted_in = count_in and part == "drums"
        turns = [
            _Turn(start, take.strokes.get(part, ()), counted_in, take.pedal if part == "left" else ())
            for start, _, take in takes
        ]
        tracks.append(_part_track(part, turns, ensemble.progression.metre, sounds.get(part), length))
    return _saved(tracks)


def _saved(tracks: Iterable[mido.MidiTrack]) -> bytes:
    """Tracks as a file of format 1."""
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS, charset="utf-8")
    file.tracks.extend(tracks)
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


# The track that guides the others: title, tempo, metre, key, markers and chords


def _head(ensemble: Ensemble, start: int) -> list[_TrackEvent]:
    """Title, tempo, metre and key at the beginning of a file whose music starts at a tick."""
    what = "Right-hand ideas" if ensemble.playing.has_right else "Backing track"
    return _opening(ensemble.progression, what, ensemble.ideas.tempo, start)


def _opening(progression: Progression, what: str, tempo: int, start: int = 0) -> list[_TrackEvent]:
    messages = [
        mido.MetaMessage("track_name", name=progression.title or what),
        _tempo(tempo),
        _time_signature(progression.metre if start else progression.metre_of(0)),
        _signature(progression.key),
    ]
    return [_TrackEvent(0, rank, message) for rank, message in enumerate(messages)]


def _tempo(tempo: float) -> mido.MetaMessage:
    return mido.MetaMessage("set_tempo", tempo=round(60_000_000 / tempo))


def _time_signature(metre: Metre) -> mido.MetaMessage:
    return mido.MetaMessage(
        "time_signature",
        numerator=metre.count,
        denominator=metre.unit,
        clocks_per_click=metre.beat * _CLOCKS // TICKS,
        notated_32nd_notes_per_beat=8,
    )


def _changes_of_metre(progression: Progression, start: int, passes: int) -> list[_TrackEvent]:
    """The time signatures of a chart played from a tick on, where they change; its usual one is back at the end."""
    if not progression.metres:
        return []
    bars = range(len(progression.bars))
    ticks = [
        start + n * progression.length + progression.start_of(bar) for n in range(passes) for bar in bars
    ]
    metres = (progression.metre, *progression.metres * passes, progression.metre)
    return [
        _TrackEvent(tick, 2, _time_signature(own))
        for tick, (before, own) in zip(
            [*ticks, start + passes * progression.length], pairwise(metres), strict=True
        )
        if tick and own != before
    ]


def _signature(key: Key) -> mido.MetaMessage:
    name = f"{key.tonic}{'m' if key.signature_mode == 'minor' else ''}"
    return mido.MetaMessage("key_signature", key=name)


def _guide(
    start: int, markers: Sequence[tuple[int, str]], take: Take, ensemble: Ensemble
) -> list[_TrackEvent]:
    """The markers of a take, its chords as text, and its changes of tempo."""
    events = [_TrackEvent(start + tick, 8, mido.MetaMessage("marker", text=text)) for tick, text in markers]
    events += [
        _TrackEvent(start + tick, 9, mido.MetaMessage("text", text=text)) for tick, text in take.chords
    ]
    progression = ensemble.progression
    events += _changes_of_metre(progression, start, len(take.chords) // len(progression.spans))
    if take.tempi:
        events += [_TrackEvent(start + tick, 10, _tempo(tempo)) for tick, tempo in take.tempi]
        events.append(_TrackEvent(start + take.length, 5, _tempo(ensemble.ideas.tempo)))
    return events


def _track(events: Iterable[_TrackEvent], length: int) -> mido.MidiTrack:
    """Events in time order with the ticks between them, and the end of the track at the end of the music."""
    track = mido.MidiTrack()
    at = 0
    for event in sorted(events, key=lambda event: (event.tick, event.rank)):
        track.append(event.message.copy(time=event.tick - at))
        at = event.tick
    track.append(mido.MetaMessage("end_of_track", time=max(0, length - at)))
    return track


# The tracks of the parts


@dataclass(frozen=True, slots=True)
class _Turn:
    """What a part plays from a tick on, after a bar of clicks if it is `counted_in`, and where its pedal changes."""

    start: int
    strokes: Sequence[Stroke]
    counted_in: bool
    pedal: Sequence[int] = ()


def _part_track(
    part: str, turns: Iterable[_Turn], metre: Metre, sound: str | None, length: int
) -> mido.MidiTrack:
    setup = PART_SETUPS[part]
    track = mido.MidiTrack(_set_up(setup, sound))
    counted = _run(clicks(metre), setup.channel)
    known: dict[int, _MessageRun] = {}
    at = 0
    for turn in turns:
        if turn.counted_in:
            at = _append(track, counted, turn.start - metre.bar, at)
        if turn.strokes:
            run = known.get(id(turn.strokes)) or _run(turn.strokes, setup.channel, turn.pedal)
            known[id(turn.strokes)] = run
            at = _append(track, run, turn.start, at)
    track.append(mido.MetaMessage("end_of_track", time=max(0, length - at)))
    return track


def _set_up(setup: PartSetup, sound: str | None) -> list[mido.Message | mido.MetaMessage]:
    """The name of a track, and its sound, volume and pan."""
    messages: list[mido.Message | mido.MetaMessage] = [mido.MetaMessage("track_name", name=setup.name)]
    if setup.sound:
        number = program(sound or setup.sound)
        messages.append(mido.Message("program_change", channel=setup.channel, program=number))
    messages += [
        mido.Message("control_change", channel=setup.channel, control=control, value=value)
        for control, value in ((VOLUME, setup.volume), (PAN, setup.pan))
    ]
    return messages


def _run(strokes: Sequence[Stroke], channel: int, pedal: Sequence[int] = ()) -> _MessageRun:
    """Strokes and pedal as messages with the ticks between them; notes end before others begin."""
    marks = [(s.tick, 2, s.midi, s.velocity) for s in strokes]
    marks += [(s.tick + s.length, 0, s.midi, 64) for s in strokes]
    marks += [(tick, 1, SUSTAIN, 0) for tick in pedal]
    marks += [(tick + _PRESSED_AFTER, 1, SUSTAIN, 127) for tick in pedal[:-1]]
    marks.sort()
    at = marks[0][0]
    messages = []
    for tick, kind, number, value in marks:
        message = _message(kind, number, value)
        messages.append(message.copy(channel=channel, time=tick - at))
        at = tick
    return _MessageRun(marks[0][0], tuple(messages), at)


_PRESSED_AFTER = TICKS // 8
"""The ticks after a chord at which the pedal is down again: it comes up with the new chord and catches it."""


def _message(kind: int, number: int, value: int) -> mido.Message:
    """A note's end (0), the pedal (1) or a note's beginning (2)."""
    if kind == 1:
        return mido.Message("control_change", control=number, value=value)
    return mido.Message("note_on" if kind else "note_off", note=number, velocity=value)


def _append(track: mido.MidiTrack, run: _MessageRun, start: int, at: int) -> int:
    """Put a run on a track at a tick, and return the tick of its last message."""
    track.append(run.messages[0].copy(time=start + run.first - at))
    track.extend(run.messages[1:])
    return start + run.last
