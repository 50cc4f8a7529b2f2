// Music drawn: the glyphs that all pictures share, the systems of an idea, the names below and the signs at its notes.
import { drawn } from "./elements.js";
import { inWords, signed } from "./words.js";

/** @import { Idea, Look, OwnLook } from "./types.js" */

const SVG = "http://www.w3.org/2000/svg";
const LINK = "http://www.w3.org/1999/xlink";
const NAMES = 470; // the height that note names take below a system, in units of the drawing
const MARKS = 520; // and that words at marked notes take
const MARGIN = 60;
const HATCH = '<pattern id="hatch" width="260" height="260" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><line class="hatch-line" x1="0" y1="0" x2="0" y2="260"/></pattern>';

/**
 * The elements of some SVG text. Ids become `data-id`, since one idea may be on the page several times.
 * @param {string} text
 * @returns {Element}
 */
function parsed(text) {
  const whole = `<svg xmlns="${SVG}" xmlns:xlink="${LINK}">${text}</svg>`;
  return document.importNode(new DOMParser().parseFromString(whole, "image/svg+xml").documentElement, true);
}

/**
 * Puts glyphs that are not there yet where all pictures of the page find them.
 * @param {Record<string, string>} glyphs by name
 */
export function addGlyphs(glyphs) {
  let home = document.getElementById("glyphs");
  if (!home) {
    const made = parsed(`<defs>${HATCH}</defs>`);
    for (const [name, value] of Object.entries({ id: "glyphs", width: "0", height: "0", "aria-hidden": "true" })) made.setAttribute(name, value);
    document.body.append(made);
    home = /** @type {HTMLElement} */ (/** @type {unknown} */ (made));
  }
  const missing = Object.entries(glyphs).filter(([name]) => !document.getElementById(`${name}-fillgen`));
  const groups = missing.map(([name, inside]) => `<g id="${name}-fillgen">${inside}</g>`);
  if (groups.length) home.firstElementChild?.append(...parsed(groups.join("")).children);
}

/**
 * How wide and how high the systems are together, in units of the drawing, without drawing them.
 * @param {string[]} systems
 * @param {number} more what each grows by
 * @returns {[number, number]}
 */
export function sizeOf(systems, more = 0) {
  let [wide, high] = [1, 0];
  for (const system of systems) {
    const [, , width, height] = (/viewBox="([^"]*)"/.exec(system)?.[1] ?? "0 0 1 1").split(" ").map(Number);
    wide = Math.max(wide, width);
    high += height + more;
  }
  return [wide, high];
}

/**
 * Keeps the place of a picture that isn't drawn yet.
 * @param {HTMLElement} picture
 * @param {string[]} systems
 * @param {boolean} names
 */
export function reserve(picture, systems, names) {
  picture.style.aspectRatio = sizeOf(systems, names ? NAMES : 0).join(" / ");
}

/**
 * Draws an idea in a key: its systems below one another, with a description in words.
 * @param {HTMLElement} picture
 * @param {Idea} idea
 * @param {OwnLook & Pick<Look, "spans">} look
 * @param {{names: boolean, label?: boolean}} wanted
 */
export function draw(picture, idea, look, { names, label = true }) {
  if (label) picture.setAttribute("aria-label", inWords(idea, look));
  picture.replaceChildren(...parsed(look.systems.join("").replaceAll(' id="', ' data-id="')).children);
  picture.style.aspectRatio = "";
  if (names) for (const system of picture.children) named(/** @type {SVGSVGElement} */ (system), idea, look);
}

/**
 * Where the head of a note is.
 * @param {Element} note
 * @returns {[number, number]}
 */
function headOf(note) {
  const found = /translate\((-?\d+), ?(-?\d+)/.exec(note.querySelector(".notehead use")?.getAttribute("transform") ?? "");
  return found ? [Number(found[1]) + 110, Number(found[2])] : [0, 0];
}

/**
 * @param {SVGSVGElement} system
 * @param {number} by
 */
function grow(system, by) {
  const { x, y, width, height } = system.viewBox.baseVal;
  system.setAttribute("viewBox", `${x} ${y} ${width} ${height + by}`);
  return y + height;
}

/**
 * @param {SVGSVGElement} system
 * @param {Idea} idea
 * @param {OwnLook} look
 */
function named(system, idea, look) {
  const bottom = grow(system, NAMES);
  idea.notes.forEach(({ ids }, index) => {
    const note = system.querySelector(`[data-id="${ids[0]}"]`);
    if (!note) return;
    const words = signed(look.names[index].replace(/-?\d+$/, ""));
    system.append(drawn("text", { class: "note-name", x: headOf(note)[0], y: bottom + NAMES - 150, "text-anchor": "middle" }, words));
  });
}

/**
 * Marks notes by a sign round the head and a word below the system.
 * @param {HTMLElement} picture
 * @param {Idea} idea
 * @param {Map<number, {sign: string, word: string}>} marks by the number of the note
 */
export function markNotes(picture, idea, marks) {
  for (const each of picture.children) {
    const system = /** @type {SVGSVGElement} */ (each);
    const found = [...marks].flatMap(([index, mark]) => {
      const note = system.querySelector(`[data-id="${idea.notes[index]?.ids[0]}"]`);
      return note ? [{ mark, at: headOf(note) }] : [];
    });
    if (!found.length) continue;
    const bottom = grow(system, MARKS * 2);
    let [last, low] = [-9999, false];
    for (const { mark, at } of found.sort((a, b) => a.at[0] - b.at[0])) {
      low = at[0] - last < 1500 && !low;
      last = at[0];
      const y = bottom + (low ? MARKS * 2 : MARKS) - 120;
      system.append(
        drawn("g", { class: `note-mark ${mark.sign}` }, shapeOf(mark.sign, at), drawn("path", { class: "mark-line", d: `M${at[0]} ${at[1] + 260}V${y - 330}` }), drawn("text", { class: "mark-word", x: at[0], y, "text-anchor": "middle" }, mark.word)),
      );
    }
  }
}

/**
 * The sign at a note: a cross for a clash, a diamond for style, a ring for what is new.
 * @param {string} sign
 * @param {[number, number]} at
 */
function shapeOf(sign, [x, y]) {
  if (sign === "clash") return drawn("path", { class: "mark-shape", d: `M${x - 200} ${y - 200}l400 400m0-400l-400 400` });
  if (sign === "fresh") return drawn("circle", { class: "mark-shape", cx: x, cy: y, r: 250 });
  return drawn("path", { class: "mark-shape", d: `M${x} ${y - 290}l290 290l-290 290l-290-290z` });
}

/**
 * The drawn bar of a number.
 * @param {HTMLElement} picture
 * @param {number} bar
 * @returns {SVGGElement|null}
 */
export function barIn(picture, bar) {
  return picture.querySelector(`.measure[data-id$="-b${bar}"]`);
}

/**
 * Lays frames round some bars: those that stay, or those that are new.
 * @param {HTMLElement} picture
 * @param {number[]} bars
 * @param {"kept"|"new"} kind
 */
export function frameBars(picture, bars, kind) {
  for (const old of picture.querySelectorAll(`.bar-frame.${kind}`)) old.remove();
  for (const bar of bars) {
    const measure = barIn(picture, bar);
    const box = measure?.getBBox();
    if (!measure || !box?.width) continue;
    const system = measure.ownerSVGElement?.viewBox.baseVal ?? box;
    const top = Math.max(box.y - MARGIN, system.y + MARGIN);
    const bottom = Math.min(box.y + box.height + MARGIN, system.y + system.height - MARGIN);
    const place = { x: box.x + MARGIN, y: top, width: box.width - 2 * MARGIN, height: bottom - top, rx: 100 };
    const word = drawn("text", { class: "frame-word", x: place.x + place.width - 120, y: place.y + place.height - 40, "text-anchor": "end" }, kind);
    const hatch = kind === "new" ? drawn("rect", { class: "hatch", fill: "url(#hatch)", ...place }) : null;
    measure.prepend(drawn("g", { class: `bar-frame ${kind}`, "aria-hidden": "true" }, drawn("rect", { class: "frame", ...place }), hatch, kind === "kept" ? word : null));
  }
}

/**
 * Lights notes, or puts them out.
 * @param {HTMLElement} picture
 * @param {string[]} ids
 * @param {boolean} on
 */
export function setLit(picture, ids, on) {
  for (const id of ids) picture.querySelector(`[data-id="${id}"]`)?.classList.toggle("lit", on);
}

/**
 * The number of the note that an element of a picture belongs to, -1 where there is none.
 * @param {EventTarget|null} target
 * @param {Idea} idea
 * @returns {number}
 */
export function noteAt(target, idea) {
  const note = target instanceof Element ? target.closest(".note, .chord") : null;
  const id = note?.getAttribute("data-id") ?? note?.closest(".chord")?.getAttribute("data-id");
  return idea.notes.findIndex(({ ids }) => id !== null && id !== undefined && ids.includes(id));
}

/**
 * The number of the note that lies at a point of the window, a little beside it as well; -1 where there is none.
 * @param {HTMLElement} picture
 * @param {Idea} idea
 * @param {number} x
 * @param {number} y
 * @returns {number}
 */
export function noteNear(picture, idea, x, y) {
  return idea.notes.findIndex(({ ids }) => {
    const box = picture.querySelector(`[data-id="${ids[0]}"]`)?.getBoundingClientRect();
    return box && x > box.left - 6 && x < box.right + 6 && y > box.top - 6 && y < box.bottom + 6;
  });
}

/**
 * The bar at a point of the window, null where there is none.
 * @param {HTMLElement} picture
 * @param {number} x
 * @param {number} y
 * @returns {number|null}
 */
export function barAt(picture, x, y) {
  for (const measure of picture.querySelectorAll(".measure")) {
    const box = measure.getBoundingClientRect();
    if (x >= box.left && x <= box.right && y >= box.top && y <= box.bottom) return Number(/-b(\d+)$/.exec(measure.getAttribute("data-id") ?? "")?.[1]);
  }
  return null;
}

/**
 * The chord whose symbol an element is: the number of its bar and its place among the bar's symbols.
 * @param {EventTarget|null} target
 * @returns {{bar: number, place: number}|null}
 */
export function symbolAt(target) {
  const symbol = target instanceof Element ? target.closest(".harm") : null;
  const measure = symbol?.closest(".measure");
  if (!symbol || !measure) return null;
  const bar = Number(/-b(\d+)$/.exec(measure.getAttribute("data-id") ?? "")?.[1]);
  return { bar, place: [...measure.querySelectorAll(".harm")].indexOf(symbol) };
}
