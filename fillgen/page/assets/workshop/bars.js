// The bars of an idea that are to stay, chosen in the notation or by name, and ideas that vary the others.
import { button, choice, drawn, field, make, tick } from "./elements.js";

const NEAR = { like: "small changes only", unlike: "as different as can be", answer: "phrases that answer it" };
const MARGIN = 60; // units of the engraver round a kept bar, and between two of them

export class Bars {
  // `vary` is called with the idea, the bars that stay, and how near the others are to be.
  constructor(page, nearness, vary) {
    this.page = page;
    this.nearness = nearness;
    this.vary = vary;
    this.kept = new Map();
    document.addEventListener("fillgen:begin", () => this.kept.clear());
    document.addEventListener("fillgen:add", ({ detail }) => this.dress(detail.id));
    document.addEventListener("fillgen:key", () => this.markAll());
    document.addEventListener("fillgen:wishes", () => this.markAll());
    document.getElementById("ideas").addEventListener("click", (event) => this.clicked(event));
  }

  card(id) {
    return document.getElementById(`card-${id}`);
  }

  // Puts the choice of bars into a card.
  dress(id) {
    const card = this.card(id);
    const name = card.querySelector("h2").textContent;
    const boxes = this.page.whole.bars.map(({ bar }) => tick(`Bar ${bar}`, { value: String(bar), on: { change: (event) => this.keep(id, bar, event.target.checked) } }));
    const near = choice([["", "any that fit"], ...this.nearness.map((word) => [word, NEAR[word] ?? word])]);
    const find = button("Find variations", () => this.find(id, near.value), { class: "button button-main vary" });
    find.append(make("span", { class: "unseen" }, ` ${name}`));
    const inside = make(
      "div",
      { class: "vary-inside" },
      make("fieldset", { class: "keep-bars" }, make("legend", {}, "Keep these bars"), boxes.map(({ row }) => row)),
      make("p", { class: "hint" }, "A click on a bar in the notation keeps it as well."),
      field("The rest", near),
      make("div", { class: "row" }, find),
    );
    const summary = make("summary", { class: "button" }, "Vary", make("span", { class: "unseen" }, ` or keep bars of ${name}`));
    card.querySelector(".actions").append(make("details", { class: "more vary-idea" }, summary, inside));
  }

  clicked(event) {
    const picture = event.target.closest(".picture");
    if (!picture || event.target.closest(".harm")) return;
    const { id } = picture.closest(".idea").dataset;
    const bar = this.barAt(id, event.clientX, event.clientY);
    if (bar === null) return;
    this.card(id).querySelector(".vary-idea").open = true;
    this.keep(id, bar, !this.keptOf(id).has(bar));
  }

  // The bar at a point of the window, null where there is none.
  barAt(id, x, y) {
    for (const { bar } of this.page.whole.bars) {
      const box = this.measure(id, bar)?.getBoundingClientRect();
      if (box && x >= box.left && x <= box.right && y >= box.top && y <= box.bottom) return bar;
    }
    return null;
  }

  measure(id, bar) {
    return this.card(id).querySelector(`[id="${id}-b${bar}"]`);
  }

  keptOf(id) {
    if (!this.kept.has(id)) this.kept.set(id, new Set());
    return this.kept.get(id);
  }

  keep(id, bar, on) {
    const kept = this.keptOf(id);
    if (on) kept.add(bar);
    else kept.delete(bar);
    this.card(id).querySelector(`.keep-bars input[value="${bar}"]`).checked = on;
    this.mark(id);
    this.page.say(`Bar ${bar} of idea ${this.page.ideas.get(id).rank} ${on ? "is kept" : "may change"}.`);
  }

  markAll() {
    for (const [id, kept] of this.kept) if (kept.size && this.card(id)) this.mark(id);
  }

  // Draws a frame with the word round each bar that stays.
  mark(id) {
    for (const old of this.card(id).querySelectorAll(".kept-mark")) old.remove();
    for (const bar of this.keptOf(id)) {
      const measure = this.measure(id, bar);
      const box = measure?.getBBox();
      if (!box || !box.width) continue;
      const [left, top, wide, high] = [box.x + MARGIN, box.y - MARGIN, box.width - 2 * MARGIN, box.height + 2 * MARGIN];
      measure.prepend(
        drawn(
          "g",
          { class: "kept-mark", "aria-hidden": "true" },
          drawn("rect", { class: "kept-frame", x: left, y: top, width: wide, height: high, rx: 100 }),
          drawn("text", { class: "kept-word", x: left + wide - 150, y: top + high + 100, "text-anchor": "end" }, "kept"),
        ),
      );
    }
  }

  find(id, near) {
    const bars = [...this.keptOf(id)].sort((a, b) => a - b);
    this.vary(this.page.ideas.get(id), bars, near);
  }
}
