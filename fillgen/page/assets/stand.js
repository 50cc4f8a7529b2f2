// The music stand: one idea as large as the window allows, the keys it uses below, the next and the one before at hand.
import { byId } from "./elements.js";
import { keysOf, lightKey } from "./keyboard.js";
import { draw, noteAt, noteNear, setLit, sizeOf } from "./pictures.js";
import { titleOf } from "./cards.js";

/** @import { Entry } from "./types.js" */
/** @import { Page } from "./main.js" */

export class Stand {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    this.root = byId("stand");
    this.picture = byId("stand-picture");
    /** @type {Entry|null} */
    this.entry = null;
    this.at = 0;
    byId("stand-close").addEventListener("click", () => this.close());
    byId("stand-star").addEventListener("click", () => this.entry && page.star(this.entry.key));
    this.picture.addEventListener("keydown", (event) => this.key(event));
    this.picture.addEventListener("click", ({ clientX, clientY }) => this.asked(noteNear(this.picture, this.idea, clientX, clientY)));
    window.addEventListener("resize", () => this.entry && this.fit());
  }

  get idea() {
    return /** @type {Entry} */ (this.entry).idea;
  }

  get open() {
    return this.entry !== null;
  }

  /** @param {Entry} entry */
  show(entry) {
    const first = !this.entry;
    if (first) this.from = document.activeElement;
    this.entry = entry;
    this.at = -1;
    this.root.hidden = false;
    document.body.classList.add("on-stand");
    for (const other of this.others()) other.setAttribute("inert", "");
    this.fresh();
    if (first) byId("stand-close").focus();
  }

  others() {
    return document.querySelectorAll("body > :not(#stand, .playbar, #answer, script, svg, dialog)");
  }

  /** Draws what is on the stand as it is to look now. */
  fresh() {
    if (!this.entry) return;
    const { look, names, own } = this.page.lookOf(this.entry);
    const { idea } = this.entry;
    byId("stand-title").textContent = titleOf(idea);
    byId("stand-about").textContent = own.about;
    byId("stand-star").setAttribute("aria-pressed", String(this.page.isStarred(this.entry)));
    draw(this.picture, idea, look, { names, label: false });
    this.wide = sizeOf(look.systems);
    const shift = own.shift ?? 0;
    const notes = idea.notes.map(({ midi }, place) => ({ midi: midi + shift, name: look.names[place] }));
    byId("stand-keys").replaceChildren(keysOf(notes));
    this.readable();
    this.fit();
  }

  /** Every note can be reached and asked. */
  readable() {
    this.idea.notes.forEach(({ ids }, index) => {
      const note = this.picture.querySelector(`[data-id="${ids[0]}"]`);
      if (!note) return;
      const { look } = this.page.lookOf(/** @type {Entry} */ (this.entry));
      note.setAttribute("role", "button");
      note.setAttribute("tabindex", index === 0 ? "0" : "-1");
      note.setAttribute("aria-label", `${look.names[index]}: why does this fit?`);
    });
  }

  /** As large as the room allows, but no larger than is read at arm's length. */
  fit() {
    const [wide, high] = this.wide ?? [1, 1];
    const room = this.picture.parentElement?.getBoundingClientRect();
    if (!room) return;
    const keys = byId("stand-keys").offsetHeight + 24;
    const width = Math.min(room.width - 16, ((room.height - keys) * wide) / high, 1500);
    this.picture.style.width = `${Math.max(280, width)}px`;
  }

  /** @param {number} index */
  asked(index) {
    if (index < 0 || !this.entry) return;
    this.go(index);
    this.page.reasons.tell(this.entry, index);
  }

  /** @param {number} index */
  go(index) {
    this.at = index;
    this.idea.notes.forEach(({ ids }, place) => {
      const note = this.picture.querySelector(`[data-id="${ids[0]}"]`);
      note?.setAttribute("tabindex", place === index ? "0" : "-1");
      if (place === index && note instanceof SVGElement) note.focus({ preventScroll: true });
    });
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const at = noteAt(event.target, this.idea);
    if (at < 0) return;
    const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (step) this.go(Math.min(this.idea.notes.length - 1, Math.max(0, at + step)));
    if (step || event.key === "Enter") {
      event.preventDefault();
      event.stopPropagation();
      if (event.key === "Enter" || this.page.answer.open) this.asked(Math.min(this.idea.notes.length - 1, Math.max(0, at + (step ?? 0))));
    }
  }

  /**
   * @param {Entry} entry
   * @param {string[]} ids
   * @param {number} note
   * @param {boolean} on
   */
  light(entry, ids, note, on) {
    if (this.entry !== entry) return;
    setLit(this.picture, ids, on);
    const { own } = this.page.lookOf(entry);
    lightKey(byId("stand-keys"), entry.idea.notes[note].midi + (own.shift ?? 0), on);
  }

  close() {
    if (!this.entry) return;
    const { card } = this.entry;
    this.entry = null;
    this.root.hidden = true;
    document.body.classList.remove("on-stand");
    for (const other of this.others()) other.removeAttribute("inert");
    /** @type {HTMLElement|null} */ (card.querySelector('[tabindex="0"]'))?.focus({ preventScroll: true });
    card.scrollIntoView({ block: "nearest" });
  }
}
