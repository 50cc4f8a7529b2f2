// The workshop: what the served page has besides: search, variations, checking, the idea book, and what is kept.
import { byId, make } from "../elements.js";
import { page } from "../main.js";
import { headOf, rowOf, starName } from "../tray.js";
import { signed } from "../words.js";
import { answered, ask, fetched, Gone, lines, saidOf } from "./asking.js";
import { beatOf } from "./beats.js";
import { BookChanges } from "./bookchanges.js";
import { Changes } from "./changes.js";
import { Checking } from "./checking.js";
import { GoneNotice } from "./gone.js";
import { IdeaBook } from "./ideabook.js";
import { NoteChart } from "./notechart.js";
import { dress, Search } from "./search.js";
import { Sheets } from "./sheets.js";
import { Vary } from "./vary.js";
import { Wishes } from "./wishes.js";

/** @import { Entry, Idea, Kept, Round, Start } from "../types.js" */

const EXAMPLE = "Dbmaj7 Fm7 Ebm7 Ab7";
const EXAMPLES = 12;
const MOST_VARIANTS = 12;
const MOST_FOUND = 200; // ideas that the book tells at once

class Workshop {
  /** @param {Start} start what there is to choose from */
  constructor(start) {
    this.start = start;
    this.sending = 0; // stars that are on their way to the book
    this.changes = new Changes(page);
    this.shelf = new BookChanges();
    this.search = new Search(page, { changes: this.changes, refuse: (error) => this.refuse(error), done: () => this.done() });
    this.noteChart = new NoteChart(page.answer);
    this.wishes = new Wishes(start, {
      begins: () => this.search.stop(),
      find: (/** @type {any} */ fields, /** @type {boolean} */ below) => this.find(fields, below),
      changed: (/** @type {string} */ what, /** @type {() => void} */ back) => this.changes.add(what, back),
      notes: (/** @type {any} */ asked) => this.noteChart.show(asked).catch((error) => this.warn(error)),
    });
    this.sheets = new Sheets(page, () => this.wishes.values);
    this.vary = new Vary(page, start.near, (entry, bars, near) => this.varied(entry, bars, near));
    this.checking = new Checking(start, page, {
      chart: () => (this.wishes.chart.text ? { chart: this.wishes.chart.text, ...this.wishes.place() } : null),
      read: () => this.wishes.read,
      volume: () => page.settings.kept.volume,
      say: (/** @type {string} */ words) => page.say(words),
    });
    this.book = new IdeaBook(start, this.shelf, {
      changed: (/** @type {string} */ what, /** @type {() => void} */ back) => this.changes.add(what, back),
      done: () => this.starsOfBook(),
      heard: () => ({ second: this.wishes.second.value, ...(page.settings.kept.parts?.length ? { parts: page.settings.kept.parts } : {}) }),
      say: (/** @type {string} */ words) => page.say(words),
      show: (/** @type {number[]} */ ids, /** @type {string} */ heading) => this.open(ids, heading),
      page,
    });
    this.connect();
  }

  connect() {
    page.acts = ["play", "star", "stand", "vary", "midi", "musicxml"];
    page.fetchLook = (round, shift) => ask("notation", { ...shownOf(round.whole, round.entries.map(({ idea }) => idea)), shift });
    page.fetchScore = (bundle) => this.score(bundle);
    page.fetchWhy = async ({ round, idea }) => {
      const { second, ...shown } = shownOf(round.whole, [idea]);
      return (await ask("why", shown)).why[0];
    };
    page.fetchShown = (kept) => this.shown(kept);
    page.askChord = (entry, place) => this.chord(entry, place);
    document.addEventListener("fillgen:star", (event) => this.starred(/** @type {CustomEvent} */ (event).detail));
    document.addEventListener("workshop:trouble", (event) => this.warn(/** @type {CustomEvent} */ (event).detail));
    window.addEventListener("popstate", () => this.arrive());
    document.getElementById("sheet-acts")?.append(this.search.bar, this.search.ending, this.changes.button);
  }

  // Finding

  /**
   * @param {any} fields
   * @param {boolean} below
   */
  find(fields, below) {
    const bars = this.bars().length;
    const count = Math.max(1, Math.min(this.start.usual.count, Math.floor(this.start.most.bars_of_all / Math.max(1, bars))));
    return this.sought({ path: "ideas", asked: { ...fields, count }, heading: this.over(fields), what: "the search before", below, more: fields.fresh ? "More that were never shown" : "More ideas" });
  }

  /** The bars of the chart as it was read. */
  bars() {
    return this.wishes.read?.bars ?? [];
  }

  /** @param {any} fields */
  over(fields) {
    const bars = this.bars().map(({ chords }) => chords.map(({ symbol }) => signed(symbol)).join(" "));
    const shown = bars.length > 8 ? `${bars.slice(0, 4).join(" | ")} … (${bars.length} bars)` : bars.join(" | ");
    return `${shown}${fields.fresh ? ", never shown before" : ""}`;
  }

  /** @param {any} question */
  async sought(question) {
    const rounds = await this.search.run(question);
    if (this.book.root.open) this.book.refresh();
    return rounds;
  }

  /** What was found is on a sheet of its own. */
  done() {
    if (page.rounds.length) this.sheets.turn();
    this.starsOfBook();
  }

  /**
   * @param {Entry} entry
   * @param {number[]} bars
   * @param {string} near
   */
  varied(entry, bars, near) {
    const { round, idea } = entry;
    const { chart, key, metre, level, rhythm, tempo, hand, second } = round.whole;
    const times = page.rounds.filter(({ of }) => of === entry).length;
    const asked = { chart, key, metre, phrase: idea.text, level, rhythm, tempo, hand, second, keep: bars, ...(near ? { [near]: true } : {}), count: MOST_VARIANTS, seed: times + 1 };
    const kept = bars.length ? `with bar${bars.length > 1 ? "s" : ""} ${bars.join(", ")} kept` : "no bar kept";
    return this.sought({ path: "vary", asked, heading: `Variations of idea ${idea.rank}, ${kept}`, what: `varying idea ${idea.rank}`, of: entry, kept: bars, more: "More variations" });
  }

  /**
   * @param {number[]} ids
   * @param {string} heading
   */
  open(ids, heading) {
    return this.sought({ path: "book/open", asked: { ids, second: this.wishes.second.value }, heading, what: "showing ideas of the book" });
  }

  // Coming and going

  /** Shows what the address asks for, else what was there last, else an example. */
  async arrive() {
    const turn = {};
    this.turn = turn;
    document.body.dataset.ready = "false";
    await this.reached();
    if (this.turn === turn) document.body.dataset.ready = "true";
  }

  async reached() {
    const asked = Sheets.asked();
    const name = asked.get("sheet") ?? (location.hash ? "" : this.sheets.last());
    const sheet = name && !(this.start.chart && !asked.get("sheet")) ? this.sheets.find(name) : null;
    if (sheet) return this.show(name, sheet);
    const wishes = asked.get("chart") ? Object.fromEntries([...asked].map(([key, value]) => [key, value === "true" ? true : value])) : { chart: this.start.chart || EXAMPLE };
    await this.wishes.put(wishes);
    if (!this.wishes.read) return undefined;
    const own = Boolean(this.start.chart || asked.get("chart"));
    if (own) return this.find(this.wishes.fields(), false);
    const fields = { ...this.wishes.fields(), count: EXAMPLES, example: true };
    return this.search.run({ path: "ideas", asked: fields, heading: this.over(fields), what: "", more: "More ideas" });
  }

  /**
   * @param {string} name
   * @param {import("./sheets.js").Sheet} sheet
   */
  async show(name, sheet) {
    const here = this.sheets.left.get(name);
    const { turn } = this;
    this.search.drop();
    this.sheets.name = "";
    page.settings.shift = sheet.shift;
    if (here) page.restore(here);
    else page.clear();
    await this.wishes.put(sheet.wishes);
    try {
      for (const kept of here ? [] : sheet.rounds) if (this.turn === turn) await this.restored(kept);
    } catch (error) {
      this.warn(error);
    }
    if (this.turn !== turn) return;
    this.sheets.name = name;
    if (!location.hash) history.replaceState(null, "", `#sheet=${name}`);
    const current = page.entries.get(sheet.current);
    if (current) page.select(current);
    requestAnimationFrame(() => this.sheets.back());
    this.starsOfBook();
  }

  /**
   * A round that was on a sheet, asked for again.
   * @param {import("./sheets.js").KeptRound} kept
   */
  async restored(kept) {
    const { turn } = this;
    const of = kept.of ? (page.rounds[kept.of[0]]?.entries.find(({ idea }) => idea.rank === kept.of?.[1]) ?? null) : null;
    /** @type {Round|null} */
    let round = null;
    for await (const message of lines("shown", { ...kept.head, ideas: kept.rows })) {
      if (this.turn !== turn) return;
      if (message.whole) {
        round = page.begin(message.whole, { heading: kept.heading, of, kept: kept.kept });
        round.remarks = kept.remarks;
      } else if (message.idea && round) {
        const entry = page.add(round, { ...message.idea, book: kept.books[round.entries.length] });
        entry.bars = new Set(kept.bars.find(([rank]) => rank === entry.idea.rank)?.[1]);
        page.drawer.frames(entry);
      }
    }
    if (!round) return;
    const done = round;
    const question = { ...kept.question, of };
    dress(done, question, () => this.search.more(done, question));
    page.end(round);
  }

  /**
   * Starred ideas that aren't on the page, by name.
   * @param {Kept[]} kept
   */
  async shown(kept) {
    /** @type {Map<string, Kept[]>} */
    const groups = new Map();
    for (const each of kept) {
      const ground = JSON.stringify(each.whole);
      groups.set(ground, [...(groups.get(ground) ?? []), each]);
    }
    const found = new Map();
    for (const group of groups.values()) {
      const rows = group.map(({ row }, place) => ({ ...row, rank: place + 1 }));
      /** @type {Round|null} */
      let round = null;
      for await (const message of lines("shown", { ...group[0].whole, ideas: rows })) {
        if (message.whole) round = page.begin(message.whole, { place: document.createElement("div") });
        else if (message.idea && round) {
          const entry = page.add(round, { ...message.idea, book: group[round.entries.length].book });
          found.set(starName(group[0].whole, group[entry.idea.rank - 1].row.text), { round, idea: entry.idea });
          page.drop(entry);
        }
      }
    }
    return found;
  }

  // Files, chords

  /** @param {import("../takeaway.js").Bundle} bundle */
  async score({ whole, ideas, wishes: { shift, tempo, parts } }) {
    return (await fetched("files", { ...shownOf(whole, ideas), tempo, shift, parts, ending: "musicxml" })).bytes;
  }

  /**
   * @param {Entry} entry
   * @param {{bar: number, place: number}} at
   */
  chord(entry, { bar, place }) {
    const { own } = page.lookOf(entry);
    const chord = own.bars.find((each) => each.bar === bar)?.chords[place];
    if (!chord) return;
    const { metre } = entry.round.whole;
    this.noteChart.show({ chart: own.chart, key: own.key, metre, bar: bar - own.bars[0].bar + 1, beat: beatOf(chord.onset, metre) }).catch((error) => this.warn(error));
  }

  // Stars: what has one on the page has one in the book

  async starsOfBook() {
    const ideas = page.listed().filter(({ idea }) => idea.book);
    if (!ideas.length || !this.start.book) return;
    const { chart, key, metre } = ideas[0].round.whole;
    const found = await ask("book/search", { chart, key, metre, stars: 1, count: MOST_FOUND }).catch(() => null);
    if (!found || this.sending) return;
    const starred = new Set(found.ideas.map((/** @type {any} */ { id }) => id));
    for (const entry of ideas) {
      if (entry.idea.book && starred.has(this.shelf.now(entry.idea.book)) && !page.isStarred(entry)) page.tray.set(entry, true);
    }
    page.starsChanged();
  }

  /** @param {{entry: Entry, starred: boolean}} detail */
  async starred({ entry, starred }) {
    const { idea } = entry;
    if (this.undoing) return;
    const steps = idea.book ? [{ action: "star", ids: [idea.book], stars: starred ? 1 : 0 }] : [];
    /** @type {{steps: any[]}} */
    const undo = { steps: [] };
    this.changes.add(`${starred ? "starring" : "taking the star off"} idea ${idea.rank}`, async () => {
      if (undo.steps.length) await this.shelf.back([], undo.steps);
      this.undoing = true;
      page.tray.set(entry, !starred);
      page.starsChanged();
      this.undoing = false;
    });
    if (!steps.length) return;
    this.sending += 1;
    try {
      undo.steps = (await this.shelf.make(steps)).undo;
      if (this.book.root.open) this.book.refresh();
    } catch (error) {
      this.warn(error);
    } finally {
      this.sending -= 1;
    }
  }

  // Words to the reader

  /** @param {any} error */
  refuse(error) {
    if (this.search.asked === "ideas") this.wishes.refuse(error);
    this.warn(error);
  }

  /** @param {any} error */
  warn(error) {
    const said = saidOf(error);
    if (said && !(error instanceof Gone)) page.warn(said);
  }
}

/**
 * Ideas on the page as the server takes them.
 * @param {any} whole
 * @param {Idea[]} ideas
 */
function shownOf(whole, ideas) {
  return { ...headOf(whole), ideas: ideas.map(rowOf) };
}

// What the page begins with. A network that fails just then is waited for.
async function started() {
  for (;;) {
    const back = answered();
    try {
      return await ask("start");
    } catch (error) {
      if (!(error instanceof Gone)) throw error;
    }
    await back;
  }
}

async function begin() {
  const place = byId("workshop");
  const notice = new GoneNotice(page);
  place.replaceChildren(notice.root);
  place.hidden = false;
  try {
    const start = await started();
    page.tray.read("tray");
    const workshop = new Workshop(start);
    place.append(workshop.wishes.root);
    document.getElementById("masthead")?.append(make("nav", { class: "row panels", "aria-label": "More of fillgen" }, workshop.checking.root, workshop.book.root));
    /** @type {any} */ (window).fillgen.workshop = workshop;
    const foot = document.getElementById("foot");
    if (foot) foot.textContent = `fillgen ${start.version}. Nothing leaves this computer.`;
    await workshop.arrive();
    await page.tray.fill();
  } catch (error) {
    page.warn(saidOf(error) || "The workshop couldn't be opened.");
  }
}

begin();
