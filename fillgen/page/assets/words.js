// Music in words: names with real signs, and a phrase for those who hear the page.

/** @import { Idea, Look, OwnLook, WrittenBar } from "./types.js" */

const LENGTHS = { w: "whole", h: "half", q: "quarter", e: "eighth", s: "sixteenth" };
/** @type {Record<string, string>} */
const SPOKEN = { "♭": " flat ", "♯": " sharp " };

/**
 * Real flats and sharps for a name or a chord symbol that is typed with letters.
 * @param {string} symbol
 * @returns {string}
 */
export function signed(symbol) {
  const change = (/** @type {string} */ found) => found.replaceAll("b", "♭").replaceAll("#", "♯");
  return symbol.replace(/(?<=^[A-G]|\/[A-G])[b#]+|[b#](?=\d)/g, change);
}

/**
 * A text with a stop at its end.
 * @param {string} text
 * @returns {string}
 */
export function sentence(text) {
  return /[.?!]$/.test(text) ? text : `${text}.`;
}

/** @param {string} symbol */
function spoken(symbol) {
  return [...signed(symbol)].map((letter) => SPOKEN[letter] ?? letter).join("").split(/\s+/).filter(Boolean).join(" ");
}

/** @param {string} letters */
function lengthInWords(letters) {
  if (letters === "bar") return "whole bar";
  const name = LENGTHS[/** @type {keyof typeof LENGTHS} */ (letters[0])];
  return `${letters.endsWith(".") ? "dotted " : ""}${letters.endsWith("t") ? "triplet " : ""}${name}`;
}

/**
 * A phrase in words, bar by bar.
 * @param {Idea} idea
 * @param {OwnLook & Pick<Look, "spans">} look
 * @returns {string}
 */
export function inWords(idea, look) {
  return idea.written.map((bar) => barInWords(bar, look)).join(" ");
}

/**
 * @param {WrittenBar} bar
 * @param {OwnLook & Pick<Look, "spans">} look
 */
function barInWords(bar, look) {
  const chords = bar.chords.map(([, number]) => spoken(look.spans[number][2]));
  const over = chords.length ? `, ${chords.length > 1 ? "chords" : "chord"} ${chords.join(", ")}` : "";
  /** @type {string[]} */
  const notes = [];
  for (const [, , letters, note, from] of bar.symbols) {
    const length = lengthInWords(letters);
    if (note < 0) notes.push(`${length} rest`);
    else if (from && notes.length) notes.push(`${notes.pop()} and ${length}`);
    else notes.push(noteInWords([look.names[note], ...(look.below[note] ?? []).map(([name]) => name)], from, length));
  }
  return `${bar.number ? `Bar ${bar.number}` : "Pick-up"}${over}: ${notes.join(", ")}.`;
}

/**
 * @param {string[]} names from the highest down
 * @param {number} from whether it is held over
 * @param {string} length
 */
function noteInWords(names, from, length) {
  const [first, ...others] = names.map((name) => {
    const [, letters, octave] = /** @type {RegExpExecArray} */ (/^([A-G][#b]*)(-?\d+)$/.exec(name));
    return `${spoken(letters)} ${octave}`;
  });
  return `${first}${others.length ? ` with ${others.join(" and ")}` : ""}${from ? " held" : ""} ${length}`;
}

/**
 * What was said of a note in the key of an idea, said in another one: names of notes and chords are exchanged.
 * @param {string} sentence
 * @param {string[]} names of the idea's notes in its own key
 * @param {Look} own
 * @param {string[]} others the same notes in the other key
 * @param {Look} look
 * @returns {string}
 */
export function inKey(sentence, names, own, others, look) {
  const change = new Map(own.spans.map(([, , symbol], place) => [symbol, look.spans[place][2]]));
  for (const [place, name] of names.entries()) change.set(name, others[place]);
  return sentence.replace(/(?<![\w#])[A-G][\w#()+°øΔ/-]*/g, (word) => signed(change.get(word) ?? word));
}
