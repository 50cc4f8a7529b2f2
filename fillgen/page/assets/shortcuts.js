// What the keys do; the list of them is shown by "?".
import { roved } from "./cards.js";
import { isTyping, make } from "./elements.js";

/** @import { Page } from "./main.js" */

/** @type {[string, string, string][]} key, its name, what it does */
const KEYS = [
  [" ", "Space", "play or stop"],
  ["ArrowLeft", "←", "previous idea"],
  ["ArrowRight", "→", "next idea"],
  ["ArrowDown", "↓", "in a card: the same button of the next card"],
  ["l", "L", "loop: off, a bar, the idea, all"],
  ["-", "−", "slower"],
  ["+", "+", "faster"],
  ["s", "S", "star or unstar the idea"],
  ["e", "E", "put the idea on the music stand"],
  ["n", "N", "note names on or off"],
  ["g", "G", "fingering on or off"],
  ["t", "T", "starred ideas"],
  ["?", "?", "this list"],
  ["Escape", "Esc", "close what is open; stop"],
];

export class Shortcuts {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.dialog = /** @type {HTMLDialogElement} */ (document.getElementById("keys-help"));
    document.getElementById("keys-list")?.append(...KEYS.flatMap(([, name, words]) => [make("dt", {}, make("kbd", {}, name)), make("dd", {}, words)]));
    document.getElementById("help")?.addEventListener("click", () => this.dialog.showModal());
    document.addEventListener("keydown", (event) => this.key(event));
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey || this.dialog.open) return;
    if (event.key === "Escape") this.escape();
    else if (isTyping(event.target)) return;
    else if (roved(event)) event.preventDefault();
    else if (event.target instanceof Element && event.target.closest(".settings, summary, [role=radio], input")) return;
    else if (event.key === " ") this.space(event);
    else if (event.key === "ArrowLeft" || event.key === "ArrowRight") this.arrow(event);
    else if (this.page.settings.kept.letters) this.letter(event);
  }

  /** @param {KeyboardEvent} event */
  space(event) {
    if (event.target instanceof Element && event.target.closest("button, a")) return;
    event.preventDefault();
    this.page.playing.toggle();
  }

  /** @param {KeyboardEvent} event */
  arrow(event) {
    event.preventDefault();
    this.page.playing.go(event.key === "ArrowLeft" ? -1 : 1);
  }

  /** @param {KeyboardEvent} event */
  letter(event) {
    const { page } = this;
    const { settings, current } = page;
    /** @type {Record<string, () => void>} */
    const acts = {
      l: () => page.playbar.loop(),
      "-": () => page.playing.faster(-4),
      "+": () => page.playing.faster(4),
      "=": () => page.playing.faster(4),
      s: () => current && page.star(current.key),
      e: () => (page.stand.open ? page.stand.close() : current && page.stand.show(current)),
      n: () => settings.set({ names: !settings.kept.names }),
      g: () => settings.set({ fingers: !settings.kept.fingers }),
      t: () => page.tray.toggle(),
      "?": () => this.dialog.showModal(),
    };
    const act = acts[event.key.toLowerCase()];
    if (!act) return;
    event.preventDefault();
    act();
  }

  escape() {
    const { page } = this;
    if (page.answer.open) page.answer.close();
    else if (page.stand.open) page.stand.close();
    else if (page.tray.open) page.tray.toggle();
    else page.playing.stop();
  }
}
