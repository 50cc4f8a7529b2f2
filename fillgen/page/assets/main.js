// The page: rounds of ideas that come and go, what is chosen and starred among them, and words to the reader.
import { Answer } from "./answer.js";
import { Drawer, makeCard, pictureOf, setStarred, titleOf } from "./cards.js";
import { bank, block, keeping } from "./blocks.js";
import { byId, make, many, tell } from "./elements.js";
import { arrange } from "./filters.js";
import { Keys } from "./keys.js";
import { openFile } from "./onefile.js";
import { addGlyphs, barAt, noteNear, symbolAt } from "./pictures.js";
import { PlayBar } from "./playbar.js";
import { Playing } from "./playing.js";
import { Player } from "./player.js";
import { Reasons } from "./reasons.js";
import { Settings } from "./settings.js";
import { Shortcuts } from "./shortcuts.js";
import { Stand } from "./stand.js";
import { Store } from "./store.js";
import { Takeaway } from "./takeaway.js";
import { Tray } from "./tray.js";
import { sentence } from "./words.js";

/** @import { Entry, Idea, Look, Round, Whole } from "./types.js" */

const SETTLED = 600; // milliseconds after which the page has done what is to be seen first

export class Page {
  constructor() {
    this.store = new Store("fillgen");
    /** @type {Round[]} */
    this.rounds = [];
    /** @type {Map<string, Entry>} */
    this.entries = new Map();
    /** @type {Entry|null} */
    this.current = null;
    this.made = 0;
    this.acts = ["play", "star", "stand", "midi", "musicxml"];
    /** @type {((round: Round, shift: number) => Promise<Look>)} */
    this.fetchLook = async (_, shift) => {
      const look = await block(`fillgen-look-${shift}`);
      if (!look) throw new Error("this page doesn't have that key");
      return look;
    };
    /** @type {((entry: Entry) => Promise<string[]>)|null} */
    this.fetchWhy = null;
    /** @type {((kept: any[]) => Promise<Map<string, {round: Round, idea: Idea}>>)|null} */
    this.fetchShown = null;
    /** @type {((bundle: any) => Promise<Uint8Array<ArrayBuffer>>)|null} */
    this.fetchScore = null;
    /** @type {((entry: Entry, place: {bar: number, place: number}) => void)|null} */
    this.askChord = null;
    /** @type {((entry: Entry) => void)|null} */
    this.vary = null;
    this.keys = new Keys(this);
    this.player = new Player(keeping(bank));
    this.drawer = new Drawer((key) => this.entries.get(key), (entry) => this.lookOf(entry));
    this.settings = new Settings(this.store, (what) => this.changed(what));
    this.answer = new Answer();
    this.stand = new Stand(this);
    this.tray = new Tray(this);
    this.playbar = new PlayBar(this);
    this.shortcuts = new Shortcuts(this);
    this.playing = new Playing(this);
    this.reasons = new Reasons(this);
    this.takeaway = new Takeaway(this);
    document.addEventListener("click", (event) => this.clicked(event));
    this.playbar.show();
    setTimeout(() => this.player.warm(), SETTLED);
  }

  /** @param {MouseEvent} event */
  clicked({ target, clientX, clientY }) {
    const card = target instanceof Element ? target.closest(".idea") : null;
    const entry = card instanceof HTMLElement ? this.entries.get(card.dataset.key ?? "") : undefined;
    if (!entry || !(target instanceof Element)) return;
    const act = /** @type {HTMLElement|null} */ (target.closest("[data-act]"))?.dataset.act;
    if (act) this.act(act, entry);
    else if (target.closest(".picture")) this.pointed(entry, target, clientX, clientY);
  }

  /**
   * @param {string} act
   * @param {Entry} entry
   */
  act(act, entry) {
    this.select(entry);
    if (act === "play") this.playing.toggle(entry);
    else if (act === "star") this.star(entry.key);
    else if (act === "stand") this.stand.show(entry);
    else if (act === "vary") this.vary?.(entry);
    else if (act === "midi" || act === "musicxml") this.takeaway.give(act, [entry], `idea-${String(entry.idea.rank).padStart(2, "0")}`);
  }

  /**
   * A press on a picture: the note is explained, the chord is, or the bar is kept while bars are chosen.
   * @param {Entry} entry
   * @param {Element} target
   * @param {number} x
   * @param {number} y
   */
  pointed(entry, target, x, y) {
    this.select(entry);
    const symbol = symbolAt(target);
    const note = noteNear(pictureOf(entry.card), entry.idea, x, y);
    const bar = barAt(pictureOf(entry.card), x, y);
    if (symbol && this.askChord) this.askChord(entry, symbol);
    else if (entry.card.classList.contains("varying") && bar !== null) tell("bar", { entry, bar });
    else if (note >= 0) this.reasons.tell(entry, note);
  }

  // Rounds come and go

  /**
   * Takes the facts about new ideas. They come below those that are there, below the idea they vary, or in a place of their own.
   * @param {Whole} whole
   * @param {{heading?: string, of?: Entry|null, kept?: number[], place?: HTMLElement|null}} [more]
   * @returns {Round}
   */
  begin(whole, { heading = "", of = null, kept = [], place = null } = {}) {
    this.made += 1;
    const about = make("p", { class: "about" }, whole.about);
    const cards = make("div", { class: "cards" });
    const head = make("header", { class: "round-head" }, make(of ? "h3" : "h2", { class: "round-name", tabindex: "-1" }, heading || whole.title || "Ideas"), about);
    const root = make("section", { class: of ? "round variations" : "round", "aria-label": heading || whole.title || "Ideas" }, head, cards);
    const own = { ...whole, shift: 0, ideas: {} };
    /** @type {Round} */
    const round = { number: this.made, whole, looks: new Map([[0, own]]), own, heading, entries: [], root, cards, listed: !place, of, kept, remarks: [] };
    if (place) place.append(cards);
    else this.lay(round);
    if (!place || !this.settings.whole) this.settings.begin(whole);
    byId("care").querySelector("ul")?.replaceChildren(...whole.cautions.map((each) => make("li", {}, each)));
    return round;
  }

  /**
   * Lays a round below those that are there, or below the idea that it varies.
   * @param {Round} round
   */
  lay(round) {
    this.rounds.push(round);
    if (round.of) round.of.card.after(round.root);
    else byId("ideas").append(round.root);
  }

  /**
   * @param {Round} round
   * @param {Idea} idea
   * @param {object} [look] of its card
   * @returns {Entry}
   */
  add(round, idea, look = {}) {
    if (idea.glyphs) addGlyphs(idea.glyphs);
    const key = `${round.number}-${idea.rank}`;
    const { systems, signs, below, notes } = idea;
    round.own.ideas[idea.id] = { systems, signs, below, names: notes.map(({ name }) => name), fingers: notes.map(({ finger }) => finger) };
    /** @type {Entry} */
    const entry = { key, round, idea, card: makeCard(key, idea, { acts: this.acts, ...look }), drawn: "", bars: new Set(), marks: new Map() };
    round.entries.push(entry);
    round.cards.append(entry.card);
    this.take(entry);
    this.tray.remember(entry);
    setStarred(entry.card, this.isStarred(entry));
    if (!this.current && round.listed) this.select(entry);
    return entry;
  }

  /** @param {Entry} entry */
  take(entry) {
    this.entries.set(entry.key, entry);
    this.drawer.add(entry);
  }

  /** @param {Entry} entry */
  drop(entry) {
    if (this.player.playing === entry.key) this.player.stop();
    if (this.stand.entry === entry) this.stand.close();
    if (this.current === entry) this.current = null;
    this.drawer.drop(entry);
    this.entries.delete(entry.key);
  }

  /**
   * All ideas of a round have come.
   * @param {Round} round
   */
  end(round) {
    const shift = this.settings.wishes(round).shift;
    if (shift && !this.keys.lookIn(round, shift)) this.keys.transpose();
    if (!round.listed) return;
    const shapes = this.listed().map(({ idea }) => idea.shape).filter(Boolean);
    this.settings.shapes([...new Set(shapes)].sort());
    this.choose();
    this.playbar.show();
  }

  /**
   * Takes a round and its variations off the page; it can be put back.
   * @param {Round} round
   */
  remove(round) {
    for (const each of [...this.rounds]) if (each.of?.round === round) this.remove(each);
    for (const entry of round.entries) this.drop(entry);
    round.root.remove();
    if (!round.listed) round.cards.remove();
    this.rounds = this.rounds.filter((each) => each !== round);
    if (!this.current && this.rounds[0]?.entries[0]) this.select(this.rounds[0].entries[0]);
    this.playbar.show();
  }

  /**
   * Puts rounds on the page that were taken off it, instead of those that are there.
   * @param {Round[]} rounds
   */
  restore(rounds) {
    this.clear();
    for (const round of rounds) {
      this.lay(round);
      this.settings.begin(round.whole);
      for (const entry of round.entries) this.take(entry);
      if (!this.current && round.entries[0]) this.select(round.entries[0]);
      this.end(round);
    }
    this.starsChanged();
  }

  /** @returns {Round[]} what was on the page */
  clear() {
    const before = [...this.rounds];
    for (const round of before) if (this.rounds.includes(round)) this.remove(round);
    this.settings.unfilter();
    return before;
  }

  listed() {
    return this.rounds.flatMap(({ entries }) => entries);
  }

  /**
   * How an idea is shown now.
   * @param {Entry} entry
   */
  lookOf(entry) {
    return this.keys.lookOf(entry);
  }

  /** @param {string} what */
  changed(what) {
    if (what === "loop") this.playing.hold();
    if (!this.rounds.length && !this.entries.size) return;
    this.keys.transpose();
    this.choose();
    this.playbar.show();
    tell("settings", {});
  }

  // Choosing

  /** Shows the ideas that are asked for, in the order that is asked for. */
  choose() {
    const count = arrange(this.rounds, this.settings.filters, (entry) => this.isStarred(entry));
    const all = this.listed().length;
    byId("count").textContent = count === all ? many(count, "idea") : `${count} of ${many(all, "idea")}`;
  }

  /** The ideas in the order in which they are seen. */
  order() {
    const seen = [...document.querySelectorAll("#ideas .idea:not([hidden])")];
    return seen.flatMap((card) => this.entries.get(/** @type {HTMLElement} */ (card).dataset.key ?? "") ?? []);
  }

  /** @param {Entry} entry */
  select(entry) {
    this.current?.card.classList.remove("current");
    this.current = entry;
    entry.card.classList.add("current");
    this.playbar.show();
  }

  // Stars

  /** @param {Entry} entry */
  isStarred(entry) {
    return this.tray.has(entry);
  }

  /** @param {string} key */
  star(key) {
    const entry = this.entries.get(key);
    if (!entry) return;
    const on = !this.isStarred(entry);
    this.tray.set(entry, on);
    this.starsChanged();
    const stays = this.store.lasts ? "" : " This browser forgets it when the page is closed.";
    this.say(`${titleOf(entry.idea)} ${on ? "is starred" : "is no longer starred"}.${stays}`);
    tell("star", { entry, starred: on });
  }

  starsChanged() {
    for (const entry of this.entries.values()) setStarred(entry.card, this.isStarred(entry));
    if (this.stand.entry) byId("stand-star").setAttribute("aria-pressed", String(this.isStarred(this.stand.entry)));
    if (this.rounds.length) this.choose();
  }

  // Words to the reader

  /** @param {string} words */
  say(words) {
    byId("alert").textContent = "";
    byId("status").textContent = words;
  }

  /** @param {string} words */
  warn(words) {
    byId("status").textContent = "";
    byId("alert").textContent = words;
  }

  /**
   * @param {any} error
   * @param {string} [what]
   */
  trouble(error, what = "") {
    this.warn(sentence(`${what ? `${what}: ` : ""}${error.said ?? error.message}`));
  }
}

export const page = new Page();
/** @type {any} */ (window).fillgen = page;

openFile(page);
