// Why a note fits, said in the key and with the names that are on the page.
import { pictureOf } from "./cards.js";
import { make } from "./elements.js";
import { inKey, signed } from "./words.js";

/** @import { Entry } from "./types.js" */
/** @import { Page } from "./main.js" */

export class Reasons {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
  }

  /**
   * Says why a note fits.
   * @param {Entry} entry
   * @param {number} index
   */
  async tell(entry, index) {
    const { own, look } = this.page.lookOf(entry);
    const { idea, round } = entry;
    const title = `${signed(look.names[index])} in bar ${idea.notes[index].bar}`;
    for (const asked of document.querySelectorAll(".note.asked")) asked.classList.remove("asked");
    for (const picture of [pictureOf(entry.card), this.page.stand.picture]) picture.querySelector(`[data-id="${idea.notes[index].ids[0]}"]`)?.classList.add("asked");
    try {
      idea.why ??= await this.page.fetchWhy?.(entry);
      const names = round.own.ideas[idea.id].names;
      const words = inKey(idea.why?.[index] ?? "There's nothing to say about this note.", names, round.own, look.names, own);
      this.page.answer.show(`Why does ${title} fit?`, make("p", {}, words));
    } catch (error) {
      this.page.trouble(error);
    }
  }
}
