// What is on the page, kept so that reload, back, a closed tab and a new start of the server bring it back.
// A sheet is one state of the page; its name is in the address, its content in the browser.

import { headOf, rowOf } from "../tray.js";

/** @import { Kept, Round } from "../types.js" */
/** @import { Page } from "../main.js" */

const MOST = 12; // sheets that are kept
const SETTLES = 1500; // milliseconds in which the page finds back to where the reader was
const PAUSE = 300; // milliseconds between two notes of where the reader is

/**
 * @typedef {{head: Kept["whole"], rows: Kept["row"][], books: (number|null)[], heading: string, remarks: string[], question: any, of: [number, number]|null, kept: number[], bars: [number, number[]][]}} KeptRound
 * @typedef {{wishes: Record<string, any>, rounds: KeptRound[], shift: number, current: string}} Sheet
 */

export class Sheets {
  /**
   * @param {Page} page
   * @param {() => Record<string, any>} wishes what is asked for
   */
  constructor(page, wishes) {
    this.page = page;
    this.wishes = wishes;
    this.name = "";
    /** @type {Map<string, Round[]>} what was on sheets that this tab has left */
    this.left = new Map();
    history.scrollRestoration = "manual";
    let timer = 0;
    window.addEventListener("scroll", () => {
      clearTimeout(timer);
      timer = setTimeout(() => this.placed(), PAUSE);
    });
    window.addEventListener("pagehide", () => this.save());
    for (const name of ["fillgen:settings", "workshop:kept"]) document.addEventListener(name, () => this.save());
  }

  /** The name of the sheet that the address asks for. */
  static asked() {
    return new URLSearchParams(location.hash.slice(1));
  }

  /** Begins a new sheet, which back leads away from again. */
  turn() {
    const before = this.name;
    this.name = `${Date.now().toString(36)}${Math.floor(Math.random() * 1296).toString(36)}`;
    const { chart, ...others } = this.wishes();
    const told = Object.entries(others).filter(([, value]) => value !== "" && value !== false);
    const address = `#${new URLSearchParams([["sheet", this.name], ["chart", chart], ...told.map(([key, value]) => [key, String(value)])])}`;
    if (before) history.pushState(null, "", address);
    else history.replaceState(null, "", address);
    this.save();
  }

  /** Keeps what is on the page. */
  save() {
    if (!this.name) return;
    const { store, rounds, settings, current } = this.page;
    this.left.set(this.name, [...rounds]);
    const sheet = { wishes: this.wishes(), rounds: rounds.map((round) => this.kept(round)), shift: settings.shift, current: current?.key ?? "" };
    store.set(`sheet:${this.name}`, sheet);
    store.forget("sheets");
    const names = [this.name, ...store.get("sheets", []).filter((/** @type {string} */ each) => each !== this.name)];
    for (const old of names.slice(MOST)) for (const kind of ["sheet", "place"]) store.remove(`${kind}:${old}`);
    store.set("sheets", names.slice(0, MOST));
  }

  /**
   * @param {Round} round
   * @returns {KeptRound}
   */
  kept(round) {
    const { whole, entries, heading, remarks, of, kept } = round;
    const { rounds } = this.page;
    const question = /** @type {any} */ (round).question;
    return {
      head: headOf(whole),
      rows: entries.map(({ idea }) => rowOf(idea)),
      books: entries.map(({ idea }) => idea.book ?? null),
      heading,
      remarks,
      question: question ? { ...question, of: undefined } : null,
      of: of && rounds.includes(of.round) ? [rounds.indexOf(of.round), of.idea.rank] : null,
      kept,
      bars: entries.filter(({ bars }) => bars.size).map(({ idea, bars }) => [idea.rank, [...bars]]),
    };
  }

  /** Keeps where the reader is: the first card that is seen, and where its top is. */
  placed() {
    if (!this.name) return;
    const seen = this.page.order().find(({ card }) => card.getBoundingClientRect().bottom > 60);
    const place = window.scrollY > 4 && seen ? [this.page.rounds.indexOf(seen.round), seen.idea.rank, Math.round(seen.card.getBoundingClientRect().top)] : null;
    this.page.store.set(`place:${this.name}`, place);
  }

  /** @param {string} name */
  find(name) {
    this.page.store.forget(`sheet:${name}`);
    return /** @type {Sheet|null} */ (this.page.store.get(`sheet:${name}`, null));
  }

  /** @returns {string} the sheet that was used last, in any tab */
  last() {
    this.page.store.forget("sheets");
    return this.page.store.get("sheets", [])[0] ?? "";
  }

  /** Leads the reader back to where he was. */
  back() {
    const place = this.page.store.get(`place:${this.name}`, null);
    if (!place) return;
    const entry = this.page.rounds[place[0]]?.entries.find(({ idea }) => idea.rank === place[1]);
    if (!entry) return;
    // pictures that are drawn on the way change what is above, until the reader moves on
    const until = performance.now() + SETTLES;
    let moved = false;
    for (const name of ["wheel", "touchmove", "keydown", "pointerdown"]) window.addEventListener(name, () => (moved = true), { once: true, passive: true });
    const step = () => {
      if (moved || performance.now() > until || !entry.card.isConnected) return;
      const off = entry.card.getBoundingClientRect().top - place[2];
      if (Math.abs(off) > 1) window.scrollBy({ top: off, behavior: "instant" });
      requestAnimationFrame(step);
    };
    step();
  }
}
