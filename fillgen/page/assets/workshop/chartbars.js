// The chords as they were read: bars in rows of four, each chord a button that shows which notes fit it.
import { make } from "../elements.js";
import { signed } from "../words.js";
import { beatOf } from "./beats.js";

export class ChartBars {
  /** @param {(asked: {chart: string, key: string, metre: string, bar: number, beat: number}) => void} asks which notes fit */
  constructor(asks) {
    this.asks = asks;
    this.label = make("p", { class: "read-as" });
    this.list = make("ol", { class: "chart-bars", "aria-label": "Bars of the chart" });
    this.root = make("div", { class: "chart-read", hidden: true }, this.list, this.label);
  }

  /**
   * Shows a chart as the server read it; null takes it away.
   * @param {any} read
   * @param {string} chart
   */
  show(read, chart) {
    this.root.hidden = read === null;
    if (!read) return;
    this.label.textContent = `${signed(read.key)}, ${read.metre}. Press a chord to see which notes fit.`;
    this.list.replaceChildren(...read.bars.map((/** @type {any} */ bar) => this.bar(bar, read, chart)));
  }

  /**
   * @param {any} bar
   * @param {any} read
   * @param {string} chart
   */
  bar({ bar, chords }, read, chart) {
    const number = bar - read.bars[0].bar + 1;
    const buttons = chords.map((/** @type {any} */ chord) => {
      const asked = { chart, key: read.key, metre: read.metre, bar: number, beat: beatOf(chord.onset, read.metre) };
      return make("button", { type: "button", class: "chord", "aria-label": `Notes for ${chord.symbol}, bar ${bar}`, on: { click: () => this.asks(asked) } }, signed(chord.symbol));
    });
    return make("li", {}, buttons);
  }
}
