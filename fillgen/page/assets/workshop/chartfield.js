// The field for the chords: read as it is typed, with the wrong chord marked where it stands.
import { ask, Refusal } from "./asking.js";
import { button, fresh, make, rested } from "../elements.js";

/** @import { ReadChart } from "../types.js" */

const WAIT = 180; // milliseconds after the last letter
const WRITES = "Each chord is a bar; write | Gm7 C7 | for two in one. / holds a chord one more beat, % repeats a bar.";

export class ChartField {
  /**
   * @param {() => Record<string, unknown>} settings the key and the metre that are chosen
   * @param {(read: ReadChart|null) => void} onRead is called with what the chart was understood as, null where it cannot be read
   */
  constructor(settings, onRead) {
    this.settings = settings;
    this.onRead = onRead;
    this.checking = rested(WAIT, () => this.check().catch(() => {}));
    this.turn = 0;
    /** @type {Refusal|null} */
    this.wrong = null;
    const ids = { help: fresh("chart-help"), error: fresh("chart-error") };
    this.input = make("textarea", {
      id: "chart",
      name: "chart",
      rows: "1",
      spellcheck: "false",
      autocomplete: "off",
      autocapitalize: "off",
      required: true,
      "aria-describedby": `${ids.help} ${ids.error}`,
      placeholder: "Chords, such as Bb Gm7 Eb F7",
      on: { input: () => this.typed(), scroll: () => this.scrolled(), keydown: (event) => this.entered(event) },
    });
    this.behind = make("div", { class: "chart-behind", "aria-hidden": "true" });
    this.error = make("p", { id: ids.error, class: "mistake", "aria-live": "polite" });
    this.mends = make("p", { class: "row mends", hidden: true });
    this.root = make(
      "div",
      { class: "field chart-field" },
      make("label", { for: "chart", class: "unseen" }, "Chords"),
      make("div", { class: "chart-box" }, this.behind, this.input),
      make("span", { class: "hint unseen", id: ids.help }, WRITES),
      this.error,
      this.mends,
    );
  }

  get text() {
    return this.input.value.trim() ? this.input.value : "";
  }

  /**
   * Puts a chart into the field and has it read.
   * @param {string} text
   */
  async put(text) {
    this.input.value = text;
    this.grow();
    await this.check().catch(() => {});
  }

  /**
   * Enter begins a new line while the chart is written over several, and finds ideas otherwise.
   * @param {KeyboardEvent} event
   */
  entered(event) {
    if (event.key !== "Enter" || event.shiftKey || event.isComposing || this.input.value.includes("\n")) return;
    event.preventDefault();
    this.input.form?.requestSubmit();
  }

  // As many lines as are written, up to six.
  grow() {
    this.input.rows = Math.min(6, Math.max(1, this.input.value.split("\n").length));
  }

  typed() {
    this.grow();
    this.shade();
    this.checking.soon();
  }

  /**
   * Reads the chart now. The error is thrown on once it is shown; what is overtaken by a newer one answers null.
   * @returns {Promise<ReadChart|null>}
   */
  async check() {
    this.checking.drop();
    this.turn += 1;
    const { turn } = this;
    if (!this.text) {
      this.show(null);
      this.onRead(null);
      return null;
    }
    try {
      const read = await ask("chart", { chart: this.input.value, ...this.settings() });
      if (turn !== this.turn) return null;
      this.show(null);
      this.onRead(read);
      return read;
    } catch (error) {
      if (turn === this.turn && error instanceof Refusal) {
        this.show(error);
        this.onRead(null);
      }
      throw error;
    }
  }

  /**
   * Shows what is wrong, in words and at its place; null takes it away.
   * @param {Refusal|null} error
   */
  show(error) {
    this.wrong = error;
    if (error) this.input.setAttribute("aria-invalid", "true");
    else this.input.removeAttribute("aria-invalid");
    const said = error ? `${error.said[0].toUpperCase()}${error.said.slice(1)}` : "";
    if (this.error.textContent !== said) this.error.textContent = said;
    this.shade();
    this.offer();
  }

  /** What is wrong, where it is at a place. */
  get marked() {
    return this.wrong?.isPlaced && this.wrong.end > this.wrong.start ? this.wrong : null;
  }

  // Underlines what is wrong, in a text that lies behind the field.
  shade() {
    const text = this.input.value;
    const { marked } = this;
    if (!marked || marked.end > text.length) {
      this.behind.replaceChildren();
      return;
    }
    const { start, end } = marked;
    this.behind.replaceChildren(text.slice(0, start), make("mark", {}, text.slice(start, end)), `${text.slice(end)}\n`);
    this.scrolled();
  }

  scrolled() {
    this.behind.scrollTop = this.input.scrollTop;
    this.behind.scrollLeft = this.input.scrollLeft;
  }

  offer() {
    const buttons = [];
    const { marked } = this;
    if (marked) {
      buttons.push(button("Go to the mistake", () => this.go()));
      for (const word of proposed(marked)) buttons.push(button(`Write ${word}`, () => this.mend(word)));
    }
    const had = this.mends.contains(document.activeElement);
    this.mends.replaceChildren(...buttons);
    this.mends.hidden = !buttons.length;
    if (had) this.input.focus();
  }

  // Selects what is wrong, so that typing writes over it.
  go() {
    this.input.focus();
    if (this.marked) this.input.setSelectionRange(this.marked.start, this.marked.end);
  }

  /** @param {string} word */
  mend(word) {
    if (!this.marked) return;
    const { start, end } = this.marked;
    this.input.focus();
    this.input.setRangeText(word, start, end, "end");
    this.check().catch(() => {});
  }
}

/**
 * The words that a message holds out for what is wrong.
 * @param {Refusal} refusal
 */
function proposed({ hint }) {
  const near = /^Did you mean (.*)\?/.exec(hint);
  return near ? [...near[1].matchAll(/'([^']+)'/g)].map((found) => found[1]) : [];
}
