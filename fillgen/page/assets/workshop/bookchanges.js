// Changes to the idea book, and what takes them back. An idea that was forgotten and comes back has a new number.
import { ask } from "./asking.js";

/** @import { Step } from "../types.js" */

export class BookChanges {
  constructor() {
    /** @type {Map<number, number>} */
    this.moved = new Map();
  }

  /**
   * The number that an idea has now.
   * @param {number} id
   * @returns {number}
   */
  now(id) {
    const next = this.moved.get(id);
    return next === undefined ? id : this.now(next);
  }

  /**
   * Takes some steps; the answer tells the ideas they were about, and the steps back.
   * @param {Step[]} steps
   */
  make(steps) {
    return ask("book/change", { steps: steps.map((step) => this.current(step)) });
  }

  /**
   * @param {Step} step
   * @returns {Step}
   */
  current(step) {
    return step.ids ? { ...step, ids: step.ids.map((id) => this.now(id)) } : step;
  }

  /**
   * Takes back what `steps` did; `undo` are the steps that the book gave for it.
   * @param {Step[]} steps
   * @param {Step[]} undo
   */
  async back(steps, undo) {
    const made = await this.make(undo);
    const gone = steps.filter(({ action }) => action === "forget").flatMap(({ ids = [] }) => ids.map((id) => this.now(id)));
    gone.forEach((id, place) => {
      const come = made.ideas[place]?.id;
      if (come !== undefined && come !== id) this.moved.set(id, come);
    });
    return made;
  }
}
