"""How ideas are played: what a player may ask for, and the same checked and with its defaults."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from fillgen.errors import OptionError, did_you_mean, shorten
from fillgen.hands.instruments import program
from fillgen.hands.reach import reach
from fillgen.rules.pack import RulePack
from fillgen.tables import table

PARTS = ("right", "left", "bass", "drums")
FILLS = "fills"
"""The part that sounds where a line has fills, besides those that are asked for."""
_PITCHED = (*PARTS[:3], FILLS)
Close = Literal["held", "button", "fading"]
CLOSES: tuple[Close, ...] = ("held", "button", "fading")
LEFT_STYLES = ("rhythm", "broken", "held", "strummed")
"""How the left hand plays its chords: in the rhythm's own pattern, key by key, held as long as they last, or strummed."""
ENTRIES = ("together", "thin")
"""How the parts come in: at once, or the bass after a bar and the drums after two."""
USUAL_FEEL = 0.3
"""The default feel."""
SECONDS = ("thirds", "sixths", "chord")
"""The kinds of second voice under the right hand's line."""
BASSES = ("keyboard", "pedals")
"""Where the bass may lie, as `fillgen.hands.bass.REGISTERS` has it."""


@dataclass(frozen=True, kw_only=True)
class PlayOptions:
    """How ideas are played, as a player may ask for it; None takes the default. `played_as` checks every value.

    `swing` is the ratio of the first eighth to the second, `feel` runs from 0 (exact, as it's written) to 1 (loose), `span` is the left
    hand's reach in semitones. A `sound` is a General MIDI name or number, alone for the right hand or as `left=...`.
    `second` is what is added under the right hand's line.
    """

    parts: tuple[str, ...] | None = None
    times: int = 1
    second_set: bool = False
    count_in: bool = False
    swing: float | None = None
    feel: float = USUAL_FEEL
    close: str | None = None
    slow_down: bool = False
    bass: str = "keyboard"
    span: int | None = None
    sound: tuple[str, ...] = ()
    second: str | None = None
    left: str | None = None
    enter: str | None = None


@dataclass(frozen=True)
class Playing:
    """How a take is played. `swing` and `left` are None for the rhythm's own; `feel` runs from 0 (exact) to 1 (loose)."""

    parts: tuple[str, ...] = ("right",)
    times: int = 1
    second_set: bool = False
    count_in: bool = False
    swing: float | None = None
    feel: float = 0.0
    close: Close | None = None
    slow_down: bool = False
    bass: str = "keyboard"
    span: int = 12
    pack: RulePack = field(default_factory=RulePack)
    second: str | None = None
    left: str | None = None
    enter: str = ENTRIES[0]

    @property
    def has_right(self) -> bool:
        """Whether the right hand plays; without it the other parts are a backing track."""
        return "right" in self.parts


def played_as(
    options: PlayOptions, pack: RulePack, *, purpose: str | None = None, hand: str | None = None
) -> tuple[Playing, dict[str, str]]:
    """How ideas are played, and the sounds of the parts: the options of a player, checked and with their defaults.

    All parts play for a purpose (intro, turnaround, ending), else the right hand alone; an intro begins thin, an ending is
    held. `hand` is a
    size of hand, which bounds the left hand's span. Raises OptionError for what isn't offered.

    >>> played_as(PlayOptions(sound=("left=20",)), RulePack(), purpose="intro")[1]
    {'left': '20'}
    """
    usual = PARTS if purpose else PARTS[:1]
    sounds = _sounds(options.sound)
    parts = usual if options.parts is None else tuple(dict.fromkeys(options.parts))
    playing = Playing(
        parts=parts,
        times=options.times,
        second_set=options.second_set,
        count_in=options.count_in,
        swing=options.swing,
        feel=options.feel,
        close=_close(options.close) or ("held" if purpose == "ending" else None),
        slow_down=options.slow_down,
        bass=options.bass,
        span=span_of(options.span, hand),
        pack=pack,
        second=options.second,
        left=options.left or _left_for(sounds.get("left")),
        enter=options.enter or ENTRIES[purpose == "intro"],
    )
    check_playing(playing)
    return playing, sounds


def _left_for(sound: str | None) -> str | None:
    """How the left hand plays a sound, by the family of General MIDI that it belongs to; None as the rhythm has it."""
    if sound is None:
        return None
    families = table("sounds")["family"]
    family = families[program(sound) // _IN_FAMILY]["name"]
    style: str | None = table("feel")["left-hand"].get(family)
    return style


_IN_FAMILY = 8
"""The sounds of a family (General MIDI System Level 1)."""


def _close(word: str | None) -> Close | None:
    if word is None:
        return None
    for known in CLOSES:
        if word == known:
            return known
    raise OptionError(f"unknown close {shorten(word)}", hint=did_you_mean(word, CLOSES))


def span_of(span: int | None, size: str | None) -> int:
    """The left hand's span in semitones: as asked for and as a size of hand can hold, or else what suits the hand."""
    wanted = reach(size or "medium").span if span is None else span
    if size is not None and wanted > reach(size).held:
        hint = f"The limit for it is {reach(size).held}."
        raise OptionError(f"{wanted} half steps are too wide for a {size} hand", hint=hint)
    return wanted


def _sounds(given: Sequence[str]) -> dict[str, str]:
    """The sounds asked for, by part; a sound without a part is the right hand's."""
    sounds = {}
    for text in given:
        part, equals, sound = text.partition("=")
        named = part.strip() if equals else "right"
        if named not in _PITCHED:
            raise OptionError(f"unknown part {named!r} in --sound", hint=did_you_mean(named, _PITCHED))
        sounds[named] = sound.strip() if equals else text
        program(sounds[named])
    return sounds


def check_second(kind: str | None) -> None:
    """OptionError for a second voice that isn't offered; None means no second voice."""
    _check_word("second voice", kind, SECONDS)


def _check_word(what: str, word: str | None, known: Sequence[str]) -> None:
    if word is not None and word not in known:
        raise OptionError(f"unknown {what} {shorten(word)}", hint=did_you_mean(word, known))


def check_playing(playing: Playing) -> None:
    """OptionError where a way of playing is outside what is offered."""
    for part in playing.parts:
        if part not in PARTS:
            raise OptionError(f"unknown part {part!r}", hint=did_you_mean(part, PARTS))
    if not playing.parts:
        raise OptionError("no part is chosen", hint=f"The parts are {', '.join(PARTS)}.")
    if not 1 <= playing.times <= 32:
        raise OptionError(f"{playing.times} times is out of range", hint="Give 1 to 32.")
    if playing.swing is not None and not 1 <= playing.swing <= 4:
        raise OptionError(
            f"the swing is {playing.swing:g}", hint="Give 1 (straight) to 4; 2 is the usual swing."
        )
    if not 0 <= playing.feel <= 1:
        raise OptionError(f"the feel is {playing.feel:g}", hint="Give 0 (exact) to 1 (loose).")
    if playing.close == "fading" and playing.slow_down:
        raise OptionError("a fading close can't slow down", hint="Use --close held with --slow-down.")
    check_second(playing.second)
    _check_word("left hand", playing.left, LEFT_STYLES)
    _check_word("way of entering", playing.enter, ENTRIES)
    if playing.bass not in BASSES:
        raise OptionError(f"unknown bass {playing.bass!r}", hint=did_you_mean(playing.bass, BASSES))
    from fillgen.hands.voicing import Hand  # noqa: PLC0415 - what only prints ideas needs no voicings

    Hand(span=playing.span)
