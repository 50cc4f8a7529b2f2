// Changes to the idea book, and what takes them back. An idea that was forgotten and comes back has a new number.
import { ask } from "./asking.js";

export class BookChanges {
  constructor() {
    this.moved = new Map();
  }

  // The number that an idea has now.
  now(id) {
    return this.moved.has(id) ? this.now(this.moved.get(id)) : id;
  }

  // Takes some steps; the answer tells the ideas they were about, and the steps back.
  make(steps) {
    return ask("book/change", { steps: steps.map((step) => this.current(step)) });
  }

  current(step) {
    return step.ids ? { ...step, ids: step.ids.map((id) => this.now(id)) } : step;
  }

  // Takes back what `steps` did; `undo` are the steps that the book gave for it.
  async back(steps, undo) {
    const made = await this.make(undo);
    const gone = steps.filter(({ action }) => action === "forget").flatMap(({ ids }) => ids.map((id) => this.now(id)));
    gone.forEach((id, place) => {
      const come = made.ideas[place]?.id;
      if (come !== undefined && come !== id) this.moved.set(id, come);
    });
    return made;
  }
}
