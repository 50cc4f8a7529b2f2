// The page: rounds of ideas taken in, shown in a key, filtered, played, followed, starred and given as files.
import { Answer } from "./answer.js";
import { Drawer, makeCard, pictureOf, setPlaying, setStarred, titleOf } from "./cards.js";
import { make, many } from "./elements.js";
import { shownAmong, sorted } from "./filters.js";
import { addGlyphs, barAt, barIn, noteNear, setLit, symbolAt } from "./pictures.js";
import { PlayBar } from "./playbar.js";
import { Player } from "./player.js";
import { Settings } from "./settings.js";
import { Shortcuts } from "./shortcuts.js";
import { Stand } from "./stand.js";
import { Store } from "./store.js";
import { bundles, give } from "./takeaway.js";
import { Tray } from "./tray.js";
import { inKey, signed } from "./words.js";

/** @import { Entry, Idea, Look, Round, Whole, Wishes } from "./types.js" */

const REST = 2500; // milliseconds after a reader has scrolled in which the page doesn't
const AT_ONCE = 12; // cards that are made before the browser may draw

/**
 * @param {string} id
 * @returns {HTMLElement}
 */
function byId(id) {
  return /** @type {HTMLElement} */ (document.getElementById(id));
}

/**
 * @param {string} name
 * @param {unknown} detail
 */
function tell(name, detail) {
  document.dispatchEvent(new CustomEvent(`fillgen:${name}`, { detail }));
}

/**
 * The document of a block of the page, unpacked; null where there is none.
 * @param {string} id
 * @returns {Promise<any>}
 */
async function block(id) {
  const text = document.getElementById(id)?.textContent;
  if (!text) return null;
  const bytes = Uint8Array.from(atob(JSON.parse(text)), (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Response(stream).json();
}

async function bank() {
  const inside = await block("fillgen-bank");
  if (inside) return inside;
  const answer = await fetch("assets/bank.json").catch(() => null);
  if (!answer) throw new Error("the sounds could not be fetched, since nothing answers. Start fillgen page again");
  if (!answer.ok) throw new Error(`the sounds could not be fetched (answer ${answer.status}). Press Play again in a moment`);
  return answer.json().catch(() => {
    throw new Error("the sounds came damaged. Press Play again in a moment");
  });
}

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
    this.loopBar = 0;
    this.acts = ["play", "star", "stand", "midi", "musicxml"];
    /** @type {((round: Round, shift: number) => Promise<Look>)} */
    this.fetchLook = async (_, shift) => {
      const look = await block(`fillgen-look-${shift}`);
      if (!look) throw new Error("this page does not hold that key");
      return look;
    };
    /** @type {((entry: Entry) => Promise<string[]>)|null} */
    this.fetchWhy = null;
    /** @type {((kept: any[]) => Promise<Map<string, {round: Round, idea: Idea}>>)|null} */
    this.fetchShown = null;
    /** @type {((bundle: any) => Promise<Uint8Array>)|null} */
    this.fetchScore = null;
    /** @type {((entry: Entry, place: {bar: number, place: number}) => void)|null} */
    this.askChord = null;
    /** @type {((entry: Entry) => void)|null} */
    this.vary = null;
    this.player = new Player(keeping(bank));
    this.drawer = new Drawer((key) => this.entries.get(key), (entry) => this.lookOf(entry));
    this.settings = new Settings(this.store, (what) => this.changed(what));
    this.answer = new Answer();
    this.stand = new Stand(this);
    this.tray = new Tray(this);
    this.playbar = new PlayBar(this);
    this.shortcuts = new Shortcuts(this);
    this.listen();
    this.playbar.show();
  }

  listen() {
    /** @type {(name: string, act: (detail: any) => void) => void} */
    const on = (name, act) => document.addEventListener(`fillgen:${name}`, (event) => act(/** @type {CustomEvent} */ (event).detail));
    on("play", ({ key }) => this.sounding(key, true));
    on("stop", ({ key, whole }) => this.sounding(key, false, whole));
    on("lit", (detail) => this.light(detail, true));
    on("unlit", (detail) => this.light(detail, false));
    document.addEventListener("click", (event) => this.clicked(event));
    for (const name of ["wheel", "touchmove"]) window.addEventListener(name, () => (this.scrolled = performance.now()), { passive: true });
    const tabs = typeof BroadcastChannel === "function" ? new BroadcastChannel("fillgen") : null;
    tabs?.addEventListener("message", () => this.stop());
    on("play", () => tabs?.postMessage("playing"));
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
    if (act === "play") this.toggle(entry);
    else if (act === "star") this.star(entry.key);
    else if (act === "stand") this.stand.show(entry);
    else if (act === "vary") this.vary?.(entry);
    else if (act === "midi" || act === "musicxml") this.give(act, [entry], `idea-${String(entry.idea.rank).padStart(2, "0")}`);
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
    else if (note >= 0) this.why(entry, note);
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
    else {
      this.rounds.push(round);
      if (of) of.card.after(root);
      else byId("ideas").append(root);
    }
    if (!place || !this.settings.whole) this.settings.begin(whole);
    byId("care").querySelector("ul")?.replaceChildren(...whole.cautions.map((each) => make("li", {}, each)));
    return round;
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
    const entry = { key, round, idea, card: makeCard(key, idea, { acts: this.acts, ...look }), near: false, drawn: "", bars: new Set(), marks: new Map() };
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
    if (shift && !this.lookIn(round, shift)) this.transpose();
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
      this.rounds.push(round);
      if (round.of) round.of.card.after(round.root);
      else byId("ideas").append(round.root);
      this.settings.begin(round.whole);
      for (const entry of round.entries) {
        entry.near = false;
        this.take(entry);
      }
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

  // Keys

  /**
   * @param {Round} round
   * @param {number} shift
   * @returns {Look|undefined} a key in which all ideas of a round are
   */
  lookIn(round, shift) {
    const look = round.looks.get(shift);
    return look && round.entries.every(({ idea }) => look.ideas[idea.id]) ? look : undefined;
  }

  /**
   * How an idea is shown now.
   * @param {Entry} entry
   */
  lookOf({ round, idea }) {
    const { shift } = this.settings.wishes(round);
    const found = round.looks.get(shift);
    const own = found?.ideas[idea.id] ? found : round.own;
    const { names } = this.settings.kept;
    return { own, look: { spans: own.spans, ...own.ideas[idea.id] }, names, name: `${own.shift ?? 0}/${names}` };
  }

  /** Shows all ideas in the key that is chosen. */
  async transpose() {
    const { shift } = this.settings;
    const rounds = [...new Set([...this.rounds, ...this.tray.entries.map(({ round }) => round)])];
    const turn = (this.turn = {});
    try {
      for (const round of rounds) {
        if (!round.entries.length || !this.settings.wishes(round).shift || this.lookIn(round, shift)) continue;
        round.looks.set(shift, await this.fetchLook(round, shift));
        if (this.turn !== turn) return;
      }
    } catch (error) {
      if (this.turn !== turn) return;
      this.settings.set({ shift: 0 });
      this.trouble(error, "The ideas cannot be shown in that key");
      return;
    }
    for (const round of rounds) addGlyphs(this.lookIn(round, shift)?.glyphs ?? {});
    this.redraw();
    tell("key", { shift });
  }

  redraw() {
    for (const round of this.rounds) {
      const entry = round.entries[0];
      const own = entry ? this.lookOf(entry).own : round.own;
      const about = round.root.querySelector(".about");
      if (about) about.textContent = own.about;
    }
    for (const entry of this.entries.values()) this.drawer.fresh(entry);
    this.stand.fresh();
    const playing = this.entries.get(this.player.playing ?? "");
    if (playing) this.player.change(this.wishesFor(playing));
  }

  /** @param {string} what */
  changed(what) {
    if (what === "loop") this.loopBar = this.current ? this.barAt(this.current, this.player.where().tick) : 0;
    if (!this.rounds.length && !this.entries.size) return;
    this.transpose();
    this.choose();
    this.playbar.show();
    tell("settings", {});
  }

  // Choosing

  choose() {
    const all = this.listed();
    const isStarred = (/** @type {Entry} */ entry) => this.isStarred(entry);
    const { filters } = this.settings;
    const shown = shownAmong(all, filters, isStarred);
    all.forEach(({ card }, place) => (card.hidden = !shown[place]));
    for (const round of this.rounds) {
      const wanted = sorted(round.entries, filters.sort, isStarred).map(({ card }) => card);
      const now = [...round.cards.children].filter((each) => each.classList.contains("idea"));
      if (wanted.some((card, place) => now[place] !== card)) round.cards.append(...wanted);
      for (const other of this.rounds) if (other.of?.round === round) other.of.card.after(other.root);
    }
    const count = shown.filter(Boolean).length;
    byId("count").textContent = count === all.length ? many(count, "idea") : `${count} of ${many(all.length, "idea")}`;
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

  // Playing

  /**
   * @param {Entry} entry
   * @returns {Wishes}
   */
  wishesFor(entry) {
    const wishes = this.settings.wishes(entry.round);
    if (this.settings.kept.loop === "bar") wishes.span = this.spanOf(entry, this.loopBar || entry.round.whole.first);
    const shown = this.lookOf(entry).own.shift ?? 0;
    return { ...wishes, shift: shown };
  }

  /** @param {Entry|null} entry */
  async toggle(entry = this.current) {
    if (!entry) return;
    if (this.player.playing === entry.key || (this.player.playing !== null && entry === this.current && entry.key === this.player.playing)) this.stop();
    else await this.play(entry);
  }

  /** @param {Entry} entry */
  async play(entry) {
    this.select(entry);
    try {
      await this.player.play(entry.key, entry.round.whole, entry.idea, this.wishesFor(entry));
      if (byId("alert").textContent) this.warn("");
    } catch (error) {
      this.trouble(error, `${titleOf(entry.idea)} cannot be played`);
    }
  }

  stop() {
    this.player.stop();
  }

  /** @param {number} step to the next idea, or to the one before */
  async go(step) {
    const all = this.order();
    const place = this.current ? all.indexOf(this.current) : -1;
    const next = all[place < 0 ? 0 : (place + step + all.length) % all.length];
    if (!next) return;
    const playing = this.player.playing !== null;
    if (playing) this.stop();
    this.select(next);
    if (this.stand.open) this.stand.show(next);
    else next.card.scrollIntoView({ block: "nearest" });
    if (playing) await this.play(next);
  }

  /** @param {number} by */
  faster(by) {
    if (this.current) this.settings.faster(by, this.current.round.whole);
  }

  /** @param {number} share of the idea from which it plays on */
  async startAt(share) {
    const entry = this.current;
    if (!entry) return;
    if (this.player.playing !== entry.key) await this.play(entry);
    this.player.jump(Math.max(0, share) * entry.round.whole.length);
  }

  /**
   * @param {string} key
   * @param {boolean} on
   * @param {boolean} [whole] whether it has come to its end
   */
  sounding(key, on, whole = false) {
    const entry = this.entries.get(key);
    if (entry) setPlaying(entry.card, on);
    this.playbar.show();
    if (on) this.playbar.run();
    else if (whole && this.settings.kept.loop === "all") this.onward();
  }

  async onward() {
    const all = this.order();
    const next = all[(this.current ? all.indexOf(this.current) : -1) + 1] ?? all[0];
    if (!next) return;
    if (this.stand.open) this.stand.show(next);
    await this.play(next);
  }

  /**
   * @param {{key: string, ids: string[], note: number}} detail
   * @param {boolean} on
   */
  light({ key, ids, note }, on) {
    const entry = this.entries.get(key);
    if (!entry) return;
    setLit(entry.card, ids, on);
    this.stand.light(entry, ids, note, on);
  }

  /**
   * Where a bar of an idea begins and ends, in ticks.
   * @param {Entry} entry
   * @param {number} bar
   * @returns {[number, number]}
   */
  spanOf({ round: { whole } }, bar) {
    const place = bar - whole.first;
    const starts = whole.bars.map((_, each) => whole.metres?.[each]?.[0] ?? each * whole.bar_ticks);
    return [starts[place] ?? 0, starts[place + 1] ?? whole.length];
  }

  /**
   * The number of the bar that a tick is in.
   * @param {Entry} entry
   * @param {number} tick
   * @returns {number}
   */
  barAt(entry, tick) {
    const { bars } = entry.round.whole;
    return bars.findLast(({ bar }) => this.spanOf(entry, bar)[0] <= tick)?.bar ?? bars[0].bar;
  }

  /**
   * The page goes with the music, unless the reader has just moved it.
   * @param {Entry} entry
   * @param {number} bar
   */
  follow(entry, bar) {
    if (performance.now() - (this.scrolled ?? -REST) < REST) return;
    const picture = this.stand.open ? this.stand.picture : pictureOf(entry.card);
    const place = (barIn(picture, bar)?.closest("svg") ?? entry.card).getBoundingClientRect();
    const bottom = byId("playbar").getBoundingClientRect().top;
    if (place.top < 0 || place.bottom > bottom) (this.stand.open ? picture : entry.card).scrollIntoView({ block: "center" });
  }

  // Reasons

  /**
   * Says why a note fits.
   * @param {Entry} entry
   * @param {number} index
   */
  async why(entry, index) {
    const { own, look } = this.lookOf(entry);
    const { idea, round } = entry;
    const title = `${signed(look.names[index])}, bar ${idea.notes[index].bar}`;
    for (const asked of document.querySelectorAll(".note.asked")) asked.classList.remove("asked");
    for (const picture of [pictureOf(entry.card), this.stand.picture]) picture.querySelector(`[data-id="${idea.notes[index].ids[0]}"]`)?.classList.add("asked");
    try {
      idea.why ??= await this.fetchWhy?.(entry);
      const names = round.own.ideas[idea.id].names;
      const words = inKey(idea.why?.[index] ?? "Nothing is known of this note.", names, round.own, look.names, own);
      this.answer.show(`Why does ${title} fit?`, make("p", {}, words));
    } catch (error) {
      this.trouble(error);
    }
  }

  // Stars and files

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

  /**
   * @param {"midi"|"musicxml"} kind
   * @param {Entry[]} entries
   * @param {string} name
   */
  async give(kind, entries, name) {
    try {
      const found = bundles(entries, (entry) => ({ own: this.lookOf(entry).own, wishes: this.wishesFor(entry) }));
      for (const [place, bundle] of found.entries()) {
        const own = bundle.look;
        const key = own.shift ? `-in-${own.key.split(" ")[0].replace("#", "-sharp")}` : "";
        const file = `${name}${found.length > 1 ? `-${place + 1}` : ""}${key}`;
        this.say(`${file} is ready${await give(kind, file, bundle, this.fetchScore)}.`);
      }
    } catch (error) {
      this.trouble(error, "The file cannot be made");
    }
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
    this.warn(`${what ? `${what}: ` : ""}${error.said ?? error.message}${/[.?!]$/.test(error.said ?? error.message) ? "" : "."}`);
  }
}

/**
 * A question that is asked once, and again only where it failed.
 * @template T
 * @param {() => Promise<T>} ask
 * @returns {() => Promise<T>}
 */
function keeping(ask) {
  /** @type {Promise<T>|null} */
  let kept = null;
  return () => {
    kept ??= ask().catch((error) => {
      kept = null;
      throw error;
    });
    return kept;
  };
}

export const page = new Page();
/** @type {any} */ (window).fillgen = page;

async function begin() {
  const data = await block("fillgen-data");
  if (!data) return;
  const { whole, ideas, glyphs } = data;
  document.title = whole.title || "Right-hand ideas";
  byId("title").textContent = document.title;
  byId("remarks").replaceChildren(...whole.remarks.map((/** @type {string} */ each) => make("li", {}, each)));
  byId("foot").textContent = `fillgen ${whole.version}, level ${whole.level}, seed ${whole.seed}. Nothing on this page is sent anywhere.`;
  addGlyphs(glyphs);
  page.tray.read(`tray:${whole.id}`);
  const bars = whole.bars.map((/** @type {any} */ { chords }) => chords.map((/** @type {any} */ { symbol }) => signed(symbol)).join(" "));
  const round = page.begin(whole, { heading: `| ${bars.join(" | ")} |` });
  for (const [place, idea] of ideas.entries()) {
    if (place && place % AT_ONCE === 0) await new Promise((done) => setTimeout(done, 0));
    page.add(round, idea);
  }
  page.end(round);
  await page.tray.fill();
  document.body.dataset.ready = "true";
}

begin();
