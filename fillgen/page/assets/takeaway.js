// Ideas as files: one, or all that are starred, of one search or of several.
import { offer } from "./elements.js";
import { midiFile } from "./midi.js";
import { musicxml } from "./musicxml.js";
import { swingRatio } from "./music.js";

/** @import { Entry, Idea, Look, Whole, Wishes } from "./types.js" */
/** @import { Page } from "./main.js" */

const MIDI = "audio/midi";
const MUSICXML = "application/vnd.recordare.musicxml+xml";

/** @typedef {{whole: Whole, ideas: Idea[], look: Look, wishes: Wishes, entries: Entry[]}} Bundle */

/**
 * Ideas that one file can hold: those over the same chart, in the same rhythm and at one tempo.
 * @param {Entry[]} entries
 * @param {(entry: Entry) => {own: Look, wishes: Wishes}} stateOf
 * @returns {Bundle[]}
 */
function bundles(entries, stateOf) {
  /** @type {Map<string, Entry[]>} */
  const groups = new Map();
  for (const entry of entries) {
    const { chart, key, metre, rhythm, length, swing, second, first } = entry.round.whole;
    const ground = JSON.stringify([chart, key, metre, rhythm, length, swing, second, first, stateOf(entry).wishes.tempo, stateOf(entry).wishes.shift]);
    groups.set(ground, [...(groups.get(ground) ?? []), entry]);
  }
  return [...groups.values()].map((group) => bundle(group, stateOf));
}

/**
 * @param {Entry[]} group
 * @param {(entry: Entry) => {own: Look, wishes: Wishes}} stateOf
 * @returns {Bundle}
 */
function bundle(group, stateOf) {
  const [first] = group;
  const { own, wishes } = stateOf(first);
  if (new Set(group.map(({ round }) => round)).size === 1 && new Set(group.map(({ idea }) => idea.rank)).size === group.length) {
    return { whole: first.round.whole, ideas: group.map(({ idea }) => idea), look: own, wishes, entries: group };
  }
  const { backing } = first.round.whole;
  const whole = { ...first.round.whole, backing: { bass: { ...backing.bass }, drums: { ...backing.drums }, left: { ...backing.left } } };
  /** @type {Look} */
  const look = { ...own, ideas: {} };
  const ideas = group.map((entry, place) => {
    const idea = { ...entry.idea, id: `starred-${place + 1}`, rank: place + 1 };
    for (const part of /** @type {const} */ (["bass", "drums", "left"])) Object.assign(whole.backing[part], entry.round.whole.backing[part]);
    look.ideas[idea.id] = stateOf(entry).own.ideas[entry.idea.id];
    return idea;
  });
  return { whole, ideas, look, wishes, entries: group };
}

/**
 * Gives a file of some ideas; what of the chosen parts it leaves out, in words.
 * @param {"midi"|"musicxml"} kind
 * @param {string} name
 * @param {Bundle} bundle
 * @param {((bundle: Bundle) => Promise<Uint8Array<ArrayBuffer>>)|null} fetchScore of several staves
 * @returns {Promise<string>}
 */
async function give(kind, name, bundle, fetchScore) {
  const { whole, ideas, look, wishes } = bundle;
  const parts = wishes.parts.length ? wishes.parts : ["right"];
  if (kind === "midi") {
    offer(`${name}.mid`, midiFile(whole, ideas, look, { ...wishes, parts }), MIDI);
    return "";
  }
  const others = parts.filter((part) => part !== "drums").join() !== "right";
  if (others && fetchScore) offer(`${name}.musicxml`, await fetchScore({ ...bundle, wishes: { ...wishes, parts } }), MUSICXML);
  else offer(`${name}.musicxml`, musicxml(whole, ideas, look, { tempo: wishes.tempo, ratio: swingRatio(whole, wishes.tempo) }), MUSICXML);
  const alone = others && !fetchScore ? ", with the right hand alone; MIDI has all parts" : "";
  return alone || (parts.includes("drums") ? ", without drums, which are only heard" : "");
}

export class Takeaway {
  /** @param {Page} page */
  constructor(page) {
    this.page = page;
  }

  /**
   * @param {"midi"|"musicxml"} kind
   * @param {Entry[]} entries
   * @param {string} name
   */
  async give(kind, entries, name) {
    try {
      const found = bundles(entries, (entry) => ({ own: this.page.lookOf(entry).own, wishes: this.page.playing.wishesFor(entry) }));
      for (const [place, bundle] of found.entries()) {
        const own = bundle.look;
        const key = own.shift ? `-in-${own.key.split(" ")[0].replace("#", "-sharp")}` : "";
        const file = `${name}${found.length > 1 ? `-${place + 1}` : ""}${key}`;
        this.page.say(`${file} is ready${await give(kind, file, bundle, this.page.fetchScore)}.`);
      }
    } catch (error) {
      this.page.trouble(error, "The file couldn't be made");
    }
  }
}
