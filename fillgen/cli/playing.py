"""How ideas are played in MIDI: parts, sounds and the wishes of the options."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fillgen.cli.inputs import pack_of
from fillgen.errors import OptionError, did_you_mean

if TYPE_CHECKING:
    from fillgen.hands.take import Playing

USUAL: dict[str, Any] = {
    "times": 1,
    "second_set": False,
    "count_in": False,
    "swing": None,
    "feel": 0.0,
    "close": None,
    "slow_down": False,
    "bass": "keyboard",
    "span": 12,
}


def is_special(parts: str | None, sound: Sequence[str] | None, wishes: dict[str, Any]) -> bool:
    """Whether anything is asked for that only MIDI shows; it is checked all the same."""
    return parts is not None or bool(sound) or wishes != USUAL


def playing_of(
    parts: str | None,
    purpose: str | None,
    sound: Sequence[str] | None,
    rules: Path | None,
    wishes: dict[str, Any],
) -> tuple[Playing, dict[str, str]]:
    """How MIDI is played, and with which sounds: all parts for an intro, a turnaround or an ending, else one."""
    from fillgen.hands.take import PARTS, Playing, check_playing

    usual = PARTS if purpose else PARTS[:1]
    if purpose == "ending" and wishes["close"] is None:
        wishes = {**wishes, "close": "held"}
    named = tuple(dict.fromkeys(part.strip() for part in parts.split(","))) if parts is not None else usual
    pack = pack_of(rules)
    playing = Playing(parts=named, pack=pack, **wishes)
    check_playing(playing)
    return playing, _sounds(sound)


def _sounds(given: Sequence[str] | None) -> dict[str, str]:
    """The sounds asked for, by part; a sound without a part is the right hand's."""
    from fillgen.hands.instruments import program
    from fillgen.hands.take import PARTS

    sounds = {}
    for text in given or ():
        part, equals, sound = text.partition("=")
        named = part.strip() if equals else "right"
        if named not in PARTS[:3]:
            raise OptionError(f"unknown part {named!r} in --sound", hint=did_you_mean(named, PARTS[:3]))
        sounds[named] = sound.strip() if equals else text
        program(sounds[named])
    return sounds
