// An idea as a card: its picture, what there is to know of it, and a row of buttons with one Tab stop.
import { make } from "./elements.js";
import { draw, frameBars, markNotes, reserve } from "./pictures.js";

/** @import { Entry, Idea, Look, OwnLook } from "./types.js" */

const NEAR = "900px"; // how far beyond the window pictures are drawn
const DRAWING = 6; // milliseconds of a frame after which no further picture is begun
/** @type {[string, string, string][]} what can be done, its word, and the sign before it */
const ACTS = [
  ["play", "Play", "▶"],
  ["star", "Star", "☆"],
  ["stand", "Enlarge", "⤢"],
  ["vary", "Vary", "↻"],
  ["midi", "MIDI", "↓"],
  ["musicxml", "MusicXML", "↓"],
];

/** @param {number} hard */
function toFinger(hard) {
  if (hard < 0.2) return "easy to finger";
  return hard < 0.4 ? "some stretches" : "hard to finger";
}

/**
 * @param {Idea} idea
 * @returns {string}
 */
export function titleOf(idea) {
  return idea.shape ? `Idea ${idea.rank}: ${idea.shape}` : `Idea ${idea.rank}`;
}

/**
 * The card of an idea. Without `vary` it can't be varied.
 * @param {string} key
 * @param {Idea} idea
 * @param {{title?: string, acts?: string[]}} [look]
 * @returns {HTMLElement}
 */
export function makeCard(key, idea, { title = titleOf(idea), acts = ACTS.map(([act]) => act) } = {}) {
  const id = `card-${key}`;
  const facts = [`${idea.notes.length} notes`, toFinger(idea.hard), ...(idea.form ? [idea.form] : [])];
  const buttons = ACTS.filter(([act]) => acts.includes(act)).map(([act, word, sign], place) =>
    make("button", { type: "button", class: `act ${act}`, "data-act": act, tabindex: place ? "-1" : "0", "aria-label": nameOf(act, word, title), ...(act === "star" ? { "aria-pressed": "false" } : {}) }, make("span", { class: "sign", "aria-hidden": "true" }, sign), make("span", { class: "word" }, word)),
  );
  return make(
    "article",
    { class: "idea", id, "data-key": key, "aria-labelledby": `${id}-name` },
    make("header", { class: "idea-head" }, make("h3", { id: `${id}-name` }, title), make("p", { class: "facts" }, facts.join(" · "))),
    make("div", { class: "picture", role: "img", "aria-label": `Notation of ${title}` }),
    make("div", { class: "acts", role: "toolbar", "aria-label": `${title}: arrow keys move` }, buttons),
  );
}

/**
 * @param {string} act
 * @param {string} word
 * @param {string} title
 */
function nameOf(act, word, title) {
  const name = title.split(":")[0];
  return act === "midi" || act === "musicxml" ? `${word} file for ${name}` : `${word} ${name}`;
}

/**
 * @param {HTMLElement} card
 * @returns {HTMLElement}
 */
export function pictureOf(card) {
  return /** @type {HTMLElement} */ (card.querySelector(".picture"));
}

/**
 * @param {HTMLElement} card
 * @param {boolean} on
 */
export function setPlaying(card, on) {
  card.classList.toggle("sounding", on);
  const button = card.querySelector('[data-act="play"]');
  if (!button) return;
  const [sign, word] = button.children;
  sign.textContent = on ? "■" : "▶";
  word.textContent = on ? "Stop" : "Play";
  button.setAttribute("aria-label", (button.getAttribute("aria-label") ?? "").replace(/^\w+/, on ? "Stop" : "Play"));
}

/**
 * @param {HTMLElement} card
 * @param {boolean} on
 */
export function setStarred(card, on) {
  card.classList.toggle("starred", on);
  const button = card.querySelector('[data-act="star"]');
  button?.setAttribute("aria-pressed", String(on));
  if (button) button.children[0].textContent = on ? "★" : "☆";
}

/** Draws the pictures of cards that come near the window, a few each frame, and keeps the place of the others. */
export class Drawer {
  /**
   * @param {(key: string) => Entry|undefined} entryOf
   * @param {(entry: Entry) => {look: OwnLook & Pick<Look, "spans">, name: string, names: boolean}} lookOf
   */
  constructor(entryOf, lookOf) {
    this.lookOf = lookOf;
    this.busy = false;
    /** @type {Map<Entry, number>} what waits to be drawn, with its distance from the window when it came near */
    this.waiting = new Map();
    this.watch = new IntersectionObserver(
      (seen) => {
        for (const { target, isIntersecting, boundingClientRect } of seen) {
          const entry = entryOf(/** @type {HTMLElement} */ (target).dataset.key ?? "");
          if (!entry) continue;
          if (isIntersecting) this.waiting.set(entry, Math.max(0, -boundingClientRect.bottom, boundingClientRect.top - window.innerHeight));
          else this.waiting.delete(entry);
        }
        this.run();
      },
      { rootMargin: NEAR },
    );
  }

  /** @param {Entry} entry */
  add(entry) {
    const { look, names } = this.lookOf(entry);
    reserve(pictureOf(entry.card), look.systems, names);
    this.watch.observe(entry.card);
  }

  /** @param {Entry} entry */
  drop(entry) {
    this.waiting.delete(entry);
    this.watch.unobserve(entry.card);
  }

  /**
   * Asks again which of the ideas are near, and draws those as they are to look now.
   * @param {Iterable<Entry>} entries
   */
  again(entries) {
    for (const { card } of entries) {
      this.watch.unobserve(card);
      this.watch.observe(card);
    }
  }

  /** Draws what waits, the nearest first; the browser has its turn between the frames. */
  run() {
    if (this.busy || !this.waiting.size) return;
    this.busy = true;
    requestAnimationFrame(() => {
      const begun = performance.now();
      for (const [entry] of [...this.waiting].sort(([, one], [, other]) => one - other)) {
        this.waiting.delete(entry);
        this.fresh(entry);
        if (performance.now() - begun > DRAWING) break;
      }
      this.busy = false;
      this.run();
    });
  }

  /**
   * Draws an idea as it is to look now.
   * @param {Entry} entry
   */
  fresh(entry) {
    const { look, name, names } = this.lookOf(entry);
    if (entry.drawn === name) return;
    const picture = pictureOf(entry.card);
    draw(picture, entry.idea, look, { names });
    entry.drawn = name;
    if (entry.marks.size) markNotes(picture, entry.idea, entry.marks);
    this.frames(entry);
  }

  /** @param {Entry} entry */
  frames(entry) {
    const picture = pictureOf(entry.card);
    frameBars(picture, [...entry.bars], "kept");
    const { of, kept, whole } = entry.round;
    if (of) frameBars(picture, whole.bars.map(({ bar }) => bar).filter((bar) => !kept.includes(bar)), "new");
  }
}

/**
 * Lets the arrow keys move among the buttons of a card, and from card to card.
 * @param {KeyboardEvent} event
 * @returns {boolean} whether the key was used
 */
export function roved(event) {
  const held = event.target instanceof HTMLElement ? event.target.closest(".acts > .act") : null;
  const step = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -1, ArrowDown: 1 }[event.key];
  if (!held || !step || event.altKey || event.ctrlKey || event.metaKey) return false;
  const row = /** @type {HTMLElement[]} */ ([...(held.parentElement?.children ?? [])]);
  const place = row.indexOf(/** @type {HTMLElement} */ (held));
  if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
    stop(row, (place + step + row.length) % row.length).focus();
  } else {
    const cards = [...document.querySelectorAll(".idea:not([hidden])")].filter((card) => card.querySelector(".act"));
    const next = cards[cards.indexOf(/** @type {Element} */ (held.closest(".idea"))) + step];
    if (!next) return true;
    const buttons = /** @type {HTMLElement[]} */ ([...next.querySelectorAll(".acts > .act")]);
    stop(buttons, Math.min(place, buttons.length - 1)).focus();
  }
  return true;
}

/**
 * Makes one button of a row the one that Tab stops at.
 * @param {HTMLElement[]} row
 * @param {number} place
 * @returns {HTMLElement}
 */
function stop(row, place) {
  for (const [index, each] of row.entries()) each.setAttribute("tabindex", index === place ? "0" : "-1");
  return row[place];
}
