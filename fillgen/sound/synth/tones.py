"""Recipes made to sound: one tone of a voice as samples.

Struck voices are sums of sines that die away, sustained ones periodic waves read from a table. No partial lies above
what the rate of the samples can carry. Tones are scaled so that all voices are heard equally loud, by the measure of
`loudness`; chance comes from fixed seeds, so that the same tone has the same samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from fillgen.dice import Dice
from fillgen.sound.synth.loudness import k_weighting
from fillgen.sound.synth.recipes import Noise, Recipe

Samples: TypeAlias = NDArray[np.float64]
Complexes: TypeAlias = NDArray[np.complexfloating[Any, Any]]

RATE = 44100
"""Samples a second of sound files."""
FULL_SCALE = 32767
"""The highest sample as a 16-bit number."""
LOUDNESS = -20.0
"""The K-weighted level of the beginning of every tone at full velocity, in dB of full scale."""
_MOMENT = 0.4
"""Seconds of a tone that decide its loudness, the length of a block in ITU-R BS.1770."""
_HIGHEST = 17000.0
"""The highest partial, in Hz."""
_NYQUIST_SHARE = 0.45
"""The highest partial as a share of the sample rate."""
_FAINT = -75.0
"""Partials below this level, in dB of the strongest, are left out."""
_TABLE = 4096
"""Points of a wavetable."""
_BLOCK = 512
"""Samples in a block of damped sines."""
_PRODUCT = 1 << 17
"""The most multiplications of one product of matrices."""
_LASTING = 1.0
"""Seconds after which sustained noise repeats."""
_SILENT = 1.2
"""The length of a struck tone as a multiple of its decay: it ends 72 dB down."""
_LAST_FADE = 0.05
"""Seconds of fade at the very end of a struck tone."""
_SHORTEST_GROWTH = 0.05
"""The fewest seconds that tremolo takes to grow."""
_WANDERING = ((1.0, 0.5), (1.618, 0.3), (2.414, 0.2))
"""The sines of a slow motion: their rates as multiples of its own, and their shares of its depth."""
TAU = 2 * np.pi


@dataclass(frozen=True)
class Partials:
    """The partials of a tone: frequencies (Hz), amplitudes, and decays (seconds to fall by 60 dB)."""

    hertz: Samples
    amplitudes: Samples
    decays: Samples


@dataclass(frozen=True, slots=True)
class Loop:
    """The loop of a tone: the number of samples before the part that repeats, and in it."""

    before: int
    length: int


def hertz_of(midi: float) -> float:
    """The frequency of a pitch in equal temperament, A4 (69) being 440 Hz (ISO 16).

    >>> round(hertz_of(60), 2)
    261.63
    """
    return float(440.0 * 2.0 ** ((midi - 69) / 12))


# Partials


def partials(recipe: Recipe, midi: float, velocity: int) -> Partials:
    """The audible partials of a tone, scaled to the common loudness at full velocity.

    >>> from fillgen.sound.synth.recipes import recipe
    >>> partials(recipe("vibraphone"), 69, 100).hertz.tolist()
    [440.0, 1760.0, 4356.0, 8140.0]
    """
    first = hertz_of(midi)
    ratio = np.array([mode.ratio for mode in recipe.modes], dtype=float)
    hertz = first * ratio * _stretch(recipe, midi, ratio)
    level = np.array([mode.level for mode in recipe.modes], dtype=float) + _along(recipe.body, hertz)
    level -= recipe.touch * (1 - velocity / 127) * np.log2(np.maximum(1.0, hertz / first))
    decays = np.array([mode.decay for mode in recipe.modes]) * _decay(recipe, midi)
    kept = (hertz < _HIGHEST) & (level > level[hertz < _HIGHEST].max() + _FAINT)
    found = Partials(hertz[kept], 10 ** (level[kept] / 20), decays[kept])
    scale = np.sqrt(10 ** (LOUDNESS / 10) / _heard(found, len(recipe.players)))
    return _with_after(recipe, Partials(found.hertz, found.amplitudes * scale, found.decays))


def _stretch(recipe: Recipe, midi: float, ratio: Samples) -> Samples:
    """The factor by which a string's stiffness raises its partials; the first stays in tune."""
    stiffness = sum(np.exp(slope * midi + offset) for slope, offset in recipe.stiffness)
    return np.asarray(np.sqrt((1 + stiffness * ratio**2) / (1 + stiffness)), dtype=float)


def _along(curve: tuple[tuple[float, float], ...], hertz: Samples) -> Samples:
    """A curve of levels over frequency, linear in octaves between its points."""
    at, levels = zip(*curve, strict=True)
    return np.asarray(np.interp(np.log2(hertz), np.log2(at), levels), dtype=float)


def _decay(recipe: Recipe, midi: float) -> float:
    """The decay of the fundamental, in seconds for 60 dB; infinite for a sustained voice."""
    if recipe.sustained:
        return float("inf")
    at, seconds = zip(*recipe.decay, strict=True)
    return float(np.exp(np.interp(midi, at, np.log(seconds))))


def _with_after(recipe: Recipe, found: Partials) -> Partials:
    """Partials with the softer, slower aftersound of each, if the voice has one; the sum begins just as loud."""
    if recipe.after is None:
        return found
    level, times, cents = recipe.after
    share = 10 ** (level / 20) / (1 + 10 ** (level / 20))
    return Partials(
        np.concatenate([found.hertz, found.hertz * 2 ** (cents / 1200)]),
        np.concatenate([found.amplitudes * (1 - share), found.amplitudes * share]),
        np.concatenate([found.decays, found.decays * times]),
    )


def _heard(found: Partials, players: int) -> float:
    """The K-weighted mean power of the beginning."""
    fall = 2 * np.log(1000.0) / found.decays * _MOMENT
    share = np.where(fall > 0, -np.expm1(-fall) / np.where(fall > 0, fall, 1.0), 1.0)
    power = found.amplitudes**2 / 2 * share * k_weighting(found.hertz)
    return float(power.sum()) * players


# Tones


def tone(recipe: Recipe, midi: float, velocity: int, seconds: float, rate: int = RATE) -> Samples:
    """A tone at full loudness, as it sounds while its key is held; a struck one may end sooner.

    `velocity` (1 to 127) only affects the colour. A longer tone begins with the same samples.

    >>> from fillgen.sound.synth.recipes import recipe
    >>> tone(recipe("flute"), 72, 90, 0.5).shape
    (22050,)
    """
    count = round(seconds * rate)
    found = partials(recipe, midi, velocity)
    if recipe.sustained:
        return _sustained(recipe, found, midi, count, rate, None)
    end = round(_SILENT * float(found.decays.max()) * rate)
    wave = _struck(recipe, found, midi, min(count, end), rate, None)
    if count >= end:
        _fade_out(wave, round(_LAST_FADE * rate))
    return wave


def looped_tone(recipe: Recipe, midi: float, velocity: int, rate: int) -> tuple[Samples, Loop, float, float]:
    """A short tone for a bank: samples, loop, exact pitch, and the decay to apply in the loop (dB a second).

    The samples in the loop of a struck tone don't decay; the player applies the decay.
    """
    loop = _loop(recipe, midi, rate)
    exact = _in_loop(hertz_of(midi) * _base(recipe), loop, rate) / _base(recipe)
    pitch = 69 + 12 * float(np.log2(exact / 440.0))
    found = partials(recipe, pitch, velocity)
    count = loop.before + loop.length
    if recipe.sustained:
        return _sustained(recipe, found, pitch, count, rate, loop), loop, pitch, 0.0
    wave = _struck(recipe, found, pitch, count, rate, loop)
    left = (found.amplitudes * np.exp(-np.log(1000.0) / found.decays * loop.before / rate)) ** 2
    return wave, loop, pitch, float((60.0 / found.decays * left).sum() / left.sum())


def _base(recipe: Recipe) -> float:
    """The ratio that divides all ratios of a sustained voice: a half with a 16' tone, else 1."""
    return min(1.0, *(mode.ratio for mode in recipe.modes)) if recipe.sustained else 1.0


def _loop(recipe: Recipe, midi: float, rate: int) -> Loop:
    """A loop of about the recipe's length that is very nearly a whole number of periods."""
    first = hertz_of(midi) * _base(recipe)
    periods = max(1, round(recipe.bank.loop * first))
    return Loop(round(recipe.bank.before * rate), round(periods * rate / first))


def _in_loop(hertz: float, loop: Loop | None, rate: int) -> float:
    """A frequency moved so that a loop is a whole number of its periods."""
    return hertz if loop is None else max(1, round(hertz * loop.length / rate)) * rate / loop.length


def _struck(
    recipe: Recipe, found: Partials, midi: float, count: int, rate: int, loop: Loop | None
) -> Samples:
    audible = found.hertz < _NYQUIST_SHARE * rate
    hertz = np.array([_in_loop(float(each), loop, rate) for each in found.hertz[audible]])
    turn = TAU * hertz / rate * 1j
    fall = np.log(1000.0) / found.decays[audible] / rate
    start = found.amplitudes[audible].astype(complex)
    if loop is None:
        wave = damped_sines(start, turn - fall, count)
    else:
        at_loop = start * np.exp((turn - fall) * loop.before)
        wave = np.concatenate(
            [damped_sines(start, turn - fall, loop.before), damped_sines(at_loop, turn, loop.length)]
        )
    _swell(recipe, wave, rate, loop)
    rise = min(count, round(recipe.attack * rate))
    wave[:rise] *= _rise(rise)
    _add_noise(recipe, wave, midi, rate, None)
    return wave


def damped_sines(start: Complexes, step: Complexes, count: int) -> Samples:
    """The sum of sines that change by exp(step) each sample, from complex amplitudes at the start.

    Sample a * block + b is the product of exp(step * a * block) and exp(step * b): a product of two small matrices, made
    in parts that are too small for the linear algebra library to share between threads, which would wait for one another.
    """
    rows = -(-count // _BLOCK)
    far = start * np.exp(np.outer(np.arange(rows) * _BLOCK, step))
    near = np.exp(np.outer(step, np.arange(_BLOCK)))
    both = np.concatenate([far.real, far.imag], axis=1)
    turned = np.concatenate([near.imag, near.real])
    wave = np.empty((rows, _BLOCK))
    few = max(1, _PRODUCT // max(1, turned.size))
    for first in range(0, rows, few):
        np.matmul(both[first : first + few], turned, out=wave[first : first + few])
    return np.ascontiguousarray(wave.reshape(-1)[:count])


def _sustained(
    recipe: Recipe, found: Partials, midi: float, count: int, rate: int, loop: Loop | None
) -> Samples:
    base = _base(recipe)
    first = hertz_of(midi)
    audible = found.hertz < _NYQUIST_SHARE * rate
    numbers = np.round(found.hertz[audible] / first / base).astype(int)
    dice = Dice(crc32(recipe.name.encode()))
    shifts = dice.doubles(2 * len(recipe.players)).reshape(-1, 2)
    phases = dice.doubles(int(numbers.max()) + 1)[numbers]
    late = min(count, round(recipe.attack * recipe.bloom * rate))
    whole = _period(numbers, found.amplitudes[audible], phases)
    low = _period(numbers, found.amplitudes[audible] * (numbers * base <= 2), phases)
    sway = _motion(recipe, found.amplitudes[audible], numbers, phases) if any(recipe.motion) else None
    wave, below, moved = np.zeros(count), np.zeros(late), np.zeros(count if sway is not None else 0)
    for (cents, speed), (shift, turn) in zip(recipe.players, shifts.tolist(), strict=True):
        hertz = _in_loop(first * 2 ** (cents / 1200) * base, loop, rate)
        phase = _phase(recipe, hertz, speed, turn, count, rate, loop) + shift
        wave += _read(whole, phase)
        below += _read(low, phase[:late])
        if sway is not None:
            moved += _read(sway, phase)
    if sway is not None:
        wave += moved * _wander(recipe, midi, count, rate, loop)
    rise = min(count, round(recipe.attack * rate))
    early = np.ones(late)
    early[:rise] = _rise(rise)
    wave[:late] = below * early + (wave[:late] - below) * _rise(late)
    _swell(recipe, wave, rate, loop)
    _add_noise(recipe, wave, midi, rate, loop)
    return wave


def _period(numbers: NDArray[np.int_], amplitudes: Samples, phases: Samples) -> Samples:
    """A wavetable from harmonics, as two rows: its points, and the steps from each to the next."""
    spectrum = np.zeros(_TABLE // 2 + 1, dtype=complex)
    spectrum[numbers] = amplitudes * np.exp(1j * TAU * phases) * (_TABLE / 2)
    period = np.fft.irfft(spectrum, _TABLE)
    return np.stack([period, np.roll(period, -1) - period])


def _read(table: Samples, phase: Samples) -> Samples:
    """A wavetable read at phases counted in periods, interpolated linearly."""
    place = phase * _TABLE + _TABLE
    index = place.astype(np.int64)
    place -= index
    index &= _TABLE - 1
    return np.asarray(table[0][index] + place * table[1][index], dtype=float)


def _phase(
    recipe: Recipe, hertz: float, speed: float, turn: float, count: int, rate: int, loop: Loop | None
) -> Samples:
    """The phase of a player's tone in periods, with vibrato."""
    straight = np.arange(count, dtype=float) * (hertz / rate)
    slow, cents, delay = recipe.vibrato
    if not cents:
        return straight
    slow = _in_loop(slow * speed, loop, rate)
    wide = hertz * (2 ** (cents / 1200) - 1) / (TAU * slow)
    sway = _turning(slow, turn + 0.25, count, rate)
    _grow(sway, delay / 2, max(delay / 2, 1e-3), rate)
    return np.asarray(straight - wide * sway, dtype=float)


def _swell(recipe: Recipe, wave: Samples, rate: int, loop: Loop | None) -> None:
    """Apply tremolo, in place."""
    slow, depth = recipe.tremolo
    if depth:
        sway = _turning(_in_loop(slow, loop, rate), 0.0, len(wave), rate)
        _grow(sway, 0.0, max(recipe.vibrato[2], _SHORTEST_GROWTH), rate)
        wave *= np.exp(np.log(10) / 20 * depth * sway)


def _motion(recipe: Recipe, amplitudes: Samples, numbers: NDArray[np.int_], phases: Samples) -> Samples:
    """A wavetable of what is added where the harmonics stand highest against the first."""
    octaves = np.log2(np.maximum(1.0, numbers * _base(recipe)))
    return _period(numbers, amplitudes * (10 ** (recipe.motion[1] * octaves / 20) - 1), phases)


def _wander(recipe: Recipe, midi: float, count: int, rate: int, loop: Loop | None) -> Samples:
    """A slow motion between -1 and 1: three sines that never meet."""
    turns = Dice(crc32(recipe.name.encode()) + round(midi)).doubles(len(_WANDERING)).tolist()
    wander = np.zeros(count)
    for (times, share), turn in zip(_WANDERING, turns, strict=True):
        hertz = _in_loop(recipe.motion[0] * times, loop, rate)
        wander += share * _turning(hertz, turn, count, rate)
    return wander


def _turning(hertz: float, turn: float, count: int, rate: int) -> Samples:
    """A sine that begins at a place in its period, `turn`."""
    return damped_sines(np.exp([TAU * 1j * turn]), np.array([TAU * 1j * hertz / rate]), count)


def _grow(wave: Samples, after: float, seconds: float, rate: int) -> None:
    """Fade a wave in after some seconds, over some more, in place."""
    early = wave[: round((after + seconds) * rate)]
    early *= np.clip((np.arange(len(early)) / rate - after) / seconds, 0, 1)


def _rise(count: int) -> Samples:
    """A smooth rise from 0 to 1."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * (np.arange(count) + 0.5) / max(1, count)), dtype=float)


def _fade_out(wave: Samples, count: int) -> None:
    """Fade out the end of a wave, in place."""
    count = min(count, len(wave))
    if count:
        wave[-count:] *= _rise(count)[::-1]


# Noise


def _add_noise(recipe: Recipe, wave: Samples, midi: float, rate: int, loop: Loop | None) -> None:
    """Add the noises of a voice, in place; sustained noise repeats in a loop of its own."""
    seed = crc32(recipe.name.encode()) + round(midi)
    for number, band in enumerate(recipe.noise):
        strength = 10 ** ((LOUDNESS + band.level) / 20)
        if band.decay:
            burst = strength * noise_burst(band, rate, seed + number)[: len(wave)]
            wave[: len(burst)] += burst
        else:
            around = hiss(band, loop.length if loop else round(_LASTING * rate), rate, seed + number)
            grown = np.clip(np.arange(len(wave)) / (rate * recipe.attack * 2), 0, 1)
            wave += strength * grown * np.resize(around, len(wave))


def noise_burst(band: Noise, rate: int, seed: int) -> Samples:
    """A burst of decaying noise after its delay, of power one at its beginning."""
    count = max(64, round(_SILENT * band.decay * rate))
    at = np.arange(count) / rate
    step = 1 << max(0, count.bit_length() - 4)  # lengths of small factors are transformed fast
    burst = hiss(band, -(-count // step) * step, rate, seed)[:count] * 10 ** (-3 * at / band.decay)
    rise = min(count, max(2, round(0.0015 * rate)))
    burst[:rise] *= _rise(rise)
    _fade_out(burst, min(count // 4, round(0.01 * rate)))
    return np.concatenate([np.zeros(round(band.delay * rate)), burst])


def hiss(band: Noise, count: int, rate: int, seed: int) -> Samples:
    """Noise of a band, of mean power one, that loops without a seam."""
    spectrum = np.fft.rfft(Dice(seed).doubles(count) - 0.5)
    hertz = np.fft.rfftfreq(count, 1 / rate)
    top = min(band.high, _NYQUIST_SHARE * rate)
    with np.errstate(divide="ignore"):
        octaves = np.maximum(np.log2(band.low / hertz), np.log2(hertz / top))
    spectrum *= np.exp(-((np.maximum(octaves, 0.0) * 4.0) ** 2)) * (hertz < 0.49 * rate)
    spectrum[0] = 0.0
    wave = np.fft.irfft(spectrum, count)
    power = float(np.sqrt((wave**2).mean()))
    return np.asarray(wave / power if power else wave, dtype=float)
