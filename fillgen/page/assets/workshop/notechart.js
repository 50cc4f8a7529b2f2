// Which notes fit a chord: as words and as an octave of keys, each kind with a word, a mark and a shade.
import { drawn, fresh, listed, make } from "../elements.js";
import { signed } from "../words.js";
import { ask } from "./asking.js";

/** @import { FitChord, FitNote } from "../types.js" */

const KINDS = [
  { kind: "chord tone", word: "stay", says: "in the chord: play it on any beat and hold it as long as you like", form: "solid", path: "M-8-8H8V8H-8Z" },
  { kind: "passes", word: "pass", says: "passes well between chord tones", form: "open", path: "M0-9L9 0L0 9L-9 0Z" },
  { kind: "leave quickly", word: "quick", says: "rubs if it lasts: touch it and move on", form: "open", path: "M-8-7L-1 0L-8 7M1-7L8 0L1 7" },
  { kind: "clashes", word: "clash", says: "avoid it, except to slide into the note next to it", form: "open", path: "M-6-6L6 6M6-6L-6 6" },
];
/** @type {Record<string, number>} */
const NATURAL = { C: 0, D: 2, E: 4, F: 5, G: 7, A: 9, B: 11 };
/** @type {Record<string, number>} */
const SIGNS = { "#": 1, "♯": 1, x: 2, b: -1, "♭": -1 };
const WHITES = [0, 2, 4, 5, 7, 9, 11];
const WHITE = { wide: 52, high: 188 };
const BLACK = { wide: 38, high: 106 };
const EDGE = 2;

/**
 * The pitch class that a name stands for, 0 to 11.
 * @param {string} name
 */
export function pitchClass(name) {
  let found = NATURAL[name[0]];
  for (const sign of name.slice(1)) found += SIGNS[sign] ?? 0;
  return ((found % 12) + 12) % 12;
}

export class NoteChart {
  /** @param {{show: (title: string, ...content: Node[]) => void}} answer where it is shown */
  constructor(answer) {
    this.answer = answer;
    /** @type {Map<string, FitChord>} */
    this.kept = new Map();
    this.turn = 0;
  }

  /**
   * Shows the notes for the chord at a beat of a bar.
   * @param {{chart: string, key: string, metre: string, bar: number, beat: number}} asked
   */
  async show(asked) {
    const name = JSON.stringify(asked);
    this.turn += 1;
    const { turn } = this;
    /** @type {FitChord} */
    const chord = this.kept.get(name) ?? (await ask("notes", asked)).chord;
    this.kept.set(name, chord);
    if (turn !== this.turn) return;
    const heard = chord.heard === chord.symbol ? chord.symbol : `${chord.symbol} (${chord.heard})`;
    const where = chord.bar === chord.through ? `bar ${chord.bar}` : `bars ${chord.bar} to ${chord.through}`;
    this.answer.show(`Notes that fit ${signed(heard)}, ${where}`, ...this.content(chord));
  }

  /** @param {FitChord} chord */
  content(chord) {
    return [
      ...(chord.remark ? [make("p", {}, `${chord.remark[0].toUpperCase()}${chord.remark.slice(1)}.`)] : []),
      make("div", { class: "note-columns" }, this.keyboard(chord), this.words(chord)),
    ];
  }

  /** @param {FitChord} chord */
  words(chord) {
    const rows = KINDS.map((look) => {
      const names = chord.notes.filter((note) => note.kind === look.kind).map((note) => `${signed(note.name)} (${signed(note.degree)})`);
      return make("li", {}, markBox(look), make("span", {}, make("strong", {}, `${look.word}: `), listed(names) || "none", make("span", { class: "soft" }, ` – ${look.says}`)));
    });
    const list = make("ul", { class: "kinds" }, rows);
    if (!chord.into) return list;
    const ways = [...chord.common, ...chord.ways].map((way) => make("li", {}, `${way.words}.`));
    return make("div", {}, list, make("h3", {}, `Into ${signed(chord.into)}`), make("ul", {}, ways));
  }

  /** @param {FitChord} chord */
  keyboard(chord) {
    const title = fresh("keys");
    const wide = 7 * WHITE.wide + 2 * EDGE;
    const high = WHITE.high + 2 * EDGE;
    const notes = new Map(chord.notes.map((note) => [pitchClass(note.name), note]));
    const order = [...WHITES, 1, 3, 6, 8, 10];
    return drawn(
      "svg",
      { class: "note-keys", viewBox: `0 0 ${wide} ${high}`, role: "img", "aria-labelledby": title },
      drawn("title", { id: title }, `An octave of keys for ${chord.symbol}; the list says the same in words`),
      order.flatMap((place) => {
        const note = notes.get(place);
        return note ? [key(place, note)] : [];
      }),
    );
  }
}

/**
 * @param {number} place the pitch class
 * @param {FitNote} note
 */
function key(place, note) {
  const black = !WHITES.includes(place);
  const { wide, high } = black ? BLACK : WHITE;
  const whites = WHITES.filter((each) => each < place).length;
  const left = EDGE + whites * WHITE.wide - (black ? BLACK.wide / 2 : 0);
  const look = KINDS.find((each) => each.kind === note.kind) ?? KINDS[0];
  const middle = left + wide / 2;
  const bottom = EDGE + high;
  /** @type {(name: string, words: string, above: number) => SVGTextElement} */
  const text = (name, words, above) => drawn("text", { class: name, x: middle, y: bottom - above }, words);
  return drawn(
    "g",
    { class: `${black ? "black" : "white"} ${look.word}` },
    drawn("rect", { class: "key", x: left, y: EDGE, width: wide, height: high, rx: 4 }),
    drawn("path", { class: look.form, d: look.path, transform: `translate(${middle} ${bottom - 68})` }),
    text("key-name", signed(note.name), 40),
    text("key-degree", signed(note.degree), 24),
    text("key-word", look.word, 8),
  );
}

/** @param {{form: string, path: string}} look */
function markBox(look) {
  return drawn(
    "svg",
    { class: "mark-box", viewBox: "-11 -11 22 22", "aria-hidden": "true" },
    drawn("path", { class: look.form, d: look.path }),
  );
}
