// An idea varied: bars that stay are pressed in the notation or by number, the others are found anew below it.
import { button, choice, field, make } from "../elements.js";
import { pictureOf } from "../cards.js";
import { frameBars } from "../pictures.js";

/** @import { Entry } from "../types.js" */
/** @import { Page } from "../main.js" */

/** @type {Record<string, string>} */
const NEAR = { like: "small changes only", unlike: "as different as can be", answer: "phrases that answer it" };

export class Vary {
  /**
   * @param {Page} page
   * @param {string[]} nearness
   * @param {(entry: Entry, bars: number[], near: string) => void} find
   */
  constructor(page, nearness, find) {
    this.page = page;
    this.nearness = nearness;
    this.find = find;
    page.vary = (entry) => this.toggle(entry);
    document.addEventListener("fillgen:bar", (event) => {
      const { entry, bar } = /** @type {CustomEvent} */ (event).detail;
      this.keep(entry, bar, !entry.bars.has(bar));
    });
  }

  /** @param {Entry} entry */
  toggle(entry) {
    const { card } = entry;
    const open = card.classList.toggle("varying");
    card.querySelector('[data-act="vary"]')?.setAttribute("aria-expanded", String(open));
    card.querySelector(".vary-inside")?.remove();
    if (!open) return;
    const inside = this.inside(entry);
    card.append(inside);
    /** @type {HTMLElement} */ (inside.querySelector("button")).focus({ preventScroll: true });
    inside.scrollIntoView({ block: "nearest" });
  }

  /** @param {Entry} entry */
  inside(entry) {
    const name = `idea ${entry.idea.rank}`;
    const bars = entry.round.whole.bars.map(({ bar }) =>
      make("button", { type: "button", class: "button bar-keep", "data-bar": bar, "aria-pressed": String(entry.bars.has(bar)), on: { click: () => this.keep(entry, bar, !entry.bars.has(bar)) } }, `Bar ${bar}`),
    );
    const near = choice([["", "any that fit"], ...this.nearness.map((word) => /** @type {[string, string]} */ ([word, NEAR[word] ?? word]))]);
    const find = button("Find variations", () => this.find(entry, [...entry.bars].sort((a, b) => a - b), near.value), { class: "button button-main vary-find" });
    return make(
      "div",
      { class: "vary-inside", role: "group", "aria-label": `Vary ${name}` },
      make("p", { class: "hint" }, "Keep these bars; a press on a bar of the music keeps it too."),
      make("div", { class: "row keep-bars" }, bars),
      make("div", { class: "row vary-row" }, field("The rest", near), find),
    );
  }

  /**
   * @param {Entry} entry
   * @param {number} bar
   * @param {boolean} on
   */
  keep(entry, bar, on) {
    if (on) entry.bars.add(bar);
    else entry.bars.delete(bar);
    entry.card.querySelector(`.bar-keep[data-bar="${bar}"]`)?.setAttribute("aria-pressed", String(on));
    frameBars(pictureOf(entry.card), [...entry.bars], "kept");
    this.page.say(`Bar ${bar} of idea ${entry.idea.rank} ${on ? "is kept" : "can change"}.`);
    document.dispatchEvent(new CustomEvent("workshop:kept"));
  }
}
