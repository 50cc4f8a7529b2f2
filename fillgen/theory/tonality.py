"""The key at every chord: an exact search over major, minor and blues keys.

A reading gives each chord a key. Its cost is the sum of what each chord costs in its key, of `CHANGE` for each change of key
and of a little for how it begins and ends; cadences give something back. The search finds the cheapest reading by dynamic
programming. All costs are multiples of a quarter, so that sums are exact and every machine finds the same reading.

A dominant that goes to a chord of the key passes within it (a tonicization, no modulation: Nápoles López and others 2020,
'On Local Keys, Modulations, and Tonicizations'), and so does a chord borrowed from the parallel key. Keys from pairs of
chords by such a search: Noland and Sandler (2006), 'Key Estimation Using a Hidden Markov Model'; costs from music theory
rather than from listening tests: Mearns, Benetos and Dixon (2011). The values are choices of this project.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import groupby

from fillgen.errors import ChartError
from fillgen.theory.chords import Chord, mask_of
from fillgen.theory.pitch import MODES, Key, all_keys, blues_keys, keys_in

CHANGE = 1.5
"""A change to a near key: one whose signature has at most one sign more or less."""
FAR = 1.5
"""The extra cost of a change to any other key."""
BLUES = 2.5
"""The extra cost of going into a blues: its seventh chords on I and IV have to return to earn it."""
TONIC = 0.5
"""Given back for the tonic chord of a key."""
CADENCE = 1.0
"""Given back where the dominant goes to the tonic."""
PREPARED = 0.25
"""Given back where ii or IV goes to the dominant."""
MAYBE = 0.25
"""The share of this that a minor seventh gets as a tonic: it may just as well be another degree."""
BEGINS = 1.0
"""Given back where a chart begins on the tonic."""
ENDS = 0.5
"""Given back where a chart ends on the tonic, its dominant, or the tritone substitute of that."""
RETURN = 2.0
"""What a chart costs that does not end in the key in which it begins: most go round, or lead into a tune in that key."""
WEAK = 0.5
"""A chord of a minor key that speaks for the relative major: a minor dominant, or a seventh chord on VII."""
RAISED = 0.75
"""A chord of a minor key with the raised sixth, such as IV7, that is not the tonic."""
APPLIED = 1.0
"""A dominant of a chord of the key that goes there, or the ii before such a dominant."""
BORROWED = 1.0
"""A chord of the parallel key, the major chord on the lowered second degree, or a diminished chord that slides on."""
FOREIGN = 2.0
"""Any other chord outside the key."""
AWAY = 3.0
"""A dominant that goes home to a chord outside the key."""
PLAIN = 0.5
"""A plain triad on I or IV of a blues, or a seventh chord on IV that ends a chart."""
LASTS = 3
"""How many chords a key lasts at least that the search changes to: fewer are on their way through."""
_NEVER, _ENDLESS = 1e6, 1e9


@dataclass(frozen=True, slots=True)
class _Heard:
    """A chord as the search sees it: its root, the bits of its tones above it, and what drives it on."""

    root: int
    tones: int
    kind: str


@lru_cache(maxsize=4096)
def _heard(chord: Chord) -> _Heard:
    assert chord.root is not None
    core = [tone.degree for tone in chord.tones if tone.degree.family in ("1", "3", "5", "7", "6", "4", "2")]
    tones = mask_of(degree.semitones for degree in core)
    return _Heard(chord.root.pitch_class, tones, _kind(tones))


def _kind(tones: int) -> str:
    """What a chord is to a key, from the bits of its tones above the root."""
    third = "minor" if tones >> 3 & 1 else "major" if tones >> 4 & 1 else "open"
    if third == "minor" and tones >> 6 & 1 and not tones >> 7 & 1:
        return "half-diminished" if tones >> 10 & 1 else "diminished"
    if third != "minor" and tones >> 10 & 1:
        return "dominant"
    if third == "major" and tones >> 11 & 1:
        return "major seventh"
    if third == "minor" and tones >> 10 & 1:
        return "minor seventh"
    return third


# What a chord is in a key, by pitch classes above the tonic

_PARALLEL = {"major": "minor", "minor": "major", "blues": "minor"}
_SUBDOMINANTS = (
    (2, "minor"),
    (2, "minor seventh"),
    (2, "half-diminished"),
    (2, "diminished"),
    (5, "major"),
    (5, "major seventh"),
    (5, "minor"),
)
_DRIVING = ("major", "dominant", "open")


@lru_cache(maxsize=8)
def _scales(mode: str) -> tuple[int, ...]:
    """The scales in which the chords of a mode are at home, as bits: a minor key has its harmonic scale as well."""
    own = mask_of(MODES[mode])
    return (own, own & ~(1 << 10) | 1 << 11) if mode == "minor" else (own,)


_WEAK = ((7, "minor"), (7, "minor seventh"), (10, "dominant"))
"""Chords of a natural minor scale that speak for the relative major key: the dominant without its leading note."""
_RAISED = mask_of((0, 2, 3, 5, 7, 9, 11))
"""The rising scale of a minor key."""


def _turned(tones: int, by: int) -> int:
    """Bits of pitch classes moved up by some semitones."""
    return (tones << by | tones >> (12 - by)) & 0xFFF


def _inside(tones: int, mode: str) -> bool:
    return any(tones & ~scale == 0 for scale in _scales(mode))


def _cost(chord: _Heard, after: _Heard | None, mode: str) -> float:
    """What a chord costs in a key of a mode, its root and that of the chord after counted from the tonic."""
    own = _own_place(chord, after, mode)
    if own is not None:
        return own
    if _is_applied(chord, after, mode) or _is_ii_of_applied(chord, after, mode):
        return APPLIED
    if chord.kind == "dominant" and after is not None and (after.root - chord.root) % 12 == 5:
        return AWAY
    return BORROWED if _is_borrowed(chord, mode) or _slides(chord, after) else FOREIGN


def _is_borrowed(chord: _Heard, mode: str) -> bool:
    """Whether a chord belongs to the parallel key, or is the major chord on the lowered second degree."""
    lowered_second = chord.root == 1 and chord.kind.startswith("major")
    return lowered_second or _inside(_turned(chord.tones, chord.root), _PARALLEL[mode])


def _own_place(chord: _Heard, after: _Heard | None, mode: str) -> float | None:
    """The cost of a chord that belongs to a key; None for one that doesn't."""
    if mode == "blues" and (chord.root in (0, 5) or (chord.root, chord.kind) == (6, "diminished")):
        return _blues_place(chord, after)
    if _is_tonic(chord, mode):
        return -TONIC * _rest(chord)
    tones = _turned(chord.tones, chord.root)
    if _inside(tones, mode):
        return WEAK if mode == "minor" and (chord.root, chord.kind) in _WEAK else 0.0
    return RAISED if mode == "minor" and tones & ~_RAISED == 0 else None


def _blues_place(chord: _Heard, after: _Heard | None) -> float:
    """What a chord on I, IV or the raised IV of a blues costs: seventh chords are at home on the first two."""
    if chord.root == 6:
        return 0.0
    if chord.kind != "dominant":
        return PLAIN if chord.kind == "major" else BORROWED
    if chord.root == 0:
        return -TONIC
    if after is None:
        return PLAIN
    return BORROWED if after.root == 10 else 0.0


def _is_tonic(chord: _Heard, mode: str) -> bool:
    """Whether a chord is the tonic at rest; in a blues it may have a minor seventh."""
    kinds = {
        "major": ("major", "major seventh"),
        "minor": ("minor", "minor seventh"),
        "blues": ("major", "dominant"),
    }
    return chord.root == 0 and chord.kind in kinds[mode]


def _rest(chord: _Heard) -> float:
    """How much a tonic is at rest: a minor seventh may just as well be another degree that moves on."""
    return MAYBE if chord.kind == "minor seventh" else 1.0


def _is_applied(chord: _Heard, after: _Heard | None, mode: str) -> bool:
    """Whether a chord leads to a chord of the key as its dominant, leading-note chord or tritone substitute."""
    if chord.kind in ("diminished", "half-diminished"):
        ways: tuple[int, ...] = (1,)
    elif chord.kind in _DRIVING:
        ways = (5, 11) if chord.kind == "dominant" else (5,)
    else:
        return False
    if after is None:
        return (chord.root + ways[0]) % 12 in MODES[mode] or (chord.root + ways[-1]) % 12 == 0
    again = after.root == chord.root and after.kind == "dominant"
    return again or ((after.root - chord.root) % 12 in ways and _belongs(after, mode))


def _belongs(chord: _Heard, mode: str) -> bool:
    """Whether a chord is on a degree of the key: one of its own chords, or a dominant that goes on."""
    return chord.root in MODES[mode] and (
        chord.kind in ("major", "dominant") or _inside(_turned(chord.tones, chord.root), mode)
    )


def _is_ii_of_applied(chord: _Heard, after: _Heard | None, mode: str) -> bool:
    """Whether a chord is the ii before the dominant, or before the tritone substitute, of a degree of the key."""
    if after is None or chord.kind not in ("minor", "minor seventh", "half-diminished"):
        return False
    goals = ((chord.root + 10) % 12, (chord.root + 4) % 12)
    falls = after.kind == "dominant" and (after.root - chord.root) % 12 == 5
    return falls and any(goal in MODES[mode] for goal in goals)


def _slides(chord: _Heard, after: _Heard | None) -> bool:
    """Whether a diminished chord passes on by a half step, or turns on its root."""
    return chord.kind == "diminished" and after is not None and (after.root - chord.root) % 12 in (0, 1, 11)


def _gain(chord: _Heard, after: _Heard, mode: str) -> float:
    """What two chords in one key give back: a cadence, or the way to its dominant."""
    drives = (chord.root == 7 and chord.kind in _DRIVING) or (
        chord.root == 11 and chord.kind.endswith("diminished")
    )
    if drives and _is_tonic(after, mode):
        return CADENCE * _rest(after)
    dominant = after.root == 7 and after.kind in _DRIVING
    return PREPARED if dominant and (chord.root, chord.kind) in _SUBDOMINANTS else 0.0


# The search

State = tuple[int, str]
"""A tonic as a pitch class, and a mode: a key without its spelling."""
_Place = tuple[int, int]
"""Where a way through the search is: how long its key has lasted, and the number of its state."""
_MODES = tuple(MODES)


def state_of(key: Key) -> State:
    """A key without its spelling."""
    return key.tonic.pitch_class, key.mode


def key_of(state: State) -> Key:
    """A state in its usual spelling, with few signs."""
    alike = [key for key in keys_in(state[1]) if key.tonic.pitch_class == state[0]]
    return min(alike, key=lambda key: abs(key.fifths))


@lru_cache(maxsize=1)
def _states() -> tuple[State, ...]:
    """Every tonic, as a pitch class, and mode; of equally good ones the first wins: few signs, major before minor."""
    tonics: dict[State, int] = {}
    for key in (*all_keys(), *blues_keys()):
        state = state_of(key)
        tonics[state] = min(tonics.get(state, 9), abs(key.fifths))
    return tuple(sorted(tonics, key=lambda state: (_MODES.index(state[1]), tonics[state], state[0])))


@lru_cache(maxsize=1)
def _near() -> tuple[tuple[int, ...], ...]:
    """For each state those of the keys whose signatures have at most one sign more or less."""
    fifths = [7 * (tonic + (3 if mode == "minor" else 0)) for tonic, mode in _states()]
    gaps = [[(one - other) % 12 for other in fifths] for one in fifths]
    return tuple(tuple(index for index, gap in enumerate(row) if gap in (0, 1, 11)) for row in gaps)


@lru_cache(maxsize=12)
def _above(root: int) -> tuple[int, ...]:
    """For each state where a table by mode and place above the tonic has what holds for a root."""
    return tuple(12 * _MODES.index(mode) + (root - tonic) % 12 for tonic, mode in _states())


@lru_cache(maxsize=65536)
def _table(chord: _Heard, after: _Heard | None) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """What a chord on C costs, and what it gives back with the one after it, by mode and place above the tonic."""
    costs, gains = [], []
    for mode in _MODES:
        for place in range(12):
            here = replace(chord, root=place)
            there = replace(after, root=(after.root + place) % 12) if after else None
            costs.append(_cost(here, there, mode))
            gains.append(_gain(here, there, mode) if there else 0.0)
    return tuple(costs), tuple(gains)


def _costs(chord: _Heard, after: _Heard | None) -> tuple[list[float], list[float]]:
    """What a chord costs in each state, and what it gives back with the one after it."""
    there = replace(after, root=(after.root - chord.root) % 12) if after else None
    costs, gains = _table(replace(chord, root=0), there)
    places = _above(chord.root)
    return [costs[place] for place in places], [gains[place] for place in places]


@lru_cache(maxsize=16384)
def cost_in(chord: Chord, after: Chord | None, key: Key) -> float:
    """What a chord that sounds costs in a key before another: below zero if it is the tonic or a cadence closes.

    >>> from fillgen.theory.chords import read_chord
    >>> from fillgen.theory.pitch import Name
    >>> home = Key(Name.read("Eb"), "major")
    >>> [cost_in(read_chord(one), read_chord("Eb"), home) for one in ("Bb7", "Cm", "Gb")]
    [-1.0, 0.0, 1.0]
    """
    costs, gains = _costs(_heard(chord), _heard(after) if after is not None else None)
    state = _states().index(state_of(key))
    return costs[state] - gains[state]


def keys_of(
    chords: Sequence[Chord], given: Sequence[Key | None] = (), home: Key | None = None
) -> tuple[Key, ...]:
    """The key in which each chord is heard: the cheapest reading.

    `given` are keys that are already known, None before the first of them; each holds to the next. `home` is that in which
    the first chord is heard unless another is given for it; a major key may turn out to be a blues. Over N.C. the key goes
    on. Raises ChartError if no chord sounds.

    >>> from fillgen.theory.chords import read_chord
    >>> chords = [read_chord(symbol) for symbol in "Dm7 G7 Cmaj7 Ebm7 Ab7 Dbmaj7".split()]
    >>> [str(key) for key in keys_of(chords)]
    ['C major', 'C major', 'C major', 'Db major', 'Db major', 'Db major']
    """
    if all(chord.root is None for chord in chords):
        raise ChartError("the chart has no chords, only N.C.", hint="Write at least one chord.")
    known: list[Key] = []
    for key in given:
        known += [key or known[-1]] if key or known else []
    known += known[-1:] * (len(chords) - len(given))
    free = len(chords) - len(known)
    return (*_found(chords[:free], chords[free:], home, known[0] if known else None), *known)


def _found(
    chords: Sequence[Chord], then: Sequence[Chord], home: Key | None, goal: Key | None
) -> tuple[Key, ...]:
    """The keys of chords before those of a given key, if any."""
    if not chords:
        return ()
    every = [chord for chord in (*chords, *then) if chord.root is not None]
    sounding = every[0]
    events: list[Chord] = []
    places: list[int] = []
    for chord in chords:
        sounding = chord if chord.root is not None else sounding
        if not events or _heard(sounding) != _heard(events[-1]):
            events.append(sounding)
        places.append(len(events) - 1)
    after = next((chord for chord in then if chord.root is not None), None)
    heard = [*map(_heard, events)], _heard(after) if after else None
    found = _cheapest(*heard, home, goal)
    if home is None:
        begins = key_of(found[0])
        found = _cheapest(*heard, begins, goal)
    names = _named(events, found, home)
    return tuple(names[place] for place in places)


def _cheapest(
    chords: Sequence[_Heard], after: _Heard | None, home: Key | None, goal: Key | None
) -> list[State]:
    """The state of each chord in the cheapest reading; of equal ones, the one with few and early changes.

    The tables hold the cheapest way to each state by how long it has lasted, up to `LASTS` chords: only then it may be left.
    """
    states, following = _states(), [*chords[1:], after]
    own, gains = _costs(chords[0], following[0])
    closed = [_NEVER * stranger for stranger in _strange(home)]
    first = [sum(costs) for costs in zip(own, closed, _entries(), _first_costs(chords[0]), strict=True)]
    totals = [*[[_ENDLESS] * len(states)] * (LASTS - 1), first]
    ways: list[list[list[_Place]]] = []
    for chord, later in zip(chords[1:], following[1:], strict=True):
        own, further = _costs(chord, later)
        totals, came = _onward(totals, gains, own)
        ways.append(came)
        gains = further
    age, index = _end(totals, gains, None if after else chords[-1], home, goal)
    found = [index]
    for came in reversed(ways):
        age, index = came[age][index]
        found.append(index)
    return [states[index] for index in reversed(found)]


def _onward(
    totals: Sequence[Sequence[float]], gains: Sequence[float], own: Sequence[float]
) -> tuple[list[list[float]], list[list[_Place]]]:
    """The cheapest ways to the next chord, by how long the key has lasted and by state, and where each came from."""
    every, settled = range(len(own)), totals[-1]
    cheapest = min(every, key=settled.__getitem__)
    sources = [min(near, key=settled.__getitem__) for near in _near()]
    sources = [near if settled[near] <= settled[cheapest] + FAR else cheapest for near in sources]
    changed = [
        settled[source] + CHANGE + FAR * (source not in near) + entry
        for source, near, entry in zip(sources, _near(), _entries(), strict=True)
    ]
    rows = [changed, *([total - gain for total, gain in zip(row, gains, strict=True)] for row in totals)]
    came = [
        [(LASTS - 1, source) for source in sources],
        *([(age, index) for index in every] for age in range(LASTS)),
    ]
    stays = [row[index] <= rows[-2][index] for row in rows[-1:] for index in every]
    oldest = [rows[-1][index] if stays[index] else rows[-2][index] for index in every]
    from_oldest = [came[-1][index] if stays[index] else came[-2][index] for index in every]
    ages = [*rows[:-2], oldest]
    return [[a + b for a, b in zip(row, own, strict=True)] for row in ages], [*came[:-2], from_oldest]


def _end(
    totals: Sequence[Sequence[float]],
    gains: Sequence[float],
    last: _Heard | None,
    home: Key | None,
    goal: Key | None,
) -> _Place:
    """Where the cheapest reading ends: at the end of a chart, or before a key that is given."""
    states = _states()
    back = [0.0] * len(states)
    if last is not None:
        back = [gain - RETURN * far for gain, far in zip(_last_gains(last), _strange(home), strict=True)]
    ends = {(LASTS - 1, index): total - back[index] for index, total in enumerate(totals[-1])}
    if goal is not None and state_of(goal) in states:
        index = states.index(state_of(goal))
        for age, row in enumerate(totals):
            ends[age, index] = row[index] - gains[index] - CHANGE
    return min(ends, key=lambda place: ends[place])


def _begins(home: Key | None, state: State) -> bool:
    """Whether a chart whose key is given can begin in a key."""
    if home is None:
        return True
    return state in (state_of(home), (home.tonic.pitch_class, "blues" if home.mode == "major" else home.mode))


@lru_cache(maxsize=64)
def _strange(home: Key | None) -> tuple[bool, ...]:
    """For each state whether a chart whose key is given can't begin in it."""
    return tuple(not _begins(home, state) for state in _states())


@lru_cache(maxsize=1)
def _entries() -> tuple[float, ...]:
    """The cost of entering each state."""
    return tuple(BLUES if mode == "blues" else 0.0 for _, mode in _states())


@lru_cache(maxsize=1024)
def _first_costs(chord: _Heard) -> tuple[float, ...]:
    """What the first chord gives back in each state, below zero."""
    return tuple(-BEGINS * _rest(chord) * _is_tonic(here, mode) for here, mode in _everywhere(chord))


@lru_cache(maxsize=1024)
def _last_gains(chord: _Heard) -> tuple[float, ...]:
    """What the last chord gives back in each state."""
    return tuple(ENDS * (_is_tonic(here, mode) or _is_dominant(here)) for here, mode in _everywhere(chord))


def _everywhere(chord: _Heard) -> list[tuple[_Heard, str]]:
    """A chord as each state hears it: with its root counted from the tonic, and the mode."""
    return [(replace(chord, root=(chord.root - tonic) % 12), mode) for tonic, mode in _states()]


def _is_dominant(chord: _Heard) -> bool:
    """Whether a chord is the dominant of its key or the tritone substitute of that."""
    return (chord.root == 7 and chord.kind in _DRIVING) or (chord.root, chord.kind) == (1, "dominant")


def _named(chords: Sequence[Chord], found: Sequence[State], home: Key | None) -> list[Key]:
    """States as keys: each stretch is spelled as most of its chords are, with few signs, the first as its key is given."""
    names: list[Key] = []
    for state, run in groupby(zip(chords, found, strict=True), key=lambda pair: pair[1]):
        stretch = [chord for chord, _ in run]
        tones = [tone.name for chord in stretch for tone in chord.tones]
        alike = [key for key in keys_in(state[1]) if key.tonic.pitch_class == state[0]]
        usual = min(alike, key=lambda key: (-sum(name in key.scale for name in tones), abs(key.fifths)))
        begins = home is not None and not names and _begins(home, state)
        names += [Key(home.tonic, state[1]) if home and begins else usual] * len(stretch)
    return names
