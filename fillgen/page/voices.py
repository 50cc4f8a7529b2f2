"""The bank of sounds that a page plays from, as JSON text: made by the synthesizer, then kept in the cache folder."""

from __future__ import annotations

import base64
import contextlib
import hashlib
import json
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from fillgen.errors import OutputError
from fillgen.sound import synth
from fillgen.sound.synth.bank import bank
from fillgen.sound.synth.mix import DRUM_GAIN, GAIN, released
from fillgen.sound.synth.recipes import DRUMS, recipes
from fillgen.sound.synth.room import response
from fillgen.sound.synth.tones import RATE
from fillgen.tables import table
from fillgen.version import __version__
from fillgen.writers.files import make_folder, put_file

_ROOM_RATE = 22050
_FULL_SCALE = 32767
_FALL_STEPS = 64
_DIGEST = 64
"""Hexadecimal digits that stand before a kept bank and tell whether it is whole."""


def bank_document() -> dict[str, Any]:
    """All voices with the drum set, the room and the mix: what `fillgen.sound.synth` plays with, as plain values.

    Of the room `pcm` holds the left row, then the right one. Of the mix `gain` is that of all parts, `drums` that of
    the drum set beside it, and `fall` the gains of a tone that is let go, at even steps from its release to silence.
    """
    voices = {voice: bank(voice).document for voice in (*recipes(), DRUMS)}
    return {"voices": voices, "room": _room(), "mix": _mix()}


def _mix() -> dict[str, Any]:
    fall = released(np.ones(_FALL_STEPS, dtype=np.float32), 0.0, _FALL_STEPS / RATE)
    return {"gain": GAIN, "drums": DRUM_GAIN, "fall": [1.0, *(round(float(share), 6) for share in fall)]}


def _room() -> dict[str, Any]:
    answer = response(_ROOM_RATE)
    gain = float(np.abs(answer).max())
    numbers = np.round(answer / gain * _FULL_SCALE).astype("<i2")
    pcm = base64.b64encode(numbers.tobytes()).decode("ascii")
    return {"rate": _ROOM_RATE, "gain": round(gain, 8), "pcm": pcm}


@lru_cache(maxsize=1)
def bank_text() -> str:
    """The bank document as JSON. It takes half a second to make, so it is kept among the user's caches.

    What is kept counts only where it is whole and was made by this version from these recipes; where nothing can be
    kept, it is made anew each time.
    """
    path = kept_at()
    found = _kept(path)
    if found is None:
        found = json.dumps(bank_document(), separators=(",", ":"))
        _keep(path, found)
    return found


def kept_at() -> Path | None:
    """Where the bank is kept; None where there is no place for it."""
    from platformdirs import user_cache_path  # noqa: PLC0415 - only where a page is made

    with contextlib.suppress(OSError, RuntimeError):
        return user_cache_path("fillgen", appauthor=False) / f"sounds-{_made_from()}.bank"
    return None


@lru_cache(maxsize=1)
def _made_from() -> str:
    """A digest of all that decides what the bank is: the recipes, the version, the synthesizer, and this module."""
    told = hashlib.sha256(json.dumps([__version__, table("voices")], sort_keys=True).encode())
    for folder in synth.__path__:
        for source in sorted(Path(folder).glob("*.py")):
            told.update(source.read_bytes())
    told.update(Path(__file__).read_bytes())
    return told.hexdigest()[:16]


def _kept(path: Path | None) -> str | None:
    """A bank that is kept whole; None where there is none."""
    if path is None:
        return None
    try:
        content = path.read_bytes()
    except OSError:
        return None
    whole = hashlib.sha256(content[_DIGEST:]).hexdigest().encode() == content[:_DIGEST]
    return content[_DIGEST:].decode("ascii") if whole else None


def _keep(path: Path | None, text: str) -> None:
    """Keep a bank, and remove those of other versions; nothing happens where that cannot be."""
    if path is None:
        return
    content = text.encode("ascii")
    with contextlib.suppress(OutputError, OSError):
        make_folder(path.parent)
        put_file(path, hashlib.sha256(content).hexdigest().encode() + content, overwrite=True)
        for other in path.parent.glob("sounds-*.bank"):
            if other != path:
                other.unlink(missing_ok=True)
