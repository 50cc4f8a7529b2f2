// The way of the sound: parts struck as samples, put into their places, in a room, below a limiter.

/** @import { Bank, Bus, Event, Sample, Seat, Sounding, Voice, Whole, Wishes } from "./types.js" */

const CEILING = -3; // dB of full scale above which the limiter works
const RATIO = 20;
const STOPPED = 0.03; // seconds in which a choked stroke dies away
const FADE = 0.012;

/**
 * Numbers of 16 bits from their second differences, of which all low bytes come first, then all high ones.
 * @param {string} pcm as base64
 */
function numbers(pcm) {
  const bytes = atob(pcm);
  const count = bytes.length / 2;
  const found = new Int16Array(count);
  let [number, step] = [0, 0];
  for (let place = 0; place < count; place += 1) {
    step = (step + (bytes.charCodeAt(place) | (bytes.charCodeAt(count + place) << 8))) & 0xffff;
    number = (number + step) & 0xffff;
    found[place] = number;
  }
  return found;
}

/**
 * The K-weighted measures are those of the synthesizer: gain goes with the square of velocity and of volume.
 * @param {number} velocity
 * @param {number} volume
 */
function loudness(velocity, volume) {
  return (velocity / 127) ** 2 * (volume / 127) ** 2;
}

// By how much a limiter makes all louder: the inverse, to the power of 0.6, of what it leaves of full scale (W3C, Web
// Audio API 1.0, "DynamicsCompressorNode", computing the makeup gain).
const MADE_UP = 10 ** ((-0.6 * CEILING * (1 - 1 / RATIO)) / 20);

/**
 * Where a pitch lies on a wide instrument, in steps of a tenth.
 * @param {[number, number, number]} wide its lowest and highest pitch, and its width
 * @param {number} midi
 */
function across([low, high, width], midi) {
  const share = Math.min(1, Math.max(0, (midi - low) / (high - low)));
  return Math.round(10 * width * (share - 0.5)) / 10;
}

/**
 * The sample that is closest to a pitch.
 * @param {Sample[]} samples
 * @param {number} midi
 */
function nearest(samples, midi) {
  let best = samples[0];
  for (const sample of samples) {
    if (Math.abs(sample.key - midi) <= Math.abs(best.key - midi)) best = sample;
  }
  return best;
}

export class Sound {
  /**
   * @param {BaseAudioContext} context
   * @param {Bank} bank
   */
  constructor(context, bank) {
    this.context = context;
    this.bank = bank;
    /** @type {Map<string, Voice>} */
    this.voices = new Map();
    /** @type {Map<string, Bus>} */
    this.buses = new Map();
    /** @type {Sounding[]} */
    this.sounding = [];
    const { gain, fall } = bank.mix;
    this.fall = Float32Array.from(fall);
    this.volume = context.createGain();
    this.analyser = context.createAnalyser();
    this.analyser.fftSize = 8192;
    this.analyser.smoothingTimeConstant = 0;
    this.mix = context.createGain();
    this.mix.gain.value = gain;
    this.sent = context.createGain();
    this.sent.channelCount = 1;
    this.sent.channelCountMode = "explicit";
    this.sent.gain.value = gain;
    this.wire();
  }

  /** The way of the sound, as loud as sound files have it: see fillgen/sound/synth/mix.py. */
  wire() {
    const { context } = this;
    const limiter = context.createDynamicsCompressor();
    limiter.threshold.value = CEILING;
    limiter.knee.value = 0;
    limiter.ratio.value = RATIO;
    limiter.attack.value = 0.002;
    limiter.release.value = 0.15;
    const room = context.createConvolver();
    room.normalize = false;
    room.buffer = this.room();
    this.mix.connect(limiter);
    this.sent.connect(room).connect(limiter);
    const level = context.createGain();
    level.gain.value = 1 / MADE_UP;
    limiter.connect(level).connect(this.volume).connect(this.analyser).connect(context.destination);
  }

  /** What sounds now, as numbers from -1 to 1. */
  samples() {
    const found = new Float32Array(this.analyser.fftSize);
    this.analyser.getFloatTimeDomainData(found);
    return found;
  }

  /**
   * The room's answer at the rate of the sound hardware.
   * @returns {AudioBuffer}
   */
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

  /**
   * Makes ready what the parts play with.
   * @param {Whole} whole
   * @param {Wishes} wishes
   */
  wake(whole, wishes) {
    const seats = [...whole.parts, { ...whole.parts[3], part: "clicks" }];
    for (const seat of seats) {
      const voice = wishes.sounds?.[seat.part]?.voice ?? seat.voice;
      this.samplesOf(voice);
      const bus = this.buses.get(seat.part) ?? this.bus(seat);
      this.buses.set(seat.part, Object.assign(bus, { voice, volume: seat.volume }));
    }
  }

  /**
   * @param {Seat} seat
   * @returns {Bus}
   */
  bus(seat) {
    const level = this.context.createGain();
    const sent = this.context.createGain();
    level.connect(this.mix);
    sent.connect(this.sent);
    return { level, sent, pan: (seat.pan - 64) / 63, turns: new Map(), voice: seat.voice, volume: seat.volume };
  }

  /** @param {Wishes} wishes */
  level(wishes) {
    const now = this.context.currentTime;
    this.volume.gain.setTargetAtTime((wishes.volume / 100) ** 2, now, 0.02);
    for (const [part, bus] of this.buses) {
      const on = part === "clicks" || wishes.parts.includes(part);
      for (const way of [bus.level, bus.sent]) way.gain.setTargetAtTime(on ? 1 : 0, now, 0.01);
    }
  }

  /**
   * @param {string} voice
   * @returns {Voice}
   */
  samplesOf(voice) {
    const before = this.voices.get(voice);
    if (before) return before;
    const { release, samples, wide } = this.bank.voices[voice];
    const made = samples.map((sample) => {
      const read = numbers(sample.pcm);
      const buffer = this.context.createBuffer(1, read.length, sample.rate);
      buffer.copyToChannel(Float32Array.from(read, (each) => each / 32767), 0);
      return { ...sample, pcm: "", buffer };
    });
    const found = { release, samples: made, wide };
    this.voices.set(voice, found);
    return found;
  }

  /** @param {Event} event */
  strike(event) {
    const bus = this.buses.get(event.part);
    if (!bus) return;
    const at = Math.max(event.at, this.context.currentTime);
    if (bus.voice === "drums") this.drum(bus, event, at);
    else this.tone(bus, event, at);
  }

  /**
   * @param {Bus} bus
   * @param {Event} event
   * @param {number} at
   */
  tone(bus, event, at) {
    const { release, samples, wide } = this.samplesOf(bus.voice);
    const sample = nearest(samples, event.midi);
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

  /**
   * @param {Bus} bus
   * @param {Event} event
   * @param {number} at
   */
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

  /**
   * The sample of a stroke: that of its layer, the strokes of a layer in turn.
   * @param {Bus} bus
   * @param {Sample[]} samples
   * @param {Event} event
   */
  struck(bus, samples, event) {
    const { key } = nearest(samples, event.midi);
    const layers = samples.filter((sample) => sample.key === key && sample.upto >= event.velocity);
    const layer = layers.filter(({ upto }) => upto === layers[0].upto);
    const turn = bus.turns.get(key) ?? 0;
    bus.turns.set(key, turn + 1);
    return layer[turn % layer.length];
  }

  /**
   * Puts a sound into its place from left (-1) to right (1); the room hears it wherever it is.
   * @param {AudioNode} sound
   * @param {Bus} bus
   * @param {number} pan
   */
  place(sound, bus, pan) {
    const place = this.context.createStereoPanner();
    place.pan.value = Math.min(1, Math.max(-1, pan));
    sound.connect(place).connect(bus.level);
    sound.connect(bus.sent);
  }

  /**
   * A stroke silences the one before of its group, as the foot does the cymbals.
   * @param {string} group
   * @param {number} at
   */
  choke(group, at) {
    for (const each of this.sounding) {
      if (each.choke !== group || each.until <= at || each.from >= at) continue;
      each.cut.gain.setTargetAtTime(0, at, STOPPED / 3);
      each.source.stop(at + STOPPED * 3);
      each.until = at + STOPPED * 3;
    }
  }

  /**
   * @param {Sample} sample
   * @param {number} ratio
   */
  source(sample, ratio) {
    const source = this.context.createBufferSource();
    source.buffer = sample.buffer;
    source.playbackRate.value = ratio;
    return source;
  }

  /** @param {Sounding} sounding */
  keep(sounding) {
    const now = this.context.currentTime;
    this.sounding = this.sounding.filter((each) => each.until > now);
    this.sounding.push(sounding);
  }

  /**
   * Ends all that sounds or is about to, without a click.
   * @param {number} now
   */
  hush(now) {
    for (const { source, cut } of this.sounding) {
      cut.gain.cancelScheduledValues(0);
      cut.gain.setTargetAtTime(0, now, FADE);
      source.stop(now + 0.1);
    }
    this.sounding = [];
  }
}
