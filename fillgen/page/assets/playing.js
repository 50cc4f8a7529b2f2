// Playing: an idea begins, the next one follows, notes light up, and the page goes with the music.
import { byId } from "./elements.js";
import { pictureOf, setPlaying, titleOf } from "./cards.js";
import { barIn, setLit } from "./pictures.js";

/** @import { Entry, Wishes } from "./types.js" */
/** @import { Page } from "./main.js" */

const REST = 2500; // milliseconds after a reader has scrolled in which the page doesn't
const SILENT = "No sound from the browser yet. If it stays silent, check that speakers or headphones are connected and the page isn't muted.";

export class Playing {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.loopBar = 0;
    this.scrolled = -REST; // when the reader moved the page last
    /** @type {(name: string, act: (detail: any) => void) => void} */
    const on = (name, act) => document.addEventListener(`fillgen:${name}`, (event) => act(/** @type {CustomEvent} */ (event).detail));
    on("play", ({ key }) => this.sounding(key, true));
    on("stop", ({ key, whole }) => this.sounding(key, false, whole));
    on("silent", () => page.warn(SILENT));
    on("lit", (detail) => this.light(detail, true));
    on("unlit", (detail) => this.light(detail, false));
    for (const name of ["wheel", "touchmove"]) {
      window.addEventListener(name, () => (this.scrolled = performance.now()), { passive: true });
    }
    const tabs = typeof BroadcastChannel === "function" ? new BroadcastChannel("fillgen") : null;
    tabs?.addEventListener("message", () => this.stop());
    on("play", () => tabs?.postMessage("playing"));
  }

  /** The bar that is heard becomes the one that is looped. */
  hold() {
    const { current, player } = this.page;
    this.loopBar = current ? this.barAt(current, player.where().tick) : 0;
  }

  /**
   * @param {Entry} entry
   * @returns {Wishes}
   */
  wishesFor(entry) {
    const wishes = this.page.settings.wishes(entry.round);
    if (this.page.settings.kept.loop === "bar") wishes.span = this.spanOf(entry, this.loopBar || entry.round.whole.first);
    const shown = this.page.lookOf(entry).own.shift ?? 0;
    return { ...wishes, shift: shown };
  }

  /** @param {Entry|null} entry */
  async toggle(entry = this.page.current) {
    if (!entry) return;
    if (this.page.player.playing === entry.key) this.stop();
    else await this.play(entry);
  }

  /** @param {Entry} entry */
  async play(entry) {
    this.page.select(entry);
    try {
      await this.page.player.play(entry.key, entry.round.whole, entry.idea, this.wishesFor(entry));
      if (document.getElementById("alert")?.textContent) this.page.warn("");
    } catch (error) {
      this.page.trouble(error, `${titleOf(entry.idea)} can't be played`);
    }
  }

  stop() {
    this.page.player.stop();
  }

  /** @param {number} step to the next idea, or to the one before */
  async go(step) {
    const all = this.page.order();
    const place = this.page.current ? all.indexOf(this.page.current) : -1;
    const next = all[place < 0 ? 0 : (place + step + all.length) % all.length];
    if (!next) return;
    const playing = this.page.player.playing !== null;
    if (playing) this.stop();
    this.page.select(next);
    if (this.page.stand.open) this.page.stand.show(next);
    else next.card.scrollIntoView({ block: "nearest" });
    if (playing) await this.play(next);
  }

  /** @param {number} by */
  faster(by) {
    if (this.page.current) this.page.settings.faster(by, this.page.current.round.whole);
  }

  /** @param {number} share of the idea from which it plays on */
  async startAt(share) {
    const entry = this.page.current;
    if (!entry) return;
    if (this.page.player.playing !== entry.key) await this.play(entry);
    this.page.player.jump(Math.max(0, share) * entry.round.whole.length);
  }

  /**
   * @param {string} key
   * @param {boolean} on
   * @param {boolean} [whole] whether it has come to its end
   */
  sounding(key, on, whole = false) {
    const entry = this.page.entries.get(key);
    if (entry) setPlaying(entry.card, on);
    this.page.playbar.show();
    if (on) this.page.playbar.run();
    else if (whole && this.page.settings.kept.loop === "all") this.onward();
  }

  async onward() {
    const all = this.page.order();
    const next = all[(this.page.current ? all.indexOf(this.page.current) : -1) + 1] ?? all[0];
    if (!next) return;
    if (this.page.stand.open) this.page.stand.show(next);
    await this.play(next);
  }

  /**
   * @param {{key: string, ids: string[], note: number}} detail
   * @param {boolean} on
   */
  light({ key, ids, note }, on) {
    const entry = this.page.entries.get(key);
    if (!entry) return;
    setLit(entry.card, ids, on);
    this.page.stand.light(entry, ids, note, on);
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
    if (performance.now() - this.scrolled < REST) return;
    const panel = document.querySelector(".panels [open]"); // where the reader is busy with something else
    if (panel && !this.page.stand.open && !panel.contains(entry.card)) return;
    const picture = this.page.stand.open ? this.page.stand.picture : pictureOf(entry.card);
    const place = (barIn(picture, bar)?.closest("svg") ?? entry.card).getBoundingClientRect();
    const bottom = byId("playbar").getBoundingClientRect().top;
    if (place.top < 0 || place.bottom > bottom) (this.page.stand.open ? picture : entry.card).scrollIntoView({ block: "center" });
  }
}
