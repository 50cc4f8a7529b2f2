// The form for a search: chords, what else is wished for, and stock sequences to begin with.
import { ask, Refusal, saidOf } from "./asking.js";
import { ChartBars } from "./chartbars.js";
import { ChartField } from "./chartfield.js";
import { button, choice, field, fresh, grouped, make, option, tick } from "../elements.js";

/** @import { ReadChart, Sequence, Start } from "../types.js" */

/** @type {Record<string, string>} */
const PURPOSES = { intro: "Intros", turnaround: "Turnarounds", ending: "Endings", vamp: "Vamps" };
/** @type {Record<string, string>} */
const SECONDS = { thirds: "thirds", sixths: "sixths", chord: "chords" };
const FOUND = "from the chords";
const SUITS = "the usual";

/**
 * A list of names, each as an option.
 * @param {string} name
 * @param {string} none
 * @param {import("../elements.js").Choosable[]} options
 */
function list(name, none, options) {
  return choice([["", none], ...options], { name });
}

export class Wishes {
  rhythm = choice([], { name: "rhythm" });
  lead = make("input", { type: "text", name: "lead_to", autocomplete: "off", spellcheck: "false", maxlength: "8" });
  fresh = tick("Only ideas never shown before", { name: "fresh" });
  taste = tick("Rank by my stars", { name: "taste" });
  below = tick("Add below the ideas here", { name: "below" });
  mistake = make("p", { class: "mistake", id: fresh("wish-mistake"), role: "alert" });
  sequence = make("select", { id: fresh("sequence"), on: { change: () => this.sequenceTold() } });
  says = make("span", { class: "hint", id: `${this.sequence.id}-says` });

  /**
   * @param {Start} start what there is to choose from
   * @param {object} actions
   * @param {() => void} actions.begins
   * @param {(fields: any, below: boolean) => unknown} actions.find
   * @param {(what: string, back: () => unknown) => void} actions.changed
   * @param {(asked: any) => void} actions.notes shows which notes fit a chord
   */
  constructor(start, actions) {
    this.start = start;
    this.actions = actions;
    /** @type {Map<string, Sequence>} */
    this.sequences = new Map();
    /** @type {ReadChart|null} */
    this.read = null;
    this.chart = new ChartField(() => this.place(), (read) => this.understood(read));
    this.bars = new ChartBars(actions.notes);
    this.key = list("key", FOUND, start.keys);
    this.metre = list("metre", "from the chart", start.metres);
    this.level = choice(start.levels.map(({ number, name }) => [number, `${number}: ${name}`]), { name: "level" });
    this.level.value = String(start.usual.level);
    this.busy = choice(start.busy.map((word) => [word, `${word} notes`]), { name: "busy" });
    this.busy.value = start.usual.busy;
    this.shape = list("shape", "any shape", start.shapes);
    this.purpose = list("for", "anything", start.for);
    this.hand = list("hand", "any hand", start.hands);
    this.second = list("second", "none", start.seconds.map((word) => [word, SECONDS[word] ?? word]));
    for (const select of [this.key, this.metre]) select.addEventListener("change", () => this.placed());
    this.more = this.folded();
    this.root = make(
      "form",
      { class: "wishes", "aria-label": "Find ideas", novalidate: true, on: { submit: (event) => this.submitted(event) } },
      this.chart.root,
      this.bars.root,
      this.mistake,
      make("div", { class: "row find-row" }, make("button", { type: "submit", class: "button button-main find" }, "Find ideas"), this.more),
    );
    this.fillRhythms();
    this.filling = this.fillSequences();
  }

  /** What is behind "more". */
  folded() {
    return make(
      "details",
      { class: "more-wishes" },
      make("summary", { class: "button quiet" }, "More"),
      make(
        "fieldset",
        { class: "fields" },
        make("legend", { class: "unseen" }, "Wishes"),
        field("Key", this.key),
        field("Metre", this.metre),
        field("Rhythm", this.rhythm),
        field("Level", this.level),
        field("How busy", this.busy),
        field("Shape", this.shape),
        field("For", this.purpose),
        field("Hand size", this.hand),
        field("Second voice", this.second),
        field("Lead to", this.lead, { hint: "the tune's first note: B4, or just B" }),
        this.sequenceRow(),
        make("div", { class: "wide row ticks" }, this.below.row, ...(this.start.book ? [this.fresh.row, this.taste.row] : [])),
      ),
    );
  }

  sequenceRow() {
    this.sequence.setAttribute("aria-describedby", this.says.id);
    const put = button("Use it", () => this.putSequence());
    return make(
      "div",
      { class: "field sequence" },
      make("label", { for: this.sequence.id }, "Start from a sequence"),
      make("div", { class: "row" }, this.sequence, put),
      this.says,
    );
  }

  // Key and metre as they are chosen; those left to the chart are left out.
  place() {
    return given({ key: this.key.value, metre: this.metre.value });
  }

  // Everything that is wished for, as the server takes it.
  fields() {
    const asked = {
      chart: this.chart.text,
      ...this.place(),
      rhythm: this.rhythm.value,
      level: Number(this.level.value),
      busy: this.busy.value,
      shape: this.shape.value,
      for: this.purpose.value,
      hand: this.hand.value,
      lead_to: this.lead.value.trim(),
      second: this.second.value,
      fresh: this.fresh.box.checked,
      taste: this.taste.box.checked,
    };
    return given(asked);
  }

  // Everything that is chosen, as it can be kept and put back.
  get values() {
    const named = [this.key, this.metre, this.rhythm, this.level, this.busy, this.shape, this.purpose, this.hand, this.second, this.lead];
    const boxes = [this.fresh.box, this.taste.box, this.below.box];
    return Object.fromEntries([["chart", this.chart.input.value], ...named.map((each) => [each.name, each.value]), ...boxes.map((each) => [each.name, each.checked])]);
  }

  /** @param {Record<string, any>} values */
  async put(values) {
    for (const [name, value] of Object.entries(values)) {
      const control = this.root.elements.namedItem(name);
      if (name === "chart" || !(control instanceof HTMLElement)) continue;
      if (control instanceof HTMLInputElement && control.type === "checkbox") control.checked = Boolean(value);
      else /** @type {HTMLInputElement} */ (control).value = value;
    }
    await this.chart.put(values.chart ?? "");
    if (values.rhythm) this.rhythm.value = values.rhythm;
  }

  /** @param {ReadChart|null} read */
  understood(read) {
    this.read = read;
    this.fillRhythms();
    this.bars.show(read, this.chart.text);
  }

  placed() {
    this.fillRhythms();
    this.filling = this.fillSequences();
    this.chart.check().catch(() => {});
  }

  // The rhythms of the metre; the one that is chosen stays where it can.
  fillRhythms() {
    const metre = this.metre.value || this.read?.metre || "4/4";
    const before = this.rhythm.value;
    const fitting = this.start.rhythms.filter((rhythm) => rhythm.metres.includes(metre));
    const usual = this.read?.metre === metre ? this.read.rhythm : this.start.rhythm_of[metre];
    const options = [["", usual ? `${SUITS}: ${usual}` : SUITS], ...fitting.map(({ name, tempo }) => [name, `${name}, ${tempo} a minute`])];
    this.rhythm.replaceChildren(...options.map(option));
    this.rhythm.value = fitting.some(({ name }) => name === before) ? before : "";
  }

  async fillSequences() {
    const place = this.place();
    try {
      const { sequences } = await ask("sequences/find", place);
      if (JSON.stringify(place) !== JSON.stringify(this.place())) return; // a newer choice is under way
      this.sequences = new Map(sequences.map((/** @type {Sequence} */ each) => [`${each.purpose} ${each.name} ${each.mode}`, each]));
    } catch (error) {
      this.says.textContent = saidOf(error);
      return;
    }
    const before = this.sequence.value;
    const groups = Object.entries(PURPOSES).map(([purpose, label]) => {
      const rows = [...this.sequences].filter(([, each]) => each.purpose === purpose);
      return rows.length ? grouped(label, rows.map(([name, each]) => [name, named(each)])) : null;
    });
    this.sequence.replaceChildren(option(["", this.sequences.size ? "choose a sequence" : "none in this metre and key"]), ...groups.filter((group) => group !== null));
    this.sequence.value = this.sequences.has(before) ? before : "";
    this.sequenceTold();
  }

  sequenceTold() {
    const found = this.sequences.get(this.sequence.value);
    this.says.textContent = found ? `${found.chart} in ${found.key}. ${found.says}` : "Intros, turnarounds, endings and vamps, in the chosen key.";
  }

  async putSequence() {
    await this.filling; // the key may just have been chosen
    const found = this.sequences.get(this.sequence.value);
    if (!found) {
      this.sequence.focus();
      return;
    }
    const before = { chart: this.chart.input.value, purpose: this.purpose.value };
    this.actions.changed(`putting in the sequence ${found.name}`, async () => {
      this.purpose.value = before.purpose;
      await this.chart.put(before.chart);
    });
    if (this.start.for.includes(found.purpose)) this.purpose.value = found.purpose;
    await this.chart.put(found.chart);
  }

  /** @param {SubmitEvent} event */
  async submitted(event) {
    event.preventDefault();
    this.actions.begins();
    this.clear();
    if (!this.chart.text) {
      this.refuse(new Refusal({ message: "There are no chords yet", hint: "Write some, such as Ebmaj7 Gm7 Fm7 Bb7, or choose a sequence under More." }));
      this.chart.input.focus();
      return;
    }
    try {
      if (await this.chart.check()) await this.actions.find(this.fields(), this.below.box.checked);
    } catch (error) {
      this.refuse(error);
    }
  }

  /**
   * Says what is wrong with what was wished for, at the field that is meant.
   * @param {unknown} error
   */
  refuse(error) {
    if (error instanceof Refusal && (this.chart.wrong === error || error.isPlaced)) {
      if (this.chart.wrong !== error) this.chart.show(error);
      this.chart.go();
      return;
    }
    const control = error instanceof Refusal && error.place ? this.root.elements.namedItem(error.place) : null;
    if (!(error instanceof Refusal && (control instanceof HTMLInputElement || control instanceof HTMLSelectElement))) {
      this.mistake.textContent = saidOf(error);
      return;
    }
    this.mistake.textContent = saidOf(new Refusal({ message: error.message, hint: error.hint, place: control.labels?.[0].textContent ?? "" }));
    this.more.open = true;
    control.setAttribute("aria-invalid", "true");
    describe(control, [...describers(control), this.mistake.id]);
    control.focus();
  }

  clear() {
    this.mistake.textContent = "";
    for (const control of this.root.elements) {
      if (control === this.chart.input) continue;
      control.removeAttribute("aria-invalid");
      describe(control, describers(control).filter((id) => id !== this.mistake.id));
    }
  }
}

/**
 * The ids of what is read out with a control.
 * @param {Element} control
 */
function describers(control) {
  return (control.getAttribute("aria-describedby") ?? "").split(" ").filter(Boolean);
}

/**
 * @param {Element} control
 * @param {string[]} ids
 */
function describe(control, ids) {
  if (ids.length) control.setAttribute("aria-describedby", ids.join(" "));
  else control.removeAttribute("aria-describedby");
}

/**
 * What is not empty.
 * @param {Record<string, unknown>} fields
 */
function given(fields) {
  return Object.fromEntries(Object.entries(fields).filter(([, value]) => value !== "" && value !== false));
}

/** @param {Sequence} sequence */
function named({ name, bars, mode }) {
  return `${name} (${bars} bar${bars === 1 ? "" : "s"}, ${mode})`;
}
