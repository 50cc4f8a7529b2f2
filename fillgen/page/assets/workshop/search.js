// Looks for ideas and puts each on the page as soon as it is found. A new search ends the one before.
import { Gone, lines } from "./asking.js";
import { button, make, many } from "./elements.js";

export class Search {
  // `changes` remembers what was on the page before; `refuse` says what cannot be done.
  constructor(page, changes, refuse) {
    this.page = page;
    this.changes = changes;
    this.refuse = refuse;
    this.under = null;
    this.asked = ""; // the path of the question that was put last
    this.shown = null;
    this.build();
  }

  build() {
    this.bar = make("progress", { "aria-label": "Ideas found", max: 1, value: 0, hidden: true });
    this.count = make("p", { class: "found-count" });
    this.ending = button("Stop searching", () => this.stop(), { class: "button", hidden: true });
    this.further = button("More ideas", () => this.again(), { class: "button more-ideas", hidden: true });
    this.heading = make("p", { class: "found-what" });
    this.remarks = make("ul", { class: "remarks" });
    this.root = make(
      "div",
      { class: "found" },
      this.heading,
      make("div", { class: "row" }, this.bar, this.count, this.ending, this.further),
      this.remarks,
    );
  }

  // The ideas on the page, as they can be put back.
  kept() {
    const { page, shown } = this;
    return page.whole ? { whole: page.whole, ideas: [...page.ideas.values()], shown } : null;
  }

  restore(kept) {
    this.drop();
    const { page } = this;
    page.begin(kept.whole);
    for (const idea of kept.ideas) page.add(idea);
    page.end();
    this.tell(kept.shown, kept.ideas.length, []);
  }

  // Runs a question that answers with ideas. `shown`: path, asked, heading, what (as undo names it), more (the next question).
  async run(shown) {
    this.drop();
    const mine = new AbortController();
    this.under = mine;
    this.asked = shown.path;
    const before = this.kept();
    let [found, remarks, begun] = [0, [], false];
    this.looking(shown);
    try {
      for await (const message of lines(shown.path, shown.asked, { signal: mine.signal })) {
        if (this.under !== mine) return false;
        mine.signal.throwIfAborted();
        if (message.whole) {
          begun = true;
          this.begin(message.whole, before, shown);
        } else if (message.idea) {
          found += 1;
          this.page.add(message.idea);
          this.progress(found);
        } else if (message.done) remarks = message.done.remarks;
      }
      this.finish(shown, found, remarks);
      this.page.say(`${many(found, "idea")} found.`);
      return true;
    } catch (error) {
      if (this.under !== mine) return false;
      if (begun) this.finish(shown, found, remarks);
      else this.tell(this.shown, before?.ideas.length ?? 0, []);
      if (error.name === "AbortError") this.page.say(begun ? `Stopped; ${many(found, "idea")} on the page.` : "Stopped.");
      else if (!(error instanceof Gone)) this.refuse(error);
      return false;
    } finally {
      if (this.under === mine) this.under = null;
    }
  }

  looking(shown) {
    this.bar.hidden = false;
    this.bar.removeAttribute("value");
    this.ending.hidden = false;
    this.further.hidden = true;
    this.count.textContent = "Looking for ideas …";
    this.remarks.replaceChildren();
    this.page.say(`Looking: ${shown.heading}.`);
  }

  begin(whole, before, shown) {
    const parts = before ? this.parts().map((box) => [box, box.checked]) : [];
    this.page.begin(whole);
    for (const [box, on] of parts) box.checked = on; // what the reader listens with stays
    this.shown = shown;
    this.wanted = whole.count;
    this.bar.max = Math.max(1, whole.count);
    this.heading.textContent = shown.heading;
    if (before) this.changes.add(shown.what, () => this.restore(before));
  }

  parts() {
    return [...document.querySelectorAll('#controls [name="part"]')];
  }

  progress(found) {
    this.bar.value = found;
    this.count.textContent = `${found} of ${this.wanted} ideas`;
  }

  finish(shown, found, remarks) {
    this.page.end();
    this.tell(shown, found, remarks);
  }

  // Says what is on the page.
  tell(shown, found, remarks) {
    this.shown = shown;
    const focused = document.activeElement === this.ending;
    this.bar.hidden = true;
    this.ending.hidden = true;
    this.further.hidden = !shown?.more;
    if (shown?.more) this.further.textContent = shown.moreWords ?? "More ideas";
    if (focused) (shown?.more ? this.further : document.getElementById("ideas")).focus();
    this.heading.textContent = shown?.heading ?? "";
    this.count.textContent = shown ? `${many(found, "idea")} on the page` : "";
    this.remarks.replaceChildren(...remarks.map((remark) => make("li", {}, remark)));
  }

  again() {
    if (this.shown?.more) this.run(this.shown.more());
  }

  stop() {
    if (this.under) this.under.abort();
  }

  // Ends what is under way without a word: something else takes its place.
  drop() {
    const { under } = this;
    this.under = null;
    under?.abort();
  }
}
