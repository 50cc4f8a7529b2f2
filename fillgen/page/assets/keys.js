// The key in which the ideas are shown: what of it is there already, and what has to be fetched.
import { tell } from "./elements.js";
import { addGlyphs } from "./pictures.js";

/** @import { Entry, Look, Round } from "./types.js" */
/** @import { Page } from "./main.js" */

export class Keys {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.turn = {};
  }

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
    const { shift } = this.page.settings.wishes(round);
    const found = round.looks.get(shift);
    const own = found?.ideas[idea.id] ? found : round.own;
    const { names } = this.page.settings.kept;
    return { own, look: { spans: own.spans, ...own.ideas[idea.id] }, names, name: `${own.shift ?? 0}/${names}` };
  }

  /** Shows all ideas in the chosen key. */
  async transpose() {
    const { shift } = this.page.settings;
    const rounds = [...new Set([...this.page.rounds, ...this.page.tray.entries.map(({ round }) => round)])];
    const turn = {};
    this.turn = turn;
    try {
      for (const round of rounds) {
        if (!round.entries.length || !this.page.settings.wishes(round).shift || this.lookIn(round, shift)) continue;
        round.looks.set(shift, await this.page.fetchLook(round, shift));
        if (this.turn !== turn) return;
      }
    } catch (error) {
      if (this.turn !== turn) return;
      // without an answer the key stays chosen: it is asked for again with the next change, or when the page is opened again
      if (!/** @type {any} */ (error).unanswered) this.page.settings.set({ shift: 0 });
      this.page.trouble(error, "The ideas can't be shown in that key");
      return;
    }
    for (const round of rounds) addGlyphs(this.lookIn(round, shift)?.glyphs ?? {});
    this.redraw();
    tell("key", { shift });
  }

  redraw() {
    for (const round of this.page.rounds) {
      const entry = round.entries[0];
      const own = entry ? this.lookOf(entry).own : round.own;
      const about = round.root.querySelector(".about");
      if (about) about.textContent = own.about;
    }
    this.page.drawer.again(this.page.entries.values());
    this.page.stand.fresh();
    const playing = this.page.entries.get(this.page.player.playing ?? "");
    if (playing) this.page.player.change(this.page.playing.wishesFor(playing));
  }
}
