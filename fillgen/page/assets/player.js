// Plays an idea and tells which note is heard when.
import { tell } from "./elements.js";
import { seconds, take, tickAt } from "./music.js";
import { Sound } from "./sound.js";

/** @import { Bank, Event, Idea, Light, Run, Whole, Wishes } from "./types.js" */

const AHEAD = 0.4; // seconds that are handed to the sound hardware in advance
const AHEAD_UNSEEN = 2.5; // a page that nobody looks at is seldom woken
const PULSE = 25; // milliseconds between two looks at the clock
const LEAD = 0.12;
const SOON = 0.05; // seconds until changed music goes on
const GLANCE = 0.008; // a light is on the screen half a frame after it is asked for
const SLOWEST = 0.6;
const FASTER = 0.1;
const PATIENCE = 900; // milliseconds after which silence is said
/** @type {(keyof Wishes)[]} wishes that change what is still to come */
const ANEW = ["tempo", "shift", "sounds", "slow", "span"];

export class Player {
  /** @param {() => Promise<Bank>} loadBank answers with the sounds, when one is first wanted */
  constructor(loadBank) {
    this.loadBank = loadBank;
    /** @type {AudioContext|null} */
    this.context = null;
    /** @type {Sound|null} */
    this.sound = null;
    /** @type {Promise<Sound>|null} one for all who wait */
    this.ready = null;
    /** @type {Run|null} */
    this.run = null;
    this.busy = 0;
    this.timer = 0;
  }

  /** Has the sounds at hand before they are wanted, so that the first note comes at once. */
  warm() {
    this.loadBank().catch(() => {}); // Play tries again, and says what is wrong
  }

  get playing() {
    return this.run ? this.run.key : null;
  }

  /** The tick of the take that is heard now, and how many there are. */
  where() {
    const { run } = this;
    if (!run) return { tick: 0, length: 1 };
    const second = Math.max(0, heard(run) - run.begins);
    return { tick: tickAt(run.whole, run.idea, second, tempoOf(run)), length: run.whole.length };
  }

  /**
   * Begins an idea under a name of the page's; whatever played before ends.
   * @param {string} key
   * @param {Whole} whole
   * @param {Idea} idea
   * @param {Wishes} wishes
   */
  async play(key, whole, idea, wishes) {
    this.stop();
    this.busy += 1;
    const turn = this.busy;
    const { sound, context } = await this.open(whole, wishes);
    if (turn !== this.busy) return;
    const run = { key, whole, idea, wishes, sound, context, round: 0, lights: [], events: [], next: 0, begins: 0, ends: 0 };
    this.run = run;
    this.begin(run, context.currentTime + LEAD, wishes.span?.[0] ?? 0, true);
    tell("play", { key });
    this.timer = setInterval(() => this.pulse(), PULSE);
    this.frame();
    this.pulse();
  }

  stop() {
    this.busy += 1;
    if (!this.run) return;
    this.run.sound.hush(this.run.context.currentTime);
    this.end(false);
  }

  /**
   * What rings on after the last note may do so.
   * @param {boolean} [whole] whether it has come to its end
   */
  end(whole = true) {
    const { run } = this;
    if (!run) return;
    clearInterval(this.timer);
    darken(run);
    this.run = null;
    tell("stop", { key: run.key, whole });
  }

  /**
   * Takes new wishes while it plays: it goes on from the same place of the music.
   * @param {Wishes} wishes
   */
  change(wishes) {
    const { run } = this;
    if (!run) return;
    const now = run.context.currentTime;
    const before = tempoOf(run);
    const same = ANEW.every((name) => JSON.stringify(run.wishes[name]) === JSON.stringify(wishes[name]));
    run.wishes = wishes;
    run.sound.level(wishes);
    if (same) return;
    const tick = tickAt(run.whole, run.idea, Math.max(0, now - run.begins), before);
    run.sound.hush(now);
    darken(run);
    run.sound.wake(run.whole, wishes);
    const [from, to] = wishes.span ?? [0, run.whole.length];
    this.begin(run, now + SOON, now < run.begins || tick < from || tick >= to ? from : tick, false);
  }

  /**
   * Goes on from another tick.
   * @param {number} tick
   */
  jump(tick) {
    const { run } = this;
    if (!run) return;
    const now = run.context.currentTime;
    run.sound.hush(now);
    darken(run);
    this.begin(run, now + SOON, tick, false);
  }

  /** What sounds now, as numbers from -1 to 1; for those who want to see or to test it. */
  samples() {
    return this.sound?.samples() ?? new Float32Array(0);
  }

  /** The tempo that is played now, in quarter notes a minute; 0 in silence. */
  tempo() {
    return this.run ? tempoOf(this.run) : 0;
  }

  // Rounds

  /**
   * Begins a round.
   * @param {Run} run
   * @param {number} at a second of the audio clock
   * @param {number} tick from which it is played
   * @param {boolean} first
   */
  begin(run, at, tick, first) {
    const { whole, idea, wishes } = run;
    const tempo = tempoOf(run);
    const counted = wishes.countIn && (tick === 0 || wishes.span) && (first || wishes.slow);
    const clicks = counted ? (whole.bar_ticks / 480) * (60 / tempo) : 0;
    const made = take(whole, idea, { heard: wishes.parts, tempo, shift: wishes.shift });
    run.begins = at + clicks - seconds(idea, tick, tempo);
    const end = wishes.span?.[1] ?? made.length;
    run.ends = run.begins + seconds(idea, end, tempo);
    run.events = [];
    if (counted) {
      const second = 60 / tempo / 480;
      for (const [start, length, midi, velocity] of whole.clicks) {
        run.events.push({ part: "clicks", at: at + start * second, lasts: length * second, midi, velocity });
      }
    }
    for (const [part, strokes] of Object.entries(made.strokes)) {
      for (const [start, length, midi, velocity, note] of strokes) {
        if (start + 1 < tick || start >= end) continue;
        const due = run.begins + seconds(idea, start, tempo);
        const lasts = run.begins + seconds(idea, Math.min(start + length, end), tempo) - due;
        run.events.push({ part, at: due, lasts, midi, velocity, note });
      }
    }
    run.events.sort((a, b) => a.at - b.at);
    run.next = 0;
    tell("round", { key: run.key, round: run.round, tempo });
  }

  pulse() {
    const { run } = this;
    if (!run) return;
    const until = run.context.currentTime + (document.hidden ? AHEAD_UNSEEN : AHEAD);
    while (this.run === run && isDue(run, until)) {
      while (run.next < run.events.length && run.events[run.next].at < until) strike(run, run.events[run.next++]);
      if (run.next < run.events.length || run.ends > until) break;
      if (!this.again(run)) break;
    }
    this.shine();
  }

  /**
   * Whether another round begins; where none does, all is over once the last note has been heard.
   * @param {Run} run
   */
  again(run) {
    const full = !run.wishes.slow || SLOWEST + FASTER * run.round >= 1;
    if (!run.wishes.loop && full) {
      if (heard(run) >= run.ends) this.end();
      return false;
    }
    run.round += 1;
    this.begin(run, run.ends, run.wishes.span?.[0] ?? 0, false);
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
    const { run } = this;
    if (!run) return;
    const now = heard(run);
    /** @type {Light[]} */
    const left = [];
    for (const light of run.lights) {
      if (!light.lit && now + GLANCE >= light.detail.due) {
        light.lit = true;
        light.detail.at = now;
        tell("lit", light.detail);
      }
      if (light.lit && now >= light.ends) tell("unlit", light.detail);
      else left.push(light);
    }
    run.lights = left;
  }

  // Sound

  /**
   * @param {Whole} whole
   * @param {Wishes} wishes
   */
  async open(whole, wishes) {
    const context = this.clock();
    const running = context.state === "running" ? null : awake(context); // while the sounds are made ready
    this.ready ??= this.prepare().catch((error) => {
      this.ready = null; // the next who plays tries anew
      throw error;
    });
    const [sound] = await Promise.all([this.ready, running]);
    sound.wake(whole, wishes);
    sound.level(wishes);
    return { sound, context };
  }

  async prepare() {
    const context = this.clock();
    this.sound = new Sound(context, await this.loadBank());
    return this.sound;
  }

  /** The audio clock, one for all that is played. */
  clock() {
    const Context = window.AudioContext || /** @type {any} */ (window).webkitAudioContext;
    if (!Context) throw new Error("this browser has no sound for pages");
    this.context ??= /** @type {AudioContext} */ (new Context({ latencyHint: "interactive" }));
    return this.context;
  }
}

/**
 * Waits for the sound to start. Browsers don't report that they can't make sound, so after a moment the page says that it
 * hears nothing. Sound that starts late, as on a busy computer, still plays.
 * @param {AudioContext} context
 */
async function awake(context) {
  const late = setTimeout(() => tell("silent", {}), PATIENCE);
  try {
    await context.resume();
  } finally {
    clearTimeout(late);
  }
}

/**
 * The second of the audio clock that is heard just now.
 * @param {Run} run
 */
function heard({ context: { currentTime, outputLatency, baseLatency } }) {
  return currentTime - Math.min(0.3, outputLatency || baseLatency || 0);
}

/** @param {Run} run */
function tempoOf({ wishes, round }) {
  return wishes.tempo * (wishes.slow ? Math.min(1, SLOWEST + FASTER * round) : 1);
}

/**
 * @param {Run} run
 * @param {number} until a second of the audio clock
 */
function isDue(run, until) {
  return (run.next < run.events.length && run.events[run.next].at < until) || run.ends <= until;
}

/**
 * @param {Run} run
 * @param {Event} event
 */
function strike(run, event) {
  const { note } = event;
  if (note !== undefined) {
    const detail = { key: run.key, note, ids: run.idea.notes[note].ids, due: event.at, at: 0 };
    run.lights.push({ detail, ends: event.at + Math.max(0.06, event.lasts - 0.03), lit: false });
  }
  run.sound.strike(event);
}

/**
 * Nothing is lit any more.
 * @param {Run} run
 */
function darken(run) {
  for (const light of run.lights) if (light.lit) tell("unlit", light.detail);
  run.lights = [];
}
