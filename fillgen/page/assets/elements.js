// Elements made by hand: what comes from a file or from the book is always text, never markup.

const SVG = "http://www.w3.org/2000/svg";
let made = 0;

/**
 * @typedef {string|Node|null|undefined} Piece
 * @typedef {Piece|(Piece|Piece[])[]} Child
 * @typedef {string|number|boolean|null|undefined} Value
 * @typedef {Record<string, (event: any) => unknown>} Listeners
 * @typedef {{on?: Listeners, [name: string]: Value|Listeners}} Attributes
 * @typedef {string|(string|number)[]} Choosable a text, or a pair of value and text
 */

/**
 * A new id that begins with a word.
 * @param {string} word
 * @returns {string}
 */
export function fresh(word) {
  made += 1;
  return `${word}-${made}`;
}

/**
 * An element with attributes and children. `on` holds listeners; true sets an attribute, false and null leave it out.
 * @template {keyof HTMLElementTagNameMap} T
 * @param {T} tag
 * @param {Attributes} [attributes]
 * @param {...Child} children
 * @returns {HTMLElementTagNameMap[T]}
 */
export function make(tag, attributes = {}, ...children) {
  return filled(document.createElement(tag), attributes, children);
}

/**
 * @template {keyof SVGElementTagNameMap} T
 * @param {T} tag
 * @param {Attributes} [attributes]
 * @param {...Child} children
 * @returns {SVGElementTagNameMap[T]}
 */
export function drawn(tag, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG, tag), attributes, children);
}

/**
 * @template {Element} E
 * @param {E} element
 * @param {Attributes} attributes
 * @param {Child[]} children
 * @returns {E}
 */
function filled(element, { on = {}, ...attributes }, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== false && value !== null && value !== undefined) element.setAttribute(name, value === true ? "" : String(value));
  }
  for (const [event, listener] of Object.entries(on)) element.addEventListener(event, listener);
  const pieces = /** @type {Piece[]} */ (children.flat(2));
  element.append(...pieces.filter((piece) => piece !== null && piece !== undefined));
  return element;
}

/**
 * @param {string} text
 * @param {(event: MouseEvent) => unknown} act
 * @param {Attributes} [attributes]
 */
export function button(text, act, attributes = {}) {
  return make("button", { type: "button", class: "button", on: { click: act }, ...attributes }, text);
}

/**
 * A control with its label above it, and below it what else is to be known, which is read out with it.
 * @param {string} label
 * @param {Element} control
 * @param {{hint?: string, wide?: boolean}} [more]
 */
export function field(label, control, { hint = "", wide = false } = {}) {
  if (!control.id) control.id = fresh("field");
  const below = hint ? make("span", { class: "hint", id: `${control.id}-hint` }, hint) : null;
  if (below) control.setAttribute("aria-describedby", below.id);
  return make("div", { class: wide ? "field wide" : "field" }, make("label", { for: control.id }, label), control, below);
}

/**
 * A list to choose from; an option is a text, or a pair of value and text.
 * @param {Choosable[]} options
 * @param {Attributes} [attributes]
 */
export function choice(options, attributes = {}) {
  return make("select", attributes, options.map(option));
}

/** @param {Choosable} each */
export function option(each) {
  const [value, text] = Array.isArray(each) ? each : [each, each];
  return make("option", { value }, String(text));
}

/**
 * @param {string} label
 * @param {Choosable[]} options
 */
export function grouped(label, options) {
  return make("optgroup", { label }, options.map(option));
}

/**
 * A box to tick with its words beside it.
 * @param {string} text
 * @param {Attributes} [attributes]
 */
export function tick(text, attributes = {}) {
  const box = make("input", { type: "checkbox", id: fresh("tick"), ...attributes });
  return { box, row: make("label", { class: "tick", for: box.id }, box, make("span", {}, text)) };
}

/**
 * An element of the page's own text, which is there.
 * @param {string} id
 * @returns {HTMLElement}
 */
export function byId(id) {
  return /** @type {HTMLElement} */ (document.getElementById(id));
}

/**
 * Tells all parts of the page what has happened.
 * @param {string} name
 * @param {unknown} [detail]
 */
export function tell(name, detail) {
  document.dispatchEvent(new CustomEvent(`fillgen:${name}`, { detail }));
}

/** @param {EventTarget|null} target */
export function isTyping(target) {
  return target instanceof Element && target.closest("input:not([type=checkbox], [type=radio], [type=range], [type=file]), textarea, select, [contenteditable]") !== null;
}

/**
 * A number with its word.
 * @param {number} count
 * @param {string} what
 */
export function many(count, what) {
  return `${count} ${what}${count === 1 ? "" : "s"}`;
}

/**
 * Words in a row as a sentence has them.
 * @param {string[]} words
 * @param {string} [last]
 */
export function listed(words, last = "and") {
  return words.length < 2 ? words.join("") : `${words.slice(0, -1).join(", ")} ${last} ${words.at(-1)}`;
}

/**
 * Does a thing once nothing has asked for it again for so many milliseconds.
 * @param {number} milliseconds
 * @param {() => void} act
 */
export function rested(milliseconds, act) {
  let timer = 0;
  return {
    soon() {
      clearTimeout(timer);
      timer = setTimeout(act, milliseconds);
    },
    drop() {
      clearTimeout(timer);
    },
  };
}

/**
 * Gives the reader a file to keep.
 * @param {string} name
 * @param {BlobPart} content
 * @param {string} type
 */
export function offer(name, content, type) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([content], { type }));
  link.download = name;
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
