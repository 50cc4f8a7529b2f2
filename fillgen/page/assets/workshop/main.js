// The workshop: what the served page has above the ideas.
import { setStarred } from "../cards.js";
import { page } from "../main.js";
import { ask, fetched, Gone, saidOf } from "./asking.js";
import { Bars } from "./bars.js";
import { beatOf } from "./beats.js";
import { BookChanges } from "./bookchanges.js";
import { Changes } from "./changes.js";
import { Checking } from "./checking.js";
import { ChordRow } from "./chordrow.js";
import { button, listed, make, many } from "./elements.js";
import { GoneNotice } from "./gone.js";
import { IdeaBook } from "./ideabook.js";
import { NoteChart } from "./notechart.js";
import { Search } from "./search.js";
import { Wishes } from "./wishes.js";

const MOST_VARIANTS = 20;
const STAYS = "The ideas below are from the search before.";
const MOST_FOUND = 200; // ideas that the book tells at once

class Workshop {
  constructor(start) {
    this.start = start;
    this.seed = 0;
    this.variants = 0;
    this.sending = 0; // stars that are on their way to the book
    this.changes = new Changes(page);
    this.shelf = new BookChanges();
    this.search = new Search(page, this.changes, (error) => this.refuse(error));
    this.noteChart = new NoteChart();
    this.chords = new ChordRow(this.noteChart);
    const changed = (what, back) => this.changes.add(what, back);
    this.wishes = new Wishes(start, {
      begins: () => this.search.stop(),
      find: (fields) => this.find(fields),
      changed,
      refused: () => this.stays(),
      read: (read) => this.understood(read),
    });
    this.checking = new Checking(start, {
      chart: () => (this.wishes.chart.text ? { chart: this.wishes.chart.text, ...this.wishes.place() } : null),
      read: () => this.wishes.read,
      volume: () => page.wishes.volume,
      say: (words) => page.say(words),
    });
    this.book = new IdeaBook(start, this.shelf, { changed, done: () => this.starsOfBook(), heard: () => this.heard(), say: (words) => page.say(words), show: (ids, heading) => this.open(ids, heading) });
    this.bars = new Bars(page, start.near, (idea, bars, near) => this.vary(idea, bars, near));
    this.clearing = button("Clear the page", () => this.clear(), { class: "button clear", hidden: true });
    this.search.root.querySelector(".row").append(this.clearing);
    page.fetchLook = (shift) => this.look(shift);
    page.fetchScore = (ideas, wishes) => this.score(ideas, wishes);
    this.keepSounds();
    this.follow();
  }

  get root() {
    return [this.wishes.root, this.chords.root, this.checking.root, this.book.root];
  }

  // What was found and undo stand above the ideas.
  get foot() {
    return make("section", { class: "found-row", "aria-label": "What was found" }, this.search.root, this.changes.root);
  }

  follow() {
    document.addEventListener("fillgen:star", ({ detail }) => this.starred(detail));
    document.addEventListener("fillgen:begin", () => this.filled(true));
    document.addEventListener("fillgen:end", () => this.ended());
    document.addEventListener("workshop:trouble", ({ detail }) => this.warn(detail));
    this.noteChart.follow(document.getElementById("ideas"), (target) => this.chordAt(target));
  }

  // The sounds are fetched before they are asked for, so that ideas can be played when the server is gone.
  keepSounds() {
    const { player } = page;
    const load = player.loadBank;
    let kept = null;
    player.loadBank = () => {
      kept ??= load().catch((error) => {
        kept = null;
        throw error;
      });
      return kept;
    };
    const early = () => player.loadBank().catch(() => {});
    document.addEventListener("fillgen:begin", early);
    early();
  }

  filled(on) {
    document.body.classList.toggle("no-ideas", !on);
    this.clearing.hidden = !on;
    if (on) this.noteChart.close();
  }

  // Finding

  find(fields) {
    this.seed = 0;
    const count = this.most(this.start.usual.count, this.wishes.read.bars.length);
    return this.sought(this.question({ ...fields, count }));
  }

  async sought(shown) {
    const found = this.search.run(shown);
    this.toIdeas();
    await found;
    if (this.book.root.open) this.book.refresh();
  }

  // As many ideas as are usual, or as may be asked for over so many bars.
  most(usual, bars) {
    return Math.max(1, Math.min(usual, Math.floor(this.start.most.bars_of_all / bars)));
  }

  question(fields) {
    const asked = this.seed ? { ...fields, seed: this.seed } : fields;
    const more = () => {
      this.seed += 1;
      return this.question(fields);
    };
    const over = fields.chart.trim().split("\n").at(-1);
    const heading = `Ideas over ${over}${this.seed ? `, seed ${this.seed}` : ""}${fields.fresh ? ", never shown before" : ""}`;
    return { path: "ideas", asked, heading, what: "the search before", more, moreWords: fields.fresh ? "More that were never shown" : "More ideas" };
  }

  // Varying

  vary(idea, bars, near) {
    const { chart, key, metre, level, rhythm, tempo, hand, second } = page.whole;
    const asked = { chart, key, metre, phrase: idea.text, level, rhythm, tempo, hand, second, keep: bars, ...(near ? { [near]: true } : {}), count: this.most(MOST_VARIANTS, page.whole.bars.length) };
    const kept = bars.length ? `${listed(bars.map((bar) => `bar ${bar}`))} kept` : "no bar kept";
    return this.sought(this.variant(asked, `idea ${idea.rank}`, kept));
  }

  variant(asked, name, kept) {
    this.variants += 1;
    const more = () => this.variant(asked, name, kept);
    return { path: "vary", asked: { ...asked, seed: this.variants }, heading: `Variations of ${name}, ${kept}`, what: `varying ${name}`, more, moreWords: "More variations" };
  }

  open(ids, heading) {
    return this.sought({ path: "book/open", asked: { ids, second: this.wishes.second.value }, heading, what: "showing ideas of the book" });
  }

  // The reader follows the ideas once the first is there, unless he has gone elsewhere by then.
  toIdeas() {
    const held = document.activeElement;
    const come = () => {
      document.removeEventListener("fillgen:add", come);
      const now = document.activeElement;
      if (now !== held && now !== document.body) return;
      const ideas = document.getElementById("ideas");
      ideas.focus({ preventScroll: true });
      document.querySelector(".found-row").scrollIntoView({ block: "start" });
    };
    document.addEventListener("fillgen:add", come);
  }

  // What is wrong with a search is said where it was asked for.
  refuse(error) {
    if (this.search.asked === "ideas") this.wishes.refuse(error);
    else this.warn(error);
  }

  understood(read) {
    const text = this.wishes?.chart.text;
    this.chords.show(read, text);
    if (read === null && text) this.stays();
    else if (document.getElementById("status").textContent === STAYS) page.say("");
  }

  // What was said of the search before does not stand below an error.
  stays() {
    page.say(page.ideas.size ? STAYS : "");
  }

  warn(error) {
    if (!(error instanceof Gone)) page.warn(saidOf(error));
  }

  // The page

  clear() {
    const kept = this.search.kept();
    this.search.drop();
    for (const { id } of kept.ideas) page.remove(id);
    this.search.tell(null, 0, []);
    this.filled(false);
    this.changes.add(`clearing ${many(kept.ideas.length, "idea")}`, () => this.search.restore(kept));
    page.say("The page is clear.");
    this.changes.button.focus();
  }

  ended() {
    this.starsOfBook();
    if (!page.shift) return;
    // ideas that came while another key was shown have no picture in it yet
    const { shift } = page;
    for (const other of [...page.looks.keys()]) if (other) page.looks.delete(other);
    page.transpose(shift);
  }

  look(shift) {
    return ask("notation", { ...this.shown([...page.ideas.values()]), shift });
  }

  // Ideas on the page as the server takes them.
  shown(ideas) {
    const { chart, key, metre, first, level, rhythm, tempo, hand, seed, second } = page.whole;
    const rows = ideas.map(({ text, rank, shape, score }) => ({ text, rank, shape, score }));
    return { chart, key, metre, first, level, rhythm, tempo, hand, seed, second, ideas: rows };
  }

  // A score of ideas with the parts that are chosen, which the page itself has no notation of.
  async score(ideas, { shift, tempo, parts }) {
    return (await fetched("files", { ...this.shown(ideas), tempo, shift, parts, ending: "musicxml" })).bytes;
  }

  // The parts and the second voice that are chosen, as far as any are.
  heard() {
    const { parts } = page.wishes;
    return { ...(parts.length ? { parts } : {}), second: this.wishes.second.value };
  }

  // The chord whose symbol is at an element of a picture: its chart, bar and beat.
  chordAt(target) {
    const symbol = target instanceof Element ? target.closest(".picture .harm") : null;
    const measure = symbol?.closest(".measure");
    if (!measure) return null;
    const bar = Number(/-b(\d+)$/.exec(measure.id)?.[1]);
    const { chart, key, bars } = page.looks.get(page.shift) ?? {};
    const place = [...measure.querySelectorAll(".harm")].indexOf(symbol);
    const chord = bars?.find((each) => each.bar === bar)?.chords[place];
    if (!chord) return null;
    return [{ chart, key, metre: page.whole.metre }, bar - bars[0].bar + 1, beatOf(chord.onset, page.whole.metre)];
  }

  // What has a star in the book has one on the page.
  async starsOfBook() {
    const { whole } = page;
    const ideas = [...page.ideas.values()].filter((idea) => idea.book);
    if (!ideas.length) return;
    const { chart, key, metre } = whole;
    const starredIdeas = await ask("book/search", { chart, key, metre, stars: 1, count: MOST_FOUND }).catch(() => null);
    if (!starredIdeas || whole !== page.whole || this.sending) return;
    const starred = new Set(starredIdeas.ideas.map((idea) => idea.id));
    for (const idea of ideas) {
      const on = starred.has(this.shelf.now(idea.book));
      if (on === page.isStarred(idea) || (!on && starredIdeas.found > MOST_FOUND)) continue;
      if (on) page.starred.add(idea.text);
      else page.starred.delete(idea.text);
      setStarred(document.getElementById(`card-${idea.id}`), on);
    }
    page.choose();
  }

  // A star on the page is a star in the book.
  async starred({ id, starred }) {
    const idea = page.ideas.get(id);
    if (this.undoing || !idea) return;
    const what = `${starred ? "starring" : "taking the star off"} idea ${idea.rank}`;
    const steps = idea.book ? [{ action: "star", ids: [idea.book], stars: starred ? 1 : 0 }] : [];
    const undo = { steps: [] };
    this.changes.add(what, () => this.unstar(id, idea, undo.steps));
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

  async unstar(id, idea, steps) {
    if (steps.length) await this.shelf.back([], steps);
    if (page.ideas.get(id)?.text === idea.text) {
      this.undoing = true;
      page.star(id);
      this.undoing = false;
    }
    if (this.book.root.open) this.book.refresh();
  }
}

async function begin() {
  const place = document.getElementById("workshop");
  const notice = new GoneNotice(page);
  place.replaceChildren(notice.root);
  place.hidden = false;
  document.body.classList.add("no-ideas");
  try {
    const workshop = new Workshop(await ask("start"));
    place.append(...workshop.root);
    document.getElementById("status").before(workshop.foot);
    window.fillgen.workshop = workshop;
  } catch (error) {
    page.warn(saidOf(error) || "The workshop could not be opened.");
  }
}

begin();
