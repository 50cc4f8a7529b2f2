// The idea book: searched, starred, tagged, noted, put into sets, printed and forgotten.
import { ask, fetched, lines, saidOf } from "./asking.js";
import { button, choice, field, fresh, make, many, offer, option, rested, tick } from "../elements.js";

/** @import { Page } from "../main.js" */
/** @import { BookIdea, Round, Start, Step } from "../types.js" */
/** @import { BookChanges } from "./bookchanges.js" */

const AT_ONCE = 20;
const STARS = [0, 1, 2, 3, 4, 5];
const WAIT = 350;

/** @param {number} count */
function starWords(count) {
  return count ? `${"★".repeat(count)} ${many(count, "star")}` : "no star";
}

export class IdeaBook {
  words = make("input", { type: "search", autocomplete: "off", on: { input: () => this.looking.soon() } });
  stars = choice([["", "any"], ...STARS.slice(1).map((count) => [count, `${starWords(count)} or more`])]);
  tag = choice([["", "any"]]);
  inSet = choice([["", "any"]]);
  mistake = make("p", { class: "mistake", id: fresh("book-mistake"), role: "alert" });
  count = make("p", { class: "book-count", role: "status" });
  list = make("ol", { class: "book-list" });
  further = button("Show more", () => this.search(this.found.size), { class: "button", hidden: true });
  setNames = make("datalist", { id: fresh("sets") });
  tagNames = make("datalist", { id: fresh("tags") });
  every = tick("Select all", { on: { change: (event) => this.tickAll(event.target.checked) } });
  chosenCount = make("p", { class: "chosen-count", role: "status" });
  setName = make("input", { type: "text", maxlength: "100", autocomplete: "off" });
  chosenActs = make("div", { class: "chosen-acts" });

  /**
   * @param {Start} start
   * @param {BookChanges} book makes the changes
   * @param {object} actions
   * @param {(ids: number[], heading: string) => unknown} actions.show puts ideas on the page
   * @param {(what: string, back: () => unknown) => void} actions.changed remembers for undo
   * @param {() => unknown} actions.done once something is changed
   * @param {(words: string) => void} actions.say
   * @param {() => {second?: string, parts?: string[]}} actions.heard
   * @param {Page} actions.page
   */
  constructor(start, book, actions) {
    this.start = start;
    this.book = book;
    this.actions = actions;
    /** @type {Map<number, BookIdea>} */
    this.found = new Map();
    /** @type {Round[]} of the music in the list */
    this.rounds = [];
    /** @type {Set<number>} */
    this.ticked = new Set();
    this.total = 0;
    this.size = 0; // of the book
    this.turn = 0;
    this.looking = rested(WAIT, () => this.search());
    this.shape = choice([["", "any shape"], ...start.shapes]);
    this.key = choice([["", "any key"], ...start.keys]);
    this.root = make("details", { class: "panel", id: "panel-book" }, make("summary", { class: "button quiet" }, "Book"));
    const inside = this.start.book ? [this.searchForm(), this.mistake, this.chosenRow(), this.listing()] : [make("p", { class: "hint" }, "The idea book is off: the page was started without one. Stars stay in this browser.")];
    this.root.append(make("div", { class: "panel-inside" }, make("h2", {}, "Idea book"), inside));
    this.root.addEventListener("toggle", () => this.root.open && this.refresh());
  }

  // Looking

  searchForm() {
    for (const select of [this.stars, this.tag, this.shape, this.inSet, this.key]) select.addEventListener("change", () => this.search());
    return make(
      "form",
      { class: "fields", role: "search", "aria-label": "Idea book", on: { submit: (event) => this.asked(event) } },
      field("Words", this.words, { hint: "in the name, the note or the title" }),
      field("Stars", this.stars),
      field("Tag", this.tag),
      field("Shape", this.shape),
      field("Key", this.key),
      field("Set", this.inSet),
    );
  }

  /** @param {SubmitEvent} event */
  asked(event) {
    event.preventDefault();
    this.search();
  }

  wanted() {
    /** @type {Record<string, string|number>} */
    const asked = { words: this.words.value.trim(), tag: this.tag.value, shape: this.shape.value, set: this.inSet.value, key: this.key.value };
    if (this.stars.value) asked.stars = Number(this.stars.value);
    return Object.fromEntries(Object.entries(asked).filter(([, value]) => value !== ""));
  }

  // What the book has to choose from may have changed.
  async refresh() {
    if (!this.start.book) return;
    try {
      const { tags, sets, ideas } = await ask("book");
      this.refill(this.tag, Object.entries(tags));
      this.refill(this.inSet, Object.entries(sets));
      this.setNames.replaceChildren(...Object.keys(sets).map((name) => make("option", { value: name })));
      this.tagNames.replaceChildren(...Object.keys(tags).map((name) => make("option", { value: name })));
      this.size = ideas;
    } catch (error) {
      this.refuse(error);
      return;
    }
    await this.search();
  }

  /**
   * @param {HTMLSelectElement} select
   * @param {[string, number][]} rows
   */
  refill(select, rows) {
    const before = select.value;
    select.replaceChildren(...[["", "any"], ...rows.map(([name, count]) => [name, `${name} (${count})`])].map(option));
    select.value = rows.some(([name]) => name === before) ? before : "";
  }

  /** @param {number} [skip] */
  async search(skip = 0) {
    this.looking.drop();
    this.turn += 1;
    const { turn } = this;
    this.mistake.textContent = "";
    try {
      const { found, ideas } = await ask("book/search", { ...this.wanted(), count: AT_ONCE, skip });
      if (turn !== this.turn) return;
      this.show(found, ideas, skip);
    } catch (error) {
      if (turn === this.turn) this.refuse(error);
    }
  }

  /** @param {unknown} error */
  refuse(error) {
    this.mistake.textContent = saidOf(error);
  }

  // The list

  listing() {
    return make("div", {}, this.count, this.list, this.further, this.setNames, this.tagNames);
  }

  /**
   * @param {number} total
   * @param {BookIdea[]} ideas
   * @param {number} skip
   */
  show(total, ideas, skip) {
    if (!skip) {
      this.found.clear();
      this.ticked.clear();
    }
    const first = this.list.children.length;
    for (const idea of ideas) this.found.set(idea.id, idea);
    const rows = ideas.map((idea) => this.row(idea));
    if (skip) this.list.append(...rows);
    else {
      for (const round of this.rounds) this.actions.page.remove(round);
      this.rounds = [];
      this.list.replaceChildren(...rows);
    }
    if (ideas.length) this.music(ideas.map(({ id }) => id));
    this.total = total;
    this.tell();
    if (skip) this.list.children[first]?.querySelector("input")?.focus();
  }

  /**
   * Has the ideas that are listed as music, which can be played. They are fetched chart by chart.
   * @param {number[]} ids
   */
  async music(ids) {
    const { page } = this.actions;
    /** @type {Round|null} */
    let round = null;
    try {
      for await (const message of lines("book/open", { ids, ...(this.actions.heard().second ? { second: this.actions.heard().second } : {}) })) {
        if (message.whole) {
          round = page.begin(message.whole, { place: document.createElement("div") });
          this.rounds.push(round);
        } else if (message.idea && round) {
          const place = this.rowOf(message.idea.book)?.querySelector(".book-music");
          if (!place) continue;
          const entry = page.add(round, message.idea, { title: `Idea ${message.idea.book}`, acts: ["play", "stand"] });
          place.replaceChildren(entry.card);
        } else if (message.done && round) page.end(round);
      }
    } catch (error) {
      this.refuse(error);
    }
  }

  tell() {
    const { size } = this.found;
    const more = size < this.total;
    const empty = this.size ? "No ideas found. Try fewer conditions." : "The book is empty. Ideas you find are saved here.";
    this.count.textContent = size ? `${more ? `${size} of ` : ""}${many(this.total, "idea")}, last shown first` : empty;
    this.further.hidden = !more;
    this.chosen();
  }

  /** @param {BookIdea} idea */
  row(idea) {
    const name = idea.name ? `Idea ${idea.id}, ${idea.name}` : `Idea ${idea.id}`;
    const choose = tick(name, { checked: this.ticked.has(idea.id), "data-part": "tick", on: { change: (event) => this.tickIdea(idea.id, event.target.checked) } });
    const stars = choice(STARS.map((count) => [count, starWords(count)]), { "aria-label": `Stars of idea ${idea.id}`, "data-part": "stars" });
    stars.value = String(idea.stars);
    stars.addEventListener("change", () => this.change([{ action: "star", ids: [idea.id], stars: Number(stars.value) }], `stars of idea ${idea.id}`));
    const facts = [idea.title, idea.key, idea.metre, idea.rhythm, idea.level ? `level ${idea.level}` : "", idea.shape, idea.last.slice(0, 10)];
    const marks = [...idea.tags.map((word) => `tag ${word}`), ...idea.sets.map((word) => `set ${word}`)];
    return make(
      "li",
      { class: "book-idea", "data-id": String(idea.id) },
      make("div", { class: "row book-head" }, choose.row, make("div", { class: "book-stars" }, stars)),
      make("p", { class: "facts" }, facts.filter(Boolean).join(" · ")),
      make("p", { class: "book-chart" }, idea.chart),
      make("div", { class: "book-music" }),
      marks.length ? make("p", { class: "facts" }, marks.join(" · ")) : null,
      idea.note ? make("p", { class: "book-note" }, idea.note) : null,
      make("div", { class: "row" }, this.act("Show", idea, "show", () => this.open([idea.id])), this.act("Forget", idea, "forget", () => this.forget([idea.id]))),
      this.details(idea),
    );
  }

  /**
   * @param {string} words
   * @param {BookIdea} idea
   * @param {string} part
   * @param {() => unknown} act
   */
  act(words, idea, part, act) {
    const made = button(words, act, { "data-part": part });
    made.append(make("span", { class: "unseen" }, ` idea ${idea.id}`));
    return made;
  }

  /** @param {BookIdea} idea */
  details(idea) {
    const name = make("input", { type: "text", maxlength: "200", value: idea.name, autocomplete: "off" });
    const tag = make("input", { type: "text", maxlength: "100", list: this.tagNames.id, autocomplete: "off" });
    const note = make("textarea", { rows: "2" }, idea.note);
    const ids = [idea.id];
    const save = () => this.change([{ action: "rename", ids, name: name.value.trim() }, { action: "note", ids, note: note.value }], `name and note of idea ${idea.id}`);
    const addTag = () => tag.value.trim() && this.change([{ action: "tag", ids, words: [tag.value.trim()] }], `a tag on idea ${idea.id}`);
    const off = idea.tags.map((word) => this.act(`Remove tag ${word}`, idea, `untag-${word}`, () => this.change([{ action: "untag", ids, words: [word] }], `removing the tag ${word}`)));
    const out = idea.sets.map((word) => this.act(`Remove from set ${word}`, idea, `take-${word}`, () => this.change([{ action: "take", ids, set: word }], `taking idea ${idea.id} out of ${word}`)));
    return make(
      "details",
      { class: "book-more" },
      make("summary", { class: "button", "data-part": "more" }, "Name, tags and note", make("span", { class: "unseen" }, ` of idea ${idea.id}`)),
      make(
        "div",
        { class: "fields" },
        field("Name", name),
        field("Note", note),
        make("div", { class: "row" }, this.act("Save", idea, "save", save)),
        field("New tag", tag),
        make("div", { class: "row" }, this.act("Add tag", idea, "tag", addTag)),
        off.length || out.length ? make("div", { class: "row wide" }, off, out) : null,
      ),
    );
  }

  // What is done with several

  chosenRow() {
    const acts = [
      button("Show on the page", () => this.open(this.ids())),
      button("Sheet to print (PDF)", () => this.give("pdf")),
      button("MIDI", () => this.give("mid")),
      button("Forget", () => this.forget(this.ids())),
    ];
    const set = make("div", { class: "row set-row" }, field("Name of a set", this.setName), button("Add to set", () => this.putInSet()));
    this.chosenActs.append(make("div", { class: "row" }, acts), set);
    return make("fieldset", { class: "chosen" }, make("legend", {}, "Selected ideas"), this.every.row, this.chosenCount, this.chosenActs);
  }

  ids() {
    return [...this.found.keys()].filter((id) => this.ticked.has(id));
  }

  /**
   * @param {number} id
   * @param {boolean} on
   */
  tickIdea(id, on) {
    if (on) this.ticked.add(id);
    else this.ticked.delete(id);
    this.chosen();
  }

  /** @param {boolean} on */
  tickAll(on) {
    this.ticked = new Set(on ? this.found.keys() : []);
    for (const box of this.list.querySelectorAll('[data-part="tick"]')) /** @type {HTMLInputElement} */ (box).checked = on;
    this.chosen();
  }

  chosen() {
    const count = this.ids().length;
    this.setName.setAttribute("list", this.setNames.id);
    this.every.box.checked = count > 0 && count === this.found.size;
    this.chosenCount.textContent = count ? `${many(count, "idea")} selected.` : "Nothing selected.";
    this.chosenActs.hidden = !count;
  }

  /** @param {number[]} ids */
  open(ids) {
    this.actions.show(ids, `From the idea book: ${ids.length === 1 ? `idea ${ids[0]}` : many(ids.length, "idea")}`);
  }

  async putInSet() {
    const set = this.setName.value.trim();
    if (!set) {
      this.mistake.textContent = "The set needs a name.";
      this.setName.focus();
      return;
    }
    const ids = this.ids();
    if (await this.change([{ action: "put", ids, set }], `putting ${many(ids.length, "idea")} into the set ${set}`)) this.choices();
  }

  /** @param {string} ending */
  async give(ending) {
    const title = this.inSet.value || "From the idea book";
    try {
      const { bytes, name, type } = await fetched("book/files", { ids: this.ids(), ending, ...this.actions.heard(), ...(ending === "pdf" ? { title } : {}) });
      offer(name || `ideas.${ending}`, bytes, type);
      this.actions.say(`${name} is ready.`);
    } catch (error) {
      this.refuse(error);
    }
  }

  /** @param {number[]} ids */
  forget(ids) {
    return this.change([{ action: "forget", ids }], `forgetting ${ids.length === 1 ? `idea ${ids[0]}` : many(ids.length, "idea")}`);
  }

  /**
   * Changes the book; what takes it back is remembered. Answers whether it was done.
   * @param {Step[]} steps
   * @param {string} what
   */
  async change(steps, what) {
    this.mistake.textContent = "";
    try {
      const made = await this.book.make(steps);
      this.actions.changed(what, async () => {
        await this.book.back(steps, made.undo);
        this.actions.done();
        if (this.root.open) await this.refresh();
      });
      this.update(steps, made.ideas);
      this.actions.done();
      this.actions.say(`Done: ${what}.`);
      if (steps.some(({ action }) => action === "tag" || action === "untag" || action === "take")) this.choices();
      return true;
    } catch (error) {
      this.refuse(error);
      return false;
    }
  }

  // Tags and sets anew, without a new search.
  async choices() {
    const words = await ask("book").catch(() => null);
    if (!words) return; // the choices stay as they were
    this.refill(this.tag, Object.entries(words.tags));
    this.refill(this.inSet, Object.entries(words.sets));
  }

  /**
   * Shows what became of the ideas that a change was about; the focus stays where it was.
   * @param {Step[]} steps
   * @param {BookIdea[]} ideas
   */
  update(steps, ideas) {
    const left = new Map(ideas.map((idea) => [idea.id, idea]));
    const gone = steps.filter(({ action }) => action === "forget").flatMap(({ ids = [] }) => ids);
    for (const id of gone) this.drop(id);
    for (const [id, idea] of left) if (this.found.has(id)) this.replace(idea);
    this.tell();
  }

  /** @param {number} id */
  rowOf(id) {
    return /** @type {HTMLElement|null} */ (this.list.querySelector(`:scope > [data-id="${id}"]`));
  }

  /** @param {number} id */
  drop(id) {
    const old = this.rowOf(id);
    const next = old?.nextElementSibling ?? old?.previousElementSibling;
    const held = old?.contains(document.activeElement);
    if (this.found.delete(id)) this.total -= 1;
    this.ticked.delete(id);
    old?.remove();
    if (held) /** @type {HTMLElement} */ (next?.querySelector('[data-part="forget"]') ?? this.words).focus();
  }

  /** @param {BookIdea} idea */
  replace(idea) {
    const old = this.rowOf(idea.id);
    if (!old) return;
    const focused = document.activeElement;
    const part = focused instanceof HTMLElement && old.contains(focused) ? focused.dataset.part : null;
    this.found.set(idea.id, idea);
    const made = this.row(idea);
    made.querySelector("details")?.toggleAttribute("open", Boolean(old.querySelector("details")?.open));
    made.querySelector(".book-music")?.replaceWith(...old.querySelectorAll(".book-music"));
    old.replaceWith(made);
    const parts = /** @type {HTMLElement[]} */ ([...made.querySelectorAll("[data-part]")]);
    if (part) (parts.find((each) => each.dataset.part === part) ?? made.querySelector("summary"))?.focus();
  }
}
