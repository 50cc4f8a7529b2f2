// Notes played on a keyboard (Web MIDI), taken down against a metronome. Permission is asked for on a button only.
import { barQuarters, beatQuarters } from "./beats.js";
import { button, choice, field, make, many } from "../elements.js";

/** @import { ReadChart } from "../types.js" */

const NOTE_ON = 0x90;
const NOTE_OFF = 0x80;
const LOUDEST = 0.25; // share of full scale of a click, at full volume
const MOST_LATENCY = 500; // milliseconds that can be made up for, as on the command line
const PATIENCE = 2000; // milliseconds in which the clicks must have begun to run
/** @type {Record<string, string>} */
const REFUSED = {
  NotAllowedError: "the browser blocked it. Allow MIDI for this page in the browser",
  SecurityError: "the browser doesn't allow it for this page",
  NotSupportedError: "this computer or browser has no MIDI",
  InvalidStateError: "the system's MIDI doesn't answer",
};
const EARLY = 0.5; // seconds before the first beat that still count

// Keys that are pressed and let go, in milliseconds of the page's clock.
export class Ear {
  constructor() {
    /** @type {Map<number, number>} */
    this.down = new Map();
    /** @type {{midi: number, begun: number, ended: number}[]} */
    this.notes = [];
  }

  /** @param {{data: Uint8Array|null, timeStamp: number}} message */
  hear({ data, timeStamp }) {
    if (!data) return;
    const [status, midi, velocity] = data;
    const kind = status & 0xf0;
    if (kind === NOTE_ON && velocity > 0) {
      this.letGo(midi, timeStamp);
      this.down.set(midi, timeStamp);
    } else if (kind === NOTE_ON || kind === NOTE_OFF) this.letGo(midi, timeStamp);
  }

  /**
   * @param {number} midi
   * @param {number} now
   */
  letGo(midi, now) {
    const begun = this.down.get(midi);
    this.down.delete(midi);
    if (begun !== undefined && now > begun) this.notes.push({ midi, begun, ended: now });
  }

  /**
   * What was played, in seconds from a moment; keys that are still held are let go at the end.
   * @param {number} start
   * @param {number} end
   */
  since(start, end) {
    for (const midi of [...this.down.keys()]) this.letGo(midi, end);
    const rows = this.notes.map(({ midi, begun, ended }) => ({ midi, start: (begun - start) / 1000, end: (ended - start) / 1000 }));
    return rows.filter((row) => row.start > -EARLY).sort((a, b) => a.start - b.start || a.midi - b.midi);
  }
}

// An audio clock that runs, and when what it plays is heard by the page's clock.
class Clicks {
  // A clock for clicks; null where the browser gives none in time.
  static async begun() {
    const context = new AudioContext({ latencyHint: "interactive" });
    const ends = performance.now() + PATIENCE;
    context.resume().catch(() => {});
    while (performance.now() < ends) {
      if (context.state === "running" && context.currentTime > 0) return new Clicks(context);
      await new Promise((done) => setTimeout(done, 10));
    }
    context.close();
    return null;
  }

  /** @param {AudioContext} context */
  constructor(context) {
    this.context = context;
    const [zero, usual] = [this.zero(), performance.now() - 1000 * context.currentTime];
    this.heard = Math.abs(zero - usual) < 1000 ? zero : usual;
  }

  // The moment of the page's clock, in milliseconds, at which the second 0 of the audio clock was heard.
  zero() {
    const { contextTime = 0, performanceTime = 0 } = this.context.getOutputTimestamp?.() ?? {};
    return contextTime > 0 ? performanceTime - 1000 * contextTime : performance.now() - 1000 * this.context.currentTime;
  }

  /**
   * A click that is heard at a moment of the page's clock.
   * @param {number} moment
   * @param {boolean} strong
   * @param {number} volume
   */
  click(moment, strong, volume) {
    const { context } = this;
    const at = (moment - this.heard) / 1000;
    const tone = context.createOscillator();
    const gain = context.createGain();
    tone.frequency.value = strong ? 1568 : 1175;
    gain.gain.setValueAtTime(LOUDEST * (volume / 100) ** 2, at);
    gain.gain.exponentialRampToValueAtTime(0.0001, at + 0.06);
    tone.connect(gain).connect(context.destination);
    tone.start(at);
    tone.stop(at + 0.07);
  }

  close() {
    this.context.close();
  }
}

/**
 * What is under way: moments and durations in milliseconds.
 * @typedef {{input: MIDIInput, tempo: number, latency: number, clicks: Clicks|null, ear: Ear, begins: number, ends: number, bar: number, beat: number, timers: number[]}} Take
 */

export class Listening {
  allow = button("Use my keyboard", () => this.open());
  inputs = choice([]);
  tempo = make("input", { type: "number", min: "30", max: "240", step: "1", value: "90" });
  latency = make("input", { type: "number", min: String(-MOST_LATENCY), max: String(MOST_LATENCY), step: "1", value: "0" });
  clicks = make("input", { type: "checkbox", checked: true });
  start = button("Start after a bar of clicks", () => this.begin(), { class: "button button-main" });
  end = button("Stop and check", () => this.finish(), { class: "button", hidden: true });
  count = make("p", { class: "count", "aria-hidden": "true" });

  /**
   * @param {object} actions
   * @param {() => ReadChart|null} actions.chart as it was read
   * @param {() => number} actions.volume 0 to 100
   * @param {(words: string) => void} actions.say
   * @param {(words: string) => void} actions.warn
   * @param {(notes: {midi: number, start: number, end: number}[], tempo: number) => void} actions.heard
   */
  constructor(actions) {
    this.actions = actions;
    /** @type {MIDIAccess|null} */
    this.access = null;
    /** @type {Take|null} */
    this.run = null;
    this.waiting = false;
    this.controls = make(
      "div",
      { class: "listening", hidden: true },
      make("div", { class: "fields" }, field("Keyboard", this.inputs), field("Tempo, quarter notes a minute", this.tempo), field("Latency, milliseconds", this.latency, { hint: "how late your notes arrive through the equipment" })),
      make("label", { class: "tick" }, this.clicks, make("span", {}, "Clicks on every beat. Start with the volume low, especially in headphones")),
      make("div", { class: "row" }, this.start, this.end),
      this.count,
    );
    this.root = make(
      "fieldset",
      { class: "played" },
      make("legend", {}, "Or play it on a MIDI keyboard"),
      this.offered() ? this.allow : make("p", { class: "hint" }, "This browser does not let a page hear MIDI keyboards. Record a MIDI file and drop it here instead."),
      this.controls,
    );
  }

  offered() {
    return typeof navigator.requestMIDIAccess === "function";
  }

  async open() {
    try {
      this.access = await navigator.requestMIDIAccess({ sysex: false });
    } catch (error) {
      const why = REFUSED[/** @type {Error} */ (error).name] ?? "it could not be opened. Close other programs that use it";
      this.actions.warn(`The keyboard can't be heard: ${why}, or drop a MIDI file.`);
      return;
    }
    this.access.onstatechange = () => this.list();
    this.controls.hidden = false;
    this.list();
    const found = this.access.inputs.size;
    this.actions.say(found ? `${many(found, "keyboard")} found.` : "No MIDI keyboard found. Connect it and switch it on, and it appears here.");
    this.inputs.focus();
    this.allow.hidden = true;
  }

  list() {
    if (!this.access) return;
    const before = this.inputs.value;
    const found = [...this.access.inputs.values()].map(({ id, name }) => [id, name || "unnamed keyboard"]);
    const rows = found.length ? found : [["", "none connected"]];
    this.inputs.replaceChildren(...rows.map(([value, text]) => make("option", { value }, text)));
    if (found.some(([id]) => id === before)) this.inputs.value = before;
    if (this.run && !this.access.inputs.has(this.run.input.id)) this.lost();
  }

  lost() {
    this.stop();
    this.actions.warn("The keyboard was disconnected while recording, so nothing was checked. Connect it and start again.");
  }

  async begin() {
    const read = this.actions.chart();
    const input = this.access?.inputs.get(this.inputs.value);
    const tempo = Number(this.tempo.value);
    if (!read) return this.actions.warn("There is no chart to play over: write some chords first.");
    if (read.bars.some((bar) => bar.metre)) return this.actions.warn("The metronome needs a chart in a single metre.");
    if (!input) return this.actions.warn("No MIDI keyboard is connected.");
    if (!(tempo >= 30 && tempo <= 240)) return this.actions.warn("The tempo is 30 to 240 quarter notes a minute.");
    const latency = Number(this.latency.value);
    if (!(Math.abs(latency) <= MOST_LATENCY)) return this.actions.warn(`The latency is ${-MOST_LATENCY} to ${MOST_LATENCY} milliseconds.`);
    if (this.waiting) return undefined;
    const clicks = this.clicks.checked ? await this.clock() : null;
    const quarter = 60000 / tempo;
    const bar = barQuarters(read.metre) * quarter;
    const now = performance.now();
    const begins = now + bar + 200;
    this.run = { input, tempo, latency, clicks, ear: new Ear(), begins, ends: begins + bar * read.bars.length, bar, beat: beatQuarters(read.metre) * quarter, timers: [] };
    input.onmidimessage = (event) => this.run?.ear.hear(event);
    this.start.hidden = true;
    this.end.hidden = false;
    this.end.focus();
    this.metronome(this.run, read.bars.length + 1, now);
    if (!this.access?.inputs.has(input.id)) this.lost();
    return undefined;
  }

  // Clicks are timed once their clock runs: a clock that is still asleep would make all of them late.
  async clock() {
    this.waiting = true;
    const found = await Clicks.begun().catch(() => null);
    this.waiting = false;
    if (!found) this.actions.warn("The browser plays no clicks. Keep time by the beats shown.");
    return found;
  }

  /**
   * Clicks and numbers for a bar of counting in, then for the chart; then it ends by itself.
   * @param {Take} run
   * @param {number} bars
   * @param {number} now
   */
  metronome(run, bars, now) {
    const beats = Math.round(run.bar / run.beat);
    const first = run.begins - run.bar;
    for (let beat = 0; beat < bars * beats; beat += 1) {
      const at = first + beat * run.beat;
      const strong = beat % beats === 0;
      const words = beat < beats ? `Count in: ${beat + 1}` : `Bar ${Math.floor(beat / beats)}, beat ${(beat % beats) + 1}`;
      run.timers.push(setTimeout(() => this.tell(words), at - now));
      run.clicks?.click(at, strong, this.actions.volume());
    }
    run.timers.push(setTimeout(() => this.finish(), run.ends - now + Math.max(0, run.latency) + 150));
  }

  /** @param {string} words */
  tell(words) {
    this.count.textContent = words;
  }

  // Ends the listening and hands over what was played.
  finish() {
    const { run } = this;
    if (!run) return;
    const { latency } = run;
    const notes = run.ear.since(run.begins + latency, Math.min(run.ends + latency, performance.now()));
    this.stop();
    if (notes.length) this.actions.heard(notes, run.tempo);
    else this.actions.warn("Nothing was played. Start again, and come in after the count-in bar.");
  }

  stop() {
    const { run } = this;
    this.run = null;
    if (!run) return;
    run.input.onmidimessage = null;
    for (const timer of run.timers) clearTimeout(timer);
    run.clicks?.close();
    this.count.textContent = "";
    const focused = document.activeElement === this.end;
    this.start.hidden = false;
    this.end.hidden = true;
    if (focused) this.start.focus();
  }
}
