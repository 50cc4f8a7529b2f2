// Elements made by hand: what comes from a file or from the book is always text, never markup.

const SVG = "http://www.w3.org/2000/svg";
let made = 0;

// A new id that begins with a word.
export function fresh(word) {
  made += 1;
  return `${word}-${made}`;
}

// An element with attributes and children. `on` holds listeners; true sets an attribute, false and null leave it out.
export function make(tag, attributes = {}, ...children) {
  return filled(document.createElement(tag), attributes, children);
}

export function drawn(tag, attributes = {}, ...children) {
  return filled(document.createElementNS(SVG, tag), attributes, children);
}

function filled(element, { on = {}, ...attributes }, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== false && value !== null && value !== undefined) element.setAttribute(name, value === true ? "" : value);
  }
  for (const [event, listener] of Object.entries(on)) element.addEventListener(event, listener);
  element.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return element;
}

export function button(text, act, attributes = {}) {
  return make("button", { type: "button", class: "button", on: { click: act }, ...attributes }, text);
}

// A control with its label above it, and below it what else is to be known, which is read out with it.
export function field(label, control, { hint = "", wide = false } = {}) {
  if (!control.id) control.id = fresh("field");
  const below = hint ? make("span", { class: "hint", id: `${control.id}-hint` }, hint) : null;
  if (below) control.setAttribute("aria-describedby", below.id);
  return make("div", { class: wide ? "field wide" : "field" }, make("label", { for: control.id }, label), control, below);
}

// A list to choose from; an option is a text, or a pair of value and text.
export function choice(options, attributes = {}) {
  return make("select", attributes, options.map(option));
}

export function option(each) {
  const [value, text] = Array.isArray(each) ? each : [each, each];
  return make("option", { value }, text);
}

export function grouped(label, options) {
  return make("optgroup", { label }, options.map(option));
}

// A box to tick with its words beside it.
export function tick(text, attributes = {}) {
  const box = make("input", { type: "checkbox", id: fresh("tick"), ...attributes });
  return { box, row: make("label", { class: "tick", for: box.id }, box, make("span", {}, text)) };
}

export function isTyping(target) {
  return target instanceof Element && target.closest("input:not([type=checkbox], [type=radio], [type=range], [type=file]), textarea, select, [contenteditable]") !== null;
}

// A number with its word.
export function many(count, what) {
  return `${count} ${what}${count === 1 ? "" : "s"}`;
}

// Words in a row as a sentence has them.
export function listed(words, last = "and") {
  return words.length < 2 ? words.join("") : `${words.slice(0, -1).join(", ")} ${last} ${words.at(-1)}`;
}

// Does a thing once nothing has asked for it again for so many milliseconds.
export function rested(milliseconds, act) {
  let timer = 0;
  return {
    soon(...given) {
      clearTimeout(timer);
      timer = setTimeout(() => act(...given), milliseconds);
    },
    drop() {
      clearTimeout(timer);
    },
  };
}
