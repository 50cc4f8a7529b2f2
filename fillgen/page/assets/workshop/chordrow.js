// The chords as they were understood: a row of buttons by bar, each of which shows the notes that fit.
import { beatOf } from "./beats.js";
import { make } from "./elements.js";

export class ChordRow {
  constructor(noteChart) {
    this.noteChart = noteChart;
    this.label = make("p", { class: "read-as" });
    this.list = make("ol", { class: "chord-row", "aria-label": "Bars of the chart" });
    this.root = make("div", { class: "chord-rows", hidden: true }, make("div", { class: "chords-read" }, this.label, this.list), noteChart.root);
  }

  // Shows a chart as the server read it; null takes it away.
  show(read, chart) {
    this.root.hidden = read === null;
    if (!read) return;
    this.label.textContent = `Read in ${read.key}, ${read.metre}.`;
    this.list.replaceChildren(...read.bars.map((bar) => this.bar(bar, read, chart)));
    this.noteChart.rest();
    this.noteChart.dock(false);
  }

  bar({ bar, chords }, read, chart) {
    const asked = { chart, key: read.key, metre: read.metre };
    const number = bar - read.bars[0].bar + 1;
    const buttons = chords.map((chord) => {
      const show = () => this.noteChart.show(asked, number, beatOf(chord.onset, read.metre));
      const soon = () => this.noteChart.pointing.soon(asked, number, beatOf(chord.onset, read.metre));
      return make(
        "button",
        { type: "button", class: "button chord", "aria-label": `Notes for ${chord.symbol}, bar ${bar}`, on: { click: show, focus: show, pointerenter: soon, pointerleave: () => this.noteChart.pointing.drop() } },
        chord.symbol,
      );
    });
    return make("li", {}, make("span", { class: "bar-number" }, `${bar}`), buttons);
  }
}
