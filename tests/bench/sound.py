"""How fast sound is made: `python -m tests.bench.sound` prints seconds of sound for a second of work.

Takes with all four parts in every rhythm, as `-o NAME.wav` renders them, each voice as the right hand, and the sampler that
plays from a bank; beside them how loud each part is. It fails where takes are rendered less than twenty times as fast
as they sound. It takes about half a minute.
"""

from __future__ import annotations

import sys
import time
from statistics import median

import numpy as np

import fillgen
from fillgen.hands.instruments import sound_names
from fillgen.hands.playing import PARTS, Playing
from fillgen.rules.pack import RulePack
from fillgen.sound.files import parts_of, to_sound
from fillgen.sound.playback import to_performance
from fillgen.sound.synth.bank import bank
from fillgen.sound.synth.kit import stroke
from fillgen.sound.synth.limiter import CEILING
from fillgen.sound.synth.mix import Tones
from fillgen.sound.synth.recipes import DRUMS, recipes, voice_of
from fillgen.sound.synth.room import response
from fillgen.sound.synth.tones import RATE
from fillgen.writers.midi import to_midi
from tests.bench.surroundings import figure, told
from tests.sampler import Sampler, mixed

CHART = "| Fmaj7 | D7 | Gm7 | C7 |"
LEAST = 20.0
"""Seconds of sound for a second of work, at the least."""
_BYTES = 4 * RATE
"""Of a second of a .wav file."""


def take(rhythm: str, count: int = 3, sound: str | None = None) -> bytes:
    """Takes with all parts as a MIDI file."""
    metre = RulePack().rhythm(rhythm).metres[0]
    ideas = fillgen.ideas(CHART, metre=metre, rhythm=rhythm, count=count, purpose="turnaround")
    return to_midi(ideas, Playing(PARTS, count_in=True), {"right": sound} if sound else None)


def speed(midi: bytes, tones: Tones | None = None) -> float:
    """Seconds of sound for a second of work, nothing being known from before."""
    response.cache_clear()
    began = time.perf_counter()
    sound = to_sound(midi, tones=tones)
    return len(sound) / _BYTES / (time.perf_counter() - began)


def balance(midi: bytes) -> str:
    """The level of each part alone, in dB of the right hand's, and the highest sample of all."""
    parts = parts_of(to_performance(midi))
    levels = []
    for part in parts:
        rows = np.concatenate(list(mixed([part])), axis=1)
        levels.append(10 * np.log10((rows**2).mean()))
    whole = np.concatenate(list(mixed(parts)), axis=1)
    peak = 20 * np.log10(np.abs(whole).max())
    held = " (limited)" if np.abs(whole).max() > 0.999 * CEILING else ""
    return " ".join(f"{level - levels[0]:6.1f}" for level in levels) + f"   peak {peak:5.1f} dB{held}"


def main() -> int:
    """Print the figures; the answer is 1 where sound is made too slowly."""
    print(told(), flush=True)
    stroke(49)
    print("\ntakes with four parts           times real time   level of right, left, bass, drums in dB")
    speeds = []
    for rhythm in RulePack().rhythm_names:
        midi = take(rhythm)
        speeds.append(speed(midi))
        print(f"  {rhythm:<28}  {speeds[-1]:8.0f}        {balance(midi)}", flush=True)
    print("\nvoices, as the right hand of a foxtrot")
    names = {voice_of(name): name for name in reversed(sound_names())}
    for voice in recipes():
        print(f"  {voice:<28}  {speed(take('foxtrot', sound=names[voice])):8.0f}", flush=True)
    banks = [bank(voice) for voice in (*recipes(), DRUMS)]
    size = sum(each.samples.nbytes for held in banks for each in held.samples)
    print(f"\nfrom a bank of {size / 1000:,.0f} kB          {speed(take('foxtrot'), Sampler(banks)):8.0f}")
    middle, least = median(speeds), min(speeds)
    figure(
        "sound, times real time: median (least)",
        f"{middle:.0f} ({least:.0f})",
        f"{LEAST:.0f}",
        middle >= LEAST,
    )
    return int(median(speeds) < LEAST)


if __name__ == "__main__":
    sys.exit(main())
