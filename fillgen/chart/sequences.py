"""Stock chord sequences: intros, turnarounds, endings and vamps, in any key, up to any chord, and richer step by step.

The sequences are in `rules/sequences.toml`, as Roman numerals.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

from fillgen.chart.progression import Progression, Span, laid
from fillgen.chart.text import parse_chart
from fillgen.errors import OptionError, did_you_mean, shorten
from fillgen.tables import plain_name, table
from fillgen.theory.chords import Chord, read_chord
from fillgen.theory.metre import Metre, metre
from fillgen.theory.numerals import read_numeral
from fillgen.theory.pitch import MODES, Key, Name, key_on

PURPOSES = ("intro", "turnaround", "ending", "vamp")
"""What a sequence is for."""

_Rows = list[list[tuple[Chord, int, Key]]]
"""Chords bar by bar, each with its length in ticks and the key it is heard in."""
"""The chords of each bar with their lengths in ticks."""


@dataclass(frozen=True, slots=True)
class Sequence:
    """A stock sequence: `chords` and `leads_to` are Roman numerals, `metre` is the one it is written for.

    `leads_to` is the chord that follows: of an ending the chord it closes on, of a vamp the one it goes round to.

    >>> found = sequence("backdoor close")
    >>> found.chords, found.bars, found.goal(Key(Name.read("Eb"), "major")).symbol
    ('| iv7 bVII7 | Imaj7 |', 2, 'Ebmaj7')
    """

    name: str
    purpose: str
    mode: str
    metre: Metre
    chords: str
    leads_to: str
    says: str
    source: str

    @property
    def bars(self) -> int:
        return len(_at_home(self).bars)

    def goal(self, key: Key) -> Chord:
        """The chord that it leads to in a key."""
        return read_numeral(self.leads_to, key)


# Finding


@lru_cache(maxsize=1)
def sequences() -> tuple[Sequence, ...]:
    """All sequences of `rules/sequences.toml`."""
    return tuple(
        Sequence(
            row["name"],
            row["purpose"],
            row["mode"],
            metre(row["metre"]),
            row["chords"],
            row["leads-to"],
            row["says"],
            row["source"],
        )
        for row in table("sequences")["sequence"]
    )


def sequence(name: str) -> Sequence:
    """The sequence of that name; capitals and hyphens do not matter. OptionError names the nearest.

    >>> sequence("Circle Turnaround").chords
    '| I vi | ii V |'
    """
    for known in sequences():
        if plain_name(known.name) == plain_name(name):
            return known
    hint = did_you_mean(name, [known.name for known in sequences()])
    raise OptionError(
        f"unknown sequence {shorten(name)}", hint=hint or "The list of sequences names them all."
    )


def find(
    purpose: str | None = None,
    mode: str | None = None,
    bars: int | None = None,
    metre: Metre | None = None,
) -> tuple[Sequence, ...]:
    """The sequences of a purpose, a mode and a number of bars that can be played in a metre; each condition is optional.

    Those that are written for the metre come first. OptionError for a purpose or a mode that does not exist.

    >>> [found.name for found in find("turnaround", "minor", bars=1)]
    ['one-bar minor two-five']
    """
    _check(purpose, PURPOSES, "purpose")
    _check(mode, MODES, "mode")
    fitting = [
        known
        for known in sequences()
        if purpose in (None, known.purpose)
        and mode in (None, known.mode)
        and bars in (None, known.bars)
        and (metre is None or _plays_in(known, metre))
    ]
    return tuple(sorted(fitting, key=lambda known: metre is not None and known.metre != metre))


def _check(word: str | None, known: Iterable[str], what: str) -> None:
    if word is not None and word not in known:
        raise OptionError(f"unknown {what} {shorten(word)}", hint=did_you_mean(word, known))


def _names(found: Iterable[Sequence]) -> str:
    return ", ".join(known.name for known in found)


# Keys and metres


def spelled(sequence: Sequence, key: Key, metre: Metre | None = None) -> Progression:
    """A sequence with its chords in a key, in its own metre or in another whose beats its chords share evenly.

    Raises OptionError if the key has the other mode, and where a bar cannot be shared in the metre; both name
    the sequences that fit.

    >>> [span.chord.symbol for span in spelled(sequence("chromatic turnaround"), Key(Name.read("Eb"), "major")).spans]
    ['Eb', 'Gb', 'Cb', 'Fb7']
    """
    if key.signature_mode != sequence.mode:
        raise OptionError(
            f"{sequence.name!r} is in {sequence.mode}, but the key is {key}",
            hint=f"Sequences in {key.mode}: {_names(find(sequence.purpose, key.mode, metre=metre))}.",
        )
    written = parse_chart(sequence.chords, key=key, metre=sequence.metre)
    if metre is not None and metre != sequence.metre:
        written = _in_metre(sequence, written, metre)
    return replace(written, title=sequence.name)


@lru_cache(maxsize=256)
def _at_home(sequence: Sequence) -> Progression:
    """A sequence as it is written, in C."""
    return spelled(sequence, Key(Name(0, 0), sequence.mode))


def _plays_in(sequence: Sequence, metre: Metre) -> bool:
    return all(_shares(bar, sequence.metre, metre) for bar in _at_home(sequence).bars)


def _in_metre(sequence: Sequence, written: Progression, metre: Metre) -> Progression:
    bars = []
    for number, bar in enumerate(written.bars, 1):
        lengths = _shares(bar, written.metre, metre)
        if not lengths:
            fitting = find(sequence.purpose, sequence.mode, metre=metre)
            raise OptionError(
                f"the chords of {sequence.name!r} don't divide the {metre.beats} beats of a {metre.name} bar evenly",
                place=f"bar {number}",
                hint=f"Sequences that fit {metre.name}: {_names(fitting)}.",
            )
        bars.append([(span.chord, length, span.key) for span, length in zip(bar, lengths, strict=True)])
    return with_bars(replace(written, metre=metre), bars)


def _shares(bar: tuple[Span, ...], old: Metre, new: Metre) -> tuple[int, ...]:
    """The lengths in ticks of a bar's chords in another metre; none if they can't divide its beats evenly."""
    if old.beats == new.beats:
        return tuple(span.length // old.beat * new.beat for span in bar)
    even = len({span.length for span in bar}) == 1 and new.beats % len(bar) == 0
    return (new.bar // len(bar),) * len(bar) if even else ()


def with_bars(like: Progression, bars: _Rows) -> Progression:
    """A progression with other bars."""
    chords = [[(chord, length) for chord, length, _ in bar] for bar in bars]
    return replace(like, bars=laid(chords, [key for bar in bars for _, _, key in bar]))


# Up to a chord

_STANDS_ON = {
    ("major", "dominant"): (4, 7),
    ("major", "minor seventh"): (1, 2),
    ("major", "minor"): (5, 9),
    ("major", "half-diminished"): (6, 11),
    ("major", "diminished"): (6, 11),
    ("minor", "dominant"): (4, 7),
    ("minor", "major"): (2, 3),
    ("minor", "half-diminished"): (1, 2),
    ("minor", "diminished"): (6, 11),
}
"""Letter steps and semitones above the tonic where a chord that can't be the tonic of a mode is most often found.

Source: common practice.
"""


def to_chord(
    sequence: Sequence, goal: Chord, key: Key | None = None, metre: Metre | None = None
) -> Progression:
    """A sequence in the key in which it leads to a chord, such as the first of a tune.

    `key` is the tune's. An intro or a turnaround whose goal is the tonic stays as it is; on the way to any other
    chord its last chord is changed for the dominant seventh of that chord. Where no key is given, a goal that can be
    the tonic of the sequence's mode is, and any other is read as the degree it most often is: a minor seventh for
    ii7 of a major key, a dominant seventh for V7. Endings and vamps take the goal for their tonic, whatever the key,
    and an ending closes on it. Raises OptionError if there is no such key, and where nothing can close on the
    goal.

    >>> [span.chord.symbol for span in to_chord(sequence("circle intro"), read_chord("Fm7")).spans]
    ['Ebmaj7', 'Cm7', 'Fm7', 'C7']
    """
    if goal.root is None:
        raise OptionError(f"no sequence can lead to {goal.symbol}", hint="Name a chord, such as Eb or Fm7.")
    if sequence.purpose in ("ending", "vamp"):
        return _around(sequence, goal, metre)
    home = key or _home_of(goal, sequence.mode)
    played = spelled(sequence, home, metre)
    return played if can_be_tonic(goal, home) else _led(played, goal)


def _home_of(goal: Chord, mode: str) -> Key:
    """The key of a mode in which a chord is the tonic, or else the degree that it most often is."""
    steps, semitones = _STANDS_ON.get((mode, family_of(goal)), (0, 0))
    return key_on(root_of(goal).up(-steps, -semitones), mode)


def family_of(chord: Chord) -> str:
    """What a chord is to a key: dominant, major, minor, minor seventh, half-diminished, diminished or open."""
    has = tones_by_degree(chord)
    if "b5" in has and "b3" in has:
        return "half-diminished" if "b7" in has else "diminished"
    if chord.kind is not None and chord.kind.is_dominant:
        return "dominant"
    if "b3" in has:
        return "minor seventh" if "b7" in has else "minor"
    return "major" if "3" in has else "open"


def can_be_tonic(chord: Chord, key: Key) -> bool:
    """Whether a chord is the tonic of a key; one without a third may be."""
    return root_of(chord).pitch_class == key.tonic.pitch_class and _closes(chord, third_of_mode(key.mode))


def _closes(chord: Chord, third: str) -> bool:
    """Whether a chord can be a tonic with that third, `3` or `b3`."""
    return own_third(chord) in (third, "") and "b5" not in tones_by_degree(chord)


def _led(played: Progression, goal: Chord) -> Progression:
    """A progression with its last chord changed for the dominant of a goal, along with what holds that chord back."""
    root = root_of(goal).up(4, 7).plain()
    held = root_of(played.last)
    rows = rows_of(played)
    places = [(bar, item) for bar, row in enumerate(rows) for item in range(len(row))]
    for bar, item in reversed(places):
        chord, length, key = rows[bar][item]
        if chord.root != held:
            break
        rows[bar][item] = (_as_dominant(chord, root), length, key)
    return with_bars(played, rows)


def _as_dominant(chord: Chord, root: Name) -> Chord:
    """The dominant on a root: suspended where the chord in its place is, a plain seventh otherwise."""
    return chord_on(root, "7sus4" if own_third(chord) == "" else "7")


def _around(sequence: Sequence, goal: Chord, metre: Metre | None) -> Progression:
    """An ending or a vamp with a chord as its tonic; an ending closes on that very chord."""
    if not _closes(goal, _tonic_third(sequence)):
        same = find(sequence.purpose, metre=metre)
        names = _names(known for known in same if _closes(goal, _tonic_third(known)))
        raise OptionError(
            f"the tonic of {sequence.name!r} can't be {goal.symbol}",
            hint=f"Sequences that fit {goal.symbol}: {names}."
            if names
            else "Name a chord that can be a tonic.",
        )
    key = key_on(root_of(goal), sequence.mode)
    played = spelled(sequence, key, metre)
    if sequence.purpose == "vamp":
        return played
    last = goal if goal.root == key.tonic else goal.on(key.tonic, None)
    return with_chords(played, played.spans[-1], (last,))


def _tonic_third(sequence: Sequence) -> str:
    return own_third(sequence.goal(Key(Name(0, 0), sequence.mode)))


# Chords and their tones


def root_of(chord: Chord) -> Name:
    """The root of a chord that sounds."""
    assert chord.root is not None
    return chord.root


def tones_by_degree(chord: Chord) -> dict[str, Name]:
    """The tones of a chord by what they are above its root."""
    return {tone.degree.text: tone.name for tone in chord.tones}


def own_third(chord: Chord) -> str:
    """The third of a chord, `3` or `b3`; empty if it has none."""
    return next((degree for degree in ("3", "b3") if degree in tones_by_degree(chord)), "")


def third_of_mode(mode: str) -> str:
    """The third of a mode's tonic chord, `3` or `b3`."""
    return "b3" if mode == "minor" else "3"


def chord_on(root: Name, quality: str, bass: Name | None = None) -> Chord:
    """The chord of a quality such as `m7b5` on a root, over a bass note if one is given."""
    return read_chord(f"{root.plain()}{quality}{f'/{bass}' if bass else ''}")


def rows_of(progression: Progression) -> _Rows:
    """The chords of a progression bar by bar, each with its length in ticks and its key."""
    return [[(span.chord, span.length, span.key) for span in bar] for bar in progression.bars]


def with_chords(
    progression: Progression, place: Span, chords: tuple[Chord, ...], lengths: tuple[int, ...] = ()
) -> Progression:
    """A progression with other chords in place of one; give their lengths in ticks if there are several."""
    parts = [
        (chord, length, place.key) for chord, length in zip(chords, lengths or (place.length,), strict=True)
    ]
    bars = [
        [part for span in bar for part in (parts if span is place else [(span.chord, span.length, span.key)])]
        for bar in progression.bars
    ]
    return with_bars(progression, bars)
