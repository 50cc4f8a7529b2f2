// What somebody listens and looks with: read from the fields of the page, kept in the browser.
import { byId, make } from "./elements.js";
import { signed } from "./words.js";

/** @import { Round, Sound, Whole, Wishes } from "./types.js" */
/** @import { Store } from "./store.js" */

/**
 * @type {{volume: number, names: boolean, fingers: boolean, theme: string, size: string, loop: string, slow: boolean, countIn: boolean|null, parts: string[]|null, voice: string, tempo: number|null, letters: boolean}}
 */
const START = { volume: 40, names: false, fingers: true, theme: "auto", size: "m", loop: "off", slow: false, countIn: null, parts: null, voice: "", tempo: null, letters: true };
export const LOOPS = ["off", "bar", "idea", "all"];
const [SLOWEST, FASTEST] = [30, 280];

/**
 * @param {string} name
 * @returns {HTMLInputElement}
 */
function field(name) {
  return /** @type {HTMLInputElement} */ (document.querySelector(`.settings [name="${name}"]`));
}

/**
 * @param {string} name
 * @param {[string|number, string][]} options
 * @param {string} chosen
 */
function fill(name, options, chosen) {
  const select = field(name);
  select.replaceChildren(...options.map(([value, words]) => make("option", { value }, words)));
  select.value = chosen;
}

/**
 * What players call a voice, with the General MIDI name of its sound beside it.
 * @param {{ voice: string, sound: string }} sounding
 * @returns {string}
 */
function soundInWords({ voice, sound }) {
  return sound.toLowerCase() === voice ? sound : `${voice} (${sound})`;
}

export class Settings {
  /**
   * @param {Store} store
   * @param {(what: string) => void} changed
   */
  constructor(store, changed) {
    this.store = store;
    this.changed = changed;
    this.kept = { ...START, ...store.get("settings", {}) };
    this.shift = 0;
    /** @type {Sound[]} */
    this.sounds = [];
    this.show();
    for (const form of document.querySelectorAll("form.settings")) {
      form.addEventListener("input", () => this.read());
      form.addEventListener("submit", (event) => event.preventDefault());
    }
    document.getElementById("own-tempo")?.addEventListener("click", () => this.set({ tempo: null }));
  }

  /** Writes what is kept into the fields. */
  show() {
    const { kept } = this;
    for (const name of ["names", "fingers", "slow", "letters"]) field(name).checked = kept[name];
    field("count-in").checked = Boolean(kept.countIn);
    for (const name of ["volume", "theme", "size"]) field(name).value = String(kept[name]);
    document.documentElement.dataset.theme = kept.theme;
    document.documentElement.dataset.size = kept.size;
    document.body.classList.toggle("show-fingers", kept.fingers);
    byId("volume-value").textContent = `${kept.volume} %`;
  }

  /** Takes what was changed in a field. */
  read() {
    const { kept } = this;
    for (const name of ["names", "fingers", "slow", "letters"]) kept[name] = field(name).checked;
    kept.volume = Number(field("volume").value);
    kept.theme = field("theme").value;
    kept.size = field("size").value;
    if (this.whole) {
      const parts = [...document.querySelectorAll('.settings [name="part"]:checked')].map((box) => /** @type {HTMLInputElement} */ (box).value);
      if (kept.parts || parts.join() !== this.whole.playing.parts.join()) kept.parts = parts;
      if (kept.countIn !== null || field("count-in").checked !== this.whole.playing.count_in) kept.countIn = field("count-in").checked;
      const own = this.whole.parts[0].voice;
      const chosen = this.sounds[Number(field("sound").value)]?.voice ?? own;
      kept.voice = chosen === own ? "" : chosen;
    }
    this.shift = Number(field("key").value) || 0;
    this.show();
    this.keep("fields");
  }

  /** @param {Partial<typeof START> & {shift?: number}} changes */
  set({ shift, ...changes }) {
    Object.assign(this.kept, changes);
    if (shift !== undefined) this.shift = shift;
    this.show();
    field("key").value = String(this.shift);
    this.keep(Object.keys(changes).join());
  }

  /** @param {string} what */
  keep(what) {
    this.store.set("settings", this.kept);
    this.changed(what);
  }

  /**
   * Takes what a round offers; key, tempo and sound stay as they were chosen.
   * @param {Whole} whole
   */
  begin(whole) {
    this.whole = whole;
    const [right] = whole.parts;
    this.sounds = whole.sounds.map((each) => (each.voice === right.voice ? { ...each, sound: right.sound, program: right.program } : each));
    const at = this.sounds.findIndex(({ voice }) => voice === (this.kept.voice || right.voice));
    fill("sound", this.sounds.map((each, place) => [place, soundInWords(each)]), String(Math.max(0, at)));
    fill("key", whole.keys.map(({ name, shift }) => [shift, keyInWords(name, shift)]), "0");
    if (!whole.keys.some(({ shift }) => shift === this.shift)) this.shift = 0;
    field("key").value = String(this.shift);
    const parts = this.kept.parts ?? whole.playing.parts;
    for (const box of document.querySelectorAll('.settings [name="part"]')) {
      const each = /** @type {HTMLInputElement} */ (box);
      each.checked = parts.includes(each.value);
    }
    field("count-in").checked = this.kept.countIn ?? whole.playing.count_in;
  }

  /** @param {string[]} names */
  shapes(names) {
    const { value } = field("shape");
    fill("shape", [["", "any shape"], ...names.map((name) => /** @type {[string, string]} */ ([name, name]))], names.includes(value) ? value : "");
  }

  /** Which ideas are shown, and in which order. */
  get filters() {
    return { show: field("show").value, shape: field("shape").value, busy: field("busy").value, hard: field("hard").value, sort: field("sort").value };
  }

  /** All ideas are shown again. */
  unfilter() {
    for (const name of ["shape", "busy", "hard"]) field(name).value = "";
    field("show").value = "all";
  }

  /**
   * @param {Whole} whole
   * @returns {number}
   */
  tempoOf(whole) {
    return this.kept.tempo ?? whole.tempo;
  }

  /**
   * @param {number} by in quarter notes a minute
   * @param {Whole} whole
   */
  faster(by, whole) {
    const tempo = Math.min(FASTEST, Math.max(SLOWEST, Math.round((this.tempoOf(whole) + by) / 2) * 2));
    this.set({ tempo });
  }

  /**
   * What an idea of a round is played with.
   * @param {Round} round
   * @returns {Wishes}
   */
  wishes(round) {
    const { kept } = this;
    const { whole } = round;
    const [right] = whole.parts;
    const chosen = this.sounds.find(({ voice }) => voice === (kept.voice || right.voice));
    return {
      parts: kept.parts ?? whole.playing.parts,
      sounds: chosen ? { right: chosen } : {},
      tempo: this.tempoOf(whole),
      volume: kept.volume,
      loop: kept.loop === "idea" || kept.loop === "bar",
      span: null,
      slow: kept.slow,
      countIn: kept.countIn ?? whole.playing.count_in,
      shift: whole.keys.some(({ shift }) => shift === this.shift) ? this.shift : 0,
    };
  }
}

/**
 * @param {string} name
 * @param {number} shift
 */
function keyInWords(name, shift) {
  const steps = Math.abs(shift);
  return shift ? `${signed(name)} (${steps} half step${steps === 1 ? "" : "s"} ${shift > 0 ? "up" : "down"})` : signed(name);
}
