// The playing bar: always at the bottom, with what is played, where it is, and how it goes on.
import { byId } from "./elements.js";
import { titleOf } from "./cards.js";
import { LOOPS } from "./settings.js";

/** @import { Page } from "./main.js" */

/** @type {Record<string, string>} */
const LOOP_WORDS = { off: "Loop off", bar: "Loop bar", idea: "Loop idea", all: "Play all" };
const STEP = 4; // quarter notes a minute

export class PlayBar {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.bar = 0;
    byId("play").addEventListener("click", () => page.playing.toggle());
    byId("before").addEventListener("click", () => page.playing.go(-1));
    byId("next").addEventListener("click", () => page.playing.go(1));
    byId("slower").addEventListener("click", () => page.playing.faster(-STEP));
    byId("faster").addEventListener("click", () => page.playing.faster(STEP));
    byId("loop").addEventListener("click", () => this.loop());
    byId("progress").addEventListener("click", (event) => this.clicked(event));
    byId("sound").addEventListener("keydown", (event) => {
      if (event.key !== "Escape") return;
      event.stopPropagation();
      /** @type {HTMLDetailsElement} */ (byId("sound")).open = false;
      byId("sound").querySelector("summary")?.focus();
    });
    document.addEventListener("pointerdown", ({ target }) => {
      if (!byId("sound").contains(/** @type {Node} */ (target))) /** @type {HTMLDetailsElement} */ (byId("sound")).open = false;
    });
  }

  /** The next way to go on: once, a bar again, the idea again, all ideas. */
  loop() {
    const { settings } = this.page;
    const next = LOOPS[(LOOPS.indexOf(settings.kept.loop) + 1) % LOOPS.length];
    settings.set({ loop: next });
    this.page.say(`${LOOP_WORDS[next]}.`);
  }

  /** @param {MouseEvent} event */
  clicked(event) {
    const box = byId("progress").getBoundingClientRect();
    this.page.playing.startAt((event.clientX - box.left) / box.width);
  }

  /** Shows what is there to be played, and how. */
  show() {
    const { page } = this;
    const { current, settings } = page;
    const sounds = page.player.playing !== null;
    byId("playbar").classList.toggle("sounding", sounds);
    byId("play").setAttribute("aria-label", sounds ? "Stop" : "Play");
    byId("play").children[0].textContent = sounds ? "■" : "▶";
    for (const id of ["play", "before", "next", "slower", "faster"]) byId(id).toggleAttribute("disabled", !current);
    byId("loop").dataset.loop = settings.kept.loop;
    byId("loop").querySelector(".loop-word")?.replaceChildren(LOOP_WORDS[settings.kept.loop]);
    const tempo = current ? settings.tempoOf(current.round.whole) : 0;
    byId("tempo").textContent = tempo ? `${Math.round(tempo)}` : "–";
    this.where();
  }

  /** Shows where it is. */
  where() {
    const { current, player } = this.page;
    const { tick, length } = player.where();
    const bar = current ? this.page.playing.barAt(current, tick) : 0;
    const words = current ? `${titleOf(current.idea).split(":")[0]}${player.playing ? `, bar ${bar}` : ""}` : "Nothing to play yet";
    if (byId("where").textContent !== words) byId("where").textContent = words;
    /** @type {HTMLElement} */ (byId("progress").firstElementChild).style.transform = `scaleX(${player.playing ? Math.min(1, tick / length) : 0})`;
    if (bar !== this.bar && player.playing && current) {
      this.bar = bar;
      this.page.playing.follow(current, bar);
    }
  }

  /** Goes with the music. */
  run() {
    requestAnimationFrame(() => {
      this.where();
      if (this.page.player.playing !== null) this.run();
    });
  }
}
