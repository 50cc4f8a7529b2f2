// Plays an idea from sampled voices and tells which note is heard when.
import { seconds, take, tickAt } from "./music.js";

const AHEAD = 0.4; // seconds that are handed to the sound hardware in advance
const AHEAD_UNSEEN = 2.5; // a page that nobody looks at is seldom woken
const PULSE = 25; // milliseconds between two looks at the clock
const LEAD = 0.12;
const GLANCE = 0.008; // a light is on the screen half a frame after it is asked for
const CEILING = -3; // dB of full scale above which the limiter works
const RATIO = 20;
const STOPPED = 0.03;
const SLOWEST = 0.6;
const FASTER = 0.1;
const PATIENCE = 900; // milliseconds in which the sound must have begun to run
const ANEW = ["tempo", "shift", "sounds", "slow", "span"]; // wishes that change what is still to come

function numbers(pcm) {
  const bytes = atob(pcm);
  const view = new Uint8Array(bytes.length);
  for (let place = 0; place < bytes.length; place += 1) view[place] = bytes.charCodeAt(place);
  return new Int16Array(view.buffer);
}

// The K-weighted measures are those of the synthesizer: gain goes with the square of velocity and of volume.
function loudness(velocity, volume) {
  return (velocity / 127) ** 2 * (volume / 127) ** 2;
}

// By how much a limiter makes all louder: the inverse, to the power of 0.6, of what it leaves of full scale (W3C, Web
// Audio API 1.0, "DynamicsCompressorNode", computing the makeup gain).
const MADE_UP = 10 ** ((-0.6 * CEILING * (1 - 1 / RATIO)) / 20);

// Where a pitch lies on a wide instrument, in steps of a tenth.
function across([low, high, width], midi) {
  const share = Math.min(1, Math.max(0, (midi - low) / (high - low)));
  return Math.round(10 * width * (share - 0.5)) / 10;
}

function tell(name, detail) {
  document.dispatchEvent(new CustomEvent(`fillgen:${name}`, { detail }));
}

export class Player {
  // `loadBank` answers with the bank document, when a sound is first wanted.
  constructor(loadBank) {
    this.loadBank = loadBank;
    this.context = null;
    this.ready = null; // the promise of bank and wiring, one for all who wait
    this.analyser = null;
    this.run = null;
    this.voices = new Map();
    this.busy = 0;
  }

  get playing() {
    return this.run ? this.run.key : null;
  }

  // The tick of the take that is heard now, and how many there are.
  where() {
    const { run } = this;
    if (!run) return { tick: 0, length: 1 };
    const second = Math.max(0, this.heard() - run.begins);
    return { tick: tickAt(run.whole, run.idea, second, this.tempo()), length: run.whole.length };
  }

  // Begins an idea under a name of the page's; whatever played before ends.
  async play(key, whole, idea, wishes) {
    this.stop();
    this.busy += 1;
    const turn = this.busy;
    await this.open(whole, wishes);
    if (turn !== this.busy) return;
    this.run = { key, whole, idea, wishes, round: 0, lights: [], sounding: [], begins: 0 };
    this.begin(this.context.currentTime + LEAD, wishes.span?.[0] ?? 0, true);
    tell("play", { key });
    this.timer = setInterval(() => this.pulse(), PULSE);
    this.frame();
    this.pulse();
  }

  stop() {
    this.busy += 1;
    if (!this.run) return;
    this.hush(this.context.currentTime);
    this.end(false);
  }

  // What rings on after the last note may do so.
  end(whole = true) {
    const { key } = this.run;
    clearInterval(this.timer);
    for (const light of this.run.lights) if (light.lit) tell("unlit", light.detail);
    this.run = null;
    tell("stop", { key, whole });
  }

  // Takes new wishes while it plays: it goes on from the same place of the music.
  change(wishes) {
    if (!this.run) return;
    const { run } = this;
    const now = this.context.currentTime;
    const before = this.tempo();
    const same = ANEW.every((name) => JSON.stringify(run.wishes[name]) === JSON.stringify(wishes[name]));
    run.wishes = wishes;
    this.level(wishes);
    if (same) return;
    const second = Math.max(0, now - run.begins);
    const tick = tickAt(run.whole, run.idea, second, before);
    this.hush(now);
    run.lights = run.lights.filter((light) => {
      if (light.lit) tell("unlit", light.detail);
      return false;
    });
    this.wake(run.whole, wishes);
    const [from, to] = wishes.span ?? [0, run.whole.length];
    this.begin(now + 0.05, now < run.begins || tick < from || tick >= to ? from : tick, false);
  }

  // Goes on from another tick.
  jump(tick) {
    if (!this.run) return;
    const now = this.context.currentTime;
    this.hush(now);
    for (const light of this.run.lights) if (light.lit) tell("unlit", light.detail);
    this.run.lights = [];
    this.begin(now + 0.05, tick, false);
  }

  // What sounds now, as numbers from -1 to 1; for those who want to see or to test it.
  samples() {
    const found = new Float32Array(this.analyser ? this.analyser.fftSize : 0);
    if (this.analyser) this.analyser.getFloatTimeDomainData(found);
    return found;
  }

  // The second of the audio clock that is heard just now.
  heard() {
    const { currentTime, outputLatency, baseLatency } = this.context;
    return currentTime - Math.min(0.3, outputLatency || baseLatency || 0);
  }

  tempo() {
    const { wishes, round } = this.run;
    const share = wishes.slow ? Math.min(1, SLOWEST + FASTER * round) : 1;
    return wishes.tempo * share;
  }

  // Rounds

  begin(at, tick, first) {
    const { run } = this;
    const { whole, idea, wishes } = run;
    const tempo = this.tempo();
    const counted = wishes.countIn && (tick === 0 || wishes.span) && (first || wishes.slow);
    const clicks = counted ? (whole.bar_ticks / 480) * (60 / tempo) : 0;
    const made = take(whole, idea, { heard: wishes.parts, tempo, shift: wishes.shift });
    run.begins = at + clicks - seconds(idea, tick, tempo);
    const end = wishes.span?.[1] ?? made.length;
    run.ends = run.begins + seconds(idea, end, tempo);
    run.events = [];
    const before = at; // the clicks come before the music
    if (counted) {
      const second = 60 / tempo / 480;
      for (const [start, length, midi, velocity] of whole.clicks) {
        run.events.push({ part: "clicks", at: before + start * second, lasts: length * second, midi, velocity });
      }
    }
    for (const [part, strokes] of Object.entries(made.strokes)) {
      for (const [start, length, midi, velocity, note] of strokes) {
        const due = run.begins + seconds(idea, start, tempo);
        if (start + 1 < tick || start >= end) continue;
        const lasts = run.begins + seconds(idea, Math.min(start + length, end), tempo) - due;
        run.events.push({ part, at: due, lasts, midi, velocity, note });
      }
    }
    run.events.sort((a, b) => a.at - b.at);
    run.next = 0;
    tell("round", { key: run.key, round: run.round, tempo });
  }

  pulse() {
    if (!this.run) return;
    const { run, context } = this;
    const until = context.currentTime + (document.hidden ? AHEAD_UNSEEN : AHEAD);
    while (this.run && this.due(until)) {
      while (run.next < run.events.length && run.events[run.next].at < until) this.strike(run.events[run.next++]);
      if (run.next < run.events.length || run.ends > until) break;
      if (!this.again()) break;
    }
    this.shine();
  }

  due(until) {
    const { run } = this;
    return (run.next < run.events.length && run.events[run.next].at < until) || run.ends <= until;
  }

  // Whether another round begins; where none does, all is over once the last note has been heard.
  again() {
    const { run } = this;
    const full = !run.wishes.slow || SLOWEST + FASTER * run.round >= 1;
    if (!run.wishes.loop && full) {
      if (this.heard() >= run.ends) this.end();
      return false;
    }
    run.round += 1;
    this.begin(run.ends, run.wishes.span?.[0] ?? 0, false);
    return true;
  }

  // Lights

  frame() {
    requestAnimationFrame(() => {
      if (!this.run) return;
      this.shine();
      this.frame();
    });
  }

  shine() {
    if (!this.run) return;
    const heard = this.heard();
    const left = [];
    for (const light of this.run.lights) {
      if (!light.lit && heard + GLANCE >= light.detail.due) {
        light.lit = true;
        light.detail.at = heard;
        tell("lit", light.detail);
      }
      if (light.lit && heard >= light.ends) tell("unlit", light.detail);
      else left.push(light);
    }
    this.run.lights = left;
  }

  // Sound

  async open(whole, wishes) {
    this.ready ??= this.prepare().catch((error) => {
      this.ready = null; // the next who plays tries anew
      throw error;
    });
    await this.ready;
    if (this.context.state !== "running") await this.awake();
    this.wake(whole, wishes);
    this.level(wishes);
  }

  // A browser without a way to sound waits for ever: that is said instead.
  async awake() {
    const late = new Promise((done) => setTimeout(done, PATIENCE, "late"));
    const found = await Promise.race([this.context.resume(), late]);
    if (found === "late" && this.context.state !== "running") {
      throw new Error("the browser gives no sound. Look whether a speaker or headphones are connected and this page isn't muted, then press Play again");
    }
  }

  async prepare() {
    const Context = window.AudioContext || window.webkitAudioContext;
    if (!Context) throw new Error("this browser has no sound for pages");
    this.context ??= new Context({ latencyHint: "interactive" });
    this.bank = await this.loadBank();
    this.wire();
  }

  // The way of the sound, as loud as sound files have it: see fillgen/synth/mix.py.
  wire() {
    const { context } = this;
    const { gain, fall } = this.bank.mix;
    this.fall = Float32Array.from(fall);
    this.volume = context.createGain();
    const limiter = context.createDynamicsCompressor();
    limiter.threshold.value = CEILING;
    limiter.knee.value = 0;
    limiter.ratio.value = RATIO;
    limiter.attack.value = 0.002;
    limiter.release.value = 0.15;
    this.analyser = context.createAnalyser();
    this.analyser.fftSize = 8192;
    this.analyser.smoothingTimeConstant = 0;
    this.mix = context.createGain();
    this.mix.gain.value = gain;
    const room = context.createConvolver();
    room.normalize = false;
    room.buffer = this.room();
    this.mix.connect(limiter);
    this.sent = context.createGain();
    this.sent.channelCount = 1;
    this.sent.channelCountMode = "explicit";
    this.sent.gain.value = gain;
    this.sent.connect(room).connect(limiter);
    const level = context.createGain();
    level.gain.value = 1 / MADE_UP;
    limiter.connect(level).connect(this.volume).connect(this.analyser).connect(context.destination);
    this.buses = new Map();
  }

  // The room's answer at the rate of the sound hardware.
  room() {
    const { rate, gain, pcm } = this.bank.room;
    const both = numbers(pcm);
    const count = both.length / 2;
    const step = rate / this.context.sampleRate;
    const length = Math.floor((count - 1) / step);
    const buffer = this.context.createBuffer(2, length, this.context.sampleRate);
    for (let ear = 0; ear < 2; ear += 1) {
      const row = buffer.getChannelData(ear);
      for (let place = 0; place < length; place += 1) {
        const at = place * step;
        const low = Math.floor(at);
        const before = both[ear * count + low];
        const after = both[ear * count + low + 1];
        row[place] = ((before + (after - before) * (at - low)) / 32767) * gain * step;
      }
    }
    return buffer;
  }

  // Makes ready what the parts play with.
  wake(whole, wishes) {
    const seats = [...whole.parts, { ...whole.parts[3], part: "clicks" }];
    for (const seat of seats) {
      const voice = wishes.sounds?.[seat.part]?.voice ?? seat.voice;
      this.samplesOf(voice);
      if (!this.buses.has(seat.part)) this.buses.set(seat.part, this.bus(seat));
      Object.assign(this.buses.get(seat.part), { voice, volume: seat.volume });
    }
  }

  bus(seat) {
    const level = this.context.createGain();
    const sent = this.context.createGain();
    level.connect(this.mix);
    sent.connect(this.sent);
    return { level, sent, pan: (seat.pan - 64) / 63, turns: new Map() };
  }

  level(wishes) {
    const now = this.context.currentTime;
    this.volume.gain.setTargetAtTime((wishes.volume / 100) ** 2, now, 0.02);
    for (const [part, bus] of this.buses) {
      const on = part === "clicks" || wishes.parts.includes(part);
      for (const way of [bus.level, bus.sent]) way.gain.setTargetAtTime(on ? 1 : 0, now, 0.01);
    }
  }

  samplesOf(voice) {
    if (!this.voices.has(voice)) {
      const { release, samples, wide } = this.bank.voices[voice];
      const made = samples.map((sample) => {
        const read = numbers(sample.pcm);
        const buffer = this.context.createBuffer(1, read.length, sample.rate);
        buffer.copyToChannel(Float32Array.from(read, (each) => each / 32767), 0);
        return { ...sample, pcm: "", buffer };
      });
      this.voices.set(voice, { release, samples: made, wide });
    }
    return this.voices.get(voice);
  }

  strike(event) {
    const bus = this.buses.get(event.part);
    if (event.note !== undefined) this.light(event);
    const at = Math.max(event.at, this.context.currentTime);
    if (bus.voice === "drums") this.drum(bus, event, at);
    else this.tone(bus, event, at);
  }

  light(event) {
    const { run } = this;
    const ids = run.idea.notes[event.note].ids;
    const detail = { key: run.key, note: event.note, ids, due: event.at, at: 0 };
    run.lights.push({ detail, ends: event.at + Math.max(0.06, event.lasts - 0.03), lit: false });
  }

  nearest(samples, midi) {
    let best = samples[0];
    for (const sample of samples) {
      if (Math.abs(sample.key - midi) <= Math.abs(best.key - midi)) best = sample;
    }
    return best;
  }

  tone(bus, event, at) {
    const { release, samples, wide } = this.samplesOf(bus.voice);
    const sample = this.nearest(samples, event.midi);
    const ratio = 2 ** ((event.midi - sample.pitch) / 12);
    const level = loudness(event.velocity, bus.volume) * sample.gain;
    const down = at + event.lasts;
    const source = this.source(sample, ratio);
    const gain = this.context.createGain();
    gain.gain.setValueAtTime(level, at);
    const [start, end] = sample.loop;
    source.loop = true;
    source.loopStart = start / sample.rate;
    source.loopEnd = end / sample.rate;
    const falls = at + start / sample.rate / ratio;
    let left = level;
    if (sample.decay && down > falls) {
      left = level * 10 ** ((-sample.decay / 20) * (down - falls));
      gain.gain.setValueAtTime(level, falls);
      gain.gain.exponentialRampToValueAtTime(left, down);
    }
    gain.gain.setValueCurveAtTime(this.fall.map((share) => share * left), down, release);
    const cut = this.context.createGain();
    source.connect(gain).connect(cut);
    this.place(cut, bus, bus.pan + across(wide, event.midi));
    source.start(at);
    source.stop(down + release + 0.01);
    this.keep({ source, cut, from: at, until: down + release });
  }

  drum(bus, event, at) {
    const { samples } = this.samplesOf("drums");
    const sample = this.struck(bus, samples, event);
    const source = this.source(sample, 1);
    const gain = this.context.createGain();
    gain.gain.value = loudness(event.velocity, bus.volume) * sample.gain * this.bank.mix.drums;
    const cut = this.context.createGain();
    source.connect(gain).connect(cut);
    this.place(cut, bus, sample.pan);
    source.start(at);
    if (sample.choke) this.choke(sample.choke, at);
    this.keep({ source, cut, from: at, until: at + sample.buffer.duration, choke: sample.choke });
  }

  // The sample of a stroke: that of its layer, the strokes of a layer in turn.
  struck(bus, samples, event) {
    const { key } = this.nearest(samples, event.midi);
    const layers = samples.filter((sample) => sample.key === key && sample.upto >= event.velocity);
    const layer = layers.filter(({ upto }) => upto === layers[0].upto);
    const turn = bus.turns.get(key) ?? 0;
    bus.turns.set(key, turn + 1);
    return layer[turn % layer.length];
  }

  // Puts a sound into its place from left (-1) to right (1); the room hears it wherever it is.
  place(sound, bus, pan) {
    const place = this.context.createStereoPanner();
    place.pan.value = Math.min(1, Math.max(-1, pan));
    sound.connect(place).connect(bus.level);
    sound.connect(bus.sent);
  }

  // A stroke silences the one before of its group, as the foot does the cymbals.
  choke(group, at) {
    for (const each of this.run.sounding) {
      if (each.choke !== group || each.until <= at || each.from >= at) continue;
      each.cut.gain.setTargetAtTime(0, at, STOPPED / 3);
      each.source.stop(at + STOPPED * 3);
      each.until = at + STOPPED * 3;
    }
  }

  source(sample, ratio) {
    const source = this.context.createBufferSource();
    source.buffer = sample.buffer;
    source.playbackRate.value = ratio;
    return source;
  }

  keep(sounding) {
    const now = this.context.currentTime;
    this.run.sounding = this.run.sounding.filter((each) => each.until > now);
    this.run.sounding.push(sounding);
  }

  // Ends all that sounds or is about to, without a click.
  hush(now) {
    for (const { source, cut } of this.run.sounding) {
      cut.gain.cancelScheduledValues(0);
      cut.gain.setTargetAtTime(0, now, 0.012);
      source.stop(now + 0.1);
    }
    this.run.sounding = [];
  }
}
