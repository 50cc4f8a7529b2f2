"""Voices, drums, room, limiter, mix and bank: what must hold of every sample."""

from __future__ import annotations

import base64
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from fillgen.dice import Dice
from fillgen.errors import OptionError
from fillgen.hands.instruments import percussion_keys, sound_names
from fillgen.sound.synth import bank as banks
from fillgen.sound.synth.kit import LAYERS, TURNS, layer_of, stroke
from fillgen.sound.synth.limiter import CEILING, HighPass, Limiter
from fillgen.sound.synth.mix import (
    Instrument,
    Part,
    SoundingNote,
    Synthesizer,
    loudness,
    panned,
    seconds_of,
)
from fillgen.sound.synth.recipes import DRUMS, drum_of, drums, recipe, recipes, room_plan, voice_of
from fillgen.sound.synth.room import Room, response
from fillgen.sound.synth.tones import RATE, Samples, hertz_of, hiss, partials, tone
from fillgen.tables import table
from tests.sampler import Sampler, mixed, wave_of
from tests.timbre import timbre

VOICES = tuple(recipes())
SYNTH = Synthesizer()
ROUNDING = 1 + 1e-12


def middle(voice: str) -> int:
    low, high = recipe(voice).range
    return (low + high) // 2


@cache
def both_rows(parts: tuple[Part, ...], *, room: bool = True) -> Samples:
    return np.concatenate(list(mixed(parts, SYNTH, room=room)), axis=1)


# Recipes


def test_every_sound_has_a_voice() -> None:
    """Each of the 128 sounds is played by a voice that is there, and the table names nothing else."""
    assert {voice_of(name) for name in sound_names()} == set(VOICES)
    assert set(table("voices")["nearer"]) <= set(sound_names())
    assert set(table("voices")["families"]) == {family["name"] for family in table("sounds")["family"]}


@pytest.mark.parametrize(
    ("sound", "voice"),
    [
        ("Vibraphone", "vibraphone"),
        ("Acoustic Grand Piano", "piano"),
        ("Electric Piano 1", "electric piano"),
        ("Drawbar Organ", "drawbar organ"),
        ("String Ensemble 1", "strings"),
        ("Acoustic Guitar (nylon)", "nylon guitar"),
        ("Electric Guitar (jazz)", "jazz guitar"),
        ("Clarinet", "clarinet"),
        ("Tenor Sax", "saxophone"),
        ("Flute", "flute"),
        ("Acoustic Bass", "acoustic bass"),
    ],
)
def test_a_sound_that_has_a_voice_of_its_own(sound: str, voice: str) -> None:
    """Sounds for which a recipe was written are played by it."""
    assert voice_of(sound) == voice


def test_every_percussion_key_has_a_drum() -> None:
    """The 47 percussion sounds are all there, and every stroke can be heard and ends in silence, soft or hard."""
    assert sorted(drums()) == sorted(percussion_keys().values())
    for key, drum in drums().items():
        wave = stroke(key, velocity=LAYERS[key % len(LAYERS)][1], turn=key % TURNS)
        assert np.isfinite(wave).all()
        assert abs(wave).max() == pytest.approx(10 ** (drum.level / 20))
        assert abs(wave[-1]) < 1e-6
        assert abs(wave[0]) < 0.1 * abs(wave).max()


def test_recipes_are_whole() -> None:
    """Every voice has a source, a sensible range, and samples for a bank that lie in it."""
    for each in recipes().values():
        low, high = each.range
        assert len(each.source) > 40
        assert 21 <= low < high <= 108
        assert high - low >= 30
        assert all(low <= key <= high for key in each.bank.keys)
        assert list(each.bank.keys) == sorted(each.bank.keys)
        assert each.sustained or all(seconds > 0 for _, seconds in each.decay)
        assert 0.02 <= each.release <= 0.5


def test_wrong_names_are_told() -> None:
    """A voice or a drum that is not there is an OptionError with the nearest."""
    with pytest.raises(OptionError, match="Did you mean 'clarinet'"):
        recipe("clarinett")
    with pytest.raises(OptionError, match="Keys are 35 to 81"):
        drum_of(20)


# Tones


@pytest.mark.parametrize("voice", VOICES)
def test_tones_are_the_same_every_time(voice: str) -> None:
    """The same tone has the same samples, and a longer one begins with those of a shorter."""
    made = recipe(voice)
    once, again, longer = (tone(made, middle(voice), 90, length) for length in (0.4, 0.4, 0.9))
    assert np.array_equal(once, again)
    assert np.allclose(once, longer[: len(once)], atol=1e-12)


@pytest.mark.parametrize("voice", VOICES)
def test_no_clicks(voice: str) -> None:
    """A note begins and ends at nothing, and where its key is let go there is no step that it hasn't if it is held."""
    low, high = recipe(voice).range
    for midi in (low, middle(voice), high):
        note = SYNTH.note(voice, midi, 100, 0.37).astype(float)
        steps = np.abs(np.diff(note))
        down = round(0.37 * RATE)
        held = SYNTH.note(voice, midi, 100, 0.6).astype(float)
        own = np.abs(np.diff(held))[down - 10_000 : down + round(0.01 * RATE)].max()
        assert abs(note[0]) < 2e-3 * abs(note).max()
        assert abs(note[-1]) < 1e-6
        assert steps[-round(0.01 * RATE) :].max() < 0.05 * steps.max()
        if len(note) > down:
            assert steps[down - 2 : down + round(0.01 * RATE)].max() <= 1.1 * own
            bends = np.abs(np.diff(note, 2))
            assert bends[down - 4 : down + 4].max() <= 1.2 * bends[down - 2000 : down].max()


@pytest.mark.parametrize("voice", VOICES)
def test_no_direct_current(voice: str) -> None:
    """The mean of a note, under a window that leaves out its edges, lies 60 dB below its power or lower."""
    for midi in recipe(voice).range:
        note = SYNTH.note(voice, midi, 100, 1.0).astype(float)
        mean = float((note * np.hanning(len(note))).sum() / np.hanning(len(note)).sum())
        assert 20 * np.log10(abs(mean) / note.std() + 1e-12) < -60


@pytest.mark.parametrize("voice", VOICES)
def test_no_aliases(voice: str) -> None:
    """High tones of pure partials have nothing between them, nor anything where no partial may be.

    A partial above half the samples' rate would be heard at another frequency, mirrored.
    """
    pure = replace(recipe(voice), noise=(), vibrato=(0, 0, 0), tremolo=(0, 0), players=((0, 1),))
    for midi in (pure.range[1], 103):
        wave = tone(pure, midi, 127, 1.0)
        spectrum = np.abs(np.fft.rfft(wave * np.blackman(len(wave))))
        hertz = np.fft.rfftfreq(len(wave), 1 / RATE)
        known = np.zeros(len(hertz), dtype=bool)
        for partial in partials(pure, midi, 127).hertz:
            known |= np.abs(hertz - partial) < 40
        assert 20 * np.log10(spectrum[~known].max() / spectrum.max()) < -65
        assert 20 * np.log10(spectrum[hertz > 18000].max() / spectrum.max()) < -90


def test_harder_is_brighter_not_louder() -> None:
    """Velocity gives a tone its colour; how loud it is the mix decides."""
    for voice in ("piano", "electric piano", "clarinet"):
        soft, hard = (partials(recipe(voice), 60, velocity) for velocity in (20, 120))
        centres = [float((p.hertz * p.amplitudes).sum() / p.amplitudes.sum()) for p in (soft, hard)]
        assert centres[0] < 0.9 * centres[1]


def test_noise_keeps_to_its_band() -> None:
    """Noise has nearly all its power in its band, and none at zero."""
    band = recipe("strings").noise[0]
    wave = hiss(band, RATE, RATE, 3)
    power = np.abs(np.fft.rfft(wave)) ** 2
    hertz = np.fft.rfftfreq(RATE, 1 / RATE)
    inside = (hertz > band.low / 1.5) & (hertz < band.high * 1.5)
    assert power[inside].sum() > 0.98 * power.sum()
    assert wave.std() == pytest.approx(1.0)


# Layers and turns

MADE_ANEW = (36, 37, 49, 51, 56, 63)
"""Kick, side stick, crash, ride, cowbell and conga."""


@pytest.mark.parametrize("key", MADE_ANEW)
def test_hard_strokes_are_brighter(key: int) -> None:
    """Each layer of a drum is brighter than the softer ones, and all have the same peak: how loud one is the mix decides."""
    waves = [stroke(key, velocity=velocity) for _, velocity in LAYERS]
    centres = [timbre(wave, RATE).centroid for wave in waves]
    assert all(1.01 * soft < hard for soft, hard in pairwise(centres)), centres
    assert np.ptp([np.abs(wave).max() for wave in waves]) < 1e-9
    assert [layer_of(highest) for highest, _ in LAYERS] == [0, 1, 2, 3]


@pytest.mark.parametrize("key", MADE_ANEW)
def test_no_stroke_is_the_same_as_the_one_before(key: int) -> None:
    """Strokes in a row differ, by less than 3 dB in loudness, and come round again: the same take has the same sound."""
    turns = [SYNTH.note(DRUMS, key, 90, np.inf, turn).astype(float) for turn in range(TURNS + 1)]
    for before, after in pairwise(turns):
        count = min(len(before), len(after))
        assert np.abs(np.corrcoef(before[:count], after[:count])[0, 1]) < 0.999
        assert abs(10 * np.log10((before**2).sum() / (after**2).sum())) < 3
    assert np.array_equal(turns[0], turns[-1])


def test_strokes_alternate_in_a_take() -> None:
    """The mix counts the strokes on each drum by itself."""
    notes = tuple(SoundingNote(0.5 * n, 0.1, (36, 42)[n % 2], 90) for n in range(6))
    asked: list[tuple[int, int]] = []

    class Counting(Synthesizer):
        def note(
            self, voice: str, midi: int, velocity: int, seconds: float, turn: int = 0
        ) -> NDArray[np.float32]:
            asked.append((midi, turn))
            return super().note(voice, midi, velocity, seconds, turn)

    list(mixed([Part(Instrument(DRUMS), notes)], Counting()))
    assert asked == [(36, 0), (42, 0), (36, 1), (42, 1), (36, 2), (42, 2)]


@pytest.mark.parametrize("voice", ["clarinet", "saxophone", "flute", "drawbar organ"])
def test_sustained_voices_move(voice: str) -> None:
    """The brightness of a held tone wanders by 2 % or more, and by less than a quarter."""
    wave = tone(recipe(voice), middle(voice), 90, 3.5)[RATE // 2 :]
    pieces = wave[: len(wave) // 8192 * 8192].reshape(-1, 8192)
    spectra = np.abs(np.fft.rfft(pieces * np.hanning(8192), axis=1))
    hertz = np.fft.rfftfreq(8192, 1 / RATE)
    centres = (spectra @ hertz) / spectra.sum(axis=1)
    assert 0.02 < centres.std() / centres.mean() < 0.25


# Limiter and room


def noise(count: int, loud: float) -> Samples:
    """Noise with bursts, of two rows."""
    rows = loud * (2 * Dice(5).doubles(2 * count).reshape(2, count) - 1)
    rows[:, : count // 3] *= 0.05
    rows[:, count // 2 : 3 * count // 4] *= 0.1
    return rows


def limited(rows: Samples, step: int) -> Samples:
    limiter = Limiter()
    out = [limiter.limited(rows[:, at : at + step]) for at in range(0, rows.shape[1], step)]
    return np.concatenate([*out, limiter.rest()], axis=1)


@pytest.mark.parametrize("loud", [0.5, 1.0, 4.0, 50.0])
def test_nothing_is_louder_than_the_ceiling(loud: float) -> None:
    """No sample passes the ceiling, whatever comes in, and as many come out as went in."""
    rows = noise(20_000, loud)
    out = limited(rows, 7000)
    assert out.shape == rows.shape
    assert np.abs(out).max() <= CEILING * ROUNDING


def test_what_is_soft_passes_as_it_is() -> None:
    """Music below the ceiling is not changed at all."""
    rows = noise(9001, 0.8)
    assert np.array_equal(limited(rows, 1000), rows)


def test_the_limiter_does_not_care_for_pieces() -> None:
    """The same music in other pieces comes out the same."""
    rows = noise(20_000, 3.0)
    whole = limited(rows, 20_000)
    for step in (333, 64, 5000):
        assert np.allclose(limited(rows, step), whole, atol=1e-12)


def test_the_gain_moves_slowly() -> None:
    """A single peak is turned down in time and given back slowly: the gain has no jump."""
    rows = np.full((2, 8000), 0.3)
    rows[:, 4000] = 6.0
    gain = limited(rows, 8000)[0] / rows[0]
    assert gain[4000] * 6 <= CEILING
    assert np.abs(np.diff(gain)).max() < 1 / 200
    assert gain[:3400].min() == 1.0
    assert 0.5 < gain[-1] < 1.0


def test_the_high_pass_keeps_what_can_be_heard() -> None:
    """A steady offset goes, the lowest note of a bass stays within 0.3 dB, and pieces make no difference."""
    at = np.arange(256_000) / RATE
    low = np.sin(2 * np.pi * 41.34375 * at)  # 120 periods in half of it
    rows = np.stack([low + 0.2, low])
    out = HighPass().passed(rows)
    late = out[:, 128_000:]
    assert np.abs(late.mean(axis=1)).max() < 1e-3
    assert np.abs(20 * np.log10(late.std(axis=1) / low.std())).max() < 0.3
    cut = HighPass()
    parts = [cut.passed(rows[:, start : start + 64_000]) for start in range(0, 256_000, 64_000)]
    assert np.allclose(np.concatenate(parts, axis=1), out, atol=1e-9)


def test_the_room_does_not_care_for_pieces() -> None:
    """The room answers the same however the music is cut, and goes on ringing between the pieces."""
    music = (Dice(2).doubles(90_000) - 0.5).astype(np.float32)
    whole = Room().added(music)
    room = Room()
    parts = [room.added(music[at : at + 40_000]) for at in range(0, 90_000, 40_000)]
    assert np.allclose(np.concatenate(parts, axis=1), whole, atol=1e-9)


def test_the_room_is_soft_and_differs_from_ear_to_ear() -> None:
    """The room's sound has the level of the table, and the two ears hear it nearly unlike."""
    rows = response()
    energy = float((rows**2).sum() / 2)
    assert 10 * np.log10(energy) == pytest.approx(room_plan().level, abs=0.01)
    assert abs(np.corrcoef(rows)[0, 1]) < 0.3
    assert abs(10 * np.log10((rows[0] ** 2).sum() / (rows[1] ** 2).sum())) < 1


# Mix


def scale(voice: str, *, velocity: int = 90, pan: float = 0.0, volume: int = 100) -> Part:
    base = middle(voice) - 6
    notes = tuple(SoundingNote(0.25 * n, 0.2, base + up, velocity) for n, up in enumerate((0, 4, 7, 12)))
    return Part(Instrument(voice, volume, pan), notes)


def test_sound_lasts_as_long_as_told() -> None:
    """The pieces together are as long as the notes and their tail, and end in silence."""
    part = scale("flute")
    rows = both_rows((part,))
    assert rows.shape == (2, round(seconds_of([part]) * RATE))
    assert np.abs(rows[:, -200:]).max() < 1e-4
    assert np.abs(np.diff(rows[:, -2000:])).max() < 1e-3


def test_silence_is_mixed_too() -> None:
    """Parts without notes give the tail's silence."""
    rows = both_rows((Part(Instrument("flute"), ()),))
    assert rows.shape[1] == round(seconds_of([]) * RATE)
    assert not rows.any()


def test_long_music_has_no_seams() -> None:
    """A tone held over the edges of the pieces that are mixed goes on as it would alone."""
    part = Part(Instrument("clarinet", 127, 0.0), (SoundingNote(0.0, 14.0, 60, 127),))
    rows = both_rows((part,), room=False)
    steps = np.abs(np.diff(rows[0]))
    edge = 1 << 18
    usual = steps[edge - 20_000 : edge - 1000].max()
    assert steps[edge - 10 : edge + 10].max() <= 1.02 * usual
    assert steps[2 * edge - 10 : 2 * edge + 10].max() <= 1.02 * usual


def test_pan_and_stereo() -> None:
    """A part on the left is louder there; a part in the middle sounds alike on both sides but for the room."""
    left = both_rows((scale("piano", pan=-0.8),))
    centre = both_rows((scale("clarinet"),))
    dry = both_rows((scale("clarinet"),), room=False)
    assert 10 * np.log10((left[0] ** 2).mean() / (left[1] ** 2).mean()) > 6
    assert abs(10 * np.log10((centre[0] ** 2).mean() / (centre[1] ** 2).mean())) < 1
    assert not np.allclose(centre[0], centre[1], atol=1e-3)
    assert np.array_equal(dry[0], dry[1])
    for pan in np.linspace(-1, 1, 9):
        assert sum(gain**2 for gain in panned(float(pan))) == pytest.approx(1.0)


def test_velocity_and_volume_count() -> None:
    """Velocity and volume are heard by the square of their share, in the mix as in the formula."""
    assert loudness(127, 127) == 1.0
    assert 20 * np.log10(loudness(90, 100) / loudness(45, 100)) == pytest.approx(12.04, abs=0.01)
    quiet, loud = (both_rows((scale("vibraphone", volume=v),), room=False) for v in (50, 100))
    assert np.allclose(4 * quiet, loud, atol=1e-6)


def test_a_closed_hi_hat_stops_an_open_one() -> None:
    """An open hi-hat rings until a closed one follows; other cymbals ring on."""
    for key, stops in ((46, True), (51, False)):
        rung = Part(Instrument(DRUMS), (SoundingNote(0.0, 0.05, key, 100),))
        stopped = Part(Instrument(DRUMS), (*rung.notes, SoundingNote(0.3, 0.05, 42, 1)))
        late = slice(round(0.36 * RATE), round(0.5 * RATE))
        alone, both = (both_rows((part,), room=False)[:, late] for part in (rung, stopped))
        ratio = float((both**2).mean() / (alone**2).mean())
        assert (ratio < 1e-3) == stops


def test_many_loud_notes_do_not_clip() -> None:
    """Forty notes struck as hard as can be stay below the ceiling."""
    chord = tuple(SoundingNote(0.0, 1.0, midi, 127) for midi in range(40, 80))
    crash = Part(Instrument(DRUMS, 127), (SoundingNote(0.0, 0.1, 49, 127), SoundingNote(0.0, 0.1, 36, 127)))
    rows = both_rows((Part(Instrument("piano", 127), chord), crash))
    assert 0.5 < np.abs(rows).max() <= CEILING * ROUNDING


# Bank


@cache
def bank(voice: str) -> banks.Bank:
    return banks.bank(voice)


@pytest.mark.parametrize("voice", VOICES)
def test_loops_have_no_seam(voice: str) -> None:
    """Where a sample goes back to its loop's start, it goes on as smoothly as anywhere."""
    for sample in bank(voice).samples:
        assert sample.loop is not None
        start, end = sample.loop
        assert end == len(sample.samples)
        wave = wave_of(sample).astype(float)
        around = np.concatenate([wave[end - 50 : end], wave[start : start + 50]])
        assert np.abs(np.diff(around)).max() <= 1.05 * np.abs(np.diff(wave[start:])).max()
        assert np.abs(np.diff(around, 2)).max() <= 1.1 * np.abs(np.diff(wave[start:], 2)).max()
        assert hertz_of(sample.pitch) == pytest.approx(hertz_of(sample.key), rel=0.0003)


def octaves(wave: Samples) -> Samples:
    """The level of each octave from 44 Hz up, in dB of the whole."""
    power = np.abs(np.fft.rfft(wave)) ** 2
    hertz = np.fft.rfftfreq(len(wave), 1 / RATE)
    sums = [power[(hertz >= low) & (hertz < 2 * low)].sum() for low in 44 * 2.0 ** np.arange(8)]
    return np.asarray(10 * np.log10(np.array(sums) / power.sum() + 1e-9))


@pytest.mark.parametrize("voice", VOICES)
def test_page_and_file_sound_alike(voice: str) -> None:
    """What a bank plays has nearly the loudness and the spectrum of what the synthesizer makes."""
    sampler = Sampler([bank(voice)])
    low, high = recipe(voice).range
    away, louder = [], []
    for midi in range(low, high + 1, 5):
        ours, theirs = (t.note(voice, midi, 92, 1.2).astype(float) for t in (SYNTH, sampler))
        count = min(len(ours), len(theirs))
        one, other = octaves(ours[:count]), octaves(theirs[:count])
        away.append(float(np.abs(one - other)[one > -20].max()))
        louder.append(10 * np.log10((theirs**2).sum() / (ours**2).sum()))
    assert np.median(away) < 3
    assert max(away) < 9
    assert np.abs(louder).max() < 3


def test_the_drums_of_a_bank_are_those_of_a_file() -> None:
    """A stroke from the bank has the level and the octaves of the stroke itself, as far as its rate reaches."""
    sampler = Sampler([bank(DRUMS)])
    for sample in bank(DRUMS).samples:
        ours = SYNTH.note(DRUMS, sample.key, sample.upto - 20, np.inf).astype(float)
        theirs = sampler.note(DRUMS, sample.key, sample.upto - 20, np.inf).astype(float)
        one, other = octaves(ours)[:7], octaves(theirs)[:7]
        assert np.abs(one - other)[one > -15].max(initial=0) < 5
        assert (sample.loop, sample.pan, sample.choke) == (
            None,
            drum_of(sample.key).pan,
            drum_of(sample.key).choke,
        )


def test_banks_are_small() -> None:
    """All voices and drums together fit into a page: 1.5 MB, a third more in base64."""
    assert sum(each.samples.nbytes for voice in (*VOICES, DRUMS) for each in bank(voice).samples) < 1_500_000


def test_documents_hold_the_samples() -> None:
    """The plain values of a bank hold its samples: summed up twice, low and high bytes together are 16-bit numbers."""
    document = bank("flute").document
    first = bank("flute").samples[0]
    planes = np.frombuffer(base64.b64decode(document["samples"][0]["pcm"]), np.uint8).reshape(2, -1)
    read = np.ascontiguousarray(planes.T).view("<i2")[:, 0].cumsum().cumsum().astype(np.int16)
    assert np.array_equal(read, first.samples)
    assert document["samples"][0]["loop"] == list(first.loop or ())
    assert document["release"] == recipe("flute").release


def test_other_keys_can_be_sampled() -> None:
    """A bank can be made at any pitches or drums, and refuses those that are not there."""
    assert [s.key for s in banks.bank("piano", [72, 60]).samples] == [60, 72]
    assert {s.key for s in banks.bank(DRUMS, [81]).samples} == {81}
    with pytest.raises(OptionError):
        banks.bank("pianola")
