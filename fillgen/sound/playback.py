"""MIDI files as performances: every message at its second, ready to be sent."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import mido

from fillgen.errors import TuneError, many
from fillgen.readers.midi import printable, usable_file
from fillgen.sound.performance import Event, Performance

_USUAL_TEMPO = 500_000
"""Microseconds a quarter note in a file without a tempo (Standard MIDI Files 1.0)."""
_FASTEST = 60_000
"""The fewest microseconds a quarter note: more than a thousand quarters a minute is damage."""
_SENT = ("note_on", "note_off", "polytouch", "control_change", "program_change", "aftertouch", "pitchwheel")
"""The messages of channels, which any instrument understands."""
_LONGEST = 6 * 3600.0
"""The longest music that can be played, in seconds."""


@dataclass(frozen=True, slots=True)
class _MessageAt:
    """A message at a tick of its file."""

    tick: int
    message: mido.Message | mido.MetaMessage


class _Tempi:
    """Converts ticks to seconds by the tempi of a file."""

    def __init__(self, signs: Iterable[tuple[int, int]], division: int) -> None:
        self._ticks, self._seconds, self._micros = [0], [0.0], [_USUAL_TEMPO]
        self._division = division
        for tick, micros in signs:
            second = self.second(tick)
            self._ticks.append(tick)
            self._seconds.append(second)
            self._micros.append(max(_FASTEST, micros))

    def _sign(self, tick: int) -> int:
        return bisect_right(self._ticks, tick) - 1

    def second(self, tick: int) -> float:
        """The second of a tick."""
        sign = self._sign(tick)
        ticks = tick - self._ticks[sign]
        return self._seconds[sign] + ticks * self._micros[sign] / 1_000_000 / self._division

    def tempo(self, tick: int) -> float:
        """Quarter notes a minute at a tick."""
        return 60_000_000 / self._micros[self._sign(tick)]


def to_performance(content: bytes, place: str = "", tempo: float | None = None) -> Performance:
    """A Standard MIDI File of format 0 or 1 as it is played, its tempo changes included.

    `tempo`, in quarter notes a minute, replaces the file's first tempo, and later ones in proportion. Messages for one
    device only (system exclusive) are not played, with a remark. A key that is struck again while it is down is let go
    first; keys still down are let go at the end. Markers become texts for the player. Raises TuneError if the file is
    damaged, has no notes, or is of a kind that can't be used.

    >>> import fillgen
    >>> from fillgen.writers.midi import to_midi
    >>> ideas = fillgen.ideas("| C | F | G7 | C |", count=1, tempo=120)
    >>> to_performance(to_midi(ideas)).length
    8.0
    """
    file = usable_file(content, place)
    placed, end = _together(file.tracks)
    tempi = _Tempi(_signs(placed), file.ticks_per_beat)
    first = next((p.tick for p in placed if _begins(p.message)), None)
    if first is None:
        raise TuneError("has no notes", place=place)
    own = tempi.tempo(first)
    factor = own / tempo if tempo is not None else 1.0
    length = tempi.second(end) * factor
    if length > _LONGEST:
        raise TuneError(f"lasts longer than {_LONGEST / 3600:.0f} hours", place=place)
    events = tuple(
        Event(tempi.second(p.tick) * factor, _data(p.message), _marker_text(p.message))
        for p in _let_go(placed, end)
    )
    return Performance(events, length, own / factor, _metre(placed, first), _remarks(file.tracks))


def _together(tracks: Sequence[mido.MidiTrack]) -> tuple[list[_MessageAt], int]:
    """The messages of all tracks in time order, and the tick at which the longest track ends."""
    placed: list[_MessageAt] = []
    end = 0
    for track in tracks:
        at = 0
        for message in track:
            at += message.time
            placed.append(_MessageAt(at, message))
        end = max(end, at)
    return sorted(placed, key=lambda each: each.tick), end


def _signs(placed: Sequence[_MessageAt]) -> list[tuple[int, int]]:
    """Ticks and microseconds of the tempo changes; a tempo of 0 is skipped."""
    return [(p.tick, p.message.tempo) for p in placed if p.message.type == "set_tempo" and p.message.tempo]


def _metre(placed: Sequence[_MessageAt], first: int) -> str:
    """The time signature at the first note, 4/4 if there is none."""
    signed = [p.message for p in placed if p.message.type == "time_signature" and p.tick <= first]
    return f"{signed[-1].numerator}/{signed[-1].denominator}" if signed else "4/4"


def _begins(message: mido.Message | mido.MetaMessage) -> bool:
    return bool(message.type == "note_on" and message.velocity > 0)


def _let_go(placed: Sequence[_MessageAt], end: int) -> Iterator[_MessageAt]:
    """The messages to play, with every key let go before it is struck again, and at the end.

    Where two parts share a channel and a pitch, the note lasts until the later of them lets it go.
    """
    down: dict[tuple[int, int], int] = {}
    for each in placed:
        message = each.message
        if message.type not in ("note_on", "note_off"):
            if message.type in (*_SENT, "marker"):
                yield each
            continue
        key = (message.channel, message.note)
        if _begins(message):
            if down.get(key):
                yield _off(each.tick, key)
            down[key] = down.get(key, 0) + 1
            yield each
        elif down.get(key):
            down[key] -= 1
            if not down[key]:
                yield each
    yield from (_off(end, key) for key, held in down.items() if held)


def _off(tick: int, key: tuple[int, int]) -> _MessageAt:
    return _MessageAt(tick, mido.Message("note_off", channel=key[0], note=key[1]))


def _data(message: mido.Message | mido.MetaMessage) -> bytes:
    return b"" if message.is_meta else bytes(message.bytes())


def _marker_text(message: mido.Message | mido.MetaMessage) -> str:
    return " ".join(printable(message.text).split())[:80] if message.type == "marker" else ""


def _remarks(tracks: Sequence[mido.MidiTrack]) -> tuple[str, ...]:
    exclusive = sum(message.type == "sysex" for track in tracks for message in track)
    if not exclusive:
        return ()
    what = many(exclusive, "system exclusive message")
    return (f"{what}, meant for one device only, {'is' if exclusive == 1 else 'are'} not sent.",)
