"""Standard MIDI Files: takes written, phrases read."""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import mido

from fillgen.arrange import PARTS, Ensemble, Playing, Stroke, Take, clicks, swing_of
from fillgen.errors import OptionError, TuneError
from fillgen.melody import FASTEST, MOST_NOTES, SLOWEST, Sheet, Sound, Voice
from fillgen.metre import TICKS, Metre
from fillgen.music import Idea, Ideas
from fillgen.pitch import Key
from fillgen.sounds import program

if TYPE_CHECKING:  # a file of ideas needs no sessions
    from fillgen.practice import Round, Session

_CLOCKS = 24
"""MIDI clocks in a quarter note."""
_VOLUME, _PAN = 7, 10
"""Controller numbers of General MIDI."""


@dataclass(frozen=True, slots=True)
class _Seat:
    """Where a part sits: its track name, channel (from 0), usual sound, volume and place from left to right."""

    name: str
    channel: int
    sound: str
    volume: int
    pan: int


SEATS = {
    "right": _Seat("Right hand", 0, "Vibraphone", 104, 74),
    "left": _Seat("Left hand", 1, "Electric Piano 1", 76, 52),
    "bass": _Seat("Bass", 2, "Acoustic Bass", 96, 64),
    "drums": _Seat("Drums", 9, "", 78, 64),
}


@dataclass(frozen=True, slots=True)
class _Event:
    """A message at a tick. At one tick lower ranks come first: notes end before others begin."""

    tick: int
    rank: int
    message: mido.Message | mido.MetaMessage


@dataclass(frozen=True, slots=True)
class _Run:
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

    `sounds` gives General MIDI names or numbers by part; OptionError where there is no such sound. `markers` are
    ticks and texts to stand in the place of an idea's own marker.
    """
    ensemble = Ensemble(ideas, playing or Playing())
    bar = ideas.progression.metre.bar
    at = bar if ensemble.playing.count_in else 0
    takes = []
    for idea in ideas:
        take = ensemble.take(idea)
        takes.append((at, idea, take))
        at += take.length + bar
    return _file(ensemble, takes, sounds or {}, max(0, at - bar), markers)


def to_midi_files(
    ideas: Ideas, playing: Playing | None = None, sounds: Mapping[str, str] | None = None
) -> dict[str, bytes]:
    """One file for each idea, by name: `idea-01.mid` and so on."""
    ensemble = Ensemble(ideas, playing or Playing())
    start = ideas.progression.metre.bar if ensemble.playing.count_in else 0
    digits = max(2, len(str(len(ideas))))
    files = {}
    for idea in ideas:
        take = ensemble.take(idea)
        name = f"idea-{idea.rank:0{digits}}.mid"
        files[name] = _file(ensemble, [(start, idea, take)], sounds or {}, start + take.length)
    return files


def to_practice(
    session: Session, playing: Playing | None = None, sounds: Mapping[str, str] | None = None
) -> bytes:
    """A session to practise with in one file of format 1: before each round its tempo, its label, and its count-in.

    A marker stands where a round's count-in begins, so that a player who goes there is counted in. Of `playing` the
    swing, the feel, the bass, the span of the left hand and the pack count; the rounds say which parts sound. A rhythm
    that swings by its tempo swings more in the slow rounds. `sounds` are as of `to_midi`. OptionError for a close, a
    slowing down or a second set of voicings, which a session has not, and as of `to_midi`.

    >>> import fillgen
    >>> from fillgen.practice import loop
    >>> ideas = fillgen.ideas("| C | F | G7 | C |", count=1)
    >>> to_practice(loop(ideas, ideas[0], steps=2, times=1))[:4]
    b'MThd'
    """
    ensembles = _Ensembles(session, playing or Playing())
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS, charset="utf-8")
    file.tracks.append(_track(_session_guide(session, ensembles), session.length))
    for part in ensembles.parts:
        file.tracks.append(_session_track(part, session, ensembles, (sounds or {}).get(part)))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


class _Ensembles:
    """Plays the rounds of a session: one ensemble for all tempi at which the eighths swing alike."""

    def __init__(self, session: Session, playing: Playing) -> None:
        for asked, what in (
            (playing.close, "close"),
            (playing.slow_down, "slowing down"),
            (playing.second_set, "second set"),
        ):
            if asked:
                raise OptionError(f"a session to practise with has no {what}", hint="Leave it out.")
        sounding = tuple(part for part in PARTS if any(part in each.parts for each in session.rounds))
        self.parts = tuple(part for part in PARTS if part in sounding or part == "drums")
        self.session = session
        self._playing = replace(playing, parts=sounding, times=1, count_in=True)
        self._ensembles: dict[float, Ensemble] = {}
        self._takes: dict[tuple[float, int], Take] = {}

    def ensemble(self, tempo: int) -> Ensemble:
        """The ensemble that plays at a tempo."""
        ideas = replace(self.session.ideas, tempo=tempo)
        ratio = swing_of(ideas, self._playing.swing)
        if ratio not in self._ensembles:
            self._ensembles[ratio] = Ensemble(ideas, replace(self._playing, swing=ratio))
        return self._ensembles[ratio]

    def take(self, each: Round) -> Take:
        """What sounds in a round, had all parts of the session their turn."""
        ensemble = self.ensemble(each.tempo)
        known = (ensemble.swing, id(each.idea))
        if known not in self._takes:
            self._takes[known] = ensemble.take(each.idea)
        return self._takes[known]


def _session_guide(session: Session, ensembles: _Ensembles) -> list[_Event]:
    """Title, metre and key, then for each round its tempo, its rest and label as markers, and its chords."""
    bar = session.ideas.progression.metre.bar
    events = [e for e in _head(ensembles.ensemble(session.ideas.tempo)) if e.message.type != "set_tempo"]
    for start, each in zip(session.starts, session.rounds, strict=True):
        first, counted = start - each.before * bar, start - each.count_in * bar
        events.append(_Event(first, 7, _tempo(each.tempo)))
        if each.rest:
            events.append(_Event(first, 8, mido.MetaMessage("marker", text="Rest your hands")))
        events.append(_Event(counted, 8, mido.MetaMessage("marker", text=each.label)))
        chords = ensembles.take(each).chords
        events += [_Event(start + tick, 9, mido.MetaMessage("text", text=text)) for tick, text in chords]
    return events


def _session_track(part: str, session: Session, ensembles: _Ensembles, sound: str | None) -> mido.MidiTrack:
    """A part in all rounds in which it has its turn; the drums count in as well."""
    seat, metre = SEATS[part], session.ideas.progression.metre
    track = mido.MidiTrack(_seating(seat, sound))
    counted = _run(clicks(metre), seat.channel)
    known: dict[int, _Run] = {}
    at = 0
    for start, each in zip(session.starts, session.rounds, strict=True):
        if part == "drums" and each.count_in:
            at = _append(track, counted, start - metre.bar, at)
        strokes = ensembles.take(each).strokes.get(part, ()) if part in each.parts else ()
        if strokes:
            run = known.get(id(strokes)) or _run(strokes, seat.channel)
            known[id(strokes)] = run
            at = _append(track, run, start, at)
    track.append(mido.MetaMessage("end_of_track", time=max(0, session.length - at)))
    return track


def _file(
    ensemble: Ensemble,
    takes: Sequence[tuple[int, Idea, Take]],
    sounds: Mapping[str, str],
    length: int,
    markers: Sequence[tuple[int, str]] = (),
) -> bytes:
    file = mido.MidiFile(type=1, ticks_per_beat=TICKS, charset="utf-8")
    guide = []
    for start, idea, take in takes:
        own = markers or ((0, f"Idea {idea.rank}: {idea.shape}, {idea.score:.3f}"),)
        guide += _guide(start, own, take, ensemble)
    file.tracks.append(_track([*_head(ensemble), *guide], length))
    parts = list(ensemble.playing.parts)
    if ensemble.playing.count_in and "drums" not in parts:
        parts.append("drums")
    for part in parts:
        file.tracks.append(_part_track(part, ensemble, takes, sounds.get(part), length))
    buffer = io.BytesIO()
    file.save(file=buffer)
    return buffer.getvalue()


# The track that guides the others: title, tempo, metre, key, markers and chords


def _head(ensemble: Ensemble) -> list[_Event]:
    progression = ensemble.progression
    messages = [
        mido.MetaMessage("track_name", name=progression.title or "Right-hand ideas"),
        _tempo(ensemble.ideas.tempo),
        _time_signature(progression.metre),
        mido.MetaMessage("key_signature", key=_key_name(progression.key)),
    ]
    return [_Event(0, rank, message) for rank, message in enumerate(messages)]


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


def _key_name(key: Key) -> str:
    return f"{key.tonic}{'m' if key.mode == 'minor' else ''}"


def _guide(start: int, markers: Sequence[tuple[int, str]], take: Take, ensemble: Ensemble) -> list[_Event]:
    """The markers of a take, its chords as text, and its changes of tempo."""
    events = [_Event(start + tick, 8, mido.MetaMessage("marker", text=text)) for tick, text in markers]
    events += [_Event(start + tick, 9, mido.MetaMessage("text", text=text)) for tick, text in take.chords]
    if take.tempi:
        events += [_Event(start + tick, 10, _tempo(tempo)) for tick, tempo in take.tempi]
        events.append(_Event(start + take.length, 5, _tempo(ensemble.ideas.tempo)))
    return events


def _track(events: Iterable[_Event], length: int) -> mido.MidiTrack:
    """Events in time order with the ticks between them, and the end of the track at the end of the music."""
    track = mido.MidiTrack()
    at = 0
    for event in sorted(events, key=lambda event: (event.tick, event.rank)):
        track.append(event.message.copy(time=event.tick - at))
        at = event.tick
    track.append(mido.MetaMessage("end_of_track", time=max(0, length - at)))
    return track


# The tracks of the parts


def _part_track(
    part: str, ensemble: Ensemble, takes: Sequence[tuple[int, Idea, Take]], sound: str | None, length: int
) -> mido.MidiTrack:
    seat = SEATS[part]
    track = mido.MidiTrack(_seating(seat, sound))
    known: dict[int, _Run] = {}
    at = 0
    for start, _, take in takes:
        if part == "drums" and ensemble.playing.count_in:
            bar = ensemble.progression.metre.bar
            at = _append(track, _run(clicks(ensemble.progression.metre), seat.channel), start - bar, at)
        strokes = take.strokes.get(part, ())
        if strokes:
            run = known.get(id(strokes)) or _run(strokes, seat.channel)
            known[id(strokes)] = run
            at = _append(track, run, start, at)
    track.append(mido.MetaMessage("end_of_track", time=max(0, length - at)))
    return track


def _seating(seat: _Seat, sound: str | None) -> list[mido.Message | mido.MetaMessage]:
    """The name of a track, and its sound, volume and place."""
    messages: list[mido.Message | mido.MetaMessage] = [mido.MetaMessage("track_name", name=seat.name)]
    if seat.sound:
        number = program(sound or seat.sound)
        messages.append(mido.Message("program_change", channel=seat.channel, program=number))
    messages += [
        mido.Message("control_change", channel=seat.channel, control=control, value=value)
        for control, value in ((_VOLUME, seat.volume), (_PAN, seat.pan))
    ]
    return messages


def _run(strokes: Sequence[Stroke], channel: int) -> _Run:
    """Strokes as messages with the ticks between them; notes end before others begin."""
    marks = [(s.tick, 1, s.midi, s.velocity) for s in strokes]
    marks += [(s.tick + s.length, 0, s.midi, 64) for s in strokes]
    marks.sort()
    at = marks[0][0]
    messages = []
    for tick, begins, midi, velocity in marks:
        kind = "note_on" if begins else "note_off"
        messages.append(mido.Message(kind, channel=channel, note=midi, velocity=velocity, time=tick - at))
        at = tick
    return _Run(marks[0][0], tuple(messages), at)


def _append(track: mido.MidiTrack, run: _Run, start: int, at: int) -> int:
    """Put a run on a track at a tick; the answer is the tick of its last message."""
    track.append(run.messages[0].copy(time=start + run.first - at))
    track.extend(run.messages[1:])
    return start + run.last


# Files read

_MOST_MIDI = 1_000_000
"""The largest file that is read, in bytes."""
_MOST_QUARTERS = 4096
"""The longest music that is read, in quarter notes."""
_DRUMS = 9
"""The channel of the drums, counted from 0."""
_DAMAGED_NUMBER = re.compile(rb"[\x80-\xff]{1000}")
"""No file has a number of so many bytes; reading one would take for ever."""
_KEY_SIGNATURE = re.compile(rb"\xff\x59\x02..", re.DOTALL)
_NO_KEY_SIGNATURE = b"\xff\x59\x02\x00\x00"


_EARLY = 30
"""A first note that comes so many ticks before a change of tempo is played early and belongs to the new one."""


@dataclass(frozen=True)
class Recording(Sheet):
    """What a MIDI file holds: its tempi as well, each with its tick, in quarter notes a minute.

    A tempo at which nobody plays is None. Of two at one tick the later in the file comes last, and counts.
    """

    tempi: tuple[tuple[int, int | None], ...] = ()

    def tempo_from(self, first: float, end: float) -> tuple[int | None, tuple[str, ...]]:
        """The tempo at which a melody between two ticks begins, and a remark where it changes later.

        >>> Recording((), tempi=((0, 60), (0, 90), (1920, 120))).tempo_from(0, 1920)
        (90, ())
        """
        before = [tempo for tick, tempo in self.tempi if tick <= first + _EARLY]
        tempo = before[-1] if before else next((tempo for _, tempo in self.tempi), None)
        inside = dict(sign for sign in self.tempi if first + _EARLY < sign[0] < end)
        others = sorted({other for other in inside.values() if other is not None and other != tempo})
        if not before or tempo is None or not others:
            return tempo, ()
        told = f"to {others[0]}" if len(others) == 1 else f"between {others[0]} and {others[-1]}"
        return tempo, (f"The tempo changes while the phrase plays, {told}; {tempo}, at its start, counts.",)


def read_midi(content: bytes, place: str) -> Recording:
    """The melodies of a Standard MIDI File of format 0 or 1: the tracks that have notes, or the channels of one track.

    Times are ticks of 480 a quarter note, not always whole, since files count in ticks of their own; drums are left
    out. Raises TuneError where the file is damaged or is of a kind that cannot be used.
    """
    file = usable_file(content, place)
    _check_one_idea(file, place)
    tracks = [_heard(track, file.ticks_per_beat, place) for track in file.tracks]
    if sum(len(sounds) for track in tracks for sounds in track.sounds.values()) > MOST_NOTES:
        raise TuneError(f"has more than {MOST_NOTES} notes", place=place)
    metres = tuple(sorted((sign for track in tracks for sign in track.metres), key=lambda sign: sign[0]))
    voices = tuple(replace(voice, metres=metres) for voice in _voices(tracks))
    if not voices:
        drums = any(track.sounds for track in tracks)
        raise TuneError("has no notes but those of drums" if drums else "has no notes", place=place)
    tempi = sorted((tempo for track in tracks for tempo in track.tempi), key=lambda tempo: tempo[0])
    title = tracks[0].name if not tracks[0].sounds else ""
    return Recording(voices, title, tempi=tuple((tick, _believed(tempo)) for tick, tempo in tempi))


def usable_file(content: bytes, place: str) -> mido.MidiFile:
    """A Standard MIDI File of format 0 or 1 that counts in quarter notes; TuneError for any other."""
    if len(content) > _MOST_MIDI:
        raise TuneError(f"larger than {_MOST_MIDI // 1_000_000} MB", place=place)
    file = _opened(content, place)
    if file.type == 2:
        hint = "Save it as format 0 or 1."
        raise TuneError("a MIDI file of format 2, whose tracks do not play together", place=place, hint=hint)
    if file.ticks_per_beat <= 0:
        hint = "Save it with ticks per quarter note."
        raise TuneError("a MIDI file timed in film frames, without beats", place=place, hint=hint)
    return file


def _check_one_idea(file: mido.MidiFile, place: str) -> None:
    """TuneError where a file holds several ideas, one after another, as its markers say."""
    markers = [message.text for track in file.tracks for message in track if message.type == "marker"]
    ideas = sum(re.match(r"Idea \d+:", text) is not None for text in markers)
    if ideas > 1:
        hint = "Write them to a folder, -o NAME/, and give the file of one of them."
        raise TuneError(f"holds {ideas} ideas one after another", place=place, hint=hint)


def _opened(content: bytes, place: str) -> mido.MidiFile:
    """The file as mido reads it. Key signatures are blanked out: some files have one that no key has."""
    try:
        if _DAMAGED_NUMBER.search(content):
            raise ValueError("a number without an end")
        content = _KEY_SIGNATURE.sub(_NO_KEY_SIGNATURE, b"".join(_known_chunks(content)))
        return mido.MidiFile(file=io.BytesIO(content))
    except Exception as error:  # mido lets many kinds of errors out, whatever the damage brings about
        hint = "Save it as a Standard MIDI File again."
        raise TuneError("a damaged MIDI file, or none", place=place, hint=hint) from error


def _known_chunks(content: bytes) -> Iterator[bytes]:
    """The chunks of a file but those of kinds that the standard does not have, which a reader shall skip."""
    at = 0
    while at < len(content):
        end = at + 8 + int.from_bytes(content[at + 4 : at + 8], "big")
        if content[at : at + 4] in (b"MThd", b"MTrk") or not at:
            yield content[at:end]
        at = end


def _believed(tempo: int) -> int | None:
    """Microseconds a quarter note as quarter notes a minute; None where nobody plays so."""
    told = round(60_000_000 / tempo) if tempo else 0
    return told if SLOWEST <= told <= FASTEST else None


@dataclass(slots=True)
class _Heard:
    """What a track holds: its name, its notes by channel, and its tempi and metres with their ticks."""

    name: str
    sounds: dict[int, list[Sound]]
    tempi: list[tuple[int, int]]
    metres: list[tuple[int, str]]


def _heard(track: mido.MidiTrack, division: int, place: str) -> _Heard:
    """What a track holds; `division` are its ticks in a quarter note."""
    heard = _Heard(" ".join(printable(track.name).split())[:80], {}, [], [])
    begun: dict[tuple[int, int], float] = {}
    at = 0
    for message in track:
        at += message.time
        if at > _MOST_QUARTERS * division:
            raise TuneError(f"is longer than {_MOST_QUARTERS} quarter notes", place=place)
        tick = at * TICKS / division
        if message.type in ("note_on", "note_off"):
            _strike(heard, begun, message, tick)
        elif message.type == "set_tempo":
            heard.tempi.append((round(tick), message.tempo))
        elif message.type == "time_signature":
            heard.metres.append((round(tick), f"{message.numerator}/{message.denominator}"))
    for (channel, midi), start in sorted(begun.items()):
        heard.sounds.setdefault(channel, []).append(Sound(start, at * TICKS / division, midi))
    return heard


def _strike(heard: _Heard, begun: dict[tuple[int, int], float], message: mido.Message, tick: float) -> None:
    """A key that goes down or up; one that goes down again ends its note before."""
    key = (message.channel, message.note)
    start = begun.pop(key, None)
    if start is not None and tick > start:
        heard.sounds.setdefault(message.channel, []).append(Sound(start, tick, message.note))
    if message.type == "note_on" and message.velocity:
        begun[key] = tick


def printable(name: str) -> str:
    """A text of a file, which is UTF-8 more often than the Latin-1 it was read as; only what can be printed."""
    told = name.encode("latin-1", "replace").decode("utf-8", "replace")
    return "".join(letter if letter.isprintable() else " " for letter in told)


def _voices(tracks: Sequence[_Heard]) -> list[Voice]:
    """The parts of a file: its tracks that have notes, or the channels where only one track has any."""
    pitched = [
        (number, track, {channel: sounds for channel, sounds in track.sounds.items() if channel != _DRUMS})
        for number, track in enumerate(tracks, 1)
    ]
    pitched = [(number, track, sounds) for number, track, sounds in pitched if sounds]
    if len(pitched) == 1 and len(pitched[0][2]) > 1:
        channels = sorted(pitched[0][2].items())
        return [Voice(f"channel {channel + 1}", tuple(sounds)) for channel, sounds in channels]
    names = [track.name.casefold() for _, track, _ in pitched]
    return [
        Voice(
            track.name if track.name and names.count(track.name.casefold()) == 1 else f"track {number}",
            tuple(sound for channel in sorted(sounds) for sound in sounds[channel]),
        )
        for number, track, sounds in pitched
    ]
