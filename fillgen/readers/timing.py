"""Played timing written down: notes put on the beats of a metre, swing taken out, lengths that can be written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from fillgen.phrase.note import Note, Phrase
from fillgen.phrase.text import phrase_tokens
from fillgen.readers.melody import Sound
from fillgen.theory.metre import LENGTHS, TICKS, Metre, Timeline, timeline_of

_SIXTEENTH = TICKS // 4
_THIRD = TICKS // 3
_TURNS = (0.58 * TICKS, 0.78 * TICKS)
"""Where the second of two swung eighths may begin, in ticks of the beat."""
_HALF = (0.42 * TICKS, 0.56 * TICKS)
_AROUND_A_THIRD = (0.27 * TICKS, 0.42 * TICKS)
_DOTTED, _DOTTED_SWAY = 0.75 * TICKS, 0.02 * TICKS
"""Where the short note of a dotted figure begins, and how far off a player's may be."""
_SWAY = 0.16 * TICKS
"""Swung eighths come earlier and later by no more than this."""
_FINEST = 20
"""Every length that has a letter is a multiple of this many ticks."""
_BLURRED = 40
"""Swung sixteenths must be this many ticks nearer than the triplet that they sound like."""
_SOUNDED = 0.4
"""The share of the way to the next note that a detached note sounds at least. Common practice."""
_DETACHED = 0.8
"""Playing is detached where the notes sound, at their median, for less than this share of the way. Common practice."""
_A_REST = TICKS * 7 / 8
"""So much silence is a rest of a quarter however short the touch is."""
_LETTERS = frozenset(LENGTHS.values())


@dataclass(frozen=True)
class Timing:
    """Notes as they are written: the swing ratio that was taken out, and what was moved, in ticks, and merged."""

    notes: Phrase
    swing: float | None = None
    moved: float = 0.0
    merged: int = 0

    def remarks(self, tempo: float) -> tuple[str, ...]:
        """The remarks, at a tempo in quarter notes a minute."""
        remarks = []
        if self.swing is not None:
            remarks.append(f"The eighths swing ({self.swing:.2g} to 1); they are read as straight eighths.")
        moved = round(self.moved / TICKS * 60_000 / tempo)
        if moved:
            remarks.append(f"Notes were moved to the nearest written position, by at most {moved} ms.")
        if self.merged:
            some = "1 note was" if self.merged == 1 else f"{self.merged} notes were"
            remarks.append(f"{some} left out: too close to another note to be written.")
        return tuple(remarks)


def settled(sounds: Sequence[Sound], metre: Metre) -> Timing:
    """Notes one after another, as they were played, on the places of sixteenths and eighth-note triplets.

    Notes already on the grid stay as they are, except swung eighths, which become straight ones; dotted
    beats neither swing nor have triplets.

    >>> from fillgen.theory.metre import METRES
    >>> late = [Sound(3, 470, 60), Sound(489, 790, 62), Sound(801, 950, 64)]
    >>> settled(late, METRES["4/4"]).notes
    (Note(onset=0, length=480, midi=60), Note(onset=480, length=240, midi=62), Note(onset=720, length=240, midi=64))
    """
    turn = _turn_of(sounds, metre, exact=_as_written(sounds, metre) is not None)
    return exactly(sounds, metre) or on_places(sounds, Beats(sounds, metre, turn))


def is_on_grid(sounds: Sequence[Sound], metre: Metre) -> bool:
    """Whether notes are on the grid, or on that of swung eighths, some of them on a beat."""
    if _as_written(sounds, metre) is not None:
        return True
    near = any(abs((sound.onset + TICKS / 2) % TICKS - TICKS / 2) <= 1 for sound in sounds)
    return near and exactly(sounds, metre) is not None


def exactly(sounds: Sequence[Sound], metre: Metre) -> Timing | None:
    """The reading of notes on the grid, or on that of swung eighths; None for others.

    >>> from fillgen.theory.metre import METRES
    >>> exactly([Sound(13, 470, 60), Sound(489, 790, 62)], METRES["4/4"]) is None
    True
    """
    exact = _as_written(sounds, metre)
    simple = metre.beat % TICKS == 0
    turn = _turn_of(sounds, metre, exact=exact is not None)
    if turn is None and exact is not None:
        return (_swung_sixteenths(sounds, metre) if simple else None) or Timing(exact)
    for guess in [turn] if turn is not None or not simple else [None, *_turns_of_ends(sounds)]:
        beats = Beats(sounds, metre, guess, ends=True)
        notes = beats.exact()
        if notes is not None and is_writable(notes, metre):
            return Timing(notes, beats.ratio)
    return None


def _turn_of(sounds: Sequence[Sound], metre: Metre, *, exact: bool = False) -> float | None:
    """The place of the second eighth of a beat if eighths swing, which they do only in quarter-note beats."""
    return _turn(sounds, exact=exact) if metre.beat % TICKS == 0 else None


def _as_written(sounds: Sequence[Sound], metre: Metre) -> Phrase | None:
    """The notes as they are, where all of them can be written so; None otherwise."""
    notes = []
    for sound in sounds:
        onset, end = (round(tick / _FINEST) * _FINEST for tick in (sound.onset, sound.end))
        if max(abs(onset - sound.onset), abs(end - sound.end)) > 0.5 or end <= onset:
            return None
        notes.append(Note(onset, end - onset, sound.midi, sound.name))
    return tuple(notes) if is_writable(tuple(notes), metre) else None


def is_writable(notes: Phrase, metre: Metre | Timeline) -> bool:
    """Whether every note and rest has lengths with letters."""
    if not notes or notes[0].onset < 0:
        return False
    try:
        phrase_tokens(notes, ["C4"] * len(notes), metre, timeline_of(metre).bars_until(notes[-1].end))
    except ValueError:
        return False
    return True


# Swing


def is_dotted(notes: Sequence[Note], metre: Metre) -> bool:
    """Whether two notes or more begin off the beat, and all that do begin at three quarters of it.

    So do dotted figures, and eighths that swing 3 to 1. In dotted beats nothing swings.

    >>> from fillgen.theory.metre import METRES
    >>> is_dotted([Note(0, 360, 60), Note(360, 120, 62), Note(480, 360, 64), Note(840, 120, 65)], METRES["4/4"])
    True
    """
    off = [note.onset % TICKS for note in notes if note.onset % TICKS]
    return metre.beat % TICKS == 0 and len(off) > 1 and set(off) == {_DOTTED}


def _swung_sixteenths(sounds: Sequence[Sound], metre: Metre) -> Timing | None:
    """A reading of sixteenths that swing 2 to 1, where they would else be a sixth of a beat; None if they aren't."""
    places = {tick % TICKS for sound in sounds for tick in (sound.onset, sound.end)}
    if not places & {TICKS / 6, TICKS * 5 / 6} or TICKS / 2 in places:
        return None
    beats = Beats(sounds, metre, TICKS * 2 / 3, ends=True)
    notes = beats.exact()
    if notes is None or any(tick % _SIXTEENTH for note in notes for tick in (note.onset, note.end)):
        return None
    return Timing(notes, beats.ratio)


def _turn(sounds: Sequence[Sound], *, exact: bool) -> float | None:
    """The place of the second eighth of a beat if eighths swing, in ticks of the beat; None if they don't.

    They do if off-beat eighths are late, all by about as much, and none is at the half. Late notes beside one at a
    third of the beat are triplets; those exactly at three quarters are dotted figures.
    """
    points = sorted({s.onset for s in sounds} | ({s.end for s in sounds} if exact else set()))
    places = [point % TICKS for point in points]
    if any(_HALF[0] <= place <= _HALF[1] for place in places):
        return None
    late = [
        place
        for number, place in enumerate(places)
        if _TURNS[0] <= place <= _TURNS[1] and not _in_triplet(points, number, exact=exact)
    ]
    spread = max(late, default=0) - min(late, default=0)
    if not late or spread > (2 if exact else _SWAY):
        return None
    turn = median(late)
    is_sure = exact or (len(late) > 1 and spread <= 2)
    return None if abs(turn - _DOTTED) <= (1 if is_sure else _DOTTED_SWAY) else turn


def _in_triplet(points: Sequence[float], number: int, *, exact: bool) -> bool:
    """Whether a late point is one of a triplet, of eighths, quarters or halves: it has a third of a beat beside it.

    A third in the next beat that has its own late point begins a triplet there; it says nothing about this one, unless
    the file is exact, where it leaves both readings open.
    """
    before, after = _third_at(points, number - 1), _third_at(points, number + 1)
    if before is not None and points[number] - before < 1.5 * TICKS:
        return True
    if after is None or after - points[number] > TICKS:
        return False
    following = points[number + 2] - after if number + 2 < len(points) else TICKS
    return exact or not _TURNS[0] - TICKS / 3 <= following <= _TURNS[1] - TICKS / 3


def _third_at(points: Sequence[float], number: int) -> float | None:
    """The point of that number, if it is at a third of its beat."""
    inside = 0 <= number < len(points) and _AROUND_A_THIRD[0] <= points[number] % TICKS <= _AROUND_A_THIRD[1]
    return points[number] if inside else None


def _turns_of_ends(sounds: Sequence[Sound]) -> list[float]:
    """The turn where no note begins off the beat, but all that end there end at one late place."""
    late = {sound.end % TICKS for sound in sounds if _TURNS[0] <= sound.end % TICKS <= _TURNS[1]}
    return [median(late)] if late and max(late) - min(late) <= 1 and _DOTTED not in late else []


# Places


class Beats:
    """The places of each beat: those of sixteenths or of triplets, whichever its notes are nearer to.

    A place is a pair of ticks of the beat: where it sounds, and where it is written. `turn` is where the second
    eighth sounds if eighths swing; with `ends` the ends of notes count as much as their beginnings.
    """

    def __init__(
        self, sounds: Sequence[Sound], metre: Metre, turn: float | None, *, ends: bool = False
    ) -> None:
        self.sounds = sounds
        self.swings = turn is not None
        self.size = metre.beat if metre.beat % TICKS else TICKS
        self.triplets = self.size == TICKS
        half = turn if turn is not None else TICKS / 2
        self.half = half
        self.sixteenths: tuple[tuple[float, int], ...]
        if self.triplets:
            second = (half + TICKS) / 2
            self.sixteenths = ((0.0, 0), (half / 2, 120), (half, 240), (second, 360), (480.0, 480))
        else:
            self.sixteenths = tuple((float(tick), tick) for tick in range(0, self.size + 1, _SIXTEENTH))
        self.thirds = tuple((float(tick), tick) for tick in range(0, TICKS + 1, _THIRD))
        self.points = sorted({s.onset for s in sounds} | ({s.end for s in sounds} if ends else set()))
        self.kinds = self._kinds()

    @property
    def ratio(self) -> float | None:
        """How much longer the first of two swung eighths lasts."""
        return self.half / (TICKS - self.half) if self.swings else None

    def _kinds(self) -> dict[int, tuple[tuple[float, int], ...]]:
        """The places of every beat that has a point."""
        inside: dict[int, list[int]] = {}
        for number, point in enumerate(self.points):
            inside.setdefault(int(point // self.size), []).append(number)
        return {beat: self._kind(numbers) for beat, numbers in inside.items()}

    def _kind(self, numbers: Sequence[int]) -> tuple[tuple[float, int], ...]:
        """The places nearest to the points of a beat; sixteenths where triplets are no nearer.

        Where eighths swing, the third place of a triplet sounds like an eighth, so that only a point at the second
        place is a sign of a triplet.
        """
        inside = [self.points[number] % self.size for number in numbers]
        if not self.triplets:
            return self.sixteenths
        fine, thirds = _distance(self.sixteenths, inside), _distance(self.thirds, inside)
        if not self.swings:
            return self.thirds if thirds < fine else self.sixteenths
        if any(self._is_third(number) for number in numbers):
            is_fine = fine <= len(inside) < thirds or fine < thirds - _BLURRED
            return self.sixteenths if is_fine else self.thirds
        eighths = self.sixteenths[::2]
        far = max(_nearest_place(eighths, point)[0] for point in inside)
        return self.sixteenths if fine <= len(inside) or far > _SIXTEENTH / 2 else eighths

    def _is_third(self, number: int) -> bool:
        """Whether a point is where only a triplet has one, or next to such a point."""
        place = self.points[number] % TICKS
        if _AROUND_A_THIRD[0] <= place <= _AROUND_A_THIRD[1]:
            return True
        return _TURNS[0] <= place <= _TURNS[1] and _in_triplet(self.points, number, exact=False)

    def places(self, beat: int) -> tuple[tuple[float, int], ...]:
        return self.kinds.get(beat, self.sixteenths)

    def nearest(self, tick: float) -> tuple[float, int]:
        """How far the nearest place is from a tick, and where it is written."""
        beat = int(tick // self.size)
        far, place = _nearest_place(self.places(beat), tick % self.size)
        return far, beat * self.size + place

    def after(self, tick: int) -> int:
        """The next written place after one."""
        beat, inside = divmod(tick, self.size)
        return beat * self.size + next(place for _, place in self.places(beat) if place > inside)

    def straight(self, tick: float) -> float:
        """Where a tick is written, between the places as well as on them."""
        beat, inside = int(tick // self.size), tick % self.size
        if not self.swings or self.places(beat) is self.thirds:
            return tick
        if inside <= self.half:
            return beat * self.size + inside * TICKS / 2 / self.half
        return beat * self.size + TICKS / 2 * (1 + (inside - self.half) / (TICKS - self.half))

    def exact(self) -> Phrase | None:
        """The notes, where all of them begin and end on places; None otherwise."""
        notes = []
        for sound in self.sounds:
            (far, onset), (end_far, end) = self.nearest(sound.onset), self.nearest(sound.end)
            if max(far, end_far) > 1 or end <= onset:
                return None
            notes.append(Note(onset, end - onset, sound.midi, sound.name))
        in_order = all(a.end <= b.onset for a, b in pairwise(notes))
        return tuple(notes) if in_order else None


def _distance(places: Sequence[tuple[float, int]], inside: Sequence[float]) -> float:
    """How far all points of a beat are from their nearest places together."""
    return round(sum(_nearest_place(places, point)[0] for point in inside), 3)


def _nearest_place(places: Sequence[tuple[float, int]], tick: float) -> tuple[float, int]:
    """How far the nearest place is from a tick of the beat, and where it is written."""
    return min((round(abs(sounds - tick), 6), written) for sounds, written in places)


def on_places(sounds: Sequence[Sound], beats: Beats) -> Timing:
    """Notes moved to the nearest places; of two on one place the later moves on, or is left out where no place is free."""
    wanted = [beats.nearest(sound.onset) for sound in sounds]
    kept: list[tuple[int, Sound]] = []
    moved = 0.0
    for number, (far, place) in enumerate(wanted):
        following = wanted[number + 1][1] if number + 1 < len(wanted) else float("inf")
        taken = bool(kept) and place <= kept[-1][0]
        free = beats.after(kept[-1][0]) if taken else place
        if taken and free >= following:
            continue
        kept.append((free, sounds[number]))
        moved = max(moved, far)
    nexts: list[int | None] = [*(place for place, _ in kept[1:]), None]
    detached = _is_detached(sounds)
    notes = tuple(
        Note(
            place,
            _end(beats, place, beats.straight(sound.end), coming, detached=detached) - place,
            sound.midi,
            sound.name,
        )
        for (place, sound), coming in zip(kept, nexts, strict=True)
    )
    return Timing(notes, beats.ratio, moved, len(sounds) - len(kept))


def _is_detached(sounds: Sequence[Sound]) -> bool:
    """Whether notes are played short throughout, so that silence between them is touch rather than rests."""
    shares = [(a.end - a.onset) / (b.onset - a.onset) for a, b in pairwise(sounds) if b.onset > a.onset]
    return bool(shares) and median(shares) < _DETACHED


def _end(beats: Beats, onset: int, end: float, coming: int | None, *, detached: bool) -> int:
    """Where a note is written to end that sounds until some tick.

    One that nearly reaches the next note is extended to it, and so is one of detached playing: clearly less than a quarter
    of silence before the next, and two fifths of the way sounded, is touch and no rest there.
    """
    if coming is not None:
        silent, way = coming - end, coming - onset
        if silent <= _SIXTEENTH or (detached and silent < _A_REST and end - onset >= _SOUNDED * way):
            return coming
    limit = max(float(onset), end) + 4 * TICKS
    if coming is not None:
        limit = min(limit, coming)
    choices = []
    tick = beats.after(onset)
    while tick <= limit:
        if tick - onset in _LETTERS or tick == coming or (tick % TICKS == 0 and tick - onset >= 2 * TICKS):
            choices.append(tick)
        tick = beats.after(tick)
    return min(choices, key=lambda tick: (abs(tick - end), tick))
