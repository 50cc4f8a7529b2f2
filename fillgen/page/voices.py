"""The bank of sounds that a page plays from, as JSON text: made by the synthesizer, then cached."""

from __future__ import annotations

import contextlib
import hashlib
import json
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from fillgen.errors import OutputError
from fillgen.sound import synth
from fillgen.sound.synth.bank import bank, packed
from fillgen.sound.synth.mix import DRUM_GAIN, GAIN, released
from fillgen.sound.synth.recipes import DRUMS, recipes
from fillgen.sound.synth.room import response
from fillgen.sound.synth.tones import FULL_SCALE, RATE
from fillgen.tables import table
from fillgen.version import __version__
from fillgen.writers.files import make_folder, put_file

_ROOM_RATE = 22050
_FALL_STEPS = 64
_DIGEST = 64
"""The length of the checksum before a cached bank, in hexadecimal digits."""


def bank_document() -> dict[str, Any]:
    """All voices with the drum set, the room and the mix of `fillgen.sound.synth`, as plain values.

    In the room, `pcm` holds the left row, then the right one. In the mix, `gain` applies to all parts, `drums` to the
    drum set as well, and `fall` are the gains of a tone that is let go, at even steps from its release to silence.
    """
    voices = {voice: bank(voice).document for voice in (*recipes(), DRUMS)}
    return {"voices": voices, "room": _room(), "mix": _mix()}


def _mix() -> dict[str, Any]:
    fall = released(np.ones(_FALL_STEPS, dtype=np.float32), 0.0, _FALL_STEPS / RATE)
    return {"gain": GAIN, "drums": DRUM_GAIN, "fall": [1.0, *(round(float(share), 6) for share in fall)]}


def _room() -> dict[str, Any]:
    answer = response(_ROOM_RATE)
    gain = float(np.abs(answer).max())
    numbers = np.round(answer / gain * FULL_SCALE).astype(np.int16)
    return {"rate": _ROOM_RATE, "gain": round(gain, 8), "pcm": packed(numbers.ravel())}


@lru_cache(maxsize=1)
def bank_text() -> str:
    """The bank document as JSON, cached in the user's cache folder because it takes half a second to make.

    The cache is used only if it is complete and was made by this version from these recipes; without a cache folder
    the bank is made each time.
    """
    path = cache_path()
    found = _cached(path)
    if found is None:
        found = json.dumps(bank_document(), separators=(",", ":"))
        _cache(path, found)
    return found


def cache_path() -> Path | None:
    """The path of the cached bank; None if the system has no cache folder."""
    from platformdirs import user_cache_path  # noqa: PLC0415 - only where a page is made

    with contextlib.suppress(OSError, RuntimeError):
        return user_cache_path("fillgen", appauthor=False) / f"sounds-{_made_from()}.bank"
    return None


@lru_cache(maxsize=1)
def _made_from() -> str:
    """A digest of everything that the bank depends on: the recipes, the version, the synthesizer, and this module."""
    digest = hashlib.sha256(json.dumps([__version__, table("voices")], sort_keys=True).encode())
    for folder in synth.__path__:
        for source in sorted(Path(folder).glob("*.py")):
            digest.update(source.read_bytes())
    digest.update(Path(__file__).read_bytes())
    return digest.hexdigest()[:16]


def _cached(path: Path | None) -> str | None:
    """The cached bank; None if there is none or it is damaged."""
    if path is None:
        return None
    try:
        content = path.read_bytes()
    except OSError:
        return None
    whole = hashlib.sha256(content[_DIGEST:]).hexdigest().encode() == content[:_DIGEST]
    return content[_DIGEST:].decode("ascii") if whole else None


def _cache(path: Path | None, text: str) -> None:
    """Cache a bank and remove those of other versions, if possible."""
    if path is None:
        return
    content = text.encode("ascii")
    with contextlib.suppress(OutputError, OSError):
        make_folder(path.parent)
        put_file(path, hashlib.sha256(content).hexdigest().encode() + content, overwrite=True)
        for other in path.parent.glob("sounds-*.bank"):
            if other != path:
                other.unlink(missing_ok=True)
