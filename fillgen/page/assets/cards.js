// An idea as a card: its picture, what is to be known of it, and what can be done with it.

export function element(tag, attributes = {}, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== undefined) made.setAttribute(name, value);
  }
  made.append(...inside);
  return made;
}

// A button with a word that all see; those who hear the page hear which idea it belongs to as well.
function button(look, words, name, act) {
  const hidden = element("span", { class: "unseen" }, ` ${name}`);
  const made = element("button", { type: "button", class: `button ${look}` }, element("span", {}, words), hidden);
  made.addEventListener("click", act);
  return made;
}

function toFinger(hard) {
  if (hard < 0.2) return "easy to finger";
  return hard < 0.4 ? "some stretches" : "hard to finger";
}

function plural(count, what) {
  return `${count} ${what}${count === 1 ? "" : "s"}`;
}

export function titleOf(idea) {
  return `Idea ${idea.rank}: ${idea.shape}`;
}

// The card of an idea. `actions`: play, star, midi, musicxml, each called with the idea's id.
export function makeCard(idea, actions) {
  const { id } = idea;
  const name = titleOf(idea);
  const play = button("button-main play", "Play", name, () => actions.play(id));
  const star = button("star", "Star", name, () => actions.star(id));
  star.setAttribute("aria-pressed", "false");
  const facts = [`score ${idea.score.toFixed(2)}`, plural(idea.notes.length, "note"), toFinger(idea.hard)];
  if (idea.form) facts.push(idea.form);
  const more = element(
    "details",
    { class: "more" },
    element("summary", { class: "button" }, "Files"),
    element(
      "div",
      { class: "row" },
      button("midi", "MIDI", name, () => actions.midi(id)),
      button("musicxml", "MusicXML", name, () => actions.musicxml(id)),
    ),
  );
  return element(
    "article",
    { class: "idea", id: `card-${id}`, "data-id": id, "aria-labelledby": `name-${id}` },
    element(
      "header",
      { class: "idea-head" },
      element("h2", { id: `name-${id}` }, name),
      element("p", { class: "facts" }, facts.join(" · ")),
    ),
    element("div", { class: "picture", role: "img" }),
    element("div", { class: "actions" }, play, star, more),
    element("div", { class: "extra" }),
  );
}

// Pictures

const SVG = "http://www.w3.org/2000/svg";
const LINK = "http://www.w3.org/1999/xlink";
const NAMES = 470; // the height that note names take below a system, in units of the drawing

function parsed(text) {
  const whole = `<svg xmlns="${SVG}" xmlns:xlink="${LINK}">${text}</svg>`;
  return document.importNode(new DOMParser().parseFromString(whole, "image/svg+xml").documentElement, true);
}

// Puts glyphs that are not there yet where all pictures of the page find them.
export function addGlyphs(glyphs) {
  let home = document.getElementById("glyphs");
  if (!home) {
    home = parsed("<defs></defs>");
    for (const [name, value] of [["id", "glyphs"], ["width", 0], ["height", 0], ["aria-hidden", "true"]]) {
      home.setAttribute(name, value);
    }
    document.body.append(home);
  }
  const missing = Object.entries(glyphs).filter(([name]) => !document.getElementById(`${name}-fillgen`));
  const groups = missing.map(([name, inside]) => `<g id="${name}-fillgen">${inside}</g>`);
  if (groups.length) home.firstElementChild.append(...parsed(groups.join("")).children);
}

// Puts the picture of a key into a card: its systems below one another, with a description in words.
export function showLook(card, idea, look) {
  const picture = card.querySelector(".picture");
  picture.setAttribute("aria-label", inWords(idea, look));
  picture.replaceChildren(...parsed(look.systems.join("")).children);
  delete picture.dataset.names;
  if (document.body.classList.contains("show-names")) showNames(card, idea, look, true);
}

function placeOf(note) {
  const [, x] = /translate\((-?\d+)/.exec(note.querySelector(".notehead use").getAttribute("transform"));
  return Number(x) + 110;
}

// Writes the names of the notes below each system, or takes them away.
export function showNames(card, idea, look, on) {
  const picture = card.querySelector(".picture");
  if ((picture.dataset.names === "on") === on) return;
  picture.dataset.names = on ? "on" : "off";
  for (const system of picture.children) {
    const { x, y, width, height } = system.viewBox.baseVal;
    const grown = on ? height + NAMES : height - NAMES;
    system.setAttribute("viewBox", `${x} ${y} ${width} ${grown}`);
    for (const old of system.querySelectorAll(".note-name")) old.remove();
    if (on) named(system, idea, look, y + height + NAMES - 150);
  }
}

function named(system, idea, look, y) {
  idea.notes.forEach(({ ids }, index) => {
    const note = system.querySelector(`[id="${ids[0]}"]`);
    if (!note) return;
    const text = document.createElementNS(SVG, "text");
    for (const [name, value] of [["class", "note-name"], ["x", placeOf(note)], ["y", y], ["text-anchor", "middle"]]) {
      text.setAttribute(name, value);
    }
    text.textContent = signed(look.names[index].replace(/-?\d+$/, ""));
    system.append(text);
  });
}

// Words

const LENGTHS = { w: "whole", h: "half", q: "quarter", e: "eighth", s: "sixteenth" };
const SPOKEN = { "♭": " flat ", "♯": " sharp " };

// Real flats and sharps for a name or a chord symbol that is typed with letters.
export function signed(symbol) {
  const change = (found) => found.replaceAll("b", "♭").replaceAll("#", "♯");
  return symbol.replace(/(?<=^[A-G]|\/[A-G])[b#]+|[b#](?=\d)/g, change);
}

function spoken(symbol) {
  return [...signed(symbol)].map((letter) => SPOKEN[letter] ?? letter).join("").split(/\s+/).filter(Boolean).join(" ");
}

function lengthInWords(letters) {
  if (letters === "bar") return "whole bar";
  return `${letters.endsWith(".") ? "dotted " : ""}${letters.endsWith("t") ? "triplet " : ""}${LENGTHS[letters[0]]}`;
}

// A phrase in words, bar by bar, for those who cannot see it.
export function inWords(idea, look) {
  return idea.written.map((bar) => barInWords(bar, look)).join(" ");
}

function barInWords(bar, look) {
  const chords = bar.chords.map(([, number]) => spoken(look.spans[number][2]));
  const over = chords.length ? `, ${chords.length > 1 ? "chords" : "chord"} ${chords.join(", ")}` : "";
  const notes = [];
  for (const [, , letters, note, from] of bar.symbols) {
    const length = lengthInWords(letters);
    if (note < 0) notes.push(`${length} rest`);
    else if (from && notes.length) notes.push(`${notes.pop()} and ${length}`);
    else notes.push(noteInWords(keysOf(look, note), from, length));
  }
  return `${bar.number ? `Bar ${bar.number}` : "Pick-up"}${over}: ${notes.join(", ")}.`;
}

// The names of a note and of those struck with it, from the highest down.
function keysOf(look, note) {
  return [look.names[note], ...(look.below[note] ?? []).map(([name]) => name)];
}

function noteInWords(names, from, length) {
  const [first, ...others] = names.map((name) => {
    const [, letters, octave] = /^([A-G][#b]*)(-?\d+)$/.exec(name);
    return `${spoken(letters)} ${octave}`;
  });
  return `${first}${others.length ? ` with ${others.join(" and ")}` : ""}${from ? " held" : ""} ${length}`;
}

// States

export function setPlaying(card, on) {
  card.classList.toggle("sounding", on);
  card.querySelector(".play span").textContent = on ? "Stop" : "Play";
}

export function setStarred(card, on) {
  card.classList.toggle("starred", on);
  card.querySelector(".star").setAttribute("aria-pressed", String(on));
}

export function setLit(card, ids, on) {
  for (const id of ids) card.querySelector(`[id="${id}"]`)?.classList.toggle("lit", on);
}
