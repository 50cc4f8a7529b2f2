// Looks for ideas and puts each on the page as soon as it is found. A new search ends the one before.
import { button, make, many } from "../elements.js";
import { Gone, lines } from "./asking.js";

/** @import { Entry, Round } from "../types.js" */
/** @import { Page } from "../main.js" */

/**
 * @typedef {object} Question
 * @property {string} path
 * @property {Record<string, any>} asked
 * @property {string} heading
 * @property {string} what as undo names it
 * @property {boolean} [below] whether the ideas come below those that are there
 * @property {Entry|null} [of] the idea that is varied
 * @property {number[]} [kept] the bars that stay
 * @property {string} [more] what to ask for further ideas
 */

export class Search {
  /**
   * @param {Page} page
   * @param {{changes: any, refuse: (error: any) => void, done: () => void}} actions
   */
  constructor(page, actions) {
    this.page = page;
    this.actions = actions;
    /** @type {AbortController|null} */
    this.under = null;
    this.asked = ""; // the path of the question that was put last
    this.ending = button("Stop", () => this.stop(), { class: "button quiet", hidden: true });
    this.bar = make("progress", { "aria-label": "Ideas found", max: 1, value: 0, hidden: true });
  }

  /**
   * Runs a question that answers with ideas.
   * @param {Question} question
   * @returns {Promise<Round[]>} the rounds that came of it
   */
  async run(question) {
    this.drop();
    const mine = new AbortController();
    this.under = mine;
    this.asked = question.path;
    /** @type {Round[]} */
    const rounds = [];
    this.looking(question);
    try {
      for await (const message of lines(question.path, question.asked, { signal: mine.signal })) {
        if (this.under !== mine) return rounds;
        mine.signal.throwIfAborted();
        this.take(message, question, rounds);
      }
      this.page.say(`${many(rounds.reduce((sum, { entries }) => sum + entries.length, 0), "idea")} found.`);
    } catch (error) {
      if (this.under !== mine) return rounds;
      const { name } = /** @type {Error} */ (error);
      if (name === "AbortError") this.page.say("Stopped.");
      else if (!(error instanceof Gone)) this.actions.refuse(error);
    }
    if (this.under === mine) this.finish(rounds);
    return rounds;
  }

  /**
   * @param {any} message
   * @param {Question} question
   * @param {Round[]} rounds
   */
  take(message, question, rounds) {
    const round = rounds.at(-1);
    if (message.whole) {
      if (round) this.close(round, question);
      rounds.push(this.begin(message.whole, question, rounds));
    } else if (message.idea && round) {
      this.page.add(round, message.idea);
      const found = rounds.reduce((sum, { entries }) => sum + entries.length, 0);
      this.bar.value = found;
      if (found === 1) this.seen(round, question);
    } else if (message.done && round) {
      round.remarks = message.done.remarks;
      this.close(round, question);
    }
  }

  /** @param {Question} question */
  looking(question) {
    this.bar.hidden = this.ending.hidden = false;
    this.bar.removeAttribute("value");
    this.page.say(`Looking: ${question.heading}.`);
  }

  /**
   * @param {any} whole
   * @param {Question} question
   * @param {Round[]} rounds
   */
  begin(whole, { heading, what, below = false, of = null, kept = [] }, rounds) {
    this.bar.max = Math.max(1, whole.count);
    const before = rounds.length || below || of ? null : this.page.clear();
    const round = this.page.begin(whole, { heading: rounds.length ? `${heading}, ${whole.title || whole.key}` : heading, of, kept });
    if (rounds.length || !what) return round;
    this.actions.changes.add(what, () => {
      this.drop();
      if (before) this.page.restore(before);
      else for (const each of [round, ...rounds]) this.page.remove(each);
      this.actions.done();
    });
    return round;
  }

  /**
   * The reader is led to what was found below other music.
   * @param {Round} round
   * @param {Question} question
   */
  seen(round, { below = false, of = null }) {
    if (!below && !of) return;
    this.page.select(round.entries[0]);
    round.root.scrollIntoView({ block: "nearest" });
    /** @type {HTMLElement} */ (round.root.querySelector(".round-name")).focus({ preventScroll: true });
  }

  /**
   * @param {Round} round
   * @param {Question} question
   */
  close(round, question) {
    dress(round, question, () => this.more(round, question));
    this.page.end(round);
  }

  /**
   * @param {Round} round
   * @param {Question} question
   */
  more(round, question) {
    const { asked } = question;
    const next = { ...question, asked: { ...asked, seed: (asked.seed ?? 0) + 1 }, below: true };
    round.root.querySelector(".further")?.remove();
    return this.run({ ...next, heading: question.heading.replace(/(?:, seed \d+)?$/, `, seed ${next.asked.seed}`), what: "more ideas" });
  }

  /** @param {Round[]} rounds */
  finish(rounds) {
    this.under = null;
    const held = document.activeElement === this.ending;
    this.bar.hidden = this.ending.hidden = true;
    if (held) document.getElementById("ideas")?.focus({ preventScroll: true });
    for (const round of rounds) if (!round.root.querySelector(".remarks")) this.page.end(round);
    this.actions.done();
  }

  stop() {
    this.under?.abort();
  }

  /** Ends what is under way without a word: something else takes its place. */
  drop() {
    const { under } = this;
    this.under = null;
    under?.abort();
    this.bar.hidden = this.ending.hidden = true;
  }
}

/**
 * Adds to a round what there is to say of it, and the way to further ideas.
 * @param {Round} round
 * @param {Question} question
 * @param {() => void} more
 */
export function dress(round, question, more) {
  /** @type {any} */ (round).question = question;
  const remarks = make("ul", { class: "remarks" }, round.remarks.map((remark) => make("li", {}, remark)));
  const further = question.more ? button(question.more, more, { class: "button quiet" }) : null;
  round.root.append(make("footer", { class: "further row" }, further, remarks));
}
