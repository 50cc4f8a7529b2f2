// A player's own phrase, checked: dropped as a file, chosen, written or played.
import { ask, base64, saidOf } from "./asking.js";
import { button, choice, field, fresh, make, many } from "../elements.js";
import { addGlyphs } from "../pictures.js";
import { Listening } from "./listening.js";

/** @import { Page } from "../main.js" */
/** @import { Idea, ReadChart, Report, Round, Start } from "../types.js" */

const MOST_BYTES = 700_000; // the server takes a million bytes, and base64 is a third longer than what it holds
/** @type {Record<string, string>} */
const WORDS = { clash: "clashes", style: "style", level: "beyond", fresh: "changed" };
const KINDS = ".mid,.midi,.musicxml,.mxl,.xml,.abc,.txt";

export class Checking {
  file = make("input", { type: "file", accept: KINDS, on: { change: ({ target }) => this.take(target.files[0]) } });
  part = make("input", { type: "text", maxlength: "100", autocomplete: "off" });
  phrase = make("textarea", { rows: "2", spellcheck: "false", autocomplete: "off", autocapitalize: "off" });
  drop = make(
    "div",
    { class: "drop" },
    field("Choose a file, or drop it here", this.file, { hint: "MIDI, MusicXML, ABC or text with a phrase" }),
    field("Part", this.part, { hint: "name or number, if the file has several; otherwise the highest" }),
  );
  mistake = make("p", { class: "mistake", id: fresh("check-mistake"), role: "alert" });
  result = make("div", { class: "report", role: "region", "aria-label": "Result of the check", tabindex: "-1", hidden: true });

  /**
   * @param {Start} start
   * @param {Page} page
   * @param {{chart: () => object|null, read: () => ReadChart|null, volume: () => number, say: (words: string) => void}} actions `chart` gives
   * chart, key and metre as asked for, `read` the chart as understood
   */
  constructor(start, page, actions) {
    this.page = page;
    /** @type {Round|null} */
    this.round = null;
    this.actions = actions;
    this.turn = 0;
    this.listening = new Listening({
      chart: actions.read,
      volume: actions.volume,
      say: actions.say,
      warn: (words) => this.refuse(words),
      heard: (notes, tempo) => this.check({ played: notes, tempo }, `${many(notes.length, "note")} played`),
    });
    const levels = start.levels.map(({ number, name }) => /** @type {[number, string]} */ ([number, `${number}: ${name}`]));
    this.level = choice([...levels, ["auto", "the lowest it fits"]]);
    this.level.value = String(start.usual.level);
    this.root = make(
      "details",
      { class: "panel", id: "panel-check" },
      make("summary", { class: "button quiet" }, "Check"),
      make("div", { class: "panel-inside" }, make("h2", {}, "Check a phrase of your own"), this.form(), this.listening.root, this.mistake, this.result),
    );
    this.catchFiles();
  }

  form() {
    const form = make(
      "form",
      { class: "check-form", on: { submit: (event) => this.written(event) } },
      make("p", { class: "hint" }, "It's checked against your chords, by the rules of a level."),
      this.drop,
      make(
        "div",
        { class: "fields" },
        field("Or write the phrase", this.phrase, { wide: true, hint: "name, octave and length: F5q. Eb5e D5h | rq G5q F5h" }),
        field("Level", this.level),
      ),
      make("div", { class: "row" }, make("button", { type: "submit", class: "button button-main" }, "Check the phrase")),
    );
    // what is written has two descriptions: how it is written, and what was wrong with it
    this.phrase.setAttribute("aria-describedby", `${this.phrase.id}-hint ${this.mistake.id}`);
    return form;
  }

  // Files that are dropped anywhere on the panel are taken; elsewhere a drop would open the file in the page's place.
  catchFiles() {
    /** @param {DragEvent} event */
    const holdsFile = (event) => [...(event.dataTransfer?.types ?? [])].includes("Files");
    /** @param {boolean} on */
    const over = (on) => this.drop.classList.toggle("over", on);
    document.addEventListener("dragover", (event) => {
      if (!holdsFile(event)) return;
      event.preventDefault();
      over(event.target instanceof Node && this.root.contains(event.target));
    });
    document.addEventListener("dragleave", (event) => {
      if (!event.relatedTarget) over(false);
    });
    document.addEventListener("drop", (event) => {
      if (!holdsFile(event)) return;
      event.preventDefault();
      over(false);
      this.root.open = true;
      this.take(event.dataTransfer?.files[0]);
    });
  }

  /** @param {File|undefined} file */
  async take(file) {
    if (!file) return;
    if (file.size > MOST_BYTES) {
      this.refuse(`${file.name} has ${Math.round(file.size / 1000).toLocaleString("en")} kB; the page takes ${MOST_BYTES / 1000} kB. Cut it to the phrase, or use the command fillgen check.`);
      return;
    }
    let bytes;
    try {
      bytes = new Uint8Array(await file.arrayBuffer());
    } catch (error) {
      this.refuse(`${file.name} can't be read (${error instanceof Error ? error.name : error}). Give a file, not a folder.`);
      return;
    }
    await this.check({ file: { name: file.name, content: base64(bytes) } }, file.name);
    this.file.value = "";
  }

  /** @param {SubmitEvent} event */
  written(event) {
    event.preventDefault();
    if (!this.phrase.value.trim()) {
      this.refuse("There is no phrase yet. Write one, such as F5q. Eb5e D5h, or drop a file.");
      this.phrase.focus();
      return;
    }
    this.check({ phrase: this.phrase.value }, "your phrase");
  }

  /** @param {string} words */
  refuse(words) {
    this.result.hidden = true;
    this.mistake.textContent = words;
  }

  /**
   * @param {{file?: {name: string, content: string}, phrase?: string, played?: unknown, tempo?: number}} what
   * @param {string} name
   */
  async check(what, name) {
    const chart = this.actions.chart();
    if (!chart) {
      this.refuse("There are no chords to check it against. Write them first.");
      return;
    }
    this.turn += 1;
    const { turn } = this;
    this.mistake.textContent = "";
    const level = this.level.value === "auto" ? "auto" : Number(this.level.value);
    const part = what.file && this.part.value.trim() ? { part: this.part.value.trim() } : {};
    this.actions.say(`Checking ${name}.`);
    try {
      const report = await ask("check", { ...chart, ...what, ...part, level });
      if (turn === this.turn) this.show(report, name);
    } catch (error) {
      if (turn === this.turn) this.refuse(saidOf(error) || "It couldn't be checked.");
    }
    if (turn === this.turn) this.actions.say("");
  }

  /**
   * @param {Report} report
   * @param {string} name
   */
  show(report, name) {
    this.clear();
    const { whole, drawn } = report;
    const music = make("div", { class: "check-music" });
    this.result.hidden = false;
    this.result.replaceChildren(
      make("h3", {}, report.verdict),
      music,
      ...lined("How it was read", report.reading),
      ...faulty("Clashes", report, "clash"),
      ...faulty("Style", report, "style"),
      ...faulty(`Beyond level ${report.level}`, report, "level"),
      ...this.mend(report.mend),
      ...lined("What works", report.works),
      ...lined("Also", report.remarks),
    );
    addGlyphs(drawn.glyphs);
    this.round = this.page.begin(whole, { heading: `Checked: ${name}`, place: music });
    for (const [place, idea] of drawn.ideas.entries()) this.card(this.round, idea, place, report);
    this.page.end(this.round);
    this.result.focus();
  }

  /**
   * The phrase and its mend as music: what is wrong is marked at the notes, and every note can be asked.
   * @param {Round} round
   * @param {Idea} idea
   * @param {number} place
   * @param {Report} report
   */
  card(round, idea, place, report) {
    const title = place ? "Mended" : "Your phrase";
    if (!place) idea.why = report.notes.map(({ why }) => why);
    const entry = this.page.add(round, idea, { title, acts: ["play", "star", "stand", "midi", "musicxml"] });
    const faults = place ? (report.mend?.changed ?? []).map((note) => ({ note, kind: "fresh" })) : report.faults;
    for (const { note, kind } of [...faults].reverse()) entry.marks.set(note, { sign: kind, word: WORDS[kind] });
  }

  // What was checked before leaves the page.
  clear() {
    if (this.round) this.page.remove(this.round);
    this.round = null;
  }

  /** @param {Report["mend"]} mend */
  mend(mend) {
    if (!mend) return [];
    const use = button("Write the mended phrase", () => {
      this.phrase.value = mend.text;
      this.phrase.focus();
    });
    return [
      make("h4", {}, `The smallest change that mends the clashes: ${many(mend.changed.length, "note")}`),
      make("ul", {}, mend.sentences.map((sentence) => make("li", {}, sentence))),
      make("p", {}, use),
    ];
  }
}

/**
 * @param {string} title
 * @param {string[]} sentences
 */
function lined(title, sentences) {
  return sentences.length ? [make("h4", {}, title), make("ul", {}, sentences.map((sentence) => make("li", {}, sentence)))] : [];
}

/**
 * The faults of one kind: every place with what is wrong there, then each rule once.
 * @param {string} title
 * @param {Report} report
 * @param {string} kind
 */
function faulty(title, report, kind) {
  const faults = report.faults.filter((fault) => fault.kind === kind);
  if (!faults.length) return [];
  const places = new Set(faults.map((fault) => `Bar ${fault.bar}: ${fault.what}`));
  const rules = new Set(faults.map((fault) => `The rule: ${fault.says} ${fault.reason}`));
  return [
    make("h4", {}, title),
    make("ul", {}, [...places].map((place) => make("li", kind === "clash" ? { class: "wrong" } : {}, place))),
    ...[...rules].map((rule) => make("p", { class: "soft" }, rule)),
  ];
}
