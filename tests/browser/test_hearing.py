"""What the page sounds like, and whether notes light up as they sound: judged by the browser's own audio clock."""

from __future__ import annotations

import numpy as np
import pytest

import fillgen
from fillgen.hands.playing import PARTS, Playing
from fillgen.sound.files import parts_of
from fillgen.sound.playback import to_performance
from fillgen.theory.metre import swung
from fillgen.writers.midi import to_midi
from tests.browser.conftest import Open, Tab
from tests.sampler import mixed

LATE = 0.03
"""Seconds by which a light may be early or late."""
TAKES = 6
"""On a machine that does other work a light may miss its moment by chance; no note may miss it in so many takes."""
FLOOR = 0.01
"""The root mean square of samples from -1 to 1 (-40 dB) above which a page counts as heard."""

LISTEN = """() => {
    window.takes = []; window.unseen = []; window.loud = 0; window.over = false;
    document.addEventListener("fillgen:round", () => takes.push([]));
    document.addEventListener("fillgen:lit", ({ detail }) => {
        takes.at(-1).push([detail.note, detail.due, detail.at]);
        for (const id of detail.ids) {
            if (!document.querySelector(`#card-1-1 [data-id="${id}"]`).classList.contains("lit")) unseen.push(id);
        }
        const samples = fillgen.player.samples();
        loud = Math.max(loud, Math.sqrt(samples.reduce((sum, each) => sum + each * each, 0) / samples.length));
    });
    document.addEventListener("fillgen:stop", () => { over = true; });
}"""


def test_every_note_is_lit_at_its_time(open_page: Open) -> None:
    """Each note once a take, in order, due when the MIDI file has it, within 30 ms of that by the audio clock."""
    tempo = 200
    found = fillgen.ideas("| Dm7 | G7 |", rhythm="swing", tempo=tempo, count=1, level=5, busy="many", seed=2)
    tab = open_page(found, Playing(parts=PARTS))
    tab.page.evaluate(LISTEN)
    tab.tell("fillgen.settings.set({ volume: 60, loop: 'idea' })")
    tab.page.click("#card-1-1 .play")
    notes = list(range(len(found[0].notes)))
    best = dict.fromkeys(notes, 1.0)
    late = []
    for take in range(TAKES):
        tab.wait(f"takes.length > {take + 1}")
        lit = tab.tell(f"takes[{take}]")
        _due(found, lit, swing_of_page(tab, tempo))
        for note, due, at in lit:
            best[note] = min(best[note], abs(at - due))
        late.append(sum(abs(at - due) > LATE for _, due, at in lit))
        if max(best.values()) <= LATE:
            break
    print(f"of {len(notes)} notes a take, lit more than 30 ms from their time: {late}")
    assert {note: off for note, off in best.items() if off > LATE} == {}
    assert tab.tell("unseen") == []
    assert FLOOR < tab.tell("loud") <= 1
    tab.page.click("#play")
    assert tab.page.locator(".lit, .sounding").count() == 0


def _due(found: fillgen.Ideas, lit: list[list[float]], ratio: float) -> None:
    """Lights come in the order of the notes, for the moments that the MIDI writer's swing gives."""
    assert [note for note, _, _ in lit] == list(range(len(found[0].notes)))
    seconds = [swung(told.note.onset, ratio) / 480 * 60 / found.tempo for told in found[0].notes]
    first = lit[0][1] - seconds[0]
    for (_, due, _), second in zip(lit, seconds, strict=True):
        assert due - first == pytest.approx(second, abs=1e-6)


def swing_of_page(tab: Tab, tempo: int) -> float:
    """The swing that the page's own facts give for a tempo."""
    swing = tab.tell("fillgen.rounds[0].whole.swing")
    if swing["fixed"] is not None:
        return float(swing["fixed"])
    ratio = min(swing["largest"], max(swing["smallest"], 60 / tempo / swing["short"] - 1))
    return round(ratio, 3)


def test_it_comes_to_an_end_by_itself(open_page: Open) -> None:
    found = fillgen.ideas("| C6 |", rhythm="swing", tempo=280, count=1, purpose="ending", seed=2)
    tab = open_page(found)
    tab.page.evaluate(LISTEN)
    tab.page.click("#card-1-1 .play")
    tab.wait("over")
    assert len(tab.tell("takes")) == 1
    assert tab.page.locator(".lit, .sounding").count() == 0
    assert tab.page.locator("#card-1-1 .play .word").inner_text() == "Play"
    assert tab.page.locator("#play").get_attribute("aria-label") == "Play"


# Loudness

ALIKE = 1.8
"""Decibels by which the page and a sound file may differ: its samples have one colour, and cymbals reach 11 kHz there."""
RENDER = """async ([part, seconds]) => {
    const { player, current } = fillgen;
    const { whole } = current.round;
    const { bank, constructor: Sound } = await player.prepare();
    const context = new OfflineAudioContext(2, Math.round(seconds * 44100), 44100);
    const sound = new Sound(context, bank);
    const wishes = { ...fillgen.playing.wishesFor(current), parts: [part], volume: 100, countIn: false, loop: false, slow: false };
    sound.wake(whole, wishes);
    sound.level(wishes);
    for (const bus of sound.buses.values()) bus.volume /= 2; // a quarter of the level, which the limiter leaves alone
    const run = { key: "", whole, idea: current.idea, wishes, sound, context, round: 0, lights: [], events: [], next: 0, begins: 0, ends: 0 };
    player.begin(run, 0, 0, true);
    for (const event of run.events) if (event.part === part) sound.strike(event);
    const made = await context.startRendering();
    return [0, 1].map((ear) => 4 * Math.sqrt(made.getChannelData(ear).reduce((sum, each) => sum + each * each, 0)));
}"""


@pytest.mark.parametrize("part", PARTS)
def test_page_is_as_loud_as_a_sound_file(open_page: Open, part: str) -> None:
    """At full volume each part by itself has the energy of the file's mix, within a decibel, in both ears.

    The file's mix is compared before its loudness is brought to that of all sound files.
    """
    found = fillgen.ideas("| Dm7 | G7 | C6 | C6 |", rhythm="swing", count=1, seed=2)
    playing = Playing(parts=(part,))
    samples = np.concatenate(list(mixed(parts_of(to_performance(to_midi(found, playing))))), axis=1).T
    count = len(samples)
    tab = open_page(found, playing)
    page = np.array(tab.page.evaluate(RENDER, [part, count / 44100]))
    apart = 20 * np.log10(page / np.sqrt((samples**2).sum(axis=0)))
    assert np.abs(apart).max() <= ALIKE, apart


def test_page_begins_at_a_moderate_volume(open_page: Open, ideas: fillgen.Ideas) -> None:
    """At first it is 14 dB or more below what it can be."""
    tab = open_page(ideas)
    assert 40 * np.log10(tab.tell("fillgen.settings.kept.volume / 100")) <= -14


# Pitches

WATCH = """(wait) => {
    window.heard = [];
    let struck = null;
    document.addEventListener("fillgen:lit", ({ detail }) => { struck = detail; });
    setInterval(() => {
        const { context, run } = fillgen.player;
        if (!run || !struck || heard.some((each) => each[3] === struck)) return;
        const { note, due } = struck;
        const before = context.currentTime;
        const samples = [...fillgen.player.samples()];
        if (before >= due + wait) heard.push([note, context.currentTime - due, samples, struck]);
    }, 20);
}"""
SLOW = 90
"""Quarter notes a minute: notes last longer than the window that a spectrum needs."""
_SETTLED = 0.1
"""Seconds after which the note before has died away."""


@pytest.mark.parametrize("shift", [0, 5])
def test_other_pitches_are_heard_in_another_key(open_page: Open, shift: int) -> None:
    """The strongest of the spectrum is the pitch that is shown: 440 Hz for A4 (ISO 16:1975), equal half steps."""
    found = fillgen.ideas("| G | Bm | C | D |", rhythm="ballad", tempo=SLOW, count=1, level=2, seed=1)
    tab = open_page(found, Playing(), {"right": "Vibraphone"})
    if shift:
        tab.tell(f"fillgen.settings.set({{ shift: {shift} }})")
        tab.wait(f"fillgen.lookOf(fillgen.current).own.shift === {shift}")
    tab.tell("fillgen.settings.set({ loop: 'idea' })")
    tab.page.click("#card-1-1 .play")
    tab.wait("fillgen.player.run")
    rate, size = tab.tell("fillgen.player.context.sampleRate"), tab.tell("fillgen.player.samples().length")
    tab.page.evaluate(WATCH, _SETTLED + size / rate)
    lasts = [told.note.length / 480 * 60 / SLOW * 0.8 for told in found[0].notes]
    tab.wait(f"heard.filter(([note, since]) => since < {lasts}[note]).length > 1")
    tab.page.keyboard.press("Escape")
    notes = [told.note for told in found[0].notes]
    # what was read too late for its note, on a busy machine, says nothing
    alone = [
        (n, row) for n, since, row, _ in tab.tell("heard") if since < notes[n].length / 480 * 60 / SLOW * 0.8
    ]
    assert len(alone) >= 2
    assert [_pitch(row, rate) for _, row in alone] == [notes[n].midi + shift for n, _ in alone]


def _pitch(samples: list[float], rate: float) -> int:
    """The MIDI pitch at which a spectrum is strongest."""
    row = np.array(samples) * np.hanning(len(samples))
    spectrum = np.abs(np.fft.rfft(row, 4 * len(row)))
    hertz = np.argmax(spectrum) * rate / (4 * len(row))
    return round(69 + 12 * np.log2(hertz / 440))
