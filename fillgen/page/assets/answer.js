// A short answer above the playing bar: why a note fits, which notes fit a chord. It goes as soon as it is in the way.
import { button, byId, make } from "./elements.js";

export class Answer {
  constructor() {
    this.root = byId("answer");
    /** @type {Element|null} */
    this.from = null;
    document.addEventListener("pointerdown", ({ target }) => {
      if (target instanceof Element && !this.root.contains(target) && !target.closest(".note, .harm, .playbar")) this.close();
    });
  }

  /**
   * @param {string} title
   * @param {(Node|string)[]} content
   */
  show(title, ...content) {
    if (this.root.hidden) this.from = document.activeElement;
    this.root.hidden = false;
    this.root.replaceChildren(make("div", { class: "answer-head" }, make("h2", {}, title), button("Close", () => this.close(), { class: "button quiet" })), ...content);
    this.root.scrollTop = 0;
  }

  get open() {
    return !this.root.hidden;
  }

  close() {
    if (this.root.hidden) return;
    const held = this.root.contains(document.activeElement);
    this.root.hidden = true;
    for (const asked of document.querySelectorAll(".note.asked")) asked.classList.remove("asked");
    if (held && this.from instanceof HTMLElement) this.from.focus({ preventScroll: true });
  }
}
