// The keys of a keyboard, those that an idea uses marked, those that sound lit.
import { drawn } from "./elements.js";
import { signed } from "./words.js";

const WHITES = [0, 2, 4, 5, 7, 9, 11];
const [WIDE, HIGH, BLACK_WIDE, BLACK_HIGH] = [24, 92, 15, 56];

/** @param {number} midi */
function isWhite(midi) {
  return WHITES.includes(midi % 12);
}

/**
 * Keys from the C or F below the lowest note to the E or B above the highest.
 * @param {{midi: number, name: string}[]} notes
 * @returns {SVGElement}
 */
export function keysOf(notes) {
  const names = new Map(notes.map(({ midi, name }) => [midi, signed(name.replace(/-?\d+$/, ""))]));
  let [low, high] = [Math.min(...names.keys()) - 1, Math.max(...names.keys()) + 1];
  while (![0, 5].includes(low % 12)) low -= 1;
  while (![4, 11].includes(high % 12)) high += 1;
  const keys = Array.from({ length: high - low + 1 }, (_, place) => low + place);
  const whites = keys.filter(isWhite);
  const order = [...whites, ...keys.filter((midi) => !isWhite(midi))];
  const left = (/** @type {number} */ midi) => WIDE * whites.filter((each) => each < midi).length - (isWhite(midi) ? 0 : BLACK_WIDE / 2);
  const words = [...names.values()].join(", ");
  return drawn(
    "svg",
    { class: "keys", viewBox: `-1 -1 ${WIDE * whites.length + 2} ${HIGH + 2}`, role: "img", "aria-label": `Keys used: ${words}` },
    order.map((midi) => oneKey(midi, left(midi), names.get(midi))),
  );
}

/**
 * @param {number} midi
 * @param {number} x
 * @param {string|undefined} name
 */
function oneKey(midi, x, name) {
  const white = isWhite(midi);
  const [width, height] = white ? [WIDE, HIGH] : [BLACK_WIDE, BLACK_HIGH];
  const middle = x + width / 2;
  return drawn(
    "g",
    { class: `key ${white ? "white" : "black"}${name ? " used" : ""}`, "data-midi": midi },
    drawn("rect", { x, y: 0, width, height, rx: 2 }),
    name ? drawn("circle", { cx: middle, cy: height - 26, r: 3.5 }) : null,
    name ? drawn("text", { x: middle, y: height - 8, "text-anchor": "middle" }, name) : null,
  );
}

/**
 * @param {Element|null} keys
 * @param {number} midi
 * @param {boolean} on
 */
export function lightKey(keys, midi, on) {
  keys?.querySelector(`[data-midi="${midi}"]`)?.classList.toggle("lit", on);
}
