"""The voices against acoustics as published, and sound files against libraries that did not write them.

Sources, each named again at its check: ISO 16 (standard tuning pitch); Recommendation ITU-R BS.1770 (loudness and true
peak), as pyloudnorm implements it; N. H. Fletcher and T. D. Rossing, The Physics of Musical Instruments (2nd ed. 1998);
H. Fletcher, "Normal vibration frequencies of a stiff piano string" (JASA 36, 1964); W. C. Sabine, Collected Papers on
Acoustics (1922); M. R. Schroeder, "New method of measuring reverberation time" (JASA 37, 1965). Ranges that were
written down without the book at hand say "from memory", and are wide.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pretty_midi
import pyloudnorm
import pytest
import soundfile
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.signal import find_peaks, freqz, resample_poly
from scipy.special import jn_zeros

import fillgen
from fillgen.hands.playing import Playing
from fillgen.sound.files import parts_of, to_sound
from fillgen.sound.playback import to_performance
from fillgen.sound.synth.loudness import k_weighting
from fillgen.sound.synth.mix import Instrument, Part, SoundingNote, Synthesizer
from fillgen.sound.synth.recipes import DRUMS, drums, recipe, recipes, room_plan
from fillgen.sound.synth.room import response
from fillgen.sound.synth.tones import RATE, tone
from fillgen.teaching.practice import loop
from fillgen.writers.midi import to_midi, to_practice
from tests.sampler import mixed

Samples = NDArray[np.float64]
VOICES = tuple(recipes())
STRUCK = tuple(name for name, each in recipes().items() if not each.sustained)
SYNTH = Synthesizer()
A4 = 440.0
"""ISO 16: the frequency of A4."""


def spectrum(wave: Samples, points: int = 1 << 19) -> tuple[Samples, Samples]:
    """Frequencies and magnitudes under a Hann window, with many points between the bins."""
    magnitudes = np.abs(np.fft.rfft(wave * np.hanning(len(wave)), points))
    return np.fft.rfftfreq(points, 1 / RATE), magnitudes


def centre(wave: Samples, near: float) -> float:
    """The frequency of the partial near some other, as the centre of its power: vibrato leaves it where it is."""
    hertz, magnitudes = spectrum(wave)
    around = max(near * (2 ** (40 / 1200) - 1), 3 * RATE / len(wave))
    inside = np.abs(hertz - near) < around
    power = magnitudes[inside] ** 2
    return float((hertz[inside] * power).sum() / power.sum())


def cents(one: float, other: float) -> float:
    return float(1200 * np.log2(one / other))


# Pitch


@pytest.mark.parametrize("voice", VOICES)
def test_voices_are_in_tune(voice: str) -> None:
    """Over its range each voice lies within 5 cents of equal temperament from A4 = 440 Hz (ISO 16)."""
    low, high = recipe(voice).range
    for midi in (*range(low, high, 5), high):
        expected = A4 * 2 ** ((midi - 69) / 12)
        wave = tone(recipe(voice), midi, 92, 2.3)[round(0.3 * RATE) :]
        assert abs(cents(centre(wave, expected), expected)) < 5


@pytest.mark.parametrize("voice", VOICES)
def test_the_period_is_that_of_the_pitch(voice: str) -> None:
    """Another measure of the same: the autocorrelation of a tone peaks at its period, within 5 cents.

    Of the drawbar organ, whose 16' tone lies an octave below, it peaks at the period of that.
    """
    midi = (recipe(voice).range[0] + recipe(voice).range[1]) // 2
    pure = replace(recipe(voice), stiffness=(), noise=(), vibrato=(0, 0, 0), players=((0, 1),))
    wave = tone(pure, midi, 60, 1.0)[round(0.2 * RATE) :]
    period = RATE / (A4 * 2 ** ((midi - 69) / 12)) * (2 if voice == "drawbar organ" else 1)
    found = np.fft.irfft(np.abs(np.fft.rfft(wave, 1 << 17)) ** 2)
    many = 8
    place = round(many * period)
    near = found[place - 8 : place + 9]
    top = int(np.argmax(near))
    assert 0 < top < 16
    before, at, after = near[top - 1 : top + 2]
    exact = place - 8 + top + 0.5 * (before - after) / (before - 2 * at + after)
    assert abs(cents(exact / many, period)) < 5


# Loudness


def test_the_weighting_is_that_of_the_recommendation() -> None:
    """Our curve is that of BS.1770's filters as pyloudnorm has them, within 0.1 dB up to 10 kHz."""
    hertz = np.geomspace(30, 10_000, 60)
    power = np.ones_like(hertz)
    for stage in pyloudnorm.Meter(48_000)._filters.values():
        _, answer = freqz(stage.b, stage.a, worN=hertz, fs=48_000)
        power *= np.abs(answer) ** 2
    assert np.abs(10 * np.log10(k_weighting(hertz) / power)).max() < 0.1


def loudness(notes: Sequence[SoundingNote], voice: str) -> float:
    """The integrated loudness of BS.1770 in LUFS, as pyloudnorm measures it."""
    pieces = list(mixed([Part(Instrument(voice, 104), tuple(notes))], SYNTH))
    return float(pyloudnorm.Meter(RATE).integrated_loudness(np.concatenate(pieces, axis=1).T))


def test_voices_are_equally_loud() -> None:
    """At equal velocity all voices, low and high in their range, lie within 3 dB of one another."""
    levels = []
    for voice in VOICES:
        low, high = recipe(voice).range
        for base in (low + 2, high - 13):
            scale = (0, 2, 4, 5, 7, 9, 11, 12)
            levels.append(
                loudness([SoundingNote(0.5 * n, 0.45, base + up, 90) for n, up in enumerate(scale)], voice)
            )
    assert max(levels) - min(levels) < 3


def test_true_peaks_stay_below_full_scale() -> None:
    """Four times oversampled, as BS.1770 annex 2 measures true peaks, the loudest music stays below full scale."""
    chord = tuple(SoundingNote(0.1 * n, 1.0, 40 + n, 127) for n in range(40))
    hits = tuple(SoundingNote(0.2 * n, 0.1, (36, 38, 49)[n % 3], 127) for n in range(12))
    parts = [Part(Instrument("saxophone", 127, -0.3), chord), Part(Instrument(DRUMS, 127), hits)]
    rows = np.concatenate(list(mixed(parts, SYNTH)), axis=1)
    assert np.abs(rows).max() > 0.8
    assert np.abs(resample_poly(rows, 4, 1, axis=1)).max() < 1.0


# Bars, membranes, strings, pipes


def roots(function: Callable[[float], float], count: int) -> list[float]:
    """The first positive roots of a function, in order."""
    at = np.linspace(0.5, 4.5 * count, 4000)
    values = [function(x) for x in at]
    pairs = zip(at, at[1:], values, values[1:], strict=False)
    return [float(brentq(function, a, b)) for a, b, u, v in pairs if u * v < 0][:count]


def partial_ratios(wave: Samples, first: float, highest: float) -> list[float]:
    """The frequencies of the peaks of a spectrum within 50 dB of its highest, as ratios to the first."""
    hertz, magnitudes = spectrum(wave)
    reach = hertz < highest
    levels = 20 * np.log10(magnitudes[reach] / magnitudes[reach].max() + 1e-12)
    apart = round(0.4 * first / hertz[1])
    peaks, _ = find_peaks(levels, height=-50, distance=apart)
    return [float(hertz[peak] / first) for peak in peaks if hertz[peak] > 0.7 * first]


def test_vibraphone_bars_are_tuned_one_to_four() -> None:
    """Vibraphone bars are cut out so that the second mode is two octaves above the first, the third near 10 times.

    Fletcher and Rossing, ch. 19: 1 : 4 : about 10 (from memory); a plain bar has 1 : 2.756 : 5.404.
    """
    pure = replace(recipe("vibraphone"), noise=())
    found = partial_ratios(tone(pure, 60, 127, 0.4), A4 * 2 ** (-9 / 12), 4000)
    assert found[:2] == pytest.approx([1, 4], rel=0.01)
    assert 9 < found[2] < 11


def test_a_plain_bar_is_in_the_wood_block() -> None:
    """A free bar's modes go with the squares of the roots of cosh x cos x = 1 (Fletcher and Rossing, ch. 2)."""
    squares = [x**2 for x in roots(lambda x: float(np.cos(x) - 1 / np.cosh(x)), 3)]
    published = [each / squares[0] for each in squares]
    assert [mode.ratio for mode in drums()[76].modes] == pytest.approx(published, rel=1e-3)


def test_a_tine_is_a_clamped_bar() -> None:
    """A bar clamped at one end has the roots of cosh x cos x = -1: 1 : 6.267 : 17.55 (as above)."""
    squares = [x**2 for x in roots(lambda x: float(np.cos(x) + 1 / np.cosh(x)), 3)]
    published = {round(each / squares[0], 2) for each in squares[1:]}
    assert published == {6.27, 17.55}
    assert published <= {round(mode.ratio, 2) for mode in recipe("electric piano").modes}


@pytest.mark.parametrize("key", [36, 38, 41, 61])
def test_drums_have_the_modes_of_a_membrane(key: int) -> None:
    """A round membrane's modes are the zeros of Bessel functions (Rayleigh 1877; Fletcher and Rossing, ch. 3)."""
    zeros = sorted(float(zero) for order in range(8) for zero in jn_zeros(order, 4))
    published = [zero / zeros[0] for zero in zeros]
    for mode in drums()[key].modes:
        assert min(abs(mode.ratio - each) for each in published) < 2e-3


def test_drawbars_sound_at_their_footages() -> None:
    """A pipe of 8 feet sounds as written, of half the length an octave higher, and so on (common practice)."""
    pure = replace(recipe("drawbar organ"), noise=(), vibrato=(0, 0, 0), tremolo=(0, 0))
    first = A4 / 2
    found = partial_ratios(tone(pure, 57, 100, 2.0), first / 2, 2500)
    written = [16, 16 / 3, 8, 4, 8 / 3, 2, 1]
    assert [each / 2 for each in found] == pytest.approx(sorted(8 / foot for foot in written), rel=2e-3)


@pytest.mark.parametrize("midi", [36, 48, 60, 72])
def test_piano_partials_are_stretched(midi: int) -> None:
    """Partial n of a stiff string lies at n f sqrt(1 + B n^2) (H. Fletcher 1964).

    B is some 1e-4 in the bass and 3e-4 to 4e-4 at C4, and rises above (Fletcher and Rossing, ch. 12, from memory).
    """
    pure = replace(recipe("piano"), noise=(), after=None, touch=0.0)
    wave = tone(pure, midi, 127, 1.5)
    first = centre(wave, A4 * 2 ** ((midi - 69) / 12))
    number = 6
    sixth = centre(wave, first * number * 1.004)
    squared = (sixth / number / first) ** 2
    found = (squared - 1) / (number**2 - squared)
    least, most = {36: (5e-5, 4e-4), 48: (5e-5, 4e-4), 60: (2e-4, 6e-4), 72: (5e-4, 2e-3)}[midi]
    assert least < found < most


@pytest.mark.parametrize(("voice", "missing"), [("piano", 8), ("nylon guitar", 5), ("acoustic bass", 4)])
def test_strings_lack_what_is_plucked_at_a_node(voice: str, missing: int) -> None:
    """A string plucked or struck at 1/n of its length hardly sounds harmonic n (Fletcher and Rossing, ch. 2)."""
    modes = recipe(voice).modes
    levels = [mode.level for mode in modes[missing - 2 : missing + 1]]
    assert levels[1] < levels[0] - 6
    assert levels[1] < levels[2] - 4 or levels[1] < levels[0] - 12


@pytest.mark.parametrize("midi", [52, 57, 62])
def test_a_clarinet_sounds_odd_harmonics(midi: int) -> None:
    """In its low register harmonics 2 and 4 lie well below 1, 3 and 5 (Fletcher and Rossing, ch. 15, from memory)."""
    hertz, magnitudes = spectrum(tone(recipe("clarinet"), midi, 100, 1.0)[round(0.2 * RATE) :])
    first = A4 * 2 ** ((midi - 69) / 12)
    levels = [20 * np.log10(magnitudes[np.abs(hertz - n * first) < 10].max()) for n in range(1, 6)]
    assert min(levels[0], levels[2], levels[4]) - max(levels[1], levels[3]) > 8


def test_a_cone_sounds_even_harmonics_as_well() -> None:
    """A saxophone's second harmonic is about as strong as its first (as above); a flute's highs are weak (ch. 16)."""
    saxophone, flute = ([mode.level for mode in recipe(voice).modes] for voice in ("saxophone", "flute"))
    assert abs(saxophone[1] - saxophone[0]) < 6
    assert flute[4] < flute[0] - 20


# Decay

DECAYS = {
    "vibraphone": ((4, 40), (2, 20)),
    "piano": ((5, 30), (0.4, 3)),
    "electric piano": ((4, 20), (1, 8)),
    "nylon guitar": ((2, 10), (0.5, 4)),
    "jazz guitar": ((3, 15), (1, 8)),
    "acoustic bass": ((1.5, 8), (0.7, 4)),
}
"""Seconds to fall by 60 dB at the low and at the high end of each voice's range.

Vibraphone: aluminium bars ring for up to 40 s, high ones less (T. D. Rossing, Science of Percussion Instruments, 2000, from
memory). Piano: some 10 to 30 s in the bass, 1 s or less at the top, the first fall being the faster (Fletcher and
Rossing, ch. 12; G. Weinreich, JASA 62, 1977, from memory). Guitars and bass: from memory.
"""


def first_fall(wave: Samples) -> float:
    """Seconds to fall by 60 dB at the rate of the first 15 dB, by a straight line through the levels of 50 ms."""
    size = RATE // 20
    powers = (wave[: len(wave) // size * size].reshape(-1, size) ** 2).mean(axis=1)
    levels = 10 * np.log10(powers / powers.max())[1:]
    count = max(3, int(np.argmax(levels < levels[0] - 15)) or len(levels))
    slope = np.polyfit(np.arange(count) * 0.05, levels[:count], 1)[0]
    return float(-60 / slope)


@pytest.mark.parametrize("voice", STRUCK)
def test_decays_lie_in_published_ranges(voice: str) -> None:
    """Struck and plucked voices die away as fast as instruments do, and high notes faster than low ones."""
    found = [first_fall(tone(recipe(voice), midi, 100, 6.0)) for midi in recipe(voice).range]
    for seconds, (least, most) in zip(found, DECAYS[voice], strict=True):
        assert least < seconds < most
    assert found[0] > found[1]


def test_a_piano_dies_away_in_two_stages() -> None:
    """The sound of a string group falls fast at first, then slowly (G. Weinreich 1977)."""
    wave = tone(replace(recipe("piano"), noise=()), 60, 100, 6.0)
    size = RATE // 5
    levels = 10 * np.log10((wave[: len(wave) // size * size].reshape(-1, size) ** 2).mean(axis=1))
    early, late = (np.polyfit(np.arange(5) * 0.2, levels[at : at + 5], 1)[0] for at in (1, 22))
    assert early < 1.6 * late < 0


def test_the_room_dies_away_as_sabine_says() -> None:
    """Measured backwards (Schroeder 1965), the room falls by 60 dB in Sabine's time, within a fifth of it."""
    for row in response():
        left = np.cumsum((row**2)[::-1])[::-1]
        levels = 10 * np.log10(left / left[0] + 1e-12)
        first, last = (int(np.argmax(levels < level)) for level in (-5, -25))
        assert 3 * (last - first) / RATE == pytest.approx(room_plan().reverberation, rel=0.2)
    length, width, height = room_plan().size
    surface = 2 * (length * width + length * height + width * height)
    assert room_plan().reverberation == pytest.approx(
        0.161 * length * width * height / (surface * room_plan().absorption)
    )


# Files


@cache
def music() -> tuple[fillgen.Ideas, Playing]:
    ideas = fillgen.ideas("| Bb | Gm7 | Cm7 F7 | Bb6 |", rhythm="swing", count=2, purpose="ending")
    playing = Playing(
        ("right", "left", "bass", "drums"), count_in=True, close="held", slow_down=True, feel=0.6
    )
    return ideas, playing


@pytest.mark.parametrize("what", ["ideas", "practice"])
def test_sound_and_midi_agree(what: str) -> None:
    """Every note of a MIDI file, as pretty_midi reads it, sounds at its second and with its velocity, within 1 ms."""
    ideas, playing = music()
    rounds = loop(ideas, ideas[0], steps=2, times=1)
    midi = to_midi(ideas, playing) if what == "ideas" else to_practice(rounds, Playing(feel=0.5))
    read = pretty_midi.PrettyMIDI(io.BytesIO(midi))
    theirs = sorted((n.pitch, n.start, n.end, n.velocity) for i in read.instruments for n in i.notes)
    parts = parts_of(to_performance(midi))
    ours = sorted((n.midi, n.start, n.start + n.length, n.velocity) for part in parts for n in part.notes)
    assert len(ours) == len(theirs) > 100
    assert np.abs(np.array(ours) - np.array(theirs)).max() < 1e-3


def test_a_stranger_reads_the_files() -> None:
    """WAV and FLAC are read by libsndfile: stereo, 44,100 samples of 16 bits a second, and the same samples in both."""
    midi = to_midi(fillgen.ideas("| C | G7 |", tempo=180, count=1))
    files = {kind: to_sound(midi, kind=kind) for kind in (".wav", ".flac")}
    told = {kind: soundfile.info(io.BytesIO(content)) for kind, content in files.items()}
    assert {(i.samplerate, i.channels, i.subtype) for i in told.values()} == {(44100, 2, "PCM_16")}
    assert [told[kind].format for kind in (".wav", ".flac")] == ["WAV", "FLAC"]
    read = [soundfile.read(io.BytesIO(content), dtype="int16")[0] for content in files.values()]
    assert np.array_equal(*read)
    assert len(files[".flac"]) < 0.7 * len(files[".wav"])
