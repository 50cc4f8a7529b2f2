"""Every voice against published acoustics or a sampled reference: brightness, decay and noise lie in the bands of `timbre.toml`.

`timbre.toml` names the source of each band; DEVELOPERS.md has the figures beside the bands.
"""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fillgen.sound.synth.kit import TURNS, stroke
from fillgen.sound.synth.recipes import recipe, recipes
from fillgen.sound.synth.tones import RATE, tone
from tests.timbre import Timbre, timbre

_VELOCITY = 90
_HELD = 1.5
FIGURES = ("centroid", "attack", "fall", "flatness")
OF_A_DRUM = ("centroid", "attack", "lasts", "flatness")


def rows(kind: str) -> list[dict[str, Any]]:
    return list(tomllib.loads(Path(__file__).with_name("timbre.toml").read_text(encoding="utf-8"))[kind])


@cache
def voice_figures(voice: str, keys: tuple[int, ...]) -> list[Timbre]:
    return [timbre(tone(recipe(voice), key, _VELOCITY, _HELD), RATE) for key in keys]


@cache
def drum_figures(key: int) -> list[Timbre]:
    return [timbre(stroke(key, velocity=_VELOCITY, turn=turn), RATE) for turn in range(TURNS)]


def mean(values: list[float]) -> float:
    """The geometric mean; of figures that aren't all above 0 the arithmetic one."""
    return float(np.exp(np.log(values).mean())) if min(values) > 0 else float(np.mean(values))


@pytest.mark.parametrize("row", rows("voice"), ids=lambda row: row["name"])
def test_voices_lie_in_their_bands(row: dict[str, Any]) -> None:
    """A voice is as bright, dies away as fast and is as noisy as its source says, over three keys together."""
    found = voice_figures(row["name"], tuple(row["keys"]))
    for figure in FIGURES:
        lowest, highest = row[figure]
        assert lowest <= mean([getattr(each, figure) for each in found]) <= highest, figure


@pytest.mark.parametrize("row", rows("drum"), ids=lambda row: row["name"])
def test_drums_lie_in_their_bands(row: dict[str, Any]) -> None:
    """A drum is as bright, lasts as long and is as noisy as its source says, over its alternating strokes together."""
    found = drum_figures(row["key"])
    for figure in OF_A_DRUM:
        lowest, highest = row[figure]
        assert lowest <= mean([getattr(each, figure) for each in found]) <= highest, figure


def test_every_voice_has_bands_with_a_source() -> None:
    """No voice is left out, and no band is without a source or wider than a factor of ten."""
    assert {row["name"] for row in rows("voice")} == set(recipes())
    for row in rows("voice") + rows("drum"):
        assert len(row["source"]) > 6
        for lowest, highest in (row[name] for name in ("centroid", "attack", "flatness")):
            assert 0 < lowest < highest < 10 * lowest


def test_a_pure_tone_and_noise_are_told_apart() -> None:
    """The measures themselves: a sine's centroid is its frequency and its flatness the floor; white noise is flat."""
    sine = timbre(np.sin(2 * np.pi * 1000 * np.arange(RATE) / RATE), RATE)
    noise = timbre(np.random.default_rng(1).standard_normal(RATE), RATE)
    assert sine.centroid == pytest.approx(1000, rel=0.01)
    assert noise.centroid == pytest.approx(RATE / 4, rel=0.05)
    assert sine.flatness < 1e-3
    assert noise.flatness > 0.8
    falling = timbre(10 ** (-np.arange(2 * RATE) / RATE) * np.sin(np.arange(2 * RATE)), RATE)
    assert falling.fall == pytest.approx(20, rel=0.01)
    assert falling.lasts == pytest.approx(1.0, abs=0.02)
