// What was changed last, and how each change is taken back.
import { button, isTyping } from "../elements.js";

/** @import { Page } from "../main.js" */

const MOST = 50;

export class Changes {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
    /** @type {{what: string, back: () => unknown}[]} */
    this.row = [];
    this.turn = Promise.resolve();
    this.button = button("Undo", () => this.undo(), { class: "button quiet undo", "aria-keyshortcuts": "Control+Z", hidden: true });
    document.addEventListener("keydown", (event) => this.key(event));
  }

  /**
   * Remembers a change: what it was, and what takes it back.
   * @param {string} what
   * @param {() => unknown} back
   */
  add(what, back) {
    this.row.push({ what, back });
    if (this.row.length > MOST) this.row.shift();
    this.show();
  }

  /** Takes the last change back; one press after another, however quick they are. */
  undo() {
    this.turn = this.turn.then(() => this.back());
    return this.turn;
  }

  async back() {
    const last = this.row.pop();
    if (!last) return;
    try {
      await last.back();
      this.page.say(`Undone: ${last.what}.`);
    } catch (error) {
      this.row.push(last);
      document.dispatchEvent(new CustomEvent("workshop:trouble", { detail: error }));
    } finally {
      this.show();
    }
  }

  show() {
    const last = this.row.at(-1);
    this.button.title = last ? `Undoes: ${last.what}` : "";
    if (!last && document.activeElement === this.button) document.getElementById("ideas")?.focus({ preventScroll: true });
    this.button.hidden = !last;
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    const asked = (event.ctrlKey || event.metaKey) && !event.shiftKey && !event.altKey && event.key.toLowerCase() === "z";
    if (!asked || isTyping(event.target) || event.defaultPrevented) return;
    event.preventDefault();
    this.undo();
  }
}
