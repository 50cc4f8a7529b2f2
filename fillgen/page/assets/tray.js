// The tray: what is starred, from all searches, to be played, printed and taken along.
import { makeCard, setStarred } from "./cards.js";
import { byId, many } from "./elements.js";

/** @import { Entry, Idea, Kept, Round, Whole } from "./types.js" */
/** @import { Page } from "./main.js" */

/**
 * What an idea is known by, wherever it is found.
 * @param {{chart: string, key: string, metre: string}} whole
 * @param {string} text
 */
export function starName(whole, text) {
  return [whole.chart, whole.key, whole.metre, text].join("\n");
}

/**
 * What has to be kept of ideas so that they can be asked for again.
 * @param {Whole} whole
 * @returns {Kept["whole"]}
 */
export function headOf({ chart, key, metre, first, level, rhythm, tempo, hand, seed, second }) {
  return { chart, key, metre, first, level, rhythm, tempo, hand, seed, second };
}

/**
 * @param {Idea} idea
 * @returns {Kept["row"]}
 */
export function rowOf({ text, rank, shape, score }) {
  return { text, rank, shape, score };
}

export class Tray {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.root = byId("tray");
    this.place = "tray";
    /** @type {Map<string, Kept>} */
    this.kept = new Map();
    /** @type {Map<string, {round: Round, idea: Idea}>} */
    this.held = new Map();
    /** @type {Entry[]} */
    this.entries = [];
    byId("tray-button").addEventListener("click", () => this.toggle());
    byId("tray-close").addEventListener("click", () => this.toggle());
    byId("print").addEventListener("click", () => this.print());
    byId("all-midi").addEventListener("click", () => this.give("midi"));
    byId("all-musicxml").addEventListener("click", () => this.give("musicxml"));
    window.addEventListener("storage", (event) => event.key === `${page.store.name}:${this.place}` && this.read());
    window.addEventListener("beforeprint", () => this.draw());
  }

  /**
   * Reads what was starred before.
   * @param {string} place in the browser's store
   */
  read(place = this.place) {
    this.place = place;
    this.page.store.forget(place);
    this.kept = new Map(this.page.store.get(place, []));
    this.count();
    this.page.starsChanged();
  }

  get open() {
    return !this.root.hidden;
  }

  /** @param {Entry} entry */
  has(entry) {
    return this.kept.has(starName(entry.round.whole, entry.idea.text));
  }

  /**
   * @param {Entry} entry
   * @param {boolean} on
   */
  set(entry, on) {
    const { whole } = entry.round;
    const name = starName(whole, entry.idea.text);
    if (on) {
      this.kept.set(name, { whole: headOf(whole), row: rowOf(entry.idea), book: entry.idea.book ?? null });
      this.held.set(name, { round: entry.round, idea: entry.idea });
    } else this.kept.delete(name);
    this.page.store.set(this.place, [...this.kept]);
    this.count();
    if (this.open) this.fill();
  }

  count() {
    const { size } = this.kept;
    byId("tray-count").textContent = String(size);
    byId("tray-button").setAttribute("aria-label", `Starred: ${many(size, "idea")}`);
    byId("tray-none").hidden = size > 0;
    byId("tray-acts").hidden = size === 0;
    document.body.classList.toggle("no-stars", !size);
  }

  /** @param {Entry} entry */
  remember(entry) {
    const name = starName(entry.round.whole, entry.idea.text);
    if (this.kept.has(name)) this.held.set(name, { round: entry.round, idea: entry.idea });
  }

  async toggle() {
    this.root.hidden = !this.root.hidden;
    byId("tray-button").setAttribute("aria-expanded", String(this.open));
    if (!this.open) {
      byId("tray-button").focus();
      return;
    }
    byId("tray-name").focus();
    await this.fill();
  }

  /** Has all starred ideas as cards; those that aren't on the page are fetched. */
  async fill() {
    const missing = [...this.kept].filter(([name]) => !this.held.has(name)).map(([, kept]) => kept);
    if (missing.length && this.page.fetchShown) {
      try {
        for (const [name, found] of await this.page.fetchShown(missing)) this.held.set(name, found);
      } catch (error) {
        this.page.trouble(error);
      }
    }
    this.cards();
  }

  cards() {
    for (const entry of this.entries) this.page.drop(entry);
    this.entries = [...this.kept.keys()].flatMap((name, place) => {
      const held = this.held.get(name);
      return held ? [this.entry(held, place + 1)] : [];
    });
    byId("tray-cards").replaceChildren(...this.entries.map(({ card }) => card));
    for (const entry of this.entries) this.page.take(entry);
  }

  /**
   * @param {{round: Round, idea: Idea}} held
   * @param {number} number
   * @returns {Entry}
   */
  entry({ round, idea }, number) {
    const title = `Starred ${number}: ${idea.shape || "phrase"}`;
    const card = makeCard(`starred-${number}`, idea, { title, acts: ["play", "star", "stand", "midi", "musicxml"] });
    setStarred(card, true);
    return { key: `starred-${number}`, round, idea, card, drawn: "", bars: new Set(), marks: new Map() };
  }

  /** Draws all of it, as paper needs it. */
  draw() {
    for (const entry of this.entries) this.page.drawer.fresh(entry);
  }

  async print() {
    await this.fill();
    this.draw();
    window.print();
  }

  /** @param {"midi"|"musicxml"} kind */
  async give(kind) {
    await this.fill();
    await this.page.takeaway.give(kind, this.entries, "starred");
  }
}
