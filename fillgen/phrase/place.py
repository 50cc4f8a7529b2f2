"""What is known about a note before it has a pitch."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from fillgen.chart.progression import Progression, blue_masks, climbing_mask, leading_mask, passing_mask
from fillgen.theory.chords import Chord, Tone, mask_of

_FINAL_FAMILIES = {"root": {"1"}, "third": {"3"}, "fifth": {"5"}}
_IN_PLACE_OF_THE_THIRD = ("4", "11", "2")


@dataclass(frozen=True, slots=True)
class Place:
    """What is known about a note before it has a pitch. Masks hold pitch classes as bits, C = bit 0.

    `held` are the tones common to all chords over whose strong beats the note is held (all twelve bits where
    there are none); `ahead` are the tones of the chord it is held into, `coming` those of the chord on which the
    next note starts, both 0 if the chord stays the same;
    `ends` are the tones on which the phrase may close, 0 unless this is its last note; `lead` is the tune's
    first pitch if the last note should be near it, -1 otherwise. `length` is how long the note sounds over the chord
    on which it starts, in beats of the metre times 96. `since` are the milliseconds since the note before began,
    0 if no hand is given. `leading` is the raised seventh of a minor key where the chord has none: it may pass
    as well on its way up to the tonic, as `climbing`, the raised sixth, may on its way up to that. `blue_third` and
    `blue_fifth` are those of a blues, where they are outside the scale.
    """

    strong: bool
    length: int
    before_rest: bool
    chord: int
    root: int
    passing: int
    held: int = 0xFFF
    ahead: int = 0
    coming: int = 0
    ends: int = 0
    lead: int = -1
    since: int = 0
    leading: int = 0
    climbing: int = 0
    blue_third: int = 0
    blue_fifth: int = 0

    @property
    def avoid(self) -> int:
        """The pitch classes outside the chord that are a semitone above one of its tones."""
        return (self.chord << 1 | self.chord >> 11) & 0xFFF & ~self.chord


def final_tones(chord: Chord, ends_on: Sequence[str]) -> tuple[Tone, ...]:
    """The tones of the last chord on which a phrase may close: `root`, `third` or `fifth`.

    In a suspended chord the fourth (or the second) takes the place of the third.
    """
    wanted = {family for word in ends_on for family in _FINAL_FAMILIES[word]}
    if "3" in wanted and not any(tone.degree.family == "3" for tone in chord.tones):
        wanted.update(_IN_PLACE_OF_THE_THIRD[:2])
        if not any(tone.degree.family in wanted - {"1", "5"} for tone in chord.tones):
            wanted.add("2")
    return tuple(tone for tone in chord.tones if tone.degree.family in wanted)


def places(
    progression: Progression,
    rhythm: Sequence[tuple[int, int]],
    ends_on: Sequence[str] = ("root", "third"),
    lead: int = -1,
    *,
    closes: bool = True,
    since: Sequence[int] = (),
    make: Callable[..., Place] | None = None,
) -> tuple[Place, ...]:
    """The place of each note of a rhythm, given as onsets and lengths in ticks from the start of the phrase.

    `lead` is the tune's first pitch, -1 if it does not matter; `closes` says whether the phrase ends here;
    `since` are the milliseconds from each note's beginning back to that of the note before, if a hand is given;
    `make` is a caching `place_of` for this progression, if there is one.
    """
    make = make or partial(place_of, progression)
    finals = closing_mask(progression, ends_on)
    following = [*(onset for onset, _ in rhythm[1:]), CLOSES if closes else GOES_ON]
    last = len(rhythm) - 1
    return tuple(
        make(
            *note,
            after,
            finals if closes and index == last else 0,
            lead if closes and index == last else -1,
            since[index] if since else 0,
        )
        for index, (note, after) in enumerate(zip(rhythm, following, strict=True))
    )


CLOSES, GOES_ON = -1, -2
"""What follows a last note: nothing, for the phrase closes, or something not known yet."""


def closing_mask(progression: Progression, ends_on: Sequence[str]) -> int:
    """The pitch classes on which a phrase may close, as bits."""
    return mask_of(tone.name.pitch_class for tone in final_tones(progression.last, ends_on))


def place_of(
    progression: Progression,
    onset: int,
    length: int,
    following: int,
    ends: int = 0,
    lead: int = -1,
    since: int = 0,
) -> Place:
    """The place of one note, given in ticks; `following` is where the next begins, or CLOSES or GOES_ON."""
    end = onset + length
    span = progression.span_at(onset)
    chord = span.heard
    crossed = progression.strong_between(onset, end)
    third, fifth = blue_masks(chord, span.key)
    held = [progression.span_at(tick).heard for tick in crossed]
    others = (tick for tick, at in zip(crossed, held, strict=True) if at.mask != chord.mask)
    return Place(
        strong=progression.is_strong(onset),
        length=(next(others, end) - onset) * 96 // progression.metre.pulse,
        before_rest=following == CLOSES or following > end,
        chord=chord.mask,
        root=mask_of([chord.root.pitch_class] if chord.root else []),
        passing=passing_mask(chord, span.key),
        held=_common(held),
        ahead=_other(chord, held[-1]) if held else 0,
        coming=_other(chord, progression.span_at(following).heard) if following >= 0 else 0,
        ends=ends,
        lead=lead,
        since=since,
        leading=leading_mask(chord, span.key),
        climbing=climbing_mask(chord, span.key),
        blue_third=third,
        blue_fifth=fifth,
    )


def _other(chord: Chord, later: Chord) -> int:
    """The tones of a later chord, 0 if they are those of the first."""
    return later.mask if later.mask != chord.mask else 0


def _common(chords: Sequence[Chord]) -> int:
    mask = 0xFFF
    for chord in chords:
        mask &= chord.mask
    return mask
