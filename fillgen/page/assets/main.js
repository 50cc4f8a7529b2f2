// The page: ideas taken in, shown in a key, filtered, ordered, played, starred, printed and given as files.
import { addGlyphs, makeCard, setLit, setPlaying, setStarred, showLook, showNames, signed, titleOf } from "./cards.js";
import { Controls } from "./controls.js";
import { midiFile, musicxml, offer } from "./files.js";
import { swingRatio } from "./music.js";
import { Player } from "./player.js";
import { Store } from "./store.js";

const SENT = byId("fillgen-data") ? "Nothing on this page is sent anywhere." : "Nothing leaves this computer.";
const MIDI = "audio/midi";
const MUSICXML = "application/vnd.recordare.musicxml+xml";

function byId(id) {
  return document.getElementById(id);
}

function cardOf(id) {
  return byId(`card-${id}`);
}

function tell(name, detail) {
  document.dispatchEvent(new CustomEvent(`fillgen:${name}`, { detail }));
}

function block(id) {
  return byId(id)?.textContent;
}

async function unpacked(text) {
  const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  return new Response(stream).json();
}

async function bank() {
  const inside = block("fillgen-bank");
  if (inside) return JSON.parse(inside);
  const answer = await fetch("assets/bank.json").catch(() => null);
  if (!answer) throw new Error("the sounds could not be fetched, since nothing answers. Start fillgen page again");
  if (!answer.ok) throw new Error(`the sounds could not be fetched (answer ${answer.status}). Press Play again in a moment`);
  return answer.json().catch(() => {
    throw new Error("the sounds came damaged. Press Play again in a moment");
  });
}

// What a card needs of a key: the chords of all ideas, and the idea's own notation.
function lookOf(look, id) {
  return { spans: look.spans, ...look.ideas[id] };
}

// In which third of all numbers each one lies, from 0 to 2.
function thirds(numbers) {
  const ordered = [...numbers].sort((a, b) => a - b);
  return numbers.map((number) => Math.min(2, Math.floor((3 * ordered.indexOf(number)) / ordered.length)));
}

class Page {
  constructor() {
    this.whole = null;
    this.ideas = new Map();
    this.looks = new Map();
    this.shift = 0;
    this.store = new Store("fillgen");
    this.player = new Player(bank);
    this.controls = new Controls(this.store, () => this.changed());
    this.fetchLook = (shift) => {
      const text = block(`fillgen-look-${shift}`);
      if (!text) throw new Error("this page does not hold that key");
      return unpacked(JSON.parse(text));
    };
    this.listen();
  }

  get wishes() {
    return { ...this.controls.wishes, shift: this.shift };
  }

  listen() {
    byId("stop").addEventListener("click", () => this.stop());
    byId("print").addEventListener("click", () => this.print());
    byId("all-midi").addEventListener("click", () => this.give("midi", this.stars(), "starred"));
    byId("all-musicxml").addEventListener("click", () => this.give("musicxml", this.stars(), "starred"));
    document.addEventListener("keydown", (event) => {
      if (event.key === "Escape" && this.player.playing) this.stop();
    });
    const on = (name, act) => document.addEventListener(`fillgen:${name}`, ({ detail }) => act(detail));
    on("play", ({ id }) => this.sounding(id, true));
    on("stop", ({ id }) => this.sounding(id, false));
    on("lit", ({ id, ids }) => cardOf(id) && setLit(cardOf(id), ids, true));
    on("unlit", ({ id, ids }) => cardOf(id) && setLit(cardOf(id), ids, false));
    on("round", ({ id, tempo }) => this.playing(id, tempo));
  }

  // Ideas come and go

  // Takes the facts about a new set of ideas; those of the set before leave the page.
  begin(whole) {
    this.player.stop();
    this.whole = whole;
    this.ideas.clear();
    this.looks = new Map(); // a look of the set before that is still on its way goes into the old one
    this.shift = 0;
    this.coming = undefined;
    this.starred = new Set(this.store.get(`stars:${whole.id}`, []));
    byId("ideas").replaceChildren();
    byId("title").textContent = whole.title || "Right-hand ideas";
    byId("remarks").replaceChildren(...whole.remarks.map((remark) => this.item(remark)));
    byId("care").querySelector("ul").replaceChildren(...whole.cautions.map((caution) => this.item(caution)));
    byId("foot").querySelector("p").textContent =
      `fillgen ${whole.version}, level ${whole.level}, seed ${whole.seed}. ${SENT}`;
    document.title = whole.title || "Right-hand ideas";
    this.controls.begin(whole);
    this.own = { shift: 0, key: whole.key, heard: whole.heard, fifths: whole.fifths, ideas: {} };
    Object.assign(this.own, { bars: whole.bars, spans: whole.spans, harmonies: whole.harmonies, chart: whole.chart, about: whole.about });
    this.looks.set(0, this.own);
    this.chords(this.own);
    tell("begin", { whole });
  }

  item(words) {
    const made = document.createElement("li");
    made.textContent = words;
    return made;
  }

  add(idea) {
    this.ideas.set(idea.id, idea);
    if (idea.glyphs) addGlyphs(idea.glyphs);
    const { id, systems, signs, below, notes } = idea;
    this.own.ideas[id] = { systems, signs, below, names: notes.map((n) => n.name), fingers: notes.map((n) => n.finger) };
    const card = makeCard(idea, {
      play: (each) => this.toggle(each),
      star: (each) => this.star(each),
      midi: (each) => this.give("midi", [each], this.fileName(each)),
      musicxml: (each) => this.give("musicxml", [each], this.fileName(each)),
    });
    byId("ideas").append(card);
    const look = this.looks.get(this.shift);
    if (look.ideas[id]) showLook(card, idea, lookOf(look, id));
    setStarred(card, this.starred.has(idea.text));
    tell("add", { id });
  }

  // All ideas have come.
  end() {
    this.controls.shapes([...new Set([...this.ideas.values()].map((idea) => idea.shape))].sort());
    this.choose();
    tell("end", {});
  }

  remove(id) {
    if (this.player.playing === id) this.stop();
    cardOf(id)?.remove();
    this.ideas.delete(id);
    this.choose();
  }

  // Wishes

  changed() {
    const wanted = this.controls.wishes.shift;
    if (wanted === this.shift) this.coming = undefined;
    else if (this.whole && wanted !== this.coming?.shift) this.transpose(wanted);
    this.player.change(this.wishes);
    const look = this.looks.get(this.shift);
    for (const [id, idea] of this.ideas) {
      const shown = look?.ideas[id] ? look : this.own; // what came just now has no picture in another key yet
      showNames(cardOf(id), idea, lookOf(shown, id), this.wishes.names);
    }
    this.choose();
    tell("wishes", { wishes: this.wishes });
  }

  async look(shift) {
    const { looks } = this;
    if (!looks.has(shift)) looks.set(shift, await this.fetchLook(shift));
    return looks.get(shift);
  }

  // A key in which all of some ideas are; those that came after it was fetched are fetched now.
  async lookWith(shift, ids) {
    let look = await this.look(shift);
    if (ids.some((id) => !look.ideas[id])) {
      this.looks.delete(shift);
      look = await this.look(shift);
    }
    if (ids.some((id) => !look.ideas[id])) throw new Error("not all of it is there in this key yet");
    return look;
  }

  // Shows all ideas in the key so many semitones away, and plays them there.
  async transpose(shift) {
    const turn = { shift };
    this.coming = turn;
    try {
      const look = await this.look(shift);
      if (this.coming !== turn) return;
      this.shift = shift;
      addGlyphs(look.glyphs ?? {});
      for (const [id, idea] of this.ideas) if (look.ideas[id]) showLook(cardOf(id), idea, lookOf(look, id));
      this.chords(look);
      this.player.change(this.wishes);
      this.say(`Now in ${signed(look.key)}.`);
      tell("key", { shift });
    } catch (error) {
      if (this.coming !== turn) return;
      this.controls.shift = this.shift;
      this.warn(`The ideas cannot be shown in that key: ${error.message}.`);
    } finally {
      if (this.coming === turn) this.coming = undefined;
    }
  }

  // The heading in a key: what is played, and its chords.
  chords(look) {
    byId("about").textContent = look.about;
    const bars = look.bars.map(({ chords }) => chords.map(({ symbol }) => signed(symbol)).join(" "));
    const keys = look.heard.split(", ").map(signed).join(", ");
    byId("chords").textContent = `${keys}: | ${bars.join(" | ")} |`;
  }

  // Shows what is asked for, in the order asked for.
  choose() {
    const { wishes } = this;
    const all = [...this.ideas.values()];
    const busy = thirds(all.map((idea) => idea.density));
    const hard = thirds(all.map((idea) => idea.hard));
    let shown = 0;
    all.forEach((idea, place) => {
      const fits =
        (wishes.show === "all" || this.isStarred(idea)) &&
        (!wishes.shape || idea.shape === wishes.shape) &&
        (wishes.busy === "" || busy[place] === Number(wishes.busy)) &&
        (wishes.hard === "" || hard[place] === Number(wishes.hard));
      cardOf(idea.id).hidden = !fits;
      shown += fits;
    });
    this.order(all, wishes.sort);
    this.count(shown, all.length);
  }

  order(all, sort) {
    const keys = {
      rank: () => 0,
      hard: (idea) => idea.hard,
      density: (idea) => idea.density,
      shape: (idea) => idea.shape,
      starred: (idea) => (this.isStarred(idea) ? 0 : 1),
    };
    const key = keys[sort];
    const ordered = [...all].sort((a, b) => (key(a) < key(b) ? -1 : Number(key(a) > key(b))) || a.rank - b.rank);
    const place = byId("ideas");
    const wanted = ordered.map((idea) => cardOf(idea.id));
    if (wanted.some((card, at) => place.children[at] !== card)) {
      const held = document.activeElement;
      place.append(...wanted);
      if (place.contains(held)) held.focus({ preventScroll: true });
    }
  }

  count(shown, all) {
    const total = `${all} idea${all === 1 ? "" : "s"}`;
    if (this.shown !== `${shown}/${all}`) this.say(shown === all ? `${total}.` : `${shown} of ${total} shown.`);
    this.shown = `${shown}/${all}`;
    const stars = this.stars().length;
    byId("kept").textContent = stars ? `${stars} ${stars === 1 ? "idea is" : "ideas are"} starred.` : "No idea is starred.";
    document.body.classList.toggle("no-stars", !stars);
  }

  // Playing

  async toggle(id) {
    if (this.player.playing === id) {
      this.stop();
      return;
    }
    try {
      await this.player.play(this.whole, this.ideas.get(id), this.wishes);
    } catch (error) {
      this.warn(`The idea cannot be played: ${error.message}.`);
    }
  }

  stop() {
    const { playing } = this.player;
    const held = byId("now").contains(document.activeElement);
    this.player.stop();
    if (held && playing) cardOf(playing)?.querySelector(".play").focus();
  }

  sounding(id, on) {
    if (cardOf(id)) setPlaying(cardOf(id), on);
    byId("now").hidden = !this.player.playing;
  }

  playing(id, tempo) {
    byId("now-label").textContent = `${titleOf(this.ideas.get(id))}, at ${Math.round(tempo)} a minute`;
  }

  // Stars and files

  isStarred(idea) {
    return this.starred.has(idea.text);
  }

  // The ids of all starred ideas, best first.
  stars() {
    return [...this.ideas.values()].filter((idea) => this.isStarred(idea)).map((idea) => idea.id);
  }

  star(id) {
    const idea = this.ideas.get(id);
    const starred = !this.isStarred(idea);
    if (starred) this.starred.add(idea.text);
    else this.starred.delete(idea.text);
    this.store.set(`stars:${this.whole.id}`, [...this.starred]);
    setStarred(cardOf(id), starred);
    this.choose();
    const stays = this.store.lasts ? "" : " This browser forgets it when the page is closed.";
    this.say(`${titleOf(idea)} ${starred ? "is starred" : "is no longer starred"}.${stays}`);
    tell("star", { id, starred });
  }

  print() {
    if (this.stars().length) window.print();
    else this.warn("Star an idea first: only starred ideas are printed.");
  }

  fileName(id) {
    return `idea-${String(this.ideas.get(id).rank).padStart(2, "0")}`;
  }

  async give(kind, ids, name) {
    if (!ids.length) {
      this.warn("Star an idea first: files contain starred ideas only.");
      return;
    }
    const { whole, shift, wishes } = this;
    const ideas = ids.map((id) => this.ideas.get(id));
    try {
      const look = await this.lookWith(shift, ids);
      const file = shift ? `${name}-in-${look.key.split(" ")[0].replace("#", "-sharp")}` : name;
      const part = await this.offered(kind, file, { whole, ideas, look, wishes });
      this.say(`${file} is ready${part}.`);
    } catch (error) {
      this.warn(`The file cannot be made: ${error.message}.`);
    }
  }

  // Gives a file with the parts that are chosen; what of them it leaves out, in words.
  async offered(kind, name, { whole, ideas, look, wishes }) {
    const parts = wishes.parts.length ? wishes.parts : ["right"];
    if (kind === "midi") {
      offer(`${name}.mid`, midiFile(whole, ideas, look, { ...wishes, parts }), MIDI);
      return "";
    }
    const others = parts.filter((part) => part !== "drums").join() !== "right";
    if (others && this.fetchScore) {
      offer(`${name}.musicxml`, await this.fetchScore(ideas, { ...wishes, parts }), MUSICXML);
    } else {
      const ratio = swingRatio(whole, wishes.tempo);
      offer(`${name}.musicxml`, musicxml(whole, ideas, look, { tempo: wishes.tempo, ratio }), MUSICXML);
      if (others) return ", with the right hand alone; MIDI has all parts";
    }
    return parts.includes("drums") ? ", without the drums, which are heard only" : "";
  }

  // Words to the reader

  say(words) {
    byId("alert").textContent = "";
    byId("status").textContent = words;
  }

  warn(words) {
    byId("alert").textContent = words;
  }
}

export const page = new Page();
window.fillgen = page;
const data = block("fillgen-data");
if (data) {
  const { whole, ideas, glyphs } = JSON.parse(data);
  addGlyphs(glyphs);
  page.begin(whole);
  for (const idea of ideas) page.add(idea);
  page.end();
}
